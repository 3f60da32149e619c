package readiness

import "testing"

// Each row of DEVELOPERS.md, "Contracts", has rows here that begin with its words.
func TestStandings(t *testing.T) {
	clear := func(date string, changes ...change) Record {
		return rec("clearance", date, append([]change{by("sam")}, changes...)...)
	}
	down := func(date string, changes ...change) Record {
		return rec("stand_down", date, append([]change{by("sam")}, changes...)...)
	}
	up := func(date, who string, changes ...change) Record {
		return rec("restore", date, append([]change{by(who)}, changes...)...)
	}
	everything := func(r *Record) { r.Task = "" }
	other := func(task string) change { return func(r *Record) { r.Task = task } }
	prompted := func(r *Record) {
		for i := range r.Steps {
			r.Steps[i].Result = "prompted"
		}
	}
	answers := Record{Type: "answers", Apprentice: "ana", Date: "2026-01-02", Answers: []AnswerResult{{Question: "q", Task: "bleed"}}}

	rows := []struct {
		name     string
		evidence []Record
		asOf     string
		want     Standing
		ready    bool
		warnings string // codes
	}{
		{"untried: nothing", nil, "2026-01-20", Untried, false, ""},
		{"untried: another task only", []Record{rec("unwatched_job", "2026-01-02", other("caliper"))}, "2026-01-20", Untried, false, ""},
		{"untried: a reading still to come", []Record{reading("2026-01-21", "bleeding", "e3")}, "2026-01-20", Untried, false, ""},
		{"untried → building: first reading", []Record{reading("2026-01-20", "bleeding", "e1")}, "2026-01-20", Building, false, ""},
		{"untried → building: first test", []Record{rec("theory_test", "2026-01-20")}, "2026-01-20", Building, false, ""},
		{"untried → building: first assessed answers", []Record{answers}, "2026-01-20", Building, false, ""},
		{"untried → building: first watched job", []Record{bleed("2026-01-20", "sam", outcome("interrupted"))}, "2026-01-20", Building, false, ""},
		{"untried → building: first unwatched job", []Record{rec("unwatched_job", "2026-01-20")}, "2026-01-20", Building, false, ""},
		{"untried → building: first spot check", []Record{rec("spot_check", "2026-01-20", finding("sound"))}, "2026-01-20", Building, false, ""},
		{"untried → building: first return", []Record{rec("return", "2026-01-20", finding("part"))}, "2026-01-20", Building, false, ""},
		{"untried → building: recognition", []Record{rec("recognition", "2026-01-20", by("co", "sam"))}, "2026-01-20", Building, false, ""},
		{"building → ready_for_decision: ready becomes true", all(), "2026-01-12", ReadyForDecision, true, ""},
		{"building: the day before", all(), "2026-01-11", Building, false, ""},
		{"ready_for_decision → building: ready becomes false", all(), "2026-02-12", Building, false, ""},
		{"ready_for_decision → cleared", all(clear("2026-01-20")), "2026-01-20", Cleared, true, ""},
		{"ready_for_decision: the clearance still to come", all(clear("2026-01-21")), "2026-01-20", ReadyForDecision, true, ""},
		{"building → cleared by a waiver", []Record{bleed("2026-01-05", "sam"), clear("2026-01-20", waiver, until("2026-02-20"))}, "2026-01-21", Cleared, false, ""},
		{"cleared → lapsed: the waiver's last day", []Record{bleed("2026-01-05", "sam"), clear("2026-01-20", waiver, until("2026-02-20"))}, "2026-02-20", Cleared, false, ""},
		{"cleared → lapsed: the waiver ends", []Record{bleed("2026-01-05", "sam"), clear("2026-01-20", waiver, until("2026-02-20"))}, "2026-02-21", Lapsed, false, ""},
		{"cleared → lapsed: the clearance ends", all(clear("2026-01-20", until("2026-01-25"))), "2026-01-26", Lapsed, true, ""},
		{"cleared → lapsed: the last of lapse_days", all(clear("2026-01-20")), "2026-04-20", Cleared, false, ""},
		{"cleared → lapsed: lapse_days after the clearance", all(clear("2026-01-20")), "2026-04-21", Lapsed, false, ""},
		{"cleared → lapsed: an unwatched job keeps it", all(clear("2026-01-20"), rec("unwatched_job", "2026-03-01")), "2026-05-30", Cleared, false, ""},
		{"cleared → lapsed: lapse_days after the unwatched job", all(clear("2026-01-20"), rec("unwatched_job", "2026-03-01")), "2026-05-31", Lapsed, false, ""},
		{"cleared → lapsed: a spot check keeps it", all(clear("2026-01-20"), rec("spot_check", "2026-03-01", finding("sound"))), "2026-05-30", Cleared, false, ""},
		{"cleared → lapsed: a watched job keeps it", all(clear("2026-01-20"), bleed("2026-03-01", "sam")), "2026-05-30", Cleared, false, ""},
		{"cleared → lapsed: another task's job does not keep it", all(clear("2026-01-20"), rec("unwatched_job", "2026-03-01", other("caliper"))), "2026-05-30", Lapsed, false, ""},
		{"cleared → lapsed: leave does not count", all(clear("2026-01-20"), leave("2026-02-01", "2026-02-10")), "2026-04-30", Cleared, false, ""},
		{"cleared → lapsed: leave and a day", all(clear("2026-01-20"), leave("2026-02-01", "2026-02-10")), "2026-05-01", Lapsed, false, ""},
		{"cleared: a critical error leaves it to a person", all(clear("2026-01-20"), bleed("2026-01-21", "sam", errorAt("bleeding/cut"))), "2026-01-22", Cleared, false, "critical_error_after_clearance confidence_fallen"},
		{"cleared: an unsafe spot check leaves it to a person", all(clear("2026-01-20"), rec("spot_check", "2026-01-21", finding("unsafe"))), "2026-01-22", Cleared, false, "critical_error_after_clearance confidence_fallen"},
		{"cleared: a return of our work leaves it to a person", all(clear("2026-01-20"), rec("return", "2026-01-21", finding("our_work"))), "2026-01-22", Cleared, false, "critical_error_after_clearance confidence_fallen"},
		{"cleared: a critical error, and whoever signed it kept the clearance", all(clear("2026-01-20"), bleed("2026-01-21", "sam", errorAt("bleeding/cut"), kept)), "2026-01-22", Cleared, false, "confidence_fallen"},
		{"cleared: an unsafe spot check, and it was kept", all(clear("2026-01-20"), rec("spot_check", "2026-01-21", finding("unsafe"), kept)), "2026-01-22", Cleared, false, "confidence_fallen"},
		{"cleared: a return of our work, and it was kept", all(clear("2026-01-20"), rec("return", "2026-01-21", finding("our_work"), kept)), "2026-01-22", Cleared, false, "confidence_fallen"},
		{"cleared: one kept, another not decided on", all(clear("2026-01-20"), rec("spot_check", "2026-01-21", finding("unsafe")), rec("spot_check", "2026-01-22", finding("unsafe"), kept)), "2026-01-22", Cleared, false, "critical_error_after_clearance confidence_fallen"},
		{"cleared: stood down for a critical error, and restored", all(clear("2026-01-20"), bleed("2026-01-21", "sam", errorAt("bleeding/cut")), down("2026-01-21"), up("2026-01-23", "co")), "2026-01-24", Cleared, false, "confidence_fallen"},
		{"cleared: a critical error after the restore", all(clear("2026-01-20"), down("2026-01-21"), up("2026-01-23", "co"), bleed("2026-01-24", "sam", errorAt("bleeding/cut"))), "2026-01-24", Cleared, false, "critical_error_after_clearance confidence_fallen"},
		{"cleared: falling probability warns", all(clear("2026-01-20"), bleed("2026-01-21", "sam", prompted), bleed("2026-01-22", "sam", prompted)), "2026-01-22", Cleared, false, "confidence_fallen"},
		{"cleared: a near miss warns", all(clear("2026-01-20"), bleed("2026-01-21", "sam", nearMiss)), "2026-01-22", Cleared, true, "near_miss_after_clearance"},
		{"cleared: a disputed sign-off warns", append(all(clear("2026-01-20")), bleed("2026-01-13", "sam", id("j")), dispute("2026-01-21", "j")), "2026-01-22", Cleared, true, "disputed"},
		{"cleared: a disputed clearance warns", append(all(clear("2026-01-20", id("c"))), dispute("2026-01-21", "c")), "2026-01-22", Cleared, true, "clearance_disputed"},
		{"cleared: the dispute of the clearance upheld", append(all(clear("2026-01-20", id("c"))), dispute("2026-01-21", "c"), settlement("2026-01-22", "c", true)), "2026-01-22", ReadyForDecision, true, ""},
		{"lapsed: a later job does not bring it back", all(clear("2026-01-20"), rec("unwatched_job", "2026-04-21")), "2026-04-22", Lapsed, false, ""},
		{"lapsed → cleared: new clearance", all(clear("2026-01-20"), clear("2026-04-25")), "2026-04-26", Cleared, false, ""},
		{"lapsed: ready says whether a new one could be given", all(clear("2025-01-20")), "2026-01-20", Lapsed, true, ""},
		{"any → stood_down: from untried", []Record{down("2026-01-20")}, "2026-01-20", StoodDown, false, ""},
		{"any → stood_down: from building", []Record{bleed("2026-01-05", "sam"), down("2026-01-20")}, "2026-01-20", StoodDown, false, ""},
		{"any → stood_down: from ready_for_decision", all(down("2026-01-20")), "2026-01-20", StoodDown, true, ""},
		{"any → stood_down: from lapsed", all(clear("2026-01-12", until("2026-01-15")), down("2026-01-20")), "2026-01-20", StoodDown, true, ""},
		{"any → stood_down: from cleared", all(clear("2026-01-20"), down("2026-01-22")), "2026-01-22", StoodDown, true, ""},
		{"any → stood_down: not before", all(clear("2026-01-20"), down("2026-01-22")), "2026-01-21", Cleared, true, ""},
		{"any → stood_down: of all tasks", all(clear("2026-01-20"), down("2026-01-22", everything)), "2026-01-22", StoodDown, true, ""},
		{"any → stood_down: of another task", all(clear("2026-01-20"), down("2026-01-22", other("caliper"))), "2026-01-22", Cleared, true, ""},
		{"any → stood_down: unsigned holds", all(down("2026-01-22", unsigned)), "2026-01-22", StoodDown, true, "stand_down_unsigned"},
		{"any → stood_down: a new clearance does not lift it", all(down("2026-01-22"), clear("2026-01-23")), "2026-01-23", StoodDown, true, ""},
		{"any → stood_down: disputed, it holds", append(all(down("2026-01-22", id("d"))), dispute("2026-01-23", "d")), "2026-01-24", StoodDown, true, "stand_down_disputed"},
		{"any → stood_down: the dispute upheld, it falls", append(all(down("2026-01-22", id("d"))), dispute("2026-01-23", "d"), settlement("2026-01-24", "d", true)), "2026-01-24", ReadyForDecision, true, ""},
		{"stood_down → cleared: the clearance still runs", all(clear("2026-01-20"), down("2026-01-22"), up("2026-01-25", "co")), "2026-01-25", Cleared, true, ""},
		{"stood_down: the day before the restore", all(clear("2026-01-20"), down("2026-01-22"), up("2026-01-25", "co")), "2026-01-24", StoodDown, true, ""},
		{"stood_down → lapsed: the clearance ran out meanwhile", all(clear("2026-01-20", until("2026-01-23")), down("2026-01-22"), up("2026-01-25", "co")), "2026-01-25", Lapsed, true, ""},
		{"stood_down → ready_for_decision", all(down("2026-01-22"), up("2026-01-25", "co")), "2026-01-25", ReadyForDecision, true, ""},
		{"stood_down → building", []Record{bleed("2026-01-05", "sam"), down("2026-01-22"), up("2026-01-25", "co")}, "2026-01-25", Building, false, ""},
		{"stood_down: who ordered it cannot lift it", all(down("2026-01-22"), up("2026-01-25", "sam")), "2026-01-25", StoodDown, true, ""},
		{"stood_down: nor together with another", all(down("2026-01-22"), rec("restore", "2026-01-25", by("co", "sam"))), "2026-01-25", StoodDown, true, ""},
		{"stood_down: a restore of all tasks lifts one task's", all(down("2026-01-22"), up("2026-01-25", "co", everything)), "2026-01-25", ReadyForDecision, true, ""},
		{"stood_down: a restore of the task lifts it from all for this task", all(down("2026-01-22", everything), up("2026-01-25", "co")), "2026-01-25", ReadyForDecision, true, ""},
		{"stood_down: a restore of another task does not", all(down("2026-01-22"), up("2026-01-25", "co", other("caliper"))), "2026-01-25", StoodDown, true, ""},
		{"stood_down: again, after a restore", all(down("2026-01-22"), up("2026-01-25", "co"), down("2026-01-26")), "2026-01-27", StoodDown, true, ""},
		{"stood_down: an earlier restore does not lift a later one", all(up("2026-01-21", "co"), down("2026-01-22")), "2026-01-27", StoodDown, true, ""},
		{"stood_down: restored the same day", all(down("2026-01-22"), up("2026-01-22", "co")), "2026-01-22", ReadyForDecision, true, ""},
		{"stood_down: restored and stood down again the same day", all(down("2026-01-20"), up("2026-01-22", "co"), down("2026-01-22")), "2026-01-22", StoodDown, true, ""},
		{"stood_down: twice that day, restored once", all(down("2026-01-22"), up("2026-01-22", "co"), down("2026-01-22", by("toni"))), "2026-01-22", StoodDown, true, ""},
		{"stood_down: ordered by two, lifted for one", all(down("2026-01-22"), down("2026-01-23", by("co")), up("2026-01-25", "co")), "2026-01-25", StoodDown, true, ""},
		{"stood_down: a disputed restore does not restore", append(all(down("2026-01-22"), up("2026-01-25", "co", id("u"))), dispute("2026-01-25", "u")), "2026-01-26", StoodDown, true, "disputed"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			v := judgeSample(t, row.evidence, row.asOf)
			if v.Standing != row.want || v.Ready != row.ready {
				t.Errorf("got %s, ready %v; want %s, ready %v\ngates: %v", v.Standing, v.Ready, row.want, row.ready, v.Gates)
			}
			if got := codes(v.Notes.Warnings); got != row.warnings {
				t.Errorf("warnings: got %q, want %q", got, row.warnings)
			}
		})
	}
}

