package record

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/figures"
)

var made = time.Date(2026, 3, 4, 10, 0, 0, 0, time.UTC)

func example(t *testing.T) *Record {
	c, err := curve.New(curve.Line, 0, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	flat := []float64{1, 1}
	r := &Record{
		Version: Version, Bridge: "trolley", Source: "leg", Channel: 2, At: made, By: "E-01",
		Reference: Instrument{Name: "gauge", U: 1}, Verdict: Accepted, ValidUntil: made.AddDate(0, 3, 0),
		Rows: []figures.Row{{Cycle: 1, Reference: 0, Raw: 0}, {Cycle: 1, Reference: 100, Raw: 200}},
		Calibration: curve.Calibration{
			Version: curve.Version, Loading: c, Raw: curve.Range{Low: 0, High: 200}, MMHg: curve.Range{Low: 0, High: 100},
			U: curve.Uncertainty{At: []float64{0, 100}, Fit: flat, Hysteresis: []float64{0, 0}, Repeatability: []float64{0, 0}, Reference: 1, DriftPerDay: 0.1},
		},
	}
	if err := r.Check(); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestRoundTrip(t *testing.T) {
	r := example(t)
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var s Record
	if err := json.Unmarshal(b, &s); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(r, &s) || r.ID() != s.ID() {
		t.Errorf("decoded %+v, want %+v", s, *r)
	}
	s.Rows[0].Raw++
	if r.ID() == s.ID() {
		t.Error("a record that was changed has the same identity")
	}
}

func TestExpiry(t *testing.T) {
	r := example(t)
	if r.Expired(r.ValidUntil) || !r.Expired(r.ValidUntil.Add(time.Second)) {
		t.Error("a record expires just after its date")
	}
}

// The uncertainty at once is sqrt(1+1); with a gauge of 1 mmHg the error may be
// 2 sqrt(3) = 3.46 mmHg, and after 30 days of 0.1 a day, 2 sqrt(12) = 6.93.
func TestSpot(t *testing.T) {
	r := example(t)
	id := r.ID()
	for _, c := range []struct {
		days  int
		raw   float64
		holds bool
		says  string
	}{
		{0, 106.8, true, "holds: +3.4"},
		{0, 99.98, true, "holds: +0.0 mmHg"}, // it is off by less than is said, which is no minus
		{0, 107, false, "does not hold: +3.5 mmHg at 50 mmHg, 3.5 mmHg allowed"},
		{30, 113.8, true, "6.9 mmHg allowed"},
		{30, 114, false, "Calibrate this channel again"},
		{0, 300, false, "outside"},
	} {
		s, err := r.Spot(made.AddDate(0, 0, c.days), "E-02", 50, 1, c.raw)
		if err != nil || s.Holds != c.holds || !strings.Contains(s.Text, c.says) {
			t.Errorf("after %d days, %v counts: %+v, %v", c.days, c.raw, s, err)
		}
	}
	if r.ID() != id {
		t.Error("a spot check changed its record")
	}
}

// A channel that reads more than 5 mmHg at rest, or moves, is not zeroed, and then none is.
func TestZeroing(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		rests []Rest
		says  string // "" is zeroed
	}{
		{[]Rest{{5, 1}, {-5, -1}}, ""},
		{[]Rest{{5.01, 0}, {0, 0}}, "channel 3 shows 5.0 mmHg, more than 5 mmHg: see that nothing rests on it"},
		{[]Rest{{0, 0}, {-7, 0}}, "channel 7 shows -7.0 mmHg"},
		{[]Rest{{nan, nan}, {0, 1.01}}, "channel 3 has no value: see to it first; channel 7 moved by 1.0 mmHg: let it rest"},
	} {
		z := Zeroing{Bridge: "trolley", Source: "leg", At: made, By: "E-01", Channels: []int{3, 7}}
		err := z.Rests(c.rests)
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v", c.rests, err)
		}
		if err == nil && z.Check() != nil {
			t.Errorf("%+v: %v", z, z.Check())
		}
	}
	many := Zeroing{Channels: make([]int, 9)}
	if err := many.Rests(slices.Repeat([]Rest{{9, 0}}, 9)); err == nil || !strings.Contains(err.Error(), "and 4 more") {
		t.Error(err)
	}
	for _, z := range []Zeroing{{}, {Channels: []int{1}}, {Channels: []int{1}, Shown: []float64{5.1}}, {Channels: []int{1, 1}, Undo: true}, {Channels: []int{-1}, Undo: true},
		{Channels: []int{1}, Shown: []float64{nan}}, {Channels: []int{1}, Shown: []float64{1}, Undo: true}} {
		if z.Check() == nil {
			t.Errorf("%+v is taken", z)
		}
	}
}
