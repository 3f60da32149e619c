package curriculum

import (
	"slices"

	extast "github.com/yuin/goldmark/extension/ast"
	"go.yaml.in/yaml/v4"
)

const maxWheels = 16

// vehicleReader is a vehicle sheet with its document.
type vehicleReader struct {
	*report
	d       *document
	v       *Vehicle
	id      item
	lang    item
	keyAt   map[string]int
	orderAt map[string]item
	fronted bool // features, wheels and orders could be read
	keyless bool // there is a table of figures without keys
}

// readVehicle parses one vehicle sheet; nil if there is nothing to read.
func readVehicle(f File, r *report) *vehicleReader {
	if !checkCharacters(r) {
		return nil
	}
	n, y, body := frontMatter(r)
	v := &Vehicle{File: f.Path, Edition: f.Edition, source: f.Bytes, Orders: map[string][]string{}, faulty: map[string]bool{}}
	vr := &vehicleReader{report: r, v: v, keyAt: map[string]int{}, orderAt: map[string]item{}}
	if n != nil {
		vr.front(n, y)
	}
	if !readable(r, body) {
		return vr
	}
	vr.d = parseMarkdown(r.src, body)
	v.doc = vr.d
	vr.d.findSections(r)
	found := false
	for _, s := range vr.d.sections {
		if s.class != classFigures {
			continue
		}
		for _, b := range s.blocks {
			if t, ok := b.(*extast.Table); ok {
				found = true
				vr.figures(t)
			}
		}
	}
	if !found {
		r.errorAt(0, "sheet_without_figures")
		vr.keyless = true
	}
	return vr
}

// front reads the front matter.
func (vr *vehicleReader) front(n *yaml.Node, y *yamlReader) {
	v := vr.v
	var features []item
	var orders *yaml.Node
	featured, wheeled := false, false
	y.mapping(n, []yamlField{
		{"id", true, y.id("id", &vr.id)},
		{"title", true, y.text("title", &v.Title)},
		{"language", true, y.placed("language", &vr.lang)},
		{"layout", true, y.text("layout", &v.Layout)},
		{"features", true, func(n *yaml.Node) {
			featured = n.Kind == yaml.SequenceNode
			y.list("features", &features)(n)
		}},
		{"wheels", true, func(n *yaml.Node) {
			vr.wheels(y, n)
			wheeled = len(v.Wheels) > 0
		}},
		{"orders", false, func(n *yaml.Node) { orders = n }},
	})
	v.ID, v.Language = vr.id.text, vr.lang.text
	for _, f := range features {
		if !isID(f.text) {
			y.errorLine(f.line, f.column, "bad_id", "id", f.text, "like", likeID(f.text))
		}
	}
	v.Features = texts(features)
	vr.fronted = featured && wheeled
	if orders != nil {
		y.pairs("orders", orders, func(k, n *yaml.Node) { vr.order(y, k, n) })
	}
}

// wheels reads a list of names or a map from name to that wheel's own features.
func (vr *vehicleReader) wheels(y *yamlReader, n *yaml.Node) {
	switch n.Kind {
	case yaml.SequenceNode:
		var names []item
		y.list("wheels", &names)(n)
		for _, w := range names {
			if !isID(w.text) {
				y.errorLine(w.line, w.column, "bad_id", "id", w.text, "like", likeID(w.text))
			}
			vr.v.Wheels = append(vr.v.Wheels, Wheel{Name: w.text})
		}
	case yaml.MappingNode:
		y.pairs("wheels", n, func(k, v *yaml.Node) {
			w := Wheel{Name: k.Value}
			if !isID(k.Value) {
				y.errorNode(k, "bad_id", "id", k.Value, "like", likeID(k.Value))
			}
			if !isNullNode(v) {
				var features []item
				y.list("wheels", &features)(v)
				for _, f := range features {
					if !isID(f.text) {
						y.errorLine(f.line, f.column, "bad_id", "id", f.text, "like", likeID(f.text))
					}
				}
				w.Features = texts(features)
			}
			vr.v.Wheels = append(vr.v.Wheels, w)
		})
	default:
		y.errorNode(n, "yaml_not_a_list", "like", "[LF, RF]")
	}
	if len(vr.v.Wheels) > maxWheels {
		y.errorNode(n, "too_many_values", "name", "wheels", "limit", itoa(maxWheels))
		vr.v.Wheels = vr.v.Wheels[:maxWheels]
	}
}

func (v *Vehicle) wheelNames() []string {
	var names []string
	for _, w := range v.Wheels {
		names = append(names, w.Name)
	}
	return names
}

// order reads a named order of wheels. It may leave wheels out; a step that goes round in it may not need those.
func (vr *vehicleReader) order(y *yamlReader, k, n *yaml.Node) {
	if !isID(k.Value) {
		y.errorNode(k, "bad_id", "id", k.Value, "like", likeID(k.Value))
	}
	var wheels []item
	y.list("orders", &wheels)(n)
	for _, w := range wheels {
		if !slices.Contains(vr.v.wheelNames(), w.text) {
			if !vr.fronted {
				continue // the wheels could not be read
			}
			y.errorLine(w.line, w.column, "unknown_wheel", "wheel", w.text, "nearest", nearestOf(w.text, vr.v.wheelNames()))
			continue
		}
		vr.v.Orders[k.Value] = append(vr.v.Orders[k.Value], w.text)
	}
	l, c := y.at(k)
	vr.orderAt[k.Value] = item{k.Value, l, c}
}

func (vr *vehicleReader) figures(t *extast.Table) {
	rows, columns := vr.d.readTable(vr.report, classFigures, t, true)
	vr.keyless = vr.keyless || !slices.Contains(columns, "key") // which is said of the heading, as is a key that does not stand first
	for _, tr := range rows {
		off := vr.d.start(tr.node)
		row := Row{ID: tr.id, Line: vr.d.src.line(off)}
		f, ok := vr.d.figure(vr.report, tr, row, true)
		if !ok {
			if f.Key != "" {
				vr.v.faulty[f.Key] = true
			}
			continue
		}
		f.Element = "vehicle/" + f.Key
		if _, double := vr.keyAt[f.Key]; double {
			vr.errorAt(vr.d.cellStart(tr.cell("key")), "duplicate_id", "id", f.Key)
			continue
		}
		vr.keyAt[f.Key] = off
		f.Language = vr.v.Language
		vr.v.Figures = append(vr.v.Figures, f)
		copied := f
		vr.d.marks[tr.node] = &mark{anchor: f.Element}
		if c := tr.cell("unit"); c != nil { // what it comes to in the reader's units stands after the sheet's own unit
			m, _ := vr.d.mark(c) // its column's
			m.figure = &copied
			vr.d.marks[c] = &m
		}
	}
}
