package acts

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// ready makes a world with one inducted apprentice.
func ready(t *testing.T, changes ...string) (*world, *store.Person) {
	w := newWorld(t, changes...)
	p := w.pat(0)
	w.inducted(p)
	return w, p
}

// spoken says a statement's facts.
func spoken(facts []Fact) []string {
	var out []string
	for _, f := range facts {
		out = append(out, say.Statement(f.Code, f.Args))
	}
	return out
}

func keysOf(sh *JobSheet) []string {
	var out []string
	sh.steps(func(st *SheetStep) { out = append(out, st.Key) })
	return out
}

func TestSheetFollowsTheCar(t *testing.T) {
	w, p := ready(t)
	wagon := must[*JobSheet](t)(w.Job(w.ctx, p, w.watch(w.sam(0), p, "pads", "wagon").ID))
	w.pause(w.sam(0), wagon.Job.ID)
	van := must[*JobSheet](t)(w.Job(w.ctx, p, w.watch(w.sam(0), p, "pads", "van").ID))
	want := "pads/stands pads/wheel@LF pads/rotor@LF pads/fit@LF pads/wheel@RF pads/rotor@RF pads/fit@RF pads/pump pads/clean"
	got := keysOf(wagon)
	slices.Sort(got)
	sortedWant := strings.Fields(want)
	slices.Sort(sortedWant)
	if !slices.Equal(got, sortedWant) {
		t.Errorf("wagon: got %v, want %v", got, sortedWant)
	}
	if slices.Contains(got, "pads/service") || !slices.Contains(keysOf(van), "pads/service") {
		t.Errorf("the step for a parking motor: wagon %v, van %v", got, keysOf(van))
	}
	m := van.step("pads/rotor@LF").Measures[0]
	if m.Limit != "at least 26.4 mm" || m.Unit != "mm" {
		t.Errorf("got limit %q in %q", m.Limit, m.Unit)
	}
	if len(wagon.Missing) != 4 || len(wagon.Open) != 9 { // stands, fit twice, pump
		t.Errorf("got missing %v, open %v", wagon.Missing, wagon.Open)
	}
}

func TestAskForAJob(t *testing.T) {
	w, p := ready(t)
	car := &curriculum.Car{Title: "Old hatchback", Layout: "diagonal", Features: []string{"disc"},
		Wheels:  []curriculum.CarWheel{{Name: "LF", Features: []string{"front"}}, {Name: "RF", Features: []string{"front"}}},
		Figures: []curriculum.CarFigure{{Key: "rotor.front.minimum", Value: "21.5", Unit: "mm", Source: "cast on the rotor"}}}
	bad := *car
	bad.Figures = []curriculum.CarFigure{{Key: "rotor.front.minimum", Value: "x", Unit: "bar"}}
	good := JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"}
	with := func(change func(*JobRequest)) JobRequest {
		r := good
		change(&r)
		return r
	}
	rows := []struct {
		name  string
		actor *store.Person
		r     JobRequest
		want  string
	}{
		{"as it should be", p, good, ""},
		{"described car", p, with(func(r *JobRequest) { r.Vehicle, r.Car, r.WorkOrder = "", car, "KLM 123" }), ""},
		{"unknown task", p, with(func(r *JobRequest) { r.Task = "wash" }), "unknown_task"},
		{"unknown vehicle", p, with(func(r *JobRequest) { r.Vehicle = "bus" }), "unknown_vehicle"},
		{"vehicle and car", p, with(func(r *JobRequest) { r.Car = car }), "vehicle_or_car"},
		{"neither", p, with(func(r *JobRequest) { r.Vehicle = "" }), "vehicle_or_car"},
		{"bad car", p, with(func(r *JobRequest) { r.Vehicle, r.Car = "", &bad }), "car_problems"},
		{"unknown setting", p, with(func(r *JobRequest) { r.Setting = "street" }), "unknown_setting"},
		{"unknown site", p, with(func(r *JobRequest) { r.Site = "moon" }), "unknown_site"},
		{"for somebody else", w.pat(1), good, "not_allowed"},
		{"an apprentice cannot watch", p, with(func(r *JobRequest) { r.Watch = true }), "not_allowed"},
		{"a supervisor asks for nobody", w.sam(0), good, "not_allowed"},
		{"a coordinator does not watch", w.ada(), with(func(r *JobRequest) { r.Watch = true }), "not_allowed"},
		{"bad id", p, with(func(r *JobRequest) { r.ID = "7" }), "bad_id"},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			j, err := w.AskJob(w.ctx, r.actor, r.r)
			wants(t, err, r.want)
			if err == nil && (j.Status != store.JobWaiting || j.Programme == "" || j.Difficulty != "usual") {
				t.Errorf("got %+v", j)
			}
			if x, _ := AsRefusal(err); r.want == "car_problems" {
				var fields []string
				for _, p := range x.Problems {
					fields = append(fields, p.Field+":"+p.Code)
				}
				want := []string{"car.figures[0].value:car_bad_decimal", "car.figures[0].unit:car_unit_mismatch", "car.figures[0].source:car_missing"}
				if !slices.Equal(fields, want) {
					t.Errorf("got %v, want %v", fields, want)
				}
			}
		})
	}
	t.Run("sent twice", func(t *testing.T) {
		r := with(func(r *JobRequest) { r.ID = w.ID() })
		a := must[*store.Job](t)(w.AskJob(w.ctx, p, r))
		b := must[*store.Job](t)(w.AskJob(w.ctx, p, r))
		if a.ID != b.ID {
			t.Errorf("two jobs: %s, %s", a.ID, b.ID)
		}
		r.Task = "induction"
		_, err := w.AskJob(w.ctx, p, r)
		wants(t, err, "id_taken")
	})
}

