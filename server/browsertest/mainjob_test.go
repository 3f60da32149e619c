package browsertest

import (
	"fmt"
	"html"
	"regexp"
	"strings"
	"testing"
	"time"

	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/server/acts/actstest"
)

// story is the task that one run of the main job is about, and its car.
type story struct {
	size                         size
	task, title, lesson, vehicle string
	shows                        string // a figure or sentence of the lesson for this car
}

// car is a vehicle sheet of the programme.
const car = "trainer-a"

// The long sheet with wheels and readings goes on the phone, where it is used; the short one on the desk.
var stories = []story{
	{phone, "bleed-manual", "Bleed a hydraulic system by two people", "bleed-two-person", car, "bleeder torque (8 N·m)"},
	{desktop, "induction", "Make a car safe to work on", "safety-induction", "trainer-b", "For Trainer B sedan"},
}

// run is a story being played.
type run struct {
	*site
	story
	learner, super *actstest.Member
}

// TestMainJob is the whole job through the pages as all three people: read, test, watched job, signature, standing,
// clearance, board, today's floor, stand-down.
func TestMainJob(t *testing.T) {
	for _, x := range stories {
		t.Run(x.size.name, func(t *testing.T) {
			s := run{newSite(t), x, nil, nil}
			s.learner, s.super = s.Apprentices[0], s.Supervisors[0]
			if s.task != "induction" { // what comes before the task
				s.Ready(s.learner, "induction")
				s.Clear(s.super, s.learner, "induction")
			}

			a := s.visitAs(s.learner, s.size)
			a.at("/next")
			s.readLesson(a)
			s.takeTest(a)
			job := s.askForJob(a)

			w := s.visitAs(s.super, s.size)
			w.at("/waiting")
			w.says(s.learner.Name+": "+s.title, "bay 3", "WO-77")
			w.press("Watch this job")
			w.at("/jobs/" + job)
			s.watchJob(w)
			s.signJob(w)

			a.open("/standing")
			a.press(s.title + " Building")
			s.supposes(a)
			n := s.JobsUntilReady(s.learner, s.task)
			a.logIn(s.learner) // days have passed
			a.open("/standing")
			a.press(s.title + " Ready for decision")
			a.says("Ready for decision", "Open Watched jobs")
			t.Logf("%d more jobs through the acts until ready", n)

			w.logIn(s.super)
			s.clearOnPage(w)
			a.open("/standing")
			a.says(s.title + " Cleared")

			c := s.visitAs(s.Coordinator, s.size)
			c.open("/board")
			if got := c.text(s.cell()); !strings.HasPrefix(got, "Cleared") {
				t.Errorf("the board says %q of %s", got, s.learner.Name)
			}
			s.onFloor(w, true)
			s.standDown(w, c, a)
			s.otherPages(a, w, c, job)
			if v := s.Standing(s.learner, s.task); v.Standing != readiness.StoodDown {
				t.Errorf("got standing %s at the end", v.Standing)
			}
		})
	}
}

// path is the page of the learner's standing with the task; cell selects the link to it on the board.
func (s *run) path() string { return "/people/" + s.learner.ID + "/tasks/" + s.task }
func (s *run) cell() string { return fmt.Sprintf("main td a[href$=%q]", s.path()) }

// readLesson opens the task's lessons for the car and notes that they were read.
func (s *run) readLesson(a *visitor) {
	s.t.Helper()
	a.pressIn("nav", "Lessons")
	a.pick("#vehicle", s.vehicle)
	a.press("Show")
	a.at(`/lessons\?vehicle=` + s.vehicle)
	for _, other := range s.Programme.Task(s.task).Lessons {
		if other == s.lesson {
			continue
		}
		a.press(s.Programme.Lesson(other, "").Title)
		a.at("/lessons/" + other + `\?vehicle=` + s.vehicle)
		a.press("I have read this lesson")
		a.pressIn("nav", "Lessons")
		a.pick("#vehicle", s.vehicle)
		a.press("Show")
	}
	a.press(s.Programme.Lesson(s.lesson, "").Title)
	a.at("/lessons/" + s.lesson + `\?vehicle=` + s.vehicle)
	a.says(s.Programme.Vehicle(s.vehicle).Title, "Brakes can kill", s.shows)
	a.press("I have read this lesson")
	a.says("Noted: you have read this lesson.", "You noted on")
}

