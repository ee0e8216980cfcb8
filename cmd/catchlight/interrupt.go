package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"catchlight/render"
)

// interruptible returns a context that ends with the first signal to end: Ctrl-C, a request to end, or a terminal that was
// closed, unless the program was told to outlive it. After that, a second Ctrl-C ends the program at once; a second sign of a
// closed terminal does not. A pipe that nobody reads is no end by itself: the door notices it.
func interruptible() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	ends := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		ends = append(ends, syscall.SIGHUP)
	}
	came := make(chan os.Signal, 1)
	signal.Notify(came, ends...)
	signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE)
	go func() {
		<-came
		cancel()
		signal.Reset(os.Interrupt, syscall.SIGTERM)
	}()
	return ctx
}

type argsKey struct{}

// withArgs keeps the command line, to say how to go on.
func withArgs(ctx context.Context, args []string) context.Context {
	return context.WithValue(ctx, argsKey{}, args)
}

// interrupted says what is left of a render that was interrupted, and the command that goes on with it.
func (f *renderFlags) interrupted(ctx context.Context, keep *render.Keep, err error) error {
	var unsaved *render.SaveError
	args, _ := ctx.Value(argsKey{}).([]string)
	switch {
	case f.look == "raster":
		return errInterrupted
	case errors.As(err, &unsaved):
		return fmt.Errorf("%w; there is nothing to go on from: %w", errInterrupted, unsaved)
	case keep == nil:
		return fmt.Errorf("%w; with --keep it could go on", errInterrupted)
	}
	args = slices.DeleteFunc(slices.Clone(args), func(a string) bool { return a == "--keep" || a == "--keep=true" || a == "--continue" })
	return fmt.Errorf("%w; go on with: %s", errInterrupted, commandLine(append(args, "--continue")))
}

// jobs are the commands whose folders are taken up again by the same command.
var jobs = []string{"sheet", "turntable", "compare"}

// jobInterrupted adds to an interrupt of a job how it goes on.
func jobInterrupted(name string, args []string, err error) error {
	if err == errInterrupted && slices.Contains(jobs, name) {
		return fmt.Errorf("%w; go on with: %s", err, commandLine(args))
	}
	return err
}

// commandLine writes arguments as a POSIX shell reads them.
func commandLine(args []string) string {
	out := []string{"catchlight"}
	for _, a := range args {
		if a == "" || strings.ContainsFunc(a, func(r rune) bool {
			return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("_-./=,:+@%", r))
		}) {
			a = "'" + strings.ReplaceAll(a, "'", `'\''`) + "'"
		}
		out = append(out, a)
	}
	return strings.Join(out, " ")
}
