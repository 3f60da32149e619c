package server

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v4"

	"brakewright/curriculum"
	"brakewright/curriculum/brakes"
	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/ledger/passkeytest"
	"brakewright/store/storetest"

	"golang.org/x/mod/sumdb/tlog"
)

// apiDescription is openapi.yaml with its schemas compiled.
type apiDescription struct {
	doc      map[string]any
	compiler *jsonschema.Compiler
}

func readAPIDescription(t testing.TB) *apiDescription {
	t.Helper()
	var loose any
	if err := yaml.Unmarshal(openAPI, &loose); err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(loose)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("openapi.json", doc); err != nil {
		t.Fatal(err)
	}
	return &apiDescription{doc.(map[string]any), c}
}

// at walks the description; nil if there is nothing. It follows references.
func (d *apiDescription) at(path ...string) any {
	var v any = d.doc
	for _, p := range path {
		m, _ := v.(map[string]any)
		v = m[p]
		if m, _ := v.(map[string]any); m != nil {
			if ref, _ := m["$ref"].(string); ref != "" {
				v = d.at(strings.Split(strings.TrimPrefix(ref, "#/"), "/")...)
			}
		}
	}
	return v
}

// schema compiles the schema at a path.
func (d *apiDescription) schema(t testing.TB, path ...string) *jsonschema.Schema {
	t.Helper()
	// A reference on the way is resolved first: a JSON pointer cannot go through it.
	var done []string
	for _, p := range path {
		done = append(done, p)
		m, _ := d.raw(done...).(map[string]any)
		if ref, _ := m["$ref"].(string); ref != "" {
			done = strings.Split(strings.TrimPrefix(ref, "#/"), "/")
		}
	}
	for i, p := range done {
		done[i] = strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D").Replace(p)
	}
	s, err := d.compiler.Compile("openapi.json#/" + strings.Join(done, "/"))
	if err != nil {
		t.Fatalf("schema of %v: %v", path, err)
	}
	return s
}

// raw is at without following the last reference.
func (d *apiDescription) raw(path ...string) any {
	var v any = d.doc
	for _, p := range path {
		m, _ := v.(map[string]any)
		v = m[p]
	}
	return v
}

func TestAPIDescriptionListsEveryRoute(t *testing.T) {
	d := readAPIDescription(t)
	described := map[string]bool{}
	for path, item := range d.at("paths").(map[string]any) {
		for method := range item.(map[string]any) {
			described[strings.ToUpper(method)+" "+path] = true
		}
	}
	for _, r := range apiRoutes {
		key := r.method + " " + r.path
		if !described[key] {
			t.Errorf("%s is served but not described", key)
		}
		delete(described, key)
		method := strings.ToLower(r.method)
		if _, open := d.at("paths", r.path, method).(map[string]any)["security"]; open != r.open {
			t.Errorf("%s: open is %v, the description says %v", key, r.open, open)
		}
		var named []string
		params, _ := d.at("paths", r.path, method, "parameters").([]any)
		for _, p := range params {
			m := p.(map[string]any)
			if ref, _ := m["$ref"].(string); ref != "" {
				m = d.at(strings.Split(strings.TrimPrefix(ref, "#/"), "/")...).(map[string]any)
			}
			if m["in"] == "path" {
				named = append(named, m["name"].(string))
			}
		}
		var inPath []string
		for _, m := range regexp.MustCompile(`\{(\w+)\}`).FindAllStringSubmatch(r.path, -1) {
			inPath = append(inPath, m[1])
		}
		if !slices.Equal(named, inPath) {
			t.Errorf("%s: path has %v, the description names %v", key, inPath, named)
		}
	}
	for key := range described {
		t.Errorf("%s is described but not served", key)
	}
}

func TestAPIExamplesFitTheirSchemas(t *testing.T) {
	d := readAPIDescription(t)
	n := 0
	var walk func(v any, path []string)
	walk = func(v any, path []string) {
		m, ok := v.(map[string]any)
		if !ok {
			return
		}
		if _, has := m["schema"]; has {
			s := d.schema(t, append(slices.Clone(path), "schema")...)
			examples := map[string]any{}
			if e, ok := m["example"]; ok {
				examples["example"] = e
			}
			more, _ := m["examples"].(map[string]any)
			for name, e := range more {
				examples[name] = e.(map[string]any)["value"]
			}
			for name, e := range examples {
				n++
				if err := s.Validate(e); err != nil {
					t.Errorf("%s, %s: %v", strings.Join(path, " "), name, err)
				}
			}
		}
		for k, x := range m {
			walk(x, append(slices.Clone(path), k))
		}
	}
	walk(d.doc["paths"], []string{"paths"})
	walk(d.at("components", "responses"), []string{"components", "responses"})
	if n < 30 {
		t.Errorf("only %d examples were found", n)
	}
}

// apiWorld is a server over a founded programme; every call is held against the description.
type apiWorld struct {
	*storetest.World
	t      testing.TB
	server *Server
	api    *apiDescription
	site   *httptest.Server
}

func newAPIWorld(t testing.TB, dir string) *apiWorld {
	t.Helper()
	p, problems := curriculum.Load(brakes.FS)
	if p == nil {
		t.Fatalf("the embedded programme: %v", problems)
	}
	var tasks []string
	for _, x := range p.Tasks {
		tasks = append(tasks, x.ID)
	}
	w := storetest.New(t, storetest.Config{Programme: acts.StoredProgramme(p), Parameters: readiness.DefaultParameters().JSON(), Tasks: tasks})
	s, err := New(Config{
		Acts: acts.New(w.Store, w.Clock.Now, w.Random, "test"), Store: w.Store, CurriculumDir: dir, Version: "test",
		Logger: slog.New(slog.NewTextHandler(t.Output(), nil)),
	})
	if err != nil {
		t.Fatal(err)
	}
	site := httptest.NewServer(s)
	t.Cleanup(site.Close)
	return &apiWorld{World: w, t: t, server: s, api: readAPIDescription(t), site: site}
}

// apiClient is somebody who is logged in.
type apiClient struct {
	w     *apiWorld
	token string
	key   string            // Idempotency-Key of the next call
	more  map[string]string // headers of the next call
	host  string            // under which the server is asked, "" as it is
}

func (w *apiWorld) as(m *storetest.Member) *apiClient {
	w.t.Helper()
	c := &apiClient{w: w}
	c.token = c.must(200, "POST", "/login", map[string]any{"login": m.Login, "password": m.Password})["token"].(string)
	return c
}

