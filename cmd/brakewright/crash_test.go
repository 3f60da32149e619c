package main

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"brakewright/store/ledger"
)

// acknowledged is what the server said is durable.
type acknowledged struct {
	mu      sync.Mutex
	entries map[string]int64 // id → index
	enough  chan struct{}    // closed once so many have come
	left    int
}

func (a *acknowledged) note(t *testing.T, id string, answer obj) {
	index, ok := answer["index"].(float64)
	if !ok || answer["id"] != id {
		t.Errorf("the answer for %s is %v", id, answer)
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if before, again := a.entries[id]; again && before != int64(index) {
		t.Errorf("%s was said to be entry %d, then %d", id, before, int64(index))
	}
	a.entries[id] = int64(index)
	if a.left--; a.left == 0 {
		close(a.enough)
	}
}

// arm asks to be told when n more have come.
func (a *acknowledged) arm(n int) <-chan struct{} {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.left, a.enough = n, make(chan struct{})
	return a.enough
}

// unanswered is a write whose answer the crash ate: it is sent again with the same key.
type unanswered struct {
	login, path, key string
	body             any
}

// loader is one client that writes until its server is gone.
type loader struct {
	t     *testing.T
	shop  *shop
	acks  *acknowledged
	login string
	c     *client
	lost  []unanswered
	rng   *rand.Rand
}

// write sends one entry; false when the server is gone.
func (l *loader) write(path string, body any) bool {
	key := newID(l.t)
	status, answer, err := l.c.try("POST", path, key, body)
	switch {
	case err != nil:
		l.lost = append(l.lost, unanswered{l.login, path, key, body})
		return false
	case status != 201:
		l.t.Errorf("%s: %d %v", path, status, answer)
		return false
	}
	l.acks.note(l.t, key, answer)
	return true
}

// supervise watches and signs one job after the other.
func (l *loader) supervise() {
	for {
		apprentice := l.shop.ids[l.shop.apprentices[l.rng.IntN(len(l.shop.apprentices))]]
		status, job, err := l.c.try("POST", "/jobs", newID(l.t), obj{"apprentice": apprentice, "task": "induction", "vehicle": "trainer-a"})
		if err != nil {
			return
		}
		if status != 201 {
			l.t.Errorf("a job: %d %v", status, job)
			return
		}
		taps := []any{}
		for _, x := range job["steps"].([]any) {
			step := x.(obj)
			taps = append(taps, obj{"id": newID(l.t), "step": step["key"], "result": "unaided"})
			if step["hold"] == true {
				taps = append(taps, obj{"id": newID(l.t), "step": step["key"], "hold": "accepted"})
			}
		}
		path := "/jobs/" + job["id"].(string)
		if status, answer, err := l.c.try("POST", path+"/taps", "", taps); err != nil {
			return
		} else if status != 200 {
			l.t.Errorf("taps: %d %v", status, answer)
			return
		}
		if !l.write(path+"/sign", obj{"passphrase": testPassphrase}) {
			return
		}
	}
}

// study reads one lesson after the other.
func (l *loader) study() {
	for l.write("/readings", obj{"lesson": l.shop.lesson, "edition": l.shop.edition}) {
	}
}

// TestNothingAcknowledgedIsLost kills the server in the middle of signings, again and again.
func TestNothingAcknowledgedIsLost(t *testing.T) {
	rounds, signers, readers := 3, 2, 2
	if soak() {
		rounds = 30
	}
	s, p := found(t, signers, readers)
	lessons, _ := json.Marshal(logIn(t, p.address, "ada", testPassword).must(t, "GET", "/lessons", nil)["list"])
	var lines []struct{ ID, Edition string }
	if err := json.Unmarshal(lessons, &lines); err != nil || len(lines) == 0 {
		t.Fatalf("lessons: %v in %s", err, lessons)
	}
	s.lesson, s.edition = lines[0].ID, lines[0].Edition
	acks := &acknowledged{entries: map[string]int64{}}
	seed := rand.Uint64()
	t.Logf("seed %d", seed) // named when the test fails
	rng := rand.New(rand.NewPCG(seed, 0))
	logs := p.log.String
	for round := range rounds {
		enough := acks.arm(5 + rng.IntN(60))
		var wg sync.WaitGroup
		var loaders []*loader
		for i, login := range append(append([]string{}, s.supervisors...), s.apprentices...) {
			l := &loader{t: t, shop: s, acks: acks, login: login, c: logIn(t, p.address, login, testPassword), rng: rand.New(rand.NewPCG(seed, uint64(round*100+i)))}
			loaders = append(loaders, l)
			work := l.study
			if strings.HasPrefix(login, "super") {
				work = l.supervise
			}
			wg.Go(work)
		}
		ended := make(chan struct{})
		go func() { wg.Wait(); close(ended) }()
		select {
		case <-enough:
		case <-ended:
			t.Fatalf("all clients gave up before the kill\n%s", logs())
		}
		p.kill()
		<-ended

		p = s.serve(t)
		// What got no answer is sent again: it is then either done now, or it was done and says where.
		for _, l := range loaders {
			again := &loader{t: t, shop: s, acks: acks, login: l.login, c: logIn(t, p.address, l.login, testPassword)}
			for _, x := range l.lost {
				status, answer, err := again.c.try("POST", x.path, x.key, x.body)
				if err != nil || status != 201 {
					t.Errorf("round %d, %s again: %d %v %v", round, x.path, status, answer, err)
					continue
				}
				acks.note(t, x.key, answer)
			}
		}
		compareWithLedger(t, p.address, acks)
		if t.Failed() {
			t.Fatalf("round %d\n%s", round, p.log)
		}
	}
	if status := p.stop(t); status != 0 {
		t.Errorf("stopping: exit status %d\n%s", status, p.log)
	}
	for _, private := range []string{testPassword, testPassphrase, "Ada", "Number0", "super0", "appr0"} {
		if strings.Contains(p.log.String(), private) {
			t.Errorf("the log holds %q:\n%s", private, p.log)
		}
	}
	status, out, said := runHere(t, "", "verify", "--database", s.database, "--key-file", s.keyFile, "--format", "json")
	var v struct {
		OK      bool
		Entries int64
	}
	if err := json.Unmarshal([]byte(out), &v); err != nil || status != 0 || !v.OK || v.Entries < int64(len(acks.entries)) {
		t.Errorf("verify: status %d, %v\n%s%s", status, err, out, said)
	}
	t.Logf("%d entries acknowledged over %d kills", len(acks.entries), rounds)
}

// compareWithLedger reads the whole ledger over the API: everything acknowledged is there, where it was said to be.
func compareWithLedger(t *testing.T, address string, acks *acknowledged) {
	t.Helper()
	c := logIn(t, address, "ada", testPassword)
	found := map[string]int64{}
	for next := any("0"); next != nil; {
		page := c.must(t, "GET", fmt.Sprintf("/ledger/entries?from=%v&limit=1000", next), nil)
		for _, x := range page["entries"].([]any) {
			e := x.(obj)
			leaf, err := base64.StdEncoding.DecodeString(e["leaf"].(string))
			if err != nil {
				t.Fatal(err)
			}
			entry, err := ledger.ParseLeaf(leaf)
			if err != nil {
				t.Fatal(err)
			}
			found[entry.Body.ID] = int64(e["index"].(float64))
		}
		next = page["next"]
		if f, ok := next.(float64); ok {
			next = int64(f)
		}
	}
	for id, index := range acks.entries {
		if at, ok := found[id]; !ok || at != index {
			t.Errorf("acknowledged as entry %d, but it is lost or elsewhere: %s (%d, %v)", index, id, at, ok)
		}
	}
}
