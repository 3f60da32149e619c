package quiz

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"brakewright/curriculum"
)

const (
	formFormat    = "brakewright-form/1"
	answersFormat = "brakewright-answers/1"
	marksFormat   = "brakewright-marks/1"
	voidedFormat  = "brakewright-voided/1"
)

// MarshalJSON writes the key as its kind wants it.
func (k Key) MarshalJSON() ([]byte, error) {
	switch {
	case k.Number != nil:
		return plainJSON(k.Number)
	case k.Pairs != nil:
		return plainJSON(k.Pairs)
	case k.IDs != nil:
		return plainJSON(k.IDs)
	}
	return plainJSON(k.ID)
}

// UnmarshalJSON reads any of the shapes; whether it fits the question's kind is for [ReadForm] to say.
func (k *Key) UnmarshalJSON(b []byte) error {
	*k = Key{}
	switch first(b) {
	case '"':
		return json.Unmarshal(b, &k.ID)
	case '{':
		k.Number = &NumberKey{}
		return strict(b, k.Number)
	case '[':
		return listOrPairs(b, &k.IDs, &k.Pairs)
	}
	return errors.New("a key is an id, a list of ids, a list of pairs or a figure")
}

// listOrPairs reads ["a","b"] or [["a","b"],…].
func listOrPairs(b []byte, ids *[]string, pairs *[][2]string) error {
	var raw []json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		return err
	}
	if len(raw) == 0 || first(raw[0]) != '[' {
		*ids = make([]string, len(raw))
		for i, r := range raw {
			if first(r) != '"' {
				return errors.New("a list holds ids")
			}
			if err := json.Unmarshal(r, &(*ids)[i]); err != nil {
				return err
			}
		}
		return nil
	}
	for _, r := range raw {
		var pair []*string
		if err := json.Unmarshal(r, &pair); err != nil {
			return err
		}
		if len(pair) != 2 || pair[0] == nil || pair[1] == nil {
			return errors.New("a pair holds two ids")
		}
		*pairs = append(*pairs, [2]string{*pair[0], *pair[1]})
	}
	return nil
}

// MarshalJSON writes an answer as its kind wants it; an empty answer is null.
func (a Answer) MarshalJSON() ([]byte, error) {
	switch {
	case a.Pairs != nil:
		return plainJSON(a.Pairs)
	case a.IDs != nil:
		return plainJSON(a.IDs)
	case a.Value != "" || a.Unit != "":
		return plainJSON(struct {
			Value string `json:"value"`
			Unit  string `json:"unit"`
		}{a.Value, a.Unit})
	case a.Text != "":
		return plainJSON(a.Text)
	case a.ID != "":
		return plainJSON(a.ID)
	}
	return []byte("null"), nil
}

// UnmarshalJSON reads any of the shapes. A string becomes both ID and Text, for only the question's kind tells which it
// is; [ReadAnswers] keeps the one that fits. null is an empty answer.
func (a *Answer) UnmarshalJSON(b []byte) error {
	*a = Answer{}
	switch first(b) {
	case 'n':
		return nil
	case '"':
		if err := json.Unmarshal(b, &a.Text); err != nil {
			return err
		}
		a.ID = a.Text
		return nil
	case '{':
		var v struct {
			Value string `json:"value"`
			Unit  string `json:"unit"`
		}
		if err := strict(b, &v); err != nil {
			return err
		}
		a.Value, a.Unit = v.Value, v.Unit
		return nil
	case '[':
		return listOrPairs(b, &a.IDs, &a.Pairs)
	}
	return errors.New("an answer is an id, a list of ids, a list of pairs, a text or a figure with its unit")
}

// first is the first byte that is no space.
func first(b []byte) byte {
	if b = bytes.TrimLeft(b, " \t\r\n"); len(b) == 0 {
		return 0
	}
	return b[0]
}

