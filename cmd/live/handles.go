package live

// Target is where a catchlight is to sit: a point of the film over the cornea, or a clock position and a distance from the
// pupil's centre.
type Target struct {
	X, Y  float64 // on the film, 0 to 1; used where Clock is 0
	Clock float64 // hours, in (0, 12]; 0: X and Y count
	Off   float64 // mm from the pupil's centre, across the eye's axis; with Clock
	Size  float64 // mm across on the cornea; 0 leaves the light's own size
}
