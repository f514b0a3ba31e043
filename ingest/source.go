package ingest

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/assembly"
	"weald/ingest/battery"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A source takes the frames of one configured source.
type source struct {
	spec *Source
	asm  *assembly.Assembler
	out  func(*sample.Scan)

	screen    *Screen
	withheld  uint64 // readings
	trend     *battery.Trend
	asked     sample.Instant // when the trend was told what the link says
	condition Condition      // as of the last examination

	lastSeen sample.Instant // arrival of its last frame
	lastPass sample.Instant // arrival of what completed the last scan that was handed on
	then     assembly.Stats // when a scan was last handed on
	doubted  string         // why its last frame was refused for its time; empty if it was not
	unheard  bool           // readings have come since then and made no scan
	health   frame.Health
	healthAt sample.Instant
	selfTold bool // the battery's level is the source's own word

	widest  int // channels that the scan being received has shown
	sends   int // channels of the last whole scan, 0 before it
	refused int // channels of the last frame that had too many; 0 none
	flood   flood

	wrong complaint // as of the last time that the status was published
	said  string    // the kind of complaint that was logged last

	laying

	pacer pacer // for recordings that have a device counter and no arrival
}

// newSource prepares for frames in the given format and timing.
func newSource(spec *Source, f Format, t timing, out func(*sample.Scan)) (*source, error) {
	own := false
	if f.Kind == Delimited {
		switch f.Delimited.Time.As {
		case frame.InRFC3339, frame.InLayout:
			// The logger knows the time of day, unless that day is played
			// again as if it were today.
			own = t != asIfNow
		default:
			own = t == asRecorded
		}
	}
	screen, err := NewScreen(spec)
	if err != nil {
		return nil, err
	}
	s := &source{
		spec: spec, out: out, screen: screen, trend: battery.New(spec.BatteryEmptyMV),
		asked: sample.Past, lastSeen: sample.Past, lastPass: sample.Past, healthAt: sample.Past,
	}
	s.pacer.period = s.period()
	s.condition.Channels.At, s.condition.Battery.At = sample.Past, sample.Past
	s.asm, err = assembly.New(assembly.Config{
		Index: spec.Index, Channels: spec.Channels, Unit: spec.Unit, Lines: spec.Calibration,
		SaturatesAt: spec.SaturatesAt, OwnTime: own, Live: t == asSent, Period: s.period(),
	}, s.pass)
	if err != nil {
		return nil, fmt.Errorf("source %s: %w", spec.ID, err)
	}
	if t == asSent {
		s.asm.Recall(spec.Heard)
	}
	return s, nil
}

// remember says that the link may deliver again what has come, here or to a former
// daemon.
func (s *source) remember(t timing) {
	if t == asSent {
		s.asm.Remember(s.spec.Heard)
	} else {
		s.asm.Remember(nil)
	}
}

// pass screens a whole scan and hands it on.
func (s *source) pass(scan *sample.Scan) {
	s.relay()
	s.lastPass, s.unheard = max(s.lastPass, scan.Arrived), false
	if scan.Battery = 0; !scan.Stored {
		scan.Battery = sample.ChargeOf(s.trend.Level(scan.Arrived))
	}
	s.withheld += uint64(s.screen.Pass(scan))
	s.out(scan)
}

// take hands a frame to the assembler, which may have come before if again says so.
// What it returns says why the frame was refused, nil if it was not.
func (s *source) take(f *frame.Frame, arrival sample.Instant, again bool) *frame.Bad {
	s.lastSeen = arrival
	s.flood.count(f)
	if f.Kind == frame.Status {
		s.status(f.Health, arrival)
		if !f.Stored { // which would tell of a level that is past
			s.trend.Status(arrival, f.Health.BatteryMV, f.Health.BatteryPercent, f.Health.Celsius)
		}
	} else {
		s.measure(f)
		s.unheard = true
	}
	var bad *frame.Bad
	if again {
		bad = s.asm.Again(f, arrival)
	} else {
		bad = s.asm.Frame(f, arrival)
	}
	if s.doubted = ""; bad != nil && bad.Reason == frame.BadTime {
		s.doubted = bad.Detail
	}
	return bad
}

// status notes what the source says of itself. Firmware that knows nothing of
// its battery leaves standing what the link has told.
func (s *source) status(h frame.Health, arrival sample.Instant) {
	s.selfTold = s.selfTold || h.BatteryPercent >= 0 || h.BatteryMV >= 0
	if !s.selfTold && s.healthAt != sample.Past {
		h.BatteryPercent = s.health.BatteryPercent
	}
	s.health, s.healthAt = h, arrival
}

