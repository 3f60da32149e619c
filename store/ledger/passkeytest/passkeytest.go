// Package passkeytest is a passkey in software, for tests: it makes a key, and signs challenges as a person's device does.
package passkeytest

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"net/url"
)

// What the flags of the authenticator's data say.
const (
	Present  = 0x01
	Verified = 0x04
	attested = 0x40
)

// Device holds one passkey of one site. Fields may be changed to make it lie.
type Device struct {
	Credential []byte
	RPID       string
	Origin     string
	Flags      byte   // Present | Verified
	Cross      string // "false": whether another site is around the page, as the browser says
	Count      uint32 // signatures made

	es256 *ecdsa.PrivateKey
	ed    ed25519.PrivateKey
}

// New makes a passkey at an origin: ECDSA on P-256, or Ed25519. It panics where there is no randomness.
func New(origin string, ed bool) *Device {
	u, err := url.Parse(origin)
	if err != nil {
		panic(err)
	}
	d := &Device{Credential: make([]byte, 20), RPID: u.Hostname(), Origin: origin, Flags: Present | Verified, Cross: "false"}
	rand.Read(d.Credential) //nolint:errcheck // never fails
	if ed {
		_, d.ed, err = ed25519.GenerateKey(rand.Reader)
	} else {
		d.es256, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	}
	if err != nil {
		panic(err)
	}
	return d
}

// Public is the public key as a ledger entry has it: 65 or 32 bytes.
func (d *Device) Public() []byte {
	if d.ed != nil {
		return d.ed.Public().(ed25519.PublicKey)
	}
	b, err := d.es256.PublicKey.Bytes()
	if err != nil {
		panic(err)
	}
	return b
}

func (d *Device) client(typ string, challenge []byte) []byte {
	return []byte(`{"type":"` + typ + `","challenge":"` + base64.RawURLEncoding.EncodeToString(challenge) + `","origin":"` + d.Origin + `","crossOrigin":` + d.Cross + `}`)
}

func (d *Device) data(flags byte) []byte {
	party := sha256.Sum256([]byte(d.RPID))
	return binary.BigEndian.AppendUint32(append(party[:], flags), d.Count)
}

// Assert signs a challenge.
func (d *Device) Assert(challenge []byte) (authenticator, client, signature []byte) {
	d.Count++
	authenticator, client = d.data(d.Flags), d.client("webauthn.get", challenge)
	sum := sha256.Sum256(client)
	signed := append(append([]byte{}, authenticator...), sum[:]...)
	if d.ed != nil {
		return authenticator, client, ed25519.Sign(d.ed, signed)
	}
	digest := sha256.Sum256(signed)
	signature, err := ecdsa.SignASN1(rand.Reader, d.es256, digest[:])
	if err != nil {
		panic(err)
	}
	return authenticator, client, signature
}

// Attest answers a request to make a passkey: the attestation object (CBOR, format none) and the client data.
func (d *Device) Attest(challenge []byte) (object, client []byte) {
	data := d.data(d.Flags | attested)
	data = append(data, make([]byte, 16)...) // AAGUID
	data = binary.BigEndian.AppendUint16(data, uint16(len(d.Credential)))
	data = append(append(data, d.Credential...), d.cose()...)
	object = append([]byte{0xa3}, text("fmt")...)
	object = append(object, text("none")...)
	object = append(append(object, text("attStmt")...), 0xa0)
	object = append(append(object, text("authData")...), bytesOf(data)...)
	return object, d.client("webauthn.create", challenge)
}

// cose is the public key as a COSE_Key (RFC 9053).
func (d *Device) cose() []byte {
	if d.ed != nil { // kty OKP, alg EdDSA, crv Ed25519
		return append([]byte{0xa4, 0x01, 0x01, 0x03, 0x27, 0x20, 0x06, 0x21}, bytesOf(d.Public())...)
	}
	p := d.Public() // kty EC2, alg ES256, crv P-256
	key := append([]byte{0xa5, 0x01, 0x02, 0x03, 0x26, 0x20, 0x01, 0x21}, bytesOf(p[1:33])...)
	return append(append(key, 0x22), bytesOf(p[33:])...)
}

// text and bytesOf are CBOR strings (RFC 8949) of up to 65,535 bytes.
func text(s string) []byte { return append([]byte{0x60 | byte(len(s))}, s...) }

func bytesOf(b []byte) []byte {
	if len(b) < 256 {
		return append([]byte{0x58, byte(len(b))}, b...)
	}
	return append(binary.BigEndian.AppendUint16([]byte{0x59}, uint16(len(b))), b...)
}

// Answer is an assertion as a browser gives it on: a PublicKeyCredential as JSON.
func (d *Device) Answer(challenge []byte) []byte {
	authenticator, client, signature := d.Assert(challenge)
	return d.credential(map[string][]byte{"authenticatorData": authenticator, "clientDataJSON": client, "signature": signature})
}

// Made is the answer to a request to make the passkey.
func (d *Device) Made(challenge []byte) []byte {
	object, client := d.Attest(challenge)
	return d.credential(map[string][]byte{"attestationObject": object, "clientDataJSON": client})
}

func (d *Device) credential(response map[string][]byte) []byte {
	coded := map[string]string{}
	for name, b := range response {
		coded[name] = base64.RawURLEncoding.EncodeToString(b)
	}
	id := base64.RawURLEncoding.EncodeToString(d.Credential)
	b, err := json.Marshal(map[string]any{"id": id, "rawId": id, "type": "public-key", "response": coded, "clientExtensionResults": map[string]any{}})
	if err != nil {
		panic(err)
	}
	return b
}
