package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math"
	"mime"
	"net"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"time"

	page "catchlight/cmd/catchlight/live"
	"catchlight/cmd/live"
	"catchlight/render/desk"
	"catchlight/scene"
	"catchlight/scene/edit"
)

// Limits of requests.
const (
	mostHeader  = 16 << 10 // bytes of a header
	mostBody    = 64 << 10 // bytes of JSON
	bodyTime    = 30 * time.Second
	dropTime    = 10 * time.Minute
	mostChanges = 200 // of one request
)

// refuse answers with a problem.
func refuse(w http.ResponseWriter, code int, text string) {
	answer(w, code, desk.Problem{Problem: text})
}

// answer sends v as JSON.
func answer(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(v) // a browser that is gone needs no answer
}

// fail answers with what went wrong. It is said of which key, unless that is one of the changes, beside whose field the page says it.
func fail(w http.ResponseWriter, err error, changes ...edit.Change) {
	p, code := *desk.AsProblem(err), http.StatusUnprocessableEntity
	if !slices.ContainsFunc(changes, func(c edit.Change) bool { return c.Key == p.Key }) {
		p.Problem = p.Error()
	}
	if p.Stale {
		code = http.StatusConflict
	}
	answer(w, code, p)
}

// asked is the body of a request; each reads what it needs.
type asked struct {
	Tab     string        `json:"tab"`
	Gesture string        `json:"gesture"`
	Changes []edit.Change `json:"changes"`

	Handle string     `json:"handle"`
	From   [2]float64 `json:"from"`
	Fine   bool       `json:"fine"`
	To     any        `json:"to"` // a place of the film, a side, a name, a place in a list

	Light string  `json:"light"`
	X     float64 `json:"x"`
	Y     float64 `json:"y"`
	Clock float64 `json:"clock"`
	Off   float64 `json:"mm"`
	Size  float64 `json:"size"`

	Width  int        `json:"width"`
	Height int        `json:"height"`
	Crop   [4]float64 `json:"crop"`
	Drag   bool       `json:"drag"`
	Raster bool       `json:"raster"`
	Alone  string     `json:"alone"`

	EV     *float64 `json:"ev"`
	Colour []any    `json:"colour"`
	On     *bool    `json:"on"`

	Key  string `json:"key"`
	Op   string `json:"op"`
	Name string `json:"name"`
	Note string `json:"note"`
	Path string `json:"path"`
	Keep string `json:"keep"`
	ID   string `json:"id"`

	Anyway bool `json:"anyway"` // save though there is no picture
}

// read takes a request's body; it answers and returns nil where that can't be done.
func read(w http.ResponseWriter, r *http.Request) *asked {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		refuse(w, http.StatusUnsupportedMediaType, "the body is to be application/json")
		return nil
	}
	_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(bodyTime)) // a test's recorder has none
	var in asked
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostBody))
	err := d.Decode(&in)
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		refuse(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("the body is larger than %d kB", mostBody>>10))
		return nil
	case err != nil:
		refuse(w, http.StatusBadRequest, "the body is no JSON of the form that is wanted")
		return nil
	case len(in.Changes) > mostChanges || len(in.Gesture) > 80 || len(in.Alone) > 80:
		refuse(w, http.StatusBadRequest, "the request is larger than makes sense")
		return nil
	}
	return &in
}

// handler returns what lies behind the guard.
func (s *session) handler() http.Handler {
	m := http.NewServeMux()
	m.Handle("GET /", http.FileServerFS(page.Files))
	m.HandleFunc("GET /schema", func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, scene.Schema()) })
	m.HandleFunc("GET /state", func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, s.state()) })
	m.HandleFunc("GET /frames", s.hub.serve)
	m.HandleFunc("GET /snapshots", s.snapshots)
	m.HandleFunc("GET /snapshot/{file}", s.snapshot)
	m.HandleFunc("GET /difference", func(w http.ResponseWriter, r *http.Request) {
		list, err := s.desk.Differences(r.URL.Query().Get("a"), r.URL.Query().Get("b"))
		if err != nil {
			fail(w, err)
			return
		}
		answer(w, http.StatusOK, map[string]any{"changes": list})
	})
	m.HandleFunc("POST /drop", s.drop)
	post := func(path string, do func(in *asked) (any, error)) {
		m.HandleFunc("POST "+path, func(w http.ResponseWriter, r *http.Request) {
			in := read(w, r)
			if in == nil {
				return
			}
			out, err := do(in)
			if err != nil {
				fail(w, err, in.Changes...)
				return
			}
			if out == nil {
				out = map[string]any{"run": s.renew()}
			}
			answer(w, http.StatusOK, out)
		})
	}
	s.routes(post)
	return m
}

