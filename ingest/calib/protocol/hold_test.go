package protocol

import (
	"math"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/simulate"
)

// heldRun is a run of one cycle that has come to the pressure which is held at the end.
func heldRun(t *testing.T, faults simulate.Faults) *bench {
	t.Helper()
	p := plan(t, 1, 2)
	p.Levels, p.Hold, p.Keyed = Held(p.Levels), 10*time.Minute, true
	b := newBench(t, p, faults)
	for next, more := b.run.Next(); more; next, more = b.run.Next() {
		b.to(next.Reference)
		b.run.Ready()
		if !b.wait(2 * time.Minute) {
			t.Fatalf("%g mmHg was not read", next.Reference)
		}
	}
	if left, holding := b.run.Holding(b.now); !holding || b.run.Done() || left < 9*time.Minute {
		t.Fatalf("held for %v more, %v", left, holding)
	}
	return b
}

// The highest pressure is held once more at the end, and tells creep as a table with a
// held pressure does: 5 % a decade of sensors that creep by so much, 0 of such that do
// not; its level is no row.
func TestAHoldTellsCreep(t *testing.T) {
	for _, creep := range []float64{0, 0.05} {
		b := heldRun(t, simulate.Faults{Noise: 0.3, Repeat: 0.2, Creep: creep})
		if !b.wait(11*time.Minute) || !b.run.Done() {
			t.Fatal("the hold does not end")
		}
		for _, o := range outcomes(t, b.run) {
			if o.Result == nil || o.Result.Calibration.Creep == nil || len(o.Rows) != 21 {
				t.Fatalf("channel %d: %d rows, %v", o.Channel, len(o.Rows), o.Refused)
			}
			// Levels are read 20 s old: what is 1 then is what the share counts from.
			c := o.Result.Calibration.Creep
			if math.Abs(c.PerDecade-creep) > 0.01 || c.Dwell != dwell.Seconds() || !(c.U > 0) || c.U > 0.01 {
				t.Errorf("channel %d creeps by %+v, want %g", o.Channel, c, creep)
			}
			if p := o.Result.Figures.CreepPerDecade; p == nil || *p != 100*c.PerDecade {
				t.Errorf("the figures say %v", p)
			}
		}
		// What is kept of the hold comes to the same.
		again, err := Resume(b.run.Plan(), b.run.Taken(), b.run.Holds(), b.now)
		if err != nil || !again.Done() {
			t.Fatalf("%v", err)
		}
		for i, o := range outcomes(t, again) {
			if want := outcomes(t, b.run)[i].Result.Calibration.Creep; *o.Result.Calibration.Creep != *want {
				t.Errorf("taken up, it creeps by %+v, want %+v", o.Result.Calibration.Creep, want)
			}
		}
	}
}

// A hold that leaks, that somebody pumps into, or that is ended at once tells nothing,
// says why, and the channels are calibrated all the same.
func TestAHoldThatTellsNothing(t *testing.T) {
	for name, c := range map[string]struct {
		then func(*bench)
		says string
	}{
		"leak":    {func(b *bench) { b.leak = 0.02 }, "look for a leak"},
		"pumped":  {func(b *bench) { b.wait(time.Minute); b.to(110) }, "the cuff was pumped"},
		"at once": {func(b *bench) { b.run.Ready() }, "was not held for 3m0s"},
		"early":   {func(b *bench) { b.wait(20 * time.Second); b.run.Ready() }, "was not held for 3m0s"},
	} {
		b := heldRun(t, simulate.Faults{Noise: 0.3})
		c.then(b)
		if !b.wait(11*time.Minute) || !b.run.Done() {
			t.Fatalf("%s: the hold does not end", name)
		}
		for _, o := range outcomes(t, b.run) {
			if o.Result == nil || o.Result.Calibration.Creep != nil || !strings.Contains(strings.Join(o.Result.Remarks, "; "), "creep was not learnt: ") || !strings.Contains(strings.Join(o.Result.Remarks, "; "), c.says) {
				t.Errorf("%s: channel %d: %v, %q", name, o.Channel, o.Refused, o.Result.Remarks)
			}
		}
	}
	// A daemon that ends meanwhile has that level come to anew.
	b := heldRun(t, simulate.Faults{Noise: 0.3})
	again, err := Resume(b.run.Plan(), b.run.Taken(), nil, b.now)
	if err != nil {
		t.Fatal(err)
	}
	if next, more := again.Next(); !more || next.Reference != 100 || again.Done() {
		t.Errorf("the next is %+v, %v", next, more)
	}
	p := plan(t, 1, 1)
	if p.Hold = time.Minute; p.Check() == nil {
		t.Error("a hold of a minute is taken")
	}
}
