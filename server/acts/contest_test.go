package acts

import (
	"slices"
	"testing"
	"time"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// keyOf gives an apprentice a signing key, confirmed by a coordinator.
func (w *world) keyOf(m *storetest.Member, passphrase string) *store.Person {
	w.t.Helper()
	if err := w.RequestKey(w.ctx, w.who(m), passphrase); err != nil {
		w.t.Fatal(err)
	}
	if err := w.ConfirmKeys(w.ctx, w.ada(), []string{m.ID}, pass(w.Coordinators[0])); err != nil {
		w.t.Fatal(err)
	}
	return w.who(m)
}

const patsPhrase = "old lathe sings quietly"

// signedJob is an induction done and signed by the first supervisor; its sign-off comes back.
func (w *world) signedJob(p *store.Person) string {
	w.t.Helper()
	return w.goodJob(0, p, "induction", "wagon").SignOff
}

func TestCountersign(t *testing.T) {
	w := newWorld(t)
	p := w.keyOf(w.Apprentices[0], patsPhrase)
	entry := w.signedJob(p)
	_, err := w.Countersign(w.ctx, w.sam(1), "", entry, pass(w.Supervisors[1]))
	wants(t, err, "not_allowed")
	_, err = w.Countersign(w.ctx, p, "", entry, "not this one at all")
	wants(t, err, "passphrase_wrong")
	id := w.ID()
	r := must[store.Receipt](t)(w.Countersign(w.ctx, p, id, entry, patsPhrase))
	if again := must[store.Receipt](t)(w.Countersign(w.ctx, p, id, entry, patsPhrase)); again != r || r.ID != id {
		t.Errorf("got %v, then %v", r, again)
	}
	_, err = w.Countersign(w.ctx, p, "", entry, patsPhrase)
	wants(t, err, "rule_"+ledger.CountersignOnce)
}

// Silence for the policy's days agrees: then the apprentice alone can dispute no more, but others can.
func TestSilenceAgrees(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	entry := w.signedJob(p)
	e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, entry))
	until := must[string](t)(w.CountersignUntil(w.ctx, e))
	if want := addDays(must[string](t)(w.Today(w.ctx)), 14); until != want {
		t.Errorf("until %s, want %s", until, want)
	}
	w.Clock.Add(15 * 24 * time.Hour)
	_, err := w.Dispute(w.ctx, p, "", entry, "It was not so")
	wants(t, err, "dispute_too_late")
	must[store.Receipt](t)(w.Dispute(w.ctx, w.ada(), "", entry, "Told by the apprentice"))
}

func TestDisputeAndSettlement(t *testing.T) {
	for _, upheld := range []bool{false, true} {
		w := newWorld(t)
		p := w.pat(0)
		w.readLesson(p, "safe")
		entry := w.signedJob(p)
		if v := w.standing(p, "induction"); !v.Ready {
			t.Fatalf("not ready after a good job: %+v", v.Gates)
		}
		_, err := w.Dispute(w.ctx, w.pat(1), "", entry, "Not me")
		wants(t, err, "not_allowed")
		_, err = w.Dispute(w.ctx, p, "", entry, " ")
		wants(t, err, "reason_needed")
		must[store.Receipt](t)(w.Dispute(w.ctx, p, "", entry, "I was prompted twice"))
		if v := w.standing(p, "induction"); v.Ready {
			t.Error("a disputed sign-off counts")
		}
		settle := func(by *store.Person, phrase string) error {
			_, err := w.Settle(w.ctx, by, Settlement{Entry: entry, Upheld: upheld, Reason: "Both were heard", Passphrase: phrase})
			return err
		}
		wants(t, settle(p, patsPhrase), "not_allowed")
		wants(t, settle(w.sam(0), pass(w.Supervisors[0])), "rule_"+ledger.IsParty)
		if err := settle(w.sam(1), pass(w.Supervisors[1])); err != nil {
			t.Fatal(err)
		}
		if v := w.standing(p, "induction"); v.Ready == upheld {
			t.Errorf("upheld %v: ready %v", upheld, v.Ready)
		}
		wants(t, settle(w.sam(2), pass(w.Supervisors[2])), "rule_"+ledger.NotDisputed)
	}
}

