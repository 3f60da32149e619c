package curriculum

import (
	"bytes"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

// document is a Markdown file's tree with what we found in it. It is read only after parsing: rendering shares it.
type document struct {
	src      *source
	body     []byte // the source with the front matter blanked, so that offsets are those of the file
	root     ast.Node
	lesson   *Lesson // that was read from it, nil of a vehicle sheet
	sections []*section
	attrs    map[ast.Node]span // attribute blocks taken off the first lines of list items

	// What checks look at, in the order of the file.
	images []*ast.Image
	links  []*ast.Link
	fences []*ast.FencedCodeBlock
	html   []ast.Node // inline and block

	places map[string]bool   // see anchors
	tables map[ast.Node]bool // which were read as a section's

	// What rendering needs to know of a node, filled while the structure is read. The cells of a column share one.
	marks map[ast.Node]*mark
}

// mark is what rendering does at a node.
type mark struct {
	anchor string   // id attribute
	href   string   // where a link into the programme leads
	step   *Step    // the step a list item is, or nil
	each   *Step    // step at hand for {axle} below this node, or nil
	needs  []string // features a row needs
	hide   bool     // nothing of it is shown (a sum's formulas, a column for authors)
	sum    *Sum
	figure *Figure // the value cell of a vehicle sheet's figures
	column string  // of a cell of our tables: its column's heading, "" in the heading itself
	first  bool    // the cell that names its row
	read   Measure // of a point: what is measured there
}

// mark is what is known of a node; the zero mark where that is nothing.
func (d *document) mark(n ast.Node) (m mark, ok bool) {
	if at := d.marks[n]; at != nil {
		return *at, true
	}
	return mark{}, false
}

// section is a level-2 heading with the blocks up to the next heading of level 1 or 2.
type section struct {
	class   string // "" for reading matter
	title   string
	anchor  string
	heading *ast.Heading
	blocks  []ast.Node
}

// attrsKey keeps the attribute blocks that the paragraph transformer takes off.
var attrsKey = parser.NewContextKey()
var classKey = parser.NewContextKey()

// markdown parses with the extensions of the lesson format. Raw HTML stays off in the renderer.
var markdown = goldmark.New(
	goldmark.WithExtensions(extension.Table, extension.Strikethrough, extension.Linkify, extension.DefinitionList, extension.Footnote),
	goldmark.WithParserOptions(parser.WithHeadingAttribute(), parser.WithParagraphTransformers(util.Prioritized(stepAttributes{}, 50))),
)

// parseMarkdown parses a file's body. The caller has checked characters and nesting, and gives up body: line ends may
// move in it; src keeps the file as it is.
func parseMarkdown(src *source, body []byte) *document {
	pc := parser.NewContext()
	d := &document{src: src, body: body, attrs: map[ast.Node]span{}, marks: map[ast.Node]*mark{}, tables: map[ast.Node]bool{}}
	pc.Set(attrsKey, d.attrs)
	d.root = markdown.Parser().Parse(text.NewReader(body), parser.WithContext(pc))
	d.gather(d.root)
	return d
}

// gather lists the nodes that checks look at. Its depth is bounded as the parser's own is.
func (d *document) gather(n ast.Node) {
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		switch c := c.(type) {
		case *ast.Image:
			d.images = append(d.images, c)
		case *ast.Link:
			d.links = append(d.links, c)
		case *ast.FencedCodeBlock:
			d.fences = append(d.fences, c)
		case *ast.RawHTML, *ast.HTMLBlock:
			d.html = append(d.html, c)
		case *ast.Text:
			continue
		}
		d.gather(c)
	}
}

// tooDeep finds a line that nests more containers than any lesson needs; parsers of Markdown recurse on them.
func tooDeep(body []byte) (off int, deep bool) {
	start := 0
	for start < len(body) {
		stop := bytes.IndexByte(body[start:], '\n')
		if stop < 0 {
			stop = len(body) - start
		}
		line := body[start : start+stop]
		depth, indent := 0, 0
		for i := 0; i < len(line); i++ {
			switch c := line[i]; {
			case c == '>' || c == '-' || c == '+' || c == '*' || c == ':':
				depth++
			case c == ' ':
				indent++
			case c == '\t':
				indent += 4
			case c >= '0' && c <= '9', c == '.' || c == ')':
				if c == '.' || c == ')' {
					depth++
				}
			default:
				i = len(line)
			}
		}
		if depth > maxNesting && bytes.ContainsAny(line, " \t>") && !isRule(line) || indent > 8*maxNesting && depth > 0 {
			return start, true
		}
		start += stop + 1
	}
	return 0, false
}

// maxColumns bounds a table: a short row is filled up to the width of its table, so wide ones multiply.
const maxColumns = 40