// send makes a request and gives status and decoded body.
func (c *apiClient) send(method, path string, body any) (int, http.Header, any) {
	c.w.t.Helper()
	var in io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		in = strings.NewReader(b)
	default:
		raw, err := json.Marshal(b)
		if err != nil {
			c.w.t.Fatal(err)
		}
		in = bytes.NewReader(raw)
	}
	r, err := http.NewRequestWithContext(context.Background(), method, c.w.site.URL+apiPrefix+path, in)
	if err != nil {
		c.w.t.Fatal(err)
	}
	if in != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	if c.key != "" {
		r.Header.Set("Idempotency-Key", c.key)
		c.key = ""
	}
	for name, value := range c.more {
		r.Header.Set(name, value)
	}
	c.more = nil
	if c.host != "" {
		r.Host = c.host
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		c.w.t.Fatal(err)
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	if err != nil {
		c.w.t.Fatal(err)
	}
	var out any
	if len(raw) > 0 {
		if out, err = jsonschema.UnmarshalJSON(bytes.NewReader(raw)); err != nil {
			c.w.t.Fatalf("%s %s: %v in %s", method, path, err, raw)
		}
	}
	c.w.hold(method, path, body, resp, out)
	return resp.StatusCode, resp.Header, out
}

// hold compares an answer, and a request that was taken, with the description.
func (w *apiWorld) hold(method, path string, body any, resp *http.Response, out any) {
	w.t.Helper()
	path, _, _ = strings.Cut(path, "?")
	i := slices.IndexFunc(apiRoutes, func(r apiRoute) bool {
		pattern := regexp.MustCompile(`\\\{\w+\\\}`).ReplaceAllString(regexp.QuoteMeta(r.path), `[^/]+`)
		return r.method == method && regexp.MustCompile("^"+pattern+"$").MatchString(path)
	})
	media, _, _ := strings.Cut(resp.Header.Get("Content-Type"), ";")
	if i < 0 || resp.StatusCode >= 400 {
		if media != "application/problem+json" {
			w.t.Errorf("%s %s: %d as %q", method, path, resp.StatusCode, media)
			return
		}
		if err := w.api.schema(w.t, "components", "schemas", "Problem").Validate(out); err != nil {
			w.t.Errorf("%s %s: %v", method, path, err)
		}
		return
	}
	at := []string{"paths", apiRoutes[i].path, strings.ToLower(method)}
	status := fmt.Sprint(resp.StatusCode)
	if w.api.at(append(at, "responses", status)...) == nil {
		w.t.Errorf("%s %s: status %s is not described", method, path, status)
		return
	}
	if out != nil {
		if err := w.api.schema(w.t, append(at, "responses", status, "content", "application/json", "schema")...).Validate(out); err != nil {
			w.t.Errorf("%s %s: %v", method, path, err)
		}
	}
	if _, text := body.(string); body != nil && !text {
		raw, err := json.Marshal(body)
		if err != nil {
			w.t.Fatal(err)
		}
		in, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		if err != nil {
			w.t.Fatal(err)
		}
		if err := w.api.schema(w.t, append(at, "requestBody", "content", "application/json", "schema")...).Validate(in); err != nil {
			w.t.Errorf("%s %s took a body that is not described: %v", method, path, err)
		}
	}
}

// must expects a status and gives the body as an object.
func (c *apiClient) must(status int, method, path string, body any) map[string]any {
	c.w.t.Helper()
	got, _, out := c.send(method, path, body)
	if got != status {
		c.w.t.Fatalf("%s %s: got %d, want %d: %v", method, path, got, status, out)
	}
	m, _ := out.(map[string]any)
	return m
}

// list is must for an answer that is a list.
func (c *apiClient) list(path string) []any {
	c.w.t.Helper()
	got, _, out := c.send("GET", path, nil)
	l, ok := out.([]any)
	if got != 200 || !ok {
		c.w.t.Fatalf("GET %s: got %d: %v", path, got, out)
	}
	return l
}

type object = map[string]any

// standing is somebody's standing with a task.
func (c *apiClient) standing(apprentice, task string) object {
	c.w.t.Helper()
	for _, x := range c.must(200, "GET", "/standing/"+apprentice, nil)["standings"].([]any) {
		if v := x.(object); v["task"] == task {
			return v
		}
	}
	c.w.t.Fatalf("no standing with %s", task)
	return nil
}

// rightAnswers gives answers to a test's form, which only this test may look up.
func (w *apiWorld) rightAnswers(test string) map[string]any {
	w.t.Helper()
	x, err := w.Store.Test(context.Background(), test)
	if err != nil {
		w.t.Fatal(err)
	}
	b, err := w.Store.Content(context.Background(), x.Form)
	if err != nil {
		w.t.Fatal(err)
	}
	f, err := quiz.ReadForm(b)
	if err != nil {
		w.t.Fatal(err)
	}
	out := map[string]any{}
	for _, q := range f.Questions {
		switch q.Kind {
		case quiz.Several:
			out[q.ID] = q.Key.IDs
		case quiz.Order:
			out[q.ID] = orderOf(q)
		case quiz.Match:
			out[q.ID] = q.Key.Pairs
		case quiz.Number:
			out[q.ID] = object{"value": q.Key.Number.Value, "unit": q.Key.Number.Unit}
		default:
			out[q.ID] = q.Key.ID
		}
	}
	return out
}

// orderOf is one order that a key allows.
func orderOf(q quiz.Question) []string {
	var out []string
	for len(out) < len(q.Options) {
		for _, o := range q.Options {
			waits := slices.ContainsFunc(q.Key.Pairs, func(p [2]string) bool { return p[1] == o.ID && !slices.Contains(out, p[0]) })
			if !waits && !slices.Contains(out, o.ID) {
				out = append(out, o.ID)
			}
		}
	}
	return out
}

// watch does a job from asking to signing, everything unaided, and gives the receipt.
func (c *apiClient) watch(m *storetest.Member, apprentice, task, vehicle string, errorAt string) object {
	c.w.t.Helper()
	c.key = c.w.ID()
	job := c.must(201, "POST", "/jobs", object{"apprentice": apprentice, "task": task, "vehicle": vehicle})
	id := job["id"].(string)
	taps := []any{}
	for _, x := range job["steps"].([]any) {
		step := x.(object)
		tap := object{"id": c.w.ID(), "step": step["key"], "result": "unaided", "at": c.w.Clock.Now().UnixMilli()}
		if step["key"] == errorAt {
			tap["result"], tap["critical_error"], tap["what_happened"] = "taken_over", true, "left it out"
		}
		taps = append(taps, tap)
		if step["hold"] == true {
			taps = append(taps, object{"id": c.w.ID(), "step": step["key"], "hold": "accepted"})
		}
	}
	c.w.Clock.Add(20 * time.Minute)
	sheet := c.must(200, "POST", "/jobs/"+id+"/taps", taps)
	if n := len(sheet["missing"].([]any)); n != 0 {
		c.w.t.Fatalf("missing after all was tapped: %v", sheet["missing"])
	}
	c.key = c.w.ID()
	key := c.key
	receipt := c.must(201, "POST", "/jobs/"+id+"/sign", object{"passphrase": m.Passphrase})
	if receipt["id"] != key {
		c.w.t.Errorf("the sign-off's id is %v, not the Idempotency-Key %s", receipt["id"], key)
	}
	c.key = key
	if again := c.must(201, "POST", "/jobs/"+id+"/sign", object{"passphrase": m.Passphrase}); again["index"] != receipt["index"] {
		c.w.t.Errorf("signing again gave %v, not %v", again, receipt)
	}
	if sheet := c.must(200, "GET", "/jobs/"+id, nil); sheet["status"] != "signed" || sheet["index"] != receipt["index"] {
		c.w.t.Errorf("after signing the job is %v, index %v", sheet["status"], sheet["index"])
	}
	return receipt
}

