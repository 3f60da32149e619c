// Package demo makes an invented training centre with five months of history, through the same acts as real use: the
// same checks, signatures and commits, under a clock that it moves itself. The same seed and end give the same history.
package demo

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"time"

	"brakewright/curriculum"
	"brakewright/curriculum/brakes"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// days is the length of the history.
const days = 150

// Options of Build.
type Options struct {
	Store   store.Options // Database and Keys; Now and Random are the demo's own while it builds
	Seed    uint64
	End     time.Time // the history ends here
	Version string
	// Progress is told the day of the history that was made last; may be nil.
	Progress func(done, total int)
}

// Credential is one demo person's log-in.
type Credential struct {
	ID         string   `json:"id"`
	Name       string   `json:"name"`
	Roles      []string `json:"roles"`
	Login      string   `json:"login"`
	Password   string   `json:"password"`
	Passphrase string   `json:"passphrase"`
}

// Build makes the database and its history. It refuses an existing database, as store.Create does.
func Build(ctx context.Context, o Options) ([]Credential, error) {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return nil, err
	}
	end := o.End.In(loc)
	b := &builder{
		ctx: ctx, loc: loc, end: end,
		first:  time.Date(end.Year(), end.Month(), end.Day()-days, 0, 0, 0, 0, loc),
		random: newRandom(o.Seed),
		who:    map[string]*Credential{},
		site:   map[int]string{}, cohort: map[int]string{},
	}
	b.rng = rand.New(rand.NewChaCha8(sha256.Sum256(fmt.Appendf(nil, "choices %d", o.Seed))))
	o.Store.Now, o.Store.Random = b.clock.now, b.random
	b.clock.set(b.at(0, 7, 0))
	b.tell()
	if err := b.found(o); err != nil {
		return nil, fmt.Errorf("demo: founding the centre: %w", err)
	}
	defer b.store.Close()
	b.acts = acts.New(b.store, b.clock.now, b.random, o.Version)
	b.acts.KeepKeysUnlocked()
	if err := b.hire(); err != nil {
		return nil, fmt.Errorf("demo: the roster: %w", err)
	}
	for d := 1; d < days; d++ {
		if err := b.day(d); err != nil {
			return nil, fmt.Errorf("demo: day %d: %w", d, err)
		}
		if o.Progress != nil {
			o.Progress(d+1, days)
		}
	}
	if err := b.today(); err != nil {
		return nil, fmt.Errorf("demo: the last morning: %w", err)
	}
	if o.Progress != nil {
		o.Progress(days, days)
	}
	out := make([]Credential, 0, len(b.order))
	for _, login := range b.order {
		out = append(out, *b.who[login])
	}
	return out, nil
}

// clock is the history's own clock.
type clock struct{ ms atomic.Int64 }

func (c *clock) now() time.Time      { return time.UnixMilli(c.ms.Load()).UTC() }
func (c *clock) set(t time.Time)     { c.ms.Store(max(t.UnixMilli(), c.ms.Load())) }
func (c *clock) add(d time.Duration) { c.ms.Add(d.Milliseconds()) }

// newRandom is a reader that gives the same bytes for the same seed, so that a demo can be made again.
func newRandom(seed uint64) *rand.ChaCha8 {
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], seed)
	return rand.NewChaCha8(sha256.Sum256(append([]byte("brakewright demo "), b[:]...)))
}

type builder struct {
	ctx    context.Context
	loc    *time.Location
	first  time.Time // midnight of day 0
	end    time.Time
	clock  clock
	random *rand.ChaCha8
	rng    *rand.Rand
	store  *store.Store
	acts   *acts.Service
	prog   *curriculum.Programme
	who    map[string]*Credential // by login
	order  []string
	site   map[int]string
	cohort map[int]string
	ways   []*way

	stories []apprentice
}

