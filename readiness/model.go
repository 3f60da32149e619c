package readiness

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// event is one piece of evidence about how an apprentice works at a task, without names.
type event struct {
	on         day
	kind       eventKind
	difficulty string  // routine, usual, awkward
	pattern    string  // of a job: one letter for each step of the task, see [taskModel.pattern]
	severity   float64 // of the supervisor
	se         float64
	unseen     float64
	watched    bool
	supervisor string // who watched; the judge asks only what is known of them
}

type eventKind byte

const (
	jobEvent    eventKind = 'j' // a watched job without a critical error
	errorEvent  eventKind = 'e' // a critical error, an unsafe spot check, a return of our work
	soundEvent  eventKind = 's' // a sound spot check
	flawedEvent eventKind = 'f' // a spot check with a flaw
)

// Letters of a pattern.
const (
	notSeen = '-'
	unaided = 'u'
	ticked  = 'b' // unaided, in bulk
	helped  = 'h' // prompted or taken over
)

// evidence is what the model takes from one apprentice's history of one task.
type evidence struct {
	events       []event
	cleans       []day // of clean watched jobs, sorted
	unclean      []day // of the other watched jobs, sorted
	practice     []day // of everything that trains: watched jobs without a critical error, unwatched jobs; sorted
	attempts     []day // practice, and watched jobs with a critical error: they teach, too, but the judge does not count them (see "Why the properties hold")
	right, wrong int   // assessed answers
}

// model is the parameters made ready for use. It keeps what it has worked out; one goroutine uses one model.
type model struct {
	Parameters
	ability, general, knowledge *lattice
	supervisors                 map[string]SupervisorValue
	ease, difficulty            map[string]float64
	generalPrior                []float64
	learners                    []learner
	answered                    map[[2]int][]float64
	knows                       *kernel // from ability to knowledge
	catchUp, catchStep, fade    []float64
	early                       []float64 // what was missing, to the judge, after so many practices
	curves                      map[curve][]float64
}

// curve is softplus(at − slope × x).
type curve struct{ at, slope float64 }

// soft is a curve at the points of the lattice of abilities.
func (m *model) soft(c curve) []float64 {
	of := m.curves[c]
	if of == nil {
		of = make([]float64, len(m.ability.points))
		for i, x := range m.ability.points {
			of[i] = softplus(c.at - float64(c.slope*x))
		}
		m.curves[c] = of
	}
	return of
}

// maxLater is how many later clean jobs are told apart; more count as this many.
const maxLater = 60

func newModel(p Parameters) *model { return newModelOn(p, abilityStep) }

func newModelOn(p Parameters, step float64) *model {
	m := &model{
		Parameters: p,
		ability:    newLattice(abilityFrom, abilityTo, step),
		general:    newLattice(generalFrom, generalTo, min(generalStep, float64(2*step))),
		knowledge:  newLattice(knowledgeFrom, knowledgeTo, min(knowledgeStep, float64(2*step))),
		answered:   map[[2]int][]float64{}, supervisors: map[string]SupervisorValue{},
		ease: map[string]float64{}, difficulty: map[string]float64{}, curves: map[curve][]float64{},
	}
	for _, s := range p.Supervisors {
		m.supervisors[s.Supervisor] = s
	}
	for _, t := range p.Tasks {
		m.ease[t.Task] = t.Ease
	}
	for _, s := range p.Steps {
		m.difficulty[s.Step] = s.Difficulty
	}
	pop := &m.Population
	m.learners = learners(pop)
	m.generalPrior = newKernel(newLattice(0, 0, 1), m.general, 0, 1, pop.GeneralSD).mix([]float64{1}, len(m.general.points))
	shift := pop.KnowledgeMean - float64(pop.KnowledgeSlope*pop.Ability)
	m.knows = newKernel(m.ability, m.knowledge, shift, pop.KnowledgeSlope, pop.KnowledgeSD)
	m.catchUp, m.catchStep, m.fade = make([]float64, maxLater+1), make([]float64, maxLater+1), make([]float64, maxLater+1)
	m.early = make([]float64, maxLater+1)
	for _, l := range m.learners {
		for i, gained := range l.gained {
			m.early[i] += float64(float64(pop.Early*l.weight) * (l.deficit - gained))
		}
	}
	left, force, step := 1.0, 1.0, 1.0
	for i := range m.fade {
		m.catchUp[i], m.catchStep[i], m.fade[i] = float64(pop.CatchUp*(1-float64((1-pop.CatchBase)*left))), step, force
		left, step, force = float64(left*pop.CatchRate), float64(step*pop.CatchStep), float64(force*pop.Fade)
	}
	return m
}

