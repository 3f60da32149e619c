package server

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (s *Server) registerCaseRoutes(r *mux.Router) {
	s.get(r, "/cases", s.showCases)
	s.get(r, "/cases/new", s.showNewCase)
	s.post(r, "/cases/new", s.openCase)
	s.get(r, "/cases/{case}", s.showCase)
	s.post(r, "/cases/{case}/finding", s.closeCase)
	s.post(r, "/cases/{case}/stand-down", s.standDownFromCase)
}

// casesPage lists the cars that came back, the open ones first.
type casesPage struct {
	BasePage
	Open, Closed []caseLine
}

type caseLine struct {
	Path, Apprentice, Task string
	Car, WorkOrder         string
	Complaint              string
	Opened                 moment
	Ago                    string
	Finding                string
}

func (casesPage) template() string { return "cases" }

func (s *Server) showCases(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Cars that came back")
	if err != nil {
		return err
	}
	b.Wide = true
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	all, err := s.acts.Cases(r.Context(), personFrom(r.Context()), false)
	if err != nil {
		return err
	}
	page := casesPage{BasePage: b}
	for _, v := range all {
		l := newCaseLine(b.clock, p, v)
		if v.Closed == nil {
			page.Open = append(page.Open, l)
		} else {
			page.Closed = append(page.Closed, l)
		}
	}
	return s.render(w, r, http.StatusOK, page)
}

func newCaseLine(c clock, p *curriculum.Programme, v acts.CaseView) caseLine {
	body := v.Opened.Entry.Body
	l := caseLine{Path: "/cases/" + v.Case.Entry, Apprentice: personName(v.Apprentice), Task: taskTitle(p, v.Case.Task), WorkOrder: v.Opened.Personal["work_order"],
		Car: carWords(v.Opened.Personal["car"]), Complaint: v.Opened.Personal["what_happened"], Opened: c.ms(body.HappenedAt), Ago: c.age(time.UnixMilli(body.HappenedAt))}
	if v.Closed != nil {
		if x, ok := payloadOf(v.Closed).(*ledger.ReturnPayload); ok {
			l.Finding = findingNames[x.Finding]
		}
	}
	return l
}

// carWords is a car as personal fields hold it: described in full (JSON), or in a few words.
func carWords(v string) string {
	if strings.HasPrefix(v, "{") {
		return carName(v)
	}
	return v
}

// newCasePage finds what was done on a car, by plate, work order or job number, and opens a case.
type newCasePage struct {
	BasePage
	ID          string
	Asked       string
	Found       []foundWork
	Apprentices []choice
	Tasks       []choice
}

// foundWork is a job on the car.
type foundWork struct {
	Entry, Path   string
	Apprentice    string
	Task, Car     string
	When          moment
	Kind          string
	Watched       string
	Chosen        bool
	WorkOrderText string
}

func (newCasePage) template() string { return "case_new" }

var newCaseFields = []string{"q", "job", "jobs", "apprentice", "task", "car", "work_order", "complaint", "notes"}

func (s *Server) showNewCase(w http.ResponseWriter, r *http.Request) error {
	return s.newCaseForm(w, r, nil)
}

func (s *Server) newCaseForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, me := r.Context(), personFrom(r.Context())
	b, err := s.base(r, "A car came back")
	if err != nil {
		return err
	}
	if err := acts.May(me, acts.OpenCase, acts.Target{Date: b.clock.today()}); err != nil {
		return err
	}
	f, status, id := r.URL.Query(), http.StatusOK, newID()
	if problem != nil {
		if status, err = b.refused(w, problem, newCaseFields...); err != nil {
			return err
		}
		f, id = r.PostForm, r.PostForm.Get("id")
	}
	for _, k := range newCaseFields {
		if f.Has(k) {
			b.set(k, f[k]...)
		}
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	page := newCasePage{BasePage: b, ID: id, Asked: strings.TrimSpace(f.Get("q")), Tasks: taskChoices(p)}
	if page.Asked != "" {
		found, err := s.acts.FindWork(ctx, me, page.Asked)
		if err != nil {
			return err
		}
		names := s.nameBook()
		for _, e := range found {
			l, err := s.foundWork(ctx, b.clock, p, names, e)
			if err != nil {
				return err
			}
			l.Chosen = b.Chosen("job", l.Entry) || problem == nil && len(found) == 1
			page.Found = append(page.Found, l)
		}
	}
	people, err := s.store.People(ctx)
	if err != nil {
		return err
	}
	for _, x := range people {
		if acts.May(me, acts.OpenCase, acts.Target{Person: x, Date: b.clock.today()}) == nil && onlyApprentices(x) == nil {
			page.Apprentices = append(page.Apprentices, choice{x.ID, personName(x)})
		}
	}
	return s.render(w, r, status, page)
}

