package store

import (
	"context"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"strings"

	"brakewright/store/ledger"
)

// Erasing a person destroys the wrapped data key, the salts and the values of all personal fields, the password, the sealed
// keys, and whatever is personal in drafts. The entries stay: they hold hashes, from which without the salt nothing can be
// guessed. It cannot reach backups, what was printed or downloaded, nor what a witness was told.

// erase destroys within the transaction what belongs to a person and is not in the ledger. The projection has named the
// data key, password and sealed keys as superseded, and dropSuperseded has removed them.
func (t *tx) erase(person string) error {
	for _, statement := range []string{
		`DELETE FROM personal WHERE person_id = $1`,
		`UPDATE taps SET personal = x'' WHERE job_id IN (SELECT id FROM jobs WHERE apprentice = $1)`,
		`UPDATE jobs SET personal = x'' WHERE apprentice = $1`,
		`UPDATE jobs SET status = 'withdrawn' WHERE apprentice = $1 AND status <> 'withdrawn' AND id NOT IN (SELECT job_id FROM signed_jobs)`,
		`DELETE FROM photos WHERE job_id IN (SELECT id FROM jobs WHERE apprentice = $1)`,
		`DELETE FROM draft_answers WHERE test_id IN (SELECT id FROM tests WHERE apprentice = $1)`,
		`DELETE FROM open_tests WHERE test_id IN (SELECT id FROM tests WHERE apprentice = $1)`,
		`DELETE FROM key_requests WHERE person_id = $1`,
		`DELETE FROM sessions WHERE person_id = $1`,
		`DELETE FROM login_codes WHERE person_id = $1`,
		`DELETE FROM programme_drafts WHERE person_id = $1`,
		`DELETE FROM verdict_cache WHERE apprentice = $1`,
	} {
		if _, err := t.exec(statement, person); err != nil {
			return err
		}
	}
	// What anybody is about to sign may be about the person: it is asked for again.
	_, err := t.exec(`DELETE FROM signings`)
	return err
}

// afterErasure takes what was opened out of this process's memory, and what was written out of the log beside the file.
func (s *Store) afterErasure() {
	s.opened.forget()
	// Another process may be reading: then the log is taken in later, as always.
	_, _ = s.writer.ExecContext(context.Background(), `PRAGMA wal_checkpoint(TRUNCATE)`)
}

func (c *openedCache) forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.keys, c.values, c.bytes = nil, nil, 0
}

// erasuresFile is where erasures are kept beside the key file, so that a copy put back from before one can be told of it:
// a leaf a line, in base64.
func erasuresFile(beside string) string { return beside + ".erasures" }

// completeErasures adds to the list what it lacks: erasures, and with them what a lost history would be needed for to show
// that a coordinator signed them.
func (s *Store) completeErasures(ctx context.Context) error {
	if s.beside == "" {
		return nil
	}
	listed, err := readErasures(s.beside)
	if err != nil {
		return err
	}
	known := map[string]bool{}
	for _, leaf := range listed {
		known[string(leaf)] = true
	}
	var missing [][]byte
	err = s.read(ctx, func(q querier) error {
		all, err := erasuresOf(q)
		for _, leaf := range all {
			if !known[string(leaf)] {
				missing = append(missing, leaf)
			}
		}
		return err
	})
	if err != nil || len(missing) == 0 {
		return err
	}
	f, err := os.OpenFile(erasuresFile(s.beside), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	for _, leaf := range missing {
		if _, err := f.WriteString(base64.StdEncoding.EncodeToString(leaf) + "\n"); err != nil {
			f.Close()
			return err
		}
	}
	return errors.Join(f.Sync(), f.Close())
}

// readErasures reads what completeErasures wrote; what is no base64 is passed over.
func readErasures(beside string) ([][]byte, error) {
	if beside == "" {
		return nil, nil
	}
	b, err := os.ReadFile(erasuresFile(beside))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the list of erasures beside the key file: %w", err)
	}
	var all [][]byte
	for _, line := range strings.Fields(string(b)) {
		if leaf, err := base64.StdEncoding.DecodeString(line); err == nil {
			all = append(all, leaf)
		}
	}
	return all, nil
}

