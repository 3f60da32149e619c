package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// maxBatch bounds how many callers share a transaction, so that nobody waits long for others' work.
const maxBatch = 128

// queueTimeout is how long a caller waits for its turn before ErrBusy. A variable for tests alone.
var queueTimeout = 10 * time.Second

// tx is the writer's transaction as callers see it: theirs alone, in a savepoint of the shared one.
type tx struct {
	sql *sql.Tx
	s   *Store
	// What is remembered within the transaction, nil until needed; forgotten when a caller's changes are undone.
	logins     map[string]string // person by log-in name, folded
	remembered *batchFacts
	end        *tail
	leaves     []tlog.Hash // of the entries appended so far, for the tree
	leavesFrom int64       // index of the first of them
	erasures   int         // how many of them are erasures
}

// tail is where the ledger ends.
type tail struct{ next, last int64 }

// The transaction outlives each caller's context: cancelling one caller in the middle of a statement would roll back everybody.
func (t *tx) exec(query string, args ...any) (sql.Result, error) {
	return t.sql.ExecContext(context.Background(), query, args...)
}
func (t *tx) query(query string, args ...any) (*sql.Rows, error) {
	return t.sql.QueryContext(context.Background(), query, args...)
}
func (t *tx) row(query string, args ...any) *sql.Row {
	return t.sql.QueryRowContext(context.Background(), query, args...)
}

// request is one caller waiting for the writer.
type request struct {
	ctx      context.Context
	fn       func(*tx) error
	state    atomic.Int32 // waiting, taken or given up
	done     chan struct{}
	err      error
	panicked any // what fn panicked with, to be raised again where the caller is
}

const (
	waiting int32 = iota
	taken
	givenUp
)

