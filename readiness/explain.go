package readiness

import "slices"

// Codes of reasons. Gates bring their own (see gates.go); a closed gate stands among the reasons as it is. Each has the ids
// of the records on which it rests, as far as they have ids.
//
//	stood_down           date
//	lapsed               date (first day), since (of the clearance): the task was not done for too long
//	ended                until, since: the clearance, or its waiver, was given until then
//	cleared              date               cleared_until         date, until
//	cleared_waived       date               cleared_waived_until  date, until
//	untried, building, ready_for_decision
//	building_unsure      jobs: every gate is open, so many more clean jobs would make it sure enough
//	building_unsure_long the same; jobs alone would not
//	lapses               date: of somebody cleared, if nothing happens
//	ready_until          date: the last day on which it would be ready, if nothing happens
//	near_miss_since      date, have: the last near miss, if fewer than cleanAfterFailure clean jobs followed
//	confidence_enough    confidence, asked (percentages), target
//	confidence_short     the same
//	rests_on             jobs (all watched ones), clean, failed
//	rests_on_no_job      failed: nobody has watched a job of this task yet
//
// What moved the estimate since last time; was and now are percentages. First what the task's own records of the last day of any did:
//
//	moved_job, moved_jobs, moved_test, moved_spot_check, moved_return, moved_unwatched, moved_work (of several kinds)   date, was, now
//	moved_little         date: less than a percentage point, though it is not sure enough
//	moved_others         was, now: what was done at other tasks since
//	moved_idle           days, was, now: idle time since        moved_idle_weeks     weeks, was, now
//
// Warnings of [Notes]: stand_down_unsigned, stand_down_disputed, clearance_disputed, critical_error_after_clearance,
// near_miss_after_clearance (date); confidence_fallen (confidence, asked); disputed (type, date, record).
//
// Codes of what to do next, the shortest way (see way):
//
//	wait_for_restore     date
//	restore_first        task, date: a stand-down from the induction or from a prerequisite
//	do_induction         task
//	read_lesson          lesson             read_lesson_again     lesson
//	get_cleared_for      task: a prerequisite
//	take_theory_test                        take_watched_theory_test
//	watched_jobs         jobs: how many clean watched jobs would do if all go well
//	other_supervisors    supervisors: how many of them by supervisors who have not watched yet
//	different_supervisors supervisors: by how many different ones; nobody has watched yet
//	other_layouts        layouts: how many of them on layouts not worked on yet
//	different_layouts    layouts: on how many different ones; none was worked on yet
//	steps_unaided        steps: that must be done unaided in them; steps_unaided_all  count: all critical steps there are
//	too_few_supervisors  need, have: more are asked than there are
//	jobs_cannot_show     jobs: more clean jobs than this many would not make it sure enough; the target needs more evidence
//	                     than the model takes from jobs
//	ask_for_decision

// explain fills what a verdict rests on, its reasons and what comes next.
func (a *Assessor) explain(v *Verdict, in *inputs, d decision, now *view, e estimate) {
	for i := range v.Gates {
		v.Gates[i].Evidence = ids(in.gateRests(v.Gates[i]))
	}
	v.Next = a.next(in, *v, now)
	v.Reasons = slices.Concat(a.reasons(in, *v, d, now), a.moved(in, now, e))
	for _, w := range v.Notes.Warnings {
		switch w.Code {
		case "confidence_fallen", "near_miss_after_clearance": // said already, with more
		default:
			v.Reasons = append(v.Reasons, w)
		}
	}
}

// reasons says first where things stand, then which gates are closed, then how sure the estimate is.
func (a *Assessor) reasons(in *inputs, v Verdict, d decision, now *view) []Reason {
	var all []Reason
	switch v.Standing {
	case StoodDown:
		all = append(all, resting(reason("stood_down", "date", v.Notes.StoodDownOn), ids(d.down)))
	case Lapsed:
		all = append(all, resting(lapsedReason(d), ids([]*Record{d.clearance})))
	case Cleared:
		all = append(all, resting(clearedReason(d.clearance), ids([]*Record{d.clearance})))
	case Building:
		all = append(all, buildingReason(v))
	default:
		all = append(all, reason(string(v.Standing)))
	}
	switch {
	case v.Standing == Cleared && d.lapsesOn != endOf(d.clearance):
		all = append(all, resting(reason("lapses", "date", d.lapsesOn.String()), ids(latest(in.worked(), 1))))
	case v.Standing == ReadyForDecision || v.Standing == Lapsed && v.Ready:
		all = append(all, reason("ready_until", "date", a.readyUntil(in, now).String()))
	}
	for _, g := range v.Gates {
		if !g.OK {
			all = append(all, Reason{Code: g.Why, Args: g.Args, Evidence: g.Evidence})
		}
	}
	code := "confidence_enough"
	if v.Confidence < *in.asks.Confidence {
		code = "confidence_short"
	}
	all = append(all, reason(code, "confidence", percent(v.Confidence), "asked", percent(*in.asks.Confidence), "target", percent(*in.asks.Target)), in.restsOn())
	return append(all, in.nearMiss()...)
}

