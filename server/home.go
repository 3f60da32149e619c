package server

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (s *Server) registerHomeRoutes(r *mux.Router) {
	s.get(r, "/", s.showFirst)
	s.get(r, "/next", s.showNext)
	s.get(r, "/waiting", s.showWaiting)
}

// showFirst sends people to where their day begins.
func (s *Server) showFirst(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	http.Redirect(w, r, firstPath(personFrom(r.Context()), b.clock.today()), http.StatusSeeOther)
	return nil
}

// ---- apprentice: what next ----

// nextPage is an apprentice's first page: the next act, what is open, and where every task stands.
type nextPage struct {
	BasePage
	Lead   *nextAct  // nil where everything is cleared
	Others []nextAct // what else can be done now
	Tests  []openTest
	Jobs   []jobItem
	Tasks  []taskLine
	Left   bool
	Signed []entryLine // about them, to be countersigned or disputed

	Changed []string // lessons with changes to read and confirm
}

func (nextPage) template() string { return "next" }

// nextAct is something to do, with the way to it.
type nextAct struct {
	Task, Text string
	Items      []string // that the text ends in, where they are many
	Path, Go   string   // "" where there is nothing to open
}

type openTest struct {
	Path, Task string
	Begun      moment
	Watched    string // name of who watches, or ""
}

// taskLine is one task's standing in words.
type taskLine struct {
	Path, Title string
	Standing    readiness.Standing
	Word        string
	Line        string // the first thing that is missing, or since when it is cleared
	Until       string
	Warnings    []string
}

// jobItem is a job in a list.
type jobItem struct {
	ID, Path         string
	Apprentice, Task string
	Car, Site, Bay   string
	Status           string
	Words            string
	Supervisor       string
	Asked            moment
	Ago              string
	Old              bool // has waited longer than a day
	Note             string
	Promise          string // when it is wanted and who will watch, "" if it is open to all, now
	Mine             bool
	Outcome          string
	WorkOrder        string
	Setting          string
}

// newTaskLines says where an apprentice stands with each task.
func newTaskLines(p *curriculum.Programme, c clock, apprentice string, verdicts []readiness.Verdict) []taskLine {
	var out []taskLine
	for _, v := range verdicts {
		l := taskLine{Path: taskPath(apprentice, v.Task), Title: taskTitle(p, v.Task), Standing: v.Standing, Word: say.Standing(v.Standing)}
		switch {
		case v.Standing == readiness.Cleared && v.Notes.ClearedUntil != "":
			l.Line = "Since " + c.day(v.Notes.ClearedSince).Text + ", until " + c.day(v.Notes.ClearedUntil).Text + "."
		case v.Standing == readiness.Cleared && v.Notes.LapsesOn != "":
			l.Line = "Since " + c.day(v.Notes.ClearedSince).Text + ". Lapses on " + c.day(v.Notes.LapsesOn).Text + " if the task is not done before."
		case len(v.Next) > 0:
			l.Line = reasonText(p, c, v.Next[0])
		}
		for _, w := range v.Notes.Warnings {
			l.Warnings = append(l.Warnings, reasonText(p, c, w))
		}
		out = append(out, l)
	}
	return out
}

func taskPath(person, task string) string {
	return "/people/" + url.PathEscape(person) + "/tasks/" + url.PathEscape(task)
}

// newNextActs lists what can be done, one act a task, tasks in the programme's order, and what has to wait for something else.
// asked holds the open jobs by task: what was asked for already is not asked for again.
func newNextActs(p *curriculum.Programme, c clock, apprentice string, verdicts []readiness.Verdict, asked map[string]string) (now, later []nextAct) {
	for _, v := range verdicts {
		if len(v.Next) == 0 || v.Standing == readiness.Cleared {
			continue
		}
		n := v.Next[0]
		a := nextAct{Task: taskTitle(p, v.Task), Text: reasonText(p, c, n)}
		a.Path, a.Go = nextWay(apprentice, v.Task, n)
		if job := asked[v.Task]; job != "" && a.Go == askForJob {
			a.Path, a.Go = job, "See the job that you asked for"
		}
		if n.Code == "get_cleared_for" || n.Code == "do_induction" || n.Code == "wait_for_restore" {
			later = append(later, a)
		} else {
			now = append(now, a)
		}
	}
	return now, later
}

