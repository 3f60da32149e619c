package quiz_test

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"brakewright/curriculum"
	"brakewright/quiz"
)

func mustGenerate(t testing.TB, p *curriculum.Programme, r quiz.Request, d quiz.Draw) *quiz.Form {
	t.Helper()
	if d.Number == 0 {
		d.Number = 1
	}
	f, err := quiz.Generate(p, r, d)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Every question of every lesson, car and language is right and the only right one, as an independent reading of the
// lesson finds.
func TestQuestionsAreRight(t *testing.T) {
	for name, p := range programmes(t) {
		most := map[string]int{}
		for _, row := range quiz.Yield(p) {
			if row.Vehicle == "" {
				most[row.Lesson] = row.Questions
			}
		}
		for _, l := range p.Lessons {
			t.Run(name+"/"+l.ID, func(t *testing.T) {
				cars := vehicleIDs(p)
				for seed := range soak(2000) {
					d := quiz.Draw{Seed: uint64(seed), Number: 1 + seed%3, Language: p.Languages[seed%len(p.Languages)], Vehicle: cars[seed/3%len(cars)]}
					f := mustGenerate(t, p, quiz.Request{Lessons: []string{l.ID}, Questions: 8}, d)
					if len(f.Questions) != min(8, most[l.ID]) {
						t.Fatalf("draw %+v: %d questions", d, len(f.Questions))
					}
					checkForm(t, p, f)
				}
			})
		}
	}
}

// Every family that a lesson can feed is asked alone, so that none hides behind the others.
func TestFamiliesAreRight(t *testing.T) {
	fed := map[string]bool{}
	for name, p := range programmes(t) {
		for _, fam := range quiz.Families() {
			for seed := range soak(400) {
				cars := vehicleIDs(p)
				d := quiz.Draw{Seed: uint64(seed), Number: 1, Language: p.Languages[seed%len(p.Languages)], Vehicle: cars[seed%len(cars)]}
				f := mustGenerate(t, p, quiz.Request{Families: []string{fam.ID}, Questions: 6}, d)
				checkForm(t, p, f)
				for _, q := range f.Questions {
					if q.Family != fam.ID || !slices.Contains(fam.Kinds, q.Kind) {
						t.Fatalf("%s: %s of kind %s where %v is asked", name, q.Family, q.Kind, fam)
					}
					fed[fam.ID] = true
				}
			}
		}
	}
	for _, fam := range quiz.Families() {
		if !fed[fam.ID] {
			t.Errorf("family %s never asked anything", fam.ID)
		}
	}
}

func checkForm(t *testing.T, p *curriculum.Programme, f *quiz.Form) {
	t.Helper()
	seen := map[string]bool{}
	for i := range f.Questions {
		q := &f.Questions[i]
		if err := newChecker(p, f, q).check(q); err != nil {
			t.Fatalf("seed %d, vehicle %v, %s: %v\n%s", f.Seed, f.Vehicle, q.Family, err, show(q))
		}
		if seen[q.ID] {
			t.Fatalf("seed %d: question %s stands twice", f.Seed, q.ID)
		}
		seen[q.ID] = true
		if f.Vehicle == nil && (q.Vehicle != nil || strings.HasPrefix(q.Source.Element, "vehicle/") || strings.HasPrefix(q.Source.Element, "order/")) {
			t.Fatalf("seed %d: a car in a form without one\n%s", f.Seed, show(q))
		}
		for j := range f.Questions {
			if o := &f.Questions[j]; i != j && givesAway(q, o) {
				t.Fatalf("seed %d: this one\n%s\ngives this one away\n%s", f.Seed, show(q), show(o))
			}
		}
	}
}

// givesAway says whether a's stem holds b's key.
func givesAway(a, b *quiz.Question) bool {
	for _, o := range b.Options {
		if o.ID == b.Key.ID && len(strings.Fields(o.Text)) > 2 && !strings.Contains(b.Stem, o.Text) && strings.Contains(plain(a.Stem), plain(o.Text)) {
			return true
		}
	}
	return false
}

func show(q *quiz.Question) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s %s\n%s\n", q.Family, q.Kind, q.Source.Element, q.Stem)
	for _, o := range q.Options {
		mark := " "
		if o.ID == q.Key.ID || slices.Contains(q.Key.IDs, o.ID) {
			mark = "*"
		}
		fmt.Fprintf(&b, " %s %s (%s)\n", mark, o.Text, o.Element)
	}
	if q.Key.Number != nil {
		fmt.Fprintf(&b, " = %+v %v\n", *q.Key.Number, q.Slips)
	}
	return b.String()
}

