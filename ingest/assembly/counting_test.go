package assembly

import (
	"testing"
	"time"

	"weald/ingest/calib"
)

// at10Hz gives n scans at 10/s from number from on, with the counter that count
// gives for each.
func (r *rig) at10Hz(from, n int, count func(i int) uint32) {
	r.t.Helper()
	for i := from; i < from+n; i++ {
		r.give(i*100, scan(uint32(i), count(i), 1, 2, 3, 4))
	}
}

// Whatever an unusable counter counts: after 3 s every scan is at its arrival,
// no restart is made up, and when the counter makes sense time goes on by it.
func TestACounterOfNoUse(t *testing.T) {
	still := func(int) uint32 { return 0 }
	for _, c := range []struct {
		name   string
		count  func(i int) uint32
		counts Counting
	}{
		{"stands still", still, Nothing},
		{"stands still elsewhere", func(int) uint32 { return 12345 }, Nothing},
		{"seconds", func(i int) uint32 { return uint32(i / 10) }, Seconds},
		{"microseconds", func(i int) uint32 { return uint32(i) * 100_000 }, Microseconds},
	} {
		for _, period := range []time.Duration{0, 100 * time.Millisecond} {
			t.Run(c.name, func(t *testing.T) {
				r := newRig(t, Config{Channels: 4, Unit: calib.MMHg, Period: period})
				r.at10Hz(0, 600, c.count)
				s := r.a.Stats()
				if s.Counting != c.counts || s.Epochs != 1 || s.Restarts != 0 || s.Gaps != 0 || s.Scans != 600 {
					t.Fatalf("%+v", s)
				}
				if s.Skew == s.Skew {
					t.Errorf("the skew is said to be %v", s.Skew)
				}
				for i, got := range r.got {
					if want := at(i * 100); i > 32 && got.At != want || got.At > want || i > 0 && got.At < r.got[i-1].At {
						t.Fatalf("scan %d is at %v, it arrived at %v", i, got.At, want)
					}
				}
				r.at10Hz(600, 100, func(i int) uint32 { return uint32(i)*100 + 1_000_000_000 })
				if s := r.a.Stats(); s.Counting != Milliseconds || s.Gaps != 0 {
					t.Errorf("once it counts milliseconds: %+v", s)
				}
				r.give(70_050, scan(700, 1_000_070_000, 1, 2, 3, 4)) // delayed by 50 ms
				if got := r.got[len(r.got)-1].At; got != at(70_000) {
					t.Errorf("a delayed scan is at %v, want %v", got, at(70_000))
				}
			})
		}
	}
}

func TestACounterThatStopsAndADeviceThatRestarts(t *testing.T) {
	r := plain(t)
	r.steady(0, 100)
	r.at10Hz(100, 100, func(int) uint32 { return 9900 })
	if s := r.a.Stats(); s.Counting != Nothing || s.Epochs != 1 || r.got[len(r.got)-1].At != at(19_900) {
		t.Errorf("%+v", s)
	}
	r = plain(t)
	r.at10Hz(0, 100, func(int) uint32 { return 0 })
	for i := range 100 {
		r.give(20_000+i*100, scan(uint32(i), 0, 1, 2, 3, 4))
	}
	if s := r.a.Stats(); s.Scans < 165 || s.Restarts != 1 || r.got[len(r.got)-1].At != at(29_900) {
		t.Errorf("after a restart: %+v", s)
	}
}

// What waited while a way was blocked is no counter of microseconds, though it
// may come a thousand times as fast as it was recorded, and first of all.
func TestAQueueIsNoCounterOfMicroseconds(t *testing.T) {
	for _, period := range []time.Duration{0, time.Second} {
		r := newRig(t, Config{Channels: 4, Unit: calib.MMHg, Period: period})
		for i := range 6000 {
			r.give(6_000_000+i, scan(uint32(i), uint32(i)*1000, 1, 2, 3, 4))
		}
		if s := r.a.Stats(); s.Counting != Milliseconds {
			t.Errorf("period %v: %+v", period, s)
		}
	}
}

// Parts of one scan share a counter, however slowly they come.
func TestPartsAreNoCounterThatStandsStill(t *testing.T) {
	r := plain(t)
	for i := range 4 {
		r.give(i*2000, part(uint32(i), 5000, i, i < 3, 1))
		r.a.Flush(at(i*2000 + 1000))
	}
	r.give(8000, part(4, 13_000, 0, true, 1))
	if s := r.a.Stats(); s.Counting != Milliseconds {
		t.Errorf("%+v", s)
	}
}
