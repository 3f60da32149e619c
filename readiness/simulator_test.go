package readiness

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// The simulator makes cohorts whose truth is known. It differs from the model on purpose: learning follows a curve of another
// shape, with its own reach and speed for every apprentice and task; forgetting is a power of the idle time; shocks have heavy tails
// (Student's t with 3 degrees of freedom); the able get the awkward jobs, and those who struggle more jobs; each step has its
// own difficulty; of supervisors who sign without looking there are a few.

// simWorld is how apprentices, tasks and supervisors are in a world. Logits, unless said otherwise.
type simWorld struct {
	general, task         float64 // spread of what an apprentice brings to every task, and to one
	plateau, ease         float64 // mean ability in the end; spread between tasks
	learnFrom, learnTo    float64 // what is learned, evenly spread
	pace, paceSpread      float64 // logarithm of the jobs that half of it takes, normal
	curve                 func(n, pace float64) float64
	forgetFrom, forgetTo  float64 // power of idle months
	halo, day             float64 // scale of the shocks
	tame                  bool    // shocks are normal
	severity              float64 // spread of supervisors
	asleep                float64 // share of supervisors who sign most jobs unseen
	questions             int     // of a theory test; 0: there is none
	know, knowMore, blind float64 // how much of the general and the other ability shows in answers; spread of the rest
	steps, critical       int
	each                  bool // errors are decided at each critical step by itself, not once for the job
	helpSlope, help       float64
}

// The worlds. The priors and the model were made with an eye to all but the last, which is only reported.
var worlds = map[string]simWorld{
	// The first: people differ by a logit, learning along a hyperbola.
	"hyperbola": {general: 0.7, task: 0.8, plateau: 3.9, ease: 0.4, learnFrom: 1.5, learnTo: 4, pace: 0.8, paceSpread: 0.5, curve: hyperbola,
		forgetFrom: 0.2, forgetTo: 0.6, halo: 0.45, day: 0.25, severity: 0.6, asleep: 0.08,
		questions: 12, know: 0.7, knowMore: 0.3, blind: 0.7, steps: 10, critical: 4, helpSlope: 0.8, help: 0.6},
	// People differ more, and more from one to the next than from task to task; some learn in two jobs, some hardly; strict and lenient supervisors.
	"exponential": {general: 1.1, task: 0.8, plateau: 4, ease: 0.4, learnFrom: 1.5, learnTo: 5, pace: 0.6, paceSpread: 0.8, curve: exponential,
		forgetFrom: 0.1, forgetTo: 0.5, halo: 0.4, day: 0.2, severity: 0.9, asleep: 0.12,
		questions: 12, know: 0.7, knowMore: 0.4, blind: 0.6, steps: 12, critical: 6, each: true, helpSlope: 0.9, help: 0.2},
	// Sudden insight, few questions, more noise from job to job.
	"insight": {general: 0.8, task: 0.8, plateau: 4.2, ease: 0.5, learnFrom: 2, learnTo: 4, pace: 0.9, paceSpread: 0.6, curve: insight,
		forgetFrom: 0.1, forgetTo: 0.4, halo: 0.6, day: 0.3, severity: 0.6, asleep: 0.1,
		questions: 5, know: 0.7, knowMore: 0.3, blind: 1, steps: 8, critical: 5, each: true, helpSlope: 0.7, help: 1},
	// The model itself, or nearly.
	"model": {general: 0.8, task: 0.8, plateau: 4, ease: 0.4, learnFrom: 2.5, learnTo: 2.5, pace: 0.6, curve: exponential,
		halo: 0.6, day: 0.3, tame: true, severity: 0.6, asleep: 0.08,
		questions: 12, know: 0.5, knowMore: 0.5, blind: 0.7, steps: 10, critical: 4, each: true, helpSlope: 0.8, help: 0.6},
	// The law of practice; held out.
	"power": {general: 1, task: 0.7, plateau: 4.3, ease: 0.3, learnFrom: 2, learnTo: 4.5, pace: 0.7, paceSpread: 0.6, curve: power,
		forgetFrom: 0.15, forgetTo: 0.5, halo: 0.5, day: 0.3, severity: 0.8, asleep: 0.1,
		questions: 8, know: 0.6, knowMore: 0.5, blind: 0.8, steps: 14, critical: 5, each: true, helpSlope: 1, help: 0},
}