func TestSameDrawSameBytes(t *testing.T) {
	p, again := mustLoad(t, "../curriculum/brakes"), mustLoad(t, "../curriculum/brakes")
	seen := map[string]bool{}
	for seed := range 20 {
		for _, v := range vehicleIDs(p) {
			d := quiz.Draw{Seed: uint64(seed), Number: 1, Language: "en", Vehicle: v}
			a := mustGenerate(t, p, quiz.Request{Blueprint: "bleed-theory"}, d).JSON()
			b := mustGenerate(t, again, quiz.Request{Blueprint: "bleed-theory"}, d).JSON()
			if !bytes.Equal(a, b) {
				t.Fatalf("draw %+v gives two forms", d)
			}
			if seen[string(a)] {
				t.Fatalf("draw %+v gives the form of another", d)
			}
			seen[string(a)] = true
		}
	}
}

// A question keeps its id whatever form it stands in, and its option ids too; neither says where an option stands.
func TestIDs(t *testing.T) {
	p := mustLoad(t, "../curriculum/brakes")
	first := map[string]quiz.Question{}
	met := 0
	for seed := range 60 {
		for _, q := range mustGenerate(t, p, quiz.Request{Questions: 40}, quiz.Draw{Seed: uint64(seed), Vehicle: "trainer-a"}).Questions {
			o, ok := first[q.ID]
			if !ok {
				first[q.ID] = q
				continue
			}
			met++
			text := func(q quiz.Question) (out []string) {
				for _, x := range slices.Concat(q.Options, q.Targets) {
					out = append(out, x.ID+" "+x.Text+" "+x.Element)
				}
				slices.Sort(out)
				return out
			}
			if o.Stem != q.Stem || !slices.Equal(text(o), text(q)) || q.Key.ID != o.Key.ID {
				t.Fatalf("one id, two questions:\n%s\n%s", show(&o), show(&q))
			}
		}
	}
	if met < 50 {
		t.Errorf("only %d questions came twice", met)
	}
}

// chiSquare of counts against an even spread.
func chiSquare(counts []int) (x float64) {
	sum := 0
	for _, n := range counts {
		sum += n
	}
	want := float64(sum) / float64(len(counts))
	for _, n := range counts {
		x += (float64(n) - want) * (float64(n) - want) / want
	}
	return x
}

// With fixed seeds: the key stands in every place equally often, and is the longest or shortest no more than chance.
// 16.27 is the 0.999 quantile of chi-square with three degrees of freedom.
func TestKeyCannotBeGuessed(t *testing.T) {
	for name, p := range programmes(t) {
		place := make([]int, 4)
		byFamily := map[string][]int{}
		longest, shortest, all, middle, numeric := 0, 0, 0, 0, 0
		hasLongest, hasShortest := 0, 0 // questions in which one option is longer, or shorter, than all others
		for seed := range 2 * soak(4000) {
			cars := vehicleIDs(p)
			f := mustGenerate(t, p, quiz.Request{Questions: 12}, quiz.Draw{Seed: uint64(seed) + 1e6, Vehicle: cars[seed%len(cars)]})
			for _, q := range f.Questions {
				if q.Kind != quiz.Single || len(q.Options) != 4 {
					continue
				}
				k := slices.IndexFunc(q.Options, func(o quiz.Option) bool { return o.ID == q.Key.ID })
				place[k]++
				if byFamily[q.Family] == nil {
					byFamily[q.Family] = make([]int, 4)
				}
				byFamily[q.Family][k]++
				if q.Family == "vehicle-figure" || q.Family == "lesson-figure" || q.Family == "arithmetic-slip" {
					numeric++
					if k == 1 || k == 2 {
						middle++
					}
					continue
				}
				if q.Family == "find-mistake" {
					continue
				}
				all++
				long, short := extremes(q.Options)
				if long >= 0 {
					hasLongest++
				}
				if short >= 0 {
					hasShortest++
				}
				if long == k {
					longest++
				}
				if short == k {
					shortest++
				}
			}
		}
		t.Logf("%s: places %v, longest %.3f, shortest %.3f of %d; middle %.3f of %d figures; %v", name, place,
			float64(longest)/float64(all), float64(shortest)/float64(all), all, float64(middle)/math.Max(1, float64(numeric)), numeric, byFamily)
		if x := chiSquare(place); x > 16.27 {
			t.Errorf("%s: key places %v, chi-square %.1f", name, place, x)
		}
		for what, n := range map[string][2]int{"longest": {longest, hasLongest}, "shortest": {shortest, hasShortest}} {
			// Where there is a longest option at all, chance makes it the key once in four. Who takes it gains what it is the key
			// more often; who rules it out gains a third of what it is less often.
			share, chance := float64(n[0])/float64(all), float64(n[1])/4/float64(all)
			if gain := max(share-chance, (chance-share)/3); gain > 0.03 {
				t.Errorf("%s: the key is the %s in %.3f, by chance %.3f: to know that gains %.1f points", name, what, share, chance, 100*gain)
			}
		}
		if share := float64(middle) / math.Max(1, float64(numeric)); numeric > 200 && math.Abs(share-0.5) > 0.06 {
			t.Errorf("%s: the key is a middle figure in %.3f", name, share)
		}
	}
}

