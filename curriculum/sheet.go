package curriculum

import (
	"slices"
)

// expand turns a procedure into what one car asks for. The order is closed over all steps at all wheels first; then
// what the car lacks is dropped.
//
// Two repeated steps keep their order wheel by wheel. A step that does not repeat stands before, or behind, all wheels
// of a repeated one; so where such a step lies between two repeated steps, all wheels of the first come before all
// wheels of the second. Repeated steps in the same named order with no such step between them finish one wheel before
// the next.
func expand(l *Lesson, v *Vehicle) *Sheet {
	if l == nil || l.Procedure == nil {
		return nil
	}
	full := instances(l.Procedure, v)
	reach := full.close()
	s := &Sheet{Lesson: l, Car: v}
	var kept []int
	for _, i := range full.listing(reach) {
		in := full.list[i]
		if !v.Has(in.step.If, in.wheel) {
			continue
		}
		kept = append(kept, i)
		key := in.step.ID
		if in.wheel != "" {
			key += "@" + in.wheel
		}
		s.Steps = append(s.Steps, SheetStep{Step: in.step, Wheel: in.wheel, Axle: axleOf(v, in.wheel), Key: key})
	}
	s.before = emptyOrder(len(kept))
	for a, i := range kept {
		for b, j := range kept {
			s.before[a][b] = i != j && reach[i].has(j)
		}
	}
	return s
}

// instance is a leaf step at a wheel; wheel is "" where it does not repeat.
type instance struct {
	step  *Step
	at    int // index of the step in the procedure
	wheel string
	turn  int // place of the wheel among the step's wheels
	run   int // index of the first step of the run of repeated steps it belongs to, or at
}

type expansion struct {
	list     []instance
	g        graph
	conflict bool
}

// prepare works out what every sheet of the procedure needs.
func (p *Procedure) prepare() {
	for i, s := range p.Steps {
		if len(s.Children) == 0 {
			p.leaves = append(p.leaves, i)
		}
	}
	n := len(p.Steps)
	single := newBits(n) // leaves that do not repeat
	behind, ahead := make([]bits, n), make([]bits, n)
	for i := range n {
		behind[i], ahead[i] = newBits(n), newBits(n)
	}
	for _, i := range p.leaves {
		if p.Steps[i].Each == "" {
			single.set(i)
		}
		for _, j := range p.leaves {
			if p.order[i][j] {
				behind[i].set(j)
				ahead[j].set(i)
			}
		}
	}
	p.divided = emptyOrder(n)
	for _, i := range p.leaves {
		for _, j := range p.leaves {
			if p.order[i][j] {
				p.divided[i][j] = anyInAll(behind[i], ahead[j], single)
			}
		}
	}
	p.rounds = p.groups()
}

// anyInAll says whether the three sets share a member.
func anyInAll(a, b, c bits) bool {
	for i := range a {
		if a[i]&b[i]&c[i] != 0 {
			return true
		}
	}
	return false
}

// wheelsFor lists all wheels in the order in which a step goes round: the sheet's named order, then what that leaves out.
func wheelsFor(v *Vehicle, s *Step) (out []string) {
	if v == nil || s.Each == "" {
		return []string{""}
	}
	if s.EachOrder != "" {
		out = append(out, v.Orders[s.EachOrder]...)
	}
	for _, w := range v.Wheels {
		if !contains(out, w.Name) {
			out = append(out, w.Name)
		}
	}
	return out
}

// instances lists every leaf at every wheel with the edges between them.
func instances(p *Procedure, v *Vehicle) *expansion {
	leaves := p.leaves
	e := &expansion{}
	of := map[int][]int{} // step → its instances, by turn
	run := -1
	for _, i := range leaves {
		s := p.Steps[i]
		repeats := v != nil && s.Each != ""
		if !repeats {
			run = -1
		} else if run < 0 {
			run = i
		}
		for turn, w := range wheelsFor(v, s) {
			in := instance{step: s, at: i, wheel: w, turn: turn, run: i}
			if repeats {
				in.run = run
			}
			of[i] = append(of[i], len(e.list))
			e.list = append(e.list, in)
		}
	}
	e.g = make(graph, len(e.list))
	repeats := func(i int) bool { return v != nil && p.Steps[i].Each != "" }
	for _, i := range leaves {
		for _, j := range leaves {
			if !p.order[i][j] {
				continue
			}
			perWheel := repeats(i) && repeats(j) && !p.divided[i][j]
			for _, a := range of[i] {
				for _, b := range of[j] {
					if !perWheel || e.list[a].wheel == e.list[b].wheel {
						e.g.add(a, b)
					}
				}
			}
		}
	}
	if v != nil {
		e.addNamedOrders(p, of)
	}
	return e
}

