package store_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewright/store"
	"brakewright/store/storetest"
)

func TestKeyFile(t *testing.T) {
	keys, err := store.NewKeyFile(storetest.Random(7))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "programme.key")
	if err := keys.Write(path); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	got, err := store.ReadKeyFile(path)
	if err != nil || *got != *keys {
		t.Errorf("%v", err)
	}
	if err := keys.Write(path); !errors.Is(err, store.ErrExists) {
		t.Errorf("written again: %v", err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := store.ReadKeyFile(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("read though others may read it: %v", err)
	}
	if _, err := store.ReadKeyFile(path + ".none"); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "init") {
		t.Errorf("absent: %v", err)
	}
	if _, err := store.ReadKeyFile(t.TempDir()); err == nil {
		t.Error("a folder is read")
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	good := string(text)
	for name, bad := range map[string]string{
		"another format": strings.Replace(good, "/1", "/2", 1), "a key missing": good[:strings.LastIndex(strings.TrimSpace(good), "\n")+1],
		"a key twice": good + strings.SplitAfter(good, "\n")[1], "an unknown line": good + "x y\n", "a key cut": good[:len(good)-3], "empty": "",
		"all zero": "brakewright-key-file/1\nhead " + strings.Repeat("A", 43) + "=\nwrap " + strings.Repeat("A", 43) + "=\n",
	} {
		if _, err := store.ParseKeyFile([]byte(bad)); err == nil {
			t.Errorf("%s is read", name)
		}
	}
	if _, err := store.ParseKeyFile([]byte(strings.ReplaceAll(good, "\n", "\r\n"))); err != nil {
		t.Errorf("with CRLF: %v", err)
	}
}

// FuzzKeyFile: no panic, and nothing is returned with an error.
func FuzzKeyFile(f *testing.F) {
	f.Add([]byte("brakewright-key-file/1\nhead AQEBAQEBAQEBAQEBAQEBAQEBAQEBAQEBAQEBAQEBAQE=\nwrap AgICAgICAgICAgICAgICAgICAgICAgICAgICAgICAgI=\n"))
	f.Add([]byte("brakewright-key-file/1\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if k, err := store.ParseKeyFile(b); err != nil && k != nil {
			t.Error("keys came back with an error")
		}
	})
}

// The published test of argon2id (version 19, t=2, m=64 MiB, p=1) of its reference implementation.
func TestPasswordKnownAnswer(t *testing.T) {
	const phc = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	ok, stale, err := store.CheckPassword(phc, "password")
	if !ok || !stale || err != nil {
		t.Errorf("%v %v %v", ok, stale, err)
	}
	if ok, _, err := store.CheckPassword(phc, "differentpassword"); ok || err != nil {
		t.Errorf("%v %v", ok, err)
	}
}

func TestPasswordHashesRefused(t *testing.T) {
	for _, bad := range []string{"", "plain", "$argon2i$v=19$m=64,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c", "$argon2id$v=16$m=64,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c",
		"$argon2id$v=19$m=4294967295,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c", "$argon2id$v=19$m=64,t=0,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c",
		"$argon2id$v=19$m=64,t=1,p=1$c29t$CTFhFdXPJO1aFaMaO6Mm5c", "$argon2id$v=19$m=64,t=1,p=1$c29tZXNhbHQ$CTFh", "$argon2id$v=19$m=x$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c"} {
		if ok, _, err := store.CheckPassword(bad, "password"); ok || err == nil {
			t.Errorf("%q: %v, %v", bad, ok, err)
		}
	}
	a, err := store.HashPassword(storetest.Random(1), "cre\u0301maillere")
	if err != nil {
		t.Fatal(err)
	}
	if ok, _, err := store.CheckPassword(a, "cr\u00e9maillere"); !ok || err != nil {
		t.Errorf("another normal form: %v, %v", ok, err)
	}
}

// FuzzPasswordHash: no panic, no cost out of bounds, nothing accepted that is written differently.
func FuzzPasswordHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc")
	f.Add("$argon2id$v=19$m=064,t=1,p=1x$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c")
	f.Fuzz(func(t *testing.T, s string) {
		c, salt, tag, err := store.ParsePHC(s)
		if err == nil && (!c.Allowed() || store.PHC(c, salt, tag) != s) {
			t.Errorf("%q came apart as %+v %x %x", s, c, salt, tag)
		}
	})
}

// FuzzProgrammeList: no panic, and as many files as lines.
func FuzzProgrammeList(f *testing.F) {
	f.Add([]byte("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  a.md\ne3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  b.md\n"))
	f.Add([]byte("x  y\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if n, err := store.ParseProgrammeList(b); err == nil && n != strings.Count(string(b), "\n") {
			t.Errorf("%d files of %q", n, b)
		}
	})
}
