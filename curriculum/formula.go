package curriculum

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
)

// Bounds that keep any formula cheap: the longest source, the largest exponent, the largest number and how many bits
// a numerator or denominator may take.
const (
	maxFormula  = 500
	maxExponent = 64
	maxBits     = 2048
	maxDepth    = 100
)

var (
	// ErrDivision: the formula divides by zero.
	ErrDivision = errors.New("division by zero")
	// ErrRoot: the formula takes the root of a negative number.
	ErrRoot = errors.New("root of a negative number")
	// ErrRange: a number on the way is beyond 1e30 in size, or too long to keep exactly.
	ErrRange = errors.New("number out of range")
	// ErrExponent: an exponent is no whole number from -64 to 64.
	ErrExponent = errors.New("exponent is not a whole number from -64 to 64")
	// ErrGiven: a name has no value.
	ErrGiven = errors.New("no value for a name")
)

var (
	limit1e30 = new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(30), nil))
	// pi to 50 decimals (OEIS A000796).
	pi = func() *big.Rat {
		r, _ := new(big.Rat).SetString("3.14159265358979323846264338327950288419716939937511")
		return r
	}()
)

// formulaNode is one operation of a compiled formula.
type formulaNode interface {
	eval(given map[string]*big.Rat) (*big.Rat, error)
}

type (
	literal  struct{ value *big.Rat }
	variable struct{ name string }
	negation struct{ of formulaNode }
	binary   struct {
		op          byte
		left, right formulaNode
	}
	call struct {
		name string
		args []formulaNode
	}
)

// formulaFault says what is wrong with a formula: a code for the report, the offending words, and the offset in characters.
type formulaFault struct {
	code, what string
	at         int
}

func (f *formulaFault) Error() string { return f.code + ": " + f.what }

// formulaWords may not name a given: the parser or the formula language has another meaning for them.
var formulaWords = []string{"pi", "sqrt", "min", "max", "round", "in", "not", "and", "or", "let", "if", "else", "true", "false", "nil",
	"matches", "contains", "startsWith", "endsWith"}

// CompileFormula compiles a formula over the given names. The error is of use to tests and tools; Load reports it with its place.
func CompileFormula(src string, names []string) (*Formula, error) {
	f, faults := compile(src, names)
	if len(faults) > 0 {
		return nil, faults[0]
	}
	return f, nil
}

// compile reads a formula; without one, the faults say why, in the order of the formula.
func compile(src string, names []string) (*Formula, []*formulaFault) {
	one := func(f formulaFault) (*Formula, []*formulaFault) { return nil, []*formulaFault{&f} }
	if strings.TrimSpace(src) == "" {
		return one(formulaFault{code: "formula_unreadable", what: src})
	}
	if len(src) > maxFormula {
		return one(formulaFault{code: "formula_too_long", what: cut(src, 40)})
	}
	// The parser knows far more than we allow. What can only be something else is refused before it is asked.
	for i, r := range []rune(src) {
		if !strings.ContainsRune("+-*/^(),._ \t\n", r) && !isWordRune(r) {
			return one(formulaFault{code: "formula_not_allowed", what: string(r), at: i})
		}
	}
	tree, err := parser.Parse(src)
	if err != nil {
		return one(formulaFault{code: "formula_unreadable", what: src})
	}
	c := compiler{src: []rune(src), names: names}
	root := c.node(tree.Node, 0)
	if len(c.faults) > 0 {
		slices.SortStableFunc(c.faults, func(a, b *formulaFault) int { return a.at - b.at })
		return nil, c.faults
	}
	return &Formula{Source: src, root: root}, nil
}

func isWordRune(r rune) bool {
	return r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z'
}

// isName says whether s can name a given.
func isName(s string) bool {
	if s == "" || len(s) > 40 || s[0] >= '0' && s[0] <= '9' {
		return false
	}
	for _, r := range s {
		if r != '_' && !isWordRune(r) {
			return false
		}
	}
	return true
}

type compiler struct {
	src    []rune
	names  []string
	faults []*formulaFault
}

