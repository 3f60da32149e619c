package demo

import (
	"context"
	"crypto/rand"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// TestBuild makes the whole history and looks for what the demo is to show: every standing, somebody who left, a
// limited clearance, a waiver, work in every state; and a ledger that verifies.
func TestBuild(t *testing.T) {
	ctx := t.Context()
	keys, err := store.NewKeyFile(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	o := store.Options{Database: filepath.Join(t.TempDir(), "demo.db"), Keys: keys}
	end := time.Date(2030, 5, 15, 15, 0, 0, 0, time.UTC)
	people, err := Build(ctx, Options{Store: o, Seed: 1, End: end, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := len(people), 1+len(supervisors)+len(apprentices); got != want {
		t.Errorf("got %d people, want %d", got, want)
	}
	o.Now, o.Random = func() time.Time { return end }, rand.Reader
	s, err := store.Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	boss, err := s.PersonByLogin(ctx, coordinatorLogin)
	if err != nil {
		t.Fatal(err)
	}
	service := acts.New(s, o.Now, rand.Reader, "test")
	board, err := service.Board(ctx, boss, acts.BoardFilter{WithLeft: true})
	if err != nil {
		t.Fatal(err)
	}
	standings := map[readiness.Standing]int{}
	left, waived, limited := 0, 0, 0
	for _, row := range board.Rows {
		if row.Left {
			left++
		}
		for _, v := range row.Cells {
			standings[v.Standing]++
			if v.Notes.Waived {
				waived++
			}
			if len(v.Notes.Limits) > 0 {
				limited++
			}
		}
		t.Logf("%-20s %v", row.Apprentice.Name, cells(row.Cells))
	}
	for _, want := range []readiness.Standing{readiness.Untried, readiness.Building, readiness.ReadyForDecision, readiness.Cleared, readiness.Lapsed, readiness.StoodDown} {
		if standings[want] == 0 {
			t.Errorf("nobody is %s", want)
		}
	}
	rightly, back, photos := 0, 0, 0
	entries, err := s.Entries(ctx, store.EntryFilter{Types: []ledger.Type{ledger.SignOff}, Limit: 10_000})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		p, err := ledger.PayloadOf[ledger.SignOffPayload](e.Entry.Body)
		if err != nil {
			t.Fatal(err)
		}
		if p.Outcome == "rightly_stopped" && p.Setting == "customers_car" {
			rightly++
		}
		photos += len(p.Photos)
		for _, h := range p.Holds {
			if !h.Accepted {
				back++
			}
		}
	}
	open, err := s.Cases(ctx, true)
	if err != nil {
		t.Fatal(err)
	}
	all, err := s.Cases(ctx, false)
	if err != nil {
		t.Fatal(err)
	}
	if rightly == 0 || back == 0 || photos == 0 || len(open) != 1 || len(all) != 2 {
		t.Errorf("%d jobs on customers' cars rightly stopped, %d hold points sent back, %d photographs, %d of %d cases open", rightly, back, photos, len(open), len(all))
	}
	questions, err := service.Questions(ctx, boss, acts.QuestionFilter{})
	if err != nil || !slices.ContainsFunc(questions, func(q acts.QuestionStatistic) bool { return q.Voided }) {
		t.Errorf("no question is voided: %v", err)
	}
	watching, err := s.Jobs(ctx, store.JobFilter{Status: []store.JobStatus{store.JobWatching}})
	if err != nil || !slices.ContainsFunc(watching, func(j *store.Job) bool { return !j.PausedAt.IsZero() }) {
		t.Errorf("no job is paused: %v", err)
	}
	if left != 1 || waived == 0 || limited == 0 {
		t.Errorf("got %d leavers, %d waived and %d limited clearances; want 1, some, some", left, waived, limited)
	}
	for _, status := range []store.JobStatus{store.JobWaiting, store.JobWatching, store.JobFinished, store.JobSigned} {
		jobs, err := s.Jobs(ctx, store.JobFilter{Status: []store.JobStatus{status}})
		if err != nil {
			t.Fatal(err)
		}
		if len(jobs) == 0 {
			t.Errorf("no job is %s", status)
		}
	}
	if waiting, err := s.KeyRequests(ctx); err != nil || len(waiting) == 0 {
		t.Errorf("no key waits for the coordinator (%v)", err)
	}
	verified(t, ctx, o)
}

func cells(vs []readiness.Verdict) (out []string) {
	for _, v := range vs {
		out = append(out, v.Task+" "+string(v.Standing))
	}
	return out
}

func verified(t *testing.T, ctx context.Context, o store.Options) {
	t.Helper()
	v, err := store.Verify(ctx, o, false, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !v.OK {
		t.Errorf("verify is not content: %+v", v.FirstProblem)
	}
}
