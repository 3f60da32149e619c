package ledger

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/url"
	"slices"
	"strings"
)

// A passkey signs with a WebAuthn assertion (W3C Web Authentication, Level 2): the authenticator signs its own data
// followed by the SHA-256 of the client data, and the client data holds a challenge, which here is the SHA-256 of what is
// signed. Both stand in the signature, so that anyone can verify it without this program. What an assertion must show:
//
//   - the client data begin exactly as the standard writes them (5.8.1.1: type, challenge, origin, crossOrigin), with the
//     challenge, the origin that the key was made at, and no other site around the page: its limited verification
//     (5.8.1.2), for which no JSON needs to be read;
//   - the authenticator's data begin with the SHA-256 of the key's relying party and say that the person was present and
//     verified (by fingerprint, face or PIN);
//   - the signature is good by the key.
//
// The signature counter is not looked at: keys that a person's devices share do not count.
//
// Several entries signed with one touch have one challenge, [AmongChallenge], and each carries the list of all.

// The algorithms of keys, and of the signatures made by them.
const (
	AlgEd25519        = "ed25519"          // Ed25519 (RFC 8032), pure, over the signed bytes; public key 32 bytes
	AlgPasskeyES256   = "webauthn-es256"   // an assertion; ECDSA on P-256 with SHA-256, DER; public key 65 bytes, uncompressed
	AlgPasskeyEd25519 = "webauthn-ed25519" // an assertion; Ed25519; public key 32 bytes
)

// IsPasskey says whether a key of this algorithm is a passkey.
func IsPasskey(alg string) bool { return alg == AlgPasskeyES256 || alg == AlgPasskeyEd25519 }

// maxAssertion bounds the authenticator's data and the client data of a signature, in bytes. Real ones have less than 300.
const maxAssertion = 2048

// maxAmong is how many entries one touch may sign.
const maxAmong = 200

// KeySize is how many bytes a public key of an algorithm has, 0 if the algorithm is not known.
func KeySize(alg string) int {
	switch alg {
	case AlgEd25519, AlgPasskeyEd25519:
		return ed25519.PublicKeySize
	case AlgPasskeyES256:
		return 65
	}
	return 0
}

// Challenge is what a passkey is asked to sign for the signed bytes of several bodies, with the list that each signature
// must carry: nil where there is one body only.
func Challenge(signed ...[]byte) (challenge []byte, among []string) {
	if len(signed) == 1 {
		sum := sha256.Sum256(signed[0])
		return sum[:], nil
	}
	for _, b := range signed {
		among = append(among, Hash(b))
	}
	slices.Sort(among)
	return AmongChallenge(among), among
}

// AmongChallenge is the challenge of several bodies: the SHA-256 of "brakewright-entries-v1\n" and a line for each body
// with the hex SHA-256 of its signed bytes, sorted.
func AmongChallenge(among []string) []byte {
	sum := sha256.Sum256([]byte("brakewright-entries-v1\n" + strings.Join(among, "\n") + "\n"))
	return sum[:]
}

// Check is a signature by the key over signed bytes, to be verified. It errors where the signature's parts are not base64
// or its algorithm is not the key's.
func (k *KeyFact) Check(s Signature, signed []byte) (SignatureCheck, error) {
	c := SignatureCheck{Key: k.ID, Alg: k.Alg, Public: k.Public, RPID: k.RPID, Origin: k.Origin, Message: signed, Among: s.Among}
	if s.Alg != k.Alg {
		return c, fmt.Errorf("the signature is %s, the key %s", s.Alg, k.Alg)
	}
	for _, part := range []struct {
		to   *[]byte
		text string
	}{{&c.Bytes, s.Sig}, {&c.Authenticator, s.Authenticator}, {&c.Client, s.Client}} {
		raw, err := decode64(part.text)
		if err != nil {
			return c, err
		}
		*part.to = raw
	}
	return c, nil
}

// assertion verifies a passkey's signature.
func (c SignatureCheck) assertion() bool {
	challenge, _ := Challenge(c.Message)
	if len(c.Among) > 0 {
		if !slices.Contains(c.Among, Hash(c.Message)) {
			return false
		}
		challenge = AmongChallenge(c.Among)
	}
	begins := `{"type":"webauthn.get","challenge":"` + base64.RawURLEncoding.EncodeToString(challenge) + `","origin":"` + c.Origin + `","crossOrigin":false`
	rest, ok := bytes.CutPrefix(c.Client, []byte(begins))
	if !ok || len(rest) == 0 || rest[0] != '}' && rest[0] != ',' {
		return false
	}
	const presentAndVerified = 0x01 | 0x04
	party := sha256.Sum256([]byte(c.RPID))
	a := c.Authenticator
	if len(a) < 37 || !bytes.Equal(a[:32], party[:]) || a[32]&presentAndVerified != presentAndVerified {
		return false
	}
	client := sha256.Sum256(c.Client)
	signed := append(slices.Clone(a), client[:]...)
	if c.Alg == AlgPasskeyEd25519 {
		return len(c.Public) == ed25519.PublicKeySize && ed25519.Verify(c.Public, signed, c.Bytes)
	}
	key, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), c.Public)
	digest := sha256.Sum256(signed)
	return err == nil && ecdsa.VerifyASN1(key, digest[:], c.Bytes)
}

