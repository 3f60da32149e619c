package acts

import (
	"net/http"
	"slices"
	"strings"

	"brakewright/store"
)

// Act is one thing that can be done or seen; the table of [May] is printed in DEVELOPERS.md and tested cell by cell.
type Act string

const (
	SeeLessons      Act = "see_lessons"
	Practise        Act = "practise"
	RecordReading   Act = "record_reading"
	TakeTest        Act = "take_test"
	SeeTestResult   Act = "see_test_result"
	WatchATest      Act = "watch_test"
	SeeQuestions    Act = "see_questions" // how questions fared over all who had them
	VoidQuestion    Act = "void_question"
	AskForJob       Act = "ask_for_job"
	WatchJob        Act = "watch_job"
	DecideHold      Act = "decide_hold"
	SeeJob          Act = "see_job"
	SignJob         Act = "sign_job"
	SecondSignature Act = "second_signature" // with a waiver, or for what is signed late
	CheckWork       Act = "check_work"       // a spot check
	OpenCase        Act = "open_case"        // of a car that came back: find its work, open, see
	CloseCase       Act = "close_case"       // sign the finding
	SeeStanding     Act = "see_standing"
	SeeSeverity     Act = "see_severity" // how strict a supervisor is: of the supervisor's own records, and for coordinators
	SeeBoard        Act = "see_board"
	SeeFloor        Act = "see_floor"
	GiveClearance   Act = "give_clearance"
	OrderStandDown  Act = "order_stand_down"
	LiftStandDown   Act = "lift_stand_down"
	LogUnwatchedJob Act = "log_unwatched_job"
	Countersign     Act = "countersign"
	ReplyTo         Act = "reply"
	DisputeEntry    Act = "dispute"
	SettleDispute   Act = "settle"  // by nobody who is party to it: the ledger's rules say so
	CorrectEntry    Act = "correct" // or withdraw
	Recognise       Act = "recognise"
	SeeWaivers      Act = "see_waivers"
	Oversee         Act = "oversee" // what is overdue, who only signs for each other, what waits for an owner
	SeeRecord       Act = "see_record"
	CarryRecord     Act = "carry_record"
	ManageRoster    Act = "manage_roster"
	ManageSites     Act = "manage_sites" // sites, and whatever concerns all of them
	ManageKeys      Act = "manage_keys"
	ErasePerson     Act = "erase_person"
	ShowLogInCode   Act = "show_log_in_code"
	SeeOffer        Act = "see_offer"
	WriteProgramme  Act = "write_programme" // as a draft
	PinNote         Act = "pin_note"        // a shop note beside a step
	AdoptProgramme  Act = "adopt_programme"
	SeeLedger       Act = "see_ledger"
	ManageOwnKey    Act = "manage_own_key"
	ManageOwnLogIn  Act = "manage_own_log_in" // one's password
)

// Acts are all acts in the order of the table.
func Acts() []Act {
	var out []Act
	for _, r := range permissions {
		if !slices.Contains(out, r.Act) {
			out = append(out, r.Act)
		}
	}
	return out
}

// The roles, and the author right that a supervisor or coordinator may have besides.
const (
	Apprentice  = "apprentice"
	Supervisor  = "supervisor"
	Coordinator = "coordinator"
	Author      = "author"
)

// Target is whose record or which task and site an act concerns. Zero fields do not matter to the act, but Date must
// be there: without a date nobody holds a role.
type Target struct {
	Person *store.Person // whose record
	Task   string
	Site   string // of the work; "" is wherever the person belongs
	Date   string // on which the actor's roles and appointments must hold
}

// Scope is whose record, or which work, a permission reaches.
type Scope string

const (
	Everywhere Scope = "all"            // concerns nobody's record
	Own        Scope = "own"            // one's own record
	Appointed  Scope = "appointed task" // work of a task and site of an appointment in force
	AtSite     Scope = "own site"       // people who belong to a site of the role; a role for all sites reaches everyone
	WithinSite Scope = "own site only"  // people who belong to no other site: what could give rights elsewhere
	AllSites   Scope = "all sites"      // needs a role for all sites
)

// Row is one line of the table of permissions.
type Row struct {
	Act    Act
	Role   string
	Scopes []Scope // one of them is enough
	Not    []Unless
}

// Unless takes a permission away again.
type Unless string

