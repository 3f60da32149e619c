package store

import (
	"context"
	"database/sql"

	"brakewright/store/ledger"
)

// What has become of entries, and what waits for somebody: read by pages, decided by nobody here.

// WordOn is a later entry that says something about an earlier one.
type WordOn struct {
	ID    string
	Type  ledger.Type
	Index int64
}

// WordsOn are the later entries about an entry (or the job) of an id, oldest first.
func (s *Store) WordsOn(ctx context.Context, id string) ([]WordOn, error) {
	var all []WordOn
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x WordOn, err error) { return x, r.Scan(&x.ID, &x.Type, &x.Index) },
			`SELECT entry_id, type, idx FROM words_on WHERE named = $1 ORDER BY idx`, id)
		return err
	})
	return all, err
}

// Contested is an entry that is disputed, or in question, and not settled.
type Contested struct {
	Entry  string
	Opened string // the entry that opened it: a dispute, a second correction, an ended key or appointment
	By     string // person, "" where nobody disputes it
	Index  int64  // of Opened
}

// Contested are all open disputes, oldest first; entry "" asks for all.
func (s *Store) Contested(ctx context.Context, entry string) ([]Contested, error) {
	query, args := of(entry, `SELECT disputed, entry_id, disputed_by, idx FROM disputes WHERE settled_by = ''`, `disputed`, ` ORDER BY idx, disputed`)
	var all []Contested
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x Contested, err error) { return x, r.Scan(&x.Entry, &x.Opened, &x.By, &x.Index) }, query, args...)
		return err
	})
	return all, err
}

// LiveCorrections are the corrections that name an entry and count.
func (s *Store) LiveCorrections(ctx context.Context, entry string) ([]ledger.CorrectionFact, error) {
	var all []ledger.CorrectionFact
	err := s.read(ctx, func(q querier) (err error) {
		all, err = (&sqlFacts{q: q}).Corrections(entry)
		return err
	})
	return all, err
}

// Doubtful is an entry still in effect that was signed with a key when the key was in other hands, and that no settlement
// can take back: it is looked at, and where need be done anew.
type Doubtful struct {
	Entry string
	Type  ledger.Type
}

// Doubtful are the adoptions in use, the settlements that nothing followed and the voids in force of that kind, in order.
func (s *Store) Doubtful(ctx context.Context) ([]Doubtful, error) {
	var all []Doubtful
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x Doubtful, err error) { return x, r.Scan(&x.Entry, &x.Type) }, `
			SELECT i.id, i.type FROM signed_entries s JOIN entry_index i ON i.idx = s.idx JOIN signing_keys k ON k.id = s.key_id
			WHERE k.ended_why = 'compromised' AND i.recorded_at >= k.ended_at AND (
				i.type IN ('programme_adopted', 'parameters_adopted') AND NOT EXISTS (SELECT 1 FROM entry_index j WHERE j.type = i.type AND j.idx > i.idx)
				OR i.type = 'settlement' AND NOT EXISTS (
					SELECT 1 FROM words_on a JOIN words_on b ON b.named = a.named AND b.idx > a.idx AND b.type IN ('settlement', 'dispute') WHERE a.idx = i.idx)
				OR i.type = 'question_voided' AND EXISTS (SELECT 1 FROM voids v WHERE v.entry_id = i.id AND v.restores = 0 AND v.restored_by = ''))
			GROUP BY i.id, i.type, i.idx ORDER BY i.idx`)
		return err
	})
	return all, err
}

// Owners say who is to see to what waits, by entry or job.
func (s *Store) Owners(ctx context.Context) (map[string]string, error) {
	all := map[string]string{}
	err := s.read(ctx, func(q querier) error {
		_, err := collect(q, func(r *sql.Rows) (struct{}, error) {
			var matter, owner string
			err := r.Scan(&matter, &owner)
			all[matter] = owner
			return struct{}{}, err
		}, `SELECT matter, owner FROM assignments ORDER BY matter`)
		return err
	})
	return all, err
}

// OpenStandDown is a stand-down that holds.
type OpenStandDown struct {
	Entry, Apprentice, Task, By string
	Signed                      bool
	Reviewed                    bool // somebody else has looked at it, and it stays
}

// OpenStandDowns are the stand-downs that nobody has lifted, oldest first; apprentice "" asks for everybody's.
func (s *Store) OpenStandDowns(ctx context.Context, apprentice string) ([]OpenStandDown, error) {
	var open []OpenStandDown
	query, args := of(apprentice, `
		SELECT d.entry_id, d.apprentice, d.task, d.ordered_by, d.signed_by_entry <> '',
			EXISTS (SELECT 1 FROM words_on w WHERE w.named = d.entry_id AND w.type = 'stand_down_review')
		FROM stand_downs d
		WHERE NOT EXISTS (SELECT 1 FROM restores r WHERE r.apprentice = d.apprentice AND r.idx > d.idx AND (r.task = '' OR r.task = d.task))`,
		`d.apprentice`, ` ORDER BY d.idx`)
	err := s.read(ctx, func(q querier) (err error) {
		open, err = collect(q, func(r *sql.Rows) (x OpenStandDown, err error) {
			return x, r.Scan(&x.Entry, &x.Apprentice, &x.Task, &x.By, &x.Signed, &x.Reviewed)
		}, query, args...)
		return err
	})
	return open, err
}

// SignedFor counts the watched jobs that one person signed for another.
type SignedFor struct {
	By, Apprentice string
	Jobs           int
}

// SignedFor counts sign-offs by who signed and whom they are about.
func (s *Store) SignedFor(ctx context.Context) ([]SignedFor, error) {
	var all []SignedFor
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x SignedFor, err error) { return x, r.Scan(&x.By, &x.Apprentice, &x.Jobs) },
			`SELECT actor, subject, COUNT(*) FROM entry_index WHERE type = 'sign_off' GROUP BY actor, subject ORDER BY actor, subject`)
		return err
	})
	return all, err
}

// Keys are all keys that somebody has or had, oldest first.
func (s *Store) Keys(ctx context.Context, person string) ([]Key, error) {
	var all []Key
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (Key, error) {
			k, err := scanKey(r)
			if err != nil {
				return Key{}, err
			}
			return *k, nil
		}, keyColumns+` WHERE k.person_id = $1 ORDER BY k.idx`, person)
		return err
	})
	return all, err
}
