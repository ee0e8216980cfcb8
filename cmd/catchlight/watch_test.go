package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"image/png"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/cmd/live"
	"catchlight/render"
	"catchlight/render/desk"
	"catchlight/scene"
	"catchlight/scene/edit"
)

// tinyEngine shows each scene as one grey pixel of its exposure, for the server's own behaviour.
type tinyEngine struct {
	out  chan live.Frame
	want chan live.Frame
	done chan struct{}
	once sync.Once

	mu    sync.Mutex
	shown []*scene.Description
}

var tinyRunning atomic.Int32

func newTiny() *tinyEngine {
	e := &tinyEngine{out: make(chan live.Frame), want: make(chan live.Frame, 1), done: make(chan struct{})}
	tinyRunning.Add(1)
	go func() {
		defer close(e.out)
		defer tinyRunning.Add(-1)
		for {
			select {
			case f := <-e.want:
				select {
				case e.out <- f:
				case <-e.done:
					return
				}
			case <-e.done:
				return
			}
		}
	}()
	return e
}

func (e *tinyEngine) Show(run uint64, d *scene.Description, v live.View, _ []live.Light) {
	e.mu.Lock()
	e.shown = append(e.shown[max(0, len(e.shown)-3):], d)
	e.mu.Unlock()
	grey := byte(100 + 10*d.View.Exposure)
	f := live.Frame{Run: run, Look: live.Traced, Samples: 1, Width: 1, Height: 1, Box: [4]int{0, 0, 1, 1}, RGBA: []byte{grey, grey, grey, 255},
		Marks: &live.Marks{Centre: [2]float64{.5, .5}}}
	for {
		select {
		case e.want <- f:
			return
		default:
		}
		select {
		case <-e.want: // the newest wins
		default:
		}
	}
}

func (e *tinyEngine) Frames() <-chan live.Frame { return e.out }
func (e *tinyEngine) Close()                    { e.once.Do(func() { close(e.done) }) }

func (e *tinyEngine) Turn(handle string, from, to [2]float64, _ bool) ([]edit.Change, error) {
	if handle != "orbit" {
		return nil, fmt.Errorf("no handle %s", handle)
	}
	return []edit.Change{{Key: "camera.orbit.azimuth", Value: 100 * (to[0] - from[0])}}, nil
}

func (e *tinyEngine) Aim(light string, to live.Target) ([]edit.Change, error) {
	return []edit.Change{{Key: "lights." + light + ".ev", Value: to.Clock}}, nil
}

// visitor is a browser that looks at a served scene.
type visitor struct {
	t       *testing.T
	s       *session
	file    string
	address string // as printed
	base    string
	client  *http.Client
	end     func() error
}

const floats = "# A float on the marsh.\nview: {exposure: 1} # at noon\n" + float

// openPage serves a scene with the tiny engine and enters.
func openPage(t *testing.T, start func() engine) *visitor {
	t.Helper()
	file := filepath.Join(t.TempDir(), "float.yaml")
	require.NoError(t, os.WriteFile(file, []byte(floats), 0o666))
	k, err := desk.Open(file, desk.Options{Journals: t.TempDir()})
	require.NoError(t, err)
	if start == nil {
		start = func() engine { return newTiny() }
	}
	return serveTo(t, k, file, start)
}

// serveTo serves a desk and enters.
func serveTo(t *testing.T, k *desk.Desk, file string, start func() engine) *visitor {
	t.Helper()
	p := &visitor{t: t, s: newSession(k, start), file: file}
	p.s.finish.dir, p.s.finish.cache, p.s.finish.say = filepath.Join(filepath.Dir(file), "out"), render.NewCache(), p.s.hub.say
	ctx, cancel := context.WithCancel(context.Background())
	told, done := make(chan string, 1), make(chan error, 1)
	go func() { done <- p.s.serve(ctx, 0, "", func(a string) { told <- a }) }()
	p.address = <-told
	var once sync.Once
	p.end = func() (err error) {
		once.Do(func() {
			cancel()
			err = <-done
			require.NoError(t, k.Close())
		})
		return err
	}
	t.Cleanup(func() { _ = p.end() })
	u, err := url.Parse(p.address)
	require.NoError(t, err)
	p.base = "http://" + u.Host
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	p.client = &http.Client{Jar: jar}
	r, err := p.client.Get(p.address)
	require.NoError(t, err)
	text, err := io.ReadAll(r.Body)
	r.Body.Close()
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, r.StatusCode)
	require.Equal(t, "/", r.Request.URL.RequestURI(), "the key is not in the address any more")
	require.Contains(t, string(text), "<html")
	return p
}