// resting is a reason with what it rests on.
func resting(r Reason, evidence []string) Reason {
	r.Evidence = evidence
	return r
}

// worked are the records that keep a clearance from lapsing.
func (in *inputs) worked() []*Record {
	t := in.history()
	return slices.Concat(t.jobs, t.unwatched, t.spotChecks)
}

// endOf is the first day after a clearance's own end, 0 if it has none.
func endOf(c *Record) day {
	if c.Until == "" {
		return 0
	}
	return toDay(c.Until) + 1
}

func lapsedReason(d decision) Reason {
	if d.lapsesOn == endOf(d.clearance) {
		return reason("ended", "until", d.clearance.Until, "since", d.clearance.Date)
	}
	return reason("lapsed", "date", d.lapsesOn.String(), "since", d.clearance.Date)
}

// readyUntil is the last day on which somebody ready today would be ready if nothing happened. Time alone never makes ready,
// so it can be found by halving; the recency gate bounds it.
func (a *Assessor) readyUntil(in *inputs, now *view) day {
	from, to := in.today, in.person.lastDay(in.today, in.asks.RecencyDays)+1
	ready := func(on day) bool {
		if now.estimate(*in.asks.Target, on).confidence < *in.asks.Confidence {
			return false
		}
		then := *in
		then.today, then.asOf = on, on.String()
		return judgeGate(&then, "recency").OK && judgeGate(&then, "prerequisites").OK
	}
	for to-from > 1 {
		if middle := (from + to) / 2; ready(middle) {
			from = middle
		} else {
			to = middle
		}
	}
	return from
}

// nearMiss says what a near miss does until enough clean jobs have followed it.
func (in *inputs) nearMiss() []Reason {
	jobs := in.history().jobs
	misses := latest(where(jobs, func(r *Record) bool { return r.NearMiss }), 1)
	if len(misses) == 0 {
		return nil
	}
	clean := where(jobs, func(r *Record) bool { return r.Date > misses[0].Date && in.facts.clean(r) })
	if len(clean) >= cleanAfterFailure {
		return nil
	}
	return []Reason{resting(reason("near_miss_since", "date", misses[0].Date, "have", decimal(len(clean))), ids(misses, clean))}
}

// buildingReason says what keeps somebody building whose gates are all open.
func buildingReason(v Verdict) Reason {
	for _, g := range v.Gates {
		if !g.OK {
			return reason("building")
		}
	}
	for _, n := range v.Next {
		switch n.Code {
		case "watched_jobs":
			return reason("building_unsure", "jobs", n.Args["jobs"])
		case "jobs_cannot_show":
			return reason("building_unsure_long")
		}
	}
	return reason("building")
}

// moved says what moved the estimate since last time: the task's own records of the last day of any, what was done at other
// tasks since, and idle time. Each is the difference that the judge makes with and without it, in this order. Changes below
// a percentage point are not worth a sentence.
func (a *Assessor) moved(in *inputs, now *view, e estimate) []Reason {
	own := in.bearing()
	if len(own) == 0 {
		return nil
	}
	last := own[len(own)-1].Date
	on := toDay(last)
	of := map[*Record]bool{}
	for _, rec := range own {
		of[rec] = true
	}
	then := func(keep func(*Record) bool) float64 {
		p := gather(&held{records: where(in.person.records, keep), contested: in.person.contested})
		return a.view(p, a.ability(p), in.facts.Task).estimate(*in.asks.Target, on).mean
	}
	before := then(func(r *Record) bool { return dateOf(r) < last })
	after := then(func(r *Record) bool { return dateOf(r) < last || of[r] })
	others := now.estimate(*in.asks.Target, on).mean
	const worth = 0.0095
	worthy := func(was, is float64) bool { return was-is > worth || is-was > worth }
	var all []Reason
	ofDay := where(own, func(r *Record) bool { return r.Date == last })
	switch {
	case worthy(before, after):
		all = append(all, resting(reason(movedBy(ofDay), "date", last, "was", percent(before), "now", percent(after)), ids(ofDay)))
	case e.confidence < *in.asks.Confidence:
		all = append(all, resting(reason("moved_little", "date", last), ids(ofDay)))
	}
	if worthy(after, others) {
		all = append(all, reason("moved_others", "was", percent(after), "now", percent(others)))
	} else {
		others = after // so that each sentence begins where the last one ended
	}
	if worthy(others, e.mean) {
		if days := int(in.today - on); days < 14 {
			all = append(all, reason("moved_idle", "days", decimal(days), "was", percent(others), "now", percent(e.mean)))
		} else {
			all = append(all, reason("moved_idle_weeks", "weeks", decimal((days+3)/7), "was", percent(others), "now", percent(e.mean)))
		}
	}
	return all
}

