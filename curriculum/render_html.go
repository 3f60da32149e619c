package curriculum

import (
	"bytes"
	"html/template"
	"strings"

	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/renderer/html"
	"github.com/yuin/goldmark/util"
)

func renderLesson(l *Lesson, v *Vehicle, units string, pictureURL func(string) string, notes map[string][]string) template.HTML {
	if l == nil || l.doc == nil {
		return ""
	}
	return renderWith(l.doc, l.Language, v, units, pictureURL, notes)
}

func renderVehicle(v *Vehicle, units string, pictureURL func(string) string) template.HTML {
	if v == nil || v.doc == nil {
		return ""
	}
	return render(v.doc, v.Language, v, units, pictureURL)
}

// render walks a document's tree. The tree is shared by all requests, so nothing here writes to it.
func render(d *document, language string, v *Vehicle, units string, pictureURL func(string) string) template.HTML {
	return renderWith(d, language, v, units, pictureURL, nil)
}

func renderWith(d *document, language string, v *Vehicle, units string, pictureURL func(string) string, notes map[string][]string) template.HTML {
	p := &page{d: d, v: v, units: units, say: pageWordsFor(language), pictureURL: pictureURL, notes: notes}
	r := renderer.NewRenderer(renderer.WithNodeRenderers(
		util.Prioritized(p, 100),
		util.Prioritized(extension.NewTableHTMLRenderer(), 500),
		util.Prioritized(extension.NewStrikethroughHTMLRenderer(), 500),
		util.Prioritized(extension.NewDefinitionListHTMLRenderer(), 500),
		util.Prioritized(extension.NewFootnoteHTMLRenderer(), 500),
		util.Prioritized(html.NewRenderer(), 1000),
	))
	var b bytes.Buffer
	if err := r.Render(&b, d.body, d.root); err != nil {
		return ""
	}
	return template.HTML(b.String())
}

// page renders the nodes that are ours; goldmark renders all others.
type page struct {
	d          *document
	v          *Vehicle
	units      string
	say        pageWords
	pictureURL func(string) string
	notes      map[string][]string // by step
}

// RegisterFuncs implements renderer.NodeRenderer.
func (p *page) RegisterFuncs(reg renderer.NodeRendererFuncRegisterer) {
	reg.Register(ast.KindHeading, p.heading)
	reg.Register(ast.KindList, p.list)
	reg.Register(ast.KindListItem, p.listItem)
	reg.Register(ast.KindParagraph, p.paragraph)
	reg.Register(ast.KindTextBlock, p.textBlock)
	reg.Register(ast.KindLink, p.link)
	reg.Register(ast.KindAutoLink, p.autoLink)
	reg.Register(ast.KindImage, p.image)
	reg.Register(ast.KindFencedCodeBlock, p.fenced)
	reg.Register(extast.KindTableRow, p.row)
	reg.Register(extast.KindTableCell, p.cell)
	reg.Register(extast.KindDefinitionTerm, p.term)
}

// stock holds goldmark's own way of rendering each kind of node, for all that is not ours.
var stock = func() stockRenderers {
	s := stockRenderers{}
	for _, r := range []renderer.NodeRenderer{html.NewRenderer(), extension.NewTableHTMLRenderer()} {
		r.RegisterFuncs(s)
	}
	return s
}()

type stockRenderers map[ast.NodeKind]renderer.NodeRendererFunc

// Register implements renderer.NodeRendererFuncRegisterer.
func (s stockRenderers) Register(kind ast.NodeKind, f renderer.NodeRendererFunc) { s[kind] = f }

func (p *page) stock(w util.BufWriter, n ast.Node, entering bool) (ast.WalkStatus, error) {
	return stock[n.Kind()](w, p.d.body, n, entering)
}

func esc(s string) string { return template.HTMLEscapeString(s) }

