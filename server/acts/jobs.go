package acts

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"brakewright/curriculum"
	"brakewright/store"
)

// JobRow is a job in a list.
type JobRow struct {
	Job        *store.Job
	Apprentice *store.Person
	Supervisor *store.Person    // or nil
	Task       *curriculum.Task // of the job's edition
	MayWatch   bool             // the actor may take it, watch it, sign it
}

// Jobs lists jobs that the actor may see, newest first.
func (s *Service) Jobs(ctx context.Context, actor *store.Person, f store.JobFilter) ([]JobRow, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	jobs, err := s.Store.Jobs(ctx, f)
	if err != nil {
		return nil, err
	}
	people := map[string]*store.Person{}
	who := func(id string) (*store.Person, error) {
		if id == "" || people[id] != nil {
			return people[id], nil
		}
		p, err := s.person(ctx, id)
		people[id] = p
		return p, err
	}
	var out []JobRow
	for _, j := range jobs {
		p, err := who(j.Apprentice)
		if err != nil {
			return nil, err
		}
		if May(actor, SeeJob, Target{Person: p, Task: j.Task, Site: seeSite(j, actor, p), Date: today}) != nil {
			continue
		}
		r := JobRow{Job: j, Apprentice: p, MayWatch: May(actor, WatchJob, Target{Person: p, Task: j.Task, Site: j.Site, Date: today}) == nil}
		if r.Supervisor, err = who(j.Supervisor); err != nil {
			return nil, err
		}
		programme, err := s.edition(ctx, j.Programme)
		if err != nil {
			return nil, err
		}
		r.Task = programme.Task(j.Task)
		out = append(out, r)
	}
	return out, nil
}

