package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// terminal opens a pseudo-terminal: what is written to keyboard is what somebody types at screen.
func terminal(t *testing.T) (keyboard, screen *os.File) {
	t.Helper()
	keyboard, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { keyboard.Close() })
	if err := unix.IoctlSetPointerInt(int(keyboard.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(int(keyboard.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	screen, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { screen.Close() })
	return keyboard, screen
}

// TestInitAsks: at a terminal init asks for what the flags leave out, never shows a secret, and asks again when the
// second typing differs.
func TestInitAsks(t *testing.T) {
	keyboard, screen := terminal(t)
	dir := t.TempDir()
	db, key := filepath.Join(dir, "shop.db"), filepath.Join(dir, "shop.key")
	typed := []string{
		db, key,
		"",                            // the programme: take what is proposed
		"Workshop", "example.org/ask", // title, origin
		"America/Denver",
		"", "Ada Coordinator", // an empty name is asked for again
		"ada",
		testPassword, "something else", // differs
		testPassword, testPassword,
		testPassphrase, testPassphrase,
	}
	shown := &syncBuffer{}
	go io.Copy(shown, keyboard) //nolint:errcheck // ends with the terminal
	if _, err := io.WriteString(keyboard, strings.Join(typed, "\n")+"\n"); err != nil {
		t.Fatal(err)
	}
	var out, errs strings.Builder
	if status := run(context.Background(), []string{"init"}, screen, &out, &errs); status != 0 {
		t.Fatalf("status %d, said %s%s", status, out.String(), errs.String())
	}
	for _, question := range []string{"Database file to make [brakewright.db]:", "\"embedded\"", "Password to log in:", "Once more:", "These differ", "Passphrase to sign with"} {
		if !strings.Contains(errs.String(), question) {
			t.Errorf("it did not ask %q:\n%s", question, errs.String())
		}
	}
	if !strings.HasPrefix(out.String(), "Founded Workshop.") {
		t.Errorf("it said %q", out.String())
	}
	for _, secret := range []string{testPassword, testPassphrase} {
		if strings.Contains(out.String()+errs.String(), secret) {
			t.Errorf("the secret %q was printed", secret)
		}
	}
	if status, _, said := runHere(t, "", "verify", "--database", db, "--key-file", key); status != 0 {
		t.Errorf("verify: %d %s", status, said)
	}

	// A command that acts for a coordinator asks for the password alone.
	if _, err := io.WriteString(keyboard, testPassword+"\n"); err != nil {
		t.Fatal(err)
	}
	out.Reset()
	errs.Reset()
	status := run(context.Background(), []string{"person", "add", "--database", db, "--key-file", key, "--as", "ada",
		"--name", "Sam Wheelwright", "--login", "sam", "--role", "apprentice"}, screen, &out, &errs)
	if status != 0 || !strings.Contains(errs.String(), "Password of ada:") || !strings.Contains(out.String(), "One-time code") {
		t.Errorf("person add: %d %s%s", status, out.String(), errs.String())
	}
}
