package readiness

// learner is one of the ways in which an apprentice may learn a task. Nobody's is known beforehand; each has a weight.
type learner struct {
	weight  float64
	deficit float64   // what is missing before the first practice
	gained  []float64 // what is learned by so many practices, if nothing is forgotten; more count as maxLater
}

// paces and reaches are what stands for a normal spread: three points with the same mean and variance, and two.
var (
	paces   = []float64{-1.2247448713915890, 0, 1.2247448713915890}
	reaches = []float64{-1, 1}
)

// learners are all ways of learning, from the population's values. Of the whole deficit, e^−(practices ÷ pace)^"curve" is left after so many
// practices (a stretched exponential).
func learners(pop *Population) []learner {
	quick, far := paces, reaches
	if pop.PaceSD == 0 {
		quick = []float64{0}
	}
	if pop.DeficitSD == 0 || pop.Deficit == 0 {
		far = []float64{0}
	}
	var all []learner
	mean := -1 / log(pop.Practice) // practices after which 63 % of it is learned
	for _, x := range quick {
		pace := float64(mean * exp(float64(pop.PaceSD*x)))
		for _, y := range far {
			l := learner{
				weight: 1 / float64(len(quick)*len(far)), deficit: max(0, pop.Deficit+float64(pop.DeficitSD*y)),
				gained: make([]float64, maxLater+1),
			}
			for n := range l.gained {
				l.gained[n] = float64(l.deficit * (1 - exp(-raised(float64(n)/pace, pop.Curve))))
			}
			all = append(all, l)
		}
	}
	return all
}

// raised is x^y for x from 0.
func raised(x, y float64) float64 {
	switch {
	case x <= 0:
		return 0
	case y == 1:
		return x
	}
	return exp(float64(y * log(x)))
}

// memory is what practice has left, on the day of the last one. For each practice it holds the idle days that still tell on what
// was learned from it on: each later practice takes off the share "savings" of them, so that relearning is faster than learning.
type memory struct {
	of                      []learner
	savings, retained, half float64 // half: days until half of what is not retained is gone
	rust                    []float64
	last                    day
}

// memory of somebody who has not practised yet, to whom idle days count so many times.
func (m *model) memory(idle float64) *memory {
	pop := &m.Population
	return &memory{of: m.learners, savings: pop.Savings, retained: pop.Retained, half: pop.ForgetDays / idle}
}

// practise adds one practice on a day, not before the last.
func (m *memory) practise(on day) {
	for i, idle := range m.rust {
		m.rust[i] = float64((1 - m.savings) * (idle + float64(on-m.last)))
	}
	m.rust, m.last = append(m.rust, 0), on
}

// missing is what is missing on a day for want of practice, by way of learning. What was learned shrinks in idle time, along a hyperbola,
// towards the share "retained" of it; half of the rest is gone after "forget_days". Earlier practices teach and rust: what
// counts are those, from one of them on, that leave most. So one more practice never leaves more missing.
func (m *memory) missing(today day) []float64 {
	out := make([]float64, len(m.of))
	for i, l := range m.of {
		out[i] = l.deficit
	}
	for i, rust := range m.rust {
		idle := rust + max(0, float64(today-m.last))
		kept := m.retained + float64((1-m.retained)*(m.half/(m.half+idle)))
		for j, l := range m.of {
			out[j] = min(out[j], l.deficit-float64(kept*l.gained[min(len(m.rust)-i, maxLater)]))
		}
	}
	return out
}

// deficits are what is missing on a day after practice on these, by way of learning.
func (m *model) deficits(practice []day, today day) []float64 {
	return m.after(practice, 1, today)
}

// owed is what the judge takes off for want of practice, by way of learning: the weights stay what they were beforehand, since
// what the records say of them would break the promises (see "Why the properties hold").
func (m *model) owed(practice []day, today day) []float64 {
	out := m.after(practice, m.Population.Idle, today)
	for i, x := range out {
		out[i] = float64(m.Population.Owed * x)
	}
	return out
}

func (m *model) after(practice []day, idle float64, today day) []float64 {
	all := m.memory(idle)
	for _, on := range practice {
		all.practise(on)
	}
	return all.missing(today)
}

// hindsight is a density over ways of learning and ability in practice, with sum 1.
type hindsight [][]float64

// hindsightSure is the chance that the chance is at least the target when so much is missing.
func (t *taskModel) hindsightSure(h hindsight, missing []float64, target float64) float64 {
	needed, ever := t.ability.reach(t.chance, target)
	if !ever {
		return 0
	}
	sum := 0.0
	for i, of := range h {
		sum += t.ability.above(of, needed+missing[i])
	}
	return sum
}
