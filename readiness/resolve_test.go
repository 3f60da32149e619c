package readiness

import "testing"

// Each row asks how many watched jobs count on a date. Two clean jobs are there throughout; the third, "j" of 12 January,
// is what happens to it.
func TestCorrectionsAndDisputes(t *testing.T) {
	j := bleed("2026-01-12", "sam", id("j"))
	other := `{"type":"job","apprentice":"ana","task":"bleed","date":"2026-01-14","supervisor":"toni","outcome":"finished","steps":[]}`
	elsewhere := `{"type":"job","apprentice":"ana","task":"caliper","date":"2026-01-12","supervisor":"sam","steps":[]}`
	bo := `{"type":"job","apprentice":"bo","task":"bleed","date":"2026-01-12","supervisor":"sam","steps":[]}`
	rows := []struct {
		name string
		more []Record
		asOf string
		jobs string
	}{
		{"nothing", nil, "2026-01-20", "3"},
		{"withdrawn", []Record{correction("2026-01-15", "j", "null")}, "2026-01-15", "2"},
		{"withdrawn, seen from before", []Record{correction("2026-01-15", "j", "null")}, "2026-01-14", "3"},
		{"replaced", []Record{correction("2026-01-15", "j", other)}, "2026-01-15", "3"},
		{"replaced by one of another task", []Record{correction("2026-01-15", "j", elsewhere)}, "2026-01-15", "2"},
		{"replaced by one of another apprentice", []Record{correction("2026-01-15", "j", bo)}, "2026-01-15", "2"},
		{"replaced by one still to come", []Record{correction("2026-01-13", "j", other)}, "2026-01-13", "2"},
		{"corrected twice, the later counts", []Record{correction("2026-01-15", "j", elsewhere), correction("2026-01-16", "j", other)}, "2026-01-16", "3"},
		{"corrected twice, seen from between", []Record{correction("2026-01-15", "j", elsewhere), correction("2026-01-16", "j", other)}, "2026-01-15", "2"},
		{"the correction corrected", []Record{correction("2026-01-15", "j", elsewhere, id("c")), correction("2026-01-16", "c", other)}, "2026-01-16", "3"},
		{"the correction withdrawn", []Record{correction("2026-01-15", "j", elsewhere, id("c")), correction("2026-01-16", "c", "null")}, "2026-01-16", "3"},
		{"the correction of the correction withdrawn", []Record{correction("2026-01-15", "j", elsewhere, id("c")), correction("2026-01-16", "c", "null", id("d")), correction("2026-01-17", "d", "null")}, "2026-01-17", "2"},
		{"the correction corrected, then the record again", []Record{correction("2026-01-15", "j", elsewhere, id("c")), correction("2026-01-16", "c", other), correction("2026-01-17", "j", "null")}, "2026-01-17", "2"},
		{"a correction of nothing", []Record{correction("2026-01-15", "nothing", "null")}, "2026-01-15", "3"},
		{"corrections in a circle", []Record{correction("2026-01-15", "b", "null", id("a")), correction("2026-01-15", "a", "null", id("b"))}, "2026-01-15", "3"},

		{"disputed", []Record{dispute("2026-01-15", "j")}, "2026-01-15", "2"},
		{"disputed, seen from before", []Record{dispute("2026-01-15", "j")}, "2026-01-14", "3"},
		{"upheld", []Record{dispute("2026-01-15", "j"), settlement("2026-01-17", "j", true)}, "2026-01-17", "2"},
		{"not upheld", []Record{dispute("2026-01-15", "j"), settlement("2026-01-17", "j", false)}, "2026-01-17", "3"},
		{"not upheld, seen from before", []Record{dispute("2026-01-15", "j"), settlement("2026-01-17", "j", false)}, "2026-01-16", "2"},
		{"not upheld on the same day", []Record{dispute("2026-01-15", "j"), settlement("2026-01-15", "j", false)}, "2026-01-15", "3"},
		{"settled by naming the dispute", []Record{dispute("2026-01-15", "j", id("d")), settlement("2026-01-17", "d", false)}, "2026-01-17", "3"},
		{"disputed again", []Record{dispute("2026-01-15", "j"), settlement("2026-01-17", "j", false), dispute("2026-01-18", "j")}, "2026-01-18", "2"},
		{"disputed again on the day of the settlement", []Record{dispute("2026-01-15", "j"), settlement("2026-01-17", "j", false), dispute("2026-01-17", "j")}, "2026-01-17", "2"},
		{"disputed, settled and disputed again in one day", []Record{dispute("2026-01-15", "j"), settlement("2026-01-15", "j", false), dispute("2026-01-15", "j")}, "2026-01-15", "2"},
		{"and settled again that day", []Record{dispute("2026-01-15", "j"), settlement("2026-01-15", "j", false), dispute("2026-01-15", "j"), settlement("2026-01-15", "j", false)}, "2026-01-15", "3"},
		{"and settled the day after", []Record{dispute("2026-01-15", "j"), settlement("2026-01-15", "j", false), dispute("2026-01-15", "j"), settlement("2026-01-16", "j", false)}, "2026-01-16", "3"},
		{"disputed before, settled and disputed again in one day", []Record{dispute("2026-01-14", "j"), settlement("2026-01-15", "j", false), dispute("2026-01-15", "j")}, "2026-01-15", "2"},
		{"disputed by two, settled once", []Record{dispute("2026-01-15", "j"), dispute("2026-01-16", "j"), settlement("2026-01-17", "j", false)}, "2026-01-17", "3"},
		{"upheld, and not the second time", []Record{dispute("2026-01-15", "j"), settlement("2026-01-16", "j", true), dispute("2026-01-17", "j"), settlement("2026-01-18", "j", false)}, "2026-01-18", "2"},
		{"a dispute of nothing", []Record{dispute("2026-01-15", "nothing")}, "2026-01-15", "3"},
		{"the dispute withdrawn", []Record{dispute("2026-01-15", "j", id("d")), correction("2026-01-16", "d", "null")}, "2026-01-16", "3"},
		{"the settlement corrected", []Record{dispute("2026-01-15", "j"), {Type: "settlement", ID: "s", Disputes: "j", Date: "2026-01-16", Upheld: true},
			correction("2026-01-17", "s", `{"type":"settlement","disputes":"j","date":"2026-01-16","upheld":false}`)}, "2026-01-17", "3"},
		{"a corrected record disputed", []Record{correction("2026-01-15", "j", other), dispute("2026-01-16", "j")}, "2026-01-16", "2"},
		{"a correction disputed", []Record{correction("2026-01-15", "j", elsewhere, id("c")), dispute("2026-01-16", "c")}, "2026-01-16", "2"},
		{"the dispute of a correction upheld", []Record{correction("2026-01-15", "j", elsewhere, id("c")), dispute("2026-01-16", "c"), settlement("2026-01-17", "c", true)}, "2026-01-17", "3"},
		{"a disputed critical error", []Record{bleed("2026-01-13", "sam", id("x"), errorAt("bleeding/cut")), dispute("2026-01-14", "x")}, "2026-01-14", "3"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			evidence := append([]Record{bleed("2026-01-05", "sam", id("1")), bleed("2026-01-08", "toni", id("2")), j}, row.more...)
			v := judgeSample(t, evidence, row.asOf)
			if got := gateOf(t, v, "jobs").Args["have"]; got != row.jobs {
				t.Errorf("got %s watched jobs, want %s", got, row.jobs)
			}
		})
	}
}

