package curriculum

import (
	"io/fs"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"pgregory.net/rapid"
)

// said is a change as the tables below write it: code, weight, what it asks and within how many days.
func said(c Change) string {
	out := []string{c.Code}
	if c.Weight != "" {
		out = append(out, c.Weight)
	}
	if c.Ask != AskNothing {
		out = append(out, string(c.Ask), itoa(c.Within))
	}
	return strings.Join(out, " ")
}

func saidAll(cs []Change) []string {
	var out []string
	for _, c := range cs {
		out = append(out, said(c))
	}
	return out
}

// exampleFolder is the example as a folder that can be edited.
func exampleFolder(t testing.TB) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	root := os.DirFS("../testdata/format")
	err := fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(root, path)
		out[path] = &fstest.MapFile{Data: b}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// edited is a folder with one text of a file put for another.
func edited(t testing.TB, fsys fstest.MapFS, file, from, to string) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	for path, f := range fsys {
		out[path] = f
	}
	text := string(fsys[file].Data)
	if !strings.Contains(text, from) {
		t.Fatalf("%s does not hold %q", file, from)
	}
	out[file] = &fstest.MapFile{Data: []byte(strings.Replace(text, from, to, 1))}
	return out
}

func TestDiffOfALesson(t *testing.T) {
	old := mustLoad(t, lessonFolder(printsBody))
	for _, tt := range []struct {
		name, from, to string
		want           []string
	}{
		{"nothing", "", "", nil},
		{"a comma", "nuts, all", "nuts all", []string{"background_changed"}},
		{"a plain step", "Look {", "Look well {", []string{"step_reworded plain"}},
		{"a caution", "| a |", "| aa |", []string{"row_added", "row_removed"}},
		{"a control", "| c |", "| cc |", []string{"row_changed"}},
		{"a plain step added", "3. Fit", "3. Wipe {#wipe}\n4. Fit", []string{"step_added plain"}},
		{"a critical step added", "3. Fit", "3. Wipe {#wipe .critical}\n   - **If skipped:** It slips\n4. Fit", []string{"step_added critical job 0"}},
		{"a hold point added", "3. Fit", "3. Wipe {#wipe .hold}\n4. Fit", []string{"step_added hold read 30"}},
		{"a critical step's title", "all four", "all five", []string{"step_reworded critical read 30"}},
		{"its consequence", "comes off", "stays on", []string{"consequence_changed critical read 30"}},
		{"a reason given", "   - **If skipped", "   - **Why:** It is tight\n   - **If skipped", []string{"reason_changed critical read 30"}},
		{"a check given", "   - **If skipped", "   - **Check:** It turns\n   - **If skipped", []string{"check_changed critical read 30"}},
		{"what is measured", "**Measure:** Depth", "**Measure:** Depth; the lowest of four", []string{"measure_changed critical read 30"}},
		{"on which cars", "{#undo .critical", "{#undo .critical if=\"abs\"", []string{"step_cars_changed critical read 30"}},
		{"its mark", " .critical", "", []string{"step_no_longer_critical critical read 30"}},
		{"a mark", "#look}", "#look .critical}\n   - **If skipped:** You miss it", []string{"step_now_critical critical job 0", "consequence_changed critical read 30"}},
		{"a hold point's mark", " .hold", "", []string{"step_no_longer_hold hold read 30"}},
		{"a hold point made", "#look}", "#look .hold}", []string{"step_now_hold hold read 30"}},
		{"the figure it rests on", "2.5", "2.6", []string{"figure_changed critical read 0"}},
		{"the limit of that figure", "minimum", "maximum", []string{"limit_changed critical read 0"}},
		{"its order", "#look}", "#look after=\"\"}", []string{"step_place_changed plain", "order_changed critical test 30"}},
		{"the order of a hold point", "#fit .hold}", "#fit .hold after=\"undo\"}", []string{"step_place_changed hold read 30", "order_changed hold read 30"}},
		{"a hold point removed", "3. Fit {#fit .hold}\n", "", []string{"step_removed hold read 30"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := mustLoad(t, lessonFolder(strings.Replace(printsBody, tt.from, tt.to, 1)))
			got := Diff(old, p)
			if !slices.Equal(saidAll(got), tt.want) {
				t.Errorf("got %q, want %q", saidAll(got), tt.want)
			}
			for _, c := range got {
				if c.File != "lessons/l.md" || c.Lesson != "l" {
					t.Errorf("%s is said of %s, %s", c.Code, c.File, c.Lesson)
				}
			}
		})
	}
}

