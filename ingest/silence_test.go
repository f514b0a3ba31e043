package ingest

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
)

// oneLeg is a packed bridge with one source of two channels at 10/s.
func oneLeg(l Link) Bridge {
	b := packed(l)
	b.Sources = b.Sources[:1]
	return b
}

// wire sends a frame of source 0 and lets 100 ms pass.
func (r *rig) wire(f frame.Frame) {
	r.t.Helper()
	b, err := frame.AppendWire(nil, &f, frame.U12)
	if err != nil {
		r.t.Fatal(err)
	}
	r.link.send(b)
	r.pass(100 * time.Millisecond)
}

// A source that still sends, but nothing that can be judged, is silent: it says
// so in what way, and what its rate was says nothing of now.
func TestASourceWithoutReadingsIsSilent(t *testing.T) {
	reading := func(i uint32) frame.Frame {
		return frame.Frame{Kind: frame.Readings, Seq: i, Millis: 100 * i, Readings: []float64{40, 20}}
	}
	for _, c := range []struct {
		name string
		send func(i uint32) frame.Frame
		want string
	}{
		{"status only", func(i uint32) frame.Frame {
			return frame.Frame{Kind: frame.Status, Seq: i, Millis: 100 * i}
		}, "it reports its status, but no readings for 9s"},
		{"one frame again and again", func(uint32) frame.Frame { return reading(99) },
			"it has sent nothing for 9s but what it had sent before"},
		{"stored ones of another life", func(i uint32) frame.Frame {
			f := reading(i)
			f.Millis, f.Stored = 1_000_000_000+f.Millis, true
			return f
		}, "it has sent none but stored readings for 9s, whose time cannot be known"},
	} {
		t.Run(c.name, func(t *testing.T) {
			bubble(t, oneLeg, func(r *rig) {
				for i := range uint32(100) {
					r.wire(reading(i))
				}
				if s := r.sup.Status().Sources[0]; s.Trouble != "" || !(math.Abs(s.Rate-10) < 0.5) {
					t.Fatalf("while all is well: trouble %q, rate %v", s.Trouble, s.Rate)
				}
				for i := range uint32(99) {
					r.wire(c.send(100 + i))
				}
				s := r.sup.Status().Sources[0]
				if s.Trouble != c.want {
					t.Errorf("trouble: %q, want %q", s.Trouble, c.want)
				}
				if s.Rate == s.Rate {
					t.Errorf("the rate is said to be %v", s.Rate)
				}
				r.pass(5*time.Minute + 100*time.Millisecond)
				if s := r.sup.Status().Sources[0]; s.Trouble != "nothing from it for 5m0s" {
					t.Errorf("when it sends nothing at all: %q", s.Trouble)
				}
				r.wire(reading(3200))
				if s := r.sup.Status().Sources[0]; s.Trouble != "" || len(r.scans()) != 101 {
					t.Errorf("after a reading: trouble %q, %d scans", s.Trouble, len(r.scans()))
				}
			})
		})
	}
}

// A link that is down has no rate.
func TestALinkThatIsDownHasNoRate(t *testing.T) {
	bubble(t, twoLegs, func(r *rig) {
		for range 100 {
			r.line(0, 40, 20)
		}
		r.link.set(fmt.Errorf("no such port"))
		r.link.hangUp()
		r.pass(10 * time.Second)
		if s := r.sup.Status(); s.State == Open || s.Sources[0].Rate == s.Sources[0].Rate {
			t.Errorf("the link is %s and the rate %v", s.State, s.Sources[0].Rate)
		}
	})
}

// A logger whose clock is set: what leaps is refused and said, what insists is
// believed and said for a while, and readings go on.
func TestALoggerWhoseClockIsSet(t *testing.T) {
	logger := func(l Link) Bridge {
		return Bridge{ID: "logger", Link: l,
			Format: Format{Kind: Delimited, Delimited: frame.Delimited{
				Separator: ";", Time: frame.TimeColumn{Column: 0, As: frame.InRFC3339}, Channels: []int{1},
				Source: frame.SourceColumn{Column: -1},
			}},
			Sources: []Source{{ID: "logger/leg", Channels: 1, Rate: 10, StaleAfter: time.Second, Unit: calib.MMHg}},
		}
	}
	bubble(t, logger, func(r *rig) {
		row := func(off time.Duration) {
			r.link.send(fmt.Appendf(nil, "%s;40\n", sampleNow(r).Add(off)))
			r.pass(100 * time.Millisecond)
		}
		last := func() time.Duration { return sampleNow(r).Sub(r.scans()[len(r.scans())-1].At) }
		for range 100 {
			row(0)
		}
		row(24 * time.Hour)
		row(0)
		s := r.sup.Status()
		if s.Bad[frame.BadTime] != 1 || len(r.scans()) != 101 || last() != 100*time.Millisecond || s.Sources[0].Trouble != "" {
			t.Fatalf("a row from tomorrow: %d refused, %d scans, the last %v ago, trouble %q", s.Bad[frame.BadTime], len(r.scans()), last(), s.Sources[0].Trouble)
		}
		for range 100 {
			row(-time.Hour)
		}
		s = r.sup.Status()
		if got, want := s.Sources[0].Trouble, "its clock was set back by 1h0m0s, 7s ago: its readings go on as if it had not been"; got != want {
			t.Errorf("trouble: %q, want %q", got, want)
		}
		if last() != 100*time.Millisecond || s.Sources[0].Epochs != 2 || s.Bad[frame.BadTime] != 1+20 {
			t.Errorf("the last scan is %v old, %d epochs, %d rows refused", last(), s.Sources[0].Epochs, s.Bad[frame.BadTime])
		}
		for range 6000 {
			row(-time.Hour)
		}
		if got := r.sup.Status().Sources[0].Trouble; got != "" {
			t.Errorf("ten minutes later: %q", got)
		}
		for i := range 100 {
			row(time.Duration(i%3*10) * time.Hour)
		}
		if got, want := r.sup.Status().Sources[0].Trouble, "its readings have been refused for 10s (row with a time 1h0m0s ahead of what it should be): is its clock right?"; got != want {
			t.Errorf("trouble: %q, want %q", got, want)
		}
		for range 100 {
			row(3 * 24 * time.Hour)
		}
		if got := r.sup.Status().Sources[0].Trouble; !strings.HasPrefix(got, "its clock was set ahead by 3 days, ") {
			t.Errorf("trouble: %q", got)
		}
	})
}
