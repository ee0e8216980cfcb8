// Command catchlight renders eyes from scene files. Run it without arguments for help.
//
// It is the only part that reads arguments, prints, and ends with an exit code (exit.go). What it does lies in the packages
// below: each command reads a scene.Description, lays its options over it as overrides, and calls package render.
//
//	render, turntable, sheet          one picture; a turn about the eye; variants side by side
//	watch                             a page on which a scene is changed while its picture follows (watch_*.go, the page itself in live)
//	merge                             parts of a picture that several machines rendered, into one
//	compare                           one scene rendered in two ways, or beside a photo: numbers, maps, a page
//	adopt, grow, gather               a scene for an artist's eye; a built eye as files; a scene with all its files in one folder
//	lights, keys, example             what there is: light set-ups, keys of a scene, a scene to begin with
//	check-picture, version            whether a picture is black, blown out or not finite; what the program is
//
// Work on many pictures is a job (package job): it can be stopped at any moment and goes on where it was.
//
// Results go to standard output, progress and warnings to standard error. What a command did not make it writes over
// only with --overwrite.
package main