// way is a plan on its way.
type way struct {
	who     *apprentice
	index   int // of the apprentice
	plan    *plan
	stage   string // read, test, jobs, clear, alone, down, restore, done
	due     int
	jobs    int
	alone   int
	lastDay *int // the apprentice's last day with a job
}

func (b *builder) at(day, hour, minute int) time.Time {
	return time.Date(b.first.Year(), b.first.Month(), b.first.Day()+day, hour, minute, 0, 0, b.loc)
}

func (b *builder) date(day int) string { return b.at(day, 12, 0).Format(time.DateOnly) }

func (b *builder) person(login string) (*store.Person, error) {
	return b.store.Person(b.ctx, b.who[login].ID)
}

func (b *builder) found(o Options) error {
	var problems []curriculum.Problem
	if b.prog, problems = curriculum.Load(brakes.FS); b.prog == nil {
		return fmt.Errorf("the embedded programme has problems: %v", problems)
	}
	c := b.credential(coordinatorName, coordinatorLogin, "coordinator")
	s, err := acts.Found(b.ctx, o.Store, store.Founding{
		Origin: origin, Title: centreTitle, Zone: zone, Name: c.Name, Login: c.Login,
		Password: c.Password, Passphrase: c.Passphrase, Demo: true,
	}, brakes.FS)
	if err != nil {
		return err
	}
	b.store = s
	p, err := s.PersonByLogin(b.ctx, c.Login)
	if err != nil {
		return err
	}
	c.ID = p.ID
	return nil
}

// words make passwords that a person can type from the screen.
var words = strings.Fields(`anvil bobbin cedar dowel ember flint gravel hazel ingot jigsaw kettle lantern mallet nettle orchard
	pebble quarry rivet saddle timber umber violet walnut yarrow basalt copper thistle marble bracken sorrel girder spindle`)

func (b *builder) phrase(n int) string {
	var out []string
	for range n {
		out = append(out, words[b.rng.IntN(len(words))])
	}
	return strings.Join(out, " ")
}

func (b *builder) credential(name, login, role string) *Credential {
	c := &Credential{Name: name, Login: login, Roles: []string{role}, Password: b.phrase(4), Passphrase: b.phrase(4)}
	b.who[login] = c
	b.order = append(b.order, login)
	return c
}

// enter is a person's first log-in: code, password, signing key.
func (b *builder) enter(login, code string) error {
	c := b.who[login]
	token, p, err := b.acts.LogInWithCode(b.ctx, login, code, "127.0.0.1")
	if err != nil {
		return err
	}
	if err := b.acts.SetPassword(b.ctx, p, token, "", c.Password); err != nil {
		return err
	}
	if err := b.acts.RequestKey(b.ctx, p, c.Passphrase); err != nil {
		return err
	}
	b.clock.add(time.Minute)
	return b.acts.LogOut(b.ctx, token)
}

// add puts people on the roster and lets them in.
func (b *builder) add(people ...acts.NewPerson) error {
	boss, err := b.person(coordinatorLogin)
	if err != nil {
		return err
	}
	for i := range people {
		id, err := ledger.NewID(b.random, b.clock.now().UnixMilli())
		if err != nil {
			return err
		}
		people[i].ID = id
		b.credential(people[i].Name, people[i].Login, people[i].Role).ID = id
	}
	codes, err := b.acts.AddPeople(b.ctx, boss, people, b.who[coordinatorLogin].Passphrase)
	if err != nil {
		return err
	}
	for _, p := range people {
		b.clock.add(time.Minute)
		if err := b.enter(p.Login, codes[p.Login]); err != nil {
			return fmt.Errorf("%s: %w", p.Login, err)
		}
	}
	return nil
}

