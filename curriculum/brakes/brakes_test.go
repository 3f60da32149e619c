package brakes

import (
	"flag"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"brakewright/curriculum"
	"brakewright/quiz"
)

var update = flag.Bool("update", false, "rewrite SOURCES.md and the style in the drawings")

// mustLoad loads the embedded programme and fails on any problem, warnings included.
func mustLoad(t *testing.T) *curriculum.Programme {
	t.Helper()
	p, problems := curriculum.Load(FS)
	for _, pr := range problems {
		t.Errorf("%s:%d:%d: %s %s %v", pr.File, pr.Line, pr.Column, pr.Severity, pr.Code, pr.Args)
	}
	if p == nil {
		t.Fatal("no programme")
	}
	return p
}

func TestProgrammeIsWhole(t *testing.T) {
	p := mustLoad(t)
	if len(p.Lessons) != 12 || len(p.Vehicles) != 4 || len(p.Tasks) != 8 {
		t.Errorf("%d lessons, %d vehicles, %d tasks; want 12, 4, and seven clearances plus induction", len(p.Lessons), len(p.Vehicles), len(p.Tasks))
	}
	for _, task := range p.Tasks {
		if len(task.Lessons) == 0 {
			t.Errorf("task %s has no lesson", task.ID)
		}
		test := p.Policy.Task(task.ID).TheoryTest
		if test == nil {
			t.Errorf("task %s asks no theory test", task.ID)
			continue
		}
		b := p.Blueprint(test.Blueprint)
		if b == nil || b.Task != task.ID || b.CriticalSteps != "all" {
			t.Errorf("task %s: blueprint %q is missing, of another task or leaves critical steps out", task.ID, test.Blueprint)
			continue
		}
		asked := 0
		for _, id := range task.Lessons {
			if b.Lessons[id] == 0 {
				t.Errorf("blueprint %s asks nothing of lesson %s", b.ID, id)
			}
			asked += b.Lessons[id]
		}
		if asked != b.Questions {
			t.Errorf("blueprint %s: %d questions are spread over lessons, %d are asked", b.ID, asked, b.Questions)
		}
		for _, v := range append([]*curriculum.Vehicle{nil}, p.Vehicles...) {
			critical := map[string]bool{}
			for _, id := range task.Lessons {
				for _, s := range p.Lesson(id, "en").Sheet(v).Steps {
					if s.Step.Critical {
						critical[id+"/"+s.Step.ID] = true
					}
				}
			}
			if len(critical) == 0 || len(critical) > b.Questions {
				t.Errorf("task %s, car %s: %d critical steps do not fit %d questions", task.ID, carID(v), len(critical), b.Questions)
			}
		}
	}
	if p.Task(p.Policy.Induction) == nil {
		t.Errorf("policy's induction %q is no task", p.Policy.Induction)
	}
	reached := map[string]bool{}
	for _, task := range p.Tasks {
		for _, id := range task.Lessons {
			reached[id] = true
		}
	}
	for _, l := range p.Lessons {
		if !reached[l.ID] {
			t.Errorf("no task teaches %s", l.ID)
		}
	}
}

func carID(v *curriculum.Vehicle) string {
	if v == nil {
		return "none"
	}
	return v.ID
}

// TestLessonsHaveEveryPart asks of each lesson what a teacher looks for in it.
func TestLessonsHaveEveryPart(t *testing.T) {
	p := mustLoad(t)
	for _, l := range p.Lessons {
		for what, have := range map[string]int{
			"cautions": len(l.Cautions), "tools": len(l.Tools), "faults": len(l.Faults), "terms": len(l.Terms), "figures": len(l.Figures),
			"misbeliefs": len(l.Misbeliefs), "sums": len(l.Sums), "pictures": len(l.Pictures),
		} {
			least := map[string]int{"cautions": 8, "tools": 8, "faults": 8, "terms": 10, "figures": 6, "misbeliefs": 6, "sums": 3, "pictures": 1}[what]
			if have < least {
				t.Errorf("%s: %d %s, at least %d are wanted", l.ID, have, what, least)
			}
		}
		background := false
		for _, s := range l.Sections {
			background = background || s.Class == "background"
		}
		if !background {
			t.Errorf("%s has no background", l.ID)
		}
		file := fileText(t, p, l.File)
		if !strings.Contains(file, "**Brakes can kill.** The vehicle maker's service information comes first") {
			t.Errorf("%s does not carry the caution", l.ID)
		}
	}
}

func fileText(t *testing.T, p *curriculum.Programme, path string) string {
	t.Helper()
	for _, f := range p.Files {
		if f.Path == path {
			return string(f.Bytes)
		}
	}
	t.Fatalf("no file %s", path)
	return ""
}

