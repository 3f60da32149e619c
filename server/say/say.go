// Package say holds the program's words: what codes and arguments of the pure packages mean, in plain English.
package say

import (
	"sort"
	"strings"
)

// fill puts arguments into a template: {name} becomes the argument of that name, {name:job|jobs} the argument and the
// word that goes with it ("1 job", "3 jobs"). A name without an argument becomes nothing.
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
		b.WriteString(args[name])
		if plural {
			one, many, _ := strings.Cut(words, "|")
			if args[name] == "1" {
				b.WriteString(" " + one)
			} else {
				b.WriteString(" " + many)
			}
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
