package quiz_test

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"pgregory.net/rapid"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// vocabulary is small, so that rows and steps often share words, repeat one another and hold one another.
var vocabulary = strings.Fields("open close lift drain valve valves pump pumping cover oil oily shaft seal bolt bolts hand slowly new old left right hot cold before after limit")

func words(rt *rapid.T, label string, least, most int) string {
	n := rapid.IntRange(least, most).Draw(rt, label)
	parts := make([]string, n)
	for i := range parts {
		parts[i] = rapid.SampledFrom(vocabulary).Draw(rt, label)
	}
	return strings.ToUpper(parts[0][:1]) + strings.Join(parts, " ")[1:]
}

// drawLesson writes a lesson: steps in lists of both kinds, sub-steps, features, wheels, tables that repeat themselves.
func drawLesson(rt *rapid.T) map[string]string {
	var b strings.Builder
	b.WriteString("---\nid: drawn\ntitle: Drawn\nlanguage: en\ntasks: [drawn]\n---\n\n# Drawn\n\n## Procedure\n\n")
	var ids []string
	for list := range rapid.IntRange(1, 3).Draw(rt, "lists") {
		fmt.Fprintf(&b, "### List %d\n\n", list)
		numbered := rapid.Bool().Draw(rt, "numbered")
		for n := range rapid.IntRange(1, 6).Draw(rt, "steps") {
			id := fmt.Sprintf("s%d-%d", list, n)
			mark := "-"
			if numbered {
				mark = fmt.Sprintf("%d.", n+1)
			}
			attributes := "#" + id
			if len(ids) > 0 && rapid.IntRange(0, 2).Draw(rt, "after") == 0 {
				attributes += ` after="` + rapid.SampledFrom(ids).Draw(rt, "of") + `"`
			}
			if rapid.IntRange(0, 4).Draw(rt, "critical") == 0 {
				attributes += " .critical"
			}
			if rapid.IntRange(0, 4).Draw(rt, "hold") == 0 {
				attributes += " .hold"
			}
			if rapid.IntRange(0, 5).Draw(rt, "if") == 0 {
				attributes += ` if="tank"`
			}
			if rapid.IntRange(0, 5).Draw(rt, "each") == 0 {
				attributes += ` each="wheel"`
			}
			indent := strings.Repeat(" ", len(mark)+1)
			fmt.Fprintf(&b, "%s %s {%s}\n", mark, words(rt, "title", 1, 5), attributes)
			if rapid.IntRange(0, 5).Draw(rt, "children") == 0 {
				for k := range rapid.IntRange(1, 3).Draw(rt, "sub-steps") {
					fmt.Fprintf(&b, "%s%d. %s {#%s-%d}\n%s   - **If skipped:** %s.\n", indent, k+1, words(rt, "sub-title", 1, 5), id, k, indent, words(rt, "skipped", 1, 6))
				}
			} else {
				fmt.Fprintf(&b, "%s- **Why:** %s.\n%s- **If skipped:** %s.\n", indent, words(rt, "why", 1, 6), indent, words(rt, "skipped", 1, 6))
				if rapid.IntRange(0, 2).Draw(rt, "check") == 0 {
					fmt.Fprintf(&b, "%s- **Check:** %s.\n", indent, words(rt, "checked", 1, 6))
				}
				if rapid.IntRange(0, 3).Draw(rt, "measure") == 0 {
					fmt.Fprintf(&b, "%s- **Measure:** %s\n", indent, rapid.SampledFrom([]string{"[play](vehicle:play); spread over a turn", "[seal](vehicle:seal.{axle}.minimum); lowest of four",
						"[seal](vehicle:seal.front.minimum)", "Depth of the groove; each of three"}).Draw(rt, "what"))
				}
			}
			ids = append(ids, id)
		}
		b.WriteString("\n")
	}
	table := func(title, head string, columns int) {
		wrongChoice := title == "Tools and materials"
		fmt.Fprintf(&b, "## %s\n\n%s\n|%s\n", title, head, strings.Repeat("---|", columns))
		var earlier []string
		for range rapid.IntRange(1, 9).Draw(rt, title) {
			b.WriteString("|")
			for c := range columns {
				cell := words(rt, "cell", 1, 4)
				// Sloppy authors repeat a cell, or nearly.
				switch rapid.IntRange(0, 7).Draw(rt, "sloppy") {
				case 0:
					if len(earlier) > 0 {
						cell = rapid.SampledFrom(earlier).Draw(rt, "again")
					}
				case 1:
					if len(earlier) > 0 {
						cell = rapid.SampledFrom(earlier).Draw(rt, "nearly") + " " + rapid.SampledFrom(vocabulary).Draw(rt, "more")
					}
				}
				earlier = append(earlier, cell)
				if c == columns-1 && wrongChoice {
					cell = words(rt, "thing", 1, 3) + ": " + cell
				}
				b.WriteString(" " + cell + " |")
			}
			b.WriteString("\n")
		}
		b.WriteString("\n")
	}
	table("Cautions", "| Hazard | Consequence | Control |", 3)
	table("Faults", "| Symptom | Cause | Check that tells |", 3)
	table("Tools and materials", "| Item | Use | Wrong choice |", 3)
	b.WriteString("## Figures\n\n| Quantity | Value | Unit | Limit | Source |\n|---|---|---|---|---|\n")
	for n := range rapid.IntRange(1, 5).Draw(rt, "figures") {
		value := rapid.SampledFrom([]string{"0", "1", "2", "12", "0.05", "10.0", "250", "1200", "0.03–0.25", "0–4", "99999"}).Draw(rt, "value")
		limit := rapid.SampledFrom([]string{"", "minimum", "maximum"}).Draw(rt, "limit")
		if strings.Contains(value, "–") {
			limit = "range"
		}
		fmt.Fprintf(&b, "| %s %d | %s | %s | %s | invented |\n", words(rt, "quantity", 1, 3), n, value, rapid.SampledFrom([]string{"", "mm", "bar", "°C", "%", "N·m"}).Draw(rt, "unit"), limit)
	}
	b.WriteString("| Depth of the groove | 1.6 | mm | minimum | invented |\n")
	b.WriteString("\n## Terms\n\n")
	for range rapid.IntRange(1, 6).Draw(rt, "terms") {
		b.WriteString(words(rt, "term", 1, 2) + "\n")
		if rapid.IntRange(0, 2).Draw(rt, "synonym") == 0 {
			b.WriteString(words(rt, "synonym", 1, 2) + "\n")
		}
		fmt.Fprintf(&b, ": %s.\n\n", words(rt, "definition", 2, 6))
	}
	b.WriteString("## Misbeliefs\n\n")
	for range rapid.IntRange(1, 5).Draw(rt, "misbeliefs") {
		fmt.Fprintf(&b, "- **Said:** %s. **In fact:** %s.\n", words(rt, "said", 2, 6), words(rt, "fact", 2, 6))
	}
	return map[string]string{
		"programme.yaml": "title: Drawn\nlanguages: [en]\nunits: si\ntasks:\n  - {id: drawn, title: Drawn, lessons: [drawn], prerequisites: []}\n" +
			"policy:\n  tasks:\n    drawn: {jobs: 1, supervisors: 1, recency_days: 90, lapse_days: 180}\n" +
			"blueprints:\n  - {id: all, task: drawn, questions: 10, lessons: {drawn: 10}, critical_steps: all}\n",
		"lessons/drawn.md":    b.String(),
		"vehicles/rig-one.md": trickyRig("rig-one", "Rig One", "[tank, valve]", "[front, valve]"),
	}
}

