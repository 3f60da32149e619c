package ledger

import (
	"crypto/ed25519"
	"io"
)

// Submission is a body on its way into the ledger with everything that goes beside it. Build it with [NewSubmission],
// add personal fields and content, then sign; after signing nothing may change.
type Submission struct {
	Body       Body
	Signatures []Signature
	Personal   map[string]PersonalField
	Content    map[string][]byte
	Files      map[string][]byte // further content named by the content itself (programme files), by hex SHA-256

	awaits string // whose signature by a passkey is still to come
}

// PersonalField is a personal value with its salt; Person owns it (whose erasure destroys it).
type PersonalField struct {
	Person string
	Salt   [32]byte
	Value  []byte
}

// Head is what every body starts from. ID "" mints a UUIDv7 from At and random.
type Head struct {
	ID       string
	Type     Type
	At       int64 // UTC, milliseconds
	Zone     string
	Actor    string
	Subject  string
	Site     string
	Corrects string
}

// NewSubmission builds a body. payload is one of the payload structs for head.Type (its Refs are filled in from
// personal and content). personal maps field names to values; owner is the person whose they are.
func NewSubmission(random io.Reader, head Head, payload any, owner string, personal map[string]string, content map[string][]byte) (*Submission, error) {
	return newSubmission(random, head, payload, owner, personal, content)
}

// Signer is an unlocked personal key, or the promise of a passkey's signature ([Later]).
type Signer struct {
	Key     string // id, "" of a promise
	Person  string
	private ed25519.PrivateKey
}

// Sign adds the signer's signature, or notes that it is to come.
func (s *Submission) Sign(k *Signer) error { return s.sign(k) }

// NewKey makes a key pair and seals it under a passphrase (argon2id 65,536 KiB, t=3, p=1; XChaCha20-Poly1305).
// sealed is self-describing JSON with its parameters.
func NewKey(random io.Reader, id, person, passphrase string) (signer *Signer, public ed25519.PublicKey, sealed []byte, err error) {
	return newKey(random, id, person, passphrase)
}

// Unseal opens a sealed key. A wrong passphrase is [ErrPassphrase].
func Unseal(sealed []byte, person, passphrase string) (*Signer, error) {
	return unseal(sealed, person, passphrase)
}
