package quiz_test

import (
	"fmt"
	"math/big"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"brakewright/curriculum"
	"brakewright/quiz"
)

// checker works out from the lesson what is right of a question, without the generator's code: it reads the stem as a
// person would, finds what it speaks of in the lesson, and judges every option.
type checker struct {
	p *curriculum.Programme
	l *curriculum.Lesson
	v *curriculum.Vehicle
}

func newChecker(p *curriculum.Programme, f *quiz.Form, q *quiz.Question) *checker {
	c := &checker{p: p, l: p.Lesson(q.Lesson, f.Language)}
	if f.Vehicle != nil {
		c.v = p.VehicleIn(*f.Vehicle, c.l.Language)
	}
	return c
}

func (c *checker) text(t curriculum.Text) string {
	return strings.TrimRight(strings.TrimSuffix(strings.Join(strings.Fields(t.For(c.v, "")), " "), "."), ":; ")
}

func (c *checker) holds(r curriculum.Row) bool { return applies(c.v, r.If) }

// applies says whether a car, or one of its wheels, has the features.
func applies(v *curriculum.Vehicle, features []string) bool {
	if len(features) == 0 {
		return true
	}
	if v == nil {
		return false
	}
	if v.Has(features, "") {
		return true
	}
	for _, w := range v.Wheels {
		if v.Has(features, w.Name) {
			return true
		}
	}
	return false
}

var quoted = regexp.MustCompile(`[“«]([^”»]*)[”»]`)

// quotes are the texts that a stem sets apart.
func quotes(stem string) (out []string) {
	for _, m := range quoted.FindAllStringSubmatch(stem, -1) {
		out = append(out, m[1])
	}
	return out
}

// check says what is wrong with a question; nil if nothing is.
func (c *checker) check(q *quiz.Question) error {
	if err := c.words(q); err != nil {
		return err
	}
	switch q.Kind {
	case quiz.Order:
		return c.checkOrder(q)
	case quiz.Match:
		return c.checkMatch(q)
	case quiz.Number:
		return c.checkNumber(q)
	}
	truth, err := c.truth(q)
	if err != nil {
		return err
	}
	right := 0
	for _, o := range q.Options {
		is, err := truth(o)
		if err != nil {
			return err
		}
		keyed := o.ID == q.Key.ID || slices.Contains(q.Key.IDs, o.ID)
		if is != keyed {
			return fmt.Errorf("option %q: true %v, keyed %v", o.Text, is, keyed)
		}
		if is {
			right++
		}
	}
	if q.Kind != quiz.Several && right != 1 {
		return fmt.Errorf("%d options are right", right)
	}
	if q.Kind == quiz.Several && (right < 2 || right > len(q.Options)-2) {
		return fmt.Errorf("%d of %d options are right", right, len(q.Options))
	}
	return nil
}

// words checks what holds for the words of every question.
func (c *checker) words(q *quiz.Question) error {
	if strings.TrimSpace(q.Stem) == "" || strings.Contains(q.Stem, "{") || strings.Contains(q.Explanation, "{") {
		return fmt.Errorf("stem %q, explanation %q", q.Stem, q.Explanation)
	}
	if q.Explanation == "" || q.Source.File == "" || q.Source.Line < 1 || q.Source.Element == "" {
		return fmt.Errorf("no explanation or source: %+v", q.Source)
	}
	ids := map[string]bool{}
	for _, o := range slices.Concat(q.Options, q.Targets) {
		if ids[o.ID] || o.Text == "" || o.Element == "" {
			return fmt.Errorf("option %+v", o)
		}
		ids[o.ID] = true
	}
	least := map[quiz.Kind]int{quiz.Single: 3, quiz.Several: 4, quiz.Order: 3, quiz.Match: 3, quiz.Number: 0, quiz.Point: 3}[q.Kind]
	if q.Family == "judge-measurement" || q.Family == "limit-direction" {
		least = 2
	}
	if len(q.Options) < least || q.Options == nil {
		return fmt.Errorf("%d options", len(q.Options))
	}
	for i, a := range q.Options {
		for _, b := range q.Options[:i] {
			x, y := plain(a.Text), plain(b.Text)
			if x == y || q.Kind == quiz.Single && (strings.Contains(x, y) || strings.Contains(y, x)) {
				return fmt.Errorf("options %q and %q", a.Text, b.Text)
			}
		}
	}
	if q.Kind == quiz.Single && len(q.Options) > 2 && !strings.Contains(q.Stem, "\n") {
		return echo(q)
	}
	return nil
}

