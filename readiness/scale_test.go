package readiness

import "testing"

// A cohort of 200 apprentices × 6 tasks, about 10,000 watched jobs, on 18 dates, severities estimated for each: a tenth of what
// a large programme has.
func BenchmarkCohortOn18Dates(b *testing.B) {
	s := simulate(simOptions{apprentices: 200, tasks: 6, supervisors: 25, meanJobs: 5, seed: 3, world: 1})
	for b.Loop() {
		for month := 1; month <= 18; month++ {
			asOf := (firstDay + day(28*month)).String()
			p := EstimateSupervisors(s.catalogue, s.records, DefaultParameters(), asOf)
			Assess(s.catalogue, s.records, DefaultPolicy(), p, asOf, Options{})
		}
	}
}
