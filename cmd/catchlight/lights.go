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
	"catchlight/scene/builtin"
)

// lightSetupFolder is where a user's own light set-ups are looked for by name: beside the scene file.
func lightSetupFolder(scenePath string) string {
	return filepath.Join(filepath.Dir(scenePath), "light_setups")
}

// findLightSetup returns the file of a light set-up that is given by name or by file: a user's own takes precedence over one of that
// name in the program.
func findLightSetup(scenePath, word string) (string, error) {
	if strings.ContainsAny(word, `/\`) || filepath.Ext(word) == ".yaml" || slices.Contains(scene.Surroundings, strings.ToLower(filepath.Ext(word))) {
		if _, err := os.Stat(word); err != nil {
			return "", usageError{fmt.Errorf("--lights %s: %w", word, errors.Unwrap(err))}
		}
		return word, nil
	}
	dir := lightSetupFolder(scenePath)
	own := filepath.Join(dir, word+".yaml")
	if _, err := os.Stat(own); err == nil {
		return own, nil
	} else if !errors.Is(err, fs.ErrNotExist) {
		return "", usageError{fmt.Errorf("--lights %s: %w", word, err)}
	}
	if slices.Contains(builtin.LightSetups(), word) {
		return builtin.Prefix + word + ".yaml", nil
	}
	known := builtin.LightSetups()
	for _, f := range lightSetupFiles(dir) {
		known = append(known, lightSetupName(f))
	}
	slices.Sort(known)
	return "", usageError{fmt.Errorf("--lights %s: no such light set-up; known: %s", word, strings.Join(slices.Compact(known), ", "))}
}

func lightSetupFiles(dir string) []string {
	files, _ := filepath.Glob(filepath.Join(dir, "*.yaml"))
	return files
}

func lightSetupName(file string) string {
	return strings.TrimSuffix(filepath.Base(strings.TrimPrefix(file, builtin.Prefix)), filepath.Ext(file))
}

// lightsCommand lists the light set-ups.
func lightsCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "lights [FOLDER]",
		Short: "List the light set-ups, what each is and what it shows of an eye",
		Long: `List the light set-ups, what each is and what it shows of an eye, and the environments that live in the program or are made by it;
of the latter those that end in -unlit are without their window, door or bright sky, for a key of your own.

A light set-up is a file with the keys light_setup and lights. The rendering commands take one in place of the scene's own
lights with --lights NAME or --lights FILE. Those listed here live in the program; one of your own in the folder light_setups
beside the scene takes precedence over one of the same name. All of them are balanced: a grey card of 18 % in the eye's place, facing the
key, reads 0.18 before tone mapping. A latitude-longitude picture (.hdr, .exr, .pfm) stands for a light set-up too and is brought
to the same level, facing where most of its light comes from (light_setup.balance). --set light_setup.rotation=30 turns the lights about the upright axis, --set
light_setup.ev=-0.3 replaces their level.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{errors.New("lights: one folder at most")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			var files []string
			for _, name := range builtin.LightSetups() {
				files = append(files, builtin.Prefix+name+".yaml")
			}
			if len(args) == 1 {
				if files = lightSetupFiles(args[0]); len(files) == 0 {
					return fmt.Errorf("%s: no light set-up there", args[0])
				}
			}
			blank, err := scene.Parse("blank.yaml", []byte("camera: {orbit: {distance: 100}}\nobjects: [{name: card, shape: rectangle}]\nlights: [{name: none, kind: constant, radiance: 0}]"))
			if err != nil {
				return err
			}
			for _, f := range files {
				d, err := blank.WithLightSetup(f)
				if err != nil {
					return err
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%-10s %s\n%10s shows %s\n", lightSetupName(f), d.LightSetup.About, "", d.LightSetup.Shows)
			}
			if len(args) == 0 {
				var places []string
				for _, e := range builtin.Environments() {
					places = append(places, builtin.Prefix+e)
				}
				fmt.Fprintf(cmd.OutOrStdout(), "\nfor lights of kind environment (file:):\n  %s\n", strings.Join(places, "\n  "))
			}
			return nil
		},
	}
}
