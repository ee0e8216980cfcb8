package cmd

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// mutant is a fault put into the code by hand: text that occurs once in a file, what takes its place, and the tests that
// must fail for it.
type mutant struct {
	what     string // is wrong
	file     string
	old, new string
	test     string // package and -run expression, after any -tags
}

// mutants are picked from all over by hand: each is a slip that someone might make, and that pictures hardly show.
var mutants = []mutant{
	{"which light and where on it share a random number", "render/sampler/sampler.go", "LightPick    Purpose = 16", "LightPick    Purpose = 17",
		"-tags invariants ./render/pathtrace -run SlotsAreDrawnOnce"},
	{"the salt does not tell sets apart", "render/sampler/sampler.go", "|uint64(salt))*", "|uint64(salt&0))*", "./render/sampler -run Independence"},
	{"the parts of a net don't fit together", "render/sampler/coset.go", "0xd3a74e9d", "0xd3a74e9c", "./render/sampler -run 'Cosets|OneNet'"},
	{"a mirrored lamp is counted twice", "render/pathtrace/follow.go", "case booked: // no finite light is a sky\n\t\treturn\n", "case booked:\n", "./render/pathtrace -run MirroredLight"},
	{"a window's panes are thought to be all of it", "light/rectangle.go", "angle = l.openAngle(", "_ = l.openAngle(", "./light"},
	{"light samples are not weighted against chance", "render/pathtrace/connect.go", "Scale(1/(s.Pdf*q+pdf))", "Scale(1/(s.Pdf*q))", "./render -run WhiteFurnace"},
	{"hits of lamps are not weighted against light samples", "render/pathtrace/follow.go",
		"v = v.Scale(p.pdf / (p.pdf + t.chosen(p, int(h.Light))*", "v = v.Scale(p.pdf / (p.pdf + 0*t.chosen(p, int(h.Light))*", "./render -run ConnectionsThroughMedia"},
	{"fog is clear on the way to lights", "render/pathtrace/connect.go",
		"pass = pass.Mul(t.transmittance(&in, start, s.Wi, rest, p.mask))", "t.transmittance(&in, start, s.Wi, rest, p.mask)", "./render -run ConnectionsThroughMedia"},
	{"Fresnel's reflectance squared", "material/fresnel/fresnel.go",
		"rs, rp := Polarised(cosI, eta)\n\treturn 0.5 * (rs + rp)", "rs, rp := Polarised(cosI, eta)\n\treturn 0.25 * (rs + rp) * (rs + rp)", "./material/fresnel"},
	{"the tear line mirrors twice as much", "render/pathtrace/tearline.go", "f := fresnel.Dielectric(", "f := 2 * fresnel.Dielectric(", "./render/pathtrace -run TearLine"},
	{"the rough tear film forgets light between facets where lights are connected", "render/pathtrace/shell.go",
		"Grey(v * f * wi.Z * a.gain), pdf", "Grey(v * f * wi.Z), pdf", "./render/pathtrace -run RoughLobes"},
	{"a rough cornea passes what it has mirrored", "render/pathtrace/shell.go",
		"Grey(r.Eval(a.wo, l) * -l.Z * (1 - f) * a.gain), r.Pdf(a.wo, l) * (1 - f)", "Grey(r.Eval(a.wo, l) * -l.Z * (1 - 0*f) * a.gain), r.Pdf(a.wo, l)", "./render/pathtrace -run RoughLobes"},
	{"what flesh's coat mirrors is not taken from what enters", "render/pathtrace/flesh.go",
		"p.beta = p.beta.Scale((1 - f) / (1 - odds))", "p.beta = p.beta.Scale(1 / (1 - odds))", "./render/pathtrace -run WhiteSurfaces"},
	{"vessels take their share on the way in alone", "render/pathtrace/tissue.go",
		"p.beta = p.beta.Mul(tis.Vessels.At(b.ToLocal.Point(sf.P)))", "_ = tis.Vessels.At(b.ToLocal.Point(sf.P))", "./render/pathtrace -run TissueExit"},
	{"null collisions keep their weight", "render/pathtrace/tissue.go",
		"beta = beta.Mul(colour.Grey(1).Sub(share)).Scale(1 / (1 - ps))", "_ = ps", "./render/pathtrace -run TissueExit"},
	{"guided flights are weighted as if directions were even", "render/pathtrace/flight.go",
		"w *= guideDensity(g.Nu[k], g.Log[k], f.mu[i])", "_ = guideDensity", "./render/pathtrace -run WalksThroughBall"},
	{"a bake's normals take the frame as if it were square", "render/bake/base.go", "r0, r1, r2 := y.Cross(z), z.Cross(x), x.Cross(y)", "r0, r1, r2 := x, y, z", "./render/bake -run BallOnSegments"},
	{"a bake's rays stop at backs", "render/bake/solid.go", "if q = s.spot(o, d, &h); q.Facet.Dot(d) < 0 {", "if q = s.spot(o, d, &h); q.Facet.Dot(d) < 2 {", "./render/bake -run Facing"},
	{"coarse facets darken themselves", "render/bake/points.go", "if d.Dot(q.Facet) <= 0 {", "if d.Dot(q.Facet) <= -2 {", "./render/bake -run CoarseFacets"},
	{"dithered codes are too high", "scene/atlas/dither.go", "float64(h&math.MaxUint32)/(1<<32) - 1\n", "float64(h&math.MaxUint32)/(1<<32) - 0.9\n", "./scene/atlas -run Dither"},
	{"microfacets are masked as if smooth", "material/microfacet/ggx.go", "return 2 * z / (z + g.stretch(w))", "return 2 * z / (z + w.Len())", "./material/microfacet"},
	{"paths through the cornea weigh by the wrong side's solid angle", "render/pathtrace/connect.go",
		"inside := pdf / sol.jacobian", "inside := pdf", "./render -run ManifoldKeepsTheMean$"},
	{"rays start a thousand times farther off the surface", "render/frozen/surface.go", "const originUlps = 4e-6", "const originUlps = 4e-3", "./render/frozen -run RaysStart"},
	{"stray bright pixels count in full when cleaned", "render/denoise/denoise.go", "unsure  = 4 ", "unsure  = 4000 ", "./render/denoise"},
	{"few neighbours make slopes when cleaned", "render/denoise/denoise.go", "hold    = 0.1 ", "hold    = 0 ", "./render/denoise"},
	{"no ridge when cleaned", "render/denoise/denoise.go", "ridge   = 2e-3", "ridge   = 2e-1", "./render/denoise"},
	{"merged films lose coverage", "render/film/merge.go", "copy(part(a.sums, c, per*a.stride), part(", "copy(part(a.sums, c, per*a.stride)[:3], part(", "./render/film -run Merge"},
	{"tiles of shared samples forget their neighbours", "render/film/gather.go", "case alone || f.reach == 0:", "case true:", "./render/film -run Shared"},
	{"shared coverage is rounded off", "render/film/splat.go", "s.cover[a*n+a] += rest", "_ = rest", "./render/film -run Spread"},
	{"a mean over pixels that share samples is as sure as over others", "render/changed/changed.go", "v *= v * g", "v *= v", "./render/changed -run FalseAlarms"},
	{"merged films forget dropped samples of the first", "render/film/merge.go", "a.dropped[p] += b.dropped[p]", "a.dropped[p] = b.dropped[p]", "./render/film -run Merge"},
	{"errors as if the mean were known", "render/film/develop.go", "math.Sqrt(q[j] * share * float64(p.used) / float64(p.used-1))", "math.Sqrt(q[j] * share)", "./render/film"},
	{"a kept block goes over its last record", "render/film/store.go", "		if s.name {\n			list = s.limbo", "		if !s.name {\n			list = s.limbo", "./render/film -run Kept"},
	{"exact sums lose their carry", "render/film/exact.go", "e.hi += hi + int64(carry)", "e.hi += hi + 0*int64(carry)", "./render/film -run Exact"},
	{"light through corneas counts as scattered", "render/pathtrace/connect.go", "t.add(i, v.class, Focused, wo, c, out)", "t.add(i, v.class, Plainly, wo, c, out)", "./render -run PassesKnow"},
	{"the error of other light is that of independent lights", "render/relight/relight.go", "g := math.Abs(gains[i][c] - about[c])", "g := 0 * gains[i][c]", "./render/relight -run Error"},
	{"each pixel may raise the alarm", "render/changed/changed.go", "critical(alarm / float64(3*len(r.Marks)))", "critical(alarm)", "./render/changed -run Alarms"},
	{"intervals as if errors were known", "render/film/develop.go", "const leastFreedom = 4", "const leastFreedom = 40", "./render/film -run Intervals"},
	{"the Gaussian filter is too wide", "render/film/filter.go", "(math.Sqrt2 / 3)", "(math.Sqrt2 / 2.8)", "./render/film -run Filter"},
	{"tiles stop at twice the error", "render/run.go", "displayError(r.f, r.p.View, tile, nil) <= d.Picture.Error", "displayError(r.f, r.p.View, tile, nil) <= 2*d.Picture.Error", "./render -run StopsByError"},
	{"the upper end of a key's range is refused", "scene/schema.go", "r.highIn && x == r.high)", "false)", "./scene -run Ranges"},
	{"keys have no lower end", "scene/schema.go", "(x > r.low || r.lowIn && x == r.low) && ", "", "./scene -run Ranges"},
	{"textures repeat into the wrong column", "scene/texture/image.go", "if wrap == Repeat {\n\t\t\treturn n - 1", "if wrap == Repeat {\n\t\t\treturn 0", "./scene/texture -run Wrap"},
	{"the EXR predictor starts from 127", "scene/imageio/exr.go", "t[i] += t[i-1] - 128", "t[i] += t[i-1] - 127", "./scene/imageio -run EXR"},
	{"glTF nodes multiply in the wrong order", "scene/gltfio/nodes.go", "local.Then(above)", "above.Then(local)", "./scene/gltfio -run Transforms"},
	{"hot spots count twice", "light/envmap/spots.go", "= rest, v-rest", "= v, v-rest", "./light/envmap -run Spots"},
	{"lids rest on the globe without a gap", "scene/lids/rim.go", "grid += s.p.Gap + 0.7*", "grid += 0.7 *", "./scene/lids -run ClearOfGlobe"},
	{"a zone's contrast goes about nothing", "scene/eye/zones.go", "math.Pow(l/mean, z.Contrast-1)", "math.Pow(l, z.Contrast-1)", "./scene/eye -run ZonesOfIris"},
	{"hue turns the wrong way", "scene/eye/zones.go", "(before-after)*sin", "(after-before)*sin", "./scene/eye -run Turned"},
	{"the margin of the iris reaches into the collarette", "scene/eye/zones.go", "float64(t.outer[at]) * (1 - in)", "float64(t.outer[at])*(1-in) + 0.1", "./scene/eye -run ZonesOfIris"},
	{"a pupil off the middle takes the iris with it", "scene/eye/iris.go", "return ir.cx*(1-rho) + r*cos,", "return ir.cx + r*cos,", "./scene/eye -run IrisCoordinates"},
	{"the raster white without its division", "render/raster/eye.go", " / y.e.CoatShare(w))", ")", "./render/raster -run WhiteUnder"},
	{"the raster iris without its bend past the limbus", "render/raster/eye.go", "w = frozen.Bend(w, e.Zone(q))", "_ = frozen.Bend(w, e.Zone(q))", "./render/raster -run IrisSeen"},
	{"the raster iris along straight rays", "render/raster/eye.go", "case k.set.Iris == \"refracted\" && !y.e.ForceCoat:", "case k.set.Iris == \"refracted\" && y.e.ForceCoat:", "./render/raster -run PupilSeen"},
	{"the raster iris forgets that it is seen through the cornea", "render/raster/eye.go", "/ (f * f * n * n)", "/ (f * f)", "./render/raster -run IrisWithoutCaustic"},
	{"a walk is turned the wrong way across an edge", "render/spread/edge.go", "ci*sj-si*cj", "si*cj-ci*sj", "./render/spread -run EdgeOfBall"},
	{"likely readings of an eye's size are called sure", "scene/measure/truescale.go", "least, most := EyeShort, EyeLong", "least, most := 20.0, 30.0", "./scene/measure -run Size"},
	{"an iris far too small for its globe is a mistake of units", "scene/measure/truescale.go", "s.Iris < IrisLeast ||", "s.Iris < 0.1 ||", "./scene/measure -run Misfit"},
	{"pictures from afar are means of squares", "render/afar/afar.go", "sum.Add(l.Mean[i].Scale(a))", "sum.Add(l.Mean[i].Mul(l.Mean[i]).Scale(a))", "./render/afar"},
	{"polygons of light at twice their size", "render/raster/shading/polygon.go", "/ (2 * math.Pi)", "/ math.Pi", "./render/raster/shading"},
	{"an anchor's value is changed although others stand for it", "scene/edit/splice.go", `if why != "" {`, "if false {",
		"./scene/edit -run Refused"},
	{"comments above an entry stay where it was", "scene/edit/lists.go", "for above && from > 0 {", "for false && from > 0 {",
		"./scene/edit -run Lists"},
	{"changes are kept, and not what the file got meanwhile", "render/desk/save.go", "sides[i] = moved", "_ = moved",
		"./render/desk -run KeepOverNewFile"},
	{"a scene is saved with a picture that can't be read", "render/desk/readable.go", "if err != nil {", "if false {",
		"./render/desk -run UnreadableIsNotSaved"},
	{"a file that changed on disk is written over", "render/desk/save.go", "if err == nil && string(data) != k.base || k.disk != nil {", "if k.disk != nil {",
		"./render/desk -run FileChanged"},
	{"each move of a drag is a step of its own", "render/desk/desk.go", `p.Gesture != "" && s.Undo`, `p.Gesture == "?" && s.Undo`,
		"./render/desk -run Undo"},
	{"a damaged line of the journal counts", "render/desk/journal.go", "!= string(line[:8])", `== ""`,
		"./render/desk -run Journal"},
	{"a link leads out of the scene's folder", "render/desk/desk.go", "real, err := filepath.EvalSymlinks(clean)", "real, err := clean, error(nil)",
		"./render/desk -run Refused"},
	{"a foreign name for this machine passes", "cmd/catchlight/watch_guard.go", "if !g.known(r.Host) {", "if false {",
		"./cmd/catchlight -run 'Guard$'"},
	{"any cookie passes", "cmd/catchlight/watch_guard.go", "!equal(c.Value, g.session)", "c == nil",
		"./cmd/catchlight -run 'Guard$'"},
	{"work goes on without a tab", "cmd/catchlight/watch_session.go", "case tabs == 0:", "case tabs < 0:",
		"./cmd/catchlight -run LastTab"},
}

