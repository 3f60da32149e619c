package readiness

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// checkProperty runs a property a thousand times with BRAKEWRIGHT_SOAK=1, else a hundred.
func checkProperty(t *testing.T, property func(t *rapid.T)) {
	t.Helper()
	for range repeats(10) {
		rapid.Check(t, property)
	}
}

// drawn is a random history of three apprentices, with every type of record.
type drawn struct{ t *rapid.T }

const firstDay = day(20454) // 2026-01-01

func (d drawn) date() string {
	return (firstDay + day(rapid.IntRange(0, 60).Draw(d.t, "day"))).String()
}

func (d drawn) of(label string, words ...string) string {
	return rapid.SampledFrom(words).Draw(d.t, label)
}

func (d drawn) flag(label string, percent int) bool {
	return rapid.IntRange(1, 100).Draw(d.t, label) <= percent
}

func (d drawn) apprentice() string { return d.of("apprentice", "ana", "bo", "cy") }
func (d drawn) task() string       { return d.of("task", "bleed", "bleed", "caliper", "induction") }
func (d drawn) person() string     { return d.of("person", "sam", "toni", "uma", "co") }

func (d drawn) job(apprentice, task, date string) Record {
	r := Record{Type: "job", Apprentice: apprentice, Task: task, Date: date, Supervisor: d.of("supervisor", "sam", "toni", "uma"),
		Layout: d.of("layout", "", "diagonal", "front-rear"), Difficulty: d.of("difficulty", "", "routine", "awkward"),
		Outcome: d.of("outcome", "", "finished", "finished", "rightly_stopped", "stopped_by_supervisor", "interrupted"), NearMiss: d.flag("near miss", 5)}
	steps := map[string][]string{"bleed": {"bleeding/fill", "bleeding/cut", "bleeding/open-screw@RR", "bleeding/open-screw@LF"}, "caliper": {"caliper/bolts"}}[task]
	for _, step := range steps {
		s := StepResult{Step: step, Result: "unaided"}
		if d.flag("not unaided", 10) {
			s.Result = d.of("result", "prompted", "taken_over", "not_reached", "not_applicable")
		}
		s.Bulk = d.flag("bulk", 5)
		s.CriticalError = s.Result != "not_reached" && s.Result != "not_applicable" && d.flag("critical error", 4)
		r.Steps = append(r.Steps, s)
	}
	return r
}

func (d drawn) record(ids []string) Record {
	r := Record{Apprentice: d.apprentice(), Task: d.task(), Date: d.date()}
	target := d.of("target", append([]string{"nothing"}, ids...)...)
	switch kind := rapid.IntRange(0, 39).Draw(d.t, "kind"); kind {
	case 0:
		r.Type = "unwatched_job"
	case 1:
		r.Type, r.Supervisor, r.Finding = "spot_check", d.person(), d.of("finding", "sound", "flaw", "unsafe")
	case 2:
		r.Type, r.Finding = "return", d.of("finding", "our_work", "part", "other", "unknown")
	case 3:
		r.Type, r.Answers, r.Task = "answers", []AnswerResult{{Question: "q", Task: r.Task, Correct: true}}, ""
	case 4, 5:
		r.Type, r.Passed, r.Watched = "theory_test", d.flag("passed", 70), d.flag("watched", 70)
	case 6, 7:
		r.Type, r.Task, r.Lesson, r.Edition = "reading", "", d.of("lesson", "bleeding", "shop"), d.of("edition", "e1", "e2", "e3", "s1")
	case 8, 9, 10:
		r.Type, r.By, r.Waiver = "clearance", StringOrList{d.person()}, d.flag("waiver", 30)
		if d.flag("until", 30) {
			r.Until = d.date()
		}
	case 11:
		r.Type, r.By = "stand_down", StringOrList{d.person()}
		if d.flag("all tasks", 30) {
			r.Task = ""
		}
	case 12:
		r.Type, r.By = "restore", StringOrList{d.person()}
		if d.flag("all tasks", 30) {
			r.Task = ""
		}
	case 13:
		r.Type, r.By, r.StandsFor, r.Jobs = "recognition", StringOrList{"co", "sam"}, []string{d.of("gate", GateNames...)}, rapid.IntRange(0, 2).Draw(d.t, "jobs")
	case 14:
		r = Record{Type: "leave", Apprentice: r.Apprentice, From: r.Date, To: (toDay(r.Date) + day(rapid.IntRange(0, 20).Draw(d.t, "days"))).String()}
	case 15, 16:
		r = Record{Type: "dispute", Disputes: target, Date: r.Date}
	case 17:
		r = Record{Type: "settlement", Disputes: target, Date: r.Date, Upheld: d.flag("upheld", 50)}
	case 18:
		r = Record{Type: "correction", Corrects: target, Date: r.Date, Record: json.RawMessage("null")}
		if d.flag("replaced", 50) {
			b, err := json.Marshal(d.job(d.apprentice(), d.task(), d.date()))
			if err != nil {
				d.t.Fatal(err)
			}
			r.Record = b
		}
	default:
		r = d.job(r.Apprentice, r.Task, r.Date)
	}
	return r
}