func (s *Service) askJob(ctx context.Context, actor *store.Person, r JobRequest) (*store.Job, error) {
	apprentice, err := s.person(ctx, r.Apprentice)
	if err != nil {
		return nil, err
	}
	if err := checkID(r.ID); err != nil {
		return nil, err
	}
	site, err := s.siteOfWork(ctx, actor, apprentice, r)
	if err != nil {
		return nil, err
	}
	at, err := s.placeOf(ctx, site)
	if err != nil {
		return nil, err
	}
	act := AskForJob
	if r.Watch {
		act = WatchJob
	}
	t := Target{Person: apprentice, Task: r.Task, Site: site, Date: at.date}
	if err := May(actor, act, t); err != nil {
		return nil, err
	}
	if Left(apprentice, at.date) {
		return nil, wrong("apprentice", "apprentice_left", "name", apprentice.Name)
	}
	if !Holds(apprentice, Apprentice, at.date) {
		return nil, wrong("apprentice", "not_apprentice", "name", apprentice.Name)
	}
	if r.ID != "" {
		old, err := s.Store.Job(ctx, r.ID)
		switch {
		case err == nil && sameRequest(old, r):
			return old, nil
		case err == nil:
			return nil, conflict("id_taken")
		case !isNotFound(err):
			return nil, err
		}
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	j, err := newJob(f.programme, r)
	if err != nil {
		return nil, err
	}
	if err := s.induction(ctx, f, apprentice, r.Task, at.date); err != nil {
		return nil, err
	}
	if j.ID == "" {
		if j.ID, err = s.newID(); err != nil {
			return nil, err
		}
	}
	j.Site, j.Programme, j.CreatedAt = site, f.programme.Edition, s.clock()
	if err := s.plan(j, r); err != nil {
		return nil, err
	}
	if r.Watch {
		j.Status, j.Supervisor, j.StartedAt = store.JobWatching, actor.ID, j.CreatedAt
	}
	if sh, err := newSheet(f.programme, j); err != nil {
		return nil, err
	} else if len(sh.Lessons) == 0 {
		return nil, wrong("task", "no_procedure", "task", sh.Task.Title)
	}
	if err := s.Store.AddJob(ctx, *j); err != nil {
		return nil, s.jobRefused(ctx, err)
	}
	return s.Store.Job(ctx, j.ID)
}

// sameRequest says whether a job is what is asked for.
func sameRequest(j *store.Job, r JobRequest) bool {
	if j.Apprentice != r.Apprentice || j.Task != r.Task || j.Vehicle != r.Vehicle || r.Setting != "" && j.Setting != r.Setting ||
		j.WorkOrder != strings.TrimSpace(r.WorkOrder) || j.Bay != strings.TrimSpace(r.Bay) || (len(j.Car) > 0) != (r.Car != nil) {
		return false
	}
	if r.Car == nil {
		return true
	}
	var car curriculum.Car
	if err := json.Unmarshal(j.Car, &car); err != nil {
		return false
	}
	kept, err1 := json.Marshal(car)
	asked, err2 := json.Marshal(r.Car)
	return err1 == nil && err2 == nil && bytes.Equal(kept, asked)
}

// longestPlan is how far ahead a job may be asked for.
const longestPlan = 120 * 24 * time.Hour

// plan keeps the time for which a job is wanted; one that has just passed is now.
func (s *Service) plan(j *store.Job, r JobRequest) error {
	if r.Planned.IsZero() || r.Watch {
		return nil
	}
	at := r.Planned.UTC().Truncate(time.Millisecond)
	switch wait := at.Sub(j.CreatedAt); {
	case wait < -15*time.Minute:
		return wrong("planned", "planned_past")
	case wait > longestPlan:
		return wrong("planned", "planned_far", "days", strconv.Itoa(int(longestPlan.Hours()/24)))
	case wait > 0:
		j.PlannedAt = at
	}
	return nil
}

// siteOfWork is where the work is done: as said, else where the apprentice belongs, else where the supervisor does.
func (s *Service) siteOfWork(ctx context.Context, actor, apprentice *store.Person, r JobRequest) (string, error) {
	today, err := s.today(ctx)
	if err != nil {
		return "", err
	}
	switch home := homeSite(apprentice, Apprentice, today); {
	case r.Site != "":
		return r.Site, nil
	case home != "":
		return home, nil
	case r.Watch:
		return homeSite(actor, Supervisor, today), nil
	}
	return "", nil
}

// newJob checks what was asked for and makes a waiting job of it.
func newJob(p *curriculum.Programme, r JobRequest) (*store.Job, error) {
	if p.Task(r.Task) == nil {
		return nil, wrong("task", "unknown_task", "task", r.Task)
	}
	j := &store.Job{ID: r.ID, Apprentice: r.Apprentice, Task: r.Task, Vehicle: r.Vehicle, Setting: r.Setting, Difficulty: usual, Status: store.JobWaiting}
	switch {
	case r.Vehicle == "" && r.Car == nil, r.Vehicle != "" && r.Car != nil:
		return nil, wrong("vehicle", "vehicle_or_car")
	case r.Car == nil:
		if err := knownVehicle(p, r.Vehicle); err != nil {
			return nil, err
		}
	default:
		if err := checkCar(p, *r.Car); err != nil {
			return nil, err
		}
		raw, err := json.Marshal(r.Car)
		if err != nil {
			return nil, err
		}
		j.Car = raw
	}
	if j.Setting == "" {
		j.Setting = trainingVehicle
		if r.Car != nil {
			j.Setting = customersCar
		}
	}
	if !slices.Contains(settings, j.Setting) {
		return nil, wrong("setting", "unknown_setting", "setting", j.Setting)
	}
	var err error
	if j.WorkOrder, err = text("work_order", r.WorkOrder); err != nil {
		return nil, err
	}
	if j.Bay, err = text("bay", r.Bay); err != nil {
		return nil, err
	}
	for field, v := range map[string]string{"work_order": j.WorkOrder, "bay": j.Bay} {
		if len(v) > 200 || strings.ContainsAny(v, "\n\t") {
			return nil, wrong(field, "text_too_long")
		}
	}
	return j, nil
}

// mostCarText bounds what is written about a car on the spot, in bytes a field.
const mostCarText = 300

// checkCar refuses a described car with every fault at once. Each figure says where it was read: a limit without a
// source is worth nothing to who judges by it.
func checkCar(p *curriculum.Programme, c curriculum.Car) error {
	v, problems := c.Vehicle(p)
	r := refuse(http.StatusUnprocessableEntity, "car_problems")
	r.Field = "car"
	for _, x := range problems {
		if x.Severity == curriculum.Error || v == nil {
			one := *wrong("car."+x.Args["field"], "car_"+strings.TrimPrefix(x.Code, "car_"))
			maps.Copy(one.Args, x.Args)
			r.Problems = append(r.Problems, one)
		}
	}
	written := map[string]string{"car.title": c.Title}
	for i, w := range c.Wheels {
		written[fmt.Sprintf("car.wheels[%d].name", i)] = w.Name
	}
	for i, f := range c.Figures {
		written[fmt.Sprintf("car.figures[%d].source", i)] = f.Source
	}
	for _, field := range slices.Sorted(maps.Keys(written)) {
		if v, err := text(field, written[field]); err != nil {
			r.Problems = append(r.Problems, *wrong(field, "bad_text"))
		} else if len(v) > mostCarText {
			r.Problems = append(r.Problems, *wrong(field, "text_too_long"))
		}
	}
	for i, f := range c.Figures {
		field := fmt.Sprintf("car.figures[%d].source", i)
		told := slices.ContainsFunc(r.Problems, func(x Refusal) bool { return x.Field == field })
		if strings.TrimSpace(f.Source) == "" && !told {
			r.Problems = append(r.Problems, *wrong(field, "car_missing", "field", fmt.Sprintf("figures[%d].source", i)))
		}
	}
	if len(r.Problems) > 0 {
		return r
	}
	return nil
}

// mayWatch asks for the permission to watch a job where and when it is done.
func (s *Service) mayWatch(ctx context.Context, actor *store.Person, act Act, j *store.Job, apprentice *store.Person) error {
	at, err := s.placeOf(ctx, j.Site)
	if err != nil {
		return err
	}
	return May(actor, act, Target{Person: apprentice, Task: j.Task, Site: j.Site, Date: at.date})
}

func (s *Service) takeJob(ctx context.Context, actor *store.Person, job string) error {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return err
	}
	if err := s.mayWatch(ctx, actor, WatchJob, j, apprentice); err != nil {
		return err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return err
	}
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	if Left(apprentice, today) {
		return conflict("apprentice_left", "name", apprentice.Name)
	}
	if f.programme.Task(j.Task) != nil {
		if err := s.induction(ctx, f, apprentice, j.Task, today); err != nil {
			return err
		}
	}
	if err := openJob(j); err != nil {
		return err
	}
	var taps []store.Tap
	if j.Supervisor != "" && j.Supervisor != actor.ID {
		over, err := s.event(actor, "taken")
		if err != nil {
			return err
		}
		over.To = j.Supervisor
		taps = append(taps, over)
	}
	return s.jobRefused(ctx, s.Store.TapAndUpdate(ctx, job, taps, func(j *store.Job, _ []store.Tap) error {
		if err := openJob(j); err != nil {
			return err
		}
		if j.Status == store.JobFinished && j.Supervisor != actor.ID {
			return conflict("job_finished")
		}
		if j.Status == store.JobWaiting {
			j.Status, j.StartedAt = store.JobWatching, s.clock()
		}
		j.Supervisor, j.Site, j.AskedOf = actor.ID, reach(actor, j.Task, j.Site, today), ""
		return nil
	}))
}

