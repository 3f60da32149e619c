package store

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"

	"brakewright/quiz"
	"brakewright/store/ledger"
)

// Marks must follow from forms and answers: what was recorded at handing in comes out again when the stored answers are
// marked against the stored form, with the questions voided by then; and a question_voided entry names every test that
// had the question, with the marks that come out with all questions voided since.

// voidRow is a row of voids.
type voidRow struct {
	entry            string
	index            int64
	question, lesson string
	edition          string
	restores         bool
	restoredBy       string
}

// testRow is a theory test as verification marks it.
type testRow struct {
	id, apprentice, task string
	index                int64 // of handing in
	entry                string
	form                 *quiz.Form // nil: not a form of this format, nothing to mark it by
	answers              *quiz.Answers
}

// VoidedQuestions are the voids in force at one point of the ledger.
type VoidedQuestions map[[3]string]bool

// Holds says whether a question of a form is voided, in the edition of its lesson or in all.
func (v VoidedQuestions) Holds(q *quiz.Question) bool {
	return v[[3]string{q.ID, q.Lesson, q.Edition}] || v[[3]string{q.ID, q.Lesson, ""}]
}

func (v VoidedQuestions) apply(question, lesson, edition string, restores bool) {
	if k := [3]string{question, lesson, edition}; restores {
		delete(v, k)
	} else {
		v[k] = true
	}
}

// marks examines all theory tests handed in. made holds the projections as they follow from the ledger.
func (x *examiner) marks(made *tx) error {
	voids, err := collect(made, func(r *sql.Rows) (v *voidRow, err error) {
		v = &voidRow{}
		return v, r.Scan(&v.entry, &v.index, &v.question, &v.lesson, &v.edition, &v.restores, &v.restoredBy)
	}, `SELECT entry_id, idx, question, lesson, edition, restores, restored_by FROM voids ORDER BY idx`)
	if err != nil {
		return err
	}
	type row struct {
		testRow
		formHash, answersHash, marksHash string
	}
	rows, err := collect(made, func(r *sql.Rows) (t row, err error) {
		return t, r.Scan(&t.id, &t.apprentice, &t.task, &t.entry, &t.index, &t.formHash, &t.answersHash, &t.marksHash)
	}, `SELECT t.id, t.apprentice, t.task, t.handed_in, i.idx, t.form, t.answers, t.marks FROM tests t JOIN entry_index i ON i.id = t.handed_in ORDER BY i.idx`)
	if err != nil {
		return err
	}
	var count int64
	var problem *Problem
	found := func(index int64, table, row, what string) {
		if problem == nil {
			problem = &Problem{Table: table, Row: row, Index: index, What: what}
		}
	}
	now := VoidedQuestions{}
	next := 0 // of voids
	var tests []*testRow
	passed := map[string]bool{} // as the entries said last
	void := func() error {
		v := voids[next]
		now.apply(v.question, v.lesson, v.edition, v.restores)
		next++
		p, err := payloadAt[*ledger.QuestionVoidedPayload](x.q, v.index)
		if err != nil {
			return err
		}
		if what := checkRemarks(v, p, tests, now, passed); what != "" {
			found(v.index, "entries", fmt.Sprint(v.index), what)
		}
		return nil
	}
	for i := range rows {
		t := &rows[i]
		for next < len(voids) && voids[next].index < t.index {
			if err := void(); err != nil {
				return err
			}
		}
		if err := x.readTest(&t.testRow, t.formHash, t.answersHash); err != nil {
			return err
		}
		tests = append(tests, &t.testRow)
		if t.form == nil {
			continue
		}
		count++
		stored, err := x.content(t.marksHash)
		if err != nil {
			return err
		}
		p, err := payloadAt[*ledger.TestHandedInPayload](x.q, t.index)
		if err != nil {
			return err
		}
		m := t.mark(now)
		passed[t.id] = p.Passed
		if !sameMarks(m, stored) {
			found(t.index, "contents", t.marksHash, "these marks do not follow from the form and the answers")
		}
		want := Remark(t.id, t.apprentice, t.task, p.Passed, m)
		if !sameRemark(want, ledger.TestRemarked{Test: p.Test, Apprentice: t.apprentice, Points: p.Points, Max: p.Max, Percent: p.Percent, Passed: p.Passed, PassedThen: p.Passed, Questions: p.Questions}) {
			found(t.index, "entries", fmt.Sprint(t.index), "what it says of the marks does not follow from the form and the answers")
		}
		if x.progress != nil && count%replayBatch == 0 {
			x.progress("marks", int64(i), int64(len(rows)))
		}
	}
	for next < len(voids) {
		if err := void(); err != nil {
			return err
		}
	}
	x.check("marks", count, problem)
	return nil
}

