package readiness

import (
	"cmp"
	"slices"
)

// person is what one apprentice's evidence of a date comes to: what concerns every task, and a history for each task.
type person struct {
	leaves    []span               // merged, sorted
	readings  map[string][]*Record // by lesson
	downs     []*Record            // stand-downs of all tasks
	restores  []*Record            // restores of all tasks
	tasks     map[string]*history
	contested map[*Record]bool
	records   []*Record // all of them
}

// history is what one apprentice did at one task, each list sorted by date.
type history struct {
	jobs         []*Record // watched jobs, whatever came of them
	unwatched    []*Record
	spotChecks   []*Record
	returns      []*Record
	tests        []*Record
	recognitions []*Record
	clearances   []*Record
	downs        []*Record // stand-downs of this task
	restores     []*Record
	disputed     []*Record
	answered     []*Record // with answers to questions of this task; one with several such answers stands there as often
	right, wrong int       // assessed answers to questions of this task
}

// span is days from and to, both included.
type span struct{ from, to day }

// gather sorts an apprentice's records into histories.
func gather(h *held) *person {
	p := &person{readings: map[string][]*Record{}, tasks: map[string]*history{}, contested: map[*Record]bool{}}
	if h == nil {
		return p
	}
	p.contested, p.records = h.contested, h.records
	for _, rec := range h.records {
		switch rec.Type {
		case "leave":
			p.leaves = append(p.leaves, span{toDay(rec.From), toDay(rec.To)})
		case "reading":
			p.readings[rec.Lesson] = append(p.readings[rec.Lesson], rec)
		case "answers":
			for _, a := range rec.Answers {
				t := p.task(a.Task)
				t.answered = append(t.answered, rec)
				if a.Correct {
					t.right++
				} else {
					t.wrong++
				}
			}
		case "stand_down":
			if rec.Task == "" {
				p.downs = append(p.downs, rec)
			} else {
				t := p.task(rec.Task)
				t.downs = append(t.downs, rec)
			}
		case "restore":
			if rec.Task == "" {
				p.restores = append(p.restores, rec)
			} else {
				t := p.task(rec.Task)
				t.restores = append(t.restores, rec)
			}
		default:
			p.task(rec.Task).add(rec)
		}
	}
	for _, rec := range h.disputed {
		if rec.Task != "" {
			t := p.task(rec.Task)
			t.disputed = append(t.disputed, rec)
		}
	}
	p.leaves = merge(p.leaves)
	return p
}

func (p *person) task(task string) *history {
	t := p.tasks[task]
	if t == nil {
		t = &history{}
		p.tasks[task] = t
	}
	return t
}

func (t *history) add(rec *Record) {
	switch rec.Type {
	case "job":
		t.jobs = append(t.jobs, rec)
	case "unwatched_job":
		t.unwatched = append(t.unwatched, rec)
	case "spot_check":
		t.spotChecks = append(t.spotChecks, rec)
	case "return":
		t.returns = append(t.returns, rec)
	case "theory_test":
		t.tests = append(t.tests, rec)
	case "recognition":
		t.recognitions = append(t.recognitions, rec)
	case "clearance":
		t.clearances = append(t.clearances, rec)
	}
}

