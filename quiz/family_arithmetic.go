package quiz

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"brakewright/curriculum"
)

// arithmeticFamily asks for the result of a sum, typed. The figures of its named slips go with the question, so that a
// typed slip is diagnosed.
var arithmeticFamily = &family{
	info: FamilyInfo{ID: "arithmetic", Kinds: []Kind{Number}, Asks: "Work out this figure and type it.", Source: "arithmetic: sums"},
	items: func(s *subject) (out []*item) {
		for _, sum := range s.sums() {
			out = append(out, &item{element: sum.Element + "/find", line: sum.Line, make: func(d *draws) *proposal {
				w := s.work(sum, d)
				if w == nil {
					return nil
				}
				unit := unitWords(s, sum.Unit)
				rounding := ""
				if w.places > 0 || sum.Rounding != "1" && sum.Rounding != "" {
					rounding = s.say(roundedSayings, "", sum.Rounding)
				}
				return &proposal{kind: Number, stem: w.ask + " " + s.say(typeSayings, "", unit, rounding) + w.list, params: w.list, onCar: w.onCar,
					number: &NumberKey{Value: w.key, Unit: string(sum.Unit), Tolerance: larger(sum.Tolerance, halfDigit(w.key))}, slips: w.slips,
					explanation: w.explanation, tests: []string{sum.Element}, shows: w.shows}
			}})
		}
		return out
	},
}

// arithmeticSlipFamily asks for the result among the figures of the named slips.
var arithmeticSlipFamily = &family{
	info: FamilyInfo{ID: "arithmetic-slip", Kinds: []Kind{Single}, Asks: "Which of these figures comes out, and which come from a slip?", Source: "arithmetic: sums and their slips"},
	items: func(s *subject) (out []*item) {
		for _, sum := range s.sums() {
			if len(sum.Slips) == 0 {
				continue
			}
			out = append(out, &item{element: sum.Element + "/find", line: sum.Line, make: func(d *draws) *proposal {
				w := s.work(sum, d)
				if w == nil || len(w.slips) == 0 {
					return nil
				}
				value, _ := curriculum.Decimal(w.key)
				key := choice{phrase: s.phrase(curriculum.Written(w.key, sum.Unit, s.language)), element: sum.Element + "/find", value: value, onCar: w.onCar}
				p := &proposal{kind: Single, stem: w.ask + w.list, params: w.list, onCar: w.onCar, right: []choice{key}, explanation: w.explanation,
					tests: []string{sum.Element}, shows: w.shows, preferred: true}
				for _, slip := range w.slips {
					v, _ := curriculum.Decimal(slip.Value)
					if v.Sign() != value.Sign() {
						continue // a mass below zero beside others above it is no temptation, only one option less
					}
					p.wrong = append(p.wrong, choice{phrase: s.phrase(curriculum.Written(slip.Value, sum.Unit, s.language)), element: slip.Element, value: v})
				}
				p.wrong = shuffled(d, p.wrong)
				beside := figuresBeside(curriculum.Figure{Value: w.key, Unit: sum.Unit, Language: s.language})
				for _, c := range beside.draw(s, d) {
					if !slices.ContainsFunc(p.wrong, func(o choice) bool { return o.value.Cmp(c.value) == 0 }) && w.apart(c.value) {
						p.wrong = append(p.wrong, c)
					}
				}
				return p
			}})
		}
		return out
	},
}

var typeSayings = sayings{"en": {"Type it {1}{2}."}, "es": {"Escríbelo {1}{2}."}}

var roundedSayings = sayings{"en": {", rounded to {1}"}, "es": {", redondeado a {1}"}}

// worked is a sum with its values drawn.
type worked struct {
	ask, list   string // the question; its given values, one a line
	key         string // rounded, as a decimal
	places      int
	slips       []NamedSlip
	explanation string
	onCar       bool
	shows       []string
	tolerance   *big.Rat
	value       *big.Rat
}

// apart says that a figure is not right as well.
func (w *worked) apart(v *big.Rat) bool {
	d := new(big.Rat).Sub(v, w.value)
	return d.Abs(d).Cmp(new(big.Rat).Add(w.tolerance, w.tolerance)) > 0
}

// sums are those whose values the car, if one is needed, has.
func (s *subject) sums() (out []curriculum.Sum) {
next:
	for _, sum := range s.lesson.Sums {
		if !s.car.Applies(sum.If) || sum.Find == nil {
			continue
		}
		for _, g := range sum.Given {
			if g.VehicleKey == "" {
				continue
			}
			if f, ok := s.given(g); !ok || f.High != "" {
				continue next
			}
		}
		out = append(out, sum)
	}
	return out
}