// TestStepsAreExplained checks what the questions live on: every leaf has a reason and a consequence, and no two
// steps share one, not even across lessons.
func TestStepsAreExplained(t *testing.T) {
	p := mustLoad(t)
	seen := map[string]string{}
	for _, l := range p.Lessons {
		for _, s := range l.Procedure.Steps {
			consequences := append(append([]curriculum.Text{}, s.IfSkipped...), s.IfWrong...)
			if len(s.Children) == 0 && (len(s.Why) == 0 || len(consequences) == 0) {
				t.Errorf("%s#%s: reason or consequence missing", l.ID, s.ID)
			}
			if s.Hold && len(s.Check) == 0 {
				t.Errorf("%s#%s: a hold point must say what the supervisor sees", l.ID, s.ID)
			}
			for _, c := range append(slices.Clone(s.Why), consequences...) {
				if other, ok := seen[c.Plain()]; ok {
					t.Errorf("%s#%s says the same as %s: %s", l.ID, s.ID, other, c.Plain())
				}
				seen[c.Plain()] = l.ID + "#" + s.ID
			}
		}
	}
}

// TestNoStepGivesItsConsequenceAway checks that a consequence shares no telling word with its step's title, so that
// nobody finds it by matching words.
func TestNoStepGivesItsConsequenceAway(t *testing.T) {
	p := mustLoad(t)
	word := regexp.MustCompile(`[a-z]{5,}`)
	for _, l := range p.Lessons {
		for _, s := range l.Procedure.Steps {
			title := map[string]bool{}
			for _, w := range word.FindAllString(strings.ToLower(s.Title.Plain()), -1) {
				title[strings.TrimSuffix(w, "s")] = true
			}
			for _, c := range append(append([]curriculum.Text{}, s.IfSkipped...), s.IfWrong...) {
				for _, w := range word.FindAllString(strings.ToLower(c.Plain()), -1) {
					if w = strings.TrimSuffix(w, "s"); title[w] && !slices.Contains([]string{"there", "where", "every", "other", "under"}, w) {
						t.Errorf("%s#%s: %q stands in the title and in the consequence", l.ID, s.ID, w)
					}
				}
			}
		}
	}
}

// TestQuestions holds what the programme promises: at least 300 distinct questions a lesson, with and without a car, and no
// critical step that no question reaches.
func TestQuestions(t *testing.T) {
	for _, row := range quiz.Yield(mustLoad(t)) {
		if row.Questions < 300 {
			t.Errorf("%s, car %q: %d questions, at least 300 are wanted", row.Lesson, row.Vehicle, row.Questions)
		}
		for _, step := range row.Unreached {
			t.Errorf("%s, car %q: no question reaches %s", row.Lesson, row.Vehicle, step)
		}
	}
}

// TestEveryCarHasEveryKey checks that no job sheet of a training vehicle ends in "see the maker's service information".
func TestEveryCarHasEveryKey(t *testing.T) {
	p := mustLoad(t)
	for _, l := range p.Lessons {
		for _, v := range p.Vehicles {
			for _, s := range l.Sheet(v).Steps {
				for _, m := range s.Step.Measures {
					if _, ok := l.Limit(m, v, s.Axle); !ok {
						t.Errorf("%s#%s: %s has no figure for %q", l.ID, s.Key, v.ID, m.Text.Plain())
					}
				}
			}
		}
	}
	link := regexp.MustCompile(`\(vehicle:([^)]+)\)`)
	for _, f := range p.Files {
		for _, m := range link.FindAllStringSubmatch(string(f.Bytes), -1) {
			if !slices.ContainsFunc(p.Vehicles, func(v *curriculum.Vehicle) bool {
				_, front := v.Figure(m[1], "front")
				_, rear := v.Figure(m[1], "rear")
				return front || rear
			}) {
				t.Errorf("%s: no sheet has %s", f.Path, m[1])
			}
		}
	}
}

