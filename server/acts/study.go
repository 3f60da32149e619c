package acts

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (s *Service) read(ctx context.Context, actor *store.Person, id, lesson, edition string) (store.Receipt, error) {
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return store.Receipt{}, err
	}
	if err := May(actor, RecordReading, Target{Person: actor, Date: at.date}); err != nil {
		return store.Receipt{}, err
	}
	h := s.head(id, ledger.LessonRead, actor.ID, actor.ID, at)
	same := func(p ledger.ReadingPayload) bool { return p.Lesson == lesson && p.Edition == edition }
	return once(ctx, s, h, same, nil, func() (store.Receipt, error) {
		if err := s.knownEdition(ctx, lesson, edition); err != nil {
			return store.Receipt{}, err
		}
		sub, err := s.entry(h, ledger.ReadingPayload{Lesson: lesson, Edition: edition}, nil, nil)
		if err != nil {
			return store.Receipt{}, err
		}
		return s.submit(ctx, sub)
	})
}

// knownEdition refuses a lesson that is not taught, and an edition that it never had. An older edition is fine: a page
// may have been open, or a phone without a signal, while a new one was adopted.
func (s *Service) knownEdition(ctx context.Context, lesson, edition string) error {
	p, err := s.programme(ctx)
	if err != nil {
		return err
	}
	if p.Lesson(lesson, "") == nil {
		return wrong("lesson", "unknown_lesson", "lesson", lesson)
	}
	if hasEdition(p, lesson, edition) {
		return nil
	}
	older, err := s.adoptedEditions(ctx, p.Edition)
	if err != nil {
		return err
	}
	for _, e := range older {
		old, err := s.edition(ctx, e)
		if err != nil {
			return err
		}
		if hasEdition(old, lesson, edition) {
			return nil
		}
	}
	return wrong("edition", "unknown_edition", "lesson", lesson)
}

func hasEdition(p *curriculum.Programme, lesson, edition string) bool {
	for _, language := range append([]string{""}, p.Languages...) {
		if l := p.Lesson(lesson, language); l != nil && l.Edition == edition {
			return true
		}
	}
	return false
}

func (s *Service) practice(ctx context.Context, actor *store.Person, lesson, vehicle, language string, seed uint64, number, questions int) (*quiz.Form, error) {
	p, err := s.programme(ctx)
	if err != nil {
		return nil, err
	}
	if p.Lesson(lesson, "") == nil {
		return nil, wrong("lesson", "unknown_lesson", "lesson", lesson)
	}
	if err := knownVehicle(p, vehicle); err != nil {
		return nil, err
	}
	voided, err := s.voided(ctx)
	if err != nil {
		return nil, err
	}
	open, err := s.askedInOpenTests(ctx, actor)
	if err != nil {
		return nil, err
	}
	without := func(q *quiz.Question) bool { return voided.Holds(q) || open[q.ID] }
	return quiz.Generate(p, quiz.Request{Lessons: []string{lesson}, Questions: questions, Without: without},
		quiz.Draw{Seed: seed, Number: max(number, 1), Language: languageOf(p, language), Vehicle: vehicle})
}

// askedInOpenTests are the questions of somebody's own tests that are not handed in: practice gives keys, so it leaves them
// out until then.
func (s *Service) askedInOpenTests(ctx context.Context, p *store.Person) (map[string]bool, error) {
	tests, err := s.Store.Tests(ctx, store.TestFilter{Apprentice: p.ID})
	if err != nil {
		return nil, err
	}
	asked := map[string]bool{}
	for _, t := range tests {
		if t.HandedIn != "" {
			continue
		}
		f, err := s.form(ctx, t)
		if err != nil {
			return nil, err
		}
		for _, q := range f.Questions {
			asked[q.ID] = true
		}
	}
	return asked, nil
}

func knownVehicle(p *curriculum.Programme, vehicle string) error {
	if vehicle != "" && p.Vehicle(vehicle) == nil {
		return wrong("vehicle", "unknown_vehicle", "vehicle", vehicle)
	}
	return nil
}

func languageOf(p *curriculum.Programme, language string) string {
	for _, l := range p.Languages {
		if l == language {
			return l
		}
	}
	return p.Languages[0]
}

