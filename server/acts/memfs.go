package acts

import (
	"bytes"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"
)

// memFS is a folder kept in memory: an adopted edition as the database holds it, by slash-separated path.
type memFS map[string][]byte

func (m memFS) Open(name string) (fs.File, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	if b, ok := m[name]; ok {
		return &memFile{memInfo: memInfo{name: path.Base(name), size: int64(len(b))}, Reader: bytes.NewReader(b)}, nil
	}
	entries := m.list(name)
	if len(entries) == 0 && name != "." {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return &memDir{memInfo: memInfo{name: path.Base(name), dir: true}, rest: entries}, nil
}

// list is what a folder holds, sorted by name.
func (m memFS) list(dir string) []fs.DirEntry {
	prefix := dir + "/"
	if dir == "." {
		prefix = ""
	}
	found := map[string]memInfo{}
	for p, b := range m {
		rest, ok := strings.CutPrefix(p, prefix)
		if !ok {
			continue
		}
		if sub, _, deeper := strings.Cut(rest, "/"); deeper {
			found[sub] = memInfo{name: sub, dir: true}
		} else {
			found[rest] = memInfo{name: rest, size: int64(len(b))}
		}
	}
	out := make([]fs.DirEntry, 0, len(found))
	for _, i := range found {
		out = append(out, fs.FileInfoToDirEntry(i))
	}
	slices.SortFunc(out, func(a, b fs.DirEntry) int { return strings.Compare(a.Name(), b.Name()) })
	return out
}

type memInfo struct {
	name string
	size int64
	dir  bool
}

func (i memInfo) Name() string       { return i.name }
func (i memInfo) Size() int64        { return i.size }
func (i memInfo) ModTime() time.Time { return time.Time{} }
func (i memInfo) IsDir() bool        { return i.dir }
func (i memInfo) Sys() any           { return nil }
func (i memInfo) Mode() fs.FileMode {
	if i.dir {
		return fs.ModeDir | 0o555
	}
	return 0o444
}

type memFile struct {
	memInfo
	*bytes.Reader
}

func (f *memFile) Size() int64                { return f.memInfo.size }
func (f *memFile) Stat() (fs.FileInfo, error) { return f.memInfo, nil }
func (f *memFile) Close() error               { return nil }

type memDir struct {
	memInfo
	rest []fs.DirEntry
}

func (d *memDir) Stat() (fs.FileInfo, error) { return d.memInfo, nil }
func (d *memDir) Close() error               { return nil }
func (d *memDir) Read([]byte) (int, error) {
	return 0, &fs.PathError{Op: "read", Path: d.name, Err: fs.ErrInvalid}
}

func (d *memDir) ReadDir(n int) ([]fs.DirEntry, error) {
	if n > 0 && len(d.rest) == 0 {
		return nil, io.EOF
	}
	if n <= 0 || n > len(d.rest) {
		n = len(d.rest)
	}
	out := d.rest[:n]
	d.rest = d.rest[n:]
	return out, nil
}
