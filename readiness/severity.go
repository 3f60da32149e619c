package readiness

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// Severity is how strict a supervisor is, from everybody's jobs together: positive is stricter, the mean of a linked set
// is 0. Logits, rounded to 0.01.
type Severity struct {
	Supervisor string  `json:"supervisor"`
	Severity   float64 `json:"severity"`
	SE         float64 `json:"se"`
	Jobs       int     `json:"jobs"` // that went into it
	Set        string  `json:"set"`  // the linked set, named after its first supervisor
	unseen     float64
}

// Severities compares supervisors by the evidence as it stands on its last day: crossed random effects (Bates et al., Fitting Linear
// Mixed-Effects Models Using lme4, 2015) of apprentice at task and of supervisor on the logit scale, by penalised
// quasi-likelihood (Breslow and Clayton 1993), with the task, the practice so far and the difficulty of the job allowed for and the
// shock common to a job averaged over. Who signs without looking comes out as lenient here. Supervisors who share no apprentices, not even over others, cannot be compared:
// they stand in different sets. Sorted by set, then by supervisor.
func Severities(c *Catalogue, evidence []Record, parameters Parameters) []Severity {
	_, people := histories(resolve(evidence, lastDay(evidence)))
	d := crossedOf(c, people, parameters)
	d.fit(false)
	parameters.Supervisors = d.values()
	newRefiner(c, Policy{}, gatheredAll(c, people, parameters), false).refine(&parameters, severityPasses, false)
	refined := map[string]SupervisorValue{}
	for _, v := range parameters.Supervisors {
		refined[v.Supervisor] = v
	}
	all := d.severities()
	for i := range all {
		v := refined[all[i].Supervisor]
		all[i].Severity, all[i].SE = v.Severity, v.SE
	}
	return all
}

// gatheredAll is everybody's evidence.
func gatheredAll(c *Catalogue, people []*person, parameters Parameters) [][]*evidence {
	f := newTeacher(c, Policy{}, parameters)
	var all [][]*evidence
	for _, p := range people {
		all = append(all, f.gathered(p))
	}
	return all
}

// EstimateSupervisors puts what the evidence up to a date says of supervisors into a copy of the parameters: severities as
// [Severities] gives them, but with the chance that a perfect record was signed unseen estimated beside them (a mixture,
// by expectation and maximisation: Dempster, Laird and Rubin 1977), so that sleep is not taken for leniency.
func EstimateSupervisors(c *Catalogue, evidence []Record, parameters Parameters, asOf string) Parameters {
	_, people := histories(resolve(evidence, asOf))
	parameters.UpTo = asOf
	parameters.sort()
	estimateSupervisors(c, people, &parameters, datePasses)
	return parameters
}

func estimateSupervisors(c *Catalogue, people []*person, p *Parameters, passes int) *refiner {
	d := crossedOf(c, people, *p)
	d.fit(true)
	p.Supervisors = d.values()
	p.sort()
	r := newRefiner(c, Policy{}, gatheredAll(c, people, *p), true)
	r.refine(p, passes, false)
	return r
}

// Passes of the refiner over everybody.
const (
	severityPasses = 8
	datePasses     = 3
)

// lastDay is the latest date of any record.
func lastDay(evidence []Record) string {
	last := ""
	for i := range evidence {
		last = max(last, dateOf(&evidence[i]))
	}
	return last
}

// Sweeps of the crossed fit. In the first of them, severities stay and only the chances of unseen records move: leniency
// would explain every perfect record before sleep is given a hearing.
const (
	crossedSweeps = 24
	unseenFirst   = 10
	unseenJobs    = 20 // with fewer jobs nobody is suspected: a few perfect records are what a good apprentice gives
)

// crossed is the data of the crossed random effects.
type crossed struct {
	tasks       []*taskModel
	pop         *Population
	supervisors []string
	rows        []crossedRow
	cells       []crossedCell // apprentice × task
	severity    []float64
	se          []float64
	unseen      []float64
	jobs        []int
	set         []int // of each supervisor: the first of its set
	ease        []float64
	harder      [][]float64 // of steps, by task
}

type crossedCell struct {
	task     int
	ability  float64
	rows     [2]int
	strength float64 // curvature, prior included
}

