package readiness

import (
	"bytes"
	"encoding/json"
	"fmt"
	"testing"
)

// twoHundred is one apprentice's evidence: 200 watched jobs of a task with twelve steps, half of them critical.
func twoHundred() (*Catalogue, []Record) {
	c := &Catalogue{Tasks: []CatalogueTask{{Task: "bleed"}}}
	for i := range 12 {
		c.Tasks[0].Steps = append(c.Tasks[0].Steps, CatalogueStep{Step: fmt.Sprintf("bleeding/step-%d", i), Critical: i%2 == 0})
	}
	var evidence []Record
	for i := range 200 {
		r := Record{ID: fmt.Sprintf("0190-%08d", i), Type: "job", Apprentice: "ana", Task: "bleed", Date: (firstDay + day(i*2)).String(),
			Supervisor: fmt.Sprintf("s%d", i%5), Layout: fmt.Sprintf("l%d", i%3)}
		for j := range 12 {
			r.Steps = append(r.Steps, StepResult{Step: fmt.Sprintf("bleeding/step-%d@RR", j), Result: "unaided", CriticalError: i == 3 && j == 0})
		}
		evidence = append(evidence, r)
	}
	return c, evidence
}

func BenchmarkAssessOne200Jobs(b *testing.B) {
	c, evidence := twoHundred()
	policy, parameters, asOf := DefaultPolicy(), DefaultParameters(), (firstDay + 401).String()
	for b.Loop() {
		AssessOne(c, evidence, policy, parameters, "ana", "bleed", asOf, Options{})
	}
}

func BenchmarkAssessOne200JobsExplained(b *testing.B) {
	c, evidence := twoHundred()
	policy, parameters, asOf := DefaultPolicy(), DefaultParameters(), (firstDay + 401).String()
	for b.Loop() {
		v := AssessOne(c, evidence, policy, parameters, "ana", "bleed", asOf, Options{Explain: true})
		v.JSON(true)
	}
}

// One more entry for somebody with 200 jobs, after all that came before was judged already, as a server does.
func BenchmarkOneNewEntry200Jobs(b *testing.B) {
	c, evidence := twoHundred()
	a := NewAssessor(c, DefaultPolicy(), DefaultParameters(), Options{})
	for i := 0; b.Loop(); i++ {
		n := 100 + i%100
		a.AssessOne(evidence[:n+1], "ana", "bleed", evidence[n].Date)
	}
}

func BenchmarkReadEvidence200Jobs(b *testing.B) {
	_, evidence := twoHundred()
	var lines bytes.Buffer
	for _, r := range evidence {
		line, err := json.Marshal(r)
		if err != nil {
			b.Fatal(err)
		}
		lines.Write(append(line, '\n'))
	}
	b.SetBytes(int64(lines.Len()))
	for b.Loop() {
		if _, faults := ReadEvidence(bytes.NewReader(lines.Bytes())); len(faults) > 0 {
			b.Fatal(faults)
		}
	}
}

// A cohort: 500 apprentices, 20 jobs each.
func BenchmarkAssessCohort(b *testing.B) {
	c, one := twoHundred()
	var evidence []Record
	for a := range 500 {
		for _, r := range one[:20] {
			r.ID, r.Apprentice = fmt.Sprintf("%d-%s", a, r.ID), fmt.Sprintf("a%d", a)
			evidence = append(evidence, r)
		}
	}
	for b.Loop() {
		Assess(c, evidence, DefaultPolicy(), DefaultParameters(), (firstDay + 60).String(), Options{})
	}
}
