package readiness

import (
	"cmp"
	"math"
	"slices"
	"sync"
)

// Report says what calibrate found and how it went.
type Report struct {
	Apprentices, Jobs int           // of the evidence
	Sample            int           // apprentices on whom the population values were estimated
	Evaluations       int           // of the likelihood
	Converged         bool          // the search ended because no step helped, not because it ran out
	Before, After     float64       // mean log-likelihood of a job's record foretold from what came before it: priors, estimate
	Values            []ValueChange // every population value, in the order of the format
}

// ValueChange compares a population value with its prior.
type ValueChange struct {
	Name            string
	Prior, Estimate float64
}

// Progress says how far calibrate has come: so many of at most so many sweeps, and the mean log-likelihood so far.
type Progress func(sweep, of int, likelihood float64)

const (
	calibrateSample = 80 // apprentices; more than these make the estimate no better than its assumptions
	calibrateSweeps = 9
	outcomeWeight   = 2.0 // of whether a job had a critical error, by itself, beside its record as a whole: it is what the estimate is about
	priorWeight     = 4.0 // of the documented priors, in units of log-likelihood at one scale from them
)

// Calibrate estimates population values, tasks and supervisors from a programme's own evidence: it maximises the
// (marginal) likelihood of every watched job's record as foretold from what came before it, by a search along the
// coordinates with shrinking steps, lightly held by the documented priors. The same evidence gives the same snapshot. Nothing is
// adopted by it.
func Calibrate(c *Catalogue, evidence []Record, policy Policy, progress func(sweep, of int, likelihood float64)) (Parameters, Report) {
	if progress == nil {
		progress = func(int, int, float64) {}
	}
	upTo := lastDay(evidence)
	people := histories(resolve(evidence, upTo))
	p := DefaultParameters()
	p.UpTo = upTo
	report := Report{Apprentices: len(people), Sample: min(len(people), calibrateSample)}
	for _, who := range people {
		for _, h := range who.tasks {
			report.Jobs += len(h.jobs)
		}
	}
	if report.Jobs == 0 {
		p.UpTo = ""
		report.Converged = true
		report.compare(p)
		return p, report
	}
	adopt := func() {
		d := crossedOf(c, people, p)
		d.fit(true)
		p.Supervisors = d.values()
		p.Tasks = nil
		mean := 0.0
		for _, ease := range d.ease {
			mean += ease / float64(len(d.ease))
		}
		p.Population.Ability = roundTo(max(-3, min(6, p.Population.Ability+mean)), 1000)
		for i, t := range c.Tasks {
			p.Tasks = append(p.Tasks, TaskValue{Task: t.Task, Ease: roundTo(max(-maxLogit, min(maxLogit, d.ease[i]-mean)), 100)})
		}
		p.sort()
	}
	s := &search{catalogue: c, policy: policy, people: sampleOf(people, report.Sample)}
	report.Before = s.score(p)
	first := *s
	first.people = sampleOf(people, min(len(people), calibrateSample/3))
	for i := range 2 { // first on a third of the sample
		adopt()
		first.climb(&p, i*calibrateSweeps/3, (i+1)*calibrateSweeps/3, progress)
	}
	adopt()
	best := s.climb(&p, calibrateSweeps*2/3, calibrateSweeps, progress)
	s.evaluations += first.evaluations
	adopt()
	report.After, report.Evaluations, report.Converged = roundTo(best, 10000), s.evaluations, s.converged
	report.Before = roundTo(report.Before, 10000)
	report.compare(p)
	return p, report
}

func (r *Report) compare(p Parameters) {
	prior := DefaultParameters()
	now := p.Population.bounds()
	for i, b := range prior.Population.bounds() {
		r.Values = append(r.Values, ValueChange{Name: b.name, Prior: *b.value, Estimate: *now[i].value})
	}
}

// sampleOf takes every so-manieth.
func sampleOf(people []*person, n int) []*person {
	var all []*person
	for i := range n {
		all = append(all, people[i*len(people)/n])
	}
	return all
}

// search is the data of the search.
type search struct {
	catalogue   *Catalogue
	policy      Policy
	people      []*person
	evaluations int
	converged   bool
}

// estimated are the population values that calibrate moves, with the scale on which it moves them.
var estimated = map[string]float64{
	"ability": 0.5, "general_sd": 0.3, "task_sd": 0.3, "routine": 0.3, "awkward": 0.3, "halo_sd": 0.3,
	"help_slope": 0.2, "help_critical": 0.5, "help_ordinary": 0.5, "deficit": 0.5, "practice": 0.1, "retained": 0.2, "forget_days": 80,
	"catch_up": 0.4, "catch_rate": 0.1, "error": 0.15, "fade": 0.1, "knowledge_mean": 0.4, "knowledge_slope": 0.2, "knowledge_sd": 0.3,
}

