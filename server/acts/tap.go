package acts

import (
	"context"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"brakewright/curriculum"
	"brakewright/store"
)

// mostTaps bounds one batch; a phone that was without signal for a day sends fewer.
const mostTaps = 1000

func (s *Service) tap(ctx context.Context, actor *store.Person, job string, taps []store.Tap) (*JobSheet, error) {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return nil, err
	}
	if len(taps) == 0 || len(taps) > mostTaps {
		return nil, wrong("taps", "tap_count", "most", strconv.Itoa(mostTaps))
	}
	before, err := s.Store.Taps(ctx, job)
	if err != nil {
		return nil, err
	}
	if err := s.mayTap(ctx, actor, j, apprentice, before, taps); err != nil {
		return nil, err
	}
	sh, err := s.sheet(ctx, j, apprentice, before)
	if err != nil {
		return nil, err
	}
	var fresh []store.Tap
	all := slices.Clone(before)
	for i, t := range taps {
		if slices.ContainsFunc(all, func(x store.Tap) bool { return x.ID == t.ID }) {
			continue // sent again
		}
		t, err := s.checkTap(sh, actor, j, t, all)
		if err != nil {
			return nil, atIndex(err, i)
		}
		fresh, all = append(fresh, t), append(all, t)
	}
	after, err := s.sheet(ctx, j, apprentice, all)
	if err != nil {
		return nil, err
	}
	if len(fresh) > 0 {
		if err := openJob(j); err != nil {
			return nil, err
		}
		if after.Outcome == finished && len(after.Missing) > 0 {
			return nil, missingSteps(after)
		}
		if err := s.Store.AddTaps(ctx, job, fresh); err != nil {
			return nil, jobConflict(err)
		}
	}
	// Also where nothing is new: the answer to the first sending may have been lost before this.
	if j.Status == store.JobWatching || j.Status == store.JobFinished {
		if err := s.followOutcome(ctx, j, after); err != nil {
			return nil, err
		}
	}
	return s.jobSheetOf(ctx, job, apprentice)
}

// jobSheetOf reads a job's sheet back as the store has it.
func (s *Service) jobSheetOf(ctx context.Context, job string, apprentice *store.Person) (*JobSheet, error) {
	j, err := s.Store.Job(ctx, job)
	if err != nil {
		return nil, missing(err, "job")
	}
	taps, err := s.Store.Taps(ctx, job)
	if err != nil {
		return nil, err
	}
	return s.sheet(ctx, j, apprentice, taps)
}

func missingSteps(sh *JobSheet) error {
	return wrong("outcome", "missing_steps", "count", strconv.Itoa(len(sh.Missing)),
		"steps", strings.Join(sh.titles(sh.Missing), "; "), "keys", strings.Join(sh.Missing, " "))
}

// jobConflict says what the store's conflict means here: somebody signed in between.
func jobConflict(err error) error {
	if x, ok := AsRefusal(translate(err)); ok && x.Code == "id_taken" {
		return conflict("job_signed")
	}
	return translate(err)
}

// mayTap: whoever watches taps; at a hold point any supervisor appointed for the task may decide.
func (s *Service) mayTap(ctx context.Context, actor *store.Person, j *store.Job, apprentice *store.Person, before, taps []store.Tap) error {
	onlyHolds := !slices.ContainsFunc(taps, func(t store.Tap) bool { return !ownHold(t, actor, before) })
	act := WatchJob
	if onlyHolds {
		act = DecideHold
	}
	if err := s.mayWatch(ctx, actor, act, j, apprentice); err != nil {
		return err
	}
	switch {
	case j.Status == store.JobWaiting:
		return conflict("job_not_taken")
	case j.Supervisor != actor.ID && !onlyHolds:
		return conflict("not_watching")
	}
	return nil
}

// ownHold says whether a tap decides a hold point, or takes the actor's own decision back.
func ownHold(t store.Tap, actor *store.Person, before []store.Tap) bool {
	if t.Undo == "" {
		return t.Hold != ""
	}
	i := slices.IndexFunc(before, func(x store.Tap) bool { return x.ID == t.Undo })
	return i >= 0 && before[i].Hold != "" && before[i].By == actor.ID
}

