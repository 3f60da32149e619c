package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// engines are what the suite runs on. PostgreSQL takes its place here.
var engines = map[string]func(testing.TB) *storetest.World{
	"sqlite": func(t testing.TB) *storetest.World { return storetest.New(t, storetest.Config{}) },
}

// TestStore is the contract of the store, for every engine.
func TestStore(t *testing.T) {
	for name, found := range engines {
		t.Run(name, func(t *testing.T) {
			for _, c := range []struct {
				name string
				run  func(*testing.T, *storetest.World)
			}{
				{"founding", testFounding}, {"people", testPeople}, {"log-in names", testLogins}, {"passwords and keys", testPasswordsAndKeys},
				{"idempotency", testIdempotency}, {"all or none", testAllOrNone}, {"broken rules write nothing", testBrokenRules},
				{"the clock set back", testClockSetBack}, {"evidence", testEvidence}, {"entries", testEntries}, {"programmes", testProgrammes},
				{"jobs", testJobs}, {"taps", testTaps}, {"signing a job", testSigningAJob}, {"theory tests", testTheoryTests},
				{"key requests", testKeyRequests}, {"sessions", testSessions}, {"failures", testFailures}, {"codes", testCodes},
				{"verdict cache", testVerdictCache}, {"what goes beside the entry", testBeside}, {"the writer's queue", testQueue},
				{"thirty-two signers", testManySigners}, {"two processes", testTwoProcesses}, {"nothing personal in the clear", testNothingInTheClear},
			} {
				t.Run(c.name, func(t *testing.T) { c.run(t, found(t)) })
			}
		})
	}
}

func testFounding(t *testing.T, w *storetest.World) {
	i, err := w.Store.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	want := store.Info{Origin: "brakes.example/bench", Title: "Bench programme", Zone: storetest.Zone, Programme: i.Programme, Parameters: ledger.Hash([]byte(`{}`)), Entries: i.Entries}
	if i != want || i.Programme == "" {
		t.Errorf("got %+v", i)
	}
	entries, err := w.Store.Entries(ctx, store.EntryFilter{Limit: 4})
	if err != nil {
		t.Fatal(err)
	}
	var types []ledger.Type
	for _, e := range entries {
		types = append(types, e.Entry.Body.Type)
	}
	if !slices.Equal(types, []ledger.Type{ledger.Opening, ledger.RoleGranted, ledger.ProgrammeAdopted, ledger.ParametersAdopted}) {
		t.Errorf("the first entries are %v", types)
	}
	if _, err := store.Create(ctx, w.Options, store.Founding{}); !errors.Is(err, store.ErrExists) {
		t.Errorf("a second founding: %v", err)
	}
}

func testPeople(t *testing.T, w *storetest.World) {
	w.FullHistory()
	all, err := w.Store.People(ctx)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, p := range all {
		names = append(names, p.Name)
		one, err := w.Store.Person(ctx, p.ID)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(one, p) {
			t.Errorf("alone %+v\namong all %+v", one, p)
		}
	}
	if want := []string{"Ada Founder", "Cora 01", "Pat 01", "Pat 02", "Pat 03", "Pat Renamed", "Sam 00", "Sam 01", "Sam 02"}; !slices.Equal(names, want) {
		t.Errorf("got %v, want %v", names, want)
	}
	pam := w.Apprentices[3]
	p, err := w.Store.Person(ctx, pam.ID)
	if err != nil {
		t.Fatal(err)
	}
	today := w.Today()
	switch {
	case len(p.Roles) != 1 || p.Roles[0].Until != today || !p.Roles[0].Holds(today) || p.Roles[0].Holds("2027-01-01"):
		t.Errorf("roles %+v", p.Roles)
	case len(p.Cohorts) != 2 || p.Cohorts[0].Until != "" || p.Cohorts[1].Until != today:
		t.Errorf("cohorts %+v", p.Cohorts)
	case len(p.Agreements) != 1 || p.Agreements[0].Employer != "North shop" || p.Agreements[0].Until != today:
		t.Errorf("agreements %+v", p.Agreements)
	case !p.HasPassword || p.Key != nil || p.KeyWaiting:
		t.Errorf("%+v", p)
	}
	if p, _ := w.Store.Person(ctx, w.Apprentices[1].ID); len(p.Leaves) != 1 {
		t.Errorf("leaves %+v", p.Leaves)
	}
	if p, _ := w.Store.Person(ctx, w.Apprentices[2].ID); len(p.Leaves) != 0 {
		t.Errorf("a withdrawn leave still stands: %+v", p.Leaves)
	}
	sid, err := w.Store.Person(ctx, w.Supervisors[2].ID)
	if err != nil || len(sid.Appointments) != 2 || sid.Appointments[0].Until != today || sid.Appointments[0].Qualification != "Brake technician" {
		t.Errorf("appointments %+v, %v", sid.Appointments, err)
	}
	if !slices.ContainsFunc(sid.Roles, func(r store.Role) bool { return r.Author && r.Site == w.Site }) {
		t.Errorf("roles %+v", sid.Roles)
	}
	if _, err := w.Store.Person(ctx, "nobody"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("nobody: %v", err)
	}
	sites, err := w.Store.Sites(ctx)
	if err != nil || len(sites) != 2 || sites[0].Name != "North shop" {
		t.Errorf("sites %+v, %v", sites, err)
	}
	cohorts, err := w.Store.Cohorts(ctx)
	if err != nil || len(cohorts) != 2 || cohorts[0].Name != "Summer" || cohorts[0].Site != sites[1].ID {
		t.Errorf("cohorts %+v, %v", cohorts, err)
	}
	// Without the key file everybody is there, without names.
	o := w.Options
	o.Keys = nil
	blind, err := store.Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	defer blind.Close()
	all, err = blind.People(ctx)
	if err != nil || len(all) != 9 || all[0].Name != "" || all[0].Login != "" {
		t.Errorf("without the key file: %+v, %v", all[0], err)
	}
	if _, err := blind.PersonByLogin(ctx, "ada"); !errors.Is(err, store.ErrNoKeyFile) {
		t.Errorf("log-in without the key file: %v", err)
	}
}

// person adds somebody by the founder.
func person(w *storetest.World, login string) *ledger.Submission {
	id := w.ID()
	wrapped, err := w.Store.NewDataKey(id)
	if err != nil {
		w.T.Fatal(err)
	}
	return w.Make(w.Coordinators[0].ID, ledger.PersonAdded, id, ledger.PersonPayload{}, map[string]string{"name": "New " + login, "login": login}, map[string][]byte{"data_key": wrapped})
}

