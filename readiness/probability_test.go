package readiness

import (
	"math"
	"math/big"
	"testing"
)

// The table of the package documentation.
func TestEstimateOfCleanJobs(t *testing.T) {
	for _, row := range []struct {
		clean             int
		mean, sure        float64
		lowest, uppermost float64
	}{
		{0, 0.756, 0.406, 0.300, 0.999},
		{3, 0.917, 0.704, 0.603, 0.999},
		{5, 0.951, 0.803, 0.723, 0.999},
		{8, 0.972, 0.883, 0.836, 0.999},
		{9, 0.976, 0.900, 0.862, 0.999},
		{10, 0.979, 0.913, 0.885, 0.999},
		{15, 0.986, 0.954, 0.955, 1},
	} {
		want := estimate{mean: row.mean, low: row.lowest, high: row.uppermost, confidence: row.sure}
		if got := judge(DefaultParameters().Prior, counts{clean: row.clean}, 0.95); got != want {
			t.Errorf("%d clean jobs: got %v, want %v", row.clean, got, want)
		}
	}
}

// How many clean jobs in a row make it sure enough, from nothing; 0 where the window of 15 jobs does not do.
func TestCleanJobsNeeded(t *testing.T) {
	p := DefaultParameters()
	for _, row := range []struct {
		target, confidence float64
		jobs               int
	}{
		{0.80, 0.80, 3}, {0.90, 0.80, 5}, {0.90, 0.90, 8}, {0.95, 0.80, 5}, {0.95, 0.90, 9}, {0.95, 0.95, 15},
		{0.97, 0.80, 7}, {0.97, 0.90, 13}, {0.97, 0.95, 0}, {0.98, 0.80, 10}, {0.98, 0.90, 0}, {0.99, 0.90, 0},
	} {
		jobs := 0
		for n := 1; n <= p.Window && jobs == 0; n++ {
			if judge(p.Prior, counts{clean: n}, row.target).confidence >= row.confidence {
				jobs = n
			}
		}
		if jobs != row.jobs {
			t.Errorf("target %v, confidence %v: got %d clean jobs, want %d", row.target, row.confidence, jobs, row.jobs)
		}
	}
}

// After a critical error, readiness at the default comes back when the error leaves the window, not before.
func TestCleanJobsAfterAnError(t *testing.T) {
	p := DefaultParameters()
	for clean := range p.Window {
		if e := judge(p.Prior, counts{clean: clean, failed: 1}, 0.95); e.confidence >= 0.9 {
			t.Errorf("%d clean jobs and an error: confidence %v", clean, e.confidence)
		}
	}
}

// Within the window: the interval holds the mean, more clean jobs raise everything, more failures lower it.
func TestEstimateIsMonotone(t *testing.T) {
	p := DefaultParameters()
	for clean := range p.Window + 1 {
		for failed := 0; clean+failed <= p.Window; failed++ {
			e := judge(p.Prior, counts{clean, failed}, 0.95)
			if e.low > e.mean || e.mean > e.high {
				t.Errorf("%d clean, %d failed: %v outside its interval", clean, failed, e)
			}
			up, down := judge(p.Prior, counts{clean + 1, failed}, 0.95), judge(p.Prior, counts{clean, failed + 1}, 0.95)
			if up.mean < e.mean || up.confidence < e.confidence || down.mean > e.mean || down.confidence > e.confidence {
				t.Errorf("%d clean, %d failed: %v, one more clean %v, one more failed %v", clean, failed, e, up, down)
			}
		}
	}
}

// betaBelow against exact rational arithmetic.
func TestBetaBelow(t *testing.T) {
	for _, row := range []struct {
		x    string
		a, b int
	}{{"1/2", 1, 1}, {"19/20", 99, 1}, {"19/20", 114, 1}, {"19/20", 18, 2}, {"1/10", 3, 2}, {"9/10", 3, 17}, {"1/100", 2, 60}, {"99/100", 60, 12}, {"3/7", 40, 41}, {"1/20", 1, 200}, {"97/100", 300, 10}} {
		exact := exactBetaBelow(mustRat(row.x), row.a, row.b)
		x, _ := mustRat(row.x).Float64()
		if got := betaBelow(x, row.a, row.b); math.Abs(got-exact) > 1e-12 {
			t.Errorf("Beta(%d, %d) below %s: got %v, want %v", row.a, row.b, row.x, got, exact)
		}
	}
	for _, x := range []float64{-1, 0} {
		if betaBelow(x, 2, 3) != 0 {
			t.Errorf("below %v is not 0", x)
		}
	}
	if betaBelow(1, 2, 3) != 1 || betaBelow(2, 3, 2) != 1 {
		t.Error("below 1 is not 1")
	}
}

