package store_test

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/mattn/go-sqlite3"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// go-sqlite3 binds $1, $2 by their first appearance, PostgreSQL by number: both agree only if the numbers appear in order.
func TestParametersAreNumberedInOrderOfAppearance(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	numbered := regexp.MustCompile(`\$([0-9]+)`)
	found := 0
	for _, file := range files {
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			lit, ok := n.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			if err != nil || strings.HasPrefix(text, "$argon2id$") {
				return true
			}
			next := 1
			for _, m := range numbered.FindAllStringSubmatch(text, -1) {
				n, _ := strconv.Atoi(m[1])
				if n > next {
					t.Errorf("%s: $%d appears before $%d: %s", fset.Position(lit.Pos()), n, next, text)
				}
				if n == next {
					next++
				}
				found++
			}
			return true
		})
	}
	if found < 100 {
		t.Errorf("only %d parameters were found; does this test still look at the SQL?", found)
	}
}

func TestMigrationsAreNumberedOnce(t *testing.T) {
	files, err := filepath.Glob("migrations/sqlite/*.sql")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	last := "0000"
	for _, f := range files {
		name := filepath.Base(f)
		if !regexp.MustCompile(`^\d{4}_[a-z_]+\.sql$`).MatchString(name) || name[:4] <= last {
			t.Errorf("%s after %s", name, last)
		}
		last = name[:4]
	}
}

