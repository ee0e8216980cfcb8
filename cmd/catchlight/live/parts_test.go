package live

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// Frames are read whole from a body that comes in pieces of any size, words between them too.
func TestStream(t *testing.T) {
	v := open(t, 1440, 900)
	got := eval[[]string](v, `(async () => {
		const { read } = await import("/stream.js");
		const text = new TextEncoder();
		let parts = new Uint8Array(0);
		for (const [h, n] of [[{look: "traced", bytes: 300000}, 300000], [{word: "state", bytes: 0}, 0], [{look: "raster", bytes: 4}, 4]]) {
			const head = text.encode(JSON.stringify(h)), all = new Uint8Array(4 + head.length + n);
			new DataView(all.buffer).setUint32(0, head.length, true);
			all.set(head, 4);
			all.fill(n % 251, 4 + head.length);
			const more = new Uint8Array(parts.length + all.length);
			more.set(parts);
			more.set(all, parts.length);
			parts = more;
		}
		const out = [];
		for (const size of [1, 7, 65536, 1e6]) {
			let at = 0;
			const body = new ReadableStream({ pull(c) { if (at >= parts.length) c.close(); else c.enqueue(parts.slice(at, at += size === 1 && at > 60 && at < 299000 ? 50000 : size)); } });
			let s = "";
			await read(body, (h, b) => { s += (h.look || h.word) + " " + (b ? b.length + " " + b.every(x => x === b.length % 251) : "none") + "; "; });
			out.push(s);
		}
		return out;
	})()`)
	for _, s := range got {
		require.Equal(t, "traced 300000 true; state none; raster 4 true; ", s)
	}
}

// Of requests that wait the newest of a kind is sent, the others never; those of another kind keep their order, and one is on its
// way at a time.
func TestNewestWins(t *testing.T) {
	v := open(t, 1440, 900)
	v.heard("/set")
	most := eval[int](v, `(async () => {
		const { send } = await import("/talk.js"), fetch0 = window.fetch;
		let now = 0, most = 0;
		window.fetch = async (...a) => { if (a[0] !== "/set") return fetch0(...a); most = Math.max(most, ++now); try { return await fetch0(...a); } finally { now--; } };
		const all = [];
		for (let i = 0; i < 50; i++) {
			all.push(send("a", "/set", { gesture: "a", changes: [{ key: "view.exposure", value: i }] }));
			if (i % 10 === 0) all.push(send("b" + i, "/set", { gesture: "b" + i, changes: [{ key: "light_setup.rotation", value: i }] }));
		}
		await Promise.all(all);
		window.fetch = fetch0;
		return most;
	})()`)
	require.Equal(t, 1, most)
	var exposures, turns []float64
	for _, s := range v.heard("/set") {
		c := s["changes"].([]any)[0].(map[string]any)
		if c["key"] == "view.exposure" {
			exposures = append(exposures, c["value"].(float64))
		} else {
			turns = append(turns, c["value"].(float64))
		}
	}
	require.Equal(t, []float64{49}, exposures)
	require.Equal(t, []float64{0, 10, 20, 30, 40}, turns)
}

// A frame of an older change never replaces one of a newer.
func TestOlderFramesAreLeft(t *testing.T) {
	v := open(t, 1440, 900)
	got := eval[[]int](v, `(async () => {
		const { Look } = await import("/picture.js"), l = new Look();
		const frame = (run, c, box = [0, 0, 2, 2]) => l.take({ run, width: 2, height: 2, box }, new Uint8Array(4 * (box[2] - box[0]) * (box[3] - box[1])).fill(c), 4, 4);
		const red = () => l.canvas.getContext("2d").getImageData(1, 1, 1, 1).data[0];
		const out = [];
		for (const [run, c] of [[5, 255], [4, 128], [5, 254], [7, 253], [6, 128]]) {
			frame(run, c);
			out.push(red());
		}
		return out;
	})()`)
	require.Equal(t, []int{255, 255, 254, 253, 253}, got)
}

