package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"brakewright/server/schemas"
)

// fits holds a JSON text against a published schema.
func fits(t *testing.T, name string, text []byte) {
	t.Helper()
	b, err := schemas.FS.ReadFile(name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
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
