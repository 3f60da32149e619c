package server

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strconv"

	"github.com/gorilla/mux"

	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerLedgerRoutes(r *mux.Router) {
	s.get(r, "/ledger", s.showLedger)
	s.get(r, "/ledger/{entry}", s.showEntry)
}

// ledgerPage lists entries, newest first.
type ledgerPage struct {
	BasePage
	Entries []entryLine
	Total   int64
	Newest  string // address, "" on the first page
	Older   string
}

func (ledgerPage) template() string { return "ledger" }

const ledgerLines = 50

func (s *Server) showLedger(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	if err := s.acts.May(ctx, personFrom(ctx), acts.SeeLedger, acts.Target{}); err != nil {
		return err
	}
	b, err := s.base(r, "Ledger")
	if err != nil {
		return err
	}
	info, err := s.store.Info(ctx)
	if err != nil {
		return err
	}
	from, _ := strconv.ParseInt(r.URL.Query().Get("from"), 10, 64)
	entries, err := s.store.Entries(ctx, store.EntryFilter{From: max(0, from), Limit: ledgerLines, Newest: true})
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	names := s.nameBook()
	page := ledgerPage{BasePage: b, Total: info.Entries}
	for _, e := range entries {
		l, err := s.entryLine(ctx, b.clock, p, names, e)
		if err != nil {
			return err
		}
		page.Entries = append(page.Entries, l)
	}
	if from > 0 {
		page.Newest = "/ledger"
	}
	if n := len(entries); n > 0 && entries[n-1].Index > 1 {
		page.Older = "/ledger?from=" + strconv.FormatInt(entries[n-1].Index-1, 10)
	}
	return s.render(w, r, http.StatusOK, page)
}

// entryPage is one entry: in plain words, and as the bytes that are hashed.
type entryPage struct {
	BasePage
	Entry    entryLine
	Recorded moment
	Zone     string
	JSON     string // the leaf, indented for reading
	Hash     string
	Acts     entryActs
	Any      bool
	ID       string
}

func (entryPage) template() string { return "entry" }

func (s *Server) showEntry(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	page, err := s.entryPage(r, b, mux.Vars(r)["entry"])
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page)
}

func (s *Server) entryPage(r *http.Request, b BasePage, entry string) (entryPage, error) {
	ctx, none := r.Context(), entryPage{}
	e, err := s.acts.Entry(ctx, personFrom(ctx), entry)
	if err != nil {
		return none, err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return none, err
	}
	names := s.nameBook()
	l, err := s.entryLine(ctx, b.clock, p, names, e)
	if err != nil {
		return none, err
	}
	var indented bytes.Buffer
	if err := json.Indent(&indented, e.Leaf, "", "  "); err != nil {
		return none, err
	}
	page := entryPage{BasePage: b, Entry: l, Recorded: b.clock.ms(e.Entry.RecordedAt), Zone: e.Entry.Body.Zone, JSON: indented.String(), Hash: hexHash(e.Leaf)}
	page.Title, page.ID = l.Title, newID()
	if page.Acts, err = s.actsOn(ctx, b.clock, names, e); err != nil {
		return none, err
	}
	page.Any = anyActs(page.Acts)
	return page, nil
}
