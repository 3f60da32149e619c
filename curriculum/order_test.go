package curriculum

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// soak is whether long tests run in full: BRAKEWRIGHT_SOAK=1.
func soak() bool { return os.Getenv("BRAKEWRIGHT_SOAK") == "1" }

func procedureOf(t testing.TB, list string) *Lesson {
	t.Helper()
	p, problems := Load(stepLesson(list))
	if p == nil {
		t.Fatalf("%s\n%s", list, shows(problems))
	}
	return p.Lessons[0]
}

// pairs lists "a<b" for all forced pairs among leaves.
func pairs(l *Lesson) (out []string) {
	for _, a := range l.Procedure.Steps {
		for _, b := range l.Procedure.Steps {
			if len(a.Children)+len(b.Children) == 0 && l.Procedure.Before(a.ID, b.ID) {
				out = append(out, a.ID+"<"+b.ID)
			}
		}
	}
	slices.Sort(out)
	return out
}

func TestOrder(t *testing.T) {
	tests := []struct{ name, list, want string }{
		{"a numbered list", "1. A {#a}\n2. B {#b}\n3. C {#c}\n", "a<b a<c b<c"},
		{"a bulleted list", "- A {#a}\n- B {#b}\n", ""},
		{"after replaces the list", "1. A {#a}\n2. B {#b}\n3. C {#c after=\"a\"}\n", "a<b a<c"},
		{"after nothing frees", "1. A {#a}\n2. B {#b after=\"\"}\n3. C {#c}\n", "b<c"},
		{"after orders bullets", "- A {#a after=\"b\"}\n- B {#b}\n", "b<a"},
		{"several lists", "1. A {#a}\n2. B {#b}\n\n### More\n\n1. C {#c}\n2. D {#d after=\"c a\"}\n", "a<b a<d c<d"},
		{"a parent stands for its sub-steps", "1. A {#a}\n2. P {#p}\n   - B {#b}\n   - C {#c}\n3. D {#d}\n", "a<b a<c a<d b<d c<d"},
		{"after names a parent", "- P {#p}\n  1. A {#a}\n  2. B {#b}\n- C {#c after=\"p\"}\n", "a<b a<c b<c"},
		{"after names a sub-step", "- P {#p}\n  1. A {#a}\n  2. B {#b}\n- C {#c after=\"a\"}\n", "a<b a<c"},
		{"after on a sub-step keeps what the parent waits for", "1. A {#a}\n2. P {#p}\n   1. B {#b}\n   2. C {#c after=\"\"}\n", "a<b a<c"},
		{"two lists under a step", "1. P {#p}\n   1. A {#a}\n   2. B {#b}\n\n   Then:\n\n   - C {#c}\n", "a<b"},
		{"sub-steps of sub-steps", "1. P {#p}\n   1. Q {#q}\n      - A {#a}\n   2. B {#b}\n2. C {#c}\n", "a<b a<c b<c"},
		{"points are no steps", "1. A {#a}\n   - **Why:** x\n2. B {#b}\n", "a<b"},
		{"points and sub-steps", "1. P {#p}\n   - **Why:** x\n\n   Do:\n\n   1. A {#a}\n   2. B {#b}\n", "a<b"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := strings.Join(pairs(procedureOf(t, tt.list)), " "); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

func TestBeforeOfParents(t *testing.T) {
	p := procedureOf(t, "1. A {#a}\n2. P {#p}\n   - B {#b}\n   - C {#c}\n3. D {#d}\n").Procedure
	for pair, want := range map[string]bool{"a p": true, "p d": true, "p b": false, "p p": false, "d p": false, "a nowhere": false} {
		x, y, _ := strings.Cut(pair, " ")
		if p.Before(x, y) != want {
			t.Errorf("Before(%s) = %v", pair, !want)
		}
	}
}

// randomStep is a step of a random procedure, kept apart from the code under test.
type randomStep struct {
	id       string
	numbered bool // the list it stands in
	after    []string
	given    bool // after is written
	each     bool
	needs    string
	children []*randomStep
}

func drawSteps(t *rapid.T, depth int, count *int, inEach bool) (list []*randomStep) {
	numbered := rapid.Bool().Draw(t, "numbered")
	for range rapid.IntRange(1, 3).Draw(t, "items") {
		if *count >= 9 {
			break
		}
		s := &randomStep{id: fmt.Sprintf("s%d", *count), numbered: numbered}
		*count++
		if rapid.IntRange(0, 2).Draw(t, "after") == 0 {
			s.given = true
			for range rapid.IntRange(0, 2).Draw(t, "afters") {
				id := fmt.Sprintf("s%d", rapid.IntRange(0, 8).Draw(t, "of"))
				if !slices.Contains(s.after, id) {
					s.after = append(s.after, id)
				}
			}
		}
		s.each = !inEach && rapid.IntRange(0, 2).Draw(t, "each") == 0
		if rapid.IntRange(0, 3).Draw(t, "if") == 0 {
			s.needs = rapid.SampledFrom([]string{"abs", "front", "no"}).Draw(t, "feature")
		}
		if depth < 2 && rapid.IntRange(0, 2).Draw(t, "nest") == 0 {
			s.children = drawSteps(t, depth+1, count, inEach || s.each)
		}
		list = append(list, s)
	}
	return list
}

func (s *randomStep) write(b *strings.Builder, indent, n int, plain bool) {
	pad := strings.Repeat(" ", indent)
	mark := "-"
	if s.numbered {
		mark = fmt.Sprintf("%d.", n)
	}
	fmt.Fprintf(b, "%s%s Step %s {#%s", pad, mark, s.id, s.id)
	if s.given {
		fmt.Fprintf(b, " after=\"%s\"", strings.Join(s.after, " "))
	}
	if s.each && !plain {
		b.WriteString(" each=\"wheel\"")
	}
	if s.needs != "" && !plain {
		fmt.Fprintf(b, " if=\"%s\"", s.needs)
	}
	b.WriteString("}\n")
	for i, c := range s.children {
		c.write(b, indent+len(mark)+1, i+1, plain)
	}
}

func allSteps(list []*randomStep) (out []*randomStep) {
	for _, s := range list {
		out = append(append(out, s), allSteps(s.children)...)
	}
	return out
}

func (s *randomStep) leaves() (out []string) {
	if len(s.children) == 0 {
		return []string{s.id}
	}
	for _, c := range s.children {
		out = append(out, c.leaves()...)
	}
	return out
}

// direct lists what the author writes: each step's predecessors, spelled out for all sub-steps of both. Unknown names
// are left out.
func direct(list []*randomStep) map[[2]string]bool {
	byID := map[string]*randomStep{}
	for _, s := range allSteps(list) {
		byID[s.id] = s
	}
	out := map[[2]string]bool{}
	edge := func(a, b *randomStep) {
		for _, x := range a.leaves() {
			for _, y := range b.leaves() {
				out[[2]string{x, y}] = true
			}
		}
	}
	var walk func([]*randomStep)
	walk = func(list []*randomStep) {
		for i, s := range list {
			switch {
			case s.given:
				for _, id := range s.after {
					edge(byID[id], s)
				}
			case s.numbered && i > 0:
				edge(list[i-1], s)
			}
			walk(s.children)
		}
	}
	walk(list)
	return out
}

// warshall closes a relation over n things.
func warshall(r [][]bool) {
	for k := range r {
		for i := range r {
			for j := range r {
				r[i][j] = r[i][j] || r[i][k] && r[k][j]
			}
		}
	}
}

// TestOrderAgainstWarshall compares random procedures with a closure worked out another way, cycles included.
func TestOrderAgainstWarshall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := 0
		list := drawSteps(t, 0, &count, false)
		steps := allSteps(list)
		known := map[string]bool{}
		for _, s := range steps {
			known[s.id] = true
		}
		for _, s := range steps {
			s.after = slices.DeleteFunc(s.after, func(id string) bool { return !known[id] })
		}
		var b strings.Builder
		for i, s := range list {
			s.write(&b, 0, i+1, true)
		}
		index := map[string]int{}
		for i, s := range steps {
			index[s.id] = i
		}
		want := emptyOrder(len(steps))
		for e := range direct(list) {
			want[index[e[0]]][index[e[1]]] = true
		}
		warshall(want)
		cycle := false
		for i := range want {
			cycle = cycle || want[i][i]
		}
		programme, problems := Load(stepLesson(b.String()))
		said := slices.ContainsFunc(problems, func(p Problem) bool { return p.Code == "cycle" })
		if said != cycle {
			t.Fatalf("cycle: got %v, want %v\n%s\n%s", said, cycle, b.String(), shows(problems))
		}
		if cycle {
			return
		}
		if programme == nil {
			t.Fatalf("refused:\n%s\n%s", b.String(), shows(problems))
		}
		p := programme.Lessons[0].Procedure
		for _, x := range steps {
			for _, y := range steps {
				if len(x.children)+len(y.children) > 0 || x == y {
					continue
				}
				if got := p.Before(x.id, y.id); got != want[index[x.id]][index[y.id]] {
					t.Fatalf("%s before %s: got %v\n%s", x.id, y.id, got, b.String())
				}
			}
		}
	})
}

