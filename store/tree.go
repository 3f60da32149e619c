package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/store/ledger"
)

// The tree grows at the end of each shared transaction: one row a leaf, and one head signed for all of them. A head is
// signed only if it extends the last one that is known: the database's own, which must be good by its signature and
// its hashes, and whatever this process has seen before.

// treeState is the writer's memory of the tree between commits. Nobody else touches it.
type treeState struct {
	origin string
	key    *ledger.HeadKey
	tree   *ledger.Tree // as of note; nil before the first commit
	note   string
}

// grow adds the transaction's leaves to the tree and signs the new head. It returns the new state, to be kept once the
// commit is durable.
func (t *tx) grow(old treeState) (treeState, error) {
	now := old
	if t.s.keys == nil {
		return old, ErrNoKeyFile
	}
	if t.s.refusal != nil {
		return old, t.s.refusal
	}
	if now.key == nil {
		if err := t.row(`SELECT origin FROM founding`).Scan(&now.origin); err != nil {
			return old, fmt.Errorf("the ledger's origin: %w", err)
		}
		key, err := ledger.NewHeadKey(now.origin, t.s.keys.HeadSeed)
		if err != nil {
			return old, err
		}
		now.key = key
	}
	tree, err := t.lastTree(now)
	if err != nil {
		return old, err
	}
	if tree.Size() != t.leavesFrom {
		return old, fmt.Errorf("the tree has %d entries, the ledger %d: %w", tree.Size(), t.leavesFrom, ErrDamaged)
	}
	insert, err := t.sql.PrepareContext(context.Background(), `INSERT INTO tree (idx, hashes) VALUES ($1, $2)`)
	if err != nil {
		return old, err
	}
	defer insert.Close()
	for _, leaf := range t.leaves {
		at := tree.Size()
		if _, err := insert.Exec(at, joinHashes(tree.Append(leaf))); err != nil {
			return old, err
		}
	}
	now.tree = tree
	if now.note, err = now.key.SignHead(tree.Size(), tree.Root()); err != nil {
		return old, err
	}
	_, err = t.exec(`INSERT INTO tree_head (one, size, note) VALUES (1, $1, $2) ON CONFLICT (one) DO UPDATE SET size = excluded.size, note = excluded.note`,
		tree.Size(), now.note)
	return now, err
}

// lastTree is the tree under the database's head, which must be one that this process may extend.
func (t *tx) lastTree(known treeState) (*ledger.Tree, error) {
	var note string
	err := t.row(`SELECT note FROM tree_head`).Scan(&note)
	if errors.Is(err, sql.ErrNoRows) {
		if known.tree != nil || t.leavesFrom > 0 {
			return nil, fmt.Errorf("the signed head is missing: %w", ErrDamaged)
		}
		return ledger.NewTree(0, nil)
	}
	if err != nil {
		return nil, err
	}
	if known.tree != nil && note == known.note {
		return known.tree.Clone(), nil
	}
	head, err := ledger.OpenHead(note, known.key.Public())
	if err != nil {
		return nil, fmt.Errorf("the database's head: %w (%w)", ErrDamaged, err)
	}
	kept := keptHashes{t}
	tree, err := treeUnder(kept, head.HeadBody)
	if err != nil {
		return nil, err
	}
	if known.tree != nil { // another process has written, or the file was put back
		if err := extendsHead(kept, head.HeadBody, ledger.HeadBody{Origin: known.origin, Size: known.tree.Size(), Root: known.tree.Root()}); err != nil {
			return nil, err
		}
	}
	return tree, nil
}

// treeUnder is the tree as its hashes are kept; they must give the head's root.
func treeUnder(kept keptHashes, head ledger.HeadBody) (*ledger.Tree, error) {
	tree, err := ledger.NewTree(head.Size, kept)
	if err != nil {
		return nil, fmt.Errorf("the tree's hashes: %w", err)
	}
	if tree.Root() != head.Root {
		return nil, fmt.Errorf("the tree's hashes do not give the root of its head: %w", ErrDamaged)
	}
	return tree, nil
}

