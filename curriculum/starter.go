package curriculum

import (
	_ "embed"
	"strings"
)

//go:embed starter.md
var starter string

// Starter is a lesson to start from: every section that most lessons have, with a line each that says what belongs there. It loads
// as it is.
func Starter(id, language, task string) string {
	return strings.NewReplacer("{id}", id, "{language}", language, "{task}", task).Replace(starter)
}

// likeID is an id to write instead of one that cannot be one.
func likeID(bad string) string {
	if id := StarterID(bad); id != "" {
		return id
	}
	return "undo-nuts"
}

// StarterID makes an id of the words that somebody types for a new lesson; "" where nothing is left.
func StarterID(words string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(strings.TrimSpace(words)) {
		switch {
		case isID(string(r)):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	id := strings.Trim(b.String(), "-")
	if !isID(id) {
		return ""
	}
	return id
}
