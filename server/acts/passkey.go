package acts

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/protocol/webauthncose"

	"brakewright/store"
	"brakewright/store/ledger"
)

// Signing with a passkey takes two requests: the act is asked for, with everything but a passphrase, and comes as far as
// its signature, so that what is to be signed is whole; it is kept ([store.Signing]), and its hash goes to the person's
// device ([Awaiting]). Then the same act is asked for again with the device's answer. All its checks run anew, and if it
// would still make the same entries, those that were signed go in. An act knows nothing of this: [Service.unlock] gives
// it a signer whose signature comes later, and submit sees to the rest. A second person signs with a passphrase.

// PasskeyUse says that the person who acts signs with a passkey.
type PasskeyUse struct {
	Origin  string // of the page, as https://host
	Signing string // what was asked for, "" the first time
	Answer  []byte // the device's: a PublicKeyCredential with an assertion, as JSON
}

type passkeyUseKey struct{}

// WithPasskey says so for all acts under a context.
func WithPasskey(ctx context.Context, u PasskeyUse) context.Context {
	return context.WithValue(ctx, passkeyUseKey{}, &u)
}

func passkeyUse(ctx context.Context) *PasskeyUse {
	u, _ := ctx.Value(passkeyUseKey{}).(*PasskeyUse)
	return u
}

// Awaiting is not a failure but a question: what a person's device is to sign, so that the act can go on.
type Awaiting struct {
	Signing     string
	Challenge   []byte
	RPID        string
	Credentials []string // of the keys that may answer, base64 (standard)
}

func (a *Awaiting) Error() string { return "a passkey is to sign" }

// PasskeysAt are somebody's passkeys in force that were made at an origin.
func PasskeysAt(p *store.Person, origin string) []*store.Key {
	var all []*store.Key
	for _, k := range p.Passkeys {
		if k.Origin == origin {
			all = append(all, k)
		}
	}
	return all
}

// withPasskey is the signer of whoever uses a passkey.
func (s *Service) withPasskey(p *store.Person, u *PasskeyUse, field string) (*ledger.Signer, error) {
	if len(PasskeysAt(p, u.Origin)) == 0 {
		return nil, wrong(field, "no_passkey_here")
	}
	return ledger.Later(p.ID), nil
}

// byPasskey asks a device to sign, or takes its answer and appends.
func (s *Service) byPasskey(ctx context.Context, person string, subs []*ledger.Submission) ([]store.Receipt, error) {
	u := passkeyUse(ctx)
	p, err := s.person(ctx, person)
	if err != nil {
		return nil, err
	}
	keys := PasskeysAt(p, u.Origin)
	if u.Signing == "" {
		return nil, s.ask(ctx, p, keys, subs)
	}
	x, err := s.signing(ctx, p, u.Signing)
	if err != nil {
		return nil, err
	}
	if !sameWork(x.Submissions, subs) {
		return nil, conflict("passkey_other_act")
	}
	key, sign, err := readAnswer(keys, u.Answer, x.Among)
	if err != nil {
		return nil, err
	}
	for i, sub := range x.Submissions {
		if subs[i].Awaits() == "" {
			continue
		}
		sign(sub)
		if err := checkAnswer(key, u.Origin, sub); err != nil {
			return nil, err
		}
	}
	receipts, err := s.Store.AppendAll(ctx, x.Submissions...)
	if err != nil {
		return nil, translate(err)
	}
	return receipts, s.Store.DropSigning(ctx, x.ID)
}

// signing is what was asked of somebody, if it still waits.
func (s *Service) signing(ctx context.Context, p *store.Person, id string) (*store.Signing, error) {
	x, err := s.Store.Signing(ctx, p.ID, id)
	if isNotFound(err) || err == nil && s.clock().After(x.At.Add(store.SigningLasts)) {
		return nil, conflict("passkey_expired")
	}
	return x, err
}

// ask keeps what is to be signed and returns the question.
func (s *Service) ask(ctx context.Context, p *store.Person, keys []*store.Key, subs []*ledger.Submission) error {
	var signed [][]byte
	for _, sub := range subs {
		if sub.Awaits() != "" {
			b, err := sub.Body.SignedBytes()
			if err != nil {
				return err
			}
			signed = append(signed, b)
		}
	}
	id, err := s.newID()
	if err != nil {
		return err
	}
	x := store.Signing{ID: id, Person: p.ID, Submissions: subs, At: s.clock()}
	x.Challenge, x.Among = ledger.Challenge(signed...)
	if err := s.Store.SaveSigning(ctx, x); err != nil {
		return err
	}
	a := &Awaiting{Signing: id, Challenge: x.Challenge}
	for _, k := range keys {
		a.Credentials = append(a.Credentials, k.Credential)
		if a.RPID, err = ledger.PasskeySite(k.Origin); err != nil {
			return err
		}
	}
	return a
}