// Whatever a lesson holds, what is asked of it is right.
func TestDrawnLessons(t *testing.T) {
	asked, loaded := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		fsys := fstest.MapFS{}
		for name, text := range drawLesson(rt) {
			fsys[name] = &fstest.MapFile{Data: []byte(text)}
		}
		p, problems := curriculum.Load(fsys)
		if p == nil {
			for _, x := range problems {
				// A drawn lesson may break rules of the format; what it must not do is stop the reader.
				if x.Severity == curriculum.Error {
					return
				}
			}
			rt.Fatalf("no programme and no error: %v", problems)
		}
		loaded++
		for _, car := range vehicleIDs(p) {
			for number := 1; number <= 3; number++ {
				for _, r := range []quiz.Request{{Questions: 25}, {Blueprint: "all"}} {
					f, err := quiz.Generate(p, r, quiz.Draw{Seed: 5, Number: number, Vehicle: car})
					if err != nil {
						rt.Fatal(err)
					}
					for i := range f.Questions {
						q := &f.Questions[i]
						asked++
						if err := newChecker(p, f, q).check(q); err != nil {
							rt.Fatalf("%v\n%s", err, show(q))
						}
						if m := markOne(f, *q, right(*q), ""); !m.Correct {
							rt.Fatalf("the right answer is marked wrong\n%s", show(q))
						}
					}
				}
			}
		}
	})
	t.Logf("%d lessons, %d questions", loaded, asked)
	if loaded == 0 || asked == 0 {
		t.Error("nothing was asked")
	}
}
