package curriculum

import (
	"errors"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func rat(t testing.TB, s string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("bad number %q in the test", s)
	}
	return r
}

func TestDecimal(t *testing.T) {
	for s, want := range map[string]string{"0": "0", "1200": "1200", "-0.35": "-7/20", "20.64": "516/25", "007": "7", "−4": "-4", " 1 ": "1"} {
		got, ok := Decimal(s)
		if !ok || got.Cmp(rat(t, want)) != 0 {
			t.Errorf("Decimal(%q) = %v, %v; want %s", s, got, ok, want)
		}
	}
	for _, s := range []string{"", "-", ".5", "5.", "1,5", "1e3", "0x10", "1_000", "+1", "1 000", "--1", "1.2.3", "NaN", "Inf", "1/2", "٣", strings.Repeat("1", 41)} {
		if got, ok := Decimal(s); ok {
			t.Errorf("Decimal(%q) = %v, want none", s, got)
		}
	}
}

func TestConvert(t *testing.T) {
	tests := []struct{ value, from, to, want string }{
		{"1", "in", "mm", "25.4"},
		{"1", "in²", "mm²", "645.16"},
		{"1", "lb", "kg", "0.45359237"},
		{"16", "oz", "lb", "1"},
		{"1", "lbf", "N", "4.4482216152605"},
		{"1", "lbf·ft", "N·m", "1.3558179483314004"},
		{"12", "lbf·in", "lbf·ft", "1"},
		{"1", "psi", "Pa", "44482216152605/6451600000"},
		{"1", "bar", "kPa", "100"},
		{"1", "MPa", "bar", "10"},
		{"0", "°C", "K", "273.15"},
		{"100", "°C", "°F", "212"},
		{"-40", "°F", "°C", "-40"},
		{"0", "K", "°F", "-459.67"},
		{"1", "qt", "fl-oz", "32"},
		{"1", "fl-oz", "mL", "29.5735295625"},
		{"1", "L", "mL", "1000"},
		{"1", "h", "min", "60"},
		{"2", "day", "h", "48"},
		{"2", "year", "month", "24"},
		{"1", "mph", "km/h", "1.609344"},
		{"36", "km/h", "m/s", "10"},
		{"1", "km", "cm", "100000"},
		{"7", "", "", "7"},
	}
	for _, tt := range tests {
		got, err := Convert(rat(t, tt.value), Unit(tt.from), Unit(tt.to))
		if err != nil || got.Cmp(rat(t, tt.want)) != 0 {
			t.Errorf("%s %s in %s = %v, %v; want %s", tt.value, tt.from, tt.to, got, err, tt.want)
		}
	}
	for _, pair := range [][2]Unit{{"mm", "N"}, {"day", "month"}, {"N·m", "N"}, {"%", ""}, {"Nm", "N·m"}, {"mm", "inch"}} {
		if got, err := Convert(big.NewRat(1, 1), pair[0], pair[1]); err == nil {
			t.Errorf("1 %s in %s = %v, want an error", pair[0], pair[1], got)
		}
	}
}

// TestConvertReturns converts there and back between all pairs of a dimension: exactly the same number comes back.
func TestConvertReturns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SampledFrom(Units()).Draw(t, "from")
		b := rapid.SampledFrom(Units()).Draw(t, "to")
		if !sameDimension(a, b) {
			return
		}
		v := big.NewRat(rapid.Int64Range(-1e9, 1e9).Draw(t, "n"), rapid.Int64Range(1, 1e6).Draw(t, "d"))
		there, err := Convert(v, a, b)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Convert(there, b, a)
		if err != nil || back.Cmp(v) != 0 {
			t.Fatalf("%v %s → %v %s → %v, %v", v, a, there, b, back, err)
		}
	})
}

func TestRound(t *testing.T) {
	tests := []struct{ v, step, want string }{
		{"2.5", "1", "3"}, {"-2.5", "1", "-3"}, {"2.4", "1", "2"}, {"1.005", "0.01", "1.01"}, {"0.0049", "0.01", "0"},
		{"7", "5", "5"}, {"7.5", "5", "10"}, {"-0.004", "0.01", "0"}, {"3", "0", "3"},
	}
	for _, tt := range tests {
		if got := Round(rat(t, tt.v), rat(t, tt.step)); got.Cmp(rat(t, tt.want)) != 0 {
			t.Errorf("Round(%s, %s) = %v, want %s", tt.v, tt.step, got, tt.want)
		}
	}
}

