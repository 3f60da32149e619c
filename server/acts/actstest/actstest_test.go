package actstest

import (
	"testing"

	"brakewright/readiness"
	"brakewright/store"
)

// TestShop brings an apprentice to a clearance through the acts and has the ledger verified.
func TestShop(t *testing.T) {
	s := Found(t, Config{})
	m := s.Apprentices[0]
	s.Ready(m, "induction")
	s.Clear(s.Supervisors[0], m, "induction")
	if got := s.Standing(m, "induction").Standing; got != readiness.Cleared {
		t.Errorf("got standing %s, want cleared", got)
	}
	v, err := store.Verify(t.Context(), s.Options, false, nil)
	if err != nil || !v.OK {
		t.Errorf("verify: %+v, %v", v, err)
	}
}
