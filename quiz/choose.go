package quiz

import (
	"cmp"
	"slices"
)

// The choice of a form's questions is one optimisation. Given are candidates, each of one lesson and one family, with a
// difficulty, perhaps with a critical step that it asks; pairs of candidates that clash; the blueprint's numbers. Chosen
// is a set in which nothing clashes and no number is exceeded, that is, in this order,
//
//  1. asks the most of the critical steps that are due,
//  2. fills most of the places of the families that the blueprint counts,
//  3. fills most of the places of its lessons,
//  4. has the most questions, up to the number asked for,
//  5. has the fewest beyond a tenth that the numbers before and after may ask as well,
//  6. has a mean difficulty within [difficultyBound] of the blueprint's.
//
// A set that leaves nothing of this open is called feasible. What is left free goes by taste: far apart in the lesson,
// evenly over lessons and families, else as drawn.
//
// With clashes this is a search for an independent set, for which no quick rule is known. So: a greedy choice, the most
// bound places first; then exchanges (force a candidate that would serve what is missing, drop what stands in its way,
// fill up again; one question out and two in; one for one towards the difficulty asked for); where that is not feasible, a
// depth-first search in a bounded number of steps. On sets as small as those of the tests the search is complete: a
// feasible form that exists is found. All steps are integer arithmetic over lists in drawn order, so the same draw makes
// the same choice everywhere.

// candidate is an item as the choice sees it.
type candidate struct {
	lesson, family int // indexes
	hard           int // difficulty
	step           int // the critical step that it asks, or -1
	row            int // 1 + the lesson's row that it asks, 0 for none: of one row only one is asked, as long as near is distant
	tier           tier
}

// tier says for whom a candidate is kept.
type tier uint8

const (
	own   tier = iota // this number's own
	spare             // of the numbers before and after, which leave it over
	taken             // which they may ask as well
	never
)

// nearness of two questions in one form: how near the choice lets them come.
type nearness int

const (
	distant nearness = iota // not on one row or step
	sameRow                 // on one row or step, but not with one key, nor on one fact
	sameKey                 // with one key or on one order of two steps, as long as neither gives the other away
)

// problem is what is chosen from and for.
type problem struct {
	total       int
	least, most []int // questions by lesson
	exactly     []int // questions by family; -1 where it is not counted
	cands       []candidate
	count       [][]int // lesson → family → how many candidates, of whatever tier
	ways        [][]int // step → candidates that ask it
	due         []int   // steps to be asked
	order       []int   // families as drawn: ties go by it
	// hard is the sum of difficulties asked for by total questions, in thousandths; difficulty is free where it is negative.
	hard int
	// list gives the candidates of a lesson and family as drawn.
	list func(lesson, family int) []int
	// open says whether a candidate makes a question; it is asked as late as can be.
	open func(c int) bool
	// clash says whether two candidates that make questions must not stand in one form.
	clash func(a, b int, near nearness) bool
}

// picked is a set of candidates.
type picked struct {
	*problem
	set       []int // in the order of choice
	in        []bool
	perLesson []int
	perFamily []int
	asked     []int // by step
	sum       int   // of difficulties
	repeats   int
}

// stage says how far the choice may go.
type stage struct {
	tier tier
	near nearness
}

func (p *problem) empty() *picked {
	return &picked{problem: p, in: make([]bool, len(p.cands)), perLesson: make([]int, len(p.most)), perFamily: make([]int, len(p.exactly)), asked: make([]int, len(p.ways))}
}

func (x *picked) clone() *picked {
	out := *x
	out.set, out.in, out.perLesson, out.perFamily, out.asked = slices.Clone(x.set), slices.Clone(x.in), slices.Clone(x.perLesson), slices.Clone(x.perFamily), slices.Clone(x.asked)
	return &out
}

func (x *picked) add(c int) { x.set = append(x.set, c); x.tally(c, 1) }

func (x *picked) drop(c int) {
	x.set = slices.Delete(x.set, slices.Index(x.set, c), slices.Index(x.set, c)+1)
	x.tally(c, -1)
}

func (x *picked) tally(c, n int) {
	a := &x.cands[c]
	x.in[c] = n > 0
	x.perLesson[a.lesson] += n
	x.perFamily[a.family] += n
	x.sum += n * a.hard
	if a.step >= 0 {
		x.asked[a.step] += n
	}
	if a.tier == taken {
		x.repeats += n
	}
}

func (x *picked) full() bool { return len(x.set) >= x.total }

