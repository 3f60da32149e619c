package acts

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"

	"brakewright/quiz"
	"brakewright/store"
	"brakewright/store/ledger"
)

// A question at fault is voided: from then on it counts as right for everybody who had it, critical or not, so that no
// mark falls; as evidence of what somebody knows its answers do not count at all. It is not asked again. A void reaches
// one edition of the lesson, for a mended lesson may ask it rightly under the same id; or, on demand, all editions.

// voided are the questions voided now.
func (s *Service) voided(ctx context.Context) (store.VoidedQuestions, error) {
	voids, err := s.Store.Voids(ctx)
	return store.InForce(voids), err
}

// withVoids marks a test anew if a question of it was voided since.
func (s *Service) withVoids(ctx context.Context, v *TestView) error {
	voids, err := s.Store.Voids(ctx)
	if err != nil || len(voids) == 0 {
		return err
	}
	for _, x := range voids {
		if x.Restores || x.RestoredBy != "" {
			continue
		}
		if slices.ContainsFunc(v.Form.Questions, func(q quiz.Question) bool { return takesOut(x, &q) }) {
			v.Voids = append(v.Voids, x)
		}
	}
	now := store.InForce(voids)
	if len(v.Voids) > 0 || slices.ContainsFunc(v.Marks.Questions, func(m quiz.QuestionMark) bool { return m.Voided }) {
		v.Marks = quiz.MarkVoided(v.Form, v.Answers, v.Form.Language, now.Holds)
	}
	return nil
}

// takesOut says whether a void takes out this question.
func takesOut(v store.Void, q *quiz.Question) bool {
	return q.ID == v.Question && q.Lesson == v.Lesson && (v.Edition == "" || q.Edition == v.Edition)
}

// attempt is a theory test handed in, with all that marking takes.
type attempt struct {
	test    *store.Test
	form    *quiz.Form
	answers *quiz.Answers
}

// attempts are all theory tests handed in, the oldest first. of narrows by form; nil takes all.
func (s *Service) attempts(ctx context.Context, of func(*quiz.Form) bool) (out []attempt, handedIn int, err error) {
	tests, err := s.Store.Tests(ctx, store.TestFilter{})
	if err != nil {
		return nil, 0, err
	}
	for _, t := range slices.Backward(tests) {
		if t.HandedIn == "" {
			continue
		}
		handedIn++
		f, err := s.form(ctx, t)
		if err != nil {
			return nil, 0, err
		}
		if of != nil && !of(f) {
			continue
		}
		b, err := s.Store.Content(ctx, t.AnswersHash)
		if err != nil {
			return nil, 0, err
		}
		a, err := quiz.ReadAnswers(b, f)
		if err != nil {
			return nil, 0, err
		}
		out = append(out, attempt{t, f, a})
	}
	return out, handedIn, nil
}

// QuestionFilter narrows Questions. Zero fields do not narrow.
type QuestionFilter struct {
	Task, Lesson string
}

// QuestionStatistic is how a question fared, and whether it is voided.
type QuestionStatistic struct {
	quiz.Statistic
	Voids  []store.Void  // all of this question, in the order of the ledger
	Voided bool          // now
	Tests  []*store.Test // that had it, of [Service.Question] only, the newest first
}

func (s *Service) questions(ctx context.Context, actor *store.Person, f QuestionFilter) ([]QuestionStatistic, error) {
	if err := s.May(ctx, actor, SeeQuestions, Target{}); err != nil {
		return nil, err
	}
	all, _, err := s.attempts(ctx, nil)
	if err != nil {
		return nil, err
	}
	var of []quiz.Attempt
	for _, a := range all {
		if f.Task == "" || a.test.Task == f.Task {
			of = append(of, quiz.Attempt{Form: a.form, Answers: a.answers})
		}
	}
	voids, err := s.Store.Voids(ctx)
	if err != nil {
		return nil, err
	}
	now := store.InForce(voids)
	var out []QuestionStatistic
	for _, x := range quiz.Statistics(of) {
		if f.Lesson == "" || x.Question.Lesson == f.Lesson {
			out = append(out, newQuestionStatistic(x, voids, now))
		}
	}
	return out, nil
}

func newQuestionStatistic(x quiz.Statistic, voids []store.Void, now store.VoidedQuestions) QuestionStatistic {
	out := QuestionStatistic{Statistic: x, Voided: now.Holds(&x.Question)}
	for _, v := range voids {
		if takesOut(v, &x.Question) {
			out.Voids = append(out.Voids, v)
		}
	}
	return out
}

func (s *Service) question(ctx context.Context, actor *store.Person, question, lesson, edition string) (*QuestionStatistic, error) {
	if err := s.May(ctx, actor, SeeQuestions, Target{}); err != nil {
		return nil, err
	}
	had := func(q quiz.Question) bool { return q.ID == question && q.Lesson == lesson && q.Edition == edition }
	all, _, err := s.attempts(ctx, func(f *quiz.Form) bool { return slices.ContainsFunc(f.Questions, had) })
	if err != nil {
		return nil, err
	}
	var of []quiz.Attempt
	var tests []*store.Test
	for _, a := range all {
		of = append(of, quiz.Attempt{Form: a.form, Answers: a.answers})
		tests = append(tests, a.test)
	}
	voids, err := s.Store.Voids(ctx)
	if err != nil {
		return nil, err
	}
	now := store.InForce(voids)
	for _, x := range quiz.Statistics(of) {
		if had(x.Question) {
			out := newQuestionStatistic(x, voids, now)
			slices.Reverse(tests)
			out.Tests = tests
			return &out, nil
		}
	}
	return nil, refuse(http.StatusNotFound, "not_found", "what", "question")
}

