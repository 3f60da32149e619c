package store_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"brakewright/store"
	"brakewright/store/ledger"
	"brakewright/store/storetest"
)

func bundleOf(t *testing.T, w *storetest.World, person string) (*ledger.Bundle, []byte) {
	t.Helper()
	b, err := w.Store.Bundle(ctx, person)
	if err != nil {
		t.Fatal(err)
	}
	file, err := b.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return b, file
}

// checker runs the checker in another language on a file, and says whether it was content.
func checker(t *testing.T, file []byte, args ...string) (ok bool, said string) {
	t.Helper()
	python, err := exec.Command(filepath.Join("..", ".ci", "install"), "python3-cryptography").Output()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "bundle.json")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(strings.TrimSpace(string(python)), append([]string{filepath.Join("..", "testdata", "checker", "check.py"), path}, args...)...).CombinedOutput()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || !strings.HasPrefix(string(out), "WRONG")) {
		t.Fatalf("%v: %s", err, out)
	}
	return err == nil, string(out)
}

// A bundle holds what it takes, no secret and nobody else's words, and both checkers are content with it.
func TestBundle(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	past := w.FullHistory()
	pat := w.Apprentices[0]
	b, file := bundleOf(t, w, pat.ID)
	if again, err := ledger.ReadBundle(file); err != nil {
		t.Fatal(err)
	} else if text, err := again.Encode(); err != nil || !bytes.Equal(text, file) {
		t.Error("read and written again it is another")
	}
	r := ledger.CheckBundle(b)
	if r.Problem != nil || r.About < 20 || r.Signatures < 10 || r.Personal < 10 || r.Contents < 4 || r.Closed != 0 {
		t.Errorf("%+v", r)
	}
	v := store.VerifyBundle(file, w.Options.Keys, nil)
	if !v.OK || !slices.Equal(v.NotExamined, []string{"completeness", "rollback"}) {
		t.Errorf("%+v", v)
	}
	head, err := w.Store.TreeHead(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if v := store.VerifyBundle(file, w.Options.Keys, []*ledger.TreeHead{head}); !v.OK || !slices.Equal(v.NotExamined, []string{"completeness"}) {
		t.Errorf("%+v", v)
	}
	if ok, said := checker(t, file, b.HeadKey); !ok || !strings.Contains(said, "entries of") {
		t.Error(said)
	}
	if ok, said := checker(t, file, strings.Replace(b.HeadKey, "+", "x+", 1)); ok {
		t.Error(said)
	}
	// The form of a test that is still open would give its key away.
	if len(mustEntry(t, w, past["open test"]).Leaf) == 0 {
		t.Fatal("no open test")
	}
	_, pias := bundleOf(t, w, w.Apprentices[1].ID)
	if bytes.Contains(pias, []byte(ledger.Hash([]byte(`{}`)))) && strings.Contains(string(pias), `"hash":"`+ledger.Hash([]byte(`{}`))+`"`) {
		t.Error("the form of an open test is in the bundle")
	}
	for _, m := range slices.Concat(w.Coordinators, w.Supervisors, w.Apprentices[1:]) {
		if bytes.Contains(file, []byte(m.Name)) || bytes.Contains(file, []byte(`"`+m.Login+`"`)) {
			t.Errorf("the name of %s is in it", m.Name)
		}
	}
	if bytes.Contains(file, []byte("argon2id")) || bytes.Contains(file, []byte("sealed-key")) {
		t.Error("secrets are in it")
	}
	if _, err := w.Store.Bundle(ctx, "nobody"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("of nobody: %v", err)
	}
	// Of somebody erased: the entries stay provable, nothing is opened.
	gone, file := bundleOf(t, w, past["gil"])
	r = ledger.CheckBundle(gone)
	if r.Problem != nil || r.Personal != 0 || r.Closed != 3 {
		t.Errorf("%+v", r)
	}
	if ok, said := checker(t, file); !ok {
		t.Error(said)
	}
}

func mustEntry(t *testing.T, w *storetest.World, id string) *store.EntryView {
	t.Helper()
	e, err := w.Store.Entry(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// Whatever is changed in a bundle, both checkers see it.
func TestBundleTampered(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	_, file := bundleOf(t, w, w.Apprentices[0].ID)
	rng := rand.New(rand.NewPCG(7, 7))
	for i := range 200 {
		var b ledger.Bundle
		if err := json.Unmarshal(file, &b); err != nil {
			t.Fatal(err)
		}
		e := &b.Entries[rng.IntN(len(b.Entries))]
		what := ""
		switch rng.IntN(9) {
		case 0:
			what, e.Index = "index", e.Index+1
		case 1:
			what, e.Leaf = "leaf", flipped(rng, e.Leaf)
		case 2:
			if len(e.Proof) > 0 {
				at := rng.IntN(len(e.Proof))
				what, e.Proof[at] = "proof", flipped(rng, e.Proof[at])
			}
		case 3:
			if len(e.Proof) > 0 {
				what, e.Proof = "proof cut", e.Proof[1:]
			}
		case 4:
			if len(e.Personal) > 0 {
				f := &e.Personal[rng.IntN(len(e.Personal))]
				what, f.Value = "value", f.Value+"x"
			}
		case 5:
			if len(e.Personal) > 0 {
				f := &e.Personal[rng.IntN(len(e.Personal))]
				what, f.Salt = "salt", flipped(rng, f.Salt)
			}
		case 6:
			c := &b.Contents[rng.IntN(len(b.Contents))]
			what, c.Bytes = "content", flipped(rng, c.Bytes)
		case 7:
			what, b.Head = "head", strings.Replace(b.Head, "\n", "\n1", 1)
		case 8:
			what, b.Person = "person", w.Apprentices[1].ID
		}
		if what == "" {
			continue
		}
		forged, err := b.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if v := store.VerifyBundle(forged, w.Options.Keys, nil); v.OK || v.FirstProblem.What == "" {
			t.Errorf("%s: not noticed", what)
		}
		if i%20 == 0 { // starting another language's program takes its time
			if ok, said := checker(t, forged); ok {
				t.Errorf("%s: the checker is content: %s", what, said)
			}
		}
	}
	for name, forged := range map[string][]byte{"cut short": file[:len(file)-1], "a space": bytes.Replace(file, []byte(`":`), []byte(`": `), 1), "nothing": nil} {
		if v := store.VerifyBundle(forged, nil, nil); v.OK {
			t.Errorf("%s: not noticed", name)
		}
		if ok, said := checker(t, forged); ok {
			t.Errorf("%s: the checker is content: %s", name, said)
		}
	}
}

// flipped is base64 of the same length of other bytes.
func flipped(rng *rand.Rand, text string) string {
	for {
		b := []byte(text)
		at := rng.IntN(len(b))
		if b[at] == '=' {
			continue
		}
		b[at] = "ABCDEFGHIJ0123456789"[rng.IntN(20)]
		if string(b) != text {
			return string(b)
		}
	}
}

// FuzzBundle: the reader never crashes, what it accepts it writes again byte for byte, and the check ends.
func FuzzBundle(f *testing.F) {
	w := storetest.New(f, storetest.Config{})
	w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
	b, err := w.Store.Bundle(ctx, w.Apprentices[0].ID)
	if err != nil {
		f.Fatal(err)
	}
	file, err := b.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(file)
	f.Add([]byte("{}\n"))
	f.Add([]byte(`{"contents":[],"entries":[],"format":"brakewright-bundle/1","head":"","head_key":"","made_at":0,"origin":"","person":"","title":"","zone":""}` + "\n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		b, err := ledger.ReadBundle(file)
		if err != nil {
			return
		}
		again, err := b.Encode()
		if err != nil || !bytes.Equal(again, file) {
			t.Fatalf("written again it is another: %v", err)
		}
		ledger.CheckBundle(b)
	})
}
