package server

import (
	"context"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/store/storetest"
)

// answerTest answers every question of an open theory test on its pages: right, unless wrong says otherwise.
func (b *browser) answerTest(p *shown, wrong func(n int, q quiz.Question) bool) *shown {
	b.t.Helper()
	id := strings.Split(p.url.Path, "/")[2]
	x, err := b.w.Store.Test(context.Background(), id)
	if err != nil {
		b.t.Fatal(err)
	}
	raw, err := b.w.Store.Content(context.Background(), x.Form)
	if err != nil {
		b.t.Fatal(err)
	}
	f, err := quiz.ReadForm(raw)
	if err != nil {
		b.t.Fatal(err)
	}
	for i, q := range f.Questions {
		p.says(http.StatusOK, strings.Join(strings.Fields(q.Stem), " "))
		for _, hidden := range []string{q.Explanation, q.Source.Element} {
			if hidden != "" {
				p.hides(hidden)
			}
		}
		form := p.form(`value="next"`)
		if wrong != nil && wrong(i+1, q) {
			p = form.press("skip")
			continue
		}
		switch q.Kind {
		case quiz.Single, quiz.Point:
			form.set("answer", q.Key.ID)
		case quiz.Several:
			form.set("answer", q.Key.IDs...)
		case quiz.Order:
			for at, id := range orderOf(q) {
				form.set("at-"+id, itoa(at+1))
			}
			form.set("order", orderOf(q)...)
		case quiz.Match:
			for _, pair := range q.Key.Pairs {
				form.set("match-"+pair[0], pair[1])
			}
		case quiz.Number:
			form.set("answer", q.Key.Number.Value+" "+q.Key.Number.Unit)
		}
		p = form.press("next")
	}
	return p
}

// watch does a job on its sheet, tap by tap, from "Waiting" to signed, and counts the presses.
func (b *browser) watch(m *storetest.Member, apprentice string) (presses int) {
	b.t.Helper()
	p := b.get("/waiting").says(http.StatusOK, apprentice)
	p = p.form("Watch this job").press("Watch this job")
	presses++
	p.says(http.StatusOK, "You are watching this job.", "critical or hold")
	p.hides(", go on</a>") // nothing is tapped yet
	steps := regexp.MustCompile(`(?s)<li class="step[^"]*" id="([^"]*)">(.*?)\n</li>`).FindAllStringSubmatch(p.body, -1)
	if len(steps) < 10 {
		b.t.Fatalf("the sheet has %d steps", len(steps))
	}
	for _, st := range steps {
		critical, hold := strings.Contains(st[2], "flag critical"), strings.Contains(st[2], "flag hold")
		if !critical && !hold {
			continue
		}
		key := regexp.MustCompile(`name="step" value="([^"]*)"`).FindStringSubmatch(st[2])[1]
		form := p.form(`name="step" value="` + key + `"`)
		if hold {
			p = form.press("Unaided, and accepted")
		} else {
			p = form.press("unaided")
		}
		if presses++; presses == 2 {
			p.says(http.StatusOK, ", go on")
		}
		p.says(http.StatusOK, "Saved.")
	}
	p.hides("critical or hold</a>")
	p = p.form(`name="rest"`).press("")
	presses++
	b.w.Clock.Add(20 * time.Minute)
	p = p.form(`value="finished"`).press("Finished")
	presses++
	p.says(http.StatusOK, "This is what you will sign.", "Outcome: finished")
	p = p.form("passphrase").set("passphrase", m.Passphrase).press("Sign")
	presses++
	p.says(http.StatusOK, "Signed.")
	return presses
}

