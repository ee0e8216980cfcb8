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

// mostStages bounds --stages-limit, in GB.
const mostStages = 1e6

type stagesKey struct{}

// stagesKept is where stages are kept, and how many bytes of them.
type stagesKept struct {
	at    string
	bytes int64
}

// stagesFlag adds --stages and its limit to all commands.
func stagesFlag(root *cobra.Command) {
	at := root.PersistentFlags().String("stages", os.Getenv(stagesVariable),
		"folder that keeps stages of preparation for the next start, or off; see catchlight help stages")
	limit := root.PersistentFlags().Float64("stages-limit", render.DiskBytes/1e9, "GB that kept stages may take; those used longest ago go first")
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error {
		if !(*limit >= 0 && *limit <= mostStages) {
			return usageError{fmt.Errorf("--stages-limit %g is outside [0, %g] GB", *limit, float64(mostStages))}
		}
		cmd.SetContext(context.WithValue(cmd.Context(), stagesKey{}, stagesKept{*at, int64(*limit * 1e9)}))
		return nil
	}
	root.AddCommand(stagesTopic())
}

// stagesTopic is a page of help without a command.
func stagesTopic() *cobra.Command {
	place := "the user's folder for caches, which this system does not name"
	if base, err := os.UserCacheDir(); err == nil {
		place = filepath.Join(base, "catchlight", "stages")
	}
	return &cobra.Command{Use: "stages", Short: "What is kept of one start for the next, where, and how to clear it",
		Long: fmt.Sprintf(`Before a picture is rendered its scene is prepared. Slow stages of that are kept on disk, and a second start takes them, to the same bits.

Where    %s,
         or the folder that --stages FOLDER or the variable %s names; off keeps nothing. In a folder that holds other
         files, stages lie in a folder of their own, %s.
How much at most %g GB, or --stages-limit GB; those used longest ago go first.
Clear    delete the folder, at any time; or give --stages-limit 0 with any command that renders.

Kept     shells and tissue of built eyes, lids, and pictures of surroundings.
Not kept eyes from files, lids about them, and shells that a height map raises; maps that files of tiles paint; and all that is quick.

A stage serves the very keys, files and build that made it. With another light, camera, size or seed all are taken; with another redness
the tissue is made anew; with another pupil, iris or map_size all of the eye is, so that such a start gains nothing the first time. What
is made anew is kept beside the old. The report of a picture says of each stage whether it was
made or taken (from), and in what time.`, place, stagesVariable, render.OwnFolder, render.DiskBytes/1e9)}
}

// stageCache returns a cache of stages that keeps them on disk where --stages says so; one for a single picture holds none of them in
// memory.
func stageCache(ctx context.Context, single bool) (*render.Cache, error) {
	c := render.NewCache()
	if single {
		c.Limit = -1
	}
	kept, ok := ctx.Value(stagesKey{}).(stagesKept)
	if !ok {
		kept.bytes = render.DiskBytes
	}
	at := kept.at
	if at == "off" {
		return c, nil
	}
	d, err := render.OpenDisk(at, kept.bytes)
	if err != nil && at != "" {
		return nil, usageError{fmt.Errorf("--stages %s: %w", filepath.Clean(at), err)}
	}
	if err == nil { // a user without such a folder has no stages of earlier starts
		c.Disk = d
	}
	return c, nil
}