func TestInductionComesFirst(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	_, err := w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"})
	wants(t, err, "induction_first")
	_, err = w.AskJob(w.ctx, w.sam(0), JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon", Watch: true})
	wants(t, err, "induction_first")
	// The induction itself is watched, and a job of it does not suffice before the lesson is read.
	w.goodJob(0, p, "induction", "wagon")
	_, err = w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"})
	wants(t, err, "induction_first")
	w.readLesson(p, "safe")
	must[*store.Job](t)(w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"}))
}

func TestTakeDeclineWithdraw(t *testing.T) {
	w, p := ready(t)
	ask := func() string {
		return must[*store.Job](t)(w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"})).ID
	}
	id := ask()
	wants(t, w.TakeJob(w.ctx, w.cora(), id), "not_allowed")
	wants(t, w.DeclineJob(w.ctx, w.sam(0), id, " "), "reason_needed")
	wants(t, w.WithdrawJob(w.ctx, w.pat(1), id), "not_allowed")
	wants(t, w.DeclineJob(w.ctx, w.sam(0), id, "The lift is broken"), "")
	wants(t, w.TakeJob(w.ctx, w.sam(0), id), "job_withdrawn")
	if j := must[*store.Job](t)(w.World.Store.Job(w.ctx, id)); j.Note != "The lift is broken" || j.Status != store.JobWithdrawn {
		t.Errorf("got %+v", j)
	}
	id = ask()
	wants(t, w.WithdrawJob(w.ctx, p, id), "")
	wants(t, w.WithdrawJob(w.ctx, p, id), "job_withdrawn")
	id = ask()
	_, err := w.Tap(w.ctx, w.sam(0), id, []store.Tap{w.result("pads/stands", unaided)})
	wants(t, err, "job_not_taken")
	wants(t, w.TakeJob(w.ctx, w.sam(0), id), "")
	wants(t, w.WithdrawJob(w.ctx, p, id), "job_begun")
	_, err = w.Tap(w.ctx, w.sam(1), id, []store.Tap{w.result("pads/stands", unaided)})
	wants(t, err, "not_watching")
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), id, []store.Tap{w.result("pads/stands", unaided)}))
	wants(t, w.TakeJob(w.ctx, w.sam(1), id), "") // takes over
	sh := must[*JobSheet](t)(w.Tap(w.ctx, w.sam(1), id, []store.Tap{w.result("pads/fit@LF", "prompted")}))
	if len(sh.Supervisors) != 2 {
		t.Errorf("got supervisors %v, want both", sh.Supervisors)
	}
	_, err = w.Tap(w.ctx, w.sam(0), id, []store.Tap{w.result("pads/fit@RF", unaided)})
	wants(t, err, "not_watching")
}