// event is a tap that the server makes itself.
func (s *Service) event(actor *store.Person, what string) (store.Tap, error) {
	id, err := s.newID()
	return store.Tap{ID: id, By: actor.ID, At: s.ms(), Event: what}, err
}

// acceptJob: a supervisor promises to watch a job that waits, at its time.
func (s *Service) acceptJob(ctx context.Context, actor *store.Person, job string) error {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return err
	}
	if err := s.mayWatch(ctx, actor, WatchJob, j, apprentice); err != nil {
		return err
	}
	if err := stillWaiting(j); err != nil {
		return err
	}
	said, err := s.event(actor, "accepted")
	if err != nil {
		return err
	}
	if j.AskedOf == actor.ID && !j.AcceptedAt.IsZero() {
		return nil
	}
	return s.jobRefused(ctx, s.Store.TapAndUpdate(ctx, job, []store.Tap{said}, func(j *store.Job, _ []store.Tap) error {
		if err := stillWaiting(j); err != nil {
			return err
		}
		j.AskedOf, j.AcceptedAt = actor.ID, s.clock()
		return nil
	}))
}

// passJobOn hands a waiting request to another supervisor, or with "" back to all.
func (s *Service) passJobOn(ctx context.Context, actor *store.Person, job, to, why string) error {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return err
	}
	if err := s.mayWatch(ctx, actor, WatchJob, j, apprentice); err != nil {
		return err
	}
	if to != "" {
		other, err := s.Store.Person(ctx, to)
		if err != nil && !isNotFound(err) {
			return err
		}
		if err != nil || to == actor.ID || s.mayWatch(ctx, other, WatchJob, j, apprentice) != nil {
			return wrong("to", "cannot_watch")
		}
	}
	if err := stillWaiting(j); err != nil {
		return err
	}
	said, err := s.event(actor, "passed_on")
	if err != nil {
		return err
	}
	if said.Reason, err = reason("reason", why); err != nil {
		return err
	}
	said.To = to
	return s.jobRefused(ctx, s.Store.TapAndUpdate(ctx, job, []store.Tap{said}, func(j *store.Job, _ []store.Tap) error {
		if err := stillWaiting(j); err != nil {
			return err
		}
		j.AskedOf, j.AcceptedAt = to, time.Time{}
		return nil
	}))
}

