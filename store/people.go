package store

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"sort"
	"strings"
	"time"

	"golang.org/x/text/unicode/norm"

	"brakewright/store/ledger"
)

// ms turns milliseconds into a time, 0 into the zero time.
func ms(t int64) time.Time {
	if t == 0 {
		return time.Time{}
	}
	return time.UnixMilli(t).UTC()
}

// millis is the inverse of ms.
func millis(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMilli()
}

func (s *Store) info(ctx context.Context) (Info, error) {
	var i Info
	err := s.read(ctx, func(q querier) error {
		err := missing(q.row(`SELECT origin, title, zone, demo FROM founding`).Scan(&i.Origin, &i.Title, &i.Zone, &i.Demo))
		if err != nil {
			return err
		}
		if err := optional(q.row(`SELECT edition FROM adoptions ORDER BY idx DESC LIMIT 1`).Scan(&i.Programme)); err != nil {
			return err
		}
		if err := optional(q.row(`SELECT hash FROM parameters ORDER BY idx DESC LIMIT 1`).Scan(&i.Parameters)); err != nil {
			return err
		}
		return q.row(`SELECT COALESCE(MAX(idx) + 1, 0) FROM entries`).Scan(&i.Entries)
	})
	return i, err
}

// optional passes over a missing row.
func optional(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	return err
}

func (s *Store) person(ctx context.Context, id string) (*Person, error) {
	var p *Person
	err := s.read(ctx, func(q querier) error {
		all, err := s.loadPeople(q, id)
		if err != nil {
			return err
		}
		if len(all) == 0 {
			return ErrNotFound
		}
		p = all[0]
		return nil
	})
	return p, err
}

func (s *Store) people(ctx context.Context) ([]*Person, error) {
	var all []*Person
	err := s.read(ctx, func(q querier) (err error) {
		all, err = s.loadPeople(q, "")
		return err
	})
	return all, err
}

func (s *Store) personByLogin(ctx context.Context, login string) (*Person, error) {
	var p *Person
	err := s.read(ctx, func(q querier) error {
		logins, err := s.logins(q)
		if err != nil {
			return err
		}
		want := foldLogin(login)
		for id, l := range logins {
			if l != want || l == "" {
				continue
			}
			all, err := s.loadPeople(q, id)
			if err != nil {
				return err
			}
			p = all[0]
			return nil
		}
		return ErrNotFound
	})
	return p, err
}

// foldLogin is what log-in names are compared by.
func foldLogin(login string) string {
	return strings.ToLower(norm.NFKC.String(strings.TrimSpace(login)))
}

// logins are all log-in names, folded, by person. Erased ones are absent.
func (s *Store) logins(q querier) (map[string]string, error) {
	if s.keys == nil {
		return nil, ErrNoKeyFile
	}
	rows, err := s.sealedOf(q, `
		SELECT p.id, d.entry_id, d.field, d.person_id, d.sealed, p.data_key, c.bytes
		FROM people p
		JOIN personal d ON d.entry_id = p.login_entry AND d.field = 'login'
		JOIN contents c ON c.hash = p.data_key`)
	if err != nil {
		return nil, err
	}
	all := make(map[string]string, len(rows))
	for _, r := range rows {
		v, err := s.openSealed(r)
		if err != nil {
			return nil, err
		}
		all[r.of] = foldLogin(v)
	}
	return all, nil
}

// checkLogin refuses a log-in name that somebody else has. Only whoever holds the key file can compare, so it is no rule of the ledger.
func (t *tx) checkLogin(sub *ledger.Submission) error {
	f, ok := sub.Personal["login"]
	if !ok {
		return nil
	}
	if t.logins == nil {
		all, err := t.s.logins(t)
		if err != nil {
			return err
		}
		t.logins = make(map[string]string, len(all))
		for person, login := range all {
			t.logins[login] = person
		}
	}
	login := foldLogin(string(f.Value))
	if login == "" {
		return &ledger.FormatError{Type: sub.Body.Type, Field: "payload/personal/login", What: "is empty"}
	}
	if person, taken := t.logins[login]; taken && person != sub.Body.Subject {
		return &ledger.RuleError{Code: ledger.LoginTaken, Args: map[string]string{}}
	}
	for old, person := range t.logins {
		if person == sub.Body.Subject {
			delete(t.logins, old)
		}
	}
	t.logins[login] = sub.Body.Subject
	return nil
}

