package curriculum

import (
	"io/fs"
	"math/big"
	"os"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"
)

// seedFiles adds every file of the example with this ending.
func seedFiles(f *testing.F, ending string) {
	f.Helper()
	root := os.DirFS("../testdata/format")
	err := fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ending) {
			return err
		}
		b, err := fs.ReadFile(root, path)
		f.Add(string(b))
		return err
	})
	if err != nil {
		f.Fatal(err)
	}
}

// FuzzLesson: any lesson loads or is refused; what loads renders, lays out and answers for its passages, and is the
// same when it is read again.
func FuzzLesson(f *testing.F) {
	seedFiles(f, ".md")
	for _, c := range problemCases() {
		if l, ok := c.fs["lessons/l.md"]; ok && len(l.Data) < 10000 {
			f.Add(strings.ReplaceAll(string(l.Data), "§", ""))
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		fsys := testFolder(map[string]string{"lessons/l.md": text, "vehicles/w.md": text})
		problems := Lint(fsys)
		p, again := Load(fsys)
		if p == nil && !HasErrors(again) {
			t.Fatal("no programme and no error")
		}
		for _, x := range problems {
			if x.Line < 1 || x.Column < 1 || x.File == "" {
				t.Fatalf("no place: %s", show(x))
			}
		}
		whole := read(testFolder(map[string]string{"lessons/l.md": text}))
		for _, lr := range whole.lessons {
			for _, v := range []*Vehicle{nil, whole.out.Vehicle("v")} {
				page := string(lr.l.HTML(v, "us", pictureAt))
				if bad := activeContent(page); bad != "" {
					t.Fatalf("active content %q in %q", bad, page)
				}
				if s := lr.l.Sheet(v); s != nil {
					for i := range s.Steps {
						for j := range i {
							if s.Before(i, j) {
								t.Fatalf("%s is listed before %s", s.Steps[j].Key, s.Steps[i].Key)
							}
						}
					}
				}
			}
			for element := range lr.l.Fingerprints() {
				lr.l.Passage(element)
			}
			if MateriallyChanged(lr.l, lr.l) {
				t.Fatal("a lesson differs from itself")
			}
		}
	})
}

// activeContent finds what no page of ours may hold. Text is escaped, so a tag can only come from the renderer.
func activeContent(page string) string {
	low := strings.ToLower(page)
	for _, bad := range []string{"<script", "<iframe", "<object", "<embed", "<svg", "<style", "<form", "<input", "<a href=\"javascript", "<a href=\"data", "<a href=\"vbscript", "<a href=\"file", "<img src=\"http", "<img src=\"//", "<img src=\"data"} {
		if strings.Contains(low, bad) {
			return bad
		}
	}
	return ""
}

// FuzzFormula: a formula compiles or is refused; what compiles gives a number within bounds or an error.
func FuzzFormula(f *testing.F) {
	for _, s := range []string{"a + b", "-a ^ 2", "sqrt(a) / pi", "min(a, b, 3)", "round(1.5)", "1e9", "a.b", "2 ^ 2 ^ 2 ^ 2", "((((a))))", "a ?? b", "let x = a; x", "#", "\"\""} {
		f.Add(s)
	}
	given := map[string]*big.Rat{"a": big.NewRat(7, 3), "b": big.NewRat(-2, 1)}
	f.Fuzz(func(t *testing.T, src string) {
		formula, err := CompileFormula(src, []string{"a", "b"})
		if err != nil {
			return
		}
		v, err := formula.Eval(given)
		if err == nil && new(big.Rat).Abs(v).Cmp(limit1e30) > 0 {
			t.Fatalf("%s = %s", src, v.FloatString(3))
		}
		if again, err2 := formula.Eval(given); (err == nil) != (err2 == nil) || err == nil && again.Cmp(v) != 0 {
			t.Fatalf("%s gives %v, then %v", src, v, again)
		}
		if given["a"].Cmp(big.NewRat(7, 3)) != 0 {
			t.Fatal("the given value was changed")
		}
	})
}

// FuzzSVG: a drawing is read or refused; what is let through holds none of the words that run or fetch.
func FuzzSVG(f *testing.F) {
	seedFiles(f, ".svg")
	for _, s := range []string{goodSVG, "<svg/>", `<svg xmlns="http://www.w3.org/2000/svg" onload="x"/>`, `<svg xmlns="http://www.w3.org/2000/svg"><style>a{b:url(x)}</style></svg>`,
		`<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>`, `<svg xmlns="http://www.w3.org/2000/svg"><a href="javascript:x"/></svg>`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		numbers, err := CheckSVG([]byte(text))
		if err != nil {
			if numbers != nil {
				t.Fatal("numbers beside an error")
			}
			if se, ok := err.(*SVGError); !ok || se.Line < 1 || se.Column < 1 {
				t.Fatalf("got %v", err)
			}
			return
		}
		low := strings.ToLower(text)
		for _, bad := range []string{"<script", "<foreignobject", "<!doctype", "<iframe"} {
			if i := strings.Index(low, bad); i >= 0 && !strings.Contains(low, "<!--") && !strings.Contains(low, "<![cdata[") {
				t.Fatalf("%s in a drawing that passed", bad)
			}
		}
	})
}

// FuzzProgramme: any programme.yaml is read or refused, and its policy block reads the same on its own.
func FuzzProgramme(f *testing.F) {
	seedFiles(f, ".yaml")
	for _, c := range problemCases() {
		if p, ok := c.fs["programme.yaml"]; ok {
			f.Add(strings.ReplaceAll(string(p.Data), "§", ""))
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, problems := Load(testFolder(map[string]string{"programme.yaml": text}))
		Lint(testFolder(map[string]string{"programme.yaml": text}))
		if p == nil {
			if !HasErrors(problems) {
				t.Fatal("no programme and no error")
			}
			return
		}
		if len(p.PolicyYAML) > 0 {
			var n yaml.Node
			if err := yaml.Load(p.PolicyYAML, &n); err != nil {
				t.Fatalf("the policy block does not stand alone: %v\n%s", err, p.PolicyYAML)
			}
		}
	})
}
