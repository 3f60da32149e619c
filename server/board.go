package server

import (
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func (s *Server) registerBoardRoutes(r *mux.Router) {
	s.get(r, "/board", s.showBoard)
}

// boardPage is apprentices × tasks.
type boardPage struct {
	BasePage
	Sites, Cohorts []choice
	Date           moment
	Tasks          []string
	Rows           []boardLine
	Counts         []boardCount // how many cells hold each standing
	Filtered       bool
	Offer          string // for a coordinator: what the programme folder holds that is not adopted
}

type boardLine struct {
	Name, Path, Cohort string
	Left               bool
	Cells              []boardCell
}

type boardCell struct {
	Task, Path string
	Standing   readiness.Standing
	Word       string
	Detail     string // until when, what warns
	Warn       bool
}

type boardCount struct {
	Standing readiness.Standing
	Word     string
	N        int
}

func (boardPage) template() string { return "board" }

// standingsInOrder are all standings as the board counts them.
var standingsInOrder = []readiness.Standing{readiness.Cleared, readiness.ReadyForDecision, readiness.Building, readiness.Untried, readiness.Lapsed, readiness.StoodDown}

func newBoardPage(b BasePage, board *acts.Board, sites []store.Site, cohorts []store.Cohort) boardPage {
	b.Title, b.Wide = "Board", true
	page := boardPage{BasePage: b, Sites: siteChoices(sites), Date: b.clock.day(board.Date), Filtered: b.Value("site")+b.Value("cohort")+b.Value("search") != ""}
	for _, c := range cohorts {
		page.Cohorts = append(page.Cohorts, choice{c.ID, c.Name})
	}
	n := map[readiness.Standing]int{}
	for _, t := range board.Tasks {
		page.Tasks = append(page.Tasks, t.Title)
	}
	for _, r := range board.Rows {
		l := boardLine{Name: personName(r.Apprentice), Path: "/people/" + r.Apprentice.ID, Cohort: r.Cohort, Left: r.Left}
		for i, v := range r.Cells {
			c := boardCell{Task: board.Tasks[i].Title, Path: taskPath(r.Apprentice.ID, v.Task), Standing: v.Standing, Word: say.Standing(v.Standing)}
			switch {
			case v.Standing == readiness.Cleared && v.Notes.ClearedUntil != "":
				c.Detail = "until " + b.clock.day(v.Notes.ClearedUntil).Text
			case v.Standing == readiness.Cleared && v.Notes.Waived:
				c.Detail = "by waiver"
			case v.Standing == readiness.Building:
				open := 0
				for _, g := range v.Gates {
					if g.OK {
						open++
					}
				}
				c.Detail = itoa(open) + " of " + itoa(len(v.Gates)) + " gates open"
				if open == len(v.Gates) {
					c.Detail = "gates open, not sure enough yet"
				}
			}
			c.Warn = len(v.Notes.Warnings) > 0
			n[v.Standing]++
			l.Cells = append(l.Cells, c)
		}
		page.Rows = append(page.Rows, l)
	}
	for _, st := range standingsInOrder {
		page.Counts = append(page.Counts, boardCount{st, say.Standing(st), n[st]})
	}
	return page
}

func (s *Server) showBoard(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Board")
	if err != nil {
		return err
	}
	q := r.URL.Query()
	for _, k := range []string{"site", "cohort", "search", "left"} {
		b.set(k, q.Get(k))
	}
	board, err := s.acts.Board(r.Context(), personFrom(r.Context()), acts.BoardFilter{Site: q.Get("site"), Cohort: q.Get("cohort"), Search: q.Get("search"), WithLeft: q.Get("left") != ""})
	if err != nil {
		return err
	}
	sites, err := s.store.Sites(r.Context())
	if err != nil {
		return err
	}
	cohorts, err := s.store.Cohorts(r.Context())
	if err != nil {
		return err
	}
	page := newBoardPage(b, board, sites, cohorts)
	if ok, err := s.may(r.Context(), personFrom(r.Context()), acts.SeeOffer, acts.Target{}); err != nil {
		return err
	} else if ok {
		if page.Offer, err = s.offerNote(r.Context()); err != nil {
			return err
		}
	}
	return s.render(w, r, http.StatusOK, page)
}
