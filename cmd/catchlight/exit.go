package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render/job"
	"catchlight/scene"
)

// The exit codes. exits says what they mean.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitChanged     = 3
	exitFaults      = 4
	exitWarned      = 5
	exitInterrupted = 130
)

// exits is the table of exit codes, for the program's help and its tests.
var exits = []struct {
	code  int
	means string
}{
	{exitDone, "done: all that was asked for is written"},
	{exitFailed, "failed: a file could not be read or written, a picture is unsound, or the work broke off"},
	{exitUsage, "nothing was begun: the command line or the scene has a mistake, or something would have been written over"},
	{exitChanged, "changed: catchlight changed found that pictures are not what they were; all that was asked for is written"},
	{exitFaults, "faults: catchlight inspect found an error; all that was asked for is written"},
	{exitWarned, "warned: catchlight inspect --gate warning found a warning and no error; all that was asked for is written"},
	{exitInterrupted, "interrupted: by Ctrl-C, an end signal, a closed terminal or a closed pipe; what there is of it is written"},
}

// usageError marks what is wrong with the arguments.
type usageError struct{ error }

var errInterrupted = errors.New("interrupted")

// exitCode returns the code for what a command returned.
func exitCode(err error) int {
	var usage usageError
	var problems scene.Problems
	var taken *job.TakenError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errInterrupted):
		return exitInterrupted
	case errors.Is(err, errChanged):
		return exitChanged
	case errors.Is(err, errFaults):
		return exitFaults
	case errors.Is(err, errWarned):
		return exitWarned
	case errors.As(err, &usage), errors.As(err, &problems), errors.As(err, &taken):
		return exitUsage
	}
	return exitFailed
}

// exitCodesTopic is a page of help without a command.
func exitCodesTopic() *cobra.Command {
	var s strings.Builder
	s.WriteString("All commands end with one of these codes:\n\n")
	for _, e := range exits {
		fmt.Fprintf(&s, "  %3d  %s\n", e.code, e.means)
	}
	s.WriteString("\nA second Ctrl-C, or any other signal, ends the program at once with the system's own code.")
	return &cobra.Command{Use: "exit-codes", Short: "What the exit codes mean", Long: s.String()}
}
