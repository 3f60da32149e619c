package quiz

import (
	"cmp"
	"fmt"
	"maps"
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
	perLesson []int          // most questions of each lesson
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
		if !fixed {
			n = pl.total
		}
		pl.perLesson = append(pl.perLesson, n)
	}
	for _, id := range families {
		if familyByID(id) == nil {
			return nil, fmt.Errorf("quiz: no family %q; `brakewright quiz --list-families` lists them", id)
		}
		pl.families[id] = true
	}
	// Where a blueprint's lessons add up to less than its questions, the rest may come from any of them.
	if sum := total(pl.perLesson); pl.blueprint != nil && sum < pl.total {
		for i := range pl.perLesson {
			pl.perLesson[i] += pl.total - sum
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
			text += " " + l.ID + "=" + strconv.Itoa(pl.perLesson[i])
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

// generate makes a form. What spans numbers is drawn under a key without the number: every item belongs to the odd or to
// the even numbers, so that two consecutive forms have nothing in common as long as there is enough, and every critical
// step is due in the odd or in the even numbers, so that any two consecutive forms ask them all as far as they have room.
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
	base := keyOf("form", Generator, p.Edition, pl.request(), strconv.FormatUint(d.Seed, 10), language, d.Vehicle)
	s := newSelector(p, pl, d.Vehicle, base)
	s.without = r.Without
	chosen := s.form(d.Number)
	for _, i := range s.formKey(d.Number).sub("place").draws().order(len(chosen)) {
		f.Questions = append(f.Questions, chosen[i].Question)
	}
	return f, nil
}

// selector chooses items for the forms of one seed.
type selector struct {
	plan     *plan
	without  func(*Question) bool
	base     key
	lessons  []*lessonPool
	families []*family
	made     map[madeKey]*realised // what has been realised in this call
}

type madeKey struct {
	number int
	item   *item
}

// lessonPool is a lesson's pool with what the seed makes of it.
type lessonPool struct {
	*pool
	byFamily map[*family][]*item
	class    map[*item]int // 1: odd numbers, 0: even numbers
	due      [2][]*step    // critical steps due in even and in odd numbers, in drawn order
}

func newSelector(p *curriculum.Programme, pl *plan, vehicle string, base key) *selector {
	s := &selector{plan: pl, base: base, made: map[madeKey]*realised{}}
	for _, f := range table {
		if len(pl.families) == 0 || pl.families[f.info.ID] {
			s.families = append(s.families, f)
		}
	}
	for _, l := range pl.lessons {
		lp := &lessonPool{pool: poolOf(p, l, vehicle), byFamily: map[*family][]*item{}, class: map[*item]int{}}
		d := base.sub("lesson", l.ID).draws()
		for _, f := range s.families {
			var of []*item
			for _, it := range lp.items {
				if it.family == f {
					of = append(of, it)
				}
			}
			lp.byFamily[f] = shuffled(d, of)
		}
		for i, x := range shuffled(d, lp.critical()) {
			lp.due[i%2] = append(lp.due[i%2], x)
		}
		lp.divide(s.families, pl.critical, d)
		s.lessons = append(s.lessons, lp)
	}
	return s
}

// divide gives every item a class, alternating within each family. Where a critical step can be asked in one way only,
// that one goes to the numbers in which the step is due.
func (lp *lessonPool) divide(families []*family, critical bool, d *draws) {
	for _, f := range families {
		next := d.below(2)
		for _, it := range lp.byFamily[f] {
			lp.class[it] = next
			next = 1 - next
		}
	}
	if !critical {
		return
	}
	for class, steps := range lp.due {
		for _, x := range steps {
			var way *item
			served := false
			for _, it := range lp.items {
				if lp.byFamily[it.family] != nil && it.covers(x.Step) {
					served = served || lp.class[it] == class
					way = it
				}
			}
			if way != nil && !served {
				lp.class[way] = class
			}
		}
	}
}

func (s *selector) formKey(number int) key { return s.base.sub("number", strconv.Itoa(number)) }

// realise makes the item's question for a number. Where an item has several questions, those with an even hash are for
// even numbers and the others for odd ones, so that an item that must come again comes in another shape.
func (s *selector) realise(number int, it *item) *realised {
	k := madeKey{number, it}
	if r, ok := s.made[k]; ok {
		return r
	}
	drawn := s.formKey(number).sub("item", it.subject.lesson.ID, it.name())
	var first *realised
	for try := range 4 {
		r, _ := it.realise(drawn.sub(strconv.Itoa(try)))
		if r == nil || s.without != nil && s.without(&r.Question) {
			continue
		}
		if first == nil {
			first = r
		}
		if h := s.base.sub("shape", r.ID); int(h[0]&1) == number&1 {
			first = r
			break
		}
	}
	s.made[k] = first
	return first
}

// stage says how far the choice may go: which items, and how near two questions of a form may come to one another (see
// clashing).
type stage struct {
	allowed func(lp *lessonPool, it *item) bool
	near    nearness
}

// nearness of two questions in one form.
type nearness int

const (
	distant nearness = iota // not on one row or step
	sameRow                 // on one row or step, but not with one key, nor on one fact
	sameKey                 // with one key or on one order of two steps, as long as neither gives the other away
)

// form chooses the questions of a number. First from the items of its class; if that is not enough, from those of the
// other class that its neighbours leave over (they too begin with their own class, and leave this one's choice over), so
// that nothing comes twice running; only then from what its neighbours may have asked.
func (s *selector) form(number int) []*realised {
	own := func(n int, near nearness) stage {
		return stage{func(lp *lessonPool, it *item) bool { return lp.class[it] == n&1 }, near}
	}
	var got run
	got.init(s, number)
	for near := distant; near <= sameKey; near++ {
		got.fill(own(number, near))
	}
	if got.full() {
		return got.chosen
	}
	taken := map[*item]bool{}
	for _, n := range []int{number - 1, number + 1} {
		if n < 1 {
			continue
		}
		var neighbour run
		neighbour.init(s, n)
		for near := distant; near <= sameKey; near++ {
			neighbour.fill(own(n, near))
		}
		for _, r := range neighbour.chosen {
			taken[r.item] = true
		}
	}
	left := func(_ *lessonPool, it *item) bool { return !taken[it] }
	all := func(*lessonPool, *item) bool { return true }
	for near := distant; near <= sameKey; near++ {
		got.fill(stage{left, near})
	}
	for near := distant; near <= sameKey; near++ {
		got.fill(stage{all, near})
	}
	return got.chosen
}

// run is a form in the making.
type run struct {
	*selector
	number    int
	chosen    []*realised
	used      map[*item]bool
	perLesson []int
	perFamily map[*family]int
	order     []*family // ties among families go by this
	rank      map[*family]int
}

func (r *run) init(s *selector, number int) {
	r.selector, r.number = s, number
	r.used, r.perFamily, r.rank = map[*item]bool{}, map[*family]int{}, map[*family]int{}
	r.perLesson = make([]int, len(s.lessons))
	r.order = shuffled(s.formKey(number).sub("families").draws(), s.families)
	for i, f := range r.order {
		r.rank[f] = i
	}
}

func (r *run) full() bool { return len(r.chosen) >= r.plan.total }

// room says whether the lesson and the family may have one more.
func (r *run) room(lesson int, f *family) bool {
	if r.full() || r.perLesson[lesson] >= r.plan.perLesson[lesson] {
		return false
	}
	if n, ok := r.plan.perFamily[f.info.ID]; ok {
		return r.perFamily[f] < n
	}
	// Places that listed families still need are kept for them.
	return r.plan.total-len(r.chosen) > r.reserved()
}

// reserved counts the places that the blueprint's families still need.
func (r *run) reserved() (n int) {
	for f, want := range r.plan.perFamily {
		n += max(0, want-r.perFamily[familyByID(f)])
	}
	return n
}

// fill chooses what a stage allows: the critical steps that are due, then the families that the blueprint counts, then
// lessons and families evenly.
func (r *run) fill(st stage) {
	if r.plan.critical {
		for i := range r.lessons {
			r.fillCritical(i, st)
		}
	}
	r.fillCounted(st)
	spent := map[[2]any]bool{}
	for !r.full() {
		lesson, f := r.next(spent)
		if f == nil {
			return
		}
		if !r.take(lesson, r.rotated(lesson, f), st) {
			spent[[2]any{lesson, f}] = true
		}
	}
}

// next is the lesson with the most room and, in it, the family with the fewest questions so far.
func (r *run) next(spent map[[2]any]bool) (lesson int, f *family) {
	best := -1
	for i, lp := range r.lessons {
		room := r.plan.perLesson[i] - r.perLesson[i]
		if best >= 0 && room <= r.plan.perLesson[best]-r.perLesson[best] {
			continue
		}
		for _, c := range r.order {
			if len(lp.byFamily[c]) > 0 && !spent[[2]any{i, c}] && r.room(i, c) {
				best = i
				break
			}
		}
	}
	if best < 0 {
		return 0, nil
	}
	for _, c := range r.order {
		if len(r.lessons[best].byFamily[c]) == 0 || spent[[2]any{best, c}] || !r.room(best, c) {
			continue
		}
		if f == nil || r.perFamily[c] < r.perFamily[f] {
			f = c
		}
	}
	return best, f
}

// rotated lists a family's items of a lesson, beginning further on with every second number, so that a seed goes through
// all of them.
func (r *run) rotated(lesson int, f *family) []*item {
	items := r.lessons[lesson].byFamily[f]
	var own, rest []*item
	for _, it := range items {
		if r.lessons[lesson].class[it] == r.number&1 {
			own = append(own, it)
		} else {
			rest = append(rest, it)
		}
	}
	if len(own) > 0 {
		share := max(1, r.plan.perLesson[lesson]/max(1, len(r.families)))
		at := (r.number - 1) / 2 % len(own) * share % len(own)
		own = slices.Concat(own[at:], own[:at])
	}
	return append(own, rest...)
}

// take chooses the first of the items that can stand beside what is chosen.
func (r *run) take(lesson int, items []*item, st stage) bool {
	for _, it := range items {
		if r.used[it] || !st.allowed(r.lessons[lesson], it) || !r.room(lesson, it.family) {
			continue
		}
		q := r.realise(r.number, it)
		if q == nil || r.conflicts(q, st.near) {
			continue
		}
		r.used[it] = true
		r.chosen = append(r.chosen, q)
		r.perLesson[lesson]++
		r.perFamily[it.family]++
		return true
	}
	return false
}

func (r *run) conflicts(q *realised, near nearness) bool {
	return slices.ContainsFunc(r.chosen, func(o *realised) bool { return clashing(q, o, near) })
}

// clashing says whether two questions must not stand in one form. Never: the same question, one that shows what the other
// tests, a stem that holds the other's key, one cell or figure asked twice. Up to sameRow: one key, one sum or one order of
// two steps twice. When distant: two questions on one row or step.
func clashing(a, b *realised, near nearness) bool {
	if a.ID == b.ID || holds(a.stem, b.keys) || holds(b.stem, a.keys) {
		return true
	}
	if a.Lesson != b.Lesson {
		ta, tb := carFacts(a.tests), carFacts(b.tests)
		return meet(ta, carFacts(b.shows)) || meet(tb, carFacts(a.shows)) || meet(ta, tb)
	}
	if meet(a.tests, b.shows) || meet(b.tests, a.shows) || meet(firm(a.tests), firm(b.tests)) {
		return true
	}
	if near < sameKey && (meet(a.tests, b.tests) || keyElement(a) != "" && keyElement(a) == keyElement(b) || a.Source.Element == b.Source.Element && a.Family == b.Family) {
		return true
	}
	return near < sameRow && root(a.Source.Element) == root(b.Source.Element)
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
		return (len(k.words) >= 2 && k.runes >= 10 || k.runes >= 16) && strings.Contains(stem.norm, k.norm)
	})
}

