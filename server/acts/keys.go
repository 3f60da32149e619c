package acts

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
)

// unlock opens somebody's signing key with their passphrase. Wrong ones are counted; after the tenth in a row the
// person's sessions end, and only a full log-in starts the count again. field names the form's field.
func (s *Service) unlock(ctx context.Context, p *store.Person, passphrase, field string) (*ledger.Signer, error) {
	if u := passkeyUse(ctx); u != nil && field == "passphrase" { // of who acts, not of a second person
		return s.withPasskey(p, u, field)
	}
	if p.Key == nil {
		code := "no_key"
		switch {
		case len(p.Passkeys) > 0:
			code = "passkey_only"
		case p.KeyWaiting:
			code = "key_waiting"
		}
		return nil, wrong(field, code)
	}
	if passphrase == "" {
		return nil, wrong(field, "passphrase_needed")
	}
	key := counted(failedPassphrase, p.ID)
	var signer *ledger.Signer
	err := s.gate.do(ctx, func() error {
		n, _, err := s.Store.Failures(ctx, failedPassphrase, key)
		if err != nil {
			return err
		}
		if n >= passphraseTries {
			return s.lockedOut(ctx, p)
		}
		signer, err = s.unseal(p.Key.ID, p.Key.Sealed, p.ID, passphrase)
		if err == nil {
			if n == 0 {
				return nil
			}
			return s.Store.ClearFailures(ctx, failedPassphrase, key)
		}
		if !errors.Is(err, ledger.ErrPassphrase) {
			return err
		}
		if err := s.Store.AddFailure(ctx, failedPassphrase, key); err != nil {
			return err
		}
		if n+1 >= passphraseTries {
			return s.lockedOut(ctx, p)
		}
		return wrong(field, "passphrase_wrong", "left", strconv.Itoa(passphraseTries-n-1))
	})
	return signer, err
}

func (s *Service) lockedOut(ctx context.Context, p *store.Person) error {
	if err := s.Store.EndSessions(ctx, p.ID, "", ""); err != nil {
		return err
	}
	return refuse(http.StatusUnauthorized, "passphrase_locked", "tries", strconv.Itoa(passphraseTries))
}

func (s *Service) requestKey(ctx context.Context, actor *store.Person, passphrase string) error {
	if err := s.May(ctx, actor, ManageOwnKey, Target{Person: actor}); err != nil {
		return err
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return err
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return err
	}
	if err := CheckPassphrase(passphrase, actor.Login, actor.Name, info.Title); err != nil {
		return err
	}
	if err := s.notThePassword(ctx, actor, passphrase); err != nil {
		return err
	}
	id, err := s.newID()
	if err != nil {
		return err
	}
	var sub *ledger.Submission
	err = s.gate.do(ctx, func() error {
		signer, public, sealed, err := ledger.NewKey(s.Random, id, actor.ID, passphrase)
		if err != nil {
			return err
		}
		sub, err = s.entry(s.head("", ledger.KeyAdded, actor.ID, actor.ID, at),
			ledger.KeyAddedPayload{Key: ledger.MarshalKey(id, public)}, nil, map[string][]byte{"sealed_key": sealed})
		if err != nil {
			return err
		}
		return sub.Sign(signer)
	})
	if err != nil {
		return err
	}
	return s.Store.SaveKeyRequest(ctx, store.KeyRequest{Person: actor.ID, Submission: sub, At: s.clock()})
}

// notThePassword refuses a signing passphrase that is the log-in password: who sees the one must not have the other.
func (s *Service) notThePassword(ctx context.Context, p *store.Person, passphrase string) error {
	hash, err := s.Store.PasswordHash(ctx, p.ID)
	if isNotFound(err) {
		return nil
	}
	if err != nil {
		return err
	}
	return s.gate.do(ctx, func() error {
		same, _, err := store.CheckPassword(hash, passphrase)
		if err == nil && same {
			err = wrong("passphrase", "passphrase_is_password")
		}
		return err
	})
}

