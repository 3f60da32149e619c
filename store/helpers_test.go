package store_test

import (
	"context"
	"database/sql"
	"flag"
	"io"
	"os"
	"path/filepath"
	"testing"

	"brakewright/store"
	"brakewright/store/storetest"
)

var (
	ctx    = context.Background()
	update = flag.Bool("update", false, "write golden files anew")
)

// TestMain lets `make soak` run the long counts.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("rapid.checks"); f != nil && f.Value.String() == f.DefValue {
		f.Value.Set(map[bool]string{true: "100", false: "10"}[soak()])
	}
	os.Exit(m.Run())
}

func soak() bool { return os.Getenv("BRAKEWRIGHT_SOAK") == "1" }

// long is a count in full in a soak, else a tenth.
func long(n int) int {
	if soak() {
		return n
	}
	return n / 10
}

func mustVerify(t testing.TB, o store.Options) *store.Verification {
	t.Helper()
	v, err := store.Verify(ctx, o, false, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !v.OK {
		t.Fatalf("verify: %+v", v.FirstProblem)
	}
	return v
}

// raw opens a file as an intruder would: no settings of ours, no triggers' respect.
func raw(t testing.TB, path string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	t.Cleanup(func() { db.Close() })
	return db
}

func mustExec(t testing.TB, db *sql.DB, query string, args ...any) {
	t.Helper()
	if _, err := db.Exec(query, args...); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
}

func copyTo(t testing.TB, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy.db")
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	return to
}

// closed is a world whose store was closed, so that its file is whole by itself.
func closed(w *storetest.World) string {
	w.T.Helper()
	if err := w.Store.Close(); err != nil {
		w.T.Fatal(err)
	}
	return w.Options.Database
}
