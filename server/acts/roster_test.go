package acts

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

func TestAddPeople(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	before := len(must[[]*store.Person](t)(w.World.Store.People(w.ctx)))
	bad := []NewPerson{
		{Name: "Una North", Login: "una", Role: Apprentice, Cohort: w.Cohort, Employer: "North shop"},
		{Name: " ", Login: "SAM0", Role: "boss"},
		{Name: "Due South", Login: "una", Role: Supervisor, Cohort: w.Cohort, Employer: "x"},
		{Name: "Rae West", Login: "r w", Role: Apprentice, Site: "moon", From: "soon", ID: "7"},
	}
	_, err := w.AddPeople(w.ctx, ada, bad, "")
	wants(t, err, "people_problems")
	r, _ := AsRefusal(err)
	var got []string
	for _, x := range r.Problems {
		got = append(got, x.Args["row"]+" "+x.Field+" "+x.Code)
	}
	want := []string{
		"2 people[1].name name_needed", "2 people[1].login login_taken", "2 people[1].role unknown_role",
		"3 people[2].login login_taken", "3 people[2].cohort cohort_of_apprentice", "3 people[2].employer employer_of_apprentice",
		"4 people[3].login bad_login", "4 people[3].id bad_id", "4 people[3].site unknown_site", "4 people[3].from bad_date",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	if after := len(must[[]*store.Person](t)(w.World.Store.People(w.ctx))); after != before {
		t.Error("some were added: it must be all or none")
	}

	good := []NewPerson{
		{Name: "Una  North", Login: "una", Role: Apprentice, Cohort: w.Cohort, Employer: "North shop"},
		{Name: "Due South", Login: "due", Role: Supervisor},
		{Name: "Rae West", Login: "rae", Role: Coordinator, Site: w.Site},
	}
	_, err = w.AddPeople(w.ctx, w.sam(0), good, passphrase)
	wants(t, err, "not_allowed")
	_, err = w.AddPeople(w.ctx, ada, good, "")
	wants(t, err, "passphrase_needed") // a coordinator is among them
	codes := must[map[string]string](t)(w.AddPeople(w.ctx, ada, good, passphrase))
	una := must[*store.Person](t)(w.World.Store.PersonByLogin(w.ctx, "una"))
	if una.Name != "Una North" || len(una.Roles) != 1 || una.Roles[0].Site != w.Site || len(una.Cohorts) != 1 || len(una.Agreements) != 1 || una.HasPassword {
		t.Errorf("got %+v", una)
	}
	if len(codes) != 3 || codes["una"] == "" || codes["una"] == codes["due"] {
		t.Errorf("got codes %v", codes)
	}
	w.Clock.Add(13 * 24 * time.Hour)
	token, _, err := w.LogInWithCode(w.ctx, "una", codes["una"], "")
	wants(t, err, "")
	wants(t, w.SetPassword(w.ctx, una, token, "", "seven green lorries at dawn"), "")
	w.Clock.Add(2 * 24 * time.Hour)
	_, _, err = w.LogInWithCode(w.ctx, "due", codes["due"], "")
	wants(t, err, "code_failed")
	_, err = w.AddPeople(w.ctx, ada, nil, "")
	wants(t, err, "people_count")
}

func TestRoles(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	sam := w.sam(0)
	rows := []struct {
		name       string
		actor      *store.Person
		person     string
		role       store.Role
		passphrase string
		want       string
	}{
		{"to oneself", ada, ada.ID, store.Role{Role: Supervisor}, passphrase, "not_allowed"},
		{"by a supervisor", sam, w.Supervisors[1].ID, store.Role{Role: Coordinator}, pass(w.Supervisors[0]), "not_allowed"},
		{"unknown role", ada, sam.ID, store.Role{Role: "boss"}, "", "unknown_role"},
		{"unknown site", ada, sam.ID, store.Role{Role: Apprentice, Site: "moon"}, "", "unknown_site"},
		{"an apprentice as author", ada, w.Apprentices[0].ID, store.Role{Role: Apprentice, Author: true}, passphrase, "author_not_apprentice"},
		{"until before from", ada, sam.ID, store.Role{Role: Apprentice, From: "2026-03-02", Until: "2026-03-01"}, "", "ends_before_it_begins"},
		{"held already", ada, sam.ID, store.Role{Role: Supervisor}, "", "role_held"},
		{"author right unsigned", ada, sam.ID, store.Role{Role: Supervisor, Author: true}, "", "passphrase_needed"},
		{"author right", ada, sam.ID, store.Role{Role: Supervisor, Author: true}, passphrase, ""},
		{"coordinator unsigned", ada, w.Supervisors[1].ID, store.Role{Role: Coordinator}, "", "passphrase_needed"},
		{"coordinator", ada, w.Supervisors[1].ID, store.Role{Role: Coordinator}, passphrase, ""},
		{"apprentice for a while", ada, sam.ID, store.Role{Role: Apprentice, From: "2026-02-01", Until: "2026-02-28"}, "", ""},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			wants(t, w.GrantRole(w.ctx, r.actor, r.person, r.role, r.passphrase), r.want)
		})
	}
	if err := w.May(w.ctx, w.sam(0), SeeOffer, Target{}); err != nil {
		t.Errorf("an author sees what an edition would change: %v", err)
	}

	// Somebody stays who holds the coordinator's role for good.
	for _, p := range []*store.Person{w.cora(), w.sam(1)} {
		i := slices.IndexFunc(p.Roles, func(r store.Role) bool { return r.Role == Coordinator })
		wants(t, w.EndRole(w.ctx, ada, p.ID, p.Roles[i].Entry, ""), "")
	}
	wants(t, w.EndRole(w.ctx, ada, ada.ID, ada.Roles[0].Entry, ""), "rule_last_coordinator")
	wants(t, w.EndRole(w.ctx, ada, sam.ID, w.ID(), ""), "not_found")
	wants(t, w.EndRole(w.ctx, ada, sam.ID, sam.Roles[0].Entry, "soon"), "bad_date")
}

