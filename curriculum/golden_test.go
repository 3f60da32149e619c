package curriculum

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write golden files and the table of AUTHORS.md anew")

// golden compares got with testdata/NAME, or writes it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		g, w := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
		for i := range max(len(g), len(w)) {
			var a, b string
			if i < len(g) {
				a = g[i]
			}
			if i < len(w) {
				b = w[i]
			}
			if a != b {
				t.Fatalf("%s differs in line %d:\n got %q\nwant %q", path, i+1, a, b)
			}
		}
	}
}

func pictureAt(path string) string { return "/pictures/" + path }

func exampleProgramme(t testing.TB) *Programme {
	t.Helper()
	p, problems := Load(os.DirFS("../testdata/format"))
	if len(problems) > 0 {
		t.Fatalf("the example is not clean: %s", shows(problems))
	}
	return p
}

// TestExampleIsClean lints the complete example of the format.
func TestExampleIsClean(t *testing.T) {
	if problems := Lint(os.DirFS("../testdata/format")); len(problems) > 0 {
		t.Errorf("got %s", shows(problems))
	}
}

// TestExampleStructure compares everything read from the example with its golden dump.
func TestExampleStructure(t *testing.T) {
	p := exampleProgramme(t)
	prints := map[string]map[string]string{}
	for _, l := range p.Lessons {
		prints[l.ID] = l.Fingerprints()
	}
	for name, v := range map[string]any{"format.json": dump(p), "fingerprints.json": prints} {
		b, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		golden(t, name, append(b, '\n'))
	}
}

// TestExamplePages compares the example's pages with their golden files.
func TestExamplePages(t *testing.T) {
	p := exampleProgramme(t)
	for _, l := range p.Lessons {
		golden(t, "pages/"+l.ID+".html", []byte(l.HTML(nil, p.Units, pictureAt)))
		for _, v := range p.Vehicles {
			golden(t, "pages/"+l.ID+"-"+v.ID+".html", []byte(l.HTML(v, p.Units, pictureAt)))
		}
	}
	es := p.Lesson("repack-hubs", "es")
	golden(t, "pages/repack-hubs-es.html", []byte(es.HTML(p.Vehicle("tipper"), "us", pictureAt)))
	for _, v := range p.Vehicles {
		golden(t, "pages/"+v.ID+".html", []byte(v.HTML("us", pictureAt)))
	}
}

// TestPagesAreRepeatable renders from many goroutines at once; -race sees whether a page writes to the shared tree.
func TestPagesAreRepeatable(t *testing.T) {
	p := exampleProgramme(t)
	l, v := p.Lessons[1], p.Vehicles[1]
	want := l.HTML(v, "us", pictureAt)
	done := make(chan bool)
	for range 8 {
		go func() { done <- l.HTML(v, "us", pictureAt) == want && v.HTML("us", pictureAt) != "" }()
	}
	for range 8 {
		if !<-done {
			t.Error("a page differs from itself")
		}
	}
}

// dumpStep is a step without its pointers.
type dumpStep struct {
	*Step
	Parent   string `json:",omitempty"`
	Children []string
	Comes    []string // the steps it comes after
}

func dump(p *Programme) any {
	type lesson struct {
		*Lesson
		Procedure []dumpStep
		Sheets    map[string][]string
		Prints    map[string]string
	}
	lessons := func(ls []*Lesson) (out []lesson) {
		for _, l := range ls {
			d := lesson{Lesson: l, Sheets: map[string][]string{}, Prints: l.Fingerprints()}
			if l.Procedure != nil {
				for _, s := range l.Procedure.Steps {
					x := dumpStep{Step: s}
					if s.Parent != nil {
						x.Parent = s.Parent.ID
					}
					for _, c := range s.Children {
						x.Children = append(x.Children, c.ID)
					}
					for _, o := range l.Procedure.Steps {
						if l.Procedure.Before(o.ID, s.ID) {
							x.Comes = append(x.Comes, o.ID)
						}
					}
					d.Procedure = append(d.Procedure, x)
				}
				keys := func(name string, v *Vehicle) {
					for _, s := range l.Sheet(v).Steps {
						d.Sheets[name] = append(d.Sheets[name], s.Key)
					}
				}
				keys("", nil)
				for _, v := range p.Vehicles {
					keys(v.ID, v)
				}
			}
			out = append(out, d)
		}
		return out
	}
	var files []string
	for _, f := range p.Files {
		files = append(files, f.Path)
	}
	translated := map[string][]lesson{}
	for language, ls := range p.Translated {
		translated[language] = lessons(ls)
	}
	var pictures []string
	for _, path := range sortedKeys(p.Pictures) {
		pictures = append(pictures, path+" "+strings.Join(p.Pictures[path].Numbers, " "))
	}
	return map[string]any{"Title": p.Title, "Languages": p.Languages, "Units": p.Units, "Tasks": p.Tasks, "Policy": p.Policy,
		"PolicyYAML": string(p.PolicyYAML), "Blueprints": p.Blueprints, "Lessons": lessons(p.Lessons), "Translated": translated,
		"Vehicles": p.Vehicles, "Pictures": pictures, "Files": files, "Edition": p.Edition}
}
