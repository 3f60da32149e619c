package curriculum

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// plainType makes a text comparable without its typography: quotation marks, commas and the like go, dashes are one,
// white space is one space. Case, decimal points and minus signs stay: they change what is said.
func plainType(s string) string {
	out := make([]byte, 0, len(s))
	space := false
	put := func(r rune) {
		if space && len(out) > 0 {
			out = append(out, ' ')
		}
		space = false
		out = utf8.AppendRune(out, r)
	}
	before := rune(-1)
	for i, r := range s {
		digitNext := func() bool {
			next, n := utf8.DecodeRuneInString(s[min(len(s), i+utf8.RuneLen(r)):])
			return n > 0 && unicode.IsDigit(next)
		}
		switch {
		case r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9': // most of any text
			put(r)
		case r == ' ':
			space = true
		case strings.ContainsRune("'\"‘’‚‛“”„‟«»‹›`´¡¿", r):
		case r == '.' || r == ',':
			if unicode.IsDigit(before) && digitNext() {
				put(r)
			} else {
				space = true
			}
		case strings.ContainsRune(";:!?…·•()[]", r) && !(r == '·' && unicode.IsLetter(before)):
			space = true
		case strings.ContainsRune("-\u2010\u2011\u2012–—―\u2212", r):
			if digitNext() {
				put('-')
			} else {
				space = true
			}
		case unicode.IsSpace(r):
			space = true
		default:
			put(r)
		}
		before = r
	}
	return string(out)
}

// textType is a text's fingerprint matter: words and the keys of its links.
func textType(t Text) string {
	if len(t.Parts) == 1 && t.Parts[0].Key == "" {
		return plainType(t.Parts[0].Text)
	}
	var b strings.Builder
	for _, p := range t.Parts {
		b.WriteString(p.Text)
		if p.Key != "" {
			b.WriteString(" <" + strings.ReplaceAll(p.Key, ".", "/") + "> ")
		}
	}
	return plainType(b.String())
}

func fingerprintOf(lines []string) string { return hexSHA256([]byte(strings.Join(lines, "\n"))) }

// Fingerprint is the SHA-256 (hex) of what the step says and asks, typography ignored: title, attributes, points and measures.
// The order of a list is no part of it; see [MateriallyChanged].
func (s *Step) Fingerprint() string {
	lines := []string{"id " + s.ID, "title " + textType(s.Title)}
	if s.ownCritical {
		lines = append(lines, "critical")
	}
	if s.ownHold {
		lines = append(lines, "hold")
	}
	features := slices.Clone(s.If)
	slices.Sort(features)
	lines = append(lines, "if "+strings.Join(features, " "), "each "+s.Each+" "+s.EachOrder)
	if s.comesAfter != nil {
		lines = append(lines, "after "+strings.Join(s.comesAfter, " "))
	}
	for _, p := range []struct {
		name  string
		texts []Text
	}{{pointWhy, s.Why}, {pointIfSkipped, s.IfSkipped}, {pointIfWrong, s.IfWrong}, {pointCheck, s.Check}} {
		for _, t := range p.texts {
			lines = append(lines, p.name+" "+textType(t))
		}
	}
	for _, m := range s.Measures {
		lines = append(lines, "measure "+textType(m.Text)+" "+m.Which)
	}
	return fingerprintOf(lines)
}

// Fingerprints maps the elements of steps, figures and cautions to their fingerprints: what they say and ask,
// typography ignored. Rows without an id go by their number.
func (l *Lesson) Fingerprints() map[string]string {
	m := map[string]string{}
	if l.Procedure != nil {
		for _, s := range l.Procedure.Steps {
			m[s.Element] = s.Fingerprint()
		}
	}
	for _, f := range l.Figures {
		m[f.Element] = figureFingerprint(f)
	}
	for _, c := range l.Cautions {
		m[c.Element] = fingerprintOf([]string{textType(c.Hazard), textType(c.Consequence), textType(c.Control), featureList(c.If)})
	}
	return m
}

func figureFingerprint(f Figure) string {
	return fingerprintOf([]string{f.Key, textType(f.Quantity), f.Value, f.High, string(f.Unit), string(f.Limit)})
}

func featureList(fs []string) string {
	fs = slices.Clone(fs)
	slices.Sort(fs)
	return strings.Join(fs, " ")
}

// MateriallyChanged says whether readers of the old edition must read again: a critical step or hold point was added,
// removed or changed, among them its consequences, its order towards a step that both editions have, or a figure it is
// measured by. A comma changes nothing, nor does a plain step. A lesson that comes or goes (nil) has changed if it has
// such a step.
func MateriallyChanged(old, new *Lesson) bool {
	a, b := weighty(old), weighty(new)
	if len(a) != len(b) {
		return true
	}
	for id, x := range a {
		if y, ok := b[id]; !ok || x != y {
			return true
		}
	}
	if len(a) == 0 {
		return false
	}
	for id := range a {
		for _, o := range old.Procedure.Steps {
			if new.Procedure.Step(o.ID) == nil {
				continue
			}
			if old.Procedure.Before(id, o.ID) != new.Procedure.Before(id, o.ID) || old.Procedure.Before(o.ID, id) != new.Procedure.Before(o.ID, id) {
				return true
			}
		}
	}
	return false
}

// weighty maps critical steps and hold points to everything that they themselves rest on.
func weighty(l *Lesson) map[string]string {
	m := map[string]string{}
	if l == nil || l.Procedure == nil {
		return m
	}
	for _, s := range l.Procedure.Steps {
		if !s.Critical && !s.Hold {
			continue
		}
		lines := []string{s.Fingerprint(), boolWord(s.Critical), boolWord(s.Hold)}
		for p := s.Parent; p != nil; p = p.Parent {
			lines = append(lines, "under "+p.Fingerprint())
		}
		for _, x := range s.Measures {
			for _, f := range l.Figures {
				if x.FigureName != "" && collapse(f.Quantity.Plain()) == collapse(x.FigureName) || x.Key != "" && f.Key == x.Key {
					lines = append(lines, "figure "+figureFingerprint(f))
				}
			}
		}
		m[s.ID] = fingerprintOf(lines)
	}
	return m
}

func boolWord(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
