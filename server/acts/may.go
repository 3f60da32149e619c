package acts

import "brakewright/store"

// Act is one thing that can be done or seen; the table of [May] is printed in DEVELOPERS.md and tested cell by cell.
type Act string

const (
	SeeLessons      Act = "see_lessons"
	Practise        Act = "practise"
	RecordReading   Act = "record_reading"
	TakeTest        Act = "take_test"
	SeeTestResult   Act = "see_test_result"
	WatchATest      Act = "watch_test"
	AskForJob       Act = "ask_for_job"
	WatchJob        Act = "watch_job"
	SeeJob          Act = "see_job"
	SignJob         Act = "sign_job"
	SeeStanding     Act = "see_standing"
	SeeBoard        Act = "see_board"
	SeeFloor        Act = "see_floor"
	GiveClearance   Act = "give_clearance"
	OrderStandDown  Act = "order_stand_down"
	LiftStandDown   Act = "lift_stand_down"
	LogUnwatchedJob Act = "log_unwatched_job"
	SeeRecord       Act = "see_record"
	ManageRoster    Act = "manage_roster"
	ManageKeys      Act = "manage_keys"
	ShowLogInCode   Act = "show_log_in_code"
	AdoptProgramme  Act = "adopt_programme"
	SeeLedger       Act = "see_ledger"
	ManageOwnKey    Act = "manage_own_key"
)

// Target is whose record or which task and site an act concerns. Zero fields do not matter to the act.
type Target struct {
	Person *store.Person // whose record
	Task   string
	Site   string
	Date   string // on which the actor's roles and appointments must hold
}

// May is the one function that says who may do what: nil, or a *Refusal with code not_allowed and why in Args.
func May(actor *store.Person, act Act, t Target) error { return may(actor, act, t) }