func TestAppointments(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	codes := must[map[string]string](t)(w.AddPeople(w.ctx, ada, []NewPerson{{Name: "Ned New", Login: "ned", Role: Supervisor}}, ""))
	_ = codes
	ned := must[*store.Person](t)(w.World.Store.PersonByLogin(w.ctx, "ned"))
	rows := []struct {
		name   string
		actor  *store.Person
		person string
		a      store.Appointment
		pass   string
		want   string
	}{
		{"by a supervisor", w.sam(0), ned.ID, store.Appointment{Task: "pads"}, pass(w.Supervisors[0]), "not_allowed"},
		{"of oneself", ada, ada.ID, store.Appointment{Task: "pads"}, passphrase, "not_allowed"},
		{"of an apprentice", ada, w.Apprentices[0].ID, store.Appointment{Task: "pads"}, passphrase, "not_supervisor"},
		{"for no task", ada, ned.ID, store.Appointment{}, passphrase, "unknown_task"},
		{"for an unknown task", ada, ned.ID, store.Appointment{Task: "wash"}, passphrase, "unknown_task"},
		{"at an unknown site", ada, ned.ID, store.Appointment{Task: "pads", Site: "moon"}, passphrase, "unknown_site"},
		{"unsigned", ada, ned.ID, store.Appointment{Task: "pads"}, "", "passphrase_needed"},
		{"as it should be", ada, ned.ID, store.Appointment{Task: "pads", Qualification: "Brake technician", Until: "2026-12-31"}, passphrase, ""},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			wants(t, w.Appoint(w.ctx, r.actor, r.person, r.a, r.pass), r.want)
		})
	}
	ned = must[*store.Person](t)(w.World.Store.PersonByLogin(w.ctx, "ned"))
	if len(ned.Appointments) != 1 || ned.Appointments[0].Qualification != "Brake technician" {
		t.Fatalf("got %+v", ned.Appointments)
	}
	target := Target{Person: w.pat(0), Task: "pads"}
	wants(t, w.May(w.ctx, ned, WatchJob, target), "")
	wants(t, w.EndAppointment(w.ctx, ada, ned.ID, ned.Appointments[0].Entry, addDays(w.World.Today(), -1), passphrase), "")
	ned = must[*store.Person](t)(w.World.Store.PersonByLogin(w.ctx, "ned"))
	wants(t, w.May(w.ctx, ned, WatchJob, target), "not_allowed")
	wants(t, w.EndAppointment(w.ctx, ada, ned.ID, ned.Appointments[0].Entry, "", passphrase), "rule_already_ended")
}

