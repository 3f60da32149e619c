package ledger

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"reflect"
	"time"
	"unicode/utf8"
)

// NewID mints a UUIDv7 (RFC 9562) from a time and ten random bytes.
func NewID(random io.Reader, at int64) (string, error) {
	var u [16]byte
	if _, err := io.ReadFull(random, u[6:]); err != nil {
		return "", fmt.Errorf("mint an id: %w", err)
	}
	if at < 0 || at >= 1<<48 {
		return "", fmt.Errorf("mint an id: time %d does not fit 48 bits", at)
	}
	for i := range 6 {
		u[i] = byte(at >> (40 - 8*i))
	}
	u[6] = u[6]&0x0f | 0x70
	u[8] = u[8]&0x3f | 0x80
	h := hex.EncodeToString(u[:])
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:], nil
}

// Hash is the hex SHA-256 under which content is named.
func Hash(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// Hash is the hex SHA-256(salt ‖ bytes) that stands in the entry for the field.
func (p PersonalField) Hash() string {
	h := sha256.New()
	h.Write(p.Salt[:])
	h.Write(p.Value)
	return hex.EncodeToString(h.Sum(nil))
}

// Owner is whose a body's personal fields are, and whose erasure destroys them: the subject's, or where an entry is about
// nobody, the actor's.
func Owner(b Body) string {
	if b.Subject != "" {
		return b.Subject
	}
	return b.Actor
}

func newSubmission(random io.Reader, head Head, payload any, owner string, personal map[string]string, content map[string][]byte) (*Submission, error) {
	kind, ok := KindOf(head.Type)
	if !ok {
		return nil, &FormatError{Type: head.Type, Field: "type", What: "is not known"}
	}
	id := head.ID
	if id == "" {
		var err error
		if id, err = NewID(random, head.At); err != nil {
			return nil, err
		}
	}
	s := &Submission{Personal: map[string]PersonalField{}, Content: map[string][]byte{}, Files: map[string][]byte{}}
	refs := Refs{}
	for _, field := range sortedKeys(personal) {
		if !utf8.ValidString(personal[field]) {
			return nil, &FormatError{Type: head.Type, Field: "payload/personal/" + field, What: "is not UTF-8"}
		}
		p := PersonalField{Person: owner, Value: []byte(personal[field])}
		if _, err := io.ReadFull(random, p.Salt[:]); err != nil {
			return nil, fmt.Errorf("salt a personal field: %w", err)
		}
		if refs.Personal == nil {
			refs.Personal = map[string]string{}
		}
		s.Personal[field] = p
		refs.Personal[field] = p.Hash()
	}
	for name, b := range content {
		if refs.Content == nil {
			refs.Content = map[string]string{}
		}
		s.Content[name] = b
		refs.Content[name] = Hash(b)
	}
	typed, err := withRefs(kind, payload, refs)
	if err != nil {
		return nil, err
	}
	raw, err := canonical(typed)
	if err != nil {
		return nil, &FormatError{Type: head.Type, Field: "payload", What: err.Error()}
	}
	s.Body = Body{
		V: Version, ID: id, Type: head.Type, HappenedAt: head.At, Zone: head.Zone,
		Actor: head.Actor, Subject: head.Subject, Site: head.Site, Corrects: head.Corrects, Payload: raw,
	}
	if err := checkEntry(&Entry{Body: s.Body}, typed); err != nil {
		return nil, err
	}
	return s, nil
}

// withRefs copies a payload struct, or a pointer to one, into a new one of the kind's type and sets its Refs.
func withRefs(k Kind, payload any, refs Refs) (any, error) {
	typed := k.New()
	want := reflect.TypeOf(typed).Elem()
	v := reflect.ValueOf(payload)
	if v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	if !v.IsValid() || v.Type() != want {
		return nil, &FormatError{Type: k.Type, Field: "payload", What: fmt.Sprintf("is a %T, not a %s", payload, want.Name())}
	}
	reflect.ValueOf(typed).Elem().Set(v)
	*refsOf(typed) = refs
	return typed, nil
}

// PayloadOf decodes a body's payload into its struct.
func PayloadOf[T any](b Body) (T, error) {
	var zero T
	p, err := parsePayload(&b)
	if err != nil {
		return zero, err
	}
	t, ok := p.(*T)
	if !ok {
		return zero, &FormatError{Type: b.Type, Field: "payload", What: fmt.Sprintf("is a %T, not a %T", p, zero)}
	}
	return *t, nil
}

// Date is the date of a moment (UTC, milliseconds) in an IANA zone.
func Date(ms int64, zone string) (string, error) {
	loc, err := loadZone(zone)
	if err != nil {
		return "", err
	}
	return time.UnixMilli(ms).In(loc).Format(time.DateOnly), nil
}

// Date is the date of the event in its own zone.
func (b Body) Date() (string, error) { return Date(b.HappenedAt, b.Zone) }

// MarshalKey is the payload description of a public key.
func MarshalKey(id string, public []byte) KeyPayload {
	return KeyPayload{Key: id, Alg: AlgEd25519, Public: encode64(public)}
}

// Leaf is the leaf of a submission recorded at a time.
func (s *Submission) Leaf(recordedAt int64) ([]byte, error) {
	return Entry{Body: s.Body, RecordedAt: recordedAt, Signatures: s.Signatures}.Leaf()
}
