package ledger

import (
	"encoding/base64"
	"slices"
	"time"

	"brakewright/readiness"
)

// State is the facts made by replaying entries from the first: Check then Apply each. It keeps what rules need and no
// more, so a ledger of a million entries fits in memory.
type State struct {
	// Backdating reads the policy's window from a programme edition, once for each; nil or a negative answer means
	// [DefaultBackdatingDays].
	Backdating func(programme string) int
	// Retention reads from a programme edition for how many years a kind of record is kept; nil means [DefaultRetentionYears].
	Retention func(programme string, kind readiness.RecordKind) int

	next         int64
	programme    string
	windows      map[string]int // what Backdating said, by programme edition
	persons      map[string]bool
	erased       map[string]bool
	roles        map[string][]RoleFact // by person
	appointments map[string][]AppointmentFact
	begun        map[string]*BegunFact
	keys         map[string]*KeyFact
	sites        map[string]bool
	cohorts      map[string]bool
	members      map[[2]string]bool // person, cohort
	entries      map[string]*EntryFact
	tests        map[string]*TestFact
	handedIn     int
	voids        int
	voided       map[[3]string]bool // question, lesson, edition
	jobs         map[string]bool
	cases        map[string][]string        // open ones, with the people whom they concern
	caseOf       map[string]closedCase      // by the return that closed it
	standDowns   map[string][]StandDownFact // by apprentice
	restores     map[string][]RestoreFact
	disputes     map[string][]DisputeFact // by disputed entry
	corrections  map[string][]*correction // by corrected entry
	corrected    map[string]*correction   // by the correction's own id
	agreed       map[string]bool          // countersigned entries
	signed       []signedEntry            // in order, those of a [Questionable] or [Authorising] type
	keyEntries   map[string]string        // by key: the entry that added it
	agreements   map[string][]string      // by person, the entries that began them
	records      map[string]*lastRecords  // by person
}

// closedCase is a case and the people whom it concerns.
type closedCase struct {
	entry  string
	people []string
}

// lastRecords are times of recording plus one, by the kind's place in [readiness.RecordKinds]; 0 is none.
type lastRecords [7]int64

var recordPlace = func() map[Type]int {
	place := map[readiness.RecordKind]int{}
	for i, kind := range readiness.RecordKinds {
		place[kind] = i
	}
	m := map[Type]int{}
	for _, k := range kinds {
		m[k.Type] = place[k.Record]
	}
	return m
}()

// correction is a correction and what has become of it.
type correction struct {
	CorrectionFact
	goneBy string // the entry that withdrew it, or by which it fell; "" while it counts
}

// signedEntry is a signed entry that may come into question.
type signedEntry struct {
	typ                       Type
	id, actor, task, site, on string // on: date of the event in its zone
	recorded                  int64
	keys                      []string
}

// NewState is the state before entry 0.
func NewState() *State {
	return &State{
		windows: map[string]int{},
		persons: map[string]bool{}, erased: map[string]bool{}, roles: map[string][]RoleFact{}, appointments: map[string][]AppointmentFact{},
		begun: map[string]*BegunFact{}, keys: map[string]*KeyFact{}, sites: map[string]bool{}, cohorts: map[string]bool{},
		members: map[[2]string]bool{}, entries: map[string]*EntryFact{}, tests: map[string]*TestFact{}, voided: map[[3]string]bool{}, jobs: map[string]bool{}, cases: map[string][]string{}, caseOf: map[string]closedCase{},
		standDowns: map[string][]StandDownFact{}, restores: map[string][]RestoreFact{}, disputes: map[string][]DisputeFact{},
		corrections: map[string][]*correction{}, corrected: map[string]*correction{}, agreed: map[string]bool{},
		keyEntries: map[string]string{},
		agreements: map[string][]string{}, records: map[string]*lastRecords{},
	}
}

var _ Facts = (*State)(nil)

func (s *State) Next() (int64, error) { return s.next, nil }

func (s *State) BackdatingDays() (int, error) {
	if s.Backdating == nil || s.programme == "" {
		return DefaultBackdatingDays, nil
	}
	days, asked := s.windows[s.programme]
	if !asked {
		if days = s.Backdating(s.programme); days < 0 {
			days = DefaultBackdatingDays
		}
		s.windows[s.programme] = days
	}
	return days, nil
}

