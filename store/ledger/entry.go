// Package ledger is the format of the append-only record and its rules: pure, no database.
//
// An entry is the RFC 8785 JSON of {body, recorded_at, signatures}; these bytes are the Merkle leaf and are kept as
// they are. Hashed JSON holds strings, booleans and integers below 2^53 only. A signature is over
// "brakewright-entry-v1\n" followed by the RFC 8785 JSON of body. recorded_at is outside what is signed, set at
// commit, and never decreases.
//
// Personal fields never stand in an entry: payload.personal maps field names to the hex SHA-256 of a 32-byte random
// salt followed by the field's bytes. Large things (forms, answers, editions, verdicts, parameters, password hashes,
// sealed keys) are named in payload.content by their hex SHA-256.
package ledger

import "encoding/json"

// Version is the version of the body's format.
const Version = 1

// SignaturePrefix precedes the canonical body in what is signed.
const SignaturePrefix = "brakewright-entry-v1\n"

// Body is what is hashed and signed.
type Body struct {
	V          int             `json:"v"`
	ID         string          `json:"id"` // UUIDv7
	Type       Type            `json:"type"`
	HappenedAt int64           `json:"happened_at"`       // UTC, milliseconds since 1970
	Zone       string          `json:"zone"`              // IANA name: the zone the date of the event is read in
	Actor      string          `json:"actor"`             // person
	Subject    string          `json:"subject,omitempty"` // person
	Site       string          `json:"site,omitempty"`
	Corrects   string          `json:"corrects,omitempty"` // entry
	Payload    json.RawMessage `json:"payload"`
}

// Signature is one signature over a body.
type Signature struct {
	Key string `json:"key"` // id of the key
	Alg string `json:"alg"` // the key's
	Sig string `json:"sig"` // base64, standard, padded

	// Of a passkey's assertion (passkey.go), base64; Among is absent where one entry was signed.
	Authenticator string   `json:"authenticator,omitempty"` // authenticatorData
	Client        string   `json:"client,omitempty"`        // clientDataJSON
	Among         []string `json:"among,omitempty"`         // hex SHA-256 of the signed bytes of all entries signed together, sorted
}

// Entry is one leaf of the ledger.
type Entry struct {
	Body       Body        `json:"body"`
	RecordedAt int64       `json:"recorded_at"` // UTC, milliseconds
	Signatures []Signature `json:"signatures"`  // [] where none
}

// Leaf returns the entry's canonical bytes.
func (e Entry) Leaf() ([]byte, error) { return leafOf(e) }

// ParseLeaf reads canonical bytes strictly: unknown or duplicate keys, floats, other versions, unknown types, payloads
// that do not fit their type, and bytes that do not re-encode to themselves are refused.
func ParseLeaf(b []byte) (Entry, error) { return parseLeaf(b) }

// SignedBytes is what a signature is made over.
func (b Body) SignedBytes() ([]byte, error) { return signedBytes(b) }
