package server

import (
	"encoding/base64"
	"encoding/json"
	"io"
	"mime"
	"net"
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/store"
)

// A passkey signs in the browser, by script (templates/static/site.js). A form that asks for a passphrase is sent with
// passkey=ask in its place and answered 202 with what the device is to sign; it is then sent again with passkey= the
// number of the question and passkey_answer= the device's answer. The API takes the same two as headers. Without script,
// or on an address that is neither https nor localhost, the passphrase remains.

const (
	passkeyField        = "passkey"
	passkeyAnswerField  = "passkey_answer"
	passkeyHeader       = "Passkey"
	passkeyAnswerHeader = "Passkey-Answer"
)

// passkey puts into the context that, and how, a request is signed by a passkey.
func (s *Server) passkey(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		which, answer := r.Header.Get(passkeyHeader), r.Header.Get(passkeyAnswerHeader)
		if kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); r.Method == http.MethodPost && kind == "application/x-www-form-urlencoded" {
			if err := form(r); err != nil {
				s.serveError(w, r, err)
				return
			}
			which, answer = r.PostForm.Get(passkeyField), r.PostForm.Get(passkeyAnswerField)
		}
		if which == "" {
			next.ServeHTTP(w, r)
			return
		}
		u := acts.PasskeyUse{Origin: s.origin(r)}
		if which != "ask" {
			raw, err := base64.RawURLEncoding.DecodeString(answer)
			if err != nil {
				s.serveError(w, r, failure{status: http.StatusUnprocessableEntity, code: "passkey_unreadable", field: "passphrase"})
				return
			}
			u.Signing, u.Answer = which, raw
		}
		next.ServeHTTP(w, r.WithContext(acts.WithPasskey(r.Context(), u)))
	})
}

// origin is where pages are seen, as a browser has it; "" where passkeys cannot be used.
func (s *Server) origin(r *http.Request) string {
	if s.host != "" {
		return s.host
	}
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = r.Host
	}
	if host == "localhost" {
		return "http://" + r.Host
	}
	return ""
}

// passkeyAsked is a question to a browser's device, in the shapes of the standard's JSON (Web Authentication, Level 3,
// 5.1.9): publicKey is for navigator.credentials.get, or create.
type passkeyAsked struct {
	Signing   string `json:"signing"`
	PublicKey any    `json:"publicKey"`
}

type passkeyGet struct {
	Challenge        string              `json:"challenge"`
	RPID             string              `json:"rpId"`
	AllowCredentials []passkeyCredential `json:"allowCredentials"`
	UserVerification string              `json:"userVerification"`
	Timeout          int64               `json:"timeout"` // milliseconds
}

type passkeyCredential struct {
	Type string `json:"type"`
	ID   string `json:"id"` // base64url
}

type passkeyCreate struct {
	RP struct {
		ID   string `json:"id"`
		Name string `json:"name"`
	} `json:"rp"`
	User struct {
		ID          string `json:"id"` // base64url
		Name        string `json:"name"`
		DisplayName string `json:"displayName"`
	} `json:"user"`
	Challenge              string              `json:"challenge"`
	PubKeyCredParams       []passkeyKind       `json:"pubKeyCredParams"`
	ExcludeCredentials     []passkeyCredential `json:"excludeCredentials"`
	AuthenticatorSelection struct {
		ResidentKey      string `json:"residentKey"`
		UserVerification string `json:"userVerification"`
	} `json:"authenticatorSelection"`
	Attestation string `json:"attestation"`
	Timeout     int64  `json:"timeout"` // milliseconds
}

type passkeyKind struct {
	Type string `json:"type"`
	Alg  int    `json:"alg"` // COSE: -8 EdDSA, -7 ES256
}

func askPasskey(a *acts.Awaiting) passkeyAsked {
	return passkeyAsked{a.Signing, passkeyGet{Challenge: base64.RawURLEncoding.EncodeToString(a.Challenge), RPID: a.RPID,
		AllowCredentials: passkeyCredentials(a.Credentials), UserVerification: "required", Timeout: acts.PasskeyTimeout.Milliseconds()}}
}

