package acts

import (
	"testing"

	"brakewright/curriculum/brakes"
	"brakewright/store"
)

// Every task of the default programme can be watched on every vehicle: all its steps have titles, what must be tapped
// is few, and every measurement has a unit.
func TestDefaultProgrammeSheets(t *testing.T) {
	p, problems := LoadProgramme(brakes.FS)
	if p == nil {
		t.Fatalf("the default programme: %v", problems)
	}
	for _, task := range p.Tasks {
		for _, v := range p.Vehicles {
			sh, err := newSheet(p, &store.Job{ID: "j", Task: task.ID, Vehicle: v.ID, Supervisor: "s"})
			if err != nil {
				t.Fatal(err)
			}
			sh.fold(nil)
			steps, own := 0, 0
			sh.steps(func(st *SheetStep) {
				steps++
				if st.Critical || st.HoldPoint {
					own++
				}
				if st.Title == "" {
					t.Errorf("%s on %s: %s has no title", task.ID, v.ID, st.Key)
				}
				for _, m := range st.Measures {
					if m.figure != nil && m.Limit == "" {
						t.Errorf("%s on %s: %s measures against a limit without words", task.ID, v.ID, st.Key)
					}
				}
			})
			if steps == 0 || own == 0 || len(sh.Missing) != own {
				t.Errorf("%s on %s: %d steps, %d critical or hold points, %d missing", task.ID, v.ID, steps, own, len(sh.Missing))
			}
			t.Logf("%s on %s: %d steps, %d of their own", task.ID, v.ID, steps, own)
		}
	}
	if len(HoldPoints(p, p.Tasks[1].ID)) == 0 {
		t.Errorf("%s has no hold point", p.Tasks[1].ID)
	}
}
