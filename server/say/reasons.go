package say

import (
	"maps"
	"strconv"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
)

// Reason says a reason or a next act of a verdict. Whoever wants titles in place of ids puts them into Args first.
func Reason(r readiness.Reason) string { return reason(r.Code, r.Args) }

// Gate says why a gate is open or closed.
func Gate(g readiness.Gate) string { return reason(g.Why, g.Args) }

func reason(code string, args map[string]string) string {
	if code == "critical_steps_missing" && args["have"] == "0" {
		code = "critical_steps_missing_all" // no use in naming every one
	}
	if code == "rests_on" && args["clean"] == args["jobs"] {
		code = "rests_on_all"
	}
	for _, key := range []string{"confidence", "was", "now"} { // an estimate that rounds to certain is none the less one
		switch args[key] {
		case "0":
			args = with(args, key, "less than 0.1")
		case "100":
			args = with(args, key, "more than 99.9")
		}
	}
	return sayCode(reasonWords, code, args)
}

// Titled puts titles in the place of ids in the arguments of a code. What the programme does not have stays as it is.
func Titled(p *curriculum.Programme, args map[string]string) map[string]string {
	out := make(map[string]string, len(args))
	for k, v := range args {
		switch k {
		case "task", "tasks":
			v = eachOf(v, func(id string) string { return TaskTitle(p, id) })
		case "lesson", "lessons":
			v = eachOf(v, func(id string) string { return LessonTitle(p, id) })
		case "steps", "step":
			v = eachOf(v, func(id string) string { return StepTitle(p, id) })
		}
		out[k] = v
	}
	return out
}

// eachOf maps a list as readiness writes it ("a, b, c").
func eachOf(list string, f func(string) string) string {
	parts := strings.Split(list, ", ")
	for i, p := range parts {
		parts[i] = f(p)
	}
	return strings.Join(parts, "; ")
}

// TaskTitle is a task's title, or its id if the programme does not have it.
func TaskTitle(p *curriculum.Programme, id string) string {
	if t := p.Task(id); t != nil {
		return t.Title
	}
	return id
}

// LessonTitle is a lesson's title, or its id.
func LessonTitle(p *curriculum.Programme, id string) string {
	if l := p.Lesson(id, ""); l != nil {
		return l.Title
	}
	return id
}

// StepTitle is the title of a step named LESSON/STEP or LESSON/STEP@WHEEL, or that name.
func StepTitle(p *curriculum.Programme, id string) string {
	lesson, step, _ := strings.Cut(id, "/")
	step, wheel, _ := strings.Cut(step, "@")
	l := p.Lesson(lesson, "")
	if l == nil {
		return id
	}
	st := l.Procedure.Step(step)
	if st == nil {
		return id
	}
	t := strings.TrimSuffix(st.Title.Plain(), ".")
	if wheel != "" {
		t += " (" + wheel + ")"
	}
	return t
}

func with(args map[string]string, key, value string) map[string]string {
	out := maps.Clone(args)
	out[key] = value
	return out
}

// GateName is what a gate is called on pages.
func GateName(gate string) string { return sayCode(gateNames, gate, nil) }

// Standing says a standing.
func Standing(s readiness.Standing) string { return sayCode(standingWords, string(s), nil) }

// InputFault says what is wrong with a file of evidence or a catalogue, with its line.
func InputFault(e readiness.InputError) string {
	text := sayCode(inputWords, e.Code, kindsSaid(e.Args))
	if e.Field != "" {
		text = e.Field + ": " + text
	}
	if e.Line > 0 {
		text = "line " + strconv.Itoa(e.Line) + ": " + text
	}
	return text
}

// kinds are what values of a file are called.
var kinds = map[string]string{
	"object": "an object, in braces", "list": "a list, in brackets", "text": "text, in quotes", "number": "a number", "true_or_false": "true or false",
	"text_or_list": "text in quotes, or a list of such",
}

func kindsSaid(args map[string]string) map[string]string {
	if kind, ok := kinds[args["want"]]; ok {
		return with(args, "want", kind)
	}
	return args
}

