package demo

import (
	"errors"
	"slices"
	"time"

	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// contest tells, on the evenings of a few days near the end, what follows a signature: a record disputed and settled, one
// whose correction is corrected, one countersigned, one whose dispute waits for the visitor; and how a stand-down is
// answered and reviewed.
func (b *builder) contest(d int) error {
	switch d {
	case b.workday(days - 12):
		return b.answerStandDown()
	case b.workday(days - 9):
		return b.reviewStandDown()
	case b.workday(days - 45):
		return b.contestRecords(b.disputeAndSettle, b.correctTwice, b.countersign)
	case b.workday(days - 25):
		return b.voidQuestion()
	case b.workday(days - 3):
		return b.contestRecords(b.leaveDisputed)
	}
	return nil
}

// voidQuestion takes the most doubtful of the questions that somebody got wrong out of all tests that had it, in the
// edition in which it was asked.
func (b *builder) voidQuestion() error {
	boss, err := b.person(coordinatorLogin)
	if err != nil {
		return err
	}
	all, err := b.acts.Questions(b.ctx, boss, acts.QuestionFilter{})
	if err != nil {
		return err
	}
	i := slices.IndexFunc(all, func(q acts.QuestionStatistic) bool { return q.Right < q.Asked })
	if i < 0 {
		return errors.New("nobody got any question wrong")
	}
	b.clock.add(10 * time.Minute)
	_, _, err = b.acts.Void(b.ctx, boss, acts.VoidRequest{
		Question: all[i].Question.ID, Lesson: all[i].Question.Lesson, Edition: all[i].Question.Edition,
		Reason:     "Read aloud at the Friday talk, it was taken two ways by people who do the work right. The lesson's words will be mended first.",
		Passphrase: b.who[coordinatorLogin].Passphrase,
	})
	return err
}

// downEntry is the stand-down that stays.
func (b *builder) downEntry() (*store.EntryView, error) {
	open, err := b.store.OpenStandDowns(b.ctx, b.who["delphine"].ID)
	if err != nil {
		return nil, err
	}
	if len(open) == 0 {
		return nil, errors.New("nobody was stood down")
	}
	return b.store.Entry(b.ctx, open[0].Entry)
}

func (b *builder) answerStandDown() error {
	e, err := b.downEntry()
	if err != nil {
		return err
	}
	p, err := b.person("delphine")
	if err != nil {
		return err
	}
	b.clock.add(3 * time.Minute)
	_, err = b.acts.Reply(b.ctx, p, "", e.Entry.Body.ID, "I was called away before the last turn of the wrench and told the front desk. Nobody wrote it down.")
	return err
}

func (b *builder) reviewStandDown() error {
	e, err := b.downEntry()
	if err != nil {
		return err
	}
	s := &supervisors[0]
	p, err := b.person(s.login)
	if err != nil {
		return err
	}
	b.clock.add(3 * time.Minute)
	_, err = b.acts.ReviewStandDown(b.ctx, p, "", e.Entry.Body.ID, "Both were heard, and three other cars were looked at: all sound.",
		"Two watched jobs on which every joint is marked when it is torqued.", b.who[s.login].Passphrase)
	return err
}

// other is a supervisor for all sites who is not the one given.
func (b *builder) other(id string) (*store.Person, string, error) {
	for _, s := range supervisors {
		if s.site < 0 && b.who[s.login].ID != id {
			p, err := b.person(s.login)
			return p, b.who[s.login].Passphrase, err
		}
	}
	return nil, "", errors.New("there is one supervisor only")
}

// login is whose an id is.
func (b *builder) login(id string) string {
	for login, c := range b.who {
		if c.ID == id {
			return login
		}
	}
	return ""
}

// contestRecords tells a story each of the newest records, one an apprentice.
func (b *builder) contestRecords(tell ...func(*store.EntryView) error) error {
	all, err := b.store.Entries(b.ctx, store.EntryFilter{Newest: true, Limit: 80, Types: []ledger.Type{ledger.SignOff}})
	if err != nil {
		return err
	}
	var seen []string
	var records []*store.EntryView
	for _, e := range all {
		fresh := b.clock.now().Sub(time.UnixMilli(e.Entry.RecordedAt)) < 7*24*time.Hour
		if id := e.Entry.Body.Subject; fresh && !slices.Contains(seen, id) {
			seen = append(seen, id)
			records = append(records, e)
		}
	}
	if len(records) < len(tell) {
		return errors.New("too few jobs of the last days")
	}
	for i, f := range tell {
		b.clock.add(10 * time.Minute)
		if err := f(records[i]); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) disputeAndSettle(e *store.EntryView) error {
	body := e.Entry.Body
	apprentice, err := b.store.Person(b.ctx, body.Subject)
	if err != nil {
		return err
	}
	if _, err := b.acts.Dispute(b.ctx, apprentice, "", body.ID, "I asked about the torque; I was not told it. That is no prompt."); err != nil {
		return err
	}
	by, phrase, err := b.other(body.Actor)
	if err != nil {
		return err
	}
	b.clock.add(time.Hour)
	_, err = b.acts.Settle(b.ctx, by, acts.Settlement{Entry: body.ID, Reason: "Both were heard. The question came after the wrench was on the bolt: it was a prompt.", Passphrase: phrase})
	return err
}

func (b *builder) correctTwice(e *store.EntryView) error {
	body := e.Entry.Body
	signer, err := b.store.Person(b.ctx, body.Actor)
	if err != nil {
		return err
	}
	yes, no, note := true, false, "The jack settled a little when the wheel came off. Nobody was under the car."
	first, err := b.acts.Correct(b.ctx, signer, acts.Correction{Entry: body.ID, Changes: acts.RecordChanges{NearMiss: &yes, Notes: &note},
		Reason: "Forgot to note the jack.", Passphrase: b.who[b.login(signer.ID)].Passphrase})
	if err != nil {
		return err
	}
	by, phrase, err := b.other(body.Actor)
	if err != nil {
		return err
	}
	b.clock.add(2 * time.Hour)
	_, err = b.acts.Correct(b.ctx, by, acts.Correction{Entry: first.ID, Changes: acts.RecordChanges{NearMiss: &no}, Reason: "The stands stood already, so it was no near miss. The note stays.", Passphrase: phrase})
	return err
}

func (b *builder) countersign(e *store.EntryView) error {
	apprentice, err := b.store.Person(b.ctx, e.Entry.Body.Subject)
	if err != nil {
		return err
	}
	_, err = b.acts.Countersign(b.ctx, apprentice, "", e.Entry.Body.ID, b.who[b.login(apprentice.ID)].Passphrase)
	return err
}

func (b *builder) leaveDisputed(e *store.EntryView) error {
	apprentice, err := b.store.Person(b.ctx, e.Entry.Body.Subject)
	if err != nil {
		return err
	}
	_, err = b.acts.Dispute(b.ctx, apprentice, "", e.Entry.Body.ID, "It was the other sedan that day. I have the work order.")
	return err
}
