package live

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// What may not stand is said by the name of its field and leaves the box with the focus, which then shows what the scene has; the
// box follows the scene, Control-Z undoes from it, a slash goes to the search from a slider, and Escape clears the search.
func TestFieldsShowTheScene(t *testing.T) {
	v := open(t, 1440, 900)
	dial := `document.querySelector('.dial[data-keys="objects.keeper.iris.pupil"]')`
	typed := func(text string) {
		v.do(chromedp.Evaluate(`(e => { e.focus(); e.select(); })(`+dial+`.querySelector("input[type=text]"))`, nil), chromedp.KeyEvent(text))
	}
	shown := dial + `.querySelector("input[type=text]").value`
	v.heard("/set")
	for _, text := range []string{"zzz", "300"} {
		typed(text + kb.Tab)
		require.Equal(t, "3.4", eval[string](v, shown))
		require.Contains(t, eval[string](v, dial+`.querySelector(".wrong").textContent`), "Diameter: \u201c"+text+"\u201d is not taken")
	}
	require.Empty(t, v.heard("/set"))
	typed("3.8mm" + kb.Enter)
	require.Equal(t, 3.8, v.heard("/set")[0]["changes"].([]any)[0].(map[string]any)["value"], "a unit may follow")
	v.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	require.Len(t, v.heard("/undo"), 1)
	v.until(shown + ` === "3.4"`)

	v.do(chromedp.Focus(`.dial[data-keys="view.exposure"] input[type=range]`), chromedp.Evaluate(`document.activeElement.dispatchEvent(new KeyboardEvent("keydown", { key: "/", bubbles: true, cancelable: true }))`, nil))
	require.Equal(t, "find", eval[string](v, `document.activeElement.id`))
	v.do(chromedp.KeyEvent("veins"))
	v.until(`document.querySelectorAll("#found li").length > 1`)
	v.do(chromedp.Focus("#found input"), chromedp.KeyEvent(kb.Escape))
	require.Equal(t, "0 find", eval[string](v, `document.querySelectorAll("#found li").length + " " + document.getElementById("find").value + document.activeElement.id`))
}

// Whatever is said, the picture and the buttons stay where they are; and a problem of the scene goes when the scene has none.
func TestNothingMoves(t *testing.T) {
	v := open(t, 1440, 900)
	v.until(`document.getElementById("sure").dataset.enough === "true"`)
	places := `["picture", "undo", "save", "shoot", "beside", "closer"].map(id => { const e = document.getElementById(id); const r = e.getBoundingClientRect(); return [r.left, r.top, r.right, r.bottom].map(Math.round).join(" "); }).join("; ")`
	was := eval[string](v, places)
	long := strings.Repeat("the tide comes in over the marsh and ", 12)
	v.s.mu.Lock()
	v.s.stale, v.s.problem, v.s.edited = true, long, []string{"view.exposure", "camera.fov"}
	v.s.poke()
	v.s.mu.Unlock()
	v.until(`document.getElementById("trouble").textContent.includes("the tide") && document.getElementById("unsaved").textContent.includes("changed on disk")`)
	v.do(chromedp.Evaluate(`for (const id of ["sure", "picked", "progress"]) document.getElementById(id).textContent = "`+long+`"`, nil))
	require.Equal(t, was, eval[string](v, places))
	v.picture("trouble.png")
	v.s.mu.Lock()
	v.s.problem = ""
	v.s.poke()
	v.s.mu.Unlock()
	v.until(`document.getElementById("trouble").textContent === ""`)
	for _, width := range []int64{1001, 1151, 1250, 1381} {
		v.do(emulation.SetDeviceMetricsOverride(width, 900, 1, false))
		require.LessOrEqual(t, eval[float64](v, `Math.max(...[...document.querySelectorAll("#below .tools > *")].map(e => e.getBoundingClientRect().bottom)) - document.getElementById("notes").getBoundingClientRect().top`), 0.0, "%d px: the tools lie over the text", width)
		require.LessOrEqual(t, eval[float64](v, `document.getElementById("divider").getBoundingClientRect().bottom - document.getElementById("sure").getBoundingClientRect().top`), 0.0, "%d px", width)
	}
}

