package server

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"mime"
	"net"
	"net/http"
	"reflect"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/store/ledger"
)

// The JSON API: the same acts as the pages, with the same checks, under /api/v1. It is described in openapi.yaml,
// which is served beside it; a test keeps both the same.
//
//	api.go          routes, who asks, reading requests, writing answers and errors
//	api_study.go    lessons, practice, theory tests
//	api_questions.go how questions fared, voids
//	api_jobs.go     watched jobs and their signatures
//	api_cases.go    spot checks, cars that came back
//	api_contest.go  what follows an entry, what waits, how keys end
//	api_decide.go   standings, board, floor, clearances, stand-downs
//	api_roster.go   people, roles, sites, cohorts, keys, the programme's edition, the ledger's entries
//	passkeys.go     making a passkey, and what a signature by one asks
//	api_ledger.go   the ledger's head and its proofs

const apiPrefix = "/api/v1"

// maxAPIBody bounds a request's body.
const maxAPIBody = 1 << 20

//go:embed openapi.yaml
var openAPI []byte

// apiRoute is one operation of the API.
type apiRoute struct {
	method, path string
	handle       func(*apiCall) (apiAnswer, error)
	open         bool // needs no log-in
}

// apiRoutes are all operations, in the order of openapi.yaml.
var apiRoutes = []apiRoute{
	{"POST", "/login", apiLogIn, true},
	{"POST", "/logout", apiLogOut, false},
	{"GET", "/me", apiMe, false},
	{"POST", "/me/password", apiSetPassword, false},
	{"POST", "/me/key", apiRequestKey, false},
	{"POST", "/me/key/end", apiEndOwnKey, false},
	{"POST", "/me/passkeys", apiBeginPasskey, false},
	{"POST", "/me/passkeys/{signing}/made", apiMadePasskey, false},
	{"POST", "/me/passkeys/{signing}/signed", apiSignedPasskey, false},
	{"POST", "/me/sessions/end", apiEndSessions, false},

	{"GET", "/lessons", apiLessons, false},
	{"GET", "/lessons/{lesson}", apiLesson, false},
	{"GET", "/lessons/{lesson}/notes", apiShopNotes, false},
	{"POST", "/lessons/{lesson}/notes", apiPinNote, false},
	{"POST", "/lessons/{lesson}/notes/{note}/remove", apiRemoveNote, false},
	{"GET", "/vehicles/{vehicle}", apiVehicleSheet, false},
	{"POST", "/readings", apiRead, false},
	{"GET", "/changes/{apprentice}", apiChanges, false},
	{"POST", "/practice", apiPractice, false},
	{"POST", "/practice/marks", apiMarkPractice, false},
	{"GET", "/tests", apiTests, false},
	{"POST", "/tests", apiStartTest, false},
	{"GET", "/tests/{test}", apiTest, false},
	{"PUT", "/tests/{test}/answers/{question}", apiAnswerQuestion, false},
	{"POST", "/tests/{test}/hand-in", apiHandIn, false},
	{"POST", "/tests/{test}/watch", apiWatchTest, false},
	{"GET", "/questions", apiQuestions, false},
	{"POST", "/voids/preview", apiPreviewVoid, false},
	{"POST", "/voids", apiVoid, false},

	{"GET", "/jobs", apiJobs, false},
	{"POST", "/jobs", apiAskJob, false},
	{"POST", "/jobs/needed", apiNeeded, false},
	{"GET", "/jobs/number/{number}", apiJobByNumber, false},
	{"GET", "/jobs/{job}", apiJob, false},
	{"POST", "/jobs/{job}/take", apiTakeJob, false},
	{"POST", "/jobs/{job}/decline", apiDeclineJob, false},
	{"POST", "/jobs/{job}/accept", apiAcceptJob, false},
	{"POST", "/jobs/{job}/pass-on", apiPassJobOn, false},
	{"POST", "/jobs/{job}/withdraw", apiWithdrawJob, false},
	{"POST", "/jobs/{job}/paper", apiFromPaper, false},
	{"POST", "/jobs/{job}/photos", apiAddPhoto, false},
	{"GET", "/jobs/{job}/photos/{photo}", apiGetPhoto, false},
	{"GET", "/jobs/{job}/oral", apiOral, false},
	{"POST", "/jobs/{job}/taps", apiTap, false},
	{"POST", "/jobs/{job}/rest-unaided", apiRestUnaided, false},
	{"GET", "/jobs/{job}/statement", apiStatement, false},
	{"POST", "/jobs/{job}/sign", apiSignJob, false},
	{"POST", "/sign", apiSignJobs, false},
	{"POST", "/unwatched-jobs", apiUnwatchedJob, false},
	{"POST", "/spot-checks", apiSpotCheck, false},
	{"GET", "/work", apiFindWork, false},
	{"GET", "/cases", apiCases, false},
	{"POST", "/cases", apiOpenCase, false},
	{"GET", "/cases/{case}", apiCase, false},
	{"POST", "/cases/{case}/finding", apiCloseCase, false},

	{"GET", "/standing/{apprentice}", apiStanding, false},
	{"GET", "/standing/{apprentice}/tasks/{task}/suppose", apiSuppose, false},
	{"GET", "/board", apiBoard, false},
	{"GET", "/floor", apiFloor, false},
	{"POST", "/clearances", apiClear, false},
	{"POST", "/stand-downs", apiStandDown, false},
	{"POST", "/stand-downs/{standDown}/sign", apiSignStandDown, false},
	{"POST", "/stand-downs/{standDown}/review", apiReviewStandDown, false},
	{"POST", "/restores", apiRestore, false},
	{"GET", "/waivers", apiWaivers, false},
	{"POST", "/recognitions", apiRecognise, false},

	{"GET", "/entries/{entry}", apiEntry, false},
	{"POST", "/entries/{entry}/countersign", apiCountersign, false},
	{"POST", "/entries/{entry}/reply", apiReply, false},
	{"POST", "/entries/{entry}/dispute", apiDispute, false},
	{"POST", "/entries/{entry}/settle", apiSettle, false},
	{"POST", "/entries/{entry}/correct", apiCorrect, false},
	{"GET", "/matters", apiMatters, false},
	{"GET", "/pairs", apiPairs, false},
	{"GET", "/left-behind", apiLeftBehind, false},
	{"POST", "/assignments", apiAssign, false},

	{"GET", "/people", apiPeople, false},
	{"POST", "/people", apiAddPeople, false},
	{"GET", "/people/{person}", apiPerson, false},
	{"GET", "/people/{person}/record", apiRecord, false},
	{"GET", "/people/{person}/bundle", apiBundle, false},
	{"POST", "/people/{person}/name", apiRename, false},
	{"POST", "/people/{person}/code", apiShowCode, false},
	{"POST", "/people/{person}/roles", apiGrantRole, false},
	{"POST", "/people/{person}/roles/{entry}/end", apiEndRole, false},
	{"POST", "/people/{person}/appointments", apiAppoint, false},
	{"POST", "/people/{person}/appointments/{entry}/end", apiEndAppointment, false},
	{"POST", "/people/{person}/cohorts", apiJoinCohort, false},
	{"POST", "/people/{person}/cohorts/{cohort}/leave", apiLeaveCohort, false},
	{"POST", "/people/{person}/agreements", apiMakeAgreement, false},
	{"POST", "/people/{person}/agreements/{entry}/end", apiEndAgreement, false},
	{"POST", "/people/{person}/leaves", apiTakeLeave, false},
	{"GET", "/people/{person}/keys", apiKeysOf, false},
	{"POST", "/people/{person}/key/end", apiEndKey, false},
	{"POST", "/people/{person}/erase", apiErase, false},
	{"GET", "/erasures/due", apiDueForErasure, false},
	{"GET", "/sites", apiSites, false},
	{"POST", "/sites", apiAddSite, false},
	{"GET", "/cohorts", apiCohorts, false},
	{"POST", "/cohorts", apiAddCohort, false},
	{"GET", "/keys", apiWaitingKeys, false},
	{"POST", "/keys/confirm", apiConfirmKeys, false},
	{"GET", "/programme", apiProgramme, false},
	{"GET", "/programme/offer", apiOffer, false},
	{"POST", "/programme/adopt", apiAdopt, false},
	{"GET", "/parameters", apiParameters, false},
	{"POST", "/parameters", apiAdoptParameters, false},
	{"GET", "/parameters/trade-offs", apiTradeOffs, false},
	{"GET", "/severities", apiSeverities, false},

	{"GET", "/ledger/head", apiHead, true},
	{"GET", "/ledger/proof", apiProof, true},
	{"GET", "/ledger/entries", apiEntries, false},
	{"GET", "/openapi.yaml", nil, true}, // served as it is
}