// taskModel is the model of one task.
type taskModel struct {
	*model
	facts    *taskFacts
	index    map[string]int // of steps
	critical []bool         // by step; one more at the end for a task that has no critical step
	harder   []float64      // by step
	count    float64        // of critical steps
	places   float64        // at how many of them, so to speak, an error is decided by itself
	safe     []term         // of the chance of a job without a critical error
	prior    *kernel        // from the general part to ability
	chance   []float64      // of a job without a critical error, by ability, for the policy's mix of jobs
	jobs     map[jobKey][]float64
	worths   map[string]float64    // by pattern
	perfects map[float64][]float64 // by how hard the job was

	perfection *perfection // nil: not yet made
}

// jobKey is all that the likelihood of one event depends on.
type jobKey struct {
	kind                 eventKind
	difficulty, pattern  string
	severity, se, unseen float64
	later                int // clean jobs on later days
	since                int // practice on later days
	earlier              int // jobs on earlier days that were not clean
}

func (m *model) task(f *taskFacts, mix map[string]float64) *taskModel {
	t := &taskModel{model: m, facts: f, index: map[string]int{}, jobs: map[jobKey][]float64{},
		worths: map[string]float64{}, perfects: map[float64][]float64{}}
	for i, s := range f.Steps {
		t.index[s.Step] = i
		t.critical = append(t.critical, s.Critical)
		t.harder = append(t.harder, m.difficulty[s.Step])
	}
	if len(f.need) == 0 {
		t.critical, t.harder = append(t.critical, true), append(t.harder, 0)
	}
	for _, c := range t.critical {
		if c {
			t.count++
		}
	}
	t.places = exp(float64(m.Population.Places * log(t.count)))
	for i, c := range t.critical {
		if c {
			t.safe = addTerm(t.safe, t.withoutError(i))
		}
	}
	t.prior = newKernel(m.general, m.ability, m.Population.Ability+m.ease[f.Task], 1, m.Population.TaskSD)
	t.chance = make([]float64, len(m.ability.points))
	for _, d := range []string{"routine", "usual", "awkward"} {
		at := make([]float64, len(m.ability.points))
		for i, x := range m.ability.points {
			at[i] = exp(t.logSafe(x - m.hardness(d)))
		}
		at = m.shaken(at, 0)
		for i := range at {
			t.chance[i] += float64(mix[d] * m.Population.chanceInLine(at[i]))
		}
	}
	return t
}

// withoutError is the chance of a critical step without a critical error, by ability: the odds of an error in the job are about
// e^−z where errors are rare, whatever the number of critical steps and of places.
func (t *taskModel) withoutError(step int) term {
	harder := 0.0
	if step < len(t.harder) {
		harder = t.harder[step]
	}
	return term{weight: t.places / t.count, at: harder - log(t.places), slope: 1}
}

func (m *model) hardness(difficulty string) float64 {
	switch difficulty {
	case "routine":
		return m.Population.Routine
	case "awkward":
		return m.Population.Awkward
	}
	return 0
}

// softplus is log(1 + e^x).
func softplus(x float64) float64 {
	if x > 0 {
		return x + log(1+exp(-x))
	}
	return log(1 + exp(x))
}

