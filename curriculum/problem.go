package curriculum

import "io/fs"

// Severity of a [Problem].
type Severity string

const (
	Error   Severity = "error"   // the programme cannot be used
	Warning Severity = "warning" // it can, but an author should look
)

// Problem is one finding in a programme folder. Code is stable; Args fill the sentences that server/say holds
// for the code (message, cause, cure).
type Problem struct {
	File     string // relative to the folder, with slashes
	Line     int    // from 1
	Column   int    // in characters, from 1
	Severity Severity
	Code     string
	Args     map[string]string
}

// HasErrors says whether any problem is an error.
func HasErrors(ps []Problem) bool {
	for _, p := range ps {
		if p.Severity == Error {
			return true
		}
	}
	return false
}

// Lint reads a folder as [Load] does and adds the checks that are too slow for every start: what sums come to over all
// their values, sentences that are too long, gates that cannot be met.
// families are the ids of the question families that a blueprint may name; without any, those that are named are not looked at.
func Lint(fsys fs.FS, families ...string) []Problem { return lint(fsys, families) }
