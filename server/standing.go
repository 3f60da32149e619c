package server

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
	"brakewright/store/ledger"
)

func (s *Server) registerStandingRoutes(r *mux.Router) {
	s.get(r, "/standing", s.showOwnStanding)
	s.get(r, "/people/{person}/standing", s.showStanding)
	s.get(r, "/people/{person}/tasks/{task}", s.showDecision)
}

// standingPage says where an apprentice stands with every task.
type standingPage struct {
	BasePage
	Apprentice string
	PersonPath string
	Mine       bool
	Tasks      []taskLine
}

func (standingPage) template() string { return "standing" }

func (s *Server) showOwnStanding(w http.ResponseWriter, r *http.Request) error {
	if err := onlyApprentices(personFrom(r.Context())); err != nil {
		return err
	}
	return s.standing(w, r, personFrom(r.Context()).ID)
}

func (s *Server) showStanding(w http.ResponseWriter, r *http.Request) error {
	return s.standing(w, r, mux.Vars(r)["person"])
}

func (s *Server) standing(w http.ResponseWriter, r *http.Request, person string) error {
	b, err := s.base(r, "Standing")
	if err != nil {
		return err
	}
	verdicts, err := s.acts.Standings(r.Context(), personFrom(r.Context()), person)
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	who, err := s.store.Person(r.Context(), person)
	if err != nil {
		return err
	}
	page := standingPage{BasePage: b, Apprentice: personName(who), PersonPath: "/people/" + url.PathEscape(person), Mine: person == personFrom(r.Context()).ID,
		Tasks: newTaskLines(p, b.clock, person, verdicts)}
	changed, err := s.acts.ChangesToConfirm(r.Context(), personFrom(r.Context()), person)
	if err != nil {
		return err
	}
	warnOfChanges(p, b.clock, page.Tasks, verdicts, changed)
	page.Title = "Standing of " + page.Apprentice
	if page.Mine {
		page.Title = "My standing"
	}
	return s.render(w, r, http.StatusOK, page)
}

// decisionPage is one task of one apprentice: the verdict with its gates and reasons and, for whoever may decide, the
// ways to decide.
type decisionPage struct {
	BasePage
	Apprentice  string
	PersonPath  string
	Mine        bool
	Task        string
	Path        string
	Standing    readiness.Standing
	Word        string
	Since       string // since when it is cleared, lapsed or stood down, and until when
	Next        []nextAct
	Gates       []gateLine
	Closed      []gateLine
	NearMiss    []reasonLine // what a near miss does, until enough clean jobs have followed
	Moved       []reasonLine // what moved the estimate since last time
	Rests       []reasonLine // what it rests on
	Warnings    []string
	Chance      string // "about 9 in 10"
	Sure        string // how sure, in words
	Number      string // with its interval
	Confidence  string
	Target      string
	Asked       string
	Meaning     string
	Lapses      string
	StaysReady  string // until when it stays ready if nothing happens
	Limits      []string
	Ready       bool
	Seen        string // hash of the verdict shown
	Entries     []entryLine
	MayClear    bool
	MayStand    bool
	MayRestore  bool
	Layouts     []choice
	Holds       []choice
	ClearID     string
	StandID     string
	RestoreID   string
	Ordered     bool   // the person who asks ordered the stand-down, so that somebody else must restore
	Unsigned    string // a stand-down that the person who asks ordered and did not sign
	WaiverNeeds bool
	Today       string
	Deciders    []string     // who may take the decision that is due
	Sites       []choice     // to which a clearance can be limited
	StandDowns  []entryLine  // that hold
	Recognise   string       // address, "" for who may not
	Suppose     *supposeForm // nil for those cleared
}

// supposeForm asks what would be if next acts went well, and says it. Before anything is asked it holds the shortest way.
type supposeForm struct {
	Acts        []supposeAct
	Jobs        []choice
	Chosen      string // number of jobs
	Supervisors []choice
	OtherSups   string // how many of the jobs with another supervisor
	Layouts     []choice
	OtherLays   string // how many on another layout
	Line        string // the answer, "" before anything was asked
	Still       []string
}

// supposeAct is an act that happens once.
type supposeAct struct {
	Value, Text string
	Chosen      bool
}

