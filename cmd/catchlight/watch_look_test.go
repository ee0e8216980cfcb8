package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	cdp "github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// marshEye is a scene that is small enough to be traced while a test waits.
const marshEye = `# The ferry keeper's eye, small.
format: 2
picture: {width: 128, height: 128, samples: 32} # a draft
camera: {target: [0, 0, 4], orbit: {azimuth: 12, elevation: 4, distance: 1000}, focal_length: 1150}
view: {exposure: -1.2, white: 0.9}
lights:
  # the window of the ferry house
  - {name: window, kind: rectangle, orbit: {azimuth: -28, elevation: 26, distance: 2450}, width: 470, height: 480, radiance: [72, 70.6, 68.0]}
  - {name: room, kind: constant, radiance: 1}
objects:
  - {name: eye, shape: eye, map_size: 256, iris: {pattern: hazel, pupil: 3.4}} # hazel
`

// livePage is the page of a watched scene in a browser.
type livePage struct {
	testing.TB
	ctx  context.Context
	file string
}

// firstLine hands on the first line that is written.
type firstLine struct {
	once sync.Once
	line chan string
	all  bytes.Buffer
}

func (f *firstLine) Write(p []byte) (int, error) {
	f.all.Write(p)
	if line, _, ok := strings.Cut(f.all.String(), "\n"); ok {
		f.once.Do(func() { f.line <- line })
	}
	return len(p), nil
}

// openLive watches a scene and opens its page.
func openLive(t testing.TB, scene string, limit time.Duration) *livePage {
	t.Helper()
	browser := chromium(t)
	file := filepath.Join(t.TempDir(), "keeper.yaml")
	require.NoError(t, os.WriteFile(file, []byte(scene), 0o666))
	out := &firstLine{line: make(chan string, 1)}
	watching, end := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		f := watchFlags{journals: "off", out: filepath.Join(filepath.Dir(file), "out")}
		done <- runWatch(watching, file, &f, func(string) bool { return false }, out, io.Discard)
	}()
	t.Cleanup(func() {
		end()
		require.NoError(t, <-done)
	})
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Run(ctx))
	chromedp.ListenTarget(ctx, func(e any) {
		if x, bad := e.(*cdp.EventExceptionThrown); bad {
			t.Errorf("the page's script: %s", x.ExceptionDetails.Error())
		}
	})
	ctx, cancel = context.WithTimeout(ctx, limit)
	t.Cleanup(cancel)
	p := &livePage{t, ctx, file}
	select {
	case line := <-out.line:
		p.do(emulation.SetDeviceMetricsOverride(1440, 900, 1, false), chromedp.Navigate(strings.TrimSpace(line)), chromedp.WaitReady("#frame[data-traced]"))
	case err := <-done:
		t.Fatal(err)
	}
	return p
}

func (p *livePage) do(acts ...chromedp.Action) {
	p.Helper()
	require.NoError(p, chromedp.Run(p.ctx, acts...))
}

// until waits for a script to say yes.
func (p *livePage) until(script string) {
	p.Helper()
	var yes bool
	require.NoError(p, chromedp.Run(p.ctx, chromedp.Poll(script, &yes, chromedp.WithPollingInterval(10*time.Millisecond), chromedp.WithPollingTimeout(time.Minute))), script)
}

func look[T any](p *livePage, script string) (out T) {
	p.Helper()
	p.do(chromedp.Evaluate(script, &out, func(e *cdp.EvaluateParams) *cdp.EvaluateParams { return e.WithAwaitPromise(true) }))
	return out
}

// shown waits until the canvas shows what was asked for last.
func (p *livePage) shown() {
	p.Helper()
	p.until(`(async () => (await import("/talk.js")).idle())()`)
	p.until(`(d => Number(d.traced) >= Number(d.asked || 0))(document.getElementById("frame").dataset)`)
}

// canvas is a sum over what the canvas shows.
const canvas = `(() => { const c = document.getElementById("picture"), d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data; let h = 0;
	for (let i = 0; i < d.length; i++) h = (h * 31 + d[i]) | 0; return h; })()`

// typed clicks on a number and writes another, as a hand does.
func (p *livePage) typed(box, text string) {
	p.Helper()
	p.do(chromedp.ScrollIntoView(box), chromedp.Click(box, chromedp.NodeVisible), chromedp.Evaluate(`document.activeElement.select()`, nil), chromedp.KeyEvent(text+kb.Enter))
}

