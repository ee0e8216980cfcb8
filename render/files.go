package render

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"catchlight/scene"
	"catchlight/scene/asset"
	"catchlight/scene/builtin"
	"catchlight/scene/meshio"
)

// Files lists all files that the pictures of descriptions depend on, each once: the scene files, light set-ups and budgets, the files
// that they name, and the files that those name in turn. What lives in the program is left out.
func Files(list ...*scene.Description) []string {
	var out []string
	seen := map[string]bool{}
	add := func(f string) bool {
		if f == "" || seen[f] || builtin.Is(f) {
			return false
		}
		seen[f] = true
		out = append(out, f)
		return true
	}
	for _, d := range list {
		add(d.File)
		add(d.LightSetupFile())
		add(d.BudgetFile())
		for _, f := range d.Files() {
			if !add(f) || !slices.Contains(asset.Endings, strings.ToLower(filepath.Ext(f))) {
				continue
			}
			for _, g := range beside(f) {
				add(g)
			}
		}
	}
	return out
}

// Fingerprint is that of the description, with the contents of the files that its files of meshes name: buffers, material
// libraries, pictures.
func Fingerprint(d *scene.Description) (string, error) {
	print, err := d.Fingerprint()
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	fmt.Fprintln(sum, print)
	more := false
	for _, f := range d.Files() {
		if !slices.Contains(asset.Endings, strings.ToLower(filepath.Ext(f))) {
			continue
		}
		for _, g := range beside(f) {
			r, err := os.Open(g)
			if err != nil {
				return "", err
			}
			h := sha256.New()
			_, err = io.Copy(h, r)
			r.Close()
			if err != nil {
				return "", err
			}
			fmt.Fprintf(sum, "%x\n", h.Sum(nil))
			more = true
		}
	}
	if !more {
		return print, nil
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// named remembers what files of meshes name: a long job asks for every picture of it.
var named sync.Map // state of a file: its []string

// beside is meshio.Files, read once for each state of the file.
func beside(path string) []string {
	info, err := os.Stat(path)
	if err != nil {
		return nil
	}
	key := fmt.Sprint(path, info.Size(), info.ModTime().UnixNano())
	if list, ok := named.Load(key); ok {
		return list.([]string)
	}
	list := meshio.Files(path)
	named.Store(key, list)
	return list
}