// registerAPIRoutes adds the API to a router.
func (s *Server) registerAPIRoutes(r *mux.Router) {
	api := r.PathPrefix(apiPrefix).Subrouter()
	for _, route := range apiRoutes {
		var h http.Handler = s.apiHandler(route)
		if route.handle == nil {
			h = http.HandlerFunc(serveOpenAPI)
		}
		api.Handle(route.path, h).Methods(route.method)
	}
	// In a subrouter mux forgets that only the method was wrong, so both come here.
	other := s.handle(func(w http.ResponseWriter, r *http.Request) error {
		allow := apiMethods(r, api)
		if len(allow) == 0 {
			return failure{status: http.StatusNotFound, code: "no_such_path", text: "There is nothing at this address."}
		}
		w.Header().Set("Allow", strings.Join(allow, ", "))
		return failure{status: http.StatusMethodNotAllowed, code: "method_not_allowed",
			text: "This address takes " + strings.Join(allow, " and ") + " only."}
	})
	api.NotFoundHandler, api.MethodNotAllowedHandler = other, other
}

// apiMethods lists the methods that a request's path takes.
func apiMethods(r *http.Request, api *mux.Router) []string {
	var allow []string
	for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut} {
		probe := r.Clone(r.Context())
		probe.Method = method
		var m mux.RouteMatch
		if api.Match(probe, &m) && m.MatchErr == nil {
			allow = append(allow, method)
		}
	}
	return allow
}