// KeptYears is the policy's number of years.
func (s *State) KeptYears(kind readiness.RecordKind) (int, error) {
	if s.Retention != nil && s.programme != "" {
		return s.Retention(s.programme, kind), nil
	}
	return DefaultRetentionYears, nil
}

// LastRecords are as [Facts] says.
func (s *State) LastRecords(person string) (map[readiness.RecordKind]int64, error) {
	all := map[readiness.RecordKind]int64{}
	if r := s.records[person]; r != nil {
		for i, kind := range readiness.RecordKinds {
			if r[i] > 0 {
				all[kind] = r[i] - 1
			}
		}
	}
	return all, nil
}

// Agreements are as [Facts] says.
func (s *State) Agreements(person string) ([]BegunFact, error) {
	var all []BegunFact
	for _, id := range s.agreements[person] {
		all = append(all, *s.begun[id])
	}
	return all, nil
}

// OpenMatters goes through all that is open: an erasure asks it, and that is seldom.
func (s *State) OpenMatters(person string) (m Matters, err error) {
	for entry, list := range s.disputes {
		e := s.entries[entry]
		for _, d := range list {
			if !d.Settled && (e.Subject == person || e.Actor == person || d.By == person) {
				m.Disputes++
			}
		}
	}
	for _, people := range s.cases {
		if contains(people, person) {
			m.Cases++
		}
	}
	return m, nil
}

func (s *State) Person(id string) (bool, error)          { return s.persons[id], nil }
func (s *State) Erased(person string) (bool, error)      { return s.erased[person], nil }
func (s *State) Roles(person string) ([]RoleFact, error) { return s.roles[person], nil }
func (s *State) Begun(entry string) (*BegunFact, error)  { return s.begun[entry], nil }
func (s *State) Key(id string) (*KeyFact, error)         { return s.keys[id], nil }
func (s *State) Site(id string) (bool, error)            { return s.sites[id], nil }
func (s *State) Cohort(id string) (bool, error)          { return s.cohorts[id], nil }
func (s *State) Member(person, cohort string) (bool, error) {
	return s.members[[2]string{person, cohort}], nil
}
func (s *State) Entry(id string) (*EntryFact, error) { return s.entries[id], nil }
func (s *State) Test(id string) (*TestFact, error)   { return s.tests[id], nil }
func (s *State) HandedIn() (int, error)              { return s.handedIn, nil }
func (s *State) Voids() (int, error)                 { return s.voids, nil }
func (s *State) Voided(question, lesson, edition string) (bool, error) {
	return s.voided[[3]string{question, lesson, edition}], nil
}
func (s *State) JobSigned(job string) (bool, error)           { return s.jobs[job], nil }
func (s *State) CaseOpen(entry string) (bool, error)          { return s.cases[entry] != nil, nil }
func (s *State) Disputes(entry string) ([]DisputeFact, error) { return s.disputes[entry], nil }
func (s *State) Countersigned(entry string) (bool, error)     { return s.agreed[entry], nil }
func (s *State) Corrections(entry string) ([]CorrectionFact, error) {
	var live []CorrectionFact
	for _, c := range s.corrections[entry] {
		if c.goneBy == "" {
			live = append(live, c.CorrectionFact)
		}
	}
	return live, nil
}
func (s *State) Appointments(person string) ([]AppointmentFact, error) {
	return s.appointments[person], nil
}
func (s *State) StandDowns(apprentice string) ([]StandDownFact, []RestoreFact, error) {
	return s.standDowns[apprentice], s.restores[apprentice], nil
}
func (s *State) Coordinators() ([]RoleFact, error) {
	var all []RoleFact
	for _, roles := range s.roles {
		for _, r := range roles {
			if r.Role == "coordinator" {
				all = append(all, r)
			}
		}
	}
	return all, nil
}

// Programme is the edition in use, "" before the first.
func (s *State) Programme() string { return s.programme }

