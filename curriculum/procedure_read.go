package curriculum

import (
	"bytes"
	"strings"

	"github.com/yuin/goldmark/ast"
)

// Bounds on a procedure.
const (
	maxSteps      = 300
	maxStepLevels = 6
)

// stepSource is a step with what only reading, ordering and checking need.
type stepSource struct {
	*Step
	at        int // offset of the item's text
	attrs     []attribute
	ownIf     []string
	ownEach   bool
	after     *attribute // nil: not given
	afterIDs  []string   // known ids
	afterAt   []int
	previous  *stepSource // the item before it in a numbered list
	parent    *stepSource
	children  []*stepSource
	measureAt []int // where each measure stands
	eachAt    int
}

// procedure reads the lists of a procedure section.
func (lr *lessonReader) procedure(s *section) {
	found := false
	above := 0 // where the markers of the list before stand
	for _, b := range s.blocks {
		if list, ok := b.(*ast.List); ok {
			column := lr.markerColumn(list)
			if found && column > above {
				if kind, _ := lr.itemKind(list.FirstChild()); kind == isSubStep { // of a point it is said for each
					lr.warnAt(lr.d.itemStart(list.FirstChild()), "list_indent", "step", lr.steps[len(lr.steps)-1].ID)
				}
			} else {
				above = column
			}
			found = true
			lr.stepList(list, nil, 1)
		}
	}
	if !found {
		lr.emptySection(s)
	}
}

// markerColumn is the column of a list's first marker.
func (lr *lessonReader) markerColumn(list ast.Node) int {
	_, column := lr.d.src.at(max(0, list.FirstChild().Pos()))
	return column
}

func (lr *lessonReader) stepList(list *ast.List, parent *stepSource, level int) {
	if level > maxStepLevels {
		lr.errorAt(lr.d.itemStart(list.FirstChild()), "steps_too_deep", "limit", itoa(maxStepLevels))
		return
	}
	var previous *stepSource
	for li := list.FirstChild(); li != nil; li = li.NextSibling() {
		if len(lr.steps) >= maxSteps {
			lr.errorAt(lr.d.itemStart(li), "too_many_steps", "limit", itoa(maxSteps))
			return
		}
		kind, _ := lr.itemKind(li)
		if parent != nil && kind != isSubStep {
			lr.point(li, parent) // of a list that mixes both: each is read as what it is
			continue
		}
		if kind == isPoint && parent == nil && lr.d.attrs[li] == (span{}) && len(lr.steps) > 0 {
			// A point that was not indented far enough. It is read as it was meant, so that nothing else is said to be missing.
			last := lr.steps[len(lr.steps)-1]
			lr.errorAt(lr.d.itemStart(li), "point_outside", "step", last.ID)
			lr.point(li, last)
			continue
		}
		s := lr.step(li, parent, level)
		if list.IsOrdered() {
			s.previous = previous
		}
		previous = s
	}
}

// itemKind says what an item of a list inside a step is.
type itemKind int

const (
	isSubStep itemKind = iota
	isPoint
	isUnknownPoint
)

func (lr *lessonReader) itemKind(li ast.Node) (itemKind, string) {
	first := li.FirstChild()
	if first == nil {
		return isSubStep, ""
	}
	e, ok := first.FirstChild().(*ast.Emphasis)
	if !ok || e.Level != 2 {
		return isSubStep, ""
	}
	label := lr.d.text(e).Plain()
	colon := strings.HasSuffix(label, ":")
	if t, ok := e.NextSibling().(*ast.Text); ok && strings.HasPrefix(string(t.Segment.Value(lr.d.body)), ":") {
		colon = true
	}
	if !colon {
		return isSubStep, ""
	}
	if kind, ok := pointWords[plainKey(label)]; ok {
		return isPoint, kind
	}
	if _, ok := lr.d.attrs[li]; ok {
		return isSubStep, ""
	}
	return isUnknownPoint, label
}

