package main

import (
	"strings"
	"testing"

	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// What is due is said by kind of record, and what is in the way beside it.
func TestWriteDue(t *testing.T) {
	kept := func(kind readiness.RecordKind, years int, last, until string, due bool) acts.KeptKind {
		return acts.KeptKind{Keeping: ledger.Keeping{Kind: kind, Years: years, Last: last, Until: until}, Due: due}
	}
	list := []*acts.Erasure{
		{Person: &store.Person{ID: "a", Name: "Pat Old"}, KeepUntil: "2025-05-04", Kinds: []acts.KeptKind{kept(readiness.AccountRecord, 5, "2020-05-04", "2025-05-04", true)}},
		{Person: &store.Person{ID: "b", Name: "Pia Old"}, KeepUntil: "2029-05-04",
			Kinds:   []acts.KeptKind{kept(readiness.TrainingRecord, 9, "2020-05-04", "2029-05-04", false), kept(readiness.AccountRecord, 5, "2020-05-04", "2025-05-04", true)},
			Against: []acts.Refusal{{Code: "erase_kept", Args: map[string]string{"kind": "training", "date": "2029-05-04", "years": "9"}}}},
	}
	var text, object strings.Builder
	if err := writeDue(&text, list, "text"); err != nil {
		t.Fatal(err)
	}
	want := `a  Pat Old
    Name, log-in and signing keys: due: was kept until 2025-05-04
b  Pia Old
    Work and training: must be kept until 2029-05-04
    Name, log-in and signing keys: due: was kept until 2025-05-04
    not yet: Records of work and training must be kept until 2029-05-04: 9 years from the last of them or the end of the agreement, as the policy says.
`
	if text.String() != want {
		t.Errorf("got\n%s", text.String())
	}
	if err := writeDue(&object, list, "json"); err != nil || !strings.Contains(object.String(), `"due": true`) || !strings.Contains(object.String(), `"keep_until": "2029-05-04"`) {
		t.Errorf("%v\n%s", err, object.String())
	}
}
