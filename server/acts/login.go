package acts

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"io"
	"net/http"
	"strings"
	"time"

	"golang.org/x/text/unicode/norm"

	"brakewright/store"
	"brakewright/store/ledger"
)

const (
	idleTime      = 30 * time.Minute
	sessionTime   = 12 * time.Hour
	touchEvery    = time.Minute // last use is noted this exactly
	codeTime      = 15 * time.Minute
	firstCodeTime = 14 * 24 * time.Hour // between adding somebody and their first day

	freeFailures = 5   // before delays begin
	mostFailures = 100 // in a row; then only a one-time code helps (NIST SP 800-63B-4, 3.2.2)
	longestDelay = 15 * time.Minute
	// An address may be a whole workshop's: its delays stay short, and it is forgiven after a quiet while.
	longestAddressDelay = 30 * time.Second
	addressForgiven     = 15 * time.Minute

	passphraseTries = 10 // then the person must log in again
)

// kinds of failures that the store counts
const (
	failedLogIn      = "login"
	failedAddress    = "address"
	failedCode       = "code"
	failedPassphrase = "passphrase"
)

// isNotFound says whether the store has no such thing.
func isNotFound(err error) bool { return errors.Is(err, store.ErrNotFound) }

// AsRefusal returns the refusal in an error.
func AsRefusal(err error) (*Refusal, bool) {
	var r *Refusal
	ok := errors.As(err, &r)
	return r, ok
}

// foldLogin is a log-in name as it is compared and counted.
func foldLogin(login string) string {
	return strings.ToLower(norm.NFKC.String(strings.TrimSpace(login)))
}

// counted is the key under which failures are counted: a hash, since people type passwords into the wrong field.
func counted(kind, key string) string {
	sum := sha256.Sum256([]byte("brakewright-failures-v1\n" + kind + "\n" + key))
	return hex.EncodeToString(sum[:])
}

// delayAfter is how long the next try must wait after n failures in a row.
func delayAfter(n int, longest time.Duration) time.Duration {
	if n < freeFailures {
		return 0
	}
	if d := time.Second << min(n-freeFailures, 20); d < longest {
		return d
	}
	return longest
}

// throttled refuses a try that comes too early. The same answer comes for names that exist and that do not.
func (s *Service) throttled(ctx context.Context, kind, login, address string) error {
	n, last, err := s.Store.Failures(ctx, kind, counted(kind, login))
	if err != nil {
		return err
	}
	if n >= mostFailures {
		return refuse(http.StatusTooManyRequests, kind+"_locked")
	}
	wait := last.Add(delayAfter(n, longestDelay)).Sub(s.Now())
	if address != "" {
		n, last, err := s.Store.Failures(ctx, failedAddress, counted(failedAddress, address))
		if err != nil {
			return err
		}
		if s.Now().Sub(last) < addressForgiven {
			wait = max(wait, last.Add(delayAfter(n, longestAddressDelay)).Sub(s.Now()))
		}
	}
	if wait <= 0 {
		return nil
	}
	r := refuse(http.StatusTooManyRequests, "login_throttled")
	r.RetryAfter = max(time.Second, wait.Round(time.Second))
	return r
}

// failed counts a failure for the name and the address.
func (s *Service) failed(ctx context.Context, kind, login, address string) error {
	if err := s.Store.AddFailure(ctx, kind, counted(kind, login)); err != nil {
		return err
	}
	if address == "" {
		return nil
	}
	key := counted(failedAddress, address)
	_, last, err := s.Store.Failures(ctx, failedAddress, key)
	if err != nil {
		return err
	}
	if s.Now().Sub(last) >= addressForgiven {
		if err := s.Store.ClearFailures(ctx, failedAddress, key); err != nil {
			return err
		}
	}
	return s.Store.AddFailure(ctx, failedAddress, key)
}

