package export

import (
	"math"
	"strconv"
	"time"

	"weald/ingest/sample"
)

// A series is one signal on its way into Observations.
type series struct {
	Signal
	stale    time.Duration
	n        int // samples a record of the grid
	regular  bool
	duration time.Duration  // of a record
	from     sample.Instant // where the grid begins

	stretches []Session // whose what is, through all time
	now       int       // that which was asked for last

	// From the survey.
	known       bool
	most, mostU float64 // the largest value, whatever its sign, and uncertainty
	decimals    int     // of a value
	decimalsU   int     // of an uncertainty

	// What waits to be written.
	first, count     int64  // the first sample, counted on the grid, and how many
	data, us, doubts []byte // tokens; of the last two none before the first that is told
	unknown, certain int64  // how many samples are unknown, how many have an uncertainty
	told             int64  // of how many doubts are told
	beyond, past     int64  // how many are in doubt for the one reason, and the other
	below, above     int64  // how many are outside of the range that is given
	of               int    // index of the stretch that their readings are of
}

// ranged says that the signal gives a range.
func (s *series) ranged() bool { return s.Low != 0 || s.High != 0 }

func (s *series) within(v float64) bool { return !s.ranged() || v >= s.Low && v <= s.High }

// at is the instant of a sample.
func (s *series) at(sample int64) sample.Instant {
	n := int64(s.n)
	return s.from.Add(time.Duration(sample/n)*s.duration + time.Duration(sample%n)*s.duration/time.Duration(n))
}

// ends reports whether an Observation cannot go on to the given sample, which is
// known and whose reading is of that stretch.
func (s *series) ends(at int64, of int) bool {
	if s.count == 0 {
		return false
	}
	last := s.first + s.count - 1
	return at-s.first >= mostSamples || of != s.of || s.at(at).Sub(s.at(last)) > longestGap
}

// whose returns whose a reading is, by when it was read, and whether a sample may show it.
// Its own may, though it stands beside it; what is held from before may not over the edge of
// a session.
func (s *series) whose(read, at sample.Instant, own bool) (stretch int, may bool) {
	stretch = s.stretch(read)
	return stretch, own || s.stretch(at) == stretch
}

// stretch returns the index of the one that an instant is in.
func (s *series) stretch(at sample.Instant) int {
	for at < s.stretches[s.now].From {
		s.now--
	}
	for at >= s.stretches[s.now].To {
		s.now++
	}
	return s.now
}

// add appends a sample that is known, and the unknown ones before it.
func (s *series) add(at int64, of int, v, u, doubt float64) {
	if s.count == 0 {
		s.first, s.of = at, of
	}
	for ; s.first+s.count < at; s.count++ {
		s.data = append(s.data, "E "...)
		s.us, s.doubts = more(s.us), more(s.doubts)
		s.unknown++
	}
	switch {
	case s.within(v):
		s.data = token(s.data, v, s.decimals)
	case v < s.Low:
		s.data = append(s.data, "L "...)
		s.below++
	default:
		s.data = append(s.data, "U "...)
		s.above++
	}
	if u != u {
		s.us = more(s.us)
	} else {
		s.us = token(s.caughtUp(s.us), u, s.decimalsU)
		s.certain++
	}
	switch d := Doubt(doubt); {
	case doubt != doubt:
		s.doubts = more(s.doubts)
	default:
		s.doubts = token(s.caughtUp(s.doubts), doubt, 0)
		s.told++
		s.beyond += int64(d & Extrapolated)
		s.past += int64(d&Expired) / int64(Expired)
	}
	s.count++
}

// more adds an unknown token to tokens of which one was told.
func more(tokens []byte) []byte {
	if len(tokens) == 0 {
		return tokens
	}
	return append(tokens, "E "...)
}

// caughtUp has an unknown token for every sample so far, where none was told.
func (s *series) caughtUp(tokens []byte) []byte {
	if len(tokens) == 0 {
		for range s.count {
			tokens = append(tokens, "E "...)
		}
	}
	return tokens
}

// begin forgets what was written.
func (s *series) begin() {
	s.data, s.us, s.doubts = s.data[:0], s.us[:0], s.doubts[:0]
	s.count, s.unknown, s.certain, s.told, s.beyond, s.past, s.below, s.above = 0, 0, 0, 0, 0, 0, 0, 0
}

// token appends v in units of its last decimal.
func token(tokens []byte, v float64, decimals int) []byte {
	tokens = strconv.AppendInt(tokens, int64(math.Round(v*math.Pow10(decimals))), 10)
	return append(tokens, ' ')
}

// decimals returns how many decimals leave so many digits of the largest value.
func decimals(most float64, digits int) int {
	if most == 0 {
		return digits - 1
	}
	return min(max(digits-1-int(math.Floor(math.Log10(most))), -9), 12)
}
