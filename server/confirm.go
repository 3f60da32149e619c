package server

import (
	"net/http"
	"net/url"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
)

func (s *Server) registerConfirmRoutes(r *mux.Router) {
	s.get(r, "/changes", s.showChanges)
	s.post(r, "/changes/{lesson}", s.confirmChange)
}

// changesPage shows an apprentice exactly what changed in lessons that were read, and takes the confirmation.
type changesPage struct {
	BasePage
	Lessons []changedLesson
}

func (changesPage) template() string { return "changes" }

// changedLesson is one lesson with its changes.
type changedLesson struct {
	ID, Title, Path string
	Edition, Since  string
	Due             string // "" is at once
	Changes         []shownChange
}

// shownChange is one change with what was there and what is.
type shownChange struct {
	Text, Ask     string
	Critical      bool
	Hold          bool
	Before, After []string
}

func newChangesPage(b BasePage, changed []acts.ChangedLesson) changesPage {
	b.Title = "What changed"
	page := changesPage{BasePage: b}
	for _, c := range changed {
		page.Lessons = append(page.Lessons, newChangedLesson(b.clock, c))
	}
	return page
}

func newChangedLesson(clock clock, c acts.ChangedLesson) changedLesson {
	l := changedLesson{ID: c.Lesson.ID, Title: c.Lesson.Title, Path: lessonPath(c.Lesson.ID, "", ""), Edition: c.Lesson.Edition, Since: c.Since, Due: dueWords(clock, c.Due)}
	for _, x := range c.Changes {
		before, after := x.Shown(c.Before, c.Now, c.Lesson.Language)
		l.Changes = append(l.Changes, shownChange{Text: say.Change(x), Ask: say.Ask(x), Critical: x.Weight == curriculum.WeightCritical,
			Hold: x.Weight == curriculum.WeightHold, Before: shownLines(before), After: shownLines(after)})
	}
	return l
}

// dueWords is the day by which a change is to be read; "" where that is now.
func dueWords(clock clock, due string) string {
	if due <= clock.today() {
		return ""
	}
	return clock.day(due).Text
}

func shownLines(lines []curriculum.ShownLine) (out []string) {
	for _, l := range lines {
		out = append(out, say.Shown(l))
	}
	return out
}

// changeWarnings say that an apprentice has changes to read and confirm, a line a lesson.
func changeWarnings(clock clock, changed []acts.ChangedLesson) (out []string) {
	for _, c := range changed {
		line := c.Lesson.Title + " has changed: " + count(len(c.Changes), "change", "changes") + " to read and confirm"
		if due := dueWords(clock, c.Due); due != "" {
			out = append(out, line+" by "+due+".")
		} else {
			out = append(out, line+" at once.")
		}
	}
	return out
}

// changesOf are the lessons of a task, or of all where task is nil.
func changesOf(task *curriculum.Task, changed []acts.ChangedLesson) (out []acts.ChangedLesson) {
	for _, c := range changed {
		if task == nil || contains(task.Lessons, c.Lesson.ID) {
			out = append(out, c)
		}
	}
	return out
}

// warnOfChanges adds to tasks that are cleared what is still to be confirmed; for the others the reading gate says it.
func warnOfChanges(p *curriculum.Programme, clock clock, tasks []taskLine, verdicts []readiness.Verdict, changed []acts.ChangedLesson) {
	for i, v := range verdicts {
		if t := p.Task(v.Task); t != nil && v.Standing == readiness.Cleared && i < len(tasks) {
			tasks[i].Warnings = append(tasks[i].Warnings, changeWarnings(clock, changesOf(t, changed))...)
		}
	}
}

func (s *Server) showChanges(w http.ResponseWriter, r *http.Request) error {
	return s.changesForm(w, r, nil)
}

func (s *Server) changesForm(w http.ResponseWriter, r *http.Request, problem error) error {
	me := personFrom(r.Context())
	if err := onlyApprentices(me); err != nil {
		return err
	}
	b, err := s.base(r, "What changed")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem); err != nil {
			return err
		}
	}
	changed, err := s.acts.ChangesToConfirm(r.Context(), me, me.ID)
	if err != nil {
		return err
	}
	return s.render(w, r, status, newChangesPage(b, changed))
}

func (s *Server) confirmChange(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	f := r.PostForm
	if _, err := s.acts.Confirm(r.Context(), personFrom(r.Context()), f.Get("id"), mux.Vars(r)["lesson"], f.Get("since"), f.Get("edition")); err != nil {
		return s.changesForm(w, r, err)
	}
	return seeOther(w, r, "/changes", "confirmed")
}

// changePath is where an apprentice reads what changed in a lesson.
func changePath(lesson string) string { return "/changes#" + url.PathEscape(lesson) }