func (s *Service) logIn(ctx context.Context, login, password, address string, api bool) (string, *store.Person, error) {
	name := foldLogin(login)
	if err := s.throttled(ctx, failedLogIn, name, address); err != nil {
		return "", nil, err
	}
	var p *store.Person
	var stale bool
	err := s.gate.do(ctx, func() error {
		// Once more in one's turn: those ahead in the queue may have failed meanwhile.
		if err := s.throttled(ctx, failedLogIn, name, address); err != nil {
			return err
		}
		who, hash, err := s.credentials(ctx, name)
		if err != nil {
			return err
		}
		ok, old, err := store.CheckPassword(hash, firstRunes(password, 4*longestPassword))
		if err != nil {
			return err
		}
		if !ok || who == nil {
			if err := s.failed(ctx, failedLogIn, name, address); err != nil {
				return err
			}
			return refuse(http.StatusUnauthorized, "login_failed")
		}
		p, stale = who, old
		return nil
	})
	if err != nil {
		return "", nil, err
	}
	if err := s.mayLogIn(ctx, p); err != nil {
		return "", nil, err
	}
	if stale {
		// A better hash is welcome but not worth a failed log-in; the next log-in tries again.
		_ = s.storePassword(ctx, p, password)
	}
	return s.openSession(ctx, p, name, api, s.clock())
}

// credentials returns somebody's password hash; nobody and a hash that nothing opens where there is none.
func (s *Service) credentials(ctx context.Context, name string) (*store.Person, string, error) {
	p, err := s.Store.PersonByLogin(ctx, name)
	if isNotFound(err) || err == nil && name == "" {
		return nil, nobodysHash(), nil
	}
	if err != nil {
		return nil, "", err
	}
	hash, err := s.Store.PasswordHash(ctx, p.ID)
	if isNotFound(err) {
		return nil, nobodysHash(), nil
	}
	return p, hash, err
}

// mayLogIn refuses who holds no role today.
func (s *Service) mayLogIn(ctx context.Context, p *store.Person) error {
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	if !HoldsAny(p, today) {
		return refuse(http.StatusForbidden, "no_role")
	}
	return nil
}

// openSession forgets earlier failures and stores the hash of a new token of 256 random bits.
func (s *Service) openSession(ctx context.Context, p *store.Person, name string, api bool, reauth time.Time) (string, *store.Person, error) {
	for _, x := range [][2]string{{failedLogIn, name}, {failedCode, name}, {failedPassphrase, p.ID}} {
		if err := s.Store.ClearFailures(ctx, x[0], counted(x[0], x[1])); err != nil {
			return "", nil, err
		}
	}
	raw := make([]byte, 32)
	if _, err := io.ReadFull(tokenSource, raw); err != nil {
		return "", nil, err
	}
	token := base64.RawURLEncoding.EncodeToString(raw)
	now := s.clock()
	err := s.Store.AddSession(ctx, store.Session{
		Person: p.ID, TokenHash: tokenHash(token), API: api, CreatedAt: now, SeenAt: now, ExpiresAt: now.Add(sessionTime), ReauthAt: reauth,
	})
	return token, p, err
}

// tokenSource is never the Service's own randomness: in a demo that is seeded, and a token must not be guessed even there.
var tokenSource io.Reader = rand.Reader

func tokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

func (s *Service) logInWithCode(ctx context.Context, login, code, address string) (string, *store.Person, error) {
	name := foldLogin(login)
	if err := s.throttled(ctx, failedCode, name, address); err != nil {
		return "", nil, err
	}
	id := ""
	p, err := s.Store.PersonByLogin(ctx, name)
	if err != nil && !isNotFound(err) {
		return "", nil, err
	}
	if err == nil {
		id = p.ID
	}
	err = s.Store.UseCode(ctx, id, codeHash(id, code))
	if isNotFound(err) || err == nil && id == "" {
		if err := s.failed(ctx, failedCode, name, address); err != nil {
			return "", nil, err
		}
		return "", nil, refuse(http.StatusUnauthorized, "code_failed")
	}
	if err != nil {
		return "", nil, err
	}
	if err := s.mayLogIn(ctx, p); err != nil {
		return "", nil, err
	}
	// No password was given: until one is set, the session has no time of authentication.
	return s.openSession(ctx, p, name, false, time.Time{})
}

