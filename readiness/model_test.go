package readiness

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// rowOfCleanJobs is the estimate after n clean jobs, one a week, of a task with so many steps, the first of them critical.
func rowOfCleanJobs(m *model, steps, critical, n int, target float64) estimate {
	task := CatalogueTask{Task: "t"}
	for i := range steps {
		task.Steps = append(task.Steps, CatalogueStep{Step: fmt.Sprint("s", i), Critical: i < critical})
	}
	t := m.task(newTaskFacts(task), DefaultPolicy().JobMix)
	e := &evidence{}
	for i := range n {
		e = e.with(t.cleanJob(day(7 * i)))
	}
	density := t.density(m.generalFrom([]*taskModel{t}, [][]float64{nil}, -1), t.likelihood(e))
	return t.judge(density, m.owed(e.practice, day(7*max(0, n-1))), target)
}

// How many clean jobs make sure enough, from nothing: the table of the package documentation.
func TestCleanJobsNeeded(t *testing.T) {
	m := newModel(DefaultParameters())
	for _, row := range cleanJobsTable {
		n := 0
		for n < 40 && rowOfCleanJobs(m, row.steps, row.critical, n, row.target).confidence < row.confidence {
			n++
		}
		if n != row.jobs {
			t.Errorf("%d steps, %d critical, target %v, confidence %v: %d clean jobs, the documentation says %d", row.steps, row.critical, row.target, row.confidence, n, row.jobs)
		}
	}
}

// The step of the lattice costs at most this much: against a lattice five times as fine, over drawn histories.
func TestAgainstFineLattice(t *testing.T) {
	coarse, fine := newModel(DefaultParameters()), newModelOn(DefaultParameters(), abilityStep/5)
	worst := estimate{}
	rapid.Check(t, func(r *rapid.T) {
		d := drawn{r}
		p := gather(resolve(d.evidence(), "2026-03-05")["ana"])
		var e [2]estimate
		for i, m := range []*model{coarse, fine} {
			tm := m.task(sampleCatalogue().facts("bleed"), DefaultPolicy().JobMix)
			ev := tm.gatherEvidence(p.task("bleed"))
			density := tm.density(m.generalFrom([]*taskModel{tm}, [][]float64{nil}, -1), tm.likelihood(ev))
			e[i] = tm.judge(density, m.owed(ev.practice, toDay("2026-03-05")), 0.95)
		}
		worst.mean = max(worst.mean, math.Abs(e[0].mean-e[1].mean))
		worst.confidence = max(worst.confidence, math.Abs(e[0].confidence-e[1].confidence))
	})
	if worst.mean > 0.004 || worst.confidence > 0.006 {
		t.Errorf("off by %v", worst)
	}
	t.Logf("off by at most %.3f in probability and %.3f in confidence", worst.mean, worst.confidence)
}

// known is a snapshot that knows the supervisors of the sample.
func known(values ...SupervisorValue) Parameters {
	p := DefaultParameters()
	p.Supervisors = values
	return p
}

func judgeWith(evidence []Record, p Parameters) Verdict {
	return AssessOne(sampleCatalogue(), evidence, propertyPolicy(), p, "ana", "bleed", "2026-03-05", Options{})
}

// A clean job counts for more under a stricter supervisor, for less under one who signs unseen, and for less if its steps
// were ticked in bulk, whatever else is known.
func TestWhatACleanJobIsWorth(t *testing.T) {
	checkProperty(t, func(t *rapid.T) {
		d := drawn{t}
		evidence := d.evidence()
		mild := float64(rapid.IntRange(-20, 19).Draw(t, "mild")) / 10
		strict := mild + float64(rapid.IntRange(1, 20).Draw(t, "stricter by"))/10
		u := float64(rapid.IntRange(0, 9).Draw(t, "unseen")) / 10
		p := known(SupervisorValue{"mild", mild, 0.2, u}, SupervisorValue{"strict", strict, 0.2, u}, SupervisorValue{"sleepy", mild, 0.2, min(1, u+0.1)})
		date := d.date()
		with := func(supervisor string, changes ...change) Verdict {
			return judgeWith(append(slices.Clone(evidence), bleed(date, supervisor, changes...)), p)
		}
		less := func(what string, a, b Verdict) {
			if a.Probability > b.Probability || a.Confidence > b.Confidence {
				t.Fatalf("%s: %s\nand\n%s", what, a.JSON(false), b.JSON(false))
			}
		}
		less("a milder supervisor", with("mild"), with("strict"))
		less("one who signs unseen", with("sleepy"), with("mild"))
		less("bulk", with("mild", bulkAt("bleeding/cut"), bulkAt("bleeding/fill")), with("mild"))
	})
}

