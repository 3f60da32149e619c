package curriculum

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"

	"brakewright/readiness"
)

// programmeReader is programme.yaml as read, with the places that other files are checked against.
type programmeReader struct {
	*report
	title, units item
	languages    []item
	tasks        []taskSource
	policy       readiness.Policy
	policyFaulty map[string]bool // paths of keys that could not be read, "tasks.bleed.jobs"
	policyNode   *yaml.Node
	policyYAML   []byte
	blueprints   []blueprintSource
}

type taskSource struct {
	Task
	at, titleAt                item
	lessonsAt, prerequisitesAt []item
}

type blueprintSource struct {
	Blueprint
	at, taskAt, questionsAt item
	lessonsAt, familiesAt   []item
}

// readProgramme parses programme.yaml; nil if there is nothing to read.
func readProgramme(f File, r *report) *programmeReader {
	if !checkCharacters(r) {
		return nil
	}
	y := &yamlReader{report: r, place: func(l, c int) (int, int) { return l, c }}
	n := y.parse(r.src.bytes)
	if n == nil {
		return nil
	}
	p := &programmeReader{report: r, policy: readiness.DefaultPolicy()}
	y.mapping(n, []yamlField{
		{"title", true, y.placed("title", &p.title)},
		{"languages", true, y.list("languages", &p.languages)},
		{"units", true, y.placed("units", &p.units)},
		{"tasks", true, func(n *yaml.Node) { p.readTasks(y, n) }},
		{"policy", false, func(n *yaml.Node) { p.readPolicy(y, n) }},
		{"blueprints", false, func(n *yaml.Node) { p.readBlueprints(y, n) }},
	})
	for _, l := range p.languages {
		if !isLanguage(l.text) {
			y.errorLine(l.line, l.column, "bad_language", "language", l.text)
		}
	}
	if u := p.units; u.text != "" && u.text != "si" && u.text != "us" {
		y.errorLine(u.line, u.column, "bad_choice", "key", "units", "value", u.text, "choices", "si, us")
	}
	return p
}

// entries calls each for the mappings of a list.
func (y *yamlReader) entries(key string, n *yaml.Node, each func(*yaml.Node)) {
	if n.Kind != yaml.SequenceNode {
		y.errorNode(n, "yaml_not_a_list", "like", "[{id: "+strings.TrimSuffix(key, "s")+"-one, …}]")
		return
	}
	for _, c := range n.Content {
		if c.Kind != yaml.AliasNode { // said already
			each(c)
		}
	}
}

func (p *programmeReader) readTasks(y *yamlReader, n *yaml.Node) {
	y.entries("tasks", n, func(n *yaml.Node) {
		var t taskSource
		y.mapping(n, []yamlField{
			{"id", true, y.id("id", &t.at)},
			{"title", true, y.placed("title", &t.titleAt)},
			{"lessons", true, y.list("lessons", &t.lessonsAt)},
			{"prerequisites", false, y.list("prerequisites", &t.prerequisitesAt)},
		})
		if t.at.line == 0 {
			t.at.line, t.at.column = y.at(n)
		}
		t.Task = Task{ID: t.at.text, Title: t.titleAt.text, Lessons: texts(t.lessonsAt), Prerequisites: texts(t.prerequisitesAt)}
		p.tasks = append(p.tasks, t)
	})
}

func (p *programmeReader) readPolicy(y *yamlReader, n *yaml.Node) {
	p.policyNode = n
	if hasAlias(n) { // said already; followed again and again they would come to more than was written
		return
	}
	policy, faults := readiness.ExaminePolicy(n)
	p.policy, p.policyFaulty = policy, map[string]bool{}
	for _, f := range faults {
		p.policyFaulty[f.Args["key"]] = true
		if near := f.Args["nearest"]; near != "" { // which may have been meant
			p.policyFaulty[f.Args["key"][:strings.LastIndexByte(f.Args["key"], '.')+1]+near] = true
		}
		l, c := y.place(f.Line, f.Column)
		var kv []string
		for _, k := range sortedKeys(f.Args) {
			kv = append(kv, k, f.Args[k])
		}
		y.errorLine(l, c, f.Code, kv...)
	}
	p.policyYAML = blockBytes(y.src, n)
}

// blockBytes is a block of YAML as written, its common indentation included, so that it can be read on its own.
func blockBytes(src *source, n *yaml.Node) []byte {
	if n.Style&yaml.FlowStyle != 0 {
		out, err := yaml.Dump(n)
		if err != nil {
			return nil
		}
		return out
	}
	from, last := n.Line, n.Line
	var walk func(*yaml.Node)
	walk = func(n *yaml.Node) {
		last = max(last, n.Line)
		for _, c := range n.Content {
			walk(c)
		}
	}
	walk(n)
	a := src.offset(from, 1)
	b := len(src.bytes)
	// Up to the next line that is indented less than the block.
	for l := last + 1; l <= len(src.lines); l++ {
		off := src.lines[l-1]
		indent := 0
		for off+indent < len(src.bytes) && src.bytes[off+indent] == ' ' {
			indent++
		}
		if off+indent < len(src.bytes) && src.bytes[off+indent] != '\n' && indent < n.Column-1 {
			b = off
			break
		}
	}
	if b < a {
		return nil
	}
	return slices.Clone(src.bytes[a:b])
}

func (p *programmeReader) readBlueprints(y *yamlReader, n *yaml.Node) {
	y.entries("blueprints", n, func(n *yaml.Node) {
		b := blueprintSource{}
		var steps item
		counts := func(key string, to *map[string]int, at *[]item) func(*yaml.Node) {
			return func(n *yaml.Node) {
				*to = map[string]int{}
				y.pairs(key, n, func(k, v *yaml.Node) {
					var c int
					y.whole(k.Value, 0, 1000, &c)(v)
					(*to)[k.Value] = c
					l, col := y.at(k)
					*at = append(*at, item{k.Value, l, col})
				})
			}
		}
		y.mapping(n, []yamlField{
			{"id", true, y.id("id", &b.at)},
			{"task", true, y.placed("task", &b.taskAt)},
			{"questions", true, func(n *yaml.Node) {
				y.whole("questions", 1, 500, &b.Questions)(n)
				b.questionsAt.line, b.questionsAt.column = y.at(n)
			}},
			{"lessons", true, counts("lessons", &b.Lessons, &b.lessonsAt)},
			{"families", false, counts("families", &b.Families, &b.familiesAt)},
			{"critical_steps", true, y.placed("critical_steps", &steps)},
		})
		if steps.text != "" && steps.text != "all" && steps.text != "none" {
			y.errorLine(steps.line, steps.column, "bad_choice", "key", "critical_steps", "value", steps.text, "choices", "all, none")
		}
		if b.at.line == 0 {
			b.at.line, b.at.column = y.at(n)
		}
		b.ID, b.Task, b.CriticalSteps = b.at.text, b.taskAt.text, steps.text
		p.blueprints = append(p.blueprints, b)
	})
}