// VoidRequest asks for a question to be voided or, with Restores, to count again.
type VoidRequest struct {
	ID         string // of the entry, "" mints one
	Question   string
	Lesson     string
	Edition    string // of the lesson; "" is all editions
	Restores   bool
	Reason     string
	Passphrase string
	Seen       string // [VoidPreview.Hash] of what was shown, "" where nothing was
}

// VoidPreview is what a void does.
type VoidPreview struct {
	Question quiz.Question
	Remarked []ledger.TestRemarked // oldest first; apprentices as ids
	Hash     string                // names this outcome
	tests    int
}

// Changed are the tests that pass now and did not, or the other way about.
func (v *VoidPreview) Changed() (out []ledger.TestRemarked) {
	for _, r := range v.Remarked {
		if r.Passed != r.PassedThen {
			out = append(out, r)
		}
	}
	return out
}

func (s *Service) previewVoid(ctx context.Context, actor *store.Person, r VoidRequest) (*VoidPreview, error) {
	if err := s.May(ctx, actor, VoidQuestion, Target{}); err != nil {
		return nil, err
	}
	return s.remarkAll(ctx, r)
}

// remarkAll marks every test that had the question as it would be marked.
func (s *Service) remarkAll(ctx context.Context, r VoidRequest) (*VoidPreview, error) {
	voids, err := s.Store.Voids(ctx)
	if err != nil {
		return nil, err
	}
	already := slices.ContainsFunc(voids, func(v store.Void) bool {
		return !v.Restores && v.RestoredBy == "" && v.Question == r.Question && v.Lesson == r.Lesson && v.Edition == r.Edition
	})
	switch {
	case already && !r.Restores:
		return nil, conflict("question_voided")
	case !already && r.Restores:
		return nil, conflict("question_not_voided")
	}
	next := store.InForce(append(voids, store.Void{Question: r.Question, Lesson: r.Lesson, Edition: r.Edition, Restores: r.Restores}))
	this := store.Void{Question: r.Question, Lesson: r.Lesson, Edition: r.Edition}
	had := func(q quiz.Question) bool { return takesOut(this, &q) }
	all, handedIn, err := s.attempts(ctx, func(f *quiz.Form) bool { return slices.ContainsFunc(f.Questions, had) })
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, refuse(http.StatusNotFound, "not_found", "what", "question")
	}
	out := &VoidPreview{tests: handedIn, Remarked: []ledger.TestRemarked{}}
	for _, a := range all {
		m := quiz.MarkVoided(a.form, a.answers, a.form.Language, next.Holds)
		out.Remarked = append(out.Remarked, store.Remark(a.test.ID, a.test.Apprentice, a.test.Task, a.test.Passed, m))
		out.Question = a.form.Questions[slices.IndexFunc(a.form.Questions, had)] // as the newest had it
	}
	b, err := json.Marshal(out.Remarked)
	if err != nil {
		return nil, err
	}
	out.Hash = ledger.Hash(b)
	return out, nil
}

func (s *Service) void(ctx context.Context, actor *store.Person, r VoidRequest) (*VoidPreview, store.Receipt, error) {
	none := store.Receipt{}
	if err := s.May(ctx, actor, VoidQuestion, Target{}); err != nil {
		return nil, none, err
	}
	why, err := reason("reason", r.Reason)
	if err != nil {
		return nil, none, err
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, none, err
	}
	h := s.head(r.ID, ledger.QuestionVoided, actor.ID, "", at)
	same := func(p ledger.QuestionVoidedPayload) bool {
		return p.Question == r.Question && p.Lesson == r.Lesson && p.Edition == r.Edition && p.Restores == r.Restores
	}
	var done *VoidPreview
	receipt, err := once(ctx, s, h, same, words{"reason": why}, func() (store.Receipt, error) {
		if done, err = s.remarkAll(ctx, r); err != nil {
			return none, err
		}
		if r.Seen != "" && r.Seen != done.Hash {
			return none, conflict("marks_changed")
		}
		sub, err := s.entry(h, ledger.QuestionVoidedPayload{Question: r.Question, Lesson: r.Lesson, Edition: r.Edition, Restores: r.Restores, Tests: done.tests, Remarked: done.Remarked},
			map[string]string{"reason": why}, nil)
		if err != nil {
			return none, err
		}
		signer, err := s.unlock(ctx, actor, r.Passphrase, "passphrase")
		if err != nil {
			return none, err
		}
		if err := sub.Sign(signer); err != nil {
			return none, err
		}
		got, err := s.submit(ctx, sub)
		if x, ok := AsRefusal(err); ok && x.Code == "rule_"+ledger.MarksOutdated {
			return none, conflict("marks_changed")
		}
		return got, err
	})
	if err != nil {
		return nil, none, err
	}
	if done == nil { // a repeated request: what the entry says
		e, err := s.Store.Entry(ctx, receipt.ID)
		if err != nil {
			return nil, none, err
		}
		var p ledger.QuestionVoidedPayload
		if err := json.Unmarshal(e.Entry.Body.Payload, &p); err != nil {
			return nil, none, err
		}
		done = &VoidPreview{Remarked: p.Remarked}
	}
	return done, receipt, nil
}