// Disputed again on the day of its settlement, a record is disputed: order within a day counts.
func TestDisputedAgainOnTheSameDay(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	entry := w.signedJob(p)
	for range 2 {
		must[store.Receipt](t)(w.Dispute(w.ctx, w.ada(), "", entry, "Told by the apprentice"))
		if v := w.standing(p, "induction"); v.Ready {
			t.Error("a disputed sign-off counts")
		}
		must[store.Receipt](t)(w.Settle(w.ctx, w.sam(1), Settlement{Entry: entry, Reason: "Both were heard", Passphrase: pass(w.Supervisors[1])}))
		if v := w.standing(p, "induction"); !v.Ready {
			t.Error("settled, and it does not count")
		}
	}
}

func TestACorrectedCorrection(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	entry := w.signedJob(p)
	phrase := pass(w.Supervisors[0])
	fix := func(by *store.Person, phrase, entry, result string) (store.Receipt, error) {
		return w.Correct(w.ctx, by, Correction{Entry: entry, Reason: "It was otherwise", Passphrase: phrase,
			Changes: RecordChanges{Steps: []StepChange{{Step: "safe/chock", Result: result}}}})
	}
	_, err := fix(p, patsPhrase, entry, "prompted")
	wants(t, err, "not_allowed")
	_, err = fix(w.sam(0), phrase, entry, "splendid")
	wants(t, err, "unknown_result")
	first := must[store.Receipt](t)(fix(w.sam(0), phrase, entry, "prompted"))
	if v := w.standing(p, "induction"); v.Ready {
		t.Error("the critical step was prompted, and still it is ready")
	}
	// Not the entry again, but its correction.
	_, err = fix(w.sam(0), phrase, entry, "unaided")
	wants(t, err, "corrected_already")
	second := must[store.Receipt](t)(fix(w.sam(1), pass(w.Supervisors[1]), first.ID, "unaided"))
	if v := w.standing(p, "induction"); !v.Ready {
		t.Errorf("corrected back, and not ready: %+v", v.Gates)
	}
	// The correction of the correction withdrawn: the first one counts again.
	must[store.Receipt](t)(w.Correct(w.ctx, w.ada(), Correction{Entry: second.ID, Withdraw: true, Reason: "Wrong job", Passphrase: pass(w.Coordinators[0])}))
	if v := w.standing(p, "induction"); v.Ready {
		t.Error("the first correction does not count again")
	}
}

// A correction of a critical error leaves what else is told of the step.
func TestACorrectionKeepsWhatElseHappened(t *testing.T) {
	w := newWorld(t)
	sam := w.sam(0)
	j := w.watch(sam, w.pat(0), "induction", "wagon")
	sh := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID))
	yes := true
	taps := append([]store.Tap{{ID: w.tapID(), Step: "safe/look", Hold: sentBack, Reason: "A creeper lay below"}}, w.allTaps(sh)...)
	taps = append(taps, store.Tap{ID: w.tapID(), Step: "safe/chock", OwnError: &yes, WhatHappened: "Chock the wrong way round"}, store.Tap{ID: w.tapID(), Outcome: finished})
	must[*JobSheet](t)(w.Tap(w.ctx, sam, j.ID, taps))
	entry := must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam, nil, []string{j.ID}, pass(w.Supervisors[0]), nil))[0].ID
	if at := must[*JobSheet](t)(w.RecordSheet(w.ctx, sam, entry)).step("safe/chock"); at.WhatHappened != "" || at.OwnErrorWhat != "Chock the wrong way round" {
		t.Errorf("laid out: %q, %q", at.WhatHappened, at.OwnErrorWhat)
	}
	for _, wrong := range []bool{true, false} {
		entry = must[store.Receipt](t)(w.Correct(w.ctx, sam, Correction{Entry: entry, Reason: "Seen on the film", Passphrase: pass(w.Supervisors[0]),
			Changes: RecordChanges{Steps: []StepChange{{Step: "safe/chock", Result: "unaided", CriticalError: wrong, WhatHappened: "It rolled"}}}})).ID
		e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, entry))
		happened := e.Personal["what_happened/safe/chock"]
		if got := Happened(happened, ""); (len(got) == 1) != wrong || !slices.Equal(Happened(happened, PutRight), []string{"Chock the wrong way round"}) {
			t.Errorf("error %v: %q", wrong, happened)
		}
		if e.Personal["what_happened/safe/look"] != SentBack+"A creeper lay below" {
			t.Errorf("the hold point's reason: %q", e.Personal["what_happened/safe/look"])
		}
	}
}

