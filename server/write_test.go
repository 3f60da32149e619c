package server

import (
	"archive/zip"
	"bytes"
	"io/fs"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"

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
	p := c.get("/programme/write?file="+file).says(200, "What it asks", "The text")
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