func (s *Service) startTest(ctx context.Context, actor *store.Person, id, task, vehicle string) (*store.Test, *quiz.Form, error) {
	at, err := s.placeOf(ctx, homeSiteToday(s, ctx, actor))
	if err != nil {
		return nil, nil, err
	}
	if err := May(actor, TakeTest, Target{Person: actor, Task: task, Date: at.date}); err != nil {
		return nil, nil, err
	}
	p, err := s.programme(ctx)
	if err != nil {
		return nil, nil, err
	}
	if p.Task(task) == nil {
		return nil, nil, wrong("task", "unknown_task", "task", task)
	}
	if err := knownVehicle(p, vehicle); err != nil {
		return nil, nil, err
	}
	past, err := s.Store.Tests(ctx, store.TestFilter{Apprentice: actor.ID})
	if err != nil {
		return nil, nil, err
	}
	for _, t := range past {
		if t.Task == task && t.HandedIn == "" || t.ID == id && t.Task == task {
			f, err := s.form(ctx, t)
			return t, f, err
		}
	}
	blueprint := testBlueprint(p, task)
	if blueprint == "" {
		return nil, nil, wrong("task", "no_test", "task", p.Task(task).Title)
	}
	form, err := s.nextForm(ctx, p, past, task, blueprint, vehicle)
	if err != nil {
		return nil, nil, err
	}
	if len(form.Questions) == 0 {
		return nil, nil, wrong("task", "no_questions", "task", p.Task(task).Title)
	}
	if want := p.Policy.Task(task).TheoryTest; form.PassPercent == nil && want != nil {
		form.PassPercent = &want.PassPercent
	}
	h := s.head(id, ledger.TestIssued, actor.ID, actor.ID, at)
	r, err := once(ctx, s, h, func(x ledger.TestIssuedPayload) bool { return x.Task == task }, nil, func() (store.Receipt, error) {
		sub, err := s.entry(h, ledger.TestIssuedPayload{Task: task, Blueprint: blueprint, Number: form.Number, Vehicle: vehicle},
			nil, map[string][]byte{"form": form.JSON()})
		if err != nil {
			return store.Receipt{}, err
		}
		return s.submit(ctx, sub)
	})
	if err != nil {
		return nil, nil, err
	}
	t, err := s.Store.Test(ctx, r.ID)
	if err != nil {
		return nil, nil, err
	}
	form, err = s.form(ctx, t)
	return t, form, err
}

// homeSiteToday is the site of somebody's own apprenticeship; "" where that cannot be said.
func homeSiteToday(s *Service, ctx context.Context, p *store.Person) string {
	today, err := s.today(ctx)
	if err != nil {
		return ""
	}
	return homeSite(p, Apprentice, today)
}

// testBlueprint is the blueprint that the policy asks for, else the first one made for the task, else "".
func testBlueprint(p *curriculum.Programme, task string) string {
	if t := p.Policy.Task(task).TheoryTest; t != nil && p.Blueprint(t.Blueprint) != nil {
		return t.Blueprint
	}
	for _, b := range p.Blueprints {
		if b.Task == task {
			return b.ID
		}
	}
	return ""
}

// drawsTried is how many forms a further test of a task is chosen from.
const drawsTried = 32

// nextForm draws an apprentice's next test of a task. Each has a seed of its own, which tells nothing of the next one: once
// a test is handed in, its form with seed and keys is the apprentice's to carry away, and whoever knows the seed of a form
// can make it. The numbers of one seed cover what is critical between them and repeat little; so that a further test does so
// all the same, it is the one of [drawsTried] that asks fewest of the last one's questions and most critical steps that the
// last one left out.
func (s *Service) nextForm(ctx context.Context, p *curriculum.Programme, past []*store.Test, task, blueprint, vehicle string) (*quiz.Form, error) {
	voided, err := s.voided(ctx)
	if err != nil {
		return nil, err
	}
	draw := quiz.Draw{Number: 1, Language: p.Languages[0], Vehicle: vehicle}
	var last *store.Test
	for _, t := range past {
		if t.Task == task {
			draw.Number++
			if last == nil { // they come newest first
				last = t
			}
		}
	}
	asked, steps, tries := map[string]bool{}, map[string]bool{}, 1
	if last != nil {
		f, err := s.form(ctx, last)
		if err != nil {
			return nil, err
		}
		for i := range f.Questions {
			for _, name := range namesOf(&f.Questions[i]) {
				asked[name] = true
			}
			steps[criticalStep(&f.Questions[i])] = true
		}
		tries = drawsTried
	}
	var best *quiz.Form
	least := 0
	for range tries {
		var b [8]byte
		if _, err := io.ReadFull(s.Random, b[:]); err != nil {
			return nil, err
		}
		draw.Seed = binary.BigEndian.Uint64(b[:])
		f, err := quiz.Generate(p, quiz.Request{Blueprint: blueprint, Without: voided.Holds}, draw)
		if err != nil {
			return nil, err
		}
		again, fresh := 0, map[string]bool{}
		for i := range f.Questions {
			if step := criticalStep(&f.Questions[i]); step != "" && !steps[step] {
				fresh[step] = true
			}
			for _, name := range namesOf(&f.Questions[i]) {
				if asked[name] {
					again++
				}
			}
		}
		if best == nil || len(f.Questions) > len(best.Questions) || len(f.Questions) == len(best.Questions) && again-len(fresh) < least {
			best, least = f, again-len(fresh)
		}
	}
	return best, nil
}

