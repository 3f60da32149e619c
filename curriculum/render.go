package curriculum

import "html/template"

// HTML renders the lesson for a car (nil: none chosen): goldmark with tables, strikethrough, autolinks, definition
// lists, footnotes and heading attributes, raw HTML off. Our structure adds marks for critical steps and hold points,
// anchors (ids equal to the element, e.g. id="procedure/undo-nuts"), the car's figures, and hides steps it lacks.
// Pictures point at pictureURL(path). Units "si" or "us" choose what vehicle figures are shown in.
func (l *Lesson) HTML(v *Vehicle, units string, pictureURL func(path string) string) template.HTML {
	return renderLesson(l, v, units, pictureURL, nil)
}

// HTMLWithNotes is HTML with what a shop adds to steps, by the step's id: it stands at the end of the step, marked as the shop's.
func (l *Lesson) HTMLWithNotes(v *Vehicle, units string, pictureURL func(path string) string, notes map[string][]string) template.HTML {
	return renderLesson(l, v, units, pictureURL, notes)
}

// HTML renders the vehicle sheet.
func (v *Vehicle) HTML(units string, pictureURL func(path string) string) template.HTML {
	return renderVehicle(v, units, pictureURL)
}

// Passage returns the source lines of an element ("procedure/undo-nuts/why", "faults/2") as plain sentences, to be
// quoted in feedback; "" if there is none.
func (l *Lesson) Passage(element string) string { return passage(l, element) }