func TestTwoCorrectionsOfOneAreSettledBySomebodyElse(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	entry := w.signedJob(p)
	change := func(result string) RecordChanges {
		return RecordChanges{Steps: []StepChange{{Step: "safe/chock", Result: result}}}
	}
	one := must[store.Receipt](t)(w.Correct(w.ctx, w.sam(0), Correction{Entry: entry, Reason: "Prompted", Changes: change("prompted"), Passphrase: pass(w.Supervisors[0])}))
	two := must[store.Receipt](t)(w.Correct(w.ctx, w.sam(1), Correction{Entry: entry, Reason: "Unaided", Changes: change("unaided"), Beside: true, Passphrase: pass(w.Supervisors[1])}))
	if v := w.standing(p, "induction"); v.Ready {
		t.Error("contradicting corrections count")
	}
	r := Settlement{Entry: entry, Reason: "Seen on the sheet", Passphrase: pass(w.Supervisors[2])}
	_, err := w.Settle(w.ctx, w.sam(2), r)
	wants(t, err, "rule_"+ledger.Contradicting)
	r.Stands = two.ID
	must[store.Receipt](t)(w.Settle(w.ctx, w.sam(2), r))
	if v := w.standing(p, "induction"); !v.Ready {
		t.Errorf("the second stands, and it is not ready: %+v", v.Gates)
	}
	if live := must[[]ledger.CorrectionFact](t)(w.World.Store.LiveCorrections(w.ctx, entry)); len(live) != 1 || live[0].Entry == one.ID {
		t.Errorf("what counts: %v", live)
	}
}

// A correction that brings a critical error of somebody cleared to light asks for the same decision as a signature does.
func TestACorrectionBringsACriticalErrorToLight(t *testing.T) {
	w, p := ready(t)
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
	entry := w.goodJob(0, p, "induction", "wagon").SignOff
	r := Correction{Entry: entry, Reason: "Seen on the film", Passphrase: pass(w.Supervisors[0]),
		Changes: RecordChanges{Steps: []StepChange{{Step: "safe/chock", Result: "taken_over", CriticalError: true, WhatHappened: "No chock"}}}}
	_, err := w.Correct(w.ctx, w.sam(0), r)
	wants(t, err, "decision_needed")
	r.Decision = &CriticalDecision{StandDown: true, Reason: "Until it is shown again"}
	must[store.Receipt](t)(w.Correct(w.ctx, w.sam(0), r))
	if v := w.standing(p, "induction"); v.Standing != readiness.StoodDown {
		t.Errorf("got %s", v.Standing)
	}
}

func TestRecognition(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	r := Recognition{Apprentice: p.ID, Task: "induction", StandsFor: []string{"reading", "jobs", "supervisors", "critical_steps"}, Jobs: 2, Reason: "Three years at another shop, papers seen",
		Passphrase: pass(w.Supervisors[0]), SecondLogin: w.Supervisors[0].Login, SecondPassphrase: pass(w.Supervisors[0])}
	_, err := w.Recognise(w.ctx, w.sam(0), r)
	wants(t, err, "second_is_first")
	r.SecondLogin, r.SecondPassphrase = w.Coordinators[0].Login, pass(w.Coordinators[0])
	bad := r
	bad.StandsFor = []string{"critical_error"}
	_, err = w.Recognise(w.ctx, w.sam(0), bad)
	wants(t, err, "gate_not_recognised")
	must[store.Receipt](t)(w.Recognise(w.ctx, w.sam(0), r))
	v := w.standing(p, "induction")
	if v.Standing == readiness.Untried || len(ClosedGates(v)) > 1 {
		t.Errorf("got %s, closed %v", v.Standing, ClosedGates(v))
	}
}

