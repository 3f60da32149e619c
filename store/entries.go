package store

import (
	"context"
	"crypto/cipher"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"encoding/json"

	"brakewright/readiness"
	"brakewright/store/ledger"
)

func (s *Store) content(ctx context.Context, hash string) ([]byte, error) {
	var b []byte
	err := s.read(ctx, func(q querier) (err error) {
		b, err = contentOf(q, hash)
		return err
	})
	return b, err
}

func (s *Store) programme(ctx context.Context, edition string) (*Programme, error) {
	p := &Programme{Edition: edition, Files: map[string][]byte{}}
	err := s.read(ctx, func(q querier) error {
		var n int
		if err := q.row(`SELECT COUNT(*) FROM adoptions WHERE edition = $1`, edition).Scan(&n); err != nil {
			return err
		}
		if n == 0 {
			return fmt.Errorf("programme edition %s: %w", edition, ErrNotFound)
		}
		var err error
		if p.List, err = contentOf(q, edition); err != nil {
			return err
		}
		files, err := parseProgrammeList(p.List)
		if err != nil {
			return err
		}
		for _, f := range files {
			if p.Files[f.path], err = contentOf(q, f.edition); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return p, nil
}

func (s *Store) adoptions(ctx context.Context) ([]Adoption, error) {
	var all []Adoption
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x Adoption, err error) {
			var at int64
			err = r.Scan(&x.Index, &x.Entry, &x.Edition, &x.By, &at)
			x.At = ms(at)
			return x, err
		}, `SELECT idx, entry_id, edition, adopted_by, recorded_at FROM adoptions ORDER BY idx`)
		return err
	})
	return all, err
}

func (s *Store) evidence(ctx context.Context, apprentice string) ([]readiness.Record, error) {
	var all []readiness.Record
	query, args := `SELECT record FROM evidence ORDER BY idx, part`, []any{}
	if apprentice != "" {
		query, args = `SELECT record FROM evidence WHERE apprentice = $1 ORDER BY idx, part`, []any{apprentice}
	}
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x readiness.Record, err error) {
			var b []byte
			if err := r.Scan(&b); err != nil {
				return x, err
			}
			return x, json.Unmarshal(b, &x)
		}, query, args...)
		return err
	})
	return all, err
}

func (s *Store) entry(ctx context.Context, id string) (*EntryView, error) {
	var v *EntryView
	err := s.read(ctx, func(q querier) error {
		all, err := s.views(q, `SELECT idx, leaf FROM entries WHERE id = $1`, id)
		if err != nil {
			return err
		}
		if len(all) == 0 {
			return fmt.Errorf("entry %s: %w", id, ErrNotFound)
		}
		v = all[0]
		return nil
	})
	return v, err
}

func (s *Store) entries(ctx context.Context, f EntryFilter) ([]*EntryView, error) {
	var where []string
	var args []any
	arg := func(v any) string {
		args = append(args, v)
		return fmt.Sprintf("$%d", len(args))
	}
	order := "ASC"
	switch {
	case !f.Newest:
		where = append(where, `i.idx >= `+arg(f.From))
	case f.From > 0:
		where = append(where, `i.idx <= `+arg(f.From))
	}
	if f.Newest {
		order = "DESC"
	}
	if len(f.Types) > 0 {
		var in []string
		for _, t := range f.Types {
			in = append(in, arg(string(t)))
		}
		where = append(where, `i.type IN (`+strings.Join(in, ", ")+`)`)
	}
	for _, c := range []struct{ column, value string }{{"subject", f.Subject}, {"actor", f.Actor}, {"task", f.Task}} {
		if c.value != "" {
			where = append(where, `i.`+c.column+` = `+arg(c.value))
		}
	}
	limit := f.Limit
	if limit <= 0 {
		limit = 100
	}
	query := `SELECT e.idx, e.leaf FROM entry_index i JOIN entries e ON e.idx = i.idx`
	if len(where) > 0 {
		query += ` WHERE ` + strings.Join(where, ` AND `)
	}
	query += ` ORDER BY i.idx ` + order + ` LIMIT ` + arg(limit)
	var all []*EntryView
	err := s.read(ctx, func(q querier) (err error) {
		all, err = s.views(q, query, args...)
		return err
	})
	return all, err
}

// views reads entries and opens what is personal in them.
func (s *Store) views(q querier, query string, args ...any) ([]*EntryView, error) {
	all, err := collect(q, func(r *sql.Rows) (*EntryView, error) {
		v := &EntryView{Personal: map[string]string{}}
		if err := r.Scan(&v.Index, &v.Leaf); err != nil {
			return nil, err
		}
		return v, nil
	}, query, args...)
	if err != nil {
		return nil, err
	}
	for _, v := range all {
		p, err := ledger.Parse(v.Leaf)
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", v.Index, err)
		}
		v.Entry = p.Entry
		if err := s.openView(q, v, p.Refs().Personal); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (s *Store) openView(q querier, v *EntryView, fields map[string]string) error {
	if len(fields) == 0 {
		return nil
	}
	if s.keys != nil {
		rows, err := collect(q, func(r *sql.Rows) (x sealedRow, err error) {
			x.entry = v.Entry.Body.ID
			return x, r.Scan(&x.field, &x.person, &x.sealed)
		}, `SELECT field, person_id, sealed FROM personal WHERE entry_id = $1 AND field NOT LIKE 'photo/%'`, v.Entry.Body.ID)
		if err != nil {
			return err
		}
		for _, r := range rows {
			value, err := s.openRow(r.entry, r.field, r.person, r.sealed, func() (cipher.AEAD, error) { return s.dataKey(q, r.person) })
			if errors.Is(err, ErrNotFound) || errors.Is(err, errSealed) || errors.Is(err, ErrWrongKeyFile) {
				continue // erased, or damaged: verify says which
			}
			if err != nil {
				return err
			}
			v.Personal[r.field] = value
		}
	}
	for f := range fields {
		if _, ok := v.Personal[f]; !ok && !strings.HasPrefix(f, "photo/") {
			v.Closed = append(v.Closed, f)
		}
	}
	slices.Sort(v.Closed)
	return nil
}
