package curriculum

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
)

func axleOf(v *Vehicle, wheel string) string {
	if v == nil || wheel == "" {
		return ""
	}
	for _, w := range v.Wheels {
		if w.Name == wheel {
			front, rear := contains(w.Features, "front"), contains(w.Features, "rear")
			switch {
			case front && !rear:
				return "front"
			case rear && !front:
				return "rear"
			}
		}
	}
	switch wheel[len(wheel)-1] {
	case 'F':
		return "front"
	case 'R':
		return "rear"
	}
	return ""
}

func hasFeatures(v *Vehicle, features []string, wheel string) bool {
	if v == nil {
		return len(features) == 0
	}
	var own []string
	for _, w := range v.Wheels {
		if wheel != "" && w.Name == wheel {
			own = w.Features
		}
	}
	for _, f := range features {
		if !contains(v.Features, f) && !contains(own, f) {
			return false
		}
	}
	return true
}

// Applies says whether something with these features concerns the car: as a whole or at one of its wheels. Without a
// car only what asks no feature does.
func (v *Vehicle) Applies(features []string) bool {
	if v == nil {
		return len(features) == 0
	}
	if v.Has(features, "") {
		return true
	}
	return slices.ContainsFunc(v.Wheels, func(w Wheel) bool { return v.Has(features, w.Name) })
}

func figureOf(v *Vehicle, key, axle string) (Figure, bool) {
	if v == nil {
		return Figure{}, false
	}
	if strings.Contains(key, "{axle}") {
		if axle == "" {
			return Figure{}, false
		}
		key = strings.ReplaceAll(key, "{axle}", axle)
	}
	if v.byKey != nil {
		i, ok := v.byKey[key]
		if !ok {
			return Figure{}, false
		}
		return v.Figures[i], true
	}
	for _, f := range v.Figures {
		if f.Key == key {
			return f, true
		}
	}
	return Figure{}, false
}

func figureString(f Figure) string {
	s := f.Value
	if f.High != "" {
		s += "–" + f.High
	}
	return Written(s, f.Unit, f.Language)
}

// Written writes a number, a range or a list of numbers with its unit as a reader of a language does: "22.5 mm", "45°",
// "1 day", "24 months". Only degrees of angle stand without a space.
func Written(value string, u Unit, language string) string {
	switch forms, isWord := unitForms(u, language); {
	case u == "":
		return value
	case u == "°":
		return value + "°"
	case isWord && value == "1":
		return value + " " + forms[0]
	case isWord:
		return value + " " + forms[1]
	}
	return value + " " + string(u)
}

// Name is how a language writes the unit where no number stands before it: "mm", "days".
func (u Unit) Name(language string) string {
	if forms, isWord := unitForms(u, language); isWord {
		return forms[1]
	}
	return string(u)
}

func judge(f Figure, reading Quantity) (Verdict, error) {
	v, ok := parseDecimal(reading.Value)
	if !ok {
		return "", fmt.Errorf("curriculum: %q is no decimal", reading.Value)
	}
	in, err := convert(v, reading.Unit, f.Unit)
	if err != nil {
		return "", err
	}
	low := mustDecimal(f.Value)
	high := low
	if f.High != "" {
		high = mustDecimal(f.High)
	}
	switch f.Limit {
	case Minimum:
		if in.Cmp(low) < 0 {
			return Below, nil
		}
	case Maximum:
		if in.Cmp(high) > 0 {
			return Above, nil
		}
	case Range:
		if in.Cmp(low) < 0 {
			return Below, nil
		}
		if in.Cmp(high) > 0 {
			return Above, nil
		}
	default:
		return "", fmt.Errorf("curriculum: %s has no limit", f.Quantity.Plain())
	}
	return Within, nil
}

func limitOf(l *Lesson, m Measure, v *Vehicle, axle string) (Figure, bool) {
	if m.Key != "" {
		return figureOf(v, m.Key, axle)
	}
	return l.figureNamed(m.FigureName)
}

// figureNamed finds a row of the lesson's figures by its Quantity, word for word.
func (l *Lesson) figureNamed(name string) (Figure, bool) {
	for _, f := range l.Figures {
		if collapse(f.Quantity.Plain()) == collapse(name) {
			return f, true
		}
	}
	return Figure{}, false
}

// FigureIn gives a figure as a reader with these units ("si" or "us") sees it. A converted value keeps the sheet's own
// behind it in brackets, and is rounded to the safe side: a minimum up, a maximum down, a range inwards.
func (f Figure) FigureIn(units string) string {
	if c := f.converted(units); c != "" {
		return c + " (" + f.String() + ")"
	}
	return f.String()
}

// converted is the figure in the reader's units, or "" where they are the sheet's.
func (f Figure) converted(units string) string {
	to, differs := shown(f.Unit, units)
	if !differs {
		return ""
	}
	low, high := convertedLimit(f.Value, f.Unit, to, f.Limit == Minimum || f.Limit == Range, f.Limit == Maximum), ""
	if f.High != "" {
		high = "–" + convertedLimit(f.High, f.Unit, to, false, f.Limit == Maximum || f.Limit == Range)
	}
	return Written(low+high, to, f.Language)
}

// convertedLimit converts a decimal, rounded up or down to a tenth of its own last digit or finer, or else to the nearest
// at its own last digit or finer.
func convertedLimit(value string, from, to Unit, up, down bool) string {
	v := mustDecimal(value)
	x, err := convert(v, from, to)
	if err != nil {
		return value
	}
	// The last digit's worth in the other unit; an offset does not count.
	step := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals(value))), nil))
	worth := new(big.Rat).Quo(new(big.Rat).Mul(step, unitIndex[from].factor), unitIndex[to].factor)
	if up || down {
		worth.Quo(worth, big.NewRat(10, 1))
	}
	digits := 0
	unit := big.NewRat(1, 1)
	for digits < 9 && unit.Cmp(worth) > 0 {
		unit.Quo(unit, big.NewRat(10, 1))
		digits++
	}
	r := roundTo(x, unit)
	if up && r.Cmp(x) < 0 {
		r.Add(r, unit)
	}
	if down && r.Cmp(x) > 0 {
		r.Sub(r, unit)
	}
	return decimalString(r, digits)
}