// TestByWireIsNeverBledByFoot checks that the sheet of a by-wire car never offers the foot on the pedal as a way to bleed it,
// and that every lesson that opens its hydraulics or its calipers first makes it safe. These steps are asked of every car, so
// that nobody needs a job on a by-wire car before the gate of critical steps opens.
func TestByWireIsNeverBledByFoot(t *testing.T) {
	p := mustLoad(t)
	for _, v := range p.Vehicles {
		byWire, foot := v.Has([]string{"by-wire"}, ""), v.Has([]string{"bleeding-by-foot"}, "")
		if byWire == foot {
			t.Errorf("%s must be either by-wire or bled by foot", v.ID)
		}
		steps := map[string]bool{}
		for _, s := range p.Lesson("bleed-two-person", "en").Sheet(v).Steps {
			steps[s.Step.ID] = true
		}
		for _, id := range []string{"block", "prove", "hose", "press", "open", "close", "pause", "repeat", "nip"} {
			if steps[id] != foot {
				t.Errorf("%s: step %s of the two-person bleed is on its sheet: %v", v.ID, id, steps[id])
			}
		}
		for _, s := range p.Lesson("master-cylinder-replace", "en").Sheet(v).Steps {
			if byWire && (s.Step.ID == "outlets" || s.Step.ID == "bleed") {
				t.Errorf("%s: %s is on the sheet of the master cylinder", v.ID, s.Key)
			}
		}
		if !steps["by-foot"] {
			t.Errorf("%s: nobody asks whether this car is bled by foot", v.ID)
		}
		if !byWire {
			continue
		}
		for lesson, pair := range map[string][2]string{
			"bleed-two-person": {"by-foot", "clean"}, "bleed-pressure": {"zero-down", "fresh"}, "caliper-replace": {"disable", "slacken"},
			"rotor-measure": {"disable", "slacken"}, "brake-fluid": {"disable", "open"}, "hydraulics": {"disable", "free-play"},
			"master-cylinder-fault": {"codes", "level"}, "master-cylinder-replace": {"by-wire-stop", "clean"}, "pedal-faults": {"pushes", "first"},
		} {
			l := p.Lesson(lesson, "en")
			first := l.Procedure.Step(pair[0])
			if first == nil || !first.Critical || !first.Hold || len(first.If) > 0 {
				t.Fatalf("%s#%s must be critical, a hold point, and asked of every car", lesson, pair[0])
			}
			if !l.Procedure.Before(pair[0], pair[1]) {
				t.Errorf("%s: %s must come before %s", lesson, pair[0], pair[1])
			}
			if !slices.ContainsFunc(l.Sheet(v).Steps, func(s curriculum.SheetStep) bool { return s.Step == first }) {
				t.Errorf("%s: %s lacks %s", lesson, v.ID, pair[0])
			}
		}
	}
}

