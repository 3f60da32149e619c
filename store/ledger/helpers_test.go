package ledger

import (
	"errors"
	"io"
	"math/rand/v2"
	"testing"
	"time"
)

func init() { KeyCost = Cost{MemoryKiB: 64, Time: 1, Threads: 1} }

// start is the moment of the founding in these tests.
var start = time.Date(2026, time.January, 5, 15, 0, 0, 0, time.UTC).UnixMilli()

const (
	day  = int64(24 * 3600 * 1000)
	zone = "America/Denver"
)

// history is a ledger without a database: entries are judged by the replayed state and applied.
type history struct {
	t       testing.TB
	random  io.Reader
	now     int64
	state   *State
	leaves  [][]byte
	signers map[string]*Signer // by name of the person
	ids     map[string]string  // name → id, of persons, sites, cohorts
}

func newHistory(t testing.TB) *history {
	var seed [32]byte
	return &history{t: t, random: rand.NewChaCha8(seed), now: start, state: NewState(), signers: map[string]*Signer{}, ids: map[string]string{}}
}

// id is the id of a name, minted at its first use.
func (h *history) id(name string) string {
	if name == "" {
		return ""
	}
	if _, ok := h.ids[name]; !ok {
		id, err := NewID(h.random, h.now)
		if err != nil {
			h.t.Fatal(err)
		}
		h.ids[name] = id
	}
	return h.ids[name]
}

func (h *history) date(days int) string {
	d, err := Date(h.now+int64(days)*day, zone)
	if err != nil {
		h.t.Fatal(err)
	}
	return d
}

// act is an entry to be, by names.
type act struct {
	typ                  Type
	actor, subject, site string
	corrects             string // an entry's id
	at                   int64  // 0: now
	zone                 string
	payload              any
	personal             []string // fields
	content              []string // names
	sign                 []string // persons
}

func (h *history) submit(a act) *Submission {
	h.t.Helper()
	personal := map[string]string{}
	for _, f := range a.personal {
		personal[f] = "value of " + f
	}
	content := map[string][]byte{}
	for _, n := range a.content {
		content[n] = []byte("bytes of " + n)
	}
	if a.at == 0 {
		a.at = h.now
	}
	if a.zone == "" {
		a.zone = zone
	}
	s, err := NewSubmission(h.random, Head{Type: a.typ, At: a.at, Zone: a.zone, Actor: h.id(a.actor), Subject: h.id(a.subject), Site: h.id(a.site), Corrects: a.corrects},
		a.payload, h.id(a.subject), personal, content)
	if err != nil {
		h.t.Fatalf("%s: %v", a.typ, err)
	}
	for _, who := range a.sign {
		if err := s.Sign(h.signers[who]); err != nil {
			h.t.Fatalf("%s: sign as %s: %v", a.typ, who, err)
		}
	}
	return s
}

// judge says what the rules say of a submission recorded now.
func (h *history) judge(s *Submission) (*Parsed, error) {
	h.t.Helper()
	leaf, err := s.Leaf(h.now)
	if err != nil {
		h.t.Fatal(err)
	}
	p, err := Parse(leaf)
	if err != nil {
		h.t.Fatal(err)
	}
	return p, Check(p, h.state)
}

// do is judge, and apply if the rules are content; the entry's id comes back.
func (h *history) do(a act) string {
	h.t.Helper()
	s := h.submit(a)
	p, err := h.judge(s)
	if err != nil {
		h.t.Fatalf("%s: %v", a.typ, err)
	}
	leaf, _ := p.Leaf()
	h.leaves = append(h.leaves, leaf)
	h.state.Apply(p)
	return s.Body.ID
}

