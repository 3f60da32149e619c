package server

import (
	"context"
	"io"
	"net/http"
	"net/url"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerRosterRoutes(r *mux.Router) {
	s.get(r, "/people", s.showPeople)
	s.post(r, "/people/sites", s.addSite)
	s.post(r, "/people/cohorts", s.addCohort)
	s.get(r, "/people/new", s.showNewPerson)
	s.post(r, "/people/new", s.addPerson)
	s.get(r, "/people/import", s.showImport)
	s.post(r, "/people/import", s.importPeople)
	s.get(r, "/people/due", s.showDue)
	s.get(r, "/people/{person}", s.showPerson)
	s.get(r, "/people/{person}/erase", s.showErase)
	s.post(r, "/people/{person}/erase", s.erase)
	s.post(r, "/people/{person}/code", s.showCode)
	s.post(r, "/people/{person}/name", s.rename)
	s.post(r, "/people/{person}/roles", s.grantRole)
	s.post(r, "/people/{person}/roles/{entry}/end", s.endRole)
	s.post(r, "/people/{person}/appointments", s.appoint)
	s.post(r, "/people/{person}/appointments/{entry}/end", s.endAppointment)
	s.post(r, "/people/{person}/cohorts", s.joinCohort)
	s.post(r, "/people/{person}/cohorts/{cohort}/leave", s.leaveCohort)
	s.post(r, "/people/{person}/agreements", s.makeAgreement)
	s.post(r, "/people/{person}/agreements/{entry}/end", s.endAgreement)
	s.post(r, "/people/{person}/leaves", s.takeLeave)
	s.post(r, "/people/{person}/key/end", s.endKey)
}

// ---- the list ----

// peoplePage is the roster.
type peoplePage struct {
	BasePage
	People    []personRow
	Sites     []siteRow
	Cohorts   []siteRow
	SiteList  []choice
	MaySites  bool
	Filtered  bool
	Total     int
	RoleNames []choice
}

type personRow struct {
	Path, Name, Login, Roles, Sites, Cohort string
	NoLogIn                                 bool // has no password yet
	Key                                     string
	Left                                    bool
}

type siteRow struct{ Name, Detail string }

func (peoplePage) template() string { return "people" }

var roleChoices = []choice{{"apprentice", "Apprentice"}, {"supervisor", "Supervisor"}, {"coordinator", "Coordinator"}}

func newPeoplePage(b BasePage, people []*store.Person, sites []store.Site, cohorts []store.Cohort, maySites bool) peoplePage {
	b.Title, b.Wide = "Roster", true
	today := b.clock.today()
	page := peoplePage{BasePage: b, SiteList: siteChoices(sites), MaySites: maySites, Total: len(people), RoleNames: roleChoices}
	names, cohortNames := map[string]string{}, map[string]string{}
	for _, x := range sites {
		names[x.ID] = x.Name
		page.Sites = append(page.Sites, siteRow{x.Name, x.Zone})
	}
	for _, x := range cohorts {
		cohortNames[x.ID] = x.Name
		page.Cohorts = append(page.Cohorts, siteRow{x.Name, names[x.Site]})
	}
	role, site, search := b.Value("role"), b.Value("site"), strings.ToLower(strings.TrimSpace(b.Value("search")))
	page.Filtered = role+site+search != ""
	for _, p := range people {
		row := personRow{Path: "/people/" + p.ID, Name: personName(p), Login: p.Login, NoLogIn: !p.HasPassword, Left: acts.Left(p, today) || !acts.HoldsAny(p, today)}
		var roles, at []string
		hasRole, hasSite := role == "", site == ""
		for _, r := range p.Roles {
			if !r.Holds(today) {
				continue
			}
			roles = appendNew(roles, roleName(r.Role))
			where := "all sites"
			if r.Site != "" {
				where = names[r.Site]
			}
			at = appendNew(at, where)
			hasRole = hasRole || r.Role == role
			hasSite = hasSite || r.Site == site || r.Site == ""
		}
		row.Roles, row.Sites = strings.Join(roles, ", "), strings.Join(at, ", ")
		for _, m := range p.Cohorts {
			if m.From <= today && (m.Until == "" || today <= m.Until) {
				row.Cohort = cohortNames[m.Cohort]
			}
		}
		switch {
		case p.KeyWaiting:
			row.Key = "waits for a coordinator"
		case p.CanSign():
			row.Key = "in force"
		}
		if hasRole && hasSite && (search == "" || strings.Contains(strings.ToLower(row.Name+" "+row.Login), search)) {
			page.People = append(page.People, row)
		}
	}
	return page
}

func (s *Server) showPeople(w http.ResponseWriter, r *http.Request) error {
	return s.peopleForm(w, r, nil)
}

func (s *Server) peopleForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx := r.Context()
	b, err := s.base(r, "Roster")
	if err != nil {
		return err
	}
	if err := s.acts.May(ctx, personFrom(ctx), acts.ManageRoster, acts.Target{}); err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "name", "zone", "site"); err != nil {
			return err
		}
		b.Form = r.PostForm
	} else {
		for _, k := range []string{"role", "site", "search"} {
			b.set(k, r.URL.Query().Get(k))
		}
	}
	people, err := s.acts.People(ctx, personFrom(ctx))
	if err != nil {
		return err
	}
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return err
	}
	cohorts, err := s.store.Cohorts(ctx)
	if err != nil {
		return err
	}
	maySites, err := s.may(ctx, personFrom(ctx), acts.ManageSites, acts.Target{})
	if err != nil {
		return err
	}
	return s.render(w, r, status, newPeoplePage(b, people, sites, cohorts, maySites))
}

