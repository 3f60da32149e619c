package curriculum

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"brakewright/readiness"
)

// Ask is what policy asks of the people whom a change touches, the least first.
type Ask string

const (
	AskNothing Ask = "nothing"
	AskRead    Ask = "read" // read the lesson again: its reading gate closes
	AskTest    Ask = "test" // read again, and pass a new theory test
	AskJob     Ask = "job"  // read again, and be seen doing the step unaided in a watched job
)

var askOrder = []Ask{AskNothing, AskRead, AskTest, AskJob}

// AtLeast says whether a asks as much as b or more.
func (a Ask) AtLeast(b Ask) bool { return slices.Index(askOrder, a) >= slices.Index(askOrder, b) }

// The weight of a step is the heaviest of its own and its sub-steps' marks; that of a figure, of the steps that measure or show it.
const (
	WeightCritical = "critical"
	WeightHold     = "hold"
	WeightPlain    = "plain"
)

// Change is one difference between two programme editions, in the trade's terms. server/say holds the words.
type Change struct {
	Code string
	Args map[string]string // for the words: titles and texts, not ids

	File    string   // of the new edition, or of the old one where it went
	Task    string   // id, where it concerns one task only
	Lesson  string   // id, where a lesson's own file changed
	Step    string   // id in Lesson
	Vehicle string   // id, where a sheet changed
	Key     string   // of the vehicle's figure
	Weight  string   // critical, hold, plain; "" where no step rests on it
	Rests   []string // LESSON/STEP: the step itself, or those that measure or show the figure (on the vehicle); sorted
	Wheels  []string // of a vehicle's figure, the same as LESSON/STEP[@WHEEL] of its sheet, sorted

	Ask    Ask
	Within int // days of grace for those who are cleared; 0 is at once

	figure bool    // a figure or limit has changed or gone
	key    string  // its key, or what it measures
	now    *Figure // nil where it went
}

// OfFigure says whether a figure or limit that work was done by is another now, or is gone: then jobs may rest on it.
func (c Change) OfFigure() bool { return c.figure }

// HeldIn says whether a programme already had the figure as it is after the change: what was done under it stands.
func (c Change) HeldIn(p *Programme) bool {
	if !c.figure {
		return false
	}
	var figures []Figure
	if c.Vehicle != "" {
		if v := p.Vehicle(c.Vehicle); v != nil {
			figures = v.Figures
		}
	} else if l := p.Lesson(c.Lesson, ""); l != nil {
		figures = l.Figures
	}
	i := slices.IndexFunc(figures, func(f Figure) bool { return figureKey(f) == c.key })
	switch {
	case i < 0:
		return c.now == nil
	case c.now == nil:
		return false
	}
	change := figureChange(figures[i], *c.now)
	return change == "" || change == "figure_reworded"
}

// Diff says how a new programme differs from an old one: programme, tasks, policy, blueprints, lessons with their steps
// and figures, vehicles, drawings. It is empty exactly where the editions are equal. What nothing of that sees
// (typography, reading matter) is said, too, and asks nothing.
//
// What a change asks follows from this table alone; grace is the new policy's grace_days. "read" is asked by some change
// of a lesson exactly where [MateriallyChanged] holds.
//
//	change                                             plain    hold point      critical
//	step added                                         nothing  read, grace     job, at once
//	step removed                                       nothing  read, grace     read, grace
//	step reworded, consequence, measure or place       nothing  read, grace     read, grace
//	step becomes critical                                                       job, at once
//	step is no longer critical                                                  read, grace
//	step becomes, or is no longer, a hold point                 read, grace     read, grace
//	order towards another step                         nothing  read, grace     test, grace
//	figure or limit that a step measures or shows        nothing  read, at once   read, at once
//	order of wheels in which a step goes round         nothing  read, at once   read, at once
//	lesson added to a task, with critical or hold      nothing  read, grace     read, grace
//	anything else                                      nothing
func Diff(old, new *Programme) []Change {
	if old.Edition == new.Edition {
		return nil
	}
	d := &differ{old: old, new: new}
	d.programme()
	d.tasks()
	d.policy()
	d.blueprints()
	d.lessons()
	d.vehicles()
	d.pictures()
	if len(d.list) == 0 {
		d.add(Change{Code: "typography_only"})
	}
	return d.list
}

