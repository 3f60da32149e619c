// Package actstest founds a workshop through the acts themselves, for tests that stand on a whole programme: real
// lessons, people who logged in with their one-time codes, keys that a coordinator signed, appointments. Importing it
// makes argon2id cheap: keys and passwords made in such a binary protect nothing.
package actstest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"brakewright/curriculum"
	"brakewright/curriculum/brakes"
	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

// Zone is the shop's time zone. Start, a Monday morning there, is when it is founded.
const Zone = "America/Denver"

var Start = time.Date(2030, time.March, 4, 15, 0, 0, 0, time.UTC)

// Member is a person of the shop with all secrets. Everybody has a signing key.
type Member struct{ ID, Name, Login, Password, Passphrase string }

// Config varies what Found makes. Zero fields take the default.
type Config struct {
	Files                    fs.FS  // the embedded programme
	Dir                      string // t.TempDir()
	Supervisors, Apprentices int    // 2, 2; supervisors are appointed for every task
}

// Shop is a founded programme with one site and one cohort.
type Shop struct {
	t            testing.TB
	ctx          context.Context
	Acts         *acts.Service
	Store        *store.Store
	Options      store.Options // Database stands in Config.Dir, its key file beside it: Database + ".key"
	Clock        *storetest.Clock
	Random       io.Reader
	Programme    *curriculum.Programme
	Site, Cohort string
	Coordinator  *Member
	Supervisors  []*Member
	Apprentices  []*Member
}

// names of invented people; those of apprentices follow those of supervisors.
var names = []string{"Marta Quill", "Owen Tarn", "Ines Calder", "Jory Penn", "Tilda Rook", "Bram Oakes", "Wren Halloway", "Silas Mott"}

// Found founds the shop.
func Found(t testing.TB, c Config) *Shop {
	t.Helper()
	if c.Files == nil {
		c.Files = brakes.FS
	}
	if c.Dir == "" {
		c.Dir = t.TempDir()
	}
	if c.Supervisors == 0 {
		c.Supervisors = 2
	}
	if c.Apprentices == 0 {
		c.Apprentices = 2
	}
	clock, random := &storetest.Clock{}, storetest.Random(1)
	clock.Set(Start)
	keys, err := store.NewKeyFile(random)
	s := &Shop{t: t, ctx: context.Background(), Clock: clock, Random: random, Coordinator: member("Nell Ashby", "nell"),
		Options: store.Options{Database: filepath.Join(c.Dir, "shop.db"), Keys: keys, Now: clock.Now, Random: random}}
	s.ok(err)
	s.ok(keys.Write(s.Options.Database + ".key"))
	s.Store, err = acts.Found(s.ctx, s.Options, store.Founding{
		Origin: "brakes.example/bench", Title: "Bench brakes", Zone: Zone, Name: s.Coordinator.Name, Login: s.Coordinator.Login,
		Password: s.Coordinator.Password, Passphrase: s.Coordinator.Passphrase,
	}, c.Files)
	s.ok(err)
	t.Cleanup(func() { s.Store.Close() })
	s.Acts = acts.New(s.Store, clock.Now, random, "test")
	s.Programme, err = s.Acts.Programme(s.ctx)
	s.ok(err)
	founder, err := s.Store.PersonByLogin(s.ctx, s.Coordinator.Login)
	s.ok(err)
	s.Coordinator.ID = founder.ID
	s.Site, err = s.Acts.AddSite(s.ctx, founder, "North shop", Zone)
	s.ok(err)
	s.Cohort, err = s.Acts.AddCohort(s.ctx, founder, "Spring", s.Site)
	s.ok(err)
	for i := range c.Supervisors + c.Apprentices {
		name := names[i%len(names)]
		if i >= len(names) {
			name = fmt.Sprintf("%s %d", name, i)
		}
		if i < c.Supervisors {
			s.Supervisors = append(s.Supervisors, member(name, fmt.Sprintf("super%d", i)))
		} else {
			s.Apprentices = append(s.Apprentices, member(name, fmt.Sprintf("learner%d", i-c.Supervisors)))
		}
	}
	s.join(founder)
	return s
}

// member makes secrets that hold out against the rules for secrets.
func member(name, login string) *Member {
	return &Member{Name: name, Login: login, Password: "gravel walnut lantern " + login, Passphrase: "copper thistle anvil " + login}
}

