package scene

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// frame is a sound scene around the lines of a test, which begin at line 4, so that only what the test is about is
// wrong in it.
const (
	head = "camera: {orbit: {}}\n" + sky + "\n"
	sky  = "lights: [{name: sky, kind: constant, radiance: 1}]"
	cam  = "camera: {orbit: {}}"
)

// Each kind of mistake with its whole message. The positions are counted by hand: line and column from 1.
func TestProblems(t *testing.T) {
	deep := strings.Repeat("[", 80) + strings.Repeat("]", 80)
	for name, c := range map[string]struct{ file, want string }{
		"unknown key":         {head + "film: {widht: 3}", "3:8: film.widht: unknown key; did you mean width?"},
		"unknown section":     {head + "flim: {width: 3}", "3:1: flim: unknown key; did you mean film?"},
		"unknown, none near":  {head + "view: {gamma: 2}", "3:8: view.gamma: unknown key; known here: exposure, transform, table, background, colour, edge"},
		"table, no input":     {head + "view: {table: {file: grey.cube, output: srgb}}", "3:16: view.table.input: missing, wants linear, srgb or log2"},
		"table, no range":     {head + "view: {table: {file: grey.cube, output: srgb, input: log2, low: -6}}", "3:16: view.table.high: missing, input log2 wants low and high"},
		"table, range":        {head + "view: {table: {file: grey.cube, output: srgb, input: log2, low: 4, high: 4}}", "3:68: view.table.high: 4 is not above low, which is 4"},
		"table and transform": {head + "view: {transform: none, table: {file: grey.cube, output: srgb, input: srgb}}", "3:25: view.table: give either transform or table, not both"},
		"duplicate key":       {head + "film:\n  spp: 3\n  spp: 4", "5:3: film.spp: given twice, first in line 4"},
		"out of range":        {head + "bodies:\n  - name: left\n    shape: eye\n    eye: {cornea: {index: 13.76}}", "6:27: bodies.left.eye.cornea.index: 13.76 is outside [1, 2.5]"},
		"out of range, unit":  {head + "film: {width: 0}", "3:15: film.width: 0 is outside [1, 16384] px"},
		"open end of range":   {head + "bodies: [{name: m, shape: box, material: {kind: matched, inside: {sigma_a: 0, sigma_s: 1, g: 1}}}]", "3:94: bodies.m.material.inside.g: 1 is outside (-1, 1)"},
		"component":           {head + "view: {colour: [0, -1, 0]}", "3:20: view.colour.1: -1 is outside [0, 1e6]"},
		"map, number":         {head + "bodies: [{name: m, shape: box, material: {colour: 1.5}}]", "3:51: bodies.m.material.colour: 1.5 is outside [0, 1]"},
		"map, block":          {head + "bodies: [{name: m, shape: box, material: {colour: {value: 1.5}}}]", "3:59: bodies.m.material.colour.value: 1.5 is outside [0, 1]"},
		"not a number":        {head + "view: {exposure: bright}", "3:18: view.exposure: bright is not a number"},
		"quoted number":       {head + `view: {exposure: "1"}`, `3:18: view.exposure: "1" in quotes, wants a number`},
		"list for a number":   {head + "view: {exposure: [1]}", "3:18: view.exposure: a list of 1, wants a number"},
		"hexadecimal":         {head + "film: {seed: 0x10}", "3:14: film.seed: 0x10 is not a whole number"},
		"fraction":            {head + "film: {spp: 2.5}", "3:13: film.spp: 2.5 is not a whole number"},
		"nan":                 {head + "view: {exposure: .nan}", "3:18: view.exposure: .nan is not finite"},
		"inf":                 {head + "view: {exposure: -.inf}", "3:18: view.exposure: -.inf is not finite"},
		"overflow":            {head + "view: {exposure: 1e999}", "3:18: view.exposure: 1e999 is not finite"},
		"not a boolean":       {head + "trace: {split: maybe}", "3:16: trace.split: maybe, wants true or false"},
		"not a block":         {head + "film: 7", "3:7: film: 7, wants a block of keys"},
		"not a list":          {head + "bodies: {name: a}", "3:10: bodies: a block of keys, wants a list of blocks"},
		"short vector":        {"camera: {at: [1, 2]}\n" + sky, "1:14: camera.at: a list of 2, wants a list of 3 numbers"},
		"no colour":           {head + "view: {colour: red}", "3:16: view.colour: red, wants a number or a list of 3 numbers"},
		"no map":              {head + "bodies: [{name: m, shape: box, material: {colour: bark.png}}]", "3:51: bodies.m.material.colour: bark.png, wants a number, a list of 3 numbers or a block of keys; write {file: ...} for a picture"},
		"no value":            {head + "view: {exposure: }", "3:17: view.exposure: no value, wants a number"},
		"word":                {head + "film: {filter: gausian}", "3:16: film.filter: gausian is none of gaussian, blackman-harris, box; did you mean gaussian?"},
		"word, none near":     {head + "film: {filter: sinc}", "3:16: film.filter: sinc is none of gaussian, blackman-harris, box"},
		"missing key":         {cam + "\nlights: [{kind: constant, radiance: 1}]", "2:11: lights.0.name: missing, wants text"},
		"missing word":        {head + "bodies: [{name: a}]", "3:11: bodies.a.shape: missing, wants eye, sphere, rectangle, disc, box, slab or mesh"},
		"not for this kind":   {cam + "\nlights: [{name: sky, kind: constant, radiance: 1, radius: 2}]", "2:51: lights.sky.radius: only for kind disc or sphere, not for constant"},
		"not for this shape":  {head + "bodies: [{name: a, shape: box, eye: {}}]", "3:32: bodies.a.eye: only for shape eye, not for box"},
		"duplicate light":     {cam + "\nlights:\n  - {name: a, kind: constant, radiance: 1}\n  - {name: a, kind: constant, radiance: 1}", "4:12: lights.1.name: a second a in lights, first in line 3"},
		"duplicate body":      {head + "bodies:\n  - {name: a, shape: box}\n  - {name: a, shape: eye}", "5:12: bodies.1.name: a second a in bodies, first in line 4"},
		"bad name":            {head + "bodies: [{name: a.b, shape: box}]", "3:17: bodies.0.name: a.b is no name: it wants a letter, then at most 63 letters, digits, - or _"},
		"no such file":        {head + "bodies: [{name: a, shape: mesh, file: nest.glb}]", "3:39: bodies.a.file: nest.glb: no such file (looked for DIR/nest.glb)"},
		"folder for a file":   {head + "bodies: [{name: a, shape: mesh, file: folder.glb}]", "3:39: bodies.a.file: folder.glb: not a file"},
		"ending":              {head + "bodies: [{name: a, shape: mesh, file: nest.png}]", "3:39: bodies.a.file: nest.png: files in .png are not read; export the eye as glTF 2.0 binary (.glb) with normals, UVs and materials, uncompressed, +Y up, transforms applied or kept in the nodes; .obj, .ply and .stl are read too"},
		"empty file name":     {head + "bodies: [{name: a, shape: mesh, file: ''}]", `3:39: bodies.a.file: "", wants a file name`},
		"mesh without file":   {head + "bodies: [{name: a, shape: mesh}]", "3:11: bodies.a.file: missing, a mesh wants one"},
		"environment, file":   {cam + "\nlights: [{name: e, kind: environment}]", "2:11: lights.e.file: missing, an environment wants a picture"},
		"constant, radiance":  {cam + "\nlights: [{name: e, kind: constant}]", "2:11: lights.e.radiance: missing, a constant light wants it"},
		"light, neither":      {cam + "\nlights: [{name: e, kind: disc, at: [0, 0, 90]}]", "2:11: lights.e: give radiance or power"},
		"light, both":         {cam + "\nlights: [{name: e, kind: disc, at: [0, 0, 90], power: 1, radiance: 1}]", "2:58: lights.e.radiance: give either radiance or power, not both"},
		"light, no place":     {cam + "\nlights: [{name: e, kind: sphere, power: 1}]", "2:11: lights.e: give at or from"},
		"light, two places":   {cam + "\nlights: [{name: e, kind: sphere, power: 1, from: {}, at: [0, 0, 90]}]", "2:54: lights.e.at: give either at or from, not both"},
		"distant, neither":    {cam + "\nlights: [{name: e, kind: distant, from: {}}]", "2:11: lights.e: give radiance or irradiance"},
		"distant, from":       {cam + "\nlights: [{name: e, kind: distant, irradiance: 2}]", "2:11: lights.e.from: missing, a distant light wants its direction"},
		"light on its aim":    {cam + "\nlights: [{name: e, kind: disc, power: 1, at: [0, 0, 8]}]", "2:42: lights.e.at: is the point that the light faces"},
		"bars":                {cam + "\nlights: [{name: e, kind: rectangle, power: 1, from: {}, panes: [3, 1], bar: 200}]", "2:72: lights.e.bar: 200 mm leaves no room for the panes"},
		"black tint":          {cam + "\nlights: [{name: e, kind: sphere, power: 1, from: {}, tint: 0}]", "2:54: lights.e.tint: is black, so power can't be split by it"},
		"nothing shines":      {cam + "\nlights: [{name: e, kind: constant, radiance: 1, on: off}]", "2:1: lights: nothing shines: no light is on and no body is emissive"},
		"no camera":           {sky, "1:1: camera: missing, wants at or orbit in it"},
		"camera, neither":     {"camera: {fov: 20}\n" + sky, "1:10: camera: give at or orbit"},
		"camera, both":        {"camera:\n  at: [0, 0, 90]\n  orbit: {}\n" + sky, "3:3: camera.orbit: give either at or orbit, not both"},
		"camera on its aim":   {"camera: {at: [0, 0, 8]}\n" + sky, "1:10: camera.at: is the point that the camera aims at"},
		"camera, no up":       {"camera: {orbit: {}, up: [0, 0, 0]}\n" + sky, "1:21: camera.up: has no direction"},
		"camera, up ahead":    {"camera: {at: [0, 90, 8]}\n" + sky, "1:10: camera.up: lies along the line of sight, so nothing is up"},
		"fov and focal":       {"camera: {orbit: {}, fov: 20, focal_length: 50}\n" + sky, "1:30: camera.focal_length: give either focal_length or fov, not both"},
		"plate, normal":       {"camera: {kind: plate}\n" + sky, "1:10: camera.normal: missing, a plate wants the direction that it faces"},
		"plate, zero normal":  {"camera: {kind: plate, normal: [0, 0, 0]}\n" + sky, "1:23: camera.normal: has no direction"},
		"medium, neither":     {head + "bodies: [{name: m, shape: box, material: {kind: matched, inside: {g: 0}}}]", "3:67: bodies.m.material.inside: give sigma_a and sigma_s or colour and mean_free_path"},
		"tissue, half":        {head + "bodies: [{name: e, shape: eye, eye: {iris: {sigma_s: 1}}}]", "3:45: bodies.e.eye.iris.sigma_a: missing, sigma_s wants it too"},
		"tissue, both":        {head + "bodies: [{name: e, shape: eye, eye: {sclera: {sigma_a: 1, sigma_s: 1, tint: 1}}}]", "3:71: bodies.e.eye.sclera.tint: give either sigma_a and sigma_s or tint, not both"},
		"tissue, none":        {head + "bodies: [{name: e, shape: eye, eye: {iris: {sigma_a: 0, sigma_s: [1, 0, 1]}}}]", "3:57: bodies.e.eye.iris.sigma_s: sigma_a and sigma_s are both 0 in one channel, so there is no tissue"},
		"medium, half":        {head + "bodies: [{name: m, shape: box, material: {kind: matched, inside: {sigma_s: 1}}}]", "3:67: bodies.m.material.inside.sigma_s: give sigma_a and sigma_s or colour and mean_free_path"},
		"medium, both":        {head + "bodies: [{name: m, shape: box, material: {kind: matched, inside: {sigma_s: 1, sigma_a: 0, colour: 0.5}}}]", "3:91: bodies.m.material.inside.colour: give either sigma_a and sigma_s or colour and mean_free_path, not both"},
		"matched, inside":     {head + "bodies: [{name: m, shape: box, material: {kind: matched}}]", "3:43: bodies.m.material.inside: missing, a matched material is only what is inside"},
		"emissive, radiance":  {head + "bodies: [{name: m, shape: disc, material: {kind: emissive}}]", "3:44: bodies.m.material.radiance: missing, an emissive material wants it"},
		"emissive box":        {head + "bodies: [{name: m, shape: box, material: {kind: emissive, radiance: 1}}]", "3:32: bodies.m.material: only a sphere, a rectangle or a disc can be emissive, not a box"},
		"inside of a disc":    {head + "bodies: [{name: m, shape: disc, material: {kind: dielectric, inside: {sigma_a: 1, sigma_s: 1}}}]", "3:33: bodies.m.material: a disc has no inside"},
		"map, neither":        {head + "bodies: [{name: m, shape: box, material: {colour: {gain: 2}}}]", "3:52: bodies.m.material.colour: give value or file"},
		"asset, axis":         {head + "bodies: [{name: m, shape: eye, eye: {asset: {file: shells.glb, outer: a, inner: b, axis: [0, 0, 0]}}}]", "3:84: bodies.m.eye.asset.axis: has no direction"},
		"asset, morph":        {head + "bodies: [{name: m, shape: eye, eye: {asset: {file: shells.glb, outer: a, inner: b, morph: [{target: wide}, {target: wide, weight: 0.5}]}}}]", "3:84: bodies.m.eye.asset.morph: sets the target wide twice"},
		"mesh, morph":         {head + "bodies: [{name: m, shape: box, morph: [{target: wide, weight: 11}]}]", "3:32: bodies.m.morph: only for shape mesh, not for box"},
		"asset, keys":         {head + "bodies: [{name: m, shape: eye, eye: {asset: {file: shells.glb, outer: a}}}]", "3:46: bodies.m.eye.asset.inner: missing, name the node that is the inner shell, or set borrow"},
		"limbus":              {head + "bodies: [{name: m, shape: eye, eye: {globe: {radius: 5}}}]", "3:38: bodies.m.eye.limbus: a radius of 5.85 mm is not within the globe's 5 mm"},
		"pupil":               {head + "bodies: [{name: m, shape: eye, eye: {iris: {pupil: 15}}}]", "3:38: bodies.m.eye.iris: a pupil of 15 mm reaches the limbus, 5.85 mm from the axis"},
		"too many pixels":     {head + "film:\n  width: 16000\n  height: 16000", "5:3: film.height: 16000 x 16000 is more than 100 million pixels"},
		"unclosed":            {head + "film: {spp: 3", "3:7: not valid YAML: could not find flow mapping end token '}'"},
		"second document":     {head + "---\nfilm: {spp: 3}", "4:5: a second document begins here; a scene file holds one"},
		"tag":                 {head + "film: {spp: !!int 3}", "3:13: tags such as !!int are not supported"},
		"unknown alias":       {head + "film: *a", "3:7: no anchor &a before this alias"},
		"alias in itself":     {head + "film: &a {spp: *a}", "3:16: the alias *a stands within its own anchor"},
		"merge of a number":   {head + "film: {<<: 3}", "3:8: << wants a block of keys, or a list of blocks"},
		"deep":                {head + "film: " + deep, "3:71: more than 64 values within each other"},
		"a list":              {"- 1\n- 2", "1:1: a list of 2, wants a block of keys"},
		"not UTF-8":           {head + "about: h\xe9ron", "3:9: is not UTF-8 text from here on"},
		"unprintable key":     {head + "\"a\\u0007\": 3", `3:1: "a\a": unknown key; known here: about, film, camera, view, trace, raster, rig, lights, bodies, lids`},
		"long value":          {head + "film: {filter: " + strings.Repeat("x", 500) + "}", "3:16: film.filter: " + strings.Repeat("x", 60) + "... is none of gaussian, blackman-harris, box"},
		"tab for indentation": {head + "film:\n\tspp: 3", "4:1: not valid YAML: found character '\\t' that cannot start any token"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			require.NoError(t, os.Mkdir(filepath.Join(dir, "folder.glb"), 0o777))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "shells.glb"), nil, 0o666))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "grey.cube"), nil, 0o666))
			file := filepath.Join(dir, "marsh.yaml")
			require.NoError(t, os.WriteFile(file, []byte(c.file), 0o666))
			d, err := Load(file)
			require.Nil(t, d)
			require.EqualError(t, err, file+":"+strings.ReplaceAll(c.want, "DIR", dir))
		})
	}
}

