package readiness

import (
	"slices"
	"testing"
)

// A higher confidence declares fewer, and of those truly ready holds back more; the same inputs give the same numbers.
func TestTradeOffs(t *testing.T) {
	c, _ := twoHundred()
	all := TradeOffs(c, DefaultPolicy(), DefaultParameters(), "bleed")
	for i, o := range all {
		if i > 0 && (o.Declared > all[i-1].Declared || o.Held < all[i-1].Held || o.Confidence <= all[i-1].Confidence) {
			t.Errorf("%+v\nthen\n%+v", all[i-1], o)
		}
		t.Logf("%+v", o)
	}
	if !slices.Equal(all, TradeOffs(c, DefaultPolicy(), DefaultParameters(), "bleed")) {
		t.Error("not the same again")
	}
	if first, last := all[0], all[len(all)-1]; first.Wrong <= last.Wrong {
		t.Errorf("the surest is wrong as often: %+v, %+v", first, last)
	}
}

func BenchmarkTradeOffs(b *testing.B) {
	c, _ := twoHundred()
	for b.Loop() {
		TradeOffs(c, DefaultPolicy(), DefaultParameters(), "bleed")
	}
}
