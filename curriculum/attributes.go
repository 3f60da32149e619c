package curriculum

import (
	"bytes"
	"strings"
	"unicode"
)

// maxAttributes bounds how far from the end of a line an attribute block may begin.
const maxAttributes = 2000

// span is a run of bytes of a file.
type span struct{ start, stop int }

// findAttributes looks for an attribute block `{…}` at the end of line and returns its bounds inside line. It is one
// when it begins with #, . or a name and an equals sign.
func findAttributes(line []byte) (span, bool) {
	line = bytes.TrimRight(line, " \t\n")
	if len(line) == 0 || line[len(line)-1] != '}' {
		return span{}, false
	}
	for i := max(0, len(line)-maxAttributes); i < len(line); i++ {
		if line[i] == '{' && looksLikeAttributes(line[i+1:]) && closesAtEnd(line[i:]) {
			return span{i, len(line)}, true
		}
	}
	return span{}, false
}

func looksLikeAttributes(b []byte) bool {
	b = bytes.TrimLeft(b, " ")
	if len(b) == 0 {
		return false
	}
	if b[0] == '#' || b[0] == '.' && len(b) > 1 && b[1] != '.' && b[1] != ' ' {
		return true
	}
	i := 0
	for i < len(b) && (isWordRune(rune(b[i])) || b[i] == '-' || b[i] == '_') {
		i++
	}
	return i > 0 && i < len(b) && b[i] == '='
}

// closesAtEnd says whether the brace that opens b closes at its last byte, quotations aside.
func closesAtEnd(b []byte) bool {
	var quote byte
	for i := 1; i < len(b); i++ {
		switch {
		case quote != 0:
			if b[i] == quote {
				quote = 0
			}
		case b[i] == '"' || b[i] == '\'':
			quote = b[i]
		case b[i] == '}':
			return i == len(b)-1
		}
	}
	// A quotation without end: the author's slip is reported by parseAttributes.
	return quote != 0
}

// attribute is one part of a block: kind '#', '.' or '='.
type attribute struct {
	kind        byte
	name, value string
	at, valueAt int // offsets in the file
}

// parseAttributes reads the block at s of the file and reports what cannot be read.
func parseAttributes(r *report, s span) (out []attribute) {
	whole := r.src.bytes[s.start:s.stop]
	bad := func(at int) { r.errorAt(s.start+at, "bad_attributes", "text", string(whole)) }
	b := plainQuotes(whole, bad)
	i, end := 1, len(b)-1
	next := func() string {
		from := i
		for i < end && b[i] != ' ' && b[i] != '\t' && b[i] != '=' && b[i] != '"' && b[i] != '\'' {
			i++
		}
		return string(b[from:i])
	}
	for {
		for i < end && (b[i] == ' ' || b[i] == '\t') {
			i++
		}
		if i >= end {
			return out
		}
		at := i
		switch b[i] {
		case '#', '.':
			kind := b[i]
			i++
			name := next()
			if name == "" {
				bad(at)
				return out
			}
			out = append(out, attribute{kind: kind, name: name, at: s.start + at})
			continue
		}
		name := next()
		if i >= end || b[i] != '=' {
			if name == "" {
				bad(at)
				return out
			}
			out = append(out, attribute{kind: 'w', name: name, at: s.start + at})
			continue
		}
		i++
		valueAt := i
		var value string
		if i < end && (b[i] == '"' || b[i] == '\'') {
			quote := b[i]
			i++
			stop := bytes.IndexByte(b[i:end], quote)
			if stop < 0 {
				bad(valueAt)
				return out
			}
			valueAt = i
			value = string(b[i : i+stop])
			i += stop + 1
		} else {
			value = next()
		}
		out = append(out, attribute{kind: '=', name: name, value: value, at: s.start + at, valueAt: s.start + valueAt})
	}
}

// plainQuotes reports the first curly quotation mark, which word processors put in, and the first comma outside quotations. What comes
// back, as long as b, has plain marks and spaces there, so that the rest can be read as it was meant.
func plainQuotes(b []byte, bad func(at int)) []byte {
	out, said := b, false
	quoted := byte(0)
	for i, c := range string(b) {
		switch {
		case quoted != 0:
			if b[i] == quoted {
				quoted = 0
			}
			continue
		case c == '"' || c == '\'':
			quoted = b[i]
			continue
		case c != ',' && c != '“' && c != '”' && c != '„' && c != '‘' && c != '’':
			continue
		}
		if !said {
			bad(i)
			out, said = bytes.Clone(b), true
		}
		if copy(out[i:], " "); c != ',' {
			copy(out[i:], "\"  ")
		}
	}
	return out
}

// isID says whether s can name a step, row or block: letters, digits, - and _, beginning with a letter or digit.
func isID(s string) bool {
	if s == "" || len(s) > 80 {
		return false
	}
	for i, r := range s {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
		case i > 0 && (r == '-' || r == '_'):
		default:
			return false
		}
	}
	return true
}

// isKey says whether s is a dotted name of a vehicle's figure; with axle, {axle} may stand for a part.
func isKey(s string, axle bool) bool {
	if s == "" || len(s) > 120 {
		return false
	}
	for _, part := range strings.Split(s, ".") {
		if !isID(part) && !(axle && part == "{axle}") {
			return false
		}
	}
	return true
}

// words splits an attribute's value at spaces, with the offset of each word.
func words(a attribute) (out []word) {
	off := a.valueAt
	rest := a.value
	for rest != "" {
		trimmed := strings.TrimLeft(rest, " \t")
		off += len(rest) - len(trimmed)
		rest = trimmed
		if rest == "" {
			break
		}
		n := strings.IndexAny(rest, " \t")
		if n < 0 {
			n = len(rest)
		}
		out = append(out, word{rest[:n], off})
		off += n
		rest = rest[n:]
	}
	return out
}

// word is a word with its offset in the file.
type word struct {
	text string
	at   int
}