func plain(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return strings.ContainsRune(" .,;:()“”«»\"'’–-", r) }), " ")
}

// echo finds a long word that stem and key share and no other option has.
func echo(q *quiz.Question) error {
	has := func(text, word string) bool { return slices.Contains(strings.Fields(plain(text)), word) }
	for _, o := range q.Options {
		if o.ID != q.Key.ID {
			continue
		}
		for _, w := range strings.Fields(plain(o.Text)) {
			if len(w) < 5 || !has(q.Stem, w) || slices.Contains([]string{"before", "after", "which", "these", "until", "there", "where", "antes", "hasta", "estos"}, w) {
				continue
			}
			if !slices.ContainsFunc(q.Options, func(x quiz.Option) bool { return x.ID != o.ID && has(x.Text, w) }) {
				return fmt.Errorf("the word %q stands in the stem and in the key only", w)
			}
		}
	}
	return nil
}

type truth func(quiz.Option) (bool, error)

// step finds an applicable step by its title.
func (c *checker) step(title string) (*curriculum.Step, error) {
	var found *curriculum.Step
	for _, s := range c.l.Procedure.Steps {
		if c.text(s.Title) == title && c.reached(s) {
			if found != nil {
				return nil, fmt.Errorf("two steps are called %q", title)
			}
			found = s
		}
	}
	if found == nil {
		return nil, fmt.Errorf("no step %q", title)
	}
	return found, nil
}

func (c *checker) reached(s *curriculum.Step) bool {
	if len(s.Children) == 0 {
		return applies(c.v, s.If)
	}
	return slices.ContainsFunc(s.Children, c.reached)
}

