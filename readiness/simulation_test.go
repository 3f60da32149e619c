package readiness

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// scored is how a forecast compares with the truth.
type scored struct {
	n              int
	sum, said, was float64
	bins           [10][3]float64
}

func (s *scored) add(said float64, was bool) {
	y := 0.0
	if was {
		y = 1
	}
	s.n++
	s.sum += (said - y) * (said - y)
	b := &s.bins[min(9, int(said*10))]
	b[0]++
	b[1] += said
	b[2] += y
}

func (s *scored) brier() float64 { return s.sum / float64(s.n) }

// error is the mean distance of what was said and what was, over ten equal bins, weighed by how many are in them.
func (s *scored) error() float64 {
	e := 0.0
	for _, b := range s.bins {
		e += math.Abs(b[1] - b[2])
	}
	return e / float64(s.n)
}

func simPolicy() Policy {
	p := DefaultPolicy()
	return p
}

// judgedAt are the confidences of all apprentices and tasks on a date.
func confidences(s *simulated, p Parameters, on day, each func(a, t int, e estimate)) {
	asOf := on.String()
	everybody := resolve(s.records, asOf)
	as := newAssessor(s.catalogue, simPolicy(), p, asOf, Options{})
	for a := range s.people {
		pr := gather(everybody[fmt.Sprintf("a%d", a)])
		k := as.ability(pr)
		for t := range s.catalogue.Tasks {
			each(a, t, as.view(pr, k, s.catalogue.Tasks[t].Task).estimate(0.95, on))
		}
	}
}

func TestSimulationFirst(t *testing.T) {
	s := simulate(simOptions{apprentices: 200, tasks: 6, supervisors: 25, meanJobs: 5.5, seed: 1, world: 1})
	jobs, failed, clean, ready := 0, 0, 0, 0
	for a, p := range s.people {
		for ti, q := range p {
			jobs += len(q.jobs)
			for _, j := range q.jobs {
				if j.failed {
					failed++
				}
				if j.clean {
					clean++
				}
			}
			if s.truth(a, ti, firstDay+simDays) >= 0.95 {
				ready++
			}
		}
	}
	fmt.Println("jobs", jobs, "failed", failed, "clean", clean, "ready at end", ready, "of", len(s.people)*6)
	show := func(name string, s *simulated, p Parameters) {
		var all scored
		for d := 28; d <= simDays; d += 28 {
			confidences(s, p, firstDay+day(d), func(a, ti int, e estimate) {
				all.add(e.confidence, s.truth(a, ti, firstDay+day(d)) >= 0.95)
			})
		}
		fmt.Println(name, "brier", all.brier(), "error", all.error())
		for i, b := range all.bins {
			fmt.Printf("  %d n %.0f said %.3f was %.3f\n", i, b[0], b[1]/b[0], b[2]/b[0])
		}
	}
	other := simulate(simOptions{apprentices: 200, tasks: 6, supervisors: 25, meanJobs: 5.5, seed: 2, world: 1})
	show("default", other, DefaultParameters())
	began := time.Now()
	p, r := Calibrate(s.catalogue, s.records, simPolicy(), func(i, n int, l float64) { fmt.Println(i, n, l) })
	fmt.Println(time.Since(began), r.Before, r.After, r.Evaluations, r.Converged)
	for _, v := range r.Values {
		fmt.Printf("%s %v→%v ", v.Name, v.Prior, v.Estimate)
	}
	fmt.Println(p.Tasks)
	var x, y, xx, yy, xy float64
	for _, v := range p.Supervisors {
		var i int
		fmt.Sscanf(v.Supervisor, "sup%d", &i)
		fmt.Printf("sup%d true %.2f est %.2f se %.2f | sleepy %.2f est %.3f\n", i, s.severity[i], v.Severity, v.SE, s.sleepy[i], v.Unseen)
		x += v.Severity
		y += s.severity[i]
		xx += v.Severity * v.Severity
		yy += s.severity[i] * s.severity[i]
		xy += v.Severity * s.severity[i]
	}
	for _, v := range Severities(s.catalogue, s.records, p) {
		fmt.Print(v, " ")
	}
	n := float64(len(p.Supervisors))
	fmt.Println("correlation", (xy-x*y/n)/math.Sqrt((xx-x*x/n)*(yy-y*y/n)))
	show("calibrated", other, p)
}
