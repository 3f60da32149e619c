package store_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func files(t testing.TB, dir string) (names []string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range list {
		names = append(names, f.Name())
	}
	return names
}

func TestBackupIsOnline(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	out := filepath.Join(t.TempDir(), "backup.db")
	// Somebody signs while it runs: the copy is of one moment, whichever.
	before := entries(t, w.Store)
	pages, signed := 0, int64(0)
	_, err := store.Backup(ctx, w.Options, out, func(what string, done, total int64) {
		if done > total || what == "" {
			t.Errorf("progress %s %d of %d", what, done, total)
		}
		if what == "pages" {
			pages++
			w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
			signed++
		}
	})
	if err != nil || pages == 0 {
		t.Fatal(pages, err)
	}
	o := w.Options
	o.Database = out
	v := mustVerify(t, o)
	if v.Entries < before || v.Entries > before+signed {
		t.Errorf("the copy has %d entries, there were %d to %d", v.Entries, before, before+signed)
	}
	if got := files(t, filepath.Dir(out)); len(got) != 1 {
		t.Errorf("left behind: %v", got)
	}
	if info, err := os.Stat(out); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if _, err := store.Backup(ctx, w.Options, out, nil); !errors.Is(err, store.ErrExists) {
		t.Errorf("over an older backup: %v", err)
	}
	if _, err := store.Backup(ctx, w.Options, filepath.Join(t.TempDir(), "no folder", "x.db"), nil); err == nil {
		t.Error("into a folder that does not exist")
	}
}

func TestBackupOfADamagedLedgerIsNotKept(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	path := closed(w)
	db := raw(t, path)
	mustExec(t, db, `DROP TRIGGER entries_no_update`)
	mustExec(t, db, `UPDATE entries SET leaf = x'00' WHERE idx = 5`)
	db.Close()
	dir := t.TempDir()
	if _, err := store.Backup(ctx, w.Options, filepath.Join(dir, "b.db"), nil); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("got %v", err)
	}
	if got := files(t, dir); len(got) != 0 {
		t.Errorf("left behind: %v", got)
	}
}