// family of row questions: which cells the stem quotes, which cell is asked, and when an option of another row is true too.
func (c *checker) truth(q *quiz.Question) (truth, error) {
	said := quotes(q.Stem)
	one := func(n int) (string, error) {
		if len(said) != n {
			return "", fmt.Errorf("%d quotations in %q", len(said), q.Stem)
		}
		return said[n-1], nil
	}
	switch q.Family {
	case "before", "after", "before-all":
		title, err := one(1)
		if err != nil {
			return nil, err
		}
		s, err := c.step(title)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) {
			x, err := c.step(o.Text)
			if err != nil {
				return false, err
			}
			if o.Element != x.Element || len(x.Children) > 0 {
				return false, fmt.Errorf("%q is %s, not %s", o.Text, x.Element, o.Element)
			}
			forced := c.l.Procedure.Before(x.ID, s.ID)
			if q.Family == "after" {
				forced = c.l.Procedure.Before(s.ID, x.ID)
			}
			// Asked the other way round, what is right is what need not come before, or after.
			for _, words := range []string{"can come later?", "can still be open?", "can be done earlier?", "can go ahead?", "Choose all that can.",
				"puede venir después?", "puede quedar pendiente?", "se puede hacer antes?", "puede adelantarse?", "pueden esperar a que"} {
				if strings.Contains(q.Stem, words) {
					return !forced, nil
				}
			}
			return forced, nil
		}, nil
	case "if-skipped", "why", "step-check":
		title, err := one(1)
		if err != nil {
			return nil, err
		}
		points := func(s *curriculum.Step) []curriculum.Text {
			switch q.Family {
			case "why":
				return s.Why
			case "step-check":
				return s.Check
			}
			return slices.Concat(s.IfSkipped, s.IfWrong)
		}
		return func(o quiz.Option) (bool, error) {
			for _, s := range c.l.Procedure.Steps { // two steps may have one title: what holds for either is true
				if c.text(s.Title) != title || !c.reached(s) {
					continue
				}
				for x := s; x != nil; x = x.Parent {
					if c.oneOf(points(x), o.Text) {
						return true, nil
					}
				}
				if slices.ContainsFunc(s.Children, func(x *curriculum.Step) bool { return c.oneOf(points(x), o.Text) }) {
					return true, nil
				}
			}
			return false, nil
		}, nil
	case "next":
		ready, err := c.ready(said)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) { return ready(o.Text) }, nil
	case "what-now":
		return c.whatNow(q, said)
	case "limit-direction":
		return c.direction(q, said)
	case "fault-apart":
		return c.toldApart(q, said)
	case "judge-measurement":
		return c.judged(q)
	case "readings-outside":
		f, err := c.limit(q)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) {
			v, err := verdict(f, strings.Fields(o.Text)[0])
			within := strings.Contains(q.Stem, "are within it?") || strings.Contains(q.Stem, "están dentro?")
			if outside := strings.Contains(q.Stem, "are outside it?") || strings.Contains(q.Stem, "están fuera?"); outside == within {
				return false, fmt.Errorf("neither or both are asked for in %q", q.Stem)
			}
			return (v == "within") == within, err
		}, nil
	case "find-mistake":
		return c.mistake(q)
	case "hazard-control", "hazard-consequence", "control-hazard":
		given, err := one(1)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(c.l.Cautions, func(r curriculum.Caution) bool {
				h, k, x := c.text(r.Hazard), c.text(r.Consequence), c.text(r.Control)
				switch q.Family {
				case "hazard-control":
					return c.holds(r.Row) && h == given && x == o.Text
				case "hazard-consequence":
					return c.holds(r.Row) && h == given && k == o.Text
				}
				return c.holds(r.Row) && x == given && h == o.Text
			}), nil
		}, nil
	case "fault-check", "fault-cause":
		if len(said) != 2 {
			return nil, fmt.Errorf("quotations in %q", q.Stem)
		}
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(c.l.Faults, func(r curriculum.Fault) bool {
				if !c.holds(r.Row) {
					return false
				}
				if q.Family == "fault-check" {
					return (c.text(r.Symptom) == said[0] || c.text(r.Cause) == said[1]) && c.text(r.Check) == o.Text
				}
				return (c.text(r.Symptom) == said[0] || c.text(r.Check) == said[1]) && c.text(r.Cause) == o.Text
			}), nil
		}, nil
	case "tool-use":
		use, err := one(1)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(c.l.Tools, func(r curriculum.Tool) bool {
				return c.holds(r.Row) && c.text(r.Use) == use && c.text(r.Item) == o.Text
			}), nil
		}, nil
	case "tool-harm":
		if len(said) != 2 {
			return nil, fmt.Errorf("quotations in %q", q.Stem)
		}
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(c.l.Tools, func(r curriculum.Tool) bool {
				return c.holds(r.Row) && (c.text(r.Use) == said[0] || c.text(r.WrongThing) == said[1]) && c.text(r.WrongHarm) == o.Text
			}), nil
		}, nil
	case "vehicle-figure", "lesson-figure":
		quantity, err := one(1)
		if err != nil {
			return nil, err
		}
		all := c.l.Figures
		if q.Family == "vehicle-figure" {
			if !strings.Contains(q.Stem, c.v.Title) {
				return nil, fmt.Errorf("the car is not named in %q", q.Stem)
			}
			all = c.v.Figures
		}
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(all, func(f curriculum.Figure) bool {
				return c.text(f.Quantity) == quantity && sameFigure(f.String(), o.Text)
			}), nil
		}, nil
	case "term", "definition":
		given := ""
		if len(said) != 1 {
			return nil, fmt.Errorf("quotations in %q", q.Stem)
		}
		given = said[0]
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(c.l.Terms, func(r curriculum.Term) bool {
				named := func(s string) bool {
					return slices.ContainsFunc(r.Names, func(n string) bool { return plain(n) == plain(s) })
				}
				if q.Family == "term" {
					return c.text(r.Definition) == given && named(o.Text)
				}
				return named(given) && c.text(r.Definition) == o.Text
			}), nil
		}, nil
	case "misbelief", "fact":
		given, err := one(1)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) {
			return slices.ContainsFunc(c.l.Misbeliefs, func(r curriculum.Misbelief) bool {
				if q.Family == "fact" {
					return c.text(r.InFact) == given && c.text(r.Said) == o.Text
				}
				return c.text(r.Said) == given && c.text(r.InFact) == o.Text
			}), nil
		}, nil
	case "arithmetic-slip":
		value, _, err := c.sum(q)
		if err != nil {
			return nil, err
		}
		return func(o quiz.Option) (bool, error) {
			v, ok := curriculum.Decimal(strings.Fields(strings.TrimRight(o.Text, "°"))[0])
			return ok && v.Cmp(value) == 0, nil
		}, nil
	case "point", "name-part":
		return c.pointed(q)
	}
	return nil, fmt.Errorf("no rule for family %q", q.Family)
}