// battery notes what the link tells of the battery, unless the source knows
// better.
func (s *source) battery(percent int, now sample.Instant) {
	switch {
	case s.selfTold:
		return
	case s.healthAt == sample.Past:
		s.health = frame.Health{BatteryMV: -1, Celsius: frame.NoCelsius}
	}
	s.health.BatteryPercent, s.healthAt = percent, now
	if s.asked == sample.Past || now.Sub(s.asked) >= askLinkEvery || now < s.asked {
		s.trend.Status(now, -1, percent, frame.NoCelsius)
		s.asked = now
	}
}

// measure notes how many channels a source really has.
func (s *source) measure(f *frame.Frame) {
	end := f.First + len(f.Readings)
	if end > s.spec.Channels {
		s.refused = end
		return
	}
	s.widest = max(s.widest, end)
	if !f.More {
		s.sends, s.widest, s.refused = s.widest, 0, 0
	}
}

// oddRate is how far a measured rate may be from the nominal one, as a factor.
const oddRate = 1.5

// trouble says what is wrong with the source while its link works, the zero
// complaint if nothing is. Stranger is the number of an unknown source that
// sends, or -1.
func (s *source) trouble(now, since sample.Instant, grace time.Duration, stats *assembly.Stats, stranger int) complaint {
	switch {
	case s.refused > 0:
		return complaint{"channels", fmt.Sprintf("it sends %d channels and %d are configured: its frames are refused", s.refused, s.spec.Channels)}
	case s.sends > 0 && s.sends < s.spec.Channels:
		return complaint{"channels", fmt.Sprintf("it sends %d channels and %d are configured: the others are unknown", s.sends, s.spec.Channels)}
	}
	if s.silent(now, since, grace) {
		return complaint{"silent", s.silence(now, since, stats, stranger)}
	}
	if leap := &stats.Leap; leap.At != sample.Past && now.Sub(leap.At) < leapShown {
		return complaint{"leap", leapt(leap, now)}
	}
	if words := counterWords(stats.Counting); words != "" {
		return complaint{words, words}
	}
	if r, nominal := stats.Rate, s.spec.Rate; nominal > 0 && stats.Scans > 20 && (r*oddRate < nominal || r > nominal*oddRate) {
		return complaint{"rate", fmt.Sprintf("it sends %.3g scans/s and %.3g are configured", r, nominal)}
	}
	return complaint{}
}

// counterWords says what is wrong with a counter, empty if nothing is.
func counterWords(c assembly.Counting) string {
	what := ""
	switch c {
	case assembly.Nothing:
		what = "its millisecond counter stands still"
	case assembly.Seconds:
		what = "its counter seems to count seconds, not milliseconds"
	case assembly.Microseconds:
		what = "its counter seems to count microseconds, not milliseconds"
	default:
		return ""
	}
	return what + ": its readings are judged at the time of their arrival"
}

// period is the nominal time between scans, 0 if it is not stated.
func (s *source) period() time.Duration {
	if s.spec.Rate <= 0 {
		return 0
	}
	return time.Duration(min(1/s.spec.Rate, 86400) * float64(time.Second))
}

// patience is how long the source may be silent, going by its rate.
func (s *source) patience() time.Duration {
	if s.spec.Rate <= 0 {
		return silentAfter
	}
	return min(3*s.period(), 24*time.Hour)
}

// publish copies what is known to where Status finds it.
func (s *source) publish(to *SourceStatus, stats *assembly.Stats) {
	if stats.Scans != s.then.Scans {
		s.then = *stats
	}
	*to = SourceStatus{
		ID: s.spec.ID, Number: s.spec.Number, Index: s.spec.Index,
		Frames: stats.Frames, Scans: stats.Scans, Gaps: stats.Gaps, Repeats: stats.Repeats,
		Late: stats.Late, Partial: stats.Incomplete, Damaged: stats.Damaged,
		Stored: stats.Stored, Unplaced: stats.Unplaced, Saturated: stats.LastSaturated,
		LastScan: stats.LastEvent, LastSeen: s.lastSeen,
		Epochs: stats.Epochs, Restarts: stats.Restarts, Offset: stats.Offset, SkewPPM: stats.Skew,
		Counter: counterWords(stats.Counting),
		Rate:    stats.Rate, Nominal: s.spec.Rate, Channels: s.sends,
		Health: s.health, HealthAt: s.healthAt,
		Condition: s.condition, Withheld: s.withheld,
	}
	if stats.Frames == 0 {
		to.Rate, to.SkewPPM = math.NaN(), math.NaN()
	}
}
