package curriculum

import (
	"math/big"
	"slices"
	"strings"

	"github.com/yuin/goldmark/ast"
	"go.yaml.in/yaml/v4"
)

// maxGivenValues bounds one given's values, ranges expanded.
const maxGivenValues = 500

// sumInfo says whether a fenced block is a sum.
func (d *document) sumInfo(n *ast.FencedCodeBlock) bool {
	return string(n.Language(d.body)) == "sum"
}

// arithmetic reads the sum blocks of a section.
func (lr *lessonReader) arithmetic(s *section) {
	found := false
	for _, b := range s.blocks {
		if f, ok := b.(*ast.FencedCodeBlock); ok && lr.d.sumInfo(f) {
			found = true
			lr.sum(f)
		}
	}
	if !found {
		lr.emptySection(s)
	}
}

// sumsOutside warns of sum blocks that stand where none is read.
func (lr *lessonReader) sumsOutside() {
	for _, f := range lr.d.fences {
		if _, read := lr.d.marks[f]; !read && lr.d.sumInfo(f) {
			lr.warnAt(lr.d.fenceStart(f), "sum_outside")
			lr.d.marks[f] = &mark{hide: true}
		}
	}
}

// fenceStart is where a fenced block's first line is.
func (d *document) fenceStart(f *ast.FencedCodeBlock) int {
	if f.Info != nil {
		return f.Info.Segment.Start
	}
	return max(0, f.Pos())
}

// sumSource keeps what checks of a sum need beside it: where things stand.
type sumSource struct {
	index   int // in the lesson's Sums
	findAt  item
	slipAt  []item
	givenAt map[string]item
	unitAt  item
}

// unitOr is where the sum's unit stands, or another place where it has none.
func (s sumSource) unitOr(other item) item {
	if s.unitAt.line > 0 {
		return s.unitAt
	}
	return other
}

// orCount is a unit for a sentence.
func orCount(u Unit) string {
	if u == "" {
		return "a count"
	}
	return string(u)
}

func (lr *lessonReader) sum(f *ast.FencedCodeBlock) {
	var block []byte
	lines := f.Lines()
	for i := range lines.Len() {
		l := lines.At(i)
		block = append(block, l.Value(lr.d.body)...)
	}
	y := &yamlReader{report: lr.report, place: func(line, column int) (int, int) {
		if line < 1 || line > lines.Len() {
			return lr.d.src.at(lr.d.fenceStart(f))
		}
		l := lines.At(line - 1)
		first, col := lr.d.src.at(l.Start)
		return first, col + max(0, column-1-l.Padding)
	}}
	s := Sum{}
	src := sumSource{givenAt: map[string]item{}}
	var id item
	var given, slips *yaml.Node
	var find, unit item
	n := y.parse(block)
	if n == nil {
		s.Row = lr.rowAt(classArithmetic, "", f)
		lr.d.marks[f] = &mark{anchor: s.Element, hide: true}
		return
	}
	y.mapping(n, []yamlField{
		{"id", false, y.placed("id", &id)},
		{"ask", true, y.text("ask", &s.Ask)},
		{"given", true, func(n *yaml.Node) { given = n }},
		{"find", true, y.placed("find", &find)},
		{"unit", false, y.unitText(&unit)},
		{"rounding", true, y.decimal("rounding", &s.Rounding)},
		{"tolerance", true, y.decimal("tolerance", &s.Tolerance)},
		{"slips", false, func(n *yaml.Node) { slips = n }},
	})
	if id.text != "" && !isID(id.text) {
		y.errorLine(id.line, id.column, "bad_id", "id", id.text, "like", likeID(id.text))
		id.text = ""
	}
	s.Row = lr.rowAt(classArithmetic, id.text, f)
	s.Unit = y.unit(unit)
	for _, c := range []struct {
		key, value string
		zero       bool
	}{{"rounding", s.Rounding, false}, {"tolerance", s.Tolerance, true}} {
		if c.value != "" && (mustDecimal(c.value).Sign() < 0 || !c.zero && mustDecimal(c.value).Sign() == 0) {
			y.errorNode(n, "not_positive", "key", c.key, "value", c.value)
		}
	}
	if given != nil {
		y.pairs("given", given, func(k, v *yaml.Node) {
			l, c := y.at(k)
			src.givenAt[k.Value] = item{k.Value, l, c}
			s.Given = append(s.Given, y.given(k, v))
		})
		sortGiven(s.Given)
	}
	names := make([]string, len(s.Given))
	for i, g := range s.Given {
		names[i] = g.Name
	}
	if find.text != "" {
		s.Find = y.formula(find, names)
	}
	if slips != nil {
		if slips.Kind != yaml.SequenceNode {
			y.errorNode(slips, "yaml_not_a_list", "like", "[{formula: a * b, means: Multiplied instead of divided.}]")
		} else {
			for _, n := range slips.Content {
				if n.Kind == yaml.AliasNode {
					continue
				}
				var formula, means item
				y.mapping(n, []yamlField{{"formula", true, y.placed("formula", &formula)}, {"means", true, y.placed("means", &means)}})
				slip := Slip{Means: means.text}
				if formula.text != "" {
					slip.Formula = y.formula(formula, names)
				}
				if formula.line == 0 {
					formula.line, formula.column = y.at(n)
				}
				s.Slips = append(s.Slips, slip)
				src.slipAt = append(src.slipAt, formula)
			}
		}
	}
	if s.Find != nil {
		used := map[string]bool{}
		for _, f := range append([]Slip{{Formula: s.Find}}, s.Slips...) {
			if f.Formula != nil {
				for _, name := range f.Formula.Names() {
					used[name] = true
				}
			}
		}
		for _, g := range s.Given {
			if at := src.givenAt[g.Name]; !used[g.Name] {
				y.warnLine(at.line, at.column, "given_unused", "name", g.Name)
			}
		}
	}
	lr.l.Sums = append(lr.l.Sums, s)
	copied := s
	lr.d.marks[f] = &mark{anchor: s.Element, sum: &copied}
	src.index, src.findAt, src.unitAt = len(lr.l.Sums)-1, find, unit
	lr.sums = append(lr.sums, src)
}

