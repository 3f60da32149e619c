package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// replayBatch is how many entries go through the pipeline together.
const replayBatch = 256

// replayed is one entry on its way through a replay.
type replayed struct {
	index int64
	id    string
	leaf  []byte
	hash  tlog.Hash // in the tree
	p     *ledger.Parsed
	err   error // of parsing
}

// replay goes through all entries from the first, judges each by the state just before it, and hands the good ones on.
// It stops at the first problem. Parsing and signatures run on all cores; the rules run in order.
type replay struct {
	q       querier
	content func(hash string) ([]byte, error) // checked content
	each    func(*replayed) error             // after an entry has passed; nil: nothing
	before  func(*replayed) *Problem          // as an entry is come to; nil: nothing
	report  func(done int64)

	// results
	entries    int64
	signatures int64
	problem    *Problem
}

// run returns an error only if the work itself failed; what is wrong with the ledger is in problem.
func (r *replay) run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	batches, readErr := r.read(ctx)
	verifier := newVerifier()
	state := ledger.NewState()
	var contentErr error
	policy := func(edition string) rulesPolicy {
		p, err := rulesPolicyOf(edition, r.content)
		if err != nil {
			contentErr = err
		}
		return p
	}
	state.Backdating = func(edition string) int { return policy(edition).backdatingDays }
	state.Retention = func(edition string, kind readiness.RecordKind) int { return policy(edition).keptYears(kind) }
	last := int64(0)
	err := func() error {
		for b := range batches {
			<-b.parsed
			for i := range b.entries {
				e := &b.entries[i]
				if r.before != nil {
					if r.problem = r.before(e); r.problem != nil {
						return nil
					}
				}
				if r.problem = r.judge(e, state, last, verifier); r.problem != nil {
					return nil
				}
				if contentErr != nil {
					return contentErr
				}
				state.Apply(e.p)
				last = e.p.RecordedAt
				r.entries++
				r.signatures += int64(len(e.p.Signatures))
				if r.each != nil {
					if err := r.each(e); err != nil {
						return err
					}
				}
			}
			if r.report != nil {
				r.report(r.entries)
			}
			if at, key := verifier.worst(); at >= 0 {
				r.problem = badSignature(at, key)
				return nil
			}
		}
		return nil
	}()
	verifier.close()
	cancel()
	for range batches { // let the reader end
	}
	// A bad signature before whatever stopped the replay comes first.
	if at, key := verifier.worst(); at >= 0 && (r.problem == nil || at < r.problem.Index) {
		r.problem, err = badSignature(at, key), nil
	}
	if err == nil && r.problem == nil {
		err = <-readErr
	}
	return err
}

func badSignature(index int64, key string) *Problem {
	return &Problem{Table: "entries", Row: fmt.Sprint(index), Index: index, What: fmt.Sprintf("the signature by key %s does not fit the entry", key)}
}

// judge says what is wrong with an entry, or nil.
func (r *replay) judge(e *replayed, state *ledger.State, last int64, v *verifier) *Problem {
	at := func(what string) *Problem {
		return &Problem{Table: "entries", Row: fmt.Sprint(e.index), Index: e.index, What: what}
	}
	next, _ := state.Next()
	switch {
	case e.index != next:
		return at(fmt.Sprintf("entry %d is missing", next))
	case e.err != nil:
		return at(e.err.Error())
	case e.id != e.p.Body.ID:
		return at("the row's id is not the entry's")
	case e.p.RecordedAt < last:
		return at("it was recorded before the entry that stands before it")
	}
	if known, _ := state.Entry(e.id); known != nil {
		return at(fmt.Sprintf("its id is that of entry %d", known.Index))
	}
	err := ledger.CheckWith(e.p, state, func(c ledger.SignatureCheck) bool { v.add(e.index, c); return true })
	if err != nil {
		return at(err.Error())
	}
	return nil
}

// batch is a stretch of entries; parsed is closed when all have been.
type batch struct {
	entries []replayed
	parsed  chan struct{}
}

// read fetches rows in order and parses them on all cores, a few batches ahead.
func (r *replay) read(ctx context.Context) (<-chan *batch, <-chan error) {
	workers := runtime.GOMAXPROCS(0)
	out, work, fail := make(chan *batch, 2*workers), make(chan *batch, 2*workers), make(chan error, 1)
	for range workers {
		go func() {
			for b := range work {
				for i := range b.entries {
					e := &b.entries[i]
					e.p, e.err = ledger.Parse(e.leaf)
					e.hash = ledger.LeafHash(e.leaf)
				}
				close(b.parsed)
			}
		}()
	}
	go func() {
		defer close(out)
		defer close(work)
		fail <- func() error {
			// Rows are fetched a batch at a time: other queries share the connection.
			for next := int64(-1); ; {
				if err := ctx.Err(); err != nil {
					return err
				}
				rows, err := collect(r.q, func(rows *sql.Rows) (x replayed, err error) {
					return x, rows.Scan(&x.index, &x.id, &x.leaf)
				}, `SELECT idx, id, leaf FROM entries WHERE idx > $1 ORDER BY idx LIMIT $2`, next, replayBatch)
				if err != nil {
					return err
				}
				if len(rows) == 0 {
					return nil
				}
				next = rows[len(rows)-1].index
				b := &batch{entries: rows, parsed: make(chan struct{})}
				select {
				case out <- b:
				case <-ctx.Done():
					return ctx.Err()
				}
				work <- b
			}
		}()
	}()
	return out, fail
}

// verifier checks signatures on all cores and remembers the first bad one.
type verifier struct {
	work chan signatureWork
	wg   sync.WaitGroup
	mu   sync.Mutex
	bad  int64
	key  string
	once sync.Once
}

type signatureWork struct {
	index int64
	check ledger.SignatureCheck
}

func newVerifier() *verifier {
	v := &verifier{work: make(chan signatureWork, 4*replayBatch), bad: -1}
	for range runtime.GOMAXPROCS(0) {
		v.wg.Add(1)
		go func() {
			defer v.wg.Done()
			for w := range v.work {
				if !w.check.OK() {
					v.mu.Lock()
					if v.bad < 0 || w.index < v.bad {
						v.bad, v.key = w.index, w.check.Key
					}
					v.mu.Unlock()
				}
			}
		}()
	}
	return v
}

func (v *verifier) add(index int64, c ledger.SignatureCheck) { v.work <- signatureWork{index, c} }

// close waits until all have been checked.
func (v *verifier) close() {
	v.once.Do(func() { close(v.work) })
	v.wg.Wait()
}

func (v *verifier) worst() (int64, string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.bad, v.key
}

// checkedContent reads content and refuses bytes that are not what their hash says.
func checkedContent(q querier) func(string) ([]byte, error) {
	return func(hash string) ([]byte, error) {
		b, err := contentOf(q, hash)
		if errors.Is(err, ErrNotFound) {
			return nil, &problemError{Problem{Table: "contents", Row: hash, Index: -1, What: "an entry names it, but it is missing"}}
		}
		if err != nil {
			return nil, err
		}
		if ledger.Hash(b) != hash {
			return nil, &problemError{Problem{Table: "contents", Row: hash, Index: -1, What: "the bytes are not those that the entry names"}}
		}
		return b, nil
	}
}

// problemError carries a finding through code that returns errors.
type problemError struct{ p Problem }

func (e *problemError) Error() string {
	return fmt.Sprintf("%s %s: %s", e.p.Table, e.p.Row, e.p.What)
}
