package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"go.yaml.in/yaml/v4"
	"golang.org/x/term"
)

// secrets is what a secrets file holds. Secrets never come from flags: those show in process lists and histories.
type secrets struct {
	Password   string `yaml:"password"`   // logs in
	Passphrase string `yaml:"passphrase"` // unlocks the signing key
}

// readSecrets reads a secrets file (JSON or YAML); "-" is standard input.
func readSecrets(stdin io.Reader, path string) (secrets, error) {
	b, err := readFile(stdin, path, "the secrets file")
	if err != nil {
		return secrets{}, err
	}
	var s secrets
	d := yaml.NewDecoder(bytes.NewReader(b))
	d.KnownFields(true)
	if err := d.Decode(&s); err != nil && !errors.Is(err, io.EOF) {
		// The decoder's own message may quote what it could not read, and that is a secret.
		return secrets{}, failf(`It should hold {"password": "…", "passphrase": "…"}, as JSON or YAML, and nothing else.`,
			"cannot read the secrets file %s", path)
	}
	return s, nil
}

// asker asks a person at a terminal for what the command line left out.
type asker struct {
	in  *os.File
	out io.Writer // prompts; never stdout
	buf *bufio.Reader
}

// newAsker returns nil where nobody sits at a terminal.
func newAsker(stdin io.Reader, stderr io.Writer) *asker {
	f, ok := stdin.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	return &asker{in: f, out: stderr, buf: bufio.NewReader(f)}
}

// line asks until it gets an answer; an empty one takes the proposal, if there is one.
func (a *asker) line(question, proposal string) (string, error) {
	for {
		if proposal != "" {
			fmt.Fprintf(a.out, "%s [%s]: ", question, proposal)
		} else {
			fmt.Fprintf(a.out, "%s: ", question)
		}
		s, err := a.buf.ReadString('\n')
		if s = strings.TrimSpace(s); s == "" {
			s = proposal
		}
		if s != "" || err != nil {
			return s, err
		}
	}
}

// secret asks without showing what is typed.
func (a *asker) secret(question string) (string, error) {
	fmt.Fprintf(a.out, "%s: ", question)
	b, err := term.ReadPassword(int(a.in.Fd()))
	fmt.Fprintln(a.out)
	return string(b), err
}

// newSecret asks twice, until both are the same.
func (a *asker) newSecret(question string) (string, error) {
	for {
		first, err := a.secret(question)
		if err != nil {
			return "", err
		}
		again, err := a.secret("Once more")
		if err != nil {
			return "", err
		}
		if first == again && first != "" {
			return first, nil
		}
		fmt.Fprintln(a.out, "These differ, or are empty. Try again.")
	}
}
