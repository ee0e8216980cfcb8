package raw

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

type place struct {
	X, Y float64
	N    [3]uint32
}

func keep(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	w := NewWriter(&b)
	Text(w, "reed")
	Slice(w, []place{{1, 2, [3]uint32{3, 4, 5}}, {6, 7, [3]uint32{8, 9, 10}}})
	Slice(w, []byte(nil))
	Slice(w, []float32{})
	Value(w, 3.5)
	require.NoError(t, w.Err())
	return append(Aligned(0), b.Bytes()...)
}

func read(data []byte) (text string, s []place, none []byte, empty []float32, v float64, err error) {
	to := Aligned(len(data))
	copy(to, data)
	r := NewReader(to)
	text, s, none, empty, v = ReadText(r), ReadSlice[place](r), ReadSlice[byte](r), ReadSlice[float32](r), ReadValue[float64](r)
	return text, s, none, empty, v, r.Done()
}

// What is written comes back; what is cut anywhere, or has more, is an error and nothing worse.
func TestWrittenIsRead(t *testing.T) {
	data := keep(t)
	text, s, none, empty, v, err := read(data)
	require.NoError(t, err)
	require.Equal(t, "reed", text)
	require.Equal(t, []place{{1, 2, [3]uint32{3, 4, 5}}, {6, 7, [3]uint32{8, 9, 10}}}, s)
	require.Nil(t, none)
	require.NotNil(t, empty)
	require.Equal(t, 3.5, v)
	for n := range data {
		_, _, _, _, _, err := read(data[:n])
		require.Error(t, err, "%d bytes", n)
	}
	_, _, _, _, _, err = read(append(data, 0))
	require.Error(t, err)
}

func TestPointersAreRefused(t *testing.T) {
	w := NewWriter(&bytes.Buffer{})
	Value(w, struct{ p *int }{})
	require.ErrorContains(t, w.Err(), "pointers")
}