func TestReviewOfAStandDown(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.inducted(p)
	down := must[store.Receipt](t)(w.StandDown(w.ctx, w.sam(0), "", p.ID, "induction", "A wheel was loose", ""))
	_, err := w.Reply(w.ctx, p, "", down.ID, "")
	wants(t, err, "text_needed")
	must[store.Receipt](t)(w.Reply(w.ctx, p, "", down.ID, "It was not my car"))
	// Overdue after the policy's days, for the coordinator to see.
	ms := must[*Matters](t)(w.Matters(w.ctx, w.ada()))
	if len(ms.StandDowns) != 1 || ms.StandDowns[0].Overdue || !ms.StandDowns[0].May || !ms.StandDowns[0].Unsigned {
		t.Fatalf("got %+v", ms.StandDowns)
	}
	if mine := must[*Matters](t)(w.Matters(w.ctx, w.sam(0))); len(mine.StandDowns) != 1 || mine.StandDowns[0].May {
		t.Errorf("who ordered it may review it: %+v", mine.StandDowns)
	}
	w.Clock.Add(91 * 24 * time.Hour)
	if ms = must[*Matters](t)(w.Matters(w.ctx, w.ada())); !ms.StandDowns[0].Overdue {
		t.Error("not overdue")
	}
	_, err = w.ReviewStandDown(w.ctx, w.sam(0), "", down.ID, "Looked at", "Two jobs", pass(w.Supervisors[0]))
	wants(t, err, "rule_"+ledger.OrderedIt)
	_, err = w.ReviewStandDown(w.ctx, w.sam(1), "", down.ID, "Looked at", "", pass(w.Supervisors[1]))
	wants(t, err, "lifts_needed")
	must[store.Receipt](t)(w.ReviewStandDown(w.ctx, w.sam(1), "", down.ID, "Two cars were looked at", "A watched job without an error", pass(w.Supervisors[1])))
	if ms = must[*Matters](t)(w.Matters(w.ctx, w.ada())); len(ms.StandDowns) != 0 {
		t.Errorf("still to be reviewed: %+v", ms.StandDowns)
	}
	if v := w.standing(p, "induction"); v.Standing != readiness.StoodDown {
		t.Errorf("a review lifted it: %s", v.Standing)
	}
}

// Key change, loss and compromise are different acts with different consequences.
func TestKeyChangeLossCompromise(t *testing.T) {
	for _, c := range []struct {
		why      string
		question bool
	}{{"changed", false}, {"lost", false}, {"compromised", true}} {
		t.Run(c.why, func(t *testing.T) {
			w := newWorld(t)
			p, m := w.pat(0), w.Supervisors[0]
			w.readLesson(p, "safe")
			entry := w.signedJob(p)
			w.Clock.Add(time.Hour)
			if c.why == "changed" {
				w.keyOf(m, "a new one for the old")
			} else {
				_, err := w.EndKey(w.ctx, w.sam(1), KeyEnd{Person: m.ID, Why: c.why, Reason: "Told on the phone"})
				wants(t, err, "not_allowed")
				_, err = w.EndKey(w.ctx, w.ada(), KeyEnd{Person: m.ID, Why: "tired", Reason: "x"})
				wants(t, err, "unknown_key_end")
				must[store.Receipt](t)(w.EndKey(w.ctx, w.ada(), KeyEnd{Person: m.ID, Why: c.why, From: must[string](t)(w.Today(w.ctx)), Reason: "Told on the phone"}))
				if got := w.sam(0).Key; got != nil {
					t.Errorf("still has a key: %+v", got)
				}
			}
			contested := must[[]store.Contested](t)(w.World.Store.Contested(w.ctx, entry))
			if got := len(contested) == 1; got != c.question {
				t.Errorf("in question: %v", contested)
			}
			if v := w.standing(p, "induction"); v.Ready == c.question {
				t.Errorf("ready: %v", v.Ready)
			}
			if !c.question {
				return
			}
			must[store.Receipt](t)(w.Settle(w.ctx, w.ada(), Settlement{Entry: entry, Reason: "The sheet and the car agree", Passphrase: pass(w.Coordinators[0])}))
			if v := w.standing(p, "induction"); !v.Ready {
				t.Error("confirmed, and not ready")
			}
		})
	}
}

