package curriculum

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/yuin/goldmark/util"
)

// Bounds on a folder. A programme of ordinary size is a hundredth of them.
const (
	maxFileBytes  = 4 << 20 // a drawing
	maxTextBytes  = 1 << 20 // a lesson, a sheet, programme.yaml
	maxTotalBytes = 32 << 20
	maxFiles      = 2000
	maxLineBytes  = 64 << 10
	maxBlockBytes = 96 << 10 // lines without a blank line between: parsers of Markdown look back in them
	maxNesting    = 24       // containers of Markdown in one line: lists and quotations inside one another
)

const programmeFile = "programme.yaml"

var programmeFolders = []string{"lessons", "pictures", "vehicles"}

// hexSHA256 is the edition of bytes.
func hexSHA256(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// EditionOf is the edition of one file: SHA-256 (hex) of its bytes after CRLF→LF.
func EditionOf(b []byte) string { return hexSHA256(bytes.ReplaceAll(b, []byte("\r\n"), []byte("\n"))) }

// programmeEdition names the whole folder by its files, which are sorted by path.
func programmeEdition(files []File) string {
	var b strings.Builder
	for _, f := range files {
		b.WriteString(f.Edition + "  " + f.Path + "\n")
	}
	return hexSHA256([]byte(b.String()))
}

// readFolder reads the files that make up a programme: programme.yaml and the *.md, *.svg of lessons, vehicles and
// pictures with one level of language folders. Only regular files count: what is named like
// one and is none (a symbolic link, a pipe) is left out with a warning; everything else is ignored.
func readFolder(fsys fs.FS) (files []File, problems []Problem) {
	bad := func(file, code string, kv ...string) {
		problems = append(problems, Problem{File: file, Line: 1, Column: 1, Severity: Error, Code: code, Args: args(kv...)})
	}
	odd := func(file string) {
		problems = append(problems, Problem{File: file, Line: 1, Column: 1, Severity: Warning, Code: "not_plain_file", Args: args()})
	}
	var paths []string
	root, err := fs.ReadDir(fsys, ".")
	if err != nil {
		bad(programmeFile, "folder_unreadable", "error", plainError(err))
		return nil, problems
	}
	for _, e := range root {
		switch {
		case e.Name() == programmeFile && e.Type().IsRegular():
			paths = append(paths, programmeFile)
		case e.IsDir() && slices.Contains(programmeFolders, e.Name()):
			paths = append(paths, listFolder(fsys, e.Name(), true, bad, odd)...)
		case e.Name() == programmeFile || slices.Contains(programmeFolders, e.Name()) && !e.Type().IsRegular():
			odd(e.Name())
		}
	}
	slices.Sort(paths)
	if len(paths) > maxFiles {
		bad(programmeFile, "too_many_files", "count", itoa(len(paths)), "limit", itoa(maxFiles))
		return nil, problems
	}
	folded := map[string]string{}
	for _, p := range paths { // on many machines one file would take the other's place
		if other, twice := folded[strings.ToLower(p)]; twice {
			bad(p, "same_but_for_case", "other", other)
			continue
		}
		folded[strings.ToLower(p)] = p
	}
	total := 0
	for _, p := range paths {
		b, err := readCapped(fsys, p)
		switch {
		case errors.Is(err, errTooLarge):
			bad(p, "file_too_large", "limit", itoa(sizeLimit(p)>>20))
			continue
		case err != nil:
			bad(p, "file_unreadable", "error", plainError(err))
			continue
		}
		if total += len(b); total > maxTotalBytes {
			bad(p, "folder_too_large", "limit", itoa(maxTotalBytes>>20))
			return nil, problems
		}
		if bytes.Contains(b, []byte("\r\n")) {
			b = bytes.ReplaceAll(b, []byte("\r\n"), []byte("\n"))
		}
		files = append(files, File{Path: p, Edition: hexSHA256(b), Bytes: b})
	}
	return files, problems
}

func listFolder(fsys fs.FS, dir string, languages bool, bad func(string, string, ...string), odd func(string)) (paths []string) {
	entries, err := fs.ReadDir(fsys, dir)
	if err != nil {
		bad(dir, "file_unreadable", "error", plainError(err))
		return nil
	}
	for _, e := range entries {
		name := path.Join(dir, e.Name())
		switch {
		case e.IsDir() && languages && isLanguage(e.Name()):
			paths = append(paths, listFolder(fsys, name, false, bad, odd)...)
		case !strings.HasSuffix(name, ".md") && !strings.HasSuffix(name, ".svg") || !fs.ValidPath(name) || e.IsDir():
		case e.Type().IsRegular():
			paths = append(paths, name)
		default:
			odd(name)
		}
	}
	return paths
}

// sizeLimit is how many bytes a file may have.
func sizeLimit(name string) int {
	if strings.HasSuffix(name, ".svg") {
		return maxFileBytes
	}
	return maxTextBytes
}

var errTooLarge = errors.New("file too large")

func readCapped(fsys fs.FS, name string) ([]byte, error) {
	f, err := fsys.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	} else if !info.Mode().IsRegular() {
		return nil, fs.ErrInvalid
	} else if info.Size() > int64(sizeLimit(name)) {
		return nil, errTooLarge
	}
	b := bytes.NewBuffer(make([]byte, 0, int(info.Size())+bytes.MinRead)) // Grow would double it
	if _, err := b.ReadFrom(io.LimitReader(f, int64(sizeLimit(name))+1)); err != nil {
		return nil, err
	}
	if b.Len() > sizeLimit(name) { // the file may still grow: the limit is asked of what was read
		return nil, errTooLarge
	}
	return b.Bytes(), nil
}