// differ gathers what differs.
type differ struct {
	old, new *Programme
	list     []Change
}

// add keeps a change; kv are names and values of its arguments.
func (d *differ) add(c Change, kv ...string) {
	c.Args = map[string]string{}
	for i := 0; i+1 < len(kv); i += 2 {
		c.Args[kv[i]] = kv[i+1]
	}
	if c.Ask == "" {
		c.Ask = AskNothing
	}
	d.list = append(d.list, c)
}

// asks is the table of [Diff] for one weight: what a change asks and within how many days.
func (d *differ) asks(c Change, critical, hold Ask, atOnce bool) Change {
	switch c.Weight {
	case WeightCritical:
		c.Ask = critical
	case WeightHold:
		c.Ask = hold
	default:
		c.Ask = AskNothing
	}
	if c.Ask != AskNothing && !atOnce {
		c.Within = d.new.Policy.GraceDays
	}
	return c
}

// pair matches two lists by key: pairs and new ones in the new order, then those that went.
func pair[T any](old, new []T, key func(T) string, both func(a, b T), added, removed func(T)) {
	was, is := map[string]int{}, map[string]bool{}
	for i, o := range old {
		if _, twice := was[key(o)]; !twice {
			was[key(o)] = i
		}
	}
	for _, n := range new {
		is[key(n)] = true
		if i, ok := was[key(n)]; ok {
			both(old[i], n)
		} else {
			added(n)
		}
	}
	for _, o := range old {
		if !is[key(o)] {
			removed(o)
		}
	}
}

func (d *differ) programme() {
	c := Change{File: programmeFile}
	for _, x := range []struct{ code, from, to string }{
		{"title_changed", d.old.Title, d.new.Title},
		{"languages_changed", strings.Join(d.old.Languages, ", "), strings.Join(d.new.Languages, ", ")},
		{"units_changed", d.old.Units, d.new.Units},
	} {
		if x.from != x.to {
			c.Code = x.code
			d.add(c, "from", x.from, "to", x.to)
		}
	}
}

func (d *differ) tasks() {
	at := func(code string) Change { return Change{Code: code, File: programmeFile} }
	pair(d.old.Tasks, d.new.Tasks, func(t Task) string { return t.ID }, func(a, b Task) {
		if a.Title != b.Title {
			d.add(at("task_renamed"), "task", b.ID, "from", a.Title, "to", b.Title)
		}
		for _, id := range b.Lessons {
			if !slices.Contains(a.Lessons, id) {
				d.taskLesson(b, id)
			}
		}
		for _, id := range a.Lessons {
			if !slices.Contains(b.Lessons, id) {
				d.add(at("task_lesson_removed"), "task", b.Title, "lesson", d.lessonTitle(id))
			}
		}
		if !slices.Equal(a.Prerequisites, b.Prerequisites) {
			d.add(at("task_prerequisites_changed"), "task", b.Title, "from", strings.Join(a.Prerequisites, ", "), "to", strings.Join(b.Prerequisites, ", "))
		}
	}, func(t Task) { d.add(at("task_added"), "task", t.Title) }, func(t Task) { d.add(at("task_removed"), "task", t.Title) })
}

// taskLesson is a lesson that a task did not ask for before.
func (d *differ) taskLesson(t Task, id string) {
	c := Change{Code: "task_lesson_added", File: programmeFile, Task: t.ID, Lesson: id, Weight: WeightPlain}
	if l := d.new.Lesson(id, ""); l != nil && l.Procedure != nil {
		for _, s := range l.Procedure.Steps {
			c.Weight = heavier(c.Weight, stepWeight(s))
		}
	}
	d.add(d.asks(c, AskRead, AskRead, false), "task", t.Title, "lesson", d.lessonTitle(id))
}

