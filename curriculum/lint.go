package curriculum

import (
	"errors"
	"io/fs"
	"math/big"
	"strings"
	"unicode"

	"github.com/yuin/goldmark/ast"
	extast "github.com/yuin/goldmark/extension/ast"

	"brakewright/readiness"
)

// maxSentence is how many words a sentence may have in plain language.
const maxSentence = 25

// maxCombinations is how many combinations of given values lint works out for one sum. Of more it takes every nth.
const maxCombinations = 20000

func lint(fsys fs.FS, families []string) []Problem {
	f := read(fsys)
	for _, lr := range f.allLessons() {
		lr.sentences()
	}
	for _, vr := range f.vehicles {
		longSentences(vr.report, vr.d)
	}
	for _, lr := range f.lessons {
		for _, src := range lr.sums {
			f.lintSum(lr, src)
		}
	}
	if f.programme != nil {
		f.lintGates()
		f.lintBlueprints()
		for _, b := range f.programme.blueprints {
			for _, at := range b.familiesAt {
				if len(families) > 0 {
					f.programme.known(at, "unknown_family", families)
				}
			}
		}
	}
	return f.finish()
}

func (lr *lessonReader) sentences() { longSentences(lr.report, lr.d) }

// longSentences warns of sentences with too many words in the prose of a file.
func longSentences(r *report, d *document) {
	if d == nil {
		return
	}
	_ = ast.Walk(d.root, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch n.Kind() {
		case ast.KindParagraph, ast.KindTextBlock, extast.KindTableCell, extast.KindDefinitionTerm:
			for _, s := range d.proseOf(n) {
				if s.words > maxSentence {
					r.warnAt(s.at, "long_sentence", "words", itoa(s.words), "limit", itoa(maxSentence), "text", cut(s.text, 60))
				}
			}
			return ast.WalkSkipChildren, nil
		}
		return ast.WalkContinue, nil
	})
}

// sentence is a run of words with the offset of its first character.
type sentence struct {
	at, words int
	text      string
}

// proseOf splits a block's text into sentences. Code and addresses are not counted as prose.
func (d *document) proseOf(n ast.Node) (out []sentence) {
	var cur sentence
	var word strings.Builder
	var text strings.Builder
	fresh := true
	endWord := func() {
		w := word.String()
		word.Reset()
		if strings.ContainsFunc(w, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) {
			cur.words++
		}
		bare := strings.TrimRight(w, "\"'”’»)]")
		if strings.HasSuffix(bare, ".") || strings.HasSuffix(bare, "!") || strings.HasSuffix(bare, "?") || strings.HasSuffix(bare, ":") {
			if !abbreviation(bare) {
				cur.text = text.String()
				out = append(out, cur)
				cur, fresh = sentence{}, true
				text.Reset()
			}
		}
	}
	add := func(s string, at int) {
		for i, r := range s {
			if r == ' ' || r == '\n' || r == '\t' {
				if word.Len() > 0 {
					endWord()
				}
				if text.Len() > 0 {
					text.WriteByte(' ')
				}
				continue
			}
			if fresh {
				cur.at, fresh = at+i, false
			}
			word.WriteRune(r)
			text.WriteRune(r)
		}
	}
	_ = ast.Walk(n, func(c ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		switch c := c.(type) {
		case *ast.CodeSpan, *ast.Image, *ast.RawHTML:
			return ast.WalkSkipChildren, nil
		case *ast.Text:
			add(string(c.Segment.Value(d.body)), c.Segment.Start)
			if c.SoftLineBreak() || c.HardLineBreak() {
				add(" ", c.Segment.Stop)
			}
		}
		return ast.WalkContinue, nil
	})
	if word.Len() > 0 {
		endWord()
	}
	if cur.words > 0 {
		cur.text = text.String()
		out = append(out, cur)
	}
	return out
}

// abbreviation says whether a word ends in a point that ends no sentence.
func abbreviation(w string) bool {
	switch strings.ToLower(strings.TrimLeft(w, "(\"'“‘«")) {
	case "e.g.", "i.e.", "etc.", "approx.", "no.", "fig.", "p.", "ej.", "p.ej.", "núm.", "aprox.":
		return true
	}
	return false
}

// sumCase is one combination of given values.
type sumCase struct {
	given map[string]*big.Rat
	words string
}

