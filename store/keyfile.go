package store

import "io"

// KeyFile holds the two keys that are never in the database nor in a backup: one signs tree heads, one wraps the data
// keys under which personal fields are kept.
type KeyFile struct {
	HeadSeed [32]byte // Ed25519 seed
	Wrap     [32]byte // XChaCha20-Poly1305 key
}

// NewKeyFile makes both keys.
func NewKeyFile(random io.Reader) (*KeyFile, error) { return newKeyFile(random) }

// ReadKeyFile reads a key file; the error names the file and the cure. It refuses a file that others may read.
func ReadKeyFile(path string) (*KeyFile, error) { return readKeyFile(path) }

// Write writes it with mode 0600 and refuses to overwrite.
func (k *KeyFile) Write(path string) error { return k.write(path) }
