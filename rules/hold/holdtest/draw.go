package holdtest

import (
	"math"
	"slices"

	"pgregory.net/rapid"
)

// A Breakpoint is where something other than time happens.
type Breakpoint struct {
	At    int    // ms
	What  string // close, stale, reading, open or end
	Value float64
}

// Breakpoints returns all of them up to the end, in the order in which they count.
func Breakpoints(readings []Reading, s Settings) []Breakpoint {
	var out []Breakpoint
	for i, r := range readings {
		out = append(out, Breakpoint{r.At, "reading", r.Value})
		if end := r.At + s.Stale; end <= s.End && (i+1 == len(readings) || readings[i+1].At > end) {
			out = append(out, Breakpoint{end, "stale", 0})
		}
	}
	if s.GateFrom < s.GateTo {
		out = append(out, Breakpoint{s.GateFrom, "close", 0}, Breakpoint{s.GateTo, "open", 0})
	}
	out = append(out, Breakpoint{s.End, "end", 0})
	out = slices.DeleteFunc(out, func(b Breakpoint) bool { return b.At > s.End })
	rank := map[string]int{"close": 0, "stale": 1, "reading": 2, "open": 3, "end": 4} // a signal has changed before the gate looks
	slices.SortStableFunc(out, func(a, b Breakpoint) int {
		if a.At != b.At {
			return a.At - b.At
		}
		return rank[a.What] - rank[b.What]
	})
	return out
}

// DrawSettings draws durations that are short enough for things to happen.
func DrawSettings(t *rapid.T) Settings {
	small := func(name string, most int) int { return rapid.IntRange(0, most).Draw(t, name) }
	s := Settings{
		Kind:     rapid.SampledFrom([]string{"above", "below"}).Draw(t, "kind"),
		Limit:    32,
		Deadband: float64(small("deadband", 3)),
		On:       small("on", 120), Off: small("off", 60), Resets: small("resets", 40),
		Forget: small("forget", 80), Stale: 1 + small("stale", 50),
		GateFrom: small("gateFrom", 300), End: 400,
	}
	s.GateTo = s.GateFrom + small("gateFor", 100)
	return s
}

// DrawReadings draws strictly later and later readings around the limit.
func DrawReadings(t *rapid.T) []Reading {
	var out []Reading
	at := rapid.IntRange(0, 20).Draw(t, "first")
	for range rapid.IntRange(1, 25).Draw(t, "n") {
		v := float64(rapid.IntRange(28, 36).Draw(t, "value"))
		if rapid.IntRange(0, 7).Draw(t, "missing") == 0 {
			v = math.NaN()
		}
		out = append(out, Reading{at, v})
		at += rapid.IntRange(1, 60).Draw(t, "step")
	}
	return out
}
