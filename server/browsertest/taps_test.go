package browsertest

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"brakewright/server/acts/actstest"
)

// twentySteps is a programme whose one lesson has twenty steps: six critical ones, two of them hold points.
func twentySteps() fstest.MapFS {
	var b strings.Builder
	b.WriteString("---\nid: twenty\ntitle: Twenty steps\nlanguage: en\ntasks: [induction]\n---\n# Twenty steps\n\n## Procedure\n")
	for i := 1; i <= 20; i++ {
		mark := ""
		switch i {
		case 5, 10, 12, 14:
			mark = " .critical"
		case 15, 20:
			mark = " .critical .hold"
		}
		fmt.Fprintf(&b, "%d. Do the piece of work number %d. {#s%d%s}\n    - **Why:** It comes next.\n", i, i, i, mark)
		if mark != "" {
			b.WriteString("    - **If skipped:** The car is unsafe.\n")
		}
	}
	return fstest.MapFS{
		"programme.yaml": {Data: []byte("title: Taps\nlanguages: [en]\nunits: si\ntasks:\n  - {id: induction, title: Twenty steps, lessons: [twenty]}\n" +
			"policy:\n  induction: induction\n  tasks:\n    induction: {jobs: 1, supervisors: 1, recency_days: 30, lapse_days: 30}\n")},
		"lessons/twenty.md": {Data: []byte(b.String())},
		"vehicles/" + car + ".md": {Data: []byte("---\nid: " + car + "\ntitle: Bench car\nlanguage: en\nlayout: diagonal\nfeatures: [disc]\n" +
			"wheels: {LF: [front], RF: [front], LR: [rear], RR: [rear]}\n---\n# Bench car\n\n## Figures\n| Key | Quantity | Value | Unit | Limit | Source |\n|---|---|---|---|---|---|\n| pad.minimum | Thinnest pad | 3 | mm | minimum | Training sheet |\n")},
	}
}

// TestTapsOfTwentySteps counts what a supervisor's thumb does for a good job of twenty steps, from the page where jobs wait to
// the signature.
func TestTapsOfTwentySteps(t *testing.T) {
	s := newSiteOf(t, actstest.Config{Files: twentySteps()})
	super := s.Supervisors[0]
	s.askForJobAs(s.Apprentices[0], "induction", car)
	w := s.visitAs(super, phone)
	w.taps = 0
	w.press("Watch this job")
	all := steps(w)
	if len(all) != 20 {
		t.Fatalf("the sheet has %d steps", len(all))
	}
	for _, st := range all {
		switch {
		case st.Hold:
			w.pressIn("#"+st.ID, "Unaided, and accepted")
		case st.Critical:
			w.pressIn("#"+st.ID, "Unaided")
		}
	}
	w.pressAt("#rest")
	w.press("Finished")
	w.says("unaided (6):", "unaided, tapped together (14):")
	w.fill("#passphrase", super.Passphrase)
	w.press("Sign")
	w.says("Signed.")
	t.Logf("a good job of 20 steps, 6 of them single, takes %d taps and one passphrase", w.taps)
	if w.taps != 10 { // watch, six single ones, the rest, the outcome, sign
		t.Errorf("%d taps, want 10", w.taps)
	}
}

// TestATapOutlivesItsSession: a tap after half an hour at the car waits in the browser, and is saved once its own supervisor
// has logged in again.
func TestATapOutlivesItsSession(t *testing.T) {
	s := newSiteOf(t, actstest.Config{Files: twentySteps()})
	super := s.Supervisors[0]
	s.askForJobAs(s.Apprentices[0], "induction", car)
	w := s.visitAs(super, phone)
	w.press("Watch this job")
	step := "#" + steps(w)[4].ID
	s.Clock.Add(31 * time.Minute)
	w.expect("401")
	w.pressIn(step, "Prompted")
	w.at(`/login\?.*next=.*`) // the notice has left the address
	w.says("The tap is kept in this browser")
	w.fill("#login", super.Login)
	w.fill("#password", super.Password)
	w.press("Log in")
	w.at(`/jobs/[0-9a-f-]{36}.*`)
	w.says("1 of 20")
	if got := mustEval[bool](w, fmt.Sprintf(`document.querySelector("%s button[value=prompted]").getAttribute("aria-pressed") === "true"`, step)); !got {
		t.Error("the tap is lost")
	}
}

// TestTargetsOfTheSheet: what a gloved thumb presses on a sheet is at least 48 pixels high and wide.
func TestTargetsOfTheSheet(t *testing.T) {
	s := newSiteOf(t, actstest.Config{Files: twentySteps()})
	s.askForJobAs(s.Apprentices[0], "induction", car)
	w := s.visitAs(s.Supervisors[0], phone)
	w.press("Watch this job")
	small := mustEval[[]string](w, `[...document.querySelectorAll("main button, main summary, main a.button, main select, main .option, main input:not([type=hidden], [type=radio], [type=checkbox])")]
		.filter((e) => e.offsetParent).map((e) => [e, e.getBoundingClientRect()]).filter(([e, r]) => r.height < 47.5 || r.width < 47.5).map(([e, r]) => e.outerHTML.slice(0, 80) + " " + r.width + "×" + r.height)`)
	for _, x := range small {
		t.Errorf("smaller than a glove: %s", x)
	}
}
