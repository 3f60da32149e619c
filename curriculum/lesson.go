package curriculum

// Lesson is one Markdown file, parsed. Where several sections of one class stand in a file, their rows and
// blocks are numbered through.
type Lesson struct {
	ID, Title, Language string
	Tasks               []string
	Prerequisites       []string // lessons
	Minutes             int      // 0 if not stated
	File                string
	Edition             string
	Procedure           *Procedure // nil if the lesson has none
	Cautions            []Caution
	Tools               []Tool
	Faults              []Fault
	Figures             []Figure
	Terms               []Term
	Misbeliefs          []Misbelief
	Pictures            []LessonPicture
	Sums                []Sum
	Sections            []SectionInfo // every level-2 heading in order, for a table of contents

	source []byte
	doc    *document // the goldmark tree, for rendering
}

// SectionInfo is one level-2 heading.
type SectionInfo struct {
	Class  string // "" for reading matter
	Title  string
	Anchor string // "" for reading matter to which the author gave no id
	Line   int
}

// Text is a short run of prose. A vehicle's value in it is resolved when the car is known.
type Text struct {
	Parts []TextPart
	Line  int // of its first character, from 1
}

// TextPart is plain text or, with Key set, a link to a vehicle's value.
type TextPart struct {
	Text string // plain text, or the link's words
	Key  string // "" or the key of a vehicle figure, may hold {axle}
}

// For returns the text with the values of the car filled in ("minimum thickness (20 mm)"); without a car, or
// where it lacks the key, the link's words stand alone. axle is "front", "rear" or "".
func (t Text) For(v *Vehicle, axle string) string { return textFor(t, v, axle) }

// Plain returns the text without values.
func (t Text) Plain() string { return textFor(t, nil, "") }

// Empty says whether there is nothing to read.
func (t Text) Empty() bool { return t.Plain() == "" }

// Row is what every table row and block has.
type Row struct {
	ID      string // id if given, else ""
	Element string // "cautions/3" or "cautions/ID": where it comes from, without the field
	Line    int
	If      []string // features a car must have for the row to hold
}

// Caution is a row of the cautions table.
type Caution struct {
	Row
	Hazard, Consequence, Control Text
}

// Tool is a row of the tools table. Wrong choice is split at its first colon.
type Tool struct {
	Row
	Item, Use, WrongThing, WrongHarm Text // WrongThing, WrongHarm may be empty
}

// Fault is a row of the faults table.
type Fault struct {
	Row
	Symptom, Cause, Check Text
}

// Term is one definition with all its names (synonyms).
type Term struct {
	Row
	Names      []string // the first is the main one
	Definition Text
}

// Misbelief is one bullet of the misbeliefs.
type Misbelief struct {
	Row
	Said, InFact Text
}

// LessonPicture is a drawing in a pictures section with its table of numbered parts.
type LessonPicture struct {
	Row
	Path  string // inside the programme
	Alt   string
	Parts []PicturePart
}

// PicturePart is one numbered callout.
type PicturePart struct {
	Number string
	Part   Text
	Line   int
}

// Picture is a checked SVG.
type Picture struct {
	Path, Edition string
	Bytes         []byte
	Numbers       []string // callouts, in document order
}

// Sum is one arithmetic block. Its formulas are compiled and checked.
type Sum struct {
	Row
	Ask       string
	Given     []Given // sorted by name
	Find      *Formula
	Unit      Unit
	Rounding  string // decimal step, e.g. "0.01"
	Tolerance string // decimal, absolute, in Unit
	Slips     []Slip
}

// Given is one value of a sum: a list, a range, or a vehicle's figure.
type Given struct {
	Name, What string
	Unit       Unit
	Values     []string // decimals; ranges are expanded
	VehicleKey string   // "" or a key
}

// Slip is a named wrong formula.
type Slip struct {
	Formula *Formula
	Means   string
}
