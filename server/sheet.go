package server

import (
	"crypto/sha256"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerSheetRoutes(r *mux.Router) {
	s.get(r, "/jobs/{job}", s.showJob)
	s.post(r, "/jobs/{job}/take", s.takeJob)
	s.post(r, "/jobs/{job}/decline", s.declineJob)
	s.post(r, "/jobs/{job}/withdraw", s.withdrawJob)
	s.post(r, "/jobs/{job}/tap", s.tap)
}

// jobPage is a job's sheet, step by step.
type jobPage struct {
	BasePage
	ID, Nonce      string
	Apprentice     string
	ApprenticePath string
	Task           string
	Car, Layout    string
	Site, Bay      string
	Setting        string
	WorkOrder      string
	Supervisor     string
	Status, Words  string
	Asked, Begun   moment
	Note           string
	Watching       bool // the person who asks taps
	DecidesHolds   bool // may decide hold points of a job that somebody else watches
	MayTake        bool
	MayDecline     bool
	MayWithdraw    bool
	Lessons        []sheetLessonView
	Done, Of       int
	Missing        []stepRef // critical steps and hold points that are still to be tapped
	Rest           int       // how many of the others are still to be tapped
	Outcome        string
	OutcomeWords   string
	Difficulty     string
	NearMiss       bool
	Notes          []string
	Taps           []tapLine // the latest first
	Last           *tapLine  // what an undo would take back
	SignPath       string
	Entry          string // of the sign-off
	Outcomes       []choice
	Difficulties   []choice
	Supervisors    []string
}

type sheetLessonView struct {
	Title, Path string
	Steps       []stepView
}

type stepRef struct{ Anchor, Title string }

// stepView is one step of a sheet.
type stepView struct {
	Number         int
	Key, Anchor    string
	Title, Wheel   string
	Critical, Hold bool
	Result         string
	ResultWords    string
	CriticalError  bool
	WhatHappened   string
	Bulk           bool
	HoldState      string // "", accepted, sent_back
	HoldReason     string
	Measures       []measureView
	Why            []string
	Skipped        []string
	Checks         []string
	Notes          []string // shop notes
	Error          string   // what was wrong with the last thing sent about this step
	Open           bool     // nothing tapped yet
	Path           string   // where a form of this step is sent
	Nonce          string
	Watching       bool
	DecidesHolds   bool
}

type measureView struct {
	Number     int
	ID         string
	Text       string
	Limit      string
	Units      []unitView
	Value      string // as entered
	Shown      string // "22.5 mm"
	Instrument string
	Verdict    string
	Words      string
}

type unitView struct {
	Text   string
	Chosen bool
}

type tapLine struct {
	ID, Text, By string
	At           moment
	Undone       bool
}

func (jobPage) template() string { return "job" }

// verdictWords say how a reading stands to its limit.
var verdictWords = map[curriculum.Verdict]string{
	curriculum.Within: "within the limit",
	curriculum.Below:  "below the limit",
	curriculum.Above:  "above the limit",
}

// jobRights are what the person who asks may do with a job.
type jobRights struct{ watching, decidesHolds, take, decline, withdraw bool }

// wrongStep is the message that belongs to one step, and what was typed there.
type wrongStep struct {
	key, text string
	form      url.Values
}

func newJobPage(b BasePage, p *curriculum.Programme, sh *acts.JobSheet, rights jobRights, site string, names map[string]string, nonce string, bad wrongStep) jobPage {
	j := sh.Job
	b.Title = sh.Task.Title + ": " + personName(sh.Apprentice)
	page := jobPage{BasePage: b, ID: j.ID, Nonce: nonce, Apprentice: personName(sh.Apprentice), ApprenticePath: "/people/" + j.Apprentice, Task: sh.Task.Title,
		Site: site, Bay: j.Bay, Setting: wordOr(settingNames, j.Setting), WorkOrder: j.WorkOrder, Status: string(j.Status), Words: wordOr(jobStatusNames, string(j.Status)),
		Asked: b.clock.at(j.CreatedAt), Begun: b.clock.at(j.StartedAt), Note: j.Note,
		Watching: rights.watching, DecidesHolds: rights.decidesHolds, MayTake: rights.take, MayDecline: rights.decline, MayWithdraw: rights.withdraw,
		Outcome: sh.Outcome, OutcomeWords: wordOr(outcomeNames, sh.Outcome), Difficulty: sh.Difficulty,
		NearMiss: sh.NearMiss, Notes: sh.Notes, Entry: j.SignOff, SignPath: "/sign?job=" + j.ID}
	if sh.Vehicle != nil {
		page.Car, page.Layout = sh.Vehicle.Title, readable(sh.Vehicle.Layout)
	}
	if sh.Supervisor != nil {
		page.Supervisor = personName(sh.Supervisor)
	}
	for _, id := range sh.Supervisors {
		page.Supervisors = append(page.Supervisors, names[id])
	}
	refs := map[string]stepRef{}
	for _, l := range sh.Lessons {
		view := sheetLessonView{Title: l.Lesson.Title, Path: lessonPath(l.Lesson.ID, j.Vehicle, "")}
		for i, st := range l.Steps {
			v := newStepView(sh.Vehicle, st, i+1)
			v.Path, v.Nonce, v.Watching, v.DecidesHolds = "/jobs/"+j.ID+"/tap", nonce, rights.watching, rights.decidesHolds || rights.watching
			if bad.key == st.Key {
				v.Error = bad.text
				fillMeasure(&v, bad.form)
			}
			if v.Open {
				if !v.Critical && !v.Hold {
					page.Rest++
				}
			} else {
				page.Done++
			}
			page.Of++
			refs[st.Key] = stepRef{v.Anchor, v.Title}
			view.Steps = append(view.Steps, v)
		}
		page.Lessons = append(page.Lessons, view)
	}
	for _, k := range sh.Missing {
		page.Missing = append(page.Missing, refs[k])
	}
	page.Taps = tapLines(b.clock, sh, refs, names)
	for i := range page.Taps {
		if !page.Taps[i].Undone {
			page.Last = &page.Taps[i]
			break
		}
	}
	for _, o := range []string{"finished", "rightly_stopped", "stopped_by_supervisor", "interrupted"} {
		page.Outcomes = append(page.Outcomes, choice{o, outcomeNames[o]})
	}
	for _, d := range []string{"routine", "usual", "awkward"} {
		page.Difficulties = append(page.Difficulties, choice{d, difficultyNames[d]})
	}
	return page
}

func newStepView(car *curriculum.Vehicle, st acts.SheetStep, number int) stepView {
	v := stepView{Number: number, Key: st.Key, Anchor: anchorOf(st.Key), Title: st.Title, Wheel: st.Wheel, Critical: st.Critical, Hold: st.HoldPoint,
		Result: st.Result, CriticalError: st.CriticalError, WhatHappened: st.WhatHappened, Bulk: st.Bulk, HoldState: st.Hold, HoldReason: st.HoldReason,
		Open: st.Result == ""}
	if st.Result != "" {
		v.ResultWords = wordOr(resultNames, st.Result)
	}
	v.Why = textsFor(st.Step.Why, car, st.Axle)
	v.Skipped = append(textsFor(st.Step.IfSkipped, car, st.Axle), textsFor(st.Step.IfWrong, car, st.Axle)...)
	v.Checks = textsFor(st.Step.Check, car, st.Axle)
	for _, m := range st.Measures {
		x := measureView{Number: m.Number, ID: v.Anchor + "-m" + itoa(m.Number), Text: m.Text, Limit: m.Limit}
		unit := string(m.Unit)
		if m.Reading != nil {
			x.Value, x.Instrument, unit = m.Reading.Value, m.Reading.Instrument, m.Reading.Unit
			x.Shown = strings.TrimSpace(m.Reading.Value + " " + m.Reading.Unit)
			x.Verdict, x.Words = string(m.Verdict), verdictWords[m.Verdict]
			switch {
			case m.Verdict != "":
			case m.Limit != "": // a figure without a direction, as most torques are: the supervisor compares
				x.Words = "to be compared with the car’s figure, " + m.Limit
			default:
				x.Words = "no limit known: see the maker’s service information"
			}
		}
		x.Units = unitViews(m.Unit, unit)
		v.Measures = append(v.Measures, x)
	}
	return v
}

func unitViews(asked curriculum.Unit, chosen string) []unitView {
	list := unitsLike(asked)
	if asked == "" {
		list = append([]string{""}, allUnits...)
	}
	var out []unitView
	for _, u := range list {
		out = append(out, unitView{u, u == chosen})
	}
	return out
}

// fillMeasure puts a refused reading back into its field.
func fillMeasure(v *stepView, f url.Values) {
	for i := range v.Measures {
		m := &v.Measures[i]
		if f.Get("measure") != itoa(m.Number) {
			continue
		}
		m.Value, m.Instrument = f.Get("value"), f.Get("instrument")
		for k := range m.Units {
			m.Units[k].Chosen = m.Units[k].Text == f.Get("unit")
		}
	}
}

func textsFor(ts []curriculum.Text, car *curriculum.Vehicle, axle string) []string {
	var out []string
	for _, t := range ts {
		out = append(out, t.For(car, axle))
	}
	return out
}

// anchorOf makes a step's key fit for an id.
func anchorOf(key string) string {
	return "step-" + strings.NewReplacer("/", "-", "@", "-").Replace(key)
}

// tapLines says in words what was tapped, the latest first.
func tapLines(c clock, sh *acts.JobSheet, refs map[string]stepRef, names map[string]string) []tapLine {
	undone := map[string]bool{}
	for i := len(sh.Taps) - 1; i >= 0; i-- {
		if t := sh.Taps[i]; t.Undo != "" && !undone[t.ID] {
			undone[t.Undo] = true
		}
	}
	var out []tapLine
	for i := len(sh.Taps) - 1; i >= 0; i-- {
		t := sh.Taps[i]
		if t.Undo != "" {
			continue
		}
		out = append(out, tapLine{ID: t.ID, Text: tapText(t, refs), By: names[t.By], At: c.ms(t.At), Undone: undone[t.ID]})
	}
	return out
}

func tapText(t store.Tap, refs map[string]stepRef) string {
	where := refs[t.Step].Title
	switch {
	case acts.RestOfSheet(t):
		return "The rest unaided"
	case t.Result != "" && t.CriticalError:
		return where + ": " + wordOr(resultNames, t.Result) + ", critical error"
	case t.Result != "":
		return where + ": " + wordOr(resultNames, t.Result)
	case t.Hold == "accepted":
		return where + ": accepted"
	case t.Hold != "":
		return where + ": sent back"
	case t.Reading != nil:
		return where + ": " + strings.TrimSpace(t.Reading.Value+" "+t.Reading.Unit)
	case t.Outcome != "":
		return "Outcome: " + wordOr(outcomeNames, t.Outcome)
	case t.NearMiss != nil && *t.NearMiss:
		return "A near miss"
	case t.NearMiss != nil:
		return "No near miss"
	case t.Note != "":
		return "Note: " + t.Note
	case t.Difficulty != "":
		return "Difficulty: " + wordOr(difficultyNames, t.Difficulty)
	}
	return "Tap"
}

func (s *Server) showJob(w http.ResponseWriter, r *http.Request) error {
	sh, err := s.acts.Job(r.Context(), personFrom(r.Context()), mux.Vars(r)["job"])
	if err != nil {
		return err
	}
	return s.jobForm(w, r, sh, http.StatusOK, nil, wrongStep{})
}

// jobForm shows a sheet, with what was wrong with the last thing sent.
func (s *Server) jobForm(w http.ResponseWriter, r *http.Request, sh *acts.JobSheet, status int, problem error, bad wrongStep) error {
	ctx := r.Context()
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	if problem != nil {
		if status, err = b.refused(w, problem); err != nil {
			return err
		}
		if bad.key != "" {
			bad.text, b.Problem = failureOf(problem).text, "That was not saved. Look at the step marked below."
		}
	}
	p, err := s.programmeOf(ctx, sh.Job.Programme)
	if err != nil {
		return err
	}
	book, names := s.nameBook(), map[string]string{}
	site, err := book.site(ctx, sh.Job.Site)
	if err != nil {
		return err
	}
	for _, t := range sh.Taps {
		if names[t.By], err = book.name(ctx, t.By); err != nil {
			return err
		}
	}
	for _, id := range sh.Supervisors {
		if names[id], err = book.name(ctx, id); err != nil {
			return err
		}
	}
	rights, err := s.jobRights(r, sh)
	if err != nil {
		return err
	}
	nonce, err := uuid.NewV7()
	if err != nil {
		return err
	}
	page := newJobPage(b, p, sh, rights, site, names, nonce.String(), bad)
	notes, err := s.acts.NotesBeside(ctx)
	if err != nil {
		return err
	}
	page.hang(notes)
	return s.render(w, r, status, page)
}

func (s *Server) jobRights(r *http.Request, sh *acts.JobSheet) (jobRights, error) {
	ctx, me, j := r.Context(), personFrom(r.Context()), sh.Job
	open := j.Status == store.JobWaiting || j.Status == store.JobWatching || j.Status == store.JobFinished
	watch, err := s.may(ctx, me, acts.WatchJob, acts.Target{Person: sh.Apprentice, Task: j.Task, Site: j.Site})
	if err != nil {
		return jobRights{}, err
	}
	mine := j.Supervisor == me.ID
	return jobRights{
		watching:     open && watch && mine && j.Status != store.JobWaiting,
		decidesHolds: open && watch && !mine && j.Status == store.JobWatching,
		take:         watch && (j.Status == store.JobWaiting || j.Status == store.JobWatching && !mine),
		decline:      watch && j.Status == store.JobWaiting,
		withdraw:     j.Apprentice == me.ID && j.Status == store.JobWaiting,
	}, nil
}

func (s *Server) takeJob(w http.ResponseWriter, r *http.Request) error {
	job := mux.Vars(r)["job"]
	if err := s.acts.TakeJob(r.Context(), personFrom(r.Context()), job); err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{})
	}
	return seeOther(w, r, "/jobs/"+job, "job_taken")
}