// tooWide finds a line that opens a table with more columns than any lesson needs.
func tooWide(body []byte) (off int, wide bool) {
	for start := 0; start < len(body); {
		stop := bytes.IndexByte(body[start:], '\n')
		if stop < 0 {
			stop = len(body) - start
		}
		line := body[start : start+stop]
		if bytes.Count(line, []byte("|")) > maxColumns+1 && len(bytes.Trim(line, "|-: \t>")) == 0 {
			return start, true
		}
		start += stop + 1
	}
	return 0, false
}

// maxMarks bounds the signs of emphasis and links in one block: the parser of Markdown compares each with those before it.
const maxMarks = 2000

// marksIn calls each with where a block of lines without a blank one begins and how many such signs it has. A bracket counts twice: it
// takes as long.
func marksIn(body []byte, each func(start, marks int) bool) {
	start, marks := 0, 0
	for at := 0; at < len(body); {
		stop := bytes.IndexByte(body[at:], '\n')
		if stop < 0 {
			stop = len(body) - at
		}
		line := body[at : at+stop]
		if len(bytes.TrimLeft(line, " \t")) == 0 {
			if marks > 0 && !each(start, marks) {
				return
			}
			start, marks = at+stop+1, 0
		} else {
			for _, c := range line {
				switch c {
				case '*', '_', '~':
					marks++
				case '[':
					marks += 2
				}
			}
		}
		at += stop + 1
	}
	if marks > 0 {
		each(start, marks)
	}
}

// tooMarked finds a block with more signs of emphasis and links than any lesson has.
func tooMarked(body []byte) (off int, many bool) {
	marksIn(body, func(start, marks int) bool {
		off, many = start, marks > maxMarks
		return !many
	})
	return off, many
}

// markEffort is what the signs of a whole file may cost the parser, in the units of maxEffort.
func markEffort(body []byte) (effort int) {
	marksIn(body, func(_, marks int) bool {
		if marks <= maxMarks { // others are refused
			effort += marks * marks
		}
		return true
	})
	return effort
}

// readable says whether a body can be given to the Markdown parser; what it would choke on is reported.
func readable(r *report, body []byte) bool {
	if off, deep := tooDeep(body); deep {
		r.errorAt(off, "nested_too_deep", "limit", itoa(maxNesting))
		return false
	}
	if off, many := tooMarked(body); many {
		r.errorAt(off, "too_many_marks", "limit", itoa(maxMarks))
		return false
	}
	if off, wide := tooWide(body); wide {
		r.errorAt(off, "table_too_wide", "limit", itoa(maxColumns))
		return false
	}
	return true
}

// isRule says whether a line is made of one kind of mark and spaces only: a thematic break or a table's rule.
func isRule(line []byte) bool {
	line = bytes.TrimSpace(line)
	for _, c := range line {
		if c != line[0] && c != ' ' || c == '>' || c == ':' {
			return false
		}
	}
	return !bytes.Contains(line, []byte("- -")) && !bytes.Contains(line, []byte("* *")) || len(line) <= 2*maxNesting
}

// stepAttributes takes the attribute block off the first line of list items in the sections that are ours, before the
// text is parsed for emphasis and links.
type stepAttributes struct{}

func (stepAttributes) Transform(n *ast.Paragraph, reader text.Reader, pc parser.Context) {
	li, ok := n.Parent().(*ast.ListItem)
	if !ok || li.FirstChild() != n || n.Lines().Len() == 0 {
		return
	}
	line := n.Lines().At(0)
	s, ok := findAttributes(line.Value(reader.Source()))
	if !ok {
		return
	}
	switch classAround(li, reader.Source(), pc) {
	case classProcedure, classMisbeliefs:
	default:
		return
	}
	at := line.Start - line.Padding
	pc.Get(attrsKey).(map[ast.Node]span)[li] = span{at + s.start, at + s.stop}
	line.Stop = at + s.start
	line = line.TrimRightSpace(reader.Source())
	if n.Lines().Len() > 1 && line.Stop < at+s.stop {
		// The line still needs its end: it moves to where the attributes began, in our copy of the source.
		reader.Source()[line.Stop] = '\n'
		line.Stop++
	}
	n.Lines().Set(0, line)
}

// sectionAt remembers the last answer of classAround, so that a long section is not walked again for each item.
type sectionAt struct {
	block ast.Node
	class string
}

