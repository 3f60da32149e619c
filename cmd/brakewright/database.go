package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"brakewright/store"
)

// now is the clock of every command but demo.
func now() time.Time { return time.Now() }

// databaseOptions checks that the database is there and reads the key file, if one is named.
func databaseOptions(database, keyFile string) (store.Options, error) {
	o := store.Options{Database: database, Now: now, Random: rand.Reader}
	if err := fileDatabase(database); err != nil {
		return o, err
	}
	if _, err := os.Stat(database); errors.Is(err, fs.ErrNotExist) {
		return o, failf("Check the path, or make a programme with 'brakewright init'.", "there is no database %s", database)
	} else if err != nil {
		return o, fmt.Errorf("cannot open the database: %w", err)
	}
	if keyFile == "" {
		return o, nil
	}
	keys, err := readKeyFile(keyFile)
	if err != nil {
		return o, err
	}
	o.Keys, o.Beside = keys, keyFile
	return o, nil
}

// readKeyFile reads a key file and says what to do when it is not there.
func readKeyFile(path string) (*store.KeyFile, error) {
	keys, err := store.ReadKeyFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, failf("Put back the copy that you keep apart from the backups; names and notes cannot be opened without it.",
			"there is no key file %s", path)
	}
	return keys, err
}

// fileDatabase refuses what is not the path of a file.
func fileDatabase(database string) error {
	if strings.Contains(database, "://") {
		return usagef("--database must be the path of a file, not %q", database)
	}
	return nil
}

// openStore opens an existing database with its key file.
func openStore(ctx context.Context, database, keyFile string) (*store.Store, error) {
	o, err := databaseOptions(database, keyFile)
	if err != nil {
		return nil, err
	}
	return store.Open(ctx, o)
}

// progressOn tells on w how far a long work is: a line whenever another tenth is done.
func progressOn(w io.Writer) store.Progress {
	last, tenth := "", int64(-1)
	return func(what string, done, total int64) {
		t := int64(10)
		if total > 0 {
			t = done * 10 / total
		}
		if what == last && t == tenth {
			return
		}
		last, tenth = what, t
		fmt.Fprintf(w, "%s: %d of %d\n", what, done, total)
	}
}
