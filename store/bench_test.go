package store_test

import (
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// processor is the processor time that this process has used, in microseconds: on a shared machine it says more than the clock.
func processor(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Sec+u.Stime.Sec)*1e6 + float64(u.Utime.Usec+u.Stime.Usec)
}

// The floor: the same bytes inserted bare, one commit each, with the same settings.
func floor(b *testing.B, leaf []byte) *sql.DB {
	b.Helper()
	db, err := sql.Open("sqlite3", filepath.Join(b.TempDir(), "floor.db")+"?_journal_mode=WAL&_synchronous=FULL&_txlock=immediate&_busy_timeout=10000")
	if err != nil {
		b.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { db.Close() })
	if _, err := db.Exec(`CREATE TABLE entries (idx INTEGER PRIMARY KEY, leaf BLOB NOT NULL) STRICT`); err != nil {
		b.Fatal(err)
	}
	return db
}

func signOffs(b *testing.B, w *storetest.World, n int) []*ledger.Submission {
	b.Helper()
	subs := make([]*ledger.Submission, n)
	for i := range subs {
		subs[i] = w.SignOff(w.Supervisors[i%3], w.Apprentices[i%4], w.Tasks[i%2], nil)
	}
	return subs
}

// inParallel lets callers share b.N calls.
func inParallel(b *testing.B, callers int, call func(i int) error) {
	b.Helper()
	var next atomic.Int64
	b.ResetTimer()
	used := processor(b)
	defer func() { b.ReportMetric((processor(b)-used)/float64(b.N), "cpu-µs/op") }()
	done := make(chan struct{})
	for range callers {
		go func() {
			defer func() { done <- struct{}{} }()
			for {
				i := int(next.Add(1)) - 1
				if i >= b.N {
					return
				}
				if err := call(i); err != nil {
					b.Error(err)
					return
				}
			}
		}()
	}
	for range callers {
		<-done
	}
}

// BenchmarkAppend against a bare insert of the same bytes, one commit each, alone and with 32 callers: the ledger (its row,
// the tree's hashes, one signed head a commit; bodies signed before), which must reach three times the floor's rate with
// 32 callers and take at most twice its time alone; and a whole sign-off with rules, projections and personal rows, which
// with 32 callers must reach the floor's rate.
func BenchmarkAppend(b *testing.B) {
	w := storetest.New(b, storetest.Config{})
	leaf, err := signOffs(b, w, 1)[0].Leaf(w.Clock.Now().UnixMilli())
	if err != nil {
		b.Fatal(err)
	}
	for _, callers := range []int{1, 32} {
		b.Run(fmt.Sprintf("floor, %d callers", callers), func(b *testing.B) {
			db := floor(b, leaf)
			inParallel(b, callers, func(int) error {
				_, err := db.Exec(`INSERT INTO entries (leaf) VALUES ($1)`, leaf)
				return err
			})
		})
		b.Run(fmt.Sprintf("ledger, %d callers", callers), func(b *testing.B) {
			w := storetest.New(b, storetest.Config{})
			subs := signOffs(b, w, b.N)
			leaves := make([][]byte, b.N)
			for i, s := range subs {
				if leaves[i], err = s.Leaf(w.Clock.Now().UnixMilli()); err != nil {
					b.Fatal(err)
				}
			}
			inParallel(b, callers, func(i int) error { return w.Store.AppendLeaf(ctx, subs[i].Body.ID, leaves[i]) })
		})
		b.Run(fmt.Sprintf("sign-off, %d callers", callers), func(b *testing.B) {
			w := storetest.New(b, storetest.Config{})
			subs := signOffs(b, w, b.N)
			inParallel(b, callers, func(i int) error {
				_, err := w.Store.Append(ctx, subs[i])
				return err
			})
		})
	}
	b.Run("sign and append", func(b *testing.B) {
		w := storetest.New(b, storetest.Config{})
		for b.Loop() {
			w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
		}
	})
}

