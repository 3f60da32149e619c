package ledger

// Type names what an entry records.
type Type string

// The payload structs below are the payloads' JSON. Every payload may also hold "personal" and "content" ([Refs]).
const (
	Opening           Type = "opening"            // entry 0: the programme is founded; self-signed by the first coordinator's new key
	ProgrammeAdopted  Type = "programme_adopted"  // signed by a coordinator
	ParametersAdopted Type = "parameters_adopted" // signed by a coordinator
	SiteAdded         Type = "site_added"
	CohortAdded       Type = "cohort_added"
	CohortJoined      Type = "cohort_joined"
	CohortLeft        Type = "cohort_left"
	PersonAdded       Type = "person_added"
	PersonRenamed     Type = "person_renamed"
	RoleGranted       Type = "role_granted"
	RoleEnded         Type = "role_ended"
	Appointed         Type = "appointed"         // signed by a coordinator
	AppointmentEnded  Type = "appointment_ended" // signed by a coordinator
	KeyAdded          Type = "key_added"         // signed by a coordinator's key and by the new key
	KeyEnded          Type = "key_ended"
	PasswordSet       Type = "password_set"
	AgreementMade     Type = "agreement_made"
	AgreementEnded    Type = "agreement_ended"
	LeaveTaken        Type = "leave_taken"
	LessonRead        Type = "reading"
	TestIssued        Type = "test_issued"
	TestHandedIn      Type = "test_handed_in"
	QuestionVoided    Type = "question_voided" // signed by a coordinator
	ShopNote          Type = "shop_note"       // pinned to a step of a lesson, or one taken off
	SignOff           Type = "sign_off"        // signed by the supervisor
	UnwatchedJob      Type = "unwatched_job"
	SpotCheck         Type = "spot_check"        // signed by the supervisor
	CaseOpened        Type = "case_opened"       // a car came back; open until a return names it
	Return            Type = "return"            // signed by who found it
	ClearanceGiven    Type = "clearance"         // signed by the supervisor; a second signature with a waiver
	StandDownOrdered  Type = "stand_down"        // unsigned, on the session alone
	StandDownSigned   Type = "stand_down_signed" // signed; Corrects names nothing, payload names the stand-down
	Restored          Type = "restore"           // signed by someone who did not order the stand-down
	Recognised        Type = "recognition"       // signed by two
	Corrected         Type = "correction"        // signed; body.corrects names the old entry
	Disputed          Type = "dispute"
	DisputeSettled    Type = "settlement"        // signed by someone who is not party to it
	Countersigned     Type = "countersigned"     // signed by the apprentice whom a sign-off is about
	Replied           Type = "reply"             // the apprentice's side of an entry, in writing
	StandDownReviewed Type = "stand_down_review" // signed by someone who did not order it; it stays for now
	Assigned          Type = "assigned"          // something that waits gets another owner
	Erased            Type = "erasure"           // signed by a coordinator: the subject's data key, salts and values are destroyed
	ErasedAgain       Type = "erasure_replayed"  // an erasure that a copy put back did not know, with what proves it
	PutBack           Type = "put_back"          // an older copy of the database took the place of a newer one, and was told to
)

// Refs are the hashes that any payload may carry.
type Refs struct {
	Personal map[string]string `json:"personal,omitempty"` // field → hex SHA-256(salt ‖ bytes)
	Content  map[string]string `json:"content,omitempty"`  // name → hex SHA-256(bytes)
}

// OpeningPayload: personal name, login; content password, sealed_key, data_key.
type OpeningPayload struct {
	Refs
	Origin string     `json:"origin"` // checkpoint origin, set once
	Title  string     `json:"title"`
	Key    KeyPayload `json:"key"`
	Demo   bool       `json:"demo,omitempty"` // marks a demonstration, which is never served as real
}

