package quiz

import (
	"encoding/hex"
	"math/big"
	"slices"
	"strings"
)

// family is one rule that makes questions from one kind of lesson structure.
type family struct {
	info  FamilyInfo
	items func(s *subject) []*item
}

// item is something a lesson can be asked: one source element, one family. What else a question needs (which wrong
// options, which figures) is drawn when it is made.
type item struct {
	family *family
	// label tells items of one family and element apart, such as "front/near".
	label    string
	element  string // source element
	line     int
	file     string // "" for the lesson's own
	critical bool
	sure     bool                     // every draw leads to a question
	make     func(d *draws) *proposal // nil where a draw leads nowhere

	subject *subject
}

// name is the item's own among all items of the lesson.
func (it *item) name() string { return it.family.info.ID + " " + it.element + " " + it.label }

// choice is a possible option. value is set where options are figures, in one unit for all of them.
type choice struct {
	*phrase
	element string
	value   *big.Rat
	onCar   bool
}

// proposal is what a family hands to the guards: a stem, what is right, and what is wrong of it. A family answers for
// the truth of right and for the falsehood of wrong by the lesson's structure; the guards answer for everything that
// concerns the words.
type proposal struct {
	kind        Kind
	stem        string
	params      string // what makes this question itself beside its elements: the figures drawn
	explanation string
	onCar       bool

	right   []choice    // single, point: one; several: the right ones; order: the set; match: the options
	wrong   []choice    // single, point, several: what is false of the stem
	targets []choice    // match: targets[i] belongs to right[i]
	forced  [][2]int    // order: pairs of indexes into right, transitively closed
	number  *NumberKey  // number
	slips   []NamedSlip // number
	picture *Picture

	// closed says that the wrong options are the rest of a closed set (see closedItems), of which none may be left out.
	closed bool
	// asks is the stem as a phrase where it is known beforehand.
	asks *phrase
	// inPlace keeps the options in the order given (lines of a write-up, numbers of a drawing): where the key stands is
	// then drawn by the family.
	inPlace bool
	// preferred says that the wrong figures stand in order of preference: slips before numbers made up to fill.
	preferred bool
	// least and most bound the number of options; 0 means 3 and 4.
	least, most int
	// lists says that the stem shows all options' words, so that none of them can give the key away.
	lists bool
	// tests and shows name what is asked and what is told: a question must not show what another of its form tests.
	tests, shows []string
}

// rejection is why the guards refused a proposal; "" is accepted.
type rejection string

const (
	accepted       rejection = ""
	tooLong        rejection = "the stem is too long"
	tooFew         rejection = "fewer than three options are left"
	emptyText      rejection = "a text is empty"
	repeated       rejection = "two options say the same"
	oneSided       rejection = "there are not enough figures on both sides of the key"
	echoed         rejection = "the stem gives the key away by a word that no other option has"
	easyGuess      rejection = "a guess is too likely to be right"
	unmade         rejection = "the draw leads nowhere"
	maxStem                  = 420
	maxListingStem           = 1600
)

// settled is a proposal whose options have been chosen and placed.
type settled struct {
	*proposal
	options []choice
	keyed   map[int]bool // indexes of the right options
	targets []choice
	pairs   [][2]int // order: into options; match: option, target
}

// settle chooses the wrong options, places the right ones and applies every guard. It is the only way from a proposal
// to a question.
func settle(p *proposal, language string, d *draws) (*settled, rejection) {
	limit := maxStem
	if p.lists || p.kind == Number || p.slips != nil || strings.Contains(p.stem, "\n") {
		limit = maxListingStem
	}
	if p.stem == "" {
		return nil, emptyText
	}
	if len([]rune(p.stem)) > limit {
		return nil, tooLong
	}
	for _, c := range p.right {
		if c.norm == "" && c.value == nil {
			return nil, emptyText
		}
	}
	switch p.kind {
	case Number:
		return &settled{proposal: p}, accepted
	case Order:
		return settleOrder(p, d)
	case Match:
		return settleMatch(p, d)
	}
	stem := p.asks
	if stem == nil && !p.closed && !p.inPlace && p.right[0].value == nil { // figures give nothing away by their words
		stem = newPhrase(p.stem, language)
		p.asks = stem
	}
	if p.kind == Several {
		return settleSeveral(p, stem, d)
	}
	return settleSingle(p, stem, d)
}

