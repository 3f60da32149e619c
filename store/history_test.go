package store_test

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// chance is a random history on its way: the store, and beside it the same ledger replayed in memory.
type chance struct {
	*rapid.T
	w         *storetest.World
	state     *ledger.State
	members   []*storetest.Member
	newcomers []*storetest.Member // of the history itself
	signers   []*ledger.Signer
	entries   []string // ids
	jobs      []string
	sites     []string
	cohorts   []string
	last      int64 // recorded_at of the last entry
	rng       *rand.Rand
	windows   map[string]int // days, by programme edition
	years     map[string]map[readiness.RecordKind]int
}

// between is uniform: rapid's own numbers lean to the small ones, and would make few kinds of entries.
func (c *chance) between(low, high int) int { return low + c.rng.IntN(high-low+1) }

func pick[V any](c *chance, _ string, from []V) V {
	return from[c.between(0, len(from)-1)]
}

func (c *chance) flip(_ string, oneIn int) bool {
	return c.between(1, oneIn) == 1
}

// entry is the id of an entry, mostly one that is there.
func (c *chance) entry() string {
	if c.flip("no such entry", 20) {
		return "00000000-0000-7000-8000-000000000000"
	}
	// Late ones are more often what comes next.
	n := len(c.entries)
	if c.flip("a late one", 2) {
		n = min(n, 6)
	}
	return c.entries[len(c.entries)-1-c.between(0, n-1)]
}

// of is the id of an entry of a type, if there is one.
func (c *chance) of(types ...ledger.Type) string {
	var ids []string
	for _, id := range c.entries {
		e, _ := c.state.Entry(id)
		for _, t := range types {
			if e != nil && e.Type == t {
				ids = append(ids, id)
			}
		}
	}
	if len(ids) == 0 || c.flip("another entry", 15) {
		return c.entry()
	}
	return pick(c, "named entry", ids)
}

func (c *chance) date() string {
	d, err := ledger.Date(c.w.Clock.Now().Add(time.Duration(c.between(-20, 20))*24*time.Hour).UnixMilli(), storetest.Zone)
	if err != nil {
		c.Fatal(err)
	}
	return d
}