// fillCritical asks the critical steps that are due in this number, in turn where there is no room for all. A step that
// finds no place beside the others goes first in another try.
func (r *run) fillCritical(lesson int, st stage) {
	due := slices.Clone(r.lessons[lesson].due[r.number&1])
	if room := r.plan.perLesson[lesson]; room < len(due) && room > 0 {
		at := (r.number - 1) / 2 % len(due) * room % len(due)
		due = slices.Concat(due[at:], due[:at])[:room]
	}
	before := r.clone()
	best, fewest := before, len(due)+1
	for range len(due) + 1 {
		*r = before.clone()
		missed := slices.DeleteFunc(slices.Clone(due), func(x *step) bool { return r.takeCritical(lesson, x, st) })
		if len(missed) < fewest {
			best, fewest = r.clone(), len(missed)
		}
		if len(missed) == 0 {
			break
		}
		due = append(missed, slices.DeleteFunc(due, func(x *step) bool { return slices.Contains(missed, x) })...)
	}
	*r = best
}

// takeCritical asks a step unless the form does already. One that only the other class can ask is taken from there.
func (r *run) takeCritical(lesson int, x *step, st stage) bool {
	lp := r.lessons[lesson]
	if slices.ContainsFunc(r.chosen, func(q *realised) bool { return q.Lesson == lp.subject.lesson.ID && q.item.covers(x.Step) }) {
		return true
	}
	var ways []*item
	for _, f := range r.order {
		for _, it := range r.rotated(lesson, f) {
			if it.covers(x.Step) {
				ways = append(ways, it)
			}
		}
	}
	slices.SortStableFunc(ways, func(a, b *item) int {
		return cmp.Or(cmp.Compare(r.perFamily[a.family], r.perFamily[b.family]), cmp.Compare(r.rank[a.family], r.rank[b.family]))
	})
	for near := st.near; near <= sameKey; near++ {
		if r.take(lesson, ways, stage{st.allowed, near}) || r.take(lesson, ways, stage{func(*lessonPool, *item) bool { return true }, near}) {
			return true
		}
	}
	return false
}