func settleSingle(p *proposal, stem *phrase, d *draws) (*settled, rejection) {
	key := p.right[0]
	least, most := p.bounds()
	if p.closed {
		return place(p, append([]choice{key}, p.wrong...), d.order(1+len(p.wrong))), accepted
	}
	if p.inPlace {
		options := append([]choice{key}, p.wrong...)
		if len(options) < least || doubled(options) {
			return nil, tooFew
		}
		return place(p, options, inGivenOrder(options)), accepted
	}
	if key.value == nil {
		return settleBeside(p, stem, key, most, d)
	}
	// What is left are figures.
	wrong := p.wrong
	if !p.preferred {
		wrong = shuffled(d, wrong)
	}
	sortByLength(wrong, func(c choice) int { return len(c.text) }, len(key.text))
	pool := p.admissible(wrong)
	if !p.preferred { // a figure with more digits than all others, or fewer, would be guessed; slips are as long as they come
		pool = slices.DeleteFunc(slices.Clone(pool), func(c choice) bool { return len(c.text) != len(key.text) })
	}
	chosen := byValue(key, pool, d.below(most), most)
	if chosen == nil {
		return nil, oneSided
	}
	options := append([]choice{key}, chosen...)
	return place(p, options, byRank(options)), accepted
}

// settleBeside draws wrong options beside the key. A word that the stem shares with one option alone gives that one away or
// rules it out, so there is none.
func settleBeside(p *proposal, stem *phrase, key choice, most int, d *draws) (*settled, rejection) {
	options := []choice{key}
	for _, w := range shuffled(d, p.wrong) {
		if len(options) == most {
			break
		}
		if w.norm != "" && !slices.ContainsFunc(options, func(o choice) bool { return clash(w, o) }) {
			options = append(options, w)
		}
	}
	if len(options) < most {
		return nil, tooFew
	}
	if singled(stem, options) {
		return nil, echoed
	}
	return place(p, options, d.order(len(options))), accepted
}

// singled says that the stem shares a word with one of the options alone.
func singled(stem *phrase, options []choice) bool {
	all := phrases(options)
	for i, o := range all {
		if stem.mask&o.mask != 0 && len(echoes(stem, o, slices.Concat(all[:i:i], all[i+1:]))) > 0 {
			return true
		}
	}
	return false
}

func (p *proposal) bounds() (least, most int) {
	least, most = 3, 4
	if p.least > 0 {
		least = p.least
	}
	if p.most > 0 {
		most = p.most
	}
	return least, most
}

// admissible drops wrong options that repeat or hold a right one or an option kept before.
func (p *proposal) admissible(wrong []choice) (out []choice) {
	for _, w := range wrong {
		repeats := func(o choice) bool { return clash(w, o) }
		if (w.norm != "" || w.value != nil) && !slices.ContainsFunc(p.right, repeats) && !slices.ContainsFunc(out, repeats) {
			out = append(out, w)
		}
	}
	return out
}

// clash says that two options must not stand side by side.
func clash(a, b choice) bool {
	if a.value != nil && b.value != nil {
		return a.value.Cmp(b.value) == 0 || within(a.phrase, b.phrase)
	}
	return alike(a.phrase, b.phrase, 3, 4)
}

// doubled says that two options read the same.
func doubled(options []choice) bool {
	for i, a := range options {
		for _, b := range options[:i] {
			if a.text == b.text {
				return true
			}
		}
	}
	return false
}

// byValue picks wrong figures so that the key is the rank-th smallest (from 0). A figure is asked only if it could stand
// at every rank; else nil.
func byValue(key choice, pool []choice, rank, most int) []choice {
	var low, high []choice
	for _, c := range pool {
		if c.value.Cmp(key.value) < 0 {
			low = append(low, c)
		} else {
			high = append(high, c)
		}
	}
	if len(low) < most-1 || len(high) < most-1 {
		return nil
	}
	return slices.Concat(low[:rank], high[:most-1-rank])
}

// byRank orders figures from small to large.
func byRank(options []choice) []int {
	order := make([]int, len(options))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return options[a].value.Cmp(options[b].value) })
	return order
}

// inGivenOrder sorts lines and numbers as they are counted.
func inGivenOrder(options []choice) []int {
	order := make([]int, len(options))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return options[a].value.Cmp(options[b].value) })
	return order
}

// place puts options[order[0]] first and so on; options[0] is the key.
func place(p *proposal, options []choice, order []int) *settled {
	s := &settled{proposal: p, keyed: map[int]bool{}}
	for at, i := range order {
		s.options = append(s.options, options[i])
		if i == 0 {
			s.keyed[at] = true
		}
	}
	return s
}

