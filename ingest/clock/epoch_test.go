package clock

import (
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/sample"
)

// What happens to devices and hosts: how many epochs it makes, and how soon
// times are within 20 ms again.
func TestEpochs(t *testing.T) {
	const limit = 0.020
	within := func(from, to float64) func(float64) bool {
		return func(t float64) bool { return t >= from && t < to }
	}
	quick := exponential(0.005)
	lateBy := func(by, from, to float64) func(*rand.Rand, float64) float64 {
		return func(r *rand.Rand, t float64) float64 {
			d := quick(r, t)
			if t >= from && t < to {
				d += by
			}
			return d
		}
	}
	heldUntil := func(from, to, drain float64) func(*rand.Rand, float64) float64 {
		return func(r *rand.Rand, t float64) float64 {
			if t < from {
				return quick(r, t)
			}
			return max(0, to+(t-from)/drain-t) + quick(r, t)
		}
	}
	for _, c := range []struct {
		name   string
		d      device
		counts func(float64) bool
		epochs int
	}{
		{"the counter wraps at 100 s", device{counter: 1<<32 - 100_000, skew: 300}, after(60), 1},
		{"a reboot at 150 s", device{counter: 12345678, skew: 300, pauses: []pause{{at: 150, reboot: true}}}, after(60), 2},
		{"a reboot that takes a counter beyond half its range to 0",
			device{counter: 3_000_000_000, pauses: []pause{{at: 150, reboot: true}}}, after(60), 2},
		{"reboots again and again", device{counter: 99_000, pauses: []pause{
			{at: 100, reboot: true}, {at: 104, reboot: true}, {at: 109, reboot: true}}}, within(60, 600), 4},
		{"the counter leaps ahead by 3 s at 150 s", device{pauses: []pause{{at: 150, by: -3}}}, after(60), 2},
		{"the counter stands still for 3 s at 150 s", device{pauses: []pause{{at: 150, by: 3}}}, after(175), 2},
		{"the counter stands still for 10 min at 150 s", device{pauses: []pause{{at: 150, by: 600}}}, after(175), 2},
		{"the first frame 5 s late", device{delay: lateBy(5, 0, 0.05)}, after(45), 1},
		{"the first frame 5 s late, overtaken by others", device{delay: lateBy(5, 0, 0.05), inOrder: true}, after(45), 1},
		{"the first 5 s held back", device{delay: heldUntil(0, 5, 1e9), inOrder: true}, after(45), 1},
		{"5 s late for 15 s", device{delay: lateBy(5, 150, 165)}, after(60), 1},
		{"30 s held back, then all at once", device{delay: heldUntil(150, 180, 1e9), inOrder: true}, after(60), 1},
		{"5 min held back, then twice as fast as recorded", device{delay: heldUntil(150, 450, 2), inOrder: true}, after(60), 1},
		{"5 min held back, then a tenth faster than recorded", device{delay: heldUntil(150, 160, 1.1), inOrder: true}, after(60), 1},
		{"the host told of an hour forward", device{steps: []step{{at: 150, by: 3600, told: true}}}, after(60), 2},
		{"the host told of an hour back", device{steps: []step{{at: 150, by: -3600, told: true}}}, after(60), 2},
		{"an hour forward untold", device{steps: []step{{at: 150, by: 3600}}}, after(175), 2},
		{"an hour back untold", device{steps: []step{{at: 150, by: -3600}}}, after(60), 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			worst := 0.0
			for seed := range uint64(8) {
				d := c.d
				d.period, d.lasting = 0.1, 600
				if d.delay == nil {
					d.delay, d.inOrder = quick, true
				}
				o := follow(t, d, seed, c.counts)
				worst = max(worst, o.worst)
				if got := o.clock.Status().Epochs; got != c.epochs {
					t.Errorf("seed %d: %d epochs, want %d", seed, got, c.epochs)
				}
				if o.worst > limit {
					t.Errorf("seed %d: off by %.1f ms at %.1f s, want at most 20", seed, 1000*o.worst, o.worstAt)
				}
			}
			t.Logf("worst %.2f ms", 1000*worst)
		})
	}
}

// regular gives c frames every 100 ms, all of them 1 ms on their way.
func regular(c *Clock, from, to float64) (last sample.Instant) {
	for i := int64(from * 10); i < int64(to*10); i++ {
		last = c.Map(uint32(i*100), start.Add(time.Duration(i)*100*time.Millisecond+time.Millisecond))
	}
	return last
}

// A correction toward later times is slewed: an eighth at most.
func TestSlewed(t *testing.T) {
	c := new(Clock)
	regular(c, 0, 60)
	// The device has paused for 1.5 s, which is too little to be an epoch, and
	// after some minutes the line has left the old seconds behind.
	var before sample.Instant
	slewed := false
	for i := int64(600); i < 14000; i++ {
		at := c.Map(uint32(i*100), start.Add(time.Duration(i)*100*time.Millisecond+1501*time.Millisecond))
		if i > 600 {
			gain := at.Sub(before) - 100*time.Millisecond
			if gain < -12500*time.Microsecond || gain > 12500*time.Microsecond {
				t.Fatalf("at %d s the clock gained %v in 100 ms", i/10, gain)
			}
			slewed = slewed || gain == 12500*time.Microsecond
		}
		before = at
	}
	if want := start.Add(1399900*time.Millisecond + 1501*time.Millisecond); before.Sub(want).Abs() > 5*time.Millisecond {
		t.Errorf("at the end the clock is at %v, want %v", before, want)
	}
	if !slewed {
		t.Error("the clock never ran at nine eighths, so nothing was slewed")
	}
	if got := c.Status().Epochs; got != 1 {
		t.Errorf("%d epochs, want 1", got)
	}
}

