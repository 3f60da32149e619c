package readiness

import (
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"time"
)

// said is what a judge said of one apprentice and task after each job, with the truth.
type said struct {
	after []float64
	true_ []bool
}

// course is everything that a judge said of a cohort.
type course struct {
	cells   []said   // by apprentice × task
	monthly []scored // all, then for groups
}

// groupsOf tells which groups a cell belongs to besides 0, all: 1 home supervisor among the strictest tenth, 2 the most
// lenient, 3 the idlest tenth.
const groups = 4

// modelCourse lets the model judge, with the parameters of each four weeks.
func modelCourse(s *simulated, parameters func(month int) Parameters) *course {
	c := &course{monthly: make([]scored, groups)}
	tasks := len(s.catalogue.Tasks)
	c.cells = make([]said, len(s.people)*tasks)
	all := resolve(s.records, (firstDay + simDays).String())
	strict, lenient := s.extremes()
	for month := 1; month*28 <= simDays; month++ {
		from, to := firstDay+day(month*28-27), firstDay+day(month*28)
		f := newForeteller(s.catalogue, simPolicy(), parameters(month))
		idle := s.idlest(to)
		for a := range s.people {
			p := gather(all[fmt.Sprintf("a%d", a)])
			evidence := make([]*evidence, tasks)
			for t := range tasks {
				evidence[t] = f.tasks[t].gatherEvidence(p.task(s.catalogue.Tasks[t].Task))
			}
			judge := func(t int, on day) float64 {
				ls := make([][]float64, tasks)
				for o := range ls {
					e := evidence[o].before(on + 1)
					if s.people[a][o].start > on {
						e.right, e.wrong = 0, 0
					}
					ls[o] = f.tasks[o].likelihood(e)
				}
				density := f.tasks[t].density(f.model.generalFrom(f.tasks, ls, t), ls[t])
				return f.tasks[t].judge(density, f.model.deficit(evidence[t].before(on+1).practice, on), 0.95).confidence
			}
			for t := range tasks {
				cell := &c.cells[a*tasks+t]
				for _, j := range s.people[a][t].jobs {
					if j.on >= from && j.on <= to {
						cell.after = append(cell.after, judge(t, j.on))
						cell.true_ = append(cell.true_, s.truth(a, t, j.on) >= 0.95)
					}
				}
				c.month(s, a, t, to, judge(t, to), strict, lenient, idle)
			}
		}
	}
	return c
}

func (c *course) month(s *simulated, a, t int, on day, confidence float64, strict, lenient map[int]bool, idle func(a, t int) bool) {
	was := s.truth(a, t, on) >= 0.95
	c.monthly[0].add(confidence, was)
	sup := s.mostly(a, t, on)
	if strict[sup] {
		c.monthly[1].add(confidence, was)
	}
	if lenient[sup] {
		c.monthly[2].add(confidence, was)
	}
	if idle(a, t) {
		c.monthly[3].add(confidence, was)
	}
}

// extremes are the strictest and the most lenient tenth of supervisors, those asleep left out.
func (s *simulated) extremes() (strict, lenient map[int]bool) {
	var order []int
	for i := range s.severity {
		if s.sleepy[i] < 0.1 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		if s.severity[a] < s.severity[b] {
			return -1
		}
		return 1
	})
	n := max(1, len(order)/10)
	strict, lenient = map[int]bool{}, map[int]bool{}
	for i := range n {
		lenient[order[i]], strict[order[len(order)-1-i]] = true, true
	}
	return strict, lenient
}

// mostly is who watched an apprentice's task most often, −1 if nobody did.
func (s *simulated) mostly(a, t int, on day) int {
	n := map[int]int{}
	best := -1
	for _, j := range s.people[a][t].jobs {
		if j.on <= on {
			n[j.supervisor]++
			if best < 0 || n[j.supervisor] > n[best] {
				best = j.supervisor
			}
		}
	}
	return best
}

