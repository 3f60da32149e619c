package readiness

import (
	"slices"
	"strings"
)

// Catalogue is what there is to be ready for.
type Catalogue struct {
	Tasks       []CatalogueTask       `json:"tasks"`
	Supervisors []CatalogueSupervisor `json:"supervisors"`
	Questions   []CatalogueQuestion   `json:"questions"`
}

// CatalogueTask is one task with its critical steps, and the programme editions whose theory tests must be taken again.
type CatalogueTask struct {
	Task          string            `json:"task"`
	Prerequisites []string          `json:"prerequisites,omitempty"`
	Lessons       []CatalogueLesson `json:"lessons,omitempty"`
	Steps         []CatalogueStep   `json:"steps"`
	RetestAfter   []string          `json:"retest_after,omitempty"`
}

// CatalogueLesson is a lesson in its current edition, and the older editions whose readers must read again.
type CatalogueLesson struct {
	Lesson      string   `json:"lesson"`
	Edition     string   `json:"edition"`
	RereadAfter []string `json:"reread_after,omitempty"`
}

// CatalogueStep is a step; ours are LESSON/STEP.
type CatalogueStep struct {
	Step     string `json:"step"`
	Critical bool   `json:"critical"`
}

// CatalogueSupervisor is somebody who watches.
type CatalogueSupervisor struct {
	Supervisor string `json:"supervisor"`
}

// CatalogueQuestion ties a question id to its task.
type CatalogueQuestion struct {
	Question string `json:"question"`
	Task     string `json:"task"`
}

// ReadCatalogue reads a catalogue strictly (but unknown fields are ignored): tasks and their steps must be there, since
// a step left out would open a gate; supervisors and questions may be absent. Names must not repeat, prerequisites must
// be tasks of the catalogue and form no circle. All faults are reported at once; on any the catalogue is nil.
func ReadCatalogue(b []byte) (*Catalogue, []InputError) {
	v, fault := parseJSON(withoutMark(b), 1)
	if fault != nil {
		return nil, []InputError{*fault}
	}
	var faults []InputError
	r, ok := object(&faults, "", v)
	if !ok {
		return nil, faults
	}
	c := &Catalogue{}
	var tasks, supervisors, questions names
	r.elements("tasks", true, func(path string, v jsonValue) {
		if t, ok := object(&faults, path, v); ok {
			task := readTask(t)
			tasks.add(t, "task", task.Task)
			c.Tasks = append(c.Tasks, task)
		}
	})
	r.elements("supervisors", false, func(path string, v jsonValue) {
		if s, ok := object(&faults, path, v); ok {
			id := s.text("supervisor", true)
			supervisors.add(s, "supervisor", id)
			c.Supervisors = append(c.Supervisors, CatalogueSupervisor{Supervisor: id})
		}
	})
	r.elements("questions", false, func(path string, v jsonValue) {
		if q, ok := object(&faults, path, v); ok {
			question := CatalogueQuestion{Question: q.text("question", true), Task: q.text("task", true)}
			questions.add(q, "question", question.Question)
			c.Questions = append(c.Questions, question)
		}
	})
	if len(faults) == 0 {
		checkPrerequisites(r, c)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return c, nil
}

// names finds what stands twice in a list.
type names struct{ lines map[string]string }

func (n *names) add(r reader, key, name string) {
	if name == "" {
		return // already a fault
	}
	if n.lines == nil {
		n.lines = map[string]string{}
	}
	v, _ := r.get(key)
	if line, again := n.lines[name]; again {
		r.fault(v.line, join(r.path, key), "input_duplicate_id", "value", name, "line", line)
		return
	}
	n.lines[name] = decimal(v.line)
}

func readTask(r reader) CatalogueTask {
	task := CatalogueTask{Task: r.text("task", true), Prerequisites: r.texts("prerequisites", false), RetestAfter: r.texts("retest_after", false)}
	var lessons, steps names
	r.elements("lessons", false, func(path string, v jsonValue) {
		if l, ok := object(r.faults, path, v); ok {
			lesson := CatalogueLesson{Lesson: l.text("lesson", true), Edition: l.text("edition", true), RereadAfter: l.texts("reread_after", false)}
			lessons.add(l, "lesson", lesson.Lesson)
			task.Lessons = append(task.Lessons, lesson)
		}
	})
	r.elements("steps", true, func(path string, v jsonValue) {
		if s, ok := object(r.faults, path, v); ok {
			step := CatalogueStep{Step: s.text("step", true), Critical: s.yes("critical", true)}
			steps.add(s, "step", step.Step)
			task.Steps = append(task.Steps, step)
		}
	})
	return task
}

func checkPrerequisites(r reader, c *Catalogue) {
	before := map[string][]string{}
	for _, t := range c.Tasks {
		before[t.Task] = t.Prerequisites
	}
	all, _ := r.get("tasks")
	for i, t := range c.Tasks {
		path := "tasks[" + decimal(i) + "].prerequisites"
		for _, p := range t.Prerequisites {
			if _, known := before[p]; !known {
				r.fault(all.items[i].line, path, "input_unknown_task", "value", p)
			}
		}
		if circle := findCircle(t.Task, before); circle != nil {
			r.fault(all.items[i].line, path, "input_cycle", "tasks", list(circle))
		}
	}
}

// findCircle returns the way from start over prerequisites back to start, or nil.
func findCircle(start string, before map[string][]string) []string {
	seen := map[string]bool{}
	var walk func(task string, way []string) []string
	walk = func(task string, way []string) []string {
		for _, p := range before[task] {
			if p == start {
				return append(slices.Clone(way), p)
			}
			if !seen[p] {
				seen[p] = true
				if found := walk(p, append(way, p)); found != nil {
					return found
				}
			}
		}
		return nil
	}
	return walk(start, []string{start})
}

// stepOf finds the step of a catalogue that a step of evidence names: itself, or what stands before the last @.
func (t *taskFacts) stepOf(step string) (string, bool) {
	if _, ok := t.critical[step]; ok {
		return step, true
	}
	if at := strings.LastIndexByte(step, '@'); at > 0 {
		if _, ok := t.critical[step[:at]]; ok {
			return step[:at], true
		}
	}
	return "", false
}

// taskFacts is a task of the catalogue, ready for looking up. A task that only evidence or policy names has no steps.
type taskFacts struct {
	CatalogueTask
	critical map[string]bool // by step
	need     []string        // critical steps, in the catalogue's order
}

func newTaskFacts(t CatalogueTask) *taskFacts {
	f := &taskFacts{CatalogueTask: t, critical: make(map[string]bool, len(t.Steps))}
	for _, s := range t.Steps {
		f.critical[s.Step] = s.Critical
		if s.Critical {
			f.need = append(f.need, s.Step)
		}
	}
	return f
}

// facts of the catalogue's task of this name, or of a task without steps.
func (c *Catalogue) facts(task string) *taskFacts {
	for i := range c.Tasks {
		if c.Tasks[i].Task == task {
			return newTaskFacts(c.Tasks[i])
		}
	}
	return newTaskFacts(CatalogueTask{Task: task})
}