// confirm lets the coordinator sign the keys that wait.
func (b *builder) confirm() error {
	boss, err := b.person(coordinatorLogin)
	if err != nil {
		return err
	}
	waiting, err := b.store.KeyRequests(b.ctx)
	if err != nil || len(waiting) == 0 {
		return err
	}
	var ids []string
	for _, w := range waiting {
		ids = append(ids, w.Person)
	}
	b.clock.add(time.Minute)
	return b.acts.ConfirmKeys(b.ctx, boss, ids, b.who[coordinatorLogin].Passphrase)
}

// hire makes sites, cohorts, supervisors and the first apprentices.
func (b *builder) hire() error {
	boss, err := b.person(coordinatorLogin)
	if err != nil {
		return err
	}
	for i, p := range places {
		if b.site[i], err = b.acts.AddSite(b.ctx, boss, p.name, zone); err != nil {
			return err
		}
		if b.cohort[i], err = b.acts.AddCohort(b.ctx, boss, p.cohort, b.site[i]); err != nil {
			return err
		}
	}
	var people []acts.NewPerson
	for _, s := range supervisors {
		people = append(people, acts.NewPerson{Name: s.name, Login: s.login, Role: "supervisor", Site: b.site[s.site]})
	}
	if err := b.add(people...); err != nil {
		return err
	}
	if err := b.confirm(); err != nil {
		return err
	}
	for _, s := range supervisors {
		tasks := s.tasks
		if tasks == nil {
			for _, t := range b.prog.Tasks {
				tasks = append(tasks, t.ID)
			}
		}
		for _, t := range tasks {
			b.clock.add(time.Minute)
			err := b.acts.Appoint(b.ctx, boss, b.who[s.login].ID, store.Appointment{Task: t, Site: b.site[s.site], From: b.date(0), Qualification: s.qualified}, b.who[coordinatorLogin].Passphrase)
			if err != nil {
				return fmt.Errorf("appointing %s: %w", s.login, err)
			}
		}
	}
	return b.join(0)
}

// join lets the apprentices of a day in.
func (b *builder) join(day int) error {
	var people []acts.NewPerson
	for i := range b.stories {
		a := &b.stories[i]
		if a.joined != day {
			continue
		}
		people = append(people, acts.NewPerson{Name: a.name, Login: a.login, Role: "apprentice", Site: b.site[a.place], Cohort: b.cohort[a.place], Employer: places[a.place].name + " Motor Works", From: b.date(day)})
		last := -1
		for j := range a.plans {
			b.ways = append(b.ways, &way{who: a, index: i, plan: &a.plans[j], stage: "read", due: a.plans[j].start, lastDay: &last})
		}
	}
	if len(people) == 0 {
		return nil
	}
	if err := b.add(people...); err != nil {
		return err
	}
	if day >= days-5 {
		return nil // the newest one's key still waits for the coordinator
	}
	return b.confirm()
}

func (b *builder) day(d int) error {
	if b.weekend(d) {
		return nil
	}
	b.clock.set(b.at(d, 8, 0))
	if err := b.join(d); err != nil {
		return err
	}
	if err := b.leavers(d); err != nil {
		return err
	}
	steps := []func(int, *way) error{b.study, b.assess, nil, b.decide, b.workAlone, b.standDown}
	for _, step := range steps {
		if step == nil {
			if err := b.watch(d); err != nil {
				return err
			}
			if err := b.workshop(d); err != nil {
				return fmt.Errorf("in the workshop: %w", err)
			}
			b.clock.set(b.at(d, 17, 30))
			continue
		}
		for _, w := range b.ways {
			if b.absent(w.who, d) {
				continue
			}
			if err := step(d, w); err != nil {
				return fmt.Errorf("%s, %s: %w", w.who.login, w.plan.task, err)
			}
		}
	}
	return b.contest(d)
}

func (b *builder) absent(a *apprentice, d int) bool {
	return a.leaves > 0 && d >= a.leaves || a.away[0] > 0 && d >= a.away[0] && d <= a.away[1]
}

