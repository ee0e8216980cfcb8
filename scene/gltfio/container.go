package gltfio

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"catchlight/scene/geom"

	"github.com/qmuntal/gltf"
)

// reader holds what is known of a file while it is read.
type reader struct {
	path                string
	dir                 string
	doc                 *gltf.Document
	bin                 []byte   // the binary chunk, nil without one
	buffers             [][]byte // by index
	asset               *Asset
	said                map[string]bool
	values              int // decoded from buffers so far
	texels              int
	vertices, triangles int
	pictures            map[pictureKey]*picture

	parent  []int         // of each node, unvisited outside the scene
	world   []geom.Affine // of each node that was visited: its coordinates to ours
	order   []int         // nodes in the order of the tree
	asked   Weights
	sets    Sets
	targets []target // morph targets of the scene
}

// ReadMorphed returns what the default scene of the file path shows, with weights of morph targets and skins at rest. A target
// that the file does not have is an error that lists those that it has. An error is a *FormatError, an *UnsupportedError or
// comes from the operating system, and names the file.
func ReadMorphed(path string, w Weights) (*Asset, error) { return ReadSets(path, w, nil) }

// Sets chooses the set of texture coordinates of nodes, by their names: n of TEXCOORD_n. Other nodes have the set that
// their material's maps use.
type Sets map[string]int

// ReadSets is ReadMorphed with the nodes that sets names laid out by other sets of texture coordinates. Maps of the
// file's own that use another set are then left out, with a note; a set that a node lacks is an error.
func ReadSets(path string, w Weights, sets Sets) (*Asset, error) {
	data, err := readFile(os.Open, path)
	if err != nil {
		return nil, err
	}
	return readLaid(path, data, w, sets)
}

// readAsset reads a file's bytes; path tells the folder of what is beside it.
func readAsset(path string, data []byte, w Weights) (*Asset, error) {
	return readLaid(path, data, w, nil)
}

// readLaid is readAsset with the sets of texture coordinates of nodes.
func readLaid(path string, data []byte, w Weights, sets Sets) (*Asset, error) {
	r := &reader{path: path, dir: filepath.Dir(path), asset: &Asset{}, asked: w, sets: sets, said: map[string]bool{}, pictures: map[pictureKey]*picture{}}
	text, err := r.unpack(data)
	if err != nil {
		return nil, err
	}
	if err := r.parse(text); err != nil {
		return nil, err
	}
	if err := r.loadBuffers(); err != nil {
		return nil, err
	}
	if err := r.scene(); err != nil {
		return nil, err
	}
	return r.asset, nil
}

// readFile reads a regular file of at most MaxFile bytes.
func readFile(open func(string) (*os.File, error), name string) ([]byte, error) {
	f, err := open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	st, err := f.Stat()
	switch {
	case err != nil:
		return nil, err
	case !st.Mode().IsRegular():
		return nil, fmt.Errorf("%s: not a regular file", name)
	case st.Size() > MaxFile:
		return nil, fmt.Errorf("%s: %d bytes, at most %d are read", name, st.Size(), MaxFile)
	}
	return io.ReadAll(io.LimitReader(f, MaxFile))
}

// unpack returns the JSON of a file, and keeps the binary chunk of a .glb.
func (r *reader) unpack(data []byte) ([]byte, error) {
	trimmed := bytes.TrimLeft(data, " \t\r\n")
	switch {
	case len(data) == 0:
		return nil, r.bad("the file is empty")
	case bytes.HasPrefix(data, []byte("glTF")):
		return r.unpackGLB(data)
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")), len(data) > 1 && (data[0] == 0) != (data[1] == 0):
		return nil, r.bad("the text encoding is UTF-16; JSON must be UTF-8")
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		r.note("a byte-order mark before the JSON is skipped")
		return data[3:], nil
	case len(trimmed) > 0 && trimmed[0] == '{':
		return data, nil
	}
	return nil, r.bad("the file starts with %q; a .glb starts with \"glTF\", a .gltf with \"{\"", data[:min(len(data), 4)])
}

