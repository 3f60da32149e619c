package readiness

import (
	"maps"
	"slices"
)

// Assess judges every apprentice of the evidence × every task of the catalogue on one date. Evidence may hold one
// apprentice or many, in any order; records dated after asOf are not seen, and apprentices of whom nothing else is known
// do not appear. Verdicts are sorted by apprentice (bytewise), then by the catalogue's order of tasks. asOf must be a
// date (see [ValidDate]), evidence as [ReadEvidence] returns it.
func Assess(c *Catalogue, evidence []Record, policy Policy, parameters Parameters, asOf string, o Options) []Verdict {
	everybody := resolve(evidence, asOf)
	a := newAssessor(c, policy, parameters, asOf, o)
	verdicts := make([]Verdict, 0, len(everybody)*len(c.Tasks))
	for _, apprentice := range slices.Sorted(maps.Keys(everybody)) {
		p := gather(everybody[apprentice])
		for _, t := range c.Tasks {
			verdicts = append(verdicts, a.judge(p, apprentice, t.Task))
		}
	}
	return verdicts
}

// AssessOne judges one apprentice and one task. Of the evidence only what concerns this apprentice counts, so it costs
// the same whatever the cohort when it is given no more; the verdict is the one that Assess gives. An apprentice of whom
// nothing is known, or a task that the catalogue does not have, is judged, too.
func AssessOne(c *Catalogue, evidence []Record, policy Policy, parameters Parameters, apprentice, task, asOf string, o Options) Verdict {
	p := gather(resolve(evidence, asOf)[apprentice])
	return newAssessor(c, policy, parameters, asOf, o).judge(p, apprentice, task)
}

// ValidDate says whether s is a date YYYY-MM-DD that exists.
func ValidDate(s string) bool { return validDate(s) }

// assessor holds what does not change from one apprentice to the next.
type assessor struct {
	catalogue  *Catalogue
	facts      map[string]*taskFacts
	policy     Policy
	asks       map[string]TaskPolicy
	parameters Parameters
	hash       string
	asOf       string
	today      day
	options    Options
	estimates  map[estimateKey]estimate
}

// estimateKey is all that an estimate depends on, the prior apart.
type estimateKey struct {
	counts counts
	target float64
}

func newAssessor(c *Catalogue, policy Policy, parameters Parameters, asOf string, o Options) *assessor {
	return &assessor{
		catalogue: c, facts: map[string]*taskFacts{}, policy: policy, asks: map[string]TaskPolicy{},
		parameters: parameters, hash: parameters.Hash(), asOf: asOf, today: toDay(asOf), options: o,
		estimates: map[estimateKey]estimate{},
	}
}

func (a *assessor) task(task string) *taskFacts {
	f := a.facts[task]
	if f == nil {
		f = a.catalogue.facts(task)
		a.facts[task] = f
	}
	return f
}

func (a *assessor) estimate(n counts, target float64) estimate {
	key := estimateKey{n, target}
	e, ok := a.estimates[key]
	if !ok {
		e = judge(a.parameters.Prior, n, target)
		a.estimates[key] = e
	}
	return e
}

func (a *assessor) judge(p *person, apprentice, task string) Verdict {
	in := &inputs{facts: a.task(task), all: a.task, policy: a.policy, asks: a.policy.Task(task), person: p, asOf: a.asOf, today: a.today}
	seen := in.observe(a.parameters.Window)
	e := a.estimate(seen, *in.asks.Target)
	gates := judgeGates(in)
	ready := e.confidence >= *in.asks.Confidence
	if a.options.NoGates {
		gates = []Gate{}
	}
	for _, g := range gates {
		ready = ready && g.OK
	}
	d := in.decided()
	v := Verdict{
		Apprentice: apprentice, Task: task, AsOf: a.asOf,
		Probability: e.mean, Low: e.low, High: e.high, Confidence: e.confidence,
		Gates: gates, Ready: ready, Standing: in.standingOf(d, ready), Parameters: a.hash,
	}
	v.Notes = in.notes(d, v.Standing, e.confidence)
	if a.options.Explain {
		v.Reasons = in.reasons(v, seen, d)
		v.Next = a.next(in, v)
	}
	return v
}