// direction is a way in which the search moves. Some move several values at once: along them the likelihood is a narrow valley.
type direction struct {
	scale float64
	move  func(p *Population, by float64)
}

func directions() []direction {
	all := []direction{
		{0.5, func(p *Population, by float64) { // ability, while help stays as likely as it was
			p.Ability += by
			p.HelpCritical -= float64(p.HelpSlope * by)
			p.HelpOrdinary -= float64(p.HelpSlope * by)
		}},
		{0.2, func(p *Population, by float64) { // the spread of everything, while help spreads as it did
			slope := p.HelpSlope
			grow := exp(by)
			for _, v := range []*float64{&p.GeneralSD, &p.TaskSD, &p.HaloSD, &p.Deficit} {
				*v = float64(*v * grow)
			}
			p.HelpSlope = slope / grow
			p.KnowledgeSlope = p.KnowledgeSlope / grow
			more := float64((slope - p.HelpSlope) * p.Ability)
			p.HelpCritical += more
			p.HelpOrdinary += more
		}},
		{0.4, func(p *Population, by float64) { // what is missing at first, while those in practice stay where they are
			p.Deficit += by
			p.Ability += float64(by * 0.5)
		}},
		{0.2, func(p *Population, by float64) { // how much help says, while the mean says the same
			p.HelpSlope += by
			p.HelpCritical -= float64(p.Ability * by)
			p.HelpOrdinary -= float64(p.Ability * by)
		}},
	}
	var pop Population
	for i, b := range pop.bounds() {
		if scale := estimated[b.name]; scale > 0 {
			all = append(all, direction{scale, func(p *Population, by float64) { *p.bounds()[i].value += by }})
		}
	}
	return all
}

// moved is a population a step further, within the bounds, rounded to 0.001.
func (d direction) moved(p Population, by float64) Population {
	d.move(&p, by)
	for _, b := range p.bounds() {
		*b.value = roundTo(max(b.from, min(b.to, *b.value)), 1000)
	}
	return p
}

// climb moves along one direction at a time, and keeps each step that helps; steps grow when they help and shrink when
// they do not.
func (s *search) climb(p *Parameters, from, to int, progress func(int, int, float64)) float64 {
	best := s.score(*p)
	ways := directions()
	steps := make([]float64, len(ways))
	for i, d := range ways {
		steps[i] = d.scale
	}
	s.converged = false
	for sweep := from; sweep < to && !s.converged; sweep++ {
		before, largest := best, 0.0
		for i, d := range ways {
			if math.Abs(steps[i]) < d.scale/20 {
				continue
			}
			moved := false
			for range 2 {
				try := *p
				try.Population = d.moved(p.Population, steps[i])
				if try.Population != p.Population {
					if now := s.score(try); now > best {
						best, *p, moved = now, try, true
						break
					}
				}
				steps[i] = -steps[i] // the other way; next time, the way that helped comes first
			}
			if moved {
				steps[i] = float64(steps[i] * 1.4)
			} else {
				steps[i] = float64(steps[i] * 0.4)
			}
			largest = max(largest, math.Abs(steps[i])/d.scale)
		}
		progress(sweep+1, calibrateSweeps, best)
		s.converged = best-before < 1e-4 && largest < 0.2
	}
	return best
}

// workers share the work of one evaluation. Each keeps to its own part; the parts are added in their order.
const workers = 2

// score is the mean log-likelihood of a job's record, with the pull of the priors.
func (s *search) score(p Parameters) float64 {
	s.evaluations++
	const parts = 8
	var sums [parts]float64
	var counts [parts]int
	var group sync.WaitGroup
	for w := range workers {
		group.Add(1)
		go func() {
			defer group.Done()
			f := newForeteller(s.catalogue, s.policy, p)
			for part := w; part < parts; part += workers {
				for i := part; i < len(s.people); i += parts {
					sum, n := f.foretell(s.people[i])
					sums[part] += sum
					counts[part] += n
				}
			}
		}()
	}
	group.Wait()
	sum, n := 0.0, 0
	for i := range sums {
		sum += sums[i]
		n += counts[i]
	}
	prior := DefaultParameters()
	for i, b := range prior.Population.bounds() {
		if scale := estimated[b.name]; scale > 0 {
			sum -= float64(priorWeight / 2 * square((*p.Population.bounds()[i].value-*b.value)/(3*scale)))
		}
	}
	return sum / float64(n)
}

// foreteller works out how well the model foretells records.
type foreteller struct {
	model   *model
	tasks   []*taskModel
	records []map[recordKey][]float64
}