func TestDiffOfAFolder(t *testing.T) {
	base := exampleFolder(t)
	old := mustLoad(t, base)
	for _, tt := range []struct {
		name, file, from, to string
		want                 []string
		rests                []string
	}{
		{"title", "programme.yaml", "title: ", "title: New ", []string{"title_changed"}, nil},
		{"a figure of a sheet that a critical step measures", "vehicles/flatbed.md", "| 110 |", "| 120 |", []string{"vehicle_figure_changed critical read 0"}, []string{"repack-hubs/tighten"}},
		{"one that nothing measures", "vehicles/flatbed.md", "60–70", "60–80", []string{"vehicle_figure_changed"}, nil},
		{"a sheet's text", "vehicles/flatbed.md", "One axle", "An axle", []string{"vehicle_background_changed"}, nil},
		{"an order of a sheet", "vehicles/flatbed.md", "[LR, RR]}", "[RR, LR]}", []string{"vehicle_order_changed critical read 0"},
			[]string{"repack-hubs/cap", "repack-hubs/pack", "repack-hubs/pin", "repack-hubs/play", "repack-hubs/rotor", "repack-hubs/wipe"}},
		{"a drawing", "pictures/hub.svg", "</svg>", " </svg>", []string{"picture_changed"}, nil},
		{"a part of a drawing", "lessons/repack-hubs.md", "| 2 | Outer bearing |", "| 2 | Inner bearing |", []string{"row_changed"}, nil},
		{"a sum", "lessons/repack-hubs.md", "Took what is used up for what is left.", "Took the used part.", []string{"row_changed"}, nil},
		{"a translation", "lessons/es/repack-hubs.md", "\n# ", "\nTexto.\n\n# ", []string{"background_changed"}, nil},
		{"a wheel's step", "lessons/repack-hubs.md", "Set the end play", "Set end play", []string{"step_reworded critical read 14"}, []string{"repack-hubs/play"}},
		{"a parent of critical steps", "lessons/repack-hubs.md", "Service this hub", "Serve this hub", []string{"step_reworded critical read 14"}, []string{"repack-hubs/hub"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := mustLoad(t, edited(t, base, tt.file, tt.from, tt.to))
			got := Diff(old, p)
			if !slices.Equal(saidAll(got), tt.want) {
				t.Fatalf("got %q, want %q", saidAll(got), tt.want)
			}
			if !slices.Equal(got[0].Rests, tt.rests) {
				t.Errorf("rests: got %v, want %v", got[0].Rests, tt.rests)
			}
			if back := Diff(p, old); len(back) != len(got) {
				t.Errorf("back: got %q", saidAll(back))
			}
		})
	}
}

// checkDiff holds what is true of any two programmes.
func checkDiff(t *rapid.T, old, new *Programme) []Change {
	got := Diff(old, new)
	if (len(got) == 0) != (old.Edition == new.Edition) {
		t.Fatalf("editions %.8s, %.8s: %q", old.Edition, new.Edition, saidAll(got))
	}
	for _, l := range new.Lessons {
		before := old.Lesson(l.ID, "")
		if before == nil {
			continue
		}
		asked := slices.ContainsFunc(got, func(c Change) bool { return c.File == l.File && c.Ask.AtLeast(AskRead) })
		if asked != MateriallyChanged(before, l) {
			t.Fatalf("%s: materially changed %v, but %q", l.ID, !asked, saidAll(got))
		}
	}
	for _, c := range got {
		if c.Ask == AskNothing && c.Within != 0 || c.Ask != AskNothing && c.Weight == "" {
			t.Fatalf("%+v", c)
		}
	}
	return got
}