// Apply takes an entry that Check has passed.
func (s *State) Apply(p *Parsed) {
	b := &p.Body
	index := s.next
	s.next++
	signers := make([]string, len(p.Signatures))
	for i, sig := range p.Signatures {
		signers[i] = sig.Key
	}
	task := TaskOf(p.Payload)
	if task == "" {
		if named := s.entries[Names(b, p.Payload)]; named != nil {
			task = named.Task
		}
	}
	s.entries[b.ID] = &EntryFact{Index: index, Type: b.Type, Actor: b.Actor, Subject: b.Subject, Site: b.Site, Task: task, Signers: signers}
	s.record(b.Subject, b.Type, p.RecordedAt)
	s.record(b.Actor, b.Type, p.RecordedAt)
	if IsQuestionable(b.Type) && len(signers) > 0 {
		on, err := b.Date()
		if err != nil {
			panic("ledger: a checked entry has no date: " + err.Error())
		}
		s.signed = append(s.signed, signedEntry{b.Type, b.ID, b.Actor, task, b.Site, on, p.RecordedAt, VouchingKeys(p)})
	}
	switch x := p.Payload.(type) {
	case *OpeningPayload:
		s.persons[b.Subject] = true
		s.addKey(x.Key, b.Subject, p.RecordedAt)
	case *ProgrammePayload:
		s.programme = x.Content["programme"]
	case *SitePayload:
		s.sites[x.Site] = true
	case *CohortPayload:
		s.cohorts[x.Cohort] = true
	case *MembershipPayload:
		s.members[[2]string{b.Subject, x.Cohort}] = b.Type == CohortJoined
	case *PersonPayload:
		s.persons[b.Subject] = true
	case *RolePayload, *AppointmentPayload:
		s.authority(b, x)
	case *AgreementPayload:
		s.agreements[b.Subject] = append(s.agreements[b.Subject], b.ID)
		s.begun[b.ID] = &BegunFact{Type: b.Type, Person: b.Subject, From: x.From, Until: x.Until}
	case *EndPayload:
		until := s.begun[x.Ends].Until
		s.end(b.Subject, x)
		s.closeQuestion(x.Ends)
		if b.Type == AppointmentEnded {
			s.unappointed(b, x.Ends, until)
		}
	case *KeyAddedPayload:
		s.addKey(x.Key, b.Subject, p.RecordedAt)
		s.keyEntries[x.Key.Key] = b.ID
	case *ErasurePayload, *ErasureReplayedPayload:
		s.erased[b.Subject] = true
		for _, k := range s.keys {
			if k.Person == b.Subject && k.EndedAt == 0 {
				k.EndedAt = max(p.RecordedAt, 1)
			}
		}
	case *KeyEndedPayload:
		s.keys[x.Key].EndedAt = max(x.From, 1)
		s.closeQuestion(s.keyEntries[x.Key])
		if x.Why == "compromised" {
			s.compromised(x.Key, x.From, b.ID)
		}
	case *TestIssuedPayload:
		s.tests[b.ID] = &TestFact{Apprentice: b.Subject, Task: x.Task}
	case *TestHandedInPayload:
		s.tests[x.Test].HandedIn = true
		s.handedIn++
	case *QuestionVoidedPayload:
		s.voids++
		s.voided[[3]string{x.Question, x.Lesson, x.Edition}] = !x.Restores
	case *SignOffPayload:
		s.jobs[x.Job] = true
	case *CaseOpenedPayload:
		s.cases[b.ID] = append([]string{b.Subject}, x.People...)
	case *ReturnPayload:
		if x.Case != "" {
			s.caseOf[b.ID] = closedCase{x.Case, s.cases[x.Case]}
			delete(s.cases, x.Case)
		}
	case *CorrectionPayload:
		if c, ok := s.caseOf[b.Corrects]; ok { // a finding withdrawn opens its case again
			s.cases[c.entry] = c.people
			delete(s.caseOf, b.Corrects)
		}
		s.correct(b)
	case *StandDownPayload:
		s.standDowns[b.Subject] = append(s.standDowns[b.Subject], StandDownFact{Index: index, Entry: b.ID, Task: x.Task, By: b.Actor, Signed: len(p.Signatures) > 0})
	case *StandDownSignedPayload:
		for i := range s.standDowns[b.Subject] {
			if s.standDowns[b.Subject][i].Entry == x.StandDown {
				s.standDowns[b.Subject][i].Signed = true
			}
		}
	case *RestorePayload:
		s.restores[b.Subject] = append(s.restores[b.Subject], RestoreFact{Index: index, Task: x.Task})
	case *DisputePayload:
		s.disputes[x.Disputes] = append(s.disputes[x.Disputes], DisputeFact{Entry: b.ID, By: b.Actor})
	case *SettlementPayload:
		for i := range s.disputes[x.Disputes] {
			s.disputes[x.Disputes][i].Settled = true
		}
		s.settled(b.ID, x)
		if x.Upheld {
			s.fallen(b, x.Disputes)
		}
	case *CountersignedPayload:
		s.agreed[x.Entry] = true
	}
}

