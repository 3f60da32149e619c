package quiz

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/xml"
	"fmt"
	"hash/crc32"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
)

// QTI 3.0 (1EdTech, 2022): what other systems read. The package holds keys and is for whoever sets a test, never for who
// takes it.

const (
	qtiNamespace     = "http://www.imsglobal.org/xsd/imsqtiasi_v3p0"
	qtiManifest      = "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1"
	qtiMatchCorrect  = "https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/match_correct.xml"
	qtiResponse      = "RESPONSE"
	qtiItemResource  = "imsqti_item_xmlv3p0"
	qtiTestResource  = "imsqti_test_xmlv3p0"
	qtiExpectedWidth = "12"
)

// QTI returns the form as a QTI 3.0 package: a zip with imsmanifest.xml at its root, test.xml, one file a question in
// items/ and the drawings by their paths. The same form and programme give the same bytes; nothing in it says when or
// where it was made. It errors where the programme lacks a drawing that the form shows, or where the form is of another
// programme.
//
// Every question is worth one point, all or nothing, as [Mark] does it. An order is right in every order that keeps to
// the forced pairs: where there are several, the item lists them all. A figure is taken as a decimal in the unit that
// stands behind its field; what half a digit of a rougher figure would allow beyond the key's own tolerance, and units
// typed along with it, are beyond the standard.
func QTI(f *Form, p *curriculum.Programme) ([]byte, error) {
	if f.ProgrammeEdition != p.Edition {
		return nil, fmt.Errorf("quiz: the form is of programme edition %.12s, not %.12s", f.ProgrammeEdition, p.Edition)
	}
	var files []packed
	var refs, resources, deps []*xmlNode
	seen := map[string]bool{} // drawings
	for i := range f.Questions {
		q := &f.Questions[i]
		id := "q-" + q.ID
		path := "items/" + id + ".xml"
		item, err := qtiItem(f, q, i+1, p)
		if err != nil {
			return nil, fmt.Errorf("quiz: question %s: %w", q.ID, err)
		}
		files = append(files, packed{path, item.document()})
		refs = append(refs, node("qti-assessment-item-ref", "identifier", id, "href", path))
		r := node("resource", "identifier", id, "type", qtiItemResource, "href", path).with(node("file", "href", path))
		if q.Picture != nil {
			r.with(node("dependency", "identifierref", pictureID(q.Picture.Path)))
			if !seen[q.Picture.Path] {
				seen[q.Picture.Path] = true
				files = append(files, packed{q.Picture.Path, p.Pictures[q.Picture.Path].Bytes})
				deps = append(deps, node("resource", "identifier", pictureID(q.Picture.Path), "type", "webcontent", "href", escapedPath(q.Picture.Path)).
					with(node("file", "href", escapedPath(q.Picture.Path))))
			}
		}
		resources = append(resources, r)
	}
	sum := sha256.Sum256(f.JSON())
	form := "form-" + hex.EncodeToString(sum[:8])
	title := p.Title
	if f.Blueprint != nil {
		title += ": " + *f.Blueprint
	}
	test := node("qti-assessment-test", "xmlns", qtiNamespace, "identifier", form, "title", title, "tool-name", "brakewright", "tool-version", f.Generator, "xml:lang", f.Language).with(
		scoreOutcome(),
		node("qti-test-part", "identifier", "part", "navigation-mode", "nonlinear", "submission-mode", "individual").with(
			node("qti-assessment-section", "identifier", "section", "title", title, "visible", "true").with(refs...)),
		node("qti-outcome-processing").with(node("qti-set-outcome-value", "identifier", "SCORE").with(
			node("qti-sum").with(node("qti-test-variables", "variable-identifier", "SCORE")))))
	whole := node("resource", "identifier", form, "type", qtiTestResource, "href", "test.xml").with(node("file", "href", "test.xml"))
	for i := range f.Questions {
		whole.with(node("dependency", "identifierref", "q-"+f.Questions[i].ID))
	}
	manifest := node("manifest", "xmlns", qtiManifest, "identifier", "package-"+form).with(
		node("metadata").with(node("schema").text("QTI Package"), node("schemaversion").text("3.0.0")),
		node("organizations"),
		node("resources").with(slices.Concat([]*xmlNode{whole}, resources, deps)...))
	return zipped(slices.Concat([]packed{{"imsmanifest.xml", manifest.document()}, {"test.xml", test.document()}}, files))
}

