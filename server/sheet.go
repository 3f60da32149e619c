package server

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func (s *Server) registerSheetRoutes(r *mux.Router) {
	s.get(r, "/jobs/{job}", s.showJob)
	s.post(r, "/jobs/{job}/take", s.takeJob)
	s.post(r, "/jobs/{job}/decline", s.declineJob)
	s.post(r, "/jobs/{job}/withdraw", s.withdrawJob)
	s.post(r, "/jobs/{job}/accept", s.acceptJob)
	s.post(r, "/jobs/{job}/pass-on", s.passJobOn)
	s.post(r, "/jobs/{job}/paper", s.jobFromPaper)
	s.post(r, "/jobs/{job}/photos", s.addPhoto)
	s.get(r, "/jobs/{job}/photos/{name}", s.showPhoto)
	s.post(r, "/jobs/{job}/tap", s.tap)
}

// jobPage is a job's sheet, step by step.
type jobPage struct {
	BasePage
	ID, Nonce, By  string // By is who taps on this page
	Number         int
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
	Planned        moment
	PromisedBy     string // accepted, or passed on to
	Accepted       bool
	Paused         bool
	PausedSince    moment
	Paper          bool
	Note           string
	Watching       bool // the person who asks taps
	DecidesHolds   bool // may decide hold points of a job that somebody else watches
	MayTake        bool
	MayDecline     bool
	MayWithdraw    bool
	MayPaper       bool
	PassTo         []choice
	History        []string // what happened to the request and the job
	Oral           []oralView
	OralNumber     int
	OralDone       []oralDone
	Photos         []photoView
	PhotoSteps     []choice
	MorePhotos     bool
	Parts, Fluid   string
	Instruments    []string // used on this job before
	Lessons        []sheetLessonView
	Done, Of       int
	Missing        []stepRef // critical steps and hold points that are still to be tapped
	GoOn           string    // anchor of the first step after the last one that was tapped; "" before the first and after the last
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
	OtherOutcomes  []outcomeView
	Difficulties   []choice
	Supervisors    []string
}

type sheetLessonView struct {
	Title, Path string
	Steps       []stepView
}

// oralView is a question to ask at the car, with its answer for the supervisor.
type oralView struct {
	ID, Stem, Path string
	Options, Right []string
	Said           string // "", satisfactory, not satisfactory
	Nonce, By      string
	Number         int
}

type oralDone struct {
	Text string
	Good bool
}

type photoView struct {
	Path, Alt     string
	Width, Height int
	Undo          string // the tap, "" where it cannot be taken back
}

// outcomeView is a way for a job to end other than finished, with what it asks.
type outcomeView struct {
	Value, Text, Ask string
	Chosen           bool
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
	SteppedIn      string
	WhatHappened   string
	OwnError       bool
	OwnErrorWhat   string
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
	Nonce, By      string
	Watching       bool
	DecidesHolds   bool
}