func testLogins(t *testing.T, w *storetest.World) {
	for _, login := range []string{"sam0", "SAM0", " Sam0 ", "ｓａｍ0"} {
		p, err := w.Store.PersonByLogin(ctx, login)
		if err != nil || p.ID != w.Supervisors[0].ID {
			t.Errorf("%q: %+v, %v", login, p, err)
		}
	}
	if _, err := w.Store.PersonByLogin(ctx, ""); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an empty name: %v", err)
	}
	taken := func(sub *ledger.Submission) {
		t.Helper()
		_, err := w.Store.Append(ctx, sub)
		var r *ledger.RuleError
		if !errors.As(err, &r) || r.Code != ledger.LoginTaken {
			t.Errorf("got %v", err)
		}
	}
	taken(person(w, "Sam0"))
	pat := w.Apprentices[0]
	taken(w.Make(pat.ID, ledger.PersonRenamed, pat.ID, ledger.PersonPayload{}, map[string]string{"login": "SAM0"}, nil))
	// One's own name in other letters is not taken; a name given up is free.
	w.Append(w.Make(pat.ID, ledger.PersonRenamed, pat.ID, ledger.PersonPayload{}, map[string]string{"login": "PAT0"}, nil))
	w.Append(w.Make(pat.ID, ledger.PersonRenamed, pat.ID, ledger.PersonPayload{}, map[string]string{"login": "patricia"}, nil))
	w.Append(person(w, "pat0"))
	// Two in one transaction.
	if _, err := w.Store.AppendAll(ctx, person(w, "twin"), person(w, "Twin")); err == nil {
		t.Error("two of one name in one transaction")
	}
	w.Append(person(w, "twin"))
}

func testPasswordsAndKeys(t *testing.T, w *storetest.World) {
	pat, sam := w.Apprentices[0], w.Supervisors[0]
	old, err := w.Store.PasswordHash(ctx, pat.ID)
	if err != nil {
		t.Fatal(err)
	}
	if ok, stale, err := store.CheckPassword(old, pat.Password); !ok || stale || err != nil {
		t.Errorf("%v %v %v", ok, stale, err)
	}
	next, err := store.HashPassword(w.Random, "another")
	if err != nil {
		t.Fatal(err)
	}
	w.Append(w.Make(pat.ID, ledger.PasswordSet, pat.ID, ledger.PasswordPayload{}, nil, map[string][]byte{"password": []byte(next)}))
	if got, err := w.Store.PasswordHash(ctx, pat.ID); err != nil || got != next {
		t.Errorf("got %s, %v", got, err)
	}
	if _, err := w.Store.Content(ctx, ledger.Hash([]byte(old))); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the old hash is still there: %v", err)
	}
	// The same again, and the old one again, lose nothing.
	w.Append(w.Make(pat.ID, ledger.PasswordSet, pat.ID, ledger.PasswordPayload{}, nil, map[string][]byte{"password": []byte(next)}))
	w.Append(w.Make(pat.ID, ledger.PasswordSet, pat.ID, ledger.PasswordPayload{}, nil, map[string][]byte{"password": []byte(old)}))
	if got, err := w.Store.PasswordHash(ctx, pat.ID); err != nil || got != old {
		t.Errorf("the first again: %s, %v", got, err)
	}
	if _, err := w.Store.PasswordHash(ctx, "nobody"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("nobody's: %v", err)
	}

	k, err := w.Store.Key(ctx, sam.Signer.Key)
	if err != nil || k.Person != sam.ID || len(k.Public) != 32 || len(k.Sealed) == 0 || !k.EndedAt.IsZero() {
		t.Fatalf("%+v, %v", k, err)
	}
	w.Clock.Add(time.Hour)
	w.Append(w.Make(sam.ID, ledger.KeyEnded, sam.ID, ledger.KeyEndedPayload{Key: k.ID, Why: "lost", From: w.Clock.Now().UnixMilli()}, nil, nil))
	ended, err := w.Store.Key(ctx, k.ID)
	if err != nil || ended.Sealed != nil || ended.EndedAt.IsZero() || ended.Why != "lost" {
		t.Errorf("ended: %+v, %v", ended, err)
	}
	if p, _ := w.Store.Person(ctx, sam.ID); p.Key != nil {
		t.Errorf("still the current key: %+v", p.Key)
	}
	_, err = w.Store.Append(ctx, w.SignOff(sam, pat, w.Tasks[0], nil))
	var r *ledger.RuleError
	if !errors.As(err, &r) || r.Code != ledger.KeyNotInForce {
		t.Errorf("signing with it: %v", err)
	}
	if _, err := w.Store.Key(ctx, "none"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no key: %v", err)
	}
	mustVerify(t, w.Options)
}

func testIdempotency(t *testing.T, w *storetest.World) {
	sub := w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)
	first := w.Append(sub)
	w.Clock.Add(time.Hour)
	var wg sync.WaitGroup
	for range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			again, err := w.Store.Append(ctx, sub)
			if err != nil || again != first {
				t.Errorf("again: %+v, %v", again, err)
			}
		}()
	}
	wg.Wait()
	other := w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)
	other.Body.ID = sub.Body.ID
	other.Signatures = nil
	if err := other.Sign(w.Supervisors[0].Signer); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Store.Append(ctx, other); !errors.Is(err, store.ErrConflict) {
		t.Errorf("another body: %v", err)
	}
	// The same submission from many at once makes one entry.
	sub = w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)
	receipts := make([]store.Receipt, 8)
	for i := range receipts {
		wg.Add(1)
		go func() {
			defer wg.Done()
			var err error
			if receipts[i], err = w.Store.Append(ctx, sub); err != nil {
				t.Error(err)
			}
		}()
	}
	wg.Wait()
	for _, r := range receipts {
		if r != receipts[0] || r.Index != first.Index+1 {
			t.Errorf("got %+v", receipts)
		}
	}
}

func entries(t testing.TB, s *store.Store) int64 {
	t.Helper()
	i, err := s.Info(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return i.Entries
}

func testAllOrNone(t *testing.T, w *storetest.World) {
	sam, pat := w.Supervisors[0], w.Apprentices[0]
	before := entries(t, w.Store)
	good, bad := w.SignOff(sam, pat, w.Tasks[0], nil), w.SignOff(sam, pat, "hose", nil)
	_, err := w.Store.AppendAll(ctx, good, bad)
	var r *ledger.RuleError
	if !errors.As(err, &r) || r.Code != ledger.NotAppointed {
		t.Errorf("got %v", err)
	}
	if n := entries(t, w.Store); n != before {
		t.Errorf("%d entries came of it", n-before)
	}
	receipts, err := w.Store.AppendAll(ctx, good, w.SignOff(sam, pat, w.Tasks[1], nil))
	if err != nil || receipts[0].Index != before || receipts[1].Index != before+1 {
		t.Errorf("got %+v, %v", receipts, err)
	}
	if receipts, err := w.Store.AppendAll(ctx); err != nil || len(receipts) != 0 {
		t.Errorf("nothing: %v, %v", receipts, err)
	}
}

func testBrokenRules(t *testing.T, w *storetest.World) {
	before := entries(t, w.Store)
	unsigned := w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)
	unsigned.Signatures = nil
	forged := w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)
	forged.Body.HappenedAt--
	for want, sub := range map[string]*ledger.Submission{ledger.Unsigned: unsigned, ledger.BadSignature: forged} {
		_, err := w.Store.Append(ctx, sub)
		var r *ledger.RuleError
		if !errors.As(err, &r) || r.Code != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
	if n := entries(t, w.Store); n != before {
		t.Errorf("%d entries came of it", n-before)
	}
	mustVerify(t, w.Options) // no content, no personal row was left behind
}

