package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/readiness"
	"brakewright/server/acts"
)

func (s *Server) registerUnwatchedRoutes(r *mux.Router) {
	s.get(r, "/jobs/alone", s.showUnwatched)
	s.post(r, "/jobs/alone", s.logUnwatched)
}

// unwatchedPage records a job done alone by somebody cleared.
type unwatchedPage struct {
	BasePage
	Tasks    []choice // for which the person is cleared
	Vehicles []choice
	ID       string
	Today    string
}

var unwatchedFields = []string{"task", "date", "vehicle", "car", "work_order", "parts", "fluid", "notes"}

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
		if status, err = b.refused(w, problem, unwatchedFields...); err != nil {
			return err
		}
		id = r.PostForm.Get("id")
		for _, k := range unwatchedFields {
			b.set(k, r.PostForm.Get(k))
		}
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
	page := unwatchedPage{BasePage: b, ID: id, Today: b.clock.today(), Vehicles: vehicleChoices(p)}
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
	q := acts.UnwatchedRequest{ID: f.Get("id"), Task: f.Get("task"), Date: f.Get("date"), Vehicle: f.Get("vehicle"), Car: f.Get("car"), WorkOrder: f.Get("work_order"),
		Parts: f.Get("parts"), Fluid: f.Get("fluid"), Notes: f.Get("notes")}
	if _, err := s.acts.UnwatchedJob(r.Context(), personFrom(r.Context()), q); err != nil {
		return s.unwatchedForm(w, r, err)
	}
	return seeOther(w, r, "/next", "unwatched_logged")
}