// extendsHead says whether the tree of the database, whose head is now, begins with the tree under an earlier head.
func extendsHead(kept keptHashes, now, earlier ledger.HeadBody) error {
	switch {
	case now.Origin != earlier.Origin:
		return fmt.Errorf("the head that is known is of %s, this ledger is %s: %w", earlier.Origin, now.Origin, ErrRolledBack)
	case now.Size < earlier.Size:
		return fmt.Errorf("it has %d entries, a head is known of %d: %w", now.Size, earlier.Size, ErrRolledBack)
	case earlier.Size == 0:
		return nil
	}
	before, err := ledger.NewTree(earlier.Size, kept)
	if err != nil {
		return fmt.Errorf("the tree's hashes: %w", err)
	}
	if before.Root() != earlier.Root {
		return fmt.Errorf("its first %d entries are not those under the head that is known: %w", earlier.Size, ErrRolledBack)
	}
	return nil
}

// keptHashes reads the tree's hashes out of its table, by tlog's numbering.
type keptHashes struct{ q querier }

func (k keptHashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	all := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		leaf, place := ledger.TreeRow(index)
		var b []byte
		if err := missing(k.q.row(`SELECT hashes FROM tree WHERE idx = $1`, leaf).Scan(&b)); err != nil {
			return nil, fmt.Errorf("tree row %d: %w", leaf, err)
		}
		if len(b) < (place+1)*tlog.HashSize {
			return nil, fmt.Errorf("tree row %d is cut short: %w", leaf, ErrDamaged)
		}
		copy(all[i][:], b[place*tlog.HashSize:])
	}
	return all, nil
}

func joinHashes(hashes []tlog.Hash) []byte {
	b := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		b = append(b, h[:]...)
	}
	return b
}

// plantTree makes the tree of a database that had none when its tables were brought up to date.
func (s *Store) plantTree(ctx context.Context) error {
	pending := func(q querier) (bool, error) {
		var n int
		err := q.row(`SELECT COUNT(*) FROM bookkeeping WHERE name = 'tree'`).Scan(&n)
		return n > 0, err
	}
	var wanted bool
	err := s.read(ctx, func(q querier) (err error) { wanted, err = pending(q); return err })
	if err != nil || !wanted || s.keys == nil {
		return err
	}
	return s.write(ctx, func(t *tx) error {
		if wanted, err := pending(t); err != nil || !wanted { // another process was first
			return err
		}
		var heads int
		if err := t.row(`SELECT (SELECT COUNT(*) FROM tree_head) + (SELECT COUNT(*) FROM tree)`).Scan(&heads); err != nil {
			return err
		}
		if heads > 0 {
			return fmt.Errorf("the tree is there, but noted as not made yet: %w", ErrDamaged)
		}
		if len(t.leaves) > 0 {
			return fmt.Errorf("the tree must be made before the first entry: %w", ErrBusy)
		}
		t.leavesFrom = 0
		err := eachLeaf(ctx, t, func(hash tlog.Hash) error { t.leaves = append(t.leaves, hash); return nil })
		if err != nil {
			return err
		}
		_, err = t.exec(`DELETE FROM bookkeeping WHERE name = 'tree'`)
		return err
	})
}

// eachLeaf hashes all leaves in order, a batch at a time on all cores.
func eachLeaf(ctx context.Context, q querier, each func(tlog.Hash) error) error {
	const batch = 1024
	for next := int64(0); ; {
		if err := ctx.Err(); err != nil {
			return err
		}
		leaves, err := collect(q, func(r *sql.Rows) (b []byte, err error) { return b, r.Scan(&b) },
			`SELECT leaf FROM entries WHERE idx >= $1 ORDER BY idx LIMIT $2`, next, batch)
		if err != nil || len(leaves) == 0 {
			return err
		}
		hashes := make([]tlog.Hash, len(leaves))
		var wg sync.WaitGroup
		share := (len(leaves) + runtime.GOMAXPROCS(0) - 1) / runtime.GOMAXPROCS(0)
		for from := 0; from < len(leaves); from += share {
			wg.Go(func() {
				for i := from; i < min(from+share, len(leaves)); i++ {
					hashes[i] = ledger.LeafHash(leaves[i])
				}
			})
		}
		wg.Wait()
		for _, h := range hashes {
			if err := each(h); err != nil {
				return err
			}
		}
		next += int64(len(leaves))
	}
}

