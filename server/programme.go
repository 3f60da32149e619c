package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"strings"
	"sync"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func (s *Server) registerProgrammeRoutes(r *mux.Router) {
	s.get(r, "/programme", s.showProgramme)
	s.get(r, "/programme/editions/{edition:[0-9a-f]{64}}", s.showEdition)
	s.post(r, "/programme/adopt", s.adoptProgramme)
	s.post(r, "/programme/editions/{edition:[0-9a-f]{64}}/restore", s.restoreEdition)
}

// folder is the programme folder on disk that may be offered. What it was found to hold is kept as long as its files
// look the same, for pages that only ask whether there is anything new.
type folder struct {
	dir  string
	fsys fs.FS // what dir holds; nil for none

	mu       sync.Mutex
	looks    string // names, sizes and times of the files when they were read
	loaded   *curriculum.Programme
	problems []curriculum.Problem
}

// newFolder is the folder to offer: dir, else the programme that comes along.
func newFolder(dir string, embedded fs.FS) *folder {
	if dir != "" {
		return &folder{dir: dir, fsys: os.DirFS(dir)}
	}
	return &folder{fsys: embedded}
}

// load reads the folder, or gives again what it held when nothing in it looks different.
func (f *folder) load() (*curriculum.Programme, []curriculum.Problem) {
	looks := appearance(f.fsys)
	f.mu.Lock()
	defer f.mu.Unlock()
	if looks == "" || looks != f.looks {
		f.loaded, f.problems = acts.LoadProgramme(f.fsys)
		f.looks = looks
	}
	return f.loaded, f.problems
}

// appearance is a digest of the names, sizes and times of a folder's files; "" where it cannot be walked.
func appearance(fsys fs.FS) string {
	h := sha256.New()
	err := fs.WalkDir(fsys, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		fmt.Fprintf(h, "%q %d %d %v\n", path, info.Size(), info.ModTime().UnixNano(), info.Mode())
		return nil
	})
	if err != nil {
		return ""
	}
	return hex.EncodeToString(h.Sum(nil))
}

// offer compares the folder with the edition in use; nil if there is no folder. Without one, the programme that comes with the
// program is offered to whoever uses an earlier edition of it, which its title tells: what is in use stays so until somebody adopts.
func (s *Server) offer(ctx context.Context) (*acts.Offer, error) {
	return s.offerTo(ctx, personFrom(ctx))
}

func (s *Server) offerTo(ctx context.Context, actor *store.Person) (*acts.Offer, error) {
	if s.folder.fsys == nil {
		return nil, nil
	}
	p, problems := s.folder.load()
	if s.folder.dir == "" {
		now, err := s.acts.Programme(ctx)
		if err != nil || p == nil || p.Title != now.Title || p.Edition == now.Edition {
			return nil, err
		}
	}
	return s.acts.CompareLoaded(ctx, actor, p, problems)
}

// offerNote is one sentence on what the folder holds, "" if nothing new.
func (s *Server) offerNote(ctx context.Context) (string, error) {
	o, err := s.offer(ctx)
	switch {
	case err != nil || o == nil || o.Same:
		return "", err
	case s.folder.dir == "":
		return "This version of the program comes with " + count(len(o.Changes), "change", "changes") + " to the programme, not adopted yet.", nil
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
	Folder    bool // there is something to compare with
	Embedded  bool // it is the programme that comes with the program
	Same      bool
	Broken    bool
	Offered   string // edition offered, "" if none
	Files     []changedFile
	Problems  []problemLine
	MayAdopt  bool
	MayWrite  bool
	Writable  []lessonItem // files of the edition in use, to be written on as a draft
	Drafts    []draftLine
}

type programmeTask struct {
	Title, Jobs, Supervisors, Layouts, Recency, Lapse, Test string
}

type adoptionLine struct {
	On                moment
	By, Edition, Path string
	Now               bool
	Compare           string // address of what would change if it were taken up again, "" for the one in use
}

// problemLine is one finding in a folder.
type problemLine struct {
	Place                string
	Error                bool
	Message, Cause, Cure string
}

func (programmePage) template() string { return "programme" }

func newProgrammePage(b BasePage, p *curriculum.Programme, adoptions []store.Adoption, names map[string]string, o *acts.Offer, files []changedFile, mayAdopt bool) programmePage {
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
			line.Test = "pass at " + itoa(a.TheoryTest.PassPercent) + "\u00a0%"
			if a.TheoryTest.Watched {
				line.Test += ", watched"
			}
		}
		page.Tasks = append(page.Tasks, line)
	}
	for i := len(adoptions) - 1; i >= 0; i-- {
		a := adoptions[i]
		line := adoptionLine{On: b.clock.at(a.At), By: names[a.By], Edition: short(a.Edition), Path: "/ledger/" + a.Entry, Now: i == len(adoptions)-1}
		if a.Edition != p.Edition {
			line.Compare = "/programme/editions/" + a.Edition
		}
		page.Adoptions = append(page.Adoptions, line)
	}
	if o == nil {
		return page
	}
	page.Folder, page.Same, page.Broken = true, o.Same, o.Programme == nil
	if o.Programme != nil && !o.Same {
		page.Offered = o.Programme.Edition
	}
	page.Files = files
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
		if status, err = b.refused(w, problem, "passphrase", "file"); err != nil {
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
	files, err := s.changeReport(ctx, b.clock, p, o)
	if err != nil {
		return err
	}
	page := newProgrammePage(b, p, adoptions, names, o, files, mayAdopt)
	if page.MayWrite, err = s.may(ctx, personFrom(ctx), acts.WriteProgramme, acts.Target{}); err != nil {
		return err
	}
	page.Embedded = s.folder.dir == ""
	page.Writable = writableFiles(p)
	if page.Drafts, err = s.draftLines(r, b.clock); err != nil {
		return err
	}
	return s.render(w, r, status, page)
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
