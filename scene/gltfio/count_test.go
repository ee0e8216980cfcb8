package gltfio

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"runtime"
	"strings"
	"testing"
)

// many is a file that shows one mesh of some vertices, with these indices, in many nodes.
func many(nodes, vertices int, index []uint32) []byte {
	buffer := make([]byte, 12*vertices, 12*vertices+4*len(index))
	for i := range vertices { // a sheet of points, so that triangles have areas
		binary.LittleEndian.PutUint32(buffer[12*i:], 0x3c23d70a+uint32(i)<<4)
		binary.LittleEndian.PutUint32(buffer[12*i+4:], 0x3c23d70a+uint32(i*i)%1024<<8)
	}
	for _, v := range index {
		buffer = binary.LittleEndian.AppendUint32(buffer, v)
	}
	var list, parts []string
	for i := range nodes {
		list = append(list, fmt.Sprint(i))
		parts = append(parts, `{"mesh":0}`)
	}
	return []byte(fmt.Sprintf(`{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[%s]}],"nodes":[%s],
"meshes":[{"primitives":[{"attributes":{"POSITION":0},"indices":1}]}],
"accessors":[{"bufferView":0,"componentType":5126,"type":"VEC3","count":%d},{"bufferView":1,"componentType":5125,"type":"SCALAR","count":%d}],
"bufferViews":[{"buffer":0,"byteLength":%d},{"buffer":0,"byteOffset":%d,"byteLength":%d}],
"buffers":[{"byteLength":%d,"uri":"data:application/octet-stream;base64,%s"}]}`, strings.Join(list, ","), strings.Join(parts, ","),
		vertices, len(index), 12*vertices, 12*vertices, 4*len(index), len(buffer), base64.StdEncoding.EncodeToString(buffer)))
}

// A file that shows a large mesh again and again is refused by what it states, before the mesh is built even once. The
// memory that this takes is that of the file's text and of one list of indices.
func TestManyNodesAreCountedFirst(t *testing.T) {
	apart := make([]uint32, 60000)
	for i := range apart {
		apart[i] = uint32(i)
	}
	for want, file := range map[string][]byte{
		"210000000 triangles in all nodes together, at most 16777216 are read; meshes[0] is shown 3000 times": many(3000, 3, make([]uint32, 210000)),
		"141000000 values in all nodes together, at most 134217728 are read; meshes[0] is shown 100 times":    many(100, 400000, make([]uint32, 210000)),
		"18000000 vertices in all nodes together, at most 16777216 are read; meshes[0] is shown 300 times":    many(300, 60000, apart),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := readAsset("marsh.gltf", file, nil)
		runtime.ReadMemStats(&after)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %s", err, want)
		}
		if n := after.TotalAlloc - before.TotalAlloc; n > uint64(12*len(file)) {
			t.Errorf("%d bytes were allocated for a file of %d bytes: %s", n, len(file), want)
		}
	}
}

// Vertices that no triangle uses do not count against a file.
func TestUnusedVerticesDoNotCount(t *testing.T) {
	index := make([]uint32, 60000)
	for i := range index {
		index[i] = uint32(i % 3)
	}
	r := &reader{path: "marsh.gltf", asset: &Asset{}, said: map[string]bool{}}
	if err := r.parse(many(300, 60000, index)); err != nil {
		t.Fatal(err)
	}
	if err := r.loadBuffers(); err != nil {
		t.Fatal(err)
	}
	if n := r.used(r.doc.Meshes[0].Primitives[0]); n != 3 {
		t.Errorf("%d vertices are used, want 3", n)
	}
	if r.values != 0 {
		t.Errorf("%d values count as read", r.values)
	}
}
