package acts

import (
	"context"
	"net/http"
	"slices"

	"brakewright/store"
	"brakewright/store/ledger"
)

// What follows a signed entry: the apprentice agrees, answers or disputes; somebody else settles; something is corrected
// or withdrawn by a further entry; earlier training is recognised. Nothing is edited.

// Countersign is the apprentice's own signature under a sign-off, or under the correction that took its place.
func (s *Service) Countersign(ctx context.Context, actor *store.Person, id, entry, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	c, err := s.concerning(ctx, actor, Countersign, entry)
	if err != nil {
		return none, err
	}
	same := func(p ledger.CountersignedPayload) bool { return p.Entry == entry }
	h := s.head(id, ledger.Countersigned, actor.ID, c.about.ID, c.at)
	return once(ctx, s, h, same, nil, func() (store.Receipt, error) {
		return s.signed(ctx, actor, h, ledger.CountersignedPayload{Entry: entry}, nil, passphrase)
	})
}

// Reply is the apprentice's side of an entry, in writing.
func (s *Service) Reply(ctx context.Context, actor *store.Person, id, entry, said string) (store.Receipt, error) {
	none := store.Receipt{}
	c, err := s.concerning(ctx, actor, ReplyTo, entry)
	if err != nil {
		return none, err
	}
	if said, err = text("text", said); err != nil {
		return none, err
	}
	if said == "" {
		return none, wrong("text", "text_needed")
	}
	h := s.head(id, ledger.Replied, actor.ID, c.about.ID, c.at)
	return once(ctx, s, h, func(p ledger.ReplyPayload) bool { return p.Entry == entry }, words{"text": said}, func() (store.Receipt, error) {
		sub, err := s.entry(h, ledger.ReplyPayload{Entry: entry}, map[string]string{"text": said}, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// Dispute says that an entry is not right. It is then no evidence until somebody else settles it. The apprentice may
// within the policy's countersign_days of a record: silence until then agrees; a stand-down may be disputed at any time.
func (s *Service) Dispute(ctx context.Context, actor *store.Person, id, entry, why string) (store.Receipt, error) {
	none := store.Receipt{}
	c, err := s.concerning(ctx, actor, DisputeEntry, entry)
	if err != nil {
		return none, err
	}
	if why, err = reason("reason", why); err != nil {
		return none, err
	}
	h := s.head(id, ledger.Disputed, actor.ID, c.about.ID, c.at)
	return once(ctx, s, h, func(p ledger.DisputePayload) bool { return p.Disputes == entry }, words{"reason": why}, func() (store.Receipt, error) {
		if actor.ID == c.about.ID && c.view.Entry.Body.Type != ledger.StandDownOrdered {
			until, err := s.CountersignUntil(ctx, c.view)
			if err != nil {
				return none, err
			}
			if c.at.date > until {
				return none, conflict("dispute_too_late", "date", until)
			}
		}
		sub, err := s.entry(h, ledger.DisputePayload{Disputes: entry}, map[string]string{"reason": why}, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// CountersignUntil is the last day on which the apprentice may countersign or dispute an entry; silence until then agrees.
func (s *Service) CountersignUntil(ctx context.Context, e *store.EntryView) (string, error) {
	f, err := s.frame(ctx)
	if err != nil {
		return "", err
	}
	recorded, err := ledger.Date(e.Entry.RecordedAt, e.Entry.Body.Zone)
	return addDays(recorded, f.policy.CountersignDays), err
}

// Settlement is what somebody who is no party decides on a disputed entry: it stands, or it falls. Where corrections
// contradict each other, Stands names the one that counts, or the entry itself for the first wording.
type Settlement struct {
	ID, Entry          string
	Upheld             bool // the dispute is right: nothing of the entry counts
	Stands             string
	Reason, Passphrase string
}

// IsParty says whether somebody had a hand in an entry: made, signed or corrected it, or an earlier one that it corrects. Who
// disputes it is party, too; of that, and of those who sign the entry itself, the ledger's rules know.
func (s *Service) IsParty(ctx context.Context, person string, e *store.EntryView) (bool, error) {
	live, err := s.Store.LiveCorrections(ctx, e.Entry.Body.ID)
	if err != nil {
		return false, err
	}
	if slices.ContainsFunc(live, func(c ledger.CorrectionFact) bool { return c.By == person }) {
		return true, nil
	}
	for {
		if e.Entry.Body.Actor == person {
			return true, nil
		}
		for _, signature := range e.Entry.Signatures {
			key, err := s.Store.Key(ctx, signature.Key)
			if err != nil {
				return false, err
			}
			if key.Person == person {
				return true, nil
			}
		}
		if e.Entry.Body.Corrects == "" {
			return false, nil
		}
		if e, err = s.Store.Entry(ctx, e.Entry.Body.Corrects); err != nil {
			return false, err
		}
	}
}

func (s *Service) Settle(ctx context.Context, actor *store.Person, r Settlement) (store.Receipt, error) {
	none := store.Receipt{}
	c, err := s.concerning(ctx, actor, SettleDispute, r.Entry)
	if err != nil {
		return none, err
	}
	if err := s.maySettle(ctx, actor, c.view.Entry.Body.Type, c.about); err != nil {
		return none, err
	}
	if r.Reason, err = reason("reason", r.Reason); err != nil {
		return none, err
	}
	p := ledger.SettlementPayload{Disputes: r.Entry, Upheld: r.Upheld, Stands: r.Stands}
	if party, err := s.IsParty(ctx, actor.ID, c.view); err != nil {
		return none, err
	} else if party {
		return none, refuse(http.StatusUnprocessableEntity, "rule_"+ledger.IsParty, "person", actor.ID)
	}
	same := func(x ledger.SettlementPayload) bool {
		return x.Disputes == p.Disputes && x.Upheld == p.Upheld && x.Stands == p.Stands
	}
	h := s.head(r.ID, ledger.DisputeSettled, actor.ID, c.about.ID, c.at)
	return once(ctx, s, h, same, words{"reason": r.Reason}, func() (store.Receipt, error) {
		return s.signed(ctx, actor, h, p, map[string]string{"reason": r.Reason}, r.Passphrase)
	})
}

// Recognition says what earlier training stands for: gates, and watched jobs; it takes two people.
type Recognition struct {
	ID, Apprentice, Task          string
	StandsFor                     []string // gates
	Jobs                          int
	Reason, Passphrase            string
	SecondLogin, SecondPassphrase string
}

// RecognisableGates are the gates that earlier training can stand for. A critical error, a lapse of time and what comes
// before the task are facts of this place.
var RecognisableGates = []string{"induction", "reading", "theory_test", "critical_steps", "jobs", "supervisors", "layouts"}

func (s *Service) Recognise(ctx context.Context, actor *store.Person, r Recognition) (store.Receipt, error) {
	none := store.Receipt{}
	apprentice, err := s.person(ctx, r.Apprentice)
	if err != nil {
		return none, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return none, err
	}
	home := homeSite(apprentice, Apprentice, today)
	at, err := s.placeOf(ctx, reach(actor, r.Task, home, today))
	if err != nil {
		return none, err
	}
	if err := May(actor, Recognise, Target{Person: apprentice, Task: r.Task, Site: at.site, Date: at.date}); err != nil {
		return none, err
	}
	if r.Task == "" {
		return none, wrong("task", "unknown_task", "task", "")
	}
	if err := s.knownTask(ctx, r.Task); err != nil {
		return none, err
	}
	if r.Reason, err = reason("reason", r.Reason); err != nil {
		return none, err
	}
	for i, g := range r.StandsFor {
		if !slices.Contains(RecognisableGates, g) || slices.Contains(r.StandsFor[:i], g) {
			return none, wrong("stands_for", "gate_not_recognised", "gate", g)
		}
	}
	if len(r.StandsFor) == 0 && r.Jobs == 0 {
		return none, wrong("stands_for", "nothing_chosen")
	}
	if r.Jobs < 0 || r.Jobs > 1000 {
		return none, wrong("jobs", "bad_number")
	}
	second, err := s.secondPerson(ctx, actor, apprentice, r.SecondLogin, r.Task, at)
	if err != nil {
		return none, err
	}
	p := ledger.RecognitionPayload{Task: r.Task, StandsFor: append([]string{}, r.StandsFor...), Jobs: r.Jobs}
	same := func(x ledger.RecognitionPayload) bool {
		return x.Task == p.Task && x.Jobs == p.Jobs && slices.Equal(x.StandsFor, p.StandsFor)
	}
	h := s.head(r.ID, ledger.Recognised, actor.ID, apprentice.ID, at)
	return once(ctx, s, h, same, words{"reason": r.Reason}, func() (store.Receipt, error) {
		sub, err := s.entry(h, p, map[string]string{"reason": r.Reason}, nil)
		if err != nil {
			return none, err
		}
		if err := s.signTwice(ctx, sub, actor, r.Passphrase, second, r.SecondPassphrase); err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// ReviewStandDown says that a stand-down which somebody else ordered stays for now, and what lifts it. Lifting it is
// [Service.Restore]; either is the review that the policy asks for within review_days.
func (s *Service) ReviewStandDown(ctx context.Context, actor *store.Person, id, standDown, found, lifts, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	c, err := s.concerning(ctx, actor, LiftStandDown, standDown)
	if err != nil {
		return none, err
	}
	if found, err = reason("reason", found); err != nil {
		return none, err
	}
	if lifts, err = text("lifts", lifts); err != nil {
		return none, err
	}
	if lifts == "" {
		return none, wrong("lifts", "lifts_needed")
	}
	h := s.head(id, ledger.StandDownReviewed, actor.ID, c.about.ID, c.at)
	same := func(p ledger.StandDownReviewPayload) bool { return p.StandDown == standDown }
	return once(ctx, s, h, same, words{"reason": found, "lifts": lifts}, func() (store.Receipt, error) {
		return s.signed(ctx, actor, h, ledger.StandDownReviewPayload{StandDown: standDown}, map[string]string{"reason": found, "lifts": lifts}, passphrase)
	})
}

// ReviewUntil is the last day on which a stand-down is to be reviewed by somebody else.
func (s *Service) ReviewUntil(ctx context.Context, e *store.EntryView) (string, error) {
	f, err := s.frame(ctx)
	if err != nil {
		return "", err
	}
	on, err := e.Entry.Body.Date()
	return addDays(on, f.policy.ReviewDays), err
}

// concern is an earlier entry that an act is about.
type concern struct {
	view  *store.EntryView
	about *store.Person
	task  string
	at    place
}

// concerning loads an entry about somebody and asks for permission to do something about it, where and for the task that
// it is about.
func (s *Service) concerning(ctx context.Context, actor *store.Person, act Act, entry string) (*concern, error) {
	e, err := s.Store.Entry(ctx, entry)
	if err != nil {
		return nil, missing(err, "entry")
	}
	b := e.Entry.Body
	if b.Subject == "" {
		return nil, missing(store.ErrNotFound, "entry")
	}
	c := &concern{view: e}
	if c.about, err = s.person(ctx, b.Subject); err != nil {
		return nil, err
	}
	if c.task, err = s.taskOf(ctx, e); err != nil {
		return nil, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	site := b.Site
	if site == "" {
		site = homeSite(c.about, Apprentice, today)
	}
	if c.task != "" {
		site = reach(actor, c.task, site, today)
	}
	if c.at, err = s.placeOf(ctx, site); err != nil {
		return nil, err
	}
	return c, May(actor, act, Target{Person: c.about, Task: c.task, Site: c.at.site, Date: c.at.date})
}

// taskOf is the task that an entry is about: its own, or that of the entry it is a word on.
func (s *Service) taskOf(ctx context.Context, e *store.EntryView) (string, error) {
	for {
		p, err := ledger.Parse(e.Leaf)
		if err != nil {
			return "", err
		}
		named := ledger.Names(&p.Body, p.Payload)
		if t := ledger.TaskOf(p.Payload); t != "" || named == "" {
			return t, nil
		}
		if e, err = s.Store.Entry(ctx, named); err != nil {
			if isNotFound(err) {
				return "", nil
			}
			return "", err
		}
	}
}

// signed builds an entry, signs it with the actor's key and appends it.
func (s *Service) signed(ctx context.Context, actor *store.Person, h ledger.Head, payload any, personal map[string]string, passphrase string) (store.Receipt, error) {
	sub, err := s.entry(h, payload, personal, nil)
	if err != nil {
		return store.Receipt{}, err
	}
	if err := s.signAll(ctx, actor, passphrase, []*ledger.Submission{sub}); err != nil {
		return store.Receipt{}, err
	}
	return s.submit(ctx, sub)
}

// signTwice adds the signatures of two people.
func (s *Service) signTwice(ctx context.Context, sub *ledger.Submission, actor *store.Person, passphrase string, second *store.Person, secondPassphrase string) error {
	signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
	if err != nil {
		return err
	}
	also, err := s.unlock(ctx, second, secondPassphrase, "second_passphrase")
	if err != nil {
		return err
	}
	if err := sub.Sign(signer); err != nil {
		return err
	}
	return sub.Sign(also)
}

// Entry is one entry: for whoever sees the ledger, or the record of the person whom it is about.
func (s *Service) Entry(ctx context.Context, actor *store.Person, id string) (*store.EntryView, error) {
	e, err := s.Store.Entry(ctx, id)
	if err != nil {
		return nil, missing(err, "entry")
	}
	err = s.May(ctx, actor, SeeLedger, Target{})
	if err == nil || e.Entry.Body.Subject == "" {
		return e, err
	}
	who, err := s.person(ctx, e.Entry.Body.Subject)
	if err != nil {
		return nil, err
	}
	return e, s.May(ctx, actor, SeeRecord, Target{Person: who})
}
