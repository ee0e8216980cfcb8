package live

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// visit is a page in a tab of a headless Chromium.
type visit struct {
	testing.TB
	ctx context.Context
	s   *standIn
	url string
}

// browser starts one Chromium for all tests of the package, at the first call; nil where none is installed.
var browser = sync.OnceValue(func() context.Context {
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(p), chromedp.NoSandbox)
			alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
			ctx, cancel := chromedp.NewContext(alloc)
			closers = append(closers, cancel, stop)
			return ctx
		}
	}
	return nil
})

var closers []func()

func TestMain(m *testing.M) {
	code := m.Run()
	for _, c := range closers {
		c()
	}
	os.Exit(code)
}

// open shows the page of a stand-in of the server at a size, in a tab of its own; faults of its script, and whatever it asks of other places, are the
// test's.
func open(t testing.TB, width, height int64) *visit {
	t.Helper()
	all := browser()
	if all == nil {
		t.Skip("there is no Chromium on this machine to show the page in")
	}
	require.NoError(t, chromedp.Run(all)) // before any deadline, which would end the browser with the tab
	ctx, cancel := chromedp.NewContext(all)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Run(ctx))
	s := newStandIn()
	server := s.serve()
	t.Cleanup(server.CloseClientConnections)
	v := &visit{t, ctx, s, server.URL}
	chromedp.ListenTarget(ctx, func(e any) {
		switch e := e.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("the page's script: %s", e.ExceptionDetails.Error())
		case *network.EventRequestWillBeSent:
			if u := e.Request.URL; !strings.HasPrefix(u, server.URL+"/") && !strings.HasPrefix(u, "data:") {
				t.Errorf("the page asks for %s", u)
			}
		}
	})
	v.ctx, cancel = context.WithTimeout(ctx, 60*time.Second)
	t.Cleanup(cancel)
	v.do(emulation.SetDeviceMetricsOverride(width, height, 1, width < 500), chromedp.Navigate(server.URL), chromedp.WaitReady("body[data-connected=yes]"),
		chromedp.WaitReady("#frame[data-traced]"), chromedp.WaitReady("button.handle.pupil"))
	return v
}

func (v *visit) do(acts ...chromedp.Action) {
	v.Helper()
	require.NoError(v, chromedp.Run(v.ctx, acts...))
}

