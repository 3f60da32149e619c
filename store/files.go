package store

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// tempBeside makes an empty file in the same folder, so that a rename later is one step, and returns its name.
func tempBeside(path, suffix string) (string, error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+suffix+"-*")
	if err != nil {
		return "", err
	}
	return f.Name(), f.Close()
}

// tempDatabase is tempBeside for a database in the making. What an earlier one left behind that was killed is removed: it is
// whole nowhere and may hold what has been erased since. One that is being made at this moment loses its file and says so; what
// stands under the name itself is never touched.
func tempDatabase(path, suffix string) (string, error) {
	prefix := "." + filepath.Base(path) + suffix + "-"
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return "", err
	}
	for _, f := range list {
		rest, ours := strings.CutPrefix(f.Name(), prefix)
		number, engine, _ := strings.Cut(rest, "-")
		if ours && f.Type().IsRegular() && number != "" && strings.Trim(number, "0123456789") == "" && slices.Contains([]string{"", "wal", "shm", "journal"}, engine) {
			if err := os.Remove(filepath.Join(filepath.Dir(path), f.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return "", err
			}
		}
	}
	return tempBeside(path, suffix)
}

// removeDatabase removes a file and what the engine keeps beside it.
func removeDatabase(path string) {
	for _, suffix := range []string{"", "-wal", "-shm", "-journal"} {
		os.Remove(path + suffix)
	}
}

// syncFile makes a file's bytes durable.
func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncFolder makes renames in a file's folder durable, where the system can.
func syncFolder(path string) {
	if d, err := os.Open(filepath.Dir(path)); err == nil {
		d.Sync() // some file systems cannot; the rename is then as durable as they make it
		d.Close()
	}
}

// placeNew gives a finished file its name, if nothing stands there.
func placeNew(temp, path string) error {
	if err := syncFile(temp); err != nil {
		return err
	}
	switch err := os.Link(temp, path); {
	case err == nil:
		os.Remove(temp)
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s: %w", path, ErrExists)
	default: // a file system without links
		if _, err := os.Lstat(path); err == nil {
			return fmt.Errorf("%s: %w", path, ErrExists)
		}
		if err := os.Rename(temp, path); err != nil {
			return err
		}
	}
	syncFolder(path)
	return nil
}

// sortedUnion are the keys of two maps in bytewise order.
func sortedUnion(a, b map[string]string) []string {
	all := map[string]bool{}
	for k := range a {
		all[k] = true
	}
	for k := range b {
		all[k] = true
	}
	keys := slices.Collect(maps.Keys(all))
	slices.Sort(keys)
	return keys
}