// id writes a node's id attribute.
func (p *page) id(w util.BufWriter, n ast.Node) {
	if m, ok := p.d.mark(n); ok && m.anchor != "" {
		_, _ = w.WriteString(` id="` + esc(m.anchor) + `"`)
	}
}

func (p *page) heading(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	m, _ := p.d.mark(n)
	if m.anchor == "" {
		return p.stock(w, n, entering)
	}
	h := n.(*ast.Heading)
	tag := "h" + itoa(h.Level)
	if !entering {
		_, _ = w.WriteString("</" + tag + ">\n")
		return ast.WalkContinue, nil
	}
	_, _ = w.WriteString("<" + tag)
	p.id(w, n)
	p.attribute(w, n, "class")
	_ = w.WriteByte('>')
	return ast.WalkContinue, nil
}

func (p *page) attribute(w util.BufWriter, n ast.Node, name string) {
	if v, ok := n.AttributeString(name); ok {
		if b, ok := v.([]byte); ok {
			_, _ = w.WriteString(" " + name + `="` + esc(string(b)) + `"`)
		}
	}
}

// hidden says whether the car at hand has nothing to do with a node: a step or row whose features it lacks.
func (p *page) hidden(n ast.Node) bool {
	m, ok := p.d.mark(n)
	if !ok {
		return false
	}
	if p.v == nil {
		return false
	}
	if m.step != nil && n.Kind() == ast.KindListItem {
		return !p.stepApplies(m.step)
	}
	return len(m.needs) > 0 && !p.v.Applies(m.needs)
}

// stepApplies says whether a step, or one of its sub-steps, is done on the car.
func (p *page) stepApplies(s *Step) bool {
	if len(s.Children) > 0 {
		for _, c := range s.Children {
			if p.stepApplies(c) {
				return true
			}
		}
		return false
	}
	if s.Each != "" {
		return len(p.wheels(s)) > 0
	}
	return p.v.Has(s.If, "")
}

// wheels are the wheels at which a repeated step is done, in its order.
func (p *page) wheels(s *Step) (out []string) {
	if p.v == nil {
		return nil
	}
	for _, w := range wheelsFor(p.v, s) {
		if p.v.Has(s.If, w) {
			out = append(out, w)
		}
	}
	return out
}

func (p *page) list(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	empty := true
	for c := n.FirstChild(); c != nil && empty; c = c.NextSibling() {
		empty = p.hidden(c)
	}
	if empty { // the heading above stays, so something must stand under it
		if entering {
			_, _ = w.WriteString("<p>" + esc(p.say.notHere) + "</p>\n")
		}
		return ast.WalkSkipChildren, nil
	}
	return p.stock(w, n, entering)
}

func (p *page) listItem(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if p.hidden(n) {
		return ast.WalkSkipChildren, nil
	}
	m, _ := p.d.mark(n)
	if !entering && m.step != nil {
		for _, note := range p.notes[m.step.ID] {
			_, _ = w.WriteString(`<aside class="shop-note"><strong>` + esc(p.say.shopNote) + `</strong> ` + esc(note) + "</aside>\n")
		}
	}
	if !entering || m.anchor == "" {
		return p.stock(w, n, entering)
	}
	_, _ = w.WriteString("<li")
	p.id(w, n)
	_ = w.WriteByte('>')
	if c := n.FirstChild(); c != nil && c.Kind() != ast.KindTextBlock {
		_ = w.WriteByte('\n')
	}
	return ast.WalkContinue, nil
}

func (p *page) paragraph(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		p.measured(w, n)
	}
	status, err := p.stock(w, n, entering)
	if entering {
		p.badges(w, n)
	}
	return status, err
}

func (p *page) textBlock(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		p.measured(w, n)
	}
	status, err := p.stock(w, n, entering)
	if entering {
		p.badges(w, n)
	}
	return status, err
}

