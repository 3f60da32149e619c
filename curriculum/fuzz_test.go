package curriculum

import (
	"encoding/xml"
	"fmt"
	"io"
	"io/fs"
	"math/big"
	"os"
	"slices"
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
		sameXML(t, text)
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

// sameXML holds our reader of XML against encoding/xml: what ours reads to the end, that one reads the same way.
func sameXML(t *testing.T, text string) {
	t.Helper()
	var ours []string
	x := xmlReader{src: []byte(text)}
	add := func(list []string, kind, what string) []string { // pieces of text that meet are one
		if kind == "text" && len(list) > 0 && strings.HasPrefix(list[len(list)-1], "text ") {
			list[len(list)-1] += what
			return list
		}
		return append(list, kind+" "+what)
	}
	for {
		tok := x.next()
		switch tok.kind {
		case xmlEOF:
		case xmlFault, xmlDoctype:
			return
		case xmlStart:
			for i, a := range tok.attributes { // encoding/xml gives their names as they are
				if a.name == (xmlName{"xmlns", ""}) {
					tok.attributes[i].name = xmlName{"", "xmlns"}
				}
			}
			ours = append(ours, fmt.Sprintf("start %s|%s", tok.name.space, tok.name.local))
			for _, a := range tok.attributes {
				ours = append(ours, fmt.Sprintf("attr %s|%s=%s", a.name.space, a.name.local, strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(a.value)))
			}
		case xmlEnd:
			ours = append(ours, "end")
		case xmlText:
			ours = add(ours, "text", strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(tok.text)))
		case xmlInstruction:
			ours = append(ours, "instruction "+string(tok.text))
		}
		if tok.kind == xmlEOF {
			break
		}
	}
	var theirs []string
	dec := xml.NewDecoder(strings.NewReader(text))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("ours reads what encoding/xml refuses: %v\n%q", err, text)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			theirs = append(theirs, fmt.Sprintf("start %s|%s", tok.Name.Space, tok.Name.Local))
			for _, a := range tok.Attr {
				theirs = append(theirs, fmt.Sprintf("attr %s|%s=%s", a.Name.Space, a.Name.Local, a.Value))
			}
		case xml.EndElement:
			theirs = append(theirs, "end")
		case xml.CharData:
			theirs = add(theirs, "text", string(tok))
		case xml.ProcInst:
			theirs = append(theirs, "instruction "+tok.Target)
		}
	}
	if !slices.Equal(ours, theirs) {
		t.Fatalf("ours %q\ntheirs %q\nof %q", ours, theirs, text)
	}
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

// FuzzYAML: what the short reader of YAML takes, the library reads the same way.
func FuzzYAML(f *testing.F) {
	seedFiles(f, ".yaml")
	for _, name := range []string{"../testdata/format", "testdata/evening-school", "brakes"} {
		p, _ := Load(os.DirFS(name))
		for _, file := range p.Files {
			if front, body, ok := splitFrontMatter(file.Bytes); ok {
				f.Add(string(front))
				for _, block := range strings.Split(string(body), "```sum\n")[1:] {
					text, _, _ := strings.Cut(block, "```")
					f.Add(text)
				}
			}
		}
	}
	for _, s := range []string{"a: b\n", "a: - b\n", "a:\n- b\n- c: d\n", "a: {b: c, d: [e, \"f\", 'g']}\n", "a: null\n", "a: ~\n", "a: b: c\n", "a: b\n  c\n", "a: 'b''c'\n", "a: [b, , c]\n", "a: [b,]\n",
		"é: b\n", "a: é {b: c}\n", "a: é\nb: [é, b]\n", "a: {é: b}\n", "a: b #c\n", "? a\n: b\n", "a: {b: c: d}\n", "a: [b: c]\n", "a: -1\n", "a: - 1\n", "a:\n  b: c\n d: e\n", "a: 1\na: 2\n", "a: <<\n<<: b\n", "a: =\n", "---\na: b\n",
		"a: b\n...\n", "a: \"b\" c\n", "a: [b] c\n", "true: y\n", "a: {b: 'c'd}\n", "a: (b, c)\n", "a: {b: (c, d)}\n", "a: -a\n", "a: {b: -a}\n", "- a\n- b\n", "a: .\n", "a:  b\n", "a: {b:  c ,d: e}\n", "a: [ b ]\n", "a: {b: \"c\",d: e}\n", "a: {b: c * d, e: f's, g: h\"i, j: k%, l: m!n|o>p@q`r&s\\t}\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, ok := plainYAML([]byte(text))
		if !ok {
			return
		}
		var doc yaml.Node
		if err := yaml.Load([]byte(text), &doc); err != nil {
			t.Fatalf("the library refuses %q: %v", text, err)
		}
		if doc.Kind != yaml.DocumentNode || len(doc.Content) != 1 {
			t.Fatalf("%q is %v", text, doc.Kind)
		}
		var same func(a, b *yaml.Node)
		same = func(a, b *yaml.Node) {
			if a.Kind != b.Kind || a.Value != b.Value || a.Line != b.Line || a.Column != b.Column || len(a.Content) != len(b.Content) ||
				isNullNode(a) != isNullNode(b) || a.Style&yaml.FlowStyle != b.Style&yaml.FlowStyle || b.Anchor != "" {
				t.Fatalf("%q: got %q at %d:%d, the library has %q at %d:%d (kinds %d and %d)", text, a.Value, a.Line, a.Column, b.Value, b.Line, b.Column, a.Kind, b.Kind)
			}
			for i := range a.Content {
				same(a.Content[i], b.Content[i])
			}
		}
		same(got, doc.Content[0])
	})
}

// TestPlainYAMLIsCommon: the short reader takes nearly all sums and front matter of real lessons, or it would be of no use.
func TestPlainYAMLIsCommon(t *testing.T) {
	taken, all := 0, 0
	for _, name := range []string{"brakes", "../testdata/format", "testdata/evening-school"} {
		p, _ := Load(os.DirFS(name))
		for _, file := range p.Files {
			front, body, ok := splitFrontMatter(file.Bytes)
			if !ok {
				continue
			}
			blocks := []string{string(front)}
			for _, block := range strings.Split(string(body), "```sum\n")[1:] {
				text, _, _ := strings.Cut(block, "```")
				blocks = append(blocks, text)
			}
			for _, b := range blocks {
				if all++; b != "" {
					if _, ok := plainYAML([]byte(b)); ok {
						taken++
					}
				}
			}
		}
	}
	if 10*taken < 9*all {
		t.Errorf("%d of %d blocks", taken, all)
	}
}
