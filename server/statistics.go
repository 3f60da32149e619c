package server

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// How the questions of theory tests fared over all who had them, and what to do about a bad one.

func (s *Server) registerStatisticsRoutes(r *mux.Router) {
	s.get(r, "/questions", s.showQuestions)
	s.get(r, "/questions/{question}", s.showQuestionStatistic)
	s.get(r, "/questions/{question}/void", s.showVoid)
	s.post(r, "/questions/{question}/void", s.voidQuestion)
}

// questionsPage lists questions, the most doubtful first.
type questionsPage struct {
	BasePage
	Tasks   []choice
	Lessons []choice
	Rows    []questionRow
	Asked   int // questions in all that were asked
	Pages   pager
}

type questionRow struct {
	Path, Stem, Lesson, Family string
	Critical, Voided           bool
	Doubts                     []string
	Asked, Right, Tells        string
}

// pager leads through a long list; the addresses are "" where there is nothing.
type pager struct {
	From, To, Of   int
	Before, Behind string
}

func (questionsPage) template() string { return "questions" }

const questionRows = 50

func newQuestionsPage(b BasePage, p *curriculum.Programme, all []acts.QuestionStatistic, query url.Values, from int) questionsPage {
	b.Wide = true
	page := questionsPage{BasePage: b, Asked: len(all)}
	for _, t := range p.Tasks {
		page.Tasks = append(page.Tasks, choice{t.ID, t.Title})
	}
	for _, l := range p.Lessons {
		page.Lessons = append(page.Lessons, choice{l.ID, l.Title})
	}
	b.set("task", query.Get("task"))
	b.set("lesson", query.Get("lesson"))
	page.Form = b.Form
	from = max(0, min(from, len(all)-1))
	to := min(len(all), from+questionRows)
	for _, x := range all[from:to] {
		page.Rows = append(page.Rows, newQuestionRow(p, x))
	}
	at := func(n int) string {
		q := url.Values{"task": {query.Get("task")}, "lesson": {query.Get("lesson")}, "from": {itoa(n)}}
		return "/questions?" + q.Encode()
	}
	page.Pages = pager{From: from + 1, To: to, Of: len(all)}
	if from > 0 {
		page.Pages.Before = at(max(0, from-questionRows))
	}
	if to < len(all) {
		page.Pages.Behind = at(to)
	}
	return page
}

func newQuestionRow(p *curriculum.Programme, x acts.QuestionStatistic) questionRow {
	q := &x.Question
	row := questionRow{Path: questionStatisticPath(q.ID, q.Lesson, q.Edition, ""), Stem: q.Stem, Lesson: lessonTitle(p, q.Lesson), Family: familyAsks(q.Family), Critical: q.Critical, Voided: x.Voided,
		Asked: itoa(x.Asked), Right: itoa(x.RightPercent) + "\u00a0%", Tells: tells(x.Statistic)}
	if !x.Voided {
		for _, d := range x.Doubts {
			row.Doubts = append(row.Doubts, say.QuestionDoubt(string(d)))
		}
	}
	return row
}

// tells is the discrimination with its sign, or "too few" where it cannot be told.
func tells(x quiz.Statistic) string {
	if x.Discrimination == nil {
		return "cannot be told"
	}
	return strings.Replace(fmt.Sprintf("%+.2f", *x.Discrimination), "-", "−", 1)
}

func familyAsks(id string) string {
	for _, f := range quiz.Families() {
		if f.ID == id {
			return f.Asks
		}
	}
	return readable(id)
}

// questionStatisticPath is the page of a question; below is "" or "/void".
func questionStatisticPath(question, lesson, edition, below string) string {
	return "/questions/" + url.PathEscape(question) + below + "?" + url.Values{"lesson": {lesson}, "edition": {edition}}.Encode()
}

func (s *Server) showQuestions(w http.ResponseWriter, r *http.Request) error {
	ctx, query := r.Context(), r.URL.Query()
	all, err := s.acts.Questions(ctx, personFrom(ctx), acts.QuestionFilter{Task: query.Get("task"), Lesson: query.Get("lesson")})
	if err != nil {
		return err
	}
	b, err := s.base(r, "Questions")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	from := 0
	fmt.Sscan(query.Get("from"), &from) // what is no number shows the beginning
	return s.render(w, r, http.StatusOK, newQuestionsPage(b, p, all, query, from))
}

