package browsertest

import (
	"bytes"
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"slices"
	"testing"

	"brakewright/server/acts/actstest"
)

// caller calls the API as somebody.
type caller struct {
	s     *site
	token string
}

// call gives status and body.
func (c *caller) call(method, path string, body any) (int, []byte) {
	c.s.t.Helper()
	raw, err := json.Marshal(body)
	if err != nil {
		c.s.t.Fatal(err)
	}
	r, err := http.NewRequest(method, c.s.url+"/api/v1"+path, bytes.NewReader(raw))
	if err != nil {
		c.s.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		c.s.t.Fatal(err)
	}
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	if err != nil {
		c.s.t.Fatal(err)
	}
	return resp.StatusCode, out
}

func (s *site) callAs(m *actstest.Member) *caller {
	s.t.Helper()
	c := &caller{s: s}
	status, body := c.call("POST", "/login", map[string]string{"login": m.Login, "password": m.Password})
	var out struct{ Token string }
	if err := json.Unmarshal(body, &out); err != nil || status != http.StatusOK {
		s.t.Fatalf("log in: %d %s (%v)", status, body, err)
	}
	c.token = out.Token
	return c
}

// TestKeysStayHere begins the test of every task over the API and looks at everything that comes back, and at every page of
// the open test, for what only the stored form may hold.
func TestKeysStayHere(t *testing.T) {
	s := newSite(t)
	learner := s.Apprentices[0]
	for _, task := range s.Programme.Tasks {
		s.Read(learner, task.ID)
	}
	c := s.callAs(learner)
	v := newVisitor(t, s.url, desktop, true)
	v.logIn(learner)
	for _, task := range s.Programme.Tasks {
		if s.Programme.Policy.Task(task.ID).TheoryTest == nil {
			continue
		}
		s.record()
		status, body := c.call("POST", "/tests", map[string]string{"task": task.ID, "vehicle": car})
		var got struct {
			ID        string
			Questions []map[string]json.RawMessage
		}
		if err := json.Unmarshal(body, &got); err != nil || status != http.StatusCreated {
			t.Fatalf("%s: %d %s (%v)", task.ID, status, body, err)
		}
		form, _ := s.Form(got.ID)
		if len(got.Questions) != len(form.Questions) {
			t.Fatalf("%s: %d questions, the form has %d", task.ID, len(got.Questions), len(form.Questions))
		}
		for i, q := range got.Questions {
			for _, field := range slices.Sorted(maps.Keys(q)) {
				if !slices.Contains([]string{"id", "kind", "lesson", "vehicle", "picture", "stem", "options", "targets"}, field) {
					t.Errorf("%s, question %d has the field %q", task.ID, i+1, field)
				}
			}
			for _, field := range []string{"options", "targets"} {
				var lines []map[string]json.RawMessage
				if raw, is := q[field]; is {
					if err := json.Unmarshal(raw, &lines); err != nil {
						t.Fatal(err)
					}
				}
				for _, line := range lines {
					if names := slices.Sorted(maps.Keys(line)); !slices.Equal(names, []string{"id", "text"}) {
						t.Errorf("%s, question %d: an option has the fields %v", task.ID, i+1, names)
					}
				}
			}
		}
		q := form.Questions[0]
		c.call("PUT", "/tests/"+got.ID+"/answers/"+q.ID, actstest.RightAnswer(q))
		c.call("GET", "/tests/"+got.ID, nil)
		v.open("/tests/" + got.ID)
		v.open("/tests/" + got.ID + "/hand-in")
		v.open("/next")
		hidesKey(v, form, s.recorded())
	}
}
