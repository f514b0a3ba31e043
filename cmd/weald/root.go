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
		fmt.Fprintf(stderr, "weald: %s\nSee '%s --help'.\n", harmless(err.Error()), cmd.CommandPath())
		return exitUsage
	}
	fmt.Fprintf(stderr, "weald: %s\n", harmless(err.Error()))
	return exitFound
}

// harmless keeps text from outside, such as the name of a file, from steering the
// terminal that it is printed on. Lines stay.
func harmless(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return r
		}
		return still(r)
	}, s)
}

// still is a rune that moves nothing: neither the cursor nor the direction of reading.
func still(r rune) rune {
	if r < ' ' || r >= 0x7f && r < 0xa0 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
		return '?'
	}
	return r
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
		Example: `  weald demo
  weald check weald.yaml
  weald run -c weald.yaml`,
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	root.AddCommand(newRun(), newDemo(), newCheck(), newPorts(), newEmulate(), newCalibrate(), newRehearse(), newImport(),
		newExport(), newReport(), newBackup(), newRestore(), newDoctor(), newNotify(), newSeat(), newTLS(), newCluster(), newAccount(),
		newAudit(), newPerson(), newFigures(), newVersion())
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
