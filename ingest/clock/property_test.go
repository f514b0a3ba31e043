package clock

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// Whatever the counters do: no time runs backwards, none is later than its
// arrival, and the first frame of all is when it arrived.
func TestAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := new(Clock)
		ms := rapid.Uint32().Draw(t, "counter")
		arrival := start
		last := sample.Past
		for range rapid.IntRange(1, 300).Draw(t, "frames") {
			wait := rapid.SampledFrom([]time.Duration{0, time.Millisecond, 100 * time.Millisecond, time.Second, time.Minute, 26 * 24 * time.Hour}).Draw(t, "wait")
			arrival = arrival.Add(time.Duration(rapid.Int64Range(0, int64(wait)).Draw(t, "waited")))
			switch rapid.IntRange(0, 12).Draw(t, "what") {
			case 0:
				ms = rapid.Uint32().Draw(t, "counter")
			case 1:
				c.Restart()
			case 2:
				by := rapid.SampledFrom([]time.Duration{-time.Hour, -time.Second, time.Second, time.Hour}).Draw(t, "step")
				c.Step(by)
				arrival = arrival.Add(by)
				last = last.Add(by)
			case 3:
				behind := int32(rapid.Uint32().Draw(t, "behind"))
				at, ok := c.Place(ms-uint32(behind), arrival)
				if ok && at > arrival {
					t.Fatalf("a stored frame that arrived at %v is placed at %v", arrival, at)
				}
				if ok && (behind >= 0 && at > last || behind < 0 && at < last) {
					t.Fatalf("a stored frame %d ms behind the newest is at %v, and that at %v", behind, at, last)
				}
				continue
			default:
				ms += rapid.SampledFrom([]uint32{0, 1, 100, 1000, 100_000}).Draw(t, "counted")
			}
			at := c.Map(ms, arrival)
			if last == sample.Past && at != arrival {
				t.Fatalf("the first frame is at %v, want %v", at, arrival)
			}
			if at < last {
				t.Fatalf("at %v, after %v", at, last)
			}
			if at > arrival {
				t.Fatalf("at %v, which is after it arrived at %v", at, arrival)
			}
			last = at
		}
	})
}

// Nor do times run backwards when arrivals do by a little, as they may on a host
// that takes them from several threads.
func TestArrivalsOutOfOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := new(Clock)
		newest, last, ms := start, sample.Past, uint32(0)
		for range rapid.IntRange(2, 100).Draw(t, "frames") {
			newest = newest.Add(time.Duration(rapid.Int64Range(0, int64(time.Second)).Draw(t, "wait")))
			if rapid.IntRange(0, 9).Draw(t, "reboot") == 0 {
				ms = 0
			}
			ms += uint32(rapid.IntRange(0, 1000).Draw(t, "counted"))
			back := time.Duration(rapid.Int64Range(0, int64(Jump)/2).Draw(t, "back"))
			at := c.Map(ms, newest.Add(-back))
			if at < last {
				t.Fatalf("at %v, after %v", at, last)
			}
			last = at
		}
	})
}

// Stored frames tell when they were recorded and move nothing: a clock that has
// placed any number of them goes on as its twin that has placed none.
func TestPlaceMovesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := new(Clock), new(Clock)
		if _, ok := a.Place(5, start); ok {
			t.Fatal("a stored frame has a place before anything is known of the clock")
		}
		at := start
		for i := range rapid.IntRange(1, 200).Draw(t, "frames") {
			at = at.Add(time.Duration(rapid.Int64Range(0, int64(3*time.Second)).Draw(t, "wait")))
			for range rapid.IntRange(0, 3).Draw(t, "stored") {
				a.Place(rapid.Uint32().Draw(t, "ms"), at.Add(time.Hour))
			}
			if x, y := a.Map(uint32(i)*1000, at), b.Map(uint32(i)*1000, at); x != y {
				t.Fatalf("frame %d is at %v, without the stored ones at %v", i, x, y)
			}
		}
		if *a != *b {
			t.Fatal("the clocks differ")
		}
	})
}