// ask sends a request and returns its code and answer.
func (p *visitor) ask(method, path, body string) (int, map[string]any) {
	p.t.Helper()
	r, err := http.NewRequest(method, p.base+path, strings.NewReader(body))
	require.NoError(p.t, err)
	if method == "POST" && !strings.HasPrefix(path, "/drop") {
		r.Header.Set("Content-Type", "application/json")
	}
	w, err := p.client.Do(r)
	require.NoError(p.t, err)
	defer w.Body.Close()
	data, err := io.ReadAll(w.Body)
	require.NoError(p.t, err)
	var out map[string]any
	_ = json.Unmarshal(data, &out)
	return w.StatusCode, out
}

func (p *visitor) post(path, body string) map[string]any {
	p.t.Helper()
	code, out := p.ask("POST", path, body)
	require.Equal(p.t, http.StatusOK, code, "%s %s: %v", path, body, out)
	return out
}

// reader reads a stream of frames.
type reader struct {
	t    *testing.T
	body io.ReadCloser
}

func (p *visitor) frames(tab string) *reader {
	p.t.Helper()
	w, err := p.client.Get(p.base + "/frames?tab=" + tab)
	require.NoError(p.t, err)
	require.Equal(p.t, http.StatusOK, w.StatusCode)
	return &reader{p.t, w.Body}
}

func (r *reader) next() (map[string]any, []byte, error) {
	var n uint32
	if err := binary.Read(r.body, binary.LittleEndian, &n); err != nil {
		return nil, nil, err
	}
	data := make([]byte, n)
	if _, err := io.ReadFull(r.body, data); err != nil {
		return nil, nil, err
	}
	var head map[string]any
	require.NoError(r.t, json.Unmarshal(data, &head))
	pix := make([]byte, int(head["bytes"].(float64)))
	_, err := io.ReadFull(r.body, pix)
	return head, pix, err
}

// until reads on to what is wanted.
func (r *reader) until(want func(head map[string]any, pix []byte) bool) map[string]any {
	r.t.Helper()
	for {
		head, pix, err := r.next()
		require.NoError(r.t, err)
		if want(head, pix) {
			return head
		}
	}
}

// grey waits for a picture of an exposure.
func (r *reader) grey(exposure float64) map[string]any {
	return r.until(func(_ map[string]any, pix []byte) bool { return len(pix) == 4 && pix[0] == byte(100+10*exposure) })
}

func isWord(w string) func(map[string]any, []byte) bool {
	return func(h map[string]any, _ []byte) bool { return h["word"] == w }
}