// erasuresOf are the leaves of all erasures of a database, and of what gave the coordinators their keys and roles, if there
// is any erasure. In order.
func erasuresOf(q querier) ([][]byte, error) {
	leaf := func(r *sql.Rows) (b []byte, err error) { return b, r.Scan(&b) }
	erasures, err := collect(q, leaf, `SELECT e.leaf FROM entries e JOIN entry_index i ON i.idx = e.idx WHERE i.type IN ($1, $2) ORDER BY e.idx`,
		string(ledger.Erased), string(ledger.ErasedAgain))
	if err != nil || len(erasures) == 0 {
		return nil, err
	}
	authority, err := collect(q, leaf, `
		SELECT e.leaf FROM entries e JOIN entry_index i ON i.idx = e.idx
		WHERE i.type = $1 AND i.subject IN (SELECT person_id FROM roles WHERE role = 'coordinator')
			OR i.type = $2 AND i.id IN (SELECT entry_id FROM roles WHERE role = 'coordinator')
		ORDER BY e.idx`, string(ledger.KeyAdded), string(ledger.RoleGranted))
	return append(authority, erasures...), err
}

// replayErasures makes erasures again that this database, put back from a copy, does not know of. Those whose signer is not
// shown to have been a coordinator are returned by person: nobody here is erased by them.
func (s *Store) replayErasures(ctx context.Context, leaves [][]byte) (failed []string, err error) {
	var erasures []*ledger.Parsed
	var others [][]byte // of the history in which they were made
	for _, leaf := range leaves {
		p, err := ledger.Parse(leaf)
		if err != nil {
			continue
		}
		switch x := p.Payload.(type) {
		case *ledger.ErasurePayload:
			erasures = append(erasures, p)
		case *ledger.ErasureReplayedPayload:
			inner, more, err := x.Leaves()
			if err != nil {
				continue
			}
			if p, err := ledger.Parse(inner); err == nil {
				erasures = append(erasures, p)
			}
			others = append(others, more...)
		default:
			others = append(others, leaf)
		}
	}
	for _, e := range erasures {
		again, err := s.erasureAgain(ctx, e, others)
		var broken *ledger.RuleError
		switch {
		case errors.As(err, &broken):
			failed = append(failed, e.Body.Subject)
		case err != nil:
			return failed, err
		case again != nil:
			if _, err := s.append(ctx, again); err != nil {
				return failed, err
			}
		}
	}
	return failed, nil
}

// erasureAgain is the entry by which an erasure is made again; nil if nobody here would be erased by it.
func (s *Store) erasureAgain(ctx context.Context, e *ledger.Parsed, others [][]byte) (*ledger.Submission, error) {
	var payload *ledger.ErasureReplayedPayload
	var zone string
	err := s.read(ctx, func(q querier) error {
		facts := &sqlFacts{q: q}
		known, err := facts.Person(e.Body.Subject)
		if err != nil || !known {
			return err
		}
		gone, err := facts.Erased(e.Body.Subject)
		if err != nil || gone {
			return err
		}
		leaf, err := e.Leaf()
		if err != nil {
			return err
		}
		if err := q.row(`SELECT zone FROM founding`).Scan(&zone); err != nil {
			return err
		}
		payload, err = ledger.ReplayErasure(facts, leaf, others)
		return err
	})
	if err != nil || payload == nil {
		return nil, err
	}
	return ledger.NewSubmission(s.random, ledger.Head{Type: ledger.ErasedAgain, At: s.now().UnixMilli(), Zone: zone, Actor: ledger.KeyHolder, Subject: e.Body.Subject},
		*payload, e.Body.Subject, nil, nil)
}

// Keeping says how long each kind of a person's records must be kept, dates in a zone, and what stands against erasing
// them today.
func (s *Store) Keeping(ctx context.Context, person, today, zone string) (keeping []ledger.Keeping, against []*ledger.RuleError, err error) {
	err = s.read(ctx, func(q querier) error {
		facts := &sqlFacts{q: q}
		if keeping, err = ledger.KeepingOf(facts, person, zone); err != nil {
			return err
		}
		against, err = ledger.AgainstErasure(facts, person, today, keeping)
		return err
	})
	return keeping, against, err
}
