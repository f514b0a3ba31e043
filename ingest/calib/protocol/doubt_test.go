package protocol

import (
	"errors"
	"regexp"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/simulate"
)

// number is a pressure with its unit.
var number = regexp.MustCompile(`-?\d+(\.\d+)? mmHg`)

// reached is a run on which levels have been read, each at the pressure that is given,
// or where it was planned.
func reached(t *testing.T, cycles, levels int, elsewhere map[int]float64) *bench {
	t.Helper()
	p := plan(t, cycles, 3)
	p.Keyed = true
	b := newBench(t, p, ordinary)
	for n := range levels {
		next, _ := b.run.Next()
		at, other := elsewhere[n]
		if !other {
			at = next.Reference
		}
		b.pump(at)
		b.run.Ready()
		if !b.wait(2 * time.Minute) {
			t.Fatalf("level %d was not read", n)
		}
	}
	return b
}

// A cuff that stopped a step and a half too far, and one that was hardly moved, are in
// doubt at once, as the channels say something else; at most the one after it is, too.
// Once it is said what the gauge showed, nothing is.
func TestAPressureThatIsNotWhatWasPlanned(t *testing.T) {
	for name, c := range map[string]struct {
		level, read int
		at          float64
	}{
		"too far on the first way up":     {5, 6, 65},
		"too little on the first way up":  {5, 6, 43},
		"in the second cycle":             {24, 25, 55},
		"on the way down":                 {14, 16, 75},
		"known by what came after it too": {4, 20, 55},
	} {
		t.Run(name, func(t *testing.T) {
			b := reached(t, 2, c.read, map[int]float64{c.level: c.at})
			for n, why := range b.run.Doubts() {
				if n != c.level && n != c.level+1 && why != "" || n == c.level && why == "" {
					t.Errorf("level %d, at %g mmHg: %q", n, b.run.Taken()[n].Reference, why)
				}
			}
			if why := b.run.Doubts()[c.level]; !strings.Contains(why, "the channels read what would be about") || !strings.Contains(why, "correct it or read it again") {
				t.Errorf("%q", why)
			}
			// Pages show these sentences in kPa too, and find pressures by their unit.
			if bare := number.ReplaceAllString(b.run.Doubts()[c.level], ""); strings.ContainsAny(bare, "0123456789") {
				t.Errorf("a pressure without its unit: %s", b.run.Doubts()[c.level])
			}
			if err := b.run.Gauge(c.level, c.at, false); err != nil {
				t.Fatal(err)
			}
			for n, why := range b.run.Doubts() {
				if why != "" {
					t.Errorf("level %d is still in doubt: %s", n, why)
				}
			}
		})
	}
}

// A pressure in kPa is refused as soon as it is typed, at every planned one, and taken
// if somebody is sure, or if the channels say so too. What the gauge is off by is not.
func TestAPressureTypedInKPa(t *testing.T) {
	b := reached(t, 1, 6, nil)
	for typed, planned := range map[float64]int{5.3: 4, 1.3: 1, 6.67: 5} {
		err := b.run.Gauge(planned, typed, false)
		if !errors.Is(err, ErrKPa) || !strings.Contains(err.Error(), "kPa is") || b.run.Taken()[planned].Reference == typed {
			t.Errorf("%g was typed: %v", typed, err)
		}
	}
	for typed, planned := range map[float64]int{38.5: 4, 12: 1, 0.5: 0, 57: 5} {
		if err := b.run.Gauge(planned, typed, false); err != nil {
			t.Error(err)
		}
	}
	if err := b.run.Gauge(4, 5.3, true); err != nil || b.run.Taken()[4].Reference != 5.3 {
		t.Errorf("somebody is sure: %v", err)
	}
	if b.run.Doubts()[4] == "" {
		t.Error("4.0 kPa was taken for mmHg, and nobody says that the channels disagree")
	}
	low := reached(t, 2, 25, map[int]float64{24: 5})
	if err := low.run.Gauge(24, 5, false); err != nil {
		t.Errorf("it is at 5 mmHg, as the channels say: %v", err)
	}
}

// Sensors that creep, scatter and have wide loops are no doubt.
func TestALoopIsNoDoubt(t *testing.T) {
	for _, faults := range []simulate.Faults{{}, {Loop: 5, Noise: 0.5, Repeat: 0.5}, {Creep: 0.1, Cycle: 1}} {
		p := plan(t, 2, 3)
		p.Keyed = true
		b := newBench(t, p, faults)
		for next, more := b.run.Next(); more; next, more = b.run.Next() {
			b.pump(next.Reference)
			b.run.Ready()
			if !b.wait(2 * time.Minute) {
				t.Fatal("not read")
			}
			for n, why := range b.run.Doubts() {
				if why != "" {
					t.Errorf("%+v: after %d levels, level %d: %s", faults, len(b.run.Taken()), n, why)
				}
			}
		}
	}
}
