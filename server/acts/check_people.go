package acts

import (
	"context"

	"brakewright/store"
)

// CheckPeople says what [Service.AddPeople] would refuse, row by row, and adds nobody: the dry run of a roster list.
func (s *Service) CheckPeople(ctx context.Context, actor *store.Person, people []NewPerson) error {
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	if err := May(actor, ManageRoster, Target{Date: today}); err != nil {
		return err
	}
	_, err = s.checkPeople(ctx, actor, people, today)
	return err
}