// WaitingKey is a new key that waits for a coordinator's signature.
type WaitingKey struct {
	Person  *store.Person
	Passkey bool // stands beside the other keys; else it takes the place of the one under a passphrase
}

// WaitingKeys are the new keys that wait for a coordinator's signature, of people that the actor may sign for.
func (s *Service) WaitingKeys(ctx context.Context, actor *store.Person) ([]WaitingKey, error) {
	requests, err := s.Store.KeyRequests(ctx)
	if err != nil {
		return nil, err
	}
	var out []WaitingKey
	for _, r := range requests {
		p, err := s.person(ctx, r.Person)
		if err != nil {
			return nil, err
		}
		x, err := ledger.PayloadOf[ledger.KeyAddedPayload](r.Submission.Body)
		if err != nil {
			return nil, err
		}
		if s.May(ctx, actor, ManageKeys, Target{Person: p}) == nil {
			out = append(out, WaitingKey{p, ledger.IsPasskey(x.Key.Alg)})
		}
	}
	return out, nil
}

// confirmKeys signs waiting keys. A person's older key under a passphrase ends with the same transaction: changed. Nobody confirms their
// own, but a coordinator who is alone may sign a new key of their own with the old one.
func (s *Service) confirmKeys(ctx context.Context, actor *store.Person, persons []string, passphrase string) ([]store.Receipt, error) {
	if len(persons) == 0 {
		return nil, wrong("persons", "nothing_chosen")
	}
	requests, err := s.Store.KeyRequests(ctx)
	if err != nil {
		return nil, err
	}
	waiting := map[string]store.KeyRequest{}
	for _, r := range requests {
		waiting[r.Person] = r
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return nil, err
	}
	var subs []*ledger.Submission
	var sign []*ledger.Submission
	for _, id := range persons {
		p, err := s.person(ctx, id)
		if err != nil {
			return nil, err
		}
		if err := s.May(ctx, actor, ManageKeys, Target{Person: p}); err != nil {
			return nil, err
		}
		r, ok := waiting[id]
		if !ok {
			return nil, conflict("no_key_waiting", "person", p.Name)
		}
		if p.ID == actor.ID {
			if err := s.onlyCoordinator(ctx, actor, at.date); err != nil {
				return nil, err
			}
		}
		added := *r.Submission
		added.Signatures = append([]ledger.Signature(nil), r.Submission.Signatures...)
		sign = append(sign, &added)
		x, err := ledger.PayloadOf[ledger.KeyAddedPayload](r.Submission.Body)
		if err != nil {
			return nil, err
		}
		// A passkey stands beside the others.
		if p.Key != nil && !ledger.IsPasskey(x.Key.Alg) {
			ended, err := s.entry(s.head("", ledger.KeyEnded, actor.ID, p.ID, at),
				ledger.KeyEndedPayload{Key: p.Key.ID, Why: "changed", From: s.ms() + 1}, nil, nil)
			if err != nil {
				return nil, err
			}
			subs = append(subs, &added, ended)
			continue
		}
		subs = append(subs, &added)
	}
	signer, err := s.unlock(ctx, actor, passphrase, "passphrase")
	if err != nil {
		return nil, err
	}
	for _, x := range sign {
		if err := x.Sign(signer); err != nil {
			return nil, err
		}
	}
	receipts, err := s.submitAll(ctx, subs...)
	if err != nil {
		return nil, err
	}
	for _, id := range persons {
		if err := s.Store.DropKeyRequest(ctx, id); err != nil {
			return nil, err
		}
	}
	return receipts, nil
}

// onlyCoordinator refuses unless no other coordinator with a key could sign instead.
func (s *Service) onlyCoordinator(ctx context.Context, actor *store.Person, date string) error {
	people, err := s.Store.People(ctx)
	if err != nil {
		return err
	}
	for _, p := range people {
		if p.ID != actor.ID && p.CanSign() && May(p, ManageKeys, Target{Person: actor, Date: date}) == nil {
			return refuse(http.StatusForbidden, "not_allowed", "why", "self", "act", string(ManageKeys))
		}
	}
	return nil
}