// routes are what changes something. A nil answer says that the scene is to be shown anew.
func (s *session) routes(post func(path string, do func(in *asked) (any, error))) {
	post("/set", func(in *asked) (any, error) { return nil, s.desk.Set(in.Gesture, in.Changes...) })
	post("/view", func(in *asked) (any, error) {
		v, err := viewOf(in)
		if err != nil {
			return nil, err
		}
		return map[string]any{"run": s.look(v)}, nil
	})
	post("/turn", s.turn)
	post("/aim", s.aim)
	post("/pick", s.pick)
	post("/gain", s.gain)
	post("/undo", func(*asked) (any, error) { _, err := s.desk.Undo(); return nil, err })
	post("/redo", func(*asked) (any, error) { _, err := s.desk.Redo(); return nil, err })
	post("/reset", func(in *asked) (any, error) { return nil, s.desk.Reset(in.Key) })
	post("/side", func(in *asked) (any, error) {
		return nil, s.desk.Look(slices.Index([]any{"A", "B"}, in.To))
	})
	post("/list", func(in *asked) (any, error) {
		to := ""
		switch v := in.To.(type) {
		case string:
			to = v
		case float64:
			to = strconv.FormatFloat(v, 'f', -1, 64)
		}
		return nil, s.desk.List(in.Key, in.Op, in.Name, to)
	})
	post("/reload", func(in *asked) (any, error) {
		if in.Keep != "mine" && in.Keep != "file" {
			return nil, errors.New("keep is mine or file")
		}
		return nil, s.desk.Reload(in.Keep == "mine")
	})
	post("/save", func(in *asked) (any, error) {
		if err := s.ready(); err != nil && !in.Anyway {
			return nil, err
		}
		wrote, err := s.desk.Save(in.Path)
		run := s.renew()
		return map[string]any{"run": run, "wrote": wrote}, err
	})
	post("/snapshot", func(in *asked) (any, error) {
		picture, err := s.shot()
		if err != nil {
			return nil, err
		}
		shot, err := s.desk.Snap(in.Name, in.Note, picture)
		if err != nil {
			return nil, err
		}
		s.hub.say(word{Word: "state"})
		return map[string]any{"id": shot.ID}, nil
	})
	post("/restore", func(in *asked) (any, error) { return nil, s.desk.Restore(in.ID) })
	post("/finish", func(*asked) (any, error) {
		d, _ := s.desk.Description()
		return map[string]any{}, s.finish.begin(d)
	})
	post("/stop", func(*asked) (any, error) { s.finish.stop(0); return map[string]any{}, nil })
}

// state is the desk's, with the number of the newest run.
func (s *session) state() any {
	s.mu.Lock()
	run, fault := s.run, s.fault
	s.mu.Unlock()
	now := s.desk.State()
	now.Problem = cmp.Or(now.Problem, fault)
	return struct {
		*desk.State
		Run uint64 `json:"run"`
	}{now, run}
}

// viewOf reads a view.
func viewOf(in *asked) (live.View, error) {
	v := live.View{Width: min(max(in.Width, 16), 4096), Height: min(max(in.Height, 16), 4096), Crop: in.Crop, Drag: in.Drag, Raster: in.Raster, Alone: in.Alone}
	if v.Crop != ([4]float64{}) && !(v.Crop[0] >= 0 && v.Crop[1] >= 0 && v.Crop[2] <= 1 && v.Crop[3] <= 1 && v.Crop[0] < v.Crop[2] && v.Crop[1] < v.Crop[3]) {
		return v, errors.New("crop is x0, y0, x1, y1 in [0, 1], rising")
	}
	return v, nil
}

// working returns the engine, or an error where there is none.
func (s *session) working() (engine, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.engine == nil {
		return nil, errNoPicture
	}
	return s.engine, nil
}