type recordKey struct {
	job     jobKey
	missing float64
}

func newForeteller(c *Catalogue, policy Policy, p Parameters) *foreteller {
	f := &foreteller{model: newModel(p)}
	for _, t := range c.Tasks {
		f.tasks = append(f.tasks, f.model.task(c.facts(t.Task), policy.JobMix))
		f.records = append(f.records, map[recordKey][]float64{})
	}
	return f
}

// known is what is known of a person before a day.
func (e *evidence) before(on day) *evidence {
	cut := func(days []day) []day {
		i, _ := slices.BinarySearch(days, on)
		return days[:i]
	}
	i, _ := slices.BinarySearchFunc(e.events, on, func(ev event, on day) int { return cmp.Compare(ev.on, on) })
	return &evidence{events: e.events[:i], cleans: cut(e.cleans), practice: cut(e.practice), right: e.right, wrong: e.wrong}
}

// foretell sums the logarithms of the chances of every watched job of a person, each foretold from the days before it. Theory
// answers are taken as given.
func (f *foreteller) foretell(p *person) (float64, int) {
	all := make([]*evidence, len(f.tasks))
	likelihoods := make([][]float64, len(f.tasks))
	type at struct {
		on   day
		task int
	}
	var days []at
	for i, t := range f.tasks {
		h := p.tasks[t.facts.Task]
		if h == nil {
			h = &history{}
		}
		all[i] = t.gatherEvidence(h)
		likelihoods[i] = t.answers(all[i].right, all[i].wrong)
		for j, ev := range all[i].events {
			if j == 0 || all[i].events[j-1].on != ev.on {
				days = append(days, at{ev.on, i})
			}
		}
	}
	slices.SortStableFunc(days, func(a, b at) int { return cmp.Or(cmp.Compare(a.on, b.on), cmp.Compare(a.task, b.task)) })
	sum, n := 0.0, 0
	for _, d := range days {
		t, e := f.tasks[d.task], all[d.task]
		known := e.before(d.on)
		density := t.density(f.model.generalFrom(f.tasks, likelihoods, d.task), likelihoods[d.task])
		missing := roundTo(f.model.deficit(known.practice, d.on), 20)
		for _, ev := range e.events {
			if ev.on == d.on && (ev.kind == jobEvent || ev.kind == errorEvent && ev.se+ev.unseen > 0) {
				chance := f.record(d.task, ev, missing)
				p := 0.0
				for i, w := range density {
					p += float64(w * chance[i])
				}
				failed := ev
				failed.kind, failed.pattern = errorEvent, ""
				q := 0.0
				for i, c := range f.record(d.task, failed, missing) {
					q += float64(density[i] * c)
				}
				if ev.kind != errorEvent {
					q = 1 - q
				}
				sum += log(max(p, 1e-12)) + float64(outcomeWeight*log(max(q, 1e-12)))
				n++
			}
		}
		likelihoods[d.task] = t.likelihood(e.before(d.on + 1))
	}
	return sum, n
}

// record is the chance of a record, by ability in practice.
func (f *foreteller) record(task int, ev event, missing float64) []float64 {
	t := f.tasks[task]
	key := recordKey{job: jobKey{kind: ev.kind, difficulty: ev.difficulty, pattern: ev.pattern, severity: ev.severity, se: ev.se, unseen: ev.unseen}, missing: missing}
	of := f.records[task][key]
	if of != nil {
		return of
	}
	harder := missing + t.hardness(ev.difficulty) + ev.severity
	ahead, against := t.logs(key.job, harder)
	perfect := isPerfect(ev.pattern)
	if !perfect && ev.kind == jobEvent {
		t.addSafeHelped(against, ev.pattern, harder)
	}
	of = make([]float64, len(ahead))
	for i := range of {
		of[i] = exp(ahead[i] + against[i])
	}
	of = t.ability.spread(t.Population.DaySD).over(t.shock(ev.se).over(of))
	for i := range of {
		of[i] = float64((1 - ev.unseen) * of[i])
		if perfect {
			of[i] += ev.unseen
		}
	}
	f.records[task][key] = of
	return of
}

// addSafeHelped adds the part of the chance of no critical error that belongs to critical steps at which there was help:
// the model takes nothing from it, but a record's chance holds it.
func (t *taskModel) addSafeHelped(to []float64, pattern string, harder float64) {
	for i := range t.critical {
		if t.critical[i] && i < len(pattern) && pattern[i] == helped {
			for j, x := range t.soft(curve{t.harder[i] - log(t.count) + harder, 1}) {
				to[j] -= x
			}
		}
	}
}