// seeReasons is the button of a next act that is done on no page of its own.
const seeReasons = "See the reasons"

// askForJob is the button of what only a watched job brings about.
const askForJob = "Ask for a watched job"

// nextWay is the page where a next act is done, and the words of its button.
func nextWay(apprentice, task string, n readiness.Reason) (path, words string) {
	switch n.Code {
	case "read_lesson_again":
		return changePath(n.Args["lesson"]), "Read what changed"
	case "read_lesson":
		return "/lessons/" + url.PathEscape(n.Args["lesson"]), "Open the lesson"
	case "take_theory_test", "take_watched_theory_test":
		return "/tests/start?task=" + url.QueryEscape(task), "Go to the theory test"
	case "watched_jobs", "other_supervisors", "other_layouts", "steps_unaided":
		return "/jobs/ask?task=" + url.QueryEscape(task), askForJob
	}
	if n.Code == "ask_for_decision" {
		return taskPath(apprentice, task) + "#deciders", "See who decides"
	}
	return taskPath(apprentice, task), seeReasons
}

func (s *Server) showNext(w http.ResponseWriter, r *http.Request) error {
	ctx, me := r.Context(), personFrom(r.Context())
	b, err := s.base(r, "What next")
	if err != nil {
		return err
	}
	if err := onlyApprentices(me); err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	verdicts, err := s.acts.Standings(ctx, me, me.ID)
	if err != nil {
		return err
	}
	names := s.nameBook()
	tests, err := s.store.Tests(ctx, store.TestFilter{Apprentice: me.ID, OpenOnly: true})
	if err != nil {
		return err
	}
	page := nextPage{BasePage: b, Tasks: newTaskLines(p, b.clock, me.ID, verdicts), Left: acts.Left(me, b.clock.today())}
	if page.Signed, err = s.toCountersign(ctx, b.clock, p, names, me.ID); err != nil {
		return err
	}
	for _, t := range tests {
		watched := ""
		if t.WatchedBy != "" {
			if watched, err = names.name(ctx, t.WatchedBy); err != nil {
				return err
			}
		}
		page.Tests = append(page.Tests, openTest{Path: "/tests/" + t.ID, Task: taskTitle(p, t.Task), Begun: b.clock.at(t.IssuedAt), Watched: watched})
	}
	jobs, err := s.store.Jobs(ctx, store.JobFilter{Apprentice: me.ID, Status: []store.JobStatus{store.JobWaiting, store.JobWatching, store.JobFinished, store.JobWithdrawn}, Limit: 12})
	if err != nil {
		return err
	}
	asked := map[string]string{}
	for _, j := range jobs {
		if j.Status != store.JobWithdrawn {
			asked[j.Task] = "/jobs/" + j.ID
		}
		if j.Status == store.JobWithdrawn && (j.Note == "" || b.clock.now.Sub(j.CreatedAt).Hours() > 72) {
			continue
		}
		l, err := s.jobItem(ctx, b.clock, p, names, j)
		if err != nil {
			return err
		}
		page.Jobs = append(page.Jobs, l)
	}
	changed, err := s.acts.ChangesToConfirm(ctx, me, me.ID)
	if err != nil {
		return err
	}
	warnOfChanges(p, b.clock, page.Tasks, verdicts, changed)
	page.Changed = changeWarnings(b.clock, changed)
	switch now, later := newNextActs(p, b.clock, me.ID, verdicts, asked); {
	case page.Left:
	case len(now) > 0:
		page.Lead, page.Others = &now[0], now[1:]
	case len(later) > 0:
		page.Lead = &later[0]
	}
	return s.render(w, r, http.StatusOK, page)
}

// onlyApprentices refuses who never was an apprentice: there is no standing to show.
func onlyApprentices(p *store.Person) error {
	for _, r := range p.Roles {
		if r.Role == acts.Apprentice {
			return nil
		}
	}
	return &acts.Refusal{Code: "not_allowed", Status: http.StatusForbidden, Args: map[string]string{"why": "no_role", "act": string(acts.SeeStanding)}}
}

