package browsertest

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"

	"brakewright/quiz"
	"brakewright/server"
	"brakewright/server/acts/actstest"
)

// site is a shop, founded through the acts, behind a real server.
type site struct {
	*actstest.Shop
	t   *testing.T
	url string

	mu   sync.Mutex
	sent *bytes.Buffer // everything the server answered since [site.record], nil while nobody asks
}

// newSite is a shop with the embedded programme.
func newSite(t *testing.T) *site {
	t.Helper()
	return newSiteOf(t, actstest.Config{})
}

func newSiteOf(t *testing.T, c actstest.Config) *site {
	t.Helper()
	s := &site{Shop: actstest.Found(t, c), t: t}
	h, err := server.New(server.Config{Acts: s.Acts, Store: s.Store, Version: "test", Logger: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))})
	if err != nil {
		t.Fatal(err)
	}
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h.ServeHTTP(&tee{w, s}, r)
	}))
	t.Cleanup(web.Close)
	s.url = web.URL
	return s
}

// tee copies what the server answers.
type tee struct {
	http.ResponseWriter
	site *site
}

func (w *tee) Write(b []byte) (int, error) {
	w.site.mu.Lock()
	if w.site.sent != nil {
		w.site.sent.Write(b)
	}
	w.site.mu.Unlock()
	return w.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach the connection.
func (w *tee) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// record keeps what the server answers from now on.
func (s *site) record() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sent = &bytes.Buffer{}
}

// recorded is what was answered since record.
func (s *site) recorded() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := s.sent.String()
	s.sent = nil
	return out
}

// visit opens a window in which nobody is logged in.
func (s *site) visit(d size) *visitor { return newVisitor(s.t, s.url, d, true) }

// visitAs opens a window and logs somebody in on the page.
func (s *site) visitAs(m *actstest.Member, d size) *visitor {
	s.t.Helper()
	v := s.visit(d)
	v.logIn(m)
	return v
}

func (v *visitor) logIn(m *actstest.Member) {
	v.t.Helper()
	v.open("/login")
	v.fill("#login", m.Login)
	v.fill("#password", m.Password)
	v.press("Log in")
}

// openTest is the apprentice's open theory test, with its form as the store keeps it.
func (s *site) openTest(v *visitor) (id string, form *quiz.Form) {
	s.t.Helper()
	v.at(`/tests/[0-9a-f-]{36}/questions/[0-9]+.*`)
	id = v.where()[len("/tests/"):][:36]
	form, _ = s.Form(id)
	return id, form
}

// answer gives an answer on a question's page, as that kind of question takes it.
func (v *visitor) answer(q quiz.Question, a quiz.Answer) {
	v.t.Helper()
	switch q.Kind {
	case quiz.Several:
		for _, id := range a.IDs {
			v.choose(`input[name=answer][value="` + id + `"]`)
		}
	case quiz.Order:
		v.putInOrder(a.IDs)
	case quiz.Match:
		for _, p := range a.Pairs {
			v.pick(`#match-`+p[0], p[1])
		}
	case quiz.Number:
		v.fill("#answer", a.Text)
	default:
		v.choose(`input[name=answer][value="` + a.ID + `"]`)
	}
}

// order is the ids of the lines as they stand.
func (v *visitor) order() []string {
	v.t.Helper()
	return mustEval[[]string](v, `[...document.querySelectorAll("[data-order] input[name=order]")].map((i) => i.value)`)
}

// putInOrder moves lines up with their arrows, one place a press.
func (v *visitor) putInOrder(want []string) {
	v.t.Helper()
	for at, id := range want {
		for {
			now := v.order()
			from := index(now, id)
			if from < 0 {
				v.t.Fatalf("%s: line %s is not on %s", v.size.name, id, v.where())
			}
			if from == at {
				break
			}
			arrow := `button[name=move][value="` + id + `:up"]`
			if v.script {
				v.touch(arrow, "document.querySelector("+quote(arrow)+")")
				v.wait("a line to move up", func() bool { return index(v.order(), id) == from-1 })
			} else {
				v.pressAt(arrow)
			}
		}
	}
}

func index(list []string, s string) int {
	for i, x := range list {
		if x == s {
			return i
		}
	}
	return -1
}

// supposes asks on the page of a task what would be if the shortest way went well.
func (s *site) supposes(v *visitor) {
	s.t.Helper()
	v.says("What to do next", "Suppose these go well")
	v.press("See where that leads")
	v.says("That would do: a supervisor could decide.")
}
