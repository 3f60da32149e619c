package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"brakewright/server/acts"
	"brakewright/store/ledger"
)

// TestDevelopersTables keeps the tables in DEVELOPERS.md as the code has them; -update writes them anew.
func TestDevelopersTables(t *testing.T) {
	const path = "../../DEVELOPERS.md"
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	for marker, table := range map[string]string{"permissions": acts.PermissionMarkdown(), "entry types": ledger.TableMarkdown()} {
		begin := "<!-- " + marker + " -->\n"
		before, rest, found := strings.Cut(text, begin)
		old, after, closed := strings.Cut(rest, "<!-- end -->")
		if !found || !closed {
			t.Fatalf("DEVELOPERS.md has no place for %s", marker)
		}
		if old != table && !*update {
			t.Errorf("the table of %s is not what the code says: go test ./cmd/brakewright -run %s -update", marker, t.Name())
		}
		text = before + begin + table + "<!-- end -->" + after
	}
	if *update {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// TestDocumentsPointSomewhere: every relative link and picture of the documents is there, and every command and flag
// that they show exists.
func TestDocumentsPointSomewhere(t *testing.T) {
	for _, name := range []string{"README.md", "DEVELOPERS.md"} {
		b, err := os.ReadFile(filepath.Join("../..", name))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`\]\(([^)#]+)\)|src="([^"]+)"`).FindAllStringSubmatch(string(b), -1) {
			to := m[1] + m[2]
			if strings.Contains(to, "://") {
				continue
			}
			if _, err := os.Stat(filepath.Join("../..", to)); err != nil {
				t.Errorf("%s points to %s, which is not there", name, to)
			}
		}
		text := strings.ReplaceAll(string(b), "\\\n", " ")
		for _, m := range regexp.MustCompile(`(?m)(?:bin/)?brakewright ((?:[a-z]+ )*)[^\n]*?((?:--[^\n\x60#]*)?)(?:[\x60#\n])`).FindAllStringSubmatch(text, -1) {
			words := strings.Fields(m[1])
			if len(words) == 0 {
				continue
			}
			cmd, _, err := newRoot().Find(words)
			if err != nil || cmd.Name() == "brakewright" {
				continue // prose that goes on after the name
			}
			for _, flag := range regexp.MustCompile(`--([a-z-]+)`).FindAllStringSubmatch(m[0], -1) {
				if cmd.Flags().Lookup(flag[1]) == nil && flag[1] != "help" {
					t.Errorf("%s shows %s with --%s, which it does not have", name, cmd.CommandPath(), flag[1])
				}
			}
		}
	}
}
