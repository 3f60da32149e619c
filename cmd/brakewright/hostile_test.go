package main

import (
	"archive/zip"
	"bytes"
	"io/fs"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"brakewright/server"
	"brakewright/server/acts"
)

// TestHostileProgrammes takes a good folder with one hostile file through every way in: lint, init, upload as zip, preview. Each says which
// file and why, in the same words where there are words, and nothing is founded.
func TestHostileProgrammes(t *testing.T) {
	drawing := func(inside string) string {
		return `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">` + inside + `</svg>`
	}
	secret := filepath.Join(t.TempDir(), "secret.md")
	if err := os.WriteFile(secret, []byte("---\nid: secret\n---\nthe secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const link = "\x00link"
	for _, r := range []struct{ name, file, text, code string }{
		{"deep lists", "lessons/make-safe.md", strings.Repeat("> - ", 200) + "x\n", "nested_too_deep"},
		{"deep YAML", "programme.yaml", "title: " + strings.Repeat("[", 10000), "yaml_too_deep"},
		{"10 MB of lesson", "lessons/make-safe.md", strings.Repeat("word word\n\n", 1<<20), "file_too_large"},
		{"10 MB of drawing", "pictures/hub.svg", drawing(strings.Repeat("<g></g>", 3<<19)), "file_too_large"},
		{"NUL", "lessons/make-safe.md", "one\x00two", "nul_byte"},
		{"mixed line ends", "lessons/make-safe.md", "one\r\ntwo\rthree\n", "lone_cr"},
		{"a turned line", "lessons/make-safe.md", "one \u202Eowt\n", "bidi_control"},
		{"a turned picture", "pictures/hub.svg", drawing("<text>a\u202Eb</text>"), "bidi_control"},
		{"a script", "pictures/hub.svg", drawing("<script>alert(1)</script>"), "svg_refused"},
		{"a foreign object", "pictures/hub.svg", drawing("<foreignObject/>"), "svg_refused"},
		{"a reference outside", "pictures/hub.svg", drawing(`<use xlink:href="https://example.org/a.svg#b"/>`), "svg_outside"},
		{"an entity", "pictures/hub.svg", `<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>` + drawing("<text>&b;</text>"), "svg_doctype"},
		{"a style that fetches", "pictures/hub.svg", drawing(`<style>g{fill:url(//example.org/a)}</style>`), "svg_outside"},
		{"an attribute that fetches", "pictures/hub.svg", drawing(`<g style="fill:url(https://example.org/a)"/>`), "svg_outside"},
		{"a way out of the folder", "lessons/make-safe.md", "---\nid: make-safe\n---\n![x](../../../secret.svg)\n", "picture_outside"},
		{"a link that runs", "lessons/make-safe.md", "---\nid: make-safe\n---\n[x](javascript:alert)\n", "link_refused"},
		{"a symbolic link", "lessons/secret.md", link, "not_plain_file"},
	} {
		t.Run(r.name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.CopyFS(dir, os.DirFS("../../testdata/format")); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(dir, r.file)
			err := os.WriteFile(path, []byte(r.text), 0o600)
			if r.text == link {
				if err = os.Remove(path); err == nil {
					err = os.Symlink(secret, path)
				}
			}
			if err != nil {
				t.Fatal(err)
			}
			_, out, _ := runHere(t, "", "lint", dir, "--strict", "--format", "json")
			if !strings.Contains(out, `"file":"`+r.file+`"`) || !strings.Contains(out, `"code":"`+r.code+`"`) || strings.Contains(out, "the secret") {
				t.Errorf("lint: %.300s", out)
			}
			preview, err := server.NewPreview(dir, slog.New(slog.DiscardHandler))
			if err != nil {
				t.Fatal(err)
			}
			w := httptest.NewRecorder()
			preview.ServeHTTP(w, httptest.NewRequest("GET", "/", nil))
			if body := w.Body.String(); w.Code != 200 || !strings.Contains(body, r.file) || strings.Contains(body, "the secret") {
				t.Errorf("preview: %d %.300s", w.Code, body)
			}
			if r.text == link {
				return // a warning only: what is linked is left out
			}
			db := filepath.Join(t.TempDir(), "shop.db")
			status, _, said := runHere(t, `{"password":"`+testPassword+`","passphrase":"`+testPassphrase+`"}`, "init", "--database", db, "--key-file", db+".key",
				"--origin", "example.org/shapes", "--curriculum", dir, "--title", "Shapes", "--zone", "America/Denver", "--person", "Ada Coordinator", "--login", "ada", "--secrets-file", "-")
			if _, err := os.Stat(db); status == 0 || !strings.Contains(said, r.file+":") || err == nil {
				t.Errorf("init: %d, %v, %.300s", status, err, said)
			}
			var b bytes.Buffer
			z := zip.NewWriter(&b)
			if err := z.AddFS(os.DirFS(dir)); err != nil {
				t.Fatal(err)
			}
			if err := z.Close(); err != nil {
				t.Fatal(err)
			}
			files, err := acts.UnpackProgramme(b.Bytes())
			if err != nil {
				t.Fatal(err)
			}
			uploaded := fstest.MapFS{}
			for name, text := range files {
				uploaded[name] = &fstest.MapFile{Data: text}
			}
			p, problems := acts.LoadProgramme(fs.FS(uploaded))
			found := false
			for _, x := range problems {
				found = found || x.File == r.file && x.Code == r.code
			}
			if p != nil || !found {
				t.Errorf("upload: %v", problems)
			}
		})
	}
}