// foundWork says a job's entry in a few words.
func (s *Server) foundWork(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, e *store.EntryView) (foundWork, error) {
	body := e.Entry.Body
	name, err := names.name(ctx, body.Subject)
	l := foundWork{Entry: body.ID, Path: "/ledger/" + body.ID, Apprentice: name, When: c.ms(body.HappenedAt), Car: carWords(e.Personal["car"]), WorkOrderText: e.Personal["work_order"]}
	if err != nil {
		return l, err
	}
	vehicle := ""
	switch x := payloadOf(e).(type) {
	case *ledger.SignOffPayload:
		l.Task, l.Kind, vehicle = taskTitle(p, x.Task), "watched", x.Vehicle
		l.Watched, err = names.name(ctx, body.Actor)
	case *ledger.UnwatchedJobPayload:
		l.Task, l.Kind, vehicle, l.When = taskTitle(p, x.Task), "done alone", x.Vehicle, c.day(x.Date)
	}
	if v := p.Vehicle(vehicle); l.Car == "" && v != nil {
		l.Car = v.Title
	}
	return l, err
}

func (s *Server) openCase(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	q := acts.CaseRequest{ID: f.Get("id"), Jobs: f["job"], Apprentice: f.Get("apprentice"), Task: f.Get("task"), Car: strings.TrimSpace(f.Get("car")),
		WorkOrder: strings.TrimSpace(f.Get("work_order")), Complaint: f.Get("complaint"), Notes: f.Get("notes")}
	if len(q.Jobs) > 0 {
		q.Apprentice, q.Task = "", ""
	}
	got, err := s.acts.OpenCase(r.Context(), personFrom(r.Context()), q)
	if err != nil {
		return s.newCaseForm(w, r, err)
	}
	return seeOther(w, r, "/cases/"+got.ID, "case_opened")
}

// casePage is everything about a car that came back: who did the work, who watched, who released it, by which edition,
// with which readings and instruments, parts and fluid; and the finding.
type casePage struct {
	BasePage
	ID, Path       string
	Line           caseLine
	Notes          string
	OpenedBy       string
	ApprenticePath string
	Standing       []taskLine
	Jobs           []caseJob
	Finding        *entryLine
	MayClose       bool
	MayStand       bool
	Decide         bool
	Findings       []choice
	EntryID        string
}

// caseJob is a job of a case with what an investigator asks.
type caseJob struct {
	Entry    entryLine
	Facts    []fact
	Readings [][]string // step, reading, limit and verdict, instrument, calibrated
	Photos   []photoView
}

type fact struct{ What, Text string }

func (casePage) template() string { return "case" }

func (s *Server) showCase(w http.ResponseWriter, r *http.Request) error {
	return s.caseForm(w, r, nil)
}

func (s *Server) caseForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, me := r.Context(), personFrom(r.Context())
	v, err := s.acts.Case(ctx, me, mux.Vars(r)["case"])
	if err != nil {
		return err
	}
	b, err := s.base(r, "A car came back: "+personName(v.Apprentice))
	if err != nil {
		return err
	}
	status := http.StatusOK
	id := newID()
	if problem != nil {
		if status, err = b.refused(w, problem, "finding", "what", "passphrase", "decision", "decision_reason", "reason"); err != nil {
			return err
		}
		for _, k := range []string{"finding", "what", "decision", "decision_reason", "reason"} {
			b.set(k, r.PostForm.Get(k))
		}
		id = r.PostForm.Get("id")
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	names := s.nameBook()
	page := casePage{BasePage: b, ID: v.Case.Entry, Path: "/cases/" + v.Case.Entry, Line: newCaseLine(b.clock, p, *v), Notes: v.Opened.Personal["notes"],
		ApprenticePath: "/people/" + v.Case.Person, MayClose: v.MayClose, MayStand: v.MayStand, Decide: v.Decide, EntryID: id}
	if page.OpenedBy, err = names.name(ctx, v.Opened.Entry.Body.Actor); err != nil {
		return err
	}
	for _, x := range []string{"our_work", "part", "other", "unknown"} {
		page.Findings = append(page.Findings, choice{x, findingNames[x]})
	}
	for _, e := range v.Jobs {
		j, err := s.caseJob(ctx, b.clock, p, names, e)
		if err != nil {
			return err
		}
		page.Jobs = append(page.Jobs, j)
	}
	if v.Closed != nil {
		l, err := s.entryLine(ctx, b.clock, p, names, v.Closed)
		if err != nil {
			return err
		}
		page.Finding = &l
	}
	if verdicts, err := s.acts.Standings(ctx, me, v.Case.Person); err == nil {
		for _, l := range newTaskLines(p, b.clock, v.Case.Person, verdicts) {
			if l.Path == taskPath(v.Case.Person, v.Case.Task) {
				page.Standing = append(page.Standing, l)
			}
		}
	}
	return s.render(w, r, status, page)
}

