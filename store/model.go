package store

import (
	"context"
	"encoding/json"
	"time"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

// Info is the programme's own data.
type Info struct {
	Origin, Title, Zone string
	Demo                bool
	Programme           string // edition in use
	Parameters          string // hash of the parameters in use
	Entries             int64
}

// Person is somebody known to the programme. Name and Login are "" where erased or the key file is absent.
type Person struct {
	ID, Name, Login string
	Roles           []Role
	Appointments    []Appointment
	Cohorts         []Membership
	Agreements      []Agreement
	Leaves          []Leave
	Key             *Key   // the current signing key under a passphrase, nil if none
	Passkeys        []*Key // passkeys in force
	KeyWaiting      bool   // a key waits for a coordinator's signature
	HasPassword     bool
	Erased          bool // everything personal was destroyed; Name and Login are empty
	AddedAt         time.Time
}

// Role is a dated role.
type Role struct {
	Entry, Role, From, Until, Site string // dates inclusive; Until "" open; Site "" all
	Author                         bool
}

// Holds says whether the role is in force on a date.
func (r Role) Holds(date string) bool { return r.From <= date && (r.Until == "" || date <= r.Until) }

// Appointment lets a supervisor watch, sign and clear a task.
type Appointment struct {
	Entry, Task, Site, From, Until, Qualification, Number string
}

// Holds says whether the appointment is in force on a date.
func (a Appointment) Holds(date string) bool {
	return a.From <= date && (a.Until == "" || date <= a.Until)
}

// Membership is an apprentice's time in a cohort.
type Membership struct{ Cohort, From, Until string }

// Agreement is an apprentice's training agreement.
type Agreement struct{ Entry, Employer, From, Until string }

// Leave is time away.
type Leave struct{ Entry, From, To string }

// Key is a personal signing key.
type Key struct {
	ID, Person, Alg string
	Public          []byte
	Sealed          []byte
	AddedAt         time.Time
	EndedAt         time.Time // zero while in force
	Why             string    // changed, lost, compromised
	Origin          string    // of a passkey: the site that it was made at, "" for a key under a passphrase
	Credential      string    // the name by which its device knows it, base64
}

// CanSign says whether somebody has a key in force.
func (p *Person) CanSign() bool { return p.Key != nil || len(p.Passkeys) > 0 }

// Site is a workshop.
type Site struct{ ID, Name, Zone string }

// Cohort is a group of apprentices at a site.
type Cohort struct{ ID, Name, Site string }

// Info returns the programme's own data.
func (s *Store) Info(ctx context.Context) (Info, error) { return s.info(ctx) }

// Person returns one person; ErrNotFound.
func (s *Store) Person(ctx context.Context, id string) (*Person, error) { return s.person(ctx, id) }

// PersonByLogin compares case-insensitively; ErrNotFound.
func (s *Store) PersonByLogin(ctx context.Context, login string) (*Person, error) {
	return s.personByLogin(ctx, login)
}

// People returns everybody who has not been erased, sorted by name then id.
func (s *Store) People(ctx context.Context) ([]*Person, error) { return s.people(ctx) }

func (s *Store) Sites(ctx context.Context) ([]Site, error)     { return s.sites(ctx) }
func (s *Store) Cohorts(ctx context.Context) ([]Cohort, error) { return s.cohorts(ctx) }

// PasswordHash returns a person's PHC string; ErrNotFound if none was set.
func (s *Store) PasswordHash(ctx context.Context, person string) (string, error) {
	return s.passwordHash(ctx, person)
}

// Key returns a key by id, in force or ended.
func (s *Store) Key(ctx context.Context, id string) (*Key, error) { return s.key(ctx, id) }

// Programme returns an edition ever adopted; ErrNotFound.
func (s *Store) Programme(ctx context.Context, edition string) (*Programme, error) {
	return s.programme(ctx, edition)
}

// Adoption is one adoption of a programme edition, oldest first.
type Adoption struct {
	Index              int64 // of the entry
	Entry, Edition, By string
	At                 time.Time
}

func (s *Store) Adoptions(ctx context.Context) ([]Adoption, error) { return s.adoptions(ctx) }

// Content returns stored bytes by hex SHA-256 (form, answers, marks, verdict, parameters, policy).
func (s *Store) Content(ctx context.Context, hash string) ([]byte, error) {
	return s.content(ctx, hash)
}

// Evidence returns an apprentice's evidence records, oldest first; apprentice "" returns everybody's. Record ids are
// entry ids; a theory test's answers are a record of their own, with the id ENTRY/answers.
func (s *Store) Evidence(ctx context.Context, apprentice string) ([]readiness.Record, error) {
	return s.evidence(ctx, apprentice)
}

// EntryView is an entry with its personal fields opened where they can be.
type EntryView struct {
	Index    int64
	Entry    ledger.Entry
	Leaf     []byte
	Personal map[string]string // opened fields, but photographs: see [Store.PersonalField]
	Closed   []string          // fields that cannot be opened (erased, or no key file)
}

// Entry returns one entry by id; ErrNotFound.
func (s *Store) Entry(ctx context.Context, id string) (*EntryView, error) { return s.entry(ctx, id) }

// EntryFilter narrows Entries. Zero fields do not narrow.
type EntryFilter struct {
	From    int64 // first index
	Limit   int   // 100 if 0
	Newest  bool  // newest first, From then is the highest index (0: the last)
	Types   []ledger.Type
	Subject string
	Actor   string
	Task    string // payload.task
}

func (s *Store) Entries(ctx context.Context, f EntryFilter) ([]*EntryView, error) {
	return s.entries(ctx, f)
}

// ---- drafts: jobs as taps ----

// JobStatus of a draft.
type JobStatus string

const (
	JobWaiting   JobStatus = "waiting"  // asked for, nobody watches yet
	JobWatching  JobStatus = "watching" // a supervisor watches
	JobFinished  JobStatus = "finished" // an outcome is set; waits for the signature
	JobSigned    JobStatus = "signed"
	JobWithdrawn JobStatus = "withdrawn" // by the apprentice, or declined
)

// Job is a watched job; a draft until it is signed.
type Job struct {
	ID, Apprentice, Task             string
	Number                           int             // from 1; given by AddJob
	Supervisor                       string          // who watches now, "" while waiting
	AskedOf                          string          // the supervisor who accepted the request or to whom it was passed on, "" any
	Vehicle                          string          // id of a vehicle sheet, or ""
	Car                              json.RawMessage // curriculum.Car of a car described on the spot, else nil
	Programme                        string          // programme edition whose sheet is used
	Site, Bay, Setting               string
	WorkOrder                        string // personal
	Difficulty                       string
	Status                           JobStatus
	CreatedAt, StartedAt, FinishedAt time.Time
	PlannedAt                        time.Time // zero: at once
	AcceptedAt                       time.Time // by AskedOf; zero if not accepted
	PausedAt                         time.Time // zero while it runs
	PaperEnd                         time.Time // watched on paper until then; zero: on the screen
	SignOff                          string    // entry once signed
	Note                             string    // reason given on declining or withdrawing
}

// Active says whether the apprentice is at the car now: somebody watches and the job is not paused.
func (j *Job) Active() bool {
	return j.Status == JobWatching && j.PausedAt.IsZero() && j.PaperEnd.IsZero()
}

// Tap is one act on a job's sheet. ID is minted by the page: the same id twice is one tap. Exactly one of the groups
// is set: a step's result; a hold point; a reading; an own error; an oral question; an outcome; an event; parts, fluid, a
// note; a photograph; or an undo of an earlier tap.
type Tap struct {
	ID     string `json:"id"`
	Job    string `json:"-"`
	By     string `json:"by"`
	At     int64  `json:"at"`             // UTC, milliseconds, by the device, never later than the server's clock
	Step   string `json:"step,omitempty"` // LESSON/STEP[@WHEEL]
	Result string `json:"result,omitempty"`
	// with a result
	CriticalError bool   `json:"critical_error,omitempty"`
	SteppedIn     string `json:"stepped_in,omitempty"` // supervisor, other, nobody
	WhatHappened  string `json:"what_happened,omitempty"`
	Bulk          bool   `json:"bulk,omitempty"`

	OwnError *bool `json:"own_error,omitempty"` // the apprentice found an own error and put it right

	Hold   string `json:"hold,omitempty"` // accepted, sent_back
	Reason string `json:"reason,omitempty"`

	Reading *TapReading `json:"reading,omitempty"`
	Oral    *TapOral    `json:"oral,omitempty"`
	Photo   *TapPhoto   `json:"photo,omitempty"`

	Outcome    string  `json:"outcome,omitempty"`
	Difficulty string  `json:"difficulty,omitempty"`
	NearMiss   *bool   `json:"near_miss,omitempty"`
	Note       string  `json:"note,omitempty"`
	Parts      *string `json:"parts,omitempty"` // fitted; the last one counts
	Fluid      *string `json:"fluid,omitempty"`

	Event string `json:"event,omitempty"` // accepted, passed_on, taken (over), paused, resumed
	To    string `json:"to,omitempty"`    // who a request was passed on to, or watched before it was taken over

	Undo string `json:"undo,omitempty"` // id of a tap
}

// TapReading is a measurement as entered. Where it takes several readings, Values are all of them and Value is what
// counts: the lowest, the highest, the spread, or the worst.
type TapReading struct {
	Measure    int      `json:"measure"` // from 1 within the step
	Value      string   `json:"value"`
	Values     []string `json:"values,omitempty"`
	Unit       string   `json:"unit"`
	Instrument string   `json:"instrument,omitempty"`
	Calibrated string   `json:"calibrated,omitempty"` // date of its last calibration
}

// TapOral is a question asked at the car, from the job's own draw of questions.
type TapOral struct {
	Question     string `json:"question"`
	Number       int    `json:"number"` // of the draw, from 1
	Text         string `json:"text"`
	Satisfactory bool   `json:"satisfactory"`
}

// TapPhoto is a photograph that was taken; its bytes are kept under the tap's id.
type TapPhoto struct {
	Width  int `json:"width"` // pixels
	Height int `json:"height"`
}

// AddJob stores a draft; the same id again is the same draft (ErrConflict if another).
func (s *Store) AddJob(ctx context.Context, j Job) error { return s.addJob(ctx, j) }

// UpdateJob changes status, supervisor, times, bay, note of a draft; it refuses a job that is signed, and with an
// [ActiveJobError] one that would become active while another of the same apprentice is.
func (s *Store) UpdateJob(ctx context.Context, id string, change func(*Job) error) error {
	return s.updateJob(ctx, id, change)
}

func (s *Store) Job(ctx context.Context, id string) (*Job, error) { return s.job(ctx, id) }

// JobByNumber finds a job by the number on its printed sheet; ErrNotFound.
func (s *Store) JobByNumber(ctx context.Context, number int) (*Job, error) {
	return s.jobByNumber(ctx, number)
}

// JobFilter narrows Jobs. Zero fields do not narrow.
type JobFilter struct {
	Apprentice, Supervisor, Site, Task string
	Status                             []JobStatus
	Limit                              int
}

// Jobs returns drafts and signed jobs, newest first.
func (s *Store) Jobs(ctx context.Context, f JobFilter) ([]*Job, error) { return s.jobs(ctx, f) }

// AddTaps appends taps to a job that is neither signed nor withdrawn; known ids are passed over.
func (s *Store) AddTaps(ctx context.Context, job string, taps []Tap) error {
	return s.addTaps(ctx, job, taps, nil)
}

// TapAndUpdate is AddTaps and UpdateJob in one transaction: what a tap does to its job is never half done. change sees all
// taps as they then are, those of other devices too; its error takes everything back.
func (s *Store) TapAndUpdate(ctx context.Context, job string, taps []Tap, change func(*Job, []Tap) error) error {
	return s.addTaps(ctx, job, taps, change)
}

// AddPhoto appends the tap of a photograph with its bytes (JPEG).
func (s *Store) AddPhoto(ctx context.Context, job string, tap Tap, jpeg []byte) error {
	return s.addPhoto(ctx, job, tap, jpeg)
}

// Photo is the bytes of a photograph of a job, by its tap, while the job is not signed; ErrNotFound.
func (s *Store) Photo(ctx context.Context, job, tap string) ([]byte, error) {
	return s.photo(ctx, job, tap)
}

// Taps returns a job's taps in the order they came.
func (s *Store) Taps(ctx context.Context, job string) ([]Tap, error) { return s.taps(ctx, job) }

// ---- cars that came back ----

// Case is a car that came back.
type Case struct {
	Entry, Person, Task, Site string // Person is whose work it was
	Index                     int64
	Closed                    string // the return with the finding, "" while open
}

// Cases returns all cases, the newest first; openOnly those without a finding.
func (s *Store) Cases(ctx context.Context, openOnly bool) ([]Case, error) {
	return s.cases(ctx, openOnly)
}

// OpenCasesOf are the open cases in which a person stands, as whose work it was, who watched, released or opened it: as
// long as there are any, nothing of that person is erased.
func (s *Store) OpenCasesOf(ctx context.Context, person string) ([]string, error) {
	return s.openCasesOf(ctx, person)
}

// FindWork finds the entries of jobs (sign-offs and unwatched jobs) whose plate or work order is the one given, whatever
// the case and spacing, newest first. It opens every such field: for people with the authority only.
func (s *Store) FindWork(ctx context.Context, plateOrOrder string) ([]*EntryView, error) {
	return s.findWork(ctx, plateOrOrder)
}

// PersonalField opens one personal field of an entry; ErrNotFound if it was erased or never was.
func (s *Store) PersonalField(ctx context.Context, entry, field string) (string, error) {
	return s.personalField(ctx, entry, field)
}

// ---- theory tests ----

// Test is a theory test: issued by an entry, its answers a draft until handed in.
type Test struct {
	ID, Apprentice, Task, Blueprint string // ID is the test_issued entry
	Form                            string // hash
	Programme                       string
	IssuedAt                        time.Time
	WatchedBy                       string // supervisor
	HandedIn                        string // test_handed_in entry, "" while open
	HandedInAt                      time.Time
	AnswersHash, MarksHash          string
	Percent                         int
	Passed                          bool
}

func (s *Store) Test(ctx context.Context, id string) (*Test, error) { return s.test(ctx, id) }

// TestFilter narrows Tests.
type TestFilter struct {
	Apprentice, Task string
	OpenOnly         bool
}

// Tests returns tests, newest first.
func (s *Store) Tests(ctx context.Context, f TestFilter) ([]*Test, error) { return s.tests(ctx, f) }

// Void is a question taken out of all tests that had it (or put back), by one entry.
type Void struct {
	Entry      string
	Question   string
	Lesson     string
	Edition    string // of the lesson; "" is all editions
	Restores   bool
	RestoredBy string // entry, "" while it is in force
	By         string
	At         time.Time
}

// Voids returns all voids in the order of the ledger.
func (s *Store) Voids(ctx context.Context) ([]Void, error) { return s.voids(ctx) }

// SaveAnswer keeps a draft answer (JSON of quiz.Answer) of an open test; ErrConflict if handed in.
func (s *Store) SaveAnswer(ctx context.Context, test, question string, answer json.RawMessage) error {
	return s.saveAnswer(ctx, test, question, answer)
}

// DraftAnswers returns the draft answers by question.
func (s *Store) DraftAnswers(ctx context.Context, test string) (map[string]json.RawMessage, error) {
	return s.draftAnswers(ctx, test)
}

// WatchTest notes that a supervisor watches an open test ("" takes it back).
func (s *Store) WatchTest(ctx context.Context, test, supervisor string) error {
	return s.watchTest(ctx, test, supervisor)
}

// ---- keys that wait for a coordinator ----

// KeyRequest is a new key with its own signature over the key_added body, waiting for a coordinator's.
type KeyRequest struct {
	Person     string
	Submission *ledger.Submission
	At         time.Time
}

func (s *Store) SaveKeyRequest(ctx context.Context, r KeyRequest) error {
	return s.saveKeyRequest(ctx, r)
}
func (s *Store) KeyRequests(ctx context.Context) ([]KeyRequest, error) { return s.keyRequests(ctx) }
func (s *Store) DropKeyRequest(ctx context.Context, person string) error {
	return s.dropKeyRequest(ctx, person)
}

// ---- log-in ----

// Session is a log-in. Token is known to the browser only; the store keeps its SHA-256.
type Session struct {
	Person            string
	TokenHash         string // hex
	API               bool
	CreatedAt, SeenAt time.Time
	ExpiresAt         time.Time
	ReauthAt          time.Time // last time the password was given
}

func (s *Store) AddSession(ctx context.Context, x Session) error { return s.addSession(ctx, x) }
func (s *Store) Session(ctx context.Context, tokenHash string) (*Session, error) {
	return s.session(ctx, tokenHash)
}
func (s *Store) TouchSession(ctx context.Context, tokenHash string, seen time.Time) error {
	return s.touchSession(ctx, tokenHash, seen)
}
func (s *Store) Sessions(ctx context.Context, person string) ([]Session, error) {
	return s.sessions(ctx, person)
}

// EndSessions ends one session, or with tokenHash "" all of a person except keep.
func (s *Store) EndSessions(ctx context.Context, person, tokenHash, keep string) error {
	return s.endSessions(ctx, person, tokenHash, keep)
}

// Failures counts failed tries of a kind ("login", "passphrase", "code") for a key (login, person, address), and says when the last was.
func (s *Store) Failures(ctx context.Context, kind, key string) (n int, last time.Time, err error) {
	return s.failures(ctx, kind, key)
}
func (s *Store) AddFailure(ctx context.Context, kind, key string) error {
	return s.addFailure(ctx, kind, key)
}
func (s *Store) ClearFailures(ctx context.Context, kind, key string) error {
	return s.clearFailures(ctx, kind, key)
}

// AddCode keeps the hash of a one-time log-in code for a person, replacing an older one.
func (s *Store) AddCode(ctx context.Context, person, codeHash, by string, expires time.Time) error {
	return s.addCode(ctx, person, codeHash, by, expires)
}

// UseCode takes a code once; ErrNotFound if it is not there or has expired.
func (s *Store) UseCode(ctx context.Context, person, codeHash string) error {
	return s.useCode(ctx, person, codeHash)
}

// ---- standings cache ----

// CachedVerdicts returns verdicts kept by (apprentice, date, parameters, policy hash, catalogue hash; give the last two as
// one string) by task; none where anything was recorded about the apprentice since they were made, by whatever process. seen is the number of
// entries there are now: read it before the evidence, and give it back to CacheVerdicts.
func (s *Store) CachedVerdicts(ctx context.Context, apprentice, date, parameters, policy string) (byTask map[string]json.RawMessage, seen int64, err error) {
	return s.cachedVerdicts(ctx, apprentice, date, parameters, policy)
}

// CacheVerdicts keeps verdicts made from evidence read after seen was. Those of other dates and policies are dropped.
func (s *Store) CacheVerdicts(ctx context.Context, apprentice, date, parameters, policy string, seen int64, byTask map[string]json.RawMessage) error {
	return s.cacheVerdicts(ctx, apprentice, date, parameters, policy, seen, byTask)
}

// ---- care of the database ----

// Check is one line of a verification.
type Check struct {
	Name  string `json:"name"`
	Count int64  `json:"count"`
	OK    bool   `json:"ok"`
}

// Problem is the first thing found wrong.
type Problem struct {
	Table string `json:"table"`
	Row   string `json:"row"`
	Index int64  `json:"index"` // of the entry concerned, -1 if none
	What  string `json:"what"`
}

// Verification is the result of Verify; its JSON is DEVELOPERS.md, "Contracts".
type Verification struct {
	OK           bool     `json:"ok"`
	Entries      int64    `json:"entries"`
	Head         *string  `json:"head"` // the signed head; null before there is a tree
	Checks       []Check  `json:"checks"`
	NotExamined  []string `json:"not_examined"`
	FirstProblem *Problem `json:"first_problem"`
}

// Progress is told how far a long work is.
type Progress func(what string, done, total int64)

// Verify checks every hash, signature, rule and projection of a database without changing it. ledgerOnly stops after the entries.
func Verify(ctx context.Context, o Options, ledgerOnly bool, progress Progress) (*Verification, error) {
	return verify(ctx, o, nil, ledgerOnly, progress)
}

// VerifyAgainst is Verify with heads that were kept elsewhere: the ledger must extend each of them.
func VerifyAgainst(ctx context.Context, o Options, heads []*ledger.TreeHead, ledgerOnly bool, progress Progress) (*Verification, error) {
	return verify(ctx, o, heads, ledgerOnly, progress)
}

// Rebuild makes the projections anew from the ledger; with check it changes nothing and reports what differs.
func Rebuild(ctx context.Context, o Options, check bool, progress Progress) (*Verification, error) {
	return rebuild(ctx, o, check, progress)
}

// Backup copies a live database to a new file, online, and returns the copy's head, nil before there is a tree.
func Backup(ctx context.Context, o Options, out string, progress Progress) (head *string, err error) {
	return backup(ctx, o, out, progress)
}

// Restore verifies a backup and puts it in place. It refuses to replace a database that holds entries the backup
// lacks, unless force.
func Restore(ctx context.Context, from string, o Options, force bool, progress Progress) (*Verification, error) {
	return restore(ctx, from, o, force, progress)
}
