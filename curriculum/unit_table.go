package curriculum

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
	"unicode/utf8"
)

// unitDef is a unit as base = value·factor + offset, in the base unit of its dimension. Factors are exact by definition:
// inch 25.4 mm, pound 0.45359237 kg, standard gravity 9.80665 m/s² (NIST SP 811, appendix B), US gallon 231 in³.
type unitDef struct {
	symbol    Unit
	dimension string
	factor    string // a fraction or a decimal
	offset    string // only temperatures
	imperial  Unit   // what a reader with US units sees, or ""
	metric    Unit   // what a reader with SI units sees, or ""
}

// unitDefs are the units of the lesson format, in its order. Months and years are not days: how many days a month
// has depends on the month.
var unitDefs = []unitDef{
	{"", "", "1", "", "", ""},
	{"mm", "length", "1/1000", "", "in", ""},
	{"cm", "length", "1/100", "", "in", ""},
	{"m", "length", "1", "", "", ""},
	{"km", "length", "1000", "", "", ""},
	{"in", "length", "0.0254", "", "", "mm"},
	{"mm²", "area", "1/1000000", "", "in²", ""},
	{"cm²", "area", "1/10000", "", "in²", ""},
	{"in²", "area", "0.00064516", "", "", "mm²"},
	{"g", "mass", "1/1000", "", "oz", ""},
	{"kg", "mass", "1", "", "lb", ""},
	{"lb", "mass", "0.45359237", "", "", "kg"},
	{"oz", "mass", "0.028349523125", "", "", "g"},
	{"N", "force", "1", "", "lbf", ""},
	{"kN", "force", "1000", "", "lbf", ""},
	{"lbf", "force", "4.4482216152605", "", "", "N"},
	{"N·m", "torque", "1", "", "lbf·ft", ""},
	{"lbf·ft", "torque", "1.3558179483314004", "", "", "N·m"},
	{"lbf·in", "torque", "0.1129848290276167", "", "", "N·m"},
	{"Pa", "pressure", "1", "", "psi", ""},
	{"kPa", "pressure", "1000", "", "psi", ""},
	{"MPa", "pressure", "1000000", "", "psi", ""},
	{"bar", "pressure", "100000", "", "psi", ""},
	{"psi", "pressure", "44482216152605/6451600000", "", "", "kPa"},
	{"°C", "temperature", "1", "273.15", "°F", ""},
	{"°F", "temperature", "5/9", "45967/180", "", "°C"},
	{"K", "temperature", "1", "", "", ""},
	{"mL", "volume", "1/1000", "", "fl-oz", ""},
	{"L", "volume", "1", "", "qt", ""},
	{"fl-oz", "volume", "0.0295735295625", "", "", "mL"},
	{"qt", "volume", "0.946352946", "", "", "L"},
	{"mm²/s", "kinematic viscosity", "1", "", "", ""},
	{"s", "time", "1", "", "", ""},
	{"min", "time", "60", "", "", ""},
	{"h", "time", "3600", "", "", ""},
	{"day", "time", "86400", "", "", ""},
	{"month", "calendar time", "1", "", "", ""},
	{"year", "calendar time", "12", "", "", ""},
	{"%", "ratio", "1", "", "", ""},
	{"°", "angle", "1", "", "", ""},
	{"km/h", "speed", "5/18", "", "mph", ""},
	{"mph", "speed", "0.44704", "", "", "km/h"},
	{"m/s", "speed", "1", "", "mph", ""},
	{"1/min", "rotational speed", "1", "", "", ""},
	{"V", "voltage", "1", "", "", ""},
	{"A", "current", "1", "", "", ""},
}

type unitValue struct {
	unitDef
	factor, offset *big.Rat
}

