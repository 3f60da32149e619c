package server

import (
	"context"
	"regexp"
	"strings"
	"testing"

	"brakewright/readiness"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// How strict a supervisor is: the supervisor sees their own, a coordinator everybody's, an apprentice nothing, on no page.
func TestSeverityIsSeenByTheSupervisorAndTheCoordinatorAlone(t *testing.T) {
	w := newPageWorld(t, nil)
	one, two, m := w.Supervisors[0], w.Supervisors[1], w.Apprentices[0]
	first := w.as(one)
	first.get("/severity").says(200, "You have signed no watched job yet")
	w.signedJob(first, one, m)
	p := first.get("/account").follow("How strict your records are").says(200, one.Name, "there is nobody to compare with", "it stands in no apprentice’s reasons")
	if strings.Contains(p.text(), two.Name) {
		t.Error("one supervisor is shown another")
	}
	second := w.as(two)
	w.signedJob(second, two, m)
	p = second.get("/severity").says(200, two.Name, "No different from the others", "standard error")
	if strings.Contains(p.text(), one.Name) {
		t.Error("one supervisor is shown another")
	}
	boss := w.as(w.Coordinators[0])
	boss.get("/people").follow("How strict supervisors are").says(200, one.Name, two.Name)
	a := w.as(m)
	a.get("/severity").says(403)
	if strings.Contains(a.get("/account").text(), "How strict") {
		t.Error("an apprentice is led to severities")
	}
	// What an apprentice sees of the estimate names no supervisor and no severity, whatever the parameters know.
	w.adopt(strictParameters(one.ID, two.ID))
	for _, path := range []string{"/next", "/standing", "/people/" + m.ID + "/tasks/induction", "/people/" + m.ID + "/tasks/induction?suppose=3&other_supervisors=1"} {
		text := a.get(path).says(200).text()
		about, _, _ := strings.Cut(text, "Latest entries") // who signed stands there, and
		before, after, _ := strings.Cut(about, "Signed about you")
		_, after, _ = strings.Cut(after, "Where you stand") // there
		about = before + after
		for _, word := range []string{"severity", "strict", "lenient", "mild", "harsh", one.Name, two.Name} {
			if strings.Contains(strings.ToLower(about), strings.ToLower(word)) {
				t.Errorf("%s says %q", path, word)
			}
		}
	}
}

func strictParameters(strict, mild string) readiness.Parameters {
	p := readiness.DefaultParameters()
	p.UpTo = "2026-01-01"
	p.Supervisors = []readiness.SupervisorValue{{Supervisor: strict, Severity: 1.5, SE: 0.2, Unseen: 0}, {Supervisor: mild, Severity: -1.5, SE: 0.2, Unseen: 0.6}}
	return p
}

// adopt puts parameters in force by the coordinator's signature.
func (w *pageWorld) adopt(p readiness.Parameters) {
	w.t.Helper()
	boss := w.Coordinators[0]
	if _, err := w.server.acts.AdoptParameters(context.Background(), mustPerson(w.t, w, boss.ID), p.JSON(), boss.Passphrase); err != nil {
		w.t.Fatal(err)
	}
}

// Parameters are uploaded, compared and adopted by a signature; what is no snapshot is refused with a reason and changes nothing.
func TestParametersAreAdoptedBySignature(t *testing.T) {
	w := newPageWorld(t, nil)
	boss := w.Coordinators[0]
	b := w.as(boss)
	inForce := func() string {
		info, err := w.Store.Info(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		return info.Parameters
	}
	before := inForce()
	b.get("/estimate").says(200, "The published assumptions", "asked now", "Able, but held back", "Of these, too early")
	b.get("/estimate?task=caliper").says(200, "Replace a front caliper: the programme asks")
	for name, text := range map[string]string{"empty": "", "no JSON": "{", "another format": `{"format":"other/1"}`, "a list": "[]", "cut off": string(strictParameters("a", "b").JSON()[:200])} {
		b.send("/estimate/look", []byte(text)).says(422)
		if inForce() != before {
			t.Errorf("%s changed the parameters", name)
		}
	}
	b.upload("/estimate/look", nil).says(422, "Choose the file.")
	p := b.send("/estimate/look", strictParameters("s1", "s2").JSON()).says(200, "Uploaded", "evidence up to 1 Jan 2026", "Mean ability in practice")
	f := p.form("passphrase")
	p = f.set("passphrase", "not the one").press("Adopt").says(422)
	if inForce() != before {
		t.Error("a wrong passphrase adopted")
	}
	p.form("passphrase").set("passphrase", boss.Passphrase).press("Adopt").says(200, "The parameters are adopted and in force.", "From this programme’s own evidence up to 1 Jan 2026", "They know 2 supervisors")
	if inForce() != strictParameters("s1", "s2").Hash() {
		t.Error("not in force")
	}
	es, err := w.Store.Entries(context.Background(), store.EntryFilter{Newest: true, Limit: 1, Types: []ledger.Type{ledger.ParametersAdopted}})
	if err != nil || len(es) != 1 || len(es[0].Entry.Signatures) != 1 || es[0].Entry.Body.Actor != boss.ID {
		t.Errorf("the entry: %v %v", es, err)
	}
	b.send("/estimate/look", strictParameters("s1", "s2").JSON()).form("passphrase").set("passphrase", boss.Passphrase).press("Adopt").says(409)
	for _, m := range []*storetest.Member{w.Supervisors[0], w.Apprentices[0]} {
		other := w.as(m)
		other.get("/estimate").says(403)
		other.send("/estimate/look", strictParameters("a", "b").JSON()).says(403)
		other.post("/estimate/adopt", map[string][]string{"parameters": {string(strictParameters("a", "b").JSON())}, "passphrase": {"x"}}).says(403)
	}
}

// The page of a task: first the next act, then the gates, then words, the number on tap; each gate leads to what it rests on.
func TestDecisionPageInOrder(t *testing.T) {
	w := newPageWorld(t, nil)
	sup, m := w.Supervisors[0], w.Apprentices[0]
	first := w.as(sup)
	p := first.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
	first.tapWhatMustBe(p.url.Path)
	p = first.get(p.url.Path)
	p = p.form(`value="finished"`).press("finished")
	p.form("passphrase").set("passphrase", sup.Passphrase).press("Sign").says(200, "Signed.")
	a := w.as(m)
	p = a.get("/people/"+m.ID+"/tasks/induction").says(200, say.WhatTheNumberMeans, "We are sure enough of that.")
	at := -1
	for _, part := range []string{"What to do next", ">Gates<", "How likely the next job alone", "We are sure enough of that.", "<summary>The number, and what moved it", "Suppose these go well"} {
		next := strings.Index(p.body, part)
		if next < at || next < 0 {
			t.Errorf("%q stands at %d, after %d", part, next, at)
		}
		at = next
	}
	if number := regexp.MustCompile(`\d+\.\d %`).FindStringIndex(p.body); number == nil || number[0] < strings.Index(p.body, "<summary>The number, and what moved it") {
		t.Error("a number stands before it is asked for")
	}
	p.follow("watched job, ").says(200, "Watched job signed")

	// Supposing the way leads to a decision; supposing nothing does not.
	f := p.form("other_supervisors")
	f.press("See where that leads").says(200, "That would do: a supervisor could decide.")
	f.values.Del("act")
	f.set("suppose", "0").set("other_supervisors", "0").set("other_layouts", "0").press("See where that leads").says(200, "Gates still closed then: ", "Reading")
	for _, q := range []string{"suppose=-1", "suppose=x&other_supervisors=99999999999999999999", "suppose=31&act=lesson:none&act=", "suppose=3&other_layouts=7"} {
		a.get("/people/"+m.ID+"/tasks/induction?"+q).says(200, "Then")
	}
	w.as(w.Coordinators[0]).get("/people/"+m.ID+"/tasks/induction?suppose=2").says(200, "Then, on ")
	w.as(w.Apprentices[1]).get("/people/" + m.ID + "/tasks/induction?suppose=2").says(403)
}

// Steps that a gate still asks for stand on the page of a task once: under what to do, where the gate points.
func TestStepsOfAGateAreNamedOnce(t *testing.T) {
	w := newPageWorld(t, nil)
	sup, m := w.Supervisors[0], w.Apprentices[0]
	first := w.as(sup)
	job := first.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin").url.Path
	for _, step := range []string{"dress", "chock", "lift", "stands"} {
		first.get(job).form(`id="step-safety-induction-`+step+`-u"`).press("prompted").says(200, "Saved.")
	}
	p := first.tapWhatMustBe(job).form(`value="finished"`).press("finished")
	p.form("passphrase").set("passphrase", sup.Passphrase).press("Sign").says(200, "Signed.")
	for _, b := range []*browser{w.as(m), first} {
		p := b.get("/people/"+m.ID+"/tasks/induction").says(200, "Still to be seen: the steps named above", "more clean watched jobs would make us sure enough")
		if n := strings.Count(p.body, "<li>Chock the wheels that stay on the ground"); n != 1 {
			t.Errorf("the step is named %d times:\n%s", n, p.text())
		}
		if n := strings.Count(p.body, ">Ask for a watched job</a>"); n > 1 {
			t.Errorf("%d buttons lead to the same", n)
		}
	}
}

// The estimate is printed on no record: not on the record's pages, not on an entry's, not in the words of what is carried away.
func TestNoNumberOnARecord(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Apprentices[0]
	w.induct(m, "caliper")
	w.clearByWaiver(m, "caliper")
	a := w.as(m)
	es, err := w.Store.Entries(context.Background(), store.EntryFilter{Newest: true, Limit: 1, Types: []ledger.Type{ledger.ClearanceGiven}})
	if err != nil || len(es) != 1 {
		t.Fatal(es, err)
	}
	standing := a.get("/people/"+m.ID+"/tasks/caliper").says(200, say.WhatTheNumberMeans).text()
	numbers := regexp.MustCompile(`\d+\.\d %`).FindAllString(standing, -1)
	if len(numbers) == 0 {
		t.Fatal("no numbers where they belong")
	}
	for _, path := range []string{"/record", "/ledger/" + es[0].Entry.Body.ID} {
		text := a.get(path).says(200, "Clearance").text()
		for _, word := range append(numbers, say.WhatTheNumberMeans, "estimate", "probability", "sure of the target") {
			if strings.Contains(text, word) {
				t.Errorf("%s says %q", path, word)
			}
		}
	}
	bundle := a.get("/record/bundle").body
	for _, words := range regexp.MustCompile(`"statement":"(?:[^"\\]|\\.)*"`).FindAllString(bundle, -1) {
		for _, word := range append(numbers, "estimate", "probability", "sure of") {
			if strings.Contains(words, word) {
				t.Errorf("the statement %s says %q", words, word)
			}
		}
	}
}