// What a coordinator gave with a key that was in other hands waits for another coordinator; the edition in use may be
// adopted again; what was settled is listed.
func TestAuthorityGivenWithACompromisedKeyIsSettled(t *testing.T) {
	w := newWorld(t)
	p, sid := w.pat(0), w.Supervisors[2]
	w.readLesson(p, "safe")
	wants(t, w.Appoint(w.ctx, w.ada(), sid.ID, store.Appointment{Task: "pads", Until: addDays(w.World.Today(), 9)}, pass(w.Coordinators[0])), "")
	appointment := w.sam(2).Appointments[len(w.sam(2).Appointments)-1].Entry
	entry := w.signedJob(p)
	must[store.Receipt](t)(w.Dispute(w.ctx, p, "", entry, "I was prompted"))
	settled := must[store.Receipt](t)(w.Settle(w.ctx, w.ada(), Settlement{Entry: entry, Reason: "Heard", Passphrase: pass(w.Coordinators[0])}))
	w.Clock.Add(time.Hour)
	must[store.Receipt](t)(w.EndKey(w.ctx, w.cora(), KeyEnd{Person: w.ada().ID, Why: "compromised", From: w.World.Today(), Reason: "The note is gone"}))
	waits := func(actor *store.Person) (found, may bool) {
		for _, m := range must[*Matters](t)(w.Matters(w.ctx, actor)).Disputes {
			if m.Entry.Entry.Body.ID == appointment {
				return true, m.May
			}
		}
		return false, false
	}
	if found, may := waits(w.cora()); !found || !may {
		t.Errorf("another coordinator: listed %v, may %v", found, may)
	}
	if _, may := waits(w.sam(1)); may {
		t.Error("a supervisor may settle an appointment")
	}
	_, err := w.Settle(w.ctx, w.sam(1), Settlement{Entry: appointment, Reason: "r", Passphrase: pass(w.Supervisors[1])})
	wants(t, err, "not_allowed")
	_, err = w.Settle(w.ctx, w.ada(), Settlement{Entry: appointment, Reason: "r", Passphrase: pass(w.Coordinators[0])})
	wants(t, err, "rule_"+ledger.IsParty)
	must[store.Receipt](t)(w.Settle(w.ctx, w.cora(), Settlement{Entry: appointment, Upheld: true, Reason: "Not hers", Passphrase: pass(w.Coordinators[1])}))
	if found, _ := waits(w.cora()); found {
		t.Error("settled, and it waits")
	}
	for _, a := range w.sam(2).Appointments {
		if a.Entry == appointment && a.Holds(w.World.Today()) {
			t.Error("an appointment that fell holds")
		}
	}
	types := map[ledger.Type]string{}
	for _, e := range must[[]*store.EntryView](t)(w.Doubtful(w.ctx, w.cora())) {
		types[e.Entry.Body.Type] = e.Entry.Body.ID
	}
	if types[ledger.DisputeSettled] != settled.ID || types[ledger.ProgrammeAdopted] == "" || types[ledger.ParametersAdopted] == "" {
		t.Errorf("listed: %v", types)
	}
	_, err = w.Doubtful(w.ctx, w.sam(1))
	wants(t, err, "not_allowed")
	in := must[*curriculum.Programme](t)(w.Programme(w.ctx))
	same := must[*Offer](t)(w.CompareEdition(w.ctx, w.cora(), in.Edition))
	must[store.Receipt](t)(w.Adopt(w.ctx, w.cora(), same, in.Edition, pass(w.Coordinators[1])))
	_, err = w.Adopt(w.ctx, w.cora(), same, in.Edition, pass(w.Coordinators[1]))
	wants(t, err, "offer_same")
	must[store.Receipt](t)(w.Dispute(w.ctx, w.cora(), "", entry, "Settled by nobody knows whom"))
	if all := must[[]*store.EntryView](t)(w.Doubtful(w.ctx, w.cora())); len(all) != 1 || all[0].Entry.Body.Type != ledger.ParametersAdopted {
		t.Errorf("done anew, and listed: %d", len(all))
	}
}

// A server that keeps what is typed into it can sign as that person, and the ledger verifies: DEVELOPERS.md says so. What
// shows it is what people see afterwards, and then the key is ended, with all that was signed since.
func TestAServerThatKeepsPassphrases(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	kept := pass(w.Supervisors[0]) // typed some other day
	w.Clock.Add(time.Hour)
	forged := w.signedJob(p) // nobody watched this
	if v := must[*store.Verification](t)(store.Verify(w.ctx, w.Options, false, nil)); !v.OK {
		t.Fatalf("verify tells, against what is written of it: %+v", v.FirstProblem)
	}
	// It stands in the records that both read.
	for _, who := range []*store.Person{p, w.ada()} {
		if all := must[[]*store.EntryView](t)(w.Record(w.ctx, who, p.ID)); !slices.ContainsFunc(all, func(e *store.EntryView) bool { return e.Entry.Body.ID == forged }) {
			t.Errorf("%s does not see it", who.Name)
		}
	}
	must[store.Receipt](t)(w.Dispute(w.ctx, p, "", forged, "There was no such job"))
	if v := w.standing(p, "induction"); v.Ready {
		t.Error("disputed, and it counts")
	}
	must[store.Receipt](t)(w.EndKey(w.ctx, w.sam(0), KeyEnd{Person: w.sam(0).ID, Why: "compromised", From: w.World.Today(), Reason: "I signed nothing today"}))
	_, err := w.SignJobs(w.ctx, w.sam(0), nil, []string{w.finished(w.pat(1))}, kept, nil)
	wants(t, err, "no_key")
}