// Held keys: B shows what was there before the last change, M one map alone, as long as they are down.
func TestHeldKeys(t *testing.T) {
	v := open(t, 1440, 900)
	v.until(`document.getElementById("sure").dataset.enough === "true"`)
	grey := `(() => { const c = document.getElementById("picture"); return c.getContext("2d").getImageData(c.width * 0.2 | 0, c.height / 2 | 0, 1, 1).data[0]; })()`
	was := eval[int](v, grey)
	box := `.dial[data-keys="view.exposure"] input[type=text]`
	v.do(chromedp.Evaluate(`(() => { const e = document.querySelector('`+box+`'); e.focus(); e.select(); })()`, nil), chromedp.KeyEvent("-4"+kb.Enter))
	v.until(grey + " < " + `100`)
	now := eval[int](v, grey)
	require.Less(t, now, was-40)
	press := func(kind, key string) {
		v.do(chromedp.Evaluate(`document.body.dispatchEvent(new KeyboardEvent("`+kind+`", { key: "`+key+`", bubbles: true }))`, nil))
	}
	v.do(chromedp.Evaluate(`document.activeElement.blur()`, nil))
	press("keydown", "b")
	require.Equal(t, was, eval[int](v, grey), "the picture before the change")
	press("keyup", "b")
	require.InDelta(t, now, eval[int](v, grey), 3)
	v.heard("/view")
	press("keydown", "m")
	require.Equal(t, "albedo", v.heard("/view")[0]["alone"])
	press("keyup", "m")
	require.Equal(t, "", v.heard("/view")[0]["alone"])
}

// Everything that a hand does is done by the keyboard, too: the way through the page by Tab meets every control, the divider moves by
// arrows, Control-Z undoes, and a question about a file that changed is answered.
func TestKeyboardAlone(t *testing.T) {
	v := open(t, 1440, 900)
	v.do(chromedp.Focus("#divider"), chromedp.KeyEvent(kb.ArrowRight))
	require.Equal(t, "501", eval[string](v, `document.getElementById("divider").value`))
	missed := eval[[]string](v, `[...document.querySelectorAll("button, input, select, summary")].filter(e => e.type !== "file" && !e.disabled && e.offsetParent && e.tabIndex < 0).map(e => e.outerHTML)`)
	require.Empty(t, missed)
	v.do(chromedp.Focus(`.dial[data-keys="view.exposure"] input[type=range]`), chromedp.KeyEvent(kb.ArrowRight))
	v.until(`!document.getElementById("save").disabled && document.getElementById("unsaved").textContent === "1 key not saved"`)
	v.heard("/undo")
	v.do(chromedp.KeyEvent("z", chromedp.KeyModifiers(2)))
	require.Len(t, v.heard("/undo"), 1)

	v.s.mu.Lock()
	v.s.stale = true
	v.s.mu.Unlock()
	v.do(chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent("s", chromedp.KeyModifiers(2)), chromedp.WaitVisible("dialog"))
	require.Empty(t, v.heard("/reload"), "nothing is taken before the answer")
	v.do(chromedp.KeyEvent(kb.Enter)) // the first answer: keep mine
	v.until(`!document.querySelector("dialog")`)
	v.until(`document.getElementById("unsaved").textContent === "as saved"`)
	v.s.mu.Lock()
	defer v.s.mu.Unlock()
	all := strings.Join(v.s.said, "\n")
	require.Regexp(t, `(?s)/reload .*"mine".*/save `, all, "saved once the question was answered")
}

