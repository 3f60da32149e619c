// Package store keeps a programme's people, ledger, drafts and projections in SQLite. Two handles: a pool of readers
// (deferred, query_only) and one writer. Every change but a draft is a ledger entry, and the projections that pages
// read are written in the same transaction; they can be rebuilt from the ledger at any time and must come out equal.
package store

import (
	"context"
	"io"
	"time"

	"brakewright/store/ledger"
)

// Options of Open and Create.
type Options struct {
	Database string           // path of the SQLite file
	Keys     *KeyFile         // nil: personal rows stay closed (verify, rebuild)
	Now      func() time.Time // the clock
	Random   io.Reader        // crypto/rand.Reader but in demos and tests

	// Beside is the path of the key file: the last head signed is kept beside it, in Beside.head, and erasures in
	// Beside.erasures. "": nothing is kept, and an older copy is not noticed.
	Beside string
	// Recompute asks Open to make the tree anew from all leaves and to refuse to sign if it is not the one under the head.
	Recompute bool
	// Witnesses are told of new heads after their commit, each in its own time: the newest only, one after another. After an
	// error a witness is asked again later.
	Witnesses []func(note string) error
}

// Store is an open database. It is safe for concurrent use.
type Store struct {
	state // fields in their own file: open.go
}

// Founding is what `init` needs.
type Founding struct {
	Origin, Title, Zone string
	Name, Login         string // the first coordinator
	Password            string
	Passphrase          string
	Programme           *Programme // the edition to start with
	Parameters          []byte
	Demo                bool // marks the database; serve refuses it
}

// Programme is a programme edition as files.
type Programme struct {
	Edition string            // hex SHA-256 of List
	List    []byte            // "HEX  PATH\n" lines
	Files   map[string][]byte // by path
}

// Create makes a new database with its first entries (opening, role, programme, parameters). It refuses an existing file.
func Create(ctx context.Context, o Options, f Founding) (*Store, error) { return create(ctx, o, f) }

// Open opens and migrates a database.
func Open(ctx context.Context, o Options) (*Store, error) { return open(ctx, o) }

// Receipt says where an entry went. It is given only after the commit is durable.
type Receipt struct {
	ID    string `json:"id"`
	Index int64  `json:"index"`
}

// Append checks the entry's rules, appends it and projects it, sharing the commit with other callers. The same id
// again with the same signed body answers the first receipt; with another body it is ErrConflict. A broken rule is a
// *ledger.RuleError.
func (s *Store) Append(ctx context.Context, sub *ledger.Submission) (Receipt, error) {
	return s.append(ctx, sub)
}

// AppendAll appends several in one transaction: all or none.
func (s *Store) AppendAll(ctx context.Context, subs ...*ledger.Submission) ([]Receipt, error) {
	return s.appendAll(ctx, subs)
}