var unitIndex = func() map[Unit]unitValue {
	m := make(map[Unit]unitValue, len(unitDefs))
	rat := func(s string) *big.Rat {
		if s == "" {
			return new(big.Rat)
		}
		r, ok := new(big.Rat).SetString(s)
		if !ok {
			panic("curriculum: bad factor " + s)
		}
		return r
	}
	for _, d := range unitDefs {
		m[d.symbol] = unitValue{d, rat(d.factor), rat(d.offset)}
	}
	return m
}()

// unitAliases are spellings that authors try; they are refused, and the hint names the right one.
var unitAliases = map[string]Unit{
	"Nm": "N·m", "N m": "N·m", "N.m": "N·m", "N*m": "N·m", "N⋅m": "N·m", "ft-lb": "lbf·ft", "lb-ft": "lbf·ft", "lb·ft": "lbf·ft", "ft·lb": "lbf·ft",
	"lb·in": "lbf·in", "in-lb": "lbf·in", "lb-in": "lbf·in", "mm2": "mm²", "cm2": "cm²", "in2": "in²", "C": "°C", "F": "°F", "ºC": "°C", "deg": "°",
	"degC": "°C", "ml": "mL", "l": "L", "floz": "fl-oz", "fl oz": "fl-oz", "fl. oz": "fl-oz", "fl.oz": "fl-oz", "sec": "s", "seconds": "s", "minutes": "min",
	"hour": "h", "hours": "h", "days": "day", "months": "month", "years": "year", "kph": "km/h", "rpm": "1/min", "inch": "in", "inches": "in",
	"\"": "in", "lbs": "lb", "percent": "%", "volt": "V", "amp": "A", "cSt": "mm²/s", "mm2/s": "mm²/s", "kgs": "kg", "millimeter": "mm", "millimetre": "mm",
}

// Units lists every unit of the lesson format in its order, without the empty one of counts.
func Units() []Unit {
	us := make([]Unit, 0, len(unitDefs)-1)
	for _, d := range unitDefs[1:] {
		us = append(us, d.symbol)
	}
	return us
}

func unitNames() []string {
	var names []string
	for _, u := range Units() {
		names = append(names, string(u))
	}
	return names
}

// nearestUnit is what an author may have meant; all units where none is near.
func nearestUnit(s string) string {
	if u, ok := unitAliases[s]; ok {
		return string(u)
	}
	if u := nearest(s, unitNames()); u != "" && utf8.RuneCountInString(s) > 1 { // any letter is near any other
		return u
	}
	return strings.Join(unitNames(), " ")
}

func dimensionOf(u Unit) (string, bool) {
	d, ok := unitIndex[u]
	return d.dimension, ok
}

// sameDimension says whether values in a and b can be compared.
func sameDimension(a, b Unit) bool {
	x, ok := dimensionOf(a)
	y, ok2 := dimensionOf(b)
	return ok && ok2 && x == y
}

func convert(value *big.Rat, from, to Unit) (*big.Rat, error) {
	f, ok := unitIndex[from]
	if !ok {
		return nil, fmt.Errorf("curriculum: unknown unit %q", from)
	}
	t, ok := unitIndex[to]
	if !ok {
		return nil, fmt.Errorf("curriculum: unknown unit %q", to)
	}
	if f.dimension != t.dimension {
		return nil, fmt.Errorf("curriculum: %s measures %s, %s measures %s", from, f.dimension, to, t.dimension)
	}
	v := new(big.Rat).Mul(value, f.factor)
	v.Add(v, f.offset).Sub(v, t.offset)
	return v.Quo(v, t.factor), nil
}

// shown picks the unit a reader with these units ("si" or "us") sees for a figure in u, and whether it differs.
func shown(u Unit, units string) (Unit, bool) {
	d, ok := unitIndex[u]
	if !ok {
		return u, false
	}
	to := d.metric
	if units == "us" {
		to = d.imperial
	}
	if to == "" || to == u || !slices.Contains([]string{"si", "us"}, units) {
		return u, false
	}
	return to, true
}
