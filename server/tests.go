package server

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerTestRoutes(r *mux.Router) {
	s.get(r, "/tests/start", s.showStartTest)
	s.post(r, "/tests/start", s.startTest)
	s.get(r, "/tests/{test}", s.showTest)
	s.get(r, "/tests/{test}/questions/{n:[0-9]+}", s.showQuestion)
	s.post(r, "/tests/{test}/questions/{n:[0-9]+}", s.answerQuestion)
	s.get(r, "/tests/{test}/hand-in", s.showHandIn)
	s.post(r, "/tests/{test}/hand-in", s.handIn)
	s.post(r, "/tests/{test}/watch", s.watchTest)
}

// startTestPage says what a theory test is before it begins.
type startTestPage struct {
	BasePage
	Task, TaskTitle string
	Questions       int
	PassPercent     int
	Watched         bool
	Vehicles        []choice
	OpenPath        string // of a test already begun
	NotAsked        bool   // the policy asks no test for this task
	Tasks           []choice
}

func (startTestPage) template() string { return "test_start" }

func newStartTestPage(b BasePage, p *curriculum.Programme, task, open string) startTestPage {
	b.Title = "Theory test"
	page := startTestPage{BasePage: b, Task: task, TaskTitle: taskTitle(p, task), Vehicles: vehicleChoices(p), OpenPath: open}
	if task == "" {
		for _, t := range p.Tasks {
			if p.Policy.Task(t.ID).TheoryTest != nil {
				page.Tasks = append(page.Tasks, choice{t.ID, t.Title})
			}
		}
		return page
	}
	test := p.Policy.Task(task).TheoryTest
	if test == nil {
		page.NotAsked = true
		return page
	}
	page.PassPercent, page.Watched = test.PassPercent, test.Watched
	if bp := p.Blueprint(test.Blueprint); bp != nil {
		page.Questions = bp.Questions
	}
	return page
}

func (s *Server) showStartTest(w http.ResponseWriter, r *http.Request) error {
	return s.startTestForm(w, r, r.FormValue("task"), nil)
}

func (s *Server) startTestForm(w http.ResponseWriter, r *http.Request, task string, problem error) error {
	b, err := s.base(r, "Theory test")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	if task != "" && p.Task(task) == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	open := ""
	if task != "" {
		tests, err := s.store.Tests(r.Context(), store.TestFilter{Apprentice: personFrom(r.Context()).ID, Task: task, OpenOnly: true})
		if err != nil {
			return err
		}
		if len(tests) > 0 {
			open = "/tests/" + tests[0].ID
		}
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "vehicle"); err != nil {
			return err
		}
		b.set("vehicle", r.PostForm.Get("vehicle"))
	}
	return s.render(w, r, status, newStartTestPage(b, p, task, open))
}

func (s *Server) startTest(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	t, _, err := s.acts.StartTest(r.Context(), personFrom(r.Context()), r.PostForm.Get("id"), r.PostForm.Get("task"), r.PostForm.Get("vehicle"))
	if err != nil {
		return s.startTestForm(w, r, r.PostForm.Get("task"), err)
	}
	return seeOther(w, r, "/tests/"+t.ID+"/questions/1", "")
}

// stepLink is a question's place in the list of an open test.
type stepLink struct {
	Number   int
	Path     string
	Answered bool
	Current  bool
}

func questionPath(test string, n int) string {
	return "/tests/" + test + "/questions/" + strconv.Itoa(n)
}

func stepLinks(v *acts.TestView, current int) (links []stepLink, open int) {
	for i, q := range v.Form.Questions {
		_, ok := answerOf(v, q.ID)
		links = append(links, stepLink{Number: i + 1, Path: questionPath(v.Test.ID, i+1), Answered: ok, Current: i+1 == current})
		if !ok {
			open++
		}
	}
	return links, open
}

func answerOf(v *acts.TestView, question string) (quiz.Answer, bool) {
	if v.Answers == nil {
		return quiz.Answer{}, false
	}
	a, ok := v.Answers.Answers[question]
	return a, ok
}

