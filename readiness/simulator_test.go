package readiness

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// The simulator makes cohorts whose truth is known. It differs from the model on purpose: learning follows a hyperbola
// with its own speed for every apprentice and task, forgetting a power of the idle time, shocks have heavy tails
// (Student's t with 3 degrees of freedom), the able get the awkward jobs and those who struggle more jobs, each step has its
// own difficulty, errors at critical steps need not be seen by those who sign without looking, and a few of those there are.

type simTask struct {
	start       day
	plateau     float64
	learn, pace float64
	forget      float64
	jobs        []simJob
}

type simJob struct {
	on         day
	supervisor int
	difficulty string
	theta      float64 // before shocks
	record     Record
	clean      bool // every step unaided, no critical error
	failed     bool
}

type simulated struct {
	catalogue  *Catalogue
	records    []Record
	people     [][]*simTask
	general    []float64
	severity   []float64
	sleepy     []float64 // chance to sign unseen
	scores     [][]float64
	chance     [][]float64 // by task, and by ability from −8 in steps of 0.05
	awkward    float64
	routine    float64
	steps      int
	crit       int
	stepHarder [][]float64
	ease       []float64 // of tasks
	shockHalo  float64
	shockDay   float64
}

type simOptions struct {
	apprentices, tasks, supervisors int
	meanJobs                        float64
	seed                            uint64
	world                           uint64 // of tasks and supervisors
}

func student3(r *rand.Rand) float64 {
	z := r.NormFloat64()
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
	s := &simulated{catalogue: &Catalogue{}, awkward: 0.9, routine: -0.6, steps: 10, crit: 4, shockHalo: 0.45, shockDay: 0.25}
	for t := range o.tasks {
		ct := CatalogueTask{Task: fmt.Sprintf("task%d", t)}
		var harder []float64
		for i := range s.steps {
			ct.Steps = append(ct.Steps, CatalogueStep{Step: fmt.Sprintf("l%d/s%d", t, i), Critical: i < s.crit})
			harder = append(harder, 0.4*r.NormFloat64())
		}
		s.stepHarder = append(s.stepHarder, harder)
		s.catalogue.Tasks = append(s.catalogue.Tasks, ct)
	}
	for i := range o.supervisors {
		s.catalogue.Supervisors = append(s.catalogue.Supervisors, CatalogueSupervisor{Supervisor: fmt.Sprintf("sup%d", i)})
		s.severity = append(s.severity, 0.6*r.NormFloat64())
		sleepy := 0.02
		if r.Float64() < 0.08 {
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
	taskEase := make([]float64, o.tasks)
	for t := range taskEase {
		taskEase[t] = 0.4 * r.NormFloat64()
	}
	s.ease = taskEase
	r = rand.New(rand.NewPCG(o.world, o.seed))
	for a := range o.apprentices {
		name := fmt.Sprintf("a%d", a)
		g := 0.7 * r.NormFloat64()
		s.general = append(s.general, g)
		home := r.IntN(o.supervisors)
		var mine []*simTask
		var scores []float64
		for t := range o.tasks {
			p := &simTask{
				start:   firstDay + day(r.IntN(200)),
				plateau: 3.9 + taskEase[t] + g + 0.8*r.NormFloat64(),
				learn:   1.5 + 2.5*r.Float64(), pace: math.Exp(0.8 + 0.5*r.NormFloat64()), forget: 0.2 + 0.4*r.Float64(),
			}
			kappa := 1.5 + 0.4*g + 0.3*(p.plateau-3.9) + 0.7*r.NormFloat64()
			rec := Record{Type: "answers", Apprentice: name, Date: p.start.String()}
			right := 0
			for q := range 12 {
				ok := r.Float64() < 1/(1+math.Exp(-kappa+0.5*r.NormFloat64()))
				if ok {
					right++
				}
				rec.Answers = append(rec.Answers, AnswerResult{Question: fmt.Sprintf("q%d", q), Task: s.catalogue.Tasks[t].Task, Correct: ok})
			}
			s.records = append(s.records, rec)
			scores = append(scores, float64(right)/12)
			s.watch(r, p, name, t, home, o)
			mine = append(mine, p)
		}
		s.people, s.scores = append(s.people, mine), append(s.scores, scores)
	}
	return s
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
	gained := p.learn * n / (n + p.pace)
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

func (s *simulated) watch(r *rand.Rand, p *simTask, name string, t, home int, o simOptions) {
	gap := float64(simDays-100) / o.meanJobs * math.Exp(0.5*r.NormFloat64()-0.125)
	on := p.start + day(1+r.IntN(10))
	trouble := 0.0
	for on < firstDay+simDays {
		theta := p.abilityAfter(float64(len(p.jobs)), float64(on-p.last()))
		d := "usual"
		switch x := r.Float64(); { // the able get the awkward jobs
		case x < 0.2+0.15*math.Tanh((theta-3)/2):
			d = "awkward"
		case x > 0.7+0.15*math.Tanh((theta-3)/2):
			d = "routine"
		}
		sup := home
		if r.Float64() < 0.5 {
			sup = r.IntN(o.supervisors)
		}
		ofDay := s.shockDay * student3(r)
		halo := s.shockHalo * student3(r)
		j := simJob{on: on, supervisor: sup, difficulty: d, theta: theta}
		j.record = Record{Type: "job", Apprentice: name, Task: s.catalogue.Tasks[t].Task, Date: on.String(), Supervisor: fmt.Sprintf("sup%d", sup), Difficulty: d}
		unseen := r.Float64() < s.sleepy[sup]
		bulk := unseen && r.Float64() < 0.5 || r.Float64() < 0.03
		z := theta + ofDay + halo - s.hardness(d) - s.severity[sup]
		j.clean = true
		for i := range s.steps {
			res := StepResult{Step: s.catalogue.Tasks[t].Steps[i].Step, Result: "unaided", Bulk: bulk}
			if !unseen {
				h := s.stepHarder[t][i]
				if i < s.crit && r.Float64() < 1-math.Pow(1/(1+math.Exp(h-z)), 1.0/float64(s.crit)) {
					res.CriticalError, res.Result, res.Bulk = true, "taken_over", false
					j.failed, j.clean = true, false
				} else if r.Float64() < 1/(1+math.Exp(0.8*(z-h)+0.6+0.3*r.NormFloat64())) {
					res.Result, res.Bulk = "prompted", false
					j.clean = false
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

// makeChance tabulates the true chance of a job without a critical error by ability, of a mean task, by brute force.
func (s *simulated) makeChance(r *rand.Rand) {
	const draws = 2000
	shocks := make([]float64, draws)
	for i := range shocks {
		shocks[i] = s.shockDay*student3(r) + s.shockHalo*student3(r)
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
				for _, h := range s.stepHarder[t][:s.crit] {
					safe /= 1 + math.Exp(b+h-x-e)
				}
				sum += math.Sqrt(math.Sqrt(safe))
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
