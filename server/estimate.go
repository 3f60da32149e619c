package server

import (
	"context"
	"io"
	"net/http"
	"strconv"

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
	page := estimatePage{BasePage: b, Task: task.ID, Title2: task.Title, Target: percentText(*asks.Target), Asked: percentText(*asks.Confidence),
		Priors: e.Parameters.UpTo == "", Short: short(e.Hash), Watched: len(e.Parameters.Supervisors)}
	if !page.Priors {
		page.UpTo = b.clock.day(e.Parameters.UpTo)
	}
	for _, t := range p.Tasks {
		page.Tasks = append(page.Tasks, choice{t.ID, t.Title})
	}
	for _, o := range offs {
		r := tradeOffRow{Confidence: percentText(o.Confidence), Declared: percentText(o.Declared), Wrong: percentText(o.Wrong), Held: percentText(o.Held),
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