// gateLine is one gate with its state.
type gateLine struct {
	Gate, Name, Text string
	Items            []string // that the text ends in, where they are many
	Above            bool     // the items stand on the page already, as what to do next
	OK               bool
	Rests            []entryRef
}

// reasonLine is a sentence with the entries on which it rests.
type reasonLine struct {
	Text  string
	Rests []entryRef
}

// entryRef leads to an entry.
type entryRef struct{ Path, Text string }

func (decisionPage) template() string { return "decision" }

// sureWords says how sure an estimate is, and what would make it surer.
func sureWords(v readiness.Verdict, asked float64) string {
	has := func(all []readiness.Reason, code string) (readiness.Reason, bool) {
		i := slices.IndexFunc(all, func(r readiness.Reason) bool { return r.Code == code })
		if i < 0 {
			return readiness.Reason{}, false
		}
		return all[i], true
	}
	_, unwatched := has(v.Reasons, "rests_on_no_job")
	jobs, more := has(v.Next, "watched_jobs")
	_, never := has(v.Next, "jobs_cannot_show")
	switch {
	case v.Confidence >= asked && unwatched:
		return "We are sure enough of that from other work, though no job of this task has been watched yet."
	case v.Confidence >= asked:
		return "We are sure enough of that."
	case unwatched:
		return "We know too little yet: no job of this task has been watched."
	case never:
		return "We are not sure enough of that, and more watched jobs alone would not make us so."
	case more && jobs.Args["jobs"] == "1":
		return "One more clean watched job would make us sure enough."
	case more:
		return spelled(jobs.Args["jobs"]+" more clean watched jobs") + " would make us sure enough."
	}
	return "We are not sure enough of that."
}

func newDecisionPage(b BasePage, p *curriculum.Programme, who *store.Person, t *curriculum.Task, v readiness.Verdict, mine bool, sites map[string]string, refs entryRefs) decisionPage {
	asks := p.Policy.Task(t.ID)
	b.Title = t.Title + ": " + personName(who)
	page := decisionPage{BasePage: b, Apprentice: personName(who), PersonPath: "/people/" + url.PathEscape(who.ID), Mine: mine, Task: t.Title, Path: taskPath(who.ID, t.ID),
		Standing: v.Standing, Word: say.Standing(v.Standing), Chance: capital(chanceWords(v.Probability)), Sure: sureWords(v, *asks.Confidence),
		Number: percentText(v.Probability) + " (between " + percentText(v.Low) + " and " + percentText(v.High) + ")", Confidence: sureText(v.Confidence),
		Target: askedText(*asks.Target), Asked: askedText(*asks.Confidence), Meaning: say.WhatTheNumberMeans, Ready: v.Ready, Seen: acts.VerdictHash(v),
		ClearID: newID(), StandID: newID(), RestoreID: newID(), Today: b.clock.today()}
	if mine {
		page.Title = t.Title
	}
	for _, n := range v.Next {
		a := nextAct{}
		a.Text, a.Items = listed(spelled(reasonText(p, b.clock, n)), titles(p, b.clock, n.Args))
		if mine {
			a.Path, a.Go = nextWay(who.ID, t.ID, n)
			again := slices.ContainsFunc(page.Next, func(b nextAct) bool { return b.Path == a.Path })
			if a.Go == seeReasons || again { // one button a way
				a.Path, a.Go = "", ""
			}
		}
		page.Next = append(page.Next, a)
	}
	for _, g := range v.Gates {
		l := gateLine{Gate: g.Gate, Name: say.GateName(g.Gate), Text: gateText(p, b.clock, g), OK: g.OK, Rests: refs.of(g.Evidence)}
		shown := l
		shown.Text, shown.Items = listed(l.Text, titles(p, b.clock, g.Args))
		if len(shown.Items) > 0 && slices.ContainsFunc(page.Next, func(a nextAct) bool { return slices.Equal(a.Items, shown.Items) }) {
			shown.Items, shown.Above = nil, true
		}
		page.Gates = append(page.Gates, shown)
		if !g.OK {
			page.Closed = append(page.Closed, l)
		}
	}
	for i, r := range v.Reasons {
		l := reasonLine{Text: reasonText(p, b.clock, r), Rests: refs.of(r.Evidence)}
		switch {
		case i == 0:
			page.Since = l.Text
		case r.Code == "ready_until":
			page.StaysReady = l.Text
		case r.Code == "near_miss_since":
			page.NearMiss = append(page.NearMiss, l)
		case strings.HasPrefix(r.Code, "moved_"):
			page.Moved = append(page.Moved, l)
		case strings.HasPrefix(r.Code, "rests_on"):
			page.Rests = append(page.Rests, l)
		}
	}
	if v.Standing == readiness.Building && len(page.Closed) > 0 {
		page.Since = buildingWords(len(page.Closed), len(page.Gates))
	}
	for _, r := range v.Notes.Warnings {
		page.Warnings = append(page.Warnings, reasonText(p, b.clock, r))
	}
	if n := v.Notes; v.Standing == readiness.Cleared && n.LapsesOn != "" && (n.ClearedUntil == "" || n.LapsesOn <= n.ClearedUntil) {
		page.Lapses = b.clock.day(v.Notes.LapsesOn).Text
	}
	page.Limits = limitLines(p, b.clock, acts.LimitsOf(v), sites)
	page.WaiverNeeds = !v.Ready
	if v.Standing != readiness.Cleared || len(v.Next) > 0 {
		page.Suppose = newSupposeForm(p, v.Next)
	}
	for _, l := range p.Layouts() {
		page.Layouts = append(page.Layouts, choice{l, readable(l)})
	}
	for _, h := range acts.HoldPoints(p, t.ID) {
		page.Holds = append(page.Holds, choice{h.Step, h.Title})
	}
	return page
}

