package server

import (
	"context"
	"errors"
	"net/http"
	"time"

	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

// failure is an error as the outside sees it: a status, a stable code and a plain sentence. cause goes to the log only.
type failure struct {
	status     int
	code       string
	args       map[string]string
	field      string // of the form, or ""
	text       string // the sentence; "" until failureOf fills it in
	retryAfter time.Duration
	problems   []failure // where several things are wrong at once
	cause      error
}

func (f failure) Error() string {
	if f.cause != nil {
		return f.code + ": " + f.cause.Error()
	}
	return f.code
}

func (f failure) Unwrap() error { return f.cause }

// failureOf is the one table from errors to statuses. What it does not know is a 500.
func failureOf(err error) failure {
	var (
		own      failure
		refusal  *acts.Refusal
		rule     *ledger.RuleError
		tooLarge *http.MaxBytesError
		awaiting *acts.Awaiting
		f        failure
	)
	switch {
	case errors.As(err, &awaiting): // no failure: serveError answers with the question
		f = failure{status: http.StatusAccepted, code: "passkey_asked"}
	case errors.As(err, &own):
		f = own
	case errors.As(err, &refusal):
		f = refusalFailure(refusal)
	case errors.As(err, &rule):
		f = failure{status: http.StatusUnprocessableEntity, code: "rule_" + rule.Code, args: rule.Args}
	case errors.Is(err, store.ErrNotFound):
		f = failure{status: http.StatusNotFound, code: "not_found"}
	case errors.Is(err, store.ErrConflict):
		f = failure{status: http.StatusConflict, code: "id_taken"}
	case errors.Is(err, store.ErrBusy):
		f = failure{status: http.StatusServiceUnavailable, code: "busy", retryAfter: time.Second}
	case errors.Is(err, ledger.ErrPassphrase):
		f = failure{status: http.StatusUnprocessableEntity, code: "passphrase_wrong", field: "passphrase"}
	case errors.As(err, &tooLarge):
		f = failure{status: http.StatusRequestEntityTooLarge, code: "too_large"}
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		f = failure{status: http.StatusServiceUnavailable, code: "busy", retryAfter: time.Second}
	default:
		f = failure{status: http.StatusInternalServerError, code: "internal"}
	}
	f.cause = err
	if f.text == "" {
		f.text = sentence(f.code, f.args)
	}
	return f
}

func refusalFailure(r *acts.Refusal) failure {
	f := failure{status: r.Status, code: r.Code, args: r.Args, field: r.Field, retryAfter: r.RetryAfter, text: sentence(r.Code, r.Args)}
	if f.status == 0 {
		f.status = http.StatusUnprocessableEntity
	}
	for i := range r.Problems {
		f.problems = append(f.problems, refusalFailure(&r.Problems[i]))
	}
	return f
}

// sentence says a code in words. Codes of the server's own stand here; all others are said by server/say.
func sentence(code string, args map[string]string) string {
	switch code {
	case "page_not_found":
		return "There is no page at this address. It may have been typed wrongly, or the link may be old."
	case "method_not_allowed":
		return "This page cannot be used in that way. Go back and use its buttons."
	case "cross_origin":
		return "The request came from another site, so nothing was done. Open the page here and try again."
	case "too_large":
		return "That was too much at once. Send a smaller file or a shorter text."
	case "bad_form":
		return "The form did not arrive whole. Go back and send it again."
	case "tap_of_another":
		return "This page was opened by somebody else, so nothing was saved under your name. Open the job again and tap there."
	case "no_job_number":
		return "No job that you may see has this number. Read it again from the top of the sheet."
	case "apprentice_needed":
		return "Choose the apprentice."
	case "outcome_reason_needed":
		return "Say why the job ended this way."
	case "not_ready":
		return "Brakewright is starting or its database does not answer. Wait a minute and try again."
	case "password_differs":
		return "The two passwords differ. Type the new one twice."
	case "passphrase_differs":
		return "The two passphrases differ. Type the new one twice."
	case "task_needed":
		return "Choose a task first."
	case "list_empty":
		return "The list has no people in it. Its first line names the columns; every further line is one person."
	case "list_unreadable":
		return "The list cannot be read. Check that quotation marks come in pairs."
	case "list_column_missing":
		return "The first line names no column “" + args["column"] + "”. It must name at least name, login and role."
	case "internal":
		return "Something went wrong on our side. Nothing was changed. Try again; if it happens again, tell your coordinator the number below."
	}
	if text := say.Refusal(code, args); text != "" {
		return text
	}
	return "This cannot be done here."
}

// serveError answers with the page, or the problem document, of an error.
func (s *Server) serveError(w http.ResponseWriter, r *http.Request, err error) {
	if awaiting := (*acts.Awaiting)(nil); errors.As(err, &awaiting) {
		writeAPIJSON(w, apiAnswer{Status: http.StatusAccepted, Body: askPasskey(awaiting)})
		return
	}
	f := failureOf(err)
	if f.status >= http.StatusInternalServerError {
		s.log.ErrorContext(r.Context(), "request failed", "request", requestID(r.Context()), "method", r.Method, "path", r.URL.Path, "status", f.status, "error", err.Error())
	}
	if f.retryAfter > 0 {
		w.Header().Set("Retry-After", seconds(f.retryAfter))
	}
	if isAPI(r) {
		writeProblem(w, problemOf(f))
		return
	}
	if err := s.render(w, r, f.status, newErrorPage(s.errorBase(r), f, requestID(r.Context()))); err != nil {
		s.log.ErrorContext(r.Context(), "error page failed", "request", requestID(r.Context()), "error", err.Error())
		http.Error(w, f.text, f.status)
	}
}

// errorPage says what happened and the way out.
type errorPage struct {
	BasePage
	Heading string
	Text    string
	Lines   []string // further problems
	Request string   // number to quote, with a 500 only
	OutPath string
	OutText string
}

func (errorPage) template() string { return "error" }

func newErrorPage(b BasePage, f failure, request string) errorPage {
	p := errorPage{BasePage: b, Text: f.text, OutPath: "/", OutText: "Go to your first page"}
	switch f.status {
	case http.StatusForbidden:
		p.Heading = "You may not do this"
	case http.StatusNotFound:
		p.Heading = "Not found"
	case http.StatusMethodNotAllowed:
		p.Heading = "Not in this way"
	case http.StatusUnauthorized:
		p.Heading, p.OutPath, p.OutText = "Log in first", "/login", "Log in"
	case http.StatusConflict:
		p.Heading = "Things have changed"
	case http.StatusTooManyRequests:
		p.Heading = "Too many tries"
	case http.StatusServiceUnavailable:
		p.Heading = "Busy at the moment"
	case http.StatusInternalServerError:
		p.Heading, p.Request = "Something went wrong", request
	default:
		p.Heading = "This could not be done"
	}
	for _, x := range f.problems {
		p.Lines = append(p.Lines, x.text)
	}
	p.Title = p.Heading
	return p
}
