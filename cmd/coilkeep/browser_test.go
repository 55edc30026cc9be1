package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browserWait bounds every wait for a page.
const browserWait = 15 * time.Second

// tab is a page in a real browser. What the page complains of, and what it asks
// of others than the daemon, fails the test.
type tab struct {
	t      testing.TB
	ctx    context.Context
	origin string

	// typedAt is when the last key was pressed, in seconds since 1970.
	typedAt float64

	mu sync.Mutex
	// refusals is true while the daemon is expected not to answer.
	refusals bool
	faults   []string
}

// theBrowser is one browser for all tests of a run: to start one takes more of
// the processor than most tests do in it.
var theBrowser struct {
	once  sync.Once
	ctx   context.Context
	close func() error // nil when no test asked for a browser
	err   error
}

// startBrowser starts the browser.
func startBrowser() {
	program, err := exec.LookPath("chromium")
	if err != nil {
		theBrowser.err = err
		return
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(), chromedp.ExecPath(program), chromedp.Headless,
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck,
		chromedp.WindowSize(1366, 768), chromedp.WSURLReadTimeout(time.Minute),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("disable-background-timer-throttling", true), chromedp.Flag("disable-renderer-backgrounding", true),
		chromedp.Flag("disable-backgrounding-occluded-windows", true), chromedp.Flag("disable-dev-shm-usage", true))
	ctx, leave := chromedp.NewContext(allocator)
	theBrowser.ctx = ctx
	theBrowser.close = func() error {
		err := chromedp.Cancel(ctx)
		leave()
		stop()
		return err
	}
	theBrowser.err = chromedp.Do(ctx)
}

// openTab opens the daemon's page at path, in a window that shares no cookies,
// no storage and no cache with another test's. It skips the test without a
// browser, except where CI promises one.
func openTab(t testing.TB, origin, path string) *tab {
	t.Helper()
	theBrowser.once.Do(startBrowser)
	switch {
	case errors.Is(theBrowser.err, exec.ErrNotFound) && os.Getenv("CI") != "true":
		t.Skip("there is no chromium here")
	case theBrowser.err != nil:
		t.Fatalf("start the browser: %v", theBrowser.err)
	}
	ctx, leave := chromedp.NewContext(theBrowser.ctx, chromedp.WithNewBrowserContext())
	b := &tab{t: t, ctx: ctx, origin: origin}
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil {
			t.Errorf("close the page: %v", err)
		}
		leave()
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, fault := range b.faults {
			t.Errorf("the page: %s", fault)
		}
	})
	if err := chromedp.Listen(ctx, b.heard); err != nil {
		t.Fatalf("open a window of the browser: %v", err)
	}
	// It is at work in each window as if that were the one in front.
	if _, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument,
		page.AddScriptToEvaluateOnNewDocumentParams{Source: countTones}); err != nil {
		t.Fatal(err)
	}
	b.open(path)
	return b
}

// countTones has the page count the notes it plays.
const countTones = `window.tones = 0;
const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () { window.tones++; return make.call(this); };`

// heard notes what must not happen.
func (b *tab) heard(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		b.faults = append(b.faults, "exception: "+fmt.Sprint(e.ExceptionDetails.Text, " ", e.ExceptionDetails.Exception))
	case *runtime.EventConsoleAPICalled:
		b.faults = append(b.faults, fmt.Sprintf("console.%s", e.Type))
	case *log.EventEntryAdded:
		// A refusal by the daemon is shown to the person; the browser logs it too.
		refused := strings.Contains(e.Entry.Text, "status of 409") || strings.Contains(e.Entry.Text, "status of 422")
		if e.Entry.Source == log.EntrySourceNetwork && (refused || b.refusals) {
			return
		}
		b.faults = append(b.faults, fmt.Sprintf("%s: %s %s", e.Entry.Level, e.Entry.Text, e.Entry.URL))
	case *network.EventRequestWillBeSent:
		// What a browser draws on a date field is a data address of its own: no
		// request leaves the machine for it.
		if !strings.HasPrefix(e.Request.URL, b.origin+"/") && !strings.HasPrefix(e.Request.URL, "data:") {
			b.faults = append(b.faults, "asked another origin: "+e.Request.URL)
		}
	}
}

// expectRefusals is called before the daemon goes.
func (b *tab) expectRefusals() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.refusals = true
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, browserWait)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// open goes to a page of the daemon.
func (b *tab) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.origin + path))
}

// wait waits until an expression of JavaScript is true.
func (b *tab) wait(what, expression string) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, browserWait+5*time.Second)
	defer cancel()
	_, err := chromedp.Run(ctx, chromedp.Poll[chromedp.Void]("!!("+expression+")",
		chromedp.WithPollingInterval(20*time.Millisecond), chromedp.WithPollingTimeout(browserWait)))
	if err != nil {
		b.t.Fatalf("waited in vain for %s: %v\n%s", what, err, evaluate[string](b, "document.body.innerText"))
	}
}

// waitText waits until an element holds a text.
func (b *tab) waitText(selector, text string) {
	b.t.Helper()
	b.wait(fmt.Sprintf("%q in %s", text, selector),
		fmt.Sprintf("document.querySelector(%q)?.textContent.includes(%q)", selector, text))
}

// press presses a button that is there and can be seen.
func (b *tab) press(selector string) {
	b.t.Helper()
	b.wait(selector, fmt.Sprintf("document.querySelector(%q)?.checkVisibility()", selector))
	evaluate[bool](b, fmt.Sprintf("(document.querySelector(%q).click(), true)", selector))
}

// keys presses keys one after the other, as slowly as a person.
func (b *tab) keys(text string) {
	b.t.Helper()
	b.typeAt(text, 70*time.Millisecond)
}

// scan types as a scanner does, with Enter at the end.
func (b *tab) scan(code string) {
	b.t.Helper()
	b.typeAt(code+"\r", 4*time.Millisecond)
}

// typeAt presses keys at a pace. The browser is told when each was pressed, so
// that a slow machine types no slower.
func (b *tab) typeAt(text string, pace time.Duration) {
	b.t.Helper()
	b.typedAt = max(float64(time.Now().UnixMicro())/1e6, b.typedAt+0.1)
	for _, r := range text {
		b.typedAt += pace.Seconds()
		key := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: string(r), Text: string(r),
			Timestamp: input.TimeSinceEpoch(b.typedAt)}
		if r == '\r' {
			key.Key, key.Code, key.WindowsVirtualKeyCode = "Enter", "Enter", 13
		}
		b.dispatch(key)
		key.Type, key.Text = input.DispatchKeyEventTypeKeyUp, ""
		b.dispatch(key)
	}
}

// key presses a key that has no text, such as Tab, Escape or F9.
func (b *tab) key(name string, code int64) {
	b.t.Helper()
	key := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeRawKeyDown, Key: name, Code: name, WindowsVirtualKeyCode: code}
	b.dispatch(key)
	key.Type = input.DispatchKeyEventTypeKeyUp
	b.dispatch(key)
}

func (b *tab) dispatch(key input.DispatchKeyEventParams) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, input.DispatchKeyEvent, key); err != nil {
		b.t.Fatal(err)
	}
}

// evaluate returns what an expression of JavaScript gives; promises are
// awaited.
func evaluate[T any](b *tab, expression string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, browserWait)
	defer cancel()
	value, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("evaluate %s: %v", expression, err)
	}
	return value
}
