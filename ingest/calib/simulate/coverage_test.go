package simulate_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/simulate"
	"weald/ingest/sample"
)

// live brings invented pressures onto a calibrated sensor and returns each
// error as a share of its stated standard uncertainty.
func live(s *simulate.Sensor, c *curve.Calibration, seed uint64, days float64) (shares []float64) {
	rng := rand.New(rand.NewPCG(seed, 5))
	var m curve.Motion
	at := sample.Instant(0)
	s.To(0)
	p := 50.0
	for range 8 {
		s.Cycle()
		p += 60 * (rng.Float64() - 0.5) // up and down, and seldom through the whole loop
		p = math.Abs(p-5) + 5
		p = 95 - math.Abs(95-p)
		s.To(p)
		age := math.Pow(10, 0.5+2.5*rng.Float64())
		raw := s.Raw(age, days)
		middle, _ := c.At(raw)
		at = at.Add(time.Minute)
		d, _ := m.Step(at, float64(middle), c.Width)
		v := c.Value(raw, d, time.Duration(days*24*float64(time.Hour)))
		if c.Creep != nil {
			v = c.Creep.Correct(v, time.Duration(age*float64(time.Second)))
		}
		shares = append(shares, (float64(v.MMHg)-p)/v.U())
	}
	return shares
}

// A 95 % interval covers 93 to 97 % of the truth, over sensors with all faults
// and with each in turn the largest.
func TestCoverage(t *testing.T) {
	base := simulate.Faults{Noise: 0.3, Loop: 0.7, Cycle: 0.5, Repeat: 0.6, Drift: 0.01, Creep: 0.02, Gauge: 1}
	with := func(change func(*simulate.Faults)) simulate.Faults { f := base; change(&f); return f }
	for _, c := range []struct {
		name     string
		faults   simulate.Faults
		exponent float64
	}{
		{"all", base, 0.8},
		{"straight", base, 1},
		{"noise", with(func(f *simulate.Faults) { f.Noise = 2 }), 0.8},
		{"hysteresis", with(func(f *simulate.Faults) { f.Loop = 3 }), 0.8},
		{"drift", with(func(f *simulate.Faults) { f.Drift = 0.04 }), 0.8},
		{"creep", with(func(f *simulate.Faults) { f.Creep = 0.06 }), 0.8},
		{"cycles", with(func(f *simulate.Faults) { f.Cycle = 2 }), 0.8},
		{"repeats", with(func(f *simulate.Faults) { f.Repeat = 2 }), 0.8},
		{"gauge", with(func(f *simulate.Faults) { f.Gauge = 2.5 }), 0.8},
	} {
		t.Run(c.name, func(t *testing.T) {
			inside, n, squares := 0, 0, 0.0
			sensors, models := uint64(100), []curve.Model{curve.Line, curve.Monotone}
			if c.name == "all" {
				sensors, models = 30, nil // every model: the power law takes its time
			}
			for seed := range sensors {
				s := simulate.New(seed, c.exponent, c.faults)
				o := fit.Defaults()
				o.Models = models
				o.ReferenceU, o.Drift = c.faults.Gauge, c.faults.Drift*90*math.Sqrt(3)
				if c.faults.Creep > 0 {
					o.Creep = &curve.Creep{PerDecade: c.faults.Creep, Dwell: simulate.Dwell}
				}
				r, err := fit.Fit(s.Table(4), o)
				if err != nil {
					t.Fatal(err)
				}
				for _, share := range live(s, &r.Calibration, seed, float64(seed%90)) {
					n++
					squares += share * share
					if math.Abs(share) <= 1.96 {
						inside++
					}
				}
			}
			covered := 100 * float64(inside) / float64(n)
			said := fmt.Sprintf("%.1f %% of %d values covered, root mean square %.2f of the stated uncertainty", covered, n, math.Sqrt(squares/float64(n)))
			if covered < 93 || covered > 97 {
				t.Error(said)
			} else {
				t.Log(said)
			}
		})
	}
}
