package store

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
	"strings"
)

// keyFileFormat is a key file's first line. The lines after it are "head BASE64" and "wrap BASE64", 32 bytes each.
const keyFileFormat = "brakewright-key-file/1"

func newKeyFile(random io.Reader) (*KeyFile, error) {
	k := &KeyFile{}
	for _, b := range [][]byte{k.HeadSeed[:], k.Wrap[:]} {
		if _, err := io.ReadFull(random, b); err != nil {
			return nil, fmt.Errorf("make a key file: %w", err)
		}
	}
	return k, nil
}

func readKeyFile(path string) (*KeyFile, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("key file %s does not exist; it was made by init and must be kept beside the backups, never in them: %w", path, err)
	}
	if err != nil {
		return nil, fmt.Errorf("key file %s cannot be read; check who owns it: %w", path, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("key file %s is no ordinary file", path)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("key file %s may be read by others (mode %04o); make it its owner's alone: chmod 600 %s", path, info.Mode().Perm(), path)
	}
	b, err := io.ReadAll(io.LimitReader(f, 4096))
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", path, err)
	}
	k, err := parseKeyFile(b)
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w; take the copy that was put away when the programme was founded", path, err)
	}
	return k, nil
}

func parseKeyFile(b []byte) (*KeyFile, error) {
	lines := strings.Split(strings.TrimSuffix(strings.ReplaceAll(string(b), "\r\n", "\n"), "\n"), "\n")
	if lines[0] != keyFileFormat {
		return nil, errors.New("it is not a key file of this program")
	}
	k := &KeyFile{}
	fields := map[string][]byte{"head": k.HeadSeed[:], "wrap": k.Wrap[:]}
	for _, line := range lines[1:] {
		name, value, _ := strings.Cut(line, " ")
		to, ok := fields[name]
		if !ok {
			return nil, fmt.Errorf("the line %q is unknown or there twice", name)
		}
		raw, err := base64.StdEncoding.Strict().DecodeString(value)
		if err != nil || len(raw) != len(to) || bytes.Equal(raw, make([]byte, len(to))) {
			return nil, fmt.Errorf("the %s key is damaged", name)
		}
		copy(to, raw)
		delete(fields, name)
	}
	if len(fields) > 0 {
		return nil, errors.New("a key is missing")
	}
	return k, nil
}

func (k *KeyFile) write(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("key file %s: %w; it is never overwritten", path, ErrExists)
	}
	if err != nil {
		return fmt.Errorf("key file %s: %w", path, err)
	}
	text := keyFileFormat + "\nhead " + base64.StdEncoding.EncodeToString(k.HeadSeed[:]) + "\nwrap " + base64.StdEncoding.EncodeToString(k.Wrap[:]) + "\n"
	_, err = f.WriteString(text)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		os.Remove(path)
		return fmt.Errorf("key file %s: %w", path, err)
	}
	return nil
}
