package acts

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/store"
	"brakewright/store/ledger"
)

// frame is what every verdict of a moment rests on, but for the evidence and the date. What it says never changes.
type frame struct {
	programme  *curriculum.Programme
	catalogue  readiness.Catalogue
	policy     readiness.Policy
	parameters readiness.Parameters
	adoptions  int
	key        string    // of policy, catalogue: under it verdicts are cached
	hash       string    // of the parameters
	offs       sync.Map  // trade-offs by task, worked out when first asked for
	assessors  sync.Pool // of *readiness.Assessor, which remember
}

// frame is made anew when another edition or other parameters are adopted.
func (s *Service) frame(ctx context.Context) (*frame, error) {
	info, err := s.Store.Info(ctx)
	if err != nil {
		return nil, err
	}
	adoptions, err := s.Store.Adoptions(ctx)
	if err != nil {
		return nil, err
	}
	c := &s.cache
	c.mu.Lock()
	for _, f := range c.frames {
		if f.programme.Edition == info.Programme && f.hash == info.Parameters && f.adoptions == len(adoptions) {
			c.mu.Unlock()
			return f, nil
		}
	}
	c.mu.Unlock()
	f, err := s.newFrame(ctx, info, len(adoptions))
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.frames = append(c.frames, f); len(c.frames) > 2 {
		c.frames = slices.Delete(c.frames, 0, len(c.frames)-2)
	}
	return f, nil
}

func (s *Service) newFrame(ctx context.Context, info store.Info, adoptions int) (*frame, error) {
	p, err := s.edition(ctx, info.Programme)
	if err != nil {
		return nil, err
	}
	reread, err := s.rereadAfter(ctx, p)
	if err != nil {
		return nil, err
	}
	retest, err := s.retestAfter(ctx, p)
	if err != nil {
		return nil, err
	}
	raw, err := s.Store.Content(ctx, info.Parameters)
	if err != nil {
		return nil, err
	}
	parameters, err := readiness.ReadParameters(raw)
	if err != nil {
		return nil, err
	}
	f := &frame{
		programme: p, catalogue: catalogue(p, reread, retest), policy: p.Policy, parameters: parameters,
		adoptions: adoptions, hash: info.Parameters,
	}
	b, err := json.Marshal(f.catalogue)
	if err != nil {
		return nil, err
	}
	f.key = ledger.Hash([]byte("verdicts-v4\n" + f.policy.Hash() + "\n" + ledger.Hash(b)))
	return f, nil
}

// kept is a verdict as cached: with the notes that its wire format leaves out.
type kept struct {
	Verdict readiness.Verdict `json:"verdict"`
	Notes   readiness.Notes   `json:"notes"`
}

// assess judges one apprentice by the evidence given, one verdict a task in the order of the programme's tasks.
func (f *frame) assess(apprentice string, evidence []readiness.Record, date string) []readiness.Verdict {
	a, _ := f.assessors.Get().(*readiness.Assessor)
	if a == nil {
		a = readiness.NewAssessor(&f.catalogue, f.policy, f.parameters, readiness.Options{Explain: true})
	}
	defer f.assessors.Put(a)
	var out []readiness.Verdict
	for _, v := range a.Assess(evidence, date) {
		if v.Apprentice == apprentice {
			out = append(out, v)
		}
	}
	if out != nil {
		return out
	}
	// Nothing is known of them yet.
	for _, t := range f.programme.Tasks {
		out = append(out, a.AssessOne(nil, apprentice, t.ID, date))
	}
	return out
}

// fresh computes verdicts from the evidence as it is now, past the cache.
func (s *Service) fresh(ctx context.Context, f *frame, apprentice, date string) ([]readiness.Verdict, error) {
	evidence, err := s.Store.Evidence(ctx, apprentice)
	if err != nil {
		return nil, err
	}
	return f.assess(apprentice, evidence, date), nil
}

