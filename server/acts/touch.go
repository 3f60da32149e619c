package acts

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// Touch is whom one change touches, as far as the actor may see them.
type Touch struct {
	Clearances []TouchedPerson // in force, of tasks whose lessons rest on what changes
	Tests      []TouchedPerson // passed, where the change asks for a new one
	Jobs       []TouchedJob    // signed, done by a figure that is another now
}

// TouchedPerson is an apprentice with a task.
type TouchedPerson struct {
	Apprentice *store.Person
	Task       string // id
}

// TouchedJob is a signed job.
type TouchedJob struct {
	Entry      string
	Apprentice *store.Person
	Task, Date string
	Vehicle    string   // id of a vehicle sheet, or ""
	Car        string   // title of a car described on the spot, "" if it cannot be opened
	WorkOrder  string   // plate or work order, "" if none or closed
	Readings   []string // taken at the steps concerned, as entered: "21.4 mm"
}

// Touched says whom each change of an offer touches, in the order of its changes. A clearance, test or job is listed
// exactly where it rests on what changes: clearances and tests where the change asks something of people and the task has the
// lesson (of a sheet, the layout, too); jobs where a step was done by a figure that is not what it was.
func (s *Service) Touched(ctx context.Context, actor *store.Person, o *Offer) ([]Touch, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	people, err := s.apprentices(ctx, actor, SeeStanding, "", today)
	if err != nil {
		return nil, err
	}
	return s.touched(ctx, o, people, today)
}

// TouchedAll is Touched for whoever holds the database itself: of everybody, with names only where the store has its keys.
func (s *Service) TouchedAll(ctx context.Context, o *Offer) ([]Touch, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	return s.touched(ctx, o, slices.DeleteFunc(people, func(p *store.Person) bool { return !everHeld(p, Apprentice) }), today)
}

