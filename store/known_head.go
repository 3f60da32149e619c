package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"brakewright/store/ledger"
)

// The last head that was signed is kept beside the key file as well, so that a database put back from an older copy is
// noticed: nothing is signed that is shorter than, or not consistent with, it. A forced restore is told by a note in the
// database, which becomes an entry when the key file is there.

// knownHeadFile is where the last head is kept beside the key file.
func knownHeadFile(beside string) string { return beside + ".head" }

// readKnownHead reads it; nil if there is none, or none by this key (a file left behind by another database).
func readKnownHead(beside, public string) (*ledger.TreeHead, error) {
	if beside == "" {
		return nil, nil
	}
	b, err := os.ReadFile(knownHeadFile(beside))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the known head beside the key file: %w", err)
	}
	h, err := ledger.OpenHead(string(b), public)
	if err != nil {
		return nil, nil
	}
	return h, nil
}

// writeKnownHead replaces it in one step.
func writeKnownHead(beside, note string) error {
	path := knownHeadFile(beside)
	temp, err := tempBeside(path, ".part")
	if err != nil {
		return err
	}
	defer os.Remove(temp)
	if err := os.WriteFile(temp, []byte(note), 0o600); err != nil {
		return err
	}
	return os.Rename(temp, path)
}

// checkKnownHead compares the database with the head that is kept beside the key file. A database that does not extend it
// is kept from signing; one whose forced restore is noted says so in an entry, and goes on.
func (s *Store) checkKnownHead(ctx context.Context) error {
	public, err := s.HeadKey(ctx)
	if err != nil {
		return err
	}
	known, err := readKnownHead(s.beside, public)
	if err != nil {
		return err
	}
	var forced *forcedRestore
	var own ledger.HeadBody
	var refusal error
	err = s.read(ctx, func(q querier) error {
		if forced, err = readForced(q); err != nil {
			return err
		}
		head, err := headOf(q)
		if err != nil {
			if errors.Is(err, ErrNotFound) { // verify says more; signing refuses by itself
				return nil
			}
			return err
		}
		own = head.HeadBody
		if known != nil {
			refusal = extendsHead(keptHashes{q}, own, known.HeadBody)
			if refusal != nil && !errors.Is(refusal, ErrRolledBack) {
				return refusal
			}
		}
		if refusal == nil && forced != nil && forced.Known.Size > 0 {
			known = nil
			if extendsHead(keptHashes{q}, own, forced.head(own.Origin)) != nil {
				known = &ledger.TreeHead{HeadBody: forced.head(own.Origin)}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if forced == nil {
		if refusal != nil {
			s.refusal = fmt.Errorf("database %s: %w", s.path, refusal)
		}
		return nil
	}
	if err := s.settleForced(ctx, forced, own, known, refusal); err != nil {
		return err
	}
	return nil
}

// forcedRestore is the note that a forced restore leaves in the database.
type forcedRestore struct {
	Entries  int64     `json:"entries"` // of the copy
	Known    knownHead `json:"known"`   // of the database that was replaced, if it could be read
	Erasures [][]byte  `json:"erasures,omitempty"`
}

type knownHead struct {
	Size int64     `json:"size"`
	Root tlog.Hash `json:"root"`
}

func (f *forcedRestore) head(origin string) ledger.HeadBody {
	return ledger.HeadBody{Origin: origin, Size: f.Known.Size, Root: f.Known.Root}
}

const forcedNote = "forced_restore"

func readForced(q querier) (*forcedRestore, error) {
	var text string
	err := q.row(`SELECT value FROM bookkeeping WHERE name = $1`, forcedNote).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	f := &forcedRestore{}
	if err := json.Unmarshal([]byte(text), f); err != nil {
		return nil, fmt.Errorf("the note of the forced restore: %w", err)
	}
	return f, nil
}

// settleForced makes the entry that a forced restore is owed, if it lost anything, and the erasures that it forgot.
func (s *Store) settleForced(ctx context.Context, f *forcedRestore, own ledger.HeadBody, known *ledger.TreeHead, refusal error) error {
	if known != nil && (refusal != nil || known.Note == "") {
		at := s.now().UnixMilli()
		info, err := s.Info(ctx)
		if err != nil {
			return err
		}
		sub, err := ledger.NewSubmission(s.random, ledger.Head{Type: ledger.PutBack, At: at, Zone: info.Zone, Actor: ledger.KeyHolder},
			ledger.PutBackPayload{Entries: own.Size, KnownSize: known.Size, KnownRoot: known.Root.String()}, "", nil, nil)
		if err != nil {
			return err
		}
		if _, err := s.append(ctx, sub); err != nil {
			return err
		}
	}
	failed, err := s.replayErasures(ctx, f.Erasures)
	if err != nil {
		return err
	}
	s.notErased = append(s.notErased, failed...)
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`DELETE FROM bookkeeping WHERE name = $1`, forcedNote)
		return err
	})
}

// Refusal is why nothing is signed, or nil: the database is older than, or not consistent with, the head that is known.
func (s *Store) Refusal() error { return s.refusal }

// NotErased are people whose erasure is known beside the key file but could not be made again in this database, which was
// put back from a copy: a coordinator must erase them again.
func (s *Store) NotErased() []string { return s.notErased }

// keeper tells one listener of new heads, the newest only, in its own time. A listener that fails is asked again later.
type keeper struct {
	mu     sync.Mutex
	newest string
	told   string
	wake   chan struct{}
	stop   chan struct{}
	done   chan struct{}
}

// Pauses of a keeper: after a success, and after failures.
const (
	keeperPause     = 250 * time.Millisecond
	keeperLongPause = time.Minute
)

func newKeeper(tell func(note string) error) *keeper {
	k := &keeper{wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	go k.run(tell)
	return k
}

func (k *keeper) offer(note string) {
	if note == "" {
		return
	}
	k.mu.Lock()
	k.newest = note
	k.mu.Unlock()
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

func (k *keeper) run(tell func(note string) error) {
	defer close(k.done)
	pause := keeperPause
	try := func() bool {
		k.mu.Lock()
		note, told := k.newest, k.told
		k.mu.Unlock()
		if note == told {
			return true
		}
		if tell(note) != nil {
			return false
		}
		k.mu.Lock()
		k.told = note
		k.mu.Unlock()
		return true
	}
	for {
		select {
		case <-k.wake:
		case <-k.stop:
			try()
			return
		}
		for !try() {
			pause = min(2*pause, keeperLongPause)
			select {
			case <-time.After(pause):
			case <-k.stop:
				try()
				return
			}
		}
		pause = keeperPause
		select {
		case <-time.After(pause):
		case <-k.stop:
			try()
			return
		}
	}
}

// close tells the last head and ends.
func (k *keeper) close() {
	close(k.stop)
	<-k.done
}
