package quiz_test

import (
	"testing"

	"brakewright/quiz"
)

// Practice goes on with the next number: it shares at most a tenth with the last, for whole lessons and for one family
// alone, wherever the lesson yields enough: twice what is asked, of one family four times, for many of its questions
// cannot stand side by side.
func TestNeighboursDiffer(t *testing.T) {
	for name, p := range programmes(t) {
		for _, row := range quiz.Yield(p) {
			requests := []quiz.Request{{Lessons: []string{row.Lesson}, Questions: min(20, row.Questions/2)}}
			for _, f := range quiz.Families() {
				if n := row.Families[f.ID] / 4; n > 0 {
					requests = append(requests, quiz.Request{Lessons: []string{row.Lesson}, Families: []string{f.ID}, Questions: min(4, n)})
				}
			}
			for _, r := range requests {
				for seed := range soak(30) {
					last := mustGenerate(t, p, r, quiz.Draw{Seed: uint64(seed), Number: 1, Vehicle: row.Vehicle})
					for number := 2; number <= 4; number++ {
						f := mustGenerate(t, p, r, quiz.Draw{Seed: uint64(seed), Number: number, Vehicle: row.Vehicle})
						shared := 0
						for _, q := range f.Questions {
							if last.Question(q.ID) != nil {
								shared++
							}
						}
						if shared*10 > len(f.Questions) {
							t.Errorf("%s %s %q %v seed %d: numbers %d and %d share %d of %d", name, row.Lesson, row.Vehicle, r.Families, seed, number-1, number, shared, len(f.Questions))
						}
						last = f
					}
				}
			}
		}
	}
}
