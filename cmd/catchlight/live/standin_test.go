package live

import (
	"encoding/binary"
	"encoding/json"
	"image"
	"image/png"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"sync"

	"catchlight/scene"
)

// standIn is a stand-in of the server for tests of the page alone: one with a scene of plain numbers: it keeps what is set, and draws an eye of flat discs from it.
type standIn struct {
	mu      sync.Mutex
	values  map[string]any
	edited  []string
	undo    []map[string]any
	gesture string
	stale   bool
	ask     bool   // saving is asked about
	problem string // of the state
	disk    []key  // what a stale file holds otherwise
	drag    bool   // a gesture goes on
	clock   float64
	side    string
	shots   []key
	run     uint64
	w, h    int
	crop    [4]float64
	raster  bool
	alone   string
	said    []string // paths and bodies of what was posted
	wake    chan bool
}

type key = map[string]any

func newStandIn() *standIn {
	return &standIn{clock: 10.6, w: 384, h: 384, side: "A", shots: []key{}, wake: make(chan bool, 1), values: map[string]any{
		"view.exposure": -1.2, "camera.orbit.azimuth": 32.0, "camera.orbit.elevation": 4.0, "lights.room.kind": "environment", "lights.window.kind": "rectangle",
		"lights.window.orbit.azimuth": -28.0, "lights.window.orbit.elevation": 26.0, "lights.rim.kind": "rectangle", "lights.rim.orbit.azimuth": 125.0, "lights.rim.orbit.elevation": 12.0,
		"objects.keeper.shape": "eye", "objects.keeper.iris.pupil": 3.4,
	}}
}

func (s *standIn) number(k string, def float64) float64 {
	if v, ok := s.values[k].(float64); ok {
		return v
	}
	return def
}

func (s *standIn) dragged() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.drag
}

func (s *standIn) poke() {
	s.run++
	select {
	case s.wake <- true:
	default:
	}
}

func (s *standIn) state() key {
	paint := []key{}
	for _, n := range []string{"limbal-grey", "vessels", "limbus"} {
		paint = append(paint, key{"object": "keeper", "name": n, "kind": n, "on": true, "amount": 0.4, "colour": []float64{0.7, 0.75, 0.81}})
	}
	return key{"scene": "ferry_keeper.yaml", "values": s.values, "set": []string{}, "edited": append([]string{}, s.edited...), "undo": len(s.undo) > 0, "redo": false, "ab": s.side, "stale": s.stale, "problem": s.problem, "disk": s.disk,
		"lights": []string{"room", "window", "rim"}, "objects": []string{"keeper"}, "paint": paint, "snapshots": s.shots, "film": key{"width": 640, "height": 640}}
}

