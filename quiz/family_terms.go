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

// termItems asks a name by its definition or the other way round. Every name of a term is asked; of two names of one
// term, or of two terms that share a name or mean nearly the same, only one stands in a question.
func termItems(s *subject, askName bool) []*item {
	var members []member
	var of []int // of each member
	rows := s.lesson.Terms
	for i, t := range rows {
		definition := s.choice(t.Element+"/definition", t.Definition)
		if definition.norm == "" {
			continue
		}
		for _, n := range t.Names {
			name := choice{phrase: s.phrase(tidy(n)), element: t.Element + "/term"}
			m := member{choice: name, ask: asking{element: t.Element + "/definition", line: t.Line}, tests: []string{t.Element},
				stem: s.say(termSayings, t.Element, s.quote(definition.text)), given: []*phrase{definition.phrase},
				explanation: s.explain("", tidy(t.Names[0])+": "+s.passage(t.Definition))}
			if !askName {
				m.choice, m.ask.element, m.params = definition, t.Element+"/term", name.text
				m.stem, m.given = s.say(definitionSayings, t.Element, s.quote(name.text)), []*phrase{name.phrase}
			}
			members, of = append(members, m), append(of, i)
		}
	}
	field := "definitions"
	if askName {
		field = "terms"
	}
	return s.closedItems(field, members, func(i, j int) bool { return of[i] == of[j] || s.sameTerm(rows[of[i]], rows[of[j]]) }, 1, 3)
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
