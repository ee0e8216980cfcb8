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
//
// Long: a table of mistakes with their messages.
func TestProblems(t *testing.T) {
	deep := strings.Repeat("[", 80) + strings.Repeat("]", 80)
	for name, c := range map[string]struct{ file, want string }{
		"unknown key":         {head + "picture: {widht: 3}", "3:11: picture.widht: unknown key; did you mean width?"},
		"unknown section":     {head + "flim: {width: 3}", "3:1: flim: unknown key; did you mean picture?"},
		"unknown, none near":  {head + "view: {gamma: 2}", "3:8: view.gamma: unknown key; known here: exposure, tone_mapping, white, table, glare, background, background_colour, background_edge"},
		"table, no input":     {head + "view: {table: {file: grey.cube, output: srgb}}", "3:16: view.table.input: missing, wants linear, srgb or log2"},
		"table, no range":     {head + "view: {table: {file: grey.cube, output: srgb, input: log2, low: -6}}", "3:16: view.table.high: missing, input log2 wants low and high"},
		"table, range":        {head + "view: {table: {file: grey.cube, output: srgb, input: log2, low: 4, high: 4}}", "3:68: view.table.high: 4 is not above low, which is 4"},
		"table and transform": {head + "view: {tone_mapping: none, table: {file: grey.cube, output: srgb, input: srgb}}", "3:28: view.table: give either tone_mapping or table, not both"},
		"duplicate key":       {head + "picture:\n  samples: 3\n  samples: 4", "5:3: picture.samples: given twice, first in line 4"},
		"out of range":        {head + "objects:\n  - name: left\n    shape: eye\n    cornea: {index: 13.76}", "6:21: objects.left.cornea.index: 13.76 is outside [1, 2.5]"},
		"out of range, unit":  {head + "picture: {width: 0}", "3:18: picture.width: 0 is outside [1, 16384] px"},
		"open end of range":   {head + "objects: [{name: m, shape: box, material: {kind: matched, inside: {sigma_a: 0, sigma_s: 1, g: 1}}}]", "3:95: objects.m.material.inside.g: 1 is outside (-1, 1)"},
		"component":           {head + "view: {background_colour: [0, -1, 0]}", "3:31: view.background_colour.1: -1 is outside [0, 1e6]"},
		"map, number":         {head + "objects: [{name: m, shape: box, material: {colour: 1.5}}]", "3:52: objects.m.material.colour: 1.5 is outside [0, 1]"},
		"map, block":          {head + "objects: [{name: m, shape: box, material: {colour: {value: 1.5}}}]", "3:60: objects.m.material.colour.value: 1.5 is outside [0, 1]"},
		"shell of a mesh":     {head + "objects: [{name: m, shape: box, material: {colour: {value: 0.5, shell: outer}}}]", "3:65: objects.m.material.colour.shell: only colours of an eye lie on one of two shells"},
		"set of a mesh":       {head + "objects: [{name: m, shape: box, material: {colour: {value: 0.5, uv_set: 1}}}]", "3:65: objects.m.material.colour.uv_set: only maps of an eye choose their texture coordinates; a mesh has those of its own material"},
		"painted white":       {head + "objects: [{name: a, shape: eye, sclera: {colour: {value: 0.5, painted: seen}}}]", "3:63: objects.a.sclera.colour.painted: seen is for iris.colour alone; the sclera's colour is always as seen, other colours are bare"},
		"not a number":        {head + "view: {exposure: bright}", "3:18: view.exposure: bright is not a number"},
		"quoted number":       {head + `view: {exposure: "1"}`, `3:18: view.exposure: "1" in quotes, wants a number`},
		"list for a number":   {head + "view: {exposure: [1]}", "3:18: view.exposure: a list of 1, wants a number"},
		"hexadecimal":         {head + "picture: {seed: 0x10}", "3:17: picture.seed: 0x10 is not a whole number"},
		"fraction":            {head + "picture: {samples: 2.5}", "3:20: picture.samples: 2.5 is not a whole number"},
		"nan":                 {head + "view: {exposure: .nan}", "3:18: view.exposure: .nan is not finite"},
		"inf":                 {head + "view: {exposure: -.inf}", "3:18: view.exposure: -.inf is not finite"},
		"overflow":            {head + "view: {exposure: 1e999}", "3:18: view.exposure: 1e999 is not finite"},
		"not a boolean":       {head + "advanced: {split: maybe}", "3:19: advanced.split: maybe, wants true or false"},
		"not a block":         {head + "picture: 7", "3:10: picture: 7, wants a block of keys"},
		"not a list":          {head + "objects: {name: a}", "3:11: objects: a block of keys, wants a list of blocks"},
		"short vector":        {"camera: {position: [1, 2]}\n" + sky, "1:20: camera.position: a list of 2, wants a list of 3 numbers"},
		"no colour":           {head + "view: {background_colour: red}", "3:27: view.background_colour: red, wants a number or a list of 3 numbers"},
		"no map":              {head + "objects: [{name: m, shape: box, material: {colour: bark.png}}]", "3:52: objects.m.material.colour: bark.png, wants a number, a list of 3 numbers or a block of keys; write {file: ...} for a picture"},
		"no value":            {head + "view: {exposure: }", "3:17: view.exposure: no value, wants a number"},
		"word":                {head + "picture: {filter: gausian}", "3:19: picture.filter: gausian is none of gaussian, hann, tent, box; did you mean gaussian?"},
		"word, none near":     {head + "picture: {filter: sinc}", "3:19: picture.filter: sinc is none of gaussian, hann, tent, box"},
		"missing key":         {cam + "\nlights: [{kind: constant, radiance: 1}]", "2:11: lights.0.name: missing, wants text"},
		"missing word":        {head + "objects: [{name: a}]", "3:12: objects.a.shape: missing, wants eye, sphere, rectangle, disc, box, slab, plinth or mesh"},
		"not for this kind":   {cam + "\nlights: [{name: sky, kind: constant, radiance: 1, radius: 2}]", "2:51: lights.sky.radius: only for kind disc or sphere, not for constant"},
		"not for this shape":  {head + "objects: [{name: a, shape: box, iris: {pupil: 3}}]", "3:33: objects.a.iris: only for shape eye, not for box"},
		"duplicate light":     {cam + "\nlights:\n  - {name: a, kind: constant, radiance: 1}\n  - {name: a, kind: constant, radiance: 1}", "4:12: lights.1.name: a second a in lights, first in line 3"},
		"duplicate object":    {head + "objects:\n  - {name: a, shape: box}\n  - {name: a, shape: eye}", "5:12: objects.1.name: a second a in objects, first in line 4"},
		"bad name":            {head + "objects: [{name: a.b, shape: box}]", "3:18: objects.0.name: a.b is no name: it wants a letter, then at most 63 letters, digits, - or _"},
		"no such file":        {head + "objects: [{name: a, shape: mesh, file: nest.glb}]", "3:40: objects.a.file: nest.glb: no such file (looked for DIR/nest.glb)"},
		"folder for a file":   {head + "objects: [{name: a, shape: mesh, file: folder.glb}]", "3:40: objects.a.file: folder.glb: not a file"},
		"ending":              {head + "objects: [{name: a, shape: mesh, file: nest.png}]", "3:40: objects.a.file: nest.png: files in .png are not read; export the eye as glTF 2.0 binary (.glb) with normals, UVs and materials, uncompressed, +Y up, transforms applied or kept in the nodes; .obj, .ply and .stl are read too"},
		"empty file name":     {head + "objects: [{name: a, shape: mesh, file: ''}]", `3:40: objects.a.file: "", wants a file name`},
		"mesh without file":   {head + "objects: [{name: a, shape: mesh}]", "3:12: objects.a.file: missing, a mesh wants one"},
		"environment, file":   {cam + "\nlights: [{name: e, kind: environment}]", "2:11: lights.e.file: missing, an environment wants a picture"},
		"constant, radiance":  {cam + "\nlights: [{name: e, kind: constant}]", "2:11: lights.e.radiance: missing, a constant light wants it"},
		"light, neither":      {cam + "\nlights: [{name: e, kind: disc, position: [0, 0, 90]}]", "2:11: lights.e: give radiance or power"},
		"light, both":         {cam + "\nlights: [{name: e, kind: disc, position: [0, 0, 90], power: 1, radiance: 1}]", "2:64: lights.e.radiance: give either radiance or power, not both"},
		"light, no place":     {cam + "\nlights: [{name: e, kind: sphere, power: 1}]", "2:11: lights.e: give position or orbit"},
		"light, two places":   {cam + "\nlights: [{name: e, kind: sphere, power: 1, orbit: {}, position: [0, 0, 90]}]", "2:55: lights.e.position: give either position or orbit, not both"},
		"distant, neither":    {cam + "\nlights: [{name: e, kind: distant, orbit: {}}]", "2:11: lights.e: give radiance or irradiance"},
		"distant, from":       {cam + "\nlights: [{name: e, kind: distant, irradiance: 2}]", "2:11: lights.e.orbit: missing, a distant light wants its direction"},
		"light on its aim":    {cam + "\nlights: [{name: e, kind: disc, power: 1, position: [0, 0, 8]}]", "2:42: lights.e.position: is the point that the light faces"},
		"bars":                {cam + "\nlights: [{name: e, kind: rectangle, power: 1, orbit: {}, panes: [3, 1], bar: 200}]", "2:73: lights.e.bar: 200 mm leaves no room for the panes"},
		"flag, no place":      {cam + "\nlights: [{name: f, kind: flag}]", "2:11: lights.f: give position or orbit"},
		"flag alone":          {cam + "\nlights: [{name: f, kind: flag, orbit: {}}]", "2:1: lights: nothing shines: no light is on and no object is emissive"},
		"black profile":       {cam + "\nlights: [{name: e, kind: disc, power: 1, orbit: {}, profile: {core: 0, edge: 0}}]", "2:53: lights.e.profile: core and edge are both 0, so nothing shines"},
		"no such place":       {cam + "\nlights: [{name: e, kind: environment, file: 'builtin:fen.hdr'}]", "2:45: lights.e.file: builtin:fen.hdr: no such file in the program; there are clear_window.hdr, overcast_square.hdr, boathouse-door, boathouse-door-unlit, cottage-room, cottage-room-unlit, marsh-dusk, marsh-dusk-unlit, marsh-overcast, marsh-overcast-unlit, studio-strips, studio-strips-unlit"},
		"black tint":          {cam + "\nlights: [{name: e, kind: sphere, power: 1, orbit: {}, tint: 0}]", "2:55: lights.e.tint: is black, so power can't be split by it"},
		"nothing shines":      {cam + "\nlights: [{name: e, kind: constant, radiance: 1, on: off}]", "2:1: lights: nothing shines: no light is on and no object is emissive"},
		"camera, neither":     {"camera: {fov: 20}\n" + sky, "1:10: camera.fov: only beside position or orbit: without them the camera frames what there is"},
		"camera, both":        {"camera:\n  position: [0, 0, 90]\n  orbit: {}\n" + sky, "3:3: camera.orbit: give either position or orbit, not both"},
		"camera on its aim":   {"camera: {position: [0, 0, 8]}\n" + sky, "1:10: camera.position: is the point that the camera looks at"},
		"camera, no up":       {"camera: {orbit: {}, up: [0, 0, 0]}\n" + sky, "1:21: camera.up: has no direction"},
		"camera, up ahead":    {"camera: {position: [0, 90, 8]}\n" + sky, "1:10: camera.up: lies along the line of sight, so nothing is up"},
		"fov and focal":       {"camera: {orbit: {}, fov: 20, focal_length: 50}\n" + sky, "1:30: camera.focal_length: give either focal_length or fov, not both"},
		"plate, normal":       {"camera: {kind: plate}\n" + sky, "1:10: camera.normal: missing, a plate wants the direction that it faces"},
		"plate, zero normal":  {"camera: {kind: plate, normal: [0, 0, 0]}\n" + sky, "1:23: camera.normal: has no direction"},
		"medium, neither":     {head + "objects: [{name: m, shape: box, material: {kind: matched, inside: {g: 0}}}]", "3:68: objects.m.material.inside: give sigma_a and sigma_s or colour and mean_free_path"},
		"tissue, half":        {head + "objects: [{name: e, shape: eye, iris: {sigma_s: 1}}]", "3:40: objects.e.iris.sigma_a: missing, sigma_s wants it too"},
		"tissue, both":        {head + "objects: [{name: e, shape: eye, sclera: {sigma_a: 1, sigma_s: 1, tint: 1}}]", "3:66: objects.e.sclera.tint: give either sigma_a and sigma_s or tint, not both"},
		"tissue, none":        {head + "objects: [{name: e, shape: eye, iris: {sigma_a: 0, sigma_s: [1, 0, 1]}}]", "3:52: objects.e.iris.sigma_s: sigma_a and sigma_s are both 0 in one channel, so there is no tissue"},
		"medium, half":        {head + "objects: [{name: m, shape: box, material: {kind: matched, inside: {sigma_s: 1}}}]", "3:68: objects.m.material.inside.sigma_s: give sigma_a and sigma_s or colour and mean_free_path"},
		"medium, both":        {head + "objects: [{name: m, shape: box, material: {kind: matched, inside: {sigma_s: 1, sigma_a: 0, colour: 0.5}}}]", "3:92: objects.m.material.inside.colour: give either sigma_a and sigma_s or colour and mean_free_path, not both"},
		"matched, inside":     {head + "objects: [{name: m, shape: box, material: {kind: matched}}]", "3:44: objects.m.material.inside: missing, a matched material is only what is inside"},
		"emissive, radiance":  {head + "objects: [{name: m, shape: disc, material: {kind: emissive}}]", "3:45: objects.m.material.radiance: missing, an emissive material wants it"},
		"emissive box":        {head + "objects: [{name: m, shape: box, material: {kind: emissive, radiance: 1}}]", "3:33: objects.m.material: only a sphere, a rectangle or a disc can be emissive, not a box"},
		"plinth, through":     {head + "objects: [{name: m, shape: plinth, radius: 40, thickness: 3, plinth: {cup: 12, depth: 2.9}}]", "3:62: objects.m.plinth: depth: 2.9 mm goes through a slab of 3"},
		"plinth, no top":      {head + "objects: [{name: m, shape: plinth, radius: 5, thickness: 9, plinth: {cup: 12, depth: 2}}]", "3:36: objects.m.radius: 5 mm leaves no top: hollow and edge take 7.02"},
		"plinth, wave":        {head + "objects: [{name: m, shape: plinth, radius: 40, thickness: 9, plinth: {wave: 0.5}}]", "3:77: objects.m.plinth.wave: 0.5 is outside [1, 1000] mm"},
		"inside of a disc":    {head + "objects: [{name: m, shape: disc, material: {kind: dielectric, inside: {sigma_a: 1, sigma_s: 1}}}]", "3:34: objects.m.material: a disc has no inside"},
		"map, neither":        {head + "objects: [{name: m, shape: box, material: {colour: {gain: 2}}}]", "3:53: objects.m.material.colour: give value or file"},
		"asset, axis":         {head + "objects: [{name: m, shape: eye, asset: {file: shells.glb, outer: a, inner: b, axis: [0, 0, 0]}}]", "3:79: objects.m.asset.axis: has no direction"},
		"asset, morph":        {head + "objects: [{name: m, shape: eye, asset: {file: shells.glb, outer: a, inner: b, morph: [{target: wide}, {target: wide, weight: 0.5}]}}]", "3:79: objects.m.asset.morph: sets the target wide twice"},
		"mesh, morph":         {head + "objects: [{name: m, shape: box, morph: [{target: wide, weight: 11}]}]", "3:33: objects.m.morph: only for shape mesh, not for box"},
		"asset, keys":         {head + "objects: [{name: m, shape: eye, asset: {file: shells.glb, outer: a}}]", "3:41: objects.m.asset.inner: missing, name the node that is the inner shell, or set borrow"},
		"limbus":              {head + "objects: [{name: m, shape: eye, globe: {radius: 5}}]", "3:41: objects.m.globe.radius: a limbus that ends 6.3 mm from the axis does not fit on a globe of radius 5 mm: 0.85 of it at most"},
		"pupil":               {head + "objects: [{name: m, shape: eye, iris: {pupil: 15}}]", "3:40: objects.m.iris.pupil: 15 is outside [1.5, 8] mm"},
		"too many pixels":     {head + "picture:\n  width: 16000\n  height: 16000", "5:3: picture.height: 16000 x 16000 is more than 100 million pixels"},
		"unclosed":            {head + "picture: {samples: 3", "3:10: not valid YAML: could not find flow mapping end token '}'"},
		"second document":     {head + "---\nfilm: {samples: 3}", "4:5: a second document begins here; a scene file holds one"},
		"tag":                 {head + "picture: {samples: !!int 3}", "3:20: tags such as !!int are not supported"},
		"unknown alias":       {head + "film: *a", "3:7: no anchor &a before this alias"},
		"alias in itself":     {head + "picture: &a {samples: *a}", "3:23: the alias *a stands within its own anchor"},
		"merge of a number":   {head + "picture: {<<: 3}", "3:11: << wants a block of keys, or a list of blocks"},
		"deep":                {head + "picture: " + deep, "3:74: more than 64 values within each other"},
		"a list":              {"- 1\n- 2", "1:1: a list of 2, wants a block of keys"},
		"not UTF-8":           {head + "about: h\xe9ron", "3:9: is not UTF-8 text from here on"},
		"unprintable key":     {head + "\"a\\u0007\": 3", `3:1: "a\a": unknown key; known here: format, about, picture, camera, view, effects, advanced, raster, light_setup, lights, objects, lids`},
		"long value":          {head + "picture: {filter: " + strings.Repeat("x", 500) + "}", "3:19: picture.filter: " + strings.Repeat("x", 60) + "... is none of gaussian, hann, tent, box"},
		"tab for indentation": {head + "picture:\n\tspp: 3", "4:1: not valid YAML: found character '\\t' that cannot start any token"},
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
	_, err := Parse("heron.yaml", []byte(`picture: {samples: 0, sp: 1}
camera: {orbit: {azimuth: x}}
lights:
  - name: key
    kind: disc
    power: -1
    position: [0, 0, 90]
`), "view.background_edge=2", "lights.key.ev=x", "lights.rim.ev=1", "objects.0.on=off", "lights", "lights.key.ev=")
	var problems Problems
	require.ErrorAs(t, err, &problems)
	require.Equal(t, `heron.yaml:1:20: picture.samples: 0 is outside [1, 1048576]
heron.yaml:1:23: picture.sp: unknown key; did you mean samples?
heron.yaml:2:27: camera.orbit.azimuth: x is not a number
heron.yaml:6:12: lights.key.power: -1 is outside [0, 1e12] W
--set view.background_edge=2: view.background_edge: 2 is outside [0, 1]
--set lights.key.ev=x: lights.key.ev: x is not a number
--set lights.rim.ev=1: lights.rim.ev: no entry rim here; there are key
--set objects.0.on=off: objects: a block of keys, wants a list of blocks
--set lights: wants KEY=VALUE
--set lights.key.ev=: lights.key.ev: no value; null takes a key out`, err.Error())
	p := problems[0]
	require.Equal(t, Problem{File: "heron.yaml", Line: 1, Column: 20, Key: "picture.samples", Value: "0", Message: "0 is outside [1, 1048576]"}, p)
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
	require.Len(t, problems, 500) // that nothing shines is said only when all else is sound
	lines := strings.Split(err.Error(), "\n")
	require.Len(t, lines, shownProblems+1)
	require.Equal(t, "... and 400 more", lines[shownProblems])
}
