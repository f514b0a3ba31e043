package assembly

import (
	"math"
	"testing"
	"time"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

func TestWholeFrames(t *testing.T) {
	r := newRig(t, Config{Index: 7, Channels: 4, Unit: calib.MMHg})
	r.give(5, scan(1, 100, 1, 2, nan, 4))
	r.give(106, scan(2, 200, 5, 6, 7, 8))
	r.wants("two frames", 1, 2)
	s := r.got[0]
	readings(t, "values", s.Values, 1, 2, nan, 4)
	readings(t, "raw", s.Raw, 1, 2, nan, 4)
	if s.Source != 7 || s.At != at(5) || s.Arrived != at(5) || s.Stored {
		t.Errorf("first scan %+v, want source 7 at %v", s, at(5))
	}
	if s := r.got[1]; s.At != at(105) || s.Arrived != at(106) {
		t.Errorf("second scan at %v, arrived %v, want %v by the device's counter and %v", s.At, s.Arrived, at(105), at(106))
	}
}

func TestParts(t *testing.T) {
	t.Run("two, numbered each", func(t *testing.T) {
		r := plain(t)
		r.give(0, part(1, 100, 0, true, 1, 2))
		r.wants("after the first part")
		r.give(3, part(2, 100, 2, false, 3, 4))
		r.wants("after the last part", 2)
		readings(t, "values", r.got[0].Values, 1, 2, 3, 4)
		if r.got[0].At != at(0) || r.got[0].Arrived != at(3) {
			t.Errorf("scan %+v, want it sampled at 0 ms and here at 3 ms", r.got[0])
		}
		r.counted("incomplete", incomplete, 0)
	})
	t.Run("two that share a number", func(t *testing.T) {
		r := plain(t)
		r.give(0, part(1, 100, 0, true, 1, 2))
		r.give(1, part(1, 100, 0, true, 1, 2)) // this one is a repeat
		r.give(3, part(1, 100, 2, false, 3, 4))
		r.give(4, part(1, 100, 2, false, 3, 4)) // and so is this
		r.give(100, part(2, 200, 0, true, 5, 6))
		r.give(103, part(2, 200, 2, false, 7, 8))
		r.wants("two scans", 1, 2)
		readings(t, "first", r.got[0].Values, 1, 2, 3, 4)
		readings(t, "second", r.got[1].Values, 5, 6, 7, 8)
		r.counted("repeats", repeats, 2)
		r.counted("gaps", gaps, 0)
	})
	t.Run("the last lost", func(t *testing.T) {
		r := plain(t)
		r.give(0, part(1, 100, 0, true, 1, 2))
		r.give(100, part(3, 200, 0, true, 5, 6))
		r.wants("the next scan has begun", 1)
		readings(t, "what there is of it", r.got[0].Values, 1, 2, nan, nan)
		r.give(101, part(4, 200, 2, false, 7, 8))
		readings(t, "nothing of it stays behind", r.got[1].Values, 5, 6, 7, 8)
		r.counted("incomplete", incomplete, 1)
		r.counted("gaps", gaps, 1)
	})
	t.Run("the first lost", func(t *testing.T) {
		r := plain(t)
		r.give(0, scan(1, 100, 9, 9, 9, 9))
		r.give(100, part(3, 200, 2, false, 3, 4))
		readings(t, "not the readings of before", r.got[1].Values, nan, nan, 3, 4)
		readings(t, "raw", r.got[1].Raw, nan, nan, 3, 4)
		r.counted("incomplete", incomplete, 1)
	})
	t.Run("the same channels again", func(t *testing.T) {
		r := plain(t)
		r.give(0, part(1, 100, 0, true, 1, 2))
		r.give(0, part(2, 100, 0, true, 5, 6)) // twice in one millisecond
		r.give(0, part(3, 100, 2, false, 7, 8))
		r.wants("two scans", 1, 3)
		readings(t, "second", r.got[1].Values, 5, 6, 7, 8)
	})
	t.Run("in the wrong order", func(t *testing.T) {
		r := plain(t)
		r.give(0, scan(1, 0, 0, 0, 0, 0))
		r.give(100, part(3, 100, 1, true, 2, 3))
		r.give(101, part(2, 100, 0, true, 1))
		r.give(102, part(4, 100, 3, false, 4))
		r.wants("one scan of three", 1, 4)
		readings(t, "all of it", r.got[1].Values, 1, 2, 3, 4)
		r.counted("late", lateOnes, 1)
		r.counted("incomplete", incomplete, 0)
	})
	t.Run("fewer readings than channels", func(t *testing.T) {
		r := plain(t)
		r.give(0, scan(1, 0, 1, 2))
		readings(t, "values", r.got[0].Values, 1, 2, nan, nan)
		r.counted("incomplete", incomplete, 1)
	})
	t.Run("a status between two parts", func(t *testing.T) {
		r := plain(t)
		r.give(0, part(1, 100, 0, true, 1, 2))
		r.give(1, &frame.Frame{Kind: frame.Status, Seq: 2, Millis: 101, Wall: sample.Never})
		r.give(2, part(3, 100, 2, false, 3, 4))
		r.give(100, scan(4, 200, 5, 6, 7, 8))
		r.wants("two scans", 3, 4)
		readings(t, "first", r.got[0].Values, 1, 2, 3, 4)
		r.counted("epochs", epochs, 1)
	})
}

func TestFlush(t *testing.T) {
	r := plain(t)
	r.give(0, part(1, 100, 0, true, 1, 2))
	r.a.Flush(at(299))
	r.wants("too early")
	r.a.Flush(at(300))
	r.wants("after 300 ms", 1)
	r.a.Flush(at(1300))
	r.wants("once only", 1)
	readings(t, "values", r.got[0].Values, 1, 2, nan, nan)
	r.give(1400, part(2, 1500, 0, true, 1, 2))
	r.a.Close()
	r.wants("the input is over", 1, 2)
	r.a.Close()
	r.wants("and stays so", 1, 2)
}

func TestForeignChannelsAreRefusedWhole(t *testing.T) {
	r := plain(t)
	r.give(0, scan(1, 0, 1, 2, 3, 4))
	before := r.a.Stats()
	for _, f := range []*frame.Frame{
		scan(2, 100, 1, 2, 3, 4, 5), part(2, 100, 4, false, 1), part(2, 100, -1, false, 1), part(2, 100, 70000, true, 1),
	} {
		bad := r.a.Frame(f, at(100))
		if bad == nil || bad.Reason != frame.BadChannel {
			t.Errorf("channels from %d on, %d of them: %v, want it refused for its channels", f.First, len(f.Readings), bad)
		}
	}
	if after := r.a.Stats(); after.Frames != before.Frames || after.LastArrival != before.LastArrival || after.Gaps != 0 {
		t.Errorf("a refused frame left %+v, want %+v", after, before)
	}
	r.wants("nothing of it comes out", 1)
}

func TestRails(t *testing.T) {
	line := []calib.Line{{Slope: 0.5}}
	for _, c := range []struct {
		name   string
		config Config
		top    float64
		values []float64
		count  uint64
	}{
		{"none", Config{Lines: line}, 0, []float64{0, 50, 2047, 2047.5}, 0},
		{"the coding's top", Config{Lines: line}, 4095, []float64{0, 50, 2047, nan}, 1},
		{"configured, below the top", Config{Lines: line, SaturatesAt: 4000}, 4095, []float64{0, 50, nan, nan}, 2},
		{"configured, above the top", Config{Lines: line, SaturatesAt: 5000}, 4095, []float64{0, 50, 2047, 2047.5}, 0},
		{"not calibrated", Config{}, 4095, []float64{nan, nan, nan, nan}, 1},
		{"mmHg", Config{Unit: calib.MMHg, SaturatesAt: 4094}, 0, []float64{0, 100, nan, nan}, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.config.Channels = 4
			r := newRig(t, c.config)
			f := scan(1, 0, 0, 100, 4094, 4095)
			f.Top = c.top
			r.give(0, f)
			readings(t, "values", r.got[0].Values, c.values...)
			readings(t, "raw stays", r.got[0].Raw, 0, 100, 4094, 4095)
			r.counted("saturated", saturated, c.count)
			r.give(100, scan(2, 100, 0, 0, 0, 0))
			r.counted("saturated in all", saturated, c.count)
			if got := r.a.Stats().LastSaturated; got != 0 {
				t.Errorf("%d readings of the newest scan at the rail, want none", got)
			}
		})
	}
}

