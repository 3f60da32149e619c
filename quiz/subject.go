package quiz

import (
	"hash/fnv"
	"slices"
	"strings"

	"brakewright/curriculum"
)

// subject is a lesson as families see it: in one language, for one car or none, with only what applies there.
type subject struct {
	programme *curriculum.Programme
	lesson    *curriculum.Lesson
	car       *curriculum.Vehicle // or nil
	language  string              // of the lesson's words
	sheet     *curriculum.Sheet   // or nil
	steps     []*step             // in document order, parents included
	leaves    []*step             // those that can be options
	cautions  []curriculum.Caution
	tools     []curriculum.Tool
	faults    []curriculum.Fault
	carKeys   []curriculum.Figure // figures of the car that the lesson's steps and sums use, sorted by key
	limits    []measured          // what readings can be judged against

	// phrases holds the texts met while the pool is built, for many families look at one cell; nil from then on.
	phrases map[string]*phrase
	roots   map[string]knownWord // of words, as long
}

// step is a step that applies, with what order families ask of it.
type step struct {
	*curriculum.Step
	title *phrase
	onCar bool // its words hold a figure of the car
	leaf  int  // index in leaves, or -1
	alone bool // no other step that applies has its title: only such steps are asked by their order
	axles []string
	// rel[j] is how this leaf stands to leaf j.
	rel  []relation
	akin []int // leaves whose title holds this one's or is held by it
}

// relation of two leaves on a car.
type relation uint8

const (
	free   relation = iota // neither waits for the other
	before                 // it always comes before
	after                  // it always comes after
	apart                  // never at one wheel, not the same at all wheels, or not told apart by title: not to be asked together
)

func newSubject(p *curriculum.Programme, l *curriculum.Lesson, car *curriculum.Vehicle) *subject {
	s := &subject{programme: p, lesson: l, car: car, language: l.Language, sheet: l.Sheet(car), phrases: map[string]*phrase{}, roots: map[string]knownWord{}}
	s.readSteps()
	for _, r := range l.Cautions {
		if car.Applies(r.If) {
			s.cautions = append(s.cautions, r)
		}
	}
	for _, r := range l.Tools {
		if car.Applies(r.If) {
			s.tools = append(s.tools, r)
		}
	}
	for _, r := range l.Faults {
		if car.Applies(r.If) {
			s.faults = append(s.faults, r)
		}
	}
	s.readCar()
	s.readLimits()
	return s
}

// readSteps keeps the leaves of the sheet and the parents above them, and works out how the leaves stand to one another.
func (s *subject) readSteps() {
	if s.sheet == nil {
		return
	}
	at := map[*curriculum.Step][]int{} // leaf → its places on the sheet, one a wheel
	kept := map[*curriculum.Step]bool{}
	axles := map[*curriculum.Step][]string{}
	for i, x := range s.sheet.Steps {
		at[x.Step] = append(at[x.Step], i)
		for up := x.Step; up != nil; up = up.Parent {
			kept[up] = true
			if !slices.Contains(axles[up], x.Axle) {
				axles[up] = append(axles[up], x.Axle)
			}
		}
	}
	for _, x := range s.lesson.Procedure.Steps {
		if !kept[x] {
			continue
		}
		text, onCar := s.words(x.Title)
		st := &step{Step: x, title: s.phrase(text), onCar: onCar, leaf: -1, axles: axles[x]}
		if len(at[x]) > 0 {
			st.leaf = len(s.leaves)
			s.leaves = append(s.leaves, st)
		}
		s.steps = append(s.steps, st)
	}
	count := map[string]int{}
	for _, x := range s.steps {
		count[x.title.norm]++
	}
	for _, x := range s.steps {
		x.alone = count[x.title.norm] == 1
	}
	for _, a := range s.leaves {
		a.rel = make([]relation, len(s.leaves))
	}
	for i, a := range s.leaves {
		for j, b := range s.leaves[:i] {
			if within(a.title, b.title) {
				a.akin, b.akin = append(a.akin, j), append(b.akin, i)
			}
			a.rel[j] = apart
			if a.alone && b.alone {
				a.rel[j] = s.relate(at[a.Step], at[b.Step])
			}
			b.rel[i] = a.rel[j].turned()
		}
	}
}

// turned is how the second of two stands to the first.
func (r relation) turned() relation {
	switch r {
	case before:
		return after
	case after:
		return before
	}
	return r
}