func (s *Server) addSite(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	if _, err := s.acts.AddSite(r.Context(), personFrom(r.Context()), r.PostForm.Get("name"), strings.TrimSpace(r.PostForm.Get("zone"))); err != nil {
		return s.peopleForm(w, r, err)
	}
	return seeOther(w, r, "/people#sites", "saved")
}

func (s *Server) addCohort(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	if _, err := s.acts.AddCohort(r.Context(), personFrom(r.Context()), r.PostForm.Get("name"), r.PostForm.Get("site")); err != nil {
		return s.peopleForm(w, r, err)
	}
	return seeOther(w, r, "/people#cohorts", "saved")
}

// ---- one new person ----

// newPersonPage adds one person.
type newPersonPage struct {
	BasePage
	Roles, Sites, Cohorts []choice
	ID                    string
}

func (newPersonPage) template() string { return "person_new" }

func (s *Server) showNewPerson(w http.ResponseWriter, r *http.Request) error {
	return s.newPersonForm(w, r, nil)
}

var newPersonFields = []string{"name", "login", "role", "site", "cohort", "employer", "from", "passphrase"}

func (s *Server) newPersonForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx := r.Context()
	b, err := s.base(r, "Add a person")
	if err != nil {
		return err
	}
	if err := s.acts.May(ctx, personFrom(ctx), acts.ManageRoster, acts.Target{}); err != nil {
		return err
	}
	status, id := http.StatusOK, newID()
	b.set("role", "apprentice")
	b.set("from", b.clock.today())
	if problem != nil {
		if status, err = b.refused(w, ownFields(failureOf(problem), "people[0]."), newPersonFields...); err != nil {
			return err
		}
		for _, k := range newPersonFields {
			if k != "passphrase" {
				b.set(k, r.PostForm.Get(k))
			}
		}
		id = r.PostForm.Get("id")
	}
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return err
	}
	cohorts, err := s.cohortChoices(ctx)
	if err != nil {
		return err
	}
	return s.render(w, r, status, newPersonPage{BasePage: b, Roles: roleChoices, Sites: siteChoices(sites), Cohorts: cohorts, ID: id})
}

