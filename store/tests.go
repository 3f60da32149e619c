package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"brakewright/store/ledger"
)

// Theory tests: issued and handed in by entries; answers and who watches are drafts in between.

const testColumns = `
	SELECT t.id, t.apprentice, t.task, t.blueprint, t.form, t.programme, t.issued_at,
		CASE WHEN t.handed_in = '' THEN COALESCE(o.watched_by, '') ELSE t.watched_by END,
		t.handed_in, t.handed_in_at, t.answers, t.marks, t.percent, t.passed
	FROM tests t LEFT JOIN open_tests o ON o.test_id = t.id`

func scanTest(r interface{ Scan(...any) error }) (*Test, error) {
	var t Test
	var issued, handedIn int64
	err := r.Scan(&t.ID, &t.Apprentice, &t.Task, &t.Blueprint, &t.Form, &t.Programme, &issued, &t.WatchedBy,
		&t.HandedIn, &handedIn, &t.AnswersHash, &t.MarksHash, &t.Percent, &t.Passed)
	t.IssuedAt, t.HandedInAt = ms(issued), ms(handedIn)
	return &t, err
}

func loadTest(q querier, id string) (*Test, error) {
	t, err := scanTest(q.row(testColumns+` WHERE t.id = $1`, id))
	if err != nil {
		return nil, fmt.Errorf("theory test %s: %w", id, missing(err))
	}
	return t, nil
}

func (s *Store) test(ctx context.Context, id string) (*Test, error) {
	var t *Test
	err := s.read(ctx, func(q querier) (err error) {
		t, err = loadTest(q, id)
		return err
	})
	return t, err
}

func (s *Store) tests(ctx context.Context, f TestFilter) ([]*Test, error) {
	var where []string
	var args []any
	for _, c := range []struct{ column, value string }{{"apprentice", f.Apprentice}, {"task", f.Task}} {
		if c.value != "" {
			args = append(args, c.value)
			where = append(where, fmt.Sprintf(`t.%s = $%d`, c.column, len(args)))
		}
	}
	if f.OpenOnly {
		where = append(where, `t.handed_in = ''`)
	}
	query := testColumns
	if len(where) > 0 {
		query += ` WHERE ` + strings.Join(where, ` AND `)
	}
	var all []*Test
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (*Test, error) { return scanTest(r) }, query+` ORDER BY t.idx DESC`, args...)
		return err
	})
	return all, err
}

func (s *Store) voids(ctx context.Context) ([]Void, error) {
	var all []Void
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (v Void, err error) {
			var at int64
			err = r.Scan(&v.Entry, &v.Question, &v.Lesson, &v.Edition, &v.Restores, &v.RestoredBy, &v.By, &at)
			v.At = ms(at)
			return v, err
		}, `SELECT v.entry_id, v.question, v.lesson, v.edition, v.restores, v.restored_by, i.actor, i.happened_at
			FROM voids v JOIN entry_index i ON i.idx = v.idx ORDER BY v.idx`)
		return err
	})
	return all, err
}

// InForce are the questions voided by these voids, given in their order.
func InForce(voids []Void) VoidedQuestions {
	now := VoidedQuestions{}
	for _, v := range voids {
		now.apply(v.Question, v.Lesson, v.Edition, v.Restores)
	}
	return now
}

// openTest is a test that has not been handed in.
func openTest(q querier, id string) error {
	t, err := loadTest(q, id)
	if err != nil {
		return err
	}
	if t.HandedIn != "" {
		return fmt.Errorf("theory test %s was handed in: %w", id, ErrConflict)
	}
	return nil
}

func (s *Store) saveAnswer(ctx context.Context, test, question string, answer json.RawMessage) error {
	if !json.Valid(answer) {
		return errors.New("save an answer: it is not JSON")
	}
	return s.write(ctx, func(t *tx) error {
		if err := openTest(t, test); err != nil {
			return err
		}
		_, err := t.exec(`INSERT INTO draft_answers (test_id, question, answer) VALUES ($1, $2, $3)
			ON CONFLICT (test_id, question) DO UPDATE SET answer = excluded.answer`, test, question, string(answer))
		return err
	})
}

func (s *Store) draftAnswers(ctx context.Context, test string) (map[string]json.RawMessage, error) {
	all := map[string]json.RawMessage{}
	err := s.read(ctx, func(q querier) error {
		if _, err := loadTest(q, test); err != nil {
			return err
		}
		_, err := collect(q, func(r *sql.Rows) (struct{}, error) {
			var question string
			var answer []byte
			err := r.Scan(&question, &answer)
			all[question] = answer
			return struct{}{}, err
		}, `SELECT question, answer FROM draft_answers WHERE test_id = $1`, test)
		return err
	})
	return all, err
}

func (s *Store) watchTest(ctx context.Context, test, supervisor string) error {
	return s.write(ctx, func(t *tx) error {
		if err := openTest(t, test); err != nil {
			return err
		}
		_, err := t.exec(`INSERT INTO open_tests (test_id, watched_by) VALUES ($1, $2)
			ON CONFLICT (test_id) DO UPDATE SET watched_by = excluded.watched_by`, test, supervisor)
		return err
	})
}

func (s *Store) saveKeyRequest(ctx context.Context, r KeyRequest) error {
	if r.Submission == nil || r.Submission.Body.Type != ledger.KeyAdded || r.Submission.Body.Subject != r.Person {
		return errors.New("save a key request: it is no key_added of that person")
	}
	prepared, err := r.Submission.Prepare()
	if err != nil {
		return err
	}
	if err := checkSubmission(prepared.Parsed(), r.Submission); err != nil {
		return err
	}
	b, err := json.Marshal(r.Submission)
	if err != nil {
		return err
	}
	at := r.At
	if at.IsZero() {
		at = s.now()
	}
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`INSERT INTO key_requests (person_id, submission, requested_at) VALUES ($1, $2, $3)
			ON CONFLICT (person_id) DO UPDATE SET submission = excluded.submission, requested_at = excluded.requested_at`, r.Person, string(b), millis(at))
		return err
	})
}

func (s *Store) keyRequests(ctx context.Context) ([]KeyRequest, error) {
	var all []KeyRequest
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (x KeyRequest, err error) {
			var b []byte
			var at int64
			if err := r.Scan(&x.Person, &b, &at); err != nil {
				return x, err
			}
			x.At, x.Submission = ms(at), &ledger.Submission{}
			return x, json.Unmarshal(b, x.Submission)
		}, `SELECT person_id, submission, requested_at FROM key_requests ORDER BY requested_at, person_id`)
		return err
	})
	return all, err
}

func (s *Store) dropKeyRequest(ctx context.Context, person string) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`DELETE FROM key_requests WHERE person_id = $1`, person)
		return err
	})
}
