package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"catchlight/cmd/live"
)

// chromium starts a browser that a test's tabs come from; the test is skipped where none is installed.
func chromium(t testing.TB) context.Context {
	t.Helper()
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		p, err := exec.LookPath(n)
		if err != nil {
			continue
		}
		alloc, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(p), chromedp.NoSandbox)...)
		t.Cleanup(stop)
		ctx, cancel := chromedp.NewContext(alloc)
		t.Cleanup(cancel)
		require.NoError(t, chromedp.Run(ctx)) // before any deadline, which would end the browser with the tab
		return ctx
	}
	t.Skip("there is no Chromium on this machine to show the page in")
	return nil
}

// tabOf opens an address in a tab of its own. Faults of the page's script, and whatever it asks of other places, are the test's.
func tabOf(t *testing.T, browser context.Context, address string) context.Context {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Run(ctx))
	base, _, _ := strings.Cut(address, "?")
	chromedp.ListenTarget(ctx, func(e any) {
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("the page's script: %s", e.ExceptionDetails.Error())
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, base) && !strings.HasPrefix(u, "data:") {
				t.Errorf("the page asks for %s", u)
			}
		}
	})
	ctx, cancel = context.WithTimeout(ctx, time.Minute)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Run(ctx, chromedp.Navigate(address), chromedp.WaitReady("body[data-connected=yes]"), chromedp.WaitReady("#frame[data-traced]")))
	return ctx
}

// pollUntil waits for a script to say yes.
func pollUntil(t *testing.T, ctx context.Context, script string) {
	t.Helper()
	var yes bool
	require.NoError(t, chromedp.Run(ctx, chromedp.Poll(script, &yes, chromedp.WithPollingInterval(20*time.Millisecond), chromedp.WithPollingTimeout(20*time.Second))), script)
}

// Page, server and engine together: a value that is typed shows in the picture and in another tab, undo takes it back, a page that is
// loaded again goes on, Save writes the file, and another site's page can't reach any of it.
func TestWholePage(t *testing.T) {
	p := openPage(t, func() engine { return live.New(live.Options{Workers: 1}) })
	browser := chromium(t)
	a, b := tabOf(t, browser, p.address), tabOf(t, browser, p.address)
	const exposure = `div.dial[data-keys="view.exposure"] input[type=text]`
	value := func(x string) string { return `document.querySelector('` + exposure + `')?.value === "` + x + `"` }
	const middle = `(() => { const c = document.getElementById("picture"); return c.getContext("2d").getImageData(c.width/4, c.height/2, 1, 1).data[0]; })()`
	var before, after int
	pollUntil(t, a, value("1"))
	require.NoError(t, chromedp.Run(a, chromedp.Evaluate(middle, &before),
		chromedp.Evaluate(`(e => { e.focus(); e.select(); })(document.querySelector('`+exposure+`'))`, nil), chromedp.KeyEvent("-2.5"+kb.Enter)))
	pollUntil(t, a, `document.getElementById("unsaved").textContent.startsWith("1 key")`)
	pollUntil(t, b, value("-2.5"))
	pollUntil(t, a, middle+` < `+"100")
	require.NoError(t, chromedp.Run(a, chromedp.Evaluate(middle, &after)))
	require.Less(t, after, before, "darker")
	require.NoError(t, chromedp.Run(b, chromedp.Click("#undo")))
	pollUntil(t, a, value("1"))
	require.NoError(t, chromedp.Run(a, chromedp.Click("#redo")))
	pollUntil(t, b, value("-2.5"))
	require.NoError(t, chromedp.Run(a, chromedp.Reload(), chromedp.WaitReady("#frame[data-traced]")))
	pollUntil(t, a, value("-2.5"))
	data, err := os.ReadFile(p.file)
	require.NoError(t, err)
	require.Equal(t, floats, string(data), "nothing is written unasked")
	require.NoError(t, chromedp.Run(a, chromedp.Click("#save")))
	pollUntil(t, b, `document.getElementById("unsaved").textContent === "as saved"`)
	data, err = os.ReadFile(p.file)
	require.NoError(t, err)
	require.Equal(t, strings.Replace(floats, "exposure: 1", "exposure: -2.5", 1), string(data))

	// A page of another port of the same machine: the browser sends it the cookie, and would send it along.
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "<!doctype html><title>tide</title>") }))
	defer other.Close()
	require.NoError(t, chromedp.Run(b, chromedp.Navigate("about:blank")))
	ctx, cancel := chromedp.NewContext(browser)
	defer cancel()
	require.NoError(t, chromedp.Run(ctx, chromedp.Navigate(other.URL)))
	for _, what := range []string{`/state", {credentials: "include"}`, `/state", {credentials: "include", mode: "no-cors"}`, `/live.js", {credentials: "include"}`,
		`/set", {method: "POST", credentials: "include", headers: {"Content-Type": "application/json"}, body: '` + setExposure + `'}`,
		`/set", {method: "POST", credentials: "include", mode: "no-cors", body: '` + setExposure + `'}`} {
		var said string
		reach := `(async () => { try { const r = await fetch("` + p.base + what + `); return r.type + r.status + await r.text(); } catch (e) { return "refused"; } })()`
		require.NoError(t, chromedp.Run(ctx, chromedp.Evaluate(reach, &said, func(e *runtime.EvaluateParams) *runtime.EvaluateParams { return e.WithAwaitPromise(true) })))
		require.Equal(t, "refused", said, what)
	}
	_, s := p.ask("GET", "/state", "")
	require.Equal(t, -2.5, s["values"].(map[string]any)["view.exposure"])
}