// KeyPayload describes a public key. Its sealed secret is content "sealed_key"; a passkey has none.
type KeyPayload struct {
	Key    string `json:"key"`    // id, UUIDv7
	Alg    string `json:"alg"`    // AlgEd25519, AlgPasskeyES256, AlgPasskeyEd25519
	Public string `json:"public"` // base64, see KeySize

	// A passkey's: the site that it was made at and signs for, and the name by which the device knows it.
	RPID       string `json:"rp_id,omitempty"`      // host
	Origin     string `json:"origin,omitempty"`     // as https://host
	Credential string `json:"credential,omitempty"` // base64, 1 to 1023 bytes
}

// ProgrammePayload: content programme (the bytes of "HEX  PATH\n" lines, whose hash is the programme edition; the
// files they name are content too).
type ProgrammePayload struct {
	Refs
	Restores bool `json:"restores,omitempty"` // an earlier edition is taken up again
}

// ParametersPayload: content parameters.
type ParametersPayload struct{ Refs }

type SitePayload struct {
	Refs
	Site string `json:"site"` // id
	Name string `json:"name"`
	Zone string `json:"zone"`
}

type CohortPayload struct {
	Refs
	Cohort string `json:"cohort"` // id
	Name   string `json:"name"`
	Site   string `json:"site"`
}

// MembershipPayload: an apprentice joins or leaves a cohort on a date.
type MembershipPayload struct {
	Refs
	Cohort string `json:"cohort"`
	Date   string `json:"date"`
}

// PersonPayload: personal name, login; content data_key (the wrapped data key). The subject is the person.
type PersonPayload struct{ Refs }

// RolePayload: role apprentice, supervisor or coordinator, with dates; a supervisor or coordinator may be an author.
type RolePayload struct {
	Refs
	Role   string `json:"role"`
	From   string `json:"from"`
	Until  string `json:"until,omitempty"` // inclusive
	Site   string `json:"site,omitempty"`  // "" for all sites
	Author bool   `json:"author,omitempty"`
}

// EndPayload ends what the named entry began (role, appointment, agreement).
type EndPayload struct {
	Refs
	Ends string `json:"ends"` // entry
	Date string `json:"date"` // last day
}

// AppointmentPayload: a supervisor may watch, sign and clear this task. Personal qualification, number.
type AppointmentPayload struct {
	Refs
	Task  string `json:"task"`
	Site  string `json:"site,omitempty"` // "" for all sites
	From  string `json:"from"`
	Until string `json:"until,omitempty"`
}

// KeyAddedPayload: content sealed_key, unless the key is a passkey.
type KeyAddedPayload struct {
	Refs
	Key KeyPayload `json:"key"`
}

// KeyEndedPayload: why is changed, lost or compromised; signatures from From on are not accepted.
type KeyEndedPayload struct {
	Refs
	Key  string `json:"key"`
	Why  string `json:"why"`
	From int64  `json:"from"` // UTC, milliseconds
}

// PasswordPayload: content password (the PHC string).
type PasswordPayload struct{ Refs }

// AgreementPayload: personal employer.
type AgreementPayload struct {
	Refs
	From  string `json:"from"`
	Until string `json:"until,omitempty"`
}

type LeavePayload struct {
	Refs
	From string `json:"from"`
	To   string `json:"to"`
}

type ReadingPayload struct {
	Refs
	Lesson  string `json:"lesson"`
	Edition string `json:"edition"`
	Since   string `json:"since,omitempty"` // what was read is what changed since this programme edition; "" is the lesson
}

// TestIssuedPayload: content form. The form holds the seed of its draw; the entry does not, for the apprentice may read the
// entry while the test is open, and whoever knows the seed can make the form, keys included. Entries from before December
// 2026 have it as a decimal string.
type TestIssuedPayload struct {
	Refs
	Task      string `json:"task"`
	Blueprint string `json:"blueprint"`
	Seed      string `json:"seed,omitempty"`
	Number    int    `json:"number"`
	Vehicle   string `json:"vehicle,omitempty"`
}

