package acts

import (
	"context"
	"slices"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// ChangedLesson is a lesson that somebody has read and that, with the figures its steps measure or show, asks something of its
// readers since.
type ChangedLesson struct {
	Lesson  *curriculum.Lesson // in the edition in use
	Since   string             // programme edition in which it was read
	Changes []curriculum.Change
	Before  *curriculum.Programme // Since
	Now     *curriculum.Programme
	Due     string // date by which a cleared apprentice has read the change; today's or an earlier one is at once
}

// ChangesToConfirm lists, in the programme's order, the lessons of which an apprentice has changes to read and confirm: those of
// [curriculum.Diff] that ask something, between the programme edition in which the lesson was last read and the one in use.
// Confirming one is an entry, [Service.Confirm]; the reading gate follows it, and so does the warning beside a clearance.
func (s *Service) ChangesToConfirm(ctx context.Context, actor *store.Person, apprentice string) ([]ChangedLesson, error) {
	p, err := s.person(ctx, apprentice)
	if err != nil {
		return nil, err
	}
	if err := s.May(ctx, actor, SeeStanding, Target{Person: p}); err != nil {
		return nil, err
	}
	return s.changesToConfirm(ctx, apprentice)
}

func (s *Service) changesToConfirm(ctx context.Context, apprentice string) ([]ChangedLesson, error) {
	adoptions, err := s.Store.Adoptions(ctx)
	if err != nil || len(adoptions) < 2 {
		return nil, err
	}
	evidence, err := s.Store.Evidence(ctx, apprentice)
	if err != nil {
		return nil, err
	}
	now, err := s.programme(ctx)
	if err != nil {
		return nil, err
	}
	var out []ChangedLesson
	for _, l := range now.Lessons {
		read := lastReading(evidence, l.ID)
		if read == nil {
			continue
		}
		at, err := s.readUnder(ctx, *read, adoptions)
		if err != nil {
			return nil, err
		}
		c, err := s.changedSince(ctx, l, at, adoptions, now)
		if err != nil {
			return nil, err
		}
		if c != nil {
			out = append(out, *c)
		}
	}
	return out, nil
}

// lastReading is the newest reading of a lesson; nil if there is none. Evidence comes oldest first.
func lastReading(evidence []readiness.Record, lesson string) *readiness.Record {
	for i := len(evidence) - 1; i >= 0; i-- {
		if r := &evidence[i]; r.Type == "reading" && r.Lesson == lesson {
			return r
		}
	}
	return nil
}

// readUnder is the adoption under which a lesson was read: the latest before the reading that has the lesson in the edition read
// (a page may have been open while another was adopted), else the latest before it.
func (s *Service) readUnder(ctx context.Context, read readiness.Record, adoptions []store.Adoption) (int, error) {
	e, err := s.Store.Entry(ctx, read.ID)
	if err != nil {
		return 0, err
	}
	latest := 0
	for i := range adoptions {
		if adoptions[i].Index < e.Index {
			latest = i
		}
	}
	for i := latest; i >= 0; i-- {
		p, err := s.edition(ctx, adoptions[i].Edition)
		if err != nil {
			return 0, err
		}
		if hasEdition(p, read.Lesson, read.Edition) {
			return i, nil
		}
	}
	return latest, nil
}

// changedSince compares a lesson of today with the adoption under which it was read; nil where nothing is asked. It is due so many
// days after the first adoption that asked something as the most urgent change gives.
func (s *Service) changedSince(ctx context.Context, l *curriculum.Lesson, at int, adoptions []store.Adoption, now *curriculum.Programme) (*ChangedLesson, error) {
	before, err := s.edition(ctx, adoptions[at].Edition)
	if err != nil {
		return nil, err
	}
	c := &ChangedLesson{Lesson: l, Since: before.Edition, Before: before, Now: now, Changes: asked(curriculum.Diff(before, now), l.ID)}
	if len(c.Changes) == 0 {
		return nil, nil
	}
	for _, a := range adoptions[at+1:] {
		p, err := s.edition(ctx, a.Edition)
		if err != nil {
			return nil, err
		}
		if len(asked(curriculum.Diff(before, p), l.ID)) == 0 {
			continue
		}
		within := c.Changes[0].Within
		for _, x := range c.Changes {
			within = min(within, x.Within)
		}
		if c.Due, err = s.dateAfter(ctx, a.At.UnixMilli(), within); err != nil {
			return nil, err
		}
		break
	}
	return c, nil
}

// asked are the changes of a lesson that ask something.
func asked(changes []curriculum.Change, lesson string) []curriculum.Change {
	return slices.DeleteFunc(changes, func(c curriculum.Change) bool {
		return c.Ask == curriculum.AskNothing || !c.Concerns(lesson)
	})
}

// dateAfter is the date so many days after a moment, in the programme's zone.
func (s *Service) dateAfter(ctx context.Context, ms int64, days int) (string, error) {
	info, err := s.Store.Info(ctx)
	if err != nil {
		return "", err
	}
	day, err := ledger.Date(ms, info.Zone)
	if err != nil {
		return "", err
	}
	return addDays(day, days), nil
}

// Confirm records that the actor has read what changed in a lesson since a programme edition, and confirms it. It counts as having
// read the lesson as it is now. A *Refusal nothing_to_confirm where nothing has changed since, or something else than was shown.
func (s *Service) Confirm(ctx context.Context, actor *store.Person, id, lesson, since, edition string) (store.Receipt, error) {
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	if err := May(actor, RecordReading, Target{Person: actor, Date: at.date}); err != nil {
		return store.Receipt{}, err
	}
	h := s.head(id, ledger.LessonRead, actor.ID, actor.ID, at)
	same := func(p ledger.ReadingPayload) bool {
		return p.Lesson == lesson && p.Edition == edition && p.Since == since
	}
	return once(ctx, s, h, same, nil, func() (store.Receipt, error) {
		changed, err := s.changesToConfirm(ctx, actor.ID)
		if err != nil {
			return store.Receipt{}, err
		}
		if !slices.ContainsFunc(changed, func(c ChangedLesson) bool {
			return c.Lesson.ID == lesson && c.Since == since && hasEdition(c.Now, lesson, edition)
		}) {
			return store.Receipt{}, conflict("nothing_to_confirm")
		}
		sub, err := s.entry(h, ledger.ReadingPayload{Lesson: lesson, Edition: edition, Since: since}, nil, nil)
		if err != nil {
			return store.Receipt{}, err
		}
		return s.submit(ctx, sub)
	})
}
