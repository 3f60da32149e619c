package quiz_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"brakewright/quiz"
)

// orderQuestion is a question of n options with the transitive closure of the pairs [i, j], i before j.
func orderQuestion(n int, pairs [][2]int) quiz.Question {
	before := make([][]bool, n)
	for i := range before {
		before[i] = make([]bool, n)
	}
	for _, p := range pairs {
		before[p[0]][p[1]] = true
	}
	for k := range n {
		for i := range n {
			for j := range n {
				before[i][j] = before[i][j] || before[i][k] && before[k][j]
			}
		}
	}
	q := quiz.Question{ID: "q", Kind: quiz.Order}
	for i := range n {
		q.Options = append(q.Options, quiz.Option{ID: string(rune('a' + i)), Text: "T", Element: "e"})
		for j := range n {
			if before[i][j] {
				q.Key.Pairs = append(q.Key.Pairs, [2]string{string(rune('a' + i)), string(rune('a' + j))})
			}
		}
	}
	return q
}

// Of all orders of up to six options those are right that keep to every forced pair, and no other: told here from the
// pairs as they were drawn, not from their closure. Partial counts the forced pairs that an order keeps.
func TestEveryLinearExtensionIsRight(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(rt, "options")
		var drawn [][2]int
		for i := range n {
			for j := i + 1; j < n; j++ {
				if rapid.IntRange(0, 2).Draw(rt, "forced") == 0 {
					drawn = append(drawn, [2]int{i, j})
				}
			}
		}
		if len(drawn) == 0 {
			drawn = [][2]int{{0, 1}}
		}
		q := orderQuestion(n, drawn)
		f := &quiz.Form{Format: "brakewright-form/1", Questions: []quiz.Question{q}}
		permutations(n, func(order []int) {
			ids := make([]string, n)
			at := make([]int, n)
			for place, i := range order {
				ids[place], at[i] = q.Options[i].ID, place
			}
			keeps := !slices.ContainsFunc(drawn, func(p [2]int) bool { return at[p[0]] > at[p[1]] })
			m := markOne(f, q, quiz.Answer{IDs: ids}, "")
			if m.Correct != keeps || (m.Points == 1) != keeps {
				rt.Fatalf("%v under %v: %+v", ids, drawn, m)
			}
			if m.Partial == nil || m.Partial.Of != len(q.Key.Pairs) || m.Partial.Right+len(m.BrokenPairs) != m.Partial.Of || (m.Partial.Right == m.Partial.Of) != keeps {
				rt.Fatalf("%v under %v: partial %+v, broken %v", ids, drawn, m.Partial, m.BrokenPairs)
			}
		})
	})
}

// Partial never counts: marks and passing are all or nothing, and what is not answered has none.
func TestPartialIsForLearningOnly(t *testing.T) {
	f, err := quiz.ReadForm([]byte(handForm))
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		id     string
		answer quiz.Answer
		right  bool
		want   string
	}{
		{"v", quiz.Answer{IDs: []string{"a", "c"}}, true, "3 of 3"},
		{"v", quiz.Answer{IDs: []string{"a"}}, false, "2 of 3"},
		{"v", quiz.Answer{IDs: []string{"a", "b", "c"}}, false, "2 of 3"}, // ticking all is worth nothing
		{"v", quiz.Answer{IDs: []string{}}, false, "1 of 3"},
		{"o", quiz.Answer{IDs: []string{"a", "c", "b"}}, false, "2 of 3"},
		{"o", quiz.Answer{IDs: []string{"a", "c"}}, false, "1 of 3"},
		{"m", quiz.Answer{Pairs: [][2]string{{"a", "u"}}}, false, "1 of 2"},
		{"m", quiz.Answer{Pairs: [][2]string{{"a", "t"}, {"b", "u"}}}, false, "0 of 2"},
		{"s", quiz.Answer{ID: "a"}, true, ""},
		{"n", quiz.Answer{Text: "22.5"}, true, ""},
	} {
		m := markOne(f, *f.Question(row.id), row.answer, "en")
		got := ""
		if m.Partial != nil {
			got = fmt.Sprintf("%d of %d", m.Partial.Right, m.Partial.Of)
		}
		if got != row.want || m.Correct != row.right || m.Points != map[bool]int{true: 1}[row.right] {
			t.Errorf("%s %+v: %q, %+v", row.id, row.answer, got, m)
		}
	}
	m := quiz.Mark(f, &quiz.Answers{Answers: map[string]quiz.Answer{"o": {IDs: []string{"a", "c", "b"}}}}, "en")
	if m.Points != 0 || *m.Passed || !slices.Equal(m.CriticalFailed, []string{"o"}) {
		t.Errorf("%s", m.JSON())
	}
	for _, q := range m.Questions {
		if (q.Partial != nil) != (q.ID == "o") {
			t.Errorf("%s: partial %v", q.ID, q.Partial)
		}
	}
}