func TestPlace(t *testing.T) {
	c := new(Clock)
	regular(c, 0, 60)
	now := start.Add(60 * time.Second)
	for _, p := range []struct {
		name string
		ms   uint32
		want time.Duration // after start
		ok   bool
	}{
		{"half a minute ago", 30_000, 30*time.Second + time.Millisecond, true},
		{"a minute before the first frame, the counter wrapped since", 1<<32 - 60_000, -60*time.Second + time.Millisecond, true},
		{"just now", 60_500, 60 * time.Second, true},
		{"tomorrow", 86_400_000, 0, false},
	} {
		at, ok := c.Place(p.ms, now)
		if ok != p.ok || ok && at.Sub(start.Add(p.want)).Abs() > 2*time.Millisecond {
			t.Errorf("%s: %v, %v, want %v, %v", p.name, at, ok, start.Add(p.want), p.ok)
		}
	}
}

// While a correction is being slewed, a frame that was overtaken lies where it
// would have been mapped, had it come in its turn: behind the frame before it
// and not after the frame that overtook it.
func TestPlaceIsSlewedAsMapIs(t *testing.T) {
	for _, pause := range []time.Duration{1500 * time.Millisecond, -1500 * time.Millisecond} {
		c, twin := new(Clock), new(Clock)
		slewing := time.Duration(0)
		var before, arrival, due sample.Instant
		held := false // due is not what the device said, but when it arrived
		for i := uint32(0); i < 14_000; i++ {
			// The device pauses, or its first frames are late by as much.
			late := 1500*time.Millisecond + time.Millisecond
			if i >= 3000 {
				late += pause
			}
			arrival = max(arrival, start.Add(time.Duration(i)*100*time.Millisecond+late))
			in := twin.Map(i*100, arrival)
			if i%10 == 5 { // overtaken by the next
				due, held = in, in == arrival
				continue
			}
			newest := c.Map(i*100, arrival)
			if i%10 != 6 {
				before = newest
				continue
			}
			at, ok := c.Place((i-1)*100, arrival)
			if !ok || at > newest || at < before {
				t.Fatalf("pause %v: frame %d is at %v, %v; the one before at %v and the one after at %v", pause, i-1, at, ok, before, newest)
			}
			if off := at.Sub(due); !held && off.Abs() > 25*time.Millisecond {
				t.Fatalf("pause %v: frame %d is %v from where it would have been", pause, i-1, off)
			}
			before = newest
			slewing = max(slewing, c.Status().Slewing.Abs())
		}
		if slewing < time.Second {
			t.Errorf("pause %v: at most %v had to be slewed, so nothing was shown", pause, slewing)
		}
	}
}

// Frames that come late among frames that do not make no difference worth
// speaking of: the line hangs on the fastest.
func TestDelayDoesNotPush(t *testing.T) {
	worst := time.Duration(0)
	for seed := range uint64(20) {
		plain := device{period: 0.1, lasting: 300, skew: 200, delay: exponential(0.005)}
		a, b := new(Clock), new(Clock)
		r := seed * 2654435761
		for i, f := range plain.frames(seed) {
			arrival := start.Add(seconds(f.due))
			x := a.Map(f.ms, max(arrival, a.arrival))
			if r = r*6364136223846793005 + 1442695040888963407; i > 0 && r>>62 == 0 { // a quarter of them
				b.Map(f.ms, max(arrival, b.arrival).Add(time.Duration(r>>33)%(5*time.Second)))
				b.arrival = a.arrival // the host's next reading is not late
				continue
			}
			y := b.Map(f.ms, max(arrival, b.arrival))
			if f.t > 60 {
				worst = max(worst, y.Sub(x).Abs())
			}
		}
	}
	t.Logf("a quarter of the frames delayed by up to 5 s moves the others by at most %v", worst)
	if worst > 2*time.Millisecond {
		t.Errorf("moved by %v, want at most 2 ms", worst)
	}
}

func TestNoAllocations(t *testing.T) {
	c := new(Clock)
	i := int64(0)
	if n := testing.AllocsPerRun(20_000, func() {
		i++
		c.Map(uint32(i*100), start.Add(time.Duration(i)*100*time.Millisecond+time.Duration(i*7919%50)*time.Millisecond))
	}); n != 0 {
		t.Errorf("%v allocations per frame, want none", n)
	}
}

func BenchmarkMap(b *testing.B) {
	for _, every := range []int64{100, 1000} {
		b.Run(time.Duration(every*int64(time.Millisecond)).String(), func(b *testing.B) {
			c := new(Clock)
			b.ReportAllocs()
			i := int64(0)
			for b.Loop() {
				i++
				c.Map(uint32(i*every), start.Add(time.Duration(i*every)*time.Millisecond+time.Duration(i*7919%5000)*time.Microsecond))
			}
		})
	}
}
