package acts

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
)

// Erasure is what stands against erasing a person, and until when their records are kept.
type Erasure struct {
	Person    *store.Person
	Years     int    // of the policy
	LastEntry string // date of the last entry about the person or by them
	AgreedTo  string // last day of the last agreement, "" if there was none
	KeepUntil string // last day on which the records must still be there
	Against   []Refusal
}

// Erasable says what stands against erasing somebody.
func (s *Service) Erasable(ctx context.Context, actor *store.Person, person string) (*Erasure, error) {
	p, err := s.person(ctx, person)
	if err != nil {
		return nil, err
	}
	if err := s.May(ctx, actor, ErasePerson, Target{Person: p}); err != nil {
		return nil, err
	}
	last, err := s.Store.LastEntries(ctx)
	if err != nil {
		return nil, err
	}
	return s.erasure(ctx, p, last[p.ID])
}

// erasure applies the policy: records are kept for its years from the later of the last entry and the end of the last
// agreement (29 CFR 30.12 asks for five).
func (s *Service) erasure(ctx context.Context, p *store.Person, last time.Time) (*Erasure, error) {
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	programme, err := s.programme(ctx)
	if err != nil {
		return nil, err
	}
	e := &Erasure{Person: p, Years: programme.Policy.RetentionYears}
	if e.LastEntry, err = ledger.Date(last.UnixMilli(), at.zone); err != nil {
		return nil, err
	}
	against := func(code string, args ...string) { e.Against = append(e.Against, *wrong("person", code, args...)) }
	for _, r := range p.Roles {
		if r.Until == "" || r.Until >= at.date {
			against("erase_role", "role", r.Role)
			break
		}
	}
	for _, a := range p.Agreements {
		if a.Until == "" || a.Until >= at.date {
			against("erase_agreement")
			break
		}
		e.AgreedTo = max(e.AgreedTo, a.Until)
	}
	kept, err := time.Parse(time.DateOnly, max(e.LastEntry, e.AgreedTo))
	if err != nil {
		return nil, err
	}
	e.KeepUntil = kept.AddDate(e.Years, 0, 0).Format(time.DateOnly)
	if at.date <= e.KeepUntil {
		against("erase_kept", "date", e.KeepUntil, "years", strconv.Itoa(e.Years))
	}
	open, err := s.Store.OpenMatters(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	if open.Disputes > 0 {
		against("erase_dispute")
	}
	if open.Cases > 0 {
		against("erase_case")
	}
	return e, nil
}

// Erase destroys everything personal of somebody, for ever: a signed entry says so and the entries stay. confirm is the
// person's log-in name, typed again. id is the entry's id, "" mints one.
func (s *Service) Erase(ctx context.Context, actor *store.Person, id, person, confirm, passphrase string) (store.Receipt, error) {
	if id != "" {
		if e, err := s.Store.Entry(ctx, id); err == nil && e.Entry.Body.Type == ledger.Erased && e.Entry.Body.Subject == person && e.Entry.Body.Actor == actor.ID {
			return store.Receipt{ID: id, Index: e.Index}, nil // sent again
		}
	}
	e, err := s.Erasable(ctx, actor, person)
	if err != nil {
		return store.Receipt{}, err
	}
	if e.Person.Erased {
		return store.Receipt{}, wrong("person", "rule_"+ledger.PersonErased)
	}
	if len(e.Against) > 0 {
		return store.Receipt{}, &e.Against[0]
	}
	if confirm == "" || !strings.EqualFold(strings.TrimSpace(confirm), e.Person.Login) {
		return store.Receipt{}, wrong("confirm", "erase_confirm", "login", e.Person.Login)
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	sub, err := s.entry(s.head(id, ledger.Erased, actor.ID, person, at), ledger.ErasurePayload{}, nil, nil)
	if err != nil {
		return store.Receipt{}, err
	}
	if err := s.signAll(ctx, actor, passphrase, []*ledger.Submission{sub}); err != nil {
		return store.Receipt{}, err
	}
	return s.submit(ctx, sub)
}

// DueForErasure are the people whose records need not be kept any longer and against whose erasure nothing stands, those
// longest due first. Nothing is ever erased by itself.
func (s *Service) DueForErasure(ctx context.Context, actor *store.Person) ([]*Erasure, error) {
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	last, err := s.Store.LastEntries(ctx)
	if err != nil {
		return nil, err
	}
	due := []*Erasure{}
	for _, p := range people {
		if HoldsAny(p, at.date) || May(actor, ErasePerson, Target{Person: p, Date: at.date}) != nil {
			continue
		}
		e, err := s.erasure(ctx, p, last[p.ID])
		if err != nil {
			return nil, err
		}
		if len(e.Against) == 0 {
			due = append(due, e)
		}
	}
	slices.SortStableFunc(due, func(a, b *Erasure) int { return strings.Compare(a.KeepUntil, b.KeepUntil) })
	return due, nil
}
