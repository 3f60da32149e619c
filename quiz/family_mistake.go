package quiz

import (
	"math/big"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
)

// mistakeFamily shows a job written up line by line, with exactly one thing wrong: a step done before the one step that
// it had to wait for, or a reading outside its limit that was passed. Everything else in it is in order. The last line is
// never offered, for nothing on it could have been done too soon. Only what can go wrong on each of the lines offered is
// asked: a step that can stand on the first line alone would make that line the better guess.
var mistakeFamily = &family{
	info: FamilyInfo{ID: "find-mistake", Kinds: []Kind{Single}, Asks: "Which line of this job write-up is wrong?", Source: "procedure: steps, their order, and Measure"},
	items: func(s *subject) (out []*item) {
		inTurn := make([]int, len(s.leaves))
		for i := range inTurn {
			inTurn[i] = i
		}
		for _, x := range s.leaves {
			if onEveryLine(func(at int) bool { _, _, late := s.tooSoon(x, at, inTurn); return late != nil }) {
				out = append(out, &item{element: x.Element, line: x.Line, critical: x.Critical, make: func(d *draws) *proposal { return proposeTooSoon(s, x, d) }})
			}
		}
		for _, m := range s.limits {
			if m.step == nil || m.step.leaf < 0 || !onEveryLine(func(at int) bool { _, _, ok := s.jobAround(m.step, nil, at, inTurn); return ok }) {
				continue
			}
			out = append(out, &item{label: m.label, element: m.element, line: m.line, critical: m.critical,
				make: func(d *draws) *proposal { return proposePassed(s, m, d) }})
		}
		return out
	},
}

func onEveryLine(can func(at int) bool) bool {
	for at := range lines - 1 {
		if !can(at) {
			return false
		}
	}
	return true
}

var tooSoonSayings = sayings{
	"en": {"Five lines of a job write-up, in the order in which the work was done. One step was done too soon: something that had to come first was still undone. Which line is it?"},
	"es": {"Cinco líneas de la hoja de un trabajo, en el orden en que se hizo. Un paso se hizo demasiado pronto: faltaba algo que tenía que ir antes. ¿Qué línea es?"},
}

var mixedMistakeSayings = sayings{
	"en": {"Five lines of a job write-up, in the order in which the work was done. One line is wrong: a step done too soon, or a reading passed that must not pass. Which line is it?"},
	"es": {"Cinco líneas de la hoja de un trabajo, en el orden en que se hizo. Una línea está mal: un paso hecho demasiado pronto, o una lectura aceptada que no se puede aceptar. ¿Qué línea es?"},
}

var lineSayings = sayings{"en": {"Line {1}"}, "es": {"Línea {1}"}}

var passedSayings = map[string]sayings{
	"one":     {"en": {"{1} – {4}: read {2}, limit {3}, passed"}, "es": {"{1} – {4}: lectura {2}, límite {3}, aceptado"}},
	"each":    {"en": {"{1} – {4}: read {2} everywhere, limit {3}, passed"}, "es": {"{1} – {4}: lectura {2} en todas partes, límite {3}, aceptado"}},
	"lowest":  {"en": {"{1} – {4}: lowest reading {2}, limit {3}, passed"}, "es": {"{1} – {4}: lectura menor {2}, límite {3}, aceptado"}},
	"highest": {"en": {"{1} – {4}: highest reading {2}, limit {3}, passed"}, "es": {"{1} – {4}: lectura mayor {2}, límite {3}, aceptado"}},
	"spread":  {"en": {"{1} – {4}: spread {2}, limit {3}, passed"}, "es": {"{1} – {4}: diferencia {2}, límite {3}, aceptado"}},
}

var tooSoonExplained = sayings{
	"en": {"{1} had to wait for {2}."},
	"es": {"{1} tenía que esperar a {2}."},
}

var passedExplained = sayings{
	"en": {"{1} is not within the limit: {2}."},
	"es": {"{1} no está dentro del límite: {2}."},
}

// lines is how long a write-up is; all but the last line are offered.
const lines = 5

func proposeTooSoon(s *subject, x *step, d *draws) *proposal {
	target := d.below(lines - 1)
	early, rest, y := s.tooSoon(x, target, d.order(len(s.leaves)))
	p := writeUp(s, slices.Concat(someOrder(early, d), []*step{x}, someOrder(rest, d)), target, nil, 0, d)
	p.explanation = s.explain(s.say(tooSoonExplained, "", s.quote(x.title.text), s.quote(y.title.text)), s.passage(x.Why...), s.passage(y.Why...))
	p.tests = []string{pairFact(y, x)}
	p.shows = slices.DeleteFunc(p.shows, func(f string) bool { return f == pairFact(y, x) })
	return p
}

func proposePassed(s *subject, m measured, d *draws) *proposal {
	target := d.below(lines - 1)
	var bad []string
	for _, c := range m.cases() {
		if strings.HasSuffix(c, "under") || strings.HasSuffix(c, "over") {
			bad = append(bad, c)
		}
	}
	n, ok := m.reading(pick(d, bad), d)
	if !ok || m.judge(n) == curriculum.Within {
		return nil
	}
	early, rest, _ := s.jobAround(m.step, nil, target, d.order(len(s.leaves)))
	p := writeUp(s, slices.Concat(someOrder(early, d), []*step{m.step}, someOrder(rest, d)), target, &m, n, d)
	p.explanation = s.explain(s.say(passedExplained, "", m.write(n), s.limit(m.figure)), m.quote)
	return p
}

