package acts

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"

	"brakewright/store"
	"brakewright/store/ledger"
)

// Erasure is what stands against erasing a person, and until when their records are kept.
type Erasure struct {
	Person    *store.Person
	Kinds     []KeptKind
	LastEntry string // date of the last entry about the person or by them
	KeepUntil string // last day on which any of the records must still be there
	Against   []Refusal
}

// KeptKind is one kind of a person's records; Due: it need not be kept any longer.
type KeptKind struct {
	ledger.Keeping
	Due bool
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
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	return s.erasure(ctx, p, at)
}

// erasure asks the ledger's own rules, which the entry will be judged by.
func (s *Service) erasure(ctx context.Context, p *store.Person, at place) (*Erasure, error) {
	keeping, against, err := s.Store.Keeping(ctx, p.ID, at.date, at.zone)
	if err != nil {
		return nil, err
	}
	e := &Erasure{Person: p, KeepUntil: ledger.KeptUntil(keeping)}
	for _, k := range keeping {
		e.LastEntry = max(e.LastEntry, k.Last)
		e.Kinds = append(e.Kinds, KeptKind{k, k.Until < at.date})
	}
	for _, a := range against {
		r := wrong("person", a.Code)
		maps.Copy(r.Args, a.Args)
		e.Against = append(e.Against, *r)
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
	sub, err := s.entry(s.head(id, ledger.Erased, actor.ID, person, at), ledger.ErasurePayload{KeptUntil: e.KeepUntil}, nil, nil)
	if err != nil {
		return store.Receipt{}, err
	}
	if err := s.signAll(ctx, actor, passphrase, []*ledger.Submission{sub}); err != nil {
		return store.Receipt{}, err
	}
	return s.submit(ctx, sub)
}

// DueForErasure are the people of whom a kind of record is past its date, those first against whose erasure nothing
// stands, and each longest due first. Nothing is ever erased by itself.
func (s *Service) DueForErasure(ctx context.Context, actor *store.Person) ([]*Erasure, error) {
	return s.due(ctx, func(p *store.Person, date string) bool {
		return May(actor, ErasePerson, Target{Person: p, Date: date}) == nil
	})
}

// OperatorDue is DueForErasure of everybody, for whoever holds database and key file.
func (s *Service) OperatorDue(ctx context.Context) ([]*Erasure, error) {
	return s.due(ctx, func(*store.Person, string) bool { return true })
}

func (s *Service) due(ctx context.Context, wanted func(p *store.Person, date string) bool) ([]*Erasure, error) {
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	due := []*Erasure{}
	for _, p := range people {
		if HoldsAny(p, at.date) || !wanted(p, at.date) {
			continue
		}
		e, err := s.erasure(ctx, p, at)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(e.Kinds, func(k KeptKind) bool { return k.Due }) {
			due = append(due, e)
		}
	}
	slices.SortStableFunc(due, func(a, b *Erasure) int {
		return cmp.Or(cmp.Compare(min(len(a.Against), 1), min(len(b.Against), 1)), strings.Compare(a.KeepUntil, b.KeepUntil))
	})
	return due, nil
}