func hyperbola(n, pace float64) float64   { return n / (n + pace) }
func exponential(n, pace float64) float64 { return 1 - math.Exp(-0.7*n/pace) }
func insight(n, pace float64) float64     { return 1 / (1 + math.Exp((pace-n)/0.7)) }
func power(n, pace float64) float64       { return 1 - math.Pow(1+n/pace, -0.8) }

type simTask struct {
	world       *simWorld
	start       day
	plateau     float64
	learn, pace float64
	forget      float64
	jobs        []simJob
	tests       []simTest
}

type simTest struct {
	on        day
	right, of int
}

type simJob struct {
	on         day
	supervisor int
	difficulty string
	theta      float64 // before shocks
	record     Record
	clean      bool // every step unaided, no critical error
	signed     bool // every critical step unaided, no critical error
	failed     bool
}

type simulated struct {
	world      simWorld
	catalogue  *Catalogue
	records    []Record
	people     [][]*simTask
	severity   []float64
	sleepy     []float64   // chance to sign unseen
	chance     [][]float64 // by task, and by ability from −8 in steps of 0.05
	awkward    float64
	routine    float64
	stepHarder [][]float64
	ease       []float64 // of tasks
}

type simOptions struct {
	apprentices, tasks, supervisors int
	meanJobs                        float64
	seed                            uint64
	world                           uint64 // of tasks and supervisors
	of                              string // name of the world; hyperbola
}

// shock is a draw with scale 1.
func (w *simWorld) shock(r *rand.Rand) float64 {
	z := r.NormFloat64()
	if w.tame {
		return z
	}
	c := 0.0
	for range 3 {
		x := r.NormFloat64()
		c += x * x
	}
	return max(-8, min(8, z/math.Sqrt(c/3)))
}

const simDays = 504

func simulate(o simOptions) *simulated {
	r := rand.New(rand.NewPCG(o.world, 7))
	s := &simulated{catalogue: &Catalogue{}, awkward: 0.9, routine: -0.6, world: worlds[cmp.Or(o.of, "hyperbola")]}
	w := &s.world
	for t := range o.tasks {
		ct := CatalogueTask{Task: fmt.Sprintf("task%d", t)}
		var harder []float64
		for i := range w.steps {
			ct.Steps = append(ct.Steps, CatalogueStep{Step: fmt.Sprintf("l%d/s%d", t, i), Critical: i < w.critical})
			harder = append(harder, 0.4*r.NormFloat64())
		}
		s.stepHarder = append(s.stepHarder, harder)
		s.catalogue.Tasks = append(s.catalogue.Tasks, ct)
	}
	for i := range o.supervisors {
		s.catalogue.Supervisors = append(s.catalogue.Supervisors, CatalogueSupervisor{Supervisor: fmt.Sprintf("sup%d", i)})
		s.severity = append(s.severity, w.severity*r.NormFloat64())
		sleepy := 0.02
		if r.Float64() < w.asleep {
			sleepy = 0.5 + 0.4*r.Float64()
		}
		s.sleepy = append(s.sleepy, sleepy)
	}
	mean := 0.0
	for _, x := range s.severity {
		mean += x / float64(len(s.severity))
	}
	for i := range s.severity {
		s.severity[i] -= mean
	}
	s.makeChance(r)
	for range o.tasks {
		s.ease = append(s.ease, w.ease*r.NormFloat64())
	}
	r = rand.New(rand.NewPCG(o.world, o.seed))
	for a := range o.apprentices {
		name := fmt.Sprintf("a%d", a)
		g := w.general * r.NormFloat64()
		home := r.IntN(o.supervisors)
		var mine []*simTask
		for t := range o.tasks {
			p := &simTask{
				world: w, start: firstDay + day(r.IntN(200)),
				plateau: w.plateau + s.ease[t] + g + w.task*r.NormFloat64(),
				learn:   w.learnFrom + (w.learnTo-w.learnFrom)*r.Float64(), pace: math.Exp(w.pace + w.paceSpread*r.NormFloat64()),
				forget: w.forgetFrom + (w.forgetTo-w.forgetFrom)*r.Float64(),
			}
			s.ask(r, p, name, t, g)
			s.watch(r, p, name, t, home, o)
			mine = append(mine, p)
		}
		s.people = append(s.people, mine)
	}
	return s
}