// settleSeveral offers all right options with as many wrong ones as there is room for, at least two.
func settleSeveral(p *proposal, stem *phrase, d *draws) (*settled, rejection) {
	least, most := p.bounds()
	wrong := p.admissible(p.wrong)
	if n := most - len(p.right); len(wrong) > n {
		wrong = wrong[:max(n, 0)]
	}
	if len(wrong) < 2 || len(wrong)+len(p.right) < least {
		return nil, tooFew
	}
	for i, r := range p.right {
		for _, o := range p.right[:i] {
			if clash(r, o) {
				return nil, repeated
			}
		}
	}
	all := append(slices.Clone(p.right), wrong...)
	if all[0].value == nil && singled(stem, all) {
		return nil, echoed
	}
	order := d.order(len(all))
	if all[0].value != nil {
		order = byRank(all)
	}
	s := &settled{proposal: p, keyed: map[int]bool{}}
	for at, i := range order {
		s.options = append(s.options, all[i])
		if i < len(p.right) {
			s.keyed[at] = true
		}
	}
	return s, accepted
}

// settleOrder shows the set in an order that is not itself right. Only sets that a guess gets right at most one time in
// six are asked.
func settleOrder(p *proposal, d *draws) (*settled, rejection) {
	n := len(p.right)
	if n < 3 {
		return nil, tooFew
	}
	for i, a := range p.right {
		for _, b := range p.right[:i] {
			if within(a.phrase, b.phrase) {
				return nil, repeated
			}
		}
	}
	if extensions(n, p.forced)*6 > factorial(n) {
		return nil, easyGuess
	}
	for {
		order := d.order(n)
		at := make([]int, n)
		for i, j := range order {
			at[j] = i
		}
		if !slices.ContainsFunc(p.forced, func(f [2]int) bool { return at[f[0]] > at[f[1]] }) {
			continue
		}
		s := &settled{proposal: p}
		for _, j := range order {
			s.options = append(s.options, p.right[j])
		}
		for _, f := range p.forced {
			s.pairs = append(s.pairs, [2]int{at[f[0]], at[f[1]]})
		}
		slices.SortFunc(s.pairs, func(a, b [2]int) int { return slices.Compare(a[:], b[:]) })
		return s, accepted
	}
}

// settleMatch keeps three or four pairs, the first among them, each of whose targets belongs to its option alone, and
// shuffles both columns.
func settleMatch(p *proposal, d *draws) (*settled, rejection) {
	var kept []int
	order := []int{0}
	for _, i := range d.order(len(p.right)) {
		if i != 0 {
			order = append(order, i)
		}
	}
	for _, i := range order {
		if len(kept) == 4 {
			break
		}
		a, ta := p.right[i], p.targets[i]
		if a.norm == "" || ta.norm == "" || common(a.words, ta.words) > 0 {
			continue // a shared word would pair them without knowledge
		}
		if !slices.ContainsFunc(kept, func(j int) bool {
			b, tb := p.right[j], p.targets[j]
			return alike(a.phrase, b.phrase, 1, 2) || alike(ta.phrase, tb.phrase, 1, 3) || common(a.words, tb.words) > 1 || common(b.words, ta.words) > 1
		}) {
			kept = append(kept, i)
		}
	}
	if len(kept) < 3 || kept[0] != 0 {
		return nil, tooFew
	}
	s := &settled{proposal: p}
	left, right := d.order(len(kept)), d.order(len(kept))
	at := map[int]int{}
	for i, j := range right {
		s.targets = append(s.targets, p.targets[kept[j]])
		at[kept[j]] = i
	}
	for i, j := range left {
		s.options = append(s.options, p.right[kept[j]])
		s.pairs = append(s.pairs, [2]int{i, at[kept[j]]})
	}
	return s, accepted
}

func phrases(cs []choice) []*phrase {
	out := make([]*phrase, len(cs))
	for i, c := range cs {
		out[i] = c.phrase
	}
	return out
}

// extensions counts the orders of n things that keep to the pairs; n is at most 16.
func extensions(n int, pairs [][2]int) int {
	waits := make([]int, n) // bit sets of what comes before
	for _, p := range pairs {
		waits[p[1]] |= 1 << p[0]
	}
	ways := make([]int, 1<<n)
	ways[0] = 1
	for done := range ways {
		if ways[done] == 0 {
			continue
		}
		for i := range n {
			if done&(1<<i) == 0 && waits[i]&^done == 0 {
				ways[done|1<<i] += ways[done]
			}
		}
	}
	return ways[1<<n-1]
}

func factorial(n int) int {
	f := 1
	for i := 2; i <= n; i++ {
		f *= i
	}
	return f
}

// realised is a question with what the form's guards look at.
type realised struct {
	Question
	item         *item
	stem         *phrase
	keys         []*phrase // texts of the right options
	tests, shows []string
}

// attempts is how often an item is drawn anew before it is given up.
const attempts = 12

