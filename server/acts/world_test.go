package acts

import (
	"context"
	"maps"
	"strings"
	"testing"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/storetest"
)

// small is a programme of two tasks: an induction that asks for one watched job, and pads, whose lesson has critical
// steps, a hold point, steps per wheel, a step for cars with a parking motor, and two measurements.
var small = map[string]string{
	"programme.yaml": `title: Small brakes
languages: [en]
units: si
tasks:
  - {id: induction, title: Make a car safe, lessons: [safe]}
  - {id: pads, title: Replace front pads, lessons: [pads], prerequisites: [induction]}
policy:
  induction: induction
  tasks:
    induction: {target: 0.5, confidence: 0.5, jobs: 1, supervisors: 1, recency_days: 365, lapse_days: 365}
    pads:
      target: 0.5
      confidence: 0.5
      jobs: 2
      supervisors: 2
      layouts: 2
      recency_days: 60
      lapse_days: 90
      theory_test: {blueprint: pads-theory, pass_percent: 50}
blueprints:
  - {id: pads-theory, task: pads, questions: 4, lessons: {pads: 4}, critical_steps: none}
`,
	"lessons/safe.md": `---
id: safe
title: Make a car safe
language: en
tasks: [induction]
---
# Make a car safe

## Procedure
1. Park on level ground. {#park}
2. Chock a wheel. {#chock .critical}
   - **Why:** The car cannot roll.
   - **If skipped:** The car rolls onto you.
3. Look under the car. {#look .hold}
   - **Why:** Nobody is there.
`,
	"lessons/pads.md": `---
id: pads
title: Replace front pads
language: en
tasks: [pads]
---
# Replace front pads

## Cautions
| Hazard | Consequence | Control |
|---|---|---|
| Dust from linings | It harms your lungs | Wet it and wipe it away |
| A car on a jack alone | It falls and crushes you | Set it on stands |
| Old fluid on paint | It eats the paint | Rinse it off with water |
| Springs under tension | They hit your eyes | Wear glasses |

## Procedure
1. Set the car on stands. {#stands .critical}
   - **Why:** A jack can sink.
   - **If skipped:** The car falls on you.
2. Take the wheel off. {#wheel each="wheel" if="front"}
   - **Why:** The caliper is behind it.
3. Switch the parking motor to service. {#service if="parking-motor"}
   - **Why:** The motor clamps the pads.
4. Measure the rotor. {#rotor each="wheel" if="front"}
   - **Why:** A thin rotor cracks.
   - **Measure:** [minimum thickness](vehicle:rotor.front.minimum); lowest of four readings.
5. Put the new pads in. {#fit .critical each="wheel" if="front"}
   - **Why:** They must slide.
   - **If done wrong:** A pad jams and overheats.
6. Pump the pedal until it is firm. {#pump .critical .hold}
   - **Why:** The pistons stand back.
   - **If skipped:** The first stop has no brakes.
7. Clean up. {#clean}

## Faults
| Symptom | Cause | Check that tells |
|---|---|---|
| The pedal is soft | Air is in the line | Bleed and look for bubbles |
| The car pulls to one side | A pad has seized | Push the pad by hand |
| The brake squeals | Dust under the shims | Take the pad out and look |
| The pedal pulses | The rotor is out of true | Measure the runout |
`,
	"vehicles/wagon.md": `---
id: wagon
title: Bench wagon
language: en
layout: diagonal
features: [disc]
wheels: {LF: [front], RF: [front], LR: [rear], RR: [rear]}
---
# Bench wagon

## Figures
| Key | Quantity | Value | Unit | Limit | Source |
|---|---|---|---|---|---|
| rotor.front.minimum | Minimum thickness of the front rotor | 20 | mm | minimum | Training sheet |
`,
	"vehicles/van.md": `---
id: van
title: Bench van
language: en
layout: front-rear
features: [disc, parking-motor]
wheels: {LF: [front], RF: [front], LR: [rear], RR: [rear]}
---
# Bench van

## Figures
| Key | Quantity | Value | Unit | Limit | Source |
|---|---|---|---|---|---|
| rotor.front.minimum | Minimum thickness of the front rotor | 26.4 | mm | minimum | Training sheet |
`,
}

// files are the small programme's, with changes: a text instead of another one, by path.
func smallWith(t testing.TB, changes ...string) memFS {
	t.Helper()
	all := maps.Clone(small)
	for i := 0; i+2 < len(changes); i += 3 {
		path, old, new := changes[i], changes[i+1], changes[i+2]
		if old != "" && !strings.Contains(all[path], old) {
			t.Fatalf("%s does not hold %q", path, old)
		}
		if old == "" {
			all[path] = new
		} else {
			all[path] = strings.Replace(all[path], old, new, 1)
		}
	}
	out := memFS{}
	for path, text := range all {
		out[path] = []byte(text)
	}
	return out
}

func mustLoad(t testing.TB, fsys memFS) *curriculum.Programme {
	t.Helper()
	p, problems := LoadProgramme(fsys)
	if p == nil {
		for _, x := range problems {
			t.Errorf("%s:%d:%d %s %s %v", x.File, x.Line, x.Column, x.Severity, x.Code, x.Args)
		}
		t.FailNow()
	}
	return p
}

// world is a founded programme with a Service on it.
type world struct {
	*Service
	World                                  *storetest.World
	Options                                store.Options
	Clock                                  *storetest.Clock
	Site, Cohort                           string
	Coordinators, Supervisors, Apprentices []*storetest.Member
	ctx                                    context.Context
	t                                      testing.TB
}

