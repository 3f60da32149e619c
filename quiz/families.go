package quiz

import "brakewright/curriculum"

// table lists the families in their order. A new family is a file family_NAME.go and a line here.
var table = []*family{
	orderFamily, beforeFamily, afterFamily, beforeAllFamily, nextFamily, whatNowFamily, ifSkippedFamily, whyFamily, stepCheckFamily,
	judgeFamily, directionFamily, readingsFamily, mistakeFamily,
	hazardControlFamily, hazardConsequenceFamily, controlHazardFamily,
	faultCheckFamily, faultApartFamily, faultCauseFamily, matchCauseCheckFamily,
	toolUseFamily, toolHarmFamily, matchToolUseFamily,
	carFigureFamily, carFigureTypedFamily, figureFamily, carOrderFamily,
	termFamily, definitionFamily, misbeliefFamily, factFamily,
	arithmeticFamily, arithmeticSlipFamily,
	pointFamily, partFamily,
}

func families() []FamilyInfo {
	out := make([]FamilyInfo, len(table))
	for i, f := range table {
		out[i] = f.info
	}
	return out
}

func familyByID(id string) *family {
	for _, f := range table {
		if f.info.ID == id {
			return f
		}
	}
	return nil
}

// field is one cell of a row as an option.
func (s *subject) choice(element string, t curriculum.Text) choice {
	text, onCar := s.words(t)
	return choice{phrase: s.phrase(text), element: element, onCar: onCar}
}

// explain joins a sentence of ours, if any, with the lesson's own words.
func (s *subject) explain(own string, passages ...string) string {
	for _, p := range passages {
		if p = twoSentences(p); p == "" {
			continue
		}
		if own != "" {
			own += " "
		}
		own += s.quote(p)
	}
	return own
}

// passage is what the lesson says at an element, for the car.
func (s *subject) passage(ts ...curriculum.Text) string {
	out := ""
	for _, t := range ts {
		text := tidy(t.For(s.car, ""))
		if text == "" {
			continue
		}
		if out != "" {
			out += " "
		}
		out += text + "."
	}
	return out
}