// codeAlphabet has 32 signs, five bits each, none of which looks like another (Crockford's base 32).
const codeAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// newCode makes a code of 60 bits in three groups: "7K2M-49XQ-3TBN".
func newCode() (string, error) {
	raw := make([]byte, 12)
	if _, err := io.ReadFull(tokenSource, raw); err != nil {
		return "", err
	}
	var b strings.Builder
	for i, x := range raw {
		if i > 0 && i%4 == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(codeAlphabet[x&31])
	}
	return b.String(), nil
}

// codeHash is what the store keeps of a code. It takes a code as people type it: any case, with or without dashes, O
// for 0, I or L for 1.
func codeHash(person, code string) string {
	code = strings.Map(func(r rune) rune {
		switch r {
		case 'O':
			return '0'
		case 'I', 'L':
			return '1'
		}
		if strings.ContainsRune(codeAlphabet, r) {
			return r
		}
		return -1
	}, strings.ToUpper(code))
	sum := sha256.Sum256([]byte("brakewright-code-v1\n" + person + "\n" + code))
	return hex.EncodeToString(sum[:])
}

func (s *Service) sessionOf(ctx context.Context, token string) (*store.Person, error) {
	p, _, err := s.openedBy(ctx, token)
	return p, err
}

// openedBy resolves a token to its person and session, and notes its use.
func (s *Service) openedBy(ctx context.Context, token string) (*store.Person, *store.Session, error) {
	over := refuse(http.StatusUnauthorized, "session_over")
	if token == "" {
		return nil, nil, over
	}
	hash := tokenHash(token)
	x, err := s.Store.Session(ctx, hash)
	if isNotFound(err) {
		return nil, nil, over
	}
	if err != nil {
		return nil, nil, err
	}
	now := s.Now()
	if !now.Before(x.ExpiresAt) || now.Sub(x.SeenAt) > idleTime {
		if err := s.Store.EndSessions(ctx, x.Person, hash, ""); err != nil {
			return nil, nil, err
		}
		return nil, nil, over
	}
	p, err := s.Store.Person(ctx, x.Person)
	if isNotFound(err) {
		return nil, nil, over
	}
	if err != nil {
		return nil, nil, err
	}
	if err := s.mayLogIn(ctx, p); err != nil {
		return nil, nil, err
	}
	if now.Sub(x.SeenAt) >= touchEvery {
		if err := s.Store.TouchSession(ctx, hash, s.clock()); err != nil && !isNotFound(err) {
			return nil, nil, err
		}
	}
	return p, x, nil
}

// MustSetPassword says whether a session was opened by a one-time code and no password has been set since. Such a
// session may do nothing else.
func (s *Service) MustSetPassword(ctx context.Context, token string) (bool, error) {
	_, x, err := s.openedBy(ctx, token)
	if err != nil {
		return false, err
	}
	return codeSession(x), nil
}

func codeSession(x *store.Session) bool { return x.ReauthAt.UnixMilli() <= 0 }

func (s *Service) logOut(ctx context.Context, token string) error {
	hash := tokenHash(token)
	x, err := s.Store.Session(ctx, hash)
	if isNotFound(err) {
		return nil
	}
	if err != nil {
		return err
	}
	return s.Store.EndSessions(ctx, x.Person, hash, "")
}

func (s *Service) showCode(ctx context.Context, actor *store.Person, person string) (string, time.Time, error) {
	p, err := s.person(ctx, person)
	if err != nil {
		return "", time.Time{}, err
	}
	if err := s.May(ctx, actor, ShowLogInCode, Target{Person: p}); err != nil {
		return "", time.Time{}, err
	}
	return s.addCode(ctx, p, actor.ID, codeTime)
}

