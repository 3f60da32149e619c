package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"unicode"

	"brakewright/store/ledger"
)

func (s *Store) cases(ctx context.Context, openOnly bool) ([]Case, error) {
	query := `SELECT entry_id, person_id, task, site_id, idx, closed_by FROM cases`
	if openOnly {
		query += ` WHERE closed_by = ''`
	}
	var all []Case
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x Case, err error) {
			return x, r.Scan(&x.Entry, &x.Person, &x.Task, &x.Site, &x.Index, &x.Closed)
		}, query+` ORDER BY idx DESC`)
		return err
	})
	return all, err
}

func (s *Store) openCasesOf(ctx context.Context, person string) ([]string, error) {
	var all []string
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x string, err error) { return x, r.Scan(&x) }, `
			SELECT c.entry_id FROM cases c JOIN case_people p ON p.entry_id = c.entry_id
			WHERE p.person_id = $1 AND c.closed_by = '' ORDER BY c.idx`, person)
		return err
	})
	return all, err
}

// foldPlate makes plates and work orders comparable: letters and digits only, in capitals.
func foldPlate(v string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToUpper(r)
		}
		return -1
	}, v)
}

func (s *Store) findWork(ctx context.Context, plateOrOrder string) ([]*EntryView, error) {
	want := foldPlate(plateOrOrder)
	if want == "" {
		return nil, nil
	}
	var all []*EntryView
	err := s.read(ctx, func(q querier) error {
		fields, err := s.openedFields(q, `
			SELECT e.entry_id, e.entry_id, e.field, e.person_id, e.sealed, p.data_key, c.bytes
			FROM personal e JOIN entry_index i ON i.id = e.entry_id JOIN people p ON p.id = e.person_id JOIN contents c ON c.hash = p.data_key
			WHERE e.field = 'work_order' AND i.type IN ($1, $2)`, string(ledger.SignOff), string(ledger.UnwatchedJob))
		if err != nil {
			return err
		}
		var in []string
		var args []any
		for entry, v := range fields {
			if foldPlate(v) == want {
				args = append(args, entry)
				in = append(in, fmt.Sprintf("$%d", len(args)))
			}
		}
		if len(in) == 0 {
			return nil
		}
		all, err = s.views(q, `SELECT idx, leaf FROM entries WHERE id IN (`+strings.Join(in, ", ")+`) ORDER BY idx DESC`, args...)
		return err
	})
	return all, err
}

func (s *Store) personalField(ctx context.Context, entry, field string) (string, error) {
	var value string
	err := s.read(ctx, func(q querier) error {
		var person string
		var sealed []byte
		err := missing(q.row(`SELECT person_id, sealed FROM personal WHERE entry_id = $1 AND field = $2`, entry, field).Scan(&person, &sealed))
		if err != nil {
			return fmt.Errorf("field %s of entry %s: %w", field, entry, err)
		}
		aead, err := s.draftKey(q, person)
		if err != nil {
			return err
		}
		if aead == nil {
			return fmt.Errorf("field %s of entry %s: %w", field, entry, ErrNotFound)
		}
		f, err := openPersonal(aead, entry, field, person, sealed)
		value = string(f.Value)
		return err
	})
	return value, err
}
