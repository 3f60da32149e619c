package acts

import (
	"slices"
	"testing"

	"brakewright/readiness"
	"brakewright/store"
)

// touched is whom a changed folder touches, in the order of changes.
func (w *world) touched(actor *store.Person, changes ...string) []string {
	w.t.Helper()
	o := must[*Offer](w.t)(w.Compare(w.ctx, actor, smallWith(w.t, changes...)))
	all := must[[]Touch](w.t)(w.Touched(w.ctx, actor, o))
	if len(all) != len(o.Changes) {
		w.t.Fatalf("%d changes, %d touches", len(o.Changes), len(all))
	}
	var out []string
	for _, x := range all {
		for _, c := range x.Clearances {
			out = append(out, "clearance "+c.Apprentice.Name+" "+c.Task)
		}
		for _, c := range x.Tests {
			out = append(out, "test "+c.Apprentice.Name+" "+c.Task)
		}
		for _, j := range x.Jobs {
			line := "job " + j.Apprentice.Name + " " + j.Task + " " + j.Vehicle
			for _, r := range j.Readings {
				line += " " + r
			}
			out = append(out, line)
		}
	}
	return out
}

// TestTouched: a rotor's figure lists exactly the clearances and jobs that rest on it, a word of background nobody.
func TestTouched(t *testing.T) {
	w, p := ready(t)
	w.readLesson(p, "pads")
	w.passTest(p, "pads", "wagon")
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
	w.goodJob(0, p, "pads", "wagon")
	w.goodJob(1, p, "pads", "van")
	for _, d := range w.standing(p, "pads").Gates {
		if !d.OK {
			t.Fatalf("%s is closed: %s", d.Gate, d.Why)
		}
	}
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "pads", Passphrase: pass(w.Supervisors[0]), Layouts: []string{"diagonal"}}))
	rotorOf := func(vehicle, from, to string) []string { return []string{"vehicles/" + vehicle + ".md", from, to} }
	for _, r := range []struct {
		name    string
		changes []string
		want    []string
	}{
		{"background", []string{"lessons/pads.md", "# Replace front pads\n", "# Replace front pads\n\nA word.\n"}, nil},
		{"a plain step", []string{"lessons/pads.md", "The caliper is behind it.", "The caliper hides."}, nil},
		{"the wagon's rotor", rotorOf("wagon", "| 20 |", "| 21 |"), []string{"job Pat 00 pads wagon"}},
		{"the van's rotor, whose step is not critical", rotorOf("van", "26.4", "26.5"), []string{"job Pat 00 pads van"}},
		{"a critical step's consequence", []string{"lessons/pads.md", "overheats", "burns"}, []string{"clearance Pat 00 pads"}},
		{"a critical step of the induction", []string{"lessons/safe.md", "rolls onto you", "rolls away"}, []string{"clearance Pat 00 induction"}},
		{"the order of a critical step", []string{"lessons/pads.md", "5. Put the new pads in. {#fit .critical", "5. Put the new pads in. {#fit .critical after=\"service\""},
			[]string{"clearance Pat 00 pads", "clearance Pat 00 pads", "test Pat 00 pads"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			got := w.touched(w.ada(), r.changes...)
			if !slices.Equal(got, r.want) {
				t.Errorf("got %q, want %q", got, r.want)
			}
		})
	}
	_, err := w.Compare(w.ctx, w.sam(0), smallWith(t))
	wants(t, err, "not_allowed")
}

// TestTestingAgain: the order of a critical step changes, and the theory test must be passed again, once.
func TestTestingAgain(t *testing.T) {
	w, p := ready(t)
	w.readLesson(p, "pads")
	w.passTest(p, "pads", "wagon")
	why := func() string {
		v := w.standing(p, "pads")
		return v.Gates[slices.IndexFunc(v.Gates, func(g readiness.Gate) bool { return g.Gate == "theory_test" })].Why
	}
	if got := why(); got != "theory_test_passed" {
		t.Fatalf("got %s", got)
	}
	adopt := func(o *Offer) {
		t.Helper()
		must[store.Receipt](t)(w.Adopt(w.ctx, w.ada(), o, o.Programme.Edition, pass(w.Coordinators[0])))
	}
	first := must[store.Info](t)(w.World.Store.Info(w.ctx)).Programme
	adopt(must[*Offer](t)(w.Compare(w.ctx, w.ada(), smallWith(t, "lessons/pads.md", "{#fit .critical", "{#fit .critical after=\"service\""))))
	if got := why(); got != "theory_test_again" {
		t.Errorf("after the order changed: got %s", got)
	}
	w.passTest(p, "pads", "wagon")
	if got := why(); got != "theory_test_passed" {
		t.Errorf("after the new test: got %s", got)
	}
	// The edition before is taken up again by a signature. Then the older test counts, and the newer does not.
	back := must[*Offer](t)(w.CompareEdition(w.ctx, w.ada(), first))
	if back.Programme == nil || len(back.Changes) == 0 {
		t.Fatalf("got %+v", back)
	}
	adopt(back)
	if got := must[store.Info](t)(w.World.Store.Info(w.ctx)).Programme; got != first {
		t.Errorf("in use: %s", got)
	}
	if got := why(); got != "theory_test_passed" {
		t.Errorf("after the restoration: got %s", got)
	}
	_, err := w.CompareEdition(w.ctx, w.ada(), "0000")
	wants(t, err, "not_found")
	_, err = w.CompareEdition(w.ctx, w.sam(0), first)
	wants(t, err, "not_allowed")
}
