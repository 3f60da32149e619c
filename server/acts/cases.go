package acts

import (
	"context"
	"maps"
	"slices"
	"strconv"
	"strings"

	"brakewright/store"
	"brakewright/store/ledger"
)

// After the clearance: spot checks of finished work, and cars that came back.

// decision is what a finding against somebody who is cleared takes then and there: nothing, a stand-down, or a reason to
// keep the clearance.
type decision struct {
	why       string
	standDown bool
}

// decided asks for the decision where one is needed.
func (s *Service) decided(ctx context.Context, p *store.Person, task string, needed bool, d *CriticalDecision) (decision, error) {
	if !needed {
		return decision{}, nil
	}
	f, err := s.frame(ctx)
	if err != nil {
		return decision{}, err
	}
	cleared, err := s.isCleared(ctx, f, p, task)
	if err != nil || !cleared {
		return decision{}, err
	}
	if d == nil {
		title := task
		if t := f.programme.Task(task); t != nil {
			title = t.Title
		}
		return decision{}, wrong("decision", "decision_needed", "name", p.Name, "task", title)
	}
	why, err := reason("decision_reason", d.Reason)
	return decision{why, d.StandDown}, err
}

// kept says whether the clearance is kept after what speaks against it.
func (d decision) kept() bool { return d.why != "" && !d.standDown }

// keptBecause begins the reason of whoever keeps a clearance.
const keptBecause = "The clearance is kept: "

// sayKept is the reason that stands in an entry whose signer keeps the clearance.
func (d decision) sayKept() string {
	if !d.kept() {
		return ""
	}
	return keptBecause + d.why
}

// withStandDown submits a signed entry, with the stand-down that was decided in the same transaction.
func (s *Service) withStandDown(ctx context.Context, sub *ledger.Submission, signer *ledger.Signer, d decision, task string, at place) (store.Receipt, error) {
	if err := sub.Sign(signer); err != nil {
		return store.Receipt{}, err
	}
	subs := []*ledger.Submission{sub}
	if d.standDown {
		actor, subject := sub.Body.Actor, sub.Body.Subject
		ordered, err := s.entry(s.head("", ledger.StandDownOrdered, actor, subject, at), ledger.StandDownPayload{Task: task}, map[string]string{"reason": d.why}, nil)
		if err != nil {
			return store.Receipt{}, err
		}
		signed, err := s.entry(s.head("", ledger.StandDownSigned, actor, subject, at), ledger.StandDownSignedPayload{StandDown: ordered.Body.ID}, nil, nil)
		if err != nil {
			return store.Receipt{}, err
		}
		if err := signed.Sign(signer); err != nil {
			return store.Receipt{}, err
		}
		subs = append(subs, ordered, signed)
	}
	rs, err := s.submitAll(ctx, subs...)
	if err != nil {
		return store.Receipt{}, err
	}
	return rs[0], nil
}

