package server

import (
	"net/http"
	"strconv"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerRecordRoutes(r *mux.Router) {
	s.get(r, "/record", s.showOwnRecord)
	s.get(r, "/record/bundle", s.carryOwnRecord)
	s.get(r, "/people/{person}/record/bundle", s.carryRecord)
	s.get(r, "/people/{person}/record", s.showRecord)
}

// recordPage is one person's whole record in plain words, newest first.
type recordPage struct {
	BasePage
	Who        string
	Mine       bool
	Entries    []entryLine
	Total      int
	Page, Of   int
	Newer      string
	Older      string
	PersonPath string
	Carry      string // where the bundle is handed out, "" if not to the reader
}

func (recordPage) template() string { return "record" }

// recordLines is how many entries stand on one page.
const recordLines = 50

func (s *Server) showOwnRecord(w http.ResponseWriter, r *http.Request) error {
	return s.record(w, r, personFrom(r.Context()).ID, "/record")
}

func (s *Server) showRecord(w http.ResponseWriter, r *http.Request) error {
	id := mux.Vars(r)["person"]
	return s.record(w, r, id, "/people/"+id+"/record")
}

func (s *Server) record(w http.ResponseWriter, r *http.Request, person, path string) error {
	ctx := r.Context()
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	all, err := s.acts.Record(ctx, personFrom(ctx), person)
	if err != nil {
		return err
	}
	names := s.nameBook()
	who, err := names.person(ctx, person)
	if err != nil {
		return err
	}
	page := recordPage{BasePage: b, Who: personName(who), Mine: person == personFrom(ctx).ID, Total: len(all), PersonPath: "/people/" + person}
	page.Title = "Record of " + page.Who
	if page.Mine {
		page.Title = "My record"
	}
	carry, err := s.may(ctx, personFrom(ctx), acts.CarryRecord, acts.Target{Person: who})
	if err != nil {
		return err
	}
	if carry && !who.Erased {
		page.Carry = path + "/bundle"
	}
	n, _ := strconv.Atoi(r.URL.Query().Get("page"))
	var shown []*store.EntryView
	shown, page.Page, page.Of = pageOf(all, n, recordLines)
	if page.Page > 1 {
		page.Newer = path + "?page=" + itoa(page.Page-1)
	}
	if page.Page < page.Of {
		page.Older = path + "?page=" + itoa(page.Page+1)
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	for _, e := range shown {
		l, err := s.entryLine(ctx, b.clock, p, names, e)
		if err != nil {
			return err
		}
		l.About = "" // the page says whose record it is
		page.Entries = append(page.Entries, l)
	}
	return s.render(w, r, http.StatusOK, page)
}

// pageOf cuts page n (from 1) out of a list that is oldest first, newest first, size lines a page.
func pageOf[T any](all []T, n, size int) (shown []T, page, of int) {
	of = max(1, (len(all)+size-1)/size)
	page = min(max(1, n), of)
	for i := len(all) - 1 - (page-1)*size; i >= 0 && len(shown) < size; i-- {
		shown = append(shown, all[i])
	}
	return shown, page, of
}
