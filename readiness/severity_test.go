package readiness

import (
	"math"
	"testing"
)

// A crossed-random-effects fit by maximum likelihood, another way: each job is so many steps not done unaided out of so
// many, binomial with a logit of practice, difficulty, task, a normal effect of apprentice at task (integrated out on a grid)
// and a normal effect of supervisor (penalised), all fixed effects and both spreads by expectation and maximisation.
type referenceFit struct {
	severity map[string]float64
}

type referenceJob struct {
	supervisor, task int
	helped, of       float64
	practice         float64
	difficulty       int
}

func fitReference(s *simulated) referenceFit {
	supervisors, names := map[string]int{}, []string{}
	difficulties := map[string]int{"usual": 0, "routine": 1, "awkward": 2}
	var cells [][]referenceJob
	for a := range s.people {
		for t, p := range s.people[a] {
			var jobs []referenceJob
			for n, j := range p.jobs {
				i, known := supervisors[j.record.Supervisor]
				if !known {
					i = len(names)
					supervisors[j.record.Supervisor] = i
					names = append(names, j.record.Supervisor)
				}
				r := referenceJob{supervisor: i, task: t, of: float64(len(j.record.Steps)), practice: math.Log(float64(n + 1)), difficulty: difficulties[j.difficulty]}
				for _, st := range j.record.Steps {
					if st.Result != "unaided" {
						r.helped++
					}
				}
				jobs = append(jobs, r)
			}
			if len(jobs) > 0 {
				cells = append(cells, jobs)
			}
		}
	}
	const grid = 25
	sev, task, diff := make([]float64, len(names)), make([]float64, len(s.people[0])), make([]float64, 3)
	level, slope, spread, severe := -2.0, 0.0, 1.0, 0.5
	for range 60 {
		gs, hs := make([]float64, len(sev)), make([]float64, len(sev))
		gt, ht := make([]float64, len(task)), make([]float64, len(task))
		gd, hd := make([]float64, 3), make([]float64, 3)
		gl, hl, gp, hp, square2 := 0.0, 0.0, 0.0, 0.0, 0.0
		for _, jobs := range cells {
			var weights, points [grid]float64
			top := math.Inf(-1)
			for g := range grid {
				x := -4 + 8*float64(g)/(grid-1)
				points[g] = x * spread
				weights[g] = -x * x / 2
				for _, j := range jobs {
					eta := level + slope*j.practice + sev[j.supervisor] + task[j.task] + diff[j.difficulty] + points[g]
					weights[g] += j.helped*eta - j.of*math.Log1p(math.Exp(eta))
				}
				top = max(top, weights[g])
			}
			sum := 0.0
			for g := range weights {
				weights[g] = math.Exp(weights[g] - top)
				sum += weights[g]
			}
			for g := range weights {
				w := weights[g] / sum
				square2 += w * points[g] * points[g]
				for _, j := range jobs {
					p := 1 / (1 + math.Exp(-(level + slope*j.practice + sev[j.supervisor] + task[j.task] + diff[j.difficulty] + points[g])))
					pull, weight := w*(j.helped-j.of*p), w*j.of*p*(1-p)
					gs[j.supervisor] += pull
					hs[j.supervisor] += weight
					gt[j.task] += pull
					ht[j.task] += weight
					gd[j.difficulty] += pull
					hd[j.difficulty] += weight
					gl += pull
					hl += weight
					gp += pull * j.practice
					hp += weight * j.practice * j.practice
				}
			}
		}
		ss := 0.0
		for i := range sev {
			sev[i] += (gs[i] - sev[i]/(severe*severe)) / (hs[i] + 1/(severe*severe))
			ss += sev[i]*sev[i] + 1/(hs[i]+1/(severe*severe))
		}
		for i := range task {
			task[i] += (gt[i] - task[i]) / (ht[i] + 1) / 2
		}
		for i := 1; i < 3; i++ {
			diff[i] += gd[i] / hd[i] / 2
		}
		level += gl / hl / 2
		slope += gp / hp / 2
		spread = math.Sqrt(square2 / float64(len(cells)))
		severe = math.Sqrt(ss / float64(len(sev)))
	}
	f := referenceFit{map[string]float64{}}
	for i, name := range names {
		f.severity[name] = sev[i]
	}
	return f
}

func correlation(a, b []float64) float64 {
	ma, mb := 0.0, 0.0
	for i := range a {
		ma += a[i] / float64(len(a))
		mb += b[i] / float64(len(b))
	}
	ab, aa, bb := 0.0, 0.0, 0.0
	for i := range a {
		ab += (a[i] - ma) * (b[i] - mb)
		aa += (a[i] - ma) * (a[i] - ma)
		bb += (b[i] - mb) * (b[i] - mb)
	}
	return ab / math.Sqrt(aa*bb)
}

// Severities are those of a crossed-random-effects fit by maximum likelihood on the same data, but for a factor.
func TestSeveritiesAgainstReference(t *testing.T) {
	s := simulate(simOptions{apprentices: 60, tasks: 4, supervisors: 20, meanJobs: 5.5, seed: 5, world: 5})
	reference := fitReference(s)
	var ours, theirs []float64
	for _, v := range Severities(s.catalogue, s.records, DefaultParameters()) {
		ours, theirs = append(ours, v.Severity), append(theirs, reference.severity[v.Supervisor])
	}
	if r := correlation(ours, theirs); r < 0.98 {
		t.Errorf("correlation %.3f\n%v\n%v", r, ours, theirs)
	} else {
		t.Logf("correlation %.3f over %d supervisors", r, len(ours))
	}
}
