package ingest

import (
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/battery"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

func TestABatteryThatFallsSaysHowLongItLasts(t *testing.T) {
	bubble(t, mattress, func(r *rig) {
		for n := range 3 * 60 { // two percent in a quarter of an hour
			r.packed(&frame.Frame{Kind: frame.Status, Health: frame.Health{BatteryMV: 3900, BatteryPercent: 90 - n*2/15, Celsius: 25}})
			r.pass(59 * time.Second)
		}
		e := r.sup.Status().Sources[0].Condition.Battery
		if hours := e.Left.Hours(); e.State != battery.Falling || hours < 7 || hours > 9.5 || e.Percent != 67 {
			t.Errorf("%+v: %s", e, e.Sentence())
		}
		r.pass(5 * time.Hour)
		if e := r.sup.Status().Sources[0].Condition.Battery; e.State != battery.Unknown {
			t.Errorf("after five hours of silence: %s", e.Sentence())
		}
	})
}

func TestABatteryThatOnlyTheLinkKnows(t *testing.T) {
	r := newRadio(0)
	onAir(t, r, func(sup *Supervisor, _ func(*frame.Frame)) {
		for n := range 3 * 60 {
			r.level.Store(int32(90 - n*2/15))
			time.Sleep(time.Minute)
		}
		synctest.Wait()
		for _, s := range sup.Status().Sources {
			if e := s.Condition.Battery; e.State != battery.Falling || e.Left.Hours() < 7 || e.Left.Hours() > 9.5 {
				t.Errorf("%s: %+v: %s", s.ID, e, e.Sentence())
			}
		}
	})
}

// A scan carries the level that was heard of last, unless that is long ago; one that
// the bridge kept tells of another time, and one that comes before any level of none.
func TestAScanCarriesTheLevelOfTheBattery(t *testing.T) {
	bubble(t, mattress, func(r *rig) {
		raw := make([]float64, 512)
		want := []int{-1, 31, 31, -1, 30, -1, -1}
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
		r.packed(&frame.Frame{Kind: frame.Status, Health: frame.Health{BatteryMV: 3900, BatteryPercent: 31, Celsius: 25}})
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw, Stored: true})
		r.packed(&frame.Frame{Kind: frame.Status, Health: frame.Health{BatteryMV: 3900, BatteryPercent: 30, Celsius: 25}})
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
		r.pass(3 * time.Hour)
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
		r.packed(&frame.Frame{Kind: frame.Status, Health: frame.Health{BatteryMV: 3800, BatteryPercent: -1, Celsius: 25}})
		r.packed(&frame.Frame{Kind: frame.Readings, Readings: raw})
		var got []int
		for _, s := range r.scans() {
			percent, known := s.Battery.Percent()
			if !known {
				percent = -1
			}
			got = append(got, percent)
		}
		if !slices.Equal(got, want) {
			t.Errorf("scans carry %v, want %v", got, want)
		}
	})
}

// A voltage makes hours only where it is known at which one the device stops.
func TestABatteryThatTellsItsVoltage(t *testing.T) {
	for _, empty := range []int{0, 3300} {
		b := func(l Link) Bridge {
			b := mattress(l)
			b.Sources[0].BatteryEmptyMV = empty
			return b
		}
		bubble(t, b, func(r *rig) {
			for n := range 3 * 60 {
				r.packed(&frame.Frame{Kind: frame.Status, Health: frame.Health{BatteryMV: 4000 - 2*n, BatteryPercent: -1, Celsius: frame.NoCelsius}})
				r.pass(59 * time.Second)
			}
			e := r.sup.Status().Sources[0].Condition.Battery
			if falls := empty > 0; falls != (e.State == battery.Falling) || e.MV != 4000-2*179 {
				t.Errorf("empty at %d mV: %+v", empty, e)
			}
		})
	}
}

func TestTheConditionIsAskedForOnceASecond(t *testing.T) {
	e := examination{every: time.Second}
	for _, c := range []struct {
		now   sample.Instant
		state LinkState
		want  bool
	}{
		{sample.Past, Stopped, true}, // the first time
		{sample.Past, Stopped, false},
		{1e9, Stopped, true},
		{2e9 - 1, Stopped, false},
		{2e9 - 1, Open, true}, // something has happened
		{3e9 - 2, Open, false},
		{3e9 - 1, Open, true},
		{1e9, Open, true}, // the clock was set
	} {
		if got := e.due(c.now, c.state); got != c.want {
			t.Errorf("at %d, %s: %v", c.now, c.state, got)
		}
	}
}
