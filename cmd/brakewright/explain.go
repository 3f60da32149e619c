package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

// cure is an error with what to do about it.
type cure struct {
	err error
	do  string
}

func (c *cure) Error() string { return c.err.Error() }
func (c *cure) Unwrap() error { return c.err }

// explain says an error in one or two plain sentences: what is wrong and, where we know it, what to do.
func explain(err error) string {
	if c := (*cure)(nil); errors.As(err, &c) {
		return c.Error() + ". " + c.do
	}
	if r, ok := acts.AsRefusal(err); ok {
		said := []string{say.Refusal(r.Code, r.Args)}
		for _, part := range r.Problems {
			said = append(said, part.Field+": "+say.Refusal(part.Code, part.Args))
		}
		return strings.Join(said, "\n  ")
	}
	for _, x := range []struct {
		is error
		do string
	}{
		{store.ErrWrongKeyFile, "Take the key file that was made with this database."},
		{store.ErrNotDatabase, "Check the path of the database."},
		{store.ErrOlder, "Restore with --force if these entries may be lost for ever."},
		{store.ErrRolledBack, "Put the newer database back, or say with 'brakewright restore --from COPY --database DB --force' that what came after may be lost."},
		{store.ErrDiskFull, "Make room, then try again."},
		{store.ErrReadOnly, "Check who owns the file and its folder."},
	} {
		if errors.Is(err, x.is) {
			return err.Error() + ". " + x.do
		}
	}
	return err.Error()
}

// failf is an error with a cure.
func failf(do, format string, args ...any) error {
	return &cure{err: fmt.Errorf(format, args...), do: do}
}

// readFile reads a named file, or standard input for "-". what names it in the error.
func readFile(stdin io.Reader, path, what string) ([]byte, error) {
	if path == "-" {
		b, err := io.ReadAll(stdin)
		if err != nil {
			return nil, fmt.Errorf("cannot read %s from standard input: %w", what, err)
		}
		return b, nil
	}
	b, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, failf("Check the path.", "there is no file %s (%s)", path, what)
	case err != nil:
		return nil, fmt.Errorf("cannot read %s: %w", what, err)
	}
	return b, nil
}