// classAround is the class of the section a node stands in while blocks are still being parsed.
func classAround(n ast.Node, src []byte, pc parser.Context) string {
	for n.Parent() != nil && n.Parent().Kind() != ast.KindDocument {
		n = n.Parent()
	}
	last, _ := pc.Get(classKey).(sectionAt)
	class := ""
	for b := n; b != nil; b = b.PreviousSibling() {
		if b == last.block {
			class = last.class
			break
		}
		if h, ok := b.(*ast.Heading); ok && h.Level <= 2 {
			if h.Level == 2 {
				class, _ = classOf(h, src)
			}
			break
		}
	}
	pc.Set(classKey, sectionAt{n, class})
	return class
}

// classOf is the class of a level-2 heading: a class that is given, else what its words say. unknown is a class
// outside the table.
func classOf(h *ast.Heading, src []byte) (class, unknown string) {
	if v, ok := h.AttributeString("class"); ok {
		b, _ := v.([]byte)
		for _, c := range strings.Fields(string(b)) {
			if !contains(classes, c) {
				return "", c
			}
			class = c
		}
		if class != "" {
			return class, ""
		}
	}
	var b strings.Builder
	for i := range h.Lines().Len() {
		l := h.Lines().At(i)
		b.Write(l.Value(src))
	}
	return headingWords[plainKey(strings.Trim(b.String(), "*_ \n"))], ""
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// findSections splits the document at its level-2 headings and reports classes outside the table.
func (d *document) findSections(r *report) {
	var open *section
	count := map[string]int{}
	used := map[string]int{}
	for n := d.root.FirstChild(); n != nil; n = n.NextSibling() {
		h, ok := n.(*ast.Heading)
		if !ok {
			if open != nil {
				open.blocks = append(open.blocks, n)
			}
			continue
		}
		title := d.text(h).Plain()
		class, unknown := classOf(h, d.body)
		if unknown != "" {
			near := nearest(unknown, classes)
			if near == "" {
				near = strings.Join(classes, ", ")
			}
			r.errorAt(d.start(h), "unknown_class", "class", unknown, "nearest", near)
		}
		if strings.HasSuffix(title, "}") && strings.Contains(title, "{") {
			r.errorAt(d.start(h), "bad_attributes", "text", title)
		}
		if h.Level != 2 {
			if v, ok := h.AttributeString("class"); ok && unknown == "" {
				b, _ := v.([]byte)
				r.warnAt(d.start(h), "heading_level", "class", string(b), "level", itoa(h.Level))
			}
			if h.Level == 1 {
				open = nil
			} else if open != nil {
				open.blocks = append(open.blocks, n)
			}
			continue
		}
		open = &section{class: class, title: title, heading: h}
		count[class]++
		open.anchor = anchorOf(h, class, count[class], used)
		used[open.anchor]++
		if class != "" {
			d.marks[h] = &mark{anchor: open.anchor}
		}
		d.sections = append(d.sections, open)
	}
}

// anchorOf gives a heading its id: the author's, else the class; reading matter has none of its own.
func anchorOf(h *ast.Heading, class string, nth int, used map[string]int) string {
	if v, ok := h.AttributeString("id"); ok {
		if b, ok := v.([]byte); ok && len(b) > 0 {
			return string(b)
		}
	}
	if class == "" {
		return ""
	}
	base := class
	if class != "" && nth > 1 {
		base += "-" + itoa(nth)
	}
	a := base
	for used[a] > 0 {
		used[base]++
		a = base + "-" + itoa(used[base])
	}
	return a
}

// start is the offset of a node's first character in the file.
func (d *document) start(n ast.Node) int {
	if n == nil {
		return 0
	}
	if n.Type() == ast.TypeBlock && n.Lines() != nil && n.Lines().Len() > 0 {
		return n.Lines().At(0).Start
	}
	if t, ok := n.(*ast.Text); ok {
		return t.Segment.Start
	}
	if p := n.Pos(); p >= 0 {
		return p
	}
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		return d.start(c)
	}
	if n.Parent() != nil && n.Parent().Kind() != ast.KindDocument {
		return d.start(n.Parent())
	}
	return 0
}

// itemStart is where a list item's text begins; its marker where it has none.
func (d *document) itemStart(li ast.Node) int {
	if li == nil {
		return 0
	}
	if c := li.FirstChild(); c != nil {
		return d.start(c)
	}
	return max(0, li.Pos())
}

func (d *document) lineOf(n ast.Node) int { return d.src.line(d.start(n)) }

// text reads the inline content of a block.
func (d *document) text(n ast.Node) Text {
	if t, ok := n.FirstChild().(*ast.Text); ok && t.NextSibling() == nil && !t.IsRaw() && !t.SoftLineBreak() && !t.HardLineBreak() { // most cells
		s := strings.Trim(collapse(unescape(t.Segment.Value(d.body))), " ")
		if s == "" {
			return Text{Line: d.src.line(t.Segment.Start)}
		}
		return Text{Parts: []TextPart{{Text: s}}, Line: d.src.line(t.Segment.Start)}
	}
	b := textBuilder{d: d}
	b.children(n)
	return b.done(d.lineOf(n))
}