// may says whether lesson and family may have one more by their own numbers.
func (x *picked) may(lesson, family int) bool {
	n := x.exactly[family]
	return !x.full() && x.perLesson[lesson] < x.most[lesson] && (n < 0 || x.perFamily[family] < n)
}

// room is may, and keeps the places that counted families and lessons still need for them.
func (x *picked) room(lesson, family int) bool {
	if !x.may(lesson, family) {
		return false
	}
	free := x.total - len(x.set)
	need := 0
	for f, n := range x.exactly {
		if n > x.perFamily[f] {
			need += n - x.perFamily[f]
		}
	}
	if x.exactly[family] < 0 && free <= need {
		return false
	}
	need = 0
	for l, n := range x.least {
		if n > x.perLesson[l] {
			need += n - x.perLesson[l]
		}
	}
	return x.perLesson[lesson] < x.least[lesson] || free > need
}

// fits says whether a candidate can stand beside what is chosen. Numbers of questions are for room to say.
func (x *picked) fits(c int, st stage) bool {
	a := &x.cands[c]
	if x.in[c] || a.tier > st.tier {
		return false
	}
	// Rows are known before a question is made, which costs much more.
	if st.near < sameRow && a.row > 0 && slices.ContainsFunc(x.set, func(o int) bool { return x.cands[o].row == a.row && x.cands[o].lesson == a.lesson }) {
		return false
	}
	return x.open(c) && !slices.ContainsFunc(x.set, func(o int) bool { return x.clash(c, o, st.near) })
}

// take chooses the first candidate that fits and for which there is room.
func (x *picked) take(list []int, st stage) bool { return x.takeIf(x.room, list, st) }

func (x *picked) takeIf(room func(lesson, family int) bool, list []int, st stage) bool {
	for _, c := range list {
		if room(x.cands[c].lesson, x.cands[c].family) && x.fits(c, st) {
			x.add(c)
			return true
		}
	}
	return false
}

// score is what the choice is judged by, most important first; more is better.
func (x *picked) score() [6]int {
	var s [6]int
	for _, step := range x.due {
		s[0] += min(1, x.asked[step])
	}
	for f, n := range x.exactly {
		if n > 0 {
			s[1] += min(n, x.perFamily[f])
		}
	}
	for l, n := range x.least {
		s[2] += min(n, x.perLesson[l])
	}
	s[3] = len(x.set)
	s[4] = -max(0, x.repeats-x.total/10)
	s[5] = -x.excess()
	return s
}

// best is the score that leaves nothing open.
func (p *problem) best() [6]int {
	s := [6]int{len(p.due), 0, 0, p.total}
	for _, n := range p.exactly {
		s[1] += max(0, n)
	}
	for _, n := range p.least {
		s[2] += n
	}
	return s
}

func (x *picked) better(y *picked) bool {
	a, b := x.score(), y.score()
	return slices.Compare(a[:], b[:]) > 0
}

func (x *picked) feasible() bool { return x.score() == x.best() }

// complete is feasible but for the difficulty.
func (x *picked) complete() bool {
	s := x.score()
	s[5] = 0
	return s == x.best()
}

// excess is by how much the difficulty leaves its bounds, in thousandths over all questions.
func (x *picked) excess() int { return x.excessOf(len(x.set), x.sum) }

func (p *problem) excessOf(n, sum int) int {
	if p.hard < 0 || n == 0 {
		return 0
	}
	off := 1000*sum - p.hard*n/p.total
	return max(0, max(off, -off)-1000*difficultyBound*n)
}

// choose solves the problem as far as tier allows, beginning with what is chosen already.
func (x *picked) choose(upTo tier) *picked {
	x.fill(upTo)
	if !x.complete() {
		x = x.mend(upTo)
	}
	x.level(upTo)
	if x.feasible() {
		return x
	}
	if y := x.search(upTo); y != nil {
		return y
	}
	if x.score()[0] < len(x.due) {
		if y := x.searchDue(upTo); y != nil {
			y.fill(upTo)
			if y.level(upTo); y.better(x) {
				return y
			}
		}
	}
	return x
}

// fill is the greedy choice.
func (x *picked) fill(upTo tier) {
	for t := own; t <= upTo; t++ {
		for near := distant; near <= sameKey; near++ {
			st := stage{t, near}
			x.fillDue(st)
			x.fillCounted(st)
			x.fillEvenly(st)
		}
		if x.full() {
			return
		}
	}
}