// idlest tells who belongs to the tenth that has waited longest since the last job.
func (s *simulated) idlest(on day) func(a, t int) bool {
	wait := func(a, t int) day {
		last := day(math.MaxInt32)
		for _, j := range s.people[a][t].jobs {
			if j.on <= on {
				last = j.on
			}
		}
		return on - last
	}
	var all []day
	for a := range s.people {
		for t := range s.people[a] {
			if w := wait(a, t); w >= 0 {
				all = append(all, w)
			}
		}
	}
	slices.Sort(all)
	if len(all) == 0 {
		return func(int, int) bool { return false }
	}
	border := all[len(all)*9/10]
	return func(a, t int) bool { w := wait(a, t); return w >= 0 && w >= border && w > 0 }
}

func boundCourse(s *simulated) *course {
	b := newBound(s)
	c := &course{monthly: make([]scored, groups)}
	tasks := len(s.catalogue.Tasks)
	c.cells = make([]said, len(s.people)*tasks)
	strict, lenient := s.extremes()
	idles := map[day]func(a, t int) bool{}
	for a := range s.people {
		var weights [][][][]float64
		for t := range tasks {
			weights = append(weights, b.weights(a, t, s.ease[t]))
		}
		for t := range tasks {
			cell := &c.cells[a*tasks+t]
			for _, j := range s.people[a][t].jobs {
				cell.after = append(cell.after, b.confident(a, t, j.on, weights, s.ease))
				cell.true_ = append(cell.true_, s.truth(a, t, j.on) >= 0.95)
			}
			for d := 28; d <= simDays; d += 28 {
				on := firstDay + day(d)
				if idles[on] == nil {
					idles[on] = s.idlest(on)
				}
				c.month(s, a, t, on, b.confident(a, t, on, weights, s.ease), strict, lenient, idles[on])
			}
		}
	}
	return c
}

// ruleCourse says 1 from the job on at which a rule is met.
func ruleCourse(s *simulated, rule func(score float64, jobs []simJob) bool) *course {
	c := &course{}
	for a := range s.people {
		for t, p := range s.people[a] {
			var cell said
			for k, j := range p.jobs {
				x := 0.0
				if rule(s.scores[a][t], p.jobs[:k+1]) {
					x = 1
				}
				cell.after = append(cell.after, x)
				cell.true_ = append(cell.true_, s.truth(a, t, j.on) >= 0.95)
			}
			c.cells = append(c.cells, cell)
		}
	}
	return c
}

// signOffs is the rule of so many clean jobs and 80 % in the test.
func signOffs(n int) func(float64, []simJob) bool {
	return func(score float64, jobs []simJob) bool {
		clean := 0
		for _, j := range jobs {
			if j.clean {
				clean++
			}
		}
		return clean >= n && score >= 0.8
	}
}

// lcCUSUM is the learning-curve CUSUM (Biau et al. 2008): from a failure rate of 0.15 held unacceptable to one of 0.05.
func lcCUSUM(limit float64) func(float64, []simJob) bool {
	return func(_ float64, jobs []simJob) bool {
		sum := 0.0
		for _, j := range jobs {
			if j.failed {
				sum += math.Log(0.05 / 0.15)
			} else {
				sum += math.Log(0.95 / 0.85)
			}
			sum = max(0, sum)
			if sum >= limit {
				return true
			}
		}
		return false
	}
}

// outcome of declaring ready at the first job after which confidence reaches a limit.
type outcome2 struct {
	declared, wrong, held, truly, cells int
	jobs                                float64 // until ready; all of them where that never came
}

func (c *course) at(limit float64) outcome2 {
	var o outcome2
	for _, cell := range c.cells {
		if len(cell.after) == 0 {
			continue
		}
		o.cells++
		k := slices.IndexFunc(cell.after, func(x float64) bool { return x >= limit })
		last := len(cell.after) - 1
		if cell.true_[last] {
			o.truly++
		}
		if k < 0 {
			o.jobs += float64(len(cell.after))
			if cell.true_[last] {
				o.held++
			}
			continue
		}
		o.declared++
		o.jobs += float64(k + 1)
		if !cell.true_[k] {
			o.wrong++
		}
	}
	return o
}

