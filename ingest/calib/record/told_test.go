package record

import (
	"math"
	"testing"
	"time"

	"weald/ingest/calib/figures"
)

// A record says what it leaves of its readings and how uncertain it is at its end:
// sqrt(1 + 1 + 9.2²) after 92 days of 0.1 mmHg each.
func TestLevelsAndResiduals(t *testing.T) {
	r := example(t)
	r.ValidUntil = made.AddDate(0, 0, 92)
	r.Rows = []figures.Row{
		{Cycle: 1, Direction: figures.Up, Reference: 0, Raw: 0}, {Cycle: 1, Direction: figures.Up, Reference: 100, Raw: 206},
		{Cycle: 1, Direction: figures.Down, Reference: 100, Raw: 198}, {Cycle: 1, Direction: figures.Down, Reference: 0, Raw: -2},
	}
	got := r.Levels()
	if len(got) != 2 || got[1].At != 100 || got[1].Readings != 2 || got[1].Loading != 206 || got[1].Unloading != 198 || got[1].Worst != 3 || got[0].Worst != -1 {
		t.Fatalf("%+v", got)
	}
	if want := math.Sqrt(2 + 9.2*9.2); math.Abs(got[0].Combined-want) > 1e-9 {
		t.Errorf("u is %g at the end, want %g", got[0].Combined, want)
	}
	for i, one := range r.Residuals() {
		if want := r.Rows[i].Raw/2 - r.Rows[i].Reference; one.Left != want || one.Fitted != r.Rows[i].Raw/2 {
			t.Errorf("%+v, want %g left", one, want)
		}
	}
	r.Rows[3].Direction, r.Rows[2].Direction = figures.Up, figures.Up
	if got := r.Levels(); !math.IsNaN(got[0].Unloading) {
		t.Errorf("what was not read reads %g", got[0].Unloading)
	}
}

// What repeats at a limit is within it.
func TestLimits(t *testing.T) {
	l := Limits{Warn: 5, Reject: 15}
	for percent, want := range map[float64]Verdict{0: Accepted, 5: Accepted, 5.01: Warned, 15: Warned, 15.01: Rejected} {
		if got := l.Judge(percent); got != want {
			t.Errorf("%g %%: %s, want %s", percent, got, want)
		}
	}
	for _, bad := range []Limits{{0, 15}, {5, 4}, {5, 101}, {math.NaN(), 15}, {5, math.NaN()}} {
		if bad.Check() == nil {
			t.Errorf("%+v is taken", bad)
		}
	}
	if err := l.Check(); err != nil {
		t.Error(err)
	}
}

// A record is due two weeks before its date, and a short one in its last quarter.
func TestDueSoon(t *testing.T) {
	r := example(t)
	const day = 24 * time.Hour
	for valid, soon := range map[time.Duration]time.Duration{90 * day: 14 * day, 8 * day: 2 * day} {
		r.ValidUntil = made.Add(valid)
		for left, want := range map[time.Duration]bool{soon + time.Second: false, soon: true, 0: true, -time.Second: false} {
			if got := r.Due(r.ValidUntil.Add(-left)); got != want {
				t.Errorf("of %v, %v before the date: due %v", valid, left, got)
			}
		}
	}
}
