package server

import (
	"cmp"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// apiJobLine is a job in a list.
type apiJobLine struct {
	ID         string          `json:"id"`
	Number     int             `json:"number"` // as on the printed sheet
	Status     store.JobStatus `json:"status"`
	Apprentice apiPersonName   `json:"apprentice"`
	Supervisor *apiPersonName  `json:"supervisor"` // null while nobody watches
	Task       string          `json:"task"`
	Vehicle    *string         `json:"vehicle"` // null for a car described on the spot
	Site       *string         `json:"site"`
	Bay        string          `json:"bay,omitempty"`
	CreatedAt  string          `json:"created_at"`
	PlannedAt  *string         `json:"planned_at"` // null: at once
	AskedOf    *string         `json:"asked_of"`   // who accepted it, or to whom it was passed on
	Accepted   bool            `json:"accepted"`
	PausedAt   *string         `json:"paused_at"`      // null while it runs
	Paper      bool            `json:"paper"`          // watched on its printed sheet
	Note       string          `json:"note,omitempty"` // why it was declined or withdrawn
	SignOff    *string         `json:"sign_off"`       // the entry, once signed
}

func jobLine(j *store.Job, apprentice, supervisor *store.Person) apiJobLine {
	l := apiJobLine{Number: j.Number, PlannedAt: timeOrNull(j.PlannedAt), AskedOf: orNull(j.AskedOf), Accepted: !j.AcceptedAt.IsZero(), PausedAt: timeOrNull(j.PausedAt), Paper: !j.PaperEnd.IsZero(),
		ID: j.ID, Status: j.Status, Apprentice: nameOf(apprentice), Task: j.Task, Vehicle: orNull(j.Vehicle),
		Site: orNull(j.Site), Bay: j.Bay, CreatedAt: timeText(j.CreatedAt), Note: j.Note, SignOff: orNull(j.SignOff)}
	if supervisor != nil {
		n := nameOf(supervisor)
		l.Supervisor = &n
	}
	return l
}

// timeOrNull is a time as the API writes it, null for none.
func timeOrNull(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	return orNull(timeText(t))
}

// apiSheet is a job with its steps as they stand.
type apiSheet struct {
	apiJobLine
	Index      *int64          `json:"index"` // of the sign-off; null while the job is a draft
	Car        json.RawMessage `json:"car"`   // null for a training vehicle
	Layout     string          `json:"layout"`
	Outcome    *string         `json:"outcome"`
	Difficulty string          `json:"difficulty"`
	NearMiss   bool            `json:"near_miss"`
	Notes      []string        `json:"notes"`
	Parts      string          `json:"parts"`
	Fluid      string          `json:"fluid"`
	Oral       []store.TapOral `json:"oral"`
	Photos     []apiPhoto      `json:"photos"`
	Pauses     []apiSpan       `json:"pauses"`
	Steps      []apiStep       `json:"steps"`
	Missing    []string        `json:"missing"`        // keys of steps without which it cannot be finished
	Decide     bool            `json:"needs_decision"` // signing asks for a critical_decision
	Taps       []apiTapDone    `json:"taps"`
}

// apiPhoto is a photograph on a sheet; Path is where its bytes are.
type apiPhoto struct {
	ID     string `json:"id"`
	Path   string `json:"path"`
	Step   string `json:"step,omitempty"`
	Width  int    `json:"width"`
	Height int    `json:"height"`
	By     string `json:"by"`
	At     string `json:"at"`
}

type apiSpan struct {
	From string `json:"from"`
	To   string `json:"to"`
}

type apiStep struct {
	Key           string       `json:"key"` // LESSON/STEP or LESSON/STEP@WHEEL
	Lesson        string       `json:"lesson"`
	Title         string       `json:"title"`
	Critical      bool         `json:"critical"`
	Hold          bool         `json:"hold"`
	Result        *string      `json:"result"`
	CriticalError bool         `json:"critical_error"`
	SteppedIn     string       `json:"stepped_in,omitempty"` // supervisor, other, nobody
	WhatHappened  string       `json:"what_happened,omitempty"`
	OwnError      bool         `json:"own_error"` // found and put right by the apprentice
	Bulk          bool         `json:"bulk"`
	HoldResult    *string      `json:"hold_result"` // accepted, sent_back
	HoldReason    string       `json:"hold_reason,omitempty"`
	Measures      []apiMeasure `json:"measures"`
}

type apiMeasure struct {
	Measure int               `json:"measure"` // from 1
	Text    string            `json:"text"`
	Limit   string            `json:"limit"`  // "" where the car does not say
	Counts  string            `json:"counts"` // of several readings: one, lowest, highest, spread, each
	Unit    curriculum.Unit   `json:"unit"`
	Reading *store.TapReading `json:"reading"`
	Verdict *string           `json:"verdict"` // within, below, above
}

// apiTapDone is a tap as it was recorded, for undoing it.
type apiTapDone struct {
	store.Tap
	At string `json:"at"`
}

func (c *apiCall) sheetOf(s *acts.JobSheet) (apiSheet, error) {
	out := apiSheet{apiJobLine: jobLine(s.Job, s.Apprentice, s.Supervisor), Car: s.Job.Car, Outcome: orNull(s.Outcome),
		Difficulty: s.Difficulty, NearMiss: s.NearMiss, Notes: list(s.Notes), Steps: []apiStep{}, Missing: list(s.Missing), Taps: []apiTapDone{},
		Parts: s.Parts, Fluid: s.Fluid, Oral: []store.TapOral{}, Photos: []apiPhoto{}, Pauses: []apiSpan{}}
	for _, t := range s.Oral {
		out.Oral = append(out.Oral, *t.Oral)
	}
	for _, t := range s.Photos {
		out.Photos = append(out.Photos, apiPhoto{ID: t.ID, Path: apiPrefix + "/jobs/" + s.Job.ID + "/photos/" + t.ID, Step: t.Step, Width: t.Photo.Width, Height: t.Photo.Height,
			By: t.By, At: timeText(time.UnixMilli(t.At))})
	}
	for _, x := range s.Pauses {
		out.Pauses = append(out.Pauses, apiSpan{timeText(time.UnixMilli(x.From)), timeText(time.UnixMilli(x.To))})
	}
	if s.Vehicle != nil {
		out.Layout = s.Vehicle.Layout
	}
	for _, l := range s.Lessons {
		for _, st := range l.Steps {
			out.Steps = append(out.Steps, stepOf(l.Lesson.ID, st))
		}
	}
	for _, t := range s.Taps {
		out.Taps = append(out.Taps, apiTapDone{t, timeText(time.UnixMilli(t.At))})
	}
	if s.Job.Status == store.JobFinished && s.Job.Supervisor == c.actor.ID {
		var err error
		if out.Decide, err = c.acts.NeedsDecision(c.ctx(), c.actor, s.Job.ID); err != nil {
			return apiSheet{}, err
		}
	}
	if s.Job.SignOff != "" {
		e, err := c.server.store.Entry(c.ctx(), s.Job.SignOff)
		if err != nil {
			return apiSheet{}, err
		}
		out.Index = &e.Index
	}
	return out, nil
}

func stepOf(lesson string, st acts.SheetStep) apiStep {
	out := apiStep{Key: st.Key, Lesson: lesson, Title: st.Title, Critical: st.Critical, Hold: st.HoldPoint, Result: orNull(st.Result),
		CriticalError: st.CriticalError, SteppedIn: st.SteppedIn, WhatHappened: st.WhatHappened, OwnError: st.OwnError, Bulk: st.Bulk, HoldResult: orNull(st.Hold), HoldReason: st.HoldReason,
		Measures: []apiMeasure{}}
	for _, m := range st.Measures {
		out.Measures = append(out.Measures, apiMeasure{m.Number, m.Text, m.Limit, m.Which, m.Unit, m.Reading, orNull(string(m.Verdict))})
	}
	return out
}

// sheet answers with a job as it stands.
func (c *apiCall) sheet(status int, s *acts.JobSheet, err error) (apiAnswer, error) {
	if err != nil {
		return apiAnswer{}, err
	}
	body, err := c.sheetOf(s)
	if err != nil {
		return apiAnswer{}, err
	}
	return apiAnswer{Status: status, Body: body}, nil
}

func apiJobs(c *apiCall) (apiAnswer, error) {
	f := store.JobFilter{Apprentice: c.q("apprentice"), Supervisor: c.q("supervisor"), Site: c.q("site"), Task: c.q("task"), Limit: 200}
	for _, s := range strings.FieldsFunc(c.q("status"), func(r rune) bool { return r == ',' }) {
		f.Status = append(f.Status, store.JobStatus(s))
	}
	rows, err := c.acts.Jobs(c.ctx(), c.actor, f)
	if err != nil {
		return apiAnswer{}, err
	}
	type line struct {
		apiJobLine
		MayWatch bool `json:"may_watch"`
	}
	lines := make([]line, len(rows))
	for i, r := range rows {
		lines[i] = line{jobLine(r.Job, r.Apprentice, r.Supervisor), r.MayWatch}
	}
	return ok(lines)
}

// apiAskJob asks for a watched job. Whoever asks for somebody else is a supervisor who watches at once, unless told
// otherwise.
func apiAskJob(c *apiCall) (apiAnswer, error) {
	var in struct {
		Apprentice string          `json:"apprentice"` // absent: whoever asks
		Task       string          `json:"task"`
		Vehicle    string          `json:"vehicle"`
		Car        *curriculum.Car `json:"car"`
		Site       string          `json:"site"`
		Bay        string          `json:"bay"`
		Setting    string          `json:"setting"`
		WorkOrder  string          `json:"work_order"`
		Planned    *apiTime        `json:"planned_at"` // absent: at once
		Watch      *bool           `json:"watch"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if in.Apprentice == "" {
		in.Apprentice = c.actor.ID
	}
	watch := in.Apprentice != c.actor.ID
	if in.Watch != nil {
		watch = *in.Watch
	}
	planned := time.Time{}
	if in.Planned != nil {
		planned = time.UnixMilli(int64(*in.Planned))
		if planned.IsZero() { // the year 1 has passed; only what is absent is now
			planned = planned.Add(time.Millisecond)
		}
	}
	j, err := c.acts.AskJob(c.ctx(), c.actor, acts.JobRequest{Planned: planned, ID: c.id, Apprentice: in.Apprentice, Task: in.Task, Vehicle: in.Vehicle, Car: in.Car,
		WorkOrder: in.WorkOrder, Site: in.Site, Bay: in.Bay, Setting: in.Setting, Watch: watch})
	if err != nil {
		return apiAnswer{}, err
	}
	s, err := c.acts.Job(c.ctx(), c.actor, j.ID)
	return c.sheet(http.StatusCreated, s, err)
}

// apiNeeded says which figures the steps of a task ask of a car described on the spot.
func apiNeeded(c *apiCall) (apiAnswer, error) {
	var in struct {
		Task string         `json:"task"`
		Car  curriculum.Car `json:"car"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	p, err := c.lessonsFor()
	if err != nil {
		return apiAnswer{}, err
	}
	task := p.Task(in.Task)
	if task == nil {
		return apiAnswer{}, failure{status: http.StatusUnprocessableEntity, code: "unknown_task", field: "task", args: map[string]string{"task": in.Task}}
	}
	return ok(map[string][]curriculum.CarFigure{"figures": list(p.Needed(task.Lessons, in.Car))})
}

func apiJob(c *apiCall) (apiAnswer, error) {
	s, err := c.acts.Job(c.ctx(), c.actor, c.v("job"))
	return c.sheet(http.StatusOK, s, err)
}

func apiTakeJob(c *apiCall) (apiAnswer, error) {
	if err := c.acts.TakeJob(c.ctx(), c.actor, c.v("job")); err != nil {
		return apiAnswer{}, err
	}
	return apiJob(c)
}

func apiAcceptJob(c *apiCall) (apiAnswer, error) {
	if err := c.acts.AcceptJob(c.ctx(), c.actor, c.v("job")); err != nil {
		return apiAnswer{}, err
	}
	return apiJob(c)
}

func apiPassJobOn(c *apiCall) (apiAnswer, error) {
	var in struct {
		To     string `json:"to"` // absent: back to all
		Reason string `json:"reason"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.PassJobOn(c.ctx(), c.actor, c.v("job"), in.To, in.Reason); err != nil {
		return apiAnswer{}, err
	}
	return apiJob(c)
}

// apiFromPaper says that a job was watched on its printed sheet, from and to these times.
func apiFromPaper(c *apiCall) (apiAnswer, error) {
	var in struct {
		From *apiTime `json:"from"`
		To   *apiTime `json:"to"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	var from, to time.Time
	if in.From != nil {
		from = time.UnixMilli(int64(*in.From))
	}
	if in.To != nil {
		to = time.UnixMilli(int64(*in.To))
	}
	if err := c.acts.FromPaper(c.ctx(), c.actor, c.v("job"), from, to); err != nil {
		return apiAnswer{}, err
	}
	return apiJob(c)
}

func apiJobByNumber(c *apiCall) (apiAnswer, error) {
	j, err := c.acts.JobByNumber(c.ctx(), c.actor, c.v("number"))
	if err != nil {
		return apiAnswer{}, err
	}
	s, err := c.acts.Job(c.ctx(), c.actor, j.ID)
	return c.sheet(http.StatusOK, s, err)
}

// apiAddPhoto takes a picture as the request's body.
func apiAddPhoto(c *apiCall) (apiAnswer, error) {
	b, err := io.ReadAll(c.Body)
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		return apiAnswer{}, err
	}
	if err != nil {
		return apiAnswer{}, badJSON("", "The request broke off.")
	}
	s, err := c.acts.AddPhoto(c.ctx(), c.actor, c.v("job"), c.id, c.q("step"), b)
	return c.sheet(http.StatusCreated, s, err)
}

func apiGetPhoto(c *apiCall) (apiAnswer, error) {
	b, err := c.acts.Photo(c.ctx(), c.actor, c.v("job"), c.v("photo"))
	if err != nil {
		return apiAnswer{}, err
	}
	return apiAnswer{Raw: b, Kind: "image/jpeg"}, nil
}

// apiOral lists questions to ask at the car, with their answers: for whoever may watch the job.
func apiOral(c *apiCall) (apiAnswer, error) {
	n, err := strconv.Atoi(cmp.Or(c.q("number"), "1"))
	if err != nil {
		n = 0
	}
	qs, err := c.acts.OralQuestions(c.ctx(), c.actor, c.v("job"), n)
	if err != nil {
		return apiAnswer{}, err
	}
	type line struct {
		Question string   `json:"question"`
		Number   int      `json:"number"`
		Text     string   `json:"text"`
		Options  []string `json:"options"`
		Right    []string `json:"right"`
	}
	lines := make([]line, len(qs))
	for i := range qs {
		lines[i] = line{qs[i].ID, n, qs[i].Stem, []string{}, list(oralAnswer(&qs[i]))}
		for _, o := range qs[i].Options {
			lines[i].Options = append(lines[i].Options, o.Text)
		}
	}
	return ok(lines)
}

func apiDeclineJob(c *apiCall) (apiAnswer, error) {
	var in struct {
		Reason string `json:"reason"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.DeclineJob(c.ctx(), c.actor, c.v("job"), in.Reason); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

func apiWithdrawJob(c *apiCall) (apiAnswer, error) {
	if err := c.acts.WithdrawJob(c.ctx(), c.actor, c.v("job")); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

// apiTime is a moment: RFC 3339, or milliseconds since 1970.
type apiTime int64

func (t *apiTime) UnmarshalJSON(b []byte) error {
	var ms int64
	if err := json.Unmarshal(b, &ms); err == nil {
		*t = apiTime(ms)
		return nil
	}
	var text string
	if err := json.Unmarshal(b, &text); err == nil {
		if at, err := time.Parse(time.RFC3339, text); err == nil {
			*t = apiTime(at.UnixMilli())
			return nil
		}
	}
	return badJSON("at", "Give the time like 2030-05-01T14:03:05.123Z, or in milliseconds since 1970.")
}

// apiTapIn is a tap as it is sent. Who tapped is whoever asks.
type apiTapIn struct {
	ID            string            `json:"id"`
	At            *apiTime          `json:"at"` // absent: now
	Step          string            `json:"step"`
	Result        string            `json:"result"`
	CriticalError bool              `json:"critical_error"`
	WhatHappened  string            `json:"what_happened"`
	Bulk          bool              `json:"bulk"`
	Hold          string            `json:"hold"`
	Reason        string            `json:"reason"`
	Reading       *store.TapReading `json:"reading"`
	Outcome       string            `json:"outcome"`
	Difficulty    string            `json:"difficulty"`
	NearMiss      *bool             `json:"near_miss"`
	Note          string            `json:"note"`
	Undo          string            `json:"undo"`
	SteppedIn     string            `json:"stepped_in"`
	OwnError      *bool             `json:"own_error"`
	Oral          *apiOralIn        `json:"oral"`
	Event         string            `json:"event"` // paused, resumed
	Parts         *string           `json:"parts"`
	Fluid         *string           `json:"fluid"`
}

// apiOralIn is how a question at the car was answered. Number is that of the draw, 1 if absent.
type apiOralIn struct {
	Question     string `json:"question"`
	Number       int    `json:"number"`
	Satisfactory bool   `json:"satisfactory"`
}

func apiTap(c *apiCall) (apiAnswer, error) {
	var in []apiTapIn
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if len(in) == 1 && in[0].ID == "" {
		in[0].ID = c.id
	}
	now := c.acts.Now().UnixMilli()
	taps := make([]store.Tap, len(in))
	for i, t := range in {
		taps[i] = store.Tap{ID: t.ID, By: c.actor.ID, At: now, Step: t.Step, Result: t.Result, CriticalError: t.CriticalError,
			WhatHappened: t.WhatHappened, Bulk: t.Bulk, Hold: t.Hold, Reason: t.Reason, Reading: t.Reading, Outcome: t.Outcome,
			Difficulty: t.Difficulty, NearMiss: t.NearMiss, Note: t.Note, Undo: t.Undo,
			SteppedIn: t.SteppedIn, OwnError: t.OwnError, Event: t.Event, Parts: t.Parts, Fluid: t.Fluid}
		if t.Oral != nil {
			taps[i].Oral = &store.TapOral{Question: t.Oral.Question, Number: t.Oral.Number, Satisfactory: t.Oral.Satisfactory}
		}
		if t.At != nil {
			taps[i].At = int64(*t.At)
		}
	}
	s, err := c.acts.Tap(c.ctx(), c.actor, c.v("job"), taps)
	return c.sheet(http.StatusOK, s, err)
}

func apiRestUnaided(c *apiCall) (apiAnswer, error) {
	s, err := c.acts.RestUnaided(c.ctx(), c.actor, c.v("job"), c.id)
	return c.sheet(http.StatusOK, s, err)
}

func apiStatement(c *apiCall) (apiAnswer, error) {
	lines, err := c.acts.Statement(c.ctx(), c.actor, c.v("job"))
	if err != nil {
		return apiAnswer{}, err
	}
	info, err := c.server.store.Info(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	clock, err := newClock(info.Zone, c.acts.Now())
	if err != nil {
		return apiAnswer{}, err
	}
	out := []string{}
	for _, l := range statementLines(clock, lines) {
		out = append(out, l.Text)
	}
	return ok(map[string][]string{"statement": out})
}

// apiDecision is what the signer decides on a cleared apprentice who made a critical error.
type apiDecision struct {
	StandDown bool   `json:"stand_down"`
	Reason    string `json:"reason"`
}

// apiLate is what signing after the policy's window takes.
type apiLate struct {
	Reason string `json:"reason"`
	Second struct {
		Login      string `json:"login"`
		Passphrase string `json:"passphrase"`
	} `json:"second"`
}

func (l *apiLate) act() *acts.LateSigning {
	if l == nil {
		return nil
	}
	return &acts.LateSigning{Reason: l.Reason, SecondLogin: l.Second.Login, SecondPassphrase: l.Second.Passphrase}
}

func (d *apiDecision) act() *acts.CriticalDecision {
	if d == nil {
		return nil
	}
	return &acts.CriticalDecision{StandDown: d.StandDown, Reason: d.Reason}
}

// apiSignJob signs one job. A job whose outcome nobody tapped is finished, as in evidence; what is missing is refused.
func apiSignJob(c *apiCall) (apiAnswer, error) {
	var in struct {
		Passphrase string       `json:"passphrase"`
		Outcome    string       `json:"outcome"`    // absent: as tapped, else finished
		Difficulty string       `json:"difficulty"` // absent: as tapped, else usual
		Decision   *apiDecision `json:"critical_decision"`
		Late       *apiLate     `json:"late"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	job := c.v("job")
	if err := c.finish(job, in.Outcome, in.Difficulty); err != nil {
		return apiAnswer{}, err
	}
	var ids []string
	if c.id != "" {
		ids = []string{c.id}
	}
	rs, err := c.acts.Sign(c.ctx(), c.actor, acts.SignRequest{IDs: ids, Jobs: []string{job}, Passphrase: in.Passphrase, Decision: in.Decision.act(), Late: in.Late.act()})
	if err != nil {
		return apiAnswer{}, err
	}
	return created(rs[0])
}

// finish taps the outcome of a job that has none.
func (c *apiCall) finish(job, outcome, difficulty string) error {
	s, err := c.acts.Job(c.ctx(), c.actor, job)
	if err != nil {
		return err
	}
	if outcome != "" && s.Job.Status == store.JobSigned && outcome != s.Outcome {
		return failure{status: http.StatusConflict, code: "job_signed"}
	}
	if outcome == "" {
		outcome = cmp.Or(s.Outcome, "finished")
	}
	if difficulty == "" {
		difficulty = s.Difficulty
	}
	if s.Job.Status != store.JobWatching && s.Job.Status != store.JobFinished || outcome == s.Outcome && difficulty == s.Difficulty {
		return nil // nothing to tap; signing says what is wrong, if anything is
	}
	id, err := ledger.NewID(rand.Reader, c.acts.Now().UnixMilli())
	if err != nil {
		return err
	}
	_, err = c.acts.Tap(c.ctx(), c.actor, job, []store.Tap{{ID: id, By: c.actor.ID, At: c.acts.Now().UnixMilli(), Outcome: outcome, Difficulty: difficulty}})
	return err
}

// apiSignJobs signs several jobs with one passphrase: all or none.
func apiSignJobs(c *apiCall) (apiAnswer, error) {
	var in struct {
		Jobs       []string     `json:"jobs"`
		IDs        []string     `json:"ids"` // of the entries, in the order of jobs
		Passphrase string       `json:"passphrase"`
		Decision   *apiDecision `json:"critical_decision"`
		Late       *apiLate     `json:"late"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	ids := in.IDs
	if ids == nil && c.id != "" {
		for i := range in.Jobs {
			id, err := idAfter(c.id, i)
			if err != nil {
				return apiAnswer{}, err
			}
			ids = append(ids, id)
		}
	}
	rs, err := c.acts.Sign(c.ctx(), c.actor, acts.SignRequest{IDs: ids, Jobs: in.Jobs, Passphrase: in.Passphrase, Decision: in.Decision.act(), Late: in.Late.act()})
	if err != nil {
		return apiAnswer{}, err
	}
	return created(map[string][]store.Receipt{"entries": list(rs)})
}

// idAfter is the UUID i after id, counted in its last 32 bits: the ids of several entries under one Idempotency-Key.
func idAfter(id string, i int) (string, error) {
	cut := len(id) - 8
	b, err := hex.DecodeString(id[cut:])
	if err != nil {
		return "", badJSON("Idempotency-Key", "This is not a UUID.")
	}
	n := uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3])
	return id[:cut] + fmt.Sprintf("%08x", n+uint32(i)), nil
}

func apiUnwatchedJob(c *apiCall) (apiAnswer, error) {
	var in struct {
		Task      string `json:"task"`
		Date      string `json:"date"` // absent: today
		Vehicle   string `json:"vehicle"`
		Car       string `json:"car"` // in words
		WorkOrder string `json:"work_order"`
		Parts     string `json:"parts"`
		Fluid     string `json:"fluid"`
		Notes     string `json:"notes"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.UnwatchedJob(c.ctx(), c.actor, acts.UnwatchedRequest{ID: c.id, Task: in.Task, Date: in.Date, Vehicle: in.Vehicle, Car: in.Car, WorkOrder: in.WorkOrder,
		Parts: in.Parts, Fluid: in.Fluid, Notes: in.Notes}))
}