// addNamedOrders adds "one wheel finished before the next" for each group of steps that go round together.
func (e *expansion) addNamedOrders(p *Procedure, of map[int][]int) {
	if len(p.rounds) == 0 {
		return
	}
	plain := slices.Clone(e.g) // appending to e.g never writes into the part that plain sees
	for _, group := range p.rounds {
		for _, i := range group {
			for _, j := range group {
				for _, a := range of[i] {
					for _, b := range of[j] {
						if e.list[a].turn+1 == e.list[b].turn { // every leaf has an entry at every wheel, so the next turn is enough
							e.g.add(a, b)
						}
					}
				}
			}
		}
	}
	if _, ok := e.g.topological(); !ok {
		// Orders that contradict one another are reported when the programme is read; here the weaker order holds.
		e.g, e.conflict = plain, true
	}
}

// groups gathers the steps that go round the car together: the same named order, no other step in between.
func (p *Procedure) groups() (out [][]int) {
	leaves := p.leaves
	sorted := slices.Clone(leaves)
	// Document order, but never a step before one that it comes after.
	slices.SortStableFunc(sorted, func(a, b int) int { return p.depth(a) - p.depth(b) })
	together := func(i, j int) bool {
		a, b := p.Steps[i], p.Steps[j]
		if a.EachOrder != b.EachOrder {
			return false
		}
		apart := func(k int) bool {
			return p.Steps[k].EachOrder != a.EachOrder && (p.Steps[k].Each == "" || p.Steps[k].EachOrder != "")
		}
		if p.order[i][j] || p.order[j][i] {
			return !slices.ContainsFunc(leaves, func(k int) bool {
				return apart(k) && (p.order[i][k] && p.order[k][j] || p.order[j][k] && p.order[k][i])
			})
		}
		low, high := min(i, j), max(i, j)
		return !slices.ContainsFunc(leaves, func(k int) bool { return low < k && k < high && apart(k) })
	}
	sorted = slices.DeleteFunc(sorted, func(i int) bool { return p.Steps[i].EachOrder == "" })
next:
	for _, i := range sorted {
		for g := len(out) - 1; g >= 0; g-- {
			if !slices.ContainsFunc(out[g], func(j int) bool { return !together(i, j) }) {
				out[g] = append(out[g], i)
				continue next
			}
		}
		out = append(out, []int{i})
	}
	return out
}

// depth counts the leaf steps that come before step i: a step never has fewer than one it comes after.
func (p *Procedure) depth(i int) (n int) {
	for k, s := range p.Steps {
		if len(s.Children) == 0 && p.order[k][i] {
			n++
		}
	}
	return n
}

func (e *expansion) close() []bits {
	order, ok := e.g.topological()
	if !ok { // only a lesson that is never served; see cycle
		reach := make([]bits, len(e.list))
		for i := range reach {
			reach[i] = newBits(len(e.list))
		}
		return reach
	}
	return e.g.closure(order)
}

// listing puts the instances in an order that keeps to the rules and reads like the lesson: in document order, wheel
// by wheel within a run of repeated steps.
func (e *expansion) listing(reach []bits) []int {
	n := len(e.list)
	waits := make([]int, n)
	for i := range n {
		for j := range n {
			if reach[i].has(j) {
				waits[j]++
			}
		}
	}
	ready := func(i int) bool { return waits[i] == 0 }
	less := func(a, b int) bool {
		x, y := e.list[a], e.list[b]
		if x.run != y.run {
			return x.run < y.run
		}
		if x.turn != y.turn {
			return x.turn < y.turn
		}
		return x.at < y.at
	}
	var out []int
	done := make([]bool, n)
	for len(out) < n {
		best := -1
		for i := range n {
			if !done[i] && ready(i) && (best < 0 || less(i, best)) {
				best = i
			}
		}
		if best < 0 { // cannot be: the order has no cycle
			break
		}
		done[best] = true
		out = append(out, best)
		for j := range n {
			if reach[best].has(j) {
				waits[j]--
			}
		}
	}
	return out
}
