package curriculum

import (
	"slices"
	"strings"
)

// checkTranslations pairs each lesson of a language with its original: same steps, rows, figures and sums.
func (f *folder) checkTranslations(language string) {
	have := map[string]bool{}
	for _, lr := range f.translated[language] {
		original := f.out.Lesson(lr.l.ID, "")
		have[lr.l.ID] = true
		if lr.l.ID == "" || original == nil && f.unnamed {
			continue // the one that it translates cannot be known
		}
		if original == nil {
			lr.errorItem(lr.front.id, "translation_of_nothing", "id", lr.l.ID)
			continue
		}
		compareLessons(lr, original)
	}
	for _, lr := range f.lessons {
		if !have[lr.l.ID] && !have[""] && lr.l.ID != "" {
			lr.warnItem(lr.front.id, "not_translated", "id", lr.l.ID, "language", language)
		}
	}
}

func compareLessons(lr *lessonReader, o *Lesson) {
	l := lr.l
	differs := func(line int, element, what string) {
		lr.errorLine(line, 1, "translation_differs", "element", element, "what", what)
	}
	if !sameSet(l.Tasks, o.Tasks) {
		differs(lr.front.id.line, "tasks", "tasks")
	}
	if !sameSet(l.Prerequisites, o.Prerequisites) {
		differs(lr.front.id.line, "prerequisites", "prerequisites")
	}
	lr.compareSteps(o)
	rows := func(class string, got, want []Row) bool {
		if len(got) != len(want) {
			line := 1
			for _, s := range l.Sections {
				if s.Class == class {
					line = s.Line
				}
			}
			lr.errorLine(line, 1, "translation_count", "section", class, "count", itoa(len(got)), "original", itoa(len(want)))
			return false
		}
		ok := true
		for i := range got {
			if got[i].ID != want[i].ID {
				ok = false
				differs(got[i].Line, want[i].Element, "id")
			}
			if !sameSet(got[i].If, want[i].If) {
				differs(got[i].Line, want[i].Element, "if")
			}
		}
		return ok
	}
	rows(classCautions, rowsOf(l.Cautions), rowsOf(o.Cautions))
	rows(classTools, rowsOf(l.Tools), rowsOf(o.Tools))
	rows(classFaults, rowsOf(l.Faults), rowsOf(o.Faults))
	rows(classTerms, rowsOf(l.Terms), rowsOf(o.Terms))
	rows(classMisbeliefs, rowsOf(l.Misbeliefs), rowsOf(o.Misbeliefs))
	if rows(classFigures, rowsOf(l.Figures), rowsOf(o.Figures)) {
		for i, f := range l.Figures {
			if figureValues(f) != figureValues(o.Figures[i]) {
				differs(f.Line, o.Figures[i].Element, "figure")
			}
		}
	}
	if rows(classPictures, rowsOf(l.Pictures), rowsOf(o.Pictures)) {
		for i, p := range l.Pictures {
			if numbersOf(p) != numbersOf(o.Pictures[i]) {
				differs(p.Line, o.Pictures[i].Element, "numbers")
			}
		}
	}
	if rows(classArithmetic, rowsOf(l.Sums), rowsOf(o.Sums)) {
		for i, s := range l.Sums {
			if sumValues(s) != sumValues(o.Sums[i]) {
				differs(s.Line, o.Sums[i].Element, "sum")
			}
		}
	}
}

// hasRow is every kind of row.
type hasRow interface{ row() Row }

func (r Row) row() Row { return r }

func rowsOf[T hasRow](list []T) []Row {
	out := make([]Row, len(list))
	for i, r := range list {
		out[i] = r.row()
	}
	return out
}

func sameSet(a, b []string) bool {
	a, b = slices.Clone(a), slices.Clone(b)
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(a, b)
}

func numbersOf(p LessonPicture) string {
	var out []string
	for _, part := range p.Parts {
		out = append(out, part.Number)
	}
	slices.Sort(out)
	return strings.Join(out, " ")
}

// sumValues is what a translated sum shares with its original: all but the words.
func sumValues(s Sum) string {
	out := []string{string(s.Unit), s.Rounding, s.Tolerance}
	source := func(f *Formula) string {
		if f == nil {
			return ""
		}
		return strings.Join(strings.Fields(f.Source), "")
	}
	out = append(out, source(s.Find))
	for _, g := range s.Given {
		out = append(out, g.Name, string(g.Unit), strings.Join(g.Values, " "), g.VehicleKey)
	}
	for _, sl := range s.Slips {
		out = append(out, source(sl.Formula))
	}
	return strings.Join(out, "|")
}

func (lr *lessonReader) compareSteps(o *Lesson) {
	l := lr.l
	var got, want []*Step
	if l.Procedure != nil {
		got = l.Procedure.Steps
	}
	if o.Procedure != nil {
		want = o.Procedure.Steps
	}
	for _, w := range want {
		s := l.Procedure.Step(w.ID)
		if s == nil {
			if w.ID != "" {
				lr.errorItem(lr.front.id, "translation_lacks", "element", w.Element)
			}
			continue
		}
		differs := func(what string) {
			lr.errorLine(s.Line, s.Column, "translation_differs", "element", s.Element, "what", what)
		}
		if s.ownCritical != w.ownCritical {
			differs("critical")
		}
		if s.ownHold != w.ownHold {
			differs("hold")
		}
		if !sameSet(s.If, w.If) {
			differs("if")
		}
		if s.Each != w.Each || s.EachOrder != w.EachOrder {
			differs("each")
		}
		switch {
		case (s.Parent == nil) != (w.Parent == nil) || s.Parent != nil && s.Parent.ID != w.Parent.ID:
			differs("parent")
		case len(s.Why) != len(w.Why) || len(s.IfSkipped) != len(w.IfSkipped) || len(s.IfWrong) != len(w.IfWrong) ||
			len(s.Check) != len(w.Check) || len(s.Measures) != len(w.Measures):
			differs("points")
		default:
			for i, m := range s.Measures {
				if x := w.Measures[i]; m.Key != x.Key || m.Which != x.Which {
					differs("measure")
				}
			}
			for _, other := range want {
				if l.Procedure.cyclic || o.Procedure.cyclic {
					break
				}
				if l.Procedure.Step(other.ID) != nil && l.Procedure.Before(s.ID, other.ID) != o.Procedure.Before(s.ID, other.ID) {
					differs("order")
					break
				}
			}
		}
	}
	for _, s := range got {
		if s.ID != "" && o.Procedure.Step(s.ID) == nil {
			lr.errorLine(s.Line, s.Column, "translation_adds", "element", s.Element)
		}
	}
}