func serveOpenAPI(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "application/yaml")
	_, _ = w.Write(openAPI) // the reader has gone: nothing to be done
}

// apiCall is one request.
type apiCall struct {
	*http.Request
	server *Server
	acts   *acts.Service
	actor  *store.Person // nil where the route is open
	token  string
	id     string // Idempotency-Key, "" if absent
}

// apiAnswer is what a handler answers: 200 if Status is 0. A nil Body is 204.
type apiAnswer struct {
	Status int
	Body   any
	Raw    []byte // instead of Body, of this kind
	Kind   string
}

func ok(body any) (apiAnswer, error) { return apiAnswer{Body: body}, nil }
func created(body any) (apiAnswer, error) {
	return apiAnswer{Status: http.StatusCreated, Body: body}, nil
}
func noContent() (apiAnswer, error) { return apiAnswer{Status: http.StatusNoContent}, nil }

// receipt is how a write of one entry is answered, after its commit.
func receipt(r store.Receipt, err error) (apiAnswer, error) {
	if err != nil {
		return apiAnswer{}, err
	}
	return created(r)
}

func (c *apiCall) ctx() context.Context { return c.Context() }
func (c *apiCall) v(name string) string { return mux.Vars(c.Request)[name] }
func (c *apiCall) q(name string) string { return c.URL.Query().Get(name) }

func (s *Server) apiHandler(route apiRoute) http.Handler {
	return s.handle(func(w http.ResponseWriter, r *http.Request) error {
		if !takesPhoto(r) {
			r.Body = http.MaxBytesReader(w, r.Body, maxAPIBody)
		}
		answer, err := s.callAPI(route, r)
		if err != nil {
			if failureOf(err).status == http.StatusUnauthorized {
				w.Header().Set("WWW-Authenticate", "Bearer")
			}
			return err
		}
		writeAPIJSON(w, answer)
		return nil
	})
}

