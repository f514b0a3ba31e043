package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"

	"weald/ingest/calib/fit"
)

// led is how the calibration goes on, as far as a terminal shows it.
type led struct {
	Runs []struct {
		ID             string
		Bridge, Source string
		Keyed          bool
		Levels         []struct {
			Cycle     int
			Direction string
			Reference float64 `json:"reference_mmhg"`
			Raw       []*float64
			Doubt     string
		}
		Next     int
		HoldLeft *float64 `json:"hold_left_s"`
		Fitting  bool
		Finished bool
		Unsaved  string
		Channels []struct {
			Channel  int
			State    string
			Reasons  []string
			HighestU *float64 `json:"u_highest_mmhg"`
			Kept     string
		}
	}
}

const (
	lookEvery  = 500 * time.Millisecond // a terminal asks so often how a calibration stands
	lookLate   = 5 * time.Second        // and so often where the daemon has not answered for long
	standEvery = 2 * time.Second        // how the channels stand, if that has changed
)

// A leader talks with the daemon on behalf of a terminal. What was read is the
// daemon's, and only who says so throws it away.
type leader struct {
	at     string
	resume string // the command that takes a calibration up again
	out    io.Writer

	id     string
	said   int    // the level that was named last
	tally  string // how the channels stood when that was said last
	told   time.Time
	failed int // answers that did not come, one after the other

	unsaved string // why what was read is not on the disk, as it was said last
}

func (d *leader) lead(ctx context.Context, f *leadFlags, lines <-chan string) error {
	now, err := d.begin(ctx, f)
	if err != nil {
		return err
	}
	tick := time.NewTimer(lookEvery)
	defer tick.Stop()
	for {
		if len(now.Runs) == 0 || now.Runs[0].ID != d.id {
			return errors.New("the calibration is gone: somebody left it; begin again")
		}
		if d.say(now); now.Runs[0].Finished {
			return d.end(ctx, f, now)
		}
		select {
		case <-ctx.Done():
			return d.stays(context.Cause(ctx))
		case line, more := <-lines:
			if !more {
				if lines = nil; now.Runs[0].Keyed {
					return d.stays(errors.New("the input ended before the calibration did"))
				}
				continue
			}
			next, err := d.typed(ctx, strings.TrimSpace(line), now)
			if errors.Is(err, errLeft) {
				return nil
			} else if err != nil {
				fmt.Fprintln(d.out, err)
				continue
			}
			now = next
		case <-tick.C:
			if next, err := getJSON[led](ctx, d.at); d.answered(err) {
				now = next
			}
			tick.Reset(min(lookLate, lookEvery<<min(d.failed, 8)))
		}
	}
}

// begin begins a calibration, or takes up the one that is at the daemon.
func (d *leader) begin(ctx context.Context, f *leadFlags) (now led, err error) {
	if f.resume {
		now, err = getJSON[led](ctx, d.at)
	} else {
		now, err = postJSON[led](ctx, d.at, f.wish)
	}
	switch {
	case err != nil:
		return now, fmt.Errorf("%w\n(one that goes on is taken up by: %s)", err, d.resume)
	case len(now.Runs) == 0:
		return now, errors.New("no calibration is at the daemon")
	}
	r := &now.Runs[0]
	d.id, f.source = r.ID, r.Bridge+"/"+r.Source
	return now, nil
}

// answered reports whether an answer came, and says once that none does, and once
// that one does again.
func (d *leader) answered(err error) bool {
	switch {
	case err != nil && d.failed == 0:
		fmt.Fprintf(d.out, "%v; what was read stays there, and it is asked again\n", err)
	case err == nil && d.failed > 0:
		fmt.Fprintln(d.out, "the daemon answers again")
	}
	if d.failed++; err == nil {
		d.failed = 0
	}
	return err == nil
}

// stays says where a calibration is that is not over.
func (d *leader) stays(why error) error {
	return fmt.Errorf("%w: the calibration stays at the daemon; go on with it on the page Calibrate or by: %s", why, d.resume)
}

// errLeft is the end of what somebody left.
var errLeft = errors.New("left")

// typed does what somebody typed.
func (d *leader) typed(ctx context.Context, line string, now led) (led, error) {
	switch line {
	case "":
		return d.post(ctx, "/ready", nil)
	case "again":
		d.said = -1
		return d.post(ctx, "/again", nil)
	case "finish":
		return d.post(ctx, "/finish", nil)
	case "leave":
		if now, err := d.post(ctx, "/leave", nil); err != nil {
			return now, err
		}
		return now, errLeft
	}
	mmHg, sure, ok := typedPressure(line)
	switch last := now.Runs[0].Next - 1; {
	case !ok:
		return now, fmt.Errorf("%q: want Enter, a pressure in mmHg, again, finish or leave", line)
	case last < 0:
		return now, fmt.Errorf("%q: no pressure has been read yet that the gauge could have shown", line)
	default:
		next, err := d.post(ctx, "/gauge", map[string]any{"level": last, "mmhg": mmHg, "sure": sure})
		if err == nil {
			d.doubt(next, last)
		}
		return next, err
	}
}

