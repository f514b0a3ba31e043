package battery

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
)

// A rig plays statuses to a Trend.
type rig struct {
	t     *testing.T
	trend *Trend
	at    sample.Instant
	every time.Duration
}

func newRig(t *testing.T, emptyMV int) *rig {
	return &rig{t: t, trend: New(emptyMV), every: time.Minute}
}

// run plays statuses for d, with the percentage that level gives after each
// number of hours.
func (r *rig) run(d time.Duration, level func(hours float64) float64) {
	r.warm(d, 21, level)
}

func (r *rig) warm(d time.Duration, celsius int, level func(hours float64) float64) {
	for s := time.Duration(0); s < d; s += r.every {
		r.at = r.at.Add(r.every)
		r.trend.Status(r.at, -1, int(level(s.Hours())), celsius)
	}
}

func (r *rig) volts(d time.Duration, mV func(hours float64) float64) {
	for s := time.Duration(0); s < d; s += r.every {
		r.at = r.at.Add(r.every)
		r.trend.Status(r.at, int(mV(s.Hours())), -1, NoCelsius)
	}
}

func (r *rig) wants(story string, s State) Estimate {
	r.t.Helper()
	e := r.trend.Estimate(r.at)
	if e.State != s {
		r.t.Errorf("%s: %v, want %v: %+v, %s", story, e.State, s, e, e.Sentence())
	}
	return e
}

// near says whether the hours left are what they should be.
func (r *rig) near(story string, hours, tolerance float64) {
	r.t.Helper()
	e := r.wants(story, Falling)
	if got := e.Left.Hours(); math.Abs(got-hours) > tolerance*hours || e.Least.Hours() > hours || e.Most.Hours() < hours {
		r.t.Errorf("%s: %.1f h left, between %.1f and %.1f, want %.1f", story, got, e.Least.Hours(), e.Most.Hours(), hours)
	}
}

// falls is a level that falls from one by so much an hour.
func falls(from, perHour float64) func(float64) float64 {
	return func(h float64) float64 { return from - perHour*h }
}

func TestNothingKnown(t *testing.T) {
	r := newRig(t, 0)
	if e := r.wants("no status", Unknown); e.Sentence() != "" || e.At != sample.Past {
		t.Errorf("%+v, %q, want silence", e, e.Sentence())
	}
	r.trend.Status(1, -1, -1, 20)
	r.wants("a status without a battery", Unknown)
	r.trend.Status(2, 3712, -1, 20)
	if e := r.wants("a voltage of which nobody knows what it means", Measuring); e.Sentence() != "Battery 3.71 V." {
		t.Errorf("%q", e.Sentence())
	}
}

func TestFalling(t *testing.T) {
	r := newRig(t, 0)
	r.run(50*time.Minute, falls(80.5, 6))
	if e := r.wants("too short", Measuring); e.Sentence() != "Battery 75 %." {
		t.Errorf("%q", e.Sentence())
	}
	r.run(130*time.Minute, falls(75.5, 6))
	r.near("three hours", 62.5/6, 0.05)
	e := r.trend.Estimate(r.at)
	if got := e.Sentence(); got != "Battery 62 %, about 10 h left." {
		t.Errorf("%q", got)
	}
	later := r.trend.Estimate(r.at.Add(time.Hour))
	if got := e.Left - later.Left; got != time.Hour {
		t.Errorf("an hour without a status takes %v off", got)
	}
	if gone := r.trend.Estimate(r.at.Add(3 * time.Hour)); gone.State != Unknown || gone.Sentence() != "" {
		t.Errorf("three hours without a status: %+v", gone)
	}
	r.run(10*time.Hour+25*time.Minute, falls(62.5, 6))
	if e := r.wants("at the end", Empty); e.Sentence() != "Battery 0 %: it may stop at any time." {
		t.Errorf("%q", e.Sentence())
	}
}

// A battery of two months is as good as one of six hours.
func TestSlowAndFast(t *testing.T) {
	for _, hours := range []float64{3, 6, 24, 24 * 7, 24 * 60} {
		r := newRig(t, 0)
		r.every = max(time.Minute, time.Duration(hours*float64(time.Hour)/1000))
		r.run(time.Duration(hours*0.6*float64(time.Hour)), falls(99.9, 100/hours))
		r.near("after three fifths", 0.4*hours, 0.08)
	}
}

