package edf

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func TestFitKeepsItsPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := math.Pow(10, rapid.Float64Range(-8, 7.3).Draw(t, "size"))
		lo := rapid.Float64Range(max(-size, -2e6), size).Draw(t, "lo") // the sign takes one of the eight characters
		hi := lo + rapid.Float64Range(0, size).Draw(t, "span")
		s, err := Fit(lo, hi)
		if err != nil {
			t.Fatal(err)
		}
		for _, end := range []float64{s.PhysicalMin, s.PhysicalMax} {
			text := strconv.FormatFloat(end, 'f', -1, 64)
			if back, err := strconv.ParseFloat(text, 64); len(text) > 8 || err != nil || back != end {
				t.Fatalf("end %v is written %q", end, text)
			}
		}
		if gap := min(lo, 0) - s.Physical(UnknownDigital); gap < 14999*s.Step() || s.Physical(UnknownDigital) >= 0 {
			t.Fatalf("unknown at %v is only %v below %v", s.Physical(UnknownDigital), gap, lo)
		}
		v := rapid.Float64Range(lo, hi).Draw(t, "v")
		d, clipped := s.Digital(v)
		if off := math.Abs(s.Physical(int(d)) - v); clipped || d == UnknownDigital || !(off <= s.Step()/2*(1+1e-9)) {
			t.Fatalf("%v becomes %d, %v (clipped %v): off by %v, half a step is %v", v, d, s.Physical(int(d)), clipped, off, s.Step()/2)
		}
	})
}

func TestFit(t *testing.T) {
	for _, c := range []struct {
		lo, hi   float64
		min, max float64
		step     float64
	}{
		{0, 40, -15, 50.535, 0.001},
		{35, 45, -15, 50.535, 0.001},
		{0, 60, -30, 101.07, 0.002},
		{-3, 200, -80, 247.675, 0.005},
		{0, 0, -0.015, 0.050535, 0.000001},
		{0, 4095, -1500, 5053.5, 0.1},
	} {
		s, err := Fit(c.lo, c.hi)
		if err != nil || s.PhysicalMin != c.min || s.PhysicalMax != c.max || math.Abs(s.Step()-c.step) > 1e-12 {
			t.Errorf("%v to %v: %+v, step %v, %v; want %v to %v", c.lo, c.hi, s, s.Step(), err, c.min, c.max)
		}
	}
	for _, bad := range [][2]float64{{0, 1e9}, {math.NaN(), 1}, {0, math.Inf(1)}, {-1e8, 0}, {-2e7, 0}} {
		if s, err := Fit(bad[0], bad[1]); !errors.Is(err, ErrRange) {
			t.Errorf("%v to %v: %+v, %v", bad[0], bad[1], s, err)
		}
	}
}

func TestDigitalNeverSaysUnknownOfANumber(t *testing.T) {
	s, err := Fit(0, 60)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		v       float64
		want    int16
		clipped bool
	}{
		{math.NaN(), UnknownDigital, false},
		{-1e9, -32767, true},
		{s.PhysicalMin, -32767, true},
		{s.PhysicalMax, 32766, true},
		{1e9, 32766, true},
		{math.Inf(1), 32766, true},
		{0, -32768 + 15000, false},
	} {
		if d, clipped := s.Digital(c.v); d != c.want || clipped != c.clipped {
			t.Errorf("%v: %d, %v; want %d, %v", c.v, d, clipped, c.want, c.clipped)
		}
	}
}
