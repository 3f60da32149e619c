package server

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/say"
)

// "Suppose these go well": a form of the decision page that is asked and answered by its address alone.

// Acts that happen once, as the form names them; a lesson's or task's id follows the colon.
const (
	supposeInduction = "induction"
	supposeTest      = "theory_test"
	supposeLesson    = "lesson:"
	supposeTask      = "task:"
)

// fewestJobChoices is how many jobs can be chosen at least.
const fewestJobChoices = 12

// newSupposeForm holds the acts of a shortest way, all chosen.
func newSupposeForm(p *curriculum.Programme, way []readiness.Reason) *supposeForm {
	f := &supposeForm{Chosen: "0", OtherSups: "0", OtherLays: "0"}
	act := func(value, text string) { f.Acts = append(f.Acts, supposeAct{Value: value, Text: text, Chosen: true}) }
	for _, n := range way {
		switch n.Code {
		case "do_induction":
			act(supposeInduction, "the induction is done")
		case "read_lesson", "read_lesson_again":
			act(supposeLesson+n.Args["lesson"], "lesson read: "+lessonTitle(p, n.Args["lesson"]))
		case "get_cleared_for":
			act(supposeTask+n.Args["task"], "cleared for: "+taskTitle(p, n.Args["task"]))
		case "take_theory_test", "take_watched_theory_test":
			act(supposeTest, "the theory test is passed")
		case "watched_jobs":
			f.Chosen = n.Args["jobs"]
		case "other_supervisors", "different_supervisors":
			f.OtherSups = n.Args["supervisors"]
		case "other_layouts", "different_layouts":
			f.OtherLays = n.Args["layouts"]
		}
	}
	most := max(fewestJobChoices, atMost(f.Chosen, readiness.MaxSupposed))
	for i := range most + 1 {
		jobs, of := count(i, "job", "jobs"), itoa(i)+" of them"
		if i == 0 {
			jobs, of = "none", "none of them"
		}
		f.Jobs = append(f.Jobs, choice{itoa(i), jobs})
		if i <= 4 || i <= atMost(f.OtherSups, most) {
			f.Supervisors = append(f.Supervisors, choice{itoa(i), of})
		}
		if i <= 4 || i <= atMost(f.OtherLays, most) {
			f.Layouts = append(f.Layouts, choice{itoa(i), of})
		}
	}
	return f
}

// atMost reads a number from 0 to most; what is none is 0.
func atMost(text string, most int) int {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		return 0
	}
	return min(n, most)
}

// asked takes from a query what is supposed, and puts it into the form.
func (f *supposeForm) asked(q url.Values) readiness.Supposed {
	jobs := atMost(q.Get("suppose"), readiness.MaxSupposed)
	s := readiness.Supposed{Jobs: jobs, OtherSupervisors: atMost(q.Get("other_supervisors"), jobs), OtherLayouts: atMost(q.Get("other_layouts"), jobs)}
	f.Chosen, f.OtherSups, f.OtherLays = itoa(s.Jobs), itoa(s.OtherSupervisors), itoa(s.OtherLayouts)
	for i := range f.Acts {
		a := &f.Acts[i]
		if a.Chosen = slices.Contains(q["act"], a.Value); !a.Chosen {
			continue
		}
		lesson, isLesson := strings.CutPrefix(a.Value, supposeLesson)
		task, isTask := strings.CutPrefix(a.Value, supposeTask)
		switch {
		case a.Value == supposeInduction:
			s.Induction = true
		case a.Value == supposeTest:
			s.TheoryTest = true
		case isLesson:
			s.Lessons = append(s.Lessons, lesson)
		case isTask:
			s.Prerequisites = append(s.Prerequisites, task)
		}
	}
	return s
}

// suppose answers the form of a decision page from its query, if that asks anything.
func (s *Server) suppose(r *http.Request, b BasePage, f *supposeForm, person, task string) error {
	if !r.URL.Query().Has("suppose") {
		return nil
	}
	v, err := s.acts.Suppose(r.Context(), personFrom(r.Context()), person, task, f.asked(r.URL.Query()))
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	f.answer(b.clock, v, *p.Policy.Task(task).Confidence)
	return nil
}

// answer says what a supposition comes to.
func (f *supposeForm) answer(c clock, v readiness.Verdict, asked float64) {
	f.Line = "Then "
	if v.AsOf != c.today() {
		f.Line = "Then, on " + c.day(v.AsOf).Text + " at the earliest, "
	}
	f.Line += chanceWords(v.Probability) + " jobs alone would go without a critical error, and we would be " + sureText(v.Confidence) +
		" sure of the target; " + percentText(asked) + " is asked. "
	for _, g := range v.Gates {
		if !g.OK {
			f.Still = append(f.Still, say.GateName(g.Gate))
		}
	}
	switch stood := v.Standing == readiness.StoodDown; {
	case v.Ready && stood:
		f.Line += "That would do, but for the stand-down."
	case v.Ready:
		f.Line += "That would do: a supervisor could decide."
	case v.Confidence < asked:
		f.Line += "That would not be sure enough yet."
	default:
		f.Line += "That would be sure enough, but not all gates would be open."
	}
}

// sureText is a confidence in per cent; one that rounds to certain, or to nothing, is none the less an estimate.
func sureText(c float64) string {
	switch {
	case c >= 0.9995:
		return "more than 99.9 %"
	case c < 0.0005:
		return "less than 0.1 %"
	}
	return percentText(c)
}

// entryRefs are the entries of one person that say something of a standing, by the id of their evidence.
type entryRefs struct {
	byID   map[string]entryRef
	record string // address of the whole record
}

// mostRefs is how many entries stand beside a sentence; of more the latest, and a link to the record.
const mostRefs = 8

// of are the entries of ids, each once. What is no entry of that person is left out.
func (refs entryRefs) of(ids []string) []entryRef {
	var out []entryRef
	for _, id := range ids {
		if ref, known := refs.byID[entryOf(id)]; known && !slices.Contains(out, ref) {
			out = append(out, ref)
		}
	}
	if earlier := len(out) - mostRefs; earlier > 0 {
		out = append([]entryRef{{Path: refs.record, Text: itoa(earlier) + " earlier, in the record"}}, out[earlier:]...)
	}
	return out
}

// entryOf is the entry that made a record: an entry's further records have its id with a suffix.
func entryOf(record string) string {
	id, _, _ := strings.Cut(record, "/")
	return id
}

// recordNames are what links to records are called.
var recordNames = map[string]string{
	"job": "watched job", "unwatched_job": "job alone", "spot_check": "spot check", "return": "car that came back", "answers": "theory test",
	"theory_test": "theory test", "reading": "lesson read", "clearance": "clearance", "stand_down": "stand-down", "restore": "restored", "recognition": "recognition",
}

func (s *Server) entryRefs(ctx context.Context, c clock, person string) (entryRefs, error) {
	evidence, err := s.store.Evidence(ctx, person)
	return newEntryRefs(c, evidence, "/people/"+url.PathEscape(person)+"/record"), err
}

func newEntryRefs(c clock, evidence []readiness.Record, record string) entryRefs {
	refs := entryRefs{byID: map[string]entryRef{}, record: record}
	for _, rec := range evidence {
		id := entryOf(rec.ID)
		if name := recordNames[rec.Type]; name != "" && refs.byID[id].Path == "" {
			refs.byID[id] = entryRef{Path: "/ledger/" + url.PathEscape(id), Text: name + ", " + c.day(rec.Date).Text}
		}
	}
	return refs
}