// clear signs a clearance, with a waiver where something is short.
func (c *apiClient) clear(m, second *storetest.Member, apprentice, task string) {
	c.w.t.Helper()
	v := c.standing(apprentice, task)
	body := object{"apprentice": apprentice, "task": task, "passphrase": m.Passphrase, "seen": v["seen"]}
	if v["standing"] != "ready_for_decision" {
		gates := []string{}
		for _, g := range v["gates"].([]any) {
			if g := g.(object); g["ok"] == false {
				gates = append(gates, g["gate"].(string))
			}
		}
		body["reason"] = "Enough was seen in this shop."
		body["waiver"] = object{"gates": gates, "until": "2026-06-30"}
		body["second"] = object{"login": second.Login, "passphrase": second.Passphrase}
	}
	c.key = c.w.ID()
	c.must(201, "POST", "/clearances", body)
}

func TestAPIMainJob(t *testing.T) {
	w := newAPIWorld(t, "")
	pat, sam, sue, ada := w.Apprentices[0], w.Supervisors[0], w.Supervisors[1], w.Coordinators[0]
	p, s, s2, a := w.as(pat), w.as(sam), w.as(sue), w.as(ada)

	// Read.
	me := p.must(200, "GET", "/me", nil)
	if got := me["person"].(object)["id"]; got != pat.ID {
		t.Errorf("I am %v, not %s", got, pat.ID)
	}
	for _, x := range p.list("/lessons") {
		lesson := x.(object)
		html := p.must(200, "GET", "/lessons/"+lesson["id"].(string)+"?vehicle=trainer-a", nil)["html"].(string)
		if !strings.Contains(html, "<h2") {
			t.Errorf("%s is not rendered", lesson["id"])
		}
		key := w.ID()
		p.key = key
		first := p.must(201, "POST", "/readings", object{"lesson": lesson["id"], "edition": lesson["edition"]})
		p.key = key
		again := p.must(201, "POST", "/readings", object{"lesson": lesson["id"], "edition": lesson["edition"]})
		if first["id"] != key || again["index"] != first["index"] {
			t.Errorf("reading: first %v, again %v", first, again)
		}
	}

	for _, x := range me["vehicles"].([]any) {
		if sheet := p.must(200, "GET", "/vehicles/"+x.(object)["id"].(string), nil); len(sheet["figures"].([]any)) == 0 {
			t.Errorf("%v has no figures", sheet["id"])
		}
	}

	// Be asked, without keys in sight.
	for _, task := range []string{"induction", "bleed-manual"} {
		p.key = w.ID()
		test := p.must(201, "POST", "/tests", object{"task": task, "vehicle": "trainer-a"})
		id := test["id"].(string)
		raw, _ := json.Marshal(p.must(200, "GET", "/tests/"+id, nil))
		for _, secret := range []string{`"key"`, `"element"`, `"source"`, `"family"`, `"explanation"`, `"feedback"`} {
			if bytes.Contains(raw, []byte(secret)) {
				t.Errorf("an open test shows %s", secret)
			}
		}
		s.must(204, "POST", "/tests/"+id+"/watch", object{"watch": true})
		for question, answer := range w.rightAnswers(id) {
			if text, ok := answer.(string); ok { // send takes a string as the body itself
				answer = json.RawMessage(strconv.Quote(text))
			}
			p.must(204, "PUT", "/tests/"+id+"/answers/"+question, answer)
		}
		p.key = w.ID()
		marks := p.must(201, "POST", "/tests/"+id+"/hand-in", nil)
		if marks["passed"] != true || fmt.Sprint(marks["percent"]) != "100" {
			t.Errorf("%s: right answers gave %v %%, passed %v", task, marks["percent"], marks["passed"])
		}
		if after := p.must(200, "GET", "/tests/"+id, nil); len(after["feedback"].([]any)) != len(marks["questions"].([]any)) {
			t.Errorf("%s: no feedback after handing in", task)
		}
	}
	if tests := p.list("/tests"); len(tests) != 2 {
		t.Errorf("tests: %v", tests)
	}
	if got, _, _ := w.as(w.Apprentices[1]).send("GET", "/tests?apprentice="+pat.ID, nil); got != 403 {
		t.Errorf("another's tests: got %d, want 403", got)
	}

	// Be watched, by two, on two layouts.
	for i := range 2 {
		[]*apiClient{s, s2}[i].watch([]*storetest.Member{sam, sue}[i], pat.ID, "induction", "trainer-a", "")
		w.Clock.Add(24 * time.Hour)
		p, s, s2, a = w.as(pat), w.as(sam), w.as(sue), w.as(ada)
	}
	s.clear(sam, sue, pat.ID, "induction")
	for i := range 5 {
		car := []string{"trainer-a", "trainer-b"}[i%2]
		[]*apiClient{s, s2}[i%2].watch([]*storetest.Member{sam, sue}[i%2], pat.ID, "bleed-manual", car, "")
		w.Clock.Add(24 * time.Hour)
		p, s, s2, a = w.as(pat), w.as(sam), w.as(sue), w.as(ada)
	}
	if v := p.standing(pat.ID, "bleed-manual"); v["standing"] == "untried" || len(v["reasons"].([]any)) == 0 {
		t.Errorf("standing %v with reasons %v", v["standing"], v["reasons"])
	}
	s.clear(sam, sue, pat.ID, "bleed-manual")
	if v := s.standing(pat.ID, "bleed-manual"); v["standing"] != "cleared" {
		t.Errorf("after the clearance the standing is %v", v["standing"])
	}

	// Seen by the others.
	floor := s.must(200, "GET", "/floor?task=bleed-manual&vehicle=trainer-a", nil)
	if len(floor["alone"].([]any)) != 1 || len(floor["not"].([]any)) == 0 {
		t.Errorf("floor: %v", floor)
	}
	if rows := a.must(200, "GET", "/board", nil)["rows"].([]any); len(rows) != len(w.Apprentices) {
		t.Errorf("the board has %d rows", len(rows))
	}
	p.key = w.ID()
	p.must(201, "POST", "/unwatched-jobs", object{"task": "bleed-manual"})

	// A job asked for by the apprentice, taken over, declined, withdrawn.
	p.key = w.ID()
	asked := p.must(201, "POST", "/jobs", object{"task": "bleed-manual", "vehicle": "trainer-a", "work_order": "4711"})["id"].(string)
	if waiting := s.list("/jobs?status=waiting"); len(waiting) != 1 {
		t.Errorf("waiting: %v", waiting)
	}
	s.must(200, "POST", "/jobs/"+asked+"/take", nil)
	s2.must(200, "POST", "/jobs/"+asked+"/take", nil)
	s2.key = w.ID()
	s2.must(200, "POST", "/jobs/"+asked+"/rest-unaided", nil)
	if lines := s2.must(200, "GET", "/jobs/"+asked+"/statement", nil)["statement"].([]any); len(lines) == 0 {
		t.Error("the statement is empty")
	}
	declined := p.must(201, "POST", "/jobs", object{"task": "bleed-manual", "vehicle": "trainer-b"})["id"].(string)
	s.must(204, "POST", "/jobs/"+declined+"/decline", object{"reason": "The lift is taken."})
	withdrawn := p.must(201, "POST", "/jobs", object{"task": "bleed-manual", "vehicle": "trainer-b"})["id"].(string)
	p.must(204, "POST", "/jobs/"+withdrawn+"/withdraw", nil)

	// Stand down, sign it, restore.
	s.key = w.ID()
	down := s.must(201, "POST", "/stand-downs", object{"apprentice": pat.ID, "task": "bleed-manual", "reason": "Soft pedal on a released car."})
	if v := p.standing(pat.ID, "bleed-manual"); v["standing"] != "stood_down" {
		t.Errorf("after the stand-down the standing is %v", v["standing"])
	}
	s.key = w.ID()
	s.must(201, "POST", "/stand-downs/"+down["id"].(string)+"/sign", object{"passphrase": sam.Passphrase})
	if got, _, out := s.send("POST", "/restores", object{"apprentice": pat.ID, "task": "bleed-manual", "reason": "Better now.", "passphrase": sam.Passphrase}); got < 400 {
		t.Errorf("whoever ordered it restored it: %v", out)
	}
	s2.key = w.ID()
	s2.must(201, "POST", "/restores", object{"apprentice": pat.ID, "task": "bleed-manual", "reason": "Three clean jobs.", "passphrase": sue.Passphrase})
	if v := p.standing(pat.ID, "bleed-manual"); v["standing"] != "cleared" {
		t.Errorf("after the restore the standing is %v", v["standing"])
	}

	// Every entry is there as it was answered.
	checkEntries(t, w, a)
	if record := p.w.as(ada).list("/people/" + pat.ID + "/record"); len(record) < 15 {
		t.Errorf("the record has %d lines", len(record))
	}
	v, err := store.Verify(context.Background(), w.Options, false, nil)
	if err != nil || !v.OK {
		t.Errorf("verify: %v %+v", err, v)
	}
}

