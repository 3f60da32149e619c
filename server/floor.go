package server

import (
	"net/http"
	"slices"
	"strings"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/readiness"
	"brakewright/server/acts"
	"brakewright/server/say"
	"brakewright/store"
)

func (s *Server) registerFloorRoutes(r *mux.Router) {
	s.get(r, "/floor", s.showFloor)
}

// floorPage answers: who may do this task on this car alone today?
type floorPage struct {
	BasePage
	Tasks, Vehicles, Layouts, Sites []choice
	Asked                           bool
	Task, Car                       string
	Date                            moment
	Alone, Not                      []floorLine
}

type floorLine struct {
	Name, Path string
	Standing   readiness.Standing
	Word       string
	Limits     []string
	Why        string
}

func (floorPage) template() string { return "floor" }

// floorWords say why somebody may not work alone.
var floorWords = map[string]string{
	"not_cleared":        "Not cleared for this task.",
	"lapsed":             "The clearance has lapsed.",
	"stood_down":         "Stood down.",
	"layout_not_covered": "Cleared, but not for cars with this layout.",
	"site_not_covered":   "Cleared, but not at this site.",
	"left":               "No training agreement in force.",
}

// The car of the form is a training vehicle ("vehicle:ID"), any car with a layout ("layout:ID"), or "" for any car.
const (
	carVehicle = "vehicle:"
	carLayout  = "layout:"
)

// layoutOf is the layout of the form's car and what to call the car; ok is false for a car that is not known.
func layoutOf(p *curriculum.Programme, car string) (layout, name string, ok bool) {
	if id, is := strings.CutPrefix(car, carVehicle); is {
		if v := p.Vehicle(id); v != nil {
			return v.Layout, v.Title, true
		}
		return "", "", false
	}
	if id, is := strings.CutPrefix(car, carLayout); is {
		return id, "a car with the layout " + readable(id), slices.Contains(p.Layouts(), id)
	}
	return "", "any car", car == ""
}

func newFloorPage(b BasePage, p *curriculum.Programme, sites []store.Site, f *acts.Floor, car string) floorPage {
	b.Title = "Today’s floor"
	page := floorPage{BasePage: b, Tasks: taskChoices(p), Sites: siteChoices(sites), Date: b.clock.day(b.clock.today())}
	for _, v := range vehicleChoices(p) {
		page.Vehicles = append(page.Vehicles, choice{carVehicle + v.Value, v.Text})
	}
	for _, l := range layoutChoices(p) {
		page.Layouts = append(page.Layouts, choice{carLayout + l.Value, "Another car, " + l.Text})
	}
	if f == nil {
		return page
	}
	page.Asked, page.Task, page.Car = true, taskTitle(p, f.Task), car
	siteNames := map[string]string{}
	for _, x := range sites {
		siteNames[x.ID] = x.Name
	}
	line := func(r acts.FloorRow) floorLine {
		l := floorLine{Name: personName(r.Apprentice), Path: taskPath(r.Apprentice.ID, f.Task), Standing: r.Verdict.Standing, Word: say.Standing(r.Verdict.Standing)}
		if r.Why != "" {
			l.Why = wordOr(floorWords, r.Why)
			if r.Why == "layout_not_covered" && f.Layout == "" {
				l.Why = "Cleared for cars of some layouts only: choose the car."
			}
			return l
		}
		limits := acts.LimitsOf(r.Verdict)
		limits.Until = r.Until
		l.Limits = limitLines(p, b.clock, limits, siteNames)
		return l
	}
	for _, r := range f.Alone {
		page.Alone = append(page.Alone, line(r))
	}
	for _, r := range f.Not {
		page.Not = append(page.Not, line(r))
	}
	return page
}

func (s *Server) showFloor(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	sites, err := s.store.Sites(r.Context())
	if err != nil {
		return err
	}
	q := r.URL.Query()
	if !q.Has("site") {
		q.Set("site", ownSite(personFrom(r.Context()), b.clock.today()))
	}
	for _, k := range []string{"task", "car", "site"} {
		b.set(k, q.Get(k))
	}
	layout, car, ok := layoutOf(p, q.Get("car"))
	if !ok {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	if q.Get("task") == "" {
		if err := s.acts.May(r.Context(), personFrom(r.Context()), acts.SeeFloor, acts.Target{Site: q.Get("site")}); err != nil {
			return err
		}
		return s.render(w, r, http.StatusOK, newFloorPage(b, p, sites, nil, ""))
	}
	f, err := s.acts.Floor(r.Context(), personFrom(r.Context()), q.Get("task"), layout, q.Get("site"))
	status := http.StatusOK
	if err != nil {
		if status, err = b.refused(w, err, "task", "car", "site"); err != nil {
			return err
		}
	}
	return s.render(w, r, status, newFloorPage(b, p, sites, f, car))
}
