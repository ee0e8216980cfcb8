package texture

import (
	"bytes"
	"testing"

	"catchlight/scene/raw"

	"github.com/stretchr/testify/require"
)

// Pictures of plain and of half-precision numbers are read as they were written; one of another coding, or none, is read as none.
func TestKeptPicturesAreRead(t *testing.T) {
	var b bytes.Buffer
	w := raw.NewWriter(&b)
	Write(w, NewImage(2, 1, 1, []float32{0.25, 3}))
	Write(w, NewImage16(1, 2, 1, []uint16{0x3c00, 0x3800}, Half))
	Write(w, NewImage16(1, 1, 1, []uint16{9}, Signal16))
	Write(w, nil)
	require.NoError(t, w.Err())
	data := raw.Aligned(b.Len())
	copy(data, b.Bytes())
	r := raw.NewReader(data)
	a, h := Read(r), Read(r)
	require.Equal(t, 3.0, a.At(1, 0, 0))
	require.Equal(t, 1.0, h.At(0, 0, 0))
	require.Equal(t, 0.5, h.At(0, 1, 0))
	require.Nil(t, Read(r))
	require.Nil(t, Read(r))
	require.NoError(t, r.Done())
}