type measureView struct {
	Number       int
	ID           string
	Text         string
	Limit        string
	Source       string // where the limit was read
	Several      string // how to enter several readings, "" where one is asked for
	Units        []unitView
	Value        string // as entered
	Shown        string // "22.5 mm"
	Instrument   string
	Calibrated   string // a date as its field takes it
	CalibratedOn string // and as people read it
	Verdict      string
	Words        string
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
type jobRights struct{ watching, decidesHolds, take, decline, withdraw, paper bool }

// wrongStep is the message that belongs to one step, and what was typed there.
type wrongStep struct {
	key, text string
	form      url.Values
}

func newJobPage(b BasePage, p *curriculum.Programme, sh *acts.JobSheet, rights jobRights, site string, names map[string]string, nonce string, bad wrongStep) jobPage {
	j := sh.Job
	b.Title = sh.Task.Title + ": " + personName(sh.Apprentice)
	page := jobPage{BasePage: b, ID: j.ID, Nonce: nonce, By: b.Person.ID, Number: j.Number,
		Planned: b.clock.at(j.PlannedAt), PromisedBy: names[j.AskedOf], Accepted: !j.AcceptedAt.IsZero(), Paused: sh.Paused, PausedSince: b.clock.at(j.PausedAt), Paper: !j.PaperEnd.IsZero(),
		MayPaper: rights.paper, Parts: sh.Parts, Fluid: sh.Fluid,
		Apprentice: personName(sh.Apprentice), ApprenticePath: "/people/" + j.Apprentice, Task: sh.Task.Title,
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
			v := newStepView(b.clock, sh.Vehicle, st, i+1)
			if len(j.Car) == 0 { // a sheet's own figures need no source beside each
				for k := range v.Measures {
					v.Measures[k].Source = ""
				}
			}
			v.Path, v.Nonce, v.By = "/jobs/"+j.ID+"/tap", nonce, b.Person.ID
			v.Watching, v.DecidesHolds = rights.watching && !sh.Paused, (rights.decidesHolds || rights.watching) && !sh.Paused
			page.PhotoSteps = append(page.PhotoSteps, choice{st.Key, v.label()})
			for _, m := range v.Measures {
				if m.Instrument != "" {
					page.Instruments = appendNew(page.Instruments, m.Instrument)
				}
			}
			if bad.key == st.Key {
				v.Error = bad.text
				fillMeasure(&v, bad.form)
			}
			if v.Open {
				if !v.Critical && !v.Hold {
					page.Rest++
				}
				if page.Done > 0 && page.GoOn == "" {
					page.GoOn = v.Anchor
				}
			} else {
				page.Done++
				page.GoOn = ""
			}
			page.Of++
			title := v.Title
			if v.Wheel != "" { // the same step at every wheel
				title += " (" + v.Wheel + ")"
			}
			refs[st.Key] = stepRef{v.Anchor, title}
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
	for _, o := range otherOutcomes {
		o.Chosen = o.Value == sh.Outcome
		page.OtherOutcomes = append(page.OtherOutcomes, o)
	}
	for _, t := range sh.Oral {
		page.OralDone = append(page.OralDone, oralDone{say.OneLine(t.Oral.Text), t.Oral.Satisfactory})
	}
	for i, t := range sh.Photos {
		v := photoView{Path: "/jobs/" + j.ID + "/photos/" + t.ID, Alt: "Photograph " + itoa(i+1), Width: t.Photo.Width, Height: t.Photo.Height}
		if r, known := refs[t.Step]; known {
			v.Alt += ": " + r.Title
		}
		if rights.watching {
			v.Undo = t.ID
		}
		page.Photos = append(page.Photos, v)
	}
	page.MorePhotos = rights.watching && j.SignOff == ""
	page.History = jobHistory(b.clock, sh, names)
	for _, d := range []string{"routine", "usual", "awkward"} {
		page.Difficulties = append(page.Difficulties, choice{d, difficultyNames[d]})
	}
	return page
}

// otherOutcomes are the ways to end a job before it is finished, with what each asks.
var otherOutcomes = []outcomeView{
	{Value: "rightly_stopped", Text: outcomeNames["rightly_stopped"], Ask: "What did the apprentice see, and was it right to stop?"},
	{Value: "stopped_by_supervisor", Text: outcomeNames["stopped_by_supervisor"], Ask: "Why did you stop the work?"},
	{Value: "interrupted", Text: outcomeNames["interrupted"], Ask: "Why was it left, and how does the car stand now?"},
}

// label names a step in a list: its title, with its wheel.
func (v stepView) label() string {
	if v.Wheel != "" {
		return v.Title + " (" + v.Wheel + ")"
	}
	return v.Title
}

// jobHistory says what happened to a job besides its steps.
func jobHistory(c clock, sh *acts.JobSheet, names map[string]string) []string {
	var out []string
	for _, t := range sh.Events {
		when := c.ms(t.At).Text
		switch t.Event {
		case "accepted":
			out = append(out, names[t.By]+" accepted it, "+when+".")
		case "passed_on":
			to := "any supervisor"
			if t.To != "" {
				to = names[t.To]
			}
			out = append(out, names[t.By]+" passed it on to "+to+", "+when+": "+t.Reason)
		case "taken":
			out = append(out, names[t.By]+" took over from "+names[t.To]+", "+when+".")
		case "paused":
			out = append(out, "Paused, "+when+".")
		case "resumed":
			out = append(out, "Resumed, "+when+".")
		}
	}
	return out
}

// severalWords tell how to enter the readings of one measurement.
var severalWords = map[string]string{
	"lowest": "Several readings: put a space between them. The lowest counts.", "highest": "Several readings: put a space between them. The highest counts.",
	"spread": "Several readings: put a space between them. Highest less lowest counts.", "each": "Several readings: put a space between them. Each must be within.",
}

func newStepView(c clock, car *curriculum.Vehicle, st acts.SheetStep, number int) stepView {
	v := stepView{Number: number, Key: st.Key, Anchor: anchorOf(st.Key), Title: st.Title, Wheel: st.Wheel, Critical: st.Critical, Hold: st.HoldPoint,
		Result: st.Result, CriticalError: st.CriticalError, SteppedIn: stepInNames[st.SteppedIn], WhatHappened: st.WhatHappened, OwnError: st.OwnError, OwnErrorWhat: st.OwnErrorWhat, Bulk: st.Bulk, HoldState: st.Hold, HoldReason: st.HoldReason,
		Open: st.Result == ""}
	if st.Result != "" {
		v.ResultWords = wordOr(resultNames, st.Result)
	}
	v.Why = textsFor(st.Step.Why, car, st.Axle)
	v.Skipped = append(textsFor(st.Step.IfSkipped, car, st.Axle), textsFor(st.Step.IfWrong, car, st.Axle)...)
	v.Checks = textsFor(st.Step.Check, car, st.Axle)
	for _, m := range st.Measures {
		x := measureView{Number: m.Number, ID: v.Anchor + "-m" + itoa(m.Number), Text: m.Text, Limit: m.Limit, Source: m.Source, Several: severalWords[m.Which]}
		if m.Limit != "" { // the figure stands behind the words, and once is enough
			x.Text = st.Step.Measures[m.Number-1].Text.Plain()
		}
		unit := string(m.Unit)
		if m.Reading != nil {
			x.Value, x.Instrument, x.Calibrated, unit = m.Reading.Value, m.Reading.Instrument, m.Reading.Calibrated, m.Reading.Unit
			if x.Calibrated != "" {
				x.CalibratedOn = c.day(x.Calibrated).Text
			}
			x.Shown = curriculum.Written(m.Reading.Value, curriculum.Unit(m.Reading.Unit), "en")
			if len(m.Reading.Values) > 0 {
				x.Value = strings.Join(m.Reading.Values, " ")
				x.Shown += " of " + x.Value
			}
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
		m.Value, m.Instrument, m.Calibrated = f.Get("value"), f.Get("instrument"), f.Get("calibrated")
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
		if t.Undo != "" || t.Event != "" && t.Event != "paused" && t.Event != "resumed" {
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
	case t.OwnError != nil && *t.OwnError:
		return where + ": own error found and put right"
	case t.OwnError != nil:
		return where + ": no own error"
	case t.Oral != nil && t.Oral.Satisfactory:
		return "Asked, satisfactory: " + t.Oral.Text
	case t.Oral != nil:
		return "Asked, not satisfactory: " + t.Oral.Text
	case t.Photo != nil:
		return "A photograph"
	case t.Event == "paused":
		return "Paused"
	case t.Event == "resumed":
		return "Resumed"
	case t.Parts != nil || t.Fluid != nil:
		return "Parts and fluid"
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
	for _, t := range sh.Events {
		if t.To == "" {
			continue
		}
		if names[t.To], err = book.name(ctx, t.To); err != nil {
			return err
		}
	}
	if sh.Job.AskedOf != "" {
		if names[sh.Job.AskedOf], err = book.name(ctx, sh.Job.AskedOf); err != nil {
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
	if rights.decline {
		watchers, err := s.acts.Watchers(ctx, sh.Job.ID)
		if err != nil {
			return err
		}
		for _, x := range watchers {
			if x.ID != b.Person.ID {
				page.PassTo = append(page.PassTo, choice{x.ID, personName(x)})
			}
		}
	}
	if n := r.URL.Query().Get("oral"); n != "" && rights.watching {
		if err := s.fillOral(ctx, &page, sh, n); err != nil {
			return err
		}
	}
	return s.render(w, r, status, page)
}

// fillOral puts questions to ask at the car onto the page.
func (s *Server) fillOral(ctx context.Context, page *jobPage, sh *acts.JobSheet, number string) error {
	n, err := strconv.Atoi(number)
	if err != nil {
		n = 1
	}
	qs, err := s.acts.OralQuestions(ctx, personFrom(ctx), sh.Job.ID, n)
	if err != nil {
		return err
	}
	page.OralNumber = n
	for i := range qs {
		q := &qs[i]
		v := oralView{ID: q.ID, Stem: q.Stem, Path: "/jobs/" + sh.Job.ID + "/tap", Nonce: page.Nonce, By: page.By, Number: n, Right: oralAnswer(q)}
		for _, o := range q.Options {
			v.Options = append(v.Options, o.Text)
		}
		for _, t := range sh.Oral {
			if t.Oral.Question == q.ID {
				v.Said = "not satisfactory"
				if t.Oral.Satisfactory {
					v.Said = "satisfactory"
				}
			}
		}
		page.Oral = append(page.Oral, v)
	}
	return nil
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
		paper:        open && watch && (j.Status == store.JobWaiting || mine && j.Status == store.JobWatching && !tappedAtCar(sh)),
	}, nil
}

// oralAnswer is the right answer in words.
func oralAnswer(q *quiz.Question) []string {
	text := map[string]string{}
	for _, o := range append(slices.Clone(q.Options), q.Targets...) {
		text[o.ID] = o.Text
	}
	lines, _ := rightLines(*q, nil, text)
	return lines
}

// tappedAtCar says whether anything of the sheet was tapped: then it is no paper day.
func tappedAtCar(sh *acts.JobSheet) bool {
	for _, t := range sh.Taps {
		if t.Event == "" {
			return true
		}
	}
	return false
}

func (s *Server) acceptJob(w http.ResponseWriter, r *http.Request) error {
	job := mux.Vars(r)["job"]
	if err := s.acts.AcceptJob(r.Context(), personFrom(r.Context()), job); err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{})
	}
	return seeOther(w, r, "/jobs/"+job, "job_accepted")
}

func (s *Server) passJobOn(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	job := mux.Vars(r)["job"]
	if err := s.acts.PassJobOn(r.Context(), personFrom(r.Context()), job, r.PostForm.Get("to"), r.PostForm.Get("reason")); err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{})
	}
	return seeOther(w, r, "/waiting", "job_passed_on")
}

// jobFromPaper takes the times of a printed sheet; its steps are then entered as they were written.
func (s *Server) jobFromPaper(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	job := mux.Vars(r)["job"]
	sh, err := s.acts.Job(r.Context(), personFrom(r.Context()), job)
	if err != nil {
		return err
	}
	zone, err := s.zoneOf(r.Context(), sh.Job.Site)
	if err != nil {
		return err
	}
	day := r.PostForm.Get("day")
	from, err := localTime("from", joinTime(day, r.PostForm.Get("from")), zone)
	if err == nil {
		var to time.Time
		if to, err = localTime("to", joinTime(day, r.PostForm.Get("to")), zone); err == nil {
			err = s.acts.FromPaper(r.Context(), personFrom(r.Context()), job, from, to)
		}
	}
	if err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{})
	}
	return seeOther(w, r, "/jobs/"+job, "job_from_paper")
}

