// Package acts holds everything that a person can do or ask, once: pages, the JSON API, the command line and the demo
// all go through it. An act checks permission ([May]), reads from the store, computes in a pure package, and appends a
// signed entry or saves a draft. It knows nothing of HTTP.
package acts

import (
	"context"
	"io"
	"time"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// Service carries out acts. It keeps no state that another process would miss: parsed programmes are cached by edition.
type Service struct {
	Store   *store.Store
	Now     func() time.Time
	Random  io.Reader
	Version string // of the program, frozen into clearances

	cache   programmeCache
	compare comparison // of supervisors
	gate    *gate      // of everything that is costly on purpose
	keys    *keyring   // nil in real use
}

// New returns a Service.
func New(s *store.Store, now func() time.Time, random io.Reader, version string) *Service {
	return newService(s, now, random, version)
}

// Programme returns the programme edition in use, parsed.
func (s *Service) Programme(ctx context.Context) (*curriculum.Programme, error) {
	return s.programme(ctx)
}

// Today is the date in the programme's zone.
func (s *Service) Today(ctx context.Context) (string, error) { return s.today(ctx) }

// ---- log-in ----

// LogIn checks login and password (throttled by login and address) and opens a session. address is the peer's.
// Errors: *Refusal with code login_failed, login_throttled (RetryAfter set), no_role.
func (s *Service) LogIn(ctx context.Context, login, password, address string, api bool) (token string, p *store.Person, err error) {
	return s.logIn(ctx, login, password, address, api)
}

// LogInWithCode uses a one-time code shown by a supervisor; the person must then set a password.
func (s *Service) LogInWithCode(ctx context.Context, login, code, address string) (token string, p *store.Person, err error) {
	return s.logInWithCode(ctx, login, code, address)
}

// Session resolves a token to its person (idle 30 minutes, absolute 12 hours; API the same).
func (s *Service) Session(ctx context.Context, token string) (*store.Person, error) {
	return s.sessionOf(ctx, token)
}

// LogOut ends the session.
func (s *Service) LogOut(ctx context.Context, token string) error { return s.logOut(ctx, token) }

// ShowCode makes a one-time code for somebody who is locked out (15 minutes, single use).
func (s *Service) ShowCode(ctx context.Context, actor *store.Person, person string) (code string, expires time.Time, err error) {
	return s.showCode(ctx, actor, person)
}

// SetPassword changes one's own password; current is "" only for a session opened by a code.
func (s *Service) SetPassword(ctx context.Context, actor *store.Person, token, current, next string) error {
	return s.setPassword(ctx, actor, token, current, next)
}

// RequestKey makes a new signing key under a passphrase; it waits for a coordinator's signature.
func (s *Service) RequestKey(ctx context.Context, actor *store.Person, passphrase string) error {
	return s.requestKey(ctx, actor, passphrase)
}

// ConfirmKeys signs waiting keys as a coordinator.
func (s *Service) ConfirmKeys(ctx context.Context, actor *store.Person, persons []string, passphrase string) error {
	_, err := s.confirmKeys(ctx, actor, persons, passphrase)
	return err
}

// SignKeys is ConfirmKeys with the receipts of the entries it makes.
func (s *Service) SignKeys(ctx context.Context, actor *store.Person, persons []string, passphrase string) ([]store.Receipt, error) {
	return s.confirmKeys(ctx, actor, persons, passphrase)
}

// ---- studying and being asked ----

// Read records that the actor has read a lesson in an edition. id is the entry's id, "" mints one.
func (s *Service) Read(ctx context.Context, actor *store.Person, id, lesson, edition string) (store.Receipt, error) {
	return s.read(ctx, actor, id, lesson, edition)
}

// Practice makes an unassessed form: nothing is stored, nobody else sees it. What the actor's own open tests ask is not in it.
func (s *Service) Practice(ctx context.Context, actor *store.Person, lesson, vehicle, language string, seed uint64, number, questions int) (*quiz.Form, error) {
	return s.practice(ctx, actor, lesson, vehicle, language, seed, number, questions)
}

// StartTest issues a theory test of a task (or returns the open one). Each has a seed of its own; its number counts up.
func (s *Service) StartTest(ctx context.Context, actor *store.Person, id, task, vehicle string) (*store.Test, *quiz.Form, error) {
	return s.startTest(ctx, actor, id, task, vehicle)
}

// Test returns a test with its form and, once handed in, its marks; callers must show [quiz.Form.Public] until then.
func (s *Service) Test(ctx context.Context, actor *store.Person, id string) (*TestView, error) {
	return s.testView(ctx, actor, id)
}

// TestView is a test with everything that belongs to it.
type TestView struct {
	Test    *store.Test
	Form    *quiz.Form
	Answers *quiz.Answers
	Marks   *quiz.Marks  // nil while open; with the questions voided since
	Voids   []store.Void // those in force that take a question out of this test
}

// Answer keeps one draft answer.
func (s *Service) Answer(ctx context.Context, actor *store.Person, test, question string, a quiz.Answer) error {
	return s.answer(ctx, actor, test, question, a)
}

// HandIn marks and records. An answer that must be asked back is a *Refusal with code ask_back and the question in Args.
func (s *Service) HandIn(ctx context.Context, actor *store.Person, id, test string) (*quiz.Marks, store.Receipt, error) {
	return s.handIn(ctx, actor, id, test)
}

// Questions says how the questions of theory tests fared over all who had them, the most doubtful first.
func (s *Service) Questions(ctx context.Context, actor *store.Person, f QuestionFilter) ([]QuestionStatistic, error) {
	return s.questions(ctx, actor, f)
}

// Question is one of them, in an edition of its lesson, with its voids.
func (s *Service) Question(ctx context.Context, actor *store.Person, question, lesson, edition string) (*QuestionStatistic, error) {
	return s.question(ctx, actor, question, lesson, edition)
}

// PreviewVoid says what voiding a question, or putting it back, would do to marks.
func (s *Service) PreviewVoid(ctx context.Context, actor *store.Person, r VoidRequest) (*VoidPreview, error) {
	return s.previewVoid(ctx, actor, r)
}

// Void voids a question, or puts it back, and marks all tests that had it anew.
func (s *Service) Void(ctx context.Context, actor *store.Person, r VoidRequest) (*VoidPreview, store.Receipt, error) {
	return s.void(ctx, actor, r)
}

// WatchTest says that the actor watches an open test being taken (take: false takes it back).
func (s *Service) WatchTest(ctx context.Context, actor *store.Person, test string, take bool) error {
	return s.watchTest(ctx, actor, test, take)
}

// ---- watching a job ----

// JobRequest asks for a watched job. Exactly one of Vehicle and Car is set.
type JobRequest struct {
	ID         string // of the job; "" mints one
	Apprentice string
	Task       string
	Vehicle    string
	Car        *curriculum.Car
	WorkOrder  string // plate or work order, personal
	Site, Bay  string
	Setting    string    // bench, training_vehicle, customers_car; "" follows from Vehicle or Car
	Planned    time.Time // when it is wanted; zero is now
	Watch      bool      // the actor, a supervisor, starts watching at once
}

// AskJob stores a request by the apprentice, or a job started by a supervisor.
func (s *Service) AskJob(ctx context.Context, actor *store.Person, r JobRequest) (*store.Job, error) {
	return s.askJob(ctx, actor, r)
}

// TakeJob: a supervisor starts watching (or takes over). DeclineJob needs a reason; WithdrawJob is the apprentice's.
func (s *Service) TakeJob(ctx context.Context, actor *store.Person, job string) error {
	return s.takeJob(ctx, actor, job)
}
func (s *Service) DeclineJob(ctx context.Context, actor *store.Person, job, reason string) error {
	return s.declineJob(ctx, actor, job, reason)
}

// AcceptJob promises to watch a job that waits; TakeJob begins it.
func (s *Service) AcceptJob(ctx context.Context, actor *store.Person, job string) error {
	return s.acceptJob(ctx, actor, job)
}

// PassJobOn hands a request on to another supervisor who may watch it, with a reason. supervisor "" gives it back to all.
func (s *Service) PassJobOn(ctx context.Context, actor *store.Person, job, supervisor, reason string) error {
	return s.passJobOn(ctx, actor, job, supervisor, reason)
}

// FromPaper says that a job was watched on its printed sheet, from and to these times: its taps are then entered from
// the sheet, and signing takes the sheet's photograph and a second signature.
func (s *Service) FromPaper(ctx context.Context, actor *store.Person, job string, from, to time.Time) error {
	return s.fromPaper(ctx, actor, job, from, to)
}

// JobByNumber finds a job by the number on its printed sheet, for somebody who may see it.
func (s *Service) JobByNumber(ctx context.Context, actor *store.Person, number string) (*store.Job, error) {
	return s.jobByNumber(ctx, actor, number)
}

// AddPhoto takes a photograph onto a job's sheet. tap is the id of its tap; step may be "". The picture is decoded,
// scaled and encoded anew; refusals are photo_too_large, photo_unreadable, photo_kind, photo_pixels, too_many_photos.
func (s *Service) AddPhoto(ctx context.Context, actor *store.Person, job, tap, step string, picture []byte) (*JobSheet, error) {
	return s.addPhoto(ctx, actor, job, tap, step, picture)
}

// Photo is a photograph of a job (JPEG), by its tap or, of a signed job, by its field "photo/N".
func (s *Service) Photo(ctx context.Context, actor *store.Person, job, name string) ([]byte, error) {
	return s.photo(ctx, actor, job, name)
}

// OralQuestions are questions of the job's task to ask at the car, from a draw of the job's own; number counts from 1.
func (s *Service) OralQuestions(ctx context.Context, actor *store.Person, job string, number int) ([]quiz.Question, error) {
	return s.oralQuestions(ctx, actor, job, number)
}

func (s *Service) WithdrawJob(ctx context.Context, actor *store.Person, job string) error {
	return s.withdrawJob(ctx, actor, job)
}

// JobSheet is a job as it stands: the steps of its car with what was tapped.
type JobSheet struct {
	Job         *store.Job
	Apprentice  *store.Person
	Supervisor  *store.Person // or nil
	Task        *curriculum.Task
	Vehicle     *curriculum.Vehicle
	Lessons     []SheetLesson
	Outcome     string
	Difficulty  string
	NearMiss    bool
	Notes       []string
	Oral        []store.Tap // questions asked at the car, the last answer to each
	Photos      []store.Tap
	Parts       string // fitted
	Fluid       string
	Paused      bool
	Pauses      []ledger.Span // of the time between start and end (or now: then the last one ends at 0)
	Supervisors []string      // all who tapped
	Open        []string      // keys of critical steps, hold points and others not yet tapped
	Missing     []string      // what must be tapped before it can be finished: critical steps and hold points
	Taps        []store.Tap
	Events      []store.Tap // taken over, passed on, paused, resumed; without those undone

	outcomeAt int64 // UTC, milliseconds
	pausedAt  int64 // of the pause that runs, 0 if none
}

// SheetLesson is one lesson's part of a sheet.
type SheetLesson struct {
	Lesson *curriculum.Lesson
	Steps  []SheetStep
}

// SheetStep is one step of a sheet with its state.
type SheetStep struct {
	curriculum.SheetStep
	Key           string // LESSON/STEP[@WHEEL]
	Title         string // with the car's figures
	Critical      bool   // by itself or through the step it belongs to
	HoldPoint     bool   // the same
	Result        string // "" until tapped
	CriticalError bool
	SteppedIn     string // at a critical error: supervisor, other, nobody
	WhatHappened  string
	OwnError      bool   // the apprentice found an own error and put it right
	OwnErrorWhat  string // what it was, or ""
	Bulk          bool
	Hold          string // "", accepted, sent_back
	HoldReason    string
	Measures      []SheetMeasure

	at, holdAt int64 // of the last tap; UTC, milliseconds
	holdBy     string
	holds      []store.Tap // every decision, in order
}

// SheetMeasure is a measurement asked for, with its limit and the last reading.
type SheetMeasure struct {
	Number  int // from 1
	Text    string
	Limit   string // "at least 20 mm", or "" when the car does not say
	Source  string // where the limit was read, of a car described on the spot
	Which   string // what counts of several readings: one, lowest, highest, spread, each
	Unit    curriculum.Unit
	Reading *store.TapReading
	Verdict curriculum.Verdict

	figure *curriculum.Figure // what it is judged against, nil if the car does not say
}

// Job returns the sheet.
func (s *Service) Job(ctx context.Context, actor *store.Person, job string) (*JobSheet, error) {
	return s.jobSheet(ctx, actor, job)
}

// Tap records taps; each is checked (step of this sheet, known result, bulk only where neither critical nor hold, reading
// readable); the whole batch is refused with the index of the first bad one.
func (s *Service) Tap(ctx context.Context, actor *store.Person, job string, taps []store.Tap) (*JobSheet, error) {
	return s.tap(ctx, actor, job, taps)
}

// RestUnaided is one tap for all untapped steps that are neither critical nor hold points, recorded as bulk.
func (s *Service) RestUnaided(ctx context.Context, actor *store.Person, job, tapID string) (*JobSheet, error) {
	return s.restUnaided(ctx, actor, job, tapID)
}

// Statement is what will be signed, one line a fact; server/say has the words.
func (s *Service) Statement(ctx context.Context, actor *store.Person, job string) ([]Fact, error) {
	return s.statement(ctx, actor, job)
}

// SignRequest is a request to sign jobs.
type SignRequest struct {
	IDs        []string // of the entries, in the order of Jobs, or nil
	Jobs       []string
	Passphrase string
	Decision   *CriticalDecision
	Late       *LateSigning
}

// LateSigning is what signing after the policy's window takes: a reason, and a second person with authority.
type LateSigning struct {
	Reason, SecondLogin, SecondPassphrase string
}

// Sign is SignJobs with everything that can be said.
func (s *Service) Sign(ctx context.Context, actor *store.Person, r SignRequest) ([]store.Receipt, error) {
	return s.sign(ctx, actor, r)
}

// SignJobs signs finished jobs with one passphrase: one entry each, all or none. ids are the entries' ids in the same
// order, or nil. CriticalDecision must be set by the API or page when the signed job has a critical error of somebody
// cleared: stand down, or keep with a reason (DEVELOPERS.md, "Contracts").
func (s *Service) SignJobs(ctx context.Context, actor *store.Person, ids, jobs []string, passphrase string, d *CriticalDecision) ([]store.Receipt, error) {
	return s.sign(ctx, actor, SignRequest{IDs: ids, Jobs: jobs, Passphrase: passphrase, Decision: d})
}

// CriticalDecision is what the signer decides on a cleared apprentice who made a critical error.
type CriticalDecision struct {
	StandDown bool
	Reason    string
}

// ---- deciding ----

// Standings returns the verdicts of one apprentice today, with reasons, in the order of tasks.
func (s *Service) Standings(ctx context.Context, actor *store.Person, apprentice string) ([]readiness.Verdict, error) {
	return s.standings(ctx, actor, apprentice)
}

// Suppose is the verdict of one task if so many watched jobs go well from tomorrow. Nothing is kept of it.
func (s *Service) Suppose(ctx context.Context, actor *store.Person, apprentice, task string, x readiness.Supposed) (readiness.Verdict, error) {
	return s.suppose(ctx, actor, apprentice, task, x)
}

// Severities says how strict the supervisors are whom the actor may see so: oneself, or, for a coordinator, those of the
// site; one narrows to one person. Without any watched job together there is nobody to compare with.
func (s *Service) Severities(ctx context.Context, actor *store.Person, one string) ([]SupervisorSeverity, error) {
	return s.severities(ctx, actor, one)
}

// Board is apprentices × tasks.
type Board struct {
	Date  string
	Tasks []curriculum.Task
	Rows  []BoardRow
}

// BoardRow is one apprentice.
type BoardRow struct {
	Apprentice *store.Person
	Cohort     string              // name
	Left       bool                // no agreement in force
	Cells      []readiness.Verdict // in the order of Board.Tasks
}

// BoardFilter narrows. Zero fields do not narrow.
type BoardFilter struct {
	Site, Cohort, Search string
	WithLeft             bool
}

// Board returns what the actor may see of the cohort.
func (s *Service) Board(ctx context.Context, actor *store.Person, f BoardFilter) (*Board, error) {
	return s.board(ctx, actor, f)
}

// Floor answers: who may do this task on this car alone today? Layout comes from the car.
type Floor struct {
	Task   string
	Layout string
	Alone  []FloorRow // may, with limits
	Not    []FloorRow // may not, and why
}

// FloorRow is one apprentice on the floor.
type FloorRow struct {
	Apprentice *store.Person
	Verdict    readiness.Verdict
	Holds      []string // hold points still watched before release
	Until      string
	Why        string // code: not_cleared, lapsed, stood_down, layout_not_covered, site_not_covered, left
}

func (s *Service) Floor(ctx context.Context, actor *store.Person, task, layout, site string) (*Floor, error) {
	return s.floor(ctx, actor, task, layout, site)
}

// ClearanceRequest is a decision that somebody may work unsupervised.
type ClearanceRequest struct {
	ID         string
	Apprentice string
	Task       string
	Layouts    []string // limits
	Holds      []string
	Until      string
	Site       string
	Reason     string
	Passphrase string
	// Waiver: needed where a gate is closed, or where confidence is short.
	WaiverGates      []string
	WaiverUntil      string
	SecondLogin      string
	SecondPassphrase string
	Seen             string // hash of the verdict shown; another verdict by now is a *Refusal verdict_changed ("" skips)
}

func (s *Service) Clear(ctx context.Context, actor *store.Person, r ClearanceRequest) (store.Receipt, error) {
	return s.clear(ctx, actor, r)
}

// StandDown takes effect at once, unsigned; passphrase, if given, signs it in the same step. task "" is all tasks.
func (s *Service) StandDown(ctx context.Context, actor *store.Person, id, apprentice, task, reason, passphrase string) (store.Receipt, error) {
	return s.standDown(ctx, actor, id, apprentice, task, reason, passphrase)
}

// SignStandDown signs an unsigned stand-down.
func (s *Service) SignStandDown(ctx context.Context, actor *store.Person, id, standDown, passphrase string) (store.Receipt, error) {
	return s.signStandDown(ctx, actor, id, standDown, passphrase)
}

// Restore lifts a stand-down.
func (s *Service) Restore(ctx context.Context, actor *store.Person, id, apprentice, task, reason, passphrase string) (store.Receipt, error) {
	return s.restore(ctx, actor, id, apprentice, task, reason, passphrase)
}

// UnwatchedRequest records a job done alone by somebody cleared. Only Task must be there.
type UnwatchedRequest struct {
	ID, Task, Date string
	Vehicle        string // of a training vehicle
	Car, WorkOrder string // a customer's car in words, its plate or work order: personal
	Parts, Fluid   string
	Notes          string
}

func (s *Service) UnwatchedJob(ctx context.Context, actor *store.Person, r UnwatchedRequest) (store.Receipt, error) {
	return s.unwatchedJob(ctx, actor, r)
}

// SpotCheckRequest is a supervisor's look at finished work. An unsafe finding on somebody who is cleared takes a Decision.
type SpotCheckRequest struct {
	ID, Apprentice, Task  string
	Of                    string // the entry of the job, or ""
	Finding               string // sound, flaw, unsafe
	Car, WorkOrder, Notes string
	Passphrase            string
	Decision              *CriticalDecision
}

func (s *Service) SpotCheck(ctx context.Context, actor *store.Person, r SpotCheckRequest) (store.Receipt, error) {
	return s.spotCheck(ctx, actor, r)
}

// ---- cars that came back ----

// FindWork finds what was done on a car, by plate, work order or job number, among what the actor may see.
func (s *Service) FindWork(ctx context.Context, actor *store.Person, what string) ([]*store.EntryView, error) {
	return s.findWork(ctx, actor, what)
}

// CaseRequest opens a case: a car came back. Jobs are the entries of jobs on it; without one, Apprentice and Task say
// whose work of what it is about.
type CaseRequest struct {
	ID               string
	Jobs             []string
	Apprentice, Task string
	Car, WorkOrder   string
	Complaint, Notes string
}

func (s *Service) OpenCase(ctx context.Context, actor *store.Person, r CaseRequest) (store.Receipt, error) {
	return s.openCase(ctx, actor, r)
}

// FindingRequest closes a case. Our own work, of somebody who is cleared, takes a Decision.
type FindingRequest struct {
	ID, Case   string
	Finding    string // our_work, part, other, unknown
	What       string // what was found
	Passphrase string
	Decision   *CriticalDecision
}

func (s *Service) CloseCase(ctx context.Context, actor *store.Person, r FindingRequest) (store.Receipt, error) {
	return s.closeCase(ctx, actor, r)
}

// CaseView is a case with what belongs to it.
type CaseView struct {
	Case       store.Case
	Opened     *store.EntryView
	Apprentice *store.Person
	Jobs       []*store.EntryView
	Closed     *store.EntryView // the return, or nil
	MayClose   bool
	MayStand   bool // may stand the apprentice down
	Decide     bool // the finding "our work" takes a decision on the clearance
}

func (s *Service) Cases(ctx context.Context, actor *store.Person, openOnly bool) ([]CaseView, error) {
	return s.listCases(ctx, actor, openOnly)
}

func (s *Service) Case(ctx context.Context, actor *store.Person, id string) (*CaseView, error) {
	return s.caseView(ctx, actor, id)
}

// ---- roster ----

// NewPerson is somebody to be added. Code is returned once: the first log-in.
type NewPerson struct {
	ID, Name, Login string
	Role            string // apprentice, supervisor, coordinator
	Site, Cohort    string
	Employer        string // apprentices: starts an agreement
	From            string // date, today if ""
}

// AddPeople adds all or none. A *Refusal of code people_problems has a problem for each row and field that is wrong, with
// Field "people[3].login" and Args["row"] (from 1). codes are by log-in name as given. passphrase is needed only where a
// coordinator is added.
func (s *Service) AddPeople(ctx context.Context, actor *store.Person, people []NewPerson, passphrase string) (codes map[string]string, err error) {
	return s.addPeople(ctx, actor, people, passphrase)
}

// Roster carries out one change of the roster: ID is the entry's id, "" mints one; the same change under the same id is
// answered by the first one's receipt. Service has the same changes for whoever needs no receipt.
func (s *Service) Roster(id string) RosterChange { return RosterChange{s, id} }

// Rename changes a name or log-in name; "" leaves one as it is.
func (s *Service) Rename(ctx context.Context, actor *store.Person, person, name, login string) error {
	_, err := s.Roster("").Rename(ctx, actor, person, name, login)
	if r, ok := AsRefusal(err); ok && r.Code == "name_as_it_is" {
		return nil
	}
	return err
}

// GrantRole gives a role. A coordinator's role and the author right need the actor's signature, else passphrase may be "".
func (s *Service) GrantRole(ctx context.Context, actor *store.Person, person string, r store.Role, passphrase string) error {
	_, err := s.Roster("").GrantRole(ctx, actor, person, r, passphrase)
	return err
}
func (s *Service) EndRole(ctx context.Context, actor *store.Person, person, entry, date string) error {
	_, err := s.Roster("").EndRole(ctx, actor, person, entry, date)
	return err
}
func (s *Service) Appoint(ctx context.Context, actor *store.Person, person string, a store.Appointment, passphrase string) error {
	_, err := s.Roster("").Appoint(ctx, actor, person, a, passphrase)
	return err
}

// EndAppointment ends an appointment. With a last day that has passed, what was signed since is in question.
func (s *Service) EndAppointment(ctx context.Context, actor *store.Person, person, entry, date, passphrase string) error {
	_, err := s.Roster("").EndAppointment(ctx, actor, person, entry, date, passphrase)
	return err
}
func (s *Service) AddSite(ctx context.Context, actor *store.Person, name, zone string) (id string, err error) {
	id, _, err = s.Roster("").AddSite(ctx, actor, name, zone)
	return id, err
}
func (s *Service) AddCohort(ctx context.Context, actor *store.Person, name, site string) (id string, err error) {
	id, _, err = s.Roster("").AddCohort(ctx, actor, name, site)
	return id, err
}
func (s *Service) JoinCohort(ctx context.Context, actor *store.Person, person, cohort, date string) error {
	_, err := s.Roster("").JoinCohort(ctx, actor, person, cohort, date)
	return err
}
func (s *Service) LeaveCohort(ctx context.Context, actor *store.Person, person, cohort, date string) error {
	_, err := s.Roster("").LeaveCohort(ctx, actor, person, cohort, date)
	return err
}
func (s *Service) MakeAgreement(ctx context.Context, actor *store.Person, person, employer, from, until string) error {
	_, err := s.Roster("").MakeAgreement(ctx, actor, person, employer, from, until)
	return err
}
func (s *Service) EndAgreement(ctx context.Context, actor *store.Person, person, entry, date string) error {
	_, err := s.Roster("").EndAgreement(ctx, actor, person, entry, date)
	return err
}
func (s *Service) TakeLeave(ctx context.Context, actor *store.Person, person, from, to string) error {
	_, err := s.Roster("").TakeLeave(ctx, actor, person, from, to)
	return err
}

// Record is one person's whole record, oldest first.
func (s *Service) Record(ctx context.Context, actor *store.Person, person string) ([]*store.EntryView, error) {
	return s.record(ctx, actor, person)
}

// ---- the programme's edition ----

// Offer is a folder compared with the edition in use.
type Offer struct {
	Problems  []curriculum.Problem
	Programme *curriculum.Programme // nil if it has errors
	Same      bool                  // nothing differs
	Changes   []curriculum.Change   // the words are in server/say
}

// Estimate says which parameters the estimate of readiness rests on, to a coordinator.
func (s *Service) Estimate(ctx context.Context, actor *store.Person) (*Estimate, error) {
	return s.estimate(ctx, actor)
}

// TradeOffs sets false clearances against people held back, for a task, as the parameters in force see it.
func (s *Service) TradeOffs(ctx context.Context, actor *store.Person, task string) ([]readiness.TradeOff, error) {
	return s.tradeOffs(ctx, actor, task)
}

// AdoptParameters puts a snapshot, as `brakewright calibrate` writes it, in force by the coordinator's signature.
func (s *Service) AdoptParameters(ctx context.Context, actor *store.Person, snapshot []byte, passphrase string) (store.Receipt, error) {
	return s.adoptParameters(ctx, actor, snapshot, passphrase)
}

// Adopt adopts an offered edition by the coordinator's signature; edition must equal the offer's (what was shown).
func (s *Service) Adopt(ctx context.Context, actor *store.Person, offer *Offer, edition, passphrase string) (store.Receipt, error) {
	return s.adopt(ctx, actor, offer, edition, passphrase)
}
