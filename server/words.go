package server

import (
	"html/template"
	"slices"
	"strings"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/say"
)

// This file has the words and marks that pages share. Words for codes of other packages live in server/say.

// notices are what a page says after a change, by the code in its address.
var notices = map[string]string{
	"logged_out":         "You are logged out.",
	"erased":             "The person was erased.",
	"session_ended":      "Your session had ended, so the last thing you sent was not saved. Log in, then do it again.",
	"password_set":       "Your password is set. Other sessions were ended.",
	"key_asked":          "Your new signing key waits for a coordinator.",
	"sessions_ended":     "The session was ended.",
	"confirmed":          "Noted: you have read the change and confirm it.",
	"units_chosen":       "Figures are now shown in these units, in this browser.",
	"note_pinned":        "The note is pinned. It stands beside the step in the lesson and on job sheets.",
	"note_removed":       "The note is taken off. It stays in the record.",
	"read":               "Noted: you have read this lesson.",
	"answer_saved":       "Saved.",
	"job_asked":          "Asked. A supervisor will see it at once.",
	"job_withdrawn":      "The job was withdrawn.",
	"job_declined":       "The job was declined. The apprentice sees your reason.",
	"job_taken":          "You are watching this job.",
	"job_accepted":       "Accepted. The apprentice sees that you will come.",
	"job_passed_on":      "Passed on, with your reason.",
	"job_paused":         "Paused.",
	"job_resumed":        "Resumed.",
	"job_from_paper":     "Now tap what stands on the sheet, add its photograph, and sign with a second person.",
	"photo_added":        "The photograph is kept.",
	"checked":            "The spot check is signed.",
	"case_opened":        "The case is open.",
	"case_closed":        "The finding is signed.",
	"tap_kept":           "Your session had ended. The tap is kept in this browser and is sent once you have logged in.",
	"tapped":             "Saved.",
	"undone":             "Undone.",
	"signed":             "Signed.",
	"cleared":            "Cleared and signed.",
	"stood_down":         "Stood down. It holds from now on.",
	"stand_down_signed":  "The stand-down is signed.",
	"restored":           "Restored and signed.",
	"unwatched_logged":   "The job was recorded.",
	"question_voided":    "Voided and signed. All theory tests that had the question are marked anew.",
	"question_restored":  "The question counts again. All theory tests that had it are marked anew.",
	"test_watched":       "You are noted as watching this test.",
	"test_unwatched":     "You are no longer noted as watching this test.",
	"saved":              "Saved.",
	"people_added":       "Added.",
	"keys_confirmed":     "The keys are signed and in force.",
	"adopted":            "The edition is adopted and in use.",
	"draft_saved":        "The draft is saved. Nothing changes for anybody until it is adopted.",
	"draft_dropped":      "The draft is thrown away.",
	"countersigned":      "Countersigned.",
	"replied":            "Your side is kept with the entry.",
	"disputed":           "Disputed. It is no evidence until somebody else settles it.",
	"settled":            "Settled and signed.",
	"corrected":          "Corrected and signed. Both wordings stay to be seen.",
	"reviewed":           "Reviewed and signed. The stand-down stays.",
	"recognised":         "Recognised, with two signatures.",
	"assigned":           "Given.",
	"key_ended":          "The key has ended.",
	"parameters_adopted": "The parameters are adopted and in force.",
}

func noticeText(code string) string { return notices[code] }

var resultNames = map[string]string{
	"unaided":        "Unaided",
	"prompted":       "Prompted",
	"taken_over":     "Taken over",
	"not_reached":    "Not reached",
	"not_applicable": "Not on this car",
}

var outcomeNames = map[string]string{
	"finished":              "Finished",
	"rightly_stopped":       "Rightly stopped by the apprentice",
	"stopped_by_supervisor": "Stopped by the supervisor",
	"interrupted":           "Interrupted",
}

// stepInNames say who stepped in at a critical error.
var stepInNames = map[string]string{"supervisor": "The supervisor stepped in.", "other": "Somebody else stepped in.", "nobody": "Nobody stepped in; it was found afterwards."}

var findingNames = map[string]string{
	"sound": "Sound", "flaw": "A flaw, not unsafe", "unsafe": "Unsafe",
	"our_work": "Our work", "part": "A part", "other": "Something else", "unknown": "Not known",
}

var settingNames = map[string]string{
	"bench":            "on the bench",
	"training_vehicle": "on a training vehicle",
	"customers_car":    "on a customer’s car",
}

var difficultyNames = map[string]string{"routine": "Routine", "usual": "Usual", "awkward": "Awkward"}

var jobStatusNames = map[string]string{
	"waiting":   "Waiting for a supervisor",
	"watching":  "Being watched",
	"finished":  "Done, not signed yet",
	"signed":    "Signed",
	"withdrawn": "Withdrawn",
}