// Watchers are the supervisors who may watch a job: to whom it can be passed on.
func (s *Service) Watchers(ctx context.Context, job string) ([]*store.Person, error) {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return nil, err
	}
	all, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	var out []*store.Person
	for _, p := range all {
		if err := s.mayWatch(ctx, p, WatchJob, j, apprentice); err == nil {
			out = append(out, p)
		} else if _, refused := AsRefusal(err); !refused {
			return nil, err
		}
	}
	return out, nil
}

func stillWaiting(j *store.Job) error {
	if err := openJob(j); err != nil {
		return err
	}
	if j.Status != store.JobWaiting {
		return conflict("job_begun")
	}
	return nil
}

// jobRefused says what the store refuses about a job: above all that the apprentice is at another car already, with the
// other job's number, task and supervisor.
func (s *Service) jobRefused(ctx context.Context, err error) error {
	var active *store.ActiveJobError
	if !errors.As(err, &active) {
		return jobConflict(err)
	}
	j, apprentice, err := s.theJob(ctx, active.Job)
	if err != nil {
		return err
	}
	task := j.Task
	if p, err := s.edition(ctx, j.Programme); err == nil && p.Task(j.Task) != nil {
		task = p.Task(j.Task).Title
	}
	args := []string{"job", j.ID, "number", strconv.Itoa(j.Number), "name", apprentice.Name, "task", task}
	if j.Supervisor != "" {
		sup, err := s.person(ctx, j.Supervisor)
		if err != nil {
			return err
		}
		args = append(args, "supervisor", sup.Name)
	}
	return conflict("at_another_job", args...)
}

func (s *Service) jobByNumber(ctx context.Context, actor *store.Person, number string) (*store.Job, error) {
	n, err := strconv.Atoi(strings.TrimPrefix(strings.TrimSpace(number), "#"))
	if err != nil || n < 1 {
		return nil, wrong("number", "bad_job_number", "number", number)
	}
	j, err := s.Store.JobByNumber(ctx, n)
	if err != nil {
		return nil, missing(err, "job")
	}
	p, err := s.person(ctx, j.Apprentice)
	if err != nil {
		return nil, err
	}
	if s.May(ctx, actor, SeeJob, Target{Person: p, Task: j.Task, Site: seeSite(j, actor, p)}) != nil {
		return nil, missing(store.ErrNotFound, "job") // numbers count up: nobody learns which there are
	}
	return j, nil
}

// longestPaper is how long a job on paper may have run: longer ones are slips of the pen.
const longestPaper = 120 * 24 * time.Hour

