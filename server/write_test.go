package server

import (
	"archive/zip"
	"bytes"
	"io/fs"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"

	"brakewright/curriculum"
	"brakewright/curriculum/brakes"
)

// send posts a file as the field "file" of a form.
func (b *browser) send(path string, content []byte) *shown {
	b.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	w, err := m.CreateFormFile("file", "programme.zip")
	if err != nil {
		b.t.Fatal(err)
	}
	if _, err := w.Write(content); err != nil {
		b.t.Fatal(err)
	}
	if err := m.Close(); err != nil {
		b.t.Fatal(err)
	}
	r, err := http.NewRequest(http.MethodPost, b.w.site.URL+path, &body)
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", m.FormDataContentType())
	return b.do(r)
}

// zipped packs the embedded programme with one file changed.
func zipped(t testing.TB, file, from, to string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	err := fs.WalkDir(brakes.FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(brakes.FS, path)
		if err != nil {
			return err
		}
		if path == file {
			content = bytes.Replace(content, []byte(from), []byte(to), 1)
		}
		w, err := z.Create("brakes/" + path)
		if err != nil {
			return err
		}
		_, err = w.Write(content)
		return err
	})
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestLessonIsWrittenInTheBrowser: written wrong, mended, looked at, adopted by signature; then a whole folder uploaded.
func TestLessonIsWrittenInTheBrowser(t *testing.T) {
	w := newPageWorld(t, nil)
	m := w.Coordinators[0]
	c := w.as(m)
	const file = "lessons/safety-induction.md"
	c.get("/programme").says(200, "Change one file", file)
	p := c.get("/programme/write?file="+file).says(200, "What it asks", "The text", "How it reads")
	f := p.form("Save the draft")
	text := f.values.Get("text")
	if !strings.HasPrefix(text, "---\n") {
		t.Fatalf("the text begins with %.20q", text)
	}

	f.set("text", strings.Replace(text, "{#", "{#!", 1)).press("").says(200, "The draft is saved.", "The draft has errors", file+", line", "How to mend it")
	draft := "/programme/drafts/" + m.ID
	if p = c.get(draft).says(200, "The draft has errors, so it cannot be adopted"); p.hasForm("Adopt this draft") {
		t.Error("a broken draft can be adopted")
	}
	c.get("/programme/write?file="+file).form("Save the draft").set("text", strings.Replace(text, "\ntitle: ", "\ntitle: Anew, ", 1)).press("").says(200, "What it asks").hides("has errors")
	c.get("/lessons").hides("Anew, ")
	w.as(w.Coordinators[1]).get("/programme").says(200, "Draft of ")
	p = c.get(draft).says(200, "is now called", "Nobody has to do anything.")
	p.form("Adopt this draft").set("passphrase", "not the passphrase").press("").says(422, "passphrase")
	p.form("Adopt this draft").set("passphrase", m.Passphrase).press("").says(200, "The edition is adopted and in use.").hides("Your draft")
	w.as(w.Apprentices[0]).get("/lessons").says(200, "Anew, ")
	c.get(draft).says(404, "no such draft")

	c.send("/programme/upload", []byte("no archive")).says(422, "no zip archive that can be read")
	c.send("/programme/upload", zipped(t, "", "", "")).says(200, "What it changes", "is now called")
	c.get("/programme/write?file=programme.yaml").says(200, "programme.yaml")
	c.get(draft).form("Throw this draft away").press("").says(200, "The draft is thrown away.")

	// Nobody else writes.
	for _, who := range []*browser{w.as(w.Apprentices[0]), w.as(w.Supervisors[0])} {
		who.get("/programme/write?file="+file).says(403, "None of your roles")
		who.get(draft).says(403, "None of your roles")
		who.send("/programme/upload", nil).says(403, "None of your roles")
	}
	c.get("/programme/write?file=../secret").says(404, "no such file")
}