// bearing are the records of the task that bear on the estimate of it, by date.
func (in *inputs) bearing() []*Record {
	t := in.history()
	all := byDate(slices.Concat(t.jobs, t.unwatched, t.spotChecks, where(t.returns, isFailure), t.answered))
	return slices.Compact(all)
}

// movedBy is the code for what records of one day did.
func movedBy(ofDay []*Record) string {
	kinds := map[string]bool{}
	for _, r := range ofDay {
		kinds[r.Type] = true
	}
	if len(kinds) > 1 {
		return "moved_work"
	}
	switch ofDay[0].Type {
	case "unwatched_job":
		return "moved_unwatched"
	case "spot_check":
		return "moved_spot_check"
	case "return":
		return "moved_return"
	case "answers":
		return "moved_test"
	}
	if len(ofDay) == 1 {
		return "moved_job"
	}
	return "moved_jobs"
}

func clearedReason(c *Record) Reason {
	code := "cleared"
	if c.Waiver {
		code = "cleared_waived"
	}
	if c.Until == "" {
		return reason(code, "date", c.Date)
	}
	return reason(code+"_until", "date", c.Date, "until", c.Until)
}

// next is the shortest way to a decision, the nearest act first, if everything goes well. For somebody cleared: what would
// do without the waiver, or what would make it sure enough again; else nothing.
func (a *Assessor) next(in *inputs, v Verdict, now *view) []Reason {
	gates := v.Gates
	if v.Standing == Cleared && !v.Notes.Waived {
		gates = nil // the clearance stands whatever gate has closed since
	}
	w := a.shortestWay(in, gates, now)
	acts := in.said(w, v)
	if v.Ready && v.Standing != StoodDown && v.Standing != Cleared {
		acts = append(acts, reason("ask_for_decision"))
	}
	return acts
}

// said puts a way into codes.
func (in *inputs) said(w way, v Verdict) []Reason {
	var acts []Reason
	if v.Standing == StoodDown {
		acts = append(acts, resting(reason("wait_for_restore", "date", v.Notes.StoodDownOn), ids(in.openStandDowns())))
	}
	for _, r := range w.blocked {
		if r.Code == "restore_first" {
			acts = append(acts, r)
		}
	}
	if w.Induction {
		acts = append(acts, reason("do_induction", "task", in.policy.Induction))
	}
	for _, l := range w.Lessons {
		code := "read_lesson"
		if read := in.person.readings[l]; len(read) > 0 {
			code = "read_lesson_again"
		}
		acts = append(acts, reason(code, "lesson", l))
	}
	for _, task := range w.Prerequisites {
		acts = append(acts, reason("get_cleared_for", "task", task))
	}
	if w.TheoryTest {
		code := "take_theory_test"
		if in.asks.TheoryTest.Watched {
			code = "take_watched_theory_test"
		}
		acts = append(acts, reason(code))
	}
	if w.Jobs > 0 {
		acts = append(acts, reason("watched_jobs", "jobs", decimal(w.Jobs)))
	}
	some := func(n int, have []string, other, different, key string) {
		switch {
		case n > 0 && len(have) > 0:
			acts = append(acts, reason(other, key, decimal(n)))
		case n > 1:
			acts = append(acts, reason(different, key, decimal(n)))
		}
	}
	some(w.OtherSupervisors, in.supervisors(), "other_supervisors", "different_supervisors", "supervisors")
	some(w.OtherLayouts, in.layouts(), "other_layouts", "different_layouts", "layouts")
	switch n := len(w.steps); {
	case n > 0 && n == len(in.facts.need):
		acts = append(acts, reason("steps_unaided_all", "count", decimal(n)))
	case n > 0:
		acts = append(acts, reason("steps_unaided", "steps", list(w.steps)))
	}
	for _, r := range w.blocked {
		if r.Code != "restore_first" {
			acts = append(acts, r)
		}
	}
	if !w.sure {
		acts = append(acts, reason("jobs_cannot_show", "jobs", decimal(MaxSupposed)))
	}
	return acts
}

// restsOn says what the estimate rests on first of all: how many watched jobs there were, how many of them showed the task
// done alone, and how many critical failures there were.
func (in *inputs) restsOn() Reason {
	jobs, clean := in.history().jobs, 0
	for _, job := range jobs {
		if in.facts.clean(job) {
			clean++
		}
	}
	failed := decimal(len(in.facts.failures(in.history())))
	if len(jobs) == 0 {
		return resting(reason("rests_on_no_job", "failed", failed), ids(in.bearing()))
	}
	return resting(reason("rests_on", "jobs", decimal(len(jobs)), "clean", decimal(clean), "failed", failed), ids(in.bearing()))
}