// plainJSON is JSON without escapes for HTML: the bytes are stored and hashed, not written into pages.
func plainJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// indented is the form in which files are written: two spaces, one newline at the end. The types of this package always
// can be written.
func indented(v any) []byte {
	b, err := plainJSON(v)
	if err != nil {
		panic("quiz: " + err.Error())
	}
	var out bytes.Buffer
	if err := json.Indent(&out, b, "", "  "); err != nil {
		panic("quiz: " + err.Error())
	}
	out.WriteByte('\n')
	return out.Bytes()
}

// strict reads exactly one value without unknown fields.
func strict(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("something follows after the end")
	}
	return nil
}

func formJSON(f *Form) []byte {
	out := *f
	out.Questions = slices.Clone(f.Questions)
	if out.Questions == nil {
		out.Questions = []Question{}
	}
	for i := range out.Questions {
		if out.Questions[i].Options == nil {
			out.Questions[i].Options = []Option{}
		}
	}
	return indented(&out)
}

func answersJSON(a *Answers) []byte {
	out := Answers{Format: answersFormat, Answers: a.Answers}
	if out.Answers == nil {
		out.Answers = map[string]Answer{}
	}
	return indented(&out)
}

// JSON returns the exact bytes of marks (indented with two spaces, one newline at the end).
func (m *Marks) JSON() []byte { return indented(m) }

func public(f *Form) PublicForm {
	out := PublicForm{Format: f.Format, Language: f.Language, Vehicle: f.Vehicle, Questions: []PublicQuestion{}}
	strip := func(options []Option) []PublicOption {
		list := []PublicOption{}
		for _, o := range options {
			list = append(list, PublicOption{ID: o.ID, Text: o.Text})
		}
		return list
	}
	for _, q := range f.Questions {
		p := PublicQuestion{ID: q.ID, Kind: q.Kind, Lesson: q.Lesson, Vehicle: q.Vehicle, Picture: q.Picture, Stem: q.Stem, Options: strip(q.Options)}
		if q.Kind == Match {
			p.Targets = strip(q.Targets)
		}
		out.Questions = append(out.Questions, p)
	}
	return out
}

func readForm(b []byte) (*Form, error) {
	var f Form
	if err := strict(b, &f); err != nil {
		return nil, fmt.Errorf("quiz: not a form: %w", err)
	}
	if f.Format != formFormat {
		return nil, fmt.Errorf("quiz: the format is %q; this program reads %q", f.Format, formFormat)
	}
	if f.Questions == nil {
		return nil, errors.New("quiz: the form has no questions")
	}
	seen := map[string]bool{}
	for i := range f.Questions {
		q := &f.Questions[i]
		if q.ID == "" {
			return nil, fmt.Errorf("quiz: question %d has no id", i+1)
		}
		if seen[q.ID] {
			return nil, fmt.Errorf("quiz: question %s stands twice in the form", q.ID)
		}
		seen[q.ID] = true
		if q.Options == nil {
			q.Options = []Option{}
		}
		if err := checkQuestion(q); err != nil {
			return nil, fmt.Errorf("quiz: question %s: %w", q.ID, err)
		}
	}
	if p := f.PassPercent; p != nil && (*p < 0 || *p > 100) {
		return nil, fmt.Errorf("quiz: pass_percent is %d", *p)
	}
	return &f, nil
}

