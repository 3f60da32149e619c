package quiz

// hazardControlFamily asks for the control that answers a hazard.
var hazardControlFamily = &family{
	info: FamilyInfo{ID: "hazard-control", Kinds: []Kind{Single}, Asks: "Which control answers this hazard?", Source: "cautions: Hazard, Control"},
	items: func(s *subject) []*item {
		t, c := s.cautionRows()
		return s.rowItems(t, c, []string{"hazard"}, "control", []string{"hazard", "consequence"}, hazardControlSayings)
	},
}

// hazardConsequenceFamily asks what a hazard can do.
var hazardConsequenceFamily = &family{
	info: FamilyInfo{ID: "hazard-consequence", Kinds: []Kind{Single}, Asks: "What can this hazard do?", Source: "cautions: Hazard, Consequence"},
	items: func(s *subject) []*item {
		t, c := s.cautionRows()
		return s.rowItems(t, c, []string{"hazard"}, "consequence", []string{"hazard"}, hazardConsequenceSayings)
	},
}

// controlHazardFamily asks which hazard a control is there for.
var controlHazardFamily = &family{
	info: FamilyInfo{ID: "control-hazard", Kinds: []Kind{Single}, Asks: "Against which hazard does this control stand?", Source: "cautions: Control, Hazard"},
	items: func(s *subject) []*item {
		t, c := s.cautionRows()
		return s.rowItems(t, c, []string{"control"}, "hazard", []string{"control", "consequence"}, controlHazardSayings)
	},
}

var hazardControlSayings = sayings{
	"en": {"The hazard: {1}. Which control answers it?", "What protects you against this hazard: {1}?"},
	"es": {"El peligro: {1}. ¿Qué precaución lo evita?", "¿Qué te protege de este peligro: {1}?"},
}

var hazardConsequenceSayings = sayings{
	"en": {"The hazard: {1}. What can come of it?", "What can this hazard do: {1}?"},
	"es": {"El peligro: {1}. ¿Qué puede causar?", "¿Qué consecuencia puede tener este peligro: {1}?"},
}

var controlHazardSayings = sayings{
	"en": {"Against which hazard do you need this: {1}?", "This is a control: {1}. Which hazard does it answer?"},
	"es": {"¿Contra qué peligro hace falta esto: {1}?", "Esta es una precaución: {1}. ¿De qué peligro protege?"},
}
