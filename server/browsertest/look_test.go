package browsertest

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

var lookFolder = flag.String("look", "", "folder to write pictures of all lessons and drawings to, for eyes")

// lookSizes are the windows in which lessons and drawings are looked at.
var lookSizes = []size{{"360", 360, 800, true}, {"1440", 1440, 900, false}}

// TestLessonsLook opens every lesson, with a car and without, on a phone and at a desk: nothing may be wider than the window or
// cut off, and no word of a drawing may come out too small to read. With -look it also writes what it sees to a folder, light, dark
// and printed.
func TestLessonsLook(t *testing.T) {
	s := newSite(t)
	for _, d := range lookSizes {
		v := s.visitAs(s.Apprentices[0], d)
		for i, l := range s.Programme.Lessons {
			for _, car := range []string{"", s.Programme.Vehicles[i%len(s.Programme.Vehicles)].ID} {
				v.goTo("/lessons/" + l.ID + "?vehicle=" + car)
				v.need()
				v.report(mustEval[[]string](v, "[...brakewrightCheck.overflow(), ...brakewrightCheck.cut(), ...brakewrightCheck.drawings()]"))
				if *lookFolder != "" {
					v.shoot(strings.Trim(l.ID+"-"+car, "-"))
				}
			}
		}
		for _, car := range s.Programme.Vehicles {
			v.goTo("/vehicles/" + car.ID)
			v.need()
			v.report(mustEval[[]string](v, "[...brakewrightCheck.overflow(), ...brakewrightCheck.cut()]"))
			if *lookFolder != "" {
				v.shoot(car.ID)
			}
		}
	}
}

// TestDrawingsLook lays out every drawing by itself: its words and callouts neither leave it nor lie over each other, none is too
// small on a phone, and the ends of the callouts' lines are inside. With -look it also writes each by itself, light, dark and printed.
func TestDrawingsLook(t *testing.T) {
	s := newSite(t)
	v := s.visit(desktop)
	v.ok(chromedp.Do(v.ctx, chromedp.Navigate("about:blank"))) // where no policy forbids style in the page
	v.need()
	for _, path := range slices.Sorted(maps.Keys(s.Programme.Pictures)) {
		for _, c := range mustEval[[]string](v, "brakewrightCheck.drawing("+quote(string(s.Programme.Pictures[path].Bytes))+")") {
			t.Errorf("%s: %s", path, c)
		}
		if *lookFolder != "" {
			v.shoot("drawing-" + strings.TrimSuffix(filepath.Base(path), ".svg"))
		}
	}
}

// goTo opens an address without holding the page to the rules of every page, which other tests do.
func (v *visitor) goTo(path string) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, patience)
	defer cancel()
	v.ok(chromedp.Do(ctx, chromedp.Navigate(v.base+path)))
	v.wait("all drawings", func() bool {
		return mustEval[bool](v, "[...document.images].every((i) => i.complete && i.naturalWidth > 0)")
	})
}

// shoot writes the page as it is, light and dark, in pieces that a viewer can show, and printed.
func (v *visitor) shoot(name string) {
	v.t.Helper()
	v.ok(os.MkdirAll(*lookFolder, 0o755)) //nolint:gosec // for everybody
	for _, scheme := range []string{"light", "dark"} {
		v.scheme(scheme)
		height := mustEval[float64](v, "document.documentElement.scrollHeight")
		const piece = 2400.0
		for i := 0; float64(i)*piece < height; i++ {
			beyond := true
			r, err := chromedp.Call(v.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{CaptureBeyondViewport: &beyond, Clip: &page.Viewport{
				Y: float64(i) * piece, Width: float64(v.size.width), Height: min(piece, height-float64(i)*piece), Scale: 1}})
			v.ok(err)
			v.write(fmt.Sprintf("%s-%s-%s-%02d.png", name, v.size.name, scheme, i+1), r.Data)
		}
	}
	v.scheme("light")
	if v.size.touch {
		return
	}
	v.scheme("dark") // paper is white, whatever the screen
	r, err := chromedp.Call(v.ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
	v.ok(err)
	v.scheme("light")
	file := v.write(name+".pdf", r.Data)
	if tool, err := exec.LookPath("pdftoppm"); err == nil { // of poppler-utils, where it is installed
		out, err := exec.Command(tool, "-r", "70", "-png", file, strings.TrimSuffix(file, ".pdf")+"-printed").CombinedOutput() //nolint:gosec // our own file
		if err != nil {
			v.t.Errorf("%s: %v %s", file, err, out)
		}
	}
}

func (v *visitor) write(name string, b []byte) string {
	v.t.Helper()
	file := filepath.Join(*lookFolder, name)
	v.ok(os.WriteFile(file, b, 0o644)) //nolint:gosec // for everybody
	return file
}
