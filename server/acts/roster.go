package acts

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"brakewright/store"
	"brakewright/store/ledger"
)

// mostPeople bounds one addition to the roster.
const mostPeople = 500

// People are all whom the actor may see: with their roles, appointments, agreements. Sorted by name.
func (s *Service) People(ctx context.Context, actor *store.Person) ([]*store.Person, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	all, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(all, func(p *store.Person) bool {
		return May(actor, SeeRecord, Target{Person: p, Date: today}) != nil
	}), nil
}

// Person is one person whom the actor may see.
func (s *Service) Person(ctx context.Context, actor *store.Person, id string) (*store.Person, error) {
	p, err := s.person(ctx, id)
	if err != nil {
		return nil, err
	}
	return p, s.May(ctx, actor, SeeRecord, Target{Person: p})
}

// newcomer is a row of a roster, checked and completed.
type newcomer struct {
	NewPerson
	row int // from 0
}

// Added is somebody who was added: the entry, and the code for the first log-in.
type Added struct {
	Person, Login, Code string
	Receipt             store.Receipt
}

// AddRoster is AddPeople with the entry of each, in their order. id is the first one's entry, "" mints it; the same people
// under the same id are answered by the same entries, with new codes for those who have not logged in yet.
func (s *Service) AddRoster(ctx context.Context, actor *store.Person, id string, people []NewPerson, passphrase string) ([]Added, error) {
	if len(people) == 0 || len(people) > mostPeople {
		return nil, wrong("people", "people_count", "most", strconv.Itoa(mostPeople))
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	if err := May(actor, ManageRoster, Target{Date: at.date}); err != nil {
		return nil, err
	}
	if all, done, err := s.addedBefore(ctx, actor, id, people); done || err != nil {
		return all, err
	}
	rows, err := s.checkPeople(ctx, actor, people, at.date)
	if err != nil {
		return nil, err
	}
	var subs, sign []*ledger.Submission
	first := map[int]bool{} // those that add a person
	for i := range rows {
		entry := ""
		if i == 0 {
			entry = id
		}
		more, role, err := s.newcomerEntries(actor, &rows[i], at, entry)
		if err != nil {
			return nil, err
		}
		if rows[i].Role == Coordinator {
			sign = append(sign, role)
		}
		first[len(subs)] = true
		subs = append(subs, more...)
	}
	if len(sign) > 0 && passkeyUse(ctx) != nil {
		return nil, wrong("passphrase", "passphrase_here") // people are made anew at each request
	}
	if err := s.signAll(ctx, actor, passphrase, sign); err != nil {
		return nil, err
	}
	receipts, err := s.submitAll(ctx, subs...)
	if err != nil {
		if x, ok := AsRefusal(err); ok && x.Code == "rule_"+ledger.LoginTaken { // by somebody added this moment
			return nil, wrong("people", "login_taken")
		}
		return nil, err
	}
	var all []Added
	for i, r := range receipts {
		if !first[i] {
			continue
		}
		x := Added{Person: rows[len(all)].ID, Login: rows[len(all)].Login, Receipt: r}
		p, err := s.person(ctx, x.Person)
		if err != nil {
			return nil, err
		}
		if x.Code, _, err = s.addCode(ctx, p, actor.ID, firstCodeTime); err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, nil
}

// addedBefore finds people that an equal request has added.
func (s *Service) addedBefore(ctx context.Context, actor *store.Person, id string, people []NewPerson) ([]Added, bool, error) {
	if err := checkID(id); err != nil || id == "" {
		return nil, false, err
	}
	e, err := s.Store.Entry(ctx, id)
	if isNotFound(err) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	var all []Added
	for i, n := range people {
		p, err := s.Store.PersonByLogin(ctx, foldLogin(n.Login))
		if isNotFound(err) {
			return nil, false, conflict("id_taken")
		}
		if err != nil {
			return nil, false, err
		}
		es, err := s.Store.Entries(ctx, store.EntryFilter{Subject: p.ID, Types: []ledger.Type{ledger.PersonAdded}, Limit: 1})
		if err != nil {
			return nil, false, err
		}
		if len(es) == 0 || es[0].Entry.Body.Actor != actor.ID || es[0].Index < e.Index || i == 0 && es[0].Index != e.Index {
			return nil, false, conflict("id_taken")
		}
		said := words{"name": oneLine(n.Name), "login": strings.TrimSpace(n.Login)}
		if !said.stand(es[0]) || !everHeld(p, n.Role) {
			return nil, false, conflict("id_taken")
		}
		x := Added{Person: p.ID, Login: n.Login, Receipt: store.Receipt{ID: es[0].Entry.Body.ID, Index: es[0].Index}}
		if !p.HasPassword {
			if x.Code, _, err = s.addCode(ctx, p, actor.ID, firstCodeTime); err != nil {
				return nil, false, err
			}
		}
		all = append(all, x)
	}
	return all, true, nil
}

func (s *Service) addPeople(ctx context.Context, actor *store.Person, people []NewPerson, passphrase string) (map[string]string, error) {
	all, err := s.AddRoster(ctx, actor, "", people, passphrase)
	if err != nil {
		return nil, err
	}
	codes := map[string]string{}
	for _, x := range all {
		codes[x.Login] = x.Code
	}
	return codes, nil
}

// signAll signs entries with the actor's key, which is only asked for where there are any.
func (s *Service) signAll(ctx context.Context, actor *store.Person, passphrase string, subs []*ledger.Submission) error {
	if len(subs) == 0 {
		return nil
	}
	signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
	if err != nil {
		return err
	}
	for _, sub := range subs {
		if err := sub.Sign(signer); err != nil {
			return err
		}
	}
	return nil
}

// checkPeople completes every row, or says of all rows at once what is wrong with them.
func (s *Service) checkPeople(ctx context.Context, actor *store.Person, people []NewPerson, today string) ([]newcomer, error) {
	known, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	sites, err := s.Store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	cohorts, err := s.Store.Cohorts(ctx)
	if err != nil {
		return nil, err
	}
	taken, ids := map[string]bool{}, map[string]bool{}
	for _, p := range known {
		taken[foldLogin(p.Login)], ids[p.ID] = true, true
	}
	bad := refuse(http.StatusUnprocessableEntity, "people_problems")
	bad.Field = "people"
	var out []newcomer
	for i, p := range people {
		n := newcomer{NewPerson: p, row: i}
		tell := func(field, code string, args ...string) {
			r := wrong(fmt.Sprintf("people[%d].%s", i, field), code, args...)
			r.Args["row"] = strconv.Itoa(i + 1)
			bad.Problems = append(bad.Problems, *r)
		}
		n.Name = oneLine(p.Name)
		n.Login = strings.TrimSpace(p.Login)
		if code := badName(n.Name); code != "" {
			tell("name", code)
		}
		switch fold := foldLogin(n.Login); {
		case badLogin(n.Login):
			tell("login", "bad_login", "login", n.Login)
		case taken[fold]:
			tell("login", "login_taken", "login", n.Login)
		default:
			taken[fold] = true
		}
		if n.ID == "" {
			if n.ID, err = s.newID(); err != nil {
				return nil, err
			}
		} else if !ledger.ValidID(n.ID) || ids[n.ID] {
			tell("id", "bad_id", "id", n.ID)
		}
		ids[n.ID] = true
		if !slices.Contains(ledger.Roles, n.Role) {
			tell("role", "unknown_role", "role", n.Role)
		}
		n.completePlace(actor, sites, cohorts, today, tell)
		if n.From == "" {
			n.From = today
		}
		if !ledger.ValidDate(n.From) {
			tell("from", "bad_date", "date", n.From)
		}
		if n.Employer, err = text("employer", p.Employer); err != nil || len(n.Employer) > 200 {
			tell("employer", "bad_text")
		}
		if n.Employer != "" && n.Role != Apprentice {
			tell("employer", "employer_of_apprentice")
		}
		out = append(out, n)
	}
	if len(bad.Problems) > 0 {
		return nil, bad
	}
	return out, nil
}

// completePlace settles site and cohort of a row: a cohort gives its site; a coordinator of one site adds for that site.
func (n *newcomer) completePlace(actor *store.Person, sites []store.Site, cohorts []store.Cohort, today string, tell func(field, code string, args ...string)) {
	if n.Cohort != "" {
		i := slices.IndexFunc(cohorts, func(c store.Cohort) bool { return c.ID == n.Cohort })
		switch {
		case i < 0:
			tell("cohort", "unknown_cohort", "cohort", n.Cohort)
		case n.Role != Apprentice:
			tell("cohort", "cohort_of_apprentice")
		case n.Site == "":
			n.Site = cohorts[i].Site
		case n.Site != cohorts[i].Site:
			tell("cohort", "cohort_elsewhere")
		}
	}
	if n.Site == "" && May(actor, ManageSites, Target{Date: today}) != nil {
		n.Site = homeSite(actor, Coordinator, today)
	}
	if n.Site != "" && !slices.ContainsFunc(sites, func(x store.Site) bool { return x.ID == n.Site }) {
		tell("site", "unknown_site", "site", n.Site)
		return
	}
	if err := manages(actor, nil, n.Site, today); err != nil {
		tell("site", "site_not_yours")
	}
}

// manages asks for the right to manage somebody, or with nil somebody new, at a site; "" takes a coordinator of all sites.
func manages(actor, p *store.Person, site, date string) error {
	if p == nil && site == "" {
		return May(actor, ManageSites, Target{Date: date})
	}
	return May(actor, ManageRoster, Target{Person: p, Site: site, Date: date})
}

// newcomerEntries are the entries that add one person, the first under an id ("" mints it); role is the one that gives the
// role.
func (s *Service) newcomerEntries(actor *store.Person, n *newcomer, at place, id string) (all []*ledger.Submission, role *ledger.Submission, err error) {
	key, err := s.Store.NewDataKey(n.ID)
	if err != nil {
		return nil, nil, err
	}
	add := func(t ledger.Type, payload any, personal map[string]string, content map[string][]byte) *ledger.Submission {
		if err != nil {
			return nil
		}
		var sub *ledger.Submission
		if sub, err = s.entry(s.head(id, t, actor.ID, n.ID, at), payload, personal, content); err == nil {
			all = append(all, sub)
		}
		id = ""
		return sub
	}
	add(ledger.PersonAdded, ledger.PersonPayload{}, map[string]string{"name": n.Name, "login": n.Login}, map[string][]byte{"data_key": key})
	role = add(ledger.RoleGranted, ledger.RolePayload{Role: n.Role, From: n.From, Site: n.Site}, nil, nil)
	if n.Cohort != "" {
		add(ledger.CohortJoined, ledger.MembershipPayload{Cohort: n.Cohort, Date: n.From}, nil, nil)
	}
	if n.Employer != "" {
		add(ledger.AgreementMade, ledger.AgreementPayload{From: n.From}, map[string]string{"employer": n.Employer}, nil)
	}
	return all, role, err
}

// oneLine is a name as it is kept.
func oneLine(name string) string { return strings.Join(strings.Fields(name), " ") }

func badName(name string) string {
	switch {
	case name == "":
		return "name_needed"
	case utf8.RuneCountInString(name) > 100 || !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }):
		return "bad_name"
	}
	return ""
}

