package quiz

import (
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"brakewright/curriculum"
)

// drawnProblem is a small choice with everything that can bind it: lessons, counted families, steps that are due,
// clashes, difficulties.
func drawnProblem(rt *rapid.T) *problem {
	lessons, families := rapid.IntRange(1, 3).Draw(rt, "lessons"), rapid.IntRange(1, 4).Draw(rt, "families")
	n := rapid.IntRange(1, 12).Draw(rt, "candidates")
	p := &problem{total: rapid.IntRange(1, 6).Draw(rt, "total"), hard: -1, ways: make([][]int, 3)}
	clashes := map[[2]int]nearness{}
	closed := map[int]bool{}
	lists := map[[2]int][]int{}
	p.list = func(l, f int) []int { return lists[[2]int{l, f}] }
	p.open = func(c int) bool { return !closed[c] }
	p.clash = func(a, b int, near nearness) bool {
		until, ok := clashes[[2]int{min(a, b), max(a, b)}]
		return ok && near <= until
	}
	for f := range families {
		p.order = append(p.order, f)
		exactly := -1
		if rapid.IntRange(0, 3).Draw(rt, "counted") == 0 {
			exactly = rapid.IntRange(0, 2).Draw(rt, "exactly")
		}
		p.exactly = append(p.exactly, exactly)
	}
	least := 0
	for range lessons {
		p.least = append(p.least, rapid.IntRange(0, max(0, p.total-least)/2).Draw(rt, "least"))
		least += p.least[len(p.least)-1]
		p.most = append(p.most, 0)
		p.count = append(p.count, make([]int, families))
	}
	for l := range p.most {
		p.most[l] = p.least[l] + p.total - least
	}
	for c := range n {
		a := candidate{lesson: rapid.IntRange(0, lessons-1).Draw(rt, "lesson"), family: rapid.IntRange(0, families-1).Draw(rt, "family"),
			hard: rapid.SampledFrom([]int{15, 20, 30, 45}).Draw(rt, "hard"), step: rapid.IntRange(-3, 2).Draw(rt, "step")}
		a.step = max(a.step, -1)
		a.tier = tier(rapid.SampledFrom([]int{0, 0, 0, 1, 2}).Draw(rt, "tier"))
		p.cands = append(p.cands, a)
		lists[[2]int{a.lesson, a.family}] = append(lists[[2]int{a.lesson, a.family}], c)
		p.count[a.lesson][a.family]++
		if a.step >= 0 {
			p.ways[a.step] = append(p.ways[a.step], c)
		}
		closed[c] = rapid.IntRange(0, 9).Draw(rt, "closed") == 0
		for o := range c {
			if k := rapid.IntRange(0, 11).Draw(rt, "clash"); k < 3 {
				clashes[[2]int{o, c}] = nearness(k)
			}
		}
	}
	for s, ways := range p.ways {
		if len(ways) > 0 && rapid.Bool().Draw(rt, "due") {
			p.due = append(p.due, s)
		}
	}
	if rapid.Bool().Draw(rt, "difficulty") {
		p.hard = 1000 * p.total * rapid.IntRange(15, 45).Draw(rt, "asked for")
	}
	return p
}

// subsets calls f with every set of candidates in which nothing clashes and no number is exceeded.
func subsets(p *problem, upTo tier, f func(x *picked)) {
	x := p.empty()
	var grow func(c int)
	grow = func(c int) {
		if c == len(p.cands) {
			f(x)
			return
		}
		grow(c + 1)
		a := p.cands[c]
		if len(x.set) < p.total && x.perLesson[a.lesson] < p.most[a.lesson] && (p.exactly[a.family] < 0 || x.perFamily[a.family] < p.exactly[a.family]) &&
			x.fits(c, stage{upTo, sameKey}) {
			x.add(c)
			grow(c + 1)
			x.drop(c)
		}
	}
	grow(0)
}

// Where any set is feasible, a feasible one is chosen; what is chosen never clashes or exceeds a number.
func TestFeasibleFormIsFound(t *testing.T) {
	could, stranded := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		p := drawnProblem(rt)
		for _, upTo := range []tier{own, spare, taken} {
			feasible := false
			subsets(p, upTo, func(x *picked) { feasible = feasible || x.feasible() })
			got := p.empty().choose(upTo)
			for i, c := range got.set {
				if !p.open(c) || p.cands[c].tier > upTo {
					rt.Fatalf("%d was not to be had", c)
				}
				for _, o := range got.set[:i] {
					if p.clash(c, o, sameKey) {
						rt.Fatalf("%d and %d clash", c, o)
					}
				}
			}
			for l, n := range got.perLesson {
				if n > p.most[l] {
					rt.Fatalf("lesson %d: %d of %d", l, n, p.most[l])
				}
			}
			for f, n := range got.perFamily {
				if p.exactly[f] >= 0 && n > p.exactly[f] {
					rt.Fatalf("family %d: %d of %d", f, n, p.exactly[f])
				}
			}
			if got.feasible() != feasible {
				rt.Fatalf("tier %d: chosen %v with score %v; feasible: %v", upTo, got.set, got.score(), feasible)
			}
			if feasible {
				could++
				greedy := p.empty()
				if greedy.fill(upTo); !greedy.feasible() {
					stranded++
				}
			}
		}
	})
	t.Logf("%d feasible choices, of which the greedy one strands in %d", could, stranded)
	if stranded == 0 {
		t.Error("nothing was mended")
	}
}

