package server

import (
	"encoding/base64"
	"encoding/json"
	"net/http"
	"strconv"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

// ---- people ----

type apiRole struct {
	Entry  string `json:"entry"`
	Role   string `json:"role"`
	From   string `json:"from"`
	Until  string `json:"until"` // inclusive, "" if open
	Site   string `json:"site"`  // "" for all sites
	Author bool   `json:"author"`
}

type apiAppointment struct {
	Entry         string `json:"entry"`
	Task          string `json:"task"`
	Site          string `json:"site"`
	From          string `json:"from"`
	Until         string `json:"until"`
	Qualification string `json:"qualification"`
	Number        string `json:"number"`
}

type apiAgreement struct {
	Entry    string `json:"entry"`
	Employer string `json:"employer"`
	From     string `json:"from"`
	Until    string `json:"until"`
}

type apiMembership struct {
	Cohort string `json:"cohort"`
	From   string `json:"from"`
	Until  string `json:"until"`
}

type apiLeave struct {
	Entry string `json:"entry"`
	From  string `json:"from"`
	To    string `json:"to"`
}

type apiPersonFull struct {
	apiPersonName
	Roles        []apiRole        `json:"roles"`
	Appointments []apiAppointment `json:"appointments"`
	Cohorts      []apiMembership  `json:"cohorts"`
	Agreements   []apiAgreement   `json:"agreements"`
	Leaves       []apiLeave       `json:"leaves"`
	Key          bool             `json:"key"`
	KeyWaiting   bool             `json:"key_waiting"`
	AddedAt      string           `json:"added_at"`
}

func personOf(p *store.Person) apiPersonFull {
	out := apiPersonFull{apiPersonName: nameOf(p), Roles: []apiRole{}, Appointments: []apiAppointment{}, Cohorts: []apiMembership{},
		Agreements: []apiAgreement{}, Leaves: []apiLeave{}, Key: p.CanSign(), KeyWaiting: p.KeyWaiting, AddedAt: timeText(p.AddedAt)}
	for _, r := range p.Roles {
		out.Roles = append(out.Roles, apiRole{r.Entry, r.Role, r.From, r.Until, r.Site, r.Author})
	}
	for _, a := range p.Appointments {
		out.Appointments = append(out.Appointments, apiAppointment{a.Entry, a.Task, a.Site, a.From, a.Until, a.Qualification, a.Number})
	}
	for _, m := range p.Cohorts {
		out.Cohorts = append(out.Cohorts, apiMembership(m))
	}
	for _, a := range p.Agreements {
		out.Agreements = append(out.Agreements, apiAgreement(a))
	}
	for _, l := range p.Leaves {
		out.Leaves = append(out.Leaves, apiLeave(l))
	}
	return out
}

func apiPeople(c *apiCall) (apiAnswer, error) {
	people, err := c.acts.People(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	out := make([]apiPersonFull, len(people))
	for i, p := range people {
		out[i] = personOf(p)
	}
	return ok(out)
}

func apiPerson(c *apiCall) (apiAnswer, error) {
	p, err := c.acts.Person(c.ctx(), c.actor, c.v("person"))
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(personOf(p))
}

func apiRecord(c *apiCall) (apiAnswer, error) {
	entries, err := c.acts.Record(c.ctx(), c.actor, c.v("person"))
	if err != nil {
		return apiAnswer{}, err
	}
	lines := make([]apiEntryLine, len(entries))
	for i, e := range entries {
		lines[i] = lineOf(e)
	}
	return ok(lines)
}

// apiNewPerson is somebody to be added.
type apiNewPerson struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Login    string `json:"login"`
	Role     string `json:"role"`
	Site     string `json:"site"`
	Cohort   string `json:"cohort"`
	Employer string `json:"employer"`
	From     string `json:"from"`
}

// apiAddPeople adds all or none, and answers the one-time codes for their first log-in.
func apiAddPeople(c *apiCall) (apiAnswer, error) {
	var in struct {
		People     []apiNewPerson `json:"people"`
		Passphrase string         `json:"passphrase"` // needed where a coordinator is added
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	people := make([]acts.NewPerson, len(in.People))
	for i, p := range in.People {
		people[i] = acts.NewPerson{ID: p.ID, Name: p.Name, Login: p.Login, Role: p.Role, Site: p.Site, Cohort: p.Cohort, Employer: p.Employer, From: p.From}
	}
	all, err := c.acts.AddRoster(c.ctx(), c.actor, c.id, people, in.Passphrase)
	if err != nil {
		return apiAnswer{}, err
	}
	type line struct {
		Person string `json:"person"`
		Login  string `json:"login"`
		ID     string `json:"id"`
		Index  int64  `json:"index"`
	}
	out := struct {
		store.Receipt
		Codes  map[string]string `json:"codes"`
		People []line            `json:"people"`
	}{all[0].Receipt, map[string]string{}, []line{}}
	for _, x := range all {
		if x.Code != "" {
			out.Codes[x.Login] = x.Code
		}
		out.People = append(out.People, line{x.Person, x.Login, x.Receipt.ID, x.Receipt.Index})
	}
	return created(out)
}

// apiPlaceAdded is a site or cohort with the entry that added it.
type apiPlaceAdded struct {
	ID    string `json:"id"` // the site's or cohort's own
	Entry string `json:"entry"`
	Index int64  `json:"index"`
}

// done answers a write that is no entry: it is committed.
func done(err error) (apiAnswer, error) {
	if err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

func apiRename(c *apiCall) (apiAnswer, error) {
	var in struct {
		Name  string `json:"name"`
		Login string `json:"login"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).Rename(c.ctx(), c.actor, c.v("person"), in.Name, in.Login))
}

func apiShowCode(c *apiCall) (apiAnswer, error) {
	code, expires, err := c.acts.ShowCode(c.ctx(), c.actor, c.v("person"))
	if err != nil {
		return apiAnswer{}, err
	}
	return created(map[string]string{"code": code, "expires": timeText(expires)})
}

func apiGrantRole(c *apiCall) (apiAnswer, error) {
	var in struct {
		Role       string `json:"role"`
		From       string `json:"from"`
		Until      string `json:"until"`
		Site       string `json:"site"`
		Author     bool   `json:"author"`
		Passphrase string `json:"passphrase"` // for the coordinator's role and the author right
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).GrantRole(c.ctx(), c.actor, c.v("person"), store.Role{Role: in.Role, From: in.From, Until: in.Until, Site: in.Site, Author: in.Author}, in.Passphrase))
}

// apiEnding is how something that runs is ended.
type apiEnding struct {
	Date       string `json:"date"` // last day
	Passphrase string `json:"passphrase"`
}

func apiEndRole(c *apiCall) (apiAnswer, error) {
	var in struct {
		Date string `json:"date"` // last day
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).EndRole(c.ctx(), c.actor, c.v("person"), c.v("entry"), in.Date))
}

func apiAppoint(c *apiCall) (apiAnswer, error) {
	var in struct {
		Task          string `json:"task"`
		Site          string `json:"site"`
		From          string `json:"from"`
		Until         string `json:"until"`
		Qualification string `json:"qualification"`
		Number        string `json:"number"`
		Passphrase    string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	a := store.Appointment{Task: in.Task, Site: in.Site, From: in.From, Until: in.Until, Qualification: in.Qualification, Number: in.Number}
	return receipt(c.acts.Roster(c.id).Appoint(c.ctx(), c.actor, c.v("person"), a, in.Passphrase))
}

func apiEndAppointment(c *apiCall) (apiAnswer, error) {
	var in apiEnding
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).EndAppointment(c.ctx(), c.actor, c.v("person"), c.v("entry"), in.Date, in.Passphrase))
}

func apiJoinCohort(c *apiCall) (apiAnswer, error) {
	var in struct {
		Cohort string `json:"cohort"`
		Date   string `json:"date"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).JoinCohort(c.ctx(), c.actor, c.v("person"), in.Cohort, in.Date))
}

func apiLeaveCohort(c *apiCall) (apiAnswer, error) {
	var in struct {
		Date string `json:"date"` // last day
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).LeaveCohort(c.ctx(), c.actor, c.v("person"), c.v("cohort"), in.Date))
}

func apiMakeAgreement(c *apiCall) (apiAnswer, error) {
	var in struct {
		Employer string `json:"employer"`
		From     string `json:"from"`
		Until    string `json:"until"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).MakeAgreement(c.ctx(), c.actor, c.v("person"), in.Employer, in.From, in.Until))
}

func apiEndAgreement(c *apiCall) (apiAnswer, error) {
	var in struct {
		Date string `json:"date"` // last day
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).EndAgreement(c.ctx(), c.actor, c.v("person"), c.v("entry"), in.Date))
}

func apiTakeLeave(c *apiCall) (apiAnswer, error) {
	var in struct {
		From string `json:"from"`
		To   string `json:"to"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Roster(c.id).TakeLeave(c.ctx(), c.actor, c.v("person"), in.From, in.To))
}

// ---- sites and cohorts ----

type apiSite struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	Zone string `json:"zone"`
}

