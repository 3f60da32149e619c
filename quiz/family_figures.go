package quiz

import (
	"math/big"
	"slices"

	"brakewright/curriculum"
)

// carFigureFamily asks for a figure of the chosen car. Wrong figures are other figures of that car in the same unit, the
// likeliest mix-up, and numbers made up beside the right one.
var carFigureFamily = &family{
	info: FamilyInfo{ID: "vehicle-figure", Kinds: []Kind{Single}, Asks: "What is this figure of the car?", Source: "the car's Figures, as far as the lesson uses them"},
	items: func(s *subject) (out []*item) {
		for _, f := range s.carKeys {
			element := "vehicle/" + f.Key
			out = append(out, figureItem(s, f, element, s.car.File, carFigureSayings, f.Quantity.Plain(), s.car.Title, s.car.Figures))
		}
		return out
	},
}

// carFigureTypedFamily asks for the same figures, to be typed.
var carFigureTypedFamily = &family{
	info: FamilyInfo{ID: "vehicle-figure-typed", Kinds: []Kind{Number}, Asks: "Type this figure of the car.", Source: "the car's Figures, as far as the lesson uses them"},
	items: func(s *subject) (out []*item) {
		for _, f := range s.carKeys {
			if f.High != "" {
				continue // a range is two figures
			}
			element := "vehicle/" + f.Key
			unit := unitWords(s, f.Unit)
			p := proposal{kind: Number, stem: s.say(carFigureTypedSayings, element, s.quote(tidy(f.Quantity.Plain())), s.car.Title, unit), onCar: true, params: f.Value + " " + string(f.Unit),
				number:      &NumberKey{Value: f.Value, Unit: string(f.Unit), Tolerance: halfDigit(f.Value)},
				explanation: figureExplained(s, f), tests: []string{"figure:" + element}}
			out = append(out, &item{element: element, file: s.car.File, line: f.Line, make: func(*draws) *proposal { copied := p; return &copied }})
		}
		return out
	},
}

// figureFamily asks for a figure of the lesson itself.
var figureFamily = &family{
	info: FamilyInfo{ID: "lesson-figure", Kinds: []Kind{Single}, Asks: "Which figure does the lesson give?", Source: "figures of the lesson"},
	items: func(s *subject) (out []*item) {
		for _, f := range s.lesson.Figures {
			if s.car.Applies(f.If) {
				out = append(out, figureItem(s, f, f.Element, "", figureSayings[f.Limit], f.Quantity.For(s.car, ""), "", s.lesson.Figures))
			}
		}
		return out
	},
}

var carFigureSayings = sayings{
	"en": {"{2}: what is the figure for this: {1}?", "What does the sheet of {2} give for this: {1}?"},
	"es": {"{2}: ¿cuál es el dato para esto: {1}?", "¿Qué indica la hoja de {2} para esto: {1}?"},
}

var carFigureTypedSayings = sayings{
	"en": {"{2}: what is the figure for this: {1}? Type it {3}."},
	"es": {"{2}: ¿cuál es el dato para esto: {1}? Escríbelo {3}."},
}

var figureSayings = map[curriculum.LimitKind]sayings{
	curriculum.NoLimit: {"en": {"Which figure does the lesson give for this: {1}?"}, "es": {"¿Qué dato da la lección para esto: {1}?"}},
	curriculum.Minimum: {"en": {"What is the least that the lesson allows for this: {1}?"}, "es": {"¿Cuál es el mínimo que admite la lección para esto: {1}?"}},
	curriculum.Maximum: {"en": {"What is the most that the lesson allows for this: {1}?"}, "es": {"¿Cuál es el máximo que admite la lección para esto: {1}?"}},
	curriculum.Range:   {"en": {"Which range does the lesson give for this: {1}?"}, "es": {"¿Qué intervalo da la lección para esto: {1}?"}},
}

var inUnit = sayings{"en": {"in {1}"}, "es": {"en {1}"}}

var asNumber = sayings{"en": {"as a plain number"}, "es": {"como número solo"}}