func TestFormula(t *testing.T) {
	given := map[string]*big.Rat{"a": rat(t, "3"), "b": rat(t, "0.1"), "d": rat(t, "20.64")}
	names := []string{"a", "b", "d"}
	tests := []struct{ src, want string }{
		{"a + b * 2", "3.2"},
		{"(a + b) * 2", "6.2"},
		{"-a ^ 2", "-9"},
		{"2 ^ 3 ^ 2", "512"},
		{"2 ^ -2", "0.25"},
		{"a / b / 3", "10"},
		{"a - b - b", "2.8"},
		{"+a", "3"},
		{"min(a, b, 5)", "0.1"},
		{"max(a, b)", "3"},
		{"round(2.5)", "3"},
		{"round(-2.5)", "-3"},
		{"sqrt(9 / 16)", "0.75"},
		{"sqrt(0)", "0"},
		{"0.1 + 0.2", "0.3"},
		{"1234567890123456.789 * 1000", "1234567890123456789"},
		{"b ^ 20", "1/100000000000000000000"},
	}
	for _, tt := range tests {
		f, err := CompileFormula(tt.src, names)
		if err != nil {
			t.Errorf("%s: %v", tt.src, err)
			continue
		}
		got, err := f.Eval(given)
		if err != nil || got.Cmp(rat(t, tt.want)) != 0 {
			t.Errorf("%s = %v, %v; want %s", tt.src, got, err, tt.want)
		}
	}
}

// TestFormulaDigits compares pi and roots with digits worked out elsewhere.
func TestFormulaDigits(t *testing.T) {
	tests := []struct{ src, want string }{
		{"pi", "3.1415926535897932384626433832795028841972"},
		{"sqrt(2)", "1.4142135623730950488016887242096980785697"},
		{"sqrt(2 / 10 ^ 20)", "0.00000000014142135623730950488016887242096980785697"},
		{"sqrt(2 * 10 ^ 20)", "14142135623.730950488016887242096980785697"},
	}
	for _, tt := range tests {
		f, err := CompileFormula(tt.src, nil)
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.Eval(nil)
		if err != nil {
			t.Fatal(err)
		}
		want := rat(t, tt.want)
		off := new(big.Rat).Sub(got, want)
		// One unit in the 40th digit.
		bound := new(big.Rat).Mul(want, rat(t, "1e-39"))
		if off.Abs(off).Cmp(bound) > 0 {
			t.Errorf("%s = %s, want %s", tt.src, got.FloatString(60), tt.want)
		}
	}
}

func TestFormulaErrors(t *testing.T) {
	names := []string{"a", "zero"}
	given := map[string]*big.Rat{"a": rat(t, "3"), "zero": new(big.Rat)}
	for src, want := range map[string]error{
		"a / zero": ErrDivision, "zero ^ -1": ErrDivision, "1 / (a - 3)": ErrDivision, "sqrt(-a)": ErrRoot, "a ^ 0.5": ErrExponent,
		"a ^ 65": ErrExponent, "10 ^ 31": ErrRange, "10 ^ 20 * 10 ^ 20": ErrRange, "-(10 ^ 16) * 10 ^ 16": ErrRange,
	} {
		f, err := CompileFormula(src, names)
		if err != nil {
			t.Errorf("%s: %v", src, err)
			continue
		}
		if got, err := f.Eval(given); !errors.Is(err, want) {
			t.Errorf("%s = %v, %v; want %v", src, got, err, want)
		}
	}
	f, _ := CompileFormula("a", names)
	if _, err := f.Eval(nil); !errors.Is(err, ErrGiven) {
		t.Errorf("got %v, want %v", err, ErrGiven)
	}
	for _, src := range []string{"", " ", "a +", "a b", "a ** 2", "a % 2", "a > 1 ? 2 : 3", "a == 1", "not a", "true", "\"a\"", "[1]", "{}", "a.b",
		"a()", "len(a)", "sum(a)", "let x = 1; x", "a; a", "b", "1e3", "0x1F", "1_000", ".5", "sqrt()", "sqrt(a, a)", "min(a)", "round(a, 2)",
		"a ?? 1", "1..2", "a | sqrt", "(((((((((a", strings.Repeat("(", 400) + "a", strings.Repeat("-", 300) + "a", strings.Repeat("a+", 400) + "a", "sqrt", "pi()", "a²"} {
		if f, err := CompileFormula(src, names); err == nil {
			t.Errorf("%q compiles to %v", src, f)
		}
	}
}

// TestFormulaAgainstInts compares sums of random whole numbers with Go's own.
func TestFormulaAgainstInts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := rapid.Int64Range(-999, 999).Draw(t, "a"), rapid.Int64Range(-999, 999).Draw(t, "b"), rapid.Int64Range(0, 9).Draw(t, "c")
		f, err := CompileFormula("a * b - (b + a) * c ^ 2 - -a", []string{"a", "b", "c"})
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.Eval(map[string]*big.Rat{"a": big.NewRat(a, 1), "b": big.NewRat(b, 1), "c": big.NewRat(c, 1)})
		if want := big.NewRat(a*b-(b+a)*c*c+a, 1); err != nil || got.Cmp(want) != 0 {
			t.Fatalf("got %v, %v; want %v", got, err, want)
		}
	})
}

