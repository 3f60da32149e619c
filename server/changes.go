package server

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// changedFile is what changes in one file of a programme.
type changedFile struct {
	Path    string // in the folder
	Changes []changeLine
}

// changeLine is one change with what is asked and whom it touches.
type changeLine struct {
	Text, Ask  string
	Asks       bool // something is asked
	Critical   bool
	Hold       bool
	Clearances []touchLine
	Tests      []touchLine
	Jobs       []touchLine
}

// touchLine is one clearance, test or job.
type touchLine struct{ Path, Text string }

// changeReport is what an offer changes, by file in the order of the changes; nil where there is nothing to adopt.
func (s *Server) changeReport(ctx context.Context, clock clock, p *curriculum.Programme, o *acts.Offer) ([]changedFile, error) {
	if o == nil || o.Programme == nil || o.Same {
		return nil, nil
	}
	touched, err := s.acts.Touched(ctx, personFrom(ctx), o)
	if err != nil {
		return nil, err
	}
	return newChangeReport(clock, p, o, touched), nil
}

func newChangeReport(clock clock, p *curriculum.Programme, o *acts.Offer, touched []acts.Touch) []changedFile {
	taskTitle := func(id string) string {
		for _, p := range []*curriculum.Programme{p, o.Programme} {
			if t := p.Task(id); t != nil {
				return t.Title
			}
		}
		return id
	}
	people := func(list []acts.TouchedPerson) (out []touchLine) {
		for _, x := range list {
			out = append(out, touchLine{"/people/" + url.PathEscape(x.Apprentice.ID) + "/standing", personName(x.Apprentice) + ", " + taskTitle(x.Task)})
		}
		return out
	}
	var files []changedFile
	at := map[string]int{}
	for i, c := range o.Changes {
		path := c.File
		if path == "" {
			path = "The whole folder"
		}
		if _, ok := at[path]; !ok {
			at[path] = len(files)
			files = append(files, changedFile{Path: path})
		}
		line := changeLine{Text: say.Change(c), Ask: say.Ask(c), Asks: c.Ask != curriculum.AskNothing,
			Critical: c.Weight == curriculum.WeightCritical, Hold: c.Weight == curriculum.WeightHold,
			Clearances: people(touched[i].Clearances), Tests: people(touched[i].Tests)}
		for _, j := range touched[i].Jobs {
			line.Jobs = append(line.Jobs, touchLine{"/ledger/" + j.Entry, jobText(clock, p, j, taskTitle(j.Task))})
		}
		f := &files[at[path]]
		f.Changes = append(f.Changes, line)
	}
	return files
}

// jobText is one line on a signed job: when, who, what, on which car, with the readings taken.
func jobText(clock clock, p *curriculum.Programme, j acts.TouchedJob, task string) string {
	parts := []string{clock.day(j.Date).Text, personName(j.Apprentice), task}
	car := j.Car
	if v := p.Vehicle(j.Vehicle); v != nil {
		car = v.Title
	} else if j.Vehicle != "" {
		car = j.Vehicle
	}
	if car != "" {
		parts = append(parts, car)
	}
	if j.WorkOrder != "" {
		parts = append(parts, j.WorkOrder)
	}
	if len(j.Readings) > 0 {
		parts = append(parts, "read "+strings.Join(j.Readings, ", "))
	}
	return strings.Join(parts, ", ")
}

// editionPage shows what would change if an edition that was adopted before were taken up again.
type editionPage struct {
	BasePage
	Edition, Short string
	Restore        string // address to send the signature to
	Same           bool
	Again          bool // it is in use, but was adopted with a key in other hands: it may be adopted again
	Files          []changedFile
	Lessons        []string // titles
	MayAdopt       bool
}

func (editionPage) template() string { return "edition" }

func (s *Server) showEdition(w http.ResponseWriter, r *http.Request) error {
	return s.editionForm(w, r, nil)
}

func (s *Server) editionForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, edition := r.Context(), mux.Vars(r)["edition"]
	o, err := s.acts.CompareEdition(ctx, personFrom(ctx), edition)
	if err != nil {
		return err
	}
	b, err := s.base(r, "An edition adopted before")
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
	page := editionPage{Edition: edition, Short: short(edition), Restore: "/programme/editions/" + url.PathEscape(edition) + "/restore", Same: o.Same}
	if page.Files, err = s.changeReport(ctx, b.clock, p, o); err != nil {
		return err
	}
	if page.MayAdopt, err = s.may(ctx, personFrom(ctx), acts.AdoptProgramme, acts.Target{}); err != nil {
		return err
	}
	if o.Same && page.MayAdopt {
		doubtful, err := s.store.Doubtful(ctx)
		if err != nil {
			return err
		}
		page.Again = slices.ContainsFunc(doubtful, func(x store.Doubtful) bool { return x.Type == ledger.ProgrammeAdopted })
	}
	for _, l := range o.Programme.Lessons {
		page.Lessons = append(page.Lessons, l.Title)
	}
	b.Wide = true
	page.BasePage = b
	return s.render(w, r, status, page)
}

func (s *Server) restoreEdition(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	edition := mux.Vars(r)["edition"]
	o, err := s.acts.CompareEdition(r.Context(), personFrom(r.Context()), edition)
	if err != nil {
		return err
	}
	if _, err := s.acts.Adopt(r.Context(), personFrom(r.Context()), o, edition, r.PostForm.Get("passphrase")); err != nil {
		return s.editionForm(w, r, err)
	}
	return seeOther(w, r, "/programme", "adopted")
}
