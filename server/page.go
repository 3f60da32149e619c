package server

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
)

// BasePage is what every page has. Handlers get one from [Server.base]; page constructors take it as a value.
type BasePage struct {
	Title     string
	Programme string // its title
	Person    *personLink
	Sections  []navSection
	Notice    string // what was just done, read out by screen readers
	Demo      bool
	Version   string
	Wide      bool   // tables rather than text
	Head      string // the ledger's signed head, printed at the foot of records and reports
	Passkeys  bool   // the person has a passkey here: forms that ask for the passphrase offer it, too

	// Forms come back filled in.
	Form    url.Values
	Problem string            // what is wrong with the form as a whole
	Errors  map[string]string // by field

	clock clock
	units string // that the person chose, "" for the programme's
}

// personLink is somebody as a page names them.
type personLink struct {
	ID, Name string
}

// navSection is the part of the navigation that belongs to one role.
type navSection struct {
	Role  string
	Name  string
	Links []navLink
}

type navLink struct {
	Path, Text string
	Current    bool
}

// Value is a form value, for templates.
func (b BasePage) Value(field string) string { return b.Form.Get(field) }

// Chosen says whether a form field holds a value, for options, radio buttons and checkboxes.
func (b BasePage) Chosen(field, value string) bool {
	for _, v := range b.Form[field] {
		if v == value {
			return true
		}
	}
	return false
}

// Err is the message by a field, or "".
func (b BasePage) Err(field string) string { return b.Errors[field] }

// set puts a default into the form.
func (b *BasePage) set(field string, values ...string) {
	if b.Form == nil {
		b.Form = url.Values{}
	}
	b.Form[field] = values
}

