package readiness

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.yaml.in/yaml/v4"
)

func TestReadPolicy(t *testing.T) {
	target, sure := 0.97, 0.8
	asked := DefaultPolicy()
	asked.Target, asked.Confidence = 0.9, 0.85
	asked.JobMix = map[string]float64{"routine": 0, "usual": 1, "awkward": 0}
	asked.Induction = "shop"
	asked.SupervisorsAvailable, asked.BackdatingDays, asked.CountersignDays, asked.ReviewDays, asked.GraceDays, asked.RetentionYears = 4, 7, 8, 9, 10, 11
	asked.Retention = map[RecordKind]int{TrainingRecord: 7, AccountRecord: 0}
	asked.Tasks = map[string]TaskPolicy{
		"bleed": {Target: &target, Confidence: &sure, Jobs: 6, Supervisors: 3, Layouts: 2, RecencyDays: 20, LapseDays: 100, JobsPerMonth: 1.5,
			TheoryTest: &TheoryTest{Blueprint: "b", PassPercent: 75, Watched: true}},
		"swap": {Jobs: 5, Supervisors: 2, RecencyDays: 60, LapseDays: 180, TheoryTest: &TheoryTest{Blueprint: "s", PassPercent: 80}},
	}
	block := `
target: 0.9
confidence: 0.85
job_mix: {usual: 1}
induction: shop
supervisors_available: 4
backdating_days: 7
countersign_days: 8
review_days: 9
grace_days: 10
retention_years: 11
retention: {training: 7, account: 0, matters: null}
tasks:
  bleed: {target: 0.97, confidence: 0.80, jobs: 6, supervisors: 3, layouts: 2, recency_days: 20, lapse_days: 100, jobs_per_month: 1.5, theory_test: {blueprint: b, pass_percent: 75, watched: true}}
  swap: {theory_test: {blueprint: s}, layouts: null, jobs: 5.0}
`
	everywhere := DefaultPolicy()
	everywhere.Tasks = map[string]TaskPolicy{
		"*": {Target: &target, Jobs: 2, Supervisors: 2, RecencyDays: 60, LapseDays: 180, TheoryTest: &TheoryTest{Blueprint: "b", PassPercent: 80}},
		"a": {Target: &target, Jobs: 2, Supervisors: 1, RecencyDays: 60, LapseDays: 180},
	}
	for _, row := range []struct {
		name, in string
		want     Policy
	}{
		{"nothing", "", DefaultPolicy()},
		{"null", "null", DefaultPolicy()},
		{"empty", "{}", DefaultPolicy()},
		{"comments", "# nothing\n", DefaultPolicy()},
		{"nulls", "target: null\ntasks:\n", DefaultPolicy()},
		{"no kind of record", "retention: {}\n", DefaultPolicy()},
		{"a block", block, asked},
		{"a whole programme", "title: x\npolicy:" + strings.ReplaceAll(block, "\n", "\n  ") + "\ntasks: []\n", asked},
		{"JSON", string(asked.JSON()), asked},
		{"JSON with tabs", strings.ReplaceAll(string(asked.JSON()), ":", "\t:\t"), asked},
		{"JSON over lines with tabs", strings.ReplaceAll(string(asked.JSON()), ",", ",\n\t"), asked},
		{"for every task", "tasks:\n  a: {supervisors: 1, theory_test: null}\n  '*': {target: 0.97, jobs: 2, theory_test: {blueprint: b}}\n", Policy{}},
		{"an anchor", "tasks:\n  bleed: &b {jobs: 4}\n  swap: *b\n", Policy{}},
	} {
		if row.name == "for every task" {
			row.want = everywhere
			a := row.want.Tasks["a"]
			row.want.Tasks["a"] = TaskPolicy{Target: a.Target, Jobs: 2, Supervisors: 1, RecencyDays: 60, LapseDays: 180, TheoryTest: row.want.Tasks["*"].TheoryTest}
		}
		if row.name == "an anchor" {
			row.want = DefaultPolicy()
			both := TaskPolicy{Jobs: 4, Supervisors: 2, RecencyDays: 60, LapseDays: 180}
			row.want.Tasks = map[string]TaskPolicy{"bleed": both, "swap": both}
		}
		got, faults := ReadPolicy([]byte(row.in))
		if len(faults) > 0 {
			t.Errorf("%s: %v", row.name, faults)
		}
		if d := cmp.Diff(row.want, got); d != "" {
			t.Errorf("%s: (-want +got)\n%s", row.name, d)
		}
	}
}

