package acts

import (
	"context"
	"math/big"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"brakewright/curriculum"
	"brakewright/store"
	"brakewright/store/ledger"
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
	resumed := false
	for i, t := range taps {
		if n := slices.IndexFunc(all, func(x store.Tap) bool { return x.ID == t.ID }); n >= 0 {
			if !sameTap(all[n], t, actor) {
				return nil, atIndex(conflict("id_taken"), i)
			}
			continue // sent again
		}
		if err := openJob(j); err != nil {
			return nil, err
		}
		t, err := s.checkTap(ctx, sh, actor, j, t, all)
		if err == nil && !resumed {
			err = sh.whilePaused(t)
		}
		if err != nil {
			return nil, atIndex(err, i)
		}
		resumed = resumed || t.Event == "resumed"
		fresh, all = append(fresh, t), append(all, t)
	}
	// Also where nothing is new: the answer to the first sending may have been lost before this.
	if j.Status == store.JobWatching || j.Status == store.JobFinished {
		p, err := s.edition(ctx, j.Programme)
		if err != nil {
			return nil, err
		}
		err = s.Store.TapAndUpdate(ctx, job, fresh, func(x *store.Job, taps []store.Tap) error { return follow(p, x, taps, len(fresh) > 0) })
		if err != nil {
			return nil, s.jobRefused(ctx, err)
		}
	}
	return s.jobSheetOf(ctx, job, apprentice)
}

// sameTap says whether a tap is one that was kept before, sent again: by the same person and with the same content. Its time
// may differ, for the server has its own word on that.
func sameTap(kept, sent store.Tap, actor *store.Person) bool {
	figures := func(r *store.TapReading) []string {
		if r == nil {
			return nil
		}
		out := []string{strconv.Itoa(r.Measure)}
		for _, v := range typedFigures(*r) {
			if f, err := figureOf(v); err == nil {
				v = f
			}
			out = append(out, v)
		}
		return out
	}
	tidy := func(v string) string { return strings.TrimSpace(strings.ReplaceAll(v, "\r\n", "\n")) }
	return kept.By == actor.ID && kept.Step == sent.Step && kept.Result == sent.Result && kept.CriticalError == sent.CriticalError && kept.Bulk == sent.Bulk &&
		kept.Hold == sent.Hold && kept.Outcome == sent.Outcome && kept.Event == sent.Event && kept.Undo == sent.Undo && kept.Difficulty == sent.Difficulty &&
		kept.WhatHappened == tidy(sent.WhatHappened) && kept.Reason == tidy(sent.Reason) && kept.Note == tidy(sent.Note) &&
		slices.Equal(figures(kept.Reading), figures(sent.Reading))
}

