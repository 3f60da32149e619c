package readiness

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// With a curve of 1 and nobody unlike the others, each practice leaves the same share of what is missing.
func TestPracticeLeavesItsShare(t *testing.T) {
	p := DefaultParameters()
	pop := &p.Population
	pop.Curve, pop.PaceSD, pop.DeficitSD = 1, 0, 0
	m := newModel(p)
	want := pop.Deficit
	for n := range 6 {
		got := m.deficits(slices.Repeat([]day{5}, n), 5)
		if len(got) != 1 || math.Abs(got[0]-want) > 1e-9 {
			t.Errorf("after %d: %v is missing, not %v", n, got, want)
		}
		want *= pop.Practice
	}
}

// However somebody learns: one more practice, whenever it was, leaves less missing, and idle time leaves more.
func TestMissing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := DefaultParameters()
		pop := &p.Population
		pop.Curve = float64(rapid.IntRange(3, 30).Draw(t, "curve")) / 10
		pop.Savings = float64(rapid.IntRange(0, 10).Draw(t, "savings")) / 10
		pop.Retained = float64(rapid.IntRange(0, 9).Draw(t, "retained")) / 10
		pop.ForgetDays = float64(rapid.IntRange(10, 400).Draw(t, "forget days"))
		m := newModel(p)
		practice := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) day { return day(rapid.IntRange(0, 400).Draw(t, "day")) }), 0, 12).Draw(t, "practice")
		slices.Sort(practice)
		more := append(slices.Clone(practice), day(rapid.IntRange(0, 400).Draw(t, "one more")))
		slices.Sort(more)
		today := day(400 + rapid.IntRange(0, 400).Draw(t, "idle"))
		now, less, later := m.deficits(practice, today), m.deficits(more, today), m.deficits(practice, today+30)
		for i, l := range m.learners {
			if less[i] > now[i]+1e-12 || later[i] < now[i]-1e-12 || now[i] < 0 || now[i] > l.deficit || later[i] > l.deficit {
				t.Fatalf("%+v: %v missing; %v after one more practice, %v a month later", l, now[i], less[i], later[i])
			}
		}
	})
}

// Of what was learned, half of what is not retained is gone after "forget_days"; the next practice makes good the share "savings" of the idle time.
func TestForgetting(t *testing.T) {
	p := DefaultParameters()
	pop := &p.Population
	pop.Deficit, pop.Practice, pop.Curve, pop.PaceSD, pop.DeficitSD = 2, 0.5, 1, 0, 0
	pop.Retained, pop.ForgetDays, pop.Savings = 0.4, 100, 0.75
	m := newModel(p)
	for _, c := range []struct {
		practice []day
		today    day
		missing  float64
	}{
		{nil, 1000, 2},
		{[]day{0}, 0, 1},
		{[]day{0}, 100, 2 - 0.7*1},
		{[]day{0, 100}, 100, 2 - (0.4+0.6*0.8)*1.5}, // as after 25 idle days
		{[]day{0, 100, 100}, 100, 2 - (0.4+0.6*100/106.25)*1.75},
		{[]day{0, 10000}, 10000, 2 - 1}, // the first is of no use any more: rusted as after 2,500 days
		{[]day{0}, 1_000_000, 2 - 0.4},
	} {
		if got := m.deficits(c.practice, c.today); math.Abs(got[0]-c.missing) > 0.001 {
			t.Errorf("practice on %v: on %d, %v is missing, not %v", c.practice, c.today, got[0], c.missing)
		}
	}
}

// One more feat raises the likelihood in the sense of the likelihood ratio, wherever in the order it falls; so does a harder one.
func TestOneMoreFeat(t *testing.T) {
	p := DefaultParameters()
	task := newModel(p).task(sampleCatalogue().facts("bleed"), DefaultPolicy().JobMix)
	perfect := task.perfect()
	rapid.Check(t, func(t *rapid.T) {
		job := rapid.Custom(func(t *rapid.T) event {
			pattern := []byte(perfect)
			for i := range pattern {
				pattern[i] = rapid.SampledFrom([]byte{unaided, unaided, unaided, ticked, notSeen}).Draw(t, "step")
			}
			return event{kind: jobEvent, on: day(rapid.IntRange(0, 90).Draw(t, "day")), pattern: string(pattern), watched: true,
				difficulty: rapid.SampledFrom([]string{"routine", "usual", "awkward"}).Draw(t, "difficulty"),
				severity:   float64(rapid.IntRange(-20, 20).Draw(t, "severity")) / 10, se: float64(rapid.IntRange(0, 5).Draw(t, "se")) / 10,
				unseen: float64(rapid.IntRange(0, 10).Draw(t, "unseen")) / 10}
		})
		e := &evidence{events: rapid.SliceOfN(job, 0, 12).Draw(t, "jobs")}
		one := job.Draw(t, "one more")
		harder := one
		harder.severity += 0.5
		n := len(task.ability.points)
		logs := func(more ...event) []float64 {
			out := make([]float64, n)
			task.addFeats(out, &evidence{events: append(slices.Clone(e.events), more...)})
			return out
		}
		rises := func(what string, a, b []float64) {
			for i := 1; i < n; i++ {
				if b[i]-a[i] < b[i-1]-a[i-1]-1e-9 {
					t.Fatalf("%s: the ratio falls from %v to %v at %v", what, b[i-1]-a[i-1], b[i]-a[i], task.ability.points[i])
				}
			}
		}
		before, after := logs(), logs(one)
		rises("one more", before, after)
		rises("a harder one", after, logs(harder))
	})
}

// The chance brought in line rises with the chance, and the values that made it are found again from outcomes.
func TestChanceInLine(t *testing.T) {
	p := DefaultParameters().Population
	p.ChanceUp, p.ChanceDown, p.ChanceShift = 1.3, 0.8, -0.2
	last := 0.0
	for c := 0.0; c <= 1; c += 0.01 {
		now := p.chanceInLine(c)
		if now < last || now > 1 {
			t.Errorf("at %v: %v after %v", c, now, last)
		}
		last = now
	}
	var all []foreseen
	chances := make([]float64, 99)
	for i := range chances {
		chances[i] = float64(i+1) / 100
	}
	for i := range chances { // of four hundred jobs at each chance, as many failures as there should be
		density := make([]float64, len(chances))
		density[i] = 1
		failures := int(math.Round(400 * (1 - p.chanceInLine(chances[i]))))
		for k := range 400 {
			all = append(all, foreseen{density: density, chance: chances, seen: 1, failed: k < failures})
		}
	}
	found := DefaultParameters().Population
	learnOutcomes(&found, all)
	for _, c := range []float64{0.2, 0.5, 0.8, 0.9, 0.95} {
		if got, want := found.chanceInLine(c), p.chanceInLine(c); math.Abs(got-want) > 0.01 {
			t.Errorf("at %v: %v, not %v", c, got, want)
		}
	}
}

// A density spilled keeps its mass, and its mean but for what lies beyond the ends.
func TestSpill(t *testing.T) {
	l := newLattice(-2, 2, 0.5)
	density, out := make([]float64, 9), make([]float64, 9)
	density[4], density[5] = 0.25, 0.75
	l.spill(out, density, 0.3, 1)
	mass, mean := 0.0, 0.0
	for i, w := range out {
		mass += w
		mean += w * l.points[i]
	}
	if math.Abs(mass-1) > 1e-12 || math.Abs(mean-(0.375-0.3)) > 1e-12 {
		t.Errorf("mass %v, mean %v of %v", mass, mean, out)
	}
}
