package quiz

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
)

// plan is a request made definite: which lessons and families, how many of each.
type plan struct {
	total     int
	blueprint *curriculum.Blueprint
	lessons   []*curriculum.Lesson
	least     []int          // questions that each lesson must have
	most      []int          // questions that each lesson may have
	perFamily map[string]int // exactly so many of a family; others fill up
	families  map[string]bool
	critical  bool
}

// newPlan checks a request against the programme.
func newPlan(p *curriculum.Programme, r Request, language string) (*plan, error) {
	pl := &plan{total: r.Questions, perFamily: map[string]int{}, families: map[string]bool{}}
	var ids []string
	quota := map[string]int{}
	families := r.Families
	switch {
	case r.Blueprint != "":
		b := p.Blueprint(r.Blueprint)
		if b == nil {
			return nil, fmt.Errorf("quiz: no blueprint %q; the programme has %s", r.Blueprint, names(p.Blueprints, func(b curriculum.Blueprint) string { return b.ID }))
		}
		pl.blueprint, pl.total, pl.critical = b, b.Questions, b.CriticalSteps == "all"
		families = nil
		for id, n := range b.Lessons {
			ids = append(ids, id)
			quota[id] = n
			if b.Questions == 0 {
				pl.total += n
			}
		}
		if t := p.Task(b.Task); len(ids) == 0 && t != nil {
			ids = slices.Clone(t.Lessons)
		}
		for id, n := range b.Families {
			if familyByID(id) == nil {
				return nil, fmt.Errorf("quiz: blueprint %q names the family %q, which there is not", b.ID, id)
			}
			pl.perFamily[id] = n
		}
	case r.Task != "":
		t := p.Task(r.Task)
		if t == nil {
			return nil, fmt.Errorf("quiz: no task %q; the programme has %s", r.Task, names(p.Tasks, func(t curriculum.Task) string { return t.ID }))
		}
		ids = slices.Clone(t.Lessons)
		for _, id := range r.Lessons {
			if !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	case len(r.Lessons) > 0:
		ids = slices.Clone(r.Lessons)
	default:
		for _, l := range p.Lessons {
			ids = append(ids, l.ID)
		}
	}
	if pl.total <= 0 && pl.blueprint == nil {
		pl.total = 10
	}
	slices.Sort(ids)
	for _, id := range slices.Compact(ids) {
		l := p.Lesson(id, language)
		if l == nil {
			return nil, fmt.Errorf("quiz: no lesson %q; the programme has %s", id, names(p.Lessons, func(l *curriculum.Lesson) string { return l.ID }))
		}
		pl.lessons = append(pl.lessons, l)
		n, fixed := quota[id]
		pl.least = append(pl.least, n)
		if !fixed {
			n = pl.total
		}
		pl.most = append(pl.most, n)
	}
	for _, id := range families {
		if familyByID(id) == nil {
			return nil, fmt.Errorf("quiz: no family %q; `brakewright quiz --list-families` lists them", id)
		}
		pl.families[id] = true
	}
	// Where a blueprint's lessons add up to less than its questions, the rest may come from any of them.
	if sum := total(pl.most); pl.blueprint != nil && sum < pl.total {
		for i := range pl.most {
			pl.most[i] += pl.total - sum
		}
	}
	return pl, nil
}

func total(ns []int) (sum int) {
	for _, n := range ns {
		sum += n
	}
	return sum
}

func names[T any](all []T, name func(T) string) string {
	if len(all) == 0 {
		return "none"
	}
	out := make([]string, len(all))
	for i, x := range all {
		out[i] = name(x)
	}
	return strings.Join(out, ", ")
}

// request writes a request without blueprint canonically, for the key of its draws.
func (pl *plan) request() string {
	if pl.blueprint != nil {
		b := pl.blueprint
		text := b.ID + " " + b.Task + " " + strconv.Itoa(pl.total) + " " + b.CriticalSteps
		for i, l := range pl.lessons {
			text += " " + l.ID + "=" + strconv.Itoa(pl.least[i]) + "-" + strconv.Itoa(pl.most[i])
		}
		for _, f := range table {
			if n, ok := pl.perFamily[f.info.ID]; ok {
				text += " " + f.info.ID + "=" + strconv.Itoa(n)
			}
		}
		return "blueprint " + text
	}
	text := "request " + strconv.Itoa(pl.total)
	for _, l := range pl.lessons {
		text += " " + l.ID
	}
	for _, f := range table {
		if pl.families[f.info.ID] {
			text += " " + f.info.ID
		}
	}
	return text
}

// exactly says how many questions of each family are counted, by index in table; -1 where a family is not.
func (pl *plan) exactly() []int {
	out := make([]int, len(table))
	for i, f := range table {
		out[i] = -1
		if n, ok := pl.perFamily[f.info.ID]; ok {
			out[i] = n
		}
	}
	return out
}

// generate makes a form. What spans numbers is drawn under a key without the number: every row, step and figure of a
// lesson belongs with all that is asked of it to the odd or to the even numbers. So two consecutive forms have nothing in
// common as long as there is enough, and ask every critical step between them as far as they have room.
func generate(p *curriculum.Programme, r Request, d Draw) (*Form, error) {
	if d.Number < 1 {
		return nil, fmt.Errorf("quiz: forms are numbered from 1, not %d", d.Number)
	}
	language := d.Language
	if language == "" && len(p.Languages) > 0 {
		language = p.Languages[0]
	}
	if !slices.Contains(p.Languages, language) {
		return nil, fmt.Errorf("quiz: no language %q; the programme has %s", language, strings.Join(p.Languages, ", "))
	}
	if d.Vehicle != "" {
		if p.Vehicle(d.Vehicle) == nil {
			return nil, fmt.Errorf("quiz: no vehicle %q; the programme has %s", d.Vehicle, names(p.Vehicles, func(v *curriculum.Vehicle) string { return v.ID }))
		}
	}
	pl, err := newPlan(p, r, language)
	if err != nil {
		return nil, err
	}
	f := &Form{Format: formFormat, Generator: Generator, ProgrammeEdition: p.Edition, Seed: d.Seed, Number: d.Number, Language: language, Questions: []Question{}}
	if d.Vehicle != "" {
		id := d.Vehicle
		f.Vehicle = &id
	}
	if b := pl.blueprint; b != nil {
		f.Blueprint = &b.ID
		if t := p.Policy.Tasks[b.Task].TheoryTest; t != nil && t.Blueprint == b.ID {
			percent := t.PassPercent
			f.PassPercent = &percent
		}
	}
	base := keyOf("form", drawing, p.Edition, pl.request(), strconv.FormatUint(d.Seed, 10), language, d.Vehicle)
	s := newSelector(p, pl, d.Vehicle, base)
	chosen := s.form(d.Number)
	// A form that holds nothing voided is the same as without voids: only one that does is made again.
	if r.Without != nil && slices.ContainsFunc(chosen, func(q *posed) bool { return r.Without(&q.Question) }) {
		s.without, s.views = r.Without, map[int]*view{}
		chosen = s.form(d.Number)
	}
	for _, i := range s.view(d.Number).key.sub("place").draws().order(len(chosen)) {
		f.Questions = append(f.Questions, chosen[i].Question)
	}
	return f, nil
}

// poolIndex is what the choice looks at in a pool, worked out once.
type poolIndex struct {
	cands []candidate // by item; lesson and tier are set for each form
	row   []int       // item → what of the lesson it asks: a row, step or figure
	rows  []rowKind
	// sections counts the sections of rows.
	sections int
	steps    []*step // critical steps, by candidate.step
	asks     [][]int // critical step → items that ask it
	names    []key   // item → hash of its name
	// By index in table: the items of a family, the sum of their difficulties, whether any asks a critical step.
	items     [][]int
	count     []int
	hard      []int
	asksSteps []bool
}

// rowKind says among which rows a row is dealt out to odd and even numbers.
type rowKind struct {
	section int // number of "procedure", "faults", …
	step    int // the critical step that it is, or -1
}

func newIndex(p *pool) *poolIndex {
	n := len(table)
	ix := &poolIndex{steps: p.critical(), items: make([][]int, n), count: make([]int, n), hard: make([]int, n), asksSteps: make([]bool, n)}
	ix.asks = make([][]int, len(ix.steps))
	families := make(map[*family]int, n)
	for i, f := range table {
		families[f] = i
	}
	rows, sections := map[string]int{}, map[string]int{}
	for i, it := range p.items {
		c := candidate{family: families[it.family], hard: hardness(it), step: slices.IndexFunc(ix.steps, func(x *step) bool { return it.covers(x.Step) })}
		name := root(it.element)
		row, known := rows[name]
		if !known {
			word, _, _ := strings.Cut(name, "/")
			section, met := sections[word]
			if !met {
				section = len(sections)
				sections[word] = section
			}
			row = len(ix.rows)
			rows[name] = row
			ix.rows = append(ix.rows, rowKind{section: section, step: c.step})
		}
		c.row = row + 1
		if c.step >= 0 {
			ix.asks[c.step] = append(ix.asks[c.step], i)
		}
		ix.cands = append(ix.cands, c)
		ix.row = append(ix.row, row)
		ix.names = append(ix.names, keyOf("item", it.subject.lesson.ID, it.name()))
		ix.items[c.family] = append(ix.items[c.family], i)
		ix.count[c.family]++
		ix.hard[c.family] += c.hard
		ix.asksSteps[c.family] = ix.asksSteps[c.family] || c.step >= 0
	}
	ix.sections = len(sections)
	return ix
}

// selector chooses questions for the forms of one seed.
type selector struct {
	plan     *plan
	base     key
	without  func(*Question) bool
	families []bool // by index in table
	lessons  []*lessonPool
	size     int // candidates of all lessons
	views    map[int]*view
}

// lessonPool is a lesson's pool with what the seed makes of it.
type lessonPool struct {
	*pool
	from  int      // its first candidate
	key   key      // of its draws
	class []uint8  // row → 1: odd numbers, 0: even numbers
	due   [2][]int // class → critical steps in drawn order
	lists [][]int  // family → items in drawn order, once they are drawn
}

func newSelector(p *curriculum.Programme, pl *plan, vehicle string, base key) *selector {
	s := &selector{plan: pl, base: base, families: make([]bool, len(table)), views: map[int]*view{}}
	for i, f := range table {
		s.families[i] = len(pl.families) == 0 || pl.families[f.info.ID]
	}
	for _, l := range pl.lessons {
		lp := &lessonPool{pool: poolOf(p, l, vehicle), from: s.size, key: base.sub("lesson", l.ID), lists: make([][]int, len(table))}
		s.size += len(lp.items)
		lp.deal(s.families, pl)
		s.lessons = append(s.lessons, lp)
	}
	return s
}

// deal gives every row that may be asked to the odd or to the even numbers, turn by turn within each section; critical
// steps, and the rows of a family that the blueprint counts, which may be few, take turns with their like.
func (lp *lessonPool) deal(families []bool, pl *plan) {
	ix := lp.index
	lp.class = make([]uint8, len(ix.rows))
	group := make([]int, len(ix.rows)) // 1 + the first counted family that asks the row; 0: none counted; -1: not asked
	for row := range group {
		group[row] = -1
	}
	for f, items := range ix.items {
		if !families[f] {
			continue
		}
		_, counted := pl.perFamily[table[f].info.ID]
		for _, i := range items {
			if g := &group[ix.row[i]]; counted && *g <= 0 {
				*g = f + 1
			} else if *g < 0 {
				*g = 0
			}
		}
	}
	d := lp.key.draws()
	width := len(table) + 1
	next := make([]uint8, (ix.sections+1)*width) // whose turn it is, 2 where nobody has begun
	for i := range next {
		next[i] = 2
	}
	for _, row := range d.order(len(ix.rows)) {
		if group[row] < 0 {
			continue
		}
		turn := &next[ix.rows[row].section*width+group[row]]
		step := ix.rows[row].step
		if pl.critical && step >= 0 {
			turn = &next[ix.sections*width]
		}
		if *turn == 2 {
			*turn = uint8(d.below(2))
		}
		lp.class[row] = *turn
		if step >= 0 {
			lp.due[*turn] = append(lp.due[*turn], step)
		}
		*turn = 1 - *turn
	}
}

// drawn is a family's items in drawn order.
func (lp *lessonPool) drawn(family int) []int {
	if lp.lists[family] == nil {
		lp.lists[family] = shuffled(lp.key.sub("family", table[family].info.ID).draws(), lp.index.items[family])
	}
	return lp.lists[family]
}

// hard is the difficulty that a blueprint asks for, the sum over all its questions in thousandths of a point; it is the same
// for every seed and number. Practice asks for none: one question at a time, all would be middling. It is what an even choice has on average: each counted family as often as the blueprint
// says; else of each lesson, as many questions as are its share, half of its critical steps by the families that ask
// steps, and the rest by all its families alike.
func (s *selector) hard(exactly []int) int {
	total := s.plan.total
	if total <= 0 || s.plan.blueprint == nil {
		return -1
	}
	sum, rest := 0, total
	for f, n := range exactly {
		if n > 0 {
			hard, of := 0, 0
			for _, lp := range s.lessons {
				hard, of = hard+lp.index.hard[f], of+lp.index.count[f]
			}
			sum += n * 1000 * hard / max(1, of)
			rest -= n
		}
	}
	free := total
	for _, n := range s.plan.least {
		free -= n
	}
	parts := 0 // in 1/len(lessons) of a question
	for l, lp := range s.lessons {
		all, steps := 0, 0
		nAll, nSteps := 0, 0
		for f, n := range lp.index.count {
			if n == 0 || !s.families[f] || exactly[f] >= 0 {
				continue
			}
			mean := 1000 * lp.index.hard[f] / n
			all, nAll = all+mean, nAll+1
			if lp.index.asksSteps[f] {
				steps, nSteps = steps+mean, nSteps+1
			}
		}
		if nAll == 0 {
			continue
		}
		share := s.plan.least[l]*len(s.lessons) + free
		critical := 0
		if s.plan.critical && nSteps > 0 {
			critical = min(share, len(lp.index.steps)*len(s.lessons)/2)
			parts += critical * steps / nSteps
		}
		parts += (share - critical) * all / nAll
	}
	return sum + parts/max(1, len(s.lessons))*rest/total
}

// view is a number as its choice sees it.
type view struct {
	number int
	key    key
	made   []*posed // candidate → its question, nil until it is made
	own    *picked  // the choice from its own class alone
}

// posed is a question as the choice compares it with others.
type posed struct {
	*realised
	root, key   string   // row of the source; element of the right option
	firm        []string // facts that are never tested twice
	tested      []string // facts about the car that it tests
	shown       []string // facts about the car that it shows
	unavailable bool     // the candidate makes no question
}

func (s *selector) view(number int) *view {
	v := s.views[number]
	if v == nil {
		v = &view{number: number, key: s.base.sub("number", strconv.Itoa(number)), made: make([]*posed, s.size)}
		s.views[number] = v
	}
	return v
}

// item is a candidate's.
func (s *selector) item(c int) (*lessonPool, int) {
	for i := len(s.lessons) - 1; ; i-- {
		if lp := s.lessons[i]; c >= lp.from {
			return lp, c - lp.from
		}
	}
}

var unavailable = &posed{unavailable: true}

// question makes a candidate's question for a number, once. One that was voided is drawn anew, and so is one that a
// neighbour may ask in the same shape (unlike names the neighbours).
func (s *selector) question(v *view, c int, unlike ...*view) *posed {
	if v.made[c] != nil {
		return v.made[c]
	}
	lp, i := s.item(c)
	drawn := v.key.sub(string(lp.index.names[i][:]))
	v.made[c] = unavailable
	tries := 4
	if len(unlike) > 0 {
		tries = 24 // a match of few rows has few other shapes
	}
	for try := range tries {
		k := drawn
		if try > 0 {
			k = drawn.sub(strconv.Itoa(try))
		}
		r, _ := lp.items[i].realise(k)
		if r == nil || s.without != nil && s.without(&r.Question) {
			continue
		}
		same := slices.ContainsFunc(unlike, func(n *view) bool { q := s.question(n, c); return !q.unavailable && q.ID == r.ID })
		if v.made[c] == unavailable || !same {
			v.made[c] = newPosed(r)
		}
		if !same {
			break
		}
	}
	return v.made[c]
}

func newPosed(r *realised) *posed {
	return &posed{realised: r, root: root(r.Source.Element), key: keyElement(r), firm: firm(r.tests), tested: carFacts(r.tests), shown: carFacts(r.shows)}
}

// form chooses the questions of a number: from its own class as long as that is enough; then from what its neighbours
// leave of theirs (they begin with their own class as well, and leave this one's choice over), so that nothing comes
// twice running; only then from what its neighbours may have asked.
func (s *selector) form(number int) []*posed {
	v := s.view(number)
	got := s.ownChoice(number)
	if !got.complete() {
		for c := range got.cands {
			switch a := &got.cands[c]; {
			case !s.families[a.family]:
			case a.tier == never:
				a.tier = spare
			case !got.in[c]:
				a.tier, v.made[c] = taken, nil // the neighbours know that it was left over: it is made anew, unlike theirs
			}
		}
		var neighbours []*view
		for _, n := range []int{number - 1, number + 1} {
			if n < 1 {
				continue
			}
			neighbours = append(neighbours, s.view(n))
			for _, c := range s.ownChoice(n).set {
				got.cands[c].tier = taken
			}
		}
		got.open = func(c int) bool {
			if got.cands[c].tier == taken {
				return !s.question(v, c, neighbours...).unavailable
			}
			return !s.question(v, c).unavailable
		}
		if got = got.choose(spare); !got.complete() {
			got = got.choose(taken)
		}
	}
	out := make([]*posed, len(got.set))
	for i, c := range got.set {
		out[i] = v.made[c]
	}
	return out
}

// ownChoice is what a number chooses from its own class.
func (s *selector) ownChoice(number int) *picked {
	v := s.view(number)
	if v.own == nil {
		v.own = s.problem(v).empty().choose(own)
	}
	return v.own
}

// problem sets up the choice of a number.
func (s *selector) problem(v *view) *problem {
	class := v.number & 1
	p := &problem{total: s.plan.total, least: s.plan.least, most: s.plan.most, exactly: s.plan.exactly(), cands: make([]candidate, 0, s.size),
		open:  func(c int) bool { return !s.question(v, c).unavailable },
		clash: func(a, b int, near nearness) bool { return clashing(v.made[a], v.made[b], near) }}
	p.hard = s.hard(p.exactly)
	for f, ok := range s.families {
		if ok {
			p.order = append(p.order, f)
		}
	}
	p.order = shuffled(v.key.sub("families").draws(), p.order)
	for l, lp := range s.lessons {
		steps := len(p.ways)
		for i, c := range lp.index.cands {
			c.lesson = l
			if c.step >= 0 {
				c.step += steps
			}
			if int(lp.class[lp.index.row[i]]) != class || !s.families[c.family] {
				c.tier = never
			}
			p.cands = append(p.cands, c)
		}
		count := lp.index.count
		if len(p.order) < len(s.families) {
			count = slices.Clone(count)
			for f, ok := range s.families {
				if !ok {
					count[f] = 0
				}
			}
		}
		p.count = append(p.count, count)
		p.ways = append(p.ways, make([][]int, len(lp.index.steps))...)
		if !s.plan.critical {
			continue
		}
		// In turn where there is no room for all.
		due := lp.due[class]
		if room := s.plan.most[l]; room < len(due) && room > 0 {
			at := (v.number - 1) / 2 % len(due) * room % len(due)
			due = slices.Concat(due[at:], due[:at])[:room]
		}
		d := v.key.sub("ways", lp.subject.lesson.ID).draws()
		for _, step := range due {
			p.due = append(p.due, steps+step)
			for _, i := range shuffled(d, lp.index.asks[step]) {
				if s.families[lp.index.cands[i].family] {
					p.ways[steps+step] = append(p.ways[steps+step], lp.from+i)
				}
			}
		}
	}
	lists := make([][]int, len(s.lessons)*len(s.families))
	p.list = func(l, f int) []int {
		lp, list := s.lessons[l], &lists[l*len(s.families)+f]
		if *list != nil || p.count[l][f] == 0 {
			return *list
		}
		// A family's own items begin further on with every second number, so that a seed goes through all of them.
		var mine, rest []int
		for _, i := range lp.drawn(f) {
			if int(lp.class[lp.index.row[i]]) == class {
				mine = append(mine, lp.from+i)
			} else {
				rest = append(rest, lp.from+i)
			}
		}
		if len(mine) > 0 {
			share := max(1, s.plan.most[l]/max(1, len(p.order)))
			at := (v.number - 1) / 2 % len(mine) * share % len(mine)
			mine = slices.Concat(mine[at:], mine[:at])
		}
		*list = append(mine, rest...)
		return *list
	}
	return p
}

// clashing says whether two questions must not stand in one form. Never: the same question, one that shows what the other
// tests, a stem that holds the other's key, one cell or figure asked twice. Up to sameRow: one key, one sum or one order of
// two steps twice. When distant: two questions on one row or step.
func clashing(a, b *posed, near nearness) bool {
	if a.Lesson == b.Lesson {
		if near < sameRow && a.root == b.root ||
			near < sameKey && (meet(a.tests, b.tests) || a.key != "" && a.key == b.key || a.Source.Element == b.Source.Element && a.Family == b.Family) ||
			meet(a.firm, b.firm) || meet(a.tests, b.shows) || meet(b.tests, a.shows) {
			return true
		}
	} else if meet(a.tested, b.shown) || meet(b.tested, a.shown) || meet(a.tested, b.tested) {
		return true
	}
	return a.ID == b.ID || holds(a.stem, b.keys) || holds(b.stem, a.keys)
}

// firm are the facts that are never tested twice: all but the order of two steps, and sums, which come with new figures.
func firm(facts []string) (out []string) {
	for _, f := range facts {
		if !strings.Contains(f, "<") && !strings.HasPrefix(f, "arithmetic/") {
			out = append(out, f)
		}
	}
	return out
}

// carFacts are the facts about the car, which two lessons may share.
func carFacts(facts []string) (out []string) {
	for _, f := range facts {
		if strings.HasPrefix(f, "figure:vehicle/") || strings.HasPrefix(f, "order/") {
			out = append(out, f)
		}
	}
	return out
}

func meet(a, b []string) bool {
	return slices.ContainsFunc(a, func(x string) bool { return slices.Contains(b, x) })
}

// keyElement is the element of a question's only right option, where it says what was asked.
func keyElement(r *realised) string {
	for _, o := range r.Options {
		if o.ID == r.Key.ID && r.Key.ID != "" && !strings.HasPrefix(o.Element, "verdict/") && o.Element != "reading" {
			return o.Element
		}
	}
	return ""
}

// root is the row, step or figure of an element, without its field.
func root(element string) string {
	parts := strings.SplitN(element, "/", 3)
	if parts[0] == "vehicle" || len(parts) < 2 {
		return element
	}
	return parts[0] + "/" + parts[1]
}

// holds says whether a stem holds one of the texts; single short words and bare figures are no give-away.
func holds(stem *phrase, keys []*phrase) bool {
	return slices.ContainsFunc(keys, func(k *phrase) bool {
		return (len(k.words) >= 2 && k.runes >= 10 || k.runes >= 16) && holdsAll(stem, k)
	})
}
