package say

import (
	"maps"
	"strconv"

	"brakewright/curriculum"
)

// Change says one difference between two programme editions.
func Change(c curriculum.Change) string {
	args := maps.Clone(c.Args)
	if args == nil {
		args = map[string]string{}
	}
	for _, k := range []string{"from", "to"} {
		if args[k] == "" {
			args[k] = "nothing"
		}
	}
	if w, ok := weightWords[args["weight"]]; ok {
		args["weight"] = w
	}
	if w, ok := sectionWords[args["section"]]; ok {
		args["section"] = w
	}
	return sayCode(changeWords, c.Code, args)
}

// Ask says what policy asks of those whom a change touches.
func Ask(c curriculum.Change) string {
	args := map[string]string{"days": strconv.Itoa(c.Within)}
	if c.Ask == curriculum.AskNothing {
		return fill(askWords[c.Ask], args)
	}
	when := "At once: "
	if c.Within > 0 {
		when = "Within {days:day|days}: "
	}
	return fill(when+askWords[c.Ask], args)
}

var askWords = map[curriculum.Ask]string{
	curriculum.AskNothing: "Nobody has to do anything.",
	curriculum.AskRead:    "read and confirm the change.",
	curriculum.AskTest:    "read the change and pass a new theory test.",
	curriculum.AskJob:     "read the change and be seen doing the step unaided in a watched job.",
}

var weightWords = map[string]string{
	curriculum.WeightCritical: "critical step",
	curriculum.WeightHold:     "hold point",
	curriculum.WeightPlain:    "plain step",
}

// sectionWords name one row of a section.
var sectionWords = map[string]string{
	"cautions": "caution", "tools": "tool", "faults": "fault", "terms": "term", "misbeliefs": "misbelief",
	"arithmetic": "sum", "pictures": "picture",
}

var changeWords = map[string]string{
	"title_changed":     "The programme's title changes from “{from}” to “{to}”.",
	"languages_changed": "The languages change from {from} to {to}.",
	"units_changed":     "The units change from {from} to {to}.",
	"typography_only":   "Only how the files are written differs; nothing that is taught or asked changes.",

	"task_added":                 "New task: “{task}”.",
	"task_removed":               "Task removed: “{task}”. Clearances for it are no longer shown.",
	"task_renamed":               "Task {task} is now called “{to}” (before: “{from}”).",
	"task_lesson_added":          "Task “{task}” now asks for the lesson “{lesson}”.",
	"task_lesson_removed":        "Task “{task}” no longer asks for the lesson “{lesson}”.",
	"task_prerequisites_changed": "Task “{task}”: what must be cleared first changes from {from} to {to}.",
	"policy_changed":             "Policy, {value}: from {from} to {to}.",
	"blueprint_added":            "New blueprint of a theory test: {blueprint}.",
	"blueprint_removed":          "Blueprint removed: {blueprint}.",
	"blueprint_changed":          "Blueprint changed: {blueprint}. Open theory tests keep their form.",

	"lesson_added":        "New lesson: “{lesson}”.",
	"lesson_removed":      "Lesson removed: “{lesson}”.",
	"lesson_renamed":      "Lesson {lesson} is now called “{to}” (before: “{from}”).",
	"background_changed":  "Only reading matter or typography changes.",
	"translation_added":   "New translation of “{lesson}” ({language}).",
	"translation_removed": "Translation of “{lesson}” ({language}) removed.",

	"step_added":              "Step added: “{step}” ({weight}).",
	"step_removed":            "Step removed: “{step}” ({weight}).",
	"step_reworded":           "Step reworded ({weight}): from “{from}” to “{to}”.",
	"step_moved":              "Step “{step}” now stands under another step.",
	"step_place_changed":      "Step “{step}”: what it comes after changes ({weight}).",
	"step_cars_changed":       "Step “{step}” now holds for other cars or wheels ({weight}): from {from} to {to}.",
	"reason_changed":          "Step “{step}”, why ({weight}): from “{from}” to “{to}”.",
	"consequence_changed":     "Step “{step}”, what follows if it goes wrong ({weight}): from “{from}” to “{to}”.",
	"check_changed":           "Step “{step}”, how to check it ({weight}): from “{from}” to “{to}”.",
	"measure_changed":         "Step “{step}”, what to measure ({weight}): from “{from}” to “{to}”.",
	"order_changed":           "The order of steps changes, among them “{step}” ({weight}).",
	"step_now_critical":       "Step “{step}” becomes critical.",
	"step_no_longer_critical": "Step “{step}” is no longer critical.",
	"step_now_hold":           "Step “{step}” becomes a hold point.",
	"step_no_longer_hold":     "Step “{step}” is no longer a hold point.",

	"figure_added":    "New figure, {figure}: {to}.",
	"figure_removed":  "Figure removed, {figure} ({from}).",
	"figure_changed":  "{figure} changes from {from} to {to}.",
	"limit_changed":   "{figure}: the limit changes from {from} to {to}.",
	"figure_reworded": "{figure} is worded anew; the figure stays {to}.",

	"row_added":   "A {section} added: “{row}”.",
	"row_removed": "A {section} removed: “{row}”.",
	"row_changed": "A {section} changes: “{row}”.",

	"vehicle_added":               "New vehicle sheet: “{vehicle}”.",
	"vehicle_removed":             "Vehicle sheet removed: “{vehicle}”. Jobs on it stay in the record.",
	"vehicle_changed":             "{vehicle}: {what} changes from {from} to {to}.",
	"vehicle_order_changed":       "{vehicle}: the order “{order}” changes from {from} to {to}.",
	"vehicle_background_changed":  "{vehicle}: only reading matter or typography changes.",
	"vehicle_translation_added":   "New translation of the sheet “{vehicle}” ({language}).",
	"vehicle_translation_removed": "Translation of the sheet “{vehicle}” ({language}) removed.",
	"vehicle_translation_changed": "The translation of the sheet “{vehicle}” ({language}) changes.",
	"vehicle_figure_added":        "{vehicle}: new figure, {figure}: {to}.",
	"vehicle_figure_removed":      "{vehicle}: figure removed, {figure} ({from}).",
	"vehicle_figure_changed":      "{vehicle}: {figure} changes from {from} to {to}.",
	"vehicle_limit_changed":       "{vehicle}: the limit of {figure} changes from {from} to {to}.",
	"vehicle_figure_reworded":     "{vehicle}: {figure} is worded anew; the figure stays {to}.",
	"picture_added":               "New drawing.",
	"picture_removed":             "Drawing removed.",
	"picture_changed":             "Drawing changed.",
}

// Shown says a line of what was or is there.
func Shown(l curriculum.ShownLine) string {
	if w := shownLabels[l.Label]; w != "" {
		return w + ": " + l.Text
	}
	return l.Text
}

var shownLabels = map[string]string{"why": "Why", "if-skipped": "If skipped", "if-wrong": "If done wrong", "check": "Check", "measure": "Measure"}