// PolicyFault says what is wrong with a policy, without its place.
func PolicyFault(f readiness.PolicyFault) string {
	if f.Code == "policy_unknown_key" && f.Args["nearest"] == "" {
		return sayCode(policyWords, "policy_unknown_key_far", f.Args)
	}
	return sayCode(policyWords, f.Code, f.Args)
}

// WhatTheNumberMeans stands beside every probability that a page shows.
const WhatTheNumberMeans = "The number is an estimate for the next job done alone: how likely it is that no critical error happens before release checks. " +
	"It is not the chance of an accident, no mark, and no promise for any one job. " +
	"It rests on published assumptions until the programme’s own outcomes suffice. It is advice. A person decides."

func sayCode(words map[string]string, code string, args map[string]string) string {
	template, known := words[code]
	if !known {
		return unknown(code, args)
	}
	return fill(template, args)
}

var gateNames = map[string]string{
	"induction":      "Induction",
	"reading":        "Reading",
	"theory_test":    "Theory test",
	"critical_steps": "Critical steps",
	"jobs":           "Watched jobs",
	"supervisors":    "Supervisors",
	"layouts":        "Layouts",
	"recency":        "Recent work",
	"critical_error": "Critical errors",
	"prerequisites":  "Tasks that come before",
}

var standingWords = map[string]string{
	"untried":            "Untried",
	"building":           "Building",
	"ready_for_decision": "Ready for decision",
	"cleared":            "Cleared",
	"lapsed":             "Lapsed",
	"stood_down":         "Stood down",
}

