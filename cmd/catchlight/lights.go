package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/scene"
)

// rigFolders are where rigs are looked for by name: beside the scene file, then in the shipped scenes.
func rigFolders(scenePath string) []string {
	out := []string{filepath.Join(filepath.Dir(scenePath), "rigs")}
	if shipped := filepath.Join("scenes", "rigs"); filepath.Clean(out[0]) != shipped {
		out = append(out, shipped)
	}
	return out
}

// findRig returns the file of a rig that is given by name or by file.
func findRig(scenePath, word string) (string, error) {
	if strings.ContainsAny(word, `/\`) || filepath.Ext(word) == ".yaml" {
		if _, err := os.Stat(word); err != nil {
			return "", usageError{fmt.Errorf("--lights %s: %w", word, errors.Unwrap(err))}
		}
		return word, nil
	}
	var known []string
	for _, dir := range rigFolders(scenePath) {
		path := filepath.Join(dir, word+".yaml")
		if _, err := os.Stat(path); err == nil {
			return path, nil
		} else if !errors.Is(err, fs.ErrNotExist) {
			return "", usageError{fmt.Errorf("--lights %s: %w", word, err)}
		}
		for _, f := range rigFiles(dir) {
			known = append(known, rigName(f))
		}
	}
	slices.Sort(known)
	return "", usageError{fmt.Errorf("--lights %s: no such rig in %s; known: %s", word, strings.Join(rigFolders(scenePath), ", "), strings.Join(slices.Compact(known), ", "))}
}

func rigFiles(dir string) []string {
	files, _ := filepath.Glob(filepath.Join(dir, "*.yaml"))
	return files
}

func rigName(file string) string { return strings.TrimSuffix(filepath.Base(file), filepath.Ext(file)) }

// lightsCommand lists the rigs.
func lightsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "lights [FOLDER]",
		Short: "List the rigs of lights, what each is and what it shows of an eye",
		Long: `List the rigs of lights, what each is and what it shows of an eye.

A rig is a file with the keys rig and lights. The rendering commands take one in place of the scene's own lights with
--lights NAME or --lights FILE. All shipped rigs are balanced: a grey card of 18 % in the eye's place, facing the key, reads
0.18 before the view transform. --set rig.turn=30 turns a rig about the upright axis, --set rig.ev=-0.3 replaces its level.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{errors.New("lights: one folder at most")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := filepath.Join("scenes", "rigs")
			if len(args) == 1 {
				dir = args[0]
			}
			files := rigFiles(dir)
			if len(files) == 0 {
				return fmt.Errorf("%s: no rig there", dir)
			}
			blank, err := scene.Parse("blank.yaml", []byte("camera: {orbit: {distance: 100}}\nbodies: [{name: card, shape: rectangle}]\nlights: [{name: none, kind: constant, radiance: 0}]"))
			if err != nil {
				return err
			}
			for _, f := range files {
				d, err := blank.WithRig(f)
				if err != nil {
					return err
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%-10s %s\n%10s shows %s\n", rigName(f), d.Rig.About, "", d.Rig.Reveals)
			}
			return nil
		},
	}
}
