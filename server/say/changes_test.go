package say

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"testing"

	"brakewright/curriculum"
)

// TestEveryChangeIsSaid takes every code that the sources of the diff hold.
func TestEveryChangeIsSaid(t *testing.T) {
	tree, err := parser.ParseFile(token.NewFileSet(), "../../curriculum/change.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var codes []string
	ast.Inspect(tree, func(n ast.Node) bool {
		lit, ok := n.(*ast.BasicLit)
		if !ok || lit.Kind != token.STRING {
			return true
		}
		s, _ := strconv.Unquote(lit.Value)
		if strings.Contains(s, "_") && !strings.HasSuffix(s, "_") {
			codes = append(codes, s)
			if strings.HasPrefix(s, "figure_") || strings.HasPrefix(s, "limit_") {
				codes = append(codes, "vehicle_"+s)
			}
		}
		return true
	})
	if len(codes) < 50 {
		t.Fatalf("only %d codes found in the sources", len(codes))
	}
	for _, code := range codes {
		isSaid(t, code, Change(curriculum.Change{Code: code}))
	}
	for code := range changeWords {
		if !slices.Contains(codes, code) {
			t.Errorf("words for %q, which nothing says", code)
		}
	}
	got := Change(curriculum.Change{Code: "policy_changed", Args: map[string]string{"value": "tasks.bleed.layouts", "from": "", "to": "2"}})
	if want := "Policy, tasks.bleed.layouts: from nothing to 2."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, row := range []struct {
		c    curriculum.Change
		want string
	}{
		{curriculum.Change{Ask: curriculum.AskNothing}, "Nobody has to do anything."},
		{curriculum.Change{Ask: curriculum.AskJob}, "At once: read the change and be seen doing the step unaided in a watched job."},
		{curriculum.Change{Ask: curriculum.AskRead, Within: 1}, "Within 1 day: read and confirm the change."},
		{curriculum.Change{Ask: curriculum.AskTest, Within: 30}, "Within 30 days: read the change and pass a new theory test."},
	} {
		if got := Ask(row.c); got != row.want {
			t.Errorf("got %q, want %q", got, row.want)
		}
	}
}
