package store

import (
	"context"
	"database/sql"
	"testing"
	"time"

	"brakewright/store/ledger"
)

// What tests of the package may see of its inside.

// Tx is the writer's transaction.
type Tx = tx

// Exec runs a statement in it.
func (t *tx) Exec(query string, args ...any) error {
	_, err := t.exec(query, args...)
	return err
}

// Write is the queue of the writer.
func (s *Store) Write(ctx context.Context, fn func(*Tx) error) error { return s.write(ctx, fn) }

// Facts are the rules' facts of the projections as they stand.
func (s *Store) Facts(ctx context.Context, fn func(ledger.Facts) error) error {
	return s.read(ctx, func(q querier) error { return fn(&sqlFacts{q: q}) })
}

// Writer and Readers are the two handles.
func (s *Store) Writer() *sql.DB  { return s.writer }
func (s *Store) Readers() *sql.DB { return s.readers }

// ProjectionTables are the names of the tables that follow from the ledger.
func ProjectionTables() []string {
	var names []string
	for _, t := range projectionTables {
		names = append(names, t.name)
	}
	return names
}

// SetQueueTimeout changes how long callers wait, and returns how to change it back.
func SetQueueTimeout(d time.Duration) (back func()) {
	old := queueTimeout
	queueTimeout = d
	return func() { queueTimeout = old }
}

// Explain is what drivers' errors become.
var Explain = explain

// ParsePHC and PHC are a password hash's parts and text.
var (
	ParsePHC = parsePHC
	PHC      = phc
)

// ParseProgrammeList reads the lines of a programme and says how many files they name.
func ParseProgrammeList(b []byte) (int, error) {
	files, err := parseProgrammeList(b)
	return len(files), err
}

// ParseKeyFile reads a key file's bytes.
var ParseKeyFile = parseKeyFile

// MaxBatch bounds how many callers share a commit.
const MaxBatch = maxBatch

// AppendLeaf appends a leaf as it is: the ledger's row, the tree, the signed head of the commit; no rules, no projections.
func (s *Store) AppendLeaf(ctx context.Context, id string, leaf []byte) error {
	hash := ledger.LeafHash(leaf)
	return s.write(ctx, func(t *tx) error {
		if t.end == nil {
			var next int64
			if err := t.row(`SELECT COALESCE(MAX(idx) + 1, 0) FROM entries`).Scan(&next); err != nil {
				return err
			}
			t.end = &tail{next: next}
		}
		if _, err := t.exec(`INSERT INTO entries (idx, id, leaf) VALUES ($1, $2, $3)`, t.end.next, id, leaf); err != nil {
			return err
		}
		if len(t.leaves) == 0 {
			t.leavesFrom = t.end.next
		}
		t.leaves = append(t.leaves, hash)
		t.end = &tail{next: t.end.next + 1}
		return nil
	})
}

// Waiting is how many callers stand in the queue.
func (s *Store) Waiting() int { return len(s.queue) }

// AppendTogether appends submissions in the order given, each for itself, all sharing one commit.
func (s *Store) AppendTogether(ctx context.Context, subs []*ledger.Submission) ([]Receipt, []error) {
	receipts, errs := make([]Receipt, len(subs)), make([]error, len(subs))
	hold, held := make(chan struct{}), make(chan struct{})
	go s.write(ctx, func(*tx) error { close(held); <-hold; return nil })
	<-held
	requests := make([]*request, len(subs))
	for i, sub := range subs {
		p, err := s.prepare(ctx, sub)
		if err != nil {
			errs[i] = err
			continue
		}
		requests[i] = &request{ctx: ctx, done: make(chan struct{}), fn: func(t *tx) (err error) {
			receipts[i], err = t.append(p)
			return err
		}}
		s.queue <- requests[i]
	}
	close(hold)
	for i, r := range requests {
		if r != nil {
			<-r.done
			errs[i] = r.err
		}
	}
	return receipts, errs
}

// Resealer opens personal rows of a file and seals others in their place, as whoever has the key file can.
type Resealer struct {
	t  testing.TB
	s  *Store
	db *sql.DB
}

// NewResealer opens a file that nobody else has open.
func NewResealer(t testing.TB, o Options) *Resealer {
	t.Helper()
	s, err := open(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return &Resealer{t, s, s.writer}
}

// Opened is a row with its salt.
func (f *Resealer) Opened(entry, field string) (x ledger.PersonalField) {
	f.t.Helper()
	var person string
	var sealed []byte
	if err := f.db.QueryRow(`SELECT person_id, sealed FROM personal WHERE entry_id = $1 AND field = $2`, entry, field).Scan(&person, &sealed); err != nil {
		f.t.Fatal(err)
	}
	err := f.s.read(context.Background(), func(q querier) error {
		aead, err := f.s.dataKey(q, person)
		if err == nil {
			x, err = openPersonal(aead, entry, field, person, sealed)
		}
		return err
	})
	if err != nil {
		f.t.Fatal(err)
	}
	return x
}

// Reseal puts something else in a row's place.
func (f *Resealer) Reseal(entry, field string, change func(ledger.PersonalField) ledger.PersonalField) {
	f.t.Helper()
	x := change(f.Opened(entry, field))
	err := f.s.read(context.Background(), func(q querier) error {
		aead, err := f.s.dataKey(q, x.Person)
		if err != nil {
			return err
		}
		sealed, err := sealPersonal(f.s.random, aead, entry, field, x)
		if err != nil {
			return err
		}
		for _, edit := range []string{`DROP TRIGGER personal_no_update`, `UPDATE personal SET sealed = $1 WHERE entry_id = $2 AND field = $3`,
			`CREATE TRIGGER personal_no_update BEFORE UPDATE ON personal
BEGIN SELECT RAISE(ABORT, 'personal values are not edited'); END`} {
			args := []any{sealed, entry, field}
			if edit[0] != 'U' {
				args = nil
			}
			if _, err := f.db.Exec(edit, args...); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		f.t.Fatal(err)
	}
}

// Close closes the file.
func (f *Resealer) Close() {
	f.t.Helper()
	if err := f.s.Close(); err != nil {
		f.t.Fatal(err)
	}
}
