package imageio

import (
	"bytes"
	"catchlight/scene/builtin"
	"catchlight/scene/surroundings"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Read decodes the picture in the file path, or one that the program brings (builtin:NAME), into planes, which must not be changed. The kind of picture is told from its content, and must be
// what the name says. An error is a
// *FormatError, an *UnsupportedError or comes from the operating system, and names the file.
func Read(path string) (*Picture, error) {
	if name, ok := builtin.Place(path); ok {
		planes, _ := surroundings.Make(name)
		return &Picture{W: surroundings.Width, H: surroundings.Height, Names: []string{"R", "G", "B"}, Pix: planes[:], Depth: 32}, nil
	}
	data, err := ReadFile(path)
	if err != nil {
		return nil, err
	}
	return ReadBytes(path, data)
}

// ReadFile reads a regular file of at most MaxFile bytes, or one that lives in the program (builtin:NAME).
func ReadFile(path string) ([]byte, error) {
	if data, ok := builtin.Read(path); ok {
		return data, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !st.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: not a regular file", path)
	}
	if st.Size() > MaxFile {
		return nil, &FormatError{File: path, Msg: fmt.Sprintf("%d bytes, at most %d are read", st.Size(), MaxFile)}
	}
	data := make([]byte, 0, st.Size()+1)
	for {
		n, err := f.Read(data[len(data):cap(data)])
		data = data[:len(data)+n]
		switch {
		case err == io.EOF:
			return data, nil
		case err != nil:
			return nil, fmt.Errorf("%s: %w", path, err)
		case len(data) > MaxFile:
			return nil, &FormatError{File: path, Msg: fmt.Sprintf("more than %d bytes", int64(MaxFile))}
		case len(data) == cap(data):
			data = append(data, 0)[:len(data)]
		}
	}
}

// kinds lists how each format starts and who reads it: coded pictures of 8 and 16 bits by native, the rest by planes.
var kinds = []struct {
	name, start string
	native      func(data []byte) (coded, error)
	planes      func(data []byte) (*Picture, error)
}{
	{"PNG", "\x89PNG\r\n\x1a\n", decodePNG, planar(decodePNG)},
	{"JPEG", "\xff\xd8\xff", decodeJPEG, planar(decodeJPEG)},
	{"TIFF", "II*\x00", decodeTIFF, planar(decodeTIFF)},
	{"TIFF", "MM\x00*", decodeTIFF, planar(decodeTIFF)},
	{"Radiance HDR", "#?", nil, decodeHDR},
	{"PFM", "PF", nil, decodePFM},
	{"PFM", "Pf", nil, decodePFM},
	{"OpenEXR", "\x76\x2f\x31\x01", nil, decodeEXR},
}

// strangers lists how formats start that are recognised but not read.
var strangers = []struct{ name, start string }{
	{"BigTIFF", "II+\x00"}, {"BigTIFF", "MM\x00+"}, {"GIF", "GIF8"}, {"BMP", "BM"}, {"RIFF container (WebP)", "RIFF"},
	{"DDS", "DDS "}, {"PSD", "8BPS"}, {"KTX", "\xabKTX"}, {"JPEG 2000", "\x00\x00\x00\x0cjP  "}, {"JPEG XL", "\xff\x0a"},
	{"PNM", "P6"}, {"PNM", "P5"},
}

// ReadBytes decodes a picture from memory. name is for messages; where it ends as a kind of picture does, the picture must
// be of that kind. It does not keep data.
func ReadBytes(name string, data []byte) (*Picture, error) {
	p, err := decode(name, data)
	if err != nil {
		return nil, named(name, err)
	}
	p.noteValues()
	return p, nil
}

// named puts the name of the file into an error.
func named(name string, err error) error {
	var fe *FormatError
	var ue *UnsupportedError
	switch {
	case errors.As(err, &fe):
		fe.File = name
	case errors.As(err, &ue):
		ue.File = name
	default:
		err = fmt.Errorf("%s: %w", name, err)
	}
	return err
}

// endings are the kinds that the ends of file names promise.
var endings = map[string]string{
	".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG", ".tif": "TIFF", ".tiff": "TIFF",
	".hdr": "Radiance HDR", ".pfm": "PFM", ".exr": kindEXR,
}

// checkName returns an error where a file's name promises another kind of picture than it holds: one of them is a mistake,
// and other programs go by the name.
func checkName(name, kind string) error {
	if want := endings[strings.ToLower(filepath.Ext(name))]; want != "" && want != kind {
		return bad("", "the content is %s, the name says %s; give the file the ending of what it is, or save it anew", kind, want)
	}
	return nil
}

func decode(name string, data []byte) (*Picture, error) {
	if len(data) == 0 {
		return nil, bad("", "the file is empty")
	}
	for _, k := range kinds {
		if bytes.HasPrefix(data, []byte(k.start)) {
			if err := checkName(name, k.name); err != nil {
				return nil, err
			}
			return k.planes(data)
		}
	}
	for _, k := range strangers {
		if bytes.HasPrefix(data, []byte(k.start)) {
			return nil, unsupported(k.name, "this format is not read; PNG, JPEG, TIFF, Radiance HDR, PFM and OpenEXR are")
		}
	}
	if bytes.HasPrefix(data, []byte("version https://")) && bytes.Contains(data[:min(len(data), 512)], []byte("oid sha256:")) {
		return nil, bad("", "a large-file-storage pointer text in place of the picture; fetch the picture itself")
	}
	return nil, bad("", "not a picture that is read: it starts with %q; PNG, JPEG, TIFF, Radiance HDR, PFM and OpenEXR are", data[:min(len(data), 8)])
}
