package acts

import (
	"slices"
	"testing"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
)

// TestReadAndConfirmTheChange: who read a lesson sees exactly what changed since, confirms it by an entry, and the reading gate
// follows: a step's consequence and the figure of a vehicle's sheet alike. A word of background asks nobody.
func TestReadAndConfirmTheChange(t *testing.T) {
	critical := []string{"lessons/pads.md", "{#rotor each=\"wheel\" if=\"front\"}\n   - **Why:** A thin rotor cracks.",
		"{#rotor .critical each=\"wheel\" if=\"front\"}\n   - **If skipped:** A thin rotor cracks."}
	w := newWorld(t, critical...)
	p := w.pat(0)
	adopt := func(changes ...string) {
		t.Helper()
		o := must[*Offer](t)(w.Compare(w.ctx, w.ada(), smallWith(t, append(slices.Clone(critical), changes...)...)))
		must[store.Receipt](t)(w.Adopt(w.ctx, w.ada(), o, o.Programme.Edition, pass(w.Coordinators[0])))
	}
	changes := func() []ChangedLesson {
		t.Helper()
		return must[[]ChangedLesson](t)(w.ChangesToConfirm(w.ctx, p, p.ID))
	}
	reading := func() string {
		v := w.standing(p, "pads")
		return v.Gates[slices.IndexFunc(v.Gates, func(g readiness.Gate) bool { return g.Gate == "reading" })].Why
	}
	w.readLesson(p, "pads")
	open := reading()
	if got := changes(); len(got) != 0 {
		t.Fatalf("nothing changed yet: %+v", got)
	}
	adopt("lessons/pads.md", "# Replace front pads\n", "# Replace front pads\n\nA word.\n")
	if got := changes(); len(got) != 0 {
		t.Fatalf("background: %+v", got)
	}

	word := []string{"lessons/pads.md", "A pad jams and overheats.", "A pad jams and burns."}
	adopt(word...)
	got := changes()
	if len(got) != 1 || got[0].Lesson.ID != "pads" || len(got[0].Changes) != 1 || got[0].Changes[0].Code != "consequence_changed" {
		t.Fatalf("got %+v", got)
	}
	if want := addDays(w.World.Today(), 30); got[0].Due != want {
		t.Errorf("due %s, want %s", got[0].Due, want)
	}
	before, after := got[0].Changes[0].Shown(got[0].Before, got[0].Now, "en")
	if !slices.Contains(before, curriculum.ShownLine{Label: "if-wrong", Text: "A pad jams and overheats."}) ||
		!slices.Contains(after, curriculum.ShownLine{Label: "if-wrong", Text: "A pad jams and burns."}) || len(before) != len(after) {
		t.Errorf("before %+v, after %+v", before, after)
	}
	if reading() == open {
		t.Error("the reading gate stays open")
	}
	edition := got[0].Lesson.Edition
	_, err := w.Confirm(w.ctx, p, "", "pads", edition, edition)
	wants(t, err, "nothing_to_confirm")
	_, err = w.Confirm(w.ctx, w.sam(0), "", "pads", got[0].Since, edition)
	wants(t, err, "not_allowed")
	id := w.ID()
	first := must[store.Receipt](t)(w.Confirm(w.ctx, p, id, "pads", got[0].Since, edition))
	if again := must[store.Receipt](t)(w.Confirm(w.ctx, p, id, "pads", got[0].Since, edition)); again != first {
		t.Errorf("sent again: %v, %v", again, first)
	}
	if reading() != open || len(changes()) != 0 {
		t.Errorf("after the confirmation: %s, %+v", reading(), changes())
	}

	// A figure of a sheet: the lesson's own file stays as it is.
	adopt(append(slices.Clone(word), "vehicles/wagon.md", "| 20 |", "| 21 |")...)
	got = changes()
	if len(got) != 1 || got[0].Changes[0].Code != "vehicle_figure_changed" || got[0].Due != w.World.Today() {
		t.Fatalf("got %+v", got)
	}
	before, after = got[0].Changes[0].Shown(got[0].Before, got[0].Now, "en")
	if len(before) != 1 || len(after) != 1 || before[0].Text != "Minimum thickness of the front rotor: minimum 20 mm" || after[0].Text != "Minimum thickness of the front rotor: minimum 21 mm" {
		t.Errorf("before %+v, after %+v", before, after)
	}
	must[store.Receipt](t)(w.Confirm(w.ctx, p, "", "pads", got[0].Since, edition))
	if got := changes(); len(got) != 0 {
		t.Errorf("after the confirmation: %+v", got)
	}
	if other := w.pat(1); code(t, func() error { _, err := w.ChangesToConfirm(w.ctx, other, p.ID); return err }()) != "not_allowed" {
		t.Error("another apprentice sees it")
	}
}
