package server

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
)

func (s *Server) registerNoteRoutes(r *mux.Router) {
	s.get(r, "/lessons/{lesson}/notes", s.showNotes)
	s.post(r, "/lessons/{lesson}/notes", s.pinNote)
	s.post(r, "/lessons/{lesson}/notes/{note}/remove", s.removeNote)
}

// notesPage lists a lesson's shop notes with their history, and takes new ones.
type notesPage struct {
	BasePage
	Lesson, LessonPath string
	Path               string
	Notes              []noteLine // those that hang
	Gone               []noteLine // those taken off
	Steps              []choice
	MayPin             bool
	Nonce              string
}

func (notesPage) template() string { return "notes" }

// noteLine is one note.
type noteLine struct {
	Entry, Step, StepPath string
	Text                  string
	By                    string
	On                    moment
	RemovedBy             string
	RemovedOn             moment
	Remove                string // address that takes it off
}

func newNotesPage(b BasePage, l *curriculum.Lesson, notes []acts.Note, names map[string]string, mayPin bool) notesPage {
	b.Title = "Shop notes: " + l.Title
	page := notesPage{BasePage: b, Lesson: l.Title, LessonPath: lessonPath(l.ID, "", ""), Path: notesPath(l.ID), MayPin: mayPin, Nonce: newID()}
	if l.Procedure != nil {
		for _, st := range l.Procedure.Steps {
			page.Steps = append(page.Steps, choice{st.ID, st.Title.Plain()})
		}
	}
	for _, n := range notes {
		if n.Lesson != l.ID {
			continue
		}
		line := noteLine{Entry: n.Entry, Step: "a step that is not there any more (" + n.Step + ")", Text: n.Text, By: names[n.By], On: b.clock.at(n.At)}
		if line.Text == "" {
			line.Text = "The words cannot be opened any more."
		}
		if l.Procedure != nil {
			if st := l.Procedure.Step(n.Step); st != nil {
				line.Step, line.StepPath = st.Title.Plain(), lessonPath(l.ID, "", st.Element)
			}
		}
		if n.RemovedBy != "" {
			line.RemovedBy, line.RemovedOn = names[n.RemovedBy], b.clock.at(n.RemovedAt)
			page.Gone = append(page.Gone, line)
			continue
		}
		if mayPin {
			line.Remove = page.Path + "/" + url.PathEscape(n.Entry) + "/remove"
		}
		page.Notes = append(page.Notes, line)
	}
	return page
}

func notesPath(lesson string) string { return "/lessons/" + url.PathEscape(lesson) + "/notes" }

func (s *Server) showNotes(w http.ResponseWriter, r *http.Request) error {
	return s.notesForm(w, r, nil)
}

func (s *Server) notesForm(w http.ResponseWriter, r *http.Request, problem error) error {
	ctx := r.Context()
	b, err := s.base(r, "Shop notes")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "note", "step"); err != nil {
			return err
		}
		b.Form = r.PostForm
	} else {
		b.set("step", r.FormValue("step"))
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	l := p.Lesson(mux.Vars(r)["lesson"], "")
	if l == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	notes, err := s.acts.Notes(ctx)
	if err != nil {
		return err
	}
	book, names := s.nameBook(), map[string]string{"": ""}
	for _, n := range notes {
		for _, id := range []string{n.By, n.RemovedBy} {
			if _, ok := names[id]; !ok {
				if names[id], err = book.name(ctx, id); err != nil {
					return err
				}
			}
		}
	}
	mayPin, err := s.may(ctx, personFrom(ctx), acts.PinNote, acts.Target{})
	if err != nil {
		return err
	}
	return s.render(w, r, status, newNotesPage(b, l, notes, names, mayPin))
}

func (s *Server) pinNote(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f, lesson := r.PostForm, mux.Vars(r)["lesson"]
	if _, err := s.acts.PinNote(r.Context(), personFrom(r.Context()), f.Get("id"), lesson, f.Get("step"), f.Get("note")); err != nil {
		return s.notesForm(w, r, err)
	}
	return seeOther(w, r, notesPath(lesson), "note_pinned")
}

func (s *Server) removeNote(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	v := mux.Vars(r)
	if _, err := s.acts.RemoveNote(r.Context(), personFrom(r.Context()), r.PostForm.Get("id"), v["note"]); err != nil {
		return s.notesForm(w, r, err)
	}
	return seeOther(w, r, notesPath(v["lesson"]), "note_removed")
}

// noteTexts are the words of a lesson's notes by step.
func noteTexts(beside map[string][]acts.Note, lesson string) map[string][]string {
	out := map[string][]string{}
	for key, notes := range beside {
		in, step, _ := strings.Cut(key, "/")
		if in != lesson {
			continue
		}
		for _, n := range notes {
			out[step] = append(out[step], n.Text)
		}
	}
	return out
}

// hang puts shop notes beside the steps of a job's sheet.
func (p *jobPage) hang(beside map[string][]acts.Note) {
	for i := range p.Lessons {
		for j := range p.Lessons[i].Steps {
			st := &p.Lessons[i].Steps[j]
			key, _, _ := strings.Cut(st.Key, "@")
			for _, n := range beside[key] {
				st.Notes = append(st.Notes, n.Text)
			}
		}
	}
}
