package ledger

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"math"

	"golang.org/x/crypto/argon2"
	"golang.org/x/crypto/chacha20poly1305"
	"golang.org/x/text/unicode/norm"
)

// ErrPassphrase says that a sealed key does not open with the passphrase given.
var ErrPassphrase = errors.New("the signing passphrase is wrong")

// Cost is what argon2id is made to cost.
type Cost struct {
	MemoryKiB uint32
	Time      uint32
	Threads   uint8
}

// defaultKeyCost is RFC 9106's second choice (64 MiB, three passes) with one lane.
var defaultKeyCost = Cost{MemoryKiB: 65536, Time: 3, Threads: 1}

// KeyCost is the cost of newly sealed keys. It is a variable for tests and demonstrations only; a sealed key carries its
// own cost, so keys sealed cheaply stay cheap to attack.
var KeyCost = defaultKeyCost

// maxCost bounds what opening a sealed key may cost, whatever the database says.
var maxCost = Cost{MemoryKiB: 1 << 20, Time: 16, Threads: 16}

// Allowed says whether a cost is within what is ever carried out.
func (c Cost) Allowed() bool {
	return c.Time >= 1 && c.Threads >= 1 && c.MemoryKiB >= 8*uint32(c.Threads) &&
		c.MemoryKiB <= maxCost.MemoryKiB && c.Time <= maxCost.Time && c.Threads <= maxCost.Threads
}

// sealedFormat names the JSON below.
const sealedFormat = "brakewright-sealed-key/1"

// sealedKey is a sealed private key. Everything but Sealed is authenticated with it.
type sealedKey struct {
	Format    string `json:"format"`
	Key       string `json:"key"`
	Person    string `json:"person"`
	Alg       string `json:"alg"` // of the key: ed25519
	KDF       string `json:"kdf"` // argon2id, version 19, over the passphrase in NFKC
	MemoryKiB int    `json:"memory_kib"`
	Time      int    `json:"time"`
	Threads   int    `json:"threads"`
	Salt      string `json:"salt"`             // base64, 16 bytes
	Cipher    string `json:"cipher"`           // xchacha20-poly1305
	Nonce     string `json:"nonce"`            // base64, 24 bytes
	Sealed    string `json:"sealed,omitempty"` // base64: the 32-byte seed, encrypted
}

func (s sealedKey) associated() ([]byte, error) {
	s.Sealed = ""
	return canonical(s)
}

func encode64(b []byte) string { return base64.StdEncoding.EncodeToString(b) }

func newKey(random io.Reader, id, person, passphrase string) (*Signer, ed25519.PublicKey, []byte, error) {
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(random, seed); err != nil {
		return nil, nil, nil, fmt.Errorf("make a signing key: %w", err)
	}
	private := ed25519.NewKeyFromSeed(seed)
	signer := &Signer{Key: id, Person: person, private: private}
	sealed, err := seal(random, KeyCost, id, person, seed, passphrase)
	if err != nil {
		return nil, nil, nil, err
	}
	return signer, private.Public().(ed25519.PublicKey), sealed, nil
}

// Reseal seals the signer's key again under another passphrase. The public key stays the same.
func (k *Signer) Reseal(random io.Reader, passphrase string) ([]byte, error) {
	return seal(random, KeyCost, k.Key, k.Person, k.private.Seed(), passphrase)
}

// Public is the signer's public key.
func (k *Signer) Public() ed25519.PublicKey { return k.private.Public().(ed25519.PublicKey) }

func seal(random io.Reader, cost Cost, id, person string, seed []byte, passphrase string) ([]byte, error) {
	if !cost.Allowed() {
		return nil, fmt.Errorf("seal a signing key: cost %+v is out of bounds", cost)
	}
	salt, nonce := make([]byte, 16), make([]byte, chacha20poly1305.NonceSizeX)
	for _, b := range [][]byte{salt, nonce} {
		if _, err := io.ReadFull(random, b); err != nil {
			return nil, fmt.Errorf("seal a signing key: %w", err)
		}
	}
	s := sealedKey{
		Format: sealedFormat, Key: id, Person: person, Alg: "ed25519",
		KDF: "argon2id", MemoryKiB: int(cost.MemoryKiB), Time: int(cost.Time), Threads: int(cost.Threads), Salt: encode64(salt),
		Cipher: "xchacha20-poly1305", Nonce: encode64(nonce),
	}
	ad, err := s.associated()
	if err != nil {
		return nil, err
	}
	aead, err := chacha20poly1305.NewX(stretch(cost, passphrase, salt))
	if err != nil {
		return nil, err
	}
	s.Sealed = encode64(aead.Seal(nil, nonce, seed, ad))
	return canonical(s)
}

