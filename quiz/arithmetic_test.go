package quiz_test

import (
	"strings"
	"testing"

	"brakewright/quiz"
)

// overload is a sum whose slip falls below zero while its answer does not.
const overload = `---
id: load
title: Load
language: en
tasks: [lift]
---

# Load

## Arithmetic

` + "```sum" + `
id: reserve
ask: How much more could the pair bear?
given:
  r: {what: rated load, unit: kg, values: [2000]}
  m: {what: mass of the car, unit: kg, values: [2100]}
find: r - m / 2
unit: kg
rounding: 1
tolerance: 2
slips:
  - {formula: r - m, means: the whole mass was put on one axle}
  - {formula: 2 * r - m / 2, means: the rating was doubled}
` + "```\n"

// TestSlipOfTheOtherSign: a figure below zero beside others above it gives itself away, so it is no option.
func TestSlipOfTheOtherSign(t *testing.T) {
	p := mustBuild(t, map[string]string{
		"programme.yaml":  "title: Lifting\nlanguages: [en]\nunits: si\ntasks:\n  - {id: lift, title: Lift, lessons: [load]}\n",
		"lessons/load.md": overload,
	})
	asked := 0
	for seed := range uint64(200) {
		f, err := quiz.Generate(p, quiz.Request{Families: []string{"arithmetic-slip"}}, quiz.Draw{Seed: seed, Number: 1, Language: "en"})
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range f.Questions {
			asked++
			for _, o := range q.Options {
				if strings.HasPrefix(o.Text, "-") || strings.HasPrefix(o.Text, "−") {
					t.Fatalf("seed %d: option %q (%s)", seed, o.Text, o.Element)
				}
			}
		}
	}
	if asked == 0 {
		t.Fatal("the sum is never asked")
	}
}
