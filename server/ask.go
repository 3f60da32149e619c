package server

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
	"brakewright/store"
)

func (s *Server) registerAskRoutes(r *mux.Router) {
	s.get(r, "/jobs/ask", s.showAsk)
	s.post(r, "/jobs/ask", s.ask)
	s.post(r, "/jobs/ask/car", s.askCar)
}

// otherCar is the choice of a car that is described on the spot.
const otherCar = "other"

// askFields are the fields that the two pages of asking share.
var askFields = []string{"id", "task", "vehicle", "apprentice", "site", "bay", "work_order", "setting", "watch", "planned"}

// askPage asks for a watched job, or lets a supervisor begin one.
type askPage struct {
	BasePage
	Watch       bool // a supervisor begins to watch at once
	Tasks       []choice
	Vehicles    []choice
	Apprentices []choice
	Sites       []choice
}

func (askPage) template() string { return "ask" }

func newAskPage(b BasePage, p *curriculum.Programme, apprentices []choice, sites []store.Site, watch bool) askPage {
	b.Title = "Ask for a watched job"
	if watch {
		b.Title = "Watch a job now"
	}
	return askPage{BasePage: b, Watch: watch, Tasks: taskChoices(p), Vehicles: vehicleChoices(p), Apprentices: apprentices, Sites: siteChoices(sites)}
}

func (s *Server) showAsk(w http.ResponseWriter, r *http.Request) error {
	f := r.URL.Query()
	return s.askForm(w, r, f, nil)
}

// askForm shows the first page of asking, filled in with what was sent.
func (s *Server) askForm(w http.ResponseWriter, r *http.Request, f url.Values, problem error) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, askFields...); err != nil {
			return err
		}
	}
	for _, k := range askFields {
		if f.Has(k) {
			b.set(k, f.Get(k))
		}
	}
	watch := f.Get("watch") != ""
	sites, err := s.store.Sites(r.Context())
	if err != nil {
		return err
	}
	if b.Value("site") == "" {
		b.set("site", ownSite(personFrom(r.Context()), b.clock.today()))
	}
	var apprentices []choice
	if watch {
		if apprentices, err = s.apprenticesOf(r.Context()); err != nil {
			return err
		}
	}
	return s.render(w, r, status, newAskPage(b, p, apprentices, sites, watch))
}

// ownSite is the site of somebody's first role in force that has one.
func ownSite(p *store.Person, today string) string {
	for _, r := range p.Roles {
		if r.Site != "" && r.Holds(today) {
			return r.Site
		}
	}
	return ""
}

// apprenticesOf lists the apprentices whom the person who asks may watch at some task.
func (s *Server) apprenticesOf(ctx context.Context) ([]choice, error) {
	people, err := s.store.People(ctx)
	if err != nil {
		return nil, err
	}
	today, err := s.acts.Today(ctx)
	if err != nil {
		return nil, err
	}
	var out []choice
	for _, x := range people {
		if !acts.Holds(x, acts.Apprentice, today) || acts.Left(x, today) {
			continue
		}
		if ok, err := s.may(ctx, personFrom(ctx), acts.WatchJob, acts.Target{Person: x}); err != nil {
			return nil, err
		} else if ok {
			out = append(out, choice{x.ID, personName(x)})
		}
	}
	return out, nil
}

// jobRequest reads what was asked for. A planned time is one of the site's own clock.
func (s *Server) jobRequest(r *http.Request) (acts.JobRequest, error) {
	f := r.PostForm
	q := acts.JobRequest{ID: f.Get("id"), Apprentice: f.Get("apprentice"), Task: f.Get("task"), Vehicle: f.Get("vehicle"), WorkOrder: strings.TrimSpace(f.Get("work_order")),
		Site: f.Get("site"), Bay: strings.TrimSpace(f.Get("bay")), Setting: f.Get("setting"), Watch: f.Get("watch") != ""}
	if !q.Watch {
		q.Apprentice = personFrom(r.Context()).ID
	}
	if q.Vehicle == otherCar {
		q.Vehicle = ""
	}
	zone, err := s.zoneOf(r.Context(), q.Site)
	if err != nil {
		return q, err
	}
	q.Planned, err = localTime("planned", f.Get("planned"), zone)
	return q, err
}

func (s *Server) ask(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	if r.PostForm.Get("vehicle") == otherCar {
		return s.askCar(w, r)
	}
	q, err := s.jobRequest(r)
	if err != nil {
		return s.askForm(w, r, r.PostForm, err)
	}
	j, err := s.acts.AskJob(r.Context(), personFrom(r.Context()), q)
	if err != nil {
		return s.askForm(w, r, r.PostForm, err)
	}
	return s.asked(w, r, j)
}

