package readiness

import (
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// supposedBy reads a shortest way back from its codes. all is false if something in it is nobody's act.
func supposedBy(t fataler, v Verdict) (s Supposed, all bool) {
	t.Helper()
	all = true
	number := func(text string) int {
		n, err := strconv.Atoi(text)
		if err != nil {
			t.Fatalf("%q is no number: %s", text, v.JSON(true))
		}
		return n
	}
	for _, n := range v.Next {
		switch n.Code {
		case "do_induction":
			s.Induction = true
		case "read_lesson", "read_lesson_again":
			s.Lessons = append(s.Lessons, n.Args["lesson"])
		case "get_cleared_for":
			s.Prerequisites = append(s.Prerequisites, n.Args["task"])
		case "take_theory_test", "take_watched_theory_test":
			s.TheoryTest = true
		case "watched_jobs":
			s.Jobs = number(n.Args["jobs"])
		case "other_supervisors", "different_supervisors":
			s.OtherSupervisors = number(n.Args["supervisors"])
		case "other_layouts", "different_layouts":
			s.OtherLayouts = number(n.Args["layouts"])
		case "steps_unaided", "steps_unaided_all", "ask_for_decision":
		case "wait_for_restore", "restore_first", "too_few_supervisors", "needs_waiver", "jobs_cannot_show":
			all = false
		default:
			t.Fatalf("%s: nobody knows this act", n.Code)
		}
	}
	return s, all
}

type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// What the shortest way names makes ready if it is supposed; and what is supposed closes no gate.
func TestSuppose(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf, task := d.evidence(), (firstDay + 61).String(), d.task()
		v := AssessOne(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", task, asOf, Options{Explain: true})
		s, all := supposedBy(t, v)
		after := Suppose(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", task, asOf, s)
		if all && !after.Ready && (v.Standing != Cleared || v.Notes.Waived) {
			t.Fatalf("%+v: before\n%s\nafter\n%s", s, v.JSON(true), after.JSON(true))
		}
		for i, g := range v.Gates {
			if g.OK && !after.Gates[i].OK {
				t.Fatalf("%+v: supposing it closed %s", s, g.Gate)
			}
		}
		if slices.ContainsFunc(v.Next, func(r Reason) bool { return r.Code == "ask_for_decision" }) && !v.Ready {
			t.Fatalf("a decision is asked for: %s", v.JSON(true))
		}
	})
}

// How strict or sleepy a supervisor is shows in nobody's shortest way or supposition, but through what the estimate has been so far.
func TestSeverityShowsInNoOutlook(t *testing.T) {
	evidence := []Record{reading("2026-01-02", "bleeding", "e3")}
	for _, p := range []Parameters{DefaultParameters(),
		known(SupervisorValue{"sam", 2, 0.1, 0}, SupervisorValue{"toni", -2, 0.1, 0.9}),
		known(SupervisorValue{"sam", -2, 0.1, 0.9}, SupervisorValue{"toni", 2, 0.1, 0})} {
		v := AssessOne(sampleCatalogue(), evidence, samplePolicy(), p, "ana", "bleed", "2026-02-01", Options{Explain: true})
		if got := codes(v.Next); got != "watched_jobs different_supervisors steps_unaided_all" || v.Next[0].Args["jobs"] != "3" {
			t.Errorf("%s: %v", got, v.Next)
		}
		after := Suppose(sampleCatalogue(), evidence, samplePolicy(), p, "ana", "bleed", "2026-02-01", Supposed{Jobs: 3, OtherSupervisors: 2})
		if after.Probability != Suppose(sampleCatalogue(), evidence, samplePolicy(), DefaultParameters(), "ana", "bleed", "2026-02-01", Supposed{Jobs: 3}).Probability {
			t.Errorf("severity shows: %s", after.JSON(false))
		}
	}
	// Of how many another supervisor must watch, the gate alone decides, whoever has watched so far and whatever their records weigh.
	for _, watched := range []string{"sam", "toni"} {
		for _, p := range []Parameters{DefaultParameters(), known(SupervisorValue{watched, -3, 0.1, 0.95})} {
			v := AssessOne(sampleCatalogue(), append(evidence, bleed("2026-01-05", watched), bleed("2026-01-06", watched), bleed("2026-01-07", watched)), samplePolicy(), p, "ana", "bleed", "2026-01-10", Options{Explain: true})
			for _, n := range v.Next {
				if n.Code == "other_supervisors" && n.Args["supervisors"] != "1" {
					t.Errorf("%s: %v", watched, v.Next)
				}
			}
			if !slices.ContainsFunc(v.Next, func(r Reason) bool { return r.Code == "other_supervisors" }) {
				t.Errorf("%s: %v", watched, v.Next)
			}
		}
	}
}