// TestSupervisorWithTheAuthorRightWrites: begins a lesson from the starter, with a drawing that is new in the draft, reads it beside its
// questions, loses nothing when the session ends, and cannot adopt it.
func TestSupervisorWithTheAuthorRightWrites(t *testing.T) {
	w := newPageWorld(t, nil)
	sam, c := w.Supervisors[0], w.as(w.Coordinators[0])
	c.get("/people/"+sam.ID).form("Give the role").set("role", "supervisor").set("author", "1").set("passphrase", w.Coordinators[0].Passphrase).press("").says(200, "author")
	b := w.as(sam)
	p := b.get("/waiting").follow("Programme").says(200, "Begin a lesson", "Change one file")
	if p.hasForm("Adopt this edition") {
		t.Error("the author right adopts")
	}
	p.form("Begin").set("begin", " — ").press("").says(422, "Use letters and digits.")
	p = p.form("Begin").set("begin", "Fit a drain hose").press("").says(200, "lessons/fit-a-drain-hose.md", "id: fit-a-drain-hose")
	text := p.form("Save the draft").values.Get("text")
	p.form("Save the draft").press("").says(200, "The draft is saved.", "does not say so too") // the task does not list it yet

	const drawing = `<svg xmlns="http://www.w3.org/2000/svg"><g class="callout"><text>1</text></g></svg>`
	archive := zippedWith(t, map[string]string{"pictures/hose.svg": drawing, "pictures/bad.svg": strings.Replace(drawing, "<g", "<script/><g", 1),
		"lessons/fit-a-drain-hose.md": text + "\n## Pictures\n\n![Hose](../pictures/hose.svg)\n\n| Number | Part |\n|---|---|\n| 1 | Hose |\n"})
	b.send("/programme/upload", archive).says(200, "has errors")
	edition := curriculum.EditionOf([]byte(drawing))
	if got := b.get("/pictures/" + edition + "/pictures/hose.svg"); got.status != 200 || got.body != drawing || got.header.Get("Content-Type") != "image/svg+xml; charset=utf-8" {
		t.Errorf("the draft's drawing: %d %.80s", got.status, got.body)
	}
	w.as(w.Apprentices[0]).get("/pictures/" + edition + "/pictures/hose.svg").says(404)
	b.get("/pictures/" + curriculum.EditionOf([]byte(strings.Replace(drawing, "<g", "<script/><g", 1))) + "/pictures/bad.svg").says(404)

	// The session ends while something is written.
	const file = "lessons/safety-induction.md"
	p = b.get("/programme/write?file="+file).says(200, "The draft has errors")
	f := p.form("Save the draft").set("text", "Words <b>that</b> took an hour")
	b.client.Jar, _ = cookiejar.New(nil)
	p = f.press("").says(401, "What you wrote is here")
	if got := p.form("Save the draft").values; got.Get("text") != "Words <b>that</b> took an hour" || got.Get("file") != file {
		t.Errorf("got %v", got)
	}
	again := w.as(sam)
	again.b(p).form("Save the draft").press("").says(200, "The draft is saved.", "Words <b>that</b> took an hour")
}

// b shows a page of another browser in this one.
func (b *browser) b(p *shown) *shown {
	return &shown{b: b, status: p.status, url: p.url, body: p.body, header: p.header}
}

// zippedWith packs the embedded programme with more files.
func zippedWith(t testing.TB, more map[string]string) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	write := func(name string, content []byte) error {
		w, err := z.Create(name)
		if err == nil {
			_, err = w.Write(content)
		}
		return err
	}
	err := fs.WalkDir(brakes.FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(brakes.FS, path)
		if err != nil {
			return err
		}
		return write(path, content)
	})
	for name, content := range more {
		if err == nil {
			err = write(name, []byte(content))
		}
	}
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestUnitsOfThePerson: figures are shown as the programme says, or as the person chose in this browser.
func TestUnitsOfThePerson(t *testing.T) {
	w := newPageWorld(t, nil)
	a := w.as(w.Apprentices[0])
	const page = "/vehicles/trainer-a"
	own := a.get(page).says(200, "110 N·m").body
	a.get("/lessons/safety-induction?vehicle=trainer-a").form("Change units").set("units", "us").press("").says(200, "in these units")
	if body := a.get(page).says(200, "81.1 lbf·ft").body; body == own {
		t.Error("nothing changed")
	}
	w.as(w.Apprentices[1]).get(page).hides("81.1 lbf·ft")
	a.post("/account/units", url.Values{"units": {"parsecs"}})
	if a.get(page).body != own {
		t.Error("the programme's units do not come back")
	}
}
