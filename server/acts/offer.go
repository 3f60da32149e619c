package acts

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
)

// Compare loads a folder and compares it with the edition in use. A folder that cannot be used is an offer with
// problems and without a programme: it can be reported, never adopted.
func (s *Service) Compare(ctx context.Context, actor *store.Person, fsys fs.FS) (*Offer, error) {
	if err := s.May(ctx, actor, SeeOffer, Target{}); err != nil {
		return nil, err
	}
	now, err := s.programme(ctx)
	if err != nil {
		return nil, err
	}
	offered, problems := LoadProgramme(fsys)
	o := &Offer{Problems: problems, Programme: offered}
	if offered != nil {
		o.Same = offered.Edition == now.Edition
		o.Changes = Changes(now, offered)
	}
	return o, nil
}

// changes gathers what differs.
type changes struct{ list []Change }

func (c *changes) add(code string, args ...string) {
	x := Change{Code: code, Args: map[string]string{}}
	for i := 0; i+1 < len(args); i += 2 {
		x.Args[args[i]] = args[i+1]
	}
	c.list = append(c.list, x)
}

// Changes says in the trade's terms how a new programme differs from an old one: programme, tasks, policy, blueprints,
// lessons with their steps and figures, vehicles. Where files differ in what none of that sees (typography, reading
// matter), it says so, too: there is at least one change whenever the editions differ.
func Changes(old, new *curriculum.Programme) []Change {
	c := &changes{}
	if old.Edition == new.Edition {
		return nil
	}
	if old.Title != new.Title {
		c.add("title_changed", "from", old.Title, "to", new.Title)
	}
	if a, b := strings.Join(old.Languages, ", "), strings.Join(new.Languages, ", "); a != b {
		c.add("languages_changed", "from", a, "to", b)
	}
	if old.Units != new.Units {
		c.add("units_changed", "from", old.Units, "to", new.Units)
	}
	c.tasks(old, new)
	c.policy(old, new)
	c.blueprints(old, new)
	c.lessons(old, new)
	c.vehicles(old, new)
	c.pictures(old, new)
	if len(c.list) == 0 {
		c.add("typography_only")
	}
	return c.list
}

// pair matches two lists by key, in the order of the new one, those that went last.
func pair[T any](old, new []T, key func(T) string, both func(a, b T), added, removed func(T)) {
	for _, n := range new {
		if i := slices.IndexFunc(old, func(o T) bool { return key(o) == key(n) }); i >= 0 {
			both(old[i], n)
		} else {
			added(n)
		}
	}
	for _, o := range old {
		if !slices.ContainsFunc(new, func(n T) bool { return key(n) == key(o) }) {
			removed(o)
		}
	}
}

func (c *changes) tasks(old, new *curriculum.Programme) {
	pair(old.Tasks, new.Tasks, func(t curriculum.Task) string { return t.ID }, func(a, b curriculum.Task) {
		if a.Title != b.Title {
			c.add("task_renamed", "task", b.ID, "from", a.Title, "to", b.Title)
		}
		if !slices.Equal(a.Lessons, b.Lessons) {
			c.add("task_lessons_changed", "task", b.Title, "from", strings.Join(a.Lessons, ", "), "to", strings.Join(b.Lessons, ", "))
		}
		if !slices.Equal(a.Prerequisites, b.Prerequisites) {
			c.add("task_prerequisites_changed", "task", b.Title, "from", strings.Join(a.Prerequisites, ", "), "to", strings.Join(b.Prerequisites, ", "))
		}
	}, func(t curriculum.Task) { c.add("task_added", "task", t.Title) }, func(t curriculum.Task) { c.add("task_removed", "task", t.Title) })
}