func TestTapRules(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	id := w.tapID
	yes := true
	reading := func(v, unit string) store.Tap {
		return store.Tap{ID: id(), Step: "pads/rotor@LF", Reading: &store.TapReading{Measure: 1, Value: v, Unit: unit}}
	}
	rows := []struct {
		name string
		tap  store.Tap
		want string
	}{
		{"nothing", store.Tap{ID: id()}, "tap_empty"},
		{"no id", store.Tap{Step: "pads/clean", Result: unaided}, "bad_id"},
		{"id no UUID", store.Tap{ID: "tap-1", Step: "pads/clean", Result: unaided}, "bad_id"},
		{"two things", store.Tap{ID: id(), Step: "pads/pump", Result: unaided, Hold: accepted}, "tap_mixed"},
		{"result with a note", store.Tap{ID: id(), Step: "pads/clean", Result: unaided, Note: "x"}, "tap_mixed"},
		{"unknown step", w.result("pads/paint", unaided), "unknown_step"},
		{"a step the car lacks", w.result("pads/service", unaided), "unknown_step"},
		{"step without its wheel", w.result("pads/fit", unaided), "unknown_step"},
		{"unknown result", w.result("pads/clean", "superb"), "unknown_result"},
		{"not reached is not tapped", w.result("pads/clean", notReached), "unknown_result"},
		{"not applicable", w.result("pads/clean", notApplicable), ""},
		{"not applicable at a critical step", w.result("pads/fit@RF", notApplicable), ""},
		{"bulk", store.Tap{ID: id(), Step: "pads/clean", Result: unaided, Bulk: true}, ""},
		{"bulk at a critical step", store.Tap{ID: id(), Step: "pads/stands", Result: unaided, Bulk: true}, "own_tap_needed"},
		{"bulk at a hold point", store.Tap{ID: id(), Step: "pads/pump", Result: unaided, Bulk: true}, "own_tap_needed"},
		{"bulk prompted", store.Tap{ID: id(), Step: "pads/clean", Result: "prompted", Bulk: true}, "bulk_unaided_only"},
		{"critical error at a plain step", store.Tap{ID: id(), Step: "pads/clean", Result: "prompted", CriticalError: true, WhatHappened: "x"}, "not_a_critical_step"},
		{"critical error without what happened", store.Tap{ID: id(), Step: "pads/stands", Result: "taken_over", CriticalError: true}, "what_happened_needed"},
		{"critical error where nothing was done", store.Tap{ID: id(), Step: "pads/stands", Result: notApplicable, CriticalError: true, WhatHappened: "x"}, "error_not_possible"},
		{"what happened without an error", store.Tap{ID: id(), Step: "pads/stands", Result: unaided, WhatHappened: "x"}, "what_happened_without_error"},
		{"critical error", store.Tap{ID: id(), Step: "pads/stands", Result: "taken_over", CriticalError: true, WhatHappened: "No stands"}, ""},
		{"hold at a plain step", store.Tap{ID: id(), Step: "pads/clean", Hold: accepted}, "not_a_hold_point"},
		{"unknown hold", store.Tap{ID: id(), Step: "pads/pump", Hold: "maybe"}, "unknown_hold"},
		{"sent back without a reason", store.Tap{ID: id(), Step: "pads/pump", Hold: sentBack}, "reason_needed"},
		{"sent back", store.Tap{ID: id(), Step: "pads/pump", Hold: sentBack, Reason: "Pedal is soft"}, ""},
		{"reading", reading("22.5", "mm"), ""},
		{"reading with a decimal comma", reading("22,5", "mm"), ""},
		{"reading in inches", reading("0.87", "in"), ""},
		{"reading without a unit", reading("22.5", ""), ""},
		{"reading that is no figure", reading("thick", "mm"), "reading_unreadable"},
		{"reading with two points", reading("1.2.3", "mm"), "reading_unreadable"},
		{"reading in two ways", reading("22,500", "mm"), "reading_ambiguous"},
		{"reading in pressure", reading("22", "bar"), "unit_of_something_else"},
		{"reading in nonsense", reading("22", "zoll"), "unknown_unit"},
		{"a measurement not asked for", store.Tap{ID: id(), Step: "pads/clean", Reading: &store.TapReading{Measure: 1, Value: "1", Unit: "mm"}}, "unknown_measure"},
		{"unknown outcome", store.Tap{ID: id(), Outcome: "done"}, "unknown_outcome"},
		{"unknown difficulty", store.Tap{ID: id(), Difficulty: "hard"}, "unknown_difficulty"},
		{"difficulty and near miss", store.Tap{ID: id(), Difficulty: "awkward", NearMiss: &yes}, ""},
		{"undo of nothing", store.Tap{ID: id(), Undo: id()}, "unknown_tap"},
		{"note too long", store.Tap{ID: id(), Note: strings.Repeat("x", maxText+1)}, "text_too_long"},
		{"note with a control sign", store.Tap{ID: id(), Note: "a\x00b"}, "bad_text"},
		{"note that turns round what is read", store.Tap{ID: id(), Note: "pads \u202eneercs\u202c"}, "bad_text"},
		{"note with an isolate", store.Tap{ID: id(), Note: "\u2067pads"}, "bad_text"},
		{"note with a line separator", store.Tap{ID: id(), Note: "pads\u2028Signed: nobody"}, "bad_text"},
		{"note with a control of the second row", store.Tap{ID: id(), Note: "pads\u0085dry"}, "bad_text"},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			before := must[[]store.Tap](t)(w.World.Store.Taps(w.ctx, j.ID))
			_, err := w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{{ID: w.tapID(), Note: "first"}, r.tap})
			wants(t, err, r.want)
			after := must[[]store.Tap](t)(w.World.Store.Taps(w.ctx, j.ID))
			if x, ok := AsRefusal(err); ok {
				if x.Args["index"] != "1" {
					t.Errorf("got index %q, want 1", x.Args["index"])
				}
				if len(after) != len(before) {
					t.Error("a refused batch left taps behind")
				}
			} else if len(after) != len(before)+2 {
				t.Error("the taps are not there")
			}
		})
	}
}

