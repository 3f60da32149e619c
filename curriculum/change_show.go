package curriculum

// ShownLine is a line of what was or is there: a step, a point of it, a row. Label says which: "step", "why", "if-skipped",
// "if-wrong", "check", "measure"; "" for text that needs none.
type ShownLine struct {
	Label, Text string
}

// Shown gives what a change is about as it stood in the old edition and as it stands in the new one: the step with its points, the
// steps in their order, or the figure; nothing on the side where it is not there. What a change says in full by itself (a policy's
// value, a title) gives nothing.
func (c Change) Shown(old, new *Programme, language string) (before, after []ShownLine) {
	a, b := lessonIn(old, c.Lesson, language), lessonIn(new, c.Lesson, language)
	switch {
	case c.Code == "order_changed":
		return stepLines(a, ""), stepLines(b, "")
	case c.Step != "":
		return stepLines(a, c.Step), stepLines(b, c.Step)
	case c.Vehicle != "" && c.Key != "":
		return figureLines(old.Vehicle(c.Vehicle), c.Key), figureLines(new.Vehicle(c.Vehicle), c.Key)
	}
	for _, x := range []struct{ key string }{{"from"}, {"to"}} {
		if t := c.Args[x.key]; t != "" && c.figureOrRow() {
			line := []ShownLine{{Text: c.Args["figure"] + ": " + t}}
			if x.key == "from" {
				before = line
			} else {
				after = line
			}
		}
	}
	return before, after
}

func (c Change) figureOrRow() bool { return c.Args["figure"] != "" }

func lessonIn(p *Programme, id, language string) *Lesson {
	if id == "" {
		return nil
	}
	return p.Lesson(id, language)
}

// stepLines are a step with its points; all steps by their titles where id is "".
func stepLines(l *Lesson, id string) (out []ShownLine) {
	if l == nil || l.Procedure == nil {
		return nil
	}
	if id == "" {
		for _, s := range l.Procedure.Steps {
			out = append(out, ShownLine{Label: "step", Text: s.Title.Plain()})
		}
		return out
	}
	s := l.Procedure.Step(id)
	if s == nil {
		return nil
	}
	out = append(out, ShownLine{"step", s.Title.Plain()})
	for _, p := range []struct {
		label string
		texts []Text
	}{{pointWhy, s.Why}, {pointIfSkipped, s.IfSkipped}, {pointIfWrong, s.IfWrong}, {pointCheck, s.Check}, {pointMeasure, s.measured()}} {
		for _, t := range p.texts {
			out = append(out, ShownLine{p.label, t.Plain()})
		}
	}
	return out
}

func figureLines(v *Vehicle, key string) []ShownLine {
	if v == nil {
		return nil
	}
	f, ok := v.Figure(key, "")
	if !ok {
		return nil
	}
	return []ShownLine{{Text: f.Quantity.Plain() + ": " + f.limitText()}}
}

// Concerns says whether a change is one of a lesson: of its file, or of a figure that its steps measure or show.
func (c Change) Concerns(lesson string) bool {
	if c.Lesson == lesson {
		return true
	}
	for _, r := range c.Rests {
		if len(r) > len(lesson) && r[:len(lesson)] == lesson && r[len(lesson)] == '/' {
			return true
		}
	}
	return false
}
