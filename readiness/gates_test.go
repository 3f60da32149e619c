package readiness

import "testing"

func TestGates(t *testing.T) {
	recognise := func(jobs int, gates ...string) Record {
		r := rec("recognition", "2026-01-03", by("co", "sam"))
		r.StandsFor, r.Jobs = gates, jobs
		return r
	}
	test := func(date string, passed, watched bool) Record {
		return rec("theory_test", date, func(r *Record) { r.Passed, r.Watched = passed, watched })
	}
	asksTest := func(watched bool) func(*Policy) {
		return func(p *Policy) {
			p.Tasks["bleed"] = TaskPolicy{RecencyDays: 30, LapseDays: 90, TheoryTest: &TheoryTest{Blueprint: "b", PassPercent: 80, Watched: watched}}
		}
	}
	asksLayouts := func(p *Policy) { p.Tasks["bleed"] = TaskPolicy{Layouts: 2, RecencyDays: 30, LapseDays: 90} }
	asksInduction := func(p *Policy) { p.Induction = "induction" }
	caliper := func(date string) Record {
		return Record{Type: "clearance", Apprentice: "ana", Task: "bleed", Date: date, By: StringOrList{"sam"}}
	}

	rows := []struct {
		name     string
		gate     string
		task     string // bleed if ""
		evidence []Record
		policy   func(*Policy)
		asOf     string // 2026-01-20 if ""
		ok       bool
		why      string
	}{
		{name: "no induction asked", gate: "induction", ok: true, why: "induction_not_asked"},
		{name: "induction not done", gate: "induction", policy: asksInduction, why: "induction_missing"},
		{name: "induction cleared", gate: "induction", policy: asksInduction, ok: true, why: "induction_done",
			evidence: []Record{{Type: "clearance", Apprentice: "ana", Task: "induction", Date: "2025-01-02", By: StringOrList{"co"}}}},
		{name: "induction done by its own gates", gate: "induction", policy: asksInduction, ok: true, why: "induction_done",
			evidence: []Record{reading("2026-01-02", "shop", "s1")}},
		{name: "induction begun, not done", gate: "induction", policy: func(p *Policy) {
			asksInduction(p)
			p.Tasks["induction"] = TaskPolicy{Jobs: 1}
		}, why: "induction_missing", evidence: []Record{reading("2026-01-02", "shop", "s1")}},
		{name: "stood down from everything", gate: "induction", policy: asksInduction, why: "induction_missing",
			evidence: []Record{reading("2026-01-02", "shop", "s1"), rec("stand_down", "2026-01-03", by("sam"), func(r *Record) { r.Task = "" })}},
		{name: "the induction itself", gate: "induction", task: "induction", policy: asksInduction, ok: true, why: "induction_itself"},

		{name: "read in the current edition", gate: "reading", evidence: []Record{reading("2026-01-02", "bleeding", "e3")}, ok: true, why: "reading_done"},
		{name: "read in an older edition that holds", gate: "reading", evidence: []Record{reading("2026-01-02", "bleeding", "e2")}, ok: true, why: "reading_done"},
		{name: "read in an edition to be read again", gate: "reading", evidence: []Record{reading("2026-01-02", "bleeding", "e1")}, why: "reading_again"},
		{name: "an old reading after a good one", gate: "reading", evidence: []Record{reading("2026-01-02", "bleeding", "e3"), reading("2026-01-03", "bleeding", "e1")}, ok: true, why: "reading_done"},
		{name: "not read", gate: "reading", evidence: []Record{reading("2026-01-02", "other", "e3")}, why: "reading_missing"},
		{name: "read later", gate: "reading", evidence: []Record{reading("2026-01-21", "bleeding", "e3")}, why: "reading_missing"},
		{name: "no lessons", gate: "reading", task: "caliper", ok: true, why: "reading_not_asked"},

		{name: "no test asked", gate: "theory_test", ok: true, why: "theory_test_not_asked"},
		{name: "no test taken", gate: "theory_test", policy: asksTest(false), why: "theory_test_missing"},
		{name: "test failed", gate: "theory_test", policy: asksTest(false), evidence: []Record{test("2026-01-03", false, true)}, why: "theory_test_failed"},
		{name: "test passed", gate: "theory_test", policy: asksTest(false), evidence: []Record{test("2026-01-03", true, false), test("2026-01-04", false, false)}, ok: true, why: "theory_test_passed"},
		{name: "test passed unwatched", gate: "theory_test", policy: asksTest(true), evidence: []Record{test("2026-01-03", true, false)}, why: "theory_test_not_watched"},
		{name: "test passed in an edition that must be passed again", gate: "theory_test", policy: asksTest(false), evidence: []Record{
			rec("theory_test", "2026-01-03", func(r *Record) { r.Passed, r.Edition = true, "p1" })}, why: "theory_test_again"},
		{name: "and again in a later one", gate: "theory_test", policy: asksTest(false), ok: true, why: "theory_test_passed", evidence: []Record{
			rec("theory_test", "2026-01-03", func(r *Record) { r.Passed, r.Edition = true, "p1" }),
			rec("theory_test", "2026-01-04", func(r *Record) { r.Passed, r.Edition = true, "p2" })}},
		{name: "test passed watched", gate: "theory_test", policy: asksTest(true), evidence: []Record{test("2026-01-03", true, true)}, ok: true, why: "theory_test_passed"},

		{name: "no critical steps", gate: "critical_steps", task: "induction", ok: true, why: "critical_steps_none"},
		{name: "seen in one job", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam")}, ok: true, why: "critical_steps_seen"},
		{name: "seen in different jobs", gate: "critical_steps", ok: true, why: "critical_steps_seen", evidence: []Record{
			bleed("2026-01-05", "sam", at("bleeding/cut", "prompted")),
			bleed("2026-01-06", "sam", at("bleeding/open-screw@RR", "taken_over"))}},
		{name: "prompted", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", at("bleeding/cut", "prompted"))}, why: "critical_steps_missing"},
		{name: "bulk", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", bulkAt("bleeding/cut"))}, why: "critical_steps_missing"},
		{name: "bulk at one wheel, its own tap at the other", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", bulkAt("bleeding/open-screw@RR"))}, ok: true, why: "critical_steps_seen"},
		{name: "prompted at one wheel", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", at("bleeding/open-screw@LF", "prompted"))}, why: "critical_steps_missing"},
		{name: "not applicable at one wheel", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", at("bleeding/open-screw@LF", "not_applicable"))}, ok: true, why: "critical_steps_seen"},
		{name: "with a critical error", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", errorAt("bleeding/cut"))}, why: "critical_steps_missing"},
		{name: "in a job that was interrupted", gate: "critical_steps", evidence: []Record{bleed("2026-01-05", "sam", outcome("interrupted"))}, why: "critical_steps_missing"},

		{name: "too few jobs", gate: "jobs", evidence: threeClean()[:2], why: "jobs_short"},
		{name: "enough jobs", gate: "jobs", evidence: threeClean(), ok: true, why: "jobs_enough"},
		{name: "rightly stopped counts", gate: "jobs", evidence: append(threeClean()[:2], bleed("2026-01-12", "sam", outcome("rightly_stopped"))), ok: true, why: "jobs_enough"},
		{name: "stopped by the supervisor does not", gate: "jobs", evidence: append(threeClean()[:2], bleed("2026-01-12", "sam", outcome("stopped_by_supervisor"))), why: "jobs_short"},
		{name: "interrupted does not", gate: "jobs", evidence: append(threeClean()[:2], bleed("2026-01-12", "sam", outcome("interrupted"))), why: "jobs_short"},
		{name: "unwatched does not", gate: "jobs", evidence: append(threeClean()[:2], rec("unwatched_job", "2026-01-12")), why: "jobs_short"},
		{name: "another apprentice's does not", gate: "jobs", evidence: append(threeClean()[:2], bleed("2026-01-12", "sam", func(r *Record) { r.Apprentice = "bo" })), why: "jobs_short"},
		{name: "another task's does not", gate: "jobs", evidence: append(threeClean()[:2], bleed("2026-01-12", "sam", func(r *Record) { r.Task = "caliper" })), why: "jobs_short"},
		{name: "recognised jobs are added", gate: "jobs", evidence: append(threeClean()[:2], recognise(1, "reading")), ok: true, why: "jobs_enough"},
		{name: "recognition of jobs", gate: "jobs", evidence: []Record{recognise(0, "jobs")}, ok: true, why: "recognised"},
		{name: "recognition later", gate: "jobs", evidence: []Record{recognise(0, "jobs")}, asOf: "2026-01-02", why: "jobs_short"},

		{name: "one supervisor", gate: "supervisors", evidence: []Record{bleed("2026-01-05", "sam"), bleed("2026-01-06", "sam")}, why: "supervisors_short"},
		{name: "two supervisors", gate: "supervisors", evidence: threeClean(), ok: true, why: "supervisors_enough"},
		{name: "a second one who only looked afterwards", gate: "supervisors", evidence: []Record{bleed("2026-01-05", "sam"),
			rec("spot_check", "2026-01-06", finding("sound"), func(r *Record) { r.Supervisor = "toni" })}, why: "supervisors_short"},
		{name: "a second one who watched an interrupted job", gate: "supervisors", evidence: []Record{bleed("2026-01-05", "sam"), bleed("2026-01-06", "toni", outcome("interrupted"))}, why: "supervisors_short"},

		{name: "no layouts asked", gate: "layouts", evidence: threeClean(), ok: true, why: "layouts_not_asked"},
		{name: "one layout", gate: "layouts", policy: asksLayouts, evidence: []Record{bleed("2026-01-05", "sam", layout("diagonal")), bleed("2026-01-06", "sam")}, why: "layouts_short"},
		{name: "two layouts", gate: "layouts", policy: asksLayouts, evidence: []Record{bleed("2026-01-05", "sam", layout("diagonal")), bleed("2026-01-06", "sam", layout("front-rear"))}, ok: true, why: "layouts_enough"},

		{name: "never watched", gate: "recency", why: "recency_never"},
		{name: "thirty days ago", gate: "recency", evidence: threeClean(), asOf: "2026-02-11", ok: true, why: "recency_recent"},
		{name: "thirty-one days ago", gate: "recency", evidence: threeClean(), asOf: "2026-02-12", why: "recency_too_long"},
		{name: "with leave", gate: "recency", evidence: append(threeClean(), leave("2026-01-20", "2026-01-24"), leave("2026-01-23", "2026-01-29")), asOf: "2026-02-21", ok: true, why: "recency_recent"},
		{name: "with leave, a day later", gate: "recency", evidence: append(threeClean(), leave("2026-01-20", "2026-01-24"), leave("2026-01-23", "2026-01-29")), asOf: "2026-02-22", why: "recency_too_long"},
		{name: "unwatched work does not count", gate: "recency", evidence: append(threeClean(), rec("unwatched_job", "2026-02-10")), asOf: "2026-02-12", why: "recency_too_long"},

		{name: "no critical error", gate: "critical_error", evidence: threeClean(), ok: true, why: "critical_error_none"},
		{name: "a critical error in the last job", gate: "critical_error", evidence: append(threeClean(), bleed("2026-01-13", "sam", errorAt("bleeding/cut"))), why: "critical_error_since"},
		{name: "in an interrupted job, too", gate: "critical_error", evidence: append(threeClean(), bleed("2026-01-13", "sam", errorAt("bleeding/cut"), outcome("interrupted"))), why: "critical_error_since"},
		{name: "two clean jobs later", gate: "critical_error", evidence: append(threeClean(), bleed("2026-01-05", "sam", errorAt("bleeding/cut"))), ok: true, why: "critical_error_made_good"},
		{name: "clean jobs of the same day do not make good", gate: "critical_error", evidence: append(threeClean(), bleed("2026-01-08", "sam", errorAt("bleeding/cut"))), why: "critical_error_since"},
		{name: "near misses do not make good", gate: "critical_error", evidence: []Record{bleed("2026-01-05", "sam", errorAt("bleeding/cut")), bleed("2026-01-06", "sam", nearMiss), bleed("2026-01-07", "sam", nearMiss)}, why: "critical_error_since"},
		{name: "the step not reached since", gate: "critical_error", evidence: []Record{bleed("2026-01-05", "sam", errorAt("bleeding/cut")),
			bleed("2026-01-06", "sam", at("bleeding/cut", "not_applicable")), bleed("2026-01-07", "sam", at("bleeding/cut", "not_applicable"))}, why: "critical_error_steps"},
		{name: "an unsafe spot check", gate: "critical_error", evidence: append(threeClean(), rec("spot_check", "2026-01-13", finding("unsafe"))), why: "critical_error_since"},
		{name: "a flaw found", gate: "critical_error", evidence: append(threeClean(), rec("spot_check", "2026-01-13", finding("flaw"))), ok: true, why: "critical_error_none"},
		{name: "our work came back", gate: "critical_error", evidence: append(threeClean(), rec("return", "2026-01-13", finding("our_work"))), why: "critical_error_since"},
		{name: "a bad part came back", gate: "critical_error", evidence: append(threeClean(), rec("return", "2026-01-13", finding("part"))), ok: true, why: "critical_error_none"},

		{name: "no prerequisites", gate: "prerequisites", ok: true, why: "prerequisites_none"},
		{name: "prerequisite not cleared", gate: "prerequisites", task: "caliper", evidence: all(), why: "prerequisites_missing"},
		{name: "prerequisite cleared", gate: "prerequisites", task: "caliper", evidence: []Record{caliper("2026-01-15")}, ok: true, why: "prerequisites_cleared"},
		{name: "prerequisite lapsed", gate: "prerequisites", task: "caliper", evidence: []Record{caliper("2025-01-15")}, why: "prerequisites_missing"},
		{name: "prerequisite stood down", gate: "prerequisites", task: "caliper", evidence: []Record{caliper("2026-01-15"), rec("stand_down", "2026-01-16", by("sam"))}, why: "prerequisites_missing"},
	}
	for _, row := range rows {
		t.Run(row.gate+"/"+row.name, func(t *testing.T) {
			p := samplePolicy()
			if row.policy != nil {
				row.policy(&p)
			}
			task, asOf := row.task, row.asOf
			if task == "" {
				task = "bleed"
			}
			if asOf == "" {
				asOf = "2026-01-20"
			}
			v := AssessOne(sampleCatalogue(), row.evidence, p, DefaultParameters(), "ana", task, asOf, Options{})
			got := gateOf(t, v, row.gate)
			if got.OK != row.ok || got.Why != row.why {
				t.Errorf("got %v %s %v, want %v %s", got.OK, got.Why, got.Args, row.ok, row.why)
			}
		})
	}
}

// Every gate can be recognised.
func TestRecognitionOpensEveryGate(t *testing.T) {
	p := samplePolicy()
	p.Induction = "induction"
	p.Tasks["bleed"] = TaskPolicy{Jobs: 3, Supervisors: 2, Layouts: 2, RecencyDays: 30, LapseDays: 90, TheoryTest: &TheoryTest{Blueprint: "b"}}
	p.Tasks["caliper"] = p.Tasks["bleed"]
	c := sampleCatalogue()
	evidence := []Record{
		{Type: "return", Apprentice: "ana", Task: "caliper", Date: "2026-01-02", Finding: "our_work"},
		{Type: "recognition", Apprentice: "ana", Task: "caliper", Date: "2026-01-03", By: StringOrList{"co", "sam"}, StandsFor: GateNames},
	}
	c.Tasks[1].Lessons = []CatalogueLesson{{Lesson: "x", Edition: "1"}}
	for _, g := range AssessOne(c, evidence, p, DefaultParameters(), "ana", "caliper", "2026-01-20", Options{}).Gates {
		if !g.OK {
			t.Errorf("%s is closed: %s %v", g.Gate, g.Why, g.Args)
		}
	}
	for _, g := range AssessOne(c, evidence[:1], p, DefaultParameters(), "ana", "caliper", "2026-01-20", Options{}).Gates {
		if g.OK {
			t.Errorf("%s is open without the recognition: %s", g.Gate, g.Why)
		}
	}
	later := append(evidence, Record{Type: "return", Apprentice: "ana", Task: "caliper", Date: "2026-01-04", Finding: "our_work"})
	if g := gateOf(t, AssessOne(c, later, p, DefaultParameters(), "ana", "caliper", "2026-01-20", Options{}), "critical_error"); g.OK {
		t.Error("a recognition made good what came after it")
	}
}

func TestGateOrderAndNoGates(t *testing.T) {
	v := judgeSample(t, all(), "2026-01-20")
	for i, g := range v.Gates {
		if g.Gate != GateNames[i] {
			t.Errorf("gate %d is %s, want %s", i, g.Gate, GateNames[i])
		}
	}
	bare := AssessOne(sampleCatalogue(), threeClean(), samplePolicy(), DefaultParameters(), "ana", "bleed", "2026-01-20", Options{NoGates: true})
	if bare.Gates == nil || len(bare.Gates) != 0 || !bare.Ready {
		t.Errorf("without gates: gates %v, ready %v; want [] and true", bare.Gates, bare.Ready)
	}
}