// KeyEnd ends a signing key. A change is no such act: a new key is made and confirmed, and the old one ends with it.
type KeyEnd struct {
	ID, Person string
	Key        string // "" is the key under a passphrase or, without one, the only passkey
	Why        string // lost: earlier signatures stand. compromised: those since From are in question until somebody else settles each
	From       string // of a compromise: the first day on which somebody else may have had it; "" is today
	Reason     string
}

// EndKey ends the key in force at once, on the session alone: whoever lost the passphrase cannot sign. The person, or a
// coordinator who manages their keys, may do it.
func (s *Service) EndKey(ctx context.Context, actor *store.Person, r KeyEnd) (store.Receipt, error) {
	none := store.Receipt{}
	p, err := s.person(ctx, r.Person)
	if err != nil {
		return none, err
	}
	act := ManageKeys
	if p.ID == actor.ID {
		act = ManageOwnKey
	}
	if err := s.May(ctx, actor, act, Target{Person: p}); err != nil {
		return none, err
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return none, err
	}
	if r.Why != "lost" && r.Why != "compromised" {
		return none, wrong("why", "unknown_key_end", "why", r.Why)
	}
	if r.Reason, err = text("reason", r.Reason); err != nil {
		return none, err
	}
	if r.Why == "compromised" && r.Reason == "" {
		return none, wrong("reason", "reason_needed")
	}
	h := s.head(r.ID, ledger.KeyEnded, actor.ID, p.ID, at)
	same := func(x ledger.KeyEndedPayload) bool { return x.Why == r.Why && (r.Key == "" || x.Key == r.Key) }
	return once(ctx, s, h, same, words{"reason": r.Reason}, func() (store.Receipt, error) {
		key := keyToEnd(p, r.Key)
		if key == nil {
			return none, conflict("no_key_in_force", "name", p.Name)
		}
		from := h.At
		if r.Why == "compromised" && r.From != "" {
			if from, err = s.startOf(r.From, at); err != nil {
				return none, err
			}
		}
		sub, err := s.entry(h, ledger.KeyEndedPayload{Key: key.ID, Why: r.Why, From: from}, map[string]string{"reason": r.Reason}, nil)
		if err != nil {
			return none, err
		}
		return s.submit(ctx, sub)
	})
}

// keyToEnd is somebody's key in force by its id, or the one that is meant where none is named; nil if there is none.
func keyToEnd(p *store.Person, id string) *store.Key {
	if id == "" && p.Key == nil && len(p.Passkeys) == 1 {
		return p.Passkeys[0]
	}
	if p.Key != nil && (id == "" || p.Key.ID == id) {
		return p.Key
	}
	for _, k := range p.Passkeys {
		if k.ID == id {
			return k
		}
	}
	return nil
}

// startOf is the first moment of a day that has come, in the place's zone.
func (s *Service) startOf(day string, at place) (int64, error) {
	if !ledger.ValidDate(day) {
		return 0, wrong("from", "bad_date", "date", day)
	}
	if day > at.date {
		return 0, wrong("from", "future", "date", day)
	}
	loc, err := time.LoadLocation(at.zone)
	if err != nil {
		return 0, err
	}
	t, err := time.ParseInLocation(time.DateOnly, day, loc)
	return max(0, t.UnixMilli()), err
}

// KeysOf are all keys that somebody has or had, oldest first: for themselves and whoever manages their keys.
func (s *Service) KeysOf(ctx context.Context, actor *store.Person, person string) ([]store.Key, error) {
	p, err := s.person(ctx, person)
	if err != nil {
		return nil, err
	}
	act := ManageKeys
	if p.ID == actor.ID {
		act = ManageOwnKey
	}
	if err := s.May(ctx, actor, act, Target{Person: p}); err != nil {
		return nil, err
	}
	return s.Store.Keys(ctx, p.ID)
}
