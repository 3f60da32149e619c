package acts

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"brakewright/curriculum"
	"brakewright/store"
)

// TestTouchedOfRandomEdits: over random edits of a folder, a changed figure of a critical step lists exactly the clearances and jobs
// that rest on it, a changed consequence the clearances of its task, and a word of background nobody. What is expected is worked out
// from who was cleared for what and which car each job was on, not from the code under test.
func TestTouchedOfRandomEdits(t *testing.T) {
	const rotor = "lessons/pads.md"
	critical := []string{rotor, "{#rotor each=\"wheel\" if=\"front\"}\n   - **Why:** A thin rotor cracks.",
		"{#rotor .critical each=\"wheel\" if=\"front\"}\n   - **If skipped:** A thin rotor cracks."}
	w := newWorld(t, critical...)
	layouts := map[int][]string{0: nil, 1: {"diagonal"}, 2: {"front-rear"}} // clearances for pads, by apprentice
	cleared := map[string][]string{}                                        // vehicle → names
	for i := range 3 {
		p := w.pat(i)
		w.inducted(p)
		must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
		w.readLesson(p, "pads")
		w.passTest(p, "pads", "wagon")
		w.goodJob(0, p, "pads", "wagon")
		w.goodJob(1, p, "pads", "van")
		must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "pads", Passphrase: pass(w.Supervisors[0]), Layouts: layouts[i]}))
		for vehicle, layout := range map[string]string{"wagon": "diagonal", "van": "front-rear"} {
			if layouts[i] == nil || slices.Contains(layouts[i], layout) {
				cleared[vehicle] = append(cleared[vehicle], p.Name)
			}
		}
	}
	everybody := []string{w.pat(0).Name, w.pat(1).Name, w.pat(2).Name}
	edits := []struct {
		name       string
		changes    func(*rapid.T) []string
		vehicle    string // whose figure it is
		task       string // whose clearances rest on it, where it is no figure
		figure     bool
		background bool
	}{
		{name: "wagon", vehicle: "wagon", figure: true, changes: func(t *rapid.T) []string {
			return []string{"vehicles/wagon.md", "| 20 |", "| 2" + rapid.StringMatching(`[1-9]`).Draw(t, "wagon") + " |"}
		}},
		{name: "van", vehicle: "van", figure: true, changes: func(t *rapid.T) []string {
			return []string{"vehicles/van.md", "26.4", "26." + rapid.StringMatching(`[5-9]`).Draw(t, "van")}
		}},
		{name: "consequence", task: "pads", changes: func(t *rapid.T) []string {
			return []string{rotor, "A pad jams and overheats.", "A pad jams and " + rapid.StringMatching(`[a-z]{3,8}`).Draw(t, "jams") + "."}
		}},
		{name: "induction", task: "induction", changes: func(t *rapid.T) []string {
			return []string{"lessons/safe.md", "The car rolls onto you.", "The car " + rapid.StringMatching(`[a-z]{3,8}`).Draw(t, "rolls") + "."}
		}},
		{name: "background", background: true, changes: func(t *rapid.T) []string {
			return []string{rotor, "# Replace front pads\n", "# Replace front pads\n\n" + rapid.StringMatching(`[A-Z][a-z]{2,9}`).Draw(t, "word") + ".\n"}
		}},
		{name: "sheet's background", background: true, changes: func(t *rapid.T) []string {
			return []string{"vehicles/wagon.md", "# Bench wagon\n", "# Bench wagon\n\n" + rapid.StringMatching(`[A-Z][a-z]{2,9}`).Draw(t, "sheet") + ".\n"}
		}},
	}
	people := func(list []TouchedPerson) (out []string) {
		for _, x := range list {
			out = append(out, x.Apprentice.Name+" "+x.Task)
		}
		slices.Sort(out)
		return out
	}
	names := func(who []string, task string) (out []string) {
		for _, n := range who {
			out = append(out, n+" "+task)
		}
		slices.Sort(out)
		return out
	}
	rapid.Check(t, func(r *rapid.T) {
		var wantClearances, wantJobs []string
		changes := slices.Clone(critical)
		for _, e := range edits {
			if !rapid.Bool().Draw(r, e.name) {
				continue
			}
			changes = append(changes, e.changes(r)...)
			switch {
			case e.figure:
				wantClearances = append(wantClearances, names(cleared[e.vehicle], "pads")...)
				wantJobs = append(wantJobs, names(everybody, "pads "+e.vehicle)...)
			case !e.background:
				wantClearances = append(wantClearances, names(everybody, e.task)...)
			}
		}
		o, err := w.Compare(w.ctx, w.ada(), smallWith(t, changes...))
		if err != nil || o.Programme == nil {
			r.Fatalf("%v, %+v", err, o)
		}
		touched, err := w.Touched(w.ctx, w.ada(), o)
		if err != nil {
			r.Fatal(err)
		}
		var clearances, jobs []string
		for i, x := range touched {
			if o.Changes[i].Ask == curriculum.AskNothing && len(x.Clearances)+len(x.Tests)+len(x.Jobs) > 0 {
				r.Errorf("%s asks nothing and touches somebody", o.Changes[i].Code)
			}
			clearances = append(clearances, people(x.Clearances)...)
			for _, j := range x.Jobs {
				jobs = append(jobs, j.Apprentice.Name+" "+j.Task+" "+j.Vehicle)
			}
			if len(x.Tests) > 0 {
				r.Errorf("%s asks for tests", o.Changes[i].Code)
			}
		}
		for _, l := range [][]string{clearances, jobs, wantClearances, wantJobs} {
			slices.Sort(l)
		}
		if !slices.Equal(clearances, wantClearances) || !slices.Equal(jobs, wantJobs) {
			r.Fatalf("clearances %q, want %q; jobs %q, want %q", clearances, wantClearances, jobs, wantJobs)
		}
	})
}