func (s *Service) touched(ctx context.Context, o *Offer, people []*store.Person, today string) ([]Touch, error) {
	if o.Programme == nil {
		return nil, errors.New("acts: an offer without a programme touches nobody")
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	t := &toucher{s: s, f: f, offered: o.Programme, people: people}
	out := make([]Touch, len(o.Changes))
	for i, c := range o.Changes {
		if out[i], err = t.touch(ctx, c, today); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// toucher gathers once what several changes ask for.
type toucher struct {
	s        *Service
	f        *frame
	offered  *curriculum.Programme
	people   []*store.Person
	verdicts [][]readiness.Verdict // of people; nil until asked for
	jobs     []signedJob           // nil until asked for
}

func (t *toucher) touch(ctx context.Context, c curriculum.Change, today string) (out Touch, err error) {
	if c.Ask == curriculum.AskNothing && !c.OfFigure() {
		return out, nil
	}
	tasks := tasksOf(c, t.f.programme, t.offered)
	if c.Ask != curriculum.AskNothing {
		if out.Clearances, err = t.clearances(ctx, c, tasks, today); err != nil {
			return out, err
		}
	}
	if c.Ask == curriculum.AskTest {
		if out.Tests, err = t.tests(ctx, tasks); err != nil {
			return out, err
		}
	}
	if c.OfFigure() && len(c.Rests) > 0 {
		out.Jobs, err = t.jobsUnder(ctx, c)
	}
	return out, err
}

// tasksOf are the tasks, of the edition in use or the offered one, that have a lesson which a change concerns.
func tasksOf(c curriculum.Change, ps ...*curriculum.Programme) []string {
	if c.Task != "" {
		return []string{c.Task}
	}
	lessons := []string{c.Lesson}
	for _, r := range c.Rests {
		lesson, _, _ := strings.Cut(r, "/")
		lessons = append(lessons, lesson)
	}
	var out []string
	for _, p := range ps {
		for _, task := range p.Tasks {
			if !slices.Contains(out, task.ID) && slices.ContainsFunc(task.Lessons, func(l string) bool { return slices.Contains(lessons, l) }) {
				out = append(out, task.ID)
			}
		}
	}
	return out
}

func (t *toucher) clearances(ctx context.Context, c curriculum.Change, tasks []string, today string) (out []TouchedPerson, err error) {
	if t.verdicts == nil {
		if t.verdicts, err = t.s.verdictsOfAll(ctx, t.f, t.people, today); err != nil {
			return nil, err
		}
	}
	layout := ""
	if v := firstVehicle(c.Vehicle, t.f.programme, t.offered); v != nil {
		layout = v.Layout
	}
	for i, p := range t.people {
		for _, v := range t.verdicts[i] {
			if v.Standing != readiness.Cleared || !slices.Contains(tasks, v.Task) || Left(p, today) {
				continue
			}
			if l := limitsOf(v); layout != "" && len(l.Layouts) > 0 && !slices.Contains(l.Layouts, layout) {
				continue
			}
			out = append(out, TouchedPerson{p, v.Task})
		}
	}
	return out, nil
}

// firstVehicle is a sheet of the first programme that has it; nil if none does, or id is "".
func firstVehicle(id string, ps ...*curriculum.Programme) *curriculum.Vehicle {
	for _, p := range ps {
		if v := p.Vehicle(id); v != nil {
			return v
		}
	}
	return nil
}

// tests are those who passed a theory test of a task; each once a task.
func (t *toucher) tests(ctx context.Context, tasks []string) (out []TouchedPerson, err error) {
	for _, task := range tasks {
		all, err := t.s.Store.Tests(ctx, store.TestFilter{Task: task})
		if err != nil {
			return nil, err
		}
		for _, p := range t.people {
			if slices.ContainsFunc(all, func(x *store.Test) bool { return x.Apprentice == p.ID && x.Passed }) {
				out = append(out, TouchedPerson{p, task})
			}
		}
	}
	return out, nil
}

// signedJob is a sign-off as it stands: corrected ones in their last form, withdrawn ones left out.
type signedJob struct {
	view *store.EntryView
	done ledger.SignOffPayload
}

// signedJobs reads all sign-offs once, oldest first.
func (t *toucher) signedJobs(ctx context.Context) ([]signedJob, error) {
	if t.jobs != nil {
		return t.jobs, nil
	}
	at := map[string]int{}
	jobs := []signedJob{}
	const page = 1000
	for from := int64(0); ; {
		views, err := t.s.Store.Entries(ctx, store.EntryFilter{From: from, Limit: page, Types: []ledger.Type{ledger.SignOff, ledger.Corrected}})
		if err != nil {
			return nil, err
		}
		for _, v := range views {
			from = v.Index + 1
			if v.Entry.Body.Type == ledger.Corrected {
				fix, err := ledger.PayloadOf[ledger.CorrectionPayload](v.Entry.Body)
				if err != nil {
					return nil, err
				}
				i, ok := at[v.Entry.Body.Corrects]
				if !ok {
					continue
				}
				if fix.SignOff != nil {
					jobs[i].done = *fix.SignOff
				}
				if fix.Withdraw {
					jobs[i].view = nil
				}
				at[v.Entry.Body.ID] = i
				continue
			}
			done, err := ledger.PayloadOf[ledger.SignOffPayload](v.Entry.Body)
			if err != nil {
				return nil, err
			}
			at[v.Entry.Body.ID] = len(jobs)
			jobs = append(jobs, signedJob{v, done})
		}
		if len(views) < page {
			break
		}
	}
	t.jobs = slices.DeleteFunc(jobs, func(j signedJob) bool { return j.view == nil })
	return t.jobs, nil
}

// jobsUnder lists the jobs in which a step that rests on a figure was done, on the vehicle whose figure it is, under an
// edition that did not have it as it is now.
func (t *toucher) jobsUnder(ctx context.Context, c curriculum.Change) ([]TouchedJob, error) {
	jobs, err := t.signedJobs(ctx)
	if err != nil {
		return nil, err
	}
	var out []TouchedJob
	for _, j := range jobs {
		if c.Vehicle != "" && j.done.Vehicle != c.Vehicle {
			continue
		}
		who := slices.IndexFunc(t.people, func(p *store.Person) bool { return p.ID == j.view.Entry.Body.Subject })
		if who < 0 || !slices.ContainsFunc(j.done.Steps, func(s ledger.StepDone) bool { return wasDone(s) && restsOn(c, s.Step) }) {
			continue
		}
		under, err := t.s.edition(ctx, j.done.Programme)
		if err != nil {
			return nil, err
		}
		if c.HeldIn(under) {
			continue
		}
		date, err := ledger.Date(j.view.Entry.Body.HappenedAt, j.view.Entry.Body.Zone)
		if err != nil {
			return nil, err
		}
		x := TouchedJob{Entry: j.view.Entry.Body.ID, Apprentice: t.people[who], Task: j.done.Task, Date: date, Vehicle: j.done.Vehicle,
			Car: carTitle(j.view.Personal["car"]), WorkOrder: j.view.Personal["work_order"]}
		for _, r := range j.done.Readings {
			if restsOn(c, r.Step) {
				x.Readings = append(x.Readings, r.Value+" "+r.Unit)
			}
		}
		out = append(out, x)
	}
	return out, nil
}

// restsOn says whether a step as signed (LESSON/STEP[@WHEEL]) rests on what changes. On the vehicle of the change its
// wheels count; a lesson's own figure holds at every wheel.
func restsOn(c curriculum.Change, step string) bool {
	if c.Vehicle != "" {
		return slices.Contains(c.Wheels, step)
	}
	plain, _, _ := strings.Cut(step, "@")
	return slices.Contains(c.Rests, plain)
}

// carTitle is what a described car was called, "" without one.
func carTitle(car string) string {
	var c curriculum.Car
	if car == "" || json.Unmarshal([]byte(car), &c) != nil {
		return ""
	}
	return c.Title
}

func wasDone(s ledger.StepDone) bool { return s.Result != notReached && s.Result != notApplicable }

// retestAfter are, by task, the editions once adopted whose theory tests must be passed again: those from which the
// edition of today differs in the order of critical steps, or whatever else asks for a test.
func (s *Service) retestAfter(ctx context.Context, p *curriculum.Programme) (map[string][]string, error) {
	editions, err := s.adoptedEditions(ctx, p.Edition)
	if err != nil {
		return nil, err
	}
	out := map[string][]string{}
	for _, e := range editions {
		old, err := s.edition(ctx, e)
		if err != nil {
			return nil, err
		}
		for _, c := range curriculum.Diff(old, p) {
			if c.Ask != curriculum.AskTest {
				continue
			}
			for _, task := range tasksOf(c, p) {
				if !slices.Contains(out[task], e) {
					out[task] = append(out[task], e)
				}
			}
		}
	}
	return out, nil
}
