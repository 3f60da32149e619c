package quiz

import "strings"

// Difficulties is the version of the table below. A change of the table changes which forms are made, and so comes with
// a new [Generator].
const Difficulties = "brakewright-difficulty/1"

// difficulty says how hard a family's questions are: the percentage of apprentices near the pass mark who get one wrong,
// guessing included. The figures are estimates by what a family asks for (to know a word again, a reason, an order, to
// work something out) and by the chance of a lucky guess; they are there so that no form is made of easy families alone.
// What apprentices really do with a question is on the page of questions; a later version of the table can be drawn from
// it. Where a family's items differ, the last word of an item's label stands behind the family.
var difficulty = map[string]int{
	"term": 15, "definition": 15, "point": 15, "name-part": 15,
	"misbelief": 20, "fact": 20,
	"tool-use": 20, "tool-harm": 25, "match-tool-use": 25,
	"hazard-control": 20, "hazard-consequence": 20, "control-hazard": 20,
	"why": 25, "if-skipped": 25, "step-check": 25,
	"vehicle-figure": 20, "vehicle-figure-typed": 30, "lesson-figure": 30, "vehicle-order": 35,
	"fault-cause": 30, "fault-check": 35, "match-cause-check": 35,
	"before": 30, "after": 30, "before-all": 45, "order": 40,
	"judge-measurement": 25, "judge-measurement far-under": 15, "judge-measurement far-over": 15,
	"judge-measurement on-low": 35, "judge-measurement on-high": 35,
	"readings-outside": 45, "find-mistake": 45,
	"arithmetic": 50, "arithmetic-slip": 40,
}

// usualDifficulty is that of a family of which the table says nothing.
const usualDifficulty = 30

// difficultyBound is how far the mean difficulty of a form's questions may lie from what its blueprint asks for, in
// percentage points: two forms of one blueprint and car differ by at most twice that.
const difficultyBound = 2

// hardness is the difficulty of an item.
func hardness(it *item) int {
	words := strings.Fields(it.label)
	if len(words) > 0 {
		if n, ok := difficulty[it.family.info.ID+" "+words[len(words)-1]]; ok {
			return n
		}
	}
	if n, ok := difficulty[it.family.info.ID]; ok {
		return n
	}
	return usualDifficulty
}
