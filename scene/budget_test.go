package scene

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The budgets that come along load, differ, and give way to the scene's own keys; full says what the defaults say.
func TestBudgets(t *testing.T) {
	require.Equal(t, []string{"full", "lean", "middle"}, Budgets())
	load := func(budget string, set ...string) (*Description, error) {
		return Parse("marsh.yaml", []byte("camera: {orbit: {}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: ball, shape: sphere}]\nraster: {budget: "+budget+", coverage_samples: 8}\n"), set...)
	}
	plain, err := load(`""`)
	require.NoError(t, err)
	seen := map[int]bool{}
	for _, name := range Budgets() {
		d, err := load(name)
		require.NoError(t, err)
		require.Equal(t, 8, d.Raster.CoverageSamples)
		seen[d.Raster.TextureSize] = true
		if name == "full" {
			d.Raster.Budget = ""
			require.Equal(t, plain.Raster, d.Raster)
		}
	}
	require.Len(t, seen, 3)
	d, err := load("full", "raster.budget=lean", "raster.iris=straight")
	require.NoError(t, err)
	require.Equal(t, "straight", d.Raster.Iris)
	require.Equal(t, "bent", d.Raster.Scattering)
	require.Len(t, d.Raster.Cards, 2)
}

// A file of an artist's own; its mistakes are told with its name, line and key.
func TestBudgetFile(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666))
	}
	write("marsh.yaml", "camera: {orbit: {}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nobjects: [{name: ball, shape: sphere}]\nraster: {budget: boat.yaml}\n")
	write("boat.yaml", "# a boat\nshadow: none\nanisotropy: 2\n")
	d, err := Load(filepath.Join(dir, "marsh.yaml"))
	require.NoError(t, err)
	require.Equal(t, "none", d.Raster.Shadow)
	require.Equal(t, 2, d.Raster.Anisotropy)
	write("boat.yaml", "# a boat\nshadow: hard\nanisotropy: 99\ncoverage_samples: 3\nbudget: lean\n")
	_, err = Load(filepath.Join(dir, "marsh.yaml"))
	require.ErrorContains(t, err, "boat.yaml:3:13: raster.anisotropy: 99")
	require.ErrorContains(t, err, "boat.yaml:5:1: budget: a budget can't rest on another one")
	for _, bad := range []string{"raster.budget=skiff", "raster.budget=none.yaml"} {
		_, err = Load(filepath.Join(dir, "marsh.yaml"), bad)
		require.ErrorContains(t, err, "raster.budget")
	}
	_, err = Load(filepath.Join(dir, "marsh.yaml"), "raster={coverage_samples: 3}")
	require.ErrorContains(t, err, "3 is none of 1, 2, 4, 8")
	_, err = Load(filepath.Join(dir, "marsh.yaml"), "raster={cards: [{name: a, panes: [4, 1], width: 3, bar: 1}]}")
	require.ErrorContains(t, err, "bar")
}
