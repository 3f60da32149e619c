package acts

import (
	"context"
	"io/fs"

	"brakewright/curriculum"
	"brakewright/store"
)

// Compare loads a folder and compares it with the edition in use. A folder that cannot be used is an offer with
// problems and without a programme: it can be reported, never adopted.
func (s *Service) Compare(ctx context.Context, actor *store.Person, fsys fs.FS) (*Offer, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, err
	}
	offered, problems := LoadProgramme(fsys)
	return s.offerOf(ctx, offered, problems)
}

// CompareLoaded is Compare of what [LoadProgramme] made of a folder.
func (s *Service) CompareLoaded(ctx context.Context, actor *store.Person, offered *curriculum.Programme, problems []curriculum.Problem) (*Offer, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, err
	}
	return s.offerOf(ctx, offered, problems)
}

// CompareEdition offers an edition that was adopted before, so that it can be taken up again. A *Refusal
// not_found for any other.
func (s *Service) CompareEdition(ctx context.Context, actor *store.Person, edition string) (*Offer, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, err
	}
	kept, err := s.edition(ctx, edition)
	if err != nil {
		return nil, err
	}
	return s.offerOf(ctx, kept, nil)
}

func (s *Service) offerOf(ctx context.Context, offered *curriculum.Programme, problems []curriculum.Problem) (*Offer, error) {
	o := &Offer{Problems: problems, Programme: offered}
	if offered == nil {
		return o, nil
	}
	now, err := s.programme(ctx)
	if err != nil {
		return nil, err
	}
	o.Same = offered.Edition == now.Edition
	o.Changes = curriculum.Diff(now, offered)
	return o, nil
}
