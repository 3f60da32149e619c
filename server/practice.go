package server

import (
	"math/rand/v2"
	"net/http"
	"net/url"
	"strconv"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/quiz"
)

func (s *Server) registerPracticeRoutes(r *mux.Router) {
	s.get(r, "/lessons/{lesson}/practice", s.startPractice)
	s.get(r, "/lessons/{lesson}/practice/{seed:[0-9]+}/{number:[0-9]+}", s.showPractice)
}

// practicePage is one question with its feedback. Nothing of it is stored: the address says all, so that going back
// works and nobody sees what was answered.
type practicePage struct {
	BasePage
	Lesson     string
	LessonPath string
	Number     int
	Question   questionView
	Feedback   *feedbackView // nil until answered
	Path       string        // of this question
	Vehicle    string
	Car        string
	NextPath   string
	Missing    bool // asked to check without an answer
	None       bool // the lesson yields no question
}

func (practicePage) template() string { return "practice" }

func practicePath(lesson, vehicle string, seed uint64, number int) string {
	u := "/lessons/" + url.PathEscape(lesson) + "/practice/" + strconv.FormatUint(seed, 10) + "/" + strconv.Itoa(number)
	if vehicle != "" {
		u += "?vehicle=" + url.QueryEscape(vehicle)
	}
	return u
}

// startPractice begins at a draw of its own, so that practice differs from day to day.
func (s *Server) startPractice(w http.ResponseWriter, r *http.Request) error {
	http.Redirect(w, r, practicePath(mux.Vars(r)["lesson"], r.FormValue("vehicle"), uint64(rand.Uint32()), 1), http.StatusSeeOther)
	return nil
}

func (s *Server) showPractice(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Practice")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	vars := mux.Vars(r)
	l := p.Lesson(vars["lesson"], "")
	seed, err1 := strconv.ParseUint(vars["seed"], 10, 64)
	number, err2 := strconv.Atoi(vars["number"])
	if l == nil || err1 != nil || err2 != nil || number < 1 {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	v, err := chosenVehicle(r, p)
	if err != nil {
		return err
	}
	vehicle := ""
	if v != nil {
		vehicle = v.ID
	}
	f, err := s.acts.Practice(r.Context(), personFrom(r.Context()), l.ID, vehicle, l.Language, seed, number, 1)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, newPracticePage(b, p, l, v, f, seed, number, r.URL.Query()))
}

func newPracticePage(b BasePage, p *curriculum.Programme, l *curriculum.Lesson, v *curriculum.Vehicle, f *quiz.Form, seed uint64, number int, query url.Values) practicePage {
	vehicle, car := "", ""
	if v != nil {
		vehicle, car = v.ID, v.Title
	}
	b.Title = "Practice: " + l.Title
	page := practicePage{BasePage: b, Lesson: l.Title, LessonPath: lessonPath(l.ID, vehicle, ""), Number: number, Vehicle: vehicle, Car: car,
		Path: practicePath(l.ID, "", seed, number), NextPath: practicePath(l.ID, vehicle, seed, number+1)}
	if len(f.Questions) == 0 {
		page.None = true
		return page
	}
	q := f.Questions[0]
	public := publicQuestion(q)
	a, given := answerFrom(public, query)
	var answer *quiz.Answer
	if given {
		answer = &a
	}
	page.Question = newQuestionView(p, public, answer)
	if query.Get("check") == "" || query.Get("move") != "" {
		return page
	}
	if !given {
		page.Missing = true
		return page
	}
	one := *f
	one.Questions = f.Questions[:1]
	marks := quiz.Mark(&one, &quiz.Answers{Format: "brakewright-answers/1", Answers: map[string]quiz.Answer{q.ID: a}}, l.Language)
	fb := newFeedbackView(p, q, answer, marks.Questions[0])
	page.Feedback = &fb
	return page
}
