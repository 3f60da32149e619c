package acts

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// results that can be tapped; what is never tapped is not_reached.
var results = []string{"unaided", "prompted", "taken_over", "not_applicable"}

// outcomes of a job.
const (
	finished        = "finished"
	rightlyStopped  = "rightly_stopped"
	stoppedBySuper  = "stopped_by_supervisor"
	interrupted     = "interrupted"
	usual           = "usual"
	accepted        = "accepted"
	sentBack        = "sent_back"
	unaided         = "unaided"
	notReached      = "not_reached"
	notApplicable   = "not_applicable"
	trainingVehicle = "training_vehicle"
	customersCar    = "customers_car"
	bench           = "bench"
)

var (
	outcomes     = []string{finished, rightlyStopped, stoppedBySuper, interrupted}
	difficulties = []string{"routine", usual, "awkward"}
	settings     = []string{bench, trainingVehicle, customersCar}
)

// RestOfSheet says whether a tap is the one that stands for all untapped steps that are neither critical nor hold
// points ([Service.RestUnaided]): bulk, unaided, and no step named. It covers what was untapped when it was made.
func RestOfSheet(t store.Tap) bool { return t.Step == "" && t.Bulk && t.Result == unaided }

// newSheet lays out the steps of a job's car by the lessons of its task, in the edition that the job keeps.
func newSheet(p *curriculum.Programme, j *store.Job) (*JobSheet, error) {
	sh := &JobSheet{Job: j, Task: p.Task(j.Task), Difficulty: j.Difficulty}
	if sh.Task == nil {
		return nil, fmt.Errorf("job %s: programme edition %s has no task %q", j.ID, p.Edition, j.Task)
	}
	var err error
	if sh.Vehicle, err = carOf(p, j); err != nil {
		return nil, err
	}
	for _, id := range sh.Task.Lessons {
		l := p.Lesson(id, p.Languages[0])
		if l == nil {
			continue
		}
		sheet := l.Sheet(sh.Vehicle)
		if sheet == nil {
			continue
		}
		part := SheetLesson{Lesson: l}
		for _, st := range sheet.Steps {
			part.Steps = append(part.Steps, newStep(p, l, sh.Vehicle, st))
		}
		sh.Lessons = append(sh.Lessons, part)
	}
	return sh, nil
}

// carOf is the job's training vehicle, or the car that was described on the spot.
func carOf(p *curriculum.Programme, j *store.Job) (*curriculum.Vehicle, error) {
	if len(j.Car) == 0 {
		v := p.Vehicle(j.Vehicle)
		if v == nil {
			return nil, fmt.Errorf("job %s: programme edition %s has no vehicle %q", j.ID, p.Edition, j.Vehicle)
		}
		return v, nil
	}
	var c curriculum.Car
	if err := json.Unmarshal(j.Car, &c); err != nil {
		return nil, fmt.Errorf("job %s: its car: %w", j.ID, err)
	}
	v, problems := c.Vehicle(p)
	if v == nil {
		return nil, fmt.Errorf("job %s: its car does not fit its programme edition: %v", j.ID, problems)
	}
	return v, nil
}

func newStep(p *curriculum.Programme, l *curriculum.Lesson, car *curriculum.Vehicle, st curriculum.SheetStep) SheetStep {
	out := SheetStep{
		SheetStep: st, Key: l.ID + "/" + st.Key, Title: st.Step.Title.For(car, st.Axle),
		Critical: st.Step.Critical, HoldPoint: st.Step.Hold,
	}
	for i, m := range st.Step.Measures {
		sm := SheetMeasure{Number: i + 1, Text: m.Text.For(car, st.Axle), Which: m.Which}
		if f, ok := l.Limit(m, car, st.Axle); ok {
			sm.figure, sm.Unit, sm.Limit, sm.Source = &f, f.Unit, limitText(f), f.Source.For(car, st.Axle)
		} else {
			sm.Unit = usualUnit(p, m, st.Axle)
		}
		out.Measures = append(out.Measures, sm)
	}
	return out
}

