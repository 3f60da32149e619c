package curriculum

import (
	"math/big"
	"regexp"
	"slices"
)

// The units of a formula. Lint works out what a sum's formula comes to in units, so that a figure divided where it should be
// multiplied, or millimetres taken for metres, is found before an apprentice meets it. It says nothing where it cannot be sure:
// a number in a formula, or a given without a unit, may hide one (9.81, a resistance, a count); "mm in each 10000 km" is given in mm;
// and temperatures have no fixed zero.

// Base units, and their exponents in a dimension.
const (
	baseMetre = iota
	baseKilogram
	baseSecond
	baseAmpere
	baseMonth // no fixed number of seconds
	baseUnits
)

// rateWords say that a given is so much of one thing for each of another, for which the table of units has no units.
var rateWords = regexp.MustCompile(`(?i)(^|\PL)(each|every|per|cada|por)(\PL|$)`)

type exponents [baseUnits]int

// powers says what each dimension of the table of units is made of. Temperatures are left out.
var powers = map[string]exponents{
	"": {}, "ratio": {}, "angle": {},
	"length": {baseMetre: 1}, "area": {baseMetre: 2}, "volume": {baseMetre: 3},
	"mass": {baseKilogram: 1}, "force": {baseMetre: 1, baseKilogram: 1, baseSecond: -2},
	"torque": {baseMetre: 2, baseKilogram: 1, baseSecond: -2}, "pressure": {baseMetre: -1, baseKilogram: 1, baseSecond: -2},
	"kinematic viscosity": {baseMetre: 2, baseSecond: -1}, "time": {baseSecond: 1}, "calendar time": {baseMonth: 1},
	"speed": {baseMetre: 1, baseSecond: -1}, "rotational speed": {baseSecond: -1},
	"voltage": {baseMetre: 2, baseKilogram: 1, baseSecond: -3, baseAmpere: -1}, "current": {baseAmpere: 1},
}

// baseFactor is what one of a unit is in base units. The table of units counts some dimensions in a unit of its own.
func baseFactor(u Unit) *big.Rat {
	f := new(big.Rat).Set(unitIndex[u].factor)
	switch unitIndex[u].dimension {
	case "volume": // litres
		f.Mul(f, big.NewRat(1, 1000))
	case "kinematic viscosity": // mm²/s
		f.Mul(f, big.NewRat(1, 1000000))
	case "rotational speed": // 1/min
		f.Mul(f, big.NewRat(1, 60))
	case "ratio": // %
		f.Mul(f, big.NewRat(1, 100))
	}
	return f
}

// quantity is what a part of a formula comes to.
type quantity struct {
	known    bool
	of       exponents
	factor   *big.Rat // in base units; nil where a number in the formula may have changed it
	anything bool     // a plain number, which takes the unit of what it is added to
}

// plainNumbers may stand in a formula as numbers without a unit: coefficients, which leave the size of units alone, and those
// that change one unit into another.
var (
	coefficients = []string{"1", "2", "3", "4", "5", "6", "8", "12", "1/2", "1/4"}
	conversions  = []string{"10", "60", "100", "1000", "3600", "10000", "1000000", "1/10", "1/100", "1/1000"}
)

