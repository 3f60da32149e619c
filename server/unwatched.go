package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/readiness"
)

func (s *Server) registerUnwatchedRoutes(r *mux.Router) {
	s.get(r, "/jobs/alone", s.showUnwatched)
	s.post(r, "/jobs/alone", s.logUnwatched)
}

// unwatchedPage records a job done alone by somebody cleared.
type unwatchedPage struct {
	BasePage
	Tasks []choice // for which the person is cleared
	ID    string
	Today string
}

func (unwatchedPage) template() string { return "unwatched" }

func (s *Server) showUnwatched(w http.ResponseWriter, r *http.Request) error {
	return s.unwatchedForm(w, r, nil)
}

func (s *Server) unwatchedForm(w http.ResponseWriter, r *http.Request, problem error) error {
	b, err := s.base(r, "Record a job done alone")
	if err != nil {
		return err
	}
	b.set("date", b.clock.today())
	status, id := http.StatusOK, newID()
	if problem != nil {
		if status, err = b.refused(w, problem, "task", "date"); err != nil {
			return err
		}
		id = r.PostForm.Get("id")
		b.set("task", r.PostForm.Get("task"))
		b.set("date", r.PostForm.Get("date"))
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	me := personFrom(r.Context())
	verdicts, err := s.acts.Standings(r.Context(), me, me.ID)
	if err != nil {
		return err
	}
	page := unwatchedPage{BasePage: b, ID: id, Today: b.clock.today()}
	for _, v := range verdicts {
		if v.Standing == readiness.Cleared {
			page.Tasks = append(page.Tasks, choice{v.Task, taskTitle(p, v.Task)})
		}
	}
	return s.render(w, r, status, page)
}

func (s *Server) logUnwatched(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	if _, err := s.acts.UnwatchedJob(r.Context(), personFrom(r.Context()), f.Get("id"), f.Get("task"), f.Get("date")); err != nil {
		return s.unwatchedForm(w, r, err)
	}
	return seeOther(w, r, "/next", "unwatched_logged")
}
