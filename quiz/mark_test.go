package quiz_test

import (
	"slices"
	"strings"
	"testing"

	"brakewright/quiz"
)

// right is the right answer to a question.
func right(q quiz.Question) quiz.Answer {
	switch q.Kind {
	case quiz.Several:
		return quiz.Answer{IDs: q.Key.IDs}
	case quiz.Match:
		return quiz.Answer{Pairs: q.Key.Pairs}
	case quiz.Number:
		return quiz.Answer{Text: q.Key.Number.Value + " " + q.Key.Number.Unit}
	case quiz.Order:
		var ids []string
		for len(ids) < len(q.Options) {
			for _, o := range q.Options {
				if !slices.Contains(ids, o.ID) && !slices.ContainsFunc(q.Key.Pairs, func(p [2]string) bool { return p[1] == o.ID && !slices.Contains(ids, p[0]) }) {
					ids = append(ids, o.ID)
				}
			}
		}
		return quiz.Answer{IDs: ids}
	}
	return quiz.Answer{ID: q.Key.ID}
}

// wrong is a wrong answer to a question.
func wrong(q quiz.Question) quiz.Answer {
	switch q.Kind {
	case quiz.Several:
		return quiz.Answer{IDs: q.Key.IDs[1:]}
	case quiz.Match:
		pairs := slices.Clone(q.Key.Pairs)
		pairs[0][1], pairs[1][1] = pairs[1][1], pairs[0][1]
		return quiz.Answer{Pairs: pairs}
	case quiz.Number:
		return quiz.Answer{Text: "9" + q.Key.Number.Value}
	case quiz.Order:
		a := right(q)
		slices.Reverse(a.IDs)
		return a
	}
	for _, o := range q.Options {
		if o.ID != q.Key.ID {
			return quiz.Answer{ID: o.ID}
		}
	}
	return quiz.Answer{}
}

func TestMarkWholeForms(t *testing.T) {
	p := mustBuild(t, tricky)
	for seed := range 50 {
		f := mustGenerate(t, p, quiz.Request{Blueprint: "pump-theory"}, quiz.Draw{Seed: uint64(seed), Vehicle: "rig-one"})
		good, bad := &quiz.Answers{Answers: map[string]quiz.Answer{}}, &quiz.Answers{Answers: map[string]quiz.Answer{}}
		critical := 0
		for _, q := range f.Questions {
			good.Answers[q.ID], bad.Answers[q.ID] = right(q), wrong(q)
			if q.Critical {
				critical++
			}
		}
		if m := quiz.Mark(f, good, "en"); m.Percent != 100 || m.Points != 12 || m.Max != 12 || !*m.Passed || len(m.CriticalFailed) != 0 || m.CriticalFailed == nil {
			t.Fatalf("seed %d: %s", seed, m.JSON())
		}
		if m := quiz.Mark(f, bad, "en"); m.Percent != 0 || *m.Passed || len(m.CriticalFailed) != critical {
			t.Fatalf("seed %d: %s", seed, m.JSON())
		}
		if m := quiz.Mark(f, &quiz.Answers{}, "en"); m.Points != 0 || *m.Passed || len(m.Questions) != 12 {
			t.Fatalf("seed %d: unanswered: %s", seed, m.JSON())
		}
		// All but one critical question right is enough by percent, and not enough all the same.
		for _, q := range f.Questions {
			if !q.Critical {
				continue
			}
			delete(good.Answers, q.ID)
			if m := quiz.Mark(f, good, "en"); m.Percent < 70 || *m.Passed || !slices.Equal(m.CriticalFailed, []string{q.ID}) {
				t.Fatalf("seed %d: %s", seed, m.JSON())
			}
			break
		}
	}
}

// Every order that keeps to the pairs is right; every other is wrong and says which pairs it breaks.
func TestMarkOrders(t *testing.T) {
	for _, p := range programmes(t) {
		for seed := range soak(200) {
			f := mustGenerate(t, p, quiz.Request{Families: []string{"order"}, Questions: 3}, quiz.Draw{Seed: uint64(seed)})
			for _, q := range f.Questions {
				permutations(len(q.Options), func(order []int) {
					var ids []string
					for _, i := range order {
						ids = append(ids, q.Options[i].ID)
					}
					broken := 0
					for _, pair := range q.Key.Pairs {
						if slices.Index(ids, pair[0]) > slices.Index(ids, pair[1]) {
							broken++
						}
					}
					m := markOne(f, q, quiz.Answer{IDs: ids}, "")
					if m.Correct != (broken == 0) || len(m.BrokenPairs) != broken || m.BrokenPairs == nil {
						t.Fatalf("%d broken: %+v", broken, m)
					}
				})
				if m := markOne(f, q, quiz.Answer{IDs: right(q).IDs[1:]}, ""); m.Correct {
					t.Fatal("an order without one of its options is right")
				}
			}
		}
	}
}