func (c *checker) oneOf(ts []curriculum.Text, text string) bool {
	return slices.ContainsFunc(ts, func(t curriculum.Text) bool { return c.text(t) == text })
}

// sameFigure compares "8 N·m" with "8.0 N·m" by value.
func sameFigure(a, b string) bool {
	x, u, _ := strings.Cut(strings.TrimSuffix(a, "°"), " ")
	y, v, _ := strings.Cut(strings.TrimSuffix(b, "°"), " ")
	if u != v {
		return false
	}
	xs, ys := strings.Split(x, "–"), strings.Split(y, "–")
	return slices.EqualFunc(xs, ys, func(p, q string) bool {
		v, ok := curriculum.Decimal(p)
		w, ok2 := curriculum.Decimal(q)
		return ok && ok2 && v.Cmp(w) == 0
	})
}

// limit finds the figure that a stem states as its limit.
func (c *checker) limit(q *quiz.Question) (curriculum.Figure, error) {
	i := strings.Index(q.Stem, "Limit: ")
	word := "Limit: "
	if i < 0 {
		word = "Límite: "
		i = strings.Index(q.Stem, word)
	}
	if i < 0 {
		return curriculum.Figure{}, fmt.Errorf("no limit in %q", q.Stem)
	}
	stated := q.Stem[i+len(word):]
	all := slices.Clone(c.l.Figures)
	if c.v != nil && strings.Contains(q.Stem[:i], c.v.Title) {
		all = c.v.Figures
	}
	var found []curriculum.Figure
	for _, f := range all {
		if rest, ok := strings.CutPrefix(stated, c.text(f.Quantity)+", "); ok && strings.Contains(strings.SplitN(rest, ". ", 2)[0], f.String()) {
			found = append(found, f)
		}
	}
	if len(found) != 1 {
		return curriculum.Figure{}, fmt.Errorf("%d figures fit %q", len(found), stated)
	}
	return found[0], nil
}

// verdict judges a decimal against a figure.
func verdict(f curriculum.Figure, value string) (string, error) {
	v, ok := curriculum.Decimal(strings.TrimPrefix(strings.ReplaceAll(strings.TrimRight(value, "°"), "−", "-"), "+"))
	if !ok {
		return "", fmt.Errorf("reading %q", value)
	}
	low, _ := curriculum.Decimal(f.Value)
	high := low
	if f.High != "" {
		high, _ = curriculum.Decimal(f.High)
	}
	switch {
	case f.Limit != curriculum.Maximum && v.Cmp(low) < 0:
		return "below", nil
	case f.Limit != curriculum.Minimum && v.Cmp(high) > 0:
		return "above", nil
	}
	return "within", nil
}

var readingsIn = regexp.MustCompile(`[+−-]?\d+(?:\.\d+)?`)

