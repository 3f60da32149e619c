package readiness

// learner is one of the ways in which an apprentice may learn a task. Nobody's is known beforehand; each has a weight.
type learner struct {
	weight    float64
	deficit   float64 // what is missing before the first practice
	pace      float64 // practice's worth after which 63 % of it is learned
	forgotten float64 // what is missing after a long idle time
}

// paces and reaches are what stands for a normal spread: three points with the same mean and variance, and two.
var (
	paces   = []float64{-1.2247448713915890, 0, 1.2247448713915890}
	reaches = []float64{-1, 1}
)

// learners are all ways of learning, from the population's values.
func learners(pop *Population) []learner {
	quick, far := paces, reaches
	if pop.PaceSD == 0 {
		quick = []float64{0}
	}
	if pop.DeficitSD == 0 || pop.Deficit == 0 {
		far = []float64{0}
	}
	var all []learner
	mean := -1 / log(pop.Practice)
	for _, x := range quick {
		for _, y := range far {
			d := max(0, pop.Deficit+float64(pop.DeficitSD*y))
			all = append(all, learner{
				weight: 1 / float64(len(quick)*len(far)), deficit: d,
				pace:      float64(mean * exp(float64(pop.PaceSD*x))),
				forgotten: float64(d * (1 - pop.Retained)),
			})
		}
	}
	return all
}

// memory is how much is learned at a moment: worth is the practice that it is worth.
type memory struct {
	*learner
	pop   *Population
	worth float64
	last  day
	begun bool
}

// missing is what is missing on a day, for want of practice: of the whole e^−(worth ÷ pace)^"curve" is left (a stretched
// exponential), growing again in idle time towards what is not retained.
func (m *memory) missing(today day) float64 {
	if !m.begun {
		return m.deficit
	}
	left := float64(m.deficit * exp(-raised(m.worth/m.pace, m.pop.Curve)))
	return forget(left, m.forgotten, today-m.last, m.pop.ForgetDays)
}

// practise adds one practice on a day, not before the last.
func (m *memory) practise(on day) {
	if m.begun && on > m.last && m.deficit > 0 {
		if share := -log(m.missing(on) / m.deficit); share > 0 {
			m.worth = min(m.worth, float64(m.pace*raised(share, 1/m.pop.Curve)))
		} else {
			m.worth = 0
		}
	}
	m.worth, m.last, m.begun = m.worth+1, on, true
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

func forget(left, forgotten float64, days day, scale float64) float64 {
	if left >= forgotten || days <= 0 {
		return left
	}
	return forgotten - float64((forgotten-left)*exp(-float64(days)/scale))
}

// memories are those of each way of learning, before any practice.
func (m *model) memories() []memory {
	all := make([]memory, len(m.learners))
	for i := range m.learners {
		all[i] = memory{learner: &m.learners[i], pop: &m.Population}
	}
	return all
}

// deficits are what is missing on a day, by way of learning.
func (m *model) deficits(practice []day, today day) []float64 {
	out := make([]float64, len(m.learners))
	for i, s := range m.memories() {
		for _, on := range practice {
			s.practise(on)
		}
		out[i] = s.missing(today)
	}
	return out
}

// owed is what the judge takes off for want of practice, by way of learning: the weights stay what they were beforehand, since
// what the records say of them would break the promises (see "Why the properties hold").
func (m *model) owed(practice []day, today day) []float64 {
	out := m.deficits(practice, today)
	for i, x := range out {
		out[i] = float64(m.Population.Owed * x)
	}
	return out
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
