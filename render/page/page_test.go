package page

import (
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func marsh(n int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, 40, 30))
	for i := range m.Pix {
		m.Pix[i] = uint8(i*7 + 31*n)
	}
	for i := 3; i < len(m.Pix); i += 4 {
		m.Pix[i] = 255
	}
	return m
}

func small() *Page {
	p := &Page{W: 200, H: 120, Title: "reeds & <tide>"}
	p.Text(10, 20, 14, true, Start, Ink, "pupil 2 mm & 4°")
	p.Text(190, 20, 14, false, End, Quiet, "right")
	p.Image(20, 40, marsh(0), "a <cell>")
	p.Rect(100, 100, 50, 3, color.NRGBA{255, 255, 255, 255})
	return p
}

// The three forms of a page: PNG holds the picture texel for texel; SVG is sound XML with the picture inside; PDF has its
// text as text. The same page gives the same bytes, and nothing points outside.
func TestForms(t *testing.T) {
	p := small()
	data, err := p.PNG()
	require.NoError(t, err)
	m, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	for y := range 30 {
		for x := range 40 {
			require.Equal(t, marsh(0).NRGBAAt(x, y), color.NRGBAModel.Convert(m.At(20+x, 40+y)))
		}
	}
	require.NotEqual(t, m.At(12, 100), m.At(120, 101), "the bar")
	svg, err := p.SVG()
	require.NoError(t, err)
	dec := xml.NewDecoder(bytes.NewReader(svg))
	for {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
	}
	require.Equal(t, 1, strings.Count(string(svg), "http"), "only the name of the SVG language")
	require.Contains(t, string(svg), "data:image/png;base64,")
	pdf, err := p.PDF()
	require.NoError(t, err)
	again, err := small().PDF()
	require.NoError(t, err)
	require.True(t, bytes.Equal(pdf, again), "a PDF depends on nothing but the page")
	if tool, err := exec.LookPath("pdftotext"); err == nil {
		c := exec.Command(tool, "-", "-")
		c.Stdin = bytes.NewReader(pdf)
		out, err := c.Output()
		require.NoError(t, err)
		require.Contains(t, string(out), "pupil 2 mm & 4°")
	} else {
		t.Log("pdftotext is not here; the PDF's text is not read back")
	}
}

func TestFit(t *testing.T) {
	require.Equal(t, "short", Fit("short", 14, false, 100))
	cut := Fit("a very long caption of a cell", 14, false, 100)
	require.True(t, strings.HasSuffix(cut, "..."))
	require.LessOrEqual(t, TextWidth(cut, 14, false), 100.0)
}

// An animated PNG is a PNG to readers that know no animation, loops for ever, and holds each frame: with the chunks of
// one frame put back into a file of its own, that frame comes out again.
func TestAPNG(t *testing.T) {
	frames := []*image.NRGBA{marsh(0), marsh(1), marsh(2)}
	data, err := APNG(frames, 80)
	require.NoError(t, err)
	m, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, frames[0].NRGBAAt(5, 5), color.NRGBAModel.Convert(m.At(5, 5)))
	var head []byte
	var bodies [3][]byte
	frame, serial := -1, uint32(0)
	for at := 8; at < len(data); {
		n := int(binary.BigEndian.Uint32(data[at:]))
		kind, body := string(data[at+4:at+8]), data[at+8:at+8+n]
		at += 12 + n
		switch kind {
		case "IHDR":
			head = body
		case "acTL":
			require.Equal(t, []uint32{3, 0}, []uint32{binary.BigEndian.Uint32(body), binary.BigEndian.Uint32(body[4:])})
		case "fcTL":
			frame++
			require.Equal(t, serial, binary.BigEndian.Uint32(body))
			serial++
			require.Equal(t, []uint16{80, 1000}, []uint16{binary.BigEndian.Uint16(body[20:]), binary.BigEndian.Uint16(body[22:])})
		case "IDAT":
			bodies[frame] = append(bodies[frame], body...)
		case "fdAT":
			require.Equal(t, serial, binary.BigEndian.Uint32(body))
			serial++
			bodies[frame] = append(bodies[frame], body[4:]...)
		}
	}
	for i := range frames {
		var b bytes.Buffer
		b.Write(data[:8])
		chunk(&b, "IHDR", head)
		chunk(&b, "IDAT", bodies[i])
		chunk(&b, "IEND", nil)
		m, err := png.Decode(&b)
		require.NoError(t, err)
		require.Equal(t, frames[i].NRGBAAt(17, 9), color.NRGBAModel.Convert(m.At(17, 9)), "frame %d", i)
	}
	_, err = APNG(nil, 80)
	require.Error(t, err)
}

// Nothing fits anywhere: no dots stand for it. Nor do dots where they are wider than the place.
func TestFitNothing(t *testing.T) {
	require.Empty(t, Fit("", 12, false, -3))
	require.Empty(t, Fit("words", 12, false, 1))
}

// Wrapped lines hold the text in order, none wider than asked, and end in dots where some is left out.
func TestWrap(t *testing.T) {
	const words = "reeds and salt along a dyke, abcdefghijklmnopqrstuvwxyz"
	for width := 4.0; width < 400; width += 7 {
		lines := Wrap(words, 12, false, width, 4)
		require.LessOrEqual(t, len(lines), 4)
		for _, l := range lines {
			require.LessOrEqual(t, TextWidth(l, 12, false), width)
		}
		got, cut := strings.CutSuffix(strings.Join(lines, ""), "...")
		plain := strings.ReplaceAll(words, " ", "")
		got = strings.ReplaceAll(got, " ", "")
		require.True(t, cut && strings.HasPrefix(plain, got) || got == plain || width < 12, "%v: %q", width, lines)
	}
	require.Equal(t, []string{"reeds and", "salt"}, Wrap("reeds and salt", 12, false, TextWidth("reeds and", 12, false), 2))
}