func TestFold(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	tap := func(taps ...store.Tap) *JobSheet {
		t.Helper()
		return must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, taps))
	}
	first := w.result("pads/stands", unaided)
	sh := tap(first, w.result("pads/stands", "prompted"))
	if got := sh.step("pads/stands").Result; got != "prompted" {
		t.Errorf("the last tap wins: got %q", got)
	}
	undone := sh.Taps[1].ID
	undo := store.Tap{ID: w.tapID(), Undo: undone}
	if got := tap(undo).step("pads/stands").Result; got != unaided {
		t.Errorf("after undo: got %q", got)
	}
	if got := tap(store.Tap{ID: w.tapID(), Undo: undo.ID}).step("pads/stands").Result; got != "prompted" {
		t.Errorf("after undoing the undo: got %q", got)
	}
	n := len(sh.Taps)
	if got := len(tap(first).Taps); got != n+2 {
		t.Errorf("the same tap twice: %d taps, want %d", got, n+2)
	}

	// The rest: one tap for what was untapped then, and no more.
	tap(w.result("pads/clean", "prompted"))
	sh = must[*JobSheet](t)(w.RestUnaided(w.ctx, w.sam(0), j.ID, ""))
	if got := sh.step("pads/clean"); got.Result != "prompted" || got.Bulk {
		t.Errorf("the rest took what was tapped: %+v", got)
	}
	if got := sh.step("pads/wheel@LF"); got.Result != unaided || !got.Bulk {
		t.Errorf("the rest left out a plain step: %+v", got)
	}
	for _, key := range []string{"pads/fit@LF", "pads/pump"} {
		if got := sh.step(key).Result; got != "" {
			t.Errorf("the rest took %s: %q", key, got)
		}
	}
	rest := sh.Taps[len(sh.Taps)-1].ID
	sh = tap(store.Tap{ID: w.tapID(), Undo: rest})
	if got := sh.step("pads/wheel@LF").Result; got != "" {
		t.Errorf("undoing the rest: got %q", got)
	}

	// A hold point, decided by a supervisor who does not watch.
	sh = must[*JobSheet](t)(w.Tap(w.ctx, w.sam(1), j.ID, []store.Tap{{ID: w.tapID(), Step: "pads/pump", Hold: sentBack, Reason: "Soft pedal"}}))
	decided := sh.Taps[len(sh.Taps)-1].ID
	if st := sh.step("pads/pump"); st.Hold != sentBack || st.Result != "" {
		t.Errorf("sent back: %+v", st)
	}
	_, err := w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{{ID: w.tapID(), Undo: decided}})
	wants(t, err, "not_your_decision")
	sh = tap(store.Tap{ID: w.tapID(), Step: "pads/pump", Hold: accepted})
	if st := sh.step("pads/pump"); st.Hold != accepted || st.Result != unaided {
		t.Errorf("accepted without a result is unaided: %+v", st)
	}
	if got := tap(w.result("pads/pump", "prompted")).step("pads/pump").Result; got != "prompted" {
		t.Errorf("a result of its own counts: %q", got)
	}

	// Readings are judged as entered, against the exact limit.
	for value, want := range map[string]curriculum.Verdict{"20": curriculum.Within, "19.99": curriculum.Below, "20,0": curriculum.Within} {
		sh := tap(store.Tap{ID: w.tapID(), Step: "pads/rotor@RF", Reading: &store.TapReading{Measure: 1, Value: value, Unit: "mm"}})
		if got := sh.step("pads/rotor@RF").Measures[0].Verdict; got != want {
			t.Errorf("%s mm: got %s, want %s", value, got, want)
		}
	}
}