// building → cleared with open gates and short probability: a waiver as well, marked for as long as it lasts.
func TestStandingOpenGatesShortProbability(t *testing.T) {
	p := samplePolicy()
	p.Confidence = 0.999
	on := func(asOf string, more ...Record) Verdict {
		return AssessOne(sampleCatalogue(), all(more...), p, DefaultParameters(), "ana", "bleed", asOf, Options{})
	}
	v := on("2026-01-12")
	for _, g := range v.Gates {
		if !g.OK {
			t.Fatalf("the gate %s is closed", g.Gate)
		}
	}
	if v.Ready || v.Standing != Building {
		t.Fatalf("got %s, ready %v", v.Standing, v.Ready)
	}
	clearance := rec("clearance", "2026-01-12", by("sam", "co"), waiver, until("2026-02-01"))
	if v := on("2026-02-01", clearance); v.Standing != Cleared || !v.Notes.Waived {
		t.Errorf("got %s, waived %v", v.Standing, v.Notes.Waived)
	}
	if v := on("2026-02-02", clearance); v.Standing != Lapsed || v.Notes.Waived {
		t.Errorf("after its end: got %s, waived %v", v.Standing, v.Notes.Waived)
	}
}

func TestNotes(t *testing.T) {
	limits := func(r *Record) { r.Limits = []byte(`{"layouts":["diagonal"]}`) }
	evidence := all(rec("clearance", "2026-01-20", by("sam"), waiver, until("2026-06-01"), limits), rec("unwatched_job", "2026-01-25"))
	n := judgeSample(t, evidence, "2026-01-30").Notes
	if n.ClearedSince != "2026-01-20" || n.ClearedUntil != "2026-06-01" || n.LapsesOn != "2026-04-26" || !n.Waived || n.LastJob != "2026-01-25" {
		t.Errorf("got %+v", n)
	}
	if l, ok := n.Limits["layouts"].([]any); !ok || len(l) != 1 {
		t.Errorf("limits: got %v", n.Limits)
	}
	n = judgeSample(t, evidence, "2026-05-30").Notes
	if n.ClearedSince != "" || n.LapsesOn != "" || n.Waived {
		t.Errorf("lapsed: got %+v", n)
	}
	n = judgeSample(t, append(evidence, rec("stand_down", "2026-01-28", by("sam"))), "2026-01-30").Notes
	if n.StoodDownOn != "2026-01-28" || n.ClearedSince != "2026-01-20" {
		t.Errorf("stood down: got %+v", n)
	}
}
