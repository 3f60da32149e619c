package curriculum

import (
	"bytes"
	"strings"

	"go.yaml.in/yaml/v4"
)

// plainYAML reads the YAML that front matter and sums are nearly always written in: block mappings and lists, values on one line,
// flow lists and mappings on one line, quoted text without escapes. ok is false for everything else, wrong or only unusual: then the
// library reads it. Sums are half of what loading a folder costs beyond Markdown, and this is many times as quick. FuzzYAML holds it
// against the library: nodes, values and places are the same.
func plainYAML(b []byte) (root *yaml.Node, ok bool) {
	p := plainReader{}
	for n, line := range bytes.Split(b, []byte("\n")) {
		if len(line) == 0 {
			continue
		}
		indent := 0
		for indent < len(line) && line[indent] == ' ' {
			indent++
		}
		text, ok := plainLine(line[indent:])
		if !ok {
			return nil, false
		}
		if text != "" {
			p.lines = append(p.lines, plainRow{text, indent, n + 1})
		}
	}
	if len(p.lines) == 0 || p.lines[0].indent != 0 {
		return nil, false
	}
	root, ok = p.block()
	return root, ok && p.at == len(p.lines) && root.Kind == yaml.MappingNode
}

type plainReader struct {
	lines []plainRow
	at    int
	depth int
}

// plainRow is a line without its indentation.
type plainRow struct {
	text         string
	indent, line int
}

// plainLine is a line that the short reader can take: letters and signs only, no tab, no comment, no space behind it.
func plainLine(b []byte) (string, bool) {
	if len(b) == 0 {
		return "", true
	}
	if b[0] == '#' || b[len(b)-1] == ' ' || bytes.Contains(b, []byte(" #")) {
		return "", false
	}
	s := string(b)
	for _, r := range s {
		if r < 0x20 || r >= 0x7F && r < 0xA0 || r == 0x2028 || r == 0x2029 || r >= 0xD7FF {
			return "", false
		}
	}
	return s, true
}

// block reads the mapping or list whose first line is at hand.
func (p *plainReader) block() (*yaml.Node, bool) {
	if p.depth++; p.depth > 8 {
		return nil, false
	}
	defer func() { p.depth-- }()
	first := p.lines[p.at]
	if strings.HasPrefix(first.text, "- ") {
		return p.list(first)
	}
	n := &yaml.Node{Kind: yaml.MappingNode, Tag: "!!map", Line: first.line, Column: first.indent + 1}
	for p.at < len(p.lines) && p.lines[p.at].indent == first.indent {
		row := p.lines[p.at]
		key, rest, ok := plainKeyOf(row.text)
		if !ok {
			return nil, false
		}
		p.at++
		k := scalarNode(key, row.line, row.indent+1)
		var v *yaml.Node
		if rest != "" {
			start := row.indent + runes(row.text[:len(row.text)-len(rest)]) + 1
			if v, ok = plainValue(rest, row.line, start); !ok {
				return nil, false
			}
			if p.at < len(p.lines) && p.lines[p.at].indent > row.indent { // it goes on in the next line
				return nil, false
			}
		} else {
			if p.at >= len(p.lines) {
				return nil, false
			}
			next := p.lines[p.at]
			if next.indent < row.indent || next.indent == row.indent && !strings.HasPrefix(next.text, "- ") {
				return nil, false // an empty value
			}
			if v, ok = p.block(); !ok {
				return nil, false
			}
		}
		n.Content = append(n.Content, k, v)
	}
	if p.at < len(p.lines) && p.lines[p.at].indent > first.indent {
		return nil, false
	}
	return n, true
}

// list reads a block list whose entries stand on one line each.
func (p *plainReader) list(first plainRow) (*yaml.Node, bool) {
	n := &yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq", Line: first.line, Column: first.indent + 1}
	for p.at < len(p.lines) && p.lines[p.at].indent == first.indent && strings.HasPrefix(p.lines[p.at].text, "- ") {
		row := p.lines[p.at]
		p.at++
		rest := strings.TrimLeft(row.text[2:], " ")
		if _, _, isMap := plainKeyOf(rest); isMap || p.at < len(p.lines) && p.lines[p.at].indent > row.indent {
			return nil, false
		}
		v, ok := plainValue(rest, row.line, row.indent+1+len(row.text)-len(rest))
		if !ok {
			return nil, false
		}
		n.Content = append(n.Content, v)
	}
	return n, true
}

func runes(s string) int { return len([]rune(s)) }

func scalarNode(value string, line, column int) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: value, Line: line, Column: column}
}

// plainKeyOf splits "key: value" or "key:"; a key is an ASCII word.
func plainKeyOf(s string) (key, rest string, ok bool) {
	n := plainWord(s)
	if n == 0 || n > 100 || n == len(s) || s[n] != ':' {
		return "", "", false
	}
	if n+1 == len(s) {
		return s[:n], "", true
	}
	if s[n+1] != ' ' {
		return "", "", false
	}
	return s[:n], strings.TrimLeft(s[n+2:], " "), true
}