// measured writes the figure behind a point that names a row of the lesson's figures; a vehicle's link shows its own.
func (p *page) measured(w util.BufWriter, n ast.Node) {
	li := n.Parent()
	if p.d.lesson == nil || li == nil || li.FirstChild() != n {
		return
	}
	m, _ := p.d.mark(li)
	read := m.read
	if read.FigureName == "" {
		return
	}
	if f, ok := p.d.lesson.Limit(read, p.v, ""); ok {
		_, _ = w.WriteString(` (<span class="figure">` + esc(p.limit(f)) + `</span>)`)
	}
}

// badges writes a step's marks, in words, before its first line.
func (p *page) badges(w util.BufWriter, n ast.Node) {
	li := n.Parent()
	if li == nil || li.FirstChild() != n {
		return
	}
	m, ok := p.d.mark(li)
	if !ok || m.step == nil {
		return
	}
	s := m.step
	badge := func(class, words string) {
		_, _ = w.WriteString(`<span class="mark ` + class + `">` + esc(words) + `</span> `)
	}
	if s.ownCritical {
		badge("critical", p.say.critical)
	}
	if s.ownHold {
		badge("hold", p.say.hold)
	}
	if s.Each != "" && (s.Parent == nil || s.Parent.Each == "") {
		words := p.say.eachWheel
		if s.EachOrder != "" {
			words = p.say.eachOrder
		}
		if wheels := p.wheels(s); len(wheels) > 0 {
			words += ": " + strings.Join(wheels, ", ")
		}
		badge("each", words)
	}
	if p.v == nil {
		var own []string
		for _, f := range s.If {
			if s.Parent == nil || !contains(s.Parent.If, f) {
				own = append(own, f)
			}
		}
		if len(own) > 0 {
			if s.Each != "" { // what a wheel has reads as one name: rear disc
				badge("only", p.say.onlyWith+" "+strings.Join(featureNames(own), " "))
			} else {
				badge("only", p.onlyWith(own))
			}
		}
	}
}

// safeLink says whether a page may lead there: an ordinary address, or a place in the programme.
func safeLink(dest string) bool {
	scheme, local := linkScheme(dest)
	switch scheme {
	case "":
		return local
	case "http", "https", "mailto", "tel":
		return true
	}
	return false
}

