package quiz_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"

	"brakewright/quiz"
)

// perRun is how long one run of f takes, on average over a tenth of a second: whatever else the machine does slows it as
// it slows what it is compared with.
func perRun(f func()) float64 {
	start, runs := time.Now(), 0
	for time.Since(start) < 100*time.Millisecond {
		f()
		runs++
	}
	return float64(time.Since(start)) / float64(runs)
}

// A form of 20 questions from pools that are built already. The floor, in the same run, is what nobody can leave out: to
// write the form's bytes. "floors" is how many times that it takes.
func BenchmarkForm(b *testing.B) {
	p := mustLoad(b, "../curriculum/brakes")
	for _, row := range []struct {
		name string
		r    quiz.Request
	}{
		{"blueprint", quiz.Request{Blueprint: "bleed-theory"}},
		{"lesson", quiz.Request{Lessons: []string{"caliper-replace"}, Questions: 20}},
		{"programme", quiz.Request{Questions: 20}},
	} {
		b.Run(row.name, func(b *testing.B) {
			f := mustGenerate(b, p, row.r, quiz.Draw{Vehicle: "trainer-a"})
			if len(f.Questions) != 20 {
				b.Fatalf("%d questions", len(f.Questions))
			}
			floor := perRun(func() { f.JSON() })
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				mustGenerate(b, p, row.r, quiz.Draw{Seed: uint64(i), Vehicle: "trainer-a"})
			}
			b.ReportMetric(float64(b.Elapsed())/float64(b.N)/floor, "floors")
		})
	}
}

// The pool of one lesson for one car: a programme without an edition is never cached. "parses" is how many times goldmark,
// in the same run, parses the same lesson and writes it as HTML in that time.
func BenchmarkBuildPools(b *testing.B) {
	loaded := mustLoad(b, "../curriculum/brakes")
	p := *loaded
	p.Edition = ""
	md := goldmark.New(goldmark.WithExtensions(extension.Table, extension.DefinitionList), goldmark.WithParserOptions(parser.WithAttribute()))
	for _, lesson := range []string{"drums", "bleed-two-person", "caliper-replace"} {
		b.Run(lesson, func(b *testing.B) {
			var source []byte
			for _, f := range p.Files {
				if f.Path == "lessons/"+lesson+".md" {
					source = f.Bytes
				}
			}
			if source == nil {
				b.Fatal("no such lesson")
			}
			parse := perRun(func() {
				var out bytes.Buffer
				if err := md.Convert(source, &out); err != nil {
					b.Fatal(err)
				}
			})
			b.ReportAllocs()
			for b.Loop() {
				mustGenerate(b, &p, quiz.Request{Lessons: []string{lesson}, Questions: 1}, quiz.Draw{Vehicle: "trainer-a"})
			}
			b.ReportMetric(float64(b.Elapsed())/float64(b.N)/parse, "parses")
		})
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
