package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"brakewright/store/ledger"
)

// Signing is what a person was asked to sign with a passkey, kept until their device answers: whole entries but for that
// signature, or, where a passkey is being made, the challenge alone. A draft: it is in the ledger only once it is signed.
type Signing struct {
	ID, Person  string
	Submissions []*ledger.Submission
	Challenge   []byte // what the device signs
	Among       []string
	At          time.Time
}

// SigningLasts is how long an answer is waited for.
const SigningLasts = 5 * time.Minute

// SaveSigning keeps one, and lets go of all that nobody answered.
func (s *Store) SaveSigning(ctx context.Context, x Signing) error {
	if x.ID == "" || x.Person == "" || len(x.Challenge) == 0 {
		return errors.New("keep what is to be signed: id, person and challenge are needed")
	}
	if x.At.IsZero() {
		x.At = s.now()
	}
	b, err := json.Marshal(x)
	if err != nil {
		return err
	}
	return s.write(ctx, func(t *tx) error {
		aead, err := s.dataKey(t, x.Person)
		if err != nil {
			return err
		}
		sealed, err := sealWith(s.random, aead, b, draftAD("signing\n"+x.ID))
		if err != nil {
			return err
		}
		if _, err := t.exec(`DELETE FROM signings WHERE asked_at < $1`, millis(x.At.Add(-SigningLasts))); err != nil {
			return err
		}
		_, err = t.exec(`INSERT INTO signings (id, person_id, sealed, asked_at) VALUES ($1, $2, $3, $4)`, x.ID, x.Person, sealed, millis(x.At))
		return err
	})
}

// Signing returns one; [ErrNotFound] if it was answered, let go, or is somebody else's.
func (s *Store) Signing(ctx context.Context, person, id string) (*Signing, error) {
	var x Signing
	err := s.read(ctx, func(q querier) error {
		var sealed []byte
		if err := missing(q.row(`SELECT sealed FROM signings WHERE id = $1 AND person_id = $2`, id, person).Scan(&sealed)); err != nil {
			return err
		}
		aead, err := s.dataKey(q, person)
		if err != nil {
			return err
		}
		b, err := openWith(aead, sealed, draftAD("signing\n"+id))
		if err != nil {
			return fmt.Errorf("what %s was to sign: %w", person, err)
		}
		return json.Unmarshal(b, &x)
	})
	if err != nil {
		return nil, err
	}
	return &x, nil
}

// DropSigning lets go of one.
func (s *Store) DropSigning(ctx context.Context, id string) error {
	return s.write(ctx, func(t *tx) error {
		_, err := t.exec(`DELETE FROM signings WHERE id = $1`, id)
		return err
	})
}
