package store

import (
	"crypto/cipher"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"sync"

	"golang.org/x/crypto/chacha20poly1305"

	"brakewright/store/ledger"
)

// A personal value is sealed under its owner's data key; a data key is wrapped under the key file's wrapping key. Both
// are nonce (24 bytes) ‖ XChaCha20-Poly1305. Erasing a person is destroying the wrapped data key and the sealed rows.

// NewDataKey makes a person's data key, wrapped: the content "data_key" of an opening or a person_added.
func (s *Store) NewDataKey(person string) ([]byte, error) {
	if s.keys == nil {
		return nil, ErrNoKeyFile
	}
	return s.keys.newDataKey(s.random, person)
}

func (k *KeyFile) newDataKey(random io.Reader, person string) ([]byte, error) {
	key := make([]byte, chacha20poly1305.KeySize)
	if _, err := io.ReadFull(random, key); err != nil {
		return nil, fmt.Errorf("make a data key: %w", err)
	}
	return sealBytes(random, k.Wrap[:], key, dataKeyAD(person))
}

func (k *KeyFile) openDataKey(wrapped []byte, person string) (cipher.AEAD, error) {
	key, err := openBytes(k.Wrap[:], wrapped, dataKeyAD(person))
	if err != nil {
		return nil, fmt.Errorf("data key of %s: %w", person, ErrWrongKeyFile)
	}
	return chacha20poly1305.NewX(key)
}

// What is authenticated with a sealed value: where it belongs, so that no row can stand for another.
func dataKeyAD(person string) []byte        { return []byte("brakewright-data-key-v1\n" + person) }
func personalAD(entry, field string) []byte { return []byte(entry + "\n" + field) }
func draftAD(id string) []byte              { return []byte("brakewright-draft-v1\n" + id) }

func sealBytes(random io.Reader, key, value, ad []byte) ([]byte, error) {
	aead, err := chacha20poly1305.NewX(key)
	if err != nil {
		return nil, err
	}
	return sealWith(random, aead, value, ad)
}

func sealWith(random io.Reader, aead cipher.AEAD, value, ad []byte) ([]byte, error) {
	out := make([]byte, aead.NonceSize(), aead.NonceSize()+len(value)+aead.Overhead())
	if _, err := io.ReadFull(random, out); err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	return aead.Seal(out, out, value, ad), nil
}

func openBytes(key, sealed, ad []byte) ([]byte, error) {
	aead, err := chacha20poly1305.NewX(key)
	if err != nil {
		return nil, err
	}
	return openWith(aead, sealed, ad)
}

var errSealed = errors.New("the sealed value is damaged, or sealed under another key")

func openWith(aead cipher.AEAD, sealed, ad []byte) ([]byte, error) {
	if len(sealed) < aead.NonceSize()+aead.Overhead() {
		return nil, errSealed
	}
	value, err := aead.Open(nil, sealed[:aead.NonceSize()], sealed[aead.NonceSize():], ad)
	if err != nil {
		return nil, errSealed
	}
	return value, nil
}

// sealPersonal seals a personal field with its salt.
func sealPersonal(random io.Reader, aead cipher.AEAD, entry, field string, f ledger.PersonalField) ([]byte, error) {
	return sealWith(random, aead, append(append(make([]byte, 0, 32+len(f.Value)), f.Salt[:]...), f.Value...), personalAD(entry, field))
}

// openPersonal opens a row of personal.
func openPersonal(aead cipher.AEAD, entry, field, person string, sealed []byte) (ledger.PersonalField, error) {
	b, err := openWith(aead, sealed, personalAD(entry, field))
	if err != nil {
		return ledger.PersonalField{}, err
	}
	if len(b) < 32 {
		return ledger.PersonalField{}, errSealed
	}
	f := ledger.PersonalField{Person: person, Value: b[32:]}
	copy(f.Salt[:], b)
	return f, nil
}

