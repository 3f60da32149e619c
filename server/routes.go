package server

import (
	"net/http"

	"github.com/gorilla/mux"
)

// registerRoutes lists every address of the server, file by file.
func (s *Server) registerRoutes(r *mux.Router) {
	s.registerHealthRoutes(r)
	s.registerAssetRoutes(r)
	s.registerAPIRoutes(r)

	s.registerLogInRoutes(r)
	s.registerAccountRoutes(r)
	s.registerHomeRoutes(r)

	s.registerLessonRoutes(r)
	s.registerConfirmRoutes(r)
	s.registerNoteRoutes(r)
	s.registerPracticeRoutes(r)
	s.registerTestRoutes(r)
	s.registerStatisticsRoutes(r)
	s.registerAskRoutes(r)
	s.registerUnwatchedRoutes(r)

	s.registerOpenJobRoutes(r)
	s.registerSheetRoutes(r)
	s.registerCheckRoutes(r)
	s.registerCaseRoutes(r)
	s.registerSignRoutes(r)
	s.registerStandingRoutes(r)
	s.registerDecisionRoutes(r)
	s.registerFloorRoutes(r)
	s.registerContestRoutes(r)
	s.registerMatterRoutes(r)

	s.registerBoardRoutes(r)
	s.registerRecordRoutes(r)
	s.registerRosterRoutes(r)
	s.registerKeyRoutes(r)
	s.registerProgrammeRoutes(r)
	s.registerWriteRoutes(r)
	s.registerEstimateRoutes(r)
	s.registerSeverityRoutes(r)
	s.registerLedgerRoutes(r)

	r.NotFoundHandler = s.handle(func(http.ResponseWriter, *http.Request) error {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	})
	r.MethodNotAllowedHandler = s.handle(func(http.ResponseWriter, *http.Request) error {
		return failure{status: http.StatusMethodNotAllowed, code: "method_not_allowed"}
	})
}

// handler is what a route does; a returned error becomes a page (or a problem document for the API).
type handler func(http.ResponseWriter, *http.Request) error

// handle turns a handler that may fail into an http.Handler.
func (s *Server) handle(h handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := h(w, r); err != nil {
			s.serveError(w, r, err)
		}
	})
}

// get and post register a page for people who are logged in.
func (s *Server) get(r *mux.Router, path string, h handler) {
	r.Handle(path, s.handle(s.loggedIn(h))).Methods(http.MethodGet, http.MethodHead)
}

func (s *Server) post(r *mux.Router, path string, h handler) {
	r.Handle(path, s.handle(s.loggedIn(h))).Methods(http.MethodPost)
}

// openGet and openPost register a page for anybody.
func (s *Server) openGet(r *mux.Router, path string, h handler) {
	r.Handle(path, s.handle(h)).Methods(http.MethodGet, http.MethodHead)
}

func (s *Server) openPost(r *mux.Router, path string, h handler) {
	r.Handle(path, s.handle(h)).Methods(http.MethodPost)
}

func (s *Server) registerHealthRoutes(r *mux.Router) {
	s.openGet(r, "/healthz", s.healthz)
	s.openGet(r, "/readyz", s.readyz)
}

// healthz says that the process runs.
func (s *Server) healthz(w http.ResponseWriter, _ *http.Request) error { return plain(w, "ok\n") }

// readyz says that the database answers, so that requests may come.
func (s *Server) readyz(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.store.Info(r.Context()); err != nil {
		return failure{status: http.StatusServiceUnavailable, code: "not_ready", cause: err}
	}
	return plain(w, "ready\n")
}

func plain(w http.ResponseWriter, text string) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, err := w.Write([]byte(text))
	return err
}
