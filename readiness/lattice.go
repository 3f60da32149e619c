package readiness

import (
	"math"
)

// lattice is a row of equally spaced abilities (logits) on which densities and likelihoods are kept.
type lattice struct {
	points  []float64
	step    float64
	kernels map[float64]*kernel
}

// Ends and step of the lattices in use: of the ability at a task, of what an apprentice has at every task, and of
// knowledge. TestAgainstFineLattice measures what the step costs.
const (
	abilityFrom, abilityTo     = -6.0, 9.0
	abilityStep                = 0.25
	generalFrom, generalTo     = -6.0, 6.0
	generalStep                = 0.5
	knowledgeFrom, knowledgeTo = -6.0, 8.0
	knowledgeStep              = 0.5
)

func newLattice(from, to, step float64) *lattice {
	n := int(math.Floor(float64((to-from)/step)+0.5)) + 1
	l := &lattice{points: make([]float64, n), step: step, kernels: map[float64]*kernel{}}
	for i := range l.points {
		l.points[i] = from + float64(float64(i)*step)
	}
	return l
}

// bell is a normal density, its largest value 1, at 0 and every step from there until beyond five standard deviations.
func bell(step, sd float64) []float64 {
	inverse := 1 / float64(2*square(sd))
	var out []float64
	for i := 0; i < 2 || float64(float64(i-1)*step) <= float64(5*sd); i++ {
		out = append(out, exp(-float64(square(float64(float64(i)*step))*inverse)))
	}
	return out
}

// kernel is a normal density cut off at five standard deviations, for every point of a lattice (rows) over the points of
// another, each row with sum 1. Rows of later points lie further up in the sense of the likelihood ratio (the matrix is
// totally positive of order 2), and sums over rows keep that order: this is what the properties of the model rest on.
type kernel struct {
	from [][2]int // columns of each row that are not 0: from, to (exclusive)
	rows [][]float64
}

// spread is the kernel with which a normal shock of this standard deviation moves along the lattice.
func (l *lattice) spread(sd float64) *kernel {
	k := l.kernels[sd]
	if k == nil {
		k = newKernel(l, l, 0, 1, sd)
		l.kernels[sd] = k
	}
	return k
}

// newKernel has rows for the points x of l: normal over the points of over, with mean shift + slope × x.
func newKernel(l, over *lattice, shift, slope, sd float64) *kernel {
	k := &kernel{from: make([][2]int, len(l.points)), rows: make([][]float64, len(l.points))}
	inverse := 1 / float64(2*square(sd))
	var same []float64
	if l == over && shift == 0 && slope == 1 {
		same = bell(l.step, sd)
	}
	for i, x := range l.points {
		mean := shift + float64(slope*x)
		mean = min(max(mean, over.points[0]), over.points[len(over.points)-1]) // what lies beyond the ends is put there
		lo, hi := -1, 0
		var row []float64
		sum := 0.0
		for j, y := range over.points {
			if math.Abs(y-mean) > float64(5*sd) && math.Abs(y-mean) > over.step {
				continue
			}
			if lo < 0 {
				lo = j
			}
			hi = j + 1
			w := 0.0
			if same != nil {
				w = same[max(i-j, j-i)]
			} else {
				w = exp(-float64(square(y-mean) * inverse))
			}
			row = append(row, w)
			sum += w
		}
		for j := range row {
			row[j] = row[j] / sum
		}
		k.from[i], k.rows[i] = [2]int{lo, hi}, row
	}
	return k
}

// over is, for each row, the mean of f under it.
func (k *kernel) over(f []float64) []float64 {
	out := make([]float64, len(k.rows))
	for i, row := range k.rows {
		part := f[k.from[i][0]:k.from[i][1]]
		sum := 0.0
		for j, w := range row {
			sum += float64(w * part[j])
		}
		out[i] = sum
	}
	return out
}

// mix is the sum of the rows with these weights: a density over the columns, of n points.
func (k *kernel) mix(weights []float64, n int) []float64 {
	out := make([]float64, n)
	for i, row := range k.rows {
		part := out[k.from[i][0]:k.from[i][1]]
		for j, w := range row {
			part[j] += float64(weights[i] * w)
		}
	}
	return out
}

// times multiplies a by b in place, and scales it so that its largest value is 1.
func times(a, b []float64) {
	top := 0.0
	for i := range a {
		a[i] = float64(a[i] * b[i])
		top = max(top, a[i])
	}
	if top == 0 {
		return // impossible evidence: likelihoods are never 0 everywhere
	}
	for i := range a {
		a[i] = a[i] / top
	}
}

// normalise makes the sum 1.
func normalise(a []float64) {
	sum := 0.0
	for _, x := range a {
		sum += x
	}
	for i := range a {
		a[i] = a[i] / sum
	}
}

func ones(n int) []float64 {
	a := make([]float64, n)
	for i := range a {
		a[i] = 1
	}
	return a
}

// at is a curve known at the points of the lattice, at any x: straight between the points, level beyond the ends.
func (l *lattice) at(curve []float64, x float64) float64 {
	place := (x - l.points[0]) / l.step
	if place <= 0 {
		return curve[0]
	}
	i := int(math.Floor(place))
	if i >= len(curve)-1 {
		return curve[len(curve)-1]
	}
	return curve[i] + float64((place-float64(i))*(curve[i+1]-curve[i]))
}

// shifted sets out to the curve moved up by so much: out at x is the curve at x − by.
func (l *lattice) shifted(out, curve []float64, by float64) {
	whole := math.Floor(by / l.step)
	part := by/l.step - whole // from 0 to 1: so much of the point below
	last := len(curve) - 1
	k := int(max(-1e6, min(1e6, whole)))
	for i := range out {
		above, below := max(0, min(last, i-k)), max(0, min(last, i-k-1))
		out[i] = curve[above] + float64(part*(curve[below]-curve[above]))
	}
}

// spill adds a density moved down by so much to out, times a weight: each point's mass goes to the two points around its new place.
func (l *lattice) spill(out, density []float64, by, weight float64) {
	last := len(out) - 1
	for i, w := range density {
		place := min(max((l.points[i]-by-l.points[0])/l.step, 0), float64(last))
		k := min(int(math.Floor(place)), last-1)
		part := place - float64(k)
		w = float64(w * weight)
		out[k] += float64(w * (1 - part))
		out[k+1] += float64(w * part)
	}
}

// reach is the smallest x at which a rising curve reaches y, and whether it does.
func (l *lattice) reach(curve []float64, y float64) (float64, bool) {
	last := len(curve) - 1
	if curve[last] < y {
		return 0, false
	}
	if curve[0] >= y {
		return math.Inf(-1), true
	}
	i := 0
	for curve[i+1] < y {
		i++
	}
	return l.points[i] + float64((y-curve[i])/(curve[i+1]-curve[i])*l.step), true
}

// above is the mass of a density above x; the mass of a point is taken as spread evenly over one step around it.
func (l *lattice) above(density []float64, x float64) float64 {
	sum := 0.0
	for i := len(density) - 1; i >= 0; i-- {
		low := l.points[i] - l.step/2
		if low >= x {
			sum += density[i]
			continue
		}
		if share := (low + l.step - x) / l.step; share > 0 {
			sum += float64(share * density[i])
		}
		break
	}
	return sum
}

// point is the x below which the share q of a density lies.
func (l *lattice) point(density []float64, q float64) float64 {
	sum := 0.0
	for i, d := range density {
		if sum+d >= q && d > 0 {
			return l.points[i] - l.step/2 + float64((q-sum)/d*l.step)
		}
		sum += d
	}
	return l.points[len(density)-1]
}
