package server

import (
	"bytes"
	"html"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"brakewright/curriculum"
	"brakewright/curriculum/brakes"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store/storetest"
)

// pageWorld is a server over a founded programme, and its log.
type pageWorld struct {
	*storetest.World
	t      testing.TB
	server *Server
	site   *httptest.Server
	log    *bytes.Buffer
}

// newPageWorld founds the default programme; change may alter the server's configuration.
func newPageWorld(t testing.TB, change func(*Config)) *pageWorld {
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
	log := &bytes.Buffer{}
	c := Config{Acts: acts.New(w.Store, w.Clock.Now, w.Random, "test"), Store: w.Store, Version: "test", Logger: slog.New(slog.NewTextHandler(log, nil))}
	if change != nil {
		change(&c)
	}
	s, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	site := httptest.NewServer(s)
	t.Cleanup(site.Close)
	return &pageWorld{World: w, t: t, server: s, site: site, log: log}
}

// browser is a browser without JavaScript: it knows pages by their HTML, follows redirects and sends forms as they stand.
type browser struct {
	w      *pageWorld
	t      testing.TB
	client *http.Client
}

func (w *pageWorld) browser() *browser {
	jar, err := cookiejar.New(nil)
	if err != nil {
		w.t.Fatal(err)
	}
	return &browser{w: w, t: w.t, client: &http.Client{Jar: jar}}
}

// as is a browser in which somebody is logged in.
func (w *pageWorld) as(m *storetest.Member) *browser {
	w.t.Helper()
	b := w.browser()
	p := b.get("/login").form("password").set("login", m.Login).set("password", m.Password).press("")
	if p.status != http.StatusOK || !strings.Contains(p.body, "Log out") {
		w.t.Fatalf("%s cannot log in: %d", m.Login, p.status)
	}
	return b
}

// shown is a page that came back.
type shown struct {
	b      *browser
	status int
	url    *url.URL
	body   string
	header http.Header
}

func (b *browser) do(r *http.Request) *shown {
	b.t.Helper()
	resp, err := b.client.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return &shown{b: b, status: resp.StatusCode, url: resp.Request.URL, body: string(body), header: resp.Header}
}

func (b *browser) get(path string) *shown {
	b.t.Helper()
	r, err := http.NewRequest(http.MethodGet, b.w.site.URL+path, nil)
	if err != nil {
		b.t.Fatal(err)
	}
	return b.do(r)
}

