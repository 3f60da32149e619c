// Package templates holds what the pages are made of: HTML templates (layout.tmpl, one file a page, partials that begin
// with _) and the static files they load (CSS, JavaScript, pictures), all embedded. No build step, nothing from outside.
package templates

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"
)

// Pages holds the templates.
//
//go:embed *.tmpl
var Pages embed.FS

//go:embed static
var static embed.FS

// Assets are the static files with the hash of their content in their address, so that browsers may keep them for ever.
type Assets struct {
	files map[string]asset
}

type asset struct {
	bytes       []byte
	hash        string // 16 hex digits
	contentType string
}

// LoadAssets reads the embedded static files.
func LoadAssets() (*Assets, error) {
	a := &Assets{files: map[string]asset{}}
	err := fs.WalkDir(static, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := static.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		ct := mime.TypeByExtension(path.Ext(name))
		if ct == "" {
			ct = "application/octet-stream"
		}
		a.files[strings.TrimPrefix(name, "static/")] = asset{bytes: b, hash: hex.EncodeToString(sum[:8]), contentType: ct}
		return nil
	})
	return a, err
}

// Path is the address of a static file. It panics on a name that is not there: a template's mistake, found by its test.
func (a *Assets) Path(name string) string {
	f, ok := a.files[name]
	if !ok {
		panic("templates: no static file " + name)
	}
	return "/static/" + name + "?v=" + f.hash
}

// Serve answers with a static file; found is false, and nothing written, if there is none of that name.
func (a *Assets) Serve(w http.ResponseWriter, r *http.Request, name string) (found bool) {
	f, ok := a.files[name]
	if !ok {
		return false
	}
	h := w.Header()
	h.Set("Content-Type", f.contentType)
	h.Set("ETag", `"`+f.hash+`"`)
	if r.URL.Query().Get("v") == f.hash {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	} else {
		h.Set("Cache-Control", "no-cache")
	}
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(f.bytes))
	return true
}