func markOne(f *quiz.Form, q quiz.Question, a quiz.Answer, locale string) quiz.QuestionMark {
	one := *f
	one.Questions = []quiz.Question{q}
	return quiz.Mark(&one, &quiz.Answers{Answers: map[string]quiz.Answer{q.ID: a}}, locale).Questions[0]
}

func numberForm(value, unit, tolerance string, slips ...quiz.NamedSlip) (*quiz.Form, quiz.Question) {
	q := quiz.Question{ID: "q", Kind: quiz.Number, Options: []quiz.Option{}, Slips: slips, Key: quiz.Key{Number: &quiz.NumberKey{Value: value, Unit: unit, Tolerance: tolerance}}}
	return &quiz.Form{Format: "brakewright-form/1", Questions: []quiz.Question{q}}, q
}

// What becomes of a typed figure.
const yes, no, ask = "right", "wrong", "ask back"

func outcome(m quiz.QuestionMark) string {
	switch {
	case m.AskBack:
		return ask
	case m.Correct:
		return yes
	}
	return no
}

func TestMarkNumbers(t *testing.T) {
	for _, row := range []struct{ value, unit, tolerance, typed, locale, want string }{
		{"22.5", "mm", "0.05", "22.5 mm", "", yes},
		{"22.5", "mm", "0.05", "22.5", "", yes},
		{"22.5", "mm", "0.05", "22,5 mm", "en", yes},
		{"22.5", "mm", "0.05", "22,5mm", "es", yes},
		{"22.5", "mm", "0.05", "22.54", "", yes}, // within half of the key's last digit
		{"22.5", "mm", "0.05", "22.55", "", yes}, // exactly on it
		{"22.5", "mm", "0.05", "22.56", "", no},  //
		{"22.5", "mm", "0.05", "22", "", yes},    // exactly half a unit of its own last digit
		{"22.5", "mm", "0.05", "21", "", no},     //
		{"22.5", "mm", "0.05", "0.886 in", "", yes},
		{"22.5", "mm", "0.05", "0.886 in", "es", yes}, // no group begins with 0
		{"22.5", "mm", "0.05", "0,886\"", "en", yes},
		{"22.5", "mm", "0.05", "2.25 cm", "", yes},
		{"22.5", "mm", "0.05", "22.5 bar", "", no},
		{"22.5", "mm", "0.05", "22.5 furlong", "", no},
		{"22.5", "mm", "0.05", "22.5.1", "", no},
		{"22.5", "mm", "0.05", "", "", no},
		{"22.5", "mm", "0.05", "about 22.5", "", no},
		{"22.5", "mm", "0.05", "+22.5 mm", "", yes},
		{"-0.35", "mm", "0.005", "−0.35 mm", "", yes},
		{"-0.35", "mm", "0.005", "–0,35 mm", "es", yes},
		{"-0.35", "mm", "0.005", "0.35 mm", "", no},
		{"2.3", "bar", "0.05", "2,3 bar", "", yes},
		{"2.3", "bar", "0.05", "230 kPa", "", yes},
		{"2.3", "bar", "0.05", "230\u00a0kPa", "", yes},
		{"2.3", "bar", "0.05", "230\u202fkPa", "", yes},
		{"1234", "N", "0.5", "1.234 N", "", ask},
		{"1234", "N", "0.5", "1,234 N", "", ask},
		{"1234", "N", "0.5", "1,234 N", "en", yes},
		{"1234", "N", "0.5", "1.234 N", "es", yes},
		{"1234", "N", "0.5", "1.234 N", "es-MX", no}, // 1.234 N there
		{"1234", "N", "0.5", "1.234 N", "xx", ask},
		{"1234", "N", "0.5", "1.234 kN", "en", yes},
		{"1234", "N", "0.5", "1 234 N", "", yes},
		{"1234", "N", "0.5", "1\u2009234 N", "", yes},
		{"1234", "N", "0.5", "1'234 N", "", yes},
		{"1234", "N", "0.5", "1,234.0 N", "", yes},
		{"1234", "N", "0.5", "1.234,0 N", "en", yes},
		{"1234567", "N", "0.5", "1,234,567 N", "", yes},
		{"1234567", "N", "0.5", "1.234.567 N", "", yes},
		{"1234", "N", "0.5", "12,34 N", "", no}, // a decimal comma: 12.34
		{"1234", "N", "0.5", "1234,0 N", "", yes},
		{"1.234", "mm", "0.0005", "1234.567", "", no},
		{"1234.567", "mm", "0.0005", "1234.567", "", yes}, // four digits before it: no group
		{"16", "N·m", "0.5", "16 Nm", "", yes},
		{"16", "N·m", "0.5", "16 N m", "", yes},
		{"16", "N·m", "0.5", "16 N⋅m", "", yes},
		{"16", "N·m", "0.5", "11.8 ft-lb", "", yes},
		{"16", "N·m", "0.5", "141.6 lbf·in", "", yes},
		{"16", "N·m", "0.5", "16 nm", "", yes},
		{"100", "°C", "0.5", "212 °F", "", yes},
		{"100", "°C", "0.5", "213 °F", "", no},
		{"100", "°C", "0.5", "373.15 K", "", yes},
		{"20", "%", "0.5", "20%", "", yes},
		{"90", "°", "0.5", "90°", "", yes},
		{"4", "", "0.5", "4", "", yes},
		{"4", "", "0.5", "4.0", "", yes},
		{"4", "", "0.5", "4 mm", "", no},
		{"4.84", "MPa", "0.02", "4.86", "", yes}, // the sum's own tolerance
		{"4.84", "MPa", "0.02", "4.861", "en", no},
		{"4.84", "MPa", "0.02", "4.8", "", yes}, // half a unit of its own last digit
		{"4.84", "MPa", "0.02", "48.4 bar", "", yes},
		{"4.84", "MPa", "0.02", "1e400", "", no},
		{"4.84", "MPa", "0.02", strings.Repeat("4", 100), "", no},
		{"7", "day", "0.5", "7 days", "", yes},
		{"30", "s", "0.5", "0.5 min", "", yes},
	} {
		f, q := numberForm(row.value, row.unit, row.tolerance)
		m := markOne(f, q, quiz.Answer{Text: row.typed}, row.locale)
		got := outcome(m)
		if got != row.want || m.Correct && m.Points != 1 || !m.Correct && m.Points != 0 {
			t.Errorf("%s %s, typed %q in %q: %s, want %s", row.value, row.unit, row.typed, row.locale, got, row.want)
		}
	}
}

