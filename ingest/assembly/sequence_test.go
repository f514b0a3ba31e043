package assembly

import (
	"math/rand/v2"
	"slices"
	"sort"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/sample"
)

// steady gives frames from number from up to but not including to, one every
// 100 ms by the device and the host, but those left out.
func (r *rig) steady(from, to uint32, leftOut ...uint32) {
	r.t.Helper()
	for n := from; n != to; n++ {
		if !slices.Contains(leftOut, n) {
			r.give(int(n-from)*100+int(from)*100, scan(n, n*100, 1, 2, 3, 4))
		}
	}
}

func (r *rig) stand(what string, scans, gap, again, behind, epoch uint64) {
	r.t.Helper()
	s := r.a.Stats()
	if got, want := [5]uint64{s.Scans, s.Gaps, s.Repeats, s.Late, uint64(s.Epochs)}, [5]uint64{scans, gap, again, behind, epoch}; got != want {
		r.t.Errorf("%s: scans, gaps, repeats, late, epochs %v, want %v", what, got, want)
	}
}

func TestGapsAndRepeats(t *testing.T) {
	r := plain(t)
	r.steady(10, 20)
	r.stand("no gap before the first frame", 10, 0, 0, 0, 1)
	r.steady(20, 30, 22, 23, 24, 27)
	r.stand("three and one missing", 16, 4, 0, 0, 1)
	r.give(2950, scan(29, 2900, 1, 2, 3, 4))
	r.give(2951, scan(28, 2800, 1, 2, 3, 4))
	r.give(2952, scan(21, 2100, 1, 2, 3, 4))
	r.stand("the last, the last but one and an older one again", 16, 4, 3, 0, 1)
	r.steady(30, 31)
	r.stand("and on", 17, 4, 3, 0, 1)
}

func TestNumbersWrap(t *testing.T) {
	r := plain(t)
	for i := range uint32(20) {
		n := i - 10 // from 2^32 - 10 on
		if i == 9 || i == 10 {
			continue // 2^32 - 1 and 0
		}
		r.give(int(i)*100, scan(n, i*100-500, 1, 2, 3, 4)) // the counter wraps as well
	}
	r.stand("across both wraps", 18, 2, 0, 0, 1)
	r.give(2000, scan(1<<32-1, 400, 1, 2, 3, 4))
	r.stand("an overtaken one from before the wrap", 19, 2, 0, 1, 1)
	r.give(2001, scan(1<<32-2, 300, 1, 2, 3, 4))
	r.stand("a repeat of one from before the wrap", 19, 2, 1, 1, 1)
}

func TestOvertaken(t *testing.T) {
	r := plain(t)
	r.steady(0, 100, 90, 91)
	before := r.a.clock
	r.give(10050, scan(90, 9000, 5, 6, 7, 8))
	r.stand("it fills the hole", 99, 2, 0, 1, 1)
	if r.a.clock != before {
		t.Error("an overtaken frame has moved the clock")
	}
	late := r.got[len(r.got)-1]
	if late.At != at(9000) || late.Arrived != at(10050) || late.Seq != 90 || late.Stored {
		t.Errorf("it is %+v, want it at its own time %v", late, at(9000))
	}
	readings(t, "values", late.Values, 5, 6, 7, 8)
	if got := r.a.Stats().LastEvent; got != at(9900) {
		t.Errorf("the newest event is at %v, want %v", got, at(9900))
	}
	r.give(10060, scan(90, 9000, 5, 6, 7, 8))
	r.stand("once only", 99, 2, 1, 1, 1)
	r.give(10070, scan(91, 9050, 5, 6, 7, 8))
	r.stand("its counter lies between those around it", 100, 2, 1, 2, 1)
}

func TestReboots(t *testing.T) {
	for _, c := range []struct {
		name    string
		seq, ms uint32
	}{
		{"number and counter start again", 0, 0},
		{"number and counter start again, not at 0", 3, 1234},
		{"the number starts again, the counter is ahead", 0, 40_000},
		{"the counter starts again, the number goes on", 300, 0},
		{"in a hole by its number, not by its counter", 290, 500},
		{"received by its number, not by its counter", 280, 500},
		{"a leap in number that no device can make", 5_000_000, 30_000},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := plain(t)
			r.steady(0, 300, 290)
			r.give(33000, scan(c.seq, c.ms, 1, 2, 3, 4))
			r.stand("the first frame after", 300, 1, 0, 0, 2)
			if got := r.got[len(r.got)-1].At; got != at(33000) {
				t.Errorf("it is at %v, want when it arrived, %v", got, at(33000))
			}
			r.give(33200, scan(c.seq+2, c.ms+200, 1, 2, 3, 4))
			r.stand("the sequence goes on from there", 301, 2, 0, 0, 2)
		})
	}
}

