package acts

import (
	"context"
	"errors"
	"slices"
	"testing"
	"time"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/ledger/passkeytest"
	"brakewright/store/storetest"
)

const passkeyOrigin = "https://brakes.example.org"

// passkey makes somebody a passkey through the acts, and a coordinator signs for it.
func (w *world) passkey(m *storetest.Member, ed bool) *passkeytest.Device {
	w.t.Helper()
	d := passkeytest.New(passkeyOrigin, ed)
	n := must[*NewPasskey](w.t)(w.BeginPasskey(w.ctx, w.who(m), passkeyOrigin))
	a := must[*Awaiting](w.t)(w.MadePasskey(w.ctx, w.who(m), passkeyOrigin, n.Signing, d.Made(n.Challenge)))
	if err := w.RequestPasskey(w.ctx, w.who(m), passkeyOrigin, a.Signing, d.Answer(a.Challenge)); err != nil {
		w.t.Fatal(err)
	}
	if waiting := must[[]WaitingKey](w.t)(w.WaitingKeys(w.ctx, w.ada())); len(waiting) != 1 || !waiting[0].Passkey || waiting[0].Person.ID != m.ID {
		w.t.Fatalf("waiting: %+v", waiting)
	}
	if err := w.ConfirmKeys(w.ctx, w.ada(), []string{m.ID}, pass(w.Coordinators[0])); err != nil {
		w.t.Fatal(err)
	}
	return d
}

// asked does something up to the question to the device.
func (w *world) asked(do func(context.Context) error) *Awaiting {
	w.t.Helper()
	err := do(WithPasskey(w.ctx, PasskeyUse{Origin: passkeyOrigin}))
	var a *Awaiting
	if !errors.As(err, &a) {
		w.t.Fatalf("no question: %v", err)
	}
	return a
}

// answered does it again, with an answer.
func (w *world) answered(a *Awaiting, answer []byte, do func(context.Context) error) error {
	return do(WithPasskey(w.ctx, PasskeyUse{Origin: passkeyOrigin, Signing: a.Signing, Answer: answer}))
}

// byTouch does something with a passkey.
func (w *world) byTouch(d *passkeytest.Device, do func(context.Context) error) error {
	w.t.Helper()
	a := w.asked(do)
	return w.answered(a, d.Answer(a.Challenge), do)
}

// finished is an induction watched and finished, not signed.
func (w *world) finished(p *store.Person) string {
	w.t.Helper()
	sam := w.sam(0)
	j := w.watch(sam, p, "induction", "wagon")
	sh := must[*JobSheet](w.t)(w.Job(w.ctx, sam, j.ID))
	must[*JobSheet](w.t)(w.Tap(w.ctx, sam, j.ID, append(w.allTaps(sh), store.Tap{ID: w.tapID(), Outcome: finished})))
	return j.ID
}

func TestPasskeySignsJobs(t *testing.T) {
	for _, ed := range []bool{false, true} {
		w := newWorld(t)
		p := w.pat(0)
		w.readLesson(p, "safe")
		d := w.passkey(w.Supervisors[0], ed)
		if sam := w.sam(0); sam.Key == nil || len(sam.Passkeys) != 1 {
			t.Fatalf("the passkey does not stand beside the passphrase: %+v", sam)
		}
		// Two jobs with one touch; ids of their own, so that a lost answer can be asked for again.
		jobs, ids := []string{w.finished(p), w.finished(w.pat(1))}, []string{w.ID(), w.ID()}
		var receipts []store.Receipt
		sign := func(ctx context.Context) (err error) {
			receipts, err = w.SignJobs(ctx, w.sam(0), ids, jobs, "", nil)
			return err
		}
		before := must[*store.Info](t)(infoOf(w))
		a := w.asked(sign)
		if again := must[*store.Info](t)(infoOf(w)); again.Entries != before.Entries {
			t.Error("the question alone wrote something")
		}
		if err := w.answered(a, d.Answer(a.Challenge), sign); err != nil {
			t.Fatal(err)
		}
		if len(receipts) != 2 || receipts[0].ID != ids[0] || receipts[1].ID != ids[1] {
			t.Errorf("got %+v", receipts)
		}
		e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, ids[1]))
		if s := e.Entry.Signatures; len(s) != 1 || !ledger.IsPasskey(s[0].Alg) || len(s[0].Among) != 2 {
			t.Errorf("signed by %+v", s)
		}
		// The same again is answered by the same receipts, without a device.
		if err := sign(WithPasskey(w.ctx, PasskeyUse{Origin: passkeyOrigin})); err != nil || receipts[1].ID != ids[1] {
			t.Errorf("again: %v, %+v", err, receipts)
		}
		// One job alone; then the record may be verified by anybody.
		jobs, ids = []string{w.finished(p)}, nil
		if err := w.byTouch(d, sign); err != nil {
			t.Fatal(err)
		}
		if v := must[*store.Verification](t)(store.Verify(w.ctx, w.Options, false, nil)); !v.OK {
			t.Errorf("verify: %+v", v.FirstProblem)
		}
	}
}