// badLogin: two to 64 letters, digits and . _ - @ +, so that it can be typed anywhere and read aloud.
func badLogin(login string) bool {
	n := utf8.RuneCountInString(login)
	return n < 2 || n > 64 || strings.ContainsFunc(login, func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("._-@+", r)
	})
}

func (s *Service) rename(ctx context.Context, actor *store.Person, id, person, name, login string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, err := s.managed(ctx, actor, person)
	if err != nil {
		return none, err
	}
	name, login = oneLine(name), strings.TrimSpace(login)
	personal := map[string]string{}
	if name != "" && name != p.Name {
		if code := badName(name); code != "" {
			return none, wrong("name", code)
		}
		personal["name"] = name
	}
	if login != "" && login != p.Login {
		if badLogin(login) {
			return none, wrong("login", "bad_login", "login", login)
		}
		personal["login"] = login
	}
	if len(personal) == 0 {
		return none, wrong("name", "name_as_it_is")
	}
	r, err := s.rosterEntry(ctx, actor, id, p, ledger.PersonRenamed, at, ledger.PersonPayload{}, personal, false, "")
	if x, ok := AsRefusal(err); ok && x.Code == "rule_"+ledger.LoginTaken {
		return none, wrong("login", "login_taken", "login", login)
	}
	return r, err
}