// What is said to those who do not see comes at most once a second, and the newest of it.
func TestSaidOnceASecond(t *testing.T) {
	v := open(t, 1440, 900)
	times := eval[[]float64](v, `(async () => {
		const { say } = await import("/say.js"), times = [];
		const o = new MutationObserver(() => times.push(performance.now()));
		o.observe(document.getElementById("said"), { childList: true, characterData: true, subtree: true });
		for (let i = 0; i < 24; i++) {
			say("tide " + i);
			await new Promise(f => setTimeout(f, 100));
		}
		await new Promise(f => setTimeout(f, 1100));
		o.disconnect();
		return times;
	})()`)
	require.NotEmpty(t, times)
	for i := 1; i < len(times); i++ {
		require.GreaterOrEqual(t, times[i]-times[i-1], 990.0)
	}
	require.Equal(t, "tide 23", eval[string](v, `document.getElementById("said").textContent`))
}

// Lists: an entry is switched, moved, copied, removed and added by buttons, which keep the focus where it was.
func TestLists(t *testing.T) {
	v := open(t, 1440, 900)
	press := func(label string) {
		v.do(chromedp.Focus(`#lights [aria-label="`+label+`"]`), chromedp.KeyEvent(" "))
	}
	v.heard("/list")
	for _, c := range []struct{ label, op, name, to string }{
		{"move window up", "move", "window", "0"}, {"move window down", "move", "window", "2"}, {"copy rim", "copy", "rim", "rim-copy"}, {"remove room", "remove", "room", ""},
	} {
		press(c.label)
		got := v.heard("/list")
		require.Len(t, got, 1, c.label)
		to, _ := got[0]["to"].(string)
		require.Equal(t, []string{"lights", c.op, c.name, c.to}, []string{got[0]["key"].(string), got[0]["op"].(string), got[0]["name"].(string), to})
		require.Equal(t, c.label, eval[string](v, `document.activeElement.getAttribute("aria-label") || ""`))
	}
	v.do(chromedp.SendKeys(`#lights .adder input`, "lantern"), chromedp.Focus("#lights .adder button"), chromedp.KeyEvent(kb.Enter))
	got := v.heard("/list")
	require.Equal(t, "add lantern environment", got[0]["op"].(string)+" "+got[0]["name"].(string)+" "+got[0]["to"].(string))
	press("rim is on")
	require.Equal(t, map[string]any{"key": "lights.rim.on", "value": false}, v.heard("/set")[0]["changes"].([]any)[0])
}

// A file that is dropped is tried in the slot that is picked, and nothing is sent before.
func TestDrop(t *testing.T) {
	v := open(t, 1440, 900)
	v.do(chromedp.Evaluate(`(() => { const d = new DataTransfer(); d.items.add(new File(["reeds"], "reeds.png")); dispatchEvent(new DragEvent("drop", { dataTransfer: d, cancelable: true })); })()`, nil),
		chromedp.WaitVisible("dialog select"))
	slots := eval[[]string](v, `[...document.querySelectorAll("dialog option")].map(o => o.value)`)
	require.Contains(t, slots, "objects.keeper.iris.normal.file")
	require.NotContains(t, slots, "objects.keeper.iris.colour.file", "each place once")
	require.NotContains(t, slots, "lights.room.file", "a place takes no .png")
	v.s.mu.Lock()
	said := len(v.s.said)
	v.s.mu.Unlock()
	v.do(chromedp.SetValue("dialog select", "objects.keeper.iris.normal.file"), chromedp.Click("dialog .answers button"))
	v.until(`!document.querySelector("dialog")`)
	require.Eventually(t, func() bool {
		v.s.mu.Lock()
		defer v.s.mu.Unlock()
		return len(v.s.said) > said && strings.Contains(v.s.said[len(v.s.said)-1], "/drop objects.keeper.iris.normal.file reeds.png reeds")
	}, 5*time.Second, 20*time.Millisecond)
}

