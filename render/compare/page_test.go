package compare

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// The page in headless Chromium, from a file and without a network, on a desk and on a telephone: it fits its width, the
// border moves by drag, slider and keys, maps and outlines lie over the picture, it blinks and zooms, and what is drawn is
// what it says.
//
// Long: one visit to one page in a browser.
func TestPage(t *testing.T) {
	found := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			found = p
			break
		}
	}
	if found == "" {
		t.Skip("there is no Chromium on this machine to show the page in")
	}
	r, err := Measure(tide())
	require.NoError(t, err)
	data, err := r.HTML()
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "compare.html")
	require.NoError(t, os.WriteFile(file, data, 0o666))

	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(found), chromedp.NoSandbox)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	faults := 0
	chromedp.ListenTarget(ctx, func(e any) {
		if _, bad := e.(*runtime.EventExceptionThrown); bad {
			faults++
		}
	})
	var said string
	say := func(acts ...chromedp.Action) string {
		t.Helper()
		require.NoError(t, chromedp.Run(ctx, append(acts, chromedp.Text("#say", &said))...))
		return said
	}
	// pixel reads what the stage shows at shares of its width and height.
	pixel := func(u, v float64) (p []int) {
		t.Helper()
		const get = `((u, v) => { const s = document.getElementById("stage"); return [...s.getContext("2d").getImageData(u * s.width, v * s.height, 1, 1).data].slice(0, 3); })`
		require.NoError(t, chromedp.Run(ctx, chromedp.Evaluate(get+"("+number(u)+","+number(v)+")", &p)))
		return p
	}
	close := func(want []int, u, v float64, what string) {
		t.Helper()
		got := pixel(u, v)
		for c := range 3 {
			require.InDelta(t, want[c], got[c], 6, "%s: %v, want %v", what, got, want)
		}
	}
	code := func(s *Side, x, y int) []int {
		c := s.Seen.NRGBAAt(x, y)
		return []int{int(c.R), int(c.G), int(c.B)}
	}
	for _, width := range []int64{1440, 390} {
		got := say(emulation.SetDeviceMetricsOverride(width, 900, 1, width < 500), chromedp.Navigate("file://"+file), chromedp.WaitReady("body[data-ready]"))
		require.Equal(t, "wipe at 50 %: high left, low right; no map; zoom 1.0", got)
		var wide float64
		require.NoError(t, chromedp.Run(ctx, chromedp.Evaluate("document.documentElement.scrollWidth", &wide)))
		require.LessOrEqual(t, int64(wide), width, "it scrolls sideways at %d", width)
		a, b := &r.pair.Reference, &r.pair.Test
		right, dark := code(a, 49, 8), code(b, 49, 8)
		close(dark, 49.5/60, 8.5/40, "right of the border")
		require.Contains(t, say(chromedp.KeyEvent(kb.ArrowRight)), "wipe at 51 %")
		require.Contains(t, say(chromedp.KeyEvent(kb.ArrowLeft, chromedp.KeyModifiers(input.ModifierShift))), "wipe at 41 %")
		require.Contains(t, say(chromedp.Focus("#at"), chromedp.KeyEvent(kb.ArrowRight)), "wipe at 42 %", "the slider")
		require.Contains(t, say(chromedp.Click("#fit"), chromedp.KeyEvent("1")), "high; no map")
		close(right, 49.5/60, 8.5/40, "the reference alone")
		require.Contains(t, say(chromedp.KeyEvent("2")), "low; no map")
		close(dark, 49.5/60, 8.5/40, "the test alone")
		// A drag takes the border along.
		var box []float64
		require.NoError(t, chromedp.Run(ctx, chromedp.KeyEvent("w"), chromedp.ScrollIntoView("#stage"),
			chromedp.Evaluate("(() => { const r = document.getElementById('stage').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()", &box)))
		mouse := func(kind input.MouseType, u float64) chromedp.Action {
			return input.DispatchMouseEvent(kind, box[0]+u*box[2], box[1]+box[3]/4).WithButton(input.Left).WithButtons(1).WithClickCount(1)
		}
		require.Contains(t, say(mouse(input.MousePressed, 0.4), mouse(input.MouseMoved, 0.6), mouse(input.MouseMoved, 0.9), mouse(input.MouseReleased, 0.9)), "wipe at 90 %")
		close(right, 49.5/60, 8.5/40, "left of the border now")
		// Maps: the unchanged left is the dark end of the scale, and 0 takes the map away.
		require.Contains(t, say(chromedp.KeyEvent("c")), "map: Colour, CIEDE2000")
		close([]int{0x08, 0x1d, 0x58}, 0.2, 0.2, "no difference")
		require.Contains(t, say(chromedp.Click("#layers button:nth-child(1)")), "map: Lightness, signed")
		close([]int{0xf7, 0xf7, 0xf7}, 0.2, 0.2, "no difference, signed")
		require.Contains(t, say(chromedp.KeyEvent("0")), "no map")
		// Outlines of the iris part on its border, in its colour.
		require.Contains(t, say(chromedp.KeyEvent("o")), "outlines")
		close([]int{0x00, 0x9e, 0x73}, 29.5/60, 8.5/40, "the border of a part")
		require.NotContains(t, say(chromedp.Click("#parts")), "outlines")
		// Zoom about the middle: what was a third from the edge moves out.
		require.Contains(t, say(chromedp.KeyEvent("+"), chromedp.KeyEvent("+")), "zoom 2.3")
		require.Contains(t, say(chromedp.KeyEvent("l"), chromedp.KeyEvent("k"), chromedp.KeyEvent(kb.Escape)), "zoom 1.0")
		// It blinks, and stops.
		require.Contains(t, say(chromedp.KeyEvent("b")), "blinking between high and low")
		require.Contains(t, say(chromedp.Click("#views button:first-child")), "wipe at 90 %")
		var under string
		require.NoError(t, chromedp.Run(ctx, mouse(input.MouseMoved, 0.2), chromedp.Text("#pixel", &under)))
		require.Regexp(t, `^pixel 1[12],(9|10), iris: high \d+ \d+ \d+, low \d+ \d+ \d+$`, under)
	}
	require.Zero(t, faults, "the page's script failed")
}
