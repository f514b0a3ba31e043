package sample

import (
	"math"
	"time"
)

// An Instant is a point in time, in nanoseconds since 1970-01-01T00:00:00Z.
//
// It is a plain integer so that the rules can compare, subtract and store
// millions of them without a time zone, a monotonic part or an allocation.
// The zero Instant is a real point in time: recordings that count seconds from
// zero use it. "Not yet" and "never" are Never.
type Instant int64

// Never is later than every instant that a reading can carry.
const Never Instant = math.MaxInt64

// Past is earlier than every instant that a reading can carry.
const Past Instant = math.MinInt64

// At converts t, dropping its monotonic part.
func At(t time.Time) Instant { return Instant(t.UnixNano()) }

// Time returns i in UTC.
func (i Instant) Time() time.Time { return time.Unix(0, int64(i)).UTC() }

// Add returns i moved by d. Never and Past stay where they are, and a sum
// beyond either end stops there.
func (i Instant) Add(d time.Duration) Instant {
	switch sum := i + Instant(d); {
	case i == Never || i == Past:
		return i
	case d > 0 && sum < i:
		return Never
	case d < 0 && sum > i:
		return Past
	default:
		return sum
	}
}

// Sub returns the time from j to i.
func (i Instant) Sub(j Instant) time.Duration { return time.Duration(i - j) }

// String formats i as RFC 3339 with as many decimals as it needs.
func (i Instant) String() string {
	switch i {
	case Never:
		return "never"
	case Past:
		return "past"
	}
	return i.Time().Format(time.RFC3339Nano)
}