// A change goes from one tab to the picture in all of them; undo and the sides too; a tab that comes later sees the same at once.
func TestTabsSeeOneState(t *testing.T) {
	p := openPage(t, nil)
	a, b := p.frames("a"), p.frames("b")
	a.grey(1)
	p.post("/set", `{"tab": "a", "gesture": "g1", "changes": [{"key": "view.exposure", "value": 2}]}`)
	head := b.grey(2)
	require.Equal(t, []any{0.5, 0.5}, head["marks"].(map[string]any)["centre"])
	require.Equal(t, []any{0.0, 0.0, 1.0, 1.0}, head["box"])
	a.grey(2)
	p.post("/set", `{"tab": "b", "gesture": "g2", "changes": [{"key": "view.exposure", "value": 3}]}`)
	a.grey(3)
	c := p.frames("c")
	c.grey(3)
	p.post("/undo", `{}`)
	a.grey(2)
	p.post("/redo", `{}`)
	a.grey(3)
	p.post("/side", `{"to": "B"}`)
	p.post("/reset", `{"key": "view.exposure"}`)
	a.grey(1)
	p.post("/side", `{"to": "A"}`)
	b.grey(3)
	p.post("/turn", `{"gesture": "t", "handle": "orbit", "from": [0.5, 0.5], "to": [0.7, 0.5], "fine": false}`)
	p.post("/aim", `{"gesture": "a", "light": "sky", "clock": 10, "mm": 2}`)
	p.post("/gain", `{"light": "sky", "on": true, "colour": [1, 0.5, 0.5]}`)
	code, s := p.ask("GET", "/state", "")
	require.Equal(t, http.StatusOK, code)
	values := s["values"].(map[string]any)
	require.InDelta(t, 20, values["camera.orbit.azimuth"], 1e-9)
	require.Equal(t, 10.0, values["lights.sky.ev"])
	require.Equal(t, []any{1.0, 0.5, 0.5}, values["lights.sky.tint"])
	require.Equal(t, "A", s["ab"])
	require.Equal(t, map[string]any{"width": 16.0, "height": 12.0, "spp": 2.0}, s["film"])
	data, err := os.ReadFile(p.file)
	require.NoError(t, err)
	require.Equal(t, floats, string(data), "nothing is written unasked")
	p.post("/save", `{}`)
	data, err = os.ReadFile(p.file)
	require.NoError(t, err)
	require.Contains(t, string(data), "view: {exposure: 3} # at noon\n")
	require.NoError(t, p.end())
	a.until(isWord("end"))
	_, _, err = a.next()
	require.Error(t, err, "the stream ends")
	require.Eventually(t, func() bool { return tinyRunning.Load() == 0 }, 20*time.Second, 5*time.Millisecond)
}

// A tab that reads slowly gets the newest pictures: a whole one replaces those of its look, a part the same part; words stay in order,
// marks live on, and neither number nor size of what waits grows.
func TestPush(t *testing.T) {
	frame := func(look string, run uint64, box [4]int, marks *live.Marks) message {
		m := frameMessage(live.Frame{Run: run, Look: look, Width: 8, Height: 8, Box: box, Marks: marks, RGBA: make([]byte, 4*(box[2]-box[0])*(box[3]-box[1]))})
		require.Empty(t, m.frame.RGBA)
		return m
	}
	whole, part, rest := [4]int{0, 0, 8, 8}, [4]int{2, 2, 4, 4}, [4]int{4, 4, 8, 8}
	var list []message
	for _, m := range []message{
		frame("traced", 1, whole, &live.Marks{MillimetresPerWidth: 26}), {word: word{Word: "state"}}, frame("raster", 1, whole, nil), frame("traced", 1, part, nil),
		frame("traced", 2, part, nil), frame("traced", 2, rest, nil),
	} {
		list = push(list, m)
	}
	require.Len(t, list, 5, "the first part gave way")
	list = push(list, frame("traced", 3, whole, nil))
	require.Len(t, list, 3)
	require.Equal(t, "state", list[0].word.(word).Word)
	require.Equal(t, "raster", list[1].frame.Look)
	require.Equal(t, uint64(3), list[2].frame.Run)
	require.Equal(t, 26.0, list[2].frame.Marks.MillimetresPerWidth)
	for i := range 3 * mostWaiting {
		list = push(list, message{word: word{Run: uint64(i)}})
	}
	require.Len(t, list, mostWaiting)
	list = nil
	for i := range 9 {
		m := frame("traced", 1, [4]int{i % 8, 0, i%8 + 1, i/8 + 1}, nil)
		m.pix = make([]byte, mostPixels/4)
		list = push(list, m)
	}
	require.Len(t, list, 4)
}

// Work begins with the first tab and ends soon after the last one is closed; a page that is loaded again goes on.
func TestLastTabEndsWork(t *testing.T) {
	made := atomic.Int32{}
	p := openPage(t, func() engine { made.Add(1); return newTiny() })
	require.Zero(t, made.Load())
	code, _ := p.ask("POST", "/turn", `{"handle": "orbit", "from": [0, 0], "to": [1, 1]}`)
	require.Equal(t, http.StatusUnprocessableEntity, code, "nothing is shown that could be turned")
	a, b := p.frames("a"), p.frames("b")
	a.grey(1)
	a.body.Close()
	time.Sleep(2 * grace)
	require.Equal(t, int32(1), tinyRunning.Load(), "b looks on")
	again := p.frames("b") // the same tab once more
	b.until(func(h map[string]any, _ []byte) bool { return true })
	again.grey(1)
	require.Equal(t, int32(1), made.Load())
	again.body.Close()
	require.Eventually(t, func() bool { return tinyRunning.Load() == 0 }, 20*time.Second, 5*time.Millisecond)
	require.LessOrEqual(t, grace, time.Second/2, "with what an engine takes to end, a second at most")
	p.frames("c").grey(1)
	require.Equal(t, int32(2), made.Load())
}