func TestUnnumberedByTheDevice(t *testing.T) {
	r := plain(t)
	for i := range uint32(20) {
		r.give(int(i)*100, scan(0, i*100, 1, 2, 3, 4))
	}
	r.stand("the same number always", 20, 0, 0, 0, 1)
}

// A device that restarts before its numbers are forgotten sends the very
// numbers and counters that it has sent before.
func TestRestartsEarly(t *testing.T) {
	r := plain(t)
	r.steady(0, 100)
	for i := range uint32(50) {
		r.give(15000+int(i)*100, scan(i, i*100, 1, 2, 3, 4))
	}
	s := r.a.Stats()
	if s.Epochs != 2 || s.Repeats != 10 || s.Scans != 140 {
		t.Errorf("%+v, want a second epoch after a second of repeats, 10 of them", s)
	}
	if got := r.got[len(r.got)-1].At; got != at(19900) {
		t.Errorf("the newest is at %v, want %v", got, at(19900))
	}
}

// It sends other readings with them, and that tells at once: nothing is lost.
func TestRestartsEarlyWithOtherReadings(t *testing.T) {
	r := plain(t)
	r.steady(0, 100)
	for i := range uint32(50) {
		r.give(15000+int(i)*100, scan(i, i*100, 1, 2, 3, 4.5))
	}
	r.stand("every scan of the second life", 150, 0, 0, 0, 2)
	if got := r.got[100].At; got != at(15000) {
		t.Errorf("the first one is at %v, want when it came", got)
	}
	r.give(20_010, scan(48, 4800, 1, 2, 3, 4.5))
	r.stand("a true repeat is one still", 150, 0, 1, 0, 2)
}

// Parts that a device gives one number are not each other's repeats, whatever
// they read.
func TestRepeatedPartsOfOneNumber(t *testing.T) {
	r := plain(t)
	for n := range uint32(3) {
		r.give(int(n)*100, part(n, n*100, 0, true, 1, 2))
		r.give(int(n)*100, part(n, n*100, 2, false, 3, 4))
	}
	r.give(250, part(1, 100, 2, false, 3, 4))
	r.stand("the second part again", 3, 0, 1, 0, 1)
}

// A broker that was away sends again what was not confirmed, all at once.
func TestRepeatsInABurst(t *testing.T) {
	r := plain(t)
	r.steady(0, 100)
	for i := range uint32(90) {
		r.give(10000+int(i), scan(i+5, (i+5)*100, 1, 2, 3, 4))
	}
	r.stand("90 repeats", 100, 0, 90, 0, 1)
	r.give(10100, scan(101, 10100, 1, 2, 3, 4))
	r.stand("and on", 101, 1, 90, 0, 1)
}

