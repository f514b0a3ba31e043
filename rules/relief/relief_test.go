package relief_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/rules/relief"
)

const tick = 100 * time.Millisecond

// A chair feeds a tracker readings ten times a second.
type chair struct {
	*relief.Tracker
	at sample.Instant
}

// seated is a chair in which somebody has sat still for a while, 60 on either
// side.
func seated(spec relief.Spec) *chair {
	c := &chair{Tracker: relief.New(spec)}
	c.sit(2*time.Minute, 60, 60)
	return c
}

func (c *chair) sit(d time.Duration, left, right float64) {
	for ; d > 0; d -= tick {
		c.Set(c.at, left, right)
		c.Advance(tick)
		c.at = c.at.Add(tick)
	}
}

func (c *chair) counts() string {
	return fmt.Sprintf("%d shifts, %d reliefs, %d transfers", c.Count(relief.Shift), c.Count(relief.Relief), c.Count(relief.Transfer))
}

func spec() relief.Spec {
	s := relief.Default()
	s.EmptyBelow = 1
	return s
}

// The bounds of Sonenblum, Sprigle, Martin, J Rehabil Res Dev
// 2016;53(5):585-598, all included; the examples are arithmetic on them.
func TestInclusiveBounds(t *testing.T) {
	for _, c := range []struct {
		name        string
		left, right float64
		d           time.Duration
		want        string
	}{
		{"33.3 % off the left for 15 s", 40, 60, 15 * time.Second, "1 shifts, 0 reliefs, 0 transfers"},
		{"the same for 14.9 s", 40, 60, 14900 * time.Millisecond, "0 shifts, 0 reliefs, 0 transfers"},
		{"28.3 % off the left for 60 s", 43, 60, time.Minute, "0 shifts, 0 reliefs, 0 transfers"},
		{"30 % exactly off the right", 60, 42, 15 * time.Second, "1 shifts, 0 reliefs, 0 transfers"},
		{"both sides 91.7 % off", 5, 5, 15 * time.Second, "0 shifts, 1 reliefs, 0 transfers"},
		{"both sides 90.0 % off", 6, 6, 15 * time.Second, "0 shifts, 1 reliefs, 0 transfers"},
		{"both sides 89.2 % off", 6.5, 6.5, 15 * time.Second, "1 shifts, 0 reliefs, 0 transfers"},
		{"both sides 90 % off for 14.9 s", 6, 6, 14900 * time.Millisecond, "0 shifts, 0 reliefs, 0 transfers"},
		{"an empty seat for more than a minute", 0, 0, 61 * time.Second, "0 shifts, 0 reliefs, 1 transfers"},
		{"an empty seat for less", 0, 0, 59 * time.Second, "0 shifts, 1 reliefs, 0 transfers"},
		{"one side alone", 0, 60, 20 * time.Second, "1 shifts, 0 reliefs, 0 transfers"},
		{"nothing", 60, 60, time.Minute, "0 shifts, 0 reliefs, 0 transfers"},
	} {
		ch := seated(spec())
		ch.sit(c.d, c.left, c.right)
		ch.sit(5*time.Second, 60, 60)
		if got := ch.counts(); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// What counts begins the seated time anew as soon as it has lasted, and what
// does not count does not.
func TestSeatedTime(t *testing.T) {
	s := spec()
	s.Counts = []relief.Kind{relief.Relief, relief.Transfer}
	c := seated(s)
	if c.Since() != 2*time.Minute || c.Seated() != sample.Yes {
		t.Errorf("seated for %v, %v; want 2m0s, yes", c.Since(), c.Seated())
	}
	c.sit(20*time.Second, 30, 60)
	if c.Since() != 140*time.Second || c.Now() != relief.Shift {
		t.Errorf("a shift that does not count: %v, now %v; want 2m20s and a shift", c.Since(), c.Now())
	}
	c.sit(10*time.Second, 60, 60)
	c.sit(14900*time.Millisecond, 5, 5)
	if want := 164900 * time.Millisecond; c.Since() != want {
		t.Errorf("after 14.9 s of relief %v, want %v", c.Since(), want)
	}
	c.sit(tick, 5, 5)
	if c.Since() != 0 {
		t.Errorf("after 15 s of relief %v, want none", c.Since())
	}
	c.sit(time.Minute, 5, 5)
	if c.Since() != 0 {
		t.Errorf("a relief that lasts on counts as sitting: %v", c.Since())
	}
	c.sit(5*time.Second, 60, 60)
	if c.Since() != 5*time.Second {
		t.Errorf("seated again for %v, want 5s", c.Since())
	}
	c.sit(2*time.Minute, 0, 0)
	c.sit(3*time.Second, 60, 60)
	if c.Since() != 3*time.Second {
		t.Errorf("somebody has sat down for %v, want 3s", c.Since())
	}
	c.sit(2*time.Minute, 0, 0)
	if c.Since() != 0 || c.Seated() != sample.No {
		t.Errorf("an empty chair: %v, seated %v", c.Since(), c.Seated())
	}
}

// What lasts no time is no silence, even where any silence forgets: it takes a nanosecond.
func TestAHoleOfNoTimeForgetsNothing(t *testing.T) {
	any := spec()
	any.ForgetAfter = 0
	for hole, want := range map[time.Duration]time.Duration{0: 2 * time.Minute, 1: 0} {
		c := seated(any)
		c.Set(c.at, math.NaN(), math.NaN())
		c.Advance(hole)
		c.Set(c.at, 60, 60)
		c.Advance(0)
		if c.Since() != want {
			t.Errorf("after a hole of %v: seated for %v, want %v", hole, c.Since(), want)
		}
	}
}

// A hole is neither load nor relief: it pauses what is on its way.
func TestHoles(t *testing.T) {
	nan := math.NaN()
	c := seated(spec())
	c.sit(10*time.Second, 5, 5)
	before := c.Since()
	c.sit(time.Minute, nan, nan)
	if c.Since() != before || c.counts() != "0 shifts, 0 reliefs, 0 transfers" {
		t.Errorf("a hole of a minute: %s, seated %v, want %v", c.counts(), c.Since(), before)
	}
	c.sit(4900*time.Millisecond, 5, 5)
	if c.Now() != relief.None {
		t.Errorf("after 14.9 s of relief: %v", c.Now())
	}
	c.sit(tick, 5, 5)
	if c.Now() != relief.Relief {
		t.Errorf("after 15 s of relief that were seen: %v", c.Now())
	}
	c.sit(time.Second, 60, 60)
	c.sit(20*time.Second, 5, nan) // one side is enough for a shift, not for a relief
	c.sit(time.Second, 60, 60)
	if got, want := c.counts(), "1 shifts, 1 reliefs, 0 transfers"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	c.sit(10*time.Minute, nan, nan)
	if c.Since() != 0 || c.Baseline()[0] == c.Baseline()[0] {
		t.Errorf("ten minutes of silence are remembered: %v, baseline %v", c.Since(), c.Baseline())
	}
}

// A posture that is kept becomes the baseline; a relief never does.
func TestBaseline(t *testing.T) {
	c := seated(spec())
	c.sit(3*time.Minute, 40, 70)
	if got := c.Baseline(); got != [2]float64{40, 70} {
		t.Errorf("baseline %v after three minutes, want 40 and 70", got)
	}
	if got, want := c.counts(), "1 shifts, 0 reliefs, 0 transfers"; got != want {
		t.Errorf("a posture that was kept: %s, want %s", got, want)
	}
	c.sit(5*time.Minute, 4, 6)
	if got := c.Baseline(); got != [2]float64{40, 70} {
		t.Errorf("a relief became the baseline: %v", got)
	}
}

// However time is cut and whenever readings come, the same is counted; Next is
// when something turns.
func TestAgainstASlowCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := spec()
		s.Baseline = time.Hour // so that it stays what it was
		c := &chair{Tracker: relief.New(s)}
		for range 400 { // 1,000 s
			c.Set(c.at, 60, 60)
			c.Advance(2500 * time.Millisecond)
			c.at = c.at.Add(2500 * time.Millisecond)
		}
		ref := slow{since: 1000}
		for range rapid.IntRange(1, 20).Draw(t, "postures") {
			levels := []float64{60, 43, 42, 20, 6, 5, 0, math.NaN()}
			l, r := rapid.SampledFrom(levels).Draw(t, "left"), rapid.SampledFrom(levels).Draw(t, "right")
			d := rapid.IntRange(1, 80).Draw(t, "seconds")
			for left := time.Duration(d) * time.Second; left > 0; {
				step := min(left, time.Duration(rapid.IntRange(50, 30000).Draw(t, "step"))*time.Millisecond)
				c.Set(c.at, l, r)
				c.Advance(step)
				c.at, left = c.at.Add(step), left-step
			}
			for range d {
				ref.second(l, r)
			}
			got := [4]int{c.Count(relief.Shift), c.Count(relief.Relief), c.Count(relief.Transfer), int(c.Since() / time.Second)}
			if want := [4]int{ref.shifts, ref.reliefs, ref.transfers, ref.since}; got != want {
				t.Fatalf("counted %v, second by second it is %v", got, want)
			}
			if ref.transfers > 0 {
				return // the baseline is gone
			}
		}
	})
}