func askNewPasskey(n *acts.NewPasskey, p *store.Person) passkeyAsked {
	c := passkeyCreate{Challenge: base64.RawURLEncoding.EncodeToString(n.Challenge), PubKeyCredParams: []passkeyKind{{"public-key", -8}, {"public-key", -7}},
		ExcludeCredentials: passkeyCredentials(n.Known), Attestation: "none", Timeout: acts.PasskeyTimeout.Milliseconds()}
	c.RP.ID, c.RP.Name = n.RPID, n.Title
	c.User.ID, c.User.Name, c.User.DisplayName = base64.RawURLEncoding.EncodeToString([]byte(p.ID)), p.Login, p.Name
	c.AuthenticatorSelection.ResidentKey, c.AuthenticatorSelection.UserVerification = "preferred", "required"
	return passkeyAsked{n.Signing, c}
}

func passkeyCredentials(ids []string) []passkeyCredential {
	out := []passkeyCredential{}
	for _, id := range ids {
		if raw, err := base64.StdEncoding.DecodeString(id); err == nil {
			out = append(out, passkeyCredential{"public-key", base64.RawURLEncoding.EncodeToString(raw)})
		}
	}
	return out
}

// maxPasskeyAnswer bounds what a browser sends of its device, in bytes; attestation objects have some hundred.
const maxPasskeyAnswer = 64 << 10

// The script's three steps to a new passkey: what to make, what was made, the new key's own signature.

func (s *Server) beginPasskey(w http.ResponseWriter, r *http.Request) error {
	me := personFrom(r.Context())
	n, err := s.acts.BeginPasskey(r.Context(), me, s.origin(r))
	if err != nil {
		return s.passkeyRefused(w, err)
	}
	writeAPIJSON(w, apiAnswer{Body: askNewPasskey(n, me)})
	return nil
}

func (s *Server) madePasskey(w http.ResponseWriter, r *http.Request) error {
	answer, err := passkeyBody(w, r)
	if err != nil {
		return s.passkeyRefused(w, err)
	}
	a, err := s.acts.MadePasskey(r.Context(), personFrom(r.Context()), s.origin(r), mux.Vars(r)["signing"], answer)
	if err != nil {
		return s.passkeyRefused(w, err)
	}
	writeAPIJSON(w, apiAnswer{Body: askPasskey(a)})
	return nil
}

func (s *Server) signedPasskey(w http.ResponseWriter, r *http.Request) error {
	answer, err := passkeyBody(w, r)
	if err == nil {
		err = s.acts.RequestPasskey(r.Context(), personFrom(r.Context()), s.origin(r), mux.Vars(r)["signing"], answer)
	}
	if err != nil {
		return s.passkeyRefused(w, err)
	}
	writeAPIJSON(w, apiAnswer{Status: http.StatusNoContent})
	return nil
}

// passkeyRefused answers the script with a problem document, whose detail it shows.
func (s *Server) passkeyRefused(w http.ResponseWriter, err error) error {
	f := failureOf(err)
	if f.status >= http.StatusInternalServerError {
		return err
	}
	writeProblem(w, problemOf(f))
	return nil
}

func passkeyBody(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	return io.ReadAll(http.MaxBytesReader(w, r.Body, maxPasskeyAnswer))
}

// ---- the API ----

func apiBeginPasskey(c *apiCall) (apiAnswer, error) {
	n, err := c.acts.BeginPasskey(c.ctx(), c.actor, c.server.origin(c.Request))
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(askNewPasskey(n, c.actor))
}

// credential is the browser's answer in a request's body.
func (c *apiCall) credential() ([]byte, error) {
	var in struct {
		Credential json.RawMessage `json:"credential"`
	}
	if err := c.read(&in); err != nil {
		return nil, err
	}
	return in.Credential, nil
}

func apiMadePasskey(c *apiCall) (apiAnswer, error) {
	answer, err := c.credential()
	if err != nil {
		return apiAnswer{}, err
	}
	a, err := c.acts.MadePasskey(c.ctx(), c.actor, c.server.origin(c.Request), c.v("signing"), answer)
	if err != nil {
		return apiAnswer{}, err
	}
	return ok(askPasskey(a))
}

func apiSignedPasskey(c *apiCall) (apiAnswer, error) {
	answer, err := c.credential()
	if err != nil {
		return apiAnswer{}, err
	}
	if err := c.acts.RequestPasskey(c.ctx(), c.actor, c.server.origin(c.Request), c.v("signing"), answer); err != nil {
		return apiAnswer{}, err
	}
	return noContent()
}
