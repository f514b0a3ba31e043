package ingest

import (
	"fmt"
	"slices"

	"weald/ingest/battery"
	"weald/ingest/calib"
	"weald/ingest/health"
	"weald/ingest/sample"
)

// leastMoveMMHg is the smallest swing that counts as movement for a source that
// sends pressure. Common practice, no source.
const leastMoveMMHg = 2

// A Screen stands between a source and the rules: it watches the channels and
// takes out readings that are not to be believed.
//
// What it does to a scan depends on nothing but the scans of the source that it
// was shown before, in their order: their times, readings and rails, and whether
// they were stored or damaged. No clock, connection or question to it matters.
// So a Screen that is shown the same scans again, from the first one after the
// daemon's start, takes out the same readings, and a rehearsal equals what was
// live. One that begins later needs about a quarter of an hour of movement to
// know what the other knew.
type Screen struct {
	monitor *health.Monitor
}

// NewScreen returns the Screen of a source that has sent nothing so far. The
// error says what is wrong with the source.
func NewScreen(s *Source) (*Screen, error) {
	c := health.Config{
		Channels: s.Channels, Rows: s.Rows, Columns: s.Columns, Together: s.Together, Falling: falling(s.Calibration),
	}
	if s.Unit == calib.MMHg {
		c.Move = leastMoveMMHg
	}
	m, err := health.New(c)
	if err != nil {
		return nil, fmt.Errorf("source %s: %w", s.ID, err)
	}
	return &Screen{monitor: m}, nil
}

// falling reports whether the readings of most channels fall as the load rises.
func falling(lines []calib.Line) bool {
	down, up := 0, 0
	for _, l := range lines {
		switch {
		case l.Slope < 0:
			down++
		case l.Slope > 0:
			up++
		}
	}
	return down > up
}

// Pass takes the next scan of the source, whose Values and Raw are as the
// assembler made them, and makes NaN of those of its Values that are not to be
// believed. It returns how many, and lists them in Withheld, which is valid until
// the next call. Raw stays as it is.
//
// A stored scan teaches it nothing, for it is of the past, and is screened by
// what is known now. A damaged one has no readings.
func (s *Screen) Pass(scan *sample.Scan) int {
	if scan.Damaged {
		return 0
	}
	if !scan.Stored {
		s.monitor.Scan(scan.At, scan.Raw, scan.Rail)
	}
	n := s.monitor.Withhold(scan.Raw, scan.Values)
	scan.Withheld = s.monitor.Withheld()
	return n
}

// mute counts the channels of each group that do not answer: that are silent,
// dead or stuck.
func (s *Screen) mute(groups [][]int, to []int) {
	for g, channels := range groups {
		to[g] = 0
		for _, i := range channels {
			switch state, _ := s.monitor.State(i); state {
			case health.Silent, health.Dead, health.Stuck:
				to[g]++
			}
		}
	}
}

// A Condition is what is known of a source's channels and battery. It is a copy,
// made about once a second.
type Condition struct {
	Channels health.Report // its At is Past before the first scan
	Battery  battery.Estimate

	// Mute has for each of the Groups of the layout with the number Layout, 0 for
	// those of the Source, how many of its channels are silent, dead or stuck.
	Mute   []int
	Layout int
}

// clone copies c so that no part is shared.
func (c *Condition) clone() Condition {
	d := *c
	d.Channels.Findings = slices.Clone(c.Channels.Findings)
	d.Channels.Rows, d.Channels.Columns = slices.Clone(c.Channels.Rows), slices.Clone(c.Channels.Columns)
	d.Mute = slices.Clone(c.Mute)
	return d
}
