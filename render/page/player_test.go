package page

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

func player(t *testing.T) string {
	p := Player{Title: "the eye turns", Width: 40, Height: 30, Delay: 40, Notes: []string{"grain 1.0"}}
	for n, name := range []string{"traced", "raster"} {
		l := Look{Name: name}
		for i := range 8 {
			var b bytes.Buffer
			require.NoError(t, png.Encode(&b, marsh(i+10*n)))
			l.Frames = append(l.Frames, b.Bytes())
			if n == 0 {
				p.Captions = append(p.Captions, fmt.Sprintf("turned by %d°", 45*i))
			}
		}
		p.Looks = append(p.Looks, l)
	}
	// A key 30 degrees to the right of the viewer and 20 up, which turns by 90 in the last frame, and an even room.
	p.Beside, p.Turned = true, []float64{0, 0, 0, 0, 0, 0, 0, 90}
	p.Lamps = []Lamp{{Name: "window", Dir: [3]float64{0.4698, 0.3420, 0.8138}, Share: 0.8}, {Name: "room", Even: true, Share: 0.2}}
	data, err := p.HTML()
	require.NoError(t, err)
	require.NotContains(t, string(data), "http", "nothing is fetched")
	file := filepath.Join(t.TempDir(), "player.html")
	require.NoError(t, os.WriteFile(file, data, 0o666))
	return file
}

// The player in headless Chromium, from a file and without a network, on a desk and on a telephone: it is operated by
// keys, slider, buttons and drag, fits its width, and goes round without an end.
func TestPlayer(t *testing.T) {
	file := player(t)
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
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(found), chromedp.NoSandbox)
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, 40*time.Second)
	defer cancel()
	var said string
	say := func(acts ...chromedp.Action) string {
		t.Helper()
		require.NoError(t, chromedp.Run(ctx, append(acts, chromedp.Text("#say", &said))...))
		return said
	}
	for _, width := range []int64{1440, 390} {
		got := say(emulation.SetDeviceMetricsOverride(width, 900, 1, width < 500), chromedp.Navigate("file://"+file), chromedp.WaitReady("#stage"))
		require.Equal(t, "frame 1 of 8: turned by 0°, traced", got)
		var wide float64
		var shown bool
		require.NoError(t, chromedp.Run(ctx, chromedp.Evaluate("document.documentElement.scrollWidth", &wide),
			chromedp.Evaluate("document.getElementById('stage').decode().then(() => document.getElementById('stage').naturalWidth === 40)", &shown, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) })))
		require.LessOrEqual(t, int64(wide), width, "it scrolls sideways at %d", width)
		require.True(t, shown, "the picture is not there")
		require.Contains(t, say(chromedp.KeyEvent(kb.ArrowRight)), "frame 2 of 8")
		require.Contains(t, say(chromedp.KeyEvent(kb.ArrowLeft), chromedp.KeyEvent(kb.ArrowLeft)), "frame 8 of 8")
		require.Contains(t, say(chromedp.KeyEvent("b")), "frame 8 of 8: turned by 315°, raster")
		var lit, pressed string
		var second bool
		read := func() {
			require.NoError(t, chromedp.Run(ctx, chromedp.Text("#names", &lit)))
		}
		read()
		require.Contains(t, lit, "window: 120° to the right, 20° up, 80 %")
		require.Contains(t, say(chromedp.KeyEvent(kb.Home)), "frame 1 of 8: turned by 0°, raster")
		read()
		require.Contains(t, lit, "window: 30° to the right, 20° up, 80 %")
		require.Contains(t, lit, "room: all around, 20 %")
		require.NoError(t, chromedp.Run(ctx, chromedp.KeyEvent("s"), chromedp.AttributeValue("#beside", "aria-pressed", &pressed, nil),
			chromedp.Evaluate("!document.getElementById('other').closest('figure').hidden && document.getElementById('other').getBoundingClientRect().width > 100", &second)))
		require.Equal(t, "true", pressed)
		require.True(t, second, "the second look is not there")
		require.NoError(t, chromedp.Run(ctx, chromedp.KeyEvent("s")))
		require.Contains(t, say(chromedp.Click("#looks button:first-child")), ", traced")
		require.Contains(t, say(chromedp.Focus("#slide"), chromedp.KeyEvent(kb.ArrowRight)), "frame 2 of 8")
		// A drag over half of the picture is half a turn.
		var box []float64
		require.NoError(t, chromedp.Run(ctx, chromedp.Evaluate("(() => { const r = document.getElementById('stage').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()", &box)))
		y := box[1] + box[3]/4
		mouse := func(kind input.MouseType, x float64) chromedp.Action {
			return input.DispatchMouseEvent(kind, x, y).WithButton(input.Left).WithButtons(1).WithClickCount(1)
		}
		from := box[0] + 0.2*box[2]
		require.Contains(t, say(mouse(input.MousePressed, from), mouse(input.MouseMoved, from+box[2]/2), mouse(input.MouseReleased, from+box[2]/2)), "frame 6 of 8")
		// Play runs and stops.
		before := say(chromedp.Click("#play"))
		for range 100 { // a busy machine may take its time
			time.Sleep(100 * time.Millisecond)
			if say() != before {
				break
			}
		}
		after := say(chromedp.Click("#play"))
		require.NotEqual(t, before, after)
		time.Sleep(120 * time.Millisecond)
		require.Equal(t, after, say())
		require.True(t, strings.HasPrefix(after, "frame "))
	}
}