// TestSheetAgainstWarshall does the same for a car with two wheels: every step at every wheel is laid out by what the
// author wrote, closed, and only then are the steps dropped that the car lacks.
func TestSheetAgainstWarshall(t *testing.T) {
	vehicle := strings.NewReplacer("features: [abs]", "features: [abs]", "wheels: {LF: [front, disc], RF: [front, disc], LR: [rear, drum], RR: [rear, drum]}",
		"wheels: {LF: [front], LR: [rear]}", "orders: {bleed: [RR, LR, RF, LF]}\n", "").Replace(testVehicle)
	other := strings.Replace(strings.Replace(vehicle, "id: v", "id: w", 1), "[abs]", "[no]", 1)
	rapid.Check(t, func(t *rapid.T) {
		count := 0
		list := drawSteps(t, 0, &count, false)
		steps := allSteps(list)
		// Only names of earlier steps outside one's own parents: no cycles.
		var forward func(list []*randomStep, above map[string]bool, seen map[string]bool)
		forward = func(list []*randomStep, above, seen map[string]bool) {
			for _, s := range list {
				s.after = slices.DeleteFunc(s.after, func(id string) bool { return !seen[id] || above[id] })
				seen[s.id] = true
				above[s.id] = true
				forward(s.children, above, seen)
				delete(above, s.id)
			}
		}
		forward(list, map[string]bool{}, map[string]bool{})
		var b strings.Builder
		for i, s := range list {
			s.write(&b, 0, i+1, false)
		}
		fsys := testFolder(map[string]string{"lessons/l.md": testFront + "## Procedure\n" + b.String(), "vehicles/v.md": vehicle, "vehicles/w.md": other})
		programme, problems := Load(fsys)
		if programme == nil {
			t.Fatalf("refused:\n%s\n%s", b.String(), shows(problems))
		}
		v := programme.Vehicle("v")
		sheet := programme.Lessons[0].Sheet(v)

		// The layout, independently: one entry per leaf and wheel.
		type entry struct{ id, wheel string }
		var all []entry
		repeats, needs := map[string]bool{}, map[string][]string{}
		var lay func([]*randomStep, bool, []string)
		lay = func(list []*randomStep, each bool, features []string) {
			for _, s := range list {
				e, f := each || s.each, features
				if s.needs != "" {
					f = append(slices.Clone(features), s.needs)
				}
				if len(s.children) > 0 {
					lay(s.children, e, f)
					continue
				}
				repeats[s.id], needs[s.id] = e, f
				if e {
					all = append(all, entry{s.id, "LF"}, entry{s.id, "LR"})
				} else {
					all = append(all, entry{s.id, ""})
				}
			}
		}
		lay(list, false, nil)
		want := emptyOrder(len(all))
		edges := direct(list)
		for i, x := range all {
			for j, y := range all {
				if edges[[2]string{x.id, y.id}] && (x.wheel == y.wheel || x.wheel == "" || y.wheel == "") {
					want[i][j] = true
				}
			}
		}
		warshall(want)
		has := func(e entry) bool {
			for _, f := range needs[e.id] {
				if !(f == "abs" || f == "front" && e.wheel == "LF") {
					return false
				}
			}
			return true
		}
		at := map[string]int{}
		for i, s := range sheet.Steps {
			at[s.Key] = i
		}
		kept := 0
		key := func(e entry) string {
			if e.wheel == "" {
				return e.id
			}
			return e.id + "@" + e.wheel
		}
		for i, x := range all {
			_, listed := at[key(x)]
			if listed != has(x) {
				t.Fatalf("%s on the sheet: %v\n%s", key(x), listed, b.String())
			}
			if !listed {
				continue
			}
			kept++
			for j, y := range all {
				if i == j || !has(y) {
					continue
				}
				if got := sheet.Before(at[key(x)], at[key(y)]); got != want[i][j] {
					t.Fatalf("%s before %s: got %v\n%s", key(x), key(y), got, b.String())
				}
				if want[i][j] && at[key(x)] > at[key(y)] {
					t.Fatalf("%s is listed behind %s\n%s", key(x), key(y), b.String())
				}
			}
		}
		if kept != len(sheet.Steps) {
			t.Fatalf("%d steps on the sheet, want %d", len(sheet.Steps), kept)
		}
		_ = steps
	})
}