// readAnswer reads a device's answer: the key that signed, and how its signature is put under an entry.
func readAnswer(keys []*store.Key, answer []byte, among []string) (*store.Key, func(*ledger.Submission), error) {
	got, err := protocol.ParseCredentialRequestResponseBytes(answer)
	if err != nil {
		return nil, nil, wrong("passphrase", "passkey_unreadable")
	}
	credential := base64.StdEncoding.EncodeToString(got.RawID)
	i := slices.IndexFunc(keys, func(k *store.Key) bool { return k.Credential == credential })
	if i < 0 {
		return nil, nil, wrong("passphrase", "no_passkey_here")
	}
	raw := got.Raw.AssertionResponse
	return keys[i], func(s *ledger.Submission) {
		s.SignPasskey(keys[i].ID, keys[i].Alg, raw.AuthenticatorData, raw.ClientDataJSON, raw.Signature, among)
	}, nil
}

// checkAnswer verifies the last signature of an entry, as the ledger will: here to say what is wrong in words.
func checkAnswer(k *store.Key, origin string, sub *ledger.Submission) error {
	rpID, err := ledger.PasskeySite(origin)
	if err != nil {
		return err
	}
	signed, err := sub.Body.SignedBytes()
	if err != nil {
		return err
	}
	fact := ledger.KeyFact{ID: k.ID, Alg: k.Alg, Public: k.Public, RPID: rpID, Origin: origin}
	c, err := fact.Check(sub.Signatures[len(sub.Signatures)-1], signed)
	if err != nil || !c.OK() {
		return wrong("passphrase", "passkey_failed")
	}
	return nil
}

// sameWork says whether entries made anew say the same as those that were signed. Ids that were minted for them, the time
// and the salts differ; everything else must not.
func sameWork(signed, now []*ledger.Submission) bool {
	if len(signed) != len(now) {
		return false
	}
	var ids []string
	for i := range now {
		ids = append(ids, now[i].Body.ID, signed[i].Body.ID)
	}
	mapped := strings.NewReplacer(ids...)
	for i, a := range signed {
		b := now[i]
		x, y := a.Body, b.Body
		if x.Type != y.Type || x.Actor != y.Actor || x.Subject != y.Subject || x.Site != y.Site || x.Corrects != mapped.Replace(y.Corrects) {
			return false
		}
		if len(a.Personal) != len(b.Personal) {
			return false
		}
		for field, v := range a.Personal {
			if w, ok := b.Personal[field]; !ok || !bytes.Equal(v.Value, w.Value) {
				return false
			}
		}
		if left, right := substance(x), substance(y); left == "" || left != mapped.Replace(right) {
			return false
		}
	}
	return true
}

// substance is what a payload says, without the salted hashes and the moment at which a key ends.
func substance(b ledger.Body) string {
	var p map[string]any
	if json.Unmarshal(b.Payload, &p) != nil {
		return ""
	}
	delete(p, "personal")
	if b.Type == ledger.KeyEnded {
		delete(p, "from")
	}
	text, err := json.Marshal(p)
	if err != nil {
		return ""
	}
	return string(text)
}

// ---- making a passkey ----

// NewPasskey is what a browser is asked to make.
type NewPasskey struct {
	Signing     string
	Challenge   []byte
	RPID, Title string   // of the site
	Known       []string // credentials that the person has here already, base64 (standard)
}

// BeginPasskey begins the making of a passkey at an origin.
func (s *Service) BeginPasskey(ctx context.Context, actor *store.Person, origin string) (*NewPasskey, error) {
	rpID, err := s.mayMakePasskey(ctx, actor, origin)
	if err != nil {
		return nil, err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return nil, err
	}
	n := &NewPasskey{RPID: rpID, Title: info.Title, Challenge: make([]byte, 32)}
	rand.Read(n.Challenge) //nolint:errcheck // never fails (crypto/rand)
	for _, k := range PasskeysAt(actor, origin) {
		n.Known = append(n.Known, k.Credential)
	}
	if n.Signing, err = s.newID(); err != nil {
		return nil, err
	}
	return n, s.Store.SaveSigning(ctx, store.Signing{ID: n.Signing, Person: actor.ID, Challenge: n.Challenge, At: s.clock()})
}

func (s *Service) mayMakePasskey(ctx context.Context, actor *store.Person, origin string) (string, error) {
	if err := s.May(ctx, actor, ManageOwnKey, Target{Person: actor}); err != nil {
		return "", err
	}
	rpID, err := ledger.PasskeySite(origin)
	if err != nil {
		return "", conflict("passkey_needs_https")
	}
	return rpID, nil
}

