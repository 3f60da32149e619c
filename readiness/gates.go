package readiness

import "slices"

// Gates. None can be bought off by a probability. One more unaided job never closes one; time alone never opens one.
// Whatever a recognition stands for is open (for recency and critical_error: as of the recognition's date).
//
//	induction       The policy names no induction, or this is the induction, or it is done: the apprentice was ever cleared
//	                for it and is not stood down from it now, or its own gates for reading, theory test, critical steps,
//	                jobs, supervisors, layouts and prerequisites are all open. An induction does not lapse.
//	reading         Each lesson of the task was read in its current edition or one after which nothing asks for re-reading.
//	theory_test     The policy asks no test, or one was passed in an edition that is not to be passed again; watched, if
//	                the policy asks that.
//	critical_steps  Each critical step of the catalogue was seen unaided in a watched job (see seenUnaided).
//	jobs            Enough watched jobs, jobs recognised included (see countsAsWatched).
//	supervisors     Watched by enough different supervisors.
//	layouts         Watched on cars of enough different layouts. A job without a layout counts for none.
//	recency         The last watched job is at most recency_days ago; days of leave do not count.
//	critical_error  No critical failure (see failure), or since the last one, on later days: at least cleanAfterFailure clean
//	                jobs (see clean), and each step that ever went wrong seen unaided on a later day than it did.
//	prerequisites   The standing of each prerequisite task is cleared.
const cleanAfterFailure = 2

// inputs is everything that a verdict on one apprentice and task rests on.
type inputs struct {
	facts  *taskFacts
	all    func(task string) *taskFacts // any other task
	listed []CatalogueSupervisor
	policy Policy
	asks   TaskPolicy // of the task
	person *person
	asOf   string
	today  day
}

func (in *inputs) history() *history { return in.person.task(in.facts.Task) }

// of is the same question about another task.
func (in *inputs) of(task string) *inputs {
	other := *in
	other.facts, other.asks = in.all(task), in.policy.Task(task)
	return &other
}

// judgeGates returns every gate in the order of GateNames, with arguments.
func judgeGates(in *inputs) []Gate {
	gates := make([]Gate, len(GateNames))
	for i, name := range GateNames {
		gates[i] = judgeGate(in, name)
	}
	return gates
}

func judgeGate(in *inputs, name string) Gate {
	recognised := in.recognisedOn(name)
	if recognised != "" && name != "recency" && name != "critical_error" {
		return open(name, "recognised", "date", recognised)
	}
	switch name {
	case "induction":
		return in.induction()
	case "reading":
		return in.reading()
	case "theory_test":
		return in.theoryTest()
	case "critical_steps":
		return in.criticalSteps()
	case "jobs":
		return enough("jobs", in.jobs(), in.asks.Jobs)
	case "supervisors":
		return enough("supervisors", len(in.supervisors()), in.asks.Supervisors)
	case "layouts":
		return enough("layouts", len(in.layouts()), in.asks.Layouts)
	case "recency":
		return in.recency(recognised)
	case "critical_error":
		return in.criticalError(recognised)
	case "prerequisites":
		return in.prerequisites()
	}
	panic("readiness: no such gate: " + name)
}

// recognisedOn is the date of the latest recognition that stands for a gate, or "".
func (in *inputs) recognisedOn(gate string) string {
	last := ""
	for _, r := range in.history().recognitions {
		if slices.Contains(r.StandsFor, gate) {
			last = max(last, r.Date)
		}
	}
	return last
}

func open(gate, why string, args ...string) Gate   { return newGate(gate, true, why, args) }
func closed(gate, why string, args ...string) Gate { return newGate(gate, false, why, args) }

func newGate(gate string, ok bool, why string, args []string) Gate {
	return Gate{Gate: gate, OK: ok, Why: why, Args: arguments(args...)}
}

func arguments(pairs ...string) map[string]string {
	args := make(map[string]string, len(pairs)/2)
	for i := 0; i+1 < len(pairs); i += 2 {
		args[pairs[i]] = pairs[i+1]
	}
	return args
}

