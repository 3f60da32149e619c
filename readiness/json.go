package readiness

import (
	"bytes"
	"encoding/json"
	"regexp"
	"strconv"
	"unicode/utf8"
)

// jsonValue is one value of a JSON text, with the line it stands on. encoding/json alone would take "Date" for "date",
// let a key stand twice and stop at the first value of a wrong type; the readers here must name every fault.
type jsonValue struct {
	kind  byte // { [ " 0 t f n; 0 for what is not there
	line  int
	raw   []byte // the bytes of the value
	keys  []string
	items []jsonValue // values of an object, elements of a list
}

// withoutMark leaves out a byte order mark, which some programs put before a text.
func withoutMark(b []byte) []byte { return bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")) }

// parseJSON reads one JSON value. firstLine is the line of b's first byte.
func parseJSON(b []byte, firstLine int) (jsonValue, *InputError) {
	if !utf8.Valid(b) {
		return jsonValue{}, &InputError{Line: firstLine, Code: "input_not_utf8", Args: map[string]string{}}
	}
	if !json.Valid(b) {
		return jsonValue{}, notJSON(b, firstLine)
	}
	p := jsonParser{b: b, line: firstLine}
	return p.value(), nil
}

// notJSON names what the parser of encoding/json stumbled over.
func notJSON(b []byte, firstLine int) *InputError {
	var ignored json.RawMessage
	err := json.Unmarshal(b, &ignored)
	line, text := firstLine, ""
	if err != nil {
		text = err.Error()
	}
	if s, ok := err.(*json.SyntaxError); ok {
		line += bytes.Count(b[:min(int(s.Offset), len(b))], []byte("\n"))
	}
	return &InputError{Line: line, Code: "input_not_json", Args: map[string]string{"text": text}}
}

// jsonParser walks bytes that json.Valid has passed, so it checks nothing again.
type jsonParser struct {
	b    []byte
	pos  int
	line int
}

func (p *jsonParser) space() {
	for p.pos < len(p.b) {
		switch p.b[p.pos] {
		case '\n':
			p.line++
		case ' ', '\t', '\r':
		default:
			return
		}
		p.pos++
	}
}

func (p *jsonParser) value() jsonValue {
	p.space()
	start := p.pos
	v := jsonValue{kind: p.b[p.pos], line: p.line}
	switch v.kind {
	case '{':
		p.pos++
		for p.space(); p.b[p.pos] != '}'; p.space() {
			if p.b[p.pos] == ',' {
				p.pos++
				p.space()
			}
			v.keys = append(v.keys, unquote(p.quoted()))
			p.space()
			p.pos++ // the colon
			v.items = append(v.items, p.value())
		}
		p.pos++
	case '[':
		p.pos++
		for p.space(); p.b[p.pos] != ']'; p.space() {
			if p.b[p.pos] == ',' {
				p.pos++
			}
			v.items = append(v.items, p.value())
		}
		p.pos++
	case '"':
		p.quoted()
	case 't', 'n':
		p.pos += 4
	case 'f':
		p.pos += 5
	default:
		v.kind = '0'
		for p.pos < len(p.b) && bytes.IndexByte([]byte("+-.0123456789eE"), p.b[p.pos]) >= 0 {
			p.pos++
		}
	}
	v.raw = p.b[start:p.pos]
	return v
}

// quoted steps over a string and returns it with its quotes.
func (p *jsonParser) quoted() []byte {
	start := p.pos
	for p.pos++; p.b[p.pos] != '"'; p.pos++ {
		if p.b[p.pos] == '\\' {
			p.pos++
		}
	}
	p.pos++
	return p.b[start:p.pos]
}

func unquote(raw []byte) string {
	if bytes.IndexByte(raw, '\\') < 0 {
		return string(raw[1 : len(raw)-1])
	}
	var s string
	if err := json.Unmarshal(raw, &s); err != nil {
		panic("readiness: a valid JSON string does not decode: " + err.Error())
	}
	return s
}

// reader takes fields out of one JSON object and gathers faults. Codes, with their arguments:
//
//	input_unreadable        text    the file could not be read to its end
//	input_not_utf8
//	input_not_json          text
//	input_duplicate_key
//	input_missing
//	input_empty
//	input_wrong_type        want: object, list, text, number, true_or_false, text_or_list
//	input_unknown_value     value, allowed
//	input_correction_inside
//	input_bad_date          value
//	input_out_of_range      value, from, to
//	input_wrong_order       from, to: a leave that ends before it begins
//	input_too_few           need, have: people who recognise
//	input_not_possible      result: a critical error at a step that was not reached or does not apply
//	input_duplicate_id      value, line: of the first
//	input_unknown_task      value
//	input_cycle             tasks: prerequisites in a circle
//
// And, of what [Loose] finds:
//
//	input_no_such_record    value, more (further lines of the same kind)
//	input_no_such_task      value, more
//	input_no_such_step      value, task, more
type reader struct {
	faults *[]InputError
	path   string
	v      jsonValue
}

func (r reader) fault(line int, field, code string, more ...string) {
	args := make(map[string]string, len(more)/2)
	for i := 0; i+1 < len(more); i += 2 {
		args[more[i]] = more[i+1]
	}
	*r.faults = append(*r.faults, InputError{Line: line, Field: field, Code: code, Args: args})
}

// object starts reading v as an object; false after a fault.
func object(faults *[]InputError, path string, v jsonValue) (reader, bool) {
	r := reader{faults: faults, path: path, v: v}
	if v.kind != '{' {
		r.fault(v.line, path, "input_wrong_type", "want", "object")
		return r, false
	}
	for i, k := range v.keys {
		for j := range i {
			if v.keys[j] == k {
				r.fault(v.items[i].line, join(path, k), "input_duplicate_key")
				break
			}
		}
	}
	return r, true
}

// get finds a field; null is the same as absent.
func (r reader) get(key string) (jsonValue, bool) {
	for i, k := range r.v.keys {
		if k == key {
			return r.v.items[i], r.v.items[i].kind != 'n'
		}
	}
	return jsonValue{}, false
}

func (r reader) missing(key string) { r.fault(r.v.line, join(r.path, key), "input_missing") }

// text reads a string that, if it must be there, must not be empty.
func (r reader) text(key string, must bool) string {
	v, ok := r.get(key)
	if !ok {
		if must {
			r.missing(key)
		}
		return ""
	}
	if v.kind != '"' {
		r.fault(v.line, join(r.path, key), "input_wrong_type", "want", "text")
		return ""
	}
	s := unquote(v.raw)
	if must && s == "" {
		r.fault(v.line, join(r.path, key), "input_empty")
	}
	return s
}

func (r reader) date(key string, must bool) string {
	s := r.text(key, must)
	if s != "" && !validDate(s) {
		v, _ := r.get(key)
		r.fault(v.line, join(r.path, key), "input_bad_date", "value", s)
	}
	return s
}

// choice reads one of the allowed words; "" if it is absent and need not be there.
func (r reader) choice(key string, must bool, allowed ...string) string {
	s := r.text(key, must)
	if s == "" {
		if v, ok := r.get(key); ok && !must && v.kind == '"' {
			r.fault(v.line, join(r.path, key), "input_unknown_value", "value", s, "allowed", list(allowed))
		}
		return ""
	}
	for _, a := range allowed {
		if s == a {
			return s
		}
	}
	v, _ := r.get(key)
	r.fault(v.line, join(r.path, key), "input_unknown_value", "value", s, "allowed", list(allowed))
	return ""
}

// yes reads true or false; false if it is absent and need not be there.
func (r reader) yes(key string, must bool) bool {
	v, ok := r.get(key)
	switch {
	case !ok && must:
		r.missing(key)
	case ok && v.kind != 't' && v.kind != 'f':
		r.fault(v.line, join(r.path, key), "input_wrong_type", "want", "true_or_false")
	}
	return v.kind == 't'
}

var wholeNumber = regexp.MustCompile(`^(0|[1-9][0-9]{0,8})(\.0{1,9})?$`)

// count reads a whole number from low to high; 0 if absent.
func (r reader) count(key string, low, high int) int {
	v, ok := r.get(key)
	if !ok {
		return 0
	}
	if v.kind != '0' {
		r.fault(v.line, join(r.path, key), "input_wrong_type", "want", "number")
		return 0
	}
	digits, _, _ := bytes.Cut(v.raw, []byte("."))
	n, err := strconv.Atoi(string(digits))
	if err != nil || !wholeNumber.Match(v.raw) || n < low || n > high {
		r.fault(v.line, join(r.path, key), "input_out_of_range", "value", string(v.raw), "from", strconv.Itoa(low), "to", strconv.Itoa(high))
		return 0
	}
	return n
}

// elements reads a list; each gets every element with its path.
func (r reader) elements(key string, must bool, each func(path string, v jsonValue)) {
	v, ok := r.get(key)
	if !ok {
		if must {
			r.missing(key)
		}
		return
	}
	if v.kind != '[' {
		r.fault(v.line, join(r.path, key), "input_wrong_type", "want", "list")
		return
	}
	for i, item := range v.items {
		each(join(r.path, key)+"["+strconv.Itoa(i)+"]", item)
	}
}

// texts reads a list of strings, none empty.
func (r reader) texts(key string, must bool) []string {
	var all []string
	r.elements(key, must, func(path string, v jsonValue) {
		switch {
		case v.kind != '"':
			r.fault(v.line, path, "input_wrong_type", "want", "text")
		case len(v.raw) == 2:
			r.fault(v.line, path, "input_empty")
		default:
			all = append(all, unquote(v.raw))
		}
	})
	return all
}

// people reads a string or a list of strings, at least one.
func (r reader) people(key string) StringOrList {
	v, ok := r.get(key)
	switch {
	case !ok:
		r.missing(key)
		return nil
	case v.kind == '"':
		return StringOrList{r.text(key, true)}
	case v.kind == '[':
		all := StringOrList(r.texts(key, true))
		if len(v.items) == 0 {
			r.fault(v.line, join(r.path, key), "input_empty")
		}
		return all
	}
	r.fault(v.line, join(r.path, key), "input_wrong_type", "want", "text_or_list")
	return nil
}

// list joins words for an argument.
func list(words []string) string {
	var b bytes.Buffer
	for i, w := range words {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(w)
	}
	return b.String()
}