// loadPeople loads one person, or with id "" everybody, in a fixed number of queries. They are sorted by name, then id.
func (s *Store) loadPeople(q querier, id string) ([]*Person, error) {
	query, args := of(id, `SELECT id, password, added_at, EXISTS (SELECT 1 FROM superseded s WHERE s.hash = people.data_key) FROM people WHERE 1 = 1`, `id`, ` ORDER BY id`)
	all, err := collect(q, func(r *sql.Rows) (*Person, error) {
		var p Person
		var added int64
		var password string
		err := r.Scan(&p.ID, &password, &added, &p.Erased)
		p.AddedAt, p.HasPassword = ms(added), password != ""
		return &p, err
	}, query, args...)
	if err != nil {
		return nil, err
	}
	if id == "" {
		all = slices.DeleteFunc(all, func(p *Person) bool { return p.Erased })
	}
	byID := make(map[string]*Person, len(all))
	for _, p := range all {
		byID[p.ID] = p
	}
	if err := s.loadNames(q, id, byID); err != nil {
		return nil, err
	}
	if err := s.loadBelongings(q, id, byID); err != nil {
		return nil, err
	}
	sort.SliceStable(all, func(i, j int) bool {
		a, b := strings.ToLower(all[i].Name), strings.ToLower(all[j].Name)
		if a != b {
			return a < b
		}
		return all[i].ID < all[j].ID
	})
	return all, nil
}

func (s *Store) loadNames(q querier, id string, byID map[string]*Person) error {
	if s.keys == nil {
		return nil
	}
	for field, entry := range map[string]string{"name": "name_entry", "login": "login_entry"} {
		query, args := of(id, `
			SELECT p.id, d.entry_id, d.field, d.person_id, d.sealed, p.data_key, c.bytes
			FROM people p JOIN personal d ON d.entry_id = p.`+entry+` AND d.field = '`+field+`' JOIN contents c ON c.hash = p.data_key
			WHERE 1 = 1`, `p.id`, ``)
		values, err := s.openedFields(q, query, args...)
		if err != nil {
			return err
		}
		for person, v := range values {
			if field == "name" {
				byID[person].Name = v
			} else {
				byID[person].Login = v
			}
		}
	}
	return nil
}

// of narrows a query, which ends in conditions, to one person, unless id is "".
func of(id, query, column, order string) (string, []any) {
	if id == "" {
		return query + order, nil
	}
	return query + ` AND ` + column + ` = $1` + order, []any{id}
}

// each runs a query whose first column is a person, for one or for all, and lets put take the rest.
func each(q querier, byID map[string]*Person, id, query, column, order string, put func(*sql.Rows, *string) (func(*Person), error)) error {
	query, args := of(id, query, column, order)
	rows, err := q.query(query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var person string
		add, err := put(rows, &person)
		if err != nil {
			return err
		}
		if p := byID[person]; p != nil {
			add(p)
		}
	}
	return rows.Err()
}

