package curriculum

import (
	"slices"
	"strings"
)

// The order of a procedure is a partial order. Each step has a start and an end; a parent's start stands before the
// starts of its sub-steps, its end behind their ends. That a comes before b means: the end of a comes before the start
// of b. So a parent stands for all its sub-steps on either side, and the closure over starts and ends gives all pairs.

// bits is a set of small numbers.
type bits []uint64

func newBits(n int) bits      { return make(bits, (n+63)/64) }
func (b bits) has(i int) bool { return b[i>>6]>>(i&63)&1 == 1 }
func (b bits) set(i int)      { b[i>>6] |= 1 << (i & 63) }
func (b bits) join(o bits) {
	for i := range b {
		b[i] |= o[i]
	}
}
func start(i int) int { return 2 * i }
func end(i int) int   { return 2*i + 1 }

// graph is a directed graph with edges as lists.
type graph [][]int

func (g graph) add(from, to int) { g[from] = append(g[from], to) }

// topological returns the nodes in an order that follows all edges, the smallest number first where there is a choice
// at the time; ok is false if there is a cycle, and then the nodes of cycles and behind them are missing.
func (g graph) topological() (order []int, ok bool) {
	in := make([]int, len(g))
	for _, out := range g {
		for _, to := range out {
			in[to]++
		}
	}
	for i := range g {
		if in[i] == 0 {
			order = append(order, i)
		}
	}
	for at := 0; at < len(order); at++ {
		for _, to := range g[order[at]] {
			if in[to]--; in[to] == 0 {
				order = append(order, to)
			}
		}
	}
	return order, len(order) == len(g)
}

// closure returns for every node the nodes that can be reached from it by one edge or more. g has no cycle; order is
// its topological order.
func (g graph) closure(order []int) []bits {
	reach := make([]bits, len(g))
	width := len(newBits(len(g)))
	all := make(bits, width*len(g))
	for i := len(order) - 1; i >= 0; i-- {
		n := order[i]
		reach[n] = all[n*width : (n+1)*width]
		for _, to := range g[n] {
			reach[n].set(to)
			reach[n].join(reach[to])
		}
	}
	return reach
}

// cycle finds a shortest cycle through a node on a cycle; nil if there is none.
func (g graph) cycle() []int {
	order, ok := g.topological()
	if ok {
		return nil
	}
	done := make([]bool, len(g))
	for _, n := range order {
		done[n] = true
	}
	var best []int
	for from := range g {
		if done[from] {
			continue
		}
		previous := make([]int, len(g))
		for i := range previous {
			previous[i] = -1
		}
		queue := []int{from}
	search:
		for at := 0; at < len(queue); at++ {
			for _, to := range g[queue[at]] {
				if to == from {
					path := []int{from}
					for n := queue[at]; n != from; n = previous[n] {
						path = append(path, n)
					}
					slices.Reverse(path)
					// path is now …→from; put from first.
					path = append([]int{from}, path[:len(path)-1]...)
					if best == nil || len(path) < len(best) {
						best = path
					}
					break search
				}
				if previous[to] < 0 && to != from && !done[to] {
					previous[to] = queue[at]
					queue = append(queue, to)
				}
			}
		}
	}
	return best
}

// finishProcedure resolves `after`, closes the order and checks the steps against one another.
func (lr *lessonReader) finishProcedure() {
	if len(lr.steps) == 0 {
		return
	}
	p := &Procedure{index: map[string]int{}}
	byID := map[string]*stepSource{}
	for i, s := range lr.steps {
		p.Steps = append(p.Steps, s.Step)
		if s.ID == "" {
			continue
		}
		if first, ok := byID[s.ID]; ok {
			lr.errorAt(s.idAt(), "duplicate_step", "id", s.ID, "line", itoa(first.Line))
			continue
		}
		byID[s.ID] = s
		p.index[s.ID] = i
	}
	lr.l.Procedure = p
	for _, s := range lr.steps {
		lr.resolveAfter(s, byID)
	}
	number := map[*stepSource]int{}
	for i, s := range lr.steps {
		number[s] = i
	}
	g := make(graph, 2*len(lr.steps))
	for i, s := range lr.steps {
		g.add(start(i), end(i))
		if s.after != nil {
			s.comesAfter = append([]string{}, s.afterIDs...)
			slices.Sort(s.comesAfter)
		}
		if s.parent != nil {
			g.add(start(number[s.parent]), start(i))
			g.add(end(i), end(number[s.parent]))
		}
		for _, b := range s.before(byID) {
			g.add(end(number[b]), start(i))
		}
	}
	order, ok := g.topological()
	if !ok {
		for range maxCycles {
			nodes := g.cycle()
			if nodes == nil {
				break
			}
			lr.cycle(nodes)
			g = g.without(nodes[0])
		}
		p.cyclic = true
		// A lesson with a cycle is never served; its order stays empty.
		p.order = emptyOrder(len(lr.steps))
		lr.inherit()
		lr.consequences()
		return
	}
	reach := g.closure(order)
	p.order = emptyOrder(len(lr.steps))
	for i := range lr.steps {
		for j := range lr.steps {
			p.order[i][j] = i != j && reach[end(i)].has(start(j))
		}
	}
	lr.orderParents(number)
	p.prepare()
	for _, s := range lr.steps {
		lr.impliedAfter(s, byID, number, reach)
	}
	lr.inherit()
	lr.consequences()
}

