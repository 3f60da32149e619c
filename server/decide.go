package server

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
)

func (s *Server) registerDecisionRoutes(r *mux.Router) {
	s.post(r, "/people/{person}/tasks/{task}/clear", s.clear)
	s.post(r, "/people/{person}/tasks/{task}/stand-down", s.standDown)
	s.post(r, "/people/{person}/tasks/{task}/restore", s.restore)
	s.post(r, "/stand-downs/{entry}/sign", s.signStandDown)
}

// decisionFields are the fields of the three forms of a decision page.
var decisionFields = []string{"layouts", "holds", "until", "site", "reason", "passphrase", "waiver_gates", "waiver_until", "second_login", "second_passphrase",
	"stand_reason", "stand_passphrase", "restore_reason", "restore_passphrase"}

// decisionRefused shows the page again with the form filled in. prefix is that of the form's fields.
func (s *Server) decisionRefused(w http.ResponseWriter, r *http.Request, prefix string, problem error) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	f := failureOf(problem)
	if prefix != "" && (f.field == "reason" || f.field == "passphrase") {
		f.field = prefix + f.field
	}
	status, err := b.refused(w, f, decisionFields...)
	if err != nil {
		return err
	}
	b.Form = url.Values{}
	for k, v := range r.PostForm {
		if !strings.Contains(k, "passphrase") {
			b.Form[k] = v
		}
	}
	b.set("form", prefix+"form")
	v := mux.Vars(r)
	page, err := s.decisionPage(r.Context(), b, v["person"], v["task"])
	if err != nil {
		return err
	}
	return s.render(w, r, status, page)
}

func (s *Server) clear(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	v, f := mux.Vars(r), r.PostForm
	q := acts.ClearanceRequest{ID: f.Get("id"), Apprentice: v["person"], Task: v["task"], Layouts: f["layouts"], Holds: f["holds"], Until: f.Get("until"), Site: f.Get("site"),
		Reason: strings.TrimSpace(f.Get("reason")), Passphrase: f.Get("passphrase"), WaiverGates: f["waiver_gates"], WaiverUntil: f.Get("waiver_until"),
		SecondLogin: strings.TrimSpace(f.Get("second_login")), SecondPassphrase: f.Get("second_passphrase"), Seen: f.Get("seen")}
	if _, err := s.acts.Clear(r.Context(), personFrom(r.Context()), q); err != nil {
		return s.decisionRefused(w, r, "", err)
	}
	return seeOther(w, r, taskPath(v["person"], v["task"]), "cleared")
}

// allTasks is the value of the stand-down form's box for every task.
const allTasks = "all"

func (s *Server) standDown(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	v, f := mux.Vars(r), r.PostForm
	task := v["task"]
	if f.Get("reach") == allTasks {
		task = ""
	}
	_, err := s.acts.StandDown(r.Context(), personFrom(r.Context()), f.Get("id"), v["person"], task, strings.TrimSpace(f.Get("stand_reason")), f.Get("stand_passphrase"))
	if err != nil {
		return s.decisionRefused(w, r, "stand_", err)
	}
	return seeOther(w, r, taskPath(v["person"], v["task"]), "stood_down")
}

func (s *Server) restore(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	v, f := mux.Vars(r), r.PostForm
	task := v["task"]
	if f.Get("reach") == allTasks {
		task = ""
	}
	_, err := s.acts.Restore(r.Context(), personFrom(r.Context()), f.Get("id"), v["person"], task, strings.TrimSpace(f.Get("restore_reason")), f.Get("restore_passphrase"))
	if err != nil {
		return s.decisionRefused(w, r, "restore_", err)
	}
	return seeOther(w, r, taskPath(v["person"], v["task"]), "restored")
}

// signStandDown signs a stand-down from the waiting page.
func (s *Server) signStandDown(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	entry := mux.Vars(r)["entry"]
	if _, err := s.acts.SignStandDown(r.Context(), personFrom(r.Context()), r.PostForm.Get("id"), entry, r.PostForm.Get("passphrase")); err != nil {
		b, berr := s.base(r, "Waiting")
		if berr != nil {
			return berr
		}
		f := failureOf(err)
		if f.field == "passphrase" {
			f.field = "passphrase-" + entry
		}
		status, err := b.refused(w, f, "passphrase-"+entry)
		if err != nil {
			return err
		}
		page, err := s.waitingPage(r.Context(), b)
		if err != nil {
			return err
		}
		return s.render(w, r, status, page)
	}
	return seeOther(w, r, "/waiting", "stand_down_signed")
}
