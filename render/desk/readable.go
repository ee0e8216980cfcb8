package desk

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// pictures are the endings of files that are read as pictures.
var pictures = []string{".png", ".jpg", ".jpeg", ".tif", ".tiff", ".hdr", ".exr", ".pfm"}

// readable refuses a scene that names a file which can't be read. Pictures that the file on disk did not name are read whole, of
// others the header.
func (k *Desk) readable(d *scene.Description) error {
	before := filesOf(k.original)
	for _, file := range append(d.Files(), d.BudgetFile()) {
		if file == "" || file == d.File {
			continue
		}
		var err error
		switch {
		case !slices.Contains(pictures, strings.ToLower(filepath.Ext(file))):
			var info os.FileInfo
			if info, err = os.Stat(file); err == nil && !info.Mode().IsRegular() {
				err = fmt.Errorf("%s: not a regular file", file)
			}
		case before[filepath.Clean(file)]:
			_, err = imageio.ReadHeader(file)
		default:
			_, err = imageio.Read(file)
		}
		if err != nil {
			return refuse(k.keyOf(d, file), "this can't be saved, as a file that it names can't be read: %v", err)
		}
	}
	return nil
}

// keyOf is the first key of a description that names a file; empty for a tile of a set.
func (k *Desk) keyOf(d *scene.Description, file string) string {
	values := d.Values()
	for _, key := range slices.Sorted(maps.Keys(values)) {
		name, ok := values[key].(string)
		if ok && name != "" && !k.drawn(key) && k.full(name) == filepath.Clean(file) {
			return key
		}
	}
	return ""
}

// full is a file's name in full, from one that a scene has.
func (k *Desk) full(name string) string {
	if name = filepath.FromSlash(name); filepath.IsAbs(name) {
		return filepath.Clean(name)
	}
	return filepath.Join(filepath.Dir(k.path), name)
}
