package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/mattn/go-sqlite3"

	"brakewright/store/ledger"
)

// backupPages is how many pages are copied at a time: 1 MiB of the usual 4 KiB pages.
const backupPages = 256

// copyDatabase copies a database, live or not, to a new file by the engine's online backup: a consistent state, whoever
// writes meanwhile.
func copyDatabase(ctx context.Context, from, to string, progress Progress) error {
	src, done, err := openUntouched(ctx, from)
	if err != nil {
		return err
	}
	defer done()
	dst, err := sql.Open("sqlite3", "file:"+escapePath(to)+"?_synchronous=FULL")
	if err != nil {
		return err
	}
	defer dst.Close()
	srcConn, err := src.Conn(ctx)
	if err != nil {
		return explain(from, err)
	}
	defer srcConn.Close()
	dstConn, err := dst.Conn(ctx)
	if err != nil {
		return explain(to, err)
	}
	defer dstConn.Close()
	// A read transaction holds the state still: else each commit of another process would start the copy again.
	if _, err := srcConn.ExecContext(ctx, `BEGIN`); err != nil {
		return explain(from, err)
	}
	var n int
	if err := srcConn.QueryRowContext(ctx, `SELECT COUNT(*) FROM sqlite_schema`).Scan(&n); err != nil {
		return explain(from, err)
	}
	err = srcConn.Raw(func(s any) error {
		return dstConn.Raw(func(d any) error {
			return copyPages(ctx, s.(*sqlite3.SQLiteConn), d.(*sqlite3.SQLiteConn), progress)
		})
	})
	if err != nil {
		return explain(to, err)
	}
	if err := errors.Join(dstConn.Close(), dst.Close()); err != nil {
		return explain(to, err)
	}
	return syncFile(to)
}