// limitText is a figure as a limit to read: "at least 20 mm".
func limitText(f curriculum.Figure) string {
	switch f.Limit {
	case curriculum.Minimum:
		return "at least " + f.String()
	case curriculum.Maximum:
		return "at most " + f.String()
	}
	return f.String()
}

// usualUnit is the unit that the programme's own sheets use for what is measured, where this car does not say.
func usualUnit(p *curriculum.Programme, m curriculum.Measure, axle string) curriculum.Unit {
	if m.Key == "" {
		return ""
	}
	for _, v := range p.Vehicles {
		for _, a := range []string{axle, "front", "rear"} {
			if f, ok := v.Figure(m.Key, a); ok {
				return f.Unit
			}
		}
	}
	return ""
}

// step finds a step of the sheet by its key; nil if the car has none such.
func (sh *JobSheet) step(key string) *SheetStep {
	for i := range sh.Lessons {
		for k := range sh.Lessons[i].Steps {
			if sh.Lessons[i].Steps[k].Key == key {
				return &sh.Lessons[i].Steps[k]
			}
		}
	}
	return nil
}

// steps calls f for every step in order.
func (sh *JobSheet) steps(f func(*SheetStep)) {
	for i := range sh.Lessons {
		for k := range sh.Lessons[i].Steps {
			f(&sh.Lessons[i].Steps[k])
		}
	}
}

// live are the taps that count: each id once, without those undone, without the undoing ones. An undo can be undone.
func live(taps []store.Tap) []store.Tap {
	seen := map[string]bool{}
	var each []store.Tap
	for _, t := range taps {
		if !seen[t.ID] {
			seen[t.ID] = true
			each = append(each, t)
		}
	}
	gone := map[string]bool{}
	for _, t := range slices.Backward(each) {
		if t.Undo != "" && !gone[t.ID] {
			gone[t.Undo] = true
		}
	}
	return slices.DeleteFunc(each, func(t store.Tap) bool { return t.Undo != "" || gone[t.ID] })
}

// fold puts taps, in the order they came, onto an empty sheet. Of several taps on one thing the last one counts.
func (sh *JobSheet) fold(taps []store.Tap) {
	sh.Taps = taps
	for _, t := range live(taps) {
		sh.apply(t, taps)
	}
	sh.steps(func(st *SheetStep) {
		// Whoever lets the work go on at a hold point has seen it: unless a tap says how, it was done unaided.
		if st.Hold == accepted && st.Result == "" {
			st.Result, st.at = unaided, st.holdAt
		}
		if st.Result == "" {
			sh.Open = append(sh.Open, st.Key)
		}
		if st.lacks() {
			sh.Missing = append(sh.Missing, st.Key)
		}
	})
	sh.endPause()
	if sh.Job.Supervisor != "" {
		sh.present(sh.Job.Supervisor)
	}
}

// endPause closes a pause that ran when the job ended: it never was taken up again.
func (sh *JobSheet) endPause() {
	if n := len(sh.Pauses); n > 0 && sh.Outcome != "" {
		sh.outcomeAt = max(sh.outcomeAt, sh.Pauses[n-1].To)
	}
	sh.Paused = sh.pausedAt != 0 && sh.Outcome == ""
	if sh.pausedAt != 0 && sh.Outcome != "" {
		sh.outcomeAt = max(sh.outcomeAt, sh.pausedAt)
		sh.Pauses, sh.pausedAt = append(sh.Pauses, ledger.Span{From: sh.pausedAt, To: sh.outcomeAt}), 0
	}
}

// Active are the stretches of time in which the apprentice was at this car, up to now (UTC, milliseconds).
func (sh *JobSheet) Active(now int64) []ledger.Span {
	if sh.Job.StartedAt.IsZero() {
		return nil
	}
	end := now
	switch {
	case sh.Outcome != "":
		end = sh.outcomeAt
	case sh.Paused:
		end = sh.pausedAt
	case !sh.Job.PaperEnd.IsZero():
		end = sh.Job.PaperEnd.UnixMilli()
	}
	var out []ledger.Span
	from := sh.Job.StartedAt.UnixMilli()
	for _, p := range sh.Pauses {
		if p.From > from {
			out = append(out, ledger.Span{From: from, To: p.From})
		}
		from = p.To
	}
	if end > from {
		out = append(out, ledger.Span{From: from, To: end})
	}
	return out
}

