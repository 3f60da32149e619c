package server

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

func TestFailureOf(t *testing.T) {
	for _, tt := range []struct {
		name   string
		err    error
		status int
		code   string
	}{
		{"refusal", &acts.Refusal{Code: "not_allowed", Status: 403}, 403, "not_allowed"},
		{"refusal without a status", &acts.Refusal{Code: "bad_date"}, 422, "bad_date"},
		{"not found", store.ErrNotFound, 404, "not_found"},
		{"conflict", store.ErrConflict, 409, "id_taken"},
		{"busy", store.ErrBusy, 503, "busy"},
		{"rule", &ledger.RuleError{Code: "login_taken"}, 422, "rule_login_taken"},
		{"passphrase", ledger.ErrPassphrase, 422, "passphrase_wrong"},
		{"too much", &http.MaxBytesError{Limit: 1}, 413, "too_large"},
		{"anything else", http.ErrNoCookie, 500, "internal"},
		{"wrapped", badForm(&http.MaxBytesError{Limit: 1}), 413, "too_large"},
		{"bad form", badForm(http.ErrNotMultipart), 400, "bad_form"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := failureOf(tt.err)
			if f.status != tt.status || f.code != tt.code || f.text == "" {
				t.Errorf("%d %s %q, want %d %s", f.status, f.code, f.text, tt.status, tt.code)
			}
			if strings.Contains(f.text, "cookie") {
				t.Errorf("our own error is told: %s", f.text)
			}
		})
	}
	if f := failureOf(store.ErrBusy); f.retryAfter == 0 {
		t.Error("busy without a time to come again")
	}
}