// unpackGLB takes the container apart: magic, version and length, then chunks of length, kind and bytes.
func (r *reader) unpackGLB(data []byte) ([]byte, error) {
	if len(data) < 20 {
		return nil, r.bad("the file ends after %d bytes, within its header", len(data))
	}
	le := binary.LittleEndian
	if v := le.Uint32(data[4:]); v != 2 {
		return nil, r.unsupported("version %d of the container; version 2 is read", v)
	}
	total := uint64(le.Uint32(data[8:]))
	if total > uint64(len(data)) {
		return nil, r.bad("the file ends after %d of the %d bytes that its header states", len(data), total)
	}
	if total < 20 {
		return nil, r.bad("the header states a length of %d bytes, less than a header has", total)
	}
	if total < uint64(len(data)) {
		r.note("%d bytes after the end that the header states are not read", uint64(len(data))-total)
	}
	rest := data[12:total]
	var text []byte
	for n := 0; len(rest) >= 8; n++ {
		size, kind := uint64(le.Uint32(rest)), string(rest[4:8])
		if size > uint64(len(rest)-8) {
			return nil, r.bad("chunk %d (%q) claims %d bytes, %d are left", n, kind, size, len(rest)-8)
		}
		object := rest[8 : 8+size]
		rest = rest[8+size:]
		switch {
		case n == 0 && kind != "JSON":
			return nil, r.bad("the first chunk is %q, must be \"JSON\"", kind)
		case n == 0:
			text = object
		case n == 1 && kind == "BIN\x00":
			r.bin = object
		}
	}
	if len(rest) > 0 {
		return nil, r.bad("%d bytes after the last chunk", len(rest))
	}
	return text, nil
}

// parse decodes the JSON and checks what does not depend on buffers.
func (r *reader) parse(text []byte) error {
	r.doc = new(gltf.Document)
	if err := json.Unmarshal(text, r.doc); err != nil {
		return r.jsonError(text, err)
	}
	d := r.doc
	if v := d.Asset.Version; v == "" || !strings.HasPrefix(v, "2.") {
		return r.unsupported("asset.version is %q; 2.x is read", v)
	}
	if v := d.Asset.MinVersion; v != "" && v != "2.0" {
		return r.unsupported("asset.minVersion is %q; 2.0 is read", v)
	}
	for _, list := range []struct {
		name string
		n    int
		null func(i int) bool
	}{
		{"accessors", len(d.Accessors), func(i int) bool { return d.Accessors[i] == nil }},
		{"buffers", len(d.Buffers), func(i int) bool { return d.Buffers[i] == nil }},
		{"bufferViews", len(d.BufferViews), func(i int) bool { return d.BufferViews[i] == nil }},
		{"images", len(d.Images), func(i int) bool { return d.Images[i] == nil }},
		{"materials", len(d.Materials), func(i int) bool { return d.Materials[i] == nil }},
		{"meshes", len(d.Meshes), func(i int) bool { return d.Meshes[i] == nil || slices.Contains(d.Meshes[i].Primitives, nil) }},
		{"nodes", len(d.Nodes), func(i int) bool { return d.Nodes[i] == nil }},
		{"samplers", len(d.Samplers), func(i int) bool { return d.Samplers[i] == nil }},
		{"scenes", len(d.Scenes), func(i int) bool { return d.Scenes[i] == nil }},
		{"textures", len(d.Textures), func(i int) bool { return d.Textures[i] == nil }},
	} {
		for i := range list.n {
			if list.null(i) {
				return r.bad("%s[%d] is null, or holds null", list.name, i)
			}
		}
	}
	if err := r.checkNumbers(text); err != nil {
		return err
	}
	return r.extensions()
}

// checkNumbers finds enumerations that the gltf module would turn into a default.
func (r *reader) checkNumbers(text []byte) error {
	var raw struct {
		Accessors []struct {
			ComponentType int
			Sparse        *struct{ Indices struct{ ComponentType int } }
		}
		Meshes []struct{ Primitives []struct{ Mode *int } }
	}
	if err := json.Unmarshal(text, &raw); err != nil {
		return r.jsonError(text, err)
	}
	numbers := []int{5120, 5121, 5122, 5123, 5125, 5126}
	for i, a := range raw.Accessors {
		if !slices.Contains(numbers, a.ComponentType) || a.Sparse != nil && !slices.Contains(numbers, a.Sparse.Indices.ComponentType) {
			return r.bad("accessors[%d]: componentType is none of %v", i, numbers)
		}
	}
	for i, m := range raw.Meshes {
		for j, p := range m.Primitives {
			if p.Mode != nil && (*p.Mode < 0 || *p.Mode > 6) {
				return r.bad("meshes[%d].primitives[%d]: mode %d, must be 0 to 6", i, j, *p.Mode)
			}
		}
	}
	return nil
}

