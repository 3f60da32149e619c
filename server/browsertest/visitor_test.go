package browsertest

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// patience bounds one wait for a condition, on a machine that may be busy with other tests.
const patience = 30 * time.Second

// size is the window of a device.
type size struct {
	name          string
	width, height int64
	touch         bool
}

var (
	phone   = size{"phone", 390, 844, true}
	desktop = size{"desktop", 1440, 900, false}
)

// mostStates bounds how many states of one page are held to the long rules: a sheet has another one after each tap.
const mostStates = 4

// narrow is the narrowest window that pages must fit into (WCAG 1.4.10).
const narrow = 320

//go:embed check.js
var checkScript string

// visitor is one person at one device: a window with cookies of its own.
type visitor struct {
	t      *testing.T
	ctx    context.Context
	base   string // address of the server
	size   size
	script bool // JavaScript runs
	taps   int  // presses so far, links and buttons alike

	seen   map[string]bool // pages already held to the long rules, by path and state
	states map[string]int  // how many states of a path were

	mu         sync.Mutex
	complaints []string // of the console
	expected   []string // parts of complaints that a step brings about on purpose
}

// newVisitor opens a window. script says whether JavaScript runs in it.
func newVisitor(t *testing.T, base string, s size, script bool) *visitor {
	t.Helper()
	v := &visitor{t: t, base: base, size: s, script: script, seen: map[string]bool{}, states: map[string]int{}}
	ctx, cancel := chromedp.NewContext(startChromium(t), chromedp.WithNewBrowserContext(), chromedp.WithListener(v.listen))
	t.Cleanup(cancel)
	v.ctx = ctx
	v.ok(chromedp.Do(ctx))
	v.resize(s.width)
	v.scheme("light")
	_, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}) // of several windows each believes to be in front
	v.ok(err)
	if !script {
		_, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		v.ok(err)
	}
	return v
}

// listen keeps what the console complains about. Refused content (CSP) comes as a log entry.
func (v *visitor) listen(ev any) {
	text := ""
	switch e := ev.(type) {
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError || e.Entry.Level == log.EntryLevelWarning {
			text = fmt.Sprintf("%s: %s %s", e.Entry.Source, e.Entry.Text, e.Entry.URL)
		}
	case *runtime.EventExceptionThrown:
		text = e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			text += " " + e.ExceptionDetails.Exception.Description
		}
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			for _, a := range e.Args {
				text += " " + string(a.Value) + a.Description
			}
		}
	}
	if text != "" {
		v.mu.Lock()
		v.complaints = append(v.complaints, text)
		v.mu.Unlock()
	}
}

// heard takes the console's complaints, but for what was expected.
func (v *visitor) heard() (out []string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, c := range v.complaints {
		if i := slices.IndexFunc(v.expected, func(part string) bool { return strings.Contains(c, part) }); i >= 0 {
			v.expected = slices.Delete(v.expected, i, i+1)
			continue
		}
		out = append(out, c)
	}
	v.complaints = nil
	return out
}

// expect allows one complaint that the next step brings about on purpose: Chromium logs the status of a refused form.
func (v *visitor) expect(part string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.expected = append(v.expected, part)
}

func (v *visitor) ok(err error) {
	v.t.Helper()
	if err != nil {
		v.t.Fatalf("%s: %v", v.size.name, err)
	}
}

// resize sets the window's width.
func (v *visitor) resize(width int64) {
	v.t.Helper()
	var options []chromedp.EmulateViewportOption
	if v.size.touch {
		options = append(options, chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait)
	}
	v.ok(chromedp.Do(v.ctx, chromedp.EmulateViewport(width, v.size.height, options...)))
}

// wait waits for a condition; what names it in the message.
func (v *visitor) wait(what string, is func() bool) {
	v.t.Helper()
	end := time.NewTimer(patience)
	defer end.Stop()
	again := time.NewTicker(10 * time.Millisecond)
	defer again.Stop()
	for !is() {
		select {
		case <-end.C:
			v.t.Fatalf("%s: waited in vain for %s on %s:\n%s", v.size.name, what, v.where(), v.brief())
		case <-again.C:
		}
	}
}

