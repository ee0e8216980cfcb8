package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/cmd/live"
	"catchlight/render"
	"catchlight/render/desk"
)

type watchFlags struct {
	renderFlags
	out      string
	port     int
	host     string
	journals string
	crop     string
	pix      int
}

func watchCommand() *cobra.Command {
	var f watchFlags
	c := &cobra.Command{
		Use:   "watch SCENE",
		Short: "Change a scene on a page in the browser and see the picture follow",
		Long: `Open a page in the browser on which a scene can be changed while its picture follows, and on which each save of the scene file or
of one of its maps is seen.

The address that is printed has a key of this start; it is served to this machine alone. Over a forwarded port it works under the name
localhost with any port, for instance after: ssh -L 9000:127.0.0.1:PORT machine, as http://localhost:9000/?key=... A name of your own
in front of it, such as a proxy's, is to be given with --host.

The scene file is written only by Save on the page, and never over a change that came from elsewhere: that is a question first. Only
the changed values of its text are replaced; comments and layout stay. Steps that can be undone, and changes that were not saved, wait
for the next start, after a crash too. Snapshots lie beside the scene in NAME-snapshots. Maps that are dropped onto the page are copied
beside the scene with Save. Finish renders the picture as catchlight render does, with the same bits, into --out, over no other file.

Ctrl-C ends it.`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runWatch(cmd.Context(), args[0], &f, cmd.Flags().Changed, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := c.Flags()
	fl.StringVarP(&f.out, "out", "o", "out", "folder of pictures that are finished")
	fl.IntVar(&f.port, "port", 0, "port to listen on; 0 takes a free one")
	fl.StringVar(&f.host, "host", "", "one more name by which the page may be asked for, where something stands in front of it")
	fl.StringVar(&f.journals, "journal", "", "folder of steps for the next start; the user's folder for caches without it, off keeps none")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor")
	fl.StringVar(&f.lights, "lights", "", "light set-up whose lights take the place of the scene's own, as a first change: a name (see catchlight lights) or a file")
	fl.StringArrayVar(&f.set, "set", nil, "key=value as a first change, not saved; repeatable")
	fl.StringVar(&f.crop, "crop", "", "")
	fl.IntVar(&f.pix, "pixels", 0, "")
	fl.IntVar(&f.spp, "samples", 0, "")
	fl.BoolVar(&f.overwrite, "overwrite", false, "")
	for name := range goneFlags {
		_ = fl.MarkHidden(name) // they are there
	}
	return c
}

// goneFlags are options that the page does better.
var goneFlags = map[string]string{
	"crop":      "zoom into the picture on the page; what is seen is traced first",
	"pixels":    "choose the size on the page",
	"samples":   "the page goes on to the scene's own; change picture.samples there or with --set picture.samples=N",
	"overwrite": "nothing is written over: a finished picture takes a name that is free",
}

// check refuses what has no meaning.
func (f *watchFlags) check(path string, given func(string) bool) error {
	for _, name := range []string{"crop", "pixels", "samples", "overwrite"} {
		if given(name) {
			return usageError{fmt.Errorf("--%s: %s", name, goneFlags[name])}
		}
	}
	if f.port < 0 || f.port > 65535 {
		return usageError{fmt.Errorf("--port %d is outside [0, 65535]", f.port)}
	}
	if f.workers < 0 || f.workers > 4096 {
		return usageError{fmt.Errorf("--workers %d is outside [0, 4096]", f.workers)}
	}
	if given("host") {
		if name := strings.Trim(f.host, "[]"); net.ParseIP(name) == nil && (name == "" || strings.ContainsAny(name, ":/ @?#*") || len(name) > 253) {
			return usageError{fmt.Errorf("--host %s: give a name or a number of an address, without a port", f.host)}
		}
	}
	if info, err := os.Stat(path); err != nil {
		return fmt.Errorf("%s: there is no such file to watch: %w", path, errors.Unwrap(err))
	} else if info.IsDir() {
		return fmt.Errorf("%s: is a folder, not a scene file", path)
	}
	return nil
}

// journalFolder is where steps are kept for the next start; empty: nowhere.
func (f *watchFlags) journalFolder() (string, error) {
	switch f.journals {
	case "off":
		return "", nil
	case "":
		base, err := os.UserCacheDir()
		if err != nil {
			return "", nil // a user without such a folder
		}
		return filepath.Join(base, "catchlight", "live"), nil
	}
	return filepath.Abs(f.journals)
}

// put lays --lights and --set on the scene as a first change.
func (f *watchFlags) put(k *desk.Desk, path string) error {
	if f.lights == "" && len(f.set) == 0 {
		return nil
	}
	d, err := f.load(path, func(string) bool { return false })
	if err != nil {
		return err
	}
	lists := []string(nil)
	if f.lights != "" {
		lists = []string{"light_setup", "lights"}
	}
	return k.Take(d, f.set, lists...)
}

func runWatch(ctx context.Context, path string, f *watchFlags, given func(string) bool, stdout, stderr io.Writer) error {
	if err := f.check(path, given); err != nil {
		return err
	}
	journals, err := f.journalFolder()
	if err != nil {
		return err
	}
	k, err := desk.Open(path, desk.Options{Journals: journals})
	var unkept *desk.JournalError
	if errors.As(err, &unkept) && f.journals == "" { // a folder that nobody asked for
		fmt.Fprintln(stderr, unkept)
		journals = ""
		k, err = desk.Open(path, desk.Options{})
	}
	if errors.Is(err, desk.ErrBusy) {
		return fmt.Errorf("%s: %w", path, err)
	} else if err != nil {
		return err
	}
	cache, err := stageCache(ctx, false)
	if err == nil {
		err = f.put(k, path)
	}
	if err != nil {
		return errors.Join(err, k.Close())
	}
	s := newSession(k, func() engine { return live.New(live.Options{Workers: f.workers, Cache: cache}) })
	s.finish.dir, s.finish.cache, s.finish.o, s.finish.say = f.out, cache, render.Options{Workers: f.workers}, s.hub.say
	err = s.serve(ctx, f.port, f.host, func(address string) {
		fmt.Fprintln(stdout, address)
		if n := k.State().Restored; n > 0 {
			fmt.Fprintf(stderr, "changes of the last time are taken up: steps that can be undone: %d\n", n)
		}
	})
	if k.State().Dirty && journals != "" {
		fmt.Fprintln(stderr, "changes were not saved; the next start takes them up")
	}
	return errors.Join(err, k.Close())
}
