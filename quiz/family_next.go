package quiz

import (
	"slices"
	"strings"
)

// nextFamily asks what can be done now, given what is done. The options of a set lie on one line of the procedure: of
// those before the key, all are done; those behind it wait for it. So each option is the key at its own place of the work.
var nextFamily = &family{
	info: FamilyInfo{ID: "next", Kinds: []Kind{Single}, Asks: "This much is done: which of these comes next?", Source: "procedure: steps and what they come after"},
	items: func(s *subject) []*item {
		var members []member
		var of []turn
		for _, x := range s.leaves {
			at, ok := s.turnOf(x)
			if !ok {
				continue
			}
			members = append(members, member{choice: stepChoices([]*step{x})[0], ask: asking{element: x.Element, line: x.Line, critical: x.Critical},
				stem: s.say(nextSayings, x.Element, at.quoted(s)), carStem: slices.ContainsFunc(at.last, func(y *step) bool { return y.onCar }),
				explanation: s.explain(s.say(nextExplained, "", at.quoted(s), s.quote(x.title.text)), s.passage(x.Why...)), tests: at.facts()})
			of = append(of, at)
		}
		return s.closedItems("next", members, func(i, j int) bool { return !of[i].beside(of[j]) || s.mixed(members, i, j) }, 3, 4)
	},
}

var nextSayings = sayings{
	"en": {"This is done, with all that has to come before it, and nothing else: {1}. Which of these comes next?", "So far this is done, and all that has to come before it: {1}. Nothing else is. Which of these can be done now?"},
	"es": {"Está hecho esto, con todo lo que tiene que ir antes, y nada más: {1}. ¿Cuál de estos pasos viene ahora?", "Hasta aquí está hecho esto y todo lo que tiene que ir antes: {1}. Nada más. ¿Cuál de estos pasos se puede hacer ahora?"},
}

var nextExplained = sayings{
	"en": {"After {1} comes {2}; what comes before it is done."},
	"es": {"Después de {1} viene {2}; lo que va antes está hecho."},
}

// turn is a step's place in the work: the steps that are done last before it.
type turn struct {
	step *step
	last []*step
}

// turnOf finds the steps that are done last where a step's turn has come: of those it waits for, the ones that none
// of the others waits for. ok is false where there are none or more than three, or where the order of a car's wheels, or a
// title that two steps share, leaves open what is done.
func (s *subject) turnOf(x *step) (at turn, ok bool) {
	at.step = x
	for _, y := range s.leaves {
		forced := y != x && s.lesson.Procedure.Before(y.ID, x.ID)
		if forced != (y != x && x.rel[y.leaf] == after) || y != x && x.rel[y.leaf] == apart && s.lesson.Procedure.Before(x.ID, y.ID) {
			return at, false
		}
		if forced && !slices.ContainsFunc(s.leaves, func(z *step) bool { return x.rel[z.leaf] == after && z.rel[y.leaf] == after }) {
			at.last = append(at.last, y)
		}
	}
	return at, len(at.last) > 0 && len(at.last) <= 3
}

func (p turn) quoted(s *subject) string {
	parts := make([]string, len(p.last))
	for i, y := range p.last {
		parts[i] = s.quote(y.title.text)
	}
	return strings.Join(parts, ", ")
}

func (p turn) facts() (out []string) {
	for _, y := range p.last {
		out = append(out, pairFact(y, p.step))
	}
	return out
}

// beside says that two steps may be options of one question: one is forced before the other, and neither is told as done
// last where the other's turn has come, nor is its title.
func (p turn) beside(o turn) bool {
	r := p.step.rel[o.step.leaf]
	if r != before && r != after {
		return false
	}
	told := func(last []*step, x *step) bool {
		return slices.ContainsFunc(last, func(y *step) bool { return y == x || alike(y.title, x.title, 3, 4) })
	}
	return !told(p.last, o.step) && !told(o.last, p.step)
}

// mixed says that an option shares a word with another's stem: neighbours in the work do, others do not, and who looks for
// that would know which is which.
func (s *subject) mixed(members []member, i, j int) bool {
	return commonOf(s.phrase(members[i].stem), members[j].phrase) > 0 || commonOf(s.phrase(members[j].stem), members[i].phrase) > 0
}
