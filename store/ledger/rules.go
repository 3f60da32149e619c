package ledger

import (
	"crypto/ed25519"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"
)

// RuleError says which rule an entry breaks. Its words are said by the server, from Code and Args.
type RuleError struct {
	Code string
	Args map[string]string
}

func (e *RuleError) Error() string {
	var b strings.Builder
	b.WriteString("rule " + e.Code)
	for i, k := range sortedKeys(e.Args) {
		if i == 0 {
			b.WriteString(":")
		}
		b.WriteString(" " + k + "=" + strconv.Quote(e.Args[k]))
	}
	return b.String()
}

// The codes of broken rules.
const (
	NotFirst         = "not_first"          // an opening that is not entry 0, or another entry that is
	NoSuchPerson     = "no_such_person"     // person
	PersonKnown      = "person_known"       // person: the id is taken
	PersonErased     = "person_erased"      // person: was erased, so nothing more is recorded of them
	NoSuchSite       = "no_such_site"       // site
	SiteKnown        = "site_known"         // site
	NoSuchCohort     = "no_such_cohort"     // cohort
	CohortKnown      = "cohort_known"       // cohort
	AlreadyMember    = "already_member"     // person, cohort
	NotMember        = "not_member"         // person, cohort
	UnknownZone      = "unknown_zone"       // zone
	Future           = "future"             // happened after it was recorded
	TooOld           = "too_old"            // days (of the policy), date: this type cannot be entered late
	LateNeedsReason  = "late_needs_reason"  // days, date
	LateNeedsSecond  = "late_needs_second"  // days, date
	NotAllowed       = "not_allowed"        // type, person: the actor holds no role that may make it
	NotAppointed     = "not_appointed"      // person, task, site, date
	NotApprentice    = "not_apprentice"     // person, date
	Oneself          = "oneself"            // person: nobody signs or decides for themselves
	Unsigned         = "unsigned"           // person: the actor's signature is missing
	SecondNeeded     = "second_needed"      // the signature of a second person is missing
	SecondNotAllowed = "second_not_allowed" // person: holds no authority to be the second
	SignedTwice      = "signed_twice"       // key or person: two signatures of one person
	TooManySigned    = "too_many_signed"    // more signatures than the type has
	KeyUnknown       = "key_unknown"        // key
	KeyNotInForce    = "key_not_in_force"   // key, person
	BadSignature     = "bad_signature"      // key
	NewKeyUnsigned   = "new_key_unsigned"   // key: the new key has not signed
	NeedsCoordinator = "needs_coordinator"  // a coordinator's signature is missing
	KeyKnown         = "key_known"          // key: the id is taken
	NotTheirKey      = "not_their_key"      // key, person
	AlreadyEnded     = "already_ended"      // entry or key
	EndBeforeStart   = "end_before_start"   // date, from
	LastCoordinator  = "last_coordinator"   // somebody must stay who holds the role
	NotSupervisor    = "not_supervisor"     // person, date
	NoSuchEntry      = "no_such_entry"      // entry
	WrongEntry       = "wrong_entry"        // entry, type: it cannot be named there
	SomebodyElses    = "somebody_elses"     // entry: it is about another person
	NoSuchTest       = "no_such_test"       // test
	TestHandedInOnce = "test_handed_in"     // test: already handed in
	OtherTask        = "other_task"         // task
	JobSignedOnce    = "job_signed"         // job: already signed
	NotHandedIn      = "not_handed_in"      // test: still open
	AlreadyVoided    = "already_voided"     // question
	NotVoided        = "not_voided"         // question: nothing to restore
	MarksOutdated    = "marks_outdated"     // somebody handed in, or a question was voided, in the meantime
	NotWatched       = "not_watched"        // person: the actor is not among those who watched
	PhotoMissing     = "photo_missing"      // field: a photograph is named that does not come along
	PaperNeedsPhoto  = "paper_needs_photo"  // entered from paper without the sheet's photograph
	CaseClosed       = "case_closed"        // entry: the case has its finding already
	AlreadySigned    = "already_signed"     // entry: the stand-down is signed
	NotTheirs        = "not_theirs"         // entry, person: somebody else ordered it
	NothingToRestore = "nothing_to_restore" // person, task
	OrderedIt        = "ordered_it"         // person: ordered the stand-down and cannot lift it
	AlreadyDisputed  = "already_disputed"   // entry
	NotDisputed      = "not_disputed"       // entry
	IsParty          = "is_party"           // person: is party to the dispute
	EndsInPast       = "ends_in_past"       // date: the clearance or waiver ends before it begins
	EndReachesBack   = "end_reaches_back"   // only a compromised key ends before it is said
	CountersignOnce  = "countersigned"      // entry: already countersigned
	Contradicting    = "contradicting"      // entry: which of several corrections stands must be said
	EraseRole        = "erase_role"         // role: still held
	EraseAgreement   = "erase_agreement"    // a training agreement runs
	EraseKept        = "erase_kept"         // kind, date, years: records of the kind must be kept until then
	EraseDispute     = "erase_dispute"      // one is open
	EraseCase        = "erase_case"         // one is open
	EraseDate        = "erase_date"         // date: until which the records had to be kept; the erasure says otherwise
	WrongErasure     = "wrong_erasure"      // what comes along is no erasure of this person
	ErasureUnproved  = "erasure_unproved"   // person: that they signed it as a coordinator is not shown
	LoginTaken       = "login_taken"        // checked by the store, which alone can read log-in names
)