func infoOf(w *world) (*store.Info, error) {
	i, err := w.World.Store.Info(w.ctx)
	return &i, err
}

// Every other act that takes a passphrase takes a passkey, also those that make several entries or run beside one that
// needs no signature.
func TestPasskeyDecides(t *testing.T) {
	w, p := ready(t)
	d := w.passkey(w.Supervisors[0], false)
	sam := func() *store.Person { return w.sam(0) }
	clear := func(ctx context.Context) error {
		_, err := w.Clear(ctx, sam(), ClearanceRequest{Apprentice: p.ID, Task: "induction"})
		return err
	}
	if err := w.byTouch(d, clear); err != nil {
		t.Fatal(err)
	}
	if v := w.standing(p, "induction"); v.Standing != readiness.Cleared {
		t.Fatalf("got %s", v.Standing)
	}
	// A correction with a stand-down: three entries, two of them signed.
	entry := must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam(), nil, []string{w.finished(p)}, pass(w.Supervisors[0]), nil))[0].ID
	correct := func(ctx context.Context) error {
		_, err := w.Correct(ctx, sam(), Correction{Entry: entry, Reason: "Seen on the film", Decision: &CriticalDecision{StandDown: true, Reason: "Until it is shown again"},
			Changes: RecordChanges{Steps: []StepChange{{Step: "safe/chock", Result: "taken_over", CriticalError: true, WhatHappened: "No chock"}}}})
		return err
	}
	if err := w.byTouch(d, correct); err != nil {
		t.Fatal(err)
	}
	if v := w.standing(p, "induction"); v.Standing != readiness.StoodDown || len(v.Notes.Warnings) > 0 && v.Notes.Warnings[0].Code == "stand_down_unsigned" {
		t.Errorf("got %s, %v", v.Standing, v.Notes.Warnings)
	}
	// A stand-down holds while the device is still asked.
	other, id := w.pat(1), w.ID()
	down := func(ctx context.Context) error {
		_, err := w.StandDown(ctx, sam(), id, other.ID, "pads", "Tired", "")
		return err
	}
	a := w.asked(down)
	if v := w.standing(other, "pads"); v.Standing != readiness.StoodDown {
		t.Errorf("while asked: %s", v.Standing)
	}
	if err := w.answered(a, d.Answer(a.Challenge), down); err != nil {
		t.Fatal(err)
	}
	if open := must[[]store.OpenStandDown](t)(w.World.Store.OpenStandDowns(w.ctx, other.ID)); len(open) != 1 || !open[0].Signed {
		t.Errorf("got %+v", open)
	}
	// A second person signs with a passphrase beside it.
	recognise := func(ctx context.Context) error {
		_, err := w.Recognise(ctx, sam(), Recognition{Apprentice: other.ID, Task: "pads", StandsFor: []string{"jobs"}, Jobs: 2, Reason: "Papers seen",
			SecondLogin: w.Supervisors[1].Login, SecondPassphrase: pass(w.Supervisors[1])})
		return err
	}
	if err := w.byTouch(d, recognise); err != nil {
		t.Fatal(err)
	}
}

// A coordinator's passkey signs for other keys, of both kinds.
func TestPasskeyOfACoordinator(t *testing.T) {
	w := newWorld(t)
	d := passkeytest.New(passkeyOrigin, false)
	n := must[*NewPasskey](t)(w.BeginPasskey(w.ctx, w.ada(), passkeyOrigin))
	a := must[*Awaiting](t)(w.MadePasskey(w.ctx, w.ada(), passkeyOrigin, n.Signing, d.Made(n.Challenge)))
	if err := w.RequestPasskey(w.ctx, w.ada(), passkeyOrigin, a.Signing, d.Answer(a.Challenge)); err != nil {
		t.Fatal(err)
	}
	ada := w.Coordinators[0].ID
	wants(t, w.ConfirmKeys(w.ctx, w.ada(), []string{ada}, pass(w.Coordinators[0])), "not_allowed") // somebody else can
	wants(t, w.ConfirmKeys(w.ctx, w.cora(), []string{ada}, pass(w.Coordinators[1])), "")
	wants(t, w.RequestKey(w.ctx, w.pat(0), "three loud crows"), "")
	old := w.sam(0).Key.ID
	wants(t, w.RequestKey(w.ctx, w.sam(0), "five tall ladders"), "")
	confirm := func(ctx context.Context) error {
		return w.ConfirmKeys(ctx, w.ada(), []string{w.pat(0).ID, w.sam(0).ID}, "")
	}
	wants(t, w.byTouch(d, confirm), "")
	if w.pat(0).Key == nil || w.sam(0).Key.ID == old {
		t.Error("the keys are not in force")
	}
}