// A look is made on the page and saved: the limbus warmer, the key at 10 o'clock, the veins toned down. Each step shows another
// picture, the file is not touched before Save, and then it has the changed values alone: comments and all else stay.
func TestLookOnThePage(t *testing.T) {
	p := openLive(t, marshEye, 90*time.Second)
	p.do(chromedp.WaitReady("button.handle.pupil"))
	began := time.Now()
	p.shown()
	last := look[int](p, canvas)
	step := func(what string) {
		t.Helper()
		p.shown()
		now := look[int](p, canvas)
		require.NotEqual(t, last, now, "%s: the picture is as it was", what)
		last = now
		data, err := os.ReadFile(p.file)
		require.NoError(t, err)
		require.Equal(t, marshEye, string(data), "%s: written unasked", what)
	}
	p.typed(`.dial[data-keys="objects.eye.paint.limbal-grey.colour"] input[type=text]`, "0.6")
	step("the limbus is warm")
	p.until(`[...document.querySelectorAll("#onelight .dial")].some(d => d.textContent.startsWith("O'clock") && !d.classList.contains("absent"))`)
	p.do(chromedp.Evaluate(`[...document.querySelectorAll("#onelight .dial")].find(d => d.textContent.startsWith("O'clock")).id = "clock"`, nil))
	p.typed("#clock input[type=text]", "10")
	step("the key is at 10 o'clock")
	p.typed(`.dial[data-keys="objects.eye.sclera.tone_down"] input[type=text]`, "0.7")
	step("the veins are toned down")
	p.do(chromedp.Click("#save"))
	p.until(`document.getElementById("unsaved").textContent === "as saved"`)
	t.Logf("the task took %.1f s by the browser's hands", time.Since(began).Seconds())

	data, err := os.ReadFile(p.file)
	require.NoError(t, err)
	text := string(data)
	for _, kept := range []string{"# The ferry keeper's eye, small.", "# a draft", "  # the window of the ferry house\n", "# hazel\n", "radiance: [72, 70.6, 68.0]", "distance: 2450"} {
		require.Contains(t, text, kept)
	}
	require.Contains(t, text, "tone_down: 0.7")
	require.Contains(t, text, "limbal-grey")
	require.NotContains(t, text, "azimuth: -28,")
	clock := look[float64](p, `(([h, m]) => Number(h) + Number(m) / 60)(document.querySelector("#clock input[type=text]").value.split(":"))`)
	require.InDelta(t, 10, clock, 0.1, "where the mirror image is")
}

// values returns what the page knows of keys.
func (p *livePage) values(keys ...string) (out []float64) {
	p.Helper()
	for _, k := range keys {
		out = append(out, look[float64](p, `(async () => { const d = await import("/desk.js"); await d.refresh(); return d.value("`+k+`") ?? 0; })()`))
	}
	return out
}

// button drags a handle's button by pixels of the page.
func (p *livePage) button(handle string, dx, dy float64) {
	p.Helper()
	at := look[[2]float64](p, `(() => { const r = document.querySelector("button.handle.`+handle+`").getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()`)
	mouse := func(kind input.MouseType, k float64) chromedp.Action {
		return input.DispatchMouseEvent(kind, at[0]+k*dx, at[1]+k*dy).WithButton(input.Left).WithButtons(1).WithClickCount(1)
	}
	p.do(mouse(input.MousePressed, 0), mouse(input.MouseMoved, 0.2), mouse(input.MouseMoved, 0.6), mouse(input.MouseMoved, 1), mouse(input.MouseReleased, 1))
	p.shown()
}

