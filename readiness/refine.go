package readiness

import (
	"math"
	"slices"
)

// refiner improves what is known of supervisors, tasks and steps, everything else given, with the abilities averaged over as the
// teacher sees them: expectation and maximisation (Dempster, Laird and Rubin 1977), for severities with the curvature from the
// scores themselves (Berndt, Hall, Hall and Hausman 1974).
type refiner struct {
	catalogue   *Catalogue
	policy      Policy
	evidence    [][]*evidence // of people, by task; events hold what is known of their supervisors
	supervisors []string      // sorted
	index       map[string]int
	set         []int // of each supervisor: the first of its linked set
	jobs        []int
	unseen      bool // whether perfect records may have been signed unseen
}

func newRefiner(c *Catalogue, policy Policy, people [][]*evidence, unseen bool) *refiner {
	r := &refiner{catalogue: c, policy: policy, evidence: people, index: map[string]int{}, unseen: unseen}
	each := func(act func(ev *event)) {
		for _, all := range people {
			for _, e := range all {
				for i := range e.events {
					if e.events[i].watched {
						act(&e.events[i])
					}
				}
			}
		}
	}
	each(func(ev *event) {
		if _, known := r.index[ev.supervisor]; !known {
			r.index[ev.supervisor] = 0
			r.supervisors = append(r.supervisors, ev.supervisor)
		}
	})
	slices.Sort(r.supervisors)
	for i, s := range r.supervisors {
		r.index[s] = i
		r.set = append(r.set, i)
	}
	r.jobs = make([]int, len(r.supervisors))
	each(func(ev *event) { r.jobs[r.index[ev.supervisor]]++ })
	for _, all := range people {
		first := -1
		for _, e := range all {
			for i := range e.events {
				if !e.events[i].watched {
					continue
				}
				s := r.index[e.events[i].supervisor]
				if first < 0 {
					first = s
				}
				a, b := r.root(first), r.root(s)
				r.set[max(a, b)] = min(a, b)
			}
		}
	}
	return r
}

func (r *refiner) root(a int) int {
	for r.set[a] != a {
		a = r.set[a]
	}
	return a
}

// sums are what one pass over people comes to.
type sums struct {
	pull, info, asleep []float64 // by supervisor
	ability, people    []float64 // by task: of the means of ability; of those with evidence
	more, weight       [][]float64
	seen, slept        [2]float64 // jobs that were seen, and that were not; of these with critical steps ticked in bulk
}

func newSums(supervisors int, tasks []*taskModel) *sums {
	s := &sums{pull: make([]float64, supervisors), info: make([]float64, supervisors), asleep: make([]float64, supervisors),
		ability: make([]float64, len(tasks)), people: make([]float64, len(tasks))}
	for _, t := range tasks {
		s.more, s.weight = append(s.more, make([]float64, len(t.facts.Steps))), append(s.weight, make([]float64, len(t.facts.Steps)))
	}
	return s
}

func (s *sums) add(o *sums) {
	plus := func(a, b []float64) {
		for i := range a {
			a[i] += b[i]
		}
	}
	plus(s.pull, o.pull)
	plus(s.info, o.info)
	plus(s.asleep, o.asleep)
	plus(s.ability, o.ability)
	plus(s.people, o.people)
	plus(s.seen[:], o.seen[:])
	plus(s.slept[:], o.slept[:])
	for t := range s.more {
		plus(s.more[t], o.more[t])
		plus(s.weight[t], o.weight[t])
	}
}

// pass goes over everybody once.
func (r *refiner) pass(p Parameters) (*sums, *teacher) {
	parts := make([]*sums, workers)
	var teachers [workers]*teacher
	shared(func(w int) {
		f := newTeacher(r.catalogue, r.policy, p)
		teachers[w], parts[w] = f, newSums(len(r.supervisors), f.tasks)
		from, to := len(r.evidence)*w/workers, len(r.evidence)*(w+1)/workers
		v := newRefining(f, r, parts[w])
		for _, all := range r.evidence[from:to] {
			v.person(all)
		}
	})
	for _, part := range parts[1:] {
		parts[0].add(part)
	}
	return parts[0], teachers[0]
}

// refining is one worker's pass.
type refining struct {
	f       *teacher
	r       *refiner
	sums    *sums
	help    [][][]float64 // by task and step: the chance of help by how far ability exceeds what the job asks
	scores  []float64     // of one person, by supervisor
	touched []int
	z, mix  []float64
}

