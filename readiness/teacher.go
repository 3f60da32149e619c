package readiness

import (
	"cmp"
	"slices"
	"strings"
)

// teacher judges with hindsight and without the promises that [Assess] keeps: it takes the model at its word. Each record is
// weighed at what was missing on its day, errors and help in full, and what came later counts for what was before. It is
// what population values are estimated by (its likelihood is that of the model), and what says how sure the judge ought to have been.
type teacher struct {
	model   *model
	tasks   []*taskModel
	records []map[recordKey][]float64
}

// recordKey is all that the chance of a job's record depends on, by how far ability exceeds what the job asked.
type recordKey struct {
	kind    eventKind
	pattern string
	se      float64
}

func newTeacher(c *Catalogue, policy Policy, p Parameters) *teacher {
	f := &teacher{model: newModel(p)}
	for _, t := range c.Tasks {
		f.tasks = append(f.tasks, f.model.task(c.facts(t.Task), policy.JobMix))
		f.records = append(f.records, map[recordKey][]float64{})
	}
	return f
}

// gathered is what a person's evidence comes to, by task.
func (f *teacher) gathered(p *person) []*evidence {
	all := make([]*evidence, len(f.tasks))
	for i, t := range f.tasks {
		h := p.tasks[t.facts.Task]
		if h == nil {
			h = &history{}
		}
		all[i] = t.gatherEvidence(h)
	}
	return all
}

func (e *evidence) nothing() bool { return len(e.events) == 0 && e.right+e.wrong == 0 }

// likelihood of a task's evidence by way of learning and ability in practice, its largest value 1; the logarithm of what it was divided by;
// and how many watched jobs it holds.
func (f *teacher) likelihood(task int, e *evidence) (of [][]float64, scale float64, jobs int) {
	t := f.tasks[task]
	learned := f.model.memory(1)
	for range f.model.learners {
		of = append(of, slices.Clone(t.answers(e.right, e.wrong)))
	}
	now := make([]float64, len(of[0]))
	done := 0 // of the attempts, before the day
	for i := range e.events {
		ev := &e.events[i]
		for ; done < len(e.attempts) && e.attempts[done] < ev.on; done++ {
			learned.practise(e.attempts[done])
		}
		if ev.kind == jobEvent || ev.kind == errorEvent && ev.watched {
			jobs++
		}
		harder := t.hardness(ev.difficulty) + ev.severity
		record, w := f.record(task, ev), f.watching(task, ev)
		top := 0.0
		for c, missing := range learned.missing(ev.on) {
			t.ability.shifted(now, record, missing+harder)
			for j, x := range now {
				of[c][j] = float64(of[c][j] * (float64(w.awake*x) + w.asleep))
				top = max(top, of[c][j])
			}
		}
		if top == 0 {
			scale += logSmallest
			continue
		}
		for c := range of {
			for j, x := range of[c] {
				of[c][j] = x / top
			}
		}
		scale += log(top)
	}
	return of, scale, jobs
}

// overLearners averages a likelihood over the ways of learning.
func (f *teacher) overLearners(of [][]float64) []float64 {
	out := make([]float64, len(of[0]))
	for c, l := range f.model.learners {
		for i, x := range of[c] {
			out[i] += float64(l.weight * x)
		}
	}
	return out
}

// scaled is times, and says the logarithm of the scale.
func scaled(a, b []float64) float64 {
	top := 0.0
	for i := range a {
		a[i] = float64(a[i] * b[i])
		top = max(top, a[i])
	}
	if top == 0 {
		return logSmallest
	}
	for i := range a {
		a[i] = a[i] / top
	}
	return log(top)
}

// score is the log-likelihood of all that is known of a person, and how many watched jobs that is.
func (f *teacher) score(all []*evidence) (float64, int) {
	general, sum, n := slices.Clone(f.model.generalPrior), 0.0, 0
	for i, e := range all {
		if e.nothing() {
			continue
		}
		of, scale, jobs := f.likelihood(i, e)
		sum += scale + scaled(general, f.tasks[i].prior.over(f.overLearners(of)))
		n += jobs
	}
	left := 0.0
	for _, x := range general {
		left += x
	}
	return sum + log(left), n
}

