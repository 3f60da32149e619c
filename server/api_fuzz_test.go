package server

import (
	"encoding/json"
	"reflect"
	"testing"
)

// FuzzDecodeStrict: whatever is sent, nothing panics; what is taken is JSON that holds known fields only, each once.
func FuzzDecodeStrict(f *testing.F) {
	for _, seed := range []string{
		`[{"id":"a","step":"l/s","result":"unaided","at":1}]`, `[{"id":"a","at":"2030-05-01T14:03:05.123Z","reading":{"measure":1,"value":"2","unit":"mm"}}]`,
		`[{"ID":"a"}]`, `[{"id":"a","id":"b"}]`, `[{"id":{"x":1}}]`, `[]`, `null`, `[null]`, `{}`, `[{"near_miss":null}] 1`, `[{"reading":{"Measure":1}}]`, `"`, "[{\"id\":\"\xff\"}]",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var in []apiTapIn
		if decodeStrict(b, &in) != nil {
			return
		}
		if !json.Valid(b) {
			t.Fatalf("taken, but not JSON: %q", b)
		}
		var loose []map[string]json.RawMessage
		if err := json.Unmarshal(b, &loose); err != nil {
			t.Fatalf("taken, but no list of objects: %q", b)
		}
		known := fieldsOf(reflect.TypeFor[[]apiTapIn]()).item.names
		for _, o := range loose {
			for name := range o {
				if known[name] == nil {
					t.Fatalf("taken with the unknown field %q: %q", name, b)
				}
			}
		}
	})
}
