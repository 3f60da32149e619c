package readiness

import (
	"math/rand/v2"
	"slices"
)

// TradeOff is what would come of declaring apprentices ready from a confidence on, by the model's own account.
type TradeOff struct {
	Confidence float64 // from which somebody is declared ready
	Declared   float64 // share of apprentices ever declared
	Wrong      float64 // of the declared: the share whose chance was below the target then
	Held       float64 // of those truly at the target at the end: the share never declared
	Jobs       float64 // mean number of watched jobs until declared, of the declared
}

// The cohort that is imagined: so many apprentices, so many watched jobs each, one a week.
const (
	imagined     = 300
	imaginedJobs = 16
)

// TradeOffConfidences are the confidences for which a trade-off is worked out; the policy's own comes beside them.
var TradeOffConfidences = []float64{0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.98}

// TradeOffs imagines a cohort at one task, as the parameters say apprentices learn and supervisors watch, and says what
// each confidence would lead to. The same inputs give the same numbers: the draws are fixed. The gates are left out.
func TradeOffs(c *Catalogue, policy Policy, parameters Parameters, task string) []TradeOff {
	m := newModel(parameters)
	asks := policy.Task(task)
	t := m.task(c.facts(task), policy.JobMix)
	im := &imagination{taskModel: t, draw: rand.New(rand.NewPCG(1, 2)), mix: policy.JobMix}
	courses := make([]imaginedCourse, imagined)
	for i := range courses {
		courses[i] = im.course(*asks.Target)
	}
	levels := append(slices.Clone(TradeOffConfidences), *asks.Confidence)
	slices.Sort(levels)
	var all []TradeOff
	for _, level := range slices.Compact(levels) {
		all = append(all, tradeOff(courses, level))
	}
	return all
}

// imaginedCourse is what was said and what was true after each job.
type imaginedCourse struct {
	said []float64
	ripe []bool
}

func tradeOff(courses []imaginedCourse, level float64) TradeOff {
	o := TradeOff{Confidence: level}
	declared, wrong, ripe, held, jobs := 0, 0, 0, 0, 0
	for _, c := range courses {
		at := slices.IndexFunc(c.said, func(x float64) bool { return x >= level })
		last := c.ripe[len(c.ripe)-1]
		if last {
			ripe++
		}
		switch {
		case at >= 0:
			declared++
			jobs += at + 1
			if !c.ripe[at] {
				wrong++
			}
		case last:
			held++
		}
	}
	share := func(n, of int) float64 { return roundTo(float64(n)/float64(max(1, of)), 1000) }
	o.Declared, o.Wrong, o.Held = share(declared, len(courses)), share(wrong, declared), share(held, ripe)
	o.Jobs = roundTo(float64(jobs)/float64(max(1, declared)), 10)
	return o
}

// imagination draws apprentices and jobs.
type imagination struct {
	*taskModel
	draw *rand.Rand
	mix  map[string]float64
}

// normal is a draw that is nearly normal, with spread 1: twelve uniform draws, less six. Unlike other ways it gives the same
// bits on every machine.
func (im *imagination) normal() float64 {
	sum := -6.0
	for range 12 {
		sum += im.draw.Float64()
	}
	return sum
}

func (im *imagination) course(target float64) imaginedCourse {
	pop := &im.Population
	u := pop.Ability + im.ease[im.facts.Task] + float64(pop.GeneralSD*im.normal()) + float64(pop.TaskSD*im.normal())
	needed, ever := im.ability.reach(im.chance, target)
	e := &evidence{}
	learned, way := im.memory(1), im.draw.IntN(len(im.learners))
	general := im.generalFrom([]*taskModel{im.taskModel}, [][]float64{nil}, -1)
	var out imaginedCourse
	for i := range imaginedJobs {
		on := day(7 * i)
		im.job(e, u-learned.missing(on)[way], on)
		learned.practise(on)
		density := im.density(general, im.likelihood(e))
		out.said = append(out.said, im.judge(density, im.owed(e.practice, on), target).confidence)
		out.ripe = append(out.ripe, ever && u-learned.missing(on)[way] >= needed)
	}
	return out
}

// job adds a watched job of somebody who has this ability on that day.
func (im *imagination) job(e *evidence, ability float64, on day) {
	pop := &im.Population
	ev := im.watched(on, "")
	x := im.draw.Float64()
	switch {
	case x < im.mix["routine"]:
		ev.difficulty = "routine"
	case x >= 1-im.mix["awkward"]:
		ev.difficulty = "awkward"
	}
	halo := pop.HaloSD
	if im.draw.Float64() < pop.Tail {
		halo = float64(tailSpread * halo)
	}
	z := ability - im.hardness(ev.difficulty) - float64(pop.SeveritySD*im.normal()) +
		float64(halo*im.normal()) + float64(pop.DaySD*im.normal())
	unseen := im.draw.Float64() < pop.Unseen
	pattern, clean := make([]byte, len(im.critical)), true
	for i, critical := range im.critical {
		pattern[i] = unaided
		ease, harder := pop.HelpOrdinary, im.harder[i]
		if critical {
			ease = pop.HelpCritical
			s := im.withoutError(i)
			if im.draw.Float64() > exp(-float64(s.weight*softplus(s.at-z))) && !unseen {
				ev.kind, clean = errorEvent, false
			}
		}
		if im.draw.Float64() < logistic(-float64(pop.HelpSlope*(z-harder))-ease) && !unseen {
			pattern[i] = helped
			clean = clean && !critical
		}
	}
	if ev.kind != errorEvent {
		ev.pattern = string(pattern)
		e.practice = append(e.practice, on)
	}
	e.attempts = append(e.attempts, on)
	if clean {
		e.cleans = append(e.cleans, on)
	} else {
		e.unclean = append(e.unclean, on)
	}
	e.events = append(e.events, ev)
}