func (s *Server) asked(w http.ResponseWriter, r *http.Request, j *store.Job) error {
	if j.Status == store.JobWatching {
		return seeOther(w, r, "/jobs/"+j.ID, "job_taken")
	}
	return seeOther(w, r, "/jobs/"+j.ID, "job_asked")
}

// ---- a car described on the spot ----

// askCarPage describes a car: what it is first, then the limits that will be measured and where they were read.
type askCarPage struct {
	BasePage
	Task     string
	Watch    bool
	Hidden   []choice // fields of the first page
	Layouts  []choice
	Features []choice
	Wheels   []carWheelView
	Orders   []carOrderView
	Limits   []carLimitView // empty until the car is described
	Ready    bool           // the second half is shown
}

type carWheelView struct {
	Name     string
	Features []featureView
}

type featureView struct {
	Value, Text string
	Chosen      bool
}

type carOrderView struct{ Name, Text, Value, Error string }

type carLimitView struct {
	Key, Text           string
	Kind                string // "at least", "at most", "between", ""
	Value, High, Source string
	Unit                string
	Units               []string
	Range               bool
	Error               string
}

func (askCarPage) template() string { return "ask_car" }

// askCar takes a description: the button "limits" goes on to the limits, "ask" asks for the job.
func (s *Server) askCar(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	f := r.PostForm
	if p.Task(f.Get("task")) == nil {
		return s.askForm(w, r, f, failure{status: http.StatusUnprocessableEntity, code: "task_needed", field: "task"})
	}
	car := carFrom(p, f)
	var problem error
	switch f.Get("step") {
	case "limits":
		if _, problems := car.Vehicle(p); curriculum.HasErrors(problems) {
			problem = carProblems(problems)
		}
	case "ask":
		q, err := s.jobRequest(r)
		if err != nil {
			problem = err
			break
		}
		q.Vehicle, q.Car = "", &car
		j, err := s.acts.AskJob(r.Context(), personFrom(r.Context()), q)
		if err == nil {
			return s.asked(w, r, j)
		}
		problem = err
	}
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	status := http.StatusOK
	if problem != nil {
		if status, err = b.refused(w, problem, carFields(car)...); err != nil {
			return err
		}
	}
	b.Form = f
	return s.render(w, r, status, newAskCarPage(b, p, car, f.Get("step")))
}

func carProblems(problems []curriculum.Problem) error {
	r := &acts.Refusal{Code: "car_problems", Status: http.StatusUnprocessableEntity, Field: "car"}
	for _, x := range problems {
		if x.Severity == curriculum.Error {
			r.Problems = append(r.Problems, acts.Refusal{Code: "car_" + strings.TrimPrefix(x.Code, "car_"), Args: x.Args, Field: "car." + x.Args["field"]})
		}
	}
	return r
}

// carFields are the fields of a described car that a problem may name, as acts names them.
func carFields(c curriculum.Car) []string {
	out := []string{"car.title", "car.layout", "car.features", "car.wheels"}
	for i := range c.Figures {
		for _, f := range []string{"", ".key", ".value", ".high", ".unit", ".limit", ".source"} {
			out = append(out, "car.figures["+itoa(i)+"]"+f)
		}
	}
	for name := range c.Orders {
		out = append(out, "car.orders."+name)
	}
	return out
}

func newAskCarPage(b BasePage, p *curriculum.Programme, car curriculum.Car, step string) askCarPage {
	b.Title = "Describe the car"
	page := askCarPage{BasePage: b, Task: taskTitle(p, b.Value("task")), Watch: b.Value("watch") != "", Layouts: layoutChoices(p)}
	for _, k := range askFields {
		if b.Form.Has(k) && k != "vehicle" && k != "work_order" {
			page.Hidden = append(page.Hidden, choice{k, b.Value(k)})
		}
	}
	blank := !b.Form.Has("step")
	for _, f := range carFeatures(p) {
		page.Features = append(page.Features, choice{f, featureName(f)})
	}
	for _, w := range wheelNames(p) {
		v := carWheelView{Name: w}
		for _, f := range wheelFeatures(p) {
			chosen := slices.Contains(b.Form["wheel-"+w], f)
			if blank {
				chosen = usualFeature(p, w, f)
			}
			v.Features = append(v.Features, featureView{f, featureName(f), chosen})
		}
		page.Wheels = append(page.Wheels, v)
	}
	for _, o := range orderNames(p) {
		page.Orders = append(page.Orders, carOrderView{Name: o, Text: readable(o), Value: b.Value("order-" + o), Error: b.Err("car.orders." + o)})
	}
	if page.Ready = (step == "limits" || step == "ask") && !(step == "limits" && len(b.Errors)+len(b.Problem) > 0); !page.Ready {
		return page
	}
	page.Limits = limitViews(b, p, car)
	return page
}

