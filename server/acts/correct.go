package acts

import (
	"context"
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"strings"

	"brakewright/store"
	"brakewright/store/ledger"
)

// Correction corrects or withdraws an earlier entry, which may itself be a correction. A sign-off is corrected by a
// further record that says everything anew: what is not changed here is taken from the entry corrected. Everything else
// can only be withdrawn.
type Correction struct {
	ID, Entry          string
	Withdraw           bool
	Changes            RecordChanges
	Beside             bool // also where another correction of the entry counts: the two then contradict, and somebody else settles
	Reason, Passphrase string
	Decision           *CriticalDecision // where it brings a critical error of somebody cleared to light
}

// RecordChanges are what a correction changes in a record. Nil and absent stay as they are.
type RecordChanges struct {
	Outcome, Difficulty *string
	NearMiss            *bool
	Steps               []StepChange
	Readings            []ReadingChange
	Notes               *string
}

// Empty says whether nothing is changed.
func (c RecordChanges) Empty() bool {
	return c.Outcome == nil && c.Difficulty == nil && c.NearMiss == nil && c.Notes == nil && len(c.Steps)+len(c.Readings) == 0
}

// StepChange is how a step was really done.
type StepChange struct {
	Step, Result  string
	CriticalError bool
	WhatHappened  string
}

// ReadingChange is what was really measured; a reading that was not taken is taken out by an empty Value.
type ReadingChange struct {
	Step                    string
	Measure                 int
	Value, Unit, Instrument string
}

// Correct appends a correction.
func (s *Service) Correct(ctx context.Context, actor *store.Person, r Correction) (store.Receipt, error) {
	none := store.Receipt{}
	c, err := s.concerning(ctx, actor, CorrectEntry, r.Entry)
	if err != nil {
		return none, err
	}
	if r.Reason, err = reason("reason", r.Reason); err != nil {
		return none, err
	}
	h := s.head(r.ID, ledger.Corrected, actor.ID, c.about.ID, c.at)
	h.Corrects = r.Entry
	p, personal, decide := ledger.CorrectionPayload{Withdraw: true}, map[string]string{}, false
	switch {
	case r.Withdraw:
	case r.Changes.Empty():
		return none, wrong("record", "nothing_changed")
	default:
		if p, personal, decide, err = s.newRecord(ctx, c, r.Changes); err != nil {
			return none, err
		}
	}
	personal["reason"] = r.Reason
	same := func(x ledger.CorrectionPayload) bool {
		return x.Withdraw == p.Withdraw && sameRecord(x.SignOff, p.SignOff)
	}
	return once(ctx, s, h, same, maps.Clone(personal), func() (store.Receipt, error) {
		live, err := s.Store.LiveCorrections(ctx, r.Entry)
		if err != nil {
			return none, err
		}
		if len(live) > 0 && !r.Beside {
			return none, conflict("corrected_already", "entry", live[len(live)-1].Entry)
		}
		d, err := s.decided(ctx, c.about, c.task, decide, r.Decision)
		if err != nil {
			return none, err
		}
		if d.kept() {
			personal["reason"] += "\n" + d.sayKept()
		}
		if p.SignOff != nil { // what was kept stays so, unless it comes to a new decision; without an error there is nothing to keep
			p.SignOff.Kept = countErrors(p.SignOff.Steps) > 0 && (d.kept() || p.SignOff.Kept && !d.standDown)
		}
		sub, err := s.entry(h, p, personal, nil)
		if err != nil {
			return none, err
		}
		signer, err := s.unlock(ctx, actor, r.Passphrase, "passphrase")
		if err != nil {
			return none, err
		}
		return s.withStandDown(ctx, sub, signer, d, c.task, c.at)
	})
}

// sameRecord says whether two corrections give the same record, whatever was decided on the clearance.
func sameRecord(a, b *ledger.SignOffPayload) bool {
	if a == nil || b == nil {
		return a == b
	}
	bare := func(x *ledger.SignOffPayload) string {
		y := *x
		y.Refs, y.Kept = ledger.Refs{}, false
		text, _ := json.Marshal(y) // strings, numbers, booleans: it never fails
		return string(text)
	}
	return bare(a) == bare(b)
}