// policy names every value of the policy, as it holds with defaults filled in, that is another.
func (c *changes) policy(old, new *curriculum.Programme) {
	a, b := flat(old.Policy, taskIDs(old, new)), flat(new.Policy, taskIDs(old, new))
	keys := slices.Sorted(maps.Keys(a))
	for _, k := range slices.Sorted(maps.Keys(b)) {
		if _, ok := a[k]; !ok {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	for _, k := range keys {
		if a[k] != b[k] {
			c.add("policy_changed", "value", k, "from", a[k], "to", b[k])
		}
	}
}

func taskIDs(ps ...*curriculum.Programme) []string {
	var out []string
	for _, p := range ps {
		for _, t := range p.Tasks {
			if !slices.Contains(out, t.ID) {
				out = append(out, t.ID)
			}
		}
	}
	return out
}

// flat is a policy as paths and values: "tasks.bleed.jobs" → "5".
func flat(p readiness.Policy, tasks []string) map[string]string {
	var v any
	if err := json.Unmarshal(p.Filled(tasks).JSON(), &v); err != nil {
		panic("acts: a policy's own JSON does not read: " + err.Error())
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

func (c *changes) blueprints(old, new *curriculum.Programme) {
	pair(old.Blueprints, new.Blueprints, func(b curriculum.Blueprint) string { return b.ID }, func(a, b curriculum.Blueprint) {
		if a.Task != b.Task || a.Questions != b.Questions || !maps.Equal(a.Lessons, b.Lessons) || !maps.Equal(a.Families, b.Families) || a.CriticalSteps != b.CriticalSteps {
			c.add("blueprint_changed", "blueprint", b.ID)
		}
	}, func(b curriculum.Blueprint) { c.add("blueprint_added", "blueprint", b.ID) },
		func(b curriculum.Blueprint) { c.add("blueprint_removed", "blueprint", b.ID) })
}

func (c *changes) lessons(old, new *curriculum.Programme) {
	id := func(l *curriculum.Lesson) string { return l.ID }
	pair(old.Lessons, new.Lessons, id, func(a, b *curriculum.Lesson) { c.lesson(a, b, "") },
		func(l *curriculum.Lesson) { c.add("lesson_added", "lesson", l.Title) },
		func(l *curriculum.Lesson) { c.add("lesson_removed", "lesson", l.Title) })
	for _, language := range slices.Sorted(maps.Keys(new.Translated)) {
		pair(old.Translated[language], new.Translated[language], id, func(a, b *curriculum.Lesson) { c.lesson(a, b, language) },
			func(l *curriculum.Lesson) { c.add("translation_added", "lesson", l.Title, "language", language) },
			func(l *curriculum.Lesson) { c.add("translation_removed", "lesson", l.Title, "language", language) })
	}
	for _, language := range slices.Sorted(maps.Keys(old.Translated)) {
		if _, stays := new.Translated[language]; !stays {
			for _, l := range old.Translated[language] {
				c.add("translation_removed", "lesson", l.Title, "language", language)
			}
		}
	}
}

// lesson compares two editions of a lesson: whether it must be read again, then step by step and figure by figure.
func (c *changes) lesson(a, b *curriculum.Lesson, language string) {
	if a.Edition == b.Edition {
		return
	}
	code := "lesson_changed"
	if curriculum.MateriallyChanged(a, b) {
		code = "lesson_changed_reread"
	}
	c.add(code, "lesson", b.Title, "language", language)
	seen := len(c.list)
	if a.Title != b.Title {
		c.add("lesson_renamed", "lesson", b.ID, "from", a.Title, "to", b.Title)
	}
	c.steps(a, b)
	c.figures("", b.Title, a.Figures, b.Figures)
	c.sections(a, b)
	if len(c.list) == seen {
		c.add("background_changed", "lesson", b.Title)
	}
}

func stepsOf(l *curriculum.Lesson) []*curriculum.Step {
	if l.Procedure == nil {
		return nil
	}
	return l.Procedure.Steps
}

func (c *changes) steps(a, b *curriculum.Lesson) {
	weight := func(st *curriculum.Step) string {
		switch {
		case st.Critical:
			return "critical"
		case st.Hold:
			return "hold"
		}
		return "plain"
	}
	pair(stepsOf(a), stepsOf(b), func(st *curriculum.Step) string { return st.ID }, func(x, y *curriculum.Step) {
		args := []string{"lesson", b.Title, "step", y.Title.Plain()}
		marks := false
		for _, m := range []struct {
			was, is         bool
			became, stopped string
		}{{x.Critical, y.Critical, "step_now_critical", "step_no_longer_critical"}, {x.Hold, y.Hold, "step_now_hold", "step_no_longer_hold"}} {
			switch {
			case m.is && !m.was:
				c.add(m.became, args...)
				marks = true
			case m.was && !m.is:
				c.add(m.stopped, args...)
				marks = true
			}
		}
		if x.Fingerprint != y.Fingerprint && !marks {
			c.add("step_changed", append(args, "weight", weight(y))...)
		}
	}, func(st *curriculum.Step) {
		c.add("step_added", "lesson", b.Title, "step", st.Title.Plain(), "weight", weight(st))
	}, func(st *curriculum.Step) {
		c.add("step_removed", "lesson", b.Title, "step", st.Title.Plain(), "weight", weight(st))
	})
	if orderChanged(a, b) {
		c.add("order_changed", "lesson", b.Title)
	}
}

// orderChanged says whether two steps that both editions have stand in another order.
func orderChanged(a, b *curriculum.Lesson) bool {
	if a.Procedure == nil || b.Procedure == nil {
		return false
	}
	var both []string
	for _, st := range b.Procedure.Steps {
		if a.Procedure.Step(st.ID) != nil {
			both = append(both, st.ID)
		}
	}
	for _, x := range both {
		for _, y := range both {
			if a.Procedure.Before(x, y) != b.Procedure.Before(x, y) {
				return true
			}
		}
	}
	return false
}

// figures compares two tables of figures. Rows go by key, else by what they measure. vehicle or lesson names the place.
func (c *changes) figures(vehicle, lesson string, a, b []curriculum.Figure) {
	place := []string{"lesson", lesson}
	prefix := "figure_"
	if vehicle != "" {
		place, prefix = []string{"vehicle", vehicle}, "vehicle_figure_"
	}
	key := func(f curriculum.Figure) string { return cmp.Or(f.Key, f.Quantity.Plain()) }
	pair(a, b, key, func(x, y curriculum.Figure) {
		if x.String() != y.String() || x.Limit != y.Limit {
			c.add(prefix+"changed", append(place, "figure", y.Quantity.Plain(), "from", limitText(x), "to", limitText(y))...)
		}
	}, func(f curriculum.Figure) {
		c.add(prefix+"added", append(place, "figure", f.Quantity.Plain(), "to", limitText(f))...)
	}, func(f curriculum.Figure) {
		c.add(prefix+"removed", append(place, "figure", f.Quantity.Plain(), "from", limitText(f))...)
	})
}

// sections compares the other tables and lists by what they say.
func (c *changes) sections(a, b *curriculum.Lesson) {
	for _, s := range []struct {
		section string
		rows    func(*curriculum.Lesson) []string
	}{
		{"cautions", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Cautions {
				out = append(out, r.Hazard.Plain()+"|"+r.Consequence.Plain()+"|"+r.Control.Plain())
			}
			return out
		}},
		{"tools", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Tools {
				out = append(out, r.Item.Plain()+"|"+r.Use.Plain()+"|"+r.WrongThing.Plain()+"|"+r.WrongHarm.Plain())
			}
			return out
		}},
		{"faults", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Faults {
				out = append(out, r.Symptom.Plain()+"|"+r.Cause.Plain()+"|"+r.Check.Plain())
			}
			return out
		}},
		{"terms", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Terms {
				out = append(out, strings.Join(r.Names, ", ")+"|"+r.Definition.Plain())
			}
			return out
		}},
		{"misbeliefs", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Misbeliefs {
				out = append(out, r.Said.Plain()+"|"+r.InFact.Plain())
			}
			return out
		}},
		{"arithmetic", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Sums {
				out = append(out, sumText(r))
			}
			return out
		}},
		{"pictures", func(l *curriculum.Lesson) (out []string) {
			for _, r := range l.Pictures {
				out = append(out, r.Path+"|"+r.Alt)
				for _, x := range r.Parts {
					out = append(out, x.Number+"|"+x.Part.Plain())
				}
			}
			return out
		}},
	} {
		if !slices.Equal(s.rows(a), s.rows(b)) {
			c.add("section_changed", "lesson", b.Title, "section", s.section)
		}
	}
}

