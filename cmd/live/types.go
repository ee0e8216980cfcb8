package live

// View says how the picture is looked at.
type View struct {
	Width, Height int        // pixels wanted for the whole film; the longer side counts, in [16, 4096]; 0 takes 384
	Crop          [4]float64 // part of the film to refine first, 0 to 1: x0, y0, x1, y1; zero: all of it
	Drag          bool       // a gesture is going on: stay small and fast
	Raster        bool       // the raster look is wanted too
	Alone         string     // a map or zone to show alone, by its name in render/diagram; empty: the picture
}

// Light is a gain on a light of the scene, for each channel; 1, 1, 1 leaves it as it is.
type Light struct {
	Name string
	Gain [3]float64
}

// The looks of frames.
const (
	Traced = "traced"
	Raster = "raster"
	Alone  = "alone"
)

// Frame is a picture, or a part of one.
type Frame struct {
	Run           uint64  // as given to Show
	Look          string  // Traced, Raster or Alone
	Pass          int     // counts the frames of a run, from 1
	Samples       int     // samples a pixel
	Width, Height int     // of the whole picture in pixels
	Box           [4]int  // the pixels that RGBA covers: x0, y0, x1, y1 with the last ones left out
	RGBA          []byte  // rows from the top left, sRGB with dither, alpha not multiplied in
	Error         float64 // standard error of the display signal over the picture, root of the mean square, in levels of 255
	Enough        bool    // good enough to judge by: the error of a draft, or all samples that the scene asks for
	Smaller       bool    // made with smaller maps than the scene has
	Seconds       float64 // since Show
	Words         string  // of a map shown alone: what its tones mean
	Problem       string  // why there is no picture; RGBA is empty then
	Marks         *Marks  // of the first frame of a run; nil where they are as before
}

// Marks is where handles lie over the picture. Places are in shares of the film's width and height from the top left.
type Marks struct {
	Limbus, Pupil       [][2]float64 // closed outlines as the camera sees them, the pupil through the cornea
	Centre              [2]float64   // of the pupil
	MillimetresPerWidth float64      // in the plane of the limbus, facing the camera
	Catchlights         []Catchlight
	Lights              []Placed
}

// Catchlight is the mirror image of a light in the cornea.
type Catchlight struct {
	Light string
	Place [2]float64 // of its middle on the film
	Clock float64    // in hours, in (0, 12]: 12 is up in the eye, 3 to the right as seen from the front
	Off   float64    // mm from the pupil's centre, across the eye's axis
	Size  float64    // mm across on the cornea, the larger extent
	Seen  bool       // false: hidden, or beyond the cornea
}

// Placed is the direction of a light as an eye has it.
type Placed struct {
	Name               string
	Azimuth, Elevation float64 // degrees, as of an orbit
	Even               bool    // from all around: the direction says nothing
}