func (s *Server) callAPI(route apiRoute, r *http.Request) (apiAnswer, error) {
	c := &apiCall{Request: r, server: s, acts: s.acts, id: r.Header.Get("Idempotency-Key")}
	if c.id != "" && !ledger.ValidID(c.id) {
		return apiAnswer{}, failure{status: http.StatusBadRequest, code: "bad_id", field: "Idempotency-Key",
			text: "Idempotency-Key must be a UUID of version 7 in lower case."}
	}
	if !route.open {
		scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
		if !strings.EqualFold(scheme, "Bearer") || token == "" {
			return apiAnswer{}, failure{status: http.StatusUnauthorized, code: "no_token",
				text: "Log in at " + apiPrefix + "/login and send the token as Authorization: Bearer."}
		}
		var err error
		c.token = strings.TrimSpace(token)
		if c.actor, err = s.acts.Session(r.Context(), c.token); err != nil {
			return apiAnswer{}, err
		}
		must, err := s.acts.MustSetPassword(r.Context(), c.token)
		if err != nil {
			return apiAnswer{}, err
		}
		if must && route.path != "/me/password" && route.path != "/logout" {
			return apiAnswer{}, failure{status: http.StatusForbidden, code: "password_needed",
				text: "You came in by a one-time code. Set a password first, at " + apiPrefix + "/me/password."}
		}
	}
	return route.handle(c)
}

// read decodes the request's body strictly: JSON, one value, no unknown field, no field twice.
func (c *apiCall) read(into any) error {
	b, err := c.readBody()
	if err != nil {
		return err
	}
	return decodeStrict(b, into)
}

// readOptional is read where the body may be absent.
func (c *apiCall) readOptional(into any) error {
	if c.ContentLength == 0 {
		return nil
	}
	return c.read(into)
}

func (c *apiCall) readBody() ([]byte, error) {
	if kind := c.Header.Get("Content-Type"); kind != "" {
		if media, _, err := mime.ParseMediaType(kind); err != nil || media != "application/json" {
			return nil, failure{status: http.StatusUnsupportedMediaType, code: "not_json", text: "Send JSON, with Content-Type: application/json."}
		}
	}
	b, err := io.ReadAll(c.Body)
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		return nil, err
	}
	if err != nil {
		return nil, badJSON("", "The request broke off.")
	}
	return b, nil
}

func badJSON(field, detail string) error {
	return failure{status: http.StatusBadRequest, code: "bad_json", field: field, text: detail}
}

// decodeStrict reads one JSON value. encoding/json alone takes "Task" for "task" and lets a field stand twice.
func decodeStrict(b []byte, into any) error {
	if !utf8.Valid(b) { // the decoder would put other signs in their place and say nothing
		return badJSON("", "The body is not UTF-8. Send the text in that encoding.")
	}
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return sayJSON(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return badJSON("", "Something follows the JSON value.")
	}
	return exactFields(json.NewDecoder(bytes.NewReader(b)), "", fieldsOf(reflect.TypeOf(into)))
}

// sayJSON turns a decoder's error into a problem that names the field.
func sayJSON(err error) error {
	if wrong := (*json.UnmarshalTypeError)(nil); errors.As(err, &wrong) {
		what := "The body"
		if wrong.Field != "" {
			what = "The field " + wrong.Field
		}
		return badJSON(wrong.Field, what+" must be "+jsonKind(wrong.Type)+", not "+jsonValue(wrong.Value)+".")
	}
	if field, found := strings.CutPrefix(err.Error(), "json: unknown field "); found {
		name, _ := strconv.Unquote(field)
		return badJSON(name, "There is no field "+field+" here.")
	}
	if own := (failure{}); errors.As(err, &own) {
		return own
	}
	return badJSON("", "The body is not JSON: "+strings.TrimPrefix(err.Error(), "json: ")+".")
}

// jsonKind says what JSON a Go type is read from.
func jsonKind(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return jsonKind(t.Elem())
	case reflect.Struct, reflect.Map:
		return "an object"
	case reflect.Slice, reflect.Array:
		return "a list"
	case reflect.String:
		return "a text in quotation marks"
	case reflect.Bool:
		return "true or false"
	}
	return fmt.Sprintf("a whole number that fits %d bits", t.Bits())
}

// jsonValue says what the decoder found: string, array, object, bool, number or "number 1.5".
func jsonValue(found string) string {
	switch kind, value, _ := strings.Cut(found, " "); {
	case value != "":
		return value
	case kind == "string":
		return "a text"
	case kind == "array":
		return "a list"
	case kind == "object":
		return "an object"
	case kind == "bool":
		return "true or false"
	}
	return "a number"
}

// fields are the names an object may have, each with those of its own value.
type fields struct {
	names map[string]*fields // nil: any
	item  *fields            // of a list's elements
}