// qtiItem is one question as an assessment item.
func qtiItem(f *Form, q *Question, number int, p *curriculum.Programme) (*xmlNode, error) {
	item := node("qti-assessment-item", "xmlns", qtiNamespace, "identifier", "q-"+q.ID, "title", strconv.Itoa(number),
		"adaptive", "false", "time-dependent", "false", "tool-name", "brakewright", "tool-version", f.Generator, "xml:lang", f.Language)
	cardinality, base, values := "single", "identifier", []string{qtiID(q.Key.ID)}
	processing := node("qti-response-processing", "template", qtiMatchCorrect)
	body := node("qti-item-body")
	if q.Picture != nil {
		pic := p.Pictures[q.Picture.Path]
		if pic == nil || pic.Edition != q.Picture.Edition || pic.Bytes == nil {
			return nil, fmt.Errorf("the programme does not have its drawing %s", q.Picture.Path)
		}
		body.with(node("p").with(node("img", "src", "../"+escapedPath(q.Picture.Path), "alt", pictureAlt(p, q, f.Language))))
	}
	switch q.Kind {
	case Single, Point:
		body.with(qtiChoices("qti-choice-interaction", q, "max-choices", "1", "shuffle", "false"))
	case Several:
		cardinality, values = "multiple", nil
		for _, id := range q.Key.IDs {
			values = append(values, qtiID(id))
		}
		body.with(qtiChoices("qti-choice-interaction", q, "min-choices", "0", "max-choices", strconv.Itoa(len(q.Options)), "shuffle", "false"))
	case Order:
		cardinality = "ordered"
		orders := linearExtensions(q)
		values = orders[0]
		if len(orders) > 1 {
			processing = qtiAnyOrder(orders)
		}
		body.with(qtiChoices("qti-order-interaction", q, "shuffle", "false"))
	case Match:
		cardinality, base, values = "multiple", "directedPair", nil
		for _, pair := range q.Key.Pairs {
			values = append(values, qtiID(pair[0])+" "+qtiID(pair[1]))
		}
		body.with(node("qti-match-interaction", "response-identifier", qtiResponse, "max-associations", strconv.Itoa(len(q.Options)), "shuffle", "false").with(
			qtiPrompt(q.Stem), qtiSet(q.Options), qtiSet(q.Targets)))
	case Number:
		base, values = "float", []string{q.Key.Number.Value}
		processing = qtiNear(q.Key.Number)
		body.with(node("p").lines(q.Stem), node("p").with(
			node("qti-text-entry-interaction", "response-identifier", qtiResponse, "expected-length", qtiExpectedWidth)).text(behind(q.Key.Number.Unit)))
	default:
		return nil, fmt.Errorf("kind %q has no place in the standard", q.Kind)
	}
	correct := node("qti-correct-response")
	for _, v := range values {
		correct.with(node("qti-value").text(v))
	}
	return item.with(
		node("qti-response-declaration", "identifier", qtiResponse, "cardinality", cardinality, "base-type", base).with(correct),
		scoreOutcome(), body, processing), nil
}

// qtiID is an id as the standard wants them: it begins with a letter.
func qtiID(id string) string { return "o-" + id }

func scoreOutcome() *xmlNode {
	return node("qti-outcome-declaration", "identifier", "SCORE", "cardinality", "single", "base-type", "float").with(
		node("qti-default-value").with(node("qti-value").text("0")))
}

func qtiPrompt(stem string) *xmlNode { return node("qti-prompt").lines(stem) }

func qtiChoices(name string, q *Question, attrs ...string) *xmlNode {
	e := node(name, append([]string{"response-identifier", qtiResponse}, attrs...)...).with(qtiPrompt(q.Stem))
	for _, o := range q.Options {
		e.with(node("qti-simple-choice", "identifier", qtiID(o.ID)).text(o.Text))
	}
	return e
}

func qtiSet(options []Option) *xmlNode {
	e := node("qti-simple-match-set")
	for _, o := range options {
		e.with(node("qti-simple-associable-choice", "identifier", qtiID(o.ID), "match-max", "1").text(o.Text))
	}
	return e
}

// qtiAnyOrder gives the point for each of the orders.
func qtiAnyOrder(orders [][]string) *xmlNode {
	or := node("qti-or")
	for _, ids := range orders {
		list := node("qti-ordered")
		for _, id := range ids {
			list.with(node("qti-base-value", "base-type", "identifier").text(id))
		}
		or.with(node("qti-match").with(node("qti-variable", "identifier", qtiResponse), list))
	}
	return qtiPointIf(or)
}

// qtiNear gives the point for a figure within the key's tolerance or half a unit of its last digit, whichever is larger.
func qtiNear(k *NumberKey) *xmlNode {
	allowed := k.Tolerance
	if half := halfDigit(k.Value); ratOf(half).Cmp(ratOf(allowed)) > 0 {
		allowed = half
	}
	return qtiPointIf(node("qti-equal", "tolerance-mode", "absolute", "tolerance", allowed).with(
		node("qti-variable", "identifier", qtiResponse), node("qti-correct", "identifier", qtiResponse)))
}