// The whole schema, one golden file an engine.
func TestSchema(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	rows, err := w.Store.Readers().Query(`SELECT type, name, tbl_name, COALESCE(sql, '') FROM sqlite_schema WHERE name <> 'goose_db_version' AND tbl_name <> 'goose_db_version' AND name NOT LIKE 'sqlite%' ORDER BY tbl_name, type DESC, name`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var b bytes.Buffer
	for rows.Next() {
		var typ, name, table, text string
		if err := rows.Scan(&typ, &name, &table, &text); err != nil {
			t.Fatal(err)
		}
		if typ == "table" && !strings.Contains(text, "STRICT") {
			t.Errorf("table %s is not STRICT", name)
		}
		fmt.Fprintf(&b, "%s;\n\n", text)
	}
	path := filepath.Join("testdata", "schema.sqlite.sql")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(b.Bytes(), want) {
		t.Errorf("the schema is not that of %s; a migration that is merged is never edited", path)
	}
}

// Every table is either what cannot be made anew, or a projection that Rebuild fills, or named as not examined.
func TestEveryTableHasItsPlace(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	covered := coveredTables()
	rows, err := w.Store.Readers().Query(`SELECT name FROM sqlite_schema WHERE type = 'table'`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		if _, out := notTampered[name]; out == slices.Contains(covered, name) {
			t.Errorf("table %s: say whether verify looks at it, in coveredTables or in notTampered", name)
		}
	}
}

func TestSettingsReachEveryConnection(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	conns := make([]*sql.Conn, 3) // more than one of the pool
	for i := range conns {
		var err error
		if conns[i], err = w.Store.Readers().Conn(ctx); err != nil {
			t.Fatal(err)
		}
		defer conns[i].Close()
	}
	for _, c := range []struct {
		pragma          string
		writer, readers string
	}{
		{"foreign_keys", "1", "1"}, {"journal_mode", "wal", "wal"}, {"synchronous", "2", "2"}, {"busy_timeout", "10000", "10000"},
		{"recursive_triggers", "1", "1"}, {"query_only", "0", "1"},
	} {
		var got string
		if err := w.Store.Writer().QueryRow(`PRAGMA ` + c.pragma).Scan(&got); err != nil || got != c.writer {
			t.Errorf("writer: %s is %s, %v", c.pragma, got, err)
		}
		for _, conn := range conns {
			if err := conn.QueryRowContext(ctx, `PRAGMA `+c.pragma).Scan(&got); err != nil || got != c.readers {
				t.Errorf("readers: %s is %s, %v", c.pragma, got, err)
			}
			if c.pragma == "query_only" {
				if _, err := conn.ExecContext(ctx, `DELETE FROM bookkeeping`); err == nil {
					t.Error("a reader writes")
				}
			}
		}
	}
}

// Neither UPDATE nor DELETE nor INSERT OR REPLACE changes an entry, whatever the connection's settings.
func TestTheLedgerIsAppendOnly(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	path := closed(w)
	for _, settings := range []string{"?_recursive_triggers=on", "?_recursive_triggers=off"} {
		db := raw(t, path+settings)
		for _, statement := range []string{
			`UPDATE entries SET leaf = x'00' WHERE idx = 0`,
			`UPDATE entries SET idx = 1000 WHERE idx = 0`,
			`DELETE FROM entries WHERE idx = (SELECT MAX(idx) FROM entries)`,
			`INSERT OR REPLACE INTO entries (idx, id, leaf) SELECT idx, id, x'00' FROM entries WHERE idx = 0`,
			`INSERT OR REPLACE INTO entries (idx, id, leaf) SELECT (SELECT MAX(idx) + 1 FROM entries), id, leaf FROM entries WHERE idx = 0`,
			`REPLACE INTO entries (idx, id, leaf) VALUES (0, 'x', x'00')`,
			`INSERT INTO entries (idx, id, leaf) SELECT MAX(idx) + 2, 'x', x'00' FROM entries`,
			`UPDATE OR REPLACE entries SET id = 'x' WHERE idx = 0`,
			`INSERT INTO entries (idx, id, leaf) SELECT idx, id, x'00' FROM entries WHERE idx = 0 ON CONFLICT (idx) DO UPDATE SET leaf = excluded.leaf`,
			`UPDATE personal SET sealed = x'00'`,
			`INSERT OR REPLACE INTO personal SELECT entry_id, field, person_id, x'00' FROM personal`,
			`UPDATE contents SET bytes = x'00'`,
		} {
			if r, err := db.Exec(statement); err == nil {
				n, _ := r.RowsAffected()
				t.Errorf("%s: %s changed %d rows", settings, statement, n)
			}
		}
	}
	mustVerify(t, w.Options)
}

func TestOpenSaysWhatIsWrong(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	good := closed(w)
	dir := t.TempDir()
	write := func(name string, b []byte) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	foreign := filepath.Join(dir, "foreign.db")
	mustExec(t, raw(t, foreign), `CREATE TABLE things (x)`)
	newer := copyTo(t, good)
	mustExec(t, raw(t, newer), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)`)
	unfounded := copyTo(t, good)
	db := raw(t, unfounded)
	rows := append(store.ProjectionTables(), "personal", "contents", "entries")
	mustExec(t, db, `DROP TRIGGER entries_no_delete`)
	for _, table := range rows {
		mustExec(t, db, `DELETE FROM `+table)
	}
	header, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	torn := write("torn.db", header[:len(header)/2+100])
	for _, c := range []struct {
		name, path string
		is         error
		says       string
	}{
		{"nothing named", "", nil, "no database was named"},
		{"absent", filepath.Join(dir, "absent.db"), store.ErrNotFound, "init"},
		{"a folder", dir, nil, "is a folder"},
		{"a text file", write("notes.txt", []byte(strings.Repeat("notes ", 100))), store.ErrNotDatabase, "not an SQLite file"},
		{"an empty file", write("empty.db", nil), store.ErrNotDatabase, "not an SQLite file"},
		{"another program's database", foreign, store.ErrNotDatabase, "another program's"},
		{"a newer program's database", newer, store.ErrNewer, "newer version"},
		{"no programme", unfounded, store.ErrNotFound, "init"},
		{"cut off", torn, nil, "damaged"},
		{"a device", os.DevNull, nil, "no ordinary file"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := w.Options
			o.Database = c.path
			for what, err := range map[string]error{
				"open":   func() error { _, err := store.Open(ctx, o); return err }(),
				"verify": func() error { _, err := store.Verify(ctx, o, false, nil); return err }(),
			} {
				if what == "verify" && (c.name == "no programme" || c.name == "cut off") {
					continue // it has findings to report, or damage that opening does not meet
				}
				if err == nil {
					t.Fatalf("%s: no error", what)
				}
				if c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
					t.Errorf("%s: %v", what, err)
				}
			}
		})
	}
	t.Run("another key file", func(t *testing.T) {
		o := w.Options
		keys, err := store.NewKeyFile(w.Random)
		if err != nil {
			t.Fatal(err)
		}
		o.Keys = keys
		if _, err := store.Open(ctx, o); !errors.Is(err, store.ErrWrongKeyFile) {
			t.Errorf("got %v", err)
		}
	})
}

func TestOddPaths(t *testing.T) {
	for _, name := range []string{"a b.db", "50%.db", "what?.db", "no#1.db", "a&b=c.db", "bremsflüssigkeit.db", "'quoted'.db", "file:x.db", "%41.db"} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			w := storetest.New(t, storetest.Config{Dir: dir, Supervisors: 1, Apprentices: 1})
			o := w.Options
			o.Database = filepath.Join(dir, name)
			if err := os.Rename(closed(w), o.Database); err != nil {
				t.Fatal(err)
			}
			s, err := store.Open(ctx, o)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := s.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)); err != nil {
				t.Error(err)
			}
			if err := s.Close(); err != nil {
				t.Error(err)
			}
			mustVerify(t, o)
			files, err := os.ReadDir(dir)
			if err != nil {
				t.Fatal(err)
			}
			if len(files) != 1 || files[0].Name() != name {
				t.Errorf("files: %v", files)
			}
		})
	}
}

func TestAFailedFoundingLeavesNothing(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	dir := t.TempDir()
	o := w.Options
	o.Database = filepath.Join(dir, "new.db")
	for _, f := range []store.Founding{
		{Origin: "o", Title: "t", Zone: "Mars/Olympus", Name: "n", Login: "l"},
		{Origin: "a b", Title: "t", Zone: storetest.Zone, Name: "n", Login: "l"},
		{Origin: "o", Title: "t", Zone: storetest.Zone, Name: "n", Login: " "},
		{Origin: "o", Title: "t", Zone: storetest.Zone, Name: "n", Login: "l", Programme: &store.Programme{List: []byte("nonsense")}},
	} {
		if _, err := store.Create(ctx, o, f); err == nil {
			t.Errorf("%+v was founded", f)
		}
		files, err := os.ReadDir(dir)
		if err != nil || len(files) != 0 {
			t.Errorf("left behind: %v, %v", files, err)
		}
	}
}

// A full disk is told as such; nothing acknowledged is lost, nothing half written stays, and it goes on when there is room.
func TestDiskFull(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	var pages int
	if err := w.Store.Writer().QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.Writer().QueryRow(fmt.Sprintf(`PRAGMA max_page_count = %d`, pages+4)).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	acknowledged := entries(t, w.Store)
	var err error
	for range 200 {
		if _, err = w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)); err != nil {
			break
		}
		acknowledged++
	}
	if !errors.Is(err, store.ErrDiskFull) {
		t.Fatalf("got %v", err)
	}
	if n := entries(t, w.Store); n != acknowledged {
		t.Errorf("%d entries were acknowledged, %d are there", acknowledged, n)
	}
	mustVerify(t, w.Options)
	if err := w.Store.Writer().QueryRow(`PRAGMA max_page_count = 1000000`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	mustVerify(t, w.Options)
}

func TestDriverErrorsSayWhatToDo(t *testing.T) {
	for _, c := range []struct {
		code sqlite3.ErrNo
		is   error
		says string
	}{
		{sqlite3.ErrBusy, store.ErrBusy, "another process"}, {sqlite3.ErrFull, store.ErrDiskFull, "make room"}, {sqlite3.ErrReadonly, store.ErrReadOnly, "writable"},
		{sqlite3.ErrCantOpen, nil, "readable and writable"}, {sqlite3.ErrNotADB, store.ErrNotDatabase, "not a Brakewright"},
		{sqlite3.ErrCorrupt, nil, "restore a backup"}, {sqlite3.ErrIoErr, nil, "check it"},
	} {
		err := store.Explain("x.db", fmt.Errorf("wrapped: %w", sqlite3.Error{Code: c.code}))
		if c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), "x.db") {
			t.Errorf("%v: %v", c.code, err)
		}
		var inside sqlite3.Error
		if !errors.As(err, &inside) {
			t.Errorf("%v: the driver's error is lost", c.code)
		}
	}
	if err := store.Explain("x.db", ledger.ErrPassphrase); err != ledger.ErrPassphrase {
		t.Errorf("got %v", err)
	}
}

// Whoever does not get a turn in time is told so, and nothing of theirs happens afterwards.
func TestBusy(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	defer store.SetQueueTimeout(50 * time.Millisecond)()
	hold, held, done := make(chan struct{}), make(chan struct{}), make(chan error)
	go func() { done <- w.Store.Write(ctx, func(*store.Tx) error { close(held); <-hold; return nil }) }()
	<-held
	before := entries(t, w.Store)
	if _, err := w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)); !errors.Is(err, store.ErrBusy) {
		t.Errorf("got %v", err)
	}
	close(hold)
	if err := <-done; err != nil { // it had begun: however long it takes, its outcome is awaited
		t.Error(err)
	}
	if err := w.Store.Write(ctx, func(*store.Tx) error { return nil }); err != nil {
		t.Error(err)
	}
	if n := entries(t, w.Store); n != before {
		t.Error("what was answered as busy was written after all")
	}
}

// A file system that has become read-only is told as such; nothing is half written, and it goes on when that is mended.
func TestReadOnly(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	before := entries(t, w.Store)
	if _, err := w.Store.Writer().Exec(`PRAGMA query_only = ON`); err != nil { // the engine's own answer to a write that may not be
		t.Fatal(err)
	}
	_, err := w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	if !errors.Is(err, store.ErrReadOnly) || !strings.Contains(err.Error(), "nothing was recorded") {
		t.Errorf("got %v", err)
	}
	if n := entries(t, w.Store); n != before {
		t.Errorf("%d entries, want %d", n, before)
	}
	if _, err := w.Store.Writer().Exec(`PRAGMA query_only = OFF`); err != nil {
		t.Fatal(err)
	}
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	mustVerify(t, w.Options)
}