func newRefining(f *teacher, r *refiner, s *sums) *refining {
	n := len(f.model.ability.points)
	v := &refining{f: f, r: r, sums: s, scores: make([]float64, len(r.supervisors)), z: make([]float64, n), mix: make([]float64, n)}
	pop := &f.model.Population
	for _, t := range f.tasks {
		var of [][]float64
		for i := range t.facts.Steps {
			ease := pop.HelpOrdinary
			if t.critical[i] {
				ease = pop.HelpCritical
			}
			at := make([]float64, n)
			for j, x := range t.ability.points {
				at[j] = logistic(-float64(pop.HelpSlope*(x-t.harder[i])) - ease)
			}
			of = append(of, t.shaken(at, 0))
		}
		v.help = append(v.help, of)
	}
	return v
}

func (v *refining) person(all []*evidence) {
	densities := v.f.densities(all)
	m := v.f.model
	for task, e := range all {
		if e.nothing() {
			continue
		}
		t, density := v.f.tasks[task], densities[task]
		mean := 0.0
		for _, of := range density {
			for i, x := range t.ability.points {
				mean += float64(of[i] * x)
			}
		}
		v.sums.ability[task] += mean
		v.sums.people[task]++
		learned := m.memory(1)
		done := 0
		for i := range e.events {
			ev := &e.events[i]
			for ; done < len(e.attempts) && e.attempts[done] < ev.on; done++ {
				learned.practise(e.attempts[done])
			}
			if !ev.watched {
				continue
			}
			record := v.f.record(task, ev)
			score, asleep, z := 0.0, 0.0, mean-t.hardness(ev.difficulty)-ev.severity
			watch := v.f.watching(task, ev)
			missing := learned.missing(ev.on)
			for c, of := range density {
				harder := missing[c] + t.hardness(ev.difficulty) + ev.severity
				t.ability.shifted(v.mix, record, harder)
				// the slope of the record's chance, in the middle of two points
				t.ability.shifted(v.z, record, harder-t.ability.step/2)
				below := t.ability.at(record, t.ability.points[0]-harder-t.ability.step/2)
				for j, w := range of {
					slope := (v.z[j] - below) / t.ability.step
					below = v.z[j]
					chance := float64(watch.awake*v.mix[j]) + watch.asleep
					slope = float64(watch.awake * slope)
					share := w / max(chance, 1e-12)
					asleep += float64(share * watch.asleep)
					score -= float64(share * slope)
					z -= float64(w * missing[c])
				}
			}
			s := v.r.index[ev.supervisor]
			if v.scores[s] == 0 {
				v.touched = append(v.touched, s)
			}
			v.scores[s] += score
			v.sums.asleep[s] += asleep
			if ev.kind == jobEvent {
				v.sums.seen[0] += 1 - asleep
				v.sums.slept[0] += asleep
				if watch.bulk {
					v.sums.seen[1] += 1 - asleep
					v.sums.slept[1] += asleep
				}
				v.steps(task, ev, z, 1-asleep)
			}
		}
	}
	for _, s := range v.touched {
		v.sums.pull[s] += v.scores[s]
		v.sums.info[s] += square(v.scores[s])
		v.scores[s] = 0
	}
	v.touched = v.touched[:0]
}

// steps adds how often help was needed at each step, beyond what was to be expected.
func (v *refining) steps(task int, ev *event, z, seen float64) {
	t := v.f.tasks[task]
	for i, at := range v.help[task] {
		c := ev.pattern[i]
		if c == notSeen {
			continue
		}
		foreseen := t.ability.at(at, z)
		if c == helped {
			v.sums.more[task][i] += float64(seen * (1 - foreseen))
		} else {
			v.sums.more[task][i] -= float64(seen * foreseen)
		}
		v.sums.weight[task][i] += float64(seen * float64(foreseen*(1-foreseen)))
	}
}