func (d *differ) lessonTitle(id string) string {
	for _, p := range []*Programme{d.new, d.old} {
		if l := p.Lesson(id, ""); l != nil {
			return l.Title
		}
	}
	return id
}

// policy names every value of the policy, as it holds with defaults filled in, that is another.
func (d *differ) policy() {
	var tasks []string
	for _, p := range []*Programme{d.old, d.new} {
		for _, t := range p.Tasks {
			if !slices.Contains(tasks, t.ID) {
				tasks = append(tasks, t.ID)
			}
		}
	}
	a, b := flatPolicy(d.old.Policy, tasks), flatPolicy(d.new.Policy, tasks)
	keys := map[string]bool{}
	for _, m := range []map[string]string{a, b} {
		for k := range m {
			keys[k] = true
		}
	}
	for _, k := range sortedKeys(keys) {
		if a[k] != b[k] {
			d.add(Change{Code: "policy_changed", File: programmeFile}, "value", k, "from", a[k], "to", b[k])
		}
	}
}

// flatPolicy is a policy as paths and values: "tasks.bleed.jobs" → "5".
func flatPolicy(p readiness.Policy, tasks []string) map[string]string {
	var v any
	if err := json.Unmarshal(p.Filled(tasks).JSON(), &v); err != nil {
		panic("curriculum: a policy's own JSON does not read: " + err.Error())
	}
	out := map[string]string{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		if m, ok := v.(map[string]any); ok {
			for k, x := range m {
				walk(strings.TrimPrefix(path+"."+k, "."), x)
			}
			return
		}
		out[path] = fmt.Sprint(v)
	}
	walk("", v)
	return out
}

func (d *differ) blueprints() {
	at := func(code string) Change { return Change{Code: code, File: programmeFile} }
	pair(d.old.Blueprints, d.new.Blueprints, func(b Blueprint) string { return b.ID }, func(a, b Blueprint) {
		if a.Task != b.Task || a.Questions != b.Questions || !maps.Equal(a.Lessons, b.Lessons) || !maps.Equal(a.Families, b.Families) || a.CriticalSteps != b.CriticalSteps {
			d.add(at("blueprint_changed"), "blueprint", b.ID)
		}
	}, func(b Blueprint) { d.add(at("blueprint_added"), "blueprint", b.ID) },
		func(b Blueprint) { d.add(at("blueprint_removed"), "blueprint", b.ID) })
}

func (d *differ) lessons() {
	id := func(l *Lesson) string { return l.ID }
	pair(d.old.Lessons, d.new.Lessons, id, d.lesson,
		func(l *Lesson) { d.add(Change{Code: "lesson_added", File: l.File, Lesson: l.ID}, "lesson", l.Title) },
		func(l *Lesson) { d.add(Change{Code: "lesson_removed", File: l.File, Lesson: l.ID}, "lesson", l.Title) })
	languages := map[string]bool{}
	for _, p := range []*Programme{d.old, d.new} {
		for language := range p.Translated {
			languages[language] = true
		}
	}
	for _, language := range sortedKeys(languages) {
		pair(d.old.Translated[language], d.new.Translated[language], id, d.lesson,
			func(l *Lesson) {
				d.add(Change{Code: "translation_added", File: l.File, Lesson: l.ID}, "lesson", l.Title, "language", language)
			},
			func(l *Lesson) {
				d.add(Change{Code: "translation_removed", File: l.File, Lesson: l.ID}, "lesson", l.Title, "language", language)
			})
	}
}

