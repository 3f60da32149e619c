package server

import (
	"fmt"
	"html/template"
	"io/fs"
	"reflect"
	"strings"
	"testing"
	"text/template/parse"

	"brakewright/templates"
)

// TestTemplatesFitTheirStructs walks every branch of every page's template, taken or not, and checks each field, method
// and call against the page's struct.
func TestTemplatesFitTheirStructs(t *testing.T) {
	a := mustAssets(t)
	v, err := parseViews(a)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range pages {
		t.Run(p.template(), func(t *testing.T) {
			for _, problem := range checkTemplate(v.byName[p.template()], "layout.tmpl", reflect.TypeOf(p), viewFunctions(a)) {
				t.Error(problem)
			}
		})
	}
}

// TestEveryTemplateIsAPage: a template that no page of the list names would answer 500 when it is first asked for.
func TestEveryTemplateIsAPage(t *testing.T) {
	files, err := fs.Glob(templates.Pages, "*.tmpl")
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{"layout.tmpl": true}
	for _, p := range pages {
		listed[p.template()+".tmpl"] = true
	}
	for _, f := range files {
		if !listed[f] && !strings.HasPrefix(f, "_") {
			t.Errorf("%s is no page of the list", f)
		}
	}
}

// TestTemplateCheckFindsMistakes makes sure that the check above checks.
func TestTemplateCheckFindsMistakes(t *testing.T) {
	type row struct{ Name string }
	type data struct {
		Rows []row
		One  *row
		N    int
	}
	for _, tt := range []struct{ name, text, want string }{
		{"fine", `{{range $i, $r := .Rows}}{{$r.Name}}{{$.N}}{{else}}{{.N}}{{end}}{{with .One}}{{.Name}}{{end}}{{if eq .N 1}}{{end}}`, ""},
		{"field in a branch not taken", `{{if .One}}{{.Missing}}{{end}}`, "Missing"},
		{"field of an element", `{{range .Rows}}{{.Nme}}{{end}}`, "Nme"},
		{"range over a number", `{{range .One}}{{end}}`, "range"},
		{"field through a variable", `{{$x := .One}}{{$x.Nope}}`, "Nope"},
		{"wrong argument", `{{invalid .N "x"}}`, "argument"},
		{"too few arguments", `{{invalid "x"}}`, "arguments"},
		{"inside another template", `{{define "p"}}{{.Gone}}{{end}}{{range .Rows}}{{template "p" .}}{{end}}`, "Gone"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			fm := viewFunctions(mustAssets(t))
			tree := template.Must(template.New("t").Funcs(fm).Parse(tt.text))
			got := strings.Join(checkTemplate(tree, "t", reflect.TypeFor[data](), fm), "\n")
			if (tt.want == "") != (got == "") || !strings.Contains(got, tt.want) {
				t.Errorf("problems %q, want one about %q", got, tt.want)
			}
		})
	}
}

func mustAssets(t testing.TB) *templates.Assets {
	t.Helper()
	a, err := templates.LoadAssets()
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// checkTemplate lists what in a template does not fit its data.
func checkTemplate(t *template.Template, name string, data reflect.Type, fm template.FuncMap) []string {
	c := &templateChecker{t: t, fm: fm, done: map[string]bool{}}
	c.template(name, data)
	return c.problems
}

type templateChecker struct {
	t        *template.Template
	fm       template.FuncMap
	done     map[string]bool // template and type already checked
	problems []string
}

// scope is the dot and the variables at one place. A nil type is one that is not known statically.
type scope struct {
	name string
	dot  reflect.Type
	vars map[string]reflect.Type
}

func (s scope) with(dot reflect.Type) scope {
	vars := map[string]reflect.Type{}
	for k, v := range s.vars {
		vars[k] = v
	}
	return scope{s.name, dot, vars}
}

func (c *templateChecker) bad(s scope, n parse.Node, format string, args ...any) {
	c.problems = append(c.problems, fmt.Sprintf("%s: %s: %s", s.name, n, fmt.Sprintf(format, args...)))
}

func (c *templateChecker) template(name string, data reflect.Type) {
	key := name + " " + fmt.Sprint(data)
	if c.done[key] {
		return
	}
	c.done[key] = true
	t := c.t.Lookup(name)
	if t == nil || t.Tree == nil {
		c.problems = append(c.problems, "no template "+name)
		return
	}
	c.walk(scope{name, data, map[string]reflect.Type{"$": data}}, t.Tree.Root)
}

func (c *templateChecker) walk(s scope, n parse.Node) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n != nil {
			for _, x := range n.Nodes {
				c.walk(s, x)
			}
		}
	case *parse.ActionNode:
		c.pipe(s, n.Pipe)
	case *parse.IfNode:
		inner := s.with(s.dot)
		c.pipe(inner, n.Pipe)
		c.walk(inner, n.List)
		c.walk(inner, n.ElseList)
	case *parse.WithNode:
		inner := s.with(s.dot)
		inner.dot = c.pipe(inner, n.Pipe)
		c.walk(inner, n.List)
		c.walk(s.with(s.dot), n.ElseList)
	case *parse.RangeNode:
		inner := s.with(s.dot)
		decl := n.Pipe.Decl
		key, elem, ok := elements(c.value(inner, n.Pipe))
		if !ok {
			c.bad(s, n.Pipe, "cannot range over this")
		}
		switch len(decl) {
		case 1:
			inner.vars[decl[0].Ident[0]] = elem
		case 2:
			inner.vars[decl[0].Ident[0]], inner.vars[decl[1].Ident[0]] = key, elem
		}
		inner.dot = elem
		c.walk(inner, n.List)
		c.walk(s.with(s.dot), n.ElseList)
	case *parse.TemplateNode:
		var data reflect.Type
		if n.Pipe != nil {
			data = c.pipe(s, n.Pipe)
		}
		c.template(n.Name, data)
	}
}