// takeTest answers the theory test with the stored keys. Until it is handed in, nothing that the server answers may hold a
// key or what would tell it.
func (s *run) takeTest(a *visitor) {
	s.t.Helper()
	s.record()
	a.pressIn("nav", "What next")
	a.press("Go to the theory test")
	a.at(`/tests/start\?task=` + s.task)
	a.pick("#vehicle", s.vehicle)
	a.press("Begin the test")
	id, form := s.openTest(a)
	kinds := map[quiz.Kind]int{}
	for i, q := range form.Questions {
		a.at(fmt.Sprintf("/tests/%s/questions/%d", id, i+1))
		a.says(strings.Join(strings.Fields(q.Stem), " "))
		hidesKey(a, form, a.content())
		a.answer(q, actstest.RightAnswer(q))
		words := "Save and go on"
		if i == len(form.Questions)-1 {
			words = "Save and finish"
		}
		a.press(words)
		kinds[q.Kind]++
	}
	a.says(fmt.Sprintf("All %d questions are answered.", len(form.Questions)))
	a.open(fmt.Sprintf("/tests/%s/questions/2", id)) // answers were kept
	a.open("/tests/" + id + "/hand-in")
	hidesKey(a, form, s.recorded())
	a.press("Hand in")
	a.at("/tests/" + id)
	a.says("Passed: 100 %", fmt.Sprintf("%d of %d right", len(form.Questions), len(form.Questions)), "From the lesson:")
	s.t.Logf("%s: test of %d questions: %v", s.size.name, len(form.Questions), kinds)
}

// hidesKey fails if a text holds what only the stored form may hold. Plain words are no secret: that a lesson's step is
// named is; that a question asks for an order is not.
func hidesKey(v *visitor, form *quiz.Form, text string) {
	v.t.Helper()
	text = html.UnescapeString(text)
	flat := strings.Join(strings.Fields(text), " ")
	hidden := func(what, secret string) {
		if secret != "" && strings.Contains(flat, secret) {
			v.t.Errorf("%s: %s gives away the %s %q", v.size.name, v.where(), what, secret)
		}
	}
	for _, word := range []string{`"key"`, `"family"`, `"element"`, `"explanation"`, `"source"`, "data-key", "data-family", "data-element"} {
		hidden("field", word)
	}
	for _, q := range form.Questions {
		if strings.Contains(q.Family, "-") {
			hidden("family", q.Family)
		}
		hidden("explanation", strings.Join(strings.Fields(q.Explanation), " "))
		hidden("source", q.Source.Element)
		hidden("source", q.Source.File)
		for _, o := range append(q.Options, q.Targets...) {
			if strings.Contains(o.Element, "/") { // others are plain words
				hidden("element of an option", o.Element)
			}
		}
	}
}

// askForJob asks for a watched job and gives its id.
func (s *run) askForJob(a *visitor) string {
	s.t.Helper()
	a.pressIn("nav", "Ask for a job")
	a.pick("#task", s.task)
	a.choose(`input[name=vehicle][value="` + s.vehicle + `"]`)
	a.fill("#bay", "3")
	a.fill("#work_order", "WO-77")
	a.press("Ask")
	a.at(`/jobs/[0-9a-f-]{36}`)
	a.says("Asked. A supervisor will see it at once.", "Waiting for a supervisor")
	return a.where()[len("/jobs/"):][:36]
}

// sheetStep is a step as the sheet shows it.
type sheetStep struct {
	ID             string
	Critical, Hold bool
	Measures       int
}

func steps(v *visitor) []sheetStep {
	v.t.Helper()
	return mustEval[[]sheetStep](v, `[...document.querySelectorAll("li.step")].map((e) => ({id: e.id, critical: !!e.querySelector(".flag.critical"), hold: !!e.querySelector(".flag.hold"), measures: e.querySelectorAll(".measure").length}))`)
}

// figure is the first figure of a limit in words: it lies within, whatever kind of limit it is.
var figure = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

// watchJob taps a sheet as a supervisor does in the bay: a tap for each critical step and hold point, readings where one is
// asked, then the rest in one tap, then the outcome. It counts the taps: there may be no more than the sheet asks for.
func (s *run) watchJob(w *visitor) {
	s.t.Helper()
	all := steps(w)
	single, readings, before := 0, 0, w.taps
	for i, st := range all {
		row := "#" + st.ID
		if st.Measures > 0 {
			s.enterReading(w, row)
			readings++
		}
		switch {
		case st.Hold && i%2 == 0:
			w.pressIn(row, "Unaided, and accepted")
			single++
		case st.Hold:
			w.pressIn(row, "Unaided")
			w.pressIn(row, "Accept")
			single += 2
		case st.Critical:
			w.pressIn(row, "Unaided")
			single++
		default:
			continue
		}
		if got := w.text(row); st.Hold && !strings.Contains(got, "Accepted: the work may go on.") {
			s.t.Errorf("a hold point accepted reads %q", got)
		}
	}
	w.hides("Before it can be finished")
	rest := w.text("#rest")
	w.pressAt("#rest")
	w.says("Tapped with the rest.")
	s.Clock.Add(20 * time.Minute)
	w.press("Finished")
	w.at(`/sign\?job=[0-9a-f-]{36}`)
	taps := w.taps - before
	s.t.Logf("%s: a sheet of %d steps took %d taps: %d single, %d readings, %q, outcome", w.size.name, len(all), taps, single, readings, rest)
	if want := single + readings + 2; taps != want {
		s.t.Errorf("%d taps, want %d", taps, want)
	}
}

