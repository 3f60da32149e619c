package acts

import (
	"bytes"
	"slices"
	"strconv"
	"testing"

	"brakewright/quiz"
	"brakewright/readiness"
	"brakewright/store"
)

// rightAnswer is the answer that a question's key gives full marks.
func rightAnswer(q quiz.Question) quiz.Answer {
	switch q.Kind {
	case quiz.Several:
		return quiz.Answer{IDs: q.Key.IDs}
	case quiz.Match:
		return quiz.Answer{Pairs: q.Key.Pairs}
	case quiz.Number:
		return quiz.Answer{Value: q.Key.Number.Value, Unit: q.Key.Number.Unit}
	case quiz.Order:
		return quiz.Answer{IDs: inOrder(q)}
	}
	return quiz.Answer{ID: q.Key.ID}
}

// inOrder puts a question's options into an order that its forced pairs allow.
func inOrder(q quiz.Question) []string {
	var out []string
	done := map[string]bool{}
	for len(out) < len(q.Options) {
		for _, o := range q.Options {
			free := !done[o.ID]
			for _, p := range q.Key.Pairs {
				free = free && (p[1] != o.ID || done[p[0]])
			}
			if free {
				out, done[o.ID] = append(out, o.ID), true
			}
		}
	}
	return out
}

// passTest takes a theory test and answers everything as the key has it.
func (w *world) passTest(p *store.Person, task, vehicle string) *quiz.Marks {
	w.t.Helper()
	x, form, err := w.StartTest(w.ctx, p, "", task, vehicle)
	if err != nil {
		w.t.Fatal(err)
	}
	for _, q := range form.Questions {
		if err := w.Answer(w.ctx, p, x.ID, q.ID, rightAnswer(q)); err != nil {
			w.t.Fatal(err)
		}
	}
	m, _, err := w.HandIn(w.ctx, p, "", x.ID)
	if err != nil {
		w.t.Fatal(err)
	}
	return m
}

