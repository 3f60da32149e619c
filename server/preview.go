package server

import (
	"bytes"
	"errors"
	"html/template"
	"log/slog"
	"net/http"
	"net/url"
	"sync"

	"github.com/gorilla/mux"

	"brakewright/curriculum"
	"brakewright/quiz"
	"brakewright/templates"
)

// Preview serves a programme folder to its author: each lesson as it will look, for any of its vehicles, with the problems
// of the folder above it and the questions that it yields beside it. There is no log-in and nothing is stored. A page looks
// every second whether the folder has changed, and shows itself anew if so.
type Preview struct {
	folder  *folder
	log     *slog.Logger
	assets  *templates.Assets
	views   *views
	handler http.Handler

	mu   sync.Mutex
	good *curriculum.Programme // as it last loaded without errors
}

// NewPreview prepares a preview of the folder at dir.
func NewPreview(dir string, log *slog.Logger) (*Preview, error) {
	a, err := templates.LoadAssets()
	if err != nil {
		return nil, err
	}
	v, err := parseViews(a)
	if err != nil {
		return nil, err
	}
	p := &Preview{folder: newFolder(dir, nil), log: log, assets: a, views: v}
	r := mux.NewRouter()
	for path, h := range map[string]handler{
		"/": p.showIndex, "/lessons/{lesson}": p.showLesson, "/vehicles/{vehicle}": p.showVehicle,
		"/pictures/{edition}/{path:.+}": p.showPicture, "/static/{name}": p.showAsset, "/state": p.showState,
	} {
		r.Handle(path, p.handle(h)).Methods(http.MethodGet, http.MethodHead)
	}
	p.handler = (&Server{}).securityHeaders(r)
	return p, nil
}

// ServeHTTP answers one request.
func (p *Preview) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.handler.ServeHTTP(w, r) }

func (p *Preview) handle(h handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		err := h(w, r)
		var f failure
		switch {
		case err == nil:
		case errors.As(err, &f):
			http.Error(w, "There is no such page in this folder. The list of lessons is at /.", f.status)
		default:
			p.log.Error("preview", "path", r.URL.Path, "error", err.Error())
			http.Error(w, "This page could not be made: "+err.Error(), http.StatusInternalServerError)
		}
	})
}

// previewBase is what every page of a preview has.
type previewBase struct {
	BasePage
	State    string // of the folder when the page was made
	Broken   bool   // the folder has errors; what is shown is as it was before
	Never    bool   // it has had errors ever since the preview began: there is nothing to show
	Problems []problemLine
}

// base reads the folder. programme is nil if it never loaded.
func (p *Preview) base() (previewBase, *curriculum.Programme) {
	b := previewBase{State: appearance(p.folder.fsys)}
	now, problems := p.folder.load()
	p.mu.Lock()
	defer p.mu.Unlock()
	if now != nil {
		p.good = now
	}
	b.Broken, b.Never = now == nil, p.good == nil
	for _, x := range problems {
		b.Problems = append(b.Problems, newProblemLine(x))
	}
	b.Programme, b.Version, b.Wide = "Preview", "preview", true
	if p.good != nil {
		b.Programme = p.good.Title
	}
	return b, p.good
}

// previewPage lists what the folder holds.
type previewPage struct {
	previewBase
	Edition  string
	Lessons  []previewItem
	Vehicles []lessonItem
}

type previewItem struct {
	Path, Title string
	Questions   string   // without a vehicle
	Unreached   []string // titles of critical steps that no question asks about on any vehicle or none
}

func (previewPage) template() string { return "preview" }

func (p *Preview) showIndex(w http.ResponseWriter, r *http.Request) error {
	b, programme := p.base()
	b.Title = "Preview"
	page := previewPage{previewBase: b}
	if programme != nil {
		page.Edition = short(programme.Edition)
		unreached := map[string]int{}
		rows := quiz.Yield(programme)
		for _, row := range rows {
			for _, step := range row.Unreached {
				unreached[step]++
			}
		}
		for _, row := range rows {
			if row.Vehicle != "" {
				continue
			}
			l := programme.Lesson(row.Lesson, "")
			item := previewItem{Path: lessonPath(l.ID, "", ""), Title: l.Title, Questions: count(row.Questions, "question", "questions")}
			if l.Procedure != nil {
				for _, s := range l.Procedure.Steps {
					if unreached[l.ID+"/"+s.ID] > len(programme.Vehicles) {
						item.Unreached = append(item.Unreached, s.Title.Plain())
					}
				}
			}
			page.Lessons = append(page.Lessons, item)
		}
		for _, v := range programme.Vehicles {
			page.Vehicles = append(page.Vehicles, lessonItem{Path: "/vehicles/" + url.PathEscape(v.ID), Title: v.Title})
		}
	}
	return p.render(w, r, page)
}

