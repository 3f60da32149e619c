package curriculum

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
)

// hostileBodies are Markdown bodies that make parsers slow or deep.
func hostileBodies(n int) map[string]string {
	// Blank lines now and then keep the blocks under their own limit.
	lines := func(s string) string {
		block := strings.Repeat(s, 90000/len(s)) + "\n\n"
		return strings.Repeat(block, n/len(block))
	}
	return map[string]string{
		"brackets":        lines("[a](b [ \n"),
		"open brackets":   lines("[[[[[[[[[[[[[[[[[[[[[[[[[[[\n"),
		"images":          lines("![![![![![![![![![\n"),
		"stars":           lines("*a **b _c __d ***e \n"),
		"stars only":      lines("**************** \n"),
		"underscores":     lines("_a__b_c \n"),
		"backticks":       lines("` `` ``` ```` `a\n"),
		"quotes":          lines("> > > > > a\n"),
		"lists":           lines("- - - - a\n"),
		"numbered":        lines("1. 1. 1. a\n"),
		"steps":           "## Procedure\n" + lines("1. a {#a}\n"),
		"attributes":      "## Procedure\n1. " + strings.Repeat("{#", 2000) + "}\n" + lines("- {#x {#x {#x {#x}\n"),
		"tables":          "## Cautions\n| Hazard | Consequence | Control |\n|---|---|---|\n" + lines("| a | b | c |\n"),
		"wide table":      lines("|a") + "\n" + lines("|-") + "\n",
		"pipes":           lines("\\|`\\|`|\n"),
		"rules":           lines("a\n-|-\n"),
		"definitions":     "## Terms\n" + lines("a\n: b\n\n"),
		"footnotes":       lines("[^a]: b\n\n[^a]\n\n"),
		"link references": lines("[a]: b\n"),
		"references":      lines("[a][b][c]\n"),
		"headings":        lines("## Faults\n"),
		"html":            lines("<a <b <!-- \n"),
		"entities":        lines("&amp;&#x41;&nosuch;\\&\n"),
		"addresses":       lines("http://a.b/c(d "),
		"emails":          lines("a.b.c.d@e.f.g.\n"),
		"tildes":          lines("~~a ~b~ \n"),
		"sums":            "## Arithmetic\n" + lines("```sum\nask: a\n```\n"),
		"one paragraph":   lines("word word. "),
		"misbeliefs":      "## Misbeliefs\n" + lines("- **Said:** a **In fact:** b\n"),
		"pictures":        "## Pictures\n" + lines("![a](b.svg)\n"),
		"indent":          strings.Repeat(" ", n/2) + "a",
		"staircase":       staircase(n),
	}
}

// staircase nests a list deeper line by line.
func staircase(n int) string {
	var b strings.Builder
	for i := 0; b.Len() < n; i++ {
		b.WriteString(strings.Repeat("  ", i) + "- a\n")
	}
	return b.String()
}

// TestHostileLessons: nothing that fits the size limit hangs or panics. What would hang is ended by the time that all tests of a
// package have.
func TestHostileLessons(t *testing.T) {
	n := 300 << 10
	if soak() {
		n = maxTextBytes - 1000
	}
	for name, body := range hostileBodies(n) {
		t.Run(name, func(t *testing.T) {
			Lint(lessonFolder(body))
		})
	}
}

// TestHostileYAML does the same for programme.yaml and front matter.
func TestHostileYAML(t *testing.T) {
	lines := func(s string) string { return strings.Repeat(s, (300<<10)/len(s)) }
	for name, text := range map[string]string{
		"flow":        lines("[[[[[[[["),
		"flow lines":  lines("[\n"),
		"maps":        lines("{a: "),
		"dashes":      strings.Repeat("- ", 30000),
		"questions":   strings.Repeat("? ", 30000),
		"staircase":   staircase(300 << 10),
		"keys":        lines("a: b\n"),
		"many keys":   manyKeys(20000),
		"aliases":     "a: &a [x,x,x,x,x,x,x,x,x]\nb: &b [*a,*a,*a,*a,*a,*a,*a]\nc: [*b,*b,*b,*b,*b,*b,*b]\n",
		"anchors":     lines("&a "),
		"tags":        lines("!!x "),
		"quotes":      "title: \"" + lines("\\x41"),
		"folded":      "title: >\n" + lines("  a\n"),
		"comments":    lines("# a\n"),
		"documents":   lines("---\n"),
		"long values": "languages: [" + lines("a,\n") + "]",
	} {
		t.Run(name, func(t *testing.T) {
			Lint(testFolder(map[string]string{"programme.yaml": text, "lessons/l.md": "---\n" + strings.ReplaceAll(text, "---", "-") + "\n---\n"}))
		})
	}
}

func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "k%d: v\n", i)
	}
	return b.String()
}

// TestHostileTables: a wide table with many short rows would be filled up to millions of cells.
func TestHostileTables(t *testing.T) {
	wide := strings.Repeat("|a", 16000) + "\n" + strings.Repeat("|-", 16000) + "\n" + strings.Repeat("a\n", 10000)
	fits := strings.Repeat("|a", 40) + "\n" + strings.Repeat("|-", 40) + "\n" + strings.Repeat("a\n", 40000)
	for _, body := range []string{wide, "> " + strings.ReplaceAll(wide, "\n", "\n> "), fits} {
		Lint(lessonFolder(body))
	}
}

