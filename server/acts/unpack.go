package acts

import (
	"archive/zip"
	"bytes"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"
)

// Bounds on an uploaded folder, looked at before anything is unpacked.
const (
	maxZipEntries = 5000
	maxUnpacked   = 32 << 20 // bytes of all files together
)

// programmeEndings are the endings of the files that make up a programme; others are left in the archive.
var programmeEndings = []string{".md", ".svg", ".yaml"}

// UnpackProgramme reads the files of a programme folder from a zip archive, by path. A single folder around everything is
// taken off. It refuses (*Refusal, field "file") what is no archive, names that leave the folder, links, names that come
// twice (capital and small letters being alike), and archives that unpack to more than any programme needs; sizes are believed only until they are exceeded.
func UnpackProgramme(archive []byte) (map[string][]byte, error) {
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return nil, wrong("file", "zip_unreadable")
	}
	if len(z.File) > maxZipEntries {
		return nil, wrong("file", "zip_too_large")
	}
	total, seen, twice := uint64(0), map[string]bool{}, map[string]bool{}
	var wanted []*zip.File
	for _, f := range z.File {
		name := strings.TrimSuffix(f.Name, "/")
		if strings.ContainsAny(name, "\\:\x00") || !fs.ValidPath(name) || f.Mode()&(fs.ModeType&^fs.ModeDir) != 0 {
			return nil, wrong("file", "zip_path", "name", cutName(f.Name))
		}
		if f.FileInfo().IsDir() {
			continue
		}
		if folded := strings.ToLower(name); twice[folded] { // on many machines one file would take the other's place
			return nil, wrong("file", "zip_twice", "name", cutName(name))
		} else {
			twice[folded], seen[name] = true, true
		}
		if !slices.Contains(programmeEndings, path.Ext(name)) {
			continue
		}
		if f.UncompressedSize64 > maxUnpacked {
			return nil, wrong("file", "zip_too_large")
		}
		if total += f.UncompressedSize64; total > maxUnpacked {
			return nil, wrong("file", "zip_too_large")
		}
		wanted = append(wanted, f)
	}
	top := ""
	if i := slices.IndexFunc(wanted, func(f *zip.File) bool { return path.Base(f.Name) == "programme.yaml" && strings.Count(f.Name, "/") < 2 }); i < 0 {
		return nil, wrong("file", "zip_no_programme")
	} else if dir := path.Dir(wanted[i].Name); dir != "." && !seen["programme.yaml"] {
		top = dir + "/"
	}
	out, left := map[string][]byte{}, int64(maxUnpacked)
	for _, f := range wanted {
		name, inside := strings.CutPrefix(f.Name, top)
		if !inside {
			continue
		}
		b, err := unpackFile(f, left)
		if err != nil {
			return nil, wrong("file", "zip_unreadable")
		}
		if left -= int64(len(b)); left < 0 {
			return nil, wrong("file", "zip_too_large")
		}
		out[name] = b
	}
	return out, nil
}

// unpackFile reads a file, at most one byte more than is allowed.
func unpackFile(f *zip.File, most int64) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return io.ReadAll(io.LimitReader(r, most+1))
}

// cutName makes a name of a stranger's archive fit to be shown.
func cutName(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7f {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	if r := []rune(s); len(r) > 80 {
		return string(r[:80]) + "…"
	}
	return s
}