// questionPage is one question of an open theory test.
type questionPage struct {
	BasePage
	Test, TestPath string
	Task           string
	Number, Of     int
	Open           int // still unanswered
	Question       questionView
	Links          []stepLink
	PrevPath       string
	NextPath       string
	HandInPath     string
	AskBack        string // the message where the typed figure must be asked back
}

func (questionPage) template() string { return "question" }

func newQuestionPage(b BasePage, p *curriculum.Programme, v *acts.TestView, n int, draft *quiz.Answer, problem string) questionPage {
	public := v.Form.Public()
	q := public.Questions[n-1]
	if draft == nil {
		if a, ok := answerOf(v, q.ID); ok {
			draft = &a
		}
	}
	page := questionPage{BasePage: b, Test: v.Test.ID, TestPath: "/tests/" + v.Test.ID, Task: taskTitle(p, v.Test.Task), Number: n, Of: len(public.Questions),
		Question: newQuestionView(p, q, draft), HandInPath: "/tests/" + v.Test.ID + "/hand-in", AskBack: problem}
	page.Title = "Question " + strconv.Itoa(n) + " of " + strconv.Itoa(page.Of)
	page.Links, page.Open = stepLinks(v, n)
	if n > 1 {
		page.PrevPath = questionPath(v.Test.ID, n-1)
	}
	page.NextPath = page.HandInPath
	if n < page.Of {
		page.NextPath = questionPath(v.Test.ID, n+1)
	}
	return page
}

// openTest returns one's own open test and the number in the address.
func (s *Server) openTest(r *http.Request) (*acts.TestView, int, error) {
	v, err := s.acts.Test(r.Context(), personFrom(r.Context()), mux.Vars(r)["test"])
	if err != nil {
		return nil, 0, err
	}
	n, err := strconv.Atoi(mux.Vars(r)["n"])
	if err != nil || n < 1 || n > len(v.Form.Questions) {
		return nil, 0, failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	return v, n, nil
}

func (s *Server) showQuestion(w http.ResponseWriter, r *http.Request) error {
	v, n, err := s.openTest(r)
	if err != nil {
		return err
	}
	if v.Marks != nil || v.Test.Apprentice != personFrom(r.Context()).ID {
		return seeOther(w, r, "/tests/"+v.Test.ID, "")
	}
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	if r.URL.Query().Get("ask_back") != "" {
		b.Problem = sentence("ask_back", nil)
	}
	return s.render(w, r, http.StatusOK, newQuestionPage(b, p, v, n, nil, ""))
}

// answerQuestion keeps the answer as a draft and goes where the pressed button says.
func (s *Server) answerQuestion(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	v, n, err := s.openTest(r)
	if err != nil {
		return err
	}
	q := v.Form.Public().Questions[n-1]
	a, given := answerFrom(q, r.PostForm)
	if given && r.PostForm.Get("go") != "skip" {
		if err := s.acts.Answer(r.Context(), personFrom(r.Context()), v.Test.ID, q.ID, a); err != nil {
			b, berr := s.base(r, "")
			if berr != nil {
				return berr
			}
			status, err := b.refused(w, err, "answer")
			if err != nil {
				return err
			}
			if r.PostForm.Get("go") == "keep" { // half an answer is no mistake yet; a button says what is wrong with it
				w.WriteHeader(http.StatusNoContent)
				return nil
			}
			p, err := s.acts.Programme(r.Context())
			if err != nil {
				return err
			}
			return s.render(w, r, status, newQuestionPage(b, p, v, n, &a, b.Err("answer")))
		}
	}
	switch {
	case r.PostForm.Get("move") != "":
		return seeOther(w, r, questionPath(v.Test.ID, n)+"#order", "answer_saved")
	case r.PostForm.Get("go") == "keep":
		return seeOther(w, r, questionPath(v.Test.ID, n), "")
	case r.PostForm.Get("go") == "previous" && n > 1:
		return seeOther(w, r, questionPath(v.Test.ID, n-1), "")
	case r.PostForm.Get("go") == "review" || n == len(v.Form.Questions):
		return seeOther(w, r, "/tests/"+v.Test.ID+"/hand-in", "")
	}
	return seeOther(w, r, questionPath(v.Test.ID, n+1), "")
}

// handInPage shows what is unanswered before a test is handed in.
type handInPage struct {
	BasePage
	Test, Task string
	Links      []stepLink
	Open       int
	Of         int
	FirstOpen  string
	Watched    string
}

func (handInPage) template() string { return "hand_in" }

func newHandInPage(b BasePage, p *curriculum.Programme, v *acts.TestView, watched string) handInPage {
	b.Title = "Before you hand in"
	page := handInPage{BasePage: b, Test: v.Test.ID, Task: taskTitle(p, v.Test.Task), Of: len(v.Form.Questions), Watched: watched}
	page.Links, page.Open = stepLinks(v, 0)
	for _, l := range page.Links {
		if !l.Answered {
			page.FirstOpen = l.Path
			break
		}
	}
	return page
}

func (s *Server) showHandIn(w http.ResponseWriter, r *http.Request) error {
	return s.handInForm(w, r, nil)
}

func (s *Server) handInForm(w http.ResponseWriter, r *http.Request, problem error) error {
	v, err := s.acts.Test(r.Context(), personFrom(r.Context()), mux.Vars(r)["test"])
	if err != nil {
		return err
	}
	if v.Marks != nil || v.Test.Apprentice != personFrom(r.Context()).ID {
		return seeOther(w, r, "/tests/"+v.Test.ID, "")
	}
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	watched := ""
	if v.Test.WatchedBy != "" {
		if watched, err = s.nameBook().name(r.Context(), v.Test.WatchedBy); err != nil {
			return err
		}
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem); err != nil {
			return err
		}
	}
	return s.render(w, r, status, newHandInPage(b, p, v, watched))
}

