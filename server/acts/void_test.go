package acts

import (
	"maps"
	"slices"
	"testing"

	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/store"
)

// takeTest answers everything rightly but what wrong says, and hands in.
func (w *world) takeTest(p *store.Person, task, vehicle string, wrong func(q *quiz.Question) bool) (*store.Test, *quiz.Form) {
	w.t.Helper()
	x, form, err := w.StartTest(w.ctx, p, "", task, vehicle)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, q := range form.Questions {
		if !wrong(&q) {
			wants(w.t, w.Answer(w.ctx, p, x.ID, q.ID, rightAnswer(q)), "")
		}
	}
	if _, _, err := w.HandIn(w.ctx, p, "", x.ID); err != nil {
		w.t.Fatal(err)
	}
	x, err = w.Store.Test(w.ctx, x.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	return x, form
}

func (w *world) theoryGate(p *store.Person, task string) bool {
	for _, g := range w.standing(p, task).Gates {
		if g.Gate == "theory_test" {
			return g.OK
		}
	}
	w.t.Fatal("no such gate")
	return false
}

// failing is what to answer wrongly so that one question makes the difference: a critical one alone, or as many others as
// it takes.
func failing(f *quiz.Form) map[string]bool {
	out := map[string]bool{}
	for _, q := range f.Questions {
		if q.Critical {
			return map[string]bool{q.ID: true}
		}
	}
	for _, q := range f.Questions {
		if 100*(len(f.Questions)-len(out)) >= *f.PassPercent*len(f.Questions) {
			out[q.ID] = true
		}
	}
	return out
}

// A question at fault fails an apprentice; voided, it does not, and the gate opens from that day on. Put back, it
// fails them again. The ledger verifies all through, and the projections come out equal.
func TestVoidedQuestion(t *testing.T) {
	w := newWorld(t)
	ada, p := w.ada(), w.pat(0)
	critical := func(q *quiz.Question) bool { return q.Critical }
	_, form, err := w.StartTest(w.ctx, p, "", "pads", "wagon")
	wants(t, err, "")
	bad := failing(form)
	x, _ := w.takeTest(p, "pads", "wagon", func(q *quiz.Question) bool { return bad[q.ID] })
	first := slices.Sorted(maps.Keys(bad))[0]
	if x.Passed || w.theoryGate(p, "pads") {
		t.Fatalf("wrong %v, passed %v", bad, x.Passed)
	}
	after := 100 * (len(form.Questions) - len(bad) + 1) / len(form.Questions)
	q := form.Question(first)
	r := VoidRequest{Question: q.ID, Lesson: q.Lesson, Edition: q.Edition, Reason: "two answers are right", Passphrase: pass(w.Coordinators[0])}
	_, err = w.PreviewVoid(w.ctx, w.sam(0), r)
	wants(t, err, "not_allowed")
	_, err = w.PreviewVoid(w.ctx, ada, VoidRequest{Question: "nothing", Lesson: q.Lesson})
	wants(t, err, "not_found")
	back := r
	back.Restores = true
	_, err = w.PreviewVoid(w.ctx, ada, back)
	wants(t, err, "question_not_voided")

	seen := must[*VoidPreview](t)(w.PreviewVoid(w.ctx, ada, r))
	if len(seen.Remarked) != 1 || len(seen.Changed()) != 1 || !seen.Remarked[0].Passed || seen.Remarked[0].PassedThen || seen.Remarked[0].Percent != after || len(seen.Remarked[0].Questions) != len(form.Questions)-1 {
		t.Errorf("%+v", seen)
	}
	day := w.Clock.Now()
	w.Clock.Add(24 * 3600e9)
	for _, row := range []struct {
		name, want string
		change     func(*VoidRequest)
	}{
		{"no reason", "reason_needed", func(r *VoidRequest) { r.Reason = " " }},
		{"no passphrase", "passphrase_needed", func(r *VoidRequest) { r.Passphrase = "" }},
		{"something else was shown", "marks_changed", func(r *VoidRequest) { r.Seen = "x" }},
	} {
		v := r
		row.change(&v)
		_, _, err := w.Void(w.ctx, ada, v)
		if got := code(t, err); got != row.want {
			t.Errorf("%s: %q", row.name, got)
		}
	}
	r.Seen, r.ID = seen.Hash, w.ID()
	done, receipt, err := w.Void(w.ctx, ada, r)
	wants(t, err, "")
	_, same, err := w.Void(w.ctx, ada, r)
	wants(t, err, "")
	if len(done.Changed()) != 1 || same != receipt {
		t.Errorf("%+v, %+v", done, same)
	}
	other := r
	other.ID = ""
	_, _, err = w.Void(w.ctx, ada, other)
	wants(t, err, "question_voided")
	if v := must[*TestView](t)(w.Test(w.ctx, p, x.ID)); !*v.Marks.Passed || v.Marks.Percent != after || len(v.Voids) != 1 || !v.Test.Passed || v.Test.Percent != after {
		t.Errorf("%s %+v", v.Marks.JSON(), v.Test)
	}
	if !w.theoryGate(p, "pads") {
		t.Error("the gate stays closed")
	}
	w.sound()
	// What a verdict of an earlier date rested on is still seen.
	f := must[*frame](t)(w.frame(w.ctx))
	evidence := must[[]readiness.Record](t)(w.Store.Evidence(w.ctx, p.ID))
	date := day.Format("2006-01-02")
	if v, _ := verdictOf(f.assess(p.ID, evidence, date), "pads"); slices.ContainsFunc(v.Gates, func(g readiness.Gate) bool { return g.Gate == "theory_test" && g.OK }) {
		t.Error("the day before, the gate was closed")
	}

	// It is not asked again, neither in tests nor in practice; who hands in later is marked with it.
	for range 6 {
		_, again := w.takeTest(w.pat(1), "pads", "wagon", critical)
		if again.Question(first) != nil {
			t.Fatal("a voided question is asked")
		}
	}
	w.sound()

	// Put back, it counts as it was answered.
	back.ID = ""
	seen = must[*VoidPreview](t)(w.PreviewVoid(w.ctx, ada, back))
	if len(seen.Changed()) != 1 || seen.Changed()[0].Passed {
		t.Errorf("%+v", seen.Remarked)
	}
	_, _, err = w.Void(w.ctx, ada, back)
	wants(t, err, "")
	if w.theoryGate(p, "pads") {
		t.Error("the gate stays open")
	}
	if v := must[*TestView](t)(w.Test(w.ctx, p, x.ID)); *v.Marks.Passed || len(v.Voids) != 0 {
		t.Errorf("%s", v.Marks.JSON())
	}
	// And out again, in all editions.
	r.ID, r.Edition, r.Seen = "", "", ""
	_, _, err = w.Void(w.ctx, ada, r)
	wants(t, err, "")
	if !w.theoryGate(p, "pads") {
		t.Error("the gate stays closed")
	}
	w.sound()
}

// A test open while a question of it is voided is marked with that when it is handed in.
func TestVoidedWhileOpen(t *testing.T) {
	w := newWorld(t)
	ada, p, other := w.ada(), w.pat(0), w.pat(1)
	x, form, err := w.StartTest(w.ctx, p, "", "pads", "wagon")
	wants(t, err, "")
	// Somebody else had the same question.
	var q *quiz.Question
	for range 40 {
		_, f := w.takeTest(other, "pads", "wagon", func(*quiz.Question) bool { return false })
		for i := range form.Questions {
			if f.Question(form.Questions[i].ID) != nil {
				q = &form.Questions[i]
			}
		}
		if q != nil {
			break
		}
	}
	if q == nil {
		t.Fatal("no question came twice")
	}
	_, _, err = w.Void(w.ctx, ada, VoidRequest{Question: q.ID, Lesson: q.Lesson, Edition: q.Edition, Reason: "wrong key", Passphrase: pass(w.Coordinators[0])})
	wants(t, err, "")
	for _, o := range form.Questions {
		if o.ID != q.ID {
			wants(t, w.Answer(w.ctx, p, x.ID, o.ID, rightAnswer(o)), "")
		}
	}
	m, _, err := w.HandIn(w.ctx, p, "", x.ID)
	wants(t, err, "")
	if m.Percent != 100 || !*m.Passed {
		t.Errorf("%s", m.JSON())
	}
	w.sound()
}

// Statistics count what was answered, whatever was voided.
func TestQuestionStatistics(t *testing.T) {
	w := newWorld(t)
	_, err := w.Questions(w.ctx, w.sam(0), QuestionFilter{})
	wants(t, err, "not_allowed")
	if all := must[[]QuestionStatistic](t)(w.Questions(w.ctx, w.ada(), QuestionFilter{})); len(all) != 0 {
		t.Fatalf("%d", len(all))
	}
	_, form := w.takeTest(w.pat(0), "pads", "wagon", func(*quiz.Question) bool { return true })
	all := must[[]QuestionStatistic](t)(w.Questions(w.ctx, w.ada(), QuestionFilter{Task: "pads", Lesson: "pads"}))
	if len(all) != len(form.Questions) || all[0].Asked != 1 || all[0].Right != 0 || all[0].Answered != 0 {
		t.Fatalf("%+v", all)
	}
	if none := must[[]QuestionStatistic](t)(w.Questions(w.ctx, w.ada(), QuestionFilter{Task: "induction"})); len(none) != 0 {
		t.Errorf("%d", len(none))
	}
	q := all[0].Question
	one := must[*QuestionStatistic](t)(w.Question(w.ctx, w.ada(), q.ID, q.Lesson, q.Edition))
	if one.Asked != 1 || len(one.Tests) != 1 || one.Voided {
		t.Errorf("%+v", one)
	}
	_, err = w.Question(w.ctx, w.ada(), q.ID, q.Lesson, "")
	wants(t, err, "not_found")
}

// sound verifies the database as it stands.
func (w *world) sound() {
	w.t.Helper()
	v, err := store.Verify(w.ctx, w.Options, false, nil)
	if err != nil || !v.OK {
		w.t.Fatalf("%v %+v %+v", err, v.FirstProblem, v.Checks)
	}
	if !slices.ContainsFunc(v.Checks, func(c store.Check) bool { return c.Name == "marks" && c.Count > 0 && c.OK }) {
		w.t.Fatalf("no marks were looked at: %+v", v.Checks)
	}
}