// limitLines says the limits of a clearance in words.
//
// sites are the names of sites by id; where there is one site only, it is no limit worth a line.
func limitLines(p *curriculum.Programme, c clock, l acts.Limits, sites map[string]string) []string {
	var out []string
	for _, x := range l.Layouts {
		out = append(out, "Only cars with this layout: "+readable(x)+".")
	}
	for _, x := range l.Holds {
		out = append(out, "Still watched before release: "+stepTitle(p, x)+".")
	}
	if l.Site != "" && len(sites) > 1 {
		out = append(out, "Only at "+sites[l.Site]+".")
	}
	if l.Until != "" {
		out = append(out, "Until "+c.day(l.Until).Text+".")
	}
	return out
}

func (s *Server) showDecision(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	v := mux.Vars(r)
	page, err := s.decisionPage(r.Context(), b, v["person"], v["task"])
	if err != nil {
		return err
	}
	if page.Suppose != nil {
		if err := s.suppose(r, b, page.Suppose, v["person"], v["task"]); err != nil {
			return err
		}
	}
	return s.render(w, r, http.StatusOK, page)
}

func (s *Server) decisionPage(ctx context.Context, b BasePage, person, task string) (decisionPage, error) {
	me := personFrom(ctx)
	verdicts, err := s.acts.Standings(ctx, me, person)
	if err != nil {
		return decisionPage{}, err
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return decisionPage{}, err
	}
	t := p.Task(task)
	if t == nil {
		return decisionPage{}, failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	who, err := s.store.Person(ctx, person)
	if err != nil {
		return decisionPage{}, err
	}
	var verdict readiness.Verdict
	for _, v := range verdicts {
		if v.Task == task {
			verdict = v
		}
	}
	book := s.nameBook()
	siteNames, err := book.siteNames(ctx)
	if err != nil {
		return decisionPage{}, err
	}
	refs, err := s.entryRefs(ctx, b.clock, person)
	if err != nil {
		return decisionPage{}, err
	}
	page := newDecisionPage(b, p, who, t, verdict, person == me.ID, siteNames, refs)
	if verdict.Standing == readiness.Cleared { // for the others the reading gate says it
		changed, err := s.acts.ChangesToConfirm(ctx, me, person)
		if err != nil {
			return page, err
		}
		page.Warnings = append(page.Warnings, changeWarnings(b.clock, changesOf(t, changed))...)
	}
	target := acts.Target{Person: who, Task: task}
	for act, to := range map[acts.Act]*bool{acts.GiveClearance: &page.MayClear, acts.OrderStandDown: &page.MayStand, acts.LiftStandDown: &page.MayRestore} {
		if *to, err = s.may(ctx, me, act, target); err != nil {
			return page, err
		}
	}
	if err := s.whoDecides(ctx, &page, who, t, verdict); err != nil {
		return page, err
	}
	stood := verdict.Standing == readiness.StoodDown
	page.MayClear = page.MayClear && !stood && verdict.Standing != readiness.Untried
	page.MayRestore = page.MayRestore && stood
	if stood && page.MayRestore {
		if page.Ordered, err = s.orderedStandDown(ctx, person, task); err != nil {
			return page, err
		}
		page.MayRestore = !page.Ordered
	}
	if stood {
		open, err := s.unsignedStandDowns(ctx, b.clock, p, s.nameBook())
		if err != nil {
			return page, err
		}
		for _, x := range open {
			if x.Path == page.Path || x.Path == page.PersonPath {
				page.Unsigned = x.Entry
			}
		}
	}
	if page.StandDowns, err = s.openStandDowns(ctx, b.clock, p, book, person, task); err != nil {
		return page, err
	}
	entries, err := s.store.Entries(ctx, store.EntryFilter{Newest: true, Limit: 6, Subject: person, Task: task})
	if err != nil {
		return page, err
	}
	for _, e := range entries {
		l, err := s.entryLine(ctx, b.clock, p, book, e)
		if err != nil {
			return page, err
		}
		page.Entries = append(page.Entries, l)
	}
	return page, nil
}

// whoDecides names the people whose decision is due, and what else can be chosen on the way to it.
func (s *Server) whoDecides(ctx context.Context, page *decisionPage, who *store.Person, t *curriculum.Task, v readiness.Verdict) error {
	if v.Standing == readiness.ReadyForDecision {
		people, err := s.acts.Deciders(ctx, who, t.ID)
		if err != nil {
			return err
		}
		for _, p := range people {
			page.Deciders = append(page.Deciders, personName(p))
		}
	}
	sites, err := s.store.Sites(ctx)
	if err != nil {
		return err
	}
	if len(sites) > 1 {
		page.Sites = siteChoices(sites)
	}
	may, err := s.may(ctx, personFrom(ctx), acts.Recognise, acts.Target{Person: who, Task: t.ID})
	if may {
		page.Recognise = taskPath(who.ID, t.ID) + "/recognise"
	}
	return err
}

// openStandDowns are the stand-downs of a task, or of all, that hold, with what has become of each.
func (s *Server) openStandDowns(ctx context.Context, c clock, p *curriculum.Programme, names *nameBook, person, task string) ([]entryLine, error) {
	open, err := s.store.OpenStandDowns(ctx, person)
	if err != nil {
		return nil, err
	}
	var out []entryLine
	for _, d := range open {
		if d.Task != "" && d.Task != task {
			continue
		}
		e, err := s.store.Entry(ctx, d.Entry)
		if err != nil {
			return nil, err
		}
		l, err := s.entryLine(ctx, c, p, names, e)
		if err != nil {
			return nil, err
		}
		if !d.Reviewed {
			until, err := s.acts.ReviewUntil(ctx, e)
			if err != nil {
				return nil, err
			}
			l.Lines = append(l.Lines, say.Follow("review_due", map[string]string{"date": c.day(until).Text}))
		}
		out = append(out, l)
	}
	return out, nil
}

// orderedStandDown says whether the person who asks ordered a stand-down of the task, or of all tasks, that still holds.
func (s *Server) orderedStandDown(ctx context.Context, person, task string) (bool, error) {
	entries, err := s.store.Entries(ctx, store.EntryFilter{Newest: true, Limit: 200, Subject: person, Types: []ledger.Type{ledger.StandDownOrdered, ledger.Restored}})
	if err != nil {
		return false, err
	}
	lifted := map[string]bool{} // tasks restored since; "" for all
	for _, e := range entries {
		switch x := payloadOf(e).(type) {
		case *ledger.RestorePayload:
			lifted[x.Task] = true
		case *ledger.StandDownPayload:
			if (x.Task == task || x.Task == "") && !lifted[x.Task] && e.Entry.Body.Actor == personFrom(ctx).ID {
				return true, nil
			}
		}
	}
	return false, nil
}
