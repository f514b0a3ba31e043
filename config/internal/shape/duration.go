package shape

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// DurationPattern is what a Duration looks like, for the JSON Schema.
const DurationPattern = `^([0-9]+(\.[0-9]+)?(ms|s|m|h|d))+$`

// maxDuration is longer than any hold that makes sense, and short enough that
// sums of durations do not overflow.
const maxDuration = 365 * 24 * time.Hour

var (
	durationWord = regexp.MustCompile(DurationPattern)
	durationPart = regexp.MustCompile(`([0-9.]+)(ms|s|m|h|d)`)
	longUnit     = regexp.MustCompile(`^([0-9.]+) *(milliseconds?|msecs?|seconds?|secs?|minutes?|mins?|hours?|hrs?|days?)$`)
)

var durationUnit = map[string]time.Duration{
	"ms": time.Millisecond, "s": time.Second, "m": time.Minute, "h": time.Hour, "d": 24 * time.Hour,
}

// Duration is a length of time, written as 30s, 1m30s, 2h or 4d. The units are
// ms, s, m (minutes), h and d. A number without a unit is refused, for nobody
// can tell whether it was meant in seconds; 0 needs none.
type Duration time.Duration

// Wanted says what a Duration looks like.
func (Duration) Wanted() string { return "a duration such as 30s, 10m, 2h or 1d" }

// UnmarshalText reads a duration of at most 365 days, to the nanosecond.
func (d *Duration) UnmarshalText(b []byte) error {
	s := string(b)
	if s == "0" {
		*d = 0
		return nil
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil && !strings.HasPrefix(s, "-") {
		return fmt.Errorf("is %s without a unit: give %ss if seconds are meant, or another of ms, m, h, d", clip(b), clip(b))
	}
	if strings.HasPrefix(s, "-") {
		return fmt.Errorf("is %s: a duration cannot be negative, give 0s or more", clip(b))
	}
	if m := longUnit.FindStringSubmatch(s); m != nil {
		unit := m[2][:1]
		if strings.HasPrefix(m[2], "mil") || strings.HasPrefix(m[2], "ms") {
			unit = "ms"
		}
		return fmt.Errorf("is %q: give %s%s", clip(b), m[1], unit)
	}
	if !durationWord.Match(b) {
		return fmt.Errorf("is %q: give %s", clip(b), d.Wanted())
	}
	sum := 0.0
	for _, part := range durationPart.FindAllStringSubmatch(s, -1) {
		x, err := strconv.ParseFloat(part[1], 64)
		if err != nil {
			return fmt.Errorf("is %q: give %s", clip(b), d.Wanted())
		}
		sum += x * float64(durationUnit[part[2]])
	}
	if sum > float64(maxDuration) {
		return fmt.Errorf("is %q: give at most 365d", clip(b))
	}
	*d = Duration(math.Round(sum))
	return nil
}
