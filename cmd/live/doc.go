// Package live makes pictures of a scene that is being changed: at once a small one, then finer and finer ones, until the next
// change. It knows no network and no page.
//
//	Show(description, view, gains) --> Frames: pictures with their error, and where handles over them lie
//
// The newest change wins: work for older ones ends within a tile. Pictures of one run follow each other from rough to fine, and
// pictures of an older run never come after those of a newer one.
package live