// managed loads somebody whom the actor manages, and the programme's place and date.
func (s *Service) managed(ctx context.Context, actor *store.Person, person string) (*store.Person, place, error) {
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, at, err
	}
	p, err := s.person(ctx, person)
	if err != nil {
		return nil, at, err
	}
	return p, at, May(actor, ManageRoster, Target{Person: p, Date: at.date})
}

// rosterEntry appends one entry about a person, signed where a passphrase is needed.
func (s *Service) rosterEntry(ctx context.Context, actor *store.Person, id string, p *store.Person, t ledger.Type, at place, payload any, personal map[string]string, signed bool, passphrase string) (store.Receipt, error) {
	sub, err := s.entry(s.head(id, t, actor.ID, p.ID, at), payload, personal, nil)
	if err != nil {
		return store.Receipt{}, err
	}
	if signed {
		if err := s.signAll(ctx, actor, passphrase, []*ledger.Submission{sub}); err != nil {
			return store.Receipt{}, err
		}
	}
	return s.submit(ctx, sub)
}

// span checks a first and a last day; the last may be open.
func span(from, until, today string) (string, error) {
	from, err := date("from", from, today)
	if err != nil {
		return "", err
	}
	if until == "" {
		return from, nil
	}
	if _, err := date("until", until, ""); err != nil {
		return "", err
	}
	if until < from {
		return "", wrong("until", "ends_before_it_begins", "from", from, "until", until)
	}
	return from, nil
}