// TestHostileFolders: files that are not what they seem are left alone, and too many of them are refused.
func TestHostileFolders(t *testing.T) {
	many := testFolder(nil)
	for i := range maxFiles + 1 {
		many[fmt.Sprintf("pictures/p%d.svg", i)] = &fstest.MapFile{Data: []byte(goodSVG)}
	}
	large := testFolder(nil)
	for i := range 40 {
		large[fmt.Sprintf("pictures/p%d.svg", i)] = &fstest.MapFile{Data: bytes.Repeat([]byte(" "), 1<<20)}
	}
	deepSVG := `<svg xmlns="http://www.w3.org/2000/svg">` + strings.Repeat("<g>", 200) + strings.Repeat("</g>", 200) + "</svg>"
	var misses strings.Builder
	misses.WriteString("## Figures\n" + figureHead + "\n|---|---|---|---|---|\n")
	for i := range 1200 {
		fmt.Fprintf(&misses, "| a%d | x | mm | | s |\n", i)
	}
	bad := lessonFolder(misses.String())
	for code, fsys := range map[string]fstest.MapFS{
		"too_many_files":    many,
		"folder_too_large":  large,
		"svg_too_large":     pictureFolder("", deepSVG),
		"too_many_problems": bad,
	} {
		p, problems := Load(fsys)
		if p != nil || !strings.Contains(shows(problems), " "+code+" ") {
			t.Errorf("%s: got %v, %s", code, p, cut(shows(problems), 300))
		}
	}
}

// TestOtherFilesAreIgnored: links, folders with the names of files, other endings and deeper folders do not count.
func TestOtherFilesAreIgnored(t *testing.T) {
	plain := mustLoad(t, testFolder(nil))
	dir := t.TempDir()
	for path, file := range testFolder(nil) {
		if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(path)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, path), file.Data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	secret := filepath.Join(t.TempDir(), "secret.md")
	if err := os.WriteFile(secret, []byte("secret"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, link := range []string{"lessons/link.md", "pictures"} {
		if err := os.Symlink(filepath.Dir(secret), filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(secret, filepath.Join(dir, "lessons/file.md")); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"README.md", "lessons/notes.txt", "lessons/x.md/y.md", "lessons/es/deep/z.md", "other/l.md", "lessons/L.MD"} {
		if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(path)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, path), []byte("no lesson"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, problems := Load(os.DirFS(dir))
	if got == nil || got.Edition != plain.Edition {
		t.Errorf("the edition changed: %s", shows(problems))
	}
	left := 0
	for _, p := range problems {
		if p.Code == "not_plain_file" {
			left++
		}
	}
	if left != 3 {
		t.Errorf("%d links are spoken of, want 3: %s", left, shows(problems))
	}
}

// TestNoFolder: a folder that is not there is a problem like any other.
func TestNoFolder(t *testing.T) {
	p, problems := Load(os.DirFS(filepath.Join(t.TempDir(), "nowhere")))
	if p != nil || len(problems) != 1 || problems[0].Code != "folder_unreadable" || strings.Contains(show(problems[0]), "nowhere") {
		t.Errorf("got %v, %s", p, shows(problems))
	}
}

// TestHostileMultiples: files that are harmless one by one and endless together.
func TestHostileMultiples(t *testing.T) {
	lessons := func(n int, body string) fstest.MapFS {
		out := testFolder(nil)
		for i := range n {
			front := strings.Replace(testFront, "id: l", fmt.Sprintf("id: l%d", i), 1)
			out[fmt.Sprintf("lessons/l%d.md", i)] = &fstest.MapFile{Data: []byte(front + body)}
		}
		return out
	}
	vehicles := func(fsys fstest.MapFS, n int) fstest.MapFS {
		for i := range n {
			text := strings.Replace(testVehicle, "id: v", fmt.Sprintf("id: v%d", i), 1)
			fsys[fmt.Sprintf("vehicles/v%d.md", i)] = &fstest.MapFile{Data: []byte(text)}
		}
		return fsys
	}
	var steps, links, sums, headings, formula strings.Builder
	steps.WriteString("## Procedure\n")
	for i := range maxSteps {
		fmt.Fprintf(&steps, "- a {#s%d each=\"wheel in bleed\"}\n", i)
	}
	links.WriteString("## Procedure\n")
	for i := range maxSteps {
		fmt.Fprintf(&links, "- [a](vehicle:rotor.{axle}.minimum) [b](vehicle:rotor.{axle}.no) {#s%d each=\"wheel\"}\n\n  %s\n\n", i, strings.Repeat("[c](vehicle:nut.torqu) ", 20))
	}
	formula.WriteString("a")
	for range 40 {
		formula.WriteString("+round(a*b)")
	}
	sums.WriteString("## Arithmetic\n")
	for range 400 {
		sums.WriteString("```sum\nask: x\ngiven:\n  a: {what: x, from: 1.0001, to: 1.0401, step: 0.0001}\n  b: {what: x, from: 1.0001, to: 1.0401, step: 0.0001}\nfind: " +
			formula.String() + "\nrounding: 1\ntolerance: 0\n```\n\n")
	}
	for range 30000 {
		headings.WriteString("## a\n\n")
	}
	tests := []struct {
		name, code string
		fsys       fstest.MapFS
	}{
		{"steps by sheets", "too_much_to_check", vehicles(lessons(40, steps.String()), 60)},
		{"links by sheets", "", vehicles(lessons(10, links.String()), 300)},
		{"sums", "too_much_to_check", lessons(1, sums.String())},
		{"headings", "", lessons(1, headings.String())},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			problems := Lint(tt.fsys)
			if tt.code != "" && !strings.Contains(shows(problems), " "+tt.code+" ") {
				t.Errorf("no %s in %s", tt.code, cut(shows(problems), 300))
			}
		})
	}
}