func (lr *lessonReader) step(li ast.Node, parent *stepSource, level int) *stepSource {
	at := lr.d.itemStart(li)
	s := &stepSource{Step: &Step{}, at: at, parent: parent}
	s.Line, s.Column = lr.d.src.at(at)
	lr.steps = append(lr.steps, s)
	if parent != nil {
		s.Parent = parent.Step
		parent.children = append(parent.children, s)
		parent.Children = append(parent.Children, s.Step)
	}
	if first := li.FirstChild(); first != nil && (first.Kind() == ast.KindParagraph || first.Kind() == ast.KindTextBlock) {
		s.Title = lr.d.text(first)
	}
	if s.Title.Empty() {
		lr.errorAt(at, "step_without_text")
	}
	lr.stepAttributes(li, s)
	s.Element = "procedure/" + s.ID
	lr.d.marks[li] = &mark{anchor: s.Element, step: s.Step, each: s.Step}
	subColumn := 0 // where the markers of the sub-steps stand
	for b := li.FirstChild(); b != nil; b = b.NextSibling() {
		list, ok := b.(*ast.List)
		if !ok {
			if b != li.FirstChild() {
				s.shownKeys = append(s.shownKeys, linkKeys(b)...)
			}
			continue
		}
		if len(s.children) > 0 && lr.markerColumn(list) > subColumn {
			lr.warnAt(lr.d.itemStart(list.FirstChild()), "list_indent", "step", s.children[len(s.children)-1].ID)
		}
		points, subs := 0, 0
		for c := list.FirstChild(); c != nil; c = c.NextSibling() {
			if kind, _ := lr.itemKind(c); kind == isSubStep {
				subs++
			} else {
				points++
			}
		}
		switch {
		case points > 0 && subs > 0:
			lr.errorAt(lr.d.itemStart(list.FirstChild()), "mixed_list", "step", s.ID)
			lr.stepList(list, s, level+1)
		case points > 0:
			for c := list.FirstChild(); c != nil; c = c.NextSibling() {
				lr.point(c, s)
			}
			if list.IsOrdered() {
				lr.warnAt(lr.d.itemStart(list.FirstChild()), "points_numbered", "step", s.ID)
			}
		default:
			if len(s.children) == 0 {
				subColumn = lr.markerColumn(list)
			}
			lr.stepList(list, s, level+1)
		}
	}
	return s
}

var stepAttributeNames = []string{"#id", ".critical", ".hold", "after", "if", "each"}

// stepAttributes reads a step's attribute block.
func (lr *lessonReader) stepAttributes(li ast.Node, s *stepSource) {
	if block, ok := lr.d.attrs[li]; ok {
		s.attrs = parseAttributes(lr.report, block)
	}
	seen := map[string]bool{}
	for i := range s.attrs {
		a := &s.attrs[i]
		name := a.name
		switch a.kind {
		case '#':
			if !isID(a.name) {
				lr.errorAt(a.at, "bad_id", "id", a.name, "like", likeID(a.name))
			}
			name = "#id"
			s.ID = a.name
		case '.':
			switch name = "." + a.name; a.name {
			case "critical":
				s.ownCritical = true
			case "hold":
				s.ownHold = true
			default:
				lr.errorAt(a.at, "unknown_attribute", "attribute", name, "nearest", nearestAttribute(a.name))
			}
		case '=':
			switch a.name {
			case "after":
				s.after = a
			case "if":
				for _, w := range words(*a) {
					lr.features = append(lr.features, w)
					if !isID(w.text) {
						lr.errorAt(w.at, "bad_id", "id", w.text, "like", likeID(w.text))
					} else if !contains(s.ownIf, w.text) {
						s.ownIf = append(s.ownIf, w.text)
					}
				}
			case "each":
				lr.each(a, s)
			default:
				lr.errorAt(a.at, "unknown_attribute", "attribute", a.name, "nearest", nearestAttribute(a.name))
			}
		default:
			lr.errorAt(a.at, "unknown_attribute", "attribute", a.name, "nearest", nearestAttribute(a.name))
		}
		if seen[name] {
			lr.errorAt(a.at, "duplicate_attribute", "attribute", name)
		}
		seen[name] = true
	}
	if line := lr.firstLine(s.at); len(s.attrs) == 0 && bytes.Contains(line, []byte("{#")) {
		// Braces that do not close, or behind which a full stop stands.
		at := bytes.Index(line, []byte("{#"))
		lr.errorAt(s.at+at, "bad_attributes", "text", strings.TrimSpace(string(line[at:])))
	} else if !seen["#id"] {
		lr.errorAt(s.at, "step_without_id", "title", s.Title.Plain())
	}
	s.Critical, s.Hold = s.ownCritical, s.ownHold
	s.If = s.ownIf
	if p := s.parent; p != nil {
		s.If = nil
		for _, f := range append(append([]string{}, p.If...), s.ownIf...) {
			if !contains(s.If, f) {
				s.If = append(s.If, f)
			}
		}
		if p.Each != "" {
			if s.ownEach && (s.Each != p.Each || s.EachOrder != p.EachOrder) {
				lr.errorAt(s.at, "each_conflict", "step", s.ID, "parent", p.ID)
			}
			s.Each, s.EachOrder = p.Each, p.EachOrder
		}
	}
}