// plainWord is how many bytes of an ASCII word s begins with; words that YAML takes for nothing are none.
func plainWord(s string) int {
	n := 0
	for n < len(s) && (s[n] >= 'a' && s[n] <= 'z' || s[n] >= 'A' && s[n] <= 'Z' || s[n] == '_' || n > 0 && (s[n] >= '0' && s[n] <= '9' || s[n] == '-' || s[n] == '.')) {
		n++
	}
	if strings.EqualFold(s[:n], "null") {
		return 0
	}
	return n
}

// plainValue reads the value that fills the rest of a line.
func plainValue(s string, line, column int) (*yaml.Node, bool) {
	f := flowReader{s: s, line: line, column: column}
	if s[0] == '[' || s[0] == '{' {
		n, ok := f.value(0)
		return n, ok && f.at == len(s)
	}
	if s[0] == '"' || s[0] == '\'' {
		n, ok := f.quoted()
		return n, ok && f.at == len(s)
	}
	if !plainStart(s) || strings.Contains(s, ": ") || strings.HasSuffix(s, ":") {
		return nil, false
	}
	return scalarNode(s, line, column), true
}

// plainStart says whether a plain text may begin so; what YAML might take for null is left to the library.
func plainStart(s string) bool {
	if strings.EqualFold(s, "null") {
		return false
	}
	c := s[0]
	switch {
	case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '(' || c == '.' || c == '_' || c == '/' || c == '+' || c >= 0xC2:
		return true
	case c == '-':
		return len(s) > 1 && (s[1] >= '0' && s[1] <= '9' || s[1] >= 'a' && s[1] <= 'z' || s[1] >= 'A' && s[1] <= 'Z' || s[1] == '(')
	}
	return false
}

// flowReader reads a flow list or mapping on one line.
type flowReader struct {
	s            string
	at           int
	line, column int // of s
	seen, runes  int // how far columns were counted
}

// place is the column of the byte at hand.
func (f *flowReader) place() int {
	f.runes += runes(f.s[f.seen:f.at])
	f.seen = f.at
	return f.column + f.runes
}

func (f *flowReader) blank() {
	for f.at < len(f.s) && f.s[f.at] == ' ' {
		f.at++
	}
}

func (f *flowReader) quoted() (*yaml.Node, bool) {
	column, quote := f.place(), f.s[f.at]
	stop := strings.IndexByte(f.s[f.at+1:], quote)
	if stop < 0 {
		return nil, false
	}
	value := f.s[f.at+1 : f.at+1+stop]
	f.at += stop + 2
	if strings.IndexByte(value, '\\') >= 0 || f.at < len(f.s) && f.s[f.at] == quote {
		return nil, false
	}
	n := scalarNode(value, f.line, column)
	n.Style = yaml.DoubleQuotedStyle
	if quote == '\'' {
		n.Style = yaml.SingleQuotedStyle
	}
	return n, true
}

func (f *flowReader) value(depth int) (*yaml.Node, bool) {
	if depth > 8 || f.at >= len(f.s) {
		return nil, false
	}
	switch f.s[f.at] {
	case '[', '{':
		return f.collection(depth)
	case '"', '\'':
		return f.quoted()
	}
	column := f.place()
	stop := f.at
	for stop < len(f.s) && strings.IndexByte(",[]{}:?#", f.s[stop]) < 0 {
		stop++
	}
	if stop >= len(f.s) || f.s[stop] != ',' && f.s[stop] != ']' && f.s[stop] != '}' {
		return nil, false
	}
	text := strings.TrimRight(f.s[f.at:stop], " ")
	if text == "" || !plainStart(text) {
		return nil, false
	}
	f.at = stop
	return scalarNode(text, f.line, column), true
}

func (f *flowReader) collection(depth int) (*yaml.Node, bool) {
	n := &yaml.Node{Kind: yaml.SequenceNode, Tag: "!!seq", Style: yaml.FlowStyle, Line: f.line, Column: f.place()}
	end := byte(']')
	if f.s[f.at] == '{' {
		n.Kind, n.Tag, end = yaml.MappingNode, "!!map", '}'
	}
	f.at++
	f.blank()
	for f.at < len(f.s) && f.s[f.at] != end {
		if end == '}' {
			word := plainWord(f.s[f.at:])
			if word == 0 || f.at+word+1 >= len(f.s) || f.s[f.at+word] != ':' || f.s[f.at+word+1] != ' ' {
				return nil, false
			}
			n.Content = append(n.Content, scalarNode(f.s[f.at:f.at+word], f.line, f.place()))
			f.at += word + 1
			f.blank()
		}
		v, ok := f.value(depth + 1)
		if !ok {
			return nil, false
		}
		n.Content = append(n.Content, v)
		f.blank()
		if f.at < len(f.s) && f.s[f.at] == ',' {
			f.at++
			f.blank()
			continue
		}
		break
	}
	if f.at >= len(f.s) || f.s[f.at] != end {
		return nil, false
	}
	f.at++
	return n, true
}