func TestTheoryTest(t *testing.T) {
	w := newWorld(t)
	p, sam := w.pat(0), w.sam(0)
	start := func(p *store.Person, id, task, vehicle string) (*store.Test, *quiz.Form, error) {
		return w.StartTest(w.ctx, p, id, task, vehicle)
	}
	for _, r := range []struct {
		name          string
		actor         *store.Person
		task, vehicle string
		want          string
	}{
		{"a supervisor", sam, "pads", "wagon", "not_allowed"}, {"unknown task", p, "wash", "wagon", "unknown_task"},
		{"unknown vehicle", p, "pads", "bus", "unknown_vehicle"}, {"a task without a test", p, "induction", "", "no_test"},
	} {
		_, _, err := start(r.actor, "", r.task, r.vehicle)
		if got := code(t, err); got != r.want {
			t.Errorf("%s: got %q, want %q", r.name, got, r.want)
		}
	}
	id := w.ID()
	x, form, err := start(p, id, "pads", "wagon")
	if err != nil {
		t.Fatal(err)
	}
	if x.ID != id || len(form.Questions) != 4 || form.PassPercent == nil || *form.PassPercent != 50 || form.Number != 1 {
		t.Errorf("got %+v, %d questions", x, len(form.Questions))
	}
	again, same, err := start(p, w.ID(), "pads", "van")
	if err != nil || again.ID != x.ID || same.Seed != form.Seed {
		t.Errorf("an open test is taken on: got %v, %v", again, err)
	}

	// While it is open only who takes it and who watches may look.
	_, err = w.Test(w.ctx, w.pat(1), id)
	wants(t, err, "not_allowed")
	_, err = w.Test(w.ctx, sam, id)
	wants(t, err, "test_open")
	wants(t, w.WatchTest(w.ctx, w.cora(), id, true), "not_allowed")
	wants(t, w.WatchTest(w.ctx, sam, id, true), "")
	wants(t, w.WatchTest(w.ctx, w.sam(1), id, true), "watched_by_another")
	wants(t, w.WatchTest(w.ctx, w.sam(1), id, false), "not_watching")
	if v := must[*TestView](t)(w.Test(w.ctx, sam, id)); v.Marks != nil {
		t.Error("an open test has marks")
	}

	q := form.Questions[0]
	wants(t, w.Answer(w.ctx, w.pat(1), id, q.ID, rightAnswer(q)), "not_allowed")
	wants(t, w.Answer(w.ctx, p, id, "nothing", rightAnswer(q)), "unknown_question")
	wants(t, w.Answer(w.ctx, p, id, q.ID, quiz.Answer{ID: "nothing", IDs: []string{"nothing"}, Pairs: [][2]string{{"a", "b"}}}), "bad_answer")
	left := slices.IndexFunc(form.Questions, func(q quiz.Question) bool { return !q.Critical })
	if left < 0 {
		t.Fatal("every question is critical")
	}
	for i, q := range form.Questions {
		if i != left { // one without an answer is no reason to fail
			wants(t, w.Answer(w.ctx, p, id, q.ID, rightAnswer(q)), "")
		}
	}
	if v := must[*TestView](t)(w.Test(w.ctx, p, id)); len(v.Answers.Answers) != 3 {
		t.Errorf("got %d draft answers", len(v.Answers.Answers))
	}
	entry := w.ID()
	m, r, err := w.HandIn(w.ctx, p, entry, id)
	if err != nil {
		t.Fatal(err)
	}
	if r.ID != entry || m.Passed == nil || !*m.Passed || m.Points >= m.Max {
		t.Errorf("got %+v, receipt %+v", m, r)
	}
	m2, r2, err := w.HandIn(w.ctx, p, entry, id)
	if err != nil || r2 != r || m2.Points != m.Points {
		t.Errorf("handed in again: %+v, %+v, %v", m2, r2, err)
	}
	_, _, err = w.HandIn(w.ctx, p, w.ID(), id)
	wants(t, err, "test_handed_in")
	wants(t, w.Answer(w.ctx, p, id, q.ID, rightAnswer(q)), "test_handed_in")
	wants(t, w.WatchTest(w.ctx, sam, id, false), "test_handed_in")
	wants(t, w.WatchTest(w.ctx, sam, id, true), "test_handed_in")
	for _, take := range []bool{true, false} { // others do not even learn that
		wants(t, w.WatchTest(w.ctx, w.pat(1), id, take), map[bool]string{true: "not_allowed", false: "not_watching"}[take])
	}
	v := must[*TestView](t)(w.Test(w.ctx, w.sam(1), id))
	if v.Marks == nil || v.Marks.Points != m.Points || v.Test.WatchedBy != sam.ID || len(v.Answers.Answers) != 3 {
		t.Errorf("got %+v", v)
	}
	_, err = w.Test(w.ctx, w.pat(1), id)
	wants(t, err, "not_allowed")

	next, second, err := start(p, "", "pads", "wagon")
	if err != nil || next.ID == id || second.Number != 2 {
		t.Errorf("the next test: number %d, %v", second.Number, err)
	}
	_, theirs, err := start(w.pat(1), "", "pads", "wagon")
	if err != nil || theirs.Seed == form.Seed {
		t.Errorf("another apprentice has the same seed: %v", err)
	}
}

// What an apprentice may read of an open test, and of those before it, does not lead to its keys: the entry tells no seed, a
// test handed in tells nothing of the next one's, and practice leaves out what is asked.
func TestAnOpenTestGivesNoKeyAway(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	first, form, err := w.StartTest(w.ctx, p, "", "pads", "wagon")
	if err != nil {
		t.Fatal(err)
	}
	seed := strconv.FormatUint(form.Seed, 10)
	for _, e := range must[[]*store.EntryView](t)(w.Record(w.ctx, p, p.ID)) {
		if bytes.Contains(e.Leaf, []byte(seed)) {
			t.Errorf("entry %d of type %s tells the seed", e.Index, e.Entry.Body.Type)
		}
	}
	asked := map[string]bool{}
	for _, q := range form.Questions {
		asked[q.ID] = true
	}
	practised := 0
	for number := 1; number <= 20; number++ {
		f := must[*quiz.Form](t)(w.Practice(w.ctx, p, "pads", "wagon", "en", 7, number, 20))
		for _, q := range f.Questions {
			practised++
			if asked[q.ID] {
				t.Fatalf("practice asks question %s of the open test", q.ID)
			}
		}
	}
	if practised == 0 {
		t.Error("nothing can be practised while a test is open")
	}
	if _, _, err := w.HandIn(w.ctx, p, "", first.ID); err != nil {
		t.Fatal(err)
	}
	_, second, err := w.StartTest(w.ctx, p, "", "pads", "wagon")
	if err != nil {
		t.Fatal(err)
	}
	if second.Number != 2 || second.Seed == form.Seed {
		t.Errorf("the second test has number %d, seed %d after %d", second.Number, second.Seed, form.Seed)
	}
	again := 0
	for _, q := range second.Questions {
		if asked[q.ID] {
			again++
		}
	}
	if again > len(second.Questions)/10 {
		t.Errorf("the second test asks %d of %d questions again", again, len(second.Questions))
	}
}