// jobItem shows a job in a list.
func (s *Server) jobItem(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, j *store.Job) (jobItem, error) {
	apprentice, err := names.name(ctx, j.Apprentice)
	if err != nil {
		return jobItem{}, err
	}
	l := jobItem{ID: j.ID, Path: "/jobs/" + j.ID, Apprentice: apprentice, Task: taskTitle(p, j.Task), Car: carTitle(p, j), Bay: j.Bay, Status: string(j.Status),
		Words: wordOr(jobStatusNames, string(j.Status)), Asked: c.at(j.CreatedAt), Ago: c.ago(j.CreatedAt), Note: j.Note, WorkOrder: j.WorkOrder, Setting: wordOr(settingNames, j.Setting)}
	l.Old = c.now.Sub(waitsSince(j)).Hours() > 24
	if j.Supervisor != "" {
		if l.Supervisor, err = names.name(ctx, j.Supervisor); err != nil {
			return jobItem{}, err
		}
	}
	if !j.PausedAt.IsZero() && j.Status == store.JobWatching {
		l.Words = "Paused since " + c.at(j.PausedAt).Text
	}
	if l.Promise, err = promise(ctx, c, names, j); err != nil {
		return jobItem{}, err
	}
	if me := personFrom(ctx); me != nil {
		l.Mine = j.Supervisor == me.ID
	}
	l.Site, err = names.site(ctx, j.Site)
	return l, err
}

// waitsSince is the time from which a job's waiting counts: a planned one waits from its time on.
func waitsSince(j *store.Job) time.Time {
	if j.PlannedAt.After(j.CreatedAt) {
		return j.PlannedAt
	}
	return j.CreatedAt
}

// promise says when a waiting job is wanted and who will watch it.
func promise(ctx context.Context, c clock, names *nameBook, j *store.Job) (string, error) {
	if j.Status != store.JobWaiting {
		return "", nil
	}
	var parts []string
	if !j.PlannedAt.IsZero() {
		parts = append(parts, "For "+c.at(j.PlannedAt).Text)
	}
	if j.AskedOf != "" {
		name, err := names.name(ctx, j.AskedOf)
		if err != nil {
			return "", err
		}
		if j.AcceptedAt.IsZero() {
			parts = append(parts, "passed on to "+name)
		} else {
			parts = append(parts, name+" will watch")
		}
	}
	return capital(strings.Join(parts, "; ")), nil
}

// ---- supervisor: waiting ----

// waitingPage is a supervisor's first page: everything that waits for them.
type waitingPage struct {
	BasePage
	Asked      []jobItem // for a supervisor
	Mine       []jobItem // being watched by me
	Others     []jobItem // being watched by others
	Unsigned   []jobItem // finished by me
	SignPath   string    // all of them together
	Tests      []waitingTest
	StandDowns []unsignedStandDown
	Due        []taskLine // ready for a decision, by the apprentice's name and task
	Matters    int        // that one may settle or review
	Given      int        // of these, given to the person who asks
	NoKey      bool       // no signing key in force
	KeyWaiting bool
	Nothing    bool
}

type waitingTest struct {
	ID, Apprentice, Task string
	Begun                moment
	Mine                 bool
}

type unsignedStandDown struct {
	Entry, Apprentice, Task, Path string
	On                            moment
	Reason                        string
}

func (waitingPage) template() string { return "waiting" }

func (s *Server) showWaiting(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Waiting")
	if err != nil {
		return err
	}
	page, err := s.waitingPage(r.Context(), b)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page)
}

