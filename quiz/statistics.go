package quiz

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Attempt is one form with what somebody answered.
type Attempt struct {
	Form    *Form
	Answers *Answers
}

// Statistic says how one question fared over all who had it.
type Statistic struct {
	Question     Question // as it was asked first
	Asked        int
	Answered     int
	Right        int
	RightPercent int // floor(100·right/asked)
	// Discrimination is the correlation of being right here with the share of right answers to the other questions of the
	// same form (item-rest correlation, Pearson's r), from -1 to 1, rounded to 0.01. It is nil where that cannot be told:
	// nobody or everybody was right, or all did equally well on the rest.
	Discrimination *float64
	Choices        []ChoiceCount // what was chosen, most often first; of single, point and several: every option
	Doubts         []Doubt
}

// ChoiceCount is how often an answer was given.
type ChoiceCount struct {
	Text    string
	Element string // of the option or slip; "" where there is none
	Right   bool
	Chosen  int
	Percent int // of those who answered, floor
}

// Doubt is why a question may be bad.
type Doubt string

const (
	// KeyOutdrawn: a wrong option is chosen more often than the key. Perhaps it is right as well, or the key is wrong.
	KeyOutdrawn Doubt = "key_outdrawn"
	// UpsideDown: those who know more get it wrong more often.
	UpsideDown Doubt = "upside_down"
	// RarelyRight: fewer than three in ten are right, about as many as by guessing.
	RarelyRight Doubt = "rarely_right"
	// AlwaysRight: everybody is right, so it tells nothing.
	AlwaysRight Doubt = "always_right"
)

// Doubts lists them all.
var Doubts = []Doubt{KeyOutdrawn, UpsideDown, RarelyRight, AlwaysRight}

// What it takes for a doubt: below these numbers chance alone would raise it too often.
const (
	enoughForKey   = 5
	enoughForOrder = 8
	enoughForAll   = 10
	upsideDown     = -0.15
)

// Statistics counts questions over attempts, one line a question and edition of its lesson, the most doubtful first, then
// those asked most. Marks are taken without regard to what was voided: what people answered stays what it was.
func Statistics(attempts []Attempt) []Statistic {
	type sum struct {
		stat                Statistic
		choices             map[string]*ChoiceCount
		n, sx, sy, sxy, syy int64 // x: right or not; y: the rest's share of points, per ten thousand
	}
	sums := map[[3]string]*sum{}
	var order []*sum
	for _, a := range attempts {
		m := Mark(a.Form, a.Answers, a.Form.Language)
		for i := range a.Form.Questions {
			q, qm := &a.Form.Questions[i], &m.Questions[i]
			k := [3]string{q.ID, q.Lesson, q.Edition}
			s := sums[k]
			if s == nil {
				s = &sum{stat: Statistic{Question: *q}, choices: map[string]*ChoiceCount{}}
				sums[k] = s
				order = append(order, s)
			}
			s.stat.Asked++
			if qm.Correct {
				s.stat.Right++
			}
			if len(m.Questions) > 1 {
				rest := int64(m.Points-qm.Points) * 10000 / int64(m.Max-qm.Max)
				s.n++
				s.sy += rest
				s.syy += rest * rest
				if qm.Correct {
					s.sx++
					s.sxy += rest
				}
			}
			if given, ok := a.Answers.Answers[q.ID]; ok {
				s.stat.Answered++
				for _, c := range chosen(q, given, qm) {
					key := c.Text + "\x00" + c.Element
					if s.choices[key] == nil {
						s.choices[key] = &c
					}
					s.choices[key].Chosen++
				}
			}
		}
	}
	out := make([]Statistic, 0, len(order))
	for _, s := range order {
		q := &s.stat.Question
		if q.Kind == Single || q.Kind == Point || q.Kind == Several {
			for _, o := range q.Options {
				if key := o.Text + "\x00" + o.Element; s.choices[key] == nil {
					s.choices[key] = &ChoiceCount{Text: o.Text, Element: o.Element, Right: keyed(q, o.ID)}
				}
			}
		}
		for _, c := range s.choices {
			c.Percent = 100 * c.Chosen / max(1, s.stat.Answered)
			s.stat.Choices = append(s.stat.Choices, *c)
		}
		slices.SortFunc(s.stat.Choices, func(a, b ChoiceCount) int {
			return cmp.Or(cmp.Compare(b.Chosen, a.Chosen), strings.Compare(a.Text, b.Text), strings.Compare(a.Element, b.Element))
		})
		s.stat.RightPercent = 100 * s.stat.Right / s.stat.Asked
		s.stat.Discrimination = correlation(s.n, s.sx, s.sy, s.sxy, s.syy)
		s.stat.Doubts = doubts(&s.stat)
		out = append(out, s.stat)
	}
	slices.SortStableFunc(out, func(a, b Statistic) int {
		return cmp.Or(cmp.Compare(rank(a.Doubts), rank(b.Doubts)), cmp.Compare(b.Asked, a.Asked),
			strings.Compare(a.Question.Lesson, b.Question.Lesson), strings.Compare(a.Question.ID, b.Question.ID), strings.Compare(a.Question.Edition, b.Question.Edition))
	})
	return out
}

