package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/server/say"
)

// duePage lists the people whose records need not be kept any longer.
type duePage struct {
	BasePage
	People []dueLine
	Years  int
}

type dueLine struct {
	Path, Name      string
	Last, KeptUntil moment
}

func (duePage) template() string { return "due" }

func (s *Server) showDue(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	me := personFrom(ctx)
	if err := s.acts.May(ctx, me, acts.ManageRoster, acts.Target{}); err != nil {
		return err
	}
	b, err := s.base(r, "Records that need not be kept")
	if err != nil {
		return err
	}
	due, err := s.acts.DueForErasure(ctx, me)
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	page := duePage{BasePage: b, Years: p.Policy.RetentionYears}
	for _, e := range due {
		page.People = append(page.People, dueLine{"/people/" + e.Person.ID + "/erase", personName(e.Person), b.clock.day(e.LastEntry), b.clock.day(e.KeepUntil)})
	}
	return s.render(w, r, http.StatusOK, page)
}

// erasePage says what erasing somebody destroys and what it cannot reach, and asks for the signature.
type erasePage struct {
	BasePage
	Who, Login, Path string
	KeptUntil        moment
	Years            int
	Against          []string
	Erased           bool
}

func (erasePage) template() string { return "erase" }

func (s *Server) showErase(w http.ResponseWriter, r *http.Request) error {
	return s.eraseForm(w, r, nil)
}

func (s *Server) eraseForm(w http.ResponseWriter, r *http.Request, failed error) error {
	ctx := r.Context()
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if failed != nil {
		if status, err = b.refused(w, failed, "confirm", "passphrase"); err != nil {
			return err
		}
	}
	e, err := s.acts.Erasable(ctx, personFrom(ctx), mux.Vars(r)["person"])
	if err != nil {
		return err
	}
	page := erasePage{BasePage: b, Who: personName(e.Person), Login: e.Person.Login, Path: "/people/" + e.Person.ID, KeptUntil: b.clock.day(e.KeepUntil), Years: e.Years, Erased: e.Person.Erased}
	page.Title = "Erase " + page.Who
	if page.Erased {
		page.Title = "Erased"
	}
	for _, x := range e.Against {
		page.Against = append(page.Against, say.Refusal(x.Code, x.Args))
	}
	return s.render(w, r, status, page)
}

func (s *Server) erase(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	ctx, id := r.Context(), mux.Vars(r)["person"]
	if _, err := s.acts.Erase(ctx, personFrom(ctx), "", id, r.PostForm.Get("confirm"), r.PostForm.Get("passphrase")); err != nil {
		return s.eraseForm(w, r, err)
	}
	return seeOther(w, r, "/people/"+id+"/erase", "erased")
}
