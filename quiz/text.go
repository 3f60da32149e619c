package quiz

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// phrase is a text with what the guards look at, worked out once. Words are compared by their hashes: where two met, they would count
// as one, which costs a question at most.
type phrase struct {
	text  string   // as shown
	norm  string   // lower case, letters and digits only, one space between words
	words []uint64 // content words, stemmed, sorted, each once
	whole []uint64 // the same words as they stand, sorted, each once
	all   []uint64 // all words as they stand, sorted, as often as they stand
	mask  uint64   // of words, one bit each: two phrases whose masks do not meet share none
	pairs uint64   // of norm's neighbouring letters, one bit each: what a text holds has no bit that the text lacks
	runes int
}

// knownWord is what a word comes to.
type knownWord struct {
	whole, stem uint64
	content     bool // it carries some
}

func newPhrase(text, language string) *phrase { return readPhrase(text, language, nil) }

// readPhrase is newPhrase that remembers in roots, if not nil, what it works out of a word.
func readPhrase(text, language string, roots map[string]knownWord) *phrase {
	p := &phrase{text: text, norm: normal(text), runes: utf8.RuneCountInString(text)}
	count := strings.Count(p.norm, " ") + 1
	room := make([]uint64, 3*count) // of the three lists
	p.all, p.whole, p.words = room[:0:count], room[count:count:2*count], room[2*count:2*count]
	for rest := p.norm; rest != ""; {
		var w string
		w, rest, _ = strings.Cut(rest, " ")
		of, known := roots[w]
		if !known {
			of = knownWord{whole: spread(w), content: carriesContent(w, language)}
			if of.content {
				of.stem = spread(stem(w, language))
			}
			if roots != nil {
				roots[w] = of
			}
		}
		p.all = append(p.all, of.whole)
		if of.content {
			p.whole, p.words = append(p.whole, of.whole), append(p.words, of.stem)
			p.mask |= 1 << (of.stem >> 32 % 64)
		}
	}
	p.pairs = pairsOf(p.norm)
	slices.Sort(p.all)
	slices.Sort(p.whole)
	slices.Sort(p.words)
	p.whole, p.words = slices.Compact(p.whole), slices.Compact(p.words)
	return p
}

// searched is a text as far as it is searched for others.
func searched(text string) *phrase {
	norm := normal(text)
	return &phrase{text: text, norm: norm, pairs: pairsOf(norm)}
}

func pairsOf(norm string) (pairs uint64) {
	for i := 1; i < len(norm); i++ {
		pairs |= 1 << ((uint(norm[i-1])*37 + uint(norm[i])) % 64)
	}
	return pairs
}

// spread spreads words over numbers (FNV-1a).
func spread(w string) (h uint64) {
	h = 14695981039346656037
	for i := range len(w) {
		h = (h ^ uint64(w[i])) * 1099511628211
	}
	return h
}

// normal takes case, punctuation and spacing out of a text: two texts with one normal form say the same.
func normal(s string) string {
	var b strings.Builder
	b.Grow(len(s))
	gap := false
	for _, r := range s {
		if r <= unicode.MaxASCII { // most are: the tables of Unicode are asked only beyond
			if 'A' <= r && r <= 'Z' {
				r += 'a' - 'A'
			}
		} else {
			r = unicode.ToLower(r)
		}
		switch {
		case 'a' <= r && r <= 'z' || '0' <= r && r <= '9' || r > unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.Is(unicode.Mn, r)):
			if gap && b.Len() > 0 {
				b.WriteByte(' ')
			}
			gap = false
			b.WriteRune(r)
		case r == '\'' || r == '’' || r == '\u00AD': // "supervisor's" stays one word
		default:
			gap = true
		}
	}
	return b.String()
}

// functionWords carry no content; two texts that share only these share nothing. The lists are short: a word that is
// wrongly thought to carry content costs a question, one wrongly left out gives an answer away.
var functionWords = map[string]map[string]bool{
	"en": set("the and for with from into onto that this these those then than its his her their our your you they them " +
		"are was were been has have had not nor but out off who what which when where why how can may will " +
		"does did done all any one two"),
	"es": set("las los una uno unas unos con sin por para que sus les son fue era ser pero más muy como " +
		"cual cuál cuáles qué este esta estos estas ese esa esos esas esto eso hay han del"),
}

func set(words string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(words) {
		m[w] = true
	}
	return m
}

// carriesContent says that a word is neither short, unless it is a number, nor a function word.
func carriesContent(w, language string) bool {
	skip := functionWords[language]
	if skip == nil {
		skip = functionWords["en"]
	}
	return (utf8.RuneCountInString(w) >= 3 || isNumber(w)) && !skip[w]
}

func isNumber(w string) bool {
	return strings.IndexFunc(w, func(r rune) bool { return r < '0' || r > '9' }) < 0
}