// enterReading types a reading within the limit and has it judged.
func (s *run) enterReading(w *visitor, row string) {
	s.t.Helper()
	limit := w.text(row + " .limit-text")
	value := figure.FindString(limit)
	if value == "" {
		s.t.Fatalf("no limit to be read in %q", w.text(row+" .measure"))
	}
	w.fill(row+" input[name=value]", value)
	w.fill(row+" input[name=instrument]", "gauge 4")
	w.pressIn(row, "Judge")
	judged := strings.Contains(limit, "at ") || strings.Contains(limit, "between") // else a figure to be met, with no tolerance
	if got := w.text(row + " .reading"); !strings.Contains(got, value) || judged && !strings.Contains(got, "within the limit") {
		s.t.Errorf("a reading at the limit %q reads %q", limit, got)
	}
}

// signJob reads what will be signed and signs; a wrong passphrase first.
func (s *run) signJob(w *visitor) {
	s.t.Helper()
	w.says("This is what you will sign.", s.learner.Name+": "+s.title, "Outcome: finished.", "Critical steps and hold points (✓ accepted), unaided", "cannot be taken back")
	w.fill("#passphrase", "not the passphrase of anybody")
	w.expect("422")
	w.press("Sign")
	w.says("Nothing was saved yet.", "wrong")
	w.fill("#passphrase", s.super.Passphrase)
	w.press("Sign")
	w.at(`/waiting`)
	w.says("Signed.")
}

// clearOnPage decides on the page of the standing.
func (s *run) clearOnPage(w *visitor) {
	s.t.Helper()
	w.open("/board")
	w.pressAt(s.cell())
	w.says("Ready for decision", "The program gives advice. You decide, under your name.")
	w.unfold("main", "Clear "+s.learner.Name+" for this task")
	w.fill("#passphrase", s.super.Passphrase)
	w.press("Clear and sign")
	w.says("Cleared and signed.", "Cleared")
}

// onFloor asks today's floor for the task.
func (s *run) onFloor(w *visitor, alone bool) {
	s.t.Helper()
	w.pressIn("nav", "Today’s floor")
	w.pick("#task", s.task)
	w.press("Show")
	got := w.text("section[aria-labelledby=alone]")
	if strings.Contains(got, s.learner.Name) != alone {
		s.t.Errorf("today's floor says %q; alone should be %v", got, alone)
	}
}

// standDown suspends the clearance without a passphrase: it must take effect at once for all three people.
func (s *run) standDown(w, c, a *visitor) {
	s.t.Helper()
	w.open(s.path())
	w.unfold("main", "Stand down")
	w.fill("#stand_reason", "Pedal not checked before the road test")
	w.press("Stand down for this task")
	w.says("Stood down. It holds from now on.")
	s.onFloor(w, false)
	w.says("Stood down.")
	c.open("/board")
	if got := c.text(s.cell()); !strings.HasPrefix(got, "Stood down") {
		s.t.Errorf("the board says %q", got)
	}
	a.open("/standing")
	a.says(s.title + " Stood down")
	a.press(s.title + " Stood down")
	a.says("Pedal not checked before the road test")
}

// otherPages visits what the main job did not lead to, so that every page is held to the rules at each size.
func (s *run) otherPages(a, w, c *visitor, job string) {
	s.t.Helper()
	for _, path := range []string{"/next", "/record", "/account", "/jobs/alone", "/tests/start", "/lessons/" + s.lesson, "/lessons/" + s.lesson + "/practice?vehicle=" + car, "/vehicles/" + car,
		"/lessons/caliper-replace?vehicle=trainer-b", "/lessons/master-cylinder-replace?vehicle=trainer-c", "/lessons/safety-induction", "/lessons/safety-induction/notes", "/changes", "/jobs/" + job} {
		a.open(path)
	}
	for _, path := range []string{"/waiting", "/sign", "/cases", "/cases/new", "/checks/new", "/jobs/number", "/jobs/ask?watch=1", "/jobs/" + job, "/people/" + s.learner.ID, "/people/" + s.learner.ID + "/record", "/severity", "/account"} {
		w.open(path)
	}
	for _, path := range []string{"/jobs", "/cases", "/cases/new?q=WO-77", "/board?search=nobody+of+that+name", "/people", "/people/due", "/people/" + s.learner.ID + "/erase", "/people/new", "/people/" + s.learner.ID, "/people/" + s.learner.ID + "/record", "/keys", "/questions", "/programme", "/programme/write?begin=Fit+a+drain+hose", "/lessons/safety-induction/notes", "/estimate", "/severity", s.path() + "?suppose=3", "/ledger", "/account"} {
		c.open(path)
	}
	v := s.visit(c.size)
	v.open("/login")
	v.open("/login/code")
	v.open("/login?next=%2Fboard&notice=session_ended")
	v.fill("#login", s.learner.Login)
	v.fill("#password", "not the password at all")
	v.expect("401")
	v.press("Log in")
	a.expect("404")
	a.open("/no/such/page")
}
