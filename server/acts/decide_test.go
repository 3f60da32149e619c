package acts

import (
	"slices"
	"strings"
	"testing"
	"time"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

func TestClearWhoIsReady(t *testing.T) {
	w, p := ready(t)
	sam, passphrase := w.sam(0), pass(w.Supervisors[0])
	v := w.standing(p, "induction")
	if v.Standing != readiness.ReadyForDecision {
		t.Fatalf("got %s, gates %v, confidence %v", v.Standing, ClosedGates(v), v.Confidence)
	}
	good := ClearanceRequest{ID: w.ID(), Apprentice: p.ID, Task: "induction", Passphrase: passphrase, Seen: VerdictHash(v),
		Layouts: []string{"diagonal"}, Holds: []string{"safe/look"}, Until: addDays(w.World.Today(), 30)}
	with := func(change func(*ClearanceRequest)) ClearanceRequest {
		r := good
		r.Layouts, r.Holds = slices.Clone(r.Layouts), slices.Clone(r.Holds)
		change(&r)
		return r
	}
	rows := []struct {
		name  string
		actor *store.Person
		r     ClearanceRequest
		want  string
	}{
		{"the apprentice", p, good, "not_allowed"},
		{"a coordinator who is not appointed", w.ada(), good, "not_allowed"},
		{"unknown layout", sam, with(func(r *ClearanceRequest) { r.Layouts[0] = "hexagonal" }), "unknown_layout"},
		{"layout twice", sam, with(func(r *ClearanceRequest) { r.Layouts = append(r.Layouts, "diagonal") }), "unknown_layout"},
		{"a step that is no hold point", sam, with(func(r *ClearanceRequest) { r.Holds[0] = "safe/park" }), "unknown_hold_point"},
		{"until yesterday", sam, with(func(r *ClearanceRequest) { r.Until = addDays(w.World.Today(), -1) }), "ends_in_past"},
		{"until no date", sam, with(func(r *ClearanceRequest) { r.Until = "soon" }), "bad_date"},
		{"another verdict was shown", sam, with(func(r *ClearanceRequest) { r.Seen = strings.Repeat("0", 64) }), "verdict_changed"},
		{"a waiver that is not needed", sam, with(func(r *ClearanceRequest) { r.WaiverGates = []string{"jobs"} }), "waiver_not_needed"},
		{"wrong passphrase", sam, with(func(r *ClearanceRequest) { r.Passphrase = "wrong" }), "passphrase_wrong"},
		{"bad id", sam, with(func(r *ClearanceRequest) { r.ID = "x" }), "bad_id"},
		{"as it should be", sam, good, ""},
		{"the same again", sam, good, ""},
		{"again under another id", sam, with(func(r *ClearanceRequest) { r.ID, r.Seen = w.ID(), "" }), "already_cleared"},
		{"the id for something else", sam, with(func(r *ClearanceRequest) { r.Until = "" }), "id_taken"},
		{"other limits", sam, with(func(r *ClearanceRequest) { r.ID, r.Seen, r.Layouts = w.ID(), "", nil }), ""},
	}
	var first store.Receipt
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			got, err := w.Clear(w.ctx, r.actor, r.r)
			wants(t, err, r.want)
			switch r.name {
			case "as it should be":
				first = got
			case "the same again":
				if got != first {
					t.Errorf("got %+v, want %+v", got, first)
				}
			}
		})
	}
	e := must[*store.EntryView](t)(w.World.Store.Entry(w.ctx, first.ID))
	c := must[ledger.ClearancePayload](t)(ledger.PayloadOf[ledger.ClearancePayload](e.Entry.Body))
	if c.Program != "test" || c.Waiver != nil || c.Content["verdict"] != VerdictHash(v) || c.Content["policy"] == "" || c.Content["parameters"] == "" {
		t.Errorf("what it rests on is not frozen: %+v", c)
	}
	frozen := must[[]byte](t)(w.World.Store.Content(w.ctx, c.Content["verdict"]))
	if string(frozen) != string(VerdictJSON(v)) {
		t.Errorf("got verdict %s", frozen)
	}
	if now := w.standing(p, "induction"); now.Standing != readiness.Cleared || now.Notes.ClearedUntil != good.Until {
		t.Errorf("got %s until %s", now.Standing, now.Notes.ClearedUntil)
	}
}

