package server

import (
	"net/http"
	"time"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerOpenJobRoutes(r *mux.Router) {
	s.get(r, "/jobs", s.showOpenJobs)
	s.get(r, "/jobs/number", s.showJobNumber)
	s.post(r, "/jobs/number", s.openJobNumber)
}

// openJobsPage shows every job that is not signed, by how long it has waited: what nobody answered, what runs, what is
// paused, what is done and unsigned. Waiting counts against nobody's standing.
type openJobsPage struct {
	BasePage
	Groups []openJobGroup
	None   bool
}

type openJobGroup struct {
	ID, Title, Hint string
	Rows            []openJobRow
}

type openJobRow struct {
	jobItem
	Number int
	Waits  string // how long
	Long   bool   // longer than it should
}

func (openJobsPage) template() string { return "open_jobs" }

// How long is long: an unanswered request of a day, a job that runs since yesterday, a pause or a missing signature of
// three days.
const (
	longUnanswered = 24 * time.Hour
	longRunning    = 14 * time.Hour
	longPaused     = 72 * time.Hour
	longUnsigned   = 72 * time.Hour
)

func (s *Server) showOpenJobs(w http.ResponseWriter, r *http.Request) error {
	ctx, me := r.Context(), personFrom(r.Context())
	b, err := s.base(r, "Open jobs")
	if err != nil {
		return err
	}
	if err := acts.May(me, acts.SeeBoard, acts.Target{Date: b.clock.today()}); err != nil {
		return err
	}
	b.Wide = true
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	jobs, err := s.acts.Jobs(ctx, me, store.JobFilter{Status: []store.JobStatus{store.JobWaiting, store.JobWatching, store.JobFinished}, Limit: 2000})
	if err != nil {
		return err
	}
	names := s.nameBook()
	groups := []openJobGroup{
		{ID: "unanswered", Title: "Nobody watches yet", Hint: "Waiting never counts against the apprentice."},
		{ID: "unsigned", Title: "Done, not signed"},
		{ID: "running", Title: "Being watched"},
		{ID: "paused", Title: "Paused"},
	}
	for i := len(jobs) - 1; i >= 0; i-- { // the oldest first
		j := jobs[i].Job
		item, err := s.jobItem(ctx, b.clock, p, names, j)
		if err != nil {
			return err
		}
		g, since, long := openGroup(j)
		waits := b.clock.now.Sub(since)
		row := openJobRow{jobItem: item, Number: j.Number, Waits: b.clock.age(since), Long: waits > long}
		groups[g].Rows = append(groups[g].Rows, row)
	}
	page := openJobsPage{BasePage: b, None: len(jobs) == 0}
	for _, g := range groups {
		if len(g.Rows) > 0 {
			page.Groups = append(page.Groups, g)
		}
	}
	return s.render(w, r, http.StatusOK, page)
}

// openGroup is where a job stands in the list, since when, and how long is long there.
func openGroup(j *store.Job) (group int, since time.Time, long time.Duration) {
	switch {
	case j.Status == store.JobWaiting:
		return 0, waitsSince(j), longUnanswered
	case j.Status == store.JobFinished:
		return 1, j.FinishedAt, longUnsigned
	case !j.PausedAt.IsZero():
		return 3, j.PausedAt, longPaused
	}
	return 2, j.StartedAt, longRunning
}

// age says how long something has lasted; what lies ahead has not begun to wait.
func (c clock) age(t time.Time) string {
	d := c.now.Sub(t)
	switch {
	case d < 0:
		return "not yet"
	case d < time.Hour:
		return count(max(1, int(d/time.Minute)), "minute", "minutes")
	case d < 48*time.Hour:
		return count(int(d/time.Hour), "hour", "hours")
	}
	return count(int(d/(24*time.Hour)), "day", "days")
}

// jobNumberPage finds a job by the number on its printed sheet.
type jobNumberPage struct{ BasePage }

func (jobNumberPage) template() string { return "job_number" }

func (s *Server) showJobNumber(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Enter a printed sheet")
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, jobNumberPage{b})
}

func (s *Server) openJobNumber(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	j, err := s.acts.JobByNumber(r.Context(), personFrom(r.Context()), r.PostForm.Get("number"))
	if err == nil {
		return seeOther(w, r, "/jobs/"+j.ID, "")
	}
	b, berr := s.base(r, "Enter a printed sheet")
	if berr != nil {
		return berr
	}
	if f := failureOf(err); f.status == http.StatusNotFound {
		err = failure{status: http.StatusUnprocessableEntity, code: "no_job_number", field: "number"}
	}
	status, err := b.refused(w, err, "number")
	if err != nil {
		return err
	}
	b.set("number", r.PostForm.Get("number"))
	return s.render(w, r, status, jobNumberPage{b})
}
