package protocol

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/record"
	"weald/ingest/calib/simulate"
	"weald/ingest/recorded"
	"weald/ingest/sample"
)

const (
	tick  = 100 * time.Millisecond
	dwell = 20 * time.Second
)

// A bench is a cuff over simulated sensors, pumped by a hand in strokes that rests
// on its way.
type bench struct {
	t       *testing.T
	run     *Run
	now     sample.Instant
	sensors []*simulate.Sensor
	rng     *rand.Rand

	pressure float64
	reached  sample.Instant
	leak     float64 // mmHg a second

	// What the channels read, if not what their sensors do; may be nil.
	change func(channel int, raw float64) float64
}

// ordinary are faults that a bench has to live with.
var ordinary = simulate.Faults{Noise: 0.3, Loop: 2, Cycle: 0.4, Repeat: 0.3, Creep: 0.05}

func newBench(t *testing.T, p Plan, faults simulate.Faults) *bench {
	t.Helper()
	b := &bench{t: t, now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)), rng: rand.New(rand.NewPCG(7, 1))}
	b.reached = b.now
	for i := range p.Under {
		b.sensors = append(b.sensors, simulate.New(uint64(i+1), 0.8, faults))
	}
	var err error
	if b.run, err = New(p, b.now); err != nil {
		t.Fatal(err)
	}
	return b
}

func plan(t *testing.T, cycles, channels int) Plan {
	t.Helper()
	levels, err := Levels(0, 100, 10, cycles)
	if err != nil {
		t.Fatal(err)
	}
	p := Plan{Levels: levels, Under: make([]bool, channels), Dwell: dwell}
	for i := range p.Under {
		p.Under[i] = true
	}
	return p
}

func (b *bench) to(p float64) {
	b.pressure, b.reached = p, b.now
	for _, s := range b.sensors {
		s.To(p)
	}
}

// wait goes on for so long, and reports whether a level was taken meanwhile.
func (b *bench) wait(d time.Duration) bool {
	raw := make([]float64, len(b.sensors))
	for end := b.now.Add(d); b.now < end; {
		b.now = b.now.Add(tick)
		if b.leak != 0 {
			at := b.reached
			b.to(b.pressure - b.leak*tick.Seconds())
			b.reached = at
		}
		for i, s := range b.sensors {
			raw[i] = math.Round(s.Raw(b.now.Sub(b.reached).Seconds(), 0))
			if b.change != nil {
				raw[i] = b.change(i, raw[i])
			}
		}
		b.run.Take(b.now, raw)
		if b.now.Time().UnixMilli()%500 == 0 && b.run.Look(b.now) {
			return true
		}
	}
	return false
}

// pump goes to a pressure in strokes of about 3 mmHg, with a rest of some seconds
// on the way. Nothing may be taken meanwhile.
func (b *bench) pump(to float64) {
	b.t.Helper()
	for b.pressure != to {
		step := 2 + 2*b.rng.Float64()
		next := min(to, b.pressure+step)
		if to < b.pressure {
			next = max(to, b.pressure-step)
		}
		b.to(next)
		rest := time.Duration(500+b.rng.IntN(700)) * time.Millisecond
		if b.rng.IntN(4) == 0 {
			rest = 6 * time.Second
		}
		if b.pressure != to && b.wait(rest) {
			b.t.Fatalf("a level was taken at %.1f mmHg on the way to %g", b.pressure, to)
		}
	}
}

// all goes through every level by plateau alone.
func (b *bench) all() {
	b.t.Helper()
	for {
		next, more := b.run.Next()
		if !more {
			return
		}
		if next.Direction == figures.Up && next.Reference == 10 {
			for _, s := range b.sensors {
				s.Cycle()
			}
		}
		b.pump(next.Reference)
		if !b.wait(3*dwell + 20*time.Second) {
			b.t.Fatalf("cycle %d %s, %g mmHg was not taken: %+v", next.Cycle, next.Direction, next.Reference, b.run.Standing(0, b.now))
		}
		b.wait(time.Duration(1+b.rng.IntN(30)) * time.Second) // until the hand goes on
	}
}

