package curriculum

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

const svgNamespace = "http://www.w3.org/2000/svg"

// Bounds on a drawing.
const (
	maxSVGDepth    = 100
	maxSVGElements = 50000
)

// SVGError says why a drawing is refused: a code of the problem catalogue and the name at fault.
type SVGError struct {
	Code, Name string
	Line       int // from 1
	Column     int // from 1
}

func (e *SVGError) Error() string {
	return fmt.Sprintf("curriculum: drawing refused (%s %s) at %d:%d", e.Code, e.Name, e.Line, e.Column)
}

// svgRefused are elements that run, embed or fetch something.
var svgRefused = []string{"script", "foreignobject", "iframe", "embed", "object", "audio", "video", "canvas", "handler", "listener",
	"set", "animate", "animatetransform", "animatemotion", "animatecolor", "discard", "meta", "link", "base", "image", "feimage", "a"}

// CheckSVG reads a drawing. numbers are its callouts' numbers in document order: the text in each `<g class="callout">`.
// The error is an *SVGError: script, event handlers, embedded documents, outside references, a document type or anything
// that is not well-formed SVG is refused.
func CheckSVG(b []byte) (numbers []string, err error) {
	numbers, faults := readSVG(b)
	if len(faults) > 0 {
		return nil, faults[0]
	}
	return numbers, nil
}

// readSVG reads a drawing with all its faults, in the order of the file.
func readSVG(b []byte) (numbers []string, faults []*SVGError) {
	c := svgChecker{dec: xml.NewDecoder(bytes.NewReader(b))}
	c.dec.Strict = true
	c.dec.CharsetReader = func(string, io.Reader) (io.Reader, error) { return nil, errors.New("not UTF-8") }
	c.run()
	return c.numbers, c.faults
}

type svgChecker struct {
	dec      *xml.Decoder
	elements int
	open     []string        // local names
	callout  int             // depth of the callout at hand, 0 if none
	inText   int             // depth of the text element at hand, 0 if none
	inStyle  int             // depth of the outermost style element at hand, 0 if none
	style    strings.Builder // its text, which comments and CDATA may cut into pieces
	hasText  bool
	text     strings.Builder
	numbers  []string
	faults   []*SVGError
	line     int
	column   int
}

func (c *svgChecker) refuse(code, name string) {
	if len(c.faults) <= maxProblemsPerFile {
		c.faults = append(c.faults, &SVGError{Code: code, Name: cut(name, 60), Line: max(1, c.line), Column: max(1, c.column)})
	}
}

func (c *svgChecker) run() {
	rooted := false
	for {
		c.line, c.column = c.dec.InputPos()
		tok, err := c.dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var se *xml.SyntaxError
			if errors.As(err, &se) {
				c.line, c.column = se.Line, 1
			}
			c.refuse("svg_unreadable", "XML")
			return
		}
		switch t := tok.(type) {
		case xml.Directive:
			c.refuse("svg_doctype", "DOCTYPE")
		case xml.ProcInst:
			if t.Target != "xml" || c.elements > 0 {
				c.refuse("svg_refused", "<?"+t.Target)
			}
		case xml.StartElement:
			if len(c.open) == 0 && (rooted || t.Name.Local != "svg" || t.Name.Space != svgNamespace) {
				c.refuse("svg_unreadable", t.Name.Local)
				return
			}
			rooted = true
			if !c.element(t) {
				return
			}
		case xml.EndElement:
			c.end()
		case xml.CharData:
			if strings.ContainsFunc(string(t), isBidi) {
				c.refuse("svg_refused", "direction mark")
			}
			if c.inText > 0 {
				c.text.Write(t)
			}
			if c.inStyle > 0 {
				c.style.Write(t)
			}
		}
	}
	if !rooted || len(c.open) > 0 {
		c.refuse("svg_unreadable", "svg")
	}
}

