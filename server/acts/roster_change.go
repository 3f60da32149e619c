package acts

import (
	"context"
	"strings"

	"brakewright/store"
	"brakewright/store/ledger"
)

// RosterChange is one change of the roster under an id.
type RosterChange struct {
	s  *Service
	id string
}

// head is what an entry made before would have, to be found again.
func (c RosterChange) head(t ledger.Type, actor *store.Person, person string) ledger.Head {
	return ledger.Head{ID: c.id, Type: t, Actor: actor.ID, Subject: person}
}

func (c RosterChange) Rename(ctx context.Context, actor *store.Person, person, name, login string) (store.Receipt, error) {
	asked := words{}
	if p, err := c.s.Store.Person(ctx, person); err == nil { // what was so already is not in the entry
		if name := oneLine(name); name != "" && name != p.Name {
			asked["name"] = name
		}
		if login := strings.TrimSpace(login); login != "" && login != p.Login {
			asked["login"] = login
		}
	}
	return once(ctx, c.s, c.head(ledger.PersonRenamed, actor, person), func(ledger.PersonPayload) bool { return true }, asked,
		func() (store.Receipt, error) { return c.s.rename(ctx, actor, c.id, person, name, login) })
}

func (c RosterChange) GrantRole(ctx context.Context, actor *store.Person, person string, r store.Role, passphrase string) (store.Receipt, error) {
	same := func(p ledger.RolePayload) bool {
		return p.Role == r.Role && p.Site == r.Site && p.Author == r.Author && p.Until == r.Until && (r.From == "" || p.From == r.From)
	}
	return once(ctx, c.s, c.head(ledger.RoleGranted, actor, person), same, nil,
		func() (store.Receipt, error) { return c.s.grantRole(ctx, actor, c.id, person, r, passphrase) })
}

func (c RosterChange) EndRole(ctx context.Context, actor *store.Person, person, entry, date string) (store.Receipt, error) {
	return c.end(ctx, ledger.RoleEnded, actor, person, entry, date, func() (store.Receipt, error) { return c.s.endRole(ctx, actor, c.id, person, entry, date) })
}

func (c RosterChange) Appoint(ctx context.Context, actor *store.Person, person string, a store.Appointment, passphrase string) (store.Receipt, error) {
	same := func(p ledger.AppointmentPayload) bool {
		return p.Task == a.Task && p.Site == a.Site && p.Until == a.Until && (a.From == "" || p.From == a.From)
	}
	return once(ctx, c.s, c.head(ledger.Appointed, actor, person), same, words{"qualification": strings.TrimSpace(a.Qualification), "number": strings.TrimSpace(a.Number)},
		func() (store.Receipt, error) { return c.s.appoint(ctx, actor, c.id, person, a, passphrase) })
}

func (c RosterChange) EndAppointment(ctx context.Context, actor *store.Person, person, entry, date, passphrase string) (store.Receipt, error) {
	return c.end(ctx, ledger.AppointmentEnded, actor, person, entry, date, func() (store.Receipt, error) {
		return c.s.endAppointment(ctx, actor, c.id, person, entry, date, passphrase)
	})
}

// AddSite also answers the site's own id.
func (c RosterChange) AddSite(ctx context.Context, actor *store.Person, name, zone string) (site string, r store.Receipt, err error) {
	same := func(p ledger.SitePayload) bool {
		site = p.Site
		return p.Name == oneLine(name) && (zone == "" || p.Zone == zone)
	}
	r, err = once(ctx, c.s, c.head(ledger.SiteAdded, actor, ""), same, nil, func() (r store.Receipt, err error) {
		site, r, err = c.s.addSite(ctx, actor, c.id, name, zone)
		return r, err
	})
	return site, r, err
}

// AddCohort also answers the cohort's own id.
func (c RosterChange) AddCohort(ctx context.Context, actor *store.Person, name, site string) (cohort string, r store.Receipt, err error) {
	same := func(p ledger.CohortPayload) bool { cohort = p.Cohort; return p.Name == oneLine(name) && p.Site == site }
	r, err = once(ctx, c.s, c.head(ledger.CohortAdded, actor, ""), same, nil, func() (r store.Receipt, err error) {
		cohort, r, err = c.s.addCohort(ctx, actor, c.id, name, site)
		return r, err
	})
	return cohort, r, err
}

func (c RosterChange) JoinCohort(ctx context.Context, actor *store.Person, person, cohort, date string) (store.Receipt, error) {
	same := func(p ledger.MembershipPayload) bool {
		return p.Cohort == cohort && (date == "" || p.Date == date)
	}
	return once(ctx, c.s, c.head(ledger.CohortJoined, actor, person), same, nil,
		func() (store.Receipt, error) { return c.s.joinCohort(ctx, actor, c.id, person, cohort, date) })
}

func (c RosterChange) LeaveCohort(ctx context.Context, actor *store.Person, person, cohort, date string) (store.Receipt, error) {
	same := func(p ledger.MembershipPayload) bool {
		return p.Cohort == cohort && (date == "" || p.Date == date)
	}
	return once(ctx, c.s, c.head(ledger.CohortLeft, actor, person), same, nil,
		func() (store.Receipt, error) { return c.s.leaveCohort(ctx, actor, c.id, person, cohort, date) })
}

func (c RosterChange) MakeAgreement(ctx context.Context, actor *store.Person, person, employer, from, until string) (store.Receipt, error) {
	same := func(p ledger.AgreementPayload) bool { return p.Until == until && (from == "" || p.From == from) }
	return once(ctx, c.s, c.head(ledger.AgreementMade, actor, person), same, words{"employer": strings.TrimSpace(employer)},
		func() (store.Receipt, error) {
			return c.s.makeAgreement(ctx, actor, c.id, person, employer, from, until)
		})
}

func (c RosterChange) EndAgreement(ctx context.Context, actor *store.Person, person, entry, date string) (store.Receipt, error) {
	return c.end(ctx, ledger.AgreementEnded, actor, person, entry, date, func() (store.Receipt, error) { return c.s.endAgreement(ctx, actor, c.id, person, entry, date) })
}

func (c RosterChange) TakeLeave(ctx context.Context, actor *store.Person, person, from, to string) (store.Receipt, error) {
	same := func(p ledger.LeavePayload) bool { return p.To == to && (from == "" || p.From == from) }
	return once(ctx, c.s, c.head(ledger.LeaveTaken, actor, person), same, nil,
		func() (store.Receipt, error) { return c.s.takeLeave(ctx, actor, c.id, person, from, to) })
}

// end ends what an entry began.
func (c RosterChange) end(ctx context.Context, t ledger.Type, actor *store.Person, person, entry, day string, do func() (store.Receipt, error)) (store.Receipt, error) {
	return once(ctx, c.s, c.head(t, actor, person), func(p ledger.EndPayload) bool { return p.Ends == entry && (day == "" || p.Date == day) }, nil, do)
}
