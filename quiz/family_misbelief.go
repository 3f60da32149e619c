package quiz

import (
	"slices"
	"strings"
)

// misbeliefFamily asks to tell what is so from what is only said. Two ways round: one fact among three misbeliefs of
// other rows, and one misbelief among three facts of other rows. A fact that leans on the misbelief it answers ("It
// carries air") cannot stand alone and is not used as an option.
var misbeliefFamily = &family{
	info: FamilyInfo{ID: "misbelief", Kinds: []Kind{Single}, Asks: "Which of these statements is true, and which is only said?", Source: "misbeliefs: Said, In fact"},
	items: func(s *subject) (out []*item) {
		rows := s.lesson.Misbeliefs
		for i, r := range rows {
			fact := s.choice(r.Element+"/in-fact", r.InFact)
			said := s.choice(r.Element+"/said", r.Said)
			var saids, facts []choice
			for j, o := range rows {
				if j == i || alike(said.phrase, s.choice("", o.Said).phrase, 1, 2) {
					continue
				}
				saids = append(saids, s.choice(o.Element+"/said", o.Said))
				if f := s.choice(o.Element+"/in-fact", o.InFact); standsAlone(f.phrase) {
					facts = append(facts, f)
				}
			}
			explanation := s.explain("", s.passage(r.InFact))
			if standsAlone(fact.phrase) && len(saids) >= 2 {
				p := proposal{kind: Single, stem: s.say(factSayings, r.Element), right: []choice{fact}, wrong: saids, meaning: true, explanation: explanation, tests: []string{r.Element}}
				out = append(out, &item{label: "fact", element: r.Element + "/in-fact", line: r.Line, make: func(*draws) *proposal { copied := p; return &copied }})
			}
			if len(facts) >= 2 {
				p := proposal{kind: Single, stem: s.say(saidSayings, r.Element), right: []choice{said}, wrong: facts, meaning: true, explanation: explanation, tests: []string{r.Element}}
				out = append(out, &item{label: "said", element: r.Element + "/said", line: r.Line, make: func(*draws) *proposal { copied := p; return &copied }})
			}
		}
		return out
	},
}

var factSayings = sayings{
	"en": {"Only one of these is so. Which one?"},
	"es": {"Solo una de estas es cierta. ¿Cuál?"},
}

var saidSayings = sayings{
	"en": {"Only one of these is a misbelief. Which one?"},
	"es": {"Solo una de estas es una creencia errónea. ¿Cuál?"},
}

// pronouns lean on a sentence before.
var pronouns = set("it its they them their theirs this these those he she him her " +
	"ello ellos ellas él ella este esta estos estas ese esa esos esas esto eso lo la los las les su sus aquel aquella")

// standsAlone says that a sentence can be read without the one before it. In Spanish an article looks like a pronoun;
// only the first word counts there.
func standsAlone(p *phrase) bool {
	words := strings.Fields(p.norm)
	if len(words) == 0 {
		return false
	}
	if pronouns[words[0]] && words[0] != "la" && words[0] != "los" && words[0] != "las" {
		return false
	}
	return !slices.ContainsFunc(words, func(w string) bool { return englishPronouns[w] })
}

var englishPronouns = set("it its they them their theirs this these those")