// write runs fn in the writer's transaction, shared with whoever else waits, and returns after the commit is durable. If
// fn fails, its changes alone are undone and its error is returned. A context that ends before fn starts is honoured;
// after that the outcome is awaited. fn may run while other callers' changes of the same transaction are there.
func (s *Store) write(ctx context.Context, fn func(*tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	r := &request{ctx: ctx, fn: fn, done: make(chan struct{})}
	timeout := time.NewTimer(queueTimeout)
	defer timeout.Stop()
	select {
	case <-s.stop:
		return ErrClosed
	default:
	}
	select {
	case s.queue <- r:
	case <-s.stop:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	case <-timeout.C:
		return fmt.Errorf("waited %s for a turn to write: %w", queueTimeout, ErrBusy)
	}
	select {
	case <-r.done:
	case <-s.stopped: // it came too late to be answered, or was answered last
		if r.state.CompareAndSwap(waiting, givenUp) {
			return ErrClosed
		}
		<-r.done
	case <-ctx.Done():
		if r.state.CompareAndSwap(waiting, givenUp) {
			return ctx.Err()
		}
		<-r.done
	case <-timeout.C:
		if r.state.CompareAndSwap(waiting, givenUp) {
			return fmt.Errorf("waited %s for a turn to write: %w", queueTimeout, ErrBusy)
		}
		<-r.done
	}
	if r.panicked != nil {
		panic(r.panicked)
	}
	return r.err
}

// writeLoop is the one goroutine that writes.
func (s *Store) writeLoop() {
	defer close(s.stopped)
	for {
		select {
		case r := <-s.queue:
			s.commitBatch(s.gather(r))
		case <-s.stop:
			for { // answer whoever came before the end
				select {
				case r := <-s.queue:
					s.commitBatch(s.gather(r))
				default:
					return
				}
			}
		}
	}
}

// gather takes all who wait now, up to the bound. Nobody is waited for: whoever comes during a commit shares the next.
func (s *Store) gather(first *request) []*request {
	batch := []*request{first}
	for len(batch) < maxBatch {
		select {
		case r := <-s.queue:
			batch = append(batch, r)
		default:
			return batch
		}
	}
	return batch
}

// commitBatch runs a batch in one transaction and answers each.
func (s *Store) commitBatch(batch []*request) {
	live := batch[:0]
	for _, r := range batch {
		if err := r.ctx.Err(); err != nil {
			if r.state.CompareAndSwap(waiting, givenUp) {
				r.err = err
				close(r.done)
			}
			continue
		}
		if r.state.CompareAndSwap(waiting, taken) {
			live = append(live, r)
		}
	}
	if len(live) == 0 {
		return
	}
	fatal := s.runBatch(live)
	for _, r := range live {
		if fatal != nil && r.err == nil {
			r.err = fatal
		}
		close(r.done)
	}
}

// runBatch returns the error that befell the transaction as a whole; then nothing of it was committed.
func (s *Store) runBatch(live []*request) error {
	sqlTx, err := s.writer.BeginTx(context.Background(), nil)
	if err != nil {
		return explain(s.path, err)
	}
	t := &tx{sql: sqlTx, s: s}
	for _, r := range live {
		leaves, erasures := len(t.leaves), t.erasures
		if _, err := t.exec(`SAVEPOINT caller`); err != nil {
			sqlTx.Rollback()
			return explain(s.path, err)
		}
		r.panicked, r.err = protect(r.fn, t)
		if r.err != nil {
			r.err = explain("", r.err)
			t.forget()
			t.leaves, t.erasures = t.leaves[:leaves], erasures
			if _, err := t.exec(`ROLLBACK TO caller`); err != nil {
				// The engine rolled the whole transaction back already: disk full, an I/O fault.
				sqlTx.Rollback()
				return fmt.Errorf("the transaction was lost: %w", r.err)
			}
		}
		if _, err := t.exec(`RELEASE caller`); err != nil {
			sqlTx.Rollback()
			return explain(s.path, err)
		}
	}
	tree := s.tree
	if len(t.leaves) > 0 {
		if tree, err = t.grow(s.tree); err != nil {
			sqlTx.Rollback()
			return explain(s.path, err)
		}
	}
	if err := sqlTx.Commit(); err != nil {
		sqlTx.Rollback()
		return explain(s.path, err)
	}
	s.tree = tree
	if len(t.leaves) > 0 {
		for _, k := range s.keepers {
			k.offer(tree.note)
		}
	}
	if t.erasures > 0 {
		s.afterErasure()
		_ = s.completeErasures(context.Background()) // it is done and durable; what is missing on the list is added when the database is next opened
	}
	return nil
}

// protect keeps a caller's panic from ending the writer; the caller gets it back.
func protect(fn func(*tx) error, t *tx) (panicked any, err error) {
	defer func() {
		if p := recover(); p != nil {
			panicked, err = p, errors.New("the change panicked")
		}
	}()
	return nil, fn(t)
}

// reader is a snapshot that several queries share.
type reader struct {
	ctx context.Context
	sql *sql.Tx
}

func (r *reader) query(query string, args ...any) (*sql.Rows, error) {
	return r.sql.QueryContext(r.ctx, query, args...)
}
func (r *reader) row(query string, args ...any) *sql.Row {
	return r.sql.QueryRowContext(r.ctx, query, args...)
}

// querier is what reading code takes: a reader's snapshot or the writer's transaction.
type querier interface {
	query(query string, args ...any) (*sql.Rows, error)
	row(query string, args ...any) *sql.Row
}

// read runs fn on one snapshot.
func (s *Store) read(ctx context.Context, fn func(querier) error) error {
	t, err := s.readers.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return explain(s.path, err)
	}
	defer t.Rollback()
	if err := fn(&reader{ctx, t}); err != nil {
		return explain("", err)
	}
	return nil
}

// collect runs a query and scans every row.
func collect[T any](q querier, scan func(*sql.Rows) (T, error), query string, args ...any) ([]T, error) {
	rows, err := q.query(query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []T
	for rows.Next() {
		x, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, rows.Err()
}

// missing turns "no rows" into ErrNotFound.
func missing(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return ErrNotFound
	}
	return err
}
