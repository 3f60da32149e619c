package quiz

import "brakewright/curriculum"

// termFamily asks which term a definition belongs to. A wrong option is the main name of another definition; synonyms
// of the key never stand beside it.
var termFamily = &family{
	info:  FamilyInfo{ID: "term", Kinds: []Kind{Single}, Asks: "Which word means this?", Source: "terms: the names of a definition"},
	items: func(s *subject) []*item { return termItems(s, true) },
}

// definitionFamily asks what a term means.
var definitionFamily = &family{
	info:  FamilyInfo{ID: "definition", Kinds: []Kind{Single}, Asks: "What does this word mean?", Source: "terms: the definition of a name"},
	items: func(s *subject) []*item { return termItems(s, false) },
}

var termSayings = sayings{
	"en": {"Which word means this: {1}?", "What is this called: {1}?"},
	"es": {"¿Qué palabra significa esto: {1}?", "¿Cómo se llama esto: {1}?"},
}

var definitionSayings = sayings{
	"en": {"What does this word mean here: {1}?", "What is meant by {1}?"},
	"es": {"¿Qué significa aquí esta palabra: {1}?", "¿Qué se entiende por {1}?"},
}

func termItems(s *subject, askName bool) (out []*item) {
	rows := s.lesson.Terms
	for i, t := range rows {
		if len(t.Names) == 0 {
			continue
		}
		definition := s.choice(t.Element+"/definition", t.Definition)
		var names []*phrase
		for _, n := range t.Names {
			names = append(names, s.phrase(tidy(n)))
		}
		base := proposal{kind: Single, meaning: true, tests: []string{t.Element}, explanation: s.explain("", tidy(t.Names[0])+": "+s.passage(t.Definition))}
		for j, o := range rows {
			switch {
			case j == i || len(o.Names) == 0 || s.sameTerm(t, o):
			case askName:
				base.wrong = append(base.wrong, choice{phrase: s.phrase(tidy(o.Names[0])), element: o.Element + "/term"})
			default:
				base.wrong = append(base.wrong, s.choice(o.Element+"/definition", o.Definition))
			}
		}
		field := "/term"
		if askName {
			field = "/definition"
		}
		out = append(out, &item{element: t.Element + field, line: t.Line, make: func(d *draws) *proposal {
			name, p := pick(d, names), base
			if askName {
				p.stem, p.right, p.truths = s.say(termSayings, t.Element, s.quote(definition.text)), []choice{{phrase: name, element: t.Element + "/term"}}, names
			} else {
				p.stem, p.right, p.params = s.say(definitionSayings, t.Element, s.quote(name.text)), []choice{definition}, name.text
			}
			return &p
		}})
	}
	return out
}

// sameTerm says that two rows share a name or mean nearly the same.
func (s *subject) sameTerm(a, b curriculum.Term) bool {
	for _, x := range a.Names {
		for _, y := range b.Names {
			if normal(x) == normal(y) {
				return true
			}
		}
	}
	return alike(s.choice("", a.Definition).phrase, s.choice("", b.Definition).phrase, 1, 2)
}