// RuleCodes are all codes, sorted, so that whoever says them can prove that none is left without words.
func RuleCodes() []string {
	codes := []string{NotFirst, NoSuchPerson, PersonKnown, PersonErased, NoSuchSite, SiteKnown, NoSuchCohort, CohortKnown, AlreadyMember, NotMember,
		UnknownZone, Future, TooOld, LateNeedsReason, LateNeedsSecond, NotAllowed, NotAppointed, NotApprentice, Oneself, Unsigned,
		SecondNeeded, SecondNotAllowed, SignedTwice, TooManySigned, KeyUnknown, KeyNotInForce, BadSignature, NewKeyUnsigned,
		NeedsCoordinator, KeyKnown, NotTheirKey, AlreadyEnded, EndBeforeStart, LastCoordinator, NotSupervisor, NoSuchEntry,
		WrongEntry, SomebodyElses, NoSuchTest, TestHandedInOnce, OtherTask, JobSignedOnce, NotHandedIn, AlreadyVoided, NotVoided, MarksOutdated, NotWatched, PhotoMissing, PaperNeedsPhoto, CaseClosed, AlreadySigned, NotTheirs,
		NothingToRestore, OrderedIt, AlreadyDisputed, NotDisputed, IsParty, EndsInPast, EndReachesBack, CountersignOnce, Contradicting,
		EraseRole, EraseAgreement, EraseKept, EraseDispute, EraseCase, EraseDate, WrongErasure, ErasureUnproved, LoginTaken}
	sort.Strings(codes)
	return codes
}

// DefaultBackdatingDays holds where a programme's policy is silent.
const DefaultBackdatingDays = 14

func broken(code string, args ...string) error {
	e := &RuleError{Code: code, Args: map[string]string{}}
	for i := 0; i+1 < len(args); i += 2 {
		e.Args[args[i]] = args[i+1]
	}
	return e
}

// Check judges an entry by the state just before it: everything that hashes and format alone do not say. A broken rule
// is a *[RuleError]; other errors come from the facts.
func Check(p *Parsed, f Facts) error { return check(p, f, verifyNow) }

// CheckWith is Check with somebody else's word for the signatures: good must say no less than [SignatureCheck.OK] does,
// or take the check and say so later, so that many can be verified at once.
func CheckWith(p *Parsed, f Facts, good func(SignatureCheck) bool) error { return check(p, f, good) }

// SignatureCheck is one signature to verify.
type SignatureCheck struct {
	Key, Alg               string
	Public, Message, Bytes []byte

	// Of a passkey.
	RPID, Origin          string
	Authenticator, Client []byte
	Among                 []string
}

// OK verifies it: Ed25519 (RFC 8032), pure, or a passkey's assertion.
func (c SignatureCheck) OK() bool {
	if IsPasskey(c.Alg) {
		return c.assertion()
	}
	return c.Alg == AlgEd25519 && len(c.Public) == ed25519.PublicKeySize && ed25519.Verify(c.Public, c.Message, c.Bytes)
}

func verifyNow(c SignatureCheck) bool { return c.OK() }

// judge is one judgement on its way.
type judge struct {
	*Parsed
	kind     Kind
	facts    Facts
	verify   func(SignatureCheck) bool
	happened string   // date of the event in its zone
	recorded string   // date of recording in the same zone
	signers  []string // persons, in the order of signatures
	newKey   bool     // key_added, opening: the new key has signed
}

func check(p *Parsed, f Facts, verify func(SignatureCheck) bool) error {
	k, ok := KindOf(p.Body.Type)
	if !ok {
		return &FormatError{Type: p.Body.Type, Field: "type", What: "is not known"}
	}
	j := &judge{Parsed: p, kind: k, facts: f, verify: verify}
	for _, rule := range []func() error{j.first, j.dates, j.known, j.signatures, j.about, j.maker, j.signing, j.late, j.own} {
		if err := rule(); err != nil {
			return err
		}
	}
	return nil
}

// first: the opening is entry 0, and only the opening.
func (j *judge) first() error {
	next, err := j.facts.Next()
	if err != nil {
		return err
	}
	if (next == 0) != (j.Body.Type == Opening) {
		return broken(NotFirst)
	}
	return nil
}

// dates: nothing happens after it is recorded.
func (j *judge) dates() error {
	loc, err := loadZone(j.Body.Zone)
	if err != nil {
		return broken(UnknownZone, "zone", j.Body.Zone)
	}
	j.happened = time.UnixMilli(j.Body.HappenedAt).In(loc).Format(time.DateOnly)
	j.recorded = time.UnixMilli(j.RecordedAt).In(loc).Format(time.DateOnly)
	if j.Body.HappenedAt > j.RecordedAt {
		return broken(Future)
	}
	return nil
}

// known: persons and sites named in the body are known.
func (j *judge) known() error {
	if j.Body.Type == Opening {
		return nil
	}
	if j.Body.Actor != KeyHolder {
		if err := j.livingPerson(j.Body.Actor); err != nil {
			return err
		}
	}
	if j.Body.Site != "" {
		return j.knownSite(j.Body.Site)
	}
	return nil
}

func (j *judge) knownPerson(id string) error {
	ok, err := j.facts.Person(id)
	if err == nil && !ok {
		return broken(NoSuchPerson, "person", id)
	}
	return err
}

// livingPerson: known, and not erased.
func (j *judge) livingPerson(id string) error {
	if err := j.knownPerson(id); err != nil {
		return err
	}
	gone, err := j.facts.Erased(id)
	if err == nil && gone {
		return broken(PersonErased, "person", id)
	}
	return err
}

func (j *judge) knownSite(id string) error {
	ok, err := j.facts.Site(id)
	if err == nil && !ok {
		return broken(NoSuchSite, "site", id)
	}
	return err
}