func (c *checker) judged(q *quiz.Question) (truth, error) {
	f, err := c.limit(q)
	if err != nil {
		return nil, err
	}
	which := "one"
	if id, ok := strings.CutPrefix(q.Source.Element, "procedure/"); ok {
		s := c.l.Procedure.Step(strings.TrimSuffix(id, "/measure"))
		for _, m := range s.Measures {
			for _, axle := range []string{"", "front", "rear"} {
				if g, ok := c.l.Limit(m, c.v, axle); ok && g.Quantity.Plain() == f.Quantity.Plain() {
					which = m.Which
				}
			}
		}
	}
	at := -1
	for _, word := range []string{"You read: ", "first reading: ", "Lees: ", "primera lectura: "} {
		if i := strings.LastIndex(q.Stem, word); i >= 0 {
			at = i + len(word)
		}
	}
	if at < 0 {
		return nil, fmt.Errorf("no readings in %q", q.Stem)
	}
	text := q.Stem[at:]
	if i := strings.Index(text, ". "); i >= 0 {
		text = text[:i]
	}
	if f.Unit != "" {
		text = strings.TrimSuffix(text, string(f.Unit))
	}
	found := readingsIn.FindAllString(text, -1)
	if len(found) == 0 {
		return nil, fmt.Errorf("no readings in %q", q.Stem)
	}
	var values []*big.Rat
	for _, s := range found {
		v, _ := curriculum.Decimal(strings.TrimPrefix(strings.ReplaceAll(s, "−", "-"), "+"))
		values = append(values, v)
	}
	low := slices.MinFunc(values, (*big.Rat).Cmp)
	high := slices.MaxFunc(values, (*big.Rat).Cmp)
	var verdicts []string
	add := func(v *big.Rat) {
		x, _ := verdict(f, v.FloatString(12))
		verdicts = append(verdicts, x)
	}
	switch which {
	case "lowest":
		add(low)
	case "highest":
		add(high)
	case "spread":
		add(new(big.Rat).Sub(high, low))
	default:
		if which == "one" && len(values) != 1 {
			return nil, fmt.Errorf("several readings where one counts: %q", q.Stem)
		}
		for _, v := range values {
			add(v)
		}
	}
	want := "within"
	for _, v := range verdicts {
		if v != "within" {
			if want != "within" && want != v {
				return nil, fmt.Errorf("readings both below and above: %q", q.Stem)
			}
			want = v
		}
	}
	return func(o quiz.Option) (bool, error) { return o.Element == "verdict/"+want, nil }, nil
}

var passedLine = regexp.MustCompile(`^(.*?) – .*: (?:read|lowest reading|highest reading|spread|lectura menor|lectura mayor|lectura|diferencia) (\S+).*, (?:limit|límite) (.*), (?:passed|aceptado)$`)

func (c *checker) mistake(q *quiz.Question) (truth, error) {
	written := strings.Split(q.Stem, "\n")[1:]
	var job []*curriculum.Step
	wrong := map[int]bool{}
	for i, line := range written {
		number, text, _ := strings.Cut(line, ". ")
		if number != strconv.Itoa(i+1) {
			return nil, fmt.Errorf("line %q", line)
		}
		m := passedLine.FindStringSubmatch(text)
		if m != nil {
			text = m[1]
		}
		s, err := c.step(text)
		if err != nil {
			return nil, err
		}
		if m != nil {
			judged := false
			for _, me := range s.Measures {
				for _, axle := range []string{"", "front", "rear"} {
					f, ok := c.l.Limit(me, c.v, axle)
					if !ok || f.Limit == curriculum.NoLimit || !strings.HasSuffix(m[3], f.String()) {
						continue
					}
					judged = true
					if v, err := verdict(f, m[2]); err != nil {
						return nil, err
					} else if v != "within" {
						wrong[i] = true
					}
				}
			}
			if !judged {
				return nil, fmt.Errorf("no limit for line %q", line)
			}
		}
		job = append(job, s)
	}
	for i, s := range job {
		for _, later := range job[i+1:] {
			if c.l.Procedure.Before(later.ID, s.ID) {
				wrong[i] = true
			}
		}
	}
	if len(wrong) != 1 {
		return nil, fmt.Errorf("%d lines are wrong in %q", len(wrong), q.Stem)
	}
	return func(o quiz.Option) (bool, error) {
		words := strings.Fields(o.Text)
		n, err := strconv.Atoi(words[len(words)-1])
		if err != nil || n < 1 || n > len(job) {
			return false, fmt.Errorf("option %q", o.Text)
		}
		if o.Element != job[n-1].Element && o.Element != job[n-1].Element+"/measure" {
			return false, fmt.Errorf("%q is %s, not %s", o.Text, job[n-1].Element, o.Element)
		}
		return wrong[n-1], nil
	}, nil
}

func (c *checker) pointed(q *quiz.Question) (truth, error) {
	for _, pic := range c.l.Pictures {
		if q.Picture == nil || pic.Path != q.Picture.Path || !strings.HasPrefix(q.Source.Element, pic.Element+"/") {
			continue
		}
		names := map[string]string{}
		for _, part := range pic.Parts {
			names[part.Number] = c.text(part.Part)
		}
		if q.Family == "point" {
			return func(o quiz.Option) (bool, error) { return names[o.Text] == quotes(q.Stem)[0], nil }, nil
		}
		number := regexp.MustCompile(`\d+`).FindString(q.Stem)
		return func(o quiz.Option) (bool, error) { return names[number] == o.Text, nil }, nil
	}
	return nil, fmt.Errorf("no picture for %s", q.Source.Element)
}