// All problems come at once, in file order, then those of the overrides in theirs.
func TestProblemsInOrder(t *testing.T) {
	_, err := Parse("heron.yaml", []byte(`film: {spp: 0, sp: 1}
camera: {orbit: {azimuth: x}}
lights:
  - name: key
    kind: disc
    power: -1
    at: [0, 0, 90]
`), "view.edge=2", "lights.key.ev=x", "lights.rim.ev=1", "bodies.0.on=off", "lights", "lights.key.ev=")
	var problems Problems
	require.ErrorAs(t, err, &problems)
	require.Equal(t, `heron.yaml:1:13: film.spp: 0 is outside [1, 1048576]
heron.yaml:1:16: film.sp: unknown key; did you mean spp?
heron.yaml:2:27: camera.orbit.azimuth: x is not a number
heron.yaml:6:12: lights.key.power: -1 is outside [0, 1e12] W
--set view.edge=2: view.edge: 2 is outside [0, 1]
--set lights.key.ev=x: lights.key.ev: x is not a number
--set lights.rim.ev=1: lights.rim.ev: no entry rim here; there are key
--set bodies.0.on=off: bodies: a block of keys, wants a list of blocks
--set lights: wants KEY=VALUE
--set lights.key.ev=: lights.key.ev: no value; null takes a key out`, err.Error())
	p := problems[0]
	require.Equal(t, Problem{File: "heron.yaml", Line: 1, Column: 13, Key: "film.spp", Value: "0", Message: "0 is outside [1, 1048576]"}, p)
	var one Problem
	require.True(t, errors.As(err, &one))
	require.Equal(t, p, one)
}