func TestStoredFrames(t *testing.T) {
	t.Run("before anything is known", func(t *testing.T) {
		r := plain(t)
		r.give(0, stored(scan(1, 100, 1, 2, 3, 4)))
		r.give(1, stored(scan(2, 200, 1, 2, 3, 4)))
		r.counted("unplaced", unplaced, 2)
		r.steady(50, 52)
		r.stand("live ones begin the sequence", 2, 0, 0, 0, 1)
	})
	t.Run("after the live ones have gone on", func(t *testing.T) {
		r := plain(t)
		r.steady(0, 1000, span(100, 600)...)
		before := r.a.clock
		for n := uint32(100); n < 600; n++ {
			r.give(100_000, stored(scan(n, n*100, 5, 6, 7, 8)))
			r.give(100_000, stored(scan(n, n*100, 5, 6, 7, 8))) // each twice
		}
		r.stand("500 stored, and again", 1000, 500, 500, 0, 1)
		first := r.got[500]
		if first.At != at(10_000) || !first.Stored || first.Seq != 100 {
			t.Errorf("the first stored one is %+v, want it at %v", first, at(10_000))
		}
		if r.a.clock != before {
			t.Error("stored frames have moved the clock")
		}
		if got := r.a.Stats().LastEvent; got != at(99_900) {
			t.Errorf("the newest event is at %v, want %v", got, at(99_900))
		}
	})
	t.Run("before the live ones go on", func(t *testing.T) {
		r := plain(t)
		r.steady(0, 100)
		for n := uint32(100); n < 600; n++ {
			r.give(60_000+int(n), stored(scan(n, n*100, 5, 6, 7, 8)))
		}
		r.give(61_000, scan(600, 61_000, 1, 2, 3, 4))
		r.stand("no gap", 601, 0, 0, 0, 1)
	})
	t.Run("of an earlier boot", func(t *testing.T) {
		r := plain(t)
		r.steady(0, 100)
		r.give(10_000, stored(scan(5000, 500_000, 5, 6, 7, 8)))
		r.counted("unplaced", unplaced, 1)
		r.steady(100, 200)
		r.stand("it has not disturbed the sequence", 200, 0, 0, 0, 1)
	})
	t.Run("in parts, among the live ones", func(t *testing.T) {
		r := plain(t)
		r.steady(0, 100)
		r.give(10_000, part(100, 10_000, 0, true, 1, 2))
		r.give(10_001, stored(part(40_000, 2000, 0, true, 5, 6)))
		r.give(10_002, part(101, 10_000, 2, false, 3, 4))
		r.give(10_003, stored(part(40_001, 2000, 2, false, 7, 8)))
		s := r.got[len(r.got)-2:]
		readings(t, "live", s[0].Values, 1, 2, 3, 4)
		readings(t, "stored", s[1].Values, 5, 6, 7, 8)
		r.counted("incomplete", incomplete, 0)
	})
}

func span(from, to uint32) (all []uint32) {
	for n := from; n < to; n++ {
		all = append(all, n)
	}
	return all
}

// Whatever a road loses, doubles and reorders within what is remembered: every
// frame that arrives comes out once, at its own time, and no reboot is seen.
func TestAnyRoad(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64().Draw(rt, "seed")
		loss := rapid.Float64Range(0, 0.5).Draw(rt, "loss")
		double := rapid.Float64Range(0, 0.5).Draw(rt, "double")
		delay := rapid.SampledFrom([]float64{0, 30, 300, 3000}).Draw(rt, "delay")
		first := rapid.SampledFrom([]uint32{0, 1 << 31, 1<<32 - 100}).Draw(rt, "first")
		rnd := rand.New(rand.NewPCG(seed, 3))

		type sent struct {
			i   uint32
			due float64
		}
		var road []sent
		lost := 0
		for i := range uint32(300) {
			if i > 0 && i < 299 && rnd.Float64() < loss {
				lost++
				continue
			}
			late := 0.0
			if i > 0 && i < 299 {
				late = delay * rnd.Float64()
			}
			road = append(road, sent{i, float64(i)*100 + late})
			if rnd.Float64() < double && i > 0 {
				road = append(road, sent{i, float64(i)*100 + late + 500*rnd.Float64()})
			}
		}
		sort.SliceStable(road, func(a, b int) bool { return road[a].due < road[b].due })

		r := newRig(t, Config{Channels: 1, Unit: calib.MMHg})
		arrived := map[uint32]bool{}
		for _, f := range road {
			r.give(int(f.due), scan(first+f.i, first+f.i*100, float64(f.i)))
			arrived[first+f.i] = true
		}
		out := map[uint32]bool{}
		for _, s := range r.got {
			if out[s.Seq] {
				rt.Fatalf("frame %d came out twice", s.Seq-first)
			}
			out[s.Seq] = true
			if i := s.Seq - first; s.Values[0] != float64(i) {
				rt.Fatalf("frame %d has the reading %v", i, s.Values[0])
			}
		}
		if len(out) != len(arrived) {
			rt.Fatalf("%d frames came out, %d had arrived", len(out), len(arrived))
		}
		s := r.a.Stats()
		if s.Epochs != 1 || s.Repeats != uint64(len(road)-len(arrived)) || s.Gaps-s.Late != uint64(lost) {
			rt.Fatalf("%+v: want 1 epoch, %d repeats, and %d gaps that nothing filled", s, len(road)-len(arrived), lost)
		}
		if last := r.got[len(r.got)-1]; sample.Instant(last.Arrived) < last.At {
			rt.Fatalf("%+v is later than its arrival", last)
		}
	})
}
