package quiz_test

import (
	"testing"

	"brakewright/quiz"
)

// A form of 20 questions from pools that are built already.
func BenchmarkGenerate(b *testing.B) {
	p := mustLoad(b, "../curriculum/brakes")
	r := quiz.Request{Questions: 20}
	mustGenerate(b, p, r, quiz.Draw{Vehicle: "trainer-a"})
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		mustGenerate(b, p, r, quiz.Draw{Seed: uint64(i), Vehicle: "trainer-a"})
	}
}

// All pools of one car: a programme without an edition is never cached.
func BenchmarkBuildPools(b *testing.B) {
	p := *mustLoad(b, "../curriculum/brakes")
	p.Edition = ""
	b.ReportAllocs()
	for b.Loop() {
		mustGenerate(b, &p, quiz.Request{Questions: 1}, quiz.Draw{Vehicle: "trainer-a"})
	}
}

func BenchmarkMark(b *testing.B) {
	p := mustLoad(b, "../curriculum/brakes")
	f := mustGenerate(b, p, quiz.Request{Questions: 20}, quiz.Draw{Vehicle: "trainer-a"})
	a := &quiz.Answers{Answers: map[string]quiz.Answer{}}
	for _, q := range f.Questions {
		a.Answers[q.ID] = right(q)
	}
	b.ReportAllocs()
	for b.Loop() {
		quiz.Mark(f, a, "en")
	}
}