// tooSoon finds a job in which x stands at index at, before one step that it had to wait for, with nothing else out of
// order. It takes the first such step in the order of turn (indexes of leaves) and returns it too, or nil if there is none.
func (s *subject) tooSoon(x *step, at int, turn []int) (early, rest []*step, late *step) {
	for _, i := range turn {
		if x.rel[i] != after {
			continue
		}
		if early, rest, ok := s.jobAround(x, s.leaves[i], at, turn); ok {
			return early, rest, s.leaves[i]
		}
	}
	return nil, nil, nil
}

// jobAround finds the other steps of a job of as many steps as there are lines, with x at index at: the early ones stand
// before x, the rest after it. Where late is not nil, it is among the rest and is the one step for which x had to wait;
// every other pair can be put in order. Steps are tried in the order of turn, those tied to x or late first, and every
// choice is tried before it gives up.
func (s *subject) jobAround(x, late *step, at int, turn []int) (early, rest []*step, ok bool) {
	type candidate struct {
		*step
		early, rest bool // where it may stand
	}
	job := []*step{x}
	if late != nil {
		if within(x.title, late.title) {
			return nil, nil, false
		}
		job = append(job, late)
	}
	wantEarly, wantRest := at, lines-at-len(job)
	var tied, loose []candidate
	canEarly, canRest := 0, 0
	for _, i := range turn {
		z := s.leaves[i]
		if slices.ContainsFunc(job, func(o *step) bool { return o == z || z.rel[o.leaf] == apart || within(z.title, o.title) }) {
			continue
		}
		waits := func(o *step) bool { return z.rel[o.leaf] == after }
		c := candidate{step: z, early: !slices.ContainsFunc(job, waits), rest: z.rel[x.leaf] != before}
		if c.early {
			canEarly++
		}
		if c.rest {
			canRest++
		}
		if slices.ContainsFunc(job, func(o *step) bool { return z.rel[o.leaf] != free }) {
			tied = append(tied, c)
		} else {
			loose = append(loose, c)
		}
	}
	if canEarly < wantEarly || canRest < wantRest {
		return nil, nil, false
	}
	candidates := append(tied, loose...)
	var fill func(from int) bool
	fill = func(from int) bool {
		if len(early) == wantEarly && len(rest) == wantRest {
			return true
		}
		for i := from; i < len(candidates); i++ {
			z := candidates[i]
			alien := func(o *step) bool { return z.rel[o.leaf] == apart || within(z.title, o.title) }
			if slices.ContainsFunc(early, alien) || slices.ContainsFunc(rest, alien) {
				continue
			}
			if z.early && len(early) < wantEarly && !slices.ContainsFunc(rest, func(o *step) bool { return z.rel[o.leaf] == after }) {
				early = append(early, z.step)
				if fill(i + 1) {
					return true
				}
				early = early[:len(early)-1]
			}
			if z.rest && len(rest) < wantRest && !slices.ContainsFunc(early, func(o *step) bool { return z.rel[o.leaf] == before }) {
				rest = append(rest, z.step)
				if fill(i + 1) {
					return true
				}
				rest = rest[:len(rest)-1]
			}
		}
		return false
	}
	if !fill(0) {
		return nil, nil, false
	}
	if late != nil {
		rest = append(rest, late)
	}
	return early, rest, true
}

// writeUp writes the job down. Where wrong is nil, every reading in it is good; else the line at target holds its reading
// n. Readings are shown in both cases, so that a reading alone does not mean that it is wrong.
func writeUp(s *subject, job []*step, target int, wrong *measured, n int64, d *draws) *proposal {
	var b strings.Builder
	p := &proposal{kind: Single, inPlace: true, lists: true, params: ""}
	withReading := false
	for i, x := range job {
		text := x.title.text
		m := wrong
		if wrong == nil || i != target {
			m = nil
			for j := range s.limits {
				if s.limits[j].step == x {
					m = &s.limits[j]
					break
				}
			}
		}
		if m != nil {
			reading, ok := n, true
			if wrong == nil || i != target {
				good := slices.DeleteFunc(m.cases(), func(c string) bool { return strings.HasSuffix(c, "under") || strings.HasSuffix(c, "over") })
				reading, ok = m.reading(pick(d, good), d)
			}
			if ok {
				say, known := passedSayings[m.which]
				if !known {
					say = passedSayings["one"]
				}
				text = say.say(s.language, 0, text, m.write(reading), s.limit(m.figure), tidy(m.figure.Quantity.For(s.car, "")))
				withReading = true
				p.onCar = p.onCar || m.onCar
				p.shows = append(p.shows, "figure:"+m.gauge.element)
			}
		}
		p.onCar = p.onCar || x.onCar
		b.WriteString("\n" + strconv.Itoa(i+1) + ". " + text)
		if i < lines-1 {
			c := choice{phrase: s.phrase(lineSayings.say(s.language, 0, strconv.Itoa(i+1))), element: x.Element, value: big.NewRat(int64(i+1), 1)}
			if i == target {
				if wrong != nil {
					c.element = wrong.element
				}
				p.right = []choice{c}
			} else {
				p.wrong = append(p.wrong, c)
			}
		}
	}
	for _, f := range forcedPairs(job) {
		p.shows = append(p.shows, pairFact(job[f[0]], job[f[1]]))
	}
	ask := tooSoonSayings
	if withReading {
		ask = mixedMistakeSayings
	}
	p.stem = s.say(ask, "") + b.String()
	p.params = b.String()
	return p
}
