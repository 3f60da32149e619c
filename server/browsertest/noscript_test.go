package browsertest

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/server/acts/actstest"
)

// askForJobAs asks through the acts.
func (s *site) askForJobAs(m *actstest.Member, task, vehicle string) string {
	s.t.Helper()
	j, err := s.Acts.AskJob(context.Background(), s.Who(m), acts.JobRequest{Apprentice: m.ID, Task: task, Vehicle: vehicle})
	if err != nil {
		s.t.Fatal(err)
	}
	return j.ID
}

// TestWithoutScript does the main job in a browser that runs no JavaScript: study, test with its arrows as plain buttons, a
// job on a car described on the spot, the sheet, what goes wrong on it, the signature.
func TestWithoutScript(t *testing.T) {
	s := newSite(t)
	learner, super := s.Apprentices[0], s.Supervisors[0]
	a := newVisitor(t, s.url, phone, false)
	a.logIn(learner)
	if ran := mustEval[bool](a, "!!document.querySelector('[data-print]:not([hidden])')"); ran {
		t.Fatal("JavaScript runs")
	}
	a.pressIn("nav", "Lessons")
	a.pick("#vehicle", car)
	a.press("Show")
	a.press(s.Programme.Lesson("safety-induction", "").Title)
	a.press("I have read this lesson")
	a.says("Noted: you have read this lesson.")

	a.open("/tests/start?task=induction")
	a.press("Begin the test")
	_, form := s.openTest(a)
	later := slices.IndexFunc(form.Questions, func(q quiz.Question) bool { return q.Kind != quiz.Order }) // lines that move are kept at once
	for i, q := range form.Questions {
		a.answer(q, actstest.RightAnswer(q))
		if i == later {
			a.press("Leave it for now") // and come back to it
			continue
		}
		a.pressAt("button[name=go][value=next]")
	}
	a.says("1 of " + fmt.Sprint(len(form.Questions)) + " questions is not answered.")
	a.press("Answer the first of them")
	a.answer(form.Questions[later], actstest.RightAnswer(form.Questions[later]))
	a.press("Save and go on")
	a.press("Look over and hand in")
	a.press("Hand in")
	a.says("Passed: 100 %")

	job := s.askForOtherCar(a)
	w := newVisitor(t, s.url, phone, false)
	w.logIn(super)
	w.says(learner.Name+": Make a car safe to work on", "grey estate")
	w.press("Watch this job")
	w.at("/jobs/" + job + ".*")
	all := steps(w)
	w.pressIn("#"+all[0].ID, "Taken over") // what is tapped by mistake is taken back
	w.pressAt("#undo")
	w.says("Undone.")
	w.expect("422")
	w.pressAt("#outcome-finished")
	w.says("Before it can be finished, these must be tapped:")
	sentBack := false
	for _, st := range all {
		row := "#" + st.ID
		switch {
		case st.Hold && !sentBack: // without a reason, with one, then seen again
			w.pressIn(row, "Unaided")
			w.unfold(row, "Send back")
			w.expect("422")
			w.pressAt("#" + st.ID + "-s")
			w.fill(row+" input[name=reason]", "The label was not read")
			w.pressAt("#" + st.ID + "-s")
			w.says("Sent back: The label was not read")
			w.pressIn(row, "Accept")
			sentBack = true
		case st.Hold:
			w.pressIn(row, "Unaided, and accepted")
		case st.Critical:
			w.pressIn(row, "Unaided")
		}
	}
	w.pressAt("#rest")
	w.pressAt("#outcome-finished")
	w.at(`/sign\?job=` + job)
	if got := w.text(".statement"); !strings.Contains(got, "grey estate") {
		t.Errorf("the statement does not name the car: %q", got)
	}
	w.fill("#passphrase", super.Passphrase)
	w.press("Sign")
	w.says("Signed.")
	a.open("/people/" + learner.ID + "/tasks/induction")
	s.supposes(a)
}

// askForOtherCar describes a car that has no sheet and asks for a job on it.
func (s *site) askForOtherCar(a *visitor) string {
	s.t.Helper()
	a.open("/jobs/ask")
	a.pick("#task", "induction")
	a.choose("input[name=vehicle][value=other]")
	a.press("Ask")
	a.says("Describe the car")
	a.fill("#title", "grey estate, 2015")
	a.pick("#layout", "diagonal")
	a.press("Go on to the limits")
	a.says("Nothing is measured in this task on this car.")
	a.press("Ask")
	a.at(`/jobs/[0-9a-f-]{36}\?notice=job_asked`)
	a.says("grey estate, 2015")
	return a.where()[len("/jobs/"):][:36]
}