func joinTime(day, clock string) string {
	if day == "" || clock == "" {
		return ""
	}
	return day + "T" + clock
}

// localTime reads a day and time of a zone, as browsers send them; "" is the zero time.
func localTime(field, v string, zone *time.Location) (time.Time, error) {
	v = strings.TrimSpace(v)
	if v == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04"} {
		if t, err := time.ParseInLocation(layout, v, zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, failure{status: http.StatusUnprocessableEntity, code: "bad_time", field: field, args: map[string]string{"time": v}}
}

// zoneOf is a site's zone, or the programme's.
func (s *Server) zoneOf(ctx context.Context, site string) (*time.Location, error) {
	info, err := s.store.Info(ctx)
	if err != nil {
		return nil, err
	}
	zone := info.Zone
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	for _, x := range sites {
		if x.ID == site && x.Zone != "" {
			zone = x.Zone
		}
	}
	return time.LoadLocation(zone)
}

func (s *Server) addPhoto(w http.ResponseWriter, r *http.Request) error {
	job := mux.Vars(r)["job"]
	fields, picture, err := readUpload(r)
	if err == nil {
		if by := fields["by"]; by != "" && by != personFrom(r.Context()).ID {
			err = failure{status: http.StatusConflict, code: "tap_of_another"}
		} else {
			_, err = s.acts.AddPhoto(r.Context(), personFrom(r.Context()), job, fields["id"], fields["step"], picture)
		}
	}
	if err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{})
	}
	return seeOther(w, r, "/jobs/"+job+"#photos", "photo_added")
}

