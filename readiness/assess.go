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
		k := a.ability(p)
		for _, t := range c.Tasks {
			verdicts = append(verdicts, a.judge(p, k, apprentice, t.Task))
		}
	}
	return verdicts
}

// AssessOne judges one apprentice and one task. Of the evidence only what concerns this apprentice counts, so it costs
// the same whatever the cohort when it is given no more; the verdict is the one that Assess gives. An apprentice of whom
// nothing is known, or a task that the catalogue does not have, is judged, too.
func AssessOne(c *Catalogue, evidence []Record, policy Policy, parameters Parameters, apprentice, task, asOf string, o Options) Verdict {
	p := gather(resolve(evidence, asOf)[apprentice])
	a := newAssessor(c, policy, parameters, asOf, o)
	return a.judge(p, a.ability(p), apprentice, task)
}

// ValidDate says whether s is a date YYYY-MM-DD that exists.
func ValidDate(s string) bool { return validDate(s) }

// assessor holds what does not change from one apprentice to the next.
type assessor struct {
	catalogue *Catalogue
	facts     map[string]*taskFacts
	policy    Policy
	asks      map[string]TaskPolicy
	model     *model
	tasks     []*taskModel // of the catalogue, in its order
	others    map[string]*taskModel
	hash      string
	asOf      string
	today     day
	options   Options
}

func newAssessor(c *Catalogue, policy Policy, parameters Parameters, asOf string, o Options) *assessor {
	a := &assessor{catalogue: c, facts: map[string]*taskFacts{}, policy: policy, asks: map[string]TaskPolicy{},
		model: newModel(parameters), others: map[string]*taskModel{}, hash: parameters.Hash(), options: o}
	for _, t := range c.Tasks {
		a.tasks = append(a.tasks, a.model.task(a.task(t.Task), policy.JobMix))
	}
	a.on(asOf)
	return a
}

// on moves to another date.
func (a *assessor) on(asOf string) { a.asOf, a.today = asOf, toDay(asOf) }

func (a *assessor) task(task string) *taskFacts {
	f := a.facts[task]
	if f == nil {
		f = a.catalogue.facts(task)
		a.facts[task] = f
	}
	return f
}

// ability is what the model knows of one apprentice: for each task of the catalogue the evidence and its likelihood.
type ability struct {
	evidence    []*evidence
	likelihoods [][]float64 // nil where there is no evidence
}

func (a *assessor) ability(p *person) *ability {
	k := &ability{evidence: make([]*evidence, len(a.tasks)), likelihoods: make([][]float64, len(a.tasks))}
	for i, t := range a.tasks {
		h := p.tasks[t.facts.Task]
		if h == nil {
			h = &history{}
		}
		k.evidence[i] = t.gatherEvidence(h)
		if len(k.evidence[i].events) > 0 || h.right+h.wrong > 0 || k.evidence[i].right+k.evidence[i].wrong > 0 {
			k.likelihoods[i] = t.likelihood(k.evidence[i])
		}
	}
	return k
}

// view is one task in the light of all.
type view struct {
	task     *taskModel
	evidence *evidence
	general  []float64 // density of the general part, from the other tasks
	density  []float64 // of ability in practice
}

func (a *assessor) view(p *person, k *ability, task string) *view {
	v := &view{}
	at := slices.IndexFunc(a.tasks, func(t *taskModel) bool { return t.facts.Task == task })
	v.general = a.model.generalFrom(a.tasks, k.likelihoods, at)
	var likelihood []float64
	if at >= 0 {
		v.task, v.evidence, likelihood = a.tasks[at], k.evidence[at], k.likelihoods[at]
	} else {
		v.task = a.others[task]
		if v.task == nil {
			v.task = a.model.task(a.task(task), a.policy.JobMix)
			a.others[task] = v.task
		}
		v.evidence = v.task.gatherEvidence(p.task(task))
	}
	if likelihood == nil {
		likelihood = v.task.likelihood(v.evidence)
	}
	v.density = v.task.density(v.general, likelihood)
	return v
}

func (v *view) estimate(target float64, today day) estimate {
	return v.task.judge(v.density, v.task.owed(v.evidence.practice, today), target)
}

// after is the same after one more clean job on a day.
func (v *view) after(on day) *view {
	more := v.evidence.with(v.task.cleanJob(on))
	return &view{task: v.task, evidence: more, general: v.general, density: v.task.density(v.general, v.task.likelihood(more))}
}

func (a *assessor) judge(p *person, k *ability, apprentice, task string) Verdict {
	in := a.inputs(p, task)
	view := a.view(p, k, task)
	e := view.estimate(*in.asks.Target, a.today)
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
		a.explain(&v, in, d, view, e)
	}
	return v
}

func (a *assessor) inputs(p *person, task string) *inputs {
	return &inputs{facts: a.task(task), all: a.task, listed: a.catalogue.Supervisors, policy: a.policy, asks: a.policy.Task(task), person: p, asOf: a.asOf, today: a.today}
}