// TestPrecedences holds the orders that a mechanic would insist on, and the freedoms that a sequence question must
// leave. A step of this table that comes too early hurts someone or spoils the work.
func TestPrecedences(t *testing.T) {
	p := mustLoad(t)
	before := map[string][]string{
		"master-cylinder-replace": {
			"confirm<dead", "confirm<match", "secure<dead", "protect<clean", "protect<bench-bleed", "dead<crack", "clean<draw",
			"clean<crack", "draw<undo", "sensor<lift", "clutch-hose<lift", "match<bench-bleed", "match<crack", "crack<undo", "undo<lift",
			"lift<seal", "lift<rod", "lift<rod-set", "bench-bleed<offer", "plug<offer", "seal<offer", "rod<offer", "rod-set<offer", "offer<mount",
			"mount<pipe-nuts", "pipe-nuts<fill", "fill<outlets", "outlets<bleed", "bleed<free", "bleed<leaks", "modulator<free", "leaks<assist",
			"free<slow-test", "assist<slow-test", "by-wire-stop<dead", "by-wire-stop<match",
		},
		"bleed-two-person": {
			"read<fresh", "by-foot<fresh", "by-foot<prove", "secure<prove", "protect<clean", "clean<fresh", "clean<prove", "fresh<press", "prove<press",
			"hose<open", "press<open", "block<press", "agree<press", "open<close", "close<pause", "close<refill", "pause<nip", "refill<nip",
			"nip<modulator", "modulator<firm", "valve-open<press", "valve-free<firm", "firm<leaks", "leaks<assist", "assist<finish", "finish<slow-test",
		},
		"bleed-pressure": {
			"read<fresh", "secure<prove", "secure<zero-down", "zero-down<prove", "zero-down<fresh", "protect<clean", "clean<fresh", "clean<prove",
			"fresh<fit", "load<fit", "adapter<fit", "fit<low", "low<charge", "prove<charge", "charge<hose", "valve-open<open", "tool-start<open",
			"hose<open", "open<run", "run<close", "close<nip", "nip<modulator", "nip<release", "modulator<release", "tool-end<release", "release<level",
			"level<firm", "valve-free<firm", "firm<leaks", "leaks<assist", "assist<finish", "finish<slow-test",
		},
		"caliper-replace": {
			"data<chocks", "disable<draw", "chocks<key-away", "key-away<slacken", "disable<slacken", "disable<crack", "goggles<slacken", "chocks<slacken", "slacken<lift",
			"lift<wheel-off", "wheel-off<wet-clean", "wet-clean<unbolt", "draw<ease-back", "crack<unbolt", "unbolt<hang", "hang<pads-out",
			"hang<undo-hose", "unbolt<pins", "pads-out<rotor", "pads-out<lands", "rotor<pads-in", "lands<pads-in", "pads-in<fit", "pins<fit",
			"pad-pins<fit", "home<fit", "fit<connect", "connect<bleed", "fit<faces", "connect<pump", "bleed<pump", "pump<level", "faces<star",
			"star<final", "final<creep", "level<creep", "creep<retorque",
		},
		"safety-induction": {
			"level<chock", "chock<pressure", "orange<pressure", "dress<pressure", "slacken<lift", "lift<stands", "stands<shake", "shake<wheel-off",
			"cool<wheel-off", "wheel-off<dust",
		},
		"brake-fluid": {
			"secure<open", "protect<open", "cover<open", "disable<open", "open<gasket", "open<sample", "sample<boil", "sample<copper", "boil<decide",
			"gasket<decide", "age<decide", "decide<top-up", "bottle<top-up", "top-up<close", "close<lamp", "boil<waste", "waste<record",
		},
		"hydraulics": {
			"secure<free-play", "disable<free-play", "empty<free-play", "free-play<steady", "steady<assist", "assist<reserve", "reserve<vacuum", "steady<lift", "lift<hoses",
			"hoses<turn", "turn<down", "high<down", "down<draw",
		},
		"master-cylinder-fault": {
			"level<light", "level<hard", "search<strip", "empty<light", "empty<play", "play<light", "hard<again", "again<reserve", "level<again", "again<swirl", "codes<level",
			"raise<slacken", "slacken<retighten", "retighten<vent", "vent<nip", "nip<verdict", "retighten<verdict", "verdict<tag", "secure<raise",
		},
		"rotor-measure": {
			"goggles<slacken", "chocks<slacken", "slacken<lift", "lift<wheel-off", "wheel-off<wet", "wet<hang", "hang<look", "look<points", "zero<points",
			"cast<points", "points<clamp", "bearing<swing", "clamp<dial", "dial<swing", "swing<hub", "hub<judge", "judge<refit", "refit<wheel-on",
			"wheel-on<final", "refit<pump", "final<rear", "pump<record",
		},
		"drums": {
			"data<chocks", "goggles<slacken", "chocks<slacken", "slacken<lift", "lift<wheels-off", "wheels-off<wet", "wet<off", "off<photo", "off<boots",
			"off<diameter", "photo<shoes-off", "boots<shoes-off", "shoes-off<plate", "shoes-off<adjuster", "plate<shoes-on", "adjuster<shoes-on",
			"diameter<shoes-on", "shoes-on<springs", "springs<touch", "touch<cable", "cable<wheels-on", "cable<pump", "wheels-on<final", "pump<leaks",
			"final<stops", "leaks<stops",
		},
		"pedal-faults": {
			"secure<first", "eyes<first", "hear<first", "empty<play", "play<first", "first<pumped", "pumped<steady", "steady<wet", "wet<help", "wet<turn", "turn<slow",
			"trapped<slow", "compare<slow", "slow<heat", "heat<verdict", "verdict<tag",
		},
		"hand-back": {
			"tag<pump", "secure<pump", "list<leaks", "modes<pump", "pump<leaks", "leaks<assist", "assist<reserve", "leaks<level", "level<creep", "parking<creep", "nuts<creep",
			"leaks<creep", "creep<slow", "slow<bed", "bed<cool", "cool<again", "heat<again", "again<record", "record<key", "tell<key",
		},
	}
	free := map[string][]string{
		"master-cylinder-replace": {
			"confirm secure", "confirm protect", "secure protect", "clean sensor", "bench-bleed crack", "bench-bleed undo", "bench-bleed lift",
			"bench-bleed rod", "seal rod", "free leaks",
		},
		"bleed-two-person":      {"read secure", "read protect", "secure protect", "prove hose", "repeat refill", "agree fresh", "by-foot secure"},
		"bleed-pressure":        {"read secure", "secure protect", "load clean", "adapter prove", "load prove"},
		"caliper-replace":       {"lands pins", "pins home", "lands home", "final pump", "star level", "draw slacken", "draw wet-clean", "rotor lands"},
		"safety-induction":      {"read dress", "cool chock", "pressure lift"},
		"brake-fluid":           {"data secure", "boil copper", "gasket level", "age open", "lamp date", "bottle open"},
		"hydraulics":            {"free-play chambers", "steady pipes", "turn bulge"},
		"master-cylinder-fault": {"strip light", "ask data"},
		"rotor-measure":         {"zero lift", "bearing points", "final pump"},
		"drums":                 {"photo diameter", "boots diameter", "plate adjuster", "final pump"},
		"pedal-faults":          {"hear glance", "trapped compare"},
		"hand-back":             {"nuts leaks", "heat bed", "assist level"},
	}
	for _, l := range p.Lessons {
		if len(before[l.ID]) == 0 || len(free[l.ID]) == 0 {
			t.Errorf("%s has no precedences here", l.ID)
		}
	}
	for id, pairs := range before {
		pr := p.Lesson(id, "en").Procedure
		for _, pair := range pairs {
			a, b, _ := strings.Cut(pair, "<")
			if pr.Step(a) == nil || pr.Step(b) == nil {
				t.Errorf("%s: no step in %q", id, pair)
				continue
			}
			if !pr.Before(a, b) {
				t.Errorf("%s: %s must come before %s", id, a, b)
			}
		}
		for _, pair := range free[id] {
			a, b, _ := strings.Cut(pair, " ")
			if pr.Step(a) == nil || pr.Step(b) == nil {
				t.Errorf("%s: no step in %q", id, pair)
				continue
			}
			if pr.Before(a, b) || pr.Before(b, a) {
				t.Errorf("%s: %s and %s must be free", id, a, b)
			}
		}
	}
}