// checkQuestion says whether the key fits the kind and the options.
func checkQuestion(q *Question) error {
	options, err := idSet(q.Options)
	if err != nil {
		return err
	}
	targets, err := idSet(q.Targets)
	if err != nil {
		return err
	}
	if len(targets) > 0 && q.Kind != Match {
		return fmt.Errorf("kind %s has no targets", q.Kind)
	}
	k := q.Key
	shape := map[Kind]bool{Single: k.ID != "", Point: k.ID != "", Several: len(k.IDs) > 0, Order: len(k.Pairs) > 0, Match: len(k.Pairs) > 0, Number: k.Number != nil}
	if fits, known := shape[q.Kind]; !known {
		return fmt.Errorf("there is no kind %q", q.Kind)
	} else if !fits {
		return fmt.Errorf("the key does not fit the kind %s", q.Kind)
	}
	if len(q.Slips) > 0 && q.Kind != Number {
		return fmt.Errorf("kind %s has no slips", q.Kind)
	}
	switch q.Kind {
	case Single, Point:
		if !options[k.ID] {
			return errors.New("the key is none of the options")
		}
	case Several:
		for i, id := range k.IDs {
			if !options[id] || slices.Contains(k.IDs[:i], id) {
				return errors.New("the key is not a list of different options")
			}
		}
	case Order:
		return checkOrderKey(q, options)
	case Match:
		for i, p := range k.Pairs {
			if !options[p[0]] || !targets[p[1]] || slices.ContainsFunc(k.Pairs[:i], func(o [2]string) bool { return o[0] == p[0] || o[1] == p[1] }) {
				return errors.New("the key does not pair options with targets, each at most once")
			}
		}
		if len(k.Pairs) != len(q.Options) {
			return errors.New("the key leaves an option without a target")
		}
	case Number:
		if len(q.Options) > 0 {
			return errors.New("kind number has no options")
		}
		for _, s := range append([]string{k.Number.Value, k.Number.Tolerance}, slipValues(q.Slips)...) {
			if len(s) > maxFigure {
				return errors.New("a figure is too long")
			}
			if _, ok := curriculum.Decimal(s); !ok {
				return fmt.Errorf("%q is no decimal", s)
			}
		}
		if strings.HasPrefix(k.Number.Tolerance, "-") {
			return errors.New("the tolerance is negative")
		}
		if _, ok := curriculum.Unit(k.Number.Unit).Dimension(); !ok {
			return fmt.Errorf("there is no unit %q", k.Number.Unit)
		}
	}
	return nil
}

func slipValues(slips []NamedSlip) (out []string) {
	for _, s := range slips {
		out = append(out, s.Value)
	}
	return out
}

// checkOrderKey refuses pairs of strangers, pairs that go round in a circle, and a set that is not closed.
func checkOrderKey(q *Question, options map[string]bool) error {
	has := map[[2]string]bool{}
	for _, p := range q.Key.Pairs {
		if !options[p[0]] || !options[p[1]] || p[0] == p[1] || has[p] {
			return errors.New("the key does not pair different options, each pair once")
		}
		has[p] = true
	}
	for _, p := range q.Key.Pairs {
		if has[[2]string{p[1], p[0]}] {
			return errors.New("the key forces two options before one another")
		}
		for _, o := range q.Options {
			if has[[2]string{p[1], o.ID}] && !has[[2]string{p[0], o.ID}] {
				return errors.New("the key is not transitively closed")
			}
		}
	}
	return nil
}

func idSet(options []Option) (map[string]bool, error) {
	m := make(map[string]bool, len(options))
	for _, o := range options {
		if o.ID == "" {
			return nil, errors.New("an option has no id")
		}
		if m[o.ID] {
			return nil, fmt.Errorf("option %s stands twice", o.ID)
		}
		m[o.ID] = true
	}
	return m, nil
}

func readAnswers(b []byte, f *Form) (*Answers, error) {
	var file struct {
		Format  string                     `json:"format"`
		Answers map[string]json.RawMessage `json:"answers"`
	}
	if err := strict(b, &file); err != nil {
		return nil, fmt.Errorf("quiz: not an answers file: %w", err)
	}
	if file.Format != answersFormat {
		return nil, fmt.Errorf("quiz: the format is %q; this program reads %q", file.Format, answersFormat)
	}
	if file.Answers == nil {
		return nil, errors.New("quiz: the answers file has no answers")
	}
	out := &Answers{Format: answersFormat, Answers: map[string]Answer{}}
	ids := make([]string, 0, len(file.Answers))
	for id := range file.Answers {
		ids = append(ids, id)
	}
	slices.Sort(ids) // so that the first error does not depend on the map
	for _, id := range ids {
		q := f.Question(id)
		if q == nil {
			return nil, fmt.Errorf("quiz: there is no question %s in this form", id)
		}
		if first(file.Answers[id]) == 'n' {
			continue // null: not answered
		}
		a, err := readAnswer(file.Answers[id], q)
		if err != nil {
			return nil, fmt.Errorf("quiz: question %s: %w", id, err)
		}
		out.Answers[id] = a
	}
	return out, nil
}

