package main

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/afar"
)

// The terminal and the headline say what may be grain.
func TestSayReaches(t *testing.T) {
	r := farReport{Grain: afar.Reach{Metres: 6.5}, Looks: afar.Reach{Metres: 22}, Details: []afar.Reach{{Name: "pupil", Metres: 5.7}, {Name: "veins", Metres: 9}}}
	for i := range r.Details {
		r.Details[i].Against(r.Grain)
	}
	r.Looks.Against(r.Grain)
	var b bytes.Buffer
	sayReaches(&b, &r)
	require.Equal(t, "pupil: seen up to 5.7 m, or grain (grain alone is seen there up to 6.5 m; more samples tell)\nveins: seen up to 9 m\n"+
		"the difference between the looks: seen up to 22 m\ngrain alone, in the whole eye: seen up to 6.5 m\n", b.String())
	require.Equal(t, "From 22 m on the looks can't be told apart.", apart(r.Looks))
	r.Looks.Against(afar.Reach{Metres: 20})
	require.Equal(t, "From 22 m on the looks can't be told apart. Grain alone is seen from as far: more samples tell.", apart(r.Looks))
}
