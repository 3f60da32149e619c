package ledger

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// LeafHash is a leaf's hash in the tree: SHA-256 of a zero byte and the leaf (RFC 6962, 2.1).
func LeafHash(leaf []byte) tlog.Hash { return tlog.RecordHash(leaf) }

// Tree grows the tree leaf by leaf, holding its right edge only. It is deterministic and of the same shape as tlog's:
// what Append gives back are tlog's stored hashes of that leaf.
type Tree struct {
	size int64
	edge []tlog.Hash // complete subtrees from left to right, one for each one in size's binary digits
}

// NewTree goes on from a tree whose hashes are kept: size entries, read by r.
func NewTree(size int64, r tlog.HashReader) (*Tree, error) {
	t := &Tree{size: size}
	var indexes []int64
	at := int64(0)
	for level := 62; level >= 0; level-- {
		if n := int64(1) << level; size&n != 0 {
			indexes = append(indexes, tlog.StoredHashIndex(level, at>>level))
			at += n
		}
	}
	if len(indexes) == 0 {
		return t, nil
	}
	hashes, err := r.ReadHashes(indexes)
	if err != nil {
		return nil, err
	}
	if len(hashes) != len(indexes) {
		return nil, errors.New("the tree's hashes are not all there")
	}
	t.edge = hashes
	return t, nil
}

// Size is how many leaves it has.
func (t *Tree) Size() int64 { return t.size }

// Append adds a leaf by its hash and returns the hashes to be kept: the leaf's, and those of the subtrees that it completes,
// from the lowest up.
func (t *Tree) Append(leaf tlog.Hash) []tlog.Hash {
	kept := []tlog.Hash{leaf}
	h := leaf
	for n := t.size; n&1 == 1; n >>= 1 {
		last := len(t.edge) - 1
		h = tlog.NodeHash(t.edge[last], h)
		t.edge = t.edge[:last]
		kept = append(kept, h)
	}
	t.edge = append(t.edge, h)
	t.size++
	return kept
}

// Root is the tree's root.
func (t *Tree) Root() tlog.Hash {
	if t.size == 0 {
		return EmptyRoot
	}
	h := t.edge[len(t.edge)-1]
	for i := len(t.edge) - 2; i >= 0; i-- {
		h = tlog.NodeHash(t.edge[i], h)
	}
	return h
}

// Clone is a copy that grows by itself.
func (t *Tree) Clone() *Tree {
	return &Tree{size: t.size, edge: append([]tlog.Hash(nil), t.edge...)}
}

// TreeRow says where one of tlog's stored hashes is kept: with which leaf, and at which place among that leaf's hashes.
func TreeRow(index int64) (leaf int64, place int) {
	level, n := tlog.SplitStoredHashIndex(index)
	return (n+1)<<level - 1, level
}

// ErrProof says that a proof does not hold.
var ErrProof = errors.New("the proof does not hold")

// CheckInclusion proves that a leaf stands at an index in the tree under a head. RFC 6962, 2.1.1.
func CheckInclusion(proof []tlog.Hash, head HeadBody, index int64, leaf tlog.Hash) error {
	if index < 0 || index >= head.Size {
		return fmt.Errorf("entry %d is not among the %d under the head: %w", index, head.Size, ErrProof)
	}
	if err := tlog.CheckRecord(tlog.RecordProof(proof), head.Size, head.Root, index, leaf); err != nil {
		return fmt.Errorf("entry %d: %w", index, ErrProof)
	}
	return nil
}

// CheckConsistency proves that the tree under an older head is the beginning of the tree under a newer one. RFC 6962, 2.1.2.
func CheckConsistency(proof []tlog.Hash, newer, older HeadBody) error {
	switch {
	case newer.Origin != older.Origin:
		return fmt.Errorf("one head is of %s, the other of %s: %w", newer.Origin, older.Origin, ErrProof)
	case older.Size > newer.Size:
		return fmt.Errorf("%d entries are not the beginning of %d: %w", older.Size, newer.Size, ErrProof)
	case older.Size == 0:
		if len(proof) > 0 {
			return fmt.Errorf("an empty ledger needs no proof: %w", ErrProof)
		}
		return nil
	}
	if err := tlog.CheckTree(tlog.TreeProof(proof), newer.Size, newer.Root, older.Size, older.Root); err != nil {
		return fmt.Errorf("the first %d entries are others: %w", older.Size, ErrProof)
	}
	return nil
}
