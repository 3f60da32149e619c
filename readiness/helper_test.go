package readiness

import (
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite golden files")

// repeats is n with BRAKEWRIGHT_SOAK=1, else a tenth of it, at least 1.
func repeats(n int) int {
	if os.Getenv("BRAKEWRIGHT_SOAK") == "1" {
		return n
	}
	return max(1, n/10)
}

// The sample: a task with three steps, of which cut is critical and open-screw critical at every wheel, and one lesson.
func sampleCatalogue() *Catalogue {
	return &Catalogue{
		Tasks: []CatalogueTask{
			{Task: "bleed",
				Lessons: []CatalogueLesson{{Lesson: "bleeding", Edition: "e3", RereadAfter: []string{"e1"}}},
				Steps:   []CatalogueStep{{Step: "bleeding/fill"}, {Step: "bleeding/cut", Critical: true}, {Step: "bleeding/open-screw", Critical: true}}, RetestAfter: []string{"p1"}},
			{Task: "caliper", Prerequisites: []string{"bleed"}, Steps: []CatalogueStep{{Step: "caliper/bolts", Critical: true}}},
			{Task: "induction", Lessons: []CatalogueLesson{{Lesson: "shop", Edition: "s1"}}, Steps: []CatalogueStep{}},
		},
		Supervisors: []CatalogueSupervisor{{Supervisor: "sam"}, {Supervisor: "toni"}},
	}
}

// samplePolicy asks 3 jobs by 2 supervisors, and half of confidence, so that gates decide.
func samplePolicy() Policy {
	p := DefaultPolicy()
	p.Confidence = 0.5
	p.Tasks["*"] = TaskPolicy{Jobs: 3, Supervisors: 2, RecencyDays: 30, LapseDays: 90}
	p.Tasks["induction"] = TaskPolicy{RecencyDays: 30, LapseDays: 90}
	return p
}

// change alters a record of the sample.
type change func(*Record)

// bleed is a clean watched job of the task bleed.
func bleed(date, supervisor string, changes ...change) Record {
	r := Record{Type: "job", Apprentice: "ana", Task: "bleed", Date: date, Supervisor: supervisor, Steps: []StepResult{
		{Step: "bleeding/fill", Result: "unaided"},
		{Step: "bleeding/cut", Result: "unaided"},
		{Step: "bleeding/open-screw@RR", Result: "unaided"},
		{Step: "bleeding/open-screw@LF", Result: "unaided"},
	}}
	for _, c := range changes {
		c(&r)
	}
	return r
}

// at sets the result of a step of a job.
func at(step, result string) change {
	return func(r *Record) { stepOfJob(r, step).Result = result }
}

func errorAt(step string) change {
	return func(r *Record) { stepOfJob(r, step).CriticalError = true }
}

func bulkAt(step string) change {
	return func(r *Record) { stepOfJob(r, step).Bulk = true }
}

func stepOfJob(r *Record, step string) *StepResult {
	i := slices.IndexFunc(r.Steps, func(s StepResult) bool { return s.Step == step })
	return &r.Steps[i]
}

func outcome(o string) change { return func(r *Record) { r.Outcome = o } }
func layout(l string) change  { return func(r *Record) { r.Layout = l } }
func id(i string) change      { return func(r *Record) { r.ID = i } }
func until(d string) change   { return func(r *Record) { r.Until = d } }
func by(who ...string) change { return func(r *Record) { r.By = who } }
func nearMiss(r *Record)      { r.NearMiss = true }
func kept(r *Record)          { r.Kept = true }
func waiver(r *Record)        { r.Waiver = true }
func unsigned(r *Record)      { no := false; r.Signed = &no }

// rec is any other record of ana and the task bleed.
func rec(kind, date string, changes ...change) Record {
	r := Record{Type: kind, Apprentice: "ana", Task: "bleed", Date: date}
	for _, c := range changes {
		c(&r)
	}
	return r
}

func finding(f string) change { return func(r *Record) { r.Finding = f } }

func reading(date, lesson, edition string) Record {
	return Record{Type: "reading", Apprentice: "ana", Lesson: lesson, Edition: edition, Date: date}
}

func leave(from, to string) Record {
	return Record{Type: "leave", Apprentice: "ana", From: from, To: to}
}

func correction(date, corrects, record string, changes ...change) Record {
	r := Record{Type: "correction", Date: date, Corrects: corrects, Record: []byte(record)}
	for _, c := range changes {
		c(&r)
	}
	return r
}

func dispute(date, of string, changes ...change) Record {
	r := Record{Type: "dispute", Date: date, Disputes: of}
	for _, c := range changes {
		c(&r)
	}
	return r
}

func settlement(date, of string, upheld bool) Record {
	return Record{Type: "settlement", Date: date, Disputes: of, Upheld: upheld}
}

// threeClean are three clean jobs of January 2026 by two supervisors.
func threeClean() []Record {
	return []Record{bleed("2026-01-05", "sam"), bleed("2026-01-08", "toni"), bleed("2026-01-12", "sam")}
}

// all is threeClean, the lesson read, and more.
func all(more ...Record) []Record {
	return append(append(threeClean(), reading("2026-01-02", "bleeding", "e3")), more...)
}

func judgeSample(t *testing.T, evidence []Record, asOf string) Verdict {
	t.Helper()
	return AssessOne(sampleCatalogue(), evidence, samplePolicy(), DefaultParameters(), "ana", "bleed", asOf, Options{Explain: true})
}

func gateOf(t *testing.T, v Verdict, name string) Gate {
	t.Helper()
	for _, g := range v.Gates {
		if g.Gate == name {
			return g
		}
	}
	t.Fatalf("no gate %s in %v", name, v.Gates)
	return Gate{}
}

func codes(reasons []Reason) string {
	all := make([]string, len(reasons))
	for i, r := range reasons {
		all[i] = r.Code
	}
	return strings.Join(all, " ")
}