// simPass is the share of right answers that passes a test, and simTests how often it may be taken, four weeks apart.
const (
	simPass  = 0.8
	simTests = 3
)

// knowledge is the mean logit of a right answer, spread of the rest apart.
func (w *simWorld) knowledge(g, plateau float64) float64 {
	return 1.5 + w.know*g + w.knowMore*(plateau-g-w.plateau)
}

// ask has an apprentice take the test, again if it was failed.
func (s *simulated) ask(r *rand.Rand, p *simTask, name string, t int, g float64) {
	w := &s.world
	kappa := w.knowledge(g, p.plateau) + w.blind*r.NormFloat64()
	for i := range simTests {
		if w.questions == 0 {
			return
		}
		test := simTest{on: p.start + day(28*i), of: w.questions}
		rec := Record{Type: "answers", Apprentice: name, Date: test.on.String()}
		for q := range w.questions {
			ok := r.Float64() < 1/(1+math.Exp(-kappa))
			if ok {
				test.right++
			}
			rec.Answers = append(rec.Answers, AnswerResult{Question: fmt.Sprintf("q%d", q), Task: s.catalogue.Tasks[t].Task, Correct: ok})
		}
		s.records = append(s.records, rec)
		p.tests = append(p.tests, test)
		if float64(test.right) >= simPass*float64(test.of) {
			return
		}
	}
}

// answers up to a day: right, wrong, and whether a test was passed.
func (p *simTask) answers(on day) (right, wrong int, passed bool) {
	passed = p.world.questions == 0
	for _, x := range p.tests {
		if x.on <= on {
			right, wrong = right+x.right, wrong+x.of-x.right
			passed = passed || float64(x.right) >= simPass*float64(x.of)
		}
	}
	return right, wrong, passed
}

// ability without shocks on a day, after the jobs before it.
func (p *simTask) ability(on day) float64 {
	n, last := 0.0, p.start
	for _, j := range p.jobs {
		if j.on <= on {
			n++
			last = j.on
		}
	}
	return p.abilityAfter(n, float64(on-last))
}

func (p *simTask) abilityAfter(n, idle float64) float64 {
	if n == 0 {
		return p.plateau - p.learn
	}
	gained := p.learn * p.world.curve(n, p.pace)
	kept := math.Pow(1+idle/30, -p.forget*0.5)
	return p.plateau - p.learn + gained*(0.5+0.5*kept)
}

func (s *simulated) hardness(d string) float64 {
	switch d {
	case "routine":
		return s.routine
	case "awkward":
		return s.awkward
	}
	return 0
}

// safe is the chance that nothing goes wrong at a critical step of this difficulty.
func (w *simWorld) safe(z, harder float64) float64 {
	if w.each {
		return 1 / (1 + math.Exp(harder-z)/float64(w.critical))
	}
	return math.Pow(1/(1+math.Exp(harder-z)), 1/float64(w.critical))
}

// helped is the chance of help at a step of this difficulty.
func (w *simWorld) helped(z, harder float64) float64 {
	return 1 / (1 + math.Exp(w.helpSlope*(z-harder)+w.help))
}