// record notes that an entry of a type is about somebody or by them.
func (s *State) record(person string, t Type, at int64) {
	if person == "" || person == KeyHolder {
		return
	}
	r := s.records[person]
	if r == nil {
		r = new(lastRecords)
		s.records[person] = r
	}
	r[recordPlace[t]] = at + 1
}

// correct: a correction of a correction takes its place, so what that one had withdrawn is again as the last word on it
// says. A second correction beside one that counts opens a dispute.
func (s *State) correct(b *Body) {
	c := &correction{CorrectionFact: CorrectionFact{b.ID, b.Actor}}
	live, _ := s.Corrections(b.Corrects)
	s.corrections[b.Corrects] = append(s.corrections[b.Corrects], c)
	s.corrected[b.ID] = c
	p, _ := parsePayload(b)
	if old := s.corrected[b.Corrects]; old != nil {
		if p.(*CorrectionPayload).Withdraw {
			s.gone(old, b.ID)
		} else {
			s.revive(b.Corrects)
		}
	}
	if len(live) == 1 && !s.open(b.Corrects) {
		s.disputes[b.Corrects] = append(s.disputes[b.Corrects], DisputeFact{Entry: b.ID, By: b.Actor})
	}
}

// gone: a correction counts no more, so what it had withdrawn counts again.
func (s *State) gone(c *correction, by string) {
	c.goneBy = by
	s.revive(c.Entry)
}

func (s *State) revive(by string) {
	for _, list := range s.corrections {
		for _, c := range list {
			if c.goneBy == by {
				c.goneBy = ""
			}
		}
	}
}

func (s *State) open(entry string) bool {
	for _, d := range s.disputes[entry] {
		if !d.Settled {
			return true
		}
	}
	return false
}

// settled: what falls counts no more; of corrections that contradict each other one is left.
func (s *State) settled(id string, x *SettlementPayload) {
	if c := s.corrected[x.Disputes]; c != nil && x.Upheld {
		s.gone(c, id)
	}
	if x.Stands == "" {
		return
	}
	for _, c := range s.corrections[x.Disputes] {
		if c.goneBy == "" && c.Entry != x.Stands {
			s.gone(c, id)
		}
	}
}

// closeQuestion: what is ended needs no settlement any more.
func (s *State) closeQuestion(entry string) {
	for i := range s.disputes[entry] {
		s.disputes[entry][i].Settled = true
	}
}

// compromised: what the key signed from a time on is in question.
func (s *State) compromised(key string, from int64, by string) {
	for _, e := range s.signed {
		if e.recorded >= from && contains(e.keys, key) {
			s.question(e.id, by)
		}
	}
}

// fallen: an entry that gave authority is as if it had never been, and what rests on it is in question: on an appointment
// what was signed under it, on a key what it signed, on a coordinator's role the authority that the person gave with it.
func (s *State) fallen(b *Body, entry string) {
	switch s.entries[entry].Type {
	case Appointed, RoleGranted:
		x := s.begun[entry]
		until, role := x.Until, x.Role
		s.end(b.Subject, &EndPayload{Ends: entry, Date: DayBefore(x.From)})
		if s.entries[entry].Type == Appointed {
			s.unappointed(b, entry, until)
		} else if role == "coordinator" {
			for _, e := range s.signed {
				if IsAuthorising(e.typ) && s.entries[e.id].Index > s.entries[entry].Index && slices.ContainsFunc(e.keys, func(k string) bool { return s.keys[k] != nil && s.keys[k].Person == b.Subject }) {
					s.question(e.id, b.ID)
				}
			}
		}
	case KeyAdded:
		for key, by := range s.keyEntries {
			if by == entry {
				s.keys[key].EndedAt = max(s.keys[key].AddedAt, 1)
				s.compromised(key, 0, b.ID)
			}
		}
	}
}

