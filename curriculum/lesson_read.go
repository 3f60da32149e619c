package curriculum

import (
	"bytes"
	"slices"
	"strings"

	"github.com/yuin/goldmark/ast"
	extast "github.com/yuin/goldmark/extension/ast"
)

// lessonReader builds a Lesson from a document, section by section.
type lessonReader struct {
	*report
	d         *document
	l         *Lesson
	front     lessonFront
	steps     []*stepSource
	rowIDs    map[string]bool // "class/id"
	rows      map[string]int  // how many rows or blocks of a class there were so far, those with faults too
	quantity  []string        // of every row of figures, those with faults too
	sums      []sumSource
	pictureAt []int // where each picture's image stands
	partAt    []partPlace
	features  []word // every feature named by an if, with its place
}

// readLesson parses one lesson file. The lesson comes back even where there are problems, as far as it could be read;
// nil if there is nothing to read.
func readLesson(f File, r *report) *lessonReader {
	if !checkCharacters(r) {
		return nil
	}
	n, y, body := frontMatter(r)
	front := lessonFront{}
	if n != nil {
		front = readLessonFront(n, y)
	}
	if !readable(r, body) {
		return nil
	}
	d := parseMarkdown(r.src, body)
	l := &Lesson{ID: front.id.text, Title: front.title.text, Language: front.language.text, Tasks: texts(front.tasks),
		Prerequisites: texts(front.prerequisites), Minutes: front.minutes, File: f.Path, Edition: f.Edition, source: f.Bytes, doc: d}
	d.lesson = l
	lr := &lessonReader{report: r, d: d, l: l, front: front, rowIDs: map[string]bool{}, rows: map[string]int{}}
	d.findSections(r)
	for _, s := range d.sections {
		l.Sections = append(l.Sections, SectionInfo{Class: s.class, Title: s.title, Anchor: s.anchor, Line: d.lineOf(s.heading)})
		lr.section(s)
	}
	lr.finishProcedure()
	lr.sumsOutside()
	lr.unread()
	lr.checkRows()
	return lr
}

// unread warns of what is written like a part of the format and stands where it is reading matter: a table with the columns of a
// section under another heading, a step's braces outside the list of a procedure.
func (lr *lessonReader) unread() {
	class := ""
	for n := lr.d.root.FirstChild(); n != nil; n = n.NextSibling() {
		switch n := n.(type) {
		case *ast.Heading:
			switch {
			case n.Level == 2:
				class, _ = classOf(n, lr.d.body)
			case n.Level == 1:
				class = ""
			}
		case *extast.Table:
			if head := n.FirstChild(); !lr.d.tables[n] && head != nil {
				if of := lr.tableOf(head); of != "" {
					lr.warnAt(lr.d.start(head), "table_unread", "section", of)
				}
			}
		default:
			if class != classPictures && class != classTerms {
				lr.strayBraces(n, 0)
			}
		}
	}
}

// tableOf is the English heading of the section whose columns a table's head has; "" if there is none.
func (lr *lessonReader) tableOf(head ast.Node) string {
	for class, heading := range map[string]string{classCautions: "Cautions", classTools: "Tools and materials", classFaults: "Faults", classFigures: "Figures"} {
		found, all := 0, true
		for c := head.FirstChild(); c != nil; c = c.NextSibling() {
			if w := columnOf(tableColumns[class], lr.d.text(c).Plain()); w == nil {
				all = false
			} else if !w.optional {
				found++
			}
		}
		need := 0
		for _, w := range tableColumns[class] {
			if !w.optional {
				need++
			}
		}
		if all && found == need {
			return heading
		}
	}
	return ""
}