func TestSteadySaysNoHours(t *testing.T) {
	r := newRig(t, 0)
	r.run(48*time.Hour, func(float64) float64 { return 87 })
	r.wants("two days at 87 %", Measuring)
	r.run(48*time.Hour, func(h float64) float64 { return 86 + math.Mod(math.Floor(h*7), 2) })
	r.wants("two days between 86 and 87 %", Measuring)

	r = newRig(t, 0)
	r.run(48*time.Hour, func(float64) float64 { return 100 })
	r.wants("full for two days", Measuring)
	r.run(2*time.Hour, falls(99.9, 10))
	r.near("then it falls", 79.9/10, 0.1)
}

func TestCharging(t *testing.T) {
	r := newRig(t, 0)
	r.run(4*time.Hour, falls(60, 5))
	r.wants("it falls", Falling)
	r.run(10*time.Minute, func(h float64) float64 { return 40 + 60*h })
	if e := r.wants("ten minutes at the charger", Charging); !strings.HasSuffix(e.Sentence(), "charging.") {
		t.Errorf("%q", e.Sentence())
	}
	r.run(40*time.Minute, func(h float64) float64 { return 50 + 60*h })
	r.wants("fifty minutes", Charging)
	r.run(40*time.Minute, falls(89, 5))
	e := r.wants("off the charger", Measuring)
	if !strings.HasPrefix(e.Sentence(), "Battery 85 %, charged or replaced ") {
		t.Errorf("%q", e.Sentence())
	}
	r.run(2*time.Hour, falls(85.7, 5))
	r.near("two hours later", 75.7/5, 0.1)
}

func TestChargedToTheFull(t *testing.T) {
	r := newRig(t, 0)
	r.run(time.Hour, falls(50, 5))
	r.run(30*time.Minute, func(h float64) float64 { return 45 + 110*h })
	r.wants("nearly full", Charging)
	r.run(2*time.Hour, func(float64) float64 { return 100 })
	r.wants("full", Measuring)
}

func TestReplaced(t *testing.T) {
	for _, c := range []struct {
		name string
		gap  time.Duration
		to   float64
	}{{"at once", 0, 98}, {"after a night in a drawer", 12 * time.Hour, 98}, {"by a weaker one", time.Minute, 15}} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, 0)
			r.run(6*time.Hour, falls(70, 6))
			before := r.wants("the old one", Falling)
			r.at = r.at.Add(c.gap)
			r.run(30*time.Minute, falls(c.to, 2))
			e := r.wants("the new one", Measuring)
			if e.Left != 0 {
				t.Errorf("%+v, want nothing of the old one", e)
			}
			up := c.to > 70
			if says := strings.Contains(e.Sentence(), "charged or replaced"); says != up || up != (e.Fresh > before.At) {
				t.Errorf("%+v, %q, want it said if the new one has more", e, e.Sentence())
			}
			r.run(4*time.Hour, falls(c.to-1, 2))
			r.near("the new one's own trend", (c.to-9)/2, 0.25)
		})
	}
}

func TestVoltage(t *testing.T) {
	r := newRig(t, 3300)
	r.volts(4*time.Hour, falls(4000, 50))
	r.near("four hours", 500/50., 0.1)
	e := r.trend.Estimate(r.at)
	if got := e.Sentence(); got != "Battery 3.80 V, about 10 h left going by its voltage, perhaps less." {
		t.Errorf("%q", got)
	}
	r.volts(10*time.Minute, func(h float64) float64 { return 3900 + 600*h })
	r.wants("a charger", Charging)
	r.volts(40*time.Minute, falls(4100, 50))
	r.wants("off it", Measuring)
	r.volts(4*time.Hour, falls(3311, 1))
	r.wants("at its end", Empty)
}

// A source that begins to give percentages is judged by them alone.
func TestVoltageThenPercent(t *testing.T) {
	r := newRig(t, 3300)
	r.volts(4*time.Hour, falls(4000, 50))
	r.wants("volts", Falling)
	r.run(10*time.Minute, falls(60, 5))
	r.wants("percent", Measuring)
	r.run(2*time.Hour, falls(59, 5))
	r.near("percent, later", 49/5., 0.1)
}

// The trend is that of late: what a battery took last week does not count once
// it takes more.
func TestRecentTrend(t *testing.T) {
	r := newRig(t, 0)
	r.run(24*time.Hour, falls(99.9, 1))
	r.run(6*time.Hour, falls(75.9, 6))
	r.near("six times as fast for six hours", 39.9/6, 0.15)
}

// A battery that falls is off its charger at once.
func TestOffTheCharger(t *testing.T) {
	r := newRig(t, 0)
	r.run(time.Hour, falls(50, 5))
	r.run(30*time.Minute, func(h float64) float64 { return 45 + 60*h })
	r.wants("at the charger", Charging)
	r.run(12*time.Minute, falls(75, 20))
	r.wants("twelve minutes off it", Measuring)
}
