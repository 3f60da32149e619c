// Package server serves a programme over HTTP: pages for people and a JSON API, both standing on package acts, which
// alone decides what may be done. A request goes one way: parse, act or load, build a page struct with a pure
// function, render it to a buffer, write.
package server

import (
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/store"
	"brakewright/templates"
)

// Config is what a server needs. Acts, Store and Logger must be set.
type Config struct {
	Acts          *acts.Service
	Store         *store.Store
	CurriculumDir string       // folder that is offered for adoption when it changes; "" for none
	Embedded      fs.FS        // programme that comes with the program, offered where no folder is named; nil for none
	PublicURL     string       // as people type it; https makes cookies Secure
	Version       string       // of the program, shown in the footer
	Demo          bool         // the database is a demonstration
	DemoPeople    []DemoPerson // shown on the log-in page of a demonstration
	Logger        *slog.Logger
}

// DemoPerson is an invented person of a demonstration with everything needed to act as them.
type DemoPerson struct {
	ID         string   `json:"id"`
	Name       string   `json:"name"`
	Roles      []string `json:"roles"`
	Login      string   `json:"login"`
	Password   string   `json:"password"`
	Passphrase string   `json:"passphrase"` // "" for those who have no signing key
}

// Server is the whole of it as an http.Handler. It keeps no state that another process would miss.
type Server struct {
	acts    *acts.Service
	store   *store.Store
	config  Config
	log     *slog.Logger
	secure  bool // PublicURL is https
	host    string
	views   *views
	assets  *templates.Assets
	folder  *folder
	handler http.Handler
}

// New prepares templates and routes. It errors on a PublicURL that is no http or https address.
func New(c Config) (*Server, error) {
	if c.Acts == nil || c.Store == nil || c.Logger == nil {
		return nil, errors.New("server: Acts, Store and Logger must be set")
	}
	s := &Server{acts: c.Acts, store: c.Store, config: c, log: c.Logger, folder: newFolder(c.CurriculumDir, c.Embedded)}
	if c.PublicURL != "" {
		u, err := url.Parse(c.PublicURL)
		if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
			return nil, errors.New("server: the public address must begin with http:// or https://, as in https://brakes.example.org")
		}
		s.secure, s.host = u.Scheme == "https", u.Scheme+"://"+u.Host
	}
	var err error
	if s.assets, err = templates.LoadAssets(); err != nil {
		return nil, err
	}
	if s.views, err = parseViews(s.assets); err != nil {
		return nil, err
	}
	r := mux.NewRouter()
	s.registerRoutes(r)
	if s.handler, err = s.wrap(r); err != nil {
		return nil, err
	}
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// isAPI says whether a request is for the JSON API, whose errors are problem documents instead of pages.
func isAPI(r *http.Request) bool { return strings.HasPrefix(r.URL.Path, "/api/") }