// eval returns what a script on the page says.
func eval[T any](v *visit, script string) (out T) {
	v.Helper()
	v.do(chromedp.Evaluate(script, &out, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	return out
}

// until waits for a script to say yes.
func (v *visit) until(script string) {
	v.Helper()
	var yes bool
	require.NoError(v, chromedp.Run(v.ctx, chromedp.Poll(script, &yes, chromedp.WithPollingInterval(20*time.Millisecond), chromedp.WithPollingTimeout(10*time.Second))), script)
}

// answered waits until the server has answered all that was sent.
func (v *visit) answered() {
	v.Helper()
	v.until(`(async () => (await import("/talk.js")).idle())()`)
}

// heard returns what was posted to a path since the last call, in order.
func (v *visit) heard(path string) (out []map[string]any) {
	v.answered()
	v.s.mu.Lock()
	defer v.s.mu.Unlock()
	for _, s := range v.s.said {
		if p, body, _ := strings.Cut(s, " "); p == path {
			var m map[string]any
			require.NoError(v, json.Unmarshal([]byte(body), &m))
			out = append(out, m)
		}
	}
	v.s.said = nil
	return out
}

// drag takes the picture at a share of its width and height to another.
func (v *visit) drag(x0, y0, x1, y1 float64, steps int, mods ...input.Modifier) {
	v.Helper()
	r := eval[[4]float64](v, `(() => { const r = document.getElementById("picture").getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
	at := func(kind input.MouseType, k float64) chromedp.Action {
		m := input.DispatchMouseEvent(kind, r[0]+r[2]*(x0+k*(x1-x0)), r[1]+r[3]*(y0+k*(y1-y0))).WithButton(input.Left).WithButtons(1).WithClickCount(1)
		for _, mod := range mods {
			m = m.WithModifiers(mod)
		}
		return m
	}
	acts := []chromedp.Action{at(input.MousePressed, 0)}
	for i := range steps {
		acts = append(acts, at(input.MouseMoved, float64(i+1)/float64(steps)))
	}
	v.do(append(acts, at(input.MouseReleased, 1))...)
}

// picture leaves a picture of the page in the folder that CATCHLIGHT_PAGES names.
func (v *visit) picture(name string) {
	if dir := os.Getenv("CATCHLIGHT_PAGES"); dir != "" {
		var png []byte
		v.do(chromedp.FullScreenshot(&png, 100))
		require.NoError(v, os.WriteFile(filepath.Join(dir, name), png, 0o666))
	}
}

// nameless lists controls that a screen reader could not name.
const nameless = `[...document.querySelectorAll("button, input, select, progress, summary")].filter(e => {
	const label = e.labels && e.labels.length ? e.labels[0].textContent : "";
	return e.type !== "file" && !(e.getAttribute("aria-label") || label || (e.tagName === "INPUT" ? "" : e.textContent)).trim();
}).map(e => e.outerHTML)`

// On a desk and on a telephone the page fits its width, the picture is in sight, all that is operated has a name, and the whole
// canvas shows what was sent.
func TestFits(t *testing.T) {
	for _, c := range []struct {
		name string
		w, h int64
	}{{"desk.png", 1440, 900}, {"phone.png", 390, 844}} {
		v := open(t, c.w, c.h)
		v.until(`document.getElementById("sure").dataset.enough === "true"`)
		require.LessOrEqual(t, eval[int64](v, `document.documentElement.scrollWidth`), c.w, c.name)
		require.Empty(t, eval[[]string](v, nameless), c.name)
		p := eval[[]int](v, `(() => { const r = document.getElementById("picture").getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom].map(Math.round); })()`)
		require.True(t, p[0] >= 0 && p[1] >= 0 && p[2] <= int(c.w) && p[3] <= int(c.h), "%s: the picture lies at %v", c.name, p)
		dark := eval[int](v, `(() => { const c = document.getElementById("picture"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let n = 0;
			for (let i = 3; i < d.length; i += 4) if (d[i] < 255) n++; return n; })()`)
		require.Zero(t, dark, "%s: pixels that nothing was drawn to", c.name)
		v.picture(c.name)
		v.do(chromedp.SendKeys("#find", "veins"))
		v.until(`document.querySelectorAll("#found li").length > 1`)
		require.Empty(t, eval[[]string](v, nameless), c.name)
		require.Contains(t, eval[string](v, `document.getElementById("found").textContent`), "objects.keeper.sclera.veins")
		v.picture("found-" + c.name)
	}
}

// A dial is moved by keys and by hand, a box takes what is typed, and what may not stand is said beside the field with the range.
func TestDials(t *testing.T) {
	v := open(t, 1440, 900)
	dial := `.dial[data-keys="objects.keeper.iris.pupil"]`
	v.heard("/set")
	v.do(chromedp.Focus(dial+" input[type=range]"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(kb.ArrowRight))
	sets := v.heard("/set")
	require.NotEmpty(t, sets)
	last := sets[len(sets)-1]["changes"].([]any)[0].(map[string]any)
	require.Equal(t, "objects.keeper.iris.pupil", last["key"])
	require.InDelta(t, 3.4+2*(8-1.5)/100, last["value"], 0.011, "two steps of a hundredth of the span")
	require.Len(t, v.s.undo, 1, "steps by the keyboard that follow at once are one to undo")

	typed := func(text string) {
		v.do(chromedp.Evaluate(`(() => { const e = document.querySelector('`+dial+` input[type=text]'); e.focus(); e.select(); })()`, nil), chromedp.KeyEvent(text+kb.Enter))
	}
	typed("5.2")
	require.Equal(t, 5.2, v.heard("/set")[0]["changes"].([]any)[0].(map[string]any)["value"])
	typed("9")
	require.Empty(t, v.heard("/set"), "what the schema does not allow is not sent")
	wrong := dial + " .wrong"
	require.Contains(t, eval[string](v, `document.querySelector('`+wrong+`').textContent`), "1.5 to 8 mm")
	require.Equal(t, "true", eval[string](v, `document.querySelector('`+dial+` input[type=text]').getAttribute("aria-invalid")`))
	typed("7.5") // which this server refuses
	v.until(`document.querySelector('` + wrong + `').textContent.includes("[1.5, 7] mm")`)
	v.until(`document.querySelector('` + dial + ` input[type=range]').getAttribute("aria-valuetext") === "5.2 mm"`)
	typed("4")
	v.until(`document.querySelector('` + wrong + `').textContent === ""`)

	// The label is dragged: 100 px are half the span, with Alt a twentieth.
	scrub := func(mods ...input.Modifier) float64 {
		b := eval[[2]float64](v, `(() => { const r = document.querySelector('`+dial+` label').getBoundingClientRect(); return [r.left + 5, r.top + 5]; })()`)
		m := func(k input.MouseType, dx float64) chromedp.Action {
			e := input.DispatchMouseEvent(k, b[0]+dx, b[1]).WithButton(input.Left).WithButtons(1)
			for _, mod := range mods {
				e = e.WithModifiers(mod)
			}
			return e
		}
		require.Eventually(t, func() bool { return !v.s.dragged() }, 5*time.Second, 20*time.Millisecond, "steps by the keyboard have ended")
		v.heard("/set")
		v.do(m(input.MousePressed, 0), m(input.MouseMoved, 50))
		v.until(`(async () => (await import("/talk.js")).idle())()`)
		require.True(t, v.s.dragged(), "a gesture goes on")
		v.do(m(input.MouseMoved, 100), m(input.MouseReleased, 100))
		s := v.heard("/set")
		require.False(t, v.s.dragged(), "it has ended")
		require.NotEmpty(t, s)
		return s[len(s)-1]["changes"].([]any)[0].(map[string]any)["value"].(float64)
	}
	require.InDelta(t, 4+6.5/2, scrub(), 0.3)
	typed("4")
	require.InDelta(t, 4+6.5/20, scrub(input.ModifierAlt), 0.03)
}

// The picture is taken hold of where one sees the thing: each place gives its handle, a click picks, a double click takes back.
func TestHandles(t *testing.T) {
	v := open(t, 1440, 900)
	mm := func(x float64) float64 { return 0.5 + x/span }
	v.heard("/turn")
	for _, c := range []struct {
		what   string
		x, y   float64 // mm from the middle
		mods   []input.Modifier
		handle string
	}{
		{"beside the eye", -12.8, 12.5, nil, "orbit"}, {"on the iris", 3.5, 2, nil, "gaze"}, {"on the pupil's edge", 1.7, 0, nil, "pupil"},
		{"on the limbus", 0, 5.9, nil, "limbus"}, {"with Control", -9, 4, []input.Modifier{input.ModifierCtrl}, "environment"},
	} {
		v.drag(mm(c.x), mm(c.y), mm(c.x)+0.04, mm(c.y), 4, c.mods...)
		got := v.heard("/turn")
		require.NotEmpty(t, got, c.what)
		way := 0.0
		for i, g := range got {
			require.Equal(t, c.handle, g["handle"], c.what)
			require.Equal(t, got[0]["gesture"], g["gesture"], c.what)
			if i > 0 {
				require.Equal(t, got[i-1]["to"], g["from"], "%s: stretches join", c.what)
			}
			way += g["to"].([]any)[0].(float64) - g["from"].([]any)[0].(float64)
		}
		require.InDelta(t, 0.04, way, 1e-6, "%s: no stretch is lost", c.what)
	}
	v.drag(mm(-1.6), mm(-1.8), mm(-1.6)+0.05, mm(-1.8)+0.02, 3)
	aims := v.heard("/aim")
	require.NotEmpty(t, aims)
	require.Equal(t, "window", aims[0]["light"])
	require.InDelta(t, mm(-1.6)+0.05, aims[len(aims)-1]["x"], 0.004)

	v.drag(mm(3), mm(2.5), mm(3), mm(2.5), 1)
	v.until(`document.getElementById("picked").textContent.includes("texel 512, 640")`)
	picks := v.heard("/pick")
	require.Len(t, picks, 1)
	require.InDelta(t, mm(3), picks[0]["x"], 0.004)

	// Twice in one place: what was changed there goes back to the file's.
	v.s.mu.Lock()
	radius := v.s.number("objects.keeper.iris.pupil", 0) / 2
	v.s.mu.Unlock()
	require.Greater(t, radius, 1.8, "it was dragged wider")
	edge := eval[[2]float64](v, `(() => { const r = document.getElementById("picture").getBoundingClientRect(); return [r.left + `+fmt.Sprint(mm(0))+` * r.width, r.top + `+fmt.Sprint(mm(radius))+` * r.height]; })()`)
	click := func(kind input.MouseType) chromedp.Action {
		return input.DispatchMouseEvent(kind, edge[0], edge[1]).WithButton(input.Left).WithClickCount(1)
	}
	v.do(click(input.MousePressed), click(input.MouseReleased), click(input.MousePressed), click(input.MouseReleased))
	require.Equal(t, "objects.keeper.iris.pupil", v.heard("/reset")[0]["key"])

	v.do(chromedp.Focus("button.handle.pupil"), chromedp.KeyEvent(kb.ArrowRight))
	require.Equal(t, "pupil", v.heard("/turn")[0]["handle"])
	v.do(chromedp.KeyEvent(kb.Delete))
	require.Equal(t, "objects.keeper.iris.pupil", v.heard("/reset")[0]["key"])
	v.do(chromedp.Focus("button.handle.light"), chromedp.KeyEvent(kb.ArrowUp))
	require.Equal(t, "window", v.heard("/aim")[0]["light"])
}
