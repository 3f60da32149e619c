package curriculum

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
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
	Column     int // in characters, from 1
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
	c := svgChecker{src: b, xml: xmlReader{src: b}}
	if err := c.run(); err != nil {
		return nil, err
	}
	return c.numbers, nil
}

type svgChecker struct {
	src      []byte
	xml      xmlReader
	at       int // offset of the token at hand
	elements int
	open     []string        // local names
	callout  int             // depth of the callout at hand, 0 if none
	inText   int             // depth of the text element at hand, 0 if none
	inStyle  int             // depth of the outermost style element at hand, 0 if none
	style    strings.Builder // its text, which comments and CDATA may cut into pieces
	hasText  bool
	text     strings.Builder
	numbers  []string
}

func (c *svgChecker) refuse(code, name string) error {
	line, column := newSource("", c.src).at(c.at)
	return &SVGError{Code: code, Name: cut(name, 60), Line: line, Column: column}
}

func (c *svgChecker) run() error {
	rooted := false
	for {
		t := c.xml.next()
		c.at = t.at
		switch t.kind {
		case xmlFault:
			return c.refuse("svg_unreadable", "XML")
		case xmlEOF:
			if !rooted {
				return c.refuse("svg_unreadable", "svg")
			}
			return nil
		case xmlDoctype:
			return c.refuse("svg_doctype", "DOCTYPE")
		case xmlInstruction:
			if string(t.text) != "xml" {
				return c.refuse("svg_refused", "<?"+string(t.text))
			}
		case xmlStart:
			if len(c.open) == 0 && (rooted || t.name != xmlName{svgNamespace, "svg"}) {
				return c.refuse("svg_unreadable", t.name.local)
			}
			rooted = true
			if err := c.element(t); err != nil {
				return err
			}
		case xmlEnd:
			if err := c.end(); err != nil {
				return err
			}
		case xmlText:
			if hasBidi(t.text) {
				return c.refuse("svg_refused", "direction mark")
			}
			if c.inText > 0 {
				c.text.Write(t.text)
			}
			if c.inStyle > 0 {
				c.style.Write(t.text)
			}
		}
	}
}

// hasBidi says whether a text turns the reading direction.
func hasBidi[T string | []byte](s T) bool {
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			return strings.ContainsFunc(string(s[i:]), isBidi)
		}
	}
	return false
}

func (c *svgChecker) element(t xmlToken) error {
	if c.elements++; c.elements > maxSVGElements || len(c.open) >= maxSVGDepth {
		return c.refuse("svg_too_large", t.name.local)
	}
	name := strings.ToLower(t.name.local)
	if slices.Contains(svgRefused, name) || t.name.space != svgNamespace && !plainNamespace(t.name.space) {
		return c.refuse("svg_refused", t.name.local)
	}
	c.open = append(c.open, name)
	class := ""
	for _, a := range t.attributes {
		local := strings.ToLower(a.name.local)
		switch {
		case strings.HasPrefix(local, "on"):
			return c.refuse("svg_handler", a.name.local)
		case local == "href" || local == "src" || local == "data" || local == "base" || local == "action":
			if !strings.HasPrefix(strings.TrimLeft(a.value, " \t\r\n"), "#") {
				return c.refuse("svg_outside", a.name.local)
			}
		case a.name.space == "xmlns":
		default:
			if badStyle(a.value) {
				return c.refuse("svg_outside", a.name.local)
			}
			if hasBidi(a.value) {
				return c.refuse("svg_refused", "direction mark")
			}
		}
		if local == "class" {
			class = a.value
		}
	}
	if name == "style" && c.inStyle == 0 {
		c.inStyle = len(c.open)
		c.style.Reset()
	}
	if name == "g" && slices.Contains(strings.Fields(class), "callout") {
		if c.callout > 0 {
			return c.refuse("svg_callout", "callout")
		}
		c.callout, c.hasText = len(c.open), false
	}
	if name == "text" && c.callout > 0 && c.inText == 0 && !c.hasText {
		c.inText, c.hasText = len(c.open), true
		c.text.Reset()
	}
	return nil
}

func (c *svgChecker) end() error {
	depth := len(c.open)
	if c.inText == depth && c.inText > 0 {
		c.inText = 0
		number := strings.Join(strings.Fields(c.text.String()), " ")
		if number == "" || len(number) > 12 {
			return c.refuse("svg_callout", number)
		}
		c.numbers = append(c.numbers, number)
	}
	if c.callout == depth && c.callout > 0 {
		if !c.hasText {
			return c.refuse("svg_callout", "callout")
		}
		c.callout = 0
	}
	if c.inStyle == depth {
		c.inStyle = 0
		if badStyle(c.style.String()) {
			return c.refuse("svg_outside", "style")
		}
	}
	c.open = c.open[:depth-1]
	return nil
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