func elements(t reflect.Type) (key, elem reflect.Type, ok bool) {
	if t == nil {
		return nil, nil, true
	}
	switch t.Kind() {
	case reflect.Slice, reflect.Array:
		return reflect.TypeFor[int](), t.Elem(), true
	case reflect.Map:
		return t.Key(), t.Elem(), true
	}
	return nil, nil, false
}

// pipe is value, and declares the pipe's variables.
func (c *templateChecker) pipe(s scope, p *parse.PipeNode) reflect.Type {
	t := c.value(s, p)
	for _, v := range p.Decl {
		s.vars[v.Ident[0]] = t
	}
	return t
}

func (c *templateChecker) value(s scope, p *parse.PipeNode) reflect.Type {
	var t reflect.Type
	for i, cmd := range p.Cmds {
		t = c.command(s, cmd, t, i > 0)
	}
	return t
}

func (c *templateChecker) command(s scope, cmd *parse.CommandNode, last reflect.Type, piped bool) reflect.Type {
	var args []reflect.Type
	for _, a := range cmd.Args[1:] {
		args = append(args, c.arg(s, a))
	}
	if piped {
		args = append(args, last)
	}
	switch first := cmd.Args[0].(type) {
	case *parse.IdentifierNode:
		return c.call(s, cmd, first.Ident, args)
	case *parse.FieldNode:
		return c.fields(s, first, s.dot, first.Ident, args)
	case *parse.VariableNode:
		if len(first.Ident) == 1 {
			return s.vars[first.Ident[0]]
		}
		return c.fields(s, first, s.vars[first.Ident[0]], first.Ident[1:], args)
	case *parse.ChainNode:
		return c.fields(s, first, c.arg(s, first.Node), first.Field, args)
	}
	return c.arg(s, cmd.Args[0])
}

func (c *templateChecker) arg(s scope, n parse.Node) reflect.Type {
	switch n := n.(type) {
	case *parse.DotNode:
		return s.dot
	case *parse.FieldNode:
		return c.fields(s, n, s.dot, n.Ident, nil)
	case *parse.VariableNode:
		return c.fields(s, n, s.vars[n.Ident[0]], n.Ident[1:], nil)
	case *parse.PipeNode:
		return c.pipe(s, n)
	case *parse.ChainNode:
		return c.fields(s, n, c.arg(s, n.Node), n.Field, nil)
	case *parse.StringNode:
		return reflect.TypeFor[string]()
	case *parse.BoolNode:
		return reflect.TypeFor[bool]()
	case *parse.NumberNode:
		return reflect.TypeFor[int]()
	case *parse.IdentifierNode:
		return c.call(s, n, n.Ident, nil)
	}
	return nil
}

// call checks a function of ours; of the built-in ones it knows what they return.
func (c *templateChecker) call(s scope, n parse.Node, name string, args []reflect.Type) reflect.Type {
	if f, ok := c.fm[name]; ok {
		return c.apply(s, n, reflect.TypeOf(f), args, 0)
	}
	switch name {
	case "eq", "ne", "lt", "le", "gt", "ge", "not":
		return reflect.TypeFor[bool]()
	case "len":
		if len(args) == 1 && args[0] != nil {
			switch args[0].Kind() {
			case reflect.Slice, reflect.Map, reflect.String, reflect.Array:
			default:
				c.bad(s, n, "len of %v", args[0])
			}
		}
		return reflect.TypeFor[int]()
	case "print", "printf", "println", "urlquery", "html", "js":
		return reflect.TypeFor[string]()
	case "index":
		if len(args) > 0 {
			if _, elem, ok := elements(args[0]); ok {
				return elem
			}
		}
		return nil
	case "and", "or":
		for _, a := range args {
			if a != args[0] {
				return nil
			}
		}
		if len(args) > 0 {
			return args[0]
		}
		return nil
	}
	if !strings.HasPrefix(name, "_html_template_") && name != "slice" && name != "call" {
		c.bad(s, n, "no function %s", name)
	}
	return nil
}

func (c *templateChecker) apply(s scope, n parse.Node, f reflect.Type, args []reflect.Type, skip int) reflect.Type {
	want := f.NumIn() - skip
	if len(args) != want && !f.IsVariadic() {
		c.bad(s, n, "%d arguments, want %d", len(args), want)
	} else {
		for i, a := range args {
			if i+skip >= f.NumIn() || f.IsVariadic() && i+skip >= f.NumIn()-1 {
				break
			}
			if a != nil && !a.AssignableTo(f.In(i+skip)) {
				c.bad(s, n, "argument %d is %v, want %v", i+1, a, f.In(i+skip))
			}
		}
	}
	return f.Out(0)
}

func (c *templateChecker) fields(s scope, n parse.Node, t reflect.Type, names []string, args []reflect.Type) reflect.Type {
	for i, name := range names {
		if t == nil {
			c.bad(s, n, "%s of a value whose type is not known here", name)
			return nil
		}
		if m, ok := t.MethodByName(name); ok {
			var with []reflect.Type
			if i == len(names)-1 {
				with = args
			}
			t = c.apply(s, n, m.Type, with, 1)
			continue
		}
		for t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		switch {
		case t.Kind() == reflect.Map && t.Key().Kind() == reflect.String:
			t = t.Elem()
			continue
		case t.Kind() != reflect.Struct:
			c.bad(s, n, "%s of %v, which has no fields", name, t)
			return nil
		}
		f, ok := t.FieldByName(name)
		if !ok || !f.IsExported() {
			c.bad(s, n, "%v has no field or method %s", t, name)
			return nil
		}
		t = f.Type
	}
	return t
}