func outcomes(t *testing.T, r *Run) []Outcome {
	t.Helper()
	o := fit.Defaults()
	o.Rail = 4095
	out, err := r.Outcomes(o)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Two cycles by plateau alone, with noise, a loop, creep, and a hand that rests:
// every level is taken once, near the dwell's age, and what is fitted holds.
func TestByPlateauAlone(t *testing.T) {
	b := newBench(t, plan(t, 2, 2), ordinary)
	b.all()
	if n := len(b.run.Taken()); n != 2*20+1 {
		t.Fatalf("%d levels", n)
	}
	for n, why := range b.run.Doubts() {
		if why != "" {
			t.Errorf("level %d is where it is said to be, and in doubt: %s", n, why)
		}
	}
	for _, o := range outcomes(t, b.run) {
		if o.Result == nil || o.Result.Verdict == record.Rejected {
			t.Fatalf("channel %d: %v", o.Channel, o.Refused)
		}
		// The noise that the levels showed is that of the sensor, in counts: 0.3
		// mmHg at 50 mmHg, where it has 30 counts a mmHg, give or take its curve.
		if o.Options.Noise < 4 || o.Options.Noise > 20 {
			t.Errorf("channel %d: noise of %.1f counts", o.Channel, o.Options.Noise)
		}
		// Loop, cycle, repeat and creep of the sensors leave 3 mmHg.
		for _, row := range o.Rows {
			if v := o.Result.Calibration.Loading.At(row.Raw); math.Abs(v-row.Reference) > 8 {
				t.Errorf("channel %d: %.1f mmHg at %g", o.Channel, v, row.Reference)
			}
		}
	}
}

// A channel without any noise is one too: its few differences are steps.
func TestWithoutNoise(t *testing.T) {
	b := newBench(t, plan(t, 1, 1), simulate.Faults{})
	b.all()
	if o := outcomes(t, b.run)[0]; o.Result == nil || len(o.Rows) != 21 {
		t.Errorf("%d rows, %v", len(o.Rows), o.Refused)
	}
}

// Waiting at a level for long does not read it twice, creep or not.
func TestCreepIsNoStep(t *testing.T) {
	faults := ordinary
	faults.Creep = 0.15
	b := newBench(t, plan(t, 1, 2), faults)
	for _, p := range []float64{0, 10, 20, 30, 80} {
		b.pump(p)
		if !b.wait(2 * time.Minute) {
			t.Fatalf("%g mmHg was not taken", p)
		}
		if b.wait(5 * time.Minute) {
			t.Fatalf("%g mmHg was taken twice", p)
		}
	}
}

// A pressure that goes away is no plateau, nor is one that is let off slowly.
func TestALeakIsNoPlateau(t *testing.T) {
	b := newBench(t, plan(t, 1, 2), ordinary)
	for _, p := range []float64{0, 20, 40, 60} {
		b.pump(p)
		if !b.wait(time.Minute) {
			t.Fatalf("%g mmHg was not taken", p)
		}
	}
	b.pump(80)
	b.leak = 0.4 // 24 mmHg a minute
	if b.wait(2 * time.Minute) {
		t.Error("a leak was taken")
	}
}

// With a key, a plateau is read only after it was pressed; the key also reads
// a level that is hardly another.
func TestByKey(t *testing.T) {
	p := plan(t, 1, 1)
	p.Keyed = true
	b := newBench(t, p, ordinary)
	if b.wait(time.Minute) {
		t.Fatal("a level was taken without the key")
	}
	b.run.Ready()
	if !b.wait(time.Minute) {
		t.Fatal("nothing was taken after the key")
	}
	b.run.Ready()
	if !b.wait(time.Minute) || len(b.run.Taken()) != 2 {
		t.Fatal("the key reads the next level, wherever it is")
	}
	if err := b.run.Again(b.now); err != nil || len(b.run.Taken()) != 1 {
		t.Fatal(err)
	}
	if err := b.run.Gauge(1, 11.5, false); err != nil {
		t.Fatal(err)
	}
	b.to(11.5)
	b.run.Ready()
	if !b.wait(time.Minute) || b.run.Taken()[1].Reference != 11.5 {
		t.Fatalf("%+v", b.run.Taken())
	}
	if b.run.Gauge(5, 20, false) == nil || b.run.Gauge(0, -1, true) == nil || b.run.Gauge(0, math.NaN(), true) == nil {
		t.Error("a level far ahead, or a pressure that is none, was taken from the gauge")
	}
}

// Channels that are dead, unsteady, silent for a while or somewhere else are told
// apart, and do not keep the others from being calibrated.
func TestChannelsThatAreNot(t *testing.T) {
	p := plan(t, 1, 7)
	p.Under[6] = false // does not lie under the cuff, they say
	b := newBench(t, p, ordinary)
	wander := 0.0
	b.change = func(channel int, raw float64) float64 {
		switch {
		case channel == 1:
			return 0 // dead
		case channel == 2 && b.pressure >= 30:
			wander += 1.5
			return raw + 300*math.Sin(wander/40) // does not settle
		case channel == 3 && b.pressure > 75 && b.pressure < 95:
			return math.NaN() // a plug that is loose at times
		case channel == 4 && b.pressure >= 90:
			return 4095 // at its end
		case channel == 5:
			return 120 // lies somewhere else
		}
		return raw
	}
	b.all()
	for _, o := range outcomes(t, b.run) {
		want := map[int]string{1: "does not follow the cuff's steps", 2: "is not stable", 4: "saturated", 5: "channel 6, which is not under the cuff, does"}[o.Channel]
		if want == "" {
			if o.Result == nil {
				t.Errorf("channel %d: %v", o.Channel, o.Refused)
			}
		} else if o.Result != nil || !strings.Contains(o.Refused.Error(), want) {
			t.Errorf("channel %d: %v, want %q", o.Channel, o.Refused, want)
		}
	}
	if o := outcomes(t, b.run)[3]; len(o.Rows) != len(b.run.Taken())-4 {
		t.Errorf("channel 3 has %d rows of %d levels, four of which it was not heard at", len(o.Rows), len(b.run.Taken()))
	}
}

func TestLevels(t *testing.T) {
	levels, err := Levels(0, 35, 10, 2)
	if err != nil {
		t.Fatal(err)
	}
	var got []float64
	for _, l := range levels {
		got = append(got, l.Reference)
	}
	want := []float64{0, 10, 20, 30, 35, 30, 20, 10, 0, 10, 20, 30, 35, 30, 20, 10, 0}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("%v, want %v", got, want)
		}
	}
	for _, bad := range [][4]float64{{-1, 100, 10, 1}, {0, 100, 0.5, 1}, {50, 50, 10, 1}, {0, 500, 10, 1}, {0, 100, 10, 0}, {0, math.NaN(), 10, 1}} {
		if _, err := Levels(bad[0], bad[1], bad[2], int(bad[3])); err == nil {
			t.Errorf("%v were taken", bad)
		}
	}
}