// send sends a request with headers of its own.
func (p *visitor) send(c *http.Client, method, path, body string, header ...string) (int, string) {
	p.t.Helper()
	r, err := http.NewRequest(method, p.base+path, strings.NewReader(body))
	require.NoError(p.t, err)
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
	}
	w, err := c.Do(r)
	require.NoError(p.t, err)
	defer w.Body.Close()
	data, _ := io.ReadAll(w.Body)
	return w.StatusCode, string(data)
}

const setExposure, kindJSON = `{"changes": [{"key": "view.exposure", "value": 5}]}`, "application/json"

// No other page can read or write, no request has a side effect that should have none, and nothing outside the scene's folder is sent.
func TestOthersAreKeptOut(t *testing.T) {
	p := openPage(t, nil)
	all := []string{"/set", "/view", "/turn", "/aim", "/pick", "/gain", "/undo", "/redo", "/reset", "/side", "/list", "/reload", "/save", "/snapshot", "/restore", "/finish", "/stop",
		"/drop?slot=a&name=b.png"}
	for _, path := range all {
		for _, c := range []struct {
			client *http.Client
			header []string
		}{
			{http.DefaultClient, nil}, // without the cookie
			{http.DefaultClient, []string{"Cookie", "catchlight=1"}},
			{p.client, []string{"Origin", "https://tide.example"}},
			{p.client, []string{"Origin", "null"}},
			{p.client, []string{"Sec-Fetch-Site", "cross-site"}},
			{p.client, []string{"Sec-Fetch-Site", "same-site", "Origin", "http://127.0.0.1:1"}},
			{p.client, []string{"Host", "tide.example"}},
		} {
			code, _ := p.send(c.client, "POST", path, setExposure, append([]string{"Content-Type", kindJSON}, c.header...)...)
			require.Equal(t, http.StatusForbidden, code, "%s %v", path, c.header)
		}
		code, _ := p.send(p.client, "GET", path, "")
		require.Contains(t, []int{http.StatusNotFound, http.StatusMethodNotAllowed}, code, "a GET of %s changes nothing", path)
	}
	for _, path := range []string{"/", "/state", "/schema", "/frames?tab=x", "/snapshots", "/snapshot/1.png", "/difference?a=A&b=now", "/live.js"} {
		code, text := p.send(http.DefaultClient, "GET", path, "")
		require.Equal(t, http.StatusForbidden, code, path)
		require.NotContains(t, text, "exposure")
		code, _ = p.send(p.client, "GET", path, "", "Host", "tide.example")
		require.Equal(t, http.StatusForbidden, code, path)
		code, _ = p.send(p.client, "GET", path, "", "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors")
		require.Equal(t, http.StatusForbidden, code, path)
	}
	for _, path := range []string{"/../watch.go", "/%2e%2e/watch.go", "/snapshot/../1.png", "/snapshot/..%2f..%2ffloat.yaml", "/snapshot/1.yaml", "/float.yaml", "/etc/passwd", "/live.go"} {
		code, text := p.send(p.client, "GET", path, "")
		require.Contains(t, []int{http.StatusNotFound, http.StatusBadRequest}, code, path)
		require.NotContains(t, text, "package main")
	}
	_, s := p.ask("GET", "/state", "")
	require.Equal(t, 1.0, s["values"].(map[string]any)["view.exposure"], "nothing came through")
	require.Equal(t, 0.0, s["undo"])
}

