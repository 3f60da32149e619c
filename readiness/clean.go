package readiness

import (
	"cmp"
	"math"
	"slices"
)

// What speaks for an apprentice in all watched jobs together. Each job brings so much of a perfect record, and was so hard; what was missing at
// the time for want of practice made it harder still. The promises (see "Why the properties hold") forbid to take that from the date:
// a job slipped in before others would make those look easier. So the jobs are taken in the order of how hard they were, the
// hardest first: the first practice's worth of perfect record was done with all of the deficit, the next with what one practice
// leaves of it, and so on. One more job pushes others down only where it stands itself, with harder work than theirs.

// feat is what speaks for an apprentice in one watched job.
type feat struct{ harder, worth float64 }

// feats of the evidence, the hardest first.
func (t *taskModel) feats(e *evidence) []feat {
	var all []feat
	for i := range e.events {
		ev := &e.events[i]
		if ev.kind != jobEvent {
			continue
		}
		worth := t.worth(ev.pattern)
		if isPerfect(ev.pattern) {
			worth = float64(worth * (1 - ev.unseen))
		}
		if worth > 0 {
			all = append(all, feat{t.hardness(ev.difficulty) + ev.severity - float64(square(ev.se)*0.5), worth})
		}
	}
	slices.SortFunc(all, func(a, b feat) int { return cmp.Or(cmp.Compare(b.harder, a.harder), cmp.Compare(b.worth, a.worth)) })
	return all
}

// worth is how much of a perfect record a pattern shows, from 0 to 1: of the surprise, to somebody of mean ability, of every
// step done unaided and without a critical error, the part that belongs to the steps that were.
func (t *taskModel) worth(pattern string) float64 {
	of, known := t.worths[pattern]
	if !known {
		shown := t.surprise(pattern)
		of = min(1, shown/t.surprise(t.perfect()))
		t.worths[pattern] = of
	}
	return of
}

func (t *taskModel) surprise(pattern string) float64 {
	sum := 0.0
	for _, s := range t.terms(jobKey{kind: jobEvent, pattern: pattern}) {
		if !s.against {
			sum += float64(s.weight * softplus(s.at-float64(s.slope*t.Population.Ability)))
		}
	}
	return sum
}

// perfect is the pattern of a job with every step done unaided.
func (t *taskModel) perfect() string {
	b := make([]byte, len(t.critical))
	for i := range b {
		b[i] = unaided
	}
	return string(b)
}

// addFeats adds the logarithm of the likelihood of what speaks for the apprentice.
func (t *taskModel) addFeats(to []float64, e *evidence) {
	practised := 0.0
	for _, f := range t.feats(e) {
		for left := f.worth; left > 0; {
			k := int(practised)
			part := min(left, float64(k+1)-practised) // above 0, and what is left at the end is 0
			of := t.perfectAt(f.harder + t.early[min(k, maxLater)])
			for i, x := range of {
				to[i] += float64(part * x)
			}
			practised += part
			left -= part
		}
	}
}

// perfectAt is the logarithm of the likelihood of a perfect record of a job harder than usual by so much (to 0.05), shocks
// averaged over.
func (t *taskModel) perfectAt(harder float64) []float64 {
	harder = roundTo(harder, perfectParts)
	of := t.perfects[harder]
	if of == nil {
		if t.perfection == nil {
			t.perfection = t.newPerfection()
		}
		of = make([]float64, len(t.ability.points))
		for i, x := range t.ability.points {
			of[i] = t.perfection.shaken(int(math.Floor(float64((x-harder)*perfectParts) + 0.5)))
		}
		t.perfects[harder] = of
	}
	return of
}

// perfection is the logarithm of the likelihood of a perfect record by how far ability exceeds what the job asks, in steps of
// 1 ÷ perfectParts. What a whole history needs of it overlaps, so each value is worked out once.
type perfection struct {
	terms     []term
	bell      []float64 // weights of the shocks, by distance
	wide      int       // steps of this curve in one of the lattice
	bare, all []float64 // of one shock; averaged over shocks. NaN: not yet worked out
}

const (
	perfectParts = 20
	perfectEnd   = 60 * perfectParts // beyond it, up or down, nothing changes
)

func (t *taskModel) newPerfection() *perfection {
	p := &perfection{terms: t.terms(jobKey{kind: jobEvent, pattern: t.perfect()}), wide: int(math.Floor(t.ability.step*perfectParts + 0.5)),
		bell: bell(t.ability.step, hypotenuse(t.Population.HaloSD, t.Population.DaySD)),
		bare: make([]float64, 2*perfectEnd+1), all: make([]float64, 2*perfectEnd+1)}
	for i := range p.bare {
		p.bare[i], p.all[i] = math.NaN(), math.NaN()
	}
	return p
}

func (p *perfection) alone(at int) float64 {
	at = max(-perfectEnd, min(perfectEnd, at))
	of := &p.bare[at+perfectEnd]
	if math.IsNaN(*of) {
		*of = 0
		for _, s := range p.terms {
			*of -= float64(s.weight * softplus(s.at-float64(s.slope*float64(at)/perfectParts)))
		}
	}
	return *of
}

func (p *perfection) shaken(at int) float64 {
	at = max(-perfectEnd, min(perfectEnd, at))
	of := &p.all[at+perfectEnd]
	if math.IsNaN(*of) {
		reach := (len(p.bell) - 1) * p.wide
		top := p.alone(at + reach) // it rises
		sum, mass := exp(p.alone(at)-top)*p.bell[0], p.bell[0]
		for i, w := range p.bell[1:] {
			by := (i + 1) * p.wide
			sum += float64(w * (exp(p.alone(at+by)-top) + exp(p.alone(at-by)-top)))
			mass += 2 * w
		}
		*of = top + log(sum/mass)
	}
	return *of
}