// checkEntries reads the whole ledger over the API and compares it with the store.
func checkEntries(t *testing.T, w *apiWorld, c *apiClient) {
	t.Helper()
	next, n := any(json.Number("0")), 0
	for next != nil {
		page := c.must(200, "GET", fmt.Sprintf("/ledger/entries?from=%v&limit=7", next), nil)
		for _, x := range page["entries"].([]any) {
			e := x.(object)
			if fmt.Sprint(e["index"]) != fmt.Sprint(n) {
				t.Fatalf("index %v, want %d", e["index"], n)
			}
			leaf, err := base64.StdEncoding.DecodeString(e["leaf"].(string))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := ledger.ParseLeaf(leaf); err != nil {
				t.Fatalf("entry %d: %v", n, err)
			}
			n++
		}
		next = page["next"]
	}
	info, err := w.Store.Info(context.Background())
	if err != nil || int64(n) != info.Entries {
		t.Errorf("%d entries over the API, %d in the ledger, %v", n, info.Entries, err)
	}
	checkProofs(t, w, n)
}

// checkProofs takes the head and its proofs over the API, without an account, and checks them as an outsider would.
func checkProofs(t *testing.T, w *apiWorld, entries int) {
	t.Helper()
	c := &apiClient{w: w}
	answer := c.must(200, "GET", "/ledger/head", nil)
	head, err := ledger.OpenHead(answer["head"].(string), answer["key"].(string))
	if err != nil || head.Size != int64(entries) || fmt.Sprint(answer["size"]) != fmt.Sprint(entries) || answer["root"] != head.Root.String() {
		t.Fatalf("%v, %v, %d entries", answer, err, entries)
	}
	hashes := func(answer object) (all []tlog.Hash) {
		for _, x := range answer["hashes"].([]any) {
			h, err := tlog.ParseHash(x.(string))
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, h)
		}
		return all
	}
	views, err := w.Store.Entries(context.Background(), store.EntryFilter{Limit: entries})
	if err != nil || len(views) != entries {
		t.Fatal(len(views), err)
	}
	for _, v := range views {
		p := c.must(200, "GET", fmt.Sprintf("/ledger/proof?index=%d", v.Index), nil)
		if err := ledger.CheckInclusion(hashes(p), head.HeadBody, v.Index, ledger.LeafHash(v.Leaf)); err != nil {
			t.Error(err)
		}
	}
	before := c.must(200, "GET", "/ledger/proof?index=0&size=7", nil)
	root, err := tlog.ParseHash(before["root"].(string))
	if err != nil {
		t.Fatal(err)
	}
	older := ledger.HeadBody{Origin: head.Origin, Size: 7, Root: root}
	if err := ledger.CheckConsistency(hashes(c.must(200, "GET", "/ledger/proof?from=7", nil)), head.HeadBody, older); err != nil {
		t.Error(err)
	}
	for _, query := range []string{"", "?index=1&from=2", "?index=x", "?index=0&size=x"} {
		c.must(400, "GET", "/ledger/proof"+query, nil)
	}
	for _, query := range []string{fmt.Sprintf("?index=%d", entries), fmt.Sprintf("?index=0&size=%d", entries+1), "?from=0", "?from=8&size=7", "?index=7&size=7"} {
		c.must(404, "GET", "/ledger/proof"+query, nil)
	}
}

// finishedJobs are inductions that a supervisor has watched and not signed yet.
func (s *apiClient) finishedJobs(n int) []string {
	var jobs []string
	for i := range n {
		job := s.must(201, "POST", "/jobs", object{"apprentice": s.w.Apprentices[i].ID, "task": "induction", "vehicle": "trainer-a"})
		taps := []any{}
		for _, x := range job["steps"].([]any) {
			step := x.(object)
			taps = append(taps, object{"id": s.w.ID(), "step": step["key"], "result": "prompted"})
			if step["hold"] == true {
				taps = append(taps, object{"id": s.w.ID(), "step": step["key"], "hold": "accepted"})
			}
		}
		taps = append(taps, object{"id": s.w.ID(), "outcome": "finished", "difficulty": "awkward", "note": "windy"})
		s.must(200, "POST", "/jobs/"+job["id"].(string)+"/taps", taps)
		jobs = append(jobs, job["id"].(string))
	}
	return jobs
}

func TestAPISignsSeveralJobsTogether(t *testing.T) {
	w := newAPIWorld(t, "")
	sam := w.Supervisors[0]
	s := w.as(sam)
	jobs := s.finishedJobs(3)
	body := object{"jobs": jobs, "passphrase": sam.Passphrase}
	key := w.ID()
	s.key = key
	first := s.must(201, "POST", "/sign", body)["entries"].([]any)
	s.key = key
	again := s.must(201, "POST", "/sign", body)["entries"].([]any)
	if len(first) != 3 || fmt.Sprint(first) != fmt.Sprint(again) || first[0].(object)["id"] != key {
		t.Errorf("first %v, again %v", first, again)
	}
}