func TestPolicyFaults(t *testing.T) {
	for _, row := range []struct{ in, want string }{
		{"- 1", "1:1 policy_not_a_mapping"},
		{"7", "1:1 policy_not_a_mapping"},
		{"a: [\nb: ]", "1:1 policy_unknown_key a"},
		{"a: {\nb", "policy_unreadable"},
		{"taget: 0.9", "1:1 policy_unknown_key taget nearest target"},
		{"target: 0.9\ntarget: 0.8", "2:1 policy_duplicate_key target"},
		{"target: 0", "1:9 policy_out_of_range target"},
		{"target: 1", "1:9 policy_out_of_range target"},
		{"target: 1.5", "1:9 policy_out_of_range target"},
		{"target: -0.5", "1:9 policy_out_of_range target"},
		{"target: .nan", "1:9 policy_not_a_number target"},
		{"target: 0x1", "1:9 policy_not_a_number target"},
		{"target: '0.9'", "1:9 policy_not_a_number target"},
		{"target: [0.9]", "1:9 policy_not_a_number target"},
		{"job_mix: {usual: 0.5, routine: 0.4}", "1:10 policy_job_mix_sum job_mix 0.9"},
		{"job_mix: {usual: 0.5, hard: 0.5}", "1:23 policy_unknown_key job_mix.hard"},
		{"job_mix: 1", "1:10 policy_not_a_mapping job_mix"},
		{"induction: [a]", "1:12 policy_not_text induction"},
		{"backdating_days: 1.5", "1:18 policy_not_whole backdating_days"},
		{"backdating_days: -1", "1:18 policy_out_of_range backdating_days"},
		{"backdating_days: 1e9", "1:18 policy_out_of_range backdating_days"},
		{"retention: 5", "1:12 policy_not_a_mapping retention"},
		{"retention: {trainings: 5}", "1:13 policy_unknown_key retention.trainings nearest training"},
		{"retention: {training: 101, account: -1}", "1:23 policy_out_of_range retention.training, 1:37 policy_out_of_range retention.account"},
		{"retention: {training: 5.5}", "1:23 policy_not_whole retention.training"},
		{"retention: {training: five}", "1:23 policy_not_a_number retention.training"},
		{"retention: {training: 5, training: 6}", "1:26 policy_duplicate_key retention.training"},
		{"tasks: [a]", "1:8 policy_not_a_mapping tasks"},
		{"tasks:\n  a: 5", "2:6 policy_not_a_mapping tasks.a"},
		{"tasks:\n  a: {job: 5}\n  b: {lapse_days: 0}", "2:7 policy_unknown_key tasks.a.job nearest jobs, 3:19 policy_out_of_range tasks.b.lapse_days"},
		{"tasks:\n  a: {}\n  a: {}", "3:3 policy_duplicate_key tasks.a"},
		{"tasks:\n  [x]: {}", "2:3 policy_not_text tasks.?"},
		{"tasks: {a: {theory_test: {pass_percent: 101}}}", "1:26 policy_missing tasks.a.theory_test.blueprint, 1:41 policy_out_of_range tasks.a.theory_test.pass_percent"},
		{"tasks: {a: {theory_test: {blueprint: b, watched: 1}}}", "1:50 policy_not_true_or_false tasks.a.theory_test.watched"},
		{"job_mix: {routine: 0.333, usual: 0.333, awkward: 0.334}", ""},
		{"job_mix: {routine: 0.3333333333333333, usual: 0.3333333333333333, awkward: 0.3333333333333333}", ""},
	} {
		p, faults := ReadPolicy([]byte(row.in))
		var got []string
		for _, f := range faults {
			s := fmt.Sprintf("%d:%d %s %s", f.Line, f.Column, f.Code, f.Args["key"])
			if f.Args["nearest"] != "" {
				s += " nearest " + f.Args["nearest"]
			}
			if f.Args["sum"] != "" {
				s += " " + f.Args["sum"]
			}
			got = append(got, strings.TrimSpace(s))
		}
		text := strings.Join(got, ", ")
		if row.want == "policy_unreadable" {
			if len(faults) != 1 || faults[0].Code != row.want || faults[0].Line < 1 || faults[0].Args["text"] == "" {
				t.Errorf("%q: got %v", row.in, faults)
			}
			continue
		}
		if text != row.want {
			t.Errorf("%q: got %s, want %s", row.in, text, row.want)
		}
		if len(faults) > 0 && p.Hash() != DefaultPolicy().Hash() {
			t.Errorf("%q: a policy in spite of faults", row.in)
		}
	}
}

