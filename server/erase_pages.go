package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
)

// duePage lists the people of whom a kind of record need not be kept any longer.
type duePage struct {
	BasePage
	People  []dueLine // may be erased
	Waiting []dueLine // something stands against it
	Policy  []yearsLine
}

type dueLine struct {
	Path, Name      string
	Last, KeptUntil moment
	Kinds           []kindLine
	Against         []string
}

// kindLine is one kind of somebody's records.
type kindLine struct {
	Name        string
	Years       int
	Last, Until moment
	Due         bool
}

// yearsLine is how long the policy keeps a kind of record.
type yearsLine struct {
	Name  string
	Years int
}

func (duePage) template() string { return "due" }

func newDuePage(b BasePage, due []*acts.Erasure, policy readiness.Policy) duePage {
	page := duePage{BasePage: b}
	for _, kind := range readiness.RecordKinds {
		page.Policy = append(page.Policy, yearsLine{say.RecordKind(string(kind)), policy.KeptYears(kind)})
	}
	for _, e := range due {
		line := dueLine{Path: "/people/" + e.Person.ID + "/erase", Name: personName(e.Person), Last: b.clock.day(e.LastEntry), KeptUntil: b.clock.day(e.KeepUntil),
			Kinds: kindLines(b, e), Against: againstLines(e)}
		if len(e.Against) == 0 {
			page.People = append(page.People, line)
		} else {
			page.Waiting = append(page.Waiting, line)
		}
	}
	return page
}

func kindLines(b BasePage, e *acts.Erasure) (lines []kindLine) {
	for _, k := range e.Kinds {
		lines = append(lines, kindLine{say.RecordKind(string(k.Kind)), k.Years, b.clock.day(k.Last), b.clock.day(k.Until), k.Due})
	}
	return lines
}

func againstLines(e *acts.Erasure) (lines []string) {
	for _, a := range e.Against {
		lines = append(lines, say.Refusal(a.Code, a.Args))
	}
	return lines
}

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
	return s.render(w, r, http.StatusOK, newDuePage(b, due, p.Policy))
}

// erasePage says what erasing somebody destroys and what it cannot reach, and asks for the signature.
type erasePage struct {
	BasePage
	Who, Login, Path string
	KeptUntil        moment
	Kinds            []kindLine
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
	page := erasePage{BasePage: b, Who: personName(e.Person), Login: e.Person.Login, Path: "/people/" + e.Person.ID, KeptUntil: b.clock.day(e.KeepUntil), Kinds: kindLines(b, e), Against: againstLines(e), Erased: e.Person.Erased}
	page.Title = "Erase " + page.Who
	if page.Erased {
		page.Title = "Erased"
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