// askedView is one question with its key, for whoever writes the lesson.
type askedView struct {
	Number   int
	Family   string
	Options  []string
	Picture  string
	Feedback feedbackView
}

// mostAsked bounds how many questions stand beside a lesson.
const mostAsked = 120

// questionsOf are the questions that a lesson yields for a car, each with its key; of very many, a draw of mostAsked.
func questionsOf(p *curriculum.Programme, l *curriculum.Lesson, v *curriculum.Vehicle) ([]askedView, error) {
	d := quiz.Draw{Seed: 1, Number: 1, Language: l.Language}
	if v != nil {
		d.Vehicle = v.ID
	}
	f, err := quiz.Generate(p, quiz.Request{Lessons: []string{l.ID}, Questions: mostAsked}, d)
	if err != nil {
		return nil, err
	}
	var out []askedView
	for i, q := range f.Questions {
		one := *f
		one.Questions = f.Questions[i : i+1]
		marks := quiz.Mark(&one, &quiz.Answers{Format: "brakewright-answers/1", Answers: map[string]quiz.Answer{}}, l.Language)
		a := askedView{Number: i + 1, Family: readable(q.Family), Feedback: newFeedbackView(p, q, nil, marks.Questions[0])}
		for _, o := range q.Options {
			a.Options = append(a.Options, o.Text)
		}
		if q.Picture != nil {
			a.Picture = "/pictures/" + q.Picture.Edition + "/" + (&url.URL{Path: q.Picture.Path}).EscapedPath()
		}
		out = append(out, a)
	}
	return out, nil
}

// previewLessonPage is a lesson for a car with its questions.
type previewLessonPage struct {
	previewBase
	ID        string
	Languages []choice
	Vehicles  []choice
	HTML      template.HTML
	Questions []askedView
	Full      bool // there may be more questions than are shown
}

func (previewLessonPage) template() string { return "preview_lesson" }

func (p *Preview) showLesson(w http.ResponseWriter, r *http.Request) error {
	b, programme := p.base()
	if programme == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	l := programme.Lesson(mux.Vars(r)["lesson"], r.FormValue("language"))
	if l == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	v, err := chosenVehicle(r, programme)
	if err != nil {
		return err
	}
	b.Title = l.Title
	b.set("language", l.Language)
	if v != nil {
		b.set("vehicle", v.ID)
	}
	page := previewLessonPage{previewBase: b, ID: l.ID, Vehicles: vehicleChoices(programme), HTML: l.HTML(v, programme.Units, picturePath(programme))}
	for _, language := range programme.Languages {
		page.Languages = append(page.Languages, choice{language, language})
	}
	if page.Questions, err = questionsOf(programme, l, v); err != nil {
		return err
	}
	page.Full = len(page.Questions) == mostAsked
	return p.render(w, r, page)
}

// previewVehiclePage is a vehicle sheet.
type previewVehiclePage struct {
	previewBase
	HTML   template.HTML
	Layout string
}

func (previewVehiclePage) template() string { return "preview_vehicle" }

func (p *Preview) showVehicle(w http.ResponseWriter, r *http.Request) error {
	b, programme := p.base()
	if programme == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	v := programme.Vehicle(mux.Vars(r)["vehicle"])
	if v == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	b.Title = v.Title
	return p.render(w, r, previewVehiclePage{previewBase: b, HTML: v.HTML(programme.Units, picturePath(programme)), Layout: readable(v.Layout)})
}

func (p *Preview) showPicture(w http.ResponseWriter, r *http.Request) error {
	_, programme := p.base()
	if programme == nil || programme.Pictures[mux.Vars(r)["path"]] == nil {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	w.Header().Set("Content-Security-Policy", picturePolicy)
	w.Header().Set("Content-Type", "image/svg+xml; charset=utf-8")
	_, err := w.Write(programme.Pictures[mux.Vars(r)["path"]].Bytes)
	return err
}

func (p *Preview) showAsset(w http.ResponseWriter, r *http.Request) error {
	if !p.assets.Serve(w, r, mux.Vars(r)["name"]) {
		return failure{status: http.StatusNotFound, code: "page_not_found"}
	}
	return nil
}

// showState names the state of the folder: it is another as soon as a file is.
func (p *Preview) showState(w http.ResponseWriter, _ *http.Request) error {
	return plain(w, appearance(p.folder.fsys))
}

func (p *Preview) render(w http.ResponseWriter, _ *http.Request, page page) error {
	var b bytes.Buffer
	if err := p.views.byName[page.template()].ExecuteTemplate(&b, "layout.tmpl", page); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	_, err := w.Write(b.Bytes())
	return err
}
