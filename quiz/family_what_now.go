package quiz

import (
	"slices"

	"brakewright/curriculum"
)

// whatNowFamily stops the work behind a step at which something must come out right: a hold point, a measurement, a check.
// Either it has, and the only safe next act is the step whose turn has come; or it has not, and the only safe act is to
// stop. Steps on one line of the procedure stand beside the stop, and each is right at its own place; the stop is right as
// often as each of them.
var whatNowFamily = &family{
	info: FamilyInfo{ID: "what-now", Kinds: []Kind{Single}, Asks: "In the middle of the work: what is the only safe next act?", Source: "procedure: hold points, Measure, Check, and what steps come after"},
	items: func(s *subject) []*item {
		stop := choice{phrase: s.phrase(stopSayings.say(s.language, 0)), element: "verdict/stop"}
		var members []member
		var of []turn
		for _, x := range s.leaves {
			at, ok := s.turnOf(x)
			if !ok || len(at.last) != 1 {
				continue // with several steps done last, one could have come out well and another not
			}
			for _, h := range s.halts(at.last[0], x) {
				m := member{choice: stepChoices([]*step{x})[0], ask: asking{label: h.name, element: h.element, line: h.line, critical: h.step.Critical},
					stem: h.stem(s, false, ""), carStem: h.step.onCar || h.onCar, tests: at.facts(),
					explanation: s.explain(s.say(nextExplained, "", at.quoted(s), s.quote(x.title.text)), s.passage(h.step.Why...))}
				if commonOf(s.phrase(m.stem), stop.phrase) > 0 || commonOf(s.phrase(h.stem(s, true, "")), stop.phrase) > 0 || alike(x.title, stop.phrase, 1, 3) {
					continue
				}
				m.finish = func(p *proposal, d *draws) *proposal { return h.happen(s, p, stop, d) }
				members, of = append(members, m), append(of, at)
			}
		}
		c := &closure{members: members, least: 2, size: 3, most: 3}
		c.compare(s, func(i, j int) bool { return !of[i].beside(of[j]) || s.mixed(members, i, j) }, 3, 4)
		return c.items(s, "what-now")
	},
}

var whatNowSayings = sayings{
	"en": {"This is done, with all that has to come before it, and nothing else: {1}. {2} What is the only safe next act?"},
	"es": {"Está hecho esto, con todo lo que tiene que ir antes, y nada más: {1}. {2} ¿Qué es lo único seguro que se puede hacer ahora?"},
}

var stopSayings = sayings{"en": {"Stop here; the work must not go on"}, "es": {"Parar aquí; el trabajo no puede seguir"}}

// halt is what must come out right behind a step before the work goes on.
type halt struct {
	name    string // hold, measure, check
	step    *step
	element string
	line    int
	onCar   bool
	check   string
	limit   *measured
}

// halts lists what must come out right behind a step before another is begun: the hold point; without one, a measurement
// and a check. Behind the last part of a step that is itself a hold point there is no telling, and none is listed.
func (s *subject) halts(x, next *step) (out []*halt) {
	for up := x.Parent; up != nil; up = up.Parent {
		if up.Hold && !relatives(up, next.Step) {
			return nil
		}
	}
	if x.Hold {
		return []*halt{{name: "hold", step: x, element: x.Element, line: x.Line}}
	}
	for i := range s.limits {
		if m := &s.limits[i]; m.step == x && len(m.cases()) > 0 {
			out = append(out, &halt{name: "measure", step: x, element: m.element, line: m.line, onCar: m.onCar, limit: m})
			break
		}
	}
	if len(x.Check) > 0 {
		if text, onCar := s.words(x.Check[0]); text != "" {
			out = append(out, &halt{name: "check", step: x, element: x.Element + "/check", line: x.Check[0].Line, onCar: onCar, check: text})
		}
	}
	return out
}

// haltSayings say first that it came out well, then that it did not; of a measurement they give the readings.
var haltSayings = map[string]sayings{
	"hold": {
		"en": {"It is a hold point; the supervisor has looked and agrees.", "It is a hold point; the supervisor has still to look."},
		"es": {"Es un punto de espera; el supervisor ha mirado y está de acuerdo.", "Es un punto de espera; el supervisor tiene que mirar aún."},
	},
	"measure": {"en": {"{1}. You read: {2}."}, "es": {"{1}. Lees: {2}."}},
	"spread":  {"en": {"{1}. You note, as differences from the first reading: {2}."}, "es": {"{1}. Anotas, como diferencias con la primera lectura: {2}."}},
	"check": {
		"en": {"To be found then: {1}. And so you find it.", "To be found then: {1}. But so you do not find it."},
		"es": {"Entonces ha de verse: {1}. Y así se ve.", "Entonces ha de verse: {1}. Pero así no se ve."},
	},
}

var haltExplained = map[string]sayings{
	"hold":    {"en": {"At a hold point the work stops until the supervisor has looked."}, "es": {"En un punto de espera el trabajo se detiene hasta que el supervisor haya mirado."}},
	"measure": {"en": {"{1} is not within the limit: {2}."}, "es": {"{1} no está dentro del límite: {2}."}},
	"check":   {"en": {"The check of this step did not come out as it must: {1}."}, "es": {"La comprobación de este paso no salió como debe: {1}."}},
}

func (h *halt) stem(s *subject, bad bool, readings string) string {
	say := haltSayings[h.name]
	happened := ""
	switch {
	case h.limit != nil && h.limit.which == "spread":
		happened = haltSayings["spread"].say(s.language, 0, s.limitLine(*h.limit), readings)
	case h.limit != nil:
		happened = say.say(s.language, 0, s.limitLine(*h.limit), readings)
	default:
		happened = say.say(s.language, one(bad), s.quote(h.check))
	}
	return s.say(whatNowSayings, h.element, s.quote(h.step.title.text), happened)
}

// happen makes the situation of a proposal whose key is the step whose turn has come: all is well, or in one draw of as
// many as there are options it is not, and stopping is the key.
func (h *halt) happen(s *subject, p *proposal, stop choice, d *draws) *proposal {
	bad := d.below(len(p.wrong)+2) == 0
	explained := s.quote(h.check)
	if h.limit != nil {
		cases := slices.DeleteFunc(h.limit.cases(), func(c string) bool { return (verdictOf(c) != curriculum.Within) != bad })
		text, ok := "", false
		for range attempts {
			n, can := h.limit.reading(pick(d, cases), d)
			if !can {
				continue
			}
			if text, ok = h.limit.list(n, d); ok {
				explained = h.limit.write(n)
				break
			}
		}
		if !ok {
			return nil
		}
		p.params = text
		p.shows = []string{"figure:" + h.limit.gauge.element}
	}
	p.stem, p.asks = h.stem(s, bad, p.params), nil
	if !bad {
		p.wrong = append(slices.Clone(p.wrong), stop)
		return p
	}
	p.wrong, p.right = append(slices.Clone(p.wrong), p.right...), []choice{stop}
	p.tests = []string{h.element + "/stop"}
	passage := s.passage(h.step.Why...)
	limit := ""
	if h.limit != nil {
		passage, limit = h.limit.quote, s.limit(h.limit.figure)
	}
	p.explanation = s.explain(haltExplained[h.name].say(s.language, 0, explained, limit), passage)
	return p
}
