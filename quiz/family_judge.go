package quiz

import (
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
)

// judgeFamily asks how a reading stands to a limit: near it, far from it, or exactly on it, which is within. The limit
// stands in the stem, for no limit is taken from memory; which of several readings counts is what the lesson teaches.
var judgeFamily = &family{
	info: FamilyInfo{ID: "judge-measurement", Kinds: []Kind{Single}, Asks: "Is this reading within the limit?", Source: "procedure: Measure; figures of the lesson and of the car that have a limit"},
	items: func(s *subject) (out []*item) {
		for _, m := range s.limits {
			for _, at := range m.cases() {
				out = append(out, &item{label: m.label + " " + at, element: m.element, file: m.file, line: m.line, critical: m.critical, sure: true,
					make: func(d *draws) *proposal { return proposeJudgement(s, m, at, d) }})
			}
		}
		return out
	},
}

// readingsFamily shows several readings of which the ones outside the limit are to be found.
var readingsFamily = &family{
	info: FamilyInfo{ID: "readings-outside", Kinds: []Kind{Several}, Asks: "Which of these readings are outside the limit?", Source: "procedure: Measure; figures that have a limit"},
	items: func(s *subject) (out []*item) {
		for _, m := range s.limits {
			if m.which == "spread" {
				continue // one spread is already made of several readings
			}
			out = append(out, &item{label: m.label, element: m.element, file: m.file, line: m.line, critical: m.critical,
				make: func(d *draws) *proposal { return proposeReadings(s, m, d) }})
		}
		return out
	},
}

var judgeSayings = sayings{
	"en": {"{1}. You read: {2}. How does that stand to the limit?"},
	"es": {"{1}. Lees: {2}. ¿Cómo queda respecto al límite?"},
}

var judgeListSayings = sayings{
	"en": {"{1}. You read: {2}. How does the measurement stand to the limit?"},
	"es": {"{1}. Lees: {2}. ¿Cómo queda la medida respecto al límite?"},
}

var judgeSpreadSayings = sayings{
	"en": {"{1}. You note, as differences from the first reading: {2}. How does the measurement stand to the limit?"},
	"es": {"{1}. Anotas, como diferencias con la primera lectura: {2}. ¿Cómo queda la medida respecto al límite?"},
}

// verdictSayings come in two wordings: the second is taken where the stem already holds a word of the first.
var verdictSayings = map[curriculum.Verdict]sayings{
	curriculum.Within: {"en": {"Within the limit", "All right"}, "es": {"Dentro del límite", "Correcto"}},
	curriculum.Below:  {"en": {"Below the limit", "Too low"}, "es": {"Por debajo del límite", "Demasiado bajo"}},
	curriculum.Above:  {"en": {"Above the limit", "Too high"}, "es": {"Por encima del límite", "Demasiado alto"}},
}

var judgeExplained = map[string]sayings{
	"one":     {"en": {"{1}, and the limit is {2}. A reading on the limit is within it."}, "es": {"{1}, y el límite es {2}. Una lectura en el límite está dentro."}},
	"lowest":  {"en": {"The lowest reading counts: {1}, and the limit is {2}. A reading on the limit is within it."}, "es": {"Cuenta la lectura menor: {1}, y el límite es {2}. Una lectura en el límite está dentro."}},
	"highest": {"en": {"The highest reading counts: {1}, and the limit is {2}. A reading on the limit is within it."}, "es": {"Cuenta la lectura mayor: {1}, y el límite es {2}. Una lectura en el límite está dentro."}},
	"spread":  {"en": {"The difference between highest and lowest counts: {1}, and the limit is {2}. A reading on the limit is within it."}, "es": {"Cuenta la diferencia entre la mayor y la menor: {1}, y el límite es {2}. Una lectura en el límite está dentro."}},
	"each":    {"en": {"Each reading counts, and {1} decides; the limit is {2}. A reading on the limit is within it."}, "es": {"Cuenta cada una, y {1} decide; el límite es {2}. Una lectura en el límite está dentro."}},
	"all":     {"en": {"Each reading counts, and all of them are within; the limit is {2}. A reading on the limit is within it."}, "es": {"Cuenta cada una, y todas están dentro; el límite es {2}. Una lectura en el límite está dentro."}},
}