// cases calls each with the combinations of a sum's values, on every car where it needs one; it stops at false.
func (f *folder) cases(s Sum, each func(sumCase) bool) {
	cars := []*Vehicle{nil}
	for _, g := range s.Given {
		if g.VehicleKey != "" {
			cars = f.out.Vehicles
		}
	}
	for _, v := range cars {
		values := make([][]*big.Rat, len(s.Given))
		total, usable := 1, true
		for i, g := range s.Given {
			values[i] = givenValues(g, v)
			if len(values[i]) == 0 {
				usable = false
				break
			}
			if total < maxCombinations*1000 {
				total *= len(values[i])
			}
		}
		if !usable {
			continue
		}
		// A stride that shares no factor with the lengths visits every value of every given.
		stride := 1
		if total > maxCombinations {
			for stride = total/maxCombinations + 1; gcd(stride, total) != 1; stride++ {
			}
		}
		for n := 0; n < total; n += stride {
			c := sumCase{given: map[string]*big.Rat{}}
			var words []string
			rest := n
			for i, g := range s.Given {
				x := values[i][rest%len(values[i])]
				rest /= len(values[i])
				c.given[g.Name] = x
				words = append(words, g.Name+" = "+decimalString(x, 6))
			}
			c.words = strings.Join(words, ", ")
			if v != nil {
				c.words = strings.TrimSuffix(v.ID+": "+c.words, ": ")
			}
			if !each(c) {
				return
			}
		}
	}
}

// givenValues lists what a given may be on a car, in the given's unit; nothing where the car does not say.
func givenValues(g Given, v *Vehicle) (out []*big.Rat) {
	if g.VehicleKey == "" {
		for _, d := range g.Values {
			out = append(out, mustDecimal(d))
		}
		return out
	}
	fig, ok := v.Figure(g.VehicleKey, "")
	if !ok || fig.High != "" {
		return nil
	}
	x, err := convert(mustDecimal(fig.Value), fig.Unit, g.Unit)
	if err != nil {
		return nil
	}
	return []*big.Rat{x}
}

// lintSum works a sum out over its values: it must never fail, and no slip may come to the right answer.
func (f *folder) lintSum(lr *lessonReader, src sumSource) {
	s := lr.l.Sums[src.index]
	if s.Find == nil {
		return
	}
	switch comes, times := formulaUnit(s); {
	case comes != "":
		lr.warnItem(src.unitOr(src.findAt), "sum_unit", "comes", comes, "unit", orCount(s.Unit))
	case times != nil:
		lr.warnItem(src.unitOr(src.findAt), "sum_unit_size", "times", times.RatString(), "unit", orCount(s.Unit))
	}
	// Without a step and a tolerance that can be read it is only looked whether the formulas come to something.
	comparable := s.Rounding != "" && s.Tolerance != "" && mustDecimal(s.Rounding).Sign() > 0
	rounding, tolerance := big.NewRat(1, 1), new(big.Rat)
	if comparable {
		rounding, tolerance = mustDecimal(s.Rounding), mustDecimal(s.Tolerance)
	}
	faults := map[string]bool{}
	equal := make([]int, len(s.Slips))
	equalWords := make([]string, len(s.Slips))
	slipFails := make([]string, len(s.Slips))
	coincide := map[[2]int]string{}
	total, failed := 0, false
	cost := 20 + s.Find.cost() + len(s.Slips)*len(s.Slips)
	for _, sl := range s.Slips {
		if sl.Formula != nil {
			cost += sl.Formula.cost()
		}
	}
	f.cases(s, func(c sumCase) bool {
		if !f.spend(30 * cost) {
			failed = true
			return false
		}
		right, err := s.Find.Eval(c.given)
		if err != nil {
			if code := sumFault(err); !faults[code] {
				faults[code] = true
				lr.errorItem(src.findAt, code, "values", c.words)
			}
			return true
		}
		total++
		right = Round(right, rounding)
		wrong := make([]*big.Rat, len(s.Slips))
		for i, sl := range s.Slips {
			if sl.Formula == nil {
				continue
			}
			w, err := sl.Formula.Eval(c.given)
			if err != nil {
				if slipFails[i] == "" {
					slipFails[i] = c.words
				}
				continue
			}
			w = Round(w, rounding)
			wrong[i] = w
			if d := new(big.Rat).Sub(w, right); d.Abs(d).Cmp(tolerance) <= 0 {
				equal[i]++
				if equalWords[i] == "" {
					equalWords[i] = c.words
				}
			}
			for j := range i {
				if wrong[j] != nil && wrong[j].Cmp(w) == 0 && coincide[[2]int{j, i}] == "" {
					coincide[[2]int{j, i}] = c.words
				}
			}
		}
		return true
	})
	if failed || total == 0 {
		return
	}
	for i, at := range src.slipAt {
		switch {
		case !comparable:
		case equal[i] == total:
			lr.errorItem(at, "slip_is_right", "slip", itoa(i+1))
		case equal[i] > 0:
			lr.warnItem(at, "slip_sometimes_right", "slip", itoa(i+1), "count", itoa(equal[i]), "total", itoa(total), "values", equalWords[i])
		}
		if slipFails[i] != "" {
			lr.warnItem(at, "slip_fails", "slip", itoa(i+1), "values", slipFails[i])
		}
		for j := range i {
			if w := coincide[[2]int{j, i}]; w != "" && comparable {
				lr.warnItem(at, "slips_coincide", "slip", itoa(i+1), "other", itoa(j+1), "values", w)
			}
		}
	}
	if comparable && new(big.Rat).Mul(tolerance, big.NewRat(2, 1)).Cmp(rounding) < 0 && tolerance.Sign() > 0 {
		lr.warnItem(src.findAt, "tolerance_below_rounding", "tolerance", s.Tolerance, "rounding", s.Rounding)
	}
}