func (s *Service) grantRole(ctx context.Context, actor *store.Person, id, person string, r store.Role, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, err := s.managed(ctx, actor, person)
	if err != nil {
		return none, err
	}
	if p.ID == actor.ID {
		return none, denied(ManageRoster, "self")
	}
	if !slices.Contains(ledger.Roles, r.Role) {
		return none, wrong("role", "unknown_role", "role", r.Role)
	}
	if r.Author && r.Role == Apprentice {
		return none, wrong("author", "author_not_apprentice")
	}
	if r.Site != "" {
		if _, err := s.site(ctx, r.Site); err != nil {
			return none, err
		}
	}
	if err := manages(actor, nil, r.Site, at.date); err != nil {
		return none, err
	}
	if r.From, err = span(r.From, r.Until, at.date); err != nil {
		return none, err
	}
	for _, have := range p.Roles {
		if have.Role == r.Role && have.Site == r.Site && have.Author == r.Author && have.Holds(r.From) && have.Until == "" {
			return none, conflict("role_held", "name", p.Name, "role", r.Role)
		}
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.RoleGranted, at,
		ledger.RolePayload{Role: r.Role, From: r.From, Until: r.Until, Site: r.Site, Author: r.Author}, nil,
		r.Role == Coordinator || r.Author, passphrase)
}

// ending checks the end of something that began: date "" is today, and the last day may be the one before the first,
// for what was never meant.
func (s *Service) ending(ctx context.Context, actor *store.Person, person, day string) (*store.Person, place, string, error) {
	p, at, err := s.managed(ctx, actor, person)
	if err != nil {
		return nil, at, "", err
	}
	day, err = date("date", day, at.date)
	return p, at, day, err
}

func (s *Service) endRole(ctx context.Context, actor *store.Person, id, person, entry, day string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, day, err := s.ending(ctx, actor, person, day)
	if err != nil {
		return none, err
	}
	if !slices.ContainsFunc(p.Roles, func(r store.Role) bool { return r.Entry == entry }) {
		return none, missing(store.ErrNotFound, "role")
	}
	r, err := s.rosterEntry(ctx, actor, id, p, ledger.RoleEnded, at, ledger.EndPayload{Ends: entry, Date: day}, nil, false, "")
	if err != nil {
		return none, err
	}
	if day < at.date {
		return r, s.Store.EndSessions(ctx, p.ID, "", "")
	}
	return r, nil
}

