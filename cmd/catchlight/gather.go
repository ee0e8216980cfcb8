package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/scene"
)

type gatherFlags struct {
	out, lights string
	overwrite   bool
}

func gatherCommand() *cobra.Command {
	var f gatherFlags
	c := &cobra.Command{
		Use:   "gather SCENE --out FOLDER",
		Short: "Put a scene and all its files into one folder, for a colleague or a farm",
		Long: `Put a scene and all its files into one folder, for a colleague or a farm.

The folder gets the scene file, the light set-up of --lights in light_setups, and in files all that they name: maps with
their tiles, meshes with their buffers, material libraries and pictures, environments, tables, budgets. What lives in the
program stays there. File names in the scene and the light set-up are changed to hold in the folder; nothing else is, and
comments stay. The scene is read again from the folder, and must be the same: rendered there, by the same program, it gives
the same bits.

  catchlight gather scenes/heron.yaml --lights low-sun --out heron-for-the-farm`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(args[0], cmd.OutOrStdout()) },
	}
	c.Flags().StringVarP(&f.out, "out", "o", "", "folder to make; new or empty")
	c.Flags().StringVar(&f.lights, "lights", "", "light set-up whose lights stand in for the scene's own: a name (see catchlight lights) or a file")
	overwriteFlag(c.Flags(), &f.overwrite)
	return c
}

func (f *gatherFlags) run(path string, stdout io.Writer) error {
	if f.out == "" {
		return usageError{fmt.Errorf("--out: a folder is needed")}
	}
	d, err := scene.Load(path)
	if err != nil {
		return err
	}
	lit := d
	if f.lights != "" {
		setup, err := findLightSetup(path, f.lights)
		if err != nil {
			return err
		}
		if lit, err = d.WithLightSetup(setup); err != nil {
			return err
		}
	}
	g, err := render.Gather(d, lit)
	if err != nil {
		return err
	}
	var outputs []string
	for _, n := range g.Names() {
		outputs = append(outputs, filepath.Join(f.out, filepath.FromSlash(n)))
	}
	if err := job.CheckFolder(f.out, outputs, nil, f.overwrite); err != nil {
		return err
	}
	// Not even --overwrite lets a file be copied onto itself.
	if err := job.CheckOutputs(outputs, render.Files(d, lit), false); err != nil {
		return err
	}
	bytes, err := g.Write(f.out)
	if err != nil {
		return err
	}
	to := []string{"render", g.Scene}
	switch setup := lit.LightSetupFile(); {
	case setup == "":
	case slices.Contains(scene.Surroundings, strings.ToLower(filepath.Ext(setup))):
		to = append(to, "--lights", g.Setup)
	default:
		to = append(to, "--lights", lightSetupName(setup))
	}
	fmt.Fprintf(stdout, "wrote %d files, %.1f MB, into %s; there: %s\n", len(outputs), float64(bytes)/1e6, f.out, commandLine(to))
	return nil
}
