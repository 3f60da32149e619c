package acts

import (
	"slices"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/storetest"
)

// Erasing is refused while anything stands against it, each thing by its own words; then it is done once, and what is left
// can still be looked at.
func TestErase(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	pat := w.Apprentices[0]
	erase := func() error {
		_, err := w.Erase(w.ctx, ada, "", pat.ID, pat.Login, passphrase)
		return err
	}
	wants(t, erase(), "erase_role")
	_, err := w.Erase(w.ctx, w.sam(0), "", pat.ID, pat.Login, passphrase)
	wants(t, err, "not_allowed")
	_, err = w.Erase(w.ctx, ada, "", ada.ID, "ada", passphrase)
	wants(t, err, "not_allowed")
	p := must[*store.Person](t)(w.World.Store.Person(w.ctx, pat.ID))
	if err := w.EndRole(w.ctx, ada, pat.ID, p.Roles[0].Entry, ""); err != nil {
		t.Fatal(err)
	}
	w.Clock.Add(48 * time.Hour)
	wants(t, erase(), "erase_agreement")
	if err := w.EndAgreement(w.ctx, ada, pat.ID, p.Agreements[0].Entry, ""); err != nil {
		t.Fatal(err)
	}
	w.Clock.Add(48 * time.Hour)
	wants(t, erase(), "erase_kept")
	if due := must[[]*Erasure](t)(w.DueForErasure(w.ctx, ada)); len(due) != 0 {
		t.Errorf("due already: %+v", due[0])
	}
	w.Clock.Add(5*365*24*time.Hour - 72*time.Hour)
	wants(t, erase(), "erase_kept")
	w.Clock.Add(4 * 24 * time.Hour)
	due := must[[]*Erasure](t)(w.DueForErasure(w.ctx, ada))
	if len(due) != 1 || due[0].Person.ID != pat.ID || due[0].KeepUntil != "2031-01-07" || len(due[0].Kinds) != 3 || len(due[0].Against) != 0 {
		t.Fatalf("due: %+v", due)
	}
	_, err = w.Erase(w.ctx, ada, "", pat.ID, "pat1", passphrase)
	wants(t, err, "erase_confirm")
	_, err = w.Erase(w.ctx, ada, "", pat.ID, pat.Login, "wrong")
	wants(t, err, "passphrase_wrong")
	id := w.ID()
	first := must[store.Receipt](t)(w.Erase(w.ctx, ada, id, pat.ID, " "+pat.Login, passphrase))
	again := must[store.Receipt](t)(w.Erase(w.ctx, ada, id, pat.ID, pat.Login, passphrase))
	if first != again {
		t.Errorf("sent again: %+v, %+v", first, again)
	}
	wants(t, erase(), "rule_person_erased")
	if due := must[[]*Erasure](t)(w.DueForErasure(w.ctx, ada)); len(due) != 0 {
		t.Errorf("due again: %+v", due)
	}
	record := must[[]*store.EntryView](t)(w.Record(w.ctx, ada, pat.ID))
	if len(record) == 0 || len(record[0].Personal) != 0 {
		t.Errorf("%d entries, %v", len(record), record)
	}
	if _, err := w.Board(w.ctx, ada, BoardFilter{WithLeft: true}); err != nil {
		t.Error(err)
	}
	if _, err := w.Standings(w.ctx, ada, pat.ID); err != nil {
		t.Error(err)
	}
	_, _, err = w.LogIn(w.ctx, pat.Login, pat.Password, "here", false)
	wants(t, err, "login_failed")
	if v, err := store.Verify(w.ctx, w.Options, false, nil); err != nil || !v.OK {
		t.Errorf("%+v, %v", v, err)
	}
}

// The policy's years are each kind's own: what is past its date is listed, and the person waits for the longest.
func TestRetentionByKind(t *testing.T) {
	w := newWorld(t, "programme.yaml", "  induction: induction\n", "  induction: induction\n  retention_years: 2\n  retention: {agreements: 1, account: 0, training: 9}\n")
	ada := w.ada()
	pat := w.Apprentices[0]
	p := must[*store.Person](t)(w.World.Store.Person(w.ctx, pat.ID))
	w.World.Append(w.World.SignOff(w.Supervisors[0], pat, w.World.Tasks[0], nil))
	if err := w.EndRole(w.ctx, ada, pat.ID, p.Roles[0].Entry, ""); err != nil {
		t.Fatal(err)
	}
	if err := w.EndAgreement(w.ctx, ada, pat.ID, p.Agreements[0].Entry, ""); err != nil {
		t.Fatal(err)
	}
	kinds := func(e *Erasure) (due []string) {
		for _, k := range e.Kinds {
			if k.Due {
				due = append(due, string(k.Kind))
			}
		}
		return due
	}
	for _, c := range []struct {
		years   int
		due     []string
		against int
	}{{0, []string{"account"}, 3}, {1, []string{"agreements", "account"}, 2}, {2, []string{"agreements", "authority", "account"}, 1}, {9, []string{"training", "agreements", "authority", "account"}, 0}} {
		w.Clock.Set(storetest.Start.AddDate(c.years, 0, 3))
		list := must[[]*Erasure](t)(w.DueForErasure(w.ctx, ada))
		if len(list) != 1 || !slices.Equal(kinds(list[0]), c.due) || len(list[0].Against) != c.against {
			t.Errorf("after %d years: %+v", c.years, list)
		}
		if c.against > 0 {
			_, err := w.Erase(w.ctx, ada, "", pat.ID, pat.Login, pass(w.Coordinators[0]))
			wants(t, err, "erase_kept")
		}
	}
	must[store.Receipt](t)(w.Erase(w.ctx, ada, "", pat.ID, pat.Login, pass(w.Coordinators[0])))
	if v, err := store.Verify(w.ctx, w.Options, false, nil); err != nil || !v.OK {
		t.Errorf("%+v, %v", v, err)
	}
}