// densities are those of ways of learning and ability in practice at each task, from everything.
func (f *teacher) densities(all []*evidence) []hindsight {
	likelihoods, averaged := make([][][]float64, len(all)), make([][]float64, len(all))
	for i, e := range all {
		if !e.nothing() {
			likelihoods[i], _, _ = f.likelihood(i, e)
			averaged[i] = f.overLearners(likelihoods[i])
		}
	}
	out := make([]hindsight, len(all))
	for i, t := range f.tasks {
		prior := t.prior.mix(f.model.generalFrom(f.tasks, averaged, i), len(t.ability.points))
		sum := 0.0
		for c, l := range f.model.learners {
			of := make([]float64, len(prior))
			for j, x := range prior {
				of[j] = float64(l.weight * x)
				if likelihoods[i] != nil {
					of[j] = float64(of[j] * likelihoods[i][c][j])
				}
				sum += of[j]
			}
			out[i] = append(out[i], of)
		}
		for _, of := range out[i] {
			for j, x := range of {
				of[j] = x / sum
			}
		}
	}
	return out
}

// watching is how likely a record is to have been seen, or signed unseen: a perfect one only, and rather one that was ticked in bulk.
type watching struct {
	awake, asleep float64
	bulk          bool
}

func (f *teacher) watching(task int, ev *event) watching {
	if !ev.watched || ev.kind != jobEvent {
		return watching{awake: 1}
	}
	pop := &f.model.Population
	bulk := f.tasks[task].inBulk(ev.pattern)
	awake, asleep := 1-pop.BulkSeen, 1-pop.BulkUnseen
	if bulk {
		awake, asleep = pop.BulkSeen, pop.BulkUnseen
	}
	if !isPerfect(ev.pattern) {
		asleep = 0
	}
	return watching{awake: float64((1 - ev.unseen) * awake), asleep: float64(ev.unseen * asleep), bulk: bulk}
}

// inBulk says whether a critical step was ticked in bulk.
func (t *taskModel) inBulk(pattern string) bool {
	for i := range pattern {
		if pattern[i] == ticked && (i >= len(t.critical) || t.critical[i]) {
			return true
		}
	}
	return false
}

// record is the chance of an event's record by how far ability exceeds what the job asked, shocks averaged over.
func (f *teacher) record(task int, ev *event) []float64 {
	t := f.tasks[task]
	key := recordKey{ev.kind, ev.pattern, ev.se}
	of := f.records[task][key]
	if of != nil {
		return of
	}
	pattern := ev.pattern
	if t.inBulk(pattern) { // if the job was seen, its ticks are what they say
		pattern = strings.ReplaceAll(pattern, string(rune(ticked)), string(rune(unaided)))
	}
	ahead, against := t.logs(jobKey{kind: ev.kind, pattern: pattern}, 0)
	if ev.kind == jobEvent && !isPerfect(ev.pattern) {
		t.addSafeHelped(against, ev.pattern)
	}
	of = make([]float64, len(ahead))
	for i := range of {
		of[i] = exp(ahead[i] + against[i])
	}
	of = t.shaken(of, ev.se)
	f.records[task][key] = of
	return of
}

// addSafeHelped adds the part of the chance of no critical error that belongs to critical steps at which there was help:
// the judge takes nothing from it, but a record's chance holds it.
func (t *taskModel) addSafeHelped(to []float64, pattern string) {
	for i := range t.critical {
		if t.critical[i] && i < len(pattern) && pattern[i] == helped {
			s := t.withoutError(i)
			for j, x := range t.soft(curve{s.at, 1}) {
				to[j] -= float64(s.weight * x)
			}
		}
	}
}

// before is what is known of a person before a day; answers apart, which have no day here.
func (e *evidence) before(on day) *evidence {
	cut := func(days []day) []day {
		i, _ := slices.BinarySearch(days, on)
		return days[:i]
	}
	i, _ := slices.BinarySearchFunc(e.events, on, func(ev event, on day) int { return cmp.Compare(ev.on, on) })
	return &evidence{events: e.events[:i], cleans: cut(e.cleans), unclean: cut(e.unclean), practice: cut(e.practice), attempts: cut(e.attempts), right: e.right, wrong: e.wrong}
}