func testClockSetBack(t *testing.T, w *storetest.World) {
	sub := func() *ledger.Submission { return w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil) }
	a := w.Append(sub())
	w.Clock.Add(-72 * time.Hour)
	// Nothing can be dated before the clock any more than after; recording goes on at the last time.
	p := ledger.ReadingPayload{Lesson: "bleed", Edition: ledger.Hash(nil)}
	pat := w.Apprentices[0]
	h := ledger.Head{Type: ledger.LessonRead, At: storetest.Start.UnixMilli(), Zone: storetest.Zone, Actor: pat.ID, Subject: pat.ID}
	b := w.Append(w.MakeHead(h, p, nil, nil))
	va, err := w.Store.Entry(ctx, a.ID)
	if err != nil {
		t.Fatal(err)
	}
	vb, err := w.Store.Entry(ctx, b.ID)
	if err != nil {
		t.Fatal(err)
	}
	if vb.Entry.RecordedAt != va.Entry.RecordedAt || vb.Index != va.Index+1 {
		t.Errorf("recorded at %d after %d", vb.Entry.RecordedAt, va.Entry.RecordedAt)
	}
	mustVerify(t, w.Options)
}

func testEvidence(t *testing.T, w *storetest.World) {
	past := w.FullHistory()
	all, err := w.Store.Evidence(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	byID := map[string]readiness.Record{}
	types := map[string]int{}
	for _, r := range all {
		if _, twice := byID[r.ID]; twice {
			t.Errorf("two records have the id %s", r.ID)
		}
		byID[r.ID] = r
		types[r.Type]++
	}
	for _, typ := range []string{"job", "unwatched_job", "spot_check", "return", "answers", "theory_test", "reading", "clearance", "stand_down", "restore",
		"recognition", "correction", "dispute", "settlement", "leave"} {
		if types[typ] == 0 {
			t.Errorf("no evidence of type %s", typ)
		}
	}
	// Each is evidence as readiness reads it from a file: no faults.
	var lines strings.Builder
	for _, r := range all {
		b, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		lines.Write(append(b, '\n'))
	}
	if _, faults := readiness.ReadEvidence(strings.NewReader(lines.String())); len(faults) > 0 {
		t.Errorf("as a file it has faults: %+v", faults)
	}
	get := func(name string) readiness.Record { return byID[past[name]] }
	sam, sue, cora, pat := w.Supervisors[0].ID, w.Supervisors[1].ID, w.Coordinators[1].ID, w.Apprentices[0].ID
	if r := get("second job"); r.Supervisor != sue || r.Apprentice != pat || r.Outcome != "stopped_by_supervisor" || !r.Steps[2].CriticalError || !r.NearMiss || r.Date != "2026-01-07" || r.Layout != "diagonal" {
		t.Errorf("job %+v", r)
	}
	if r := get("handed in"); !r.Passed || !r.Watched || r.Edition != ledger.Hash([]byte("edition")) {
		t.Errorf("theory test %+v", r)
	}
	if r := byID[past["handed in"]+"/answers"]; r.Type != "answers" || len(r.Answers) != 2 || !r.Answers[0].Correct || r.Answers[1].Correct {
		t.Errorf("answers %+v", r)
	}
	if r := get("waiver"); !r.Waiver || r.Until != "2026-06-30" || string(r.Limits) != `{"layouts":["diagonal"],"holds":["bleed-by-two/s2"]}` {
		t.Errorf("clearance %+v %s", r, r.Limits)
	}
	if r := get("clearance"); r.Waiver || r.Until != "" || r.Limits != nil || !slices.Equal(r.By, []string{sam}) {
		t.Errorf("clearance %+v", r)
	}
	if r := get("stand-down"); r.Signed == nil || !*r.Signed || r.Task == "" {
		t.Errorf("stand-down %+v", r)
	}
	if r := get("stand-down of all"); r.Signed == nil || *r.Signed || r.Task != "" {
		t.Errorf("unsigned stand-down %+v", r)
	}
	if r := get("recognition"); !slices.Equal(r.By, []string{sam, cora}) || r.Jobs != 3 {
		t.Errorf("recognition %+v", r)
	}
	if r := get("correction of a correction"); r.Corrects != past["correction"] || !strings.Contains(string(r.Record), `"date":"2026-01-07"`) || !strings.Contains(string(r.Record), sam) {
		t.Errorf("correction %+v %s", r, r.Record)
	}
	if r := get("test withdrawn"); string(r.Record) != "null" || byID[past["test withdrawn"]+"/answers"].Corrects != past["handed in"]+"/answers" {
		t.Errorf("withdrawal %+v", r)
	}
	if r := get("leave"); r.From != "2026-01-05" || r.Date != "" {
		t.Errorf("leave %+v", r)
	}
	own, err := w.Store.Evidence(ctx, pat)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range own {
		if r.Apprentice != pat {
			t.Errorf("another's record: %+v", r)
		}
	}
}

func testEntries(t *testing.T, w *storetest.World) {
	past := w.FullHistory()
	all, err := w.Store.Entries(ctx, store.EntryFilter{Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	made := map[ledger.Type]bool{}
	for i, e := range all {
		if e.Index != int64(i) || (len(e.Closed) > 0) != ((e.Entry.Body.Subject == past["gil"] || e.Entry.Body.Subject == past["gus"]) && len(refsOf(t, e).Personal) > 0) {
			t.Fatalf("entry %d: index %d, closed %v", i, e.Index, e.Closed)
		}
		made[e.Entry.Body.Type] = true
	}
	for _, k := range ledger.Kinds() {
		if !made[k.Type] {
			t.Errorf("the history has no %s", k.Type)
		}
	}
	count := func(f store.EntryFilter) int {
		t.Helper()
		list, err := w.Store.Entries(ctx, f)
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	pat, sam := w.Apprentices[0].ID, w.Supervisors[0].ID
	for _, c := range []struct {
		name string
		f    store.EntryFilter
		keep func(e *store.EntryView) bool
	}{
		{"a subject", store.EntryFilter{Subject: pat}, func(e *store.EntryView) bool { return e.Entry.Body.Subject == pat }},
		{"an actor", store.EntryFilter{Actor: sam}, func(e *store.EntryView) bool { return e.Entry.Body.Actor == sam }},
		{"types", store.EntryFilter{Types: []ledger.Type{ledger.SignOff, ledger.Corrected}}, func(e *store.EntryView) bool {
			return e.Entry.Body.Type == ledger.SignOff || e.Entry.Body.Type == ledger.Corrected
		}},
		{"both", store.EntryFilter{Types: []ledger.Type{ledger.SignOff}, Subject: pat, Actor: sam}, func(e *store.EntryView) bool {
			return e.Entry.Body.Type == ledger.SignOff && e.Entry.Body.Subject == pat && e.Entry.Body.Actor == sam
		}},
		{"from an index", store.EntryFilter{From: 20}, func(e *store.EntryView) bool { return e.Index >= 20 }},
		{"newest down from an index", store.EntryFilter{From: 20, Newest: true}, func(e *store.EntryView) bool { return e.Index <= 20 }},
	} {
		want := 0
		for _, e := range all {
			if c.keep(e) {
				want++
			}
		}
		c.f.Limit = 1000
		if got := count(c.f); got != want || want == 0 {
			t.Errorf("%s: got %d, want %d", c.name, got, want)
		}
	}
	if n := count(store.EntryFilter{Task: w.Tasks[0], Types: []ledger.Type{ledger.Corrected}}); n != 3 {
		t.Errorf("corrections of a task, withdrawals included: %d, want 3", n) // a reading's and a leave's name no task
	}
	newest, err := w.Store.Entries(ctx, store.EntryFilter{Newest: true, Limit: 2})
	if err != nil || len(newest) != 2 || newest[0].Index != int64(len(all)-1) || newest[1].Index != int64(len(all)-2) {
		t.Errorf("newest: %v", err)
	}
	v, err := w.Store.Entry(ctx, past["return"])
	if err != nil || v.Personal["car"] != "blue wagon" || v.Personal["what_happened"] != "soft pedal" {
		t.Errorf("%+v, %v", v, err)
	}
	if _, err := w.Store.Entry(ctx, "none"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no entry: %v", err)
	}
	o := w.Options
	o.Keys = nil
	blind, err := store.Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	defer blind.Close()
	v, err = blind.Entry(ctx, past["return"])
	if err != nil || !slices.Equal(v.Closed, []string{"car", "what_happened"}) || len(v.Personal) != 0 {
		t.Errorf("without the key file: %+v, %v", v, err)
	}
}

func testProgrammes(t *testing.T, w *storetest.World) {
	w.FullHistory()
	list, err := w.Store.Adoptions(ctx)
	if err != nil || len(list) != 2 || list[0].By != w.Coordinators[0].ID || list[1].By != w.Coordinators[1].ID {
		t.Fatalf("%+v, %v", list, err)
	}
	i, err := w.Store.Info(ctx)
	if err != nil || i.Programme != list[1].Edition {
		t.Errorf("in use: %s, %v", i.Programme, err)
	}
	for _, a := range list {
		p, err := w.Store.Programme(ctx, a.Edition)
		if err != nil {
			t.Fatal(err)
		}
		if ledger.Hash(p.List) != a.Edition || len(p.Files["programme.yaml"]) == 0 {
			t.Errorf("%+v", p)
		}
	}
	if _, err := w.Store.Programme(ctx, ledger.Hash(nil)); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an edition never adopted: %v", err)
	}
	cora := w.Coordinators[1]
	adopt := func(list string, files ...string) error {
		sub := w.Make(cora.ID, ledger.ProgrammeAdopted, "", ledger.ProgrammePayload{}, nil, map[string][]byte{"programme": []byte(list)}, cora.Signer)
		for _, f := range files {
			sub.Files[ledger.Hash([]byte(f))] = []byte(f)
		}
		_, err := w.Store.Append(ctx, sub)
		return err
	}
	line := func(content, path string) string { return ledger.Hash([]byte(content)) + "  " + path + "\n" }
	for _, c := range []struct {
		name, list string
		files      []string
	}{
		{"no lines", "", nil},
		{"no line end", strings.TrimSuffix(line("a", "a.md"), "\n"), []string{"a"}},
		{"no hash", "xyz  a.md\n", nil},
		{"not sorted", line("a", "b.md") + line("b", "a.md"), []string{"a", "b"}},
		{"a path twice", line("a", "a.md") + line("b", "a.md"), []string{"a", "b"}},
		{"a file missing", line("a", "a.md"), nil},
		{"a file too many", line("a", "a.md"), []string{"a", "b"}},
	} {
		var f *ledger.FormatError
		if err := adopt(c.list, c.files...); !errors.As(err, &f) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// Files already kept need not come again.
	if err := adopt(line("a", "a.md"), "a"); err != nil {
		t.Error(err)
	}
	if err := adopt(line("a", "b.md")); err != nil {
		t.Error(err)
	}
	mustVerify(t, w.Options)
}

func job(w *storetest.World, apprentice *storetest.Member) store.Job {
	return store.Job{ID: w.ID(), Apprentice: apprentice.ID, Task: w.Tasks[0], Car: json.RawMessage(`{"plate":"ABC-123"}`), WorkOrder: "WO-55",
		Site: w.Site, Bay: "4", Setting: "customers_car", Difficulty: "usual"}
}

func testJobs(t *testing.T, w *storetest.World) {
	pat, pia, sam := w.Apprentices[0], w.Apprentices[1], w.Supervisors[0]
	j := job(w, pat)
	for range 2 { // the same again is the same
		if err := w.Store.AddJob(ctx, j); err != nil {
			t.Fatal(err)
		}
	}
	got, err := w.Store.Job(ctx, j.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := j
	want.Status, want.CreatedAt, want.Number = store.JobWaiting, w.Clock.Now(), 1
	if !got.CreatedAt.Equal(want.CreatedAt) {
		t.Errorf("created %s", got.CreatedAt)
	}
	want.CreatedAt = got.CreatedAt
	if !reflect.DeepEqual(*got, want) {
		t.Errorf("got  %+v\nwant %+v", *got, want)
	}
	other := j
	other.Apprentice = pia.ID
	if err := w.Store.AddJob(ctx, other); !errors.Is(err, store.ErrConflict) {
		t.Errorf("another under the same id: %v", err)
	}
	w.Clock.Add(time.Minute)
	k := job(w, pia)
	if err := w.Store.AddJob(ctx, k); err != nil {
		t.Fatal(err)
	}
	err = w.Store.UpdateJob(ctx, j.ID, func(x *store.Job) error {
		x.Status, x.Supervisor, x.StartedAt, x.Note = store.JobWatching, sam.ID, w.Clock.Now(), "at the lift"
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if got, _ = w.Store.Job(ctx, j.ID); got.Status != store.JobWatching || got.Supervisor != sam.ID || got.Note != "at the lift" || got.WorkOrder != "WO-55" || !got.StartedAt.Equal(w.Clock.Now()) {
		t.Errorf("updated %+v", got)
	}
	refused := errors.New("no")
	if err := w.Store.UpdateJob(ctx, j.ID, func(x *store.Job) error { x.Bay = "9"; return refused }); !errors.Is(err, refused) {
		t.Errorf("a refused change: %v", err)
	}
	if got, _ = w.Store.Job(ctx, j.ID); got.Bay != "4" {
		t.Errorf("a refused change was made: %+v", got)
	}
	for _, change := range []func(*store.Job){
		func(x *store.Job) { x.Apprentice = pia.ID }, func(x *store.Job) { x.Task = w.Tasks[1] }, func(x *store.Job) { x.Status = store.JobSigned },
	} {
		if err := w.Store.UpdateJob(ctx, j.ID, func(x *store.Job) error { change(x); return nil }); !errors.Is(err, store.ErrConflict) {
			t.Errorf("a change of what stays: %v", err)
		}
	}
	if err := w.Store.UpdateJob(ctx, "none", func(*store.Job) error { return nil }); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no job: %v", err)
	}
	ids := func(f store.JobFilter) (all []string) {
		t.Helper()
		list, err := w.Store.Jobs(ctx, f)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range list {
			all = append(all, x.ID)
		}
		return all
	}
	for _, c := range []struct {
		name string
		f    store.JobFilter
		want []string
	}{
		{"all, newest first", store.JobFilter{}, []string{k.ID, j.ID}},
		{"an apprentice's", store.JobFilter{Apprentice: pat.ID}, []string{j.ID}},
		{"a supervisor's", store.JobFilter{Supervisor: sam.ID}, []string{j.ID}},
		{"waiting", store.JobFilter{Status: []store.JobStatus{store.JobWaiting}}, []string{k.ID}},
		{"waiting or watched at the site", store.JobFilter{Site: w.Site, Status: []store.JobStatus{store.JobWaiting, store.JobWatching, store.JobSigned}}, []string{k.ID, j.ID}},
		{"another task", store.JobFilter{Task: w.Tasks[1]}, nil},
		{"one", store.JobFilter{Limit: 1}, []string{k.ID}},
	} {
		if got := ids(c.f); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

func testTaps(t *testing.T, w *storetest.World) {
	sam := w.Supervisors[0]
	j := job(w, w.Apprentices[0])
	if err := w.Store.AddJob(ctx, j); err != nil {
		t.Fatal(err)
	}
	yes := true
	taps := []store.Tap{
		{ID: "t1", By: sam.ID, At: 1, Step: "bleed/s1", Result: "unaided"},
		{ID: "t2", By: sam.ID, At: 2, Step: "bleed/s2@left", Result: "taken_over", CriticalError: true, WhatHappened: "hose cut"},
		{ID: "t3", By: sam.ID, At: 3, Step: "bleed/s3", Hold: "sent_back", Reason: "not clean"},
		{ID: "t4", By: sam.ID, At: 4, Step: "bleed/s3", Reading: &store.TapReading{Measure: 1, Value: "22,5", Unit: "mm", Instrument: "gauge 3"}},
		{ID: "t5", By: sam.ID, At: 5, Outcome: "finished", Difficulty: "awkward", NearMiss: &yes, Note: "slow"},
		{ID: "t6", By: sam.ID, At: 6, Undo: "t1"},
	}
	if err := w.Store.AddTaps(ctx, j.ID, taps[:3]); err != nil {
		t.Fatal(err)
	}
	changed := taps[1]
	changed.Result = "unaided"
	if err := w.Store.AddTaps(ctx, j.ID, append([]store.Tap{changed}, taps[2:]...)); err != nil { // two devices, a retry
		t.Fatal(err)
	}
	got, err := w.Store.Taps(ctx, j.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i := range taps {
		taps[i].Job = j.ID
	}
	if !reflect.DeepEqual(got, taps) {
		t.Errorf("got  %+v\nwant %+v", got, taps)
	}
	if err := w.Store.AddTaps(ctx, j.ID, []store.Tap{{By: sam.ID}}); err == nil {
		t.Error("a tap without an id")
	}
	if err := w.Store.AddTaps(ctx, "none", taps); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no job: %v", err)
	}
	if _, err := w.Store.Taps(ctx, "none"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no job: %v", err)
	}
	if err := w.Store.UpdateJob(ctx, j.ID, func(x *store.Job) error { x.Status = store.JobWithdrawn; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.AddTaps(ctx, j.ID, []store.Tap{{ID: "t7"}}); !errors.Is(err, store.ErrConflict) {
		t.Errorf("a withdrawn job: %v", err)
	}
	_, err = w.Store.Append(ctx, w.SignOff(sam, w.Apprentices[0], w.Tasks[0], func(p *ledger.SignOffPayload) { p.Job = j.ID }))
	if !errors.Is(err, store.ErrConflict) {
		t.Errorf("signing a withdrawn job: %v", err)
	}
}

func testSigningAJob(t *testing.T, w *storetest.World) {
	sam, pat := w.Supervisors[0], w.Apprentices[0]
	j := job(w, pat)
	if err := w.Store.AddJob(ctx, j); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.AddTaps(ctx, j.ID, []store.Tap{{ID: "t1", By: sam.ID, Step: "bleed/s1", Result: "unaided"}}); err != nil {
		t.Fatal(err)
	}
	sign := func(apprentice *storetest.Member, task string) (store.Receipt, error) {
		return w.Store.Append(ctx, w.SignOff(sam, apprentice, task, func(p *ledger.SignOffPayload) { p.Job = j.ID }))
	}
	if _, err := sign(w.Apprentices[1], w.Tasks[0]); !errors.Is(err, store.ErrConflict) {
		t.Errorf("as another's: %v", err)
	}
	if _, err := sign(pat, w.Tasks[1]); !errors.Is(err, store.ErrConflict) {
		t.Errorf("as another task: %v", err)
	}
	r, err := sign(pat, w.Tasks[0])
	if err != nil {
		t.Fatal(err)
	}
	got, err := w.Store.Job(ctx, j.ID)
	if err != nil || got.Status != store.JobSigned || got.SignOff != r.ID {
		t.Errorf("%+v, %v", got, err)
	}
	var broken *ledger.RuleError
	if _, err := sign(pat, w.Tasks[0]); !errors.As(err, &broken) || broken.Code != ledger.JobSignedOnce {
		t.Errorf("a second sign-off: %v", err)
	}
	if err := w.Store.AddTaps(ctx, j.ID, []store.Tap{{ID: "t2"}}); !errors.Is(err, store.ErrConflict) {
		t.Errorf("a tap after signing: %v", err)
	}
	if err := w.Store.UpdateJob(ctx, j.ID, func(*store.Job) error { return nil }); !errors.Is(err, store.ErrConflict) {
		t.Errorf("a change after signing: %v", err)
	}
	signed, err := w.Store.Jobs(ctx, store.JobFilter{Status: []store.JobStatus{store.JobSigned}})
	if err != nil || len(signed) != 1 {
		t.Errorf("signed jobs: %v, %v", signed, err)
	}
	if taps, err := w.Store.Taps(ctx, j.ID); err != nil || len(taps) != 1 {
		t.Errorf("taps: %v, %v", taps, err)
	}
}

func testTheoryTests(t *testing.T, w *storetest.World) {
	pat, sam := w.Apprentices[0], w.Supervisors[0]
	form := []byte(`{"programme_edition":"` + ledger.Hash([]byte("e")) + `"}`)
	id := w.Append(w.Make(pat.ID, ledger.TestIssued, pat.ID, ledger.TestIssuedPayload{Task: w.Tasks[0], Blueprint: "b", Seed: "7", Number: 1}, nil, map[string][]byte{"form": form})).ID
	got, err := w.Store.Test(ctx, id)
	if err != nil || got.Form != ledger.Hash(form) || got.Programme != ledger.Hash([]byte("e")) || !got.IssuedAt.Equal(w.Clock.Now()) || got.HandedIn != "" {
		t.Fatalf("%+v, %v", got, err)
	}
	for _, a := range []string{`"a"`, `"b"`} {
		if err := w.Store.SaveAnswer(ctx, id, "q1", json.RawMessage(a)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Store.SaveAnswer(ctx, id, "q2", json.RawMessage(`{`)); err == nil {
		t.Error("an answer that is no JSON")
	}
	if err := w.Store.SaveAnswer(ctx, "none", "q1", json.RawMessage(`"a"`)); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no test: %v", err)
	}
	answers, err := w.Store.DraftAnswers(ctx, id)
	if err != nil || len(answers) != 1 || string(answers["q1"]) != `"b"` {
		t.Errorf("%s, %v", answers, err)
	}
	for _, by := range []string{sam.ID, "", sam.ID} {
		if err := w.Store.WatchTest(ctx, id, by); err != nil {
			t.Fatal(err)
		}
		if got, _ = w.Store.Test(ctx, id); got.WatchedBy != by {
			t.Errorf("watched by %q, want %q", got.WatchedBy, by)
		}
	}
	if open, err := w.Store.Tests(ctx, store.TestFilter{Apprentice: pat.ID, Task: w.Tasks[0], OpenOnly: true}); err != nil || len(open) != 1 {
		t.Errorf("open: %v, %v", open, err)
	}
	w.Clock.Add(time.Hour)
	done := w.Append(w.HandIn(pat, id, w.Tasks[0], sam))
	got, err = w.Store.Test(ctx, id)
	if err != nil || got.HandedIn != done.ID || !got.HandedInAt.Equal(w.Clock.Now()) || got.Percent != 80 || !got.Passed || got.WatchedBy != sam.ID || got.AnswersHash == "" || got.MarksHash == "" {
		t.Errorf("%+v, %v", got, err)
	}
	if b, err := w.Store.Content(ctx, got.MarksHash); err != nil || string(b) != `{"points":8}` {
		t.Errorf("%s, %v", b, err)
	}
	if answers, err := w.Store.DraftAnswers(ctx, id); err != nil || len(answers) != 0 {
		t.Errorf("drafts after handing in: %v, %v", answers, err)
	}
	if err := w.Store.SaveAnswer(ctx, id, "q1", json.RawMessage(`"c"`)); !errors.Is(err, store.ErrConflict) {
		t.Errorf("an answer after handing in: %v", err)
	}
	if err := w.Store.WatchTest(ctx, id, ""); !errors.Is(err, store.ErrConflict) {
		t.Errorf("watching after handing in: %v", err)
	}
	second := w.Append(w.Make(pat.ID, ledger.TestIssued, pat.ID, ledger.TestIssuedPayload{Task: w.Tasks[0], Blueprint: "b", Seed: "7", Number: 2}, nil, map[string][]byte{"form": []byte(`no JSON`)})).ID
	list, err := w.Store.Tests(ctx, store.TestFilter{Apprentice: pat.ID})
	if err != nil || len(list) != 2 || list[0].ID != second {
		t.Fatalf("newest first: %+v, %v", list, err)
	}
	if i, _ := w.Store.Info(ctx); list[0].Programme != i.Programme {
		t.Errorf("a form that names no edition is of the one in use: %s", list[0].Programme)
	}
	if _, err := w.Store.Test(ctx, "none"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no test: %v", err)
	}
}

func testKeyRequests(t *testing.T, w *storetest.World) {
	pat, cora := w.Apprentices[0], w.Coordinators[1]
	ask := func() (*ledger.Submission, *ledger.Signer) {
		id := w.ID()
		k, public, sealed, err := ledger.NewKey(w.Random, id, pat.ID, "correct horse")
		if err != nil {
			t.Fatal(err)
		}
		return w.Make(pat.ID, ledger.KeyAdded, pat.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, k), k
	}
	first, _ := ask()
	second, _ := ask()
	for _, sub := range []*ledger.Submission{first, second} {
		if err := w.Store.SaveKeyRequest(ctx, store.KeyRequest{Person: pat.ID, Submission: sub}); err != nil {
			t.Fatal(err)
		}
	}
	if p, _ := w.Store.Person(ctx, pat.ID); !p.KeyWaiting || p.Key != nil {
		t.Errorf("%+v", p)
	}
	list, err := w.Store.KeyRequests(ctx)
	if err != nil || len(list) != 1 || list[0].Submission.Body.ID != second.Body.ID || !list[0].At.Equal(w.Clock.Now()) {
		t.Fatalf("%+v, %v", list, err)
	}
	if err := w.Store.SaveKeyRequest(ctx, store.KeyRequest{Person: cora.ID, Submission: first}); err == nil {
		t.Error("another's request")
	}
	// Days later a coordinator signs what was kept.
	w.Clock.Add(72 * time.Hour)
	sub := list[0].Submission
	if err := sub.Sign(cora.Signer); err != nil {
		t.Fatal(err)
	}
	w.Append(sub)
	if p, _ := w.Store.Person(ctx, pat.ID); p.KeyWaiting || p.Key == nil {
		t.Errorf("%+v", p)
	}
	if err := w.Store.SaveKeyRequest(ctx, store.KeyRequest{Person: pat.ID, Submission: first}); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.DropKeyRequest(ctx, pat.ID); err != nil {
		t.Fatal(err)
	}
	if list, err := w.Store.KeyRequests(ctx); err != nil || len(list) != 0 {
		t.Errorf("%+v, %v", list, err)
	}
	// A sealed key of another person could never be opened by its owner.
	id := w.ID()
	k, public, sealed, err := ledger.NewKey(w.Random, id, cora.ID, "correct horse")
	if err != nil {
		t.Fatal(err)
	}
	bad := w.Make(pat.ID, ledger.KeyAdded, pat.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, k, cora.Signer)
	var f *ledger.FormatError
	if _, err := w.Store.Append(ctx, bad); !errors.As(err, &f) {
		t.Errorf("another's sealed key: %v", err)
	}
}

func testSessions(t *testing.T, w *storetest.World) {
	pat := w.Apprentices[0]
	now := w.Clock.Now()
	for _, hash := range []string{"a", "b", "c"} {
		x := store.Session{Person: pat.ID, TokenHash: hash, API: hash == "b", CreatedAt: now, SeenAt: now, ExpiresAt: now.Add(time.Hour), ReauthAt: now}
		if err := w.Store.AddSession(ctx, x); err != nil {
			t.Fatal(err)
		}
		got, err := w.Store.Session(ctx, hash)
		if err != nil || got.Person != pat.ID || got.API != x.API || !got.ExpiresAt.Equal(x.ExpiresAt) || !got.ReauthAt.Equal(now) {
			t.Errorf("%+v, %v", got, err)
		}
	}
	if err := w.Store.AddSession(ctx, store.Session{Person: pat.ID, TokenHash: "a", ExpiresAt: now}); !errors.Is(err, store.ErrConflict) {
		t.Errorf("the same token: %v", err)
	}
	if err := w.Store.TouchSession(ctx, "a", now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if got, _ := w.Store.Session(ctx, "a"); !got.SeenAt.Equal(now.Add(time.Minute)) {
		t.Errorf("seen %s", got.SeenAt)
	}
	if err := w.Store.EndSessions(ctx, pat.ID, "b", ""); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Store.Session(ctx, "b"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("ended: %v", err)
	}
	if err := w.Store.EndSessions(ctx, w.Supervisors[0].ID, "a", ""); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.EndSessions(ctx, pat.ID, "", "a"); err != nil {
		t.Fatal(err)
	}
	if list, err := w.Store.Sessions(ctx, pat.ID); err != nil || len(list) != 1 || list[0].TokenHash != "a" {
		t.Errorf("%+v, %v", list, err)
	}
	w.Clock.Add(2 * time.Hour)
	now = w.Clock.Now()
	if err := w.Store.AddSession(ctx, store.Session{Person: pat.ID, TokenHash: "d", CreatedAt: now, SeenAt: now, ExpiresAt: now.Add(time.Hour)}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.Store.Session(ctx, "a"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("an expired session stays: %v", err)
	}
}

func testFailures(t *testing.T, w *storetest.World) {
	for range 3 {
		if err := w.Store.AddFailure(ctx, "login", "ada"); err != nil {
			t.Fatal(err)
		}
		w.Clock.Add(time.Second)
	}
	n, last, err := w.Store.Failures(ctx, "login", "ada")
	if err != nil || n != 3 || !last.Equal(w.Clock.Now().Add(-time.Second)) {
		t.Errorf("%d, %s, %v", n, last, err)
	}
	if n, last, err := w.Store.Failures(ctx, "code", "ada"); err != nil || n != 0 || !last.IsZero() {
		t.Errorf("another kind: %d, %s, %v", n, last, err)
	}
	if err := w.Store.ClearFailures(ctx, "login", "ada"); err != nil {
		t.Fatal(err)
	}
	if n, _, err := w.Store.Failures(ctx, "login", "ada"); err != nil || n != 0 {
		t.Errorf("cleared: %d, %v", n, err)
	}
}

func testCodes(t *testing.T, w *storetest.World) {
	pat := w.Apprentices[0].ID
	add := func(hash string) {
		t.Helper()
		if err := w.Store.AddCode(ctx, pat, hash, w.Supervisors[0].ID, w.Clock.Now().Add(15*time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	add("old")
	add("new")
	for _, c := range []struct {
		name, person, hash string
		want               error
	}{
		{"one replaced", pat, "old", store.ErrNotFound}, {"another's", w.Apprentices[1].ID, "new", store.ErrNotFound},
		{"the code", pat, "new", nil}, {"the code again", pat, "new", store.ErrNotFound},
	} {
		if err := w.Store.UseCode(ctx, c.person, c.hash); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	add("late")
	w.Clock.Add(15 * time.Minute)
	if err := w.Store.UseCode(ctx, pat, "late"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("expired: %v", err)
	}
}

func testVerdictCache(t *testing.T, w *storetest.World) {
	pat := w.Apprentices[0]
	look := func() (map[string]json.RawMessage, int64) {
		t.Helper()
		m, seen, err := w.Store.CachedVerdicts(ctx, pat.ID, "2026-01-05", "p", "q")
		if err != nil {
			t.Fatal(err)
		}
		return m, seen
	}
	keep := func(seen int64, standing string) {
		t.Helper()
		err := w.Store.CacheVerdicts(ctx, pat.ID, "2026-01-05", "p", "q", seen, map[string]json.RawMessage{w.Tasks[0]: json.RawMessage(`"` + standing + `"`)})
		if err != nil {
			t.Fatal(err)
		}
	}
	_, seen := look()
	keep(seen, "building")
	if m, _ := look(); len(m) != 1 || string(m[w.Tasks[0]]) != `"building"` {
		t.Errorf("kept: %s", m)
	}
	if m, _, _ := w.Store.CachedVerdicts(ctx, pat.ID, "2026-01-06", "p", "q"); len(m) != 0 {
		t.Errorf("another date: %s", m)
	}
	// What is about others leaves it.
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[1], w.Tasks[0], nil))
	if m, _ := look(); len(m) != 1 {
		t.Errorf("dropped by another's record: %s", m)
	}
	// A stand-down drops it, and a verdict made from what was read before does not come back.
	_, seen = look()
	w.Append(w.Make(w.Supervisors[0].ID, ledger.StandDownOrdered, pat.ID, ledger.StandDownPayload{}, map[string]string{"reason": "r"}, nil))
	if m, _ := look(); len(m) != 0 {
		t.Errorf("after a stand-down: %s", m)
	}
	keep(seen, "cleared")
	if m, _ := look(); len(m) != 0 {
		t.Errorf("a verdict from before the stand-down: %s", m)
	}
}

func testBeside(t *testing.T, w *storetest.World) {
	sam, pat := w.Supervisors[0], w.Apprentices[0]
	for _, c := range []struct {
		name   string
		change func(*ledger.Submission)
	}{
		{"a personal value changed", func(s *ledger.Submission) {
			f := s.Personal["notes"]
			f.Value = []byte("other")
			s.Personal["notes"] = f
		}},
		{"a salt changed", func(s *ledger.Submission) { f := s.Personal["notes"]; f.Salt[0]++; s.Personal["notes"] = f }},
		{"a personal value missing", func(s *ledger.Submission) { delete(s.Personal, "notes") }},
		{"a personal value too many", func(s *ledger.Submission) { s.Personal["car"] = ledger.PersonalField{Person: pat.ID} }},
		{"content too many", func(s *ledger.Submission) { s.Content["photo"] = []byte("x") }},
		{"files too many", func(s *ledger.Submission) { s.Files[ledger.Hash(nil)] = []byte{} }},
		{"files of another hash", func(s *ledger.Submission) { s.Files[ledger.Hash(nil)] = []byte("x") }},
		{"nobody's personal value", func(s *ledger.Submission) { f := s.Personal["notes"]; f.Person = ""; s.Personal["notes"] = f }},
	} {
		sub := w.SignOff(sam, pat, w.Tasks[0], nil)
		c.change(sub)
		var f *ledger.FormatError
		if _, err := w.Store.Append(ctx, sub); !errors.As(err, &f) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	sub := w.SignOff(sam, pat, w.Tasks[0], nil)
	f := sub.Personal["notes"]
	f.Person = "nobody"
	sub.Personal["notes"] = f
	var bad *ledger.FormatError
	if _, err := w.Store.Append(ctx, sub); !errors.As(err, &bad) {
		t.Errorf("somebody else's value: %v", err)
	}
	mustVerify(t, w.Options)
}

func testQueue(t *testing.T, w *storetest.World) {
	// A caller that fails harms nobody; one that gave up before its turn writes nothing; one that panics gets it back.
	hold, held := make(chan struct{}), make(chan struct{})
	results := make(chan error, 3)
	go func() {
		results <- w.Store.Write(ctx, func(*store.Tx) error { close(held); <-hold; return nil })
	}()
	<-held
	note := func(name string) func(*store.Tx) error {
		return func(t *store.Tx) error {
			return t.Exec(`INSERT INTO bookkeeping (name, value) VALUES ($1, 'x')`, name)
		}
	}
	cancelled, cancel := context.WithCancel(ctx)
	gaveUp := make(chan error, 1)
	go func() { gaveUp <- w.Store.Write(cancelled, note("given up")) }()
	failure := errors.New("mine alone")
	var wg sync.WaitGroup
	run := func(name string, fn func(*store.Tx) error, want error) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			if err := w.Store.Write(ctx, fn); !errors.Is(err, want) {
				t.Errorf("%s: got %v, want %v", name, err, want)
			}
		}()
	}
	for i := range 10 {
		run("good", note(fmt.Sprintf("good %d", i)), nil)
		run("bad", func(x *store.Tx) error {
			if err := note(fmt.Sprintf("bad %d", i))(x); err != nil {
				return err
			}
			return failure
		}, failure)
	}
	wg.Add(1)
	go func() {
		defer wg.Done()
		defer func() {
			if recover() != "mine" {
				t.Error("the panic did not come back")
			}
		}()
		w.Store.Write(ctx, func(x *store.Tx) error { note("panicked")(x); panic("mine") })
	}()
	cancel()
	if err := <-gaveUp; !errors.Is(err, context.Canceled) {
		t.Errorf("given up: %v", err)
	}
	close(hold)
	wg.Wait()
	if err := <-results; err != nil {
		t.Error(err)
	}
	if err := w.Store.Write(cancelled, note("too late")); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before: %v", err)
	}
	var names []string
	rows, err := w.Store.Readers().Query(`SELECT name FROM bookkeeping WHERE value = 'x' ORDER BY name`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	if len(names) != 10 || slices.ContainsFunc(names, func(s string) bool { return !strings.HasPrefix(s, "good") }) {
		t.Errorf("written: %v", names)
	}

	// What breaks the commit breaks it for all who share it.
	hold, held = make(chan struct{}), make(chan struct{})
	go func() {
		results <- w.Store.Write(ctx, func(*store.Tx) error { close(held); <-hold; return nil })
	}()
	<-held
	before := entries(t, w.Store)
	errs := make([]error, 2)
	started := make(chan struct{}, 2)
	for i, fn := range []func(*store.Tx) error{
		func(x *store.Tx) error {
			if err := x.Exec(`PRAGMA defer_foreign_keys = ON`); err != nil {
				return err
			}
			return x.Exec(`INSERT INTO personal (entry_id, field, person_id, sealed) VALUES ('no such entry', 'f', 'p', x'00')`)
		},
		note("shared"),
	} {
		wg.Add(1)
		go func() {
			defer wg.Done()
			started <- struct{}{}
			errs[i] = w.Store.Write(ctx, fn)
		}()
	}
	<-started
	<-started
	for w.Store.Waiting() < 2 { // both in the queue, so that they share one commit
		runtime.Gosched()
	}
	close(hold)
	wg.Wait()
	if err := <-results; err != nil {
		t.Error(err)
	}
	if errs[0] == nil || errs[1] == nil {
		t.Errorf("the commit failed, and the callers were told %v", errs)
	}
	if n := entries(t, w.Store); n != before {
		t.Errorf("%d entries came of it", n-before)
	}
	if err := w.Store.Write(ctx, note("afterwards")); err != nil {
		t.Errorf("after a failed commit: %v", err)
	}
	if err := w.Store.Close(); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.Write(ctx, note("closed")); !errors.Is(err, store.ErrClosed) {
		t.Errorf("after closing: %v", err)
	}
}

func testManySigners(t *testing.T, w *storetest.World) {
	const signers, each = 32, 8
	subs := make([][]*ledger.Submission, signers)
	for i := range subs {
		for j := range each {
			sam, pat := w.Supervisors[(i+j)%len(w.Supervisors)], w.Apprentices[i%len(w.Apprentices)]
			task := w.Tasks[j%len(w.Tasks)]
			if (i+j)%5 == 4 {
				task = "hose" // nobody is appointed for it: refused in the middle of others' commit
			}
			subs[i] = append(subs[i], w.SignOff(sam, pat, task, nil))
		}
	}
	before := entries(t, w.Store)
	var mu sync.Mutex
	indexes := map[int64]string{}
	var wg sync.WaitGroup
	for i := range subs {
		wg.Add(1)
		go func() {
			defer wg.Done()
			last := int64(-1)
			for _, sub := range subs[i] {
				r, err := w.Store.Append(ctx, sub)
				var broken *ledger.RuleError
				if errors.As(err, &broken) && broken.Code == ledger.NotAppointed {
					continue
				}
				if err != nil {
					t.Error(err)
					return
				}
				if r.Index <= last {
					t.Errorf("index %d after %d: a signer's own order was lost", r.Index, last)
				}
				last = r.Index
				mu.Lock()
				indexes[r.Index] = r.ID
				mu.Unlock()
			}
		}()
	}
	wg.Wait()
	after := entries(t, w.Store)
	if int64(len(indexes)) != after-before {
		t.Errorf("%d were acknowledged, %d are there", len(indexes), after-before)
	}
	for i := before; i < after; i++ {
		if indexes[i] == "" {
			t.Errorf("entry %d was acknowledged to nobody", i)
		}
	}
	mustVerify(t, w.Options)
}

func testTwoProcesses(t *testing.T, w *storetest.World) {
	other, err := store.Open(ctx, w.Options)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	stores := []*store.Store{w.Store, other}
	subs := make([]*ledger.Submission, 40)
	for i := range subs {
		subs[i] = w.SignOff(w.Supervisors[i%3], w.Apprentices[i%4], w.Tasks[i%2], nil)
	}
	before := entries(t, other)
	var wg sync.WaitGroup
	for i, sub := range subs {
		wg.Add(1)
		go func() {
			defer wg.Done()
			if _, err := stores[i%2].Append(ctx, sub); err != nil {
				t.Error(err)
			}
		}()
	}
	wg.Wait()
	if n := entries(t, w.Store); n != before+int64(len(subs)) {
		t.Errorf("%d entries", n-before)
	}
	// What one writes, the other sees at once: names too, which are remembered once opened.
	pat := w.Apprentices[0]
	if p, err := other.PersonByLogin(ctx, "pat0"); err != nil || p.Name != "Pat 00" {
		t.Fatalf("%+v, %v", p, err)
	}
	w.Append(w.Make(pat.ID, ledger.PersonRenamed, pat.ID, ledger.PersonPayload{}, map[string]string{"name": "Pat Newname", "login": "pn"}, nil))
	if p, err := other.PersonByLogin(ctx, "pn"); err != nil || p.Name != "Pat Newname" {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := other.PersonByLogin(ctx, "pat0"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("the old name: %v", err)
	}
	mustVerify(t, w.Options)
}

// What is personal stands nowhere in the files as it is, drafts included.
func testNothingInTheClear(t *testing.T, w *storetest.World) {
	w.FullHistory()
	j := job(w, w.Apprentices[0])
	j.Car = json.RawMessage(`{"plate":"PLATE-99"}`)
	if err := w.Store.AddJob(ctx, j); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.UpdateJob(ctx, j.ID, func(x *store.Job) error { x.Note = "NOTE-99"; return nil }); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.AddTaps(ctx, j.ID, []store.Tap{{ID: "t", WhatHappened: "HAPPENED-99", Reason: "REASON-99", Note: "TAPNOTE-99"}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Store.AddFailure(ctx, "login", "MISTYPED-99"); err != nil {
		t.Fatal(err)
	}
	words := []string{"PLATE-99", "WO-55", "NOTE-99", "HAPPENED-99", "REASON-99", "TAPNOTE-99", "MISTYPED-99", "Ada Founder", "Pat Renamed", "pat.renamed",
		"blue wagon", "soft pedal", "because it was so", "WO-1234", "WO-77", "clean work", "North shop\x00", "Brake technician", "password of", "passphrase of"}
	check := func() {
		t.Helper()
		files, err := filepath.Glob(w.Options.Database + "*")
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			b, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			for _, word := range words {
				if strings.Contains(string(b), word) {
					t.Errorf("%s holds %q", filepath.Base(f), word)
				}
			}
		}
	}
	check()
	if err := w.Store.Close(); err != nil {
		t.Fatal(err)
	}
	check()
}

func refsOf(t *testing.T, e *store.EntryView) ledger.Refs {
	t.Helper()
	p, err := ledger.Parse(e.Leaf)
	if err != nil {
		t.Fatal(err)
	}
	return p.Refs()
}
