package acts

import (
	"fmt"
	"testing"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/storetest"
)

// bigWorld has a cohort of many apprentices, who have begun.
func bigWorld(b testing.TB, apprentices int) *world {
	p := mustLoad(b, smallWith(b))
	w := storetest.New(b, storetest.Config{
		Programme: StoredProgramme(p), Parameters: readiness.DefaultParameters().JSON(), Tasks: []string{"induction", "pads"}, Apprentices: apprentices,
	})
	return newWorldOn(b, w)
}

// BenchmarkBoard renders the coordinator's board from cached standings.
func BenchmarkBoard(b *testing.B) {
	for _, n := range []int{200, 2000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			w := bigWorld(b, n)
			ada := w.ada()
			must[*Board](b)(w.Board(w.ctx, ada, BoardFilter{}))
			for b.Loop() {
				if got := must[*Board](b)(w.Board(w.ctx, ada, BoardFilter{})); len(got.Rows) != n {
					b.Fatalf("got %d rows", len(got.Rows))
				}
			}
		})
	}
}

// BenchmarkBoardAnew computes every standing of a new day.
func BenchmarkBoardAnew(b *testing.B) {
	w := bigWorld(b, 2000)
	ada := w.ada()
	for b.Loop() {
		w.Clock.Add(24 * 3600e9)
		must[*Board](b)(w.Board(w.ctx, ada, BoardFilter{}))
	}
}

// BenchmarkTap is one tap at the car, checked and kept.
func BenchmarkTap(b *testing.B) {
	w := bigWorld(b, 1)
	p := w.pat(0)
	w.inducted(p)
	sam := w.sam(0)
	j := w.watch(sam, p, "pads", "wagon")
	for b.Loop() {
		must[*JobSheet](b)(w.Tap(w.ctx, sam, j.ID, []store.Tap{w.result("pads/clean", unaided)}))
		if len(must[[]store.Tap](b)(w.World.Store.Taps(w.ctx, j.ID))) > 200 {
			b.StopTimer()
			j = w.watch(sam, p, "pads", "wagon")
			b.StartTimer()
		}
	}
}

// BenchmarkSignOff signs a finished job, the cost of opening a key left out (tests make it cheap).
func BenchmarkSignOff(b *testing.B) {
	w := bigWorld(b, 1)
	p := w.pat(0)
	w.inducted(p)
	sam := w.sam(0)
	for b.Loop() {
		b.StopTimer()
		j := w.watch(sam, p, "pads", "wagon")
		sh := must[*JobSheet](b)(w.Job(w.ctx, sam, j.ID))
		must[*JobSheet](b)(w.Tap(w.ctx, sam, j.ID, w.allTaps(sh)))
		b.StartTimer()
		must[[]store.Receipt](b)(w.SignJobs(w.ctx, sam, nil, []string{j.ID}, pass(w.Supervisors[0]), nil))
	}
}

// BenchmarkStanding computes one apprentice's verdicts past the cache.
func BenchmarkStanding(b *testing.B) {
	w := bigWorld(b, 1)
	p := w.pat(0)
	w.inducted(p)
	for range 20 {
		w.goodJob(0, p, "pads", "wagon")
	}
	f := must[*frame](b)(w.frame(w.ctx))
	for b.Loop() {
		must[[]readiness.Verdict](b)(w.fresh(w.ctx, f, p.ID, w.World.Today()))
	}
}
