package quiz

// toolUseFamily asks for the tool or material for a purpose.
var toolUseFamily = &family{
	info: FamilyInfo{ID: "tool-use", Kinds: []Kind{Single}, Asks: "What do you take for this purpose?", Source: "tools: Item, Use"},
	items: func(s *subject) []*item {
		t, c := s.toolRows()
		return s.rowItems(t, c, []string{"use"}, "item", []string{"use"}, toolUseSayings)
	},
}

// toolHarmFamily asks what harm a wrong choice does.
var toolHarmFamily = &family{
	info: FamilyInfo{ID: "tool-harm", Kinds: []Kind{Single}, Asks: "What harm does this wrong choice do?", Source: "tools: Use, Wrong choice"},
	items: func(s *subject) []*item {
		t, c := s.toolRows()
		return s.rowItems(t, c, []string{"use", "wrong-thing"}, "wrong-harm", []string{"use", "wrong-thing"}, toolHarmSayings)
	},
}

// matchToolUseFamily matches tools with their uses.
var matchToolUseFamily = &family{
	info: FamilyInfo{ID: "match-tool-use", Kinds: []Kind{Match}, Asks: "Which tool is for which purpose?", Source: "tools: Item, Use"},
	items: func(s *subject) []*item {
		t, c := s.toolRows()
		return s.matchItems(t, c["item"], c["use"], []cell{c["item"], c["use"]}, matchToolUseSayings)
	},
}

var toolUseSayings = sayings{
	"en": {"What do you take for this: {1}?", "The purpose: {1}. What is right for it?"},
	"es": {"¿Qué usas para esto: {1}?", "La tarea: {1}. ¿Qué es lo adecuado?"},
}

var toolHarmSayings = sayings{
	"en": {"The purpose: {1}. Somebody takes this instead: {2}. What is the harm in it?"},
	"es": {"La tarea: {1}. Alguien usa esto en su lugar: {2}. ¿Qué daño hace?"},
}

var matchToolUseSayings = sayings{
	"en": {"Match each item with its use."},
	"es": {"Une cada artículo con su uso."},
}