// followOutcome keeps the job's status in step with its taps.
func (s *Service) followOutcome(ctx context.Context, j *store.Job, sh *JobSheet) error {
	status, at := store.JobWatching, time.Time{}
	if sh.Outcome != "" {
		status, at = store.JobFinished, time.UnixMilli(sh.outcomeAt).UTC()
	}
	if j.Status == status && j.FinishedAt.Equal(at) && j.Difficulty == sh.Difficulty {
		return nil
	}
	return jobConflict(s.Store.UpdateJob(ctx, j.ID, func(x *store.Job) error {
		if err := openJob(x); err != nil {
			return err
		}
		x.Status, x.FinishedAt, x.Difficulty = status, at, sh.Difficulty
		return nil
	}))
}

// atIndex says which tap of a batch was refused.
func atIndex(err error, i int) error {
	if x, ok := AsRefusal(err); ok {
		x.Args["index"] = strconv.Itoa(i)
	}
	return err
}

// checkTap judges one tap by the sheet and the taps before it, and fills in who made it and when.
func (s *Service) checkTap(sh *JobSheet, actor *store.Person, j *store.Job, t store.Tap, before []store.Tap) (store.Tap, error) {
	if _, err := uuid.Parse(t.ID); err != nil || len(t.ID) != 36 || t.ID != strings.ToLower(t.ID) {
		return t, wrong("id", "bad_id", "id", t.ID)
	}
	t.Job, t.By, t.At = j.ID, actor.ID, s.tapTime(t.At, j)
	var err error
	for _, x := range []struct {
		field string
		v     *string
	}{{"note", &t.Note}, {"reason", &t.Reason}, {"what_happened", &t.WhatHappened}} {
		if *x.v, err = text(x.field, *x.v); err != nil {
			return t, err
		}
	}
	groups := 0
	for _, is := range []bool{t.Result != "", t.Hold != "", t.Reading != nil, t.Outcome != "", t.Undo != ""} {
		if is {
			groups++
		}
	}
	extra := t.Difficulty != "" || t.NearMiss != nil || t.Note != ""
	switch {
	case groups > 1, groups == 1 && extra && t.Outcome == "":
		return t, wrong("tap", "tap_mixed")
	case groups == 0 && !extra:
		return t, wrong("tap", "tap_empty")
	case t.Result == "" && (t.CriticalError || t.WhatHappened != "" || t.Bulk), t.Hold == "" && t.Reason != "":
		return t, wrong("tap", "tap_mixed")
	case t.Difficulty != "" && !slices.Contains(difficulties, t.Difficulty):
		return t, wrong("difficulty", "unknown_difficulty", "difficulty", t.Difficulty)
	case t.Outcome != "" && !slices.Contains(outcomes, t.Outcome):
		return t, wrong("outcome", "unknown_outcome", "outcome", t.Outcome)
	case t.Undo != "":
		return t, checkUndo(t, actor, before)
	case t.Result == "" && t.Hold == "" && t.Reading == nil:
		return t, nil
	case RestOfSheet(t):
		if t.CriticalError || t.WhatHappened != "" {
			return t, wrong("tap", "tap_mixed")
		}
		return t, nil
	}
	st := sh.step(t.Step)
	if st == nil {
		return t, wrong("step", "unknown_step", "step", t.Step)
	}
	switch {
	case t.Result != "":
		return t, checkResult(st, t)
	case t.Hold != "":
		return t, checkHold(st, t)
	}
	reading, err := checkReading(st, *t.Reading)
	t.Reading = &reading
	return t, err
}

// tapTime trusts a device's clock only between the job's start and now.
func (s *Service) tapTime(at int64, j *store.Job) int64 {
	now := s.ms()
	if at <= 0 || at > now {
		return now
	}
	return min(now, max(at, j.StartedAt.UnixMilli()))
}

