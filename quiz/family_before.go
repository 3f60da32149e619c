package quiz

// beforeFamily asks for the one step among four that is forced before another. The others need not come before it:
// they come after it, or may come at any time.
var beforeFamily = &family{
	info: FamilyInfo{ID: "before", Kinds: []Kind{Single}, Asks: "Which of these must be done before that step?", Source: "procedure: what a step comes after"},
	items: func(s *subject) []*item {
		return waitingItems(s, after, beforeSayings, beforeExplained)
	},
}

// afterFamily asks for the one step among four that has to wait until another is done.
var afterFamily = &family{
	info: FamilyInfo{ID: "after", Kinds: []Kind{Single}, Asks: "Which of these must wait until that step is done?", Source: "procedure: what comes after a step"},
	items: func(s *subject) []*item {
		return waitingItems(s, before, afterSayings, afterExplained)
	},
}

// beforeAllFamily asks for every step among the shown ones that is forced before another.
var beforeAllFamily = &family{
	info: FamilyInfo{ID: "before-all", Kinds: []Kind{Several}, Asks: "Which of these must all be done before that step?", Source: "procedure: what a step comes after"},
	items: func(s *subject) (out []*item) {
		for _, x := range s.leaves {
			first, rest := split(s, x, after)
			if len(first) < 2 || len(rest) < 2 {
				continue
			}
			out = append(out, &item{element: x.Element, line: x.Line, critical: x.Critical, make: func(d *draws) *proposal {
				right := shuffled(d, first)[:d.between(2, min(3, len(first)))]
				p := &proposal{kind: Several, stem: s.say(beforeAllSayings, x.Element, s.quote(x.title.text)), most: 5,
					right: stepChoices(right), wrong: stepChoices(rest), truths: titles(first), onCar: x.onCar,
					explanation: s.explain(s.say(beforeAllExplained, "", s.quote(x.title.text), joinQuoted(s, right)), s.passage(x.Why...))}
				for _, r := range right {
					p.tests = append(p.tests, pairFact(r, x))
				}
				return p
			}})
		}
		return out
	},
}

var beforeSayings = sayings{
	"en": {"Which of these must be done before this step: {1}?", "Next comes this: {1}. Which of these must be finished already?"},
	"es": {"¿Cuál de estos pasos hay que hacer antes de este: {1}?", "Ahora toca esto: {1}. ¿Cuál de estos pasos tiene que estar terminado ya?"},
}

var afterSayings = sayings{
	"en": {"Which of these must wait until this step is done: {1}?", "This step is not done yet: {1}. Which of these has to wait for it?"},
	"es": {"¿Cuál de estos pasos tiene que esperar a que se haga este: {1}?", "Este paso no está hecho todavía: {1}. ¿Cuál de estos tiene que esperar?"},
}

var beforeAllSayings = sayings{
	"en": {"Which of these must be done before this step: {1}? Choose all that must."},
	"es": {"¿Cuáles de estos pasos hay que hacer antes de este: {1}? Elige todos los que sí."},
}

var beforeExplained = sayings{
	"en": {"In the procedure {2} comes before {1}."},
	"es": {"En el procedimiento, {2} va antes de {1}."},
}

var afterExplained = sayings{
	"en": {"In the procedure {1} comes before {2}."},
	"es": {"En el procedimiento, {1} va antes de {2}."},
}

var beforeAllExplained = sayings{
	"en": {"In the procedure these come before {1}: {2}."},
	"es": {"En el procedimiento van antes de {1}: {2}."},
}

// split divides the leaves into those to which x stands in relation r and those to which it does not; leaves that must
// not be asked together with x are in neither.
func split(s *subject, x *step, r relation) (in, out []*step) {
	for _, y := range s.leaves {
		switch {
		case y == x || x.rel[y.leaf] == apart || within(x.title, y.title):
		case x.rel[y.leaf] == r:
			in = append(in, y)
		default:
			out = append(out, y)
		}
	}
	return in, out
}

// waitingItems makes one item for each leaf that stands in relation r to at least one other.
func waitingItems(s *subject, r relation, ask, explained sayings) (out []*item) {
	for _, x := range s.leaves {
		in, rest := split(s, x, r)
		if len(in) == 0 || len(rest) < 2 {
			continue
		}
		out = append(out, &item{element: x.Element, line: x.Line, critical: x.Critical, make: func(d *draws) *proposal {
			k := pick(d, in)
			p := &proposal{kind: Single, stem: s.say(ask, x.Element, s.quote(x.title.text)), right: stepChoices([]*step{k}), wrong: stepChoices(rest),
				truths: titles(in), onCar: x.onCar,
				explanation: s.explain(s.say(explained, "", s.quote(x.title.text), s.quote(k.title.text)), s.passage(x.Why...))}
			if r == after {
				p.tests = []string{pairFact(k, x)}
			} else {
				p.tests = []string{pairFact(x, k)}
			}
			return p
		}})
	}
	return out
}

func titles(steps []*step) []*phrase {
	out := make([]*phrase, len(steps))
	for i, x := range steps {
		out[i] = x.title
	}
	return out
}

func joinQuoted(s *subject, steps []*step) string {
	text := ""
	for i, x := range s.inOrder(steps) {
		if i > 0 {
			text += ", "
		}
		text += s.quote(x.title.text)
	}
	return text
}
