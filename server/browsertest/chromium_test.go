// Package browsertest drives a real Chromium against a real server: the main job as all three people through the pages
// themselves, at the size of a phone and of a desk; once without JavaScript, once by keyboard alone. Every page on the way is
// held to the rules of check.js.
package browsertest

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
)

// chromiums are the names under which the browser is installed; .ci/install looks for the same.
var chromiums = []string{"chromium", "chromium-browser", "google-chrome"}

// chromium is one browser process for all tests; each visitor has a browser context of their own in it, with cookies and
// storage of its own.
var chromium struct {
	once sync.Once
	ctx  context.Context
	stop func()
	err  error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if chromium.stop != nil {
		chromium.stop()
	}
	os.Exit(code)
}

// startChromium gives the browser's context, starting it at the first call. Without Chromium the test fails: what no
// browser has seen must not look tested.
func startChromium(t testing.TB) context.Context {
	t.Helper()
	chromium.once.Do(func() {
		path := ""
		for _, name := range chromiums {
			if found, err := exec.LookPath(name); err == nil {
				path = found
				break
			}
		}
		if path == "" {
			chromium.err = errors.New("the browser tests need Chromium; install it (on Debian: apt-get install chromium, or .ci/install chromium)")
			return
		}
		// A fresh profile folder is chromedp's own doing.
		options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
			chromedp.Flag("headless", "new"), chromedp.Flag("font-render-hinting", "none"))
		alloc, cancelAlloc := chromedp.NewExecAllocator(context.Background(), options...)
		ctx, cancel := chromedp.NewContext(alloc)
		chromium.ctx, chromium.stop = ctx, func() { cancel(); cancelAlloc() }
		chromium.err = chromedp.Do(ctx)
	})
	if chromium.err != nil {
		t.Fatal(chromium.err)
	}
	return chromium.ctx
}