func (t *testRow) mark(v VoidedQuestions) *quiz.Marks {
	return quiz.MarkVoided(t.form, t.answers, t.form.Language, v.Holds)
}

// readTest reads form and answers. What is no form of the format that this program marks is left alone.
func (x *examiner) readTest(t *testRow, formHash, answersHash string) error {
	b, err := x.content(formHash)
	if err != nil {
		return err
	}
	if t.form, err = quiz.ReadForm(b); err != nil {
		t.form = nil
		return nil
	}
	if b, err = x.content(answersHash); err != nil {
		return err
	}
	if t.answers, err = quiz.ReadAnswers(b, t.form); err != nil {
		t.answers = &quiz.Answers{} // the marks will not follow from it
	}
	return nil
}

// sameMarks says whether stored marks give every question, and the whole, the same points. What else marks tell for
// feedback may grow from one version of the program to the next.
func sameMarks(m *quiz.Marks, stored []byte) bool {
	var s quiz.Marks
	if json.Unmarshal(stored, &s) != nil || s.Points != m.Points || s.Max != m.Max || s.Percent != m.Percent ||
		(s.Passed == nil) != (m.Passed == nil) || s.Passed != nil && *s.Passed != *m.Passed || !slices.Equal(s.CriticalFailed, m.CriticalFailed) {
		return false
	}
	return slices.EqualFunc(m.Questions, s.Questions, func(a, b quiz.QuestionMark) bool {
		return a.ID == b.ID && a.Correct == b.Correct && a.Points == b.Points && a.Max == b.Max && a.Voided == b.Voided
	})
}

// payloadAt is the payload of the entry at an index.
func payloadAt[P any](q querier, index int64) (none P, err error) {
	var leaf []byte
	if err := q.row(`SELECT leaf FROM entries WHERE idx = $1`, index).Scan(&leaf); err != nil {
		return none, err
	}
	p, err := ledger.Parse(leaf)
	if err != nil {
		return none, err
	}
	payload, ok := p.Payload.(P)
	if !ok {
		return none, fmt.Errorf("entry %d is a %s", index, p.Body.Type)
	}
	return payload, nil
}

// checkRemarks says what is wrong with the tests that an entry marks anew, "" if nothing is. passed is brought up to date.
func checkRemarks(v *voidRow, p *ledger.QuestionVoidedPayload, tests []*testRow, now VoidedQuestions, passed map[string]bool) string {
	given := map[string]ledger.TestRemarked{}
	for _, r := range p.Remarked {
		given[r.Test] = r
	}
	for _, t := range tests {
		if t.form == nil {
			delete(given, t.id)
			continue
		}
		had := slices.ContainsFunc(t.form.Questions, func(q quiz.Question) bool {
			return q.ID == v.question && q.Lesson == v.lesson && (v.edition == "" || q.Edition == v.edition)
		})
		r, ok := given[t.id]
		delete(given, t.id)
		switch {
		case had && !ok:
			return "test " + t.id + " had the question and is not marked anew"
		case !had && ok:
			return "test " + t.id + " never had the question"
		case !had:
			continue
		}
		want := Remark(t.id, t.apprentice, t.task, passed[t.id], t.mark(now))
		passed[t.id] = want.Passed
		if !sameRemark(r, want) {
			return "the marks of test " + t.id + " do not follow from its form and answers"
		}
	}
	if len(given) > 0 {
		return "it marks a test anew that was not handed in"
	}
	return ""
}

func sameRemark(a, b ledger.TestRemarked) bool {
	return a.Test == b.Test && a.Apprentice == b.Apprentice && a.Points == b.Points && a.Max == b.Max && a.Percent == b.Percent &&
		a.Passed == b.Passed && a.PassedThen == b.PassedThen && slices.Equal(a.Questions, b.Questions)
}

// Remark is a test marked anew, as a question_voided entry names it.
func Remark(test, apprentice, task string, passedThen bool, m *quiz.Marks) ledger.TestRemarked {
	return ledger.TestRemarked{
		Test: test, Apprentice: apprentice, Points: m.Points, Max: m.Max, Percent: m.Percent, Passed: m.Passed != nil && *m.Passed,
		PassedThen: passedThen, Questions: QuestionsDone(task, m),
	}
}

// QuestionsDone are the answers that marks count: a voided question says nothing of what somebody knows.
func QuestionsDone(task string, m *quiz.Marks) []ledger.QuestionDone {
	out := []ledger.QuestionDone{}
	for _, q := range m.Questions {
		if !q.Voided {
			out = append(out, ledger.QuestionDone{Question: q.ID, Task: task, Correct: q.Correct})
		}
	}
	return out
}
