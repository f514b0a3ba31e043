package main

import (
	"errors"
	"fmt"
	"math"
	"net/url"

	"github.com/spf13/cobra"
)

// laterFlags are what is asked of a calibrated channel later.
type laterFlags struct {
	config, channel, source, channels, by string
	at, gaugeU                            float64
	undo                                  bool
}

func newCalibrateCheck() *cobra.Command {
	f := laterFlags{}
	cmd := &cobra.Command{
		Use:   "check -c CONFIG --channel BRIDGE/SOURCE/NUMBER --at MMHG",
		Short: "Tell whether the calibration of a channel still holds, at one known pressure",
		Long: `Compares what a channel shows in the next seconds with what a gauge shows, at a running
daemon: a spot check. Come to the pressure from below. It is kept with the calibration
and never changes it. The status is 1 if the calibration does not hold.`,
		Example: `  weald calibrate check -c weald.yaml --channel trolley/leg/0 --at 40 --by E-01`,
		Args:    arguments(cobra.NoArgs),
		RunE:    func(cmd *cobra.Command, _ []string) error { return calibrateCheck(cmd, f) },
	}
	flags := cmd.Flags()
	daemonFlag(cmd, &f.config)
	flags.StringVar(&f.channel, "channel", "", "which channel, BRIDGE/SOURCE/NUMBER")
	flags.Float64Var(&f.at, "at", -1, "what the gauge shows, in mmHg")
	flags.Float64Var(&f.gaugeU, "reference-u", 0, "standard uncertainty of the gauge, in mmHg; the default is that of fit")
	flags.StringVar(&f.by, "by", "", "a code for who checks, such as E-01; never a name")
	return cmd
}

func newCalibrateZero() *cobra.Command {
	f := laterFlags{}
	cmd := &cobra.Command{
		Use:   "zero -c CONFIG --source BRIDGE/SOURCE --channels LIST",
		Short: "Take off what channels show on which nothing rests, 5 mmHg at most",
		Long: `Looks for some seconds at what channels show at a running daemon, and takes that off their
pressures from then on. Nothing may rest on the sensors. It is apart from calibration,
which it never changes; a channel that shows more than 5 mmHg at rest has to be
calibrated again. A later calibration ends it, and --undo takes the last one back.`,
		Example: `  weald calibrate zero -c weald.yaml --source trolley/leg --channels 0-3 --by E-01`,
		Args:    arguments(cobra.NoArgs),
		RunE:    func(cmd *cobra.Command, _ []string) error { return calibrateZero(cmd, f) },
	}
	flags := cmd.Flags()
	daemonFlag(cmd, &f.config)
	flags.StringVar(&f.source, "source", "", "whose channels are at rest, BRIDGE/SOURCE")
	flags.StringVar(&f.channels, "channels", "0", "those that are: numbers and ranges, such as 0-3,7")
	flags.StringVar(&f.by, "by", "", "a code for who zeroes, such as E-01; never a name")
	flags.BoolVar(&f.undo, "undo", false, "take back the last zeroing of each channel instead")
	return cmd
}

func calibrateCheck(cmd *cobra.Command, f laterFlags) error {
	bridge, source, channel, err := splitChannel(f.channel)
	switch {
	case f.config == "":
		return usageError{errWhichDaemon}
	case err != nil:
		return usageError{err}
	case f.by == "" || f.at < 0:
		return usageError{errors.New("give --at and --by: what the gauge shows, and who checks")}
	}
	at, err := pagesOf(cmd, f.config)
	if err != nil {
		return err
	}
	type kept struct{ Calibrations []struct{ ID string } }
	all, err := getJSON[kept](cmd.Context(), fmt.Sprintf("%s/api/v1/calibrations?in_force=true&bridge=%s&source=%s&channel=%d", at, url.QueryEscape(bridge), url.QueryEscape(source), channel))
	if err != nil {
		return err
	}
	if len(all.Calibrations) == 0 {
		return fmt.Errorf("%s has no calibration in force: calibrate it first", f.channel)
	}
	ask := map[string]any{"by": f.by, "reference_mmhg": f.at}
	if f.gaugeU != 0 {
		ask["reference_u_mmhg"] = f.gaugeU
	}
	type made struct {
		Text  string
		Holds bool
	}
	check, err := postJSON[made](cmd.Context(), at+"/api/v1/calibrations/"+all.Calibrations[0].ID+"/checks", ask)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %s\n", f.channel, check.Text)
	if !check.Holds {
		return errFound
	}
	return nil
}

func calibrateZero(cmd *cobra.Command, f laterFlags) error {
	bridge, source, wrong := splitSource(f.source)
	channels, err := channelList(f.channels)
	switch {
	case f.config == "":
		return usageError{errWhichDaemon}
	case wrong != nil:
		return usageError{wrong}
	case err != nil:
		return usageError{err}
	case f.by == "":
		return usageError{errors.New("give --by: who zeroes")}
	}
	at, err := pagesOf(cmd, f.config)
	if err != nil {
		return err
	}
	type made struct {
		Channels []int
		Shown    []float64 `json:"shown_mmhg"`
	}
	z, err := postJSON[made](cmd.Context(), at+"/api/v1/zeroings", map[string]any{"bridge": bridge, "source": source, "channels": channels, "by": f.by, "undo": f.undo})
	if err != nil {
		return err
	}
	for i, c := range z.Channels {
		if f.undo {
			fmt.Fprintf(cmd.OutOrStdout(), "%s/%d: the last zeroing is taken back\n", f.source, c)
		} else {
			fmt.Fprintf(cmd.OutOrStdout(), "%s/%d: %.2f mmHg are taken off\n", f.source, c, math.Round(z.Shown[i]*100)/100+0)
		}
	}
	return nil
}