// A slow count of whole seconds, with the rule as it is written.
type slow struct {
	off, whole, empty          int // seconds so far
	shifts, reliefs, transfers int
	since                      int
	most                       string
}

func (s *slow) second(l, r float64) {
	gone := func(v, base float64) int {
		switch {
		case math.IsNaN(v):
			return 0
		case math.Round((base-v)/base*1e6) >= 300000:
			return 1
		}
		return -1
	}
	side := max(gone(l, 60), gone(r, 60))
	if gone(l, 60) == 0 && gone(r, 60) < 1 || gone(r, 60) == 0 && gone(l, 60) < 1 {
		side = 0
	}
	total := l + r
	if s.most == "relief" && total > 12 {
		s.reliefs++
		s.most = "counted"
	}
	if side < 0 { // nothing is off: what there was has ended
		if s.most == "shift" {
			s.shifts++
		}
		s.most = ""
	}
	count := func(n *int, yes, known bool, need int) bool {
		switch {
		case !known:
			return *n >= need
		case yes:
			*n++
		default:
			*n = 0
		}
		return *n >= need
	}
	seated := total > 6
	wasOff := s.off >= 15 || s.whole >= 15
	counting := count(&s.off, side > 0, side != 0, 15)
	if seated && !(wasOff && counting) {
		s.since++
	}
	if counting && s.most == "" {
		s.most = "shift"
	}
	if counting && !wasOff {
		s.since = 0
	}
	if count(&s.whole, total <= 12, total == total, 15) && total == total {
		s.most = "relief"
	}
	if s.empty < 60 && count(&s.empty, total <= 6, total == total, 60) {
		s.most = ""
		s.transfers++
		s.since = 0
	}
}
