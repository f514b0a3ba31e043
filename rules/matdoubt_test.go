package rules_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules"
)

// wall is a plan with a mat of 3 by 4 cells, 20 mm by 25 mm, of which the last two
// rows are the region "hip".
func wall(rs ...rules.Rule) *rules.Plan {
	return &rules.Plan{
		Sources: []rules.Source{{ID: "a/mat", Channels: 12, StaleAfter: 3 * time.Second, Calibrated: true}},
		Places: []rules.Place{{ID: "bed-1", Kind: rules.Bed, Mat: &rules.Mat{
			Rows: 3, Columns: 4, PitchMM: [2]float64{20, 25}, LoadedAbove: 20,
			Regions: []rules.Region{{ID: "hip", Cells: []int{4, 5, 6, 7, 8, 9, 10, 11}}},
		}}},
		Rules: rs,
	}
}

// What the signals of a mat say of themselves is how they scatter when the true
// pressures are disturbed again and again, each cell by an error of its own and all
// by one of the gauge (the way of JCGM 101:2008, clause 7), and what is shared is
// what remains when the cells have no errors of their own.
func TestDoubtOfAMat(t *testing.T) {
	values := []float64{30, 0, 12, 55, 8, 41, math.NaN(), 20, 3, 90, 17, 60}
	own, shared := make([]float64, 12), make([]float64, 12)
	for i := range own {
		own[i], shared[i] = 0.5+0.02*values[i], 0.3+0.005*values[i]
	}
	s := newStory(t, wall())
	s.sure(0, values, own, shared)

	const draws = 4000
	names := []string{"mat.peak", "mat.mean", "mat.load", "mat.index", "hip.peak", "hip.mean", "hip.load", "hip.index"}
	rng := rand.New(rand.NewPCG(3, 3))
	scatter := func(size float64) map[string]float64 {
		disturbed := newStory(t, wall())
		sums, squares := map[string]float64{}, map[string]float64{}
		for n := range draws {
			gauge := rng.NormFloat64()
			x := make([]float64, len(values))
			for i, v := range values {
				x[i] = v + shared[i]*gauge
				if e := own[i] * rng.NormFloat64() * size; v != 3 { // the one that is hardly in contact stays so
					x[i] += e
				}
			}
			disturbed.scan(0, time.Duration(n)*time.Second, x...)
			for _, name := range names {
				v := disturbed.signal(t, name).Value
				sums[name] += v
				squares[name] += v * v
			}
		}
		out := map[string]float64{}
		for _, name := range names {
			mean := sums[name] / draws
			out[name] = math.Sqrt(squares[name]/draws - mean*mean)
		}
		return out
	}
	all, gauge := scatter(1), scatter(0)
	for _, name := range names {
		got := s.signal(t, name)
		if math.Abs(got.U/all[name]-1) > 0.06 || math.Abs(got.Shared/gauge[name]-1) > 0.06 {
			t.Errorf("%s: ± %v with %v shared, but it scatters by %v, and by %v with the gauge alone", name, got.U, got.Shared, all[name], gauge[name])
		}
	}
	if u := s.signal(t, "mat.area").U; u == u {
		t.Errorf("the contact area has an uncertainty of %v", u)
	}
	plain := newStory(t, wall())
	plain.scan(0, 0, values...)
	if u := plain.signal(t, "mat.peak").U; u == u {
		t.Errorf("a peak of which nothing is known has an uncertainty of %v", u)
	}
}

// A mat and its regions know what in contact is extrapolated.
func TestAMatIsExtrapolatedWhereItIsTouched(t *testing.T) {
	s := newStory(t, wall())
	says := func(beyond int, want map[string]bool) {
		t.Helper()
		at := s.LastScan(0)
		if at == sample.Past {
			at = 0
		}
		s.sure(time.Duration(at)+time.Second, []float64{2, 30, 30, 30, 30, 30, 30, 30, 30, 30, 30, 50}, repeat(1, 12), repeat(0, 12), beyond)
		for name, is := range want {
			if got := s.signal(t, name); got.Extrapolated != is {
				t.Errorf("cell %d: %s is extrapolated: %v", beyond, name, got.Extrapolated)
			}
		}
	}
	says(0, map[string]bool{"mat.peak": false, "mat.load": false, "hip.load": false}) // nothing lies on it
	says(1, map[string]bool{"mat.peak": false, "mat.load": true, "mat.mean": true, "hip.load": false})
	says(11, map[string]bool{"mat.peak": true, "hip.peak": true, "hip.mean": true})
}

