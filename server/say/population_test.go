package say

import (
	"testing"

	"brakewright/readiness"
)

func TestEveryPopulationValueHasWords(t *testing.T) {
	values := readiness.DefaultParameters().Population.Values()
	for _, v := range values {
		if _, known := populationWords[v.Name]; !known {
			t.Errorf("%s has no words", v.Name)
		}
	}
	if len(values) != len(populationWords) {
		t.Errorf("%d values, %d words", len(values), len(populationWords))
	}
}