// VouchingKeys are the keys that signed an entry, without the new one that signs for itself.
func VouchingKeys(p *Parsed) []string {
	var keys []string
	for _, s := range p.Signatures {
		if x, ok := p.Payload.(*KeyAddedPayload); !ok || s.Key != x.Key.Key {
			keys = append(keys, s.Key)
		}
	}
	return keys
}

// DayBefore is the day before a date.
func DayBefore(date string) string { return mustDate(date).AddDate(0, 0, -1).Format(time.DateOnly) }

// question opens a dispute that nobody made, unless one is open.
func (s *State) question(entry, by string) {
	if !s.open(entry) {
		s.disputes[entry] = append(s.disputes[entry], DisputeFact{Entry: by})
	}
}

// unappointed: what a supervisor signed after the last day of an appointment that was cut short, and that no other
// appointment covers, is in question.
//
// until is the last day that it had before.
func (s *State) unappointed(b *Body, appointment, until string) {
	for _, a := range s.appointments[b.Subject] {
		if a.Entry != appointment {
			continue
		}
		for _, e := range s.signed {
			was := !IsAuthorising(e.typ) && e.actor == b.Subject && e.task == a.Task && (a.Site == "" || a.Site == e.site) && inForce(a.From, until, e.on)
			if was && !s.covered(b.Subject, e) {
				s.question(e.id, b.ID)
			}
		}
	}
}

func (s *State) covered(person string, e signedEntry) bool {
	for _, a := range s.appointments[person] {
		if a.Task == e.task && (a.Site == "" || a.Site == e.site) && inForce(a.From, a.Until, e.on) {
			return true
		}
	}
	return false
}

func (s *State) addKey(k KeyPayload, person string, at int64) {
	public, err := base64.StdEncoding.DecodeString(k.Public)
	if err != nil {
		panic("ledger: a checked key does not decode: " + err.Error())
	}
	s.keys[k.Key] = &KeyFact{ID: k.Key, Person: person, Alg: k.Alg, Public: public, RPID: k.RPID, Origin: k.Origin, AddedAt: at}
}

// Cut is the last day of what began with an until date and is ended on a date: the earlier of the two.
func Cut(until, date string) string {
	if until != "" && until < date {
		return until
	}
	return date
}

// authority takes in a role or an appointment.
func (s *State) authority(b *Body, payload any) {
	switch x := payload.(type) {
	case *RolePayload:
		s.roles[b.Subject] = append(s.roles[b.Subject], RoleFact{Entry: b.ID, Person: b.Subject, Role: x.Role, Site: x.Site, From: x.From, Until: x.Until, Author: x.Author})
		s.begun[b.ID] = &BegunFact{Type: b.Type, Person: b.Subject, Role: x.Role, From: x.From, Until: x.Until}
	case *AppointmentPayload:
		s.appointments[b.Subject] = append(s.appointments[b.Subject], AppointmentFact{Entry: b.ID, Person: b.Subject, Task: x.Task, Site: x.Site, From: x.From, Until: x.Until})
		s.begun[b.ID] = &BegunFact{Type: b.Type, Person: b.Subject, From: x.From, Until: x.Until}
	}
}

func (s *State) end(person string, x *EndPayload) {
	b := s.begun[x.Ends]
	b.Ended = true
	b.Until = Cut(b.Until, x.Date)
	for i := range s.roles[person] {
		if s.roles[person][i].Entry == x.Ends {
			s.roles[person][i].Until = b.Until
		}
	}
	for i := range s.appointments[person] {
		if s.appointments[person][i].Entry == x.Ends {
			s.appointments[person][i].Until = b.Until
		}
	}
}
