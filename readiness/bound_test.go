package readiness

import (
	"math"
	"math/rand/v2"
	"sort"
)

// The bound: what a judge could say who knows how the simulator works and all its population values, every supervisor's
// severity and sleep included, and who sees the same records. Posterior by weighing draws of the hidden values.

const (
	boundNodes  = 7
	boundDraws  = 160
	boundShocks = 31
)

type boundDraw struct{ plateau, learn, pace, forget float64 }

type bound1 struct {
	s        *simulated
	general  []float64
	draws    [][]boundDraw // by node of the general part
	shocks   []float64
	supports []float64
}

func newBound(s *simulated) *bound1 {
	r := rand.New(rand.NewPCG(99, 1))
	b := &bound1{s: s}
	for i := range boundNodes {
		b.general = append(b.general, 0.7*normalQuantile((float64(i)+0.5)/boundNodes))
		var ds []boundDraw
		for range boundDraws {
			ds = append(ds, boundDraw{3.9 + b.general[i] + 0.8*r.NormFloat64(), 1.5 + 2.5*r.Float64(), math.Exp(0.8 + 0.5*r.NormFloat64()), 0.2 + 0.4*r.Float64()})
		}
		b.draws = append(b.draws, ds)
	}
	for range boundShocks * 200 {
		b.shocks = append(b.shocks, s.shockDay*student3(r)+s.shockHalo*student3(r))
	}
	sort.Float64s(b.shocks)
	for i := range boundShocks {
		mean := 0.0
		for _, x := range b.shocks[i*200 : (i+1)*200] {
			mean += x / 200
		}
		b.supports = append(b.supports, mean)
	}
	return b
}

func normalQuantile(p float64) float64 {
	lo, hi := -8.0, 8.0
	for range 60 {
		mid := (lo + hi) / 2
		if 0.5*math.Erfc(-mid/math.Sqrt2) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// record tabulates the chance of a job's record by ability, from −4 in steps of 0.2.
func (b *bound1) record(t int, j simJob) []float64 {
	s := b.s
	table := make([]float64, 71)
	u := s.sleepy[j.supervisor]
	for i := range table {
		sum := 0.0
		for _, e := range b.supports {
			z := -4 + 0.2*float64(i) + e - s.hardness(j.difficulty) - s.severity[j.supervisor]
			p := 1.0
			for k, st := range j.record.Steps {
				h := s.stepHarder[t][k]
				if k < s.crit {
					safe := math.Sqrt(math.Sqrt(1 / (1 + math.Exp(h-z))))
					if st.CriticalError {
						p *= 1 - safe
						continue
					}
					p *= safe
				}
				help := 1 / (1 + math.Exp(0.8*(z-h)+0.6))
				if st.Result == "prompted" {
					p *= help
				} else {
					p *= 1 - help
				}
			}
			sum += p
		}
		table[i] = (1 - u) * sum / float64(len(b.supports))
		if j.clean {
			table[i] += u
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

// weights of an apprentice's task after each number of jobs, by node and draw.
func (b *bound1) weights(a, t int, ease float64) [][][]float64 {
	p := b.s.people[a][t]
	w := make([][]float64, boundNodes)
	right := math.Round(b.s.scores[a][t] * 12)
	for g := range w {
		w[g] = make([]float64, boundDraws)
		for d, x := range b.draws[g] {
			sum := 0.0
			for i := range 7 {
				k := 1.5 + 0.4*b.general[g] + 0.3*(x.plateau+ease-3.9) + 0.7*normalQuantile((float64(i)+0.5)/7)
				q := 1 / (1 + math.Exp(-k))
				sum += math.Pow(q, right) * math.Pow(1-q, 12-right)
			}
			w[g][d] = sum
		}
	}
	all := [][][]float64{w}
	last := p.start
	for n, j := range p.jobs {
		table := b.record(t, j)
		next := make([][]float64, boundNodes)
		for g := range w {
			next[g] = make([]float64, boundDraws)
			for d, x := range b.draws[g] {
				q := simTask{plateau: x.plateau + ease, learn: x.learn, pace: x.pace, forget: x.forget}
				theta := q.abilityAfter(float64(n), float64(j.on-last))
				next[g][d] = w[g][d] * lookUp(table, theta) * given(j.difficulty, theta)
			}
		}
		last, w = j.on, next
		all = append(all, w)
	}
	return all
}

// confident is the chance that the chance is at least 0.95 on a day.
func (b *bound1) confident(a, t int, on day, weights [][][][]float64, ease []float64) float64 {
	jobsBy := func(t int) int {
		n := 0
		for _, j := range b.s.people[a][t].jobs {
			if j.on <= on {
				n++
			}
		}
		return n
	}
	up, all := 0.0, 0.0
	p := b.s.people[a][t]
	n := jobsBy(t)
	last := p.start
	if n > 0 {
		last = p.jobs[n-1].on
	}
	for g := range boundNodes {
		others := 1.0
		for o := range weights {
			if o == t {
				continue
			}
			sum := 0.0
			for _, w := range weights[o][jobsBy(o)][g] {
				sum += w
			}
			others *= sum / boundDraws * 1e4
		}
		for d, w := range weights[t][n][g] {
			x := b.draws[g][d]
			q := simTask{plateau: x.plateau + ease[t], learn: x.learn, pace: x.pace, forget: x.forget}
			all += others * w
			if b.s.chanceAt(t, q.abilityAfter(float64(n), float64(on-last))) >= 0.95 {
				up += others * w
			}
		}
	}
	if all == 0 {
		return 0
	}
	return up / all
}