// Ten records of somebody who signs unseen nine times out of ten are worth less than two of somebody who looks.
func TestTenUnseenRecords(t *testing.T) {
	p := known(SupervisorValue{"sleepy", 0, 0.2, 0.9}, SupervisorValue{"awake", 0, 0.2, 0})
	var ten, two []Record
	for i := range 10 {
		date := (firstDay + day(3*i)).String()
		ten = append(ten, bleed(date, "sleepy"))
		if i >= 8 {
			two = append(two, bleed(date, "awake"))
		}
		// the practice is the same
		two = append(two, Record{Type: "unwatched_job", Apprentice: "ana", Task: "bleed", Date: date})
	}
	if a, b := judgeWith(ten, p), judgeWith(two, p); a.Confidence > b.Confidence {
		t.Errorf("ten unseen %v, two seen %v", a.Confidence, b.Confidence)
	}
}

// What the model takes from each record, from the estimate it leaves.
func TestWhatRecordsSay(t *testing.T) {
	base := threeClean()
	before := judgeWith(base, DefaultParameters())
	for _, row := range []struct {
		name string
		more Record
		way  int // −1 lower, 0 the same, 1 higher
	}{
		{"clean", bleed("2026-01-20", "sam"), 1},
		{"awkward and clean", bleed("2026-01-20", "sam", func(r *Record) { r.Difficulty = "awkward" }), 1},
		{"prompted at critical steps", bleed("2026-01-20", "sam", at("bleeding/cut", "prompted"), at("bleeding/open-screw@LF", "taken_over")), -1},
		{"critical error", bleed("2026-01-20", "sam", errorAt("bleeding/cut")), -1},
		{"sound spot check", rec("spot_check", "2026-01-20", finding("sound")), 1},
		{"flaw", rec("spot_check", "2026-01-20", finding("flaw")), -1},
		{"unsafe", rec("spot_check", "2026-01-20", finding("unsafe")), -1},
		{"our work", rec("return", "2026-01-20", finding("our_work")), -1},
		{"a part", rec("return", "2026-01-20", finding("part")), 0},
		{"unwatched job", rec("unwatched_job", "2026-01-20"), 1},
		{"right answers", Record{Type: "answers", Apprentice: "ana", Date: "2026-01-20", Answers: manyAnswers(12, true)}, 1},
		{"wrong answers", Record{Type: "answers", Apprentice: "ana", Date: "2026-01-20", Answers: manyAnswers(12, false)}, -1},
		{"another task", Record{Type: "return", Apprentice: "ana", Task: "caliper", Date: "2026-01-20", Finding: "our_work"}, -1},
	} {
		now := judgeWith(append(slices.Clone(base), row.more), DefaultParameters())
		way := 0
		switch {
		case now.Probability > before.Probability:
			way = 1
		case now.Probability < before.Probability:
			way = -1
		}
		if way != row.way {
			t.Errorf("%s: from %v to %v", row.name, before.Probability, now.Probability)
		}
	}
}

func manyAnswers(n int, correct bool) (all []AnswerResult) {
	for i := range n {
		all = append(all, AnswerResult{Question: fmt.Sprint("q", i), Task: "bleed", Correct: correct})
	}
	return all
}

// Supervisors who share no apprentices stand in different sets, each with the mean 0.
func TestSeveritySets(t *testing.T) {
	var evidence []Record
	for i, who := range []string{"ana", "bo", "cy", "dee"} {
		for j := range 6 {
			sup := [][]string{{"sam", "toni"}, {"toni", "uma"}, {"vic", "wes"}, {"vic", "wes"}}[i][j%2]
			r := bleed((firstDay + day(j)).String(), sup, func(r *Record) { r.Apprentice = who })
			if sup == "toni" || sup == "wes" && j > 2 {
				r.Steps[1].Result = "prompted"
			}
			evidence = append(evidence, r)
		}
	}
	all := Severities(sampleCatalogue(), evidence, DefaultParameters())
	sums := map[string]float64{}
	var got []string
	for _, s := range all {
		sums[s.Set] += s.Severity
		got = append(got, s.Set+":"+s.Supervisor)
		if s.Jobs == 0 || s.SE <= 0 {
			t.Errorf("%v", s)
		}
	}
	if want := []string{"sam:sam", "sam:toni", "sam:uma", "vic:vic", "vic:wes"}; !slices.Equal(got, want) {
		t.Errorf("sets: got %v, want %v", got, want)
	}
	for set, sum := range sums {
		if math.Abs(sum) > 0.02 {
			t.Errorf("set %s has the sum %v", set, sum)
		}
	}
	if all[1].Severity <= all[0].Severity || all[4].Severity <= all[3].Severity {
		t.Errorf("those who prompt are not the stricter: %v", all)
	}
}

// cleanJobsTable is the table of the package documentation and a little more.
var cleanJobsTable = []struct {
	steps, critical    int
	target, confidence float64
	jobs               int
}{
	{12, 5, 0.80, 0.80, 1}, {12, 5, 0.95, 0.80, 3}, {12, 5, 0.95, 0.90, 5}, {12, 5, 0.97, 0.90, 7}, {12, 5, 0.98, 0.90, 10},
	{6, 3, 0.80, 0.80, 1}, {6, 3, 0.95, 0.80, 5}, {6, 3, 0.95, 0.90, 6},
	{20, 8, 0.95, 0.80, 3}, {20, 8, 0.95, 0.90, 4},
	{0, 0, 0.80, 0.80, 2}, {0, 0, 0.95, 0.90, 13},
}
