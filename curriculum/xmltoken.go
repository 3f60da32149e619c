package curriculum

import (
	"bytes"
	"strconv"
	"strings"
	"unicode/utf8"
)

// xmlReader splits a drawing into tags and text: XML 1.0 with namespaces, in UTF-8, without a document type, so without entities of
// its own. It is stricter than browsers: what it lets through they read the same way, and what is unusual it refuses (names beyond
// ASCII, more than maxXMLAttributes in a tag, or namespaces at a time). FuzzSVG holds it against encoding/xml, which takes several times as long.
type xmlReader struct {
	src    []byte
	at     int // offset of the next token
	tags   []xmlTag
	spaces []xmlPrefix // declared by the open tags
	ends   bool        // the tag that was read closes itself
}

// xmlTag is an open element.
type xmlTag struct {
	raw    string // its name as written, with a prefix
	spaces int    // how many namespaces were declared around it
}

type xmlPrefix struct{ prefix, space string }

type xmlName struct{ space, local string }

type xmlAttribute struct {
	name   xmlName // space "xmlns" for one that declares a prefix
	prefix string
	value  string
}

type xmlKind int

const (
	xmlEOF xmlKind = iota
	xmlStart
	xmlEnd
	xmlText
	xmlDoctype
	xmlInstruction
	xmlFault // not well formed
)

// xmlToken is a tag, a piece of text or the target of an instruction.
type xmlToken struct {
	kind       xmlKind
	name       xmlName
	attributes []xmlAttribute
	text       []byte
	at         int // offset of its first byte
}

const (
	maxXMLAttributes = 100
	xmlSpace         = "http://www.w3.org/XML/1998/namespace"
)

// next reads a token; comments are passed over. Behind xmlFault nothing more is to be read.
func (x *xmlReader) next() xmlToken {
	t := xmlToken{at: x.at}
	fault := func() xmlToken { return xmlToken{kind: xmlFault, at: t.at} }
	if x.ends {
		x.ends = false
		return x.close(t)
	}
	for {
		t.at = x.at
		rest := x.src[x.at:]
		switch {
		case len(rest) == 0:
			if len(x.tags) > 0 {
				return fault()
			}
			return t
		case rest[0] != '<':
			n := bytes.IndexByte(rest, '<')
			if n < 0 {
				n = len(rest)
			}
			text, ok := xmlCharacters(rest[:n])
			if !ok || bytes.Contains(rest[:n], []byte("]]>")) || len(x.tags) == 0 && len(bytes.Trim(text, " \t\r\n")) > 0 {
				return fault()
			}
			x.at += n
			t.kind, t.text = xmlText, text
			return t
		case bytes.HasPrefix(rest, []byte("<!--")):
			n := bytes.Index(rest[4:], []byte("--"))
			if n < 0 || !bytes.HasPrefix(rest[4+n:], []byte("-->")) || !xmlPlain(rest[4:4+n]) {
				return fault()
			}
			x.at += 4 + n + 3
		case bytes.HasPrefix(rest, []byte("<![CDATA[")):
			n := bytes.Index(rest, []byte("]]>"))
			if n < 0 || len(x.tags) == 0 || !xmlPlain(rest[9:n]) {
				return fault()
			}
			x.at += n + 3
			t.kind, t.text = xmlText, rest[9:n]
			return t
		case bytes.HasPrefix(rest, []byte("<!")):
			t.kind = xmlDoctype
			return t
		case bytes.HasPrefix(rest, []byte("<?")):
			return x.instruction(t)
		case bytes.HasPrefix(rest, []byte("</")):
			raw, n := xmlWord(rest[2:])
			n += 2
			n += xmlBlank(rest[n:])
			if raw == "" || n >= len(rest) || rest[n] != '>' || len(x.tags) == 0 || x.tags[len(x.tags)-1].raw != raw {
				return fault()
			}
			x.at += n + 1
			return x.close(t)
		default:
			return x.open(t)
		}
	}
}

func (x *xmlReader) close(t xmlToken) xmlToken {
	last := len(x.tags) - 1
	t.kind = xmlEnd
	x.tags, x.spaces = x.tags[:last], x.spaces[:x.tags[last].spaces]
	return t
}

// instruction reads <?target …?>. The XML declaration is one only at the very start, in UTF-8.
func (x *xmlReader) instruction(t xmlToken) xmlToken {
	rest := x.src[x.at:]
	target, n := xmlWord(rest[2:])
	stop := bytes.Index(rest, []byte("?>"))
	if target == "" || stop < 0 {
		return xmlToken{kind: xmlFault, at: t.at}
	}
	if strings.EqualFold(target, "xml") {
		words := strings.Fields(strings.NewReplacer("=", " ", "\"", " ", "'", " ").Replace(string(rest[2+n : stop])))
		good := t.at == 0 && target == "xml" && len(words) >= 2 && words[0] == "version" && words[1] == "1.0"
		for i := 2; i < len(words); i += 2 {
			known := i+1 < len(words) && (words[i] == "encoding" && strings.EqualFold(words[i+1], "utf-8") || words[i] == "standalone")
			good = good && known
		}
		if !good {
			return xmlToken{kind: xmlFault, at: t.at}
		}
	}
	x.at += stop + 2
	t.kind, t.text = xmlInstruction, []byte(target)
	return t
}