// A passkey is made, vouched for by a coordinator, and signs several jobs, all under the API.
func TestAPIPasskeys(t *testing.T) {
	w := newAPIWorld(t, "")
	sam, ada := w.Supervisors[0], w.Coordinators[0]
	s := w.as(sam)
	if status, _, problem := s.send("POST", "/me/passkeys", nil); status != 409 || problem.(object)["code"] != "passkey_needs_https" {
		t.Errorf("at a number: %d %v", status, problem)
	}
	s.host = "localhost:8080"
	d := passkeytest.New("http://localhost:8080", false)
	challenge := func(asked object) []byte {
		raw, err := base64.RawURLEncoding.DecodeString(asked["publicKey"].(object)["challenge"].(string))
		if err != nil {
			t.Fatal(err)
		}
		return raw
	}
	credential := func(raw []byte) object { return object{"credential": json.RawMessage(raw)} }
	asked := s.must(200, "POST", "/me/passkeys", nil)
	next := s.must(200, "POST", "/me/passkeys/"+asked["signing"].(string)+"/made", credential(d.Made(challenge(asked))))
	s.must(204, "POST", "/me/passkeys/"+next["signing"].(string)+"/signed", credential(d.Answer(challenge(next))))
	c := w.as(ada)
	if _, _, waiting := c.send("GET", "/keys", nil); len(waiting.([]any)) != 1 || waiting.([]any)[0].(object)["passkey"] != true {
		t.Errorf("waiting: %v", waiting)
	}
	c.must(201, "POST", "/keys/confirm", object{"people": []string{sam.ID}, "passphrase": ada.Passphrase})
	if me := s.must(200, "GET", "/me", nil); fmt.Sprint(me["passkeys"]) != "1" {
		t.Errorf("me: %v", me["passkeys"])
	}
	body, key := object{"jobs": s.finishedJobs(2), "passphrase": ""}, w.ID()
	s.key, s.more = key, map[string]string{"Passkey": "ask"}
	asked = s.must(202, "POST", "/sign", body)
	answer := map[string]string{"Passkey": asked["signing"].(string), "Passkey-Answer": base64.RawURLEncoding.EncodeToString(d.Answer(challenge(asked)))}
	s.key, s.more = key, maps.Clone(answer)
	if first := s.must(201, "POST", "/sign", body)["entries"].([]any); len(first) != 2 || first[0].(object)["id"] != key {
		t.Errorf("got %v", first)
	}
	s.more = map[string]string{"Passkey": asked["signing"].(string), "Passkey-Answer": "%"}
	if status, _, problem := s.send("POST", "/sign", body); status != 422 || problem.(object)["code"] != "passkey_unreadable" {
		t.Errorf("a broken answer: %d %v", status, problem)
	}
	if keys := s.must(200, "GET", "/me", nil); keys["key"] != true {
		t.Errorf("me: %v", keys)
	}
}

func TestAPIAskedBackAndPractised(t *testing.T) {
	w := newAPIWorld(t, "")
	p := w.as(w.Apprentices[0])
	form := p.must(200, "POST", "/practice", object{"lesson": "bleed-two-person", "vehicle": "trainer-a", "questions": 6})
	same := p.must(200, "POST", "/practice", object{"lesson": "bleed-two-person", "vehicle": "trainer-a", "questions": 6, "seed": form["seed"], "number": form["number"]})
	if fmt.Sprint(form) != fmt.Sprint(same) {
		t.Error("the same draw gave another form")
	}
	marks := p.must(200, "POST", "/practice/marks", object{"lesson": "bleed-two-person", "vehicle": "trainer-a", "questions": 6,
		"seed": form["seed"], "number": form["number"], "answers": object{}})
	if len(marks["feedback"].([]any)) != len(form["questions"].([]any)) || fmt.Sprint(marks["points"]) != "0" {
		t.Errorf("marks of an empty answer: %v", marks)
	}
	if got := w.entries(); got != w.entries() {
		t.Error("practice was recorded")
	}
}

// A question is looked at, its voiding previewed and signed, and put back again.
func TestAPIVoidsAQuestion(t *testing.T) {
	w := newAPIWorld(t, "")
	ada, pat := w.Coordinators[0], w.Apprentices[0]
	p, c := w.as(pat), w.as(ada)
	form := p.must(201, "POST", "/tests", object{"task": "induction", "vehicle": "trainer-a"})
	test := form["id"].(string)
	p.must(201, "POST", "/tests/"+test+"/hand-in", nil)
	if got, _, _ := p.send("GET", "/questions", nil); got != 403 {
		t.Errorf("an apprentice sees the statistics: %d", got)
	}
	_, _, out := c.send("GET", "/questions?task=induction", nil)
	all := out.([]any)
	if len(all) != len(form["questions"].([]any)) {
		t.Fatalf("%d lines for %d questions", len(all), len(form["questions"].([]any)))
	}
	q := all[0].(object)
	of := object{"question": q["question"], "lesson": q["lesson"], "edition": q["edition"]}
	preview := c.must(200, "POST", "/voids/preview", of)
	r := preview["remarked"].([]any)[0].(object)
	if r["test"] != test || fmt.Sprint(r["points"]) != "1" || r["passed"] != false {
		t.Errorf("%v", preview)
	}
	of["reason"], of["passphrase"], of["seen"] = "The key is wrong", ada.Passphrase, strings.Repeat("0", 64)
	if got, _, out := c.send("POST", "/voids", of); got != 409 || out.(object)["code"] != "marks_changed" {
		t.Errorf("signed something else than was seen: %d %v", got, out)
	}
	of["seen"] = preview["seen"]
	key := w.ID()
	c.key = key
	first := c.must(201, "POST", "/voids", of)
	c.key = key
	again := c.must(201, "POST", "/voids", of)
	if first["id"] != key || fmt.Sprint(first) != fmt.Sprint(again) {
		t.Errorf("first %v, again %v", first, again)
	}
	marks := p.must(200, "GET", "/tests/"+test, nil)["marks"].(object)
	if fmt.Sprint(marks["points"]) != "1" {
		t.Errorf("marks %v", marks)
	}
	delete(of, "seen")
	if got, _, _ := c.send("POST", "/voids", of); got != 409 {
		t.Errorf("voided twice: %d", got)
	}
	of["restores"] = true
	c.must(201, "POST", "/voids", of)
	marks = p.must(200, "GET", "/tests/"+test, nil)["marks"].(object)
	if fmt.Sprint(marks["points"]) != "0" {
		t.Errorf("marks %v", marks)
	}
}

func (w *apiWorld) entries() int64 {
	w.t.Helper()
	info, err := w.Store.Info(context.Background())
	if err != nil {
		w.t.Fatal(err)
	}
	return info.Entries
}