// What people type at their worst: never a panic, never a guess.
func TestHostileFigures(t *testing.T) {
	long := strings.Repeat("2", 63)
	for _, row := range []struct{ value, unit, typed, locale, want string }{
		// Nothing, or nothing that is a number.
		{"22.5", "mm", " ", "", no}, {"22.5", "mm", "mm", "", no}, {"22.5", "mm", ".", "", no}, {"22.5", "mm", "-", "", no}, {"22.5", "mm", ",", "", no},
		{"22.5", "mm", "NaN", "", no}, {"22.5", "mm", "Inf", "", no}, {"22.5", "mm", "∞", "", no}, {"22.5", "mm", "½", "", no}, {"22.5", "mm", "\x00", "", no}, {"22.5", "mm", "\xff22.5", "", no},
		{"22.5", "mm", "twenty-two", "", no},
		// Other notations are not guessed at.
		{"22.5", "mm", "2.25e1", "", no}, {"22.5", "mm", "0x16", "", no}, {"22.5", "mm", "45/2", "", no}, {"22.5", "mm", "22 1/2", "", no}, {"22.5", "mm", "22_5", "", no},
		{"22.5", "mm", "--22.5", "", no}, {"22.5", "mm", "+-22.5", "", no}, {"22.5", "mm", "22.5-", "", no},
		{"22.5", "mm", "22–23 mm", "", no}, {"22.5", "mm", "22.5 ± 0.1", "", no}, {"22.5", "mm", "~22.5", "", no}, {"22.5", "mm", "<22.5", "", no},
		{"22.5", "mm", "22.5 or 23", "", no}, {"22.5", "mm", "22.5 mm 23 mm", "", no}, {"22.5", "mm", "mm 22.5", "", no},
		{"22.5", "mm", long, "", no}, {"22.5", "mm", "0." + long, "", no}, {"22.5", "mm", strings.Repeat("9", 10000), "", no},
		// Separators that make no number.
		{"22.5", "mm", "22..5", "", no}, {"22.5", "mm", "22.,5", "", no}, {"22.5", "mm", "2.2.5", "", no}, {"22.5", "mm", "22 .5", "", no},
		{"1234567", "N", "1,2345,67", "", no}, {"1234567", "N", "12,34,567", "", no}, {"1234567", "N", "1.234,567", "", no}, {"500", "N", "0,500,000", "", no}, {"500", "N", "0 500", "", no},
		{"1234", "N", "1 23 4", "", no}, {"1234", "N", "1''234", "", no}, {"1234", "N", "1  234", "", no},
		// What has one meaning is read, however it is dressed.
		{"22.5", "mm", "22.5 mm.", "", yes}, {"22", "mm", "22.", "", yes}, {"22", "mm", "22,", "", yes}, {"22.5", "mm", "\t22.5\u00a0mm\n", "", yes},
		{"22.5", "mm", "２２．５ mm", "", yes}, {"22.5", "mm", "22.5\u200bmm", "", yes}, {"22.5", "mm", "\u200e22.5", "", yes}, {"22.5", "mm", "22.50 MM", "", yes},
		{"0.5", "mm", ".5", "", yes}, {"0.5", "mm", ",5", "", yes}, {"-0.5", "mm", "-.5", "", yes}, {"-0.5", "mm", "\u2212 0.5", "", yes}, {"0", "mm", "-0", "", yes},
		{"22.5", "mm", "0.886''", "", yes}, {"22.5", "mm", "0.886″", "", yes}, {"22.5", "mm", "0.886 in.", "", yes},
		{"16", "N·m", "11.8 foot-pounds", "", yes}, {"16", "N·m", "16 N-m", "", yes}, {"16", "N·m", "16 N•m", "", yes},
		{"2.3", "bar", "2,3\u2009bar", "", yes}, {"2.3", "bar", "0.23 MPa", "", yes}, {"2.3", "bar", "33.4 PSI", "", yes},
		{"1234567.5", "N", "1\u202f234\u202f567,5", "", yes}, {"1234567.5", "N", "1'234'567.5", "", yes}, {"1234567.5", "N", "1’234’567,5", "de-CH", yes},
		// One separator, three digits: only the locale tells.
		{"2.345", "mm", "2.345", "", ask}, {"2.345", "mm", "2,345", "", ask}, {"2.345", "mm", "2.345", "en", yes}, {"2.345", "mm", "2,345", "es", yes},
		{"2345", "N", "2.345", "es", yes}, {"2345", "N", "2,345", "en", yes}, {"2.345", "mm", "-2.345", "", ask}, {"2.345", "mm", "2.345 mm", "", ask},
		{"2.345", "mm", "2.3450", "", yes}, {"0.345", "mm", "0.345", "", yes}, {"0.345", "mm", ".345", "", yes}, {"2.345", "mm", "02.345", "", yes},
		{"2.345", "mm", "2.345 furlong", "", no}, // not asked back: it is wrong either way
		// The unit is part of the answer.
		{"22.5", "mm", "22.5 m", "", no}, {"22.5", "mm", "22.5 cm", "", no}, {"22.5", "mm", "22.5 mm²", "", no}, {"22.5", "mm", "22.5 °", "", no}, {"4", "", "4 %", "", no},
		{"90", "°C", "90 º C", "", yes}, {"90", "°C", "90", "", yes}, {"90", "°C", "90 °F", "", no}, {"90", "°C", "194 F", "", yes},
	} {
		f, q := numberForm(row.value, row.unit, "0", quiz.NamedSlip{Element: "arithmetic/1/slip-1", Value: "45.0"})
		m := markOne(f, q, quiz.Answer{Text: row.typed}, row.locale)
		got := outcome(m)
		if got != row.want || (m.Points == 1) != m.Correct {
			t.Errorf("%s %s, typed %.40q in %q: %s, want %s", row.value, row.unit, row.typed, row.locale, got, row.want)
		}
	}
}

// written is a way of writing a figure with its thousands and decimals.
type written struct{ group, decimal, locale string }

// However a figure is written, what is read is that figure: right against itself to the last digit, wrong against the
// next. A writing that the locale does not settle is asked back, never read as another figure.
func TestFiguresAreReadAsWritten(t *testing.T) {
	ways := []written{
		{"", ".", ""}, {"", ",", ""}, {",", ".", "en"}, {".", ",", "es"}, {"\u202f", ",", "fr"}, {"\u2009", ".", ""}, {"\u00a0", ",", ""}, {" ", ",", "es"},
		{"'", ".", "de-CH"}, {"’", ".", ""}, {",", ".", ""}, {".", ",", ""}, {"", ".", "en"}, {"", ",", "es"},
	}
	rapid.Check(t, func(rt *rapid.T) {
		whole := rapid.Int64Range(0, 99999999).Draw(rt, "whole")
		places := rapid.IntRange(0, 4).Draw(rt, "places")
		fraction := fmt.Sprintf("%04d", rapid.IntRange(0, 9999).Draw(rt, "fraction"))[:places]
		w := rapid.SampledFrom(ways).Draw(rt, "way")
		minus := rapid.SampledFrom([]string{"", "-", "−", "–"}).Draw(rt, "minus")
		digits := fmt.Sprint(whole)
		typed := ""
		for i, d := range digits {
			if i > 0 && (len(digits)-i)%3 == 0 {
				typed += w.group
			}
			typed += string(d)
		}
		key, last := digits, "1"
		if places > 0 {
			typed += w.decimal + fraction
			key += "." + fraction
			last = "0." + strings.Repeat("0", places-1) + "1"
		}
		sign := ""
		if minus != "" && strings.Trim(key, "0.") != "" {
			sign = "-"
		}
		f, q := numberForm(sign+key, "mm", "0")
		m := markOne(f, q, quiz.Answer{Text: minus + typed + " mm"}, w.locale)
		if lone := strings.Count(typed, ".")+strings.Count(typed, ",") == 1; m.AskBack && lone && w.locale == "" {
			return
		}
		if !m.Correct {
			rt.Fatalf("%q in %q is not read as %s%s: %+v", typed, w.locale, sign, key, m)
		}
		// Two units of the last digit away it is another figure.
		far, q2 := numberForm(sign+key, "mm", "0")
		if m := markOne(far, q2, quiz.Answer{Value: shifted(key, last, sign), Unit: "mm"}, ""); m.Correct {
			rt.Fatalf("%s is taken for %s", shifted(key, last, sign), key)
		}
	})
}

// shifted is a decimal two units of its last digit further from 0.
func shifted(key, last, sign string) string {
	digits := strings.Replace(key, ".", "", 1)
	n := int64(0)
	for _, d := range digits {
		n = 10*n + int64(d-'0')
	}
	n += 2
	text := fmt.Sprintf("%0*d", len(digits), n)
	if places := len(last) - 2; places > 0 {
		text = text[:len(text)-places] + "." + text[len(text)-places:]
	}
	return sign + text
}

