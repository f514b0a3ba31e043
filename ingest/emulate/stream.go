package emulate

import (
	"io"
	"time"
)

// A Scan is what one source felt at one moment, as counts.
type Scan struct {
	Source uint16
	At     time.Duration // since the stream began, by a perfect clock
	Values []float64     // NaN is "no reading"; valid until the next call
	Lost   int           // scans of this source that were skipped before it
}

// A Stream yields scans, the earliest first.
type Stream interface {
	// Next fills s with the next scan. It returns io.EOF after the last.
	Next(s *Scan) error
}

// A Skipper is a Stream that need not send everything: a sensor whose bridge
// was held up measures on meanwhile.
type Skipper interface {
	Stream
	// SkipTo drops the scans before t.
	SkipTo(t time.Duration)
}

// A Model is a body on a sensor.
type Model interface {
	// At fills mmHg, a value for each channel, with the pressures at t since
	// the start. Calls come with t rising.
	At(t time.Duration, mmHg []float64)
}

// Sampled is a sensor under a Model, scanned at a steady rate, for ever.
type Sampled struct {
	source uint16
	rate   float64
	model  Model
	sensor Sensor
	seed   uint64

	gains  []float64
	values []float64
	n      int64 // number of the next scan
	lost   int
}

// NewSampled scans model with so many channels, rate times a second. It panics
// unless channels and rate are positive.
func NewSampled(source uint16, channels int, rate float64, model Model, sensor Sensor, seed uint64) *Sampled {
	if channels <= 0 || rate <= 0 {
		panic("emulate: a sensor without channels or rate")
	}
	return &Sampled{
		source: source, rate: rate, model: model, sensor: sensor, seed: seed,
		gains: sensor.gains(channels, seed), values: make([]float64, channels),
	}
}

// Pace has the sensor scanned so many times a second from now on. It panics unless
// that is positive, or after the first scan, whose successors would have no time.
func (s *Sampled) Pace(rate float64) {
	if rate <= 0 || s.n > 0 {
		panic("emulate: a sensor cannot be scanned like that")
	}
	s.rate = rate
}

// Rate returns how many times a second the sensor is scanned.
func (s *Sampled) Rate() float64 { return s.rate }

// Next implements Stream; it never ends.
func (s *Sampled) Next(scan *Scan) error {
	at := s.at(s.n)
	s.model.At(at, s.values)
	// The noise of a scan depends on its number alone, so that a skipped scan
	// changes nothing in the ones after it.
	s.sensor.read(s.values, s.gains, noise(s.seed, uint64(s.n)))
	*scan = Scan{Source: s.source, At: at, Values: s.values, Lost: s.lost}
	s.n++
	s.lost = 0
	return nil
}

// SkipTo implements Skipper.
func (s *Sampled) SkipTo(t time.Duration) {
	for s.at(s.n) < t {
		s.n++
		s.lost++
	}
}

func (s *Sampled) at(n int64) time.Duration {
	return time.Duration(float64(n) / s.rate * float64(time.Second))
}

// Merged is several streams in one, in order of time.
type Merged struct {
	streams []Stream
	heads   []Scan
	state   []headState
	dropped []int // heads skipped since the last one that was filled
}

type headState uint8

const (
	empty headState = iota
	filled
	ended
)

// merge joins streams; of two scans at the same moment the earlier stream's
// comes first.
func merge(streams ...Stream) *Merged {
	n := len(streams)
	return &Merged{streams: streams, heads: make([]Scan, n), state: make([]headState, n), dropped: make([]int, n)}
}

// Next implements Stream.
func (m *Merged) Next(s *Scan) error {
	first := -1
	for i, stream := range m.streams {
		if m.state[i] == empty {
			switch err := stream.Next(&m.heads[i]); err {
			case nil:
				m.state[i] = filled
				m.heads[i].Lost += m.dropped[i]
				m.dropped[i] = 0
			case io.EOF:
				m.state[i] = ended
			default:
				return err
			}
		}
		if m.state[i] == filled && (first < 0 || m.heads[i].At < m.heads[first].At) {
			first = i
		}
	}
	if first < 0 {
		return io.EOF
	}
	*s = m.heads[first]
	m.state[first] = empty
	return nil
}

// SkipTo implements Skipper for the streams that are Skippers themselves.
func (m *Merged) SkipTo(t time.Duration) {
	for i, stream := range m.streams {
		skipper, ok := stream.(Skipper)
		if !ok {
			continue
		}
		skipper.SkipTo(t)
		if m.state[i] == filled && m.heads[i].At < t {
			m.state[i] = empty
			m.dropped[i] = m.heads[i].Lost + 1
		}
	}
}
