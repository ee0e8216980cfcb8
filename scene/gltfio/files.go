package gltfio

import (
	"encoding/json"
	"net/url"
	"os"
	"path/filepath"
	"strings"
)

// Files lists the files in or below the folder of path that a glTF file names: buffers and pictures, each once. It takes
// no memory for what they hold, and passes over what Read would refuse.
func Files(path string) []string {
	data, err := readFile(os.Open, path)
	if err != nil {
		return nil
	}
	text, err := (&reader{path: path, asset: &Asset{}, said: map[string]bool{}}).unpack(data)
	if err != nil {
		return nil
	}
	var doc struct {
		Buffers, Images []struct {
			URI string `json:"uri"`
		}
	}
	if json.Unmarshal(text, &doc) != nil {
		return nil
	}
	var out []string
	seen := map[string]bool{}
	for _, b := range append(doc.Buffers, doc.Images...) {
		name, err := url.PathUnescape(b.URI)
		if err != nil || name == "" || scheme.MatchString(name) || strings.ContainsAny(name, "\\\x00") || !filepath.IsLocal(filepath.FromSlash(name)) {
			continue
		}
		if f := filepath.Join(filepath.Dir(path), filepath.FromSlash(name)); !seen[f] {
			seen[f] = true
			out = append(out, f)
		}
	}
	return out
}