// signatures: every signature is good, by a key in force when recorded, and no person signs twice.
func (j *judge) signatures() error {
	if len(j.Signatures) > 2 {
		return broken(TooManySigned)
	}
	var fresh *KeyFact
	switch p := j.Payload.(type) {
	case *OpeningPayload:
		fresh = keyFact(p.Key, j.Parsed)
	case *KeyAddedPayload:
		fresh = keyFact(p.Key, j.Parsed)
	}
	good := func(key *KeyFact, s Signature) bool {
		c, err := key.Check(s, j.Signed)
		return err == nil && j.verify(c)
	}
	for _, s := range j.Signatures {
		if fresh != nil && s.Key == fresh.ID {
			if j.newKey {
				return broken(SignedTwice, "key", s.Key)
			}
			if !good(fresh, s) {
				return broken(BadSignature, "key", s.Key)
			}
			j.newKey = true
			continue
		}
		key, err := j.facts.Key(s.Key)
		switch {
		case err != nil:
			return err
		case key == nil:
			return broken(KeyUnknown, "key", s.Key)
		case !key.inForce(j.RecordedAt):
			return broken(KeyNotInForce, "key", s.Key, "person", key.Person)
		case contains(j.signers, key.Person):
			return broken(SignedTwice, "key", s.Key, "person", key.Person)
		case !good(key, s):
			return broken(BadSignature, "key", s.Key)
		}
		j.signers = append(j.signers, key.Person)
	}
	return nil
}

// about: the subject is of the right kind.
func (j *judge) about() error {
	switch j.kind.About {
	case AboutNewPerson:
		ok, err := j.facts.Person(j.Body.Subject)
		if err == nil && (ok || j.Body.Subject == KeyHolder) {
			return broken(PersonKnown, "person", j.Body.Subject)
		}
		return err
	case AboutPerson:
		return j.livingPerson(j.Body.Subject)
	case AboutApprentice:
		if err := j.livingPerson(j.Body.Subject); err != nil {
			return err
		}
		ok, err := j.holds(j.Body.Subject, "apprentice", j.happened)
		if err == nil && !ok {
			return broken(NotApprentice, "person", j.Body.Subject, "date", j.happened)
		}
		return err
	}
	return nil
}

// holds says whether a person holds a role on a date, at whatever site.
func (j *judge) holds(person, role, date string) (bool, error) {
	roles, err := j.facts.Roles(person)
	if err != nil {
		return false, err
	}
	for _, r := range roles {
		if r.Role == role && inForce(r.From, r.Until, date) {
			return true, nil
		}
	}
	return false, nil
}

// writes says whether a person has the author right on the day of recording.
func (j *judge) writes(person string) (bool, error) {
	roles, err := j.facts.Roles(person)
	if err != nil {
		return false, err
	}
	return slices.ContainsFunc(roles, func(r RoleFact) bool { return r.Author && inForce(r.From, r.Until, j.recorded) }), nil
}

// supervises says whether a person is a supervisor on the day of recording, at the entry's site if the role is for one.
func (j *judge) supervises(person string) (bool, error) {
	roles, err := j.facts.Roles(person)
	if err != nil {
		return false, err
	}
	for _, r := range roles {
		if r.Role == "supervisor" && (r.Site == "" || j.Body.Site == "" || r.Site == j.Body.Site) && inForce(r.From, r.Until, j.recorded) {
			return true, nil
		}
	}
	return false, nil
}

// appointed says whether a person is appointed for a task at a site on a date. Site "" is met only by an appointment
// for all sites.
func (j *judge) appointed(person, task, site, date string) (bool, error) {
	list, err := j.facts.Appointments(person)
	if err != nil {
		return false, err
	}
	for _, a := range list {
		if a.Task == task && (a.Site == "" || a.Site == site) && inForce(a.From, a.Until, date) {
			return true, nil
		}
	}
	return false, nil
}

func inForce(from, until, date string) bool {
	return from <= date && (until == "" || date <= until)
}

// maker: the actor is somebody who may make such an entry.
func (j *judge) maker() error {
	actor := j.Body.Actor
	wantsAppointment := false
	for _, m := range j.kind.Makers {
		ok, err := false, error(nil)
		switch m {
		case MakerFounder:
			ok = actor == j.Body.Subject
		case MakerKeyHolder:
			ok = actor == KeyHolder
		case MakerSelf:
			ok = actor == j.Body.Subject
		case MakerCoordinator, MakerSupervisor:
			ok, err = j.holds(actor, string(m), j.recorded)
			if !ok && err == nil && m == MakerCoordinator {
				ok, err = j.founding()
			}
		case MakerAuthor:
			ok, err = j.writes(actor)
		case MakerAppointed:
			var supervises bool
			if supervises, err = j.supervises(actor); err != nil || !supervises {
				break
			}
			wantsAppointment = true
			ok, err = j.appointedForIt(actor)
		}
		if err != nil {
			return err
		}
		if ok {
			return nil
		}
	}
	if wantsAppointment {
		task, err := j.task()
		if err != nil {
			return err
		}
		return broken(NotAppointed, "person", actor, "task", task, "site", j.Body.Site, "date", j.happened)
	}
	return broken(NotAllowed, "type", string(j.Body.Type), "person", actor)
}

// founding: entry 1 gives the founder, who holds no role yet, the coordinator's.
func (j *judge) founding() (bool, error) {
	next, err := j.facts.Next()
	if err != nil || next != 1 {
		return false, err
	}
	r, ok := j.Payload.(*RolePayload)
	return ok && r.Role == "coordinator" && j.Body.Actor == j.Body.Subject, nil
}