// eval runs an expression in the page. Between two pages there is none to run it in.
func eval[T any](v *visitor, expression string) (T, error) {
	ctx, cancel := context.WithTimeout(v.ctx, patience)
	defer cancel()
	return chromedp.Run(ctx, chromedp.Evaluate[T](expression))
}

// mustEval is eval where the page stands still.
func mustEval[T any](v *visitor, expression string) T {
	v.t.Helper()
	x, err := eval[T](v, expression)
	if err != nil {
		v.t.Fatalf("%s: %v in %s on %s", v.size.name, err, expression, v.where())
	}
	return x
}

func quote(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err) // a string is always JSON
	}
	return string(b)
}

// where is the path and query of the page.
func (v *visitor) where() string {
	s, err := eval[string](v, "location.pathname + location.search")
	if err != nil {
		return err.Error()
	}
	return s
}

// text is what is seen of the first element of a selector, spaces made one; "" if there is none.
func (v *visitor) text(selector string) string {
	s, err := eval[string](v, "((document.querySelector("+quote(selector)+") || {}).innerText || '').replace(/\\s+/g, ' ').trim()")
	if err != nil {
		return err.Error()
	}
	return s
}

// brief is the beginning of what the page says, for messages.
func (v *visitor) brief() string {
	s := []rune(v.text("main"))
	if len(s) > 1200 {
		s = append(s[:1200], '…')
	}
	return string(s)
}

// says fails unless the page's content holds each text.
func (v *visitor) says(texts ...string) {
	v.t.Helper()
	main := v.text("main")
	for _, want := range texts {
		if !strings.Contains(main, want) {
			v.t.Fatalf("%s: %s does not say %q:\n%s", v.size.name, v.where(), want, v.brief())
		}
	}
}

// hides fails if the page's content holds one of the texts.
func (v *visitor) hides(texts ...string) {
	v.t.Helper()
	main := v.text("main")
	for _, bad := range texts {
		if strings.Contains(main, bad) {
			v.t.Fatalf("%s: %s says %q:\n%s", v.size.name, v.where(), bad, v.brief())
		}
	}
}

// open goes to an address by itself and checks the page.
func (v *visitor) open(path string) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, chromedp.Navigate(v.base+path)); err != nil {
		v.t.Fatalf("%s: open %s: %v", v.size.name, path, err)
	}
	v.check()
}

// mark remembers the page as it is, arrived says whether another one, or another state of it, has come.
const (
	mark    = `document.getElementById("status").setAttribute("data-old", "")`
	arrived = `document.readyState === "complete" && !!document.getElementById("status") && !document.querySelector("#status[data-old]")`
)

// follow does something that leads to another page or another state of this one, waits for it and checks it.
func (v *visitor) follow(what string, do func()) {
	v.t.Helper()
	mustEval[any](v, mark+"; true")
	do()
	v.wait("what comes after "+what, func() bool {
		is, err := eval[bool](v, arrived)
		return err == nil && is
	})
	v.check()
}

// find gives the JavaScript of an element by what is written on it (a link, button, summary or label) within the first element
// of a scope.
func find(scope, words string) string {
	return `[...document.querySelector(` + quote(scope) + `).querySelectorAll("a, button, summary, label")].find((e) =>
		e.checkVisibility({checkVisibilityCSS: true}) && (e.getAttribute("aria-label") || e.innerText).replace(/\s+/g, " ").trim() === ` + quote(words) + `)`
}

