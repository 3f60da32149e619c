package quiz

import (
	"slices"
	"strings"
)

// orderFamily shows four or five steps of the procedure out of order. Only leaves are shown, never a parent with its
// sub-steps. What is forced among them is the author's order, closed; every order that keeps to it is right. A set is
// asked only when most of its pairs are forced, so that a guess succeeds at most one time in six.
var orderFamily = &family{
	info: FamilyInfo{ID: "order", Kinds: []Kind{Order}, Asks: "Put these steps in an order that works.", Source: "procedure: steps and what they come after"},
	items: func(s *subject) (out []*item) {
		for _, a := range s.leaves {
			if degree(a) < 2 {
				continue
			}
			out = append(out, &item{element: a.Element, line: a.Line, critical: a.Critical, make: func(d *draws) *proposal { return proposeOrder(s, a, d) }})
		}
		return out
	},
}

var orderSayings = sayings{
	"en": {"Put these steps in an order that works, first to last.", "In which order do you do these steps? Put the first one on top."},
	"es": {"Pon estos pasos en un orden que funcione, del primero al último.", "¿En qué orden haces estos pasos? Pon el primero arriba."},
}

var orderExplained = sayings{"en": {"An order that works: {1}."}, "es": {"Un orden que funciona: {1}."}}

// degree counts the leaves that are forced before or after a leaf.
func degree(a *step) (n int) {
	for _, r := range a.rel {
		if r == before || r == after {
			n++
		}
	}
	return n
}

// orderedSet draws a set of n leaves around a, in an order that works (that of the sheet), or nil. Each new leaf is
// the better tied of two drawn ones.
func orderedSet(s *subject, a *step, n int, d *draws) []*step {
	set := []*step{a}
	for _, i := range d.order(len(s.leaves)) {
		b := s.leaves[i]
		if len(set) == n {
			break
		}
		ties := 0
		fits := !slices.ContainsFunc(set, func(o *step) bool {
			r := b.rel[o.leaf]
			if r == before || r == after {
				ties++
			}
			return o == b || r == apart || within(o.title, b.title)
		})
		// All but one of the pairs must be tied, or the set soon admits too many orders.
		if fits && ties*4 >= len(set)*3 {
			set = append(set, b)
		}
	}
	if len(set) < n {
		return nil
	}
	return s.inOrder(set)
}

// inOrder puts a set into an order that works, as near to the sheet's as can be.
func (s *subject) inOrder(set []*step) []*step {
	rest := slices.Clone(set)
	slices.SortStableFunc(rest, func(x, y *step) int { return s.placeOnSheet(x) - s.placeOnSheet(y) })
	out := make([]*step, 0, len(set))
	for len(rest) > 0 {
		i := slices.IndexFunc(rest, func(x *step) bool { return ready(x, rest) })
		out = append(out, rest[i])
		rest = slices.Delete(rest, i, i+1)
	}
	return out
}

// ready says that nothing of rest must come before x. Something of rest always is ready, for the order has no circle.
func ready(x *step, rest []*step) bool {
	return !slices.ContainsFunc(rest, func(y *step) bool { return y != x && x.rel[y.leaf] == after })
}

// someOrder draws an order that works.
func someOrder(set []*step, d *draws) []*step {
	rest := slices.Clone(set)
	out := make([]*step, 0, len(set))
	for len(rest) > 0 {
		var can []int
		for i, x := range rest {
			if ready(x, rest) {
				can = append(can, i)
			}
		}
		i := pick(d, can)
		out = append(out, rest[i])
		rest = slices.Delete(rest, i, i+1)
	}
	return out
}

// placeOnSheet is where the car's sheet lists a leaf first; the sheet's list keeps to the order.
func (s *subject) placeOnSheet(x *step) int {
	return slices.IndexFunc(s.sheet.Steps, sameStep(x))
}

// forcedPairs lists the forced pairs of a set as indexes into it.
func forcedPairs(set []*step) (out [][2]int) {
	for i, a := range set {
		for j, b := range set {
			if i != j && a.rel[b.leaf] == before {
				out = append(out, [2]int{i, j})
			}
		}
	}
	return out
}

func stepChoices(set []*step) []choice {
	out := make([]choice, len(set))
	for i, x := range set {
		out[i] = choice{phrase: x.title, element: x.Element, onCar: x.onCar}
	}
	return out
}

// pairFact names the fact that one step comes before another.
func pairFact(a, b *step) string { return a.Element + "<" + b.Element }

func proposeOrder(s *subject, a *step, d *draws) *proposal {
	set := orderedSet(s, a, d.between(4, 5), d)
	if set == nil {
		if set = orderedSet(s, a, 4, d); set == nil {
			if set = orderedSet(s, a, 3, d); set == nil {
				return nil
			}
		}
	}
	p := &proposal{kind: Order, stem: s.say(orderSayings, a.Element), right: stepChoices(set), forced: forcedPairs(set)}
	var titles []string
	for _, x := range set {
		titles = append(titles, x.title.text)
	}
	p.explanation = s.explain(s.say(orderExplained, "", strings.Join(titles, "; ")), s.passage(a.Why...))
	for _, f := range p.forced {
		p.tests = append(p.tests, pairFact(set[f[0]], set[f[1]]))
	}
	return p
}
