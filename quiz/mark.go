package quiz

import (
	"math/big"
	"slices"
	"strings"

	"brakewright/curriculum"
)

// mark marks a form. Every question counts one point, all or nothing: a list is right when it holds all options that
// belong to it and no other, an order when it keeps to all forced pairs, a set of pairs when it is the key's. So ticking
// everything is worth nothing, and nobody loses a point that they had by ticking more. How much of such an answer is right
// stands in Partial and BrokenPairs, to learn from. A question that is voided is right, whatever was answered.
func mark(f *Form, a *Answers, locale string, voided func(q *Question) bool) *Marks {
	m := &Marks{Format: marksFormat, Questions: []QuestionMark{}, CriticalFailed: []string{}}
	for i := range f.Questions {
		q := &f.Questions[i]
		qm := QuestionMark{ID: q.ID, Max: 1, BrokenPairs: [][2]string{}}
		if voided != nil && voided(q) {
			qm.Voided, qm.Correct = true, true
		} else if a != nil {
			if given, ok := a.Answers[q.ID]; ok {
				markOne(q, given, locale, &qm)
			}
		}
		if qm.Correct {
			qm.Points = qm.Max
		} else if q.Critical {
			m.CriticalFailed = append(m.CriticalFailed, q.ID)
		}
		m.Points += qm.Points
		m.Max += qm.Max
		m.Questions = append(m.Questions, qm)
	}
	if m.Max > 0 {
		m.Percent = 100 * m.Points / m.Max
	}
	if f.PassPercent != nil {
		passed := m.Percent >= *f.PassPercent && len(m.CriticalFailed) == 0
		m.Passed = &passed
	}
	return m
}

func markOne(q *Question, a Answer, locale string, m *QuestionMark) {
	switch q.Kind {
	case Single, Point:
		m.Correct = a.ID != "" && a.ID == q.Key.ID
		if !m.Correct {
			m.Diagnosis = slipOption(q, a.ID)
		}
	case Several:
		m.Correct = sameIDs(a.IDs, q.Key.IDs)
		m.Partial = &Partial{Of: len(q.Options)}
		for _, o := range q.Options {
			if slices.Contains(a.IDs, o.ID) == slices.Contains(q.Key.IDs, o.ID) {
				m.Partial.Right++
			}
		}
	case Order:
		markOrder(q, a.IDs, m)
	case Match:
		m.Correct = len(a.Pairs) == len(q.Key.Pairs)
		m.Partial = &Partial{Of: len(q.Key.Pairs)}
		for i, p := range a.Pairs {
			if slices.Contains(q.Key.Pairs, p) && !slices.Contains(a.Pairs[:i], p) {
				m.Partial.Right++
			} else {
				m.Correct = false
			}
		}
	case Number:
		markNumber(q, a, locale, m)
	}
}

// slipOption is the element of the chosen option if it comes from a named slip.
func slipOption(q *Question, id string) *string {
	for _, o := range q.Options {
		if o.ID == id && strings.HasPrefix(o.Element, "arithmetic/") && strings.Contains(o.Element, "/slip-") {
			element := o.Element
			return &element
		}
	}
	return nil
}

func sameIDs(a, b []string) bool {
	x, y := slices.Clone(a), slices.Clone(b)
	slices.Sort(x)
	slices.Sort(y)
	return len(x) > 0 && slices.Equal(x, y)
}

// markOrder accepts every order of all options that keeps to the forced pairs.
func markOrder(q *Question, ids []string, m *QuestionMark) {
	at := map[string]int{}
	for i, id := range ids {
		at[id] = i
	}
	m.Partial = &Partial{Of: len(q.Key.Pairs)}
	for _, p := range q.Key.Pairs {
		i, ok := at[p[0]]
		j, ok2 := at[p[1]]
		if ok && ok2 && i > j {
			m.BrokenPairs = append(m.BrokenPairs, p)
		} else if ok && ok2 {
			m.Partial.Right++
		}
	}
	complete := len(ids) == len(q.Options) && len(at) == len(ids)
	for _, o := range q.Options {
		_, ok := at[o.ID]
		complete = complete && ok
	}
	m.Correct = complete && len(m.BrokenPairs) == 0
}

// markNumber marks a typed figure. A figure without a unit is taken in the key's, which the stem names. {value, unit} is
// taken as written by a program where value is a plain decimal with a point, else as typed.
func markNumber(q *Question, a Answer, locale string, m *QuestionMark) {
	k := q.Key.Number
	unit := curriculum.Unit(k.Unit)
	var t typed
	how := unreadable
	if v, ok := curriculum.Decimal(a.Value); a.Value != "" && ok && len(a.Value) <= maxFigure {
		u, bare, known := readUnit(a.Unit)
		t, how = typed{value: v, half: ratOf(halfDigit(a.Value)), unit: u, bare: bare}, read
		if !known {
			how = unreadable
		}
	} else if a.Value != "" {
		t, how = readTyped(a.Value+" "+a.Unit, locale)
	} else {
		t, how = readTyped(a.Text, locale)
	}
	switch how {
	case ambiguous:
		m.AskBack = true
		return
	case unreadable:
		return
	}
	if t.bare {
		t.unit = unit
	}
	value, err := curriculum.Convert(t.value, t.unit, unit)
	if err != nil {
		return
	}
	// Half a digit is a difference: a unit's offset (°C to °F) does not belong to it.
	half := new(big.Rat)
	if up, err := curriculum.Convert(new(big.Rat).Add(t.value, t.half), t.unit, unit); err == nil {
		half.Sub(up, value).Abs(half)
	}
	key, allowed := ratOf(k.Value), ratOf(k.Tolerance)
	for _, o := range []*big.Rat{half, ratOf(halfDigit(k.Value))} {
		if o.Cmp(allowed) > 0 {
			allowed = o
		}
	}
	if m.Correct = near(value, key, allowed); m.Correct {
		return
	}
	var hits []string
	for _, s := range q.Slips {
		allowed := ratOf(halfDigit(s.Value))
		if half.Cmp(allowed) > 0 {
			allowed = half
		}
		if near(value, ratOf(s.Value), allowed) {
			hits = append(hits, s.Element)
		}
	}
	if len(hits) == 1 {
		m.Diagnosis = &hits[0]
	}
}

// near says whether two figures differ by no more than allowed.
func near(a, b, allowed *big.Rat) bool {
	d := new(big.Rat).Sub(a, b)
	return d.Abs(d).Cmp(allowed) <= 0
}