// linkScheme is the scheme of an address in small letters; "" for one without, which is local unless it leads to another host.
// What a browser could read otherwise than we do has a scheme that nothing knows.
func linkScheme(dest string) (scheme string, local bool) {
	dest = strings.TrimSpace(dest)
	for _, r := range dest {
		if r < ' ' || r == 0x7f {
			return "?", false
		}
	}
	scheme, _, has := strings.Cut(dest, ":")
	for i, r := range scheme {
		letter := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
		if !letter && (i == 0 || !(r >= '0' && r <= '9' || strings.ContainsRune("+-.", r))) {
			has = false
		}
	}
	if !has || scheme == "" {
		return "", !strings.HasPrefix(dest, "//") && !strings.HasPrefix(dest, `\`) && !strings.HasPrefix(dest, `/\`)
	}
	return strings.ToLower(scheme), false
}

// runs says whether an address runs or holds something instead of leading somewhere.
func runs(dest string) bool {
	switch scheme, _ := linkScheme(dest); scheme {
	case "?", "javascript", "vbscript", "data", "file", "blob", "filesystem", "intent", "view-source", "about":
		return true
	}
	return html.IsDangerousURL([]byte(dest))
}

// destination is where a link leads, its escapes resolved.
func destination(l *ast.Link) string { return string(util.URLEscape(l.Destination, true)) }

func (p *page) link(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	l := n.(*ast.Link)
	if key, ok := vehicleKey(l); ok {
		if !entering {
			_, _ = w.WriteString(" (" + p.figure(key, n, p.limit) + ")")
		}
		return ast.WalkContinue, nil
	}
	if !safeLink(destination(l)) {
		return ast.WalkContinue, nil
	}
	if m, ok := p.d.mark(n); ok && m.href != "" {
		led := *l // the tree is shared
		led.Destination = []byte(m.href)
		return stock[ast.KindLink](w, p.d.body, &led, entering)
	}
	return p.stock(w, n, entering)
}

// limit says a figure that a reading is held against, and on which side of it the reading must lie.
func (p *page) limit(f Figure) string {
	switch f.Limit {
	case Minimum:
		return p.say.atLeast + " " + f.FigureIn(p.units)
	case Maximum:
		return p.say.atMost + " " + f.FigureIn(p.units)
	default:
		return f.FigureIn(p.units)
	}
}

// figure says a vehicle's figure where n stands, in what words makes of it, or where to look for it.
func (p *page) figure(key string, n ast.Node, words func(Figure) string) string {
	if said := p.figureWords(key, n, words); said != "" {
		return `<span class="figure">` + esc(said) + `</span>`
	}
	return `<span class="figure missing">` + esc(p.say.askMaker) + `</span>`
}

func (p *page) figureWords(key string, n ast.Node, words func(Figure) string) string {
	if p.v == nil {
		return ""
	}
	if !strings.Contains(key, "{axle}") {
		if f, ok := p.v.Figure(key, ""); ok {
			return words(f)
		}
		return ""
	}
	var axles, values []string
	for _, axle := range p.axlesAt(n) {
		if f, ok := p.v.Figure(key, axle); ok {
			axles = append(axles, axle)
			values = append(values, words(f))
		}
	}
	if len(p.axlesAt(n)) == 1 && len(values) == 1 {
		return values[0]
	}
	for i, a := range axles {
		word := p.say.front
		if a == "rear" {
			word = p.say.rear
		}
		values[i] = word + ": " + values[i]
	}
	return strings.Join(values, "; ")
}

// axlesAt lists the axles meant where n stands: those of the wheels of the repeated step around it, else both.
func (p *page) axlesAt(n ast.Node) (out []string) {
	for ; n != nil; n = n.Parent() {
		if m, ok := p.d.mark(n); ok && m.each != nil && m.each.Each != "" {
			for _, w := range p.wheels(m.each) {
				if a := axleOf(p.v, w); a != "" && !contains(out, a) {
					out = append(out, a)
				}
			}
			break
		}
	}
	if len(out) == 0 {
		return []string{"front", "rear"}
	}
	if len(out) == 2 {
		return []string{"front", "rear"}
	}
	return out
}

func (p *page) autoLink(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		return ast.WalkContinue, nil
	}
	l := n.(*ast.AutoLink)
	if url := string(l.URL(p.d.body)); l.AutoLinkType != ast.AutoLinkEmail && runs(url) {
		_, _ = w.WriteString(esc(string(l.Label(p.d.body))))
		return ast.WalkContinue, nil
	}
	return p.stock(w, n, entering) // an address that is shown as it is may lead anywhere
}

func (p *page) image(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		return ast.WalkContinue, nil
	}
	ref := p.d.image(n.(*ast.Image))
	if ref.path == "" || p.pictureURL == nil {
		_, _ = w.WriteString(`<span class="picture missing"`)
		p.id(w, n)
		_, _ = w.WriteString(">" + esc(ref.alt) + "</span>")
		return ast.WalkSkipChildren, nil
	}
	_, _ = w.WriteString(`<img src="` + esc(p.pictureURL(ref.path)) + `" alt="` + esc(ref.alt) + `"`)
	if im := n.(*ast.Image); im.Title != nil {
		_, _ = w.WriteString(` title="`)
		html.DefaultWriter.Write(w, im.Title)
		_ = w.WriteByte('"')
	}
	p.id(w, n)
	_ = w.WriteByte('>')
	return ast.WalkSkipChildren, nil
}

func (p *page) fenced(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	m, ours := p.d.mark(n)
	if ours && (m.sum != nil || m.hide) {
		if entering && m.sum != nil {
			p.sum(w, n, m.sum)
		}
		return ast.WalkSkipChildren, nil
	}
	return p.stock(w, n, entering)
}

// sum shows a worked question: what is asked, and one value of each thing given. The formulas stay hidden.
func (p *page) sum(w util.BufWriter, n ast.Node, s *Sum) {
	_, _ = w.WriteString(`<aside class="sum"`)
	p.id(w, n)
	_, _ = w.WriteString(">\n<p>" + esc(s.Ask) + "</p>\n")
	if len(s.Given) > 0 {
		_, _ = w.WriteString("<ul>\n")
		for _, g := range s.Given {
			value := ""
			switch {
			case g.VehicleKey != "":
				value = p.figure(g.VehicleKey, n, func(f Figure) string { return f.FigureIn(p.units) })
			case len(g.Values) > 0:
				value = `<span class="value">` + esc(withUnit(g.Values[0], g.Unit)) + `</span>`
			}
			_, _ = w.WriteString("<li>" + esc(g.What) + ": " + value + "</li>\n")
		}
		_, _ = w.WriteString("</ul>\n")
	}
	_, _ = w.WriteString("</aside>\n")
}

func (p *page) row(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	last := n.Parent().LastChild() == n
	switch {
	case p.hidden(n) && entering:
		return ast.WalkSkipChildren, nil
	case p.hidden(n):
	case entering:
		_, _ = w.WriteString("<tr")
		p.id(w, n)
		if _, ours := p.d.mark(n.FirstChild()); ours {
			_, _ = w.WriteString(` role="row"`)
		}
		_, _ = w.WriteString(">\n")
		return ast.WalkContinue, nil
	default:
		_, _ = w.WriteString("</tr>\n")
	}
	if last {
		_, _ = w.WriteString("</tbody>\n")
	}
	return ast.WalkContinue, nil
}

func (p *page) cell(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	c := n.(*extast.TableCell)
	m, ours := p.d.mark(n)
	if m.hide {
		return ast.WalkSkipChildren, nil
	}
	tag, role := "td", "cell"
	switch {
	case c.Parent().Kind() == extast.KindTableHeader:
		tag, role = "th", `columnheader" scope="col`
	case m.first:
		tag, role = "th", `rowheader" scope="row`
	}
	if !entering {
		if m.first {
			p.rowOnlyWith(w, n)
		}
		if m.figure != nil {
			if words := m.figure.converted(p.units); words != "" {
				_, _ = w.WriteString(` (<span class="figure">` + esc(words) + `</span>)`)
			}
		}
		_, _ = w.WriteString("</" + tag + ">\n")
		return ast.WalkContinue, nil
	}
	_, _ = w.WriteString("<" + tag)
	if ours {
		_, _ = w.WriteString(` role="` + role + `"`)
		if m.column != "" && !m.first {
			_, _ = w.WriteString(` data-head="` + esc(m.column) + `"`)
		}
	}
	if c.Alignment != extast.AlignNone {
		_, _ = w.WriteString(` style="text-align:` + c.Alignment.String() + `"`)
	}
	_ = w.WriteByte('>')
	return ast.WalkContinue, nil
}

// rowOnlyWith says in the cell that names a row which cars have it, where no car is chosen.
func (p *page) rowOnlyWith(w util.BufWriter, cell ast.Node) {
	if row, _ := p.d.mark(cell.Parent()); p.v == nil && len(row.needs) > 0 {
		_, _ = w.WriteString(` <span class="mark only">` + esc(p.onlyWith(row.needs)) + `</span>`)
	}
}

func (p *page) onlyWith(features []string) string {
	return p.say.onlyWith + " " + strings.Join(featureNames(features), ", ")
}

func featureNames(features []string) []string {
	var names []string
	for _, f := range features {
		names = append(names, FeatureName(f))
	}
	return names
}

func (p *page) term(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		_, _ = w.WriteString("</dt>\n")
		return ast.WalkContinue, nil
	}
	_, _ = w.WriteString("<dt")
	p.id(w, n)
	_ = w.WriteByte('>')
	return ast.WalkContinue, nil
}