// mutantTime is the limit of one run.
const mutantTime = 4 * time.Minute

// errPassed is a run in which no test failed.
var errPassed = errors.New("all tests passed")

// errUnclear is a run that was ended from outside: its verdict is none, and it may be asked again.
var errUnclear = errors.New("ended from outside")

// goTest runs tests of the module with files replaced by an overlay. It returns how a test failed: nil where one did, errPassed,
// or why nothing can be said.
func goTest(t *testing.T, args, overlay string) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), mutantTime)
	defer cancel()
	all := []string{"test", "-count=1", "-timeout", (mutantTime - 10*time.Second).String()}
	if overlay != "" {
		all = append(all, "-overlay", overlay)
	}
	c := exec.CommandContext(ctx, "go", append(all, strings.Fields(args)...)...)
	c.Dir = ".."
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "CATCHLIGHT_LONG=") {
			c.Env = append(c.Env, v)
		}
	}
	out, err := c.CombinedOutput()
	switch s := string(out); {
	case strings.Contains(s, "[build failed]") || strings.Contains(s, "[setup failed]"):
		return fmt.Errorf("does not build:\n%s", s)
	case strings.Contains(s, "no tests to run") || strings.Contains(s, "no test files"):
		return fmt.Errorf("no test has that name")
	case err == nil:
		return errPassed
	case strings.Contains(s, "--- FAIL") || strings.Contains(s, "panic:"): // a run that takes for ever panics too
		return nil
	}
	return fmt.Errorf("%w: %w:\n%s", errUnclear, err, out)
}

