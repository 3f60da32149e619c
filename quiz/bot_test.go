package quiz_test

import (
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// The test-craft bot answers without knowing the trade: by the looks of the options alone. Each of its strategies scores
// the options of a question; the one with the highest score is its answer, and among equals it throws dice.

// sight is what the bot sees of a question: one row of features an option, and what it may look for.
type sight struct {
	features [][]float64 // option × feature
	keyed    []bool
	chance   float64
}

var featureNames = []string{
	"length", "shortest", "longest", "words", "shared with the stem", "share of the stem", "like the others", "digits", "hedges", "absolutes", "negations",
	"commas", "punctuation", "first", "last", "place", "word length", "middle figure", "value", "roundness", "small words shared with the stem",
}

var (
	hedges    = strings.Fields("may can could might often usually sometimes some likely probably mostly nearly almost about little puede pueden suele veces casi algo algunos quizá")
	absolutes = strings.Fields("always never all only every none must nothing everything whole completely entirely any siempre nunca todo todos toda todas solo sólo nada cada ningún ninguna")
	negations = strings.Fields("not no never without nobody nothing cannot sin no ni nadie nada nunca")
	small     = strings.Fields("the and for with from into onto that this these those then than its his her their our your you they them are was were been has have had not nor but out off who what which when where why how can may will does did done all any one two a an of to in on at by is it be as or so if las los una uno con sin por para que sus les son fue más muy como del de la el en un se al lo y o es su no")
)

func tokens(s string) []string {
	return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '\'' })
}