// A change waits for the picture of the one before it, so that a fast hand sees pictures; what is no change does not wait.
func TestChangesWaitForPictures(t *testing.T) {
	v := open(t, 1440, 900)
	got := eval[[]string](v, `(async () => {
		const { send, showed } = await import("/talk.js"), fetch0 = window.fetch, out = [];
		window.fetch = async (path, o) => {
			if (!o || !o.method) return fetch0(path, o);
			const b = JSON.parse(o.body);
			if (path !== "/view") out.push(path + " " + (b.n ?? ""));
			return new Response(JSON.stringify({ run: 1e6 + (b.n || 0) }), { headers: { "Content-Type": "application/json" } });
		};
		await send("g", "/set", { n: 1 });
		const second = send("g", "/set", { n: 2 });
		await new Promise(f => setTimeout(f, 100));
		out.push("picture");
		showed(1e6 + 1);
		await second;
		await send("u", "/undo", {});
		window.fetch = fetch0;
		return out;
	})()`)
	require.Equal(t, []string{"/set 1", "picture", "/set 2", "/undo "}, got)
}

// The scatter radius is drawn at the scale of the picture while its dial is at hand, and follows it.
func TestScatterAtScale(t *testing.T) {
	v := open(t, 1440, 900)
	radius := `Number((document.querySelector("#lines .scale") || { getAttribute: () => 0 }).getAttribute("rx"))`
	require.Zero(t, eval[float64](v, radius))
	slider := `.dial[data-keys="objects.keeper.sclera.scatter_radius"] input[type=range]`
	v.do(chromedp.Focus(slider))
	mean := math.Cbrt(0.32 * 0.265 * 0.19)
	require.InDelta(t, mean/span, eval[float64](v, radius), 1e-4)
	v.heard("/set")
	v.do(chromedp.KeyEvent(kb.ArrowRight))
	c := v.heard("/set")[0]["changes"].([]any)[0].(map[string]any)["value"].([]any)
	now := math.Cbrt(c[0].(float64) * c[1].(float64) * c[2].(float64))
	require.Greater(t, now, mean)
	require.InDelta(t, now/span, eval[float64](v, radius), 1e-4)
	require.InDelta(t, 0.32/0.19, c[0].(float64)/c[2].(float64), 0.01, "channels keep their ratios")
	v.do(chromedp.Focus("#find"))
	require.Zero(t, eval[float64](v, radius))
}

// On an eye from a file there are no controls of what is painted on built ones, neither in reach nor by search.
func TestEyeOfAFile(t *testing.T) {
	v := open(t, 1440, 900)
	v.s.mu.Lock()
	v.s.values["objects.keeper.asset.file"] = "heron.glb"
	v.s.poke()
	v.s.mu.Unlock()
	v.until(`document.getElementById("eye").textContent.includes("Its colour comes from the eye's own file")`)
	keys := eval[[]string](v, `[...document.querySelectorAll("#eye .dial")].map(d => d.dataset.keys)`)
	require.Contains(t, keys, "objects.keeper.limbus.width")
	require.Contains(t, keys, "objects.keeper.sclera.tint")
	for _, k := range keys {
		require.NotContains(t, k, ".paint.")
	}
	v.do(chromedp.SendKeys("#find", "pigment built pattern"))
	v.until(`document.getElementById("foundcount").textContent === "No key has these words."`)

	// One that borrows has the borrowed veins to quieten, and says that its colour may be borrowed.
	v.s.mu.Lock()
	v.s.values["objects.keeper.asset.borrow"], v.s.values["objects.keeper.iris.pupil"] = true, 0.0
	v.s.poke()
	v.s.mu.Unlock()
	v.until(`document.getElementById("eye").textContent.includes("borrowed from the built-in eye where it has none")`)
	pupil := `document.querySelector('.dial[data-keys="objects.keeper.iris.pupil"]')`
	require.Equal(t, "not set (as its own file has it)", eval[string](v, pupil+`.querySelector("input[type=text]").value + `+pupil+`.querySelector(".note").textContent`), "and not 0 mm")
	v.heard("/set")
	v.do(chromedp.Evaluate(`(e => { e.focus(); e.select(); })(document.querySelector('.dial[data-keys="objects.keeper.sclera.veins"] input[type=text]'))`, nil), chromedp.KeyEvent("0.75"+kb.Enter))
	require.Equal(t, 0.25, v.heard("/set")[0]["changes"].([]any)[0].(map[string]any)["value"], "quieter is less of them")
	v.do(chromedp.Evaluate(`(e => { e.value = "tone down"; e.dispatchEvent(new Event("input")); })(document.getElementById("find"))`, nil))
	v.until(`document.getElementById("found").textContent.includes("objects.keeper.sclera.veins")`)
}

