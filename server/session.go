package server

import (
	"context"
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/store"
)

// cookieName is the session cookie's name. The __Host- prefix, which browsers hold to Secure, Path=/ and no Domain, is
// only possible over https.
func (s *Server) cookieName() string {
	if s.secure {
		return "__Host-brakewright"
	}
	return "brakewright"
}

func (s *Server) setSession(w http.ResponseWriter, token string) {
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: token, Path: "/", HttpOnly: true, Secure: s.secure, SameSite: http.SameSiteLaxMode})
}

func (s *Server) dropSession(w http.ResponseWriter) {
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Path: "/", MaxAge: -1, HttpOnly: true, Secure: s.secure, SameSite: http.SameSiteLaxMode})
}

// session finds out who is asking and puts that person into the context. The API has its own way (a bearer token).
func (s *Server) session(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c, err := r.Cookie(s.cookieName())
		if err != nil || c.Value == "" || isAPI(r) || strings.HasPrefix(r.URL.Path, "/static/") {
			next.ServeHTTP(w, r)
			return
		}
		p, err := s.acts.Session(r.Context(), c.Value)
		if err != nil {
			if f := failureOf(err); f.status >= http.StatusInternalServerError {
				s.serveError(w, r, err)
				return
			}
			s.dropSession(w)
			next.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r.WithContext(withPerson(r.Context(), p, c.Value)))
	})
}

// withPerson puts who is asking, and the session's token, into a context.
func withPerson(ctx context.Context, p *store.Person, token string) context.Context {
	return context.WithValue(context.WithValue(ctx, personKey, p), tokenKey, token)
}

// personFrom is who is asking; nil if nobody is logged in.
func personFrom(ctx context.Context) *store.Person {
	p, _ := ctx.Value(personKey).(*store.Person)
	return p
}

// tokenFrom is the token of the session that asks.
func tokenFrom(ctx context.Context) string {
	t, _ := ctx.Value(tokenKey).(string)
	return t
}

// loggedIn sends people who are not logged in to the log-in page, which brings them back, and keeps personal pages out
// of every cache.
func (s *Server) loggedIn(h handler) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		w.Header().Set("Cache-Control", "no-store")
		if personFrom(r.Context()) == nil {
			if r.Method == http.MethodPost && tapPath.MatchString(r.URL.Path) {
				return s.keepTap(w, r)
			}
			if r.Method == http.MethodPost && r.URL.Path == "/programme/write" {
				return s.keepText(w, r)
			}
			to := "/login"
			if r.Method == http.MethodGet && r.URL.Path != "/" {
				to += "?next=" + url.QueryEscape(r.URL.RequestURI())
			} else if r.Method == http.MethodPost {
				to += "?notice=session_ended&next=" + url.QueryEscape(refererPath(r))
			}
			http.Redirect(w, r, to, http.StatusSeeOther)
			return nil
		}
		must, err := s.acts.MustSetPassword(r.Context(), tokenFrom(r.Context()))
		if err != nil {
			return err
		}
		if must && r.URL.Path != passwordPath && r.URL.Path != "/logout" {
			http.Redirect(w, r, passwordPath, http.StatusSeeOther)
			return nil
		}
		return h(w, r)
	}
}

// tapPath is where taps are sent.
var tapPath = regexp.MustCompile(`^/jobs/[^/]+/tap$`)

// keepTap asks who tapped to log in again and keeps the tap meanwhile: in the form, or, with our script, in the browser.
// It is then made by nobody but whose page it was on.
func (s *Server) keepTap(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	b, err := s.base(r, "Log in")
	if err != nil {
		return err
	}
	b.Notice = "Your session had ended. The tap is kept: log in, and it is saved."
	page := newLogInPage(b, strings.TrimSuffix(r.URL.Path, "/tap"), s.config.DemoPeople)
	page.Tap, page.TapPath = r.PostForm.Encode(), r.URL.Path
	return s.render(w, r, http.StatusUnauthorized, page)
}

// sendKeptTap makes the tap that waited for its log-in.
func (s *Server) sendKeptTap(w http.ResponseWriter, r *http.Request, p *store.Person, token string) error {
	kept, err := url.ParseQuery(r.PostForm.Get("tap"))
	path := r.PostForm.Get("tap_path")
	if err != nil || !tapPath.MatchString(path) {
		return failure{status: http.StatusBadRequest, code: "bad_form", cause: err}
	}
	again := r.Clone(withPerson(r.Context(), p, token))
	again.PostForm, again.Form, again.URL.Path, again.URL.RawQuery = kept, kept, path, ""
	again = mux.SetURLVars(again, map[string]string{"job": strings.Split(path, "/")[2]})
	return s.loggedIn(s.tap)(w, again)
}

// localPath keeps a "next" address within this server: a path, never another host.
func localPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}

// refererPath is the page of ours that a form was sent from, so that its sender can go back to it; "/" if unknown.
func refererPath(r *http.Request) string {
	u, err := url.Parse(r.Referer())
	if err != nil || u.Host != r.Host {
		return "/"
	}
	return localPath(u.RequestURI())
}