// stem takes common endings off. It is crude on purpose: to call two words one costs a question, to miss a shared word
// gives an answer away.
func stem(w, language string) string {
	endings := []string{"ings", "ing", "edly", "ied", "ies", "ers", "er", "ed", "es", "ly", "s", "e"}
	if language == "es" {
		endings = []string{"aciones", "ación", "amente", "mente", "ando", "iendo", "adas", "ados", "ada", "ado", "idas", "idos", "ida", "ido", "ar", "er", "ir",
			"es", "as", "os", "a", "o", "e", "s"}
	}
	for _, end := range endings {
		if root, ok := strings.CutSuffix(w, end); ok && utf8.RuneCountInString(root) >= 3 {
			w = root
			break
		}
	}
	// "gripping" and "grip", "carry" and "carries" meet here.
	if n := len(w); n > 3 && w[n-1] == w[n-2] {
		w = w[:n-1]
	}
	if root, ok := strings.CutSuffix(w, "y"); ok && len(root) >= 3 {
		w = root
	}
	return w
}

// common counts the words that two sorted lists share.
func common(a, b []uint64) (n int) {
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch {
		case a[i] == b[j]:
			n, i, j = n+1, i+1, j+1
		case a[i] < b[j]:
			i++
		default:
			j++
		}
	}
	return n
}

// heard counts the words of an option that a stem has, small ones too, each as often as the option has it.
func heard(stem, option *phrase) (n int) {
	i := 0
	for _, w := range option.all {
		for i < len(stem.all) && stem.all[i] < w {
			i++
		}
		if i < len(stem.all) && stem.all[i] == w {
			n++
		}
	}
	return n
}

// commonOf counts the content words that two phrases share.
func commonOf(a, b *phrase) int {
	if a.mask&b.mask == 0 {
		return 0
	}
	return common(a.words, b.words)
}

// within says whether one text holds the other, typography aside.
func within(a, b *phrase) bool { return a.norm == b.norm || holdsAll(a, b) || holdsAll(b, a) }

// holdsAll says whether one text holds all of another that is not empty.
func holdsAll(a, b *phrase) bool {
	return b.norm != "" && len(b.norm) <= len(a.norm) && b.pairs&^a.pairs == 0 && strings.Contains(a.norm, b.norm)
}

// alike says whether two texts may mean the same: they hold one another, or share at least num/den of all their
// content words.
func alike(a, b *phrase, num, den int) bool {
	if within(a, b) {
		return true
	}
	if a.mask&b.mask == 0 {
		return false
	}
	shared := common(a.words, b.words)
	all := len(a.words) + len(b.words) - shared
	return shared > 0 && shared*den >= all*num
}

// echo is a content word that stem and key share.
type echo struct {
	word    uint64
	stemmed bool // where the stem lifts and the key speaks of lifting
}

// echoes lists the content words that the stem shares with the key and with none of the others, as they stand and stemmed.
func echoes(stem, key *phrase, others []*phrase) (out []echo) {
	for _, w := range key.whole {
		if holdsWord(stem.whole, w) && !slices.ContainsFunc(others, func(o *phrase) bool { return holdsWord(o.whole, w) }) {
			out = append(out, echo{w, false})
		}
	}
	for _, w := range key.words {
		if holdsWord(stem.words, w) && !slices.ContainsFunc(others, func(o *phrase) bool { return holdsWord(o.words, w) }) {
			out = append(out, echo{w, true})
		}
	}
	return out
}

func holdsWord(sorted []uint64, w uint64) bool {
	_, ok := slices.BinarySearch(sorted, w)
	return ok
}

// takesAway says whether a further option would take an echo away.
func (p *phrase) takesAway(of echo) bool {
	if of.stemmed {
		return holdsWord(p.words, of.word)
	}
	return holdsWord(p.whole, of.word)
}

// tidy prepares a lesson's words for use as an option or inside quotation marks: one line, no closing full stop.
func tidy(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if !strings.HasSuffix(s, "...") && !strings.HasSuffix(s, "etc.") {
		s = strings.TrimSuffix(s, ".")
	}
	return strings.TrimRight(s, ":; ")
}

// twoSentences cuts a passage after its second sentence.
func twoSentences(s string) string {
	ends := 0
	for i, r := range s {
		if r != '.' && r != '!' && r != '?' {
			continue
		}
		if rest := s[i+1:]; rest == "" || strings.HasPrefix(rest, " ") {
			if ends++; ends == 2 {
				return s[:i+1]
			}
		}
	}
	return s
}

// sayings hold the sentences of a family by language. {1}, {2} … stand for the arguments.
type sayings map[string][]string

// say fills a sentence. which picks among variants and is taken from the source element, so that one question always
// reads the same. A language without sentences reads English.
func (s sayings) say(language string, which int, args ...string) string {
	list := s[language]
	if len(list) == 0 {
		list = s["en"]
	}
	text := list[which%len(list)]
	var b strings.Builder
	for {
		i := strings.IndexByte(text, '{')
		if i < 0 || i+2 >= len(text) || text[i+2] != '}' {
			b.WriteString(text)
			return b.String()
		}
		b.WriteString(text[:i])
		if n := int(text[i+1] - '1'); n >= 0 && n < len(args) {
			b.WriteString(args[n])
		}
		text = text[i+3:]
	}
}
