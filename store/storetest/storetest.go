// Package storetest founds small programmes in temporary databases, for tests of the store and of whatever stands on it.
// Importing it makes argon2id cheap: keys and passwords made in such a binary protect nothing.
package storetest

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"sort"
	"sync"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/ledger/passkeytest"
)

// Cheap is the cost of keys and passwords made in tests.
var Cheap = ledger.Cost{MemoryKiB: 64, Time: 1, Threads: 1}

func init() {
	ledger.KeyCost = Cheap
	store.PasswordCost = Cheap
}

// Zone is the programme's time zone, and Start the moment of its founding.
const Zone = "America/Denver"

var Start = time.Date(2026, time.January, 5, 15, 0, 0, 0, time.UTC)

// Clock is a clock that tests turn.
type Clock struct {
	mu sync.Mutex
	t  time.Time
}

// Now is the time it shows.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

// Add turns it on.
func (c *Clock) Add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// Set turns it to a time, back as well.
func (c *Clock) Set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = t
}

// Random is a reproducible source of randomness, safe for concurrent use.
func Random(seed uint64) io.Reader {
	var key [32]byte
	for i := range 8 {
		key[i] = byte(seed >> (8 * i))
	}
	return &locked{r: rand.NewChaCha8(key)}
}

type locked struct {
	mu sync.Mutex
	r  io.Reader
}

func (l *locked) Read(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.r.Read(p)
}

// Member is a person of the programme with all secrets.
type Member struct {
	ID, Name, Login, Password, Passphrase string
	Signer                                *ledger.Signer // nil for apprentices
}

// Config varies what New founds. Zero fields take the default.
type Config struct {
	Programme  *store.Programme // one with programme.yaml alone
	Parameters []byte           // {}
	Tasks      []string         // "bleed-by-two", "caliper-replace"; every supervisor is appointed for all
	Coordinators, Supervisors,
	Apprentices int // 2, 3, 4
	Seed uint64
	Dir  string // t.TempDir()
	Demo bool
}

// World is a founded programme.
type World struct {
	T            testing.TB
	Store        *store.Store
	Options      store.Options
	Clock        *Clock
	Random       io.Reader
	Tasks        []string
	Site, Cohort string
	Coordinators []*Member // the first is the founder
	Supervisors  []*Member
	Apprentices  []*Member
}

// Programme makes a programme of files.
func Programme(files map[string]string) *store.Programme {
	p := &store.Programme{Files: map[string][]byte{}}
	paths := make([]string, 0, len(files))
	for path := range files {
		paths = append(paths, path)
	}
	sort.Strings(paths)
	for _, path := range paths {
		b := []byte(files[path])
		p.Files[path] = b
		p.List = append(p.List, ledger.Hash(b)+"  "+path+"\n"...)
	}
	p.Edition = ledger.Hash(p.List)
	return p
}

