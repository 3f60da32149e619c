package quiz

import (
	"cmp"
	"slices"
)

// Where all options come from one field (a column of a table, a point of the steps, the names of parts), what is wrong in
// one question is right in another. The families then ask in closed sets: four options, each of which is the key of a
// question of its own with these same options. Over the questions of a set every option is the key once, so nothing that
// can be seen of the options alone (length, figures, commas, likeness) tells the key, by construction and for any
// bot. What the stem shares with the options is looked after when the sets are made.

// member is a possible option with the question whose key it is.
type member struct {
	choice
	ask         asking
	stem        string
	asks        *phrase   // the stem
	given       []*phrase // the lesson's words that the stem quotes
	explanation string
	tests       []string
	shows       []string
	params      string
	picture     *Picture
	carStem     bool // the stem holds a figure of the car
	// finish, if not nil, draws what else belongs to the question.
	finish func(p *proposal, d *draws) *proposal

	echo []echo // words that stem and option share
}

// asking names the item that asks a member; several members may belong to one (the reasons of a step).
type asking struct {
	label, element string
	line           int
	critical       bool
}

// closure makes sets of members.
type closure struct {
	members []member

	least, size, most int                 // of sets
	near              func(i, j int) bool // if not nil, every member of a set needs such a one beside it

	fit    []bitset     // fit[i] holds those that may stand beside i, whichever of the two is the key
	cover  [][]bitset   // cover[i][e] holds those that have i's e-th echo too: one of them must stand beside i
	shared [2][][]uint8 // shared[0][i][j] is how many content words i's stem and j's option share, shared[1] how many of j's words i's stem has
	mates  []int        // how many fit
	lead   lead         // of all sets so far
	sets   [][]int
	rounds [][]int // rounds[r][i] is the set of member i in round r, or -1
}

// lead is how far keys are ahead of their sets in what they share with their stems, for content words and for all:
// by how many words, and how much oftener than by chance they share the most, or the least. Sets are chosen to keep it
// at nought.
type lead [6]float64

// rounds is how often the members are divided into sets, so that an item has several shapes; each is the best of so
// many divisions drawn, each set in it the best of so many tries.
const (
	rounds    = 4
	divisions = 3
	tries     = 3
)

// setSize is the number of options of a closed set; where the members do not come out even, some sets have leastSet and
// some mostSet.
const (
	leastSet = 3
	setSize  = 4
	mostSet  = 5
)

type bitset []uint64

func newBitset(n int) bitset { return make(bitset, (n+63)/64) }

func newBitsets(n int) []bitset {
	out := make([]bitset, n)
	for i := range out {
		out[i] = newBitset(n)
	}
	return out
}

func (b bitset) set(i int)      { b[i/64] |= 1 << (i % 64) }
func (b bitset) clear(i int)    { b[i/64] &^= 1 << (i % 64) }
func (b bitset) has(i int) bool { return b[i/64]>>(i%64)&1 != 0 }

// closedItems makes the items of members that share a field. apart says that one of two may be true of the other's stem;
// num/den is how much of their words two options may share. An item without a set is left out.
func (s *subject) closedItems(name string, members []member, apart func(i, j int) bool, num, den int) []*item {
	c := &closure{members: members, least: leastSet, size: setSize, most: mostSet}
	c.compare(s, apart, num, den)
	return c.items(s, name)
}

