package store

import (
	"context"
	"database/sql"
	"embed"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"github.com/mattn/go-sqlite3"
	"github.com/pressly/goose/v3"
)

//go:embed migrations/sqlite/*.sql
var migrationFiles embed.FS

// applicationID marks our files in SQLite's header: "BRKE".
const applicationID = 0x42524b45

// busyTimeoutMS is how long a connection waits for another process's write, in milliseconds.
const busyTimeoutMS = 10_000

// access is what a handle is for.
type access int

const (
	forWriting access = iota // the one writer: transactions begin immediate
	forReading               // the pool of readers: deferred, query_only
	untouched                // another's file, read as it is: no write, no migration, no recovery that it does not need
)

// dataSource is the connection string of a file. Every setting stands in it, so that every pooled connection has it.
func dataSource(path string, a access) string {
	v := url.Values{}
	v.Set("_foreign_keys", "on")
	v.Set("_busy_timeout", strconv.Itoa(busyTimeoutMS))
	v.Set("_synchronous", "FULL")
	v.Set("_stmt_cache_size", "128")
	v.Set("_recursive_triggers", "on")
	switch a {
	case forWriting:
		v.Set("mode", "rw")
		v.Set("_journal_mode", "WAL")
		v.Set("_txlock", "immediate")
		v.Set("_secure_delete", "on") // what is erased is overwritten
	case forReading:
		v.Set("mode", "rw")
		v.Set("_journal_mode", "WAL")
		v.Set("_txlock", "deferred")
		v.Set("_query_only", "on")
	case untouched:
		v.Set("mode", "ro")
		v.Set("_txlock", "deferred")
		v.Set("_query_only", "on")
		if !exists(path+"-wal") && !exists(path+"-shm") {
			// No process has it open. Without the log's index beside it, which reading may not make, it can only be read so.
			v.Set("immutable", "1")
		}
	}
	return "file:" + escapePath(path) + "?" + v.Encode()
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// openHandle opens a pool on a file and tries it.
func openHandle(ctx context.Context, path string, a access, conns int) (*sql.DB, error) {
	db, err := sql.Open("sqlite3", dataSource(path, a))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(conns)
	db.SetMaxIdleConns(conns)
	if err := db.PingContext(ctx); err != nil {
		db.Close()
		return nil, explain(path, err)
	}
	return db, nil
}

// openUntouched opens one connection to a file that is read as it is, and gives what closes it. A log that was left behind on
// a disk where nothing may be written (its index cannot be made beside it) is read from a copy in a temporary folder.
func openUntouched(ctx context.Context, path string) (*sql.DB, func(), error) {
	open := func(path string) (*sql.DB, error) {
		db, err := openHandle(ctx, path, untouched, 1)
		if err != nil {
			return nil, err
		}
		var n int
		if err := db.QueryRowContext(ctx, `SELECT COUNT(*) FROM sqlite_schema`).Scan(&n); err != nil {
			db.Close()
			return nil, explain(path, err)
		}
		return db, nil
	}
	db, err := open(path)
	if err == nil {
		return db, func() { db.Close() }, nil
	}
	var e sqlite3.Error
	if !errors.As(err, &e) || e.Code != sqlite3.ErrCantOpen || !exists(path+"-wal") || exists(path+"-shm") {
		return nil, nil, err
	}
	dir, err := os.MkdirTemp("", "brakewright-read-")
	if err != nil {
		return nil, nil, err
	}
	copied := filepath.Join(dir, "copy.db")
	for _, suffix := range []string{"", "-wal"} {
		if err := copyFile(path+suffix, copied+suffix); err != nil {
			os.RemoveAll(dir)
			return nil, nil, fmt.Errorf("database %s: copied to be read: %w", path, err)
		}
	}
	if db, err = open(copied); err != nil {
		os.RemoveAll(dir)
		return nil, nil, err
	}
	return db, func() { db.Close(); os.RemoveAll(dir) }, nil
}

// checkFile says in plain words why a path cannot be a database of ours, before the driver says it in its own.
func checkFile(path string) error {
	if path == "" {
		return errors.New("no database was named")
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("database %s does not exist; make it with init: %w", path, ErrNotFound)
	case err != nil:
		return fmt.Errorf("database %s cannot be read: %w", path, err)
	case info.IsDir():
		return fmt.Errorf("database %s is a folder; name a file in it", path)
	case !info.Mode().IsRegular():
		return fmt.Errorf("database %s is no ordinary file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("database %s cannot be read: %w", path, err)
	}
	defer f.Close()
	var header [100]byte
	n, _ := f.Read(header[:])
	if n < len(header) || string(header[:16]) != "SQLite format 3\x00" {
		return fmt.Errorf("%s: %w: it is not an SQLite file", path, ErrNotDatabase)
	}
	if id := binary.BigEndian.Uint32(header[68:72]); id != applicationID {
		// A file that was just made may hold its header in the log beside it still.
		if wal, err := os.Stat(path + "-wal"); err != nil || wal.Size() == 0 {
			return fmt.Errorf("%s: %w: it is another program's SQLite file", path, ErrNotDatabase)
		}
	}
	return nil
}

// explain turns a driver's error into one that says what to do. The driver's error stays inside.
func explain(path string, err error) error {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		return err
	}
	at := ""
	if path != "" {
		at = "database " + path + ": "
	}
	switch e.Code {
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		return fmt.Errorf("%sanother process keeps writing to it: %w (%w)", at, ErrBusy, err)
	case sqlite3.ErrFull:
		return fmt.Errorf("%s%w; make room and try again; nothing was recorded (%w)", at, ErrDiskFull, err)
	case sqlite3.ErrReadonly:
		return fmt.Errorf("%s%w; the file and its folder must be writable; nothing was recorded (%w)", at, ErrReadOnly, err)
	case sqlite3.ErrCantOpen:
		return fmt.Errorf("%sit cannot be opened; the file and its folder must be readable and writable (%w)", at, err)
	case sqlite3.ErrNotADB:
		return fmt.Errorf("%s%w (%w)", at, ErrNotDatabase, err)
	case sqlite3.ErrCorrupt:
		return fmt.Errorf("%sthe file is damaged; restore a backup (%w)", at, err)
	case sqlite3.ErrIoErr:
		return fmt.Errorf("%sthe disk reports a fault; check it before going on (%w)", at, err)
	}
	return fmt.Errorf("%s%w", at, err)
}

// isUnique says whether a write failed because a key is taken.
func isUnique(err error) bool {
	var e sqlite3.Error
	return errors.As(err, &e) && (e.ExtendedCode == sqlite3.ErrConstraintUnique || e.ExtendedCode == sqlite3.ErrConstraintPrimaryKey)
}

// migrator runs the embedded migrations of the engine.
func migrator(db *sql.DB) (*goose.Provider, error) {
	files, err := fs.Sub(migrationFiles, "migrations/sqlite")
	if err != nil {
		return nil, err
	}
	// A database may lack a number below its highest: features are released in another order than they were begun.
	return goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true), goose.WithAllowOutofOrder(true))
}

