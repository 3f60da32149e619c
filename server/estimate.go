package server

import (
	"context"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
)

func (s *Server) registerEstimateRoutes(r *mux.Router) {
	s.get(r, "/estimate", s.showEstimate)
	s.post(r, "/estimate/look", s.lookAtParameters)
	s.post(r, "/estimate/adopt", s.adoptParameters)
}

// estimatePage shows a coordinator what asking for more or less confidence would lead to, and the parameters in force.
type estimatePage struct {
	BasePage
	Tasks   []choice
	Task    string
	Title2  string // of the task
	Target  string
	Asked   string
	Rows    []tradeOffRow
	Curve   curve
	UpTo    moment // of the parameters in force
	Priors  bool   // the documented ones
	Short   string
	Watched int // supervisors that they know
	Found   *foundParameters
}

// tradeOffRow is one confidence, in words and numbers.
type tradeOffRow struct {
	Confidence, Declared, Wrong, Held, Jobs string
	Asked                                   bool // what the programme asks
}

// curve draws able apprentices held back (across) against those declared too early (up), one dot a confidence.
type curve struct {
	Line          string // points of the line
	Dots          []curveDot
	Across, Up    []curveTick
	Says          string // in words, for who does not see it
	Left, Right   int    // of the plot, in units of the drawing
	Top, Bottom   int
	Width, Height int
}

type curveDot struct {
	X, Y  int
	Text  string
	Asked bool
}

type curveTick struct {
	At   int
	Text string
}

func newCurve(offs []readiness.TradeOff, asked float64) curve {
	c := curve{Left: 58, Right: 470, Top: 20, Bottom: 230, Width: 500, Height: 290}
	far, high := 0.1, 0.1
	for _, o := range offs {
		far, high = max(far, o.Held), max(high, o.Wrong)
	}
	far, high = tenthsUp(far), tenthsUp(high)
	across := func(x float64) int { return c.Left + int(float64(c.Right-c.Left)*x/far+0.5) }
	up := func(y float64) int { return c.Bottom - int(float64(c.Bottom-c.Top)*y/high+0.5) }
	for x := 0.0; x < far+0.01; x += far / 5 {
		c.Across = append(c.Across, curveTick{across(x), itoa(int(x*100+0.5)) + " %"})
	}
	for y := 0.0; y < high+0.01; y += high / 5 {
		c.Up = append(c.Up, curveTick{up(y), itoa(int(y*100+0.5)) + " %"})
	}
	var line []string
	for _, o := range offs {
		if o.Declared == 0 {
			continue // nobody could be declared too early
		}
		d := curveDot{X: across(o.Held), Y: up(o.Wrong), Text: itoa(int(o.Confidence*100+0.5)) + " %", Asked: o.Confidence == asked}
		line = append(line, itoa(d.X)+","+itoa(d.Y))
		c.Dots = append(c.Dots, d)
		if d.Asked {
			c.Says = "The programme asks to be " + askedText(asked) + " sure: of those declared ready " + percentText(o.Wrong) + " would be too early, and " + percentText(o.Held) + " of the able would be held back."
		}
	}
	if c.Says == "" {
		c.Says = "With the " + askedText(asked) + " that the programme asks nobody would be declared ready."
	}
	c.Line = strings.Join(line, " ")
	c.name()
	return c
}

// name leaves out the names of dots that would lie over another's; the one that is asked for keeps its own. The table has all.
func (c *curve) name() {
	const wide, high = 52, 22 // of a name, in units of the drawing
	over := func(a, b curveDot) bool {
		width := wide
		if a.Asked || b.Asked {
			width = 3 * wide
		}
		dx, dy := a.X-b.X, a.Y-b.Y
		return max(dx, -dx) < width && max(dy, -dy) < high
	}
	var named []curveDot
	for _, asked := range []bool{true, false} {
		for i := range c.Dots {
			d := &c.Dots[i]
			if d.Asked != asked {
				continue
			}
			if slices.ContainsFunc(named, func(n curveDot) bool { return over(*d, n) }) {
				d.Text = ""
			} else {
				named = append(named, *d)
			}
		}
	}
}

// tenthsUp rounds up to a tenth.
func tenthsUp(x float64) float64 { return float64(int(x*10+0.999)) / 10 }

// foundParameters are parameters that were uploaded, not adopted yet.
type foundParameters struct {
	Text, Short string
	UpTo        moment
	Values      []valueRow
}

type valueRow struct{ Name, Now, New string }

func (estimatePage) template() string { return "estimate" }