// rank is the place of the worst doubt.
func rank(ds []Doubt) int {
	for i, d := range Doubts {
		if slices.Contains(ds, d) {
			return i
		}
	}
	return len(Doubts)
}

// correlation is Pearson's r of a yes (x is 0 or 1, so x² = x) and a whole number, from exact sums.
func correlation(n, sx, sy, sxy, syy int64) *float64 {
	vx, vy := n*sx-sx*sx, n*syy-sy*sy
	if vx <= 0 || vy <= 0 {
		return nil
	}
	r := float64(n*sxy-sx*sy) / (math.Sqrt(float64(vx)) * math.Sqrt(float64(vy)))
	r = math.Floor(float64(r*100)+0.5) / 100
	return &r
}

func doubts(s *Statistic) (out []Doubt) {
	right := 0
	for _, c := range s.Choices {
		if c.Right {
			right = max(right, c.Chosen)
		}
	}
	outdrawn := slices.ContainsFunc(s.Choices, func(c ChoiceCount) bool { return !c.Right && c.Chosen > right && c.Element != "" })
	if kind := s.Question.Kind; outdrawn && s.Answered >= enoughForKey && (kind == Single || kind == Point || kind == Number) {
		out = append(out, KeyOutdrawn)
	}
	if s.Discrimination != nil && s.Asked >= enoughForOrder && *s.Discrimination <= upsideDown {
		out = append(out, UpsideDown)
	}
	if s.Asked >= enoughForKey && s.Right*10 < s.Asked*3 {
		out = append(out, RarelyRight)
	}
	if s.Asked >= enoughForAll && s.Right == s.Asked {
		out = append(out, AlwaysRight)
	}
	return out
}

func keyed(q *Question, option string) bool {
	return option == q.Key.ID || slices.Contains(q.Key.IDs, option)
}

// chosen says what an answer amounts to: of options, those chosen; of an order, the steps put too late; of pairs, those
// made; of a figure, what it is and the slip that leads to it.
func chosen(q *Question, a Answer, m *QuestionMark) (out []ChoiceCount) {
	text := map[string]string{}
	for _, o := range slices.Concat(q.Options, q.Targets) {
		text[o.ID] = o.Text
	}
	option := func(id string) {
		for _, o := range q.Options {
			if o.ID == id {
				out = append(out, ChoiceCount{Text: o.Text, Element: o.Element, Right: keyed(q, id)})
			}
		}
	}
	switch q.Kind {
	case Single, Point:
		option(a.ID)
	case Several:
		for _, id := range a.IDs {
			option(id)
		}
	case Order:
		if m.Correct {
			return []ChoiceCount{{Text: "✓", Right: true}}
		}
		for _, p := range m.BrokenPairs {
			out = append(out, ChoiceCount{Text: text[p[1]] + " → " + text[p[0]]})
		}
	case Match:
		for _, p := range a.Pairs {
			out = append(out, ChoiceCount{Text: text[p[0]] + " → " + text[p[1]], Right: slices.Contains(q.Key.Pairs, p)})
		}
	case Number:
		c := ChoiceCount{Text: strings.TrimSpace(a.Text + a.Value + " " + a.Unit), Right: m.Correct}
		if m.Diagnosis != nil {
			c.Element = *m.Diagnosis
		}
		if m.Correct {
			c.Text = strings.TrimSpace(q.Key.Number.Value + " " + q.Key.Number.Unit)
		}
		out = append(out, c)
	}
	return out
}