func TestJudge(t *testing.T) {
	figure := func(value, high string, u Unit, l LimitKind) Figure {
		return Figure{Value: value, High: high, Unit: u, Limit: l}
	}
	tests := []struct {
		name string
		f    Figure
		q    Quantity
		want Verdict
	}{
		{"at a minimum", figure("20", "", "mm", Minimum), Quantity{"20.00", "mm"}, Within},
		{"just below", figure("20", "", "mm", Minimum), Quantity{"19.999", "mm"}, Below},
		{"in inches, exactly", figure("25.4", "", "mm", Minimum), Quantity{"1", "in"}, Within},
		{"in inches, short", figure("20", "", "mm", Minimum), Quantity{"0.787", "in"}, Below},
		{"at a maximum", figure("0.06", "", "mm", Maximum), Quantity{"0.06", "mm"}, Within},
		{"above", figure("0.06", "", "mm", Maximum), Quantity{"0.061", "mm"}, Above},
		{"low end", figure("0.1", "0.4", "mm", Range), Quantity{"0.1", "mm"}, Within},
		{"high end", figure("0.1", "0.4", "mm", Range), Quantity{"0.4", "mm"}, Within},
		{"under a range", figure("0.1", "0.4", "mm", Range), Quantity{"0.09", "mm"}, Below},
		{"over a range", figure("0.1", "0.4", "mm", Range), Quantity{"0.41", "mm"}, Above},
		{"temperatures", figure("205", "", "°C", Minimum), Quantity{"401", "°F"}, Within},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got, err := tt.f.Judge(tt.q); err != nil || got != tt.want {
				t.Errorf("got %v, %v; want %v", got, err, tt.want)
			}
		})
	}
	for _, bad := range []struct {
		f Figure
		q Quantity
	}{
		{figure("20", "", "mm", Minimum), Quantity{"20", "N"}},
		{figure("20", "", "mm", Minimum), Quantity{"20,0", "mm"}},
		{figure("20", "", "mm", NoLimit), Quantity{"20", "mm"}},
	} {
		if got, err := bad.f.Judge(bad.q); err == nil {
			t.Errorf("%v judges %v as %v, want an error", bad.f, bad.q, got)
		}
	}
}

func TestFigureIn(t *testing.T) {
	tests := []struct {
		f           Figure
		units, want string
	}{
		{Figure{Value: "20", Unit: "mm", Limit: Minimum}, "si", "20 mm"},
		{Figure{Value: "20", Unit: "mm", Limit: Minimum}, "us", "0.788 in (20 mm)"},
		{Figure{Value: "20", Unit: "mm", Limit: Maximum}, "us", "0.787 in (20 mm)"},
		{Figure{Value: "0.1", High: "0.4", Unit: "mm", Limit: Range}, "us", "0.004–0.0157 in (0.1–0.4 mm)"},
		{Figure{Value: "110", Unit: "N·m"}, "us", "81.1 lbf·ft (110 N·m)"},
		{Figure{Value: "1", Unit: "in"}, "si", "25 mm (1 in)"},
		{Figure{Value: "4"}, "us", "4"},
		{Figure{Value: "45", Unit: "°"}, "us", "45°"},
		{Figure{Value: "100", Unit: "°C"}, "us", "212 °F (100 °C)"},
	}
	for _, tt := range tests {
		if got := tt.f.FigureIn(tt.units); got != tt.want {
			t.Errorf("%s in %s = %q, want %q", tt.f, tt.units, got, tt.want)
		}
	}
}

// TestConvertedLimitsAreSafe: a reading at the converted limit never breaks the exact one.
func TestConvertedLimitsAreSafe(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := big.NewRat(rapid.Int64Range(1, 100000).Draw(t, "value"), 100).FloatString(2)
		u := rapid.SampledFrom(Units()).Draw(t, "unit")
		limit := rapid.SampledFrom([]LimitKind{Minimum, Maximum}).Draw(t, "limit")
		units := rapid.SampledFrom([]string{"si", "us"}).Draw(t, "units")
		f := Figure{Value: value, Unit: u, Limit: limit}
		to, differs := shown(u, units)
		if !differs {
			return
		}
		got := convertedLimit(value, u, to, limit == Minimum, limit == Maximum)
		verdict, err := f.Judge(Quantity{got, to})
		if err != nil || verdict != Within {
			t.Fatalf("%s %s shown as %s %s is %s, %v", value, u, got, to, verdict, err)
		}
	})
}

func TestWritten(t *testing.T) {
	for _, tt := range []struct {
		value    string
		unit     Unit
		language string
		want     string
	}{
		{"22.5", "mm", "en", "22.5 mm"},
		{"45", "°", "en", "45°"},
		{"4", "", "en", "4"},
		{"1", "day", "en", "1 day"},
		{"0.5", "day", "en", "0.5 days"},
		{"24", "month", "en", "24 months"},
		{"12–24", "month", "es", "12–24 meses"},
		{"1", "year", "es", "1 año"},
		{"30", "day", "es", "30 días"},
		{"2", "year", "", "2 years"},
	} {
		if got := Written(tt.value, tt.unit, tt.language); got != tt.want {
			t.Errorf("Written(%q, %q, %q) = %q, want %q", tt.value, tt.unit, tt.language, got, tt.want)
		}
	}
	if f := (Figure{Value: "24", Unit: "month", Language: "es"}); f.String() != "24 meses" {
		t.Errorf("a figure of a Spanish sheet reads %q", f)
	}
}
