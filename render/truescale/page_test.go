package truescale

import (
	"context"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/spread"
	"catchlight/scene"
	"catchlight/scene/geom"
)

// album is a report of made-up numbers with pictures of n pixels that are plain ramps, to look at the pages alone.
func album(n int) *Album {
	eye := scene.DefaultObject("eye", "eye")
	r := &Report{Name: "eye", Length: spread.Value{V: 24.9, SE: 0.01}, Held: true, Globe: 12, Limbus: 5.85, White: *radii(1.1), Iris: *radii(0.25), HasIris: true,
		Published: Published(), Size: ofLength(24.9), Place: Place{Radius: 12, Polar: 1.05}, WhiteAt: geom.Vec{X: -10.4, Z: 6}, IrisAt: geom.Vec{X: 3.6, Z: 8.4}, object: &eye}
	for _, q := range []*spread.Radii{&r.White, &r.Iris} {
		q.Walks = 64000
		for c := range 3 {
			q.Most[c] = spread.Value{V: 4 * q.Half[c].V, SE: 0.01}
			q.Half[c].SE, q.Share[c].V = 0.002, 0.7
		}
	}
	edge := spread.Edge{Width: [3]spread.Value{{V: 1.1, SE: 0.01}, {V: 0.9, SE: 0.01}, {V: 0.6, SE: 0.01}}, Past: [3]spread.Value{{V: 0.2, SE: 0.01}, {V: 0.1, SE: 0.01}, {V: -0.03, SE: 0.001}}, RedPastBlue: spread.Value{V: 0.23, SE: 0.01}, Walks: 39528}
	for _, f := range Mistakes {
		r.Mistakes = append(r.Mistakes, Variant{Factor: f, Length: 24.9 * f, Share: 0.012 / f, Edge: scaled(edge, f)})
	}
	for _, f := range Sweeps {
		r.Sweep = append(r.Sweep, Variant{Factor: f, Length: 24.9, Share: 0.012 * f, Edge: edge, Set: typed(&eye, f)})
	}
	r.Verdict = Judge(r.Size, &r.White, &eye)
	a := &Album{Title: "ferry_keeper", About: "The ferry keeper's hazel eye by a cottage window.", Report: r}
	add := func(name string, size int, f Frame) {
		m := image.NewNRGBA(image.Rect(0, 0, size, size))
		for i := range m.Pix {
			m.Pix[i] = uint8(40 + 120*(i/4%size)/size)
			if i%4 == 3 {
				m.Pix[i] = 255
			}
		}
		a.Add(Picture{Name: name, Frame: f, Size: size}, m)
	}
	add("eye", 2*n, r.Place.Whole())
	add("white", n, r.white())
	add("iris", n, r.iris())
	for _, f := range Mistakes {
		add(label("eye", f), n, r.Place.Whole())
		add(label("edge", f), n, r.white())
	}
	for _, f := range Sweeps {
		if f != 1 {
			add(sweepName(f), n, r.white())
		}
	}
	return a
}

// The pages are laid out at small and large cells, and are the same bytes each time.
func TestPages(t *testing.T) {
	for _, n := range []int{64, 240} {
		a := album(n)
		for _, p := range a.Pages() {
			one, err := p.PNG()
			require.NoError(t, err)
			two, err := p.PNG()
			require.NoError(t, err)
			require.Equal(t, one, two)
		}
		if dir := os.Getenv("CATCHLIGHT_PAGES"); dir != "" && n == 240 {
			for i, p := range a.Pages() {
				data, err := p.PNG()
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(filepath.Join(dir, []string{"scale-1.png", "scale-2.png"}[i]), data, 0o666))
			}
		}
	}
}

// A ruler's numbers stand clear of its ticks, whose middle ones stand out from its bar, in small pictures as in large ones.
func TestRulerNumbersAreClear(t *testing.T) {
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	for _, n := range []int{64, 120, 240} {
		a := album(n)
		for _, name := range []string{"eye", "white"} {
			svg, err := a.svg(name, "", 1)
			require.NoError(t, err)
			bars := regexp.MustCompile(`<rect x="[0-9]+" y="([0-9]+)" width="([0-9]+)" height="([0-9.]+)"/>`).FindAllStringSubmatch(string(svg), -1)
			text := regexp.MustCompile(`font-size="([0-9.]+)"><text x="0" y="([0-9.]+)"`).FindStringSubmatch(string(svg))
			require.NotNil(t, text)
			require.Greater(t, len(bars), 5)
			digits := number(text[2]) - 0.8*number(text[1])
			for i, b := range bars {
				assert.Less(t, number(b[1])+number(b[3]), digits, "%s, %d pixels", name, n)
				if i > 0 {
					assert.Greater(t, number(b[3]), 2*number(bars[0][3]), "%s, %d pixels", name, n)
				}
			}
		}
	}
}

// The page in headless Chromium, from a file and without a network: it fits a desk and a telephone, is operated by keys,
// shows what to type, and is printed without a picture cut in two.
func TestScalePage(t *testing.T) {
	data, err := album(120).HTML()
	require.NoError(t, err)
	require.NotContains(t, string(data), "http", "nothing is fetched")
	file := filepath.Join(t.TempDir(), "scale.html")
	require.NoError(t, os.WriteFile(file, data, 0o666))
	if dir := os.Getenv("CATCHLIGHT_PAGES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "scale.html"), data, 0o666))
	}
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
	alloc, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(found), chromedp.NoSandbox)...)
	defer stop()
	ctx, cancel := chromedp.NewContext(alloc)
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, 40*time.Second)
	defer cancel()
	var said, typed string
	say := func(acts ...chromedp.Action) string {
		t.Helper()
		require.NoError(t, chromedp.Run(ctx, append(acts, chromedp.Text("#say", &said), chromedp.Text("#type", &typed))...))
		return said
	}
	for _, width := range []int64{1440, 390} {
		got := say(emulation.SetDeviceMetricsOverride(width, 900, 1, width < 500), chromedp.Navigate("file://"+file), chromedp.WaitReady("#say"))
		assert.Contains(t, got, "as it is: the edge is 1.1, 0.9, 0.6 mm wide")
		var wide float64
		require.NoError(t, chromedp.Run(ctx, chromedp.Evaluate("document.documentElement.scrollWidth", &wide)))
		assert.LessOrEqual(t, int64(wide), width, "it scrolls sideways at %d", width)
		assert.Contains(t, say(chromedp.KeyEvent(kb.ArrowRight)), "radii x 1.41")
		assert.Contains(t, typed, "objects.eye.sclera.scatter_radius=[0.451,0.374,0.268]")
		assert.Contains(t, say(chromedp.KeyEvent(kb.End)), "radii x 4")
		assert.Contains(t, say(chromedp.KeyEvent(kb.Home)), "radii x 0.25")
		assert.Contains(t, say(chromedp.Focus("#slide"), chromedp.KeyEvent(kb.ArrowRight)), "radii x 0.5")
		var on string
		require.NoError(t, chromedp.Run(ctx, chromedp.KeyEvent("b"), chromedp.AttributeValue("#blink", "aria-pressed", &on, nil), chromedp.KeyEvent("b")))
		assert.Equal(t, "true", on)
	}
	var pdf []byte
	require.NoError(t, chromedp.Run(ctx, chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = page.PrintToPDF().WithPreferCSSPageSize(true).WithPrintBackground(true).Do(ctx)
		return err
	})))
	require.Greater(t, len(pdf), 10000)
	if dir := os.Getenv("CATCHLIGHT_PAGES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "printed.pdf"), pdf, 0o666))
	}
}
