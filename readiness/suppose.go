package readiness

import (
	"slices"
	"strconv"
)

// Supposed is what is supposed to happen next: so many clean watched jobs of a task, one a day from tomorrow.
type Supposed struct {
	Jobs            int  // from 1 to MaxSupposed
	OtherSupervisor bool // each by somebody who has not watched this apprentice at the task yet; else by whoever watched last
	OtherLayout     bool // each on a layout not worked on yet; else on the last one
}

// MaxSupposed is how many jobs may be supposed.
const MaxSupposed = 20

// Suppose is the verdict that [AssessOne] would give after the supposed jobs, on the day of the last. The estimate takes
// them as watched by nobody known: how strict a supervisor is shows in nobody's outlook.
func Suppose(c *Catalogue, evidence []Record, policy Policy, parameters Parameters, apprentice, task, asOf string, s Supposed) Verdict {
	jobs := gather(resolve(evidence, asOf)[apprentice]).task(task).jobs
	last := Record{Supervisor: unlikely(0)}
	if len(jobs) > 0 {
		last.Supervisor, last.Layout = jobs[len(jobs)-1].Supervisor, jobs[len(jobs)-1].Layout
	}
	facts := c.facts(task)
	unknown, named := slices.Clip(evidence), slices.Clip(evidence)
	date := asOf
	for i := range min(max(1, s.Jobs), MaxSupposed) {
		date = (toDay(asOf) + day(i+1)).String()
		job := Record{Type: "job", Apprentice: apprentice, Task: task, Date: date, Supervisor: unlikely(i), Layout: last.Layout}
		if s.OtherLayout {
			job.Layout = unlikely(i)
		}
		for _, step := range facts.Steps {
			job.Steps = append(job.Steps, StepResult{Step: step.Step, Result: "unaided"})
		}
		unknown = append(unknown, job)
		if !s.OtherSupervisor {
			job.Supervisor = last.Supervisor
		}
		named = append(named, job)
	}
	v := AssessOne(c, unknown, policy, parameters, apprentice, task, date, Options{})
	v.Gates = AssessOne(c, named, policy, parameters, apprentice, task, date, Options{}).Gates
	v.Ready = v.Confidence >= *policy.Task(task).Confidence
	for _, g := range v.Gates {
		v.Ready = v.Ready && g.OK
	}
	return v
}

// unlikely is a name that nobody has.
func unlikely(i int) string { return "\x00supposed " + strconv.Itoa(i) }