// TestMainJobOnPages is the whole job in a browser without JavaScript, as all three people.
func TestMainJobOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	a := w.Apprentices[0]
	apprentice, sup := w.as(a), w.as(w.Supervisors[0])

	// What next: the lesson of the induction.
	p := apprentice.get("/").says(200, "What next", "Read the lesson", "Make a car safe to work on", "Untried")
	p = p.follow("Open the lesson")
	p.says(200, "I have read this lesson", "see the maker")
	p = p.form("I have read this lesson").press("")
	p.says(200, "Noted: you have read this lesson.", "You noted on")

	// The theory test: first one question left open, then all.
	p = apprentice.get("/next").follow("Go to the theory test")
	p.says(200, "Theory test", "There is no clock")
	p = p.form("Begin the test").press("")
	p = apprentice.answerTest(p, func(n int, _ quiz.Question) bool { return n == 2 })
	p.says(200, "1 of 12 questions is not answered")
	p = p.follow("Answer the first of them")
	p.says(200, "Question 2 of 12")
	id := strings.Split(p.url.Path, "/")[2]
	if v, err := w.Store.Test(context.Background(), id); err != nil || v.HandedIn != "" {
		t.Fatalf("handed in before its time: %v %v", v, err)
	}
	// The supervisor sees that it is open, but none of its questions.
	sup.get("/waiting").says(200, "Theory tests being taken", a.Name).form("I watch this test").press("").says(200, "You are noted as watching this test.")
	sup.get("/tests/"+id).says(200, "still open").hides("Question by question")
	p = apprentice.get("/tests/" + id + "/questions/1")
	p = apprentice.answerTest(p, nil)
	p.says(200, "All 12 questions are answered", "Noted as watching")
	p = p.form("Hand in").press("")
	p.says(200, "Passed", "100 %", "12 of 12 right", "From the lesson")

	// Watched jobs: a training vehicle, asked for by the apprentice.
	for range 2 {
		w.Clock.Add(24 * time.Hour)
		apprentice, sup = w.as(a), w.as(w.Supervisors[0])
		f := apprentice.get("/jobs/ask?task=induction").form(`action="/jobs/ask"`)
		p = f.set("task", "induction").set("vehicle", "trainer-a").set("bay", "4").set("work_order", "WO-77").press("Ask")
		p.says(200, "Asked. A supervisor will see it at once.", "Waiting for a supervisor", "bay 4", "WO-77")
		if n := sup.watch(w.Supervisors[0], a.Name); n > 40 {
			t.Errorf("%d presses for one job", n)
		}
	}
	verdict := standingOf(t, w, a.ID, "induction")
	apprentice.get("/standing").says(200, "Make a car safe to work on")
	for verdict.Standing != readiness.ReadyForDecision {
		w.Clock.Add(24 * time.Hour)
		apprentice, sup = w.as(a), w.as(w.Supervisors[0])
		apprentice.get("/jobs/ask").form(`action="/jobs/ask"`).set("task", "induction").set("vehicle", "trainer-b").press("Ask").says(200, "Asked.")
		sup.watch(w.Supervisors[0], a.Name)
		verdict = standingOf(t, w, a.ID, "induction")
	}
	apprentice.get("/standing").says(200, "Ready for decision")

	// The decision: reasons first, then clear with a limit.
	p = sup.get(taskPath(a.ID, "induction")).says(200, "Everything asked is there. A person decides.", "Gates", "About", "Clear "+a.Name)
	p = p.form("Clear and sign").set("layouts", "diagonal").set("passphrase", "not the passphrase").press("Clear and sign")
	p.says(422, "passphrase")
	f := p.form("Clear and sign")
	if got := f.values["layouts"]; len(got) != 1 || got[0] != "diagonal" {
		t.Errorf("the limit did not come back: %v", f.values)
	}
	p = f.set("passphrase", w.Supervisors[0].Passphrase).press("Clear and sign")
	p.says(200, "Cleared and signed.", "Only cars with this layout: diagonal.")
	apprentice.get("/next").says(200, "Cleared")

	// Today's floor and the board.
	sup.get("/floor?task=induction&car=vehicle:trainer-a&site=").says(200, "May do it alone", a.Name)
	sup.get("/floor?task=induction&car=layout:front_rear&site=").says(200, "Cleared, but not for cars with this layout.")
	sup.get("/floor?task=induction&car=&site=").says(200, "Cleared for cars of some layouts only: choose the car.")
	coordinator := w.as(w.Coordinators[0])
	coordinator.get("/board").says(200, a.Name, "Cleared", "Untried")
	coordinator.get("/people/"+a.ID+"/record").says(200, "Watched job signed", "Clearance", "Lesson read", "Theory test handed in", "Signed by "+w.Supervisors[0].Name)

	// Stand down at once, without a signature; another lifts it.
	p = sup.get(taskPath(a.ID, "induction"))
	p.form("Stand down for this task").press("Stand down for this task").says(422, "reason")
	p = p.form("Stand down for this task").set("stand_reason", "Wheel nuts left loose").press("Stand down for this task")
	p.says(200, "Stood down. It holds from now on.", "Stood down", "You have not signed this stand-down yet.")
	apprentice.get("/next").says(200, "Stood down")
	p = sup.get("/waiting").says(200, "Stand-downs that you have not signed", "Wheel nuts left loose")
	p = p.form("/stand-downs/").set("passphrase", "wrong").press("")
	p.says(422, "passphrase")
	p.form("/stand-downs/").set("passphrase", w.Supervisors[0].Passphrase).press("").says(200, "The stand-down is signed.").hides("Stand-downs that you have not signed")
	sup2 := w.as(w.Supervisors[1])
	p = sup2.get(taskPath(a.ID, "induction"))
	p.form("Restore and sign").set("restore_reason", "Shown again, sound").set("restore_passphrase", w.Supervisors[1].Passphrase).press("").says(200, "Restored and signed.", "Cleared")

	// A job done alone.
	apprentice = w.as(a)
	p = apprentice.get("/jobs/alone").says(200, "Record a job done alone")
	p.form("Record it").set("task", "induction").press("").says(200, "The job was recorded.")
	apprentice.get("/record").says(200, "Unwatched job")
}

func standingOf(t testing.TB, w *pageWorld, apprentice, task string) readiness.Verdict {
	t.Helper()
	me, err := w.Store.Person(context.Background(), apprentice)
	if err != nil {
		t.Fatal(err)
	}
	vs, err := w.server.acts.Standings(context.Background(), me, apprentice)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range vs {
		if v.Task == task {
			return v
		}
	}
	t.Fatalf("no verdict for %s", task)
	return readiness.Verdict{}
}