func TestFinishing(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	sam := w.sam(0)
	_, err := w.Tap(w.ctx, sam, j.ID, []store.Tap{{ID: w.tapID(), Outcome: finished}})
	wants(t, err, "missing_steps")
	if x, _ := AsRefusal(err); x.Args["count"] != "4" || !strings.Contains(x.Args["steps"], "Set the car on stands") {
		t.Errorf("got %v", x.Args)
	}
	// Stopped is possible at any time.
	sh := must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, []store.Tap{{ID: w.tapID(), Outcome: rightlyStopped}}))
	if sh.Job.Status != store.JobFinished || sh.Job.FinishedAt.IsZero() {
		t.Errorf("got %+v", sh.Job)
	}
	undo := store.Tap{ID: w.tapID(), Undo: sh.Taps[0].ID}
	sh = must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, []store.Tap{undo}))
	if sh.Job.Status != store.JobWatching || !sh.Job.FinishedAt.IsZero() || sh.Outcome != "" {
		t.Errorf("after undo: %+v", sh.Job)
	}
	_, err = w.SignJobs(w.ctx, sam, nil, []string{j.ID}, pass(w.Supervisors[0]), nil)
	wants(t, err, "job_not_finished")
	sh = must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, w.allTaps(sh)))
	// What was needed cannot be taken back while the job counts as finished.
	i := slices.IndexFunc(sh.Taps, func(x store.Tap) bool { return x.Hold == accepted })
	_, err = w.Tap(w.ctx, sam, j.ID, []store.Tap{{ID: w.tapID(), Undo: sh.Taps[i].ID}})
	wants(t, err, "missing_steps")
}

func TestDeviceClock(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	w.Clock.Add(time.Hour)
	now := w.Clock.Now().UnixMilli()
	for _, r := range []struct {
		name     string
		at, want int64
	}{
		{"none", 0, now}, {"ahead", now + 60_000, now}, {"before the job began", j.StartedAt.UnixMilli() - 1, j.StartedAt.UnixMilli()},
		{"in between", now - 60_000, now - 60_000},
	} {
		tap := w.result("pads/clean", unaided)
		tap.At = r.at
		sh := must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), j.ID, []store.Tap{tap}))
		if got := sh.Taps[len(sh.Taps)-1].At; got != r.want {
			t.Errorf("%s: got %d, want %d", r.name, got, r.want)
		}
	}
}

func TestTheEditionOfTheJobIsKept(t *testing.T) {
	w, p := ready(t)
	j := w.watch(w.sam(0), p, "pads", "wagon")
	changed := smallWith(t, "lessons/pads.md", "7. Clean up. {#clean}", "7. Clean up. {#clean}\n8. Write it down. {#write}\n")
	offer := must[*Offer](t)(w.Compare(w.ctx, w.ada(), changed))
	must[store.Receipt](t)(w.Adopt(w.ctx, w.ada(), offer, offer.Programme.Edition, pass(w.Coordinators[0])))
	sh := must[*JobSheet](t)(w.Job(w.ctx, w.sam(0), j.ID))
	if sh.step("pads/write") != nil {
		t.Error("a job that runs has the steps of a later edition")
	}
	w.pause(w.sam(0), j.ID)
	later := must[*JobSheet](t)(w.Job(w.ctx, w.sam(0), w.watch(w.sam(0), p, "pads", "wagon").ID))
	if later.step("pads/write") == nil {
		t.Error("a new job lacks the steps of the edition in use")
	}
}