const (
	NotSelf        Unless = "never for oneself"
	NotLeft        Unless = "not after the agreement ended"
	ForApprentices Unless = "about apprentices only"
	NoOtherRole    Unless = "not about anybody with another role"
)

func row(a Act, role string, scopes []Scope, not ...Unless) Row {
	return Row{Act: a, Role: role, Scopes: scopes, Not: not}
}

func in(s ...Scope) []Scope { return s }

// permissions is the one table. A leaver, whose agreement has ended, keeps what is theirs to see: lessons, standing,
// record, results; everything else needs an agreement that runs.
var permissions = []Row{
	row(SeeLessons, Apprentice, in(Everywhere)),
	row(SeeLessons, Supervisor, in(Everywhere)),
	row(SeeLessons, Coordinator, in(Everywhere)),
	row(Practise, Apprentice, in(Own), NotLeft),
	row(Practise, Supervisor, in(Own)),
	row(Practise, Coordinator, in(Own)),
	row(RecordReading, Apprentice, in(Own), NotLeft),
	row(TakeTest, Apprentice, in(Own), NotLeft),
	row(SeeTestResult, Apprentice, in(Own)),
	row(SeeTestResult, Supervisor, in(AtSite), ForApprentices),
	row(SeeTestResult, Coordinator, in(AtSite)),
	row(WatchATest, Supervisor, in(Appointed), NotSelf),
	row(SeeQuestions, Coordinator, in(AllSites)),
	row(SeeQuestions, Author, in(Everywhere)),
	row(VoidQuestion, Coordinator, in(AllSites)),
	row(AskForJob, Apprentice, in(Own), NotLeft),
	row(WatchJob, Supervisor, in(Appointed), NotSelf),
	row(DecideHold, Supervisor, in(Appointed), NotSelf),
	row(SeeJob, Apprentice, in(Own)),
	row(SeeJob, Supervisor, in(Appointed, AtSite), ForApprentices),
	row(SeeJob, Coordinator, in(AtSite)),
	row(SignJob, Supervisor, in(Appointed), NotSelf),
	row(SecondSignature, Supervisor, in(Appointed), NotSelf),
	row(SecondSignature, Coordinator, in(AtSite), NotSelf),
	row(CheckWork, Supervisor, in(Appointed), NotSelf),
	row(OpenCase, Supervisor, in(AtSite), NotSelf, ForApprentices),
	row(OpenCase, Coordinator, in(AtSite), NotSelf),
	row(CloseCase, Supervisor, in(AtSite), NotSelf, ForApprentices),
	row(CloseCase, Coordinator, in(AtSite), NotSelf),
	row(SeeStanding, Apprentice, in(Own)),
	row(SeeStanding, Supervisor, in(AtSite), ForApprentices),
	row(SeeStanding, Coordinator, in(AtSite)),
	row(SeeSeverity, Supervisor, in(Own)),
	row(SeeSeverity, Coordinator, in(AtSite)),
	row(SeeBoard, Supervisor, in(AtSite)),
	row(SeeBoard, Coordinator, in(AtSite)),
	row(SeeFloor, Supervisor, in(AtSite)),
	row(SeeFloor, Coordinator, in(AtSite)),
	row(GiveClearance, Supervisor, in(Appointed), NotSelf),
	row(OrderStandDown, Supervisor, in(AtSite), NotSelf, ForApprentices),
	row(OrderStandDown, Coordinator, in(AtSite), NotSelf),
	row(LiftStandDown, Supervisor, in(Appointed), NotSelf),
	row(LiftStandDown, Coordinator, in(AtSite), NotSelf),
	row(LogUnwatchedJob, Apprentice, in(Own), NotLeft),
	row(Countersign, Apprentice, in(Own)),
	row(ReplyTo, Apprentice, in(Own)),
	row(DisputeEntry, Apprentice, in(Own)),
	row(DisputeEntry, Supervisor, in(AtSite), NotSelf, ForApprentices),
	row(DisputeEntry, Coordinator, in(AtSite), NotSelf),
	row(SettleDispute, Supervisor, in(Appointed), NotSelf),
	row(SettleDispute, Coordinator, in(AtSite), NotSelf),
	row(CorrectEntry, Supervisor, in(Appointed), NotSelf),
	row(CorrectEntry, Coordinator, in(AtSite), NotSelf),
	row(Recognise, Supervisor, in(Appointed), NotSelf),
	row(Recognise, Coordinator, in(AtSite), NotSelf),
	row(SeeWaivers, Supervisor, in(AtSite), ForApprentices),
	row(SeeWaivers, Coordinator, in(AtSite)),
	row(Oversee, Coordinator, in(AtSite)),
	row(SeeRecord, Apprentice, in(Own)),
	row(SeeRecord, Supervisor, in(Own, AtSite), ForApprentices),
	row(SeeRecord, Coordinator, in(Own, AtSite)),
	row(CarryRecord, Apprentice, in(Own)),
	row(CarryRecord, Supervisor, in(Own)),
	row(CarryRecord, Coordinator, in(Own, AtSite)),
	row(ManageRoster, Coordinator, in(WithinSite)),
	row(ManageSites, Coordinator, in(AllSites)),
	row(ManageKeys, Coordinator, in(WithinSite)),
	row(ErasePerson, Coordinator, in(WithinSite), NotSelf),
	row(ShowLogInCode, Supervisor, in(AtSite), NotSelf, NoOtherRole),
	row(ShowLogInCode, Coordinator, in(WithinSite), NotSelf),
	row(SeeOffer, Coordinator, in(AllSites)),
	row(SeeOffer, Author, in(Everywhere)),
	row(WriteProgramme, Coordinator, in(AllSites)),
	row(WriteProgramme, Author, in(Everywhere)),
	row(PinNote, Coordinator, in(AllSites)),
	row(PinNote, Author, in(Everywhere)),
	row(AdoptProgramme, Coordinator, in(AllSites)),
	row(SeeLedger, Coordinator, in(AllSites)),
	row(ManageOwnKey, Apprentice, in(Own), NotLeft),
	row(ManageOwnKey, Supervisor, in(Own)),
	row(ManageOwnKey, Coordinator, in(Own)),
	row(ManageOwnLogIn, Apprentice, in(Own)),
	row(ManageOwnLogIn, Supervisor, in(Own)),
	row(ManageOwnLogIn, Coordinator, in(Own)),
}

