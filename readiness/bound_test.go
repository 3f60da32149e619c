package readiness

import (
	"math"
	"math/rand/v2"
	"sort"
)

// The bound: what a judge could say who knows how the simulator works and all its population values, every task's and
// supervisor's own values included, and who sees the same records. Posterior by weighing well-spread draws of the hidden values
// (a Halton sequence).

const (
	boundNodes  = 13
	boundDraws  = 400
	boundShocks = 31
)

type bound1 struct {
	s        *simulated
	general  []float64   // nodes of the general part
	prior    []float64   // weights of them
	draws    [][]simTask // by node of the general part
	supports []float64   // of shocks
}

func halton(i, base int) float64 {
	x, f := 0.0, 1.0
	for ; i > 0; i /= base {
		f /= float64(base)
		x += f * float64(i%base)
	}
	return x
}

func newBound(s *simulated) *bound1 {
	w := &s.world
	b := &bound1{s: s}
	for i := range boundNodes {
		x := 0.45 * float64(i-boundNodes/2) // spreads from the mean
		b.general, b.prior = append(b.general, w.general*x), append(b.prior, math.Exp(-x*x/2))
		var ds []simTask
		for d := range boundDraws {
			at := d*boundNodes + i + 20
			ds = append(ds, simTask{
				world: w, plateau: w.plateau + b.general[i] + w.task*normalQuantile(halton(at, 2)),
				learn: w.learnFrom + (w.learnTo-w.learnFrom)*halton(at, 3), pace: math.Exp(w.pace + w.paceSpread*normalQuantile(halton(at, 5))),
				forget: w.forgetFrom + (w.forgetTo-w.forgetFrom)*halton(at, 7),
			})
		}
		b.draws = append(b.draws, ds)
	}
	r := rand.New(rand.NewPCG(99, 1))
	var shocks []float64
	for range boundShocks * 2000 {
		shocks = append(shocks, w.day*w.shock(r)+w.halo*w.shock(r))
	}
	sort.Float64s(shocks)
	for i := range boundShocks {
		mean := 0.0
		for _, x := range shocks[i*2000 : (i+1)*2000] {
			mean += x / 2000
		}
		b.supports = append(b.supports, mean)
	}
	return b
}

func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// record tabulates the chance of a job's record by ability, from −4 in steps of 0.2.
func (b *bound1) record(t int, j simJob) []float64 {
	s := b.s
	w := &s.world
	table := make([]float64, 71)
	u := s.sleepy[j.supervisor]
	bulk := false
	for _, st := range j.record.Steps {
		bulk = bulk || st.Bulk
	}
	for i := range table {
		sum := 0.0
		for _, e := range b.supports {
			z := -4 + 0.2*float64(i) + e - s.hardness(j.difficulty) - s.severity[j.supervisor]
			p := 1.0
			for k, st := range j.record.Steps {
				h := s.stepHarder[t][k]
				if k < w.critical {
					safe := w.safe(z, h)
					if st.CriticalError {
						p *= 1 - safe
						continue
					}
					p *= safe
				}
				if st.Result == "prompted" {
					p *= w.helped(z, h)
				} else {
					p *= 1 - w.helped(z, h)
				}
			}
			sum += p
		}
		ticksAwake, ticksAsleep := 0.97, 0.485
		if bulk {
			ticksAwake, ticksAsleep = 0.03, 0.515
		}
		table[i] = (1 - u) * ticksAwake * sum / float64(len(b.supports))
		if j.clean {
			table[i] += u * ticksAsleep
		}
	}
	return table
}

func lookUp(table []float64, x float64) float64 {
	p := max(0, min(float64(len(table))-1.001, (x+4)/0.2))
	i := int(p)
	return table[i] + (p-float64(i))*(table[i+1]-table[i])
}

// given is the chance that somebody of this ability is given a job of this difficulty.
func given(difficulty string, theta float64) float64 {
	able := 0.15 * math.Tanh((theta-3)/2)
	switch difficulty {
	case "awkward":
		return 0.2 + able
	case "routine":
		return 0.3 - able
	}
	return 0.5
}

