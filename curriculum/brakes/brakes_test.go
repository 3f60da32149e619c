package brakes

import (
	"io/fs"
	"os"
	"regexp"
	"strings"
	"testing"

	"brakewright/curriculum"
)

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
		critical := 0
		for _, id := range task.Lessons {
			for _, s := range p.Lesson(id, "en").Procedure.Steps {
				if s.Critical && len(s.Children) == 0 {
					critical++
				}
			}
		}
		if critical == 0 || critical > b.Questions {
			t.Errorf("task %s: %d critical steps do not fit %d questions", task.ID, critical, b.Questions)
		}
	}
	if p.Task(p.Policy.Induction) == nil {
		t.Errorf("policy's induction %q is no task", p.Policy.Induction)
	}
}

// TestStepsAreExplained checks what the questions live on: every leaf has a reason and a consequence, and no two
// steps of a lesson share one.
func TestStepsAreExplained(t *testing.T) {
	p := mustLoad(t)
	for _, l := range p.Lessons {
		seen := map[string]string{}
		for _, s := range l.Procedure.Steps {
			consequences := append(append([]curriculum.Text{}, s.IfSkipped...), s.IfWrong...)
			if len(s.Children) == 0 && (len(s.Why) == 0 || len(consequences) == 0) {
				t.Errorf("%s#%s: reason or consequence missing", l.ID, s.ID)
			}
			if s.Hold && len(s.Check) == 0 {
				t.Errorf("%s#%s: a hold point must say what the supervisor sees", l.ID, s.ID)
			}
			for _, c := range consequences {
				if other, ok := seen[c.Plain()]; ok {
					t.Errorf("%s#%s shares its consequence with %s", l.ID, s.ID, other)
				}
				seen[c.Plain()] = s.ID
			}
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
		for _, m := range link.FindAllSubmatch(f.Bytes, -1) {
			for _, v := range p.Vehicles {
				if _, ok := v.Figure(string(m[1]), "front"); !ok {
					t.Errorf("%s: %s lacks %s", f.Path, v.ID, m[1])
				}
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
			"lift<seal", "lift<rod", "bench-bleed<offer", "plug<offer", "seal<offer", "rod<offer", "offer<mount", "mount<pipe-nuts", "pipe-nuts<fill",
			"fill<outlets", "outlets<bleed", "bleed<free", "bleed<leaks", "modulator<free", "leaks<assist", "free<slow-test", "assist<slow-test",
		},
		"bleed-two-person": {
			"read<fresh", "secure<prove", "protect<clean", "clean<fresh", "clean<prove", "fresh<press", "prove<press", "hose<open", "press<open",
			"block<press", "agree<press", "open<close", "close<pause", "close<refill", "pause<nip", "refill<nip", "nip<modulator", "modulator<firm",
			"valve-open<press", "valve-free<firm", "firm<leaks", "leaks<assist", "assist<finish", "finish<slow-test",
		},
		"caliper-replace": {
			"data<chocks", "chocks<key-away", "key-away<slacken", "goggles<slacken", "chocks<slacken", "slacken<lift", "lift<wheel-off", "wheel-off<wet-clean", "wet-clean<unbolt", "draw<ease-back",
			"crack<unbolt", "unbolt<hang", "hang<pads-out", "hang<undo-hose", "unbolt<pins", "pads-out<rotor", "pads-out<lands", "rotor<pads-in",
			"lands<pads-in", "pads-in<fit", "pins<fit", "home<fit", "fit<connect", "connect<bleed", "fit<faces", "connect<pump", "bleed<pump",
			"pump<level", "faces<star", "star<final", "final<creep", "level<creep", "creep<retorque",
		},
		"safety-induction": {
			"level<chock", "chock<pressure", "orange<pressure", "dress<pressure", "slacken<lift", "lift<stands", "stands<shake", "shake<wheel-off",
			"cool<wheel-off", "wheel-off<dust",
		},
	}
	free := map[string][]string{
		"master-cylinder-replace": {
			"confirm secure", "confirm protect", "secure protect", "clean sensor", "bench-bleed crack", "bench-bleed undo", "bench-bleed lift",
			"bench-bleed rod", "seal rod", "free leaks",
		},
		"bleed-two-person": {"read secure", "read protect", "secure protect", "prove hose", "repeat refill"},
		"caliper-replace":  {"lands pins", "pins home", "lands home", "final pump", "star level", "draw slacken", "draw wet-clean", "rotor lands"},
		"safety-induction": {"read dress", "cool chock", "pressure lift"},
	}
	for id, pairs := range before {
		pr := p.Lesson(id, "en").Procedure
		for _, pair := range pairs {
			a, b, _ := strings.Cut(pair, "<")
			if pr.Step(a) == nil || pr.Step(b) == nil {
				t.Fatalf("%s: no step in %q", id, pair)
			}
			if !pr.Before(a, b) {
				t.Errorf("%s: %s must come before %s", id, a, b)
			}
		}
		for _, pair := range free[id] {
			a, b, _ := strings.Cut(pair, " ")
			if pr.Step(a) == nil || pr.Step(b) == nil {
				t.Fatalf("%s: no step in %q", id, pair)
			}
			if pr.Before(a, b) || pr.Before(b, a) {
				t.Errorf("%s: %s and %s must be free", id, a, b)
			}
		}
	}
}

// TestVehicleFiguresAgree recomputes the figures that follow from others, so that a typing slip in a sheet shows.
func TestVehicleFiguresAgree(t *testing.T) {
	p := mustLoad(t)
	number := func(v *curriculum.Vehicle, key string) float64 {
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
	near := func(v *curriculum.Vehicle, what string, got, want, within float64) {
		t.Helper()
		if got < want-within || got > want+within {
			t.Errorf("%s: %s is %.3f, computed %.3f", v.ID, what, got, want)
		}
	}
	const quarterPi = 0.7853981634
	for _, v := range p.Vehicles {
		n := func(key string) float64 { return number(v, key) }
		near(v, "master.area", n("master.area"), quarterPi*n("master.bore")*n("master.bore"), 0.06)
		pressure := 100 * n("pedal.ratio") * n("booster.gain") / n("master.area")
		near(v, "line.pressure", n("line.pressure"), pressure, 0.006)
		clamp := pressure * quarterPi * n("piston.front.diameter") * n("piston.front.diameter") * n("piston.front.count")
		near(v, "brake.front.torque", n("brake.front.torque"), 2*n("pad.front.friction")*clamp*n("rotor.front.radius"), 1.5)
		if n("reservoir.span") <= n("brake.displacement") {
			t.Errorf("%s: the reservoir cannot follow the linings", v.ID)
		}
	}
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
