package assembly

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

func TestRebootAmidAScan(t *testing.T) {
	r := plain(t)
	r.steady(0, 300)
	r.give(30_000, part(300, 30_000, 0, true, 1, 2))
	r.give(33_000, part(0, 0, 0, true, 5, 6))
	r.give(33_001, part(1, 0, 2, false, 7, 8))
	s := r.got[len(r.got)-2:]
	readings(t, "what was there before", s[0].Values, 1, 2, nan, nan)
	readings(t, "what came after", s[1].Values, 5, 6, 7, 8)
	if s[0].At != at(30_000) || s[1].At != at(33_000) {
		t.Errorf("they are at %v and %v, want %v and %v", s[0].At, s[1].At, at(30_000), at(33_000))
	}
}

// What is not out yet moves with the host's clock and is not forgotten.
func TestAsideIsFlushedClosedAndMoved(t *testing.T) {
	r := plain(t)
	r.steady(0, 100)
	r.give(10_000, stored(part(100, 2000, 0, true, 5, 6)))
	r.a.Flush(at(10_299))
	r.counted("scans too early", func(s Stats) uint64 { return s.Scans }, 100)
	r.a.Step(-time.Hour)
	r.a.Flush(at(10_300 - 3_600_000))
	r.counted("scans", func(s Stats) uint64 { return s.Scans }, 101)
	if got, want := r.got[100].At, at(2000-3_600_000); got != want {
		t.Errorf("the stored scan is at %v, want %v", got, want)
	}
	r.give(10_400-3_600_000, stored(part(101, 2100, 0, true, 5, 6)))
	r.a.Close()
	r.counted("scans at the end", func(s Stats) uint64 { return s.Scans }, 102)
}

// Parts of a scan that was overtaken and of one that was stored may come in turn:
// neither ends the other.
func TestOvertakenAndStoredPartsInTurn(t *testing.T) {
	r := plain(t)
	r.steady(0, 100, 50, 51)
	r.got = nil
	r.give(10_000, part(50, 5000, 0, true, 1, 2))
	r.give(10_001, stored(part(4_000_000_000, 2050, 0, true, 5, 6)))
	r.give(10_002, part(51, 5000, 2, false, 3, 4))
	r.give(10_003, stored(part(4_000_000_001, 2050, 2, false, 7, 8)))
	if len(r.got) != 2 {
		t.Fatalf("%d scans came out, want the overtaken and the stored one", len(r.got))
	}
	readings(t, "overtaken", r.got[0].Values, 1, 2, 3, 4)
	readings(t, "stored", r.got[1].Values, 5, 6, 7, 8)
	r.counted("incomplete", incomplete, 0)
}

// While the clock catches up with a pause of the device, a frame that was
// overtaken stays behind those that overtook it, and so makes no live scan late.
func TestOvertakenWhileTheClockIsSlewed(t *testing.T) {
	r := plain(t)
	arrival := func(i int) int {
		if i >= 3000 {
			return i*100 + 1500
		}
		return i * 100
	}
	send := func(i, ms int) { r.give(ms, scan(uint32(i), uint32(i)*100, 1, 2, 3, 4)) }
	for i := 0; i < 9000; i++ {
		if i > 8000 && i%20 == 0 {
			send(i+1, arrival(i+1))
			send(i, arrival(i+1))
			i++
			continue
		}
		send(i, arrival(i))
	}
	if r.a.Stats().Late < 9 {
		t.Fatalf("%d frames were overtaken, so nothing was shown", r.a.Stats().Late)
	}
	newest := sample.Past
	for i, s := range r.got {
		if overtaken := i > 0 && s.Seq < r.got[i-1].Seq; !overtaken && s.At < newest {
			t.Fatalf("live scan %d at %v comes after one at %v", s.Seq, s.At, newest)
		}
		newest = max(newest, s.At)
	}
}

func TestSuspectsMoveWithTheHost(t *testing.T) {
	m := newMat()
	r := newMatRig(t)
	r.send(m.body())
	r.send(m.garbled())
	r.a.Step(time.Hour)
	r.a.Close()
	if got, want := r.got[1].At, at(1000+3_600_000); got != want {
		t.Errorf("the scan that was kept back is at %v, want %v", got, want)
	}
}

// A hole that reaches beyond what is remembered cannot be told from a reboot,
// and a status that was overtaken is counted and no more.
func TestHolesAtTheEdge(t *testing.T) {
	r := plain(t)
	r.steady(0, 100)
	r.give(40_000, scan(400, 40_000, 1, 2, 3, 4))
	r.give(40_001, scan(390, 39_000, 1, 2, 3, 4))
	r.counted("epochs", epochs, 2)

	r = plain(t)
	r.steady(0, 100, 50)
	r.give(10_000, &frame.Frame{Kind: frame.Status, Seq: 50, Millis: 5000, Wall: sample.Never})
	r.stand("an overtaken status", 99, 1, 0, 1, 1)
	r.give(10_001, stored(scan(99, 9900, 1, 2, 3, 4)))
	r.stand("a live frame sent again as stored", 99, 1, 1, 1, 1)
}

