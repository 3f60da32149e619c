package ledger

import (
	"sort"
	"strings"

	"brakewright/readiness"
)

// Maker is who may make an entry.
type Maker string

const (
	MakerFounder     Maker = "founder"     // of the programme, entry 0 only
	MakerCoordinator Maker = "coordinator" // holds the role on the day of recording
	MakerSupervisor  Maker = "supervisor"  // holds the role on the day of recording
	MakerAppointed   Maker = "appointed"   // a supervisor appointed for the task at the site on the day it happened
	MakerAuthor      Maker = "author"      // has the author right on the day of recording
	MakerSelf        Maker = "self"        // the person whom it is about
	MakerKeyHolder   Maker = "key holder"  // whoever holds database and key file: the actor is [KeyHolder]
)

// Signing is which signatures an entry needs. A signature that is not needed may be there, and must then be good.
type Signing string

const (
	SignNone                 Signing = "none"
	SignActor                Signing = "actor"
	SignActorAndSecond       Signing = "actor+second"                 // always two people
	SignActorSecondIfWaived  Signing = "actor, with a waiver +second" // clearance
	SignActorSecondIfPaper   Signing = "actor, from paper +second"    // sign_off
	SignActorIfCoordinator   Signing = "actor for a coordinator"      // role_granted: the coordinator's role and the author right
	SignCoordinatorAndNewKey Signing = "coordinator+new key"          // key_added
	SignSelf                 Signing = "new key"                      // opening: the key in the payload signs itself
)

// About is whom an entry is about.
type About string

const (
	AboutNobody     About = "nobody"     // subject is absent
	AboutNewPerson  About = "new person" // subject is not known yet
	AboutPerson     About = "person"
	AboutApprentice About = "apprentice" // holds the role on the day it happened
)

// Kind is one row of the table of entry types.
type Kind struct {
	Type     Type
	Record   readiness.RecordKind // how long it is kept is policy
	Makers   []Maker
	About    About
	Signing  Signing
	Reason   bool     // the personal field "reason" is needed
	Personal []string // allowed personal fields; a name that ends in "/" stands for all fields that begin so
	Needed   []string // personal fields that must be there
	Content  []string // content that must be named
	Corrects bool     // body.corrects is needed; else it must be absent
	When     string   // what further rules say, in a line
	New      func() any
}

// Late says whether a reason and a second signature let the entry be dated before the policy's window.
func (k Kind) Late() bool { return k.Signing != SignNone && k.allowsPersonal("reason") }