func (s *Server) handIn(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	test := mux.Vars(r)["test"]
	_, _, err := s.acts.HandIn(r.Context(), personFrom(r.Context()), r.PostForm.Get("id"), test)
	if err == nil {
		return seeOther(w, r, "/tests/"+test, "")
	}
	// A figure that can be read in two ways is asked back on its own page.
	if refusal, ok := acts.AsRefusal(err); ok && refusal.Code == "ask_back" {
		v, verr := s.acts.Test(r.Context(), personFrom(r.Context()), test)
		if verr != nil {
			return verr
		}
		i := slices.IndexFunc(v.Form.Questions, func(q quiz.Question) bool { return q.ID == refusal.Args["question"] })
		if i >= 0 {
			b, berr := s.base(r, "")
			if berr != nil {
				return berr
			}
			p, perr := s.acts.Programme(r.Context())
			if perr != nil {
				return perr
			}
			text := failureOf(err).text
			b.Errors["answer"], b.Problem = text, "The test is not handed in yet. One figure can be read in two ways."
			return s.render(w, r, http.StatusUnprocessableEntity, newQuestionPage(b, p, v, i+1, nil, text))
		}
	}
	return s.handInForm(w, r, err)
}

// resultPage is a test handed in, or, for somebody else than the apprentice, an open one without its questions.
type resultPage struct {
	BasePage
	Task       string
	Apprentice string
	Mine       bool
	Open       bool
	Percent    int
	Pass       int
	Passed     bool
	Failed     []int // numbers of critical questions answered wrongly
	Feedback   []feedbackView
	Right      int
	On         moment
	Watched    string
	Again      string // address of another try
	StandingAt string
}

func (resultPage) template() string { return "result" }

