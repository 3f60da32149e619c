package server

import (
	"context"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"brakewright/curriculum"
	"brakewright/curriculum/brakes"
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// ---- log-in, sessions, account ----

func TestLogInPage(t *testing.T) {
	w := newPageWorld(t, nil)
	b, m := w.browser(), w.Apprentices[0]

	p := b.get("/record")
	if p.url.Path != "/login" || p.url.Query().Get("next") != "/record" {
		t.Fatalf("without a session: %s", p.url)
	}
	p = p.form("password").set("login", m.Login).set("password", "wrong horse").press("")
	p.says(http.StatusUnauthorized, "Log in")
	f := p.form("password")
	if f.values.Get("login") != m.Login || f.values.Get("password") != "" || f.values.Get("next") != "/record" {
		t.Errorf("the form came back as %v", f.values)
	}
	if p = f.set("password", m.Password).press(""); p.url.Path != "/record" {
		t.Errorf("after logging in: %s", p.url.Path)
	}
	p.says(200, "My record", "Log out")

	// Logged in already.
	if p = b.get("/login?next=/standing"); p.url.Path != "/standing" {
		t.Errorf("log-in page of somebody logged in: %s", p.url.Path)
	}
	b.get("/account").form("/logout").press("Log out").says(200, "You are logged out.")
	if got := b.get("/standing").url.Path; got != "/login" {
		t.Errorf("after logging out /standing leads to %s", got)
	}
	// Never to another site.
	p = b.get("/login?next=" + url.QueryEscape("//elsewhere.example/x"))
	if got := p.form("password").values.Get("next"); got != "/" {
		t.Errorf("next is %q", got)
	}
}

func TestLogInIsThrottled(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.browser()
	var p *shown
	for range 8 {
		p = b.post("/login", url.Values{"login": {w.Apprentices[0].Login}, "password": {"nothing of the kind"}})
	}
	p.says(http.StatusTooManyRequests)
	if p.header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
}

func TestOneTimeCodeLeadsToAPassword(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	p := w.as(w.Supervisors[0]).get("/people/" + m.ID).form("one-time log-in code").press("")
	p.says(200, "One-time code for "+m.Name, m.Login, "/login/code")
	code := regexp.MustCompile(`class="code">([^<]+)<`).FindStringSubmatch(p.body)[1]
	if p.url.RawQuery != "" || p.header.Get("Cache-Control") != "no-store" {
		t.Errorf("the code's page is %s, %s", p.url, p.header.Get("Cache-Control"))
	}
	b := w.browser()
	b.get("/login/code").form("code").set("login", m.Login).set("code", "AAAA-AAAA").press("").says(http.StatusUnauthorized)
	p = b.get("/login/code").form("code").set("login", m.Login).set("code", code).press("")
	p.says(200, "Set your password")
	// Nothing else works before.
	if got := b.get("/record").url.Path; got != passwordPath {
		t.Errorf("before a password is set /record leads to %s", got)
	}
	f := b.get(passwordPath).form("next")
	if _, ok := f.fields["current"]; ok {
		t.Error("asks for a present password that nobody knows")
	}
	f.set("next", "short").set("again", "short").press("").says(422, "Nothing was saved yet.")
	b.get(passwordPath).form("next").set("next", "pebble harbour violet nine").set("again", "pebble harbour violet ten").press("").says(422, "The two passwords differ.")
	b.get(passwordPath).form("next").set("next", "pebble harbour violet nine").set("again", "pebble harbour violet nine").press("").says(200, "Your password is set.")
	b.get("/record").says(200, "My record")
	again := w.browser()
	again.get("/login/code").form("code").set("login", m.Login).set("code", code).press("").says(http.StatusUnauthorized)
}

func TestSessionsAreListedAndEnded(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	one, two := w.as(m), w.as(m)
	p := one.get("/account").says(200, "This browser", "Another browser")
	p.form("End all other sessions").press("").says(200, "The session was ended.").hides("Another browser")
	if got := two.get("/standing").url.Path; got != "/login" {
		t.Errorf("the ended session still opens %s", got)
	}
	w.Clock.Add(31 * time.Minute)
	p = one.post("/account/sessions/end", url.Values{"session": {""}})
	if p.url.Path != "/login" {
		t.Errorf("after 31 idle minutes: %s", p.url.Path)
	}
	p.says(200, "Your session had ended")
}

func TestSigningKeyIsAskedForAndConfirmed(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Supervisors[0]
	b := w.as(m)
	p := b.get("/account")
	p.form("passphrase").set("passphrase", "copper violet harbour").set("again", "copper violet").press("").says(422, "The two passphrases differ.")
	b.get("/account").form("passphrase").set("passphrase", "tiny").set("again", "tiny").press("").says(422)
	b.get("/account").form("passphrase").set("passphrase", "copper violet harbour").set("again", "copper violet harbour").press("").says(200, "waits for a coordinator")
	c := w.as(w.Coordinators[1])
	p = c.get("/keys").says(200, m.Name)
	p.form("passphrase").set("passphrase", w.Coordinators[1].Passphrase).press("").says(422)
	f := p.form("passphrase").set("person", m.ID).set("passphrase", "wrong passphrase here")
	f.press("").says(422, "passphrase", m.Name)
	f.set("passphrase", w.Coordinators[1].Passphrase).press("").says(200, "The keys are signed and in force.", "No key waits.")
}

// ---- who may see what ----

func TestWhoMaySeeWhichPage(t *testing.T) {
	w := newPageWorld(t, nil)
	a, a2, sup, coord := w.Apprentices[0], w.Apprentices[1], w.Supervisors[0], w.Coordinators[0]
	who := []*browser{w.as(a), w.as(sup), w.as(coord)}
	for _, tt := range []struct {
		path string
		want [3]int // apprentice, supervisor, coordinator
	}{
		{"/next", [3]int{200, 403, 403}},
		{"/waiting", [3]int{403, 200, 403}},
		{"/sign", [3]int{200, 200, 200}}, // one's own jobs only: there are none
		{"/lessons", [3]int{200, 200, 200}},
		{"/lessons/safety-induction", [3]int{200, 200, 200}},
		{"/lessons/safety-induction?vehicle=trainer-b", [3]int{200, 200, 200}},
		{"/lessons/nothing", [3]int{404, 404, 404}},
		{"/vehicles/trainer-a", [3]int{200, 200, 200}},
		{"/standing", [3]int{200, 403, 403}},
		{"/board", [3]int{403, 200, 200}},
		{"/floor", [3]int{403, 200, 200}},
		{"/floor?task=induction&car=&site=", [3]int{403, 200, 200}},
		{"/floor?task=induction&car=vehicle:none&site=", [3]int{404, 404, 404}},
		{"/people", [3]int{403, 403, 200}},
		{"/people/new", [3]int{403, 403, 200}},
		{"/people/import", [3]int{403, 403, 200}},
		{"/people/due", [3]int{403, 403, 200}},
		{"/record/bundle", [3]int{200, 200, 200}},
		{"/people/" + a2.ID + "/record/bundle", [3]int{403, 403, 200}},
		{"/people/" + a2.ID + "/erase", [3]int{403, 403, 200}},
		{"/people/" + a.ID, [3]int{200, 200, 200}},
		{"/people/" + a2.ID, [3]int{403, 200, 200}},
		{"/people/" + a2.ID + "/record", [3]int{403, 200, 200}},
		{"/people/" + a2.ID + "/tasks/induction", [3]int{403, 200, 200}},
		{"/people/" + a2.ID + "/standing", [3]int{403, 200, 200}},
		{"/people/" + coord.ID, [3]int{403, 403, 200}},
		{"/keys", [3]int{403, 403, 200}},
		{"/programme", [3]int{403, 403, 200}},
		{"/questions", [3]int{403, 403, 200}},
		{"/questions?task=induction&lesson=safety-induction&from=700", [3]int{403, 403, 200}},
		{"/questions/0123?lesson=none&edition=", [3]int{403, 403, 404}},
		{"/questions/0123/void?lesson=none&edition=", [3]int{403, 403, 404}},
		{"/ledger", [3]int{403, 403, 200}},
		{"/account", [3]int{200, 200, 200}},
		{"/jobs/ask", [3]int{200, 200, 200}},
		{"/jobs/01a2101d-c4cd-79bb-a653-38a3651805e3", [3]int{404, 404, 404}},
		{"/tests/01a2101d-c4cd-79bb-a653-38a3651805e3", [3]int{404, 404, 404}},
		{"/nowhere", [3]int{404, 404, 404}},
	} {
		for i, b := range who {
			if got := b.get(tt.path); got.status != tt.want[i] {
				t.Errorf("%s as %s: %d, want %d", tt.path, [3]string{"apprentice", "supervisor", "coordinator"}[i], got.status, tt.want[i])
			}
		}
	}
}

// TestWhatAnApprenticeMayNotDo sends forms that no page of an apprentice's shows.
func TestWhatAnApprenticeMayNotDo(t *testing.T) {
	w := newPageWorld(t, nil)
	me, other := w.Apprentices[0], w.Apprentices[1]
	b := w.as(me)
	for path, f := range map[string]url.Values{
		taskPath(me.ID, "induction") + "/clear":         {"passphrase": {"x"}},
		taskPath(other.ID, "induction") + "/stand-down": {"stand_reason": {"no"}},
		"/people/new":                        {"name": {"X"}, "login": {"xx"}, "role": {"coordinator"}},
		"/people/" + me.ID + "/roles":        {"role": {"supervisor"}},
		"/people/" + other.ID + "/code":      {},
		"/people/sites":                      {"name": {"Mine"}},
		"/keys":                              {"person": {me.ID}},
		"/programme/adopt":                   {"edition": {"x"}},
		"/people/" + other.ID + "/name":      {"name": {"Changed"}},
		"/people/" + me.ID + "/leaves":       {"from": {"2026-01-06"}, "to": {"2026-01-07"}},
		"/people/" + me.ID + "/agreements":   {"employer": {"Me"}},
		"/people/" + me.ID + "/appointments": {"task": {"induction"}},
		"/people/" + me.ID + "/cohorts":      {"cohort": {w.Cohort}},
	} {
		if p := b.post(path, f); p.status != http.StatusForbidden {
			t.Errorf("%s: %d, want 403: %s", path, p.status, p.brief())
		}
	}
}

// ---- errors, headers, static files ----

func TestErrorPagesSayAWayOut(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.as(w.Apprentices[0])
	b.get("/nowhere").says(404, "Not found", "There is no page at this address.", "Go to your first page")
	p := b.post("/standing", url.Values{})
	p.says(405, "Not in this way")
	b.get("/board").says(403, "You may not do this")
	w.browser().get("/nowhere").says(404, "Not found")
	if p := b.get("/api/v1/nothing"); p.status != 404 || !strings.HasPrefix(p.header.Get("Content-Type"), "application/problem+json") {
		t.Errorf("API: %d %s", p.status, p.header.Get("Content-Type"))
	}
	big := url.Values{"list": {strings.Repeat("x", maxBody+1)}}
	w.as(w.Coordinators[0]).post("/people/new", big).says(413, "too much at once")
}

func TestABugIsAPageWithANumber(t *testing.T) {
	w := newPageWorld(t, nil)
	h, err := w.server.wrap(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("the secret detail") }))
	if err != nil {
		t.Fatal(err)
	}
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/x?token=abc", nil))
	body := rec.Body.String()
	number := regexp.MustCompile(`<code>([0-9a-f]{16})</code>`).FindStringSubmatch(body)
	if rec.Code != 500 || number == nil || strings.Contains(body, "secret detail") {
		t.Fatalf("%d: %s", rec.Code, body)
	}
	log := w.log.String()
	if !strings.Contains(log, number[1]) || !strings.Contains(log, "the secret detail") {
		t.Errorf("the log does not have the number and what happened: %s", log)
	}
	if strings.Contains(log, "token=abc") {
		t.Errorf("the log has a query string: %s", log)
	}
}

