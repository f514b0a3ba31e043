package battery

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weald/ingest/sample"
)

// Batteries that fall evenly, however fast, seen by a gauge of whole percents that
// trembles, through statuses that come unevenly or not at all: whatever is said about
// them holds. A gauge can tremble so that it is right to be wrong, now and then; so these
// are always the same hundred.
func TestTheTruthIsWithinTheBounds(t *testing.T) {
	said, wrong, wide := 0, 0, 0
	r := rand.New(rand.NewPCG(1, 1))
	between := func(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) } // short ones as often as long ones
	for n := range 100 {
		life := between(2, 2000) // hours
		every := time.Duration(between(10, 1200) * float64(time.Second))
		if every < time.Duration(life*float64(time.Hour)/3000) {
			every = time.Duration(life * float64(time.Hour) / 3000)
		}
		tremble, lost, from := []float64{0, 0.3, 0.6}[n%3], 0.5*r.Float64(), 30+69*r.Float64()
		trend := New(0)
		at := sample.Instant(0)
		for {
			at = at.Add(time.Duration((0.5 + r.Float64()) * float64(every)))
			level := from - 100/life*time.Duration(at).Hours()
			if level < 3 {
				break
			}
			if r.Float64() < lost {
				continue
			}
			trend.Status(at, -1, int(math.Round(level+tremble*r.NormFloat64())), NoCelsius)
			if r.IntN(20) > 0 {
				continue
			}
			e := trend.Estimate(at)
			if e.State == Charging || e.Fresh != sample.Past {
				t.Fatalf("%v: a battery that only falls was charged: %+v", at, e)
			}
			if e.State != Falling {
				continue
			}
			if time.Duration(at) < shortest || e.Least > e.Left || e.Left > e.Most || e.Least < 0 {
				t.Fatalf("%v: %+v", at, e)
			}
			said++
			truth := time.Duration(level / 100 * life * float64(time.Hour))
			if truth < e.Least || truth > e.Most {
				wrong++
			}
			if e.Most > 2*e.Least {
				wide++
			}
		}
	}
	t.Logf("%d estimates, %.2f %% of them without the truth within the bounds, %.0f %% said as a range", said, 100*float64(wrong)/float64(said), 100*float64(wide)/float64(said))
	if said < 1000 {
		t.Fatalf("only %d estimates", said)
	}
	if float64(wrong) > 0.05*float64(said) {
		t.Errorf("%d of %d estimates were wrong", wrong, said)
	}
}

// Whatever comes: bounds are in order, nothing is said of hours unless the
// battery falls, and memory stays bounded.
func TestAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trend := New(rapid.SampledFrom([]int{0, 3000, 3300}).Draw(t, "empty"))
		at := sample.Instant(0)
		for range rapid.IntRange(1, 40).Draw(t, "stretches") {
			level := rapid.IntRange(-1, 100).Draw(t, "level")
			volts := rapid.Bool().Draw(t, "volts")
			step := rapid.IntRange(-2, 2).Draw(t, "step")
			every := rapid.SampledFrom([]time.Duration{-time.Second, 0, time.Second, time.Minute, time.Hour, 30 * 24 * time.Hour}).Draw(t, "every")
			celsius := rapid.SampledFrom([]int{NoCelsius, -20, 0, 20, 25}).Draw(t, "celsius")
			for range rapid.IntRange(1, 200).Draw(t, "statuses") {
				at = at.Add(every)
				mV, percent := -1, level
				if volts {
					mV, percent = 3000+10*level, -1
				}
				trend.Status(at, mV, percent, celsius)
				level = min(max(level+step, -1), 100)

				e := trend.Estimate(max(at, trend.at))
				if len(trend.bins) > maxBins {
					t.Fatalf("%d bins", len(trend.bins))
				}
				if e.State != Falling {
					if e.Left != 0 || e.Least != 0 || e.Most != 0 {
						t.Fatalf("%+v", e)
					}
				} else if e.Least < 0 || e.Least > e.Left || e.Left > e.Most {
					t.Fatalf("%+v", e)
				}
				if (e.Sentence() == "") != (e.State == Unknown) {
					t.Fatalf("%+v: %q", e, e.Sentence())
				}
			}
		}
	})
}

func TestRough(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "0 min", 9 * time.Minute: "9 min", 44 * time.Minute: "40 min", 119 * time.Minute: "120 min",
		150 * time.Minute: "2 h", 47 * time.Hour: "47 h", 60 * time.Hour: "2 days", 60 * 24 * time.Hour: "9 weeks",
	} {
		if got := rough(d); got != want {
			t.Errorf("%v is written %q, want %q", d, got, want)
		}
	}
}

func TestWords(t *testing.T) {
	for _, c := range []struct {
		least, left, most time.Duration
		want              string
	}{
		{9 * time.Hour, 11 * time.Hour, 14 * time.Hour, "about 11 h left"},
		{9 * time.Hour, 14 * time.Hour, 30 * time.Hour, "9 h to 30 h left"},
		{9 * time.Hour, 14 * time.Hour, Unlimited, "at least 9 h left"},
		{0, 14 * time.Hour, Unlimited, ""},
	} {
		e := Estimate{State: Falling, Percent: 50, Least: c.least, Left: c.left, Most: c.most}
		if got := e.words(); got != c.want {
			t.Errorf("%v to %v: %q, want %q", c.least, c.most, got, c.want)
		}
	}
	for s := Unknown; s <= Empty; s++ {
		if s.String() == "invalid" {
			t.Errorf("state %d has no name", s)
		}
	}
}

// Bins that were made one hold the means of both.
func TestBinsAreMeans(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trend := New(0)
		at, sum, n := sample.Instant(0), 0., 0.
		for range rapid.IntRange(1, 3000).Draw(t, "statuses") {
			at = at.Add(3 * time.Minute)
			level := float64(50 + int(n)%3)
			trend.put(at, level, 20)
			sum, n = sum+level, n+1
		}
		got, of := 0., 0.
		for i := range trend.bins {
			b := &trend.bins[i]
			got, of = got+b.level*b.n, of+b.n
			if b.after < 0 || b.after > trend.width.Seconds() || i > 0 && b.from <= trend.bins[i-1].from {
				t.Fatalf("bin %d of %v: %+v", i, trend.width, b)
			}
		}
		if of != n || math.Abs(got-sum) > 1e-6*sum {
			t.Fatalf("%v statuses with a sum of %v in the bins, want %v with %v", of, got, n, sum)
		}
	})
}

func BenchmarkStatusAndEstimate(b *testing.B) {
	trend := New(0)
	at := sample.Instant(0)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		at = at.Add(time.Minute)
		trend.Status(at, 3700, 99-i/100%90, 20)
		trend.Estimate(at)
	}
}