// strayBraces warns of lines that end in a step's braces and are no step's first line.
func (lr *lessonReader) strayBraces(n ast.Node, depth int) {
	switch n.Kind() {
	case ast.KindParagraph, ast.KindTextBlock:
		first := 0
		if lr.d.attrs[n.Parent()] != (span{}) && n.Parent().FirstChild() == n {
			first = 1
		}
		for i := first; i < n.Lines().Len(); i++ {
			line := n.Lines().At(i)
			value := line.Value(lr.d.body)
			if s, ok := findAttributes(value); ok && bytes.HasPrefix(bytes.TrimLeft(value[s.start+1:], " "), []byte("#")) {
				lr.warnAt(line.Start-line.Padding+s.start, "braces_unread", "text", string(value[s.start:s.stop]))
			}
		}
	case ast.KindList, ast.KindListItem, ast.KindBlockquote:
		if depth > 2*maxNesting {
			return
		}
		for c := n.FirstChild(); c != nil; c = c.NextSibling() {
			lr.strayBraces(c, depth+1)
		}
	}
}

// emptySection warns of a section in which nothing can be read, and shows what could be.
func (lr *lessonReader) emptySection(s *section) {
	like := map[string]string{
		classProcedure:  "1. Undo the nuts {#undo}",
		classTerms:      "Hub ⏎ : The part that turns on the bearings.",
		classMisbeliefs: "- **Said:** Tight is tight. **In fact:** A torque is a figure.",
		classArithmetic: "```sum",
		classPictures:   "![A hub cut open](pictures/hub.svg)",
	}[s.class]
	if like == "" {
		for _, c := range tableColumns[s.class] {
			if !c.optional {
				like += "| " + c.words[0] + " "
			}
		}
		like += "|"
	}
	lr.warnAt(lr.d.start(s.heading), "section_empty", "section", s.title, "like", like)
}

func (lr *lessonReader) section(s *section) {
	switch s.class {
	case classProcedure:
		lr.procedure(s)
	case classCautions, classTools, classFaults, classFigures:
		if lr.tables(s) == 0 {
			lr.emptySection(s)
		}
	case classTerms:
		lr.terms(s)
	case classMisbeliefs:
		lr.misbeliefs(s)
	case classPictures:
		lr.pictures(s)
	case classArithmetic:
		lr.arithmetic(s)
	}
}

// tables reads all tables of a section and returns how many there were.
func (lr *lessonReader) tables(s *section) (n int) {
	for _, b := range s.blocks {
		if t, ok := b.(*extast.Table); ok {
			n++
			lr.table(s.class, t)
		}
	}
	return n
}

// tableRow is one row as read.
type tableRow struct {
	node    ast.Node
	columns []string // names
	cells   []ast.Node
	texts   []Text // of cells
	id      string
}

func (tr *tableRow) at(column string) int {
	i := slices.Index(tr.columns, column)
	if i >= len(tr.cells) {
		return -1
	}
	return i
}

// cell is the cell of a column, nil where the row or its table lacks it.
func (tr *tableRow) cell(column string) ast.Node {
	if i := tr.at(column); i >= 0 {
		return tr.cells[i]
	}
	return nil
}

// text is what the cell of a column says; what there is not stands on the row's line.
func (tr *tableRow) text(d *document, column string) Text {
	if i := tr.at(column); i >= 0 {
		return tr.texts[i]
	}
	return Text{Line: d.lineOf(tr.node)}
}

