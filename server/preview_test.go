package server

import (
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewright/curriculum/brakes"
)

// TestPreview writes a lesson as an author would: good, broken, mended.
func TestPreview(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, brakes.FS); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "lessons", "safety-induction.md")
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	write := func(b string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(strings.Replace(string(good), "{#", "{#!", 1))
	p, err := NewPreview(dir, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	get := func(path string, status int, want ...string) string {
		t.Helper()
		w := httptest.NewRecorder()
		p.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		body := w.Body.String()
		if w.Code != status {
			t.Fatalf("%s: status %d, %s", path, w.Code, body)
		}
		for _, x := range want {
			if !strings.Contains(body, x) {
				t.Errorf("%s lacks %q", path, x)
			}
		}
		if got := w.Header().Get("Content-Security-Policy"); got == "" {
			t.Errorf("%s has no content policy", path)
		}
		return body
	}
	get("/", 200, "The folder has errors.", "lessons/safety-induction.md, line", "How to mend it")
	get("/lessons/safety-induction", 303)

	write(string(good))
	state := get("/state", 200)
	if len(state) != 64 || get("/state", 200) != state {
		t.Errorf("state %q", state)
	}
	if got := get("/", 200, "/lessons/safety-induction", "/vehicles/", "questions without a vehicle", `data-state="`+state+`"`); strings.Contains(got, "has errors") {
		t.Error("a good folder is said to have errors")
	}
	get("/lessons/safety-induction", 200, "What it asks", `class="plain right-key"`, "/static/preview.js")
	vehicle := vehicleOf(t)
	get("/lessons/safety-induction?vehicle="+vehicle, 200, `value="`+vehicle+`" selected`)
	get("/vehicles/"+vehicle, 200, "Hydraulic layout")
	get("/lessons/none", 404)
	get("/vehicles/none", 404)
	get("/pictures/x/pictures/none.svg", 404)
	get("/static/preview.js", 200, "location.reload")
	get("/static/none", 404)

	write(strings.Replace(string(good), "{#", "{#!", 1))
	if get("/state", 200) == state {
		t.Error("the state is what it was, but a file is not")
	}
	get("/lessons/safety-induction", 200, "What is shown is how it was before.", "lessons/safety-induction.md, line", "What it asks")
}

func vehicleOf(t *testing.T) string {
	t.Helper()
	all, err := os.ReadDir("../curriculum/brakes/vehicles")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		if name, ok := strings.CutSuffix(f.Name(), ".md"); ok {
			return name
		}
	}
	t.Fatal("no vehicle sheet")
	return ""
}
