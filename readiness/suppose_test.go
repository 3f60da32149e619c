package readiness

import (
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// What is supposed by the shortest way makes ready; a strict supervisor's severity does not show.
func TestSuppose(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), (firstDay + 61).String()
		v := AssessOne(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", "bleed", asOf, Options{Explain: true})
		jobs := 0
		for _, n := range v.Next {
			if n.Code == "watched_jobs" {
				jobs, _ = strconv.Atoi(n.Args["jobs"])
			}
		}
		if jobs == 0 || jobs > MaxSupposed {
			return
		}
		s := Supposed{Jobs: jobs, OtherSupervisor: true, OtherLayout: true}
		after := Suppose(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", "bleed", asOf, s)
		if after.Confidence < propertyPolicy().Confidence {
			t.Fatalf("after %d jobs %s", jobs, after.JSON(false))
		}
		for _, g := range after.Gates {
			if before := v.Gates[gateIndex(g.Gate)]; before.OK && !g.OK {
				t.Fatalf("%s closed by %d clean jobs", g.Gate, jobs)
			}
		}
		strict := known(SupervisorValue{"sam", 2, 0.1, 0}, SupervisorValue{"toni", 2, 0.1, 0}, SupervisorValue{"uma", 2, 0.1, 0})
		same := Suppose(sampleCatalogue(), nil, propertyPolicy(), strict, "ana", "bleed", asOf, Supposed{Jobs: 1})
		if other := Suppose(sampleCatalogue(), nil, propertyPolicy(), DefaultParameters(), "ana", "bleed", asOf, Supposed{Jobs: 1}); same.Confidence != other.Confidence {
			t.Fatalf("severity shows: %s and %s", same.JSON(false), other.JSON(false))
		}
	})
}

func gateIndex(gate string) int {
	for i, g := range GateNames {
		if g == gate {
			return i
		}
	}
	return -1
}
