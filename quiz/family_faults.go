package quiz

// faultCheckFamily asks for the check that tells whether a suspected cause is the one. Rows with the same symptom or the
// same cause give no wrong option: their check may tell as well.
var faultCheckFamily = &family{
	info: FamilyInfo{ID: "fault-check", Kinds: []Kind{Single}, Asks: "Which finding tells that this is the cause?", Source: "faults: Symptom, Cause, Check that tells"},
	items: func(s *subject) []*item {
		t, c := s.faultRows()
		return s.rowItems(t, c, []string{"symptom", "cause"}, "check", []string{"symptom", "cause"}, faultCheckSayings)
	},
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
