package readiness

import (
	"math"
	"testing"
)

func TestNumbers(t *testing.T) {
	far := func(got, want float64) bool { return math.Abs(got-want) > 1e-13*max(1, math.Abs(want)) }
	for i := -7000; i <= 7000; i++ {
		x := float64(i)/10 + float64(i%7)/1000
		if x < -700 || x > 700 {
			continue
		}
		if got, want := exp(x), math.Exp(x); math.Abs(got-want) > 1e-13*want {
			t.Fatalf("exp(%v): got %v, want %v", x, got, want)
		}
		if got, want := log(math.Exp(x/3)), math.Log(math.Exp(x/3)); far(got, want) {
			t.Fatalf("log of e^%v: got %v, want %v", x/3, got, want)
		}
		if got, want := logistic(x/20), 1/(1+math.Exp(-x/20)); far(got, want) {
			t.Fatalf("logistic(%v): got %v, want %v", x/20, got, want)
		}
	}
	for i := 1; i < 1000; i++ {
		p := float64(i) / 1000
		if got, want := logit(p), math.Log(p/(1-p)); far(got, want) {
			t.Fatalf("logit(%v): got %v, want %v", p, got, want)
		}
	}
	if exp(-800) != 0 || exp(0) != 1 || log(1) != 0 || log(0) != logSmallest || logistic(0) != 0.5 || exp(1e9) != exp(700) {
		t.Error("the ends are wrong")
	}
	for k := -1022; k <= 1023; k++ {
		if power2(k) != math.Ldexp(1, k) {
			t.Fatalf("2^%d: got %v", k, power2(k))
		}
	}
}