// New founds a programme: coordinators, supervisors appointed for all tasks, apprentices in one cohort at one site.
func New(t testing.TB, c Config) *World {
	t.Helper()
	if c.Programme == nil {
		c.Programme = Programme(map[string]string{"programme.yaml": "title: Bench programme\npolicy:\n  backdating_days: 14\n"})
	}
	if c.Parameters == nil {
		c.Parameters = []byte(`{}`)
	}
	if c.Tasks == nil {
		c.Tasks = []string{"bleed-by-two", "caliper-replace"}
	}
	def := func(n *int, d int) {
		if *n == 0 {
			*n = d
		}
	}
	def(&c.Coordinators, 2)
	def(&c.Supervisors, 3)
	def(&c.Apprentices, 4)
	if c.Dir == "" {
		c.Dir = t.TempDir()
	}
	clock := &Clock{t: Start}
	random := Random(c.Seed + 1)
	keys, err := store.NewKeyFile(random)
	if err != nil {
		t.Fatal(err)
	}
	w := &World{T: t, Clock: clock, Random: random, Tasks: c.Tasks,
		Options: store.Options{Database: filepath.Join(c.Dir, "programme.db"), Keys: keys, Now: clock.Now, Random: random}}
	w.Store, err = store.Create(context.Background(), w.Options, store.Founding{
		Origin: "brakes.example/bench", Title: "Bench programme", Zone: Zone,
		Name: "Ada Founder", Login: "ada", Password: Password("ada"), Passphrase: Passphrase("ada"),
		Programme: c.Programme, Parameters: c.Parameters, Demo: c.Demo,
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Store.Close() })
	founder, err := w.Store.PersonByLogin(context.Background(), "ada")
	if err != nil {
		t.Fatal(err)
	}
	signer, err := ledger.Unseal(founder.Key.Sealed, founder.ID, Passphrase("ada"))
	if err != nil {
		t.Fatal(err)
	}
	w.Coordinators = []*Member{{ID: founder.ID, Name: founder.Name, Login: "ada", Password: Password("ada"), Passphrase: Passphrase("ada"), Signer: signer}}
	w.Site, w.Cohort = w.ID(), w.ID()
	var subs []*ledger.Submission
	add := func(s *ledger.Submission) { subs = append(subs, s) }
	add(w.Make(founder.ID, ledger.SiteAdded, "", ledger.SitePayload{Site: w.Site, Name: "North shop", Zone: Zone}, nil, nil))
	add(w.Make(founder.ID, ledger.CohortAdded, "", ledger.CohortPayload{Cohort: w.Cohort, Name: "Winter", Site: w.Site}, nil, nil))
	date := w.Today()
	for i := 1; i < c.Coordinators; i++ {
		m := w.join(add, fmt.Sprintf("Cora %02d", i), fmt.Sprintf("cora%d", i), true)
		add(w.Make(founder.ID, ledger.RoleGranted, m.ID, ledger.RolePayload{Role: "coordinator", From: date}, nil, nil, signer))
		w.Coordinators = append(w.Coordinators, m)
	}
	for i := range c.Supervisors {
		m := w.join(add, fmt.Sprintf("Sam %02d", i), fmt.Sprintf("sam%d", i), true)
		add(w.Make(founder.ID, ledger.RoleGranted, m.ID, ledger.RolePayload{Role: "supervisor", From: date}, nil, nil))
		for _, task := range c.Tasks {
			add(w.Make(founder.ID, ledger.Appointed, m.ID, ledger.AppointmentPayload{Task: task, From: date},
				map[string]string{"qualification": "Brake technician", "number": fmt.Sprintf("B-%03d", i)}, nil, signer))
		}
		w.Supervisors = append(w.Supervisors, m)
	}
	for i := range c.Apprentices {
		m := w.join(add, fmt.Sprintf("Pat %02d", i), fmt.Sprintf("pat%d", i), false)
		add(w.Make(founder.ID, ledger.RoleGranted, m.ID, ledger.RolePayload{Role: "apprentice", From: date}, nil, nil))
		add(w.Make(founder.ID, ledger.AgreementMade, m.ID, ledger.AgreementPayload{From: date}, map[string]string{"employer": "North shop"}, nil))
		add(w.Make(founder.ID, ledger.CohortJoined, m.ID, ledger.MembershipPayload{Cohort: w.Cohort, Date: date}, nil, nil))
		w.Apprentices = append(w.Apprentices, m)
	}
	if _, err := w.Store.AppendAll(context.Background(), subs...); err != nil {
		t.Fatal(err)
	}
	return w
}

// Password and Passphrase are what members are given.
func Password(login string) string   { return "password of " + login }
func Passphrase(login string) string { return "passphrase of " + login }

// ID mints an id.
func (w *World) ID() string {
	id, err := ledger.NewID(w.Random, w.Clock.Now().UnixMilli())
	if err != nil {
		w.T.Fatal(err)
	}
	return id
}

// Today is the date in the programme's zone.
func (w *World) Today() string {
	date, err := ledger.Date(w.Clock.Now().UnixMilli(), Zone)
	if err != nil {
		w.T.Fatal(err)
	}
	return date
}

// join adds a person with a password and, with a key, a signing key.
func (w *World) join(add func(*ledger.Submission), name, login string, key bool) *Member {
	founder := w.Coordinators[0]
	m := &Member{ID: w.ID(), Name: name, Login: login, Password: Password(login), Passphrase: Passphrase(login)}
	wrapped, err := w.Store.NewDataKey(m.ID)
	if err != nil {
		w.T.Fatal(err)
	}
	add(w.Make(founder.ID, ledger.PersonAdded, m.ID, ledger.PersonPayload{}, map[string]string{"name": name, "login": login}, map[string][]byte{"data_key": wrapped}))
	phc, err := store.HashPassword(w.Random, m.Password)
	if err != nil {
		w.T.Fatal(err)
	}
	add(w.Make(founder.ID, ledger.PasswordSet, m.ID, ledger.PasswordPayload{}, nil, map[string][]byte{"password": []byte(phc)}))
	if !key {
		return m
	}
	id := w.ID()
	signer, public, sealed, err := ledger.NewKey(w.Random, id, m.ID, m.Passphrase)
	if err != nil {
		w.T.Fatal(err)
	}
	m.Signer = signer
	add(w.Make(founder.ID, ledger.KeyAdded, m.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, signer, founder.Signer))
	return m
}

