package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"
)

func (s *Store) addSession(ctx context.Context, x Session) error {
	if x.TokenHash == "" || x.Person == "" {
		return fmt.Errorf("add a session: token hash and person are needed")
	}
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`INSERT INTO sessions (token_hash, person_id, api, created_at, seen_at, expires_at, reauth_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			x.TokenHash, x.Person, x.API, millis(x.CreatedAt), millis(x.SeenAt), millis(x.ExpiresAt), millis(x.ReauthAt))
		if isUnique(err) {
			return fmt.Errorf("add a session: %w", ErrConflict)
		}
		if err != nil {
			return err
		}
		// Nobody comes back to what has expired.
		_, err = t.exec(`DELETE FROM sessions WHERE expires_at < $1`, millis(s.now()))
		return err
	})
}

const sessionColumns = `SELECT token_hash, person_id, api, created_at, seen_at, expires_at, reauth_at FROM sessions`

func scanSession(r interface{ Scan(...any) error }) (x Session, err error) {
	var created, seen, expires, reauth int64
	err = r.Scan(&x.TokenHash, &x.Person, &x.API, &created, &seen, &expires, &reauth)
	x.CreatedAt, x.SeenAt, x.ExpiresAt, x.ReauthAt = ms(created), ms(seen), ms(expires), ms(reauth)
	return x, err
}

// session returns it even when it has expired: whoever asks judges by their own clock.
func (s *Store) session(ctx context.Context, tokenHash string) (*Session, error) {
	var x Session
	err := s.read(ctx, func(q querier) (err error) {
		x, err = scanSession(q.row(sessionColumns+` WHERE token_hash = $1`, tokenHash))
		return missing(err)
	})
	if err != nil {
		return nil, err
	}
	return &x, nil
}

func (s *Store) touchSession(ctx context.Context, tokenHash string, seen time.Time) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`UPDATE sessions SET seen_at = max(seen_at, $1) WHERE token_hash = $2`, millis(seen), tokenHash)
		return err
	})
}

func (s *Store) sessions(ctx context.Context, person string) ([]Session, error) {
	var all []Session
	err := s.read(ctx, func(q querier) (err error) {
		all, err = collect(q, func(r *sql.Rows) (Session, error) { return scanSession(r) }, sessionColumns+` WHERE person_id = $1 ORDER BY created_at, token_hash`, person)
		return err
	})
	return all, err
}

func (s *Store) endSessions(ctx context.Context, person, tokenHash, keep string) error {
	return s.write(ctx, func(t *tx) error {
		if tokenHash != "" {
			_, err := t.exec(`DELETE FROM sessions WHERE person_id = $1 AND token_hash = $2`, person, tokenHash)
			return err
		}
		_, err := t.exec(`DELETE FROM sessions WHERE person_id = $1 AND token_hash <> $2`, person, keep)
		return err
	})
}

// throttleKey hides whom a failure is counted for: a mistyped password often stands where the log-in name should.
func throttleKey(key string) string {
	sum := sha256.Sum256([]byte("brakewright-throttle-v1\n" + key))
	return hex.EncodeToString(sum[:])
}

func (s *Store) failures(ctx context.Context, kind, key string) (n int, last time.Time, err error) {
	var at int64
	err = s.read(ctx, func(q querier) error {
		return optional(q.row(`SELECT count, last_at FROM failures WHERE kind = $1 AND key = $2`, kind, throttleKey(key)).Scan(&n, &at))
	})
	return n, ms(at), err
}

func (s *Store) addFailure(ctx context.Context, kind, key string) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`INSERT INTO failures (kind, key, count, last_at) VALUES ($1, $2, 1, $3)
			ON CONFLICT (kind, key) DO UPDATE SET count = count + 1, last_at = excluded.last_at`, kind, throttleKey(key), millis(s.now()))
		return err
	})
}

func (s *Store) clearFailures(ctx context.Context, kind, key string) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`DELETE FROM failures WHERE kind = $1 AND key = $2`, kind, throttleKey(key))
		return err
	})
}

func (s *Store) addCode(ctx context.Context, person, codeHash, by string, expires time.Time) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`INSERT INTO login_codes (person_id, code_hash, shown_by, expires_at) VALUES ($1, $2, $3, $4)
			ON CONFLICT (person_id) DO UPDATE SET code_hash = excluded.code_hash, shown_by = excluded.shown_by, expires_at = excluded.expires_at`,
			person, codeHash, by, millis(expires))
		return err
	})
}

func (s *Store) useCode(ctx context.Context, person, codeHash string) error {
	return s.write(ctx, func(t *tx) error {
		r, err := t.exec(`DELETE FROM login_codes WHERE person_id = $1 AND code_hash = $2 AND expires_at > $3`, person, codeHash, millis(s.now()))
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		if err == nil && n == 0 {
			return ErrNotFound
		}
		return err
	})
}

func (s *Store) cachedVerdicts(ctx context.Context, apprentice, date, parameters, policy string) (map[string]json.RawMessage, int64, error) {
	all := map[string]json.RawMessage{}
	var seen int64
	err := s.read(ctx, func(q querier) error {
		if err := q.row(`SELECT COALESCE(MAX(idx) + 1, 0) FROM entry_index`).Scan(&seen); err != nil {
			return err
		}
		_, err := collect(q, func(r *sql.Rows) (struct{}, error) {
			var task string
			var verdict []byte
			err := r.Scan(&task, &verdict)
			all[task] = verdict
			return struct{}{}, err
		}, `SELECT task, verdict FROM verdict_cache
			WHERE apprentice = $1 AND as_of = $2 AND parameters = $3 AND policy = $4
			AND seen > (SELECT COALESCE(MAX(idx), -1) FROM entry_index WHERE subject = $1)
			AND seen > (SELECT COALESCE(MAX(idx), -1) FROM evidence WHERE apprentice = $1)`, apprentice, date, parameters, policy)
		return err
	})
	return all, seen, err
}

func (s *Store) cacheVerdicts(ctx context.Context, apprentice, date, parameters, policy string, seen int64, byTask map[string]json.RawMessage) error {
	return s.write(ctx, func(t *tx) error {
		// Standings of past days and policies are asked for once; the table stays as large as the cohort.
		_, err := t.exec(`DELETE FROM verdict_cache WHERE apprentice = $1 AND (as_of <> $2 OR parameters <> $3 OR policy <> $4)`, apprentice, date, parameters, policy)
		if err != nil {
			return err
		}
		for task, verdict := range byTask {
			_, err := t.exec(`INSERT INTO verdict_cache (apprentice, task, as_of, parameters, policy, seen, verdict) VALUES ($1, $2, $3, $4, $5, $6, $7)
				ON CONFLICT (apprentice, as_of, parameters, policy, task) DO UPDATE SET seen = excluded.seen, verdict = excluded.verdict`,
				apprentice, task, date, parameters, policy, seen, string(verdict))
			if err != nil {
				return err
			}
		}
		return nil
	})
}