func newWorldOn(t testing.TB, w *storetest.World) *world {
	return &world{
		Service: New(w.Store, w.Clock.Now, w.Random, "test"), World: w, Options: w.Options, Clock: w.Clock, Site: w.Site, Cohort: w.Cohort,
		Coordinators: w.Coordinators, Supervisors: w.Supervisors, Apprentices: w.Apprentices, ctx: context.Background(), t: t,
	}
}

// ID mints an id.
func (w *world) ID() string { return w.World.ID() }

func newWorld(t testing.TB, changes ...string) *world {
	t.Helper()
	p := mustLoad(t, smallWith(t, changes...))
	w := storetest.New(t, storetest.Config{
		Programme: StoredProgramme(p), Parameters: readiness.DefaultParameters().JSON(), Tasks: []string{"induction", "pads"},
	})
	return newWorldOn(t, w)
}

// who loads a member as a request would.
func (w *world) who(m *storetest.Member) *store.Person {
	w.t.Helper()
	p, err := w.World.Store.Person(w.ctx, m.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	return p
}

func (w *world) sam(i int) *store.Person { return w.who(w.Supervisors[i]) }
func (w *world) pat(i int) *store.Person { return w.who(w.Apprentices[i]) }
func (w *world) ada() *store.Person      { return w.who(w.Coordinators[0]) }
func (w *world) cora() *store.Person     { return w.who(w.Coordinators[1]) }

func pass(m *storetest.Member) string { return m.Passphrase }

// code is the code of a refusal; another error fails the test, none is "".
func code(t testing.TB, err error) string {
	t.Helper()
	if err == nil {
		return ""
	}
	r, ok := AsRefusal(err)
	if !ok {
		t.Fatalf("not a refusal: %v", err)
	}
	return r.Code
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			if r, ok := AsRefusal(err); ok {
				t.Fatalf("refused: %s %v %v", r.Code, r.Args, r.Problems)
			}
			t.Fatal(err)
		}
		return v
	}
}

// wants fails unless an error is the refusal of a code.
func wants(t testing.TB, err error, want string) {
	t.Helper()
	if got := code(t, err); got != want {
		t.Errorf("got refusal %q (%v), want %q", got, err, want)
	}
}

func (w *world) tapID() string { return w.ID() }

func (w *world) result(step, result string) store.Tap {
	return store.Tap{ID: w.tapID(), Step: step, Result: result}
}

// watch starts a job.
func (w *world) watch(supervisor, apprentice *store.Person, task, vehicle string) *store.Job {
	w.t.Helper()
	return must[*store.Job](w.t)(w.AskJob(w.ctx, supervisor, JobRequest{Apprentice: apprentice.ID, Task: task, Vehicle: vehicle, Watch: true}))
}

// allTaps are the taps of a job in which everything is done unaided and every reading is good.
func (w *world) allTaps(sh *JobSheet) []store.Tap {
	var taps []store.Tap
	sh.steps(func(st *SheetStep) {
		switch {
		case st.HoldPoint:
			taps = append(taps, store.Tap{ID: w.tapID(), Step: st.Key, Hold: accepted})
		case st.Critical:
			taps = append(taps, w.result(st.Key, unaided))
		}
	})
	return append(taps, store.Tap{ID: w.tapID(), Result: unaided, Bulk: true}, store.Tap{ID: w.tapID(), Outcome: finished})
}

// goodJob is a job done unaided, finished and signed.
func (w *world) goodJob(i int, apprentice *store.Person, task, vehicle string) *store.Job {
	w.t.Helper()
	j := w.watch(w.sam(i), apprentice, task, vehicle)
	sh := must[*JobSheet](w.t)(w.Job(w.ctx, w.sam(i), j.ID))
	must[*JobSheet](w.t)(w.Tap(w.ctx, w.sam(i), j.ID, w.allTaps(sh)))
	must[[]store.Receipt](w.t)(w.SignJobs(w.ctx, w.sam(i), nil, []string{j.ID}, pass(w.Supervisors[i]), nil))
	return must[*store.Job](w.t)(w.World.Store.Job(w.ctx, j.ID))
}

// readLesson records a reading of today's edition.
func (w *world) readLesson(p *store.Person, lesson string) {
	w.t.Helper()
	l := must[*curriculum.Programme](w.t)(w.Programme(w.ctx)).Lesson(lesson, "")
	must[store.Receipt](w.t)(w.Read(w.ctx, p, "", lesson, l.Edition))
}

// inducted reads and does the induction.
func (w *world) inducted(p *store.Person) {
	w.t.Helper()
	w.readLesson(p, "safe")
	w.goodJob(0, p, "induction", "wagon")
}

func (w *world) standing(p *store.Person, task string) readiness.Verdict {
	w.t.Helper()
	vs := must[[]readiness.Verdict](w.t)(w.Standings(w.ctx, p, p.ID))
	v, ok := verdictOf(vs, task)
	if !ok {
		w.t.Fatalf("no verdict for %s", task)
	}
	return v
}

// pause pauses a job, so that its apprentice can be at another car.
func (w *world) pause(actor *store.Person, job string) {
	w.t.Helper()
	if _, err := w.Tap(w.ctx, actor, job, []store.Tap{{ID: w.tapID(), Event: "paused"}}); err != nil {
		w.t.Fatal(err)
	}
}
