package curriculum

import (
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"
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

// BenchmarkLoadRatio loads folders and, turn by turn, gives the same Markdown to goldmark alone; it reports the one time over the
// other. The bound is 2.
func BenchmarkLoadRatio(b *testing.B) {
	for _, dir := range []string{"../testdata/format", "brakes"} {
		b.Run(filepath.Base(dir), func(b *testing.B) {
			fsys := fstest.MapFS{}
			p, problems := Load(os.DirFS(dir))
			if p == nil {
				b.Fatal(shows(problems))
			}
			var markdown [][]byte
			for _, f := range p.Files {
				fsys[f.Path] = &fstest.MapFile{Data: f.Bytes}
				if strings.HasSuffix(f.Path, ".md") {
					markdown = append(markdown, f.Bytes)
				}
			}
			var ours, plain time.Duration
			for b.Loop() {
				start := time.Now()
				if p, problems := Load(fsys); p == nil {
					b.Fatal(shows(problems))
				}
				between := time.Now()
				for _, f := range markdown {
					if err := plainMarkdown.Convert(f, io.Discard); err != nil {
						b.Fatal(err)
					}
				}
				ours, plain = ours+between.Sub(start), plain+time.Since(between)
			}
			b.ReportMetric(float64(ours)/float64(plain), "x-goldmark")
		})
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

// manyLessons is the example with its second lesson n times over, each under an id of its own, in one language.
func manyLessons(n int) fstest.MapFS {
	fsys := fstest.MapFS{}
	root := os.DirFS("../testdata/format")
	for _, path := range []string{"vehicles/flatbed.md", "vehicles/tipper.md", "pictures/hub.svg"} {
		b, err := fs.ReadFile(root, path)
		if err != nil {
			panic(err)
		}
		fsys[path] = &fstest.MapFile{Data: b}
	}
	lesson, err := fs.ReadFile(root, "lessons/repack-hubs.md")
	if err != nil {
		panic(err)
	}
	text := strings.Replace(string(lesson), "prerequisites: [make-safe]\n", "", 1)
	var ids []string
	for i := range n {
		id := "repack-" + strconv.Itoa(i)
		ids = append(ids, id)
		fsys["lessons/"+id+".md"] = &fstest.MapFile{Data: []byte(strings.Replace(text, "id: repack-hubs\n", "id: "+id+"\n", 1))}
	}
	fsys["programme.yaml"] = &fstest.MapFile{Data: []byte("title: Many\nlanguages: [en]\nunits: si\ntasks:\n  - {id: repack-hubs, title: Repack, lessons: [" +
		strings.Join(ids, ", ") + "], prerequisites: []}\npolicy: {}\nblueprints: []\n")}
	return fsys
}

// BenchmarkLoadMany loads 125, 250 and 500 lessons: time and memory per lesson stay the same.
func BenchmarkLoadMany(b *testing.B) {
	for _, n := range []int{125, 250, 500} {
		fsys := manyLessons(n)
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if p, problems := Load(fsys); p == nil {
					b.Fatal(shows(problems))
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/lesson")
		})
	}
}

// TestMemoryIsLinear: four times the lessons take about four times the memory to load.
func TestMemoryIsLinear(t *testing.T) {
	allocated := func(n int) float64 {
		fsys := manyLessons(n)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if p, problems := Load(fsys); p == nil {
			t.Fatal(shows(problems))
		}
		runtime.ReadMemStats(&after)
		return float64(after.TotalAlloc - before.TotalAlloc)
	}
	allocated(10) // what is made once
	if small, large := allocated(40), allocated(160); large > 5*small {
		t.Errorf("40 lessons took %.1f MB, 160 took %.1f MB", small/1e6, large/1e6)
	}
}