func TestAPICarDescribedOnTheSpot(t *testing.T) {
	w := newAPIWorld(t, "")
	sam, pat := w.Supervisors[0], w.Apprentices[0]
	s := w.as(sam)
	s.watch(sam, pat.ID, "induction", "trainer-a", "")
	s.clear(sam, w.Supervisors[1], pat.ID, "induction")
	car := object{"title": "Small van", "layout": "front_rear", "wheels": []any{object{"name": "LF", "features": []string{"front", "disc"}}, object{"name": "RF", "features": []string{"front", "disc"}}}}
	needed := s.must(200, "POST", "/jobs/needed", object{"task": "caliper", "car": car})["figures"].([]any)
	if len(needed) == 0 {
		t.Fatal("nothing is needed of a car without figures")
	}
	if got, _, out := s.send("POST", "/jobs", object{"apprentice": pat.ID, "task": "caliper", "car": object{"title": "Van", "layout": "nowhere"}}); got != 422 || len(out.(object)["problems"].([]any)) == 0 {
		t.Errorf("a car of an unknown layout: %d %v", got, out)
	}
	var figures []any
	for _, x := range needed {
		f := x.(object)
		f["value"], f["source"] = "20", "the maker's service information"
		if f["limit"] == "range" {
			f["high"] = "30"
		}
		figures = append(figures, f)
	}
	car["figures"] = figures
	job := s.must(201, "POST", "/jobs", object{"apprentice": pat.ID, "task": "caliper", "car": car, "work_order": "4711"})
	limits := 0
	for _, x := range job["steps"].([]any) {
		for _, m := range x.(object)["measures"].([]any) {
			if m.(object)["limit"] != "" {
				limits++
			}
		}
	}
	if limits == 0 {
		t.Error("no measurement is held against the car's own limits")
	}
	s2 := w.as(sam)
	s2.must(204, "POST", "/me/sessions/end", nil)
	if got, _, _ := s.send("GET", "/me", nil); got != 401 {
		t.Errorf("the other session is still open: %d", got)
	}
	s2.must(200, "GET", "/me", nil)
}

func TestAPIRoster(t *testing.T) {
	w := newAPIWorld(t, "")
	ada := w.Coordinators[0]
	a := w.as(ada)
	site := a.must(201, "POST", "/sites", object{"name": "Quarry Lane Workshop", "zone": "Europe/Dublin"})["id"].(string)
	cohort := a.must(201, "POST", "/cohorts", object{"name": "Spring intake", "site": site})["id"].(string)
	if len(a.list("/sites")) != 2 || len(a.list("/cohorts")) != 2 {
		t.Error("site or cohort is missing")
	}
	today := w.Today()
	newcomers := object{"people": []any{
		object{"name": "New Hand", "login": "newhand", "role": "apprentice", "employer": "Quarry Lane Garage", "from": today},
		object{"name": "Second Eye", "login": "eye", "role": "supervisor"},
	}}
	key := w.ID()
	a.key = key
	first := a.must(201, "POST", "/people", newcomers)
	a.key = key
	again := a.must(201, "POST", "/people", newcomers)
	if first["id"] != key || first["index"] != again["index"] || fmt.Sprint(first["people"]) != fmt.Sprint(again["people"]) || len(first["people"].([]any)) != 2 {
		t.Errorf("added %v, then %v", first, again)
	}
	a.key = key
	if got, _, out := a.send("POST", "/people", object{"people": []any{object{"name": "Another", "login": "another", "role": "apprentice"}}}); got != 409 || out.(object)["code"] != "id_taken" {
		t.Errorf("others under the same key: %d %v", got, out)
	}
	codes := again["codes"].(object)
	got, _, out := a.send("POST", "/people", object{"people": []any{object{"name": "", "login": "newhand", "role": "apprentice"}}})
	if problems, _ := out.(object)["problems"].([]any); got != 422 || len(problems) != 2 {
		t.Errorf("a bad row: %d %v", got, out)
	}

	// The first log-in: a code, a password, a signing key, a coordinator's signature.
	eye := &apiClient{w: w}
	in := eye.must(200, "POST", "/login", object{"login": "eye", "code": codes["eye"]})
	eye.token = in["token"].(string)
	id := in["person"].(object)["id"].(string)
	if in["must_set_password"] != true {
		t.Error("a code must be followed by a password")
	}
	if got, _, out := eye.send("GET", "/me", nil); got != 403 || out.(object)["code"] != "password_needed" {
		t.Errorf("before setting a password: %d %v", got, out)
	}
	eye.must(204, "POST", "/me/password", object{"next": "seven gauges under the bench"})
	eye.must(200, "GET", "/me", nil)
	eye.must(204, "POST", "/me/key", object{"passphrase": "old anvil hums low"})
	if keys := a.list("/keys"); len(keys) != 1 {
		t.Errorf("waiting keys: %v", keys)
	}
	a.must(201, "POST", "/keys/confirm", object{"people": []any{id}, "passphrase": ada.Passphrase})
	a.must(201, "POST", "/people/"+id+"/appointments", object{"task": "caliper", "from": today, "qualification": "brake technician", "passphrase": ada.Passphrase})
	a.must(201, "POST", "/people/"+id+"/roles", object{"role": "coordinator", "from": today, "passphrase": ada.Passphrase})
	a.must(201, "POST", "/people/"+id+"/name", object{"name": "Second Glance"})
	full := a.must(200, "GET", "/people/"+id, nil)
	if full["name"] != "Second Glance" || full["key"] != true || len(full["appointments"].([]any)) != 1 || len(full["roles"].([]any)) != 2 {
		t.Errorf("the person is %v", full)
	}
	a.must(201, "POST", "/people/"+id+"/appointments/"+full["appointments"].([]any)[0].(object)["entry"].(string)+"/end", object{"date": today, "passphrase": ada.Passphrase})
	a.must(201, "POST", "/people/"+id+"/roles/"+full["roles"].([]any)[0].(object)["entry"].(string)+"/end", object{"date": today})
	a.must(201, "POST", "/people/"+id+"/code", nil)

	hand := (&apiClient{w: w}).must(200, "POST", "/login", object{"login": "newhand", "code": codes["newhand"]})["person"].(object)["id"].(string)
	a.must(201, "POST", "/people/"+hand+"/cohorts", object{"cohort": cohort, "date": today})
	a.must(201, "POST", "/people/"+hand+"/cohorts/"+cohort+"/leave", object{"date": today})
	a.must(201, "POST", "/people/"+hand+"/leaves", object{"from": today, "to": today})
	agreement := a.must(200, "GET", "/people/"+hand, nil)["agreements"].([]any)[0].(object)
	a.must(201, "POST", "/people/"+hand+"/agreements/"+agreement["entry"].(string)+"/end", object{"date": today})
	a.must(201, "POST", "/people/"+hand+"/agreements", object{"employer": "North shop", "from": today})
	if people := a.list("/people"); len(people) != 2+3+4+2 {
		t.Errorf("%d people", len(people))
	}

	if got, _, _ := w.as(w.Apprentices[0]).send("POST", "/sites", object{"name": "Mine"}); got != 403 {
		t.Errorf("an apprentice added a site: %d", got)
	}
	a.must(204, "POST", "/logout", nil)
	if got, h, _ := a.send("GET", "/me", nil); got != 401 || h.Get("WWW-Authenticate") != "Bearer" {
		t.Errorf("after logging out: %d, WWW-Authenticate %q", got, h.Get("WWW-Authenticate"))
	}
}