// readTable matches a table's columns with those of its class. Where they are wrong, which is said, the rows are read as far as it is
// known what their cells are, so that nothing else in them stays unsaid.
func (d *document) readTable(r *report, class string, t *extast.Table, needKey bool) (rows []tableRow, columns []string) {
	want := tableColumns[class]
	head, ok := t.FirstChild().(*extast.TableHeader)
	if !ok {
		return nil, nil
	}
	d.tables[t] = true
	last := -1
	var missing, unknown []string
	for _, w := range want {
		if !w.optional || needKey && w.name == "key" {
			missing = append(missing, w.words[0])
		}
	}
	for c := head.FirstChild(); c != nil; c = c.NextSibling() {
		if w := columnOf(want, d.text(c).Plain()); w == nil {
			unknown = append(unknown, d.text(c).Plain())
		} else {
			missing = slices.DeleteFunc(missing, func(m string) bool { return m == w.words[0] })
		}
	}
	for c := head.FirstChild(); c != nil; c = c.NextSibling() {
		name := d.text(c).Plain()
		at := slices.IndexFunc(want, func(w column) bool { return slices.Contains(w.keys, plainKey(name)) })
		switch {
		case at < 0:
			near, meant := nearestColumn(name, want), ""
			if len(missing) == 1 && len(unknown) == 1 { // which is then not missing besides
				near, missing = missing[0], nil
				meant = columnOf(want, near).name
			}
			r.errorAt(d.cellStart(c), "unknown_column", "column", name, "nearest", near)
			columns = append(columns, meant)
			continue
		case contains(columns, want[at].name):
			r.errorAt(d.cellStart(c), "duplicate_column", "column", name)
		case at < last:
			r.errorAt(d.cellStart(c), "column_order", "column", name, "order", columnList(want))
		}
		last = max(last, at)
		columns = append(columns, want[at].name)
	}
	for _, w := range missing {
		r.errorAt(d.start(head), "missing_column", "column", w)
	}
	for n := head.NextSibling(); n != nil; n = n.NextSibling() {
		row := tableRow{node: n, columns: columns, id: d.takeID(r, n.FirstChild()),
			cells: make([]ast.Node, 0, len(columns)), texts: make([]Text, 0, len(columns))}
		for c := n.FirstChild(); c != nil && len(row.cells) < len(columns); c = c.NextSibling() {
			row.cells = append(row.cells, c)
			row.texts = append(row.texts, d.text(c))
		}
		if at := d.extraCell(n, len(columns)); at >= 0 {
			r.errorAt(at, "extra_cell", "columns", itoa(len(columns)))
		}
		rows = append(rows, row)
	}
	d.dress(class, t, head, rows, columns)
	return rows, columns
}

// columnOf is the column of a class that a heading names, nil if it is none.
func columnOf(want []column, heading string) *column {
	key := plainKey(heading)
	for i := range want {
		if slices.Contains(want[i].keys, key) {
			return &want[i]
		}
	}
	return nil
}

// extraCell is where a row has something behind the last of its columns, which Markdown drops without a word; -1 if it has not.
func (d *document) extraCell(row ast.Node, columns int) int {
	line, _ := d.src.at(d.start(row))
	first, stop := d.src.lines[line-1], len(d.body)
	if line < len(d.src.lines) {
		stop = d.src.lines[line]
	}
	text := d.body[first:stop]
	bars, from := -1, 0
	for i := 0; i < len(text); i++ {
		switch {
		case text[i] == '\\':
			i++
		case text[i] == '|':
			if bars < 0 && len(bytes.TrimSpace(text[:i])) > 0 { // a row may begin without
				bars = 0
			}
			if bars++; bars == columns {
				from = i + 1
			}
		}
	}
	if rest := bytes.TrimLeft(text[from:], " \t|\n"); from > 0 && len(rest) > 0 {
		return first + len(text) - len(rest)
	}
	return -1
}

// dress notes what rendering does with a table of ours. Its class says what it holds. Features and keys are for authors: a
// row that not every car has says so in its first cell. Each other cell knows its column, for screens too narrow for a table.
func (d *document) dress(class string, t *extast.Table, head *extast.TableHeader, rows []tableRow, columns []string) {
	t.SetAttributeString("class", []byte("of-"+class))
	t.SetAttributeString("role", []byte("table")) // which style sheets that stack the rows would take away
	hide := func(name string) bool { return name == "if" || name == "key" }
	named := slices.IndexFunc(columns, func(name string) bool { return !hide(name) })
	marks := make([]*mark, 0, len(columns))
	for c := head.FirstChild(); c != nil; c = c.NextSibling() {
		i := len(marks)
		d.marks[c] = &mark{hide: hide(columns[i])}
		marks = append(marks, &mark{hide: hide(columns[i]), column: d.text(c).Plain(), first: i == named})
	}
	for _, row := range rows {
		for i, c := range row.cells {
			d.marks[c] = marks[i]
		}
	}
}