func TestClearWithAWaiver(t *testing.T) {
	w, p := ready(t)
	sam := w.sam(0)
	w.readLesson(p, "pads")
	v := w.standing(p, "pads")
	closed := ClosedGates(v)
	if v.Ready || len(closed) == 0 {
		t.Fatalf("got ready %v, closed %v", v.Ready, closed)
	}
	good := ClearanceRequest{Apprentice: p.ID, Task: "pads", Passphrase: pass(w.Supervisors[0]), Reason: "Ten years in the trade",
		WaiverGates: slices.Clone(closed), WaiverUntil: addDays(w.World.Today(), 20), SecondLogin: "sam1", SecondPassphrase: pass(w.Supervisors[1])}
	slices.Reverse(good.WaiverGates) // the order of the request does not matter
	rows := []struct {
		name   string
		change func(*ClearanceRequest)
		want   string
	}{
		{"no waiver at all", func(r *ClearanceRequest) { r.WaiverGates, r.SecondLogin = nil, "" }, "waiver_needed"},
		{"a closed gate is not named", func(r *ClearanceRequest) { r.WaiverGates = r.WaiverGates[1:] }, "waiver_needed"},
		{"an open gate is named", func(r *ClearanceRequest) { r.WaiverGates = append(r.WaiverGates, "reading") }, "gate_not_closed"},
		{"no reason", func(r *ClearanceRequest) { r.Reason = " " }, "waiver_reason_needed"},
		{"no end", func(r *ClearanceRequest) { r.WaiverUntil = "" }, "waiver_end_needed"},
		{"ends in the past", func(r *ClearanceRequest) { r.WaiverUntil = "2020-01-01" }, "ends_in_past"},
		{"no second", func(r *ClearanceRequest) { r.SecondLogin = "" }, "second_needed"},
		{"oneself as the second", func(r *ClearanceRequest) { r.SecondLogin, r.SecondPassphrase = "sam0", r.Passphrase }, "second_is_first"},
		{"the apprentice as the second", func(r *ClearanceRequest) { r.SecondLogin = "pat0" }, "second_not_allowed"},
		{"another apprentice as the second", func(r *ClearanceRequest) { r.SecondLogin = "pat1" }, "second_not_allowed"},
		{"nobody as the second", func(r *ClearanceRequest) { r.SecondLogin = "nobody" }, "second_not_allowed"},
		{"the second's passphrase is wrong", func(r *ClearanceRequest) { r.SecondPassphrase = "wrong" }, "passphrase_wrong"},
		{"as it should be", func(*ClearanceRequest) {}, ""},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			c := good
			c.WaiverGates = slices.Clone(good.WaiverGates)
			r.change(&c)
			_, err := w.Clear(w.ctx, sam, c)
			wants(t, err, r.want)
		})
	}
	now := w.standing(p, "pads")
	if now.Standing != readiness.Cleared || !now.Notes.Waived || now.Notes.ClearedUntil != good.WaiverUntil {
		t.Errorf("got %s, waived %v, until %s", now.Standing, now.Notes.Waived, now.Notes.ClearedUntil)
	}
	w.Clock.Add(21 * 24 * time.Hour)
	if now := w.standing(p, "pads"); now.Standing != readiness.Lapsed {
		t.Errorf("after the waiver's end: got %s", now.Standing)
	}
}

func TestUntriedIsNotCleared(t *testing.T) {
	w := newWorld(t)
	_, err := w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: w.pat(2).ID, Task: "induction", Passphrase: pass(w.Supervisors[0])})
	wants(t, err, "untried")
}