func (d drawn) evidence() []Record {
	n := rapid.IntRange(0, 40).Draw(d.t, "records")
	all := make([]Record, 0, n)
	var ids []string
	for i := range n {
		r := d.record(ids)
		if d.flag("id", 60) {
			r.ID = fmt.Sprintf("r%d", i)
			ids = append(ids, r.ID)
		}
		all = append(all, r)
	}
	return all
}

func propertyPolicy() Policy {
	p := samplePolicy()
	p.Induction = "induction"
	b := p.Tasks["*"]
	b.Layouts, b.TheoryTest = 2, &TheoryTest{Blueprint: "b", PassPercent: 80, Watched: true}
	p.Tasks["bleed"] = b
	return p
}

func assessAll(evidence []Record, asOf string) []Verdict {
	return Assess(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), asOf, Options{Explain: true})
}

func linesOf(vs []Verdict) string {
	var b bytes.Buffer
	for _, v := range vs {
		b.Write(append(v.JSON(true), '\n'))
	}
	return b.String()
}

func TestOrderDoesNotMatter(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		shuffled := rapid.Permutation(evidence).Draw(t, "shuffled")
		if a, b := linesOf(assessAll(evidence, asOf)), linesOf(assessAll(shuffled, asOf)); a != b {
			t.Fatalf("in order\n%s\nshuffled\n%s", a, b)
		}
	})
}

// What calibrate brings in line with hindsight is what the judge says: the two once mapped different things.
func TestJudgeSaysWhatCalibrateLinedUp(t *testing.T) {
	c, policy, p := sampleCatalogue(), samplePolicy(), DefaultParameters()
	pop := &p.Population
	pop.SureUp, pop.SureDown, pop.SureShift, pop.PaceSD, pop.DeficitSD = 0.6, 1.4, -1.2, 0.8, 1
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		f := newTeacher(c, policy, p)
		everybody := resolve(evidence, asOf)
		for i, v := range Assess(c, evidence, policy, p, asOf, Options{}) {
			x := trial{evidence: f.gathered(gather(everybody[v.Apprentice])), today: toDay(asOf), was: make([]float64, len(c.Tasks))}
			o := f.judged(&x, policy)[i%len(c.Tasks)]
			if lined := lineUp(pop, o.up, o.down); math.Abs(lined-v.Confidence) > 0.00051 {
				t.Fatalf("%s, %s: the judge is %v sure, calibrate lined up %v", v.Apprentice, v.Task, v.Confidence, lined)
			}
		}
	})
}