// enough judges a gate that asks for a number.
func enough(gate string, have, need int) Gate {
	h, n := decimal(have), decimal(need)
	switch {
	case need == 0:
		return open(gate, gate+"_not_asked", "have", h)
	case have >= need:
		return open(gate, gate+"_enough", "have", h, "need", n)
	}
	return closed(gate, gate+"_short", "have", h, "need", n)
}

func (in *inputs) induction() Gate {
	task := in.policy.Induction
	switch {
	case task == "":
		return open("induction", "induction_not_asked")
	case task == in.facts.Task:
		return open("induction", "induction_itself")
	case in.inducted(task):
		return open("induction", "induction_done", "task", task)
	}
	return closed("induction", "induction_missing", "task", task)
}

func (in *inputs) inducted(task string) bool {
	other := in.of(task)
	if stand := other.decided(); stand.standing == StoodDown {
		return false
	}
	if len(other.history().clearances) > 0 {
		return true
	}
	if !in.person.tried(other.facts) {
		return false // an induction that asks nothing is not done before it has begun
	}
	for _, gate := range GateNames {
		if gate == "induction" || gate == "recency" || gate == "critical_error" {
			continue
		}
		if !judgeGate(other, gate).OK {
			return false
		}
	}
	return true
}

func (in *inputs) reading() Gate {
	if len(in.facts.Lessons) == 0 {
		return open("reading", "reading_not_asked")
	}
	var never, all []string
	for _, l := range in.facts.Lessons {
		read := in.person.readings[l.Lesson]
		if !slices.ContainsFunc(read, l.holds) {
			all = append(all, l.Lesson)
			if len(read) == 0 {
				never = append(never, l.Lesson)
			}
		}
	}
	switch {
	case len(never) > 0:
		return closed("reading", "reading_missing", "lessons", list(all))
	case len(all) > 0:
		return closed("reading", "reading_again", "lessons", list(all))
	}
	return open("reading", "reading_done")
}

func (in *inputs) theoryTest() Gate {
	test := in.asks.TheoryTest
	if test == nil {
		return open("theory_test", "theory_test_not_asked")
	}
	passed, unwatched, outdated, failed := "", "", "", ""
	for _, t := range in.history().tests {
		switch {
		case !t.Passed:
			failed = max(failed, t.Date)
		case slices.Contains(in.facts.RetestAfter, t.Edition):
			outdated = max(outdated, t.Date)
		case test.Watched && !t.Watched:
			unwatched = max(unwatched, t.Date)
		default:
			passed = max(passed, t.Date)
		}
	}
	switch {
	case passed != "":
		return open("theory_test", "theory_test_passed", "date", passed)
	case unwatched != "":
		return closed("theory_test", "theory_test_not_watched", "date", unwatched)
	case outdated != "":
		return closed("theory_test", "theory_test_again", "date", outdated)
	case failed != "":
		return closed("theory_test", "theory_test_failed", "date", failed)
	}
	return closed("theory_test", "theory_test_missing")
}

// holds says whether a reading still holds: nothing that changed since asks for reading again.
func (l CatalogueLesson) holds(reading *Record) bool {
	return reading.Edition == l.Edition || !slices.Contains(l.RereadAfter, reading.Edition)
}

// unseenSteps are the critical steps never seen unaided, in the catalogue's order.
func (in *inputs) unseenSteps() []string {
	seen := map[string]bool{}
	for _, job := range in.history().counted() {
		if len(seen) == len(in.facts.need) {
			break // every step there is
		}
		for step := range in.facts.seenUnaided(job) {
			seen[step] = true
		}
	}
	var unseen []string
	for _, step := range in.facts.need {
		if !seen[step] {
			unseen = append(unseen, step)
		}
	}
	return unseen
}

func (in *inputs) criticalSteps() Gate {
	need := len(in.facts.need)
	if need == 0 {
		return open("critical_steps", "critical_steps_none")
	}
	unseen := in.unseenSteps()
	if len(unseen) > 0 {
		return closed("critical_steps", "critical_steps_missing", "have", decimal(need-len(unseen)), "need", decimal(need), "steps", list(unseen))
	}
	return open("critical_steps", "critical_steps_seen", "need", decimal(need))
}