func sumText(s curriculum.Sum) string {
	out := s.Ask + "|" + string(s.Unit) + "|" + s.Rounding + "|" + s.Tolerance
	if s.Find != nil {
		out += "|" + s.Find.Source
	}
	for _, g := range s.Given {
		out += "|" + g.Name + " " + g.What + " " + string(g.Unit) + " " + strings.Join(g.Values, " ") + " " + g.VehicleKey
	}
	for _, x := range s.Slips {
		out += "|" + x.Formula.Source + " " + x.Means
	}
	return out
}

func (c *changes) vehicles(old, new *curriculum.Programme) {
	pair(old.Vehicles, new.Vehicles, func(v *curriculum.Vehicle) string { return v.ID }, func(a, b *curriculum.Vehicle) {
		if a.Edition == b.Edition {
			return
		}
		seen := len(c.list)
		for _, x := range []struct{ what, from, to string }{
			{"title", a.Title, b.Title}, {"layout", a.Layout, b.Layout},
			{"features", sorted(a.Features), sorted(b.Features)}, {"wheels", wheels(a), wheels(b)}, {"orders", orders(a), orders(b)},
		} {
			if x.from != x.to {
				c.add("vehicle_changed", "vehicle", b.Title, "what", x.what, "from", x.from, "to", x.to)
			}
		}
		c.figures(b.Title, "", a.Figures, b.Figures)
		if len(c.list) == seen {
			c.add("vehicle_background_changed", "vehicle", b.Title)
		}
	}, func(v *curriculum.Vehicle) { c.add("vehicle_added", "vehicle", v.Title) },
		func(v *curriculum.Vehicle) { c.add("vehicle_removed", "vehicle", v.Title) })
}

func sorted(words []string) string {
	return strings.Join(slices.Sorted(slices.Values(words)), ", ")
}

func wheels(v *curriculum.Vehicle) string {
	var out []string
	for _, w := range v.Wheels {
		s := w.Name
		if len(w.Features) > 0 {
			s += " (" + sorted(w.Features) + ")"
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

func orders(v *curriculum.Vehicle) string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(v.Orders)) {
		out = append(out, name+": "+strings.Join(v.Orders[name], " "))
	}
	return strings.Join(out, "; ")
}

func (c *changes) pictures(old, new *curriculum.Programme) {
	for _, path := range slices.Sorted(maps.Keys(new.Pictures)) {
		was, ok := old.Pictures[path]
		switch {
		case !ok:
			c.add("picture_added", "picture", path)
		case was.Edition != new.Pictures[path].Edition:
			c.add("picture_changed", "picture", path)
		}
	}
	for _, path := range slices.Sorted(maps.Keys(old.Pictures)) {
		if _, stays := new.Pictures[path]; !stays {
			c.add("picture_removed", "picture", path)
		}
	}
}