// TestNothingMovesUnproven holds, over all lessons, what no order may break: nobody works at a raised car before the shake, a
// car moves only on a pedal that was proven, and wheel nuts get their last torque before the road.
func TestNothingMovesUnproven(t *testing.T) {
	p := mustLoad(t)
	for lesson, rules := range map[string][]string{
		"caliper-replace": {"lift<wheel-off", "pump<creep", "final<creep"}, "rotor-measure": {"lift<wheel-off"}, "drums": {"lift<wheels-off", "pump<stops", "final<stops"},
		"hand-back": {"pump<creep", "leaks<creep", "nuts<creep"}, "master-cylinder-replace": {"leaks<slow-test", "free<slow-test"},
		"bleed-two-person": {"firm<slow-test", "leaks<slow-test"}, "bleed-pressure": {"firm<slow-test", "leaks<slow-test"}, "pedal-faults": {"steady<slow", "wet<slow"},
		"hydraulics": {"lift<turn"}, "master-cylinder-fault": {"raise<vent"}, "safety-induction": {"shake<wheel-off"},
	} {
		pr := p.Lesson(lesson, "en").Procedure
		for _, r := range rules {
			a, b, _ := strings.Cut(r, "<")
			if !pr.Before(a, b) {
				t.Errorf("%s: %s must come before %s", lesson, a, b)
			}
			if s := pr.Step(a); s == nil || !s.Critical || !s.Hold {
				t.Errorf("%s: %s must be critical and a hold point", lesson, a)
			}
		}
	}
}

// TestVehicleFiguresAgree recomputes the figures that follow from others, so that a typing slip in a sheet shows.
func TestVehicleFiguresAgree(t *testing.T) {
	p := mustLoad(t)
	const quarterPi = math.Pi / 4
	area := func(d float64) float64 { return quarterPi * d * d }
	for _, v := range p.Vehicles {
		has := func(key string) bool { _, ok := v.Figure(key, ""); return ok }
		n := func(key string) float64 { return number(t, v, key) }
		near := func(what string, got, want, within float64) {
			t.Helper()
			if math.Abs(got-want) > within {
				t.Errorf("%s: %s is %.3f, computed %.3f", v.ID, what, got, want)
			}
		}
		// Pressure: of the driver's foot with the booster's help, or of the foot alone in back-up.
		cylinder, ratio, stroke, force, gain, pressureKey := "master", "pedal.ratio", "master.stroke", 100.0, 0.0, "line.pressure"
		if v.Has([]string{"by-wire"}, "") {
			cylinder, ratio, stroke, force, gain, pressureKey = "backup", "backup.ratio", "backup.stroke", 500.0, 1.0, "backup.pressure"
			if has("rod.clearance") || has("booster.gain") || has("bleed.pause") {
				t.Errorf("%s: a by-wire car has no pushrod gauge, no booster and no bleeding strokes", v.ID)
			}
		} else {
			gain = n("booster.gain")
		}
		near(cylinder+".area", n(cylinder+".area"), area(n(cylinder+".bore")), 0.06)
		pressure := force * n(ratio) * gain / n(cylinder+".area")
		near(pressureKey, n(pressureKey), pressure, 0.006)
		near("pedal.travel", n("pedal.travel"), n(stroke)*n(ratio), 1)
		near("pedal.reserve", n("pedal.reserve"), math.Ceil(n(stroke)*n(ratio)*0.2), 0) // 49 CFR 570: at most 80 % used
		// Torque: a floating body reacts with the force of its pistons; of a fixed one each side presses its own pad.
		fixed := v.Has([]string{"fixed-caliper"}, "")
		oneSide := n("piston.front.count")
		if fixed {
			oneSide /= 2
		}
		clamp := pressure * area(n("piston.front.diameter")) * oneSide
		near("brake.front.torque", n("brake.front.torque"), 2*n("pad.front.friction")*clamp*n("rotor.front.radius"), 1.5)
		// Displacement: all linings worn out and all rotors worn to their limit.
		padWear := func(axle string) float64 { return n("pad."+axle+".new") - n("pad."+axle+".minimum") }
		rotorWear := func(axle string) float64 { return n("rotor."+axle+".new") - n("rotor."+axle+".minimum") }
		volume := 2 * oneSide * area(n("piston.front.diameter")) * (2*padWear("front") + rotorWear("front"))
		if v.Has([]string{"rear-drums"}, "") {
			volume += 2 * area(n("cylinder.rear.bore")) * 8 // two pistons, the shoes' wear at the cylinder's end of the shoe
		} else {
			volume += 2 * n("piston.rear.count") * area(n("piston.rear.diameter")) * (2*padWear("rear") + rotorWear("rear"))
		}
		near("brake.displacement", n("brake.displacement"), volume/1000, 0.7)
		if n("reservoir.span") <= n("brake.displacement") || n("reservoir.total") <= n("reservoir.span") {
			t.Errorf("%s: the reservoir cannot follow the linings", v.ID)
		}
		// The part outside the effective radius must be rotor.
		if 2000*n("rotor.front.radius") >= n("rotor.front.diameter") {
			t.Errorf("%s: the effective radius lies outside the rotor", v.ID)
		}
		if n("hub.runout") >= n("rotor.runout") || n("rotor.variation") >= n("rotor.runout") {
			t.Errorf("%s: a hub may not use up the rotor's runout, and variation is the finer limit", v.ID)
		}
		if n("bleed.pressure") > 110 {
			t.Errorf("%s: a bleeding tank of %v kPa is beyond what the lesson teaches", v.ID, n("bleed.pressure"))
		}
		if n("fluid.boiling.wet") >= n("fluid.boiling.dry") {
			t.Errorf("%s: boiling points are swapped", v.ID)
		}
		if len(v.Orders["bleed"]) != 4 {
			t.Errorf("%s: bleed order %v", v.ID, v.Orders["bleed"])
		}
		// The grade that the sheet's text names has the boiling points of that grade in the lesson on fluid.
		grade := regexp.MustCompile(`Use (DOT [0-9.]*[0-9])`).FindStringSubmatch(fileText(t, p, v.File))
		if grade == nil {
			t.Errorf("%s names no fluid", v.ID)
			continue
		}
		for _, kind := range []string{"Dry", "Wet"} {
			want := ""
			for _, f := range p.Lesson("brake-fluid", "en").Figures {
				if f.Quantity.Plain() == kind+" boiling point of "+grade[1]+" fluid" {
					want = f.Value
				}
			}
			got, _ := v.Figure("fluid.boiling."+strings.ToLower(kind), "")
			if want == "" || got.Value != want {
				t.Errorf("%s: %s boiling point of %s is %s, the lesson says %q", v.ID, kind, grade[1], got.Value, want)
			}
		}
	}
}