// leavers tells the roster of leave and leaving on the day it begins.
func (b *builder) leavers(d int) error {
	boss, err := b.person(coordinatorLogin)
	if err != nil {
		return err
	}
	for i := range b.stories {
		a := &b.stories[i]
		if a.away[0] == d {
			if err := b.acts.TakeLeave(b.ctx, boss, b.who[a.login].ID, b.date(d), b.date(a.away[1])); err != nil {
				return err
			}
		}
		if a.leaves != d {
			continue
		}
		p, err := b.person(a.login)
		if err != nil {
			return err
		}
		for _, g := range p.Agreements {
			if err := b.acts.EndAgreement(b.ctx, boss, p.ID, g.Entry, b.date(d)); err != nil {
				return err
			}
		}
	}
	return nil
}

// workday is the day itself, or the Monday after a weekend.
func (b *builder) workday(d int) int {
	for b.weekend(d) {
		d++
	}
	return d
}

func (b *builder) weekend(d int) bool {
	wd := b.at(d, 12, 0).Weekday()
	return wd == time.Saturday || wd == time.Sunday
}

// tell copies the stories with their fixed days moved to workdays; 0 stays: nothing happens then.
func (b *builder) tell() {
	b.stories = append([]apprentice(nil), apprentices...)
	for i := range b.stories {
		a := &b.stories[i]
		a.plans = append([]plan(nil), a.plans...)
		for _, day := range []*int{&a.joined, &a.leaves, &a.away[0]} {
			if *day > 0 {
				*day = b.workday(*day)
			}
		}
	}
}

func (b *builder) study(d int, w *way) error {
	if w.stage != "read" || w.due > d {
		return nil
	}
	p, err := b.person(w.who.login)
	if err != nil {
		return err
	}
	for _, id := range b.prog.Task(w.plan.task).Lessons {
		b.clock.add(7 * time.Minute)
		if _, err := b.acts.Read(b.ctx, p, "", id, b.prog.Lesson(id, "en").Edition); err != nil {
			return err
		}
	}
	w.stage, w.due = "test", d+1
	if w.plan.noTest {
		w.stage = "jobs"
	}
	return nil
}

func (b *builder) assess(d int, w *way) error {
	if w.stage != "test" || w.due > d {
		return nil
	}
	policy := b.prog.Policy.Task(w.plan.task)
	if policy.TheoryTest == nil {
		w.stage, w.due = "jobs", d+1
		return nil
	}
	p, err := b.person(w.who.login)
	if err != nil {
		return err
	}
	b.clock.add(3 * time.Minute)
	vehicle := b.prog.Vehicles[w.index%len(b.prog.Vehicles)].ID
	test, form, err := b.acts.StartTest(b.ctx, p, "", w.plan.task, vehicle)
	if err != nil {
		return err
	}
	if policy.TheoryTest.Watched {
		sup, err := b.person(b.supervisorOf(w, 0).login)
		if err != nil {
			return err
		}
		if err := b.acts.WatchTest(b.ctx, sup, test.ID, true); err != nil {
			return err
		}
	}
	for i := range form.Questions {
		b.clock.add(40 * time.Second)
		q := &form.Questions[i]
		right := q.Critical || i != 3
		if w.plan.failTest {
			right = i%3 == 0
		}
		if err := b.acts.Answer(b.ctx, p, test.ID, q.ID, answer(q, right, b.rng)); err != nil {
			return err
		}
	}
	marks, _, err := b.acts.HandIn(b.ctx, p, "", test.ID)
	if err != nil {
		return err
	}
	if marks.Passed != nil && !*marks.Passed && !w.plan.failTest {
		return fmt.Errorf("the test was not passed: %d %%", marks.Percent)
	}
	if w.plan.failTest {
		w.plan.failTest, w.due = false, d+6
		return nil
	}
	w.stage, w.due = "jobs", d+1
	return nil
}

