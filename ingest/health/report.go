package health

import (
	"math"

	"weald/ingest/sample"
)

// A State says what is the matter with a channel. Of several the first in this
// order counts, Sound last.
type State uint8

// The states; the package documentation says what makes them.
const (
	Sound     State = iota // nothing is known against it
	Silent                 // delivers no readings
	Dead                   // never answered
	Stuck                  // answers no more
	Open                   // its lead seems to be open or loose
	Saturated              // at the rail
	Noisy                  // scatters
	states
)

// String returns the name that configurations and pages use.
func (s State) String() string {
	switch s {
	case Sound:
		return "sound"
	case Silent:
		return "silent"
	case Dead:
		return "dead"
	case Stuck:
		return "stuck"
	case Open:
		return "open"
	case Saturated:
		return "saturated"
	case Noisy:
		return "noisy"
	}
	return "unknown"
}

// findingsShown bounds a report of a source from which everything is gone.
const findingsShown = 256

// A Report is what a Monitor knows at one moment. It is plain data; nobody else
// holds a part of it.
type Report struct {
	At       sample.Instant // the newest scan; Past before the first
	Channels int
	Mat      bool // the channels are cells

	Silent, Dead, Stuck, Open, Saturated, Noisy int // channels

	// LeftOut of them are dead or stuck at a low reading: Withhold leaves them
	// out of the signals for as long as they read that.
	LeftOut int

	// Untried channels have never changed, and nothing has moved around them so
	// that they ought to have. They may be sound.
	Untried int

	// Findings has the channels that are not sound, in their order, the first
	// 256 of them. A channel that has none is sound.
	Findings []Finding

	// Rows and Columns of the mat do not answer at all. Their cells are among
	// the findings too.
	Rows, Columns []int
}

// A Finding is what is the matter with one channel.
type Finding struct {
	Channel     int
	Row, Column int // of the mat; -1 if it is not a cell of one
	State       State
	Since       sample.Instant
	At          sample.Instant // of the report

	Reading float64 // newest; NaN if there has been none
	Trials  int     // failed in a row, while dead or stuck
	LeftOut bool    // Withhold leaves it out
	Scatter float64 // standard deviation from scan to scan, in the readings' unit
	Others  float64 // the same for the channels around it; NaN if there are none
}

// Report fills to, whose slices are used again, with what is known now.
func (m *Monitor) Report(to *Report) {
	*to = Report{
		At: m.at, Channels: len(m.cells), Mat: m.config.Rows > 0, LeftOut: len(m.held), Untried: m.untried,
		Silent: m.counts[Silent], Dead: m.counts[Dead], Stuck: m.counts[Stuck],
		Open: m.counts[Open], Saturated: m.counts[Saturated], Noisy: m.counts[Noisy],
		Findings: to.Findings[:0], Rows: lines(to.Rows[:0], m.rows), Columns: lines(to.Columns[:0], m.columns),
	}
	for i, left := 0, len(m.cells)-m.counts[Sound]; left > 0 && len(to.Findings) < findingsShown; i++ {
		if m.cells[i].state != Sound {
			to.Findings = append(to.Findings, m.finding(i))
			left--
		}
	}
}

// lines appends those whose trials say that they do not answer.
func lines(to []int, fails []uint16) []int {
	for i, n := range fails {
		if n >= failsAllowed {
			to = append(to, i)
		}
	}
	return to
}

func (m *Monitor) finding(i int) Finding {
	c := &m.cells[i]
	f := Finding{
		Channel: i, Row: -1, Column: -1, State: c.state, Since: c.since, At: m.at,
		Reading: math.NaN(), LeftOut: c.flags&low != 0,
		Scatter: deviation(c.scatter), Others: deviation(m.scatterAround(i)),
	}
	if c.flags&delivered != 0 {
		f.Reading = float64(c.last * m.sign)
	}
	if c.flags&stuck != 0 {
		f.Trials = int(c.fails)
	}
	if i < m.config.Rows*m.config.Columns {
		f.Row, f.Column = i/m.config.Columns, i%m.config.Columns
		if c.flags&lined != 0 {
			f.Trials = int(max(c.fails, m.rows[f.Row], m.columns[f.Column]))
		}
	}
	return f
}

func deviation(variance float32) float64 { return math.Sqrt(float64(max(variance, 0))) }

// State returns the state of channel i, and since when it is so. A channel that
// has been sound from the first has been so since 0.
func (m *Monitor) State(i int) (State, sample.Instant) {
	return m.cells[i].state, m.cells[i].since
}