// PermissionTable is the table of [May], in its order.
func PermissionTable() []Row { return slices.Clone(permissions) }

// PermissionMarkdown prints the table for DEVELOPERS.md: one line an act, one column a role.
func PermissionMarkdown() string {
	roles := []string{Apprentice, Supervisor, Coordinator, Author}
	var b strings.Builder
	b.WriteString("| act | apprentice | supervisor | coordinator | author right |\n|---|---|---|---|---|\n")
	for _, a := range Acts() {
		b.WriteString("| `" + string(a) + "` |")
		for _, role := range roles {
			cell := ""
			for _, r := range permissions {
				if r.Act == a && r.Role == role {
					cell = r.String()
				}
			}
			b.WriteString(" " + cell + " |")
		}
		b.WriteString("\n")
	}
	return b.String()
}

// String is the cell of the table: its scopes, then what takes the permission away.
func (r Row) String() string {
	var scopes, not []string
	for _, s := range r.Scopes {
		scopes = append(scopes, string(s))
	}
	for _, n := range r.Not {
		not = append(not, string(n))
	}
	s := strings.Join(scopes, " or ")
	if len(not) > 0 {
		s += " (" + strings.Join(not, "; ") + ")"
	}
	return s
}

// May is the one function that says who may do what: nil, or a *Refusal with code not_allowed and why in Args.
//
// why is no_role (no role of the actor reaches this act at all), self, left, other_site, not_appointed, not_own or
// not_apprentice: what was in the way of the row that came nearest.
func May(actor *store.Person, act Act, t Target) error { return may(actor, act, t) }

func may(actor *store.Person, act Act, t Target) error {
	why := "no_role"
	if actor != nil {
		for _, r := range permissions {
			if r.Act != act {
				continue
			}
			for _, held := range actor.Roles {
				if t.Date == "" || !held.Holds(t.Date) || !r.isFor(held) {
					continue
				}
				w := r.refuses(actor, held, t)
				if w == "" {
					return nil
				}
				if why == "no_role" || w == "self" { // of all that is in the way, say first that it is oneself
					why = w
				}
			}
		}
	}
	return refuse(http.StatusForbidden, "not_allowed", "why", why, "act", string(act), "task", t.Task)
}

func (r Row) isFor(held store.Role) bool {
	if r.Role == Author {
		return held.Author && held.Role != Apprentice
	}
	return r.Role == held.Role
}

