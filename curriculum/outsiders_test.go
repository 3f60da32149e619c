package curriculum

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// TestEveningSchool: lessons of six trades, written from the format alone with odd but legal Markdown (setext headings, ~~~ fences, `)`
// and `+` and `*` lists, tables without outer bars, loose items, colons outside bold labels), load without a word of complaint but for braces in reading matter and
// mean what their authors meant.
func TestEveningSchool(t *testing.T) {
	fsys := os.DirFS("testdata/evening-school")
	// Braces outside a procedure are reading matter; their author may have meant a step.
	odd := slices.DeleteFunc(Lint(fsys), func(p Problem) bool { return p.Code == "braces_unread" && p.Severity == Warning })
	if len(odd) > 0 {
		t.Fatal(shows(odd))
	}
	p := mustLoad(t, fsys)
	loaf := p.Lesson("sourdough-loaf", "")
	if len(loaf.Cautions) != 3 || loaf.Cautions[2].Hazard.Plain() != "Flour dust near a flame | spark" {
		t.Errorf("cautions: %+v", loaf.Cautions)
	}
	if len(loaf.Tools) != 3 || loaf.Tools[1].Element != "tools/pot" || !loaf.Tools[1].WrongThing.Empty() || loaf.Tools[2].WrongHarm.Plain() != "the dough sticks and tears" {
		t.Errorf("tools: %+v", loaf.Tools)
	}
	if len(loaf.Terms) != 2 || !slices.Equal(loaf.Terms[0].Names, []string{"Banneton", "Proving basket"}) {
		t.Errorf("terms: %+v", loaf.Terms)
	}
	if len(loaf.Misbeliefs) != 2 || loaf.Misbeliefs[1].InFact.Plain() != "Time and folding do the same work." {
		t.Errorf("misbeliefs: %+v", loaf.Misbeliefs)
	}
	if len(loaf.Sums) != 1 || len(loaf.Sums[0].Given[1].Values) != 3 || len(loaf.Sums[0].Slips) != 2 {
		t.Errorf("sums: %+v", loaf.Sums)
	}
	for _, x := range []struct {
		lesson, before, after string
		want                  bool
	}{
		{"sourdough-loaf", "feed", "mix", true}, {"sourdough-loaf", "mix", "heat", true}, {"sourdough-loaf", "heat", "shape", false},
		{"sourdough-loaf", "tighten", "take-out", true}, {"sourdough-loaf", "flatten", "tighten", true}, {"sourdough-loaf", "heat", "bake", true},
		{"sling-lift", "weight", "look", false}, {"sling-lift", "look", "rated", true}, {"sling-lift", "leg", "lift", true},
		{"rim-brake", "clamp", "pull", true}, {"resuscitation", "call", "press", true}, {"resuscitation", "call", "aed", false},
		{"socket-outlet", "live", "neutral", false}, {"socket-outlet", "earth", "screw", true}, {"trailer-wheel", "shoe", "disc", false},
	} {
		if got := p.Lesson(x.lesson, "").Procedure.Before(x.before, x.after); got != x.want {
			t.Errorf("%s: %s before %s is %v", x.lesson, x.before, x.after, got)
		}
	}
	for _, x := range []struct{ lesson, step, which, readings string }{
		{"sourdough-loaf", "weigh", "one", ""}, {"rim-brake", "pads", "lowest", "the lowest of four readings"}, {"rim-brake", "set-pads", "each", "each of left and right"},
		{"socket-outlet", "strip", "spread", "the spread between the longest and the shortest"}, {"prove-dead", "test", "highest", "the highest of three readings"},
		{"trailer-wheel", "disc", "lowest", "the lowest, inner and outer"},
	} {
		if m := p.Lesson(x.lesson, "").Procedure.Step(x.step).Measures[0]; m.Which != x.which || m.Readings != x.readings {
			t.Errorf("%s/%s: %s, %q", x.lesson, x.step, m.Which, m.Readings)
		}
	}
	lift := p.Lesson("sling-lift", "")
	if s := lift.Procedure.Step("trial"); !s.Hold || !s.Critical || len(s.IfWrong) != 1 || len(s.Check) != 1 {
		t.Errorf("a loose item loses its points: %+v", s)
	}
	if s := lift.Procedure.Step("weight"); len(s.Why) != 1 || s.Why[0].Plain() != "The sling is chosen by it." {
		t.Errorf("a colon outside the bold label: %+v", s.Why)
	}
	if lift.Procedure.Step("free") != nil || len(lift.Procedure.Steps) != 8 {
		t.Errorf("%d steps", len(lift.Procedure.Steps))
	}
	if page := string(loaf.HTML(nil, "si", nil)); !strings.Contains(page, `<section class="footnotes"`) && !strings.Contains(page, `class="footnotes"`) || !strings.Contains(page, "<del>margarine</del>") {
		t.Error("reading matter is not rendered")
	}
}