// whilePaused refuses work on a job that is paused. What was tapped before the pause, on a device that was without
// signal, still counts.
func (sh *JobSheet) whilePaused(t store.Tap) error {
	work := t.Result != "" || t.Hold != "" || t.Reading != nil || t.OwnError != nil
	if work && sh.Paused && t.At > sh.pausedAt {
		return conflict("job_paused")
	}
	return nil
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

// follow keeps a job in step with its taps, all devices' taken together: it is called within their transaction.
func follow(p *curriculum.Programme, j *store.Job, taps []store.Tap, fresh bool) error {
	if err := openJob(j); err != nil {
		return err
	}
	sh, err := newSheet(p, j)
	if err != nil {
		return err
	}
	sh.fold(taps)
	if fresh && sh.Outcome == finished && len(sh.Missing) > 0 {
		return missingSteps(sh)
	}
	j.Status, j.FinishedAt, j.Difficulty, j.PausedAt = store.JobWatching, time.Time{}, sh.Difficulty, time.Time{}
	switch {
	case sh.Outcome != "":
		j.Status, j.FinishedAt = store.JobFinished, time.UnixMilli(sh.outcomeAt).UTC()
	case sh.Paused:
		j.PausedAt = time.UnixMilli(sh.pausedAt).UTC()
	}
	return nil
}

// atIndex says which tap of a batch was refused.
func atIndex(err error, i int) error {
	if x, ok := AsRefusal(err); ok {
		x.Args["index"] = strconv.Itoa(i)
	}
	return err
}

// checkTap judges one tap by the sheet and the taps before it, and fills in who made it and when.
func (s *Service) checkTap(ctx context.Context, sh *JobSheet, actor *store.Person, j *store.Job, t store.Tap, before []store.Tap) (store.Tap, error) {
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
	for _, x := range []struct {
		field string
		v     *string
	}{{"parts", t.Parts}, {"fluid", t.Fluid}} {
		if x.v == nil {
			continue
		}
		if *x.v, err = text(x.field, *x.v); err != nil {
			return t, err
		}
	}
	for _, is := range []bool{t.Result != "", t.Hold != "", t.Reading != nil, t.Oral != nil, t.OwnError != nil, t.Event != "", t.Outcome != "", t.Undo != ""} {
		if is {
			groups++
		}
	}
	extra := t.Difficulty != "" || t.NearMiss != nil || t.Note != "" || t.Parts != nil || t.Fluid != nil
	switch {
	case t.Photo != nil: // comes by a request of its own
		return t, wrong("tap", "tap_mixed")
	case groups > 1, groups == 1 && extra && t.Outcome == "":
		return t, wrong("tap", "tap_mixed")
	case groups == 0 && !extra:
		return t, wrong("tap", "tap_empty")
	case t.Result == "" && (t.CriticalError || t.Bulk || t.SteppedIn != ""), t.Result == "" && t.OwnError == nil && t.WhatHappened != "",
		t.Hold == "" && t.Event == "" && t.Reason != "", t.To != "":
		return t, wrong("tap", "tap_mixed")
	case t.Difficulty != "" && !slices.Contains(difficulties, t.Difficulty):
		return t, wrong("difficulty", "unknown_difficulty", "difficulty", t.Difficulty)
	case t.Outcome != "" && !slices.Contains(outcomes, t.Outcome):
		return t, wrong("outcome", "unknown_outcome", "outcome", t.Outcome)
	case t.Undo != "":
		return t, checkUndo(t, actor, before)
	case t.Event != "":
		return t, checkEvent(sh, t)
	case t.Oral != nil:
		o, err := s.checkOral(ctx, sh, *t.Oral)
		t.Oral = &o
		return t, err
	case t.Result == "" && t.Hold == "" && t.Reading == nil && t.OwnError == nil:
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
	case t.OwnError != nil:
		return t, nil
	case t.Result != "":
		if t.CriticalError && t.SteppedIn == "" {
			t.SteppedIn = usualStepIn(t.Result)
		}
		return t, checkResult(st, t)
	case t.Hold != "":
		return t, checkHold(st, t)
	}
	reading, err := s.checkReading(st, *t.Reading)
	t.Reading = &reading
	return t, err
}

// tapTime trusts a device's clock only between the job's start and now.
func (s *Service) tapTime(at int64, j *store.Job) int64 {
	if !j.PaperEnd.IsZero() {
		return j.PaperEnd.UnixMilli() // what was tapped at the car was written on paper
	}
	now := s.ms()
	if at <= 0 || at > now {
		return now
	}
	return min(now, max(at, j.StartedAt.UnixMilli()))
}

// checkEvent: whoever watches pauses and resumes.
func checkEvent(sh *JobSheet, t store.Tap) error {
	switch {
	case t.Event != "paused" && t.Event != "resumed":
		return wrong("event", "unknown_event", "event", t.Event)
	case t.Step != "":
		return wrong("tap", "tap_mixed")
	case !sh.Job.PaperEnd.IsZero():
		return wrong("event", "paper_no_pause")
	case sh.Outcome != "":
		return conflict("job_finished")
	}
	return nil
}

// usualStepIn says who stepped in at a critical error where the tap does not.
func usualStepIn(result string) string {
	if result == unaided {
		return "nobody"
	}
	return "supervisor"
}

func checkUndo(t store.Tap, actor *store.Person, before []store.Tap) error {
	i := slices.IndexFunc(before, func(x store.Tap) bool { return x.ID == t.Undo })
	switch {
	case i < 0:
		return wrong("undo", "unknown_tap")
	case before[i].Hold != "" && before[i].By != actor.ID:
		return refuse(http.StatusForbidden, "not_your_decision")
	case before[i].Event != "" && before[i].Event != "paused" && before[i].Event != "resumed":
		return wrong("undo", "cannot_undo")
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
	case t.SteppedIn != "" && (!t.CriticalError || !slices.Contains(ledger.SteppedIns, t.SteppedIn)):
		return wrong("stepped_in", "unknown_stepped_in", "stepped_in", t.SteppedIn)
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

// mostReadings bounds the readings of one measurement.
const mostReadings = 24

// checkReading reads figures exactly as entered. Where a measurement takes several, they stand in Value one after the
// other, or in Values; Value becomes what counts of them.
func (s *Service) checkReading(st *SheetStep, r store.TapReading) (store.TapReading, error) {
	if r.Measure < 1 || r.Measure > len(st.Measures) {
		return r, wrong("reading.measure", "unknown_measure", "step", st.name())
	}
	m := st.Measures[r.Measure-1]
	typed := typedFigures(r)
	switch {
	case len(typed) == 0:
		return r, wrong("reading.value", "reading_unreadable", "value", r.Value)
	case len(typed) > mostReadings:
		return r, wrong("reading.value", "too_many_readings", "most", strconv.Itoa(mostReadings))
	case len(typed) > 1 && m.Which == "one":
		return r, wrong("reading.value", "one_reading", "value", r.Value)
	}
	r.Values = nil
	for _, one := range typed {
		v, err := figureOf(one)
		if err != nil {
			return r, err
		}
		r.Values = append(r.Values, v)
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
	r.Value = m.counts(r.Values, r.Unit)
	if len(r.Values) == 1 {
		r.Values = nil
	}
	return r, s.checkInstrument(&r)
}

// typedFigures are the figures of a reading, one by one.
func typedFigures(r store.TapReading) []string {
	if len(r.Values) > 0 {
		return r.Values
	}
	return strings.FieldsFunc(r.Value, func(c rune) bool { return c == ';' || c == ' ' || c == '\t' || c == '\n' || c == '\u00a0' })
}

func (s *Service) checkInstrument(r *store.TapReading) error {
	var err error
	if r.Instrument, err = text("reading.instrument", r.Instrument); err != nil {
		return err
	}
	switch {
	case len(r.Instrument) > 200:
		return wrong("reading.instrument", "text_too_long")
	case r.Calibrated == "":
		return nil
	case r.Instrument == "":
		return wrong("reading.instrument", "instrument_needed")
	}
	if r.Calibrated, err = date("reading.calibrated", r.Calibrated, ""); err != nil {
		return err
	}
	if r.Calibrated > s.Now().UTC().AddDate(0, 0, 1).Format(time.DateOnly) {
		return wrong("reading.calibrated", "future", "date", r.Calibrated)
	}
	return nil
}

// figureOf reads one typed figure. A lone comma before exactly three digits could be a decimal comma or group
// thousands: it is asked back, never guessed.
func figureOf(typed string) (string, error) {
	parts := typedFigure.FindStringSubmatch(strings.ReplaceAll(strings.TrimSpace(typed), "−", "-"))
	switch {
	case parts == nil:
		return "", wrong("reading.value", "reading_unreadable", "value", typed)
	case parts[3] == "," && len(parts[4]) == 3:
		return "", wrong("reading.value", "reading_ambiguous", "value", typed,
			"decimal", parts[1]+parts[2]+"."+parts[4], "whole", parts[1]+parts[2]+parts[4])
	}
	v := strings.TrimPrefix(parts[1], "+") + parts[2]
	if parts[4] != "" {
		v += "." + parts[4]
	}
	return v, nil
}

// counts is what counts of several readings, exactly: the lowest, the highest, highest less lowest, or of each the first
// that is out of its limit (else the first).
func (m *SheetMeasure) counts(values []string, unit string) string {
	low, high := values[0], values[0]
	for _, v := range values[1:] {
		if rat(v).Cmp(rat(low)) < 0 {
			low = v
		}
		if rat(v).Cmp(rat(high)) > 0 {
			high = v
		}
	}
	switch {
	case len(values) == 1:
	case m.Which == "lowest":
		return low
	case m.Which == "highest":
		return high
	case m.Which == "spread":
		digits := 0
		for _, v := range values {
			_, after, _ := strings.Cut(v, ".")
			digits = max(digits, len(after))
		}
		return new(big.Rat).Sub(rat(high), rat(low)).FloatString(digits)
	case m.figure != nil:
		for _, v := range values {
			if x, err := m.figure.Judge(curriculum.Quantity{Value: v, Unit: curriculum.Unit(unit)}); err == nil && x != curriculum.Within {
				return v
			}
		}
	}
	return values[0]
}

// rat is a figure that was read before.
func rat(v string) *big.Rat {
	r, _ := curriculum.Decimal(v)
	if r == nil {
		r = new(big.Rat)
	}
	return r
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
