package server

import (
	"net/http"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
)

func (s *Server) registerCheckRoutes(r *mux.Router) {
	s.get(r, "/checks/new", s.showSpotCheck)
	s.post(r, "/checks/new", s.spotCheck)
}

// spotCheckPage is a supervisor's look at finished work.
type spotCheckPage struct {
	BasePage
	ID          string
	Apprentices []choice
	Tasks       []choice
	Findings    []choice
	Decide      bool
}

func (spotCheckPage) template() string { return "spot_check" }

var spotCheckFields = []string{"apprentice", "task", "of", "finding", "car", "work_order", "notes", "passphrase", "decision", "decision_reason"}

func (s *Server) showSpotCheck(w http.ResponseWriter, r *http.Request) error {
	return s.spotCheckForm(w, r, nil)
}

func (s *Server) spotCheckForm(w http.ResponseWriter, r *http.Request, problem error) error {
	b, err := s.base(r, "Spot check")
	if err != nil {
		return err
	}
	if !acts.Holds(personFrom(r.Context()), acts.Supervisor, b.clock.today()) {
		return &acts.Refusal{Code: "not_allowed", Status: http.StatusForbidden, Args: map[string]string{"why": "no_role", "act": string(acts.CheckWork)}}
	}
	f, status, id := r.URL.Query(), http.StatusOK, newID()
	if problem != nil {
		if status, err = b.refused(w, problem, spotCheckFields...); err != nil {
			return err
		}
		f, id = r.PostForm, r.PostForm.Get("id")
	}
	for _, k := range spotCheckFields {
		if k != "passphrase" && f.Has(k) {
			b.set(k, f.Get(k))
		}
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	page := spotCheckPage{BasePage: b, ID: id, Tasks: taskChoices(p), Decide: problem != nil && failureOf(problem).code == "decision_needed" || f.Get("decide") != ""}
	if page.Apprentices, err = s.apprenticesOf(r.Context()); err != nil {
		return err
	}
	for _, x := range []string{"sound", "flaw", "unsafe"} {
		page.Findings = append(page.Findings, choice{x, findingNames[x]})
	}
	return s.render(w, r, status, page)
}

func (s *Server) spotCheck(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	q := acts.SpotCheckRequest{ID: f.Get("id"), Apprentice: f.Get("apprentice"), Task: f.Get("task"), Of: f.Get("of"), Finding: f.Get("finding"),
		Car: strings.TrimSpace(f.Get("car")), WorkOrder: strings.TrimSpace(f.Get("work_order")), Notes: f.Get("notes"), Passphrase: f.Get("passphrase"), Decision: decisionFrom(f.Get)}
	if q.Apprentice == "" {
		return s.spotCheckForm(w, r, failure{status: http.StatusUnprocessableEntity, code: "apprentice_needed", field: "apprentice"})
	}
	if _, err := s.acts.SpotCheck(r.Context(), personFrom(r.Context()), q); err != nil {
		return s.spotCheckForm(w, r, err)
	}
	return seeOther(w, r, taskPath(q.Apprentice, q.Task), "checked")
}

// decisionFrom reads what was decided on a clearance, nil if nothing was.
func decisionFrom(get func(string) string) *acts.CriticalDecision {
	if get("decision") == "" {
		return nil
	}
	return &acts.CriticalDecision{StandDown: get("decision") == "stand_down", Reason: get("decision_reason")}
}
