package truescale

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/prepare"
	"catchlight/render/spread"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/measure"
)

// radii are those of a white whose radii of half re-emission are so many times the published ones.
func radii(times float64) *spread.Radii {
	r := new(spread.Radii)
	for c, v := range Published() {
		r.Half[c].V = v * times
	}
	return r
}

// ofLength is what an eye's length says that is a grown person's in all else.
func ofLength(mm float64) measure.Size {
	held := func(v float64) measure.Value { return measure.Value{V: v, SE: 0.002 * v, Held: true} }
	e := measure.Eye{Length: held(mm), Globe: measure.Sphere{Radius: held(mm / 2.05)}, Cornea: measure.Cornea{Radius: held(0.325 * mm)}, Limbus: held(0.24 * mm)}
	return e.Size(1)
}

// Size and tissue are told apart: a wrong unit is said for the length's sake alone.
func TestJudge(t *testing.T) {
	eye := scene.DefaultObject("eye", "eye")
	for _, c := range []struct {
		mm, times float64
		word      string
		do        string // what the first line to type holds; "" for none
		tissue    string // what is said of it
	}{
		{24, 1, measure.Right, "", "known to a factor of two"},
		{24, 3, measure.Right, "", "perhaps meant"},
		{24, 10, measure.Undecided, "objects.eye.sclera.scatter_radius=[0.032,0.0265,0.019]", "stylised, or the radii are in another unit"},
		{24, 0.1, measure.Undecided, "objects.eye.sclera.scatter_radius=[3.2,2.65,1.9]", "stylised, or the radii are in another unit"},
		{240, 1, measure.Mistaken, "objects.eye.transform.scale=0.1", "known to a factor of two"},
		{240, 10, measure.Mistaken, "objects.eye.transform.scale=0.1", "the picture looks right and its millimetres are not"},
		{33, 1, measure.Right, "If a grown human's eye is meant: --set objects.eye.transform.scale=0.751667", "known to a factor of two"},
		{40, 1, measure.Undecided, "If it is centimetres taken for inches: --set objects.eye.transform.scale=0.393701", "known to a factor of two"},
	} {
		v := Judge(ofLength(c.mm), radii(c.times), &eye)
		assert.Equal(t, c.word, v.Word, "%g mm, %g times", c.mm, c.times)
		assert.Contains(t, v.Tissue, c.tissue, "%g mm, %g times", c.mm, c.times)
		if c.do == "" {
			assert.Empty(t, v.Do, "%g mm, %g times", c.mm, c.times)
		} else if assert.NotEmpty(t, v.Do) {
			assert.Contains(t, v.Do[0].Line(), c.do)
		}
	}
}

// prepared is a scene of the project with its first eye alone, its maps small.
func prepared(t *testing.T, file string, sets ...string) *prepare.Prepared {
	t.Helper()
	d, err := scene.Load(file, append([]string{"objects.eye.map_size=64"}, sets...)...)
	require.NoError(t, err)
	d, err = Alone(d)
	require.NoError(t, err)
	p, err := prepare.Scene(context.Background(), d, prepare.Options{})
	require.NoError(t, err)
	return p
}

// Twelve eyes by seven factors: what is said of the unit, with tissue as the scene has it in mm and with tissue that was
// scaled along. Wrong and sure is never said.
// A globe of 60 mm with an iris of 12 names no unit, and offers each part that would suit the other.
func TestJudgeMisfit(t *testing.T) {
	eye := scene.DefaultObject("eye", "eye")
	eye.Eye.Globe.Radius = 30
	held := func(v float64) measure.Value { return measure.Value{V: v, SE: 0.001 * v, Held: true} }
	e := measure.Eye{Length: held(61.9), Globe: measure.Sphere{Radius: held(30)}, Cornea: measure.Cornea{Radius: held(7.8)}, Limbus: held(5.85)}
	v := Judge(e.Size(1), radii(1), &eye)
	assert.Equal(t, measure.Misfit, v.Word)
	assert.Zero(t, v.Factor)
	require.Len(t, v.Do, 1, "a limbus of 14.6 mm can't be built")
	assert.Equal(t, "If the iris is right, a globe as wide as a grown human has for it: --set objects.eye.globe.radius=12", v.Do[0].Line())
	assert.NotContains(t, v.Size, "inches")
	assert.InDelta(t, 0.195, v.Iris, 1e-3)
}

func TestVerdictsLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes minutes; CATCHLIGHT_LONG=1 runs it and writes testdata/spread/verdicts-DATE.md")
	}
	dir := t.TempDir()
	source := filepath.Join(dir, "source.yaml")
	asset, err := filepath.Abs("../../testdata/eye/ict_right_eye.glb")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(source, []byte(fmt.Sprintf("lights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: eye, shape: eye, asset: {file: %s, outer: RightEye_Outer_ScleraCornea, inner: RightEye_Inner_IrisBody, axis: [-0.0758, -0.0046, 0.9971], borrow: true}, globe: {radius: 15}, limbus: {radius: 7.4}}]\n", asset)), 0o666))
	at := func(name string) string { return filepath.Join("..", "..", "scenes", name+".yaml") }
	list := []struct {
		name, file string
		sets       []string
	}{
		{"ferry keeper", at("ferry_keeper"), nil}, {"salt widow", at("salt_widow"), nil}, {"child", at("ranges/child"), nil},
		{"aged", at("ranges/aged"), nil}, {"heron", at("heron"), nil}, {"marsh goat", at("marsh_goat"), nil}, {"stylised", at("ranges/stylised"), nil},
		{"licensed eye, 24 mm", at("heron_import"), nil}, {"licensed eye, its own scale", source, nil},
		{"dyke warden's horse", at("dyke_warden"), []string{"objects.eye.transform.scale=1.76"}},
		{"marsh fox", at("heron"), []string{"objects.eye.transform.scale=0.79"}},
		{"stylised, large", at("ranges/stylised"), []string{"objects.eye.transform.scale=1.5"}},
	}
	factors := []float64{1, 0.1, 10, 2.54, 25.4, 0.01, 100}
	now := time.Now()
	var out strings.Builder
	fmt.Fprintf(&out, "Measured %s, %s, %d processors, machine shared, by\n`CATCHLIGHT_LONG=1 go test ./render/truescale -run '%s' -timeout 60m`\n\n", now.Format("2 January 2006"), runtime.Version(), runtime.NumCPU(), t.Name())
	out.WriteString("What is said of twelve eyes whose unit is right (x 1) or was mistaken by a factor: right, mended (wrong unit, with the factor\nthat mends it), or undecided (with the odds of the true reading among those left). Before the stroke the scatter radii are in mm as\nthe scene has them, behind it they were scaled along with the eye.\n\n| eye | mm |")
	for _, f := range factors {
		fmt.Fprintf(&out, " x %g |", f)
	}
	out.WriteString("\n| --- | --- |" + strings.Repeat(" --- |", len(factors)) + "\n")
	count := map[string]int{}
	for _, c := range list {
		p := prepared(t, c.file, c.sets...)
		s := &spread.Seen{Scene: p.Scene, Workers: 2, Seed: 1}
		e := &p.Scene.Eyes[0]
		m, err := measure.Measure(p.Scene.Objects[e.Outer].Mesh, p.Scene.Objects[e.Inner].Mesh, measure.Known{Axis: geom.Vec{Z: 1}})
		require.NoError(t, err)
		k := p.Scene.Objects[e.Inner].Scale
		place := Place{Polar: 1.15}
		object := &p.Description.Objects[0]
		fmt.Fprintf(&out, "| %s | %.3g |", c.name, m.Length.V*k)
		for _, f := range factors {
			size := sized(m, e, k*f)
			var said []string
			for _, along := range []bool{false, true} {
				times := 1 / f
				if along {
					times = 1
				}
				white, ok := s.Times(times).Radii(place.Spots(place.Polar), 8000)
				require.True(t, ok)
				for i := range white.Half {
					white.Half[i].V *= f
				}
				v := Judge(size, &white, object)
				word := inTable(&v, size, f)
				if word == "WRONG" {
					t.Errorf("%s x %g: said %s, factor %g", c.name, f, v.Word, v.Factor)
				}
				word0, _, _ := strings.Cut(word, " ")
				count[word0]++
				said = append(said, word)
			}
			if said[0] == said[1] {
				said = said[:1]
			}
			fmt.Fprintf(&out, " %s |", strings.Join(said, " / "))
		}
		out.WriteString("\n")
	}
	fmt.Fprintf(&out, "\nRight %d, mended %d, undecided %d, wrong and sure %d.\n", count["right"], count["mended"], count["undecided"], count["WRONG"])
	require.NoError(t, os.WriteFile(filepath.Join("..", "..", "testdata", "spread", "verdicts-"+now.Format("2006-01-02")+".md"), []byte(out.String()), 0o666))
	t.Log(out.String())
}

// inTable is the word of a verdict on an eye that is f times too large.
func inTable(v *Verdict, size measure.Size, f float64) string {
	switch {
	case v.Word == measure.Misfit:
		return v.Word
	case v.Word == measure.Undecided:
		return fmt.Sprintf("undecided (%.0f %%)", 100*oddsOf(size, 1/f))
	case math.Abs(v.Factor*f-1) > 0.02:
		return "WRONG"
	case f != 1:
		return "mended"
	}
	return "right"
}

// oddsOf are those of a reading that mends by a factor.
func oddsOf(s measure.Size, factor float64) float64 {
	for _, r := range s.Readings {
		if math.Abs(r.Factor/factor-1) < 0.02 {
			return r.Odds
		}
	}
	return 0
}
