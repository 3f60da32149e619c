package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"
)

// ProgrammeDraft is a programme folder that somebody is writing: not in the ledger, one a person.
type ProgrammeDraft struct {
	Person string
	Base   string            // edition in use when it was begun
	Files  map[string][]byte // by path
	At     time.Time         // last saved
}

// SaveProgrammeDraft keeps a person's draft in place of an older one.
func (s *Store) SaveProgrammeDraft(ctx context.Context, d ProgrammeDraft) error {
	b, err := json.Marshal(d.Files)
	if err != nil {
		return err
	}
	at := d.At
	if at.IsZero() {
		at = s.now()
	}
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`INSERT INTO programme_drafts (person_id, base, files, updated_at) VALUES ($1, $2, $3, $4)
			ON CONFLICT (person_id) DO UPDATE SET base = excluded.base, files = excluded.files, updated_at = excluded.updated_at`, d.Person, d.Base, b, millis(at))
		return err
	})
}

// ProgrammeDrafts returns everybody's drafts, the latest first, without their files.
func (s *Store) ProgrammeDrafts(ctx context.Context) ([]ProgrammeDraft, error) {
	var all []ProgrammeDraft
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (d ProgrammeDraft, err error) {
			var at int64
			err = r.Scan(&d.Person, &d.Base, &at)
			d.At = ms(at)
			return d, err
		}, `SELECT person_id, base, updated_at FROM programme_drafts ORDER BY updated_at DESC, person_id`)
		return err
	})
	return all, err
}

// ProgrammeDraft returns a person's draft; ErrNotFound.
func (s *Store) ProgrammeDraft(ctx context.Context, person string) (*ProgrammeDraft, error) {
	d := &ProgrammeDraft{Person: person}
	err := s.read(ctx, func(q querier) error {
		var files []byte
		var at int64
		if err := q.row(`SELECT base, files, updated_at FROM programme_drafts WHERE person_id = $1`, person).Scan(&d.Base, &files, &at); err != nil {
			return missing(err)
		}
		d.At = ms(at)
		return json.Unmarshal(files, &d.Files)
	})
	if err != nil {
		return nil, err
	}
	return d, nil
}

// DropProgrammeDraft forgets a person's draft; there need not be one.
func (s *Store) DropProgrammeDraft(ctx context.Context, person string) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`DELETE FROM programme_drafts WHERE person_id = $1`, person)
		return err
	})
}