func (s *Service) appoint(ctx context.Context, actor *store.Person, id, person string, a store.Appointment, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, err := s.managed(ctx, actor, person)
	if err != nil {
		return none, err
	}
	if p.ID == actor.ID {
		return none, denied(ManageRoster, "self")
	}
	if a.Task == "" {
		return none, wrong("task", "unknown_task", "task", "")
	}
	if err := s.knownTask(ctx, a.Task); err != nil {
		return none, err
	}
	if a.Site != "" {
		if _, err := s.site(ctx, a.Site); err != nil {
			return none, err
		}
	}
	if err := manages(actor, nil, a.Site, at.date); err != nil {
		return none, err
	}
	if a.From, err = span(a.From, a.Until, at.date); err != nil {
		return none, err
	}
	supervises := slices.ContainsFunc(p.Roles, func(r store.Role) bool {
		return r.Role == Supervisor && (r.Until == "" || r.Until >= a.From) && (r.Site == "" || a.Site == "" || r.Site == a.Site)
	})
	if !supervises {
		return none, wrong("person", "not_supervisor", "name", p.Name)
	}
	qualification, err := text("qualification", a.Qualification)
	if err != nil {
		return none, err
	}
	number, err := text("number", a.Number)
	if err != nil {
		return none, err
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.Appointed, at, ledger.AppointmentPayload{Task: a.Task, Site: a.Site, From: a.From, Until: a.Until},
		map[string]string{"qualification": qualification, "number": number}, true, passphrase)
}

func (s *Service) endAppointment(ctx context.Context, actor *store.Person, id, person, entry, day, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, day, err := s.ending(ctx, actor, person, day)
	if err != nil {
		return none, err
	}
	if !slices.ContainsFunc(p.Appointments, func(a store.Appointment) bool { return a.Entry == entry }) {
		return none, missing(store.ErrNotFound, "appointment")
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.AppointmentEnded, at, ledger.EndPayload{Ends: entry, Date: day}, nil, true, passphrase)
}

// named checks the name of a site or cohort.
func named(name string, taken []string) (string, error) {
	name = oneLine(name)
	if code := badName(name); code != "" {
		return "", wrong("name", code)
	}
	for _, t := range taken {
		if strings.EqualFold(t, name) {
			return "", wrong("name", "name_taken", "name", name)
		}
	}
	return name, nil
}

func (s *Service) addSite(ctx context.Context, actor *store.Person, entry, name, zone string) (string, store.Receipt, error) {
	none := store.Receipt{}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return "", none, err
	}
	if err := May(actor, ManageSites, Target{Date: at.date}); err != nil {
		return "", none, err
	}
	sites, err := s.Store.Sites(ctx)
	if err != nil {
		return "", none, err
	}
	var taken []string
	for _, x := range sites {
		taken = append(taken, x.Name)
	}
	if name, err = named(name, taken); err != nil {
		return "", none, err
	}
	if zone == "" {
		zone = at.zone
	}
	if _, err := time.LoadLocation(zone); err != nil || zone == "Local" {
		return "", none, wrong("zone", "unknown_zone", "zone", zone)
	}
	id, err := s.newID()
	if err != nil {
		return "", none, err
	}
	sub, err := s.entry(s.head(entry, ledger.SiteAdded, actor.ID, "", at), ledger.SitePayload{Site: id, Name: name, Zone: zone}, nil, nil)
	if err != nil {
		return "", none, err
	}
	r, err := s.submit(ctx, sub)
	return id, r, err
}

func (s *Service) addCohort(ctx context.Context, actor *store.Person, entry, name, site string) (string, store.Receipt, error) {
	none := store.Receipt{}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return "", none, err
	}
	if site == "" {
		return "", none, wrong("site", "site_needed")
	}
	if err := May(actor, ManageRoster, Target{Site: site, Date: at.date}); err != nil {
		return "", none, err
	}
	if _, err := s.site(ctx, site); err != nil {
		return "", none, err
	}
	cohorts, err := s.Store.Cohorts(ctx)
	if err != nil {
		return "", none, err
	}
	var taken []string
	for _, c := range cohorts {
		if c.Site == site {
			taken = append(taken, c.Name)
		}
	}
	if name, err = named(name, taken); err != nil {
		return "", none, err
	}
	id, err := s.newID()
	if err != nil {
		return "", none, err
	}
	sub, err := s.entry(s.head(entry, ledger.CohortAdded, actor.ID, "", at), ledger.CohortPayload{Cohort: id, Name: name, Site: site}, nil, nil)
	if err != nil {
		return "", none, err
	}
	r, err := s.submit(ctx, sub)
	return id, r, err
}

