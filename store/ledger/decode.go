package ledger

import (
	"fmt"
	"reflect"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"unicode/utf16"
	"unicode/utf8"
)

// This is the strict reader. It goes once over the bytes, led by the Go types, and accepts exactly what the types encode
// to in RFC 8785: keys in order, each known and once; no field that is empty and may be omitted, none missing that may
// not; strings with no other escapes than the needed ones; integers below 2^53; nothing between and nothing after. So
// whatever it accepts encodes again to the same bytes. That is tested against encoding/json and jcs, which are slower.

// reader walks over canonical JSON. The first fault stays.
type reader struct {
	b   []byte
	at  int
	bad error
}

func (r *reader) fail(what string, args ...any) {
	if r.bad == nil {
		r.bad = fmt.Errorf("byte %d: "+what, append([]any{r.at}, args...)...)
	}
	r.at = len(r.b) // nothing more is read
}

// peek is the next byte, 0 at the end.
func (r *reader) peek() byte {
	if r.at < len(r.b) {
		return r.b[r.at]
	}
	return 0
}

func (r *reader) expect(c byte) {
	if r.peek() != c {
		r.fail("%q is expected", c)
		return
	}
	r.at++
}

// end: nothing follows.
func (r *reader) end() {
	if r.bad == nil && r.at != len(r.b) {
		r.fail("something follows after the end")
	}
}

// escapes are the two-character escapes of RFC 8785; other control characters are \u00xx in lower case.
var escapes = map[byte]byte{'"': '"', '\\': '\\', 'b': '\b', 't': '\t', 'n': '\n', 'f': '\f', 'r': '\r'}

func (r *reader) string() string {
	r.expect('"')
	start := r.at
	var built []byte // only where there are escapes
	for r.at < len(r.b) {
		c := r.b[r.at]
		switch {
		case c == '"':
			s := r.b[start:r.at]
			if built != nil {
				s = built
			}
			r.at++
			return string(s)
		case c == '\\':
			if built == nil {
				built = append(make([]byte, 0, 64), r.b[start:r.at]...)
			}
			built = append(built, r.escape())
		case c < 0x20:
			r.fail("a control character stands unescaped")
		case c < utf8.RuneSelf:
			r.at++
			if built != nil {
				built = append(built, c)
			}
		default:
			code, size := utf8.DecodeRune(r.b[r.at:])
			if code == utf8.RuneError && size == 1 {
				r.fail("a string is not UTF-8")
				return ""
			}
			if built != nil {
				built = append(built, r.b[r.at:r.at+size]...)
			}
			r.at += size
		}
	}
	r.fail("a string does not end")
	return ""
}

func (r *reader) escape() byte {
	if r.at+1 < len(r.b) {
		if c, ok := escapes[r.b[r.at+1]]; ok {
			r.at += 2
			return c
		}
	}
	if r.at+6 <= len(r.b) && string(r.b[r.at:r.at+4]) == `\u00` {
		hi, lo := r.b[r.at+4], r.b[r.at+5]
		if hi <= '1' && hi >= '0' && (lo >= '0' && lo <= '9' || lo >= 'a' && lo <= 'f') {
			n := (hi - '0') << 4
			if lo <= '9' {
				n |= lo - '0'
			} else {
				n |= lo - 'a' + 10
			}
			if !strings.ContainsRune("\b\t\n\f\r", rune(n)) {
				r.at += 6
				return n
			}
		}
	}
	r.fail("an escape is not the canonical one")
	return 0
}

func (r *reader) integer() int64 {
	start := r.at
	for r.at < len(r.b) && (r.b[r.at] == '-' || '0' <= r.b[r.at] && r.b[r.at] <= '9') {
		r.at++
	}
	text := string(r.b[start:r.at])
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n > maxInteger || n < -maxInteger || text != strconv.FormatInt(n, 10) {
		r.fail("%q is not an integer below 2^53", text)
		return 0
	}
	return n
}

func (r *reader) bool() bool {
	for _, v := range []bool{true, false} {
		word := strconv.FormatBool(v)
		if len(r.b)-r.at >= len(word) && string(r.b[r.at:r.at+len(word)]) == word {
			r.at += len(word)
			return v
		}
	}
	r.fail("true or false is expected")
	return false
}

// list reads the elements of an array; element is called where each begins.
func (r *reader) list(element func()) {
	r.expect('[')
	if r.peek() == ']' {
		r.at++
		return
	}
	for r.bad == nil {
		element()
		if r.peek() == ']' {
			r.at++
			return
		}
		r.expect(',')
	}
}