// join adds everybody, lets each log in by code, choose secrets, and be appointed.
func (s *Shop) join(founder *store.Person) {
	s.t.Helper()
	var people []acts.NewPerson
	for _, m := range s.Supervisors {
		m.ID = s.ID()
		people = append(people, acts.NewPerson{ID: m.ID, Name: m.Name, Login: m.Login, Role: acts.Supervisor, Site: s.Site})
	}
	for _, m := range s.Apprentices {
		m.ID = s.ID()
		people = append(people, acts.NewPerson{ID: m.ID, Name: m.Name, Login: m.Login, Role: acts.Apprentice, Site: s.Site, Cohort: s.Cohort, Employer: "North Motor Works"})
	}
	codes, err := s.Acts.AddPeople(s.ctx, founder, people, s.Coordinator.Passphrase)
	s.ok(err)
	var ids []string
	for _, m := range slices.Concat(s.Supervisors, s.Apprentices) {
		token, p, err := s.Acts.LogInWithCode(s.ctx, m.Login, codes[m.Login], "127.0.0.1")
		s.ok(err)
		s.ok(s.Acts.SetPassword(s.ctx, p, token, "", m.Password))
		s.ok(s.Acts.RequestKey(s.ctx, p, m.Passphrase))
		s.ok(s.Acts.LogOut(s.ctx, token))
		ids = append(ids, m.ID)
	}
	s.ok(s.Acts.ConfirmKeys(s.ctx, founder, ids, s.Coordinator.Passphrase))
	for _, m := range s.Supervisors {
		for _, task := range s.Programme.Tasks {
			s.ok(s.Acts.Appoint(s.ctx, founder, m.ID, store.Appointment{Task: task.ID, Site: s.Site, Qualification: "Brake technician"}, s.Coordinator.Passphrase))
		}
	}
}

// ok fails the test on an error; a refusal is shown with its arguments.
func (s *Shop) ok(err error) {
	s.t.Helper()
	if broken := (*acts.BrokenProgramme)(nil); errors.As(err, &broken) {
		for _, p := range broken.Problems {
			s.t.Errorf("%s:%d:%d: %s %v", p.File, p.Line, p.Column, p.Code, p.Args)
		}
	}
	if r, is := acts.AsRefusal(err); is {
		s.t.Fatalf("refused: %s %s %v %v", r.Code, r.Field, r.Args, r.Problems)
	}
	if err != nil {
		s.t.Fatal(err)
	}
}

// ID mints an id.
func (s *Shop) ID() string {
	s.t.Helper()
	id, err := ledger.NewID(s.Random, s.Clock.Now().UnixMilli())
	s.ok(err)
	return id
}

// Who loads a member as a request would.
func (s *Shop) Who(m *Member) *store.Person {
	s.t.Helper()
	p, err := s.Store.Person(s.ctx, m.ID)
	s.ok(err)
	return p
}

// NextDay turns the clock to the next morning.
func (s *Shop) NextDay() { s.Clock.Add(24 * time.Hour) }

// Read records readings of a task's lessons.
func (s *Shop) Read(m *Member, task string) {
	s.t.Helper()
	for _, id := range s.Programme.Task(task).Lessons {
		_, err := s.Acts.Read(s.ctx, s.Who(m), "", id, s.Programme.Lesson(id, "").Edition)
		s.ok(err)
	}
}

// PassTest takes a task's theory test with right answers, under the first supervisor's eyes where the policy asks that.
func (s *Shop) PassTest(m *Member, task, vehicle string) {
	s.t.Helper()
	p := s.Who(m)
	test, form, err := s.Acts.StartTest(s.ctx, p, "", task, vehicle)
	s.ok(err)
	if s.Programme.Policy.Task(task).TheoryTest.Watched {
		s.ok(s.Acts.WatchTest(s.ctx, s.Who(s.Supervisors[0]), test.ID, true))
	}
	for _, q := range form.Questions {
		s.ok(s.Acts.Answer(s.ctx, p, test.ID, q.ID, RightAnswer(q)))
	}
	marks, _, err := s.Acts.HandIn(s.ctx, p, "", test.ID)
	s.ok(err)
	if marks.Passed == nil || !*marks.Passed {
		s.t.Fatalf("the test of %s with the key's own answers was not passed: %+v", task, marks)
	}
}

// Form is the form of a test with its keys, as it is stored.
func (s *Shop) Form(test string) (form *quiz.Form, raw []byte) {
	s.t.Helper()
	x, err := s.Store.Test(s.ctx, test)
	s.ok(err)
	raw, err = s.Store.Content(s.ctx, x.Form)
	s.ok(err)
	form, err = quiz.ReadForm(raw)
	s.ok(err)
	return form, raw
}

// RightAnswer is what the key of a question says, as an apprentice would give it.
func RightAnswer(q quiz.Question) quiz.Answer {
	switch q.Kind {
	case quiz.Several:
		return quiz.Answer{IDs: q.Key.IDs}
	case quiz.Order:
		return quiz.Answer{IDs: inOrder(q)}
	case quiz.Match:
		return quiz.Answer{Pairs: q.Key.Pairs}
	case quiz.Number:
		return quiz.Answer{Text: q.Key.Number.Value + " " + q.Key.Number.Unit}
	default:
		return quiz.Answer{ID: q.Key.ID}
	}
}

