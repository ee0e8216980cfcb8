// Package cmd holds the programs, each in a folder of its own: catchlight, which renders, raybench, which measures the
// ray hierarchy, and equalerror, which measures the renderer against another build. It has no code itself. Its tests hold what is true of the whole tree: imports run one way
// (layers_test.go), and files and functions keep their shape (shape_test.go).
package cmd