// recomputeTree makes the tree anew from the leaves: what is signed for must be what is there.
func (s *Store) recomputeTree(ctx context.Context) error {
	return s.read(ctx, func(q querier) error {
		head, err := headOf(q)
		if errors.Is(err, ErrNotFound) {
			s.refusal = fmt.Errorf("database %s: the signed head is missing: %w", s.path, ErrDamaged)
			return nil
		}
		if err != nil {
			return err
		}
		tree, err := ledger.NewTree(0, nil)
		if err != nil {
			return err
		}
		if err := eachLeaf(ctx, q, func(hash tlog.Hash) error { tree.Append(hash); return nil }); err != nil {
			return err
		}
		if tree.Size() != head.Size || tree.Root() != head.Root {
			s.refusal = fmt.Errorf("database %s: its %d entries are not those under its signed head of %d; verify says more: %w", s.path, tree.Size(), head.Size, ErrDamaged)
		}
		return nil
	})
}

// HeadKey is the tree's public key as outsiders are given it, or "" without the key file.
func (s *Store) HeadKey(ctx context.Context) (string, error) {
	if s.keys == nil {
		return "", nil
	}
	info, err := s.Info(ctx)
	if err != nil {
		return "", err
	}
	key, err := ledger.NewHeadKey(info.Origin, s.keys.HeadSeed)
	if err != nil {
		return "", err
	}
	return key.Public(), nil
}

// TreeHead is the last signed head; ErrNotFound before there is one.
func (s *Store) TreeHead(ctx context.Context) (*ledger.TreeHead, error) {
	var h *ledger.TreeHead
	err := s.read(ctx, func(q querier) (err error) { h, err = headOf(q); return err })
	return h, err
}

func headOf(q querier) (*ledger.TreeHead, error) {
	var note string
	if err := missing(q.row(`SELECT note FROM tree_head`).Scan(&note)); err != nil {
		return nil, fmt.Errorf("the ledger's head: %w", err)
	}
	return ledger.ParseHead(note)
}

// Proof is a proof in the tree of a size.
type Proof struct {
	Size   int64
	Root   tlog.Hash
	Hashes []tlog.Hash // RFC 6962: siblings from the leaf up; for consistency, in its order
}

// ProveEntry proves that an entry stands in the tree of a size; ErrNotFound if the ledger has no such entry or size.
func (s *Store) ProveEntry(ctx context.Context, index, size int64) (Proof, error) {
	return s.prove(ctx, size, index >= 0 && index < size, func(kept keptHashes) ([]tlog.Hash, error) {
		return tlog.ProveRecord(size, index, kept)
	})
}

// ProveGrowth proves that the tree of a size begins with the tree of a smaller one.
func (s *Store) ProveGrowth(ctx context.Context, from, size int64) (Proof, error) {
	return s.prove(ctx, size, from > 0 && from <= size, func(kept keptHashes) ([]tlog.Hash, error) {
		return tlog.ProveTree(size, from, kept)
	})
}

func (s *Store) prove(ctx context.Context, size int64, possible bool, hashes func(keptHashes) ([]tlog.Hash, error)) (p Proof, err error) {
	err = s.read(ctx, func(q querier) error {
		head, err := headOf(q)
		if err != nil {
			return err
		}
		if !possible || size > head.Size {
			return fmt.Errorf("the tree has %d entries: %w", head.Size, ErrNotFound)
		}
		p, err = prove(keptHashes{q}, size, hashes)
		return err
	})
	return p, err
}

func prove(kept keptHashes, size int64, hashes func(keptHashes) ([]tlog.Hash, error)) (Proof, error) {
	tree, err := ledger.NewTree(size, kept)
	if err != nil {
		return Proof{}, err
	}
	path, err := hashes(kept)
	if path == nil {
		path = []tlog.Hash{}
	}
	return Proof{Size: size, Root: tree.Root(), Hashes: path}, err
}
