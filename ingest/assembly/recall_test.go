package assembly

import (
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/sample"
)

// heardOf is what a record keeps of scans.
func heardOf(scans []sample.Scan) []sample.Heard {
	l := sample.Lately{}
	for _, s := range scans {
		l.Hear("", &s)
	}
	return l.Last("")
}

// again is a rig whose Assembler takes up where r ended.
func (r *rig) again() *rig {
	n := newRig(r.t, r.a.config)
	n.a.Recall(heardOf(r.got))
	return n
}

// A daemon is started again while a gateway goes on. What it had comes again,
// what it missed comes late and all at once, and then the rest: nothing counts
// twice, and every scan has the time at which it was measured.
func TestGoesOnAfterAStart(t *testing.T) {
	before := plain(t)
	before.steady(0, 600)
	r := before.again()
	for n := uint32(580); n < 1200; n++ { // a minute later, at the road's pace
		r.give(120_000+int(n)/10, scan(n, n*100, 1, 2, 3, 4))
	}
	r.stand("20 repeats, 600 that were kept for it", 600, 0, 20, 0, 1)
	for n := uint32(1210); n < 1220; n++ {
		r.give(int(n)*100, scan(n, n*100, 1, 2, 3, 4))
	}
	r.stand("10 lost, and on", 610, 10, 20, 0, 1)
	for _, s := range r.got {
		if off := s.At.Sub(at(int(s.Seq) * 100)); off.Abs() > 20*time.Millisecond {
			t.Fatalf("scan %d is at %v, %v off", s.Seq, s.At, off)
		}
	}
	if s := r.a.Stats(); s.Restarts != 0 {
		t.Errorf("%d restarts of a device that went on", s.Restarts)
	}
}

// The device itself has started again in the meantime.
func TestARebootWhileTheDaemonWasAway(t *testing.T) {
	before := plain(t)
	before.steady(0, 600)
	r := before.again()
	for n := range uint32(100) {
		r.give(90_000+int(n)*100, scan(n, n*100, 1, 2, 3, 4))
	}
	r.stand("all of it, in an epoch of its own", 100, 0, 0, 0, 2)
	if got := r.got[0].At; got != at(90_000) {
		t.Errorf("its first scan is at %v, want its arrival", got)
	}
	if s := r.a.Stats(); s.Restarts != 1 {
		t.Errorf("%d restarts, want one", s.Restarts)
	}
}

// The host's clock was set while the daemon was away: back, which a daemon does
// not follow, so that its time has stood still; or forward, which is seen when it
// has lasted.
func TestTheHostsClockIsSetWhileTheDaemonIsAway(t *testing.T) {
	for _, hours := range []int{-1, 1, 24} {
		before := plain(t)
		before.steady(0, 600)
		r := before.again()
		resumed := 60_000 // the instant of the last scan, where the daemon's clock goes on
		if hours > 0 {
			resumed = 90_000 + hours*3_600_000
		}
		last := sample.Past
		for n := uint32(900); n < 1300; n++ {
			arrival := resumed + int(n-900)*100
			r.give(arrival, scan(n, n*100, 1, 2, 3, 4))
			s := r.got[len(r.got)-1]
			if s.At < last || s.At > at(arrival) {
				t.Fatalf("%d hours: scan %d is at %v, after one at %v, and arrived at %v", hours, n, s.At, last, at(arrival))
			}
			last = s.At
		}
		if off := last.Sub(at(resumed + 39_900)); off.Abs() > 20*time.Millisecond {
			t.Errorf("%d hours: after 40 s event times are off by %v", hours, off)
		}
	}
}

// Parts of a scan that came before the start are repeats, each of them.
func TestPartsThatWereHeard(t *testing.T) {
	before := plain(t)
	for n := range uint32(20) {
		before.give(int(n)*1000, part(2*n, n*1000, 0, true, 1, 2))
		before.give(int(n)*1000+5, part(2*n+1, n*1000, 2, false, 3, 4))
	}
	r := before.again()
	for n := uint32(18); n < 22; n++ {
		r.give(20_000+int(n)*1000, part(2*n, n*1000, 0, true, 1, 2))
		r.give(20_005+int(n)*1000, part(2*n+1, n*1000, 2, false, 3, 4))
	}
	r.stand("two scans in four parts again, and two new ones", 2, 0, 4, 0, 1)
	r.counted("incomplete", incomplete, 0)
}

// Stored frames that were heard are not heard twice.
func TestStoredFramesThatWereHeard(t *testing.T) {
	before := plain(t)
	before.steady(0, 300, span(100, 120)...)
	for n := uint32(100); n < 110; n++ {
		before.give(30_000, stored(scan(n, n*100, 5, 6, 7, 8)))
	}
	r := before.again()
	for n := uint32(105); n < 120; n++ {
		r.give(31_000, stored(scan(n, n*100, 5, 6, 7, 8)))
	}
	r.stand("five again, ten new ones", 10, 0, 5, 0, 1)
	if first := r.got[0]; first.Seq != 110 || first.At != at(11_000) {
		t.Errorf("the first new one is %+v", first)
	}
}

// Wherever a start comes in, and whatever a road loses, doubles and reorders:
// what comes out before and after it is every frame that arrived, once, at its
// own time.
func TestAnyRoadAcrossAStart(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 5))
		loss := rapid.Float64Range(0, 0.3).Draw(rt, "loss")
		first := rapid.SampledFrom([]uint32{0, 1 << 31, 1<<32 - 100}).Draw(rt, "first")
		cut := rapid.IntRange(20, 280).Draw(rt, "cut")
		back := rapid.IntRange(0, 15).Draw(rt, "again")
		away := rapid.SampledFrom([]int{0, 500, 5000, 60_000}).Draw(rt, "away")
		r := newRig(t, Config{Channels: 1, Unit: calib.MMHg})
		out, arrived := map[uint32]int{}, map[uint32]bool{}
		take := func(r *rig) {
			for _, s := range r.got {
				out[s.Seq]++
				if off := s.At.Sub(at(int(s.Seq-first) * 100)); off.Abs() > 20*time.Millisecond {
					rt.Fatalf("frame %d is %v off its time", s.Seq-first, off)
				}
			}
		}
		lost := map[int]bool{}
		for i := range 300 {
			lost[i] = i > 10 && rnd.Float64() < loss
		}
		send := func(r *rig, i, arrival int) {
			if !lost[i] {
				r.give(arrival, scan(first+uint32(i), first+uint32(i)*100, float64(i)))
				arrived[first+uint32(i)] = true
			}
		}
		for i := range cut {
			send(r, i, i*100)
		}
		next := r.again()
		take(r)
		for i := max(0, cut-back); i < 300; i++ {
			send(next, i, max(i*100, cut*100+away))
		}
		take(next)
		for seq := range arrived {
			if out[seq] != 1 {
				rt.Fatalf("frame %d came out %d times", seq-first, out[seq])
			}
		}
		if len(out) != len(arrived) {
			rt.Fatalf("%d frames came out, %d had arrived", len(out), len(arrived))
		}
	})
}