func TestStandDownAndRestore(t *testing.T) {
	w, p := ready(t)
	sam, passphrase := w.sam(0), pass(w.Supervisors[0])
	must[store.Receipt](t)(w.Clear(w.ctx, sam, ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: passphrase}))
	order := func(actor *store.Person, id, task, reason, passphrase string) (store.Receipt, error) {
		return w.StandDown(w.ctx, actor, id, p.ID, task, reason, passphrase)
	}
	for _, r := range []struct {
		name  string
		actor *store.Person
		task  string
		why   string
		want  string
	}{
		{"oneself", p, "", "Tired", "not_allowed"}, {"an apprentice", w.pat(1), "", "Tired", "not_allowed"},
		{"no reason", sam, "", " ", "reason_needed"}, {"unknown task", sam, "wash", "Tired", "unknown_task"},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := order(r.actor, "", r.task, r.why, "")
			wants(t, err, r.want)
		})
	}

	// In force at once, whatever becomes of the signature.
	id := w.ID()
	r, err := order(sam, id, "induction", "Forgot the chocks", "a wrong passphrase")
	wants(t, err, "stand_down_unsigned")
	if x, _ := AsRefusal(err); x.Args["cause"] != "passphrase_wrong" || r.ID != id {
		t.Errorf("got %+v, receipt %+v", x.Args, r)
	}
	v := w.standing(p, "induction")
	unsigned := func(v readiness.Verdict) bool {
		return slices.ContainsFunc(v.Notes.Warnings, func(r readiness.Reason) bool { return strings.Contains(r.Code, "unsigned") })
	}
	if v.Standing != readiness.StoodDown || !unsigned(v) {
		t.Errorf("got %s, warnings %v", v.Standing, v.Notes.Warnings)
	}
	again := must[store.Receipt](t)(order(sam, id, "induction", "Forgot the chocks", ""))
	if again != r {
		t.Errorf("the same again: got %+v, want %+v", again, r)
	}
	_, err = w.SignStandDown(w.ctx, w.sam(1), "", id, pass(w.Supervisors[1]))
	wants(t, err, "not_allowed")
	_, err = w.SignStandDown(w.ctx, sam, "", w.ID(), passphrase)
	wants(t, err, "not_found")
	signed := must[store.Receipt](t)(w.SignStandDown(w.ctx, sam, "", id, passphrase))
	if twice := must[store.Receipt](t)(w.SignStandDown(w.ctx, sam, "", id, passphrase)); twice != signed {
		t.Errorf("signed twice: got %+v, want %+v", twice, signed)
	}
	if v := w.standing(p, "induction"); v.Standing != readiness.StoodDown || unsigned(v) {
		t.Errorf("got %s, warnings %v", v.Standing, v.Notes.Warnings)
	}

	_, err = w.Clear(w.ctx, sam, ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: passphrase})
	wants(t, err, "stood_down")
	restore := func(actor *store.Person, task, why, passphrase string) error {
		_, err := w.Restore(w.ctx, actor, "", p.ID, task, why, passphrase)
		return err
	}
	wants(t, restore(sam, "induction", "Showed it again", passphrase), "rule_ordered_it")
	wants(t, restore(p, "induction", "I am fine", passphrase), "not_allowed")
	wants(t, restore(w.sam(1), "induction", "", pass(w.Supervisors[1])), "reason_needed")
	wants(t, restore(w.sam(1), "pads", "Showed it again", pass(w.Supervisors[1])), "rule_nothing_to_restore")
	wants(t, restore(w.sam(1), "induction", "Showed it again", pass(w.Supervisors[1])), "")
	if v := w.standing(p, "induction"); v.Standing != readiness.Cleared {
		t.Errorf("after restoring: got %s", v.Standing)
	}
}

// Lifting a stand-down of all tasks takes authority over every one.
func TestRestoreAllTasks(t *testing.T) {
	w, p := ready(t)
	must[store.Receipt](t)(w.StandDown(w.ctx, w.sam(0), "", p.ID, "", "Unwell", pass(w.Supervisors[0])))
	for _, task := range []string{"induction", "pads"} {
		if v := w.standing(p, task); v.Standing != readiness.StoodDown {
			t.Errorf("%s: got %s", task, v.Standing)
		}
	}
	sam1 := w.sam(1)
	for _, a := range sam1.Appointments {
		if a.Task == "pads" {
			if err := w.EndAppointment(w.ctx, w.ada(), sam1.ID, a.Entry, addDays(w.World.Today(), -1), pass(w.Coordinators[0])); err != nil {
				t.Fatal(err)
			}
		}
	}
	_, err := w.Restore(w.ctx, w.sam(1), "", p.ID, "", "Well again", pass(w.Supervisors[1]))
	wants(t, err, "not_allowed")
	_, err = w.Restore(w.ctx, w.cora(), "", p.ID, "", "Well again", pass(w.Coordinators[1]))
	wants(t, err, "")
	if v := w.standing(p, "pads"); v.Standing == readiness.StoodDown {
		t.Error("still stood down")
	}
}