// post answers what the page sends.
//
// Long: a case a request.
func (s *standIn) post(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Gesture, Handle, Light, Key, Alone string
		Changes                            []struct {
			Key   string
			Value any
		}
		From, To      any
		Name, Note    string
		X, Y          float64
		Width, Height int
		Crop          [4]float64
		Raster, Drag  bool
		Clock         float64
		Anyway        bool
	}
	body, err := io.ReadAll(r.Body)
	if err == nil && r.URL.Path != "/drop" {
		err = json.Unmarshal(body, &in)
	}
	if err != nil {
		answer(w, 400, key{"problem": err.Error()})
		return
	}
	if r.URL.Path == "/drop" {
		s.said = append(s.said, r.URL.Path+" "+r.URL.Query().Get("slot")+" "+r.URL.Query().Get("name")+" "+string(body))
	} else {
		s.said = append(s.said, r.URL.Path+" "+string(body))
	}
	switch r.URL.Path {
	case "/set":
		for _, c := range in.Changes {
			if x, ok := c.Value.(float64); ok && c.Key == "objects.keeper.iris.pupil" && x > 7 {
				answer(w, 422, key{"problem": "a built eye's pupil is smaller", "key": c.Key, "range": "[1.5, 7] mm"})
				return
			}
		}
		if in.Gesture != s.gesture {
			before := map[string]any{}
			for k, v := range s.values {
				before[k] = v
			}
			s.undo, s.gesture = append(s.undo, before), in.Gesture
		}
		for _, c := range in.Changes {
			s.values[c.Key] = c.Value
			if !slices.Contains(s.edited, c.Key) {
				s.edited = append(s.edited, c.Key)
			}
		}
	case "/turn":
		from, to := in.From.([]any), in.To.([]any)
		d := to[0].(float64) - from[0].(float64)
		if in.Handle == "orbit" {
			s.values["camera.orbit.azimuth"] = s.number("camera.orbit.azimuth", 0) - 90*d
		}
		if in.Handle == "pupil" {
			s.values["objects.keeper.iris.pupil"] = s.number("objects.keeper.iris.pupil", 3.6) + 40*d
			s.edited = append(s.edited, "objects.keeper.iris.pupil")
		}
	case "/aim":
		if in.Clock > 0 {
			s.clock = in.Clock
		}
	case "/undo":
		if n := len(s.undo); n > 0 {
			s.values, s.undo = s.undo[n-1], s.undo[:n-1]
		}
	case "/view":
		s.w, s.h, s.crop, s.raster, s.alone, s.drag = in.Width, in.Height, in.Crop, in.Raster, in.Alone, in.Drag
	case "/pick":
		answer(w, 200, key{"places": []key{{"object": "keeper", "shell": "inner", "zone": "iris", "place": []float64{in.X, in.Y, 9.1},
			"maps": []key{{"slot": "iris.colour", "texel": []int{512, 640}, "value": []float64{0.12, 0.08, 0.05}}}}}})
		return
	case "/side":
		s.side = in.To.(string)
	case "/snapshot":
		s.shots = append(s.shots, key{"id": strconv.Itoa(len(s.shots) + 1), "name": in.Name, "note": in.Note, "time": "2026-11-29T20:00:00Z", "exposure": s.values["view.exposure"]})
	case "/save":
		if s.stale {
			answer(w, 409, key{"problem": "the file has changed on disk", "stale": true})
			return
		}
		if s.ask && !in.Anyway {
			answer(w, 422, key{"problem": "iris.png is no picture", "ask": true})
			return
		}
		s.edited = nil
	case "/reload":
		s.stale = false
	}
	s.poke()
	answer(w, 200, key{"run": s.run})
}

func answer(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(v)
}

// eyeAt colours a place of the flat eye, in mm from its middle.
func (s *standIn) eyeAt(x, y float64, raster bool) [3]float64 {
	r, c := math.Hypot(x, y), [3]float64{0.03, 0.03, 0.03}
	red := 1 + 0.3*s.number("objects.keeper.sclera.tone_down", 0)
	switch {
	case r < s.number("objects.keeper.iris.pupil", 3.6)/2:
		c = [3]float64{0.01, 0.01, 0.01}
	case r < 5.9:
		f := 0.8 + 0.2*math.Sin(40*math.Atan2(y, x)+3*r)
		c = [3]float64{0.16 * f, 0.1 * f, 0.05 * f}
	case r < 12:
		c = [3]float64{0.5, 0.42 * red, 0.38 * red}
	}
	if raster {
		c[2] *= 1.2
	}
	if math.Abs(x+1.6) < 0.5 && math.Abs(y+1.8) < 0.6 {
		c = [3]float64{4, 4, 4}
	}
	gain := math.Exp2(s.number("view.exposure", 0) + 1.2)
	for i := range c {
		c[i] = min(1, c[i]*gain)
	}
	return c
}

const span = 26.0 // mm over the film's width