// refused puts what an error says about a form into the page. fields are the names of the form's fields: a message about
// another field is said above the form. The status is what to answer with; err is not nil where the error is none that
// the person could mend here, and belongs to [Server.serveError].
func (b *BasePage) refused(w http.ResponseWriter, err error, fields ...string) (status int, out error) {
	f := failureOf(err)
	switch f.status {
	case http.StatusBadRequest, http.StatusUnauthorized, http.StatusConflict, http.StatusRequestEntityTooLarge,
		http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable:
	default:
		return 0, err
	}
	if f.retryAfter > 0 {
		w.Header().Set("Retry-After", seconds(f.retryAfter))
	}
	if b.Errors == nil {
		b.Errors = map[string]string{}
	}
	list := f.problems
	if len(list) == 0 {
		list = []failure{f}
	}
	var above []string
	for _, x := range list {
		if x.field != "" && contains(fields, x.field) && b.Errors[x.field] == "" {
			b.Errors[x.field] = x.text
		} else {
			above = append(above, x.text)
		}
	}
	if b.Problem = strings.Join(above, " "); b.Problem == "" {
		b.Problem = "Nothing was saved yet. Look at the marked field."
		if len(b.Errors) > 1 {
			b.Problem = "Nothing was saved yet. Look at the marked fields."
		}
	}
	return f.status, nil
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// unitsCookie holds in which units a person wants figures shown. It is a matter of this browser alone.
const unitsCookie = "units"

// unitsOf are the units in which figures are shown: those that the person chose, else the programme's.
func (b BasePage) unitsOf(p *curriculum.Programme) string {
	if b.units == "si" || b.units == "us" {
		return b.units
	}
	return p.Units
}

// base is the BasePage of a request. title is the page's own.
func (s *Server) base(r *http.Request, title string) (BasePage, error) {
	info, err := s.store.Info(r.Context())
	if err != nil {
		return BasePage{}, err
	}
	c, err := newClock(info.Zone, s.acts.Now())
	if err != nil {
		return BasePage{}, err
	}
	b := BasePage{Title: title, Programme: info.Title, Demo: info.Demo, Version: s.config.Version, Form: url.Values{}, Errors: map[string]string{}, clock: c,
		Notice: noticeText(r.URL.Query().Get("notice"))}
	if c, err := r.Cookie(unitsCookie); err == nil {
		b.units = c.Value
	}
	if p := personFrom(r.Context()); p != nil {
		b.Person = &personLink{ID: p.ID, Name: personName(p)}
		b.Sections = sections(p, c.today(), r.URL.Path)
		b.Passkeys = len(acts.PasskeysAt(p, s.origin(r))) > 0
		if printsHead(r.URL.Path) {
			head, err := s.store.TreeHead(r.Context())
			switch {
			case err == nil:
				b.Head = head.Note
			case !errors.Is(err, store.ErrNotFound):
				return BasePage{}, err
			}
		}
	}
	return b, nil
}

// printsHead says whether a page is a record or a report: a printed one is a witness of the ledger's head.
func printsHead(path string) bool {
	for _, part := range []string{"/record", "/standing", "/board", "/ledger", "/report", "/certificate"} {
		if strings.HasPrefix(path, part) || strings.HasPrefix(path, "/people/") && strings.Contains(path, part) {
			return true
		}
	}
	return strings.HasPrefix(path, "/jobs/") || strings.HasPrefix(path, "/tests/")
}

// errorBase is base for an error page: what cannot be found out is left out.
func (s *Server) errorBase(r *http.Request) BasePage {
	b, err := s.base(r, "")
	if err != nil {
		b = BasePage{Programme: "Brakewright", Version: s.config.Version, clock: clock{zone: time.UTC}}
	}
	b.Notice = ""
	return b
}

// sections is the navigation for the roles that somebody holds today.
func sections(p *store.Person, today, path string) []navSection {
	all := []navSection{
		{Role: acts.Supervisor, Name: "Supervisor", Links: []navLink{
			{Path: "/waiting", Text: "Waiting"}, {Path: "/sign", Text: "Sign"}, {Path: "/floor", Text: "Today’s floor"}, {Path: "/board", Text: "Board"}, {Path: "/cases", Text: "Returns"}, {Path: "/matters", Text: "Matters"}}},
		{Role: acts.Apprentice, Name: "Apprentice", Links: []navLink{
			{Path: "/next", Text: "What next"}, {Path: "/lessons", Text: "Lessons"}, {Path: "/standing", Text: "My standing"}, {Path: "/jobs/ask", Text: "Ask for a job"}, {Path: "/record", Text: "My record"}}},
		{Role: acts.Coordinator, Name: "Coordinator", Links: []navLink{
			{Path: "/board", Text: "Board"}, {Path: "/jobs", Text: "Open jobs"}, {Path: "/cases", Text: "Returns"}, {Path: "/matters", Text: "Matters"}, {Path: "/waivers", Text: "Waivers"}, {Path: "/people", Text: "Roster"}, {Path: "/keys", Text: "Keys"}, {Path: "/questions", Text: "Questions"}, {Path: "/programme", Text: "Programme"}, {Path: "/ledger", Text: "Ledger"}}},
	}
	// One's own pages have an address for oneself and one for everybody.
	if own, ok := strings.CutPrefix(path, "/people/"+p.ID); ok && acts.Holds(p, acts.Apprentice, today) {
		switch {
		case own == "/record":
			path = "/record"
		case own == "/standing", strings.HasPrefix(own, "/tasks/"):
			path = "/standing"
		}
	}
	var out []navSection
	seen := map[string]bool{}
	for _, sec := range all {
		if !acts.Holds(p, sec.Role, today) {
			continue
		}
		var links []navLink
		for _, l := range sec.Links {
			if seen[l.Path] || l.Path == "/jobs/ask" && acts.May(p, acts.AskForJob, acts.Target{Person: p, Date: today}) != nil {
				continue // said already, or no longer to be had, as a job for somebody whose agreement has ended
			}
			seen[l.Path] = true
			l.Current = path == l.Path || strings.HasPrefix(path, l.Path+"/") && l.Path != "/jobs/ask" && l.Path != "/jobs"
			links = append(links, l)
		}
		sec.Links = links
		out = append(out, sec)
	}
	if len(out) > 0 && !seen["/programme"] && acts.May(p, acts.WriteProgramme, acts.Target{Date: today}) == nil { // the author right
		last := &out[len(out)-1]
		last.Links = append(last.Links, navLink{Path: "/programme", Text: "Programme", Current: path == "/programme" || strings.HasPrefix(path, "/programme/")})
	}
	if len(out) > 0 && !seen["/lessons"] {
		last := &out[len(out)-1]
		last.Links = append(last.Links, navLink{Path: "/lessons", Text: "Lessons", Current: path == "/lessons" || strings.HasPrefix(path, "/lessons/")})
	}
	return out
}

// firstPath is where somebody's day begins.
func firstPath(p *store.Person, today string) string {
	for _, sec := range sections(p, today, "") {
		if len(sec.Links) > 0 {
			return sec.Links[0].Path
		}
	}
	return "/account"
}

func personName(p *store.Person) string {
	switch {
	case p == nil:
		return "nobody"
	case p.Name == "":
		return "an erased person"
	}
	return p.Name
}
