package store_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/ledger/passkeytest"
	"brakewright/store/storetest"
)

// What passkeys signed is kept, verified, made anew and carried away in a bundle, which a checker in another language
// verifies by the entries alone.
func TestPasskeys(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	pat := w.Apprentices[0]
	for i, ed := range []bool{false, true} {
		sam := w.Supervisors[i]
		d, key := w.Passkey(sam, ed)
		one := w.SignOff(sam, pat, w.Tasks[0], nil)
		w.Touch(d, key, one)
		w.Append(one)
		three := []*ledger.Submission{w.SignOff(sam, pat, w.Tasks[0], nil), w.SignOff(sam, pat, w.Tasks[0], nil), w.SignOff(sam, pat, w.Tasks[0], nil)}
		w.Touch(d, key, three...)
		if _, err := w.Store.AppendAll(ctx, three...); err != nil {
			t.Fatal(err)
		}
		p, err := w.Store.Person(ctx, sam.ID)
		if err != nil || len(p.Passkeys) != 1 || p.Key == nil || p.Key.Alg != ledger.AlgEd25519 || p.Passkeys[0].Origin != d.Origin || p.Passkeys[0].Credential != key.Credential {
			t.Errorf("%+v, %v", p, err)
		}
	}
	mustVerify(t, w.Options)
	b, file := bundleOf(t, w, pat.ID)
	if r := ledger.CheckBundle(b); r.Problem != nil {
		t.Fatal(r.Problem)
	}
	if ok, said := checker(t, file, b.HeadKey); !ok {
		t.Fatal(said)
	}
}

// The checker in another language says of a signature what the program says, for every way in which one can be wrong.
func TestPasskeyCheckers(t *testing.T) {
	type question struct {
		Key       map[string]string `json:"key"`
		Message   string            `json:"message"`
		Signature ledger.Signature  `json:"signature"`
	}
	var ask []question
	var want []bool
	message := []byte("brakewright-entry-v1\n{}")
	for _, ed := range []bool{false, true} {
		for name, change := range map[string]func(*passkeytest.Device, *ledger.Signature){
			"good":           nil,
			"not verified":   func(d *passkeytest.Device, _ *ledger.Signature) { d.Flags = passkeytest.Present },
			"not present":    func(d *passkeytest.Device, _ *ledger.Signature) { d.Flags = passkeytest.Verified },
			"another origin": func(d *passkeytest.Device, _ *ledger.Signature) { d.Origin += ".other.example" },
			"another party":  func(d *passkeytest.Device, _ *ledger.Signature) { d.RPID = "example.org" },
			"framed":         func(d *passkeytest.Device, _ *ledger.Signature) { d.Cross = "true" },
			"a list without it": func(_ *passkeytest.Device, s *ledger.Signature) {
				s.Among = []string{ledger.Hash([]byte("a")), ledger.Hash([]byte("b"))}
			},
			"a list not touched": func(_ *passkeytest.Device, s *ledger.Signature) { _, s.Among = ledger.Challenge(message, []byte("b")) },
			"another's signature": func(_ *passkeytest.Device, s *ledger.Signature) {
				s.Sig = base64.StdEncoding.EncodeToString(make([]byte, 64))
			},
		} {
			d, alg := passkeytest.New("https://brakes.example.org", ed), ledger.AlgPasskeyES256
			if ed {
				alg = ledger.AlgPasskeyEd25519
			}
			key := ledger.KeyFact{ID: "k", Alg: alg, Public: d.Public(), RPID: d.RPID, Origin: d.Origin}
			sub := &ledger.Submission{}
			if change != nil {
				change(d, &ledger.Signature{})
			}
			challenge, _ := ledger.Challenge(message)
			authenticator, client, sig := d.Assert(challenge)
			sub.SignPasskey("k", alg, authenticator, client, sig, nil)
			s := sub.Signatures[0]
			if change != nil {
				change(d, &s)
			}
			c, err := key.Check(s, message)
			if err != nil {
				t.Fatal(err)
			}
			if c.OK() != (change == nil) {
				t.Errorf("%s: %v", name, c.OK())
			}
			want = append(want, c.OK())
			ask = append(ask, question{map[string]string{"alg": alg, "public": base64.StdEncoding.EncodeToString(key.Public), "origin": key.Origin, "rp_id": key.RPID}, string(message), s})
		}
	}
	in, err := json.Marshal(ask)
	if err != nil {
		t.Fatal(err)
	}
	python, err := exec.Command(filepath.Join("..", ".ci", "install"), "python3-cryptography").Output()
	if err != nil {
		t.Fatal(err)
	}
	run := exec.Command(strings.TrimSpace(string(python)), "-c", `
import json, sys
sys.dont_write_bytecode = True
sys.path.insert(0, sys.argv[1])
import check
print(json.dumps([check.assertion(check.Keys.read(q["key"]), q["message"].encode(), q["signature"]) for q in json.load(sys.stdin)]))`,
		filepath.Join("..", "testdata", "checker"))
	run.Stdin = bytes.NewReader(in)
	out, err := run.CombinedOutput()
	var got []bool
	if err != nil || json.Unmarshal(out, &got) != nil || !slices.Equal(got, want) {
		t.Errorf("%v: %s, want %v", err, out, want)
	}
}