// logSafe is the logarithm of the chance of a job without a critical error at ability z, all shocks known: at each of
// n critical steps the odds of an error are e^−(z − harder) ÷ n.
func (t *taskModel) logSafe(z float64) float64 {
	sum := 0.0
	for _, s := range t.safe {
		sum -= float64(s.weight * softplus(s.at-z))
	}
	return sum
}

// pattern writes a job's steps as letters, by the task's steps. A step repeated at several wheels is one step, and counts as what
// was worst. A task without critical steps has one more, the job as a whole.
func (t *taskModel) pattern(job *Record) string {
	rank := map[byte]int{notSeen: 0, unaided: 1, ticked: 2, helped: 3}
	b := make([]byte, len(t.critical))
	for i := range b {
		b[i] = notSeen
	}
	for _, s := range job.Steps {
		step, known := t.facts.stepOf(s.Step)
		if !known {
			continue
		}
		now := byte(notSeen)
		switch {
		case s.Result == "unaided" && s.Bulk:
			now = ticked
		case s.Result == "unaided":
			now = unaided
		case s.Result == "prompted" || s.Result == "taken_over":
			now = helped
		}
		if i := t.index[step]; rank[now] > rank[b[i]] {
			b[i] = now
		}
	}
	if len(t.facts.need) == 0 && countsAsWatched(job) {
		b[len(b)-1] = unaided
	}
	if job.NearMiss || job.Outcome == "stopped_by_supervisor" {
		b = append(b, helped) // beyond the task's steps: as a critical step at which help was needed
	}
	return string(b)
}

// gatherEvidence takes from a history what the model rests on. The order of the result does not depend on names.
func (t *taskModel) gatherEvidence(h *history) *evidence {
	e := &evidence{right: h.right, wrong: h.wrong}
	for _, job := range h.jobs {
		ev := t.watched(day(0), job.Supervisor)
		ev.on, ev.difficulty = toDay(job.Date), cmp.Or(job.Difficulty, "usual")
		if hasCriticalError(job) {
			ev.kind = errorEvent
			e.attempts = append(e.attempts, ev.on)
		} else {
			ev.pattern = t.pattern(job)
			for _, o := range job.Oral {
				if o.Satisfactory {
					e.right++
				} else {
					e.wrong++
				}
			}
			if countsAsWatched(job) {
				e.practice = append(e.practice, ev.on)
			}
		}
		if t.facts.clean(job) {
			e.cleans = append(e.cleans, ev.on)
		} else {
			e.unclean = append(e.unclean, ev.on)
		}
		e.events = append(e.events, ev)
	}
	for _, r := range h.unwatched {
		e.practice = append(e.practice, toDay(r.Date))
	}
	for _, r := range h.spotChecks {
		kind := map[string]eventKind{"sound": soundEvent, "flaw": flawedEvent, "unsafe": errorEvent}[r.Finding]
		e.events = append(e.events, event{on: toDay(r.Date), kind: kind, difficulty: "usual"})
	}
	for _, r := range h.returns {
		if r.Finding == "our_work" {
			e.events = append(e.events, event{on: toDay(r.Date), kind: errorEvent, difficulty: "usual"})
		}
	}
	slices.SortFunc(e.events, compareEvents)
	slices.Sort(e.cleans)
	slices.Sort(e.unclean)
	slices.Sort(e.practice)
	e.attempts = append(e.attempts, e.practice...)
	slices.Sort(e.attempts)
	return e
}

// watched is a job watched by a supervisor, so far clean.
func (m *model) watched(on day, supervisor string) event {
	s, known := m.supervisors[supervisor]
	if !known {
		s = SupervisorValue{SE: m.Population.SeveritySD, Unseen: m.Population.Unseen}
	}
	return event{on: on, kind: jobEvent, difficulty: "usual", severity: s.Severity, se: s.SE, unseen: s.Unseen, watched: true, supervisor: supervisor}
}

func compareEvents(a, b event) int {
	return cmp.Or(cmp.Compare(a.on, b.on), cmp.Compare(a.kind, b.kind), cmp.Compare(a.difficulty, b.difficulty), cmp.Compare(a.pattern, b.pattern),
		cmp.Compare(a.severity, b.severity), cmp.Compare(a.se, b.se), cmp.Compare(a.unseen, b.unseen))
}

