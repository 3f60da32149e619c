package ledger

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// oracleParse reads a leaf in another way than Parse does, by encoding/json and jcs: whatever decoding let pass (unknown
// or doubled keys, another order, other escapes, keys in another case, explicit empty values) does not come back when
// the typed values are encoded again.
func oracleParse(leaf []byte) (Entry, error) {
	var e Entry
	if len(leaf) > MaxLeaf {
		return e, fmt.Errorf("too long")
	}
	if err := decodeStrict(leaf, &e); err != nil {
		return e, err
	}
	k, ok := KindOf(e.Body.Type)
	if !ok {
		return e, fmt.Errorf("unknown type")
	}
	p := k.New()
	if err := decodeStrict(e.Body.Payload, p); err != nil {
		return e, err
	}
	typed, err := json.Marshal(p)
	if err != nil {
		return e, err
	}
	again := e
	again.Body.Payload = typed
	body, err := canonical(again.Body)
	if err != nil {
		return e, err
	}
	encoded, err := assemble(body, e.RecordedAt, e.Signatures)
	if err != nil {
		return e, err
	}
	if !bytes.Equal(encoded, leaf) {
		return e, fmt.Errorf("does not encode to itself")
	}
	return e, checkEntry(&e, p)
}