// OperatorCode makes a one-time code on the authority of whoever holds the database and the key file, for the command
// line: the way back in when no coordinator can log in.
func (s *Service) OperatorCode(ctx context.Context, login string) (code string, expires time.Time, err error) {
	p, err := s.Store.PersonByLogin(ctx, foldLogin(login))
	if err != nil {
		return "", time.Time{}, missing(err, "person")
	}
	return s.addCode(ctx, p, "", codeTime)
}

func (s *Service) addCode(ctx context.Context, p *store.Person, by string, valid time.Duration) (string, time.Time, error) {
	code, err := newCode()
	if err != nil {
		return "", time.Time{}, err
	}
	expires := s.clock().Add(valid)
	if err := s.Store.AddCode(ctx, p.ID, codeHash(p.ID, code), by, expires); err != nil {
		return "", time.Time{}, err
	}
	return code, expires, nil
}

func (s *Service) setPassword(ctx context.Context, actor *store.Person, token, current, next string) error {
	p, x, err := s.openedBy(ctx, token)
	if err != nil {
		return err
	}
	if p.ID != actor.ID {
		return refuse(http.StatusForbidden, "not_allowed", "why", "not_own", "act", string(ManageOwnLogIn))
	}
	if err := s.May(ctx, p, ManageOwnLogIn, Target{Person: p}); err != nil {
		return err
	}
	if !codeSession(x) {
		if err := s.checkOwnPassword(ctx, p, current); err != nil {
			return err
		}
	}
	info, err := s.Store.Info(ctx)
	if err != nil {
		return err
	}
	if err := CheckPassword(next, p.Login, p.Name, info.Title); err != nil {
		return err
	}
	if err := s.storePassword(ctx, p, next); err != nil {
		return err
	}
	// Whoever else was logged in with the old password, or by a code, is out; this browser goes on.
	if err := s.Store.EndSessions(ctx, p.ID, "", x.TokenHash); err != nil {
		return err
	}
	if err := s.Store.EndSessions(ctx, p.ID, x.TokenHash, ""); err != nil {
		return err
	}
	renewed := *x
	renewed.SeenAt, renewed.ReauthAt = s.clock(), s.clock()
	return s.Store.AddSession(ctx, renewed)
}

// checkOwnPassword asks for the password once more, with the same counting as a log-in.
func (s *Service) checkOwnPassword(ctx context.Context, p *store.Person, password string) error {
	name := foldLogin(p.Login)
	return s.gate.do(ctx, func() error {
		if err := s.throttled(ctx, failedLogIn, name, ""); err != nil {
			return err
		}
		hash, err := s.Store.PasswordHash(ctx, p.ID)
		if isNotFound(err) {
			hash, err = nobodysHash(), nil
		}
		if err != nil {
			return err
		}
		ok, _, err := store.CheckPassword(hash, firstRunes(password, 4*longestPassword))
		if err != nil {
			return err
		}
		if ok {
			return s.Store.ClearFailures(ctx, failedLogIn, counted(failedLogIn, name))
		}
		if err := s.failed(ctx, failedLogIn, name, ""); err != nil {
			return err
		}
		return wrong("current", "password_wrong")
	})
}

// storePassword hashes a password and records that it was set.
func (s *Service) storePassword(ctx context.Context, p *store.Person, password string) error {
	var hash string
	err := s.gate.do(ctx, func() (err error) {
		hash, err = store.HashPassword(s.Random, password)
		return err
	})
	if err != nil {
		return err
	}
	at, err := s.placeOf(ctx, "")
	if err != nil {
		return err
	}
	sub, err := s.entry(s.head("", ledger.PasswordSet, p.ID, p.ID, at), ledger.PasswordPayload{}, nil, map[string][]byte{"password": []byte(hash)})
	if err != nil {
		return err
	}
	_, err = s.submit(ctx, sub)
	return err
}