func proposeJudgement(s *subject, m measured, at string, d *draws) *proposal {
	n, ok := m.reading(at, d)
	if !ok {
		return nil
	}
	text, ok := m.list(n, d)
	verdict := m.judge(n)
	if !ok || verdict == "" {
		return nil
	}
	ask := judgeSayings
	switch m.which {
	case "lowest", "highest", "each":
		ask = judgeListSayings
	case "spread":
		ask = judgeSpreadSayings
	}
	p := &proposal{kind: Single, stem: s.say(ask, m.element, s.limitLine(m), text), params: text, closed: true, onCar: m.onCar,
		shows:       []string{"figure:" + m.gauge.element},
		explanation: s.explain(s.judgement(m, n), m.quote)}
	var sides []curriculum.Verdict
	for _, c := range m.cases() {
		if v := verdictOf(c); !slices.Contains(sides, v) {
			sides = append(sides, v)
		}
	}
	wording := 0
	stated := " " + normal(s.limitLine(m)) + " "
	for _, w := range []string{"within", "below", "above", "dentro", "debajo", "encima"} {
		if strings.Contains(stated, " "+w+" ") {
			wording = 1
		}
	}
	for _, v := range sides {
		c := choice{phrase: s.phrase(verdictSayings[v].say(s.language, wording)), element: "verdict/" + string(v)}
		if v == verdict {
			p.right = append(p.right, c)
		} else {
			p.wrong = append(p.wrong, c)
		}
	}
	if len(p.right) != 1 {
		return nil
	}
	return p
}

// verdictOf says what a case comes to.
func verdictOf(at string) curriculum.Verdict {
	switch {
	case strings.HasSuffix(at, "under"):
		return curriculum.Below
	case strings.HasSuffix(at, "over"):
		return curriculum.Above
	}
	return curriculum.Within
}

func (s *subject) judgement(m measured, n int64) string {
	which := m.which
	if which == "each" && m.judge(n) == curriculum.Within { // none of them decides
		which = "all"
	}
	say, ok := judgeExplained[which]
	if !ok {
		say = judgeExplained["one"]
	}
	return say.say(s.language, 0, m.write(n), s.limit(m.figure))
}

var readingsSayings = map[bool]sayings{
	true: {
		"en": {"{1}. Which of these readings are outside it? Choose all that are."},
		"es": {"{1}. ¿Cuáles de estas lecturas están fuera? Elige todas."},
	},
	false: {
		"en": {"{1}. Which of these readings are within it? Choose all that are."},
		"es": {"{1}. ¿Cuáles de estas lecturas están dentro? Elige todas."},
	},
}

var readingsExplained = sayings{
	"en": {"The limit is {1}, and a reading on the limit is within it."},
	"es": {"El límite es {1}, y una lectura en el límite está dentro."},
}

// proposeReadings draws five readings: one on a limit, two or three outside, the rest within. As often as it asks for
// those outside it asks for those within, so that the low ones or the extreme ones are no better guess than others.
func proposeReadings(s *subject, m measured, d *draws) *proposal {
	var in, out []string
	for _, at := range m.cases() {
		if verdictOf(at) == curriculum.Within {
			in = append(in, at)
		} else {
			out = append(out, at)
		}
	}
	if len(in) < 2 {
		return nil
	}
	askOut := d.below(2) == 0
	p := &proposal{kind: Several, stem: s.say(readingsSayings[askOut], m.element, s.limitLine(m)), most: 5, least: 5, onCar: m.onCar,
		shows: []string{"figure:" + m.gauge.element}, explanation: s.explain(s.say(readingsExplained, "", s.limit(m.figure)), m.quote)}
	outside := d.between(2, 3)
	cases := []string{in[0]} // on the limit
	for len(cases) < 5 {
		if len(cases) <= outside {
			cases = append(cases, pick(d, out))
		} else {
			cases = append(cases, in[1])
		}
	}
	seen := map[int64]bool{}
	for i, at := range cases {
		n, ok := m.reading(at, d)
		for range 8 { // two readings may not be equal
			if ok && !seen[n] {
				break
			}
			n, ok = m.reading(at, d)
		}
		if !ok || seen[n] {
			return nil
		}
		seen[n] = true
		v, _ := curriculum.Decimal(strconv.FormatInt(n, 10))
		c := choice{phrase: s.phrase(m.write(n)), element: "reading", value: v}
		bad := m.judge(n) != curriculum.Within
		if bad != (i >= 1 && i <= outside) {
			return nil
		}
		if bad == askOut {
			p.right = append(p.right, c)
		} else {
			p.wrong = append(p.wrong, c)
		}
	}
	return p
}
