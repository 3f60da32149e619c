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
		return append(pointItems(s, "if-skipped", "skipped", func(x *step) []curriculum.Text { return x.IfSkipped }, consequences, skippedSayings),
			pointItems(s, "if-skipped", "wrong", func(x *step) []curriculum.Text { return x.IfWrong }, consequences, wrongSayings)...)
	},
}

// whyFamily asks for the reason of a step.
var whyFamily = &family{
	info: FamilyInfo{ID: "why", Kinds: []Kind{Single}, Asks: "Why is that step done?", Source: "procedure: Why"},
	items: func(s *subject) []*item {
		why := func(x *step) []curriculum.Text { return x.Why }
		return pointItems(s, "why", "", why, why, whySayings)
	},
}

// stepCheckFamily asks how one sees that a step was done right.
var stepCheckFamily = &family{
	info: FamilyInfo{ID: "step-check", Kinds: []Kind{Single}, Asks: "What shows that the step was done right?", Source: "procedure: Check"},
	items: func(s *subject) []*item {
		check := func(x *step) []curriculum.Text { return x.Check }
		return pointItems(s, "check", "", check, check, checkSayings)
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

func consequences(x *step) []curriculum.Text {
	return append(append([]curriculum.Text(nil), x.IfSkipped...), x.IfWrong...)
}

// pointItems makes an item for each step that has the point. asked gives the texts that may be the key, all the texts
// that may be wrong options of other steps or true of this one.
func pointItems(s *subject, field, label string, asked, all func(*step) []curriculum.Text, ask sayings) (out []*item) {
	choices := make([][]choice, len(s.steps)) // all texts of each step
	for i, y := range s.steps {
		for _, u := range all(y) {
			choices[i] = append(choices[i], s.choice(y.Element+"/"+field, u))
		}
	}
	for _, x := range s.steps {
		texts := asked(x)
		if len(texts) == 0 {
			continue
		}
		element := x.Element + "/" + field
		p := proposal{kind: Single, stem: s.say(ask, x.Element, s.quote(x.title.text)), meaning: true, given: []*phrase{x.title}, onCar: x.onCar, tests: []string{element}}
		for i, y := range s.steps {
			switch {
			case alike(x.title, y.title, 1, 2), slices.ContainsFunc(s.steps, func(z *step) bool { return z.title.norm == x.title.norm && relatives(z.Step, y.Step) }):
				// What is true of one of two like steps may be true of the other.
				p.truths = append(p.truths, phrases(choices[i])...)
			default:
				p.wrong = append(p.wrong, choices[i]...)
			}
		}
		var rights []choice
		for _, t := range texts {
			rights = append(rights, s.choice(element, t))
		}
		out = append(out, &item{label: label, element: element, line: texts[0].Line, critical: x.Critical, make: func(d *draws) *proposal {
			i := d.below(len(texts))
			q := p
			q.right, q.explanation = rights[i:i+1:i+1], s.explain("", s.passage(texts[i]))
			return &q
		}})
	}
	return out
}