func sitesOf(sites []store.Site) []apiSite {
	out := make([]apiSite, len(sites))
	for i, s := range sites {
		out[i] = apiSite(s)
	}
	return out
}

func apiSites(c *apiCall) (apiAnswer, error) {
	sites, err := c.server.store.Sites(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(sitesOf(sites))
}

func apiAddSite(c *apiCall) (apiAnswer, error) {
	var in struct {
		Name string `json:"name"`
		Zone string `json:"zone"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	id, r, err := c.acts.Roster(c.id).AddSite(c.ctx(), c.actor, in.Name, in.Zone)
	if err != nil {
		return apiAnswer{}, err
	}
	return created(apiPlaceAdded{id, r.ID, r.Index})
}

func apiCohorts(c *apiCall) (apiAnswer, error) {
	cohorts, err := c.server.store.Cohorts(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	type line struct {
		ID   string `json:"id"`
		Name string `json:"name"`
		Site string `json:"site"`
	}
	out := make([]line, len(cohorts))
	for i, x := range cohorts {
		out[i] = line(x)
	}
	return ok(out)
}

func apiAddCohort(c *apiCall) (apiAnswer, error) {
	var in struct {
		Name string `json:"name"`
		Site string `json:"site"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	id, r, err := c.acts.Roster(c.id).AddCohort(c.ctx(), c.actor, in.Name, in.Site)
	if err != nil {
		return apiAnswer{}, err
	}
	return created(apiPlaceAdded{id, r.ID, r.Index})
}

// ---- keys ----

func apiWaitingKeys(c *apiCall) (apiAnswer, error) {
	waiting, err := c.acts.WaitingKeys(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	type line struct {
		apiPersonName
		Passkey bool `json:"passkey"` // stands beside the person's other keys
	}
	out := make([]line, len(waiting))
	for i, k := range waiting {
		out[i] = line{nameOf(k.Person), k.Passkey}
	}
	return ok(out)
}

func apiConfirmKeys(c *apiCall) (apiAnswer, error) {
	var in struct {
		People     []string `json:"people"`
		Passphrase string   `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	rs, err := c.acts.SignKeys(c.ctx(), c.actor, in.People, in.Passphrase)
	if err != nil {
		return apiAnswer{}, err
	}
	return created(map[string][]store.Receipt{"entries": rs})
}

// ---- the programme ----

func apiProgramme(c *apiCall) (apiAnswer, error) {
	p, err := c.lessonsFor()
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Edition   string       `json:"edition"`
		Title     string       `json:"title"`
		Languages []string     `json:"languages"`
		Units     string       `json:"units"`
		Tasks     []apiTask    `json:"tasks"`
		Vehicles  []apiVehicle `json:"vehicles"`
	}{p.Edition, p.Title, p.Languages, p.Units, tasksOf(p.Tasks), vehiclesOf(p.Vehicles)})
}

// apiFinding is a problem of the folder, as lint says it.
type apiFinding struct {
	File     string              `json:"file"`
	Line     int                 `json:"line"`
	Column   int                 `json:"column"`
	Severity curriculum.Severity `json:"severity"`
	Code     string              `json:"code"`
	Message  string              `json:"message"`
	Cause    string              `json:"cause"`
	Cure     string              `json:"cure"`
}

type apiChange struct {
	Code   string            `json:"code"`
	Args   map[string]string `json:"args"`
	Text   string            `json:"text"`
	File   string            `json:"file"` // "" for the folder as a whole
	Rests  []string          `json:"rests"`
	Ask    curriculum.Ask    `json:"ask"`
	Within int               `json:"within_days"`
}

// offer compares the watched folder with the edition in use.
func (c *apiCall) offer() (*acts.Offer, error) {
	o, err := c.server.offerTo(c.ctx(), c.actor)
	if err == nil && o == nil {
		err = failure{status: http.StatusNotFound, code: "no_folder", text: "No programme folder is watched, and this program comes with nothing newer."}
	}
	return o, err
}

func apiOffer(c *apiCall) (apiAnswer, error) {
	o, err := c.offer()
	if err != nil {
		return apiAnswer{}, err
	}
	out := struct {
		Edition  *string      `json:"edition"` // null if the folder has errors
		Same     bool         `json:"same"`
		Problems []apiFinding `json:"problems"`
		Changes  []apiChange  `json:"changes"`
	}{nil, o.Same, []apiFinding{}, []apiChange{}}
	if o.Programme != nil {
		out.Edition = &o.Programme.Edition
	}
	for _, p := range o.Problems {
		message, cause, cure := say.Problem(p)
		out.Problems = append(out.Problems, apiFinding{p.File, p.Line, p.Column, p.Severity, p.Code, message, cause, cure})
	}
	for _, x := range o.Changes {
		out.Changes = append(out.Changes, apiChange{x.Code, x.Args, say.Change(x), x.File, append([]string{}, x.Rests...), x.Ask, x.Within})
	}
	return ok(out)
}

func apiAdopt(c *apiCall) (apiAnswer, error) {
	var in struct {
		Edition    string `json:"edition"`
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	o, err := c.offer()
	if err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Adopt(c.ctx(), c.actor, o, in.Edition, in.Passphrase))
}

func apiErase(c *apiCall) (apiAnswer, error) {
	var in struct {
		Confirm    string `json:"confirm"`
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.Erase(c.ctx(), c.actor, c.id, c.v("person"), in.Confirm, in.Passphrase))
}

func apiDueForErasure(c *apiCall) (apiAnswer, error) {
	due, err := c.acts.DueForErasure(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	people, waiting := []dueJSON{}, []dueJSON{}
	for _, e := range due {
		line := dueJSONOf(e)
		if len(e.Against) == 0 {
			people = append(people, line)
		} else {
			waiting = append(waiting, line)
		}
	}
	return ok(map[string]any{"people": people, "waiting": waiting})
}

// dueJSON is somebody of whom a kind of record is past its date.
type dueJSON struct {
	Person    string     `json:"person"`
	Name      string     `json:"name"`
	LastEntry string     `json:"last_entry"`
	KeepUntil string     `json:"keep_until"`
	Kinds     []keptJSON `json:"kinds"`
	Against   []string   `json:"against"` // codes
}

type keptJSON struct {
	Kind      string `json:"kind"`
	Years     int    `json:"years"`
	LastEntry string `json:"last_entry"`
	KeepUntil string `json:"keep_until"`
	Due       bool   `json:"due"`
}

func dueJSONOf(e *acts.Erasure) dueJSON {
	line := dueJSON{e.Person.ID, e.Person.Name, e.LastEntry, e.KeepUntil, []keptJSON{}, []string{}}
	for _, k := range e.Kinds {
		line.Kinds = append(line.Kinds, keptJSON{string(k.Kind), k.Years, k.Last, k.Until, k.Due})
	}
	for _, a := range e.Against {
		line.Against = append(line.Against, a.Code)
	}
	return line
}

func apiParameters(c *apiCall) (apiAnswer, error) {
	e, err := c.acts.Estimate(c.ctx(), c.actor)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Hash       string               `json:"hash"`
		Parameters readiness.Parameters `json:"parameters"`
	}{e.Hash, e.Parameters})
}

func apiAdoptParameters(c *apiCall) (apiAnswer, error) {
	var in struct {
		Parameters json.RawMessage `json:"parameters"`
		Passphrase string          `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.AdoptParameters(c.ctx(), c.actor, in.Parameters, in.Passphrase))
}

func apiTradeOffs(c *apiCall) (apiAnswer, error) {
	offs, err := c.acts.TradeOffs(c.ctx(), c.actor, c.q("task"))
	if err != nil {
		return apiAnswer{}, err
	}
	type row struct {
		Confidence float64 `json:"confidence"`
		Declared   float64 `json:"declared"`
		Wrong      float64 `json:"wrong"`
		Held       float64 `json:"held"`
		Jobs       float64 `json:"jobs"`
	}
	out := struct {
		Task string `json:"task"`
		Rows []row  `json:"rows"`
	}{Task: c.q("task"), Rows: []row{}}
	for _, o := range offs {
		out.Rows = append(out.Rows, row(o))
	}
	return ok(out)
}

// ---- the ledger ----

// mostEntries bounds one answer.
const mostEntries = 1000

// apiEntries gives the ledger's leaves as they are: bytes in base64, so that anybody can hash them.
func apiEntries(c *apiCall) (apiAnswer, error) {
	if err := c.acts.May(c.ctx(), c.actor, acts.SeeLedger, acts.Target{}); err != nil {
		return apiAnswer{}, err
	}
	from, err := c.number("from", 0)
	if err != nil {
		return apiAnswer{}, err
	}
	limit, err := c.number("limit", 100)
	if err != nil {
		return apiAnswer{}, err
	}
	if limit < 1 || limit > mostEntries {
		return apiAnswer{}, failure{status: http.StatusBadRequest, code: "bad_number", field: "limit", text: "limit must be from 1 to " + strconv.Itoa(mostEntries) + "."}
	}
	entries, err := c.server.store.Entries(c.ctx(), store.EntryFilter{From: from, Limit: int(limit)})
	if err != nil {
		return apiAnswer{}, err
	}
	type leaf struct {
		Index int64  `json:"index"`
		Leaf  string `json:"leaf"` // base64
	}
	out := struct {
		Entries []leaf `json:"entries"`
		Next    *int64 `json:"next"` // null at the end
	}{Entries: []leaf{}}
	for _, e := range entries {
		out.Entries = append(out.Entries, leaf{e.Index, base64.StdEncoding.EncodeToString(e.Leaf)})
	}
	if len(entries) == int(limit) {
		next := entries[len(entries)-1].Index + 1
		out.Next = &next
	}
	return ok(out)
}

// number reads a whole number from 0 out of the query.
func (c *apiCall) number(name string, otherwise int64) (int64, error) {
	text := c.q(name)
	if text == "" {
		return otherwise, nil
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 0 {
		return 0, failure{status: http.StatusBadRequest, code: "bad_number", field: name, text: name + " must be a whole number from 0."}
	}
	return n, nil
}