// submission draws an entry, sensible or not; nil if it does not even have the format.
func (c *chance) submission() *ledger.Submission {
	w := c.w
	types := ledger.Kinds()
	kind := types[c.between(1, len(types)-1)]
	task := pick(c, "task", append([]string{"hose"}, append(w.Tasks, w.Tasks...)...))
	any := func(role string) *storetest.Member {
		switch {
		case c.flip("anybody", 8):
			return pick(c, "member", c.members)
		case role == "coordinator":
			return pick(c, "coordinator", w.Coordinators)
		case role == "supervisor":
			return pick(c, "supervisor", w.Supervisors)
		}
		return pick(c, "apprentice", w.Apprentices)
	}
	h := ledger.Head{Type: kind.Type, Zone: storetest.Zone, At: w.Clock.Now().UnixMilli()}
	if c.flip("another day", 6) {
		h.At += int64(c.between(-20, 1)) * 24 * 3600 * 1000
	}
	if c.flip("a site", 4) {
		h.Site = pick(c, "site", append(c.sites, "nowhere"))
	}
	subject := any("apprentice")
	actor := any("supervisor")
	var payload interface{}
	content := map[string][]byte{}
	personal := map[string]string{}
	for _, f := range kind.Needed {
		personal[f] = f + w.ID() // log-in names differ: only the store can tell if one is taken
	}
	if kind.Reason || kind.Late() && c.flip("a reason", 2) {
		personal["reason"] = "because"
	}
	for _, name := range kind.Content {
		content[name] = []byte(fmt.Sprintf("%s %d", name, c.between(0, 5)))
	}
	var extra *ledger.Signer // the new key's
	files := map[string][]byte{}
	record := func() ledger.SignOffPayload {
		now := h.At
		return ledger.SignOffPayload{Job: pick(c, "job", append(c.jobs, w.ID())), Task: task, Programme: ledger.Hash(nil), Difficulty: "usual", Setting: "bench", Outcome: "finished",
			Started: now - 1000, Finished: now, Supervisors: []string{actor.ID}, Steps: []ledger.StepDone{{Step: task + "/s1", Result: pick(c, "result", ledger.StepResults)}}}
	}
	switch kind.Type {
	case ledger.ProgrammeAdopted:
		actor = any("coordinator")
		days := c.between(0, 20)
		years := c.between(0, 1)
		p := storetest.Programme(map[string]string{"programme.yaml": fmt.Sprintf("policy:\n  backdating_days: %d\n  retention_years: %d\n  retention: {account: 0, training: %d}\n", days, years, 1-years)})
		c.windows[p.Edition] = days
		c.years[p.Edition] = map[readiness.RecordKind]int{readiness.AccountRecord: 0, readiness.TrainingRecord: 1 - years}
		for _, kind := range readiness.RecordKinds {
			if _, said := c.years[p.Edition][kind]; !said {
				c.years[p.Edition][kind] = years
			}
		}
		content["programme"] = p.List
		for _, b := range p.Files {
			files[ledger.Hash(b)] = b
		}
		payload = ledger.ProgrammePayload{}
	case ledger.ParametersAdopted:
		actor, payload = any("coordinator"), ledger.ParametersPayload{}
	case ledger.SiteAdded:
		actor, payload = any("coordinator"), ledger.SitePayload{Site: pick(c, "site", append(c.sites, w.ID())), Name: "Shop", Zone: pick(c, "zone", []string{storetest.Zone, "Nowhere/None"})}
	case ledger.CohortAdded:
		actor, payload = any("coordinator"), ledger.CohortPayload{Cohort: pick(c, "cohort", append(c.cohorts, w.ID())), Name: "Cohort", Site: pick(c, "site", append(c.sites, "nowhere"))}
	case ledger.CohortJoined, ledger.CohortLeft:
		actor, payload = any("coordinator"), ledger.MembershipPayload{Cohort: pick(c, "cohort", append(c.cohorts, "none")), Date: c.date()}
	case ledger.PersonAdded:
		actor = any("coordinator")
		subject = &storetest.Member{ID: w.ID()}
		wrapped, err := w.Store.NewDataKey(subject.ID)
		if err != nil {
			c.Fatal(err)
		}
		content["data_key"] = wrapped
		payload = ledger.PersonPayload{}
	case ledger.PersonRenamed:
		if c.flip("oneself", 2) {
			actor = subject
		}
		personal[pick(c, "field", []string{"name", "login"})] = "new " + w.ID()
		payload = ledger.PersonPayload{}
	case ledger.RoleGranted:
		actor, subject = any("coordinator"), pick(c, "member", c.members)
		payload = ledger.RolePayload{Role: pick(c, "role", ledger.Roles), From: c.date(), Site: pick(c, "site", append(c.sites, "", "", ""))}
	case ledger.RoleEnded, ledger.AppointmentEnded, ledger.AgreementEnded:
		actor = any("coordinator")
		end := ledger.EndPayload{Ends: c.of(ledger.RoleGranted, ledger.Appointed, ledger.AgreementMade), Date: c.date()}
		if b, _ := c.state.Begun(end.Ends); b != nil && !c.flip("another's", 10) {
			subject = &storetest.Member{ID: b.Person}
		}
		payload = end
	case ledger.Appointed:
		actor, subject = any("coordinator"), any("supervisor")
		payload = ledger.AppointmentPayload{Task: task, From: c.date(), Site: pick(c, "site", append(c.sites, "", "", ""))}
	case ledger.KeyAdded:
		subject = pick(c, "member", c.members)
		actor = subject
		id := w.ID()
		k, public, sealed, err := ledger.NewKey(w.Random, id, subject.ID, "p")
		if err != nil {
			c.Fatal(err)
		}
		extra, content["sealed_key"] = k, sealed
		payload = ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}
	case ledger.KeyEnded:
		k := pick(c, "key", c.signers)
		subject = &storetest.Member{ID: k.Person}
		actor = subject
		if c.flip("by a coordinator", 2) {
			actor = any("coordinator")
		}
		payload = ledger.KeyEndedPayload{Key: k.Key, Why: pick(c, "why", ledger.KeyEnds), From: h.At + int64(c.between(-1, 3))*24*3600*1000}
	case ledger.PasswordSet:
		actor, payload = subject, ledger.PasswordPayload{}
	case ledger.AgreementMade:
		actor, payload, personal["employer"] = any("coordinator"), ledger.AgreementPayload{From: c.date()}, "Shop"
	case ledger.LeaveTaken:
		actor = any("coordinator")
		from := c.date()
		payload = ledger.LeavePayload{From: from, To: from}
	case ledger.LessonRead:
		actor, payload = subject, ledger.ReadingPayload{Lesson: "bleed", Edition: ledger.Hash(nil)}
	case ledger.TestIssued:
		actor, payload = subject, ledger.TestIssuedPayload{Task: task, Blueprint: "b", Seed: "7", Number: 1}
	case ledger.TestHandedIn:
		p := ledger.TestHandedInPayload{Test: c.of(ledger.TestIssued), Task: task, Programme: ledger.Hash(nil), Questions: []ledger.QuestionDone{}}
		if p.Voids, _ = c.state.Voids(); c.flip("marked before a void", 10) {
			p.Voids++
		}
		if e, _ := c.state.Entry(p.Test); e != nil && !c.flip("another's test", 8) {
			subject = &storetest.Member{ID: e.Subject}
			p.Task = e.Task
		}
		if c.flip("answers", 2) {
			p.Questions = append(p.Questions, ledger.QuestionDone{Question: "q", Task: task})
		}
		if c.flip("watched", 2) {
			p.WatchedBy = actor.ID
		}
		actor, payload = subject, p
	case ledger.ShopNote:
		p := ledger.ShopNotePayload{Lesson: "bleed", Step: "s2"}
		if c.flip("taken off", 2) {
			p.Removes = c.of(ledger.ShopNote, ledger.SignOff)
		} else {
			personal["note"] = "mind the hose"
		}
		actor, payload = any("coordinator"), p
	case ledger.QuestionVoided:
		tests, _ := c.state.HandedIn()
		p := ledger.QuestionVoidedPayload{Question: "q", Lesson: "bleed", Edition: pick(c, "edition", []string{"", ledger.Hash(nil)}), Restores: c.flip("restores", 3), Tests: tests, Remarked: []ledger.TestRemarked{}}
		if c.flip("too few tests", 10) {
			p.Tests--
		}
		for range c.between(0, 2) {
			r := ledger.TestRemarked{Test: c.of(ledger.TestIssued), Points: 1, Max: 1, Percent: c.between(0, 100), Passed: c.flip("passed", 2), Questions: []ledger.QuestionDone{}}
			if e, _ := c.state.Entry(r.Test); e != nil {
				r.Apprentice = e.Subject
			}
			if c.flip("answers", 2) {
				r.Questions = append(r.Questions, ledger.QuestionDone{Question: "q2", Task: task})
			}
			if r.Apprentice != "" && (len(p.Remarked) == 0 || p.Remarked[0].Test != r.Test) {
				p.Remarked = append(p.Remarked, r)
			}
		}
		actor, payload = any("coordinator"), p
	case ledger.SignOff:
		payload = record()
	case ledger.UnwatchedJob:
		actor, payload = subject, ledger.UnwatchedJobPayload{Task: task, Date: c.date()}
	case ledger.SpotCheck:
		p := ledger.SpotCheckPayload{Task: task, Finding: pick(c, "finding", ledger.CheckFinding)}
		if c.flip("of a job", 3) {
			p.Of = c.of(ledger.SignOff, ledger.UnwatchedJob, ledger.LessonRead)
		}
		payload = p
	case ledger.CaseOpened:
		p := ledger.CaseOpenedPayload{Task: task, Jobs: []string{}, People: []string{actor.ID}}
		personal["what_happened"] = "a soft pedal"
		if c.flip("a job", 2) {
			p.Jobs = append(p.Jobs, c.of(ledger.SignOff, ledger.UnwatchedJob))
		}
		if c.flip("by a coordinator", 2) {
			actor = any("coordinator")
		}
		payload = p
	case ledger.Return:
		p := ledger.ReturnPayload{Task: task, Finding: pick(c, "finding", ledger.Findings)}
		if c.flip("of a case", 2) {
			p.Case = c.of(ledger.CaseOpened)
			if e, _ := c.state.Entry(p.Case); e != nil && !c.flip("another's", 8) {
				subject = &storetest.Member{ID: e.Subject}
				p.Task = e.Task
			}
		}
		payload = p
	case ledger.ClearanceGiven:
		p := ledger.ClearancePayload{Task: task, Programme: ledger.Hash(nil), Program: "x"}
		if c.flip("until", 3) {
			p.Until = c.date()
		}
		if c.flip("a waiver", 3) {
			p.Waiver, personal["reason"] = &ledger.WaiverMade{Gates: []string{"jobs"}, Until: c.date()}, "because"
		}
		payload = p
	case ledger.StandDownOrdered:
		payload = ledger.StandDownPayload{Task: pick(c, "of", []string{"", task})}
	case ledger.StandDownSigned:
		p := ledger.StandDownSignedPayload{StandDown: c.of(ledger.StandDownOrdered)}
		if e, _ := c.state.Entry(p.StandDown); e != nil {
			subject = &storetest.Member{ID: e.Subject}
			if !c.flip("another", 5) {
				actor = &storetest.Member{ID: e.Actor}
			}
		}
		payload = p
	case ledger.Restored:
		payload = ledger.RestorePayload{Task: pick(c, "of", []string{"", task})}
	case ledger.Recognised:
		payload = ledger.RecognitionPayload{Task: task, StandsFor: []string{"jobs"}}
	case ledger.Corrected:
		h.Corrects = c.of(ledger.SignOff, ledger.Corrected, ledger.LessonRead, ledger.TestHandedIn, ledger.LeaveTaken, ledger.Return)
		e, _ := c.state.Entry(h.Corrects)
		if e != nil && !c.flip("another's", 8) {
			subject = &storetest.Member{ID: e.Subject}
		}
		if c.flip("by a coordinator", 2) {
			actor = any("coordinator")
		}
		p := ledger.CorrectionPayload{Withdraw: true}
		if e != nil && (e.Type == ledger.SignOff || e.Type == ledger.Corrected) && c.flip("replace", 2) {
			r := record()
			if e.Task != "" {
				r.Task = e.Task
			}
			p = ledger.CorrectionPayload{SignOff: &r}
		}
		payload = p
	case ledger.Countersigned, ledger.Replied, ledger.StandDownReviewed:
		id := c.of(ledger.SignOff, ledger.Corrected)
		if kind.Type == ledger.StandDownReviewed {
			id = c.of(ledger.StandDownOrdered)
		}
		if e, _ := c.state.Entry(id); e != nil {
			subject = &storetest.Member{ID: e.Subject}
		}
		switch kind.Type {
		case ledger.Countersigned:
			actor, payload = subject, ledger.CountersignedPayload{Entry: id}
		case ledger.Replied:
			actor, payload = subject, ledger.ReplyPayload{Entry: id}
		default:
			payload = ledger.StandDownReviewPayload{StandDown: id}
		}
	case ledger.Assigned:
		actor, payload = any("coordinator"), ledger.AssignedPayload{Matter: c.entry(), To: pick(c, "to", c.members).ID}
	case ledger.Disputed, ledger.DisputeSettled:
		id := c.of(ledger.SignOff, ledger.TestHandedIn, ledger.Disputed, ledger.Corrected, ledger.ClearanceGiven)
		if kind.Type == ledger.DisputeSettled && len(c.entries) > 0 && c.flip("an open one", 2) {
			for _, e := range c.entries {
				if list, _ := c.state.Disputes(e); len(list) > 0 && !list[len(list)-1].Settled {
					id = e
				}
			}
		}
		e, _ := c.state.Entry(id)
		if e != nil {
			subject = &storetest.Member{ID: e.Subject}
		}
		if kind.Type == ledger.DisputeSettled {
			p := ledger.SettlementPayload{Disputes: id, Upheld: c.flip("upheld", 2)}
			if live, _ := c.state.Corrections(id); len(live) > 1 && !p.Upheld && !c.flip("does not say", 4) {
				p.Stands = live[c.between(0, len(live)-1)].Entry
			}
			actor, payload = any(pick(c, "by", []string{"supervisor", "coordinator"})), p
		} else {
			payload = ledger.DisputePayload{Disputes: id}
		}
	case ledger.Erased:
		if !c.flip("erase", 3) { // seldom, or soon nobody is left
			return nil
		}
		p := ledger.ErasurePayload{}
		if !c.flip("as before retention was judged", 3) {
			if c.flip("a newcomer", 2) && len(c.newcomers) > 0 {
				subject = pick(c, "newcomer", c.newcomers)
			}
			keeping, err := ledger.KeepingOf(c.state, subject.ID, storetest.Zone)
			if err != nil {
				c.Fatal(err)
			}
			if p.KeptUntil = ledger.KeptUntil(keeping); p.KeptUntil != "" && c.flip("another date", 8) {
				p.KeptUntil = c.date()
			}
		}
		actor, payload = any("coordinator"), p
	case ledger.ErasedAgain:
		if !c.flip("erase", 3) {
			return nil
		}
		h := ledger.Head{Type: ledger.Erased, Zone: storetest.Zone, At: w.Clock.Now().UnixMilli(), Actor: any("coordinator").ID, Subject: subject.ID}
		lost, err := ledger.NewSubmission(w.Random, h, ledger.ErasurePayload{}, subject.ID, nil, nil)
		if err != nil {
			c.Fatal(err)
		}
		lostKind, _ := ledger.KindOf(ledger.Erased)
		c.sign(lost, lostKind, h.Actor)
		leaf, err := lost.Leaf(w.Clock.Now().UnixMilli())
		if err != nil {
			c.Fatal(err)
		}
		payload = ledger.ErasureReplayedPayload{Erasure: base64.StdEncoding.EncodeToString(leaf), Authority: []string{}}
		if !c.flip("by a person", 5) {
			actor = &storetest.Member{ID: ledger.KeyHolder}
		}
	case ledger.PutBack:
		payload = ledger.PutBackPayload{KnownSize: 7, KnownRoot: ledger.EmptyRoot.String()}
		if !c.flip("by a person", 3) {
			actor = &storetest.Member{ID: ledger.KeyHolder}
		}
	default:
		c.Fatalf("no way to draw a %s", kind.Type)
	}
	h.Actor = actor.ID
	if kind.About != ledger.AboutNobody {
		h.Subject = subject.ID
	}
	owner := h.Subject
	if owner == "" {
		owner = h.Actor
	}
	sub, err := ledger.NewSubmission(w.Random, h, payload, owner, personal, content)
	var bad *ledger.FormatError
	if errors.As(err, &bad) {
		return nil
	}
	if err != nil {
		c.Fatal(err)
	}
	sub.Files = files
	if extra != nil {
		if err := sub.Sign(extra); err != nil {
			c.Fatal(err)
		}
	}
	c.sign(sub, kind, actor.ID)
	return sub
}

