package acts

import (
	"sync"

	"brakewright/store/ledger"
)

// keyring holds keys that are open. Real use has none: each signature asks for the passphrase anew.
type keyring struct {
	mu   sync.Mutex
	open map[[2]string]*ledger.Signer // by key id and passphrase
}

// KeepKeysUnlocked makes this Service open each key once. It is for making the demo's history, where every passphrase is
// known to the program and months of signatures are made in one go; a server never calls it.
func (s *Service) KeepKeysUnlocked() { s.keys = &keyring{open: map[[2]string]*ledger.Signer{}} }

// unseal opens a key, through the keyring where there is one.
func (s *Service) unseal(key string, sealed []byte, person, passphrase string) (*ledger.Signer, error) {
	if s.keys == nil {
		return ledger.Unseal(sealed, person, passphrase)
	}
	s.keys.mu.Lock()
	defer s.keys.mu.Unlock()
	id := [2]string{key, passphrase}
	if k, ok := s.keys.open[id]; ok {
		return k, nil
	}
	k, err := ledger.Unseal(sealed, person, passphrase)
	if err == nil {
		s.keys.open[id] = k
	}
	return k, err
}
