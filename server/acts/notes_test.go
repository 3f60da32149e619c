package acts

import (
	"strings"
	"testing"

	"brakewright/store"
)

// TestShopNotes: a note is pinned beside a step and taken off again; the lesson's edition stays, and the history is kept.
func TestShopNotes(t *testing.T) {
	w := newWorld(t)
	before := must[store.Info](t)(w.World.Store.Info(w.ctx)).Programme
	_, err := w.PinNote(w.ctx, w.pat(0), "", "pads", "fit", "mind")
	wants(t, err, "not_allowed")
	_, err = w.PinNote(w.ctx, w.sam(0), "", "pads", "fit", "mind")
	wants(t, err, "not_allowed")
	for _, x := range []struct{ lesson, step, text, want string }{
		{"pads", "fit", "  \n ", "note_empty"}, {"pads", "fit", strings.Repeat("a", 401), "text_too_long"},
		{"pads", "fit", "mind\u0000the gap", "bad_text"}, {"pads", "nowhere", "x", "unknown_step"}, {"none", "fit", "x", "unknown_lesson"},
	} {
		_, err := w.PinNote(w.ctx, w.ada(), "", x.lesson, x.step, x.text)
		wants(t, err, x.want)
	}
	id := w.ID()
	first := must[store.Receipt](t)(w.PinNote(w.ctx, w.ada(), id, "pads", "fit", "The grease stands\nat bay 3."))
	if again := must[store.Receipt](t)(w.PinNote(w.ctx, w.ada(), id, "pads", "fit", "The grease stands\nat bay 3.")); again != first {
		t.Errorf("sent again: %v, %v", again, first)
	}
	must[store.Receipt](t)(w.PinNote(w.ctx, w.ada(), "", "pads", "fit", "Second."))
	beside := must[map[string][]Note](t)(w.NotesBeside(w.ctx))
	if got := beside["pads/fit"]; len(got) != 2 || got[0].Text != "The grease stands at bay 3." || got[0].By != w.Coordinators[0].ID || len(beside) != 1 {
		t.Fatalf("got %+v", beside)
	}
	_, err = w.RemoveNote(w.ctx, w.sam(0), "", id)
	wants(t, err, "not_allowed")
	must[store.Receipt](t)(w.RemoveNote(w.ctx, w.cora(), "", id))
	_, err = w.RemoveNote(w.ctx, w.cora(), "", id)
	wants(t, err, "note_removed")
	_, err = w.RemoveNote(w.ctx, w.cora(), "", w.ID())
	wants(t, err, "not_found")
	if got := must[map[string][]Note](t)(w.NotesBeside(w.ctx))["pads/fit"]; len(got) != 1 || got[0].Text != "Second." {
		t.Errorf("got %+v", got)
	}
	all := must[[]Note](t)(w.Notes(w.ctx))
	if len(all) != 2 || all[0].RemovedBy != w.Coordinators[1].ID || all[0].Text == "" || all[1].RemovedBy != "" {
		t.Errorf("got %+v", all)
	}
	if after := must[store.Info](t)(w.World.Store.Info(w.ctx)).Programme; after != before {
		t.Errorf("the edition is %s now", after)
	}
}
