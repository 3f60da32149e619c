package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
)

func (s *Server) registerKeyRoutes(r *mux.Router) {
	s.get(r, "/keys", s.showKeys)
	s.post(r, "/keys", s.confirmKeys)
}

// keysPage lists the signing keys that wait for a coordinator's signature.
type keysPage struct {
	BasePage
	Waiting []keyLine
}

type keyLine struct {
	ID, Name, Roles string
	Passkey         bool
	Old             bool // takes the place of a key in force
}

func (keysPage) template() string { return "keys" }

func (s *Server) showKeys(w http.ResponseWriter, r *http.Request) error {
	return s.keysForm(w, r, nil)
}

func (s *Server) keysForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx := r.Context()
	b, err := s.base(r, "Keys")
	if err != nil {
		return err
	}
	if err := s.acts.May(ctx, personFrom(ctx), acts.ManageKeys, acts.Target{}); err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "persons", "passphrase"); err != nil {
			return err
		}
		b.set("person", r.PostForm["person"]...)
	}
	waiting, err := s.acts.WaitingKeys(ctx, personFrom(ctx))
	if err != nil {
		return err
	}
	page := keysPage{BasePage: b}
	for _, k := range waiting {
		p := k.Person
		l := keyLine{ID: p.ID, Name: personName(p), Passkey: k.Passkey, Old: p.Key != nil && !k.Passkey}
		for _, x := range p.Roles {
			if x.Holds(b.clock.today()) {
				if l.Roles != "" {
					l.Roles += ", "
				}
				l.Roles += x.Role
			}
		}
		page.Waiting = append(page.Waiting, l)
	}
	return s.render(w, r, status, page)
}

func (s *Server) confirmKeys(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	if err := s.acts.ConfirmKeys(r.Context(), personFrom(r.Context()), r.PostForm["person"], r.PostForm.Get("passphrase")); err != nil {
		return s.keysForm(w, r, err)
	}
	return seeOther(w, r, "/keys", "keys_confirmed")
}