// limitViews lists what the steps of the task measure on this car.
func limitViews(b BasePage, p *curriculum.Programme, car curriculum.Car) []carLimitView {
	t := p.Task(b.Value("task"))
	if t == nil {
		return nil
	}
	var out []carLimitView
	for _, n := range p.Needed(t.Lessons, car) {
		v := carLimitView{Key: n.Key, Text: figureName(p, n.Key), Range: n.Limit == curriculum.Range,
			Value: b.Value("value-" + n.Key), High: b.Value("high-" + n.Key), Source: b.Value("source-" + n.Key), Unit: b.Value("unit-" + n.Key), Units: unitsLike(n.Unit)}
		switch n.Limit {
		case curriculum.Minimum:
			v.Kind = "at least"
		case curriculum.Maximum:
			v.Kind = "at most"
		case curriculum.Range:
			v.Kind = "between"
		}
		if v.Unit == "" {
			v.Unit = string(n.Unit)
		}
		for i, f := range car.Figures {
			if f.Key != n.Key {
				continue
			}
			prefix := "car.figures[" + itoa(i) + "]"
			for field, text := range b.Errors {
				if strings.HasPrefix(field, prefix) {
					v.Error = text
				}
			}
		}
		out = append(out, v)
	}
	return out
}

// figureName is what a sheet of the programme calls a figure.
func figureName(p *curriculum.Programme, key string) string {
	for _, v := range p.Vehicles {
		if f, ok := v.Figure(key, ""); ok {
			return f.Quantity.Plain()
		}
	}
	return strings.ReplaceAll(key, ".", " ")
}

// carFrom reads a described car from a form. Limits without a value are left out: the maker's service information governs.
func carFrom(p *curriculum.Programme, f url.Values) curriculum.Car {
	c := curriculum.Car{Title: strings.TrimSpace(f.Get("title")), Layout: f.Get("layout"), Features: f["feature"]}
	for _, w := range wheelNames(p) {
		c.Wheels = append(c.Wheels, curriculum.CarWheel{Name: w, Features: f["wheel-"+w]})
	}
	for _, o := range orderNames(p) {
		if names := strings.Fields(strings.NewReplacer(",", " ", ";", " ", ">", " ").Replace(strings.ToUpper(f.Get("order-" + o)))); len(names) > 0 {
			if c.Orders == nil {
				c.Orders = map[string][]string{}
			}
			c.Orders[o] = names
		}
	}
	t := p.Task(f.Get("task"))
	if t == nil || f.Get("step") != "ask" {
		return c
	}
	for _, n := range p.Needed(t.Lessons, c) {
		value := strings.TrimSpace(f.Get("value-" + n.Key))
		if value == "" && strings.TrimSpace(f.Get("high-"+n.Key)) == "" {
			continue
		}
		n.Value, n.High, n.Source = value, strings.TrimSpace(f.Get("high-"+n.Key)), strings.TrimSpace(f.Get("source-"+n.Key))
		if u := f.Get("unit-" + n.Key); u != "" {
			n.Unit = curriculum.Unit(u)
		}
		c.Figures = append(c.Figures, n)
	}
	return c
}

// What the programme's sheets know of cars: the union over all sheets, in the order of first appearance.

func layoutChoices(p *curriculum.Programme) []choice {
	var out []choice
	for _, v := range p.Vehicles {
		c := choice{v.Layout, readable(v.Layout)}
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

func carFeatures(p *curriculum.Programme) []string {
	var out []string
	for _, v := range p.Vehicles {
		out = appendNew(out, v.Features...)
	}
	return out
}

func wheelNames(p *curriculum.Programme) []string {
	var out []string
	for _, v := range p.Vehicles {
		for _, w := range v.Wheels {
			out = appendNew(out, w.Name)
		}
	}
	return out
}

func wheelFeatures(p *curriculum.Programme) []string {
	var out []string
	for _, v := range p.Vehicles {
		for _, w := range v.Wheels {
			out = appendNew(out, w.Features...)
		}
	}
	return out
}

func orderNames(p *curriculum.Programme) []string {
	var out []string
	for _, v := range p.Vehicles {
		names := make([]string, 0, len(v.Orders))
		for o := range v.Orders {
			names = append(names, o)
		}
		slices.Sort(names)
		out = appendNew(out, names...)
	}
	return out
}

// usualFeature says whether the first sheet that has this wheel gives it a feature.
func usualFeature(p *curriculum.Programme, wheel, feature string) bool {
	for _, v := range p.Vehicles {
		for _, w := range v.Wheels {
			if w.Name == wheel {
				return slices.Contains(w.Features, feature)
			}
		}
	}
	return false
}

func appendNew(list []string, more ...string) []string {
	for _, m := range more {
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}
