package emulate

import (
	"io"
	"math"
	"time"
)

// A Loop is a stretch of a sensor's scans, kept so that many can play it over and
// over: to invent a scan takes longer than to judge one. It never changes, and any
// number of goroutines may play it.
type Loop struct {
	period time.Duration
	scans  [][]uint16
}

// missing stands for NaN in a Loop; no sensor counts as far.
const missing = math.MaxUint16

// NewLoop keeps the next n scans of s, fewer if it ends before. The error is that of
// s.
func NewLoop(s Stream, period time.Duration, n int) (*Loop, error) {
	l := &Loop{period: period}
	var scan Scan
	for range n {
		if err := s.Next(&scan); err == io.EOF && len(l.scans) > 0 {
			break
		} else if err != nil {
			return nil, err
		}
		counts := make([]uint16, len(scan.Values))
		for i, v := range scan.Values {
			if counts[i] = missing; v == v {
				counts[i] = uint16(v)
			}
		}
		l.scans = append(l.scans, counts)
	}
	return l, nil
}

// Channels returns how many values a scan has.
func (l *Loop) Channels() int { return len(l.scans[0]) }

// Play plays the loop from one of its scans on, for ever, as a source of the given
// number.
func (l *Loop) Play(source uint16, from int) *Looped {
	return &Looped{loop: l, source: source, from: from, values: make([]float64, l.Channels())}
}

// A Looped is a Loop that is being played.
type Looped struct {
	loop    *Loop
	source  uint16
	from, n int // the first scan, and how many followed
	lost    int
	values  []float64
}

// Next implements Stream; it never ends.
func (l *Looped) Next(s *Scan) error {
	for i, c := range l.loop.scans[(l.from+l.n)%len(l.loop.scans)] {
		if l.values[i] = float64(c); c == missing {
			l.values[i] = math.NaN()
		}
	}
	*s = Scan{Source: l.source, At: time.Duration(l.n) * l.loop.period, Values: l.values, Lost: l.lost}
	l.n++
	l.lost = 0
	return nil
}

// SkipTo implements Skipper.
func (l *Looped) SkipTo(t time.Duration) {
	for time.Duration(l.n)*l.loop.period < t {
		l.n++
		l.lost++
	}
}
