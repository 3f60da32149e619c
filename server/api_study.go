package server

import (
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

// ---- who asks ----

func apiLogIn(c *apiCall) (apiAnswer, error) {
	var in struct {
		Login    string `json:"login"`
		Password string `json:"password"`
		Code     string `json:"code"` // a one-time code in place of the password
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	var token string
	var p *store.Person
	var err error
	if in.Code != "" && in.Password == "" {
		token, p, err = c.acts.LogInWithCode(c.ctx(), in.Login, in.Code, peer(c.Request))
	} else {
		token, p, err = c.acts.LogIn(c.ctx(), in.Login, in.Password, peer(c.Request), true)
	}
	if err != nil {
		return apiAnswer{}, err
	}
	must, err := c.acts.MustSetPassword(c.ctx(), token)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Token           string        `json:"token"`
		Person          apiPersonName `json:"person"`
		MustSetPassword bool          `json:"must_set_password"`
	}{token, nameOf(p), must})
}

func apiLogOut(c *apiCall) (apiAnswer, error) {
	if err := c.acts.LogOut(c.ctx(), c.token); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

// apiPersonName is how a person stands in another thing.
type apiPersonName struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Login string `json:"login"`
}

func nameOf(p *store.Person) apiPersonName {
	return apiPersonName{ID: p.ID, Name: p.Name, Login: p.Login}
}

type apiTask struct {
	ID            string   `json:"id"`
	Title         string   `json:"title"`
	Lessons       []string `json:"lessons"`
	Prerequisites []string `json:"prerequisites"`
}

type apiVehicle struct {
	ID       string   `json:"id"`
	Title    string   `json:"title"`
	Layout   string   `json:"layout"`
	Features []string `json:"features"`
	Wheels   []string `json:"wheels"`
}

func tasksOf(ts []curriculum.Task) []apiTask {
	out := make([]apiTask, len(ts))
	for i, t := range ts {
		out[i] = apiTask{t.ID, t.Title, list(t.Lessons), list(t.Prerequisites)}
	}
	return out
}

func vehiclesOf(vs []*curriculum.Vehicle) []apiVehicle {
	out := make([]apiVehicle, len(vs))
	for i, v := range vs {
		out[i] = apiVehicle{v.ID, v.Title, v.Layout, list(v.Features), []string{}}
		for _, w := range v.Wheels {
			out[i].Wheels = append(out[i].Wheels, w.Name)
		}
	}
	return out
}

// list is s, [] in JSON where it is nil.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

