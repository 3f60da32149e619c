package curriculum

// Procedure is the ordered work of a lesson: a partial order of steps.
type Procedure struct {
	Steps []*Step // all steps and sub-steps in document order; a parent stands before its children
	index map[string]int
	order [][]bool // transitive closure over Steps: order[i][j] = i comes before j, before any car drops steps

	leaves  []int    // indexes of the steps without sub-steps
	rounds  [][]int  // leaves that go round the car together, in a named order; see groups
	cyclic  bool     // no order could be made of it, and order is empty: such a lesson is never served
	divided [][]bool // divided[i][j]: a leaf that does not repeat lies between the repeated leaves i and j
}

// Step is one step of a procedure.
type Step struct {
	ID             string
	Element        string // "procedure/ID"
	Title          Text   // the item's first paragraph without its attributes
	Line, Column   int
	Critical, Hold bool     // own; of a parent none of whose sub-steps is marked they pass to its sub-steps (a hold to the last)
	If             []string // own and inherited features
	Each           string   // "" or "wheel", own or inherited
	EachOrder      string   // name of the sheet's order, or ""
	Parent         *Step
	Children       []*Step
	Why            []Text
	IfSkipped      []Text // "If skipped"
	IfWrong        []Text // "If done wrong"
	Check          []Text
	Measures       []Measure

	ownCritical, ownHold bool     // as marked by the author
	comesAfter           []string // what `after` names, sorted; nil: not given
	shownKeys            []string // vehicle keys in its further paragraphs
}

// Measure is one "Measure:" point.
type Measure struct {
	Text       Text   // the whole point
	Key        string // vehicle key, may hold {axle}; or ""
	FigureName string // else the Quantity of a row of Figures, word for word
	Readings   string // the words behind the semicolon, or ""
	Which      string // "one", "lowest", "highest", "spread", "each"
	Line       int
}

// Step returns the step with this id, or nil.
func (p *Procedure) Step(id string) *Step {
	if p == nil {
		return nil
	}
	if i, ok := p.index[id]; ok {
		return p.Steps[i]
	}
	return nil
}

// Before says whether the author forces a before b (ids), parents standing for their sub-steps.
func (p *Procedure) Before(a, b string) bool {
	i, ok := p.index[a]
	j, ok2 := p.index[b]
	return ok && ok2 && p.order[i][j]
}

// Sheet is a procedure as one car asks for it: only leaves that apply, repeated per wheel where they repeat.
// Without a car, steps with `if` are left out and `each` counts once.
type Sheet struct {
	Lesson *Lesson
	Car    *Vehicle // or nil
	Steps  []SheetStep
	before [][]bool
}

// SheetStep is one thing to do on this car.
type SheetStep struct {
	Step  *Step
	Wheel string // "" where it does not repeat
	Axle  string // "front", "rear" or ""
	Key   string // "STEP" or "STEP@WHEEL"
}

// Before says whether step i must come before step j, as indexes into Steps. It is transitively closed.
func (s *Sheet) Before(i, j int) bool { return s.before[i][j] }

// Sheet expands the lesson's procedure for a car; v may be nil. nil if the lesson has no procedure.
func (l *Lesson) Sheet(v *Vehicle) *Sheet { return expand(l, v) }

// Limit finds what a measure is judged against on a car: a vehicle figure or a row of the lesson's figures.
// ok is false if the car (or no car) does not say; then the maker's service information governs.
func (l *Lesson) Limit(m Measure, v *Vehicle, axle string) (Figure, bool) {
	return limitOf(l, m, v, axle)
}
