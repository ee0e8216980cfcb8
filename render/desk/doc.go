// Package desk holds a scene file while it is changed. The text of the file is the only truth: every change is a splice of it,
// which the loader then reads and which must mean what an override would. Nothing is written to the scene's folder but by Save and
// Snapshot.
//
//	Set, List, Undo, Redo, Reset, Side --> text --> Description
//	                                        |
//	                                     journal: every step on disk, for the next start
//
// There are two sides, A and B, each with a text and undo steps of its own. A scene file that changed on disk under changes is a
// question (Stale), which Reload answers.
package desk
