package readiness

import (
	"maps"
	"slices"
	"strconv"
)

// Supposed is a set of next acts that go well. The first four open gates; jobs also move the estimate.
type Supposed struct {
	Induction        bool     // done, and cleared for
	Lessons          []string // read in their current edition
	Prerequisites    []string // tasks cleared for
	TheoryTest       bool     // passed and, where that is asked, watched; what was answered is left out of the estimate
	Jobs             int      // clean watched jobs of usual difficulty, one a day from tomorrow; at most MaxSupposed
	OtherSupervisors int      // so many of them by supervisors, all different, who have not watched this apprentice at the task yet; the rest by whoever watched last
	OtherLayouts     int      // so many of them on layouts, all different, not worked on yet; the rest on the last one
}

// MaxSupposed is how many jobs may be supposed.
const MaxSupposed = 30

// Suppose is the verdict after the supposed acts: the estimate of the day of the last job; the gates as they would be then if
// nothing else lapsed in the meantime. The estimate takes the jobs as watched by nobody known: how strict a supervisor is shows
// in nobody's outlook. Lessons and prerequisites that the task does not have are passed over.
func Suppose(c *Catalogue, evidence []Record, policy Policy, parameters Parameters, apprentice, task, asOf string, s Supposed) Verdict {
	s.Jobs = min(max(0, s.Jobs), MaxSupposed)
	a := NewAssessor(c, policy, parameters, Options{})
	a.on(asOf)
	p := gather(resolve(evidence, asOf)[apprentice])
	in, now := a.inputs(p, task), a.view(p, a.ability(p), task)
	then := in.supposing(s)
	e := a.afterJobs(now, s.Jobs).estimate(*in.asks.Target, a.today+day(s.Jobs))
	v := Verdict{
		Apprentice: apprentice, Task: task, AsOf: (a.today + day(s.Jobs)).String(),
		Probability: e.mean, Low: e.low, High: e.high, Confidence: e.confidence,
		Gates: judgeGates(then), Ready: e.confidence >= *in.asks.Confidence, Parameters: a.hash,
	}
	for _, g := range v.Gates {
		v.Ready = v.Ready && g.OK
	}
	d := then.decided()
	v.Standing = then.standingOf(d, v.Ready)
	v.Notes = then.notes(d, v.Standing, e.confidence)
	return v
}

// afterJobs is the view after so many more clean jobs, one a day from tomorrow.
func (a *Assessor) afterJobs(now *view, jobs int) *view {
	for i := range jobs {
		now = now.after(a.today + day(i+1))
	}
	return now
}

// supposing is what gates would rest on after the supposed acts. The day stays: a prerequisite that would lapse while the
// jobs are done is one to be kept up, not a gate to be opened.
func (in *inputs) supposing(s Supposed) *inputs {
	then, p := *in, *in.person
	p.tasks, p.readings = maps.Clone(p.tasks), maps.Clone(p.readings)
	then.person = &p
	tomorrow := (in.today + 1).String()
	clearFor := func(task string) {
		h := *p.task(task)
		h.clearances = append(slices.Clip(h.clearances), &Record{Type: "clearance", Task: task, Date: tomorrow})
		p.tasks[task] = &h
	}
	if s.Induction && in.policy.Induction != "" {
		clearFor(in.policy.Induction)
	}
	for _, task := range s.Prerequisites {
		if slices.Contains(in.facts.Prerequisites, task) {
			clearFor(task)
		}
	}
	for _, l := range in.facts.Lessons {
		if slices.Contains(s.Lessons, l.Lesson) {
			p.readings[l.Lesson] = append(slices.Clip(p.readings[l.Lesson]), &Record{Type: "reading", Lesson: l.Lesson, Edition: l.Edition, Date: in.asOf})
		}
	}
	h := *p.task(in.facts.Task)
	if s.TheoryTest {
		h.tests = append(slices.Clip(h.tests), &Record{Type: "theory_test", Passed: true, Watched: true, Date: in.asOf})
	}
	h.jobs = append(slices.Clip(h.jobs), in.supposedJobs(s)...)
	p.tasks[in.facts.Task] = &h
	return &then
}

// supposedJobs are the jobs of a supposition. Where nobody has watched yet, those that need no other supervisor are all
// watched by the same one; so with layouts.
func (in *inputs) supposedJobs(s Supposed) []*Record {
	supervisor, layout := unlikely(0), unlikely(0)
	for _, job := range in.history().counted() {
		supervisor = job.Supervisor
		if job.Layout != "" {
			layout = job.Layout
		}
	}
	steps := make([]StepResult, len(in.facts.Steps))
	for i, step := range in.facts.Steps {
		steps[i] = StepResult{Step: step.Step, Result: "unaided"}
	}
	jobs := make([]*Record, s.Jobs)
	for i := range jobs {
		job := &Record{Type: "job", Task: in.facts.Task, Date: (in.today + day(i+1)).String(), Supervisor: supervisor, Layout: layout, Steps: steps}
		if i < s.OtherSupervisors {
			job.Supervisor = unlikely(i)
		}
		if i < s.OtherLayouts {
			job.Layout = unlikely(i)
		}
		jobs[i] = job
	}
	return jobs
}

// unlikely is a name that nobody has.
func unlikely(i int) string { return "\x00supposed " + strconv.Itoa(i) }