func newEstimatePage(b BasePage, p *curriculum.Programme, e *acts.Estimate, task *curriculum.Task, offs []readiness.TradeOff) estimatePage {
	b.Title = "The estimate"
	asks := p.Policy.Task(task.ID)
	page := estimatePage{BasePage: b, Task: task.ID, Title2: task.Title, Target: askedText(*asks.Target), Asked: askedText(*asks.Confidence),
		Priors: e.Parameters.UpTo == "", Short: short(e.Hash), Watched: len(e.Parameters.Supervisors)}
	if !page.Priors {
		page.UpTo = b.clock.day(e.Parameters.UpTo)
	}
	for _, t := range p.Tasks {
		page.Tasks = append(page.Tasks, choice{t.ID, t.Title})
	}
	page.Curve = newCurve(offs, *asks.Confidence)
	for _, o := range offs {
		r := tradeOffRow{Confidence: askedText(o.Confidence), Declared: percentText(o.Declared), Wrong: percentText(o.Wrong), Held: percentText(o.Held),
			Jobs: decimalText(o.Jobs), Asked: o.Confidence == *asks.Confidence}
		if o.Declared == 0 {
			r.Wrong, r.Jobs = "nobody", "–"
		}
		page.Rows = append(page.Rows, r)
	}
	return page
}

func (s *Server) showEstimate(w http.ResponseWriter, r *http.Request) error {
	return s.estimateForm(w, r, nil, nil)
}

func (s *Server) estimateForm(w http.ResponseWriter, r *http.Request, found []byte, problem error) error {
	ctx := r.Context()
	e, err := s.acts.Estimate(ctx, personFrom(ctx))
	if err != nil {
		return err
	}
	b, err := s.base(r, "The estimate")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, "passphrase", "parameters"); err != nil {
			return err
		}
	}
	p, err := s.acts.Programme(ctx)
	if err != nil {
		return err
	}
	task := p.Task(r.URL.Query().Get("task"))
	if task == nil {
		task = &p.Tasks[0]
		if t := p.Task(r.PostForm.Get("task")); t != nil {
			task = t
		}
	}
	offs, err := s.acts.TradeOffs(ctx, personFrom(ctx), task.ID)
	if err != nil {
		return err
	}
	page := newEstimatePage(b, p, e, task, offs)
	if found != nil {
		if other, err := readiness.ReadParameters(found); err == nil {
			page.Found = newFoundParameters(b.clock, e.Parameters, other)
		}
	}
	return s.render(w, r, status, page)
}

func newFoundParameters(c clock, now, other readiness.Parameters) *foundParameters {
	f := &foundParameters{Text: string(other.JSON()), Short: short(other.Hash())}
	if other.UpTo != "" {
		f.UpTo = c.day(other.UpTo)
	}
	was := now.Population.Values()
	for i, v := range other.Population.Values() {
		f.Values = append(f.Values, valueRow{Name: say.PopulationValue(v.Name), Now: decimalText(was[i].Value), New: decimalText(v.Value)})
	}
	return f
}

// decimalText is a number with as few digits as say it.
func decimalText(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func (s *Server) lookAtParameters(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseMultipartForm(maxBody); err != nil {
		return badForm(err)
	}
	if err := s.mayAdopt(r.Context()); err != nil {
		return err
	}
	file, _, err := r.FormFile("file")
	if err != nil {
		return s.estimateForm(w, r, nil, failure{status: http.StatusUnprocessableEntity, code: "nothing_chosen", field: "parameters", text: "Choose the file."})
	}
	defer file.Close()
	raw, err := io.ReadAll(file)
	if err != nil {
		return badForm(err)
	}
	if _, err := readiness.ReadParameters(raw); err != nil {
		return s.estimateForm(w, r, nil, failure{status: http.StatusUnprocessableEntity, code: "parameters_unreadable", field: "parameters", args: map[string]string{"text": err.Error()}})
	}
	return s.estimateForm(w, r, raw, nil)
}

func (s *Server) mayAdopt(ctx context.Context) error {
	return s.acts.May(ctx, personFrom(ctx), acts.AdoptProgramme, acts.Target{})
}

func (s *Server) adoptParameters(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	raw := []byte(r.PostForm.Get("parameters"))
	if _, err := s.acts.AdoptParameters(r.Context(), personFrom(r.Context()), raw, r.PostForm.Get("passphrase")); err != nil {
		return s.estimateForm(w, r, raw, err)
	}
	return seeOther(w, r, "/estimate", "parameters_adopted")
}