// supervisorOf picks who watches the n-th job: supervisors of the place take turns.
func (b *builder) supervisorOf(w *way, n int) *supervisor {
	var can []*supervisor
	for i := range supervisors {
		if s := &supervisors[i]; s.site < 0 || s.site == w.who.place {
			can = append(can, s)
		}
	}
	return can[(n+w.index)%len(can)]
}

// session is one watched job of a day.
type session struct {
	way  *way
	job  *store.Job
	by   *supervisor
	from time.Time

	planned time.Time // zero: at once
	byFoot  bool      // on a car that can be bled by foot
}

// stopsAtOnce says whether work by foot ends on a car as soon as somebody sees that it is by-wire.
func stopsAtOnce(task string, car *curriculum.Vehicle) bool {
	return (task == bleeding || task == master) && car.Has([]string{"by-wire"}, "")
}

func (b *builder) watch(d int) error {
	var todo []*session
	for _, w := range b.ways {
		if w.stage != "jobs" || w.due > d || b.absent(w.who, d) || *w.lastDay == d {
			continue
		}
		if w.jobs >= w.plan.jobs {
			w.stage = "clear"
			if !w.plan.clear {
				w.stage = "done"
			}
			continue
		}
		*w.lastDay = d
		todo = append(todo, &session{way: w, by: b.supervisorOf(w, w.jobs)})
	}
	for _, s := range todo {
		if err := b.ask(d, s); err != nil {
			return fmt.Errorf("%s asks for %s: %w", s.way.who.login, s.way.plan.task, err)
		}
	}
	for i, s := range todo {
		b.clock.set(b.at(d, 9, 5*i%55))
		sup, err := b.person(s.by.login)
		if err != nil {
			return err
		}
		s.from = b.clock.now()
		if err := b.acts.TakeJob(b.ctx, sup, s.job.ID); err != nil {
			return err
		}
	}
	b.clock.set(b.at(d, 15, 30))
	bySupervisor := map[string][]string{}
	for _, s := range todo {
		if err := b.tap(s, s.way.jobs+1 == s.way.plan.critical, s.way.jobs < s.way.plan.prompted); err != nil {
			return fmt.Errorf("%s, %s: %w", s.way.who.login, s.way.plan.task, err)
		}
		s.way.jobs++
		s.way.due = d + s.way.plan.every
		bySupervisor[s.by.login] = append(bySupervisor[s.by.login], s.job.ID)
	}
	for i := range supervisors {
		login := supervisors[i].login
		if len(bySupervisor[login]) == 0 {
			continue
		}
		b.clock.add(4 * time.Minute)
		sup, err := b.person(login)
		if err != nil {
			return err
		}
		if _, err := b.acts.SignJobs(b.ctx, sup, nil, bySupervisor[login], b.who[login].Passphrase, nil); err != nil {
			return fmt.Errorf("%s signs: %w", login, err)
		}
	}
	return nil
}

func (b *builder) ask(d int, s *session) error {
	p, err := b.person(s.way.who.login)
	if err != nil {
		return err
	}
	b.clock.add(time.Minute)
	n := s.way.jobs + s.way.index
	if s.way.plan.layouts == 1 {
		n = 0
	}
	if s.byFoot && stopsAtOnce(s.way.plan.task, b.prog.Vehicles[n%len(b.prog.Vehicles)]) {
		n++
	}
	s.job, err = b.acts.AskJob(b.ctx, p, acts.JobRequest{
		Apprentice: p.ID, Task: s.way.plan.task, Vehicle: b.prog.Vehicles[n%len(b.prog.Vehicles)].ID,
		Site: b.site[s.way.who.place], Bay: fmt.Sprint(1 + (n+d)%6), Planned: s.planned,
	})
	return err
}