// refuses says what is in the way of this row for a role held on the date, or "".
func (r Row) refuses(actor *store.Person, held store.Role, t Target) string {
	for _, n := range r.Not {
		switch {
		case n == NotSelf && t.Person != nil && t.Person.ID == actor.ID:
			return "self"
		case n == NotLeft && Left(actor, t.Date):
			return "left"
		case n == ForApprentices && t.Person != nil && t.Person.ID != actor.ID && !everHeld(t.Person, Apprentice):
			return "not_apprentice"
		case n == NoOtherRole && t.Person != nil && holdsOther(t.Person, t.Date):
			return "not_apprentice"
		}
	}
	why := ""
	for _, s := range r.Scopes {
		w := reaches(s, r, actor, held, t)
		if w == "" {
			return ""
		}
		why = w
	}
	return why
}

func reaches(s Scope, r Row, actor *store.Person, held store.Role, t Target) string {
	switch s {
	case Everywhere:
		return ""
	case Own:
		// Without a person the act can only be about oneself where nothing else is possible.
		if t.Person == nil && onlyOwn(r.Act) || t.Person != nil && t.Person.ID == actor.ID {
			return ""
		}
		return "not_own"
	case Appointed:
		if !covers(held.Site, t) {
			return "other_site"
		}
		for _, a := range actor.Appointments {
			if a.Holds(t.Date) && (t.Task == "" || a.Task == t.Task) && covers(a.Site, t) {
				return ""
			}
		}
		return "not_appointed"
	case AtSite:
		if covers(held.Site, t) {
			return ""
		}
		return "other_site"
	case WithinSite:
		if held.Site == "" || covers(held.Site, t) && (t.Person == nil || within(t.Person, held.Site, t.Date)) {
			return ""
		}
		return "other_site"
	case AllSites:
		if held.Site == "" {
			return ""
		}
		return "other_site"
	}
	return "no_role"
}

// onlyOwn says whether an act can only ever be about oneself.
func onlyOwn(a Act) bool {
	for _, r := range permissions {
		if r.Act == a && !slices.Equal(r.Scopes, in(Own)) {
			return false
		}
	}
	return true
}

// covers says whether a role or appointment for a site ("" all) reaches the work's site or, without one, the person.
func covers(site string, t Target) bool {
	switch {
	case site == "":
		return true
	case t.Site != "":
		return t.Site == site
	case t.Person != nil:
		return belongs(t.Person, site)
	}
	return true
}

// belongs says whether somebody has, or once had, a role at a site or at all sites.
func belongs(p *store.Person, site string) bool {
	for _, r := range p.Roles {
		if r.Site == "" || r.Site == site {
			return true
		}
	}
	return len(p.Roles) == 0
}

// within says whether no role that somebody holds, or will hold, reaches beyond a site. An apprentice without a site
// belongs to every site.
func within(p *store.Person, site, date string) bool {
	for _, r := range p.Roles {
		over := r.Until != "" && r.Until < date
		if !over && r.Site != site && (r.Site != "" || r.Role != Apprentice) {
			return false
		}
	}
	return true
}

// Holds says whether somebody holds a role on a date, at any site.
func Holds(p *store.Person, role, date string) bool {
	for _, r := range p.Roles {
		if r.Role == role && r.Holds(date) {
			return true
		}
	}
	return false
}

// HoldsAny says whether somebody holds any role on a date.
func HoldsAny(p *store.Person, date string) bool {
	return slices.ContainsFunc(p.Roles, func(r store.Role) bool { return r.Holds(date) })
}

func everHeld(p *store.Person, role string) bool {
	return slices.ContainsFunc(p.Roles, func(r store.Role) bool { return r.Role == role })
}

func holdsOther(p *store.Person, date string) bool {
	return slices.ContainsFunc(p.Roles, func(r store.Role) bool { return r.Role != Apprentice && r.Holds(date) })
}

// Left says whether an apprentice has left: there was an agreement, and the last one has ended before the date; or
// there is no apprentice role any more. Who never had an agreement written down has not left.
func Left(p *store.Person, date string) bool {
	if !everHeld(p, Apprentice) {
		return false
	}
	role := slices.ContainsFunc(p.Roles, func(r store.Role) bool {
		return r.Role == Apprentice && (r.Until == "" || date <= r.Until)
	})
	runs := slices.ContainsFunc(p.Agreements, func(a store.Agreement) bool { return a.Until == "" || date <= a.Until })
	return !role || len(p.Agreements) > 0 && !runs
}
