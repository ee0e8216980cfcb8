package main

import (
	"fmt"
	"io"
	"runtime/debug"

	"github.com/spf13/pflag"

	"catchlight/render"
	"catchlight/render/film"
	"catchlight/render/job"
)

// memoryFlag adds the flag for how much of a picture's sums stays in memory.
func memoryFlag(fl *pflag.FlagSet, gb *float64) {
	fl.Float64Var(gb, "memory", float64(film.Resident)/1e9, "GB of memory for the picture's sums; what is more waits in a file beside the picture, and no bit changes")
}

// memory checks the flag and returns bytes.
func memory(gb float64) (int64, error) {
	if !(gb >= 0.05 && gb <= 1024) {
		return 0, usageError{fmt.Errorf("--memory %g is outside [0.05, 1024] GB", gb)}
	}
	return int64(gb * 1e9), nil
}

// forecast says before a render what its sums take, where that is worth a word, and refuses what the disk has no room for.
func forecast(p *render.Prepared, o render.Options, dir string, stderr io.Writer) error {
	m := p.FilmForecast(o)
	disk := m.Disk()
	if o.Keep != nil {
		disk = 2 * m.Film // blocks are never written over before their successors are safe
		if o.Shard.Count > 1 {
			disk /= int64(o.Shard.Count)
		}
	}
	if m.Disk() > 0 {
		sparing()
	}
	if m.Passes > 0 || m.Disk() > 0 {
		fmt.Fprintln(stderr, m.String())
	}
	return job.Room(dir, disk)
}

// sparing lets the runtime give memory back soon: where much of it is in use for long, what is not in use is much too.
func sparing() {
	debug.SetGCPercent(20)
	debug.FreeOSMemory()
}