// readUpload reads a form with one file, in memory and no further than the bound of a photograph.
func readUpload(r *http.Request) (fields map[string]string, picture []byte, err error) {
	bad := failure{status: http.StatusBadRequest, code: "bad_form"}
	parts, err := r.MultipartReader()
	if err != nil {
		return nil, nil, bad
	}
	fields = map[string]string{}
	for n := 0; ; n++ {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return fields, picture, nil
		}
		if err != nil || n > 20 {
			return nil, nil, tooLargeOr(err, bad)
		}
		limit := int64(4096)
		if part.FormName() == "photo" {
			limit = acts.MaxPicture + 1
		}
		b, err := io.ReadAll(io.LimitReader(part, limit))
		if err != nil {
			return nil, nil, tooLargeOr(err, bad)
		}
		if part.FormName() == "photo" {
			picture = b
		} else {
			fields[part.FormName()] = string(b)
		}
	}
}

// tooLargeOr keeps the error of a request that is too large.
func tooLargeOr(err error, other error) error {
	if large := (*http.MaxBytesError)(nil); errors.As(err, &large) {
		return err
	}
	return other
}

// showPhoto serves a photograph of a job to whoever may see the job.
func (s *Server) showPhoto(w http.ResponseWriter, r *http.Request) error {
	b, err := s.acts.Photo(r.Context(), personFrom(r.Context()), mux.Vars(r)["job"], mux.Vars(r)["name"])
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Content-Length", itoa(len(b)))
	_, err = w.Write(b)
	return err
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
	if by := f.Get("by"); by != "" && by != personFrom(r.Context()).ID {
		return s.jobRefused(w, r, job, failure{status: http.StatusConflict, code: "tap_of_another"}, wrongStep{})
	}
	taps, err := tapsFrom(f, s.acts.Now().UnixMilli())
	if err != nil {
		return s.jobRefused(w, r, job, err, wrongStep{key: f.Get("step"), form: f})
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
	switch {
	case f.Get("oral") != "":
		return seeOther(w, r, path+"?oral="+url.QueryEscape(f.Get("number"))+"#oral", notice)
	case f.Get("event") == "paused":
		return seeOther(w, r, path, "job_paused")
	case f.Get("event") == "resumed":
		return seeOther(w, r, path, "job_resumed")
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
		base.Reading = &store.TapReading{Measure: n, Value: strings.TrimSpace(f.Get("value")), Unit: f.Get("unit"), Instrument: strings.TrimSpace(f.Get("instrument")), Calibrated: f.Get("calibrated")}
	case f.Get("outcome") != "":
		base.Outcome, base.Difficulty, base.Note = f.Get("outcome"), f.Get("difficulty"), strings.TrimSpace(f.Get("why"))
		if base.Outcome != "finished" && base.Note == "" {
			return nil, failure{status: http.StatusUnprocessableEntity, code: "outcome_reason_needed", field: "why"}
		}
	case f.Get("event") != "":
		base.Event = f.Get("event")
	case f.Get("own_error") != "":
		yes := f.Get("own_error") == "yes"
		base.OwnError, base.WhatHappened = &yes, strings.TrimSpace(f.Get("what_happened"))
	case f.Get("oral") != "":
		n, err := strconv.Atoi(f.Get("number"))
		if err != nil {
			return nil, failure{status: http.StatusBadRequest, code: "bad_form", cause: err}
		}
		base.Step, base.Oral = "", &store.TapOral{Question: f.Get("question"), Number: n, Satisfactory: f.Get("oral") == "yes"}
	case f.Has("parts") || f.Has("fluid"):
		parts, fluid := strings.TrimSpace(f.Get("parts")), strings.TrimSpace(f.Get("fluid"))
		base.Parts, base.Fluid = &parts, &fluid
	case f.Get("near_miss") != "":
		yes := f.Get("near_miss") == "yes"
		base.NearMiss = &yes
	case f.Has("note"):
		base.Note = strings.TrimSpace(f.Get("note"))
	default:
		base.Result = f.Get("result")
		if f.Get("critical_error") != "" {
			base.CriticalError, base.WhatHappened, base.SteppedIn = true, strings.TrimSpace(f.Get("what_happened")), f.Get("stepped_in")
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