// lesson compares two editions of a lesson in one language, step by step, figure by figure, row by row.
func (d *differ) lesson(a, b *Lesson) {
	if a.Edition == b.Edition {
		return
	}
	before := len(d.list)
	at := Change{File: b.File, Lesson: b.ID}
	if a.Title != b.Title {
		c := at
		c.Code = "lesson_renamed"
		d.add(c, "lesson", b.ID, "from", a.Title, "to", b.Title)
	}
	d.steps(at, a, b)
	d.order(at, a, b)
	d.lessonFigures(at, a, b)
	for _, s := range rowSections {
		d.rows(at, s, b.Title, s.rows(a), s.rows(b))
	}
	if len(d.list) == before {
		c := at
		c.Code = "background_changed"
		d.add(c, "lesson", b.Title)
	}
}

func stepsOf(l *Lesson) []*Step {
	if l == nil || l.Procedure == nil {
		return nil
	}
	return l.Procedure.Steps
}

func heavier(a, b string) string {
	for _, w := range []string{WeightCritical, WeightHold, WeightPlain} {
		if a == w || b == w {
			return w
		}
	}
	return ""
}

// stepWeight is the weight of a step: its own, or what is heaviest below it.
func stepWeight(s *Step) string {
	w := WeightPlain
	switch {
	case s.Critical:
		return WeightCritical
	case s.Hold:
		w = WeightHold
	}
	for _, c := range s.Children {
		w = heavier(w, stepWeight(c))
	}
	return w
}

func (d *differ) steps(at Change, a, b *Lesson) {
	here := func(code string, s *Step, weight string) Change {
		c := at
		c.Code, c.Step, c.Weight, c.Rests = code, s.ID, weight, []string{b.ID + "/" + s.ID}
		return c
	}
	pair(stepsOf(a), stepsOf(b), func(s *Step) string { return s.ID }, func(x, y *Step) {
		args := []string{"lesson", b.Title, "step", y.Title.Plain()}
		weight := heavier(stepWeight(x), stepWeight(y))
		marked := false
		put := func(c Change, more ...string) { d.add(c, append(slices.Clone(args), more...)...) }
		switch {
		case y.Critical && !x.Critical:
			put(d.asks(here("step_now_critical", y, WeightCritical), AskJob, AskJob, true))
			marked = true
		case x.Critical && !y.Critical:
			put(d.asks(here("step_no_longer_critical", y, WeightCritical), AskRead, AskRead, false))
			marked = true
		}
		switch {
		case y.Hold && !x.Hold:
			put(d.asks(here("step_now_hold", y, heavier(WeightHold, weight)), AskRead, AskRead, false))
			marked = true
		case x.Hold && !y.Hold:
			put(d.asks(here("step_no_longer_hold", y, heavier(WeightHold, weight)), AskRead, AskRead, false))
			marked = true
		}
		if parentID(x) != parentID(y) {
			put(d.asks(here("step_moved", y, weight), AskRead, AskRead, false))
			marked = true
		}
		if x.Fingerprint() == y.Fingerprint() {
			return
		}
		seen := len(d.list)
		for _, p := range []struct {
			code     string
			was, is  []string // compared
			from, to string   // shown
		}{
			{"step_reworded", texted([]Text{x.Title}), texted([]Text{y.Title}), x.Title.Plain(), y.Title.Plain()},
			{"reason_changed", texted(x.Why), texted(y.Why), asWritten(x.Why), asWritten(y.Why)},
			{"consequence_changed", append(texted(x.IfSkipped), texted(x.IfWrong)...), append(texted(y.IfSkipped), texted(y.IfWrong)...),
				asWritten(x.IfSkipped, x.IfWrong), asWritten(y.IfSkipped, y.IfWrong)},
			{"check_changed", texted(x.Check), texted(y.Check), asWritten(x.Check), asWritten(y.Check)},
			{"measure_changed", measureTexts(x), measureTexts(y), asWritten(x.measured()), asWritten(y.measured())},
			{"step_cars_changed", []string{featureList(x.If), x.Each, x.EachOrder}, []string{featureList(y.If), y.Each, y.EachOrder}, x.cars(), y.cars()},
		} {
			if !slices.Equal(p.was, p.is) {
				put(d.asks(here(p.code, y, weight), AskRead, AskRead, false), "from", p.from, "to", p.to, "weight", weight)
			}
		}
		if len(d.list) == seen && !marked { // only its place: what it comes after, or a mark that its sub-steps inherit
			put(d.asks(here("step_place_changed", y, weight), AskRead, AskRead, false), "weight", weight)
		}
	}, func(s *Step) {
		d.add(d.asks(here("step_added", s, stepWeight(s)), AskJob, AskRead, stepWeight(s) == WeightCritical),
			"lesson", b.Title, "step", s.Title.Plain(), "weight", stepWeight(s))
	}, func(s *Step) {
		d.add(d.asks(here("step_removed", s, stepWeight(s)), AskRead, AskRead, false),
			"lesson", b.Title, "step", s.Title.Plain(), "weight", stepWeight(s))
	})
}