// red returns the red channel of the canvas at shares of its width and height.
func red(x, y string) string {
	return `(() => { const c = document.getElementById("picture"); return c.getContext("2d").getImageData(c.width * ` + x + ` | 0, c.height * ` + y + ` | 0, 1, 1).data[0]; })()`
}

// A snapshot is laid beside the picture, moves with the divider and follows the exposure where it is asked to; two are compared by
// their keys.
func TestReferences(t *testing.T) {
	v := open(t, 1440, 900)
	v.until(`document.getElementById("sure").dataset.enough === "true"`)
	for _, name := range []string{"ebb", "flood"} {
		v.do(chromedp.Click("#shoot"), chromedp.WaitVisible("#shotname"), chromedp.Evaluate(`document.getElementById("shotname").select()`, nil), chromedp.SendKeys("#shotname", name), chromedp.Click("dialog .answers button"))
		require.Equal(t, name, v.heard("/snapshot")[0]["name"])
		v.until(`!document.querySelector("dialog")`)
	}
	v.until(`document.getElementById("shots").textContent === "Snapshots (2)"`)
	v.do(chromedp.Click("#shots"), chromedp.WaitVisible(".shots li:nth-child(2) img"), chromedp.Click(`[aria-label="compare ebb"]`), chromedp.Click(`[aria-label="compare flood"]`))
	v.until(`document.querySelector(".changed caption") && document.querySelector(".changed").textContent.includes("view.exposure")`)
	v.picture("shots.png")
	v.until(`document.querySelector(".shots img").complete`)
	v.do(chromedp.Click(".shots li:nth-child(1) button"))
	v.until(`!document.querySelector("dialog")`)
	require.InDelta(t, 180, eval[int](v, red("0.9", "0.5")), 1, "at the right of the divider")
	require.NotEqual(t, 180, eval[int](v, red("0.3", "0.5")), "at its left")
	v.do(chromedp.Evaluate(`(() => { const d = document.getElementById("divider"); d.value = 950; d.dispatchEvent(new Event("input")); })()`, nil))
	require.Less(t, eval[int](v, red("0.9", "0.05")), 100, "the divider has moved over it")
	v.do(chromedp.Evaluate(`(() => { const d = document.getElementById("divider"); d.value = 500; d.dispatchEvent(new Event("input")); })()`, nil))

	// One stop more light: the signal 180 is 0.456 of linear light, twice that is 0.913 and the signal 244 (IEC 61966-2-1).
	v.do(chromedp.Click("#level"), chromedp.Evaluate(`(e => { e.focus(); e.select(); })(document.querySelector('.dial[data-keys="view.exposure"] input[type=text]'))`, nil), chromedp.KeyEvent("-0.2"+kb.Enter))
	v.until(`Math.abs(` + red("0.9", "0.5") + ` - 244) <= 1`)
	v.do(chromedp.Click("#level"))
	require.InDelta(t, 180, eval[int](v, red("0.9", "0.5")), 1)
}