// Recorded is the record that an entry gives: a sign-off's own, or that of a correction; nil if it gives none.
func Recorded(e *store.EntryView) *ledger.SignOffPayload {
	switch e.Entry.Body.Type {
	case ledger.SignOff:
		if p, err := ledger.PayloadOf[ledger.SignOffPayload](e.Entry.Body); err == nil {
			return &p
		}
	case ledger.Corrected:
		if p, err := ledger.PayloadOf[ledger.CorrectionPayload](e.Entry.Body); err == nil {
			return p.SignOff
		}
	}
	return nil
}

// RecordSheet is the sheet of a signed job with what an entry records on it, for whoever may correct it.
func (s *Service) RecordSheet(ctx context.Context, actor *store.Person, entry string) (*JobSheet, error) {
	c, err := s.concerning(ctx, actor, CorrectEntry, entry)
	if err != nil {
		return nil, err
	}
	rec := Recorded(c.view)
	if rec == nil {
		return nil, missing(store.ErrNotFound, "record")
	}
	return s.recordSheet(ctx, c, rec)
}

// recordSheet lays out the job's own sheet and puts the record on it.
func (s *Service) recordSheet(ctx context.Context, c *concern, rec *ledger.SignOffPayload) (*JobSheet, error) {
	j, err := s.Store.Job(ctx, rec.Job)
	if err != nil {
		return nil, missing(err, "job")
	}
	p, err := s.edition(ctx, rec.Programme)
	if err != nil {
		return nil, err
	}
	sh, err := newSheet(p, j)
	if err != nil {
		return nil, err
	}
	sh.Apprentice = c.about
	sh.Outcome, sh.Difficulty, sh.NearMiss = rec.Outcome, rec.Difficulty, rec.NearMiss
	if n := c.view.Personal["notes"]; n != "" {
		sh.Notes = []string{n}
	}
	for _, d := range rec.Steps {
		if st := sh.step(d.Step); st != nil {
			st.Result, st.CriticalError, st.SteppedIn, st.OwnError, st.Bulk, st.at = d.Result, d.CriticalError, d.SteppedIn, d.OwnError, d.Bulk, d.At
			happened := c.view.Personal["what_happened/"+d.Step]
			st.WhatHappened, st.OwnErrorWhat = strings.Join(Happened(happened, ""), "\n"), strings.Join(Happened(happened, PutRight), "\n")
		}
	}
	for _, d := range rec.Readings {
		if st := sh.step(d.Step); st != nil && d.Measure <= len(st.Measures) {
			st.Measures[d.Measure-1].take(store.TapReading{Measure: d.Measure, Value: d.Value, Values: d.Values, Unit: d.Unit, Instrument: d.Instrument, Calibrated: d.Calibrated})
		}
	}
	return sh, nil
}

// newRecord is the record of a sign-off with changes, its personal fields, and whether it brings a critical error to
// light.
func (s *Service) newRecord(ctx context.Context, c *concern, ch RecordChanges) (ledger.CorrectionPayload, map[string]string, bool, error) {
	none := ledger.CorrectionPayload{}
	rec := Recorded(c.view)
	if rec == nil {
		return none, nil, false, wrong("withdraw", "only_withdrawn", "type", string(c.view.Entry.Body.Type))
	}
	sh, err := s.recordSheet(ctx, c, rec)
	if err != nil {
		return none, nil, false, err
	}
	next := *rec
	next.Refs, next.Photos = ledger.Refs{}, slices.Clone(rec.Photos)
	for i := range next.Photos { // their bytes stay with the record that brought them
		if next.Photos[i].Entry == "" {
			next.Photos[i].Entry = c.view.Entry.Body.ID
		}
	}
	next.Steps, next.Readings = slices.Clone(rec.Steps), slices.Clone(rec.Readings)
	personal := maps.Clone(c.view.Personal)
	maps.DeleteFunc(personal, func(field, _ string) bool { return field == "reason" || strings.HasPrefix(field, "photo/") })
	if ch.Outcome != nil {
		if next.Outcome = *ch.Outcome; !slices.Contains(outcomes, next.Outcome) {
			return none, nil, false, wrong("outcome", "unknown_outcome", "outcome", next.Outcome)
		}
	}
	if ch.Difficulty != nil {
		if next.Difficulty = *ch.Difficulty; !slices.Contains(difficulties, next.Difficulty) {
			return none, nil, false, wrong("difficulty", "unknown_difficulty", "difficulty", next.Difficulty)
		}
	}
	if ch.NearMiss != nil {
		next.NearMiss = *ch.NearMiss
	}
	if ch.Notes != nil {
		if personal["notes"], err = text("notes", *ch.Notes); err != nil {
			return none, nil, false, err
		}
	}
	errorsBefore := countErrors(rec.Steps)
	for i, x := range ch.Steps {
		if err := correctStep(sh, &next, personal, x, i); err != nil {
			return none, nil, false, err
		}
	}
	for i, x := range ch.Readings {
		if err := s.correctReading(sh, &next, x, i); err != nil {
			return none, nil, false, err
		}
	}
	decide := countErrors(next.Steps) > errorsBefore
	return ledger.CorrectionPayload{SignOff: &next}, personal, decide, nil
}