func parentID(s *Step) string {
	if s.Parent == nil {
		return ""
	}
	return s.Parent.ID
}

// texted is what texts say, typography ignored.
func texted(ts []Text) []string {
	out := make([]string, len(ts))
	for i, t := range ts {
		out[i] = textType(t)
	}
	return out
}

// asWritten is what texts say, as written.
func asWritten(lists ...[]Text) string {
	var out []string
	for _, ts := range lists {
		for _, t := range ts {
			out = append(out, t.Plain())
		}
	}
	return strings.Join(out, " ")
}

func (s *Step) measured() []Text {
	var out []Text
	for _, m := range s.Measures {
		out = append(out, m.Text)
	}
	return out
}

// cars says on which cars and wheels a step is done: "abs, each wheel in bleed".
func (s *Step) cars() string {
	var out []string
	if len(s.If) > 0 {
		out = append(out, featureList(s.If))
	}
	if s.Each != "" {
		each := "each " + s.Each
		if s.EachOrder != "" {
			each += " in " + s.EachOrder
		}
		out = append(out, each)
	}
	return strings.Join(out, ", ")
}

func measureTexts(s *Step) []string {
	var out []string
	for _, m := range s.Measures {
		out = append(out, textType(m.Text)+" "+m.Which)
	}
	return out
}

// order says that steps of both editions stand in another order, once a lesson, by the heaviest of them; of equal ones
// the first in the new edition is named.
func (d *differ) order(at Change, a, b *Lesson) {
	if a.Procedure == nil || b.Procedure == nil {
		return
	}
	type one struct {
		id     string
		was    int // index in the old edition
		weight string
	}
	var both []one
	for _, s := range b.Procedure.Steps {
		if i, ok := a.Procedure.index[s.ID]; ok {
			x := a.Procedure.Steps[i]
			both = append(both, one{s.ID, i, heavier(ownWeight(x), ownWeight(s))})
		}
	}
	var moved []string
	weight, first := "", ""
	for _, x := range both {
		i := b.Procedure.index[x.id]
		for _, y := range both {
			j := b.Procedure.index[y.id]
			if a.Procedure.order[x.was][y.was] == b.Procedure.order[i][j] {
				continue
			}
			for _, z := range []one{x, y} {
				if h := heavier(weight, z.weight); h != weight {
					weight, first = h, z.id
				}
				moved = append(moved, b.ID+"/"+z.id)
			}
		}
	}
	if first == "" {
		return
	}
	slices.Sort(moved)
	c := at
	c.Code, c.Step, c.Weight, c.Rests = "order_changed", first, weight, slices.Compact(moved)
	d.add(d.asks(c, AskTest, AskRead, false), "lesson", b.Title, "step", b.Procedure.Step(first).Title.Plain(), "weight", weight)
}

func ownWeight(s *Step) string {
	switch {
	case s.Critical:
		return WeightCritical
	case s.Hold:
		return WeightHold
	}
	return WeightPlain
}