// A real chamber (an insole calibration dataset) goes up and down
// without a rest: there is no plateau but before it starts and after it has ended,
// and, for cells of which a count is 10 kPa, at the top, where it stays within 20
// kPa for a minute.
func TestARampHasNoPlateaus(t *testing.T) {
	rows, err := csv.NewReader(bytes.NewReader(recorded.Text(t, "cell-calibration", "calibration_10taxels.csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	p := plan(t, 1, len(rows[0])-2)
	r, err := New(p, sample.At(time.Unix(0, 0)))
	if err != nil {
		t.Fatal(err)
	}
	raw := make([]float64, len(p.Under))
	var looked sample.Instant
	const rest = 40 // s before the ramp, of which the recording has five: readings of those, in any order
	before := 1
	for rows[before][0] < "5" {
		before++
	}
	rng := rand.New(rand.NewPCG(1, 2))
	var played [][]string
	for i := range rest * 49 {
		row := slices.Clone(rows[1+rng.IntN(before-1)])
		row[0] = fmt.Sprint(float64(i)/49 - rest)
		played = append(played, row)
	}
	played = append(played, rows[1:]...)
	for _, row := range played {
		seconds, err := strconv.ParseFloat(row[0], 64)
		for i := range raw {
			if err == nil {
				raw[i], err = strconv.ParseFloat(row[2+i], 64)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		now := sample.At(time.Unix(rest, int64(seconds*1e9)))
		r.Take(now, raw)
		if now.Sub(looked) < 500*time.Millisecond {
			continue
		}
		looked = now
		if r.Look(now) && seconds > 15 && seconds < 505 && (seconds < 225 || seconds > 285) {
			t.Errorf("a plateau after %.0f s, at %s kPa", seconds, row[1])
		}
	}
	if n := len(r.Taken()); n == 0 {
		t.Error("the rest before the ramp was not found")
	}
}

// A source that sends too seldom for the dwell is refused where its rate is known,
// and else said to be so, as no pressure of it would ever be read.
func TestASourceThatSendsTooSeldom(t *testing.T) {
	p := plan(t, 1, 1)
	p.Dwell, p.Rate = 5*time.Second, 1
	if err := p.Check(); err == nil || !strings.Contains(err.Error(), "for 12s at least") {
		t.Errorf("1/s with a dwell of 5 s: %v", err)
	}
	p.Rate = 0.01
	if err := p.Check(); err == nil || !strings.Contains(err.Error(), "fit a table") {
		t.Errorf("one in 100 s: %v", err)
	}
	p.Dwell, p.Rate = 12*time.Second, 1
	if err := p.Check(); err != nil {
		t.Errorf("1/s with the dwell that was advised: %v", err)
	}
	p.Dwell, p.Rate = 5*time.Second, 0
	r, err := New(p, 0)
	if err != nil {
		t.Fatal(err)
	}
	var now sample.Instant
	for i := range 20 {
		now = sample.Instant(0).Add(time.Duration(i) * time.Second)
		r.Take(now, []float64{100})
		if r.Look(now) {
			t.Fatal("it was read")
		}
	}
	if s := r.Standing(0, now); s.State != Sparse {
		t.Errorf("it is %q", s.State)
	}
}

// What is kept of a channel does not grow with the dwell, and a source has so many
// readings at most.
func TestALongDwellHasItsBounds(t *testing.T) {
	p := plan(t, 1, 2)
	p.Dwell, p.Under = 10*time.Minute, []bool{true, false}
	r, err := New(p, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 * 2000 {
		r.Take(sample.Instant(0).Add(time.Duration(i)*50*time.Millisecond), []float64{100, 100})
	}
	for i, most := range []int{mostKept, mostBeside} {
		if n := len(r.windows[i].readings); n > most*3/2 || n < most/2 {
			t.Errorf("channel %d keeps %d readings", i, n)
		}
	}
	p.Under = make([]bool, 1<<18)
	p.Under[0] = true
	if err := p.Check(); err == nil || !strings.Contains(err.Error(), "larger steps") {
		t.Errorf("%d channels: %v", len(p.Under), err)
	}
}