// sum reads the given values from the stem and works the sum out: the value, and what each slip gives.
func (c *checker) sum(q *quiz.Question) (*big.Rat, map[string]*big.Rat, error) {
	element := strings.TrimSuffix(q.Source.Element, "/find")
	for _, s := range c.l.Sums {
		if s.Element != element {
			continue
		}
		given := map[string]*big.Rat{}
		for _, g := range s.Given {
			unit := g.Unit
			for _, line := range strings.Split(q.Stem, "\n")[1:] {
				if rest, ok := strings.CutPrefix(line, g.What+": "); ok {
					v, ok := curriculum.Decimal(strings.Fields(strings.TrimRight(rest, "°"))[0])
					if !ok {
						return nil, nil, fmt.Errorf("line %q", line)
					}
					if g.VehicleKey != "" {
						f, ok := c.v.Figure(g.VehicleKey, "front")
						if !ok || f.Value != strings.Fields(rest)[0] {
							return nil, nil, fmt.Errorf("the car says %v, not %q", f, line)
						}
						if unit != "" {
							var err error
							if v, err = curriculum.Convert(v, f.Unit, unit); err != nil {
								return nil, nil, err
							}
						}
					}
					given[g.Name] = v
				}
			}
		}
		if len(given) != len(s.Given) {
			return nil, nil, fmt.Errorf("%d of %d values in %q", len(given), len(s.Given), q.Stem)
		}
		step, _ := curriculum.Decimal(s.Rounding)
		v, err := s.Find.Eval(given)
		if err != nil {
			return nil, nil, err
		}
		slips := map[string]*big.Rat{}
		for i, slip := range s.Slips {
			if w, err := slip.Formula.Eval(given); err == nil {
				slips[fmt.Sprintf("%s/slip-%d", s.Element, i+1)] = curriculum.Round(w, step)
			}
		}
		return curriculum.Round(v, step), slips, nil
	}
	return nil, nil, fmt.Errorf("no sum %s", element)
}

func (c *checker) checkNumber(q *quiz.Question) error {
	k := q.Key.Number
	value, ok := curriculum.Decimal(k.Value)
	if !ok || len(q.Options) != 0 {
		return fmt.Errorf("key %v", k)
	}
	if k.Unit != "" && !strings.Contains(q.Stem, k.Unit) {
		return fmt.Errorf("the stem does not say the unit %s", k.Unit)
	}
	if q.Family == "arithmetic" {
		want, slips, err := c.sum(q)
		if err != nil {
			return err
		}
		if want.Cmp(value) != 0 {
			return fmt.Errorf("key %s, worked out %s", k.Value, want.FloatString(6))
		}
		seen := map[string]bool{}
		for _, s := range q.Slips {
			v, _ := curriculum.Decimal(s.Value)
			if slips[s.Element] == nil || slips[s.Element].Cmp(v) != 0 || v.Cmp(value) == 0 || seen[s.Value] {
				return fmt.Errorf("slip %v", s)
			}
			seen[s.Value] = true
		}
		return nil
	}
	f, ok := c.v.Figure(strings.TrimPrefix(q.Source.Element, "vehicle/"), "")
	if !ok || f.Value != k.Value || string(f.Unit) != k.Unit || quotes(q.Stem)[0] != c.text(f.Quantity) {
		return fmt.Errorf("key %v, sheet %v", k, f)
	}
	return nil
}

func (c *checker) checkMatch(q *quiz.Question) error {
	text := map[string]string{}
	for _, o := range slices.Concat(q.Options, q.Targets) {
		text[o.ID] = o.Text
	}
	belongs := func(a, b string) bool {
		if q.Family == "match-tool-use" {
			return slices.ContainsFunc(c.l.Tools, func(r curriculum.Tool) bool { return c.holds(r.Row) && c.text(r.Item) == a && c.text(r.Use) == b })
		}
		return slices.ContainsFunc(c.l.Faults, func(r curriculum.Fault) bool { return c.holds(r.Row) && c.text(r.Cause) == a && c.text(r.Check) == b })
	}
	for _, o := range q.Options {
		for _, t := range q.Targets {
			if keyed := slices.Contains(q.Key.Pairs, [2]string{o.ID, t.ID}); keyed != belongs(o.Text, t.Text) {
				return fmt.Errorf("%q with %q: keyed %v", o.Text, t.Text, keyed)
			}
		}
	}
	if len(q.Key.Pairs) != len(q.Options) || len(q.Targets) != len(q.Options) {
		return fmt.Errorf("%d pairs of %d", len(q.Key.Pairs), len(q.Options))
	}
	return nil
}