// An appointment carries what entitles to it, and its end; after its last day it entitles to nothing.
func TestAnAppointmentCarriesQualificationNumberAndExpiry(t *testing.T) {
	w := newWorld(t)
	sid, until := w.sam(2), addDays(w.World.Today(), 1)
	for _, a := range sid.Appointments {
		wants(t, w.EndAppointment(w.ctx, w.ada(), sid.ID, a.Entry, addDays(w.World.Today(), -1), pass(w.Coordinators[0])), "")
	}
	wants(t, w.Appoint(w.ctx, w.ada(), sid.ID, store.Appointment{Task: "pads", Qualification: "Brake technician", Number: "BT-4711", Until: until}, pass(w.Coordinators[0])), "")
	a := w.sam(2).Appointments[len(w.sam(2).Appointments)-1]
	if a.Qualification != "Brake technician" || a.Number != "BT-4711" || a.Until != until {
		t.Errorf("got %+v", a)
	}
	wants(t, w.May(w.ctx, w.sam(2), SignJob, Target{Person: w.pat(0), Task: "pads"}), "")
	w.Clock.Add(2 * 24 * time.Hour)
	wants(t, w.May(w.ctx, w.sam(2), SignJob, Target{Person: w.pat(0), Task: "pads"}), "not_allowed")
}

// A coordinator of one site sees and manages that site and no other.
func TestTwoSites(t *testing.T) {
	w := newWorld(t)
	ada, passphrase := w.ada(), pass(w.Coordinators[0])
	south := must[string](t)(w.AddSite(w.ctx, ada, "South shop", "America/New_York"))
	_, err := w.AddSite(w.ctx, ada, "south SHOP", "")
	wants(t, err, "name_taken")
	_, err = w.AddSite(w.ctx, ada, "West shop", "Mars/Olympus")
	wants(t, err, "unknown_zone")
	_, err = w.AddSite(w.ctx, w.sam(0), "West shop", "")
	wants(t, err, "not_allowed")
	cohort := must[string](t)(w.AddCohort(w.ctx, ada, "Spring", south))
	_, err = w.AddCohort(w.ctx, ada, "spring", south)
	wants(t, err, "name_taken")
	_, err = w.AddCohort(w.ctx, ada, "Autumn", "")
	wants(t, err, "site_needed")
	must[map[string]string](t)(w.AddPeople(w.ctx, ada, []NewPerson{
		{Name: "Cleo South", Login: "cleo", Role: Coordinator, Site: south},
		{Name: "Sid South", Login: "sid", Role: Supervisor, Site: south},
		{Name: "Abe South", Login: "abe", Role: Apprentice, Cohort: cohort},
		{Name: "Nan North", Login: "nan", Role: Apprentice, Cohort: w.Cohort},
	}, passphrase))
	by := func(login string) *store.Person {
		return must[*store.Person](t)(w.World.Store.PersonByLogin(w.ctx, login))
	}
	cleo := by("cleo")
	seen := func(actor *store.Person) (out []string) {
		for _, r := range must[*Board](t)(w.Board(w.ctx, actor, BoardFilter{Search: "o"})).Rows {
			out = append(out, r.Apprentice.Login)
		}
		return out
	}
	if got := seen(cleo); !slices.Equal(got, []string{"abe"}) {
		t.Errorf("the south's coordinator sees %v", got)
	}
	if got := seen(ada); !slices.Equal(got, []string{"abe", "nan"}) {
		t.Errorf("the coordinator of all sites sees %v", got)
	}
	_, err = w.Board(w.ctx, cleo, BoardFilter{Site: w.Site})
	wants(t, err, "not_allowed")
	_, err = w.Record(w.ctx, cleo, by("nan").ID)
	wants(t, err, "not_allowed")
	must[[]*store.EntryView](t)(w.Record(w.ctx, cleo, by("abe").ID))
	wants(t, w.Rename(w.ctx, cleo, by("nan").ID, "Nancy North", ""), "not_allowed")
	wants(t, w.Rename(w.ctx, cleo, by("abe").ID, "Abel South", "abel"), "")
	wants(t, w.GrantRole(w.ctx, cleo, by("abel").ID, store.Role{Role: Supervisor}, ""), "not_allowed") // all sites
	wants(t, w.GrantRole(w.ctx, cleo, by("abel").ID, store.Role{Role: Supervisor, Site: w.Site}, ""), "not_allowed")
	wants(t, w.GrantRole(w.ctx, cleo, by("abel").ID, store.Role{Role: Supervisor, Site: south}, ""), "")
	_, _, err = w.ShowCode(w.ctx, cleo, ada.ID)
	wants(t, err, "not_allowed")
	// Whom a coordinator of one site adds belongs to it.
	must[map[string]string](t)(w.AddPeople(w.ctx, cleo, []NewPerson{{Name: "Kit South", Login: "kit", Role: Apprentice}}, ""))
	if got := by("kit").Roles[0].Site; got != south {
		t.Errorf("got site %q, want the coordinator's", got)
	}
	// Nor does somebody of one site decide on, or take in, an apprentice of another, whose standing they may not see.
	wants(t, w.Appoint(w.ctx, ada, by("sid").ID, store.Appointment{Task: "pads", Site: south}, passphrase), "")
	for _, site := range []string{"", south} {
		_, err = w.Clear(w.ctx, by("sid"), ClearanceRequest{Apprentice: by("nan").ID, Task: "pads", Site: site, Passphrase: "any"})
		wants(t, err, "not_allowed")
	}
	wants(t, w.JoinCohort(w.ctx, cleo, by("kit").ID, w.Cohort, ""), "not_allowed")
	wants(t, w.JoinCohort(w.ctx, cleo, by("kit").ID, w.ID(), ""), "rule_no_such_cohort")
	wants(t, w.JoinCohort(w.ctx, cleo, by("kit").ID, cohort, ""), "")
	_, err = w.AddPeople(w.ctx, cleo, []NewPerson{{Name: "Kat North", Login: "kat", Role: Apprentice, Site: w.Site}}, "")
	wants(t, err, "people_problems")

	// Dates are those of the site: two hours east it is tomorrow already.
	w.Clock.Set(time.Date(2026, 2, 10, 5, 30, 0, 0, time.UTC)) // 22:30 in Denver, 00:30 in New York
	a, b := must[place](t)(w.placeOf(w.ctx, w.Site)), must[place](t)(w.placeOf(w.ctx, south))
	if a.date != "2026-02-09" || b.date != "2026-02-10" {
		t.Errorf("got %s and %s", a.date, b.date)
	}
}