func TestCalibrationErrors(t *testing.T) {
	if _, err := New(Config{Channels: 2, Lines: make([]calib.Line, 2)}, func(*sample.Scan) {}); err == nil {
		t.Error("a calibration with slope 0 was taken")
	}
}

func TestOwnTime(t *testing.T) {
	r := newRig(t, Config{Channels: 2, Unit: calib.MMHg, OwnTime: true})
	row := func(wall sample.Instant, seq uint32) *frame.Frame {
		f := scan(seq, 0, 1, 2)
		f.Wall = wall
		return f
	}
	r.give(0, row(1000, 0))
	r.give(0, row(3000, 0))
	r.give(0, row(2000, 9)) // numbers mean nothing here
	r.give(0, row(2500, 3))
	r.give(0, row(4000, 3))
	var got []sample.Instant
	for _, s := range r.got {
		got = append(got, s.At)
	}
	if want := []sample.Instant{1000, 3000, 2000, 2500, 4000}; len(got) != 5 || [5]sample.Instant(got) != [5]sample.Instant(want) {
		t.Errorf("rows at %v, want %v", got, want)
	}
	r.counted("late", lateOnes, 2)
	r.counted("gaps", gaps, 0)
	r.counted("repeats", repeats, 0)
	if s := r.a.Stats(); s.LastEvent != 4000 || s.Epochs != 0 {
		t.Errorf("stats %+v, want the newest row at 4000 and no epoch", s)
	}
	if bad := r.a.Frame(row(sample.Never, 0), at(0)); bad == nil || bad.Reason != frame.BadTime {
		t.Errorf("a row without a time: %v, want it refused for its time", bad)
	}
}

