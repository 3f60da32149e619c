package server

import (
	"context"
	"html/template"
	"net/http"
	"net/url"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/server/acts"
)

func (s *Server) registerLessonRoutes(r *mux.Router) {
	s.get(r, "/lessons", s.showLessons)
	s.get(r, "/lessons/{lesson}", s.showLesson)
	s.post(r, "/lessons/{lesson}/read", s.readLesson)
	s.get(r, "/vehicles/{vehicle}", s.showVehicle)
}

// lessonsPage lists the lessons by task and lets one choose the car.
type lessonsPage struct {
	BasePage
	Vehicle  string // id of the chosen one, or ""
	Car      string // its title
	Vehicles []choice
	Tasks    []lessonGroup
}

type lessonGroup struct {
	Title   string
	Lessons []lessonItem
}

type lessonItem struct {
	Path, Title string
	Minutes     int
	Read        moment // in this edition
	Changed     bool   // read, but in another edition only
}

func (lessonsPage) template() string { return "lessons" }

// readings says when a lesson was last read, by lesson and edition.
type readings map[[2]string]string

func newLessonsPage(b BasePage, p *curriculum.Programme, vehicle *curriculum.Vehicle, read readings) lessonsPage {
	b.Title = "Lessons"
	page := lessonsPage{BasePage: b, Vehicles: vehicleChoices(p)}
	if vehicle != nil {
		page.Vehicle, page.Car = vehicle.ID, vehicle.Title
	}
	for _, t := range p.Tasks {
		g := lessonGroup{Title: t.Title}
		for _, id := range t.Lessons {
			l := p.Lesson(id, "")
			if l == nil {
				continue
			}
			line := lessonItem{Path: lessonPath(id, page.Vehicle, ""), Title: l.Title, Minutes: l.Minutes}
			if on := read[[2]string{l.ID, l.Edition}]; on != "" {
				line.Read = b.clock.day(on)
			} else {
				for k := range read {
					line.Changed = line.Changed || k[0] == l.ID
				}
			}
			g.Lessons = append(g.Lessons, line)
		}
		page.Tasks = append(page.Tasks, g)
	}
	return page
}

// lessonPath is the address of a lesson for a car, at an element.
func lessonPath(lesson, vehicle, element string) string {
	u := "/lessons/" + url.PathEscape(lesson)
	if vehicle != "" {
		u += "?vehicle=" + url.QueryEscape(vehicle)
	}
	if element != "" {
		u += "#" + element
	}
	return u
}

// readings of the person who asks.
func (s *Server) readings(ctx context.Context) (readings, error) {
	evidence, err := s.store.Evidence(ctx, personFrom(ctx).ID)
	if err != nil {
		return nil, err
	}
	m := readings{}
	for _, r := range evidence {
		if r.Type == "reading" {
			m[[2]string{r.Lesson, r.Edition}] = max(r.Date, m[[2]string{r.Lesson, r.Edition}])
		}
	}
	return m, nil
}

// chosenVehicle is the vehicle sheet named in the address, nil for none; an unknown one is an error.
func chosenVehicle(r *http.Request, p *curriculum.Programme) (*curriculum.Vehicle, error) {
	id := r.FormValue("vehicle")
	if id == "" {
		return nil, nil
	}
	if v := p.Vehicle(id); v != nil {
		return v, nil
	}
	return nil, failure{status: http.StatusNotFound, code: "page_not_found"}
}

func (s *Server) showLessons(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "Lessons")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	v, err := chosenVehicle(r, p)
	if err != nil {
		return err
	}
	read, err := s.readings(r.Context())
	if err != nil {
		return err
	}
	if v != nil {
		b.set("vehicle", v.ID)
	}
	return s.render(w, r, http.StatusOK, newLessonsPage(b, p, v, read))
}

// lessonPage is a lesson for a car.
type lessonPage struct {
	BasePage
	ID, Edition string
	Vehicle     string
	Car         string
	Vehicles    []choice
	Minutes     int
	Contents    []contentLine
	HTML        template.HTML
	Read        moment // in this edition, by the person who asks
	Changed     bool   // read, but in another edition only
	MayRead     bool   // an apprentice who can note it
	MayPin      bool   // shop notes
	Units       string // in which figures are shown
	Practice    string
	VehiclePath string
}