func (s *Service) spotCheck(ctx context.Context, actor *store.Person, r SpotCheckRequest) (store.Receipt, error) {
	none := store.Receipt{}
	p, err := s.person(ctx, r.Apprentice)
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
	if f.programme.Task(r.Task) == nil {
		return none, wrong("task", "unknown_task", "task", r.Task)
	}
	if err := May(actor, CheckWork, Target{Person: p, Task: r.Task, Site: at.site, Date: at.date}); err != nil {
		return none, err
	}
	if !slices.Contains(ledger.CheckFinding, r.Finding) {
		return none, wrong("finding", "unknown_finding", "finding", r.Finding)
	}
	if r.Of != "" {
		e, err := s.Store.Entry(ctx, r.Of)
		if err != nil {
			return none, missing(err, "job")
		}
		if t := taskOf(e); e.Entry.Body.Subject == p.ID && t != "" && t != r.Task { // what else is wrong with it the ledger's rules say
			return none, wrong("of", "rule_"+ledger.OtherTask, "task", r.Task)
		}
	}
	at.site = reach(actor, r.Task, at.site, at.date)
	h := s.head(r.ID, ledger.SpotCheck, actor.ID, p.ID, at)
	same := func(x ledger.SpotCheckPayload) bool {
		return x.Task == r.Task && x.Finding == r.Finding && x.Of == r.Of
	}
	personal := map[string]string{}
	if err := personalTexts(personal, "car", r.Car, "work_order", r.WorkOrder, "notes", r.Notes); err != nil {
		return none, err
	}
	return once(ctx, s, h, same, maps.Clone(personal), func() (store.Receipt, error) {
		d, err := s.decided(ctx, p, r.Task, r.Finding == "unsafe", r.Decision)
		if err != nil {
			return none, err
		}
		personal["reason"] = d.sayKept()
		if r.Finding != "sound" && personal["notes"] == "" {
			return none, wrong("notes", "finding_needs_words")
		}
		sub, err := s.entry(h, ledger.SpotCheckPayload{Task: r.Task, Finding: r.Finding, Of: r.Of, Kept: d.kept()}, personal, nil)
		if err != nil {
			return none, err
		}
		signer, err := s.unlock(ctx, actor, r.Passphrase, "passphrase")
		if err != nil {
			return none, err
		}
		return s.withStandDown(ctx, sub, signer, d, r.Task, at)
	})
}

// ---- cars that came back ----

// mayOpenCases says whether somebody may look for work on a car at all.
func mayOpenCases(actor *store.Person, date string) error {
	return May(actor, OpenCase, Target{Date: date})
}

func (s *Service) findWork(ctx context.Context, actor *store.Person, what string) ([]*store.EntryView, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := mayOpenCases(actor, today); err != nil {
		return nil, err
	}
	what = strings.TrimSpace(what)
	if what == "" {
		return nil, wrong("q", "search_needed")
	}
	all, err := s.Store.FindWork(ctx, what)
	if err != nil {
		return nil, err
	}
	if e, err := s.workByNumber(ctx, what); err != nil {
		return nil, err
	} else if e != nil && !slices.ContainsFunc(all, func(x *store.EntryView) bool { return x.Entry.Body.ID == e.Entry.Body.ID }) {
		all = append(all, e)
	}
	var out []*store.EntryView
	for _, e := range all {
		p, err := s.person(ctx, e.Entry.Body.Subject)
		if err != nil {
			return nil, err
		}
		if May(actor, OpenCase, Target{Person: p, Site: e.Entry.Body.Site, Date: today}) == nil {
			out = append(out, e)
		}
	}
	return out, nil
}