// answers weighs right and wrong answers, by node and draw.
func (b *bound1) answers(right, wrong int, ease float64) [][]float64 {
	w := make([][]float64, boundNodes)
	for g := range w {
		w[g] = make([]float64, boundDraws)
		for d, x := range b.draws[g] {
			for i := range 9 {
				k := b.s.world.knowledge(b.general[g], x.plateau+ease) + b.s.world.blind*normalQuantile((float64(i)+0.5)/9)
				q := 1 / (1 + math.Exp(-k))
				w[g][d] += math.Pow(q, float64(right)) * math.Pow(1-q, float64(wrong))
			}
		}
	}
	return w
}

// boundCell is what the bound knows of an apprentice at a task.
type boundCell struct {
	p     *simTask
	ease  float64
	after [][][]float64 // weights of jobs, after so many of them, by node and draw
	known map[day][][]float64
	dated map[int][][]float64 // of answers, by how many tests
}

func (b *bound1) cell(a, t int) *boundCell {
	p := b.s.people[a][t]
	c := &boundCell{p: p, ease: b.s.ease[t], dated: map[int][][]float64{}, known: map[day][][]float64{}}
	w := make([][]float64, boundNodes)
	for g := range w {
		w[g] = make([]float64, boundDraws)
		for d := range w[g] {
			w[g][d] = 1
		}
	}
	c.after = append(c.after, w)
	last := p.start
	for n, j := range p.jobs {
		table := b.record(t, j)
		next := make([][]float64, boundNodes)
		top := 0.0
		for g := range w {
			next[g] = make([]float64, boundDraws)
			for d := range b.draws[g] {
				theta := b.draws[g][d].abilityAfter(float64(n), float64(j.on-last)) + c.ease
				next[g][d] = w[g][d] * lookUp(table, theta) * given(j.difficulty, theta)
				top = max(top, next[g][d])
			}
		}
		for g := range next {
			for d := range next[g] {
				next[g][d] /= top
			}
		}
		last, w = j.on, next
		c.after = append(c.after, w)
	}
	return c
}

func (c *boundCell) jobs(on day) (n int, last day) {
	last = c.p.start
	for _, j := range c.p.jobs {
		if j.on <= on {
			n++
			last = j.on
		}
	}
	return n, last
}

// weights of everything up to a day.
func (b *bound1) weights(c *boundCell, on day) [][]float64 {
	if w := c.known[on]; w != nil {
		return w
	}
	n, _ := c.jobs(on)
	tests := 0
	for _, x := range c.p.tests {
		if x.on <= on {
			tests++
		}
	}
	if c.dated[tests] == nil {
		right, wrong, _ := c.p.answers(on)
		c.dated[tests] = b.answers(right, wrong, c.ease)
	}
	out := make([][]float64, boundNodes)
	top := 0.0
	for g, w := range c.after[n] {
		out[g] = make([]float64, boundDraws)
		for d, x := range w {
			out[g][d] = x * c.dated[tests][g][d]
			top = max(top, out[g][d])
		}
	}
	for g := range out {
		for d := range out[g] {
			out[g][d] /= top
		}
	}
	c.known[on] = out
	return out
}

// confident is the chance that the chance is at least 0.95 on a day.
func (b *bound1) confident(cells []*boundCell, t int, on day) float64 {
	up, all := 0.0, 0.0
	c := cells[t]
	n, last := c.jobs(on)
	var others [boundNodes]float64
	for g := range others {
		others[g] = b.prior[g]
	}
	for o := range cells {
		if o == t {
			continue
		}
		for g, ws := range b.weights(cells[o], on) {
			sum := 0.0
			for _, w := range ws {
				sum += w
			}
			others[g] *= sum
		}
	}
	for g, ws := range b.weights(c, on) {
		for d, w := range ws {
			all += others[g] * w
			if w > 0 && b.s.chanceAt(t, b.draws[g][d].abilityAfter(float64(n), float64(on-last))+c.ease) >= 0.95 {
				up += others[g] * w
			}
		}
	}
	if all == 0 {
		return 0
	}
	return up / all
}