func TestSigningWritesTheWholeSheet(t *testing.T) {
	w, p := ready(t)
	car := &curriculum.Car{Title: "Old hatchback", Layout: "diagonal", Features: []string{"disc"},
		Wheels:  []curriculum.CarWheel{{Name: "LF", Features: []string{"front"}}},
		Figures: []curriculum.CarFigure{{Key: "rotor.front.minimum", Value: "21.5", Unit: "mm", Source: "cast on the rotor"}}}
	sam := w.sam(0)
	j := must[*store.Job](t)(w.AskJob(w.ctx, sam, JobRequest{Apprentice: p.ID, Task: "pads", Car: car, WorkOrder: "KLM 123", Bay: "4", Watch: true}))
	yes := true
	must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, []store.Tap{
		{ID: w.tapID(), Step: "pads/stands", Result: "taken_over", CriticalError: true, WhatHappened: "Jack alone; I set the stands"},
		{ID: w.tapID(), Step: "pads/rotor@LF", Reading: &store.TapReading{Measure: 1, Value: "21.4", Unit: "mm", Instrument: "micrometer 7"}},
		w.result("pads/fit@LF", "prompted"),
		{ID: w.tapID(), Step: "pads/pump", Hold: sentBack, Reason: "Soft pedal"},
		{ID: w.tapID(), Step: "pads/pump", Hold: accepted},
		{ID: w.tapID(), Result: unaided, Bulk: true},
		{ID: w.tapID(), Note: "Asked well"},
		{ID: w.tapID(), Outcome: finished, Difficulty: "awkward", NearMiss: &yes},
	}))
	lines := spoken(must[[]Fact](t)(w.Statement(w.ctx, sam, j.ID)))
	for _, want := range []string{
		"Pat 00: Replace front pads.", "Old hatchback, layout diagonal, a customer's car.", "Plate or work order: KLM 123.", "Outcome: finished. Difficulty: awkward.",
		"Critical error at “Set the car on stands”: Jack alone; I set the stands",
		"Reading below its limit: Measure the rotor (LF) 21.4 mm (at least 21.5 mm), micrometer 7.",
		"Hold point “Pump the pedal until it is firm” was sent back: Soft pedal", "There was a near miss.", "Note: Asked well",
		"Critical steps and hold points (✓ accepted), unaided (1): Pump the pedal until it is firm ✓.",
		"Critical step or hold point, prompted (1): Put the new pads in (LF).", "Critical step or hold point, taken over (1): Set the car on stands.",
		"Other steps, unaided, tapped together (3): Take the wheel off (LF); Measure the rotor (LF); Clean up.",
	} {
		if !slices.Contains(lines, want) {
			t.Errorf("the statement lacks %q:\n%s", want, strings.Join(lines, "\n"))
		}
	}
	id := w.ID()
	r := must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam, []string{id}, []string{j.ID}, pass(w.Supervisors[0]), nil))
	if r[0].ID != id {
		t.Errorf("got id %s, want %s", r[0].ID, id)
	}
	e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, id))
	done := must[ledger.SignOffPayload](t)(ledger.PayloadOf[ledger.SignOffPayload](e.Entry.Body))
	if done.Layout != "diagonal" || done.Setting != customersCar || done.Difficulty != "awkward" || !done.NearMiss || done.Bay != "4" ||
		len(done.Steps) != 6 || len(done.Holds) != 2 || done.Holds[0].Accepted || !done.Holds[1].Accepted || len(e.Entry.Signatures) != 1 {
		t.Errorf("got %+v", done)
	}
	if want := (ledger.ReadingDone{Step: "pads/rotor@LF", Measure: 1, Value: "21.4", Unit: "mm", Instrument: "micrometer 7", Limit: "at least 21.5 mm", Verdict: "below"}); len(done.Readings) != 1 || !reflect.DeepEqual(done.Readings[0], want) {
		t.Errorf("got readings %+v", done.Readings)
	}
	for field, want := range map[string]string{"work_order": "KLM 123", "notes": "Asked well", "what_happened/pads/stands": "Jack alone; I set the stands", "what_happened/pads/pump": "Sent back: Soft pedal"} {
		if e.Personal[field] != want {
			t.Errorf("%s: got %q, want %q", field, e.Personal[field], want)
		}
	}
	var back curriculum.Car
	if err := json.Unmarshal([]byte(e.Personal["car"]), &back); err != nil || back.Title != car.Title {
		t.Errorf("the car: %v %+v", err, back)
	}
	if signed := must[*store.Job](t)(w.World.Store.Job(w.ctx, j.ID)); signed.Status != store.JobSigned || signed.SignOff != id {
		t.Errorf("got %+v", signed)
	}
	t.Run("the same request again", func(t *testing.T) {
		for _, ids := range [][]string{{id}, nil} {
			again := must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam, ids, []string{j.ID}, "whatever it is now", nil))
			if again[0] != r[0] {
				t.Errorf("got %+v, want %+v", again[0], r[0])
			}
		}
		_, err := w.SignJobs(w.ctx, sam, []string{w.ID()}, []string{j.ID}, pass(w.Supervisors[0]), nil)
		wants(t, err, "job_signed")
	})
	t.Run("no tap after it", func(t *testing.T) {
		_, err := w.Tap(w.ctx, sam, j.ID, []store.Tap{w.result("pads/clean", "prompted")})
		wants(t, err, "job_signed")
	})
}

