package server

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/gorilla/mux"
)

func (s *Server) registerLogInRoutes(r *mux.Router) {
	s.openGet(r, "/login", s.showLogIn)
	s.openPost(r, "/login", s.logIn)
	s.openGet(r, "/login/code", s.showLogInCode)
	s.openPost(r, "/login/code", s.logInWithCode)
	s.openPost(r, "/logout", s.logOut)
}

// logInPage asks for log-in name and password.
type logInPage struct {
	BasePage
	Next    string
	Tap     string       // a tap that waits for the log-in, as its form was sent
	TapPath string       // where it goes
	People  []DemoPerson // of a demonstration
}

func (logInPage) template() string { return "login" }

func newLogInPage(b BasePage, next string, people []DemoPerson) logInPage {
	b.Title = "Log in"
	if !b.Demo {
		people = nil
	}
	return logInPage{BasePage: b, Next: localPath(next), People: people}
}

func (s *Server) showLogIn(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Log in")
	if err != nil {
		return err
	}
	if b.Person != nil {
		http.Redirect(w, r, localPath(r.URL.Query().Get("next")), http.StatusSeeOther)
		return nil
	}
	return s.render(w, r, http.StatusOK, newLogInPage(b, r.URL.Query().Get("next"), s.config.DemoPeople))
}

func (s *Server) logIn(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	token, p, err := s.acts.LogIn(r.Context(), r.PostForm.Get("login"), r.PostForm.Get("password"), peer(r), false)
	if err == nil {
		s.endOldSession(r)
		s.setSession(w, token)
		if r.PostForm.Get("tap") != "" {
			return s.sendKeptTap(w, r, p, token)
		}
		http.Redirect(w, r, localPath(r.PostForm.Get("next")), http.StatusSeeOther)
		return nil
	}
	s.log.InfoContext(r.Context(), "log-in refused", "request", requestID(r.Context()), "code", failureOf(err).code)
	b, berr := s.base(r, "Log in")
	if berr != nil {
		return berr
	}
	status, err := b.refused(w, err, "login", "password")
	if err != nil {
		return err
	}
	b.set("login", strings.TrimSpace(r.PostForm.Get("login")))
	page := newLogInPage(b, r.PostForm.Get("next"), s.config.DemoPeople)
	page.Tap, page.TapPath = r.PostForm.Get("tap"), r.PostForm.Get("tap_path")
	return s.render(w, r, status, page)
}

// endOldSession ends the session that the browser had, if any: nobody keeps two in one browser.
func (s *Server) endOldSession(r *http.Request) {
	if old := tokenFrom(r.Context()); old != "" {
		if err := s.acts.LogOut(r.Context(), old); err != nil {
			s.log.WarnContext(r.Context(), "old session not ended", "error", err.Error())
		}
	}
}

// logInCodePage asks for a one-time code.
type logInCodePage struct{ BasePage }

func (logInCodePage) template() string { return "login_code" }

func (s *Server) showLogInCode(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Log in with a one-time code")
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, logInCodePage{b})
}

func (s *Server) logInWithCode(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	token, _, err := s.acts.LogInWithCode(r.Context(), r.PostForm.Get("login"), r.PostForm.Get("code"), peer(r))
	if err == nil {
		s.endOldSession(r)
		s.setSession(w, token)
		http.Redirect(w, r, passwordPath, http.StatusSeeOther)
		return nil
	}
	b, berr := s.base(r, "Log in with a one-time code")
	if berr != nil {
		return berr
	}
	status, err := b.refused(w, err, "login", "code")
	if err != nil {
		return err
	}
	b.set("login", strings.TrimSpace(r.PostForm.Get("login")))
	return s.render(w, r, status, logInCodePage{b})
}

func (s *Server) logOut(w http.ResponseWriter, r *http.Request) error {
	if t := tokenFrom(r.Context()); t != "" {
		if err := s.acts.LogOut(r.Context(), t); err != nil {
			return err
		}
	}
	s.dropSession(w)
	// What this browser keeps of pages already seen goes too: the next person on a shared tablet must not find it. Taps that
	// wait for a connection stay; only who made them can send them.
	w.Header().Set("Clear-Site-Data", `"cache"`)
	to := "/login"
	if next := localPath(r.PostFormValue("next")); next != "/" {
		to += "?next=" + url.QueryEscape(next)
	}
	return seeOther(w, r, to, "logged_out")
}