// TestHandedInPayload: content answers, marks.
type TestHandedInPayload struct {
	Refs
	Test      string         `json:"test"` // the test_issued entry
	Task      string         `json:"task"`
	Programme string         `json:"programme"` // programme edition of the form
	Points    int            `json:"points"`
	Max       int            `json:"max"`
	Percent   int            `json:"percent"`
	Passed    bool           `json:"passed"`
	WatchedBy string         `json:"watched_by,omitempty"` // supervisor
	Voids     int            `json:"voids,omitempty"`      // question_voided entries by which it was marked: all there were
	Questions []QuestionDone `json:"questions"`            // without those that were voided
}

// ShopNotePayload: personal note, unless it removes one. Nothing of the lesson changes: the note is shown beside the step.
type ShopNotePayload struct {
	Refs
	Lesson  string `json:"lesson"`
	Step    string `json:"step"`
	Removes string `json:"removes,omitempty"` // the entry of the note that is taken off
}

// QuestionVoidedPayload takes a question out of all tests that had it, in one edition of its lesson or in all of them, or
// (Restores) puts one back; personal reason. A voided question counts as right for everybody, so that nobody fails
// through it. Remarked are all tests that had it and were handed in before, with the marks that they have from now on.
type QuestionVoidedPayload struct {
	Refs
	Question string         `json:"question"`
	Lesson   string         `json:"lesson"`
	Edition  string         `json:"edition,omitempty"` // of the lesson; "" is all editions
	Restores bool           `json:"restores,omitempty"`
	Tests    int            `json:"tests"` // theory tests handed in before it: all were looked at
	Remarked []TestRemarked `json:"remarked"`
}

// TestRemarked is a theory test marked anew.
type TestRemarked struct {
	Test       string         `json:"test"` // the test_issued entry
	Apprentice string         `json:"apprentice"`
	Points     int            `json:"points"`
	Max        int            `json:"max"`
	Percent    int            `json:"percent"`
	Passed     bool           `json:"passed"`
	PassedThen bool           `json:"passed_then"` // before this entry
	Questions  []QuestionDone `json:"questions"`   // those that count, without the voided
}

type QuestionDone struct {
	Question string `json:"question"`
	Task     string `json:"task"`
	Correct  bool   `json:"correct"`
}

// SignOffPayload: personal car, work_order, notes, what_happened/STEP, photo/N (JPEG in base64), reason (late entry, or
// from paper); content none.
type SignOffPayload struct {
	Refs
	Job         string        `json:"job"`
	Number      int           `json:"number,omitempty"` // of the job, as on a printed sheet
	Task        string        `json:"task"`
	Programme   string        `json:"programme"` // programme edition whose sheet was used
	Difficulty  string        `json:"difficulty"`
	Setting     string        `json:"setting"` // bench, training_vehicle, customers_car
	Vehicle     string        `json:"vehicle,omitempty"`
	Layout      string        `json:"layout,omitempty"`
	Bay         string        `json:"bay,omitempty"`
	Outcome     string        `json:"outcome"`
	Started     int64         `json:"started"` // UTC, milliseconds
	Finished    int64         `json:"finished"`
	Pauses      []Span        `json:"pauses,omitempty"`
	Paper       bool          `json:"paper,omitempty"` // entered from a printed sheet: takes its photograph and a second signature
	Supervisors []string      `json:"supervisors"`     // all who watched
	Steps       []StepDone    `json:"steps"`
	Readings    []ReadingDone `json:"readings,omitempty"`
	Holds       []HoldDone    `json:"holds,omitempty"`
	Oral        []OralDone    `json:"oral,omitempty"`
	Photos      []PhotoDone   `json:"photos,omitempty"`
	NearMiss    bool          `json:"near_miss,omitempty"`
	Parts       string        `json:"parts,omitempty"` // fitted
	Fluid       string        `json:"fluid,omitempty"`
	Kept        bool          `json:"kept,omitempty"` // a critical error of somebody cleared: the signer keeps the clearance, for the reason
}

