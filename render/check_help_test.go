package render

import (
	"context"
	"math"
	"testing"

	"catchlight/render/film"
	"catchlight/scene"

	"github.com/stretchr/testify/require"
)

// built keeps the eyes that several checks share.
var built = NewCache()

// prepare makes a scene of inline YAML. Its pixels share no samples unless a key says so: checks of light take their errors as independent.
func prepare(t testing.TB, yaml string, set ...string) *Prepared {
	t.Helper()
	set = append([]string{"picture.sharing=none"}, set...)
	d, err := scene.Parse("check.yaml", []byte(yaml), set...)
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{Cache: built})
	require.NoError(t, err)
	return p
}

// trace renders a scene of inline YAML.
func trace(t testing.TB, yaml string, set ...string) *Result {
	t.Helper()
	return finish(t, prepare(t, yaml, set...))
}

func finish(t testing.TB, p *Prepared) *Result {
	t.Helper()
	r, err := p.Render(context.Background(), Options{})
	require.NoError(t, err)
	require.Zero(t, r.Stats.Dropped, "samples that are not finite")
	return r
}

// mean returns the mean of channel c over the pixels that keep picks (nil: all), and its standard error, from the
// pixels' own errors, which are independent.
func mean(pic *film.Picture, c int, keep func(i int) bool) (m, se float64) {
	n := 0.0
	for i := range pic.Mean {
		if keep == nil || keep(i) {
			m += pic.Mean[i][c]
			se += pic.Error[i][c] * pic.Error[i][c]
			n++
		}
	}
	return m / n, math.Sqrt(se) / n
}
