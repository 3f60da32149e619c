package acts

import (
	"os"
	"slices"
	"strings"
	"testing"

	"brakewright/store"
)

const may1 = "2026-03-02" // a day on which everything below is in force

func someone(id string, roles ...store.Role) *store.Person {
	return &store.Person{ID: id, Roles: roles}
}

func role(name, site string) store.Role {
	return store.Role{Role: name, From: "2026-01-01", Site: site}
}

// The people whom a target may be, seen from an actor whose role is for the site north.
func cast(self *store.Person) map[string]Target {
	return map[string]Target{
		"self":       {Person: self, Task: "pads"},
		"apprentice": {Person: someone("a1", role(Apprentice, "north")), Task: "pads"},
		"other task": {Person: someone("a1", role(Apprentice, "north")), Task: "discs"},
		"other site": {Person: someone("a2", role(Apprentice, "south")), Task: "pads"},
		"supervisor": {Person: someone("s2", role(Supervisor, "north")), Task: "pads"},
		"two sites":  {Person: someone("s3", role(Supervisor, "north"), role(Supervisor, "south")), Task: "pads"},
		"nobody":     {},
	}
}

// cells is what each role may do to whom: the whole table of contracts, cell by cell. What is not listed is refused.
var cells = map[Act]map[string]string{
	SeeLessons:      {Apprentice: "*", Supervisor: "*", Coordinator: "*"},
	Practise:        {Apprentice: "self nobody", Supervisor: "self nobody", Coordinator: "self nobody"},
	RecordReading:   {Apprentice: "self nobody"},
	TakeTest:        {Apprentice: "self nobody"},
	SeeTestResult:   {Apprentice: "self", Supervisor: "self apprentice,other task,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	WatchATest:      {Supervisor: "apprentice supervisor,two sites,nobody"},
	SeeQuestions:    {Author: "*"},
	VoidQuestion:    {},
	AskForJob:       {Apprentice: "self nobody"},
	WatchJob:        {Supervisor: "apprentice supervisor,two sites,nobody"},
	DecideHold:      {Supervisor: "apprentice supervisor,two sites,nobody"},
	SeeJob:          {Apprentice: "self", Supervisor: "self apprentice,other task,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	SignJob:         {Supervisor: "apprentice supervisor,two sites,nobody"},
	SecondSignature: {Supervisor: "apprentice supervisor,two sites,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	CheckWork:       {Supervisor: "apprentice supervisor,two sites,nobody"},
	OpenCase:        {Supervisor: "apprentice,other task,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	CloseCase:       {Supervisor: "apprentice,other task,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	SeeStanding:     {Apprentice: "self", Supervisor: "self apprentice,other task,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	SeeSeverity:     {Supervisor: "self", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	SeeBoard:        {Supervisor: "self apprentice,other task,supervisor,two sites,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	SeeFloor:        {Supervisor: "self apprentice,other task,supervisor,two sites,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	GiveClearance:   {Supervisor: "apprentice supervisor,two sites,nobody"},
	OrderStandDown:  {Supervisor: "apprentice,other task,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	LiftStandDown:   {Supervisor: "apprentice supervisor,two sites,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	LogUnwatchedJob: {Apprentice: "self nobody"},
	Countersign:     {Apprentice: "self nobody"},
	ReplyTo:         {Apprentice: "self nobody"},
	DisputeEntry:    {Apprentice: "self", Supervisor: "apprentice,other task,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	SettleDispute:   {Supervisor: "apprentice supervisor,two sites,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	CorrectEntry:    {Supervisor: "apprentice supervisor,two sites,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	Recognise:       {Supervisor: "apprentice supervisor,two sites,nobody", Coordinator: "apprentice,other task,supervisor,two sites,nobody"},
	SeeWaivers:      {Supervisor: "self apprentice,other task,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	Oversee:         {Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	CarryRecord:     {Apprentice: "self", Supervisor: "self", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	SeeRecord:       {Apprentice: "self", Supervisor: "self apprentice,other task,nobody", Coordinator: "self apprentice,other task,supervisor,two sites,nobody"},
	ManageRoster:    {Coordinator: "self apprentice,other task,supervisor,nobody"},
	ManageSites:     {},
	ManageKeys:      {Coordinator: "self apprentice,other task,supervisor,nobody"},
	ErasePerson:     {Coordinator: "apprentice,other task,supervisor,nobody"},
	ShowLogInCode:   {Supervisor: "apprentice,other task,nobody", Coordinator: "apprentice,other task,supervisor,nobody"},
	SeeOffer:        {Author: "*"},
	WriteProgramme:  {Author: "*"},
	PinNote:         {Author: "*"},
	AdoptProgramme:  {},
	SeeLedger:       {},
	ManageOwnKey:    {Apprentice: "self nobody", Supervisor: "self nobody", Coordinator: "self nobody"},
	ManageOwnLogIn:  {Apprentice: "self nobody", Supervisor: "self nobody", Coordinator: "self nobody"},
}

func allowed(cell, who string) bool {
	if cell == "*" {
		return true
	}
	for _, part := range strings.Split(cell, ",") {
		if part == who || slices.Contains(strings.Fields(part), who) {
			return true
		}
	}
	return false
}

func TestMayCellByCell(t *testing.T) {
	actors := map[string]*store.Person{
		Apprentice:  someone("me", role(Apprentice, "north")),
		Supervisor:  someone("me", role(Supervisor, "north")),
		Coordinator: someone("me", role(Coordinator, "north")),
		Author:      someone("me", store.Role{Role: Supervisor, From: "2026-01-01", Site: "north", Author: true}),
	}
	for _, r := range []string{Supervisor, Author} {
		actors[r].Appointments = []store.Appointment{{Task: "pads", Site: "north", From: "2026-01-01"}}
	}
	if len(cells) != len(Acts()) {
		t.Errorf("the cells cover %d acts, the table has %d", len(cells), len(Acts()))
	}
	for _, act := range Acts() {
		row, ok := cells[act]
		if !ok {
			t.Errorf("no cells for %s", act)
		}
		for roleName, actor := range actors {
			for who, target := range cast(actor) {
				cell := row[roleName]
				if roleName == Author && cell != "*" {
					cell = row[Supervisor] // the right comes on top of the role
				}
				target.Date = may1
				err := May(actor, act, target)
				if (err == nil) != allowed(cell, who) {
					t.Errorf("%s, %s, %s: got %v, want allowed = %v", act, roleName, who, err, allowed(cell, who))
				}
			}
		}
	}
}

func TestMayWithARoleForAllSites(t *testing.T) {
	all := someone("me", role(Coordinator, ""))
	for _, act := range []Act{ManageSites, AdoptProgramme, SeeLedger, SeeOffer, WriteProgramme, PinNote} {
		if err := May(all, act, Target{Date: may1}); err != nil {
			t.Errorf("%s: %v", act, err)
		}
	}
	for who, target := range cast(all) {
		target.Date = may1
		if err := May(all, ManageRoster, target); err != nil {
			t.Errorf("manage_roster, %s: %v", who, err)
		}
	}
}

// why is the reason that May gives, or "".
func why(err error) string {
	if r, ok := AsRefusal(err); ok {
		return r.Args["why"]
	}
	return ""
}

func TestMaySaysWhy(t *testing.T) {
	supervisor := someone("me", role(Supervisor, "north"), role(Apprentice, "north"))
	supervisor.Appointments = []store.Appointment{{Task: "pads", Site: "north", From: "2026-01-01", Until: "2026-06-30"}}
	apprentice := someone("a1", role(Apprentice, "north"))
	left := someone("a3", role(Apprentice, "north"))
	left.Agreements = []store.Agreement{{From: "2025-01-01", Until: "2026-02-28"}}
	rows := []struct {
		name  string
		actor *store.Person
		act   Act
		t     Target
		want  string
	}{
		{"nobody at all", nil, SeeLessons, Target{Date: may1}, "no_role"},
		{"no role reaches it", apprentice, SeeBoard, Target{Date: may1}, "no_role"},
		{"no date, no role", apprentice, SeeLessons, Target{}, "no_role"},
		{"before the role begins", apprentice, SeeLessons, Target{Date: "2025-12-31"}, "no_role"},
		{"nobody signs for themselves, whatever else they are", supervisor, SignJob, Target{Person: supervisor, Task: "pads", Site: "north", Date: may1}, "self"},
		{"nobody clears themselves", supervisor, GiveClearance, Target{Person: supervisor, Task: "pads", Site: "north", Date: may1}, "self"},
		{"nobody restores themselves", supervisor, LiftStandDown, Target{Person: supervisor, Task: "pads", Site: "north", Date: may1}, "self"},
		{"another task", supervisor, WatchJob, Target{Person: apprentice, Task: "discs", Site: "north", Date: may1}, "not_appointed"},
		{"another site", supervisor, WatchJob, Target{Person: apprentice, Task: "pads", Site: "south", Date: may1}, "other_site"},
		{"after the appointment", supervisor, WatchJob, Target{Person: apprentice, Task: "pads", Site: "north", Date: "2026-07-01"}, "not_appointed"},
		{"somebody else's record", apprentice, SeeRecord, Target{Person: left, Date: may1}, "not_own"},
		{"a leaver takes no test", left, TakeTest, Target{Person: left, Date: may1}, "left"},
		{"a leaver sees the record", left, SeeRecord, Target{Person: left, Date: may1}, ""},
		{"a leaver on the last day", left, TakeTest, Target{Person: left, Date: "2026-02-28"}, ""},
		{"a supervisor is an apprentice, too", supervisor, TakeTest, Target{Person: supervisor, Date: may1}, ""},
		{"on the appointment's last day", supervisor, WatchJob, Target{Person: apprentice, Task: "pads", Site: "north", Date: "2026-06-30"}, ""},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			err := May(r.actor, r.act, r.t)
			if got := why(err); got != r.want || (err == nil) != (r.want == "") {
				t.Errorf("got %q (%v), want %q", got, err, r.want)
			}
		})
	}
}

func TestLeft(t *testing.T) {
	agreement := func(until string) []store.Agreement { return []store.Agreement{{From: "2025-01-01", Until: until}} }
	rows := []struct {
		name string
		p    *store.Person
		want bool
	}{
		{"never an apprentice", someone("x", role(Supervisor, "")), false},
		{"no agreement written down", someone("x", role(Apprentice, "")), false},
		{"open agreement", &store.Person{Roles: []store.Role{role(Apprentice, "")}, Agreements: agreement("")}, false},
		{"ends today", &store.Person{Roles: []store.Role{role(Apprentice, "")}, Agreements: agreement(may1)}, false},
		{"ended yesterday", &store.Person{Roles: []store.Role{role(Apprentice, "")}, Agreements: agreement("2026-03-01")}, true},
		{"a second one runs", &store.Person{Roles: []store.Role{role(Apprentice, "")}, Agreements: append(agreement("2026-01-01"), store.Agreement{From: "2026-02-01"})}, false},
		{"the role ended", &store.Person{Roles: []store.Role{{Role: Apprentice, From: "2025-01-01", Until: "2026-01-01"}}, Agreements: agreement("")}, true},
	}
	for _, r := range rows {
		if got := Left(r.p, may1); got != r.want {
			t.Errorf("%s: got %v, want %v", r.name, got, r.want)
		}
	}
}

// The printed table is part of the developers' documentation.
func TestPermissionMarkdown(t *testing.T) {
	got := PermissionMarkdown()
	for _, a := range Acts() {
		if !strings.Contains(got, "| `"+string(a)+"` |") {
			t.Errorf("no line for %s", a)
		}
	}
	if os.Getenv("BRAKEWRIGHT_PRINT") != "" {
		t.Log("\n" + got)
	}
}
