package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
)

// The exit statuses. A problem that the work found, such as an invalid file, is
// not a failure of the program; both are 1, and stderr says which.
const (
	exitDone  = 0
	exitFound = 1
	exitUsage = 2
)

// errFound ends a command that has already said what it found.
var errFound = errors.New("found problems")

// A usageError is a command line that cannot be meant.
type usageError struct{ error }

// run is the program: everything that it needs of the world is an argument.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	cmd, err := root.ExecuteContextC(ctx)
	var usage usageError
	switch {
	case err == nil, errors.Is(err, context.Canceled) && ctx.Err() != nil:
		return exitDone
	case errors.Is(err, errFound):
		return exitFound
	case errors.As(err, &usage), strings.HasPrefix(err.Error(), "unknown command"):
		fmt.Fprintf(stderr, "weald: %v\nSee '%s --help'.\n", err, cmd.CommandPath())
		return exitUsage
	}
	fmt.Fprintf(stderr, "weald: %v\n", err)
	return exitFound
}

const caution = `A research and training aid: not a medical device, not an alarm system, and not a
substitute for looking at the skin. Local policy and the responsible clinician
decide.`

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "weald",
		Short: "Watch the pressure between a body and what presses on it",
		Long: `weald reads thin pressure sensors under a compression wrap, in a mattress overlay
or in a seat cushion, turns their counts into millimetres of mercury, judges for
how long the pressure has been where it should not be, and shows it in a browser.

` + caution,
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(newRun(), newDemo(), newCheck(), newPorts(), newEmulate(), newCalibrate(), newRehearse(), newImport(),
		newExport(), newReport(), newBackup(), newRestore(), newDoctor(), newNotify(), newSeat(), newTLS(), newAccount(),
		newAudit(), newPerson(), newVersion())
	return root
}

// arguments turns a wrong number of arguments into wrong usage.
func arguments(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			return usageError{err}
		}
		return nil
	}
}