func copyPages(ctx context.Context, from, to *sqlite3.SQLiteConn, progress Progress) (err error) {
	b, err := to.Backup("main", from, "main")
	if err != nil {
		return err
	}
	// Whatever happens, progress panicking included, it ends before its connections do.
	defer func() { err = errors.Join(err, b.Finish()) }()
	for {
		done, err := b.Step(backupPages)
		if err != nil {
			return err
		}
		if progress != nil {
			progress("pages", int64(b.PageCount()-b.Remaining()), int64(b.PageCount()))
		}
		if done {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

func backup(ctx context.Context, o Options, out string, progress Progress) (*string, error) {
	if err := checkFile(o.Database); err != nil {
		return nil, err
	}
	if _, err := os.Lstat(out); err == nil {
		return nil, fmt.Errorf("backup %s: %w; it is never overwritten", out, ErrExists)
	}
	temp, err := tempDatabase(out, ".part")
	if err != nil {
		return nil, fmt.Errorf("backup %s: %w", out, err)
	}
	defer removeDatabase(temp)
	if err := copyDatabase(ctx, o.Database, temp, progress); err != nil {
		return nil, fmt.Errorf("backup %s: %w", out, err)
	}
	under := o
	under.Database = temp
	v, err := examine(ctx, under, examination{}, progress)
	if err != nil {
		return nil, fmt.Errorf("backup %s: %w", out, err)
	}
	if !v.OK {
		return nil, fmt.Errorf("backup %s: the copy was not kept: %w: %s", out, ErrDamaged, v.FirstProblem.What)
	}
	if err := placeNew(temp, out); err != nil {
		return nil, fmt.Errorf("backup: %w", err)
	}
	return v.Head, nil
}

func restore(ctx context.Context, from string, o Options, force bool, progress Progress) (*Verification, error) {
	source := o
	source.Database = from
	v, err := examine(ctx, source, examination{database: true, content: true, personal: true, projections: true}, progress)
	if err != nil {
		return nil, fmt.Errorf("restore: the backup: %w", err)
	}
	if !v.OK {
		return v, fmt.Errorf("restore: the backup %s is not whole: %w: %s", from, ErrDamaged, v.FirstProblem.What)
	}
	present, err := present(o.Database)
	if err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	// The new file is whole and on the disk before anything happens to the old one.
	temp, err := tempDatabase(o.Database, ".restoring")
	if err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	defer removeDatabase(temp)
	if err := copyDatabase(ctx, from, temp, progress); err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	if err := endLogIns(ctx, temp); err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	if force {
		if err := noteForced(ctx, o.Database, present, temp); err != nil {
			return v, fmt.Errorf("restore: %w", err)
		}
	} else if err := extendsKnown(ctx, o, temp); err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	copied := o
	copied.Database = temp
	again, err := examine(ctx, copied, examination{}, nil)
	if err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	if !again.OK || again.Entries != v.Entries {
		return v, fmt.Errorf("restore: the copy is not whole; check the disk: %w", ErrDamaged)
	}
	if !present {
		if err := placeNew(temp, o.Database); err != nil {
			return v, fmt.Errorf("restore: %w", err)
		}
		return v, settleRestored(ctx, o)
	}
	if err := settle(ctx, o.Database, temp, force); err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	if err := replace(temp, o.Database); err != nil {
		return v, fmt.Errorf("restore: %w", err)
	}
	return v, settleRestored(ctx, o)
}

// settleRestored opens the restored database once, with the key file: what it is owed, the entry of a forced restore and
// erasures that the copy forgot, is then made at once. Without the key file that waits for whoever opens it with it.
func settleRestored(ctx context.Context, o Options) error {
	if o.Keys == nil {
		return nil
	}
	s, err := open(ctx, fillOptions(o))
	if err != nil {
		return fmt.Errorf("restore: the copy is in place, but cannot be opened: %w", err)
	}
	return errors.Join(s.refusal, s.Close())
}

// extendsKnown refuses a copy that does not extend the head kept beside the key file.
func extendsKnown(ctx context.Context, o Options, copied string) error {
	if o.Keys == nil || o.Beside == "" {
		return nil
	}
	s, err := openSnapshot(ctx, copied)
	if err != nil {
		return err
	}
	defer s.done()
	head, err := headOf(s.q)
	if err != nil { // a copy from before there was a tree
		return nil
	}
	key, err := ledger.NewHeadKey(head.Origin, o.Keys.HeadSeed)
	if err != nil {
		return err
	}
	known, err := readKnownHead(o.Beside, key.Public())
	if err != nil || known == nil {
		return err
	}
	if err := extendsHead(keptHashes{s.q}, head.HeadBody, known.HeadBody); err != nil {
		return fmt.Errorf("%w: %w", ErrOlder, err)
	}
	return nil
}

// noteForced leaves a note in the copy of what it replaces, as far as that can be read: the head that was known and the
// erasures that were made. It becomes an entry when the copy is opened with its key file.
func noteForced(ctx context.Context, old string, present bool, copied string) error {
	var note forcedRestore
	if present {
		if s, err := openSnapshot(ctx, old); err == nil {
			if head, err := headOf(s.q); err == nil {
				note.Known = knownHead{head.Size, head.Root}
			}
			if leaves, err := erasuresOf(s.q); err == nil {
				note.Erasures = leaves
			}
			s.done()
		}
	}
	db, err := openHandle(ctx, copied, forWriting, 1)
	if err != nil {
		return err
	}
	err = db.QueryRowContext(ctx, `SELECT COUNT(*) FROM entries`).Scan(&note.Entries)
	if err == nil {
		var text []byte
		if text, err = json.Marshal(note); err == nil {
			_, err = db.ExecContext(ctx, `INSERT INTO bookkeeping (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, forcedNote, string(text))
		}
	}
	return errors.Join(err, db.Close(), syncFile(copied))
}

// endLogIns ends all sessions and log-in codes of a restored copy: a log-in that was ended since must not come back.
func endLogIns(ctx context.Context, path string) error {
	db, err := openHandle(ctx, path, forWriting, 1)
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `DELETE FROM sessions; DELETE FROM login_codes`)
	return errors.Join(err, db.Close(), syncFile(path))
}

func present(path string) (bool, error) {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return false, err
	case !info.Mode().IsRegular():
		return false, fmt.Errorf("%s is no ordinary file", path)
	}
	return true, nil
}

// settle makes sure that nobody has the old database open, brings its log into it, and refuses to replace it if it holds
// entries that the new one lacks.
func settle(ctx context.Context, old, next string, force bool) error {
	err := func() error {
		if err := checkFile(old); err != nil {
			return err
		}
		db, err := openAlone(ctx, old)
		if err != nil {
			return err
		}
		defer db.Close()
		return extends(ctx, db, next)
	}()
	if err == nil || errors.Is(err, ErrBusy) {
		return err
	}
	if force {
		return nil
	}
	if errors.Is(err, ErrOlder) {
		return err
	}
	return fmt.Errorf("the database to be replaced cannot be read, so nobody can say what would be lost; force it to put it aside: %w", err)
}

// openAlone opens a database for itself; ErrBusy if any other process has it open.
func openAlone(ctx context.Context, path string) (*sql.DB, error) {
	db, err := sql.Open("sqlite3", "file:"+escapePath(path)+"?mode=rw&_locking_mode=EXCLUSIVE&_busy_timeout=1000&_txlock=exclusive")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	if _, err := db.ExecContext(ctx, `BEGIN EXCLUSIVE`); err != nil {
		db.Close()
		var e sqlite3.Error
		if errors.As(err, &e) && e.Code == sqlite3.ErrBusy {
			return nil, fmt.Errorf("database %s is in use; stop the server first: %w", path, ErrBusy)
		}
		return nil, explain(path, err)
	}
	if _, err := db.ExecContext(ctx, `COMMIT`); err != nil {
		db.Close()
		return nil, explain(path, err)
	}
	// The lock stays until the handle is closed; closing it removes the log.
	if _, err := db.ExecContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		db.Close()
		return nil, explain(path, err)
	}
	return db, nil
}

// extends says whether the file next holds every entry of the old database, in the same places.
func extends(ctx context.Context, old *sql.DB, next string) error {
	t, err := old.BeginTx(ctx, &sql.TxOptions{})
	if err != nil {
		return err
	}
	defer t.Rollback()
	s, err := openSnapshot(ctx, next)
	if err != nil {
		return err
	}
	defer s.done()
	a := &reader{ctx, t}
	var had, has int64
	if err := a.row(`SELECT COUNT(*) FROM entries`).Scan(&had); err != nil {
		return err
	}
	if err := s.q.row(`SELECT COUNT(*) FROM entries`).Scan(&has); err != nil {
		return err
	}
	if had > has {
		return fmt.Errorf("it has %d entries, the backup %d: %w", had, has, ErrOlder)
	}
	n, p, err := compareEntries(a, s.q, had)
	if err != nil {
		return err
	}
	if p {
		return fmt.Errorf("from entry %d on it is another ledger than the backup: %w", n, ErrOlder)
	}
	return nil
}

// compareEntries compares the first n entries and says where they part.
func compareEntries(a, b querier, n int64) (at int64, differ bool, err error) {
	type row struct {
		idx  int64
		leaf []byte
	}
	page := func(q querier, from int64) ([]row, error) {
		return collect(q, func(r *sql.Rows) (x row, err error) { return x, r.Scan(&x.idx, &x.leaf) },
			`SELECT idx, leaf FROM entries WHERE idx >= $1 AND idx < $2 ORDER BY idx`, from, min(from+replayBatch, n))
	}
	for at < n {
		x, err := page(a, at)
		if err != nil {
			return at, false, err
		}
		y, err := page(b, at)
		if err != nil {
			return at, false, err
		}
		for i := range x {
			if i >= len(y) || x[i].idx != y[i].idx || string(x[i].leaf) != string(y[i].leaf) {
				return x[i].idx, true, nil
			}
		}
		if len(x) == 0 {
			return at, len(y) > 0, nil
		}
		at += replayBatch
	}
	return n, false, nil
}

// replace puts a finished file in the place of an old one, which is kept under another name.
func replace(temp, path string) error {
	kept := ""
	for n := 1; ; n++ {
		kept = fmt.Sprintf("%s.before-restore-%d", path, n)
		err := os.Link(path, kept)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil { // a file system without links
			if err := copyFile(path, kept); errors.Is(err, fs.ErrExist) {
				continue
			} else if err != nil {
				return err
			}
		}
		break
	}
	// A log that the old database could not take in (it is damaged) must never be taken for the new one's.
	for _, suffix := range []string{"-wal", "-shm", "-journal"} {
		if err := os.Rename(path+suffix, kept+suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	syncFolder(path)
	return nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Sync(), out.Close())
}
