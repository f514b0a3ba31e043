package export

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"time"

	"weald/ingest/sample"
)

// A Recording is what is exported. Its sequences are ranged over more than once
// and have to yield the same each time.
type Recording struct {
	Header Header
	Tracks []Track
	// Annotations yields alerts and marks in the order of time; nil is none.
	// Some may lie outside the recording's stretch.
	Annotations iter.Seq2[Annotation, error]
}

// A Header says of what a recording is.
type Header struct {
	Place   string
	Person  string // a code, never a name; whose all of it is
	Session string // empty where there was none
	// Sessions are those that have something of the recording, in the order of their
	// beginnings. Where there are any, Person and Session count for nothing (see whose).
	Sessions []Session
	// Program is the name and version of what exports; empty means "weald".
	Program string
	// Start and End bound the recording: every row is at Start or later, and
	// before End. Start must be before End.
	Start, End sample.Instant
	// Zone is that of the place; nil means UTC.
	Zone *time.Location
	// Caution is said where a format has room for sentences; empty says nothing.
	Caution string
}

// A Track is signals that are taken together.
type Track struct {
	Signals []Signal
	// Rate is the nominal number of rows a second; 0 says that the times are
	// irregular.
	Rate float64
	// StaleAfter is how long a value lasts at most. 0 means the larger of one
	// second and three nominal periods.
	StaleAfter time.Duration
	// Rows yields rows in the order of time. A row is valid until the next
	// iteration. After an error nothing more is asked of it.
	Rows iter.Seq2[Row, error]
}

// A Signal is one column of a track.
type Signal struct {
	Name string // unique in the recording, such as "ankle.pressure"
	Unit string // such as "mmHg"; empty for a number without one
	// Low and High are the range for formats with whole samples, in the
	// signal's unit. Where both are 0 it is found in the data.
	Low, High float64
}

// A Row is one instant of a track, with one value a signal: NaN where unknown.
type Row struct {
	At     sample.Instant
	Until  sample.Instant // before when the values end, if sooner than StaleAfter has it; 0 says nothing
	Values []float64
	U      []float64 // standard uncertainties, NaN where not known; nil where none is
	Doubts []Doubt   // nil where it is not known whether there are any
}

// A Doubt is why a value is to be taken with care: none, or a sum of these.
type Doubt uint8

// What a value can be in doubt for.
const (
	Extrapolated Doubt = 1 << iota // beyond what its channel was calibrated for
	Expired                        // made by a calibration that was past its date
)

// A Kind is what an annotation is of.
type Kind string

// The kinds of annotations.
const (
	Alert Kind = "alert"
	Mark  Kind = "mark"
	Fault Kind = "fault"
	// Sat is a session: What is its id, Subject the code of whoever was there.
	Sat  Kind = "session"
	Text Kind = "text" // from a file that does not say
)

// An Annotation is something that happened.
type Annotation struct {
	At       sample.Instant
	Duration time.Duration // 0 for what happened at an instant
	Kind     Kind
	What     string // "raised", "cleared", "turned", …; a session's id
	Rule     string // of an alert
	Subject  string // of an alert; a session's code
	Priority string // of an alert
	Author   string // of a mark
	Text     string // a sentence, or what the person wrote
}

// Errors of recordings that cannot be exported.
var (
	// ErrRecording is wrapped by errors about a recording that contradicts
	// itself.
	ErrRecording = errors.New("recording cannot be exported")
	// ErrEmpty means that nothing at all is known in the whole stretch.
	ErrEmpty = errors.New("nothing is known in this stretch of time")
)

// stale is how long a value of t lasts.
func (t *Track) stale() time.Duration {
	if t.StaleAfter > 0 {
		return t.StaleAfter
	}
	if t.Rate > 0 {
		return max(time.Second, time.Duration(math.Round(3e9/t.Rate)))
	}
	return time.Second
}

// zone is never nil.
func (h *Header) zone() *time.Location {
	if h.Zone == nil {
		return time.UTC
	}
	return h.Zone
}

// zoneName is never empty: a zone without a name is its offset at the start.
func (h *Header) zoneName() string {
	if name := h.zone().String(); name != "" {
		return name
	}
	return h.Start.Time().In(h.zone()).Format("-07:00")
}

func (h *Header) program() string {
	if h.Program == "" {
		return "weald"
	}
	return h.Program
}

// check returns an error that wraps ErrRecording.
func (r *Recording) check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrRecording, fmt.Sprintf(format, args...))
	}
	if r.Header.Start >= r.Header.End {
		return bad("it starts at %v and ends at %v", r.Header.Start, r.Header.End)
	}
	if len(r.Tracks) == 0 {
		return bad("it has no track")
	}
	seen := map[string]bool{}
	for i := range r.Tracks {
		t := &r.Tracks[i]
		switch {
		case len(t.Signals) == 0:
			return bad("track %d has no signal", i)
		case t.Rows == nil:
			return bad("track %d (%s …) has no rows to range over", i, t.Signals[0].Name)
		case t.Rate < 0 || t.Rate != t.Rate || t.Rate > maxRate:
			return bad("track %d (%s …) has a rate of %v a second", i, t.Signals[0].Name, t.Rate)
		}
		for _, s := range t.Signals {
			switch {
			case s.Name == "":
				return bad("a signal of track %d has no name", i)
			case seen[s.Name]:
				return bad("two signals are called %q", s.Name)
			case s.Low > s.High || s.Low != s.Low || s.High != s.High:
				return bad("signal %q has a range of %v to %v", s.Name, s.Low, s.High)
			}
			seen[s.Name] = true
		}
	}
	return nil
}

// maxRate bounds rates, in rows per second: far above every sensor, and low
// enough for times in nanoseconds.
const maxRate = 1e6

// finite returns v, or NaN for what is no number either.
func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return sample.Unknown
	}
	return v
}