// questionStatisticPage is one question with what was answered.
type questionStatisticPage struct {
	BasePage
	questionRow
	Feedback feedbackView // the key and where it comes from
	Picture  string
	Alt      string
	Choices  []choiceRow
	Voids    []voidLine
	Tests    []testLink
	More     int    // tests that are not listed
	VoidAt   string // "" where the actor may not
	Restores []navLink
}

type choiceRow struct {
	Text    string
	Right   bool
	Chosen  int
	Percent int
	Note    string // what a slip betrays
}

type voidLine struct {
	Path, Text, By, Reason string
	On                     moment
}

type testLink struct {
	Path, Name string
	On         moment
	Passed     bool
}

func (questionStatisticPage) template() string { return "question_statistic" }

const testsListed = 30

func (s *Server) showQuestionStatistic(w http.ResponseWriter, r *http.Request) error {
	ctx, query := r.Context(), r.URL.Query()
	x, err := s.acts.Question(ctx, personFrom(ctx), mux.Vars(r)["question"], query.Get("lesson"), query.Get("edition"))
	if err != nil {
		return err
	}
	b, err := s.base(r, "How a question fared")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	q := x.Question
	page := questionStatisticPage{BasePage: b, questionRow: newQuestionRow(p, *x), Feedback: newFeedbackView(p, q, nil, quiz.QuestionMark{})}
	public := newQuestionView(p, publicQuestion(q), nil)
	page.Picture, page.Alt = public.Picture, public.PictureAlt
	l := p.Lesson(q.Lesson, "")
	for _, c := range x.Choices {
		row := choiceRow{Text: c.Text, Right: c.Right, Chosen: c.Chosen, Percent: c.Percent}
		switch {
		case c.Text == "✓":
			row.Text = "an order that works"
		case l != nil && !c.Right:
			row.Note = slipMeaning(l, c.Element)
		}
		page.Choices = append(page.Choices, row)
	}
	names := s.nameBook()
	if page.Voids, err = s.voidLines(r, b.clock, names, x.Voids); err != nil {
		return err
	}
	if s.acts.May(ctx, personFrom(ctx), acts.VoidQuestion, acts.Target{}) == nil {
		if !x.Voided {
			page.VoidAt = questionStatisticPath(q.ID, q.Lesson, q.Edition, "/void")
		}
		for _, v := range x.Voids {
			if v.Restores || v.RestoredBy != "" {
				continue
			}
			text := "Let it count again in this edition of the lesson"
			if v.Edition == "" {
				text = "Let it count again in all editions of the lesson"
			}
			page.Restores = append(page.Restores, navLink{Path: questionStatisticPath(q.ID, q.Lesson, q.Edition, "/void") + "&restores=1&scope=" + scopeOf(v.Edition), Text: text})
		}
	}
	for i, t := range x.Tests {
		if i == testsListed {
			page.More = len(x.Tests) - i
			break
		}
		name, err := names.name(ctx, t.Apprentice)
		if err != nil {
			return err
		}
		page.Tests = append(page.Tests, testLink{Path: "/tests/" + t.ID, Name: name, On: b.clock.at(t.HandedInAt), Passed: t.Passed})
	}
	return s.render(w, r, http.StatusOK, page)
}

func scopeOf(edition string) string {
	if edition == "" {
		return "all"
	}
	return "edition"
}

// voidLines are voids as people read them, with their reasons.
func (s *Server) voidLines(r *http.Request, c clock, names *nameBook, voids []store.Void) (out []voidLine, err error) {
	for _, v := range voids {
		e, err := s.store.Entry(r.Context(), v.Entry)
		if err != nil {
			return nil, err
		}
		line := voidLine{Path: "/ledger/" + v.Entry, Text: "Voided", On: c.at(v.At), Reason: e.Personal["reason"]}
		if v.Restores {
			line.Text = "Counts again"
		}
		if v.Edition == "" {
			line.Text += ", in all editions of the lesson"
		}
		if line.By, err = names.name(r.Context(), v.By); err != nil {
			return nil, err
		}
		out = append(out, line)
	}
	return out, nil
}

// voidPage says what voiding does before it is signed.
type voidPage struct {
	BasePage
	Stem     string
	Critical bool
	Restores bool
	Scope    string // edition or all
	Lesson   string // title
	Action   string
	Back     string
	Other    string // address of the other scope
	ID       string
	Seen     string
	Now      []remarkLine // pass now and did not
	NoMore   []remarkLine // do not pass any more
	Had      int
	Raised   int // marks that change without a change of passing
}

type remarkLine struct {
	Path, Name, Task string
	Was, Is          string
}

func (voidPage) template() string { return "void" }