// jsonError says on which line decoding failed.
func (r *reader) jsonError(text []byte, err error) error {
	var syntax *json.SyntaxError
	var typ *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		at := min(int(syntax.Offset), len(text))
		return r.bad("JSON, line %d (byte %d of %d): %v", 1+bytes.Count(text[:at], []byte("\n")), at, len(text), syntax)
	case errors.As(err, &typ):
		return r.bad("JSON: the value of %q is a %s, must be of the kind of %s", typ.Field, typ.Value, typ.Type)
	}
	return r.bad("JSON: %v", err)
}

// known lists the extensions that are read.
var known = []string{"KHR_texture_transform", "KHR_mesh_quantization", "KHR_materials_ior", "KHR_materials_transmission", "KHR_materials_volume", "KHR_materials_clearcoat"}

// extensions refuses what is required and not read, and notes what is used and not read.
func (r *reader) extensions() error {
	var missing []string
	for _, e := range r.doc.ExtensionsRequired {
		if !slices.Contains(known, e) {
			missing = append(missing, e)
		}
	}
	if len(missing) > 0 {
		return r.unsupported("the file requires the extension %s; %s are read", strings.Join(missing, ", "), strings.Join(known, ", "))
	}
	for _, e := range r.doc.ExtensionsUsed {
		if !slices.Contains(known, e) {
			r.note("the extension %s is not read", e)
		}
	}
	return nil
}

// loadBuffers fills r.buffers.
func (r *reader) loadBuffers() error {
	var all []error
	for i, b := range r.doc.Buffers {
		where := fmt.Sprintf("buffers[%d]", i)
		var data []byte
		switch {
		case b.URI != "":
			var err error
			if data, err = r.fetch(b.URI); err != nil {
				if all = append(all, r.bad("%s: %v", where, err)); len(all) == MaxProblems {
					return errors.Join(all...)
				}
				continue
			}
		case i > 0 || r.bin == nil:
			return r.bad("%s has no uri, and there is no binary chunk for it", where)
		default:
			data = r.bin
		}
		if b.ByteLength < 1 || b.ByteLength > len(data) {
			return r.bad("%s: byteLength is %d, it holds %d bytes", where, b.ByteLength, len(data))
		}
		r.buffers = append(r.buffers, data[:b.ByteLength])
	}
	return errors.Join(all...)
}

var scheme = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9+.-]*:`)

// fetch returns the bytes of a data URI, or of a file in the folder of the asset or below it.
func (r *reader) fetch(uri string) ([]byte, error) {
	if rest, ok := strings.CutPrefix(uri, "data:"); ok {
		kind, object, ok := strings.Cut(rest, ",")
		if !ok || !strings.HasSuffix(kind, ";base64") {
			return nil, fmt.Errorf("a data URI that is not base64")
		}
		data, err := base64.StdEncoding.DecodeString(object)
		if err != nil {
			return nil, fmt.Errorf("a data URI: %v", err)
		}
		return data, nil
	}
	if scheme.MatchString(uri) || strings.HasPrefix(uri, "//") {
		return nil, fmt.Errorf("the uri %.200q is an address; only files beside the asset are opened", uri)
	}
	name, err := url.PathUnescape(uri)
	if err != nil {
		return nil, fmt.Errorf("the uri %.200q: %v", uri, err)
	}
	if scheme.MatchString(name) || strings.ContainsAny(name, "\\\x00") || !filepath.IsLocal(filepath.FromSlash(name)) {
		return nil, fmt.Errorf("the uri %.200q leaves the folder of the asset; it is not opened", uri)
	}
	// A Root follows no link out of its folder.
	root, err := os.OpenRoot(r.dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	data, err := readFile(root.Open, filepath.FromSlash(name))
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("the file %q does not exist in the folder of the asset", name)
	}
	return data, err
}
