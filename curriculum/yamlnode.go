package curriculum

import (
	"errors"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// yamlReader reads one YAML block of a file strictly, with the place of every fault. place maps a node's line and
// column inside the block to the file.
type yamlReader struct {
	*report
	place func(line, column int) (int, int)
}

// maxYAMLNodes bounds a block; aliases are refused, so a block cannot grow beyond its bytes.
const maxYAMLNodes = 100000

// parseYAML parses a block to its root mapping; nil after reporting why not.
func (y *yamlReader) parse(b []byte) *yaml.Node {
	if deepYAML(b) {
		l, c := y.place(1, 1)
		y.errorLine(l, c, "yaml_too_deep", "limit", itoa(maxNesting))
		return nil
	}
	var doc yaml.Node
	if err := yaml.Load(b, &doc); err != nil {
		line, column, text := 1, 1, err.Error()
		var le *yaml.LoadError
		if errors.As(err, &le) {
			line, column, text = max(1, le.Mark.Line), max(1, le.Mark.Column), le.Message
		}
		code, line, column := yamlFault(b, line, column)
		l, c := y.place(line, column)
		if code == "yaml_unreadable" {
			y.errorLine(l, c, code, "error", text)
		} else {
			y.errorLine(l, c, code)
		}
		return nil
	}
	if doc.Kind == 0 {
		return &yaml.Node{Kind: yaml.MappingNode, Line: 1, Column: 1}
	}
	n := &doc
	if n.Kind == yaml.DocumentNode {
		if len(n.Content) == 0 {
			return &yaml.Node{Kind: yaml.MappingNode, Line: 1, Column: 1}
		}
		n = n.Content[0]
	}
	count := 0
	if !y.plainNodes(n, 0, &count) {
		return nil
	}
	if isNullNode(n) {
		return &yaml.Node{Kind: yaml.MappingNode, Line: 1, Column: 1}
	}
	if n.Kind != yaml.MappingNode {
		y.errorNode(n, "yaml_not_a_mapping")
		return nil
	}
	return n
}

// valueWithColon matches a line whose value, not in quotation marks, has a colon and a space in it.
var valueWithColon = regexp.MustCompile(`^ *(?:- +)?[\pL\pN_.-]+: +[^"'\[{|>#&*!%@` + "`" + `\s].*?(: )`)

// yamlFault looks for the two slips that authors make most at the line that the library could not read, or the one before it: a tab
// that indents, and a value with a colon in it.
func yamlFault(b []byte, line, column int) (code string, atLine, atColumn int) {
	lines := strings.Split(string(b), "\n")
	for _, n := range []int{line, line - 1} {
		if n < 1 || n > len(lines) {
			continue
		}
		text := lines[n-1]
		indent := text[:len(text)-len(strings.TrimLeft(text, " \t"))]
		if tab := strings.IndexByte(indent, '\t'); tab >= 0 {
			return "yaml_tab", n, tab + 1
		}
		if m := valueWithColon.FindStringSubmatchIndex(text); m != nil {
			return "yaml_colon", n, utf8.RuneCountInString(text[:m[2]]) + 1
		}
	}
	return "yaml_unreadable", line, column
}

// deepYAML says whether flow brackets or indentation nest deeper than any programme needs, before the parser sees them.
func deepYAML(b []byte) bool {
	depth := 0
	for _, c := range b {
		switch c {
		case '[', '{':
			if depth++; depth > 4*maxNesting {
				return true
			}
		case ']', '}':
			depth = max(0, depth-1)
		}
	}
	for _, line := range strings.Split(string(b), "\n") {
		dashes := 0
		for i := 0; i < len(line) && (line[i] == '-' || line[i] == '?' || line[i] == ' '); i++ {
			if line[i] != ' ' {
				dashes++
			}
		}
		if dashes > maxNesting && strings.Contains(line[:min(len(line), 4*maxNesting)], "- -") {
			return true
		}
	}
	return false
}

// plainNodes looks for what no block may hold; false where the block is too much to be read.
func (y *yamlReader) plainNodes(n *yaml.Node, depth int, count *int) bool {
	if *count++; *count > maxYAMLNodes || depth > maxNesting {
		y.errorNode(n, "yaml_too_deep", "limit", itoa(maxNesting))
		return false
	}
	if n.Kind == yaml.AliasNode || n.Anchor != "" {
		y.errorNode(n, "yaml_alias")
	}
	for _, c := range n.Value {
		if c >= ' ' && c < utf8.RuneSelf {
			continue
		}
		if isBidi(c) {
			y.errorNode(n, "bidi_control", "character", codePoint(c))
			break
		}
		if c == 0 {
			y.errorNode(n, "nul_byte")
			break
		}
	}
	for _, c := range n.Content {
		if !y.plainNodes(c, depth+1, count) {
			return false
		}
	}
	return true
}

func (y *yamlReader) at(n *yaml.Node) (int, int) { return y.place(n.Line, n.Column) }

func (y *yamlReader) errorNode(n *yaml.Node, code string, kv ...string) {
	l, c := y.at(n)
	y.errorLine(l, c, code, kv...)
}

func isNullNode(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null"
}

// hasAlias says whether there is an alias in a block, which is refused and followed nowhere.
func hasAlias(n *yaml.Node) bool {
	return n.Kind == yaml.AliasNode || slices.ContainsFunc(n.Content, hasAlias)
}

// yamlField is a key that a mapping may have. read is called with its value unless that is null.
type yamlField struct {
	key      string
	required bool
	read     func(n *yaml.Node)
}

// mapping reads n with these keys: unknown ones, doubles and missing ones are errors.
func (y *yamlReader) mapping(n *yaml.Node, fields []yamlField) {
	if n.Kind != yaml.MappingNode {
		y.errorNode(n, "yaml_not_a_mapping")
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind == yaml.AliasNode {
			continue
		}
		if k.Kind != yaml.ScalarNode {
			y.errorNode(k, "yaml_not_text")
			continue
		}
		at := slices.IndexFunc(fields, func(f yamlField) bool { return f.key == k.Value })
		switch {
		case at < 0:
			known := make([]string, len(fields))
			for i, f := range fields {
				known[i] = f.key
			}
			near := nearest(k.Value, known)
			if near == "" {
				near = strings.Join(known, ", ")
			}
			y.errorNode(k, "unknown_key", "key", k.Value, "nearest", near)
		case seen[k.Value]:
			y.errorNode(k, "duplicate_key", "key", k.Value)
		default:
			seen[k.Value] = true
			if v.Kind == yaml.AliasNode {
				continue // said already
			}
			if isNullNode(v) {
				if fields[at].required {
					y.errorNode(v, "missing_key", "key", k.Value)
				}
				continue
			}
			fields[at].read(v)
		}
	}
	for _, f := range fields {
		if f.required && !seen[f.key] {
			y.errorNode(n, "missing_key", "key", f.key)
		}
	}
}

// pairs calls each for every key of a mapping once, in order.
func (y *yamlReader) pairs(key string, n *yaml.Node, each func(k, v *yaml.Node)) {
	if n.Kind != yaml.MappingNode {
		y.errorNode(n, "yaml_not_a_mapping")
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		switch {
		case k.Kind == yaml.AliasNode || v.Kind == yaml.AliasNode:
		case k.Kind != yaml.ScalarNode:
			y.errorNode(k, "yaml_not_text")
		case seen[k.Value]:
			y.errorNode(k, "duplicate_key", "key", k.Value)
		default:
			seen[k.Value] = true
			each(k, v)
		}
	}
}

// text reads a scalar as written.
func (y *yamlReader) text(key string, to *string) func(*yaml.Node) {
	return func(n *yaml.Node) {
		if n.Kind != yaml.ScalarNode {
			y.errorNode(n, "yaml_not_text")
			return
		}
		s := strings.TrimSpace(n.Value)
		if s == "" {
			y.errorNode(n, "missing_key", "key", key)
		}
		*to = s
	}
}

// unitText reads a unit's symbol with its place; an empty one is that of a count.
func (y *yamlReader) unitText(to *item) func(*yaml.Node) {
	return func(n *yaml.Node) {
		if n.Kind != yaml.ScalarNode {
			y.errorNode(n, "yaml_not_text")
			return
		}
		to.text = strings.TrimSpace(n.Value)
		to.line, to.column = y.at(n)
	}
}

// whole reads a whole number in a range.
func (y *yamlReader) whole(key string, low, high int, to *int) func(*yaml.Node) {
	return func(n *yaml.Node) {
		v, err := strconv.Atoi(n.Value)
		if n.Kind != yaml.ScalarNode || err != nil || v < low || v > high {
			y.errorNode(n, "yaml_not_whole", "key", key, "value", n.Value, "from", itoa(low), "to", itoa(high))
			return
		}
		*to = v
	}
}

// decimal reads an exact decimal as written.
func (y *yamlReader) decimal(key string, to *string) func(*yaml.Node) {
	return func(n *yaml.Node) {
		d, ok := normalDecimal(n.Value)
		if n.Kind != yaml.ScalarNode || !ok {
			y.errorNode(n, "bad_decimal", "value", n.Value)
			return
		}
		*to = d
	}
}

// item is an entry of a list with its place.
type item struct {
	text         string
	line, column int
}

// list reads a list of scalars; twice the same is an error.
func (y *yamlReader) list(key string, to *[]item) func(*yaml.Node) {
	return func(n *yaml.Node) {
		if n.Kind != yaml.SequenceNode {
			y.errorNode(n, "yaml_not_a_list", "like", "[a, b]")
			return
		}
		seen := map[string]bool{}
		for _, c := range n.Content {
			if c.Kind == yaml.AliasNode {
				continue
			}
			if c.Kind != yaml.ScalarNode || strings.TrimSpace(c.Value) == "" {
				y.errorNode(c, "yaml_not_text")
				continue
			}
			if seen[c.Value] {
				y.errorNode(c, "duplicate_entry", "key", key, "value", c.Value)
				continue
			}
			seen[c.Value] = true
			l, col := y.at(c)
			*to = append(*to, item{strings.TrimSpace(c.Value), l, col})
		}
	}
}

func texts(items []item) []string {
	out := make([]string, 0, len(items))
	for _, i := range items {
		out = append(out, i.text)
	}
	return out
}
