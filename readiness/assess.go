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
	return NewAssessor(c, policy, parameters, o).Assess(evidence, asOf)
}

// AssessOne judges one apprentice and one task. Of the evidence only what concerns this apprentice counts, so it costs
// the same whatever the cohort when it is given no more; the verdict is the one that Assess gives. An apprentice of whom
// nothing is known, or a task that the catalogue does not have, is judged, too.
func AssessOne(c *Catalogue, evidence []Record, policy Policy, parameters Parameters, apprentice, task, asOf string, o Options) Verdict {
	return NewAssessor(c, policy, parameters, o).AssessOne(evidence, apprentice, task, asOf)
}

// ValidDate says whether s is a date YYYY-MM-DD that exists.
func ValidDate(s string) bool { return validDate(s) }

// Assessor judges again and again on the same grounds. It gives the verdicts that [Assess] and [AssessOne] give, and remembers
// what it has worked out of them, so that one more entry costs a fraction of the first. One goroutine at a time uses it.
type Assessor struct {
	catalogue  *Catalogue
	policy     Policy
	parameters Parameters
	options    Options
	hash       string

	facts  map[string]*taskFacts
	model  *model
	tasks  []*taskModel // of the catalogue, in its order
	others map[string]*taskModel
	asOf   string
	today  day
}

// NewAssessor is an assessor on these grounds, which must not change while it is in use.
func NewAssessor(c *Catalogue, policy Policy, parameters Parameters, o Options) *Assessor {
	a := &Assessor{catalogue: c, policy: policy, parameters: parameters, options: o, hash: parameters.Hash()}
	a.forget()
	return a
}

// Assess is [Assess] on the assessor's grounds.
func (a *Assessor) Assess(evidence []Record, asOf string) []Verdict {
	everybody := resolve(evidence, asOf)
	a.trim()
	a.on(asOf)
	verdicts := make([]Verdict, 0, len(everybody)*len(a.catalogue.Tasks))
	for _, apprentice := range slices.Sorted(maps.Keys(everybody)) {
		p := gather(everybody[apprentice])
		k := a.ability(p)
		for _, t := range a.catalogue.Tasks {
			verdicts = append(verdicts, a.judge(p, k, apprentice, t.Task))
		}
	}
	return verdicts
}

// AssessOne is [AssessOne] on the assessor's grounds.
func (a *Assessor) AssessOne(evidence []Record, apprentice, task, asOf string) Verdict {
	p := gather(resolve(evidence, asOf)[apprentice])
	a.trim()
	a.on(asOf)
	return a.judge(p, a.ability(p), apprentice, task)
}

// on moves to another date.
func (a *Assessor) on(asOf string) { a.asOf, a.today = asOf, toDay(asOf) }

// remembered is how much is kept from one call to the next: likelihoods of so many kinds of jobs, each half a kilobyte.
const remembered = 10_000

// trim begins anew where too much is remembered.
func (a *Assessor) trim() {
	n := len(a.model.answered)
	for _, t := range a.tasks {
		n += len(t.jobs) + len(t.worths) + len(t.perfects)
	}
	if n > remembered || len(a.others) > len(a.tasks) {
		a.forget()
	}
}

// forget begins anew.
func (a *Assessor) forget() {
	a.facts, a.others, a.model, a.tasks = map[string]*taskFacts{}, map[string]*taskModel{}, newModel(a.parameters), nil
	for _, t := range a.catalogue.Tasks {
		a.tasks = append(a.tasks, a.model.task(a.task(t.Task), a.policy.JobMix))
	}
}

func (a *Assessor) task(task string) *taskFacts {
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

func (a *Assessor) ability(p *person) *ability {
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

func (a *Assessor) view(p *person, k *ability, task string) *view {
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

func (a *Assessor) judge(p *person, k *ability, apprentice, task string) Verdict {
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

func (a *Assessor) inputs(p *person, task string) *inputs {
	return &inputs{facts: a.task(task), all: a.task, listed: a.catalogue.Supervisors, policy: a.policy, asks: a.policy.Task(task), person: p, asOf: a.asOf, today: a.today}
}