// A supervisor who signs what did not happen leaves traces: the pair is reported, the record is the apprentice's to read,
// and nothing of it is settled or set aside by the supervisor alone.
func TestACollusionLeavesTraces(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	var last string
	for range leastPaired {
		last = w.signedJob(p)
	}
	if pairs := must[[]SignedPair](t)(w.Pairs(w.ctx, w.ada())); len(pairs) != 1 || pairs[0].By.ID != w.sam(0).ID {
		t.Errorf("pairs: %+v", pairs)
	}
	must[store.Receipt](t)(w.Dispute(w.ctx, w.ada(), "", last, "Nobody saw a car that day"))
	_, err := w.Settle(w.ctx, w.sam(0), Settlement{Entry: last, Reason: "It was so", Passphrase: pass(w.Supervisors[0])})
	wants(t, err, "rule_"+ledger.IsParty)
	w.readLesson(p, "pads")
	_, err = w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "pads", Reason: "Good enough", WaiverGates: ClosedGates(w.standing(p, "pads")), WaiverUntil: addDays(w.World.Today(), 9),
		Passphrase: pass(w.Supervisors[0]), SecondLogin: w.Supervisors[0].Login, SecondPassphrase: pass(w.Supervisors[0])})
	wants(t, err, "second_is_first")
	must[store.Receipt](t)(w.Settle(w.ctx, w.cora(), Settlement{Entry: last, Upheld: true, Reason: "No car, no job", Passphrase: pass(w.Coordinators[1])}))
}

// An appointment withdrawn from a date puts what was signed since in question, until a coordinator or somebody else decides.
func TestAnAppointmentWithdrawnFromADate(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	w.Clock.Add(3 * 24 * time.Hour)
	entry := w.signedJob(p)
	w.Clock.Add(2 * 24 * time.Hour)
	for _, a := range w.sam(0).Appointments {
		if a.Task == "induction" {
			if err := w.EndAppointment(w.ctx, w.ada(), w.Supervisors[0].ID, a.Entry, addDays(must[string](t)(w.Today(w.ctx)), -4), pass(w.Coordinators[0])); err != nil {
				t.Fatal(err)
			}
		}
	}
	ms := must[*Matters](t)(w.Matters(w.ctx, w.ada()))
	if len(ms.Disputes) != 1 || ms.Disputes[0].Entry.Entry.Body.ID != entry || ms.Disputes[0].Opened.Entry.Body.Type != ledger.AppointmentEnded || !ms.Disputes[0].May {
		t.Fatalf("got %+v", ms.Disputes)
	}
	if v := w.standing(p, "induction"); v.Ready {
		t.Error("it counts while in question")
	}
	must[store.Receipt](t)(w.Settle(w.ctx, w.ada(), Settlement{Entry: entry, Reason: "Seen again on the car", Passphrase: pass(w.Coordinators[0])}))
	if v := w.standing(p, "induction"); !v.Ready {
		t.Error("settled, and it does not count")
	}
}

// Unsigned jobs, disputes and reviews of a supervisor who leaves get a new owner.
func TestALeavingSupervisorsMattersGetANewOwner(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.inducted(p)
	j := w.watch(w.sam(1), p, "induction", "wagon")
	entry := w.signedJob(w.pat(1))
	must[store.Receipt](t)(w.Dispute(w.ctx, w.pat(1), "", entry, "Not so"))
	must[store.Receipt](t)(w.Assign(w.ctx, w.ada(), "", entry, w.Supervisors[1].ID))
	_, err := w.Assign(w.ctx, w.ada(), "", entry, w.Supervisors[0].ID)
	wants(t, err, "cannot_own") // who signed it
	if left := must[[]LeftBehind](t)(w.LeftBehind(w.ctx, w.ada())); len(left) != 0 {
		t.Errorf("nobody leaves: %+v", left)
	}
	roles := w.sam(1).Roles
	if err := w.EndRole(w.ctx, w.ada(), w.Supervisors[1].ID, roles[0].Entry, must[string](t)(w.Today(w.ctx))); err != nil {
		t.Fatal(err)
	}
	left := must[[]LeftBehind](t)(w.LeftBehind(w.ctx, w.ada()))
	if len(left) != 1 || len(left[0].Jobs) != 1 || len(left[0].Matters) != 1 {
		t.Fatalf("got %+v", left)
	}
	must[store.Receipt](t)(w.Assign(w.ctx, w.ada(), "", entry, w.Supervisors[2].ID))
	must[store.Receipt](t)(w.Assign(w.ctx, w.ada(), "", j.ID, w.Supervisors[2].ID))
	if left := must[[]LeftBehind](t)(w.LeftBehind(w.ctx, w.ada())); len(left) != 0 {
		t.Errorf("left behind: %+v", left)
	}
	sh := must[*JobSheet](t)(w.Job(w.ctx, w.sam(2), j.ID))
	if sh.Job.Supervisor != w.Supervisors[2].ID || len(sh.Notes) != 1 {
		t.Errorf("supervisor %s, notes %q", sh.Job.Supervisor, sh.Notes)
	}
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(2), j.ID, []store.Tap{{ID: w.tapID(), Outcome: interrupted}}))
	must[[]store.Receipt](t)(w.SignJobs(w.ctx, w.sam(2), nil, []string{j.ID}, pass(w.Supervisors[2]), nil))
}