// textBuilder turns inline nodes into a Text: emphasis goes, links leave their words, a vehicle link keeps its key.
type textBuilder struct {
	d     *document
	parts []TextPart
	line  int
	depth int
}

func (b *textBuilder) children(n ast.Node) {
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		b.node(c)
	}
}

func (b *textBuilder) node(n ast.Node) {
	if b.depth++; b.depth > 200 {
		b.depth--
		return
	}
	defer func() { b.depth-- }()
	switch n := n.(type) {
	case *ast.Text:
		b.at(n.Segment.Start)
		s := n.Segment.Value(b.d.body)
		if n.IsRaw() {
			b.add(string(s))
		} else {
			b.add(unescape(s))
		}
		if n.SoftLineBreak() || n.HardLineBreak() {
			b.add(" ")
		}
	case *ast.String:
		b.add(string(n.Value))
	case *ast.CodeSpan:
		for c := n.FirstChild(); c != nil; c = c.NextSibling() {
			if t, ok := c.(*ast.Text); ok {
				b.at(t.Segment.Start)
				b.add(string(t.Segment.Value(b.d.body)))
			}
		}
	case *ast.AutoLink:
		b.add(string(n.Label(b.d.body)))
	case *ast.Link:
		if key, ok := vehicleKey(n); ok {
			words := textBuilder{d: b.d, depth: b.depth}
			words.children(n)
			b.at(b.d.start(n))
			b.parts = append(b.parts, TextPart{Text: words.done(0).Plain(), Key: key})
			return
		}
		b.children(n)
	case *ast.RawHTML, *extast.FootnoteLink, *extast.FootnoteBacklink:
	default:
		b.children(n)
	}
}

func (b *textBuilder) at(off int) {
	if b.line == 0 {
		b.line = b.d.src.line(off)
	}
}

func (b *textBuilder) add(s string) {
	if s == "" {
		return
	}
	if n := len(b.parts); n > 0 && b.parts[n-1].Key == "" {
		b.parts[n-1].Text += s
		return
	}
	b.parts = append(b.parts, TextPart{Text: s})
}

// done collapses white space and trims the ends.
func (b *textBuilder) done(line int) Text {
	if b.line != 0 {
		line = b.line
	}
	last := len(b.parts) - 1
	out := b.parts[:0] // no part comes to stand behind where it was
	for i, p := range b.parts {
		if p.Key == "" {
			s := collapse(p.Text)
			if i == 0 {
				s = strings.TrimLeft(s, " ")
			}
			if i == last {
				s = strings.TrimRight(s, " ")
			}
			if s == "" {
				continue
			}
			p.Text = s
		}
		out = append(out, p)
	}
	return Text{Parts: out, Line: line}
}

// collapse makes each run of white space one space.
func collapse(s string) string {
	if !strings.ContainsAny(s, "\t\n") && !strings.Contains(s, "  ") {
		return s
	}
	var b strings.Builder
	space := false
	for _, r := range s {
		if r == ' ' || r == '\t' || r == '\n' {
			if !space {
				b.WriteByte(' ')
			}
			space = true
			continue
		}
		space = false
		b.WriteRune(r)
	}
	return b.String()
}

// unescape resolves backslashes and character references as the renderer does.
func unescape(s []byte) string {
	if bytes.IndexByte(s, '\\') < 0 && bytes.IndexByte(s, '&') < 0 {
		return string(s)
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) && util.IsPunct(s[i+1]) {
			i++
			b.WriteByte(s[i])
			continue
		}
		if s[i] == '&' {
			if n := bytes.IndexByte(s[i:min(len(s), i+40)], ';'); n > 0 {
				piece := s[i : i+n+1]
				b.Write(util.ResolveEntityNames(util.ResolveNumericReferences(piece)))
				i += n
				continue
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// vehicleKey is the key of a link with our scheme.
func vehicleKey(l *ast.Link) (string, bool) {
	key, ok := bytes.CutPrefix(l.Destination, []byte("vehicle:"))
	return string(key), ok
}

// textFor fills in a car's values.
func textFor(t Text, v *Vehicle, axle string) string {
	if len(t.Parts) == 1 && (v == nil || t.Parts[0].Key == "") {
		return strings.TrimSpace(t.Parts[0].Text)
	}
	var b strings.Builder
	for _, p := range t.Parts {
		b.WriteString(p.Text)
		if p.Key == "" || v == nil {
			continue
		}
		if f, ok := v.Figure(p.Key, axle); ok {
			b.WriteString(" (" + f.String() + ")")
		}
	}
	return strings.TrimSpace(b.String())
}