// Every kind of record is kept for its own years, or those of all.
func TestKeptYears(t *testing.T) {
	p, faults := ReadPolicy([]byte("retention_years: 6\nretention: {training: 9, account: 0}"))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for kind, want := range map[RecordKind]int{TrainingRecord: 9, AccountRecord: 0, MatterRecord: 6, ClearanceRecord: 6} {
		if got := p.KeptYears(kind); got != want {
			t.Errorf("%s: %d years, want %d", kind, got, want)
		}
	}
}

func TestPolicyDefaults(t *testing.T) {
	want := `{"backdating_days":14,"confidence":0.9,"countersign_days":14,"grace_days":30,"job_mix":{"awkward":0.2,"routine":0.3,"usual":0.5},"retention_years":5,"review_days":90,"supervisors_available":3,"target":0.95,"tasks":{}}`
	if got := string(DefaultPolicy().JSON()); got != want {
		t.Errorf("got %s", got)
	}
	p := DefaultPolicy()
	got := p.Task("any")
	if *got.Target != 0.95 || *got.Confidence != 0.9 || got.Jobs != 5 || got.Supervisors != 2 || got.Layouts != 0 || got.RecencyDays != 60 || got.LapseDays != 180 || got.TheoryTest != nil {
		t.Errorf("got %+v", got)
	}
	p.Tasks["none"] = TaskPolicy{}
	if none := p.Task("none"); none.Jobs != 0 || none.Supervisors != 0 || none.RecencyDays != 60 || none.LapseDays != 180 {
		t.Errorf("explicit zeros: got %+v", none)
	}
	if len(DefaultPolicy().Tasks) != 0 {
		t.Error("defaults are shared")
	}
	// What is printed reads back as what holds.
	printed, faults := ReadPolicy(p.Filled([]string{"any", "none"}).JSON())
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for _, task := range []string{"any", "none", "other"} {
		if d := cmp.Diff(p.Task(task), printed.Task(task)); d != "" {
			t.Errorf("%s: (-want +got)\n%s", task, d)
		}
	}
}

func TestNilPolicyNodes(t *testing.T) {
	for _, n := range []*yaml.Node{nil, {}, {Kind: yaml.DocumentNode}} {
		if p, faults := DecodePolicy(n); len(faults) > 0 || p.Hash() != DefaultPolicy().Hash() {
			t.Errorf("%v: %v", n, faults)
		}
	}
	circle := &yaml.Node{Kind: yaml.AliasNode}
	circle.Alias = circle
	if _, faults := DecodePolicy(circle); len(faults) == 0 {
		t.Error("an alias of itself passes")
	}
}

func FuzzReadPolicy(f *testing.F) {
	golden, err := os.ReadFile("testdata/policy.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(golden)
	f.Add([]byte("tasks:\n  a: &a {jobs: 1}\n  <<: *a\n"))
	f.Add([]byte(`{"tasks":{"\u0000":{"target":1e-9}},"job_mix":{"usual":1}}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, faults := ReadPolicy(b)
		if len(faults) > 0 {
			for _, fault := range faults {
				if fault.Line < 1 || fault.Column < 1 {
					t.Fatalf("no place: %+v", fault)
				}
			}
			return
		}
		if !json.Valid(p.JSON()) {
			t.Fatalf("not JSON: %s", p.JSON())
		}
		again, faults := ReadPolicy(p.JSON())
		if len(faults) > 0 || again.Hash() != p.Hash() {
			t.Fatalf("read again: %v\n%s\n%s", faults, p.JSON(), again.JSON())
		}
	})
}