// With the database and the source, but nobody's device, a passkey's signature cannot be made either.
func TestPasskeyForgery(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	sam, pat := w.Supervisors[0], w.Apprentices[0]
	d, key := w.Passkey(sam, false)
	mine, _ := w.Passkey(w.Supervisors[1], false) // the forger's own device, whose key is another's
	real := w.SignOff(sam, pat, w.Tasks[0], nil)
	w.Touch(d, key, real)
	w.Append(real)
	sign := func(do func(*ledger.Submission)) *ledger.Submission {
		s := w.SignOff(sam, pat, w.Tasks[0], nil)
		do(s)
		return s
	}
	for name, s := range map[string]*ledger.Submission{
		"by the forger's device under a real key's id": sign(func(s *ledger.Submission) { w.Touch(mine, key, s) }),
		"with a touch from elsewhere":                  sign(func(s *ledger.Submission) { s.Signatures = real.Signatures }),
		"with a touch from elsewhere and a list": sign(func(s *ledger.Submission) {
			one, _ := s.Body.SignedBytes()
			two, _ := real.Body.SignedBytes()
			s.Signatures = append([]ledger.Signature(nil), real.Signatures...)
			_, s.Signatures[0].Among = ledger.Challenge(one, two)
		}),
	} {
		t.Run(name, func(t *testing.T) {
			var rule *ledger.RuleError
			if _, err := w.Store.Append(ctx, s); !errors.As(err, &rule) || rule.Code != ledger.BadSignature {
				t.Errorf("got %v", err)
			}
		})
	}
	// A key of the forger's own, said to be a supervisor's, takes a coordinator.
	other, err := ledger.MarshalPasskey(w.ID(), ledger.AlgPasskeyES256, mine.Origin, mine.Public(), mine.Credential)
	if err != nil {
		t.Fatal(err)
	}
	added := w.Make(sam.ID, ledger.KeyAdded, sam.ID, ledger.KeyAddedPayload{Key: other}, nil, nil)
	w.Touch(mine, other, added)
	var rule *ledger.RuleError
	if _, err := w.Store.Append(ctx, added); !errors.As(err, &rule) || rule.Code != ledger.NeedsCoordinator {
		t.Errorf("a new passkey without a coordinator: %v", err)
	}
	mustVerify(t, w.Options)
}

// What waits for a touch is sealed, somebody's own, and let go after a while.
func TestSignings(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	sam, sue, pat := w.Supervisors[0], w.Supervisors[1], w.Apprentices[0]
	s := w.Make(sam.ID, ledger.CaseOpened, pat.ID, ledger.CaseOpenedPayload{Task: w.Tasks[0], Jobs: []string{}, People: []string{sam.ID}}, map[string]string{"what_happened": "Pulls to the left, plate 7ABC123"}, nil)
	x := store.Signing{ID: w.ID(), Person: sam.ID, Submissions: []*ledger.Submission{s}, Challenge: []byte("challenge")}
	if err := w.Store.SaveSigning(ctx, x); err != nil {
		t.Fatal(err)
	}
	got, err := w.Store.Signing(ctx, sam.ID, x.ID)
	if err != nil || string(got.Submissions[0].Personal["what_happened"].Value) != "Pulls to the left, plate 7ABC123" {
		t.Errorf("%+v, %v", got, err)
	}
	before, _ := s.Body.SignedBytes()
	if after, err := got.Submissions[0].Body.SignedBytes(); err != nil || !bytes.Equal(before, after) {
		t.Errorf("what is signed has changed: %s, %v", after, err)
	}
	if _, err := w.Store.Signing(ctx, sue.ID, x.ID); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("somebody else's: %v", err)
	}
	var sealed string
	if err := w.Store.Readers().QueryRow(`SELECT sealed FROM signings`).Scan(&sealed); err != nil || strings.Contains(sealed, "7ABC") {
		t.Errorf("in the clear, %v", err)
	}
	w.Clock.Add(store.SigningLasts + time.Second)
	if err := w.Store.SaveSigning(ctx, store.Signing{ID: w.ID(), Person: sue.ID, Challenge: []byte("c")}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Store.Signing(ctx, sam.ID, x.ID); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("after a while: %v", err)
	}
}