// permutations calls f with every order of n things.
func permutations(n int, f func([]int)) {
	p := make([]int, n)
	for i := range p {
		p[i] = i
	}
	var walk func(int)
	walk = func(k int) {
		if k == n {
			f(p)
			return
		}
		for i := k; i < n; i++ {
			p[k], p[i] = p[i], p[k]
			walk(k + 1)
			p[k], p[i] = p[i], p[k]
		}
	}
	walk(0)
}

func (c *checker) checkOrder(q *quiz.Question) error {
	first := func(a, b quiz.Option) bool { // whether a is forced before b
		if name, ok := strings.CutPrefix(a.Element, "order/"); ok {
			return slices.Index(c.v.Orders[name], a.Text) < slices.Index(c.v.Orders[name], b.Text)
		}
		return c.l.Procedure.Before(strings.TrimPrefix(a.Element, "procedure/"), strings.TrimPrefix(b.Element, "procedure/"))
	}
	for _, a := range q.Options {
		if strings.HasPrefix(a.Element, "procedure/") {
			s, err := c.step(a.Text)
			if err != nil || s.Element != a.Element || len(s.Children) > 0 {
				return fmt.Errorf("option %+v: %v", a, err)
			}
		}
		for _, b := range q.Options {
			if a.ID != b.ID && first(a, b) != slices.Contains(q.Key.Pairs, [2]string{a.ID, b.ID}) {
				return fmt.Errorf("%q before %q: forced %v", a.Text, b.Text, first(a, b))
			}
		}
	}
	right, all := 0, 0
	shown := true
	permutations(len(q.Options), func(p []int) {
		all++
		good := true
		for i := range p {
			for j := i + 1; j < len(p); j++ {
				good = good && !first(q.Options[p[j]], q.Options[p[i]])
			}
		}
		if good {
			right++
			shown = shown && !slices.IsSorted(p)
		}
	})
	if right == 0 || right*6 > all {
		return fmt.Errorf("%d of %d orders are right", right, all)
	}
	if !shown {
		return fmt.Errorf("the order shown is right")
	}
	return nil
}

// ready says of a step whether its turn has come when the steps of these titles are done, with all that comes before them,
// and nothing else.
func (c *checker) ready(titles []string) (func(title string) (bool, error), error) {
	done := map[string]bool{}
	for _, title := range titles {
		s, err := c.step(title)
		if err != nil {
			return nil, err
		}
		done[s.ID] = true
		for _, y := range c.l.Procedure.Steps {
			if c.l.Procedure.Before(y.ID, s.ID) {
				done[y.ID] = true
			}
		}
	}
	return func(title string) (bool, error) {
		x, err := c.step(title)
		if err != nil || done[x.ID] {
			return false, err
		}
		for _, y := range c.l.Procedure.Steps {
			if len(y.Children) == 0 && c.reached(y) && c.l.Procedure.Before(y.ID, x.ID) && !done[y.ID] {
				return false, nil
			}
		}
		return true, nil
	}, nil
}

