package main

import (
	"errors"

	"catchlight/cmd/live"
	"catchlight/scene/edit"
)

// turner, aimer and picker are what an engine can do besides showing pictures.
type turner interface {
	Turn(handle string, from, to [2]float64, fine bool) ([]edit.Change, error)
}

type aimer interface {
	Aim(light string, to live.Target) ([]edit.Change, error)
}

type picker interface {
	Pick(x, y float64) (live.Picked, error)
}

var errNoPicture = errors.New("there is no picture yet")

// picked is what a point of the film shows: all shells behind it, and of the innermost what a line can say.
type picked struct {
	live.Picked
	Object string      `json:"object,omitempty"`
	Shell  string      `json:"shell,omitempty"`
	Zone   string      `json:"zone,omitempty"`
	Slot   string      `json:"slot,omitempty"`
	Map    string      `json:"map,omitempty"`
	Texel  *[2]int     `json:"texel,omitempty"`
	Value  []float64   `json:"value,omitempty"`
	UV     *[2]float64 `json:"uv,omitempty"`
	Place  *[3]float64 `json:"place,omitempty"` // mm
}

// pick says what a point of the film shows.
func (s *session) pick(in *asked) (any, error) {
	e, err := s.working()
	if err != nil {
		return nil, err
	}
	p, can := e.(picker)
	if !can {
		return nil, errNoPicture
	}
	if !(in.X >= 0 && in.X <= 1 && in.Y >= 0 && in.Y <= 1) {
		return nil, errors.New("a point of the film lies in [0, 1]")
	}
	got, err := p.Pick(in.X, in.Y)
	if err != nil {
		return nil, err
	}
	out := picked{Picked: got}
	if n := len(got.Places); n > 0 {
		q := &got.Places[n-1]
		out.Object, out.Shell, out.Zone, out.UV, out.Place = q.Object, q.Shell, q.Zone, &q.UV, &q.Place
		if len(q.Maps) > 0 {
			m := &q.Maps[0]
			out.Slot, out.Map, out.Texel, out.Value = m.Slot, m.Map, &m.Texel, m.Value
		}
	}
	return out, nil
}