// verdicts returns an apprentice's verdicts of a date, one a task in the order of tasks, cached where possible.
func (s *Service) verdicts(ctx context.Context, f *frame, apprentice, date string) ([]readiness.Verdict, error) {
	cached, seen, err := s.Store.CachedVerdicts(ctx, apprentice, date, f.hash, f.key)
	if err != nil {
		return nil, err
	}
	if out, ok := f.uncached(cached); ok {
		return out, nil
	}
	out, err := s.fresh(ctx, f, apprentice, date)
	if err != nil {
		return nil, err
	}
	byTask := map[string]json.RawMessage{}
	for _, v := range out {
		b, err := json.Marshal(kept{v, v.Notes})
		if err != nil {
			return nil, err
		}
		byTask[v.Task] = b
	}
	return out, s.Store.CacheVerdicts(ctx, apprentice, date, f.hash, f.key, seen, byTask)
}

// uncached decodes cached verdicts; ok is false unless there is one for every task.
func (f *frame) uncached(cached map[string]json.RawMessage) ([]readiness.Verdict, bool) {
	out := make([]readiness.Verdict, 0, len(f.programme.Tasks))
	for _, t := range f.programme.Tasks {
		raw, ok := cached[t.ID]
		if !ok {
			return nil, false
		}
		var k kept
		if json.Unmarshal(raw, &k) != nil {
			return nil, false
		}
		k.Verdict.Notes = k.Notes
		out = append(out, k.Verdict)
	}
	return out, true
}

// verdictOf picks a task's verdict.
func verdictOf(vs []readiness.Verdict, task string) (readiness.Verdict, bool) {
	for _, v := range vs {
		if v.Task == task {
			return v, true
		}
	}
	return readiness.Verdict{}, false
}

// VerdictJSON is a verdict's exact bytes, as shown and as frozen into a clearance. Texts, which are said for a reader,
// do not belong to it.
func VerdictJSON(v readiness.Verdict) []byte {
	v.Reasons, v.Next = wordless(v.Reasons), wordless(v.Next)
	return v.JSON(true)
}

func wordless(rs []readiness.Reason) []readiness.Reason {
	if rs == nil {
		return nil
	}
	out := slices.Clone(rs)
	for i := range out {
		out[i].Text = ""
	}
	return out
}

// VerdictHash names a verdict: what a page or program sends back as [ClearanceRequest.Seen].
func VerdictHash(v readiness.Verdict) string { return ledger.Hash(VerdictJSON(v)) }

func (s *Service) standings(ctx context.Context, actor *store.Person, apprentice string) ([]readiness.Verdict, error) {
	p, err := s.person(ctx, apprentice)
	if err != nil {
		return nil, err
	}
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := May(actor, SeeStanding, Target{Person: p, Date: today}); err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	return s.verdicts(ctx, f, p.ID, today)
}

// manyAtOnce is how many apprentices are judged side by side: enough to share commits when caching.
const manyAtOnce = 16

// verdictsOfAll judges many apprentices, in their order.
func (s *Service) verdictsOfAll(ctx context.Context, f *frame, people []*store.Person, date string) ([][]readiness.Verdict, error) {
	out := make([][]readiness.Verdict, len(people))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(manyAtOnce)
	for i, p := range people {
		g.Go(func() (err error) {
			out[i], err = s.verdicts(ctx, f, p.ID, date)
			return err
		})
	}
	return out, g.Wait()
}

func (s *Service) board(ctx context.Context, actor *store.Person, filter BoardFilter) (*Board, error) {
	today, err := s.today(ctx)
	if err != nil {
		return nil, err
	}
	if err := May(actor, SeeBoard, Target{Site: filter.Site, Date: today}); err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	people, err := s.apprentices(ctx, actor, SeeBoard, filter.Site, today)
	if err != nil {
		return nil, err
	}
	cohorts, err := s.Store.Cohorts(ctx)
	if err != nil {
		return nil, err
	}
	b := &Board{Date: today, Tasks: f.programme.Tasks}
	var shown []*store.Person
	search := strings.ToLower(strings.TrimSpace(filter.Search))
	for _, p := range people {
		cohort, named := cohortOf(p, cohorts, today)
		left := Left(p, today)
		switch {
		case left && !filter.WithLeft,
			filter.Cohort != "" && cohort != filter.Cohort,
			search != "" && !strings.Contains(strings.ToLower(p.Name), search) && !strings.Contains(strings.ToLower(p.Login), search):
			continue
		}
		shown = append(shown, p)
		b.Rows = append(b.Rows, BoardRow{Apprentice: p, Cohort: named, Left: left})
	}
	cells, err := s.verdictsOfAll(ctx, f, shown, today)
	if err != nil {
		return nil, err
	}
	for i := range b.Rows {
		b.Rows[i].Cells = cells[i]
	}
	return b, nil
}

