package curriculum

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
)

const codesBegin, codesEnd = "<!-- codes: written by go test ./curriculum -run Authors -update -->\n", "<!-- end of codes -->\n"

// TestAuthorsPage keeps the table of problem codes on the page for authors.
func TestAuthorsPage(t *testing.T) {
	b, err := os.ReadFile("AUTHORS.md")
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(b), codesBegin)
	_, tail, ok2 := strings.Cut(rest, codesEnd)
	if !ok || !ok2 {
		t.Fatal("AUTHORS.md has lost the marks around its table")
	}
	var table strings.Builder
	table.WriteString("\n| code | | example |\n|---|---|---|\n")
	for _, c := range Codes() {
		if c.Example == "" {
			t.Errorf("%s has no example", c.Code)
		}
		fmt.Fprintf(&table, "| %s | %s | %s |\n", c.Code, c.Severity, strings.ReplaceAll(c.Example, "|", `\|`))
	}
	want := head + codesBegin + table.String() + "\n" + codesEnd + tail
	if *update {
		if err := os.WriteFile("AUTHORS.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if string(b) != want {
		t.Error("the table of codes in AUTHORS.md is old; run go test ./curriculum -run Authors -update")
	}
}

// TestAuthorsExamples reads the page's own examples as a programme.
func TestAuthorsExamples(t *testing.T) {
	b, err := os.ReadFile("AUTHORS.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile("(?s)````markdown\n(.*?)````").FindAllStringSubmatch(string(b), -1)
	if len(blocks) != 3 {
		t.Fatalf("%d examples, want lesson, sum and sheet", len(blocks))
	}
	programme := regexp.MustCompile("(?s)```yaml\n(title:.*?)```").FindStringSubmatch(string(b))
	if programme == nil {
		t.Fatal("no example of programme.yaml")
	}
	lesson := blocks[0][1] + "\n## Arithmetic\n\n" + blocks[1][1]
	fsys := testFolder(map[string]string{
		"programme.yaml": programme[1],
		"lessons/l.md":   lesson,
		"lessons/m.md":   "---\nid: make-safe\ntitle: Safe\nlanguage: en\ntasks: [safe]\n---\n",
		"vehicles/v.md":  blocks[2][1],
	})
	if problems := Lint(fsys); len(problems) > 0 {
		t.Error(shows(problems))
	}
}

// TestStarter: the lesson to start from loads without a word, in whatever folder it is put.
func TestStarter(t *testing.T) {
	id := StarterID("  Fit a Dráin — Hose! ")
	if id != "fit-a-dráin-hose" || StarterID(" —! ") != "" {
		t.Fatalf("got %q", id)
	}
	fsys := testFolder(map[string]string{"lessons/new.md": Starter(id, "en", "t")})
	fsys["programme.yaml"].Data = []byte(strings.Replace(string(fsys["programme.yaml"].Data), "lessons: [l]", "lessons: [l, "+id+"]", 1))
	if problems := Lint(fsys); len(problems) > 0 {
		t.Error(shows(problems))
	}
}
