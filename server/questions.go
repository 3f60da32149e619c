package server

import (
	"cmp"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// questionView is a question on a page, without its key: what practice and the theory test share.
type questionView struct {
	ID, Stem   string
	Kind       string
	Picture    string // address, or ""
	PictureAlt string
	Options    []optionView // for order: as they stand now
	Text       string       // number: as typed
	Answered   bool
}

type optionView struct {
	ID, Text      string
	Chosen        bool   // single, several, point
	Target        string // match: the target chosen
	Position      int    // order: from 1
	First, Last   bool
	TargetOptions []targetView
}

type targetView struct {
	choice
	Chosen bool
}

func newQuestionView(p *curriculum.Programme, q quiz.PublicQuestion, a *quiz.Answer) questionView {
	v := questionView{ID: q.ID, Stem: q.Stem, Kind: string(q.Kind), Answered: a != nil}
	if a == nil {
		a = &quiz.Answer{}
	}
	v.Text = a.Text
	if a.Text == "" && a.Value != "" {
		v.Text = strings.TrimSpace(a.Value + " " + a.Unit)
	}
	if q.Picture != nil {
		v.Picture = "/pictures/" + q.Picture.Edition + "/" + (&url.URL{Path: q.Picture.Path}).EscapedPath()
		v.PictureAlt = pictureAlt(p, q.Lesson, q.Picture.Path)
	}
	options := q.Options
	if q.Kind == quiz.Order && len(a.IDs) > 0 {
		options = inOrder(options, a.IDs)
	}
	matched := map[string]string{}
	for _, pair := range a.Pairs {
		matched[pair[0]] = pair[1]
	}
	for i, o := range options {
		x := optionView{ID: o.ID, Text: o.Text, Position: i + 1, First: i == 0, Last: i == len(options)-1, Target: matched[o.ID]}
		switch q.Kind {
		case quiz.Single, quiz.Point:
			x.Chosen = a.ID == o.ID
		case quiz.Several:
			x.Chosen = slices.Contains(a.IDs, o.ID)
		}
		for _, t := range q.Targets {
			x.TargetOptions = append(x.TargetOptions, targetView{choice{t.ID, t.Text}, t.ID == x.Target})
		}
		v.Options = append(v.Options, x)
	}
	return v
}

// inOrder puts options into the order of ids; those not named come last.
func inOrder(options []quiz.PublicOption, ids []string) []quiz.PublicOption {
	at := map[string]int{}
	for i, id := range ids {
		at[id] = i
	}
	out := slices.Clone(options)
	slices.SortStableFunc(out, func(a, b quiz.PublicOption) int { return cmp.Compare(place(at, a.ID), place(at, b.ID)) })
	return out
}

func place(at map[string]int, id string) int {
	if i, ok := at[id]; ok {
		return i
	}
	return len(at)
}

// pictureAlt is the text alternative that the lesson gives a drawing.
func pictureAlt(p *curriculum.Programme, lesson, path string) string {
	l := p.Lesson(lesson, "")
	if l == nil {
		return ""
	}
	for _, x := range l.Pictures {
		if x.Path == path {
			return x.Alt
		}
	}
	return ""
}

// answerFrom reads the answer of a form. given is false where nothing was chosen or typed. For order questions the form
// holds the options in their present order ("order"), a number by each ("at-ID") that may have been changed, and perhaps
// the button that moves one ("move" = ID:up or ID:down).
func answerFrom(q quiz.PublicQuestion, f url.Values) (a quiz.Answer, given bool) {
	known := map[string]bool{}
	for _, o := range q.Options {
		known[o.ID] = true
	}
	switch q.Kind {
	case quiz.Single, quiz.Point:
		if id := f.Get("answer"); known[id] {
			return quiz.Answer{ID: id}, true
		}
	case quiz.Several:
		for _, id := range f["answer"] {
			if known[id] && !slices.Contains(a.IDs, id) {
				a.IDs = append(a.IDs, id)
			}
		}
		return a, len(a.IDs) > 0
	case quiz.Order:
		a.IDs = orderFrom(q, f)
		return a, len(f["order"]) > 0
	case quiz.Match:
		for _, o := range q.Options {
			if t := f.Get("match-" + o.ID); t != "" {
				for _, x := range q.Targets {
					if x.ID == t {
						a.Pairs = append(a.Pairs, [2]string{o.ID, t})
					}
				}
			}
		}
		return a, len(a.Pairs) > 0
	case quiz.Number:
		a.Text = strings.TrimSpace(f.Get("answer"))
		return a, a.Text != ""
	}
	return a, false
}

// orderFrom is the order that a form asks for: typed places first, then a move by one.
func orderFrom(q quiz.PublicQuestion, f url.Values) []string {
	var ids []string
	for _, id := range f["order"] {
		if !slices.Contains(ids, id) && slices.ContainsFunc(q.Options, func(o quiz.PublicOption) bool { return o.ID == id }) {
			ids = append(ids, id)
		}
	}
	for _, o := range q.Options {
		if !slices.Contains(ids, o.ID) {
			ids = append(ids, o.ID)
		}
	}
	typed := map[string]float64{}
	for i, id := range ids {
		typed[id] = float64(i + 1)
		if n, err := strconv.Atoi(strings.TrimSpace(f.Get("at-" + id))); err == nil && n != i+1 {
			// A changed number goes before what stands there now when moving up, behind it when moving down.
			if n <= i {
				typed[id] = float64(n) - 0.5
			} else {
				typed[id] = float64(n) + 0.5
			}
		}
	}
	slices.SortStableFunc(ids, func(a, b string) int { return cmp.Compare(typed[a], typed[b]) })
	id, way, _ := strings.Cut(f.Get("move"), ":")
	if i := slices.Index(ids, id); i >= 0 {
		switch {
		case way == "up" && i > 0:
			ids[i-1], ids[i] = ids[i], ids[i-1]
		case way == "down" && i < len(ids)-1:
			ids[i+1], ids[i] = ids[i], ids[i+1]
		}
	}
	return ids
}

// publicQuestion is the part of a question that a browser may see.
func publicQuestion(q quiz.Question) quiz.PublicQuestion {
	f := quiz.Form{Questions: []quiz.Question{q}}
	return f.Public().Questions[0]
}

// feedbackView says how a question was answered and where the right answer stands.
type feedbackView struct {
	Number      int // in the test, from 1; 0 in practice
	Stem        string
	Correct     bool
	Partly      string // how much of a wrong order or list is right; "" where nothing is
	AskBack     bool
	Unanswered  bool
	Critical    bool
	Voided      bool
	VoidedWhy   []voidLine // of a test, where it is known
	StatisticAt string     // how it fared over all; "" for those who may not see it
	Given       []string
	Right       []string
	RightMany   bool // several orders are right; one is shown
	Explanation string
	Diagnosis   string
	Broken      []string
	Passage     string
	SourcePath  string
	SourceText  string
}

func newFeedbackView(p *curriculum.Programme, q quiz.Question, a *quiz.Answer, m quiz.QuestionMark) feedbackView {
	text := map[string]string{}
	for _, o := range append(slices.Clone(q.Options), q.Targets...) {
		text[o.ID] = o.Text
	}
	vehicle := ""
	if q.Vehicle != nil {
		vehicle = *q.Vehicle
	}
	v := feedbackView{Stem: q.Stem, Correct: m.Correct, Partly: partly(q, m), AskBack: m.AskBack, Unanswered: a == nil, Critical: q.Critical, Voided: m.Voided,
		Explanation: q.Explanation}
	if a != nil {
		v.Given = answerLines(q, *a, text)
	}
	v.Right, v.RightMany = rightLines(q, a, text)
	for _, pair := range m.BrokenPairs {
		v.Broken = append(v.Broken, "“"+text[pair[0]]+"” comes before “"+text[pair[1]]+"”.")
	}
	element := q.Source.Element
	lesson := q.Lesson
	if before, after, found := strings.Cut(element, "#"); found {
		lesson, element = before, after
	}
	l := p.Lesson(lesson, "")
	if l != nil {
		if passage := l.Passage(element); !says(q.Explanation, passage) && !says(q.Stem, passage) {
			v.Passage = passage
		}
		v.SourcePath, v.SourceText = sourcePath(lesson, vehicle, element), l.Title
		if m.Diagnosis != nil {
			v.Diagnosis = slipMeaning(l, *m.Diagnosis)
		}
	}
	return v
}

// partly says how much of a wrong answer is right, for whoever learns from it: it counts for nothing.
func partly(q quiz.Question, m quiz.QuestionMark) string {
	if m.Correct || m.Partial == nil || m.Partial.Right == 0 {
		return ""
	}
	of := fmt.Sprintf("%d of %d ", m.Partial.Right, m.Partial.Of)
	switch q.Kind {
	case quiz.Order:
		return of + "pairs of steps stand in a right order"
	case quiz.Match:
		return of + "pairs are right"
	default:
		return of + "options are rightly chosen or left"
	}
}

// says is whether a text holds every word of a passage, so that nobody reads it twice.
func says(text, passage string) bool {
	words := func(s string) []string {
		return strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	}
	have := words(text)
	return !slices.ContainsFunc(words(passage), func(w string) bool { return !slices.Contains(have, w) })
}

// sourcePath is where an element stands on a page: the row or the step, whatever field of it is meant.
func sourcePath(lesson, vehicle, element string) string {
	kind, rest, _ := strings.Cut(element, "/")
	id, _, _ := strings.Cut(rest, "/")
	switch kind {
	case "vehicle":
		if vehicle != "" {
			return "/vehicles/" + url.PathEscape(vehicle)
		}
		return lessonPath(lesson, vehicle, "")
	case "reading", "verdict", "order":
		return lessonPath(lesson, vehicle, "")
	}
	return lessonPath(lesson, vehicle, kind+"/"+id)
}

// slipMeaning is what a wrong formula betrays ("arithmetic/N/slip-M").
func slipMeaning(l *curriculum.Lesson, element string) string {
	block, slip, ok := strings.Cut(element, "/slip-")
	n, err := strconv.Atoi(slip)
	if !ok || err != nil {
		return ""
	}
	for _, s := range l.Sums {
		if s.Element == block && n >= 1 && n <= len(s.Slips) {
			return s.Slips[n-1].Means
		}
	}
	return ""
}

// answerLines shows an answer as given.
func answerLines(q quiz.Question, a quiz.Answer, text map[string]string) []string {
	switch q.Kind {
	case quiz.Single, quiz.Point:
		if t, ok := text[a.ID]; ok {
			return []string{t}
		}
	case quiz.Several, quiz.Order:
		return textsOf(a.IDs, text)
	case quiz.Match:
		return pairLines(a.Pairs, text)
	case quiz.Number:
		if a.Text != "" {
			return []string{a.Text}
		}
		return []string{strings.TrimSpace(a.Value + " " + a.Unit)}
	}
	return nil
}

// rightLines shows the key; for order, the right order that is nearest to the one given.
func rightLines(q quiz.Question, a *quiz.Answer, text map[string]string) (lines []string, many bool) {
	switch q.Kind {
	case quiz.Single, quiz.Point:
		return []string{text[q.Key.ID]}, false
	case quiz.Several:
		return textsOf(q.Key.IDs, text), false
	case quiz.Match:
		return pairLines(q.Key.Pairs, text), false
	case quiz.Number:
		if q.Key.Number != nil {
			return []string{curriculum.Written(q.Key.Number.Value, curriculum.Unit(q.Key.Number.Unit), "en")}, false
		}
	case quiz.Order:
		var start []string
		if a != nil {
			start = a.IDs
		}
		for _, o := range q.Options {
			if !slices.Contains(start, o.ID) {
				start = append(start, o.ID)
			}
		}
		n := len(start)
		return textsOf(rightOrder(start, q.Key.Pairs), text), len(q.Key.Pairs) < n*(n-1)/2
	}
	return nil, false
}

// rightOrder sorts ids so that every pair holds, and otherwise keeps their order.
func rightOrder(ids []string, pairs [][2]string) []string {
	waits := map[string]map[string]bool{}
	for _, p := range pairs {
		if waits[p[1]] == nil {
			waits[p[1]] = map[string]bool{}
		}
		waits[p[1]][p[0]] = true
	}
	left := slices.Clone(ids)
	var out []string
	for len(left) > 0 {
		i := slices.IndexFunc(left, func(id string) bool {
			return !slices.ContainsFunc(left, func(other string) bool { return waits[id][other] })
		})
		if i < 0 { // a cycle cannot be: keys are closed partial orders
			return append(out, left...)
		}
		out = append(out, left[i])
		left = slices.Delete(left, i, i+1)
	}
	return out
}

func textsOf(ids []string, text map[string]string) []string {
	var out []string
	for _, id := range ids {
		if t, ok := text[id]; ok {
			out = append(out, t)
		}
	}
	return out
}

func pairLines(pairs [][2]string, text map[string]string) []string {
	var out []string
	for _, p := range pairs {
		out = append(out, text[p[0]]+" – "+text[p[1]])
	}
	return out
}
