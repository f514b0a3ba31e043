package relief_test

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"weald/ingest/recorded"
	"weald/ingest/sample"
	"weald/rules/relief"
)

// A drive is a recording of people who drive a wheelchair: the counts of a
// seat's cells, halved into two sides, on the clock that it has; over again
// until it is long enough.
type drive struct {
	name  string
	at    []sample.Instant
	loads [][2]float64
}

func drives(t testing.TB) (all []drive) {
	t.Helper()
	for _, file := range recorded.Files(t, "seat-drives", "speed_*.csv") {
		d := drive{name: filepath.Base(file)}
		at, loads := recorded.Drive(t, d.name)
		for _, at := range at {
			d.at = append(d.at, sample.Instant(at))
		}
		d.loads = loads
		all = append(all, d)
	}
	return all
}

// run plays a drive, from after which on what was read is changed by f; f gets
// the time since then.
func (d *drive) run(after time.Duration, f func(time.Duration, [2]float64) [2]float64) *relief.Tracker {
	s := relief.Default()
	s.EmptyBelow = 20
	t := relief.New(s)
	for i, at := range d.at {
		load := d.loads[i]
		if since := at.Sub(d.at[0].Add(after)); since >= 0 && f != nil {
			load = f(since, load)
		}
		t.Set(at, load[0], load[1])
		next := 90 * time.Millisecond
		if i+1 < len(d.at) {
			next = min(d.at[i+1].Sub(at), time.Second) // a value lasts for a second
		}
		t.Advance(next)
	}
	return t
}

// Nobody who drives leaves the seat, and durations go by the clock that the
// recording has: counted as readings times the usual step of 90 ms they would
// be too short.
func TestDrives(t *testing.T) {
	seated, looked := 0, 0 // at the end, at all
	for _, d := range drives(t) {
		plain := d.run(0, nil)
		if n := plain.Count(relief.Relief) + plain.Count(relief.Transfer); n != 0 {
			t.Errorf("%s: %d reliefs and transfers in a drive", d.name, n)
		}
		if plain.Seated() == sample.Yes {
			seated++
		}
		length := d.at[len(d.at)-1].Sub(d.at[0])
		t.Logf("%s: %v, %d shifts, usual step × readings is %.1f %% short", d.name, length, plain.Count(relief.Shift),
			100*(1-float64(len(d.at)-1)*0.09/length.Seconds()))
		looked++
		// From 40 s on nearly nothing is left of the load, for just 15 s and for
		// just less: the bound falls between two readings of an uneven clock.
		lift := func(lasting time.Duration) func(time.Duration, [2]float64) [2]float64 {
			return func(since time.Duration, load [2]float64) [2]float64 {
				if since < lasting {
					return [2]float64{load[0] * 0.04, load[1] * 0.04}
				}
				return load
			}
		}
		var first, last sample.Instant // of the readings that are lifted by the longer
		for _, at := range d.at {
			if since := at.Sub(d.at[0].Add(40 * time.Second)); since >= 0 && first == 0 {
				first = at
			} else if since >= 15300*time.Millisecond && last == 0 {
				last = at
			}
		}
		if got := d.run(40*time.Second, lift(15300*time.Millisecond)).Count(relief.Relief); got != 1 {
			t.Errorf("%s: lifted for %v: %d reliefs, want 1", d.name, last.Sub(first), got)
		}
		if got := d.run(40*time.Second, lift(14700*time.Millisecond)).Count(relief.Relief); got != 0 {
			t.Errorf("%s: lifted for less than 15 s: %d reliefs, want none", d.name, got)
		}
		// A hole of 20 s is nothing at all.
		hole := d.run(40*time.Second, func(since time.Duration, load [2]float64) [2]float64 {
			if since < 20*time.Second {
				return [2]float64{math.NaN(), math.NaN()}
			}
			return load
		})
		if n := hole.Count(relief.Relief) + hole.Count(relief.Transfer); n != 0 {
			t.Errorf("%s: a hole counts as %d reliefs or transfers", d.name, n)
		}
		if a, b := plain.Since(), hole.Since(); b > a && plain.Count(relief.Shift) == 0 {
			t.Errorf("%s: a hole counts as sitting: %v with it, %v without", d.name, b, a)
		}
	}
	if seated != looked || looked < 20 {
		t.Errorf("somebody is seated at the end of %d of %d recordings: all are drives", seated, looked)
	}
}