func apiMe(c *apiCall) (apiAnswer, error) {
	p, err := c.acts.Programme(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	today, err := c.acts.Today(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	sites, err := c.server.store.Sites(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	me := personOf(c.actor)
	return ok(struct {
		Person       apiPersonName    `json:"person"`
		Today        string           `json:"today"`
		Roles        []apiRole        `json:"roles"`
		Appointments []apiAppointment `json:"appointments"`
		Key          bool             `json:"key"`         // has a signing key in force
		Passkeys     int              `json:"passkeys"`    // in force
		KeyWaiting   bool             `json:"key_waiting"` // a new key waits for a coordinator
		Edition      string           `json:"programme_edition"`
		Tasks        []apiTask        `json:"tasks"`
		Vehicles     []apiVehicle     `json:"vehicles"`
		Sites        []apiSite        `json:"sites"`
	}{nameOf(c.actor), today, me.Roles, me.Appointments, c.actor.CanSign(), len(c.actor.Passkeys), c.actor.KeyWaiting, p.Edition,
		tasksOf(p.Tasks), vehiclesOf(p.Vehicles), sitesOf(sites)})
}

func apiSetPassword(c *apiCall) (apiAnswer, error) {
	var in struct {
		Current string `json:"current"` // "" after a log-in by code
		Next    string `json:"next"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.SetPassword(c.ctx(), c.actor, c.token, in.Current, in.Next); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

func apiRequestKey(c *apiCall) (apiAnswer, error) {
	var in struct {
		Passphrase string `json:"passphrase"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.RequestKey(c.ctx(), c.actor, in.Passphrase); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

// apiEndSessions logs the person out everywhere else.
func apiEndSessions(c *apiCall) (apiAnswer, error) {
	return done(c.server.store.EndSessions(c.ctx(), c.actor.ID, "", tokenHash(c.token)))
}

// ---- lessons ----

type apiLessonLine struct {
	ID            string   `json:"id"`
	Title         string   `json:"title"`
	Language      string   `json:"language"`
	Edition       string   `json:"edition"`
	Minutes       int      `json:"minutes"` // 0 if not stated
	Tasks         []string `json:"tasks"`
	Prerequisites []string `json:"prerequisites"`
}

func lessonLine(l *curriculum.Lesson) apiLessonLine {
	return apiLessonLine{l.ID, l.Title, l.Language, l.Edition, l.Minutes, list(l.Tasks), list(l.Prerequisites)}
}

func apiLessons(c *apiCall) (apiAnswer, error) {
	p, err := c.lessonsFor()
	if err != nil {
		return apiAnswer{}, err
	}
	lines := make([]apiLessonLine, 0, len(p.Lessons))
	for _, l := range p.Lessons {
		lines = append(lines, lessonLine(p.Lesson(l.ID, c.q("language"))))
	}
	return ok(lines)
}

// lessonsFor is the programme in use, for somebody who may see lessons.
func (c *apiCall) lessonsFor() (*curriculum.Programme, error) {
	if err := c.acts.May(c.ctx(), c.actor, acts.SeeLessons, acts.Target{}); err != nil {
		return nil, err
	}
	return c.acts.Programme(c.ctx())
}

func apiLesson(c *apiCall) (apiAnswer, error) {
	p, err := c.lessonsFor()
	if err != nil {
		return apiAnswer{}, err
	}
	l := p.Lesson(c.v("lesson"), c.q("language"))
	if l == nil {
		return apiAnswer{}, failure{status: http.StatusNotFound, code: "unknown_lesson", args: map[string]string{"lesson": c.v("lesson")}}
	}
	notes, err := c.acts.NotesBeside(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	var car *curriculum.Vehicle
	if id := c.q("vehicle"); id != "" {
		if car = p.Vehicle(id); car == nil {
			return apiAnswer{}, failure{status: http.StatusNotFound, code: "unknown_vehicle", field: "vehicle", args: map[string]string{"vehicle": id}}
		}
	}
	return ok(struct {
		apiLessonLine
		HTML string `json:"html"`
	}{lessonLine(l), string(l.HTMLWithNotes(car, p.Units, picturePath(p), noteTexts(notes, l.ID)))})
}

func apiShopNotes(c *apiCall) (apiAnswer, error) {
	all, err := c.acts.Notes(c.ctx())
	if err != nil {
		return apiAnswer{}, err
	}
	type note struct {
		ID        string     `json:"id"`
		Step      string     `json:"step"`
		Note      string     `json:"note"`
		By        string     `json:"by"`
		At        time.Time  `json:"at"`
		RemovedBy *string    `json:"removed_by"`
		RemovedAt *time.Time `json:"removed_at"`
	}
	out := struct {
		Notes []note `json:"notes"`
	}{[]note{}}
	for _, n := range all {
		if n.Lesson != c.v("lesson") {
			continue
		}
		x := note{ID: n.Entry, Step: n.Step, Note: n.Text, By: n.By, At: n.At}
		if n.RemovedBy != "" {
			x.RemovedBy, x.RemovedAt = &n.RemovedBy, &n.RemovedAt
		}
		out.Notes = append(out.Notes, x)
	}
	return ok(out)
}

func apiPinNote(c *apiCall) (apiAnswer, error) {
	var in struct {
		Step string `json:"step"`
		Note string `json:"note"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	return receipt(c.acts.PinNote(c.ctx(), c.actor, c.id, c.v("lesson"), in.Step, in.Note))
}

func apiRemoveNote(c *apiCall) (apiAnswer, error) {
	return receipt(c.acts.RemoveNote(c.ctx(), c.actor, c.id, c.v("note")))
}

// apiFigure is a row of a sheet's figures.
type apiFigure struct {
	Key      string               `json:"key"`
	Quantity string               `json:"quantity"`
	Value    string               `json:"value"` // the low end of a range
	High     string               `json:"high"`  // "" but for a range
	Unit     curriculum.Unit      `json:"unit"`
	Limit    curriculum.LimitKind `json:"limit"`
	Source   string               `json:"source"`
}

func apiVehicleSheet(c *apiCall) (apiAnswer, error) {
	p, err := c.lessonsFor()
	if err != nil {
		return apiAnswer{}, err
	}
	v := p.Vehicle(c.v("vehicle"))
	if v == nil {
		return apiAnswer{}, failure{status: http.StatusNotFound, code: "unknown_vehicle", args: map[string]string{"vehicle": c.v("vehicle")}}
	}
	figures := make([]apiFigure, len(v.Figures))
	for i, f := range v.Figures {
		figures[i] = apiFigure{f.Key, f.Quantity.Plain(), f.Value, f.High, f.Unit, f.Limit, f.Source.Plain()}
	}
	return ok(struct {
		apiVehicle
		Edition string              `json:"edition"`
		Orders  map[string][]string `json:"orders"`
		Figures []apiFigure         `json:"figures"`
		HTML    string              `json:"html"`
	}{vehiclesOf([]*curriculum.Vehicle{v})[0], v.Edition, v.Orders, figures, string(v.HTML(p.Units, picturePath(p)))})
}

func apiRead(c *apiCall) (apiAnswer, error) {
	var in struct {
		Lesson  string `json:"lesson"`
		Edition string `json:"edition"`
		Since   string `json:"since"` // programme edition; what was read is what changed since
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if in.Since != "" {
		return receipt(c.acts.Confirm(c.ctx(), c.actor, c.id, in.Lesson, in.Since, in.Edition))
	}
	return receipt(c.acts.Read(c.ctx(), c.actor, c.id, in.Lesson, in.Edition))
}

// apiChanged is one change of a lesson with what was there and what is.
type apiChanged struct {
	Text   string         `json:"text"`
	Ask    curriculum.Ask `json:"ask"`
	Within int            `json:"within_days"`
	Weight string         `json:"weight"`
	Before []string       `json:"before"`
	After  []string       `json:"after"`
}

func apiChanges(c *apiCall) (apiAnswer, error) {
	changed, err := c.acts.ChangesToConfirm(c.ctx(), c.actor, c.v("apprentice"))
	if err != nil {
		return apiAnswer{}, err
	}
	type lesson struct {
		Lesson  string       `json:"lesson"`
		Edition string       `json:"edition"`
		Since   string       `json:"since"`
		Due     string       `json:"due"`
		Changes []apiChanged `json:"changes"`
	}
	out := struct {
		Lessons []lesson `json:"lessons"`
	}{[]lesson{}}
	for _, x := range changed {
		l := lesson{x.Lesson.ID, x.Lesson.Edition, x.Since, x.Due, []apiChanged{}}
		for _, y := range x.Changes {
			before, after := y.Shown(x.Before, x.Now, x.Lesson.Language)
			l.Changes = append(l.Changes, apiChanged{say.Change(y), y.Ask, y.Within, y.Weight, append([]string{}, shownLines(before)...), append([]string{}, shownLines(after)...)})
		}
		out.Lessons = append(out.Lessons, l)
	}
	return ok(out)
}

// ---- practice ----

// apiDraw asks for a practice form. The same draw gives the same form, so nothing is stored.
type apiDraw struct {
	Lesson    string  `json:"lesson"`
	Vehicle   string  `json:"vehicle"`
	Language  string  `json:"language"`
	Seed      *uint64 `json:"seed"` // absent: one is drawn
	Number    int     `json:"number"`
	Questions int     `json:"questions"` // 10 if 0
}

// mostPracticeQuestions bounds a practice form.
const mostPracticeQuestions = 100

func (c *apiCall) practiceForm(d *apiDraw) (*quiz.Form, error) {
	if err := c.acts.May(c.ctx(), c.actor, acts.Practise, acts.Target{Person: c.actor}); err != nil {
		return nil, err
	}
	if d.Questions < 0 || d.Questions > mostPracticeQuestions {
		return nil, badJSON("questions", "Ask for 1 to "+strconv.Itoa(mostPracticeQuestions)+" questions.")
	}
	if d.Seed == nil {
		var b [8]byte
		rand.Read(b[:])                             //nolint:errcheck // never fails (crypto/rand)
		seed := binary.BigEndian.Uint64(b[:]) >> 11 // 53 bits: a whole number in any JSON reader
		d.Seed = &seed
	}
	d.Number = max(d.Number, 1)
	return c.acts.Practice(c.ctx(), c.actor, d.Lesson, d.Vehicle, d.Language, *d.Seed, d.Number, d.Questions)
}

func apiPractice(c *apiCall) (apiAnswer, error) {
	var in apiDraw
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	f, err := c.practiceForm(&in)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		Seed   uint64 `json:"seed"`
		Number int    `json:"number"`
		quiz.PublicForm
	}{*in.Seed, in.Number, f.Public()})
}

// apiFeedback is what somebody may learn about a question once it is marked.
type apiFeedback struct {
	ID          string      `json:"id"`
	Key         quiz.Key    `json:"key"`
	Explanation string      `json:"explanation"`
	Source      quiz.Source `json:"source"`
}

func feedbackOf(f *quiz.Form) []apiFeedback {
	out := make([]apiFeedback, len(f.Questions))
	for i, q := range f.Questions {
		out[i] = apiFeedback{q.ID, q.Key, q.Explanation, q.Source}
	}
	return out
}

func apiMarkPractice(c *apiCall) (apiAnswer, error) {
	var in struct {
		apiDraw
		Locale  string                     `json:"locale"`
		Answers map[string]json.RawMessage `json:"answers"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if in.Seed == nil {
		return apiAnswer{}, badJSON("seed", "Send the seed that the form came with.")
	}
	f, err := c.practiceForm(&in.apiDraw)
	if err != nil {
		return apiAnswer{}, err
	}
	answers, err := readAnswers(in.Answers, f)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(struct {
		*quiz.Marks
		Feedback []apiFeedback `json:"feedback"`
	}{quiz.Mark(f, answers, in.Locale), feedbackOf(f)})
}

// readAnswers reads answers by question against their form.
func readAnswers(raw map[string]json.RawMessage, f *quiz.Form) (*quiz.Answers, error) {
	if raw == nil {
		raw = map[string]json.RawMessage{}
	}
	b, err := json.Marshal(map[string]any{"format": "brakewright-answers/1", "answers": raw})
	if err != nil {
		return nil, err
	}
	answers, err := quiz.ReadAnswers(b, f)
	if err != nil {
		return nil, failure{status: http.StatusUnprocessableEntity, code: "bad_answer", field: "answers", text: "This answer cannot be read: " + err.Error() + "."}
	}
	return answers, nil
}

// ---- theory tests ----

// apiTestLine is a test in a list.
type apiTestLine struct {
	ID         string  `json:"id"`
	Apprentice string  `json:"apprentice"`
	Task       string  `json:"task"`
	Blueprint  string  `json:"blueprint"`
	IssuedAt   string  `json:"issued_at"`
	WatchedBy  *string `json:"watched_by"`
	HandedInAt *string `json:"handed_in_at"` // null while open
	Percent    *int    `json:"percent"`
	Passed     *bool   `json:"passed"`
}

func testLine(t *store.Test) apiTestLine {
	l := apiTestLine{ID: t.ID, Apprentice: t.Apprentice, Task: t.Task, Blueprint: t.Blueprint, IssuedAt: timeText(t.IssuedAt), WatchedBy: orNull(t.WatchedBy)}
	if t.HandedIn != "" {
		at := timeText(t.HandedInAt)
		l.HandedInAt, l.Percent, l.Passed = &at, &t.Percent, &t.Passed
	}
	return l
}

// timeText is a time as the API writes it: RFC 3339, UTC, milliseconds.
func timeText(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z") }

// orNull is null in JSON for "".
func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func apiTests(c *apiCall) (apiAnswer, error) {
	person := c.actor
	if id := c.q("apprentice"); id != "" && id != c.actor.ID {
		var err error
		if person, err = c.server.store.Person(c.ctx(), id); err != nil {
			return apiAnswer{}, err
		}
	}
	if err := c.acts.May(c.ctx(), c.actor, acts.SeeTestResult, acts.Target{Person: person, Task: c.q("task")}); err != nil {
		return apiAnswer{}, err
	}
	tests, err := c.server.store.Tests(c.ctx(), store.TestFilter{Apprentice: person.ID, Task: c.q("task"), OpenOnly: c.q("open") == "1"})
	if err != nil {
		return apiAnswer{}, err
	}
	lines := make([]apiTestLine, len(tests))
	for i, t := range tests {
		lines[i] = testLine(t)
	}
	return ok(lines)
}

func apiStartTest(c *apiCall) (apiAnswer, error) {
	var in struct {
		Task    string `json:"task"`
		Vehicle string `json:"vehicle"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	t, f, err := c.acts.StartTest(c.ctx(), c.actor, c.id, in.Task, in.Vehicle)
	if err != nil {
		return apiAnswer{}, err
	}
	e, err := c.server.store.Entry(c.ctx(), t.ID)
	if err != nil {
		return apiAnswer{}, err
	}
	return created(struct {
		ID    string `json:"id"`
		Index int64  `json:"index"`
		Task  string `json:"task"`
		quiz.PublicForm
	}{t.ID, e.Index, t.Task, f.Public()})
}

// apiTest shows a test: while it is open, the form without keys and the answers kept so far; then marks and feedback.
func apiTest(c *apiCall) (apiAnswer, error) {
	t, err := c.acts.Test(c.ctx(), c.actor, c.v("test"))
	if err != nil {
		return apiAnswer{}, err
	}
	out := struct {
		apiTestLine
		Form     quiz.PublicForm `json:"form"`
		Answers  json.RawMessage `json:"answers"`
		Marks    *quiz.Marks     `json:"marks"`
		Feedback []apiFeedback   `json:"feedback,omitempty"` // once handed in
	}{apiTestLine: testLine(t.Test), Form: t.Form.Public(), Answers: json.RawMessage("{}"), Marks: t.Marks}
	if t.Answers != nil {
		var kept struct {
			Answers json.RawMessage `json:"answers"`
		}
		if err := json.Unmarshal(quiz.AnswersJSON(t.Answers), &kept); err != nil {
			return apiAnswer{}, err
		}
		out.Answers = kept.Answers
	}
	if t.Marks != nil {
		out.Feedback = feedbackOf(t.Form)
	}
	return ok(out)
}

// apiAnswerQuestion keeps one answer. The body is the answer itself, or {"answer": …}.
func apiAnswerQuestion(c *apiCall) (apiAnswer, error) {
	b, err := c.readBody()
	if err != nil {
		return apiAnswer{}, err
	}
	var raw json.RawMessage
	if err := decodeStrict(b, &raw); err != nil {
		return apiAnswer{}, err
	}
	var wrapped map[string]json.RawMessage
	if bytes.HasPrefix(raw, []byte("{")) && json.Unmarshal(raw, &wrapped) == nil && len(wrapped) == 1 && wrapped["answer"] != nil {
		raw = wrapped["answer"]
	}
	t, err := c.acts.Test(c.ctx(), c.actor, c.v("test"))
	if err != nil {
		return apiAnswer{}, err
	}
	question := c.v("question")
	if t.Form.Question(question) == nil {
		return apiAnswer{}, failure{status: http.StatusNotFound, code: "unknown_question", text: "There is no such question in this test."}
	}
	answers, err := readAnswers(map[string]json.RawMessage{question: raw}, t.Form)
	if err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.Answer(c.ctx(), c.actor, t.Test.ID, question, answers.Answers[question]); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}

func apiHandIn(c *apiCall) (apiAnswer, error) {
	var in struct{}
	if err := c.readOptional(&in); err != nil {
		return apiAnswer{}, err
	}
	marks, r, err := c.acts.HandIn(c.ctx(), c.actor, c.id, c.v("test"))
	if err != nil {
		return apiAnswer{}, err
	}
	return created(struct {
		store.Receipt
		*quiz.Marks
	}{r, marks})
}

func apiWatchTest(c *apiCall) (apiAnswer, error) {
	var in struct {
		Watch bool `json:"watch"`
	}
	if err := c.read(&in); err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.WatchTest(c.ctx(), c.actor, c.v("test"), in.Watch); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}