func (c *compiler) fail(n ast.Node, code, what string) formulaNode {
	at := 0
	if n != nil {
		at = n.Location().From
	}
	c.faults = append(c.faults, &formulaFault{code: code, what: what, at: at})
	return nil
}

func (c *compiler) node(n ast.Node, depth int) formulaNode {
	if depth > maxDepth {
		return c.fail(n, "formula_too_long", string(c.src[:min(len(c.src), 40)]))
	}
	switch n := n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
		return c.number(n)
	case *ast.IdentifierNode:
		switch {
		case n.Value == "pi":
			return literal{pi}
		case slices.Contains(c.names, n.Value):
			return variable{n.Value}
		}
		return c.fail(n, "formula_unknown_name", n.Value)
	case *ast.UnaryNode:
		of := c.node(n.Node, depth+1)
		switch n.Operator {
		case "-":
			return negation{of}
		case "+":
			return of
		}
		return c.fail(n, "formula_not_allowed", n.Operator)
	case *ast.BinaryNode:
		if len(n.Operator) != 1 || !strings.Contains("+-*/^", n.Operator) {
			return c.fail(n, "formula_not_allowed", n.Operator)
		}
		return binary{n.Operator[0], c.node(n.Left, depth+1), c.node(n.Right, depth+1)}
	case *ast.BuiltinNode:
		return c.call(n, n.Name, n.Arguments, depth)
	case *ast.CallNode:
		if id, ok := n.Callee.(*ast.IdentifierNode); ok {
			return c.call(n, id.Value, n.Arguments, depth)
		}
	}
	return c.fail(n, "formula_not_allowed", string(c.src))
}

// number reads the digits from the source, since the parser's float64 would lose some.
func (c *compiler) number(n ast.Node) formulaNode {
	from := n.Location().From
	to := from
	for to < len(c.src) && (isWordRune(c.src[to]) || c.src[to] == '.' || c.src[to] == '_') {
		to++
	}
	if from < 0 || from >= to {
		return c.fail(n, "formula_not_allowed", string(c.src))
	}
	text := string(c.src[from:to])
	v, ok := parseDecimal(text)
	if !ok {
		return c.fail(n, "formula_bad_number", text)
	}
	return literal{v}
}

func (c *compiler) call(n ast.Node, name string, args []ast.Node, depth int) formulaNode {
	want := map[string][2]int{"sqrt": {1, 1}, "round": {1, 1}, "min": {2, 20}, "max": {2, 20}}
	if w, ok := want[name]; !ok {
		c.fail(n, "formula_unknown_function", name)
	} else if len(args) < w[0] || len(args) > w[1] {
		c.fail(n, "formula_arguments", name)
	}
	out := call{name: name}
	for _, a := range args {
		out.args = append(out.args, c.node(a, depth+1))
	}
	return out
}

func (l literal) eval(map[string]*big.Rat) (*big.Rat, error) { return l.value, nil }

func (v variable) eval(given map[string]*big.Rat) (*big.Rat, error) {
	if r, ok := given[v.name]; ok && r != nil {
		return r, nil
	}
	return nil, fmt.Errorf("%w: %s", ErrGiven, v.name)
}

func (n negation) eval(given map[string]*big.Rat) (*big.Rat, error) {
	v, err := n.of.eval(given)
	if err != nil {
		return nil, err
	}
	return new(big.Rat).Neg(v), nil
}

func (b binary) eval(given map[string]*big.Rat) (*big.Rat, error) {
	l, err := b.left.eval(given)
	if err != nil {
		return nil, err
	}
	r, err := b.right.eval(given)
	if err != nil {
		return nil, err
	}
	out := new(big.Rat)
	switch b.op {
	case '+':
		out.Add(l, r)
	case '-':
		out.Sub(l, r)
	case '*':
		out.Mul(l, r)
	case '/':
		if r.Sign() == 0 {
			return nil, ErrDivision
		}
		out.Quo(l, r)
	default:
		return power(l, r)
	}
	return inRange(out)
}