// extremes are the only longest and the only shortest option, or -1.
func extremes(options []quiz.Option) (long, short int) {
	long, short = -1, -1
	for i, a := range options {
		longer, shorter := true, true
		for j, b := range options {
			if i != j {
				longer = longer && utf8.RuneCountInString(a.Text) > utf8.RuneCountInString(b.Text)
				shorter = shorter && utf8.RuneCountInString(a.Text) < utf8.RuneCountInString(b.Text)
			}
		}
		if longer {
			long = i
		}
		if shorter {
			short = i
		}
	}
	return long, short
}

// Two consecutive numbers of a seed ask every critical step, and share at most a tenth.
func TestConsecutiveNumbers(t *testing.T) {
	for name, p := range programmes(t) {
		for _, b := range p.Blueprints {
			for _, car := range vehicleIDs(p) {
				for seed := range soak(300) {
					var last *quiz.Form
					for number := 1; number <= 5; number++ {
						f := mustGenerate(t, p, quiz.Request{Blueprint: b.ID}, quiz.Draw{Seed: uint64(seed), Number: number, Vehicle: car})
						if len(f.Questions) != b.Questions {
							t.Fatalf("%s %s %s seed %d number %d: %d of %d questions", name, b.ID, car, seed, number, len(f.Questions), b.Questions)
						}
						count := map[string]int{}
						for _, q := range f.Questions {
							count[q.Lesson]++
							count["family "+q.Family]++
						}
						sum := 0
						for _, n := range b.Lessons {
							sum += n
						}
						for l, n := range b.Lessons { // what the lessons leave open comes from any of them
							if count[l] != n && (sum == b.Questions || count[l] < n) {
								t.Fatalf("%s: lesson %s has %d questions, not %d", b.ID, l, count[l], n)
							}
						}
						for fam, n := range b.Families {
							if count["family "+fam] != n {
								t.Fatalf("%s: family %s has %d questions, not %d", b.ID, fam, count["family "+fam], n)
							}
						}
						if last != nil {
							checkNeighbours(t, p, b, car, last, f)
						}
						last = f
					}
				}
			}
		}
	}
}

func checkNeighbours(t *testing.T, p *curriculum.Programme, b curriculum.Blueprint, car string, one, two *quiz.Form) {
	t.Helper()
	both := slices.Concat(one.Questions, two.Questions)
	if b.CriticalSteps == "all" {
		for _, id := range p.Task(b.Task).Lessons {
			l := p.Lesson(id, "")
			for _, s := range l.Procedure.Steps {
				if !s.Critical || len(s.Children) > 0 || !applies(p.Vehicle(car), s.If) {
					continue
				}
				if !slices.ContainsFunc(both, func(q quiz.Question) bool {
					return q.Lesson == l.ID && q.Critical && (q.Source.Element == s.Element || strings.HasPrefix(q.Source.Element, s.Element+"/"))
				}) {
					t.Fatalf("%s %q seed %d numbers %d and %d: critical step %s is not asked", b.ID, car, one.Seed, one.Number, two.Number, s.ID)
				}
			}
		}
	}
	shared := 0
	for _, q := range two.Questions {
		if one.Question(q.ID) != nil {
			shared++
		}
	}
	if shared*10 > len(two.Questions) {
		t.Fatalf("%s %q seed %d: numbers %d and %d share %d of %d questions", b.ID, car, one.Seed, one.Number, two.Number, shared, len(two.Questions))
	}
}

func TestGenerateRefuses(t *testing.T) {
	p := mustBuild(t, tricky)
	for _, row := range []struct {
		name string
		r    quiz.Request
		d    quiz.Draw
		want string
	}{
		{"blueprint", quiz.Request{Blueprint: "x"}, quiz.Draw{Number: 1}, `no blueprint "x"; the programme has pump-theory, pump-steps`},
		{"task", quiz.Request{Task: "x"}, quiz.Draw{Number: 1}, `no task "x"`},
		{"lesson", quiz.Request{Lessons: []string{"x"}}, quiz.Draw{Number: 1}, `no lesson "x"`},
		{"family", quiz.Request{Families: []string{"x"}}, quiz.Draw{Number: 1}, `no family "x"`},
		{"vehicle", quiz.Request{}, quiz.Draw{Number: 1, Vehicle: "x"}, `no vehicle "x"; the programme has rig-one, rig-two`},
		{"language", quiz.Request{}, quiz.Draw{Number: 1, Language: "xx"}, `no language "xx"`},
		{"number", quiz.Request{}, quiz.Draw{}, "numbered from 1"},
	} {
		t.Run(row.name, func(t *testing.T) {
			f, err := quiz.Generate(p, row.r, row.d)
			if f != nil || err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v, want %q", err, row.want)
			}
		})
	}
}

