package say

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"brakewright/readiness"
)

// Every code that package readiness can return has words, and there are no words without a code. The codes are read from
// its source: they are the only strings there that look like codes and stand where codes stand.
func TestEveryCodeHasWords(t *testing.T) {
	files, err := filepath.Glob("../../readiness/*.go")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	patterns := map[string]*regexp.Regexp{
		"gate":   regexp.MustCompile(`\b(?:open|closed)\((?:"\w+"|name), "(\w+)"`),
		"reason": regexp.MustCompile(`\breason\("(\w+)"`),
		"code":   regexp.MustCompile(`\bcode := "(\w+)"|\bcode = "(\w+)"|\breturn "(moved_\w+)"`),
		"input":  regexp.MustCompile(`"(input_\w+)"`),
		"policy": regexp.MustCompile(`"(policy_\w+)"`),
	}
	used := map[string]map[string]bool{"reasons": {}, "input": {}, "policy": {}}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		source, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for kind, pattern := range patterns {
			for _, m := range pattern.FindAllStringSubmatch(string(source), -1) {
				for _, code := range m[1:] {
					switch {
					case code == "":
					case kind == "input" || kind == "policy":
						used[kind][code] = true
					default:
						used["reasons"][code] = true
					}
				}
			}
		}
	}
	// Codes that are put together.
	for _, gate := range []string{"jobs", "supervisors", "layouts"} {
		for _, end := range []string{"_not_asked", "_enough", "_short"} {
			used["reasons"][gate+end] = true
		}
	}
	for _, code := range []string{"cleared_until", "cleared_waived_until", "untried", "building", "ready_for_decision",
		"other_supervisors", "different_supervisors", "other_layouts", "different_layouts", "critical_steps_missing_all", "rests_on_all"} {
		used["reasons"][code] = true
	}
	used["policy"]["policy_unknown_key_far"] = true // said by PolicyFault

	for kind, words := range map[string]map[string]string{"reasons": reasonWords, "input": inputWords, "policy": policyWords} {
		codes := slices.Sorted(maps.Keys(used[kind]))
		if have := slices.Sorted(maps.Keys(words)); !slices.Equal(codes, have) {
			for _, c := range codes {
				if words[c] == "" {
					t.Errorf("%s: no words for %s", kind, c)
				}
			}
			for _, w := range have {
				if !used[kind][w] {
					t.Errorf("%s: nobody says %s", kind, w)
				}
			}
		}
	}
	for _, gate := range readiness.GateNames {
		if gateNames[gate] == "" {
			t.Errorf("no name for gate %s", gate)
		}
	}
}

func TestReasons(t *testing.T) {
	args := func(pairs ...string) map[string]string {
		m := map[string]string{}
		for i := 0; i < len(pairs); i += 2 {
			m[pairs[i]] = pairs[i+1]
		}
		return m
	}
	for _, row := range []struct{ got, want string }{
		{Reason(readiness.Reason{Code: "watched_jobs", Args: args("jobs", "1")}), "1 more watched job, every step unaided and without a critical error."},
		{Reason(readiness.Reason{Code: "watched_jobs", Args: args("jobs", "3")}), "3 more watched jobs, every step unaided and without a critical error."},
		{Gate(readiness.Gate{Gate: "jobs", Why: "jobs_short", Args: args("have", "1", "need", "5")}), "1 watched job; 5 asked."},
		{GateName("recency"), "Recent work"},
		{Standing(readiness.ReadyForDecision), "Ready for decision"},
		{Gate(readiness.Gate{Gate: "critical_steps", Why: "critical_steps_missing", Args: args("have", "0", "need", "2", "steps", "l/a, l/b")}), "None of the 2 critical steps has been seen done unaided yet."},
		{Reason(readiness.Reason{Code: "moved_job", Args: args("date", "2026-01-02", "was", "96.1", "now", "100")}), "The watched job of 2026-01-02 moved the estimate from 96.1 % to more than 99.9 %."},
		{Reason(readiness.Reason{Code: "rests_on", Args: args("jobs", "1", "clean", "0", "failed", "0")}), "That rests on 1 watched job (0 of them clean) and no critical error."},
		{Reason(readiness.Reason{Code: "other_supervisors", Args: args("supervisors", "1")}), "1 of these with a supervisor who has not watched this task yet."},
		{Reason(readiness.Reason{Code: "new_code", Args: args("b", "2", "a", "1")}), "new_code a=1 b=2"},
		{InputFault(readiness.InputError{Line: 3, Field: "date", Code: "input_bad_date", Args: args("value", "2026-02-30")}), "line 3: date: “2026-02-30” is not a date (YYYY-MM-DD)"},
		{InputFault(readiness.InputError{Code: "input_not_utf8"}), "this is not UTF-8 text"},
		{PolicyFault(readiness.PolicyFault{Code: "policy_unknown_key", Args: args("key", "taget", "nearest", "target")}), "There is no key taget. The nearest is target."},
		{PolicyFault(readiness.PolicyFault{Code: "policy_unknown_key", Args: args("key", "xyzzy", "nearest", "")}), "There is no key xyzzy."},
	} {
		if row.got != row.want {
			t.Errorf("got %q, want %q", row.got, row.want)
		}
	}
}

// Arguments, words that go with a number, and braces that are none.
func TestFill(t *testing.T) {
	for _, row := range []struct{ template, want string }{
		{"", ""}, {"plain", "plain"}, {"{a}", "1"}, {"{a:job|jobs} and {b:job|jobs}", "1 job and 2 jobs"}, {"{b:sheep}", "2 sheep"}, {"{c:job|jobs|no job}, {c:job|jobs}", "no job, 0 jobs"}, {"{none}", ""}, {"{open", "{open"}, {"a}b", "a}b"},
	} {
		if got := fill(row.template, map[string]string{"a": "1", "b": "2", "c": "0"}); got != row.want {
			t.Errorf("%q: got %q, want %q", row.template, got, row.want)
		}
	}
}

// The golden verdicts of package readiness bring every argument that the words ask for.
func TestGoldenReasonsHaveTheirArguments(t *testing.T) {
	file, err := os.Open("../../readiness/testdata/verdicts.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	placeholder := regexp.MustCompile(`\{(\w+)`)
	check := func(code string, args map[string]string) {
		for _, m := range placeholder.FindAllStringSubmatch(reasonWords[code], -1) {
			if _, there := args[m[1]]; !there {
				t.Errorf("%s: no argument %s in %v", code, m[1], args)
			}
		}
	}
	lines := json.NewDecoder(file)
	for lines.More() {
		var v readiness.Verdict
		if err := lines.Decode(&v); err != nil {
			t.Fatal(err)
		}
		for _, g := range v.Gates {
			check(g.Why, g.Args)
		}
		for _, r := range slices.Concat(v.Reasons, v.Next) {
			check(r.Code, r.Args)
		}
	}
}