// clone copies what a run has chosen.
func (r *run) clone() run {
	out := *r
	out.chosen, out.used = slices.Clone(r.chosen), maps.Clone(r.used)
	out.perLesson, out.perFamily = slices.Clone(r.perLesson), maps.Clone(r.perFamily)
	return out
}

// fillCounted serves the families that the blueprint counts, those with the fewest items first.
func (r *run) fillCounted(st stage) {
	var counted []*family
	items := map[*family]int{}
	for _, f := range r.families {
		if r.plan.perFamily[f.info.ID] > 0 {
			counted = append(counted, f)
			for _, lp := range r.lessons {
				items[f] += len(lp.byFamily[f])
			}
		}
	}
	slices.SortStableFunc(counted, func(a, b *family) int { return cmp.Compare(items[a], items[b]) })
	for _, f := range counted {
		for r.perFamily[f] < r.plan.perFamily[f.info.ID] {
			lessons := make([]int, len(r.lessons))
			for i := range lessons {
				lessons[i] = i
			}
			slices.SortStableFunc(lessons, func(a, b int) int {
				return cmp.Compare(r.plan.perLesson[b]-r.perLesson[b], r.plan.perLesson[a]-r.perLesson[a])
			})
			if !slices.ContainsFunc(lessons, func(l int) bool { return r.take(l, r.rotated(l, f), st) }) {
				break
			}
		}
	}
}
