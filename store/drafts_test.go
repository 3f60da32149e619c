package store_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewright/store"
	"brakewright/store/storetest"
)

func TestProgrammeDrafts(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	s, p, q := w.Store, w.Apprentices[0].ID, w.Supervisors[0].ID
	if _, err := s.ProgrammeDraft(ctx, p); !errors.Is(err, store.ErrNotFound) {
		t.Fatalf("got %v", err)
	}
	at := time.UnixMilli(1767225600000).UTC()
	first := store.ProgrammeDraft{Person: p, Base: "b", Files: map[string][]byte{"lessons/a.md": []byte("a\x00\xff"), "x": {}}, At: at}
	second := store.ProgrammeDraft{Person: p, Base: "c", Files: map[string][]byte{"lessons/a.md": []byte("anew")}, At: at.Add(time.Second)}
	other := store.ProgrammeDraft{Person: q, Base: "b", Files: map[string][]byte{}, At: at}
	for _, d := range []store.ProgrammeDraft{first, other, second} {
		if err := s.SaveProgrammeDraft(ctx, d); err != nil {
			t.Fatal(err)
		}
		got, err := s.ProgrammeDraft(ctx, d.Person)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(d, *got); diff != "" {
			t.Error(diff)
		}
	}
	all, err := s.ProgrammeDrafts(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if want := []store.ProgrammeDraft{{Person: p, Base: "c", At: second.At}, {Person: q, Base: "b", At: at}}; !cmp.Equal(all, want) {
		t.Error(cmp.Diff(all, want))
	}
	for range 2 {
		if err := s.DropProgrammeDraft(ctx, p); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.ProgrammeDraft(ctx, p); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("after dropping: %v", err)
	}
}
