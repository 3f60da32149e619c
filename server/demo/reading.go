package demo

import (
	"math/big"

	"brakewright/curriculum"
)

// within is a reading that the figure's limit allows: a little inside it, in the figure's own unit.
func within(f curriculum.Figure) string {
	low, ok := curriculum.Decimal(f.Value)
	if !ok {
		return f.Value
	}
	digits := 1 + decimals(f.Value)
	switch f.Limit {
	case curriculum.Range:
		high, ok := curriculum.Decimal(f.High)
		if !ok {
			return f.Value
		}
		mid := new(big.Rat).Add(low, high)
		return mid.Quo(mid, big.NewRat(2, 1)).FloatString(digits)
	case curriculum.Minimum:
		return new(big.Rat).Mul(low, big.NewRat(11, 10)).FloatString(digits)
	case curriculum.Maximum:
		return new(big.Rat).Mul(low, big.NewRat(7, 10)).FloatString(digits)
	}
	return f.Value
}

// decimals counts the digits behind the point.
func decimals(s string) int {
	for i := range s {
		if s[i] == '.' {
			return len(s) - i - 1
		}
	}
	return 0
}