func checkUndo(t store.Tap, actor *store.Person, before []store.Tap) error {
	i := slices.IndexFunc(before, func(x store.Tap) bool { return x.ID == t.Undo })
	switch {
	case i < 0:
		return wrong("undo", "unknown_tap")
	case before[i].Hold != "" && before[i].By != actor.ID:
		return refuse(http.StatusForbidden, "not_your_decision")
	}
	return nil
}

func checkResult(st *SheetStep, t store.Tap) error {
	switch {
	case !slices.Contains(results, t.Result):
		return wrong("result", "unknown_result", "result", t.Result)
	case t.Bulk && (st.Critical || st.HoldPoint):
		return wrong("bulk", "own_tap_needed", "step", st.name())
	case t.Bulk && t.Result != unaided:
		return wrong("bulk", "bulk_unaided_only")
	case t.CriticalError && !st.Critical:
		return wrong("critical_error", "not_a_critical_step", "step", st.name())
	case t.CriticalError && t.Result == notApplicable:
		return wrong("critical_error", "error_not_possible", "step", st.name())
	case t.CriticalError && t.WhatHappened == "":
		return wrong("what_happened", "what_happened_needed", "step", st.name())
	case !t.CriticalError && t.WhatHappened != "":
		return wrong("what_happened", "what_happened_without_error")
	}
	return nil
}

func checkHold(st *SheetStep, t store.Tap) error {
	switch {
	case !st.HoldPoint:
		return wrong("hold", "not_a_hold_point", "step", st.name())
	case t.Hold != accepted && t.Hold != sentBack:
		return wrong("hold", "unknown_hold", "hold", t.Hold)
	case t.Hold == sentBack && t.Reason == "":
		return wrong("reason", "reason_needed", "step", st.name())
	}
	return nil
}

// figures as people type them: a sign, digits, and a decimal point or comma.
var typedFigure = regexp.MustCompile(`^([+-]?)([0-9]{1,9})(?:([.,])([0-9]{1,9}))?$`)

// checkReading reads a figure exactly as entered. A lone comma before exactly three digits could be a decimal comma or
// group thousands: it is asked back, never guessed.
func checkReading(st *SheetStep, r store.TapReading) (store.TapReading, error) {
	if r.Measure < 1 || r.Measure > len(st.Measures) {
		return r, wrong("reading.measure", "unknown_measure", "step", st.name())
	}
	m := st.Measures[r.Measure-1]
	typed := strings.ReplaceAll(strings.TrimSpace(r.Value), "−", "-")
	parts := typedFigure.FindStringSubmatch(typed)
	switch {
	case parts == nil:
		return r, wrong("reading.value", "reading_unreadable", "value", r.Value)
	case parts[3] == "," && len(parts[4]) == 3:
		return r, wrong("reading.value", "reading_ambiguous", "value", r.Value,
			"decimal", parts[1]+parts[2]+"."+parts[4], "whole", parts[1]+parts[2]+parts[4])
	}
	r.Value = strings.TrimPrefix(parts[1], "+") + parts[2]
	if parts[4] != "" {
		r.Value += "." + parts[4]
	}
	if r.Unit == "" {
		r.Unit = string(m.Unit)
	}
	dimension, known := curriculum.Unit(r.Unit).Dimension()
	if !known {
		return r, wrong("reading.unit", "unknown_unit", "unit", r.Unit)
	}
	if m.figure != nil || m.Unit != "" {
		if want, _ := m.Unit.Dimension(); want != dimension {
			return r, wrong("reading.unit", "unit_of_something_else", "unit", r.Unit, "wanted", string(m.Unit))
		}
	}
	var err error
	if r.Instrument, err = text("reading.instrument", r.Instrument); err != nil {
		return r, err
	}
	if len(r.Instrument) > 200 {
		return r, wrong("reading.instrument", "text_too_long")
	}
	return r, nil
}

func (s *Service) restUnaided(ctx context.Context, actor *store.Person, job, tapID string) (*JobSheet, error) {
	if tapID == "" {
		id, err := s.newID()
		if err != nil {
			return nil, err
		}
		tapID = id
	}
	return s.tap(ctx, actor, job, []store.Tap{{ID: tapID, Result: unaided, Bulk: true}})
}
