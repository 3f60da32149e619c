package readiness

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// counts are what the probability rests on: of the latest jobs, how many showed the task done alone and how many had a
// critical failure.
type counts struct{ clean, failed int }

// observe counts within the window. A clean job (see clean) is one success. A critical failure (see failure) is one
// failure, whatever else the job showed. Everything else says nothing either way: jobs in which a critical step was
// prompted, taken over or ticked in bulk, jobs with a near miss, interrupted jobs, unwatched jobs, spot checks that found
// no danger, jobs done elsewhere and recognised. Of one day, failures are taken as the later.
func (in *inputs) observe(window int) counts { return in.observeMore(window, 0) }

// observeMore is observe after so many more clean jobs.
func (in *inputs) observeMore(window, more int) counts {
	type seen struct {
		date   string
		failed bool
	}
	var all []seen
	for _, job := range in.history().jobs {
		if in.facts.clean(job) {
			all = append(all, seen{date: job.Date})
		}
	}
	for _, f := range in.facts.failures(in.history()) {
		all = append(all, seen{date: f.date, failed: true})
	}
	slices.SortFunc(all, func(a, b seen) int {
		if c := cmp.Compare(a.date, b.date); c != 0 || a.failed == b.failed {
			return c
		}
		if b.failed {
			return -1
		}
		return 1
	})
	more = min(more, window)
	all = all[max(0, len(all)+more-window):]
	n := counts{clean: more}
	for _, s := range all {
		if s.failed {
			n.failed++
		} else {
			n.clean++
		}
	}
	return n
}

// estimate is the posterior of the chance, every number rounded to 0.001.
type estimate struct{ mean, low, high, confidence float64 }

// interval points.
const (
	lowPoint  = 0.05
	highPoint = 0.95
)

// judge works out the posterior after these counts and its chance of reaching the target. Only +, −, ×, ÷ are used, and each
// product is rounded by a conversion before anything is added to it, which Go may not fuse; so every machine computes
// the same bits.
func judge(prior []Class, n counts, target float64) estimate {
	post := posterior(prior, n)
	mean := 0.0
	for _, c := range post {
		m := float64(c.alpha) / float64(c.alpha+c.beta)
		mean += float64(c.weight * m)
	}
	return estimate{
		mean:       thousandth(mean),
		low:        thousandth(post.point(lowPoint)),
		high:       thousandth(post.point(highPoint)),
		confidence: thousandth(1 - post.below(target)),
	}
}

// mixture is a weighted sum of Beta distributions with whole parameters; the weights sum to 1.
type mixture []betaPart

type betaPart struct {
	weight      float64
	alpha, beta int
}

// posterior adds the counts to each class and weighs the classes by how well each foretold them: one observation at a
// time, the chance of a success under Beta(a, b) is a/(a+b), of a failure b/(a+b). The product does not depend on the
// order; it is taken successes first, and the weights are made to sum to 1 after each, so that none becomes 0.
func posterior(prior []Class, n counts) mixture {
	post := make(mixture, len(prior))
	for i, c := range prior {
		post[i] = betaPart{weight: float64(c.Percent) / 100, alpha: c.Alpha, beta: c.Beta}
	}
	for range n.clean {
		for i := range post {
			c := &post[i]
			c.weight = float64(c.weight * (float64(c.alpha) / float64(c.alpha+c.beta)))
			c.alpha++
		}
		post.normalise()
	}
	for range n.failed {
		for i := range post {
			c := &post[i]
			c.weight = float64(c.weight * (float64(c.beta) / float64(c.alpha+c.beta)))
			c.beta++
		}
		post.normalise()
	}
	return post
}

func (m mixture) normalise() {
	sum := 0.0
	for _, c := range m {
		sum += c.weight
	}
	for i := range m {
		m[i].weight /= sum
	}
}

// below is the chance that the mixture lies under x.
func (m mixture) below(x float64) float64 {
	sum := 0.0
	for _, c := range m {
		sum += float64(c.weight * betaBelow(x, c.alpha, c.beta))
	}
	return sum
}

// point is where the mixture's distribution function reaches p, found by halving [0, 1] until it is known to 2^-40.
func (m mixture) point(p float64) float64 {
	low, high := 0.0, 1.0
	for range 40 {
		middle := (low + high) / 2
		if m.below(middle) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// betaBelow is the distribution function of Beta(a, b) at x for whole a, b: the chance of at least a successes in
// n = a+b−1 trials of chance x (Abramowitz and Stegun, 26.5.24). The sum is taken over the shorter tail, of
// positive terms.
func betaBelow(x float64, a, b int) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case b > a:
		return 1 - betaBelow(1-x, b, a)
	}
	n := a + b - 1
	term := power(x, n)
	ratio := (1 - x) / x
	sum := term
	for i := range b - 1 {
		term = float64(float64(term*(float64(n-i)/float64(i+1))) * ratio)
		sum += term
	}
	return min(1, sum)
}

// power is x to the n, by squaring, each product rounded.
func power(x float64, n int) float64 {
	result := 1.0
	for ; n > 0; n >>= 1 {
		if n&1 == 1 {
			result = float64(result * x)
		}
		x = float64(x * x)
	}
	return result
}

// thousandth rounds to 0.001, half up, into [0, 1].
func thousandth(x float64) float64 {
	return min(1, max(0, math.Floor(float64(x*1000)+0.5)/1000))
}

// percent writes a probability as a percentage with at most one decimal.
func percent(x float64) string {
	tenths := int(math.Floor(float64(x*1000) + 0.5))
	if tenths%10 == 0 {
		return decimal(tenths / 10)
	}
	return strconv.Itoa(tenths/10) + "." + strconv.Itoa(tenths%10)
}
