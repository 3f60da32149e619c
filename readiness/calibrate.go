package readiness

import (
	"math"
	"sync"
)

// Report says what calibrate found and how it went.
type Report struct {
	Apprentices, Jobs int           // of the evidence
	Sample            int           // apprentices on whom the population values were estimated
	Evaluations       int           // of the likelihood
	Converged         bool          // the search ended because no step helped, not because it ran out
	Before, After     float64       // log-likelihood of the evidence, per watched job: priors, estimate
	Judged            int           // apprentices, tasks and dates at which the judge was compared with hindsight
	Unlike            [2]float64    // mean distance (of squares) of the two: before and after the judge was set
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
	calibrateSample = 160 // apprentices; more than these make the estimate no better than its assumptions
	calibrateRounds = 6   // of a search for population values and passes for supervisors, tasks and steps
	calibrateSweeps = 3   // in each round
	refinePasses    = 3
	priorWeight     = 4.0 // of the documented priors, in units of log-likelihood at one scale from them
)

// Calibrate estimates population values, tasks and supervisors from a programme's own evidence, in two parts. First the values of
// the model as such, by the marginal likelihood of everybody's evidence (see [teacher]), by a search along coordinates with
// shrinking steps, lightly held by the documented priors. Then the values of the judge that [Assess] is: for so many
// dates what it said is held against what the model says with hindsight, and the judge is set so that both agree best (see
// [lesson]). The same evidence gives the same snapshot. Nothing is adopted by it.
func Calibrate(c *Catalogue, evidence []Record, policy Policy, progress Progress) (Parameters, Report) {
	if progress == nil {
		progress = func(int, int, float64) {}
	}
	upTo := lastDay(evidence)
	names, people := histories(resolve(evidence, upTo))
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
	r := estimateSupervisors(c, people, &p, datePasses)
	s := &search{catalogue: c, policy: policy, evidence: sampleOf(r.evidence, report.Sample)}
	report.Before = roundTo(s.score(p), 10000)
	first := *s
	first.evidence = sampleOf(r.evidence, min(len(people), calibrateSample/3))
	for round := range calibrateRounds {
		now := s
		if round < calibrateRounds/2 { // first on a third of the sample
			now = &first
		}
		now.climb(&p, round*calibrateSweeps, (round+1)*calibrateSweeps, progress)
		r.refine(&p, refinePasses, true)
		r.spreadOfSeverity(&p)
	}
	report.After, report.Evaluations, report.Converged = roundTo(s.score(p), 10000), s.evaluations+first.evaluations, s.converged
	learnOutcomes(&p.Population, outcomesOf(c, policy, sampleOf(r.evidence, min(len(people), outcomePeople)), p))
	l := newLesson(c, policy, evidence, sampleOf(names, report.Sample), s, p)
	report.Judged = l.judged()
	report.Unlike = l.teach(&p)
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
func sampleOf[T any](of []T, n int) []T {
	var all []T
	for i := range n {
		all = append(all, of[i*len(of)/n])
	}
	return all
}

// search is the data of the search.
type search struct {
	catalogue   *Catalogue
	policy      Policy
	evidence    [][]*evidence // of people, by task
	evaluations int
	converged   bool
	steps       []float64 // along each direction
}

// estimated are the population values that calibrate moves, with the scale on which it moves them.
var estimated = map[string]float64{
	"ability": 0.5, "general_sd": 0.3, "task_sd": 0.3, "routine": 0.3, "awkward": 0.3, "halo_sd": 0.3, "tail": 0.06, "places": 0.3,
	"help_slope": 0.2, "help_critical": 0.5, "help_ordinary": 0.5, "deficit": 0.5, "practice": 0.1, "curve": 0.3, "pace_sd": 0.3, "deficit_sd": 0.3, "retained": 0.2, "forget_days": 80,
	"knowledge_mean": 0.4, "knowledge_slope": 0.2, "knowledge_sd": 0.3,
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
			for _, v := range []*float64{&p.GeneralSD, &p.TaskSD, &p.HaloSD, &p.Deficit, &p.Awkward, &p.Routine} {
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
	if s.steps == nil {
		for _, d := range ways {
			s.steps = append(s.steps, d.scale)
		}
	}
	steps := s.steps
	s.converged = false
	for sweep := from; sweep < to && !s.converged; sweep++ {
		before, largest := best, 0.0
		for i, d := range ways {
			if math.Abs(steps[i]) < d.scale/20 {
				if sweep > from {
					continue
				}
				steps[i] = d.scale / 20 // in a new round, everything is tried once more
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
		progress(sweep+1, calibrateRounds*calibrateSweeps, best)
		s.converged = best-before < 1e-4 && largest < 0.2
	}
	return best
}

// workers share the work of one evaluation. Each keeps to its own part; the parts are added in their order.
const workers = 2

// score is the log-likelihood of a watched job, on average, with the pull of the priors.
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
			f := newTeacher(s.catalogue, s.policy, p)
			for part := w; part < parts; part += workers {
				for i := part; i < len(s.evidence); i += parts {
					sum, n := f.score(s.evidence[i])
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
	return sum / float64(max(1, n))
}
