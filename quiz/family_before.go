package quiz

import "slices"

// In the families of this file what is right stands on one side of a step in the procedure and what is wrong on the other,
// and steps of the one side may look unlike those of the other. So each is asked both ways round, equally often: which one
// must come first, beside three that need not; and which one can come later, beside three that must come first. Then
// every step is as often right as wrong when it is shown, in proportion to the options, whatever it looks like. Steps that
// share a word with the stem are left out on both sides: to refuse such sets later would favour one side.

// beforeFamily asks for the one step among four that is forced before another, or for the one that is not.
var beforeFamily = &family{
	info: FamilyInfo{ID: "before", Kinds: []Kind{Single}, Asks: "Which of these must be done before that step, or need not?", Source: "procedure: what a step comes after"},
	items: func(s *subject) []*item {
		return waitingItems(s, after, [2]sayings{beforeSayings, notBeforeSayings}, beforeExplained)
	},
}

// afterFamily asks for the one step among four that has to wait until another is done, or for the one that need not.
var afterFamily = &family{
	info: FamilyInfo{ID: "after", Kinds: []Kind{Single}, Asks: "Which of these must wait until that step is done, or need not?", Source: "procedure: what comes after a step"},
	items: func(s *subject) []*item {
		return waitingItems(s, before, [2]sayings{afterSayings, notAfterSayings}, afterExplained)
	},
}

// beforeAllFamily asks for every step among the shown ones that is forced before another, or for every one that is not.
var beforeAllFamily = &family{
	info: FamilyInfo{ID: "before-all", Kinds: []Kind{Several}, Asks: "Which of these must all be done before that step, or which can all wait?", Source: "procedure: what a step comes after"},
	items: func(s *subject) (out []*item) {
		for _, x := range s.leaves {
			stems, asks := bothWays(s, x, [2]sayings{beforeAllSayings, notBeforeAllSayings})
			first, rest := split(s, x, after, asks)
			if len(first) < 3 || len(rest) < 3 {
				continue
			}
			out = append(out, &item{element: x.Element, line: x.Line, critical: x.Critical, make: func(d *draws) *proposal {
				early := d.between(2, 3)
				shown := shuffled(d, first)[:early]
				p := &proposal{kind: Several, most: 5, least: 5, right: stepChoices(shown), wrong: stepChoices(shuffled(d, rest)[:5-early]), onCar: x.onCar,
					explanation: s.explain(s.say(beforeAllExplained, "", s.quote(x.title.text), joinQuoted(s, shown)), s.passage(x.Why...))}
				way := d.below(2)
				p.stem, p.asks = stems[way], asks[way]
				if way == 1 {
					p.right, p.wrong = p.wrong, p.right
				}
				for _, r := range shown {
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

var notBeforeSayings = sayings{
	"en": {"All but one of these must be done before this step: {1}. Which one can come later?", "Next comes this: {1}. All but one of these must be finished already. Which one can still be open?"},
	"es": {"Todos estos pasos menos uno hay que hacerlos antes de este: {1}. ¿Cuál puede venir después?", "Ahora toca esto: {1}. Todos estos pasos menos uno tienen que estar terminados ya. ¿Cuál puede quedar pendiente?"},
}

var afterSayings = sayings{
	"en": {"Which of these must wait until this step is done: {1}?", "This step is not done yet: {1}. Which of these has to wait for it?"},
	"es": {"¿Cuál de estos pasos tiene que esperar a que se haga este: {1}?", "Este paso no está hecho todavía: {1}. ¿Cuál de estos tiene que esperar?"},
}

var notAfterSayings = sayings{
	"en": {"All but one of these must wait until this step is done: {1}. Which one can be done earlier?", "This step is not done yet: {1}. All but one of these have to wait for it. Which one can go ahead?"},
	"es": {"Todos estos pasos menos uno tienen que esperar a que se haga este: {1}. ¿Cuál se puede hacer antes?", "Este paso no está hecho todavía: {1}. Todos estos menos uno tienen que esperar. ¿Cuál puede adelantarse?"},
}

var beforeAllSayings = sayings{
	"en": {"Which of these must be done before this step: {1}? Choose all that must."},
	"es": {"¿Cuáles de estos pasos hay que hacer antes de este: {1}? Elige todos los que sí."},
}

var notBeforeAllSayings = sayings{
	"en": {"Which of these can wait until this step is done: {1}? Choose all that can."},
	"es": {"¿Cuáles de estos pasos pueden esperar a que se haga este: {1}? Elige todos los que sí."},
}

var beforeExplained = sayings{
	"en": {"In the procedure {2} comes before {1}.", "In the procedure {2} does not have to come before {1}."},
	"es": {"En el procedimiento, {2} va antes de {1}.", "En el procedimiento, {2} no tiene que ir antes de {1}."},
}

var afterExplained = sayings{
	"en": {"In the procedure {1} comes before {2}.", "In the procedure {1} does not have to come before {2}."},
	"es": {"En el procedimiento, {1} va antes de {2}.", "En el procedimiento, {1} no tiene que ir antes de {2}."},
}

var beforeAllExplained = sayings{
	"en": {"In the procedure these come before {1}: {2}."},
	"es": {"En el procedimiento van antes de {1}: {2}."},
}

// bothWays asks a step by two sayings.
func bothWays(s *subject, x *step, ask [2]sayings) (stems [2]string, asks [2]*phrase) {
	for i := range ask {
		stems[i] = s.say(ask[i], x.Element, s.quote(x.title.text))
		asks[i] = s.phrase(stems[i])
	}
	return stems, asks
}

// split divides the leaves into those to which x stands in relation r and those to which it does not; leaves that must
// not be asked together with x are in neither, nor are those whose title holds, or is held by, one of the first. What shares a word with the stems is in neither.
func split(s *subject, x *step, r relation, asks [2]*phrase) (in, out []*step) {
	for _, y := range s.leaves {
		switch {
		case commonOf(asks[0], y.title) > 0 || commonOf(asks[1], y.title) > 0:
		case y == x || x.rel[y.leaf] == apart || slices.Contains(x.akin, y.leaf):
		case x.rel[y.leaf] == r:
			in = append(in, y)
		case slices.ContainsFunc(y.akin, func(z int) bool { return x.rel[z] == r }):
		default:
			out = append(out, y)
		}
	}
	return in, out
}

// waitingItems makes one item for each leaf that stands in relation r to at least two others, and not to at least two.
func waitingItems(s *subject, r relation, ask [2]sayings, explained sayings) (out []*item) {
	for _, x := range s.leaves {
		stems, asks := bothWays(s, x, ask)
		in, rest := split(s, x, r, asks)
		most := min(setSize, len(in)+1, len(rest)+1)
		if most < leastSet {
			continue
		}
		sides := [2][]choice{stepChoices(in), stepChoices(rest)}
		out = append(out, &item{element: x.Element, line: x.Line, critical: x.Critical, make: func(d *draws) *proposal {
			way := d.below(2)
			right, wrong := [2][]*step{in, rest}[way], sides[1-way]
			k := pick(d, right)
			p := &proposal{kind: Single, stem: stems[way], asks: asks[way], right: stepChoices([]*step{k}), wrong: wrong, most: most, onCar: x.onCar,
				explanation: s.explain(explained.say(s.language, way, s.quote(x.title.text), s.quote(k.title.text)), s.passage(x.Why...))}
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
