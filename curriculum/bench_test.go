package curriculum

import (
	"io"
	"os"
	"strings"
	"testing"
)

// exampleFiles are the Markdown files of the example with their front matter taken off.
func exampleFiles(b *testing.B) [][]byte {
	b.Helper()
	p, problems := Load(os.DirFS("../testdata/format"))
	if p == nil {
		b.Fatal(shows(problems))
	}
	var out [][]byte
	for _, f := range p.Files {
		if strings.HasSuffix(f.Path, ".md") {
			_, body, _ := splitFrontMatter(f.Bytes)
			out = append(out, body)
		}
	}
	return out
}

// BenchmarkLoad reads, checks and hashes the whole example. Its time over that of BenchmarkPlainMarkdown in the same run
// says what our structure costs.
func BenchmarkLoad(b *testing.B) {
	fsys := os.DirFS("../testdata/format")
	for b.Loop() {
		if p, problems := Load(fsys); p == nil {
			b.Fatal(shows(problems))
		}
	}
}

// BenchmarkLoadAndRender also renders each lesson once.
func BenchmarkLoadAndRender(b *testing.B) {
	fsys := os.DirFS("../testdata/format")
	for b.Loop() {
		p, problems := Load(fsys)
		if p == nil {
			b.Fatal(shows(problems))
		}
		for _, l := range p.Lessons {
			l.HTML(p.Vehicles[0], "si", pictureAt)
		}
	}
}

// BenchmarkPlainMarkdown parses and renders the same files with goldmark alone.
func BenchmarkPlainMarkdown(b *testing.B) {
	files := exampleFiles(b)
	for b.Loop() {
		for _, f := range files {
			if err := plainMarkdown.Convert(f, io.Discard); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// BenchmarkPage renders one lesson for a car.
func BenchmarkPage(b *testing.B) {
	p := exampleProgramme(b)
	l, v := p.Lesson("repack-hubs", "en"), p.Vehicle("tipper")
	for b.Loop() {
		l.HTML(v, "us", pictureAt)
	}
}

// BenchmarkSheet lays one procedure out for a car.
func BenchmarkSheet(b *testing.B) {
	p := exampleProgramme(b)
	l, v := p.Lesson("repack-hubs", "en"), p.Vehicle("tipper")
	for b.Loop() {
		l.Sheet(v)
	}
}

// BenchmarkLint works all sums out too.
func BenchmarkLint(b *testing.B) {
	fsys := os.DirFS("../testdata/format")
	for b.Loop() {
		Lint(fsys)
	}
}
