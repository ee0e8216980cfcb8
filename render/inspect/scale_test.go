package inspect

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/adopt"
)

const licensed = "../../testdata/eye/ict_right_eye_axial24mm.glb"

func read(t *testing.T, q Source) *Subject {
	t.Helper()
	names, err := adopt.LoadNames("")
	require.NoError(t, err)
	q.Names = names
	s, err := Read(q)
	require.NoError(t, err)
	return s
}

func looked(t *testing.T, s *Subject) *Report {
	t.Helper()
	r, err := Look(context.Background(), s, Options{Workers: 2})
	require.NoError(t, err)
	return r
}

// number returns the k-th number that a report has for a code.
func number(t *testing.T, r *Report, code string, k int) float64 {
	t.Helper()
	list := r.Of(code)
	require.Greater(t, len(list), k, code)
	require.True(t, list[k].Number.Held, list[k].Number.Why)
	return list[k].Number.V
}

// The licensed eye's sizes are those of its README (testdata/eye/README.md): length 24.00, radius of the iris' root 5.42, corneal
// apex to the pupil's lip 1.17 and to the root's plane 2.80 mm, narrowest pupil radius 0.97; and its chamber is called shallow.
func TestLicensedEyeSizes(t *testing.T) {
	r := looked(t, read(t, Source{Asset: licensed}))
	require.InDelta(t, 24.00, number(t, r, "scale.length", 0), 0.02)
	require.InDelta(t, 2*5.42, number(t, r, "scale.iris", 0), 0.1)
	require.InDelta(t, 2*0.97, number(t, r, "scale.pupil", 0), 0.04)
	lip, root := r.Of("scale.chamber")[0], r.Of("scale.chamber")[1]
	require.InDelta(t, 1.17, lip.Number.V, 0.03)
	require.InDelta(t, 2.80, root.Number.V, 0.06)
	require.Equal(t, Warning, lip.Severity)
	require.Equal(t, Fine, r.Of("scale.unit")[0].Severity)
	require.Len(t, r.Of("scale.stylised"), 1)
}

// An eye of 24 m is one of millimetres stored as metres: an error with its factor; measured as it is meant, all else is as of the
// right one.
func TestWrongUnit(t *testing.T) {
	s := read(t, Source{Asset: licensed, Factor: 1000})
	r := looked(t, s)
	f := r.Of("scale.unit")[0]
	require.Equal(t, Error, f.Severity)
	require.Equal(t, 0.001, f.Remedy.Factor)
	require.True(t, f.Remedy.Mends)
	require.Equal(t, Error, r.Worst)
	require.InDelta(t, 24.00, number(t, r, "scale.length", 0), 0.02)
	require.InDelta(t, 1, s.MM, 1e-12)
}