// jobRefused shows the sheet again with what was refused.
func (s *Server) jobRefused(w http.ResponseWriter, r *http.Request, job string, problem error, bad wrongStep) error {
	sh, err := s.acts.Job(r.Context(), personFrom(r.Context()), job)
	if err != nil {
		return err
	}
	return s.jobForm(w, r, sh, 0, problem, bad)
}

func (s *Server) declineJob(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	job := mux.Vars(r)["job"]
	if err := s.acts.DeclineJob(r.Context(), personFrom(r.Context()), job, r.PostForm.Get("reason")); err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{})
	}
	return seeOther(w, r, "/waiting", "job_declined")
}

func (s *Server) withdrawJob(w http.ResponseWriter, r *http.Request) error {
	if err := s.acts.WithdrawJob(r.Context(), personFrom(r.Context()), mux.Vars(r)["job"]); err != nil {
		return err
	}
	return seeOther(w, r, "/next", "job_withdrawn")
}

// tap records what a button of the sheet says. Every button is one tap whose id follows from the page and the button:
// the same page sent twice is one tap, two buttons of one page are two.
func (s *Server) tap(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	job, f := mux.Vars(r)["job"], r.PostForm
	taps, err := tapsFrom(f, s.acts.Now().UnixMilli())
	if err != nil {
		return err
	}
	var sh *acts.JobSheet
	if f.Get("rest") != "" {
		sh, err = s.acts.RestUnaided(r.Context(), personFrom(r.Context()), job, taps[0].ID)
	} else {
		sh, err = s.acts.Tap(r.Context(), personFrom(r.Context()), job, taps)
	}
	if err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{key: f.Get("step"), form: f})
	}
	path, notice := "/jobs/"+job, "tapped"
	switch {
	case f.Get("undo") != "":
		notice = "undone"
	case f.Get("outcome") != "" && sh.Outcome != "":
		return seeOther(w, r, "/sign?job="+job, "")
	}
	if step := f.Get("step"); step != "" {
		path += "#" + anchorOf(step)
	} else if f.Get("undo") == "" {
		path += "#finish"
	}
	return seeOther(w, r, path, notice)
}