// A picture of an older state of the scene than the traced one is dimmed and says that it is old; where there is none yet, no other
// picture stands under its name.
func TestRasterSaysItsAge(t *testing.T) {
	v := open(t, 1440, 900)
	v.until(`document.getElementById("sure").dataset.enough === "true" && document.getElementById("rightname").textContent === "raster look"`)
	name := `document.getElementById("rightname").textContent`
	fresh := eval[int](v, red("0.8", "0.5"))
	take := `stage.take({ look: "%s", run: %d, width: 2, height: 2, box: [0, 0, 2, 2], samples: 1 }, new Uint8Array(16).fill(200))`
	in := func(script string) string {
		return eval[string](v, `(async () => { const stage = await import("/stage.js"); `+script+`; return `+name+`; })()`)
	}
	require.Equal(t, "raster look", in(fmt.Sprintf(take, "traced", 1000000)), "another view of the same scene")
	require.Equal(t, "raster look: old", in(`stage.changed(1000001); `+fmt.Sprintf(take, "traced", 1000001)))
	require.Less(t, eval[int](v, red("0.8", "0.5")), fresh-20, "dimmed")
	require.Equal(t, "raster look", in(fmt.Sprintf(take, "raster", 1000001)))
	require.InDelta(t, 200, eval[int](v, red("0.8", "0.5")), 4)
	require.Equal(t, "raster look: old", in(`stage.older({ look: "raster", run: 1000002 })`))
	require.Equal(t, "raster look", in(`stage.renewed({ look: "raster" })`), "an undo to what was drawn")
	require.Equal(t, "raster look: being drawn", in(`stage.looks.raster.frame = null; stage.paint()`))
	require.Equal(t, 0x4a, eval[int](v, red("0.8", "0.5")))
}

// The question of a file that changed lists what differs, and where both sides changed.
func TestQuestionListsDifferences(t *testing.T) {
	v := open(t, 390, 844)
	v.s.mu.Lock()
	v.s.stale, v.s.edited = true, []string{"view.exposure"}
	v.s.disk = []key{{"key": "view.exposure", "was": -1.2, "file": -2, "mine": 0.5, "both": true}, {"key": "camera.fov", "was": 20, "file": 24, "mine": 20}}
	v.s.poke()
	v.s.mu.Unlock()
	v.until(`!document.getElementById("save").disabled && document.getElementById("unsaved").textContent.includes("changed")`)
	v.do(chromedp.Click("#save"), chromedp.WaitVisible("dialog"))
	words := eval[string](v, `document.querySelector("dialog").textContent`)
	for _, w := range []string{"Changed on both sides: 1", "camera.fov", "-1.2-20.5", "Put my changes onto the new file", "drop my change"} {
		require.Contains(t, words, w)
	}
	require.LessOrEqual(t, eval[int](v, `document.documentElement.scrollWidth`), 390)
	v.picture("question.png")
}

// What is held over the page is lit where it would be tried; two files are asked for one after the other, each with the slot first
// that suits its name and its place.
func TestDropByPlace(t *testing.T) {
	v := open(t, 1440, 900)
	v.do(chromedp.Evaluate(`window.held = (kind, id, x, y, ...names) => { const d = new DataTransfer(), e = document.getElementById(id), r = e.getBoundingClientRect(); for (const n of names) d.items.add(new File(["reeds"], n));
		e.dispatchEvent(new DragEvent(kind, { dataTransfer: d, bubbles: true, cancelable: true, clientX: r.left + x * r.width, clientY: r.top + y * r.height })); }`, nil))
	lit := `document.getElementById("sheet").dataset.drop || ""`
	for _, c := range []struct {
		x, y float64
		want string
	}{{0.5 + 4/span, 0.5, "iris"}, {0.5 + 9/span, 0.5, "white"}, {0.02, 0.02, "light"}} {
		v.do(chromedp.Evaluate(fmt.Sprintf(`held("dragover", "picture", %g, %g, "reeds.png")`, c.x, c.y), nil))
		require.Contains(t, eval[string](v, lit), c.want)
	}
	v.picture("lit.png")
	v.do(chromedp.Evaluate(fmt.Sprintf(`held("drop", "picture", %g, 0.5, "reeds.png", "reeds_normal.png")`, 0.5+4/span), nil), chromedp.WaitVisible("dialog select"))
	require.Empty(t, eval[string](v, lit))
	first := `document.querySelector("dialog").textContent.split("It is")[0] + " " + document.querySelector("dialog select").value`
	require.Equal(t, "Try reeds.png, 1 of 2 objects.keeper.iris.colour", eval[string](v, first))
	v.picture("drop.png")
	v.do(chromedp.Click("dialog .answers button:last-child"))
	v.until(`document.querySelector("dialog") && document.querySelector("dialog").textContent.includes("2 of 2")`)
	require.Equal(t, "Try reeds_normal.png, 2 of 2 objects.keeper.iris.normal.file", eval[string](v, first))
}

