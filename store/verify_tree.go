package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/store/ledger"
)

// treeExam compares the entries with the tree that is kept of them, with the database's own head, and with heads that
// were kept elsewhere. It is told of every entry in order.
type treeExam struct {
	q       querier
	key     *KeyFile
	absent  bool // no tree was made yet: a database from before there was one
	head    *ledger.TreeHead
	broken  *Problem // of the head itself
	vouched bool     // the tree that is kept gives the head's root: an entry that differs from it is the culprit
	heads   []*ledger.TreeHead
	roots   map[int64]tlog.Hash // the entries' own root at the sizes of all heads
	made    *ledger.Tree        // of the entries as they are
	kept    []keptRow           // rows of the tree, a batch ahead
	row     *Problem            // first row of the tree that is not of its entry
	origin  string
}

type keptRow struct {
	idx    int64
	hashes []byte
}

func (x *examiner) readTree(_ context.Context, heads []*ledger.TreeHead) error {
	e := &treeExam{q: x.q, key: x.keys, heads: heads, roots: map[int64]tlog.Hash{}}
	x.tree = e
	e.made, _ = ledger.NewTree(0, nil)
	for _, h := range heads {
		e.roots[h.Size] = tlog.Hash{}
	}
	var pending int
	if err := x.q.row(`SELECT COUNT(*) FROM bookkeeping WHERE name = 'tree'`).Scan(&pending); err != nil {
		return err
	}
	var note string
	err := x.q.row(`SELECT note FROM tree_head`).Scan(&note)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		e.absent = pending > 0
		if !e.absent {
			e.broken = &Problem{Table: "tree_head", Row: "1", Index: -1, What: "the signed head is missing"}
		}
		return nil
	case err != nil:
		return err
	}
	head, err := ledger.ParseHead(note)
	if err != nil {
		e.broken = &Problem{Table: "tree_head", Row: "1", Index: -1, What: err.Error()}
		return nil
	}
	e.head = head
	e.roots[head.Size] = tlog.Hash{}
	x.v.Head = &head.Note
	if tree, err := ledger.NewTree(head.Size, keptHashes{x.q}); err == nil {
		e.vouched = tree.Root() == head.Root
	} else if !errors.Is(err, ErrNotFound) && !errors.Is(err, ErrDamaged) {
		return err
	}
	return nil
}

// entry is told of an entry before its rules are judged.
func (e *treeExam) entry(r *replayed) *Problem {
	if r.index != e.made.Size() { // entries are missing: the rules' judge says so
		return nil
	}
	if r.index == 0 && r.p != nil {
		if p, ok := r.p.Payload.(*ledger.OpeningPayload); ok {
			e.origin = p.Origin
		}
	}
	hashes := joinHashes(e.made.Append(r.hash))
	if _, wanted := e.roots[e.made.Size()]; wanted {
		e.roots[e.made.Size()] = e.made.Root()
	}
	if e.absent || e.row != nil {
		return nil
	}
	row, err := e.next()
	what := ""
	switch {
	case err != nil:
		what = err.Error()
	case row == nil:
		what = "its row of the tree is missing"
	case row.idx != r.index:
		what = fmt.Sprintf("row %d of the tree stands where this one should", row.idx)
	case len(row.hashes) < tlog.HashSize || !bytes.Equal(row.hashes[:tlog.HashSize], r.hash[:]):
		what = "the tree holds another hash for its entry"
		if e.vouched && r.index < e.head.Size {
			return &Problem{Table: "entries", Row: fmt.Sprint(r.index), Index: r.index, What: "its bytes are not those under the signed head"}
		}
	case !bytes.Equal(row.hashes, hashes):
		what = "the tree's hashes do not follow from the entries"
	}
	if what != "" {
		e.row = &Problem{Table: "tree", Row: fmt.Sprint(r.index), Index: r.index, What: what}
	}
	return nil
}

// next is the tree's next row, nil at the end.
func (e *treeExam) next() (*keptRow, error) {
	if len(e.kept) == 0 {
		var err error
		e.kept, err = collect(e.q, func(r *sql.Rows) (x keptRow, err error) { return x, r.Scan(&x.idx, &x.hashes) },
			`SELECT idx, hashes FROM tree WHERE idx >= $1 ORDER BY idx LIMIT $2`, e.made.Size()-1, replayBatch)
		if err != nil || len(e.kept) == 0 {
			return nil, err
		}
	}
	row := e.kept[0]
	e.kept = e.kept[1:]
	return &row, nil
}

