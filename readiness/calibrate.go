package readiness

import "sync"

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
	calibrateSample = 2000 // apprentices; of few, how rare errors were is luck
	calibrateFirst  = 100  // apprentices, in the first round
	lessonSample    = 1000 // apprentices, of whom the judge learns
	calibrateRounds = 4    // of steps and passes for supervisors, tasks and steps
	calibrateSteps  = 6    // in each round, at most
	calibratePasses = calibrateRounds * calibrateSteps
	helpful         = 0.5 // of log-likelihood: a step that gains less is the last of its round
	refinePasses    = 3
	priorWeight     = 4.0 // of the documented priors, in units of log-likelihood at one scale from them
)

// Calibrate estimates population values, tasks and supervisors from a programme's own evidence, in two parts. First the values of
// the model as such, by the marginal likelihood of everybody's evidence (see [teacher]), by Newton steps, lightly held by the documented
// priors. Then the values of the judge that [Assess] is: for so many dates what it said is held against what the model says
// with hindsight, and the judge is set so that both agree best (see [lesson]). The same evidence gives the same snapshot. Nothing is adopted by it.
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
	_, before := s.total(p)
	report.Before = roundTo(before, 10000)
	first := *s
	first.evidence = sampleOf(r.evidence, min(len(people), calibrateFirst))
	for round := range calibrateRounds {
		now := s
		if round == 0 {
			now = &first
		}
		now.climb(&p, round*calibrateSteps, (round+1)*calibrateSteps, progress)
		r.refine(&p, refinePasses, true)
		r.spreadOfSeverity(&p)
	}
	_, after := s.total(p)
	report.After, report.Evaluations, report.Converged = roundTo(after, 10000), s.evaluations+first.evaluations, s.converged
	learnOutcomes(&p.Population, outcomesOf(c, policy, sampleOf(r.evidence, min(len(people), outcomePeople)), p))
	taught := min(len(people), lessonSample)
	l := newLesson(c, policy, evidence, sampleOf(names, taught), sampleOf(r.evidence, taught), p)
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

// search is the data of the search for population values.
type search struct {
	catalogue   *Catalogue
	policy      Policy
	evidence    [][]*evidence // of people, by task
	evaluations int
	converged   bool
}

// estimated are the population values that calibrate moves, with the scale on which it moves them.
var estimated = map[string]float64{
	"ability": 0.5, "general_sd": 0.3, "task_sd": 0.3, "routine": 0.3, "awkward": 0.3, "halo_sd": 0.3, "tail": 0.06, "places": 0.3,
	"help_slope": 0.2, "help_critical": 0.5, "help_ordinary": 0.5, "deficit": 0.5, "practice": 0.1, "curve": 0.3, "pace_sd": 0.3, "deficit_sd": 0.3, "retained": 0.2, "forget_days": 60, "savings": 0.25,
	"knowledge_mean": 0.4, "knowledge_slope": 0.2, "knowledge_sd": 0.3,
}

// likelihoods are the log-likelihoods of people's evidence, and how many watched jobs they hold.
func (s *search) likelihoods(p Parameters) (of []float64, jobs int) {
	s.evaluations++
	of = make([]float64, len(s.evidence))
	var counts [workers]int
	shared(func(w int) {
		f := newTeacher(s.catalogue, s.policy, p)
		for i := w; i < len(of); i += workers {
			sum, n := f.score(s.evidence[i])
			of[i] = sum
			counts[w] += n
		}
	})
	for _, n := range counts {
		jobs += n
	}
	return of, jobs
}

// workers share what is done for everybody. Each keeps to its own part; the parts are added in their order.
const workers = 2

// shared has each worker do its part, side by side.
func shared(part func(w int)) {
	var group sync.WaitGroup
	for w := range workers {
		group.Go(func() { part(w) })
	}
	group.Wait()
}

// total is the log-likelihood of everything, with the pull of the priors, and of a watched job on average.
func (s *search) total(p Parameters) (all, mean float64) {
	of, jobs := s.likelihoods(p)
	for _, x := range of {
		all += x
	}
	all -= pull(&p.Population)
	return all, all / float64(max(1, jobs))
}

// pull is how much less likely than the documented priors population values are held to be beforehand.
func pull(p *Population) float64 {
	sum := 0.0
	prior := DefaultParameters().Population
	now := p.bounds()
	for i, b := range prior.bounds() {
		if scale := estimated[b.name]; scale > 0 {
			sum += float64(priorWeight / 2 * square((*now[i].value-*b.value)/(3*scale)))
		}
	}
	return sum
}

// climb takes so many steps, or fewer where they help no more, by the method of Berndt, Hall, Hall and Hausman (1974): a Newton step, for whose
// curvature the products of people's own slopes stand.
func (s *search) climb(p *Parameters, from, to int, progress Progress) {
	best, mean := s.total(*p)
	s.converged = false
	for pass := from; pass < to && !s.converged; pass++ {
		before := best
		step := s.newton(*p)
		try := func(by float64) bool {
			next := *p
			for i, b := range next.Population.bounds() {
				*b.value = max(b.from, min(b.to, *b.value+float64(by*step[i])))
			}
			now, of := s.total(next)
			if now <= best {
				return false
			}
			best, mean, *p = now, of, next
			return true
		}
		for by := 1.0; by > 0.02; by = float64(by * 0.5) {
			if try(by) {
				break
			}
		}
		progress(pass+1, calibratePasses, mean)
		s.converged = best-before < helpful
	}
	for _, b := range p.Population.bounds() {
		*b.value = roundTo(*b.value, 1000)
	}
}

// newton is the step to where the likelihood would be greatest if it were a parabola, by population value.
func (s *search) newton(p Parameters) []float64 {
	values, prior := p.Population.bounds(), DefaultParameters().Population
	priors := prior.bounds()
	var moved []int
	var slopes [][]float64 // by value and person
	for i, b := range values {
		scale := estimated[b.name]
		if scale == 0 {
			continue
		}
		at := *b.value
		up, down := min(b.to, at+scale/20), max(b.from, at-scale/20)
		*b.value = up
		above, _ := s.likelihoods(p)
		*b.value = down
		below, _ := s.likelihoods(p)
		*b.value = at
		sum := 0.0
		for k := range above {
			above[k] = (above[k] - below[k]) / (up - down)
			sum += above[k]
		}
		sum -= float64(priorWeight * (at - *priors[i].value) / square(3*scale))
		if at == b.to && sum > 0 || at == b.from && sum < 0 {
			continue // it would go further than it may
		}
		moved, slopes = append(moved, i), append(slopes, above)
	}
	curvature, slope := make([][]float64, len(moved)), make([]float64, len(moved))
	for i, of := range moved {
		weight := priorWeight / square(3*estimated[values[of].name])
		slope[i] = -float64(weight * (*values[of].value - *priors[of].value))
		for _, x := range slopes[i] {
			slope[i] += x
		}
		curvature[i] = make([]float64, len(moved))
		for j := range moved {
			for k, x := range slopes[i] {
				curvature[i][j] += float64(x * slopes[j][k])
			}
		}
		curvature[i][i] += weight
	}
	out := make([]float64, len(values))
	for i, x := range solve(curvature, slope) {
		out[moved[i]] = max(-2*estimated[values[moved[i]].name], min(2*estimated[values[moved[i]].name], x))
	}
	return out
}