// After a first frame that was 5 s late, no time lies in the future, and all is
// well before a minute is over.
func TestFirstFrameLate(t *testing.T) {
	c := new(Clock)
	if got, want := c.Map(0, start.Add(5*time.Second)), start.Add(5*time.Second); got != want {
		t.Fatalf("the first frame is at %v, want when it arrived, %v", got, want)
	}
	healed := 0.0
	for i := int64(51); i < 600; i++ {
		truth := start.Add(time.Duration(i) * 100 * time.Millisecond)
		arrival := truth.Add(time.Duration(i%7) * 10 * time.Millisecond)
		at := c.Map(uint32(i*100), arrival)
		if at > arrival {
			t.Fatalf("the frame of %v is at %v, after it arrived at %v", truth, at, arrival)
		}
		if off := at.Sub(truth); off > 5*time.Millisecond {
			healed = float64(i) / 10
		}
	}
	if healed == 0 || healed > 45 {
		t.Errorf("healed after %v s, want less than 45 and some", healed)
	}
	t.Logf("healed after %v s", healed)
	if s := c.Status(); s.Epochs != 1 || s.Slewing != 0 {
		t.Errorf("status %+v, want one epoch and nothing left to slew", s)
	}
}

// A silence of hours, with a skew that has been learnt or not, is no epoch; and
// frames that are late when it ends move nothing.
func TestSilence(t *testing.T) {
	for _, c := range []struct {
		name           string
		skew           float64 // ppm
		learn, silence float64 // s
		late           float64 // s, of the first frames after the silence
		soon, within   time.Duration
	}{
		{"20 s known, an hour", 250, 20, 3600, 4, 200 * time.Millisecond, 20 * time.Millisecond},
		{"10 min known, an hour", 250, 600, 3600, 4, 20 * time.Millisecond, 20 * time.Millisecond},
		{"10 min known, 20 hours", -400, 600, 72000, 4, 500 * time.Millisecond, 20 * time.Millisecond},
		{"10 min known, 60 days", 250, 600, 60 * 86400, 4, 500 * time.Millisecond, 20 * time.Millisecond},
		{"nothing known, two hours, slow", -500, 0.2, 7200, 0, 5 * time.Second, 20 * time.Millisecond},
		{"nothing known, two hours, fast", 500, 0.2, 7200, 0, 5 * time.Second, 20 * time.Millisecond},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(1, 1))
			clk := new(Clock)
			last := sample.Past
			send := func(t, by float64) time.Duration {
				truth := start.Add(seconds(t))
				// What arrives after a frame that was late cannot arrive before it.
				last = max(last, truth.Add(seconds(by+0.002*r.ExpFloat64())))
				return clk.Map(uint32(uint64(t*1000*(1+c.skew*1e-6))), last).Sub(truth).Abs()
			}
			for s := 0.0; s < c.learn; s += 0.1 {
				send(s, 0)
			}
			from, soon, later := c.learn+c.silence, time.Duration(0), time.Duration(0)
			for s := from; s < from+400; s += 0.1 {
				switch {
				case s < from+8:
					soon = max(soon, send(s, c.late))
				case s < from+100:
					soon = max(soon, send(s, 0))
				default:
					later = max(later, send(s, 0))
				}
			}
			t.Logf("off by at most %v soon after the silence, %v later", soon, later)
			if soon > c.soon || later > c.within {
				t.Errorf("off by %v soon after the silence and %v later, want at most %v and %v", soon, later, c.soon, c.within)
			}
			if got := clk.Status().Epochs; got != 1 {
				t.Errorf("%d epochs, want 1", got)
			}
		})
	}
}

func TestStatus(t *testing.T) {
	c := new(Clock)
	if s := c.Status(); s.Epochs != 0 || s.Skew == s.Skew {
		t.Errorf("before the first frame: %+v, want no epoch and no skew", s)
	}
	regular(c, 0, 30)
	if s := c.Status(); s.Skew == s.Skew {
		t.Errorf("after 30 s the skew is said to be %v ppm, want not known yet", s.Skew)
	}
	regular(c, 30, 90)
	s := c.Status()
	if want := start.Sub(0) + time.Millisecond; s.Offset != want || s.Epochs != 1 || s.Steps != 0 {
		t.Errorf("status %+v, want offset %v and one epoch", s, want)
	}
	if s.Skew < -1 || s.Skew > 1 {
		t.Errorf("skew %v ppm, want 0", s.Skew)
	}
	c.Step(time.Hour)
	if s := c.Status(); s.Offset != start.Sub(0)+time.Millisecond+time.Hour || s.Epochs != 2 || s.Steps != 1 {
		t.Errorf("after a step: %+v", s)
	}
	c.Restart()
	c.Restart()
	c.Map(0, start.Add(2*time.Hour))
	if s := c.Status(); s.Epochs != 3 {
		t.Errorf("after a restart: %+v, want three epochs", s)
	}
}
