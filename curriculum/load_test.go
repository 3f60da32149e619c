package curriculum

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
)

// TestEditions works the editions out as contracts say: SHA-256 after CRLF→LF, and of "HEX  PATH\n" lines.
func TestEditions(t *testing.T) {
	lf, crlf := testFolder(nil), testFolder(nil)
	for _, f := range crlf {
		f.Data = []byte(strings.ReplaceAll(string(f.Data), "\n", "\r\n"))
	}
	var lines strings.Builder
	for _, path := range slices.Sorted(maps.Keys(lf)) {
		fmt.Fprintf(&lines, "%x  %s\n", sha256.Sum256(lf[path].Data), path)
	}
	want := fmt.Sprintf("%x", sha256.Sum256([]byte(lines.String())))
	a, b := mustLoad(t, lf), mustLoad(t, crlf)
	if a.Edition != want || b.Edition != want {
		t.Errorf("got %s and %s, want %s", a.Edition, b.Edition, want)
	}
	if a.Lessons[0].Edition != EditionOf(crlf["lessons/l.md"].Data) {
		t.Error("the lesson's edition depends on line ends")
	}
}

// TestRowsAreNumberedThrough reads two sections of one class.
func TestRowsAreNumberedThrough(t *testing.T) {
	l := mustLoad(t, lessonFolder("## Cautions\n"+table(cautionHead, "| a | b | c |", "| d {#x} | e | f |")+"\n## More {.cautions}\n"+table(cautionHead, "| g | h | i |"))).Lessons[0]
	var got []string
	for _, c := range l.Cautions {
		got = append(got, c.Element)
	}
	if want := []string{"cautions/1", "cautions/x", "cautions/3"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if s := l.Sections; len(s) != 2 || s[1].Class != "cautions" || s[1].Title != "More" || s[1].Anchor != "cautions-2" || s[1].Line != 13 {
		t.Errorf("got %+v", s)
	}
}

// TestHeadingWords knows the sections by their words in both languages, whatever their case.
func TestHeadingWords(t *testing.T) {
	for words, class := range headingWords {
		for _, w := range []string{words, strings.ToUpper(words[:1]) + words[1:], words + ":"} {
			d := parseMarkdown(newSource("l.md", []byte("## "+w+"\n")), []byte("## "+w+"\n"))
			d.findSections(&report{src: d.src})
			if got := d.sections[0].class; got != class {
				t.Errorf("%s: got %q, want %q", w, got, class)
			}
		}
	}
}

// TestAllProblemsAtOnce: problems of all files come together, sorted, and the same each time.
func TestAllProblemsAtOnce(t *testing.T) {
	fsys := testFolder(map[string]string{
		"programme.yaml": strings.Replace(testProgramme, "units: si", "units: metric", 1),
		"lessons/l.md":   testFront + "## Procedure\n1. A\n2. B {#b .x}\n",
		"vehicles/v.md":  strings.Replace(testVehicle, "N·m", "Nm", 1),
		"pictures/p.svg": "<svg/>",
	})
	p, problems := Load(fsys)
	if p != nil {
		t.Error("a programme in spite of errors")
	}
	var got []string
	for _, x := range problems {
		got = append(got, fmt.Sprintf("%s:%d:%d %s", x.File, x.Line, x.Column, x.Code))
	}
	want := []string{"lessons/l.md:8:4 step_without_id", "lessons/l.md:9:10 unknown_attribute", "pictures/p.svg:1:1 svg_unreadable",
		"programme.yaml:3:8 bad_choice", "vehicles/v.md:13:35 unknown_unit"}
	if !slices.Equal(got, want) {
		t.Errorf("got %s", strings.Join(got, "\n"))
	}
	if _, again := Load(fsys); shows(again) != shows(problems) {
		t.Error("another order the second time")
	}
}

// TestTranslations reads a lesson in another language and falls back to the original.
func TestTranslations(t *testing.T) {
	p := exampleProgramme(t)
	if l := p.Lesson("repack-hubs", "es"); l.Title != "Engrasar los rodamientos" || l.Procedure.Step("pack").Check[0].Plain() == "" {
		t.Errorf("got %+v", l)
	}
	if l := p.Lesson("repack-hubs", "fr"); l.Language != "en" {
		t.Errorf("got %s", l.Language)
	}
	if p.Lesson("nowhere", "es") != nil || p.Vehicle("nowhere") != nil || p.Task("nowhere") != nil || p.Blueprint("nowhere") != nil {
		t.Error("something for nothing")
	}
	if v := p.VehicleIn("tipper", "es"); v == nil || v.Title != "Tipping trailer" {
		t.Errorf("got %v", v)
	}
}