func number(t *testing.T, v *curriculum.Vehicle, key string) float64 {
	t.Helper()
	f, ok := v.Figure(key, "")
	if !ok {
		t.Fatalf("%s lacks %s", v.ID, key)
	}
	r, ok := curriculum.Decimal(f.Value)
	if !ok {
		t.Fatalf("%s: %s is no decimal", v.ID, key)
	}
	x, _ := r.Float64()
	return x
}

// TestDrawings checks the one line style, which every drawing carries as a copy of drawing.css (-update renews it), the size, the
// title and that every drawing is used with words in its place.
func TestDrawings(t *testing.T) {
	p := mustLoad(t)
	if len(p.Pictures) < 24 {
		t.Errorf("%d drawings, at least 24 are wanted", len(p.Pictures))
	}
	used := map[string]bool{}
	for _, l := range p.Lessons {
		for _, pic := range l.Pictures {
			used[pic.Path] = true
			if words := len(strings.Fields(pic.Alt)); words < 15 {
				t.Errorf("%s: %s is described in %d words", l.ID, pic.Path, words)
			}
		}
	}
	sheet := styleSheet(t)
	style := regexp.MustCompile(`(?s)  <style>\n.*?  </style>\n`)
	looks := regexp.MustCompile(`\b(stroke|fill|font|opacity|color|style)[a-z-]*="`)
	class := regexp.MustCompile(`class="([^"]*)"`)
	for path, pic := range p.Pictures {
		if !used[path] {
			t.Errorf("no lesson shows %s", path)
		}
		svg := string(pic.Bytes)
		if want := style.ReplaceAllLiteralString(svg, sheet); want != svg && *update {
			if err := os.WriteFile(filepath.FromSlash(path), []byte(want), 0o644); err != nil {
				t.Fatal(err)
			}
			svg = want
		}
		for _, want := range []string{`viewBox="0 0 660 400"`, `role="img"`, "<title>", sheet} {
			if strings.Count(svg, want) != 1 {
				t.Errorf("%s must hold once: %s", path, want)
			}
		}
		drawn := style.ReplaceAllLiteralString(svg, "")
		if m := looks.FindString(drawn); m != "" {
			t.Errorf("%s: %s: how a drawing looks stands in drawing.css alone", path, m)
		}
		for _, m := range class.FindAllStringSubmatch(drawn, -1) {
			for _, c := range strings.Fields(m[1]) {
				if !strings.Contains(sheet, "."+c+" ") && !strings.Contains(sheet, "."+c+",") {
					t.Errorf("%s: class %s is not in drawing.css", path, c)
				}
			}
		}
		if len(pic.Numbers) < 3 {
			t.Errorf("%s has %d callouts", path, len(pic.Numbers))
		}
	}
}

