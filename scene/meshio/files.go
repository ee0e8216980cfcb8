package meshio

import (
	"os"
	"path/filepath"
	"strings"

	"catchlight/scene/gltfio"
)

// Files lists the files in or below the folder of path that a file of meshes names: buffers and pictures of glTF, material
// libraries of .obj and their pictures. Each is named once and is there; what Read would not open is passed over.
func Files(path string) []string {
	var out []string
	seen := map[string]bool{}
	add := func(file string) bool {
		if info, err := os.Stat(file); err != nil || !info.Mode().IsRegular() {
			return false
		}
		if !seen[file] {
			seen[file] = true
			out = append(out, file)
		}
		return true
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".glb", ".gltf":
		for _, f := range gltfio.Files(path) {
			add(f)
		}
	case ".obj":
		beside := func(name string) (string, bool) {
			local := filepath.FromSlash(strings.ReplaceAll(strings.TrimSpace(name), `\`, "/"))
			if strings.ContainsAny(local, ":\x00") || !filepath.IsLocal(local) {
				return "", false
			}
			f := filepath.Join(filepath.Dir(path), local)
			return f, add(f)
		}
		o := &objReader{reader: newReader(path)}
		for _, library := range statements(path, "mtllib") {
			names := []string{library}
			if _, ok := beside(library); !ok {
				names = strings.Fields(library)
			}
			for _, n := range names {
				if f, ok := beside(n); ok {
					for _, line := range statements(f, "map_kd", "norm", "map_bump", "bump") {
						beside(o.mapLine(line, func(string, ...any) {}).file)
					}
				}
			}
		}
	}
	return out
}

// statements returns what stands behind the given words, which are in lower case, in the lines of a file.
func statements(path string, words ...string) []string {
	text, err := readFile(os.Open, path)
	if err != nil {
		return nil
	}
	var out []string
	l := lines{text: text}
	l.skipMark()
	for {
		line, ok := l.next()
		if !ok {
			return out
		}
		if i := strings.IndexByte(line, '#'); i >= 0 {
			line = line[:i]
		}
		key, rest := field(line)
		for _, w := range words {
			if strings.ToLower(key) == w {
				out = append(out, strings.TrimSpace(rest))
			}
		}
	}
}