func newResultPage(b BasePage, p *curriculum.Programme, v *acts.TestView, apprentice, watched string, mine bool) resultPage {
	b.Title = "Theory test: " + taskTitle(p, v.Test.Task)
	page := resultPage{BasePage: b, Task: taskTitle(p, v.Test.Task), Apprentice: apprentice, Mine: mine, Watched: watched, Open: v.Marks == nil,
		StandingAt: taskPath(v.Test.Apprentice, v.Test.Task), On: b.clock.at(v.Test.HandedInAt)}
	if v.Marks == nil {
		page.On = b.clock.at(v.Test.IssuedAt)
		return page
	}
	page.Percent = v.Marks.Percent
	page.Passed = v.Marks.Passed != nil && *v.Marks.Passed
	if v.Form.PassPercent != nil {
		page.Pass = *v.Form.PassPercent
	}
	if !page.Passed && mine {
		page.Again = "/tests/start?task=" + url.QueryEscape(v.Test.Task)
	}
	for i, m := range v.Marks.Questions {
		q := v.Form.Question(m.ID)
		if q == nil {
			continue
		}
		var answer *quiz.Answer
		if a, ok := answerOf(v, m.ID); ok {
			answer = &a
		}
		f := newFeedbackView(p, *q, answer, m)
		f.Number = i + 1
		if f.Correct {
			page.Right++
		}
		if slices.Contains(v.Marks.CriticalFailed, m.ID) {
			page.Failed = append(page.Failed, i+1)
		}
		page.Feedback = append(page.Feedback, f)
	}
	return page
}

func (s *Server) showTest(w http.ResponseWriter, r *http.Request) error {
	v, err := s.acts.Test(r.Context(), personFrom(r.Context()), mux.Vars(r)["test"])
	if err != nil {
		return err
	}
	mine := v.Test.Apprentice == personFrom(r.Context()).ID
	if v.Marks == nil && mine {
		return seeOther(w, r, questionPath(v.Test.ID, firstOpen(v)), "")
	}
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.programmeOf(r.Context(), v.Test.Programme)
	if err != nil {
		return err
	}
	names := s.nameBook()
	apprentice, err := names.name(r.Context(), v.Test.Apprentice)
	if err != nil {
		return err
	}
	watched := ""
	if v.Test.WatchedBy != "" {
		if watched, err = names.name(r.Context(), v.Test.WatchedBy); err != nil {
			return err
		}
	}
	page := newResultPage(b, p, v, apprentice, watched, mine)
	seesAll := s.acts.May(r.Context(), personFrom(r.Context()), acts.SeeQuestions, acts.Target{}) == nil
	for i := range page.Feedback {
		q := &v.Form.Questions[i]
		if seesAll {
			page.Feedback[i].StatisticAt = questionStatisticPath(q.ID, q.Lesson, q.Edition, "")
		}
		if !page.Feedback[i].Voided {
			continue
		}
		var own []store.Void
		for _, x := range v.Voids {
			if x.Question == q.ID && x.Lesson == q.Lesson && (x.Edition == "" || x.Edition == q.Edition) {
				own = append(own, x)
			}
		}
		if page.Feedback[i].VoidedWhy, err = s.voidLines(r, b.clock, names, own); err != nil {
			return err
		}
	}
	return s.render(w, r, http.StatusOK, page)
}

// programmeOf is an edition, or the one in use for "".
func (s *Server) programmeOf(ctx context.Context, edition string) (*curriculum.Programme, error) {
	if edition == "" {
		return s.acts.Programme(ctx)
	}
	return s.acts.Edition(ctx, edition)
}

// firstOpen is the number of the first unanswered question, or the last one.
func firstOpen(v *acts.TestView) int {
	for i, q := range v.Form.Questions {
		if _, ok := answerOf(v, q.ID); !ok {
			return i + 1
		}
	}
	return len(v.Form.Questions)
}

func (s *Server) watchTest(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	take := r.PostForm.Get("take") != "no"
	if err := s.acts.WatchTest(r.Context(), personFrom(r.Context()), mux.Vars(r)["test"], take); err != nil {
		return err
	}
	if take {
		return seeOther(w, r, "/waiting", "test_watched")
	}
	return seeOther(w, r, "/waiting", "test_unwatched")
}
