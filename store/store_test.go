package store_test

import (
	"errors"
	"path/filepath"
	"testing"

	"brakewright/store"
	"brakewright/store/storetest"
)

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

func TestVerifyBackupRestore(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	v := mustVerify(t, w.Options)
	t.Logf("%+v", v)
	out := filepath.Join(t.TempDir(), "copy ?#%.db")
	if _, err := store.Backup(ctx, w.Options, out, nil); err != nil {
		t.Fatal(err)
	}
	o := w.Options
	o.Database = out
	mustVerify(t, o)
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	if _, err := store.Restore(ctx, out, w.Options, false, nil); !errors.Is(err, store.ErrBusy) {
		t.Fatalf("restore over an open database: %v", err)
	}
	w.Store.Close()
	if _, err := store.Restore(ctx, out, w.Options, false, nil); !errors.Is(err, store.ErrOlder) {
		t.Fatalf("restore of an older copy: %v", err)
	}
	if _, err := store.Restore(ctx, out, w.Options, true, nil); err != nil {
		t.Fatal(err)
	}
	if v2 := mustVerify(t, w.Options); v2.Entries != v.Entries+1 { // and the entry that says so
		t.Fatalf("entries %d, want %d", v2.Entries, v.Entries+1)
	}
	if _, err := store.Rebuild(ctx, w.Options, false, nil); err != nil {
		t.Fatal(err)
	}
}