// An assessor gives the verdicts of one made anew, whatever it has judged before.
func TestAssessorRemembersNothingWrong(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		p := DefaultParameters()
		p.Supervisors = []SupervisorValue{{Supervisor: "sam", Severity: 0.4, SE: 0.2, Unseen: 0.1}}
		o := Options{Explain: d.flag("explain", 30)}
		a := NewAssessor(sampleCatalogue(), samplePolicy(), p, o)
		for range rapid.IntRange(1, 4).Draw(t, "calls") {
			evidence, asOf := d.evidence(), d.date()
			got, want := a.Assess(evidence, asOf), Assess(sampleCatalogue(), evidence, samplePolicy(), p, asOf, o)
			for i := range max(len(got), len(want)) {
				if i >= len(got) || i >= len(want) || !bytes.Equal(got[i].JSON(true), want[i].JSON(true)) {
					t.Fatalf("on %s: got %d verdicts, %v\nanew %d, %v", asOf, len(got), got, len(want), want)
				}
			}
			if one, anew := a.AssessOne(evidence, "ana", "elsewhere", asOf), AssessOne(sampleCatalogue(), evidence, samplePolicy(), p, "ana", "elsewhere", asOf, o); !bytes.Equal(one.JSON(true), anew.JSON(true)) {
				t.Fatalf("got %v, anew %v", one, anew)
			}
		}
	})
}

// Other names for apprentices, supervisors and records give the same verdicts.
func TestNamesDoNotMatter(t *testing.T) {
	names := map[string]string{"ana": "zoe", "bo": "abe", "cy": "may", "sam": "1", "toni": "0", "uma": "sam", "co": "ana"}
	renamed := func(evidence []Record) []Record {
		out := slices.Clone(evidence)
		for i := range out {
			r := &out[i]
			r.Apprentice, r.Supervisor = names[r.Apprentice], names[r.Supervisor]
			r.By = slices.Clone(r.By)
			for j := range r.By {
				r.By[j] = names[r.By[j]]
			}
			for _, id := range []*string{&r.ID, &r.Corrects, &r.Disputes} {
				if *id != "" {
					*id = fmt.Sprintf("%x", *id)
				}
			}
			if r.Type == "correction" && string(r.Record) != "null" {
				var inner Record
				if err := json.Unmarshal(r.Record, &inner); err != nil {
					panic(err)
				}
				inner.Apprentice, inner.Supervisor = names[inner.Apprentice], names[inner.Supervisor]
				r.Record, _ = json.Marshal(inner)
			}
		}
		return out
	}
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		got := map[string]string{}
		for _, v := range assessAll(renamed(evidence), asOf) {
			got[v.Apprentice+" "+v.Task] = string(v.JSON(false)[len(v.Apprentice):])
		}
		for _, v := range assessAll(evidence, asOf) {
			want := string(v.JSON(false)[len(v.Apprentice):])
			was := got[names[v.Apprentice]+" "+v.Task]
			_, want, _ = cutAfter(want, `"task"`)
			_, was, _ = cutAfter(was, `"task"`)
			if was != want {
				t.Fatalf("%s %s: got\n%s\nwant\n%s", v.Apprentice, v.Task, was, want)
			}
		}
	})
}

func cutAfter(s, sep string) (string, string, bool) {
	i := bytes.Index([]byte(s), []byte(sep))
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i:], true
}

// Records dated later are not seen: without them the verdicts are the same.
func TestLaterRecordsAreNotSeen(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		var cut []Record
		for _, r := range evidence {
			if dateOf(&r) <= asOf {
				cut = append(cut, r)
			}
		}
		if a, b := linesOf(assessAll(evidence, asOf)), linesOf(assessAll(cut, asOf)); a != b {
			t.Fatalf("all\n%s\nup to %s\n%s", a, asOf, b)
		}
	})
}

// One apprentice's evidence gives the same verdicts in any cohort.
func TestCohortDoesNotMatter(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		for _, v := range assessAll(evidence, asOf) {
			one := AssessOne(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), v.Apprentice, v.Task, asOf, Options{Explain: true})
			if !bytes.Equal(one.JSON(true), v.JSON(true)) {
				t.Fatalf("alone\n%s\nin the cohort\n%s", one.JSON(true), v.JSON(true))
			}
		}
	})
}

