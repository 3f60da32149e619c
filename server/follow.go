package server

import (
	"context"
	"net/url"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// followLine is what a later entry says about an earlier one; it is shown wherever the earlier one is.
type followLine struct {
	Text, Path string
	Loud       bool // the earlier entry does not count as it stands
}

// mostFollowed bounds how far a chain of corrections is followed on a page; its last entry leads on.
const mostFollowed = 5

// follow gathers what has become of an entry: corrections and theirs, disputes, settlements, countersignature, replies,
// reviews, and what put it in question.
func (s *Server) follow(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, e *store.EntryView) ([]followLine, error) {
	return s.followed(ctx, c, p, names, e, 0)
}

func (s *Server) followed(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, e *store.EntryView, depth int) ([]followLine, error) {
	words, err := s.store.WordsOn(ctx, e.Entry.Body.ID)
	if err != nil {
		return nil, err
	}
	var out []followLine
	for _, w := range words {
		later, err := s.store.Entry(ctx, w.ID)
		if err != nil {
			return nil, err
		}
		by, err := names.name(ctx, later.Entry.Body.Actor)
		if err != nil {
			return nil, err
		}
		args := map[string]string{"name": by, "date": c.ms(later.Entry.RecordedAt).Text, "reason": later.Personal["reason"]}
		code, loud := string(w.Type), false
		switch x := payloadOf(later).(type) {
		case *ledger.CorrectionPayload:
			if loud = true; x.Withdraw {
				code = "withdrawn"
			}
		case *ledger.SettlementPayload:
			switch {
			case x.Upheld:
				code, loud = "settlement_upheld", true
			case x.Stands == x.Disputes:
				code = "settlement_first"
			case x.Stands != "":
				code, args["entry"] = "settlement_stands", short(x.Stands)
			}
		case *ledger.ReplyPayload:
			args["text"] = later.Personal["text"]
		case *ledger.StandDownReviewPayload:
			args["lifts"] = later.Personal["lifts"]
		case *ledger.AssignedPayload:
			if args["to"], err = names.name(ctx, x.To); err != nil {
				return nil, err
			}
		}
		out = append(out, followLine{Text: say.Follow(code, args), Path: "/ledger/" + w.ID, Loud: loud})
		if w.Type == ledger.Corrected && depth < mostFollowed {
			more, err := s.followed(ctx, c, p, names, later, depth+1)
			if err != nil {
				return nil, err
			}
			for _, m := range more {
				m.Text = say.Follow("of_correction", map[string]string{"entry": short(w.ID), "text": m.Text})
				out = append(out, m)
			}
		}
	}
	open, err := s.store.Contested(ctx, e.Entry.Body.ID)
	if err != nil {
		return nil, err
	}
	for _, x := range open {
		opener, err := s.store.Entry(ctx, x.Opened)
		if err != nil {
			return nil, err
		}
		code := ""
		switch opener.Entry.Body.Type {
		case ledger.Disputed:
			code = "open_dispute"
		case ledger.Corrected:
			code = "open_contradiction"
		case ledger.KeyEnded:
			code = "open_key"
		case ledger.AppointmentEnded:
			code = "open_appointment"
		case ledger.DisputeSettled:
			code = "open_fallen"
		}
		if ledger.IsAuthorising(e.Entry.Body.Type) {
			code = "open_authority"
		}
		out = append(out, followLine{Text: say.Follow(code, map[string]string{"date": c.ms(opener.Entry.RecordedAt).Text}), Path: "/ledger/" + x.Opened, Loud: true})
	}
	return out, nil
}

// silence says until when silence agrees, or that it has, for a record that the apprentice may countersign; "" where that
// does not arise.
func (s *Server) silence(ctx context.Context, c clock, e *store.EntryView) (text string, open bool, err error) {
	if acts.Recorded(e) == nil {
		return "", false, nil
	}
	words, err := s.store.WordsOn(ctx, e.Entry.Body.ID)
	if err != nil {
		return "", false, err
	}
	for _, w := range words {
		switch w.Type {
		case ledger.Countersigned, ledger.Disputed, ledger.Corrected:
			return "", false, nil
		}
	}
	until, err := s.acts.CountersignUntil(ctx, e)
	if err != nil {
		return "", false, err
	}
	if open = c.today() <= until; !open {
		return say.Follow("silent", map[string]string{"date": c.day(until).Text}), false, nil
	}
	return say.Follow("may_speak", map[string]string{"date": c.day(until).Text}), true, nil
}

// entryActs are what the person who asks may do about an entry, and the ids that the forms send.
type entryActs struct {
	Countersign, Reply, Dispute, Settle, Correct, Withdraw, Review bool
	Silence                                                        string
	Candidates                                                     []choice // of corrections that contradict each other, which may stand
	Path                                                           string
	StandDown                                                      bool   // the entry is one
	Task                                                           string // where that stand-down is lifted
	Authority                                                      bool   // the entry gave somebody authority
	NoKey                                                          bool
}

// actsOn finds out what somebody may do about an entry. Rules that need more than that are asked when it is done.
func (s *Server) actsOn(ctx context.Context, c clock, names *nameBook, e *store.EntryView) (entryActs, error) {
	me, b := personFrom(ctx), e.Entry.Body
	a := entryActs{Path: "/ledger/" + b.ID, StandDown: b.Type == ledger.StandDownOrdered, NoKey: !me.CanSign()}
	if b.Subject == "" {
		return a, nil
	}
	about, err := names.person(ctx, b.Subject)
	if err != nil || about == nil {
		return a, err
	}
	task := ledger.TaskOf(payloadOf(e))
	if task == "" && b.Corrects != "" {
		if old, err := s.store.Entry(ctx, b.Corrects); err == nil {
			task = ledger.TaskOf(payloadOf(old))
		}
	}
	t := acts.Target{Person: about, Task: task, Site: b.Site}
	may := func(act acts.Act) bool {
		ok, merr := s.may(ctx, me, act, t)
		if merr != nil {
			err = merr
		}
		return ok
	}
	contested, cerr := s.store.Contested(ctx, b.ID)
	if cerr != nil {
		return a, cerr
	}
	open := len(contested) > 0
	mine := about.ID == me.ID
	silence, speaks, serr := s.silence(ctx, c, e)
	if serr != nil {
		return a, serr
	}
	a.Silence = silence
	a.Countersign = mine && silence != "" && !open && may(acts.Countersign)
	a.Reply = mine && b.Actor != me.ID && may(acts.ReplyTo)
	a.Dispute = !open && hasType(ledger.Disputable, b.Type) && (!mine || speaks || a.StandDown) && may(acts.DisputeEntry)
	party, serr := s.acts.IsParty(ctx, me.ID, e)
	if serr != nil {
		return a, serr
	}
	a.Settle = open && !party && contested[0].By != me.ID && may(acts.SettleDispute) && (!ledger.IsAuthorising(b.Type) || may(acts.ManageRoster))
	a.Authority = ledger.IsAuthorising(b.Type)
	a.Withdraw = hasType(ledger.Correctable, b.Type) && may(acts.CorrectEntry)
	a.Correct = a.Withdraw && acts.Recorded(e) != nil
	if a.StandDown && b.Actor != me.ID && may(acts.LiftStandDown) {
		down, derr := s.store.OpenStandDowns(ctx, about.ID)
		if derr != nil {
			return a, derr
		}
		for _, d := range down {
			a.Review = a.Review || d.Entry == b.ID && !d.Reviewed
		}
		a.Task = "/people/" + url.PathEscape(about.ID) + "/standing" // of all tasks
		if x, ok := payloadOf(e).(*ledger.StandDownPayload); ok && x.Task != "" {
			a.Task = taskPath(about.ID, x.Task)
		}
	}
	if a.Settle {
		live, lerr := s.store.LiveCorrections(ctx, b.ID)
		if lerr != nil {
			return a, lerr
		}
		if len(live) > 1 {
			a.Candidates = append(a.Candidates, choice{b.ID, "The entry as it was first"})
			for _, x := range live {
				by, err := names.name(ctx, x.By)
				if err != nil {
					return a, err
				}
				a.Candidates = append(a.Candidates, choice{x.Entry, "The correction by " + by + " (" + short(x.Entry) + ")"})
			}
		}
	}
	return a, err
}

func hasType(list []ledger.Type, t ledger.Type) bool {
	for _, x := range list {
		if x == t {
			return true
		}
	}
	return false
}

func anyActs(a entryActs) bool {
	return a.Countersign || a.Reply || a.Dispute || a.Settle || a.Correct || a.Withdraw || a.Review
}