// The picture of the side that was left stays at hand and lies beside the other.
func TestSides(t *testing.T) {
	v := open(t, 1440, 900)
	v.until(`document.getElementById("sure").dataset.enough === "true"`)
	was := eval[int](v, red("0.8", "0.5"))
	require.True(t, eval[bool](v, `document.querySelector("#beside [value=side]").disabled`), "there is no other side yet")
	v.do(chromedp.Click("#sideB"))
	require.Equal(t, "B", v.heard("/side")[0]["to"])
	v.until(`document.getElementById("sideB").getAttribute("aria-pressed") === "true"`)
	v.do(chromedp.Evaluate(`(e => { e.focus(); e.select(); })(document.querySelector('.dial[data-keys="view.exposure"] input[type=text]'))`, nil), chromedp.KeyEvent("-4"+kb.Enter))
	v.until(red("0.2", "0.5") + ` < 100`)
	v.do(chromedp.SetValue("#beside", "side"), chromedp.Evaluate(`document.getElementById("beside").dispatchEvent(new Event("change"))`, nil))
	// It was the traced picture, while the raster look stood there before.
	require.InDelta(t, eval[int](v, `(async () => (await import("/stage.js")).other.canvas.getContext("2d").getImageData(0.8 * 512 | 0, 256, 1, 1).data[0])()`), eval[int](v, red("0.8", "0.5")), 1)
	require.Greater(t, eval[int](v, red("0.8", "0.5")), was-30)
	require.Less(t, eval[int](v, red("0.2", "0.5")), 100)
}

// Closer in, the whole film is asked for at more pixels and what is seen of it first; the wheel keeps the place under it.
func TestZoom(t *testing.T) {
	v := open(t, 1440, 900)
	v.heard("/view")
	v.do(chromedp.Click("#closer"), chromedp.Click("#closer"))
	views := v.heard("/view")
	last := views[len(views)-1]
	require.Equal(t, 1152.0, last["width"], "2.25 times 512")
	crop := last["crop"].([]any)
	require.InDelta(t, 1/2.25, crop[2].(float64)-crop[0].(float64), 1e-9)
	require.InDelta(t, 1, crop[2].(float64)+crop[0].(float64), 1e-9)
	at := `(async () => { const s = await import("/stage.js"), r = document.getElementById("picture").getBoundingClientRect(); return s.film({ clientX: Math.round(r.left + 0.25 * r.width), clientY: Math.round(r.top + 0.75 * r.height) }); })()`
	before := eval[[]float64](v, at)
	v.do(chromedp.Evaluate(`(() => { const r = document.getElementById("picture").getBoundingClientRect(); document.getElementById("sheet").dispatchEvent(new WheelEvent("wheel", { deltaY: -200, clientX: Math.round(r.left + 0.25 * r.width), clientY: Math.round(r.top + 0.75 * r.height), cancelable: true })); })()`, nil))
	after := eval[[]float64](v, at)
	require.InDelta(t, before[0], after[0], 1e-6)
	require.InDelta(t, before[1], after[1], 1e-6)
	v.do(chromedp.Click("#fit"))
	views = v.heard("/view")
	require.Equal(t, []any{0.0, 0.0, 0.0, 0.0}, views[len(views)-1]["crop"])
}

// A clock position is typed as people say it, 12:15 or 12.25, goes round at twelve, is sent in (0, 12] and shown in hours and minutes.
func TestClock(t *testing.T) {
	v := open(t, 1440, 900)
	v.do(chromedp.Evaluate(`[...document.querySelectorAll("#onelight .dial")].find(d => d.textContent.startsWith("O'clock")).id = "clock"`, nil))
	v.heard("/aim")
	for _, c := range []struct {
		typed string
		sent  float64
		shown string
	}{{"10", 10, "10:00"}, {"12.25", 0.25, "12:15"}, {"13", 1, "1:00"}, {"0", 12, "12:00"}, {"10:30", 10.5, "10:30"}, {"24:00", 12, "12:00"}, {"1", 1, "1:00"}} {
		v.do(chromedp.Evaluate(`(e => { e.focus(); e.select(); })(document.querySelector("#clock input[type=text]"))`, nil), chromedp.KeyEvent(c.typed+kb.Enter))
		v.until(`document.querySelector("#clock input[type=text]").value === "` + c.shown + `"`)
		got := v.heard("/aim")
		require.Len(t, got, 1)
		require.Equal(t, c.sent, got[0]["clock"])
		require.InDelta(t, 2.4, got[0]["mm"], 1e-9)
		require.Nil(t, got[0]["size"], "the light keeps its size")
	}
	v.do(chromedp.Evaluate(`document.activeElement.select()`, nil), chromedp.KeyEvent("25"+kb.Tab))
	require.Contains(t, eval[string](v, `document.querySelector("#clock .wrong").textContent`), "O'clock: \u201c25")
	v.until(`document.querySelector("#clock input[type=text]").value === "1:00"`)
	require.Empty(t, v.heard("/aim"))
}

