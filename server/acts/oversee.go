package acts

import (
	"context"
	"slices"

	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// What waits for somebody to decide, and what a coordinator should know of: disputes and what came into question,
// stand-downs to be reviewed, waivers, people who only sign for each other, what a supervisor who leaves leaves behind.

// Matter is something that waits for a decision.
type Matter struct {
	Entry    *store.EntryView
	About    *store.Person
	Task     string
	Opened   *store.EntryView // what opened it: a dispute, a second correction, an ended key or appointment; of a stand-down, itself
	Due      string           // date by which the policy wants it decided; "" where it says nothing
	Overdue  bool
	Owner    *store.Person // who was asked to see to it, or nil
	Unsigned bool          // a stand-down whose signature is missing
	May      bool          // the actor may decide it, as far as permission goes
}

// Matters are what waits that the actor may decide, or oversees.
type Matters struct {
	Disputes   []Matter // disputed, contradicting, in question
	StandDowns []Matter // that hold and nobody else has looked at
}

// Matters lists what waits, the oldest first.
func (s *Service) Matters(ctx context.Context, actor *store.Person) (*Matters, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	owners, err := s.Store.Owners(ctx)
	if err != nil {
		return nil, err
	}
	out := &Matters{}
	contested, err := s.Store.Contested(ctx, "")
	if err != nil {
		return nil, err
	}
	for _, x := range contested {
		m, err := s.matter(ctx, actor, SettleDispute, x.Entry, x.Opened, owners)
		if err != nil {
			return nil, err
		}
		if m == nil {
			continue
		}
		party, err := s.IsParty(ctx, actor.ID, m.Entry)
		if err != nil {
			return nil, err
		}
		m.May = m.May && x.By != actor.ID && !party && s.maySettle(ctx, actor, m.Entry.Entry.Body.Type, m.About) == nil
		out.Disputes = append(out.Disputes, *m)
	}
	downs, err := s.Store.OpenStandDowns(ctx, "")
	if err != nil {
		return nil, err
	}
	for _, x := range downs {
		if x.Reviewed {
			continue
		}
		m, err := s.matter(ctx, actor, LiftStandDown, x.Entry, x.Entry, owners)
		if err != nil {
			return nil, err
		}
		if m == nil {
			continue
		}
		m.Unsigned, m.May = !x.Signed, m.May && x.By != actor.ID
		if m.Due, err = s.ReviewUntil(ctx, m.Entry); err != nil {
			return nil, err
		}
		m.Overdue = m.Due < today
		out.StandDowns = append(out.StandDowns, *m)
	}
	return out, nil
}

// matter loads what waits; nil where it is none of the actor's business.
func (s *Service) matter(ctx context.Context, actor *store.Person, act Act, entry, opened string, owners map[string]string) (*Matter, error) {
	c, err := s.concerning(ctx, actor, act, entry)
	refused, no := AsRefusal(err)
	if err != nil && !(no && refused.Code == "not_allowed") {
		return nil, err
	}
	m := &Matter{Entry: c.view, About: c.about, Task: c.task, Opened: c.view, May: err == nil}
	if !m.May && May(actor, Oversee, Target{Person: c.about, Date: c.at.date}) != nil {
		return nil, nil
	}
	if opened != entry {
		if m.Opened, err = s.Store.Entry(ctx, opened); err != nil {
			return nil, err
		}
	}
	if id := owners[entry]; id != "" {
		if m.Owner, err = s.person(ctx, id); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// maySettle: what gave somebody authority is a coordinator's to settle.
func (s *Service) maySettle(ctx context.Context, actor *store.Person, t ledger.Type, about *store.Person) error {
	if !ledger.IsAuthorising(t) {
		return nil
	}
	return s.May(ctx, actor, ManageRoster, Target{Person: about})
}

// Doubtful are the entries in effect that were signed with a key in other hands and that no settlement can take back, for
// who oversees them.
func (s *Service) Doubtful(ctx context.Context, actor *store.Person) ([]*store.EntryView, error) {
	if err := s.May(ctx, actor, Oversee, Target{}); err != nil {
		return nil, err
	}
	all, err := s.Store.Doubtful(ctx)
	if err != nil {
		return nil, err
	}
	var out []*store.EntryView
	for _, x := range all {
		e, err := s.Store.Entry(ctx, x.Entry)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// doubtful says whether the adoption in use, of the programme or the parameters, is one of them: then it may be adopted again.
func (s *Service) doubtful(ctx context.Context, t ledger.Type) (bool, error) {
	all, err := s.Store.Doubtful(ctx)
	return slices.ContainsFunc(all, func(x store.Doubtful) bool { return x.Type == t }), err
}

// Waiver is a clearance that set gates aside, or went below the policy's confidence.
type Waiver struct {
	Entry   *store.EntryView
	About   *store.Person
	Payload ledger.ClearancePayload
	Running bool // the clearance it belongs to is in force by it today
}

// Waivers are all waivers about people whom the actor may see, the newest first.
func (s *Service) Waivers(ctx context.Context, actor *store.Person) ([]Waiver, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := May(actor, SeeWaivers, Target{Date: today}); err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	var out []Waiver
	filter := store.EntryFilter{Types: []ledger.Type{ledger.ClearanceGiven}, Limit: 1000}
	for {
		es, err := s.Store.Entries(ctx, filter)
		if err != nil {
			return nil, err
		}
		for _, e := range es {
			p, err := ledger.PayloadOf[ledger.ClearancePayload](e.Entry.Body)
			if err != nil {
				return nil, err
			}
			if p.Waiver == nil {
				continue
			}
			about, err := s.person(ctx, e.Entry.Body.Subject)
			if err != nil {
				return nil, err
			}
			if May(actor, SeeWaivers, Target{Person: about, Date: today}) != nil {
				continue
			}
			w := Waiver{Entry: e, About: about, Payload: p}
			vs, err := s.verdicts(ctx, f, about.ID, today)
			if err != nil {
				return nil, err
			}
			if v, ok := verdictOf(vs, p.Task); ok && v.Notes.Waived {
				on, err := e.Entry.Body.Date()
				if err != nil {
					return nil, err
				}
				w.Running = v.Notes.ClearedSince == on
			}
			out = append(out, w)
		}
		if len(es) < filter.Limit {
			slices.Reverse(out)
			return out, nil
		}
		filter.From = es[len(es)-1].Index + 1
	}
}

// leastPaired is from how many watched jobs on a pair is worth a coordinator's look: what a task asks by default.
const leastPaired = 5

// SignedPair is two people who only sign for each other.
type SignedPair struct {
	By, Apprentice *store.Person
	Jobs           int
	Mutual         bool
}

// Pairs are the people who only sign for each other, of those whom the actor oversees.
func (s *Service) Pairs(ctx context.Context, actor *store.Person) ([]SignedPair, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := May(actor, Oversee, Target{Date: today}); err != nil {
		return nil, err
	}
	counted, err := s.Store.SignedFor(ctx)
	if err != nil {
		return nil, err
	}
	all := make([]ledger.SignedJobs, len(counted))
	for i, c := range counted {
		all[i] = ledger.SignedJobs(c)
	}
	var out []SignedPair
	for _, p := range ledger.Pairs(all, leastPaired) {
		by, err := s.person(ctx, p.By)
		if err != nil {
			return nil, err
		}
		apprentice, err := s.person(ctx, p.Apprentice)
		if err != nil {
			return nil, err
		}
		if May(actor, Oversee, Target{Person: apprentice, Date: today}) == nil {
			out = append(out, SignedPair{by, apprentice, p.Jobs, p.Mutual})
		}
	}
	return out, nil
}

// LeftBehind is what waits for a supervisor who cannot see to it any more, or will not be able to soon.
type LeftBehind struct {
	Supervisor *store.Person
	Until      string       // last day as a supervisor, "" if the role ended or never had an end
	Jobs       []*store.Job // being watched or not signed yet
	Matters    []Matter     // given to them
}

// leavingSoon is how many days ahead a supervisor's last day is shown.
const leavingSoon = 30

// LeftBehind lists unsigned jobs, disputes and reviews of supervisors who left or are leaving.
func (s *Service) LeftBehind(ctx context.Context, actor *store.Person) ([]LeftBehind, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := May(actor, Oversee, Target{Date: today}); err != nil {
		return nil, err
	}
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	waiting, err := s.Matters(ctx, actor)
	if err != nil {
		return nil, err
	}
	var out []LeftBehind
	for _, p := range people {
		if !everHeld(p, Supervisor) || May(actor, Oversee, Target{Person: p, Date: today}) != nil {
			continue
		}
		x := LeftBehind{Supervisor: p}
		stays := slices.ContainsFunc(p.Roles, func(r store.Role) bool {
			if r.Role != Supervisor || !r.Holds(today) {
				return false
			}
			x.Until = max(x.Until, r.Until)
			return r.Until == "" || r.Until > addDays(today, leavingSoon)
		})
		if stays {
			continue
		}
		jobs, err := s.Store.Jobs(ctx, store.JobFilter{Supervisor: p.ID, Status: []store.JobStatus{store.JobWatching, store.JobFinished}, Limit: 500})
		if err != nil {
			return nil, err
		}
		x.Jobs = jobs
		for _, m := range append(slices.Clone(waiting.Disputes), waiting.StandDowns...) {
			if m.Owner != nil && m.Owner.ID == p.ID {
				x.Matters = append(x.Matters, m)
			}
		}
		if len(x.Jobs)+len(x.Matters) > 0 {
			out = append(out, x)
		}
	}
	return out, nil
}

// Assign gives what waits to somebody: a disputed entry or a stand-down, who is then asked to decide it; or a watched job
// that is not signed, which that supervisor goes on with.
func (s *Service) Assign(ctx context.Context, actor *store.Person, id, matter, to string) (store.Receipt, error) {
	none := store.Receipt{}
	owner, err := s.person(ctx, to)
	if err != nil {
		return none, err
	}
	j, err := s.Store.Job(ctx, matter)
	if err != nil && !isNotFound(err) {
		return none, err
	}
	var about *store.Person
	var at place
	if j != nil {
		if about, err = s.person(ctx, j.Apprentice); err != nil {
			return none, err
		}
		if at, err = s.placeOf(ctx, j.Site); err != nil {
			return none, err
		}
		if err := May(actor, Oversee, Target{Person: about, Date: at.date}); err != nil {
			return none, err
		}
		if May(owner, WatchJob, Target{Person: about, Task: j.Task, Site: j.Site, Date: at.date}) != nil {
			return none, wrong("to", "cannot_own", "name", owner.Name)
		}
	} else {
		c, err := s.concerning(ctx, actor, Oversee, matter)
		if err != nil {
			return none, err
		}
		about, at = c.about, c.at
		act := SettleDispute
		if c.view.Entry.Body.Type == ledger.StandDownOrdered {
			act = LiftStandDown
		}
		if s.maySettle(ctx, owner, c.view.Entry.Body.Type, about) != nil {
			return none, wrong("to", "cannot_own", "name", owner.Name)
		}
		if party, err := s.IsParty(ctx, owner.ID, c.view); err != nil {
			return none, err
		} else if party || May(owner, act, Target{Person: about, Task: c.task, Site: at.site, Date: at.date}) != nil {
			return none, wrong("to", "cannot_own", "name", owner.Name)
		}
	}
	h := s.head(id, ledger.Assigned, actor.ID, about.ID, at)
	same := func(p ledger.AssignedPayload) bool { return p.Matter == matter && p.To == to }
	return once(ctx, s, h, same, nil, func() (store.Receipt, error) {
		if j != nil {
			from := j.Supervisor
			err := jobConflict(s.Store.UpdateJob(ctx, j.ID, func(j *store.Job) error {
				if err := openJob(j); err != nil {
					return err
				}
				if j.Status == store.JobWaiting {
					return conflict("job_not_taken")
				}
				j.Supervisor = to
				return nil
			}))
			if err != nil {
				return none, err
			}
			if err := s.noteHandover(ctx, j.ID, from, owner); err != nil {
				return none, err
			}
		}
		sub, err := s.entry(h, ledger.AssignedPayload{Matter: matter, To: to}, nil, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// noteHandover writes on the sheet, for whoever reads the record later, that who signs did not see it all.
func (s *Service) noteHandover(ctx context.Context, job, from string, to *store.Person) error {
	if from == "" || from == to.ID {
		return nil
	}
	old, err := s.person(ctx, from)
	if err != nil {
		return err
	}
	id, err := s.newID()
	if err != nil {
		return err
	}
	return s.Store.AddTaps(ctx, job, []store.Tap{{ID: id, By: to.ID, At: s.ms(),
		Note: "Given to " + to.Name + " by a coordinator. What was tapped before was watched by " + old.Name + "."}})
}

// Deciders are the people who may clear an apprentice for a task today.
func (s *Service) Deciders(ctx context.Context, apprentice *store.Person, task string) ([]*store.Person, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(people, func(p *store.Person) bool {
		return May(p, GiveClearance, Target{Person: apprentice, Task: task, Site: homeSite(apprentice, Apprentice, today), Date: today}) != nil
	}), nil
}

// Due is an apprentice of whom a task waits for a decision.
type Due struct {
	Apprentice *store.Person
	Verdict    readiness.Verdict
}

// DueDecisions are the apprentices who are ready for a decision that the actor may take.
func (s *Service) DueDecisions(ctx context.Context, actor *store.Person) ([]Due, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	people, err := s.apprentices(ctx, actor, GiveClearance, "", today)
	if err != nil {
		return nil, err
	}
	people = slices.DeleteFunc(people, func(p *store.Person) bool { return Left(p, today) })
	all, err := s.verdictsOfAll(ctx, f, people, today)
	if err != nil {
		return nil, err
	}
	var out []Due
	for i, p := range people {
		for _, v := range all[i] {
			t := Target{Person: p, Task: v.Task, Site: homeSite(p, Apprentice, today), Date: today}
			if v.Standing == readiness.ReadyForDecision && May(actor, GiveClearance, t) == nil {
				out = append(out, Due{p, v})
			}
		}
	}
	return out, nil
}