var kinds = []Kind{
	{Type: Opening, Record: readiness.AccountRecord, Makers: []Maker{MakerFounder}, About: AboutNewPerson, Signing: SignSelf,
		Personal: []string{"name", "login"}, Needed: []string{"name", "login"}, Content: []string{"password", "sealed_key", "data_key"},
		When: "entry 0 and never again; the actor is the first coordinator", New: func() any { return new(OpeningPayload) }},
	{Type: ProgrammeAdopted, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator}, About: AboutNobody, Signing: SignActor,
		Content: []string{"programme"}, New: func() any { return new(ProgrammePayload) }},
	{Type: ParametersAdopted, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator}, About: AboutNobody, Signing: SignActor,
		Content: []string{"parameters"}, New: func() any { return new(ParametersPayload) }},
	{Type: SiteAdded, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator}, About: AboutNobody, Signing: SignNone,
		When: "the site's id is new", New: func() any { return new(SitePayload) }},
	{Type: CohortAdded, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator}, About: AboutNobody, Signing: SignNone,
		When: "the cohort's id is new, its site is known", New: func() any { return new(CohortPayload) }},
	{Type: CohortJoined, Record: readiness.AgreementRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone,
		When: "not a member already", New: func() any { return new(MembershipPayload) }},
	{Type: CohortLeft, Record: readiness.AgreementRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone, Personal: []string{"reason"},
		When: "a member until then", New: func() any { return new(MembershipPayload) }},
	{Type: PersonAdded, Record: readiness.AccountRecord, Makers: []Maker{MakerCoordinator}, About: AboutNewPerson, Signing: SignNone,
		Personal: []string{"name", "login"}, Needed: []string{"name", "login"}, Content: []string{"data_key"},
		When: "the person's id is new, and nobody else has the log-in name", New: func() any { return new(PersonPayload) }},
	{Type: PersonRenamed, Record: readiness.AccountRecord, Makers: []Maker{MakerCoordinator, MakerSelf}, About: AboutPerson, Signing: SignNone,
		Personal: []string{"name", "login"},
		When:     "at least one of the two fields", New: func() any { return new(PersonPayload) }},
	{Type: RoleGranted, Record: readiness.AuthorityRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignActorIfCoordinator,
		When: "never for oneself, but the founder's own as coordinator in entry 1", New: func() any { return new(RolePayload) }},
	{Type: RoleEnded, Record: readiness.AuthorityRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone, Personal: []string{"reason"},
		When: "names a role not ended yet; a coordinator stays", New: func() any { return new(EndPayload) }},
	{Type: Appointed, Record: readiness.AuthorityRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		Personal: []string{"qualification", "number"},
		When:     "of somebody else who is a supervisor from that day or later", New: func() any { return new(AppointmentPayload) }},
	{Type: AppointmentEnded, Record: readiness.AuthorityRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignActor, Personal: []string{"reason"},
		When: "names an appointment not ended yet; what was signed after its last day is then in question", New: func() any { return new(EndPayload) }},
	{Type: KeyAdded, Record: readiness.AccountRecord, Makers: []Maker{MakerCoordinator, MakerSelf}, About: AboutPerson, Signing: SignCoordinatorAndNewKey,
		Content: []string{"sealed_key"},
		When:    "the key's id is new; a passkey has no sealed key; a coordinator may sign for a new key of their own with the old one", New: func() any { return new(KeyAddedPayload) }},
	{Type: KeyEnded, Record: readiness.AccountRecord, Makers: []Maker{MakerCoordinator, MakerSelf}, About: AboutPerson, Signing: SignNone, Personal: []string{"reason"},
		When: "the key is the subject's and has not ended; only a compromise reaches back, and what was signed since then is then in question", New: func() any { return new(KeyEndedPayload) }},
	{Type: PasswordSet, Record: readiness.AccountRecord, Makers: []Maker{MakerCoordinator, MakerSelf}, About: AboutPerson, Signing: SignNone,
		Content: []string{"password"}, New: func() any { return new(PasswordPayload) }},
	{Type: AgreementMade, Record: readiness.AgreementRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone, Personal: []string{"employer"},
		New: func() any { return new(AgreementPayload) }},
	{Type: AgreementEnded, Record: readiness.AgreementRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone, Personal: []string{"reason"},
		When: "names an agreement not ended yet", New: func() any { return new(EndPayload) }},
	{Type: LeaveTaken, Record: readiness.AgreementRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone, Personal: []string{"reason"},
		When: "never one's own", New: func() any { return new(LeavePayload) }},
	{Type: LessonRead, Record: readiness.TrainingRecord, Makers: []Maker{MakerSelf}, About: AboutApprentice, Signing: SignNone,
		New: func() any { return new(ReadingPayload) }},
	{Type: TestIssued, Record: readiness.TrainingRecord, Makers: []Maker{MakerSelf}, About: AboutApprentice, Signing: SignNone, Content: []string{"form"},
		New: func() any { return new(TestIssuedPayload) }},
	{Type: TestHandedIn, Record: readiness.TrainingRecord, Makers: []Maker{MakerSelf}, About: AboutApprentice, Signing: SignNone, Content: []string{"answers", "marks"},
		When: "one's own test, of this task, still open; watched by a supervisor, if at all", New: func() any { return new(TestHandedInPayload) }},
	{Type: ShopNote, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator, MakerAuthor}, About: AboutNobody, Signing: SignNone,
		Personal: []string{"note"}, When: "has words, or names the note that it takes off", New: func() any { return new(ShopNotePayload) }},
	{Type: QuestionVoided, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator}, About: AboutNobody, Signing: SignActor,
		Reason: true, Personal: []string{"reason"},
		When: "not voided already, or to be restored; names every test that had it and was handed in before", New: func() any { return new(QuestionVoidedPayload) }},
	{Type: SignOff, Record: readiness.TrainingRecord, Makers: []Maker{MakerAppointed}, About: AboutApprentice, Signing: SignActorSecondIfPaper,
		Personal: []string{"car", "work_order", "notes", "what_happened/", "photo/", "reason"},
		When:     "never for oneself; each job once; the actor is one of those who watched; from paper: with its photograph", New: func() any { return new(SignOffPayload) }},
	{Type: UnwatchedJob, Record: readiness.TrainingRecord, Makers: []Maker{MakerSelf, MakerAppointed, MakerCoordinator}, About: AboutApprentice, Signing: SignNone,
		Personal: []string{"car", "work_order", "notes"}, New: func() any { return new(UnwatchedJobPayload) }},
	{Type: SpotCheck, Record: readiness.TrainingRecord, Makers: []Maker{MakerAppointed}, About: AboutApprentice, Signing: SignActor,
		Personal: []string{"car", "work_order", "notes", "reason"},
		When:     "never for oneself", New: func() any { return new(SpotCheckPayload) }},
	{Type: CaseOpened, Record: readiness.MatterRecord, Makers: []Maker{MakerSupervisor, MakerCoordinator}, About: AboutPerson, Signing: SignNone,
		Personal: []string{"car", "work_order", "what_happened", "notes"}, Needed: []string{"what_happened"},
		When: "never about oneself; names jobs of the same person", New: func() any { return new(CaseOpenedPayload) }},
	{Type: Return, Record: readiness.MatterRecord, Makers: []Maker{MakerSupervisor, MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		Personal: []string{"car", "work_order", "notes", "what_happened", "reason"},
		When:     "never for oneself; the case that it names is the same person's and open", New: func() any { return new(ReturnPayload) }},
	{Type: ClearanceGiven, Record: readiness.ClearanceRecord, Makers: []Maker{MakerAppointed}, About: AboutApprentice, Signing: SignActorSecondIfWaived,
		Personal: []string{"reason"}, Content: []string{"verdict", "policy", "parameters"},
		When: "never for oneself; a waiver needs a reason and, if it sets gates aside, an end", New: func() any { return new(ClearancePayload) }},
	{Type: StandDownOrdered, Record: readiness.ClearanceRecord, Makers: []Maker{MakerSupervisor, MakerCoordinator}, About: AboutPerson, Signing: SignNone,
		Reason: true, Personal: []string{"reason"},
		When: "on the session alone", New: func() any { return new(StandDownPayload) }},
	{Type: StandDownSigned, Record: readiness.ClearanceRecord, Makers: []Maker{MakerSupervisor, MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		When: "by whoever ordered it, once", New: func() any { return new(StandDownSignedPayload) }},
	{Type: Restored, Record: readiness.ClearanceRecord, Makers: []Maker{MakerAppointed, MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		Reason: true, Personal: []string{"reason"},
		When: "a stand-down is open; the actor ordered none of those that it lifts", New: func() any { return new(RestorePayload) }},
	{Type: Recognised, Record: readiness.TrainingRecord, Makers: []Maker{MakerAppointed, MakerCoordinator}, About: AboutApprentice, Signing: SignActorAndSecond,
		Reason: true, Personal: []string{"reason"},
		When: "never for oneself", New: func() any { return new(RecognitionPayload) }},
	{Type: Corrected, Record: readiness.TrainingRecord, Makers: []Maker{MakerAppointed, MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		Reason: true, Personal: []string{"reason", "car", "work_order", "notes", "what_happened/", "photo/"}, Corrects: true,
		When: "names an entry about the same person that can be corrected; never for oneself; a second correction beside one that counts opens a dispute", New: func() any { return new(CorrectionPayload) }},
	{Type: Disputed, Record: readiness.MatterRecord, Makers: []Maker{MakerSelf, MakerSupervisor, MakerCoordinator}, About: AboutPerson, Signing: SignNone,
		Reason: true, Personal: []string{"reason"},
		When: "names an entry about the same person that can be disputed and is not already", New: func() any { return new(DisputePayload) }},
	{Type: DisputeSettled, Record: readiness.MatterRecord, Makers: []Maker{MakerSupervisor, MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		Reason: true, Personal: []string{"reason"},
		When: "a dispute is open; by nobody who is party to it: not the person, not who made, signed, corrected or disputed the entry; where corrections contradict each other it says which stands",
		New:  func() any { return new(SettlementPayload) }},
	{Type: Countersigned, Record: readiness.TrainingRecord, Makers: []Maker{MakerSelf}, About: AboutPerson, Signing: SignActor,
		When: "names a sign-off about oneself, or its correction, once, and not while it is disputed", New: func() any { return new(CountersignedPayload) }},
	{Type: Replied, Record: readiness.TrainingRecord, Makers: []Maker{MakerSelf}, About: AboutPerson, Signing: SignNone,
		Personal: []string{"text"}, Needed: []string{"text"},
		When: "names an entry about oneself that somebody else made", New: func() any { return new(ReplyPayload) }},
	{Type: StandDownReviewed, Record: readiness.ClearanceRecord, Makers: []Maker{MakerAppointed, MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		Reason: true, Personal: []string{"reason", "lifts"}, Needed: []string{"lifts"},
		When: "names a stand-down that holds and that the actor did not order", New: func() any { return new(StandDownReviewPayload) }},
	{Type: Assigned, Record: readiness.MatterRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignNone,
		When: "to a supervisor or coordinator who is not the person whom it is about", New: func() any { return new(AssignedPayload) }},
	{Type: Erased, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerCoordinator}, About: AboutPerson, Signing: SignActor,
		When: "never oneself; once, and nothing more about or by the person; no role, agreement, dispute or case is open, and every kind of record is past its date", New: func() any { return new(ErasurePayload) }},
	{Type: ErasedAgain, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerKeyHolder}, About: AboutPerson, Signing: SignNone,
		When: "with the erasure as it was signed, by a coordinator whose key and role are known or come along; made when a database put back from a copy is opened beside the list of erasures", New: func() any { return new(ErasureReplayedPayload) }},
	{Type: PutBack, Record: readiness.ProgrammeRecord, Makers: []Maker{MakerKeyHolder}, About: AboutNobody, Signing: SignNone,
		When: "made when the database is opened after a forced restore that lost entries", New: func() any { return new(PutBackPayload) }},
}

var kindByType = func() map[Type]*Kind {
	m := make(map[Type]*Kind, len(kinds))
	for i := range kinds {
		m[kinds[i].Type] = &kinds[i]
	}
	return m
}()

// Kinds is the table of all entry types, in the order of their declaration.
func Kinds() []Kind { return append([]Kind(nil), kinds...) }

// KindOf returns a type's row.
func KindOf(t Type) (Kind, bool) {
	k, ok := kindByType[t]
	if !ok {
		return Kind{}, false
	}
	return *k, true
}

// of is the kind as it is for a payload: a passkey has no sealed key, for its secret never leaves the person's device.
func (k Kind) of(payload any) Kind {
	if x, ok := payload.(*KeyAddedPayload); ok && IsPasskey(x.Key.Alg) {
		k.Content = nil
	}
	return k
}

// allowsPersonal says whether a personal field may stand in an entry of this kind.
func (k Kind) allowsPersonal(field string) bool {
	for _, f := range k.Personal {
		if f == field || strings.HasSuffix(f, "/") && strings.HasPrefix(field, f) && len(field) > len(f) {
			return true
		}
	}
	return false
}

// sortedKeys are a map's keys in bytewise order.
func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// TableMarkdown prints the table of entry types for the developers' documentation.
func TableMarkdown() string {
	var b strings.Builder
	b.WriteString("| type | made by | about | kept as | signatures | personal fields | content | further rules |\n|---|---|---|---|---|---|---|---|\n")
	for _, k := range kinds {
		makers := make([]string, len(k.Makers))
		for i, m := range k.Makers {
			makers[i] = string(m)
		}
		personal := make([]string, len(k.Personal))
		for i, p := range k.Personal {
			if p == "reason" && k.Reason || contains(k.Needed, p) {
				p = "**" + p + "**"
			}
			personal[i] = p
		}
		when := k.When
		if k.Late() {
			if when != "" {
				when += "; "
			}
			when += "late: a reason and a second signature"
		}
		b.WriteString("| `" + string(k.Type) + "` | " + strings.Join(makers, ", ") + " | " + string(k.About) + " | " + string(k.Record) + " | " + string(k.Signing) + " | " +
			strings.Join(personal, ", ") + " | " + strings.Join(k.Content, ", ") + " | " + when + " |\n")
	}
	return b.String()
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
