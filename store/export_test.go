package store

import (
	"context"
	"database/sql"

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

// Explain is what drivers' errors become.
var Explain = explain

// ParseKeyFile reads a key file's bytes.
var ParseKeyFile = parseKeyFile

// MaxBatch bounds how many callers share a commit.
const MaxBatch = maxBatch

// Waiting is how many callers stand in the queue.
func (s *Store) Waiting() int { return len(s.queue) }