// sign adds signatures: mostly those that the type needs.
func (c *chance) sign(sub *ledger.Submission, kind ledger.Kind, actor string) {
	with := func(person string) {
		var own []*ledger.Signer
		for _, k := range c.signers {
			if k.Person == person {
				own = append(own, k)
			}
		}
		if len(own) == 0 {
			return
		}
		// The same key twice is refused at signing; that is not what is drawn here.
		_ = sub.Sign(own[len(own)-1-c.between(0, min(1, len(own)-1))])
	}
	if kind.Signing == ledger.SignCoordinatorAndNewKey {
		with(pick(c, "coordinator", c.w.Coordinators).ID)
		return
	}
	if kind.Signing != ledger.SignNone && !c.flip("unsigned", 12) {
		with(actor)
	}
	if kind.Signing != ledger.SignNone && c.flip("a second", 2) || c.flip("an uncalled-for signature", 20) {
		with(pick(c, "second", c.members).ID)
	}
	if c.flip("forged", 40) && len(sub.Signatures) > 0 {
		sub.Body.HappenedAt--
	}
}

// step draws a few entries, which share a commit, and lets both judge them.
func (c *chance) step() {
	if c.flip("time passes", 2) {
		c.w.Clock.Add(time.Duration(c.between(-30, 200)) * time.Hour)
	}
	var subs []*ledger.Submission
	var want []error
	from := int64(len(c.entries))
	next := from
	for range c.between(1, 4) {
		sub := c.submission()
		if sub == nil {
			continue
		}
		leaf, err := sub.Leaf(max(c.w.Clock.Now().UnixMilli(), c.last))
		if err != nil {
			c.Fatal(err)
		}
		p, err := ledger.Parse(leaf)
		if err != nil {
			continue // the format: seen before anything else
		}
		judged := ledger.Check(p, c.state)
		subs, want = append(subs, sub), append(want, judged)
		if judged == nil {
			c.state.Apply(p)
			c.took(p, sub)
		}
	}
	receipts, errs := c.w.Store.AppendTogether(ctx, subs)
	for i, sub := range subs {
		if code(want[i]) != code(errs[i]) {
			c.Fatalf("%s: replayed, the rules say %q (%v); at append they said %q (%v)", sub.Body.Type, code(want[i]), want[i], code(errs[i]), errs[i])
		}
		if errs[i] != nil {
			continue
		}
		if receipts[i].Index != next || receipts[i].ID != sub.Body.ID {
			c.Fatalf("receipt %+v after %d entries", receipts[i], next)
		}
		next++
	}
}