// Each handle changes its own keys, the way the hand goes, and one undo takes a whole drag back; a click says what is there.
func TestHandlesOnThePage(t *testing.T) {
	p := openLive(t, marshEye, 90*time.Second)
	p.do(chromedp.WaitReady("button.handle.limbus"), chromedp.WaitReady("button.handle.light"))
	p.shown()
	for _, c := range []struct {
		handle, key string
		dx, dy      float64
		way         float64 // sign of the change
	}{
		{"orbit", "camera.orbit.azimuth", 40, 0, -1}, {"gaze", "objects.eye.gaze.azimuth", 30, 0, 1}, {"pupil", "objects.eye.iris.pupil", 12, 2, 1},
		{"limbus", "objects.eye.limbus.width", 12, 9, 1}, {"light", "lights.window.orbit.azimuth", 12, 0, 1},
	} {
		was := p.values(c.key)[0]
		p.button(c.handle, c.dx, c.dy)
		now := p.values(c.key)[0]
		require.Greater(t, c.way*(now-was), 0.0, "%s: %s went from %g to %g", c.handle, c.key, was, now)
		p.do(chromedp.Click("#undo"))
		p.until(`(async () => (await import("/talk.js")).idle())()`)
		require.Equal(t, was, p.values(c.key)[0], "%s: one undo takes the drag back", c.handle)
		p.shown()
	}
	at := look[[2]float64](p, `(() => { const r = document.querySelector("button.handle.gaze").getBoundingClientRect(); return [r.left - 14, r.top + 8]; })()`)
	p.do(chromedp.MouseClickXY(at[0], at[1]))
	// The hint that stands there before speaks of the iris too: only a place in mm is an answer.
	p.until(`/at -?[0-9.]+, -?[0-9.]+, -?[0-9.]+ mm/.test(document.getElementById("picked").textContent)`)
	require.Contains(t, look[string](p, `document.getElementById("picked").textContent`), "iris")
}

// event is one way of changing the scene, fifty times.
type event struct {
	name  string
	look  string // whose frame is waited for
	begin func(p *livePage)
	do    func(p *livePage, i int)
	end   func(p *livePage)
}

// recorder notes when something was done and when each run was shown.
const recorder = `(() => {
	const f = document.getElementById("frame"), r = window.recorder = { did: 0, shown: [] };
	for (const e of ["pointermove", "keydown"]) addEventListener(e, x => { if (!r.did) r.did = x.timeStamp; }, true);
	new MutationObserver(l => { for (const m of l) r.shown.push([m.attributeName, Number(f.getAttribute(m.attributeName)), performance.now()]); }).observe(f, { attributes: true, attributeFilter: ["data-traced", "data-raster", "data-asked"] });
})()`

// times of one event, in ms.
type times struct {
	shown, answered float64 // from the event's time stamp to the drawn canvas, and to the server's answer
	cpu             float64 // of the program, on all processors, until the canvas was seen to be drawn
}

// took waits until the canvas shows what the event did and says how long that took.
func took(p *livePage, e *event, i int) times {
	p.do(chromedp.Evaluate(`(() => { recorder.did = 0; recorder.shown = []; delete document.getElementById("frame").dataset.asked; })()`, nil))
	var ms []float64
	from := cpuSeconds()
	e.do(p, i)
	require.NoError(p, chromedp.Run(p.ctx, chromedp.Poll(`(() => { const f = document.getElementById("frame"), run = Number(f.dataset.asked || 0); if (!run) return false;
		const s = recorder.shown.find(s => s[0] === "data-`+e.look+`" && s[1] >= run); const a = recorder.shown.find(s => s[0] === "data-asked" && s[1] > 0); return s && a ? [s[2] - recorder.did, a[2] - recorder.did] : false; })()`, &ms,
		chromedp.WithPollingInterval(5*time.Millisecond), chromedp.WithPollingTimeout(time.Minute))), e.name)
	return times{ms[0], ms[1], 1000 * (cpuSeconds() - from)}
}

// middle returns the value at a share of a sorted list of one of the times.
func middle(all []times, share float64, of func(t times) float64) float64 {
	list := make([]float64, len(all))
	for i, t := range all {
		list[i] = of(t)
	}
	slices.Sort(list)
	return list[int(share*float64(len(list)))]
}

// slide moves the slider of a key to and fro by its keys.
func slide(name, keys, look string) *event {
	return &event{name: name, look: look,
		begin: func(p *livePage) { p.do(chromedp.Focus(`.dial[data-keys="` + keys + `"] input[type=range]`)) },
		do: func(p *livePage, i int) {
			key := kb.ArrowRight
			if i/5%2 == 1 {
				key = kb.ArrowLeft
			}
			p.do(chromedp.KeyEvent(key))
		},
	}
}

