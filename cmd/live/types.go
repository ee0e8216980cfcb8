package live

// View says how the picture is looked at.
type View struct {
	Width  int        `json:"width"`  // pixels wanted for the whole film; the longer side counts, in [16, 4096]; 0 takes 384
	Height int        `json:"height"` //
	Crop   [4]float64 `json:"crop"`   // part of the film to refine first, 0 to 1: x0, y0, x1, y1; zero: all of it
	Drag   bool       `json:"drag"`   // a gesture is going on: stay small and fast
	Raster bool       `json:"raster"` // the raster look is wanted too
	Alone  string     `json:"alone"`  // a map or zone to show alone, by its name in render/diagram; empty: the picture
}

// Light is a gain on a light of the scene, for each channel; 1, 1, 1 leaves it as it is.
type Light struct {
	Name string     `json:"name"`
	Gain [3]float64 `json:"gain"`
}

// The looks of frames.
const (
	Traced = "traced"
	Raster = "raster"
	Alone  = "alone"

	// Frames without pixels, which say something.
	Well  = "well"  // what the last problem was is over
	Still = "still" // the last picture of the raster look is of the scene as this run has it
)

// Frame is a picture, or a part of one.
type Frame struct {
	Run     uint64  `json:"run"`               // as given to Show
	Look    string  `json:"look"`              // Traced, Raster or Alone
	Pass    int     `json:"pass"`              // counts the frames of a run, from 1
	Samples int     `json:"samples"`           // samples a pixel
	Width   int     `json:"width"`             // of the whole picture in pixels
	Height  int     `json:"height"`            //
	Box     [4]int  `json:"box"`               // the pixels that RGBA covers: x0, y0, x1, y1 with the last ones left out
	RGBA    []byte  `json:"-"`                 // rows from the top left, sRGB with dither, alpha not multiplied in
	Error   float64 `json:"error"`             // standard error of the display signal over what is looked at, root of the mean square, in levels of 255; 0: not known
	Rough   bool    `json:"rough,omitempty"`   // smaller than is wanted, or with pixels of a single sample: its error is not known
	Enough  bool    `json:"enough"`            // good enough to judge by: the error of a draft, or all samples that the scene asks for
	Smaller bool    `json:"smaller"`           // rough: made with smaller maps than the scene has, a warped pupil, or lids as they were
	Clean   bool    `json:"clean,omitempty"`   // with its grain taken out, as the scene asks for
	Seconds float64 `json:"seconds"`           // since Show
	Words   string  `json:"words,omitempty"`   // of a map shown alone: what its tones mean
	Problem string  `json:"problem,omitempty"` // why there is no picture; RGBA is empty then
	Marks   *Marks  `json:"marks,omitempty"`   // of one frame of a run; nil where they are as before
}

// Marks is where handles lie over the picture. Places are in shares of the film's width and height from the top left.
type Marks struct {
	Limbus              [][2]float64 `json:"limbus"`                // closed outline as the camera sees it
	Pupil               [][2]float64 `json:"pupil"`                 // the same, through the cornea
	Centre              [2]float64   `json:"centre"`                // of the pupil, through the cornea
	MillimetresPerWidth float64      `json:"millimetres_per_width"` // mm across the film in the plane of the limbus, facing the camera
	Catchlights         []Catchlight `json:"catchlights"`
	Lights              []Placed     `json:"lights"`
}

// Catchlight is the mirror image of a light in the cornea.
type Catchlight struct {
	Light string     `json:"light"`
	Place [2]float64 `json:"place"` // of its middle on the film
	Clock float64    `json:"clock"` // in hours, in (0, 12]: 12 is up in the eye, 3 to the right as seen from the front
	Off   float64    `json:"mm"`    // mm from the pupil's centre, across the eye's axis
	Size  float64    `json:"size"`  // mm across the eye's axis, the larger extent
	Seen  bool       `json:"seen"`  // false: hidden, or beyond the cornea
}

// Placed is the direction of a light as an eye has it.
type Placed struct {
	Name      string  `json:"name"`
	Azimuth   float64 `json:"azimuth"`   // degrees, as of an orbit, before the light set-up's own rotation
	Elevation float64 `json:"elevation"` //
	Even      bool    `json:"even"`      // from all around: the direction says nothing
}

// Target is where a catchlight is to sit: a point of the film over the cornea, or a clock position and a distance from the
// pupil's centre.
type Target struct {
	X     float64 `json:"x"`     // on the film, 0 to 1; used where Clock is 0
	Y     float64 `json:"y"`     //
	Clock float64 `json:"clock"` // hours, in (0, 12]; 0: X and Y count
	Off   float64 `json:"mm"`    // mm from the pupil's centre, across the eye's axis; with Clock
	Size  float64 `json:"size"`  // mm across on the cornea, of the larger extent; 0 leaves the light's own size
}

// Picked says what one point of the picture shows: the shells behind it, outermost first.
type Picked struct {
	Places []Place `json:"places"`
}

// Place is a point of an object.
type Place struct {
	Object string     `json:"object"`
	Shell  string     `json:"shell"` // outer, inner, or empty for objects that are no eye
	Zone   string     `json:"zone"`  // pupil, iris, limbus, sclera or around
	UV     [2]float64 `json:"uv"`
	Place  [3]float64 `json:"place"` // mm in the object's own frame: of an eye, +Z out of the cornea
	Clock  float64    `json:"clock"` // of an eye, as of catchlights
	Off    float64    `json:"mm"`    // of an eye: mm from the pupil's centre
	Maps   []Texel    `json:"maps"`
}

// Texel is where a map is read.
type Texel struct {
	Slot  string    `json:"slot"`  // key of the scene
	Map   string    `json:"map"`   // file; empty for one that is made here
	Texel [2]int    `json:"texel"` // column and row
	Size  [2]int    `json:"size"`  // of the map
	Value []float64 `json:"value"` // of the file as it is written; of a map that is made here, the reflectance
}
