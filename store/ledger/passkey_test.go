package ledger

import (
	"crypto/sha256"
	"errors"
	"slices"
	"testing"

	"brakewright/store/ledger/passkeytest"
)

const origin = "https://brakes.example.org"

// passkey gives somebody a passkey, vouched for by a coordinator's key: made at an origin, ES256 or Ed25519.
func (h *history) passkey(person string, ed bool) (*passkeytest.Device, KeyPayload) {
	h.t.Helper()
	d := passkeytest.New(origin, ed)
	s, key := h.passkeyAct(person, d)
	h.touch(d, key, s)
	if err := s.Sign(h.signers["cora"]); err != nil {
		h.t.Fatal(err)
	}
	h.record(s)
	return d, key
}

// passkeyAct is the entry of a new passkey, unsigned.
func (h *history) passkeyAct(person string, d *passkeytest.Device) (*Submission, KeyPayload) {
	h.t.Helper()
	alg := AlgPasskeyES256
	if len(d.Public()) == 32 {
		alg = AlgPasskeyEd25519
	}
	id, err := NewID(h.random, h.now)
	if err != nil {
		h.t.Fatal(err)
	}
	key, err := MarshalPasskey(id, alg, d.Origin, d.Public(), d.Credential)
	if err != nil {
		h.t.Fatal(err)
	}
	return h.submit(act{typ: KeyAdded, actor: person, subject: person, payload: KeyAddedPayload{Key: key}}), key
}

// touch signs submissions with one touch.
func (h *history) touch(d *passkeytest.Device, key KeyPayload, subs ...*Submission) {
	h.t.Helper()
	signed := make([][]byte, len(subs))
	for i, s := range subs {
		var err error
		if signed[i], err = s.Body.SignedBytes(); err != nil {
			h.t.Fatal(err)
		}
	}
	challenge, among := Challenge(signed...)
	authenticator, client, sig := d.Assert(challenge)
	for _, s := range subs {
		s.SignPasskey(key.Key, key.Alg, authenticator, client, sig, among)
	}
}

func (h *history) record(s *Submission) {
	h.t.Helper()
	p, err := h.judge(s)
	if err != nil {
		h.t.Fatal(err)
	}
	leaf, _ := p.Leaf()
	h.leaves = append(h.leaves, leaf)
	h.state.Apply(p)
}

