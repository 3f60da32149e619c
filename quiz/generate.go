package quiz

import "brakewright/curriculum"

// Request narrows what Generate draws from. A zero field does not narrow.
type Request struct {
	Blueprint string   // id; then Task, Lessons, Families and Questions come from it
	Task      string   // all lessons of a task
	Lessons   []string // ids
	Families  []string // ids
	Questions int      // 10 if 0; fewer come back where the lessons yield fewer
	// Without, if not nil, names questions that must not be asked: those that were voided. It does not belong to the draw:
	// a form that holds none of them is the same with and without it.
	Without func(q *Question) bool
}

// Generate makes the form of a draw. It errors, saying what and why, on an unknown blueprint, task, lesson, family,
// vehicle or language. It never asks what its guards refuse: a form may then be shorter than asked.
func Generate(p *curriculum.Programme, r Request, d Draw) (*Form, error) { return generate(p, r, d) }

// FamilyInfo describes a family for `quiz --list-families`.
type FamilyInfo struct {
	ID     string `json:"id"`
	Kinds  []Kind `json:"kinds"`
	Asks   string `json:"asks"`   // one plain sentence
	Source string `json:"source"` // which lesson structure it comes from
}

// Families lists all families in their order.
func Families() []FamilyInfo { return families() }

// Public strips everything that must not reach a browser before marking.
func (f *Form) Public() PublicForm { return public(f) }

// Question returns the question with this id, or nil.
func (f *Form) Question(id string) *Question {
	for i := range f.Questions {
		if f.Questions[i].ID == id {
			return &f.Questions[i]
		}
	}
	return nil
}

// JSON returns the form's exact bytes (indented with two spaces, one newline at the end): what is stored by hash.
func (f *Form) JSON() []byte { return formJSON(f) }

// ReadForm reads a form strictly; it refuses another format, unknown fields, duplicate ids and keys that do not fit.
func ReadForm(b []byte) (*Form, error) { return readForm(b) }

// ReadAnswers reads an answers file against its form; an error names the question and what its kind expects.
func ReadAnswers(b []byte, f *Form) (*Answers, error) { return readAnswers(b, f) }

// AnswersJSON returns the exact bytes of an answers file, keys sorted.
func AnswersJSON(a *Answers) []byte { return answersJSON(a) }

// Mark marks. locale ("en", "es", …) settles the decimal separator of typed figures; "" settles nothing. Unanswered
// questions get no points. A question whose answer is ambiguous has AskBack set and no points.
func Mark(f *Form, a *Answers, locale string) *Marks { return mark(f, a, locale, nil) }

// MarkVoided is Mark where some questions were voided after they were asked. A voided question counts as right for
// everybody who had it, answered or not, and no critical one fails anybody: so no mark falls and nobody who had passed
// fails through it. It stays in the marks, as voided.
func MarkVoided(f *Form, a *Answers, locale string, voided func(q *Question) bool) *Marks {
	return mark(f, a, locale, voided)
}
