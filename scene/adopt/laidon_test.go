package adopt

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/eye"
	"catchlight/scene/mesh"
)

// Names as artists leave them: what each says, and whose reason why it is left out holds what word.
func TestNamesOfMaps(t *testing.T) {
	n, err := LoadNames("")
	require.NoError(t, err)
	for name, want := range map[string]string{
		"T_Iris_BC.png": "iris.colour", "iris_bump_l.png": "iris.height", "L_Sclera_Dif.png": "sclera.colour", "ScleraBaseColor_R.tif": "sclera.colour",
		"cornea_normalmap.png": "cornea.normal", "eye_outer_albedo.png": "sclera.colour", "conjunctiva_clr.exr": "sclera.colour",
		"iris_nrml.png": "iris.normal", "corneaDisplacement.exr": "cornea.height",
	} {
		var got []string
		for _, s := range slots {
			if s.fit(n.read(name)) > 0 {
				got = append(got, s.key)
			}
		}
		require.Contains(t, got, want, name)
	}
	for name, want := range map[string]string{
		"cornea_rough.png": "cornea.roughness", "sclera_gloss.png": "plain numbers", "iris_AO.png": "baked shadow", "eye_limbus_mask.png": "limbus.radius",
		"iris_specular_level.png": "cornea.index", "eye_sss.png": "scatter_radius", "eye_ORM.png": "channels", "iris_spec_color.png": "cornea.index",
		"cornea_opacity.png": "clear", "veins.png": "sclera's colour",
	} {
		l := n.read(name)
		for _, s := range slots {
			require.Zero(t, s.fit(l), "%s for %s", name, s.key)
		}
		require.Contains(t, l.why(), want, name)
	}
	for name, want := range map[string]string{
		"L_iris_color.png": "left", "iris_color_l.png": "left", "iris_left_color.png": "left", "leftEye_color.png": "left", "IrisColorL.png": "left",
		"R_iris_color.png": "right", "iris_color_r.png": "right", "EyeRight_color.png": "right", "rt_iris.png": "right", "iris_color.png": "",
		"left/iris_color.png": "left", "R/iris_color.png": "right",
	} {
		c := n.candidates("maps", []string{filepath.Join("maps", filepath.FromSlash(name))})[0]
		if want == "" {
			require.Empty(t, c.label.sides, name)
		} else {
			require.Equal(t, []string{want}, c.label.sides, name)
		}
	}
}

// Two shells laid side by side in one picture, each seen from the front: paint on the left half belongs to the outer shell, on
// the right half to the inner one, and paint on both could be either.
func TestShellOfAPicture(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	par := eye.Defaults()
	par.MeshDetail, par.ShellGap, par.MapSize = 1.4, 0.2, 64
	g, err := eye.Grow(par)
	require.NoError(t, err)
	lay := func(m *mesh.Mesh, at float64) *mesh.Mesh {
		m = clone(m)
		for i, q := range m.P {
			m.UV[i].U, m.UV[i].V = at+0.24*q.X/13, 0.5-0.48*q.Y/13
		}
		return m
	}
	parts := []Part{{Name: "shell_outer", Mesh: lay(g.Outer, 0.25)}, {Name: "shell_inner", Mesh: lay(g.Inner, 0.75)}}
	noise := func(x, y int) [3]uint8 { return [3]uint8{uint8(100 + (x*37+y*91)%60), 120, 110} }
	for _, c := range []struct {
		name, file string
		paint      func(x int) bool
		shell      string
		grade      Grade
	}{
		{"outer", "sclera_color.png", func(x int) bool { return x < 128 }, "outer", Unsure},
		{"inner", "sclera_color.png", func(x int) bool { return x >= 128 }, "", Sure},
		{"either", "sclera_color.png", func(int) bool { return true }, "", Question},
		{"iris", "iris_color.png", func(int) bool { return true }, "", Unsure},
		{"name and paint differ", "outer_color.png", func(x int) bool { return x >= 128 }, "outer", Question},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			dot(t, filepath.Join(dir, c.file), 256, func(x, y int) [3]uint8 {
				if c.paint(x) {
					return noise(x, y)
				}
				return [3]uint8{80, 80, 80}
			})
			p, err := Propose(Input{Asset: "eye.glb", Folder: dir, Parts: parts, Metres: true, Names: names})
			require.NoError(t, err)
			require.Len(t, p.Maps, 1)
			require.Equal(t, c.shell, p.Maps[0].Shell, listed(p))
			require.Equal(t, c.grade, p.grades()[p.Maps[0].Slot], listed(p))
			text := p.Scene(Input{Asset: "eye.glb"}, dir)
			if c.shell == "outer" {
				require.Contains(t, text, "shell: outer}")
			}
		})
	}
}