// appointedForIt says whether a person has authority over the task that the entry is about. Where it is about all tasks
// any appointment will do.
func (j *judge) appointedForIt(person string) (bool, error) {
	task, err := j.task()
	if err != nil {
		return false, err
	}
	site, date := j.Body.Site, j.happened
	if task != "" {
		return j.appointed(person, task, site, date)
	}
	list, err := j.facts.Appointments(person)
	if err != nil {
		return false, err
	}
	for _, a := range list {
		if inForce(a.From, a.Until, date) {
			return true, nil
		}
	}
	return false, nil
}

// task is the task that the entry is about: its own, or that of the entry it is a word on.
func (j *judge) task() (string, error) {
	named := Names(&j.Body, j.Payload)
	if t := TaskOf(j.Payload); t != "" || named == "" {
		return t, nil
	}
	e, err := j.facts.Entry(named)
	if err != nil || e == nil {
		return "", err
	}
	return e.Task, nil
}

// Names is the earlier entry that an entry is a word on: corrects, disputes, settles, countersigns and the like. "" if it
// stands for itself.
func Names(b *Body, payload any) string {
	switch p := payload.(type) {
	case *DisputePayload:
		return p.Disputes
	case *SettlementPayload:
		return p.Disputes
	case *CountersignedPayload:
		return p.Entry
	case *ReplyPayload:
		return p.Entry
	case *StandDownReviewPayload:
		return p.StandDown
	case *StandDownSignedPayload:
		return p.StandDown
	case *AssignedPayload:
		return p.Matter
	}
	return b.Corrects
}

// TaskOf is the task named in a payload, "" if none is.
func TaskOf(payload any) string {
	switch p := payload.(type) {
	case *AppointmentPayload:
		return p.Task
	case *TestIssuedPayload:
		return p.Task
	case *TestHandedInPayload:
		return p.Task
	case *SignOffPayload:
		return p.Task
	case *UnwatchedJobPayload:
		return p.Task
	case *SpotCheckPayload:
		return p.Task
	case *ReturnPayload:
		return p.Task
	case *CaseOpenedPayload:
		return p.Task
	case *ClearancePayload:
		return p.Task
	case *StandDownPayload:
		return p.Task
	case *RestorePayload:
		return p.Task
	case *RecognitionPayload:
		return p.Task
	case *CorrectionPayload:
		if p.SignOff != nil {
			return p.SignOff.Task
		}
	}
	return ""
}

// signing: the signatures that the type needs are there, and nobody signs for themselves.
func (j *judge) signing() error {
	switch j.kind.Signing {
	case SignSelf:
		if !j.newKey {
			return broken(Unsigned, "person", j.Body.Actor)
		}
		if len(j.Signatures) > 1 {
			return broken(TooManySigned)
		}
		return nil
	case SignCoordinatorAndNewKey:
		return j.keySigning()
	case SignNone:
	case SignActorIfCoordinator:
		r := j.Payload.(*RolePayload)
		if r.Role == "coordinator" || r.Author {
			if err := j.signedByActor(); err != nil {
				return err
			}
		}
	default:
		if err := j.signedByActor(); err != nil {
			return err
		}
	}
	// Whoever signed besides the actor must have had the authority to.
	second := ""
	for _, s := range j.signers {
		if s == j.Body.Actor {
			continue
		}
		if second != "" {
			return broken(TooManySigned)
		}
		second = s
		if second == j.Body.Subject {
			return broken(Oneself, "person", second)
		}
		ok, err := j.authority(second)
		if err != nil {
			return err
		}
		if !ok {
			return broken(SecondNotAllowed, "person", second)
		}
	}
	if second != "" && !contains(j.signers, j.Body.Actor) {
		return broken(Unsigned, "person", j.Body.Actor)
	}
	needed := j.kind.Signing == SignActorAndSecond
	if c, ok := j.Payload.(*ClearancePayload); ok && c.Waiver != nil {
		needed = true
	}
	if x, ok := j.Payload.(*SignOffPayload); ok && x.Paper {
		needed = true
	}
	if needed && second == "" {
		return broken(SecondNeeded)
	}
	return nil
}

func (j *judge) signedByActor() error {
	if !contains(j.signers, j.Body.Actor) {
		return broken(Unsigned, "person", j.Body.Actor)
	}
	return nil
}

// authority: a coordinator on the day of recording, or a supervisor appointed for the task.
func (j *judge) authority(person string) (bool, error) {
	if ok, err := j.holds(person, "coordinator", j.recorded); ok || err != nil {
		return ok, err
	}
	if ok, err := j.supervises(person); !ok || err != nil {
		return false, err
	}
	return j.appointedForIt(person)
}

// keySigning: the new key and a coordinator's personal key. A coordinator's older key may vouch for that person's new one.
func (j *judge) keySigning() error {
	p := j.Payload.(*KeyAddedPayload)
	if !j.newKey {
		return broken(NewKeyUnsigned, "key", p.Key.Key)
	}
	if len(j.signers) == 0 {
		return broken(NeedsCoordinator)
	}
	ok, err := j.holds(j.signers[0], "coordinator", j.recorded)
	if err == nil && !ok {
		return broken(NeedsCoordinator)
	}
	return err
}

