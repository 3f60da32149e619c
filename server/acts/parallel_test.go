package acts

import (
	"sync"
	"testing"

	"brakewright/store"
	"brakewright/store/ledger"
)

// side runs f several times at once.
func side(n int, f func(i int)) {
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() { f(i) })
	}
	wg.Wait()
}

func count(w *world, of ledger.Type) int {
	w.t.Helper()
	return len(must[[]*store.EntryView](w.t)(w.World.Store.Entries(w.ctx, store.EntryFilter{Types: []ledger.Type{of}, Limit: 1000})))
}

// A request sent again because its answer was lost may meet itself: one entry, one receipt.
func TestTheSameRequestAtOnce(t *testing.T) {
	w, p := ready(t)
	lesson := mustLoad(t, smallWith(t)).Lesson("pads", "")
	sam, passphrase := w.sam(0), pass(w.Supervisors[0])
	ids := []string{w.ID(), w.ID(), w.ID()}
	readings, signOffs := count(w, ledger.LessonRead), count(w, ledger.SignOff)
	j := w.watch(sam, p, "induction", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID))
	taps := w.allTaps(sh)
	const n = 8
	got := make([][3]store.Receipt, n)
	errs := make([]error, n)
	side(n, func(i int) {
		var err error
		if got[i][0], err = w.Read(w.ctx, p, ids[0], "pads", lesson.Edition); err != nil {
			errs[i] = err
			return
		}
		if got[i][1], err = w.Clear(w.ctx, sam, ClearanceRequest{ID: ids[1], Apprentice: p.ID, Task: "induction", Passphrase: passphrase}); err != nil {
			errs[i] = err
			return
		}
		if _, err = w.Tap(w.ctx, sam, j.ID, taps); err != nil {
			// Another has signed already: the taps are there.
			if r, ok := AsRefusal(err); !ok || r.Code != "job_signed" {
				errs[i] = err
				return
			}
		}
		r, err := w.SignJobs(w.ctx, sam, ids[2:], []string{j.ID}, passphrase, nil)
		if err != nil {
			errs[i] = err
			return
		}
		got[i][2] = r[0]
	})
	for i := range n {
		if errs[i] != nil {
			t.Fatalf("request %d: %v", i, errs[i])
		}
		if got[i] != got[0] {
			t.Errorf("request %d: got %+v, want %+v", i, got[i], got[0])
		}
	}
	if a, b := count(w, ledger.LessonRead)-readings, count(w, ledger.SignOff)-signOffs; a != 1 || b != 1 || count(w, ledger.ClearanceGiven) != 1 {
		t.Errorf("got %d readings, %d sign-offs, %d clearances, want one each", a, b, count(w, ledger.ClearanceGiven))
	}
	if n := len(must[[]store.Tap](t)(w.World.Store.Taps(w.ctx, j.ID))); n != len(taps) {
		t.Errorf("got %d taps, want %d", n, len(taps))
	}
}

// Two devices with a key each for the same job: one signs, the other is told.
func TestTwoDevicesSignOnce(t *testing.T) {
	w, p := ready(t)
	sam := w.sam(0)
	j := w.watch(sam, p, "pads", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID))
	must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, w.allTaps(sh)))
	before := count(w, ledger.SignOff)
	ids := []string{w.ID(), w.ID(), w.ID(), w.ID()}
	errs := make([]error, len(ids))
	side(len(ids), func(i int) {
		_, errs[i] = w.SignJobs(w.ctx, sam, ids[i:i+1], []string{j.ID}, pass(w.Supervisors[0]), nil)
	})
	signed := 0
	for _, err := range errs {
		switch code(t, err) {
		case "":
			signed++
		case "job_signed":
		default:
			t.Errorf("got %v", err)
		}
	}
	if signed != 1 || count(w, ledger.SignOff) != before+1 {
		t.Errorf("%d signed, %d entries", signed, count(w, ledger.SignOff)-before)
	}
}