// reasonWords are the words for gates, reasons and next acts.
var reasonWords = map[string]string{
	// gates
	"recognised":                 "Recognised on {date}.",
	"induction_not_asked":        "No induction is asked.",
	"induction_itself":           "This is the induction.",
	"induction_done":             "The induction is done.",
	"induction_missing":          "The induction ({task}) is not done.",
	"reading_not_asked":          "There is no lesson to read.",
	"reading_done":               "All lessons are read.",
	"reading_missing":            "Still to read: {lessons}.",
	"reading_again":              "Changed since it was read, to read again: {lessons}.",
	"theory_test_not_asked":      "No theory test is asked.",
	"theory_test_passed":         "The theory test was passed on {date}.",
	"theory_test_not_watched":    "The theory test was passed on {date}, but nobody watched it.",
	"theory_test_again":          "The theory test of {date} was passed before the order of a critical step changed.",
	"theory_test_failed":         "The theory test of {date} was not passed.",
	"theory_test_missing":        "The theory test has not been taken.",
	"critical_steps_none":        "The task has no critical steps.",
	"critical_steps_seen":        "Every critical step was seen done unaided: {need} of {need}.",
	"critical_steps_missing":     "Seen done unaided: {have} of {need:critical step|critical steps}. Still to be seen: {steps}.",
	"critical_steps_missing_all": "None of the {need:critical step|critical steps} has been seen done unaided yet.",
	"jobs_not_asked":             "No number of watched jobs is asked.",
	"jobs_enough":                "{have:watched job|watched jobs}; {need} asked.",
	"jobs_short":                 "{have:watched job|watched jobs}; {need} asked.",
	"supervisors_not_asked":      "No number of supervisors is asked.",
	"supervisors_enough":         "Watched by {have:supervisor|supervisors}; {need} asked.",
	"supervisors_short":          "Watched by {have:supervisor|supervisors}; {need} asked.",
	"layouts_not_asked":          "No number of layouts is asked.",
	"layouts_enough":             "Watched on {have:layout|layouts}; {need} asked.",
	"layouts_short":              "Watched on {have:layout|layouts}; {need} asked.",
	"recency_never":              "No watched job yet.",
	"recency_recent":             "The last watched job was on {date}. At most {within:day|days} may pass, leave not counted.",
	"recency_too_long":           "The last watched job was on {date}, {days:day|days} ago without leave. At most {within:day|days} may pass.",
	"critical_error_none":        "No critical error on record.",
	"critical_error_since":       "Closed since the critical error of {date}. It takes {need:clean watched job|clean watched jobs} on later days, with the step that went wrong done unaided. So far: {have}.",
	"critical_error_steps":       "Closed since the critical error of {date}. Enough clean watched jobs have followed, but not yet done unaided since: {steps}.",
	"critical_error_made_good":   "The critical error of {date} has been made good: {have:clean watched job|clean watched jobs} on later days.",
	"prerequisites_none":         "No task comes before this one.",
	"prerequisites_cleared":      "Cleared for what comes before: {tasks}.",
	"prerequisites_missing":      "Not cleared for what comes before: {tasks}.",

	// where things stand
	"stood_down":           "Stood down on {date}.",
	"lapsed":               "The clearance of {since} lapsed on {date}: the task had not been done for too long.",
	"ended":                "The clearance of {since} ended on {until}.",
	"cleared":              "Cleared on {date}.",
	"cleared_until":        "Cleared on {date}, until {until}.",
	"cleared_waived":       "Cleared on {date} by a waiver.",
	"cleared_waived_until": "Cleared on {date} by a waiver, until {until}.",
	"untried":              "Nothing has been begun yet.",
	"building":             "Still building.",
	"building_unsure":      "Still building: every gate is open, but we are not sure enough yet. {jobs:more clean watched job|more clean watched jobs} would do.",
	"building_unsure_long": "Still building: every gate is open, but we are not sure enough yet.",
	"lapses":               "It lapses on {date} if the task is not done before.",
	"ready_until":          "Without further work it stays ready until {date}.",
	"moved_job":            "The watched job of {date} moved the estimate from {was} % to {now} %.",
	"moved_jobs":           "The watched jobs of {date} moved the estimate from {was} % to {now} %.",
	"moved_test":           "The answers in the theory test of {date} moved the estimate from {was} % to {now} %.",
	"moved_spot_check":     "The spot check of {date} moved the estimate from {was} % to {now} %.",
	"moved_return":         "The finding of {date} on a car that came back moved the estimate from {was} % to {now} %.",
	"moved_unwatched":      "The work done alone on {date} moved the estimate from {was} % to {now} %.",
	"moved_work":           "The work of {date} moved the estimate from {was} % to {now} %.",
	"moved_little":         "The work of {date} hardly moved the estimate.",
	"moved_others":         "What was done at other tasks since then has moved it from {was} % to {now} %.",
	"moved_idle":           "After {days:day|days} without this task it has gone from {was} % to {now} %.",
	"moved_idle_weeks":     "After {weeks:week|weeks} without this task it has gone from {was} % to {now} %.",
	"ready_for_decision":   "Everything asked is there. A person decides.",
	"confidence_enough":    "We are {confidence} % sure that at least {target} % of jobs alone would go without a critical error; {asked} % is asked.",
	"confidence_short":     "We are {confidence} % sure that at least {target} % of jobs alone would go without a critical error; {asked} % is asked.",
	"rests_on":             "That rests on {jobs:watched job|watched jobs} ({clean} of them clean) and {failed:critical error|critical errors|no critical error}.",
	"rests_on_all":         "That rests on {jobs:clean watched job|clean watched jobs} and {failed:critical error|critical errors|no critical error}.",
	"rests_on_no_job":      "No job of this task has been watched yet: that rests on other tasks and theory answers, if there are any, and on how apprentices do in general.",
	"near_miss_since":      "The near miss of {date} closes no gate. In the estimate it counts like help needed at a critical step, and less with each clean watched job on a later day. So far: {have}.",

	// warnings
	"stand_down_unsigned":            "The stand-down of {date} is not signed yet. It holds all the same.",
	"stand_down_disputed":            "The stand-down of {date} is disputed. It holds until that is settled.",
	"clearance_disputed":             "The clearance of {date} is disputed.",
	"critical_error_after_clearance": "A critical error on {date}, after the clearance. Somebody must decide: stand down, or keep with a reason.",
	"near_miss_after_clearance":      "A near miss on {date}, after the clearance.",
	"disputed":                       "A record of {date} is disputed and does not count until that is settled.",
	"confidence_fallen":              "Sure to {confidence} % only; {asked} % is asked.",

	// next acts
	"wait_for_restore":         "Stood down since {date}: someone who did not order it must restore first.",
	"restore_first":            "Stood down from {task} since {date}: someone who did not order that must restore first.",
	"do_induction":             "Do the induction: {task}.",
	"read_lesson":              "Read the lesson: {lesson}.",
	"read_lesson_again":        "Read the lesson again, it has changed: {lesson}.",
	"get_cleared_for":          "First get cleared for {task}.",
	"take_theory_test":         "Take and pass the theory test.",
	"take_watched_theory_test": "Take and pass the theory test while someone watches.",
	"watched_jobs":             "{jobs:more watched job|more watched jobs}, every step unaided and without a critical error.",
	"other_supervisors":        "{supervisors:of these with a supervisor who has not watched this task yet|of these, each with a different supervisor who has not watched this task yet}.",
	"different_supervisors":    "At least {supervisors} different supervisors watch them.",
	"other_layouts":            "{layouts:of these on a car of a layout not worked on yet|of these on cars of different layouts not worked on yet}.",
	"different_layouts":        "They are on cars of at least {layouts} different layouts.",
	"steps_unaided":            "In these jobs, do unaided what has not been seen so far: {steps}.",
	"steps_unaided_all":        "In these jobs, show every critical step unaided: {count} in all.",
	"too_few_supervisors":      "{need:supervisor is|supervisors are} asked, but the programme has only {have}. The coordinator can appoint another; otherwise it takes a waiver, signed by two people.",
	"jobs_cannot_show":         "Even {jobs} more clean watched jobs would not make us sure enough. Speak to the coordinator: a clearance would take a reason and a second signature.",
	"ask_for_decision":         "The decision is due: a supervisor looks at the record and decides.",
}

