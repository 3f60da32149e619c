package store_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

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
	// So would the seed of its draw, which entries of older versions tell.
	issued := base64.StdEncoding.EncodeToString(mustEntry(t, w, past["open test"]).Leaf)
	if bytes.Contains(pias, []byte(issued)) {
		t.Error("the entry of an open test, with its seed, is in the bundle")
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
		switch rng.IntN(11) {
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
		case 9:
			what, b.Title = "title", b.Title+" of another town"
		case 10:
			what, b.Zone = "zone", "Europe/Paris"
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
	// What the opening says of the ledger, both checkers compare.
	for name, change := range map[string]func(*ledger.Bundle){
		"title": func(b *ledger.Bundle) { b.Title = "Another shop" }, "zone": func(b *ledger.Bundle) { b.Zone = "Asia/Tokyo" },
		"the opening left out": func(b *ledger.Bundle) { b.Entries = b.Entries[1:] },
	} {
		var b ledger.Bundle
		if err := json.Unmarshal(file, &b); err != nil {
			t.Fatal(err)
		}
		change(&b)
		forged, err := b.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if v := store.VerifyBundle(forged, w.Options.Keys, nil); v.OK {
			t.Errorf("%s: not noticed", name)
		}
		if ok, said := checker(t, forged); ok {
			t.Errorf("%s: the checker is content: %s", name, said)
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

// Whoever has the database, the server's key file and the source can put any entries under a new head; and may be a person with
// a key of their own beside. Without the passphrase of whoever had to sign, neither checker takes what is about the person.
func TestBundleForged(t *testing.T) {
	w := storetest.New(t, storetest.Config{})
	w.FullHistory()
	pat, pia, sam, sid := w.Apprentices[0], w.Apprentices[1], w.Supervisors[0], w.Supervisors[2]
	ada, cora := w.Coordinators[0], w.Coordinators[1]
	file := func(t *testing.T, forged ...*ledger.Submission) []byte {
		t.Helper()
		b, _ := bundleOf(t, w, pat.ID)
		// Pia's key comes along as if she had signed something.
		other, _ := bundleOf(t, w, pia.ID)
		for _, e := range other.Entries {
			if !slices.ContainsFunc(b.Entries, func(x ledger.BundleEntry) bool { return x.Index == e.Index }) {
				e.Personal = nil
				b.Entries = append(b.Entries, e)
			}
		}
		slices.SortFunc(b.Entries, func(a, b ledger.BundleEntry) int { return int(a.Index - b.Index) })
		for _, s := range forged {
			leaf, err := s.Leaf(w.Clock.Now().UnixMilli())
			if err != nil {
				t.Fatal(err)
			}
			b.Entries = append(b.Entries, ledger.BundleEntry{Leaf: base64.StdEncoding.EncodeToString(leaf)})
		}
		return underNewHead(t, w, b)
	}
	newKey := func(m *storetest.Member, by ...*ledger.Signer) (*ledger.Submission, *ledger.Signer) {
		id := w.ID()
		k, public, sealed, err := ledger.NewKey(w.Random, id, m.ID, "the forger's own")
		if err != nil {
			t.Fatal(err)
		}
		return w.Make(m.ID, ledger.KeyAdded, m.ID, ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed}, append([]*ledger.Signer{k}, by...)...), k
	}
	signOff := func(by *storetest.Member, keys ...*ledger.Signer) *ledger.Submission {
		s := w.SignOff(by, pat, w.Tasks[0], nil)
		s.Signatures = nil
		for _, k := range keys {
			if err := s.Sign(k); err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	mine, key := newKey(sam, pia.Signer)
	appointed := w.Make(cora.ID, ledger.Appointed, sid.ID, ledger.AppointmentPayload{Task: w.Tasks[0], From: w.Today()}, nil, nil, pia.Signer)
	cleared := func(p ledger.ClearancePayload, keys ...*ledger.Signer) *ledger.Submission {
		p.Task, p.Programme, p.Program = w.Tasks[0], ledger.Hash(nil), "x"
		return w.Make(sam.ID, ledger.ClearanceGiven, pat.ID, p, map[string]string{"reason": "r"}, map[string][]byte{"verdict": []byte("{}"), "policy": []byte("{}"), "parameters": []byte("{}")}, keys...)
	}
	role := w.Make(pia.ID, ledger.RoleGranted, pia.ID, ledger.RolePayload{Role: "coordinator", From: w.Today()}, nil, nil, pia.Signer)
	voucher, vouched := newKey(sam, pia.Signer)
	for _, c := range []struct {
		name string
		ok   bool
		subs []*ledger.Submission
	}{
		{"nothing", true, nil},
		{"a sign-off in order", true, []*ledger.Submission{signOff(sam, sam.Signer)}},
		{"a sign-off that nobody signed", false, []*ledger.Submission{signOff(sam)}},
		{"a sign-off signed by somebody else", false, []*ledger.Submission{signOff(sam, pia.Signer)}},
		{"a sign-off by somebody of no appointment", false, []*ledger.Submission{signOff(pia, pia.Signer)}},
		{"a sign-off after the appointment's end", false, []*ledger.Submission{signOff(sid, sid.Signer)}},
		{"an appointment signed by an apprentice", false, []*ledger.Submission{appointed, signOff(sid, sid.Signer)}},
		{"a key vouched for by an apprentice", false, []*ledger.Submission{mine, signOff(sam, key)}},
		{"an apprentice's own coordinator's role", false, []*ledger.Submission{role, voucher, signOff(sam, vouched)}},
		{"a clearance", true, []*ledger.Submission{cleared(ledger.ClearancePayload{}, sam.Signer)}},
		{"a waiver with one signature", false, []*ledger.Submission{cleared(ledger.ClearancePayload{Waiver: &ledger.WaiverMade{Gates: []string{"jobs"}, Until: "2026-12-31"}}, sam.Signer)}},
		{"a waiver whose second is an apprentice", false, []*ledger.Submission{cleared(ledger.ClearancePayload{Waiver: &ledger.WaiverMade{Gates: []string{"jobs"}, Until: "2026-12-31"}}, sam.Signer, pia.Signer)}},
		{"a recognition by one", false, []*ledger.Submission{w.Make(sam.ID, ledger.Recognised, pat.ID,
			ledger.RecognitionPayload{Task: w.Tasks[0], StandsFor: []string{"jobs"}}, map[string]string{"reason": "r"}, nil, sam.Signer)}},
		{"a recognition by two", true, []*ledger.Submission{w.Make(sam.ID, ledger.Recognised, pat.ID,
			ledger.RecognitionPayload{Task: w.Tasks[0], StandsFor: []string{"jobs"}}, map[string]string{"reason": "r"}, nil, sam.Signer, ada.Signer)}},
		{"a countersignature by another", false, []*ledger.Submission{w.Make(pat.ID, ledger.Countersigned, pat.ID, ledger.CountersignedPayload{Entry: w.ID()}, nil, nil, pia.Signer)}},
	} {
		t.Run(c.name, func(t *testing.T) {
			forged := file(t, c.subs...)
			if v := store.VerifyBundle(forged, w.Options.Keys, nil); v.OK != c.ok {
				t.Errorf("ok %v: %+v", v.OK, v.FirstProblem)
			}
			if ok, said := checker(t, forged); ok != c.ok {
				t.Errorf("the checker in another language: %s", said)
			}
		})
	}
}

// underNewHead numbers a bundle's entries from 0, and signs a head over them alone, as whoever has the key file can.
func underNewHead(t *testing.T, w *storetest.World, b *ledger.Bundle) []byte {
	t.Helper()
	var stored hashes
	for i := range b.Entries {
		leaf, err := base64.StdEncoding.DecodeString(b.Entries[i].Leaf)
		if err != nil {
			t.Fatal(err)
		}
		more, err := tlog.StoredHashes(int64(i), leaf, &stored)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, more...)
		b.Entries[i].Index = int64(i)
	}
	size := int64(len(b.Entries))
	root, err := tlog.TreeHash(size, &stored)
	if err != nil {
		t.Fatal(err)
	}
	for i := range b.Entries {
		proof, err := tlog.ProveRecord(size, int64(i), &stored)
		if err != nil {
			t.Fatal(err)
		}
		b.Entries[i].Proof = ledger.EncodeHashes(proof)
	}
	key, err := ledger.NewHeadKey(b.Origin, w.Options.Keys.HeadSeed)
	if err != nil {
		t.Fatal(err)
	}
	if b.Head, err = key.SignHead(size, root); err != nil {
		t.Fatal(err)
	}
	file, err := b.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return file
}

// hashes are the stored hashes of a small tree.
type hashes []tlog.Hash

func (h *hashes) ReadHashes(at []int64) ([]tlog.Hash, error) {
	var all []tlog.Hash
	for _, i := range at {
		all = append(all, (*h)[i])
	}
	return all, nil
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