// merge sorts spans and joins those that touch or overlap.
func merge(spans []span) []span {
	slices.SortFunc(spans, func(a, b span) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	out := spans[:0]
	for _, s := range spans {
		if n := len(out); n > 0 && s.from <= out[n-1].to+1 {
			out[n-1].to = max(out[n-1].to, s.to)
			continue
		}
		out = append(out, s)
	}
	return out
}

// idle is the number of days after from, up to and including to, that are not leave. 0 if to is not after from.
func (p *person) idle(from, to day) int {
	if to <= from {
		return 0
	}
	n := int(to - from)
	for _, l := range p.leaves {
		if first, last := max(l.from, from+1), min(l.to, to); last >= first {
			n -= int(last-first) + 1
		}
	}
	return n
}

// lastDay is the last day for which idle(from, day) is at most n.
func (p *person) lastDay(from day, n int) day {
	at := from
	for _, l := range p.leaves {
		if l.to <= at {
			continue
		}
		work := int(max(l.from, at+1)-1) - int(at) // days before this leave
		if n < work {
			break
		}
		n -= work
		at = l.to
	}
	return at + day(n)
}

// A job counts as a watched job (for the gates jobs, supervisors, layouts, recency and critical_steps, and as evidence
// for the probability) if it was finished or rightly stopped by the apprentice. One that the supervisor stopped, or that
// was interrupted, does not; a critical error in it still does.
func countsAsWatched(job *Record) bool {
	return job.Outcome == "" || job.Outcome == "finished" || job.Outcome == "rightly_stopped"
}

// counted are the jobs that count as watched jobs.
func (t *history) counted() []*Record {
	var all []*Record
	for _, job := range t.jobs {
		if countsAsWatched(job) {
			all = append(all, job)
		}
	}
	return all
}

// hasCriticalError says whether a job had a critical error at any step, also one that the catalogue no longer has or
// no longer calls critical: it was one in the edition of its day.
func hasCriticalError(job *Record) bool {
	for _, s := range job.Steps {
		if s.CriticalError {
			return true
		}
	}
	return false
}

// seenUnaided returns the critical steps that a job shows done unaided. A step is shown if it was tapped unaided (one
// tap for one step: a bulk tick shows nothing at a critical step) and, where it is repeated at several wheels, was
// prompted or taken over at none of them and had no critical error.
func (f *taskFacts) seenUnaided(job *Record) map[string]bool {
	shown := map[string]bool{}
	for _, s := range job.Steps {
		step, known := f.stepOf(s.Step)
		if !known || !f.critical[step] {
			continue
		}
		was, before := shown[step]
		switch {
		case s.Result == "prompted" || s.Result == "taken_over" || s.CriticalError:
			shown[step] = false
		case s.Result == "unaided" && !s.Bulk:
			shown[step] = was || !before
		}
	}
	for step, ok := range shown {
		if !ok {
			delete(shown, step)
		}
	}
	return shown
}

// clean says whether a job shows the task done alone: it counts as a watched job, has no critical error and no near
// miss, every critical step that was reached was done unaided by its own tap, and, where the task has critical steps,
// at least one was seen.
func (f *taskFacts) clean(job *Record) bool {
	if !countsAsWatched(job) || job.NearMiss {
		return false
	}
	seen := false
	for _, s := range job.Steps {
		if s.CriticalError {
			return false
		}
		step, known := f.stepOf(s.Step)
		if !known || !f.critical[step] || s.Result == "not_applicable" || s.Result == "not_reached" {
			continue
		}
		if s.Result != "unaided" || s.Bulk {
			return false
		}
		seen = true
	}
	return seen || len(f.need) == 0
}

// failure is a critical failure: a critical error in a watched job, an unsafe spot check, a return that was our work.
type failure struct {
	date  string
	kept  bool     // whoever signed it kept the clearance
	steps []string // of a job: where the critical errors were
}

// failures are all critical failures, by date.
func (f *taskFacts) failures(t *history) []failure {
	var all []failure
	for _, job := range t.jobs {
		if !hasCriticalError(job) {
			continue
		}
		var steps []string
		for _, s := range job.Steps {
			if step, known := f.stepOf(s.Step); s.CriticalError && known && !slices.Contains(steps, step) {
				steps = append(steps, step)
			}
		}
		all = append(all, failure{date: job.Date, kept: job.Kept, steps: steps})
	}
	for _, check := range t.spotChecks {
		if check.Finding == "unsafe" {
			all = append(all, failure{date: check.Date, kept: check.Kept})
		}
	}
	for _, back := range t.returns {
		if back.Finding == "our_work" {
			all = append(all, failure{date: back.Date, kept: back.Kept})
		}
	}
	slices.SortStableFunc(all, func(a, b failure) int { return cmp.Compare(a.date, b.date) })
	return all
}

// lastDate is the latest date in any of the lists, or "".
func lastDate(lists ...[]*Record) string {
	last := ""
	for _, recs := range lists {
		for _, rec := range recs {
			last = max(last, rec.Date)
		}
	}
	return last
}

// tried says whether anything was ever begun: a reading of one of the task's lessons, a test, a job of any kind, or a
// recognition.
func (p *person) tried(f *taskFacts) bool {
	for _, l := range f.Lessons {
		if len(p.readings[l.Lesson]) > 0 {
			return true
		}
	}
	t := p.task(f.Task)
	return t.right+t.wrong > 0 || len(t.jobs)+len(t.unwatched)+len(t.spotChecks)+len(t.returns)+len(t.tests)+len(t.recognitions) > 0
}
