package readiness

import "slices"

// lesson is what the judge learns from hindsight: for apprentices, tasks and dates, what was known then, and how sure the
// teacher is, by everything that is known now, that the chance was at the target then.
type lesson struct {
	catalogue *Catalogue
	policy    Policy
	trials    []trial
}

// trial is one apprentice on one date.
type trial struct {
	evidence []*evidence // of the date, by task
	today    day
	was      []float64 // by task: the teacher's chance that the chance was at the target
}

// Dates are at least so far apart, and no more than so many.
const (
	lessonDays  = 28
	lessonDates = 18
)

// newLesson is the lesson of these people; evidence is all that is known of them, by task.
func newLesson(c *Catalogue, policy Policy, records []Record, names []string, evidence [][]*evidence, p Parameters) *lesson {
	l := &lesson{catalogue: c, policy: policy}
	f := newTeacher(c, policy, p)
	densities := map[string][]hindsight{}
	for i, name := range names {
		densities[name] = f.densities(evidence[i])
	}
	for _, date := range lessonDatesOf(records) {
		everybody := resolve(records, date.String())
		for _, name := range names {
			held := everybody[name]
			if held == nil {
				continue // nothing was known yet
			}
			t := trial{evidence: f.gathered(gather(held)), today: date}
			for i, task := range f.tasks {
				target := *policy.Task(task.facts.Task).Target
				t.was = append(t.was, task.hindsightSure(densities[name][i], f.model.deficits(t.evidence[i].attempts, date), target))
			}
			l.trials = append(l.trials, t)
		}
	}
	return l
}

// lessonDatesOf are days from the first record to the last, evenly spread.
func lessonDatesOf(evidence []Record) []day {
	last := toDay(lastDay(evidence))
	first := last
	for i := range evidence {
		first = min(first, toDay(dateOf(&evidence[i])))
	}
	n := min(lessonDates, max(1, int(last-first)/lessonDays))
	var all []day
	for i := range n {
		all = append(all, last-day(int(last-first)*i/n))
	}
	slices.Reverse(all)
	return all
}

func (l *lesson) judged() int {
	n := 0
	for _, t := range l.trials {
		n += len(t.was)
	}
	return n
}

// opinion is what the judge said and what the teacher says.
type opinion struct{ up, down, was float64 } // up + down = 1

// opinions of the judge with these parameters, its own confidence as yet not brought in line; of every so-manieth trial.
func (l *lesson) opinions(p Parameters, every int) []opinion {
	p.Population.SureUp, p.Population.SureDown, p.Population.SureShift = 1, 1, 0
	parts := make([][]opinion, workers)
	shared(func(w int) {
		f := newTeacher(l.catalogue, l.policy, p)
		from, to := len(l.trials)*w/workers, len(l.trials)*(w+1)/workers
		for i := from; i < to; i++ {
			if i%every == 0 {
				parts[w] = append(parts[w], f.judged(&l.trials[i], l.policy)...)
			}
		}
	})
	return slices.Concat(parts...)
}

// judged is what the judge says of a trial, by task.
func (f *teacher) judged(x *trial, policy Policy) []opinion {
	likelihoods := make([][]float64, len(f.tasks))
	for i, t := range f.tasks {
		if !x.evidence[i].nothing() {
			likelihoods[i] = t.likelihood(x.evidence[i])
		}
	}
	out := make([]opinion, len(f.tasks))
	for i, t := range f.tasks {
		of := likelihoods[i]
		if of == nil {
			of = ones(len(t.ability.points))
		}
		density := t.density(f.model.generalFrom(f.tasks, likelihoods, i), of)
		c := t.sure(t.now(density, f.model.owed(x.evidence[i].practice, x.today)), *policy.Task(t.facts.Task).Target)
		out[i] = opinion{up: max(c, 1e-9), down: max(1-c, 1e-9), was: x.was[i]}
	}
	return out
}

// studied are the values of the judge alone, with the scale on which they are moved.
var studied = map[string]float64{"catch_up": 0.3, "catch_rate": 0.1, "catch_step": 0.1, "catch_base": 0.2, "owed": 0.2, "idle": 0.5, "early": 0.2, "error": 0.15, "fade": 0.1}

const (
	lessonSweeps = 4
	lessonEvery  = 6 // of the trials, while values are searched for
)