// present notes somebody who watched.
func (sh *JobSheet) present(person string) {
	if person != "" && !slices.Contains(sh.Supervisors, person) {
		sh.Supervisors = append(sh.Supervisors, person)
	}
}

// event follows a job being taken over, paused, resumed.
func (sh *JobSheet) event(t store.Tap) {
	sh.Events = append(sh.Events, t)
	last := sh.Job.StartedAt.UnixMilli()
	if n := len(sh.Pauses); n > 0 {
		last = sh.Pauses[n-1].To
	}
	switch t.Event {
	case "taken":
		sh.present(t.To)
		sh.present(t.By)
	case "paused":
		if sh.pausedAt == 0 {
			sh.pausedAt = max(t.At, last)
		}
	case "resumed":
		if sh.pausedAt != 0 {
			sh.Pauses, sh.pausedAt = append(sh.Pauses, ledger.Span{From: sh.pausedAt, To: max(t.At, sh.pausedAt)}), 0
		}
	}
}

// lacks says whether a step keeps the job from being finished: a critical step without a tap of its own, a hold point
// that is not accepted.
func (st *SheetStep) lacks() bool {
	if st.HoldPoint && st.Result != notApplicable && st.Hold != accepted {
		return true
	}
	return st.Critical && st.Result == ""
}

func (sh *JobSheet) apply(t store.Tap, all []store.Tap) {
	if t.Event != "" {
		sh.event(t)
		return
	}
	sh.present(t.By)
	if t.Difficulty != "" {
		sh.Difficulty = t.Difficulty
	}
	if t.NearMiss != nil {
		sh.NearMiss = *t.NearMiss
	}
	if t.Note != "" {
		sh.Notes = append(sh.Notes, t.Note)
	}
	if t.Parts != nil {
		sh.Parts = *t.Parts
	}
	if t.Fluid != nil {
		sh.Fluid = *t.Fluid
	}
	if t.Photo != nil {
		sh.Photos = append(sh.Photos, t)
		return
	}
	if t.Oral != nil {
		sh.Oral = append(slices.DeleteFunc(sh.Oral, func(o store.Tap) bool { return o.Oral.Question == t.Oral.Question }), t)
		return
	}
	if t.Outcome != "" {
		sh.Outcome, sh.outcomeAt = t.Outcome, t.At
	}
	if RestOfSheet(t) {
		covered := sh.untappedBefore(t, all)
		sh.steps(func(st *SheetStep) {
			if covered[st.Key] {
				st.set(t)
			}
		})
		return
	}
	st := sh.step(t.Step)
	if st == nil {
		return
	}
	switch {
	case t.OwnError != nil:
		st.OwnError, st.OwnErrorWhat = *t.OwnError, t.WhatHappened
	case t.Result != "":
		st.set(t)
	case t.Hold != "":
		st.Hold, st.HoldReason, st.holdAt, st.holdBy = t.Hold, t.Reason, t.At, t.By
		st.holds = append(st.holds, t)
	case t.Reading != nil && t.Reading.Measure >= 1 && t.Reading.Measure <= len(st.Measures):
		st.Measures[t.Reading.Measure-1].take(*t.Reading)
	}
}

func (st *SheetStep) set(t store.Tap) {
	st.Result, st.CriticalError, st.SteppedIn, st.WhatHappened, st.Bulk, st.at = t.Result, t.CriticalError, t.SteppedIn, t.WhatHappened, t.Bulk, t.At
}

// untappedBefore are the steps, neither critical nor hold points, without a result when a tap was made.
func (sh *JobSheet) untappedBefore(tap store.Tap, all []store.Tap) map[string]bool {
	open := map[string]bool{}
	sh.steps(func(st *SheetStep) {
		if !st.Critical && !st.HoldPoint {
			open[st.Key] = true
		}
	})
	at := slices.IndexFunc(all, func(t store.Tap) bool { return t.ID == tap.ID })
	for _, t := range live(all[:at]) {
		if t.Result != "" {
			delete(open, t.Step)
		}
	}
	return open
}