// What the page itself may not do is refused with a reason: values out of range, files outside, bodies and headers that are too large.
func TestPageIsBounded(t *testing.T) {
	p := openPage(t, nil)
	for body, want := range map[string]int{
		`{"changes": [{"key": "view.exposure", "value": 500}]}`:                                                          http.StatusUnprocessableEntity,
		`{"changes": [{"key": "lights.sky", "value": {"name": "sky", "kind": "environment", "file": "/etc/tide.hdr"}}]}`: http.StatusUnprocessableEntity,
		`{"changes": "`: http.StatusBadRequest,
		`{"gesture": "` + strings.Repeat("g", mostBody) + `"}`: http.StatusRequestEntityTooLarge,
		`{"gesture": "` + strings.Repeat("g", 100) + `"}`:      http.StatusBadRequest,
	} {
		code, out := p.ask("POST", "/set", body)
		require.Equal(t, want, code, "%.80s", body)
		require.NotEmpty(t, out["problem"])
	}
	code, out := p.ask("POST", "/set", `{"changes": [{"key": "view.exposure", "value": 500}]}`)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Equal(t, map[string]any{"problem": "500 is outside [-40, 40] EV", "key": "view.exposure", "range": "[-40, 40] EV"}, out)
	code, _ = p.send(p.client, "POST", "/set", setExposure, "Content-Type", "text/plain")
	require.Equal(t, http.StatusUnsupportedMediaType, code)
	code, _ = p.send(p.client, "POST", "/state", setExposure, "Content-Type", kindJSON)
	require.Equal(t, http.StatusMethodNotAllowed, code)
	code, out = p.ask("POST", "/drop?slot=lights.sky.file&name=../../etc/tide.sh", "x")
	require.Equal(t, http.StatusUnprocessableEntity, code, out)
	r, err := http.NewRequest("POST", p.base+"/drop?slot=lights.sky.file&name=tide.hdr", io.LimitReader(strings.NewReader("x"), 1))
	require.NoError(t, err)
	r.ContentLength = desk.MostDropped + 1
	w, err := p.client.Do(r)
	if err == nil { // else the connection is closed before all of it was sent
		require.Equal(t, http.StatusRequestEntityTooLarge, w.StatusCode)
		w.Body.Close()
	}
	code, _ = p.send(p.client, "GET", "/state", "", "X-Tide", strings.Repeat("x", 4*mostHeader))
	require.Equal(t, http.StatusRequestHeaderFieldsTooLarge, code)
}

// As many tabs as make sense look on, no more; a tab wants a name.
func TestManyTabs(t *testing.T) {
	p := openPage(t, nil)
	for i := range mostTabs {
		p.frames(fmt.Sprint("t", i)).until(isWord("state"))
	}
	code, out := p.ask("GET", "/frames?tab=more", "")
	require.Equal(t, http.StatusTooManyRequests, code)
	require.Equal(t, errTabs.Error(), out["problem"])
	for _, name := range []string{"", strings.Repeat("t", 65)} {
		code, _ = p.ask("GET", "/frames?tab="+name, "")
		require.Equal(t, http.StatusBadRequest, code)
	}
}

// A scene file or a map that is saved elsewhere is shown; under changes the file is a question, and Save writes over nothing.
func TestSavedElsewhere(t *testing.T) {
	var e *tinyEngine
	p := openPage(t, func() engine { e = newTiny(); return e })
	a := p.frames("a")
	a.grey(1)
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(p.file), name), []byte(text), 0o666))
	}
	write("float.yaml", strings.Replace(floats, "exposure: 1", "exposure: 4", 1))
	a.grey(4)
	write("float.yaml", "view: [")
	a.until(isWord("state"))
	_, s := p.ask("GET", "/state", "")
	require.Contains(t, s["problem"], "not valid YAML")
	write("sky.hdr", "#?RADIANCE\n")
	write("float.yaml", strings.Replace(floats, "kind: constant, radiance: 0.5", "kind: environment, file: sky.hdr", 1))
	a.grey(1)
	before := e.last()
	write("sky.hdr", "#?RADIANCE\n# another tide\n")
	a.grey(1)
	require.NotSame(t, before, e.last(), "another pointer says that files are new")

	p.post("/set", `{"changes": [{"key": "view.exposure", "value": 6}]}`)
	write("float.yaml", floats)
	a.until(func(map[string]any, []byte) bool { _, s := p.ask("GET", "/state", ""); return s["stale"] == true })
	code, out := p.ask("POST", "/save", `{}`)
	require.Equal(t, http.StatusConflict, code)
	require.Equal(t, true, out["stale"])
	data, err := os.ReadFile(p.file)
	require.NoError(t, err)
	require.Equal(t, floats, string(data))
	p.post("/reload", `{"keep": "mine"}`)
	p.post("/save", `{}`)
	data, err = os.ReadFile(p.file)
	require.NoError(t, err)
	require.Contains(t, string(data), "exposure: 6")
}