// dataKey is a person's data key, opened. The row is always asked for, so that a key destroyed by another process is not
// used any more; opening it is remembered by the hash of the wrapped key.
func (s *Store) dataKey(q querier, person string) (cipher.AEAD, error) {
	if s.keys == nil {
		return nil, ErrNoKeyFile
	}
	var hash string
	var wrapped []byte
	err := missing(q.row(`SELECT p.data_key, c.bytes FROM people p JOIN contents c ON c.hash = p.data_key WHERE p.id = $1`, person).Scan(&hash, &wrapped))
	if err != nil {
		return nil, fmt.Errorf("data key of %s: %w", person, err)
	}
	return s.opened.dataKey(hash, func() (cipher.AEAD, error) { return s.keys.openDataKey(wrapped, person) })
}

// openedCache remembers opened data keys and personal values. Both are immutable under their key, so other processes'
// changes are not missed; it is bounded and starts anew when full.
type openedCache struct {
	mu     sync.Mutex
	keys   map[string]cipher.AEAD
	values map[[2]string]string // entry, field
	bytes  int
}

const (
	maxOpenedKeys  = 20_000
	maxOpenedBytes = 16 << 20
)

func (c *openedCache) dataKey(hash string, open func() (cipher.AEAD, error)) (cipher.AEAD, error) {
	c.mu.Lock()
	aead, ok := c.keys[hash]
	c.mu.Unlock()
	if ok {
		return aead, nil
	}
	aead, err := open()
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.keys == nil || len(c.keys) >= maxOpenedKeys {
		c.keys = map[string]cipher.AEAD{}
	}
	c.keys[hash] = aead
	return aead, nil
}

func (c *openedCache) value(entry, field string) (string, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	v, ok := c.values[[2]string{entry, field}]
	return v, ok
}

func (c *openedCache) keep(entry, field, value string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	size := len(entry) + len(field) + len(value) + 64
	if c.values == nil || c.bytes+size > maxOpenedBytes {
		c.values, c.bytes = map[[2]string]string{}, 0
	}
	c.values[[2]string{entry, field}] = value
	c.bytes += size
}

// openRow opens a personal row that was just read, through the cache.
func (s *Store) openRow(entry, field, person string, sealed []byte, key func() (cipher.AEAD, error)) (string, error) {
	if v, ok := s.opened.value(entry, field); ok {
		return v, nil
	}
	aead, err := key()
	if err != nil {
		return "", err
	}
	f, err := openPersonal(aead, entry, field, person, sealed)
	if err != nil {
		return "", fmt.Errorf("personal field %s of entry %s: %w", field, entry, err)
	}
	s.opened.keep(entry, field, string(f.Value))
	return string(f.Value), nil
}

// sealedRow is a personal value with what opens it. of is what the row was asked for: a person, an entry.
type sealedRow struct {
	of, entry, field, person string
	sealed                   []byte
	keyHash                  string
	wrapped                  []byte
}

// sealedOf runs a query of the columns of, entry, field, person, sealed, hash and bytes of the wrapped data key.
func (s *Store) sealedOf(q querier, query string, args ...any) ([]sealedRow, error) {
	return collect(q, func(r *sql.Rows) (x sealedRow, err error) {
		return x, r.Scan(&x.of, &x.entry, &x.field, &x.person, &x.sealed, &x.keyHash, &x.wrapped)
	}, query, args...)
}

func (s *Store) openSealed(r sealedRow) (string, error) {
	return s.openRow(r.entry, r.field, r.person, r.sealed, func() (cipher.AEAD, error) {
		return s.opened.dataKey(r.keyHash, func() (cipher.AEAD, error) { return s.keys.openDataKey(r.wrapped, r.person) })
	})
}

// openedFields are the opened values by what they were asked for; none without the key file.
func (s *Store) openedFields(q querier, query string, args ...any) (map[string]string, error) {
	if s.keys == nil {
		return nil, nil
	}
	rows, err := s.sealedOf(q, query, args...)
	if err != nil {
		return nil, err
	}
	all := make(map[string]string, len(rows))
	for _, r := range rows {
		if all[r.of], err = s.openSealed(r); err != nil {
			return nil, err
		}
	}
	return all, nil
}