// What follows a signed entry, under the API.
func TestAPIWhatFollowsASignature(t *testing.T) {
	w := newAPIWorld(t, "")
	pat, sam, sue, sid, ada := w.Apprentices[0], w.Supervisors[0], w.Supervisors[1], w.Supervisors[2], w.Coordinators[0]
	p, s, s2, s3, a := w.as(pat), w.as(sam), w.as(sue), w.as(sid), w.as(ada)
	p.must(204, "POST", "/me/key", object{"passphrase": "old lathe sings quietly"})
	if es := a.must(201, "POST", "/keys/confirm", object{"people": []any{pat.ID}, "passphrase": ada.Passphrase})["entries"].([]any); len(es) != 1 {
		t.Errorf("confirmed by %v", es)
	}
	job := s.watch(sam, pat.ID, "induction", "trainer-a", "")
	entry := job["id"].(string)
	at := "/entries/" + entry
	got := p.must(200, "GET", at, nil)
	if got["contested"] != false || got["countersign_until"] == "" || len(got["words"].([]any)) != 0 {
		t.Errorf("a new record: %v", got)
	}
	p.must(201, "POST", at+"/dispute", object{"reason": "Prompted twice"})
	if m := s2.must(200, "GET", "/matters", nil)["disputes"].([]any); len(m) != 1 || m[0].(object)["may"] != true || m[0].(object)["why"] != "dispute" {
		t.Errorf("matters: %v", m)
	}
	a.must(201, "POST", "/assignments", object{"matter": entry, "to": sue.ID})
	if got, _, out := s.send("POST", at+"/settle", object{"upheld": false, "reason": "So it was", "passphrase": sam.Passphrase}); got != 422 || out.(object)["code"] != "rule_is_party" {
		t.Errorf("settled by who signed: %d %v", got, out)
	}
	s2.must(201, "POST", at+"/settle", object{"upheld": false, "reason": "So it was", "passphrase": sue.Passphrase})
	p.must(201, "POST", at+"/countersign", object{"passphrase": "old lathe sings quietly"})
	fix := s.must(201, "POST", at+"/correct", object{"record": object{"difficulty": "awkward", "notes": "Rain"}, "reason": "It was", "passphrase": sam.Passphrase})["id"].(string)
	if got, _, out := s3.send("POST", at+"/correct", object{"withdraw": true, "reason": "No", "passphrase": sid.Passphrase}); got != 409 || out.(object)["code"] != "corrected_already" {
		t.Errorf("corrected again: %d %v", got, out)
	}
	s3.must(201, "POST", at+"/correct", object{"withdraw": true, "beside": true, "reason": "No", "passphrase": sid.Passphrase})
	if got := a.must(200, "GET", at, nil); got["contested"] != true || len(got["words"].([]any)) < 5 {
		t.Errorf("with two corrections: %v", got)
	}
	a.must(201, "POST", at+"/settle", object{"stands": fix, "reason": "By the sheet", "passphrase": ada.Passphrase})
	down := s.must(201, "POST", "/stand-downs", object{"apprentice": pat.ID, "reason": "Seen without glasses"})["id"].(string)
	p.must(201, "POST", "/entries/"+down+"/reply", object{"text": "They were on my head"})
	s2.must(201, "POST", "/stand-downs/"+down+"/review", object{"reason": "Talked to both", "lifts": "A week with glasses", "passphrase": sue.Passphrase})
	s.must(201, "POST", "/recognitions", object{"apprentice": pat.ID, "task": "caliper", "stands_for": []any{"reading"}, "jobs": 2, "reason": "Papers seen", "passphrase": sam.Passphrase,
		"second": object{"login": ada.Login, "passphrase": ada.Passphrase}})
	if len(a.list("/waivers"))+len(a.list("/left-behind"))+len(a.list("/pairs")) != 0 {
		t.Error("there are waivers, pairs or things left behind")
	}
	a.must(201, "POST", "/people/"+sam.ID+"/key/end", object{"why": "compromised", "from": w.Today(), "reason": "The note is gone"})
	if keys := a.list("/people/" + sam.ID + "/keys"); len(keys) != 1 || keys[0].(object)["why"] != "compromised" {
		t.Errorf("keys: %v", keys)
	}
	if m := a.must(200, "GET", "/matters", nil)["disputes"].([]any); len(m) != 3 { // the job, its correction, the recognition
		t.Errorf("in question: %v", m)
	}
	s2.must(201, "POST", "/me/key/end", object{"why": "lost"})
}

func TestAPIAdoptsAnOfferedEdition(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, brakes.FS); err != nil {
		t.Fatal(err)
	}
	w := newAPIWorld(t, dir)
	ada := w.Coordinators[0]
	a := w.as(ada)
	if o := a.must(200, "GET", "/programme/offer", nil); o["same"] != true {
		t.Errorf("an unchanged folder is offered: %v", o)
	}
	path := dir + "/programme.yaml"
	was, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	write := func(b []byte) {
		t.Helper()
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(bytes.Replace(was, []byte("title: Brake hydraulics"), []byte("title: Brakes, second edition"), 1))
	offer := a.must(200, "GET", "/programme/offer", nil)
	if offer["same"] == true || len(offer["changes"].([]any)) == 0 {
		t.Fatalf("a changed folder is not offered: %v", offer)
	}
	write(append(slices.Clone(was), "nonsense: 1\n"...))
	broken := a.must(200, "GET", "/programme/offer", nil)
	if broken["edition"] != nil || len(broken["problems"].([]any)) == 0 {
		t.Errorf("a broken folder: %v", broken)
	}
	if got, _, out := a.send("POST", "/programme/adopt", object{"edition": offer["edition"], "passphrase": ada.Passphrase}); got != 409 {
		t.Errorf("a broken folder was adopted: %d %v", got, out)
	}
	write(bytes.Replace(was, []byte("title: Brake hydraulics"), []byte("title: Brakes, second edition"), 1))
	a.must(201, "POST", "/programme/adopt", object{"edition": offer["edition"], "passphrase": ada.Passphrase})
	if p := a.must(200, "GET", "/programme", nil); p["title"] != "Brakes, second edition" || p["edition"] != offer["edition"] {
		t.Errorf("the programme in use is %v", p["title"])
	}
}