// unitWords ends a stem that asks for a typed figure: the unit is always said, so that a bare number is enough.
func unitWords(s *subject, u curriculum.Unit) string {
	if u == "" {
		return asNumber.say(s.language, 0)
	}
	return inUnit.say(s.language, 0, u.Name(s.language))
}

func figureExplained(s *subject, f curriculum.Figure) string {
	return s.explain("", tidy(f.Quantity.Plain())+": "+s.limit(f)+".")
}

// figureItem asks one figure of a table among figures of the same unit and made-up ones.
func figureItem(s *subject, f curriculum.Figure, element, file string, ask sayings, quantity, car string, all []curriculum.Figure) *item {
	quantity = tidy(quantity)
	it := &item{element: element, file: file, line: f.Line}
	onCar := file != ""
	key, ok := figureChoice(s, f, element, onCar)
	if !ok {
		it.make = func(*draws) *proposal { return nil }
		return it
	}
	p := proposal{kind: Single, stem: s.say(ask, element, s.quote(quantity), car), right: []choice{key}, onCar: onCar, explanation: figureExplained(s, f), tests: []string{"figure:" + element}}
	own := s.phrase(quantity)
	var real []choice
	for _, o := range all {
		if o.Element == f.Element && o.Key == f.Key || o.Unit != f.Unit || (o.High == "") != (f.High == "") || !s.car.Applies(o.If) {
			continue
		}
		if !asRound(o, f) {
			continue // a rounder one among others would stand out, and what stands out is guessed
		}
		name := o.Element
		if onCar {
			name = "vehicle/" + o.Key
		}
		if alike(own, s.phrase(tidy(o.Quantity.Plain())), 1, 1) {
			continue // the same quantity twice: either figure may be meant
		}
		if c, ok := figureChoice(s, o, name, onCar); ok && plausible(key, c) {
			real = append(real, c)
		}
	}
	made := figuresBeside(f)
	it.make = func(d *draws) *proposal {
		// Half of what is needed comes from real figures where there are enough; the made-up ones follow, and the guards
		// choose among all by where the key is to stand.
		copied := p
		copied.wrong = slices.Concat(real, made.draw(s, d))
		return &copied
	}
	return it
}

// asRound says that two figures have as many decimals and end in as many zeros, with a five before them or without.
func asRound(a, b curriculum.Figure) bool {
	same := func(x, y string) bool {
		if decimals(x) != decimals(y) {
			return false
		}
		m, ok := scaled(x, decimals(x))
		n, ok2 := scaled(y, decimals(y))
		if !ok || !ok2 {
			return false
		}
		zeros, five := roundness(m)
		zeros2, five2 := roundness(n)
		return zeros == zeros2 && five == five2
	}
	return same(a.Value, b.Value) && (a.High == "" && b.High == "" || a.High != "" && b.High != "" && same(a.High, b.High))
}

// plausible keeps figures of the same order of magnitude.
func plausible(key, c choice) bool {
	ten := big.NewRat(10, 1)
	return new(big.Rat).Mul(key.value, ten).Cmp(c.value) >= 0 && new(big.Rat).Mul(c.value, ten).Cmp(key.value) >= 0
}

// figureChoice writes a figure as an option; ranges are placed by their middle.
func figureChoice(s *subject, f curriculum.Figure, element string, onCar bool) (choice, bool) {
	v, ok := curriculum.Decimal(f.Value)
	if !ok {
		return choice{}, false
	}
	if f.High != "" {
		h, ok := curriculum.Decimal(f.High)
		if !ok {
			return choice{}, false
		}
		v = new(big.Rat).Quo(new(big.Rat).Add(v, h), big.NewRat(2, 1))
	}
	return choice{phrase: s.phrase(f.String()), element: element, value: v, onCar: onCar}, true
}

// smaller and greater are the shares of a figure, in percent, that made-up ones are near to.
var (
	smaller = []int64{20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 85, 90, 95}
	greater = []int64{105, 110, 115, 120, 125, 130, 140, 150, 160, 170, 180, 190, 200, 210, 220, 230}
)