// apprentices are all who are or were apprentices at a site ("" any) and whom the actor may see by an act.
func (s *Service) apprentices(ctx context.Context, actor *store.Person, act Act, site, date string) ([]*store.Person, error) {
	people, err := s.Store.People(ctx)
	if err != nil {
		return nil, err
	}
	var out []*store.Person
	for _, p := range people {
		if everHeld(p, Apprentice) && (site == "" || belongs(p, site)) && May(actor, act, Target{Person: p, Date: date}) == nil {
			out = append(out, p)
		}
	}
	return out, nil
}

// cohortOf is the cohort that somebody is in on a date, the latest joined; a leaver's last one.
func cohortOf(p *store.Person, cohorts []store.Cohort, date string) (id, name string) {
	var best *store.Membership
	for i, m := range p.Cohorts {
		runs := m.From <= date && (m.Until == "" || date <= m.Until)
		if best == nil || runs && m.From >= best.From || best.Until != "" && best.Until < date && m.From >= best.From {
			best = &p.Cohorts[i]
		}
	}
	if best == nil {
		return "", ""
	}
	for _, c := range cohorts {
		if c.ID == best.Cohort {
			return c.ID, c.Name
		}
	}
	return best.Cohort, ""
}

func (s *Service) floor(ctx context.Context, actor *store.Person, task, layout, site string) (*Floor, error) {
	at, err := s.placeOf(ctx, site)
	if err != nil {
		return nil, err
	}
	if err := May(actor, SeeFloor, Target{Site: site, Date: at.date}); err != nil {
		return nil, err
	}
	f, err := s.frame(ctx)
	if err != nil {
		return nil, err
	}
	if f.programme.Task(task) == nil {
		return nil, wrong("task", "unknown_task", "task", task)
	}
	people, err := s.apprentices(ctx, actor, SeeFloor, site, at.date)
	if err != nil {
		return nil, err
	}
	all, err := s.verdictsOfAll(ctx, f, people, at.date)
	if err != nil {
		return nil, err
	}
	out := &Floor{Task: task, Layout: layout}
	for i, p := range people {
		v, ok := verdictOf(all[i], task)
		if !ok {
			continue
		}
		l := limitsOf(v)
		r := FloorRow{Apprentice: p, Verdict: v, Holds: l.Holds, Until: v.Notes.ClearedUntil, Why: l.inTheWay(p, v, layout, site, at.date)}
		if r.Why == "" {
			out.Alone = append(out.Alone, r)
		} else {
			out.Not = append(out.Not, r)
		}
	}
	return out, nil
}

// Limits are what a clearance in force is limited to.
type Limits struct {
	Layouts []string
	Holds   []string // LESSON/STEP still watched before release
	Site    string
	Until   string
}

// LimitsOf reads the limits of the clearance in force that a verdict notes.
func LimitsOf(v readiness.Verdict) Limits { return limitsOf(v) }

func limitsOf(v readiness.Verdict) Limits {
	n := v.Notes.Limits
	site, _ := n["site"].(string)
	until, _ := n["until"].(string)
	return Limits{Layouts: stringsOf(n["layouts"]), Holds: stringsOf(n["holds"]), Site: site, Until: until}
}

func stringsOf(v any) []string {
	switch v := v.(type) {
	case []string:
		return v
	case []any:
		var out []string
		for _, x := range v {
			if s, ok := x.(string); ok {
				out = append(out, s)
			}
		}
		return out
	case string:
		return []string{v}
	}
	return nil
}

// inTheWay says why somebody may not do the task alone on a car of a layout at a site, "" if they may.
func (l Limits) inTheWay(p *store.Person, v readiness.Verdict, layout, site, date string) string {
	switch {
	case Left(p, date):
		return "left"
	case v.Standing == readiness.StoodDown:
		return "stood_down"
	case v.Standing == readiness.Lapsed:
		return "lapsed"
	case v.Standing != readiness.Cleared:
		return "not_cleared"
	case len(l.Layouts) > 0 && !slices.Contains(l.Layouts, layout):
		return "layout_not_covered"
	case l.Site != "" && site != l.Site:
		return "site_not_covered"
	}
	return ""
}