func countErrors(steps []ledger.StepDone) int {
	n := 0
	for _, st := range steps {
		if st.CriticalError {
			n++
		}
	}
	return n
}

func correctStep(sh *JobSheet, next *ledger.SignOffPayload, personal map[string]string, x StepChange, n int) error {
	field := "steps[" + strconv.Itoa(n) + "]"
	st := sh.step(x.Step)
	i := slices.IndexFunc(next.Steps, func(d ledger.StepDone) bool { return d.Step == x.Step })
	if st == nil || i < 0 {
		return wrong(field, "unknown_step", "step", x.Step)
	}
	if x.Result != notReached && !slices.Contains(results, x.Result) {
		return wrong(field, "unknown_result", "result", x.Result)
	}
	why, err := text(field, x.WhatHappened)
	if err != nil {
		return err
	}
	switch {
	case x.CriticalError && !st.Critical:
		return wrong(field, "not_a_critical_step", "step", st.name())
	case x.CriticalError && (x.Result == notReached || x.Result == notApplicable):
		return wrong(field, "error_not_possible", "step", st.name())
	case x.CriticalError && why == "":
		return wrong(field, "what_happened_needed", "step", st.name())
	}
	d := &next.Steps[i]
	was := d.CriticalError
	if d.Result != x.Result {
		d.Bulk = false // whoever corrects it has looked at this one
	}
	d.Result, d.CriticalError = x.Result, x.CriticalError
	if !x.CriticalError {
		d.SteppedIn = ""
	} else if d.SteppedIn == "" {
		d.SteppedIn = usualStepIn(x.Result)
	}
	if !x.CriticalError && !was {
		return nil
	}
	// What else is told of the step stays.
	key := "what_happened/" + x.Step
	lines := []string{why}
	if !x.CriticalError {
		lines = nil
	}
	for _, begins := range []string{PutRight, SentBack} {
		for _, l := range Happened(personal[key], begins) {
			lines = append(lines, begins+l)
		}
	}
	if personal[key] = strings.Join(lines, "\n"); len(lines) == 0 {
		delete(personal, key)
	}
	return nil
}

func (s *Service) correctReading(sh *JobSheet, next *ledger.SignOffPayload, x ReadingChange, n int) error {
	field := "readings[" + strconv.Itoa(n) + "]"
	st := sh.step(x.Step)
	if st == nil || x.Measure < 1 || x.Measure > len(st.Measures) {
		return wrong(field, "unknown_measure", "step", x.Step)
	}
	i := slices.IndexFunc(next.Readings, func(d ledger.ReadingDone) bool { return d.Step == x.Step && d.Measure == x.Measure })
	if strings.TrimSpace(x.Value) == "" {
		if i >= 0 {
			next.Readings = slices.Delete(next.Readings, i, i+1)
		}
		return nil
	}
	m := st.Measures[x.Measure-1]
	r := store.TapReading{Measure: x.Measure, Value: x.Value, Unit: x.Unit, Instrument: x.Instrument}
	if i >= 0 && next.Readings[i].Instrument == x.Instrument {
		r.Calibrated = next.Readings[i].Calibrated
	}
	if r.Unit == "" {
		r.Unit = string(m.Unit)
	}
	r, err := s.checkReading(st, r)
	if x, ok := AsRefusal(err); ok {
		x.Field = field
	}
	if err != nil {
		return err
	}
	m.take(r)
	d := ledger.ReadingDone{Step: x.Step, Measure: x.Measure, Value: r.Value, Values: r.Values, Unit: r.Unit, Instrument: r.Instrument, Calibrated: r.Calibrated, Limit: m.Limit, Verdict: string(m.Verdict)}
	if i >= 0 {
		next.Readings[i] = d
	} else {
		next.Readings = append(next.Readings, d)
	}
	return nil
}
