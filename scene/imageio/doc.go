// Package imageio reads and writes pictures: PNG, JPEG, TIFF, Radiance HDR, PFM and OpenEXR. It is the only place
// that knows their formats.
//
// Read goes by content, never by the file's name. What it returns is a Picture: planes of float32, one a channel,
// the signal of the file between 0 and 1 where it is display-coded, and linear values where it is not. Every claim of
// a header is checked against the limits below and against the size of the file before memory is taken for it.
//
// A writer works in a temporary file in the folder of the final one and renames it at the end, so that a file under
// its final name is always whole.
//
// Radiance HDR, PFM and OpenEXR are read and written by this package's own code: the hdr module that serves as second
// decoder in the tests accepts a picture whose last line is cut, panics on a run that is longer than its line, and does
// not know the old run-length coding.
package imageio

// Limits of what is read. A file that claims more is an error.
const (
	MaxSide     = 16384   // texels along one side
	MaxTexels   = 1 << 28 // texels in all
	MaxChannels = 512     // channels of an OpenEXR file
	MaxFile     = 1 << 31 // bytes of a file
)

// maxRatio is the most that deflate, the densest coding we read, can shrink data: a run of 258 bytes in 2 bits.
//
// Source: RFC 1951, section 3.2.5.
const maxRatio = 258 * 8 / 2