// With a certainty of 95 % the peak must be 1.6449 standard uncertainties beyond the
// limit (JCGM 106:2012, 8.3.2: the guard band), here 3.29 mmHg beyond 60.
func TestCertaintyOfAPeak(t *testing.T) {
	rule := above("mat.peak", 60, 0)
	for _, c := range []struct {
		watch        string
		limit        float64
		below, above float64 // pressure of every cell: just not, just so
	}{
		{"mat.peak", 60, 63.2, 63.4},
		{"mat.mean", 60, 60.9, 61.0}, // sqrt(2²/12) = 0.577, 0.95 beyond
	} {
		rule.Limit = &rules.Limit{Watch: c.watch, Above: ptr(c.limit)}
		rule.Certainty = 0.95
		s := newStory(t, wall(rule))
		s.sure(0, repeat(c.below, 12), repeat(2, 12), repeat(0, 12))
		s.expect(t)
		s.sure(time.Second, repeat(c.above, 12), repeat(2, 12), repeat(0, 12))
		s.expect(t, "1s raised bed-1~tight~mat")
		s.says(t, "at least 95 % sure")
	}
}

// What was made by a calibration that is past its date says so, of a site and of
// what is in contact with a mat; and it still does after a restart.
func TestValuesPastTheirDate(t *testing.T) {
	old := func(n int, which int) []bool {
		out := make([]bool, n)
		out[which] = true
		return out
	}
	plan := wall()
	plan.Sources = append(plan.Sources, rules.Source{ID: "a/leg", Channels: 2, StaleAfter: 3 * time.Second, Calibrated: true})
	plan.Places[0].Sites = []rules.Site{{ID: "heel", Channels: []rules.Channel{{Source: 1}}}, {ID: "toe", Channels: []rules.Channel{{Source: 1, Index: 1}}}}
	s := newStory(t, plan)
	values := repeat(2, 12)
	values[3] = 40
	for i, past := range [][]bool{old(12, 3), old(2, 1)} {
		n := len(past)
		s.Scan(&sample.Scan{Source: i, Values: values[:n], U: repeat(1, n), Shared: repeat(0, n), Extrapolated: make([]bool, n), Expired: past})
	}
	s.Tick(sample.Instant(300 * time.Millisecond))
	again := newStory(t, plan)
	if err := again.RestorePlace(0, s.SnapshotPlace(0, nil)); err != nil {
		t.Fatal(err)
	}
	for _, story := range []*story{s, again} {
		for name, want := range map[string]bool{"heel.pressure": false, "toe.pressure": true, "mat.peak": true, "mat.load": true, "hip.peak": false} {
			if got := story.signal(t, name); got.Expired != want || got.Value != got.Value {
				t.Errorf("%s is past its date: %v, with the value %v", name, got.Expired, got.Value)
			}
		}
	}
}

// An alert about a value says what is to be held against it.
func TestAlertsSayWhatTheirValuesRestOn(t *testing.T) {
	for want, set := range map[string][2]bool{
		"The value is past the date of its calibration":                                     {false, true},
		"The value is extrapolated: it lies outside of what was calibrated; and it is past": {true, true},
	} {
		cells := above("mat.pressure", 40, 0)
		cells.ID = "cells"
		s := newStory(t, wall(above("mat.peak", 40, 0), cells))
		x := sample.Scan{Values: repeat(60, 12), U: repeat(1, 12), Shared: repeat(0, 12), Extrapolated: make([]bool, 12), Expired: make([]bool, 12)}
		for i := range x.Values {
			x.Extrapolated[i], x.Expired[i] = set[0], set[1]
		}
		s.Scan(&x)
		if len(s.texts) != 3 { // the peak, and cells of the hip and of the rest
			t.Fatalf("said %q", s.texts)
		}
		for _, text := range s.texts {
			if !strings.Contains(text, want) {
				t.Errorf("said %q, without %q", text, want)
			}
		}
	}
}
