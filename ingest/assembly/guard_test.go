package assembly

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/calib"
)

type matRig struct {
	*rig
	n    int
	sent [][]float64
}

func newMatRig(t *testing.T) *matRig {
	return &matRig{rig: newRig(t, Config{Channels: 2048, Unit: calib.Counts, Lines: []calib.Line{{Slope: 0.05}}})}
}

func (m *matRig) send(raw []float64) {
	m.t.Helper()
	m.give(m.n*1000, scan(uint32(m.n), uint32(m.n)*1000, raw...))
	m.sent = append(m.sent, raw)
	m.n++
}

// out checks that exactly the first n scans are out, in order and at their
// times, that those named are without readings, and all others as they were sent.
func (m *matRig) out(what string, n int, withheld ...int) {
	m.t.Helper()
	if len(m.got) != n {
		m.t.Fatalf("%s: %d scans are out of %d, want %d", what, len(m.got), m.n, n)
	}
	empty := map[int]bool{}
	for _, w := range withheld {
		empty[w] = true
	}
	for i, s := range m.got {
		if s.Seq != uint32(i) || s.At != at(i*1000) || s.Arrived != at(i*1000) {
			m.t.Fatalf("%s: scan %d is number %d at %v", what, i, s.Seq, s.At)
		}
		for c, v := range m.sent[i] {
			if got := s.Raw[c]; got != v && !empty[i] || got == got && empty[i] {
				m.t.Fatalf("%s: scan %d channel %d is %v, sent was %v, withheld: %v", what, i, c, got, v, empty[i])
			}
			if got := s.Values[c]; got != 0.05*v && !empty[i] || got == got && empty[i] {
				m.t.Fatalf("%s: scan %d channel %d is %v mmHg, sent was %v, withheld: %v", what, i, c, got, v, empty[i])
			}
		}
	}
	m.counted(what, damaged, uint64(len(withheld)))
}

func TestDamagedScans(t *testing.T) {
	m := newMat()
	for _, n := range []int{1, 2, 3} {
		r := newMatRig(t)
		r.send(m.body())
		for range n {
			r.send(m.garbled())
		}
		r.out("kept back", 1)
		r.send(m.body())
		r.out("withheld", n+2, []int{1, 2, 3}[:n]...)
		r.send(m.garbled())
		r.send(m.body())
		r.out("and once more", n+4, append([]int{1, 2, 3}[:n:n], n+2)...)
	}
}

func TestDamagedAtTheEnd(t *testing.T) {
	m := newMat()
	r := newMatRig(t)
	r.send(m.body())
	r.send(m.garbled())
	r.a.Flush(at(10_999))
	r.out("silence decides nothing at once", 1)
	r.a.Close()
	r.out("the end of the input does", 2, 1)
}

// A suspect that stays without a successor is not kept back for ever: for 10 s,
// or three scans of a slow source.
func TestSuspectsWithoutASuccessor(t *testing.T) {
	m := newMat()
	r := newMatRig(t)
	r.send(m.garbled())
	r.send(m.garbled())
	r.a.Flush(at(10_999))
	r.out("nearly 10 s after the second", 0)
	r.a.Flush(at(11_000))
	r.out("10 s after it", 2, 0, 1)
	r.send(m.body())
	r.out("and then all is well", 3, 0, 1)

	r = newMatRig(t)
	slow, err := New(Config{Channels: 2048, Unit: calib.Counts, Period: time.Minute}, r.a.out)
	if err != nil {
		t.Fatal(err)
	}
	r.a = slow
	r.send(m.garbled())
	r.a.Flush(at(179_999))
	r.counted("scans out before three periods are over", scans, 0)
	r.a.Flush(at(180_000))
	r.counted("scans out after them", scans, 1)
}

// A device that counts in steps of 256 and falls silent again and again has a
// load for three scans at most that are not shown, and no more after that.
func TestLoadsBetweenSilences(t *testing.T) {
	m := newMat()
	r := newMatRig(t)
	for range 10 {
		r.send(m.upper(300))
		r.n += 11 // seconds, and frames
		r.a.Flush(at((r.n - 1) * 1000))
	}
	withheld := 0
	for _, s := range r.got {
		if s.Damaged {
			withheld++
		}
	}
	if len(r.got) != 10 || withheld != patience {
		t.Errorf("%d scans came out, %d of them withheld, want 10 and %d", len(r.got), withheld, patience)
	}
}

func TestDamagedThenEmpty(t *testing.T) {
	m := newMat()
	r := newMatRig(t)
	r.send(m.garbled())
	r.send(make([]float64, 2048))
	r.out("nothing lies on the mat", 2, 0)
}

// The device that counts in steps of 256 loses nothing: not when the load comes,
// not when it goes and comes again, not when it hovers about what is enough to
// be suspect.
func TestDevicesThatCountInSteps(t *testing.T) {
	m := newMat()
	t.Run("a load for long", func(t *testing.T) {
		r := newMatRig(t)
		r.send(m.upper(0))
		for range patience {
			r.send(m.upper(300))
		}
		r.out("three kept back", 1)
		r.send(m.upper(300))
		r.out("released", 5)
		for range 50 {
			r.send(m.upper(300))
		}
		r.send(m.upper(0))
		r.send(m.upper(400))
		r.out("not suspected again", 57)
	})
	t.Run("about the threshold", func(t *testing.T) {
		r := newMatRig(t)
		for i := range 40 {
			r.send(m.upper(suspectOf - 1 + i%2*20))
		}
		r.out("nothing lost", 40)
	})
	t.Run("one scan at a time", func(t *testing.T) {
		r := newMatRig(t)
		for i := range 40 {
			r.send(m.upper(i % 2 * 300))
		}
		r.out("three are lost before it is known", 40, 1, 3, 5)
	})
	t.Run("until it counts finely", func(t *testing.T) {
		r := newMatRig(t)
		for range 10 {
			r.send(m.upper(300))
		}
		r.send(m.body())
		r.send(m.garbled())
		r.out("suspected again", 11)
		r.send(m.body())
		r.out("and rightly", 13, 11)
	})
}

// The guard may delay and withhold, but it never loses a scan, never changes
// the order, never keeps more than three back, and never withholds one of a run
// of more than three that count alike.
func TestGuardAlways(t *testing.T) {
	m := newMat()
	kinds := []func() []float64{m.body, m.garbled, func() []float64 { return m.upper(0) }, func() []float64 { return m.upper(20) }, func() []float64 { return m.upper(300) }}
	rapid.Check(t, func(rt *rapid.T) {
		r := newMatRig(t)
		var long []int // scans of loads that lasted longer than three
		for range rapid.IntRange(1, 8).Draw(rt, "runs") {
			kind := rapid.IntRange(0, 4).Draw(rt, "kind")
			n := rapid.IntRange(1, 6).Draw(rt, "scans")
			for range n {
				if n > patience {
					long = append(long, r.n)
				}
				r.send(kinds[kind]())
				if back := r.n - len(r.got); back > patience {
					rt.Fatalf("%d scans are kept back", back)
				}
			}
		}
		r.a.Close()
		if len(r.got) != r.n {
			rt.Fatalf("%d scans of %d came out", len(r.got), r.n)
		}
		for i, s := range r.got {
			if s.Seq != uint32(i) {
				rt.Fatalf("scan %d came out as number %d", s.Seq, i)
			}
		}
		for _, i := range long {
			if s := r.got[i]; s.Raw[0] != s.Raw[0] {
				rt.Fatalf("scan %d was withheld, of a load that lasted longer than three", i)
			}
		}
	})
}