// point brings an element into view and gives its middle; it fails if there is none or something else lies over it.
func (v *visitor) point(what, element string) (x, y float64) {
	v.t.Helper()
	p := mustEval[struct {
		X, Y  float64
		Wrong string
	}](v, `(() => {
		const e = `+element+`;
		if (!e) return {wrong: "is not there"};
		const middle = () => { const b = e.getClientRects()[0]; return b && {x: b.left + b.width / 2, y: b.top + b.height / 2}; };
		const free = (p) => { const hit = document.elementFromPoint(p.x, p.y); return hit && (e.contains(hit) || hit.closest("label") === e) ? "" : "lies under " + (hit ? hit.outerHTML.slice(0, 200) : "nothing"); };
		let p = middle();
		if (!p) return {wrong: "is not shown"};
		if (free(p)) { e.scrollIntoView({block: "center", behavior: "instant"}); p = middle(); }
		return {...p, wrong: e.disabled ? "is switched off" : free(p)};
	})()`)
	if p.Wrong != "" {
		v.t.Fatalf("%s: %s on %s %s:\n%s", v.size.name, what, v.where(), p.Wrong, v.brief())
	}
	return p.X, p.Y
}

// touch presses a point with a finger or a mouse, as the device has.
func (v *visitor) touch(what, element string) {
	v.t.Helper()
	x, y := v.point(what, element)
	v.taps++
	if v.size.touch {
		_, err := chromedp.Call(v.ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: x, Y: y}}})
		v.ok(err)
		_, err = chromedp.Call(v.ctx, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}})
		v.ok(err)
		return
	}
	for _, kind := range []input.DispatchMouseEventType{input.DispatchMouseEventTypeMousePressed, input.DispatchMouseEventTypeMouseReleased} {
		_, err := chromedp.Call(v.ctx, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, ClickCount: 1})
		v.ok(err)
	}
}

// press touches what has these words on it and waits for what comes of it.
func (v *visitor) press(words string) {
	v.t.Helper()
	v.pressIn("main", words)
}

func (v *visitor) pressIn(scope, words string) {
	v.t.Helper()
	what := fmt.Sprintf("“%s” in %s", words, scope)
	v.follow(what, func() { v.touch(what, find(scope, words)) })
}

// pressAt is press by a selector.
func (v *visitor) pressAt(selector string) {
	v.t.Helper()
	v.follow(selector, func() { v.touch(selector, "document.querySelector("+quote(selector)+")") })
}

// at fails unless the page's path and query match a pattern.
func (v *visitor) at(pattern string) {
	v.t.Helper()
	if got := v.where(); !regexp.MustCompile("^" + pattern + "$").MatchString(got) {
		v.t.Fatalf("%s: at %s, want %s:\n%s", v.size.name, got, pattern, v.brief())
	}
}

// unfold opens a box by its words.
func (v *visitor) unfold(scope, words string) {
	v.t.Helper()
	element := find(scope, words)
	v.touch(words, element)
	v.wait(words+" to unfold", func() bool { return mustEval[bool](v, element+".parentElement.open") })
	v.check()
}

// choose ticks a radio button or box by its selector, pressing its label as a person would.
func (v *visitor) choose(selector string) {
	v.t.Helper()
	element := "document.querySelector(" + quote(selector) + ")"
	if mustEval[bool](v, "!!("+element+" || {}).checked") {
		return
	}
	v.touch(selector, "(("+element+" || {}).labels || [])[0]")
	v.wait(selector+" to be ticked", func() bool { return mustEval[bool](v, element+".checked") })
}

// fill types into a field.
func (v *visitor) fill(selector, text string) {
	v.t.Helper()
	element := "document.querySelector(" + quote(selector) + ")"
	if !mustEval[bool](v, "!!"+element) {
		v.t.Fatalf("%s: no field %s on %s:\n%s", v.size.name, selector, v.where(), v.brief())
	}
	mustEval[any](v, element+".scrollIntoView({block: 'center', behavior: 'instant'}); "+element+".focus(); "+element+".select(); true")
	_, err := chromedp.Call(v.ctx, input.InsertText, input.InsertTextParams{Text: text})
	v.ok(err)
	v.wait(selector+" to hold the text", func() bool { return mustEval[string](v, element+".value") == text })
}