func byKey(vs []Verdict) map[string]Verdict {
	all := map[string]Verdict{}
	for _, v := range vs {
		all[v.Apprentice+" "+v.Task] = v
	}
	return all
}

// One more clean watched job never lowers the estimate and never closes a gate.
func TestOneMoreCleanJob(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		more := bleed(d.date(), d.person(), func(r *Record) { r.Apprentice = d.apprentice() })
		after := byKey(assessAll(append(slices.Clone(evidence), more), asOf))
		for key, before := range byKey(assessAll(evidence, asOf)) {
			now := after[key]
			if now.Probability < before.Probability || now.Confidence < before.Confidence || before.Ready && !now.Ready {
				t.Fatalf("%s: %s\nafter one more clean job\n%s", key, before.JSON(false), now.JSON(false))
			}
			for i, g := range before.Gates {
				if g.OK && !now.Gates[i].OK {
					t.Fatalf("%s: one more clean job closed %s", key, g.Gate)
				}
			}
		}
	})
}

// One more critical error never raises the estimate, however it was seen.
func TestOneMoreCriticalError(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		more := rapid.SampledFrom([]Record{
			bleed("", "sam", errorAt("bleeding/cut")),
			bleed("", "toni", errorAt("bleeding/open-screw@LF"), at("bleeding/open-screw@LF", "taken_over"), outcome("stopped_by_supervisor")),
			{Type: "spot_check", Task: "bleed", Supervisor: "sam", Finding: "unsafe"},
			{Type: "return", Task: "bleed", Finding: "our_work"},
		}).Draw(t, "failure")
		more.Date, more.Apprentice = d.date(), d.apprentice()
		after := byKey(assessAll(append(slices.Clone(evidence), more), asOf))
		for key, before := range byKey(assessAll(evidence, asOf)) {
			if now := after[key]; now.Probability > before.Probability || now.Confidence > before.Confidence {
				t.Fatalf("%s: %s\nafter one more critical error\n%s", key, before.JSON(false), now.JSON(false))
			}
		}
	})
}

// Time alone never turns not ready into ready, opens no gate and never raises the estimate; where the estimate is above the
// target, a year lowers it.
func TestTimeAlone(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		later := (toDay(asOf) + day(rapid.IntRange(1, 400).Draw(t, "days"))).String()
		evidence = slices.DeleteFunc(evidence, func(r Record) bool { return dateOf(&r) > asOf || r.Type == "correction" && len(r.Record) > 4 })
		after := byKey(assessAll(evidence, later))
		for key, before := range byKey(assessAll(evidence, asOf)) {
			now := after[key]
			if now.Ready && !before.Ready || now.Probability > before.Probability || now.Confidence > before.Confidence ||
				toDay(later)-toDay(asOf) > 300 && before.Probability > 0.95 && now.Probability >= before.Probability {
				t.Fatalf("%s: %s\nlater\n%s", key, before.JSON(false), now.JSON(false))
			}
			for i, g := range now.Gates {
				if g.OK && !before.Gates[i].OK {
					t.Fatalf("%s: time alone opened %s", key, g.Gate)
				}
			}
			if before.Standing != Cleared && now.Standing == Cleared {
				t.Fatalf("%s: time alone cleared", key)
			}
		}
	})
}