// workByNumber finds a signed job by its number, nil if there is none.
func (s *Service) workByNumber(ctx context.Context, what string) (*store.EntryView, error) {
	n, err := strconv.Atoi(strings.TrimPrefix(what, "#"))
	if err != nil || n < 1 {
		return nil, nil
	}
	j, err := s.Store.JobByNumber(ctx, n)
	if isNotFound(err) || err == nil && j.SignOff == "" {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return s.Store.Entry(ctx, j.SignOff)
}

// peopleOf are all who stand in the record of a job: whose it was, who watched, who released it by signing.
func peopleOf(e *store.EntryView) ([]string, error) {
	out := []string{e.Entry.Body.Subject, e.Entry.Body.Actor}
	if e.Entry.Body.Type == ledger.SignOff {
		x, err := ledger.PayloadOf[ledger.SignOffPayload](e.Entry.Body)
		if err != nil {
			return nil, err
		}
		out = append(out, x.Supervisors...)
		for _, h := range x.Holds {
			out = append(out, h.By)
		}
	}
	return out, nil
}

func (s *Service) openCase(ctx context.Context, actor *store.Person, r CaseRequest) (store.Receipt, error) {
	none := store.Receipt{}
	if len(r.Jobs) > 50 {
		return none, wrong("jobs", "too_many_jobs")
	}
	payload := ledger.CaseOpenedPayload{Task: r.Task, Jobs: []string{}}
	apprentice, personal := r.Apprentice, map[string]string{}
	var people []string
	site := ""
	taskFits := len(r.Jobs) == 0
	for _, id := range r.Jobs {
		e, err := s.Store.Entry(ctx, id)
		if err != nil {
			return none, missing(err, "job")
		}
		b := e.Entry.Body
		switch {
		case b.Type != ledger.SignOff && b.Type != ledger.UnwatchedJob:
			return none, wrong("jobs", "not_a_job")
		case apprentice != "" && b.Subject != apprentice:
			return none, wrong("jobs", "jobs_of_several")
		}
		apprentice, site = b.Subject, b.Site
		who, err := peopleOf(e)
		if err != nil {
			return none, err
		}
		people = append(people, who...)
		if payload.Task == "" {
			payload.Task = taskOf(e)
		}
		taskFits = taskFits || payload.Task == taskOf(e)
		payload.Jobs = append(payload.Jobs, id)
		for _, f := range []string{"work_order", "car"} {
			if personal[f] == "" {
				personal[f] = e.Personal[f]
			}
		}
	}
	if apprentice == "" {
		return none, wrong("apprentice", "whose_work")
	}
	if !taskFits { // a finding would count against a task that nobody did on this car
		return none, wrong("task", "rule_"+ledger.OtherTask, "task", payload.Task)
	}
	p, err := s.person(ctx, apprentice)
	if err != nil {
		return none, err
	}
	at, err := s.homePlace(ctx, p)
	if err != nil {
		return none, err
	}
	if site != "" {
		if at, err = s.placeOf(ctx, site); err != nil {
			return none, err
		}
	}
	f, err := s.frame(ctx)
	if err != nil {
		return none, err
	}
	if f.programme.Task(payload.Task) == nil {
		return none, wrong("task", "unknown_task", "task", payload.Task)
	}
	if err := May(actor, OpenCase, Target{Person: p, Task: payload.Task, Site: at.site, Date: at.date}); err != nil {
		return none, err
	}
	for _, x := range append([]string{p.ID, actor.ID}, people...) {
		if !slices.Contains(payload.People, x) {
			payload.People = append(payload.People, x)
		}
	}
	if r.Complaint, err = reason("complaint", r.Complaint); err != nil {
		return none, err
	}
	given := map[string]string{}
	if err := personalTexts(given, "car", r.Car, "work_order", r.WorkOrder, "notes", r.Notes, "what_happened", r.Complaint); err != nil {
		return none, err
	}
	for f, v := range given {
		if v != "" {
			personal[f] = v
		}
	}
	h := s.head(r.ID, ledger.CaseOpened, actor.ID, p.ID, at)
	same := func(x ledger.CaseOpenedPayload) bool {
		return x.Task == payload.Task && slices.Equal(x.Jobs, payload.Jobs)
	}
	return once(ctx, s, h, same, maps.Clone(personal), func() (store.Receipt, error) {
		sub, err := s.entry(h, payload, personal, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// taskOf is the task of a job's entry.
func taskOf(e *store.EntryView) string {
	if x, err := ledger.PayloadOf[ledger.SignOffPayload](e.Entry.Body); err == nil {
		return x.Task
	}
	if x, err := ledger.PayloadOf[ledger.UnwatchedJobPayload](e.Entry.Body); err == nil {
		return x.Task
	}
	return ""
}

func (s *Service) closeCase(ctx context.Context, actor *store.Person, r FindingRequest) (store.Receipt, error) {
	none := store.Receipt{}
	c, p, err := s.theCase(ctx, r.Case)
	if err != nil {
		return none, err
	}
	at, err := s.placeOf(ctx, c.Site)
	if err != nil {
		return none, err
	}
	if err := May(actor, CloseCase, Target{Person: p, Task: c.Task, Site: c.Site, Date: at.date}); err != nil {
		return none, err
	}
	if !slices.Contains(ledger.Findings, r.Finding) {
		return none, wrong("finding", "unknown_finding", "finding", r.Finding)
	}
	what, err := reason("what", r.What)
	if err != nil {
		return none, err
	}
	h := s.head(r.ID, ledger.Return, actor.ID, p.ID, at)
	same := func(x ledger.ReturnPayload) bool { return x.Case == c.Entry && x.Finding == r.Finding }
	return once(ctx, s, h, same, words{"what_happened": what}, func() (store.Receipt, error) {
		if c.Closed != "" {
			return none, conflict("case_closed")
		}
		d, err := s.decided(ctx, p, c.Task, r.Finding == "our_work", r.Decision)
		if err != nil {
			return none, err
		}
		opened, err := s.Store.Entry(ctx, c.Entry)
		if err != nil {
			return none, err
		}
		personal := map[string]string{"what_happened": what, "reason": d.sayKept(), "car": opened.Personal["car"], "work_order": opened.Personal["work_order"]}
		sub, err := s.entry(h, ledger.ReturnPayload{Task: c.Task, Finding: r.Finding, Case: c.Entry, Kept: d.kept()}, personal, nil)
		if err != nil {
			return none, err
		}
		signer, err := s.unlock(ctx, actor, r.Passphrase, "passphrase")
		if err != nil {
			return none, err
		}
		return s.withStandDown(ctx, sub, signer, d, c.Task, at)
	})
}

func (s *Service) theCase(ctx context.Context, id string) (*store.Case, *store.Person, error) {
	all, err := s.Store.Cases(ctx, false)
	if err != nil {
		return nil, nil, err
	}
	for i := range all {
		if all[i].Entry == id {
			p, err := s.person(ctx, all[i].Person)
			return &all[i], p, err
		}
	}
	return nil, nil, missing(store.ErrNotFound, "case")
}

// seeCase: the same people who may open one.
func seeCase(actor *store.Person, c store.Case, p *store.Person, date string) error {
	return May(actor, OpenCase, Target{Person: p, Task: c.Task, Site: c.Site, Date: date})
}

func (s *Service) listCases(ctx context.Context, actor *store.Person, openOnly bool) ([]CaseView, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := mayOpenCases(actor, today); err != nil {
		return nil, err
	}
	all, err := s.Store.Cases(ctx, openOnly)
	if err != nil {
		return nil, err
	}
	var out []CaseView
	for _, c := range all {
		p, err := s.person(ctx, c.Person)
		if err != nil {
			return nil, err
		}
		if seeCase(actor, c, p, today) != nil {
			continue
		}
		v, err := s.viewCase(ctx, actor, c, p, today, false)
		if err != nil {
			return nil, err
		}
		out = append(out, *v)
	}
	return out, nil
}

func (s *Service) caseView(ctx context.Context, actor *store.Person, id string) (*CaseView, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	c, p, err := s.theCase(ctx, id)
	if err != nil {
		return nil, err
	}
	if err := seeCase(actor, *c, p, today); err != nil {
		return nil, err
	}
	return s.viewCase(ctx, actor, *c, p, today, true)
}

func (s *Service) viewCase(ctx context.Context, actor *store.Person, c store.Case, p *store.Person, today string, whole bool) (*CaseView, error) {
	v := &CaseView{Case: c, Apprentice: p}
	var err error
	if v.Opened, err = s.Store.Entry(ctx, c.Entry); err != nil {
		return nil, err
	}
	if c.Closed != "" {
		if v.Closed, err = s.Store.Entry(ctx, c.Closed); err != nil {
			return nil, err
		}
	}
	if !whole {
		return v, nil
	}
	x, err := ledger.PayloadOf[ledger.CaseOpenedPayload](v.Opened.Entry.Body)
	if err != nil {
		return nil, err
	}
	for _, id := range x.Jobs {
		e, err := s.Store.Entry(ctx, id)
		if err != nil {
			return nil, err
		}
		v.Jobs = append(v.Jobs, e)
	}
	v.MayClose = c.Closed == "" && May(actor, CloseCase, Target{Person: p, Task: c.Task, Site: c.Site, Date: today}) == nil
	v.MayStand = May(actor, OrderStandDown, Target{Person: p, Task: c.Task, Site: c.Site, Date: today}) == nil
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	v.Decide, err = s.isCleared(ctx, f, p, c.Task)
	return v, err
}
