package assembly

import (
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// mark sends f, marked as one that may have come before.
func (r *rig) mark(ms int, f *frame.Frame) {
	r.t.Helper()
	if bad := r.a.Again(f, at(ms)); bad != nil {
		r.t.Fatalf("frame %d was refused: %v", f.Seq, bad)
	}
}

// succeeded is again for a source whose link delivers again.
func (r *rig) succeeded() *rig {
	n := r.again()
	n.a.Remember(heardOf(r.got))
	return n
}

// A sent frame, and when.
type sent struct {
	ms int
	f  *frame.Frame
}

// at20 are frames of a device at 20 a second, which starts again before those with
// the given indices; number makes a frame of the n-th since its start.
func at20(frames int, boots []int, number func(i, n int) []*frame.Frame) (all []sent) {
	from := 0
	for i := range frames {
		for _, b := range boots {
			if i == b {
				from = b
			}
		}
		for _, f := range number(i, i-from) {
			all = append(all, sent{50 * i, f})
		}
	}
	return all
}

// Everything that a device sent in 30 s is delivered again, in a burst: whatever it
// did meanwhile, nothing comes out twice, no epoch begins and no gap is counted; and
// what comes then, marked or not, goes on. So it is when another Assembler has been
// told what the first one passed on.
func TestWhatIsDeliveredAgainIsKnown(t *testing.T) {
	n32 := func(n int) uint32 { return uint32(n) }
	for name, c := range map[string]struct {
		boots  []int
		number func(i, n int) []*frame.Frame
	}{
		"one after the other": {nil, func(i, n int) []*frame.Frame { return []*frame.Frame{scan(n32(n), n32(50*n), float64(i), 2, 3, 4)} }},
		"with a reboot":       {[]int{300}, func(i, n int) []*frame.Frame { return []*frame.Frame{scan(n32(n), n32(50*n), float64(i), 2, 3, 4)} }},
		"with two, and readings that stay the same": {[]int{100, 450}, func(i, n int) []*frame.Frame {
			return []*frame.Frame{scan(n32(n), n32(50*n+i/100), 1, 2, 3, 4)}
		}},
		"in parts": {[]int{250}, func(i, n int) []*frame.Frame {
			return []*frame.Frame{part(n32(2*n), n32(50*n), 0, true, float64(i), 2), part(n32(2*n+1), n32(50*n), 2, false, 3, 4)}
		}},
		"in parts that are not numbered": {[]int{250}, func(i, n int) []*frame.Frame {
			return []*frame.Frame{part(n32(n), n32(50*n), 0, true, float64(i), 2), part(n32(n), n32(50*n), 2, false, 3, 4)}
		}},
		"over the wrap": {nil, func(i, n int) []*frame.Frame {
			return []*frame.Frame{scan(n32(n)-300, n32(50*n)-20_000, float64(i), 2, 3, 4)}
		}},
		"with words of its own": {[]int{300}, func(i, n int) []*frame.Frame {
			all := []*frame.Frame{scan(n32(n+(n+5)/10), n32(50*n), float64(i), 2, 3, 4)}
			if n%10 == 4 {
				all = append(all, &frame.Frame{Kind: frame.Status, Seq: n32(n + (n+5)/10 + 1), Millis: n32(50 * n), Wall: sample.Never})
			}
			return all
		}},
		"and some that was stored": {nil, func(i, n int) []*frame.Frame {
			all := []*frame.Frame{scan(n32(1000+n), n32(100_000+50*n), float64(i), 2, 3, 4)}
			if n%2 == 1 {
				all = append(all, stored(scan(n32(n), n32(50*n), float64(i), 2, 3, 4)))
			}
			return all
		}},
	} {
		t.Run(name, func(t *testing.T) {
			all := at20(620, c.boots, c.number)
			count := 0
			for count < len(all) && all[count].ms < 30_000 {
				count++
			}
			first := plain(t)
			first.a.Remember(nil)
			for _, s := range all[:count] {
				first.give(s.ms, s.f)
			}
			for what, r := range map[string]*rig{"by the same": first, "by another": first.succeeded()} {
				was, out := r.a.Stats(), len(r.got)
				for range 2 {
					for i, s := range all[:count] {
						r.mark(31_000+i/10, s.f)
					}
				}
				now := r.a.Stats()
				if len(r.got) != out || now.Epochs != was.Epochs || now.Gaps != was.Gaps {
					t.Fatalf("%s: %d scans came out again, with %d epochs and %d gaps more", what, len(r.got)-out, now.Epochs-was.Epochs, now.Gaps-was.Gaps)
				}
				if n := now.Repeats - was.Repeats + now.Late - was.Late; n != uint64(2*count) {
					t.Errorf("%s: %d frames came again and %d of them were known", what, 2*count, n)
				}
				more := 0
				for i, s := range all[count:] {
					if s.f.Kind == frame.Readings && !s.f.More {
						more++
					}
					if s.ms += 2000; i < (len(all)-count)/2 {
						r.mark(s.ms, s.f)
					} else {
						r.give(s.ms, s.f)
					}
				}
				if now = r.a.Stats(); len(r.got) != out+more || now.Epochs != was.Epochs || now.Gaps != was.Gaps {
					t.Errorf("%s: then %d scans came out, want %d, with %d epochs and %d gaps more", what, len(r.got)-out, more, now.Epochs-was.Epochs, now.Gaps-was.Gaps)
				}
			}
		})
	}
}

// A device starts again within its first frames, and none of what it sends then has
// come before, although a broker says it may have: other readings tell.
func TestAMarkIsNoProof(t *testing.T) {
	r := plain(t)
	r.a.Remember(nil)
	for n := range uint32(100) {
		r.give(int(n)*50, scan(n, n*50, 1, 2, 3, 4))
	}
	for n := range uint32(50) {
		r.mark(6000+int(n)*50, scan(n, n*50, 5, 6, 7, 8))
	}
	r.stand("two boots", 150, 0, 0, 0, 2)
	r = plain(t)
	r.a.Remember(nil)
	r.mark(0, scan(7, 350, 1, 2, 3, 4))
	r.stand("the first of all", 1, 0, 0, 0, 1)
}

// Of a source whose link delivers nothing again a mark says nothing.
func TestWithoutAMemory(t *testing.T) {
	for _, c := range []Config{{Channels: 4, Unit: calib.MMHg}, {Channels: 4, Unit: calib.MMHg, Unnumbered: true}, {Channels: 4, Unit: calib.MMHg, OwnTime: true}} {
		a, b := newRig(t, c), newRig(t, c)
		if c.Unnumbered || c.OwnTime {
			b.a.Remember(nil)
		}
		for n := range uint32(700) {
			f := scan(n%600, n%600*50, 1, 2, 3, 4)
			f.Wall = at(int(n) * 50)
			a.give(int(n)*50, f)
			b.mark(int(n)*50, f)
		}
		if x, y := a.a.Stats(), b.a.Stats(); x.Scans != y.Scans || x.Repeats != y.Repeats || x.Epochs != y.Epochs {
			t.Errorf("%+v: %+v, and with marks %+v", c, x, y)
		}
	}
}

// What is remembered is what came within a minute, but at least 256 frames and at most
// 8,192, and is found wherever one begins to look.
func TestMemory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := newMemory()
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		gap := time.Duration(rapid.IntRange(1, 2000).Draw(t, "ms")) * time.Millisecond
		var came []sample.Instant
		now := start
		frameOf := func(n int) received { return received{seq: uint32(n), ms: uint32(7 * n), digest: uint32(n%3 + 1)} }
		for n := range rapid.IntRange(0, 20_000).Draw(t, "frames") {
			now = now.Add(time.Duration(rnd.Int64N(int64(gap))))
			m.add(frameOf(n), now)
			came = append(came, now)
		}
		kept := func(n int) bool { // at least
			behind := len(came) - n
			return behind <= sample.LeastHeard || behind <= sample.MostHeard && now.Sub(came[n]) < sample.HeardFor
		}
		if len(m.all) > sample.MostHeard {
			t.Fatalf("%d are remembered", len(m.all))
		}
		for range 200 {
			if len(came) == 0 {
				return
			}
			n := max(0, len(came)-1-rnd.IntN(10_000))
			f := frameOf(n)
			if kept(n) && !m.has(f) {
				t.Fatalf("frame %d of %d is forgotten, %v after it came", n, len(came), now.Sub(came[n]))
			}
			if f.digest = 4; m.has(f) {
				t.Fatal("other readings are known")
			}
			if f.digest, f.ms = 0, f.ms+1; m.has(f) {
				t.Fatal("another counter is known")
			}
		}
	})
}
