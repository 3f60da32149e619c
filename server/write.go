package server

import (
	"html/template"
	"io"
	"maps"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
)

func (s *Server) registerWriteRoutes(r *mux.Router) {
	s.get(r, "/programme/write", s.showWrite)
	s.post(r, "/programme/write", s.saveWrite)
	s.post(r, "/programme/upload", s.uploadDraft)
	s.get(r, "/programme/drafts/{person}", s.showDraft)
	s.post(r, "/programme/drafts/{person}/adopt", s.adoptDraft)
	s.post(r, "/programme/drafts/{person}/drop", s.dropDraft)
}

func draftPath(person string) string { return "/programme/drafts/" + url.PathEscape(person) }

func writePath(file, vehicle string) string {
	q := url.Values{"file": {file}}
	if vehicle != "" {
		q.Set("vehicle", vehicle)
	}
	return "/programme/write?" + q.Encode()
}

// draftLine is a draft in the list.
type draftLine struct {
	Path, By string
	On       moment
	Mine     bool
}

// draftLines lists everybody's drafts.
func (s *Server) draftLines(r *http.Request, clock clock) ([]draftLine, error) {
	me := personFrom(r.Context())
	all, err := s.acts.Drafts(r.Context(), me)
	if err != nil {
		return nil, err
	}
	book := s.nameBook()
	var out []draftLine
	for _, d := range all {
		name, err := book.name(r.Context(), d.Person)
		if err != nil {
			return nil, err
		}
		out = append(out, draftLine{Path: draftPath(d.Person), By: name, On: clock.at(d.At), Mine: d.Person == me.ID})
	}
	return out, nil
}

// writableFiles are the texts of a programme, each with the address at which it is written.
func writableFiles(p *curriculum.Programme) []lessonItem {
	var out []lessonItem
	for _, f := range p.Files {
		if !isSVG(f.Path) {
			out = append(out, lessonItem{Path: writePath(f.Path, ""), Title: f.Path})
		}
	}
	return out
}

// writePage is one file of a programme being written, with the problems of the folder and the questions of the lesson.
type writePage struct {
	BasePage
	File, Text string
	Vehicle    string
	Vehicles   []choice
	Drafted    bool
	DraftPath  string
	Broken     bool
	Problems   []problemLine // of this file first, then the others'
	Lesson     bool          // the file is a lesson that loads
	HTML       template.HTML // how it reads
	Questions  []askedView
	Full       bool
	LoggedOut  bool // the session ended while it was written
}

func (writePage) template() string { return "write" }

func (s *Server) showWrite(w http.ResponseWriter, r *http.Request) error {
	ctx, me := r.Context(), personFrom(r.Context())
	file := r.FormValue("file")
	if words := r.FormValue("begin"); words != "" {
		id := curriculum.StarterID(words)
		if id == "" {
			return s.programmeForm(w, r, failure{status: http.StatusUnprocessableEntity, code: "bad_id", field: "begin", text: "Use letters and digits."})
		}
		file = "lessons/" + id + ".md"
	}
	text, drafted, err := s.acts.DraftText(ctx, me, file)
	if x, ok := acts.AsRefusal(err); ok && x.Code == "not_found" && strings.HasPrefix(file, "lessons/") {
		p, err := s.acts.Programme(ctx)
		if err != nil {
			return err
		}
		text = curriculum.Starter(strings.TrimSuffix(path.Base(file), ".md"), p.Languages[0], p.Tasks[0].ID)
		return s.writeForm(w, r, file, text, false, nil)
	}
	if err != nil {
		return err
	}
	return s.writeForm(w, r, file, text, drafted, nil)
}

func (s *Server) writeForm(w http.ResponseWriter, r *http.Request, file, text string, drafted bool, problem error) error {
	ctx, me := r.Context(), personFrom(r.Context())
	b, err := s.base(r, "Write "+file)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "text"); err != nil {
			return err
		}
	}
	b.Wide = true
	page := writePage{File: file, Text: text, Vehicle: r.FormValue("vehicle"), Drafted: drafted, DraftPath: draftPath(me.ID)}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	if drafted {
		_, o, err := s.acts.Draft(ctx, me, me.ID)
		if err != nil {
			return err
		}
		p, page.Broken = o.Programme, o.Programme == nil
		var others []problemLine
		for _, x := range o.Problems {
			if x.File == file {
				page.Problems = append(page.Problems, newProblemLine(x))
			} else {
				others = append(others, newProblemLine(x))
			}
		}
		page.Problems = append(page.Problems, others...)
	}
	if p != nil {
		page.Vehicles = vehicleChoices(p)
		if l := lessonOfFile(p, file); l != nil {
			page.Lesson = true
			page.HTML = l.HTML(p.Vehicle(page.Vehicle), p.Units, picturePath(p))
			if page.Questions, err = questionsOf(p, l, p.Vehicle(page.Vehicle)); err != nil {
				return err
			}
			page.Full = len(page.Questions) == mostAsked
		}
	}
	b.set("vehicle", page.Vehicle)
	page.BasePage = b
	return s.render(w, r, status, page)
}