// PasskeySite is where a passkey made at an origin belongs: its relying party, the origin's host. An error says why no
// passkey can be made there: browsers offer them over https, and on this machine as localhost, at names and not at numbers.
func PasskeySite(origin string) (rpID string, err error) {
	u, err := url.Parse(origin)
	if err != nil || u.Host == "" || origin != u.Scheme+"://"+u.Host || strings.Trim(u.Host, "abcdefghijklmnopqrstuvwxyz0123456789.:-") != "" {
		return "", fmt.Errorf("%q is no origin such as https://brakes.example.org", origin)
	}
	host := u.Hostname()
	switch {
	case u.Scheme != "https" && !(u.Scheme == "http" && host == "localhost"):
		return "", fmt.Errorf("%s is neither https nor http://localhost", origin)
	case host == "" || strings.Trim(host, "0123456789.") == "" || strings.Contains(host, ":"):
		return "", fmt.Errorf("%s is a number, not a name", origin)
	}
	return host, nil
}

// check is the format of a signature.
func (s *Signature) check(f *faults, at string) {
	f.id(at+"key", s.Key)
	raw, err := decode64(s.Sig)
	switch {
	case KeySize(s.Alg) == 0:
		f.add(at+"alg", "%q is none of %s, %s, %s", s.Alg, AlgEd25519, AlgPasskeyES256, AlgPasskeyEd25519)
	case err != nil || s.Alg != AlgPasskeyES256 && len(raw) != ed25519.SignatureSize:
		f.add(at+"sig", "is not 64 bytes as base64")
	case len(raw) > 72:
		f.add(at+"sig", "has more than the 72 bytes of an ECDSA signature")
	}
	if !IsPasskey(s.Alg) {
		if s.Authenticator != "" || s.Client != "" || len(s.Among) > 0 {
			f.add(at+"client", "belongs to a passkey")
		}
		return
	}
	for _, part := range []struct{ field, text string }{{"authenticator", s.Authenticator}, {"client", s.Client}} {
		if raw, err := decode64(part.text); err != nil || len(raw) < 37 || len(raw) > maxAssertion {
			f.add(at+part.field, "is not 37 to %d bytes as base64", maxAssertion)
		}
	}
	if n := len(s.Among); n == 1 || n > maxAmong {
		f.add(at+"among", "names %d entries; one touch signs one, without a list, or up to %d", n, maxAmong)
	}
	for i, h := range s.Among {
		f.hash(fmt.Sprintf("%samong/%d", at, i), h)
		if i > 0 && h <= s.Among[i-1] {
			f.add(fmt.Sprintf("%samong/%d", at, i), "is not in order")
		}
	}
}

// check is the format of a key. Only a passkey has a site.
func (p *KeyPayload) check(f *faults, at string) {
	f.id(at+"key", p.Key)
	size := KeySize(p.Alg)
	raw, err := decode64(p.Public)
	switch {
	case size == 0:
		f.add(at+"alg", "%q is none of %s, %s, %s", p.Alg, AlgEd25519, AlgPasskeyES256, AlgPasskeyEd25519)
	case err != nil || len(raw) != size:
		f.add(at+"public", "is not %d bytes as base64", size)
	case p.Alg == AlgPasskeyES256:
		if _, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), raw); err != nil {
			f.add(at+"public", "is no point of P-256, uncompressed")
		}
	}
	if !IsPasskey(p.Alg) {
		if p.RPID != "" || p.Origin != "" || p.Credential != "" {
			f.add(at+"rp_id", "belongs to a passkey")
		}
		return
	}
	host, err := PasskeySite(p.Origin)
	switch {
	case err != nil:
		f.add(at+"origin", "%s", err.Error())
	case p.RPID != host:
		f.add(at+"rp_id", "%q is not the origin's host", p.RPID)
	}
	if raw, err := decode64(p.Credential); err != nil || len(raw) == 0 || len(raw) > 1023 {
		f.add(at+"credential", "is not 1 to 1023 bytes as base64")
	}
}

// MarshalPasskey is the payload description of a passkey made at an origin; the error is [PasskeySite]'s.
func MarshalPasskey(id, alg, origin string, public, credential []byte) (KeyPayload, error) {
	rpID, err := PasskeySite(origin)
	return KeyPayload{Key: id, Alg: alg, Public: encode64(public), RPID: rpID, Origin: origin, Credential: encode64(credential)}, err
}

// SignPasskey adds a passkey's signature. It does not verify it: whoever records the entry does.
func (s *Submission) SignPasskey(key, alg string, authenticator, client, sig []byte, among []string) {
	s.Signatures = append(s.Signatures, Signature{Key: key, Alg: alg, Sig: encode64(sig), Authenticator: encode64(authenticator), Client: encode64(client), Among: among})
}

// Later is a signer whose signature comes from that person's own device, after everything else is ready.
func Later(person string) *Signer { return &Signer{Person: person} }

// Awaits is whose signature by a passkey is still to come, "" if none is.
func (s *Submission) Awaits() string { return s.awaits }
