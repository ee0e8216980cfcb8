package scene

import (
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"catchlight/scene/builtin"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Default returns a description to start from in Go code: a built eye of every default under an even light, seen from the
// front at one metre. Everything in it may be changed; DefaultLight and DefaultObject make more to append.
func Default() *Description {
	d, err := Parse("default", []byte("camera: {target: [0, 0, 4], orbit: {}, focal_length: 1080}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: eye, shape: eye}]"))
	if err != nil {
		panic("scene: the default description does not load: " + err.Error()) // a programmer's mistake; a test makes it
	}
	d.File, d.source = "", nil
	return d
}

// DefaultLight returns a light of a kind with its defaults; Check says what it still wants.
func DefaultLight(name, kind string) Light {
	l := Light{}
	presets(schema().field("lights").block, reflect.ValueOf(&l).Elem())
	l.Name, l.Kind = name, kind
	return l
}

// DefaultObject returns an object of a shape with its defaults; Check says what it still wants.
func DefaultObject(name, shape string) Object {
	o := Object{}
	presets(schema().field("objects").block, reflect.ValueOf(&o).Elem())
	o.Name, o.Shape = name, shape
	if shape != "eye" {
		o.Eye = nil
	}
	return o
}

// Check reports everything that is wrong in a description that was made or changed in Go code, as Load does for a file: each
// problem names the key, the value and what is allowed. It is nil for a description that Load returned.
func (d *Description) Check() error {
	var s strings.Builder
	if err := d.encode(&s); err != nil {
		return err
	}
	name := d.File
	if name == "" {
		name = "scene in code"
	}
	_, err := Parse(name, []byte(s.String()))
	if p, ok := err.(Problems); ok {
		for i := range p {
			p[i].Line, p[i].Column = 0, 0 // of a text that nobody has
		}
	}
	return err
}

// encode writes the description as a scene file: what differs from the defaults, names of files in full.
func (d *Description) encode(s *strings.Builder) error {
	e := encoder{}
	text := e.block(schema(), reflect.ValueOf(d).Elem(), "")
	if e.err != nil {
		return e.err
	}
	s.WriteString(text)
	return nil
}

type encoder struct{ err error }

// ShellKeys returns the keys of an eye that differ from their defaults and act also where its shells come from a file, with their
// values as a scene file has them, by their place in the object: cornea.index, sclera.tint. Names of files are in full. The size of
// the pupil is left out: it is in the shells.
func (o *Object) ShellKeys() (map[string]string, error) {
	e, out := encoder{}, map[string]string{}
	plain := DefaultObject("", "eye")
	from, std := reflect.ValueOf(o).Elem(), reflect.ValueOf(&plain).Elem()
	var walk func(b *block, v, std reflect.Value, path string)
	walk = func(b *block, v, std reflect.Value, path string) {
		for _, f := range b.fields {
			if path == "" && (f.within == 0 || f.key == "asset") || f.acts != nil {
				continue
			}
			x, at := f.in(v), join(path, f.key)
			switch {
			case at == "iris.pupil":
			case f.kind == group && !f.pointer && f.block != nil && path == "":
				walk(f.block, x, f.in(std), at)
			case f.pointer && x.IsNil(), reflect.DeepEqual(x.Interface(), f.in(std).Interface()):
			case f.pointer:
				out[at] = e.value(f, x.Elem(), at)
			default:
				out[at] = e.value(f, x, at)
			}
		}
	}
	if o.Eye != nil {
		walk(schema().field("objects").block, from, std, "")
	}
	return out, e.err
}

// block writes the keys of a block in flow style.
func (e *encoder) block(b *block, v reflect.Value, path string) string {
	plain := reflect.New(b.typ).Elem()
	presets(b, plain)
	chosen := ""
	if b.selector != nil {
		chosen = v.Field(b.selector.index).String()
	}
	var parts []string
	for _, f := range b.fields {
		if f.within > 0 && v.Field(f.within-1).IsNil() || len(f.only) > 0 && !slices.Contains(f.only, chosen) {
			continue
		}
		x := f.in(v)
		if f.pointer {
			if x.IsNil() {
				continue
			}
			x = x.Elem()
		} else if !f.required && reflect.DeepEqual(x.Interface(), f.in(plain).Interface()) {
			continue
		}
		parts = append(parts, f.key+": "+e.value(f, x, join(path, f.key)))
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

func (e *encoder) value(f *field, v reflect.Value, path string) string {
	switch f.kind {
	case group:
		return e.block(f.block, v, path)
	case blocks:
		items := make([]string, v.Len())
		for i := range items {
			items[i] = e.block(f.block, v.Index(i), fmt.Sprintf("%s.%d", path, i))
		}
		return "[" + strings.Join(items, ", ") + "]"
	}
	switch x := v.Interface().(type) {
	case MapSpec:
		if x.File == "" && x.Gain == 1 && x.Offset == 0 && x.Channel == "" && x.Shell != "outer" && x.UvSet == nil && x.Painted != "seen" {
			return numbers(x.Value[:])
		}
		return e.block(f.block, v, path)
	case colour.RGB:
		return numbers(x[:])
	case geom.Vec:
		return numbers([]float64{x.X, x.Y, x.Z})
	case [2]float64:
		return numbers(x[:])
	case [2]int:
		return fmt.Sprintf("[%d, %d]", x[0], x[1])
	case float64:
		return number64(x)
	case int:
		return strconv.Itoa(x)
	case bool:
		return strconv.FormatBool(x)
	case Path: // in full: relative to where the program runs, not to a scene file
		if builtin.Is(string(x)) {
			return strconv.Quote(string(x))
		}
		full, err := filepath.Abs(string(x))
		if err != nil {
			e.err = fmt.Errorf("scene: %s: %w", path, err)
		}
		return strconv.Quote(full)
	case string:
		return strconv.Quote(x)
	}
	e.err = fmt.Errorf("scene: %s: a value of type %s has no form in a scene file", path, v.Type())
	return ""
}

// number64 writes a number so that the same one is read back; what is not finite is refused there.
func number64(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

func numbers(x []float64) string {
	parts := make([]string, len(x))
	for i, v := range x {
		parts[i] = number64(v)
	}
	return "[" + strings.Join(parts, ", ") + "]"
}