type crossedRow struct {
	cell, supervisor int
	offset           float64 // of practice and difficulty
	failed           bool
	perfect          bool
	pattern          string
	terms            []term
	pull, weight     float64 // at the last look: slope and curvature of the log-likelihood, halo averaged over
	seen             float64 // the chance that it was seen
}

// histories gathers everybody's, sorted by name.
func histories(everybody map[string]*held) (names []string, people []*person) {
	names = slices.Sorted(maps.Keys(everybody))
	for _, name := range names {
		people = append(people, gather(everybody[name]))
	}
	return names, people
}

func crossedOf(c *Catalogue, people []*person, parameters Parameters) *crossed {
	m := newModel(parameters)
	d := &crossed{pop: &m.Population}
	index := map[string]int{}
	for _, t := range c.Tasks {
		d.tasks = append(d.tasks, m.task(c.facts(t.Task), nil))
		d.ease = append(d.ease, m.ease[t.Task])
		d.harder = append(d.harder, d.tasks[len(d.tasks)-1].harder)
	}
	first := map[int]int{} // of each apprentice, the first supervisor
	for who, p := range people {
		for ti, t := range d.tasks {
			h := p.tasks[t.facts.Task]
			if h == nil || len(h.jobs) == 0 {
				continue
			}
			jobs := slices.Clone(h.jobs)
			slices.SortStableFunc(jobs, func(a, b *Record) int { return cmp.Compare(a.Date, b.Date) })
			cell := crossedCell{task: ti, ability: d.pop.Ability + d.ease[ti], rows: [2]int{len(d.rows), 0}}
			missing := d.pop.Deficit
			for _, job := range jobs {
				s, known := index[job.Supervisor]
				if !known {
					s = len(d.supervisors)
					index[job.Supervisor] = s
					d.supervisors = append(d.supervisors, job.Supervisor)
					d.jobs, d.set = append(d.jobs, 0), append(d.set, s)
				}
				d.jobs[s]++
				if f, any := first[who]; any {
					d.link(f, s)
				} else {
					first[who] = s
				}
				row := crossedRow{cell: len(d.cells), supervisor: s, failed: hasCriticalError(job), seen: 1,
					offset: -missing - m.hardness(job.Difficulty)}
				if !row.failed {
					row.pattern = t.pattern(job)
					row.terms = t.terms(jobKey{kind: jobEvent, pattern: row.pattern})
					row.perfect = isPerfect(row.pattern)
					missing = float64(missing * d.pop.Practice)
				}
				d.rows = append(d.rows, row)
			}
			cell.rows[1] = len(d.rows)
			d.cells = append(d.cells, cell)
		}
	}
	d.severity, d.se = make([]float64, len(d.supervisors)), make([]float64, len(d.supervisors))
	d.unseen = make([]float64, len(d.supervisors))
	return d
}

// isPerfect says whether a pattern shows nothing but steps done unaided.
func isPerfect(pattern string) bool {
	some := false
	for i := range len(pattern) {
		switch pattern[i] {
		case helped:
			return false
		case unaided, ticked:
			some = true
		}
	}
	return some
}

func (d *crossed) link(a, b int) {
	a, b = d.root(a), d.root(b)
	d.set[max(a, b)] = min(a, b)
}

func (d *crossed) root(a int) int {
	for d.set[a] != a {
		a = d.set[a]
	}
	return a
}

// look works out slope and curvature of a row's log-likelihood at the present values.
func (d *crossed) look(r *crossedRow) {
	cell := &d.cells[r.cell]
	t := d.tasks[cell.task]
	z := cell.ability + r.offset - d.severity[r.supervisor]
	pull, weight, ahead := 0.0, 0.0, 0.0
	if r.failed {
		p := logistic(z)
		pull, weight = -p, float64(p*(1-p))
	} else {
		for _, s := range r.terms {
			p := logistic(s.at - float64(s.slope*z))
			pull += float64(float64(s.weight*s.slope) * p)
			weight += float64(float64(s.weight*square(s.slope)) * float64(p*(1-p)))
			if r.perfect {
				ahead -= float64(s.weight * softplus(s.at-float64(s.slope*z)))
			}
		}
	}
	if r.perfect {
		u := d.unseen[r.supervisor]
		p := exp(ahead / math.Sqrt(1+square(t.Population.HaloSD)))
		r.seen = float64((1-u)*p) / (u + float64((1-u)*p))
	}
	shrink := r.seen / (1 + float64(weight*(square(t.Population.HaloSD)+square(t.Population.DaySD))))
	r.pull, r.weight = float64(pull*shrink), float64(weight*shrink)
}

