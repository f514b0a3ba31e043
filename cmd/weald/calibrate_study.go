package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"weald/ingest/calib/study"
)

func newCalibrateStudy() *cobra.Command {
	var chamber string
	var sites int
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "study",
		Short: "Say how much branches, creep correction and averaging reduce the error",
		Long: `Handles the same simulated sensors in several ways, and prints the error of each:
one curve for both directions or a curve for each, with and without a correction for
creep, one sensor or the mean of four. The sensors have noise, a loop, creep, and
levels and cycles that do not repeat; they are calibrated, then loaded up and down
for half a minute to half an hour. What is printed is the same each time.

With --chamber it does so on a recording of real cells in a pressure chamber that
goes up and down: a CSV with a line of names, and columns of the time in s, the
pressure in kPa and one for each cell. Every other two seconds in which the chamber
stands still are fitted, and the others judged. Cells that cannot be calibrated are
named, with the reason.

Covered is the share of the truth that lay in the stated 95 % interval: where it is
less than 93 %, the uncertainty of that way of handling sensors is not honest.`,
		Example: `  weald calibrate study
  weald calibrate study --chamber cells.csv`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if sites < 1 {
				return usageError{fmt.Errorf("--sites is %d: want 1 or more", sites)}
			}
			var results []study.Result
			var err error
			if chamber == "" {
				results, err = study.Simulated(study.Usual, sites)
			} else {
				results, err = studyChamber(chamber, cmd.ErrOrStderr())
			}
			if err != nil {
				return err
			}
			return printStudy(cmd.OutOrStdout(), results, asJSON)
		},
	}
	cmd.Flags().StringVar(&chamber, "chamber", "", "a recording of cells in a pressure chamber, as CSV, instead of simulated sensors")
	cmd.Flags().IntVar(&sites, "sites", 40, "how many simulated sites to handle in each way")
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object for each way, on a line of its own")
	return cmd
}

func studyChamber(path string, warn io.Writer) ([]study.Result, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	c, err := study.ReadChamber(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	results, refused, err := c.Study()
	for _, name := range slices.Sorted(maps.Keys(refused)) {
		fmt.Fprintf(warn, "%s: %s is left out: %v\n", path, name, refused[name])
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return results, nil
}

func printStudy(w io.Writer, results []study.Result, asJSON bool) error {
	if asJSON {
		out := json.NewEncoder(w)
		for i := range results {
			if err := out.Encode(&results[i]); err != nil {
				return err
			}
		}
		return nil
	}
	fmt.Fprintf(w, "%-42s %12s %13s %8s\n", "", "error, mmHg", "of the first", "covered")
	for _, r := range results {
		covered := "–"
		if r.Covered != nil {
			covered = fmt.Sprintf("%.0f %%", *r.Covered)
		}
		digits := 0
		if r.Error < 10 {
			digits = 2
		}
		fmt.Fprintf(w, "%-42s %12.*f %11.0f %% %8s\n", r.Way, digits, r.Error, r.Share, covered)
	}
	return nil
}