// lessonFigures compares a lesson's own tables of figures. Rows go by key or what they measure.
func (d *differ) lessonFigures(at Change, a, b *Lesson) {
	measuredBy := func(l *Lesson, f Figure) (rests []string, weight string) {
		for _, s := range stepsOf(l) {
			for _, m := range s.Measures {
				if m.FigureName != "" && collapse(f.Quantity.Plain()) == collapse(m.FigureName) || m.Key != "" && f.Key == m.Key {
					rests, weight = append(rests, l.ID+"/"+s.ID), heavier(weight, ownWeight(s))
				}
			}
		}
		slices.Sort(rests)
		return slices.Compact(rests), weight
	}
	put := func(code string, l *Lesson, f Figure, kv ...string) {
		c := at.ofFigure(code, f)
		c.Rests, c.Weight = measuredBy(l, f)
		d.add(d.asks(c, AskRead, AskRead, true), append([]string{"lesson", b.Title, "figure", f.Quantity.Plain()}, kv...)...)
	}
	pair(a.Figures, b.Figures, figureKey, func(x, y Figure) {
		if code := figureChange(x, y); code != "" {
			put(code, b, y, "from", x.limitText(), "to", y.limitText())
		}
	}, func(f Figure) { put("figure_added", b, f, "to", f.limitText()) },
		func(f Figure) { put("figure_removed", a, f, "from", f.limitText()) })
}

// ofFigure is the change as one of a figure.
func (c Change) ofFigure(code string, f Figure) Change {
	c.Code, c.key = code, figureKey(f)
	switch code {
	case "figure_changed", "limit_changed":
		c.figure, c.now = true, &f
	case "figure_removed":
		c.figure = true
	}
	return c
}

func figureKey(f Figure) string { return cmp.Or(f.Key, collapse(f.Quantity.Plain())) }

// figureChange is limit_changed where only the direction of the limit is another, figure_changed for the rest, "" for
// what [figureFingerprint] does not see.
func figureChange(x, y Figure) string {
	switch {
	case figureFingerprint(x) == figureFingerprint(y):
		return ""
	case x.String() != y.String():
		return "figure_changed"
	case x.Limit != y.Limit:
		return "limit_changed"
	}
	return "figure_reworded"
}

// limitText is a figure with its direction: "minimum 20 mm".
func (f Figure) limitText() string {
	if f.Limit == Minimum || f.Limit == Maximum {
		return string(f.Limit) + " " + f.String()
	}
	return f.String()
}

// comparedRow is a row as it is compared: by its id or first cell, and by what all of it says.
type comparedRow struct{ key, name, all string }

func newComparedRow(r Row, cells ...string) comparedRow {
	return comparedRow{cmp.Or(r.ID, cells[0]), cells[0], strings.Join(append(cells, featureList(r.If)), "|")}
}

// rowSections are the tables and lists whose rows are compared by what they say, typography ignored.
var rowSections = []struct {
	section string
	rows    func(*Lesson) []comparedRow
}{
	{"cautions", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Cautions {
			out = append(out, newComparedRow(r.Row, texted([]Text{r.Hazard, r.Consequence, r.Control})...))
		}
		return out
	}},
	{"tools", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Tools {
			out = append(out, newComparedRow(r.Row, texted([]Text{r.Item, r.Use, r.WrongThing, r.WrongHarm})...))
		}
		return out
	}},
	{"faults", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Faults {
			row := newComparedRow(r.Row, texted([]Text{r.Symptom, r.Cause, r.Check})...)
			if r.ID == "" { // one symptom has several causes
				row.key += "|" + textType(r.Cause)
			}
			out = append(out, row)
		}
		return out
	}},
	{"terms", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Terms {
			out = append(out, newComparedRow(r.Row, r.Names[0], strings.Join(r.Names, ", "), textType(r.Definition)))
		}
		return out
	}},
	{"misbeliefs", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Misbeliefs {
			out = append(out, newComparedRow(r.Row, texted([]Text{r.Said, r.InFact})...))
		}
		return out
	}},
	{"arithmetic", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Sums {
			out = append(out, newComparedRow(r.Row, r.Ask, sumText(r)))
		}
		return out
	}},
	{"pictures", func(l *Lesson) (out []comparedRow) {
		for _, r := range l.Pictures {
			cells := []string{r.Path, r.Alt}
			for _, x := range r.Parts {
				cells = append(cells, x.Number+" "+textType(x.Part))
			}
			out = append(out, newComparedRow(r.Row, cells...))
		}
		return out
	}},
}