// late: what is older than the policy's window needs a reason and a second signature.
func (j *judge) late() error {
	days, err := j.facts.BackdatingDays()
	if err != nil {
		return err
	}
	earliest := j.happened
	switch p := j.Payload.(type) {
	case *UnwatchedJobPayload:
		if p.Date > j.recorded {
			return broken(Future)
		}
		earliest = min(earliest, p.Date)
	case *ErasurePayload:
		if p.KeptUntil == "" { // one of those that were made again as they were, however late
			return nil
		}
	case *SignOffPayload: // a job is as old as its work, whenever its sign-off says that it happened
		finished, err := Date(p.Finished, j.Body.Zone)
		if err != nil {
			return err
		}
		earliest = min(earliest, finished)
	}
	first := mustDate(j.recorded).AddDate(0, 0, -days).Format(time.DateOnly)
	if earliest >= first {
		return nil
	}
	args := []string{"days", strconv.Itoa(days), "date", earliest}
	switch {
	case !j.kind.Late():
		return broken(TooOld, args...)
	case j.Refs().Personal["reason"] == "":
		return broken(LateNeedsReason, args...)
	case len(j.signers) < 2:
		return broken(LateNeedsSecond, args...)
	}
	return nil
}

func mustDate(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic("ledger: a formatted date does not parse: " + s)
	}
	return t
}

// own: what the type itself demands.
func (j *judge) own() error {
	switch p := j.Payload.(type) {
	case *OpeningPayload:
		return nil
	case *SitePayload:
		return j.site(p)
	case *CohortPayload:
		return j.cohort(p)
	case *MembershipPayload:
		return j.membership(p)
	case *RolePayload:
		return j.role(p)
	case *EndPayload:
		return j.end(p)
	case *AppointmentPayload:
		return j.appointment(p)
	case *KeyAddedPayload:
		key, err := j.facts.Key(p.Key.Key)
		if err == nil && key != nil {
			return broken(KeyKnown, "key", p.Key.Key)
		}
		return err
	case *KeyEndedPayload:
		return j.keyEnd(p)
	case *LeavePayload:
		return j.notOneself()
	case *ErasurePayload:
		return j.erasure(p)
	case *ErasureReplayedPayload:
		return j.erasureReplayed(p)
	case *TestHandedInPayload:
		return j.test(p)
	case *ShopNotePayload:
		if p.Removes == "" {
			return nil
		}
		_, err := j.named(p.Removes, []Type{ShopNote})
		return err
	case *QuestionVoidedPayload:
		return j.voided(p)
	case *SignOffPayload:
		return j.signOff(p)
	case *SpotCheckPayload:
		return j.spotCheck(p)
	case *CaseOpenedPayload:
		return j.caseOpened(p)
	case *ReturnPayload:
		return j.returned(p)
	case *RecognitionPayload, *StandDownPayload:
		return j.notOneself()
	case *ClearancePayload:
		return j.clearance(p)
	case *StandDownSignedPayload:
		return j.standDownSigned(p)
	case *StandDownReviewPayload:
		return j.standDownReview(p)
	case *CountersignedPayload:
		return j.countersigned(p)
	case *ReplyPayload:
		return j.reply(p)
	case *AssignedPayload:
		return j.assigned(p)
	case *RestorePayload:
		return j.restore(p)
	case *CorrectionPayload:
		return j.correction(p)
	case *DisputePayload:
		return j.dispute(p)
	case *SettlementPayload:
		return j.settlement(p)
	}
	return nil
}

func (j *judge) notOneself() error {
	if j.Body.Actor == j.Body.Subject {
		return broken(Oneself, "person", j.Body.Actor)
	}
	return nil
}

func (j *judge) site(p *SitePayload) error {
	if _, err := loadZone(p.Zone); err != nil {
		return broken(UnknownZone, "zone", p.Zone)
	}
	ok, err := j.facts.Site(p.Site)
	if err == nil && ok {
		return broken(SiteKnown, "site", p.Site)
	}
	return err
}

func (j *judge) cohort(p *CohortPayload) error {
	if err := j.knownSite(p.Site); err != nil {
		return err
	}
	ok, err := j.facts.Cohort(p.Cohort)
	if err == nil && ok {
		return broken(CohortKnown, "cohort", p.Cohort)
	}
	return err
}

func (j *judge) membership(p *MembershipPayload) error {
	ok, err := j.facts.Cohort(p.Cohort)
	if err != nil {
		return err
	}
	if !ok {
		return broken(NoSuchCohort, "cohort", p.Cohort)
	}
	member, err := j.facts.Member(j.Body.Subject, p.Cohort)
	switch {
	case err != nil:
		return err
	case j.Body.Type == CohortJoined && member:
		return broken(AlreadyMember, "person", j.Body.Subject, "cohort", p.Cohort)
	case j.Body.Type == CohortLeft && !member:
		return broken(NotMember, "person", j.Body.Subject, "cohort", p.Cohort)
	}
	return nil
}

func (j *judge) role(p *RolePayload) error {
	if p.Site != "" {
		if err := j.knownSite(p.Site); err != nil {
			return err
		}
	}
	if j.Body.Actor != j.Body.Subject {
		return nil
	}
	ok, err := j.founding()
	if err == nil && !ok {
		return broken(Oneself, "person", j.Body.Actor)
	}
	return err
}

// ends says which type of entry ends which.
var ends = map[Type]Type{RoleEnded: RoleGranted, AppointmentEnded: Appointed, AgreementEnded: AgreementMade}

func (j *judge) end(p *EndPayload) error {
	begun, err := j.facts.Begun(p.Ends)
	switch {
	case err != nil:
		return err
	case begun == nil:
		return broken(NoSuchEntry, "entry", p.Ends)
	case begun.Type != ends[j.Body.Type]:
		return broken(WrongEntry, "entry", p.Ends, "type", string(begun.Type))
	case begun.Person != j.Body.Subject:
		return broken(SomebodyElses, "entry", p.Ends)
	case begun.Ended:
		return broken(AlreadyEnded, "entry", p.Ends)
	case p.Date < DayBefore(begun.From):
		// The day before it begins is the last day of what never was in force.
		return broken(EndBeforeStart, "date", p.Date, "from", begun.From)
	case begun.Role != "coordinator":
		return nil
	}
	return j.coordinatorStays(p.Ends)
}

