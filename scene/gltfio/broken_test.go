package gltfio

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// Every broken file does what its manifest says, and takes far less memory than 512 MB to do so. Rows of the kind
// "eye" are sound files whose fault is in the anatomy; what can be seen without knowing an eye is noted here.
func TestBrokenFiles(t *testing.T) {
	about := map[string]string{
		"glb_truncated.glb": "45688 of the 76148", "glb_wrong_magic.glb": `"GLTF"`, "glb_chunk_overflow.glb": "4294967280",
		"glb_no_bin_chunk.glb": "no binary chunk", "zero_bytes.glb": "empty", "json_truncated.gltf": "unexpected end",
		"utf16.gltf": "UTF-16", "json_deep_nesting.gltf": "depth", "huge_accessor_count.gltf": "4000000000",
		"bufferview_out_of_range.gltf": "100000000 bytes", "index_out_of_range.gltf": "triangle 100 uses vertex 60000 of 802",
		"nan_positions.glb": "5 of 802", "zero_triangles.gltf": "no triangles", "cyclic_nodes.gltf": "cycle",
		"missing_bin.gltf": "not_here.bin", "missing_texture.gltf": "iris_albedo_not_here.png", "traversal_uri.gltf": "leaves the folder",
		"traversal_uri_percent.gltf": "leaves the folder", "absolute_uri.gltf": "leaves the folder", "http_uri.gltf": "http://",
		"draco_required.gltf": "KHR_draco_mesh_compression", "unknown_optional_extension.gltf": "EXAMPLE_unknown_material",
		"eye_24_metres.glb": "2.4e+04 mm", "winding_flipped.glb": "clockwise", "degenerate_triangles.glb": "320 of 1596",
		"no_uvs.glb": "no texture coordinates",
	}
	// Sound as glTF: what is wrong with these shows only to who knows an eye.
	anatomy := map[string]bool{"one_layer_only.glb": true, "iris_through_cornea.glb": true}
	dir := samples + "broken"
	manifest, err := os.ReadFile(filepath.Join(dir, "manifest.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(string(manifest)), "\n")[1:]
	if len(rows) != len(about)+len(anatomy) {
		t.Errorf("%d rows, want %d", len(rows), len(about)+len(anatomy))
	}
	for _, row := range rows {
		f := strings.Split(row, "\t")
		t.Run(f[0], func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			start := time.Now()
			a, err := Read(filepath.Join(dir, f[0]))
			if d := time.Since(start); d > 5*time.Second {
				t.Errorf("it took %v", d)
			}
			runtime.ReadMemStats(&after)
			if n := after.TotalAlloc - before.TotalAlloc; n > 64<<20 {
				t.Errorf("%d bytes were allocated", n)
			}
			switch {
			case anatomy[f[0]]:
				if err != nil || len(a.Notes) != 0 {
					t.Errorf("got %v, %q", err, a.Notes)
				}
				return
			case f[2] == "clear error":
				var fe *FormatError
				var ue *UnsupportedError
				if !errors.As(err, &fe) && !errors.As(err, &ue) {
					t.Fatalf("%s: got %v, want an error of this package", f[3], err)
				}
				if !strings.Contains(err.Error(), about[f[0]]) || !strings.HasPrefix(err.Error(), filepath.Join(dir, f[0])) {
					t.Errorf("%s: got %v, want the file and something about %q", f[3], err, about[f[0]])
				}
			case f[2] == "warn and continue":
				if err != nil {
					t.Fatal(err)
				}
				if said := strings.Join(a.Notes, "; "); !strings.Contains(said, about[f[0]]) {
					t.Errorf("%s: notes %q, want something about %q", f[3], said, about[f[0]])
				}
			}
		})
	}
}

// Mistakes in several buffers, or in several meshes, are reported together, and one that was asked for too.
func TestProblemsTogether(t *testing.T) {
	buffers := square(`"buffers":[`, `"buffers":[{"byteLength":4,"uri":"ferry.bin"},{"byteLength":4,"uri":"http://example.invalid/salt.bin"},`)
	meshes := square(`"nodes":[0]`, `"nodes":[0,1]`, `"nodes":[{`, `"nodes":[{"mesh":7},{`, `"POSITION":0`, `"POSITION":8`)
	for file, want := range map[string][]string{buffers: {"buffers[0]", "ferry.bin", "buffers[1]", "http://"}, meshes: {"mesh 7", "accessor 8", `"wide"`}} {
		_, err := readAsset("marsh.gltf", []byte(file), Weights{"wide": 1})
		for _, w := range want {
			if err == nil || !strings.Contains(err.Error(), w) {
				t.Errorf("got %v, want an error about %s", err, w)
			}
		}
	}
}

// Turned triangles come out as in the sound file.
func TestWindingIsTurned(t *testing.T) {
	sound, err := Read("../../testdata/eye/ict_right_eye_axial24mm.glb")
	if err != nil {
		t.Fatal(err)
	}
	turned, err := Read(samples + "broken/winding_flipped.glb")
	if err != nil {
		t.Fatal(err)
	}
	for i := range sound.Nodes {
		near(t, "volume", turned.Nodes[i].Mesh.Volume(), sound.Nodes[i].Mesh.Volume(), 1e-6)
	}
}