func (b *browser) post(path string, f url.Values) *shown {
	b.t.Helper()
	r, err := http.NewRequest(http.MethodPost, b.w.site.URL+path, strings.NewReader(f.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return b.do(r)
}

var (
	tagPattern    = regexp.MustCompile(`(?s)<[^>]*>`)
	spacePattern  = regexp.MustCompile(`\s+`)
	formPattern   = regexp.MustCompile(`(?s)<form\b([^>]*)>(.*?)</form>`)
	fieldPattern  = regexp.MustCompile(`(?s)<(input|button)\b([^>]*)>|<textarea\b([^>]*)>(.*?)</textarea>|<select\b([^>]*)>(.*?)</select>`)
	optionPattern = regexp.MustCompile(`(?s)<option\b([^>]*)>(.*?)</option>`)
	attrPattern   = regexp.MustCompile(`([a-z-]+)(?:="([^"]*)")?`)
)

// text is what the page says, without markup.
func (p *shown) text() string {
	return textOf(p.body[strings.Index(p.body, "<body"):])
}

func textOf(markup string) string {
	return strings.TrimSpace(spacePattern.ReplaceAllString(html.UnescapeString(tagPattern.ReplaceAllString(markup, " ")), " "))
}

// brief is the beginning of what the page says, for messages.
func (p *shown) brief() string {
	t := p.text()
	if len(t) > 1500 {
		t = t[:1500] + " …"
	}
	return t
}

// says fails unless the page has a status and says all the words.
func (p *shown) says(status int, words ...string) *shown {
	p.b.t.Helper()
	text := p.text()
	if p.status != status {
		p.b.t.Fatalf("%s: status %d, want %d: %s", p.url.Path, p.status, status, p.brief())
	}
	for _, w := range words {
		if !strings.Contains(text, w) {
			p.b.t.Errorf("%s does not say %q: %s", p.url.Path, w, p.brief())
		}
	}
	return p
}

// hides fails if the page says any of the words.
func (p *shown) hides(words ...string) *shown {
	p.b.t.Helper()
	for _, w := range words {
		if strings.Contains(p.text(), w) || strings.Contains(p.body, w) {
			p.b.t.Errorf("%s says %q", p.url.Path, w)
		}
	}
	return p
}

// link is the address of the first link with these words.
func (p *shown) link(words string) string {
	p.b.t.Helper()
	for _, m := range regexp.MustCompile(`(?s)<a\b([^>]*)>(.*?)</a>`).FindAllStringSubmatch(p.body, -1) {
		if strings.Contains(textOf(m[2]), words) {
			return attrs(m[1])["href"]
		}
	}
	p.b.t.Fatalf("%s has no link %q: %s", p.url.Path, words, p.brief())
	return ""
}

func (p *shown) follow(words string) *shown {
	p.b.t.Helper()
	return p.b.get(p.link(words))
}

func attrs(s string) map[string]string {
	m := map[string]string{}
	for _, a := range attrPattern.FindAllStringSubmatch(s, -1) {
		m[a[1]] = html.UnescapeString(a[2])
	}
	return m
}

// pageForm is a form as it stands on a page.
type pageForm struct {
	p         *shown
	action    string
	get       bool
	multipart bool
	values    url.Values
	fields    map[string][]string // choices of a field, or nil for free text
	buttons   []pageButton
}

type pageButton struct{ name, value, text string }

// form is the first form whose HTML contains a word: the name of a field, a step, a button's words.
func (p *shown) form(word string) *pageForm {
	p.b.t.Helper()
	for _, m := range formPattern.FindAllStringSubmatch(p.body, -1) {
		if strings.Contains(m[0], word) || strings.Contains(textOf(m[0]), word) {
			return p.readForm(m[1], m[2])
		}
	}
	p.b.t.Fatalf("%s has no form with %q: %s", p.url.Path, word, p.brief())
	return nil
}

// hasForm says whether there is such a form.
func (p *shown) hasForm(word string) bool {
	return slices.ContainsFunc(formPattern.FindAllString(p.body, -1), func(f string) bool {
		return strings.Contains(f, word) || strings.Contains(textOf(f), word)
	})
}

func (p *shown) readForm(attributes, inside string) *pageForm {
	a := attrs(attributes)
	f := &pageForm{p: p, action: a["action"], get: a["method"] == "get", multipart: a["enctype"] != "", values: url.Values{}, fields: map[string][]string{}}
	for _, m := range fieldPattern.FindAllStringSubmatchIndex(inside, -1) {
		sub := func(i int) string {
			if m[2*i] < 0 {
				return ""
			}
			return inside[m[2*i]:m[2*i+1]]
		}
		switch {
		case sub(1) == "button":
			a := attrs(sub(2))
			if _, off := a["disabled"]; off {
				continue
			}
			end := strings.Index(inside[m[1]:], "</button>")
			f.buttons = append(f.buttons, pageButton{a["name"], a["value"], textOf(inside[m[1] : m[1]+end])})
		case sub(1) == "input":
			a := attrs(sub(2))
			name := a["name"]
			switch a["type"] {
			case "radio", "checkbox":
				f.fields[name] = append(f.fields[name], a["value"])
				if _, on := a["checked"]; on {
					f.values.Add(name, a["value"])
				}
			case "file":
				f.fields[name] = nil
			default:
				f.fields[name] = nil
				f.values.Add(name, a["value"])
			}
		case m[6] >= 0:
			a := attrs(sub(3))
			f.fields[a["name"]] = nil
			f.values.Set(a["name"], html.UnescapeString(sub(4)))
		default:
			name := attrs(sub(5))["name"]
			f.fields[name] = []string{}
			for i, o := range optionPattern.FindAllStringSubmatch(sub(6), -1) {
				a := attrs(o[1])
				value, given := a["value"]
				if !given {
					value = textOf(o[2])
				}
				f.fields[name] = append(f.fields[name], value)
				if _, on := a["selected"]; on || i == 0 {
					f.values.Set(name, value)
				}
			}
		}
	}
	return f
}

// set fills a field in, which must be there and offer the value.
func (f *pageForm) set(name string, values ...string) *pageForm {
	f.p.b.t.Helper()
	choices, ok := f.fields[name]
	if !ok {
		f.p.b.t.Fatalf("%s: the form to %s has no field %q", f.p.url.Path, f.action, name)
	}
	for _, v := range values {
		if choices != nil && !slices.Contains(choices, v) {
			f.p.b.t.Fatalf("%s: field %q offers %q, not %q", f.p.url.Path, name, choices, v)
		}
	}
	f.values[name] = values
	return f
}

// press sends the form with the button that has these words, or these words as its value; "" is the first button.
func (f *pageForm) press(words string) *shown {
	f.p.b.t.Helper()
	values := url.Values{}
	for k, v := range f.values {
		values[k] = v
	}
	i := slices.IndexFunc(f.buttons, func(b pageButton) bool { return words == "" || b.value == words || strings.Contains(b.text, words) })
	if i < 0 {
		f.p.b.t.Fatalf("%s: the form to %s has no button %q among %v", f.p.url.Path, f.action, words, f.buttons)
	}
	if b := f.buttons[i]; b.name != "" {
		values.Add(b.name, b.value)
	}
	if f.get {
		path, _, _ := strings.Cut(f.action, "#")
		return f.p.b.get(path + "?" + values.Encode())
	}
	if f.multipart {
		return f.p.b.upload(f.action, values)
	}
	return f.p.b.post(f.action, values)
}

func (b *browser) upload(path string, values url.Values) *shown {
	b.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for k, vs := range values {
		for _, v := range vs {
			if err := m.WriteField(k, v); err != nil {
				b.t.Fatal(err)
			}
		}
	}
	if err := m.Close(); err != nil {
		b.t.Fatal(err)
	}
	r, err := http.NewRequest(http.MethodPost, b.w.site.URL+path, &body)
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", m.FormDataContentType())
	return b.do(r)
}