// A passkey signs like any other key, one entry or several with one touch; and each way in which its signature may be none
// is refused.
func TestPasskeySignatures(t *testing.T) {
	signOff := func(h *history) *Submission {
		s := h.submit(h.signOff("sam", "pat", func(_ *act, p *SignOffPayload) { p.Job = h.id("job " + string(rune('a'+len(h.ids)))) }))
		s.Signatures = nil
		return s
	}
	byDevice := func(change func(d *passkeytest.Device)) func(*history, *passkeytest.Device, KeyPayload) *Submission {
		return func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
			change(d)
			s := signOff(h)
			h.touch(d, key, s)
			return s
		}
	}
	for _, kind := range []struct {
		name string
		ed   bool
	}{{"ES256", false}, {"Ed25519", true}} {
		t.Run(kind.name, func(t *testing.T) {
			rows := []struct {
				name string
				want string
				do   func(h *history, d *passkeytest.Device, key KeyPayload) *Submission
			}{
				{"one entry", "", func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s := signOff(h)
					h.touch(d, key, s)
					return s
				}},
				{"the last of three with one touch", "", func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					subs := []*Submission{signOff(h), signOff(h), signOff(h)}
					h.touch(d, key, subs...)
					h.record(subs[0])
					h.record(subs[1])
					return subs[2]
				}},
				{"another entry under a touch for three", BadSignature, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					subs := []*Submission{signOff(h), signOff(h), signOff(h)}
					h.touch(d, key, subs...)
					other := signOff(h)
					other.Signatures = subs[0].Signatures
					return other
				}},
				{"a list that was not touched", BadSignature, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s, other := signOff(h), signOff(h)
					h.touch(d, key, s)
					one, _ := s.Body.SignedBytes()
					two, _ := other.Body.SignedBytes()
					_, s.Signatures[0].Among = Challenge(one, two)
					return s
				}},
				{"another entry's touch", BadSignature, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s, other := signOff(h), signOff(h)
					h.touch(d, key, other)
					s.Signatures = other.Signatures
					return s
				}},
				{"nobody verified", BadSignature, byDevice(func(d *passkeytest.Device) { d.Flags = passkeytest.Present })},
				{"nobody present", BadSignature, byDevice(func(d *passkeytest.Device) { d.Flags = passkeytest.Verified })},
				{"another site's page", BadSignature, byDevice(func(d *passkeytest.Device) { d.Origin = "https://brakes.example.org.other.example" })},
				{"another site around the page", BadSignature, byDevice(func(d *passkeytest.Device) { d.Cross = "true" })},
				{"another relying party", BadSignature, byDevice(func(d *passkeytest.Device) { d.RPID = "example.org" })},
				{"another device", BadSignature, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s := signOff(h)
					h.touch(passkeytest.New(origin, kind.ed), key, s)
					return s
				}},
				{"the client data changed", BadSignature, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s := signOff(h)
					h.touch(d, key, s)
					raw, _ := decode64(s.Signatures[0].Client)
					s.Signatures[0].Client = encode64(append(raw[:len(raw)-1], `,"x":1}`...))
					return s
				}},
				{"said to be of the other kind", BadSignature, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s := signOff(h)
					h.touch(d, key, s)
					s.Signatures[0].Alg = map[bool]string{true: AlgPasskeyES256, false: AlgPasskeyEd25519}[kind.ed]
					s.Signatures[0].Sig = encode64(make([]byte, 64)) // the length of both kinds
					return s
				}},
				{"beside a passphrase key of the same person", SignedTwice, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					s := signOff(h)
					h.touch(d, key, s)
					if err := s.Sign(h.signers["sam"]); err != nil {
						h.t.Fatal(err)
					}
					return s
				}},
				{"after the key was ended", KeyNotInForce, func(h *history, d *passkeytest.Device, key KeyPayload) *Submission {
					h.do(act{typ: KeyEnded, actor: "sam", subject: "sam", payload: KeyEndedPayload{Key: key.Key, Why: "lost", From: h.now}})
					s := signOff(h)
					h.touch(d, key, s)
					return s
				}},
			}
			for _, row := range rows {
				t.Run(row.name, func(t *testing.T) {
					h := found(t)
					d, key := h.passkey("sam", kind.ed)
					if _, err := h.judge(row.do(h, d, key)); codeOf(err) != row.want {
						t.Errorf("got %v, want %q", err, row.want)
					}
				})
			}
		})
	}
}

// A new passkey needs what every new key needs: its own signature and a coordinator's.
func TestANewPasskeyIsVouchedFor(t *testing.T) {
	for _, row := range []struct {
		name, want string
		own        bool
		by         string
	}{
		{"by a coordinator and itself", "", true, "cora"}, {"by itself alone", NeedsCoordinator, true, ""},
		{"by a coordinator alone", NewKeyUnsigned, false, "cora"}, {"by a supervisor and itself", NeedsCoordinator, true, "sam"},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := found(t)
			d := passkeytest.New(origin, false)
			s, key := h.passkeyAct("sue", d)
			if row.own {
				h.touch(d, key, s)
			}
			if row.by != "" {
				if err := s.Sign(h.signers[row.by]); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := h.judge(s); codeOf(err) != row.want {
				t.Errorf("got %v, want %q", err, row.want)
			}
		})
	}
}