// While a catchlight is dragged by its handle the picture names it and nothing else, and the handle is where the hand is.
func TestDraggedCatchlightIsNamed(t *testing.T) {
	v := open(t, 1440, 900)
	at := eval[[2]float64](v, `(() => { const r = document.querySelector("button.handle.light").getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()`)
	mouse := func(kind input.MouseType, d float64) chromedp.Action {
		return input.DispatchMouseEvent(kind, at[0]+d, at[1]+d).WithButton(input.Left).WithButtons(1).WithClickCount(1)
	}
	v.do(mouse(input.MousePressed, 0), mouse(input.MouseMoved, 10), mouse(input.MouseMoved, 60))
	v.answered()
	require.Equal(t, "Catchlight of window", eval[string](v, `document.getElementById("hint").textContent`))
	require.Empty(t, eval[string](v, `document.getElementById("lines").innerHTML`), "no outline")
	now := eval[float64](v, `(() => { const r = document.querySelector("button.handle.light").getBoundingClientRect(); return r.left + r.width / 2; })()`)
	require.InDelta(t, at[0]+60, now, 12)
	v.do(mouse(input.MouseReleased, 60))
}

// Names on the dome lie over no lamp and no other name, and in the drawing.
func TestDomeNames(t *testing.T) {
	v := open(t, 1440, 900)
	v.do(chromedp.Evaluate(`(async () => (await import("/dome.js")).dome([["rim", 112, 14], ["skylight", 105, 30], ["wall", -70, 4], ["hearth", -76, -3], ["window", -28, 26], ["lamp", -24, 22]].map(([name, azimuth, elevation]) => ({ name, azimuth, elevation })), null, "rim", () => {}))()`, nil, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	bad := eval[[]string](v, `(() => { const b = [...document.querySelectorAll("#dome .lamp text")].map(e => [e.textContent, e.getBoundingClientRect()]), d = document.getElementById("dome").getBoundingClientRect(), out = [];
		for (const [n, r] of b) {
			if (r.left < d.left - 1 || r.right > d.right + 1) out.push(n + " is cut");
			for (const [m, s] of b) if (n < m && Math.min(r.right, s.right) - Math.max(r.left, s.left) > 1 && Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top) > 3) out.push(n + " over " + m);
		}
		return out; })()`)
	v.picture("dome.png")
	require.Empty(t, bad)
}

// Where the server asks whether a scene without a picture shall be saved, nothing is saved before the answer.
func TestSaveAsks(t *testing.T) {
	v := open(t, 1440, 900)
	v.s.mu.Lock()
	v.s.ask, v.s.edited = true, []string{"view.exposure"}
	v.s.poke()
	v.s.mu.Unlock()
	v.until(`!document.getElementById("save").disabled`)
	v.heard("/save")
	v.do(chromedp.Click("#save"), chromedp.WaitVisible("dialog"))
	require.Contains(t, eval[string](v, `document.querySelector("dialog").textContent`), "iris.png is no picture")
	require.Len(t, v.heard("/save"), 1)
	v.do(chromedp.Click("dialog .answers button:last-child"))
	v.until(`!document.querySelector("dialog")`)
	require.Empty(t, v.heard("/save"))
	v.do(chromedp.Click("#save"), chromedp.WaitVisible("dialog"), chromedp.Click("dialog .answers button"))
	v.until(`document.getElementById("unsaved").textContent === "as saved"`)
	saves := v.heard("/save")
	require.Equal(t, true, saves[len(saves)-1]["anyway"])
}