// Span is a stretch of time, UTC in milliseconds.
type Span struct {
	From int64 `json:"from"`
	To   int64 `json:"to"`
}

type StepDone struct {
	Step          string `json:"step"` // LESSON/STEP or LESSON/STEP@WHEEL
	Result        string `json:"result"`
	CriticalError bool   `json:"critical_error,omitempty"`
	SteppedIn     string `json:"stepped_in,omitempty"` // at a critical error: supervisor, other, nobody (found afterwards)
	OwnError      bool   `json:"own_error,omitempty"`  // the apprentice found an own error and put it right
	Bulk          bool   `json:"bulk,omitempty"`
	At            int64  `json:"at,omitempty"` // of the last tap
}

type ReadingDone struct {
	Step       string   `json:"step"`
	Measure    int      `json:"measure"` // from 1
	Value      string   `json:"value"`   // what counts of several
	Values     []string `json:"values,omitempty"`
	Unit       string   `json:"unit"`
	Instrument string   `json:"instrument,omitempty"`
	Calibrated string   `json:"calibrated,omitempty"` // date of the instrument's last calibration
	Limit      string   `json:"limit,omitempty"`      // as shown, with unit; "" if none was known
	Verdict    string   `json:"verdict,omitempty"`
}

type HoldDone struct {
	Step     string `json:"step"`
	Accepted bool   `json:"accepted"`
	By       string `json:"by"`
	At       int64  `json:"at"`
}

// OralDone is a question that was asked at the car. Text is the question as asked.
type OralDone struct {
	Question     string `json:"question"`
	Text         string `json:"text"`
	Satisfactory bool   `json:"satisfactory"`
	By           string `json:"by"`
	At           int64  `json:"at"`
}

// PhotoDone is a photograph; its bytes are the personal field Field.
type PhotoDone struct {
	Field  string `json:"field"`           // photo/N
	Entry  string `json:"entry,omitempty"` // in a correction: the earlier entry that has the field; absent: the entry itself
	Step   string `json:"step,omitempty"`
	Width  int    `json:"width"` // pixels
	Height int    `json:"height"`
	By     string `json:"by"`
	At     int64  `json:"at"`
}

// UnwatchedJobPayload: personal car, work_order, notes.
type UnwatchedJobPayload struct {
	Refs
	Task    string `json:"task"`
	Date    string `json:"date"`
	Vehicle string `json:"vehicle,omitempty"`
	Parts   string `json:"parts,omitempty"`
	Fluid   string `json:"fluid,omitempty"`
}

// SpotCheckPayload: personal car, work_order, notes, reason.
type SpotCheckPayload struct {
	Refs
	Task    string `json:"task"`
	Finding string `json:"finding"`
	Of      string `json:"of,omitempty"`   // the entry of the job that was looked at
	Kept    bool   `json:"kept,omitempty"` // unsafe work of somebody cleared: the signer keeps the clearance, for the reason
}

// CaseOpenedPayload: a car came back. Personal car, work_order, what_happened, notes. Jobs are the entries of jobs on that
// car; People are all who stand in the case: whose work it was, who watched, who released it, who opened it.
type CaseOpenedPayload struct {
	Refs
	Task   string   `json:"task"`
	Jobs   []string `json:"jobs"`
	People []string `json:"people"`
}

// ReturnPayload is the finding on a car that came back. It closes the case that it names.
type ReturnPayload struct {
	Refs
	Task    string `json:"task"`
	Finding string `json:"finding"`
	Case    string `json:"case,omitempty"` // entry
	Kept    bool   `json:"kept,omitempty"` // our work, by somebody cleared: the signer keeps the clearance, for the reason
}