// No set asks more of the steps that are due, whether any is feasible or not.
func TestStepsAreServedFirst(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := drawnProblem(rt)
		best := 0
		subsets(p, taken, func(x *picked) { best = max(best, x.score()[0]) })
		if got := p.empty().choose(taken); got.score()[0] < best {
			rt.Fatalf("%v asks %d of the steps, %d could be", got.set, got.score()[0], best)
		}
	})
}

func TestDifficultyTable(t *testing.T) {
	for name, n := range difficulty {
		if n < 5 || n > 60 {
			t.Errorf("%s: %d %%", name, n)
		}
	}
}

// MustLoad loads a folder of the repository.
func MustLoad(t testing.TB, dir string) *curriculum.Programme {
	t.Helper()
	p, problems := curriculum.Load(os.DirFS(dir))
	if p == nil {
		t.Fatalf("%s: %v", dir, problems)
	}
	return p
}

// draw makes the questions of a draw with their items.
func draw(t testing.TB, p *curriculum.Programme, r Request, d Draw) (*selector, []*posed) {
	t.Helper()
	pl, err := newPlan(p, r, p.Languages[0])
	if err != nil {
		t.Fatal(err)
	}
	s := newSelector(p, pl, d.Vehicle, keyOf("form", Generator, p.Edition, pl.request(), strconv.FormatUint(d.Seed, 10), p.Languages[0], d.Vehicle))
	return s, s.form(d.Number)
}

// Forms of one blueprint and car are equally hard: the mean difficulty of each lies within the bound of what the blueprint
// asks for, which is the same for all seeds and numbers. They are so without cost: all are whole. Two apprentices who sit
// side by side, with two seeds, share at most half of their questions, and on average far less.
func TestFormsAreEquallyHardAndDiffer(t *testing.T) {
	seeds := 6
	if os.Getenv("BRAKEWRIGHT_SOAK") == "1" {
		seeds = 60
	}
	p := MustLoad(t, "../curriculum/brakes")
	cars := []string{""}
	for _, v := range p.Vehicles {
		cars = append(cars, v.ID)
	}
	forms, shared, all, most, least, hardest := 0, 0, 0, 0, 100000, 0
	for _, b := range p.Blueprints {
		for _, car := range cars {
			for number := 1; number <= 4; number++ {
				var side map[string]bool
				for seed := range seeds {
					s, got := draw(t, p, Request{Blueprint: b.ID}, Draw{Seed: uint64(seed), Number: number, Vehicle: car})
					target := s.problem(s.view(number)).hard
					sum, common := 0, 0
					ids := map[string]bool{}
					for _, q := range got {
						sum += 1000 * hardness(q.item)
						ids[q.ID] = true
						if side[q.ID] {
							common++
						}
					}
					if off := sum - target; len(got) != b.Questions || max(off, -off) > 1000*difficultyBound*b.Questions {
						t.Errorf("%s %q seed %d number %d: %d questions of mean difficulty %.2f, asked for %.2f", b.ID, car, seed, number, len(got),
							float64(sum)/float64(1000*len(got)), float64(target)/float64(1000*b.Questions))
					}
					forms, least, hardest = forms+1, min(least, sum/b.Questions), max(hardest, sum/b.Questions)
					if side != nil {
						shared, all, most = shared+common, all+b.Questions, max(most, 100*common/b.Questions)
						if 2*common > b.Questions {
							t.Errorf("%s %q number %d: seeds %d and %d share %d of %d", b.ID, car, number, seed-1, seed, common, b.Questions)
						}
					}
					side = ids
				}
			}
		}
	}
	t.Logf("%d forms: difficulty from %.2f to %.2f; two seeds share %.1f %% on average, at most %d %%", forms, float64(least)/1000, float64(hardest)/1000, 100*float64(shared)/float64(all), most)
	if shared*8 > all {
		t.Errorf("two seeds share %d of %d questions", shared, all)
	}
}
