package main

import (
	"bytes"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"brakewright/curriculum"
	"brakewright/server/schemas"
)

// fits holds a JSON text against a published schema.
func fits(t *testing.T, name string, text []byte) {
	t.Helper()
	b, err := schemas.FS.ReadFile(name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	fitsSchema(t, compiled(t, name, b), name, text)
}

// compiled reads a schema.
func compiled(t *testing.T, name string, b []byte) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func fitsSchema(t *testing.T, s *jsonschema.Schema, name string, text []byte) {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%s: %v in %s", name, err, text)
	}
	if err := s.Validate(v); err != nil {
		t.Errorf("%v\nin %s", err, text)
	}
}

// TestLintKeepsToItsSchema takes lines out of a good folder, one after the other, and lints what is left.
func TestLintKeepsToItsSchema(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS("../../testdata/format")); err != nil {
		t.Fatal(err)
	}
	problems, codes := 0, map[string]bool{}
	standard := sarifSchema(t)
	lint := func() {
		t.Helper()
		_, out, said := runHere(t, "", "lint", dir, "--format", "json")
		for line := range strings.Lines(out) {
			fits(t, "problem-1", []byte(line))
			problems++
			codes[line[strings.Index(line, `"code"`):strings.Index(line, `"message"`)]] = true
		}
		if n := strings.Count(out, `"severity":"error"`); !strings.HasPrefix(said, count(n, "error")+", ") {
			t.Errorf("%d errors, but it says %q", n, said)
		}
		_, sarif, _ := runHere(t, "", "lint", dir, "--format", "sarif")
		fitsSchema(t, standard, "sarif", []byte(sarif))
		if n := strings.Count(sarif, `"ruleId"`); n != strings.Count(out, "\n") {
			t.Errorf("%d results as sarif, %d as JSON", n, strings.Count(out, "\n"))
		}
	}
	step := 5
	if soak() {
		step = 1
	}
	for _, name := range []string{"programme.yaml", "lessons/make-safe.md", "lessons/repack-hubs.md", "vehicles/tipper.md"} {
		path := filepath.Join(dir, name)
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		lines := bytes.SplitAfter(b, []byte("\n"))
		for i := 0; i < len(lines); i += step {
			without := bytes.Join(append(append([][]byte{}, lines[:i]...), lines[i+1:]...), nil)
			if err := os.WriteFile(path, without, 0o600); err != nil {
				t.Fatal(err)
			}
			lint()
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if problems < 50 || len(codes) < 5 {
		t.Errorf("only %d problems of %d codes were seen", problems, len(codes))
	}
}

// sarifSchema is the standard's own schema; see testdata/sarif.
func sarifSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	b, err := os.ReadFile("testdata/sarif/sarif-schema-2.1.0.json")
	if err != nil {
		t.Fatal(err)
	}
	return compiled(t, "sarif-schema-2.1.0", b)
}

// TestSARIFKeepsToTheStandard: what the schema leaves to the standard's words (§3.27.6: an index leads to the rule named; §3.4.3: a path is a
// relative reference by RFC 3986; §3.30: lines and columns count from 1), and that the schema is asked at all.
func TestSARIFKeepsToTheStandard(t *testing.T) {
	odd := curriculum.Problem{File: "lessons/a b: \u00fc#?%.md", Line: 3, Column: 7, Severity: curriculum.Error, Code: "nul_byte"}
	whole := curriculum.Problem{File: "programme.yaml", Severity: curriculum.Warning, Code: "file_unused"}
	again := curriculum.Problem{File: "lessons/a.md", Line: 1, Column: 1, Severity: curriculum.Error, Code: "nul_byte"}
	s := sarifSchema(t)
	for _, problems := range [][]curriculum.Problem{nil, {odd}, {odd, whole, again}} {
		var b bytes.Buffer
		if err := writeSARIF(&b, problems); err != nil {
			t.Fatal(err)
		}
		fitsSchema(t, s, "sarif", b.Bytes())
		run := sarifOf(problems).Runs[0]
		if len(run.Results) != len(problems) {
			t.Errorf("%d results of %d problems", len(run.Results), len(problems))
		}
		for i, r := range run.Results {
			place := r.Locations[0].PhysicalLocation
			u, err := url.Parse(place.ArtifactLocation.URI)
			if err != nil || u.IsAbs() || strings.TrimPrefix(u.Path, "./") != problems[i].File || u.RawQuery+u.Fragment != "" {
				t.Errorf("%q leads elsewhere: %v, %v", place.ArtifactLocation.URI, u, err)
			}
			if run.Tool.Driver.Rules[r.RuleIndex].ID != r.RuleID || r.RuleID != problems[i].Code {
				t.Errorf("rule %d is not %s", r.RuleIndex, r.RuleID)
			}
			if g := place.Region; (g == nil) != (problems[i].Line == 0) || g != nil && (g.StartLine != problems[i].Line || g.StartColumn != problems[i].Column) {
				t.Errorf("region %v of %+v", g, problems[i])
			}
		}
	}
	for _, bad := range []string{`{}`, `{"version":"2.1.0","runs":[{}]}`, `{"version":"2.1.0","runs":[{"tool":{"driver":{"name":"x"}},"results":[{"level":"error"}]}]}`} {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(bad))
		if err != nil {
			t.Fatal(err)
		}
		if s.Validate(v) == nil {
			t.Errorf("%s passes", bad)
		}
	}
}