func unitOf(n formulaNode, given map[string]Unit) quantity {
	unknown := quantity{}
	switch n := n.(type) {
	case variable:
		dimension, ok := dimensionOf(given[n.name])
		of, made := powers[dimension]
		if !ok || !made {
			return unknown
		}
		return quantity{known: true, of: of, factor: baseFactor(given[n.name])}
	case literal:
		q := quantity{known: true, anything: true}
		s := n.value.RatString()
		if n.value == pi || slices.Contains(coefficients, s) {
			q.factor = big.NewRat(1, 1)
		} else if !slices.Contains(conversions, s) {
			return unknown
		}
		return q
	case negation:
		return unitOf(n.of, given)
	case call:
		first := unitOf(n.args[0], given)
		if n.name == "sqrt" {
			for i, e := range first.of {
				if e%2 != 0 {
					return unknown
				}
				first.of[i] = e / 2
			}
			first.factor = nil
			return first
		}
		for _, a := range n.args[1:] {
			first = sameUnit(first, unitOf(a, given))
		}
		return first
	case binary:
		left, right := unitOf(n.left, given), unitOf(n.right, given)
		switch n.op {
		case '+', '-':
			return sameUnit(left, right)
		case '^':
			l, ok := n.right.(literal)
			if !ok || !l.value.IsInt() || l.value.Num().BitLen() > 6 || !left.known {
				return unknown
			}
			e := int(l.value.Num().Int64())
			for i := range left.of {
				left.of[i] *= e
			}
			if left.factor != nil {
				f := big.NewRat(1, 1)
				for range max(e, -e) {
					f.Mul(f, left.factor)
				}
				if e < 0 {
					f.Inv(f)
				}
				left.factor = f
			}
			return left
		}
		if !left.known || !right.known {
			return unknown
		}
		sign := 1
		if n.op == '/' {
			sign = -1
		}
		q := quantity{known: true, of: left.of, anything: left.anything && right.anything}
		for i, e := range right.of {
			q.of[i] += sign * e
		}
		if left.factor != nil && right.factor != nil {
			if q.factor = new(big.Rat).Mul(left.factor, right.factor); sign < 0 {
				q.factor = new(big.Rat).Quo(left.factor, right.factor)
			}
		}
		return q
	}
	return unknown
}

// sameUnit is the unit of a sum or a choice of two; unknown where a plain number is added to something with a unit.
func sameUnit(a, b quantity) quantity {
	if !a.known || !b.known || a.anything != b.anything && (a.of != exponents{} || b.of != exponents{}) {
		return quantity{}
	}
	if a.of != b.of {
		return quantity{} // the formula's result is checked; adding unlike things is too rare to be worth words of its own
	}
	if a.factor == nil || b.factor == nil || a.factor.Cmp(b.factor) != 0 {
		a.factor = nil
	}
	a.anything = a.anything && b.anything
	return a
}

// formulaUnit says what a sum's formula comes to where that is not the sum's unit: the name of a dimension, or how many times too
// large its numbers are; "" where it fits, or cannot be told.
func formulaUnit(s Sum) (comes string, times *big.Rat) {
	given := map[string]Unit{}
	for _, g := range s.Given {
		if g.Unit == "" || rateWords.MatchString(g.What) {
			return "", nil
		}
		given[g.Name] = g.Unit
	}
	dimension, ok := dimensionOf(s.Unit)
	want, made := powers[dimension]
	q := unitOf(s.Find.root, given)
	if !ok || !made || !q.known || q.anything {
		return "", nil
	}
	if q.of != want {
		for _, d := range unitDefs {
			if p, ok := powers[d.dimension]; ok && p == q.of && d.dimension != "" {
				return d.dimension, nil
			}
		}
		if (q.of == exponents{}) {
			return "plain number", nil
		}
		return q.of.String(), nil
	}
	if q.factor == nil {
		return "", nil
	}
	if t := new(big.Rat).Quo(q.factor, baseFactor(s.Unit)); t.Cmp(big.NewRat(1, 1)) != 0 {
		return "", t
	}
	return "", nil
}

// String writes base units as in kg·m²/s².
func (e exponents) String() string {
	name := [baseUnits]string{"m", "kg", "s", "A", "month"}
	over, under := "", ""
	for i, n := range e {
		to := &over
		if n < 0 {
			to, n = &under, -n
		}
		for range min(n, 9) {
			*to += "·" + name[i]
		}
	}
	if over == "" {
		over = "·1"
	}
	if under != "" {
		under = "/" + under[len("·"):]
	}
	return over[len("·"):] + under
}