func nearestColumn(name string, want []column) string {
	var all []string
	for _, w := range want {
		all = append(all, w.words...)
	}
	if n := nearest(name, all); n != "" {
		return n
	}
	return columnList(want)
}

func columnList(want []column) string {
	var all []string
	for _, w := range want {
		if w.optional {
			all = append(all, "("+w.words[0]+")")
		} else {
			all = append(all, w.words[0])
		}
	}
	return strings.Join(all, ", ")
}

// cellStart is where a table cell begins; an empty cell stands where its row does.
func (d *document) cellStart(c ast.Node) int {
	if c.Lines().Len() > 0 {
		return c.Lines().At(0).Start
	}
	if c.Pos() >= 0 {
		return c.Pos()
	}
	if c.Parent() != nil {
		return d.start(c.Parent())
	}
	return 0
}

// takeID takes `{#id}` off the end of a cell or term and returns the id.
func (d *document) takeID(r *report, cell ast.Node) string {
	if cell == nil {
		return ""
	}
	t, ok := cell.LastChild().(*ast.Text)
	if !ok {
		return ""
	}
	value := t.Segment.Value(d.body)
	s, ok := findAttributes(value)
	if !ok {
		return ""
	}
	at := t.Segment.Start
	id := ""
	for _, a := range parseAttributes(r, span{at + s.start, at + s.stop}) {
		switch {
		case a.kind == '#' && !isID(a.name):
			r.errorAt(a.at, "bad_id", "id", a.name, "like", likeID(a.name))
		case a.kind == '#' && id == "":
			id = a.name
		default:
			r.errorAt(a.at, "unknown_attribute", "attribute", a.name, "nearest", "#id")
		}
	}
	t.Segment.Stop = at + s.start
	t.Segment = t.Segment.TrimRightSpace(d.body)
	return id
}

// rowAt gives a row its place and element and reports a double id.
func (lr *lessonReader) rowAt(class, id string, node ast.Node) Row {
	lr.rows[class]++
	off := lr.d.start(node)
	row := Row{ID: id, Line: lr.d.src.line(off)}
	name := id
	if id == "" {
		name = itoa(lr.rows[class])
	}
	row.Element = class + "/" + name
	if lr.rowIDs[row.Element] {
		lr.errorAt(off, "duplicate_id", "id", name)
	}
	lr.rowIDs[row.Element] = true
	return row
}

func (lr *lessonReader) table(class string, t *extast.Table) {
	rows, columns := lr.d.readTable(lr.report, class, t, false)
	whole := !slices.ContainsFunc(tableColumns[class], func(c column) bool { return !c.optional && !contains(columns, c.name) })
	for _, tr := range rows {
		cell := func(name string) Text { return tr.text(lr.d, name) }
		need := func(names ...string) bool {
			ok := true
			for _, n := range names {
				if !contains(columns, n) {
					ok = false // said of the heading
				} else if cell(n).Empty() {
					ok = false
					lr.emptyCell(tr, class, n)
				}
			}
			return ok
		}
		row := lr.rowAt(class, tr.id, tr.node)
		row.If = lr.rowFeatures(tr.cell("if"))
		switch class {
		case classCautions:
			if need("hazard", "consequence", "control"); !whole {
				break // compared with others it would only seem the same as they
			}
			lr.l.Cautions = append(lr.l.Cautions, Caution{row, cell("hazard"), cell("consequence"), cell("control")})
		case classTools:
			need("item", "use")
			thing, harm := lr.wrongChoice(tr.cell("wrong"), cell("wrong"))
			if !whole {
				break
			}
			lr.l.Tools = append(lr.l.Tools, Tool{row, cell("item"), cell("use"), thing, harm})
		case classFaults:
			if need("symptom", "cause", "check"); !whole {
				break
			}
			lr.l.Faults = append(lr.l.Faults, Fault{row, cell("symptom"), cell("cause"), cell("check")})
		case classFigures:
			lr.quantity = append(lr.quantity, collapse(cell("quantity").Plain()))
			if f, ok := lr.d.figure(lr.report, tr, row, false); ok {
				f.Language = lr.l.Language
				lr.l.Figures = append(lr.l.Figures, f)
			}
		}
		lr.d.marks[tr.node] = &mark{anchor: row.Element, needs: row.If}
	}
}

