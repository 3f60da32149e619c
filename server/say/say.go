// Package say holds the program's words: what codes and arguments of the pure packages mean, in plain English.
package say

import (
	"sort"
	"strings"
)

// fill puts arguments into a template: {name} becomes the argument of that name, {name:job|jobs} the argument and the
// word that goes with it ("1 job", "3 jobs"); with a third word, {name:job|jobs|no job}, none is said by that word alone. A
// name without an argument becomes nothing.
func fill(template string, args map[string]string) string {
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(template, "{")
		b.WriteString(before)
		if !found {
			return b.String()
		}
		inside, after, closed := strings.Cut(rest, "}")
		if !closed {
			b.WriteString("{" + rest)
			return b.String()
		}
		name, words, plural := strings.Cut(inside, ":")
		choice := strings.Split(words, "|")
		switch {
		case !plural:
			b.WriteString(args[name])
		case args[name] == "0" && len(choice) > 2:
			b.WriteString(choice[2])
		case args[name] == "1":
			b.WriteString("1 " + choice[0])
		default:
			b.WriteString(args[name] + " " + choice[min(1, len(choice)-1)])
		}
		template = after
	}
}

// unknown says a code for which there are no words: the code itself and its arguments, so that nothing is hidden.
func unknown(code string, args map[string]string) string {
	keys := make([]string, 0, len(args))
	for k := range args {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	var b strings.Builder
	b.WriteString(code)
	for _, k := range keys {
		b.WriteString(" " + k + "=" + args[k])
	}
	return b.String()
}
