package quiz_test

import (
	"slices"
	"testing"

	"brakewright/quiz"
)

// three forms' worth of questions: what is chosen is counted, and what is odd is said.
func TestStatistics(t *testing.T) {
	single := func(id string) quiz.Question {
		return quiz.Question{ID: id, Kind: quiz.Single, Lesson: "l", Edition: "e", Key: quiz.Key{ID: "a"},
			Options: []quiz.Option{{ID: "a", Text: "A", Element: "x/1"}, {ID: "b", Text: "B", Element: "x/2"}, {ID: "c", Text: "C", Element: "x/3"}}}
	}
	number := quiz.Question{ID: "n", Kind: quiz.Number, Lesson: "l", Edition: "e", Key: quiz.Key{Number: &quiz.NumberKey{Value: "4.8", Unit: "MPa", Tolerance: "0"}},
		Slips: []quiz.NamedSlip{{Element: "arithmetic/1/slip-1", Value: "48"}}}
	form := &quiz.Form{Language: "en", Questions: []quiz.Question{single("good"), single("bad"), single("easy"), single("rest"), number}}
	var attempts []quiz.Attempt
	for i := range 12 {
		knows := i%2 == 0
		a := map[string]quiz.Answer{"easy": {ID: "a"}, "good": {ID: "b"}, "bad": {ID: "a"}, "rest": {ID: "c"}, "n": {Text: "48 MPa"}}
		if knows {
			a["good"], a["bad"], a["rest"], a["n"] = quiz.Answer{ID: "a"}, quiz.Answer{ID: "b"}, quiz.Answer{ID: "a"}, quiz.Answer{Text: "4.8"}
		}
		if i == 3 {
			a["bad"] = quiz.Answer{ID: "b"}
		}
		if i == 5 {
			delete(a, "n")
		}
		attempts = append(attempts, quiz.Attempt{Form: form, Answers: &quiz.Answers{Answers: a}})
	}
	got := quiz.Statistics(attempts)
	by := map[string]quiz.Statistic{}
	for _, s := range got {
		by[s.Question.ID] = s
	}
	if len(got) != 5 || got[0].Question.ID != "bad" {
		t.Fatalf("%+v", got)
	}
	if s := by["good"]; s.Asked != 12 || s.Right != 6 || s.RightPercent != 50 || s.Discrimination == nil || *s.Discrimination < 0.9 || len(s.Doubts) != 0 {
		t.Errorf("good: %+v %v", s, *s.Discrimination)
	}
	if s := by["bad"]; *s.Discrimination > -0.5 || !slices.Equal(s.Doubts, []quiz.Doubt{quiz.KeyOutdrawn, quiz.UpsideDown}) || s.Choices[0].Text != "B" || s.Choices[0].Chosen != 7 || s.Choices[2].Chosen != 0 {
		t.Errorf("bad: %+v %v", s, *s.Discrimination)
	}
	if s := by["easy"]; s.Discrimination != nil || !slices.Equal(s.Doubts, []quiz.Doubt{quiz.AlwaysRight}) {
		t.Errorf("easy: %+v", s)
	}
	if s := by["n"]; s.Answered != 11 || s.Choices[0].Text != "4.8 MPa" || s.Choices[1].Element != "arithmetic/1/slip-1" || s.Choices[1].Chosen != 5 || s.Choices[1].Percent != 45 {
		t.Errorf("number: %+v", s)
	}
	if len(quiz.Statistics(nil)) != 0 {
		t.Error("of nothing")
	}
	// Another edition of the lesson is another question.
	other := *form
	other.Questions = slices.Clone(form.Questions)
	other.Questions[0].Edition = "f"
	if n := len(quiz.Statistics(append(attempts, quiz.Attempt{Form: &other, Answers: &quiz.Answers{}}))); n != 6 {
		t.Errorf("%d lines", n)
	}
}

// A voided question is right for everybody and fails nobody.
func TestMarkVoided(t *testing.T) {
	p := mustBuild(t, tricky)
	f := mustGenerate(t, p, quiz.Request{Blueprint: "pump-theory"}, quiz.Draw{Vehicle: "rig-one"})
	for i := range f.Questions {
		q := &f.Questions[i]
		a := &quiz.Answers{Answers: map[string]quiz.Answer{}}
		for j := range f.Questions {
			if j != i {
				a.Answers[f.Questions[j].ID] = right(f.Questions[j])
			}
		}
		m := quiz.MarkVoided(f, a, "en", func(o *quiz.Question) bool { return o.ID == q.ID })
		if m.Percent != 100 || !*m.Passed || !m.Questions[i].Voided || m.Questions[(i+1)%len(m.Questions)].Voided {
			t.Errorf("%s", m.JSON())
		}
		// Nobody's points fall by it.
		for _, given := range []*quiz.Answers{a, {}} {
			before := quiz.Mark(f, given, "en")
			for j := range f.Questions {
				after := quiz.MarkVoided(f, given, "en", func(o *quiz.Question) bool { return o.ID == f.Questions[j].ID })
				if after.Points < before.Points || *before.Passed && !*after.Passed {
					t.Errorf("%d points became %d", before.Points, after.Points)
				}
			}
		}
	}
}
