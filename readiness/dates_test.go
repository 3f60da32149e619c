package readiness

import (
	"testing"
	"time"
)

func TestDays(t *testing.T) {
	at := time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
	for n := toDay("0001-01-01"); at.Year() < 10000; n, at = n+97, at.AddDate(0, 0, 97) {
		text := at.Format(time.DateOnly)
		if n.String() != text || toDay(text) != n {
			t.Fatalf("%s: String %s, toDay %d, want %d", text, n, toDay(text), n)
		}
	}
	if toDay("1970-01-01") != 0 {
		t.Error("1970-01-01 is not day 0")
	}
	if s := (day(2932896) + 1).String(); s != "9999-12-31" {
		t.Errorf("after the last day: %s", s)
	}
}

func TestValidDate(t *testing.T) {
	for s, want := range map[string]bool{
		"2026-01-31": true, "2024-02-29": true, "2000-02-29": true, "9999-12-31": true, "0001-01-01": true,
		"": false, "2026-1-31": false, "2026-01-32": false, "2026-02-29": false, "1900-02-29": false, "2026-13-01": false,
		"2026-00-01": false, "2026-01-00": false, "0000-01-01": false, "2026/01/01": false, "2026-01-01T": false,
		"+026-01-01": false, " 2026-01-01": false, "２026-01-0": false, "2026-04-31": false,
	} {
		if got := ValidDate(s); got != want {
			t.Errorf("%q: got %v, want %v", s, got, want)
		}
	}
}

// lastDay is the last day whose idle time is still within the number.
func TestLastDay(t *testing.T) {
	p := &person{leaves: merge([]span{{10, 14}, {12, 20}, {21, 22}, {40, 45}})}
	if len(p.leaves) != 2 {
		t.Fatalf("merged: %v", p.leaves)
	}
	for from := day(0); from < 60; from++ {
		for n := range 70 {
			want := from
			for d := from; p.idle(from, d) <= n; d++ {
				want = d
			}
			if got := p.lastDay(from, n); got != want {
				t.Fatalf("from %d, %d days: got %d, want %d", from, n, got, want)
			}
		}
	}
}
