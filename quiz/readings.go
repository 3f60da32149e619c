package quiz

import (
	"cmp"
	"math/big"
	"strconv"
	"strings"

	"brakewright/curriculum"
)

// Figures are written as integers of a decimal step: a reading of 19.8 mm is 198 at one decimal. All comparing is exact.

// decimals counts the digits behind the point.
func decimals(s string) int {
	if i := strings.IndexByte(s, '.'); i >= 0 {
		return len(s) - i - 1
	}
	return 0
}

// scaled is value·10^places; ok is false if that is no integer that fits.
func scaled(value string, places int) (n int64, ok bool) {
	v, ok := curriculum.Decimal(value)
	if !ok {
		return 0, false
	}
	v = new(big.Rat).Mul(v, power10(places))
	if !v.IsInt() || !v.Num().IsInt64() {
		return 0, false
	}
	n = v.Num().Int64()
	const most = 1 << 52
	return n, n > -most && n < most
}

// power10 is 10^n; n may be negative.
func power10(n int) *big.Rat {
	if n >= -maxPower && n <= maxPower {
		return powers[n+maxPower]
	}
	return newPower10(n)
}

// powers are those that figures have; nobody writes into them.
const maxPower = 20

var powers = func() (out [2*maxPower + 1]*big.Rat) {
	for i := range out {
		out[i] = newPower10(i - maxPower)
	}
	return out
}()

func newPower10(n int) *big.Rat {
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(n, -n))), nil)
	if n < 0 {
		return new(big.Rat).SetFrac(big.NewInt(1), p)
	}
	return new(big.Rat).SetInt(p)
}

// written is n at so many places, as a decimal with a point.
func written(n int64, places int) string {
	digits, sign := strconv.FormatInt(n, 10), ""
	if n < 0 {
		digits, sign = digits[1:], "-"
	}
	if places == 0 {
		return sign + digits
	}
	if len(digits) <= places {
		digits = strings.Repeat("0", places+1-len(digits)) + digits
	}
	return sign + digits[:len(digits)-places] + "." + digits[len(digits)-places:]
}

// finer are the units in which an instrument reads a decimal more than a whole limit shows.
var finer = map[curriculum.Unit]bool{"mm": true, "cm": true, "bar": true, "MPa": true, "in": true, "L": true}

// gauge is a limit with the decimal step in which readings against it are made.
type gauge struct {
	figure  curriculum.Figure
	places  int
	low     int64 // scaled; for a maximum the same as high
	high    int64
	which   string // which reading counts: one, lowest, highest, spread, each
	element string // of the limit: figures/N or vehicle/KEY
}

// newGauge prepares a limit; ok is false for figures that are no limit, or too fine to write readings against.
func newGauge(f curriculum.Figure, which, element string) (g gauge, ok bool) {
	g = gauge{figure: f, which: which, element: element, places: max(decimals(f.Value), decimals(f.High))}
	if g.places == 0 && finer[f.Unit] && len(f.Value) < 4 {
		g.places = 1
	}
	if f.Limit == curriculum.NoLimit || g.places > 9 {
		return g, false
	}
	if top, ok := scaled(cmp.Or(f.High, f.Value), g.places); ok && top == 1 && g.places > 0 {
		g.places++ // 0.1 is read as 0.08: between it and nothing there is no other reading
	}
	if g.low, ok = scaled(f.Value, g.places); !ok {
		return g, false
	}
	g.high = g.low
	if f.High != "" {
		if g.high, ok = scaled(f.High, g.places); !ok {
			return g, false
		}
	}
	return g, g.low <= g.high && g.low >= 0
}

// judge says how a scaled reading stands to the limit.
func (g gauge) judge(n int64) curriculum.Verdict {
	v, err := g.figure.Judge(curriculum.Quantity{Value: written(n, g.places), Unit: g.figure.Unit})
	if err != nil {
		return ""
	}
	return v
}

// cases name where a reading may lie: as many cases for each verdict that is possible, so that none is right more often than
// another. What lies far below is near where far would be below nothing; nothing lies below 0.
func (g gauge) cases() []string {
	switch {
	case g.figure.Limit == curriculum.Minimum && g.low > 0:
		return []string{"on-low", "in-low", "under", "far-under"}
	case g.figure.Limit == curriculum.Minimum:
		return nil
	case g.figure.Limit == curriculum.Maximum:
		return []string{"on-high", "in-high", "over", "far-over"}
	case g.high-g.low < 2:
		return nil
	case g.low == 0:
		return []string{"on-high", "inside", "over", "far-over"}
	}
	return []string{"on", "inside", "under", "far-under", "over", "far-over"}
}

// least is the smallest reading that is written: nothing at all is counted, but not measured.
func (g gauge) least() int64 {
	if g.figure.Unit == "" {
		return 0
	}
	return 1
}

// reading draws a reading of a case; ok is false where there is none (below the least, say).
func (g gauge) reading(at string, d *draws) (n int64, ok bool) {
	near := int64(d.between(1, 4))
	// Far is between an eighth and a third of the limit away, and at least five steps.
	far := func(limit int64) int64 { return max(5, limit/8) + int64(d.below(int(min(limit/5, 1<<30))+1)) }
	if at == "on" {
		at = pick(d, []string{"on-low", "on-high"})
	}
	switch at {
	case "on-low":
		n = g.low
	case "on-high":
		n = g.high
	case "in-low":
		n = g.low + near
	case "in-high":
		n = max(g.high-near, g.least())
		return n, n < g.high
	case "inside":
		n = g.low + 1 + int64(d.below(int(min(g.high-g.low-1, 1<<30))))
	case "under":
		n = max(g.low-near, g.least())
		return n, n < g.low
	case "far-under":
		if n = g.low - far(g.low); n < g.least() {
			n = max(g.low-near, g.least())
		}
		return n, n < g.low
	case "over":
		n = g.high + near
	case "far-over":
		n = g.high + far(g.high)
	}
	return n, n >= 0
}