// items divides the members into sets and makes the items that ask them.
func (c *closure) items(s *subject, name string) []*item {
	members := c.members
	c.choose(s.key("sets", name).draws())
	at := map[asking]int{}
	var out []*item
	var of [][]int // of each item: its members
	for i := range members {
		k, ok := at[members[i].ask]
		if !ok {
			k = len(out)
			at[members[i].ask] = k
			a := members[i].ask
			out, of = append(out, &item{label: a.label, element: a.element, line: a.line, critical: a.critical, sure: true}), append(of, nil)
		}
		of[k] = append(of[k], i)
	}
	kept := out[:0]
	for k, it := range out {
		mine := slices.DeleteFunc(of[k], func(i int) bool { return !slices.ContainsFunc(c.rounds, func(r []int) bool { return r[i] >= 0 }) })
		if len(mine) == 0 {
			continue
		}
		it.make = func(d *draws) *proposal {
			// The round is drawn first: so each set of it is asked by all its members alike. Only a member that has found no
			// place in that round takes another.
			i, r := pick(d, mine), d.below(len(c.rounds))
			for c.rounds[r][i] < 0 {
				r = (r + 1) % len(c.rounds)
			}
			p := c.proposal(i, c.sets[c.rounds[r][i]])
			if finish := members[i].finish; finish != nil {
				return finish(p, d)
			}
			return p
		}
		kept = append(kept, it)
	}
	return kept
}

func (c *closure) proposal(key int, set []int) *proposal {
	m := &c.members[key]
	p := &proposal{kind: Single, stem: m.stem, right: []choice{m.choice}, closed: true, asks: m.asks, explanation: m.explanation, tests: m.tests, shows: m.shows,
		params: m.params, picture: m.picture, onCar: m.carStem}
	for _, i := range set {
		if i != key {
			p.wrong = append(p.wrong, c.members[i].choice)
		}
	}
	return p
}

// compare works out which members may stand side by side: neither resembles the other, nor anything that may be true of
// the other's stem, nor speaks of the other's matter by a word that only the two share.
func (c *closure) compare(s *subject, apart func(i, j int) bool, num, den int) {
	n := len(c.members)
	c.fit = make([]bitset, n)
	likeness, kin := make([]bitset, n), make([]bitset, n) // of the options; of what they answer
	for i := range c.members {
		c.fit[i], likeness[i], kin[i] = newBitset(n), newBitset(n), newBitset(n)
		m := &c.members[i]
		m.asks = s.phrase(m.stem)
		m.echo = echoes(m.asks, m.phrase, nil)
	}
	count := map[uint64]int{}
	for i := range c.members {
		for _, w := range c.members[i].words {
			count[w]++
		}
	}
	usual := max(4, n/4) // a word of so many options says nothing of one of them
	for i := range n {
		for j := range i {
			a, b := &c.members[i], &c.members[j]
			if alike(a.phrase, b.phrase, num, den) {
				likeness[i].set(j)
				likeness[j].set(i)
			}
			if a.ask.element == b.ask.element || apart(i, j) {
				kin[i].set(j)
				kin[j].set(i)
			}
		}
	}
	c.cover = make([][]bitset, n)
	for k := range c.shared {
		c.shared[k] = make([][]uint8, n)
	}
	for i := range n {
		m := &c.members[i]
		for _, w := range m.echo {
			cover := newBitset(n)
			for j := range n {
				if j != i && c.members[j].takesAway(w) {
					cover.set(j)
				}
			}
			c.cover[i] = append(c.cover[i], cover)
		}
		for k := range c.shared {
			c.shared[k][i] = make([]uint8, n)
		}
		for j := range n {
			c.shared[0][i][j] = uint8(min(commonOf(m.asks, c.members[j].phrase), 255))
			c.shared[1][i][j] = uint8(min(heard(m.asks, c.members[j].phrase), 255))
		}
	}
	c.mates = make([]int, n)
	askable := func(m *member) bool { return m.norm != "" && m.asks.runes <= maxStem-stemRoom }
	for i := range n {
		if !askable(&c.members[i]) {
			continue
		}
		for j := range i {
			if !askable(&c.members[j]) || likeness[i].has(j) || kin[i].has(j) || meets(kin[i], likeness[j]) || meets(kin[j], likeness[i]) ||
				c.members[i].speaksOf(&c.members[j], count, usual) || c.members[j].speaksOf(&c.members[i], count, usual) {
				continue
			}
			c.fit[i].set(j)
			c.fit[j].set(i)
			c.mates[i]++
			c.mates[j]++
		}
	}
}