// styleSheet is the element that carries drawing.css in each drawing, without its remarks.
func styleSheet(t *testing.T) string {
	t.Helper()
	css, err := os.ReadFile("drawing.css")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("  <style>\n")
	for line := range strings.Lines(regexp.MustCompile(`(?s)/\*.*?\*/\n`).ReplaceAllLiteralString(string(css), "")) {
		b.WriteString("    " + line)
	}
	b.WriteString("  </style>\n")
	return b.String()
}

func TestLintIsSilent(t *testing.T) {
	for name, folder := range map[string]fs.FS{"brakes": FS, "bicycle": os.DirFS("../../testdata/trades/bicycle")} {
		for _, pr := range curriculum.Lint(folder) {
			t.Errorf("%s: %s:%d:%d: %s %s %v", name, pr.File, pr.Line, pr.Column, pr.Severity, pr.Code, pr.Args)
		}
	}
}

func TestFolderHoldsOnlyTheProgramme(t *testing.T) {
	err := fs.WalkDir(FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if !strings.HasSuffix(path, ".md") && !strings.HasSuffix(path, ".svg") && path != "programme.yaml" {
			t.Errorf("%s is no file of a programme", path)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// sources are the sources that a figure may name, with what each is worth.
var sources = []struct{ name, worth string }{
	{"training figure", "Set for this programme: invented for a training vehicle, or a custom of workshops used as a yardstick. Nothing published stands behind it."},
	{"49 CFR 570 subpart B", "US rule for vehicles over 10,000 lb in use. Here a yardstick only."},
	{"49 CFR 571.106", "US safety standard: brake hoses."},
	{"49 CFR 571.116", "US safety standard: motor vehicle brake fluids."},
	{"29 CFR 1910.1001", "US rule on asbestos at work."},
	{"29 CFR 1910.1001 appendix F", "US rule on asbestos: work practices for brakes."},
	{"40 CFR 279", "US rule on used oil."},
	{"makers' service information", "Service information of several makers. The values differ from maker to maker."},
	{"suppliers' safety data sheets", "Safety data sheets of several suppliers."},
	{"physics", "A definition or a law of nature."},
	{"trade press", "Articles for workshops. Common practice, not a rule."},
}

// TestSources fails on a figure without a known source, and keeps the table of all figures up to date.
func TestSources(t *testing.T) {
	p := mustLoad(t)
	known := map[string]int{}
	for _, s := range sources {
		known[s.name] = 0
	}
	var b strings.Builder
	b.WriteString("# Every figure and its source\n\nGenerated by `go test ./curriculum/brakes -run TestSources -update`; the test fails when this table is out of date or a\n" +
		"figure has no source. Values given in sums are exercise values and are not listed.\n\n" +
		"The rules are quoted as they were read; look at the current edition before relying on one. On any real car the maker's service\ninformation comes first.\n\n## Sources\n\n| Source | What it is | Figures |\n|---|---|---|\n")
	var rows strings.Builder
	list := func(heading, file string, figures []curriculum.Figure) {
		fmt.Fprintf(&rows, "\n## %s\n\n`%s`\n\n| Figure | Value | Limit | Source |\n|---|---|---|---|\n", heading, file)
		for _, f := range figures {
			source := f.Source.Plain()
			if _, ok := known[source]; !ok {
				t.Errorf("%s: %q has the source %q, which is none of the known ones", file, f.Quantity.Plain(), source)
			}
			known[source]++
			name := f.Quantity.Plain()
			if f.Key != "" {
				name += " (`" + f.Key + "`)"
			}
			fmt.Fprintf(&rows, "| %s | %s | %s | %s |\n", name, f.String(), f.Limit, source)
		}
	}
	for _, l := range p.Lessons {
		list(l.Title, l.File, l.Figures)
	}
	for _, v := range p.Vehicles {
		list(v.Title, v.File, v.Figures)
	}
	for _, s := range sources {
		if known[s.name] == 0 {
			t.Errorf("no figure names the source %q", s.name)
		}
		fmt.Fprintf(&b, "| %s | %s | %d |\n", s.name, s.worth, known[s.name])
	}
	b.WriteString(rows.String())
	if *update {
		if err := os.WriteFile("SOURCES.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	have, err := os.ReadFile("SOURCES.md")
	if err != nil {
		t.Fatal(err)
	}
	if string(have) != b.String() {
		t.Error("SOURCES.md is out of date: run the test with -update")
	}
}

// spelt are the numbers that a lesson spells out, and long the units that it does.
var (
	spelt = map[string]string{
		"one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9", "ten": "10",
		"eleven": "11", "twelve": "12", "thirteen": "13", "fourteen": "14", "fifteen": "15", "sixteen": "16", "eighteen": "18", "twenty": "20",
		"thirty": "30", "forty": "40", "fifty": "50", "sixty": "60", "eighty": "80", "hundred": "100",
	}
	long = map[string]curriculum.Unit{
		"seconds": "s", "minutes": "min", "hours": "h", "days": "day", "months": "month", "years": "year", "per cent": "%", "degrees": "°",
		"millimetres": "mm", "kilometres": "km", "newtons": "N", "kilopascals": "kPa", "megapascals": "MPa", "millilitres": "mL",
	}
)

// quantity is a number or a span of two with a unit, digits or words: "11 to 18 MPa", "eleven megapascals".
var quantity = func() *regexp.Regexp {
	number := `\d+(?:\.\d+)?|` + strings.Join(slices.Sorted(maps.Keys(spelt)), "|")
	return regexp.MustCompile(`(?i:\b(` + number + `)(?:(?:–| to )(` + number + `))?) ?(mm|N·m|kPa|MPa|bar|psi|N|°C|°F|km/h|km|kg|mL|%|` +
		strings.Join(slices.Sorted(maps.Keys(long)), "|") + `)(?:[^\pL]|$)`)
}()

// figuresInProse finds the numbers with a unit in a line of text.
func figuresInProse(line string) (found []curriculum.Figure) {
	for _, m := range quantity.FindAllStringSubmatch(line, -1) {
		u := curriculum.Unit(m[3])
		if name, ok := long[m[3]]; ok {
			u = name
		}
		for _, value := range m[1:3] {
			if digits, ok := spelt[strings.ToLower(value)]; ok {
				value = digits
			}
			if value != "" {
				found = append(found, curriculum.Figure{Value: value, Unit: u})
			}
		}
	}
	return found
}

// TestFiguresInProse finds every number with a unit in a lesson's text and asks for a row of its figures, so that no figure
// slips in without a source. In a vehicle sheet the row must be on that sheet.
func TestFiguresInProse(t *testing.T) {
	p := mustLoad(t)
	check := func(file string, figures []curriculum.Figure) {
		skip := false
		for i, line := range strings.Split(fileText(t, p, file), "\n") {
			if strings.HasPrefix(line, "## ") {
				skip = slices.Contains([]string{"## Figures", "## Arithmetic"}, line)
			}
			if skip {
				continue
			}
			for _, said := range figuresInProse(line) {
				if !slices.ContainsFunc(figures, func(f curriculum.Figure) bool {
					return f.Unit == said.Unit && (sameNumber(f.Value, said.Value) || sameNumber(f.High, said.Value))
				}) {
					t.Errorf("%s:%d: %s %s stands in the text and in no row of its figures", file, i+1, said.Value, said.Unit)
				}
			}
		}
	}
	for _, l := range p.Lessons {
		check(l.File, l.Figures)
	}
	for _, v := range p.Vehicles {
		check(v.File, v.Figures)
	}
}

// TestFiguresInProseAreFound tries the finder itself.
func TestFiguresInProseAreFound(t *testing.T) {
	for line, want := range map[string]string{
		"wears by 2 mm.": "2 mm", "wears by two millimetres.": "2 mm", "Eleven megapascals and more": "11 MPa", "from 65 to 15 km/h, 15 to 30 seconds": "65 km/h 15 km/h 15 s 30 s",
		"11–18 MPa": "11 MPa 18 MPa", "about one per cent a year": "1 %", "two new washers": "", "within 24 months": "24 month", "0.1 N·m": "0.1 N·m", "DOT 5.1 from a bottle": "",
	} {
		var got []string
		for _, f := range figuresInProse(line) {
			got = append(got, f.Value+" "+string(f.Unit))
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q holds %q, want %q", line, got, want)
		}
	}
}

func sameNumber(a, b string) bool {
	x, ok := curriculum.Decimal(a)
	y, ok2 := curriculum.Decimal(b)
	return ok && ok2 && x.Cmp(y) == 0
}

// TestNoForeignFolder keeps working files out of the programme's folder.
func TestNoForeignFolder(t *testing.T) {
	entries, err := filepath.Glob("*")
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"SOURCES.md", "brakes.go", "brakes_test.go", "drawing.css", "lessons", "pictures", "programme.yaml", "vehicles"}
	if !slices.Equal(entries, want) {
		t.Errorf("folder holds %v, want %v", entries, want)
	}
}
