package curriculum

import "strings"

// passage finds the text of an element. A whole step or row gives all its sentences.
func passage(l *Lesson, element string) string {
	class, rest, ok := strings.Cut(element, "/")
	if !ok {
		return ""
	}
	id, field, _ := strings.Cut(rest, "/")
	if class == classProcedure {
		return stepPassage(l.Procedure.Step(id), field)
	}
	fields := l.rowFields(class, id)
	var parts []string
	for _, f := range fields {
		if field == "" || f.name == field {
			parts = append(parts, f.text)
		}
	}
	return sentences(parts)
}

func stepPassage(s *Step, field string) string {
	if s == nil {
		return ""
	}
	var ts []Text
	switch field {
	case "":
		ts = []Text{s.Title}
	case pointWhy:
		ts = s.Why
	case pointIfSkipped:
		ts = append(append(ts, s.IfSkipped...), s.IfWrong...)
	case pointIfWrong:
		ts = s.IfWrong
	case pointCheck:
		ts = s.Check
	case pointMeasure:
		for _, m := range s.Measures {
			ts = append(ts, m.Text)
		}
	}
	var parts []string
	for _, t := range ts {
		parts = append(parts, t.Plain())
	}
	return sentences(parts)
}

// sentences joins texts, each ended by a full stop where it has no end of its own.
func sentences(parts []string) string {
	var out []string
	for _, p := range parts {
		p = strings.TrimSpace(p)
		if p == "" {
			continue
		}
		if !strings.ContainsAny(p[len(p)-1:], ".!?:") && !strings.HasSuffix(p, "…") {
			p += "."
		}
		out = append(out, p)
	}
	return strings.Join(out, " ")
}

// field is one named text of a row.
type field struct{ name, text string }

// rowFields lists the fields of the row or block that an element without its field names.
func (l *Lesson) rowFields(class, id string) (out []field) {
	is := func(r Row) bool { return r.Element == class+"/"+id }
	switch class {
	case classCautions:
		for _, r := range l.Cautions {
			if is(r.Row) {
				return []field{{"hazard", r.Hazard.Plain()}, {"consequence", r.Consequence.Plain()}, {"control", r.Control.Plain()}}
			}
		}
	case classTools:
		for _, r := range l.Tools {
			if is(r.Row) {
				return []field{{"item", r.Item.Plain()}, {"use", r.Use.Plain()}, {"wrong-thing", r.WrongThing.Plain()}, {"wrong-harm", r.WrongHarm.Plain()}}
			}
		}
	case classFaults:
		for _, r := range l.Faults {
			if is(r.Row) {
				return []field{{"symptom", r.Symptom.Plain()}, {"cause", r.Cause.Plain()}, {"check", r.Check.Plain()}}
			}
		}
	case classFigures:
		for _, r := range l.Figures {
			if is(r.Row) {
				return []field{{"figure", r.Quantity.Plain() + ": " + r.String()}}
			}
		}
	case classTerms:
		for _, r := range l.Terms {
			if is(r.Row) {
				return []field{{"term", strings.Join(r.Names, ", ")}, {"definition", r.Definition.Plain()}}
			}
		}
	case classMisbeliefs:
		for _, r := range l.Misbeliefs {
			if is(r.Row) {
				return []field{{"said", r.Said.Plain()}, {"in-fact", r.InFact.Plain()}}
			}
		}
	case classPictures:
		for _, r := range l.Pictures {
			if is(r.Row) {
				for _, p := range r.Parts {
					out = append(out, field{p.Number, p.Number + ": " + p.Part.Plain()})
				}
				return out
			}
		}
	case classArithmetic:
		for _, r := range l.Sums {
			if is(r.Row) {
				out = []field{{"find", r.Ask}}
				for i, s := range r.Slips {
					out = append(out, field{"slip-" + itoa(i+1), s.Means})
				}
				return out
			}
		}
	}
	return nil
}
