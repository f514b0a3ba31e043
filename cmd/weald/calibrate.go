package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/table"
)

func newCalibrate() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "calibrate",
		Short: "Make calibrations: counts to mmHg, and what they can be trusted for",
		Example: `  weald calibrate fit --table leg-0.csv
  weald calibrate run -c weald.yaml --source trolley/leg --channels 0-3 --by E-01 --reference 'bench gauge'
  weald calibrate check -c weald.yaml --channel trolley/leg/0 --at 40 --by E-01`,
	}
	cmd.AddCommand(newCalibrateFit(), newCalibrateRun(), newCalibrateCheck(), newCalibrateZero(), newCalibrateStudy())
	return cmd
}

type fitFlags struct {
	table, model, direction, branches string
	held                              string
	json                              bool
	options                           fit.Options
	creep, dwell                      float64
	page, keep, channel, by           string
	reference                         string
	method                            string
	temperature                       float64
}

func newCalibrateFit() *cobra.Command {
	f := fitFlags{options: fit.Defaults()}
	cmd := &cobra.Command{
		Use:   "fit --table FILE.csv",
		Short: "Fit a table of readings at known pressures, and say what came of it",
		Long: `Reads a table with the columns reference_mmhg and raw, and optionally cycle and
direction (up or down), fits every model to it, and prints the one whose errors
at left-out levels are smallest, with its figures and every candidate's.

A model that is named is fitted to all readings at once by least squares; with
--branches, to the loading and the unloading ones apart. Coefficients turn counts
into mmHg, lowest power first. With --direction response they turn mmHg into
counts: what the sensor does, rather than what undoes it.

With --held, the readings of one pressure that was held for ten minutes or more tell
how much the channel creeps, which is then corrected by the age of a load: a table
with the columns age_s, in s since the pressure was reached, and raw.

A table that cannot be a calibration is refused, with the reason and what to do;
the status is 1. So it is where the acceptance limits reject the channel.

With --keep, a running daemon keeps what came of it in its record and rests the
channel's values on it from the next scan on. It is never changed afterwards: a
later calibration of the channel takes its place. What was refused or rejected is
kept too, with the reasons, and nothing rests on it.

With --json everything is one object on one line.`,
		Example: `  weald calibrate fit --table leg-0.csv
  weald calibrate fit --table leg-0.csv --model quadratic --json
  weald calibrate fit --table leg-0.csv --held leg-0-held.csv
  weald calibrate fit --table leg-0.csv --keep weald.yaml --channel trolley/leg/0 --by E-01 --reference 'bench gauge'
  weald calibrate fit --table cell.csv --model quadratic --direction response`,
		Args: arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error { return calibrateFit(cmd, f) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.table, "table", "", "the readings, as CSV")
	flags.StringVar(&f.model, "model", "auto", "line, quadratic, power, monotone or auto")
	flags.StringVar(&f.direction, "direction", "reading", "reading: counts to mmHg; response: mmHg to counts")
	flags.StringVar(&f.branches, "branches", "auto", "a curve for each direction: yes, no, or auto (with a named model: no)")
	flags.Float64Var(&f.options.ReferenceU, "reference-u", f.options.ReferenceU, "standard uncertainty of the gauge in mmHg; the default is that of limits of ±3 mmHg")
	flags.Float64Var(&f.options.Rail, "rail", 0, "the highest count that the channel can read; 0: not known")
	flags.Float64Var(&f.options.Noise, "noise", 0, "standard deviation of a single live reading, in counts")
	flags.Float64Var(&f.options.Drift, "drift", f.options.Drift, "how far the channel may drift until it is calibrated again, ± % of full scale")
	flags.Float64Var(&f.options.Warn, "warn", f.options.Warn, "repeatability above which there is a warning, % of full scale")
	flags.Float64Var(&f.options.Reject, "reject", f.options.Reject, "repeatability above which the channel is rejected, % of full scale")
	flags.DurationVar(&f.options.Valid, "valid", f.options.Valid, "how long the calibration holds")
	flags.Float64Var(&f.creep, "creep", 0, "growth of a reading under a load that stays, % per decade of time; 0: not corrected")
	flags.StringVar(&f.held, "held", "", "readings of one pressure that was held, as CSV; instead of --creep")
	flags.Float64Var(&f.dwell, "dwell", 30, "age of the load at each reading of the table, in s; for --creep and --held")
	flags.StringVar(&f.page, "page", "", "write a page to print and sign to this HTML file; it is not overwritten")
	flags.StringVar(&f.keep, "keep", "", "put the calibration into force at the daemon that runs with this configuration")
	flags.StringVar(&f.channel, "channel", "", "for --page and --keep: whose readings these are, BRIDGE/SOURCE/NUMBER")
	flags.StringVar(&f.by, "by", "", "for --page and --keep: a code for who took them, such as E-01; never a name")
	flags.StringVar(&f.reference, "reference", "", "for --page and --keep: the gauge")
	flags.StringVar(&f.method, "method", "", "for --page and --keep: how the pressures were applied")
	flags.Float64Var(&f.temperature, "temperature", math.NaN(), "for --page and --keep: °C")
	flags.BoolVar(&f.json, "json", false, "one JSON object")
	return cmd
}

func (f *fitFlags) check() error {
	o := &f.options
	o.Model = curve.Model(f.model)
	switch {
	case f.table == "":
		return errors.New("nothing to fit: give --table FILE.csv")
	case o.Model != fit.Auto && !slices.Contains(curve.Models, o.Model):
		return fmt.Errorf("--model is %q: want line, quadratic, power, monotone or auto", f.model)
	case f.direction != "reading" && f.direction != "response":
		return fmt.Errorf("--direction is %q: want reading or response", f.direction)
	case f.direction == "response" && !slices.Contains([]curve.Model{fit.Auto, curve.Line, curve.Quadratic}, o.Model):
		return fmt.Errorf("--direction response is for line, quadratic and auto, not %s", f.model)
	case !slices.Contains([]string{"auto", "yes", "no"}, f.branches):
		return fmt.Errorf("--branches is %q: want yes, no or auto", f.branches)
	case !(o.ReferenceU >= 0) || !(o.Noise >= 0) || !(o.Drift >= 0) || o.Valid <= 0:
		return errors.New("an uncertainty, the drift or the validity is negative")
	}
	if err := o.Limits().Check(); err != nil {
		return fmt.Errorf("--warn and --reject: %w", err)
	}
	if f.held != "" && (f.creep != 0 || f.direction == "response") {
		return errors.New("--held tells the creep of a calibration: leave --creep and --direction out")
	}
	if f.page != "" || f.keep != "" {
		if _, _, _, err := splitChannel(f.channel); err != nil {
			return err
		}
		switch {
		case f.by == "" || f.reference == "":
			return errors.New("--page and --keep need --by and --reference: who took the readings, and with which gauge")
		case f.direction == "response":
			return errors.New("--page and --keep are of a calibration, which turns counts into mmHg: leave --direction out")
		}
	}
	if f.branches != "auto" || o.Model != fit.Auto {
		branches := f.branches == "yes"
		o.Branches = &branches
	}
	if f.creep != 0 {
		o.Creep = &curve.Creep{PerDecade: f.creep / 100, Dwell: f.dwell}
	}
	return nil
}

func calibrateFit(cmd *cobra.Command, f fitFlags) error {
	if err := f.check(); err != nil {
		return usageError{err}
	}
	file, err := os.Open(f.table)
	if err != nil {
		return err
	}
	defer file.Close()
	rows, err := table.Read(f.table, file)
	if err != nil {
		return err
	}
	if f.branches == "yes" && !figures.Directed(rows) {
		return fmt.Errorf("%s: --branches yes needs readings in both directions", f.table)
	}
	if f.held != "" {
		if err := f.learn(rows); err != nil {
			return err
		}
	}
	out, err := fitted(rows, f)
	if err != nil {
		return fmt.Errorf("%s: %w", f.table, err)
	}
	if (f.page != "" || f.keep != "") && out.Calibration != nil {
		if err := f.publish(cmd, out.result.Record(rows, f.circumstances(time.Now()), f.options)); err != nil {
			return err
		}
	}
	if f.json {
		b, err := json.Marshal(out)
		if err != nil {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s\n", b)
	} else {
		out.print(cmd.OutOrStdout())
	}
	for _, r := range out.Refused {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: refused: %v\n", f.table, r)
	}
	if len(out.Refused) > 0 && f.keep != "" {
		why := fit.Refused(out.Refused)
		if err := f.tell(cmd, question{Refuse: why.Record(rows, f.circumstances(time.Now()), f.options)}); err != nil {
			return err
		}
	}
	if len(out.Refused) > 0 || out.rejected() {
		return errFound
	}
	return nil
}