func sheetKeys(s *Sheet) string {
	var out []string
	for _, x := range s.Steps {
		out = append(out, x.Key)
	}
	return strings.Join(out, " ")
}

func TestSheet(t *testing.T) {
	tests := []struct{ name, list, want, bare string }{
		{"one wheel after the other",
			"1. A {#a}\n2. Open {#open each=\"wheel in bleed\"}\n3. Close {#close each=\"wheel in bleed\"}\n4. B {#b}\n",
			"a open@RR close@RR open@LR close@LR open@RF close@RF open@LF close@LF b", "a open close b"},
		{"by sub-steps",
			"1. A {#a}\n2. Bleed {#p each=\"wheel in bleed\"}\n   1. Open {#open}\n   2. Close {#close}\n3. B {#b}\n",
			"a open@RR close@RR open@LR close@LR open@RF close@RF open@LF close@LF b", "a open close b"},
		{"wheels with the feature",
			"1. A {#a each=\"wheel\" if=\"drum\"}\n2. B {#b if=\"abs\"}\n3. C {#c}\n", "a@LR a@RR b c", "c"},
		{"a step between divides the round",
			"1. A {#a each=\"wheel in bleed\" if=\"rear\"}\n2. B {#b}\n3. C {#c each=\"wheel in bleed\" if=\"rear\"}\n",
			"a@RR a@LR b c@RR c@LR", "b"},
		{"a step that the car lacks divides it all the same",
			"1. A {#a each=\"wheel in bleed\" if=\"rear\"}\n2. B {#b if=\"none\"}\n3. C {#c each=\"wheel in bleed\" if=\"rear\"}\n",
			"a@RR a@LR c@RR c@LR", ""},
	}
	none := strings.Replace(strings.Replace(testVehicle, "id: v", "id: w", 1), "[abs]", "[none]", 1)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := mustLoad(t, testFolder(map[string]string{"lessons/l.md": testFront + "## Procedure\n" + tt.list, "vehicles/w.md": none}))
			l := p.Lessons[0]
			if got := sheetKeys(l.Sheet(p.Vehicle("v"))); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
			if got := sheetKeys(l.Sheet(nil)); got != tt.bare {
				t.Errorf("without a car: got %s, want %s", got, tt.bare)
			}
		})
	}
}