// inputWords are the words for faults of evidence and catalogues.
var inputWords = map[string]string{
	"input_unreadable":        "the file could not be read to its end: {text}",
	"input_not_utf8":          "this is not UTF-8 text",
	"input_not_json":          "this is not JSON: {text}",
	"input_duplicate_key":     "this key stands twice",
	"input_missing":           "this must be given",
	"input_empty":             "this must not be empty",
	"input_wrong_type":        "this must be {want}",
	"input_correction_inside": "a correction cannot stand inside a correction",
	"input_unknown_value":     "“{value}” is not one of: {allowed}",
	"input_bad_date":          "“{value}” is not a date (YYYY-MM-DD)",
	"input_out_of_range":      "{value} is not a whole number from {from} to {to}",
	"input_wrong_order":       "the end, {to}, comes before the beginning, {from}",
	"input_too_few":           "{need} different people are needed, {have} are named",
	"input_not_possible":      "a critical error is not possible at a step with the result “{result}”",
	"input_duplicate_id":      "“{value}” was used before, in line {line}",
	"input_unknown_task":      "there is no task “{value}”",
	"input_cycle":             "these tasks wait for each other: {tasks}",

	"input_no_such_record": "there is no record with the id “{value}”, so this has no effect",
	"input_no_such_task":   "the catalogue has no task “{value}”, so this bears on no verdict",
	"input_no_such_step":   "the catalogue has no step “{value}” of the task {task}, so this tap has no effect",
}

// policyWords are the words for faults of a policy.
var policyWords = map[string]string{
	"policy_unreadable":        "The policy cannot be read: {text}",
	"policy_not_a_mapping":     "{key} must be a mapping of keys and values.",
	"policy_unknown_key":       "There is no key {key}. The nearest is {nearest}.",
	"policy_unknown_key_far":   "There is no key {key}.",
	"policy_duplicate_key":     "{key} stands twice.",
	"policy_missing":           "{key} must be given.",
	"policy_not_text":          "{key} must be text.",
	"policy_not_a_number":      "{key} must be a number, not “{value}”.",
	"policy_not_whole":         "{key} must be a whole number, not {value}.",
	"policy_not_true_or_false": "{key} must be true or false, not “{value}”.",
	"policy_out_of_range":      "{key} is {value}; it must lie between {from} and {to}.",
	"policy_job_mix_sum":       "The shares of {key} must sum to 1; they sum to {sum}.",
}
