package readiness

import "slices"

// Codes of reasons. Gates bring their own (see gates.go); a closed gate stands among the reasons as it is.
//
//	stood_down           date
//	lapsed               date (first day), since (of the clearance)
//	cleared              date               cleared_until         date, until
//	cleared_waived       date               cleared_waived_until  date, until
//	untried, building, ready_for_decision
//	building_unsure      jobs: every gate is open, so many more clean jobs would make it sure enough
//	building_unsure_long the same; jobs alone would not
//	lapses               date: of somebody cleared, if nothing happens
//	moved_up             date, from, to: what the records of the last day of work did to the probability (percentages)
//	moved_down           the same
//	moved_idle           days, from, to: what idle time has done to it since
//	confidence_enough    confidence, asked (percentages), target, clean, failed
//	confidence_short     the same
//	Warnings of [Notes]: stand_down_unsigned, stand_down_disputed, clearance_disputed, critical_error_after_clearance,
//	near_miss_after_clearance (date); confidence_fallen (confidence, asked); disputed (type, date, record)
//
// Codes of what to do next:
//
//	wait_for_restore     date
//	do_induction         task
//	read_lesson          lesson             read_lesson_again     lesson
//	get_cleared_for      task: a prerequisite
//	take_theory_test                        take_watched_theory_test
//	watched_jobs         jobs: how many clean watched jobs would do if all go well
//	other_supervisors    supervisors: how many of them by supervisors who have not watched yet
//	other_layouts        layouts: how many of them on layouts not worked on yet
//	steps_unaided        steps: that must be done unaided in them
//	jobs_cannot_show     jobs: more clean jobs than this many would not make it sure enough; the target needs more evidence
//	                     than the model takes from jobs
//	ask_for_decision

