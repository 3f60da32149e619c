package main

import (
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// get reads a page for nobody in particular.
func get(t *testing.T, url string) (int, string) {
	t.Helper()
	resp, err := httpClient.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

func readCredentials(t *testing.T, path string) demoCredentials {
	t.Helper()
	var c demoCredentials
	b, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(b, &c)
	}
	if err != nil {
		t.Fatal(err)
	}
	fits(t, "credentials-1", b)
	return c
}

// TestDemo makes a demonstration, uses it as three people, reopens it, and sees that it is never served as real.
func TestDemo(t *testing.T) {
	dir := t.TempDir()
	db, file := filepath.Join(dir, "demo.db"), filepath.Join(dir, "people.json")
	p := start(t, "demo", "--database", db, "--listen", "127.0.0.1:0", "--seed", "7", "--as-of", "2031-03-14", "--credentials", file)
	c := readCredentials(t, file)
	if c.Address != p.address || len(c.People) != 18 {
		t.Fatalf("credentials: %s, %d people; the address is %s", c.Address, len(c.People), p.address)
	}
	for _, path := range []string{"/healthz", "/readyz", "/login"} {
		if status, body := get(t, p.address+path); status != http.StatusOK {
			t.Errorf("%s: %d %s", path, status, body)
		}
	}
	standings := map[string]bool{}
	var supervisor *client
	for _, who := range c.People {
		k := logIn(t, p.address, who.Login, who.Password)
		if today := k.must(t, "GET", "/me", nil)["today"]; today != "2031-03-14" {
			t.Errorf("%s: today is %v", who.Login, today)
		}
		switch who.Roles[0] {
		case "supervisor":
			supervisor = k
		case "coordinator":
			for _, row := range k.must(t, "GET", "/board?left=1", nil)["rows"].([]any) {
				for _, v := range row.(obj)["standings"].([]any) {
					standings[v.(obj)["standing"].(string)] = true
				}
			}
		}
	}
	for _, s := range []string{"untried", "building", "ready_for_decision", "cleared", "lapsed", "stood_down"} {
		if !standings[s] {
			t.Errorf("nobody is %s", s)
		}
	}
	var leaver string
	for _, who := range c.People {
		if who.Roles[0] == "apprentice" {
			leaver = who.ID
		}
	}
	reason := "Soft pedal on a released car."
	down := supervisor.must(t, "POST", "/stand-downs", obj{"apprentice": leaver, "reason": reason})
	if status := p.stop(t); status != 0 {
		t.Errorf("stopping: %d\n%s", status, p.log)
	}
	if strings.Contains(p.log.String(), reason) {
		t.Error("the log holds what somebody wrote")
	}

	// Reopened as it is: same people, same entries, and the clock goes on from there.
	p = start(t, "demo", "--database", db, "--listen", "127.0.0.1:0", "--credentials", file)
	again := readCredentials(t, file)
	if again.People[0].ID != c.People[0].ID || again.People[0].Password != c.People[0].Password {
		t.Errorf("reopened, %+v became %+v", c.People[0], again.People[0])
	}
	k := logIn(t, p.address, c.People[0].Login, c.People[0].Password)
	if today := k.must(t, "GET", "/me", nil)["today"]; today != "2031-03-14" {
		t.Errorf("reopened, today is %v", today)
	}
	page := k.must(t, "GET", "/ledger/entries?from="+jsonText(down["index"]), nil)
	if n := len(page["entries"].([]any)); n != 1 {
		t.Errorf("%d entries from the last one on", n)
	}
	p.stop(t)
	if status, out, said := runHere(t, "", "verify", "--database", db, "--key-file", db+".key"); status != 0 {
		t.Errorf("verify: %d\n%s%s", status, out, said)
	}

	// Its log-ins are known to everybody: serve refuses it.
	if status, _, said := runHere(t, "", "serve", "--database", db, "--key-file", db+".key", "--listen", "127.0.0.1:0"); status != 1 || !strings.Contains(said, "demonstration") {
		t.Errorf("serve: %d %s", status, said)
	}
}

func jsonText(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// TestServeRefuses: what cannot work is said in one sentence with its cure, before anything is served.
func TestServeRefuses(t *testing.T) {
	s, p := found(t, 1, 0)
	if status, _ := get(t, p.address+"/readyz"); status != http.StatusOK {
		t.Errorf("ready: %d", status)
	}
	dir := t.TempDir()
	missing := filepath.Join(dir, "missing")
	open := filepath.Join(dir, "open.key")
	b, err := os.ReadFile(s.keyFile)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(open, b, 0o644); err != nil { //nolint:gosec // that is the point
		t.Fatal(err)
	}
	if err := os.Chmod(open, 0o644); err != nil { // whatever the umask
		t.Fatal(err)
	}
	address := strings.TrimPrefix(p.address, "http://")
	for name, x := range map[string]struct {
		args []string
		says string
	}{
		"no database":      {[]string{"--database", missing, "--key-file", s.keyFile}, "there is no database"},
		"no key file":      {[]string{"--database", s.database, "--key-file", missing}, "there is no key file"},
		"open key file":    {[]string{"--database", s.database, "--key-file", open}, "chmod 600"},
		"no folder":        {[]string{"--database", s.database, "--key-file", s.keyFile, "--curriculum", missing}, "there is no folder"},
		"no certificate":   {[]string{"--database", s.database, "--key-file", s.keyFile, "--tls-cert", missing, "--tls-key", missing}, "TLS certificate"},
		"address is taken": {[]string{"--database", s.database, "--key-file", s.keyFile, "--listen", address}, "cannot listen on"},
		"not a database":   {[]string{"--database", open, "--key-file", s.keyFile}, "not a Brakewright database"},
	} {
		status, out, said := runHere(t, "", append([]string{"serve"}, x.args...)...)
		if status != 1 || out != "" || !strings.Contains(said, x.says) {
			t.Errorf("%s: status %d, said %q %q", name, status, out, said)
		}
	}
	if status := p.stop(t); status != 0 {
		t.Errorf("stopping: %d\n%s", status, p.log)
	}
}