// tap fills in a job's sheet between its start and now.
func (b *builder) tap(s *session, critical, prompted bool) error {
	sup, err := b.person(s.by.login)
	if err != nil {
		return err
	}
	sheet, err := b.acts.Job(b.ctx, sup, s.job.ID)
	if err != nil {
		return err
	}
	taps, ended, err := b.taps(sheet, s, critical, prompted)
	if err != nil {
		return err
	}
	if _, err := b.acts.Tap(b.ctx, sup, s.job.ID, taps); err != nil {
		return err
	}
	stopped := stopsAtOnce(s.way.plan.task, sheet.Vehicle)
	if s.by.bulk && !stopped {
		id, err := ledger.NewID(b.random, b.clock.now().UnixMilli())
		if err != nil {
			return err
		}
		if _, err := b.acts.RestUnaided(b.ctx, sup, s.job.ID, id); err != nil {
			return err
		}
	}
	done, err := b.newTap(ended)
	if err != nil {
		return err
	}
	done.Outcome = "finished"
	if stopped {
		done.Outcome, done.Note = "rightly_stopped", "By-wire: not for this work. Stopped where the sheet says so."
	}
	if s.way.jobs > 8 {
		done.Difficulty = "awkward"
	}
	_, err = b.acts.Tap(b.ctx, sup, s.job.ID, []store.Tap{done})
	return err
}

func (b *builder) newTap(at time.Time) (store.Tap, error) {
	id, err := ledger.NewID(b.random, b.clock.now().UnixMilli())
	return store.Tap{ID: id, At: at.UnixMilli()}, err
}

// taps are the single taps of a sheet: every critical step and hold point, and the others too unless the supervisor
// marks those in one tap.
func (b *builder) taps(sheet *acts.JobSheet, s *session, critical, prompted bool) (out []store.Tap, ended time.Time, err error) {
	at, stopped := s.from, stopsAtOnce(s.way.plan.task, sheet.Vehicle)
	for _, l := range sheet.Lessons {
		for i := range l.Steps {
			st := &l.Steps[i]
			at = at.Add(time.Duration(60+b.rng.IntN(120)) * time.Second)
			own := st.Step.Critical || st.Step.Hold
			for _, m := range st.Measures {
				value, ok := b.reading(l.Lesson, st, m, sheet.Vehicle)
				if !ok {
					continue
				}
				t, err := b.newTap(at)
				if err != nil {
					return nil, at, err
				}
				t.Step, t.Reading = st.Key, &store.TapReading{Measure: m.Number, Value: value, Unit: string(m.Unit)}
				out = append(out, t)
			}
			if st.Step.Hold {
				t, err := b.newTap(at)
				if err != nil {
					return nil, at, err
				}
				t.Step, t.Hold = st.Key, "accepted"
				out = append(out, t)
			}
			if s.by.bulk && !own {
				continue
			}
			t, err := b.newTap(at)
			if err != nil {
				return nil, at, err
			}
			t.Step, t.Result = st.Key, "unaided"
			switch {
			case prompted && i%9 == s.way.jobs%9:
				t.Result = "prompted"
			case critical && st.Step.Critical:
				t.Result, t.CriticalError, critical = "taken_over", true, false
				t.WhatHappened = "Went on without this step and would have let the car go. The supervisor stopped the work and did it."
			}
			out = append(out, t)
			if stopped && (strings.HasSuffix(st.Key, "/by-foot") || strings.HasSuffix(st.Key, "/codes")) {
				return out, at.Add(time.Minute), nil
			}
		}
	}
	return out, at.Add(time.Duration(60+b.rng.IntN(240)) * time.Second), nil
}

// reading is a value that the limit allows.
func (b *builder) reading(l *curriculum.Lesson, st *acts.SheetStep, m acts.SheetMeasure, v *curriculum.Vehicle) (string, bool) {
	if m.Number > len(st.Step.Measures) {
		return "", false
	}
	f, ok := l.Limit(st.Step.Measures[m.Number-1], v, st.Axle)
	if !ok {
		return "", false
	}
	return within(f), true
}