func meets(a, b bitset) bool {
	for i := range a {
		if a[i]&b[i] != 0 {
			return true
		}
	}
	return false
}

// speaksOf says that an option takes up a word of another's stem which that one's own answer does not have ("pins do not
// move": pins stuck): it may then be true of it as well. A word that many options have says nothing.
func (m *member) speaksOf(other *member, count map[uint64]int, usual int) bool {
	for _, g := range other.given {
		if m.mask&g.mask == 0 {
			continue
		}
		for _, w := range m.words {
			if holdsWord(g.words, w) && !holdsWord(other.words, w) && count[w] < usual {
				return true
			}
		}
	}
	return false
}

// choose divides the members into sets, a few times over, so that the lead stays small, and takes divisions back that
// leave too much of it. Of the last one only the sets go that leave it: a table in which stem and key always share more
// than by chance gets no sets.
func (c *closure) choose(d *draws) {
	var kept []division
	questions := 0
	for range rounds {
		var best division
		weight := 0.0
		for range divisions {
			v := c.divide(d)
			after := c.lead
			after.add(v.lead)
			if w := after.size() + float64(v.left*v.left); best.sets == nil || v.sets != nil && w < weight {
				best, weight = v, w
			}
		}
		if best.sets != nil {
			kept = append(kept, best)
			c.lead.add(best.lead)
			questions += len(c.members) - best.left
		}
	}
	for len(kept) > 0 && c.lead.top() > max(bound, share*float64(questions)) {
		worst := slices.IndexFunc(kept, func(v division) bool {
			return !slices.ContainsFunc(kept, func(o division) bool { return o.lead.top() > v.lead.top() })
		})
		if len(kept) == 1 {
			kept[0] = c.thin(kept[0])
			break
		}
		c.lead.take(kept[worst].lead)
		questions -= len(c.members) - kept[worst].left
		kept = slices.Delete(kept, worst, worst+1)
	}
	for _, v := range kept {
		round := make([]int, len(c.members))
		for i := range round {
			round[i] = -1
		}
		for k, set := range v.sets {
			for _, i := range set {
				round[i] = len(c.sets) + k
			}
		}
		c.rounds, c.sets = append(c.rounds, round), append(c.sets, v.sets...)
	}
}

// thin takes sets out of the only division left until its lead is small enough: each time the one without which the lead
// is smallest. Sets of one division share no member, so each that stays is still asked by all its members alike.
func (c *closure) thin(v division) division {
	questions := len(c.members) - v.left
	for len(v.sets) > 0 && v.lead.top() > max(bound, share*float64(questions)) {
		at, least := -1, 0.0
		for i, set := range v.sets {
			rest := v.lead
			rest.take(c.leadOf(set))
			if top := rest.top(); at < 0 || top < least {
				at, least = i, top
			}
		}
		v.lead.take(c.leadOf(v.sets[at]))
		v.left += len(v.sets[at])
		questions -= len(v.sets[at])
		v.sets = slices.Delete(v.sets, at, at+1)
	}
	return v
}

// division is one division of all members into sets.
type division struct {
	sets [][]int
	lead lead
	left int // members without a set
}

// divide draws one division: sets of four as far as they go, those with the fewest mates first, each the better of two or
// three; who is left over joins a set that has room.
func (c *closure) divide(d *draws) division {
	n := len(c.members)
	free := newBitset(n)
	for i := range n {
		free.set(i)
	}
	v := division{}
	order := d.order(n)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(c.mates[a], c.mates[b]) })
	drawn := d.order(n)
	beside := newBitset(n)
	for _, m := range order {
		if !free.has(m) {
			continue
		}
		var set []int
		var then lead
		for range tries {
			made := c.around(m, free, drawn, beside)
			drawn = append(drawn[n/3:], drawn[:n/3]...)
			if made == nil {
				continue
			}
			ahead := c.lead // that of the rounds before and of this one
			ahead.add(v.lead)
			ahead.add(c.leadOf(made))
			if set == nil || len(made) > len(set) || len(made) == len(set) && ahead.size() < then.size() {
				set, then = made, ahead
			}
		}
		if set == nil {
			continue
		}
		for _, i := range set {
			free.clear(i)
		}
		v.sets = append(v.sets, set)
		v.lead.add(c.leadOf(set))
	}
	for _, m := range order {
		if !free.has(m) {
			continue
		}
		at := slices.IndexFunc(v.sets, func(set []int) bool {
			return len(set) < c.most && c.near == nil && !slices.ContainsFunc(set, func(i int) bool { return !c.fit[m].has(i) }) && c.covered(m, set)
		})
		if at < 0 {
			v.left++
			continue
		}
		v.lead.take(c.leadOf(v.sets[at]))
		v.sets[at] = append(v.sets[at], m)
		v.lead.add(c.leadOf(v.sets[at]))
	}
	return v
}