// buildingWords says how many gates keep a task from being ready for decision.
func buildingWords(closed, gates int) string {
	if closed == 1 {
		return "Still building: 1 of " + itoa(gates) + " gates is closed."
	}
	return "Still building: " + itoa(closed) + " of " + itoa(gates) + " gates are closed."
}

// spelled writes a small number that begins a sentence as a word: in a numbered list "2. 1 more job" is read twice.
func spelled(sentence string) string {
	number, rest, found := strings.Cut(sentence, " ")
	if i := slices.Index([]string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"}, number); found && i >= 0 {
		return []string{"One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve"}[i] + " " + rest
	}
	return sentence
}

func roleName(role string) string { return capital(role) }

// wordOr is m[key], or the key itself made readable.
func wordOr(m map[string]string, key string) string {
	if w, ok := m[key]; ok {
		return w
	}
	return readable(key)
}

// readable makes an id into words.
func readable(id string) string { return curriculum.Readable(id) }

// featureName is what a form calls a car's or wheel's feature.
func featureName(id string) string { return curriculum.FeatureName(id) }

// standingMarks are the shapes of the standings, drawn on a grid of 16: a dash, steps, a pennant, a nut, an hourglass, a
// barred octagon. Each differs from all others without its colour.
var standingMarks = map[readiness.Standing]string{
	readiness.Untried:          `<path d="M2 7h12v2H2z"/>`,
	readiness.Building:         `<path d="M1 15v-5h5V6h5V2h4v13z"/>`,
	readiness.ReadyForDecision: `<path d="M3 1h2v14H3zM6 2l9 3.5L6 9z"/>`,
	readiness.Cleared:          `<path fill-rule="evenodd" d="M4.5 1h7L15 8l-3.5 7h-7L1 8zM8 5a3 3 0 1 0 0 6 3 3 0 0 0 0-6z"/>`,
	readiness.Lapsed:           `<path fill-rule="evenodd" d="M2 1h12v2L9.5 8 14 13v2H2v-2l4.5-5L2 3zM5 3.5h6L8 7zM8 9l3 4H5z"/>`,
	readiness.StoodDown:        `<path fill-rule="evenodd" d="M5 1h6l4 4v6l-4 4H5l-4-4V5zM3.5 6.5v3h9v-3z"/>`,
}

// standingMark is the mark of a standing. It is decoration: the word always stands beside it.
func standingMark(s readiness.Standing) template.HTML {
	return template.HTML(`<svg class="mark mark-` + string(s) + `" viewBox="0 0 16 16" aria-hidden="true" focusable="false">` + standingMarks[s] + `</svg>`) //nolint:gosec // constants
}

// chanceWords says a probability as people say it: "about 9 in 10".
func chanceWords(p float64) string {
	switch {
	case p >= 0.985:
		return "about 99 in 100"
	case p >= 0.965:
		return "about 49 in 50"
	case p >= 0.925:
		return "about 19 in 20"
	case p < 0.05:
		return "less than 1 in 10"
	}
	n := int(p*10 + 0.5)
	return "about " + itoa(max(1, min(9, n))) + " in 10"
}

// capital makes a sentence's first letter big.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// percentText is a probability in per cent with one digit, as the details show it.
func percentText(p float64) string {
	tenths := int(p*1000 + 0.5)
	return itoa(tenths/10) + "." + itoa(tenths%10) + " %"
}

// askedText is a share that a policy asks for, as it was written: 80 %, not 80.0 %.
func askedText(p float64) string { return strings.Replace(percentText(p), ".0", "", 1) }

// titles puts titles in the place of ids in the arguments of a code, and dates as pages show them.
func titles(p *curriculum.Programme, c clock, args map[string]string) map[string]string {
	out := say.Titled(p, args)
	for _, k := range []string{"date", "since", "until", "from", "to"} {
		if v, ok := out[k]; ok {
			out[k] = c.day(v).Text
		}
	}
	return out
}

func taskTitle(p *curriculum.Programme, id string) string   { return say.TaskTitle(p, id) }
func lessonTitle(p *curriculum.Programme, id string) string { return say.LessonTitle(p, id) }
func stepTitle(p *curriculum.Programme, id string) string   { return say.StepTitle(p, id) }

func reasonText(p *curriculum.Programme, c clock, r readiness.Reason) string {
	r.Args = titles(p, c, r.Args)
	return say.Reason(r)
}

// listed parts a sentence that ends in many steps from the list of them, which reads better below it; items is nil where the
// sentence is best left whole.
func listed(text string, titled map[string]string) (head string, items []string) {
	items = strings.Split(titled["steps"], "; ")
	head, ends := strings.CutSuffix(text, titled["steps"]+".")
	if !ends || len(items) < 4 {
		return text, nil
	}
	return strings.TrimSpace(head), items
}

func gateText(p *curriculum.Programme, c clock, g readiness.Gate) string {
	g.Args = titles(p, c, g.Args)
	return say.Gate(g)
}
