package acts

import (
	"slices"
	"strings"
	"testing"

	"brakewright/store"
)

func TestAdopt(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	adopt := func(actor *store.Person, o *Offer, edition, passphrase string) error {
		_, err := w.Adopt(w.ctx, actor, o, edition, passphrase)
		return err
	}
	same := must[*Offer](t)(w.Compare(w.ctx, ada, smallWith(t)))
	if !same.Same || len(same.Changes) != 0 {
		t.Errorf("got %+v", same.Changes)
	}
	wants(t, adopt(ada, same, same.Programme.Edition, passphrase), "offer_same")
	broken := must[*Offer](t)(w.Compare(w.ctx, ada, smallWith(t, "lessons/pads.md", "tasks: [pads]", "tasks: [soup]")))
	if broken.Programme != nil || len(broken.Problems) == 0 {
		t.Fatalf("got %+v", broken)
	}
	wants(t, adopt(ada, broken, "", passphrase), "offer_broken")
	next := must[*Offer](t)(w.Compare(w.ctx, ada, smallWith(t, "vehicles/van.md", "26.4", "26.5")))
	wants(t, adopt(ada, next, strings.Repeat("0", 64), passphrase), "offer_changed")
	wants(t, adopt(w.sam(0), next, next.Programme.Edition, pass(w.Supervisors[0])), "not_allowed")
	wants(t, adopt(ada, next, next.Programme.Edition, "wrong"), "passphrase_wrong")
	wants(t, adopt(ada, next, next.Programme.Edition, passphrase), "")
	if p, err := w.Programme(w.ctx); err != nil || p.Edition != next.Programme.Edition {
		t.Errorf("in use: %v %v", p.Edition, err)
	}
	// A process that has nothing in memory reads the adopted edition from the database.
	fresh := New(w.World.Store, w.Clock.Now, w.World.Random, "test")
	if p, err := fresh.Programme(w.ctx); err != nil || p.Edition != next.Programme.Edition {
		t.Errorf("from the database: %v", err)
	}
	back := must[*Offer](t)(w.Compare(w.ctx, ada, smallWith(t)))
	wants(t, adopt(ada, back, back.Programme.Edition, passphrase), "")
	_, err := w.Compare(w.ctx, w.sam(0), smallWith(t))
	wants(t, err, "not_allowed")
}

func TestMemFS(t *testing.T) {
	m := smallWith(t)
	var names []string
	for _, e := range m.list("lessons") {
		names = append(names, e.Name())
	}
	if !slices.Equal(names, []string{"pads.md", "safe.md"}) {
		t.Errorf("got %v", names)
	}
	if _, err := m.Open("../x"); err == nil {
		t.Error("a path that leaves the folder opens")
	}
	if _, err := m.Open("lessons/none.md"); err == nil {
		t.Error("a file that is not there opens")
	}
}
