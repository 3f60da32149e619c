package quiz

import (
	"slices"

	"brakewright/curriculum"
)

// The families of this file ask what stands under a step: what follows if it is skipped or done wrong, why it is done,
// how one sees that it is right. A wrong option is the same point of another step, never of one above or below it, and
// never one that resembles a point of the step asked.

// ifSkippedFamily asks for the consequence of leaving a step out or doing it wrong.
var ifSkippedFamily = &family{
	info: FamilyInfo{ID: "if-skipped", Kinds: []Kind{Single}, Asks: "What can follow if that step is skipped, or done wrong?", Source: "procedure: If skipped, If done wrong"},
	items: func(s *subject) []*item {
		return pointItems(s, "if-skipped", func(x *step) []point { return append(points("skipped", x.IfSkipped), points("wrong", x.IfWrong)...) },
			map[string]sayings{"skipped": skippedSayings, "wrong": wrongSayings})
	},
}

// whyFamily asks for the reason of a step.
var whyFamily = &family{
	info: FamilyInfo{ID: "why", Kinds: []Kind{Single}, Asks: "Why is that step done?", Source: "procedure: Why"},
	items: func(s *subject) []*item {
		return pointItems(s, "why", func(x *step) []point { return points("", x.Why) }, map[string]sayings{"": whySayings})
	},
}

// stepCheckFamily asks how one sees that a step was done right.
var stepCheckFamily = &family{
	info: FamilyInfo{ID: "step-check", Kinds: []Kind{Single}, Asks: "What shows that the step was done right?", Source: "procedure: Check"},
	items: func(s *subject) []*item {
		return pointItems(s, "check", func(x *step) []point { return points("", x.Check) }, map[string]sayings{"": checkSayings})
	},
}

var skippedSayings = sayings{
	"en": {"What can follow if this step is skipped: {1}?", "Somebody leaves this out: {1}. What can come of it?"},
	"es": {"¿Qué puede pasar si se omite este paso: {1}?", "Alguien se salta esto: {1}. ¿Qué puede pasar?"},
}

var wrongSayings = sayings{
	"en": {"What can follow if this step is done wrong: {1}?", "Somebody does not keep to this: {1}. What can come of it?"},
	"es": {"¿Qué puede pasar si este paso se hace mal: {1}?", "Alguien no respeta esto: {1}. ¿Qué puede pasar?"},
}

var whySayings = sayings{
	"en": {"Why is this step done: {1}?", "What is the reason for this step: {1}?"},
	"es": {"¿Por qué se hace este paso: {1}?", "¿Cuál es la razón de este paso: {1}?"},
}

var checkSayings = sayings{
	"en": {"What shows that this step was done right: {1}?"},
	"es": {"¿Qué demuestra que este paso se hizo bien: {1}?"},
}

// pointItems makes an item for each step that has the point. all gives the texts; the label of each
// says with which words it is asked.
func pointItems(s *subject, field string, all func(*step) []point, ask map[string]sayings) []*item {
	var members []member
	var of []*step // of each member
	for _, x := range s.steps {
		element := x.Element + "/" + field
		for _, p := range all(x) {
			members = append(members, member{choice: s.choice(element, p.text), ask: asking{label: p.label, element: element, line: p.text.Line, critical: x.Critical},
				stem: s.say(ask[p.label], x.Element, s.quote(x.title.text)), given: []*phrase{x.title}, carStem: x.onCar, tests: []string{element},
				explanation: s.explain("", s.passage(p.text))})
			of = append(of, x)
		}
	}
	// What is true of one of two like steps may be true of the other, and of those above and below it.
	akin := func(x, y *step) bool {
		return alike(x.title, y.title, 1, 2) || slices.ContainsFunc(s.steps, func(z *step) bool { return z.title.norm == x.title.norm && relatives(z.Step, y.Step) })
	}
	return s.closedItems(field, members, func(i, j int) bool { return akin(of[i], of[j]) || akin(of[j], of[i]) }, 1, 3)
}

// point is one text under a step; its label says which question asks for it.
type point struct {
	label string
	text  curriculum.Text
}

func points(label string, texts []curriculum.Text) []point {
	out := make([]point, len(texts))
	for i, t := range texts {
		out[i] = point{label, t}
	}
	return out
}
