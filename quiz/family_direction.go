package quiz

import (
	"strings"

	"brakewright/curriculum"
)

// directionFamily gives a limit without saying whether it is the least or the most, and a reading: which side is the good
// one is what is asked. As many readings are good as are not.
var directionFamily = &family{
	info: FamilyInfo{ID: "limit-direction", Kinds: []Kind{Single}, Asks: "On which side of this limit is it good?", Source: "figures of the lesson and of the car with a minimum or maximum"},
	items: func(s *subject) (out []*item) {
		for _, m := range s.limits {
			if m.figure.Limit == curriculum.Range || len(m.cases()) == 0 || s.bothLimits(m) {
				continue
			}
			out = append(out, &item{label: m.label, element: m.element, file: m.file, line: m.line, critical: m.critical, sure: true,
				make: func(d *draws) *proposal { return proposeDirection(s, m, d) }})
		}
		return out
	},
}

var directionSayings = sayings{
	"en": {"The limit for {1} is {2}. You find {3}. Is that good?"},
	"es": {"El límite de {1} es {2}. Encuentras {3}. ¿Está bien?"},
}

var goodSayings = sayings{"en": {"Yes, it keeps to the limit", "No, it is outside the limit"}, "es": {"Sí, respeta el límite", "No, no respeta el límite"}}

// bothLimits says that the same quantity has a limit of another kind: then the words do not say which is meant.
func (s *subject) bothLimits(m measured) bool {
	for _, o := range s.limits {
		if o.figure.Limit != m.figure.Limit && normal(o.figure.Quantity.Plain()) == normal(m.figure.Quantity.Plain()) {
			return true
		}
	}
	return false
}

func proposeDirection(s *subject, m measured, d *draws) *proposal {
	bad := d.below(2)
	cases := m.cases()
	var fits []string
	for _, c := range cases {
		if one(verdictOf(c) != curriculum.Within) == bad && !strings.HasPrefix(c, "on") {
			fits = append(fits, c)
		}
	}
	n, ok := m.reading(pick(d, fits), d)
	if !ok || n == m.low {
		return nil
	}
	quantity, about := tidy(m.figure.Quantity.For(s.car, "")), ""
	if m.onCar {
		about = s.car.Title + ". "
	}
	alone := m
	if alone.which == "each" { // there is one reading here
		alone.which = "one"
	}
	p := &proposal{kind: Single, closed: true, stem: about + s.say(directionSayings, m.element, s.quote(quantity), m.figure.String(), m.write(n)), params: m.write(n), onCar: m.onCar,
		tests: []string{"direction:" + m.gauge.element}, shows: []string{"figure:" + m.gauge.element}, explanation: s.explain(s.judgement(alone, n), m.quote)}
	options := []choice{{phrase: s.phrase(goodSayings.say(s.language, 0)), element: "verdict/within"}, {phrase: s.phrase(goodSayings.say(s.language, 1)), element: "verdict/outside"}}
	p.right, p.wrong = options[bad:bad+1:bad+1], options[1-bad:2-bad:2-bad]
	return p
}