// loadBelongings loads what belongs to people, each kind by one query, in the order of the ledger.
func (s *Store) loadBelongings(q querier, id string, byID map[string]*Person) error {
	err := each(q, byID, id, `SELECT person_id, entry_id, role, from_date, until_date, site_id, author FROM roles WHERE 1 = 1`, `person_id`, ` ORDER BY idx`,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			var x Role
			err := r.Scan(person, &x.Entry, &x.Role, &x.From, &x.Until, &x.Site, &x.Author)
			return func(p *Person) { p.Roles = append(p.Roles, x) }, err
		})
	if err != nil {
		return err
	}
	opened := map[string]map[string]string{}
	for _, field := range []string{"qualification", "number"} {
		query, args := of(id, `
		SELECT a.entry_id, d.entry_id, d.field, d.person_id, d.sealed, p.data_key, c.bytes
		FROM appointments a JOIN personal d ON d.entry_id = a.entry_id AND d.field = '`+field+`'
		JOIN people p ON p.id = d.person_id JOIN contents c ON c.hash = p.data_key
		WHERE 1 = 1`, `a.person_id`, ``)
		if opened[field], err = s.openedFields(q, query, args...); err != nil {
			return err
		}
	}
	err = each(q, byID, id, `SELECT person_id, entry_id, task, site_id, from_date, until_date FROM appointments WHERE 1 = 1`, `person_id`, ` ORDER BY idx`,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			var x Appointment
			err := r.Scan(person, &x.Entry, &x.Task, &x.Site, &x.From, &x.Until)
			x.Qualification, x.Number = opened["qualification"][x.Entry], opened["number"][x.Entry]
			return func(p *Person) { p.Appointments = append(p.Appointments, x) }, err
		})
	if err != nil {
		return err
	}
	err = each(q, byID, id, `SELECT person_id, cohort_id, from_date, until_date FROM memberships WHERE 1 = 1`, `person_id`, ` ORDER BY idx`,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			var x Membership
			err := r.Scan(person, &x.Cohort, &x.From, &x.Until)
			return func(p *Person) { p.Cohorts = append(p.Cohorts, x) }, err
		})
	if err != nil {
		return err
	}
	query, args := of(id, `
		SELECT a.entry_id, d.entry_id, d.field, d.person_id, d.sealed, p.data_key, c.bytes
		FROM agreements a JOIN personal d ON d.entry_id = a.entry_id AND d.field = 'employer'
		JOIN people p ON p.id = d.person_id JOIN contents c ON c.hash = p.data_key
		WHERE 1 = 1`, `a.person_id`, ``)
	employers, err := s.openedFields(q, query, args...)
	if err != nil {
		return err
	}
	err = each(q, byID, id, `SELECT person_id, entry_id, from_date, until_date FROM agreements WHERE 1 = 1`, `person_id`, ` ORDER BY idx`,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			var x Agreement
			err := r.Scan(person, &x.Entry, &x.From, &x.Until)
			x.Employer = employers[x.Entry]
			return func(p *Person) { p.Agreements = append(p.Agreements, x) }, err
		})
	if err != nil {
		return err
	}
	err = each(q, byID, id, `SELECT person_id, entry_id, from_date, to_date FROM leaves WHERE withdrawn_by = ''`, `person_id`, ` ORDER BY idx`,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			var x Leave
			err := r.Scan(person, &x.Entry, &x.From, &x.To)
			return func(p *Person) { p.Leaves = append(p.Leaves, x) }, err
		})
	if err != nil {
		return err
	}
	// The current key is the newest that has not ended; passkeys stand beside it.
	err = each(q, byID, id, keyColumns+` WHERE k.ended_at = 0`, `k.person_id`, ` ORDER BY k.idx`,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			x, err := scanKey(r)
			if err != nil {
				return nil, err
			}
			*person = x.Person
			if ledger.IsPasskey(x.Alg) {
				return func(p *Person) { p.Passkeys = append(p.Passkeys, x) }, nil
			}
			return func(p *Person) { p.Key = x }, nil
		})
	if err != nil {
		return err
	}
	return each(q, byID, id, `SELECT person_id FROM key_requests WHERE 1 = 1`, `person_id`, ``,
		func(r *sql.Rows, person *string) (func(*Person), error) {
			return func(p *Person) { p.KeyWaiting = true }, r.Scan(person)
		})
}

const keyColumns = `
	SELECT k.id, k.person_id, k.alg, k.public, COALESCE(c.bytes, x''), k.added_at, k.ended_at, k.ended_why, k.origin, k.credential
	FROM signing_keys k LEFT JOIN contents c ON c.hash = k.sealed`

func scanKey(r interface{ Scan(...any) error }) (*Key, error) {
	var k Key
	var added, ended int64
	err := r.Scan(&k.ID, &k.Person, &k.Alg, &k.Public, &k.Sealed, &added, &ended, &k.Why, &k.Origin, &k.Credential)
	k.AddedAt, k.EndedAt = ms(added), ms(ended)
	if len(k.Sealed) == 0 {
		k.Sealed = nil
	}
	return &k, err
}

func (s *Store) key(ctx context.Context, id string) (*Key, error) {
	var k *Key
	err := s.read(ctx, func(q querier) (err error) {
		k, err = scanKey(q.row(keyColumns+` WHERE k.id = $1`, id))
		return missing(err)
	})
	if err != nil {
		return nil, err
	}
	return k, nil
}

func (s *Store) passwordHash(ctx context.Context, person string) (string, error) {
	var phc []byte
	err := s.read(ctx, func(q querier) error {
		return missing(q.row(`SELECT c.bytes FROM people p JOIN contents c ON c.hash = p.password WHERE p.id = $1`, person).Scan(&phc))
	})
	return string(phc), err
}

func (s *Store) sites(ctx context.Context) ([]Site, error) {
	var all []Site
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x Site, err error) { return x, r.Scan(&x.ID, &x.Name, &x.Zone) },
			`SELECT id, name, zone FROM sites ORDER BY name, id`)
		return err
	})
	return all, err
}

func (s *Store) cohorts(ctx context.Context) ([]Cohort, error) {
	var all []Cohort
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x Cohort, err error) { return x, r.Scan(&x.ID, &x.Name, &x.Site) },
			`SELECT id, name, site_id FROM cohorts ORDER BY name, id`)
		return err
	})
	return all, err
}
