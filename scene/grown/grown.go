// Package grown is the report that lies beside the maps and shells of a grown eye: what each file holds, in which axes, and what a
// scene has to say so that the same eye is seen again.
package grown

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"

	"catchlight/scene/eye"
)

// Name is the report's file name.
const Name = "grown.json"

// Report is what the file holds.
type Report struct {
	Scene     string            `json:"scene"`
	Object    string            `json:"object"`
	Size      int               `json:"size_px"`
	Green     string            `json:"normal_green"`
	Layout    string            `json:"layout"`
	Frame     Frame             `json:"frame"`
	Shells    string            `json:"shells"` // in words: what of the relief their shape has
	IrisShare float64           `json:"iris_share_of_map_radius"`
	Globe     float64           `json:"globe_radius_mm"`
	Limbus    float64           `json:"limbus_radius_mm"`
	Width     float64           `json:"limbus_width_mm"`
	Reach     float64           `json:"limbus_reach_mm"` // of the white over the cornea; 0 in folders of older programs
	Axial     float64           `json:"axial_length_mm"`
	Apex      float64           `json:"apex_z_mm"`
	IrisZ     float64           `json:"iris_z_mm"`
	MapSize   int               `json:"map_size_px"` // of the scene's eye
	Keys      map[string]string `json:"eye_keys"`    // what the scene says of the eye beyond its shape and the defaults, by key
	Zones     []string          `json:"zone_ids"`
	Legend    []Colour          `json:"preview_legend,omitempty"`
	Maps      []Map             `json:"maps"`
	Meshes    []Mesh            `json:"meshes"`

	Distortion []eye.Stretch `json:"texels_per_mm"`
	Strands    *Strands      `json:"strands,omitempty"`
}

// Strands says of an iris of one's own strands where they came from and how far it repeats itself.
type Strands struct {
	File   string     `json:"file"`
	Guide  string     `json:"guide,omitempty"`
	Repeat eye.Repeat `json:"repetition"`
}

// Frame says where up and the nose are. All files have one frame.
type Frame struct {
	Up    string `json:"up"`
	Front string `json:"front"` // out of the cornea, along the optical axis
	Nose  string `json:"nose"`
	Side  string `json:"side"` // which eye it is
	Zero  string `json:"origin"`
	Unit  string `json:"unit"`
}

// FrameOf returns the frame of a right or left eye.
func FrameOf(side string) Frame {
	f := Frame{Up: "+Y", Front: "+Z", Nose: "+X", Side: side, Zero: "centre of the globe", Unit: "mm in .obj, m in .glb"}
	if side == "left" {
		f.Nose = "-X"
	}
	return f
}

// Text says it in one line.
func (f Frame) Text() string {
	return fmt.Sprintf("up is %s, the front (out of the cornea) %s, the nose of this %s eye %s; the origin is the %s", f.Up, f.Front, f.Side, f.Nose, f.Zero)
}

// Map is one picture.
type Map struct {
	File  string   `json:"file"`
	Kind  eye.Kind `json:"kind"`
	Holds string   `json:"holds"`
	Code  string   `json:"code"` // from the stored 0 to 1 to the value
	Zero  *float64 `json:"zero_level,omitempty"`
	Scale *float64 `json:"scale_mm,omitempty"` // of a height map: mm per unit of what is stored above the zero level
	Sum   string   `json:"sha256"`
}

// Colour is a part of the eye, its mask and the colour that shows it in the preview.
type Colour struct {
	Part   string `json:"part"`
	Mask   string `json:"mask"` // file
	Zone   int    `json:"zone_id"`
	Colour string `json:"colour"` // sRGB, #rrggbb
}

// Mesh is one file of shells.
type Mesh struct {
	File string `json:"file"`
	Sum  string `json:"sha256"`
}

// Keys of the text in a height map's file: the stored value that is no displacement, and mm per unit above it.
const (
	ZeroText  = "Zero level"
	ScaleText = "Scale in mm"
)

// maxReport is the largest report that is read, in bytes.
const maxReport = 1 << 20

var keyForm = regexp.MustCompile(`^[a-z_]+(\.[a-z_]+)?$`)

// Read reads a report. The error is os.ErrNotExist's where there is none.
func Read(path string) (*Report, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxReport+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxReport {
		return nil, fmt.Errorf("%s: is larger than %d bytes", path, maxReport)
	}
	var r Report
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &r, r.check(path)
}

func (r *Report) check(path string) error {
	var errs []error
	for _, q := range []struct {
		key         string
		v, low, top float64
	}{{"globe_radius_mm", r.Globe, 2, 60}, {"limbus_radius_mm", r.Limbus, 0.5, 30}, {"limbus_width_mm", r.Width, 0.05, 10}, {"limbus_reach_mm", r.Reach, 0, 1}, {"map_size_px", float64(r.MapSize), 64, 8192}} {
		if !(q.v >= q.low && q.v <= q.top) {
			errs = append(errs, fmt.Errorf("%s: %s %g must be %g to %g", path, q.key, q.v, q.low, q.top))
		}
	}
	if r.Frame.Side != "left" && r.Frame.Side != "right" {
		errs = append(errs, fmt.Errorf("%s: frame.side %q must be left or right", path, r.Frame.Side))
	}
	for k, v := range r.Keys {
		if !keyForm.MatchString(k) || len(v) > 4096 {
			errs = append(errs, fmt.Errorf("%s: eye_keys has %q, which is no key of an eye", path, k))
		}
		for _, c := range v {
			if c < ' ' {
				errs = append(errs, fmt.Errorf("%s: eye_keys: %s holds a line break or another control character", path, k))
				break
			}
		}
	}
	for _, m := range r.Maps {
		if m.File != filepath.Base(m.File) {
			errs = append(errs, fmt.Errorf("%s: maps: %q must be the name of a file beside the report", path, m.File))
		}
	}
	return errors.Join(errs...)
}

// Map returns the map of a file name, or nil.
func (r *Report) Map(file string) *Map {
	for i := range r.Maps {
		if r.Maps[i].File == file {
			return &r.Maps[i]
		}
	}
	return nil
}

// Mesh returns the mesh of a file name, or nil.
func (r *Report) Mesh(file string) *Mesh {
	for i := range r.Meshes {
		if r.Meshes[i].File == file {
			return &r.Meshes[i]
		}
	}
	return nil
}
