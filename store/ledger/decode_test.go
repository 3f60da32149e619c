package ledger

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// Whatever texts stand in an entry, and under whatever keys: what is written is read again, by both readers alike.
func TestAnyTextIsReadAgain(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.StringOfN(rapid.RuneFrom([]rune("\"\\/\b\t\n\f\r\x00\x1f\x7f<>&\u2028\u2029\ufffd\ufb33\ue000\U0001f600\U0010ffff éa1")), 0, 12, -1))
	rapid.Check(t, func(rt *rapid.T) {
		want := struct {
			Refs
			B bool     `json:"b,omitempty"`
			L []string `json:"l"`
			N int64    `json:"n"`
			S string   `json:"s"`
		}{
			Refs: Refs{Personal: rapid.MapOf(text, text).Draw(rt, "map")},
			B:    rapid.Bool().Draw(rt, "bool"),
			L:    rapid.SliceOf(text).Draw(rt, "list"),
			N:    rapid.Int64Range(-maxInteger, maxInteger).Draw(rt, "number"),
			S:    text.Draw(rt, "text"),
		}
		if len(want.Personal) == 0 {
			want.Personal = nil
		}
		b, err := canonical(want)
		if err != nil {
			rt.Fatal(err)
		}
		got := want
		got.Refs, got.B, got.L, got.N, got.S = Refs{}, false, nil, 0, ""
		if err := readCanonical(b, &got); err != nil {
			rt.Fatalf("%s: %v", b, err)
		}
		if !reflect.DeepEqual(got, want) {
			rt.Fatalf("got %+v, want %+v", got, want)
		}
	})
}

// One byte of an entry changed, left out, doubled or swapped with the next: both readers say the same.
func TestBothReadersRefuseAlike(t *testing.T) {
	leaf := worked(t)
	for i := range leaf {
		for _, changed := range [][]byte{
			append(append([]byte{}, leaf[:i]...), leaf[i+1:]...),
			append(append(append([]byte{}, leaf[:i]...), leaf[i]), leaf[i:]...),
			func() []byte { b := append([]byte{}, leaf...); b[i] ^= 1; return b }(),
			func() []byte { b := append([]byte{}, leaf...); b[i] ^= 0x20; return b }(),
			func() []byte {
				b := append([]byte{}, leaf...)
				j := (i + 1) % len(b)
				b[i], b[j] = b[j], b[i]
				return b
			}(),
			leaf[:i],
		} {
			_, err := ParseLeaf(changed)
			_, oracle := oracleParse(changed)
			if (err == nil) != (oracle == nil) {
				t.Fatalf("byte %d: read: %v; by the other way: %v\n%s", i, err, oracle, changed)
			}
		}
	}
}