// fromPaper says that a job was watched on its printed sheet.
func (s *Service) fromPaper(ctx context.Context, actor *store.Person, job string, from, to time.Time) error {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return err
	}
	if err := s.mayWatch(ctx, actor, WatchJob, j, apprentice); err != nil {
		return err
	}
	from, to = from.UTC().Truncate(time.Millisecond), to.UTC().Truncate(time.Millisecond)
	switch {
	case from.IsZero():
		return wrong("from", "time_needed")
	case to.IsZero():
		return wrong("to", "time_needed")
	case to.After(s.clock()):
		return wrong("to", "paper_future")
	case !from.Before(to):
		return wrong("to", "paper_order")
	case to.Sub(from) > longestPaper:
		return wrong("from", "paper_long", "days", strconv.Itoa(int(longestPaper.Hours()/24)))
	}
	if err := openJob(j); err != nil {
		return err
	}
	if j.Status != store.JobWaiting && j.Supervisor != actor.ID {
		return conflict("not_watching")
	}
	taps, err := s.Store.Taps(ctx, job)
	if err != nil {
		return err
	}
	if j.Status != store.JobWaiting && j.PaperEnd.IsZero() && len(live(taps)) > 0 && slices.ContainsFunc(live(taps), func(t store.Tap) bool { return t.Event == "" }) {
		return conflict("paper_has_taps")
	}
	if err := s.freeThen(ctx, j, apprentice, from, to); err != nil {
		return err
	}
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	return s.jobRefused(ctx, s.Store.UpdateJob(ctx, job, func(j *store.Job) error {
		if err := openJob(j); err != nil {
			return err
		}
		if j.Status != store.JobWaiting && j.Supervisor != actor.ID {
			return conflict("not_watching")
		}
		if j.Status == store.JobFinished {
			return conflict("job_finished")
		}
		j.Status, j.Supervisor, j.Site, j.AskedOf = store.JobWatching, actor.ID, reach(actor, j.Task, j.Site, today), ""
		j.StartedAt, j.PaperEnd, j.PausedAt = from, to, time.Time{}
		return nil
	}))
}

// freeThen refuses a stretch of time in which the apprentice was at another car.
func (s *Service) freeThen(ctx context.Context, j *store.Job, apprentice *store.Person, from, to time.Time) error {
	others, err := s.Store.Jobs(ctx, store.JobFilter{Apprentice: j.Apprentice, Status: []store.JobStatus{store.JobWatching, store.JobFinished, store.JobSigned}})
	if err != nil {
		return err
	}
	for _, o := range others {
		if o.ID == j.ID || o.StartedAt.IsZero() || !o.StartedAt.Before(to) || !o.FinishedAt.IsZero() && !o.FinishedAt.After(from) {
			continue
		}
		taps, err := s.Store.Taps(ctx, o.ID)
		if err != nil {
			return err
		}
		sh, err := s.sheet(ctx, o, apprentice, taps)
		if err != nil {
			return err
		}
		for _, x := range sh.Active(s.ms()) {
			if x.From < to.UnixMilli() && from.UnixMilli() < x.To {
				return conflict("paper_overlaps", "number", strconv.Itoa(o.Number), "name", apprentice.Name, "task", sh.Task.Title)
			}
		}
	}
	return nil
}

// openJob refuses a job that is past changing.
func openJob(j *store.Job) error {
	switch j.Status {
	case store.JobSigned:
		return conflict("job_signed")
	case store.JobWithdrawn:
		return conflict("job_withdrawn")
	}
	return nil
}

func (s *Service) declineJob(ctx context.Context, actor *store.Person, job, why string) error {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return err
	}
	if err := s.mayWatch(ctx, actor, WatchJob, j, apprentice); err != nil {
		return err
	}
	if why, err = reason("reason", why); err != nil {
		return err
	}
	return s.putAside(ctx, job, why)
}

func (s *Service) withdrawJob(ctx context.Context, actor *store.Person, job string) error {
	j, apprentice, err := s.theJob(ctx, job)
	if err != nil {
		return err
	}
	if err := s.May(ctx, actor, AskForJob, Target{Person: apprentice, Task: j.Task}); err != nil {
		return err
	}
	return s.putAside(ctx, job, "")
}

// putAside takes a request back that nobody has begun to watch.
func (s *Service) putAside(ctx context.Context, job, note string) error {
	return jobConflict(s.Store.UpdateJob(ctx, job, func(j *store.Job) error {
		if err := stillWaiting(j); err != nil {
			return err
		}
		j.Status, j.Note = store.JobWithdrawn, note
		return nil
	}))
}