// backgrounds are passages of the example on which nothing rests.
var backgrounds = []struct{ file, text string }{
	{"lessons/repack-hubs.md", "Tapered bearings take load from the side. That is why they come in pairs."},
	{"lessons/repack-hubs.md", "A quotation is reading matter too."},
	{"lessons/repack-hubs.md", "Old and new grease may not get on with each other."},
	{"lessons/repack-hubs.md", "Lift under the axle, never under the body."},
	{"lessons/repack-hubs.md", "A heading in other words is reading matter."},
	{"vehicles/flatbed.md", "One axle without brakes. All figures are invented."},
}

// TestDiffTouchesOnlyWhomItMust: random edits of background touch nobody; random figures on a sheet name exactly the steps
// that measure them; anything else that still loads asks for reading exactly where the lesson changed materially.
func TestDiffTouchesOnlyWhomItMust(t *testing.T) {
	base := exampleFolder(t)
	old := mustLoad(t, base)
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SampledFrom(backgrounds).Draw(t, "passage")
		words := strings.Fields(b.text)
		words[rapid.IntRange(0, len(words)-1).Draw(t, "word")] = rapid.StringMatching(`[a-z]{1,12}`).Draw(t, "instead")
		fsys := withText(base, b.file, b.text, strings.Join(words, " "))
		torque := rapid.Bool().Draw(t, "torque")
		if torque {
			fsys = withText(fsys, "vehicles/flatbed.md", "| 110 |", "| "+itoa(rapid.IntRange(111, 400).Draw(t, "value"))+" |")
		}
		p, problems := Load(fsys)
		if p == nil {
			t.Fatal(shows(problems))
		}
		var rests []string
		for _, c := range checkDiff(t, old, p) {
			if c.Ask != AskNothing {
				rests = append(rests, c.Vehicle+" "+c.Key+" "+strings.Join(c.Rests, " "))
			}
		}
		want := []string(nil)
		if torque {
			want = []string{"flatbed nut.torque repack-hubs/tighten"}
		}
		if !slices.Equal(rests, want) {
			t.Fatalf("got %q, want %q", rests, want)
		}
	})
}

// TestDiffOfAnyEdit cuts, doubles and swaps lines of the example's lesson at random.
func TestDiffOfAnyEdit(t *testing.T) {
	base := testFolder(map[string]string{"lessons/l.md": testFront + printsBody + "\n" +
		"## Faults\n\n| Symptom | Cause | Check that tells |\n|---|---|---|\n| s | c | k |\n| s | d | m |\n"})
	old := mustLoad(t, base)
	lines := strings.Split(string(base["lessons/l.md"].Data), "\n")
	loaded := 0
	rapid.Check(t, func(t *rapid.T) {
		now := slices.Clone(lines)
		for range rapid.IntRange(1, 3).Draw(t, "edits") {
			i, j := rapid.IntRange(7, len(now)-1).Draw(t, "line"), rapid.IntRange(7, len(now)-1).Draw(t, "other")
			switch rapid.IntRange(0, 3).Draw(t, "how") {
			case 0:
				now = slices.Delete(now, i, i+1)
			case 1:
				now[i], now[j] = now[j], now[i]
			case 2:
				now[i] = strings.NewReplacer("2.5", "3.5", " .hold", "", " .critical", "", "#look}", "#look .hold}", "comes", "goes").Replace(now[i])
			case 3:
				now[i] += " more"
			}
			if len(now) < 9 {
				return
			}
		}
		fsys := testFolder(map[string]string{"lessons/l.md": strings.Join(now, "\n")})
		if p, _ := Load(fsys); p != nil {
			loaded++
			checkDiff(t, old, p)
			checkDiff(t, p, old)
		}
	})
	if loaded < 10 {
		t.Errorf("only %d edits loaded", loaded)
	}
}

// withText is edited for passages that are known to be there.
func withText(fsys fstest.MapFS, file, from, to string) fstest.MapFS {
	out := fstest.MapFS{}
	for path, f := range fsys {
		out[path] = f
	}
	out[file] = &fstest.MapFile{Data: []byte(strings.Replace(string(fsys[file].Data), from, to, 1))}
	return out
}