func (s *simulated) watch(r *rand.Rand, p *simTask, name string, t, home int, o simOptions) {
	gap := float64(simDays-100) / o.meanJobs * math.Exp(0.5*r.NormFloat64()-0.125)
	on := p.start + day(1+r.IntN(10))
	trouble := 0.0
	w := &s.world
	for on < firstDay+simDays {
		theta := p.abilityAfter(float64(len(p.jobs)), float64(on-p.last()))
		d := "usual"
		able := 0.15 * math.Tanh((theta-3)/2)
		switch x := r.Float64(); { // the able get the awkward jobs
		case x < 0.2+able:
			d = "awkward"
		case x > 0.7+able:
			d = "routine"
		}
		sup := home
		if r.Float64() < 0.5 {
			sup = r.IntN(o.supervisors)
		}
		shock := w.day*w.shock(r) + w.halo*w.shock(r)
		j := simJob{on: on, supervisor: sup, difficulty: d, theta: theta, clean: true, signed: true}
		j.record = Record{Type: "job", Apprentice: name, Task: s.catalogue.Tasks[t].Task, Date: on.String(), Supervisor: fmt.Sprintf("sup%d", sup), Difficulty: d}
		unseen := r.Float64() < s.sleepy[sup]
		bulk := unseen && r.Float64() < 0.5 || r.Float64() < 0.03
		z := theta + shock - s.hardness(d) - s.severity[sup]
		for i := range w.steps {
			res := StepResult{Step: s.catalogue.Tasks[t].Steps[i].Step, Result: "unaided", Bulk: bulk}
			if !unseen {
				h := s.stepHarder[t][i]
				if i < w.critical && r.Float64() > w.safe(z, h) {
					res.CriticalError, res.Result, res.Bulk = true, "taken_over", false
					j.failed, j.clean, j.signed = true, false, false
				} else if r.Float64() < w.helped(z, h) {
					res.Result, res.Bulk = "prompted", false
					j.clean = false
					j.signed = j.signed && i >= w.critical
				}
			}
			j.record.Steps = append(j.record.Steps, res)
		}
		p.jobs = append(p.jobs, j)
		s.records = append(s.records, j.record)
		if j.clean {
			trouble = 0
		} else {
			trouble = 1
		}
		on += day(1 + r.ExpFloat64()*gap*(1-0.4*trouble))
	}
}

func (p *simTask) last() day {
	if len(p.jobs) == 0 {
		return p.start
	}
	return p.jobs[len(p.jobs)-1].on
}

// makeChance tabulates the true chance of a job without a critical error by ability, of each task, by brute force.
func (s *simulated) makeChance(r *rand.Rand) {
	const draws = 2000
	w := &s.world
	shocks := make([]float64, draws)
	for i := range shocks {
		shocks[i] = w.day*w.shock(r) + w.halo*w.shock(r)
	}
	slices.Sort(shocks)
	for t := range s.stepHarder {
		var curve []float64
		for x := -8.0; x <= 12; x += 0.05 {
			sum := 0.0
			for i, e := range shocks {
				b := 0.0
				switch {
				case i%10 < 3:
					b = s.routine
				case i%10 >= 8:
					b = s.awkward
				}
				safe := 1.0
				for _, h := range s.stepHarder[t][:w.critical] {
					safe *= w.safe(x+e-b, h)
				}
				sum += safe
			}
			curve = append(curve, sum/draws)
		}
		s.chance = append(s.chance, curve)
	}
}

func (s *simulated) chanceAt(t int, theta float64) float64 {
	i := int(math.Round((theta + 8) / 0.05))
	return s.chance[t][max(0, min(len(s.chance[t])-1, i))]
}

// truth is the chance of an apprentice's next job at a task on a day.
func (s *simulated) truth(a, t int, on day) float64 { return s.chanceAt(t, s.people[a][t].ability(on)) }