type contentLine struct{ Anchor, Title string }

func (lessonPage) template() string { return "lesson" }

func newLessonPage(b BasePage, p *curriculum.Programme, l *curriculum.Lesson, v *curriculum.Vehicle, read readings, mayRead bool) lessonPage {
	b.Title = l.Title
	page := lessonPage{BasePage: b, ID: l.ID, Edition: l.Edition, Minutes: l.Minutes, Vehicles: vehicleChoices(p), MayRead: mayRead,
		Units: b.unitsOf(p), HTML: l.HTML(v, b.unitsOf(p), picturePath(p))}
	if v != nil {
		page.Vehicle, page.Car, page.VehiclePath = v.ID, v.Title, "/vehicles/"+url.PathEscape(v.ID)
		page.set("vehicle", v.ID)
	}
	page.Practice = "/lessons/" + url.PathEscape(l.ID) + "/practice"
	if page.Vehicle != "" {
		page.Practice += "?vehicle=" + url.QueryEscape(page.Vehicle)
	}
	for _, x := range l.Sections {
		if x.Anchor != "" {
			page.Contents = append(page.Contents, contentLine{x.Anchor, x.Title})
		}
	}
	if on := read[[2]string{l.ID, l.Edition}]; on != "" {
		page.Read = b.clock.day(on)
	}
	for k := range read {
		page.Changed = page.Changed || k[0] == l.ID && page.Read.Text == ""
	}
	return page
}

// picturePath gives the address of a drawing of the programme.
func picturePath(p *curriculum.Programme) func(string) string {
	return func(path string) string {
		edition := "-"
		if pic, ok := p.Pictures[path]; ok {
			edition = pic.Edition
		}
		return "/pictures/" + edition + "/" + (&url.URL{Path: path}).EscapedPath()
	}
}

func (s *Server) showLesson(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	l := p.Lesson(mux.Vars(r)["lesson"], r.FormValue("language"))
	if l == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	v, err := chosenVehicle(r, p)
	if err != nil {
		return err
	}
	read, err := s.readings(r.Context())
	if err != nil {
		return err
	}
	me := personFrom(r.Context())
	mayRead, err := s.may(r.Context(), me, acts.RecordReading, acts.Target{Person: me})
	if err != nil {
		return err
	}
	page := newLessonPage(b, p, l, v, read, mayRead)
	notes, err := s.acts.NotesBeside(r.Context())
	if err != nil {
		return err
	}
	if beside := noteTexts(notes, l.ID); len(beside) > 0 {
		page.HTML = l.HTMLWithNotes(v, page.Units, picturePath(p), beside)
	}
	if page.MayPin, err = s.may(r.Context(), me, acts.PinNote, acts.Target{}); err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, page)
}

func (s *Server) readLesson(w http.ResponseWriter, r *http.Request) error {
	if err := form(r); err != nil {
		return err
	}
	lesson := mux.Vars(r)["lesson"]
	if _, err := s.acts.Read(r.Context(), personFrom(r.Context()), r.PostForm.Get("id"), lesson, r.PostForm.Get("edition")); err != nil {
		return err
	}
	return seeOther(w, r, lessonPath(lesson, r.PostForm.Get("vehicle"), ""), "read")
}

// vehiclePage is a vehicle sheet.
type vehiclePage struct {
	BasePage
	HTML   template.HTML
	Layout string
}

func (vehiclePage) template() string { return "vehicle" }

func (s *Server) showVehicle(w http.ResponseWriter, r *http.Request) error {
	b, err := s.base(r, "")
	if err != nil {
		return err
	}
	p, err := s.acts.Programme(r.Context())
	if err != nil {
		return err
	}
	v := p.Vehicle(mux.Vars(r)["vehicle"])
	if v == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	b.Title = v.Title
	return s.render(w, r, http.StatusOK, vehiclePage{BasePage: b, HTML: v.HTML(b.unitsOf(p), picturePath(p)), Layout: readable(v.Layout)})
}
