package server

import (
	"context"
	"net/http"
	"os"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func (s *Server) registerProgrammeRoutes(r *mux.Router) {
	s.get(r, "/programme", s.showProgramme)
	s.post(r, "/programme/adopt", s.adoptProgramme)
}

// folder is the programme folder on disk that may be offered.
type folder struct{ dir string }

func newFolder(dir string) *folder { return &folder{dir} }

// offer compares the folder with the edition in use; nil if there is no folder.
func (s *Server) offer(ctx context.Context) (*acts.Offer, error) {
	if s.folder.dir == "" {
		return nil, nil
	}
	return s.acts.Compare(ctx, personFrom(ctx), os.DirFS(s.folder.dir))
}

// offerNote is one sentence on what the folder holds, "" if nothing new.
func (s *Server) offerNote(ctx context.Context) (string, error) {
	o, err := s.offer(ctx)
	switch {
	case err != nil || o == nil || o.Same:
		return "", err
	case o.Programme == nil:
		return "The programme folder has changed, but it has errors and cannot be adopted.", nil
	}
	return "The programme folder holds " + count(len(o.Changes), "change that is", "changes that are") + " not adopted yet.", nil
}

// programmePage shows the edition in use and what the folder offers.
type programmePage struct {
	BasePage
	Edition   string
	Short     string
	Lessons   []lessonItem
	Vehicles  []lessonItem
	Tasks     []programmeTask
	Adoptions []adoptionLine
	Folder    bool // there is a folder to compare with
	Same      bool
	Broken    bool
	Offered   string // edition offered, "" if none
	Changes   []string
	Problems  []problemLine
	MayAdopt  bool
}

type programmeTask struct {
	Title, Jobs, Supervisors, Layouts, Recency, Lapse, Test string
}

type adoptionLine struct {
	On                moment
	By, Edition, Path string
	Now               bool
}

// problemLine is one finding in a folder.
type problemLine struct {
	Place                string
	Error                bool
	Message, Cause, Cure string
}

func (programmePage) template() string { return "programme" }

func newProgrammePage(b BasePage, p *curriculum.Programme, adoptions []store.Adoption, names map[string]string, o *acts.Offer, mayAdopt bool) programmePage {
	b.Title, b.Wide = "Programme", true
	page := programmePage{BasePage: b, Edition: p.Edition, Short: short(p.Edition), MayAdopt: mayAdopt}
	for _, l := range p.Lessons {
		page.Lessons = append(page.Lessons, lessonItem{Path: lessonPath(l.ID, "", ""), Title: l.Title, Minutes: l.Minutes})
	}
	for _, v := range p.Vehicles {
		page.Vehicles = append(page.Vehicles, lessonItem{Path: "/vehicles/" + v.ID, Title: v.Title})
	}
	for _, t := range p.Tasks {
		a := p.Policy.Task(t.ID)
		line := programmeTask{Title: t.Title, Jobs: itoa(a.Jobs), Supervisors: itoa(a.Supervisors), Layouts: "any", Recency: count(a.RecencyDays, "day", "days"), Lapse: count(a.LapseDays, "day", "days"), Test: "none"}
		if a.Layouts > 0 {
			line.Layouts = itoa(a.Layouts)
		}
		if a.TheoryTest != nil {
			line.Test = "pass at " + itoa(a.TheoryTest.PassPercent) + " %"
			if a.TheoryTest.Watched {
				line.Test += ", watched"
			}
		}
		page.Tasks = append(page.Tasks, line)
	}
	for i := len(adoptions) - 1; i >= 0; i-- {
		a := adoptions[i]
		page.Adoptions = append(page.Adoptions, adoptionLine{On: b.clock.at(a.At), By: names[a.By], Edition: short(a.Edition), Path: "/ledger/" + a.Entry, Now: i == len(adoptions)-1})
	}
	if o == nil {
		return page
	}
	page.Folder, page.Same, page.Broken = true, o.Same, o.Programme == nil
	if o.Programme != nil && !o.Same {
		page.Offered = o.Programme.Edition
	}
	for _, c := range o.Changes {
		page.Changes = append(page.Changes, say.Change(c))
	}
	for _, x := range o.Problems {
		page.Problems = append(page.Problems, newProblemLine(x))
	}
	return page
}

func newProblemLine(x curriculum.Problem) problemLine {
	l := problemLine{Error: x.Severity == curriculum.Error, Place: x.File}
	if x.Line > 0 {
		l.Place += ", line " + itoa(x.Line)
		if x.Column > 0 {
			l.Place += ", column " + itoa(x.Column)
		}
	}
	l.Message, l.Cause, l.Cure = say.Problem(x)
	l.Place = strings.TrimPrefix(l.Place, ", ")
	return l
}

func (s *Server) showProgramme(w http.ResponseWriter, r *http.Request) error {
	return s.programmeForm(w, r, nil)
}

func (s *Server) programmeForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx := r.Context()
	if err := s.acts.May(ctx, personFrom(ctx), acts.SeeOffer, acts.Target{}); err != nil {
		return err
	}
	b, err := s.base(r, "Programme")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "passphrase"); err != nil {
			return err
		}
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	adoptions, err := s.store.Adoptions(ctx)
	if err != nil {
		return err
	}
	book, names := s.nameBook(), map[string]string{}
	for _, a := range adoptions {
		if names[a.By], err = book.name(ctx, a.By); err != nil {
			return err
		}
	}
	o, err := s.offer(ctx)
	if err != nil {
		return err
	}
	mayAdopt, err := s.may(ctx, personFrom(ctx), acts.AdoptProgramme, acts.Target{})
	if err != nil {
		return err
	}
	return s.render(w, r, status, newProgrammePage(b, p, adoptions, names, o, mayAdopt))
}

func (s *Server) adoptProgramme(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	o, err := s.offer(r.Context())
	if err != nil {
		return err
	}
	if _, err := s.acts.Adopt(r.Context(), personFrom(r.Context()), o, r.PostForm.Get("edition"), r.PostForm.Get("passphrase")); err != nil {
		return s.programmeForm(w, r, err)
	}
	return seeOther(w, r, "/programme", "adopted")
}
