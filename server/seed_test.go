package server

import (
	"encoding/json"
	"strings"
	"testing"

	"brakewright/store/ledger"
)

func TestPayloadShownTellsNoSeed(t *testing.T) {
	for _, r := range []struct{ kind, payload, want string }{
		{"test_issued", `{"number":1,"seed":"77","task":"pads"}`, `{"number":1,"task":"pads"}`},
		{"test_issued", `{"number":1,"task":"pads"}`, `{"number":1,"task":"pads"}`},
		{"reading", `{"lesson":"pads","seed":"77"}`, `{"lesson":"pads","seed":"77"}`},
	} {
		got, err := json.Marshal(payloadShown(ledger.Body{Type: ledger.Type(r.kind), Payload: json.RawMessage(r.payload)}))
		if err != nil || strings.TrimSpace(string(got)) != r.want {
			t.Errorf("%s: got %s, want %s (%v)", r.payload, got, r.want, err)
		}
	}
}