func (s *Service) joinCohort(ctx context.Context, actor *store.Person, id, person, cohort, day string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, day, err := s.ending(ctx, actor, person, day)
	if err != nil {
		return none, err
	}
	if !everHeld(p, Apprentice) {
		return none, wrong("person", "not_apprentice", "name", p.Name)
	}
	cohorts, err := s.Store.Cohorts(ctx)
	if err != nil {
		return none, err
	}
	i := slices.IndexFunc(cohorts, func(c store.Cohort) bool { return c.ID == cohort })
	if i >= 0 { // of one that is unknown the ledger's rules tell
		if err := manages(actor, nil, cohorts[i].Site, at.date); err != nil {
			return none, err
		}
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.CohortJoined, at, ledger.MembershipPayload{Cohort: cohort, Date: day}, nil, false, "")
}

func (s *Service) leaveCohort(ctx context.Context, actor *store.Person, id, person, cohort, day string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, day, err := s.ending(ctx, actor, person, day)
	if err != nil {
		return none, err
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.CohortLeft, at, ledger.MembershipPayload{Cohort: cohort, Date: day}, nil, false, "")
}

func (s *Service) makeAgreement(ctx context.Context, actor *store.Person, id, person, employer, from, until string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, err := s.managed(ctx, actor, person)
	if err != nil {
		return none, err
	}
	if !everHeld(p, Apprentice) {
		return none, wrong("person", "not_apprentice", "name", p.Name)
	}
	if employer, err = text("employer", employer); err != nil {
		return none, err
	}
	if employer == "" || len(employer) > 200 {
		return none, wrong("employer", "employer_needed")
	}
	if from, err = span(from, until, at.date); err != nil {
		return none, err
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.AgreementMade, at, ledger.AgreementPayload{From: from, Until: until},
		map[string]string{"employer": employer}, false, "")
}

func (s *Service) endAgreement(ctx context.Context, actor *store.Person, id, person, entry, day string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, day, err := s.ending(ctx, actor, person, day)
	if err != nil {
		return none, err
	}
	if !slices.ContainsFunc(p.Agreements, func(a store.Agreement) bool { return a.Entry == entry }) {
		return none, missing(store.ErrNotFound, "agreement")
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.AgreementEnded, at, ledger.EndPayload{Ends: entry, Date: day}, nil, false, "")
}

func (s *Service) takeLeave(ctx context.Context, actor *store.Person, id, person, from, to string) (store.Receipt, error) {
	none := store.Receipt{}
	p, at, err := s.managed(ctx, actor, person)
	if err != nil {
		return none, err
	}
	if !everHeld(p, Apprentice) {
		return none, wrong("person", "not_apprentice", "name", p.Name)
	}
	if p.ID == actor.ID {
		return none, denied(ManageRoster, "self")
	}
	if to == "" {
		return none, wrong("to", "bad_date", "date", "")
	}
	if from, err = span(from, to, at.date); err != nil {
		return none, err
	}
	for _, l := range p.Leaves {
		if from <= l.To && l.From <= to {
			return none, wrong("from", "leave_overlaps", "from", l.From, "to", l.To)
		}
	}
	return s.rosterEntry(ctx, actor, id, p, ledger.LeaveTaken, at, ledger.LeavePayload{From: from, To: to}, nil, false, "")
}

// record pages through all entries about a person, the first first.
func (s *Service) record(ctx context.Context, actor *store.Person, person string) ([]*store.EntryView, error) {
	p, err := s.person(ctx, person)
	if err != nil {
		return nil, err
	}
	if err := s.May(ctx, actor, SeeRecord, Target{Person: p}); err != nil {
		return nil, err
	}
	var all []*store.EntryView
	f := store.EntryFilter{Subject: p.ID, Limit: 1000}
	for {
		es, err := s.Store.Entries(ctx, f)
		if err != nil || len(es) == 0 {
			return all, err
		}
		all = append(all, es...)
		f.From = es[len(es)-1].Index + 1
	}
}