// stemRoom is what a stem may still grow by when its readings are filled in.
const stemRoom = 40

// bound and share say how many questions of a table may be guessed by what stem and key share, beyond those by chance: so
// many, or such a share of all.
const (
	bound = 0.5
	share = 0.045
)

func (l *lead) add(o lead) {
	for k := range l {
		l[k] += o[k]
	}
}

func (l *lead) take(o lead) {
	for k := range l {
		l[k] -= o[k]
	}
}

// top is the largest number of questions that are guessed beyond chance.
func (l lead) top() float64 { return max(l[1], l[2], l[4], l[5]) }

func (l lead) size() (sum float64) {
	for _, x := range l {
		sum += x * x
	}
	return sum
}

// around makes a set with m in it, of free members, preferring the first of drawn; nil if there is none in which every
// member's echo is covered. beside is room to work in.
func (c *closure) around(m int, free bitset, drawn []int, beside bitset) []int {
	set := make([]int, 1, c.most)
	set[0] = m
	for w := range beside {
		beside[w] = free[w] & c.fit[m][w]
	}
	add := func(i int) {
		set = append(set, i)
		for w := range beside {
			beside[w] &= c.fit[i][w]
		}
	}
	if c.near != nil {
		for _, i := range drawn {
			if beside.has(i) && c.near(m, i) && c.covered(i, set) {
				add(i)
				break
			}
		}
	}
	for _, cover := range c.cover[m] {
		if len(set) == c.size || slices.ContainsFunc(set, cover.has) {
			continue
		}
		for _, i := range drawn {
			if beside.has(i) && cover.has(i) && c.covered(i, set) {
				add(i)
				break
			}
		}
	}
	if !c.covered(m, set) {
		return nil
	}
	for _, i := range drawn {
		if len(set) == c.size {
			break
		}
		if beside.has(i) && c.covered(i, set) {
			add(i)
		}
	}
	if len(set) < c.least {
		return nil
	}
	if c.near != nil && slices.ContainsFunc(set, func(i int) bool {
		return !slices.ContainsFunc(set, func(j int) bool { return j != i && c.near(i, j) })
	}) {
		return nil
	}
	return set
}

// covered says that others of the set have whatever i's stem and option share.
func (c *closure) covered(i int, set []int) bool {
	for _, cover := range c.cover[i] {
		if !slices.ContainsFunc(set, cover.has) {
			return false
		}
	}
	return true
}

func (c *closure) leadOf(set []int) (l lead) {
	for kind, shared := range c.shared {
		for _, k := range set {
			most, least, ties, lows, sum := 0, 1<<30, 0, 0, 0
			for _, j := range set {
				v := int(shared[k][j])
				sum += v
				if v > most {
					most, ties = v, 0
				}
				if v == most {
					ties++
				}
				if v < least {
					least, lows = v, 0
				}
				if v == least {
					lows++
				}
			}
			chance := 1 / float64(len(set))
			own := int(shared[k][k])
			l[3*kind] += float64(own) - float64(sum)*chance
			l[3*kind+1] += float64(one(own == most))/float64(ties) - chance
			l[3*kind+2] += float64(one(own == least))/float64(lows) - chance
		}
	}
	return l
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}
