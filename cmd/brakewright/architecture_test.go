package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const module = "brakewright"

// imports gives the packages that each package of the module builds on, directly and through others.
func imports(t *testing.T) map[string][]string {
	t.Helper()
	cmd := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Deps " "}}`, "./...")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	all := map[string][]string{}
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		all[words[0]] = words[1:]
	}
	return all
}

// below says whether a package is one of these or, of our own, lies under one.
func below(pkg string, tops ...string) bool {
	return slices.ContainsFunc(tops, func(top string) bool {
		return pkg == top || strings.HasPrefix(top, module) && strings.HasPrefix(pkg, top+"/")
	})
}

func of(names ...string) []string {
	for i, n := range names {
		names[i] = module + "/" + n
	}
	return names
}

// TestArrowsPointInward keeps the packages as DEVELOPERS.md draws them.
func TestArrowsPointInward(t *testing.T) {
	outside := []string{"database/sql", "net/http", "net", "os/exec", "github.com/mattn/go-sqlite3", "github.com/gorilla/mux"}
	rules := map[string][]string{ // top → what it must not build on
		"curriculum":        append(of("store", "server", "quiz", "templates", "cmd"), outside...),
		"quiz":              append(of("store", "server", "templates", "cmd"), outside...),
		"readiness":         append(of("store", "server", "quiz", "curriculum", "templates", "cmd"), outside...),
		"store/ledger":      append(of("server", "quiz", "curriculum", "templates", "cmd"), outside...),
		"store":             append(of("server", "templates", "cmd"), "net/http"),
		"templates":         of("store", "server", "quiz", "curriculum", "readiness", "cmd"),
		"server/say":        of("templates", "cmd", "server/demo"),
		"server/acts":       append(of("templates", "cmd", "server/demo", "server/say"), "github.com/gorilla/mux"),
		"server":            of("cmd"),
		"curriculum/brakes": append(of("store", "server", "quiz", "readiness", "cmd"), outside...),
	}
	all := imports(t)
	for pkg, deps := range all {
		for top, forbidden := range rules {
			if !below(pkg, of(top)...) {
				continue
			}
			for _, d := range deps {
				if below(d, forbidden...) {
					t.Errorf("%s must not build on %s", pkg, d)
				}
			}
		}
		if pkg != module+"/cmd/brakewright" && !below(pkg, of("server")...) && slices.ContainsFunc(deps, func(d string) bool { return d == module+"/server" }) {
			t.Errorf("%s builds on server: only cmd may", pkg)
		}
	}
	for _, top := range []string{"curriculum", "quiz", "readiness", "store", "server", "templates", "cmd/brakewright"} {
		if _, ok := all[module+"/"+top]; !ok {
			t.Errorf("package %s is missing", top)
		}
	}
}

// TestPurePackagesAskNobody: no clock, no environment, no files, no randomness but what comes in as an argument, and of
// package math only what gives the same bits on every machine.
func TestPurePackagesAskNobody(t *testing.T) {
	forbidden := map[string][]string{ // import path → names that must not be used; nil: none may
		"time":         {"Now", "Since", "Until", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick", "Sleep", "Local", "LoadLocation"},
		"os":           nil,
		"math/rand":    nil,
		"crypto/rand":  nil,
		"math/rand/v2": {"Int", "IntN", "Int64", "Int64N", "Uint32", "Uint64", "Uint64N", "N", "Float64", "Perm", "Shuffle", "NormFloat64", "ExpFloat64"},
		"math": {"Exp", "Exp2", "Expm1", "Log", "Log2", "Log10", "Log1p", "Pow", "Sin", "Cos", "Tan", "Asin", "Acos", "Atan", "Atan2", "Sinh", "Cosh", "Tanh",
			"Cbrt", "Hypot", "Gamma", "Lgamma", "Erf", "Erfc", "Erfinv", "FMA"},
	}
	for _, pattern := range []string{"curriculum", "curriculum/brakes", "quiz", "readiness", "store/ledger"} {
		files, err := filepath.Glob(filepath.Join("../..", pattern, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(files), err)
		}
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			set := token.NewFileSet()
			f, err := parser.ParseFile(set, path, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			names := map[string]string{} // in this file → import path
			for _, imp := range f.Imports {
				p := strings.Trim(imp.Path.Value, `"`)
				bad, listed := forbidden[p]
				if listed && bad == nil && (p != "os" || pattern != "store/ledger") {
					t.Errorf("%s imports %s", path, p)
				}
				name := filepath.Base(p)
				if p == "math/rand/v2" {
					name = "rand"
				}
				if imp.Name != nil {
					name = imp.Name.Name
				}
				names[name] = p
			}
			ast.Inspect(f, func(n ast.Node) bool {
				call, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				x, ok := call.X.(*ast.Ident)
				if !ok || x.Obj != nil { // a variable of that name
					return true
				}
				if p := names[x.Name]; slices.Contains(forbidden[p], call.Sel.Name) && !(pattern == "store/ledger" && call.Sel.Name == "LoadLocation") {
					t.Errorf("%s uses %s.%s", set.Position(call.Pos()), p, call.Sel.Name)
				}
				return true
			})
		}
	}
}
