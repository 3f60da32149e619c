package curriculum

import (
	"math/big"
	"strconv"
	"strings"
)

// maxDecimalDigits bounds what an author may write as one number.
const maxDecimalDigits = 40

func itoa(n int) string { return strconv.Itoa(n) }

// normalDecimal reads a decimal as written and returns it with an ASCII minus; ok is false where it is none.
func normalDecimal(s string) (string, bool) {
	s = strings.TrimSpace(s)
	if rest, found := strings.CutPrefix(s, "\u2212"); found {
		s = "-" + rest
	}
	digits := strings.TrimPrefix(s, "-")
	whole, fraction, point := strings.Cut(digits, ".")
	if whole == "" || point && fraction == "" || len(digits) > maxDecimalDigits || !allDigits(whole) || !allDigits(fraction) {
		return "", false
	}
	return s, true
}

func allDigits(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

func parseDecimal(s string) (*big.Rat, bool) {
	s, ok := normalDecimal(s)
	if !ok {
		return nil, false
	}
	return new(big.Rat).SetString(s)
}

// mustDecimal is for decimals that were checked when the programme was read.
func mustDecimal(s string) *big.Rat {
	if r, ok := parseDecimal(s); ok {
		return r
	}
	return new(big.Rat)
}

// decimals is the number of digits after the point.
func decimals(s string) int {
	_, f, _ := strings.Cut(s, ".")
	return len(f)
}

func roundTo(v, step *big.Rat) *big.Rat {
	if step.Sign() <= 0 {
		return new(big.Rat).Set(v)
	}
	q := new(big.Rat).Quo(v, step)
	return q.Mul(roundWhole(q), step)
}

// roundWhole rounds half away from zero to a whole number.
func roundWhole(q *big.Rat) *big.Rat {
	n := new(big.Int).Abs(q.Num())
	n.Lsh(n, 1).Add(n, q.Denom())
	n.Quo(n, new(big.Int).Lsh(q.Denom(), 1))
	if q.Sign() < 0 {
		n.Neg(n)
	}
	return new(big.Rat).SetInt(n)
}

// decimalString writes v exactly if it has at most max digits after the point, else rounded to max digits.
func decimalString(v *big.Rat, max int) string {
	s := v.FloatString(max)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	return s
}
