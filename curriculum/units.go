package curriculum

import "math/big"

// Unit is a unit's symbol as AUTHORS.md lists them; "" for counts.
type Unit string

// Dimension names what a unit measures ("length", "torque", …); "" is for counts and unknown units are not ok.
func (u Unit) Dimension() (string, bool) { return dimensionOf(u) }

// Convert turns a value into another unit of the same dimension, exactly (temperatures with their offset).
func Convert(value *big.Rat, from, to Unit) (*big.Rat, error) { return convert(value, from, to) }

// Decimal reads a decimal as written in a programme folder ("-0.35", "1200"): a point, no grouping, no exponent.
func Decimal(s string) (*big.Rat, bool) { return parseDecimal(s) }

// Formula is a compiled arithmetic formula: + - * / ^ (integer powers), sqrt, min, max, round, pi.
// Sums are exact rationals but for sqrt and pi, which are rationals good to 40 digits.
type Formula struct {
	Source string
	root   formulaNode
}

// Eval computes the formula. It errors on division by zero, the root of a negative number and results beyond 1e30.
func (f *Formula) Eval(given map[string]*big.Rat) (*big.Rat, error) { return f.eval(given) }

// Round rounds half away from zero to a multiple of step.
func Round(v, step *big.Rat) *big.Rat { return roundTo(v, step) }
