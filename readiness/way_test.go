package readiness

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// wayCase is a small case: a task with everything that a gate can ask.
func wayCase(jobs, supervisors, layouts int, confidence float64) (*Catalogue, Policy) {
	c := &Catalogue{Tasks: []CatalogueTask{
		{Task: "first", Steps: []CatalogueStep{}},
		{Task: "before", Steps: []CatalogueStep{}},
		{Task: "bleed", Prerequisites: []string{"before"},
			Lessons: []CatalogueLesson{{Lesson: "bleeding", Edition: "e3", RereadAfter: []string{"e1"}}, {Lesson: "fluid", Edition: "f2", RereadAfter: []string{"f1"}}},
			Steps:   sampleCatalogue().Tasks[0].Steps},
	}}
	p := samplePolicy()
	p.Induction, p.SupervisorsAvailable = "first", 9
	p.Tasks["bleed"] = TaskPolicy{Jobs: jobs, Supervisors: supervisors, Layouts: layouts, RecencyDays: 30, LapseDays: 90, Confidence: &confidence,
		TheoryTest: &TheoryTest{Blueprint: "b", PassPercent: 80, Watched: true}}
	return c, p
}

// The shortest way is the shortest: no set of fewer acts makes ready, and none of as many acts does with fewer other supervisors
// or layouts. Every set is tried, as records, with the judge as it stands.
func TestWayIsTheShortest(t *testing.T) {
	tried := 0
	cases := func(t *rapid.T) {
		d := drawn{t}
		c, p := wayCase(rapid.IntRange(0, 3).Draw(t, "jobs asked"), rapid.IntRange(0, 2).Draw(t, "supervisors asked"), rapid.IntRange(0, 2).Draw(t, "layouts asked"),
			rapid.SampledFrom([]float64{0.1, 0.2, 0.35}).Draw(t, "confidence"))
		var evidence []Record
		add := func(percent int, r Record) {
			if d.flag("there", percent) {
				r.Apprentice = "ana"
				evidence = append(evidence, r)
			}
		}
		add(50, Record{Type: "clearance", Task: "first", Date: "2026-02-20", By: StringOrList{"co"}})
		add(50, Record{Type: "clearance", Task: "before", Date: "2026-02-20", By: StringOrList{"co"}})
		add(50, Record{Type: "reading", Lesson: "bleeding", Edition: d.of("edition", "e1", "e3"), Date: "2026-01-02"})
		add(50, Record{Type: "reading", Lesson: "fluid", Edition: d.of("edition", "f1", "f2"), Date: "2026-01-02"})
		add(50, Record{Type: "theory_test", Task: "bleed", Passed: d.flag("passed", 80), Watched: d.flag("watched", 80), Date: "2026-01-03"})
		for range rapid.IntRange(0, 3).Draw(t, "jobs") {
			evidence = append(evidence, d.job("ana", "bleed", (firstDay+day(rapid.IntRange(30, 58).Draw(t, "day"))).String()))
		}
		asOf := (firstDay + 60).String()
		v := AssessOne(c, evidence, p, DefaultParameters(), "ana", "bleed", asOf, Options{Explain: true})
		found, all := supposedBy(t, v)
		if !all || found.Jobs > 4 {
			return
		}
		a := NewAssessor(c, p, DefaultParameters(), Options{})
		a.on(asOf)
		ready := func(s Supposed) bool {
			tried++
			a.on((toDay(asOf) + day(s.Jobs)).String())
			held := resolve(append(slices.Clone(evidence), recordsOf(c, evidence, asOf, s)...), a.asOf)
			person := gather(held["ana"])
			return a.judge(person, a.ability(person), "ana", "bleed").Ready
		}
		if !ready(found) {
			t.Fatalf("%+v does not make ready: %s", found, v.JSON(true))
		}
		for _, s := range smallerSets(found) {
			if ready(s) {
				t.Fatalf("%+v would do, too, not only %+v\n%s", s, found, v.JSON(true))
			}
		}
	}
	for range repeats(10) {
		rapid.Check(t, cases)
	}
	if tried < 1000 {
		t.Errorf("only %d sets were tried", tried)
	}
}

// size is the number of acts.
func (s Supposed) size() int {
	n := len(s.Lessons) + len(s.Prerequisites) + s.Jobs
	for _, is := range []bool{s.Induction, s.TheoryTest} {
		if is {
			n++
		}
	}
	return n
}

// smallerSets are all sets of fewer acts, and of as many with fewer other supervisors or layouts.
func smallerSets(found Supposed) []Supposed {
	var out []Supposed
	for bits := range 32 {
		s := Supposed{Induction: bits&1 > 0, TheoryTest: bits&2 > 0}
		if bits&4 > 0 {
			s.Prerequisites = []string{"before"}
		}
		for i, l := range []string{"bleeding", "fluid"} {
			if bits&(8<<i) > 0 {
				s.Lessons = append(s.Lessons, l)
			}
		}
		for s.Jobs = 0; s.size() <= found.size(); s.Jobs++ {
			if s.size() < found.size() {
				out = append(out, with(s, s.Jobs, s.Jobs)) // as much as can be had
				continue
			}
			for supervisors := range s.Jobs + 1 {
				for layouts := range s.Jobs + 1 {
					if supervisors < found.OtherSupervisors || layouts < found.OtherLayouts {
						out = append(out, with(s, supervisors, layouts))
					}
				}
			}
		}
	}
	return out
}