// roots cuts words so that "bolts" and "bolt", "lifting" and "lift" meet; small words are left out.
func roots(s string) []string {
	var out []string
	for _, w := range tokens(s) {
		if slices.Contains(small, w) {
			continue
		}
		for _, ending := range []string{"ing", "ed", "es", "s"} {
			if rest, ok := strings.CutSuffix(w, ending); ok && len(rest) >= 3 {
				w = rest
				break
			}
		}
		out = append(out, w)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func overlap(a, b []string) (n int) {
	for _, w := range a {
		if slices.Contains(b, w) {
			n++
		}
	}
	return n
}

func countIn(ws, list []string) (n float64) {
	for _, w := range ws {
		if slices.Contains(list, w) {
			n++
		}
	}
	return n
}

// figureOf is the first number of an option, if it begins with one.
func figureOf(s string) (float64, bool) {
	end := 0
	for end < len(s) && (s[end] >= '0' && s[end] <= '9' || s[end] == '.') {
		end++
	}
	v, err := strconv.ParseFloat(s[:end], 64)
	return v, err == nil
}

func look(q *quiz.Question) sight {
	s := sight{keyed: make([]bool, len(q.Options))}
	n := len(q.Options)
	stem, stemAll := roots(q.Stem), tokens(q.Stem)
	cut := make([][]string, n)
	figures := make([]float64, n)
	allFigures := true
	for i, o := range q.Options {
		s.keyed[i] = o.ID == q.Key.ID || slices.Contains(q.Key.IDs, o.ID)
		cut[i] = roots(o.Text)
		v, ok := figureOf(o.Text)
		figures[i], allFigures = v, allFigures && ok
		if s.keyed[i] {
			s.chance += 1 / float64(n)
		}
	}
	for i, o := range q.Options {
		ws := tokens(o.Text)
		longest, shortest := 1.0, 1.0
		like := 0.0
		for j, p := range q.Options {
			if i == j {
				continue
			}
			if len([]rune(p.Text)) >= len([]rune(o.Text)) {
				longest = 0
			}
			if len([]rune(p.Text)) <= len([]rune(o.Text)) {
				shortest = 0
			}
			if both := overlap(cut[i], cut[j]); both > 0 {
				like += float64(both) / float64(len(cut[i])+len(cut[j])-both)
			}
		}
		digits, commas, marks := 0.0, 0.0, 0.0
		for _, r := range o.Text {
			switch {
			case unicode.IsDigit(r):
				digits++
			case r == ',':
				commas++
			case unicode.IsPunct(r):
				marks++
			}
		}
		middle, value, round := 0.0, 0.0, 0.0
		if allFigures {
			below, above := 0, 0
			for _, f := range figures {
				if f < figures[i] {
					below++
				} else if f > figures[i] {
					above++
				}
			}
			middle, value = -math.Abs(float64(below-above)), float64(below-above)
			digitsOnly := strings.TrimRight(strings.Trim(strings.Fields(o.Text)[0], "–"), ".")
			round = float64(len(digitsOnly) - len(strings.TrimRight(digitsOnly, "0")))
			if strings.HasSuffix(digitsOnly, "5") {
				round += 0.5
			}
		}
		shared := float64(overlap(cut[i], stem))
		bool01 := func(b bool) float64 {
			if b {
				return 1
			}
			return 0
		}
		s.features = append(s.features, []float64{
			float64(utf8.RuneCountInString(o.Text)), shortest, longest, float64(len(ws)), shared, shared / float64(max(1, len(cut[i]))), like, digits,
			countIn(ws, hedges), countIn(ws, absolutes), countIn(ws, negations), commas, marks, bool01(i == 0), bool01(i == n-1), float64(i),
			float64(utf8.RuneCountInString(o.Text)) / float64(max(1, len(ws))), middle, value, round, float64(overlap(ws, stemAll)) - shared,
		})
	}
	return s
}

// hit is the chance that the option with the highest score is a right one.
func (s sight) hit(score func(i int) float64) float64 {
	best, n, good := math.Inf(-1), 0, 0
	for i := range s.features {
		x := score(i)
		if x > best+1e-9 {
			best, n, good = x, 0, 0
		}
		if x > best-1e-9 {
			n++
			if s.keyed[i] {
				good++
			}
		}
	}
	return float64(good) / float64(n)
}

// ranker is a conditional logit: the chance of an option grows with the weighted sum of its features, each taken against
// the question's mean and scaled over all questions.
type ranker struct{ weights, scale []float64 }

func (r ranker) score(s sight, i int) (x float64) {
	for f, v := range s.features[i] {
		x += r.weights[f] * v * r.scale[f]
	}
	return x
}

func train(all []sight) ranker {
	n := len(featureNames)
	r := ranker{make([]float64, n), make([]float64, n)}
	count := 0.0
	for _, s := range all {
		for f := range n {
			mean := 0.0
			for _, o := range s.features {
				mean += o[f] / float64(len(s.features))
			}
			for _, o := range s.features {
				r.scale[f] += (o[f] - mean) * (o[f] - mean)
			}
		}
		count += float64(len(s.features))
	}
	for f := range n {
		if r.scale[f] = math.Sqrt(r.scale[f] / count); r.scale[f] > 1e-9 {
			r.scale[f] = 1 / r.scale[f]
		} else {
			r.scale[f] = 0
		}
	}
	p := make([]float64, 64)
	for round := range 120 {
		gradient := make([]float64, n)
		for _, s := range all {
			sum, keys := 0.0, 0.0
			for i := range s.features {
				p[i] = math.Exp(min(30, r.score(s, i)))
				sum += p[i]
				if s.keyed[i] {
					keys++
				}
			}
			for i, o := range s.features {
				d := -p[i] / sum
				if s.keyed[i] {
					d += 1 / keys
				}
				for f, v := range o {
					gradient[f] += d * v * r.scale[f]
				}
			}
		}
		step := 2.0 / (1 + float64(round)/40)
		for f := range n {
			r.weights[f] += step * (gradient[f]/float64(len(all)) - 0.001*r.weights[f])
		}
	}
	return r
}

// strategies are those that need no training: a feature, and whether the bot likes much or little of it.
var strategies = func() map[string]func(s sight, i int) float64 {
	m := map[string]func(s sight, i int) float64{}
	for f, name := range featureNames {
		m["most "+name] = func(s sight, i int) float64 { return s.features[i][f] }
		m["least "+name] = func(s sight, i int) float64 { return -s.features[i][f] }
	}
	return m
}()

// tally is how a strategy did in a family.
type tally struct{ hits, chance, n, spread float64 }

func (t *tally) add(hit, chance float64) {
	t.hits, t.chance, t.n = t.hits+hit, t.chance+chance, t.n+1
	t.spread += (hit - chance) * (hit - chance)
}

// gain is how far above chance it came, error the standard error of that.
func (t tally) gain() float64  { return (t.hits - t.chance) / t.n }
func (t tally) error() float64 { return math.Sqrt(t.spread) / t.n }

// botForms draws questions of one family over all programmes, cars and languages: about n of them, in forms that are
// numbered, so that half of the forms may teach and half may test.
func botQuestions(t testing.TB, ps map[string]*curriculum.Programme, family string, n int) (halves [2][]*quiz.Question) {
	t.Helper()
	names := slices.Sorted(maps.Keys(ps))
	got := 0
	// A form asks a quarter of what a programme has of the family, as forms do: one that asks nearly all of it asks whatever
	// can stand side by side, each time the same.
	size := map[string]int{}
	for name, p := range ps {
		for _, row := range quiz.Yield(p) {
			if row.Vehicle == "" {
				size[name] += row.Families[family]
			}
		}
		size[name] = min(24, max(1, size[name]/4))
	}
	for seed := 0; got < n && seed < n; seed++ {
		for _, name := range names {
			p := ps[name]
			cars := vehicleIDs(p)
			d := quiz.Draw{Seed: uint64(seed), Number: 1 + seed/4%2, Language: p.Languages[seed%len(p.Languages)], Vehicle: cars[seed%len(cars)]}
			f := mustGenerate(t, p, quiz.Request{Families: []string{family}, Questions: size[name]}, d)
			for i := range f.Questions {
				halves[seed%2] = append(halves[seed%2], &f.Questions[i])
				got++
			}
		}
		if got == 0 && seed > 20 {
			break
		}
	}
	return halves
}

func TestBotCannotGuess(t *testing.T) {
	ps := programmes(t)
	for _, fam := range quiz.Families() {
		halves := botQuestions(t, ps, fam.ID, soak(10000))
		var sights [2][]sight
		results := map[string]*tally{}
		result := func(name string) *tally {
			if results[name] == nil {
				results[name] = &tally{}
			}
			return results[name]
		}
		distinct := map[string]bool{}
		for h, qs := range halves {
			for _, q := range qs {
				distinct[q.ID] = true
				switch q.Kind {
				case quiz.Single, quiz.Several, quiz.Point:
					s := look(q)
					sights[h] = append(sights[h], s)
					for name, score := range strategies {
						result(name).add(s.hit(func(i int) float64 { return score(s, i) }), s.chance)
					}
				case quiz.Match:
					for name, got := range matched(q) {
						result(name).add(got, 1/float64(len(q.Options)))
					}
				}
			}
		}
		if len(sights[0]) > 0 {
			for h := range sights {
				r := train(sights[h])
				for _, s := range sights[1-h] {
					result("learned").add(s.hit(func(i int) float64 { return r.score(s, i) }), s.chance)
				}
			}
		}
		names := slices.SortedFunc(maps.Keys(results), func(a, b string) int {
			return int(math.Copysign(1, results[b].gain()-results[a].gain()))
		})
		line := ""
		for i, name := range names {
			r := results[name]
			if i < 4 || name == "learned" {
				line += fmt.Sprintf("; %s %+.1f±%.1f", name, 100*r.gain(), 100*r.error())
			}
			if over := r.gain() - 3*r.error(); over > 0.03 {
				t.Errorf("%s: %s gains %.1f points over chance, give or take %.1f", fam.ID, name, 100*r.gain(), 100*r.error())
			}
		}
		if len(sights[0]) > 0 && testing.Verbose() {
			r := train(sights[0])
			for f, n := range featureNames {
				if math.Abs(r.weights[f]) > 0.15 {
					line += fmt.Sprintf(" [%s %.1f]", n, r.weights[f])
				}
			}
		}
		t.Logf("%s: %d questions, %d distinct%s", fam.ID, len(halves[0])+len(halves[1]), len(distinct), line)
	}
}

// matched is how large a share of the pairs the bot finds by shared words, by like length and by place.
func matched(q *quiz.Question) map[string]float64 {
	score := func(f func(a, b quiz.Option, i, j int) float64) (share float64) {
		for i, a := range q.Options {
			best, n, good := math.Inf(-1), 0.0, 0.0
			for j, b := range q.Targets {
				x := f(a, b, i, j)
				if x > best {
					best, n, good = x, 0, 0
				}
				if x == best {
					n++
					if slices.Contains(q.Key.Pairs, [2]string{a.ID, b.ID}) {
						good++
					}
				}
			}
			share += good / n / float64(len(q.Options))
		}
		return share
	}
	return map[string]float64{
		"shared words": score(func(a, b quiz.Option, _, _ int) float64 { return float64(overlap(roots(a.Text), roots(b.Text))) }),
		"length": score(func(a, b quiz.Option, _, _ int) float64 {
			return -math.Abs(float64(len([]rune(a.Text)) - len([]rune(b.Text))))
		}),
		"place": score(func(_, _ quiz.Option, i, j int) float64 { return -math.Abs(float64(i - j)) }),
		"dice": score(func(a, b quiz.Option, _, _ int) float64 {
			h := fnv.New32a()
			h.Write([]byte(a.ID + b.ID))
			return float64(h.Sum32())
		}),
	}
}
