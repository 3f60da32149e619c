package server

import (
	"context"
	"net/http"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (s *Server) registerMatterRoutes(r *mux.Router) {
	s.get(r, "/matters", s.showMatters)
	s.post(r, "/matters/{matter}/assign", s.assign)
	s.get(r, "/waivers", s.showWaivers)
}

// mattersPage is what waits for a decision and what a coordinator should know of.
type mattersPage struct {
	BasePage
	Disputes, StandDowns []matterLine
	LeftBehind           []leftLine
	Doubtful             []matterLine
	Pairs                []pairLine
	Owners               []choice // to whom something can be given
	Oversees             bool
	Nothing              bool
}

type matterLine struct {
	ID, Path, Title, About, Text string
	Since, Due                   moment
	Overdue, Unsigned, May       bool
	Owner                        string
	Error                        string
}

type leftLine struct {
	Name, Path string
	Until      moment
	Jobs       []jobItem
	Matters    []matterLine
}

type pairLine struct {
	By, ByPath, Apprentice, Path string
	Jobs                         int
	Mutual                       bool
}

func (mattersPage) template() string { return "matters" }

func (s *Server) showMatters(w http.ResponseWriter, r *http.Request) error {
	return s.mattersForm(w, r, "", nil)
}

func (s *Server) mattersForm(w http.ResponseWriter, r *http.Request, matter string, problem error) error {
	ctx, me := r.Context(), personFrom(r.Context())
	b, err := s.base(r, "Matters")
	if err != nil {
		return err
	}
	today := b.clock.today()
	if !acts.Holds(me, acts.Coordinator, today) && !acts.Holds(me, acts.Supervisor, today) {
		return &acts.Refusal{Code: "not_allowed", Status: http.StatusForbidden, Args: map[string]string{"why": "no_role", "act": string(acts.Oversee)}}
	}
	status := http.StatusOK
	if problem != nil {
		f := failureOf(problem)
		if f.field == "to" {
			f.field = "to-" + matter
		}
		if status, err = b.refused(w, f, "to-"+matter); err != nil {
			return err
		}
		b.set("to-"+matter, r.PostForm.Get("to"))
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	names := s.nameBook()
	page := mattersPage{BasePage: b, Oversees: acts.Holds(me, acts.Coordinator, today)}
	ms, err := s.acts.Matters(ctx, me)
	if err != nil {
		return err
	}
	for _, m := range ms.Disputes {
		l, err := s.matterLine(ctx, b, p, names, m)
		if err != nil {
			return err
		}
		page.Disputes = append(page.Disputes, l)
	}
	for _, m := range ms.StandDowns {
		l, err := s.matterLine(ctx, b, p, names, m)
		if err != nil {
			return err
		}
		page.StandDowns = append(page.StandDowns, l)
	}
	if page.Oversees {
		if err := s.oversee(ctx, &page, p, names); err != nil {
			return err
		}
	}
	page.Nothing = len(page.Doubtful) == 0 && len(page.Disputes)+len(page.StandDowns)+len(page.LeftBehind)+len(page.Pairs) == 0
	return s.render(w, r, status, page)
}

// oversee adds what only a coordinator sees.
func (s *Server) oversee(ctx context.Context, page *mattersPage, p *curriculum.Programme, names *nameBook) error {
	me, c := personFrom(ctx), page.clock
	people, err := s.acts.People(ctx, me)
	if err != nil {
		return err
	}
	for _, x := range people {
		if acts.Holds(x, acts.Supervisor, c.today()) || acts.Holds(x, acts.Coordinator, c.today()) {
			page.Owners = append(page.Owners, choice{x.ID, personName(x)})
		}
	}
	left, err := s.acts.LeftBehind(ctx, me)
	if err != nil {
		return err
	}
	for _, x := range left {
		l := leftLine{Name: personName(x.Supervisor), Path: "/people/" + x.Supervisor.ID, Until: c.day(x.Until)}
		for _, j := range x.Jobs {
			item, err := s.jobItem(ctx, c, p, names, j)
			if err != nil {
				return err
			}
			l.Jobs = append(l.Jobs, item)
		}
		for _, m := range x.Matters {
			line, err := s.matterLine(ctx, page.BasePage, p, names, m)
			if err != nil {
				return err
			}
			l.Matters = append(l.Matters, line)
		}
		page.LeftBehind = append(page.LeftBehind, l)
	}
	doubtful, err := s.acts.Doubtful(ctx, me)
	if err != nil {
		return err
	}
	for _, e := range doubtful {
		b := e.Entry.Body
		l := matterLine{Path: "/ledger/" + b.ID, Title: wordOrType(b.Type), Text: say.Doubt(string(b.Type)), Since: c.ms(e.Entry.RecordedAt)}
		if b.Type == ledger.ProgrammeAdopted {
			if x, ok := payloadOf(e).(*ledger.ProgrammePayload); ok {
				l.Path = "/programme/editions/" + x.Content["programme"]
			}
		}
		page.Doubtful = append(page.Doubtful, l)
	}
	pairs, err := s.acts.Pairs(ctx, me)
	if err != nil {
		return err
	}
	for _, x := range pairs {
		page.Pairs = append(page.Pairs, pairLine{personName(x.By), "/people/" + x.By.ID, personName(x.Apprentice), "/people/" + x.Apprentice.ID, x.Jobs, x.Mutual})
	}
	return nil
}

func (s *Server) matterLine(ctx context.Context, b BasePage, p *curriculum.Programme, names *nameBook, m acts.Matter) (matterLine, error) {
	by, err := names.name(ctx, m.Opened.Entry.Body.Actor)
	if err != nil {
		return matterLine{}, err
	}
	body := m.Entry.Entry.Body
	l := matterLine{ID: body.ID, Path: "/ledger/" + body.ID, About: personName(m.About), Title: wordOrType(body.Type),
		Since: b.clock.ms(m.Opened.Entry.RecordedAt), Due: b.clock.day(m.Due), Overdue: m.Overdue, Unsigned: m.Unsigned, May: m.May, Error: b.Err("to-" + body.ID)}
	if m.Task != "" || !ledger.IsAuthorising(body.Type) {
		l.Title += ": " + taskOrAll(p, m.Task)
	}
	l.Text = say.Matter(string(m.Opened.Entry.Body.Type), map[string]string{"name": by, "reason": m.Opened.Personal["reason"]})
	if m.Owner != nil {
		l.Owner = personName(m.Owner)
	}
	return l, nil
}

func (s *Server) assign(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	matter := mux.Vars(r)["matter"]
	if _, err := s.acts.Assign(r.Context(), personFrom(r.Context()), r.PostForm.Get("id"), matter, r.PostForm.Get("to")); err != nil {
		return s.mattersForm(w, r, matter, err)
	}
	return seeOther(w, r, "/matters", "assigned")
}

// waiversPage lists every clearance that set gates aside or went below the policy's confidence.
type waiversPage struct {
	BasePage
	Waivers []waiverLine
	Running int
}

type waiverLine struct {
	Path, PersonPath, About, Task string
	On, Until                     moment
	Gates                         []string
	Short                         bool // open gates, short probability
	Reason                        string
	By                            []string
	Running                       bool
}

func (waiversPage) template() string { return "waivers" }

func (s *Server) showWaivers(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	b, err := s.base(r, "Waivers")
	if err != nil {
		return err
	}
	b.Wide = true
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	all, err := s.acts.Waivers(ctx, personFrom(ctx))
	if err != nil {
		return err
	}
	names := s.nameBook()
	page := waiversPage{BasePage: b}
	for _, x := range all {
		l := waiverLine{Path: "/ledger/" + x.Entry.Entry.Body.ID, PersonPath: taskPath(x.About.ID, x.Payload.Task), About: personName(x.About), Task: taskTitle(p, x.Payload.Task),
			On: b.clock.ms(x.Entry.Entry.Body.HappenedAt), Until: b.clock.day(waiverEnd(x.Payload)), Short: len(x.Payload.Waiver.Gates) == 0, Reason: x.Entry.Personal["reason"], Running: x.Running}
		for _, g := range x.Payload.Waiver.Gates {
			l.Gates = append(l.Gates, say.GateName(g))
		}
		if l.By, err = signers(ctx, names, x.Entry); err != nil {
			return err
		}
		if x.Running {
			page.Running++
		}
		page.Waivers = append(page.Waivers, l)
	}
	return s.render(w, r, http.StatusOK, page)
}

// waiverEnd is the earlier of the waiver's end and the clearance's, "" where both are open.
func waiverEnd(p ledger.ClearancePayload) string {
	if p.Until != "" && (p.Waiver.Until == "" || p.Until < p.Waiver.Until) {
		return p.Until
	}
	return p.Waiver.Until
}

// toCountersign are the records about an apprentice on which they may still say something, newest first.
func (s *Server) toCountersign(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, person string) ([]entryLine, error) {
	entries, err := s.store.Entries(ctx, store.EntryFilter{Newest: true, Limit: 40, Subject: person, Types: []ledger.Type{ledger.SignOff, ledger.Corrected}})
	if err != nil {
		return nil, err
	}
	var out []entryLine
	for _, e := range entries {
		text, open, err := s.silence(ctx, c, e)
		if err != nil {
			return nil, err
		}
		if !open {
			continue
		}
		l, err := s.entryLine(ctx, c, p, names, e)
		if err != nil {
			return nil, err
		}
		l.Lines = append(l.Lines[:min(2, len(l.Lines))], text)
		out = append(out, l)
	}
	return out, nil
}