// cleanJob is a job as the shortest way supposes it: every step done unaided, watched by somebody not known yet.
func (t *taskModel) cleanJob(on day) event {
	ev := t.watched(on, "")
	ev.pattern = t.perfect()
	return ev
}

// with is the evidence after one more clean job, after all the others.
func (e *evidence) with(clean event) *evidence {
	return &evidence{events: append(slices.Clip(e.events), clean), cleans: append(slices.Clip(e.cleans), clean.on), unclean: e.unclean,
		practice: append(slices.Clip(e.practice), clean.on), attempts: append(slices.Clip(e.attempts), clean.on), right: e.right, wrong: e.wrong}
}

// key of an event, in the light of the clean jobs of later days.
func (e *evidence) key(ev event) jobKey {
	i, _ := slices.BinarySearch(e.cleans, ev.on+1)
	j, _ := slices.BinarySearch(e.practice, ev.on+1)
	earlier, _ := slices.BinarySearch(e.unclean, ev.on)
	return jobKey{kind: ev.kind, difficulty: ev.difficulty, pattern: ev.pattern, severity: ev.severity, se: ev.se, unseen: ev.unseen,
		later: min(len(e.cleans)-i, maxLater), since: min(len(e.practice)-j, maxLater), earlier: min(earlier, maxLater)}
}

// likelihood of all that is known of a task, by ability; its largest value is 1.
func (t *taskModel) likelihood(e *evidence) []float64 {
	ahead := make([]float64, len(t.ability.points))
	t.addFeats(ahead, e)
	top := slices.Max(ahead)
	all := slices.Clone(t.answers(e.right, e.wrong))
	for i, x := range ahead {
		ahead[i] = exp(x - top)
	}
	times(all, ahead)
	day := t.ability.spread(t.Population.DaySD)
	for i := 0; i < len(e.events); {
		j := i + 1
		for j < len(e.events) && e.events[j].on == e.events[i].on {
			j++
		}
		var of []float64 // of the day, feats apart
		for _, ev := range e.events[i:j] {
			if ev.kind == jobEvent && strings.IndexByte(ev.pattern, helped) < 0 {
				continue
			}
			job := t.job(e.key(ev))
			if of == nil {
				of = slices.Clone(job)
			} else {
				times(of, job)
			}
		}
		if of != nil {
			times(all, day.over(of))
		}
		i = j
	}
	return all
}

// answers is the likelihood of so many right and wrong answers, by ability at the task.
func (m *model) answers(right, wrong int) []float64 {
	key := [2]int{right, wrong}
	of := m.answered[key]
	if of != nil {
		return of
	}
	if right == 0 && wrong == 0 {
		of = ones(len(m.ability.points))
	} else {
		known := make([]float64, len(m.knowledge.points))
		top := math.Inf(-1)
		for i, x := range m.knowledge.points {
			known[i] = -float64(float64(right)*softplus(-x)) - float64(float64(wrong)*softplus(x))
			top = max(top, known[i])
		}
		for i := range known {
			known[i] = exp(known[i] - top)
		}
		of = m.knows.over(known)
	}
	m.answered[key] = of
	return of
}

// job is the likelihood of one event by the day's ability: the shock common to all its steps is averaged over.
//
// Of a watched job this is what speaks against only; what speaks for the apprentice stands with that of the other jobs (clean.go). A
// critical error drowns whatever else the job showed. What speaks against fades with each clean job of a later day.
func (t *taskModel) job(k jobKey) []float64 {
	of := t.jobs[k]
	if of == nil {
		ahead, against := t.logs(k, float64(t.catchUp[k.since]*t.catchStep[k.earlier])+t.hardness(k.difficulty)+k.severity)
		force := t.fade[k.later]
		if k.kind == errorEvent {
			force = float64(force * t.Population.Error)
		}
		of = make([]float64, len(ahead))
		for i := range of {
			of[i] = exp(float64(force * against[i]))
			if k.kind == soundEvent {
				of[i] = exp(float64(t.Population.SpotCheck * ahead[i]))
			}
		}
		of = t.shock(k.se).over(of)
		t.jobs[k] = of
	}
	return of
}