// overlay writes the mutant's file and the JSON that puts it in place of the true one; see go help build.
func (m mutant) overlay(t *testing.T) (string, error) {
	path, err := filepath.Abs(filepath.Join("..", filepath.FromSlash(m.file)))
	if err != nil {
		return "", err
	}
	src, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	if n := strings.Count(string(src), m.old); n != 1 {
		return "", fmt.Errorf("%s: %q occurs %d times, must be once", m.file, m.old, n)
	}
	dir := t.TempDir()
	wrong := filepath.Join(dir, "wrong.go")
	text, err := json.Marshal(map[string]map[string]string{"Replace": {path: wrong}})
	if err != nil {
		return "", err
	}
	list := filepath.Join(dir, "overlay.json")
	return list, errors.Join(os.WriteFile(wrong, []byte(strings.Replace(string(src), m.old, m.new, 1)), 0o600), os.WriteFile(list, text, 0o600))
}

// The tests kill every mutant, and pass without it. Nothing in the source tree is changed: the faulty file is an overlay.
func TestMutantsLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes a quarter of an hour; CATCHLIGHT_LONG=1 runs it and writes testdata/mutants-DATE.md")
	}
	var table strings.Builder
	fmt.Fprintf(&table, "Measured %s, %s, %d processors, machine shared, by\n`CATCHLIGHT_LONG=1 go test ./cmd -run TestMutantsLong -timeout 120m`\n\n"+
		"| fault | file | tests | verdict | s |\n| --- | --- | --- | --- | --- |\n", time.Now().Format("2 January 2006"), runtime.Version(), runtime.NumCPU())
	sound := map[string]bool{}
	killed := 0
	for _, m := range mutants {
		if !sound[m.test] {
			if err := goTest(t, m.test, ""); !errors.Is(err, errPassed) {
				t.Errorf("go test %s fails as it is, %v", m.test, err)
			}
			sound[m.test] = true
		}
		list, err := m.overlay(t)
		if err != nil {
			t.Error(err)
			continue
		}
		start := time.Now()
		verdict := "killed"
		err = goTest(t, m.test, list)
		if errors.Is(err, errUnclear) {
			err = goTest(t, m.test, list)
		}
		switch {
		case errors.Is(err, errPassed):
			verdict = "SURVIVED"
			t.Errorf("%s (%s) survives go test %s", m.what, m.file, m.test)
		case err != nil:
			verdict = "unclear"
			t.Errorf("%s (%s): %v", m.what, m.file, err)
		default:
			killed++
		}
		t.Logf("%s: %s", m.what, verdict)
		fmt.Fprintf(&table, "| %s | `%s` | `%s` | %s | %.0f |\n", m.what, m.file, m.test, verdict, time.Since(start).Seconds())
	}
	fmt.Fprintf(&table, "\n%d of %d killed.\n", killed, len(mutants))
	if err := os.WriteFile(filepath.Join("..", "testdata", "mutants-"+time.Now().Format("2006-01-02")+".md"), []byte(table.String()), 0o644); err != nil {
		t.Error(err)
	}
}
