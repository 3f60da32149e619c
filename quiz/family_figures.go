package quiz

import (
	"math/big"
	"slices"
	"strings"

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
	return inUnit.say(s.language, 0, string(u))
}

func figureExplained(s *subject, f curriculum.Figure) string {
	return s.explain("", tidy(f.Quantity.Plain())+": "+s.limit(f)+".")
}

// figureItem asks one figure of a table among figures of the same unit and made-up ones.
func figureItem(s *subject, f curriculum.Figure, element, file string, ask sayings, quantity, car string, all []curriculum.Figure) *item {
	quantity = tidy(quantity)
	it := &item{element: element, file: file, line: f.Line}
	onCar := file != ""
	it.make = func(d *draws) *proposal {
		key, ok := figureChoice(s, f, element, onCar)
		if !ok {
			return nil
		}
		p := &proposal{kind: Single, stem: s.say(ask, element, s.quote(quantity), car), right: []choice{key}, onCar: onCar, explanation: figureExplained(s, f), tests: []string{"figure:" + element}}
		own := s.phrase(quantity)
		for _, o := range all {
			if o.Element == f.Element && o.Key == f.Key || o.Unit != f.Unit || (o.High == "") != (f.High == "") || !s.car.Applies(o.If) {
				continue
			}
			if f.Unit == "" && decimals(o.Value) != decimals(f.Value) {
				continue // what such figures count or relate stands in their names: only like ones are compared
			}
			name := o.Element
			if onCar {
				name = "vehicle/" + o.Key
			}
			if alike(own, s.phrase(tidy(o.Quantity.Plain())), 1, 1) {
				continue // the same quantity twice: either figure may be meant
			}
			if c, ok := figureChoice(s, o, name, onCar); ok && plausible(key, c) {
				p.wrong = append(p.wrong, c)
			}
		}
		// Half of what is needed comes from real figures where there are enough; the made-up ones follow, and the guards
		// choose among all by where the key is to stand.
		p.wrong = append(p.wrong, madeUp(s, f, d)...)
		return p
	}
	return it
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
	smaller = []int64{25, 35, 40, 50, 60, 65, 70, 75, 80, 90}
	greater = []int64{110, 120, 125, 130, 140, 150, 160, 175, 200, 225}
)

// madeUp writes figures beside the right one: up to four below and four above, as round as it is. Both ends of a range
// move by the same share.
func madeUp(s *subject, f curriculum.Figure, d *draws) (out []choice) {
	places := max(decimals(f.Value), decimals(f.High))
	low, ok := scaled(f.Value, places)
	if !ok || low < 0 || places > 8 {
		return nil
	}
	high := low
	if f.High != "" {
		if high, ok = scaled(f.High, places); !ok {
			return nil
		}
	}
	if high < 8 && f.Unit != "" { // too few whole steps below it: 2 mm is offered beside 1.5 mm
		low, high, places = low*10, high*10, places+1
	}
	// Round figures get round neighbours: 230 °C is offered beside 205 and 260, not beside 231.
	grain := int64(1)
	for _, g := range []int64{5, 10, 50, 100, 500, 1000, 5000, 10000} {
		if low%g == 0 && high%g == 0 && high/g >= 4 {
			grain = g
		}
	}
	near := func(n, percent int64) string {
		n = (n*percent/100 + grain/2) / grain * grain
		return trimmed(written(n, places), f)
	}
	for _, shares := range [][]int64{smaller, greater} {
		n := 0
		for _, share := range shuffled(d, shares) {
			made := curriculum.Figure{Value: near(low, share), Unit: f.Unit}
			if f.High != "" {
				made.High = near(high, share)
			}
			c, ok := figureChoice(s, made, "reading", false)
			if !ok || c.value.Sign() <= 0 || made.High == made.Value || slices.ContainsFunc(out, func(o choice) bool { return o.text == c.text }) {
				continue
			}
			if out = append(out, c); n == 3 {
				break
			}
			n++
		}
	}
	return out
}

// trimmed takes off zeros behind the point that the right figure does not show either.
func trimmed(value string, f curriculum.Figure) string {
	for decimals(value) > max(decimals(f.Value), decimals(f.High)) && strings.HasSuffix(value, "0") {
		value = strings.TrimSuffix(strings.TrimSuffix(value, "0"), ".")
	}
	return value
}