// given finds the car's figure of a given value. A key with {axle} takes the front.
func (s *subject) given(g curriculum.Given) (curriculum.Figure, bool) {
	for _, axle := range []string{"front", "rear"} {
		if f, ok := s.car.Figure(g.VehicleKey, axle); ok {
			return f, true
		}
	}
	return curriculum.Figure{}, false
}

// work draws the values of a sum and works it out; nil if they lead to no figure.
func (s *subject) work(sum curriculum.Sum, d *draws) *worked {
	w := &worked{ask: tidyQuestion(sum.Ask)}
	values := map[string]*big.Rat{}
	for _, g := range sum.Given {
		text, unit := "", g.Unit
		if g.VehicleKey != "" {
			f, ok := s.given(g)
			if !ok {
				return nil
			}
			v, ok := curriculum.Decimal(f.Value)
			if !ok {
				return nil
			}
			text = f.String()
			w.onCar = true
			w.shows = append(w.shows, "figure:vehicle/"+f.Key)
			if unit != "" && f.Unit != unit {
				var err error
				if v, err = curriculum.Convert(v, f.Unit, unit); err != nil {
					return nil
				}
			}
			values[g.Name] = v
		} else {
			if len(g.Values) == 0 {
				return nil
			}
			value := pick(d, g.Values)
			v, ok := curriculum.Decimal(value)
			if !ok {
				return nil
			}
			values[g.Name] = v
			text = curriculum.Written(value, unit, s.language)
		}
		what := g.What
		if what == "" {
			what = g.Name
		}
		w.list += "\n" + what + ": " + text
	}
	if w.onCar {
		w.list = "\n" + s.car.Title + ":" + w.list
	}
	v, err := sum.Find.Eval(values)
	if err != nil {
		return nil
	}
	step, ok := curriculum.Decimal(sum.Rounding)
	if !ok || step.Sign() <= 0 {
		step = big.NewRat(1, 100)
	}
	w.places = max(decimals(sum.Rounding), 0)
	if !ok {
		w.places = 2
	}
	w.value = curriculum.Round(v, step)
	w.key = w.value.FloatString(w.places)
	w.tolerance = ratOf(larger(sum.Tolerance, halfDigit(w.key)))
	w.explanation = s.explain(fmt.Sprintf("%s = %s.", strings.Join(strings.Fields(sum.Find.Source), " "), curriculum.Written(w.key, sum.Unit, s.language)))
	var shared []string
	for i, slip := range sum.Slips {
		if slip.Formula == nil {
			continue
		}
		v, err := slip.Formula.Eval(values)
		if err != nil {
			continue
		}
		v = curriculum.Round(v, step)
		text := v.FloatString(w.places)
		if !w.apart(v) {
			continue
		}
		if at := slices.IndexFunc(w.slips, func(o NamedSlip) bool { return o.Value == text }); at >= 0 {
			shared = append(shared, text) // two slips meet here: neither can be told from the figure
			continue
		}
		w.slips = append(w.slips, NamedSlip{Element: fmt.Sprintf("%s/slip-%d", sum.Element, i+1), Value: text})
	}
	w.slips = slices.DeleteFunc(w.slips, func(o NamedSlip) bool { return slices.Contains(shared, o.Value) })
	return w
}

// tidyQuestion keeps the end of a question, on one line.
func tidyQuestion(s string) string { return strings.Join(strings.Fields(s), " ") }

// halfDigit is half a unit of a decimal's last digit: "0.05" for 22.5.
func halfDigit(value string) string {
	places := decimals(value)
	return new(big.Rat).Mul(big.NewRat(1, 2), power10(-places)).FloatString(places + 1)
}

// larger is the larger of two decimals, as written; what is no decimal counts as none.
func larger(a, b string) string {
	x, ok := curriculum.Decimal(a)
	if !ok {
		return b
	}
	if y, ok := curriculum.Decimal(b); ok && y.Cmp(x) > 0 {
		return b
	}
	return a
}

// ratOf reads a decimal that is known to be one.
func ratOf(s string) *big.Rat {
	v, ok := curriculum.Decimal(s)
	if !ok {
		panic("quiz: not a decimal: " + s)
	}
	return v
}
