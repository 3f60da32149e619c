package store_test

import (
	"errors"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// With a coordinator's key that was in other hands come into question whom it appointed, which keys it vouched for and what
// roles it gave; what falls is as if it had never been, in the projections as in the rules.
func TestAuthorityGivenWithACompromisedKey(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	ada, cora, sam, sue, pat := w.Coordinators[0], w.Coordinators[1], w.Supervisors[0], w.Supervisors[1], w.Apprentices[0]
	job := w.Append(w.SignOff(sam, pat, w.Tasks[0], nil)).ID
	w.Clock.Add(time.Hour)
	w.Append(w.Make(cora.ID, ledger.KeyEnded, ada.ID, ledger.KeyEndedPayload{Key: ada.Signer.Key, Why: "compromised", From: 1}, map[string]string{"reason": "r"}, nil))
	contested := func() map[string]bool {
		all, err := w.Store.Contested(ctx, "")
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]bool{}
		for _, x := range all {
			out[x.Entry] = true
		}
		return out
	}
	person := func(id string) *store.Person {
		p, err := w.Store.Person(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	entryOf := func(id string, typ ledger.Type) string {
		es, err := w.Store.Entries(ctx, store.EntryFilter{Subject: id, Types: []ledger.Type{typ}, Limit: 100})
		if err != nil || len(es) == 0 {
			t.Fatalf("%d, %v", len(es), err)
		}
		return es[0].Entry.Body.ID
	}
	if c := contested(); c[job] || !c[person(sam.ID).Appointments[0].Entry] || !c[entryOf(sam.ID, ledger.KeyAdded)] {
		t.Fatalf("in question: %v", c)
	}
	// In force until it is settled.
	w.Append(w.SignOff(sam, pat, w.Tasks[0], nil))
	settle := func(subject, entry string, upheld bool) {
		t.Helper()
		w.Append(w.Make(cora.ID, ledger.DisputeSettled, subject, ledger.SettlementPayload{Disputes: entry, Upheld: upheld}, map[string]string{"reason": "Looked at"}, nil, cora.Signer))
	}
	settle(sue.ID, entryOf(sue.ID, ledger.KeyAdded), false)
	for _, a := range person(sam.ID).Appointments {
		settle(sam.ID, a.Entry, true)
	}
	if !contested()[job] {
		t.Error("what was signed under an appointment that fell stands")
	}
	refused := func(s *ledger.Submission, want string) {
		t.Helper()
		var rule *ledger.RuleError
		if _, err := w.Store.Append(ctx, s); !errors.As(err, &rule) || rule.Code != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	refused(w.SignOff(sam, pat, w.Tasks[0], nil), ledger.NotAppointed)
	settle(sam.ID, entryOf(sam.ID, ledger.KeyAdded), true)
	if p := person(sam.ID); p.Key != nil {
		t.Errorf("the key that fell is in force: %+v", p.Key)
	}
	refused(w.SignOff(sam, pat, w.Tasks[0], nil), ledger.KeyNotInForce)
	evidence, err := w.Store.Evidence(ctx, sam.ID)
	if err != nil || len(evidence) > 0 {
		t.Errorf("evidence of a supervisor: %v, %v", evidence, err)
	}
	mustVerify(t, w.Options) // replays by the rules and compares the projections
}