func (j *judge) appointment(p *AppointmentPayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	if p.Site != "" {
		if err := j.knownSite(p.Site); err != nil {
			return err
		}
	}
	roles, err := j.facts.Roles(j.Body.Subject)
	if err != nil {
		return err
	}
	for _, r := range roles {
		if r.Role == "supervisor" && (r.Until == "" || r.Until >= p.From) {
			return nil
		}
	}
	return broken(NotSupervisor, "person", j.Body.Subject, "date", p.From)
}

func (j *judge) keyEnd(p *KeyEndedPayload) error {
	key, err := j.facts.Key(p.Key)
	switch {
	case err != nil:
		return err
	case key == nil:
		return broken(KeyUnknown, "key", p.Key)
	case key.Person != j.Body.Subject:
		return broken(NotTheirKey, "key", p.Key, "person", j.Body.Subject)
	case key.EndedAt != 0:
		return broken(AlreadyEnded, "key", p.Key)
	case p.Why != "compromised" && p.From < j.Body.HappenedAt:
		// A changed or lost key was in good hands until now; only one in bad hands casts doubt on what it signed.
		return broken(EndReachesBack, "key", p.Key)
	}
	return nil
}

func (j *judge) test(p *TestHandedInPayload) error {
	t, err := j.facts.Test(p.Test)
	switch {
	case err != nil:
		return err
	case t == nil:
		return broken(NoSuchTest, "test", p.Test)
	case t.Apprentice != j.Body.Subject:
		return broken(SomebodyElses, "entry", p.Test)
	case t.HandedIn:
		return broken(TestHandedInOnce, "test", p.Test)
	case t.Task != p.Task:
		return broken(OtherTask, "task", p.Task)
	}
	voids, err := j.facts.Voids()
	switch {
	case err != nil:
		return err
	case voids != p.Voids:
		return broken(MarksOutdated)
	case p.WatchedBy == "":
		return nil
	case p.WatchedBy == j.Body.Subject:
		return broken(Oneself, "person", p.WatchedBy)
	}
	if err := j.knownPerson(p.WatchedBy); err != nil {
		return err
	}
	ok, err := j.holds(p.WatchedBy, "supervisor", j.happened)
	if err == nil && !ok {
		return broken(NotSupervisor, "person", p.WatchedBy, "date", j.happened)
	}
	return err
}

// voided: the question counts until now, or is to count again; the tests marked anew are handed in, and no other was
// handed in meanwhile. Whether the marks are right only their forms and answers tell: verification looks at those.
func (j *judge) voided(p *QuestionVoidedPayload) error {
	is, err := j.facts.Voided(p.Question, p.Lesson, p.Edition)
	switch {
	case err != nil:
		return err
	case is && !p.Restores:
		return broken(AlreadyVoided, "question", p.Question)
	case !is && p.Restores:
		return broken(NotVoided, "question", p.Question)
	}
	for _, r := range p.Remarked {
		t, err := j.facts.Test(r.Test)
		switch {
		case err != nil:
			return err
		case t == nil:
			return broken(NoSuchTest, "test", r.Test)
		case !t.HandedIn:
			return broken(NotHandedIn, "test", r.Test)
		case t.Apprentice != r.Apprentice:
			return broken(SomebodyElses, "entry", r.Test)
		}
	}
	tests, err := j.facts.HandedIn()
	if err == nil && tests != p.Tests {
		return broken(MarksOutdated)
	}
	return err
}

func (j *judge) signOff(p *SignOffPayload) error {
	if err := j.record(p); err != nil {
		return err
	}
	if !contains(p.Supervisors, j.Body.Actor) {
		return broken(NotWatched, "person", j.Body.Actor)
	}
	if p.Paper && len(p.Photos) == 0 {
		return broken(PaperNeedsPhoto)
	}
	signed, err := j.facts.JobSigned(p.Job)
	if err == nil && signed {
		return broken(JobSignedOnce, "job", p.Job)
	}
	return err
}

// record checks what a sign-off says, new or corrected: the times are past, its photographs are there, and the apprentice is none of those who watched.
func (j *judge) record(p *SignOffPayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	if p.Finished > j.RecordedAt {
		return broken(Future)
	}
	for _, x := range p.Photos {
		if x.Entry != "" && j.Body.Type == Corrected { // it stays with an earlier record of the job
			if _, err := j.named(x.Entry, []Type{SignOff, Corrected}); err != nil {
				return err
			}
		} else if x.Entry != "" || j.Refs().Personal[x.Field] == "" {
			return broken(PhotoMissing, "field", x.Field)
		}
	}
	people := append([]string(nil), p.Supervisors...)
	for _, h := range p.Holds {
		if h.At > j.RecordedAt {
			return broken(Future)
		}
		people = append(people, h.By)
	}
	for _, s := range p.Steps {
		if s.At > j.RecordedAt {
			return broken(Future)
		}
	}
	for _, person := range people {
		if person == j.Body.Subject {
			return broken(Oneself, "person", person)
		}
		if err := j.knownPerson(person); err != nil {
			return err
		}
	}
	return nil
}

// watchedOrAlone are the types of jobs that a spot check or a case may name.
var watchedOrAlone = []Type{SignOff, UnwatchedJob}

func (j *judge) spotCheck(p *SpotCheckPayload) error {
	if err := j.notOneself(); err != nil || p.Of == "" {
		return err
	}
	_, err := j.named(p.Of, watchedOrAlone)
	return err
}