func TestFormSaysItsDraw(t *testing.T) {
	p := mustBuild(t, tricky)
	f := mustGenerate(t, p, quiz.Request{Blueprint: "pump-theory"}, quiz.Draw{Seed: math.MaxUint64, Number: 2, Language: "es", Vehicle: "rig-two"})
	if f.Format != "brakewright-form/1" || f.ProgrammeEdition != p.Edition || *f.Blueprint != "pump-theory" || f.Seed != math.MaxUint64 || f.Number != 2 || f.Language != "es" || *f.Vehicle != "rig-two" || *f.PassPercent != 70 {
		t.Errorf("%+v", f)
	}
	plain := mustGenerate(t, p, quiz.Request{Questions: 3}, quiz.Draw{})
	if plain.Blueprint != nil || plain.Vehicle != nil || plain.PassPercent != nil || plain.Language != "en" || plain.Number != 1 {
		t.Errorf("%+v", plain)
	}
	if !strings.Contains(string(f.JSON()), `"seed": `+strconv.FormatUint(math.MaxUint64, 10)) {
		t.Error("the seed is not written whole")
	}
}

func TestYield(t *testing.T) {
	rows := quiz.Yield(mustBuild(t, tricky))
	if len(rows) != 3 || rows[0].Vehicle != "" || rows[1].Vehicle != "rig-one" {
		t.Fatalf("%+v", rows)
	}
	for _, r := range rows {
		sum := 0
		for _, n := range r.Families {
			sum += n
		}
		if len(r.Families) != len(quiz.Families()) || sum != r.Questions || r.Questions < 50 || len(r.Unreached) != 0 {
			t.Errorf("%+v", r)
		}
	}
	if rows[0].Families["vehicle-figure"] != 0 || rows[1].Families["vehicle-figure"] == 0 {
		t.Errorf("figures of a car: %d without, %d with", rows[0].Families["vehicle-figure"], rows[1].Families["vehicle-figure"])
	}
}

// A programme is shared by requests: forms made side by side are those made one after the other.
func TestGenerateSideBySide(t *testing.T) {
	p := mustBuild(t, tricky)
	r := quiz.Request{Questions: 30}
	var want [8][]byte
	for i := range want {
		want[i] = mustGenerate(t, p, r, quiz.Draw{Seed: uint64(i % 4), Vehicle: "rig-one"}).JSON()
	}
	fresh := *p
	fresh.Edition = ""
	var all sync.WaitGroup
	for i := range want {
		all.Go(func() {
			for _, of := range []*curriculum.Programme{p, &fresh} {
				f, err := quiz.Generate(of, r, quiz.Draw{Seed: uint64(i % 4), Number: 1, Vehicle: "rig-one"})
				if err != nil {
					t.Error(err)
				} else if of == p && !bytes.Equal(f.JSON(), want[i]) {
					t.Error("another form")
				}
			}
		})
	}
	all.Wait()
}

// Where no reading lies below the least there is, or between it and the limit, none is counted.
func TestYieldCountsOnlyWhatCanBeDrawn(t *testing.T) {
	for _, limit := range []string{"minimum", "maximum"} {
		p := mustBuild(t, map[string]string{
			"programme.yaml": "title: T\nlanguages: [en]\nunits: si\ntasks:\n  - {id: t, title: A task, lessons: [l], prerequisites: []}\n",
			"lessons/l.md":   "---\nid: l\ntitle: A lesson\nlanguage: en\ntasks: [t]\n---\n## Figures\n\n| Quantity | Value | Unit | Limit | Source |\n|---|---|---|---|---|\n| Days on the shelf | 1 | day | " + limit + " | invented |\n",
		})
		count := quiz.Yield(p)[0].Families["judge-measurement"]
		asked := map[string]bool{}
		for seed := range uint64(40) {
			f := mustGenerate(t, p, quiz.Request{Families: []string{"judge-measurement"}, Questions: 20}, quiz.Draw{Seed: seed})
			if len(f.Questions) != count {
				t.Fatalf("%s: %d are counted, %d asked", limit, count, len(f.Questions))
			}
			for _, q := range f.Questions {
				for _, o := range q.Options {
					asked[o.Element] = asked[o.Element] || o.ID == q.Key.ID
				}
			}
		}
		if !asked["verdict/within"] || len(asked) != 2 {
			t.Errorf("%s: %d are counted, with these verdicts and whether they were right: %v", limit, count, asked)
		}
	}
}