func (lr *lessonReader) emptyCell(tr tableRow, class, name string) {
	off := lr.d.start(tr.node)
	if c := tr.cell(name); c != nil {
		off = lr.d.cellStart(c)
	}
	for _, c := range tableColumns[class] {
		if c.name == name {
			name = c.words[0]
		}
	}
	lr.errorAt(off, "empty_cell", "column", name)
}

// rowFeatures reads the If column: names of features with spaces or commas between.
func (lr *lessonReader) rowFeatures(cell ast.Node) (out []string) {
	if cell == nil {
		return nil
	}
	for _, f := range strings.FieldsFunc(lr.d.text(cell).Plain(), func(r rune) bool { return r == ' ' || r == ',' }) {
		if !isID(f) {
			lr.errorAt(lr.d.cellStart(cell), "bad_id", "id", f, "like", likeID(f))
			continue
		}
		lr.features = append(lr.features, word{f, lr.d.cellStart(cell)})
		if !contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// wrongChoice splits "thing: harm" at its first colon.
func (lr *lessonReader) wrongChoice(cell ast.Node, t Text) (thing, harm Text) {
	thing, harm = Text{Line: t.Line}, Text{Line: t.Line}
	if t.Empty() {
		return thing, harm
	}
	for i, p := range t.Parts {
		before, after, found := strings.Cut(p.Text, ":")
		if p.Key != "" || !found {
			continue
		}
		thing.Parts = trimParts(append(append([]TextPart{}, t.Parts[:i]...), TextPart{Text: before}))
		harm.Parts = trimParts(append([]TextPart{{Text: after}}, t.Parts[i+1:]...))
		break
	}
	if thing.Empty() || harm.Empty() {
		off := 0
		if cell != nil {
			off = lr.d.cellStart(cell)
		}
		lr.errorAt(off, "wrong_choice_shape", "text", t.Plain())
		return Text{Line: t.Line}, Text{Line: t.Line}
	}
	return thing, harm
}

// trimParts trims the ends of a text and drops empty parts.
func trimParts(parts []TextPart) (out []TextPart) {
	for i, p := range parts {
		if p.Key == "" {
			if i == 0 {
				p.Text = strings.TrimLeft(p.Text, " ")
			}
			if i == len(parts)-1 {
				p.Text = strings.TrimRight(p.Text, " ")
			}
			if p.Text == "" {
				continue
			}
		}
		out = append(out, p)
	}
	return out
}

// figure reads a row of a figures table.
func (d *document) figure(r *report, tr tableRow, row Row, needKey bool) (Figure, bool) {
	cell := func(name string) string { return tr.text(d, name).Plain() }
	place := func(name string) int {
		if c := tr.cell(name); c != nil {
			return d.cellStart(c)
		}
		return d.start(tr.node)
	}
	f := Figure{Row: row, Key: cell("key"), Quantity: tr.text(d, "quantity"), Source: tr.text(d, "source")}
	has := func(name string) bool { return contains(tr.columns, name) } // that a column is missing is said of the heading
	ok := has("quantity") && has("value") && has("unit") && has("limit") && has("source") && (has("key") || !needKey)
	if f.Key == "" && needKey && has("key") {
		r.errorAt(place("key"), "empty_cell", "column", "Key")
		ok = false
	}
	if f.Key != "" && !isKey(f.Key, false) {
		r.errorAt(place("key"), "bad_key", "key", f.Key)
		ok = false
	}
	if f.Quantity.Empty() && has("quantity") {
		r.errorAt(place("quantity"), "empty_cell", "column", "Quantity")
		ok = false
	}
	if f.Source.Empty() && has("source") {
		r.warnAt(place("source"), "no_source", "quantity", f.Quantity.Plain())
	}
	value, valued := cell("value"), false
	if has("value") {
		f.Value, f.High, valued = readValue(r, place("value"), value, true)
		ok = ok && valued
	}
	f.Unit = Unit(cell("unit"))
	if _, known := dimensionOf(f.Unit); !known {
		r.errorAt(place("unit"), "unknown_unit", "unit", string(f.Unit), "nearest", orNone(nearestUnit(string(f.Unit))))
		ok = false
	}
	limit, known := limitWords[plainKey(cell("limit"))]
	if !known {
		r.errorAt(place("limit"), "unknown_limit", "limit", cell("limit"))
		return f, false
	}
	f.Limit = limit
	if valued && (limit == Range && f.High == "" || (limit == Minimum || limit == Maximum) && f.High != "") {
		r.errorAt(place("limit"), "limit_mismatch", "limit", cell("limit"), "value", value)
		ok = false
	}
	return f, ok
}

// nearestOf is a hint for an unknown word: the nearest known one, else all known ones if they are few, else orNone.
func nearestOf(s string, known []string) string {
	near := nearest(s, known)
	if near == "" && len(known) <= 8 {
		near = strings.Join(known, ", ")
	}
	return orNone(near)
}

// orNone is for a hint where nothing is near.
func orNone(s string) string {
	if s == "" {
		return "—"
	}
	return s
}

// readValue reads a decimal or a range with an en dash.
func readValue(r *report, off int, s string, ok bool) (low, high string, good bool) {
	a, b, isRange := strings.Cut(s, "–")
	low, ok1 := normalDecimal(a)
	if s == "" {
		r.errorAt(off, "empty_cell", "column", "Value")
		return "", "", false
	}
	if !isRange {
		if !ok1 {
			if x, y, dash := strings.Cut(strings.TrimPrefix(s, "-"), "-"); dash {
				_, okx := normalDecimal(x)
				_, oky := normalDecimal(y)
				if okx && oky {
					r.errorAt(off, "range_dash", "value", s, "range", s[:len(s)-len(y)-1]+"–"+y)
					return "", "", false
				}
			}
			r.errorAt(off, "bad_decimal", "value", s)
		}
		return low, "", ok && ok1
	}
	high, ok2 := normalDecimal(b)
	if !ok1 || !ok2 {
		r.errorAt(off, "bad_decimal", "value", s)
		return "", "", false
	}
	if mustDecimal(low).Cmp(mustDecimal(high)) > 0 {
		r.errorAt(off, "range_reversed", "value", s)
		return "", "", false
	}
	return low, high, ok
}

// terms reads definition lists: several term lines over one definition are synonyms.
func (lr *lessonReader) terms(s *section) {
	seen := map[string]bool{}
	found := false
	for _, b := range s.blocks {
		dl, ok := b.(*extast.DefinitionList)
		if !ok {
			continue
		}
		found = true
		var names []ast.Node
		var defs []Text
		flush := func() {
			if len(names) == 0 {
				return
			}
			id := lr.d.takeID(lr.report, names[0])
			row := lr.rowAt(classTerms, id, names[0])
			t := Term{Row: row}
			for _, n := range names {
				name := lr.d.text(n).Plain()
				if name == "" {
					continue
				}
				if seen[plainKey(name)] {
					lr.errorAt(lr.d.start(n), "duplicate_term", "term", name)
				}
				seen[plainKey(name)] = true
				t.Names = append(t.Names, name)
			}
			for i, d := range defs {
				if i == 0 {
					t.Definition = d
				} else {
					t.Definition.Parts = append(append(t.Definition.Parts, TextPart{Text: " "}), d.Parts...)
				}
			}
			lr.d.marks[names[0]] = &mark{anchor: row.Element}
			if len(t.Names) == 0 || t.Definition.Empty() {
				lr.errorAt(lr.d.start(names[0]), "term_without_definition", "term", strings.Join(t.Names, ", "))
			} else {
				lr.l.Terms = append(lr.l.Terms, t)
			}
			names, defs = nil, nil
		}
		for c := dl.FirstChild(); c != nil; c = c.NextSibling() {
			switch c := c.(type) {
			case *extast.DefinitionTerm:
				if len(defs) > 0 {
					flush()
				}
				names = append(names, c)
			case *extast.DefinitionDescription:
				if p := c.FirstChild(); p != nil {
					defs = append(defs, lr.d.text(p))
				}
			}
		}
		flush()
	}
	if !found {
		lr.emptySection(s)
	}
}

// misbeliefs reads bullets of **Said:** … **In fact:** …
func (lr *lessonReader) misbeliefs(s *section) {
	found := false
	for _, b := range s.blocks {
		list, ok := b.(*ast.List)
		if !ok {
			continue
		}
		found = true
		for li := list.FirstChild(); li != nil; li = li.NextSibling() {
			lr.misbelief(li)
		}
	}
	if !found {
		lr.emptySection(s)
	}
}

func (lr *lessonReader) misbelief(li ast.Node) {
	id := ""
	if s, ok := lr.d.attrs[li]; ok {
		for _, a := range parseAttributes(lr.report, s) {
			if a.kind == '#' && isID(a.name) {
				id = a.name
			} else {
				lr.errorAt(a.at, "unknown_attribute", "attribute", a.name, "nearest", "#id")
			}
		}
	}
	found := map[string]*textBuilder{}
	var open *textBuilder
	for p := li.FirstChild(); p != nil; p = p.NextSibling() {
		if p.Kind() != ast.KindParagraph && p.Kind() != ast.KindTextBlock {
			continue
		}
		for c := p.FirstChild(); c != nil; c = c.NextSibling() {
			if e, ok := c.(*ast.Emphasis); ok && e.Level == 2 {
				if which, ok := saidWords[plainKey(lr.d.text(e).Plain())]; ok {
					if found[which] != nil {
						lr.errorAt(lr.d.start(e), "misbelief_shape")
					}
					open = &textBuilder{d: lr.d}
					found[which] = open
					continue
				}
			}
			if open != nil {
				open.node(c)
			}
		}
		if open != nil {
			open.add(" ")
		}
	}
	row := lr.rowAt(classMisbeliefs, id, li)
	lr.d.marks[li] = &mark{anchor: row.Element}
	m := Misbelief{Row: row}
	for which, to := range map[string]*Text{"said": &m.Said, "in-fact": &m.InFact} {
		if b := found[which]; b != nil {
			*to = b.done(row.Line)
			to.Parts = trimLeadColon(to.Parts)
		}
	}
	if m.Said.Empty() || m.InFact.Empty() {
		lr.errorAt(lr.d.itemStart(li), "misbelief_shape")
		return
	}
	lr.l.Misbeliefs = append(lr.l.Misbeliefs, m)
}

// trimLeadColon takes the colon off that may stand after a bold label instead of in it.
func trimLeadColon(parts []TextPart) []TextPart {
	if len(parts) > 0 && parts[0].Key == "" {
		parts = append([]TextPart{{Text: strings.TrimLeft(strings.TrimPrefix(strings.TrimLeft(parts[0].Text, " "), ":"), " ")}}, parts[1:]...)
	}
	return trimParts(parts)
}