// ownFields takes a prefix off the field names of a failure and its problems.
func ownFields(f failure, prefix string) failure {
	f.field = strings.TrimPrefix(f.field, prefix)
	for i := range f.problems {
		f.problems[i] = ownFields(f.problems[i], prefix)
	}
	return f
}

// cohortChoices are all cohorts with their sites.
func (s *Server) cohortChoices(ctx context.Context) ([]choice, error) {
	cohorts, err := s.store.Cohorts(ctx)
	if err != nil {
		return nil, err
	}
	sites, err := s.nameBook().siteNames(ctx)
	if err != nil {
		return nil, err
	}
	var out []choice
	for _, c := range cohorts {
		out = append(out, choice{c.ID, c.Name + " · " + sites[c.Site]})
	}
	return out, nil
}

func (s *Server) addPerson(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	n := acts.NewPerson{ID: f.Get("id"), Name: f.Get("name"), Login: strings.TrimSpace(f.Get("login")), Role: f.Get("role"), Site: f.Get("site"), Cohort: f.Get("cohort"),
		Employer: strings.TrimSpace(f.Get("employer")), From: f.Get("from")}
	codes, err := s.acts.AddPeople(r.Context(), personFrom(r.Context()), []acts.NewPerson{n}, f.Get("passphrase"))
	if err != nil {
		return s.newPersonForm(w, r, err)
	}
	return s.showCodes(w, r, []acts.NewPerson{n}, codes, "")
}

// codePage shows one-time log-in codes, once.
type codePage struct {
	BasePage
	Codes   []codeLine
	Address string // of the log-in page
	First   bool   // somebody new, as against somebody locked out
	Expires moment
	Back    string
}

type codeLine struct{ Name, Login, Code string }

func (codePage) template() string { return "code" }

func (s *Server) showCodes(w http.ResponseWriter, r *http.Request, people []acts.NewPerson, codes map[string]string, back string) error {
	b, err := s.base(r, "First log-in codes")
	if err != nil {
		return err
	}
	page := codePage{BasePage: b, Address: s.logInAddress(r), First: true, Back: "/people"}
	for _, p := range people {
		page.Codes = append(page.Codes, codeLine{p.Name, p.Login, codes[p.Login]})
	}
	if back != "" {
		page.Back = back
	}
	return s.render(w, r, http.StatusOK, page)
}

// logInAddress is where a code is typed.
func (s *Server) logInAddress(r *http.Request) string {
	if s.host != "" {
		return s.host + "/login/code"
	}
	return "http://" + r.Host + "/login/code"
}

// showCode makes a one-time code for somebody who is locked out. It answers a POST with a page: the code is shown once and
// stands in no address.
func (s *Server) showCode(w http.ResponseWriter, r *http.Request) error {
	id := mux.Vars(r)["person"]
	code, expires, err := s.acts.ShowCode(r.Context(), personFrom(r.Context()), id)
	if err != nil {
		return err
	}
	who, err := s.store.Person(r.Context(), id)
	if err != nil {
		return err
	}
	b, err := s.base(r, "One-time code for "+personName(who))
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, codePage{BasePage: b, Codes: []codeLine{{personName(who), who.Login, code}}, Address: s.logInAddress(r), Expires: b.clock.at(expires), Back: "/people/" + id})
}

// ---- many new people ----

// importPage adds many people from comma-separated lines: first a dry run with everything that is wrong, row by row.
type importPage struct {
	BasePage
	Text     string
	Rows     []importRow
	Problems int
	Ready    bool // the dry run found nothing wrong
	Columns  string
}

type importRow struct {
	Row                                           int
	Name, Login, Role, Site, Cohort, Employer, On string
	Errors                                        []string
}

func (importPage) template() string { return "import" }

