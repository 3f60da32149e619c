package acts

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/trustelem/zxcvbn"
	"golang.org/x/text/unicode/norm"

	"brakewright/store"
)

const (
	leastPassword   = 15 // characters; NIST SP 800-63B-4, 3.1.1.2: a password that stands alone
	leastPassphrase = 12 // it opens a key only to somebody who is logged in already
	longestPassword = 256
	fewestGuesses   = 1e8 // zxcvbn's "safely unguessable" against slow hashes begins here
)

// CheckPassword refuses a password that is too short, too long, or easily guessed by somebody who knows the context:
// the log-in name, the person's name, the programme's title.
func CheckPassword(password string, context ...string) error {
	return checkSecret("password", password, leastPassword, context)
}

// CheckPassphrase does the same for a signing passphrase.
func CheckPassphrase(passphrase string, context ...string) error {
	return checkSecret("passphrase", passphrase, leastPassphrase, context)
}

// checkSecret judges a secret in NFKC, which is how the store hashes it.
func checkSecret(field, secret string, least int, context []string) error {
	if len(secret) > 8*longestPassword {
		return wrong(field, field+"_too_long", "most", fmt.Sprint(longestPassword))
	}
	if !utf8.ValidString(secret) || strings.ContainsFunc(secret, unicode.IsControl) {
		return wrong(field, field+"_bad_text")
	}
	secret = norm.NFKC.String(secret)
	switch n := utf8.RuneCountInString(secret); {
	case n < least:
		return wrong(field, field+"_too_short", "least", fmt.Sprint(least))
	case n > longestPassword:
		return wrong(field, field+"_too_long", "most", fmt.Sprint(longestPassword))
	}
	words := contextWords(context)
	rest := strings.ToLower(secret)
	for _, w := range words {
		rest = strings.ReplaceAll(rest, w, "")
	}
	// Guessing is judged on the first hundred characters: what is strong there is strong whole, and judging a longer
	// text costs more than it tells.
	if utf8.RuneCountInString(rest) < least/2 || zxcvbn.PasswordStrength(firstRunes(secret, 100), words).Guesses < fewestGuesses {
		return wrong(field, field+"_easily_guessed")
	}
	return nil
}

// contextWords are the words of three letters and more, whole names first, in lower case.
func contextWords(context []string) []string {
	words := []string{"brakewright"}
	for _, c := range context {
		c = strings.ToLower(norm.NFKC.String(strings.TrimSpace(c)))
		if utf8.RuneCountInString(c) >= 3 {
			words = append(words, c)
		}
		for _, w := range strings.FieldsFunc(c, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			if utf8.RuneCountInString(w) >= 3 {
				words = append(words, w)
			}
		}
	}
	return words
}

func firstRunes(s string, n int) string {
	i := 0
	for at := range s {
		if i == n {
			return s[:at]
		}
		i++
	}
	return s
}

// nobodysHash is a hash that no password opens, at the cost of today: checking it takes as long as checking a real one,
// so that a log-in name that does not exist answers like one that does.
func nobodysHash() string {
	c := store.PasswordCost
	const zeros16, zeros32 = "AAAAAAAAAAAAAAAAAAAAAA", "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
	return fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s", c.MemoryKiB, c.Time, c.Threads, zeros16, zeros32)
}