// migrate brings a database's tables up to this program's. Another process may be doing the same at the same time: a
// failure counts only if the tables are still old.
func migrate(ctx context.Context, path string, db *sql.DB) error {
	p, err := migrator(db)
	if err != nil {
		return err
	}
	var last error
	for range 5 {
		current, target, err := p.GetVersions(ctx)
		switch {
		case err != nil:
			last = err
			continue
		case current > target:
			return fmt.Errorf("database %s was made by a newer version of this program (its tables are number %d, this program knows %d): %w", path, current, target, ErrNewer)
		}
		if waiting, err := p.HasPending(ctx); err == nil && !waiting {
			return nil
		}
		if _, err := p.Up(ctx); err != nil {
			last = err
			continue
		}
		return nil
	}
	return fmt.Errorf("database %s: bringing its tables up to date: %w", path, explain("", last))
}

// versions says which tables a database has and which this program knows, without changing anything. Numbers may be
// missing in between: pending says whether any migration of this program is still to be run.
func versions(q querier) (current, target int64, pending bool, err error) {
	known, err := migrationNumbers()
	if err != nil {
		return 0, 0, false, err
	}
	applied, err := collect(q, func(r *sql.Rows) (n int64, err error) { return n, r.Scan(&n) },
		`SELECT version_id FROM goose_db_version WHERE is_applied = 1 ORDER BY version_id`)
	if err != nil {
		return 0, 0, false, err
	}
	for _, n := range applied {
		current = max(current, n)
	}
	for _, n := range known {
		target = max(target, n)
		pending = pending || !slices.Contains(applied, n)
	}
	return current, target, pending, nil
}

// migrationNumbers are the numbers of the migrations that this program knows, in order.
func migrationNumbers() ([]int64, error) {
	files, err := fs.ReadDir(migrationFiles, "migrations/sqlite")
	if err != nil {
		return nil, err
	}
	var all []int64
	for _, f := range files {
		n, err := goose.NumericComponent(f.Name())
		if err != nil {
			return nil, err
		}
		all = append(all, n)
	}
	return all, nil
}

// escapePath escapes a file's path for a connection string: a '?' or '#' in it would else begin the parameters.
func escapePath(path string) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = path
	}
	return (&url.URL{Path: filepath.ToSlash(abs)}).EscapedPath()
}
