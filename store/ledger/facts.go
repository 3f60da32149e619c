package ledger

import "brakewright/readiness"

// Facts is the state of the ledger just before an entry: what its rules are judged by. There are two: [State], made by
// replaying entries, and the projections in the database. Both must say the same.
type Facts interface {
	// Next is the index that the entry will get, from 0.
	Next() (int64, error)
	// BackdatingDays is how many days back the programme's policy lets an entry be dated.
	BackdatingDays() (int, error)
	// KeptYears is for how many years the programme's policy keeps a kind of record.
	KeptYears(kind readiness.RecordKind) (int, error)
	// LastRecords say when the last entry of each kind about a person or by them was recorded; kinds of which there is none
	// are absent.
	LastRecords(person string) (map[readiness.RecordKind]int64, error)
	// Agreements are all training agreements ever made of a person.
	Agreements(person string) ([]BegunFact, error)
	// OpenMatters counts what is not settled about a person.
	OpenMatters(person string) (Matters, error)
	// Person says whether somebody is known.
	Person(id string) (bool, error)
	// Erased says whether a person has been erased.
	Erased(person string) (bool, error)
	// Roles are all roles ever granted to a person.
	Roles(person string) ([]RoleFact, error)
	// Coordinators are all coordinators' roles ever granted.
	Coordinators() ([]RoleFact, error)
	// Appointments are all appointments ever made of a person.
	Appointments(person string) ([]AppointmentFact, error)
	// Begun is a role, appointment or agreement by the entry that began it, nil if there is none.
	Begun(entry string) (*BegunFact, error)
	// Key is a signing key by its id, nil if there is none.
	Key(id string) (*KeyFact, error)
	// Site and Cohort say whether one is known.
	Site(id string) (bool, error)
	Cohort(id string) (bool, error)
	// Member says whether a person is in a cohort, not having left.
	Member(person, cohort string) (bool, error)
	// Entry is an earlier entry by its id, nil if there is none.
	Entry(id string) (*EntryFact, error)
	// Test is an issued theory test, nil if there is none.
	Test(id string) (*TestFact, error)
	// HandedIn counts the theory tests handed in, Voids the question_voided entries.
	HandedIn() (int, error)
	Voids() (int, error)
	// Voided says whether a question is voided under exactly this lesson and edition ("" is all editions).
	Voided(question, lesson, edition string) (bool, error)
	// JobSigned says whether a job has a sign-off.
	JobSigned(job string) (bool, error)
	// CaseOpen says whether a case is open: there, and no return that stands names it.
	CaseOpen(entry string) (bool, error)
	// StandDowns are all stand-downs of an apprentice, and all restores, each in order.
	StandDowns(apprentice string) ([]StandDownFact, []RestoreFact, error)
	// Disputes are all disputes of an entry, in order.
	Disputes(entry string) ([]DisputeFact, error)
	// Corrections are the corrections that name an entry and count: neither withdrawn nor fallen. In order.
	Corrections(entry string) ([]CorrectionFact, error)
	// Countersigned says whether an entry has been countersigned.
	Countersigned(entry string) (bool, error)
}

// RoleFact is a role as granted, cut off where it was ended. Dates are inclusive, Until "" is open.
type RoleFact struct {
	Entry, Person, Role, Site, From, Until string
	Author                                 bool
}

// AppointmentFact is an appointment, cut off where it was ended.
type AppointmentFact struct {
	Entry, Person, Task, Site, From, Until string
}

// BegunFact is something that can be ended once.
type BegunFact struct {
	Type   Type   // role_granted, appointed, agreement_made
	Person string // whose it is
	Role   string // of a role
	From   string
	Until  string // as it stands now
	Ended  bool
}

// Matters are what is not settled yet about a person.
type Matters struct {
	Disputes int // open ones, of entries about the person or by them, or made by them
	Cases    int // cars that came back, about the person or with them among those concerned, whose finding is still to be made
}

// KeyFact is a signing key. Times are UTC in milliseconds; EndedAt 0 is in force.
type KeyFact struct {
	ID, Person, Alg  string
	Public           []byte
	RPID, Origin     string // of a passkey
	AddedAt, EndedAt int64
}

// inForce says whether signatures recorded at a time are accepted.
func (k *KeyFact) inForce(at int64) bool {
	return k.AddedAt <= at && (k.EndedAt == 0 || at < k.EndedAt)
}

// EntryFact is what rules need to know of an earlier entry.
type EntryFact struct {
	Index                      int64
	Type                       Type
	Actor, Subject, Site, Task string
	Signers                    []string // ids of the keys
}

// TestFact is an issued theory test.
type TestFact struct {
	Apprentice, Task string
	HandedIn         bool
}

// StandDownFact is a stand-down; Task "" is all tasks.
type StandDownFact struct {
	Index           int64
	Entry, Task, By string
	Signed          bool
}

// RestoreFact is a restore; Task "" is all tasks.
type RestoreFact struct {
	Index int64
	Task  string
}

// DisputeFact is a dispute. By is "" where nobody disputes it, but it came into question: with the key that signed it, or
// the appointment under which it was made.
type DisputeFact struct {
	Entry, By string
	Settled   bool
}

// CorrectionFact is a correction that counts.
type CorrectionFact struct{ Entry, By string }