// fieldsOf reads the names out of a type's tags. Types with a decoder of their own take any.
func fieldsOf(t reflect.Type) *fields {
	for t.Kind() == reflect.Pointer {
		if t.Implements(unmarshaler) {
			return &fields{}
		}
		t = t.Elem()
	}
	switch {
	case reflect.PointerTo(t).Implements(unmarshaler):
		return &fields{}
	case t.Kind() == reflect.Slice || t.Kind() == reflect.Array:
		return &fields{item: fieldsOf(t.Elem())}
	case t.Kind() == reflect.Struct:
		f := &fields{names: map[string]*fields{}}
		for i := range t.NumField() {
			if t.Field(i).Anonymous {
				maps.Copy(f.names, fieldsOf(t.Field(i).Type).names)
			}
			name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			if name != "" && name != "-" {
				f.names[name] = fieldsOf(t.Field(i).Type)
			}
		}
		return f
	default:
		return &fields{}
	}
}

var unmarshaler = reflect.TypeFor[json.Unmarshaler]()

// exactFields walks a valid JSON value and refuses names in another case and names that stand twice.
func exactFields(d *json.Decoder, path string, f *fields) error {
	token, err := d.Token()
	if err != nil {
		return sayJSON(err)
	}
	switch token {
	case json.Delim('{'):
		seen := map[string]bool{}
		for d.More() {
			token, err := d.Token()
			if err != nil {
				return sayJSON(err)
			}
			name := token.(string) // a key always is
			full := strings.TrimPrefix(path+"."+name, ".")
			below := &fields{}
			if f.names != nil {
				known := false
				if below, known = f.names[name]; !known {
					return badJSON(full, "There is no field "+strconv.Quote(full)+" here.")
				}
			}
			if seen[name] {
				return badJSON(full, "The field "+strconv.Quote(full)+" stands twice.")
			}
			seen[name] = true
			if err := exactFields(d, full, below); err != nil {
				return err
			}
		}
		_, err = d.Token()
	case json.Delim('['):
		item := f.item
		if item == nil {
			item = &fields{}
		}
		for i := 0; d.More(); i++ {
			if err := exactFields(d, path+"["+strconv.Itoa(i)+"]", item); err != nil {
				return err
			}
		}
		_, err = d.Token()
	}
	if err != nil {
		return sayJSON(err)
	}
	return nil
}

func writeAPIJSON(w http.ResponseWriter, a apiAnswer) {
	w.Header().Set("Cache-Control", "no-store")
	if a.Raw != nil {
		w.Header().Set("Content-Type", a.Kind)
		_, _ = w.Write(a.Raw) // the reader has gone: nothing to be done
		return
	}
	if a.Body == nil {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(a.Body); err != nil {
		panic("server: an answer to JSON: " + err.Error()) // plain structs: cannot fail
	}
	if a.Status == 0 {
		a.Status = http.StatusOK
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(a.Status)
	_, _ = w.Write(b.Bytes()) // the reader has gone: nothing to be done
}

// apiProblem is an error as RFC 9457 describes it. Code is the stable name of what went wrong, Field the field of the
// request it is about.
type apiProblem struct {
	Type     string            `json:"type"` // always about:blank: the title is then the status in words
	Title    string            `json:"title"`
	Status   int               `json:"status"`
	Detail   string            `json:"detail,omitempty"`
	Code     string            `json:"code"`
	Field    string            `json:"field,omitempty"`
	Args     map[string]string `json:"args,omitempty"`
	Problems []apiProblem      `json:"problems,omitempty"` // where several things are wrong at once
}

func problemOf(f failure) apiProblem {
	p := apiProblem{Type: "about:blank", Title: http.StatusText(f.status), Status: f.status, Detail: f.text, Code: f.code, Field: f.field, Args: f.args}
	for _, x := range f.problems {
		p.Problems = append(p.Problems, problemOf(x))
	}
	return p
}

// writeProblem answers with a problem document.
func writeProblem(w http.ResponseWriter, p apiProblem) {
	b, err := json.Marshal(p)
	if err != nil {
		panic("server: a problem to JSON: " + err.Error()) // strings and numbers only: cannot fail
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	_, _ = w.Write(append(b, '\n')) // the reader has gone: nothing to be done
}

// peer is the address a request comes from, without its port. It is what a proxy connects from where there is one:
// headers that anybody can write are not believed.
func peer(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}