// typedPressure reads a pressure as somebody types it, such as 40, 5.3 kPa or 5.3 mmHg,
// in mmHg. Who says the unit is sure.
func typedPressure(line string) (mmHg float64, sure, ok bool) {
	number, unit := line, ""
	if i := strings.IndexFunc(line, unicode.IsLetter); i >= 0 {
		number, unit = strings.TrimSpace(line[:i]), strings.ToLower(line[i:])
	}
	mmHg, err := strconv.ParseFloat(strings.Replace(number, ",", ".", 1), 64)
	switch {
	case err != nil:
		return 0, false, false
	case unit == "kpa":
		return math.Round(100*mmHg*fit.PerKPa) / 100, true, true
	}
	return mmHg, unit == "mmhg", unit == "" || unit == "mmhg"
}

// doubt says why a level may not be at its pressure, if there is a doubt.
func (d *leader) doubt(now led, level int) {
	if r := &now.Runs; len(*r) > 0 && level < len((*r)[0].Levels) && (*r)[0].Levels[level].Doubt != "" {
		fmt.Fprintf(d.out, "   in doubt: %s\n", (*r)[0].Levels[level].Doubt)
	}
}

// say names the pressure to go to, once, and how the channels stand on their way
// there.
func (d *leader) say(now led) {
	r := &now.Runs[0]
	if r.Unsaved != d.unsaved {
		if d.unsaved = r.Unsaved; r.Unsaved != "" {
			fmt.Fprintf(d.out, "what was read is not on the disk, and lost if the daemon ends: %s\n", r.Unsaved)
		}
	}
	if r.Next == d.said || r.Finished {
		d.stand(now)
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
		d.doubt(now, r.Next-1)
	}
	if r.Next < len(r.Levels) {
		l := r.Levels[r.Next]
		fmt.Fprintf(d.out, "%2d of %d, cycle %d %s: go to %.4g mmHg\n", r.Next+1, len(r.Levels), l.Cycle, l.Direction, l.Reference)
	} else if r.HoldLeft != nil {
		fmt.Fprintf(d.out, "hold it for %.0f s more, which tells creep, and keep off the cuff; Enter ends that\n", *r.HoldLeft)
	}
	d.tally = ""
}

// standings are what may be said of channels, those that matter most first.
var standings = []struct{ name, say string }{
	{"silent", "silent"}, {"sparse", "heard too seldom: leave, and hold each pressure longer"},
	{"moving", "moving"}, {"waiting", "at the last pressure"}, {"settled", "settled"},
}

// stand says how many channels are what, if that has changed and not been said just
// now.
func (d *leader) stand(now led) {
	r := &now.Runs[0]
	var parts []string
	for _, s := range standings {
		n := 0
		for _, c := range r.Channels {
			if c.State == s.name {
				n++
			}
		}
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, s.say))
		}
	}
	if r.Fitting {
		parts = []string{"working out what came of it"}
	}
	tally := strings.Join(parts, ", ")
	if tally == d.tally || tally == "" || time.Since(d.told) < standEvery {
		return
	}
	d.tally, d.told = tally, time.Now()
	fmt.Fprintf(d.out, "   %s\n", tally)
}

// end says what came of it, and keeps what is to be kept. What is in force is no
// longer needed at the daemon; all else stays there.
func (d *leader) end(ctx context.Context, f *leadFlags, now led) error {
	var failed error
	if f.keep {
		if next, err := d.post(ctx, "/keep", nil); err != nil {
			failed = d.stays(fmt.Errorf("nothing more comes into force: %w", err))
		} else {
			now = next
		}
	}
	bad, waits := false, false
	for _, l := range now.Runs[0].Levels {
		if l.Doubt != "" {
			fmt.Fprintf(d.out, "cycle %d %s, %.4g mmHg is in doubt: %s\n", l.Cycle, l.Direction, l.Reference, l.Doubt)
		}
	}
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
		waits = waits || strings.HasPrefix(c.State, "accepted") && c.Kept == ""
	}
	switch {
	case failed != nil:
		return failed
	case waits:
		fmt.Fprintf(d.out, "nothing of this is in force: it stays at the daemon until it is put into force or left,\non the page Calibrate or by: %s --keep\n", d.resume)
	default:
		if _, err := d.post(ctx, "/leave", nil); err != nil {
			return err
		}
	}
	if bad {
		return errFound
	}
	return nil
}

// post does something to the run.
func (d *leader) post(ctx context.Context, step string, more map[string]any) (led, error) {
	body := map[string]any{"run": d.id}
	maps.Copy(body, more)
	return postJSON[led](ctx, d.at+step, body)
}