// object reads the members of an object in strictly rising order of their keys; member is called where each value begins.
func (r *reader) object(member func(key string)) {
	r.expect('{')
	if r.peek() == '}' {
		r.at++
		return
	}
	last, first := "", true
	for r.bad == nil {
		key := r.string()
		if !first && compareKeys(last, key) >= 0 {
			r.fail("the key %q is not in order", key)
			return
		}
		last, first = key, false
		r.expect(':')
		member(key)
		if r.peek() == '}' {
			r.at++
			return
		}
		r.expect(',')
	}
}

// compareKeys orders keys as RFC 8785 does: by UTF-16 code units.
func compareKeys(a, b string) int {
	for i := 0; i < len(a) && i < len(b); i++ {
		if a[i] >= utf8.RuneSelf || b[i] >= utf8.RuneSelf {
			return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
		}
		if a[i] != b[i] {
			return int(a[i]) - int(b[i])
		}
	}
	return len(a) - len(b)
}

// span passes over one value without reading it, and returns its bytes: what they hold is read later.
func (r *reader) span() []byte {
	start, depth := r.at, 0
	for r.at < len(r.b) {
		switch r.b[r.at] {
		case '"':
			for r.at++; r.at < len(r.b) && r.b[r.at] != '"'; r.at++ {
				if r.b[r.at] == '\\' {
					r.at++
				}
			}
		case '{', '[':
			depth++
		case '}', ']':
			depth--
		}
		r.at++
		if depth <= 0 {
			break
		}
	}
	if depth != 0 || r.at > len(r.b) {
		r.fail("a value does not end")
		return nil
	}
	return r.b[start:r.at]
}

// field is one key of a struct.
type field struct {
	key   string
	index []int
	omit  bool // omitempty
}

var plans sync.Map // reflect.Type → []field, sorted by key

// planOf lists a struct's keys in canonical order. Embedded structs lend theirs.
func planOf(t reflect.Type) []field {
	if p, ok := plans.Load(t); ok {
		return p.([]field)
	}
	var all []field
	for _, f := range reflect.VisibleFields(t) {
		if f.Anonymous || !f.IsExported() {
			continue
		}
		key, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		all = append(all, field{key: key, index: f.Index, omit: options == "omitempty"})
	}
	sort.Slice(all, func(i, j int) bool { return all[i].key < all[j].key })
	plans.Store(t, all)
	return all
}

// into reads the next value into v, led by its type.
func (r *reader) into(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(r.string())
	case reflect.Bool:
		v.SetBool(r.bool())
	case reflect.Int, reflect.Int64:
		v.SetInt(r.integer())
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		r.into(v.Elem())
	case reflect.Struct:
		r.intoStruct(v)
	case reflect.Map:
		m := map[string]string{}
		r.object(func(key string) { m[key] = r.string() })
		v.Set(reflect.ValueOf(m))
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 { // json.RawMessage
			v.SetBytes(r.span())
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), 0, 4))
		r.list(func() {
			n := v.Len()
			v.Grow(1)
			v.SetLen(n + 1)
			r.into(v.Index(n))
		})
	default:
		panic("ledger: no reader of " + v.Type().String())
	}
}

func (r *reader) intoStruct(v reflect.Value) {
	plan := planOf(v.Type())
	next := 0
	r.object(func(key string) {
		for next < len(plan) && plan[next].key < key {
			if !plan[next].omit {
				r.fail("the key %q is missing", plan[next].key)
				return
			}
			next++
		}
		if next == len(plan) || plan[next].key != key {
			r.fail("the key %q is not known here", key)
			return
		}
		f := v.FieldByIndex(plan[next].index)
		r.into(f)
		if plan[next].omit && isEmpty(f) {
			r.fail("%q is empty and must be left out", key)
		}
		next++
	})
	for ; next < len(plan) && r.bad == nil; next++ {
		if !plan[next].omit {
			r.fail("the key %q is missing", plan[next].key)
		}
	}
}

// isEmpty is what omitempty leaves out.
func isEmpty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map, reflect.String:
		return v.Len() == 0
	case reflect.Pointer:
		return v.IsNil()
	}
	return v.IsZero()
}

// readCanonical reads canonical JSON, all of it, into what v points to.
func readCanonical(b []byte, v any) error {
	r := &reader{b: b}
	r.into(reflect.ValueOf(v).Elem())
	r.end()
	return r.bad
}
