package imageio

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
)

// Read decodes the picture in the file path. The kind of picture is told from its content. An error is a
// *FormatError, an *UnsupportedError or comes from the operating system, and names the file.
func Read(path string) (*Picture, error) {
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
	data, err := io.ReadAll(io.LimitReader(f, MaxFile))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return ReadBytes(path, data)
}

// kinds lists how each format starts and who reads it.
var kinds = []struct {
	name, start string
	decode      func(data []byte) (*Picture, error)
}{
	{"PNG", "\x89PNG\r\n\x1a\n", decodePNG},
	{"JPEG", "\xff\xd8\xff", decodeJPEG},
	{"TIFF", "II*\x00", decodeTIFF},
	{"TIFF", "MM\x00*", decodeTIFF},
	{"Radiance HDR", "#?", decodeHDR},
	{"PFM", "PF", decodePFM},
	{"PFM", "Pf", decodePFM},
	{"OpenEXR", "\x76\x2f\x31\x01", decodeEXR},
}

// strangers lists how formats start that are recognised but not read.
var strangers = []struct{ name, start string }{
	{"BigTIFF", "II+\x00"}, {"BigTIFF", "MM\x00+"}, {"GIF", "GIF8"}, {"BMP", "BM"}, {"RIFF container (WebP)", "RIFF"},
	{"DDS", "DDS "}, {"PSD", "8BPS"}, {"KTX", "\xabKTX"}, {"JPEG 2000", "\x00\x00\x00\x0cjP  "}, {"JPEG XL", "\xff\x0a"},
	{"PNM", "P6"}, {"PNM", "P5"},
}

// ReadBytes decodes a picture from memory; name is used in messages only. It does not keep data.
func ReadBytes(name string, data []byte) (*Picture, error) {
	p, err := decode(data)
	if err != nil {
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
		return nil, err
	}
	p.noteValues()
	return p, nil
}

func decode(data []byte) (*Picture, error) {
	if len(data) == 0 {
		return nil, bad("", "the file is empty")
	}
	for _, k := range kinds {
		if bytes.HasPrefix(data, []byte(k.start)) {
			return k.decode(data)
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
