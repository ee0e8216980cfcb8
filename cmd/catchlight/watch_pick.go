package main

import "errors"

// picker is what an engine can say of a point of the film.
type picker interface {
	Pick(x, y float64) (any, error)
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
	return p.Pick(in.X, in.Y)
}
