package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// refreshProjections makes the projections anew if another version of the program made them.
func (s *Store) refreshProjections(ctx context.Context) error {
	var v string
	read := func(q querier) error {
		return optional(q.row(`SELECT value FROM bookkeeping WHERE name = 'projections'`).Scan(&v))
	}
	if err := s.read(ctx, read); err != nil || v == projectionVersion {
		return err
	}
	return s.write(ctx, func(t *tx) error {
		if err := read(t); err != nil || v == projectionVersion { // another process was first
			return err
		}
		return t.rebuild(ctx, nil)
	})
}

// rebuild empties the projection tables and fills them again from the ledger, all within the transaction. A ledger that
// breaks its rules is not projected.
func (t *tx) rebuild(ctx context.Context, progress Progress) error {
	for _, table := range projectionTables {
		if _, err := t.exec(`DELETE FROM ` + table.name); err != nil {
			return err
		}
	}
	problem, err := replayInto(ctx, t, t, checkedContent(t), nil, progress)
	if err != nil {
		return err
	}
	if problem != nil {
		return fmt.Errorf("entry %d: %s: %w", problem.Index, problem.What, ErrDamaged)
	}
	return t.noteProjections()
}

// noteProjections keeps which version of the program made the projections.
func (t *tx) noteProjections() error {
	_, err := t.exec(`INSERT INTO bookkeeping (name, value) VALUES ('projections', $1) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, projectionVersion)
	return err
}

// replayInto replays the ledger read from q and projects it into t.
func replayInto(ctx context.Context, q querier, t *tx, content func(string) ([]byte, error), each func(*replayed) error, progress Progress) (*Problem, error) {
	r := newReplay(q, content, progress)
	r.each = func(e *replayed) error {
		if err := project(t, content, e.index, e.p, e.leaf); err != nil {
			return err
		}
		if each != nil {
			return each(e)
		}
		return nil
	}
	err := r.run(ctx)
	return r.problem, err
}

func newReplay(q querier, content func(string) ([]byte, error), progress Progress) *replay {
	r := &replay{q: q, content: content}
	if progress != nil {
		var total int64
		if q.row(`SELECT COUNT(*) FROM entries`).Scan(&total) == nil {
			r.report = func(done int64) { progress("entries", done, total) }
		}
	}
	return r
}

// scratch is a temporary database with this program's tables and nothing in them.
type scratch struct {
	dir string
	db  *sql.DB
	tx  *tx
}

func newScratch(ctx context.Context) (*scratch, error) {
	dir, err := os.MkdirTemp("", "brakewright-verify-")
	if err != nil {
		return nil, err
	}
	c := &scratch{dir: dir}
	// Nothing here outlives the run: no journal, no waiting for the disk.
	dsn := "file:" + filepath.ToSlash(filepath.Join(dir, "scratch.db")) + "?_journal_mode=OFF&_synchronous=OFF&_stmt_cache_size=128&_foreign_keys=on&_recursive_triggers=on"
	if c.db, err = sql.Open("sqlite3", dsn); err != nil {
		c.close()
		return nil, err
	}
	c.db.SetMaxOpenConns(1)
	if err := migrate(ctx, dir, c.db); err != nil {
		c.close()
		return nil, err
	}
	sqlTx, err := c.db.BeginTx(ctx, nil)
	if err != nil {
		c.close()
		return nil, err
	}
	c.tx = &tx{sql: sqlTx}
	return c, nil
}

func (c *scratch) close() {
	if c.tx != nil {
		c.tx.sql.Rollback()
	}
	if c.db != nil {
		c.db.Close()
	}
	os.RemoveAll(c.dir)
}

// rebuild is the command: with check it only compares.
func rebuild(ctx context.Context, o Options, check bool, progress Progress) (*Verification, error) {
	if check {
		return examine(ctx, o, examination{projections: true}, progress)
	}
	if err := checkFile(o.Database); err != nil {
		return nil, err
	}
	s, err := openWriter(ctx, fillOptions(o))
	if err != nil {
		return nil, err
	}
	err = s.write(ctx, func(t *tx) error { return t.rebuild(ctx, progress) })
	if err = errors.Join(err, s.Close()); err != nil {
		return nil, fmt.Errorf("rebuild %s: %w", o.Database, err)
	}
	return examine(ctx, o, examination{projections: true}, progress)
}

// compareProjections says how the first projection table that differs does, and how many rows were compared.
func compareProjections(kept, made querier) (rows int64, problem *Problem, err error) {
	for _, table := range projectionTables {
		n, p, err := compareTable(kept, made, table.name, table.key)
		rows += n
		if p != nil || err != nil {
			return rows, p, err
		}
	}
	return rows, nil, nil
}

// cursor reads a table's rows in the order of its key.
type cursor struct {
	rows    *sql.Rows
	columns []string
	keys    int // the key's columns come first
	values  []any
	more    bool
}

func openCursor(q querier, table, key string) (*cursor, error) {
	rows, err := q.query(`SELECT ` + key + `, * FROM ` + table + ` ORDER BY ` + key)
	if err != nil {
		return nil, err
	}
	columns, err := rows.Columns()
	if err != nil {
		rows.Close()
		return nil, err
	}
	c := &cursor{rows: rows, columns: columns, keys: strings.Count(key, ",") + 1, values: make([]any, len(columns))}
	return c, c.next()
}

func (c *cursor) next() error {
	if c.more = c.rows.Next(); !c.more {
		return c.rows.Err()
	}
	to := make([]any, len(c.values))
	for i := range c.values {
		c.values[i] = nil
		to[i] = &c.values[i]
	}
	return c.rows.Scan(to...)
}

func (c *cursor) key() string {
	parts := make([]string, c.keys)
	for i := range parts {
		parts[i] = valueText(c.values[i])
	}
	return strings.Join(parts, ",")
}

func valueText(v any) string {
	if b, ok := v.([]byte); ok {
		return fmt.Sprintf("%x", b)
	}
	return fmt.Sprint(v)
}

// index is the row's entry index, -1 if it has none.
func (c *cursor) index() int64 {
	for i, name := range c.columns {
		if n, ok := c.values[i].(int64); ok && name == "idx" {
			return n
		}
	}
	return -1
}

// compareKeys orders two rows by their keys.
func compareKeys(a, b *cursor) int {
	for i := range a.keys {
		if n := compareValues(a.values[i], b.values[i]); n != 0 {
			return n
		}
	}
	return 0
}

// compareValues orders values as the engine does: integers, then texts and blobs bytewise.
func compareValues(a, b any) int {
	x, okA := a.(int64)
	y, okB := b.(int64)
	switch {
	case okA && okB && x < y:
		return -1
	case okA && okB && x > y:
		return 1
	case okA && okB:
		return 0
	case okA:
		return -1
	case okB:
		return 1
	}
	return strings.Compare(fmt.Sprintf("%T%s", a, a), fmt.Sprintf("%T%s", b, b))
}

func compareTable(kept, made querier, table, key string) (n int64, problem *Problem, err error) {
	a, err := openCursor(kept, table, key)
	if err != nil {
		return 0, nil, err
	}
	defer a.rows.Close()
	b, err := openCursor(made, table, key)
	if err != nil {
		return 0, nil, err
	}
	defer b.rows.Close()
	for a.more || b.more {
		order := 0
		switch {
		case !b.more:
			order = -1
		case !a.more:
			order = 1
		default:
			order = compareKeys(a, b)
		}
		if order < 0 {
			return n, &Problem{table, a.key(), a.index(), "the row is there, but the ledger does not say so"}, nil
		}
		if order > 0 {
			return n, &Problem{table, b.key(), b.index(), "the row is missing"}, nil
		}
		for i := a.keys; i < len(a.columns); i++ {
			if compareValues(a.values[i], b.values[i]) != 0 {
				return n, &Problem{table, a.key(), b.index(), fmt.Sprintf("%s is not what the ledger says", a.columns[i])}, nil
			}
		}
		n++
		if err := errors.Join(a.next(), b.next()); err != nil {
			return n, nil, err
		}
	}
	return n, nil, nil
}