func sumText(s Sum) string {
	out := string(s.Unit) + "|" + s.Rounding + "|" + s.Tolerance
	if s.Find != nil {
		out += "|" + s.Find.Source
	}
	for _, g := range s.Given {
		out += "|" + g.Name + " " + g.What + " " + string(g.Unit) + " " + strings.Join(g.Values, " ") + " " + g.VehicleKey
	}
	for _, x := range s.Slips {
		out += "|" + x.Means
		if x.Formula != nil {
			out += " " + x.Formula.Source
		}
	}
	return out
}

func (d *differ) rows(at Change, s struct {
	section string
	rows    func(*Lesson) []comparedRow
}, lesson string, old, new []comparedRow) {
	put := func(code string, r comparedRow) {
		c := at
		c.Code = code
		d.add(c, "lesson", lesson, "section", s.section, "row", r.name)
	}
	pair(old, new, func(r comparedRow) string { return r.key }, func(x, y comparedRow) {
		if x.all != y.all {
			put("row_changed", y)
		}
	}, func(r comparedRow) { put("row_added", r) }, func(r comparedRow) { put("row_removed", r) })
}

func (d *differ) vehicles() {
	pair(d.old.Vehicles, d.new.Vehicles, func(v *Vehicle) string { return v.ID }, d.vehicle,
		func(v *Vehicle) {
			d.add(Change{Code: "vehicle_added", File: v.File, Vehicle: v.ID}, "vehicle", v.Title)
		},
		func(v *Vehicle) {
			d.add(Change{Code: "vehicle_removed", File: v.File, Vehicle: v.ID}, "vehicle", v.Title)
		})
	languages := map[string]bool{}
	for _, p := range []*Programme{d.old, d.new} {
		for language := range p.sheets {
			languages[language] = true
		}
	}
	put := func(code, language string) func(*Vehicle) {
		return func(v *Vehicle) {
			d.add(Change{Code: code, File: v.File, Vehicle: v.ID}, "vehicle", v.Title, "language", language)
		}
	}
	for _, language := range sortedKeys(languages) { // their figures equal the original's
		pair(d.old.sheets[language], d.new.sheets[language], func(v *Vehicle) string { return v.ID }, func(a, b *Vehicle) {
			if a.Edition != b.Edition {
				put("vehicle_translation_changed", language)(b)
			}
		}, put("vehicle_translation_added", language), put("vehicle_translation_removed", language))
	}
}