// tapsFrom reads the taps of one button.
func tapsFrom(f url.Values, now int64) ([]store.Tap, error) {
	nonce, err := uuid.Parse(f.Get("nonce"))
	if err != nil {
		return nil, failure{status: http.StatusBadRequest, code: "bad_form", cause: err}
	}
	base := store.Tap{At: now, Step: f.Get("step")}
	one := func(part string, t store.Tap) store.Tap {
		t.ID = tapID(nonce, part+"\n"+f.Encode())
		return t
	}
	switch {
	case f.Get("undo") != "":
		return []store.Tap{one("undo", store.Tap{At: now, Undo: f.Get("undo")})}, nil
	case f.Get("rest") != "":
		return []store.Tap{one("rest", base)}, nil
	case f.Get("both") != "": // a hold point seen and accepted in one tap
		a, h := base, base
		a.Result, h.Hold = "unaided", "accepted"
		return []store.Tap{one("result", a), one("hold", h)}, nil
	case f.Get("hold") != "":
		base.Hold, base.Reason = f.Get("hold"), strings.TrimSpace(f.Get("reason"))
	case f.Get("measure") != "":
		n, err := strconv.Atoi(f.Get("measure"))
		if err != nil {
			return nil, failure{status: http.StatusBadRequest, code: "bad_form", cause: err}
		}
		base.Reading = &store.TapReading{Measure: n, Value: strings.TrimSpace(f.Get("value")), Unit: f.Get("unit"), Instrument: strings.TrimSpace(f.Get("instrument"))}
	case f.Get("outcome") != "":
		base.Outcome, base.Difficulty = f.Get("outcome"), f.Get("difficulty")
	case f.Get("near_miss") != "":
		yes := f.Get("near_miss") == "yes"
		base.NearMiss = &yes
	case f.Has("note"):
		base.Note = strings.TrimSpace(f.Get("note"))
	default:
		base.Result = f.Get("result")
		if f.Get("critical_error") != "" {
			base.CriticalError, base.WhatHappened = true, strings.TrimSpace(f.Get("what_happened"))
		}
	}
	return []store.Tap{one("tap", base)}, nil
}

// tapID makes a UUIDv7-shaped id out of a page's nonce and what its button says.
func tapID(nonce uuid.UUID, button string) string {
	id := nonce
	sum := sha256.Sum256([]byte(fmt.Sprintf("%s\n%s", nonce, button)))
	copy(id[6:], sum[:10])
	id[6] = 0x70 | id[6]&0x0f
	id[8] = 0x80 | id[8]&0x3f
	return id.String()
}