// fillDue asks the critical steps that are due, those first that few candidates ask. They come as near to one another as
// they must.
func (x *picked) fillDue(st stage) {
	open := slices.DeleteFunc(slices.Clone(x.due), func(s int) bool { return x.asked[s] > 0 })
	slices.SortStableFunc(open, func(a, b int) int { return cmp.Compare(len(x.ways[a]), len(x.ways[b])) })
	for _, s := range open {
		ways := slices.Clone(x.ways[s])
		slices.SortStableFunc(ways, func(a, b int) int {
			fa, fb := x.cands[a].family, x.cands[b].family
			if fa == fb {
				return 0
			}
			return cmp.Or(cmp.Compare(x.perFamily[fa], x.perFamily[fb]), cmp.Compare(slices.Index(x.order, fa), slices.Index(x.order, fb)))
		})
		for near := st.near; near <= sameKey && !x.takeIf(x.may, ways, stage{st.tier, near}); near++ {
		}
	}
}

// fillCounted serves the families that the blueprint counts, those with the fewest candidates first.
func (x *picked) fillCounted(st stage) {
	var counted []int
	n := map[int]int{}
	for _, f := range x.order {
		if x.exactly[f] > x.perFamily[f] {
			counted = append(counted, f)
			for _, count := range x.count {
				n[f] += count[f]
			}
		}
	}
	slices.SortStableFunc(counted, func(a, b int) int { return cmp.Compare(n[a], n[b]) })
	for _, f := range counted {
		for x.perFamily[f] < x.exactly[f] {
			lessons := make([]int, len(x.count))
			for i := range lessons {
				lessons[i] = i
			}
			slices.SortStableFunc(lessons, func(a, b int) int {
				return cmp.Compare(x.most[b]-x.perLesson[b], x.most[a]-x.perLesson[a])
			})
			if !slices.ContainsFunc(lessons, func(l int) bool { return x.take(x.list(l, f), st) }) {
				break
			}
		}
	}
}

// fillEvenly fills up: the lesson with the most room and, in it, the family with the fewest questions so far.
func (x *picked) fillEvenly(st stage) {
	spent := make([]bool, len(x.count)*len(x.exactly))
	for !x.full() {
		lesson, family := x.next(spent)
		if family < 0 {
			return
		}
		if !x.take(x.list(lesson, family), st) {
			spent[lesson*len(x.exactly)+family] = true
		}
	}
}

func (x *picked) next(spent []bool) (lesson, family int) {
	lesson, family = -1, -1
	for l := range x.count {
		if lesson >= 0 && x.most[l]-x.perLesson[l] <= x.most[lesson]-x.perLesson[lesson] {
			continue
		}
		best := -1
		for _, f := range x.order {
			if x.count[l][f] > 0 && (best < 0 || x.perFamily[f] < x.perFamily[best]) && !spent[l*len(x.exactly)+f] && x.room(l, f) {
				best = f
			}
		}
		if best >= 0 {
			lesson, family = l, best
		}
	}
	return lesson, family
}

// What exchanges and search may cost: beyond these bounds the best set found so far stands.
const (
	mostForced = 24   // candidates forced for one thing that is missing
	mostRounds = 12   // exchanges that better the set
	mostSteps  = 4000 // of the depth-first search
	mostSwaps  = 40   // one for one, towards the difficulty
	// nearestSwaps of a family, the first as drawn, are looked at for each question.
	nearestSwaps = 3
)

// mend forces candidates that would serve what is missing, as long as the set gets better by it.
func (x *picked) mend(upTo tier) *picked {
	for range mostRounds {
		y := x.mended(upTo)
		if y == nil {
			break
		}
		if x = y; x.complete() {
			break
		}
	}
	return x
}

func (x *picked) mended(upTo tier) *picked {
	var serve []int
	for _, s := range x.due {
		if x.asked[s] == 0 {
			serve = append(serve, x.unused(x.ways[s], upTo, mostForced)...)
		}
	}
	for f, n := range x.exactly {
		for l := range x.count {
			if n > x.perFamily[f] {
				serve = append(serve, x.unused(x.list(l, f), upTo, mostForced)...)
			}
		}
	}
	for l, n := range x.least {
		if n > x.perLesson[l] {
			for _, f := range x.order {
				serve = append(serve, x.unused(x.list(l, f), upTo, 3)...)
			}
		}
	}
	for _, c := range serve {
		if y := x.forced(c, upTo); y.better(x) {
			return y
		}
	}
	if !x.full() {
		return x.oneForTwo(upTo)
	}
	return nil
}

// unused lists at most n candidates of a list that are not chosen.
func (x *picked) unused(list []int, upTo tier, n int) (out []int) {
	for _, c := range list {
		if len(out) == n {
			break
		}
		if !x.in[c] && x.cands[c].tier <= upTo && x.open(c) {
			out = append(out, c)
		}
	}
	return out
}

