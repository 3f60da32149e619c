package server

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

const passwordPath = "/account/password"

func (s *Server) registerAccountRoutes(r *mux.Router) {
	s.get(r, "/account", s.showAccount)
	s.get(r, passwordPath, s.showPassword)
	s.post(r, passwordPath, s.setPassword)
	s.post(r, "/account/key", s.requestKey)
	s.post(r, "/account/key/end", s.endOwnKey)
	s.post(r, "/account/passkey", s.beginPasskey)
	s.post(r, "/account/passkey/{signing}/made", s.madePasskey)
	s.post(r, "/account/passkey/{signing}/signed", s.signedPasskey)
	s.post(r, "/account/sessions/end", s.endSessions)
	s.post(r, "/account/units", s.chooseUnits)
}

// accountPage is one's own log-in, key and sessions.
type accountPage struct {
	BasePage
	Login        string
	Roles        []roleLine
	Severity     bool // whether there is a page of how strict one's records are
	HasKey       bool
	KeySince     moment
	Waiting      bool // a new key waits for a coordinator
	Keys         []keyLineOf
	InForce      []keyLineOf
	PasskeyCount int
	CanPasskey   bool // one can be made at this address
	KeyEndID     string
	Today        string
	Sessions     []sessionLine
}

// keyLineOf is one key of a person, in force or ended.
type keyLineOf struct {
	ID, Name string // the name is the end of its id
	Kind     string // Passphrase, Passkey
	From, To moment
	Why      string
}

func keyLinesOf(c clock, keys []store.Key) []keyLineOf {
	var out []keyLineOf
	for _, k := range slices.Backward(keys) {
		l := keyLineOf{ID: k.ID, Name: short(k.ID), Kind: "Passphrase", From: c.at(k.AddedAt), To: c.at(k.EndedAt)}
		if ledger.IsPasskey(k.Alg) {
			l.Kind = "Passkey"
		}
		if k.Why != "" {
			l.Why = say.KeyEnd(k.Why)
		}
		out = append(out, l)
	}
	return out
}

type roleLine struct {
	Entry, Role, Site string
	From, Until       moment
	Author, Now       bool
}

type sessionLine struct {
	Hash       string
	Here, API  bool
	Begun      moment
	Last, Ends moment
}

func (accountPage) template() string { return "account" }

func newAccountPage(b BasePage, p *store.Person, sites map[string]string, sessions []store.Session, here string) accountPage {
	b.Title = "Your account"
	page := accountPage{BasePage: b, Login: p.Login, Waiting: p.KeyWaiting, HasKey: p.Key != nil}
	if p.Key != nil {
		page.KeySince = b.clock.at(p.Key.AddedAt)
	}
	page.KeyEndID, page.Today = newID(), b.clock.today()
	page.Roles = roleLines(b.clock, p, sites)
	for _, x := range sessions {
		page.Sessions = append(page.Sessions, sessionLine{Hash: x.TokenHash, Here: x.TokenHash == here, API: x.API,
			Begun: b.clock.at(x.CreatedAt), Last: b.clock.at(x.SeenAt), Ends: b.clock.at(x.ExpiresAt)})
	}
	// This browser first.
	slices.SortStableFunc(page.Sessions, func(a, b sessionLine) int {
		if a.Here == b.Here {
			return strings.Compare(b.Last.ISO, a.Last.ISO)
		}
		if a.Here {
			return -1
		}
		return 1
	})
	return page
}

func roleLines(c clock, p *store.Person, sites map[string]string) []roleLine {
	var out []roleLine
	for _, r := range p.Roles {
		site := "all sites"
		if r.Site != "" {
			site = sites[r.Site]
		}
		out = append(out, roleLine{Entry: r.Entry, Role: roleName(r.Role), Site: site, From: c.day(r.From), Until: c.day(r.Until), Author: r.Author, Now: r.Holds(c.today())})
	}
	return out
}

// tokenHash is how the store knows a session.
func tokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

func (s *Server) accountPage(r *http.Request, b BasePage) (accountPage, error) {
	p := personFrom(r.Context())
	sessions, err := s.store.Sessions(r.Context(), p.ID)
	if err != nil {
		return accountPage{}, err
	}
	sites, err := s.nameBook().siteNames(r.Context())
	if err != nil {
		return accountPage{}, err
	}
	page := newAccountPage(b, p, sites, sessions, tokenHash(tokenFrom(r.Context())))
	if page.Severity, err = s.may(r.Context(), p, acts.SeeSeverity, acts.Target{Person: p}); err != nil {
		return page, err
	}
	keys, err := s.store.Keys(r.Context(), p.ID)
	page.Keys = keyLinesOf(b.clock, keys)
	for _, k := range page.Keys {
		if k.Why == "" {
			page.InForce = append(page.InForce, k)
		}
	}
	page.PasskeyCount = len(p.Passkeys)
	_, no := ledger.PasskeySite(s.origin(r))
	page.CanPasskey = no == nil
	return page, err
}

