package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

var pictures = flag.String("pictures", "", "folder to write the README's screenshots to")

// shot is one screenshot: who looks, at what, and how big the window is.
type shot struct {
	name, login   string
	path          func(k *client) string
	width, height int64
	ready         string // selector of something that must be there
	top           string // selector of what the picture begins with; "" is the page's own top
}

const (
	phone   = 390
	desktop = 1440 // where the board has a column for each task
)

// TestPictures makes the README's screenshots of a demonstration. Without -pictures it only sees to it that those which
// the README shows are there and small.
func TestPictures(t *testing.T) {
	if *pictures != "" {
		takePictures(t, *pictures)
	}
	files, err := filepath.Glob("../../testdata/pictures/*.webp")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d pictures, %v: make pictures", len(files), err)
	}
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		if info.Size() > 120<<10 {
			t.Errorf("%s has %d bytes: keep it below 120 KiB", f, info.Size())
		}
	}
}

func takePictures(t *testing.T, dir string) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o755); err != nil { //nolint:gosec // pictures are for everybody
		t.Fatal(err)
	}
	db := filepath.Join(t.TempDir(), "demo.db")
	file := db + ".json"
	p := start(t, "demo", "--database", db, "--listen", "127.0.0.1:0", "--seed", "1", "--as-of", "2030-05-02", "--credentials", file)
	people := map[string]struct{ id, password string }{}
	for _, who := range readCredentials(t, file).People {
		people[who.Login] = struct{ id, password string }{who.ID, who.Password}
	}
	first := func(k *client, path, key string) string {
		t.Helper()
		list, _ := k.must(t, "GET", path, nil)["list"].([]any)
		if len(list) == 0 {
			t.Fatalf("%s: nothing to show", path)
		}
		return list[0].(obj)[key].(string)
	}
	at := func(path string) func(*client) string { return func(*client) string { return path } }
	shots := []shot{
		{"lesson", "juniper", at("/lessons/bleed-two-person?vehicle=trainer-a"), phone, 780, "main", "[id^='procedure/']"},
		{"question", "magnus", func(k *client) string { return "/tests/" + first(k, "/tests?open=1", "id") + "/questions/5" }, phone, 780, "form", "main"},
		{"watch", "oswin", func(k *client) string {
			return "/jobs/" + first(k, "/jobs?status=watching&supervisor="+people["oswin"].id, "id")
		}, phone, 780, "form", "main h2"},
		{"sign", "berta", at("/sign"), phone, 780, "form", "main"},
		{"standing", "caspar", func(*client) string { return "/people/" + people["caspar"].id + "/tasks/caliper" }, phone, 780, "main", "main"},
		{"board", "edda", at("/board"), desktop, 860, "table", ""},
	}
	for _, s := range shots {
		func() {
			ctx, cancel := browser(t)
			defer cancel()
			k := logIn(t, p.address, s.login, people[s.login].password)
			err := chromedp.Do(ctx,
				chromedp.EmulateViewport(s.width, s.height, chromedp.EmulateScale(1.5)),
				chromedp.Navigate(p.address+"/login"),
				chromedp.SendKeys(chromedp.ID("login"), s.login),
				chromedp.SendKeys(chromedp.ID("password"), people[s.login].password),
				chromedp.Submit(chromedp.ID("password")),
				chromedp.WaitVisible(chromedp.CSS("nav")),
				chromedp.Navigate(p.address+s.path(k)),
				chromedp.WaitVisible(chromedp.CSS(s.ready)),
			)
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			if s.top != "" {
				if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](fmt.Sprintf("document.querySelector(%q).scrollIntoView({behavior: 'instant'})", s.top))); err != nil {
					t.Fatalf("%s: %v", s.name, err)
				}
			}
			b, err := chromedp.Run(ctx, webp)
			if err != nil {
				t.Fatalf("%s: %v", s.name, err)
			}
			if err := os.WriteFile(filepath.Join(dir, s.name+".webp"), b, 0o644); err != nil { //nolint:gosec // for everybody
				t.Fatal(err)
			}
		}()
	}
	p.stop(t)
}

// webp captures what the window shows.
func webp(ctx context.Context, t *chromedp.Target) ([]byte, error) {
	quality := int64(60)
	r, err := cdp.Call(ctx, t, page.CaptureScreenshot, page.CaptureScreenshotParams{Format: page.CaptureScreenshotFormatWebp, Quality: &quality})
	return r.Data, err
}

// browser opens a Chromium with a profile of its own.
func browser(t *testing.T) (context.Context, context.CancelFunc) {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.UserDataDir(t.TempDir()))
	if os.Getuid() == 0 {
		options = append(options, chromedp.NoSandbox) // Chromium refuses to run as root otherwise
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(allocator)
	ctx, timeout := context.WithTimeout(ctx, time.Minute)
	return ctx, func() { timeout(); cancel(); stop() }
}
