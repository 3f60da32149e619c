package store_test

import (
	"context"
	"testing"

	"brakewright/store"
	"brakewright/store/storetest"
)

var ctx = context.Background()

func TestMainJobGoesThroughTheLedger(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	sam, pat := w.Supervisors[0], w.Apprentices[0]
	r := w.Append(w.SignOff(sam, pat, w.Tasks[0], nil))
	records, err := w.Store.Evidence(ctx, pat.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(records) != 1 || records[0].ID != r.ID || records[0].Type != "job" || len(records[0].Steps) != 6 {
		t.Fatalf("evidence: %+v", records)
	}
	people, err := w.Store.People(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if len(people) != 9 || people[0].Name != "Ada Founder" || people[0].Key == nil {
		t.Fatalf("people: %d, first %+v", len(people), people[0])
	}
	v, err := w.Store.Entry(ctx, r.ID)
	if err != nil {
		t.Fatal(err)
	}
	if v.Personal["notes"] != "clean work" || len(v.Closed) != 0 {
		t.Fatalf("entry: %+v", v)
	}
	again, err := store.Open(ctx, w.Options)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	p, err := again.PersonByLogin(ctx, "SAM0")
	if err != nil || p.Name != "Sam 00" || len(p.Appointments) != 2 || p.Appointments[0].Qualification != "Brake technician" {
		t.Fatalf("person by login: %+v, %v", p, err)
	}
}