func TestUnnumbered(t *testing.T) {
	r := newRig(t, Config{Channels: 1, Unit: calib.MMHg, Unnumbered: true})
	for i, ms := range []uint32{1000, 1100, 1300, 50, 150} { // it restarts before the fourth
		r.give(i*100, scan(uint32(i%2), ms, 1))
	}
	r.counted("scans", func(s Stats) uint64 { return s.Scans }, 5)
	r.counted("gaps", gaps, 0)
	r.counted("repeats", repeats, 0)
	r.counted("epochs", epochs, 2)
}

func TestRate(t *testing.T) {
	r := plain(t)
	if got := r.a.Stats().Rate; got == got {
		t.Errorf("rate %v before the first scan, want not known", got)
	}
	seq, now := uint32(0), 0
	run := func(every, n int) {
		for range n {
			r.give(now, scan(seq, uint32(now), 1, 2, 3, 4))
			seq, now = seq+1, now+every
		}
	}
	run(100, 10)
	if got := r.a.Stats().Rate; math.Abs(got-10) > 0.01 {
		t.Errorf("rate %v after a second of 10/s", got)
	}
	run(100, 300)
	run(50, 300) // 15 s: the slower ones are forgotten
	if got := r.a.Stats().Rate; math.Abs(got-20) > 0.1 {
		t.Errorf("rate %v after 15 s of 20/s", got)
	}
	run(20000, 5)
	if got := r.a.Stats().Rate; math.Abs(got-0.05) > 0.001 {
		t.Errorf("rate %v of a scan every 20 s", got)
	}
}

// What a port held back before anybody listened comes at once, and is no faster a source.
func TestRateOfScansThatWaited(t *testing.T) {
	r := plain(t)
	for i := range 300 {
		r.give(max(8000, i*100), scan(uint32(i), uint32(i*100), 1, 2, 3, 4))
		if got := r.a.Stats().Rate; i >= 10 && math.Abs(got-10) > 0.01 {
			t.Fatalf("rate %v after %d scans, of which 80 waited", got, i+1)
		}
	}
}

func TestStep(t *testing.T) {
	r := plain(t)
	r.give(0, scan(1, 0, 1, 2, 3, 4))
	r.give(100, part(2, 100, 0, true, 1, 2))
	r.a.Step(time.Hour)
	r.give(3_600_101, part(3, 100, 2, false, 3, 4))
	r.give(3_600_200, scan(4, 200, 1, 2, 3, 4))
	r.wants("the scan that was open is whole", 1, 3, 4)
	if got, want := r.got[1].At, at(3_600_100); got != want {
		t.Errorf("the scan that was open is at %v, want %v", got, want)
	}
	if got, want := r.got[2].At, at(3_600_200); got != want {
		t.Errorf("the next is at %v, want %v", got, want)
	}
	r.counted("epochs", epochs, 2)
}
