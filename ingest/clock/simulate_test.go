package clock

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"
	"time"

	"weald/ingest/sample"
)

// A device that counts, and the road its frames take. Times are in seconds of
// the true clock, from the device's first frame.
type device struct {
	period  float64 // between frames
	skew    float64 // ppm, positive runs fast
	counter uint32  // at time 0
	lasting float64 // how long the recording is

	// delay of the frame recorded at t; inOrder makes no frame overtake another.
	delay   func(r *rand.Rand, t float64) float64
	inOrder bool

	pauses []pause // what happens to the counter
	steps  []step  // what happens to the host's clock
}

// From at on the counter is set, or is by less than it would have been.
type pause struct {
	at, by float64
	reboot bool // starts at 0 instead
}

// From at on the host's clock shows by more.
type step struct {
	at, by float64
	told   bool // the Clock is told
}

type arrived struct {
	t, due float64 // recorded, arrived; true clock
	ms     uint32
}

const start = sample.Instant(1_800_000_000_000_000_000)

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// frames returns what arrives, in the order in which it does.
func (d device) frames(seed uint64) []arrived {
	r := rand.New(rand.NewPCG(seed, 7))
	var all []arrived
	pauses, from, base := d.pauses, 0.0, float64(d.counter)
	for t := 0.0; t < d.lasting; t += d.period * (0.98 + 0.04*r.Float64()) {
		for len(pauses) > 0 && t >= pauses[0].at {
			p := pauses[0]
			base += (p.at-from)*1000*(1+d.skew*1e-6) - p.by*1000
			if from = p.at; p.reboot {
				base = 0
			}
			pauses = pauses[1:]
		}
		count := base + (t-from)*1000*(1+d.skew*1e-6)
		all = append(all, arrived{t: t, due: t + d.delay(r, t), ms: uint32(uint64(int64(math.Floor(count))))})
		if n := len(all); d.inOrder && n > 1 {
			all[n-1].due = max(all[n-1].due, all[n-2].due)
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].due < all[j].due })
	return all
}

// An outcome is how well a Clock did.
type outcome struct {
	worst   float64 // seconds from the truth, over the frames that count
	mean    float64
	worstAt float64
	placed  int // frames that were overtaken
	clock   *Clock
}

// follow gives a Clock what a device sends and holds it to what it promises. A
// frame counts toward the outcome if counts says so for the time it was
// recorded.
func follow(t *testing.T, d device, seed uint64, counts func(t float64) bool) outcome {
	t.Helper()
	c := new(Clock)
	o := outcome{clock: c}
	var newest, n float64 = -1, 0
	last := sample.Past
	steps, shift := d.steps, 0.0
	for _, f := range d.frames(seed) {
		for len(steps) > 0 && f.due >= steps[0].at {
			if s := steps[0]; s.told {
				c.Step(seconds(s.by))
				last = last.Add(seconds(s.by))
			} else if s.by < 0 {
				last = sample.Past // the promise holds while arrivals do not run backwards
			}
			shift += steps[0].by
			steps = steps[1:]
		}
		arrival := start.Add(seconds(f.due + shift))
		var at sample.Instant
		if f.t > newest {
			newest = f.t
			at = c.Map(f.ms, arrival)
			if at < last {
				t.Fatalf("seed %d: the frame of %.3f s is at %v, before %v", seed, f.t, at, last)
			}
			last = at
		} else {
			ok := false
			if at, ok = c.Place(f.ms, arrival); !ok {
				t.Fatalf("seed %d: the overtaken frame of %.3f s has no place", seed, f.t)
			}
			o.placed++
		}
		if at > arrival {
			t.Fatalf("seed %d: the frame of %.3f s is at %v, after it arrived at %v", seed, f.t, at, arrival)
		}
		if counts(f.t) {
			off := math.Abs(at.Sub(start.Add(seconds(f.t + shift))).Seconds())
			if off > o.worst {
				o.worst, o.worstAt = off, f.t
			}
			o.mean += off
			n++
		}
	}
	o.mean /= n
	return o
}

func after(from float64) func(float64) bool { return func(t float64) bool { return t >= from } }

// Delays.

func exponential(mean float64) func(*rand.Rand, float64) float64 {
	return func(r *rand.Rand, _ float64) float64 { return mean * r.ExpFloat64() }
}

// stalls hold everything back for up to longest, every so often, and then let
// it all go at once.
func stalls(every, longest, mean float64) func(*rand.Rand, float64) float64 {
	var until float64
	return func(r *rand.Rand, t float64) float64 {
		if t == 0 {
			until = 0
		}
		if t > until && r.Float64() < 0.1/every {
			until = t + longest*r.Float64()
		}
		return max(0, until-t) + mean*r.ExpFloat64()
	}
}

// bursts delay every frame by anything up to longest, for a while.
func bursts(every, lasting, longest, mean float64) func(*rand.Rand, float64) float64 {
	return func(r *rand.Rand, t float64) float64 {
		d := mean * r.ExpFloat64()
		if math.Mod(t, every) > every-lasting {
			d += longest * r.Float64()
		}
		return d
	}
}

func constant(by float64) func(*rand.Rand, float64) float64 {
	return func(*rand.Rand, float64) float64 { return by }
}