func TestWaiversAreListed(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.inducted(p)
	v := w.standing(p, "pads")
	_ = v
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
	w.readLesson(p, "pads")
	closed := ClosedGates(w.standing(p, "pads"))
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "pads", WaiverGates: closed, WaiverUntil: addDays(must[string](t)(w.Today(w.ctx)), 30),
		Reason: "One layout only comes here", Passphrase: pass(w.Supervisors[0]), SecondLogin: w.Coordinators[0].Login, SecondPassphrase: pass(w.Coordinators[0])}))
	all := must[[]Waiver](t)(w.Waivers(w.ctx, w.ada()))
	if len(all) != 1 || all[0].About.ID != p.ID || !all[0].Running {
		t.Errorf("got %+v", all)
	}
	_, err := w.Waivers(w.ctx, p)
	wants(t, err, "not_allowed")
	w.Clock.Add(31 * 24 * time.Hour)
	if all = must[[]Waiver](t)(w.Waivers(w.ctx, w.ada())); all[0].Running {
		t.Error("it runs after its end")
	}
}

func TestPairsAreReportedToTheCoordinator(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	for range leastPaired {
		w.signedJob(p)
	}
	pairs := must[[]SignedPair](t)(w.Pairs(w.ctx, w.ada()))
	if len(pairs) != 1 || pairs[0].Apprentice.ID != p.ID || pairs[0].Jobs != leastPaired {
		t.Errorf("got %+v", pairs)
	}
	_, err := w.Pairs(w.ctx, w.sam(1))
	wants(t, err, "not_allowed")
}

// A decision that is due stands with everybody who may take it; the apprentice is told who they are.
func TestDueDecisions(t *testing.T) {
	w, p := ready(t)
	due := must[[]Due](t)(w.DueDecisions(w.ctx, w.sam(0)))
	if len(due) != 1 || due[0].Apprentice.ID != p.ID || due[0].Verdict.Task != "induction" {
		t.Fatalf("got %+v", due)
	}
	if who := must[[]*store.Person](t)(w.Deciders(w.ctx, p, "induction")); len(who) != len(w.Supervisors) {
		t.Errorf("%d may decide", len(who))
	}
	if other := must[[]Due](t)(w.DueDecisions(w.ctx, p)); len(other) != 0 {
		t.Errorf("an apprentice decides: %+v", other)
	}
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
	if due = must[[]Due](t)(w.DueDecisions(w.ctx, w.sam(1))); len(due) != 0 {
		t.Errorf("decided, and still due: %+v", due)
	}
}

// Who made or signed the record that a disputed correction takes the place of is party to that dispute, and so is who
// corrected a disputed record.
func TestPartiesOfTheWholeChainDoNotSettle(t *testing.T) {
	w := newWorld(t)
	p, ada := w.pat(0), w.ada()
	w.readLesson(p, "safe")
	entry := w.signedJob(p)
	notes := "The wheel nuts were dry"
	correct := func(by int, of string) string {
		return must[store.Receipt](t)(w.Correct(w.ctx, w.sam(by), Correction{Entry: of, Changes: RecordChanges{Notes: &notes}, Reason: "Forgotten", Passphrase: pass(w.Supervisors[by])})).ID
	}
	settle := func(actor *store.Person, of, passphrase string) error {
		_, err := w.Settle(w.ctx, actor, Settlement{Entry: of, Reason: "Looked at it", Passphrase: passphrase})
		return err
	}
	correction := correct(1, entry)
	must[store.Receipt](t)(w.Dispute(w.ctx, p, "", correction, "They were oiled"))
	for i, name := range []string{"who signed the record corrected", "who corrected it"} {
		if err := settle(w.sam(i), correction, pass(w.Supervisors[i])); code(t, err) != "rule_"+ledger.IsParty {
			t.Errorf("%s: %v", name, err)
		}
		for _, m := range must[*Matters](t)(w.Matters(w.ctx, w.sam(i))).Disputes {
			if m.May {
				t.Errorf("%s may settle it, says the list", name)
			}
		}
	}
	wants(t, settle(ada, correction, pass(w.Coordinators[0])), "")

	must[store.Receipt](t)(w.Dispute(w.ctx, p, "", entry, "I was not there"))
	wants(t, settle(w.sam(1), entry, pass(w.Supervisors[1])), "rule_"+ledger.IsParty)
	wants(t, settle(ada, entry, pass(w.Coordinators[0])), "")
}