// take judges a reading at once, as entered: what counts of several, and where each counts, the worst.
func (m *SheetMeasure) take(r store.TapReading) {
	m.Reading, m.Verdict = &r, ""
	if m.figure == nil {
		return
	}
	if v, err := m.figure.Judge(curriculum.Quantity{Value: r.Value, Unit: curriculum.Unit(r.Unit)}); err == nil {
		m.Verdict = v
	}
}

// criticalErrors are the steps of the sheet where a critical error was named.
func (sh *JobSheet) criticalErrors() []*SheetStep {
	var out []*SheetStep
	sh.steps(func(st *SheetStep) {
		if st.CriticalError {
			out = append(out, st)
		}
	})
	return out
}

// name is a step's title within a sentence, with its wheel.
func (st *SheetStep) name() string {
	name := strings.TrimRight(st.Title, ".")
	if st.Wheel != "" {
		name += " (" + st.Wheel + ")"
	}
	return name
}

// titles are the titles of steps by key, for a refusal that names them.
func (sh *JobSheet) titles(keys []string) []string {
	var out []string
	for _, k := range keys {
		if st := sh.step(k); st != nil {
			out = append(out, st.name())
		}
	}
	return out
}

// theJob loads a job and its apprentice.
func (s *Service) theJob(ctx context.Context, id string) (*store.Job, *store.Person, error) {
	j, err := s.Store.Job(ctx, id)
	if err != nil {
		return nil, nil, missing(err, "job")
	}
	p, err := s.person(ctx, j.Apprentice)
	return j, p, err
}

// sheet builds a job's sheet with its taps.
func (s *Service) sheet(ctx context.Context, j *store.Job, apprentice *store.Person, taps []store.Tap) (*JobSheet, error) {
	p, err := s.edition(ctx, j.Programme)
	if err != nil {
		return nil, err
	}
	sh, err := newSheet(p, j)
	if err != nil {
		return nil, err
	}
	sh.Apprentice = apprentice
	if j.Supervisor != "" {
		if sh.Supervisor, err = s.person(ctx, j.Supervisor); err != nil {
			return nil, err
		}
	}
	sh.fold(taps)
	return sh, nil
}

func (s *Service) jobSheet(ctx context.Context, actor *store.Person, job string) (*JobSheet, error) {
	j, p, err := s.theJob(ctx, job)
	if err != nil {
		return nil, err
	}
	if err := s.May(ctx, actor, SeeJob, Target{Person: p, Task: j.Task, Site: seeSite(j, actor, p)}); err != nil {
		return nil, err
	}
	taps, err := s.Store.Taps(ctx, job)
	if err != nil {
		return nil, err
	}
	return s.sheet(ctx, j, p, taps)
}

// seeSite is the site by which a job may be seen: where it is done, or where the apprentice belongs, whichever the
// actor reaches.
func seeSite(j *store.Job, actor, apprentice *store.Person) string {
	for _, r := range actor.Roles {
		if r.Site == j.Site {
			return j.Site
		}
	}
	return ""
}

// induction refuses to watch anybody on a job before the policy's induction is done.
func (s *Service) induction(ctx context.Context, f *frame, apprentice *store.Person, task, date string) error {
	first := f.policy.Induction
	if first == "" || first == task {
		return nil
	}
	vs, err := s.verdicts(ctx, f, apprentice.ID, date)
	if err != nil {
		return err
	}
	v, _ := verdictOf(vs, task)
	open := slices.ContainsFunc(v.Gates, func(g readiness.Gate) bool { return g.Gate == "induction" && g.OK })
	if open {
		return nil
	}
	title := first
	if t := f.programme.Task(first); t != nil {
		title = t.Title
	}
	return wrong("task", "induction_first", "name", apprentice.Name, "induction", title)
}
