package server

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"strings"

	"brakewright/templates"
)

// page is a page struct: it embeds [BasePage] and names its template.
type page interface{ template() string }

// pages lists every page by a zero value. Templates are parsed by this list, and a test checks each against its struct.
var pages = []page{
	openJobsPage{}, jobNumberPage{}, spotCheckPage{}, casesPage{}, newCasePage{}, casePage{},
	accountPage{}, askCarPage{}, askPage{}, boardPage{}, changesPage{}, codePage{}, decisionPage{}, entryPage{}, errorPage{}, estimatePage{}, severityPage{}, floorPage{},
	handInPage{}, importPage{}, jobPage{}, keysPage{}, ledgerPage{}, lessonPage{}, lessonsPage{}, logInCodePage{}, logInPage{}, newPersonPage{}, notesPage{},
	nextPage{}, peoplePage{}, personPage{}, duePage{}, erasePage{}, questionsPage{}, questionStatisticPage{}, voidPage{}, editionPage{}, draftPage{}, writePage{}, practicePage{}, previewPage{}, previewLessonPage{}, previewVehiclePage{}, programmePage{}, questionPage{}, recordPage{}, resultPage{}, signPage{}, standingPage{},
	unwatchedPage{}, startTestPage{}, vehiclePage{}, waitingPage{}, welcomePage{},
	correctPage{}, recognisePage{}, mattersPage{}, waiversPage{},
}

// views are the parsed templates, one tree a page: layout, partials and the page itself.
type views struct {
	byName map[string]*template.Template
}

// viewFunctions are the functions that templates may call.
func viewFunctions(a *templates.Assets) template.FuncMap {
	return template.FuncMap{
		"asset":   a.Path,
		"invalid": invalid,
		"mark":    standingMark,
		"add":     func(a, b int) int { return a + b },
		"newid":   newID,
		"fault":   func(id, message string) faultView { return faultView{ID: id, Message: message} },
	}
}

// faultView is the message by a field.
type faultView struct{ ID, Message string }

// invalid is the attributes of an input that has, or has not, a message beside it.
func invalid(id, message string) template.HTMLAttr {
	if message == "" {
		return ""
	}
	return template.HTMLAttr(`aria-invalid="true" aria-describedby="` + template.HTMLEscapeString(id) + `-error"`)
}

func parseViews(a *templates.Assets) (*views, error) {
	v := &views{byName: map[string]*template.Template{}}
	partials, err := fs.Glob(templates.Pages, "_*.tmpl")
	if err != nil {
		return nil, err
	}
	shared, err := template.New("layout.tmpl").Funcs(viewFunctions(a)).ParseFS(templates.Pages, append([]string{"layout.tmpl"}, partials...)...)
	if err != nil {
		return nil, err
	}
	for _, p := range pages {
		name := p.template()
		t, err := shared.Clone()
		if err != nil {
			return nil, err
		}
		if t, err = t.ParseFS(templates.Pages, name+".tmpl"); err != nil {
			return nil, err
		}
		v.byName[name] = t
	}
	return v, nil
}

// render writes a page: first to a buffer, so that no half page ever leaves.
func (s *Server) render(w http.ResponseWriter, r *http.Request, status int, p page) error {
	t, ok := s.views.byName[p.template()]
	if !ok {
		return fmt.Errorf("server: page %s is not in the list of pages", p.template())
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "layout.tmpl", p); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	if h.Get("Cache-Control") == "" {
		h.Set("Cache-Control", "no-store")
	}
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		w.Write(b.Bytes()) //nolint:errcheck // the client is gone; nothing is left to do
	}
	return nil
}

// seeOther answers a change with 303 to a path, with a notice that the next page reads out.
func seeOther(w http.ResponseWriter, r *http.Request, path, notice string) error {
	http.Redirect(w, r, withNotice(path, notice), http.StatusSeeOther)
	return nil
}

// withNotice adds a notice's code to an address, before its anchor.
func withNotice(path, notice string) string {
	if notice == "" {
		return path
	}
	path, anchor, found := strings.Cut(path, "#")
	sep := "?"
	if strings.Contains(path, "?") {
		sep = "&"
	}
	path += sep + "notice=" + notice
	if found {
		path += "#" + anchor
	}
	return path
}

// form parses a posted form.
func form(r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	return nil
}

func badForm(err error) error {
	if f := failureOf(err); f.status == http.StatusRequestEntityTooLarge {
		return err
	}
	return failure{status: http.StatusBadRequest, code: "bad_form", cause: err}
}