// expects says what an answer to a kind is.
var expects = map[Kind]string{
	Single:  "the id of one option",
	Point:   "the id of one option",
	Several: "a list of ids of options, each once",
	Order:   "a list of ids of options, first to last, each once",
	Match:   "a list of pairs [option, target], each option once",
	Number:  `the figure as typed, or {"value", "unit"}`,
}

func readAnswer(raw json.RawMessage, q *Question) (Answer, error) {
	wrong := fmt.Errorf("kind %s expects %s", q.Kind, expects[q.Kind])
	var a Answer
	if err := a.UnmarshalJSON(raw); err != nil {
		return Answer{}, fmt.Errorf("%w: %w", wrong, err)
	}
	isOption := func(id string) bool { return slices.ContainsFunc(q.Options, func(o Option) bool { return o.ID == id }) }
	isTarget := func(id string) bool { return slices.ContainsFunc(q.Targets, func(o Option) bool { return o.ID == id }) }
	switch q.Kind {
	case Single, Point:
		if first(raw) != '"' || !isOption(a.ID) {
			return Answer{}, wrong
		}
		return Answer{ID: a.ID}, nil
	case Several, Order:
		if first(raw) != '[' || a.Pairs != nil {
			return Answer{}, wrong
		}
		for i, id := range a.IDs {
			if !isOption(id) || slices.Contains(a.IDs[:i], id) {
				return Answer{}, wrong
			}
		}
		return Answer{IDs: a.IDs}, nil
	case Match:
		if first(raw) != '[' || len(a.IDs) > 0 {
			return Answer{}, wrong
		}
		for i, p := range a.Pairs {
			if !isOption(p[0]) || !isTarget(p[1]) || slices.ContainsFunc(a.Pairs[:i], func(o [2]string) bool { return o[0] == p[0] }) {
				return Answer{}, wrong
			}
		}
		if a.Pairs == nil {
			a.Pairs = [][2]string{}
		}
		return Answer{Pairs: a.Pairs}, nil
	}
	switch first(raw) {
	case '"':
		return Answer{Text: a.Text}, nil
	case '{':
		if a.Value == "" {
			return Answer{}, wrong
		}
		return Answer{Value: a.Value, Unit: a.Unit}, nil
	}
	return Answer{}, wrong
}

// ReadVoided reads a file of voided questions strictly.
func ReadVoided(b []byte) (*Voided, error) {
	var v Voided
	if err := strict(b, &v); err != nil {
		return nil, fmt.Errorf("quiz: not a file of voided questions: %w", err)
	}
	if v.Format != voidedFormat {
		return nil, fmt.Errorf("quiz: the format is %q; this program reads %q", v.Format, voidedFormat)
	}
	if v.Voided == nil {
		return nil, errors.New("quiz: the file names no voided questions")
	}
	for i, q := range v.Voided {
		if q.Question == "" || q.Lesson == "" {
			return nil, fmt.Errorf("quiz: voided question %d names no question or no lesson", i+1)
		}
	}
	return &v, nil
}

// Holds says whether a question of a form is voided.
func (v *Voided) Holds(q *Question) bool {
	return slices.ContainsFunc(v.Voided, func(w VoidedQuestion) bool {
		return w.Question == q.ID && w.Lesson == q.Lesson && (w.Edition == "" || w.Edition == q.Edition)
	})
}