// Whatever the evidence, a verdict hangs together.
func TestVerdictsHangTogether(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		vs := assessAll(evidence, asOf)
		if len(vs)%3 != 0 || !slices.IsSortedFunc(vs, func(a, b Verdict) int { return bytes.Compare([]byte(a.Apprentice), []byte(b.Apprentice)) }) {
			t.Fatalf("not every apprentice × every task in order:\n%s", linesOf(vs))
		}
		for _, v := range vs {
			open := v.Confidence >= propertyPolicy().Confidence
			for _, g := range v.Gates {
				open = open && g.OK
			}
			switch {
			case v.Ready != open:
				t.Fatalf("ready %v: %s", v.Ready, v.JSON(false))
			case v.Low > v.Probability || v.Probability > v.High:
				t.Fatalf("interval: %s", v.JSON(false))
			case v.Standing == ReadyForDecision && !v.Ready || v.Standing == Building && v.Ready:
				t.Fatalf("standing: %s", v.JSON(false))
			case v.Standing == Cleared && len(v.Next) > 0 && !v.Notes.Waived && v.Confidence >= propertyPolicy().Confidence:
				t.Fatalf("cleared and sure enough, and more to do: %s", v.JSON(true))
			case v.Standing != Cleared && len(v.Next) == 0:
				t.Fatalf("nothing to do: %s", v.JSON(true))
			case len(v.Reasons) == 0:
				t.Fatalf("no reasons: %s", v.JSON(true))
			}
			if !json.Valid(v.JSON(true)) || !json.Valid(v.JSON(false)) {
				t.Fatalf("not JSON: %s", v.JSON(true))
			}
		}
	})
}

// The shortest way leads there: after as many clean jobs as it names, by as many new supervisors and on as many new
// layouts, with lessons read and tests passed, the apprentice is ready.
func TestNextLeadsToReady(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence := d.evidence()
		asOf := (firstDay + 61).String()
		v := AssessOne(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", "bleed", asOf, Options{Explain: true})
		if v.Ready || v.Standing == Cleared {
			return
		}
		jobs := 0
		for _, act := range v.Next {
			switch act.Code {
			case "watched_jobs":
				if _, err := fmt.Sscan(act.Args["jobs"], &jobs); err != nil {
					t.Fatal(err)
				}
			case "restore_first":
				evidence = append(evidence, Record{Type: "restore", Apprentice: "ana", Task: act.Args["task"], Date: asOf, By: StringOrList{"nobody"}})
			case "do_induction":
				evidence = append(evidence, Record{Type: "clearance", Apprentice: "ana", Task: "induction", Date: asOf, By: StringOrList{"nobody"}})
			case "read_lesson", "read_lesson_again":
				evidence = append(evidence, reading(asOf, act.Args["lesson"], "e3"))
			case "take_watched_theory_test":
				evidence = append(evidence, rec("theory_test", asOf, func(r *Record) { r.Passed, r.Watched = true, true }))
			case "wait_for_restore":
				evidence = append(evidence, Record{Type: "restore", Apprentice: "ana", Date: asOf, By: StringOrList{"nobody"}})
			case "jobs_cannot_show":
				t.Fatal("the default target cannot be reached")
			}
		}
		for i := range jobs {
			date := (toDay(asOf) + day(i+1)).String()
			evidence = append(evidence, bleed(date, fmt.Sprintf("new%d", i), layout(fmt.Sprintf("new%d", i))))
		}
		later := AssessOne(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", "bleed", (toDay(asOf) + day(max(1, jobs))).String(), Options{Explain: true})
		if !later.Ready {
			t.Fatalf("before\n%s\nafter\n%s", v.JSON(true), later.JSON(true))
		}
		if jobs > 1 { // one job fewer does not do
			evidence = evidence[:len(evidence)-1]
			fewer := AssessOne(sampleCatalogue(), evidence, propertyPolicy(), DefaultParameters(), "ana", "bleed", (toDay(asOf) + day(jobs)).String(), Options{})
			if fewer.Ready {
				t.Fatalf("%d jobs would have done, not %d", jobs-1, jobs)
			}
		}
	})
}

// The inputs stay as they were.
func TestAssessChangesNothing(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence, asOf := d.evidence(), d.date()
		before, err := json.Marshal(evidence)
		if err != nil {
			t.Fatal(err)
		}
		p := propertyPolicy()
		tasks := maps.Clone(p.Tasks)
		Assess(sampleCatalogue(), evidence, p, DefaultParameters(), asOf, Options{Explain: true})
		after, err := json.Marshal(evidence)
		if err != nil || !bytes.Equal(before, after) || len(tasks) != len(p.Tasks) {
			t.Fatal("Assess changed its input")
		}
	})
}