func (s *Server) waitingPage(ctx context.Context, b BasePage) (waitingPage, error) {
	me := personFrom(ctx)
	page := waitingPage{BasePage: b, NoKey: !me.CanSign(), KeyWaiting: me.KeyWaiting}
	if !acts.Holds(me, acts.Supervisor, b.clock.today()) {
		return page, &acts.Refusal{Code: "not_allowed", Status: http.StatusForbidden, Args: map[string]string{"why": "no_role", "act": string(acts.WatchJob)}}
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return page, err
	}
	names := s.nameBook()
	jobs, err := s.acts.Jobs(ctx, me, store.JobFilter{Status: []store.JobStatus{store.JobWaiting, store.JobWatching, store.JobFinished}, Limit: 500})
	if err != nil {
		return page, err
	}
	sign := url.Values{}
	for i := len(jobs) - 1; i >= 0; i-- { // the longest waiting first
		j := jobs[i].Job
		if !jobs[i].MayWatch && j.Supervisor != me.ID {
			continue
		}
		l, err := s.jobItem(ctx, b.clock, p, names, j)
		if err != nil {
			return page, err
		}
		switch {
		case j.Status == store.JobWaiting:
			page.Asked = append(page.Asked, l)
		case j.Status == store.JobWatching && l.Mine:
			page.Mine = append(page.Mine, l)
		case j.Status == store.JobWatching:
			page.Others = append(page.Others, l)
		case j.Status == store.JobFinished && l.Mine:
			page.Unsigned = append(page.Unsigned, l)
			sign.Add("job", j.ID)
		}
	}
	if len(page.Unsigned) > 0 {
		page.SignPath = "/sign?" + sign.Encode()
	}
	if page.Tests, err = s.testsToWatch(ctx, b.clock, p, names); err != nil {
		return page, err
	}
	if page.StandDowns, err = s.unsignedStandDowns(ctx, b.clock, p, names); err != nil {
		return page, err
	}
	due, err := s.acts.DueDecisions(ctx, me)
	if err != nil {
		return page, err
	}
	for _, d := range due {
		page.Due = append(page.Due, taskLine{Path: taskPath(d.Apprentice.ID, d.Verdict.Task) + "#decide", Title: personName(d.Apprentice) + ": " + taskTitle(p, d.Verdict.Task),
			Standing: d.Verdict.Standing, Word: say.Standing(d.Verdict.Standing)})
	}
	matters, err := s.acts.Matters(ctx, me)
	if err != nil {
		return page, err
	}
	for _, m := range append(matters.Disputes, matters.StandDowns...) {
		if m.May {
			page.Matters++
		}
		if m.Owner != nil && m.Owner.ID == me.ID {
			page.Given++
		}
	}
	page.Nothing = len(page.Due)+page.Matters+len(page.Asked)+len(page.Mine)+len(page.Others)+len(page.Unsigned)+len(page.Tests)+len(page.StandDowns) == 0
	return page, nil
}

// testsToWatch lists the open theory tests that the supervisor may watch.
func (s *Server) testsToWatch(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook) ([]waitingTest, error) {
	me := personFrom(ctx)
	tests, err := s.store.Tests(ctx, store.TestFilter{OpenOnly: true})
	if err != nil {
		return nil, err
	}
	var out []waitingTest
	for _, t := range tests {
		who, err := names.person(ctx, t.Apprentice)
		if err != nil {
			return nil, err
		}
		if who == nil || t.WatchedBy != "" && t.WatchedBy != me.ID {
			continue
		}
		if ok, err := s.may(ctx, me, acts.WatchATest, acts.Target{Person: who, Task: t.Task}); err != nil {
			return nil, err
		} else if ok {
			out = append(out, waitingTest{ID: t.ID, Apprentice: personName(who), Task: taskTitle(p, t.Task), Begun: c.at(t.IssuedAt), Mine: t.WatchedBy == me.ID})
		}
	}
	return out, nil
}

// unsignedStandDowns lists the stand-downs that the person ordered and has not signed.
func (s *Server) unsignedStandDowns(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook) ([]unsignedStandDown, error) {
	me := personFrom(ctx)
	entries, err := s.store.Entries(ctx, store.EntryFilter{Newest: true, Limit: 200, Actor: me.ID, Types: []ledger.Type{ledger.StandDownOrdered, ledger.StandDownSigned}})
	if err != nil {
		return nil, err
	}
	signed := map[string]bool{}
	var out []unsignedStandDown
	for _, e := range entries { // newest first: a signature is met before what it signs
		switch x := payloadOf(e).(type) {
		case *ledger.StandDownSignedPayload:
			signed[x.StandDown] = true
		case *ledger.StandDownPayload:
			if signed[e.Entry.Body.ID] || len(e.Entry.Signatures) > 0 {
				continue
			}
			name, err := names.name(ctx, e.Entry.Body.Subject)
			if err != nil {
				return nil, err
			}
			task, path := "all tasks", "/people/"+e.Entry.Body.Subject
			if x.Task != "" {
				task, path = taskTitle(p, x.Task), taskPath(e.Entry.Body.Subject, x.Task)
			}
			out = append(out, unsignedStandDown{Entry: e.Entry.Body.ID, Apprentice: name, Task: task, Path: path, On: c.ms(e.Entry.Body.HappenedAt), Reason: e.Personal["reason"]})
		}
	}
	return out, nil
}