// element reads a start tag; false where the drawing is too large to go on.
func (c *svgChecker) element(t xml.StartElement) bool {
	if c.elements++; c.elements > maxSVGElements || len(c.open) >= maxSVGDepth {
		c.refuse("svg_too_large", t.Name.Local)
		return false
	}
	name := strings.ToLower(t.Name.Local)
	if slices.Contains(svgRefused, name) || t.Name.Space != svgNamespace && !plainNamespace(t.Name.Space) {
		c.refuse("svg_refused", t.Name.Local)
		c.open = append(c.open, name)
		return true // what such an element says goes with it
	}
	c.open = append(c.open, name)
	class := ""
	for _, a := range t.Attr {
		local := strings.ToLower(a.Name.Local)
		switch {
		case strings.HasPrefix(local, "on"):
			c.refuse("svg_handler", a.Name.Local)
		case local == "href" || local == "src" || local == "data" || local == "base" || local == "action":
			if !strings.HasPrefix(strings.TrimLeft(a.Value, " \t\r\n"), "#") {
				c.refuse("svg_outside", a.Name.Local)
			}
		case a.Name.Space == "xmlns" || local == "xmlns":
		default:
			if badStyle(a.Value) {
				c.refuse("svg_outside", a.Name.Local)
			}
			if strings.ContainsFunc(a.Value, isBidi) {
				c.refuse("svg_refused", "direction mark")
			}
		}
		if local == "class" {
			class = a.Value
		}
	}
	if name == "style" && c.inStyle == 0 {
		c.inStyle = len(c.open)
		c.style.Reset()
	}
	if name == "g" && slices.Contains(strings.Fields(class), "callout") {
		if c.callout > 0 {
			c.refuse("svg_callout", "callout")
		} else {
			c.callout, c.hasText = len(c.open), false
		}
	}
	if name == "text" && c.callout > 0 && c.inText == 0 && !c.hasText {
		c.inText, c.hasText = len(c.open), true
		c.text.Reset()
	}
	return true
}

func (c *svgChecker) end() {
	depth := len(c.open)
	if c.inText == depth && c.inText > 0 {
		c.inText = 0
		number := strings.Join(strings.Fields(c.text.String()), " ")
		if number == "" || len(number) > 12 {
			c.refuse("svg_callout", number)
		} else {
			c.numbers = append(c.numbers, number)
		}
	}
	if c.callout == depth && c.callout > 0 {
		if !c.hasText {
			c.refuse("svg_callout", "callout")
		}
		c.callout = 0
	}
	if c.inStyle == depth {
		c.inStyle = 0
		if badStyle(c.style.String()) {
			c.refuse("svg_outside", "style")
		}
	}
	c.open = c.open[:depth-1]
}

// plainNamespace allows the metadata that drawing programs leave in their own namespaces, which browsers ignore.
func plainNamespace(ns string) bool {
	return ns != "" && ns != "http://www.w3.org/1999/xhtml" && ns != "http://www.w3.org/1998/Math/MathML"
}

// badStyle says whether a style or attribute value fetches something: url() of anything but a fragment, @import, an
// expression, or a scheme that runs.
func badStyle(s string) bool {
	if !strings.ContainsAny(s, "(@:\\*") { // each that is bad has one of these
		return false
	}
	s = strings.ToLower(strings.Map(func(r rune) rune {
		if r <= ' ' || r == 0x7f {
			return -1
		}
		return r
	}, s))
	if strings.Contains(s, "\\") && strings.ContainsAny(s, "(@") { // CSS escapes can spell anything
		return true
	}
	if strings.Contains(s, "/*") {
		return true
	}
	for _, bad := range []string{"@import", "@font-face", "expression(", "javascript:", "vbscript:", "data:text", "image(", "image-set(", "src("} {
		if strings.Contains(s, bad) {
			return true
		}
	}
	for rest := s; ; {
		i := strings.Index(rest, "url(")
		if i < 0 {
			return false
		}
		rest = rest[i+4:]
		if !strings.HasPrefix(strings.TrimLeft(rest, "'\""), "#") {
			return true
		}
	}
}
