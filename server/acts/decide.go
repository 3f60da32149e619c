package acts

import (
	"context"
	"maps"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (s *Service) clear(ctx context.Context, actor *store.Person, r ClearanceRequest) (store.Receipt, error) {
	none := store.Receipt{}
	apprentice, err := s.person(ctx, r.Apprentice)
	if err != nil {
		return none, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return none, err
	}
	at, err := s.placeOf(ctx, reach(actor, r.Task, r.Site, today))
	if err != nil {
		return none, err
	}
	if err := May(actor, GiveClearance, Target{Person: apprentice, Task: r.Task, Site: at.site, Date: at.date}); err != nil {
		return none, err
	}
	if err := May(actor, SeeStanding, Target{Person: apprentice, Task: r.Task, Date: at.date}); err != nil {
		return none, err // who decides has seen the verdict and its reasons
	}
	h := s.head(r.ID, ledger.ClearanceGiven, actor.ID, apprentice.ID, at)
	same := func(p ledger.ClearancePayload) bool {
		return p.Task == r.Task && p.Until == r.Until && slices.Equal(p.Layouts, r.Layouts) && slices.Equal(p.Holds, r.Holds) && sameWaiver(p.Waiver, r)
	}
	why, err := text("reason", r.Reason)
	if err != nil {
		return none, err
	}
	return once(ctx, s, h, same, words{"reason": why}, func() (store.Receipt, error) {
		sub, second, err := s.clearance(ctx, actor, apprentice, h, at, r)
		if err != nil {
			return none, err
		}
		signer, err := s.unlock(ctx, actor, r.Passphrase, "passphrase")
		if err != nil {
			return none, err
		}
		if err := sub.Sign(signer); err != nil {
			return none, err
		}
		if second != nil {
			also, err := s.unlock(ctx, second, r.SecondPassphrase, "second_passphrase")
			if err != nil {
				return none, err
			}
			if err := sub.Sign(also); err != nil {
				return none, err
			}
		}
		return s.submit(ctx, sub)
	})
}

// sameWaiver says whether a waiver that was made is the one asked for.
func sameWaiver(made *ledger.WaiverMade, r ClearanceRequest) bool {
	if made == nil {
		return len(r.WaiverGates) == 0 && r.WaiverUntil == ""
	}
	return made.Until == r.WaiverUntil && slices.Equal(slices.Sorted(slices.Values(made.Gates)), slices.Sorted(slices.Values(r.WaiverGates)))
}

// clearance checks a clearance by all rules and builds its entry; second is who must sign, too, or nil.
func (s *Service) clearance(ctx context.Context, actor, apprentice *store.Person, h ledger.Head, at place, r ClearanceRequest) (*ledger.Submission, *store.Person, error) {
	f, err := s.frame(ctx)
	if err != nil {
		return nil, nil, err
	}
	if Left(apprentice, at.date) {
		return nil, nil, wrong("apprentice", "apprentice_left", "name", apprentice.Name)
	}
	why, err := text("reason", r.Reason)
	if err != nil {
		return nil, nil, err
	}
	if err := checkLimits(f.programme, r, at.date); err != nil {
		return nil, nil, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return nil, nil, err
	}
	vs, err := s.fresh(ctx, f, apprentice.ID, today)
	if err != nil {
		return nil, nil, err
	}
	v, ok := verdictOf(vs, r.Task)
	if !ok {
		return nil, nil, wrong("task", "unknown_task", "task", r.Task)
	}
	if r.Seen != "" && r.Seen != VerdictHash(v) {
		return nil, nil, conflict("verdict_changed")
	}
	if err := mayBeCleared(v, r, at); err != nil {
		return nil, nil, err
	}
	waiver, err := waiverFor(v, r, why, at.date)
	if err != nil {
		return nil, nil, err
	}
	var second *store.Person
	if waiver != nil {
		if second, err = s.secondPerson(ctx, actor, apprentice, r.SecondLogin, r.Task, at); err != nil {
			return nil, nil, err
		}
	}
	version := s.Version
	if version == "" {
		version = "unknown"
	}
	sub, err := s.entry(h, ledger.ClearancePayload{
		Task: r.Task, Programme: f.programme.Edition, Program: version, Layouts: r.Layouts, Holds: r.Holds, Until: r.Until, Waiver: waiver,
	}, map[string]string{"reason": why}, map[string][]byte{
		"verdict": VerdictJSON(v), "policy": f.policy.JSON(), "parameters": f.parameters.JSON(),
	})
	return sub, second, err
}

// checkLimits refuses limits that mean nothing: layouts that no vehicle has, hold points that the task lacks, ends past.
func checkLimits(p *curriculum.Programme, r ClearanceRequest, date string) error {
	t := p.Task(r.Task)
	if t == nil {
		return wrong("task", "unknown_task", "task", r.Task)
	}
	known := p.Layouts()
	for i, l := range r.Layouts {
		if !slices.Contains(known, l) || slices.Contains(r.Layouts[:i], l) {
			return wrong("layouts", "unknown_layout", "layout", l)
		}
	}
	points := HoldPoints(p, r.Task)
	for i, key := range r.Holds {
		if !slices.ContainsFunc(points, func(h HoldPoint) bool { return h.Step == key }) || slices.Contains(r.Holds[:i], key) {
			return wrong("holds", "unknown_hold_point", "step", key)
		}
	}
	for field, d := range map[string]string{"until": r.Until, "waiver_until": r.WaiverUntil} {
		if d == "" {
			continue
		}
		if !ledger.ValidDate(d) {
			return wrong(field, "bad_date", "date", d)
		}
		if d < date {
			return wrong(field, "ends_in_past", "date", d)
		}
	}
	return nil
}

// HoldPoint is a hold point of a task.
type HoldPoint struct{ Step, Title string } // LESSON/STEP

// HoldPoints are a task's hold points in the order of its lessons.
func HoldPoints(p *curriculum.Programme, task string) []HoldPoint {
	var out []HoldPoint
	t := p.Task(task)
	if t == nil {
		return nil
	}
	for _, id := range t.Lessons {
		l := p.Lesson(id, "")
		if l == nil || l.Procedure == nil {
			continue
		}
		for _, st := range l.Procedure.Steps {
			if len(st.Children) == 0 && st.Hold {
				out = append(out, HoldPoint{Step: id + "/" + st.ID, Title: st.Title.Plain()})
			}
		}
	}
	return out
}

// mayBeCleared refuses where a clearance cannot help: somebody stood down must be restored first; who is cleared is
// cleared, unless the new clearance changes the limits or takes the place of one that is marked as waived.
func mayBeCleared(v readiness.Verdict, r ClearanceRequest, at place) error {
	switch v.Standing {
	case readiness.StoodDown:
		return conflict("stood_down")
	case readiness.Cleared:
		l := limitsOf(v)
		same := slices.Equal(l.Layouts, r.Layouts) && slices.Equal(l.Holds, r.Holds) && l.Site == at.site && v.Notes.ClearedUntil == r.Until
		if same && !v.Notes.Waived {
			return conflict("already_cleared")
		}
	case readiness.Untried:
		return conflict("untried")
	}
	return nil
}

// ClosedGates are the names of the gates that are closed, in their order.
func ClosedGates(v readiness.Verdict) []string {
	var out []string
	for _, g := range v.Gates {
		if !g.OK {
			out = append(out, g.Gate)
		}
	}
	return out
}

// waiverFor checks what a clearance asks where the verdict is not ready: every closed gate set aside by name, a reason,
// an end where a gate is set aside, and a second person. It is nil where the verdict is ready.
func waiverFor(v readiness.Verdict, r ClearanceRequest, why, date string) (*ledger.WaiverMade, error) {
	if v.Ready {
		if len(r.WaiverGates) > 0 || r.WaiverUntil != "" {
			return nil, wrong("waiver_gates", "waiver_not_needed")
		}
		return nil, nil
	}
	closed := ClosedGates(v)
	confidence := strconv.FormatFloat(v.Confidence, 'f', -1, 64)
	for _, g := range r.WaiverGates {
		if !slices.Contains(closed, g) {
			return nil, wrong("waiver_gates", "gate_not_closed", "gate", g)
		}
	}
	for _, g := range closed {
		if !slices.Contains(r.WaiverGates, g) {
			return nil, wrong("waiver_gates", "waiver_needed", "gates", strings.Join(closed, ", "), "confidence", confidence)
		}
	}
	switch {
	case why == "":
		return nil, wrong("reason", "waiver_reason_needed", "gates", strings.Join(closed, ", "), "confidence", confidence)
	case len(closed) > 0 && r.WaiverUntil == "":
		return nil, wrong("waiver_until", "waiver_end_needed")
	case r.SecondLogin == "":
		return nil, wrong("second_login", "second_needed", "gates", strings.Join(closed, ", "), "confidence", confidence)
	}
	gates := append([]string{}, closed...) // in the order of the gates, whatever the order of the request; never null
	return &ledger.WaiverMade{Gates: gates, Until: r.WaiverUntil}, nil
}

// standDown takes effect first and is signed second: a wrong passphrase must not delay it. Where only the signature
// failed, the receipt comes with a refusal stand_down_unsigned, whose Args["cause"] is the code of what failed.
func (s *Service) standDown(ctx context.Context, actor *store.Person, id, apprentice, task, why, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	p, err := s.person(ctx, apprentice)
	if err != nil {
		return none, err
	}
	at, err := s.homePlace(ctx, p)
	if err != nil {
		return none, err
	}
	if err := May(actor, OrderStandDown, Target{Person: p, Task: task, Date: at.date}); err != nil {
		return none, err
	}
	if why, err = reason("reason", why); err != nil {
		return none, err
	}
	if err := s.knownTask(ctx, task); err != nil {
		return none, err
	}
	h := s.head(id, ledger.StandDownOrdered, actor.ID, p.ID, at)
	r, err := once(ctx, s, h, func(x ledger.StandDownPayload) bool { return x.Task == task }, words{"reason": why}, func() (store.Receipt, error) {
		sub, err := s.entry(h, ledger.StandDownPayload{Task: task}, map[string]string{"reason": why}, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
	if err != nil || passphrase == "" && passkeyUse(ctx) == nil {
		return r, err
	}
	if _, err := s.signStandDown(ctx, actor, "", r.ID, passphrase); err != nil {
		if x, ok := AsRefusal(err); ok {
			unsigned := *wrong("passphrase", "stand_down_unsigned", "cause", x.Code, "left", x.Args["left"])
			unsigned.Problems = []Refusal{*x}
			return r, &unsigned
		}
		return r, err
	}
	return r, nil
}

// knownTask refuses a task that the programme lacks; "" stands for all.
func (s *Service) knownTask(ctx context.Context, task string) error {
	p, err := s.programme(ctx)
	if err == nil && task != "" && p.Task(task) == nil {
		return wrong("task", "unknown_task", "task", task)
	}
	return err
}

// homePlace is the site where an apprentice belongs.
func (s *Service) homePlace(ctx context.Context, p *store.Person) (place, error) {
	today, err := s.today(ctx)
	if err != nil {
		return place{}, err
	}
	return s.placeOf(ctx, homeSite(p, Apprentice, today))
}

func (s *Service) signStandDown(ctx context.Context, actor *store.Person, id, standDown, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	e, err := s.Store.Entry(ctx, standDown)
	if err != nil {
		return none, missing(err, "stand_down")
	}
	if e.Entry.Body.Type != ledger.StandDownOrdered {
		return none, missing(store.ErrNotFound, "stand_down")
	}
	if e.Entry.Body.Actor != actor.ID {
		return none, denied(OrderStandDown, "ordered_by_another")
	}
	p, err := s.person(ctx, e.Entry.Body.Subject)
	if err != nil {
		return none, err
	}
	at, err := s.homePlace(ctx, p)
	if err != nil {
		return none, err
	}
	if err := May(actor, OrderStandDown, Target{Person: p, Date: at.date}); err != nil {
		return none, err
	}
	if r, signed, err := s.standDownSignature(ctx, p.ID, standDown); err != nil || signed {
		return r, err
	}
	sub, err := s.entry(s.head(id, ledger.StandDownSigned, actor.ID, p.ID, at), ledger.StandDownSignedPayload{StandDown: standDown}, nil, nil)
	if err != nil {
		return none, err
	}
	signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
	if err != nil {
		return none, err
	}
	if err := sub.Sign(signer); err != nil {
		return none, err
	}
	r, err := s.submit(ctx, sub)
	if x, ok := AsRefusal(err); ok && (x.Code == "id_taken" || x.Code == "rule_"+ledger.AlreadySigned) {
		if r, signed, err := s.standDownSignature(ctx, p.ID, standDown); err != nil || signed {
			return r, err
		}
	}
	return r, err
}

// standDownSignature finds the entry that signed a stand-down.
func (s *Service) standDownSignature(ctx context.Context, apprentice, standDown string) (store.Receipt, bool, error) {
	f := store.EntryFilter{Subject: apprentice, Types: []ledger.Type{ledger.StandDownSigned}}
	for {
		es, err := s.Store.Entries(ctx, f)
		if err != nil || len(es) == 0 {
			return store.Receipt{}, false, err
		}
		for _, e := range es {
			p, err := ledger.PayloadOf[ledger.StandDownSignedPayload](e.Entry.Body)
			if err != nil {
				return store.Receipt{}, false, err
			}
			if p.StandDown == standDown {
				return store.Receipt{ID: e.Entry.Body.ID, Index: e.Index}, true, nil
			}
		}
		f.From = es[len(es)-1].Index + 1
	}
}

func (s *Service) restore(ctx context.Context, actor *store.Person, id, apprentice, task, why, passphrase string) (store.Receipt, error) {
	none := store.Receipt{}
	p, err := s.person(ctx, apprentice)
	if err != nil {
		return none, err
	}
	at, err := s.homePlace(ctx, p)
	if err != nil {
		return none, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return none, err
	}
	// Lifting a stand-down of all tasks takes authority over every one of them.
	tasks := []string{task}
	if task == "" {
		tasks = nil
		for _, t := range f.programme.Tasks {
			tasks = append(tasks, t.ID)
		}
	} else if f.programme.Task(task) == nil {
		return none, wrong("task", "unknown_task", "task", task)
	}
	for _, t := range tasks {
		if err := May(actor, LiftStandDown, Target{Person: p, Task: t, Site: at.site, Date: at.date}); err != nil {
			return none, err
		}
	}
	if why, err = reason("reason", why); err != nil {
		return none, err
	}
	if task != "" && at.site == "" {
		at.site = reach(actor, task, "", at.date)
	}
	h := s.head(id, ledger.Restored, actor.ID, p.ID, at)
	return once(ctx, s, h, func(x ledger.RestorePayload) bool { return x.Task == task }, words{"reason": why}, func() (store.Receipt, error) {
		sub, err := s.entry(h, ledger.RestorePayload{Task: task}, map[string]string{"reason": why}, nil)
		if err != nil {
			return none, err
		}
		signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
		if err != nil {
			return none, err
		}
		if err := sub.Sign(signer); err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

func (s *Service) unwatchedJob(ctx context.Context, actor *store.Person, r UnwatchedRequest) (store.Receipt, error) {
	none := store.Receipt{}
	at, err := s.homePlace(ctx, actor)
	if err != nil {
		return none, err
	}
	if err := May(actor, LogUnwatchedJob, Target{Person: actor, Task: r.Task, Date: at.date}); err != nil {
		return none, err
	}
	day, err := date("date", r.Date, at.date)
	if err != nil {
		return none, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return none, err
	}
	t := f.programme.Task(r.Task)
	switch {
	case t == nil:
		return none, wrong("task", "unknown_task", "task", r.Task)
	case day > at.date:
		return none, wrong("date", "future", "date", day)
	case day < addDays(at.date, -f.policy.BackdatingDays):
		return none, wrong("date", "too_late", "days", strconv.Itoa(f.policy.BackdatingDays), "date", day)
	}
	if err := knownVehicle(f.programme, r.Vehicle); err != nil {
		return none, err
	}
	p := ledger.UnwatchedJobPayload{Task: r.Task, Date: day, Vehicle: r.Vehicle}
	personal := map[string]string{}
	for _, x := range []struct {
		field, from string
		to          *string
	}{{"parts", r.Parts, &p.Parts}, {"fluid", r.Fluid, &p.Fluid}} {
		if *x.to, err = text(x.field, x.from); err != nil {
			return none, err
		}
	}
	if err := personalTexts(personal, "car", r.Car, "work_order", r.WorkOrder, "notes", r.Notes); err != nil {
		return none, err
	}
	h := s.head(r.ID, ledger.UnwatchedJob, actor.ID, actor.ID, at)
	same := func(x ledger.UnwatchedJobPayload) bool {
		return x.Task == p.Task && x.Date == p.Date && x.Vehicle == p.Vehicle && x.Parts == p.Parts && x.Fluid == p.Fluid
	}
	return once(ctx, s, h, same, maps.Clone(personal), func() (store.Receipt, error) {
		vs, err := s.fresh(ctx, f, actor.ID, day)
		if err != nil {
			return none, err
		}
		if v, _ := verdictOf(vs, r.Task); v.Standing != readiness.Cleared {
			return none, wrong("task", "not_cleared", "task", t.Title, "date", day)
		}
		sub, err := s.entry(h, p, personal, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// personalTexts tidies personal fields, given as names and values in turn.
func personalTexts(into map[string]string, fields ...string) error {
	for i := 0; i+1 < len(fields); i += 2 {
		v, err := text(fields[i], fields[i+1])
		if err != nil {
			return err
		}
		into[fields[i]] = v
	}
	return nil
}
