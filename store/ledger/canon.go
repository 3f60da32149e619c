package ledger

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/gowebpki/jcs"
)

// MaxLeaf bounds an entry's bytes. The largest real one, a sign-off of some hundred steps, has about 30 KiB.
const MaxLeaf = 1 << 20

// maxInteger is the largest integer in hashed JSON (below 2^53: the integers that every JSON reader keeps exactly).
const maxInteger = 1<<53 - 1

// FormatError says why bytes are no entry, or why a value does not fit its type.
type FormatError struct {
	Type  Type   // "" where it is not known yet
	Field string // path of the field, or ""
	What  string
}

func (e *FormatError) Error() string {
	s := "ledger entry"
	if e.Type != "" {
		s += " " + string(e.Type)
	}
	if e.Field != "" {
		s += ": " + e.Field
	}
	return s + ": " + e.What
}

// Parsed is an entry taken apart once: its payload is a pointer to the payload struct of its type, and Signed the
// bytes that signatures are made over.
type Parsed struct {
	Entry
	Payload any
	Signed  []byte
}

// Parse is [ParseLeaf] that keeps what it found out. What comes back shares the leaf's bytes.
func Parse(leaf []byte) (*Parsed, error) {
	if len(leaf) > MaxLeaf {
		return nil, &FormatError{What: fmt.Sprintf("has %d bytes; an entry has at most %d", len(leaf), MaxLeaf)}
	}
	var raw rawEntry
	if err := readCanonical(leaf, &raw); err != nil {
		return nil, &FormatError{What: err.Error()}
	}
	e := Entry{RecordedAt: raw.RecordedAt, Signatures: raw.Signatures}
	if err := readCanonical(raw.Body, &e.Body); err != nil {
		return nil, &FormatError{Field: "body", What: err.Error()}
	}
	p, err := parsePayload(&e.Body)
	if err != nil {
		return nil, err
	}
	if err := checkEntry(&e, p); err != nil {
		return nil, err
	}
	signed := make([]byte, 0, len(SignaturePrefix)+len(raw.Body))
	return &Parsed{Entry: e, Payload: p, Signed: append(append(signed, SignaturePrefix...), raw.Body...)}, nil
}

// rawEntry is an entry whose body is not taken apart yet.
type rawEntry struct {
	Body       json.RawMessage `json:"body"`
	RecordedAt int64           `json:"recorded_at"`
	Signatures []Signature     `json:"signatures"`
}

func parseLeaf(b []byte) (Entry, error) {
	p, err := Parse(b)
	if err != nil {
		return Entry{}, err
	}
	return p.Entry, nil
}

func leafOf(e Entry) ([]byte, error) {
	body, err := canonical(e.Body)
	if err != nil {
		return nil, &FormatError{Type: e.Body.Type, What: err.Error()}
	}
	b, err := assemble(body, e.RecordedAt, e.Signatures)
	if err != nil {
		return nil, &FormatError{Type: e.Body.Type, What: err.Error()}
	}
	return b, nil
}

func signedBytes(b Body) ([]byte, error) {
	body, err := canonical(b)
	if err != nil {
		return nil, &FormatError{Type: b.Type, What: err.Error()}
	}
	return append([]byte(SignaturePrefix), body...), nil
}

// Prepared is a submission made ready to be recorded, as far as that needs neither the ledger nor the time.
type Prepared struct {
	parsed     Parsed
	body, sigs []byte // canonical
}

// Prepare checks a submission's format.
func (s *Submission) Prepare() (*Prepared, error) {
	body, err := canonical(s.Body)
	if err != nil {
		return nil, &FormatError{Type: s.Body.Type, What: err.Error()}
	}
	signatures := s.Signatures
	if signatures == nil {
		signatures = []Signature{}
	}
	sigs, err := canonical(signatures)
	if err != nil {
		return nil, &FormatError{Type: s.Body.Type, What: err.Error()}
	}
	leaf := join(body, 0, sigs)
	p, err := Parse(leaf)
	if err != nil {
		return nil, err
	}
	return &Prepared{parsed: *p, body: body, sigs: sigs}, nil
}

// Parsed is the entry but for the time of recording.
func (p *Prepared) Parsed() *Parsed { return &p.parsed }

// At is the entry recorded at a time (UTC, milliseconds), and its leaf.
func (p *Prepared) At(recordedAt int64) (*Parsed, []byte, error) {
	if recordedAt < 0 || recordedAt > maxInteger {
		return nil, nil, fmt.Errorf("recorded_at %d is not from 0 to 2^53-1", recordedAt)
	}
	e := p.parsed
	e.RecordedAt = recordedAt
	return &e, join(p.body, recordedAt, p.sigs), nil
}

// join is a leaf. The keys body, recorded_at, signatures are in canonical order.
func join(body []byte, recordedAt int64, sigs []byte) []byte {
	leaf := make([]byte, 0, len(body)+len(sigs)+64)
	leaf = append(leaf, `{"body":`...)
	leaf = append(leaf, body...)
	leaf = append(leaf, `,"recorded_at":`...)
	leaf = strconv.AppendInt(leaf, recordedAt, 10)
	leaf = append(leaf, `,"signatures":`...)
	leaf = append(leaf, sigs...)
	return append(leaf, '}')
}

// assemble puts a leaf together from a canonical body.
func assemble(body []byte, recordedAt int64, signatures []Signature) ([]byte, error) {
	if recordedAt < 0 || recordedAt > maxInteger {
		return nil, fmt.Errorf("recorded_at %d is not from 0 to 2^53-1", recordedAt)
	}
	if signatures == nil {
		signatures = []Signature{}
	}
	sigs, err := canonical(signatures)
	if err != nil {
		return nil, err
	}
	return join(body, recordedAt, sigs), nil
}

// canonical is v as RFC 8785 JSON of strings, booleans, null-free values and integers below 2^53.
func canonical(v any) ([]byte, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	if err := checkNumbers(b); err != nil {
		return nil, err
	}
	return jcs.Transform(b)
}

// checkNumbers refuses numbers that are not integers below 2^53, before canonicalisation could round them. b is valid JSON.
func checkNumbers(b []byte) error {
	inString := false
	for i := 0; i < len(b); i++ {
		c := b[i]
		switch {
		case inString && c == '\\':
			i++
		case c == '"':
			inString = !inString
		case inString:
		case c == '-' || '0' <= c && c <= '9':
			start := i
			for i < len(b) && (b[i] == '-' || b[i] == '+' || b[i] == '.' || b[i] == 'e' || b[i] == 'E' || '0' <= b[i] && b[i] <= '9') {
				i++
			}
			n, err := strconv.ParseInt(string(b[start:i]), 10, 64)
			if err != nil || n > maxInteger || n < -maxInteger {
				return fmt.Errorf("number %s is not an integer below 2^53", b[start:i])
			}
			i--
		}
	}
	return nil
}

// decodeStrict decodes one JSON value with no unknown fields and nothing after it.
func decodeStrict(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if d.InputOffset() != int64(len(b)) {
		return fmt.Errorf("something follows after byte %d", d.InputOffset())
	}
	return nil
}

// parsePayload decodes a body's payload into a new payload struct of its type.
func parsePayload(b *Body) (any, error) {
	k, ok := KindOf(b.Type)
	if !ok {
		return nil, &FormatError{Field: "type", What: fmt.Sprintf("%q is not a type of entry that this version knows", b.Type)}
	}
	p := k.New()
	if err := readCanonical(b.Payload, p); err != nil {
		return nil, &FormatError{Type: b.Type, Field: "payload", What: err.Error()}
	}
	return p, nil
}