func power(base, exponent *big.Rat) (*big.Rat, error) {
	if !exponent.IsInt() || !exponent.Num().IsInt64() {
		return nil, ErrExponent
	}
	n := exponent.Num().Int64()
	if n > maxExponent || n < -maxExponent {
		return nil, ErrExponent
	}
	if n < 0 {
		if base.Sign() == 0 {
			return nil, ErrDivision
		}
		base, n = new(big.Rat).Inv(base), -n
	}
	out := big.NewRat(1, 1)
	for range n {
		out.Mul(out, base)
		if _, err := inRange(out); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func inRange(v *big.Rat) (*big.Rat, error) {
	if v.Denom().BitLen() > maxBits || v.Num().BitLen() > maxBits || new(big.Rat).Abs(v).Cmp(limit1e30) > 0 {
		return nil, ErrRange
	}
	return v, nil
}

func (c call) eval(given map[string]*big.Rat) (*big.Rat, error) {
	vs := make([]*big.Rat, len(c.args))
	for i, a := range c.args {
		v, err := a.eval(given)
		if err != nil {
			return nil, err
		}
		vs[i] = v
	}
	switch c.name {
	case "sqrt":
		return root(vs[0])
	case "round":
		return roundWhole(vs[0]), nil
	}
	best := vs[0]
	for _, v := range vs[1:] {
		if d := v.Cmp(best); c.name == "min" && d < 0 || c.name == "max" && d > 0 {
			best = v
		}
	}
	return best, nil
}

// root is exact for squares of fractions, else good to at least 40 significant digits, rounded down.
func root(v *big.Rat) (*big.Rat, error) {
	if v.Sign() < 0 {
		return nil, ErrRoot
	}
	if v.Sign() == 0 {
		return new(big.Rat), nil
	}
	n, d := new(big.Int).Sqrt(v.Num()), new(big.Int).Sqrt(v.Denom())
	if new(big.Int).Mul(n, n).Cmp(v.Num()) == 0 && new(big.Int).Mul(d, d).Cmp(v.Denom()) == 0 {
		return new(big.Rat).SetFrac(n, d), nil
	}
	// floor(sqrt(num·den·s²)) / (den·s): s is chosen so that the root has 45 digits or more.
	digits := 45 + max(0, (v.Denom().BitLen()-v.Num().BitLen())/6)
	s := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(digits)), nil)
	x := new(big.Int).Mul(v.Num(), s)
	x.Mul(x, s).Quo(x, v.Denom()).Sqrt(x)
	return new(big.Rat).SetFrac(x, s), nil
}

func (f *Formula) eval(given map[string]*big.Rat) (*big.Rat, error) {
	if f == nil || f.root == nil {
		return nil, ErrGiven
	}
	v, err := f.root.eval(given)
	if err != nil {
		return nil, err
	}
	if v, err = inRange(v); err != nil {
		return nil, err
	}
	return new(big.Rat).Set(v), nil
}

// Names lists the givens the formula uses, sorted.
func (f *Formula) Names() []string {
	seen := map[string]bool{}
	var walk func(formulaNode)
	walk = func(n formulaNode) {
		switch n := n.(type) {
		case variable:
			seen[n.name] = true
		case negation:
			walk(n.of)
		case binary:
			walk(n.left)
			walk(n.right)
		case call:
			for _, a := range n.args {
				walk(a)
			}
		}
	}
	walk(f.root)
	return sortedKeys(seen)
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// cost is about how many operations an evaluation takes.
func (f *Formula) cost() int {
	var walk func(formulaNode) int
	walk = func(n formulaNode) int {
		switch n := n.(type) {
		case negation:
			return 1 + walk(n.of)
		case binary:
			c := 1 + walk(n.left) + walk(n.right)
			if n.op == '^' {
				c += maxExponent
			}
			return c
		case call:
			c := 4
			for _, a := range n.args {
				c += walk(a)
			}
			return c
		}
		return 1
	}
	return walk(f.root)
}
