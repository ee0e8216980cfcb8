package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/scene"
)

func main() {
	os.Exit(run(interruptible(), os.Args[1:], os.Stdout, os.Stderr))
}

// run carries out one command line and returns the exit code.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	out, notes := &door{w: stdout, gone: cancel}, &door{w: stderr, gone: cancel}
	err := execute(ctx, args, out, notes)
	out.flush()
	if err != nil {
		fmt.Fprintln(notes, err)
	}
	notes.flush()
	return exitCode(err)
}

// oldFlags are options that had another name before.
var oldFlags = map[string]string{"spp": "samples", "profile": "budget", "body": "object"}

// execute carries out one command line.
func execute(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	root := &cobra.Command{
		Use:   "catchlight",
		Short: "Renders two-layer eyes for look development: path traced, true to scale, from one scene file",
		Long: `catchlight renders two-layer eyes for look development: path traced, true to scale, from one scene file.

Optical and anatomical defaults serve pictures; they are no medical advice.`,
		SilenceUsage: true, SilenceErrors: true,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			hint := "see catchlight --help"
			if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
				hint = "did you mean " + strings.Join(near, " or ") + "?"
			}
			return usageError{fmt.Errorf("no command %q; %s", args[0], hint)}
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SuggestionsMinimumDistance = 2
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		text, _, _ := strings.Cut(err.Error(), ": strconv.")
		if name, ok := strings.CutPrefix(text, "unknown flag: --"); ok && oldFlags[name] != "" {
			text = fmt.Sprintf("--%s is now --%s", name, oldFlags[name])
		}
		return usageError{errors.New(text)}
	})
	root.AddCommand(renderCommand(), growCommand(), baseCommand(), layoutCommand(), bakeCommand(), sheetCommand(), turntableCommand(), presentCommand(), scaleCommand(), compareCommand(), adoptCommand(), inspectCommand(), watchCommand(), mergeCommand(), relightCommand(), changedCommand(), gatherCommand(), lightsCommand(), keysCommand(), exampleCommand(), checkCommand(), versionCommand(), exitCodesTopic())
	stagesFlag(root)
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	ran, err := root.ExecuteContextC(withArgs(ctx, args))
	return jobInterrupted(ran.Name(), args, err)
}

// exactly wants n arguments, each a what.
func exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == n {
			return nil
		}
		return usageError{fmt.Errorf("%s: %s, %d given; see catchlight %s --help", cmd.Name(), what, len(args), cmd.Name())}
	}
}

func keysCommand() *cobra.Command {
	old := false
	c := &cobra.Command{Use: "keys", Short: "Print every key of a scene file, with unit, range, default and its source", Args: exactly(0, "no arguments are needed"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if old {
				return scene.OldNames(cmd.OutOrStdout())
			}
			return scene.Reference(cmd.OutOrStdout())
		}}
	c.Flags().BoolVar(&old, "old", false, "print the table of keys that had another name before")
	return c
}

func exampleCommand() *cobra.Command {
	return &cobra.Command{Use: "example", Short: "Print a commented example scene", Args: exactly(0, "no arguments are needed"),
		RunE: func(cmd *cobra.Command, _ []string) error { return scene.Example(cmd.OutOrStdout()) }}
}

func versionCommand() *cobra.Command {
	return &cobra.Command{Use: "version", Short: "Print which build this is", Args: exactly(0, "no arguments are needed"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintln(cmd.OutOrStdout(), versionText())
			return err
		}}
}

// versionText says which build this is.
func versionText() string {
	version, revision, when, changed := "unknown", "", "", ""
	if info, ok := debug.ReadBuildInfo(); ok {
		version = info.Main.Version
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				revision = " " + s.Value
			case "vcs.time":
				when = " of " + s.Value
			case "vcs.modified":
				if s.Value == "true" {
					changed = ", changed since"
				}
			}
		}
	}
	return fmt.Sprintf("catchlight %s%s%s%s, %s %s/%s", version, revision, when, changed, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}