func (s *Server) showAccount(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Your account")
	if err != nil {
		return err
	}
	page, err := s.accountPage(r, b)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page)
}

// welcomePage sets a password, after a one-time code or at will.
type welcomePage struct {
	BasePage
	First bool // came in by a code: no current password is asked
}

func (welcomePage) template() string { return "password" }

func newWelcomePage(b BasePage, first bool) welcomePage {
	b.Title = "Change your password"
	if first {
		b.Title = "Set your password"
	}
	return welcomePage{b, first}
}

func (s *Server) showPassword(w http.ResponseWriter, r *http.Request) error {
	return s.passwordForm(w, r, nil)
}

func (s *Server) setPassword(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	if r.PostForm.Get("next") != r.PostForm.Get("again") {
		return s.passwordForm(w, r, failure{status: http.StatusUnprocessableEntity, code: "password_differs", field: "again"})
	}
	err := s.acts.SetPassword(r.Context(), personFrom(r.Context()), tokenFrom(r.Context()), r.PostForm.Get("current"), r.PostForm.Get("next"))
	if err != nil {
		return s.passwordForm(w, r, err)
	}
	return seeOther(w, r, "/account", "password_set")
}

func (s *Server) passwordForm(w http.ResponseWriter, r *http.Request, problem error) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	first, err := s.acts.MustSetPassword(r.Context(), tokenFrom(r.Context()))
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "current", "next", "again", "password"); err != nil {
			return err
		}
		if b.Errors["password"] != "" {
			b.Errors["next"] = b.Errors["password"]
		}
	}
	return s.render(w, r, status, newWelcomePage(b, first))
}

func (s *Server) requestKey(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	var err error
	if r.PostForm.Get("passphrase") != r.PostForm.Get("again") {
		err = failure{status: http.StatusUnprocessableEntity, code: "passphrase_differs", field: "again"}
	} else {
		err = s.acts.RequestKey(r.Context(), personFrom(r.Context()), r.PostForm.Get("passphrase"))
	}
	if err == nil {
		return seeOther(w, r, "/account", "key_asked")
	}
	b, berr := s.base(r, "Your account")
	if berr != nil {
		return berr
	}
	status, err := b.refused(w, err, "passphrase", "again")
	if err != nil {
		return err
	}
	page, err := s.accountPage(r, b)
	if err != nil {
		return err
	}
	return s.render(w, r, status, page)
}

// endSessions ends one of one's own sessions, or all others.
func (s *Server) endSessions(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	p, here := personFrom(r.Context()), tokenHash(tokenFrom(r.Context()))
	hash := r.PostForm.Get("session")
	if hash == here {
		return s.logOut(w, r)
	}
	if err := s.store.EndSessions(r.Context(), p.ID, hash, here); err != nil {
		return err
	}
	return seeOther(w, r, "/account", "sessions_ended")
}

// endOwnKey ends one's own key: lost, or in other hands.
func (s *Server) endOwnKey(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f, me := r.PostForm, personFrom(r.Context())
	_, err := s.acts.EndKey(r.Context(), me, acts.KeyEnd{ID: f.Get("id"), Person: me.ID, Key: f.Get("key"), Why: f.Get("why"), From: f.Get("from"), Reason: f.Get("reason")})
	if err == nil {
		return seeOther(w, r, "/account#key", "key_ended")
	}
	b, berr := s.base(r, "Your account")
	if berr != nil {
		return berr
	}
	status, err := b.refused(w, err, "why", "from", "reason")
	if err != nil {
		return err
	}
	for _, k := range []string{"why", "from", "reason", "key"} {
		b.set(k, f.Get(k))
	}
	b.set("form", "end")
	page, err := s.accountPage(r, b)
	if err != nil {
		return err
	}
	return s.render(w, r, status, page)
}

// chooseUnits keeps in which units this browser shows figures, and goes back to where it was asked.
func (s *Server) chooseUnits(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	units := r.PostForm.Get("units")
	c := &http.Cookie{Name: unitsCookie, Value: units, Path: "/", MaxAge: 400 * 24 * 3600, HttpOnly: true, Secure: s.secure, SameSite: http.SameSiteLaxMode}
	if units != "si" && units != "us" {
		c.Value, c.MaxAge = "", -1
	}
	http.SetCookie(w, c)
	return seeOther(w, r, localPath(r.PostForm.Get("back")), "units_chosen")
}
