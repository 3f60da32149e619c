package curriculum

import (
	"bytes"
	"cmp"
	"slices"
	"strings"
	"unicode/utf8"
)

// maxProblemsPerFile keeps a hostile file from filling memory with findings.
const maxProblemsPerFile = 1000

// source is one file with the offsets of its lines, to say where a byte stands.
type source struct {
	file  string
	bytes []byte
	lines []int // offset of each line's first byte
}

func newSource(file string, b []byte) *source {
	s := &source{file: file, bytes: b, lines: make([]int, 1, bytes.Count(b, []byte("\n"))+1)}
	for at := 0; ; {
		n := bytes.IndexByte(b[at:], '\n')
		if n < 0 {
			return s
		}
		at += n + 1
		s.lines = append(s.lines, at)
	}
}

// at turns a byte offset into line and column (characters), both from 1.
func (s *source) at(off int) (line, column int) {
	off = max(0, min(off, len(s.bytes)))
	i, found := slices.BinarySearch(s.lines, off)
	if !found {
		i--
	}
	return i + 1, utf8.RuneCount(s.bytes[s.lines[i]:off]) + 1
}

// line is the number of the line a byte stands in.
func (s *source) line(off int) int {
	i, found := slices.BinarySearch(s.lines, max(0, min(off, len(s.bytes))))
	if !found {
		i--
	}
	return i + 1
}

// offset is the inverse of at; it stays inside the file.
func (s *source) offset(line, column int) int {
	if line < 1 {
		return 0
	}
	if line > len(s.lines) {
		return len(s.bytes)
	}
	off := s.lines[line-1]
	for ; column > 1 && off < len(s.bytes) && s.bytes[off] != '\n'; column-- {
		_, n := utf8.DecodeRune(s.bytes[off:])
		off += n
	}
	return off
}

// report gathers the problems of one file.
type report struct {
	src      *source
	problems []Problem
}

func (r *report) put(line, column int, sev Severity, code string, kv []string) {
	if len(r.problems) >= maxProblemsPerFile {
		if len(r.problems) == maxProblemsPerFile {
			r.problems = append(r.problems, Problem{File: r.src.file, Line: 1, Column: 1, Severity: Error,
				Code: "too_many_problems", Args: args("limit", itoa(maxProblemsPerFile))})
		}
		return
	}
	r.problems = append(r.problems, Problem{File: r.src.file, Line: max(1, line), Column: max(1, column), Severity: sev, Code: code, Args: args(kv...)})
}

// errorAt reports an error at a byte offset; kv are names and values of its arguments.
func (r *report) errorAt(off int, code string, kv ...string) {
	r.putAt(off, Error, code, kv)
}

// warnAt reports a warning at a byte offset.
func (r *report) warnAt(off int, code string, kv ...string) {
	r.putAt(off, Warning, code, kv)
}

// putAt finds the place only while there is room for the problem: on a long line that takes time.
func (r *report) putAt(off int, sev Severity, code string, kv []string) {
	line, column := 1, 1
	if len(r.problems) < maxProblemsPerFile {
		line, column = r.src.at(off)
	}
	r.put(line, column, sev, code, kv)
}

func (r *report) errorLine(line, column int, code string, kv ...string) {
	r.put(line, column, Error, code, kv)
}

func (r *report) warnLine(line, column int, code string, kv ...string) {
	r.put(line, column, Warning, code, kv)
}

// args builds the arguments of a problem from names and values; long values are cut, control characters become spaces.
func args(kv ...string) map[string]string {
	m := make(map[string]string, len(kv)/2)
	for i := 0; i+1 < len(kv); i += 2 {
		m[kv[i]] = cut(kv[i+1], 200)
	}
	return m
}

// cut shortens s to at most n characters and makes it one printable line.
func cut(s string, n int) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r < 0x20, r == 0x7f, isBidi(r):
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n]) + "…"
}

func sortProblems(ps []Problem) {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column),
			cmp.Compare(a.Code, b.Code), cmp.Compare(argsKey(a.Args), argsKey(b.Args)))
	})
}

func argsKey(m map[string]string) string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	var b strings.Builder
	for _, k := range keys {
		b.WriteString(k)
		b.WriteByte('=')
		b.WriteString(m[k])
		b.WriteByte('\n')
	}
	return b.String()
}

// maxNearest bounds how many words a slip is compared with.
const maxNearest = 400

// nearest returns the known word that differs from s in the fewest letters, or "" if none is near.
func nearest(s string, known []string) string {
	if utf8.RuneCountInString(s) > 60 || len(known) > maxNearest {
		return ""
	}
	best, at := "", max(2, utf8.RuneCountInString(s)/2)+1
	for _, k := range known {
		if d := distance(strings.ToLower(s), strings.ToLower(k)); d < at {
			best, at = k, d
		}
	}
	return best
}

// distance is the number of letters to add, drop or change to turn a into b (Levenshtein 1966).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		last := row[0]
		row[0] = i + 1
		for j := range y {
			d := last
			if x[i] != y[j] {
				d++
			}
			last = row[j+1]
			row[j+1] = min(d, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(y)]
}