func TestLocalPath(t *testing.T) {
	for in, want := range map[string]string{
		"": "/", "/": "/", "/board?site=1": "/board?site=1", "board": "/", "//evil.example": "/", "https://evil.example/": "/",
		`/\evil.example`: "/", "/a\r\nSet-Cookie: x": "/", "javascript:alert(1)": "/",
	} {
		if got := localPath(in); got != want {
			t.Errorf("localPath(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestSeeOtherPutsTheNoticeBeforeTheAnchor(t *testing.T) {
	for path, want := range map[string]string{
		"/a": "/a?notice=saved", "/a?b=1": "/a?b=1&notice=saved", "/a#x": "/a?notice=saved#x", "/a?b=1#x": "/a?b=1&notice=saved#x",
	} {
		if got := withNotice(path, "saved"); got != want {
			t.Errorf("withNotice(%q) = %q, want %q", path, got, want)
		}
	}
	for code, text := range notices {
		if text == "" || !strings.HasSuffix(text, ".") {
			t.Errorf("notice %s: %q", code, text)
		}
	}
}

func TestChanceWords(t *testing.T) {
	for p, want := range map[float64]string{
		0: "less than 1 in 10", 0.12: "about 1 in 10", 0.5: "about 5 in 10", 0.88: "about 9 in 10", 0.92: "about 9 in 10", 0.95: "about 19 in 20",
		0.97: "about 49 in 50", 0.99: "about 99 in 100",
	} {
		if got := chanceWords(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
	if got := percentText(0.917); got != "91.7 %" {
		t.Error(got)
	}
}

func TestStandingMarksDifferWithoutColour(t *testing.T) {
	seen := map[string]readiness.Standing{}
	for _, s := range standingsInOrder {
		m := standingMarks[s]
		if m == "" || seen[m] != "" {
			t.Errorf("%s has no shape of its own", s)
		}
		seen[m] = s
	}
}

func orderQuestion(ids ...string) quiz.PublicQuestion {
	q := quiz.PublicQuestion{ID: "q", Kind: quiz.Order}
	for _, id := range ids {
		q.Options = append(q.Options, quiz.PublicOption{ID: id, Text: "text of " + id})
	}
	return q
}

func TestAnswerFrom(t *testing.T) {
	choose := quiz.PublicQuestion{Options: []quiz.PublicOption{{ID: "a"}, {ID: "b"}, {ID: "c"}}, Targets: []quiz.PublicOption{{ID: "x"}, {ID: "y"}}}
	kind := func(k quiz.Kind) quiz.PublicQuestion { q := choose; q.Kind = k; return q }
	for _, tt := range []struct {
		name  string
		q     quiz.PublicQuestion
		f     url.Values
		want  quiz.Answer
		given bool
	}{
		{"single", kind(quiz.Single), url.Values{"answer": {"b"}}, quiz.Answer{ID: "b"}, true},
		{"single, nothing", kind(quiz.Single), url.Values{}, quiz.Answer{}, false},
		{"single, no such option", kind(quiz.Single), url.Values{"answer": {"z"}}, quiz.Answer{}, false},
		{"point", kind(quiz.Point), url.Values{"answer": {"c"}}, quiz.Answer{ID: "c"}, true},
		{"several", kind(quiz.Several), url.Values{"answer": {"c", "a", "c", "z"}}, quiz.Answer{IDs: []string{"c", "a"}}, true},
		{"several, none", kind(quiz.Several), url.Values{}, quiz.Answer{}, false},
		{"match", kind(quiz.Match), url.Values{"match-a": {"y"}, "match-b": {""}, "match-c": {"no"}}, quiz.Answer{Pairs: [][2]string{{"a", "y"}}}, true},
		{"number", kind(quiz.Number), url.Values{"answer": {" 22.5 mm "}}, quiz.Answer{Text: "22.5 mm"}, true},
		{"number, blank", kind(quiz.Number), url.Values{"answer": {"  "}}, quiz.Answer{}, false},
		{"order, as it stands", orderQuestion("a", "b", "c"), url.Values{"order": {"c", "a", "b"}}, quiz.Answer{IDs: []string{"c", "a", "b"}}, true},
		{"order, up", orderQuestion("a", "b", "c"), url.Values{"order": {"a", "b", "c"}, "move": {"c:up"}}, quiz.Answer{IDs: []string{"a", "c", "b"}}, true},
		{"order, down at the end", orderQuestion("a", "b", "c"), url.Values{"order": {"a", "b", "c"}, "move": {"c:down"}}, quiz.Answer{IDs: []string{"a", "b", "c"}}, true},
		{"order, typed to the front", orderQuestion("a", "b", "c"), url.Values{"order": {"a", "b", "c"}, "at-a": {"1"}, "at-b": {"2"}, "at-c": {"1"}}, quiz.Answer{IDs: []string{"c", "a", "b"}}, true},
		{"order, typed to the end", orderQuestion("a", "b", "c"), url.Values{"order": {"a", "b", "c"}, "at-a": {"3"}}, quiz.Answer{IDs: []string{"b", "c", "a"}}, true},
		{"order, all typed", orderQuestion("a", "b", "c"), url.Values{"order": {"a", "b", "c"}, "at-a": {"3"}, "at-b": {"1"}, "at-c": {"2"}}, quiz.Answer{IDs: []string{"b", "c", "a"}}, true},
		{"order, nonsense", orderQuestion("a", "b"), url.Values{"order": {"z", "b", "b"}, "at-b": {"many"}}, quiz.Answer{IDs: []string{"b", "a"}}, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, given := answerFrom(tt.q, tt.f)
			if given != tt.given || (given && cmp.Diff(tt.want, got) != "") {
				t.Errorf("%+v %v, want %+v %v", got, given, tt.want, tt.given)
			}
		})
	}
}

// TestOrderKeepsEveryLine whatever a form holds: an order is always all options, each once.
func TestOrderKeepsEveryLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := orderQuestion("a", "b", "c", "d", "e")
		f := url.Values{"order": rapid.SliceOf(rapid.SampledFrom([]string{"a", "b", "c", "d", "e", "z", ""})).Draw(t, "order")}
		for _, o := range q.Options {
			f.Set("at-"+o.ID, rapid.SampledFrom([]string{"", "0", "1", "2", "5", "-3", "99", "x"}).Draw(t, "at"))
		}
		f.Set("move", rapid.SampledFrom([]string{"", "a:up", "e:down", "none:", "z:up", "b"}).Draw(t, "move"))
		a, _ := answerFrom(q, f)
		got := slices.Sorted(slices.Values(a.IDs))
		if !slices.Equal(got, []string{"a", "b", "c", "d", "e"}) {
			t.Fatalf("%v gives %v", f, a.IDs)
		}
	})
}

func TestRightOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "n")
		ids := make([]string, n)
		for i := range ids {
			ids[i] = string(rune('a' + i))
		}
		given := rapid.Permutation(ids).Draw(t, "given")
		var pairs [][2]string // of a random partial order that the alphabet extends, transitively closed
		less := map[[2]int]bool{}
		for i := range n {
			for j := i + 1; j < n; j++ {
				less[[2]int{i, j}] = rapid.Bool().Draw(t, "less")
			}
		}
		for k := range n {
			for i := range n {
				for j := range n {
					if less[[2]int{i, k}] && less[[2]int{k, j}] {
						less[[2]int{i, j}] = true
					}
				}
			}
		}
		for p, is := range less {
			if is {
				pairs = append(pairs, [2]string{ids[p[0]], ids[p[1]]})
			}
		}
		got := rightOrder(given, pairs)
		if len(got) != n {
			t.Fatalf("%v of %v", got, given)
		}
		for _, p := range pairs {
			if slices.Index(got, p[0]) > slices.Index(got, p[1]) {
				t.Fatalf("%v breaks %v", got, p)
			}
		}
	})
}

