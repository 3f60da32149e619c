package server

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

const apprenticesPhrase = "old lathe sings quietly"

// keyFor gives an apprentice a confirmed signing key.
func (w *pageWorld) keyFor(m *storetest.Member) {
	w.t.Helper()
	ctx := context.Background()
	if err := w.server.acts.RequestKey(ctx, mustPerson(w.t, w, m.ID), apprenticesPhrase); err != nil {
		w.t.Fatal(err)
	}
	if err := w.server.acts.ConfirmKeys(ctx, mustPerson(w.t, w, w.Coordinators[0].ID), []string{m.ID}, w.Coordinators[0].Passphrase); err != nil {
		w.t.Fatal(err)
	}
}

// signedJob is a job on pages, interrupted and signed; its sign-off's id comes back.
func (w *pageWorld) signedJob(b *browser, sup, m *storetest.Member) string {
	w.t.Helper()
	p := b.get("/jobs/ask?watch=1").form(`action="/jobs/ask"`).set("apprentice", m.ID).set("task", "induction").set("vehicle", "trainer-a").press("Begin")
	p = p.form(`value="interrupted"`).set("why", "The lift was needed").press("interrupted")
	p.form("passphrase").set("passphrase", sup.Passphrase).press("Sign").says(200, "Signed.")
	es, err := w.Store.Entries(context.Background(), store.EntryFilter{Newest: true, Limit: 1, Types: []ledger.Type{ledger.SignOff}})
	if err != nil || len(es) == 0 {
		w.t.Fatal(es, err)
	}
	return es[0].Entry.Body.ID
}

// The whole story of a disputed record without JavaScript: said to the apprentice, disputed, settled by somebody else,
// corrected, the correction corrected, countersigned; every word stands wherever the record does.
func TestARecordIsDisputedSettledCorrectedAndCountersigned(t *testing.T) {
	w := newPageWorld(t, nil)
	m, sup := w.Apprentices[0], w.Supervisors[0]
	w.keyFor(m)
	b := w.as(sup)
	id := w.signedJob(b, sup, m)
	a := w.as(m)
	p := a.get("/next").says(200, "Signed about you: was it so?", "Silence until then counts as agreement").follow("Countersign or dispute")
	p.says(200, "The apprentice may countersign or dispute it until")
	p.form("/dispute").press("Dispute").says(422, "Write the reason.")
	p = p.form("/dispute").set("reason", "I did the chocks before").press("Dispute")
	p.says(200, "It is no evidence until somebody else settles it.", "Disputed by "+m.Name, "I did the chocks before")
	a.get("/record").says(200, "Disputed by "+m.Name)

	// Neither who signed nor the apprentice settles.
	if b.get("/ledger/" + id).hasForm("/settle") {
		t.Error("who signed may settle")
	}
	two := w.as(w.Supervisors[1])
	p = two.get("/waiting").says(200, "1 to settle or review").follow("1 to settle or review")
	p = p.says(200, "To be settled", m.Name, "I did the chocks before").follow("Read and decide")
	p.form("/settle").set("reason", "Both were heard").set("passphrase", w.Supervisors[1].Passphrase).press("Settle").says(422)
	p = p.form("/settle").set("verdict", "stands").set("reason", "Both were heard").set("passphrase", w.Supervisors[1].Passphrase).press("Settle")
	p.says(200, "Settled and signed.", "it stands. Both were heard")

	// Corrected, and the correction corrected.
	p = b.get("/ledger/" + id).follow("Correct the record")
	f := p.form(`value="finished"`).set("reason", "It was done").set("passphrase", sup.Passphrase)
	f.press("Correct").says(422, "Nothing is changed")
	p = f.set("outcome", "rightly_stopped").set("near_miss", "1").set("notes", "Jack sank").press("Correct")
	p.says(200, "Corrected and signed.", "Corrected by "+sup.Name)
	es, err := w.Store.Entries(context.Background(), store.EntryFilter{Newest: true, Limit: 1, Types: []ledger.Type{ledger.Corrected}})
	if err != nil {
		t.Fatal(err)
	}
	fix := es[0].Entry.Body.ID
	b.get("/ledger/"+fix).says(200, "Rightly stopped by the apprentice", "A near miss", "Jack sank")
	p = w.as(w.Supervisors[1]).get("/ledger/" + fix + "/correct")
	f = p.form(`value="finished"`)
	if f.values.Get("outcome") != "rightly_stopped" || f.values.Get("near_miss") != "1" || f.values.Get("notes") != "Jack sank" {
		t.Errorf("the form holds %v", f.values)
	}
	f.values.Del("near_miss")
	f.set("reason", "It was none").set("passphrase", w.Supervisors[1].Passphrase).press("Correct").says(200, "Corrected and signed.")
	b.get("/ledger/"+id).says(200, "Corrected by "+sup.Name, "Correction "+short(fix)+": Corrected by "+w.Supervisors[1].Name, "It was none")
	b.get("/people/"+m.ID+"/record").says(200, "Correction "+short(fix)+": Corrected by "+w.Supervisors[1].Name)

	// The last wording is countersigned.
	p = w.as(m).get("/next").follow("Countersign or dispute")
	p.form("/countersign").set("passphrase", "wrong wrong wrong").press("Countersign").says(422, "The signing passphrase is wrong")
	p.form("/countersign").set("passphrase", apprenticesPhrase).press("Countersign").says(200, "Countersigned.", "Countersigned by "+m.Name)
	w.as(m).get("/next").hides("Signed about you: was it so?")
	v, err := store.Verify(context.Background(), w.Options, false, nil)
	if err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
}

func TestTwoCorrectionsAreSettledOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	m, sup, other := w.Apprentices[0], w.Supervisors[0], w.Supervisors[1]
	b := w.as(sup)
	id := w.signedJob(b, sup, m)
	b.get("/ledger/"+id+"/correct").form(`value="finished"`).set("outcome", "finished").set("reason", "Done").set("passphrase", sup.Passphrase).press("Correct").says(200)
	p := w.as(other).get("/ledger/"+id+"/correct").says(200, "This was corrected already")
	f := p.form(`value="finished"`).set("outcome", "rightly_stopped").set("reason", "Stopped").set("passphrase", other.Passphrase)
	p = f.press("Correct").says(409, "Correct that correction")
	f = p.form(`value="finished"`)
	if f.values.Get("outcome") != "rightly_stopped" || f.values.Get("reason") != "Stopped" {
		t.Errorf("came back as %v", f.values)
	}
	f.set("beside", "1").set("passphrase", other.Passphrase).press("Correct").says(200, "Two corrections contradict each other")
	third := w.Supervisors[2]
	p = w.as(third).get("/matters").says(200, "Corrections contradict each other").follow("Read and decide")
	f = p.form("/settle")
	if len(f.fields["verdict"]) != 4 {
		t.Fatalf("choices: %v", f.fields["verdict"])
	}
	f.set("verdict", f.fields["verdict"][2]).set("reason", "By the film").set("passphrase", third.Passphrase).press("Settle").says(200, "correction", "stands. By the film").hides("Two corrections contradict")
}

func TestStandDownReplyAndReviewOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	m, sup := w.Apprentices[0], w.Supervisors[0]
	b := w.as(sup)
	w.signedJob(b, sup, m)
	p := b.get(taskPath(m.ID, "induction")).form("stand_reason").set("stand_reason", "A wheel was loose").press("Stand down for this task")
	p.says(200, "Stood down", "Somebody else is to review it by")
	p = w.as(m).get(taskPath(m.ID, "induction")).says(200, "A wheel was loose").follow("Write your side")
	p.form("/reply").set("text", "I had tightened it").press("Add").says(200, "I had tightened it")
	w.Clock.Add(40 * 24 * time.Hour)
	c := w.as(w.Coordinators[0])
	p = c.get("/matters").says(200, "Stand-downs to be reviewed by somebody else", "Overdue", "not signed yet")
	p = p.form("/assign").set("to", w.Supervisors[0].ID).press("Give").says(422, "may not decide this")
	p.form("/assign").set("to", w.Supervisors[1].ID).press("Give").says(200, "Given.", "given to "+w.Supervisors[1].Name)
	two := w.as(w.Supervisors[1])
	p = two.get("/waiting").says(200, "1 given to you").follow("1 given to you")
	p = p.follow("Read and decide").says(200, "I had tightened it")
	p = p.form("/review").set("reason", "The nut was found").set("passphrase", w.Supervisors[1].Passphrase).press("Review").says(422, "before the stand-down is lifted")
	p.form("/review").set("lifts", "A watched job").set("passphrase", w.Supervisors[1].Passphrase).press("Review").says(200, "Reviewed and signed.", "What lifts it: A watched job")
	c.get("/matters").says(200, "Nothing waits.")
	w.as(m).get(taskPath(m.ID, "induction")).says(200, "What lifts it: A watched job")
	two.get(taskPath(m.ID, "induction")).form("/restore").set("restore_reason", "Done").set("restore_passphrase", w.Supervisors[1].Passphrase).press("Restore").says(200).hides("Stand-down stays")
}

func TestRecognitionAndWaiversOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	m, sup, coordinator := w.Apprentices[0], w.Supervisors[0], w.Coordinators[0]
	b := w.as(sup)
	p := b.get(taskPath(m.ID, "caliper")).follow("Recognise earlier training")
	f := p.form("stands_for").set("stands_for", "reading", "jobs").set("jobs", "many").set("reason", "Papers seen").set("passphrase", sup.Passphrase).set("second_login", coordinator.Login).set("second_passphrase", coordinator.Passphrase)
	p = f.press("Recognise").says(422, "Write a number")
	f = p.form("stands_for")
	if got := strings.Join(f.values["stands_for"], " "); got != "reading jobs" || f.values.Get("reason") != "Papers seen" {
		t.Errorf("came back as %v", f.values)
	}
	f.set("jobs", "4").set("passphrase", sup.Passphrase).set("second_passphrase", coordinator.Passphrase).press("Recognise").says(200, "Recognised, with two signatures.", "Earlier training recognised", "Papers seen")
	w.clearByWaiver(m, "caliper")
	w.as(coordinator).get("/waivers").says(200, "1 of 1 in force.", m.Name, "For a test", coordinator.Name)
	b.get("/waivers").says(200, m.Name)
	w.as(m).get("/waivers").says(http.StatusForbidden)
}

func TestKeysEndOnPages(t *testing.T) {
	w := newPageWorld(t, nil)
	m, sup := w.Apprentices[0], w.Supervisors[0]
	b := w.as(sup)
	id := w.signedJob(b, sup, m)
	c := w.as(w.Coordinators[0])
	p := c.get("/people/" + sup.ID)
	p = p.form("/key/end").set("why", "compromised").set("from", "2025-01-01").press("End the key").says(422, "Write the reason.")
	p.form("/key/end").set("reason", "The note is gone").press("End the key").says(200, "Saved.", "in other hands")
	c.get("/ledger/"+id).says(200, "In question since", "the key that signed it was in other hands")
	c.get("/matters").says(200, "The key that signed it was in other hands").follow("Read and decide").form("/settle").set("verdict", "falls").set("reason", "Nobody saw the job").
		set("passphrase", w.Coordinators[0].Passphrase).press("Settle").says(200, "it does not count")
	b.get("/account").says(200, "You have no signing key yet", "in other hands")
	p = w.as(w.Supervisors[1]).get("/account").form("/account/key/end").set("why", "lost").press("End the key").says(200, "The key has ended.", "lost; what it signed stands")
	p.hides("The key is lost, or somebody else had it")
}
