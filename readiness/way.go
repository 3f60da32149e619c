package readiness

import (
	"maps"
	"slices"
)

// The shortest way: the smallest set of acts that makes ready if all of them go well, found by search with the judge itself,
// gates and estimate, as the test of each set (see [Suppose]). Kinds of acts: the induction, each lesson, each prerequisite,
// the theory test, watched jobs, and of the jobs how many with another supervisor and how many on another layout.
//
// No act closes a gate or lowers the estimate. So from the set of all acts each that can be left out is left out, and of
// jobs the fewest are kept, each serving every purpose at once; then as few other supervisors and other layouts as will do.
// A test tries every smaller set on small cases (TestWayIsTheShortest).
//
// Jobs are supposed of usual difficulty and as watched by nobody known. A search over harder jobs or over named supervisors
// might find a shorter way, but would send beginners to awkward cars, and would tell how strict a supervisor is.
type way struct {
	Supposed
	steps   []string // critical steps that must be done unaided in the jobs
	sure    bool     // whether so many jobs make it sure enough
	blocked []Reason // what none of these acts brings about
}

// shortestWay finds the way to open what gates are closed and to be sure enough.
func (a *Assessor) shortestWay(in *inputs, gates []Gate, now *view) way {
	closed := map[string]bool{}
	for _, g := range gates {
		if !g.OK {
			closed[g.Gate] = true
		}
	}
	var w way
	w.blocked, in = in.restored(closed)
	w.Supposed = in.everything()
	if closed["supervisors"] && !judgeGate(in.supposing(w.Supposed), "supervisors").OK { // every other gate opens if all goes well
		w.blocked = append(w.blocked, reason("too_few_supervisors", "need", decimal(in.asks.Supervisors), "have", decimal(len(in.supervisors())+in.supervisorsLeft())))
		delete(closed, "supervisors")
	}
	opens := func(s Supposed) bool {
		if len(closed) == 0 {
			return true
		}
		then := in.supposing(s)
		for gate := range closed {
			if !judgeGate(then, gate).OK {
				return false
			}
		}
		return true
	}
	w.leaveOut(opens)
	w.Jobs, w.sure = a.fewestJobs(in, w.Supposed, now, opens)
	w.OtherSupervisors = fewest(min(w.Jobs, w.OtherSupervisors), func(n int) bool { s := w.Supposed; s.OtherSupervisors = n; return opens(s) })
	w.OtherLayouts = fewest(w.Jobs, func(n int) bool { s := w.Supposed; s.OtherLayouts = n; return opens(s) })
	if closed["critical_steps"] {
		w.steps = in.unseenSteps()
	}
	if closed["critical_error"] {
		for _, step := range in.sinceFailure(in.recognisedOn("critical_error")).steps {
			if !slices.Contains(w.steps, step) {
				w.steps = append(w.steps, step)
			}
		}
	}
	return w
}

// everything are all acts that there are.
func (in *inputs) everything() Supposed {
	s := Supposed{Induction: true, Prerequisites: in.unclearedPrerequisites(), TheoryTest: true, Jobs: MaxSupposed,
		OtherSupervisors: in.supervisorsLeft(), OtherLayouts: MaxSupposed}
	for _, l := range in.facts.Lessons {
		if !slices.ContainsFunc(in.person.readings[l.Lesson], l.holds) {
			s.Lessons = append(s.Lessons, l.Lesson)
		}
	}
	return s
}

// supervisorsLeft is how many who have not watched yet could: of those whom the catalogue names or, where it names none, of
// as many as the policy says there are.
func (in *inputs) supervisorsLeft() int {
	watched := in.supervisors()
	if len(in.listed) == 0 {
		return max(0, in.policy.SupervisorsAvailable-len(watched))
	}
	left := 0
	for _, s := range in.listed {
		if !slices.Contains(watched, s.Supervisor) {
			left++
		}
	}
	return left
}

// leaveOut drops each act that opens nothing which would stay closed without it.
func (w *way) leaveOut(opens func(Supposed) bool) {
	try := func(change func(*Supposed)) {
		s := w.Supposed
		if change(&s); opens(s) {
			w.Supposed = s
		}
	}
	without := func(all []string, one string) []string {
		return slices.DeleteFunc(slices.Clone(all), func(x string) bool { return x == one })
	}
	try(func(s *Supposed) { s.Induction = false })
	for _, l := range w.Lessons {
		try(func(s *Supposed) { s.Lessons = without(s.Lessons, l) })
	}
	for _, t := range w.Prerequisites {
		try(func(s *Supposed) { s.Prerequisites = without(s.Prerequisites, t) })
	}
	try(func(s *Supposed) { s.TheoryTest = false })
}

// fewestJobs is the smallest number of further clean jobs with which all opens and the estimate is sure enough; if there is
// none up to [MaxSupposed], the smallest with which all opens, and false.
func (a *Assessor) fewestJobs(in *inputs, s Supposed, now *view, opens func(Supposed) bool) (int, bool) {
	need := fewest(MaxSupposed, func(n int) bool { t := s; t.Jobs = n; return opens(t) })
	for jobs := 0; jobs <= MaxSupposed; jobs++ {
		on := a.today + day(jobs)
		if jobs > 0 {
			now = now.after(on)
		}
		if jobs >= need && now.estimate(*in.asks.Target, on).confidence >= *in.asks.Confidence {
			return jobs, true
		}
	}
	return need, false
}

// fewest is the smallest number up to most that will do; most is known to do.
func fewest(most int, does func(int) bool) int {
	for n := range most {
		if does(n) {
			return n
		}
	}
	return most
}

// restored is the same without the stand-downs from the induction and from prerequisites that keep gates closed, and these. A
// stand-down from all tasks is left to be said of the task itself, unless it was lifted for that task alone.
func (in *inputs) restored(closed map[string]bool) ([]Reason, *inputs) {
	var tasks []string
	if closed["induction"] {
		tasks = append(tasks, in.policy.Induction)
	}
	if closed["prerequisites"] {
		tasks = append(tasks, in.facts.Prerequisites...)
	}
	then, p := *in, *in.person
	p.tasks, p.downs = maps.Clone(p.tasks), nil
	then.person = &p
	var all []Reason
	own := in.openStandDowns()
	for i, task := range tasks {
		downs := where(in.of(task).openStandDowns(), func(d *Record) bool { return d.Task != "" || !slices.Contains(own, d) })
		if len(downs) > 0 && !slices.Contains(tasks[:i], task) {
			all = append(all, resting(reason("restore_first", "task", task, "date", downs[0].Date), ids(downs)))
		}
		h := *p.task(task)
		h.downs = nil
		p.tasks[task] = &h
	}
	return all, &then
}
