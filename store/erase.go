package store

import (
	"context"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

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

// noteErasures keeps the erasures of a commit beside the key file.
func (s *Store) noteErasures(leaves [][]byte) error {
	if s.beside == "" {
		return nil
	}
	f, err := os.OpenFile(erasuresFile(s.beside), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	for _, leaf := range leaves {
		if _, err := f.WriteString(base64.StdEncoding.EncodeToString(leaf) + "\n"); err != nil {
			f.Close()
			return err
		}
	}
	return errors.Join(f.Sync(), f.Close())
}

// completeErasures adds to the list what a crash kept from it.
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
	return s.noteErasures(missing)
}

// readErasures reads what noteErasures wrote; lines that are no erasures are passed over.
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

// erasuresOf are the leaves of all erasures of a database.
func erasuresOf(q querier) ([][]byte, error) {
	return collect(q, func(r *sql.Rows) (b []byte, err error) { return b, r.Scan(&b) },
		`SELECT e.leaf FROM entries e JOIN entry_index i ON i.idx = e.idx WHERE i.type = $1 ORDER BY e.idx`, string(ledger.Erased))
}

// replayErasures makes erasures again that this database, put back from a copy, does not know of. Those that cannot be
// made again are returned by person: nobody here is erased by them.
func (s *Store) replayErasures(ctx context.Context, leaves [][]byte) (failed []string, err error) {
	for _, leaf := range leaves {
		p, err := ledger.Parse(leaf)
		if err != nil || p.Body.Type != ledger.Erased {
			continue
		}
		var known, there int
		err = s.read(ctx, func(q querier) error {
			if err := q.row(`SELECT COUNT(*) FROM people WHERE id = $1`, p.Body.Subject).Scan(&known); err != nil {
				return err
			}
			gone, err := (&sqlFacts{q: q}).Erased(p.Body.Subject)
			if gone {
				there = 1
			}
			return err
		})
		if err != nil {
			return failed, err
		}
		if known == 0 || there > 0 {
			continue
		}
		_, err = s.append(ctx, &ledger.Submission{Body: p.Body, Signatures: p.Signatures})
		var broken *ledger.RuleError
		switch {
		case errors.As(err, &broken):
			failed = append(failed, p.Body.Subject)
		case err != nil:
			return failed, err
		}
	}
	return failed, nil
}

// LastEntries say when the last entry about a person or by them was recorded.
func (s *Store) LastEntries(ctx context.Context) (map[string]time.Time, error) {
	all := map[string]time.Time{}
	err := s.read(ctx, func(q querier) error {
		_, err := collect(q, func(r *sql.Rows) (struct{}, error) {
			var person string
			var at int64
			err := r.Scan(&person, &at)
			if t := ms(at); t.After(all[person]) {
				all[person] = t
			}
			return struct{}{}, err
		}, `
			SELECT subject, MAX(recorded_at) FROM entry_index WHERE subject <> '' GROUP BY subject
			UNION ALL SELECT actor, MAX(recorded_at) FROM entry_index GROUP BY actor`)
		return err
	})
	return all, err
}

// Matters are what is not settled yet about a person.
type Matters struct {
	Disputes int // of entries about the person, or by the person
	Cases    int // cars that came back, whose finding is still to be made
}

// OpenMatters counts them.
func (s *Store) OpenMatters(ctx context.Context, person string) (m Matters, err error) {
	err = s.read(ctx, func(q querier) error {
		err := q.row(`
			SELECT COUNT(*) FROM cases
			WHERE closed_by = '' AND (person_id = $1 OR entry_id IN (SELECT entry_id FROM case_people WHERE person_id = $1))`, person).Scan(&m.Cases)
		if err != nil {
			return err
		}
		return q.row(`
			SELECT COUNT(*) FROM disputes d JOIN entry_index i ON i.id = d.disputed
			WHERE d.settled_by = '' AND (i.subject = $1 OR i.actor = $1 OR d.disputed_by = $1)`, person).Scan(&m.Disputes)
	})
	return m, err
}