// jobs is the number of watched jobs, recognised ones included.
func (in *inputs) jobs() int {
	have := len(in.history().counted())
	for _, r := range in.history().recognitions {
		have += r.Jobs
	}
	return have
}

func (in *inputs) supervisors() []string {
	return distinct(in.history().counted(), func(r *Record) string { return r.Supervisor })
}

func (in *inputs) layouts() []string {
	return distinct(in.history().counted(), func(r *Record) string { return r.Layout })
}

// distinct returns the different non-empty names, sorted.
func distinct(recs []*Record, name func(*Record) string) []string {
	var all []string
	for _, r := range recs {
		if n := name(r); n != "" {
			all = append(all, n)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func (in *inputs) recency(recognised string) Gate {
	last := max(lastDate(in.history().counted()), recognised)
	within := decimal(in.asks.RecencyDays)
	if last == "" {
		return closed("recency", "recency_never", "within", within)
	}
	idle := in.person.idle(toDay(last), in.today)
	if idle > in.asks.RecencyDays {
		return closed("recency", "recency_too_long", "date", last, "days", decimal(idle), "within", within)
	}
	return open("recency", "recency_recent", "date", last, "days", decimal(idle), "within", within)
}

// sinceFailure is what has been made good since the last critical failure.
type sinceFailure struct {
	date  string   // of the last failure, "" if there is none
	clean int      // clean jobs on later days
	steps []string // that ever went wrong and have not been seen unaided on a later day
}

// sinceFailure leaves out failures up to the day of a recognition that stands for this gate.
func (in *inputs) sinceFailure(recognised string) sinceFailure {
	var s sinceFailure
	wrong := map[string]string{} // the last day on which a step went wrong
	for _, f := range in.facts.failures(in.history()) {
		if f.date <= recognised {
			continue
		}
		s.date = f.date
		for _, step := range f.steps {
			wrong[step] = f.date
		}
	}
	if s.date == "" {
		return s
	}
	for _, job := range in.history().counted() {
		if job.Date > s.date && in.facts.clean(job) {
			s.clean++
		}
		if len(wrong) == 0 {
			continue
		}
		for step := range in.facts.seenUnaided(job) {
			if at, ok := wrong[step]; ok && job.Date > at {
				delete(wrong, step)
			}
		}
	}
	for _, step := range in.facts.need { // a step no longer called critical cannot be shown as one
		if _, still := wrong[step]; still {
			s.steps = append(s.steps, step)
		}
	}
	return s
}

func (in *inputs) criticalError(recognised string) Gate {
	s := in.sinceFailure(recognised)
	have, need := decimal(s.clean), decimal(cleanAfterFailure)
	switch {
	case s.date == "":
		return open("critical_error", "critical_error_none")
	case s.clean < cleanAfterFailure:
		return closed("critical_error", "critical_error_since", "date", s.date, "have", have, "need", need)
	case len(s.steps) > 0:
		return closed("critical_error", "critical_error_steps", "date", s.date, "steps", list(s.steps))
	}
	return open("critical_error", "critical_error_made_good", "date", s.date, "have", have, "need", need)
}

// unclearedPrerequisites are the prerequisites whose standing is not cleared, in the catalogue's order.
func (in *inputs) unclearedPrerequisites() []string {
	var missing []string
	for _, task := range in.facts.Prerequisites {
		if in.of(task).decided().standing != Cleared {
			missing = append(missing, task)
		}
	}
	return missing
}

func (in *inputs) prerequisites() Gate {
	if len(in.facts.Prerequisites) == 0 {
		return open("prerequisites", "prerequisites_none")
	}
	if missing := in.unclearedPrerequisites(); len(missing) > 0 {
		return closed("prerequisites", "prerequisites_missing", "tasks", list(missing))
	}
	return open("prerequisites", "prerequisites_cleared", "tasks", list(in.facts.Prerequisites))
}