// BenchmarkPeople lists 2,000 people with all that belongs to them.
func BenchmarkPeople(b *testing.B) {
	w := storetest.New(b, storetest.Config{Apprentices: 2000})
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			if all, err := w.Store.People(ctx); err != nil || len(all) < 2000 {
				b.Fatal(len(all), err)
			}
		}
	})
	b.Run("first time", func(b *testing.B) {
		for b.Loop() {
			s, err := store.Open(ctx, w.Options)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := s.People(ctx); err != nil {
				b.Fatal(err)
			}
			s.Close()
		}
	})
	b.Run("by log-in name", func(b *testing.B) {
		for b.Loop() {
			if _, err := w.Store.PersonByLogin(ctx, "pat1999"); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("one", func(b *testing.B) {
		id := w.Apprentices[1000].ID
		for b.Loop() {
			if _, err := w.Store.Person(ctx, id); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkVerify: the ledger alone, an entry, against hashing and signature-checking the same bytes on all cores.
func BenchmarkVerify(b *testing.B) {
	w := storetest.New(b, storetest.Config{})
	subs := signOffs(b, w, 5000)
	if _, err := w.Store.AppendAll(ctx, subs...); err != nil {
		b.Fatal(err)
	}
	n := float64(entries(b, w.Store))
	b.Run("floor: hash and signature", func(b *testing.B) {
		var checks []ledger.SignatureCheck
		for _, s := range subs {
			m, err := s.Body.SignedBytes()
			if err != nil {
				b.Fatal(err)
			}
			var key *ledger.Signer
			for _, m := range w.Supervisors {
				if m.Signer.Key == s.Signatures[0].Key {
					key = m.Signer
				}
			}
			check, err := (&ledger.KeyFact{Alg: ledger.AlgEd25519, Public: key.Public()}).Check(s.Signatures[0], m)
			if err != nil {
				b.Fatal(err)
			}
			checks = append(checks, check)
		}
		b.ResetTimer()
		used := processor(b)
		for range b.N {
			onTwoCores(len(checks), func(i int) {
				_ = sha256.Sum256(checks[i].Message)
				if !checks[i].OK() {
					b.Error("a bad signature")
				}
			})
		}
		b.ReportMetric((processor(b)-used)/float64(b.N)/float64(len(checks)), "cpu-µs/entry")
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(len(checks)), "µs/entry")
	})
	for _, ledgerOnly := range []bool{true, false} {
		b.Run(fmt.Sprintf("ledger only %v", ledgerOnly), func(b *testing.B) {
			used := processor(b)
			for range b.N {
				v, err := store.Verify(ctx, w.Options, ledgerOnly, nil)
				if err != nil || !v.OK {
					b.Fatal(v, err)
				}
			}
			b.ReportMetric((processor(b)-used)/float64(b.N)/n, "cpu-µs/entry")
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/n, "µs/entry")
		})
	}
}

// onTwoCores does n things, two at a time.
func onTwoCores(n int, do func(i int)) {
	var at atomic.Int64
	var both sync.WaitGroup
	for range 2 {
		both.Go(func() {
			for i := int(at.Add(1)) - 1; i < n; i = int(at.Add(1)) - 1 {
				do(i)
			}
		})
	}
	both.Wait()
}

// BenchmarkVerifyAMillion verifies a ledger of a million signed entries (spot checks of some 600 bytes; with
// BRAKEWRIGHT_SOAK=1, else 20,000), against hashing and signature-checking the same bytes on two cores: at most twice that.
// It needs about a gigabyte of disk and says how much memory the verification took at most.
func BenchmarkVerifyAMillion(b *testing.B) {
	n, sampled := 20_000, 20_000
	if soak() {
		n, sampled = 1_000_000, 100_000
	}
	w := storetest.New(b, storetest.Config{})
	checks := fillWithSpotChecks(b, w, n, sampled)
	reopenFor(b, w)
	var floor float64
	b.Run("floor: hash and signature", func(b *testing.B) {
		used := processor(b)
		for range b.N {
			onTwoCores(len(checks), func(i int) {
				_ = sha256.Sum256(checks[i].leaf)
				if !checks[i].OK() {
					b.Error("a bad signature")
				}
			})
		}
		floor = (processor(b) - used) / float64(b.N) / float64(len(checks))
		b.ReportMetric(floor, "cpu-µs/entry")
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(len(checks)), "µs/entry")
	})
	checks = nil
	b.Run("ledger only", func(b *testing.B) {
		used := processor(b)
		for range b.N {
			v, err := store.Verify(ctx, w.Options, true, nil)
			if err != nil || !v.OK || v.Entries < int64(n) {
				b.Fatal(v.Entries, v.FirstProblem, err)
			}
		}
		each := (processor(b) - used) / float64(b.N) / float64(n)
		b.ReportMetric(each, "cpu-µs/entry")
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(n), "µs/entry")
		if floor > 0 {
			b.ReportMetric(each/floor, "times-the-floor")
		}
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(u.Maxrss)/1024, "MiB-at-most")
	})
}

// spotChecked is a signed entry and what it takes to check it.
type spotChecked struct {
	ledger.SignatureCheck
	leaf []byte
}

// fillWithSpotChecks writes spot checks behind the store's back, without projections, and lets the tree be made anew. It gives
// the first sampled of them.
func fillWithSpotChecks(b *testing.B, w *storetest.World, n, sampled int) []spotChecked {
	b.Helper()
	at := w.Clock.Now().UnixMilli()
	type made struct {
		id string
		c  spotChecked
	}
	out := make(chan made, 256)
	for part := range 2 {
		go func() {
			for i := part; i < n; i += 2 {
				by := w.Supervisors[i%3]
				s := w.Make(by.ID, ledger.SpotCheck, w.Apprentices[i%4].ID, ledger.SpotCheckPayload{Task: w.Tasks[i%2], Finding: "sound"}, nil, nil, by.Signer)
				leaf, err := s.Leaf(at)
				if err != nil {
					b.Error(err)
				}
				m := made{id: s.Body.ID, c: spotChecked{leaf: leaf}}
				if i < sampled {
					raw, err := base64.StdEncoding.DecodeString(s.Signatures[0].Sig)
					if err != nil {
						b.Error(err)
					}
					message, err := s.Body.SignedBytes()
					if err != nil {
						b.Error(err)
					}
					m.c.SignatureCheck = ledger.SignatureCheck{Alg: ledger.AlgEd25519, Public: by.Signer.Public(), Message: message, Bytes: raw}
				}
				out <- m
			}
		}()
	}
	path := w.Options.Database
	if err := w.Store.Close(); err != nil {
		b.Fatal(err)
	}
	db := raw(b, path+"?_synchronous=OFF")
	for _, edit := range []string{`DROP TRIGGER tree_no_delete`, `DROP TRIGGER tree_head_no_delete`, `DELETE FROM tree`, `DELETE FROM tree_head`,
		`INSERT INTO bookkeeping (name, value) VALUES ('tree', 'pending')`} {
		mustExec(b, db, edit)
	}
	tx, err := db.Begin()
	if err != nil {
		b.Fatal(err)
	}
	var next int64
	if err := tx.QueryRow(`SELECT MAX(idx) + 1 FROM entries`).Scan(&next); err != nil {
		b.Fatal(err)
	}
	insert, err := tx.Prepare(`INSERT INTO entries (idx, id, leaf) VALUES (?, ?, ?)`)
	if err != nil {
		b.Fatal(err)
	}
	var checks []spotChecked
	for i := range n {
		m := <-out
		if _, err := insert.Exec(next+int64(i), m.id, m.c.leaf); err != nil {
			b.Fatal(err)
		}
		if m.c.Message != nil {
			checks = append(checks, m.c)
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	db.Close()
	return checks
}

// reopenFor opens the store once, which makes the tree, and closes it.
func reopenFor(b *testing.B, w *storetest.World) {
	b.Helper()
	s, err := store.Open(ctx, w.Options)
	if err != nil {
		b.Fatal(err)
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
}
