package say

// Follow says what a later entry says about an earlier one, or how it stands with the apprentice's word on it.
func Follow(code string, args map[string]string) string { return sayCode(followWords, code, args) }

var followWords = map[string]string{
	"correction":         "Corrected by {name} on {date}: {reason}",
	"withdrawn":          "Withdrawn by {name} on {date}: {reason}",
	"of_correction":      "Correction {entry}: {text}",
	"dispute":            "Disputed by {name} on {date}: {reason}",
	"settlement":         "Settled by {name} on {date}: it stands. {reason}",
	"settlement_upheld":  "Settled by {name} on {date}: it does not count. {reason}",
	"settlement_stands":  "Settled by {name} on {date}: correction {entry} stands. {reason}",
	"settlement_first":   "Settled by {name} on {date}: the first wording stands. {reason}",
	"countersigned":      "Countersigned by {name} on {date}.",
	"reply":              "{name} answered on {date}: {text}",
	"stand_down_review":  "Reviewed by {name} on {date}, and it stays: {reason} What lifts it: {lifts}",
	"stand_down_signed":  "Signed by {name} on {date}.",
	"assigned":           "Given to {to} by {name} on {date}.",
	"open_dispute":       "Disputed since {date}. It is no evidence until somebody else settles it.",
	"open_contradiction": "Two corrections contradict each other since {date}. None of it is evidence until somebody else says which stands.",
	"open_key":           "In question since {date}: the key that signed it was in other hands. It is no evidence until somebody else settles it.",
	"open_appointment":   "In question since {date}: the appointment under which it was signed ended before. It is no evidence until somebody else settles it.",
	"may_speak":          "The apprentice may countersign or dispute it until {date}. Silence until then counts as agreement.",
	"review_due":         "Somebody else is to review it by {date}. A restore by somebody else lifts it.",
	"silent":             "The apprentice said nothing until {date}, which counts as agreement.",
}

// Matter says why something waits for a decision, by the type of the entry that opened it.
func Matter(opened string, args map[string]string) string { return sayCode(matterWords, opened, args) }

var matterWords = map[string]string{
	"dispute":           "Disputed by {name}: {reason}",
	"correction":        "Corrections contradict each other; the last is by {name}: {reason}",
	"key_ended":         "The key that signed it was in other hands, says {name}. {reason}",
	"appointment_ended": "The appointment under which it was signed ended before, says {name}. {reason}",
	"stand_down":        "Ordered by {name}: {reason}",
}

// KeyEnd says why a signing key ended.
func KeyEnd(why string) string { return sayCode(keyEndWords, why, nil) }

var keyEndWords = map[string]string{
	"changed":     "changed for a new one; what it signed stands",
	"lost":        "lost; what it signed stands",
	"compromised": "in other hands",
}