// TestQuizAndMarkKeepToTheirSchemas makes forms by every kind of request and marks them.
func TestQuizAndMarkKeepToTheirSchemas(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	answers := file("answers.json", `{"format":"brakewright-answers/1","answers":{}}`)
	for i, args := range [][]string{
		{"--lesson", "drums"}, {"--task", "caliper", "--vehicle", "trainer-a", "--questions", "40"}, {"--blueprint", "bleed-theory", "--number", "2"},
		{"--family", "arithmetic"}, {"--family", "vehicle-order"}, {"--curriculum", "../../testdata/format", "--language", "es"},
	} {
		status, form, said := runHere(t, "", append([]string{"quiz", "--format", "json"}, args...)...)
		if status != 0 {
			t.Fatalf("%v: %d %s", args, status, said)
		}
		fits(t, "form-1", []byte(form))
		path := file("form.json", form)
		voided := file("voided.json", `{"format":"brakewright-voided/1","voided":[]}`)
		if ids := regexp.MustCompile(`"id": "([0-9a-f]{16})"[^}]*?"lesson": "([^"]+)"`).FindStringSubmatch(form); ids != nil {
			voided = file("voided.json", `{"format":"brakewright-voided/1","voided":[{"question":"`+ids[1]+`","lesson":"`+ids[2]+`"}]}`)
		}
		status, marks, said := runHere(t, "", "mark", "--form", path, "--answers", answers, "--voided", voided, "--format", "json")
		if status != 0 {
			t.Fatalf("%v: %d %s", args, status, said)
		}
		fits(t, "marks-1", []byte(marks))
		if got := strings.Contains(marks, `"voided": true`); got != (strings.Contains(form, `"stem"`)) {
			t.Errorf("%d: voided: %v", i, got)
		}
	}
}

func TestVerifyKeepsToItsSchema(t *testing.T) {
	dir := t.TempDir()
	db, key := filepath.Join(dir, "shop.db"), filepath.Join(dir, "shop.key")
	status, _, said := runHere(t, `{"password":"`+testPassword+`","passphrase":"`+testPassphrase+`"}`, "init",
		"--database", db, "--key-file", key, "--origin", "example.org/shapes", "--curriculum", "embedded", "--title", "Shapes",
		"--zone", "America/Denver", "--person", "Ada Coordinator", "--login", "ada", "--secrets-file", "-")
	if status != 0 {
		t.Fatal(said)
	}
	for _, args := range [][]string{
		{"verify", "--database", db, "--key-file", key}, {"verify", "--database", db}, {"verify", "--database", db, "--only", "ledger"},
		{"rebuild", "--database", db, "--check"}, {"restore", "--from", db, "--database", db + ".copy"},
	} {
		status, out, said := runHere(t, "", append(args, "--format", "json")...)
		if status != 0 {
			t.Errorf("%v: %d %s", args, status, said)
		}
		fits(t, "verification-1", []byte(out))
	}
	status, out, said := runHere(t, "", "person", "list", "--database", db, "--key-file", key, "--format", "json")
	ids := regexp.MustCompile(`"id": *"([^"]+)"`).FindStringSubmatch(out)
	if status != 0 || ids == nil {
		t.Fatal(out, said)
	}
	if status, _, said := runHere(t, "", "bundle", "--database", db, "--key-file", key, "--person", ids[1], "--out", db+".json"); status != 0 {
		t.Fatal(said)
	}
	bundle, err := os.ReadFile(db + ".json")
	if err != nil {
		t.Fatal(err)
	}
	fits(t, "bundle-1", bundle)
	for _, args := range [][]string{{"--bundle", db + ".json"}, {"--bundle", db + ".json", "--key-file", key}} {
		status, out, said := runHere(t, "", append([]string{"verify", "--format", "json"}, args...)...)
		if status != 0 {
			t.Errorf("%v: %d %s", args, status, said)
		}
		fits(t, "verification-1", []byte(out))
	}
	if status, _, _ := runHere(t, "", "verify", "--bundle", db+".json", "--database", db); status != 2 {
		t.Errorf("a bundle and a database: %d", status)
	}
	b, err := os.ReadFile(db)
	if err != nil {
		t.Fatal(err)
	}
	bad := db + ".bad"
	if err := os.WriteFile(bad, bytes.ReplaceAll(b, []byte(`"title":"Shapes"`), []byte(`"title":"Shakes"`)), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, _ = runHere(t, "", "verify", "--database", bad, "--format", "json")
	if status != 1 || !strings.Contains(out, `"ok": false`) {
		t.Errorf("tampered: %d %s", status, out)
	}
	fits(t, "verification-1", []byte(out))
}