// An id that comes again with other content is refused, so that nobody takes for kept what was not.
func TestAnIdWithOtherContentIsRefused(t *testing.T) {
	w := newWorld(t)
	p, sam, ada, passphrase := w.keyOf(w.Apprentices[0], patsPhrase), w.sam(0), w.ada(), pass(w.Supervisors[0])
	w.readLesson(p, "safe")
	entry := w.signedJob(p)
	other := w.pat(1)
	notes, others := "Wheel nuts dry", "Wheel nuts oiled"
	rows := []struct {
		name string
		do   func(id, content string) error
	}{
		{"a dispute", func(id, text string) error { _, err := w.Dispute(w.ctx, p, id, entry, text); return err }},
		{"a reply", func(id, text string) error { _, err := w.Reply(w.ctx, p, id, entry, text); return err }},
		{"a shop note", func(id, text string) error { _, err := w.PinNote(w.ctx, ada, id, "pads", "fit", text); return err }},
		{"a stand-down", func(id, text string) error {
			_, err := w.StandDown(w.ctx, sam, id, other.ID, "pads", text, "")
			return err
		}},
		{"a restore", func(id, text string) error {
			_, err := w.Restore(w.ctx, ada, id, other.ID, "pads", text, pass(w.Coordinators[0]))
			return err
		}},
		{"a new name", func(id, text string) error {
			_, err := w.Roster(id).Rename(w.ctx, ada, other.ID, text, "")
			return err
		}},
		{"an agreement", func(id, text string) error {
			_, err := w.Roster(id).MakeAgreement(w.ctx, ada, other.ID, text, "", "")
			return err
		}},
		{"an appointment", func(id, text string) error {
			_, err := w.Roster(id).Appoint(w.ctx, ada, w.sam(1).ID, store.Appointment{Task: "pads", Number: text}, pass(w.Coordinators[0]))
			return err
		}},
		{"a site", func(id, text string) error { _, _, err := w.Roster(id).AddSite(w.ctx, ada, text, ""); return err }},
		{"a person", func(id, text string) error {
			_, err := w.AddRoster(w.ctx, ada, id, []NewPerson{{Name: text, Login: "newcomer", Role: Apprentice}}, "")
			return err
		}},
		{"a job", func(id, text string) error {
			_, err := w.AskJob(w.ctx, p, JobRequest{ID: id, Apprentice: p.ID, Task: "induction", Vehicle: "wagon", WorkOrder: text})
			return err
		}},
		{"a correction", func(id, text string) error {
			_, err := w.Correct(w.ctx, sam, Correction{ID: id, Entry: entry, Changes: RecordChanges{Notes: &text}, Reason: "Forgotten", Passphrase: passphrase})
			return err
		}},
		{"a correction's reason", func(id, text string) error {
			_, err := w.Correct(w.ctx, sam, Correction{ID: id, Entry: entry, Changes: RecordChanges{Notes: &notes}, Beside: true, Reason: text, Passphrase: passphrase})
			return err
		}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			id := w.ID()
			for _, x := range []struct{ text, want string }{{notes, ""}, {" " + notes + "\n", ""}, {others, "id_taken"}, {notes, ""}} {
				if err := r.do(id, x.text); code(t, err) != x.want {
					t.Errorf("%q: got %v, want %q", x.text, err, x.want)
				}
			}
		})
	}
	t.Run("a tap", func(t *testing.T) {
		j := w.watch(sam, w.pat(2), "induction", "wagon")
		step := must[*JobSheet](t)(w.Job(w.ctx, sam, j.ID)).Lessons[0].Steps[0].Key
		tap := w.result(step, "prompted")
		for _, x := range []struct{ result, want string }{{"prompted", ""}, {"prompted", ""}, {"taken_over", "id_taken"}} {
			tap.Result = x.result
			_, err := w.Tap(w.ctx, sam, j.ID, []store.Tap{tap})
			wants(t, err, x.want)
		}
	})
}
