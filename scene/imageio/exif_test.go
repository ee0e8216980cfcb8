package imageio

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"testing"

	"github.com/stretchr/testify/require"
)

// withExif puts an Exif part into a JPEG file: orientation in the first directory, focal length in the camera's own.
func withExif(t testing.TB, order binary.AppendByteOrder, turn, focal uint16) []byte {
	t.Helper()
	var plain bytes.Buffer
	require.NoError(t, jpeg.Encode(&plain, image.NewGray(image.Rect(0, 0, 8, 8)), nil))
	head := "II*\x00"
	if order == binary.AppendByteOrder(binary.BigEndian) {
		head = "MM\x00*"
	}
	b := order.AppendUint32([]byte(head), 8)
	short := func(tag, v uint16) {
		b = order.AppendUint16(order.AppendUint32(order.AppendUint16(order.AppendUint16(b, tag), 3), 1), v)
		b = append(b, 0, 0)
	}
	b = order.AppendUint16(b, 2)
	short(0x0112, turn)
	b = order.AppendUint32(order.AppendUint32(order.AppendUint16(order.AppendUint16(b, 0x8769), 4), 1), 8+2+24+4)
	b = order.AppendUint32(b, 0)
	b = order.AppendUint16(b, 1)
	short(0xa405, focal)
	b = order.AppendUint32(b, 0)
	out := append([]byte{}, plain.Bytes()[:2]...)
	out = append(out, 0xff, 0xe0, 0, 4, 1, 2, 0xff, 0xe1) // another part first
	out = binary.BigEndian.AppendUint16(out, uint16(2+6+len(b)))
	out = append(append(out, "Exif\x00\x00"...), b...)
	return append(out, plain.Bytes()[2:]...)
}

func TestTakenFrom(t *testing.T) {
	for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
		data := withExif(t, order, 6, 85)
		require.Equal(t, Taken{6, 85}, TakenFrom(data))
		_, err := ReadBytes("a.jpg", data)
		require.NoError(t, err)
		require.Equal(t, Taken{0, 0}, TakenFrom(withExif(t, order, 9, 60000)), "numbers that mean nothing")
		for n := range data {
			TakenFrom(data[:n]) // a file that is cut must not bring the program down
		}
	}
	var plain bytes.Buffer
	require.NoError(t, jpeg.Encode(&plain, image.NewGray(image.Rect(0, 0, 8, 8)), nil))
	require.Equal(t, Taken{}, TakenFrom(plain.Bytes()))
	require.Equal(t, Taken{}, TakenFrom([]byte("\x89PNG")))
	require.Equal(t, Taken{}, TakenFrom(nil))
}

func FuzzTakenFrom(f *testing.F) {
	f.Add(withExif(f, binary.LittleEndian, 3, 50))
	f.Add(withExif(f, binary.BigEndian, 8, 135))
	f.Fuzz(func(t *testing.T, data []byte) {
		if got := TakenFrom(data); got.Turn < 0 || got.Turn > 8 || !(got.Focal >= 0 && got.Focal < 10000) {
			t.Error(got)
		}
	})
}