func TestPractice(t *testing.T) {
	w := newWorld(t)
	a := must[*quiz.Form](t)(w.Practice(w.ctx, w.pat(0), "pads", "wagon", "en", 7, 1, 3))
	b := must[*quiz.Form](t)(w.Practice(w.ctx, w.pat(0), "pads", "wagon", "xx", 7, 0, 3))
	if string(a.JSON()) != string(b.JSON()) {
		t.Error("the same draw, another form")
	}
	_, err := w.Practice(w.ctx, w.pat(0), "soup", "", "en", 7, 1, 3)
	wants(t, err, "unknown_lesson")
	_, err = w.Practice(w.ctx, w.pat(0), "pads", "bus", "en", 7, 1, 3)
	wants(t, err, "unknown_vehicle")
	if e := must[store.Info](t)(w.World.Store.Info(w.ctx)); e.Entries != must[store.Info](t)(w.World.Store.Info(w.ctx)).Entries {
		t.Error("practice left something behind")
	}
}

// The main job, end to end: read, take the test, be watched, be signed, be ready, be cleared, stand on the floor.
func TestTheMainJob(t *testing.T) {
	w := newWorld(t)
	p := w.pat(0)
	at := func(task string, want readiness.Standing) {
		t.Helper()
		if v := w.standing(p, task); v.Standing != want {
			t.Fatalf("%s: got %s, want %s; closed: %v, confidence %v", task, v.Standing, want, ClosedGates(v), v.Confidence)
		}
	}
	at("induction", readiness.Untried)
	w.readLesson(p, "safe")
	at("induction", readiness.Building)
	w.goodJob(0, p, "induction", "wagon")
	at("induction", readiness.ReadyForDecision)
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(0), ClearanceRequest{Apprentice: p.ID, Task: "induction", Passphrase: pass(w.Supervisors[0])}))
	at("induction", readiness.Cleared)

	w.readLesson(p, "pads")
	if m := w.passTest(p, "pads", "wagon"); m.Passed == nil || !*m.Passed || m.Percent != 100 {
		t.Fatalf("every answer is the key's, and the mark is %+v", m)
	}
	at("pads", readiness.Building)
	for i, vehicle := range []string{"wagon", "van"} {
		ask := must[*store.Job](t)(w.AskJob(w.ctx, p, JobRequest{Apprentice: p.ID, Task: "pads", Vehicle: vehicle}))
		sam := w.sam(i)
		wants(t, w.TakeJob(w.ctx, sam, ask.ID), "")
		sh := must[*JobSheet](t)(w.Job(w.ctx, sam, ask.ID))
		must[*JobSheet](t)(w.Tap(w.ctx, sam, ask.ID, w.allTaps(sh)))
		must[[]store.Receipt](t)(w.SignJobs(w.ctx, sam, nil, []string{ask.ID}, pass(w.Supervisors[i]), nil))
	}
	at("pads", readiness.ReadyForDecision)
	v := w.standing(p, "pads")
	must[store.Receipt](t)(w.Clear(w.ctx, w.sam(1), ClearanceRequest{Apprentice: p.ID, Task: "pads", Passphrase: pass(w.Supervisors[1]), Seen: VerdictHash(v)}))
	at("pads", readiness.Cleared)
	f := must[*Floor](t)(w.Floor(w.ctx, w.sam(0), "pads", "diagonal", ""))
	if len(f.Alone) != 1 || f.Alone[0].Apprentice.ID != p.ID || len(f.Not) != 3 {
		t.Errorf("the floor: %d alone, %d not", len(f.Alone), len(f.Not))
	}
	b := must[*Board](t)(w.Board(w.ctx, w.ada(), BoardFilter{}))
	if got := b.Rows[0].Cells[1].Standing; got != readiness.Cleared {
		t.Errorf("the board: got %s", got)
	}
	must[store.Receipt](t)(w.UnwatchedJob(w.ctx, p, UnwatchedRequest{Task: "pads"}))
	check, err := store.Verify(w.ctx, w.Options, false, nil)
	if err != nil || !check.OK {
		t.Errorf("verification: %v, %+v", err, check)
	}
}