func (s *Server) showVoid(w http.ResponseWriter, r *http.Request) error {
	return s.voidForm(w, r, r.URL.Query(), nil)
}

// voidForm shows the preview; in is the query or the form sent.
func (s *Server) voidForm(w http.ResponseWriter, r *http.Request, in url.Values, problem error) error {
	ctx := r.Context()
	request := voidRequest(mux.Vars(r)["question"], in)
	v, err := s.acts.PreviewVoid(ctx, personFrom(ctx), request)
	if err != nil {
		return err
	}
	title := "Void a question"
	if request.Restores {
		title = "Let a question count again"
	}
	b, err := s.base(r, title)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "reason", "passphrase"); err != nil {
			return err
		}
		b.set("reason", in.Get("reason"))
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	id := in.Get("id")
	if id == "" {
		id = newID()
	}
	edition := in.Get("edition")
	base := questionStatisticPath(request.Question, request.Lesson, edition, "/void")
	page := voidPage{BasePage: b, Stem: v.Question.Stem, Critical: v.Question.Critical, Restores: request.Restores, Scope: scopeOf(request.Edition), Lesson: lessonTitle(p, request.Lesson),
		Action: base, Back: questionStatisticPath(request.Question, request.Lesson, edition, ""), ID: id, Seen: v.Hash, Had: len(v.Remarked)}
	if !request.Restores {
		page.Other = base + "&scope=" + map[string]string{"edition": "all", "all": "edition"}[page.Scope]
	}
	names := s.nameBook()
	for _, x := range v.Remarked {
		t, err := s.store.Test(ctx, x.Test)
		if err != nil {
			return err
		}
		if x.Passed == x.PassedThen {
			if x.Percent != t.Percent {
				page.Raised++
			}
			continue
		}
		line := remarkLine{Path: "/tests/" + x.Test, Task: taskTitle(p, t.Task), Was: itoa(t.Percent) + " %", Is: itoa(x.Percent) + " %"}
		if line.Name, err = names.name(ctx, x.Apprentice); err != nil {
			return err
		}
		if x.Passed {
			page.Now = append(page.Now, line)
		} else {
			page.NoMore = append(page.NoMore, line)
		}
	}
	byName := func(a, b remarkLine) int { return strings.Compare(a.Name, b.Name) }
	slices.SortStableFunc(page.Now, byName)
	slices.SortStableFunc(page.NoMore, byName)
	return s.render(w, r, status, page)
}

// voidRequest reads a query or form. scope "all" reaches all editions of the lesson, else the one that is named.
func voidRequest(question string, in url.Values) acts.VoidRequest {
	v := acts.VoidRequest{ID: in.Get("id"), Question: question, Lesson: in.Get("lesson"), Edition: in.Get("edition"), Restores: in.Get("restores") != "",
		Reason: in.Get("reason"), Passphrase: in.Get("passphrase"), Seen: in.Get("seen")}
	if in.Get("scope") == "all" {
		v.Edition = ""
	}
	return v
}

func (s *Server) voidQuestion(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	in := url.Values{}
	for _, from := range []url.Values{r.URL.Query(), r.PostForm} { // what is sent counts over the address
		for k, v := range from {
			in[k] = v
		}
	}
	request := voidRequest(mux.Vars(r)["question"], in)
	if _, _, err := s.acts.Void(r.Context(), personFrom(r.Context()), request); err != nil {
		return s.voidForm(w, r, in, err)
	}
	notice := "question_voided"
	if request.Restores {
		notice = "question_restored"
	}
	return seeOther(w, r, questionStatisticPath(request.Question, request.Lesson, in.Get("edition"), ""), notice)
}

// voidFacts says what a question_voided entry did.
func voidFacts(p *curriculum.Programme, x *ledger.QuestionVoidedPayload, name func(string) string) (out []string) {
	out = append(out, "Question "+x.Question+" of "+lessonTitle(p, x.Lesson))
	if x.Edition == "" {
		out = append(out, "In all editions of the lesson")
	} else {
		out = append(out, "In edition "+short(x.Edition)+" of the lesson")
	}
	out = append(out, "Marked anew: "+count(len(x.Remarked), "theory test", "theory tests"))
	for _, r := range x.Remarked {
		switch {
		case r.Passed && !r.PassedThen:
			out = append(out, "Passes now: "+name(r.Apprentice)+", "+itoa(r.Percent)+" %")
		case !r.Passed && r.PassedThen:
			out = append(out, "Does not pass any more: "+name(r.Apprentice)+", "+itoa(r.Percent)+" %")
		}
	}
	return out
}