// orderParents completes the order for parents: one comes before another step when all its sub-steps do.
func (lr *lessonReader) orderParents(number map[*stepSource]int) {
	order := lr.l.Procedure.order
	leaves := make([][]int, len(lr.steps))
	for i, s := range lr.steps {
		for _, l := range s.leaves() {
			leaves[i] = append(leaves[i], number[l])
		}
	}
	for i, a := range lr.steps {
		for j, b := range lr.steps {
			if order[i][j] || len(a.children)+len(b.children) == 0 {
				continue
			}
			order[i][j] = !slices.ContainsFunc(leaves[i], func(x int) bool {
				return slices.ContainsFunc(leaves[j], func(y int) bool { return !order[x][y] })
			})
		}
	}
}

func emptyOrder(n int) [][]bool {
	o, all := make([][]bool, n), make([]bool, n*n)
	for i := range o {
		o[i] = all[i*n : (i+1)*n]
	}
	return o
}

func (s *stepSource) idAt() int {
	for _, a := range s.attrs {
		if a.kind == '#' {
			return a.at
		}
	}
	return s.at
}

func (lr *lessonReader) resolveAfter(s *stepSource, byID map[string]*stepSource) {
	if s.after == nil {
		return
	}
	for _, w := range words(*s.after) {
		id := strings.Trim(w.text, ",")
		switch {
		case byID[id] == nil:
			near := nearest(id, sortedKeys(byID))
			lr.errorAt(w.at, "unknown_step", "id", id, "nearest", orNone(near))
		case contains(s.afterIDs, id):
			lr.errorAt(w.at, "duplicate_entry", "key", "after", "value", id)
		default:
			s.afterIDs = append(s.afterIDs, id)
			s.afterAt = append(s.afterAt, w.at)
		}
	}
}

// before lists the steps that s itself comes after: what `after` says, else the item before it in a numbered list.
func (s *stepSource) before(byID map[string]*stepSource) (out []*stepSource) {
	if s.after == nil {
		if s.previous != nil {
			return []*stepSource{s.previous}
		}
		return nil
	}
	for _, id := range s.afterIDs {
		out = append(out, byID[id])
	}
	return out
}

// maxCycles bounds how many cycles of a procedure are shown at a time.
const maxCycles = 10

// without is the graph without the edges among the nodes that stand on cycles with one node.
func (g graph) without(node int) graph {
	back := make(graph, len(g))
	for from, out := range g {
		for _, to := range out {
			back.add(to, from)
		}
	}
	there, here := g.reached(node), back.reached(node)
	rest := make(graph, len(g))
	for from, out := range g {
		for _, to := range out {
			if !(there.has(from) && here.has(from) && there.has(to) && here.has(to)) {
				rest.add(from, to)
			}
		}
	}
	return rest
}

// reached are the nodes that can be reached from one.
func (g graph) reached(from int) bits {
	seen, queue := newBits(len(g)), []int{from}
	seen.set(from)
	for at := 0; at < len(queue); at++ {
		for _, to := range g[queue[at]] {
			if !seen.has(to) {
				seen.set(to)
				queue = append(queue, to)
			}
		}
	}
	return seen
}

