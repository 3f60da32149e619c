package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"brakewright/store/ledger"
)

// process is the program, running as a process of its own.
type process struct {
	cmd     *exec.Cmd
	address string
	stdout  *bufio.Reader
	log     *syncBuffer // standard error
}

// syncBuffer may be read while it is written.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// start runs the program with these arguments and waits for the line with its address.
func start(t *testing.T, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{cmd: exec.Command(self, args...), log: &syncBuffer{}}
	p.cmd.Env = append(os.Environ(), asCommand+"=1")
	p.cmd.Stderr = p.log
	pipe, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.kill() })
	p.stdout = bufio.NewReader(pipe)
	line, err := p.stdout.ReadString('\n')
	i := strings.Index(line, "http")
	if err != nil || i < 0 {
		p.kill()
		t.Fatalf("%v: %q, %v\n%s", args, line, err, p.log)
	}
	p.address = strings.TrimSpace(line[i:])
	return p
}

// kill is kill -9. It may be called again.
func (p *process) kill() {
	_ = p.cmd.Process.Kill() // it may have ended
	_ = p.wait()             // ended by a signal, as it should be
}

// stop asks the process to end and gives its exit status.
func (p *process) stop(t *testing.T) int {
	t.Helper()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	var exit *exec.ExitError
	if err := p.wait(); err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return p.cmd.ProcessState.ExitCode()
}

func (p *process) wait() error {
	if p.cmd.ProcessState != nil {
		return nil
	}
	return p.cmd.Wait()
}

// client speaks to the API as one person.
type client struct {
	address, token string
}

// httpClient gives up on a server that is gone.
var httpClient = &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}

// try sends a request; an error is a server that is gone. An answer that is a list comes as {"list": it}.
func (c *client) try(method, path, key string, body any) (status int, answer map[string]any, err error) {
	var in io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		if err != nil {
			return 0, nil, err
		}
		in = bytes.NewReader(b)
	}
	r, err := http.NewRequestWithContext(context.Background(), method, c.address+"/api/v1"+path, in)
	if err != nil {
		return 0, nil, err
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	resp, err := httpClient.Do(r)
	if err != nil {
		return 0, nil, err
	}
	defer resp.Body.Close()
	raw, err := io.ReadAll(resp.Body)
	if err != nil {
		return 0, nil, err
	}
	if len(raw) > 0 {
		if raw[0] == '[' {
			raw = append(append([]byte(`{"list":`), raw...), '}')
		}
		if err := json.Unmarshal(raw, &answer); err != nil {
			return 0, nil, fmt.Errorf("%s %s answered %q: %w", method, path, raw, err)
		}
	}
	return resp.StatusCode, answer, nil
}

// must sends a request that must be taken.
func (c *client) must(t *testing.T, method, path string, body any) map[string]any {
	t.Helper()
	status, answer, err := c.try(method, path, newID(t), body)
	if err != nil || status >= 300 {
		t.Fatalf("%s %s: %d %v %v", method, path, status, answer, err)
	}
	return answer
}

func newID(t testing.TB) string {
	t.Helper()
	id, err := ledger.NewID(rand.Reader, time.Now().UnixMilli())
	if err != nil {
		t.Fatal(err)
	}
	return id
}

type obj = map[string]any

// logIn opens a session.
func logIn(t *testing.T, address, login, password string) *client {
	t.Helper()
	c := &client{address: address}
	c.token = c.must(t, "POST", "/login", obj{"login": login, "password": password})["token"].(string)
	return c
}

// Secrets of the tests' people.
const (
	testPassword   = "seven gauges under the bench"
	testPassphrase = "old anvil hums low"
)

// shop is a real programme in a folder of its own.
type shop struct {
	database, keyFile string
	supervisors       []string // log-ins
	apprentices       []string // log-ins
	ids               map[string]string
	lesson, edition   string
}

// found makes a programme by init, and its people through the API of a running server.
func found(t *testing.T, supervisors, apprentices int) (*shop, *process) {
	t.Helper()
	dir := t.TempDir()
	s := &shop{database: filepath.Join(dir, "shop.db"), keyFile: filepath.Join(dir, "shop.key"), ids: map[string]string{}}
	status, _, said := runHere(t, `{"password":"`+testPassword+`","passphrase":"`+testPassphrase+`"}`, "init",
		"--database", s.database, "--key-file", s.keyFile, "--origin", "example.org/crash", "--curriculum", "embedded", "--title", "Crash shop",
		"--zone", "America/Denver", "--person", "Ada Coordinator", "--login", "ada", "--secrets-file", "-")
	if status != 0 {
		t.Fatalf("init: %d %s", status, said)
	}
	p := s.serve(t)
	ada := logIn(t, p.address, "ada", testPassword)
	var people []any
	for i := range supervisors {
		s.supervisors = append(s.supervisors, fmt.Sprintf("super%d", i))
		people = append(people, obj{"name": fmt.Sprintf("Supervisor Number%d", i), "login": s.supervisors[i], "role": "supervisor"})
	}
	for i := range apprentices {
		s.apprentices = append(s.apprentices, fmt.Sprintf("appr%d", i))
		people = append(people, obj{"name": fmt.Sprintf("Apprentice Number%d", i), "login": s.apprentices[i], "role": "apprentice"})
	}
	codes := ada.must(t, "POST", "/people", obj{"people": people})["codes"].(obj)
	var keys []any
	for login, code := range codes {
		c := &client{address: p.address}
		in := c.must(t, "POST", "/login", obj{"login": login, "code": code})
		c.token = in["token"].(string)
		s.ids[login] = in["person"].(obj)["id"].(string)
		c.must(t, "POST", "/me/password", obj{"next": testPassword})
		if strings.HasPrefix(login, "super") {
			c.must(t, "POST", "/me/key", obj{"passphrase": testPassphrase})
			keys = append(keys, s.ids[login])
		}
	}
	ada.must(t, "POST", "/keys/confirm", obj{"people": keys, "passphrase": testPassphrase})
	for _, id := range keys {
		ada.must(t, "POST", "/people/"+id.(string)+"/appointments", obj{"task": "induction", "passphrase": testPassphrase})
	}
	return s, p
}

func (s *shop) serve(t *testing.T, more ...string) *process {
	t.Helper()
	return start(t, append([]string{"serve", "--database", s.database, "--key-file", s.keyFile, "--listen", "127.0.0.1:0"}, more...)...)
}