func (j *judge) caseOpened(p *CaseOpenedPayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	for _, id := range p.Jobs {
		if _, err := j.named(id, watchedOrAlone); err != nil {
			return err
		}
	}
	for _, person := range p.People {
		if err := j.knownPerson(person); err != nil {
			return err
		}
	}
	return nil
}

// returned: the case that a finding names is about the same person and open.
func (j *judge) returned(p *ReturnPayload) error {
	if err := j.notOneself(); err != nil || p.Case == "" {
		return err
	}
	c, err := j.named(p.Case, []Type{CaseOpened})
	if err != nil {
		return err
	}
	if c.Task != p.Task {
		return broken(OtherTask, "task", p.Task)
	}
	open, err := j.facts.CaseOpen(p.Case)
	if err == nil && !open {
		return broken(CaseClosed, "entry", p.Case)
	}
	return err
}

func (j *judge) clearance(p *ClearancePayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	if p.Until != "" && p.Until < j.happened {
		return broken(EndsInPast, "date", p.Until)
	}
	if p.Waiver != nil && p.Waiver.Until != "" && p.Waiver.Until < j.happened {
		return broken(EndsInPast, "date", p.Waiver.Until)
	}
	return nil
}

func (j *judge) standDownSigned(p *StandDownSignedPayload) error {
	list, _, err := j.facts.StandDowns(j.Body.Subject)
	if err != nil {
		return err
	}
	for _, s := range list {
		if s.Entry != p.StandDown {
			continue
		}
		switch {
		case s.By != j.Body.Actor:
			return broken(NotTheirs, "entry", p.StandDown, "person", j.Body.Actor)
		case s.Signed:
			return broken(AlreadySigned, "entry", p.StandDown)
		}
		return nil
	}
	return broken(NoSuchEntry, "entry", p.StandDown)
}

// openStandDowns are the stand-downs of an apprentice that hold for a task; task "" asks for all.
func openStandDowns(downs []StandDownFact, restores []RestoreFact, task string) []StandDownFact {
	var open []StandDownFact
	for _, s := range downs {
		if task != "" && s.Task != "" && s.Task != task {
			continue
		}
		lifted := false
		for _, r := range restores {
			// A restore of one task leaves a stand-down of all in force for the others.
			if r.Index > s.Index && (r.Task == "" || r.Task == s.Task || r.Task == task) {
				lifted = true
			}
		}
		if !lifted {
			open = append(open, s)
		}
	}
	return open
}

// standDownReview: the stand-down holds, and somebody else ordered it.
func (j *judge) standDownReview(p *StandDownReviewPayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	downs, restores, err := j.facts.StandDowns(j.Body.Subject)
	if err != nil {
		return err
	}
	for _, s := range downs {
		if s.Entry != p.StandDown {
			continue
		}
		switch {
		case s.By == j.Body.Actor || contains(j.signers, s.By):
			return broken(OrderedIt, "person", s.By)
		case len(openStandDowns([]StandDownFact{s}, restores, s.Task)) == 0:
			return broken(NothingToRestore, "person", j.Body.Subject, "task", s.Task)
		}
		return nil
	}
	return broken(NoSuchEntry, "entry", p.StandDown)
}

// countersigned: the apprentice agrees to what is said of them, once, and not while it is disputed.
func (j *judge) countersigned(p *CountersignedPayload) error {
	if _, err := j.named(p.Entry, []Type{SignOff, Corrected}); err != nil {
		return err
	}
	done, err := j.facts.Countersigned(p.Entry)
	if err != nil {
		return err
	}
	if done {
		return broken(CountersignOnce, "entry", p.Entry)
	}
	list, err := j.facts.Disputes(p.Entry)
	if err != nil {
		return err
	}
	for _, d := range list {
		if !d.Settled {
			return broken(AlreadyDisputed, "entry", p.Entry)
		}
	}
	return nil
}

// reply: to an entry about oneself that somebody else made.
func (j *judge) reply(p *ReplyPayload) error {
	e, err := j.facts.Entry(p.Entry)
	switch {
	case err != nil:
		return err
	case e == nil:
		return broken(NoSuchEntry, "entry", p.Entry)
	case e.Subject != j.Body.Subject:
		return broken(SomebodyElses, "entry", p.Entry)
	case e.Actor == j.Body.Subject:
		return broken(WrongEntry, "entry", p.Entry, "type", string(e.Type))
	}
	return nil
}

// assigned: to somebody who can see to it.
func (j *judge) assigned(p *AssignedPayload) error {
	if p.To == j.Body.Subject {
		return broken(Oneself, "person", p.To)
	}
	if err := j.knownPerson(p.To); err != nil {
		return err
	}
	for _, role := range []string{"supervisor", "coordinator"} {
		if ok, err := j.holds(p.To, role, j.recorded); ok || err != nil {
			return err
		}
	}
	return broken(NotSupervisor, "person", p.To, "date", j.recorded)
}

// restore: a stand-down is open that it lifts, and its actor ordered none of those.
func (j *judge) restore(p *RestorePayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	downs, restores, err := j.facts.StandDowns(j.Body.Subject)
	if err != nil {
		return err
	}
	open := openStandDowns(downs, restores, p.Task)
	for _, s := range open {
		if s.By == j.Body.Actor || contains(j.signers, s.By) {
			return broken(OrderedIt, "person", s.By)
		}
	}
	if len(open) == 0 {
		return broken(NothingToRestore, "person", j.Body.Subject, "task", p.Task)
	}
	return nil
}

// Correctable are the types that a correction may name. A sign-off, or a correction that gave a new one, can be replaced;
// the others can only be withdrawn. Rights are not corrected: they are ended or suspended.
var Correctable = []Type{SignOff, Corrected, LessonRead, TestHandedIn, UnwatchedJob, SpotCheck, Return, Recognised, LeaveTaken, ClearanceGiven}

