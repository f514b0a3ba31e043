package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"weald/ingest/calib/fit"
)

type leadFlags struct {
	config, source, channels string
	wish                     leadWish
	referenceU               float64
	keep, resume             bool
}

// leadWish is what the daemon is asked to lead; see the API's beginning of a run.
type leadWish struct {
	Bridge    string  `json:"bridge"`
	Source    string  `json:"source"`
	Channels  []int   `json:"channels"`
	By        string  `json:"by"`
	Reference string  `json:"reference"`
	Lowest    float64 `json:"lowest_mmhg"`
	Highest   float64 `json:"highest_mmhg"`
	Step      float64 `json:"step_mmhg"`
	Cycles    int     `json:"cycles"`
	Dwell     float64 `json:"dwell_s"`
	Hold      float64 `json:"hold_s"`
	Keyed     bool    `json:"keyed"`
	Rail      float64 `json:"rail"`

	ReferenceU *float64 `json:"reference_u_mmhg,omitempty"`
	Warn       float64  `json:"warn_percent_fs"`
	Reject     float64  `json:"reject_percent_fs"`
}

func newCalibrateRun() *cobra.Command {
	f := leadFlags{}
	cmd := &cobra.Command{
		Use:   "run -c CONFIG --source BRIDGE/SOURCE --channels LIST",
		Short: "Calibrate channels under a cuff, live at a running daemon",
		Long: `Leads through the pressures of a calibration, as the page Calibrate does: says where
to go, reads each pressure once it has moved there and settled, and says what came of
every channel.

Enter says that the pressure is there. A number is what the gauge showed at the
pressure that was read last, in mmHg, or with its unit, such as 5.3 kPa. "again" reads that one anew, "finish" fits what has been
read so far, "leave" throws away what was read.

With --keep what was accepted is put into force in the end. Without it, and if the
command is stopped or fails on its way, the calibration stays at the daemon: --resume
takes it up again, and so does the page Calibrate. The status is 1 if any channel was
refused or rejected.`,
		Example: `  weald calibrate run -c weald.yaml --source trolley/leg --channels 0-3 --by E-01 --reference 'bench gauge'`,
		Args:    arguments(cobra.NoArgs),
		RunE:    func(cmd *cobra.Command, _ []string) error { return calibrateRun(cmd, f) },
	}
	flags := cmd.Flags()
	daemonFlag(cmd, &f.config)
	flags.StringVar(&f.source, "source", "", "whose channels lie under the cuff, BRIDGE/SOURCE")
	flags.StringVar(&f.channels, "channels", "0", "those that do: numbers and ranges, such as 0-3,7")
	flags.StringVar(&f.wish.By, "by", "", "a code for who calibrates, such as E-01; never a name")
	flags.StringVar(&f.wish.Reference, "reference", "", "the gauge")
	flags.Float64Var(&f.wish.Lowest, "lowest", 0, "lowest pressure in mmHg")
	flags.Float64Var(&f.wish.Highest, "up-to", 100, "highest pressure in mmHg")
	flags.Float64Var(&f.wish.Step, "step", 10, "from one pressure to the next, in mmHg")
	flags.IntVar(&f.wish.Cycles, "cycles", 3, "times up and down")
	flags.Float64Var(&f.wish.Dwell, "dwell", 20, "how long each pressure is held, in s")
	flags.Float64Var(&f.wish.Hold, "hold", 0, "how long the highest pressure is held once more at the end, to learn creep, in s: 600 is usual, 0 for not at all")
	flags.BoolVar(&f.wish.Keyed, "keyed", false, "wait for Enter at every pressure")
	flags.Float64Var(&f.referenceU, "reference-u", 0, "standard uncertainty of the gauge, in mmHg; the default is that of fit")
	flags.Float64Var(&f.wish.Rail, "rail", 0, "the highest count that a channel can read; 0 for not known")
	usual := fit.Defaults()
	flags.Float64Var(&f.wish.Warn, "warn", usual.Warn, "repeatability above which there is a warning, % of full scale")
	flags.Float64Var(&f.wish.Reject, "reject", usual.Reject, "repeatability above which a channel is rejected, % of full scale")
	flags.BoolVar(&f.keep, "keep", false, "put what was accepted into force")
	flags.BoolVar(&f.resume, "resume", false, "go on with the calibration that is at the daemon, instead of beginning one")
	return cmd
}

func (f *leadFlags) check() (err error) {
	bridge, source, wrong := splitSource(f.source)
	switch {
	case f.config == "":
		return errWhichDaemon
	case f.resume:
		return nil // the daemon knows the rest
	case wrong != nil:
		return wrong
	case f.wish.By == "" || f.wish.Reference == "":
		return errors.New("give --by and --reference: who calibrates, and with which gauge")
	}
	f.wish.Bridge, f.wish.Source = bridge, source
	if f.referenceU != 0 {
		f.wish.ReferenceU = &f.referenceU
	}
	f.wish.Channels, err = channelList(f.channels)
	return err
}

// channelList reads "0-3,7".
func channelList(text string) (out []int, err error) {
	for part := range strings.SplitSeq(text, ",") {
		from, to, ranged := strings.Cut(strings.TrimSpace(part), "-")
		low, err := strconv.Atoi(from)
		high := low
		if err == nil && ranged {
			high, err = strconv.Atoi(to)
		}
		if err != nil || low < 0 || high < low || high-low > 1<<16 {
			return nil, fmt.Errorf("--channels is %q: want numbers and ranges, such as 0-3,7", text)
		}
		for c := low; c <= high; c++ {
			out = append(out, c)
		}
	}
	return out, nil
}

func calibrateRun(cmd *cobra.Command, f leadFlags) error {
	if err := f.check(); err != nil {
		return usageError{err}
	}
	at, err := pagesOf(cmd, f.config)
	if err != nil {
		return err
	}
	d := &leader{at: at + "/api/v1/calibrations/run", out: cmd.OutOrStdout(), said: -1, resume: "weald calibrate run -c " + f.config + " --resume"}
	lines := make(chan string)
	go func() { // ends with the input, or with the program
		defer close(lines)
		in := bufio.NewScanner(cmd.InOrStdin())
		for in.Scan() {
			select {
			case lines <- in.Text():
			case <-cmd.Context().Done():
				return
			}
		}
	}()
	return d.lead(cmd.Context(), &f, lines)
}

var errWhichDaemon = errors.New("which daemon? Give -c with the configuration that it runs with")

// daemonFlag is how a command is told which daemon to ask.
func daemonFlag(cmd *cobra.Command, config *string) {
	cmd.Flags().StringVarP(config, "config", "c", "", "the configuration that the daemon runs with")
}

// pagesOf returns where the daemon that runs with a configuration has its pages. Where
// there are accounts, the command asks as somebody who may read the record, which
// shows that the machine is theirs.
func pagesOf(cmd *cobra.Command, config string) (string, error) {
	c, err := load(cmd, config)
	if err != nil {
		return "", err
	}
	if _, port, err := net.SplitHostPort(c.Listen); err == nil && port == "0" {
		return "", fmt.Errorf("%s: its pages listen on any free port, which nobody else can know: give web.listen a port", config)
	}
	if c.Accounts {
		var key string
		if err := askDaemon(cmd.Context(), c.Data, question{Console: true}, func(l answerLine) { key = l.Key }); err != nil {
			return "", err
		}
		cmd.SetContext(context.WithValue(cmd.Context(), asKey{}, key))
	}
	return localPages(c)
}