func TestMarkValueAndUnit(t *testing.T) {
	f, q := numberForm("1.234", "mm", "0.0005")
	if m := markOne(f, q, quiz.Answer{Value: "1.234", Unit: "mm"}, ""); !m.Correct || m.AskBack {
		t.Errorf("a plain decimal is not taken as such: %+v", m)
	}
	if m := markOne(f, q, quiz.Answer{Value: "1,234", Unit: "mm"}, ""); m.Correct || !m.AskBack {
		t.Errorf("a lone comma is guessed: %+v", m)
	}
	if m := markOne(f, q, quiz.Answer{Value: "1.234", Unit: "bar"}, ""); m.Correct {
		t.Errorf("bar for mm: %+v", m)
	}
}

func TestDiagnosis(t *testing.T) {
	slip := func(n, v string) quiz.NamedSlip { return quiz.NamedSlip{Element: "arithmetic/p/slip-" + n, Value: v} }
	f, q := numberForm("4.84", "MPa", "0.02", slip("1", "78.50"), slip("2", "1.21"), slip("3", "1.22"))
	for typed, want := range map[string]string{"78.5": "arithmetic/p/slip-1", "785 bar": "arithmetic/p/slip-1", "1.21": "arithmetic/p/slip-2", "1.2": "", "5": "", "4.84": ""} {
		m := markOne(f, q, quiz.Answer{Text: typed}, "")
		if got := m.Diagnosis; got == nil && want != "" || got != nil && *got != want {
			t.Errorf("%s: diagnosis %v, want %q", typed, got, want)
		}
	}
	// A chosen slip is diagnosed as well.
	p := mustBuild(t, tricky)
	found := false
	for seed := range 20 {
		f := mustGenerate(t, p, quiz.Request{Families: []string{"arithmetic-slip"}, Questions: 1}, quiz.Draw{Seed: uint64(seed), Vehicle: "rig-one"})
		for _, q := range f.Questions {
			for _, o := range q.Options {
				m := markOne(f, q, quiz.Answer{ID: o.ID}, "")
				slip := strings.Contains(o.Element, "/slip-")
				found = found || slip
				if slip != (m.Diagnosis != nil) || slip && *m.Diagnosis != o.Element {
					t.Errorf("%s: diagnosis %v", o.Element, m.Diagnosis)
				}
			}
		}
	}
	if !found {
		t.Error("no slip was offered")
	}
}
