package store_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewright/store"
	"brakewright/store/storetest"
)

// A database of each released schema, with a history of every type of entry and its key file, is kept; every later build
// must verify it as it is, open it, bring it up to date and verify it again. With -update the present schema's is made,
// if it is not there: what has been released is never made anew.
func TestReleasedDatabases(t *testing.T) {
	dir := filepath.Join("..", "testdata", "databases")
	migrations, err := filepath.Glob("migrations/sqlite/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	present := filepath.Join(dir, "schema-"+filepath.Base(migrations[len(migrations)-1])[:4]+".sqlite") // by its highest number
	if _, err := os.Stat(present); *update && errors.Is(err, fs.ErrNotExist) {
		keep(t, present)
	}
	all, err := filepath.Glob(filepath.Join(dir, "schema-*.sqlite"))
	if err != nil || len(all) == 0 || all[len(all)-1] != present {
		t.Fatalf("%v: the present schema's is missing; make it with -update (%v)", all, err)
	}
	for _, path := range all {
		t.Run(filepath.Base(path), func(t *testing.T) {
			o := storetest.New(t, storetest.Config{}).Options // for its clock and randomness
			o.Database = copyTo(t, path)
			secret := filepath.Join(t.TempDir(), "keys")
			if err := os.WriteFile(secret, readFile(t, keysOf(path)), 0o600); err != nil {
				t.Fatal(err)
			}
			if o.Keys, err = store.ReadKeyFile(secret); err != nil {
				t.Fatal(err)
			}
			before := mustVerify(t, o)
			s, err := store.Open(ctx, o)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			people, err := s.People(ctx)
			if err != nil || len(people) != 9 || people[0].Name != "Ada Founder" {
				t.Errorf("%d people, %v", len(people), err)
			}
			evidence, err := s.Evidence(ctx, "")
			if err != nil || len(evidence) == 0 {
				t.Errorf("%d records, %v", len(evidence), err)
			}
			if after := mustVerify(t, o); after.Entries != before.Entries {
				t.Errorf("%d entries became %d", before.Entries, after.Entries)
			}
		})
	}
}

func keysOf(path string) string { return strings.TrimSuffix(path, ".sqlite") + ".keys" }

// keep makes the kept database of the present schema.
func keep(t *testing.T, path string) {
	t.Helper()
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Backup(ctx, w.Options, path, nil); err != nil {
		t.Fatal(err)
	}
	if err := w.Options.Keys.Write(keysOf(path)); err != nil {
		t.Fatal(err)
	}
}