// lessonOfFile is the lesson that a file holds, in any language; nil if it holds none.
func lessonOfFile(p *curriculum.Programme, file string) *curriculum.Lesson {
	for _, l := range p.Lessons {
		if l.File == file {
			return l
		}
	}
	for _, ls := range p.Translated {
		for _, l := range ls {
			if l.File == file {
				return l
			}
		}
	}
	return nil
}

func (s *Server) saveWrite(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	file, text := r.PostForm.Get("file"), r.PostForm.Get("text")
	if err := s.acts.WriteDraft(r.Context(), personFrom(r.Context()), file, text); err != nil {
		return s.writeForm(w, r, file, text, false, err)
	}
	return seeOther(w, r, writePath(file, r.PostForm.Get("vehicle")), "draft_saved")
}

func (s *Server) uploadDraft(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseMultipartForm(maxBody); err != nil {
		return badForm(err)
	}
	file, _, err := r.FormFile("file")
	if err != nil {
		return s.programmeForm(w, r, failure{status: http.StatusUnprocessableEntity, code: "nothing_chosen", field: "file", text: "Choose the archive."})
	}
	defer file.Close()
	archive, err := io.ReadAll(file)
	if err != nil {
		return badForm(err)
	}
	me := personFrom(r.Context())
	if err := s.acts.UploadDraft(r.Context(), me, archive); err != nil {
		return s.programmeForm(w, r, err)
	}
	return seeOther(w, r, draftPath(me.ID), "draft_saved")
}

// keepText shows a text whose author's session ended while it was written: nothing is lost, and it is saved by the same button.
func (s *Server) keepText(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	b, err := s.base(r, "Write")
	if err != nil {
		return err
	}
	b.Problem = "Your session had ended. What you wrote is here: log in in another window, then save it."
	b.Wide = true
	return s.render(w, r, http.StatusUnauthorized, writePage{BasePage: b, File: r.PostForm.Get("file"), Text: r.PostForm.Get("text"), LoggedOut: true})
}

// draftPage is a draft as a whole: what it changes and whom it touches, what is wrong with it, and the signature.
type draftPage struct {
	BasePage
	By       string
	On       moment
	Mine     bool
	Stale    bool
	Broken   bool
	Same     bool
	Offered  string // edition, "" if there is nothing to adopt
	Path     string
	Files    []changedFile
	Texts    []lessonItem // to be written on, if it is one's own
	Problems []problemLine
	MayAdopt bool
	MayDrop  bool
}

func (draftPage) template() string { return "draft" }

func (s *Server) showDraft(w http.ResponseWriter, r *http.Request) error {
	return s.draftForm(w, r, nil)
}

func (s *Server) draftForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx, me, person := r.Context(), personFrom(r.Context()), mux.Vars(r)["person"]
	d, o, err := s.acts.Draft(ctx, me, person)
	if err != nil {
		return err
	}
	b, err := s.base(r, "A draft of the programme")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "passphrase"); err != nil {
			return err
		}
	}
	b.Wide = true
	page := draftPage{On: b.clock.at(d.At), Mine: person == me.ID, Stale: d.Stale, Broken: o.Programme == nil, Same: o.Same, Path: draftPath(person)}
	if page.By, err = s.nameBook().name(ctx, person); err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	if page.Files, err = s.changeReport(ctx, b.clock, p, o); err != nil {
		return err
	}
	if o.Programme != nil && !o.Same {
		page.Offered = o.Programme.Edition
	}
	for _, x := range o.Problems {
		page.Problems = append(page.Problems, newProblemLine(x))
	}
	if page.Mine {
		page.Texts = draftTexts(d)
	}
	if page.MayAdopt, err = s.may(ctx, me, acts.AdoptProgramme, acts.Target{}); err != nil {
		return err
	}
	page.MayDrop = page.Mine || page.MayAdopt
	page.BasePage = b
	return s.render(w, r, status, page)
}

// draftTexts are the texts of a draft, which may not load.
func draftTexts(d *acts.Draft) []lessonItem {
	var out []lessonItem
	for _, file := range slices.Sorted(maps.Keys(d.Files)) {
		if strings.HasSuffix(file, ".md") || strings.HasSuffix(file, ".yaml") {
			out = append(out, lessonItem{Path: writePath(file, ""), Title: file})
		}
	}
	return out
}

func (s *Server) adoptDraft(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	if _, err := s.acts.AdoptDraft(r.Context(), personFrom(r.Context()), mux.Vars(r)["person"], r.PostForm.Get("edition"), r.PostForm.Get("passphrase")); err != nil {
		return s.draftForm(w, r, err)
	}
	return seeOther(w, r, "/programme", "adopted")
}

func (s *Server) dropDraft(w http.ResponseWriter, r *http.Request) error {
	if err := s.acts.DropDraft(r.Context(), personFrom(r.Context()), mux.Vars(r)["person"]); err != nil {
		return err
	}
	return seeOther(w, r, "/programme", "draft_dropped")
}