func (s *standIn) frame(look string, n, samples int) (key, []byte) {
	pix := make([]byte, 4*n*n)
	for j := range n {
		for i := range n {
			c := s.eyeAt(span*((float64(i)+0.5)/float64(n)-0.5)+0.05*(s.number("camera.orbit.azimuth", 32)-32), span*((float64(j)+0.5)/float64(n)-0.5), look == "raster")
			for k := range c {
				pix[4*(j*n+i)+k] = byte(255 * math.Pow(c[k], 1/2.2))
			}
			pix[4*(j*n+i)+3] = 255
		}
	}
	circle := func(r float64) (out [][2]float64) {
		for k := range 64 {
			a := 2 * math.Pi * float64(k) / 64
			out = append(out, [2]float64{0.5 + r/span*math.Cos(a), 0.5 + r/span*math.Sin(a)})
		}
		return out
	}
	marks := key{"limbus": circle(5.9), "pupil": circle(s.number("objects.keeper.iris.pupil", 3.6) / 2), "centre": []float64{0.5, 0.5}, "millimetres_per_width": span,
		"catchlights": []key{{"light": "window", "place": []float64{0.5 - 1.6/span, 0.5 - 1.8/span}, "clock": s.clock, "mm": 2.4, "size": 1.1, "seen": true}},
		"lights":      []key{{"name": "window", "azimuth": s.number("lights.window.orbit.azimuth", 0), "elevation": 26}, {"name": "rim", "azimuth": 125, "elevation": 12}}}
	return key{"run": s.run, "look": look, "samples": samples, "width": n, "height": n, "box": []int{0, 0, n, n}, "bytes": len(pix), "error": 24 / math.Sqrt(float64(samples)),
		"enough": samples >= 16, "marks": marks}, pix
}

func (s *standIn) frames(w http.ResponseWriter, r *http.Request) {
	send := func(h key, pix []byte) {
		head, _ := json.Marshal(h)
		_ = binary.Write(w, binary.LittleEndian, uint32(len(head)))
		_, _ = w.Write(head)
		_, _ = w.Write(pix)
	}
	for {
		h0 := uint64(0)
		for pass := range 4 {
			s.mu.Lock()
			h0 = s.run
			n := min(s.w, 128)
			if pass == 0 {
				n = 64
			}
			h, pix := s.frame("traced", n, 1<<(2*pass))
			hr, pr := s.frame("raster", n, 1)
			if s.alone != "" {
				hr, pr = s.frame("raster", n, 1)
				hr["look"] = "alone"
			}
			s.mu.Unlock()
			send(h, pix)
			send(hr, pr)
			w.(http.Flusher).Flush()
		}
		send(key{"word": "state", "bytes": 0, "run": h0}, nil)
		w.(http.Flusher).Flush()
		select {
		case <-s.wake:
		case <-r.Context().Done():
			return
		}
	}
}

func (s *standIn) serve() *httptest.Server {
	mux := http.NewServeMux()
	mux.Handle("GET /", http.FileServerFS(Files))
	mux.HandleFunc("GET /frames", s.frames)
	mux.HandleFunc("GET /schema", func(w http.ResponseWriter, r *http.Request) { answer(w, 200, scene.Schema()) })
	mux.HandleFunc("GET /state", func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		defer s.mu.Unlock()
		answer(w, 200, s.state())
	})
	mux.HandleFunc("GET /snapshot/{file}", func(w http.ResponseWriter, r *http.Request) {
		img := image.NewNRGBA(image.Rect(0, 0, 64, 64))
		for i := range img.Pix {
			img.Pix[i] = []byte{180, 60, 60, 255}[i%4]
		}
		_ = png.Encode(w, img)
	})
	mux.HandleFunc("GET /difference", func(w http.ResponseWriter, r *http.Request) {
		answer(w, 200, key{"changes": []key{{"key": "view.exposure", "a": r.URL.Query().Get("a"), "b": 2.5}}})
	})
	mux.HandleFunc("POST /", func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.post(w, r)
	})
	return httptest.NewServer(mux)
}
