package acts

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

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
		case err == nil && old.Apprentice == r.Apprentice && old.Task == r.Task && old.Vehicle == r.Vehicle:
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
	if r.Watch {
		j.Status, j.Supervisor, j.StartedAt = store.JobWatching, actor.ID, j.CreatedAt
	}
	if sh, err := newSheet(f.programme, j); err != nil {
		return nil, err
	} else if len(sh.Lessons) == 0 {
		return nil, wrong("task", "no_procedure", "task", sh.Task.Title)
	}
	if err := s.Store.AddJob(ctx, *j); err != nil {
		return nil, translate(err)
	}
	return s.Store.Job(ctx, j.ID)
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
	return jobConflict(s.Store.UpdateJob(ctx, job, func(j *store.Job) error {
		if err := openJob(j); err != nil {
			return err
		}
		if j.Status == store.JobFinished && j.Supervisor != actor.ID {
			return conflict("job_finished")
		}
		if j.Status == store.JobWaiting {
			j.Status, j.StartedAt = store.JobWatching, s.clock()
		}
		j.Supervisor, j.Site = actor.ID, reach(actor, j.Task, j.Site, today)
		return nil
	}))
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
		if err := openJob(j); err != nil {
			return err
		}
		if j.Status != store.JobWaiting {
			return conflict("job_begun")
		}
		j.Status, j.Note = store.JobWithdrawn, note
		return nil
	}))
}