func (s *Server) showImport(w http.ResponseWriter, r *http.Request) error {
	if err := s.acts.May(r.Context(), personFrom(r.Context()), acts.ManageRoster, acts.Target{}); err != nil {
		return err
	}
	b, err := s.base(r, "Add people from a list")
	if err != nil {
		return err
	}
	b.Wide = true
	return s.render(w, r, http.StatusOK, importPage{BasePage: b, Columns: strings.Join(rosterColumns, ",")})
}

// importPeople shows the dry run, or adds everybody where the button says so and nothing is wrong.
func (s *Server) importPeople(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseMultipartForm(maxBody); err != nil && err != http.ErrNotMultipart {
		return badForm(err)
	}
	ctx, me := r.Context(), personFrom(r.Context())
	text := r.PostForm.Get("list")
	if file, _, err := r.FormFile("file"); err == nil {
		defer file.Close() //nolint:errcheck // read only
		b, err := io.ReadAll(file)
		if err != nil {
			return badForm(err)
		}
		if len(b) > 0 {
			text = string(b)
		}
	}
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return err
	}
	cohorts, err := s.store.Cohorts(ctx)
	if err != nil {
		return err
	}
	people, rows, problem := readRoster(text, sites, cohorts)
	if problem == nil {
		problem = s.acts.CheckPeople(ctx, me, people)
	}
	if problem == nil && r.PostForm.Get("step") == "add" {
		codes, err := s.acts.AddPeople(ctx, me, people, r.PostForm.Get("passphrase"))
		if err == nil {
			return s.showCodes(w, r, people, codes, "")
		}
		problem = err
	}
	b, err := s.base(r, "Add people from a list")
	if err != nil {
		return err
	}
	b.Wide = true
	status := http.StatusOK
	if problem != nil {
		var fields []string
		f := failureOf(problem)
		for i := range rows {
			for _, x := range f.problems {
				if strings.HasPrefix(x.field, "people["+itoa(i)+"].") {
					rows[i].Errors = append(rows[i].Errors, x.text)
					fields = append(fields, x.field)
				}
			}
		}
		if status, err = b.refused(w, f, append(fields, "passphrase", "list")...); err != nil {
			return err
		}
	}
	page := importPage{BasePage: b, Text: text, Rows: rows, Ready: problem == nil && len(rows) > 0, Columns: strings.Join(rosterColumns, ",")}
	for _, x := range rows {
		page.Problems += len(x.Errors)
	}
	if b.Errors["passphrase"] != "" {
		page.Ready = true
	}
	return s.render(w, r, status, page)
}

// ---- one person ----

// personPage is one person: what they do here and, for a coordinator, everything that can be changed.
type personPage struct {
	BasePage
	ID, Name, Login string
	Apprentice      bool
	Supervisor      bool
	Left            bool
	Self            bool
	HasPassword     bool
	Key             string
	Roles           []roleLine
	Appointments    []appointmentLine
	Cohorts         []membershipLine
	Agreements      []agreementLine
	Leaves          []leaveLine
	Standing        []taskLine
	MayManage       bool
	MayCode         bool
	MayErase        bool
	Erased          bool
	RoleNames       []choice
	Sites           []choice
	Tasks           []choice
	CohortList      []choice
	Today           string
	Path            string
	Keys            []keyLineOf // for whoever manages them
	InForce         []keyLineOf
	HasKey          bool
	MayKeys         bool
}

type appointmentLine struct {
	Entry, Task, Site, Qualification, Number string
	From, Until                              moment
	Now                                      bool
}

type membershipLine struct {
	ID, Name    string
	From, Until moment
	Now         bool
}

type agreementLine struct {
	Entry, Employer string
	From, Until     moment
	Now             bool
}

type leaveLine struct{ From, To moment }

func (personPage) template() string { return "person" }