func TestPasskeyIsRefused(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	w.readLesson(p, "safe")
	d := w.passkey(w.Supervisors[0], false)
	job := w.finished(p)
	sign := func(ctx context.Context) error {
		_, err := w.SignJobs(ctx, w.sam(0), nil, []string{job}, "", nil)
		return err
	}
	wants(t, sign(WithPasskey(w.ctx, PasskeyUse{Origin: "https://elsewhere.example"})), "no_passkey_here")
	a := w.asked(sign)
	wants(t, w.answered(a, []byte("{}"), sign), "passkey_unreadable")
	wants(t, w.answered(a, passkeytest.New(passkeyOrigin, false).Answer(a.Challenge), sign), "no_passkey_here")
	wants(t, w.answered(a, d.Answer([]byte("another challenge")), sign), "passkey_failed")
	d.Flags = passkeytest.Present
	wants(t, w.answered(a, d.Answer(a.Challenge), sign), "passkey_failed")
	d.Flags |= passkeytest.Verified
	// What was shown has changed meanwhile.
	must[*JobSheet](t)(w.Tap(w.ctx, w.sam(0), job, []store.Tap{{ID: w.tapID(), Note: "One thing more"}}))
	wants(t, w.answered(a, d.Answer(a.Challenge), sign), "passkey_other_act")
	// Another act under the answer to this one.
	a = w.asked(sign)
	wants(t, w.answered(a, d.Answer(a.Challenge), func(ctx context.Context) error {
		_, err := w.SpotCheck(ctx, w.sam(0), SpotCheckRequest{Apprentice: p.ID, Task: "induction", Finding: "sound"})
		return err
	}), "passkey_other_act")
	// Too late.
	w.Clock.Add(store.SigningLasts + time.Second)
	wants(t, w.answered(a, d.Answer(a.Challenge), sign), "passkey_expired")
	// Somebody else's question.
	a = w.asked(sign)
	wants(t, w.answered(a, d.Answer(a.Challenge), func(ctx context.Context) error {
		_, err := w.SpotCheck(ctx, w.sam(1), SpotCheckRequest{Apprentice: p.ID, Task: "induction", Finding: "sound"})
		return err
	}), "no_passkey_here")
	// The key ended between question and answer.
	must[store.Receipt](t)(w.EndKey(w.ctx, w.sam(0), KeyEnd{Person: w.sam(0).ID, Key: w.sam(0).Passkeys[0].ID, Why: "lost"}))
	wants(t, w.answered(a, d.Answer(a.Challenge), sign), "no_passkey_here")
	if sam := w.sam(0); sam.Key == nil || len(sam.Passkeys) > 0 {
		t.Errorf("another key ended: %+v", sam)
	}
	// The passphrase still signs.
	must[[]store.Receipt](t)(w.SignJobs(w.ctx, w.sam(0), nil, []string{job}, pass(w.Supervisors[0]), nil))
}

func TestMakingAPasskeyIsRefused(t *testing.T) {
	w := newWorld(t)
	sam := w.sam(0)
	for _, origin := range []string{"", "http://brakes.example.org", "https://192.0.2.7", "https://[::1]"} {
		_, err := w.BeginPasskey(w.ctx, sam, origin)
		wants(t, err, "passkey_needs_https")
	}
	begin := func() *NewPasskey { return must[*NewPasskey](t)(w.BeginPasskey(w.ctx, sam, passkeyOrigin)) }
	made := func(n *NewPasskey, answer []byte) error {
		_, err := w.MadePasskey(w.ctx, sam, passkeyOrigin, n.Signing, answer)
		return err
	}
	n, d := begin(), passkeytest.New(passkeyOrigin, false)
	wants(t, made(n, []byte("x")), "passkey_unreadable")
	wants(t, made(n, d.Made([]byte("another challenge"))), "passkey_failed")
	d.Flags = passkeytest.Present
	wants(t, made(n, d.Made(n.Challenge)), "passkey_failed")
	d.Flags |= passkeytest.Verified
	far := passkeytest.New("https://elsewhere.example", false)
	wants(t, made(n, far.Made(n.Challenge)), "passkey_failed")
	a := must[*Awaiting](t)(w.MadePasskey(w.ctx, sam, passkeyOrigin, n.Signing, d.Made(n.Challenge)))
	wants(t, made(n, d.Made(n.Challenge)), "passkey_expired") // once
	if !slices.Equal(a.Credentials, []string{must[ledger.KeyAddedPayload](t)(ledger.PayloadOf[ledger.KeyAddedPayload](must[*store.Signing](t)(w.World.Store.Signing(w.ctx, sam.ID, a.Signing)).Submissions[0].Body)).Key.Credential}) {
		t.Errorf("asks %v", a.Credentials)
	}
	other := passkeytest.New(passkeyOrigin, false)
	other.Credential = d.Credential
	wants(t, w.RequestPasskey(w.ctx, sam, passkeyOrigin, a.Signing, other.Answer(a.Challenge)), "passkey_failed")
	wants(t, w.RequestPasskey(w.ctx, sam, passkeyOrigin, begin().Signing, d.Answer(a.Challenge)), "passkey_other_act")
	if w.sam(0).KeyWaiting {
		t.Error("a refused key waits")
	}
}
