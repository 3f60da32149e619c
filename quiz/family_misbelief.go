package quiz

import "brakewright/curriculum"

// misbeliefFamily sets a misbelief right. A wrong option is the answer to another misbelief: so in itself, but no answer to
// this one. An answer often leans on what was said ("It carries air"), so it is never asked without it.
var misbeliefFamily = &family{
	info: FamilyInfo{ID: "misbelief", Kinds: []Kind{Single}, Asks: "What is the right answer to this misbelief?", Source: "misbeliefs: Said, In fact"},
	items: func(s *subject) []*item {
		t, c := s.misbeliefRows()
		return s.rowItems(t, c, []string{"said"}, "in-fact", []string{"said"}, misbeliefSayings)
	},
}

// factFamily finds the misbelief that a fact answers.
var factFamily = &family{
	info: FamilyInfo{ID: "fact", Kinds: []Kind{Single}, Asks: "Which misbelief does this fact set right?", Source: "misbeliefs: In fact, Said"},
	items: func(s *subject) []*item {
		t, c := s.misbeliefRows()
		return s.rowItems(t, c, []string{"in-fact"}, "said", []string{"in-fact"}, factSayings)
	},
}

func (s *subject) misbeliefRows() (rows, map[string]cell) {
	all := s.lesson.Misbeliefs
	return rows{len(all), func(i int) curriculum.Row { return all[i].Row }}, map[string]cell{
		"said":    {"said", func(i int) curriculum.Text { return all[i].Said }},
		"in-fact": {"in-fact", func(i int) curriculum.Text { return all[i].InFact }},
	}
}

var misbeliefSayings = sayings{
	"en": {"Somebody says: {1}. That is a misbelief. What is the answer to it?", "You hear this in the shop: {1}. It is wrong. What do you answer?"},
	"es": {"Alguien dice: {1}. Es una creencia errónea. ¿Qué se le responde?", "En el taller se oye esto: {1}. No es así. ¿Qué respondes?"},
}

var factSayings = sayings{
	"en": {"You answer: {1}. Which of these misbeliefs does that set right?"},
	"es": {"Respondes: {1}. ¿Cuál de estas creencias erróneas corrige eso?"},
}