func (b *builder) decide(d int, w *way) error {
	if w.stage != "clear" && (w.stage != "jobs" || *w.lastDay != d) || !w.plan.clear || w.jobs == 0 {
		return nil // looked at on the evening of a job
	}
	s := &supervisors[0]
	sup, err := b.person(s.login)
	if err != nil {
		return err
	}
	apprentice := b.who[w.who.login].ID
	verdicts, err := b.acts.Standings(b.ctx, sup, apprentice)
	if err != nil {
		return err
	}
	v := verdictOf(verdicts, w.plan.task)
	closed := closedGates(v)
	if !v.Ready && (len(w.plan.waive) == 0 || w.jobs < 8 || !subset(closed, w.plan.waive)) {
		return nil
	}
	r := acts.ClearanceRequest{Apprentice: apprentice, Task: w.plan.task, Passphrase: b.who[s.login].Passphrase, Reason: "Watched on several cars; works in order and stops to check."}
	if w.plan.limit {
		r.Layouts = []string{b.prog.Vehicles[0].Layout}
		r.Holds = b.someHold(w.plan.task)
		r.Reason = "Sure on this layout; the last check is still watched."
	}
	if w.plan.term > 0 {
		r.Until = b.date(d + w.plan.term)
		r.Reason = "Cleared for the spring work; to be looked at again after it."
	}
	if !v.Ready {
		r.WaiverGates, r.WaiverUntil = closed, b.date(days+40)
		r.SecondLogin, r.SecondPassphrase = coordinatorLogin, b.who[coordinatorLogin].Passphrase
		r.Reason = "No second layout comes to this shop until spring."
		r.Layouts = []string{b.prog.Vehicles[0].Layout}
	}
	b.clock.add(3 * time.Minute)
	if _, err := b.acts.Clear(b.ctx, sup, r); err != nil {
		return err
	}
	w.stage, w.due = "alone", d+5
	return nil
}

// someHold is the last hold point of a task's lessons.
func (b *builder) someHold(task string) []string {
	var last string
	for _, id := range b.prog.Task(task).Lessons {
		l := b.prog.Lesson(id, "en")
		if l.Procedure == nil {
			continue
		}
		for _, s := range l.Procedure.Steps {
			if s.Hold {
				last = id + "/" + s.ID
			}
		}
	}
	if last == "" {
		return nil
	}
	return []string{last}
}

func (b *builder) workAlone(d int, w *way) error {
	if w.stage != "alone" || w.due > d {
		return nil
	}
	if w.alone >= w.plan.alone {
		w.stage = "done"
		if w.plan.down {
			w.stage, w.due = "down", days-16
		}
		return nil
	}
	p, err := b.person(w.who.login)
	if err != nil {
		return err
	}
	b.clock.add(time.Minute)
	if _, err := b.acts.UnwatchedJob(b.ctx, p, acts.UnwatchedRequest{Task: w.plan.task, Date: b.date(d)}); err != nil {
		return err
	}
	w.alone++
	w.due = d + 8
	return nil
}

func (b *builder) standDown(d int, w *way) error {
	if w.due > d {
		return nil
	}
	apprentice := b.who[w.who.login]
	switch w.stage {
	case "down":
		s := &supervisors[1]
		sup, err := b.person(s.login)
		if err != nil {
			return err
		}
		b.clock.add(2 * time.Minute)
		_, err = b.acts.StandDown(b.ctx, sup, "", apprentice.ID, w.plan.task, "A joint was found finger-tight on a finished car. No harm was done.", b.who[s.login].Passphrase)
		if err != nil {
			return err
		}
		w.stage, w.due = "done", days
		if w.plan.restored {
			w.stage, w.due = "restore", d+7
		}
	case "restore":
		s := &supervisors[0]
		sup, err := b.person(s.login)
		if err != nil {
			return err
		}
		b.clock.add(2 * time.Minute)
		_, err = b.acts.Restore(b.ctx, sup, "", apprentice.ID, w.plan.task, "The joint was traced to another hand. Talked through and shown again.", b.who[s.login].Passphrase)
		if err != nil {
			return err
		}
		w.stage = "done"
	}
	return nil
}

