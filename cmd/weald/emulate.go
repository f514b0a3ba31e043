package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/emulate"
)

type emulateFlags struct {
	scenario string
	source   uint16
	seed     uint64
	speed    float64
	pty, out string
	damage   emulate.Damage

	recording recordingFlags
	many      placesFlags
	lasting   time.Duration
}

func newEmulate() *cobra.Command {
	f := emulateFlags{speed: 1, seed: 1}
	var list strings.Builder
	for _, s := range emulate.Scenarios() {
		fmt.Fprintf(&list, "  %-12s %s\n", s.Name, s.About)
	}
	cmd := &cobra.Command{
		Use:   "emulate (SCENARIO | --recording FILE) (--pty PATH | --out FILE | --places N --write-config FILE)",
		Short: "Play an invented scenario or a recording as a bridge",
		Long: `Plays a scenario, or the rows of a recording, as a bridge would send them, over a
pseudo-terminal that weald can read like a serial port, or into a file. The
scenarios, all invented:

` + list.String() + `
With --places it plays a scenario at as many places as it is told, over TCP and MQTT,
and writes the configuration of a daemon that hears them: for finding out how many a
machine carries.`,
		Example: `  weald emulate bed --pty ./bridge
  weald emulate wrap --out leg.txt --speed 0 --lasting 10m
  weald emulate --recording night.txt --mat 2048 --pty ./bridge --speed 10
  weald emulate --recording k07.csv -c weald.yaml --bridge logger --send line --out -
  weald emulate bed --places 200 --rate 1 --tcp 127.0.0.1:4000 --write-config ward.yaml
  weald emulate wrap --places 50 --mqtt 127.0.0.1:1883 --write-config legs.yaml`,
		Args: arguments(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if (len(args) == 0) == (f.recording.file == "") {
				return usageError{errors.New("emulate needs either a scenario or --recording")}
			}
			if len(args) == 1 {
				f.scenario = args[0]
			}
			if err := f.unused(cmd); err != nil {
				return err
			}
			if f.plays(cmd) == playsPlaces {
				return f.many.play(cmd, f.scenario, f.speed, f.seed)
			}
			return playEmulated(cmd, f)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.pty, "pty", "", "make a pseudo-terminal and a link to it at this path")
	flags.StringVar(&f.out, "out", "", "write the bytes to a file or a port, - for standard output")
	flags.Uint16Var(&f.source, "source", 0, "number of the source in its frames")
	flags.Uint64Var(&f.seed, "seed", f.seed, "equal seeds give equal readings")
	flags.Float64Var(&f.speed, "speed", f.speed, "how many times as fast as life; 0 for as fast as it goes")
	flags.DurationVar(&f.lasting, "lasting", 0, "end after so much of the scenario's time; 0 for no end")
	flags.Float64Var(&f.damage.Drop, "drop", 0, "share of frames that never leave")
	flags.Float64Var(&f.damage.Repeat, "repeat", 0, "share of frames that are sent twice")
	flags.Float64Var(&f.damage.Flip, "flip", 0, "share of frames with one bit changed")
	flags.Float64Var(&f.damage.Noise, "noise", 0, "share of frames with noise before them")
	flags.DurationVar(&f.damage.UnplugEvery, "unplug-every", 0, "pull the plug of the pseudo-terminal this often")
	flags.DurationVar(&f.damage.UnplugFor, "unplug-for", 0, "for this long")
	flags.StringVar(&f.recording.file, "recording", "", "play the rows of a text file")
	flags.IntVar(&f.recording.mat, "mat", 0, "a row is one scan of a mat of so many cells, parted by tabs, one a second")
	flags.StringVarP(&f.recording.config, "config", "c", "", "a configuration that describes the columns")
	flags.StringVar(&f.recording.bridge, "bridge", "", "the bridge of it that does")
	f.many.add(cmd)
	flags.StringVar(&f.recording.send, "send", "packed", "how a recording is sent: line or packed")
	flags.Float64Var(&f.recording.scale, "scale", 1, "what a recording's readings are multiplied by, then rounded")
	return cmd
}

func playEmulated(cmd *cobra.Command, f emulateFlags) error {
	player := &emulate.Player{Speed: f.speed, Firmware: "emulated-1", Damage: f.damage, Seed: f.seed}
	var recording *emulate.Recording
	if f.scenario != "" {
		scenario, err := emulate.Named(f.scenario)
		if err != nil {
			return usageError{err}
		}
		player.Stream, player.Encoding = scenario.New(f.source, f.seed), scenario.Encoding
	} else {
		var file *os.File
		var err error
		if recording, player.Encoding, file, err = f.recording.stream(cmd); err != nil {
			return err
		}
		defer file.Close()
		player.Stream = recording
	}
	if f.lasting > 0 {
		player.Stream = &shortened{player.Stream, f.lasting}
	}
	w, err := f.open(cmd.OutOrStdout(), cmd.ErrOrStderr())
	if err != nil {
		return err
	}
	defer w.Close()
	if err := player.Play(cmd.Context(), w); err != nil || recording == nil {
		return err
	}
	switch text, any := recording.Complaint(); {
	case !any:
		return fmt.Errorf("%s: %s", f.recording.file, text)
	case text != "":
		fmt.Fprintf(cmd.ErrOrStderr(), "weald: %s: %s\n", f.recording.file, text)
	}
	return nil
}

// open opens where the bytes go.
func (f *emulateFlags) open(stdout, stderr io.Writer) (io.WriteCloser, error) {
	switch {
	case (f.pty == "") == (f.out == ""):
		return nil, usageError{errors.New("emulate needs one of --pty and --out")}
	case f.pty != "":
		port, err := emulate.NewPort(f.pty)
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(stderr, "weald: playing on %s\n", port.Path())
		return port, nil
	case f.out == "-":
		return nopCloser{stdout}, nil
	}
	return os.OpenFile(f.out, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
}

// A shortened stream ends early.
type shortened struct {
	emulate.Stream
	lasting time.Duration
}

func (s *shortened) Next(scan *emulate.Scan) error {
	if err := s.Stream.Next(scan); err != nil {
		return err
	}
	if scan.At >= s.lasting {
		return io.EOF
	}
	return nil
}

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }
