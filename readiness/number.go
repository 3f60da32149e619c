package readiness

import "math"

// The functions of package math differ in their last bits from machine to machine, Sqrt, Floor and Abs apart, and Go may
// fuse a product and a sum into one operation unless the product is converted first. What stands here is built from +, −, × and ÷, each
// rounded by itself, so that every machine computes the same bits. TestNumbers measures it against package math.

const (
	ln2High = 6.93147180369123816490e-01 // the upper bits of ln 2: k × ln2High is exact for whole k below 2^20
	ln2Low  = 1.90821492927058770002e-10 // the rest
	log2e   = 1.44269504088896338700
)

// inverseFactorials are 1/n!, from n = 2.
var inverseFactorials = func() (f [14]float64) {
	n := 1.0
	for i := range f {
		n = float64(n * float64(i+2))
		f[i] = 1 / n
	}
	return f
}()

// power2 is 2^k, exactly, for k from −1022 to 1023.
func power2(k int) float64 {
	base := 2.0
	if k < 0 {
		base, k = 0.5, -k
	}
	p := 1.0
	for ; k > 0; k >>= 1 {
		if k&1 == 1 {
			p = float64(p * base)
		}
		base = float64(base * base)
	}
	return p
}

// smallPowers are 2^k for k from −64 to 63, the usual ones.
var smallPowers = func() (p [128]float64) {
	for i := range p {
		p[i] = power2(i - 64)
	}
	return p
}()

// exp is e^x; 0 below −700, capped at e^700 above.
func exp(x float64) float64 {
	if x < -700 {
		return 0
	}
	x = min(x, 700)
	k := math.Floor(float64(x*log2e) + 0.5)
	r := x - float64(k*ln2High) - float64(k*ln2Low)
	sum := 0.0
	for i := len(inverseFactorials) - 1; i >= 0; i-- {
		sum = float64(float64(sum+inverseFactorials[i]) * r)
	}
	e := 1 + float64(float64(1+sum)*r)
	n := int(k)
	if n >= -64 && n < 64 {
		return float64(e * smallPowers[n+64])
	}
	return float64(e * power2(n))
}

// oddInverses are 1/(2n+1), from n = 1.
var oddInverses = func() (f [14]float64) {
	for i := range f {
		f[i] = 1 / float64(2*i+3)
	}
	return f
}()

// logSmallest is the logarithm of what is as good as nothing.
const logSmallest = -745

// log is the natural logarithm; logSmallest for 0 and below.
func log(x float64) float64 {
	if x < 1e-300 {
		return logSmallest
	}
	k := 0
	for x >= 4294967296 {
		x, k = float64(x*(1.0/4294967296)), k+32
	}
	for x < 1.0/4294967296 {
		x, k = float64(x*4294967296), k-32
	}
	for x >= math.Sqrt2 {
		x, k = float64(x*0.5), k+1
	}
	for x < math.Sqrt2/2 {
		x, k = float64(x*2), k-1
	}
	z := float64((x - 1) / (x + 1))
	z2 := float64(z * z)
	sum := 0.0
	for i := len(oddInverses) - 1; i >= 0; i-- {
		sum = float64(float64(sum+oddInverses[i]) * z2)
	}
	lead := float64(2 * z)
	n := float64(k)
	return float64(n*ln2High) + (lead + float64(lead*sum) + float64(n*ln2Low))
}

// logistic is 1/(1+e^−x).
func logistic(x float64) float64 {
	if x < 0 {
		e := exp(x)
		return e / (1 + e)
	}
	return 1 / (1 + exp(-x))
}

// logit is the inverse of logistic, for x strictly between 0 and 1.
func logit(x float64) float64 { return log(x / (1 - x)) }

// square is x².
func square(x float64) float64 { return float64(x * x) }

// hypotenuse is √(a² + b²).
func hypotenuse(a, b float64) float64 { return math.Sqrt(square(a) + square(b)) }

// roundTo rounds to a multiple of 1/parts, half up.
func roundTo(x, parts float64) float64 {
	r := math.Floor(float64(x*parts)+0.5) / parts
	if r == 0 {
		return 0 // never −0
	}
	return r
}

// thousandth rounds to 0.001, half up, into [0, 1].
func thousandth(x float64) float64 { return min(1, max(0, roundTo(x, 1000))) }