// teach sets the judge so that it agrees best with the teacher. It says how far they were apart, and are.
func (l *lesson) teach(p *Parameters) [2]float64 {
	before := distance(&p.Population, l.opinions(*p, 1))
	try := func(p Parameters) float64 {
		all := l.opinions(p, lessonEvery)
		alignWith(&p.Population, all)
		return surprise(&p.Population, all)
	}
	best := try(*p)
	other := *p // the other start: as the teacher sees learning
	other.Population.CatchUp, other.Population.CatchRate = min(3, p.Population.Deficit), p.Population.Practice
	other.Population.CatchStep, other.Population.CatchBase = max(0.3, p.Population.Practice), 0.4
	if now := try(other); now < best {
		best, *p = now, other
	}
	for sweep := range lessonSweeps {
		for _, name := range []string{"owed", "idle", "early", "catch_up", "error", "fade", "catch_rate", "catch_step", "catch_base"} {
			for _, way := range []float64{1, -1} {
				moved := false
				for range 3 {
					now := *p
					for _, b := range now.Population.bounds() {
						if b.name == name {
							step := studied[name] * way / float64(int(1)<<sweep)
							*b.value = roundTo(max(b.from, min(b.to, *b.value+step)), 1000)
						}
					}
					if now.Population == p.Population {
						break
					}
					got := try(now)
					if got >= best {
						break
					}
					best, *p, moved = got, now, true
				}
				if moved {
					break
				}
			}
		}
	}
	all := l.opinions(*p, 1)
	alignWith(&p.Population, all)
	return [2]float64{roundTo(before, 10000), roundTo(distance(&p.Population, all), 10000)}
}

// surprise is the mean logarithmic loss of what the judge says, brought in line, if the teacher is right.
func surprise(p *Population, all []opinion) float64 {
	sum := 0.0
	for _, o := range all {
		c := min(max(lineUp(p, o.up, o.down), 1e-6), 1-1e-6)
		sum -= float64(o.was*log(c)) + float64((1-o.was)*log(1-c))
	}
	return sum / float64(max(1, len(all)))
}

// distance is the mean squared distance of the judge from the teacher.
func distance(p *Population, all []opinion) float64 {
	sum := 0.0
	for _, o := range all {
		sum += square(lineUp(p, o.up, o.down) - o.was)
	}
	return sum / float64(max(1, len(all)))
}

// alignWith finds the values of [model.inLine] with which the judge agrees best: logistic regression of the teacher's
// opinion on the logarithms of the judge's, by Newton steps, lightly held at "taken as it is".
func alignWith(p *Population, all []opinion) {
	x := inLineSearch{sweeps: 12, held: 3, stride: 1, least: 0.2, shift: 4}.run(func(x [3]float64, pull *[3]float64, weigh *[3][3]float64) {
		for _, o := range all {
			by := [3]float64{log(o.up), -log(o.down), 1}
			c := logistic(float64(x[0]*by[0]) + float64(x[1]*by[1]) + x[2])
			for i := range 3 {
				pull[i] += float64((o.was - c) * by[i])
				for j := range 3 {
					weigh[i][j] += float64(float64(c*(1-c)) * float64(by[i]*by[j]))
				}
			}
		}
	})
	p.SureDown, p.SureUp, p.SureShift = roundTo(x[0], 1000), roundTo(x[1], 1000), roundTo(x[2], 1000)
}

// inLineSearch finds, by Newton steps or scoring, the three values that bring a chance in line with what was seen: the
// powers of c and of 1 − c ("down", "up") and the shift. They are held at "taken as it is" (1, 1, 0) as if by so much
// information.
type inLineSearch struct {
	sweeps int
	held   float64
	stride float64 // the longest step of a sweep in each value
	least  float64 // of the powers; at most 3
	shift  float64 // of the shift, up or down
}

// run asks at each sweep for the slopes and the information at x, to be added to pull and weigh.
func (s inLineSearch) run(at func(x [3]float64, pull *[3]float64, weigh *[3][3]float64)) [3]float64 {
	x := [3]float64{1, 1, 0} // down, up, shift
	for range s.sweeps {
		var pull [3]float64
		var weigh [3][3]float64
		for i, from := range [3]float64{1, 1, 0} {
			pull[i] = float64(s.held * (from - x[i]))
			weigh[i][i] = s.held
		}
		at(x, &pull, &weigh)
		step := solve([][]float64{weigh[0][:], weigh[1][:], weigh[2][:]}, pull[:])
		for i := range 3 {
			x[i] += max(-s.stride, min(s.stride, step[i]))
		}
		x[0], x[1], x[2] = min(max(x[0], s.least), 3), min(max(x[1], s.least), 3), min(max(x[2], -s.shift), s.shift)
	}
	return x
}

// solve solves a × x = b for a positive definite a, by elimination. Both are used up.
func solve(a [][]float64, b []float64) []float64 {
	n := len(b)
	for i := range n {
		for j := i + 1; j < n; j++ {
			by := a[j][i] / a[i][i]
			for k := i; k < n; k++ {
				a[j][k] -= float64(by * a[i][k])
			}
			b[j] -= float64(by * b[i])
		}
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			b[i] -= float64(a[i][k] * b[k])
		}
		b[i] = b[i] / a[i][i]
	}
	return b
}
