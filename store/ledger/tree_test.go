package ledger

import (
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"
)

// The published vectors of Certificate Transparency (RFC 6962 and 9162, 2.1): eight leaves, all roots, three proofs of each kind.
var (
	vectorLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	vectorRoots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	vectorInclusion = []struct {
		index, size int64
		proof       []string
	}{
		{0, 1, nil},
		{0, 8, []string{"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7", "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e", "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
		{5, 8, []string{"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b", "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0", "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
		{2, 3, []string{"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"}},
	}
	vectorConsistency = []struct {
		from, size int64
		proof      []string
	}{
		{1, 1, nil},
		{1, 8, []string{"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7", "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e", "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
		{6, 8, []string{"0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a", "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0", "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
	}
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func unhexHash(t testing.TB, s string) (h tlog.Hash) {
	copy(h[:], unhex(t, s))
	return h
}

func TestTreePublishedVectors(t *testing.T) {
	tree, err := NewTree(0, nil)
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range vectorRoots {
		if got := tree.Root(); got != unhexHash(t, want) {
			t.Errorf("root of %d leaves: %x", n, got)
		}
		if n < len(vectorLeaves) {
			tree.Append(LeafHash(unhex(t, vectorLeaves[n])))
		}
	}
	head := func(size int64) HeadBody { return HeadBody{"o", size, unhexHash(t, vectorRoots[size])} }
	hashes := func(texts []string) (all []tlog.Hash) {
		for _, x := range texts {
			all = append(all, unhexHash(t, x))
		}
		return all
	}
	for _, v := range vectorInclusion {
		leaf := LeafHash(unhex(t, vectorLeaves[v.index]))
		if err := CheckInclusion(hashes(v.proof), head(v.size), v.index, leaf); err != nil {
			t.Errorf("inclusion of %d in %d: %v", v.index, v.size, err)
		}
	}
	for _, v := range vectorConsistency {
		if err := CheckConsistency(hashes(v.proof), head(v.size), head(v.from)); err != nil {
			t.Errorf("%d begins with %d: %v", v.size, v.from, err)
		}
	}
}

// memory keeps a tree's hashes as the database does: by leaf.
type memory [][]tlog.Hash

func (m memory) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	all := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		leaf, place := TreeRow(index)
		if leaf >= int64(len(m)) || place >= len(m[leaf]) {
			return nil, errors.New("missing")
		}
		all[i] = m[leaf][place]
	}
	return all, nil
}

// The tree that grows is tlog's own: the same hashes to keep, the same roots; every proof holds, and none with anything changed.
func TestTreeIsTlogs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(1, 200).Draw(t, "leaves")
		tree, _ := NewTree(0, nil)
		var kept memory
		for i := range n {
			leaf := LeafHash(fmt.Append(nil, i))
			want, err := tlog.StoredHashesForRecordHash(i, leaf, kept)
			if err != nil {
				t.Fatal(err)
			}
			got := tree.Append(leaf)
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Fatalf("leaf %d: %v, tlog has %v", i, got, want)
			}
			kept = append(kept, got)
		}
		root, err := tlog.TreeHash(n, kept)
		if err != nil || root != tree.Root() {
			t.Fatal(root, tree.Root(), err)
		}
		size := rapid.Int64Range(1, n).Draw(t, "size")
		again, err := NewTree(size, kept)
		if err != nil {
			t.Fatal(err)
		}
		head, older := HeadBody{"o", n, root}, HeadBody{"o", size, again.Root()}
		proof, err := tlog.ProveTree(n, size, kept)
		if err != nil {
			t.Fatal(err)
		}
		if err := CheckConsistency(proof, head, older); err != nil {
			t.Fatal(err)
		}
		index := rapid.Int64Range(0, n-1).Draw(t, "index")
		path, err := tlog.ProveRecord(n, index, kept)
		if err != nil {
			t.Fatal(err)
		}
		leaf := LeafHash(fmt.Append(nil, index))
		if err := CheckInclusion(tlog.RecordProof(path), head, index, leaf); err != nil {
			t.Fatal(err)
		}
		// Something changed: it must not hold.
		bad := older
		bad.Root[rapid.IntRange(0, 31).Draw(t, "byte")] ^= 1
		if CheckConsistency(proof, head, bad) == nil {
			t.Fatal("another root passed")
		}
		leaf[0] ^= 1
		if CheckInclusion(tlog.RecordProof(path), head, index, leaf) == nil {
			t.Fatal("another leaf passed")
		}
	})
}

// The published key and note of the signed-note format.
func TestSignedNoteVectors(t *testing.T) {
	const (
		verifier = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
		text     = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
		signed   = text + "\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
	)
	secret, err := base64.StdEncoding.DecodeString("AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz") // after the kind, 01, the seed
	if err != nil {
		t.Fatal(err)
	}
	var seed [32]byte
	copy(seed[:], secret[1:])
	peter, err := NewHeadKey("PeterNeumann", seed)
	if err != nil || peter.Public() != verifier {
		t.Fatalf("%s, %v", peter.Public(), err)
	}
	raw, err := peter.Sign([]byte(text))
	if err != nil || !strings.HasSuffix(signed, encode64(append([]byte{0xc7, 0x4f, 0x20, 0xa3}, raw...))+"\n") {
		t.Errorf("%x, %v", raw, err)
	}
	if _, err := OpenHead(signed, verifier); err == nil {
		t.Error("a note that is no head was taken for one")
	}
}

func TestHeads(t *testing.T) {
	k, err := NewHeadKey("example.org/brakes", [32]byte{1})
	if err != nil {
		t.Fatal(err)
	}
	root := LeafHash([]byte("x"))
	good, err := k.SignHead(7, root)
	if err != nil {
		t.Fatal(err)
	}
	h, err := OpenHead(good, k.Public())
	if err != nil || h.Size != 7 || h.Root != root || h.Origin != "example.org/brakes" || !h.Signed || h.Text()+"\n" != good[:len(h.Text())+1] {
		t.Fatalf("%+v, %v", h, err)
	}
	other, err := NewHeadKey("example.org/brakes", [32]byte{2})
	if err != nil {
		t.Fatal(err)
	}
	foreign, err := other.SignHead(7, root)
	if err != nil {
		t.Fatal(err)
	}
	// A witness's further signature is passed over.
	cosigned := good + strings.SplitAfter(foreign, "\n\n")[1]
	if _, err := OpenHead(cosigned, k.Public()); err != nil {
		t.Errorf("cosigned: %v", err)
	}
	spare := strings.Replace(good, "=\n", "", 1)
	for name, bad := range map[string]string{
		"nothing":                "",
		"another key's":          foreign,
		"another size":           strings.Replace(good, "\n7\n", "\n8\n", 1),
		"a leading zero":         strings.Replace(good, "\n7\n", "\n07\n", 1),
		"a plus sign":            strings.Replace(good, "\n7\n", "\n+7\n", 1),
		"another root":           strings.Replace(good, root.String(), LeafHash(nil).String(), 1),
		"another origin":         strings.Replace(good, "example.org/brakes\n", "example.org/breaks\n", 1),
		"no signature":           good[:strings.Index(good, "— ")],
		"a signature twice":      good + strings.SplitAfter(good, "\n\n")[1],
		"an extension line":      strings.Replace(good, root.String()+"\n", root.String()+"\nmore\n", 1),
		"no newline":             strings.TrimSuffix(good, "\n"),
		"something after":        good + "x",
		"base64 with stray bits": spare,
	} {
		if _, err := OpenHead(bad, k.Public()); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	for _, origin := range []string{"", "a b", "a+b", "a\nb", "a\u00a0b", "a\xff"} {
		if _, err := NewHeadKey(origin, [32]byte{1}); err == nil {
			t.Errorf("origin %q: taken", origin)
		}
	}
	// What people keep: one head, many of them, with the line ends of another system, the API's answer.
	longer, err := k.SignHead(9, root)
	if err != nil {
		t.Fatal(err)
	}
	for name, kept := range map[string]string{
		"one": longer, "many": good + "\n" + longer + "\n" + good, "many without lines between": longer + good,
		"line ends": strings.ReplaceAll(longer, "\n", "\r\n"), "JSON": `{"head":` + fmt.Sprintf("%q", longer) + `,"size":9}`, "no last line end": strings.TrimSuffix(longer, "\n"),
	} {
		if h, err := HeadOf([]byte(kept)); err != nil || h.Size != 9 {
			t.Errorf("%s: %+v, %v", name, h, err)
		} else if _, err := OpenHead(h.Note, k.Public()); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, kept := range []string{"", "{}", `{"head":5}`, "abc", "\n\n"} {
		if _, err := HeadOf([]byte(kept)); err == nil {
			t.Errorf("%q is a head", kept)
		}
	}
}

// FuzzHead: the reader of heads never crashes, and what it accepts says nothing in two ways.
func FuzzHead(f *testing.F) {
	k, err := NewHeadKey("example.org/brakes", [32]byte{1})
	if err != nil {
		f.Fatal(err)
	}
	good, err := k.SignHead(7, LeafHash(nil))
	if err != nil {
		f.Fatal(err)
	}
	empty, err := k.SignHead(0, EmptyRoot)
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range []string{good, empty, good + "— w " + strings.Repeat("A", 8) + "\n", strings.Replace(good, "\n7", "\n07", 1), "", "a\n0\n\n\n"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		h, err := ParseHead(text)
		_, _ = HeadOf([]byte(text))
		if signed, err := OpenHead(text, k.Public()); err == nil {
			again, err := k.SignHead(signed.Size, signed.Root)
			if err != nil || !strings.HasPrefix(text, signed.Text()+"\n") || !strings.Contains(text, again[len(signed.Text())+1:]) {
				t.Fatalf("%q is signed again as %q (%v)", text, again, err)
			}
		}
		if err != nil {
			return
		}
		body, err := ParseHeadBody(h.Text())
		if err != nil || body != h.HeadBody || !strings.HasPrefix(text, h.Text()+"\n") {
			t.Fatalf("%q reads as %+v, which is %q (%v)", text, h, h.Text(), err)
		}
	})
}
