package actstest

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

var update = flag.Bool("update", false, "make the database of the newest schema anew")

// databases holds a shop of each released schema with its key file and what must be found in it. Package store keeps
// databases of its own there, of invented content; in these everything stands on the example programme as in real use:
// editions, forms, sheets, drafts. Once a schema is released its files are never made anew: every later build must open,
// migrate and verify them as they are.
const (
	databases = "../../../testdata/databases"
	newest    = "shop-0003" // the number is that of the last migration
)

// found is what a later build must find in a kept database.
type found struct {
	Clock     time.Time           `json:"clock"` // when it is looked at
	Entries   int64               `json:"entries"`
	Programme string              `json:"programme"`
	Kinds     map[ledger.Type]int `json:"kinds"`     // entries by type
	Standings map[string]string   `json:"standings"` // by "login task"
	Drafts    map[string]int      `json:"drafts"`    // jobs by state, "taps", "answers", "tests open", "keys waiting"
	LogIns    map[string]string   `json:"log_ins"`   // passwords by log-in name
}

// TestKeptDatabases opens a copy of every kept database with this build, which migrates it, and looks for everything that
// was recorded; verifies it with its key file and without; and makes its projections anew.
func TestKeptDatabases(t *testing.T) {
	if *update {
		generate(t)
	}
	files, err := filepath.Glob(databases + "/shop-*.sqlite")
	if err != nil || len(files) == 0 {
		t.Fatalf("no databases in testdata/databases (%v): go test ./server/acts/actstest -update", err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".sqlite")
		t.Run(name, func(t *testing.T) {
			var want found
			raw := readFile(t, databases+"/"+name+".json")
			if err := json.Unmarshal(raw, &want); err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			path := filepath.Join(dir, name+".sqlite")
			writeFile(t, path, readFile(t, file))
			writeFile(t, path+".keys", readFile(t, databases+"/"+name+".keys")) // a working copy keeps no file modes
			keys, err := store.ReadKeyFile(path + ".keys")
			if err != nil {
				t.Fatal(err)
			}
			clock := &storetest.Clock{}
			clock.Set(want.Clock)
			o := store.Options{Database: path, Keys: keys, Now: clock.Now, Random: storetest.Random(9)}
			s, err := store.Open(t.Context(), o)
			if err != nil {
				t.Fatal(err)
			}
			service := acts.New(s, clock.Now, o.Random, "test")
			if diff := cmp.Diff(want, look(t, service, want)); diff != "" {
				t.Errorf("what is found in it (-kept +now):\n%s", diff)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			for _, keyFile := range []*store.KeyFile{keys, nil} {
				o := o
				o.Keys = keyFile
				v, err := store.Verify(t.Context(), o, false, nil)
				if err != nil {
					t.Fatalf("verify, key file %v: %v", keyFile != nil, err)
				}
				if !v.OK || v.Entries != want.Entries || slices.Contains(v.NotExamined, "personal") != (keyFile == nil) || v.Head == nil {
					t.Errorf("verify, key file %v: %+v, first problem %+v", keyFile != nil, v, v.FirstProblem)
				}
			}
			v, err := store.Rebuild(t.Context(), o, true, nil)
			if err != nil || !v.OK {
				t.Errorf("the projections made anew differ: %+v, %v", v, err)
			}
		})
	}
}

// look reads a database through the acts, as pages would.
func look(t *testing.T, a *acts.Service, kept found) found {
	t.Helper()
	ctx := t.Context()
	ok := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	info, err := a.Store.Info(ctx)
	ok(err)
	out := found{Clock: kept.Clock, Entries: info.Entries, Programme: info.Programme, Kinds: map[ledger.Type]int{}, Standings: map[string]string{}, Drafts: map[string]int{}, LogIns: map[string]string{}}
	all, err := a.Store.Entries(ctx, store.EntryFilter{Limit: 10_000})
	ok(err)
	for _, e := range all {
		out.Kinds[e.Entry.Body.Type]++
	}
	p, err := a.Programme(ctx)
	ok(err)
	if p.Edition != info.Programme {
		t.Errorf("the programme in use is %s, loaded %s", info.Programme, p.Edition)
	}
	people, err := a.Store.People(ctx)
	ok(err)
	today, err := a.Today(ctx)
	ok(err)
	for _, x := range people {
		if x.Name == "" || x.Login == "" {
			t.Errorf("%s has no name", x.ID)
		}
		if !slices.ContainsFunc(x.Roles, func(r store.Role) bool { return r.Role == acts.Apprentice }) || !acts.Holds(x, acts.Apprentice, today) {
			continue
		}
		verdicts, err := a.Standings(ctx, x, x.ID)
		ok(err)
		for _, v := range verdicts {
			out.Standings[x.Login+" "+v.Task] = string(v.Standing)
		}
	}
	for login, password := range kept.LogIns {
		if _, _, err := a.LogIn(ctx, login, password, "127.0.0.1", false); err != nil {
			t.Errorf("%s cannot log in: %v", login, err)
			continue
		}
		out.LogIns[login] = password
	}
	jobs, err := a.Store.Jobs(ctx, store.JobFilter{Limit: 1000})
	ok(err)
	for _, j := range jobs {
		out.Drafts["jobs "+string(j.Status)]++
		taps, err := a.Store.Taps(ctx, j.ID)
		ok(err)
		out.Drafts["taps"] += len(taps)
	}
	tests, err := a.Store.Tests(ctx, store.TestFilter{OpenOnly: true})
	ok(err)
	for _, x := range tests {
		answers, err := a.Store.DraftAnswers(ctx, x.ID)
		ok(err)
		out.Drafts["tests open"]++
		out.Drafts["answers"] += len(answers)
		raw, err := a.Store.Content(ctx, x.Form)
		ok(err)
		_, err = quiz.ReadForm(raw)
		ok(err)
	}
	waiting, err := a.Store.KeyRequests(ctx)
	ok(err)
	out.Drafts["keys waiting"] = len(waiting)
	return out
}

// generate founds a shop with the example programme and makes an entry of every type: through the acts, or, where acts for it
// come later, through the ledger's own submissions.
func generate(t *testing.T) {
	t.Helper()
	example := os.DirFS("../../../testdata/format")
	s := Found(t, Config{Files: example, Supervisors: 3, Apprentices: 4})
	ctx := t.Context()
	boss, sam, sue, sid := s.Coordinator, s.Supervisors[0], s.Supervisors[1], s.Supervisors[2]
	pat, pia, pim, pam := s.Apprentices[0], s.Apprentices[1], s.Apprentices[2], s.Apprentices[3]
	const safe, hubs = "make-safe", "repack-hubs"

	// A clearance of somebody who is ready, and two by waiver; a job with everything that a sheet takes.
	s.Ready(pat, safe)
	s.Clear(sam, pat, safe)
	s.Read(pia, safe)
	s.GoodJob(sam, pia, safe, "flatbed")
	s.waive(sam, sue, pia, safe)
	s.Read(pat, hubs)
	s.PassTest(pat, hubs, "flatbed")
	s.fullJob(sue, pat, hubs)
	s.NextDay()
	s.GoodJob(sam, pat, hubs, "flatbed")
	s.waive(sue, sam, pat, hubs)
	s.NextDay()
	_, err := s.Acts.UnwatchedJob(ctx, s.Who(pat), acts.UnwatchedRequest{Task: hubs})
	s.ok(err)
	down, err := s.Acts.StandDown(ctx, s.Who(sam), "", pat.ID, hubs, "A nut was left loose", "")
	s.ok(err)
	_, err = s.Acts.SignStandDown(ctx, s.Who(sam), "", down.ID, sam.Passphrase)
	s.ok(err)
	s.Clock.Add(time.Hour)
	_, err = s.Acts.Restore(ctx, s.Who(sue), "", pat.ID, hubs, "Shown again and sound", sue.Passphrase)
	s.ok(err)

	// The roster.
	a, founder := s.Acts, s.Who(boss)
	_, err = a.AddPeople(ctx, founder, []acts.NewPerson{{Name: "Cora Vale", Login: "cora", Role: acts.Coordinator}}, boss.Passphrase)
	s.ok(err)
	s.ok(a.Rename(ctx, founder, pim.ID, "Wren Halloway-Moss", ""))
	s.ok(a.GrantRole(ctx, founder, sid.ID, store.Role{Role: acts.Supervisor, Site: s.Site, Author: true}, boss.Passphrase))
	s.ok(a.TakeLeave(ctx, founder, pia.ID, "", s.Clock.Now().Add(72*time.Hour).Format(time.DateOnly)))
	s.ok(a.RequestKey(ctx, s.Who(sid), "umber spindle basalt again"))
	s.ok(a.ConfirmKeys(ctx, founder, []string{sid.ID}, boss.Passphrase)) // ends the older key
	sid.Passphrase = "umber spindle basalt again"
	today, err := a.Today(ctx)
	s.ok(err)
	s.ok(a.EndAppointment(ctx, founder, sid.ID, s.Who(sid).Appointments[0].Entry, today, boss.Passphrase))
	s.ok(a.LeaveCohort(ctx, founder, pam.ID, s.Cohort, today))
	s.ok(a.EndAgreement(ctx, founder, pam.ID, s.Who(pam).Agreements[0].Entry, today))
	s.ok(a.EndRole(ctx, founder, pam.ID, s.Who(pam).Roles[0].Entry, today))

	// Another edition: a title, adopted by signature.
	files := copyOf(t, example)
	lesson := files["lessons/repack-hubs.md"]
	lesson.Data = []byte(strings.Replace(string(lesson.Data), "\n# ", "\n# Please: ", 1))
	offer, err := a.Compare(ctx, founder, files)
	s.ok(err)
	if offer.Programme == nil || offer.Same {
		t.Fatalf("no other edition: %+v", offer.Problems)
	}
	_, err = a.Adopt(ctx, founder, offer, offer.Programme.Edition, boss.Passphrase)
	s.ok(err)

	s.otherKinds(boss, sam, sue, sid, pat, pim)
	s.drafts(sam, pia, pim)

	kinds := look(t, a, found{}).Kinds
	for _, k := range ledger.Kinds() {
		if kinds[k.Type] == 0 {
			t.Errorf("no entry of type %s", k.Type)
		}
	}
	if t.Failed() {
		return
	}
	s.keep(found{Clock: s.Clock.Now().Add(time.Hour).UTC(), LogIns: map[string]string{boss.Login: boss.Password, sam.Login: sam.Password, pat.Login: pat.Password}})
}

// waive clears somebody who is not ready, with limits, by two people's signatures.
func (s *Shop) waive(supervisor, second, apprentice *Member, task string) {
	s.t.Helper()
	until := s.Clock.Now().AddDate(0, 6, 0).Format(time.DateOnly)
	r := acts.ClearanceRequest{Apprentice: apprentice.ID, Task: task, Until: until, Layouts: []string{s.Programme.Vehicle("flatbed").Layout}, Reason: "Needed for the season",
		Passphrase: supervisor.Passphrase, SecondLogin: second.Login, SecondPassphrase: second.Passphrase, WaiverGates: acts.ClosedGates(s.Standing(apprentice, task))}
	if len(r.WaiverGates) > 0 {
		r.WaiverUntil = until
	}
	_, err := s.Acts.Clear(s.ctx, s.Who(supervisor), r)
	s.ok(err)
}

// fullJob is a signed job on a car described on the spot with everything that a sheet takes: readings, a prompted step, a
// critical error, a hold point sent back and accepted, a note, a near miss, a tap undone.
func (s *Shop) fullJob(supervisor, apprentice *Member, task string) {
	s.t.Helper()
	sup := s.Who(supervisor)
	v := s.Programme.Vehicle("tipper")
	car := curriculum.Car{Title: "grey trailer", Layout: v.Layout, Features: v.Features}
	for _, w := range v.Wheels {
		car.Wheels = append(car.Wheels, curriculum.CarWheel(w))
	}
	car.Orders = v.Orders
	for _, n := range s.Programme.Needed(s.Programme.Task(task).Lessons, car) {
		f, known := v.Figure(n.Key, "")
		if !known {
			continue
		}
		n.Value, n.High, n.Unit, n.Source = f.Value, f.High, f.Unit, "the maker's booklet"
		car.Figures = append(car.Figures, n)
	}
	j, err := s.Acts.AskJob(s.ctx, s.Who(apprentice), acts.JobRequest{Apprentice: apprentice.ID, Task: task, Car: &car, WorkOrder: "WO-12", Site: s.Site, Bay: "2"})
	s.ok(err)
	s.ok(s.Acts.TakeJob(s.ctx, sup, j.ID))
	sheet, err := s.Acts.Job(s.ctx, sup, j.ID)
	s.ok(err)
	s.Clock.Add(time.Hour)
	now := s.Clock.Now().UnixMilli()
	var taps []store.Tap
	add := func(t store.Tap) store.Tap {
		t.ID, t.At = s.ID(), now
		taps = append(taps, t)
		return t
	}
	prompted, critical, sentBack, measured := false, false, false, false
	for _, l := range sheet.Lessons {
		for _, st := range l.Steps {
			result := store.Tap{Step: st.Key, Result: "unaided"}
			switch {
			case st.Critical && !critical:
				result.Result, result.CriticalError, result.WhatHappened, critical = "taken_over", true, "The nut was not locked", true
			case !st.Critical && !st.HoldPoint && !prompted:
				wrong := add(store.Tap{Step: st.Key, Result: "taken_over"})
				add(store.Tap{Undo: wrong.ID})
				result.Result, prompted = "prompted", true
			}
			add(result)
			if st.HoldPoint {
				if !sentBack {
					add(store.Tap{Step: st.Key, Hold: "sent_back", Reason: "Grease on the drum"})
					sentBack = true
				}
				add(store.Tap{Step: st.Key, Hold: "accepted"})
			}
			for _, m := range st.Measures {
				if unit := string(m.Unit); unit != "" {
					add(store.Tap{Step: st.Key, Reading: &store.TapReading{Measure: m.Number, Value: "0.05", Unit: unit, Instrument: "dial 3"}})
					measured = true
				}
			}
		}
	}
	if !prompted || !critical || !sentBack || !measured {
		s.t.Fatalf("the sheet of %s lacks a kind of step", task)
	}
	yes := true
	add(store.Tap{NearMiss: &yes})
	add(store.Tap{Note: "Worked calmly after that"})
	add(store.Tap{Outcome: "finished", Difficulty: "awkward"})
	_, err = s.Acts.Tap(s.ctx, sup, j.ID, taps)
	s.ok(err)
	_, err = s.Acts.SignJobs(s.ctx, sup, nil, []string{j.ID}, supervisor.Passphrase, nil)
	s.ok(err)
}

// otherKinds are entries for which there are no acts yet.
func (s *Shop) otherKinds(boss, sam, sue, sid, pat, pim *Member) {
	s.t.Helper()
	w := &storetest.World{T: s.t, Store: s.Store, Options: s.Options, Clock: s.Clock, Random: s.Random}
	key := func(m *Member) *ledger.Signer {
		k, err := ledger.Unseal(s.Who(m).Key.Sealed, m.ID, m.Passphrase)
		s.ok(err)
		return k
	}
	add := func(sub *ledger.Submission) string {
		s.t.Helper()
		r, err := s.Store.Append(s.ctx, sub)
		s.ok(err)
		s.Clock.Add(5 * time.Minute)
		return r.ID
	}
	mk := func(t ledger.Type, by, about *Member, payload any, personal map[string]string, keys ...*ledger.Signer) *ledger.Submission {
		h := ledger.Head{Type: t, At: s.Clock.Now().UnixMilli(), Zone: Zone, Actor: by.ID, Subject: about.ID, Site: s.Site}
		return w.MakeHead(h, payload, personal, nil, keys...)
	}
	why := map[string]string{"reason": "because it was so"}
	const hubs = "repack-hubs"
	add(mk(ledger.SpotCheck, sue, pat, ledger.SpotCheckPayload{Task: hubs, Finding: "flaw"}, map[string]string{"notes": "a cap was missing"}, key(sue)))
	opened := add(mk(ledger.CaseOpened, boss, pat, ledger.CaseOpenedPayload{Task: hubs, Jobs: []string{}, People: []string{pat.ID, boss.ID}}, map[string]string{"car": "blue trailer", "what_happened": "a hot hub"}))
	add(mk(ledger.Return, boss, pat, ledger.ReturnPayload{Task: hubs, Finding: "part", Case: opened}, map[string]string{"car": "blue trailer", "what_happened": "a hot hub"}, key(boss)))
	add(mk(ledger.Recognised, sam, pim, ledger.RecognitionPayload{Task: hubs, StandsFor: []string{"jobs"}, Jobs: 2}, why, key(sam), key(boss)))
	parameters, err := s.Store.Info(s.ctx)
	s.ok(err)
	bytes, err := s.Store.Content(s.ctx, parameters.Parameters)
	s.ok(err)
	add(w.Make(boss.ID, ledger.ParametersAdopted, "", ledger.ParametersPayload{}, nil, map[string][]byte{"parameters": bytes}, key(boss)))
	jobs, err := s.Store.Entries(s.ctx, store.EntryFilter{Subject: pat.ID, Types: []ledger.Type{ledger.SignOff}, Limit: 10})
	s.ok(err)
	last := jobs[len(jobs)-1].Entry.Body.ID
	add(mk(ledger.Disputed, pat, pat, ledger.DisputePayload{Disputes: last}, why))
	add(mk(ledger.DisputeSettled, sid, pat, ledger.SettlementPayload{Disputes: last, Upheld: true}, why, key(sid)))
	readings, err := s.Store.Entries(s.ctx, store.EntryFilter{Subject: pat.ID, Types: []ledger.Type{ledger.LessonRead}, Limit: 10})
	s.ok(err)
	head := ledger.Head{Type: ledger.Corrected, At: s.Clock.Now().UnixMilli(), Zone: Zone, Actor: boss.ID, Subject: pat.ID, Corrects: readings[0].Entry.Body.ID}
	add(w.MakeHead(head, ledger.CorrectionPayload{Withdraw: true}, why, nil, key(boss)))
}

// drafts are what is not in the ledger yet: jobs that wait and are being watched, an open test, a key that waits, a session.
func (s *Shop) drafts(sam, pia, pim *Member) {
	s.t.Helper()
	const safe, hubs = "make-safe", "repack-hubs"
	_, err := s.Acts.AskJob(s.ctx, s.Who(pim), acts.JobRequest{Apprentice: pim.ID, Task: safe, Vehicle: "tipper", WorkOrder: "WO-31"})
	s.ok(err)
	j, err := s.Acts.AskJob(s.ctx, s.Who(sam), acts.JobRequest{Apprentice: pia.ID, Task: hubs, Vehicle: "flatbed", Watch: true})
	s.ok(err)
	sheet, err := s.Acts.Job(s.ctx, s.Who(sam), j.ID)
	s.ok(err)
	_, err = s.Acts.Tap(s.ctx, s.Who(sam), j.ID, s.AllUnaided(sheet)[:2])
	s.ok(err)
	test, form, err := s.Acts.StartTest(s.ctx, s.Who(pia), "", hubs, "tipper")
	s.ok(err)
	for _, q := range form.Questions[:2] {
		s.ok(s.Acts.Answer(s.ctx, s.Who(pia), test.ID, q.ID, RightAnswer(q)))
	}
	s.ok(s.Acts.RequestKey(s.ctx, s.Who(pim), "yarrow gravel orchard again"))
	_, _, err = s.Acts.LogIn(s.ctx, pia.Login, pia.Password, "127.0.0.1", false)
	s.ok(err)
}

// keep writes a compact copy of the database, its key file, and what is to be found in them.
func (s *Shop) keep(want found) {
	t := s.t.(*testing.T)
	t.Helper()
	base := filepath.Join(databases, newest)
	if err := os.MkdirAll(databases, 0o755); err != nil { //nolint:gosec // for everybody who clones
		t.Fatal(err)
	}
	for _, suffix := range []string{".sqlite", ".keys", ".json"} {
		if err := os.Remove(base + suffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
	}
	_, err := store.Backup(context.Background(), s.Options, base+".sqlite", nil)
	s.ok(err)
	s.ok(s.Options.Keys.Write(base + ".keys"))
	s.Clock.Set(want.Clock)
	b, err := json.MarshalIndent(look(t, s.Acts, want), "", "  ")
	s.ok(err)
	if err := os.WriteFile(base+".json", append(b, '\n'), 0o644); err != nil { //nolint:gosec // the same
		t.Fatal(err)
	}
}

// copyOf is a folder in memory.
func copyOf(t *testing.T, fsys fs.FS) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	err := fs.WalkDir(fsys, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(fsys, path)
		out[path] = &fstest.MapFile{Data: b}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func readFile(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func writeFile(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}
