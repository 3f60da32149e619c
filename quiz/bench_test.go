package quiz_test

import (
	"io"
	"slices"
	"testing"
	"time"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/parser"

	"brakewright/curriculum"
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

// The pool of one lesson for one car, for each lesson of the default programme and one of another trade: a programme without an edition is
// never cached. "parses" is how many times goldmark parses the same lesson and writes it as HTML in that time; the two take turns. The bound is 20.
func BenchmarkBuildPools(b *testing.B) {
	md := goldmark.New(goldmark.WithExtensions(extension.Table, extension.DefinitionList), goldmark.WithParserOptions(parser.WithAttribute()))
	for _, folder := range []string{"../curriculum/brakes", "../testdata/trades/bicycle"} {
		p := *mustLoad(b, folder)
		p.Edition = ""
		d := quiz.Draw{}
		if len(p.Vehicles) > 0 {
			d.Vehicle = p.Vehicles[0].ID
		}
		for _, l := range p.Lessons {
			b.Run(l.ID, func(b *testing.B) {
				at := slices.IndexFunc(p.Files, func(f curriculum.File) bool { return f.Path == l.File })
				if at < 0 {
					b.Fatal("no such file")
				}
				source := p.Files[at].Bytes
				var ours, plain time.Duration
				b.ReportAllocs()
				for b.Loop() {
					start := time.Now()
					mustGenerate(b, &p, quiz.Request{Lessons: []string{l.ID}, Questions: 1}, d)
					between := time.Now()
					for range parsesATurn {
						if err := md.Convert(source, io.Discard); err != nil {
							b.Fatal(err)
						}
					}
					ours, plain = ours+between.Sub(start), plain+time.Since(between)
				}
				b.ReportMetric(float64(ours)*parsesATurn/float64(plain), "parses")
			})
		}
	}
}

// parsesATurn is how often the lesson is parsed for each pool that is built.
const parsesATurn = 10

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