// plainError leaves paths of the machine out of what an author reads.
func plainError(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

// isLanguage says whether s looks like a language tag: "en", "es", "pt-BR".
func isLanguage(s string) bool {
	if len(s) < 2 || len(s) > 16 {
		return false
	}
	first, _, _ := strings.Cut(s, "-")
	if len(first) < 2 || len(first) > 3 {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' && i >= len(first) || c >= '0' && c <= '9' && i >= len(first) || c == '-') {
			return false
		}
	}
	return !strings.HasSuffix(s, "-")
}

// isBidi says whether r changes the direction of the text around it, so that source reads otherwise than it is.
func isBidi(r rune) bool {
	return r == 0x061C || r == 0x200E || r == 0x200F || r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x2069
}

// checkCharacters reports bytes that no file of a programme may hold. A few of them are blanked in what is read from here on, so that
// what else is wrong is said too; false where the file is of another kind altogether and is read no further.
func checkCharacters(r *report) bool {
	if bytes.HasPrefix(r.src.bytes, []byte("\uFEFF")) {
		r.errorAt(0, "byte_order_mark")
		r.src = newSource(r.src.file, r.src.bytes[3:])
	}
	b, ok := r.src.bytes, true
	said := map[string]bool{}
	once := func(off int, code string, kv ...string) {
		ok = false
		if !said[code] {
			said[code] = true
			r.errorAt(off, code, kv...)
		}
	}
	clean := b
	blank := func(at, n int, with string) {
		if &clean[0] == &b[0] {
			clean = bytes.Clone(b)
		}
		copy(clean[at:at+n], strings.Repeat(with, n))
	}
	badLine := 0 // the last on which bytes that are no UTF-8 were spoken of
	oldMac := bytes.Count(b, []byte("\r")) > bytes.Count(b, []byte("\n"))
	for i := 0; i < len(b); {
		c := b[i]
		if c < utf8.RuneSelf {
			switch {
			case c == 0:
				once(i, "nul_byte")
			case c == '\r' && oldMac:
				once(i, "lone_cr")
			case c == '\r':
				r.errorAt(i, "lone_cr")
				blank(i, 1, " ")
			}
			i++
			continue
		}
		c2, n := utf8.DecodeRune(b[i:])
		switch {
		case c2 == utf8.RuneError && n == 1:
			if line := r.src.line(i); line != badLine {
				badLine = line
				r.errorAt(i, "bad_utf8")
			}
			blank(i, 1, "?")
		case isBidi(c2):
			r.errorAt(i, "bidi_control", "character", codePoint(c2))
			blank(i, n, " ")
		}
		i += n
	}
	r.src = &source{file: r.src.file, bytes: clean, lines: r.src.lines}
	if strings.HasSuffix(r.src.file, ".svg") {
		return ok // drawings are often one long line
	}
	for _, m := range characterReference.FindAllIndex(b, -1) {
		for _, c := range string(util.ResolveEntityNames(util.ResolveNumericReferences(b[m[0]:m[1]]))) {
			if isBidi(c) {
				r.errorAt(m[0], "bidi_control", "character", codePoint(c))
			}
		}
	}
	start, block := 0, 0
	for _, next := range append(r.src.lines[1:len(r.src.lines):len(r.src.lines)], len(b)) {
		if next-start > maxLineBytes {
			once(start, "line_too_long", "limit", itoa(maxLineBytes>>10))
		}
		if len(bytes.TrimSpace(b[start:next])) == 0 {
			block = next
		} else if next-block > maxBlockBytes {
			once(block, "block_too_long", "limit", itoa(maxBlockBytes>>10))
		}
		start = next
	}
	return ok
}

// characterReference matches what Markdown turns into a character.
var characterReference = regexp.MustCompile(`&(?:#[0-9]{1,8}|#[xX][0-9a-fA-F]{1,8}|[a-zA-Z]{2,32});`)

func codePoint(r rune) string {
	const hexDigits = "0123456789ABCDEF"
	s := []byte("U+0000")
	for i := 5; i >= 2; i-- {
		s[i] = hexDigits[r&15]
		r >>= 4
	}
	return string(s)
}