// reasons says first where things stand, then which gates are closed, then how sure the estimate is, then warnings.
func (in *inputs) reasons(v Verdict, n counts, d decision) []Reason {
	var all []Reason
	switch v.Standing {
	case StoodDown:
		all = append(all, reason("stood_down", "date", v.Notes.StoodDownOn))
	case Lapsed:
		all = append(all, reason("lapsed", "date", d.lapsesOn.String(), "since", d.clearance.Date))
	case Cleared:
		all = append(all, clearedReason(d.clearance))
	case Building:
		all = append(all, buildingReason(v))
	default:
		all = append(all, reason(string(v.Standing)))
	}
	if v.Standing == Cleared && v.Notes.LapsesOn != "" {
		all = append(all, reason("lapses", "date", v.Notes.LapsesOn))
	}
	for _, g := range v.Gates {
		if !g.OK {
			all = append(all, Reason{Code: g.Why, Args: g.Args})
		}
	}
	code := "confidence_enough"
	if v.Confidence < *in.asks.Confidence {
		code = "confidence_short"
	}
	all = append(all, reason(code, "confidence", percent(v.Confidence), "asked", percent(*in.asks.Confidence),
		"target", percent(*in.asks.Target), "clean", decimal(n.clean), "failed", decimal(n.failed)))
	for _, w := range v.Notes.Warnings {
		if w.Code != "confidence_fallen" { // said already, with more
			all = append(all, w)
		}
	}
	return all
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

// moved says what moved the estimate since last time: the last day of work, and idle time since. Changes below a
// percentage point are not worth a sentence.
func (v *view) moved(now estimate, target float64, today day) []Reason {
	events := v.evidence.events
	if len(events) == 0 {
		return nil
	}
	last := events[len(events)-1].on
	then := func(e *evidence) float64 {
		at := &view{task: v.task, evidence: e, density: v.task.density(v.general, v.task.likelihood(e))}
		return at.estimate(target, last).mean
	}
	const worth = 0.0095
	before, after := then(v.evidence.before(last)), then(v.evidence)
	var all []Reason
	switch {
	case after-before > worth:
		all = append(all, reason("moved_up", "date", last.String(), "from", percent(before), "to", percent(after)))
	case before-after > worth:
		all = append(all, reason("moved_down", "date", last.String(), "from", percent(before), "to", percent(after)))
	}
	if after-now.mean > worth {
		all = append(all, reason("moved_idle", "days", decimal(int(today-last)), "from", percent(after), "to", percent(now.mean)))
	}
	return all
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

// next is the shortest way to a decision, the nearest act first, if everything goes well. Nothing for somebody cleared.
func (a *assessor) next(in *inputs, v Verdict, now *view) []Reason {
	var acts []Reason
	switch v.Standing {
	case Cleared:
		return acts
	case StoodDown:
		acts = append(acts, reason("wait_for_restore", "date", v.Notes.StoodDownOn))
	}
	shut := map[string]Gate{}
	for _, g := range v.Gates {
		if !g.OK {
			shut[g.Gate] = g
		}
	}
	if _, is := shut["induction"]; is {
		acts = append(acts, reason("do_induction", "task", in.policy.Induction))
	}
	if _, is := shut["reading"]; is {
		for _, l := range in.facts.Lessons {
			read := in.person.readings[l.Lesson]
			switch {
			case len(read) == 0:
				acts = append(acts, reason("read_lesson", "lesson", l.Lesson))
			case !slices.ContainsFunc(read, l.holds):
				acts = append(acts, reason("read_lesson_again", "lesson", l.Lesson))
			}
		}
	}
	if _, is := shut["prerequisites"]; is {
		for _, task := range in.unclearedPrerequisites() {
			acts = append(acts, reason("get_cleared_for", "task", task))
		}
	}
	if _, is := shut["theory_test"]; is {
		code := "take_theory_test"
		if in.asks.TheoryTest.Watched {
			code = "take_watched_theory_test"
		}
		acts = append(acts, reason(code))
	}
	acts = append(acts, a.nextJobs(in, shut, now)...)
	if v.Ready && v.Standing != StoodDown {
		acts = append(acts, reason("ask_for_decision"))
	}
	return acts
}

// nextJobs finds the smallest number of clean watched jobs that opens the gates that jobs can open and makes the
// estimate sure enough: each of them may serve every purpose at once.
func (a *assessor) nextJobs(in *inputs, shut map[string]Gate, now *view) []Reason {
	jobs := 0
	var with []Reason
	if _, is := shut["jobs"]; is {
		jobs = in.asks.Jobs - in.jobs()
	}
	if _, is := shut["supervisors"]; is {
		more := in.asks.Supervisors - len(in.supervisors())
		jobs = max(jobs, more)
		with = append(with, reason("other_supervisors", "supervisors", decimal(more)))
	}
	if _, is := shut["layouts"]; is {
		more := in.asks.Layouts - len(in.layouts())
		jobs = max(jobs, more)
		with = append(with, reason("other_layouts", "layouts", decimal(more)))
	}
	if _, is := shut["recency"]; is {
		jobs = max(jobs, 1)
	}
	var steps []string
	if _, is := shut["critical_steps"]; is {
		jobs = max(jobs, 1)
		steps = in.unseenSteps()
	}
	if _, is := shut["critical_error"]; is {
		since := in.sinceFailure(in.recognisedOn("critical_error"))
		jobs = max(jobs, 1, cleanAfterFailure-since.clean)
		for _, s := range since.steps {
			if !slices.Contains(steps, s) {
				steps = append(steps, s)
			}
		}
	}
	if len(steps) > 0 {
		with = append(with, reason("steps_unaided", "steps", list(steps)))
	}
	more, enough := a.jobsUntilSure(in, now, jobs)
	jobs = max(jobs, more)
	var acts []Reason
	if jobs > 0 {
		acts = append(acts, reason("watched_jobs", "jobs", decimal(jobs)))
	}
	acts = append(acts, with...)
	if !enough {
		acts = append(acts, reason("jobs_cannot_show", "jobs", decimal(maxMore)))
	}
	return acts
}

// maxMore is how many more jobs the shortest way supposes at most.
const maxMore = 30

// jobsUntilSure is the smallest number of further clean jobs, at least so many, after which the estimate is sure enough,
// if one is done each day from tomorrow; and whether there is such a number up to [maxMore].
func (a *assessor) jobsUntilSure(in *inputs, now *view, atLeast int) (int, bool) {
	for more := 0; more <= maxMore; more++ {
		on := a.today + day(more)
		if more > 0 {
			now = now.after(on)
		}
		if more >= atLeast && now.estimate(*in.asks.Target, on).confidence >= *in.asks.Confidence {
			return more, true
		}
	}
	return 0, false
}

// counts are what the estimate rests on first of all: how many jobs showed the task done alone, and how many critical
// failures there were.
type counts struct{ clean, failed int }

func (in *inputs) count() counts {
	n := counts{failed: len(in.facts.failures(in.history()))}
	for _, job := range in.history().jobs {
		if in.facts.clean(job) {
			n.clean++
		}
	}
	return n
}