func newPersonPageOf(b BasePage, p *curriculum.Programme, who *store.Person, sites map[string]string, cohorts []choice, verdicts []readiness.Verdict) personPage {
	today := b.clock.today()
	b.Title = personName(who)
	page := personPage{BasePage: b, ID: who.ID, Name: personName(who), Login: who.Login, Left: acts.Left(who, today), Erased: who.Erased, HasPassword: who.HasPassword, Key: "none",
		Roles: roleLines(b.clock, who, sites), RoleNames: roleChoices, Tasks: taskChoices(p), CohortList: cohorts, Today: today, Path: "/people/" + who.ID,
		Apprentice: acts.Holds(who, acts.Apprentice, today), Supervisor: acts.Holds(who, acts.Supervisor, today)}
	switch {
	case who.KeyWaiting:
		page.Key = "a new one waits for a coordinator"
	case who.Key != nil:
		page.Key = "in force since " + b.clock.at(who.Key.AddedAt).Text
	case len(who.Passkeys) > 0:
		page.Key = "a passkey, since " + b.clock.at(who.Passkeys[0].AddedAt).Text
	}
	for _, a := range who.Appointments {
		site := "all sites"
		if a.Site != "" {
			site = sites[a.Site]
		}
		page.Appointments = append(page.Appointments, appointmentLine{Entry: a.Entry, Task: taskTitle(p, a.Task), Site: site, Qualification: a.Qualification, Number: a.Number, From: b.clock.day(a.From), Until: b.clock.day(a.Until), Now: a.Holds(today)})
	}
	names := map[string]string{}
	for _, c := range cohorts {
		names[c.Value] = c.Text
	}
	for _, m := range who.Cohorts {
		page.Cohorts = append(page.Cohorts, membershipLine{ID: m.Cohort, Name: names[m.Cohort], From: b.clock.day(m.From), Until: b.clock.day(m.Until), Now: m.From <= today && (m.Until == "" || today <= m.Until)})
	}
	for _, a := range who.Agreements {
		page.Agreements = append(page.Agreements, agreementLine{Entry: a.Entry, Employer: a.Employer, From: b.clock.day(a.From), Until: b.clock.day(a.Until), Now: a.From <= today && (a.Until == "" || today <= a.Until)})
	}
	for _, l := range who.Leaves {
		page.Leaves = append(page.Leaves, leaveLine{b.clock.day(l.From), b.clock.day(l.To)})
	}
	if len(verdicts) > 0 {
		page.Standing = newTaskLines(p, b.clock, who.ID, verdicts)
	}
	return page
}

func (s *Server) showPerson(w http.ResponseWriter, r *http.Request) error {
	return s.personForm(w, r, nil)
}

// personForm shows a person, with what was wrong with the form that was sent. Forms of this page name their fields
// FORM-FIELD, so that a message stands in its own form.
func (s *Server) personForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, me, id := r.Context(), personFrom(r.Context()), mux.Vars(r)["person"]
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	who, err := s.acts.Person(ctx, me, id)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		kind := r.PostForm.Get("form")
		f := failureOf(problem)
		if f.field != "" {
			f.field = kind + "-" + f.field
		}
		if status, err = b.refused(w, f, f.field); err != nil {
			return err
		}
		b.Form = url.Values{"form": {kind}}
		for k, v := range r.PostForm {
			if !strings.Contains(k, "passphrase") {
				b.Form[kind+"-"+k] = v
			}
		}
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return err
	}
	names := map[string]string{}
	for _, x := range sites {
		names[x.ID] = x.Name
	}
	cohorts, err := s.cohortChoices(ctx)
	if err != nil {
		return err
	}
	var verdicts []readiness.Verdict
	apprentice := false
	for _, x := range who.Roles {
		apprentice = apprentice || x.Role == acts.Apprentice
	}
	if apprentice {
		if verdicts, err = s.acts.Standings(ctx, me, id); err != nil {
			if _, ok := acts.AsRefusal(err); !ok {
				return err
			}
			verdicts = nil
		}
	}
	page := newPersonPageOf(b, p, who, names, cohorts, verdicts)
	page.Sites, page.Self = siteChoices(sites), who.ID == me.ID
	if page.MayManage, err = s.may(ctx, me, acts.ManageRoster, acts.Target{Person: who}); err != nil {
		return err
	}
	if page.MayErase, err = s.may(ctx, me, acts.ErasePerson, acts.Target{Person: who}); err != nil {
		return err
	}
	if page.MayCode, err = s.may(ctx, me, acts.ShowLogInCode, acts.Target{Person: who}); err != nil {
		return err
	}
	if page.MayKeys, err = s.may(ctx, me, acts.ManageKeys, acts.Target{Person: who}); err != nil {
		return err
	}
	if page.MayKeys {
		keys, err := s.acts.KeysOf(ctx, me, id)
		if err != nil {
			return err
		}
		page.Keys, page.HasKey = keyLinesOf(b.clock, keys), who.CanSign()
		for _, k := range page.Keys {
			if k.Why == "" {
				page.InForce = append(page.InForce, k)
			}
		}
	}
	return s.render(w, r, status, page)
}

