package server

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"brakewright/server/acts"
)

// maxBody bounds a request's body: the largest form is a roster of some thousand lines.
const maxBody = 2 << 20 // bytes

// middleware wraps a handler.
type middleware func(http.Handler) http.Handler

// wrap puts the middleware around the routes. The first in the list is the outermost.
func (s *Server) wrap(h http.Handler) (http.Handler, error) {
	origin, err := s.crossOrigin()
	if err != nil {
		return nil, err
	}
	list := []middleware{
		s.logRequests,
		s.panicPage,
		s.securityHeaders,
		origin,
		limitBody,
		s.session,
		s.passkey,
	}
	for i := len(list) - 1; i >= 0; i-- {
		h = list[i](h)
	}
	return h, nil
}

type contextKey int

const (
	requestIDKey contextKey = iota
	personKey
	tokenKey
)

// requestID is the number of a request, in the log and on a 500 page.
func requestID(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey).(string)
	return id
}

// logRequests gives each request a number and logs it: no names, no addresses of people, no query strings.
func (s *Server) logRequests(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var b [8]byte
		rand.Read(b[:]) //nolint:errcheck // never fails (crypto/rand)
		id := fmt.Sprintf("%x", b)
		start := time.Now()
		rec := &recorder{ResponseWriter: w}
		next.ServeHTTP(rec, r.WithContext(context.WithValue(r.Context(), requestIDKey, id)))
		if r.URL.Path == "/healthz" || r.URL.Path == "/readyz" || strings.HasPrefix(r.URL.Path, "/static/") {
			return
		}
		s.log.InfoContext(r.Context(), "request", "request", id, "method", r.Method, "path", r.URL.Path, "status", rec.code(), "bytes", rec.bytes, "ms", time.Since(start).Milliseconds())
	})
}

// recorder notes what was answered.
type recorder struct {
	http.ResponseWriter
	status int
	bytes  int64
}

func (r *recorder) WriteHeader(status int) {
	if r.status == 0 {
		r.status = status
	}
	r.ResponseWriter.WriteHeader(status)
}

func (r *recorder) Write(b []byte) (int, error) {
	if r.status == 0 {
		r.status = http.StatusOK
	}
	n, err := r.ResponseWriter.Write(b)
	r.bytes += int64(n)
	return n, err
}

func (r *recorder) code() int {
	if r.status == 0 {
		return http.StatusOK
	}
	return r.status
}

// Unwrap lets http.ResponseController reach the connection.
func (r *recorder) Unwrap() http.ResponseWriter { return r.ResponseWriter }

// panicPage turns a bug into a 500 page. What was already sent cannot be taken back; pages are buffered, so this is rare.
func (s *Server) panicPage(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			p := recover()
			if p == nil {
				return
			}
			if p == http.ErrAbortHandler {
				panic(p)
			}
			s.log.ErrorContext(r.Context(), "panic", "request", requestID(r.Context()), "path", r.URL.Path, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
			s.serveError(w, r, failure{status: http.StatusInternalServerError, code: "internal"})
		}()
		next.ServeHTTP(w, r)
	})
}

// contentPolicy lets a page load only what this server itself serves, and no inline script or style.
const contentPolicy = "default-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"

func (s *Server) securityHeaders(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		if s.secure {
			h.Set("Strict-Transport-Security", "max-age=31536000; includeSubDomains")
		}
		next.ServeHTTP(w, r)
	})
}

// crossOrigin refuses changes that a browser sends from another site.
func (s *Server) crossOrigin() (middleware, error) {
	p := http.NewCrossOriginProtection()
	if s.host != "" {
		if err := p.AddTrustedOrigin(s.host); err != nil {
			return nil, fmt.Errorf("server: public address: %w", err)
		}
	}
	p.SetDenyHandler(s.handle(func(http.ResponseWriter, *http.Request) error {
		return failure{status: http.StatusForbidden, code: "cross_origin"}
	}))
	return p.Handler, nil
}

// takesPhoto says whether a request may carry a photograph, and so be larger than others.
func takesPhoto(r *http.Request) bool {
	return r.Method == http.MethodPost && strings.HasSuffix(r.URL.Path, "/photos")
}

func limitBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		most := int64(maxBody)
		if takesPhoto(r) {
			most = acts.MaxPicture + 64<<10
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next.ServeHTTP(w, r)
	})
}
