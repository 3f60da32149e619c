package say

import "strings"

// Statement says one fact of what will be signed.
func Statement(code string, args map[string]string) string {
	return sayCode(statementWords, code, args)
}

// StatementHead is Statement without what is counted up at its end: the line above a list.
func StatementHead(code string, args map[string]string) string {
	words, _, _ := strings.Cut(statementWords[code], " {steps}")
	words, _, _ = strings.Cut(words, " {readings}")
	return sayCode(map[string]string{code: words}, code, args)
}

var statementWords = map[string]string{
	"about":                         "{apprentice}: {task}.",
	"car_bench":                     "{car}, layout {layout}, on the bench.",
	"car_training_vehicle":          "{car}, layout {layout}, a training vehicle.",
	"car_customers_car":             "{car}, layout {layout}, a customer's car.",
	"work_order":                    "Plate or work order: {work_order}.",
	"watched_by":                    "Watched by {name}.",
	"from_to":                       "From {from_at} to {to_at}.",
	"started":                       "Begun {from_at}.",
	"paused":                        "Paused from {from_at} to {to_at}.",
	"paper":                         "Watched on the printed sheet of job number {number} and entered later. A second person signs, too.",
	"outcome_open":                  "Not finished yet. Difficulty: {difficulty}.",
	"outcome_finished":              "Outcome: finished. Difficulty: {difficulty}.",
	"outcome_rightly_stopped":       "Outcome: rightly stopped by the apprentice. Difficulty: {difficulty}.",
	"outcome_stopped_by_supervisor": "Outcome: stopped by the supervisor. Difficulty: {difficulty}.",
	"outcome_interrupted":           "Outcome: interrupted. Difficulty: {difficulty}.",
	"critical_error":                "Critical error at “{step}”: {what}",
	"stepped_in_supervisor":         "The supervisor stepped in.",
	"stepped_in_other":              "Somebody else stepped in.",
	"stepped_in_nobody":             "Nobody stepped in: it was found afterwards.",
	"own_error":                     "At “{step}” the apprentice found an own error and put it right. {what}",
	"sent_back":                     "Hold point “{step}” was sent back: {reason}",
	"near_miss":                     "There was a near miss.",
	"single_unaided":                "Critical steps and hold points (✓ accepted), unaided ({count}): {steps}.",
	"single_prompted":               "Critical step or hold point, prompted ({count}): {steps}.",
	"single_taken_over":             "Critical step or hold point, taken over ({count}): {steps}.",
	"single_not_reached":            "Critical step or hold point, not reached ({count}): {steps}.",
	"single_not_applicable":         "Critical steps and hold points, not on this car ({count}): {steps}.",
	"steps_unaided":                 "Other steps, unaided ({count}): {steps}.",
	"steps_bulk":                    "Other steps, unaided, tapped together ({count}): {steps}.",
	"steps_prompted":                "Prompted ({count}): {steps}.",
	"steps_taken_over":              "Taken over by the supervisor ({count}): {steps}.",
	"steps_not_reached":             "Not reached ({count}): {steps}.",
	"steps_not_applicable":          "Not on this car ({count}): {steps}.",
	"reading_below":                 "Reading below its limit: {reading}.",
	"reading_above":                 "Reading above its limit: {reading}.",
	"readings_within":               "Readings within their limits ({count}): {readings}.",
	"readings_unjudged":             "Readings with no limit to judge by ({count}): {readings}.",
	"oral_well":                     "Asked at the car, answered well: “{question}”",
	"oral_badly":                    "Asked at the car, not answered: “{question}”",
	"parts":                         "Parts fitted: {text}",
	"fluid":                         "Fluid: {text}",
	"note":                          "Note: {text}",
	"photos":                        "{count:photograph|photographs}.",
}
