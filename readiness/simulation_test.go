package readiness

import "math"

// scored is how a forecast compares with the truth.
type scored struct {
	n    int
	sum  float64
	bins [10][3]float64
}

func (s *scored) add(said float64, was bool) {
	y := 0.0
	if was {
		y = 1
	}
	s.n++
	s.sum += (said - y) * (said - y)
	b := &s.bins[min(9, int(said*10))]
	b[0]++
	b[1] += said
	b[2] += y
}

func (s *scored) brier() float64 { return s.sum / float64(s.n) }

// error is the mean distance of what was said and what was, over ten equal bins, weighed by how many are in them.
func (s *scored) error() float64 {
	e := 0.0
	for _, b := range s.bins {
		e += math.Abs(b[1] - b[2])
	}
	return e / float64(s.n)
}

func simPolicy() Policy {
	p := DefaultPolicy()
	return p
}