// write gives a scaled reading with its unit.
func (g gauge) write(n int64) string {
	return curriculum.Written(written(n, g.places), g.figure.Unit, g.figure.Language)
}

// list draws the readings of which n is the one that counts, as they were noted down. ok is false where n cannot be it.
func (g gauge) list(n int64, d *draws) (text string, ok bool) {
	unit := g.figure.Unit
	switch g.which {
	case "lowest", "highest", "each":
		up := int64(1)
		if g.which == "highest" || g.which == "each" && g.figure.Limit == curriculum.Maximum {
			up = -1
		}
		if g.which == "each" && g.figure.Limit == curriculum.Range {
			return g.eachInRange(n, d)
		}
		values := []int64{n}
		for range 3 {
			v := n + up*int64(d.between(1, 9))
			if g.which == "each" { // the others are all good, so that n alone decides
				v = max(n*up, g.low*up)*up + up*int64(d.between(0, 6))
			}
			if v < g.least() {
				return "", false
			}
			values = append(values, v)
		}
		return g.series(shuffled(d, values), false, unit), true
	case "spread":
		// Noted as differences from the first reading, which is 0.
		under := int64(d.below(int(min(n, 1<<30)) + 1))
		values := []int64{-under, n - under}
		if under != 0 && n != under {
			values = append(values, -under+1+int64(d.below(int(min(n, 1<<30)))))
		}
		return g.series(append([]int64{0}, shuffled(d, values)...), true, unit), true
	}
	return g.write(n), true
}

// eachInRange draws readings that all lie in the range but for n.
func (g gauge) eachInRange(n int64, d *draws) (string, bool) {
	values := []int64{n}
	for range 3 {
		values = append(values, g.low+int64(d.below(int(min(g.high-g.low, 1<<30))+1)))
	}
	return g.series(shuffled(d, values), false, g.figure.Unit), true
}

// series writes readings one after the other, with a sign where they are differences.
func (g gauge) series(values []int64, signed bool, unit curriculum.Unit) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = written(v, g.places)
		switch {
		case signed && v > 0:
			parts[i] = "+" + parts[i]
		case v < 0:
			parts[i] = "−" + parts[i][1:]
		}
		if signed && v == 0 {
			parts[i] = "0"
		}
	}
	return curriculum.Written(strings.Join(parts, ", "), unit, g.figure.Language)
}

var limitSayings = map[curriculum.LimitKind]sayings{
	curriculum.Minimum: {"en": {"at least {1}"}, "es": {"al menos {1}"}},
	curriculum.Maximum: {"en": {"at most {1}"}, "es": {"como mucho {1}"}},
	curriculum.Range:   {"en": {"{1}"}, "es": {"{1}"}},
}

var limitWord = sayings{"en": {"Limit: {1}, {2}"}, "es": {"Límite: {1}, {2}"}}

// limit says a limit in words: "at least 20 mm".
func (s *subject) limit(f curriculum.Figure) string {
	say, ok := limitSayings[f.Limit]
	if !ok {
		return f.String()
	}
	return say.say(s.language, 0, f.String())
}

// measured is a limit that the lesson uses, with where it is used.
type measured struct {
	gauge
	label    string // tells several limits of one element apart
	element  string // source element
	file     string
	line     int
	critical bool
	onCar    bool
	step     *step // or nil
	quote    string
}

// readLimits gathers the limits that readings can be judged against: of the steps' measures, of the lesson's figures and of
// the car's figures that the lesson uses.
func (s *subject) readLimits() {
	used := map[string]bool{}
	for _, x := range s.steps {
		for i, m := range x.Measures {
			for _, axle := range x.axles {
				f, ok := s.lesson.Limit(m, s.car, axle)
				if !ok {
					continue
				}
				name := f.Element
				if f.Key != "" {
					name = "vehicle/" + f.Key
				}
				g, ok := newGauge(f, m.Which, name)
				if !ok || used[x.ID+" "+name] {
					continue
				}
				used[name], used[x.ID+" "+name] = true, true
				s.limits = append(s.limits, measured{gauge: g, label: string(rune('a'+i)) + axle, element: x.Element + "/measure", line: m.Line,
					critical: x.Critical, onCar: m.Key != "", step: x, quote: s.passage(m.Text)})
			}
		}
	}
	for _, f := range s.lesson.Figures {
		if !s.car.Applies(f.If) || used[f.Element] {
			continue
		}
		if g, ok := newGauge(f, "one", f.Element); ok {
			s.limits = append(s.limits, measured{gauge: g, element: f.Element, line: f.Line})
		}
	}
	for _, f := range s.carKeys {
		name := "vehicle/" + f.Key
		if used[name] {
			continue
		}
		if g, ok := newGauge(f, "one", name); ok {
			s.limits = append(s.limits, measured{gauge: g, element: name, file: s.car.File, line: f.Line, onCar: true})
		}
	}
}

// limitLine is how a stem states a limit, with the car it belongs to.
func (s *subject) limitLine(m measured) string {
	text := limitWord.say(s.language, 0, tidy(m.figure.Quantity.For(s.car, "")), s.limit(m.figure))
	if m.onCar {
		text = s.car.Title + ". " + text
	}
	return text
}
