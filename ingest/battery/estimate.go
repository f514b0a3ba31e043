package battery

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// A State says what is known of a battery.
type State uint8

// The states.
const (
	Unknown   State = iota // no level, or none for long
	Measuring              // a level, and no trend so far
	Charging               // the level rises
	Falling                // the level falls; Left says how long it will last
	Empty                  // the level is at its end
)

// String returns the name that pages use.
func (s State) String() string {
	switch s {
	case Unknown:
		return "unknown"
	case Measuring:
		return "measuring"
	case Charging:
		return "charging"
	case Falling:
		return "falling"
	case Empty:
		return "empty"
	}
	return "invalid"
}

// Unlimited is the Most of an estimate without an upper end.
const Unlimited time.Duration = math.MaxInt64

// An Estimate is what is known of a battery at one moment. It is plain data.
type Estimate struct {
	State   State
	At      sample.Instant // newest status; Past before the first
	Now     sample.Instant
	Percent int // -1 unknown
	MV      int // -1 unknown

	// Left is how long the battery will last from now on, while Falling; Least
	// and Most are its bounds. Most may be Unlimited.
	Left, Least, Most time.Duration

	// ByVoltage says that Left comes from the voltage alone and is rather too
	// long.
	ByVoltage bool

	// Fresh is when the battery was last seen to be charged or replaced; Past
	// if it was not.
	Fresh sample.Instant
}

// oldAfter is how long a level counts at least; longer where statuses are rare.
const oldAfter = 2 * time.Hour

// Estimate says what is known at the given instant, which must not be before
// the newest status.
func (t *Trend) Estimate(now sample.Instant) Estimate {
	e := Estimate{At: t.at, Now: now, Percent: -1, MV: -1, Fresh: t.fresh, ByVoltage: t.volts}
	if t.known == 0 {
		return e
	}
	if t.old(now) {
		return e
	}
	e.State, e.Percent, e.MV = Measuring, t.percent, t.mV
	end := 0.0
	if t.volts {
		end = float64(t.emptyMV)
	}
	switch {
	case t.charging:
		e.State = Charging
		return e
	case t.volts && t.emptyMV <= 0 || len(t.bins) == 0:
		return e
	case t.level <= end+t.step():
		e.State = Empty
		return e
	}
	if !t.valid {
		t.fit, t.valid = t.line(), true
	}
	if !t.fit.found {
		return e
	}
	e.State = Falling
	gone := now.Sub(t.fit.at).Seconds()
	left := func(level, rate float64) time.Duration {
		if rate <= 0 {
			return Unlimited
		}
		s := max(0, (level-end)/rate-gone)
		if s > longest.Seconds()*20 {
			return Unlimited
		}
		return time.Duration(s * float64(time.Second))
	}
	e.Left = left(t.fit.level, t.fit.rate)
	e.Least = left(t.fit.level-t.step(), t.fit.fast)
	e.Most = left(t.fit.level+t.step(), t.fit.slow)
	return e
}

// Level returns the level in percent at the given instant, which must not be before
// the newest status; -1 where it is not known, or has not been heard of for long.
func (t *Trend) Level(now sample.Instant) int {
	if t.known == 0 || t.old(now) {
		return -1
	}
	return t.percent
}

// old reports whether the newest status is too old for a level to count.
func (t *Trend) old(now sample.Instant) bool {
	patience := oldAfter
	if t.before != sample.Past {
		patience = max(patience, 4*t.at.Sub(t.before))
	}
	return now.Sub(t.at) > patience
}

// Sentence says what is known in one sentence, empty if nothing is.
func (e *Estimate) Sentence() string {
	s := "Battery"
	switch {
	case e.State == Unknown:
		return ""
	case e.Percent >= 0:
		s += fmt.Sprintf(" %d %%", e.Percent)
	default:
		s += fmt.Sprintf(" %.2f V", float64(e.MV)/1000)
	}
	switch e.State {
	case Charging:
		return s + ", charging."
	case Empty:
		return s + ": it may stop at any time."
	case Falling:
		if words := e.words(); words != "" {
			return s + ", " + words + "."
		}
	}
	if ago := e.Now.Sub(e.Fresh); e.Fresh != sample.Past && ago < 12*time.Hour {
		if ago < time.Minute {
			return s + ", charged or replaced just now."
		}
		return s + fmt.Sprintf(", charged or replaced %s ago.", rough(ago))
	}
	return s + "."
}

// words says how long is left.
func (e *Estimate) words() string {
	var s string
	switch {
	case e.Least <= 0 && e.Most == Unlimited:
		return ""
	case e.Most == Unlimited:
		s = fmt.Sprintf("at least %s left", rough(e.Least))
	case e.Most <= 2*e.Least:
		s = fmt.Sprintf("about %s left", rough(e.Left))
	default:
		s = fmt.Sprintf("%s to %s left", rough(e.Least), rough(e.Most))
	}
	if e.ByVoltage {
		s += " going by its voltage, perhaps less"
	}
	return s
}

// rough writes a duration with no more digits than an estimate has.
func rough(d time.Duration) string {
	switch h := d.Hours(); {
	case d < 10*time.Minute:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case h < 2:
		return fmt.Sprintf("%d min", 10*int(math.Round(d.Minutes()/10)))
	case h < 48:
		return fmt.Sprintf("%.0f h", h)
	case h < 24*30:
		return fmt.Sprintf("%.0f days", h/24)
	default:
		return fmt.Sprintf("%.0f weeks", h/24/7)
	}
}