// namesOf are the question itself and the element of its lesson that it asks about.
func namesOf(q *quiz.Question) []string { return []string{q.ID, q.Lesson + "#" + q.Source.Element} }

// criticalStep is the critical step that a question is about, "LESSON#procedure/STEP", or "".
func criticalStep(q *quiz.Question) string {
	parts := strings.SplitN(q.Source.Element, "/", 3)
	if !q.Critical || len(parts) < 2 {
		return ""
	}
	return q.Lesson + "#" + parts[0] + "/" + parts[1]
}

func (s *Service) form(ctx context.Context, t *store.Test) (*quiz.Form, error) {
	b, err := s.Store.Content(ctx, t.Form)
	if err != nil {
		return nil, err
	}
	return quiz.ReadForm(b)
}

func (s *Service) theTest(ctx context.Context, id string) (*store.Test, *store.Person, error) {
	t, err := s.Store.Test(ctx, id)
	if err != nil {
		return nil, nil, missing(err, "test")
	}
	p, err := s.person(ctx, t.Apprentice)
	return t, p, err
}

func (s *Service) testView(ctx context.Context, actor *store.Person, id string) (*TestView, error) {
	t, p, err := s.theTest(ctx, id)
	if err != nil {
		return nil, err
	}
	if err := s.May(ctx, actor, SeeTestResult, Target{Person: p, Task: t.Task}); err != nil {
		return nil, err
	}
	// Until it is handed in, only who takes it and who watches have business with it.
	if t.HandedIn == "" && actor.ID != t.Apprentice && actor.ID != t.WatchedBy {
		return nil, refuse(http.StatusForbidden, "test_open")
	}
	v := &TestView{Test: t}
	if v.Form, err = s.form(ctx, t); err != nil {
		return nil, err
	}
	if t.HandedIn == "" {
		v.Answers, err = s.draft(ctx, t)
		return v, err
	}
	b, err := s.Store.Content(ctx, t.AnswersHash)
	if err != nil {
		return nil, err
	}
	if v.Answers, err = quiz.ReadAnswers(b, v.Form); err != nil {
		return nil, err
	}
	if b, err = s.Store.Content(ctx, t.MarksHash); err != nil {
		return nil, err
	}
	v.Marks = &quiz.Marks{}
	if err := json.Unmarshal(b, v.Marks); err != nil {
		return nil, err
	}
	return v, s.withVoids(ctx, v)
}

// draft gathers the answers kept so far.
func (s *Service) draft(ctx context.Context, t *store.Test) (*quiz.Answers, error) {
	kept, err := s.Store.DraftAnswers(ctx, t.ID)
	if err != nil {
		return nil, err
	}
	a := &quiz.Answers{Format: "brakewright-answers/1", Answers: map[string]quiz.Answer{}}
	for q, raw := range kept {
		var x quiz.Answer
		if err := json.Unmarshal(raw, &x); err != nil {
			return nil, fmt.Errorf("answer to %s of test %s: %w", q, t.ID, err)
		}
		a.Answers[q] = x
	}
	return a, nil
}

// ownTest loads one's own test.
func (s *Service) ownTest(ctx context.Context, actor *store.Person, id string) (*store.Test, error) {
	t, p, err := s.theTest(ctx, id)
	if err != nil {
		return nil, err
	}
	return t, s.May(ctx, actor, TakeTest, Target{Person: p, Task: t.Task})
}

func (s *Service) answer(ctx context.Context, actor *store.Person, test, question string, a quiz.Answer) error {
	t, err := s.ownTest(ctx, actor, test)
	if err != nil {
		return err
	}
	if t.HandedIn != "" {
		return conflict("test_handed_in")
	}
	f, err := s.form(ctx, t)
	if err != nil {
		return err
	}
	q := f.Question(question)
	if q == nil {
		return wrong("question", "unknown_question", "question", question)
	}
	raw, err := json.Marshal(answerFor(q.Kind, a))
	if err != nil {
		return err
	}
	one := []byte(fmt.Sprintf(`{"format":"brakewright-answers/1","answers":{%q:%s}}`, question, raw))
	if _, err := quiz.ReadAnswers(one, f); err != nil {
		return wrong("answer", "bad_answer", "question", question)
	}
	err = s.Store.SaveAnswer(ctx, test, question, raw)
	return translate(err)
}

