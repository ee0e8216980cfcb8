package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"catchlight/render"
)

// stagesVariable says where stages are kept when --stages does not.
const stagesVariable = "CATCHLIGHT_STAGES"

type stagesKey struct{}

// stagesFlag adds --stages to all commands.
func stagesFlag(root *cobra.Command) {
	at := root.PersistentFlags().String("stages", os.Getenv(stagesVariable),
		"folder that keeps stages of preparation for the next start, or off; without it one in the user's folder for caches")
	root.PersistentPreRun = func(cmd *cobra.Command, _ []string) {
		cmd.SetContext(context.WithValue(cmd.Context(), stagesKey{}, *at))
	}
}

// stageCache returns a cache of stages that keeps them on disk where --stages says so; one for a single picture holds none of them in
// memory.
func stageCache(ctx context.Context, single bool) (*render.Cache, error) {
	c := render.NewCache()
	if single {
		c.Limit = -1
	}
	at, _ := ctx.Value(stagesKey{}).(string)
	if at == "off" {
		return c, nil
	}
	d, err := render.OpenDisk(at, render.DiskBytes)
	if err != nil && at != "" {
		return nil, usageError{fmt.Errorf("--stages %s: %w", filepath.Clean(at), err)}
	}
	if err == nil { // a user without such a folder has no stages of earlier starts
		c.Disk = d
	}
	return c, nil
}