func TestWhoSigns(t *testing.T) {
	w, p := ready(t)
	sam := w.sam(0)
	j := w.watch(sam, p, "pads", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID))
	must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, w.allTaps(sh)))
	sign := func(actor *store.Person, passphrase string, jobs ...string) error {
		_, err := w.SignJobs(w.ctx, actor, nil, jobs, passphrase, nil)
		return err
	}
	wants(t, sign(w.sam(1), pass(w.Supervisors[1]), j.ID), "not_watching")
	wants(t, sign(p, "x", j.ID), "not_allowed")
	wants(t, sign(w.ada(), pass(w.Coordinators[0]), j.ID), "not_allowed")
	wants(t, sign(sam, "", j.ID), "passphrase_needed")
	wants(t, sign(sam, "not the passphrase", j.ID), "passphrase_wrong")
	wants(t, sign(sam, pass(w.Supervisors[0])), "nothing_chosen")
	wants(t, sign(sam, pass(w.Supervisors[0]), j.ID, j.ID), "job_twice")
	unfinished := w.watch(sam, p, "pads", "wagon")
	wants(t, sign(sam, pass(w.Supervisors[0]), j.ID, unfinished.ID), "job_not_finished")
	if x := must[*store.Job](t)(w.World.Store.Job(w.ctx, j.ID)); x.SignOff != "" {
		t.Error("one of two was signed: it must be all or none")
	}
	wants(t, sign(sam, pass(w.Supervisors[0]), j.ID), "")
}

func TestSignLate(t *testing.T) {
	w, p := ready(t)
	sam := w.sam(0)
	j := w.watch(sam, p, "pads", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID))
	must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, w.allTaps(sh)))
	w.Clock.Add(16 * 24 * time.Hour)
	r := SignRequest{Jobs: []string{j.ID}, Passphrase: pass(w.Supervisors[0])}
	sign := func(l *LateSigning) error {
		r.Late = l
		_, err := w.Sign(w.ctx, sam, r)
		return err
	}
	second := pass(w.Coordinators[1])
	wants(t, sign(nil), "late_second_needed")
	wants(t, sign(&LateSigning{SecondLogin: "cora1", SecondPassphrase: second}), "reason_needed")
	wants(t, sign(&LateSigning{Reason: "I was ill", SecondLogin: "sam0", SecondPassphrase: second}), "second_is_first")
	wants(t, sign(&LateSigning{Reason: "I was ill", SecondLogin: "pat1", SecondPassphrase: second}), "second_not_allowed")
	wants(t, sign(&LateSigning{Reason: "I was ill", SecondLogin: "nobody", SecondPassphrase: second}), "second_not_allowed")
	wants(t, sign(&LateSigning{Reason: "I was ill", SecondLogin: "cora1", SecondPassphrase: "wrong"}), "passphrase_wrong")
	wants(t, sign(&LateSigning{Reason: "I was ill", SecondLogin: "cora1", SecondPassphrase: second}), "")
	v := must[*store.Job](t)(w.World.Store.Job(w.ctx, j.ID))
	e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, v.SignOff))
	if len(e.Entry.Signatures) != 2 || e.Personal["reason"] != "I was ill" {
		t.Errorf("got %d signatures, reason %q", len(e.Entry.Signatures), e.Personal["reason"])
	}
}