// Disputable are the types that a dispute may name.
var Disputable = []Type{SignOff, Corrected, SpotCheck, Return, UnwatchedJob, TestHandedIn, StandDownOrdered}

// Questionable are the types that come into question with the appointment under which they were made, or with the key that
// signed them.
var Questionable = []Type{SignOff, Corrected, SpotCheck, Return, ClearanceGiven, Recognised, Restored}

// Authorising are the types that give people authority. They come into question with the key that signed them; in force
// until a coordinator who is no party settles it, or ends what they began. Where one falls it is as if it had never been:
// what rests on it comes into question in its turn.
var Authorising = []Type{RoleGranted, Appointed, KeyAdded}

// IsAuthorising says whether a type is one of [Authorising].
func IsAuthorising(t Type) bool { return hasType(Authorising, t) }

// IsQuestionable says whether a type is one of [Questionable] or [Authorising].
func IsQuestionable(t Type) bool { return hasType(Questionable, t) || IsAuthorising(t) }

// Settleable are the types that a settlement may name.
var Settleable = append(append(append([]Type(nil), Disputable...), ClearanceGiven, Recognised, Restored), Authorising...)

func hasType(list []Type, t Type) bool {
	for _, x := range list {
		if x == t {
			return true
		}
	}
	return false
}

// named is an earlier entry about the same person, of one of the types.
func (j *judge) named(id string, types []Type) (*EntryFact, error) {
	e, err := j.facts.Entry(id)
	switch {
	case err != nil:
		return nil, err
	case e == nil:
		return nil, broken(NoSuchEntry, "entry", id)
	case !hasType(types, e.Type):
		return nil, broken(WrongEntry, "entry", id, "type", string(e.Type))
	case e.Subject != j.Body.Subject:
		return nil, broken(SomebodyElses, "entry", id)
	}
	return e, nil
}

func (j *judge) correction(p *CorrectionPayload) error {
	if err := j.notOneself(); err != nil {
		return err
	}
	old, err := j.named(j.Body.Corrects, Correctable)
	if err != nil || p.SignOff == nil {
		return err
	}
	if old.Type != SignOff && old.Type != Corrected {
		return broken(WrongEntry, "entry", j.Body.Corrects, "type", string(old.Type))
	}
	if old.Task != "" && old.Task != p.SignOff.Task {
		return broken(OtherTask, "task", p.SignOff.Task)
	}
	return j.record(p.SignOff)
}

func (j *judge) dispute(p *DisputePayload) error {
	if _, err := j.named(p.Disputes, Disputable); err != nil {
		return err
	}
	list, err := j.facts.Disputes(p.Disputes)
	if err != nil {
		return err
	}
	for _, d := range list {
		if !d.Settled {
			return broken(AlreadyDisputed, "entry", p.Disputes)
		}
	}
	return nil
}

// settlement: by somebody who is no party. What came into question with a key or an appointment is settled in the same
// way: it stands, or it falls.
func (j *judge) settlement(p *SettlementPayload) error {
	e, err := j.named(p.Disputes, Settleable)
	if err != nil {
		return err
	}
	list, err := j.facts.Disputes(p.Disputes)
	if err != nil {
		return err
	}
	parties := []string{e.Subject, e.Actor}
	for _, id := range e.Signers {
		key, err := j.facts.Key(id)
		if err != nil {
			return err
		}
		if key != nil {
			parties = append(parties, key.Person)
		}
	}
	open := false
	for _, d := range list {
		if !d.Settled {
			open = true
			parties = append(parties, d.By)
		}
	}
	if !open {
		return broken(NotDisputed, "entry", p.Disputes)
	}
	live, err := j.facts.Corrections(p.Disputes)
	if err != nil {
		return err
	}
	candidates := []string{p.Disputes}
	for _, c := range live {
		candidates = append(candidates, c.Entry)
		if len(live) > 1 {
			parties = append(parties, c.By)
		}
	}
	for _, s := range append([]string{j.Body.Actor}, j.signers...) {
		if contains(parties, s) {
			return broken(IsParty, "person", s)
		}
	}
	if IsAuthorising(e.Type) {
		if err := j.settlesAuthority(p); err != nil {
			return err
		}
	}
	switch {
	case len(live) > 1 && !p.Upheld && !contains(candidates, p.Stands):
		return broken(Contradicting, "entry", p.Disputes)
	case len(live) < 2 && p.Stands != "":
		return broken(WrongEntry, "entry", p.Stands, "type", string(e.Type))
	}
	return nil
}

// settlesAuthority: a coordinator's business; and a coordinator stays.
func (j *judge) settlesAuthority(p *SettlementPayload) error {
	ok, err := j.holds(j.Body.Actor, "coordinator", j.recorded)
	if err != nil {
		return err
	}
	if !ok {
		return broken(NotAllowed, "type", string(j.Body.Type), "person", j.Body.Actor)
	}
	begun, err := j.facts.Begun(p.Disputes)
	if err != nil || begun == nil || !p.Upheld || begun.Role != "coordinator" {
		return err
	}
	return j.coordinatorStays(p.Disputes)
}

// coordinatorStays: somebody holds the role without an end, besides by one entry.
func (j *judge) coordinatorStays(but string) error {
	all, err := j.facts.Coordinators()
	if err != nil {
		return err
	}
	for _, r := range all {
		if r.Entry != but && inForce(r.From, r.Until, j.recorded) && r.Until == "" {
			return nil
		}
	}
	return broken(LastCoordinator)
}