func TestAPIRefusesWhatIsNotDescribed(t *testing.T) {
	w := newAPIWorld(t, "")
	p := w.as(w.Apprentices[0])
	nobody := &apiClient{w: w}
	for name, x := range map[string]struct {
		client             *apiClient
		method, path, body string
		status             int
		code, field        string
	}{
		"unknown field":         {p, "POST", "/readings", `{"lesson":"a","edition":"b","colour":"red"}`, 400, "bad_json", "colour"},
		"field in another case": {p, "POST", "/readings", `{"Lesson":"a","edition":"b"}`, 400, "bad_json", "Lesson"},
		"field twice":           {p, "POST", "/readings", `{"lesson":"a","lesson":"b","edition":"c"}`, 400, "bad_json", "lesson"},
		"nested unknown field":  {p, "POST", "/jobs", `{"task":"a","car":{"title":"x","layout":"y","colour":1}}`, 400, "bad_json", "colour"},
		"wrong kind":            {p, "POST", "/readings", `{"lesson":5,"edition":"b"}`, 400, "bad_json", "lesson"},
		"not JSON":              {p, "POST", "/readings", `{"lesson":`, 400, "bad_json", ""},
		"two values":            {p, "POST", "/readings", `{"lesson":"a","edition":"b"} {}`, 400, "bad_json", ""},
		"empty body":            {p, "POST", "/readings", ``, 400, "bad_json", ""},
		"unknown lesson":        {p, "POST", "/readings", `{"lesson":"a","edition":"b"}`, 422, "unknown_lesson", "lesson"},
		"no token":              {nobody, "GET", "/me", "", 401, "no_token", ""},
		"bad token":             {&apiClient{w: w, token: "nonsense"}, "GET", "/me", "", 401, "session_over", ""},
		"wrong password":        {nobody, "POST", "/login", `{"login":"pat0","password":"x"}`, 401, "login_failed", ""},
		"no such path":          {p, "GET", "/nothing", "", 404, "no_such_path", ""},
		"no such job":           {p, "GET", "/jobs/01900000-0000-7000-8000-000000000000", "", 404, "not_found", ""},
		"method":                {p, "DELETE", "/readings", "", 405, "method_not_allowed", ""},
		"not allowed":           {p, "GET", "/ledger/entries", "", 403, "not_allowed", ""},
		"bad time":              {w.as(w.Supervisors[0]), "POST", "/jobs/x/taps", `[{"id":"x","at":"noon"}]`, 400, "bad_json", "at"},
		"bad number":            {w.as(w.Coordinators[0]), "GET", "/ledger/entries?limit=0", "", 400, "bad_number", "limit"},
	} {
		var body any
		if x.body != "" || x.method == "POST" {
			body = x.body
		}
		status, header, out := x.client.send(x.method, x.path, body)
		got, _ := out.(object)
		field, _ := got["field"].(string)
		if status != x.status || got["code"] != x.code || field != x.field {
			t.Errorf("%s: got %d %v %q, want %d %s %q", name, status, got["code"], field, x.status, x.code, x.field)
		}
		if detail, _ := got["detail"].(string); detail == "" {
			t.Errorf("%s: says nothing", name)
		}
		if x.status == 405 && header.Get("Allow") != "POST" {
			t.Errorf("%s: Allow is %q", name, header.Get("Allow"))
		}
	}
	p.key = "not-a-uuid"
	if got, _, out := p.send("POST", "/readings", object{"lesson": "a", "edition": "b"}); got != 400 || out.(object)["field"] != "Idempotency-Key" {
		t.Errorf("a bad Idempotency-Key: %d %v", got, out)
	}
	big := `{"lesson":"` + strings.Repeat("x", maxAPIBody) + `"}`
	if got, _, _ := p.send("POST", "/readings", big); got != 413 {
		t.Errorf("a body that is too long: %d", got)
	}
	r, _ := http.NewRequest("POST", w.site.URL+apiPrefix+"/readings", strings.NewReader("lesson=a"))
	r.Header.Set("Authorization", "Bearer "+p.token)
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != 415 {
		t.Errorf("a form: %d", resp.StatusCode)
	}
	w.Clock.Add(31 * time.Minute)
	if got, _, _ := p.send("GET", "/me", nil); got != 401 {
		t.Errorf("after half an hour without use: %d", got)
	}
}

func TestAPIDescriptionIsServed(t *testing.T) {
	w := newAPIWorld(t, "")
	resp, err := http.Get(w.site.URL + apiPrefix + "/openapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil || !bytes.Equal(b, openAPI) || resp.Header.Get("Content-Type") != "application/yaml" {
		t.Errorf("got %d bytes as %q, %v", len(b), resp.Header.Get("Content-Type"), err)
	}
}

func TestAPIParameters(t *testing.T) {
	w := newAPIWorld(t, "")
	ada, pat := w.Coordinators[0], w.Apprentices[0]
	a, p := w.as(ada), w.as(pat)
	now := a.must(200, "GET", "/parameters", nil)
	snapshot := now["parameters"].(object)
	offs := a.must(200, "GET", "/parameters/trade-offs?task=caliper", nil)
	if len(offs["rows"].([]any)) < 5 {
		t.Errorf("trade-offs: %v", offs)
	}
	if got, _, out := p.send("GET", "/parameters", nil); got != 403 {
		t.Errorf("an apprentice sees the parameters: %d %v", got, out)
	}
	number := func(o object, key string) float64 {
		t.Helper()
		x, err := o[key].(json.Number).Float64()
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	one := p.must(200, "GET", "/standing/"+pat.ID+"/tasks/caliper/suppose?jobs=1", nil)
	ten := p.must(200, "GET", "/standing/"+pat.ID+"/tasks/caliper/suppose?jobs=10&other_supervisors=2&other_layouts=1&theory_test=1&induction=1&lesson=caliper&prerequisite=bleed", nil)
	if number(one, "confidence") >= number(ten, "confidence") {
		t.Errorf("ten jobs that go well: %v, one %v", ten["confidence"], one["confidence"])
	}
	if got, _, out := p.send("GET", "/standing/"+pat.ID+"/tasks/caliper/suppose?jobs=31", nil); got != 422 || out.(object)["code"] != "supposed_jobs" {
		t.Errorf("too many jobs supposed: %d %v", got, out)
	}
	if got, _, out := a.send("POST", "/parameters", object{"parameters": snapshot, "passphrase": ada.Passphrase}); got != 409 || out.(object)["code"] != "parameters_same" {
		t.Errorf("the same again: %d %v", got, out)
	}
	if got, _, out := a.send("POST", "/parameters", object{"parameters": object{"format": "other"}, "passphrase": ada.Passphrase}); got != 422 || out.(object)["code"] != "parameters_unreadable" {
		t.Errorf("not a snapshot: %d %v", got, out)
	}
	snapshot["population"].(object)["ability"], snapshot["up_to"] = 1.5, "2030-01-31"
	a.must(201, "POST", "/parameters", object{"parameters": snapshot, "passphrase": ada.Passphrase})
	then := a.must(200, "GET", "/parameters", nil)
	if then["hash"] == now["hash"] || then["parameters"].(object)["up_to"] != "2030-01-31" {
		t.Errorf("in force: %v", then["hash"])
	}
	if after := p.must(200, "GET", "/standing/"+pat.ID+"/tasks/caliper/suppose?jobs=1", nil); number(after, "probability") >= number(one, "probability") || after["parameters"] != then["hash"] {
		t.Errorf("standings rest on %v", after["parameters"])
	}
}