// relate compares two leaves wherever they meet: at the same wheel, or where one of them does not repeat.
func (s *subject) relate(as, bs []int) relation {
	met, first := false, free
	for _, i := range as {
		for _, j := range bs {
			wa, wb := s.sheet.Steps[i].Wheel, s.sheet.Steps[j].Wheel
			if wa != wb && wa != "" && wb != "" {
				continue
			}
			r := free
			switch {
			case s.sheet.Before(i, j):
				r = before
			case s.sheet.Before(j, i):
				r = after
			}
			if met && r != first {
				return apart
			}
			met, first = true, r
		}
	}
	if !met {
		return apart
	}
	return first
}

// readCar gathers the figures of the car that the lesson's own steps and sums name: nobody is asked what the lesson
// does not use.
func (s *subject) readCar() {
	if s.car == nil {
		return
	}
	keys := map[string]bool{}
	add := func(key string) {
		for _, axle := range []string{"front", "rear"} {
			if f, ok := s.car.Figure(key, axle); ok {
				keys[f.Key] = true
			}
		}
	}
	addText := func(ts ...curriculum.Text) {
		for _, t := range ts {
			for _, part := range t.Parts {
				if part.Key != "" {
					add(part.Key)
				}
			}
		}
	}
	for _, st := range s.steps {
		addText(st.Title)
		addText(st.Why...)
		addText(st.IfSkipped...)
		addText(st.IfWrong...)
		addText(st.Check...)
		for _, m := range st.Measures {
			add(m.Key)
			addText(m.Text)
		}
	}
	for _, r := range s.cautions {
		addText(r.Hazard, r.Consequence, r.Control)
	}
	for _, r := range s.faults {
		addText(r.Symptom, r.Cause, r.Check)
	}
	for _, sum := range s.lesson.Sums {
		for _, g := range sum.Given {
			add(g.VehicleKey)
		}
	}
	wheels := make([]curriculum.CarWheel, len(s.car.Wheels))
	for i, w := range s.car.Wheels {
		wheels[i] = curriculum.CarWheel(w)
	}
	described := curriculum.Car{Layout: s.car.Layout, Features: s.car.Features, Wheels: wheels, Orders: s.car.Orders}
	for _, f := range s.programme.Needed([]string{s.lesson.ID}, described) {
		add(f.Key)
	}
	for _, f := range s.car.Figures {
		if keys[f.Key] {
			s.carKeys = append(s.carKeys, f)
		}
	}
	slices.SortFunc(s.carKeys, func(a, b curriculum.Figure) int { return strings.Compare(a.Key, b.Key) })
}

// words gives a text for the car; onCar says that a figure of the car stands in it.
func (s *subject) words(t curriculum.Text) (text string, onCar bool) {
	text = tidy(t.For(s.car, ""))
	return text, s.car != nil && text != tidy(t.Plain())
}

func (s *subject) phrase(text string) *phrase {
	if got := s.phrases[text]; got != nil {
		return got
	}
	made := readPhrase(text, s.language, s.roots)
	if s.phrases != nil {
		s.phrases[text] = made
	}
	return made
}

// key names a stream of draws of the whole pool.
func (s *subject) key(parts ...string) key {
	vehicle := ""
	if s.car != nil {
		vehicle = s.car.ID
	}
	return keyOf("pool", drawing, s.programme.Edition, s.lesson.ID, vehicle, s.language).sub(parts...)
}

// say fills a sentence in the lesson's language; element picks the variant.
func (s *subject) say(of sayings, element string, args ...string) string {
	h := fnv.New32a()
	h.Write([]byte(s.lesson.ID + "/" + element))
	return of.say(s.language, int(h.Sum32()>>8&0xffff), args...)
}

// carLine is the line of the sheet on which a named order stands.
func (s *subject) carLine(name string) int {
	for _, f := range s.programme.Files {
		if f.Path != s.car.File {
			continue
		}
		inOrders := false
		for i, line := range strings.Split(string(f.Bytes), "\n") {
			switch trimmed := strings.TrimSpace(line); {
			case strings.HasPrefix(trimmed, "orders:"):
				inOrders = true
				if strings.Contains(trimmed, name+":") {
					return i + 1
				}
			case inOrders && strings.HasPrefix(trimmed, name+":"):
				return i + 1
			}
		}
	}
	return 1
}

// relatives says whether two steps are one step, or stand above or below one another.
func relatives(a, b *curriculum.Step) bool {
	for up := a; up != nil; up = up.Parent {
		if up == b {
			return true
		}
	}
	for up := b; up != nil; up = up.Parent {
		if up == a {
			return true
		}
	}
	return false
}

// quote is how the language sets words apart.
func (s *subject) quote(text string) string {
	if s.language == "es" {
		return "«" + text + "»"
	}
	return "“" + text + "”"
}

func sameStep(x *step) func(curriculum.SheetStep) bool {
	return func(y curriculum.SheetStep) bool { return y.Step == x.Step }
}