// inOrder is one order that the key's pairs allow.
func inOrder(q quiz.Question) []string {
	var out []string
	for len(out) < len(q.Options) {
		for _, o := range q.Options {
			waits := slices.ContainsFunc(q.Key.Pairs, func(p [2]string) bool { return p[1] == o.ID && !slices.Contains(out, p[0]) })
			if !waits && !slices.Contains(out, o.ID) {
				out = append(out, o.ID)
			}
		}
	}
	return out
}

// GoodJob is a job done unaided, finished and signed. It gives the sign-off's entry.
func (s *Shop) GoodJob(supervisor, apprentice *Member, task, vehicle string) string {
	s.t.Helper()
	job := s.FinishedJob(supervisor, apprentice, task, vehicle)
	receipts, err := s.Acts.SignJobs(s.ctx, s.Who(supervisor), nil, []string{job}, supervisor.Passphrase, nil)
	s.ok(err)
	return receipts[0].ID
}

// FinishedJob is a job done unaided and finished, not signed. It gives the job.
func (s *Shop) FinishedJob(supervisor, apprentice *Member, task, vehicle string) string {
	s.t.Helper()
	sup := s.Who(supervisor)
	j, err := s.Acts.AskJob(s.ctx, sup, acts.JobRequest{Apprentice: apprentice.ID, Task: task, Vehicle: vehicle, Watch: true})
	s.ok(err)
	sheet, err := s.Acts.Job(s.ctx, sup, j.ID)
	s.ok(err)
	s.Clock.Add(time.Hour)
	_, err = s.Acts.Tap(s.ctx, sup, j.ID, s.AllUnaided(sheet))
	s.ok(err)
	return j.ID
}

// AllUnaided are the taps of a sheet on which everything is done unaided, every hold point is accepted and the job is
// finished.
func (s *Shop) AllUnaided(sheet *acts.JobSheet) []store.Tap {
	s.t.Helper()
	now := s.Clock.Now().UnixMilli()
	var out []store.Tap
	for _, l := range sheet.Lessons {
		for _, st := range l.Steps {
			if st.Critical || st.HoldPoint {
				out = append(out, store.Tap{ID: s.ID(), At: now, Step: st.Key, Result: "unaided"})
			}
			if st.HoldPoint {
				out = append(out, store.Tap{ID: s.ID(), At: now, Step: st.Key, Hold: "accepted"})
			}
		}
	}
	return append(out, store.Tap{ID: s.ID(), At: now, Result: "unaided", Bulk: true}, store.Tap{ID: s.ID(), At: now, Outcome: "finished"})
}

// Standing is where an apprentice stands with a task today.
func (s *Shop) Standing(m *Member, task string) readiness.Verdict {
	s.t.Helper()
	p := s.Who(m)
	all, err := s.Acts.Standings(s.ctx, p, p.ID)
	s.ok(err)
	i := slices.IndexFunc(all, func(v readiness.Verdict) bool { return v.Task == task })
	if i < 0 {
		s.t.Fatalf("no standing with %s", task)
	}
	return all[i]
}

// Ready brings an apprentice to a decision by reading, test and good jobs, a day and another supervisor and vehicle each.
func (s *Shop) Ready(m *Member, task string) {
	s.t.Helper()
	s.Read(m, task)
	if s.Programme.Policy.Task(task).TheoryTest != nil {
		s.PassTest(m, task, s.Programme.Vehicles[0].ID)
	}
	s.JobsUntilReady(m, task)
}

// JobsUntilReady adds good jobs until the standing is ready for decision; it gives how many.
func (s *Shop) JobsUntilReady(m *Member, task string) int {
	s.t.Helper()
	for n := range 40 {
		if s.Standing(m, task).Standing == readiness.ReadyForDecision {
			return n
		}
		s.NextDay()
		s.GoodJob(s.Supervisors[n%len(s.Supervisors)], m, task, s.Programme.Vehicles[n%len(s.Programme.Vehicles)].ID)
	}
	s.t.Fatalf("%s is not ready for %s after 40 good jobs: %+v", m.Name, task, s.Standing(m, task))
	return 0
}

// Clear clears an apprentice who is ready.
func (s *Shop) Clear(supervisor, m *Member, task string) {
	s.t.Helper()
	_, err := s.Acts.Clear(s.ctx, s.Who(supervisor), acts.ClearanceRequest{Apprentice: m.ID, Task: task, Passphrase: supervisor.Passphrase})
	s.ok(err)
}