// roundness is what makes a figure look round: how many zeros it ends in, and whether a five stands before them. n is the
// figure without its point; 0 is as round as nothing else.
func roundness(n int64) (zeros int, five bool) {
	if n == 0 {
		return 99, false
	}
	for n%10 == 0 {
		n, zeros = n/10, zeros+1
	}
	return zeros, n%10 == 5
}

// madeUp are figures that could stand beside the right one: below and above it, with as many decimals and as round as it is.
type madeUp struct {
	texts  [2][]string
	values [2][]*big.Rat
	lows   [2][]string // the lower ends: two ranges do not begin with the same figure
	equals [2][]int    // the first of the side with the same value
	length int
}

// figuresBeside works out the figures beside one, at every share. Both ends of a range move by the same share.
func figuresBeside(f curriculum.Figure) (out madeUp) {
	out.length = len(f.String())
	places := max(decimals(f.Value), decimals(f.High))
	low, ok := scaled(f.Value, places)
	if !ok || low < 0 || places > 8 {
		return out
	}
	high := low
	if f.High != "" {
		if high, ok = scaled(f.High, places); !ok {
			return out
		}
	}
	for side, shares := range [][]int64{smaller, greater} {
		var sums []int64 // twice the middle: what is placed by it is equal by it
		for _, share := range shares {
			from, ok := asRoundAt(low, share, f.High != "")
			to := from
			if f.High != "" && ok {
				to, ok = asRoundAt(high, share, true)
			}
			if !ok || low > 0 && from == low || f.High != "" && (to == high || to == from) || from+to <= 0 {
				continue
			}
			made, begins := curriculum.Figure{Value: written(from, places), Unit: f.Unit, Language: f.Language}, "" // all ranges from 0 begin with it
			if f.High != "" {
				made.High = written(to, places)
			}
			if low > 0 {
				begins = made.Value
			}
			value := big.NewRat(from+to, 2)
			first := slices.Index(sums, from+to)
			if first < 0 {
				first = len(sums)
			}
			sums = append(sums, from+to)
			out.texts[side], out.values[side] = append(out.texts[side], made.String()), append(out.values[side], value.Mul(value, power10(-places)))
			out.lows[side], out.equals[side] = append(out.lows[side], begins), append(out.equals[side], first)
		}
	}
	return out
}

// asRoundAt is n·percent, moved to the next figure that is as round as n; ok is false where that is nothing or n itself. A
// range from 0 stays one.
func asRoundAt(n, percent int64, inRange bool) (m int64, ok bool) {
	if n == 0 {
		return 0, inRange
	}
	zeros, five := roundness(n)
	grain := int64(1)
	for range zeros {
		grain *= 10
	}
	m = n * percent / 100 / grain
	switch {
	case five:
		m = m/10*10 + 5
	case m%10 == 0 || m%10 == 5:
		m += 1 - 2*(m/2%2)
	}
	if m *= grain; m <= 0 || m == n {
		return 0, false
	}
	return m, true
}

// draw gives up to three figures below and three above, those first that are written with as many signs.
func (m *madeUp) draw(s *subject, d *draws) (out []choice) {
	for side, all := range m.texts {
		drawn := make([]int, 0, len(all))
		lows := make([]string, 0, len(all))
		seen := make([]bool, len(all))
		for _, i := range d.order(len(all)) {
			low, first := m.lows[side][i], m.equals[side][i]
			if low != "" && slices.Contains(lows, low) || seen[first] {
				continue
			}
			drawn, lows, seen[first] = append(drawn, i), append(lows, low), true
		}
		sortByLength(drawn, func(i int) int { return len(all[i]) }, m.length)
		for _, i := range drawn[:min(3, len(drawn))] {
			out = append(out, choice{phrase: s.phrase(all[i]), element: "reading", value: m.values[side][i]})
		}
	}
	return out
}

// sortByLength puts figures first that are written with so many signs: with more or fewer they would stand out.
func sortByLength[T any](figures []T, signs func(T) int, length int) {
	slices.SortStableFunc(figures, func(a, b T) int { return apartBy(signs(a), length) - apartBy(signs(b), length) })
}

func apartBy(a, b int) int { return max(a-b, b-a) }