// took remembers what later entries may name.
func (c *chance) took(p *ledger.Parsed, sub *ledger.Submission) {
	c.entries = append(c.entries, p.Body.ID)
	c.last = p.RecordedAt
	switch x := p.Payload.(type) {
	case *ledger.SitePayload:
		c.sites = append(c.sites, x.Site)
	case *ledger.CohortPayload:
		c.cohorts = append(c.cohorts, x.Cohort)
	case *ledger.SignOffPayload:
		c.jobs = append(c.jobs, x.Job)
	case *ledger.PersonPayload:
		if p.Body.Type == ledger.PersonAdded {
			m := &storetest.Member{ID: p.Body.Subject}
			c.members, c.newcomers = append(c.members, m), append(c.newcomers, m)
		}
	case *ledger.KeyAddedPayload:
		if k, err := ledger.Unseal(sub.Content["sealed_key"], p.Body.Subject, "p"); err == nil {
			c.signers = append(c.signers, k)
		}
	}
}

func code(err error) string {
	var r *ledger.RuleError
	if errors.As(err, &r) {
		return r.Code
	}
	if err != nil {
		return "error: " + err.Error()
	}
	return ""
}

// Whatever is appended, in whatever order: the rules say the same of the projections and of the replayed ledger; the
// projections made anew are those kept; Verify is content; and so it is after a rebuild.
func TestRandomHistories(t *testing.T) {
	accepted, refused := map[ledger.Type]int{}, map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		w := storetest.New(t, storetest.Config{Seed: rapid.Uint64().Draw(rt, "seed"), Dir: t.TempDir()})
		defer w.Store.Close()
		c := &chance{T: rt, w: w, state: ledger.NewState(), sites: []string{w.Site}, cohorts: []string{w.Cohort}, jobs: []string{"paper"}}
		c.members = append(append(append(c.members, w.Coordinators...), w.Supervisors...), w.Apprentices...)
		for _, m := range c.members {
			if m.Signer != nil {
				c.signers = append(c.signers, m.Signer)
			}
		}
		c.windows, c.years = map[string]int{}, map[string]map[readiness.RecordKind]int{} // the first programme has the default
		c.state.Retention = func(edition string, kind readiness.RecordKind) int {
			if years, ok := c.years[edition]; ok {
				return years[kind]
			}
			return ledger.DefaultRetentionYears
		}
		c.state.Backdating = func(edition string) int {
			if days, ok := c.windows[edition]; ok {
				return days
			}
			return -1
		}
		all, err := w.Store.Entries(ctx, store.EntryFilter{Limit: 1000})
		if err != nil {
			rt.Fatal(err)
		}
		for _, e := range all {
			p, err := ledger.Parse(e.Leaf)
			if err != nil {
				rt.Fatal(err)
			}
			if err := ledger.Check(p, c.state); err != nil {
				rt.Fatal(err)
			}
			c.state.Apply(p)
			c.took(p, &ledger.Submission{})
		}
		for _, seed := range rapid.SliceOfN(rapid.Uint64(), 100, 400).Draw(rt, "steps") {
			c.rng = rand.New(rand.NewPCG(seed, uint64(len(c.entries))))
			before := len(c.entries)
			c.step()
			for _, id := range c.entries[before:] {
				e, _ := c.state.Entry(id)
				accepted[e.Type]++
			}
			if len(c.entries) == before {
				refused["all of a step"]++
			}
		}
		for _, again := range []string{"as kept", "rebuilt"} {
			v, err := store.Verify(ctx, w.Options, false, nil)
			if err != nil || !v.OK {
				rt.Fatalf("%s: %+v, %v", again, v.FirstProblem, err)
			}
			if v.Entries != int64(len(c.entries)) {
				rt.Fatalf("%d entries verified of %d", v.Entries, len(c.entries))
			}
			if v, err := store.Rebuild(ctx, w.Options, false, nil); err != nil || !v.OK {
				rt.Fatalf("rebuild: %+v, %v", v, err)
			}
		}
	})
	t.Logf("accepted %v, refused %v", accepted, refused)
	for _, k := range ledger.Kinds() {
		if accepted[k.Type] == 0 && k.Type != ledger.Opening && soak() { // a tenth of the histories may miss a rare one
			t.Errorf("no history accepted a %s: the draw is too wild", k.Type)
		}
	}
}
