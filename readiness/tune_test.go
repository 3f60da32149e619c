package readiness

import (
	"fmt"
	"testing"
)

func tuneCatalogue(n, crit int) *Catalogue {
	c := &Catalogue{Tasks: []CatalogueTask{{Task: "t"}}}
	for i := range n {
		c.Tasks[0].Steps = append(c.Tasks[0].Steps, CatalogueStep{Step: fmt.Sprint("s", i), Critical: i < crit})
	}
	return c
}

func TestTune(t *testing.T) {
	for _, shape := range [][2]int{{12, 5}, {8, 3}, {4, 2}, {20, 8}, {0, 0}} {
		c := tuneCatalogue(shape[0], shape[1])
		fmt.Println(shape)
		m := newModel(DefaultParameters())
		tm := m.task(c.facts("t"), DefaultPolicy().JobMix)
		e := &evidence{}
		g := m.generalFrom([]*taskModel{tm}, [][]float64{nil}, -1)
		for n := 0; n <= 16; n++ {
			d := tm.density(g, tm.likelihood(e))
			on := day(n * 7)
			fmt.Print(n, " ")
			for _, target := range []float64{.8, .95, .97} {
				r := tm.judge(d, m.deficit(e.practice, on), target)
				fmt.Printf("  %.2f: %.3f [%.3f %.3f] %.3f ", target, r.mean, r.low, r.high, r.confidence)
			}
			fmt.Println(" missing", m.deficit(e.practice, on))
			e = e.with(tm.cleanJob(on))
		}
	}
}
