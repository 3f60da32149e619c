package ledger

import (
	"crypto/ed25519"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"

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
	MemoryKiB uint32 `json:"memory_kib"`
	Time      uint32 `json:"time"`
	Threads   uint8  `json:"threads"`
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
		KDF: "argon2id", MemoryKiB: cost.MemoryKiB, Time: cost.Time, Threads: cost.Threads, Salt: encode64(salt),
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

func unseal(sealed []byte, person, passphrase string) (*Signer, error) {
	var s sealedKey
	if err := decodeStrict(sealed, &s); err != nil {
		return nil, fmt.Errorf("sealed key: %w", err)
	}
	cost := Cost{MemoryKiB: s.MemoryKiB, Time: s.Time, Threads: s.Threads}
	salt, err1 := base64.StdEncoding.DecodeString(s.Salt)
	nonce, err2 := base64.StdEncoding.DecodeString(s.Nonce)
	secret, err3 := base64.StdEncoding.DecodeString(s.Sealed)
	switch {
	case s.Format != sealedFormat || s.Alg != "ed25519" || s.KDF != "argon2id" || s.Cipher != "xchacha20-poly1305":
		return nil, fmt.Errorf("sealed key: format %q is not one that this version opens", s.Format)
	case !cost.Allowed():
		return nil, fmt.Errorf("sealed key: cost %+v is out of bounds", cost)
	case errors.Join(err1, err2, err3) != nil || len(nonce) != chacha20poly1305.NonceSizeX || len(salt) < 8:
		return nil, errors.New("sealed key: salt, nonce or secret is damaged")
	case subtle.ConstantTimeCompare([]byte(s.Person), []byte(person)) != 1:
		return nil, errors.New("sealed key: it is somebody else's")
	}
	ad, err := s.associated()
	if err != nil {
		return nil, fmt.Errorf("sealed key: %w", err)
	}
	aead, err := chacha20poly1305.NewX(stretch(cost, passphrase, salt))
	if err != nil {
		return nil, err
	}
	seed, err := aead.Open(nil, nonce, secret, ad)
	if err != nil || len(seed) != ed25519.SeedSize {
		return nil, ErrPassphrase
	}
	return &Signer{Key: s.Key, Person: person, private: ed25519.NewKeyFromSeed(seed)}, nil
}

func (s *Submission) sign(k *Signer) error {
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
	s.Signatures = append(s.Signatures, Signature{Key: k.Key, Alg: "ed25519", Sig: encode64(ed25519.Sign(k.private, b))})
	return nil
}

// Sealed reports whose key a sealed key is, and its id, without opening it.
func Sealed(sealed []byte) (key, person string, err error) {
	var s sealedKey
	if err := json.Unmarshal(sealed, &s); err != nil {
		return "", "", fmt.Errorf("sealed key: %w", err)
	}
	return s.Key, s.Person, nil
}