func TestCohortsAgreementsLeave(t *testing.T) {
	w := newWorld(t)
	ada, pat := w.ada(), w.pat(0)
	today := w.World.Today()
	wants(t, w.JoinCohort(w.ctx, ada, pat.ID, w.Cohort, today), "rule_already_member")
	wants(t, w.JoinCohort(w.ctx, ada, pat.ID, w.ID(), today), "rule_no_such_cohort")
	wants(t, w.JoinCohort(w.ctx, ada, w.sam(0).ID, w.Cohort, today), "not_apprentice")
	wants(t, w.LeaveCohort(w.ctx, w.sam(0), pat.ID, w.Cohort, today), "not_allowed")
	wants(t, w.LeaveCohort(w.ctx, ada, pat.ID, w.Cohort, ""), "")
	wants(t, w.LeaveCohort(w.ctx, ada, pat.ID, w.Cohort, ""), "rule_not_member")
	wants(t, w.MakeAgreement(w.ctx, ada, pat.ID, "", today, ""), "employer_needed")
	wants(t, w.MakeAgreement(w.ctx, ada, w.sam(0).ID, "South shop", today, ""), "not_apprentice")
	wants(t, w.MakeAgreement(w.ctx, ada, pat.ID, "South shop", "2026-05-01", "2027-04-30"), "")
	wants(t, w.EndAgreement(w.ctx, ada, pat.ID, pat.Agreements[0].Entry, "2026-04-30"), "")
	wants(t, w.EndAgreement(w.ctx, ada, pat.ID, w.ID(), today), "not_found")
	if a := w.pat(0).Agreements; len(a) != 2 || a[0].Until != "2026-04-30" || a[1].Employer != "South shop" {
		t.Errorf("got %+v", a)
	}
	wants(t, w.TakeLeave(w.ctx, ada, pat.ID, "2026-02-01", ""), "bad_date")
	wants(t, w.TakeLeave(w.ctx, ada, pat.ID, "2026-02-10", "2026-02-01"), "ends_before_it_begins")
	wants(t, w.TakeLeave(w.ctx, ada, pat.ID, "2026-02-01", "2026-02-14"), "")
	wants(t, w.TakeLeave(w.ctx, ada, pat.ID, "2026-02-14", "2026-02-20"), "leave_overlaps")
	if l := w.pat(0).Leaves; len(l) != 1 {
		t.Errorf("got %+v", l)
	}
}

// A leaver may look, not do.
func TestLeaver(t *testing.T) {
	w, p := ready(t)
	wants(t, w.EndAgreement(w.ctx, w.ada(), p.ID, p.Agreements[0].Entry, ""), "")
	w.Clock.Add(24 * time.Hour)
	p = w.pat(0)
	must[string](t)(w.login("pat0", storetest.Password("pat0"), ""))
	_, err := w.Standings(w.ctx, p, p.ID)
	wants(t, err, "")
	must[[]*store.EntryView](t)(w.Record(w.ctx, p, p.ID))
	_, err = w.Read(w.ctx, p, "", "pads", mustLoad(t, smallWith(t)).Lesson("pads", "").Edition)
	wants(t, err, "not_allowed")
	_, err = w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon"})
	wants(t, err, "not_allowed")
	_, err = w.AskJob(w.ctx, w.sam(0), JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: "wagon", Watch: true})
	wants(t, err, "apprentice_left")
	_, err = w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])})
	wants(t, err, "apprentice_left")
}