func TestLogHoldsNothingPersonal(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	b := w.as(m)
	b.get("/board?search=" + url.QueryEscape(m.Name))
	w.browser().post("/login", url.Values{"login": {"somebody"}, "password": {"my secret words"}})
	for _, x := range []string{m.Name, m.Login, m.Password, "somebody", "my secret words", "search="} {
		if strings.Contains(w.log.String(), x) {
			t.Errorf("the log has %q", x)
		}
	}
}

func TestSecurityHeaders(t *testing.T) {
	for _, tt := range []struct {
		name, public, cookie string
		secure               bool
	}{
		{"plain http", "", "brakewright", false},
		{"http address", "http://bench.example", "brakewright", false},
		{"https address", "https://brakes.example", "__Host-brakewright", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := newPageWorld(t, func(c *Config) { c.PublicURL = tt.public })
			m := w.Apprentices[0]
			rec := httptest.NewRecorder()
			r := httptest.NewRequest(http.MethodPost, "/login", strings.NewReader(url.Values{"login": {m.Login}, "password": {m.Password}}.Encode()))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			w.server.ServeHTTP(rec, r)
			cookies := rec.Result().Cookies()
			if len(cookies) != 1 {
				t.Fatalf("%d: %d cookies", rec.Code, len(cookies))
			}
			c := cookies[0]
			if c.Name != tt.cookie || c.Secure != tt.secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" {
				t.Errorf("cookie %s", c)
			}
			rec2 := httptest.NewRecorder()
			r = httptest.NewRequest(http.MethodGet, "/standing", nil)
			r.AddCookie(c)
			w.server.ServeHTTP(rec2, r)
			h := rec2.Header()
			for name, want := range map[string]string{
				"Content-Security-Policy": contentPolicy, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin",
				"Cache-Control": "no-store", "Content-Type": "text/html; charset=utf-8",
			} {
				if h.Get(name) != want {
					t.Errorf("%s: %q, want %q", name, h.Get(name), want)
				}
			}
			if (h.Get("Strict-Transport-Security") != "") != tt.secure {
				t.Errorf("HSTS %q", h.Get("Strict-Transport-Security"))
			}
		})
	}
	if _, err := New(Config{}); err == nil {
		t.Error("a server without its parts is made")
	}
	w := newPageWorld(t, nil)
	if _, err := New(Config{Acts: w.server.acts, Store: w.Store, Logger: w.server.log, PublicURL: "brakes.example"}); err == nil {
		t.Error("a public address without a scheme is taken")
	}
}

