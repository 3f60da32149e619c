package quiz

import (
	"strings"
	"testing"

	"brakewright/curriculum"
)

// Every reading that is made lies where its case says, and none is nothing at all, unless things are counted.
func TestReadingsAreReadings(t *testing.T) {
	for _, f := range []curriculum.Figure{
		{Value: "0.1", Limit: curriculum.Maximum, Unit: "mm"},
		{Value: "0.03", Limit: curriculum.Maximum, Unit: "mm"},
		{Value: "1", Limit: curriculum.Maximum, Unit: "day"},
		{Value: "2", Limit: curriculum.Minimum, Unit: "s"},
		{Value: "1", Limit: curriculum.Minimum, Unit: "mm"},
		{Value: "0.1", High: "0.3", Limit: curriculum.Range, Unit: "mm"},
		{Value: "0", High: "2", Limit: curriculum.Range, Unit: "mm"},
		{Value: "8", Limit: curriculum.Minimum},
		{Value: "1", Limit: curriculum.Minimum},
		{Value: "3", Limit: curriculum.Maximum},
	} {
		g, ok := newGauge(f, "one", "figures/1")
		if !ok {
			t.Errorf("%s %s is no gauge", f.Limit, f)
			continue
		}
		for _, at := range g.cases() {
			for i := range 200 {
				n, ok := g.reading(at, keyOf("test", at, string(rune(i))).draws())
				if !ok {
					continue
				}
				if n < g.least() && f.Value != "0" {
					t.Fatalf("%s %s, %s: read %s", f.Limit, f, at, g.write(n))
				}
				want := curriculum.Within
				switch {
				case strings.HasSuffix(at, "under"):
					want = curriculum.Below
				case strings.HasSuffix(at, "over"):
					want = curriculum.Above
				}
				if got := g.judge(n); got != want {
					t.Fatalf("%s %s, %s: %s is %s", f.Limit, f, at, g.write(n), got)
				}
			}
		}
	}
}
