package light

import (
	"errors"
	"fmt"
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// ParamError says that a value given to a constructor is out of range.
type ParamError struct {
	Light string // the light's name
	Field string // which argument
	Value any    // what it was
	Want  string // what it must be
}

// Error returns one line with the light, the field, the value and the allowed range.
func (e *ParamError) Error() string {
	return fmt.Sprintf("light %q: %s: %v, but it must be %s", e.Light, e.Field, e.Value, e.Want)
}

// checker gathers everything that is wrong with one light.
type checker struct {
	name string
	errs []error
}

func (c *checker) fail(field string, value any, want string) {
	c.errs = append(c.errs, &ParamError{c.name, field, value, want})
}

func (c *checker) length(field string, v float64) {
	if !(v >= minLength && v <= maxLength) {
		c.fail(field, v, fmt.Sprintf("in [%g, %g] mm", minLength, maxLength))
	}
}

func (c *checker) radiance(field string, v colour.RGB) {
	for _, x := range v {
		if !(x >= 0 && x <= maxRadiance) {
			c.fail(field, v, fmt.Sprintf("in [0, %g] in every channel", maxRadiance))
			return
		}
	}
}

func (c *checker) point(field string, v geom.Vec) {
	if !(v.MaxAbs() <= maxLength) || !v.Finite() {
		c.fail(field, v, fmt.Sprintf("finite and within %g mm", maxLength))
	}
}

func (c *checker) frame(f geom.Frame) {
	for _, p := range [6]float64{f.S.Len2() - 1, f.T.Len2() - 1, f.N.Len2() - 1, f.S.Dot(f.T), f.T.Dot(f.N), f.N.Dot(f.S)} {
		if !(math.Abs(p) < 1e-6) {
			c.fail("frame", f, "three unit vectors at right angles")
			return
		}
	}
}

// number writes a bound in short.
func number(v float64) string { return fmt.Sprintf("%g", v) }

func (c *checker) err() error { return errors.Join(c.errs...) }

// The widest ranges that geometry and radiance may have: they keep squares and quotients far from overflow.
const (
	minLength   = 1e-6
	maxLength   = 1e9
	maxRadiance = 1e15
)