// An apprentice sees nothing of another, a supervisor the apprentices of the site, a coordinator everybody.
func TestWhoSeesWhom(t *testing.T) {
	w, p := ready(t)
	other := w.pat(1)
	for _, f := range []func() error{
		func() error { _, err := w.Standings(w.ctx, other, p.ID); return err },
		func() error { _, err := w.Record(w.ctx, other, p.ID); return err },
		func() error { _, err := w.Person(w.ctx, other, p.ID); return err },
	} {
		wants(t, f(), "not_allowed")
	}
	if got := must[[]*store.Person](t)(w.Service.People(w.ctx, other)); len(got) != 1 || got[0].ID != other.ID {
		t.Errorf("an apprentice sees %d people", len(got))
	}
	if got := must[[]*store.Person](t)(w.Service.People(w.ctx, w.sam(0))); len(got) != 5 {
		t.Errorf("a supervisor sees %d people, want the four apprentices and themselves", len(got))
	}
	if got := must[[]*store.Person](t)(w.Service.People(w.ctx, w.ada())); len(got) != 9 {
		t.Errorf("a coordinator sees %d people, want all nine", len(got))
	}
	record := must[[]*store.EntryView](t)(w.Record(w.ctx, p, p.ID))
	if record[0].Entry.Body.Type != ledger.PersonAdded || record[len(record)-1].Entry.Body.Type != ledger.SignOff {
		t.Errorf("the record runs from %s to %s", record[0].Entry.Body.Type, record[len(record)-1].Entry.Body.Type)
	}
	rows := must[[]JobRow](t)(w.Jobs(w.ctx, other, store.JobFilter{}))
	if len(rows) != 0 {
		t.Errorf("an apprentice sees %d jobs of others", len(rows))
	}
	rows = must[[]JobRow](t)(w.Jobs(w.ctx, w.sam(1), store.JobFilter{}))
	if len(rows) != 1 || !rows[0].MayWatch || rows[0].Task.ID != "induction" {
		t.Errorf("got %+v", rows)
	}
}

func TestFound(t *testing.T) {
	w := newWorld(t)
	good := store.Founding{Origin: "brakes.example/small", Zone: "America/Denver", Name: "Ada Founder", Login: "ada",
		Password: "seven green lorries at dawn", Passphrase: "three loud crows"}
	rows := []struct {
		name   string
		change func(*store.Founding)
		want   string
	}{
		{"no name", func(f *store.Founding) { f.Name = "" }, "name_needed"},
		{"login with a space", func(f *store.Founding) { f.Login = "a da" }, "bad_login"},
		{"origin with a plus", func(f *store.Founding) { f.Origin = "a+b" }, "bad_origin"},
		{"no zone", func(f *store.Founding) { f.Zone = "" }, "unknown_zone"},
		{"short password", func(f *store.Founding) { f.Password = "short" }, "password_too_short"},
		{"short passphrase", func(f *store.Founding) { f.Passphrase = "short" }, "passphrase_too_short"},
		{"one secret for both", func(f *store.Founding) { f.Passphrase = f.Password }, "passphrase_is_password"},
		{"as it should be", func(*store.Founding) {}, ""},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			f := good
			r.change(&f)
			o := w.Options
			o.Database = filepath.Join(t.TempDir(), "new.db")
			s, err := Found(w.ctx, o, f, smallWith(t))
			wants(t, err, r.want)
			if err != nil {
				return
			}
			defer s.Close()
			svc := New(s, w.Clock.Now, w.World.Random, "test")
			if p, err := svc.Programme(w.ctx); err != nil || p.Title != "Small brakes" {
				t.Errorf("got %v", err)
			}
			if _, _, err := svc.LogIn(w.ctx, "ada", f.Password, "", false); err != nil {
				t.Error(err)
			}
		})
	}
	_, err := Found(w.ctx, w.Options, good, smallWith(t, "lessons/pads.md", "tasks: [pads]", "tasks: [soup]"))
	var broken *BrokenProgramme
	if !errors.As(err, &broken) || len(broken.Problems) == 0 {
		t.Errorf("a broken folder: got %v", err)
	}
}
