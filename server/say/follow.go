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
	"stand_down_review":  "Reviewed by {name} on {date}, and it stays: {reason} · What lifts it: {lifts}",
	"stand_down_signed":  "Signed by {name} on {date}.",
	"assigned":           "Given to {to} by {name} on {date}.",
	"open_dispute":       "Disputed since {date}. It is no evidence until somebody else settles it.",
	"open_contradiction": "Two corrections contradict each other since {date}. None of it is evidence until somebody else says which stands.",
	"open_key":           "In question since {date}: the key that signed it was in other hands. It is no evidence until somebody else settles it.",
	"open_fallen":        "In question since {date}: what gave the signer authority has fallen. It is no evidence until somebody else settles it.",
	"open_authority":     "In question since {date}: the key that signed it was in other hands. It stays in force until a coordinator who is no party settles it, or ends it.",
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
	"settlement":        "What gave its signer authority has fallen, says {name}. {reason}",
	"appointment_ended": "The appointment under which it was signed ended before, says {name}. {reason}",
	"stand_down":        "Ordered by {name}: {reason}",
}

// Doubt says what is to be done about an entry in effect that was signed with a key in other hands, by its type.
func Doubt(entry string) string { return sayCode(doubtWords, entry, nil) }

var doubtWords = map[string]string{
	"programme_adopted":  "See whether the edition is the one that is wanted. Then adopt it again, or another, by a signature of your own.",
	"parameters_adopted": "See whether the parameters are those that are wanted. Then adopt them again, or others, by a signature of your own.",
	"settlement":         "Read what was settled. If it is not right, dispute the entry again, and somebody else settles it.",
	"question_voided":    "Look at the question. Put it back if it was not to be voided.",
}

// KeyEnd says why a signing key ended.
func KeyEnd(why string) string { return sayCode(keyEndWords, why, nil) }

var keyEndWords = map[string]string{
	"changed":     "changed for a new one; what it signed stands",
	"lost":        "lost; what it signed stands",
	"compromised": "in other hands",
}