func TestUnwatchedJobs(t *testing.T) {
	w, p := ready(t)
	log := func(task, date string) error {
		_, err := w.UnwatchedJob(w.ctx, w.who(w.Apprentices[0]), UnwatchedRequest{Task: task, Date: date})
		return err
	}
	wants(t, log("induction", ""), "not_cleared")
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
	wants(t, log("induction", ""), "")
	wants(t, log("pads", ""), "not_cleared")
	wants(t, log("wash", ""), "unknown_task")
	wants(t, log("induction", addDays(w.World.Today(), 1)), "future")
	wants(t, log("induction", addDays(w.World.Today(), -15)), "too_late")
	wants(t, log("induction", addDays(w.World.Today(), -1)), "not_cleared") // not yet, then
	wants(t, log("induction", "yesterday"), "bad_date")
	id, day := w.ID(), w.World.Today()
	a := must[store.Receipt](t)(w.UnwatchedJob(w.ctx, p, UnwatchedRequest{ID: id, Task: "induction", Date: day}))
	if b := must[store.Receipt](t)(w.UnwatchedJob(w.ctx, p, UnwatchedRequest{ID: id, Task: "induction", Date: day})); a != b {
		t.Errorf("the same again: got %+v, want %+v", b, a)
	}
}

func TestFloor(t *testing.T) {
	w, p := ready(t)
	sam := w.sam(0)
	must[store.Receipt](t)(w.Clear(w.ctx, sam, ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0]),
		Layouts: []string{"diagonal"}, Holds: []string{"safe/look"}}))
	floor := func(layout string) *Floor { return must[*Floor](t)(w.Floor(w.ctx, sam, "induction", layout, "")) }
	whyNot := func(f *Floor, id string) string {
		for _, r := range f.Not {
			if r.Apprentice.ID == id {
				return r.Why
			}
		}
		return ""
	}
	f := floor("diagonal")
	if len(f.Alone) != 1 || f.Alone[0].Apprentice.ID != p.ID || !slices.Equal(f.Alone[0].Holds, []string{"safe/look"}) {
		t.Errorf("got %+v", f.Alone)
	}
	if got := whyNot(f, w.Apprentices[1].ID); got != "not_cleared" {
		t.Errorf("got %q", got)
	}
	if got := whyNot(floor("front-rear"), p.ID); got != "layout_not_covered" {
		t.Errorf("got %q", got)
	}
	must[store.Receipt](t)(w.StandDown(w.ctx, w.sam(1), "", p.ID, "induction", "Unsafe", ""))
	if got := whyNot(floor("diagonal"), p.ID); got != "stood_down" {
		t.Errorf("got %q", got)
	}
	must[store.Receipt](t)(w.Restore(w.ctx, sam, "", p.ID, "induction", "Shown", pass(w.Supervisors[0])))
	a := w.pat(0).Agreements[0]
	if err := w.EndAgreement(w.ctx, w.ada(), p.ID, a.Entry, w.World.Today()); err != nil {
		t.Fatal(err)
	}
	w.Clock.Add(24 * time.Hour)
	if got := whyNot(floor("diagonal"), p.ID); got != "left" {
		t.Errorf("got %q", got)
	}
	_, err := w.Floor(w.ctx, w.pat(1), "induction", "diagonal", "")
	wants(t, err, "not_allowed")
	_, err = w.Floor(w.ctx, sam, "wash", "diagonal", "")
	wants(t, err, "unknown_task")
}