func exactBetaBelow(x *big.Rat, a, b int) float64 {
	n := int64(a + b - 1)
	rest := new(big.Rat).Sub(big.NewRat(1, 1), x)
	sum := new(big.Rat)
	for j := int64(a); j <= n; j++ {
		term := new(big.Rat).SetInt(new(big.Int).Binomial(n, j))
		for range j {
			term.Mul(term, x)
		}
		for range n - j {
			term.Mul(term, rest)
		}
		sum.Add(sum, term)
	}
	f, _ := sum.Float64()
	return f
}

// What counts as a success, a failure or nothing.
func TestObserve(t *testing.T) {
	rows := []struct {
		name string
		r    Record
		want counts
	}{
		{"clean", bleed("2026-01-05", "sam"), counts{clean: 1}},
		{"rightly stopped", bleed("2026-01-05", "sam", outcome("rightly_stopped")), counts{clean: 1}},
		{"a prompt at a step that is not critical", bleed("2026-01-05", "sam", at("bleeding/fill", "prompted")), counts{clean: 1}},
		{"a critical step that does not apply", bleed("2026-01-05", "sam", at("bleeding/cut", "not_applicable")), counts{clean: 1}},
		{"a prompt at a critical step", bleed("2026-01-05", "sam", at("bleeding/cut", "prompted")), counts{}},
		{"taken over at a critical step", bleed("2026-01-05", "sam", at("bleeding/open-screw@LF", "taken_over")), counts{}},
		{"bulk at a critical step", bleed("2026-01-05", "sam", bulkAt("bleeding/cut")), counts{}},
		{"bulk elsewhere", bleed("2026-01-05", "sam", bulkAt("bleeding/fill")), counts{clean: 1}},
		{"near miss", bleed("2026-01-05", "sam", nearMiss), counts{}},
		{"no critical step seen", bleed("2026-01-05", "sam", func(r *Record) { r.Steps = r.Steps[:1] }), counts{}},
		{"interrupted", bleed("2026-01-05", "sam", outcome("interrupted")), counts{}},
		{"stopped by the supervisor", bleed("2026-01-05", "sam", outcome("stopped_by_supervisor")), counts{}},
		{"critical error", bleed("2026-01-05", "sam", errorAt("bleeding/cut")), counts{failed: 1}},
		{"two critical errors in one job", bleed("2026-01-05", "sam", errorAt("bleeding/cut"), errorAt("bleeding/open-screw@LF")), counts{failed: 1}},
		{"critical error, stopped", bleed("2026-01-05", "sam", errorAt("bleeding/cut"), outcome("stopped_by_supervisor")), counts{failed: 1}},
		{"critical error, interrupted", bleed("2026-01-05", "sam", errorAt("bleeding/cut"), outcome("interrupted")), counts{failed: 1}},
		{"unwatched", rec("unwatched_job", "2026-01-05"), counts{}},
		{"sound spot check", rec("spot_check", "2026-01-05", finding("sound")), counts{}},
		{"unsafe spot check", rec("spot_check", "2026-01-05", finding("unsafe")), counts{failed: 1}},
		{"return of our work", rec("return", "2026-01-05", finding("our_work")), counts{failed: 1}},
		{"return of a part", rec("return", "2026-01-05", finding("part")), counts{}},
	}
	for _, row := range rows {
		in := sampleInputs([]Record{row.r}, "2026-01-20")
		if got := in.observe(15); got != row.want {
			t.Errorf("%s: got %v, want %v", row.name, got, row.want)
		}
	}
	var many []Record
	for i := range 20 {
		many = append(many, bleed((toDay("2026-01-01")+day(i)).String(), "sam"))
	}
	many = append(many, bleed("2025-12-31", "sam", errorAt("bleeding/cut")), bleed("2026-01-06", "sam", errorAt("bleeding/cut")))
	if got := sampleInputs(many, "2026-01-20").observe(15); got != (counts{clean: 14, failed: 1}) {
		t.Errorf("window: got %v, want the failure of its first day and 14 clean jobs", got)
	}
}

func sampleInputs(evidence []Record, asOf string) *inputs {
	a := newAssessor(sampleCatalogue(), samplePolicy(), DefaultParameters(), asOf, Options{})
	return &inputs{facts: a.task("bleed"), all: a.task, policy: a.policy, asks: a.policy.Task("bleed"),
		person: gather(resolve(evidence, asOf)["ana"]), asOf: asOf, today: a.today}
}

func TestThousandthAndPercent(t *testing.T) {
	for x, want := range map[float64]float64{-1: 0, 0: 0, 0.0004: 0, 0.0005: 0.001, 0.8996: 0.9, 0.9999: 1, 2: 1} {
		if got := thousandth(x); got != want {
			t.Errorf("%v: got %v, want %v", x, got, want)
		}
	}
	for x, want := range map[float64]string{0.9: "90", 0.913: "91.3", 1: "100", 0: "0", 0.007: "0.7"} {
		if got := percent(x); got != want {
			t.Errorf("%v: got %s, want %s", x, got, want)
		}
	}
}
