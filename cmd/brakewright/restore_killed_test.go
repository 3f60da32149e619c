package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A restore that is killed at any moment leaves a whole database: the old one or the restored one. What else it leaves goes
// with the next restore.
func TestRestoreKilled(t *testing.T) {
	dir := t.TempDir()
	db, key, copied := filepath.Join(dir, "shop.db"), filepath.Join(dir, "shop.key"), filepath.Join(dir, "copy.db")
	secrets := `{"password":"` + testPassword + `","passphrase":"` + testPassphrase + `"}`
	must := func(args ...string) string {
		t.Helper()
		status, out, said := runHere(t, secrets, args...)
		if status != 0 {
			t.Fatalf("%v: %s", args, said)
		}
		return out
	}
	must("init", "--database", db, "--key-file", key, "--origin", "example.org/killed", "--curriculum", "../../testdata/format", "--title", "Killed",
		"--zone", "America/Denver", "--person", "Ada Coordinator", "--login", "ada", "--secrets-file", "-")
	must("backup", "--database", db, "--out", copied)
	must("person", "add", "--database", db, "--key-file", key, "--as", "ada", "--secrets-file", "-", "--name", "Sam Wheelwright", "--login", "sam", "--role", "apprentice")
	whole, err := os.ReadFile(db)
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	ends, leftovers := map[string]int{}, 0
	for lines := 0; ; lines++ {
		here := filepath.Join(t.TempDir(), "shop.db")
		if err := os.WriteFile(here, whole, 0o600); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(self, "restore", "--from", copied, "--database", here, "--force")
		cmd.Env = append(os.Environ(), asCommand+"=1")
		said, err := cmd.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		progress := bufio.NewScanner(said)
		seen := 0
		for seen < lines && progress.Scan() {
			seen++
		}
		done := seen < lines // it said less: it came to its end
		if !done {
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
		err = cmd.Wait()
		if done && err != nil {
			t.Fatal(err)
		}
		out := must("verify", "--database", here, "--key-file", key)
		switch {
		case strings.Contains(out, "ok     entries: 6\n"):
			ends["old"]++
		case strings.Contains(out, "ok     entries: 4\n"):
			ends["restored"]++
		default:
			t.Fatalf("killed after %d lines:\n%s", seen, out)
		}
		must("person", "list", "--database", here, "--key-file", key)
		if left := hidden(t, filepath.Dir(here)); len(left) > 0 {
			leftovers++
			must("restore", "--from", copied, "--database", here, "--force")
			if left := hidden(t, filepath.Dir(here)); len(left) > 0 {
				t.Errorf("still there: %v", left)
			}
			must("verify", "--database", here, "--key-file", key)
		}
		if done {
			break
		}
	}
	if leftovers == 0 {
		t.Error("no killed restore left anything behind")
	}
	if ends["old"] == 0 || ends["restored"] == 0 {
		t.Errorf("%v", ends)
	}
}

// hidden are the names in a folder that begin with a dot.
func hidden(t *testing.T, dir string) (names []string) {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(dir, ".*"))
	if err != nil {
		t.Fatal(err)
	}
	return all
}