func (d *differ) vehicle(a, b *Vehicle) {
	if a.Edition == b.Edition {
		return
	}
	seen := len(d.list)
	at := Change{File: b.File, Vehicle: b.ID}
	for _, x := range []struct{ what, from, to string }{
		{"title", a.Title, b.Title}, {"layout", a.Layout, b.Layout},
		{"features", featureList(a.Features), featureList(b.Features)}, {"wheels", wheelList(a), wheelList(b)},
	} {
		if x.from != x.to {
			c := at
			c.Code = "vehicle_changed"
			d.add(c, "vehicle", b.Title, "what", x.what, "from", x.from, "to", x.to)
		}
	}
	orders := map[string]bool{}
	for _, v := range []*Vehicle{a, b} {
		for name := range v.Orders {
			orders[name] = true
		}
	}
	for _, name := range sortedKeys(orders) {
		if slices.Equal(a.Orders[name], b.Orders[name]) {
			continue
		}
		c := at
		c.Code = "vehicle_order_changed"
		for _, p := range []*Programme{d.old, d.new} {
			rests, weight := p.goingRound(name)
			c.Rests, c.Weight = append(c.Rests, rests...), heavier(c.Weight, weight)
		}
		slices.Sort(c.Rests)
		c.Rests = slices.Compact(c.Rests)
		d.add(d.asks(c, AskRead, AskRead, true), "vehicle", b.Title, "order", name, "from", strings.Join(a.Orders[name], " "), "to", strings.Join(b.Orders[name], " "))
	}
	put := func(code string, p *Programme, v *Vehicle, f Figure, kv ...string) {
		c := at.ofFigure(code, f)
		c.Code, c.Key = "vehicle_"+code, f.Key
		c.Rests, c.Wheels, c.Weight = p.restingOn(v, f.Key)
		d.add(d.asks(c, AskRead, AskRead, true), append([]string{"vehicle", b.Title, "figure", f.Quantity.Plain()}, kv...)...)
	}
	pair(a.Figures, b.Figures, figureKey, func(x, y Figure) {
		if code := figureChange(x, y); code != "" {
			put(code, d.new, b, y, "from", x.limitText(), "to", y.limitText())
		}
	}, func(f Figure) { put("figure_added", d.new, b, f, "to", f.limitText()) },
		func(f Figure) { put("figure_removed", d.old, a, f, "from", f.limitText()) })
	if len(d.list) == seen {
		c := at
		c.Code = "vehicle_background_changed"
		d.add(c, "vehicle", b.Title)
	}
}

// restingOn lists the steps that measure or show a key on a car, as LESSON/STEP and as LESSON/STEP[@WHEEL] of its sheet,
// both sorted, and the weight of the heaviest.
func (p *Programme) restingOn(v *Vehicle, key string) (rests, wheels []string, weight string) {
	for _, l := range p.Lessons {
		if !slices.ContainsFunc(stepsOf(l), func(s *Step) bool { return len(s.keys()) > 0 }) {
			continue
		}
		for _, x := range l.Sheet(v).Steps {
			for s := x.Step; s != nil; s = s.Parent { // what a parent shows holds for its sub-steps
				for _, k := range s.keys() {
					if strings.ReplaceAll(k, "{axle}", x.Axle) == key {
						rests, wheels = append(rests, l.ID+"/"+x.Step.ID), append(wheels, l.ID+"/"+x.Key)
						weight = heavier(weight, ownWeight(x.Step))
					}
				}
			}
		}
	}
	slices.Sort(rests)
	slices.Sort(wheels)
	return slices.Compact(rests), slices.Compact(wheels), weight
}

// goingRound lists the steps that go round a car in a named order of wheels, and the weight of the heaviest.
func (p *Programme) goingRound(order string) (rests []string, weight string) {
	for _, l := range p.Lessons {
		for _, s := range stepsOf(l) {
			if s.EachOrder == order && len(s.Children) == 0 {
				rests, weight = append(rests, l.ID+"/"+s.ID), heavier(weight, ownWeight(s))
			}
		}
	}
	return rests, weight
}

func wheelList(v *Vehicle) string {
	var out []string
	for _, w := range v.Wheels {
		s := w.Name
		if len(w.Features) > 0 {
			s += " (" + featureList(w.Features) + ")"
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

func (d *differ) pictures() {
	put := func(code, path string) { d.add(Change{Code: code, File: path}, "picture", path) }
	for _, path := range slices.Sorted(maps.Keys(d.new.Pictures)) {
		was, ok := d.old.Pictures[path]
		switch {
		case !ok:
			put("picture_added", path)
		case was.Edition != d.new.Pictures[path].Edition:
			put("picture_changed", path)
		}
	}
	for _, path := range slices.Sorted(maps.Keys(d.old.Pictures)) {
		if _, stays := d.new.Pictures[path]; !stays {
			put("picture_removed", path)
		}
	}
}