// found is a programme with: founder and cora (coordinators), sam, sue and sid (supervisors appointed for task bleed), al (supervisor
// for bleed at the site north only), pat and pia (apprentices), both (supervisor and apprentice), nobody (no role).
func found(t testing.TB) *history {
	h := newHistory(t)
	person := "founder"
	k, public, _, err := NewKey(h.random, h.id("founder's key"), h.id(person), "correct horse")
	if err != nil {
		t.Fatal(err)
	}
	h.signers[person] = k
	h.do(act{typ: Opening, actor: person, subject: person, payload: OpeningPayload{Origin: "brakes.example/x", Title: "T", Key: MarshalKey(k.Key, public)},
		personal: []string{"name", "login"}, content: []string{"password", "sealed_key", "data_key"}, sign: []string{person}})
	h.do(act{typ: RoleGranted, actor: person, subject: person, payload: RolePayload{Role: "coordinator", From: h.date(0)}, sign: []string{person}})
	h.do(act{typ: ProgrammeAdopted, actor: person, payload: ProgrammePayload{}, content: []string{"programme"}, sign: []string{person}})
	for _, s := range []string{"north", "south"} {
		h.do(act{typ: SiteAdded, actor: person, payload: SitePayload{Site: h.id(s), Name: s, Zone: zone}})
	}
	h.do(act{typ: CohortAdded, actor: person, payload: CohortPayload{Cohort: h.id("winter"), Name: "winter", Site: h.id("north")}})
	for _, p := range []struct{ name, roles string }{{"cora", "c"}, {"sam", "s"}, {"sue", "s"}, {"sid", "s"}, {"al", "n"}, {"pat", "a"}, {"pia", "a"}, {"both", "sa"}, {"nobody", ""}} {
		h.do(act{typ: PersonAdded, actor: person, subject: p.name, payload: PersonPayload{}, personal: []string{"name", "login"}, content: []string{"data_key"}})
		for _, r := range p.roles {
			role := map[rune]string{'c': "coordinator", 's': "supervisor", 'n': "supervisor", 'a': "apprentice"}[r]
			h.do(act{typ: RoleGranted, actor: person, subject: p.name, payload: RolePayload{Role: role, From: h.date(map[bool]int{true: -60}[role == "apprentice"])}, sign: []string{person}})
			if role == "supervisor" {
				site := ""
				if r == 'n' {
					site = h.id("north")
				}
				h.ids[p.name+"'s appointment"] = h.do(act{typ: Appointed, actor: person, subject: p.name, payload: AppointmentPayload{Task: "bleed", Site: site, From: h.date(0)}, sign: []string{person}})
			}
		}
		if p.name != "pat" && p.name != "pia" {
			h.addKey(p.name, p.name, person)
		}
	}
	h.now += day
	return h
}

// addKey adds a signing key under a name of its own.
func (h *history) addKey(person, keyName, coordinator string) {
	h.t.Helper()
	h.do(h.keyAct(person, keyName, coordinator))
}

func (h *history) keyAct(person, keyName, coordinator string) act {
	h.t.Helper()
	k, public, _, err := NewKey(h.random, h.id("key "+keyName), h.id(person), "correct horse")
	if err != nil {
		h.t.Fatal(err)
	}
	h.signers[keyName] = k
	sign := []string{keyName}
	if coordinator != "" {
		sign = append(sign, coordinator)
	}
	return act{typ: KeyAdded, actor: person, subject: person, payload: KeyAddedPayload{Key: MarshalKey(k.Key, public)}, content: []string{"sealed_key"}, sign: sign}
}

// signOff is a sign-off by one supervisor; change may be nil.
func (h *history) signOff(supervisor, apprentice string, change func(*act, *SignOffPayload)) act {
	p := SignOffPayload{Job: h.id("job"), Task: "bleed", Programme: Hash(nil), Difficulty: "usual", Setting: "bench", Outcome: "finished",
		Started: h.now - 1000, Finished: h.now, Supervisors: []string{h.id(supervisor)}, Steps: []StepDone{{Step: "bleed/s1", Result: "unaided", At: h.now - 500}}}
	a := act{typ: SignOff, actor: supervisor, subject: apprentice, sign: []string{supervisor}}
	if change != nil {
		change(&a, &p)
	}
	a.payload = p
	return a
}

func codeOf(err error) string {
	var r *RuleError
	if errors.As(err, &r) {
		return r.Code
	}
	if err != nil {
		return "error: " + err.Error()
	}
	return ""
}