// A diagnosis names the slip that a wrong figure equals, in any unit, and never stands beside a right one, however near
// the slip lies to the key.
func TestDiagnosisNeverBesideRight(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		key := rapid.IntRange(-5000, 5000).Draw(rt, "key")
		slip := key + rapid.IntRange(-300, 300).Draw(rt, "off")
		typed := rapid.SampledFrom([]int{key, slip, (key + slip) / 2, slip + 1, key - 1}).Draw(rt, "typed")
		decimal := func(n int) string {
			sign := ""
			if n < 0 {
				sign, n = "-", -n
			}
			return fmt.Sprintf("%s%d.%02d", sign, n/100, n%100)
		}
		f, q := numberForm(decimal(key), "mm", "0.05", quiz.NamedSlip{Element: "arithmetic/1/slip-1", Value: decimal(slip)})
		m := markOne(f, q, quiz.Answer{Text: decimal(typed)}, "en")
		off := typed - key
		right := max(off, -off) <= 5
		if m.Correct != right || m.Correct && m.Diagnosis != nil || !right && (m.Diagnosis != nil) != (typed == slip) {
			rt.Fatalf("key %s, slip %s, typed %s: %+v", decimal(key), decimal(slip), decimal(typed), m)
		}
	})
}

// Marks recomputed from stored form and answers are equal, but for what was voided: that counts as right, takes no point
// from anybody and fails nobody.
func TestMarkedAgain(t *testing.T) {
	for _, p := range programmes(t) {
		for seed := range soak(100) {
			f := mustGenerate(t, p, quiz.Request{Questions: 12}, quiz.Draw{Seed: uint64(seed)})
			percent := 60
			f.PassPercent = &percent
			a := &quiz.Answers{Answers: map[string]quiz.Answer{}}
			for i, q := range f.Questions {
				switch (i + seed) % 3 {
				case 0:
					a.Answers[q.ID] = right(q)
				case 1:
					a.Answers[q.ID] = wrong(q)
				}
			}
			before := quiz.Mark(f, a, "en")
			stored, err := quiz.ReadForm(f.JSON())
			if err != nil {
				t.Fatal(err)
			}
			answers, err := quiz.ReadAnswers(quiz.AnswersJSON(a), stored)
			if err != nil {
				t.Fatal(err)
			}
			if again := quiz.Mark(stored, answers, "en"); string(again.JSON()) != string(before.JSON()) {
				t.Fatalf("marked again:\n%s\n%s", before.JSON(), again.JSON())
			}
			bad := f.Questions[seed%len(f.Questions)]
			file := fmt.Sprintf(`{"format":"brakewright-voided/1","voided":[{"question":%q,"lesson":%q,"edition":%q}]}`, bad.ID, bad.Lesson, bad.Edition)
			voided, err := quiz.ReadVoided([]byte(file))
			if err != nil {
				t.Fatal(err)
			}
			after := quiz.MarkVoided(stored, answers, "en", voided.Holds)
			for i, q := range after.Questions {
				if q.Voided != (q.ID == bad.ID) || q.Voided && !q.Correct || !q.Voided && q.Correct != before.Questions[i].Correct {
					t.Fatalf("%s: %+v", q.ID, q)
				}
			}
			if after.Points < before.Points || *before.Passed && !*after.Passed || len(after.CriticalFailed) > len(before.CriticalFailed) || slices.Contains(after.CriticalFailed, bad.ID) {
				t.Fatalf("a void takes something away:\n%s\n%s", before.JSON(), after.JSON())
			}
		}
	}
}

func TestReadVoided(t *testing.T) {
	schema := mustSchema(t, "voided-1")
	q := quiz.Question{ID: "q", Lesson: "l", Edition: "e"}
	for file, holds := range map[string]bool{
		`{"format":"brakewright-voided/1","voided":[]}`:                                             false,
		`{"format":"brakewright-voided/1","voided":[{"question":"q","lesson":"l"}]}`:                true,
		`{"format":"brakewright-voided/1","voided":[{"question":"q","lesson":"l","edition":"e"}]}`:  true,
		`{"format":"brakewright-voided/1","voided":[{"question":"q","lesson":"l","edition":"e2"}]}`: false,
		`{"format":"brakewright-voided/1","voided":[{"question":"q","lesson":"other"}]}`:            false,
	} {
		v, err := quiz.ReadVoided([]byte(file))
		if err != nil || v.Holds(&q) != holds {
			t.Errorf("%s: %v %v", file, v, err)
		}
		if err := valid(t, schema, []byte(file)); err != nil {
			t.Error(err)
		}
	}
	for file, want := range map[string]string{
		`{"format":"brakewright-voided/2","voided":[]}`:                 "the format is",
		`{"format":"brakewright-voided/1"}`:                             "names no voided questions",
		`{"format":"brakewright-voided/1","voided":[{"question":"q"}]}`: "names no question or no lesson",
		`{"format":"brakewright-voided/1","voided":[{"id":"q"}]}`:       "unknown field",
		`["q"]`: "not a file of voided questions",
	} {
		if v, err := quiz.ReadVoided([]byte(file)); v != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", file, err, want)
		}
		if err := valid(t, schema, []byte(file)); err == nil {
			t.Errorf("%s fits the schema", file)
		}
	}
}
