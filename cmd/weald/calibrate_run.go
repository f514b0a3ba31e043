package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

type leadFlags struct {
	config, source, channels string
	wish                     leadWish
	keep                     bool
}

// leadWish is what the daemon is asked to lead; see the API's beginning of a run.
type leadWish struct {
	Bridge    string  `json:"bridge"`
	Source    string  `json:"source"`
	Channels  []int   `json:"channels"`
	By        string  `json:"by"`
	Reference string  `json:"reference"`
	Highest   float64 `json:"highest_mmhg"`
	Step      float64 `json:"step_mmhg"`
	Cycles    int     `json:"cycles"`
	Dwell     float64 `json:"dwell_s"`
	Keyed     bool    `json:"keyed"`
}

// led is how the calibration goes on, as far as a terminal shows it.
type led struct {
	Runs []struct {
		Levels []struct {
			Cycle     int
			Direction string
			Reference float64 `json:"reference_mmhg"`
			Raw       []*float64
		}
		Next     int
		Finished bool
		Channels []struct {
			Channel  int
			State    string
			Reasons  []string
			HighestU *float64 `json:"u_highest_mmhg"`
			Kept     string
		}
	}
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
pressure that was read last. "again" reads that one anew, "finish" fits what has been
read so far, "leave" ends it; so does the end of the input, if pressures wait for a
key.

With --keep what was accepted is put into force in the end. The status is 1 if any
channel was refused or rejected.`,
		Example: `  weald calibrate run -c weald.yaml --source trolley/leg --channels 0-3 --by E-01 --reference 'bench gauge'`,
		Args:    arguments(cobra.NoArgs),
		RunE:    func(cmd *cobra.Command, _ []string) error { return calibrateRun(cmd, f) },
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.config, "config", "c", "", "the configuration that the daemon runs with")
	flags.StringVar(&f.source, "source", "", "whose channels lie under the cuff, BRIDGE/SOURCE")
	flags.StringVar(&f.channels, "channels", "0", "those that do: numbers and ranges, such as 0-3,7")
	flags.StringVar(&f.wish.By, "by", "", "a code for who calibrates, such as E-01; never a name")
	flags.StringVar(&f.wish.Reference, "reference", "", "the gauge")
	flags.Float64Var(&f.wish.Highest, "up-to", 100, "highest pressure in mmHg")
	flags.Float64Var(&f.wish.Step, "step", 10, "from one pressure to the next, in mmHg")
	flags.IntVar(&f.wish.Cycles, "cycles", 3, "times up and down")
	flags.Float64Var(&f.wish.Dwell, "dwell", 20, "how long each pressure is held, in s")
	flags.BoolVar(&f.wish.Keyed, "keyed", false, "wait for Enter at every pressure")
	flags.BoolVar(&f.keep, "keep", false, "put what was accepted into force")
	return cmd
}

func (f *leadFlags) check() (err error) {
	bridge, source, ok := strings.Cut(f.source, "/")
	switch {
	case f.config == "":
		return errors.New("which daemon? Give -c with the configuration that it runs with")
	case !ok || bridge == "" || source == "" || strings.Contains(source, "/"):
		return fmt.Errorf("--source is %q: want BRIDGE/SOURCE, such as trolley/leg", f.source)
	case f.wish.By == "" || f.wish.Reference == "":
		return errors.New("give --by and --reference: who calibrates, and with which gauge")
	}
	f.wish.Bridge, f.wish.Source = bridge, source
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

const (
	lookEvery   = 500 * time.Millisecond // a terminal asks so often how a calibration stands
	leaveWithin = 500 * time.Millisecond // of ending
)

func calibrateRun(cmd *cobra.Command, f leadFlags) error {
	if err := f.check(); err != nil {
		return usageError{err}
	}
	c, err := load(cmd, f.config)
	if err != nil {
		return err
	}
	if _, port, err := net.SplitHostPort(c.Listen); err == nil && port == "0" {
		return fmt.Errorf("%s: its pages listen on any free port, which nobody else can know: give web.listen a port", f.config)
	}
	d := &leader{at: "http://" + c.Listen + "/api/v1/calibrations/run", out: cmd.OutOrStdout(), said: -1}
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

// A leader talks with the daemon on behalf of a terminal.
type leader struct {
	at   string
	out  io.Writer
	said int // the level that was named last
}

func (d *leader) lead(ctx context.Context, f *leadFlags, lines <-chan string) error {
	now, err := d.post(ctx, "", f.wish)
	if err != nil {
		return err
	}
	defer func() { // whoever ends this does not leave the daemon waiting
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), leaveWithin)
		defer cancel()
		_, _ = d.post(end, "/leave", struct{}{})
	}()
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		if len(now.Runs) == 0 {
			return errors.New("the calibration was ended by somebody else")
		}
		d.say(now)
		if now.Runs[0].Finished {
			return d.end(ctx, f, now)
		}
		var next led
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case line, more := <-lines:
			if !more {
				if lines = nil; f.wish.Keyed {
					return errors.New("the input ended before the calibration did")
				}
				continue
			}
			if line = strings.TrimSpace(line); line == "leave" {
				return nil
			}
			if next, err = d.typed(ctx, line, now); err != nil {
				fmt.Fprintln(d.out, err)
				continue
			}
		case <-tick.C:
			if next, err = getJSON[led](ctx, d.at); err != nil {
				return err
			}
		}
		now = next
	}
}

// typed does what somebody typed.
func (d *leader) typed(ctx context.Context, line string, now led) (led, error) {
	switch line {
	case "":
		return d.post(ctx, "/ready", struct{}{})
	case "again":
		d.said = -1
		return d.post(ctx, "/again", struct{}{})
	case "finish":
		return d.post(ctx, "/finish", struct{}{})
	}
	mmHg, err := strconv.ParseFloat(strings.Replace(line, ",", ".", 1), 64)
	if err != nil {
		return now, fmt.Errorf("%q: want Enter, a pressure in mmHg, again, finish or leave", line)
	}
	return d.post(ctx, "/gauge", map[string]any{"level": now.Runs[0].Next - 1, "mmhg": mmHg})
}

// say names the pressure to go to, once.
func (d *leader) say(now led) {
	r := &now.Runs[0]
	if r.Next == d.said || r.Finished {
		return
	}
	if d.said = r.Next; r.Next > 0 {
		read, lost := r.Levels[r.Next-1], 0
		for _, v := range read.Raw {
			if v == nil {
				lost++
			}
		}
		fmt.Fprintf(d.out, "read at %.4g mmHg", read.Reference)
		if lost > 0 {
			fmt.Fprintf(d.out, "; %d of %d channels did not settle there", lost, len(read.Raw))
		}
		fmt.Fprintln(d.out)
	}
	if r.Next < len(r.Levels) {
		l := r.Levels[r.Next]
		fmt.Fprintf(d.out, "%2d of %d, cycle %d %s: go to %.4g mmHg\n", r.Next+1, len(r.Levels), l.Cycle, l.Direction, l.Reference)
	}
}

// end says what came of it, and keeps what is to be kept.
func (d *leader) end(ctx context.Context, f *leadFlags, now led) (err error) {
	if f.keep {
		if now, err = d.post(ctx, "/keep", struct{}{}); err != nil {
			return err
		}
	}
	bad := false
	for _, c := range now.Runs[0].Channels {
		fmt.Fprintf(d.out, "%s/%d: %s", f.source, c.Channel, c.State)
		if c.HighestU != nil {
			fmt.Fprintf(d.out, ", u %.1f mmHg at most", *c.HighestU)
		}
		if c.Kept != "" {
			fmt.Fprintf(d.out, ", in force as %s", c.Kept)
		}
		fmt.Fprintln(d.out)
		for _, why := range c.Reasons {
			fmt.Fprintf(d.out, "  %s\n", why)
		}
		bad = bad || c.State == "refused" || c.State == "rejected"
	}
	if bad {
		return errFound
	}
	return nil
}

func (d *leader) post(ctx context.Context, step string, body any) (led, error) {
	return postJSON[led](ctx, d.at+step, body)
}