func (o outcome2) wrongRate() float64 { return float64(o.wrong) / max(1, float64(o.declared)) }
func (o outcome2) heldRate() float64  { return float64(o.held) / max(1, float64(o.truly)) }
func (o outcome2) share() float64     { return float64(o.declared) / float64(o.cells) }
func (o outcome2) meanJobs() float64  { return o.jobs / float64(o.cells) }

// limitFor finds the lowest limit at which a quantity is at most (or, rising false, the share at least) a value.
func (c *course) limitFor(ok func(outcome2) bool) outcome2 {
	for l := 0.005; l < 1; l += 0.005 {
		if o := c.at(l); ok(o) {
			return o
		}
	}
	return c.at(0.999)
}

func TestCompare(t *testing.T) {
	n := 100
	train := simulate(simOptions{apprentices: n, tasks: 6, supervisors: 25, meanJobs: 5.5, seed: 1, world: 1})
	s := simulate(simOptions{apprentices: n, tasks: 6, supervisors: 25, meanJobs: 5.5, seed: 2, world: 1})
	began := time.Now()
	calibrated, report := Calibrate(train.catalogue, train.records, simPolicy(), func(i, n int, l float64) { fmt.Println(i, n, l, time.Since(began)) })
	fmt.Println("calibrate", time.Since(began), report.Before, report.After)
	for _, v := range report.Values {
		fmt.Printf("%s %v→%v ", v.Name, v.Prior, v.Estimate)
	}
	fmt.Println()
	var bound *course
	if os.Getenv("BRAKEWRIGHT_SOAK") == "1" {
		bound = boundCourse(s)
	}
	fmt.Println("bound done", time.Since(began))
	priors := modelCourse(s, func(month int) Parameters {
		return EstimateSupervisors(s.catalogue, s.records, DefaultParameters(), (firstDay + day(month*28)).String())
	})
	after := modelCourse(s, func(int) Parameters { return calibrated })
	names := []string{"all", "strictest", "lenient", "idlest"}
	for i, c := range []*course{bound, priors, after} {
		if c == nil {
			continue
		}
		fmt.Println([]string{"bound", "priors", "calibrated"}[i])
		for g := range groups {
			fmt.Printf("  %s n %d error %.3f brier %.4f", names[g], c.monthly[g].n, c.monthly[g].error(), c.monthly[g].brier())
		}
		fmt.Println()
		for _, b := range c.monthly[0].bins {
			fmt.Printf("  %.0f: %.3f %.3f |", b[0], b[1]/b[0], b[2]/b[0])
		}
		fmt.Println()
	}
	print := func(name string, o outcome2) {
		fmt.Printf("%-34s cleared %.3f wrong %.3f held back %.3f jobs %.2f\n", name, o.share(), o.wrongRate(), o.heldRate(), o.meanJobs())
	}
	five := ruleCourse(s, signOffs(5)).at(1)
	print("3 and 80 %", ruleCourse(s, signOffs(3)).at(1))
	print("5 and 80 %", five)
	print("8 and 80 %", ruleCourse(s, signOffs(8)).at(1))
	print("LC-CUSUM 1.25", ruleCourse(s, lcCUSUM(1.25)).at(1))
	print("LC-CUSUM 0.7", ruleCourse(s, lcCUSUM(0.7)).at(1))
	for i, c := range []*course{bound, priors, after} {
		if c == nil {
			continue
		}
		name := []string{"bound", "priors", "calibrated"}[i]
		print(name+" at 0.90", c.at(0.9))
		print(name+" at wrong of 5", c.limitFor(func(o outcome2) bool { return o.wrongRate() <= five.wrongRate() }))
		print(name+" at share of 5", c.limitFor(func(o outcome2) bool { return o.share() <= five.share() }))
	}
}