// ClearancePayload: content verdict (the verdict shown, JSON), policy (JSON), parameters; personal reason.
type ClearancePayload struct {
	Refs
	Task      string      `json:"task"`
	Programme string      `json:"programme"`
	Program   string      `json:"program"` // version of this software
	Layouts   []string    `json:"layouts,omitempty"`
	Holds     []string    `json:"holds,omitempty"` // LESSON/STEP: still watched before release
	Until     string      `json:"until,omitempty"`
	Waiver    *WaiverMade `json:"waiver,omitempty"`
}

// WaiverMade sets closed gates aside, or goes below the policy's confidence, until a date; it needs a second signature.
type WaiverMade struct {
	Gates []string `json:"gates"` // empty: open gates, short probability
	Until string   `json:"until,omitempty"`
}

// StandDownPayload: Task "" stands for all tasks; personal reason.
type StandDownPayload struct {
	Refs
	Task string `json:"task,omitempty"`
}

// StandDownSignedPayload signs an ordered stand-down.
type StandDownSignedPayload struct {
	Refs
	StandDown string `json:"stand_down"`
}

// RestorePayload: personal reason.
type RestorePayload struct {
	Refs
	Task string `json:"task,omitempty"`
}

// RecognitionPayload: what earlier training stands for; personal reason.
type RecognitionPayload struct {
	Refs
	Task      string   `json:"task"`
	StandsFor []string `json:"stands_for"`
	Jobs      int      `json:"jobs,omitempty"`
}

// CorrectionPayload: Record is the new payload of the corrected entry, or absent to withdraw it; personal reason.
type CorrectionPayload struct {
	Refs
	Withdraw bool            `json:"withdraw,omitempty"`
	SignOff  *SignOffPayload `json:"sign_off,omitempty"`
}

type DisputePayload struct {
	Refs
	Disputes string `json:"disputes"`
}

// SettlementPayload: personal reason. Where corrections of the entry contradict each other, Stands names the one that
// counts, or the entry itself; upheld, nothing of it counts.
type SettlementPayload struct {
	Refs
	Disputes string `json:"disputes"` // the entry that is disputed
	Upheld   bool   `json:"upheld"`
	Stands   string `json:"stands,omitempty"`
}

// CountersignedPayload names the sign-off, or the correction that took its place, to which the apprentice agrees.
type CountersignedPayload struct {
	Refs
	Entry string `json:"entry"`
}

// ReplyPayload: personal text.
type ReplyPayload struct {
	Refs
	Entry string `json:"entry"` // about oneself
}

// StandDownReviewPayload: personal reason (what the review found) and lifts (what lifts the stand-down).
type StandDownReviewPayload struct {
	Refs
	StandDown string `json:"stand_down"`
}

// AssignedPayload: the disputed entry, stand-down or job that waits, and who is to see to it.
type AssignedPayload struct {
	Refs
	Matter string `json:"matter"`
	To     string `json:"to"`
}

// ErasurePayload: the subject is erased. Nothing personal may stand in it: it would be erased with the rest.
type ErasurePayload struct {
	Refs
	KeptUntil string `json:"kept_until,omitempty"` // last day on which the records had to be there, as [KeepingOf] gives it; absent from entries before [RetentionJudged]
}

// ErasureReplayedPayload: the subject was erased in a history of this ledger that was lost when an older copy of it was put
// back. The erasure comes along as it was signed, and of the lost history what gave its signer key and role.
type ErasureReplayedPayload struct {
	Refs
	Erasure   string   `json:"erasure"`   // the leaf, base64
	Authority []string `json:"authority"` // leaves, base64, in the order in which they were recorded: key_added and role_granted
}

// KeyHolder is the actor of what is recorded on the authority of whoever holds database and key file; nobody has this id.
const KeyHolder = "key-holder"

// PutBackPayload says what was known of the ledger when an older copy of it was put back.
type PutBackPayload struct {
	Refs
	Entries   int64  `json:"entries"`    // in the copy, before this one
	KnownSize int64  `json:"known_size"` // entries under the longest head that is known
	KnownRoot string `json:"known_root"` // its root, base64
}
