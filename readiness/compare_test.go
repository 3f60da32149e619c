package readiness

import (
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
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
		f := newTeacher(s.catalogue, simPolicy(), parameters(month))
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
				return f.tasks[t].judge(density, f.model.owed(evidence[t].before(on+1).practice, on), 0.95).confidence
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

// declared is what comes of declaring ready at the first job after which confidence reaches a limit.
type declared struct {
	cleared, wrong, held, truly, cells int
	jobs                               float64 // until ready; all of them where that never came
}

func (c *course) at(limit float64) declared {
	var o declared
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
		o.cleared++
		o.jobs += float64(k + 1)
		if !cell.true_[k] {
			o.wrong++
		}
	}
	return o
}

func (o declared) wrongRate() float64 { return float64(o.wrong) / max(1, float64(o.cleared)) }
func (o declared) heldRate() float64  { return float64(o.held) / max(1, float64(o.truly)) }
func (o declared) share() float64     { return float64(o.cleared) / float64(o.cells) }
func (o declared) meanJobs() float64  { return o.jobs / float64(o.cells) }

// limitFor finds the lowest limit at which a quantity is at most (or, rising false, the share at least) a value.
func (c *course) limitFor(ok func(declared) bool) declared {
	for l := 0.005; l < 1; l += 0.005 {
		if o := c.at(l); ok(o) {
			return o
		}
	}
	return c.at(0.999)
}

// The comparison of the package documentation. With BRAKEWRIGHT_SOAK=1 on 200 apprentices, calibrated on 150 others;
// else on 30, with the priors alone.
func TestCompare(t *testing.T) {
	soak := os.Getenv("BRAKEWRIGHT_SOAK") == "1"
	n := 30
	if soak {
		n = 200
	}
	s := simulate(simOptions{apprentices: n, tasks: 6, supervisors: 25, meanJobs: 5.5, seed: 2, world: 1})
	priors := modelCourse(s, func(month int) Parameters {
		return EstimateSupervisors(s.catalogue, s.records, DefaultParameters(), (firstDay + day(month*28)).String())
	})
	judges := map[string]*course{"priors": priors, "bound": boundCourse(s)}
	if soak {
		train := simulate(simOptions{apprentices: 150, tasks: 6, supervisors: 25, meanJobs: 5.5, seed: 1, world: 1})
		calibrated, report := Calibrate(train.catalogue, train.records, simPolicy(), nil)
		t.Logf("calibrated: %+v", report)
		judges["calibrated"] = modelCourse(s, func(int) Parameters { return calibrated })
	}
	names := []string{"all", "strictest tenth", "most lenient tenth", "idlest tenth"}
	for _, judge := range []string{"bound", "priors", "calibrated"} {
		c := judges[judge]
		if c == nil {
			continue
		}
		for g := range groups {
			t.Logf("%s, %s: n %d, calibration error %.3f, Brier %.4f", judge, names[g], c.monthly[g].n, c.monthly[g].error(), c.monthly[g].brier())
		}
	}
	show := func(name string, o declared) {
		t.Logf("%-26s cleared %.3f, of these wrongly %.3f, truly ready held back %.3f, jobs %.2f", name, o.share(), o.wrongRate(), o.heldRate(), o.meanJobs())
	}
	five := ruleCourse(s, signOffs(5)).at(1)
	show("3 sign-offs and 80 %", ruleCourse(s, signOffs(3)).at(1))
	show("5 sign-offs and 80 %", five)
	show("8 sign-offs and 80 %", ruleCourse(s, signOffs(8)).at(1))
	show("LC-CUSUM", ruleCourse(s, lcCUSUM(0.7)).at(1))
	for _, judge := range []string{"bound", "priors", "calibrated"} {
		c := judges[judge]
		if c == nil {
			continue
		}
		same := c.limitFor(func(o declared) bool { return o.share() <= five.share() })
		show(judge+", as many cleared", same)
		show(judge+", as many wrongly", c.limitFor(func(o declared) bool { return o.wrongRate() <= five.wrongRate() }))
		show(judge+", confidence 0.90", c.at(0.9))
		if same.wrongRate() >= five.wrongRate() {
			t.Errorf("%s: of as many cleared, %.3f wrongly; the rule of five %.3f", judge, same.wrongRate(), five.wrongRate())
		}
	}
}

// Calibrate foretells better than the priors, and the same evidence gives the same snapshot in any order.
func TestCalibrate(t *testing.T) {
	s := simulate(simOptions{apprentices: 4, tasks: 2, supervisors: 3, meanJobs: 5.5, seed: 1, world: 1})
	sweeps := 0
	p, report := Calibrate(s.catalogue, s.records, simPolicy(), func(int, int, float64) { sweeps++ })
	if report.After <= report.Before || sweeps == 0 || report.Apprentices != 4 || report.Jobs == 0 || len(report.Values) == 0 {
		t.Errorf("got %+v", report)
	}
	if again, err := ReadParameters(p.JSON()); err != nil || again.Hash() != p.Hash() {
		t.Errorf("does not read back: %v", err)
	}
	slices.Reverse(s.records)
	if again, _ := Calibrate(s.catalogue, s.records, simPolicy(), nil); again.Hash() != p.Hash() {
		t.Errorf("in another order\n%s\nnot\n%s", again.JSON(), p.JSON())
	}
	if none, report := Calibrate(s.catalogue, nil, simPolicy(), nil); none.Hash() != DefaultParameters().Hash() || !report.Converged {
		t.Errorf("nothing known: %s", none.JSON())
	}
}
