package acts

import (
	"fmt"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"brakewright/curriculum"
	"brakewright/store"
)

// soak says whether the full counts are asked for.
func soak() bool { return os.Getenv("BRAKEWRIGHT_SOAK") == "1" }

func padsSheet(t testing.TB, p *curriculum.Programme) *JobSheet {
	sh, err := newSheet(p, &store.Job{ID: "j", Task: "pads", Vehicle: "wagon", Supervisor: "s"})
	if err != nil {
		t.Fatal(err)
	}
	return sh
}

// state is what a sheet says, for comparing.
func state(sh *JobSheet) string {
	s := fmt.Sprint(sh.Outcome, sh.Difficulty, sh.NearMiss, sh.Notes, sh.Open, sh.Missing)
	sh.steps(func(st *SheetStep) {
		s += fmt.Sprint("\n", st.Key, st.Result, st.CriticalError, st.WhatHappened, st.Bulk, st.Hold, st.HoldReason, len(st.holds))
	})
	return s
}

func foldOf(t testing.TB, p *curriculum.Programme, taps []store.Tap) *JobSheet {
	sh := padsSheet(t, p)
	sh.fold(taps)
	return sh
}

// drawTaps draws taps as a page would send them; ids are numbers, and some come twice.
func drawTaps(r *rapid.T, keys []string) []store.Tap {
	var taps []store.Tap
	n := rapid.IntRange(0, 25).Draw(r, "n")
	for i := range n {
		t := store.Tap{ID: fmt.Sprint(i), By: rapid.SampledFrom([]string{"s", "s2"}).Draw(r, "by"), At: int64(i)}
		switch rapid.IntRange(0, 6).Draw(r, "kind") {
		case 0, 1:
			t.Step, t.Result = rapid.SampledFrom(keys).Draw(r, "step"), rapid.SampledFrom(results).Draw(r, "result")
		case 2:
			t.Step, t.Hold = "pads/pump", rapid.SampledFrom([]string{accepted, sentBack}).Draw(r, "hold")
		case 3:
			t.Result, t.Bulk = unaided, true
		case 4:
			t.Outcome = rapid.SampledFrom(outcomes).Draw(r, "outcome")
		case 5:
			if i > 0 {
				t.Undo = fmt.Sprint(rapid.IntRange(0, i-1).Draw(r, "undo"))
			} else {
				t.Note = "n"
			}
		case 6:
			t.Note = fmt.Sprint("note ", i)
		}
		taps = append(taps, t)
	}
	return taps
}

func TestFoldProperties(t *testing.T) {
	p := mustLoad(t, smallWith(t))
	keys := keysOf(padsSheet(t, p))
	rapid.Check(t, func(r *rapid.T) {
		taps := drawTaps(r, keys)
		want := state(foldOf(t, p, taps))

		// A tap sent again changes nothing.
		twice := slices.Clone(taps)
		for range rapid.IntRange(0, 5).Draw(r, "again") {
			if len(taps) > 0 {
				twice = append(twice, taps[rapid.IntRange(0, len(taps)-1).Draw(r, "which")])
			}
		}
		if got := state(foldOf(t, p, twice)); got != want {
			r.Fatalf("sent again:\n%s\nwant\n%s", got, want)
		}

		// A tap that is undone at once was never made.
		extra := store.Tap{ID: "x", By: "s", Step: rapid.SampledFrom(keys).Draw(r, "extra"), Result: "prompted"}
		undone := append(slices.Clone(taps), extra, store.Tap{ID: "y", By: "s", Undo: "x"})
		if got := state(foldOf(t, p, undone)); got != want {
			r.Fatalf("undone:\n%s\nwant\n%s", got, want)
		}

		// The rest never takes a critical step or a hold point, nor what has a tap of its own.
		sh := foldOf(t, p, append(slices.Clone(taps), store.Tap{ID: "z", By: "s", Result: unaided, Bulk: true}))
		before := foldOf(t, p, taps)
		sh.steps(func(st *SheetStep) {
			was := before.step(st.Key)
			if st.Bulk && (st.Critical || st.HoldPoint) {
				r.Fatalf("bulk at %s", st.Key)
			}
			if was.Result != "" && st.Result != was.Result {
				r.Fatalf("the rest changed %s from %s to %s", st.Key, was.Result, st.Result)
			}
			if !st.Critical && !st.HoldPoint && st.Result == "" {
				r.Fatalf("the rest left out %s", st.Key)
			}
		})
	})
}

// FuzzReading: whatever is typed is refused, or is a decimal that the curriculum judges.
func FuzzReading(f *testing.F) {
	for _, s := range []string{"22.5", "22,5", "-0.35", "+1", "−2", "1,234", "1.234", "1.2.3", "", " 7 ", "9999999999", "0x10", "1e5", "٣", "½"} {
		f.Add(s, "mm")
	}
	f.Add("1", "")
	f.Add("1", "bar")
	sh := padsSheet(f, mustLoad(f, smallWith(f)))
	st := sh.step("pads/rotor@LF")
	f.Fuzz(func(t *testing.T, value, unit string) {
		r, err := new(Service).checkReading(st, store.TapReading{Measure: 1, Value: value, Unit: unit})
		if err != nil {
			if _, ok := AsRefusal(err); !ok {
				t.Fatalf("%q %q: %v", value, unit, err)
			}
			return
		}
		if _, ok := curriculum.Decimal(r.Value); !ok {
			t.Fatalf("%q became %q, which is no decimal", value, r.Value)
		}
		if _, err := st.Measures[0].figure.Judge(curriculum.Quantity{Value: r.Value, Unit: curriculum.Unit(r.Unit)}); err != nil {
			t.Fatalf("%q %q: %v", r.Value, r.Unit, err)
		}
	})
}

// FuzzCode: a code is taken however it is typed.
func FuzzCode(f *testing.F) {
	f.Add("7K2M-49XQ-3TBN")
	f.Add("7k2m 49xq 3tbn")
	f.Add("")
	f.Fuzz(func(t *testing.T, code string) {
		if codeHash("p", code) != codeHash("p", " "+code+"-") {
			t.Fatalf("%q: a dash or a space makes another code", code)
		}
		if code != "" && codeHash("p", code) == codeHash("q", code) {
			t.Fatalf("%q: the code of one is the code of another", code)
		}
	})
}

func TestNewCode(t *testing.T) {
	seen := map[string]bool{}
	n := 1000
	if soak() {
		n = 10_000
	}
	for range n {
		c, err := newCode()
		if err != nil {
			t.Fatal(err)
		}
		if seen[c] || len(c) != 14 {
			t.Fatalf("got %q", c)
		}
		seen[c] = true
	}
}