func (x *xmlReader) open(t xmlToken) xmlToken {
	fault := xmlToken{kind: xmlFault, at: t.at}
	rest := x.src[x.at:]
	raw, n := xmlWord(rest[1:])
	if raw == "" {
		return fault
	}
	n++
	tag := xmlTag{raw: raw, spaces: len(x.spaces)}
	for {
		blank := xmlBlank(rest[n:])
		n += blank
		if n >= len(rest) {
			return fault
		}
		if rest[n] == '>' || rest[n] == '/' {
			break
		}
		name, m := xmlWord(rest[n:])
		if blank == 0 || name == "" || len(t.attributes) >= maxXMLAttributes {
			return fault
		}
		n += m
		n += xmlBlank(rest[n:])
		if n >= len(rest) || rest[n] != '=' {
			return fault
		}
		n++
		n += xmlBlank(rest[n:])
		if n >= len(rest) || rest[n] != '"' && rest[n] != '\'' {
			return fault
		}
		m = bytes.IndexByte(rest[n+1:], rest[n])
		if m < 0 {
			return fault
		}
		value, ok := xmlCharacters(rest[n+1 : n+1+m])
		if !ok || bytes.IndexByte(rest[n+1:n+1+m], '<') >= 0 {
			return fault
		}
		n += m + 2
		a := xmlAttribute{name: xmlName{local: name}, value: string(value)}
		if prefix, local, ok := strings.Cut(name, ":"); ok {
			a.prefix, a.name.local = prefix, local
		}
		switch {
		case name == "xmlns":
			x.spaces = append(x.spaces, xmlPrefix{"", a.value})
			a.name = xmlName{"xmlns", ""}
		case a.prefix == "xmlns":
			if a.value == "" || a.name.local == "xml" || a.name.local == "xmlns" {
				return fault
			}
			x.spaces = append(x.spaces, xmlPrefix{a.name.local, a.value})
			a.name.space, a.prefix = "xmlns", ""
		}
		t.attributes = append(t.attributes, a)
	}
	if len(x.spaces) > maxXMLAttributes {
		return fault
	}
	if rest[n] == '/' {
		if n++; n >= len(rest) || rest[n] != '>' {
			return fault
		}
		x.ends = true
	}
	x.at += n + 1
	x.tags = append(x.tags, tag)
	prefix, local, ok := strings.Cut(raw, ":")
	if !ok {
		prefix, local = "", raw
	}
	space, ok := x.space(prefix)
	if !ok {
		return fault
	}
	t.name = xmlName{space, local}
	for i := range t.attributes {
		a := &t.attributes[i]
		if a.prefix != "" {
			if a.name.space, ok = x.space(a.prefix); !ok {
				return fault
			}
		}
		for _, b := range t.attributes[:i] {
			if a.name == b.name {
				return fault
			}
		}
	}
	t.kind = xmlStart
	return t
}

// space resolves a prefix; ok is false for one that nothing declares.
func (x *xmlReader) space(prefix string) (string, bool) {
	if prefix == "xml" {
		return xmlSpace, true
	}
	for i := len(x.spaces) - 1; i >= 0; i-- {
		if s := x.spaces[i]; s.prefix == prefix {
			return s.space, true
		}
	}
	return "", prefix == ""
}

// xmlWord reads a name with at most one colon inside; "" if there is none.
func xmlWord(b []byte) (string, int) {
	colon := -1
	n := 0
	for ; n < len(b); n++ {
		c := b[n]
		first := n == 0 || n == colon+1
		switch {
		case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_':
		case (c >= '0' && c <= '9' || c == '-' || c == '.') && !first:
		case c == ':' && colon < 0 && n > 0:
			colon = n
		case c >= utf8.RuneSelf || c == ':':
			return "", 0
		default:
			if n == 0 || n == colon+1 {
				return "", 0
			}
			return string(b[:n]), n
		}
	}
	return "", 0 // no name ends a file
}

func xmlBlank(b []byte) (n int) {
	for n < len(b) && (b[n] == ' ' || b[n] == '\t' || b[n] == '\n' || b[n] == '\r') {
		n++
	}
	return n
}

// xmlPlain says whether b holds only characters that XML allows.
func xmlPlain(b []byte) bool {
	for i := 0; i < len(b); {
		if c := b[i]; c < utf8.RuneSelf {
			if c < ' ' && c != '\t' && c != '\n' && c != '\r' {
				return false
			}
			i++
			continue
		}
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 || r == 0xFFFE || r == 0xFFFF {
			return false
		}
		i += n
	}
	return true
}

// xmlCharacters resolves the references of a text or an attribute's value.
func xmlCharacters(b []byte) ([]byte, bool) {
	if !xmlPlain(b) {
		return nil, false
	}
	if bytes.IndexByte(b, '&') < 0 {
		return b, true
	}
	out := make([]byte, 0, len(b))
	for {
		i := bytes.IndexByte(b, '&')
		if i < 0 {
			return append(out, b...), true
		}
		out, b = append(out, b[:i]...), b[i+1:]
		stop := bytes.IndexByte(b[:min(len(b), 12)], ';')
		if stop < 0 {
			return nil, false
		}
		name := string(b[:stop])
		b = b[stop+1:]
		switch name {
		case "amp":
			out = append(out, '&')
		case "lt":
			out = append(out, '<')
		case "gt":
			out = append(out, '>')
		case "quot":
			out = append(out, '"')
		case "apos":
			out = append(out, '\'')
		default:
			digits, number := strings.CutPrefix(name, "#")
			base := 10
			if hexadecimal, ok := strings.CutPrefix(digits, "x"); ok {
				digits, base = hexadecimal, 16
			}
			r, err := strconv.ParseUint(digits, base, 32)
			if !number || err != nil || !utf8.ValidRune(rune(r)) || r > utf8.MaxRune || !xmlPlain([]byte(string(rune(r)))) {
				return nil, false
			}
			out = utf8.AppendRune(out, rune(r))
		}
	}
}