// TestSheetForces spells out what is forced and what is free at the wheels.
func TestSheetForces(t *testing.T) {
	p := mustLoad(t, stepLesson("1. A {#a each=\"wheel\"}\n2. B {#b each=\"wheel\"}\n3. C {#c}\n4. D {#d each=\"wheel in bleed\"}\n5. E {#e each=\"wheel in bleed\"}\n"))
	s := p.Lessons[0].Sheet(p.Vehicle("v"))
	at := map[string]int{}
	for i, x := range s.Steps {
		at[x.Key] = i
	}
	for pair, want := range map[string]bool{
		"a@LF b@LF": true, "a@LF b@RF": false, "a@LF a@RF": false, "b@RR c": true, "a@RR c": true, "c d@LF": true,
		"d@RR d@LR": true, "e@RR d@LR": true, "d@RR e@LF": true, "d@LF e@RR": false, "e@RR e@LF": true, "d@LR e@LR": true,
	} {
		x, y, _ := strings.Cut(pair, " ")
		if got := s.Before(at[x], at[y]); got != want {
			t.Errorf("%s: got %v, want %v", pair, got, want)
		}
	}
	for _, x := range s.Steps {
		want := map[string]string{"F": "front", "R": "rear"}[x.Key[len(x.Key)-1:]]
		if x.Wheel == "" {
			want = ""
		}
		if x.Axle != want {
			t.Errorf("axle of %s is %q", x.Key, x.Axle)
		}
	}
}

// TestOrdersContradict gives two rounds of opposite direction with per-wheel order across them.
func TestOrdersContradict(t *testing.T) {
	vehicle := strings.Replace(testVehicle, "orders: {bleed: [RR, LR, RF, LF]}", "orders: {bleed: [RR, LR, RF, LF], back: [LF, RF, LR, RR]}", 1)
	list := "- A {#a each=\"wheel in bleed\"}\n- C {#c each=\"wheel in bleed\" after=\"d\"}\n" +
		"- B {#b each=\"wheel in back\" after=\"a\"}\n- D {#d each=\"wheel in back\"}\n"
	_, problems := Load(testFolder(map[string]string{"lessons/l.md": testFront + "## Procedure\n" + list, "vehicles/v.md": vehicle}))
	if !slices.ContainsFunc(problems, func(p Problem) bool { return p.Code == "order_contradiction" }) {
		t.Errorf("got %s", shows(problems))
	}
}

// TestManySteps keeps the largest procedure quick: the greatest number of steps at the greatest number of wheels.
func TestManySteps(t *testing.T) {
	var b strings.Builder
	r := rand.New(rand.NewPCG(1, 2))
	for i := range maxSteps {
		fmt.Fprintf(&b, "%d. Step {#s%d each=\"wheel\"", i+1, i)
		if i > 2 && r.IntN(3) == 0 {
			fmt.Fprintf(&b, " after=\"s%d\"", r.IntN(i))
		}
		b.WriteString("}\n")
	}
	p := mustLoad(t, stepLesson(b.String()))
	if got := len(p.Lessons[0].Sheet(p.Vehicle("v")).Steps); got != 4*maxSteps {
		t.Errorf("got %d steps", got)
	}
}