// realise makes a question of an item, or nil and the last reason why not.
func (it *item) realise(k key) (*realised, rejection) {
	s, why := it.settled(k)
	if s == nil {
		return nil, why
	}
	return it.question(s), accepted
}

// possible says whether the guards let a question of the item through.
func (it *item) possible(k key) bool {
	s, _ := it.settled(k)
	return s != nil
}

func (it *item) settled(k key) (*settled, rejection) {
	why := unmade
	d := k.draws()
	for range attempts {
		p := it.make(d)
		if p == nil {
			continue
		}
		s, reason := settle(p, it.subject.language, d)
		if reason == accepted {
			return s, accepted
		}
		why = reason
	}
	return nil, why
}

// question gives a settled proposal its ids.
func (it *item) question(s *settled) *realised {
	sub := it.subject
	q := Question{
		Family: it.family.info.ID, Kind: s.kind, Lesson: sub.lesson.ID, Edition: sub.lesson.Edition,
		Critical: it.critical, Picture: s.picture, Stem: s.stem, Options: []Option{}, Slips: s.slips,
		Source:      Source{File: sub.lesson.File, Line: it.line, Element: it.element},
		Explanation: s.explanation,
	}
	if it.file != "" {
		q.Source.File = it.file
	}
	stem := s.asks
	if stem == nil {
		stem = searched(s.stem)
	}
	r := &realised{item: it, stem: stem, tests: s.tests, shows: s.shows}
	onCar := s.onCar
	parts := []string{q.Family, q.Lesson, it.element, string(q.Kind), s.params}
	var elements []string
	for i, o := range s.options {
		onCar = onCar || o.onCar
		mark := o.element + "=" + o.paramText()
		if s.keyed[i] {
			mark = "*" + mark
			r.keys = append(r.keys, o.phrase)
		}
		elements = append(elements, mark)
	}
	for _, t := range s.targets {
		onCar = onCar || t.onCar
		elements = append(elements, "→"+t.element)
		r.keys = append(r.keys, t.phrase)
	}
	slices.Sort(elements)
	parts = append(parts, elements...)
	if sub.car != nil {
		id := sub.car.ID
		q.Vehicle = &id
		if onCar {
			parts = append(parts, "vehicle", id)
		}
	}
	k := keyOf(append([]string{"question"}, parts...)...)
	q.ID = hex.EncodeToString(k[:8])
	ids := optionIDs(q.ID, "option", s.options)
	for i, o := range s.options {
		q.Options = append(q.Options, Option{ID: ids[i], Text: o.text, Element: o.element})
	}
	ids = optionIDs(q.ID, "target", s.targets)
	for i, t := range s.targets {
		q.Targets = append(q.Targets, Option{ID: ids[i], Text: t.text, Element: t.element})
	}
	switch s.kind {
	case Single, Point:
		for i := range s.keyed {
			q.Key.ID = q.Options[i].ID
		}
	case Several:
		for i, o := range q.Options {
			if s.keyed[i] {
				q.Key.IDs = append(q.Key.IDs, o.ID)
			}
		}
		slices.Sort(q.Key.IDs)
	case Order:
		for _, p := range s.pairs {
			q.Key.Pairs = append(q.Key.Pairs, [2]string{q.Options[p[0]].ID, q.Options[p[1]].ID})
		}
	case Match:
		for _, p := range s.pairs {
			q.Key.Pairs = append(q.Key.Pairs, [2]string{q.Options[p[0]].ID, q.Targets[p[1]].ID})
		}
	case Number:
		q.Key.Number = s.number
		r.keys = append(r.keys, sub.phrase(strings.TrimSpace(s.number.Value+" "+s.number.Unit)))
	}
	slices.SortFunc(q.Key.Pairs, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
	r.Question = q
	return r
}

// paramText is what an option adds to the question's identity beside its element: the text, where the element alone
// does not say it.
func (c choice) paramText() string {
	if c.value != nil || c.element == "" {
		return c.text
	}
	return ""
}

// optionIDs are drawn from the question and the options' words, so that they stay the same wherever an option stands and
// say nothing of it. Where two would begin alike, more of the hash is taken.
func optionIDs(question, column string, all []choice) []string {
	full := make([]key, len(all))
	for i, c := range all {
		full[i] = keyOf("option", question, column, c.element, c.text)
	}
	out := make([]string, len(all))
	for i, id := range full {
		n := 4
		for n < len(id) && slices.ContainsFunc(full, func(o key) bool { return o != id && string(o[:n]) == string(id[:n]) }) {
			n += 4
		}
		out[i] = hex.EncodeToString(id[:n])
	}
	return out
}