// haul drags from a share of the picture, a pixel of the page or two at a time.
func haul(name string, x, y float64, look string) *event {
	var box [4]float64
	mouse := func(p *livePage, kind input.MouseType, dx float64) {
		p.do(input.DispatchMouseEvent(kind, box[0]+x*box[2]+dx, box[1]+y*box[3]).WithButton(input.Left).WithButtons(1).WithClickCount(1))
	}
	return &event{name: name, look: look,
		begin: func(p *livePage) {
			p.do(chromedp.Evaluate(`(() => { const r = document.getElementById("picture").getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`, &box))
			mouse(p, input.MousePressed, 0)
			mouse(p, input.MouseMoved, 5)
			p.shown()
		},
		do:  func(p *livePage, i int) { mouse(p, input.MouseMoved, 6+float64(i)) },
		end: func(p *livePage) { mouse(p, input.MouseReleased, 60) },
	}
}

// From the input event to the changed canvas, in the median of 50 events: the bare eye of the ferry keeper at 384 px. With
// CATCHLIGHT_LONG set the table goes into testdata/live.
func BenchmarkEventToCanvas(b *testing.B) {
	data, err := os.ReadFile("../../scenes/ferry_keeper.yaml")
	require.NoError(b, err)
	p := openLive(b, string(data), 30*time.Minute)
	p.do(chromedp.Evaluate(recorder, nil), chromedp.SetValue("#work", "384"), chromedp.Evaluate(`document.getElementById("work").dispatchEvent(new Event("change"))`, nil),
		chromedp.SetValue("#divider", "1000"), chromedp.Evaluate(`document.getElementById("divider").dispatchEvent(new Event("input"))`, nil))
	p.shown()
	const events = 50
	var table strings.Builder
	for _, e := range []*event{
		haul("camera", 0.06, 0.5, "traced"), slide("exposure", "view.exposure", "traced"),
		slide("light, strength", "lights.window.ev", "traced"), slide("light, turned", "lights.window.orbit.clock", "traced"),
		haul("gaze", 0.3, 0.62, "traced"), slide("pupil", "objects.eye.iris.pupil", "traced"), slide("colour of the limbus", "objects.eye.paint.limbal-grey.colour", "traced"),
		slide("scatter radius", "objects.eye.sclera.scatter_radius", "traced"), slide("roughness", "objects.eye.cornea.roughness", "traced"),
	} {
		b.Run(e.name, func(b *testing.B) {
			q := &livePage{b, p.ctx, p.file}
			for b.Loop() {
				e.begin(q)
				var all []times
				for i := range events {
					all = append(all, took(q, e, i))
				}
				if e.end != nil {
					e.end(q)
				}
				q.shown()
				shown := func(t times) float64 { return t.shown }
				answered, cpu := func(t times) float64 { return t.answered }, func(t times) float64 { return t.cpu }
				b.ReportMetric(middle(all, 0.5, shown), "ms-median")
				b.ReportMetric(middle(all, 0.9, shown), "ms-90%")
				fmt.Fprintf(&table, "| %s | %.0f | %.0f | %.0f | %.0f | %s |\n", e.name, middle(all, 0.5, shown), middle(all, 0.9, shown), middle(all, 0.5, answered), middle(all, 0.5, cpu), load())
			}
			if os.Getenv("CATCHLIGHT_LONG") != "" {
				keepTable(b, table.String())
			}
		})
	}
}

// load is how many processes want a processor, where the system says so.
func load() string {
	data, _ := os.ReadFile("/proc/loadavg")
	one, _, _ := strings.Cut(string(data), " ")
	return one
}

// keepTable writes a dated table of the page's times.
func keepTable(b *testing.B, rows string) {
	text := fmt.Sprintf("# From input to the changed canvas, %s\n\nHeadless Chromium, ferry_keeper.yaml at 384 px, 50 events each, milliseconds from the event's time stamp: to the drawn canvas, to the server's\n"+
		"answer, and of the program's processor time until then; load is the machine's at the end of the row, on %d processors. `CATCHLIGHT_LONG=1 go test ./cmd/catchlight -run x -bench EventToCanvas -benchtime 1x` wrote it.\n\n"+
		"| change | canvas, median | 90 %% | answer, median | CPU, median | load |\n| --- | --- | --- | --- | --- | --- |\n%s", time.Now().Format("2 January 2006"), runtime.NumCPU(), rows)
	dir := "../../testdata/live"
	require.NoError(b, os.MkdirAll(dir, 0o777))
	require.NoError(b, os.WriteFile(filepath.Join(dir, "page-"+time.Now().Format("2006-01-02")+".md"), []byte(text), 0o666))
}