func qtiPointIf(condition *xmlNode) *xmlNode {
	set := func(value string) *xmlNode {
		return node("qti-set-outcome-value", "identifier", "SCORE").with(node("qti-base-value", "base-type", "float").text(value))
	}
	return node("qti-response-processing").with(node("qti-response-condition").with(
		node("qti-response-if").with(condition, set("1")), node("qti-response-else").with(set("0"))))
}

// linearExtensions lists the orders of all options that keep to the key's pairs, in the order of the options; there is at
// least one, for the pairs do not go round in a circle. The generator's sets have at most a sixth of all orders.
func linearExtensions(q *Question) (out [][]string) {
	var at []string
	var grow func()
	grow = func() {
		if len(at) == len(q.Options) {
			out = append(out, slices.Clone(at))
			return
		}
		for _, o := range q.Options {
			id := qtiID(o.ID)
			if slices.Contains(at, id) || slices.ContainsFunc(q.Key.Pairs, func(p [2]string) bool { return p[1] == o.ID && !slices.Contains(at, qtiID(p[0])) }) {
				continue
			}
			at = append(at, id)
			grow()
			at = at[:len(at)-1]
		}
	}
	grow()
	return out
}

// pictureAlt is the text alternative that the lesson gives a question's drawing.
func pictureAlt(p *curriculum.Programme, q *Question, language string) string {
	if l := p.Lesson(q.Lesson, language); l != nil {
		for _, x := range l.Pictures {
			if x.Path == q.Picture.Path {
				return x.Alt
			}
		}
	}
	return ""
}

func pictureID(path string) string {
	sum := sha256.Sum256([]byte(path))
	return "picture-" + hex.EncodeToString(sum[:8])
}

func escapedPath(path string) string { return (&url.URL{Path: path}).EscapedPath() }

// behind is a unit as it stands behind its field.
func behind(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

// xmlNode is an XML element: attributes in pairs, then text and elements.
type xmlNode struct {
	name  string
	attrs []string
	kids  []any // string or *xmlNode
}

func node(name string, attrs ...string) *xmlNode { return &xmlNode{name: name, attrs: attrs} }

func (e *xmlNode) with(kids ...*xmlNode) *xmlNode {
	for _, k := range kids {
		e.kids = append(e.kids, k)
	}
	return e
}

func (e *xmlNode) text(s string) *xmlNode {
	if s != "" {
		e.kids = append(e.kids, s)
	}
	return e
}

// lines adds a text whose line breaks stay.
func (e *xmlNode) lines(s string) *xmlNode {
	for i, line := range strings.Split(s, "\n") {
		if i > 0 {
			e.with(node("br"))
		}
		e.text(line)
	}
	return e
}

func (e *xmlNode) write(b *bytes.Buffer) {
	b.WriteString("<" + e.name)
	for i := 0; i+1 < len(e.attrs); i += 2 {
		b.WriteString(" " + e.attrs[i] + `="`)
		xml.EscapeText(b, []byte(e.attrs[i+1])) // a buffer never fails
		b.WriteByte('"')
	}
	if len(e.kids) == 0 {
		b.WriteString("/>")
		return
	}
	b.WriteByte('>')
	for _, k := range e.kids {
		switch k := k.(type) {
		case string:
			xml.EscapeText(b, []byte(k))
		case *xmlNode:
			k.write(b)
		}
	}
	b.WriteString("</" + e.name + ">")
}

func (e *xmlNode) document() []byte {
	var b bytes.Buffer
	b.WriteString(xml.Header)
	e.write(&b)
	b.WriteByte('\n')
	return b.Bytes()
}

// packed is a file of the package.
type packed struct {
	path  string
	bytes []byte
}

// zipped puts files into a zip as they are, without compression, their times or owners: its bytes follow from the files alone.
func zipped(files []packed) ([]byte, error) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range files {
		h := &zip.FileHeader{Name: f.path, Method: zip.Store, CRC32: crc32.ChecksumIEEE(f.bytes), CompressedSize64: uint64(len(f.bytes)), UncompressedSize64: uint64(len(f.bytes))}
		//lint:ignore SA1019 the raw header takes its time from these fields alone; without one the month would be 0
		h.ModifiedDate = 1<<5 | 1 // 1 January 1980, the first day that a zip knows
		w, err := z.CreateRaw(h)
		if err == nil {
			_, err = w.Write(f.bytes)
		}
		if err != nil {
			return nil, err
		}
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