// finish judges the whole once all entries were seen and found sound.
func (e *treeExam) finish(x *examiner) error {
	if e.absent {
		x.v.NotExamined = append(x.v.NotExamined, "tree")
	} else {
		p := e.own()
		if p == nil {
			var rows int64
			if err := e.q.row(`SELECT COUNT(*) FROM tree`).Scan(&rows); err != nil {
				return err
			}
			if rows != e.made.Size() {
				p = &Problem{Table: "tree", Row: fmt.Sprint(e.made.Size()), Index: -1, What: fmt.Sprintf("it has %d rows for %d entries", rows, e.made.Size())}
			}
		}
		x.check("tree", e.made.Size(), p)
		if e.key == nil {
			x.v.NotExamined = append(x.v.NotExamined, "head_signature")
		}
	}
	if len(e.heads) == 0 {
		x.v.NotExamined = append(x.v.NotExamined, "rollback")
		slices.Sort(x.v.NotExamined)
		return nil
	}
	var problem *Problem
	for _, h := range e.heads {
		if problem = e.given(h); problem != nil {
			break
		}
	}
	x.check("heads given", int64(len(e.heads)), problem)
	slices.Sort(x.v.NotExamined)
	return nil
}

// own judges the database's own head and tree.
func (e *treeExam) own() *Problem {
	size := e.made.Size()
	headProblem := func(what string) *Problem {
		return &Problem{Table: "tree_head", Row: "1", Index: -1, What: what}
	}
	var kept int64
	switch {
	case e.broken != nil:
		return e.broken
	case e.q.row(`SELECT size FROM tree_head`).Scan(&kept) != nil || kept != e.head.Size:
		return headProblem("the row counts other entries than the head in it")
	case e.head.Origin != e.origin:
		return headProblem(fmt.Sprintf("the head is of %s, the ledger of %s", e.head.Origin, e.origin))
	case e.key != nil && e.signature() != nil:
		return headProblem("it is not signed by the key file's tree key: " + e.signature().Error())
	case e.head.Size > size:
		return &Problem{Table: "entries", Row: fmt.Sprint(size), Index: size, What: fmt.Sprintf("the signed head counts %d entries; from entry %d on they are missing", e.head.Size, size)}
	case e.head.Size < size:
		return &Problem{Table: "entries", Row: fmt.Sprint(e.head.Size), Index: e.head.Size, What: fmt.Sprintf("the signed head counts %d entries only", e.head.Size)}
	case e.roots[size] != e.head.Root && e.row != nil && !e.vouched:
		return headProblem("its root is neither that of the entries nor that of the tree")
	case e.roots[size] != e.head.Root:
		return headProblem("its root is not that of the entries")
	}
	return e.row
}

func (e *treeExam) signature() error {
	key, err := ledger.NewHeadKey(e.origin, e.key.HeadSeed)
	if err != nil {
		return err
	}
	_, err = ledger.OpenHead(e.head.Note, key.Public())
	return err
}

// given judges a head that was kept elsewhere.
func (e *treeExam) given(h *ledger.TreeHead) *Problem {
	size := e.made.Size()
	at := func(table string, index int64, what string) *Problem {
		return &Problem{Table: table, Row: fmt.Sprint(max(index, 0)), Index: index, What: what}
	}
	switch {
	case h.Origin != e.origin:
		return at("founding", -1, fmt.Sprintf("the head given is of %s, this ledger of %s", h.Origin, e.origin))
	case h.Size > size:
		return at("entries", size, fmt.Sprintf("the head given counts %d entries; from entry %d on they are missing", h.Size, size))
	case h.Size > 0 && h.Root != e.roots[h.Size]:
		return at("entries", -1, fmt.Sprintf("the first %d entries are not those under the head given: the history was rewritten", h.Size))
	case e.absent:
		return at("tree_head", -1, "a head is given, but the ledger has none of its own yet: open it once with its key file")
	case e.key != nil && !h.Signed:
		key, err := ledger.NewHeadKey(e.origin, e.key.HeadSeed)
		if err == nil {
			_, err = ledger.OpenHead(h.Note, key.Public())
		}
		if err != nil {
			return at("tree_head", -1, "the head given is not signed by the key file's tree key: "+err.Error())
		}
	}
	return nil
}