// endKey ends somebody's signing key: lost, or in other hands.
func (s *Server) endKey(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		_, err := s.acts.EndKey(ctx, me, acts.KeyEnd{ID: f.Get("id"), Person: id, Key: f.Get("key"), Why: f.Get("why"), From: f.Get("from"), Reason: f.Get("reason")})
		return err
	})
}

// change runs one of the forms of a person's page.
func (s *Server) change(w http.ResponseWriter, r *http.Request, do func(ctx context.Context, me *store.Person, person string, f url.Values) error) error {
	if err := form(r); err != nil {
		return err
	}
	id := mux.Vars(r)["person"]
	if err := do(r.Context(), personFrom(r.Context()), id, r.PostForm); err != nil {
		return s.personForm(w, r, err)
	}
	return seeOther(w, r, "/people/"+id, "saved")
}

func (s *Server) rename(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.Rename(ctx, me, id, f.Get("name"), f.Get("login"))
	})
}

func (s *Server) grantRole(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		role := store.Role{Role: f.Get("role"), From: f.Get("from"), Until: f.Get("until"), Site: f.Get("site"), Author: f.Get("author") != ""}
		return s.acts.GrantRole(ctx, me, id, role, f.Get("passphrase"))
	})
}

func (s *Server) endRole(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.EndRole(ctx, me, id, mux.Vars(r)["entry"], f.Get("date"))
	})
}

func (s *Server) appoint(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		a := store.Appointment{Task: f.Get("task"), Site: f.Get("site"), From: f.Get("from"), Until: f.Get("until"), Qualification: strings.TrimSpace(f.Get("qualification")), Number: strings.TrimSpace(f.Get("number"))}
		return s.acts.Appoint(ctx, me, id, a, f.Get("passphrase"))
	})
}

func (s *Server) endAppointment(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.EndAppointment(ctx, me, id, mux.Vars(r)["entry"], f.Get("date"), f.Get("passphrase"))
	})
}

func (s *Server) joinCohort(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.JoinCohort(ctx, me, id, f.Get("cohort"), f.Get("date"))
	})
}

func (s *Server) leaveCohort(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.LeaveCohort(ctx, me, id, mux.Vars(r)["cohort"], f.Get("date"))
	})
}

func (s *Server) makeAgreement(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.MakeAgreement(ctx, me, id, strings.TrimSpace(f.Get("employer")), f.Get("from"), f.Get("until"))
	})
}

func (s *Server) endAgreement(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.EndAgreement(ctx, me, id, mux.Vars(r)["entry"], f.Get("date"))
	})
}

func (s *Server) takeLeave(w http.ResponseWriter, r *http.Request) error {
	return s.change(w, r, func(ctx context.Context, me *store.Person, id string, f url.Values) error {
		return s.acts.TakeLeave(ctx, me, id, f.Get("from"), f.Get("to"))
	})
}
