package quiz

import (
	"math/big"
	"strings"
	"unicode"

	"brakewright/curriculum"
)

// maxFigure bounds typed figures: nobody types more, and exact arithmetic on longer ones costs time.
const maxFigure = 64

// typed is a figure as a person typed it.
type typed struct {
	value *big.Rat
	half  *big.Rat // half a unit of its last digit
	unit  curriculum.Unit
	bare  bool // no unit was typed
}

// reading of a typed text.
type reading uint8

const (
	unreadable reading = iota
	ambiguous          // a lone comma or dot before exactly three digits, which the locale does not settle
	read
)

// readTyped reads a number with or without a unit: "22.5 mm", "0.886 in", "2,3 bar", "1 200 N·m", "−0.35". Digits may be
// grouped in threes by spaces, apostrophes, commas or dots. Of a comma and a dot in one number the last is the decimal
// separator. A lone comma or dot is the decimal separator unless exactly three digits follow it and one to three digits
// that do not begin with 0 stand before it: then only the locale can tell, and where it does not the figure is ambiguous.
func readTyped(text, locale string) (typed, reading) {
	if len(text) > maxFigure {
		return typed{}, unreadable
	}
	text = strings.TrimSpace(strings.Map(plainRune, text))
	negative := false
	if rest, ok := strings.CutPrefix(text, "-"); ok {
		negative, text = true, strings.TrimSpace(rest)
	} else if rest, ok := strings.CutPrefix(text, "+"); ok {
		text = strings.TrimSpace(rest)
	}
	number, unitText := cutNumber(text)
	digits, places, how := plainNumber(number, locale)
	if how == unreadable {
		return typed{}, unreadable
	}
	unit, bare, ok := readUnit(unitText)
	if !ok {
		return typed{}, unreadable
	}
	if how == ambiguous {
		return typed{}, ambiguous
	}
	v, ok := new(big.Rat).SetString(digits)
	if !ok {
		return typed{}, unreadable
	}
	v.Mul(v, power10(-places))
	if negative {
		v.Neg(v)
	}
	return typed{value: v, half: new(big.Rat).Mul(big.NewRat(1, 2), power10(-places)), unit: unit, bare: bare}, read
}

// plainRune turns the spaces, minus signs and apostrophes of typesetting and of phones into plain ones.
func plainRune(r rune) rune {
	switch r {
	case '−', '‐', '‑', '‒', '–', '—', '﹣', '－':
		return '-'
	case '’', '‘', '´', '`', 'ʼ':
		return '\''
	case '，':
		return ','
	case '．':
		return '.'
	}
	if '０' <= r && r <= '９' { // full width
		return r - '０' + '0'
	}
	if unicode.IsSpace(r) || unicode.Is(unicode.Cf, r) { // also what cannot be seen: joiners, marks of direction
		return ' '
	}
	return r
}

// cutNumber splits a text behind the last digit of the number it begins with. A space belongs to the number only
// between digits.
func cutNumber(s string) (number, rest string) {
	end := 0
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case '0' <= c && c <= '9':
			end = i + 1
		case c == '.' || c == ',':
			if i+1 >= len(s) || s[i+1] < '0' || s[i+1] > '9' {
				return s[:end], s[end:]
			}
		case c == ' ' || c == '\'':
			if end != i || i+1 >= len(s) || s[i+1] < '0' || s[i+1] > '9' {
				return s[:end], s[end:]
			}
		default:
			return s[:end], s[end:]
		}
	}
	return s[:end], s[end:]
}

// plainNumber takes the grouping out of a number: digits without a separator, and how many of them stand behind the
// decimal separator.
func plainNumber(s, locale string) (digits string, places int, how reading) {
	if s == "" {
		return "", 0, unreadable
	}
	if strings.ContainsAny(s, " '") {
		// Grouped by spaces or apostrophes: a comma or dot behind that is the decimal separator.
		whole, fraction, has := s, "", false
		if i := strings.IndexAny(s, ".,"); i >= 0 {
			whole, fraction, has = s[:i], s[i+1:], true
		}
		mark := " "
		if strings.Contains(whole, "'") {
			mark = "'"
		}
		whole, ok := ungroup(whole, mark)
		if !ok || has && !onlyDigits(fraction) {
			return "", 0, unreadable
		}
		return whole + fraction, len(fraction), read
	}
	commas, dots := strings.Count(s, ","), strings.Count(s, ".")
	switch {
	case commas == 0 && dots == 0:
		return s, 0, digitsOnly(s)
	case commas > 0 && dots > 0:
		decimal, group := ".", ","
		if strings.LastIndex(s, ",") > strings.LastIndex(s, ".") {
			decimal, group = ",", "."
		}
		whole, fraction, _ := strings.Cut(s, decimal)
		whole, ok := ungroup(whole, group)
		if !ok || !onlyDigits(fraction) {
			return "", 0, unreadable
		}
		return whole + fraction, len(fraction), read
	case commas > 1 || dots > 1:
		mark := ","
		if dots > 1 {
			mark = "."
		}
		whole, ok := ungroup(s, mark)
		if !ok {
			return "", 0, unreadable
		}
		return whole, 0, read
	}
	i := strings.IndexAny(s, ".,")
	whole, fraction := s[:i], s[i+1:]
	if whole == "" {
		whole = "0"
	}
	if !onlyDigits(whole) || !onlyDigits(fraction) {
		return "", 0, unreadable
	}
	if len(fraction) != 3 || len(whole) > 3 || whole[0] == '0' {
		return whole + fraction, len(fraction), read
	}
	switch decimalMark(locale) {
	case s[i]:
		return whole + fraction, 3, read
	case 0:
		return "", 0, ambiguous
	}
	return whole + fraction, 0, read
}