// forced is the set with c, without what stands in its way, filled up again.
func (x *picked) forced(c int, upTo tier) *picked {
	y := x.clone()
	for _, o := range x.set {
		if y.clash(c, o, sameKey) {
			y.drop(o)
		}
	}
	a := y.cands[c]
	// What has the least claim to its place goes first: the last chosen that asks no step that is due alone.
	give := func(of func(o int) bool) {
		for i := len(y.set) - 1; i >= 0; i-- {
			o := y.set[i]
			if b := y.cands[o]; of(o) && (b.step < 0 || b.step == a.step || y.asked[b.step] > 1 || !slices.Contains(y.due, b.step)) {
				y.drop(o)
				return
			}
		}
	}
	if n := y.exactly[a.family]; n >= 0 && y.perFamily[a.family] >= n {
		give(func(o int) bool { return y.cands[o].family == a.family })
	}
	if y.perLesson[a.lesson] >= y.most[a.lesson] {
		give(func(o int) bool { return y.cands[o].lesson == a.lesson })
	}
	if !y.room(a.lesson, a.family) {
		give(func(o int) bool { return y.exactly[y.cands[o].family] < 0 })
	}
	if !y.room(a.lesson, a.family) {
		return x
	}
	y.add(c)
	y.fill(upTo)
	return y
}

// oneForTwo finds a question whose place two others can take.
func (x *picked) oneForTwo(upTo tier) *picked {
	behind := map[int][]int{} // chosen → candidates that clash with it alone
	for c, a := range x.cands {
		if x.in[c] || a.tier > upTo || !x.open(c) {
			continue
		}
		alone := -1
		for _, o := range x.set {
			if x.clash(c, o, sameKey) {
				if alone >= 0 {
					alone = -2
					break
				}
				alone = o
			}
		}
		if alone >= 0 {
			behind[alone] = append(behind[alone], c)
		}
	}
	for _, o := range x.set {
		if len(behind[o]) < 2 {
			continue
		}
		y := x.clone()
		y.drop(o)
		for i, c := range behind[o] {
			z := y.clone()
			if !z.take([]int{c}, stage{upTo, sameKey}) || !z.take(behind[o][i+1:], stage{upTo, sameKey}) {
				continue
			}
			if z.fill(upTo); z.better(x) {
				return z
			}
		}
	}
	return nil
}

// level exchanges one question for one of its lesson until the difficulty is within its bounds or nothing brings it
// nearer. Of several exchanges that one is made which leaves the least excess, then the most even families.
func (x *picked) level(upTo tier) {
	type swap struct{ out, in, excess, uneven int }
	for range mostSwaps {
		excess := x.excess()
		if excess == 0 {
			return
		}
		var swaps []swap
		for _, o := range x.set {
			a := x.cands[o]
			for f, n := range x.count[a.lesson] {
				if n == 0 {
					continue
				}
				near := 0
				for _, c := range x.list(a.lesson, f) {
					if near == nearestSwaps {
						break
					}
					b := x.cands[c]
					if b.hard == a.hard || x.in[c] || b.tier > upTo || b.tier > a.tier ||
						b.family != a.family && (x.exactly[a.family] >= 0 || x.exactly[b.family] >= 0) ||
						a.step >= 0 && a.step != b.step && x.asked[a.step] == 1 && slices.Contains(x.due, a.step) {
						continue
					}
					if e := x.excessOf(len(x.set), x.sum-a.hard+b.hard); e < excess {
						uneven := 0
						if a.family != b.family {
							uneven = x.perFamily[b.family] - x.perFamily[a.family]
						}
						swaps = append(swaps, swap{o, c, e, uneven})
						near++
					}
				}
			}
		}
		slices.SortStableFunc(swaps, func(s, t swap) int {
			return cmp.Or(cmp.Compare(s.excess, t.excess), cmp.Compare(s.uneven, t.uneven))
		})
		made := false
		for near := distant; near <= sameKey && !made; near++ {
			for _, s := range swaps {
				if x.fitsFor(s.in, s.out, near) {
					at := slices.Index(x.set, s.out)
					x.tally(s.out, -1)
					x.set[at] = s.in
					x.tally(s.in, 1)
					made = true
					break
				}
			}
		}
		if !made {
			return
		}
	}
}

// fitsFor says whether c can stand in o's place.
func (x *picked) fitsFor(c, o int, near nearness) bool {
	return x.open(c) && !slices.ContainsFunc(x.set, func(other int) bool { return other != o && x.clash(c, other, near) })
}