// cycle reports a cycle, at an `after` that takes part in it.
func (lr *lessonReader) cycle(nodes []int) {
	var ids []string
	at, found := 0, false
	inCycle := map[string]bool{}
	for _, n := range nodes {
		s := lr.steps[n/2]
		if len(ids) == 0 || ids[len(ids)-1] != s.ID {
			ids = append(ids, s.ID)
		}
		inCycle[s.ID] = true
	}
	if len(ids) > 1 && ids[0] == ids[len(ids)-1] {
		ids = ids[:len(ids)-1]
	}
	// The chain begins with the step that comes first in the file.
	first := 0
	for i := range ids {
		if lr.positionOf(ids[i]) < lr.positionOf(ids[first]) {
			first = i
		}
	}
	chain := append(append(slices.Clone(ids[first:]), ids[:first]...), ids[first])
	for _, n := range nodes {
		s := lr.steps[n/2]
		for i, id := range s.afterIDs {
			if inCycle[id] && !found {
				at, found = s.afterAt[i], true
			}
		}
	}
	if !found && len(nodes) > 0 {
		at = lr.steps[nodes[0]/2].at
	}
	lr.errorAt(at, "cycle", "chain", strings.Join(chain, " → "))
}

func (lr *lessonReader) positionOf(id string) int {
	for i, s := range lr.steps {
		if s.ID == id {
			return i
		}
	}
	return len(lr.steps)
}

// impliedAfter warns of an `after` that changes nothing: another step that s waits for, or its parent, waits for it
// already, or it repeats the order of the list.
func (lr *lessonReader) impliedAfter(s *stepSource, byID map[string]*stepSource, number map[*stepSource]int, reach []bits) {
	if len(s.afterIDs) == 1 && s.previous != nil && s.afterIDs[0] == s.previous.ID {
		lr.warnAt(s.afterAt[0], "after_repeats_list", "step", s.ID, "after", s.afterIDs[0])
		return
	}
	i := number[s]
	for k, id := range s.afterIDs {
		from := end(number[byID[id]])
		implied := s.parent != nil && reach[from].has(start(number[s.parent]))
		for other, id2 := range s.afterIDs {
			if other != k && reach[from].has(end(number[byID[id2]])) {
				implied = true
			}
		}
		if implied && reach[from].has(start(i)) {
			lr.warnAt(s.afterAt[k], "after_implied", "step", s.ID, "after", id)
		}
	}
}

// inherit gives the sub-steps of a critical step their gravity where none of them is marked itself: a parent is never
// asked or watched beside its sub-steps, so one of them must carry it. A hold point passes to the last sub-steps.
func (lr *lessonReader) inherit() {
	for i, s := range lr.steps {
		if len(s.children) == 0 {
			continue
		}
		leaves := s.leaves()
		if s.ownCritical && !slices.ContainsFunc(leaves, func(l *stepSource) bool { return l.criticalWithin(s) }) {
			for _, l := range leaves {
				l.Critical = true
			}
		}
		if s.ownHold && !slices.ContainsFunc(leaves, func(l *stepSource) bool { return l.holdWithin(s) }) {
			for _, l := range leaves {
				last := true
				for _, m := range leaves {
					if lr.l.Procedure.order[lr.indexOf(l)][lr.indexOf(m)] {
						last = false
					}
				}
				if last {
					l.Hold = true
				}
			}
		}
		_ = i
	}
}

func (lr *lessonReader) indexOf(s *stepSource) int { return slices.Index(lr.steps, s) }

func (s *stepSource) leaves() (out []*stepSource) {
	if len(s.children) == 0 {
		return []*stepSource{s}
	}
	for _, c := range s.children {
		out = append(out, c.leaves()...)
	}
	return out
}

// criticalWithin says whether s or a step between it and top is marked critical.
func (s *stepSource) criticalWithin(top *stepSource) bool {
	for ; s != nil && s != top; s = s.parent {
		if s.ownCritical {
			return true
		}
	}
	return false
}

func (s *stepSource) holdWithin(top *stepSource) bool {
	for ; s != nil && s != top; s = s.parent {
		if s.ownHold {
			return true
		}
	}
	return false
}

// consequences asks of every critical step that it, or each of its critical sub-steps, says what follows.
func (lr *lessonReader) consequences() {
	for _, s := range lr.steps {
		if s.ownCritical && !s.hasConsequence() {
			lr.errorAt(s.at, "critical_without_consequence", "step", s.ID)
		}
	}
}

func (s *stepSource) hasConsequence() bool {
	if len(s.IfSkipped)+len(s.IfWrong) > 0 {
		return true
	}
	critical := 0
	for _, c := range s.children {
		for _, d := range c.all() {
			if d.ownCritical {
				critical++
				if !d.hasConsequence() {
					return false
				}
			}
		}
	}
	return critical > 0
}

// all is s and everything below it.
func (s *stepSource) all() []*stepSource {
	out := []*stepSource{s}
	for _, c := range s.children {
		out = append(out, c.all()...)
	}
	return out
}