func TestBoard(t *testing.T) {
	w, p := ready(t)
	board := func(f BoardFilter) *Board { return must[*Board](t)(w.Board(w.ctx, w.ada(), f)) }
	b := board(BoardFilter{})
	if len(b.Rows) != 4 || len(b.Tasks) != 2 || len(b.Rows[0].Cells) != 2 || b.Rows[0].Cohort != "Winter" {
		t.Fatalf("got %d rows, %d tasks, %+v", len(b.Rows), len(b.Tasks), b.Rows[0])
	}
	if got := b.Rows[0].Cells[0].Standing; got != readiness.ReadyForDecision {
		t.Errorf("got %s", got)
	}
	cached := board(BoardFilter{})
	if string(VerdictJSON(cached.Rows[0].Cells[0])) != string(VerdictJSON(b.Rows[0].Cells[0])) || cached.Rows[0].Cells[0].Notes.LastJob != b.Rows[0].Cells[0].Notes.LastJob {
		t.Error("a cached verdict is not the one computed")
	}
	for _, r := range []struct {
		f    BoardFilter
		want int
	}{{BoardFilter{Search: "PAT 01"}, 1}, {BoardFilter{Search: "pat2"}, 1}, {BoardFilter{Cohort: w.Cohort}, 4}, {BoardFilter{Cohort: "x"}, 0}, {BoardFilter{Search: "nobody"}, 0}} {
		if got := len(board(r.f).Rows); got != r.want {
			t.Errorf("%+v: got %d rows, want %d", r.f, got, r.want)
		}
	}
	// A leaver is there on demand only.
	if err := w.EndAgreement(w.ctx, w.ada(), p.ID, w.pat(0).Agreements[0].Entry, w.World.Today()); err != nil {
		t.Fatal(err)
	}
	w.Clock.Add(24 * time.Hour)
	if got := len(board(BoardFilter{}).Rows); got != 3 {
		t.Errorf("without leavers: got %d", got)
	}
	all := board(BoardFilter{WithLeft: true})
	if len(all.Rows) != 4 || !all.Rows[0].Left {
		t.Errorf("with leavers: got %d", len(all.Rows))
	}
	_, err := w.Board(w.ctx, w.pat(1), BoardFilter{})
	wants(t, err, "not_allowed")
}

// A change at a critical step asks for reading again; a comma asks for nothing.
func TestReadingAgain(t *testing.T) {
	w, p := ready(t)
	w.readLesson(p, "pads")
	open := func() bool {
		v := w.standing(p, "pads")
		i := slices.IndexFunc(v.Gates, func(g readiness.Gate) bool { return g.Gate == "reading" })
		return v.Gates[i].OK
	}
	if !open() {
		t.Fatal("the gate is closed after reading")
	}
	adopt := func(changes ...string) {
		t.Helper()
		o := must[*Offer](t)(w.Compare(w.ctx, w.ada(), smallWith(t, changes...)))
		must[store.Receipt](t)(w.Adopt(w.ctx, w.ada(), o, o.Programme.Edition, pass(w.Coordinators[0])))
	}
	adopt("lessons/pads.md", "7. Clean up.", "7. Clean up!")
	if !open() {
		t.Error("typography closed the gate")
	}
	adopt("lessons/pads.md", "A jack can sink.", "A jack can sink, and the ground can give way.")
	if open() {
		t.Error("a critical step changed, and the gate stayed open")
	}
	// An older edition is accepted as what was read, but it does not open the gate.
	old := must[*curriculum.Programme](t)(w.Edition(w.ctx, mustLoad(t, smallWith(t)).Edition))
	must[store.Receipt](t)(w.Read(w.ctx, p, "", "pads", old.Lesson("pads", "").Edition))
	if open() {
		t.Error("reading an old edition opened the gate")
	}
	w.readLesson(p, "pads")
	if !open() {
		t.Error("the gate stays closed after reading again")
	}
	_, err := w.Read(w.ctx, p, "", "pads", strings.Repeat("0", 64))
	wants(t, err, "unknown_edition")
	_, err = w.Read(w.ctx, p, "", "soup", strings.Repeat("0", 64))
	wants(t, err, "unknown_lesson")
}