// The dome shows equal angles as equal distances (the azimuthal equidistant projection): straight ahead in its middle, square to it
// on the rim, what is behind hollow and outside.
func TestDome(t *testing.T) {
	v := open(t, 1440, 900)
	for _, c := range []struct {
		azimuth, elevation float64
		x, y               float64 // in radii of the rim
		behind             bool
	}{{0, 0, 0, 0, false}, {90, 0, 1, 0, false}, {-45, 0, -0.5, 0, false}, {0, 45, 0, -0.5, false}, {0, -89.9, 0, 0.9989, false}, {110, 0, 110.0 / 90, 0, true},
		{60, 45, 0.5040, -0.5820, false}, // off = acos(cos 45 cos 60) = 69.30 degrees, across = (sin 60 cos 45, sin 45) of 0.9354
	} {
		got := eval[map[string]any](v, fmt.Sprintf(`(async () => (await import("/dome.js")).spot(%g, %g))()`, c.azimuth, c.elevation))
		require.InDelta(t, c.x, got["x"].(float64)/62, 2e-3, "%v", c)
		require.InDelta(t, c.y, got["y"].(float64)/62, 2e-3, "%v", c)
		require.Equal(t, c.behind, got["behind"], "%v", c)
	}
	require.Contains(t, eval[string](v, `document.getElementById("domewords").textContent`), "window: -28° round, 26° up")
}

// Two fingers zoom and move the picture and take hold of nothing; the arrows on the zoom's buttons move it, too.
func TestTwoFingers(t *testing.T) {
	v := open(t, 390, 844)
	v.heard("/turn")
	r := eval[[4]float64](v, `(() => { const r = document.getElementById("picture").getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
	touch := func(kind input.TouchType, points ...[2]float64) chromedp.Action {
		var list []*input.TouchPoint
		for i, p := range points {
			list = append(list, &input.TouchPoint{X: r[0] + p[0]*r[2], Y: r[1] + p[1]*r[3], ID: float64(i + 1)})
		}
		return input.DispatchTouchEvent(kind, list)
	}
	a, b := [2]float64{0.45, 0.5}, [2]float64{0.55, 0.5}
	v.do(touch(input.TouchStart, a), touch(input.TouchStart, a, b), touch(input.TouchMove, [2]float64{0.4, 0.5}, [2]float64{0.6, 0.5}), touch(input.TouchMove, [2]float64{0.35, 0.5}, [2]float64{0.65, 0.5}), touch(input.TouchEnd))
	box := eval[[4]float64](v, `(async () => (await import("/stage.js")).box())()`)
	require.InDelta(t, 1.0/3, box[2]-box[0], 0.01, "three times as wide apart")
	require.InDelta(t, 0.5, (box[0]+box[2])/2, 0.02)
	require.Empty(t, v.heard("/turn"))
	require.Empty(t, v.heard("/pick"))
	v.do(chromedp.Focus("#closer"), chromedp.KeyEvent(kb.ArrowRight))
	moved := eval[[4]float64](v, `(async () => (await import("/stage.js")).box())()`)
	require.InDelta(t, 0.1/3, moved[0]-box[0], 0.002)
}