// refine makes so many passes and puts what they find into the parameters. Severities have the mean 0 within a linked set;
// tasks are left alone unless asked for.
func (r *refiner) refine(p *Parameters, passes int, tasks bool) {
	values := map[string]*SupervisorValue{}
	for i := range p.Supervisors {
		values[p.Supervisors[i].Supervisor] = &p.Supervisors[i]
	}
	prior := 1 / max(1e-4, square(p.Population.SeveritySD))
	for range passes {
		r.know(*p)
		s, f := r.pass(*p)
		for i, name := range r.supervisors {
			v := values[name]
			strength := s.info[i] + prior
			v.Severity += max(-0.5, min(0.5, (s.pull[i]-float64(v.Severity*prior))/strength))
			v.SE = roundTo(math.Sqrt(1/strength), 20)
			if r.unseen {
				v.Unseen = (s.asleep[i] + float64(unseenStrength*p.Population.Unseen)) / (float64(r.jobs[i]) + unseenStrength)
			}
		}
		r.centre(values)
		if tasks {
			const held = 20 // jobs' worth of the prior
			prior := DefaultParameters().Population
			p.Population.BulkSeen = roundTo((s.seen[1]+float64(held*prior.BulkSeen))/(s.seen[0]+held), 1000)
			p.Population.BulkUnseen = roundTo((s.slept[1]+float64(held*prior.BulkUnseen))/(s.slept[0]+held), 1000)
			r.adoptTasks(p, s, f)
		}
	}
	for i := range p.Supervisors {
		v := &p.Supervisors[i]
		v.Severity, v.SE, v.Unseen = roundTo(max(-maxLogit, min(maxLogit, v.Severity)), 100), roundTo(v.SE, 100), roundTo(v.Unseen, 1000)
	}
	r.know(*p)
}

// know puts what is known of supervisors into the events.
func (r *refiner) know(p Parameters) {
	m := map[string]*SupervisorValue{}
	for i := range p.Supervisors {
		m[p.Supervisors[i].Supervisor] = &p.Supervisors[i]
	}
	for _, all := range r.evidence {
		for _, e := range all {
			for i := range e.events {
				if ev := &e.events[i]; ev.watched {
					v := m[ev.supervisor]
					ev.severity, ev.se, ev.unseen = v.Severity, roundTo(v.SE, 20), v.Unseen
				}
			}
		}
	}
}

func (r *refiner) centre(values map[string]*SupervisorValue) {
	sums, counts := make([]float64, len(r.supervisors)), make([]float64, len(r.supervisors))
	for i, name := range r.supervisors {
		sums[r.root(i)] += values[name].Severity
		counts[r.root(i)]++
	}
	for i, name := range r.supervisors {
		values[name].Severity -= sums[r.root(i)] / counts[r.root(i)]
	}
}

// adoptTasks takes from a pass how easy tasks and how difficult steps are; the mean of both is 0.
func (r *refiner) adoptTasks(p *Parameters, s *sums, f *teacher) {
	spread := square(p.Population.GeneralSD) + square(p.Population.TaskSD)
	var ease []float64
	mean := 0.0
	for i := range f.tasks {
		of := (s.ability[i] - float64(s.people[i]*p.Population.Ability)) / (s.people[i] + spread/square(taskSpread))
		ease = append(ease, of)
		mean += of / float64(len(f.tasks))
	}
	p.Tasks, p.Steps = nil, nil
	more, weight := map[string]float64{}, map[string]float64{} // a step of several tasks is one step
	for i, t := range f.tasks {
		for j, step := range t.facts.Steps {
			more[step.Step] += s.more[i][j]
			weight[step.Step] += s.weight[i][j]
		}
	}
	given := map[string]bool{}
	slope := p.Population.HelpSlope
	for i, t := range f.tasks {
		p.Tasks = append(p.Tasks, TaskValue{Task: t.facts.Task, Ease: roundTo(max(-maxLogit, min(maxLogit, ease[i]-mean)), 100)})
		var harder []float64
		mean := 0.0
		for j, step := range t.facts.Steps {
			const prior = 1 / (stepSpread * stepSpread)
			h := t.harder[j]
			h += max(-0.5, min(0.5, (float64(slope*more[step.Step])-float64(h*prior))/(float64(square(slope)*weight[step.Step])+prior)))
			harder = append(harder, h)
			mean += h / float64(len(t.facts.Steps))
		}
		for j, h := range harder {
			if step := t.facts.Steps[j].Step; !given[step] {
				given[step] = true
				p.Steps = append(p.Steps, StepValue{Step: step, Difficulty: roundTo(max(-maxLogit, min(maxLogit, h-mean)), 100)})
			}
		}
	}
	p.sort()
}

// spreadOfSeverity takes the spread of severities from what is known of supervisors with enough jobs.
func (r *refiner) spreadOfSeverity(p *Parameters) {
	sum, n := 0.0, 0.0
	for _, v := range p.Supervisors {
		if r.jobs[r.index[v.Supervisor]] >= unseenJobs {
			sum += square(v.Severity) + square(v.SE)
			n++
		}
	}
	const held = 3 // supervisors' worth of the prior
	prior := DefaultParameters().Population.SeveritySD
	p.Population.SeveritySD = roundTo(min(2, math.Sqrt((sum+float64(held*square(prior)))/(n+held))), 1000)
}