func stretch(c Cost, passphrase string, salt []byte) []byte {
	return argon2.IDKey(norm.NFKC.Bytes([]byte(passphrase)), salt, c.Time, c.MemoryKiB, c.Threads, chacha20poly1305.KeySize)
}

// openable is a sealed key taken apart, as far as that goes without the passphrase.
type openable struct {
	sealedKey
	cost                Cost
	salt, nonce, secret []byte
}

// readSealed reads what seal writes; it bounds what opening may cost.
func readSealed(sealed []byte) (*openable, error) {
	o := &openable{}
	if err := readCanonical(sealed, &o.sealedKey); err != nil {
		return nil, fmt.Errorf("sealed key: %w", err)
	}
	o.cost = Cost{MemoryKiB: uint32(min(max(o.MemoryKiB, 0), math.MaxUint32)), Time: uint32(min(max(o.Time, 0), math.MaxUint32)), Threads: uint8(min(max(o.Threads, 0), math.MaxUint8))}
	var errs [3]error
	for i, part := range []struct {
		to   *[]byte
		text string
	}{{&o.salt, o.Salt}, {&o.nonce, o.Nonce}, {&o.secret, o.Sealed}} {
		*part.to, errs[i] = base64.StdEncoding.Strict().DecodeString(part.text)
	}
	switch {
	case o.Format != sealedFormat || o.Alg != "ed25519" || o.KDF != "argon2id" || o.Cipher != "xchacha20-poly1305":
		return nil, fmt.Errorf("sealed key: format %q is not one that this version opens", o.Format)
	case !o.cost.Allowed():
		return nil, fmt.Errorf("sealed key: cost %+v is out of bounds", o.cost)
	case errors.Join(errs[:]...) != nil || len(o.nonce) != chacha20poly1305.NonceSizeX || len(o.salt) < 8:
		return nil, errors.New("sealed key: salt, nonce or secret is damaged")
	}
	return o, nil
}

func unseal(sealed []byte, person, passphrase string) (*Signer, error) {
	o, err := readSealed(sealed)
	if err != nil {
		return nil, err
	}
	if o.Person != person {
		return nil, errors.New("sealed key: it is somebody else's")
	}
	ad, err := o.associated()
	if err != nil {
		return nil, fmt.Errorf("sealed key: %w", err)
	}
	aead, err := chacha20poly1305.NewX(stretch(o.cost, passphrase, o.salt))
	if err != nil {
		return nil, err
	}
	seed, err := aead.Open(nil, o.nonce, o.secret, ad)
	if err != nil || len(seed) != ed25519.SeedSize {
		return nil, ErrPassphrase
	}
	return &Signer{Key: o.Key, Person: person, private: ed25519.NewKeyFromSeed(seed)}, nil
}

func (s *Submission) sign(k *Signer) error {
	if k != nil && k.private == nil && k.Key == "" && k.Person != "" {
		s.awaits = k.Person
		return nil
	}
	if k == nil || k.private == nil {
		return errors.New("sign an entry: the key is locked")
	}
	for _, old := range s.Signatures {
		if old.Key == k.Key {
			return &RuleError{Code: SignedTwice, Args: map[string]string{"key": k.Key}}
		}
	}
	b, err := s.Body.SignedBytes()
	if err != nil {
		return err
	}
	s.Signatures = append(s.Signatures, Signature{Key: k.Key, Alg: AlgEd25519, Sig: encode64(ed25519.Sign(k.private, b))})
	return nil
}

// Sealed reports whose key a sealed key is, and its id, without opening it.
func Sealed(sealed []byte) (key, person string, err error) {
	o, err := readSealed(sealed)
	if err != nil {
		return "", "", err
	}
	return o.Key, o.Person, nil
}
