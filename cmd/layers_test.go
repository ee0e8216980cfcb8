package cmd

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// order of the layers: each may import itself and those before it.
var layers = []string{"scene", "light", "material", "render", "cmd"}

func layer(path string) int {
	top, _, _ := strings.Cut(path, "/")
	for i, l := range layers {
		if l == top {
			return i
		}
	}
	return -1
}

// doors are packages that may be imported in one place alone.
var doors = map[string]string{
	"github.com/qmuntal/gltf":           "scene/gltfio",
	"github.com/mdouchement/hdr":        "scene/imageio",
	"golang.org/x/image/tiff":           "scene/imageio",
	"golang.org/x/image/font":           "render/page",
	"golang.org/x/image/math":           "render/page",
	"codeberg.org/go-pdf/fpdf":          "render/page",
	"github.com/chromedp":               "_test.go",
	"github.com/spf13/pflag":            "cmd/catchlight",
	"github.com/goccy/go-yaml":          "scene",
	"github.com/spf13/cobra":            "cmd/catchlight",
	"github.com/schollz/progressbar/v3": "cmd/catchlight",
	"github.com/stretchr/testify":       "_test.go",
	"catchlight/light/spherestat":       "_test.go",

	"catchlight/material/tissue/chandrasekhar": "_test.go",
}

func violations(dir, file string, imports []string) []string {
	var out []string
	for _, im := range imports {
		for door, place := range doors {
			if im != door && !strings.HasPrefix(im, door+"/") {
				continue
			}
			if place == "_test.go" && !strings.HasSuffix(file, "_test.go") || place != "_test.go" && dir != place {
				out = append(out, im+" may be imported only by "+place)
			}
		}
		own, ok := strings.CutPrefix(im, "catchlight/")
		if !ok {
			continue
		}
		if layer(own) > layer(dir) {
			out = append(out, im+" lies above "+dir)
		}
		if beside := layer(own) + layer(dir); beside == 3 && layer(own) > 0 && layer(dir) > 0 && !strings.HasSuffix(file, "_test.go") {
			out = append(out, "light and material stand side by side: "+im)
		}
		if strings.HasPrefix(dir, own+"/") && !strings.HasSuffix(file, "_test.go") {
			out = append(out, dir+" imports its parent "+im)
		}
	}
	return out
}

// Imports run one way: cmd -> render -> material, light -> scene; a sub-package never imports its parent; each
// third-party package has one door.
func TestLayers(t *testing.T) {
	files := 0
	err := filepath.WalkDir("..", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || !strings.HasSuffix(path, ".go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		files++
		var imports []string
		for _, im := range f.Imports {
			imports = append(imports, strings.Trim(im.Path.Value, `"`))
		}
		rel, _ := filepath.Rel("..", path)
		for _, v := range violations(filepath.ToSlash(filepath.Dir(rel)), rel, imports) {
			t.Errorf("%s: %s", rel, v)
		}
		return nil
	})
	if err != nil || files < 50 {
		t.Fatalf("%d files read, error %v", files, err)
	}
}

// The rule itself finds what it is there to find.
func TestViolations(t *testing.T) {
	for _, c := range []struct{ dir, file, im string }{
		{"scene/eye", "a.go", "catchlight/render/accel"},
		{"light", "a.go", "catchlight/material/fresnel"},
		{"render/film", "a.go", "catchlight/render"},
		{"scene/mesh", "a.go", "github.com/qmuntal/gltf"},
		{"render", "a.go", "github.com/stretchr/testify/require"},
	} {
		if len(violations(c.dir, c.file, []string{c.im})) == 0 {
			t.Errorf("%s importing %s passes", c.dir, c.im)
		}
	}
	if v := violations("render", "a.go", []string{"catchlight/light", "catchlight/render/accel", "math"}); v != nil {
		t.Error(v)
	}
}
