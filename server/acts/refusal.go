package acts

import (
	"context"
	"errors"
	"net/http"
	"time"

	"brakewright/store"
	"brakewright/store/ledger"
)

// Refusal is a rule or permission that says no. Code and Args are said by server/say; Status is the HTTP status that fits.
type Refusal struct {
	Code       string
	Args       map[string]string
	Status     int
	Field      string // of the form, or ""
	RetryAfter time.Duration
	Problems   []Refusal // where several things are wrong at once (a roster, a described car), each with its Field
}

func (r *Refusal) Error() string { return "refused: " + r.Code }

// refuse makes a refusal; args are names and values in turn, those without a value are left out.
func refuse(status int, code string, args ...string) *Refusal {
	r := &Refusal{Code: code, Status: status, Args: map[string]string{}}
	for i := 0; i+1 < len(args); i += 2 {
		if args[i+1] != "" {
			r.Args[args[i]] = args[i+1]
		}
	}
	return r
}

// wrong is a refusal of what was entered in a field.
func wrong(field, code string, args ...string) *Refusal {
	r := refuse(http.StatusUnprocessableEntity, code, args...)
	r.Field = field
	return r
}

// conflict is a refusal because things stand otherwise than the request thinks.
func conflict(code string, args ...string) *Refusal {
	return refuse(http.StatusConflict, code, args...)
}

// missing turns the store's "not found" into a refusal that says what was looked for; other errors pass.
func missing(err error, what string) error {
	if errors.Is(err, store.ErrNotFound) {
		return refuse(http.StatusNotFound, "not_found", "what", what)
	}
	return err
}

// translate turns what the store refuses into refusals: a broken rule of the ledger keeps its code behind "rule_".
func translate(err error) error {
	var rule *ledger.RuleError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &rule):
		r := refuse(http.StatusUnprocessableEntity, "rule_"+rule.Code)
		for k, v := range rule.Args {
			r.Args[k] = v
		}
		return r
	case errors.Is(err, store.ErrConflict):
		return conflict("id_taken")
	case errors.Is(err, store.ErrBusy):
		r := refuse(http.StatusServiceUnavailable, "busy")
		r.RetryAfter = longestWait
		return r
	}
	return err
}

// submit appends one entry.
func (s *Service) submit(ctx context.Context, sub *ledger.Submission) (store.Receipt, error) {
	r, err := s.submitAll(ctx, sub)
	if err != nil {
		return store.Receipt{}, err
	}
	return r[0], nil
}

// submitAll appends several entries in one transaction: all or none. Where a passkey signs, it asks first, or takes the
// answer.
func (s *Service) submitAll(ctx context.Context, subs ...*ledger.Submission) ([]store.Receipt, error) {
	for _, sub := range subs {
		if who := sub.Awaits(); who != "" {
			return s.byPasskey(ctx, who, subs)
		}
	}
	r, err := s.Store.AppendAll(ctx, subs...)
	return r, translate(err)
}