// A disputed critical error is no evidence while it is disputed, but it is named.
func TestDisputedCriticalErrorIsNamed(t *testing.T) {
	evidence := all(bleed("2026-01-13", "sam", id("x"), errorAt("bleeding/cut")), dispute("2026-01-14", "x"))
	v := judgeSample(t, evidence, "2026-01-14")
	if !gateOf(t, v, "critical_error").OK {
		t.Error("a disputed record still counts")
	}
	if codes(v.Notes.Warnings) != "disputed" || v.Notes.Warnings[0].Args["record"] != "x" {
		t.Errorf("warnings: %v", v.Notes.Warnings)
	}
	settled := judgeSample(t, append(evidence, settlement("2026-01-15", "x", false)), "2026-01-15")
	if gateOf(t, settled, "critical_error").OK || len(settled.Notes.Warnings) != 0 {
		t.Errorf("settled: %v, warnings %v", settled.Gates, settled.Notes.Warnings)
	}
}

// Leave can be corrected like anything else, and is seen from its first day on.
func TestLeave(t *testing.T) {
	away := leave("2026-01-20", "2026-01-29")
	away.ID = "l"
	for _, row := range []struct {
		name string
		more []Record
		days string
	}{
		{"counted out", []Record{away}, "21"},
		{"shortened", []Record{away, correction("2026-01-25", "l", `{"type":"leave","apprentice":"ana","from":"2026-01-20","to":"2026-01-24"}`)}, "26"},
		{"withdrawn", []Record{away, correction("2026-01-25", "l", "null")}, "31"},
		{"another's", []Record{{Type: "leave", Apprentice: "bo", From: "2026-01-20", To: "2026-01-29"}}, "31"},
		{"over the edges", []Record{leave("2026-01-01", "2026-01-15"), leave("2026-02-10", "2026-03-01")}, "25"},
	} {
		v := judgeSample(t, append(threeClean(), row.more...), "2026-02-12")
		if got := gateOf(t, v, "recency").Args["days"]; got != row.days {
			t.Errorf("%s: %s days idle, want %s", row.name, got, row.days)
		}
	}
}