// MadePasskey takes what the browser made and returns what the new key itself must sign: the entry that brings it into
// force.
func (s *Service) MadePasskey(ctx context.Context, actor *store.Person, origin, signing string, answer []byte) (*Awaiting, error) {
	rpID, err := s.mayMakePasskey(ctx, actor, origin)
	if err != nil {
		return nil, err
	}
	x, err := s.signing(ctx, actor, signing)
	if err != nil {
		return nil, err
	}
	got, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return nil, wrong("passphrase", "passkey_unreadable")
	}
	_, err = got.Verify(base64.RawURLEncoding.EncodeToString(x.Challenge), rpID, []string{origin}, nil, nil, protocol.TopOriginExplicitVerificationMode,
		false, true, true, nil, passkeyKinds, protocol.AttestationPolicy{}, protocol.SignaturePolicy{})
	if err != nil {
		return nil, wrong("passphrase", "passkey_failed")
	}
	data := got.Response.AttestationObject.AuthData.AttData
	alg, public, ok := coseKey(data.CredentialPublicKey)
	if !ok {
		return nil, wrong("passphrase", "passkey_kind")
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	id, err := s.newID()
	if err != nil {
		return nil, err
	}
	key, err := ledger.MarshalPasskey(id, alg, origin, public, data.CredentialID)
	if err != nil {
		return nil, err
	}
	sub, err := s.entry(s.head("", ledger.KeyAdded, actor.ID, actor.ID, at), ledger.KeyAddedPayload{Key: key}, nil, nil)
	if err != nil {
		return nil, err
	}
	if err := sub.Sign(ledger.Later(actor.ID)); err != nil {
		return nil, err
	}
	if err := s.Store.DropSigning(ctx, x.ID); err != nil {
		return nil, err
	}
	err = s.ask(ctx, actor, []*store.Key{{ID: id, Origin: origin, Credential: key.Credential}}, []*ledger.Submission{sub})
	if a, ok := err.(*Awaiting); ok {
		return a, nil
	}
	return nil, err
}

// RequestPasskey takes the new key's own signature; then it waits for a coordinator's, as any new key does.
func (s *Service) RequestPasskey(ctx context.Context, actor *store.Person, origin, signing string, answer []byte) error {
	if _, err := s.mayMakePasskey(ctx, actor, origin); err != nil {
		return err
	}
	x, err := s.signing(ctx, actor, signing)
	if err != nil {
		return err
	}
	if len(x.Submissions) != 1 || x.Submissions[0].Body.Type != ledger.KeyAdded {
		return conflict("passkey_other_act")
	}
	sub := x.Submissions[0]
	p, err := ledger.PayloadOf[ledger.KeyAddedPayload](sub.Body)
	if err != nil {
		return err
	}
	public, err := base64.StdEncoding.DecodeString(p.Key.Public)
	if err != nil {
		return err
	}
	k := &store.Key{ID: p.Key.Key, Alg: p.Key.Alg, Public: public, Origin: p.Key.Origin, Credential: p.Key.Credential}
	_, sign, err := readAnswer([]*store.Key{k}, answer, nil)
	if err != nil {
		return err
	}
	sign(sub)
	if err := checkAnswer(k, origin, sub); err != nil {
		return err
	}
	if err := s.Store.SaveKeyRequest(ctx, store.KeyRequest{Person: actor.ID, Submission: sub, At: s.clock()}); err != nil {
		return err
	}
	return s.Store.DropSigning(ctx, x.ID)
}

// passkeyKinds are the kinds that are asked for, best first.
var passkeyKinds = []protocol.CredentialParameter{
	{Type: protocol.PublicKeyCredentialType, Algorithm: webauthncose.AlgEdDSA},
	{Type: protocol.PublicKeyCredentialType, Algorithm: webauthncose.AlgES256},
}

// coseKey reads a public key (COSE_Key) of one of the kinds.
func coseKey(cose []byte) (alg string, public []byte, ok bool) {
	parsed, err := webauthncose.ParsePublicKey(cose)
	if err != nil {
		return "", nil, false
	}
	switch k := parsed.(type) {
	case webauthncose.EC2PublicKeyData:
		if k.Algorithm == int64(webauthncose.AlgES256) && k.Curve == int64(webauthncose.P256) && len(k.XCoord) == 32 && len(k.YCoord) == 32 {
			return ledger.AlgPasskeyES256, slices.Concat([]byte{4}, k.XCoord, k.YCoord), true
		}
	case webauthncose.OKPPublicKeyData:
		if k.Algorithm == int64(webauthncose.AlgEdDSA) && k.Curve == int64(webauthncose.Ed25519) && len(k.XCoord) == 32 {
			return ledger.AlgPasskeyEd25519, k.XCoord, true
		}
	}
	return "", nil, false
}

// PasskeyTimeout is how long a browser waits for the device.
const PasskeyTimeout = 2 * time.Minute