// A critical error of somebody cleared asks whoever signs for a decision there and then.
// A clock set back between work and signature: nothing is dated into the future, the order of the ledger stays, and the
// job can be signed once the clock has come to where it was, or from the last time recorded on.
func TestClockSetBack(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	sam, phrase := w.sam(0), pass(w.Supervisors[0])
	j := w.watch(sam, p, "induction", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID))
	w.Clock.Add(time.Hour)
	must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, append(w.allTaps(sh), store.Tap{ID: w.tapID(), Outcome: finished})))
	w.Clock.Add(-30 * time.Minute)
	_, err := w.SignJobs(w.ctx, sam, nil, []string{j.ID}, phrase, nil)
	wants(t, err, "rule_"+ledger.Future)
	if _, err := w.Read(w.ctx, w.pat(1), "", "safe", must[*curriculum.Programme](t)(w.Programme(w.ctx)).Lesson("safe", "").Edition); err != nil {
		t.Errorf("what does not lie ahead is refused: %v", err)
	}
	w.Clock.Add(30*time.Minute + time.Second)
	must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam, nil, []string{j.ID}, phrase, nil))
	last := int64(0)
	for _, e := range must[[]*store.EntryView](t)(w.World.Store.Entries(w.ctx, store.EntryFilter{Limit: 1000})) {
		if e.Entry.RecordedAt < last || e.Entry.Body.HappenedAt > e.Entry.RecordedAt {
			t.Errorf("entry %d is recorded at %d, after %d, and happened at %d", e.Index, e.Entry.RecordedAt, last, e.Entry.Body.HappenedAt)
		}
		last = e.Entry.RecordedAt
	}
	if v := must[*store.Verification](t)(store.Verify(w.ctx, w.Options, false, nil)); !v.OK {
		t.Errorf("verify: %+v", v.FirstProblem)
	}
}

func TestCriticalErrorOfTheCleared(t *testing.T) {
	for _, standDown := range []bool{true, false} {
		w, p := ready(t)
		sam, passphrase := w.sam(0), pass(w.Supervisors[0])
		must[store.Receipt](t)(w.Clear(w.ctx, sam, ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: passphrase}))
		j := w.watch(sam, p, "induction", "wagon")
		must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, []store.Tap{
			{ID: w.tapID(), Step: "safe/chock", Result: "taken_over", CriticalError: true, WhatHappened: "No chock"},
			{ID: w.tapID(), Outcome: stoppedBySuper},
		}))
		if need := must[bool](t)(w.NeedsDecision(w.ctx, sam, j.ID)); !need {
			t.Error("no decision asked for")
		}
		_, err := w.SignJobs(w.ctx, sam, nil, []string{j.ID}, passphrase, nil)
		wants(t, err, "decision_needed")
		_, err = w.SignJobs(w.ctx, sam, nil, []string{j.ID}, passphrase, &CriticalDecision{StandDown: standDown})
		wants(t, err, "reason_needed")
		r := must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam, nil, []string{j.ID}, passphrase, &CriticalDecision{StandDown: standDown, Reason: "Talked it over"}))
		if len(r) != 1 {
			t.Errorf("got %d receipts", len(r))
		}
		v := w.standing(p, "induction")
		want := map[bool]readiness.Standing{true: readiness.StoodDown, false: readiness.Cleared}[standDown]
		if v.Standing != want {
			t.Errorf("stand down %v: got %s, want %s", standDown, v.Standing, want)
		}
		if !standDown && slices.ContainsFunc(v.Notes.Warnings, func(r readiness.Reason) bool { return r.Code == "critical_error_after_clearance" }) {
			t.Errorf("decided, and it still asks for a decision: %v", v.Notes.Warnings)
		}
		e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, r[0].ID))
		if !standDown && e.Personal["reason"] != "The clearance is kept: Talked it over" {
			t.Errorf("got reason %q", e.Personal["reason"])
		}
		if standDown {
			last := must[[]*store.EntryView](t)(w.World.Store.Entries(w.ctx, store.EntryFilter{Newest: true, Limit: 2}))
			if last[0].Entry.Body.Type != ledger.StandDownSigned || last[1].Entry.Body.Type != ledger.StandDownOrdered {
				t.Errorf("got %s, %s", last[0].Entry.Body.Type, last[1].Entry.Body.Type)
			}
		}
	}
}