// today leaves work in every state for the visitor: asked for, being watched, finished and unsigned; a test begun.
func (b *builder) today() error {
	b.clock.set(b.end.Add(-150 * time.Minute))
	live := []struct {
		login string
		plan  plan
		state string
	}{
		{"juniper", plan{task: bleeding}, "waiting"},
		{"freya", plan{task: caliper}, "watching"},
		{"bryony", plan{task: master}, "finished"},
		{"caspar", plan{task: bleeding}, "waiting"},
		{"anselm", plan{task: master}, "paused"},
		{"gideon", plan{task: bleeding}, "planned"},
	}
	for i, x := range live {
		w := b.wayOf(x.login, x.plan.task)
		if w == nil {
			return fmt.Errorf("no story of %s with %s", x.login, x.plan.task)
		}
		s := &session{way: w, by: &supervisors[i%2], byFoot: true}
		if x.state == "planned" {
			s.planned = b.at(days+1, 10, 30)
		}
		if err := b.ask(days, s); err != nil {
			return err
		}
		if x.state == "planned" {
			sup, err := b.person(s.by.login)
			if err != nil {
				return err
			}
			if err := b.acts.AcceptJob(b.ctx, sup, s.job.ID); err != nil {
				return err
			}
		}
		if x.state == "waiting" || x.state == "planned" {
			continue
		}
		sup, err := b.person(s.by.login)
		if err != nil {
			return err
		}
		b.clock.add(2 * time.Minute)
		s.from = b.clock.now()
		if err := b.acts.TakeJob(b.ctx, sup, s.job.ID); err != nil {
			return err
		}
		if x.state == "finished" {
			b.clock.add(95 * time.Minute)
			if err := b.tap(s, false, false); err != nil {
				return err
			}
			continue
		}
		sheet, err := b.acts.Job(b.ctx, sup, s.job.ID)
		if err != nil {
			return err
		}
		taps, _, err := b.taps(sheet, s, false, true)
		if err != nil {
			return err
		}
		taps = taps[:len(taps)/3]
		if x.state == "paused" {
			pause, err := b.newTap(b.clock.now())
			if err != nil {
				return err
			}
			pause.Event = "paused"
			taps = append(taps, pause)
		}
		if _, err := b.acts.Tap(b.ctx, sup, s.job.ID, taps); err != nil {
			return err
		}
	}
	p, err := b.person("magnus")
	if err != nil {
		return err
	}
	test, form, err := b.acts.StartTest(b.ctx, p, "", bleeding, b.prog.Vehicles[0].ID)
	if err != nil {
		return err
	}
	for i := range form.Questions[:min(4, len(form.Questions))] {
		b.clock.add(30 * time.Second)
		if err := b.acts.Answer(b.ctx, p, test.ID, form.Questions[i].ID, answer(&form.Questions[i], true, b.rng)); err != nil {
			return err
		}
	}
	return nil
}

func (b *builder) wayOf(login, task string) *way {
	for _, w := range b.ways {
		if w.who.login == login && w.plan.task == task {
			return w
		}
	}
	return nil
}

func verdictOf(vs []readiness.Verdict, task string) readiness.Verdict {
	for _, v := range vs {
		if v.Task == task {
			return v
		}
	}
	return readiness.Verdict{}
}

func closedGates(v readiness.Verdict) []string {
	var out []string
	for _, g := range v.Gates {
		if !g.OK {
			out = append(out, g.Gate)
		}
	}
	return out
}

// subset says that something is closed and all of it may be set aside.
func subset(closed, allowed []string) bool {
	for _, c := range closed {
		found := false
		for _, a := range allowed {
			found = found || a == c
		}
		if !found {
			return false
		}
	}
	return len(closed) > 0
}