func (e *tinyEngine) last() *scene.Description {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.shown[len(e.shown)-1]
}

// Snapshots have the picture that is shown, and a page that says what changed.
func TestSnapshotsPage(t *testing.T) {
	p := openPage(t, nil)
	code, _ := p.ask("POST", "/snapshot", `{"name": "noon"}`)
	require.Equal(t, http.StatusUnprocessableEntity, code, "there is no picture yet")
	a := p.frames("a")
	a.grey(1)
	p.post("/snapshot", `{"name": "noon <b>", "note": "as it was"}`)
	p.post("/set", `{"changes": [{"key": "view.exposure", "value": 2}]}`)
	a.grey(2)
	p.post("/snapshot", `{"name": "later"}`)
	w, err := p.client.Get(p.base + "/snapshots?a=1&b=2")
	require.NoError(t, err)
	data, err := io.ReadAll(w.Body)
	w.Body.Close()
	require.NoError(t, err)
	for _, want := range []string{"noon &lt;b&gt;", "as it was", `<th scope="row">view.exposure</th><td>1</td><td>2</td>`, `src="/snapshot/2.png"`} {
		require.Contains(t, string(data), want)
	}
	require.Contains(t, w.Header.Get("Content-Security-Policy"), "script-src 'none'")
	w, err = p.client.Get(p.base + "/snapshot/1.png")
	require.NoError(t, err)
	data, err = io.ReadAll(w.Body)
	w.Body.Close()
	require.NoError(t, err)
	require.Equal(t, "image/png", w.Header.Get("Content-Type"))
	require.True(t, bytes.HasPrefix(data, []byte("\x89PNG")))
	_, d := p.ask("GET", "/difference?a=1&b=now", "")
	require.Len(t, d["changes"], 1)
	p.post("/restore", `{"id": "1"}`)
	a.grey(1)
}

// slowEngine shows the first scene alone.
type slowEngine struct {
	*tinyEngine
	once sync.Once
}

func (e *slowEngine) Show(run uint64, d *scene.Description, v live.View, l []live.Light) {
	e.once.Do(func() { e.tinyEngine.Show(run, d, v, l) })
}

// A snapshot never has the picture of another state.
func TestSnapshotWaitsForItsPicture(t *testing.T) {
	p := openPage(t, func() engine { return &slowEngine{tinyEngine: newTiny()} })
	p.frames("a").grey(1)
	p.post("/view", `{"width": 64, "height": 64}`)
	p.post("/snapshot", `{"name": "as it is"}`)
	p.post("/set", `{"changes": [{"key": "view.exposure", "value": 2}]}`)
	code, out := p.ask("POST", "/snapshot", `{"name": "brighter"}`)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Equal(t, errOldPicture.Error(), out["problem"])
	_, s := p.ask("GET", "/state", "")
	require.Len(t, s["snapshots"], 1)
}

// Finish writes the bytes that render writes, of the scene as it is changed, and over nothing.
func TestFinish(t *testing.T) {
	p := openPage(t, nil)
	a := p.frames("a")
	p.post("/set", `{"changes": [{"key": "view.exposure", "value": 0.5}, {"key": "picture.seed", "value": 7}]}`)
	for _, name := range []string{"float.png", "float-2.png"} {
		p.post("/finish", `{}`)
		h := a.until(func(h map[string]any, _ []byte) bool { return h["file"] != nil || h["word"] == "problem" })
		require.Equal(t, filepath.Join(filepath.Dir(p.file), "out", name), h["file"], h)
	}
	want := filepath.Join(t.TempDir(), "want.png")
	code, _, stderr := catchlight("render", p.file, "--set", "view.exposure=0.5", "--set", "picture.seed=7", "--out", want)
	require.Zero(t, code, stderr)
	a1, err := os.ReadFile(want)
	require.NoError(t, err)
	a2, err := os.ReadFile(filepath.Join(filepath.Dir(p.file), "out", "float.png"))
	require.NoError(t, err)
	require.Equal(t, pixels(t, a1), pixels(t, a2))
	p.post("/stop", `{}`)
}