func TestRestore(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	if err := w.Store.AddSession(ctx, store.Session{Person: w.Apprentices[0].ID, TokenHash: "h", ExpiresAt: w.Clock.Now().Add(24 * time.Hour)}); err != nil {
		t.Fatal(err)
	}
	backup := filepath.Join(t.TempDir(), "backup.db")
	if _, err := store.Backup(ctx, w.Options, backup, nil); err != nil {
		t.Fatal(err)
	}
	had := entries(t, w.Store)
	w.FullHistory()
	has := entries(t, w.Store)
	path := closed(w)
	now := readFile(t, path)

	t.Run("to where nothing is", func(t *testing.T) {
		o := w.Options
		o.Database = filepath.Join(t.TempDir(), "new.db")
		v, err := store.Restore(ctx, backup, o, false, nil)
		if err != nil || v.Entries != had {
			t.Fatalf("%+v, %v", v, err)
		}
		s, err := store.Open(ctx, o)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if n := entries(t, s); n != had {
			t.Errorf("%d entries", n)
		}
		if _, err := s.Session(ctx, "h"); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("a log-in came back with the backup: %v", err)
		}
	})
	t.Run("newer over older", func(t *testing.T) {
		o := w.Options
		dir := t.TempDir()
		o.Database = filepath.Join(dir, "p.db")
		if err := os.WriteFile(o.Database, readFile(t, backup), 0o600); err != nil {
			t.Fatal(err)
		}
		v, err := store.Restore(ctx, path, o, false, nil)
		if err != nil || v.Entries != has {
			t.Fatalf("%+v, %v", v, err)
		}
		if got := files(t, dir); len(got) != 2 || got[1] != "p.db.before-restore-1" {
			t.Errorf("files %v", got)
		}
		mustVerify(t, o)
		o.Database += ".before-restore-1"
		if v := mustVerify(t, o); v.Entries != had {
			t.Errorf("the old one, put aside, has %d entries", v.Entries)
		}
	})
	t.Run("older over newer", func(t *testing.T) {
		if _, err := store.Restore(ctx, backup, w.Options, false, nil); !errors.Is(err, store.ErrOlder) {
			t.Errorf("got %v", err)
		}
		if !bytes.Equal(readFile(t, path), now) {
			t.Error("a refused restore changed the database")
		}
		for n := 1; n <= 2; n++ {
			if _, err := store.Restore(ctx, backup, w.Options, true, nil); err != nil {
				t.Fatal(err)
			}
		}
		for _, kept := range []string{".before-restore-1", ".before-restore-2"} {
			if _, err := os.Stat(path + kept); err != nil {
				t.Error(err)
			}
		}
		if !bytes.Equal(readFile(t, path+".before-restore-1"), now) {
			t.Error("the newer database was not kept as it was")
		}
		if err := os.WriteFile(path, now, 0o600); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("over another programme", func(t *testing.T) {
		other := storetest.New(t, storetest.Config{Seed: 99})
		closed(other)
		if _, err := store.Restore(ctx, path, other.Options, false, nil); err == nil {
			t.Error("its entries are not in the backup")
		}
	})
	t.Run("a damaged backup", func(t *testing.T) {
		bad := copyTo(t, backup)
		db := raw(t, bad)
		mustExec(t, db, `UPDATE sites SET name = 'x'`)
		db.Close()
		v, err := store.Restore(ctx, bad, w.Options, true, nil)
		if !errors.Is(err, store.ErrDamaged) || v == nil || v.FirstProblem.Table != "sites" {
			t.Errorf("%+v, %v", v, err)
		}
		if !bytes.Equal(readFile(t, path), now) {
			t.Error("the database was changed")
		}
	})
	t.Run("over a damaged database", func(t *testing.T) {
		o := w.Options
		dir := t.TempDir()
		o.Database = filepath.Join(dir, "p.db")
		garbage := []byte(strings.Repeat("garbage ", 1000))
		for _, suffix := range []string{"", "-wal"} {
			if err := os.WriteFile(o.Database+suffix, garbage, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := store.Restore(ctx, backup, o, false, nil); err == nil || !strings.Contains(err.Error(), "force") {
			t.Errorf("not forced: %v", err)
		}
		if _, err := store.Restore(ctx, backup, o, true, nil); err != nil {
			t.Fatal(err)
		}
		mustVerify(t, o)
		if !bytes.Equal(readFile(t, o.Database+".before-restore-1"), garbage) || !bytes.Equal(readFile(t, o.Database+".before-restore-1-wal"), garbage) {
			t.Error("what was there was not put aside")
		}
		if got := files(t, dir); len(got) != 3 {
			t.Errorf("files %v", got)
		}
	})
	t.Run("over an open database", func(t *testing.T) {
		s, err := store.Open(ctx, w.Options)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		for _, force := range []bool{false, true} {
			if _, err := store.Restore(ctx, backup, w.Options, force, nil); !errors.Is(err, store.ErrBusy) {
				t.Errorf("force %v: %v", force, err)
			}
		}
	})
	t.Run("into a folder", func(t *testing.T) {
		o := w.Options
		o.Database = t.TempDir()
		if _, err := store.Restore(ctx, backup, o, true, nil); err == nil {
			t.Error("no error")
		}
	})
}

// A restore that dies on the way leaves the old database or the new one, never neither.
func TestAKilledRestoreLeavesADatabase(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	backup := filepath.Join(t.TempDir(), "backup.db")
	if _, err := store.Backup(ctx, w.Options, backup, nil); err != nil {
		t.Fatal(err)
	}
	closed(w)
	for kill := 1; ; kill++ {
		steps := 0
		done := func() (done bool) {
			defer func() {
				if r := recover(); r != nil && r != "killed" {
					panic(r)
				}
			}()
			_, err := store.Restore(ctx, backup, w.Options, false, func(string, int64, int64) {
				if steps++; steps == kill {
					panic("killed")
				}
			})
			return err == nil
		}()
		mustVerify(t, w.Options)
		if done {
			break
		}
	}
}

// What a killed backup, restore or founding left behind goes with the next one, and nothing else does.
func TestLeftoversGo(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	closed(w)
	dir := t.TempDir()
	o := w.Options
	o.Database = filepath.Join(dir, "p.db")
	leave := func(names ...string) {
		for _, name := range names {
			if err := os.WriteFile(filepath.Join(dir, name), []byte("half"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	others := []string{".p.db.restoring", ".p.db.restoring-12x", ".p.db.restoring-12-more", ".q.db.restoring-12", "p.db.restoring-12"}
	leave(others...)
	leave(".p.db.restoring-123", ".p.db.restoring-123-journal", ".p.db.restoring-9-wal", ".p.db.restoring-9-shm", ".b.db.part-4", ".n.db.founding-5")
	if _, err := store.Restore(ctx, w.Options.Database, o, false, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := store.Backup(ctx, w.Options, filepath.Join(dir, "b.db"), nil); err != nil {
		t.Fatal(err)
	}
	o.Database = filepath.Join(dir, "n.db")
	s, err := store.Create(ctx, o, store.Founding{Origin: "o", Title: "t", Zone: storetest.Zone, Name: "n", Login: "l", Password: "p", Passphrase: "q"})
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	want := append([]string{"b.db", "n.db", "p.db"}, others...)
	slices.Sort(want)
	if got := files(t, dir); !slices.Equal(got, want) {
		t.Errorf("files %q, want %q", got, want)
	}
}

func TestVerifyChangesNothing(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	path := closed(w)
	before := readFile(t, path)
	mustVerify(t, w.Options)
	if _, err := store.Rebuild(ctx, w.Options, true, nil); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(before, readFile(t, path)) {
		t.Error("the file was changed")
	}
	if got := files(t, filepath.Dir(path)); len(got) != 1 {
		t.Errorf("left behind: %v", got)
	}
}

func TestVerifyOfALiveDatabase(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	v, err := store.Verify(ctx, w.Options, false, func(what string, done, total int64) {
		w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	})
	if err != nil || !v.OK {
		t.Fatalf("%+v, %v", v, err)
	}
}

func TestRebuild(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	path := closed(w)
	good := readFile(t, path)
	db := raw(t, path)
	for _, table := range store.ProjectionTables() {
		mustExec(t, db, `DELETE FROM `+table)
	}
	mustExec(t, db, `INSERT INTO signed_jobs (job_id, entry_id) VALUES ('x', 'y')`)
	db.Close()
	v, err := store.Rebuild(ctx, w.Options, true, nil)
	if err != nil || v.OK || v.FirstProblem.Table != "entry_index" {
		t.Fatalf("check: %+v, %v", v, err)
	}
	o := w.Options
	o.Keys = nil // the key file is not needed
	if v, err = store.Rebuild(ctx, o, false, nil); err != nil || !v.OK {
		t.Fatalf("rebuild: %+v, %v", v, err)
	}
	mustVerify(t, w.Options)
	s, err := store.Open(ctx, w.Options)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if e, err := s.Entry(ctx, past["job"]); err != nil || e.Personal["notes"] != "clean work" {
		t.Errorf("%+v, %v", e, err)
	}
	// A broken ledger is not projected, and what was kept stays.
	broken := filepath.Join(t.TempDir(), "broken.db")
	if err := os.WriteFile(broken, good, 0o600); err != nil {
		t.Fatal(err)
	}
	db = raw(t, broken)
	mustExec(t, db, `DROP TRIGGER entries_no_update`)
	mustExec(t, db, `UPDATE entries SET leaf = x'00' WHERE idx = 30`)
	db.Close()
	o.Database = broken
	if _, err := store.Rebuild(ctx, o, false, nil); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("a broken ledger: %v", err)
	}
	var n int
	if err := raw(t, broken).QueryRow(`SELECT COUNT(*) FROM people`).Scan(&n); err != nil || n == 0 {
		t.Errorf("people: %d, %v", n, err)
	}
}

// A later program that projects otherwise makes the projections anew when it opens the database.
func TestOpenRefreshesOldProjections(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	path := closed(w)
	db := raw(t, path)
	mustExec(t, db, `UPDATE bookkeeping SET value = '0' WHERE name = 'projections'`)
	mustExec(t, db, `UPDATE evidence SET record = '{}'`)
	db.Close()
	s, err := store.Open(ctx, w.Options)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	mustVerify(t, w.Options)
}

// A database with older tables is verified on a copy, brought up to date; the file itself stays as it is until it is opened.
func TestOlderTables(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	path := closed(w)
	db := raw(t, path+"?_foreign_keys=off")
	for _, table := range []string{"taps", "photos", "jobs", "cases", "case_people", "open_tests", "draft_answers", "key_requests", "sessions", "failures", "login_codes", "verdict_cache", "bookkeeping", "programme_drafts",
		"corrections", "signed_entries", "words_on", "assignments", "tree", "tree_head", "voids", "remarks", "signings"} {
		mustExec(t, db, `DROP TABLE `+table)
	}
	mustExec(t, db, `DROP INDEX entry_index_corrects`)
	for _, column := range []string{"rp_id", "origin", "credential"} {
		mustExec(t, db, `ALTER TABLE signing_keys DROP COLUMN `+column)
	}
	mustExec(t, db, `DELETE FROM goose_db_version WHERE version_id >= 3`)
	db.Close()
	before := readFile(t, path)
	mustVerify(t, w.Options)
	if !bytes.Equal(before, readFile(t, path)) {
		t.Error("verify changed the file")
	}
	// Several processes open it at once, and one of them brings it up to date.
	var wg sync.WaitGroup
	for range 4 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			s, err := store.Open(ctx, w.Options)
			if err != nil {
				t.Error(err)
				return
			}
			defer s.Close()
			if _, err := s.Jobs(ctx, store.JobFilter{}); err != nil {
				t.Error(err)
			}
		}()
	}
	wg.Wait()
	mustVerify(t, w.Options)
}

// A torn last page of the log, as a lost power supply leaves it: what was acknowledged before is whole.
func TestATornLog(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	r := w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	dir := t.TempDir()
	o := w.Options
	o.Database = filepath.Join(dir, "torn.db")
	if err := os.WriteFile(o.Database, readFile(t, w.Options.Database), 0o600); err != nil {
		t.Fatal(err)
	}
	log := readFile(t, w.Options.Database+"-wal")
	torn := append(bytes.Clone(log), log[len(log)-3000:]...) // half a frame of a commit that never was
	if err := os.WriteFile(o.Database+"-wal", torn, 0o600); err != nil {
		t.Fatal(err)
	}
	// It is verified as it lies there, before anything opens and tidies it.
	if v := mustVerify(t, o); v.Entries != r.Index+1 {
		t.Errorf("%d entries, want %d", v.Entries, r.Index+1)
	}
	if got := readFile(t, o.Database+"-wal"); !bytes.Equal(got, torn) {
		t.Error("verify changed the log")
	}
	s, err := store.Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	if e, err := s.Entry(ctx, r.ID); err != nil || e.Index != r.Index {
		t.Errorf("%+v, %v", e, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	mustVerify(t, o)
}

// Pages of the file damaged at random: opening, reading and verifying say so or find nothing wrong, and never panic.
func TestDamagedFiles(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	whole := readFile(t, closed(w))
	rng := newForger(t, copyTo(t, w.Options.Database), "", 42).rng
	for range long(500) {
		b := bytes.Clone(whole)
		at := 100 + rng.IntN(len(b)-100)
		for i := at; i < min(at+1+rng.IntN(64), len(b)); i++ {
			b[i] ^= byte(1 + rng.IntN(255))
		}
		o := w.Options
		o.Database = filepath.Join(t.TempDir(), "damaged.db")
		if err := os.WriteFile(o.Database, b, 0o600); err != nil {
			t.Fatal(err)
		}
		v, err := store.Verify(ctx, o, false, nil)
		if err == nil && !v.OK && v.FirstProblem == nil {
			t.Errorf("damaged at %d: no problem is named", at)
		}
	}
}

// Everything that two founders chose alike is unlike: ids, keys, salts. And one seed makes one database, entry for entry.
func TestSeeds(t *testing.T) {
	leaves := func(seed uint64) (all []string) {
		w := storetest.New(t, storetest.Config{Seed: seed})
		list, err := w.Store.Entries(ctx, store.EntryFilter{Limit: 1000})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			all = append(all, ledger.Hash(e.Leaf))
		}
		return all
	}
	a, b, c := leaves(1), leaves(1), leaves(2)
	if strings.Join(a, "") != strings.Join(b, "") {
		t.Error("one seed makes two ledgers")
	}
	if a[0] == c[0] {
		t.Error("two seeds make one opening")
	}
}
