package applied

import (
	"fmt"
	"iter"
	"slices"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// A zero is what is taken off the pressures of a channel, in mmHg: the last of what
// its zeroings took off that has not been taken back.
type zero struct {
	index int
	off   []float64 // never empty
}

// PermitsZero returns why Zero would refuse a zeroing, or nil: it does not pass
// Check, or the configuration has no such channel.
func (s *Set) PermitsZero(z *record.Zeroing) error {
	if err := z.Check(); err != nil {
		return err
	}
	if i := s.index(z.Bridge, z.Source); i < 0 || slices.Max(z.Channels) >= s.sources[i].Channels {
		return fmt.Errorf("zeroing of %s/%s: there is no such channel", z.Bridge, z.Source)
	}
	return nil
}

// Zero lets a zeroing be in force from the next scan on, or takes the last ones back;
// to take back what is none does nothing. One that is refused changes nothing.
func (s *Set) Zero(z *record.Zeroing) error {
	if err := s.PermitsZero(z); err != nil {
		return err
	}
	src := &s.sources[s.index(z.Bridge, z.Source)]
	for k, c := range z.Channels {
		at, found := src.zero(c)
		switch {
		case !z.Undo && found:
			src.zeros[at].off = append(src.zeros[at].off, z.Shown[k])
		case !z.Undo:
			src.zeros = slices.Insert(src.zeros, at, zero{c, []float64{z.Shown[k]}})
		case found && len(src.zeros[at].off) > 1:
			src.zeros[at].off = src.zeros[at].off[:len(src.zeros[at].off)-1]
		case found:
			src.unzero(c)
		}
	}
	return nil
}

// Offset returns what is taken off the pressures of a channel, in mmHg.
func (s *Set) Offset(source, channel int) float64 {
	src := &s.sources[source]
	if at, found := src.zero(channel); found {
		return last(src.zeros[at].off)
	}
	return 0
}

// Offsets yields the channels of a source that were zeroed, ascending, with what is
// taken off in mmHg.
func (s *Set) Offsets(source int) iter.Seq2[int, float64] {
	return func(yield func(int, float64) bool) {
		for _, z := range s.sources[source].zeros {
			if !yield(z.index, last(z.off)) {
				return
			}
		}
	}
}

func (s *source) zero(channel int) (at int, found bool) {
	return slices.BinarySearchFunc(s.zeros, channel, func(z zero, c int) int { return z.index - c })
}

// unzero ends the zeroings of a channel.
func (s *source) unzero(channel int) {
	if at, found := s.zero(channel); found {
		s.zeros = slices.Delete(s.zeros, at, at+1)
	}
}

// shift takes off what zeroings say.
func (s *source) shift(scan *sample.Scan) {
	for i := range s.zeros {
		scan.Values[s.zeros[i].index] -= last(s.zeros[i].off)
	}
}

func last(of []float64) float64 { return of[len(of)-1] }
