package say

import "strings"

// QuestionDoubt says why a question may be bad (quiz.Doubt).
func QuestionDoubt(code string) string { return sayCode(questionDoubts, code, nil) }

var questionDoubts = map[string]string{
	"key_outdrawn": "A wrong answer is chosen more often than the right one. Perhaps it is right as well, or the key is wrong.",
	"upside_down":  "Those who do well on the rest get this one wrong more often. Look at the key and at the wording.",
	"rarely_right": "Fewer than three in ten are right. Is it taught, and can it be understood?",
	"always_right": "Everybody is right, so it tells nothing.",
}

// OneLine says a question where a list has one line for it: what is given, a line each, stands in brackets behind it.
func OneLine(question string) string {
	stem, given, ok := strings.Cut(question, "\n")
	if !ok {
		return question
	}
	return stem + " (" + strings.ReplaceAll(given, "\n", "; ") + ")"
}
