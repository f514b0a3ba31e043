package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"weald/config/figures"
)

func newFigures() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "figures [WORD]",
		Short: "Print every number, default and model with its source",
		Long: `Prints every default of the configuration and of options, every number by which
readings are judged, and every published model, with what it is for and where it is
from; with a word, those that have it. A source says "from memory" where it was not
read, "common practice, no source" for a habit of the trade, and "ours" with the
reason for what was chosen for this program. None is a recommendation: local policy
decides.`,
		Example: "  weald figures\n  weald figures relief\n  weald figures memory --json",
		Args:    arguments(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			list := figures.All()
			if len(args) > 0 {
				if list = having(list, args[0]); len(list) == 0 {
					return usageError{errors.New("no figure has " + args[0])}
				}
			}
			if asJSON {
				return figuresAsJSON(cmd.OutOrStdout(), list)
			}
			return printFigures(cmd.OutOrStdout(), list)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one object a line")
	return cmd
}

// having returns the figures that have a word anywhere, in whatever case.
func having(list []figures.Figure, word string) (out []figures.Figure) {
	for _, f := range list {
		all := strings.ToLower(strings.Join([]string{f.Part, f.Name, f.Value, f.For, string(f.Mark), f.Source}, "\n"))
		if strings.Contains(all, strings.ToLower(word)) {
			out = append(out, f)
		}
	}
	return out
}

func printFigures(w io.Writer, list []figures.Figure) error {
	var b strings.Builder
	part := ""
	for _, f := range list {
		if f.Part != part {
			part = f.Part
			fmt.Fprintf(&b, "\n%s\n", part)
		}
		fmt.Fprintf(&b, "  %s: %s\n      %s\n      %s\n", f.Name, f.Value, f.For, f.From())
	}
	_, err := io.WriteString(w, strings.TrimPrefix(b.String(), "\n"))
	return err
}

func figuresAsJSON(w io.Writer, list []figures.Figure) error {
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	for _, f := range list {
		if err := out.Encode(f); err != nil {
			return err
		}
	}
	return nil
}