// unit reads a unit; an empty one is a count.
func (y *yamlReader) unit(at item) Unit {
	if at.text == "" {
		return ""
	}
	if _, ok := dimensionOf(Unit(at.text)); !ok {
		y.errorLine(at.line, at.column, "unknown_unit", "unit", at.text, "nearest", orNone(nearestUnit(at.text)))
	}
	return Unit(at.text)
}

func sortGiven(gs []Given) {
	slices.SortFunc(gs, func(a, b Given) int { return strings.Compare(a.Name, b.Name) })
}

// given reads one given value: a list, a range or a vehicle's figure.
func (y *yamlReader) given(k, v *yaml.Node) Given {
	g := Given{Name: k.Value}
	if !isName(k.Value) || contains(formulaWords, k.Value) {
		y.errorNode(k, "bad_given_name", "name", k.Value)
	}
	if v.Kind != yaml.MappingNode && v.Kind != yaml.AliasNode {
		y.givenShape(v, g.Name)
		return g
	}
	var unit, key item
	var values *yaml.Node
	var from, to, step string
	var fromAt *yaml.Node
	keep := func(key string, to *string) func(*yaml.Node) {
		return func(n *yaml.Node) { fromAt = n; y.decimal(key, to)(n) }
	}
	y.mapping(v, []yamlField{
		{"what", true, y.text("what", &g.What)},
		{"unit", false, y.unitText(&unit)},
		{"values", false, func(n *yaml.Node) { values = n }},
		{"from", false, keep("from", &from)},
		{"to", false, keep("to", &to)},
		{"step", false, keep("step", &step)},
		{"vehicle", false, y.placed("vehicle", &key)},
	})
	g.Unit = y.unit(unit)
	kinds := 0
	if values != nil {
		kinds++
	}
	if fromAt != nil {
		kinds++
	}
	if key.text != "" {
		kinds++
	}
	if kinds != 1 {
		y.givenShape(k, g.Name)
		return g
	}
	switch {
	case values != nil:
		if values.Kind != yaml.SequenceNode || len(values.Content) == 0 {
			y.errorNode(values, "yaml_not_a_list", "like", "[1, 2, 5]")
			return g
		}
		if len(values.Content) > maxGivenValues {
			y.errorNode(values, "too_many_values", "name", g.Name, "limit", itoa(maxGivenValues))
			return g
		}
		seen := map[string]bool{}
		for _, n := range values.Content {
			var d string
			y.decimal("values", &d)(n)
			if d == "" {
				continue
			}
			if exact := mustDecimal(d).RatString(); seen[exact] {
				y.errorNode(n, "duplicate_entry", "key", "values", "value", d)
			} else {
				seen[exact] = true
			}
			g.Values = append(g.Values, d)
		}
	case fromAt != nil:
		if from == "" || to == "" || step == "" {
			y.givenShape(k, g.Name)
			return g
		}
		a, b, st := mustDecimal(from), mustDecimal(to), mustDecimal(step)
		if a.Cmp(b) > 0 {
			y.errorNode(k, "range_reversed", "value", from+"–"+to)
			return g
		}
		if st.Sign() <= 0 {
			y.errorNode(k, "not_positive", "key", "step", "value", step)
			return g
		}
		digits := max(decimals(from), decimals(step))
		for x := a; x.Cmp(b) <= 0; x = new(big.Rat).Add(x, st) {
			if len(g.Values) >= maxGivenValues {
				y.errorNode(k, "too_many_values", "name", g.Name, "limit", itoa(maxGivenValues))
				return g
			}
			g.Values = append(g.Values, x.FloatString(digits))
		}
	case key.text != "":
		g.VehicleKey = strings.TrimPrefix(key.text, "vehicle:")
		if !isKey(g.VehicleKey, true) {
			y.errorLine(key.line, key.column, "bad_key", "key", key.text)
		}
	}
	return g
}

func (y *yamlReader) givenShape(at *yaml.Node, name string) {
	y.errorNode(at, "given_shape", "name", name, "like", name+": {what: Length, unit: m, values: [0.4, 0.5]}")
}

// formula compiles a formula of a sum; nil after reporting why not.
func (y *yamlReader) formula(at item, names []string) *Formula {
	f, faults := compile(at.text, names)
	first := at.column
	if off := y.src.offset(at.line, at.column); off < len(y.src.bytes) && strings.IndexByte(`"'`, y.src.bytes[off]) >= 0 {
		first++
	}
	for _, fault := range faults {
		kv := []string{"what", fault.what}
		if fault.code == "formula_unknown_name" {
			kv = append(kv, "nearest", nearestOf(fault.what, names))
		}
		y.errorLine(at.line, first+fault.at, fault.code, kv...)
	}
	return f
}
