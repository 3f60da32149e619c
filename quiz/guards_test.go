package quiz_test

import (
	"math/big"
	"slices"
	"strings"
	"testing"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// trap is a lesson with a trap in it, in a programme with the two rigs.
func trap(t *testing.T, body string) *curriculum.Programme {
	t.Helper()
	return mustBuild(t, map[string]string{
		"programme.yaml": "title: Traps\nlanguages: [en]\nunits: si\ntasks:\n  - {id: trap, title: Trap, lessons: [trap], prerequisites: []}\n" +
			"policy:\n  tasks:\n    trap: {jobs: 1, supervisors: 1, recency_days: 90, lapse_days: 180}\n",
		"lessons/trap.md":     "---\nid: trap\ntitle: Trap\nlanguage: en\ntasks: [trap]\n---\n\n# Trap\n\n" + body,
		"vehicles/rig-one.md": trickyRig("rig-one", "Rig One", "[tank, valve]", "[front, valve]"),
		"vehicles/rig-two.md": trickyRig("rig-two", "Rig Two", "[tank]", "[front]"),
	})
}

func cautions(rows ...string) string {
	return "## Cautions\n\n| Hazard | Consequence | Control |\n|---|---|---|\n| " + strings.Join(rows, " |\n| ") + " |\n"
}

func faults(rows ...string) string {
	return "## Faults\n\n| Symptom | Cause | Check that tells |\n|---|---|---|\n| " + strings.Join(rows, " |\n| ") + " |\n"
}

func offered(q *quiz.Question, texts ...string) bool {
	for _, want := range texts {
		if !slices.ContainsFunc(q.Options, func(o quiz.Option) bool { return o.Text == want }) {
			return false
		}
	}
	return true
}

var plainCautions = []string{
	"Sparks at the wheel | Burnt lashes | Goggles worn", "Belt left open | Torn sleeve | Guard bolted on", "Wet boards | Twisted ankle | Sawdust spread",
	"Loud hammering | Ringing ears | Muffs put on", "Dust in the cabin | Sore lungs | Mask fitted", "Heavy crate | Bad back | Hoist used",
}

// Every guard with a lesson that would trip it: what it keeps out never comes, and the rest is asked all the same.
func TestGuards(t *testing.T) {
	for _, row := range []struct {
		name   string
		body   string
		family string
		car    string
		broken func(q *quiz.Question) bool
	}{
		{"one key: two rows with one hazard", cautions(append([]string{"Sparks at the wheel | Burnt skin | Sleeves buttoned"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool { return offered(q, "Goggles worn", "Sleeves buttoned") }},
		{"one key: shared cause", faults("Knocking | Worn bearing | Play at the end", "Howling | Worn bearing | Heat at the hub", "Smoke | Choked filter | Black soot", "Leak | Split hose | Wet patch",
			"Stalling | Stale petrol | Sour smell", "Drift | Bent arm | Crooked tread", "Clatter | Loose shield | Shiny rim"), "fault-check", "",
			func(q *quiz.Question) bool { return offered(q, "Play at the end", "Heat at the hub") }},
		{"one key: what resembles another answer to the same question", cautions(append([]string{"Sparks at the wheel | Burnt skin | Sleeves buttoned", "Kiln door | Scorched arm | Sleeves buttoned up"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool {
				return strings.Contains(q.Stem, "Sparks") && offered(q, "Sleeves buttoned up")
			}},
		{"one key: synonyms", "## Terms\n\nGland\nStuffing box\n: Chamber packed to keep a shaft tight.\n\nPlinth\n: Block that carries a machine.\n\nRotor\n: Wheel with blades.\n\nSieve\n: Basket for coarse dirt.\n\nVent\n: Hole that lets air out.\n", "term", "",
			func(q *quiz.Question) bool { return offered(q, "Gland", "Stuffing box") }},
		{"one key: figures that are equal when converted", "## Figures\n\n| Quantity | Value | Unit | Limit | Source |\n|---|---|---|---|---|\n| Gap | 40 | mm | | invented |\n| Slot | 40.0 | mm | | invented |\n| Groove | 30 | mm | | invented |\n| Lip | 60 | mm | | invented |\n| Rim | 80 | mm | | invented |\n", "lesson-figure", "",
			func(q *quiz.Question) bool {
				var seen []*big.Rat
				for _, o := range q.Options {
					v, _ := curriculum.Decimal(strings.Fields(o.Text)[0])
					if slices.ContainsFunc(seen, func(w *big.Rat) bool { return w.Cmp(v) == 0 }) {
						return true
					}
					seen = append(seen, v)
				}
				return false
			}},
		{"a word that stem and key share alone, plural or not", cautions(append([]string{"Hoses under load | Whipped face | Hose clamped"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool { return strings.Contains(q.Stem, "Hoses") }},
		{"a word in -ing that stem and key share", cautions(append([]string{"Lifting gear | Crushed toe | Lifts tested"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool { return strings.Contains(q.Stem, "Lifting") }},
		{"a wrong option that takes up a word of the stem", cautions(append([]string{"Pins that stick | Jammed jaw | Oil dropped in", "Frozen lock | Cut thumb | Pins knocked free"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool {
				return strings.Contains(q.Stem, "Pins that stick") && offered(q, "Pins knocked free")
			}},
		{"an option inside another", cautions(append([]string{"Open pit | Long fall | Rail", "Steep stair | Short fall | Rail and rope"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool { return offered(q, "Rail", "Rail and rope") }},
		{"a stem that nobody reads to its end", cautions(append([]string{strings.Repeat("very long words about nothing ", 20) + "| Boredom | Sleep"}, plainCautions...)...), "hazard-control", "",
			func(q *quiz.Question) bool { return len([]rune(q.Stem)) > 420 || strings.Contains(q.Stem, "nothing") }},
		{"a grammar clue", cautions(plainCautions...), "control-hazard", "",
			func(q *quiz.Question) bool {
				return strings.HasSuffix(q.Stem, " a") || strings.HasSuffix(q.Stem, " an") || !strings.HasSuffix(q.Stem, "?")
			}},
		{"steps that do not apply to this car", "## Procedure\n\n1. Read the plate {#plate}\n2. Shut the cock {#cock}\n3. Drain the sump {#sump}\n4. Test the governor {#governor if=\"valve\"}\n5. Slacken the belt {#belt}\n6. Pull the pulley {#pulley}\n7. Grease the spindle {#spindle}\n8. Bolt the guard {#guard}\n", "after", "rig-two",
			func(q *quiz.Question) bool {
				return offered(q, "Test the governor") || strings.Contains(q.Stem, "governor")
			}},
	} {
		t.Run(row.name, func(t *testing.T) {
			p := trap(t, row.body)
			asked := 0
			for seed := range 60 {
				f := mustGenerate(t, p, quiz.Request{Families: []string{row.family}, Questions: 6}, quiz.Draw{Seed: uint64(seed), Number: 1 + seed%2, Vehicle: row.car})
				checkForm(t, p, f)
				for i := range f.Questions {
					asked++
					if row.broken(&f.Questions[i]) {
						t.Fatalf("asked all the same:\n%s", show(&f.Questions[i]))
					}
				}
			}
			if asked < 60 {
				t.Errorf("only %d questions were asked", asked)
			}
		})
	}
}

// Every option of a closed set is the key of a question of its own with the same options, or that set is not asked.
func TestSetsAreClosed(t *testing.T) {
	closed := []string{"if-skipped", "why", "step-check", "hazard-control", "hazard-consequence", "control-hazard", "fault-check", "fault-cause", "fault-apart",
		"tool-use", "tool-harm", "term", "definition", "misbelief", "fact", "name-part", "next"}
	for name, p := range programmes(t) {
		for _, family := range closed {
			keys := map[string]map[string]bool{} // options → those that were the key
			texts := map[string]int{}
			for seed := range 400 {
				f := mustGenerate(t, p, quiz.Request{Families: []string{family}, Questions: 2, Lessons: []string{p.Lessons[len(p.Lessons)-1].ID}}, quiz.Draw{Seed: uint64(seed), Number: 1 + seed%2})
				for _, q := range f.Questions {
					var set []string
					key := ""
					for _, o := range q.Options {
						set = append(set, o.Text)
						if o.ID == q.Key.ID {
							key = o.Text
						}
					}
					slices.Sort(set)
					of := strings.Join(set, "|")
					if keys[of] == nil {
						keys[of] = map[string]bool{}
					}
					keys[of][key] = true
					texts[of]++
				}
			}
			for of, got := range keys {
				if n := strings.Count(of, "|") + 1; texts[of] >= 60 && len(got) != n {
					t.Errorf("%s, %s: of %q only %d were ever the key in %d questions", name, family, of, len(got), texts[of])
				}
			}
		}
	}
}