func TestPasskeyFormatIsHeldTo(t *testing.T) {
	h := found(t)
	d := passkeytest.New(origin, false)
	key, err := MarshalPasskey(h.id("k"), AlgPasskeyES256, origin, d.Public(), d.Credential)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name, field string
		change      func(*KeyPayload)
	}{
		{"fits", "", func(*KeyPayload) {}},
		{"an unknown algorithm", "payload/content/sealed_key", func(k *KeyPayload) { k.Alg = "rsa" }},
		{"a key of another length", "payload/key/public", func(k *KeyPayload) { k.Public = encode64(make([]byte, 32)) }},
		{"a point off the curve", "payload/key/public", func(k *KeyPayload) { k.Public = encode64(append([]byte{4}, make([]byte, 64)...)) }},
		{"no credential", "payload/key/credential", func(k *KeyPayload) { k.Credential = "" }},
		{"http elsewhere than here", "payload/key/origin", func(k *KeyPayload) { k.Origin = "http://brakes.example.org" }},
		{"a path", "payload/key/origin", func(k *KeyPayload) { k.Origin += "/x" }},
		{"a number", "payload/key/origin", func(k *KeyPayload) { k.Origin = "https://192.0.2.1" }},
		{"what JSON would escape", "payload/key/origin", func(k *KeyPayload) { k.Origin = `https://a"b` }},
		{"another party", "payload/key/rp_id", func(k *KeyPayload) { k.RPID = "example.org" }},
	} {
		t.Run(row.name, func(t *testing.T) {
			k := key
			row.change(&k)
			_, err := NewSubmission(h.random, Head{Type: KeyAdded, At: h.now, Zone: zone, Actor: h.id("sue"), Subject: h.id("sue")}, KeyAddedPayload{Key: k}, h.id("sue"), nil, nil)
			var f *FormatError
			if errors.As(err, &f); (f == nil) != (row.field == "") || f != nil && f.Field != row.field {
				t.Errorf("got %v, want %q", err, row.field)
			}
		})
	}
	// A sealed key belongs to a passphrase, and to it alone.
	if _, err := NewSubmission(h.random, Head{Type: KeyAdded, At: h.now, Zone: zone, Actor: h.id("sue"), Subject: h.id("sue")}, KeyAddedPayload{Key: key}, h.id("sue"), nil,
		map[string][]byte{"sealed_key": []byte("x")}); err == nil {
		t.Error("a passkey with a sealed key")
	}
	if _, err := NewSubmission(h.random, Head{Type: KeyAdded, At: h.now, Zone: zone, Actor: h.id("sue"), Subject: h.id("sue")},
		KeyAddedPayload{Key: MarshalKey(h.id("k"), make([]byte, 32))}, h.id("sue"), nil, nil); err == nil {
		t.Error("a key without its sealed secret")
	}
	// What stands beside a signature is a passkey's, and bounded.
	for _, s := range []Signature{
		{Key: "k", Alg: AlgEd25519, Sig: encode64(make([]byte, 64)), Client: encode64(make([]byte, 64))},
		{Key: "k", Alg: AlgPasskeyES256, Sig: encode64(make([]byte, 73)), Client: encode64(make([]byte, 64)), Authenticator: encode64(make([]byte, 37))},
		{Key: "k", Alg: AlgPasskeyES256, Sig: encode64(make([]byte, 70)), Client: encode64(make([]byte, maxAssertion+1)), Authenticator: encode64(make([]byte, 37))},
		{Key: "k", Alg: AlgPasskeyES256, Sig: encode64(make([]byte, 70)), Authenticator: encode64(make([]byte, 37))},
		{Key: "k", Alg: AlgPasskeyES256, Sig: encode64(make([]byte, 70)), Client: encode64(make([]byte, 64)), Authenticator: encode64(make([]byte, 37)), Among: []string{Hash(nil)}},
		{Key: "k", Alg: AlgPasskeyES256, Sig: encode64(make([]byte, 70)), Client: encode64(make([]byte, 64)), Authenticator: encode64(make([]byte, 37)), Among: []string{Hash(nil), Hash(nil)}},
	} {
		var f faults
		if s.check(&f, ""); f.what == "" {
			t.Errorf("%+v is accepted", s)
		}
	}
}

// The challenge of several entries does not depend on their order, and is none of theirs.
func TestAmongChallenge(t *testing.T) {
	a, b := []byte("a"), []byte("b")
	one, among := Challenge(a, b)
	two, again := Challenge(b, a)
	alone, none := Challenge(a)
	sum := sha256.Sum256(a)
	if !slices.Equal(one, two) || !slices.Equal(among, again) || !slices.Equal(alone, sum[:]) || none != nil || slices.Equal(one, alone) {
		t.Errorf("got %x %x %x %v", one, two, alone, none)
	}
}