// Make builds and signs a submission that happens now at no site; personal values are the subject's.
func (w *World) Make(actor string, typ ledger.Type, subject string, payload any, personal map[string]string, content map[string][]byte, signers ...*ledger.Signer) *ledger.Submission {
	w.T.Helper()
	return w.MakeHead(ledger.Head{Type: typ, At: w.Clock.Now().UnixMilli(), Zone: Zone, Actor: actor, Subject: subject}, payload, personal, content, signers...)
}

// MakeHead is Make with a head of one's own.
func (w *World) MakeHead(h ledger.Head, payload any, personal map[string]string, content map[string][]byte, signers ...*ledger.Signer) *ledger.Submission {
	w.T.Helper()
	owner := h.Subject
	if owner == "" {
		owner = h.Actor
	}
	sub, err := ledger.NewSubmission(w.Random, h, payload, owner, personal, content)
	if err != nil {
		w.T.Fatalf("%s: %v", h.Type, err)
	}
	for _, k := range signers {
		if err := sub.Sign(k); err != nil {
			w.T.Fatalf("sign %s: %v", h.Type, err)
		}
	}
	return sub
}

// Append appends what must not fail.
func (w *World) Append(sub *ledger.Submission) store.Receipt {
	w.T.Helper()
	r, err := w.Store.Append(context.Background(), sub)
	if err != nil {
		w.T.Fatalf("append %s: %v", sub.Body.Type, err)
	}
	return r
}

// SignOff is a job of six steps, all unaided, finished now; change may be nil.
func (w *World) SignOff(supervisor, apprentice *Member, task string, change func(*ledger.SignOffPayload)) *ledger.Submission {
	w.T.Helper()
	now := w.Clock.Now().UnixMilli()
	p := ledger.SignOffPayload{
		Job: w.ID(), Task: task, Programme: ledger.Hash(nil), Difficulty: "usual", Setting: "training_vehicle", Vehicle: "bench-wagon",
		Layout: "diagonal", Outcome: "finished", Started: now - 3_600_000, Finished: now, Supervisors: []string{supervisor.ID},
		Readings: []ledger.ReadingDone{{Step: task + "/s3", Measure: 1, Value: "22.5", Unit: "mm", Limit: "at least 20 mm", Verdict: "within"}},
		Holds:    []ledger.HoldDone{{Step: task + "/s2", Accepted: true, By: supervisor.ID, At: now - 1000}},
	}
	for i := range 6 {
		p.Steps = append(p.Steps, ledger.StepDone{Step: fmt.Sprintf("%s/s%d", task, i+1), Result: "unaided", At: now - int64(6-i)*60_000})
	}
	if change != nil {
		change(&p)
	}
	return w.Make(supervisor.ID, ledger.SignOff, apprentice.ID, p, map[string]string{"work_order": "WO-1234", "notes": "clean work"}, nil, supervisor.Signer)
}

// Passkey gives somebody a passkey, vouched for by the first coordinator.
func (w *World) Passkey(m *Member, ed bool) (*passkeytest.Device, ledger.KeyPayload) {
	w.T.Helper()
	d := passkeytest.New("https://brakes.example.org", ed)
	alg := ledger.AlgPasskeyES256
	if ed {
		alg = ledger.AlgPasskeyEd25519
	}
	key, err := ledger.MarshalPasskey(w.ID(), alg, d.Origin, d.Public(), d.Credential)
	if err != nil {
		w.T.Fatal(err)
	}
	s := w.Make(m.ID, ledger.KeyAdded, m.ID, ledger.KeyAddedPayload{Key: key}, nil, nil)
	w.Touch(d, key, s)
	if err := s.Sign(w.Coordinators[0].Signer); err != nil {
		w.T.Fatal(err)
	}
	w.Append(s)
	return d, key
}

// Touch signs submissions with one touch of a passkey, in place of any other signature.
func (w *World) Touch(d *passkeytest.Device, key ledger.KeyPayload, subs ...*ledger.Submission) {
	w.T.Helper()
	signed := make([][]byte, len(subs))
	for i, s := range subs {
		var err error
		if signed[i], err = s.Body.SignedBytes(); err != nil {
			w.T.Fatal(err)
		}
		s.Signatures = nil
	}
	challenge, among := ledger.Challenge(signed...)
	authenticator, client, sig := d.Assert(challenge)
	for _, s := range subs {
		s.SignPasskey(key.Key, key.Alg, authenticator, client, sig, among)
	}
}