// Over 500 changes neither goroutines nor memory grow, even with a tab that reads nothing.
func TestServerStaysFlat(t *testing.T) {
	p := openPage(t, nil)
	a, deaf := p.frames("a"), p.frames("deaf")
	a.grey(1)
	measure := func() (int, uint64) {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return runtime.NumGoroutine(), m.HeapAlloc
	}
	change := func(n int) {
		for i := range n {
			p.post("/set", fmt.Sprintf(`{"gesture": "g%d", "changes": [{"key": "view.exposure", "value": %d}]}`, i/5, 2+i%7))
		}
		p.post("/set", `{"gesture": "last", "changes": [{"key": "view.exposure", "value": 1}]}`)
		a.grey(1)
	}
	change(100)
	g0, m0 := measure()
	change(500)
	g1, m1 := measure()
	require.LessOrEqual(t, g1, g0+2)
	require.Less(t, m1, m0+2<<20)
	deaf.body.Close()
}

func pixels(t *testing.T, data []byte) []byte {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	var out []byte
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			r, g, b, a := img.At(x, y).RGBA()
			out = append(out, byte(r>>8), byte(g>>8), byte(b>>8), byte(a>>8))
		}
	}
	return out
}

// The command prints one line, the address; it serves until it is interrupted, and what was not saved is there at the next start.
// The old options that the page does better say so (TestMistakes), the others go on.
func TestWatchCommand(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	start := func(args ...string) (address string, end func() (int, string, string)) {
		ctx, cancel := context.WithCancel(context.Background())
		read, write := io.Pipe()
		var stderr bytes.Buffer
		code := make(chan int, 1)
		go func() {
			code <- run(ctx, append([]string{"watch", file, "--workers", "1", "--stages", "off", "--journal", "steps"}, args...), write, &stderr)
			write.Close()
		}()
		lines := bufio.NewReader(read)
		address, err := lines.ReadString('\n')
		require.NoError(t, err, stderr.String())
		return strings.TrimSpace(address), func() (int, string, string) {
			cancel()
			rest, _ := io.ReadAll(lines)
			return <-code, string(rest), stderr.String()
		}
	}
	address, end := start("--set", "view.exposure=2")
	require.Regexp(t, `^http://127\.0\.0\.1:[0-9]+/\?key=[A-Z2-7]{26,}$`, address)
	u, err := url.Parse(address)
	require.NoError(t, err)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	p := &visitor{t: t, base: "http://" + u.Host, client: &http.Client{Jar: jar}}
	w, err := p.client.Get(address)
	require.NoError(t, err)
	w.Body.Close()
	a := p.frames("a")
	head := a.until(func(h map[string]any, pix []byte) bool { return len(pix) > 0 && h["look"] == "traced" })
	require.Nil(t, head["problem"])
	_, s := p.ask("GET", "/state", "")
	require.Equal(t, 2.0, s["values"].(map[string]any)["view.exposure"])
	code, out, notes := end()
	require.Zero(t, code, notes)
	require.Empty(t, out, "one line alone")
	require.Contains(t, notes, "changes were not saved; the next start takes them up")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, float, string(data))
	_, err = net.Dial("tcp", u.Host)
	require.Error(t, err, "nobody listens any more")

	_, end = start("--lights", "studio")
	code, _, notes = end()
	require.Zero(t, code)
	require.Contains(t, notes, "changes of the last time are taken up: steps that can be undone: 1")
	k, err := desk.Open(file, desk.Options{Journals: "steps"})
	require.NoError(t, err)
	require.Greater(t, len(k.State().Lights), 1, "those of the set-up")
	require.NoError(t, k.Close())
}
