package emulate

import (
	"io"
	"math"
	"time"
)

// Failing is a sensor that fails as a worn one does, a little at a time: a run of
// its channels comes loose, then a part of its scans no longer leaves it, and in the
// end nothing does.
type Failing struct {
	*Sampled

	First, End int           // channels from First to before End come loose
	Loose      time.Duration // from when on these deliver no reading
	Losing     time.Duration // from when on every third scan is lost
	Silent     time.Duration // when it falls silent, which ends the stream
}

// Next implements Stream.
func (f *Failing) Next(s *Scan) error {
	for lost := 0; ; lost += 1 + s.Lost {
		third := f.n%3 == 0
		if err := f.Sampled.Next(s); err != nil {
			return err
		}
		if s.At >= f.Silent {
			return io.EOF
		}
		if third && s.At >= f.Losing {
			continue
		}
		s.Lost += lost
		if s.At >= f.Loose {
			for i := f.First; i < f.End; i++ {
				s.Values[i] = math.NaN()
			}
		}
		return nil
	}
}
