// Package quiz turns lesson structure into questions whose keys can be trusted: Programme + blueprint + draw → Form;
// answers → Marks. It is pure and reproducible: the same programme edition, blueprint, draw and generator version give
// the same bytes on every machine. The shapes are DEVELOPERS.md, "Contracts"; JSON Schemas stand in server/schemas.
package quiz

// Generator is the generator's version; it stands in every form.
const Generator = "brakewright-generator/3"

// drawing is the version since which the same draw picks the same items; it is part of the key of every draw. Since then words alone have changed.
const drawing = "brakewright-generator/2"

// Draw picks one form out of the many.
type Draw struct {
	Seed     uint64
	Number   int // from 1
	Language string
	Vehicle  string // id of a vehicle sheet, or "" for none
}

// Form is one generated set of questions, keys included. Its JSON is stored by hash and never leaves the server
// before marking; see [Form.Public].
type Form struct {
	Format           string     `json:"format"` // "brakewright-form/1"
	Generator        string     `json:"generator"`
	ProgrammeEdition string     `json:"programme_edition"`
	Blueprint        *string    `json:"blueprint"`
	Seed             uint64     `json:"seed"`
	Number           int        `json:"number"`
	Language         string     `json:"language"`
	Vehicle          *string    `json:"vehicle"`
	PassPercent      *int       `json:"pass_percent"`
	Questions        []Question `json:"questions"`
}

// Kind is how a question is answered.
type Kind string

const (
	Single  Kind = "single"
	Several Kind = "several"
	Order   Kind = "order"
	Match   Kind = "match"
	Number  Kind = "number"
	Point   Kind = "point"
)

// Question is one generated question.
type Question struct {
	ID       string   `json:"id"` // hash of family, source elements and parameters
	Family   string   `json:"family"`
	Kind     Kind     `json:"kind"`
	Lesson   string   `json:"lesson"`
	Edition  string   `json:"edition"`
	Vehicle  *string  `json:"vehicle"`
	Critical bool     `json:"critical"`
	Picture  *Picture `json:"picture,omitempty"`
	Stem     string   `json:"stem"`
	Options  []Option `json:"options"`
	Targets  []Option `json:"targets,omitempty"` // match only
	Key      Key      `json:"key"`
	// Slips are the figures that the sum's named slips lead to, so that a typed figure can be diagnosed when it is
	// marked; number only, absent where there are none. A slip whose figure another slip or the key shares is left out.
	Slips       []NamedSlip `json:"slips,omitempty"`
	Source      Source      `json:"source"`
	Explanation string      `json:"explanation"`
}

// Picture names a drawing by path and edition.
type Picture struct {
	Path    string `json:"path"`
	Edition string `json:"edition"`
}

// Option is one choice. Its id says nothing of position or element.
type Option struct {
	ID      string `json:"id"`
	Text    string `json:"text"`
	Element string `json:"element"`
}

// Source says where a question comes from.
type Source struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Element string `json:"element"`
}

// Key is the right answer; which field is set follows from the question's kind. Its JSON is, by kind: an option id
// (single, point); a list of ids (several); all pairs [before, after] forced among the options, transitively closed
// (order); pairs [option, target] (match); {value, unit, tolerance} as decimal strings (number).
type Key struct {
	ID     string
	IDs    []string
	Pairs  [][2]string
	Number *NumberKey
}

// NumberKey is the right figure.
type NumberKey struct {
	Value     string `json:"value"`
	Unit      string `json:"unit"`
	Tolerance string `json:"tolerance"`
}

// NamedSlip is the figure that a named wrong formula gives, in the key's unit.
type NamedSlip struct {
	Element string `json:"element"`
	Value   string `json:"value"`
}

// PublicForm is a form without keys: what a browser or the API gets before marking.
type PublicForm struct {
	Format    string           `json:"format"` // "brakewright-form/1"
	Language  string           `json:"language"`
	Vehicle   *string          `json:"vehicle"`
	Questions []PublicQuestion `json:"questions"`
}

// PublicQuestion is a question without its key, family, source, explanation and elements.
type PublicQuestion struct {
	ID      string         `json:"id"`
	Kind    Kind           `json:"kind"`
	Lesson  string         `json:"lesson"`
	Vehicle *string        `json:"vehicle"`
	Picture *Picture       `json:"picture,omitempty"`
	Stem    string         `json:"stem"`
	Options []PublicOption `json:"options"`
	Targets []PublicOption `json:"targets,omitempty"`
}

// PublicOption is an option without its element.
type PublicOption struct {
	ID   string `json:"id"`
	Text string `json:"text"`
}

// Answers is the answers file: "brakewright-answers/1".
type Answers struct {
	Format  string            `json:"format"`
	Answers map[string]Answer `json:"answers"` // by question id
}

// Answer is one answer as given. JSON by kind: "id"; ["id",…]; first to last; pairs; the text as typed or {value, unit}.
type Answer struct {
	ID    string      // single, point
	IDs   []string    // several, order
	Pairs [][2]string // match
	Text  string      // number, as typed
	Value string      // number, given as {value, unit}
	Unit  string
}

// Voided is a file of voided questions, "brakewright-voided/1": what [MarkVoided] is told of.
type Voided struct {
	Format string           `json:"format"`
	Voided []VoidedQuestion `json:"voided"`
}

// VoidedQuestion names a question as asked under one edition of its lesson, or under all where Edition is "".
type VoidedQuestion struct {
	Question string `json:"question"`
	Lesson   string `json:"lesson"`
	Edition  string `json:"edition,omitempty"`
}

// Marks is the result: "brakewright-marks/1".
type Marks struct {
	Format         string         `json:"format"`
	Questions      []QuestionMark `json:"questions"`
	Points         int            `json:"points"`
	Max            int            `json:"max"`
	Percent        int            `json:"percent"` // floor(100·points/max)
	Passed         *bool          `json:"passed"`
	CriticalFailed []string       `json:"critical_failed"`
}

// QuestionMark is the mark of one question.
type QuestionMark struct {
	ID          string      `json:"id"`
	Correct     bool        `json:"correct"`
	Points      int         `json:"points"`
	Max         int         `json:"max"`
	Diagnosis   *string     `json:"diagnosis"`
	AskBack     bool        `json:"ask_back"`
	BrokenPairs [][2]string `json:"broken_pairs"`
	Partial     *Partial    `json:"partial,omitempty"` // of an answered order, match or several
	Voided      bool        `json:"voided,omitempty"`  // counts as right for everybody: the question was at fault
}

// Partial says how much of an answer is right, for whoever learns from it; it never counts towards the mark. Of is, by
// kind: the pairs of steps whose order is forced (order), the pairs of the key (match), the options, each of which is
// rightly chosen or rightly left (several).
type Partial struct {
	Right int `json:"right"`
	Of    int `json:"of"`
}