func with(s Supposed, supervisors, layouts int) Supposed {
	s.OtherSupervisors, s.OtherLayouts = supervisors, layouts
	return s
}

// recordsOf are the records that a set of acts leaves if all goes well.
func recordsOf(c *Catalogue, evidence []Record, asOf string, s Supposed) []Record {
	var out []Record
	add := func(r Record) {
		r.Apprentice = "ana"
		out = append(out, r)
	}
	if s.Induction {
		add(Record{Type: "clearance", Task: "first", Date: asOf, By: StringOrList{"co"}})
	}
	for _, task := range s.Prerequisites {
		add(Record{Type: "clearance", Task: task, Date: asOf, By: StringOrList{"co"}})
	}
	for _, l := range c.Tasks[2].Lessons {
		if slices.Contains(s.Lessons, l.Lesson) {
			add(Record{Type: "reading", Lesson: l.Lesson, Edition: l.Edition, Date: asOf})
		}
	}
	if s.TheoryTest {
		add(Record{Type: "theory_test", Task: "bleed", Passed: true, Watched: true, Date: asOf})
	}
	supervisor, on := "new", "new"
	for _, r := range evidence {
		if r.Type == "job" && countsAsWatched(&r) {
			supervisor = r.Supervisor
			if r.Layout != "" {
				on = r.Layout
			}
		}
	}
	for i := range s.Jobs {
		job := bleed((toDay(asOf) + day(i+1)).String(), supervisor, layout(on))
		if i < s.OtherSupervisors && (i > 0 || supervisor != "new") {
			job.Supervisor = fmt.Sprintf("other %d", i)
		}
		if i < s.OtherLayouts && (i > 0 || on != "new") {
			job.Layout = fmt.Sprintf("other %d", i)
		}
		add(job)
	}
	return out
}

// What no act opens is said, with who must act.
func TestWayBlocked(t *testing.T) {
	c, p := wayCase(1, 2, 0, 0.2)
	clear := func(task, date string) Record {
		return Record{Type: "clearance", Apprentice: "ana", Task: task, Date: date, By: StringOrList{"co"}}
	}
	down := func(task string) Record {
		return Record{Type: "stand_down", ID: "down", Apprentice: "ana", Task: task, Date: "2026-01-09", By: StringOrList{"co"}}
	}
	ready := []Record{clear("first", "2026-01-01"), clear("before", "2026-01-01"), reading("2026-01-02", "bleeding", "e3"), reading("2026-01-02", "fluid", "f2"),
		rec("theory_test", "2026-01-03", func(r *Record) { r.Passed, r.Watched = true, true })}
	two := append(slices.Clone(ready), bleed("2026-01-05", "sam"), bleed("2026-01-06", "sam"))
	listed := *c
	listed.Supervisors = []CatalogueSupervisor{{"sam"}}
	sure := 0.99
	hard := p
	hard.Tasks = map[string]TaskPolicy{"bleed": {Target: &sure, Confidence: &sure, RecencyDays: 30, LapseDays: 90}}
	for _, row := range []struct {
		name     string
		c        *Catalogue
		p        Policy
		evidence []Record
		want     string
	}{
		{"one other supervisor", c, p, two, "watched_jobs other_supervisors"},
		{"no other supervisor there", &listed, p, two, "too_few_supervisors"},
		{"prerequisite stood down", c, p, append(slices.Clone(two), bleed("2026-01-07", "toni"), down("before")), "restore_first"},
		{"induction stood down", c, p, append(slices.Clone(two), bleed("2026-01-07", "toni"), down("first")), "restore_first"},
		{"induction and more", c, p, append(slices.Clone(two), down("first")), "restore_first watched_jobs other_supervisors"},
		{"the target is out of reach", c, hard, two, "jobs_cannot_show"},
		{"stood down from the task", c, p, append(slices.Clone(two), bleed("2026-01-07", "toni"), down("bleed")), "wait_for_restore"},
		{"nothing yet", c, p, nil, "do_induction read_lesson read_lesson get_cleared_for take_watched_theory_test watched_jobs different_supervisors steps_unaided_all"},
		{"cleared by a waiver", c, p, append(slices.Clone(two), rec("clearance", "2026-01-08", by("co"), waiver, until("2026-03-01"))), "watched_jobs other_supervisors"},
		{"cleared", c, p, append(slices.Clone(two), rec("clearance", "2026-01-08", by("co"))), ""},
	} {
		v := AssessOne(row.c, row.evidence, row.p, DefaultParameters(), "ana", "bleed", "2026-01-10", Options{Explain: true})
		if got := codes(v.Next); got != row.want {
			t.Errorf("%s: got %q, want %q: %s", row.name, got, row.want, v.JSON(true))
		}
	}
}