// Strengths, in jobs, of what is believed of a supervisor's unseen records, and of a task beforehand.
const (
	unseenStrength = 6
	taskSpread     = 1.0
	stepSpread     = 0.5
)

// fit alternates Newton steps for abilities, tasks, supervisors and the chances of unseen records.
func (d *crossed) fit(unseen bool) {
	for i := range d.unseen {
		switch {
		case unseen && d.jobs[i] >= unseenJobs:
			d.unseen[i] = 0.5
		case unseen:
			d.unseen[i] = d.pop.Unseen
		}
	}
	spread := square(d.pop.GeneralSD) + square(d.pop.TaskSD)
	prior := 1 / spread
	severe := 1 / max(1e-4, square(d.pop.SeveritySD))
	for sweep := range crossedSweeps {
		for i := range d.cells {
			c := &d.cells[i]
			pull, strength := float64((d.pop.Ability+d.ease[c.task]-c.ability)*prior), prior
			for j := c.rows[0]; j < c.rows[1]; j++ {
				r := &d.rows[j]
				d.look(r)
				pull += r.pull
				strength += r.weight
			}
			c.strength = strength
			c.ability += max(-1, min(1, pull/strength))
		}
		sums, counts := make([]float64, len(d.tasks)), make([]float64, len(d.tasks))
		for i := range d.cells {
			c := &d.cells[i]
			sums[c.task] += c.ability - d.pop.Ability
			counts[c.task]++
		}
		for t := range d.tasks {
			d.ease[t] = sums[t] / (counts[t] + spread/square(taskSpread))
		}
		n := len(d.supervisors)
		pull, strength, sure := make([]float64, n), make([]float64, n), make([]float64, n)
		seen, perfect := make([]float64, n), make([]float64, n)
		for i := range d.rows {
			r := &d.rows[i]
			d.look(r)
			s := r.supervisor
			pull[s] -= r.pull
			strength[s] += r.weight
			sure[s] += float64(r.weight * max(0, 1-r.weight/d.cells[r.cell].strength))
			if r.perfect {
				seen[s] += r.seen
				perfect[s]++
			}
		}
		for s := range n {
			if unseen {
				d.unseen[s] = (perfect[s] - seen[s] + float64(unseenStrength*d.pop.Unseen)) / (float64(d.jobs[s]) + unseenStrength)
				if sweep < unseenFirst {
					continue
				}
			}
			d.severity[s] += max(-1, min(1, (pull[s]-float64(d.severity[s]*severe))/(strength[s]+severe)))
			d.se[s] = math.Sqrt(1 / (sure[s] + severe))
		}
		d.centre()
	}
}

// centre makes the mean severity of each linked set 0; abilities, being means over supervisors, follow by themselves.
func (d *crossed) centre() {
	sums, counts := map[int]float64{}, map[int]float64{}
	for s := range d.supervisors {
		sums[d.root(s)] += d.severity[s]
		counts[d.root(s)]++
	}
	for s := range d.supervisors {
		d.severity[s] -= sums[d.root(s)] / counts[d.root(s)]
	}
}

func (d *crossed) severities() []Severity {
	name := map[int]string{}
	for s, supervisor := range d.supervisors {
		if now, any := name[d.root(s)]; !any || supervisor < now {
			name[d.root(s)] = supervisor
		}
	}
	var all []Severity
	for s, supervisor := range d.supervisors {
		all = append(all, Severity{Supervisor: supervisor, Severity: roundTo(d.severity[s], 100), SE: roundTo(d.se[s], 100), Jobs: d.jobs[s],
			Set: name[d.root(s)], unseen: roundTo(d.unseen[s], 1000)})
	}
	slices.SortFunc(all, func(a, b Severity) int {
		return cmp.Or(cmp.Compare(a.Set, b.Set), cmp.Compare(a.Supervisor, b.Supervisor))
	})
	return all
}

// values are the severities as a snapshot holds them.
func (d *crossed) values() []SupervisorValue {
	var all []SupervisorValue
	for _, s := range d.severities() {
		all = append(all, SupervisorValue{Supervisor: s.Supervisor, Severity: max(-maxLogit, min(maxLogit, s.Severity)), SE: s.SE, Unseen: s.unseen})
	}
	return all
}
