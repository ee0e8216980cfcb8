// Command catchlight renders eyes from scene files. Run it without arguments for help.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"catchlight/scene"
)

// Exit codes: 0 done, 1 failed, 2 bad usage or bad scene, 130 interrupted.
const (
	exitFailed      = 1
	exitUsage       = 2
	exitInterrupted = 130
)

// usageError marks what is wrong with the arguments.
type usageError struct{ error }

var errInterrupted = errors.New("interrupted")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	go func() {
		// After the first signal the default action comes back: a second one ends the program at once.
		<-ctx.Done()
		stop()
	}()
	root := &cobra.Command{
		Use:   "catchlight",
		Short: "Renders two-layer eyes for look development: path traced, true to scale, from one scene file",
		Long: `catchlight renders two-layer eyes for look development: path traced, true to scale, from one scene file.

Optical and anatomical defaults serve pictures; they are no medical advice.`,
		SilenceUsage: true, SilenceErrors: true,
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(renderCommand(), keysCommand(), exampleCommand(), checkCommand())
	err := root.ExecuteContext(ctx)
	if err == nil {
		return
	}
	fmt.Fprintln(os.Stderr, err)
	var usage usageError
	var problems scene.Problems
	switch {
	case errors.Is(err, errInterrupted):
		os.Exit(exitInterrupted)
	case errors.As(err, &usage), errors.As(err, &problems):
		os.Exit(exitUsage)
	}
	os.Exit(exitFailed)
}

func oneScene(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usageError{fmt.Errorf("%s: one scene file is needed, %d given; see catchlight %s --help", cmd.Name(), len(args), cmd.Name())}
	}
	return nil
}

func keysCommand() *cobra.Command {
	return &cobra.Command{Use: "keys", Short: "Print every key of a scene file, with unit, range and default", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return scene.Reference(cmd.OutOrStdout()) }}
}

func exampleCommand() *cobra.Command {
	return &cobra.Command{Use: "example", Short: "Print a commented example scene", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return scene.Example(cmd.OutOrStdout()) }}
}