// shock is what all steps of one job have in common: halo, and what is not known of the supervisor.
func (m *model) shock(se float64) *kernel {
	return m.ability.spread(hypotenuse(m.Population.HaloSD, se))
}

// tailSpread is how many times as wide the shock is of those jobs that are not like others.
const tailSpread = 3

// shaken averages a chance over the shocks of job and day, the rare large ones included: for chances as they are. The judge's
// likelihoods keep to the normal part (see [taskModel.job]).
func (m *model) shaken(of []float64, se float64) []float64 {
	pop := &m.Population
	day := m.ability.spread(pop.DaySD)
	out := day.over(m.shock(se).over(of))
	if pop.Tail > 0 {
		wide := m.ability.spread(math.Sqrt(square(float64(tailSpread*pop.HaloSD)) + square(se))).over(of)
		wide = day.over(wide)
		for i, x := range wide {
			out[i] += float64(pop.Tail * (x - out[i]))
		}
	}
	return out
}

// term is what steps of one kind and difficulty add to the logarithm of a likelihood: −weight × softplus(at − slope × z),
// to what speaks for the apprentice or to what speaks against.
type term struct {
	against           bool
	weight, at, slope float64
}

// addTerm joins what differs in weight only.
func addTerm(all []term, s term) []term {
	for i := range all {
		if all[i].against == s.against && all[i].at == s.at && all[i].slope == s.slope {
			all[i].weight += s.weight
			return all
		}
	}
	return append(all, s)
}

// terms of a job's pattern.
func (t *taskModel) terms(k jobKey) []term {
	var all []term
	add := func(against bool, weight, at, slope float64) { all = addTerm(all, term{against, weight, at, slope}) }
	pop := &t.Population
	if k.kind == flawedEvent {
		add(true, pop.SpotCheck, pop.HelpCritical, -pop.HelpSlope)
	}
	for i := range len(k.pattern) {
		critical, harder := true, 0.0
		if i < len(t.critical) {
			critical, harder = t.critical[i], t.harder[i]
		}
		ease := pop.HelpOrdinary
		if critical {
			ease = pop.HelpCritical
		}
		ease -= float64(pop.HelpSlope * harder)
		switch c := k.pattern[i]; c {
		case unaided, ticked:
			weight := 1.0
			if c == ticked {
				weight = pop.Bulk
			}
			add(false, weight, -ease, pop.HelpSlope)
			if critical {
				s := t.withoutError(i)
				add(false, float64(weight*s.weight), s.at, 1)
			}
		case helped:
			add(true, 1, ease, -pop.HelpSlope)
		}
	}
	return all
}

// logs are the logarithms of what speaks for an apprentice, by ability, and of what speaks against, if the job is harder
// than usual by so much, everything taken together.
func (t *taskModel) logs(k jobKey, harder float64) (ahead, against []float64) {
	ahead, against = make([]float64, len(t.ability.points)), make([]float64, len(t.ability.points))
	add := func(to []float64, weight float64, of []float64) {
		for i, x := range of {
			to[i] -= float64(weight * x)
		}
	}
	switch k.kind {
	case errorEvent:
		for _, s := range t.safe {
			add(against, s.weight, t.soft(curve{s.at + harder, 1}))
		}
		for i, x := range against {
			against[i] = log(1 - exp(x))
		}
	case soundEvent:
		for _, s := range t.safe {
			add(ahead, s.weight, t.soft(curve{s.at + harder, 1}))
		}
	default:
		for _, s := range t.terms(k) {
			of := t.soft(curve{s.at + float64(s.slope*harder), s.slope})
			if s.against {
				add(against, s.weight, of)
			} else {
				add(ahead, s.weight, of)
			}
		}
	}
	return ahead, against
}

