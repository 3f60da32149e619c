package server

import (
	"net/http"

	"github.com/gorilla/mux"
)

// carryOwnRecord and carryRecord hand out a person's bundle as a file.
func (s *Server) carryOwnRecord(w http.ResponseWriter, r *http.Request) error {
	return s.carry(w, r, personFrom(r.Context()).ID)
}

func (s *Server) carryRecord(w http.ResponseWriter, r *http.Request) error {
	return s.carry(w, r, mux.Vars(r)["person"])
}

func (s *Server) carry(w http.ResponseWriter, r *http.Request, person string) error {
	b, err := s.acts.Bundle(r.Context(), personFrom(r.Context()), person)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Disposition", `attachment; filename="record-`+person+`.json"`)
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Content-Length", itoa(len(b)))
	_, err = w.Write(b)
	return err
}

func apiBundle(c *apiCall) (apiAnswer, error) {
	b, err := c.acts.Bundle(c.ctx(), c.actor, c.v("person"))
	if err != nil {
		return apiAnswer{}, err
	}
	return apiAnswer{Raw: b, Kind: "application/json"}, nil
}