// finite reports whether all numbers are.
func finite(list ...float64) bool {
	for _, x := range list {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// turn changes what a drag in the picture stands for.
func (s *session) turn(in *asked) (any, error) {
	e, err := s.working()
	if err != nil {
		return nil, err
	}
	list, ok := in.To.([]any)
	var to [2]float64
	if ok = ok && len(list) == 2; ok {
		var a, b bool
		to[0], a = list[0].(float64)
		to[1], b = list[1].(float64)
		ok = a && b
	}
	t, can := e.(turner)
	if !ok || !can || !finite(in.From[0], in.From[1], to[0], to[1]) {
		return nil, errors.New("a turn wants a handle and two places of the film")
	}
	changes, err := t.Turn(in.Handle, in.From, to, in.Fine)
	if err != nil {
		return nil, err
	}
	return nil, s.desk.Set(in.Gesture, changes...)
}

// aim moves a light to where its catchlight is wanted.
func (s *session) aim(in *asked) (any, error) {
	e, err := s.working()
	if err != nil {
		return nil, err
	}
	a, can := e.(aimer)
	if !can {
		return nil, errNoPicture
	}
	changes, err := a.Aim(in.Light, live.Target{X: in.X, Y: in.Y, Clock: in.Clock, Off: in.Off, Size: in.Size})
	if err != nil {
		return nil, err
	}
	return nil, s.desk.Set(in.Gesture, changes...)
}

// gain changes the strength of a light: keys like others, which the engine shows without new rays.
func (s *session) gain(in *asked) (any, error) {
	var list []edit.Change
	at := "lights." + in.Light
	if in.EV != nil {
		list = append(list, edit.Change{Key: at + ".ev", Value: *in.EV})
	}
	if in.Colour != nil {
		list = append(list, edit.Change{Key: at + ".tint", Value: in.Colour})
	}
	if in.On != nil {
		list = append(list, edit.Change{Key: at + ".on", Value: *in.On})
	}
	return nil, s.desk.Set(in.Gesture, list...)
}

// drop takes a file for a slot.
func (s *session) drop(w http.ResponseWriter, r *http.Request) {
	if r.ContentLength > desk.MostDropped {
		refuse(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("the file is larger than %d MB", desk.MostDropped>>20))
		return
	}
	_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(dropTime)) // a test's recorder has none
	q := r.URL.Query()
	if err := s.desk.Drop(q.Get("slot"), q.Get("name"), http.MaxBytesReader(w, r.Body, desk.MostDropped)); err != nil {
		fail(w, err)
		return
	}
	answer(w, http.StatusOK, map[string]any{"run": s.renew()})
}

var errOldPicture = errors.New("the picture of the last change is not there yet; try again in a moment")

// shot is the traced picture as the tabs have it, as PNG.
func (s *session) shot() ([]byte, error) {
	s.mu.Lock()
	since := s.since
	s.mu.Unlock()
	m, ok := s.hub.picture(live.Traced)
	if !ok {
		return nil, errNoPicture
	}
	if m.frame.Run < since {
		return nil, errOldPicture
	}
	img := &image.NRGBA{Pix: m.pix, Stride: 4 * m.frame.Width, Rect: image.Rect(0, 0, m.frame.Width, m.frame.Height)}
	var out bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&out, img)
	return out.Bytes(), err
}

var shotName = regexp.MustCompile(`^([0-9]{1,4})\.png$`)

// snapshot sends the picture of one.
func (s *session) snapshot(w http.ResponseWriter, r *http.Request) {
	m := shotName.FindStringSubmatch(r.PathValue("file"))
	if m == nil {
		refuse(w, http.StatusNotFound, "there is no such snapshot")
		return
	}
	file, err := s.desk.Picture(m[1])
	if err != nil {
		refuse(w, http.StatusNotFound, "there is no such snapshot")
		return
	}
	w.Header().Set("Content-Type", "image/png")
	http.ServeFile(w, r, file)
}

// serve listens on the loopback address until ctx ends. host is one more name by which the page may be asked for; told hears of the
// address.
func (s *session) serve(ctx context.Context, port int, host string, told func(address string)) error {
	in, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(port)))
	if err != nil {
		return err
	}
	at := in.Addr().(*net.TCPAddr).Port
	g := newGuard(at, host, s.handler())
	srv := &http.Server{Handler: g, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: mostHeader, ErrorLog: quiet()}
	looking, stop := context.WithCancel(ctx)
	defer stop()
	go s.watch(looking)
	told(fmt.Sprintf("http://127.0.0.1:%d/?key=%s", at, g.token))
	done := make(chan error, 1)
	go func() { done <- srv.Serve(in) }()
	select {
	case err = <-done:
	case <-ctx.Done():
	}
	s.end() // the streams end with a word, and then the server has nothing to wait for
	late, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	if srv.Shutdown(late) != nil {
		srv.Close()
	}
	if ctx.Err() != nil {
		return nil
	}
	return err
}
