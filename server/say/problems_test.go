package say

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"brakewright/curriculum"
)

var slot = regexp.MustCompile(`\{([a-z_]+)(?::[^}]*)?\}`)

func TestEveryProblemHasWords(t *testing.T) {
	listed := map[string]bool{}
	for _, c := range curriculum.Codes() {
		listed[c.Code] = true
		text, ok := problemTexts[c.Code]
		if !ok {
			t.Errorf("no words for %s", c.Code)
			continue
		}
		for _, s := range []string{text.message, text.cause, text.cure} {
			if s == "" || !strings.ContainsAny(s[len(s)-1:], ".…") {
				t.Errorf("%s: %q is no sentence", c.Code, s)
			}
			for _, m := range slot.FindAllStringSubmatch(s, -1) {
				if !slices.Contains(c.Args, m[1]) {
					t.Errorf("%s: nothing fills {%s}", c.Code, m[1])
				}
			}
		}
	}
	for _, code := range ProblemCodes() {
		if !listed[code] {
			t.Errorf("words for %s, which curriculum does not know", code)
		}
	}
}

func TestProblemSays(t *testing.T) {
	tests := []struct {
		name, want string
		problem    curriculum.Problem
	}{
		{"arguments are filled in", "The order runs in a circle: a → b → a.",
			curriculum.Problem{Code: "cycle", Args: map[string]string{"chain": "a → b → a"}}},
		{"braces that show the format stay", "Add {#some-id} at the end of its first line.",
			curriculum.Problem{Code: "step_without_id", Args: map[string]string{"title": "x"}}},
		{"the axle stays", "{axle} stands for front or rear of the wheel at hand.",
			curriculum.Problem{Code: "axle_without_wheel", Args: map[string]string{"key": "k", "step": "s"}}},
		{"a car's field comes first", "figures[2].unit: The unit Nm is unknown.",
			curriculum.Problem{Code: "unknown_unit", Args: map[string]string{"unit": "Nm", "nearest": "N·m", "field": "figures[2].unit"}}},
		{"one and many", "The section faults has 1 row; the original has 2.",
			curriculum.Problem{Code: "translation_count", Args: map[string]string{"section": "faults", "count": "1", "original": "2"}}},
		{"unknown codes hide nothing", "new_code key=k",
			curriculum.Problem{Code: "new_code", Args: map[string]string{"key": "k"}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			message, cause, cure := Problem(tt.problem)
			if message != tt.want && cause != tt.want && cure != tt.want {
				t.Errorf("got %q, %q, %q; want %q among them", message, cause, cure, tt.want)
			}
		})
	}
}
