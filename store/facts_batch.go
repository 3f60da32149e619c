package store

import (
	"crypto/cipher"

	"brakewright/store/ledger"
)

// batchFacts are sqlFacts that remember, for the callers of one transaction, what seldom changes: who is known, their roles,
// appointments and keys, sites, the policy's window. Supervisors who sign at once are asked about once.
type batchFacts struct {
	sqlFacts
	t *tx
	facts
}

// facts are what is remembered.
type facts struct {
	days         *int
	persons      map[string]bool
	erased       map[string]bool
	sites        map[string]bool
	roles        map[string][]ledger.RoleFact
	appointments map[string][]ledger.AppointmentFact
	keys         map[string]*ledger.KeyFact
	dataKeys     map[string]cipher.AEAD
}

func newFacts() facts {
	return facts{
		persons: map[string]bool{}, erased: map[string]bool{}, sites: map[string]bool{}, roles: map[string][]ledger.RoleFact{},
		appointments: map[string][]ledger.AppointmentFact{}, keys: map[string]*ledger.KeyFact{}, dataKeys: map[string]cipher.AEAD{},
	}
}

// keeps says whether an entry of a type leaves all that is remembered as it is.
func keeps(typ ledger.Type) bool {
	switch typ {
	case ledger.LessonRead, ledger.TestIssued, ledger.TestHandedIn, ledger.QuestionVoided, ledger.ShopNote, ledger.SignOff, ledger.UnwatchedJob, ledger.SpotCheck, ledger.CaseOpened, ledger.Return,
		ledger.ClearanceGiven, ledger.StandDownOrdered, ledger.StandDownSigned, ledger.Restored, ledger.Recognised, ledger.Corrected,
		ledger.Disputed, ledger.DisputeSettled, ledger.Countersigned, ledger.Replied, ledger.StandDownReviewed, ledger.Assigned:
		return true
	}
	return false
}

// rulesFacts are the facts for the next entry of the transaction.
func (t *tx) rulesFacts() *batchFacts {
	if t.remembered == nil {
		t.remembered = &batchFacts{sqlFacts: sqlFacts{q: t}, t: t, facts: newFacts()}
	}
	return t.remembered
}

// appended notes that an entry was written.
func (t *tx) appended(p *ledger.Parsed, index int64, leaf []byte) {
	if len(t.leaves) == 0 {
		t.leavesFrom = index
	}
	t.leaves = append(t.leaves, ledger.LeafHash(leaf))
	if ledger.Erases(p.Body.Type) {
		t.erasures++
	}
	t.end = &tail{next: index + 1, last: p.RecordedAt}
	if !keeps(p.Body.Type) {
		t.remembered = nil
	}
}

// forget is called when a caller's changes are undone.
func (t *tx) forget() { t.logins, t.remembered, t.end = nil, nil, nil }

func (f *batchFacts) Next() (int64, error) {
	next, _, err := f.t.tail()
	return next, err
}

func (f *batchFacts) BackdatingDays() (int, error) {
	if f.days == nil {
		n, err := f.sqlFacts.BackdatingDays()
		if err != nil {
			return 0, err
		}
		f.days = &n
	}
	return *f.days, nil
}

// once asks and remembers.
func once[V any](kept map[string]V, key string, ask func(string) (V, error)) (V, error) {
	if v, ok := kept[key]; ok {
		return v, nil
	}
	v, err := ask(key)
	if err == nil {
		kept[key] = v
	}
	return v, err
}

func (f *batchFacts) Person(id string) (bool, error) { return once(f.persons, id, f.sqlFacts.Person) }
func (f *batchFacts) Erased(id string) (bool, error) { return once(f.erased, id, f.sqlFacts.Erased) }
func (f *batchFacts) Site(id string) (bool, error)   { return once(f.sites, id, f.sqlFacts.Site) }
func (f *batchFacts) Roles(person string) ([]ledger.RoleFact, error) {
	return once(f.roles, person, f.sqlFacts.Roles)
}
func (f *batchFacts) Appointments(person string) ([]ledger.AppointmentFact, error) {
	return once(f.appointments, person, f.sqlFacts.Appointments)
}
func (f *batchFacts) Key(id string) (*ledger.KeyFact, error) {
	return once(f.keys, id, f.sqlFacts.Key)
}

// dataKey is a person's data key, asked for once.
func (t *tx) dataKey(person string) (cipher.AEAD, error) {
	return once(t.rulesFacts().dataKeys, person, func(string) (cipher.AEAD, error) { return t.s.dataKey(t, person) })
}