func (s *Server) caseJob(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, e *store.EntryView) (caseJob, error) {
	l, err := s.entryLine(ctx, c, p, names, e)
	if err != nil {
		return caseJob{}, err
	}
	j := caseJob{Entry: l}
	add := func(what, text string) {
		if text != "" {
			j.Facts = append(j.Facts, fact{what, text})
		}
	}
	did, err := names.name(ctx, e.Entry.Body.Subject)
	if err != nil {
		return j, err
	}
	add("Done by", did)
	switch x := payloadOf(e).(type) {
	case *ledger.SignOffPayload:
		var watched []string
		for _, id := range x.Supervisors {
			n, err := names.name(ctx, id)
			if err != nil {
				return j, err
			}
			watched = append(watched, n)
		}
		released, err := names.name(ctx, e.Entry.Body.Actor)
		if err != nil {
			return j, err
		}
		add("Watched by", strings.Join(watched, ", "))
		add("Released by", released+", with the signature of "+c.ms(e.Entry.RecordedAt).Text)
		add("Job number", numberText(x.Number))
		add("Edition", short(x.Programme))
		add("Parts fitted", x.Parts)
		add("Fluid", x.Fluid)
		old, err := s.programmeOf(ctx, x.Programme)
		if err != nil {
			return j, err
		}
		for _, m := range x.Readings {
			j.Readings = append(j.Readings, readingCells(c, old, m))
		}
		for i, ph := range x.Photos {
			j.Photos = append(j.Photos, photoView{Path: "/jobs/" + x.Job + "/photos/" + strings.TrimPrefix(ph.Field, "photo/"), Alt: "Photograph " + itoa(i+1), Width: ph.Width, Height: ph.Height})
		}
	case *ledger.UnwatchedJobPayload:
		add("Watched by", "nobody: it was done alone")
		add("Released by", did)
		add("Parts fitted", x.Parts)
		add("Fluid", x.Fluid)
	}
	add("Work order or plate", e.Personal["work_order"])
	return j, nil
}

func numberText(n int) string {
	if n == 0 {
		return ""
	}
	return itoa(n)
}

func readingCells(c clock, p *curriculum.Programme, m ledger.ReadingDone) []string {
	value := curriculum.Written(m.Value, curriculum.Unit(m.Unit), "en")
	if len(m.Values) > 0 {
		value += " of " + strings.Join(m.Values, ", ")
	}
	limit := m.Limit
	if limit == "" {
		limit = "none known"
	}
	if w := verdictWords[curriculum.Verdict(m.Verdict)]; w != "" {
		limit += ", " + w
	}
	calibrated := m.Calibrated
	if calibrated != "" {
		calibrated = c.day(calibrated).Text
	}
	return []string{stepTitle(p, m.Step), value, limit, orDash(m.Instrument), orDash(calibrated)}
}

func orDash(s string) string {
	if s == "" {
		return "not written down"
	}
	return s
}

func (s *Server) closeCase(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	id := mux.Vars(r)["case"]
	q := acts.FindingRequest{ID: f.Get("id"), Case: id, Finding: f.Get("finding"), What: f.Get("what"), Passphrase: f.Get("passphrase"), Decision: decisionFrom(f.Get)}
	if _, err := s.acts.CloseCase(r.Context(), personFrom(r.Context()), q); err != nil {
		return s.caseForm(w, r, err)
	}
	return seeOther(w, r, "/cases/"+id, "case_closed")
}

// standDownFromCase suspends the clearance until the case is understood; it takes effect at once.
func (s *Server) standDownFromCase(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	ctx, me := r.Context(), personFrom(r.Context())
	v, err := s.acts.Case(ctx, me, mux.Vars(r)["case"])
	if err != nil {
		return err
	}
	if _, err := s.acts.StandDown(ctx, me, r.PostForm.Get("id"), v.Case.Person, v.Case.Task, r.PostForm.Get("reason"), ""); err != nil {
		return s.caseForm(w, r, err)
	}
	return seeOther(w, r, "/cases/"+v.Case.Entry, "stood_down")
}