func TestChangesFromElsewhereAreRefused(t *testing.T) {
	w := newPageWorld(t, func(c *Config) { c.PublicURL = "https://brakes.example" })
	for _, tt := range []struct {
		site, origin string
		want         int
	}{
		{"same-origin", "", http.StatusUnauthorized}, // reaches the log-in, which refuses the password
		{"cross-site", "https://evil.example", http.StatusForbidden},
		{"", "https://evil.example", http.StatusForbidden},
		{"", "https://brakes.example", http.StatusUnauthorized}, // behind a proxy
	} {
		r := httptest.NewRequest(http.MethodPost, "/login", strings.NewReader("login=a&password=b"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if tt.site != "" {
			r.Header.Set("Sec-Fetch-Site", tt.site)
		}
		if tt.origin != "" {
			r.Header.Set("Origin", tt.origin)
		}
		rec := httptest.NewRecorder()
		w.server.ServeHTTP(rec, r)
		if rec.Code != tt.want {
			t.Errorf("Sec-Fetch-Site %q, Origin %q: %d, want %d", tt.site, tt.origin, rec.Code, tt.want)
		}
	}
}

func TestStaticFilesAndHealth(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.browser()
	path := mustAssets(t).Path("site.css")
	p := b.get(path)
	if p.status != 200 || !strings.Contains(p.header.Get("Cache-Control"), "immutable") || p.header.Get("ETag") == "" || !strings.HasPrefix(p.header.Get("Content-Type"), "text/css") {
		t.Errorf("%s: %d %v", path, p.status, p.header)
	}
	if got := b.get("/static/site.css").header.Get("Cache-Control"); got != "no-cache" {
		t.Errorf("without its hash a file is cached: %s", got)
	}
	r, err := http.NewRequest(http.MethodGet, w.site.URL+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("If-None-Match", p.header.Get("ETag"))
	if got := b.do(r).status; got != http.StatusNotModified {
		t.Errorf("the same again: %d", got)
	}
	if got := b.get("/static/none.css").status; got != 404 {
		t.Errorf("no such file: %d", got)
	}
	for path, want := range map[string]string{"/healthz": "ok\n", "/readyz": "ready\n"} {
		if p := b.get(path); p.status != 200 || p.body != want {
			t.Errorf("%s: %d %q", path, p.status, p.body)
		}
	}
	if err := w.Store.Close(); err != nil {
		t.Fatal(err)
	}
	if got := b.get("/readyz").status; got != http.StatusServiceUnavailable {
		t.Errorf("ready without a database: %d", got)
	}
}

// TestPagesLoadNothingFromElsewhere holds every page of a round to the content policy.
func TestPagesLoadNothingFromElsewhere(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	outside := regexp.MustCompile(`(?i)(src|href|action)="(https?:)?//`)
	inline := regexp.MustCompile(`(?i)<script>|<style|\son[a-z]+="|\sstyle="|javascript:`)
	for _, tt := range []struct {
		b     *browser
		paths []string
	}{
		{w.browser(), []string{"/login", "/login/code", "/nowhere"}},
		{w.as(m), []string{"/next", "/lessons", "/lessons/bleed-two-person?vehicle=trainer-a", "/vehicles/trainer-c", "/standing", "/record", "/jobs/ask", "/jobs/alone", "/account", "/tests/start?task=induction", taskPath(m.ID, "caliper")}},
		{w.as(w.Supervisors[0]), []string{"/waiting", "/sign", "/floor?task=induction", "/board", "/jobs/ask?watch=1", "/people/" + m.ID}},
		{w.as(w.Coordinators[0]), []string{"/board", "/people", "/people/new", "/people/import", "/people/" + m.ID, "/people/" + w.Supervisors[0].ID, "/keys", "/programme", "/ledger"}},
	} {
		for _, path := range tt.paths {
			p := tt.b.get(path)
			body := p.body
			if i := strings.Index(body, `<article class="lesson">`); i >= 0 { // what lessons link to is their author's
				body = body[:i]
			}
			if x := outside.FindString(body); x != "" {
				t.Errorf("%s: %s", path, x)
			}
			if x := inline.FindString(body); x != "" {
				t.Errorf("%s: inline %s", path, x)
			}
			checkAccess(t, path, p.body)
		}
	}
}

// checkAccess checks what a screen reader needs: one main heading, labels, unique ids, a language, a title.
func checkAccess(t *testing.T, path, body string) {
	t.Helper()
	if n := strings.Count(body, "<h1"); n != 1 {
		t.Errorf("%s: %d main headings", path, n)
	}
	if !strings.Contains(body, `<html lang="en">`) || regexp.MustCompile(`<title>\s*·`).MatchString(body) {
		t.Errorf("%s: no language or title", path)
	}
	last := 1
	for _, m := range regexp.MustCompile(`<h([1-6])\b`).FindAllStringSubmatch(body, -1) {
		level := int(m[1][0] - '0')
		if level > last+1 {
			t.Errorf("%s: heading %d follows heading %d", path, level, last)
		}
		last = level
	}
	ids := map[string]int{}
	for _, m := range regexp.MustCompile(`\sid="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		ids[m[1]]++
		if ids[m[1]] == 2 {
			t.Errorf("%s: id %q stands twice", path, m[1])
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<(input|select|textarea)\b([^>]*)>`).FindAllStringSubmatch(body, -1) {
		a := attrs(m[2])
		switch a["type"] {
		case "hidden", "radio", "checkbox":
			continue
		}
		if a["id"] == "" || !regexp.MustCompile(`<label\b[^>]*for="`+regexp.QuoteMeta(a["id"])+`"`).MatchString(body) {
			t.Errorf("%s: field %q has no label", path, a["name"])
		}
	}
	for _, m := range regexp.MustCompile(`aria-(?:labelledby|describedby)="([^"]*)"`).FindAllStringSubmatch(body, -1) {
		if ids[m[1]] == 0 {
			t.Errorf("%s: nothing has the id %q", path, m[1])
		}
	}
	for _, m := range regexp.MustCompile(`href="#([^"]+)"`).FindAllStringSubmatch(body, -1) {
		if ids[m[1]] == 0 {
			t.Errorf("%s: no place #%s", path, m[1])
		}
	}
}

// ---- studying ----

func TestLessonShowsTheChosenCar(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.as(w.Apprentices[0])
	plain := b.get("/lessons/master-cylinder-replace").says(200, "see the maker")
	p := plain.form(`name="vehicle"`).set("vehicle", "trainer-a").press("")
	p.says(200, "Trainer A hatchback", "0.1–0.4 mm")
	if p.url.Query().Get("vehicle") != "trainer-a" {
		t.Errorf("the car is not in the address: %s", p.url)
	}
	b.get("/lessons?vehicle=none").says(404)
	picture := regexp.MustCompile(`src="(/pictures/[^"]+)"`).FindStringSubmatch(p.body)
	if picture == nil {
		t.Fatal("the lesson shows no picture")
	}
	pic := b.get(picture[1])
	if pic.status != 200 || pic.header.Get("Content-Type") != "image/svg+xml; charset=utf-8" || pic.header.Get("Content-Security-Policy") != picturePolicy {
		t.Errorf("%s: %d %v", picture[1], pic.status, pic.header)
	}
	if got := b.get("/pictures/" + strings.Repeat("0", 64) + "/" + strings.SplitN(picture[1], "/", 4)[3]).status; got != 404 {
		t.Errorf("a picture in an edition that never was: %d", got)
	}
	if p := w.browser().get(picture[1]); p.url.Path != "/login" {
		t.Errorf("pictures without a log-in: %s", p.url)
	}
}

func TestPracticeStoresNothing(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.as(w.Apprentices[0])
	before := mustInfo(t, w).Entries
	kinds := map[string]bool{}
	lessons := []string{"safety-induction", "bleed-two-person", "master-cylinder-replace", "caliper-replace"}
	for n := 1; n <= 80 || len(kinds) < 4 && n <= 400; n++ { // one in twenty is an order, so now and then eighty have none
		p := b.get(fmt.Sprintf("/lessons/%s/practice/7/%d?vehicle=trainer-a", lessons[n%4], n)).says(200, "Practice, question "+itoa(n))
		checkAccess(t, p.url.Path, p.body)
		f := p.form("check")
		empty := f.press("Check")
		if !f.values.Has("order") {
			empty.says(200, "Answer first, then check.")
		}
		switch {
		case f.values.Has("order"):
			kinds["order"] = true
			moved := f.press(f.values["order"][0] + ":down")
			if got := moved.form("check").values["order"]; got[1] != f.values["order"][0] {
				t.Errorf("question %d: after moving down the order is %v", n, got)
			}
		case strings.Contains(p.body, "<select"):
			kinds["match"] = true
			for name, values := range f.fields {
				if strings.HasPrefix(name, "match-") {
					f.set(name, values[1])
				}
			}
		case f.fields["answer"] != nil:
			kinds["choice"] = true
			f.set("answer", f.fields["answer"][0])
		default:
			kinds["number"] = true
			f.set("answer", "12")
		}
		f.press("Check").says(200, "From the lesson", "Next question")
	}
	for _, k := range []string{"order", "match", "choice", "number"} {
		if !kinds[k] {
			t.Errorf("400 questions had no %s", k)
		}
	}
	if after := mustInfo(t, w).Entries; after != before {
		t.Errorf("practice made %d entries", after-before)
	}
	// Each start draws anew.
	one, two := b.get("/lessons/safety-induction/practice").url.Path, b.get("/lessons/safety-induction/practice").url.Path
	if one == two {
		t.Errorf("two starts practise the same: %s", one)
	}
	b.get("/lessons/safety-induction/practice/7/0").says(404)
}

func mustInfo(t testing.TB, w *pageWorld) store.Info {
	t.Helper()
	info, err := w.Store.Info(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return info
}

// A coordinator finds a bad question from a marked test, looks at what voiding it would change, and voids it; the
// apprentice reads that it counts as right, and why.
func TestAQuestionIsVoided(t *testing.T) {
	w := newPageWorld(t, nil)
	a, c := w.as(w.Apprentices[0]), w.as(w.Coordinators[0])
	c.get("/questions").says(200, "No theory test with such questions was handed in yet.")
	p := a.get("/tests/start?task=induction").form("Begin the test").press("")
	test := strings.TrimSuffix(p.url.Path, "/1")
	test = test[:strings.LastIndex(test, "/")]
	if i := strings.Index(test, "/questions"); i > 0 {
		test = test[:i]
	}
	a.get(test+"/hand-in").form("hand-in").press("").says(200, "Not passed")
	p = c.get(test).says(200, "How this question fared over all").follow("How this question fared over all")
	p.says(200, "How a question fared", "Theory tests that had it", "not passed", "Right 0\u00a0%")
	p = p.follow("See what voiding it would change").says(200, "1 theory test had this question.", "nobody loses a point", "Nobody’s passing changes.")
	p = p.form("Void it and sign").set("reason", "").set("passphrase", w.Coordinators[0].Passphrase).press("Void it and sign")
	p.says(422)
	p = p.form("Void it and sign").set("reason", "Two of the answers are right").set("passphrase", "wrong").press("Void it and sign")
	p.says(422, "Two of the answers are right")
	p = p.form("Void it and sign").set("passphrase", w.Coordinators[0].Passphrase).press("Void it and sign")
	p.says(200, "Voided and signed.", "This question is voided", "Two of the answers are right")
	a.get(test).says(200, "Voided: counts as right for everybody", "Two of the answers are right")
	c.get("/questions").says(200, "voided", "1 to 12 of 12")
	p.follow("Voided").says(200, "Marked anew: 1 theory test")
	p = p.follow("Let it count again in this edition of the lesson").says(200, "It will count again, as it was answered.")
	p = p.form("Let it count again").set("reason", "It was right after all").set("passphrase", w.Coordinators[0].Passphrase).press("Let it count again and sign")
	p.says(200, "The question counts again.", "See what voiding it would change")
	if got := a.get(test); strings.Contains(got.body, "Voided") {
		t.Error("the test still says voided")
	}
}

func TestTestIsSomebodysOwn(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.as(w.Apprentices[0])
	p := b.get("/tests/start?task=induction").form("Begin the test").press("")
	p.says(200, "Question 1 of 12")
	other := w.as(w.Apprentices[1])
	other.get(p.url.Path).says(403)
	other.post(p.url.Path, url.Values{"answer": {"x"}, "go": {"next"}}).says(403)
	w.as(w.Supervisors[0]).get(p.url.Path).says(403)
	// A second start goes on with the same test.
	b.get("/tests/start?task=induction").says(200, "You have begun this test.").follow("Go on").says(200, "Question 1 of 12")
	b.get("/next").says(200, "Open theory test")
	b.get("/tests/start?task=none").says(404)
}

// TestAskingBackKeepsWhatWasTyped: in English a lone comma is settled, so the page is made directly.
func TestAskingBackKeepsWhatWasTyped(t *testing.T) {
	f := quiz.Form{Questions: []quiz.Question{{ID: "q1", Kind: quiz.Single}, {ID: "q2", Kind: quiz.Number, Stem: "How long?"}}}
	v := &acts.TestView{Test: &store.Test{ID: "t", Task: "x"}, Form: &f, Answers: &quiz.Answers{Answers: map[string]quiz.Answer{"q2": {Text: "1,250"}}}}
	got := newQuestionPage(BasePage{}, &curriculum.Programme{}, v, 2, nil, "Which one?")
	if got.Question.Text != "1,250" || got.AskBack != "Which one?" || got.Title != "Question 2 of 2" || got.Open != 1 || got.NextPath != "/tests/t/hand-in" {
		t.Errorf("%+v", got)
	}
}

// ---- asking, watching, signing ----

// askJob asks for a job on a training vehicle.
func askJob(b *browser, task, vehicle string) *shown {
	b.t.Helper()
	return b.get("/jobs/ask").form(`action="/jobs/ask"`).set("task", task).set("vehicle", vehicle).press("Ask")
}

func TestAskFormComesBackFilledIn(t *testing.T) {
	w := newPageWorld(t, nil)
	b := w.as(w.Apprentices[0])
	p := b.post("/jobs/ask", url.Values{"task": {"induction"}, "vehicle": {""}, "bay": {"7"}, "work_order": {"ABC"}})
	p.says(422, "Nothing was saved yet.")
	f := p.form(`action="/jobs/ask"`)
	if f.values.Get("task") != "induction" || f.values.Get("bay") != "7" || f.values.Get("work_order") != "ABC" {
		t.Errorf("the form came back as %v", f.values)
	}
	// Before the induction nobody is watched on anything else.
	askJob(b, "caliper", "trainer-a").says(422)
}

func TestRequestsAreDeclinedAndWithdrawn(t *testing.T) {
	w := newPageWorld(t, nil)
	a, sup := w.as(w.Apprentices[0]), w.as(w.Supervisors[0])
	p := askJob(a, "induction", "trainer-a")
	p.form("Withdraw").press("").says(200, "The job was withdrawn.")
	askJob(a, "induction", "trainer-a")
	sup.get("/waiting").form("Decline").set("reason", "").press("Decline").says(422)
	sup.get("/waiting").form("Decline").set("reason", "No stands free today").press("Decline").says(200, "The job was declined.", "Nothing waits for you.")
	a.get("/next").says(200, "Declined: No stands free today")
}

func TestSheetTellsEveryStory(t *testing.T) {
	w := newPageWorld(t, nil)
	a, sup := w.Apprentices[0], w.as(w.Supervisors[0])
	w.induct(a, "master-cylinder")
	p := sup.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", a.ID).set("task", "master-cylinder").set("vehicle", "trainer-a").press("Begin")
	p.says(200, "You are watching this job.", "Trainer A hatchback, diagonal layout")
	job := p.url.Path

	// Another supervisor may look, decide hold points and take over, but not tap.
	w.as(w.Apprentices[1]).get(job).says(403)
	other := w.as(w.Supervisors[1])
	q := other.get(job).says(200, "Watch this job")
	if q.hasForm(`name="result"`) {
		t.Error("two people tap one sheet")
	}
	q.form("Accept").press("Accept").says(200, "Saved.", "Accepted: the work may go on.")

	// A reading is judged at once, exactly.
	key := "master-cylinder-replace/" + stepWithMeasure(p.body)
	form := func(p *shown, name string) *pageForm {
		return p.form(`name="step" value="`+key+`"><input type="hidden" name="measure"`).set("value", name)
	}
	p = sup.get(job)
	form(p, "about right").press("Judge").says(422, "That was not saved.")
	bad := form(sup.get(job), "0,250").press("Judge").says(422)
	if got := bad.form(`name="step" value="` + key + `"><input type="hidden" name="measure"`).values.Get("value"); got != "0,250" {
		t.Errorf("the reading came back as %q", got)
	}
	form(sup.get(job), "0.45").set("instrument", "depth gauge 3").press("Judge").says(200, "0.45 mm", "above the limit", "depth gauge 3")
	form(sup.get(job), "0.40").press("Judge").says(200, "0.40 mm", "within the limit")

	// A critical error needs its story; a hold point is sent back with a reason.
	p = sup.get(job)
	p.form("Critical error, taken over").press("taken over").says(422)
	sup.get(job).form("Critical error, taken over").set("what_happened", "Left the chocks away, I put them").press("taken over").says(200, "Left the chocks away")
	p.form("Send back").press("Send back").says(422)
	sup.get(job).form("Send back").set("reason", "Look at the left one again").press("Send back").says(200, "Sent back: Look at the left one again")

	// Undo, the rest, a near miss, a note; not finished while something critical is open.
	p = sup.get(job)
	p = p.form(`name="undo"`).press("").says(200, "Undone.")
	p = p.form(`name="rest"`).press("").says(200, "Saved.")
	p = p.form("near miss").press("near miss").says(200, "A near miss is noted.")
	p = p.form("Keep the note").set("note", "Slow, but sound").press("Keep the note").says(200, "Slow, but sound")
	p.form(`value="finished"`).press("Finished").says(422)
	p = sup.get(job).form(`value="rightly_stopped"`).set("difficulty", "awkward").set("why", "The lift gave way").press("rightly_stopped")
	p.says(200, "Sign", "rightly stopped by the apprentice", "Critical error", "near miss", "Difficulty: awkward", "Slow, but sound")
	p.form("passphrase").set("passphrase", "wrong passphrase").press("Sign").says(422, "passphrase", "This is what you will sign")
	p.form("passphrase").set("passphrase", w.Supervisors[0].Passphrase).press("Sign").says(200, "Signed.")
	p = sup.get(job).says(200, "Signed: Rightly stopped by the apprentice.")
	if p.hasForm(`name="result"`) {
		t.Error("a signed sheet can still be tapped")
	}
	p = p.follow("See the record").says(200, "Watched job signed", "Critical error", "Left the chocks away", "SHA-256")
	p.hides("Left the chocks away, I put them\"") // the hashed part holds no story
	w.as(a).get(job).says(200, "Signed")
}

// stepWithMeasure is the key, without its lesson, of the sheet's first step that asks for a reading of the pushrod.
func stepWithMeasure(body string) string {
	return regexp.MustCompile(`name="step" value="master-cylinder-replace/([^"]*)"><input type="hidden" name="measure"`).FindStringSubmatch(body)[1]
}

// induct has two supervisors recognise somebody's earlier induction, so that they may be watched at a task.
func (w *pageWorld) induct(m *storetest.Member, task string) {
	w.t.Helper()
	one, two := w.Supervisors[0], w.Supervisors[1]
	w.Append(w.Make(one.ID, ledger.Recognised, m.ID, ledger.RecognitionPayload{Task: task, StandsFor: []string{"induction"}},
		map[string]string{"reason": "Did it elsewhere"}, nil, one.Signer, two.Signer))
}

func TestPressingTwiceIsOneTap(t *testing.T) {
	w := newPageWorld(t, nil)
	sup := w.as(w.Supervisors[0])
	p := sup.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", w.Apprentices[0].ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
	job := strings.TrimPrefix(p.url.Path, "/jobs/")
	f := p.form(`value="unaided"`)
	f.press("unaided").says(200)
	f.press("unaided").says(200)
	f.press("prompted").says(200)
	taps, err := w.Store.Taps(context.Background(), job)
	if err != nil || len(taps) != 2 {
		t.Errorf("%d taps, %v; want two different ones", len(taps), err)
	}
	// The same for asking: one form sent twice is one job.
	a := w.as(w.Apprentices[1])
	g := a.get("/jobs/ask").form(`action="/jobs/ask"`).set("task", "induction").set("vehicle", "trainer-a")
	if one, two := g.press("Ask").url.Path, g.press("Ask").url.Path; one != two {
		t.Errorf("asked twice: %s and %s", one, two)
	}
}

func TestCarIsDescribedOnTheSpot(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	w.induct(m, "caliper")
	a := w.as(m)
	p := a.get("/jobs/ask").form(`action="/jobs/ask"`).set("task", "caliper").set("vehicle", "other").set("work_order", "KX 42").press("Ask")
	p.says(200, "Describe the car")
	if strings.Contains(p.url.RawQuery, "KX") {
		t.Errorf("a plate stands in the address: %s", p.url)
	}
	p = p.form("layout").press("limits").says(422, "This must be filled in.")
	f := p.form("layout").set("title", "Grey estate").set("layout", "diagonal").set("order-bleed", "rr, lf, lr, rf").set("wheel-LR", "rear", "disc", "drum")
	p = f.press("limits").says(422, "Wheel LR cannot be disc and drum at once. Choose one of the two.")
	f = p.form("layout").set("wheel-LR", "rear", "disc")
	p = f.press("limits").says(200, "Limits that will be measured", "Where you read it")
	f = p.form("layout")
	if f.values.Get("title") != "Grey estate" || f.values.Get("work_order") != "KX 42" {
		t.Errorf("the form came back as %v", f.values)
	}
	for name := range f.fields {
		if strings.HasPrefix(name, "value-") {
			f.set(name, "20")
			if _, two := f.fields["high-"+strings.TrimPrefix(name, "value-")]; two {
				f.set("high-"+strings.TrimPrefix(name, "value-"), "30")
			}
		}
	}
	p = f.press("ask").says(422) // a limit without a source is worth nothing
	f = p.form("layout")
	for name := range f.fields {
		if strings.HasPrefix(name, "source-") {
			f.set(name, "service manual, page 12")
		}
	}
	f.press("ask").says(200, "Asked.", "Grey estate, diagonal layout", "KX 42", "on a customer’s car", "20")
	w.as(w.Supervisors[0]).get("/waiting").says(200, "Grey estate", "KX 42")
}

func TestSeveralJobsAreSignedTogether(t *testing.T) {
	w := newPageWorld(t, nil)
	sup := w.as(w.Supervisors[0])
	for _, m := range w.Apprentices[:2] {
		p := sup.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
		p.form(`value="interrupted"`).set("why", "The lift gave way").press("interrupted")
		w.Clock.Add(time.Hour)
		sup = w.as(w.Supervisors[0])
	}
	p := sup.get("/waiting").says(200, "Done, not signed yet", "Read and sign all 2").follow("Read and sign all 2")
	p.says(200, w.Apprentices[0].Name, w.Apprentices[1].Name)
	f := p.form("passphrase").set("passphrase", w.Supervisors[0].Passphrase)
	f.values.Del("job")
	f.press("Sign").says(422)
	f = p.form("passphrase").set("passphrase", w.Supervisors[0].Passphrase)
	f.press("Sign").says(200, "Signed.", "Nothing waits for you.")
	n := mustInfo(t, w).Entries
	f.press("Sign") // sent again: nothing new
	if got := mustInfo(t, w).Entries; got != n {
		t.Errorf("signing again made %d entries", got-n)
	}
}

// ---- deciding ----

func TestClearanceByWaiver(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	b := w.as(w.Supervisors[0])
	p := b.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
	p = p.form(`value="interrupted"`).set("why", "The lift gave way").press("interrupted")
	p.form("passphrase").set("passphrase", w.Supervisors[0].Passphrase).press("Sign").says(200, "Signed.")

	p = b.get(taskPath(m.ID, "induction")).says(200, "Building", "These gates are closed", "Set aside: Reading")
	f := p.form("Clear and sign").set("reason", "Did it for years elsewhere").set("until", "2020-01-01").set("passphrase", w.Supervisors[0].Passphrase)
	p = f.press("Clear and sign").says(422, "Nothing was saved yet.")
	f = p.form("Clear and sign").set("until", "2026-06-30").set("passphrase", w.Supervisors[0].Passphrase)
	if f.values.Get("reason") != "Did it for years elsewhere" {
		t.Errorf("the reason did not come back: %v", f.values)
	}
	p = f.press("Clear and sign").says(422)
	f = p.form("Clear and sign").set("passphrase", w.Supervisors[0].Passphrase)
	f.set("waiver_gates", f.fields["waiver_gates"]...).set("waiver_until", "2026-03-31").set("second_login", w.Supervisors[0].Login).set("second_passphrase", "x")
	p = f.press("Clear and sign").says(422) // not by the same person twice
	f = p.form("Clear and sign").set("passphrase", w.Supervisors[0].Passphrase).set("second_login", w.Coordinators[0].Login).set("second_passphrase", w.Coordinators[0].Passphrase)
	f.press("Clear and sign").says(200, "Cleared and signed.", "by a waiver, until 31 Mar 2026", "Reason: Did it for years elsewhere")
	w.as(w.Coordinators[0]).get("/board").says(200, "Cleared", "until")
}

func TestCriticalErrorOfSomebodyClearedIsDecidedThenAndThere(t *testing.T) {
	for _, tt := range []struct{ decision, want string }{{"stand_down", "Stood down"}, {"keep", "Cleared"}} {
		t.Run(tt.decision, func(t *testing.T) {
			w := newPageWorld(t, nil)
			m, sup := w.Apprentices[0], w.Supervisors[0]
			w.induct(m, "caliper")
			w.clearByWaiver(m, "caliper")
			b := w.as(sup)
			p := b.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "caliper").set("vehicle", "trainer-a").press("Begin")
			p = p.form("Critical error, taken over").set("what_happened", "Left the banjo bolt loose").press("taken over").says(200, "Left the banjo bolt loose")
			p = p.form(`value="stopped_by_supervisor"`).set("why", "The lift gave way").press("stopped_by_supervisor")
			p.says(200, "A critical error by somebody who is cleared: "+m.Name, "Critical error")
			p = p.form("passphrase").set("passphrase", sup.Passphrase).press("Sign").says(422)
			f := p.form("passphrase").set("decision", tt.decision).set("passphrase", sup.Passphrase)
			p = f.press("Sign").says(422, "reason")
			f = p.form("passphrase").set("decision_reason", "Talked it through").set("passphrase", sup.Passphrase)
			if got := f.values.Get("decision"); got != tt.decision {
				t.Errorf("the decision did not come back: %q", got)
			}
			f.press("Sign").says(200, "Signed.")
			b.get(taskPath(m.ID, "caliper")).says(200, tt.want)
		})
	}
}

// clearByWaiver clears somebody through the acts, whatever the gates say.
func (w *pageWorld) clearByWaiver(m *storetest.Member, task string) {
	w.t.Helper()
	v := standingOf(w.t, w, m.ID, task)
	_, err := w.server.acts.Clear(context.Background(), mustPerson(w.t, w, w.Supervisors[0].ID), acts.ClearanceRequest{
		Apprentice: m.ID, Task: task, Reason: "For a test", Passphrase: w.Supervisors[0].Passphrase, WaiverGates: acts.ClosedGates(v), WaiverUntil: "2026-12-31",
		SecondLogin: w.Coordinators[0].Login, SecondPassphrase: w.Coordinators[0].Passphrase,
	})
	if err != nil {
		w.t.Fatal(err)
	}
}

func TestSigningLateTakesASecondPerson(t *testing.T) {
	w := newPageWorld(t, nil)
	m, sup := w.Apprentices[0], w.Supervisors[0]
	b := w.as(sup)
	p := b.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
	p.form(`value="interrupted"`).set("why", "The lift gave way").press("interrupted")
	w.Clock.Add(20 * 24 * time.Hour)
	b = w.as(sup)
	p = b.get("/sign").form("passphrase").set("passphrase", sup.Passphrase).press("Sign").says(422, "Signed late")
	f := p.form("passphrase").set("late_reason", "Was ill").set("second_login", sup.Login).set("second_passphrase", sup.Passphrase).set("passphrase", sup.Passphrase)
	p = f.press("Sign").says(422)
	f = p.form("passphrase").set("second_login", w.Supervisors[1].Login).set("second_passphrase", w.Supervisors[1].Passphrase).set("passphrase", sup.Passphrase)
	if got := f.values.Get("late_reason"); got != "Was ill" {
		t.Errorf("the reason did not come back: %q", got)
	}
	f.press("Sign").says(200, "Signed.")
	b.get("/people/"+m.ID+"/record").says(200, "Reason: Was ill", "Signed by "+sup.Name+" and "+w.Supervisors[1].Name)
}

// ---- roster and programme ----

func TestRosterPages(t *testing.T) {
	w := newPageWorld(t, nil)
	c := w.as(w.Coordinators[0])
	p := c.get("/people/new").form("employer").set("name", "").set("login", "newcomer").set("employer", "Bench Motors").press("Add")
	p.says(422, "Nothing was saved yet. Look at the marked field.")
	f := p.form("employer")
	if f.values.Get("login") != "newcomer" || f.values.Get("employer") != "Bench Motors" {
		t.Errorf("the form came back as %v", f.values)
	}
	p = f.set("name", "Nova Comer").set("cohort", w.Cohort).press("Add").says(200, "Nova Comer", "newcomer", "shown this once")
	code := regexp.MustCompile(`class="code">([^<]+)<`).FindStringSubmatch(p.body)[1]
	w.browser().get("/login/code").form("code").set("login", "newcomer").set("code", code).press("").says(200, "Set your password")
	c.get("/people?search=nova").says(200, "1 of", "Nova Comer", "not set up yet")
	c.get("/people?role=coordinator").says(200).hides("Nova Comer")

	person := c.get("/people?search=nova").link("Nova Comer")
	c.get(person).form("/name").set("name", "Nova Bright").press("Save").says(200, "Saved.", "Nova Bright")
	c.get(person).form("/leaves").set("from", "2026-03-09").set("to", "2026-03-02").press("Save").says(422)
	c.get(person).form("/leaves").set("from", "2026-03-02").set("to", "2026-03-09").press("Save").says(200, "2 Mar 2026 to 9 Mar 2026")
	c.get(person).form("End the agreement").press("").says(200, "Saved.")
	c.get("/board?left=1").says(200, "Nova Bright")

	sup := w.Supervisors[0]
	p = c.get("/people/"+sup.ID).says(200, "Appointments")
	p.form("Appoint and sign").set("task", "caliper").set("passphrase", "no such passphrase").press("").says(422, "passphrase")
	p.form("Appoint and sign").set("task", "caliper").set("qualification", "Licence 12").set("passphrase", w.Coordinators[0].Passphrase).press("").says(200, "Saved.", "Licence 12")
	p = c.get("/people").form("/people/sites").set("name", "Harbour shop").set("zone", "Nowhere/None").press("").says(422)
	if got := p.form("/people/sites").values; got.Get("name") != "Harbour shop" || got.Get("zone") != "Nowhere/None" {
		t.Errorf("the form came back as %v", got)
	}
	c.get("/people").form("/people/sites").set("name", "Harbour shop").press("").says(200, "Saved.", "Harbour shop")
}

func TestRosterListIsCheckedBeforeItIsAdded(t *testing.T) {
	w := newPageWorld(t, nil)
	c := w.as(w.Coordinators[0])
	before := mustInfo(t, w).Entries
	p := c.get("/people/import").form("The list")
	list := "name;login;role;site\nUna One;una;apprentice;\nDuo Two;una;apprentice;\nTre Three;tre;boss;Atlantis\n"
	q := p.set("list", list).press("check").says(422, "3 people", "things to put right", "Una One", "Tre Three")
	if q.hasForm(`value="add"`) {
		t.Error("a list with faults can be added")
	}
	if got := q.form("The list").values.Get("list"); got != list {
		t.Errorf("the list came back as %q", got)
	}
	c.get("/people/import").form("The list").set("list", "who,what\na,b").press("check").says(422, "names no column “name”")
	c.get("/people/import").form("The list").set("list", "").press("check").says(422, "no people in it")
	q = c.get("/people/import").form("The list").set("list", "name,login,role\nUna One,una,apprentice\n\"Two, Duo\",duo,supervisor\n").press("check")
	q.says(200, "nothing wrong found", "Nothing has been added yet.")
	if got := mustInfo(t, w).Entries; got != before {
		t.Errorf("the dry run made %d entries", got-before)
	}
	q.form("The list").press("Add all 2").says(200, "Una One", "Two, Duo", "Code")
	c.get("/people").says(200, "Una One", "Two, Duo")
}

func TestProgrammePageOffersWhatChanged(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, brakes.FS); err != nil {
		t.Fatal(err)
	}
	w := newPageWorld(t, func(c *Config) { c.CurriculumDir = dir })
	c := w.as(w.Coordinators[0])
	c.get("/programme").says(200, "The folder holds what is in use.")
	c.get("/board").hides("not adopted yet")

	path := filepath.Join(dir, "lessons", "safety-induction.md")
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	write := func(b string) {
		if err := os.WriteFile(path, []byte(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(strings.Replace(string(good), "{#", "{#!", 1))
	p := c.get("/programme").says(200, "The folder has errors", "lessons/safety-induction.md, line", "error")
	if p.hasForm("Adopt this edition") {
		t.Error("a broken folder can be adopted")
	}
	c.get("/board").says(200, "it has errors and cannot be adopted")

	write(strings.Replace(string(good), "title: ", "title: Anew, ", 1))
	p = c.get("/programme").says(200, "The folder holds changes")
	p.form("Adopt this edition").set("passphrase", "not the passphrase").press("").says(422, "passphrase")
	p.form("Adopt this edition").set("passphrase", w.Coordinators[0].Passphrase).press("").says(200, "The edition is adopted and in use.", "The folder holds what is in use.")
	w.as(w.Apprentices[0]).get("/lessons").says(200, "Anew, ")

	// The edition before is taken up again by a signature, after a report of what that changes.
	old := regexp.MustCompile(`/programme/editions/[0-9a-f]{64}`).FindString(c.get("/programme").body)
	p = c.get(old).says(200, "What restoring it would change", "is now called", "Nobody has to do anything.")
	p.form("Restore this edition").set("passphrase", "not the passphrase").press("").says(422, "passphrase")
	p.form("Restore this edition").set("passphrase", w.Coordinators[0].Passphrase).press("").says(200, "The edition is adopted and in use.")
	w.as(w.Apprentices[0]).get("/lessons").hides("Anew, ")
	c.get(old).says(200, "This edition is in use.")
	c.get("/programme/editions/"+strings.Repeat("0", 64)).says(404, "no such programme edition")
	w.as(w.Apprentices[0]).get(old).says(403, "None of your roles")

	// A critical step of the induction says whom it touches.
	write(regexp.MustCompile(`(\*\*If (?:skipped|done wrong):\*\*) `).ReplaceAllString(string(good), "$1 Mind: "))
	w.as(w.Apprentices[0]).get("/changes").says(200, "Nothing has changed in what you have read.")
	w.as(w.Apprentices[0]).get("/lessons/safety-induction").form("I have read this lesson").press("").says(200, "you have read this lesson")
	p = c.get("/programme").says(200, "lessons/safety-induction.md", "what follows if it goes wrong", "read and confirm the change.")
	p.form("Adopt this edition").set("passphrase", w.Coordinators[0].Passphrase).press("").says(200, "The edition is adopted and in use.")

	// Whoever read it reads exactly the change and confirms it.
	a := w.as(w.Apprentices[0])
	a.get("/next").says(200, "Changed since you read it", "to read and confirm by")
	a.get("/lessons/safety-induction").says(200, "This lesson has changed since you read it.")
	p = a.get("/changes").says(200, "Read and confirm by", "Before", "Now", "Mind: ")
	p.form("I have read what changed").press("").says(200, "you have read the change and confirm it", "Nothing has changed in what you have read.")
	a.get("/next").hides("Changed since you read it")
	w.as(w.Supervisors[0]).get("/changes").says(403)
}

// TestShopNotePages: a coordinator pins a note to a step without forking the lesson; apprentices read it in the lesson and on the sheet.
func TestShopNotePages(t *testing.T) {
	w := newPageWorld(t, nil)
	c, a := w.as(w.Coordinators[0]), w.as(w.Apprentices[0])
	a.get("/lessons/safety-induction").hides("Shop note:", "Shop notes beside the steps")
	p := c.get("/lessons/safety-induction").follow("Shop notes beside the steps").says(200, "No notes hang here.")
	step := regexp.MustCompile(`<option value="([^"]+)"`).FindStringSubmatch(p.body)[1]
	p.form("Pin it").set("step", step).set("note", " ").press("").says(422, "Write what the note says.")
	p.form("Pin it").set("step", step).set("note", "Keep these words "+strings.Repeat("x", 400)).press("").says(422, "Keep these words", "too long")
	p = p.form("Pin it").set("step", step).set("note", "The <chocks> hang at bay 3.").press("").says(200, "The note is pinned", "The <chocks> hang at bay 3.")
	a.get("/lessons/safety-induction").says(200, "Shop note:", "The <chocks> hang at bay 3.")
	a.get("/lessons/safety-induction/notes").says(200, "The <chocks> hang at bay 3.").hides("Take off", "Pin it")
	a.post("/lessons/safety-induction/notes", url.Values{"step": {step}, "note": {"x"}}).says(403)
	p.form("Take off").press("").says(200, "It stays in the record.", "taken off by")
	a.get("/lessons/safety-induction").hides("Shop note:")
	c.get("/ledger").says(200, "A shop note was pinned, or taken off")
}

// TestNewerProgramOffersItsProgramme: what was pinned when the programme was founded stays in use under a newer program, which offers
// its own as a change report; only a signature takes it up. A programme of another title is offered nothing.
func TestNewerProgramOffersItsProgramme(t *testing.T) {
	newer := fstest.MapFS{}
	if err := fs.WalkDir(brakes.FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			b, err := fs.ReadFile(brakes.FS, path)
			newer[path] = &fstest.MapFile{Data: b}
			return err
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	path := "lessons/safety-induction.md"
	newer[path].Data = []byte(strings.Replace(string(newer[path].Data), "title: ", "title: Anew, ", 1))
	w := newPageWorld(t, func(c *Config) { c.Embedded = newer })
	pinned := mustInfo(t, w).Programme
	c := w.as(w.Coordinators[0])
	w.as(w.Apprentices[0]).get("/lessons").hides("Anew, ")
	p := c.get("/programme").says(200, "The programme that comes with this version", "is now called", "count only when a coordinator adopts them")
	c.get("/board").says(200, "not adopted yet")
	if got := mustInfo(t, w).Programme; got != pinned {
		t.Errorf("in use: %s, pinned was %s", got, pinned)
	}
	p.form("Adopt this edition").set("passphrase", w.Coordinators[0].Passphrase).press("").says(200, "The edition is adopted and in use.")
	w.as(w.Apprentices[0]).get("/lessons").says(200, "Anew, ")
	c.get("/programme").hides("The programme that comes with this version")

	other := fstest.MapFS{}
	for k, v := range newer {
		other[k] = v
	}
	other["programme.yaml"] = &fstest.MapFile{Data: []byte(strings.Replace(string(newer["programme.yaml"].Data), "title: ", "title: Another, ", 1))}
	w = newPageWorld(t, func(c *Config) { c.Embedded = other })
	w.as(w.Coordinators[0]).get("/programme").hides("The programme that comes with this version")
}

func TestLedgerPages(t *testing.T) {
	w := newPageWorld(t, nil)
	c := w.as(w.Coordinators[0])
	p := c.get("/ledger").says(200, "entries, the newest first")
	for p.status == 200 && strings.Contains(p.body, ">Older<") {
		p = p.follow("Older").says(200)
	}
	p.says(200, "The programme was founded").follow("The programme was founded").says(200, "SHA-256", "As it stands in the ledger")
	c.get("/ledger/01a2101d-c4cd-79bb-a653-38a3651805e3").says(404)
	c.get("/ledger/nonsense").says(404)
	// Apprentices see entries of their own record only.
	mine, err := w.Store.Entries(context.Background(), store.EntryFilter{Subject: w.Apprentices[0].ID, Limit: 1})
	if err != nil || len(mine) == 0 {
		t.Fatal(err)
	}
	w.as(w.Apprentices[0]).get("/ledger/" + mine[0].Entry.Body.ID).says(200)
	w.as(w.Apprentices[1]).get("/ledger/" + mine[0].Entry.Body.ID).says(403)
}

func TestSeveralRolesSeeAllTheirSections(t *testing.T) {
	w := newPageWorld(t, nil)
	if err := w.server.acts.GrantRole(context.Background(), mustPerson(t, w, w.Coordinators[0].ID), w.Coordinators[1].ID, store.Role{Role: acts.Supervisor}, w.Coordinators[0].Passphrase); err != nil {
		t.Fatal(err)
	}
	p := w.as(w.Coordinators[1]).get("/")
	p.says(200, "Waiting", "Today’s floor", "Roster", "Ledger")
	if p.url.Path != "/waiting" {
		t.Errorf("the day begins at %s", p.url.Path)
	}
}

func mustPerson(t testing.TB, w *pageWorld, id string) *store.Person {
	t.Helper()
	p, err := w.Store.Person(context.Background(), id)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestDemoShowsItsLogIns(t *testing.T) {
	w := newPageWorld(t, func(c *Config) {
		c.DemoPeople = []DemoPerson{{Name: "Invented", Login: "inv", Password: "shown words", Roles: []string{"supervisor"}}}
	})
	w.browser().get("/login").says(200).hides("shown words") // the database is no demonstration
}
