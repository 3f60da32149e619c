package acts

import (
	"context"
	"net/http"

	"brakewright/store"
)

// Bundle is the file with which a person carries their record away, to be checked anywhere: theirs, or a coordinator's to
// hand to them.
func (s *Service) Bundle(ctx context.Context, actor *store.Person, person string) ([]byte, error) {
	p, err := s.person(ctx, person)
	if err != nil {
		return nil, err
	}
	if err := s.May(ctx, actor, CarryRecord, Target{Person: p}); err != nil {
		return nil, err
	}
	if p.Erased {
		return nil, refuse(http.StatusUnprocessableEntity, "rule_person_erased")
	}
	b, err := s.Store.Bundle(ctx, person)
	if err != nil {
		return nil, err
	}
	return b.Encode()
}
