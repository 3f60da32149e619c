package say

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"brakewright/store/ledger"
)

// codesOf gathers the string literals that stand as an argument of calls to these functions in a package's sources.
func codesOf(t *testing.T, dir string, at map[string]int) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no sources in %s: %v", dir, err)
	}
	var out []string
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			name := ""
			switch f := call.Fun.(type) {
			case *ast.Ident:
				name = f.Name
			case *ast.SelectorExpr:
				if x, ok := f.X.(*ast.Ident); ok {
					name = x.Name + "." + f.Sel.Name
				}
			}
			i, wanted := at[name]
			if !wanted || i >= len(call.Args) {
				return true
			}
			if lit, ok := call.Args[i].(*ast.BasicLit); ok && lit.Kind == token.STRING {
				s, err := strconv.Unquote(lit.Value)
				if err == nil && !slices.Contains(out, s) {
					out = append(out, s)
				}
			}
			return true
		})
	}
	return out
}

// isSaid fails if a sentence is the code itself, or still holds a brace.
func isSaid(t *testing.T, code, said string) {
	t.Helper()
	if strings.HasPrefix(said, code) || said == "" || strings.ContainsAny(said, "{}") {
		t.Errorf("no words for %q: %q", code, said)
	}
}

func TestEveryRefusalIsSaid(t *testing.T) {
	codes := codesOf(t, "../acts", map[string]int{"refuse": 1, "wrong": 1, "conflict": 0, "tell": 1})
	if len(codes) < 80 {
		t.Fatalf("only %d codes found in the sources", len(codes))
	}
	// Codes that the sources put together.
	for _, kind := range []string{"password", "passphrase"} {
		for _, what := range []string{"_too_short", "_too_long", "_bad_text", "_easily_guessed"} {
			codes = append(codes, kind+what)
		}
	}
	codes = append(codes, "login_locked", "code_locked", "no_key", "key_waiting", "name_needed", "bad_name")
	for _, code := range codes {
		if code == "rule_" || code == "not_allowed" || code == "not_found" || code == "stand_down_unsigned" || code == "car_" {
			continue // said in parts, below
		}
		isSaid(t, code, Refusal(code, map[string]string{"field": "car.title"}))
	}
	for why := range notAllowedWords {
		isSaid(t, why, Refusal("not_allowed", map[string]string{"why": why}))
	}
	for _, what := range codesOf(t, "../acts", map[string]int{"missing": 1}) {
		isSaid(t, what, Refusal("not_found", map[string]string{"what": what}))
	}
	isSaid(t, "passphrase_wrong", Refusal("passphrase_wrong", map[string]string{"left": "2"}))
	got := Refusal("stand_down_unsigned", map[string]string{"cause": "passphrase_wrong", "left": "1"})
	want := "The stand-down is in force, but it is not signed. The signing passphrase is wrong. 1 try is left before you must log in again. Sign it from the apprentice's record."
	if got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

func TestEveryRuleIsSaid(t *testing.T) {
	for _, code := range ledger.RuleCodes() {
		isSaid(t, code, Refusal("rule_"+code, map[string]string{}))
	}
}
