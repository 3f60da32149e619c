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
	highest int64            // index acknowledged so far
	enough  chan struct{}    // closed once so many have come
	left    int
}

// sent is asked before a write goes out: its entry must come after all that was acknowledged by then.
func (a *acknowledged) sent() int64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.highest
}

func (a *acknowledged) note(t *testing.T, id string, after int64, answer obj) {
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
	if int64(index) <= after {
		t.Errorf("%s became entry %d, though entry %d was acknowledged before it was sent", id, int64(index), after)
	}
	a.entries[id] = int64(index)
	a.highest = max(a.highest, int64(index))
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

// loader is one person who writes until the server is gone, and goes on where it was once there is a server again:
// every request has the key that it had, so that what was done already is not done twice.
type loader struct {
	t          *testing.T
	shop       *shop
	acks       *acknowledged
	c          *client
	apprentice string // whom a supervisor watches: nobody else's
	lesson     bool   // an apprentice who reads

	job, sign string // keys of the job at hand, "" between jobs
	taps      []any
	after     int64 // acknowledged before the signature was first sent
}

// send sends until it is taken; false when the server is gone. A busy server (503) has acknowledged nothing.
func (l *loader) send(path, key string, body any, want int) (obj, bool) {
	for {
		status, answer, err := l.c.try("POST", path, key, body)
		switch {
		case err != nil:
			return nil, false
		case status == 503:
			continue
		case status != want:
			l.t.Errorf("%s: %d %v", path, status, answer)
			return nil, false
		}
		return answer, true
	}
}

// run does one thing after the other.
func (l *loader) run() {
	for {
		if l.sign == "" {
			l.job, l.sign, l.taps, l.after = newID(l.t), newID(l.t), nil, l.acks.sent()
		}
		path, body := "/readings", obj{"lesson": l.shop.lesson, "edition": l.shop.edition}
		if !l.lesson {
			if !l.watch() {
				return
			}
			path, body = "/jobs/"+l.job+"/sign", obj{"passphrase": testPassphrase}
		}
		answer, ok := l.send(path, l.sign, body, 201)
		if !ok {
			return
		}
		l.acks.note(l.t, l.sign, l.after, answer)
		l.sign = ""
	}
}

// watch brings a job to where it can be signed.
func (l *loader) watch() bool {
	if l.taps == nil {
		job, ok := l.send("/jobs", l.job, obj{"apprentice": l.apprentice, "task": "induction", "vehicle": "trainer-a"}, 201)
		if !ok {
			return false
		}
		for _, x := range job["steps"].([]any) {
			step := x.(obj)
			l.taps = append(l.taps, obj{"id": newID(l.t), "step": step["key"], "result": "unaided"})
			if step["hold"] == true {
				l.taps = append(l.taps, obj{"id": newID(l.t), "step": step["key"], "hold": "accepted"})
			}
		}
	}
	_, ok := l.send("/jobs/"+l.job+"/taps", "", l.taps, 200)
	if ok || l.t.Failed() {
		return ok
	}
	return false
}

// TestNothingAcknowledgedIsLost lets supervisors sign all at once and kills the server in the middle of it, again and again.
func TestNothingAcknowledgedIsLost(t *testing.T) {
	rounds, signers, readers := 12, 8, 2
	if soak() {
		rounds, signers = 300, 100
	}
	s, p := found(t, signers, signers)
	ada := logIn(t, p.address, "ada", testPassword)
	lessons, _ := json.Marshal(ada.must(t, "GET", "/lessons", nil)["list"])
	var lines []struct{ ID, Edition string }
	if err := json.Unmarshal(lessons, &lines); err != nil || len(lines) == 0 {
		t.Fatalf("lessons: %v in %s", err, lessons)
	}
	s.lesson, s.edition = lines[0].ID, lines[0].Edition
	acks := &acknowledged{entries: map[string]int64{}}
	seed := rand.Uint64()
	t.Logf("seed %d", seed) // named when the test fails
	rng := rand.New(rand.NewPCG(seed, 0))
	var loaders []*loader
	for i, login := range s.supervisors {
		loaders = append(loaders, &loader{t: t, shop: s, acks: acks, c: logIn(t, p.address, login, testPassword), apprentice: s.ids[s.apprentices[i]]})
	}
	for _, login := range s.apprentices[:readers] {
		loaders = append(loaders, &loader{t: t, shop: s, acks: acks, c: logIn(t, p.address, login, testPassword), lesson: true})
	}
	read := &ledgerRead{found: map[string]int64{}, jobs: map[string]string{}}
	for round := range rounds {
		enough := acks.arm(1 + rng.IntN(20))
		var wg sync.WaitGroup
		for _, l := range loaders {
			l.c.address = p.address // sessions outlive the process
			wg.Go(l.run)
		}
		ended := make(chan struct{})
		go func() { wg.Wait(); close(ended) }()
		select {
		case <-enough:
		case <-ended:
			t.Fatalf("all clients gave up before the kill\n%s", p.log)
		}
		p.kill()
		<-ended
		p = s.serve(t)
		ada.address = p.address
		read.more(t, ada)
		read.compare(t, acks)
		if t.Failed() {
			t.Fatalf("round %d\n%s", round, p.log)
		}
	}
	for _, l := range loaders { // what got no answer is sent again: it is done now, or it was done and says where
		l.c.address = p.address
		if l.sign == "" || !l.lesson && !l.watch() {
			continue
		}
		path, body := "/readings", obj{"lesson": s.lesson, "edition": s.edition}
		if !l.lesson {
			path, body = "/jobs/"+l.job+"/sign", obj{"passphrase": testPassphrase}
		}
		if answer, ok := l.send(path, l.sign, body, 201); ok {
			acks.note(t, l.sign, l.after, answer)
		} else {
			t.Errorf("%s was not taken in the end", path)
		}
	}
	whole := &ledgerRead{found: map[string]int64{}, jobs: map[string]string{}}
	whole.more(t, ada)
	whole.compare(t, acks)
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
	t.Logf("%d entries acknowledged to %d signers over %d kills", len(acks.entries), signers, rounds)
}

// ledgerRead is the ledger as read over the API.
type ledgerRead struct {
	found map[string]int64  // entry → index
	jobs  map[string]string // job → its sign-off
	next  int64
}

// more reads on from where it stopped: no entry comes twice, no job is signed twice.
func (r *ledgerRead) more(t *testing.T, c *client) {
	t.Helper()
	for {
		page := c.must(t, "GET", fmt.Sprintf("/ledger/entries?from=%d&limit=1000", r.next), nil)
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
			id, index := entry.Body.ID, int64(e["index"].(float64))
			if _, twice := r.found[id]; twice || index != r.next {
				t.Errorf("entry %d (%s) comes twice, or where %d should stand", index, id, r.next)
			}
			r.found[id] = index
			r.next = index + 1
			if entry.Body.Type == ledger.SignOff {
				p, err := ledger.PayloadOf[ledger.SignOffPayload](entry.Body)
				if err != nil {
					t.Fatal(err)
				}
				if first := r.jobs[p.Job]; first != "" {
					t.Errorf("job %s is signed twice: %s, %s", p.Job, first, id)
				}
				r.jobs[p.Job] = id
			}
		}
		if page["next"] == nil {
			return
		}
	}
}

// compare: everything acknowledged is there, where it was said to be.
func (r *ledgerRead) compare(t *testing.T, acks *acknowledged) {
	t.Helper()
	for id, index := range acks.entries {
		if at, ok := r.found[id]; !ok || at != index {
			t.Errorf("acknowledged as entry %d, but it is lost or elsewhere: %s (%d, %v)", index, id, at, ok)
		}
	}
}