// pick chooses in a list by value. A list unfolds outside the page, so its value is set as choosing would set it.
func (v *visitor) pick(selector, value string) {
	v.t.Helper()
	got := mustEval[string](v, `(() => {
		const e = document.querySelector(`+quote(selector)+`);
		if (!e) return "(no list)";
		e.value = `+quote(value)+`;
		e.dispatchEvent(new Event("input", {bubbles: true}));
		e.dispatchEvent(new Event("change", {bubbles: true}));
		return e.value;
	})()`)
	if got != value {
		v.t.Fatalf("%s: %s on %s cannot be set to %q: %q", v.size.name, selector, v.where(), value, got)
	}
}

// key presses a key of the keyboard.
func (v *visitor) key(k string) {
	v.t.Helper()
	v.taps++
	v.ok(chromedp.Do(v.ctx, chromedp.KeyEvent(k)))
}

// tabTo walks with the Tab key to the element of a selector. Wherever the focus stops it must be seen.
func (v *visitor) tabTo(selector string) {
	v.t.Helper()
	v.need()
	if !mustEval[bool](v, "!!document.querySelector("+quote(selector)+")") {
		v.t.Fatalf("%s: nothing is %s on %s:\n%s", v.size.name, selector, v.where(), v.brief())
	}
	for range 400 {
		if mustEval[bool](v, "document.activeElement.matches("+quote(selector)+")") {
			return
		}
		v.key(kb.Tab)
		v.report(mustEval[[]string](v, "brakewrightCheck.focusSeen()"))
	}
	v.t.Fatalf("%s: the Tab key does not lead to %s on %s", v.size.name, selector, v.where())
}

var ids = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}|[0-9a-f]{64}|/[0-9]+\b`)

// need puts check.js into the page.
func (v *visitor) need() {
	v.t.Helper()
	mustEval[any](v, "window.brakewrightCheck || ("+"(() => {"+checkScript+"})()"+"); true")
}

// check holds the page to the rules: the short ones always, the long ones where page and state are new to this visitor.
func (v *visitor) check() {
	v.t.Helper()
	v.need()
	v.report(mustEval[[]string](v, "[...brakewrightCheck.structure(), ...brakewrightCheck.overflow()]"))
	path := ids.ReplaceAllString(mustEval[string](v, "location.pathname"), "·")
	state := path + mustEval[string](v, "brakewrightCheck.signature()")
	if v.seen[state] || v.states[path] == mostStates {
		return
	}
	v.seen[state] = true
	v.states[path]++
	v.report(mustEval[[]string](v, fmt.Sprintf("[...brakewrightCheck.focus(), ...brakewrightCheck.targets(%v), ...brakewrightCheck.contrast()]", v.size.touch)))
	if v.size.touch {
		v.resize(narrow)
		v.report(mustEval[[]string](v, "brakewrightCheck.overflow()"))
		v.resize(v.size.width)
	}
	v.scheme("dark")
	v.report(mustEval[[]string](v, "brakewrightCheck.contrast().map((c) => c + ' on dark')"))
	v.scheme("light")
}

// scheme sets what the device prefers, dark or light; and no motion, so that what scrolls has arrived at once.
func (v *visitor) scheme(name string) {
	v.t.Helper()
	_, err := chromedp.Call(v.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: name}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
	v.ok(err)
}

// report fails the test for each complaint, the console's too, and goes on.
func (v *visitor) report(complaints []string) {
	v.t.Helper()
	if complaints = append(complaints, v.heard()...); len(complaints) == 0 {
		return
	}
	where := v.where()
	for _, c := range complaints {
		if key := ids.ReplaceAllString(where, "·") + c; !v.seen[key] {
			v.seen[key] = true
			v.t.Errorf("%s, %s: %s", v.size.name, where, c)
		}
	}
}

// content is the whole page as it stands, with what scripts made of it.
func (v *visitor) content() string {
	v.t.Helper()
	return mustEval[string](v, "document.documentElement.outerHTML")
}
