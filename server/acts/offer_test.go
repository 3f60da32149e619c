package acts

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"brakewright/store"
)

func TestChanges(t *testing.T) {
	base := mustLoad(t, smallWith(t))
	rows := []struct {
		name    string
		changes []string
		want    []string // codes, with a few arguments
	}{
		{"nothing", nil, nil},
		{"title", []string{"programme.yaml", "Small brakes", "Small brakes, second part"}, []string{"title_changed"}},
		{"policy", []string{"programme.yaml", "recency_days: 60", "recency_days: 45"}, []string{"policy_changed tasks.pads.recency_days 60 45"}},
		{"task renamed", []string{"programme.yaml", "title: Replace front pads", "title: Renew front pads"}, []string{"task_renamed"}},
		{"prerequisite gone", []string{"programme.yaml", ", prerequisites: [induction]", ""}, []string{"task_prerequisites_changed"}},
		{"blueprint", []string{"programme.yaml", "questions: 4, lessons: {pads: 4}", "questions: 3, lessons: {pads: 3}"}, []string{"blueprint_changed"}},
		{"a comma", []string{"lessons/pads.md", "Clean up. {#clean}", "Clean up {#clean}"}, []string{"lesson_changed", "background_changed"}},
		{"plain step says more", []string{"lessons/pads.md", "The caliper is behind it.", "The caliper sits behind the wheel."}, []string{"lesson_changed", "step_changed plain"}},
		{"critical step says more", []string{"lessons/pads.md", "A jack can sink.", "A jack can sink on soft ground."}, []string{"lesson_changed_reread", "step_changed critical"}},
		{"step becomes critical", []string{"lessons/pads.md", "{#wheel each=\"wheel\" if=\"front\"}\n   - **Why:** The caliper is behind it.", "{#wheel .critical each=\"wheel\" if=\"front\"}\n   - **Why:** The caliper is behind it.\n   - **If done wrong:** The wheel falls on your foot."}, []string{"lesson_changed_reread", "step_now_critical"}},
		{"hold point gone", []string{"lessons/pads.md", ".critical .hold}", ".critical}"}, []string{"lesson_changed_reread", "step_no_longer_hold"}},
		{"step added", []string{"lessons/pads.md", "7. Clean up. {#clean}", "7. Clean up. {#clean}\n8. Write it down. {#write}"}, []string{"lesson_changed", "step_added plain"}},
		{"step removed", []string{"lessons/pads.md", "7. Clean up. {#clean}\n", ""}, []string{"lesson_changed", "step_removed plain"}},
		{"fault says more", []string{"lessons/pads.md", "Air is in the line", "Air is trapped in the line"}, []string{"lesson_changed", "section_changed faults"}},
		{"figure of a vehicle", []string{"vehicles/van.md", "26.4", "26.5"}, []string{"vehicle_figure_changed at least 26.4 mm at least 26.5 mm"}},
		{"layout of a vehicle", []string{"vehicles/van.md", "layout: front-rear", "layout: diagonal"}, []string{"vehicle_changed layout"}},
		{"vehicle's text", []string{"vehicles/van.md", "# Bench van\n", "# Bench van\n\nA heavy one.\n"}, []string{"vehicle_background_changed"}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			p := mustLoad(t, smallWith(t, r.changes...))
			got := Changes(base, p)
			var codes []string
			for _, c := range got {
				codes = append(codes, c.Code)
			}
			if len(got) != len(r.want) {
				t.Fatalf("got %v, want %v", got, r.want)
			}
			for i, want := range r.want {
				code, args, _ := strings.Cut(want, " ")
				if codes[i] != code {
					t.Errorf("got %v, want %v", codes, r.want)
				}
				all := fmt.Sprint(got[i].Args["value"], " ", got[i].Args["weight"], " ", got[i].Args["section"], " ", got[i].Args["what"], " ", got[i].Args["from"], " ", got[i].Args["to"])
				if !strings.Contains(strings.Join(strings.Fields(all), " "), args) {
					t.Errorf("%s: got %v, want %q", code, got[i].Args, args)
				}
			}
			// The other way round there is as much to say.
			if back := Changes(p, base); len(back) != len(got) {
				t.Errorf("back: got %v", back)
			}
		})
	}
}

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
