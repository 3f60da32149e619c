package quiz

import (
	"slices"
	"strings"
)

// faultCheckFamily asks for the check that tells whether a suspected cause is the one. Rows with the same symptom or the
// same cause give no wrong option: their check may tell as well.
var faultCheckFamily = &family{
	info: FamilyInfo{ID: "fault-check", Kinds: []Kind{Single}, Asks: "Which finding tells that this is the cause?", Source: "faults: Symptom, Cause, Check that tells"},
	items: func(s *subject) []*item {
		t, c := s.faultRows()
		return s.rowItems(t, c, []string{"symptom", "cause"}, "check", []string{"symptom", "cause"}, faultCheckSayings)
	},
}

// faultApartFamily asks for the finding that points to one of several causes of a symptom and not to the others, which are
// named; what points to another of them is among the options.
var faultApartFamily = &family{
	info: FamilyInfo{ID: "fault-apart", Kinds: []Kind{Single}, Asks: "Which finding tells this cause from the others of the same symptom?", Source: "faults: Symptom, Cause, Check that tells, of rows with one symptom"},
	items: func(s *subject) []*item {
		t, c := s.faultRows()
		kin := map[string][]int{} // by symptom
		var symptoms, causes, checks []choice
		for i := range t.n {
			symptoms = append(symptoms, s.choice("", c["symptom"].text(i)))
			causes = append(causes, s.choice("", c["cause"].text(i)))
			checks = append(checks, s.choice(t.row(i).Element+"/check", c["check"].text(i)))
			if causes[i].norm != "" && checks[i].norm != "" && symptoms[i].norm != "" {
				kin[symptoms[i].norm] = append(kin[symptoms[i].norm], i)
			}
		}
		var members []member
		var row []int
		for i := range t.n {
			all := kin[symptoms[i].norm]
			if len(all) < 2 || len(all) > 4 || !slices.Contains(all, i) {
				continue
			}
			var others []string
			onCar := symptoms[i].onCar
			for _, j := range all {
				onCar = onCar || causes[j].onCar
				if j != i {
					others = append(others, s.quote(causes[j].text))
				}
			}
			element := t.row(i).Element
			members = append(members, member{choice: checks[i], ask: asking{label: "apart", element: element + "/cause", line: t.row(i).Line}, given: []*phrase{symptoms[i].phrase, causes[i].phrase},
				stem: s.say(faultApartSayings, element, s.quote(symptoms[i].text), s.quote(causes[i].text), strings.Join(others, ", ")), carStem: onCar,
				tests: []string{element + "/check"}, explanation: s.rowQuote(rowTexts(c, []string{"symptom", "cause"}, "check", i)...)})
			row = append(row, i)
		}
		one := func(i, j int) bool { return symptoms[row[i]].norm == symptoms[row[j]].norm }
		set := &closure{members: members, least: leastSet, size: setSize, most: setSize, near: one}
		set.compare(s, func(i, j int) bool {
			return alike(causes[row[i]].phrase, causes[row[j]].phrase, 1, 2) || !one(i, j) && alike(symptoms[row[i]].phrase, symptoms[row[j]].phrase, 1, 2)
		}, 1, 3)
		return set.items(s, "fault-apart")
	},
}

var faultApartSayings = sayings{
	"en": {"Symptom: {1}. It may be {2}, but it may also be {3}. Which finding points to the first?"},
	"es": {"Síntoma: {1}. Puede ser {2}, pero también {3}. ¿Qué hallazgo apunta a lo primero?"},
}

// faultCauseFamily asks for the cause, given the symptom and what the check found.
var faultCauseFamily = &family{
	info: FamilyInfo{ID: "fault-cause", Kinds: []Kind{Single}, Asks: "What is the cause of this symptom, given this check?", Source: "faults: Symptom, Check that tells, Cause"},
	items: func(s *subject) []*item {
		t, c := s.faultRows()
		return s.rowItems(t, c, []string{"symptom", "check"}, "cause", []string{"symptom", "check"}, faultCauseSayings)
	},
}

// matchCauseCheckFamily matches causes with the checks that tell them.
var matchCauseCheckFamily = &family{
	info: FamilyInfo{ID: "match-cause-check", Kinds: []Kind{Match}, Asks: "Which check tells which cause?", Source: "faults: Cause, Check that tells"},
	items: func(s *subject) []*item {
		t, c := s.faultRows()
		return s.matchItems(t, c["cause"], c["check"], []cell{c["symptom"], c["cause"], c["check"]}, matchCauseCheckSayings)
	},
}

var faultCheckSayings = sayings{
	"en": {"Symptom: {1}. You suspect this cause: {2}. What would tell you that it is the one?", "Symptom: {1}. What points to this cause: {2}?"},
	"es": {"Síntoma: {1}. Sospechas esta causa: {2}. ¿Qué te diría que es esa?", "Síntoma: {1}. ¿Qué apunta a esta causa: {2}?"},
}

var faultCauseSayings = sayings{
	"en": {"Symptom: {1}. The check gives: {2}. What is the cause?"},
	"es": {"Síntoma: {1}. La comprobación da: {2}. ¿Cuál es la causa?"},
}

var matchCauseCheckSayings = sayings{
	"en": {"Match each cause with the check that tells it."},
	"es": {"Une cada causa con la comprobación que la distingue."},
}
