package readiness

import "slices"

// foreseen is a watched job as it was foreseen: the density of how far ability would exceed what it asked, from what was known
// before its day, and whether there was a critical error.
type foreseen struct {
	density []float64
	chance  []float64 // of no critical error, as the model has it, at the points of the density
	seen    float64   // chance that somebody looked
	failed  bool
}

// outcomePeople is of how many apprentices the outcomes are taken, at most; outcomeUnseen from which chance on of having been
// signed unseen a supervisor's records say nothing about outcomes.
const (
	outcomePeople = 2000
	outcomeUnseen = 0.3
)

// outcomesOf foresees every watched job from what was known before its day, one step ahead (Dawid 1984).
func outcomesOf(c *Catalogue, policy Policy, people [][]*evidence, p Parameters) []foreseen {
	parts := make([][]foreseen, workers)
	shared(func(w int) {
		f := newTeacher(c, policy, p)
		from, to := len(people)*w/workers, len(people)*(w+1)/workers
		for _, all := range people[from:to] {
			parts[w] = append(parts[w], f.outcomes(all)...)
		}
	})
	return slices.Concat(parts...)
}

func (f *teacher) outcomes(all []*evidence) []foreseen {
	var days []day
	for _, e := range all {
		for _, ev := range e.events {
			days = append(days, ev.on)
		}
	}
	slices.Sort(days)
	var out []foreseen
	for _, on := range slices.Compact(days) {
		before := make([]*evidence, len(all))
		for i, e := range all {
			before[i] = e.before(on)
		}
		var known []hindsight
		for i, e := range all {
			t := f.tasks[i]
			for j := len(before[i].events); j < len(e.events) && e.events[j].on == on; j++ {
				ev := &e.events[j]
				if !ev.watched || ev.unseen > outcomeUnseen {
					continue
				}
				if known == nil {
					known = f.densities(before)
				}
				o := foreseen{density: make([]float64, len(t.ability.points)), chance: f.safe(i, ev.se), seen: 1 - ev.unseen, failed: ev.kind == errorEvent}
				missing := f.model.deficits(before[i].attempts, on)
				harder := t.hardness(ev.difficulty) + ev.severity
				for c, of := range known[i] {
					t.ability.spill(o.density, of, missing[c]+harder, 1)
				}
				out = append(out, o)
			}
		}
	}
	return out
}

// safe is the chance of no critical error by how far ability exceeds what a job asks, not yet brought in line.
func (f *teacher) safe(task int, se float64) []float64 {
	t := f.tasks[task]
	key := recordKey{kind: soundEvent, pattern: "safe", se: se}
	of := f.records[task][key]
	if of == nil {
		of = make([]float64, len(t.ability.points))
		for i, x := range t.ability.points {
			of[i] = exp(t.logSafe(x))
		}
		of = t.shaken(of, se)
		f.records[task][key] = of
	}
	return of
}

// learnOutcomes brings the chance of a job without a critical error in line with how often there was one: "chance_down",
// "chance_up" and "chance_shift" (see [Population.chanceInLine]) by the likelihood of the outcomes foreseen, by scoring.
func learnOutcomes(p *Population, all []foreseen) {
	logs := map[*float64][2][]float64{} // of the chances, by where they are kept
	for i := range all {
		o := &all[i]
		if _, known := logs[&o.chance[0]]; known {
			continue
		}
		var l [2][]float64
		for _, c := range o.chance {
			c = min(max(c, 1e-9), 1-1e-9)
			l[0], l[1] = append(l[0], log(c)), append(l[1], -log(1-c))
		}
		logs[&o.chance[0]] = l
	}
	x := inLineSearch{sweeps: 20, held: 8, stride: 0.5, least: 0.3, shift: 3}.run(func(x [3]float64, pull *[3]float64, weigh *[3][3]float64) {
		for i := range all {
			o := &all[i]
			l := logs[&o.chance[0]]
			safe := 0.0
			var slope [3]float64
			for j, w := range o.density {
				if w < 1e-7 {
					continue
				}
				c := logistic(float64(x[0]*l[0][j]) + float64(x[1]*l[1][j]) + x[2])
				safe += float64(w * c)
				by := float64(w * float64(c*(1-c)))
				slope[0] += float64(by * l[0][j])
				slope[1] += float64(by * l[1][j])
				slope[2] += by
			}
			failing := min(max(float64(o.seen*(1-safe)), 1e-6), 1-1e-6)
			surprise := -1 / (1 - failing)
			if o.failed {
				surprise = 1 / failing
			}
			for i := range 3 {
				slope[i] = -float64(o.seen * slope[i])
				pull[i] += float64(surprise * slope[i])
			}
			for i := range 3 {
				for j := range 3 {
					weigh[i][j] += float64(slope[i]*slope[j]) / float64(failing*(1-failing))
				}
			}
		}
	})
	p.ChanceDown, p.ChanceUp, p.ChanceShift = roundTo(x[0], 1000), roundTo(x[1], 1000), roundTo(x[2], 1000)
}

// chanceInLine is a chance of no critical error brought in line with outcomes: its odds, c to 1 − c, become
// e^"chance_shift" × c^"chance_down" to (1 − c)^"chance_up" (beta calibration: Kull, Silva Filho and Flach 2017); a rising function of it.
func (p *Population) chanceInLine(c float64) float64 {
	if p.ChanceUp == 1 && p.ChanceDown == 1 && p.ChanceShift == 0 || c <= 0 || c >= 1 {
		return c
	}
	return logistic(p.ChanceShift + float64(p.ChanceDown*log(c)) - float64(p.ChanceUp*log(1-c)))
}
