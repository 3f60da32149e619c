package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
)

// nameBook finds the names of people, sites and cohorts, each once a request.
type nameBook struct {
	store          *store.Store
	known          map[string]*store.Person
	sites, cohorts map[string]string // nil until asked for
	keys           map[string]string // whose a signing key is
}

func (s *Server) nameBook() *nameBook {
	return &nameBook{store: s.store, known: map[string]*store.Person{}, keys: map[string]string{}}
}

// owner is the person whose a signing key is.
func (n *nameBook) owner(ctx context.Context, key string) (string, error) {
	if p, ok := n.keys[key]; ok {
		return p, nil
	}
	k, err := n.store.Key(ctx, key)
	if err != nil {
		return "", err
	}
	n.keys[key] = k.Person
	return k.Person, nil
}

// site is a site's name; "" for an empty or unknown id.
func (n *nameBook) site(ctx context.Context, id string) (string, error) {
	all, err := n.siteNames(ctx)
	return all[id], err
}

// siteNames are the names of all sites by id.
func (n *nameBook) siteNames(ctx context.Context) (map[string]string, error) {
	if n.sites != nil {
		return n.sites, nil
	}
	list, err := n.store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	n.sites = map[string]string{}
	for _, x := range list {
		n.sites[x.ID] = x.Name
	}
	return n.sites, nil
}

// cohortNames are the names of all cohorts by id.
func (n *nameBook) cohortNames(ctx context.Context) (map[string]string, error) {
	if n.cohorts != nil {
		return n.cohorts, nil
	}
	list, err := n.store.Cohorts(ctx)
	if err != nil {
		return nil, err
	}
	n.cohorts = map[string]string{}
	for _, x := range list {
		n.cohorts[x.ID] = x.Name
	}
	return n.cohorts, nil
}

// person is somebody by id; nil, without an error, for an unknown or empty id.
func (n *nameBook) person(ctx context.Context, id string) (*store.Person, error) {
	if id == "" {
		return nil, nil
	}
	if p, ok := n.known[id]; ok {
		return p, nil
	}
	p, err := n.store.Person(ctx, id)
	if errors.Is(err, store.ErrNotFound) {
		p, err = nil, nil
	}
	if err != nil {
		return nil, err
	}
	n.known[id] = p
	return p, nil
}

// name is somebody's name; "nobody" for an empty or unknown id.
func (n *nameBook) name(ctx context.Context, id string) (string, error) {
	p, err := n.person(ctx, id)
	return personName(p), err
}

// choice is an option of a select, a radio button or a checkbox.
type choice struct{ Value, Text string }

func siteChoices(sites []store.Site) []choice {
	var out []choice
	for _, x := range sites {
		out = append(out, choice{x.ID, x.Name})
	}
	return out
}

func taskChoices(p *curriculum.Programme) []choice {
	var out []choice
	for _, t := range p.Tasks {
		out = append(out, choice{t.ID, t.Title})
	}
	return out
}

func vehicleChoices(p *curriculum.Programme) []choice {
	var out []choice
	for _, v := range p.Vehicles {
		out = append(out, choice{v.ID, v.Title + " · " + readable(v.Layout)})
	}
	return out
}

// may says whether an act is permitted today, without the reason.
func (s *Server) may(ctx context.Context, actor *store.Person, a acts.Act, t acts.Target) (bool, error) {
	err := s.acts.May(ctx, actor, a, t)
	if err == nil {
		return true, nil
	}
	if _, ok := acts.AsRefusal(err); ok {
		return false, nil
	}
	return false, err
}

func itoa(n int) string { return strconv.Itoa(n) }

func hexHash(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func isSVG(path string) bool { return strings.HasSuffix(path, ".svg") }

// newID mints an id (UUIDv7) for a form, so that the same form sent twice is one entry.
func newID() string {
	id, err := uuid.NewV7()
	if err != nil {
		panic("server: no random numbers: " + err.Error())
	}
	return id.String()
}