// answerFor keeps of an answer what its kind of question has.
func answerFor(k quiz.Kind, a quiz.Answer) quiz.Answer {
	switch k {
	case quiz.Several, quiz.Order:
		return quiz.Answer{IDs: a.IDs}
	case quiz.Match:
		return quiz.Answer{Pairs: a.Pairs}
	case quiz.Number:
		return quiz.Answer{Text: a.Text, Value: a.Value, Unit: a.Unit}
	}
	return quiz.Answer{ID: a.ID}
}

func (s *Service) handIn(ctx context.Context, actor *store.Person, id, test string) (*quiz.Marks, store.Receipt, error) {
	none := store.Receipt{}
	t, err := s.ownTest(ctx, actor, test)
	if err != nil {
		return nil, none, err
	}
	if t.HandedIn != "" {
		if id != "" && id != t.HandedIn {
			return nil, none, conflict("test_handed_in")
		}
		return s.handedIn(ctx, actor, t)
	}
	f, err := s.form(ctx, t)
	if err != nil {
		return nil, none, err
	}
	a, err := s.draft(ctx, t)
	if err != nil {
		return nil, none, err
	}
	voids, err := s.Store.Voids(ctx)
	if err != nil {
		return nil, none, err
	}
	// Who reads the form in a language types figures as that language does.
	m := quiz.MarkVoided(f, a, f.Language, store.InForce(voids).Holds)
	for _, q := range m.Questions {
		if q.AskBack {
			return nil, none, wrong("answer", "ask_back", "question", q.ID)
		}
	}
	raw, err := json.Marshal(m)
	if err != nil {
		return nil, none, err
	}
	at, err := s.placeOf(ctx, homeSiteToday(s, ctx, actor))
	if err != nil {
		return nil, none, err
	}
	done := ledger.TestHandedInPayload{
		Test: t.ID, Task: t.Task, Programme: t.Programme, Points: m.Points, Max: m.Max, Percent: m.Percent,
		Passed: m.Passed != nil && *m.Passed, Voids: len(voids), Questions: store.QuestionsDone(t.Task, m),
	}
	if t.WatchedBy != "" {
		watcher, err := s.person(ctx, t.WatchedBy)
		if err != nil {
			return nil, none, err
		}
		// Who watched counts only with the authority that they have to this hour.
		if May(watcher, WatchATest, Target{Person: actor, Task: t.Task, Site: at.site, Date: at.date}) == nil {
			done.WatchedBy = t.WatchedBy
		}
	}
	h := s.head(id, ledger.TestHandedIn, actor.ID, actor.ID, at)
	r, err := once(ctx, s, h, func(p ledger.TestHandedInPayload) bool { return p.Test == test }, nil, func() (store.Receipt, error) {
		sub, err := s.entry(h, done, nil, map[string][]byte{"answers": quiz.AnswersJSON(a), "marks": raw})
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
	if err != nil {
		// Another device may have handed in a moment before.
		if x, ok := AsRefusal(err); ok && x.Code == "rule_"+ledger.TestHandedInOnce {
			return nil, none, conflict("test_handed_in")
		}
		// A question may have been voided a moment before: then it is marked with that. Voids come one by one, by hand.
		if x, ok := AsRefusal(err); ok && x.Code == "rule_"+ledger.MarksOutdated {
			return s.handIn(ctx, actor, id, test)
		}
		return nil, none, err
	}
	return m, r, nil
}

// handedIn answers a hand-in that came before.
func (s *Service) handedIn(ctx context.Context, actor *store.Person, t *store.Test) (*quiz.Marks, store.Receipt, error) {
	v, err := s.testView(ctx, actor, t.ID)
	if err != nil {
		return nil, store.Receipt{}, err
	}
	e, err := s.Store.Entry(ctx, t.HandedIn)
	if err != nil {
		return nil, store.Receipt{}, err
	}
	return v.Marks, store.Receipt{ID: t.HandedIn, Index: e.Index}, nil
}

func (s *Service) watchTest(ctx context.Context, actor *store.Person, test string, take bool) error {
	t, p, err := s.theTest(ctx, test)
	if err != nil {
		return err
	}
	if !take {
		switch {
		case t.WatchedBy != actor.ID:
			return conflict("not_watching")
		case t.HandedIn != "":
			return conflict("test_handed_in")
		}
		return translate(s.Store.WatchTest(ctx, test, ""))
	}
	at, err := s.placeOf(ctx, homeSiteToday(s, ctx, p))
	if err != nil {
		return err
	}
	if err := May(actor, WatchATest, Target{Person: p, Task: t.Task, Site: at.site, Date: at.date}); err != nil {
		return err
	}
	if t.HandedIn != "" { // said to who may watch it, and to nobody else
		return conflict("test_handed_in")
	}
	if t.WatchedBy != "" && t.WatchedBy != actor.ID {
		return conflict("watched_by_another")
	}
	return translate(s.Store.WatchTest(ctx, test, actor.ID))
}