func TestLoadFileProblems(t *testing.T) {
	dir := t.TempDir()
	_, err := Load(filepath.Join(dir, "heron.yaml"))
	require.EqualError(t, err, filepath.Join(dir, "heron.yaml")+": cannot be read: no such file or directory")
	_, err = Load(dir)
	require.EqualError(t, err, dir+": cannot be read: it is not a file")
	large := filepath.Join(dir, "large.yaml")
	require.NoError(t, os.WriteFile(large, []byte(strings.Repeat("# marsh\n", 1<<19+1)), 0o666))
	_, err = Load(large)
	require.EqualError(t, err, large+":1:1: is larger than 4 MiB, the most that a scene file may have")
}

// Nine levels of nine aliases each would be 3.9e8 values.
func TestAliasesAreCapped(t *testing.T) {
	var s strings.Builder
	s.WriteString("about: &a0 x\nlights:\n")
	for i := range 9 {
		prev := string(rune('0' + i))
		s.WriteString("- &a" + string(rune('1'+i)) + " [" + strings.TrimSuffix(strings.Repeat("*a"+prev+", ", 9), ", ") + "]\n")
	}
	_, err := Parse("bomb.yaml", []byte(s.String()))
	require.ErrorContains(t, err, "aliases add more than 100000 values")
}

// The texts of errors stay readable however much is wrong.
func TestManyProblems(t *testing.T) {
	_, err := Parse("many.yaml", []byte("about: x\n"+strings.Repeat("y: 1\n", 500)))
	var problems Problems
	require.ErrorAs(t, err, &problems)
	require.Len(t, problems, 501) // and no camera; that nothing shines is said only when all else is sound
	lines := strings.Split(err.Error(), "\n")
	require.Len(t, lines, shownProblems+1)
	require.Equal(t, "... and 401 more", lines[shownProblems])
}