// estimate is the posterior of the chance, every number rounded to 0.001.
type estimate struct{ mean, low, high, confidence float64 }

// Interval points.
const (
	lowPoint  = 0.05
	highPoint = 0.95
)

// judge works out, from the density of ability in practice and from what is missing for want of it, by way of learning, the chance of the next
// job alone. A density so skewed that its mean lies outside the interval has the interval widened to it.
func (t *taskModel) judge(density, missing []float64, target float64) estimate {
	now := t.now(density, missing)
	confidence := t.sure(now, target)
	now = t.inLine(now)
	mean := 0.0
	for i, w := range now {
		mean += float64(w * t.chance[i])
	}
	low := t.ability.at(t.chance, t.ability.point(now, lowPoint))
	high := t.ability.at(t.chance, t.ability.point(now, highPoint))
	return estimate{mean: thousandth(mean), low: thousandth(min(low, mean)), high: thousandth(max(high, mean)),
		confidence: thousandth(lineUp(&t.Population, confidence, 1-confidence))}
}

// now is the density of ability less what is missing.
func (t *taskModel) now(density, missing []float64) []float64 {
	out := make([]float64, len(density))
	for c, l := range t.learners {
		t.ability.spill(out, density, missing[c], l.weight)
	}
	return out
}

// sure is the chance that the chance is at least the target, not yet brought in line.
func (t *taskModel) sure(now []float64, target float64) float64 {
	needed, ever := t.ability.reach(t.chance, target)
	if !ever {
		return 0
	}
	return t.ability.above(now, needed)
}

// inLine brings a density in line with how right the judge has been when it was so sure. For every ability, the odds that
// somebody's lies above it, c to 1 − c, become e^"sure_shift" × c^"sure_down" to (1 − c)^"sure_up" (beta calibration: Kull, Silva Filho and Flach 2017). That is
// a rising function of c, so whoever stood above another still does, and nothing that raised the estimate lowers it.
func (m *model) inLine(density []float64) []float64 {
	pop := &m.Population
	if pop.SureUp == 1 && pop.SureDown == 1 && pop.SureShift == 0 {
		return density
	}
	below := 0.0
	up := make([]float64, len(density)+1) // mass at and above each point
	for i := len(density) - 1; i >= 0; i-- {
		up[i] = up[i+1] + density[i]
	}
	out := make([]float64, len(density))
	last := 1.0
	for i, d := range density {
		below += d
		next := lineUp(pop, up[i+1], below)
		out[i] = max(0, last-next)
		last = min(last, next)
	}
	return out
}

// lineUp is what a confidence is taken for; c and its complement are given.
func lineUp(p *Population, c, complement float64) float64 {
	if c <= 0 {
		return 0
	}
	if complement <= 0 {
		return 1
	}
	return logistic(p.SureShift + float64(p.SureDown*log(c)) - float64(p.SureUp*log(complement)))
}

// general is the density of the part of ability that an apprentice has at every task, from the likelihoods of tasks.
func (m *model) generalFrom(tasks []*taskModel, likelihoods [][]float64, but int) []float64 {
	density := slices.Clone(m.generalPrior)
	for i, t := range tasks {
		if i != but && likelihoods[i] != nil {
			times(density, t.prior.over(likelihoods[i]))
		}
	}
	normalise(density)
	return density
}

// density of ability at a task: from the general part and what is known of the task itself.
func (t *taskModel) density(general, likelihood []float64) []float64 {
	d := t.prior.mix(general, len(t.ability.points))
	times(d, likelihood)
	normalise(d)
	return d
}

// percent writes a probability as a percentage with at most one decimal.
func percent(x float64) string {
	tenths := int(math.Floor(float64(x*1000) + 0.5))
	if tenths%10 == 0 {
		return decimal(tenths / 10)
	}
	return strconv.Itoa(tenths/10) + "." + strconv.Itoa(tenths%10)
}