func digitsOnly(s string) reading {
	if onlyDigits(s) {
		return read
	}
	return unreadable
}

func onlyDigits(s string) bool {
	return s != "" && strings.IndexFunc(s, func(r rune) bool { return r < '0' || r > '9' }) < 0
}

// ungroup takes out a grouping mark that stands before every three digits; nobody groups behind a leading 0.
func ungroup(s, mark string) (string, bool) {
	parts := strings.Split(s, mark)
	for i, p := range parts {
		if !onlyDigits(p) || i > 0 && len(p) != 3 || i == 0 && len(parts) > 1 && (len(p) > 3 || p[0] == '0') {
			return "", false
		}
	}
	return strings.Join(parts, ""), true
}

// decimalMark is the decimal separator of a locale ("en", "es-MX", "es_ES"), or 0 where we do not know it. In Mexico,
// Central America, the Spanish-speaking Caribbean and the United States Spanish writes a point.
func decimalMark(locale string) byte {
	locale = strings.ToLower(strings.ReplaceAll(locale, "_", "-"))
	language, region, _ := strings.Cut(locale, "-")
	region, _, _ = strings.Cut(region, ".")
	switch language {
	case "en":
		if region == "za" {
			return 0
		}
		return '.'
	case "es":
		switch region {
		case "mx", "us", "pr", "do", "gt", "hn", "ni", "pa", "sv", "419":
			return '.'
		}
		return ','
	case "zh", "ja", "ko", "he", "th":
		return '.'
	case "fr", "it", "pt", "nl", "pl", "sv", "da", "nb", "no", "fi", "cs", "sk", "ru", "uk", "tr", "ro", "hu", "el", "ca", "gl", "eu":
		return ','
	case "de":
		if region == "ch" || region == "li" {
			return '.'
		}
		return ','
	}
	return 0
}

// unitNames are further ways in which people write the units of the lesson format, in lower case and without spaces, dots
// and hyphens.
var unitNames = func() map[string]curriculum.Unit {
	m := map[string]curriculum.Unit{}
	for unit, others := range map[curriculum.Unit]string{
		"mm": "millimetre millimetres millimeter millimeters milímetro milímetros", "cm": "centimetre centimetres centimeter centimeters centímetro centímetros",
		"m": "metre metres meter meters metro metros", "km": "kilometre kilometres kilometer kilometers kilómetro kilómetros", "in": "inch inches \" '' ″ pulgada pulgadas pulg",
		"mm²": "mm2 mm^2 sqmm", "cm²": "cm2 cm^2 sqcm", "in²": "in2 in^2 sqin",
		"g": "gram grams gramo gramos", "kg": "kilogram kilograms kilo kilos kilogramo kilogramos", "lb": "lbs pound pounds libra libras", "oz": "ounce ounces onza onzas",
		"N": "newton newtons", "kN": "kilonewton kilonewtons", "lbf": "lbsf",
		"N·m": "nm n*m nxm newtonmetre newtonmetres newtonmeter newtonmeters", "lbf·ft": "lbfft ftlbf ftlb ftlbs lbft lbsft lb*ft ft*lb ft*lbf lbf*ft footpound footpounds poundfoot poundfeet", "lbf·in": "lbfin inlbf inlb inlbs lbin lbsin lb*in in*lb in*lbf lbf*in inchpound inchpounds poundinch poundinches",
		"Pa": "pascal pascals", "kPa": "kilopascal kilopascals", "MPa": "megapascal megapascals", "bar": "bars bares", "psi": "lbf/in2 lb/in2 lbf/in² lb/in²",
		"°C": "c degc celsius degreescelsius ℃", "°F": "f degf fahrenheit degreesfahrenheit ℉", "K": "kelvin kelvins",
		"mL": "cc cm3 cm³ millilitre millilitres milliliter milliliters mililitro mililitros", "L": "litre litres liter liters litro litros ltr", "fl-oz": "floz usfloz fluidounce fluidounces", "qt": "quart quarts",
		"mm²/s": "mm2/s mm^2/s cst", "s": "sec secs second seconds seg segundo segundos", "min": "mins minute minutes minuto minutos", "h": "hr hrs hour hours hora horas",
		"day": "d days día días dia dias", "month": "months mes meses", "year": "years yr yrs año años", "%": "percent percentage porciento", "°": "deg degree degrees grado grados º",
		"km/h": "kmh kph kmph", "mph": "mi/h", "m/s": "", "1/min": "rpm r/min rev/min /min min^1", "V": "volt volts voltio voltios", "A": "amp amps ampere amperes amperio amperios",
	} {
		m[squeezed(string(unit))] = unit
		for o := range strings.FieldsSeq(others) {
			m[squeezed(o)] = unit
		}
	}
	return m
}()

// squeezed is a unit in lower case without the marks between its factors.
func squeezed(s string) string {
	s = strings.NewReplacer(" ", "", "·", "", "⋅", "", "•", "", "∙", "", ".", "", "-", "", "×", "*", "º", "°", "˚", "°", "′′", "″").Replace(s)
	return strings.ToLower(s)
}

// readUnit reads what stands behind a number. bare says that nothing does.
func readUnit(s string) (unit curriculum.Unit, bare, ok bool) {
	s = strings.TrimSpace(s)
	if s == "" || s == "." || s == "," { // the end of a sentence
		return "", true, true
	}
	if _, ok := curriculum.Unit(s).Dimension(); ok {
		return curriculum.Unit(s), false, true
	}
	unit, ok = unitNames[squeezed(s)]
	return unit, false, ok
}