// firstLine is the rest of the line at an offset.
func (lr *lessonReader) firstLine(at int) []byte {
	line, _, _ := bytes.Cut(lr.src.bytes[at:], []byte("\n"))
	return line
}

func nearestAttribute(s string) string {
	for _, n := range stepAttributeNames {
		if strings.TrimLeft(n, "#.") == strings.ToLower(s) {
			return n
		}
	}
	if n := nearest(s, stepAttributeNames); n != "" {
		return n
	}
	return strings.Join(stepAttributeNames, ", ")
}

// each reads `each="wheel"` and `each="wheel in ORDER"`.
func (lr *lessonReader) each(a *attribute, s *stepSource) {
	f := strings.Fields(a.value)
	switch {
	case len(f) == 1 && f[0] == "wheel":
		s.Each = "wheel"
	case len(f) == 3 && f[0] == "wheel" && f[1] == "in" && isID(f[2]):
		s.Each, s.EachOrder = "wheel", f[2]
	default:
		lr.errorAt(a.valueAt, "bad_each", "value", a.value)
		return
	}
	s.ownEach, s.eachAt = true, a.valueAt
}

// point reads a labelled point of a step.
func (lr *lessonReader) point(li ast.Node, s *stepSource) {
	kind, label := lr.itemKind(li)
	first := li.FirstChild()
	e := first.FirstChild()
	if kind == isUnknownPoint {
		near := nearest(strings.TrimSuffix(label, ":"), []string{"Why", "If skipped", "If done wrong", "Check", "Measure"})
		if near == "" {
			near = "Why, If skipped, If done wrong, Check, Measure"
		}
		lr.errorAt(lr.d.start(e), "unknown_point", "label", label, "nearest", near)
		return
	}
	if block, ok := lr.d.attrs[li]; ok {
		lr.errorAt(block.start, "point_with_attributes", "step", s.ID)
	}
	b := textBuilder{d: lr.d}
	for c := e.NextSibling(); c != nil; c = c.NextSibling() {
		b.node(c)
	}
	t := b.done(lr.d.lineOf(e))
	t.Parts = trimLeadColon(t.Parts)
	lr.d.marks[li] = &mark{each: s.Step}
	if t.Empty() {
		lr.errorAt(lr.d.start(e), "empty_point", "label", lr.d.text(e).Plain())
		return
	}
	switch label {
	case pointWhy:
		s.Why = append(s.Why, t)
	case pointIfSkipped:
		s.IfSkipped = append(s.IfSkipped, t)
	case pointIfWrong:
		s.IfWrong = append(s.IfWrong, t)
	case pointCheck:
		s.Check = append(s.Check, t)
	case pointMeasure:
		read := lr.measure(t, lr.d.start(e))
		lr.d.marks[li] = &mark{each: s.Step, read: read}
		s.Measures = append(s.Measures, read)
		s.measureAt = append(s.measureAt, lr.d.start(e))
	}
}

// measure splits a Measure: point at the semicolon before the readings.
func (lr *lessonReader) measure(t Text, at int) Measure {
	m := Measure{Text: t, Which: readOne, Line: t.Line}
	head, tail, cutAt := t, "", false
	for i, p := range t.Parts {
		if p.Key != "" {
			continue
		}
		if before, after, ok := strings.Cut(p.Text, ";"); ok {
			head.Parts = trimParts(append(append([]TextPart{}, t.Parts[:i]...), TextPart{Text: before}))
			rest := Text{Parts: append([]TextPart{{Text: after}}, t.Parts[i+1:]...)}
			tail, cutAt = rest.Plain(), true
			break
		}
	}
	for _, p := range head.Parts {
		if p.Key != "" && m.Key == "" {
			m.Key = p.Key
		}
	}
	if m.Key == "" {
		m.FigureName = head.Plain()
	}
	m.Readings = tail
	if cutAt {
		if m.Which = whichOf(tail); m.Which == "" {
			m.Which = readOne
			lr.warnAt(at, "measure_which", "text", tail)
		}
	}
	return m
}

// whichOf finds the word that says which reading counts; "" if there is none.
func whichOf(s string) string {
	s = " " + strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" ,.;:()", r) }), " ") + " "
	for _, w := range whichWords {
		if strings.Contains(s, " "+w.word+" ") {
			return w.which
		}
	}
	return ""
}

// linkKeys lists the vehicle keys of the links below a node.
func linkKeys(n ast.Node) (out []string) {
	_ = ast.Walk(n, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if l, ok := n.(*ast.Link); ok && entering {
			if key, ok := vehicleKey(l); ok {
				out = append(out, key)
			}
		}
		return ast.WalkContinue, nil
	})
	return out
}