// lintGates warns of gates that nobody can pass with the supervisors, sheets and work there are.
func (f *folder) lintGates() {
	p := f.programme
	if p.policyNode == nil {
		return
	}
	layouts := len(f.out.Layouts())
	for _, t := range f.out.Tasks {
		tp := p.policy.Task(t.ID)
		// A number that could not be read says nothing of its gate, and the default in its place would say something false.
		read := func(keys ...string) bool {
			for _, k := range keys {
				for _, of := range []string{t.ID, readiness.EveryTask} {
					for path := "tasks." + of + "." + k; path != ""; path = path[:max(0, strings.LastIndexByte(path, '.'))] {
						if p.policyFaulty[path] {
							return false
						}
					}
				}
			}
			return true
		}
		at := func(key string) item {
			if _, v := below(p.policyNode, "tasks", t.ID, key); v != nil {
				return item{v.Value, v.Line, v.Column}
			}
			return p.policyItem("tasks", t.ID)
		}
		if read("supervisors") && !p.policyFaulty["supervisors_available"] && tp.Supervisors > p.policy.SupervisorsAvailable {
			p.warnItem(at("supervisors"), "gate_supervisors", "task", t.ID, "asked", itoa(tp.Supervisors), "available", itoa(p.policy.SupervisorsAvailable))
		}
		if read("layouts") && !f.unread && tp.Layouts > layouts && layouts > 0 {
			p.warnItem(at("layouts"), "gate_layouts", "task", t.ID, "asked", itoa(tp.Layouts), "available", itoa(layouts))
		}
		if tp.JobsPerMonth <= 0 || !read("jobs_per_month") {
			continue
		}
		// Days from one job to the next at the rate that the policy expects, a month being 30 days here.
		gap := int(30/tp.JobsPerMonth + 0.999)
		if read("recency_days") && tp.RecencyDays > 0 && gap > tp.RecencyDays {
			p.warnItem(at("recency_days"), "gate_recency", "task", t.ID, "gap", itoa(gap), "days", itoa(tp.RecencyDays))
		}
		if read("lapse_days") && tp.LapseDays > 0 && gap > tp.LapseDays {
			p.warnItem(at("lapse_days"), "gate_lapse", "task", t.ID, "gap", itoa(gap), "days", itoa(tp.LapseDays))
		}
		if months := int(float64(tp.Jobs)/tp.JobsPerMonth + 0.999); read("jobs") && months > 24 {
			p.warnItem(at("jobs"), "gate_jobs", "task", t.ID, "asked", itoa(tp.Jobs), "months", itoa(months))
		}
	}
}

// lintBlueprints warns of tests that are to ask of every critical step and have too few questions for it.
func (f *folder) lintBlueprints() {
	for _, b := range f.programme.blueprints {
		if b.CriticalSteps != "all" {
			continue
		}
		critical := 0
		for _, l := range b.lessonsAt {
			lesson := f.out.Lesson(l.text, "")
			if lesson == nil || lesson.Procedure == nil {
				continue
			}
			for _, s := range lesson.Procedure.Steps {
				if s.Critical && len(s.Children) == 0 && len(s.If) == 0 {
					critical++
				}
			}
		}
		if critical > b.Questions {
			f.programme.warnItem(b.questionsAt, "blueprint_critical", "critical", itoa(critical), "questions", itoa(b.Questions))
		}
	}
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// sumFault is the code for an error of [Formula.Eval].
func sumFault(err error) string {
	switch {
	case errors.Is(err, ErrDivision):
		return "sum_divides_by_zero"
	case errors.Is(err, ErrRoot):
		return "sum_root_of_negative"
	case errors.Is(err, ErrExponent):
		return "sum_bad_exponent"
	}
	return "sum_out_of_range"
}
