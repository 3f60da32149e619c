package quiz

import "slices"

// search looks for a feasible set depth first, near to x: it takes the requirement that the fewest open candidates can serve, tries
// each of them, those of x first, and leaves out what it has tried. It returns nil where there is none or where mostSteps do not suffice.
func (x *picked) search(upTo tier) *picked {
	s := x.searcher(upTo)
	if len(s.usable) >= x.total && s.find() {
		return s.picked
	}
	return nil
}

// searchDue looks for a set that asks more of the steps that are due than x does, and nothing else: all of them, else all
// but one, and so on.
func (x *picked) searchDue(upTo tier) *picked {
	s := x.searcher(upTo)
	s.dueOnly = true
	for s.mayMiss = 0; s.mayMiss < len(x.due)-x.score()[0]; s.mayMiss++ {
		if s.find() {
			return s.picked
		}
	}
	return nil
}

func (x *picked) searcher(upTo tier) *searcher {
	s := &searcher{picked: x.empty(), blocked: make([]int, len(x.cands)), left: mostSteps, at: map[int]int{}}
	use := func(c int) {
		if _, met := s.at[c]; !met && x.cands[c].tier <= upTo && x.open(c) {
			s.at[c] = len(s.usable)
			s.usable = append(s.usable, c)
		}
	}
	for _, c := range x.set {
		use(c)
	}
	for _, f := range x.order {
		for l := range x.count {
			for _, c := range x.list(l, f) {
				use(c)
			}
		}
	}
	s.known = make([]int8, len(s.usable)*len(s.usable))
	return s
}

type searcher struct {
	*picked
	usable  []int
	at      map[int]int // candidate → place in usable
	known   []int8      // pair → 1 clash, -1 none, 0 not asked yet
	blocked []int       // candidate → how often it is excluded
	left    int
	// dueOnly looks for the steps that are due alone, of which mayMiss may be missing.
	dueOnly bool
	mayMiss int
}

func (s *searcher) clashes(c, o int) bool {
	i, j := s.at[c], s.at[o]
	k := min(i, j)*len(s.usable) + max(i, j)
	if s.known[k] == 0 {
		s.known[k] = -1
		if s.clash(c, o, sameKey) {
			s.known[k] = 1
		}
	}
	return s.known[k] > 0
}

func (s *searcher) can(c int) bool {
	a := &s.cands[c]
	if s.in[c] || s.blocked[c] > 0 {
		return false
	}
	if s.dueOnly {
		return a.step >= 0 && s.asked[a.step] == 0 && slices.Contains(s.due, a.step) && s.may(a.lesson, a.family)
	}
	return s.room(a.lesson, a.family) && (a.tier != taken || s.repeats < s.total/10)
}

// find extends the set to a feasible one, or leaves it as it was.
func (s *searcher) find() bool {
	if s.dueOnly && s.score()[0] >= len(s.due)-s.mayMiss {
		return true
	}
	if s.full() {
		return s.feasible()
	}
	if s.left--; s.left < 0 {
		return false
	}
	serve, ok := s.serving()
	if !ok {
		return false
	}
	var tried []int
	found := false
	for _, c := range serve {
		if s.left < 0 {
			break
		}
		var hit []int
		for _, o := range s.usable {
			if o != c && !s.in[o] && s.clashes(c, o) {
				hit = append(hit, o)
				s.blocked[o]++
			}
		}
		s.add(c)
		if found = s.find(); found {
			break
		}
		s.drop(c)
		for _, o := range hit {
			s.blocked[o]--
		}
		s.blocked[c]++
		tried = append(tried, c)
	}
	if !found && s.dueOnly && len(tried) == len(serve) && len(tried) > 0 {
		found = s.find() // without this step
	}
	for _, c := range tried {
		s.blocked[c]--
	}
	return found
}

// serving lists the candidates for the requirement that the fewest can serve; ok is false where one cannot be served, or
// where what is left cannot reach the number or the difficulty.
func (s *searcher) serving() (best []int, ok bool) {
	var can []int
	low, high := 0, 0
	for _, c := range s.usable {
		if s.can(c) {
			h := s.cands[c].hard
			if len(can) == 0 || h < low {
				low = h
			}
			if len(can) == 0 || h > high {
				high = h
			}
			can = append(can, c)
		}
	}
	if s.dueOnly {
		// Steps that nothing open asks are missed; more than may be, and this is no way.
		missed := 0
		for _, step := range s.due {
			if s.asked[step] > 0 {
				continue
			}
			list := slices.DeleteFunc(slices.Clone(can), func(c int) bool { return s.cands[c].step != step })
			if len(list) == 0 {
				missed++
			} else if best == nil || len(list) < len(best) {
				best = list
			}
		}
		return best, missed <= s.mayMiss
	}
	left := s.total - len(s.set)
	if len(can) < left {
		return nil, false
	}
	if s.hard >= 0 {
		bound := 1000 * difficultyBound * s.total
		if 1000*(s.sum+left*low) > s.hard+bound || 1000*(s.sum+left*high) < s.hard-bound {
			return nil, false
		}
	}
	best = can
	consider := func(need int, serves func(a *candidate) bool) bool {
		var list []int
		for _, c := range can {
			if serves(&s.cands[c]) {
				list = append(list, c)
			}
		}
		if len(list) < need {
			return false
		}
		if len(list) < len(best) {
			best = list
		}
		return true
	}
	for _, step := range s.due {
		if s.asked[step] == 0 && !consider(1, func(a *candidate) bool { return a.step == step }) {
			return nil, false
		}
	}
	for f, n := range s.exactly {
		if need := n - s.perFamily[f]; need > 0 && !consider(need, func(a *candidate) bool { return a.family == f }) {
			return nil, false
		}
	}
	for l, n := range s.least {
		if need := n - s.perLesson[l]; need > 0 && !consider(need, func(a *candidate) bool { return a.lesson == l }) {
			return nil, false
		}
	}
	return slices.Clone(best), true
}
