package render

import (
	"context"

	"catchlight/render/film"
	prep "catchlight/render/prepare"
	"catchlight/scene"
)

// Progress hears how work goes on.
type Progress = prep.Progress

// Cache keeps the stages of Prepare, and what the raster look bakes, by what they were made from.
type Cache = prep.Cache

// NewCache returns an empty cache.
func NewCache() *Cache { return prep.NewCache() }

// Disk keeps stages of Prepare in a folder for the next start; a Cache has one or none.
type Disk = prep.Disk

// DiskBytes is what such a folder may take unless someone says otherwise.
const DiskBytes = prep.DiskBytes

// OwnFolder is the folder for stages within one that holds other files.
const OwnFolder = prep.OwnFolder

// OpenDisk makes the folder where it is not there yet; "" stands for a place of its own in the user's folder for caches. In a
// folder that holds other files it is OwnFolder of it.
func OpenDisk(folder string, limit int64) (*Disk, error) { return prep.OpenDisk(folder, limit) }

// Stage says what a stage of Prepare cost, or where its result came from.
type Stage = prep.Stage

// Noter is a Progress that also hears at once of what can't wait for the end, such as a save that failed.
type Noter interface{ Note(text string) }

// Options say how to work; but for Rough they never change the picture.
type Options struct {
	Workers  int // 0 takes one per processor
	Progress Progress
	Cache    *Cache // keeps what overrides leave unchanged of Prepare and of the raster look; nil builds all anew
	Keep     *Keep  // saves the film as it goes, and takes up what is saved there
	Rough    bool   // Prepare takes rough stand-ins from the cache for what takes long, such as a pupil of another size; the picture is another one
	Apart    bool   // keeps each light apart for Run.Weigh: the same samples, but in two sums a pixel instead of eight
	Shard    Shard  // renders only a part of the samples, for a film to be merged with others

	// FilmBytes is how much of the picture's sums stays in memory, 0 for film.Resident; what is more lies in a file without a name in
	// the folder Scratch (that of temporary files without it), or in the kept one.
	FilmBytes int64
	Scratch   string
}

func (o Options) resident() int64 {
	if o.FilmBytes > 0 {
		return o.FilmBytes
	}
	return film.Resident
}

func (o Options) preparing() prep.Options {
	return prep.Options{Workers: o.Workers, Progress: o.Progress, Cache: o.Cache, Rough: o.Rough}
}

// Count is how many goroutines work.
func (o Options) Count() int { return o.workers() }

func (o Options) workers() int { return o.preparing().WorkerCount() }

func (o Options) phase(name string) { o.preparing().Phase(name) }

// note says something at once.
func (o Options) note(text string) {
	if n, ok := o.Progress.(Noter); ok {
		n.Note(text)
	}
}

// Prepared is a scene ready to render.
type Prepared struct{ prep.Prepared }

// Prepare makes everything that rendering reads: meshes, hierarchies, maps, lights, camera. It reports all that is
// wrong in one go.
func Prepare(ctx context.Context, d *scene.Description, o Options) (*Prepared, error) {
	p, err := prep.Scene(ctx, d, o.preparing())
	if err != nil {
		return nil, err
	}
	return &Prepared{*p}, nil
}