func TestRowsOfParts(t *testing.T) {
	r := newRig(t, Config{Channels: 4, Unit: calib.MMHg, OwnTime: true})
	row := func(wall sample.Instant, first int, more bool, v ...float64) *frame.Frame {
		f := part(0, 0, first, more, v...)
		f.Wall = wall
		return f
	}
	r.give(0, row(1000, 0, true, 1, 2))
	r.give(0, row(2000, 2, false, 3, 4))
	readings(t, "a row of another time is another scan", r.got[0].Values, 1, 2, nan, nan)
	readings(t, "and has its own", r.got[1].Values, nan, nan, 3, 4)
	r.a.Step(time.Hour)
	status := &frame.Frame{Kind: frame.Status, Wall: 2500}
	r.give(0, status)
	r.give(0, row(3000, 0, false, 1, 2, 3, 4))
	if got := r.got[2].At; got != 3000 {
		t.Errorf("after the host's step a row is at %v, want its own time", got)
	}
}

func TestCalibrated(t *testing.T) {
	for _, c := range []struct {
		config Config
		want   bool
	}{
		{Config{Channels: 1}, false},
		{Config{Channels: 1, Unit: calib.MMHg}, true},
		{Config{Channels: 1, Lines: []calib.Line{{Slope: 1}}}, true},
	} {
		if got := newRig(t, c.config).a.Calibrated(); got != c.want {
			t.Errorf("%+v is calibrated: %v, want %v", c.config, got, c.want)
		}
	}
}

// Whatever frames come: none panics, event times of live scans never run
// backwards, no scan is later than its arrival, and no more scans come out than
// frames went in.
func TestAnyFrames(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		last, scans := sample.Past, 0
		now := start
		channels := rapid.SampledFrom([]int{1, 4, 63, 64, 65, 200}).Draw(rt, "channels")
		a, err := New(Config{Channels: channels, Unit: calib.Counts, Lines: []calib.Line{{Slope: 1}}}, func(s *sample.Scan) {
			scans++
			if len(s.Values) != channels || len(s.Raw) != channels {
				rt.Fatalf("%d values and %d raw readings of %d channels", len(s.Values), len(s.Raw), channels)
			}
			if s.At > s.Arrived && !s.Stored || s.Arrived > now {
				rt.Fatalf("a scan at %v that arrived at %v, at %v", s.At, s.Arrived, now)
			}
		})
		if err != nil {
			rt.Fatal(err)
		}
		seq, ms, sent := rapid.Uint32().Draw(rt, "seq"), rapid.Uint32().Draw(rt, "ms"), 0
		for range rapid.IntRange(1, 200).Draw(rt, "frames") {
			now = now.Add(time.Duration(rapid.Int64Range(0, int64(200*time.Millisecond)).Draw(rt, "wait")))
			step := rapid.SampledFrom([]int32{1, 1, 1, 1, 0, 2, 5, -1, -3, -300, 100_000}).Draw(rt, "step")
			seq += uint32(step)
			ms += uint32(step) * 100
			first := rapid.IntRange(-1, channels).Draw(rt, "first")
			f := frame.Frame{
				Kind: rapid.SampledFrom([]frame.Kind{frame.Readings, frame.Readings, frame.Readings, frame.Status}).Draw(rt, "kind"),
				Seq:  seq, Millis: ms, Wall: sample.Never, First: first,
				Readings: make([]float64, rapid.IntRange(0, channels+1).Draw(rt, "count")),
				More:     rapid.Bool().Draw(rt, "more"), Stored: rapid.IntRange(0, 5).Draw(rt, "stored") == 0,
			}
			for i := range f.Readings {
				f.Readings[i] = float64(256 * (i%16 + 1))
			}
			if a.Frame(&f, now) == nil {
				sent++
			} else if f.First >= 0 && f.First+len(f.Readings) <= channels {
				rt.Fatalf("channels %d and %d more of %d were refused", f.First, len(f.Readings), channels)
			}
			if e := a.Stats().LastEvent; e < last || e > now {
				rt.Fatalf("the newest event is at %v, it was at %v and now is %v", e, last, now)
			} else {
				last = e
			}
			a.Flush(now)
		}
		a.Close()
		if s := a.Stats(); scans > sent || s.Frames != uint64(sent) || s.Scans != uint64(scans) {
			rt.Fatalf("%d scans of %d frames, %+v", scans, sent, s)
		}
	})
}