func TestSourcePath(t *testing.T) {
	for element, want := range map[string]string{
		"procedure/undo-nuts/why": "/lessons/l?vehicle=v#procedure/undo-nuts",
		"cautions/2/hazard":       "/lessons/l?vehicle=v#cautions/2",
		"vehicle/rotor.new":       "/vehicles/v",
		"order/bleed":             "/lessons/l?vehicle=v",
	} {
		if got := sourcePath("l", "v", element); got != want {
			t.Errorf("%s: %q, want %q", element, got, want)
		}
	}
	if got := sourcePath("l", "", "vehicle/rotor.new"); got != "/lessons/l" {
		t.Error(got)
	}
}

func TestTapsFrom(t *testing.T) {
	nonce := uuid.Must(uuid.NewV7()).String()
	with := func(pairs ...string) url.Values {
		f := url.Values{"nonce": {nonce}}
		for i := 0; i < len(pairs); i += 2 {
			f.Set(pairs[i], pairs[i+1])
		}
		return f
	}
	yes := true
	for _, tt := range []struct {
		name string
		f    url.Values
		want []store.Tap
	}{
		{"result", with("step", "l/s", "result", "prompted"), []store.Tap{{Step: "l/s", Result: "prompted"}}},
		{"critical error", with("step", "l/s", "result", "taken_over", "critical_error", "1", "what_happened", " x "), []store.Tap{{Step: "l/s", Result: "taken_over", CriticalError: true, WhatHappened: "x"}}},
		{"unaided and accepted", with("step", "l/s", "both", "1"), []store.Tap{{Step: "l/s", Result: "unaided"}, {Step: "l/s", Hold: "accepted"}}},
		{"sent back", with("step", "l/s", "hold", "sent_back", "reason", "again"), []store.Tap{{Step: "l/s", Hold: "sent_back", Reason: "again"}}},
		{"reading", with("step", "l/s", "measure", "2", "value", " 22.5 ", "unit", "mm", "instrument", "gauge"), []store.Tap{{Step: "l/s", Reading: &store.TapReading{Measure: 2, Value: "22.5", Unit: "mm", Instrument: "gauge"}}}},
		{"outcome", with("outcome", "finished", "difficulty", "usual"), []store.Tap{{Outcome: "finished", Difficulty: "usual"}}},
		{"near miss", with("near_miss", "yes"), []store.Tap{{NearMiss: &yes}}},
		{"note", with("note", " slow "), []store.Tap{{Note: "slow"}}},
		{"undo", with("undo", "t"), []store.Tap{{Undo: "t"}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tapsFrom(tt.f, 7)
			if err != nil {
				t.Fatal(err)
			}
			again, _ := tapsFrom(tt.f, 8)
			ids := map[string]bool{}
			for i := range got {
				if !ledger.ValidID(got[i].ID) || got[i].At != 7 || ids[got[i].ID] {
					t.Errorf("tap %+v", got[i])
				}
				if again[i].ID != got[i].ID {
					t.Error("the same button gives another tap")
				}
				ids[got[i].ID] = true
				got[i].ID, got[i].At = "", 0
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
	a, _ := tapsFrom(with("step", "l/s", "result", "unaided"), 1)
	b, _ := tapsFrom(with("step", "l/s", "result", "prompted"), 1)
	if a[0].ID == b[0].ID {
		t.Error("two buttons are one tap")
	}
	if _, err := tapsFrom(url.Values{"result": {"unaided"}}, 1); err == nil {
		t.Error("a form without its number is taken")
	}
}

func TestPageOf(t *testing.T) {
	all := []int{1, 2, 3, 4, 5, 6, 7}
	for _, tt := range []struct {
		n, page, of int
		want        []int
	}{
		{1, 1, 3, []int{7, 6, 5}}, {2, 2, 3, []int{4, 3, 2}}, {3, 3, 3, []int{1}}, {0, 1, 3, []int{7, 6, 5}}, {99, 3, 3, []int{1}},
	} {
		got, page, of := pageOf(all, tt.n, 3)
		if !slices.Equal(got, tt.want) || page != tt.page || of != tt.of {
			t.Errorf("page %d: %v %d of %d", tt.n, got, page, of)
		}
	}
	if got, page, of := pageOf([]int{}, 1, 3); len(got) != 0 || page != 1 || of != 1 {
		t.Error(got, page, of)
	}
}

func TestClock(t *testing.T) {
	c, err := newClock("Europe/Madrid", time.Date(2026, 1, 5, 23, 30, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	if got := c.today(); got != "2026-01-06" {
		t.Errorf("today is %s", got)
	}
	if got := c.at(time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)).Text; got != "1 Jul 2026, 14:00" {
		t.Error(got)
	}
	if got := c.at(time.Time{}); got != (moment{}) {
		t.Error(got)
	}
	if got := c.day("2026-02-03").Text + c.day("").Text + c.day("soon").Text; got != "3 Feb 2026soon" {
		t.Error(got)
	}
	for d, want := range map[time.Duration]string{time.Second: "just now", time.Minute: "1 minute ago", 90 * time.Minute: "1 hour ago", 47 * time.Hour: "47 hours ago", 72 * time.Hour: "3 days ago"} {
		if got := c.ago(c.now.Add(-d)); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
	if _, err := newClock("Nowhere/None", time.Now()); err == nil {
		t.Error("an unknown zone is taken")
	}
}

func TestReadRoster(t *testing.T) {
	sites := []store.Site{{ID: "s1", Name: "North"}, {ID: "s2", Name: "South"}}
	cohorts := []store.Cohort{{ID: "c1", Name: "Autumn", Site: "s1"}, {ID: "c2", Name: "Autumn", Site: "s2"}}
	people, rows, err := readRoster("\ufeffName, Login ,role,site,cohort,from\r\nAna,ana,Apprentice,south,autumn,2026-01-31\r\n\"Bo, jr\",bo,supervisor,,,\r\n", sites, cohorts)
	if err != nil {
		t.Fatal(err)
	}
	want := []acts.NewPerson{{Name: "Ana", Login: "ana", Role: "apprentice", Site: "s2", Cohort: "c2", From: "2026-01-31"}, {Name: "Bo, jr", Login: "bo", Role: "supervisor"}}
	if d := cmp.Diff(want, people); d != "" || len(rows) != 2 {
		t.Error(d)
	}
	_, rows, err = readRoster("name\tlogin\trole\tsite\tcohort\nAna\tana\tapprentice\tMoon\tSpring", sites, cohorts)
	f := failureOf(err)
	if len(rows) != 1 || len(f.problems) != 2 || f.problems[0].field != "people[0].site" || f.problems[0].text == "" {
		t.Errorf("%+v", f)
	}
	for in, code := range map[string]string{"": "list_empty", "name,login,role\n": "list_empty", "name,role\nA,b": "list_column_missing", "name,login,role\n\"A,b": "list_unreadable"} {
		if _, _, err := readRoster(in, sites, cohorts); failureOf(err).code != code {
			t.Errorf("%q: %v, want %s", in, err, code)
		}
	}
}

// FuzzReadRoster: whatever is pasted, people and rows agree, and nothing panics.
func FuzzReadRoster(f *testing.F) {
	for _, s := range []string{"", "name,login,role\nA,a,apprentice", "name;login;role\n\"", "\ufeffname\tlogin\trole\nA\tb\tc\td", "name,login,role\n\n,,\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		people, rows, err := readRoster(s, []store.Site{{ID: "s", Name: "S"}}, nil)
		if len(people) != len(rows) || err == nil && len(people) == 0 {
			t.Fatalf("%d people, %d rows, %v", len(people), len(rows), err)
		}
	})
}

func TestSections(t *testing.T) {
	at := "2026-01-05"
	role := func(names ...string) *store.Person {
		p := &store.Person{}
		for _, n := range names {
			p.Roles = append(p.Roles, store.Role{Role: n, From: "2026-01-01"})
		}
		return p
	}
	me := role("apprentice")
	me.ID = "me"
	left := role("apprentice")
	left.Agreements = []store.Agreement{{From: "2025-01-01", Until: "2026-01-04"}}
	for path, want := range map[string]string{"/people/me/standing": "/standing", "/people/me/tasks/caliper": "/standing", "/people/me/record": "/record", "/people/other/record": "", "/lessons/x": "/lessons"} {
		got := ""
		for _, l := range sections(me, at, path)[0].Links {
			if l.Current {
				got += l.Path
			}
		}
		if got != want {
			t.Errorf("%s is under %q", path, got)
		}
	}
	for _, tt := range []struct {
		p     *store.Person
		first string
		paths string
	}{
		{role("apprentice"), "/next", "/next /lessons /standing /jobs/ask /record"},
		{role("supervisor"), "/waiting", "/waiting /sign /floor /board /cases /matters /lessons"},
		{role("coordinator"), "/board", "/board /jobs /cases /matters /waivers /people /keys /questions /programme /ledger /lessons"},
		{role("coordinator", "supervisor"), "/waiting", "/waiting /sign /floor /board /cases /matters /jobs /waivers /people /keys /questions /programme /ledger /lessons"},
		{&store.Person{Roles: []store.Role{{Role: "supervisor", From: "2026-02-01"}}}, "/account", ""},
		{left, "/next", "/next /lessons /standing /record"},
	} {
		var paths []string
		for _, s := range sections(tt.p, at, "/board") {
			for _, l := range s.Links {
				paths = append(paths, l.Path)
				if l.Current != (l.Path == "/board") {
					t.Errorf("%s current: %v", l.Path, l.Current)
				}
			}
		}
		if got := strings.Join(paths, " "); got != tt.paths || firstPath(tt.p, at) != tt.first {
			t.Errorf("%v: %q, first %s", tt.p.Roles, got, firstPath(tt.p, at))
		}
	}
}

// TestPassageIsSaidOnce tells a passage that a reader has already read from one that adds words.
func TestPassageIsSaidOnce(t *testing.T) {
	for _, c := range []struct {
		text, passage string
		want          bool
	}{
		{"“Rusted thread – All heads alike”", "Rusted thread.", true},
		{"In the drawing, 6 is: Rule.", "6: Rule.", true},
		{"“Worn pump seal – It goes on with the handle tight”", "Jack sinks by itself. Worn pump seal.", false},
		{"anything", "", true},
	} {
		if got := says(c.text, c.passage); got != c.want {
			t.Errorf("says(%q, %q) = %v", c.text, c.passage, got)
		}
	}
}

// TestManyStepsAreListed parts a sentence from the many steps that it ends in, and leaves a short one whole.
func TestManyStepsAreListed(t *testing.T) {
	head, items := listed("Do these: a; b; c; d.", map[string]string{"steps": "a; b; c; d"})
	if head != "Do these:" || len(items) != 4 {
		t.Errorf("%q %q", head, items)
	}
	if head, items = listed("Do these: a; b.", map[string]string{"steps": "a; b"}); head != "Do these: a; b." || items != nil {
		t.Errorf("%q %q", head, items)
	}
	if head, items = listed("Read the lesson.", nil); head != "Read the lesson." || items != nil {
		t.Errorf("%q %q", head, items)
	}
}
