package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
)

func sealedOf(t *testing.T, passphrase string) (*Signer, []byte) {
	t.Helper()
	h := newHistory(t)
	k, _, sealed, err := NewKey(h.random, "key", "person", passphrase)
	if err != nil {
		t.Fatal(err)
	}
	return k, sealed
}

func TestASealedKeyOpensWithItsPassphraseAlone(t *testing.T) {
	k, sealed := sealedOf(t, "correct horse")
	got, err := Unseal(sealed, "person", "correct horse")
	if err != nil {
		t.Fatal(err)
	}
	if got.Key != "key" || got.Person != "person" || !got.private.Equal(k.private) {
		t.Errorf("got %+v", got)
	}
	for _, wrong := range []string{"", "correct horsf", "Correct horse", "correct horse "} {
		if _, err := Unseal(sealed, "person", wrong); !errors.Is(err, ErrPassphrase) {
			t.Errorf("%q: got %v", wrong, err)
		}
	}
	if _, err := Unseal(sealed, "another", "correct horse"); err == nil {
		t.Error("it opens as somebody else's")
	}
}

// The same words typed on another keyboard may come in another normal form.
func TestAPassphraseIsComparedInNFKC(t *testing.T) {
	_, sealed := sealedOf(t, "cre\u0301maill\u00e8re")
	if _, err := Unseal(sealed, "person", "cr\u00e9maille\u0300re"); err != nil {
		t.Error(err)
	}
}

func TestASealedKeyCarriesItsCost(t *testing.T) {
	if (Cost{65536, 3, 1}) != defaultKeyCost {
		t.Errorf("keys are sealed at %+v", defaultKeyCost)
	}
	_, sealed := sealedOf(t, "p")
	var s map[string]any
	if err := json.Unmarshal(sealed, &s); err != nil {
		t.Fatal(err)
	}
	if s["memory_kib"] != float64(KeyCost.MemoryKiB) || s["time"] != float64(KeyCost.Time) || s["kdf"] != "argon2id" {
		t.Errorf("got %v", s)
	}
}

func TestAChangedSealedKeyDoesNotOpen(t *testing.T) {
	_, sealed := sealedOf(t, "p")
	for _, c := range []struct{ name, old, with string }{
		{"cost out of bounds", `"memory_kib":64`, `"memory_kib":4294967295`},
		{"no cost", `"time":1`, `"time":0`},
		{"another cost", `"memory_kib":64`, `"memory_kib":65`},
		{"another key", `"key":"key"`, `"key":"kez"`},
		{"another person", `"person":"person"`, `"person":"persom"`},
		{"another format", `sealed-key/1`, `sealed-key/2`},
		{"unknown field", `{`, `{"a":1,`},
		{"no JSON", `{`, ``},
	} {
		t.Run(c.name, func(t *testing.T) {
			changed := []byte(strings.Replace(string(sealed), c.old, c.with, 1))
			if bytes.Equal(changed, sealed) {
				t.Fatal("nothing was changed")
			}
			if _, err := Unseal(changed, "person", "p"); err == nil {
				t.Error("it opens")
			}
		})
	}
}

func TestAKeyIsResealed(t *testing.T) {
	k, old := sealedOf(t, "p")
	h := newHistory(t)
	next, err := k.Reseal(h.random, "q")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Unseal(next, "person", "p"); !errors.Is(err, ErrPassphrase) {
		t.Errorf("the old passphrase: %v", err)
	}
	got, err := Unseal(next, "person", "q")
	if err != nil || !got.Public().Equal(k.Public()) || bytes.Equal(old, next) {
		t.Errorf("got %v, %v", got, err)
	}
}

// FuzzSealedKey: no panic, no cost out of bounds, nothing accepted that encodes differently.
func FuzzSealedKey(f *testing.F) {
	h := newHistory(f)
	_, _, sealed, err := NewKey(h.random, "key", "person", "p")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(sealed)
	f.Add([]byte(`{"memory_kib":-1}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		o, err := readSealed(b)
		if err != nil {
			return
		}
		if !o.cost.Allowed() {
			t.Errorf("cost %+v", o.cost)
		}
		again, err := canonical(o.sealedKey)
		if err != nil || !bytes.Equal(again, b) {
			t.Errorf("re-encodes to %s (%v)", again, err)
		}
	})
}