func (c *checker) whatNow(q *quiz.Question, said []string) (truth, error) {
	if len(said) == 0 {
		return nil, fmt.Errorf("quotations in %q", q.Stem)
	}
	s, err := c.step(said[0])
	if err != nil {
		return nil, err
	}
	ready, err := c.ready(said[:1])
	if err != nil {
		return nil, err
	}
	good := false
	switch {
	case strings.Contains(q.Stem, "hold point") || strings.Contains(q.Stem, "punto de espera"):
		good = strings.Contains(q.Stem, "agrees") || strings.Contains(q.Stem, "de acuerdo")
		if !s.Hold || !good && !strings.Contains(q.Stem, "still to look") && !strings.Contains(q.Stem, "mirar aún") {
			return nil, fmt.Errorf("hold point %v: %q", s.Hold, q.Stem)
		}
	case strings.Contains(q.Stem, "To be found then") || strings.Contains(q.Stem, "Entonces ha de verse"):
		good = strings.Contains(q.Stem, "And so you find it") || strings.Contains(q.Stem, "Y así se ve")
		if s.Hold || len(said) != 2 || !c.oneOf(s.Check, said[1]) {
			return nil, fmt.Errorf("check of %s: %q", s.ID, q.Stem)
		}
	default:
		judged, err := c.judged(q)
		if err != nil {
			return nil, err
		}
		if s.Hold || q.Source.Element != s.Element+"/measure" {
			return nil, fmt.Errorf("measurement of %s: %q", s.ID, q.Stem)
		}
		good, _ = judged(quiz.Option{Element: "verdict/within"})
	}
	for up := s.Parent; up != nil; up = up.Parent {
		if up.Hold && good {
			for _, o := range q.Options {
				if x, err := c.step(o.Text); err == nil && o.ID == q.Key.ID && !relativesOf(up, x) {
					return nil, fmt.Errorf("the hold point %s is passed over", up.ID)
				}
			}
		}
	}
	return func(o quiz.Option) (bool, error) {
		if o.Element == "verdict/stop" {
			return !good, nil
		}
		is, err := ready(o.Text)
		return is && good, err
	}, nil
}

// relativesOf says whether a step is the other or stands below it.
func relativesOf(up, x *curriculum.Step) bool {
	for ; x != nil; x = x.Parent {
		if x == up {
			return true
		}
	}
	return false
}

func (c *checker) direction(q *quiz.Question, said []string) (truth, error) {
	if len(said) != 1 {
		return nil, fmt.Errorf("quotations in %q", q.Stem)
	}
	all := c.l.Figures
	if c.v != nil && strings.HasPrefix(q.Stem, c.v.Title) {
		all = c.v.Figures
	}
	m := regexp.MustCompile(`[”»] (?:is|es) (.+?)\. (?:You find|Encuentras) (.+?)\. `).FindStringSubmatch(q.Stem)
	if m == nil {
		return nil, fmt.Errorf("no figures in %q", q.Stem)
	}
	want, found := "", 0
	for _, f := range all {
		if c.text(f.Quantity) != said[0] || f.Limit == curriculum.NoLimit {
			continue
		}
		if f.Limit == curriculum.Range || f.String() != m[1] {
			return nil, fmt.Errorf("%v is not what %q says", f, q.Stem)
		}
		v, err := verdict(f, strings.Fields(m[2])[0])
		if err != nil {
			return nil, err
		}
		if v != "within" {
			v = "outside"
		}
		if found++; found > 1 && v != want {
			return nil, fmt.Errorf("two limits for %q", said[0])
		}
		want = v
	}
	if found == 0 {
		return nil, fmt.Errorf("no limit for %q", said[0])
	}
	return func(o quiz.Option) (bool, error) { return o.Element == "verdict/"+want, nil }, nil
}

func (c *checker) toldApart(q *quiz.Question, said []string) (truth, error) {
	if len(said) < 3 {
		return nil, fmt.Errorf("quotations in %q", q.Stem)
	}
	rest := map[string]bool{}
	for _, cause := range said[2:] {
		rest[cause] = true
	}
	other := false // a finding that points to one of the others must be among the options
	for _, r := range c.l.Faults {
		if !c.holds(r.Row) || c.text(r.Symptom) != said[0] {
			continue
		}
		if c.text(r.Cause) != said[1] && !rest[c.text(r.Cause)] {
			return nil, fmt.Errorf("the cause %q is not named", c.text(r.Cause))
		}
		other = other || rest[c.text(r.Cause)] && slices.ContainsFunc(q.Options, func(o quiz.Option) bool { return o.Text == c.text(r.Check) })
	}
	if !other {
		return nil, fmt.Errorf("nothing here points to another cause")
	}
	return func(o quiz.Option) (bool, error) {
		return slices.ContainsFunc(c.l.Faults, func(r curriculum.Fault) bool {
			return c.holds(r.Row) && c.text(r.Cause) == said[1] && c.text(r.Check) == o.Text
		}), nil
	}, nil
}
