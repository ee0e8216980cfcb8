// Package mend writes a copy of a file of meshes with what is safe to mend: its unit, its axes, its winding and its normals.
//
//	Changes  what is to be done
//	File     writes the copy and says what it did
//
// Everything else stays as it is, in its order: nothing is welded, sorted or taken out, so that morph targets, skin weights and
// bakes that go by the order of vertices stay right. In .glb and .gltf the unit and the axes are a node above all others; in .obj the
// lines of places and normals are written anew. What can't be done without touching more is an error.
//
// Source: Khronos Group, glTF 2.0 Specification, sections 3.6 (buffers), 3.7 (meshes) and 4.4 (GLB); Wavefront, Object Files (.obj),
// appendix B of its manual, 1995.
package mend
