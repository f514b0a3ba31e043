package study

import (
	"math"
	"math/rand/v2"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/simulate"
	"weald/ingest/sample"
)

// A Result is what one way of handling sensors comes to.
type Result struct {
	Way     string   `json:"way"`
	Error   float64  `json:"error_mmhg"`       // root mean square
	Share   float64  `json:"percent_of_first"` // of the error of the first way
	Covered *float64 `json:"covered_percent"`  // of the truth in the stated 95 % interval; nil where that was not asked
	sum     float64  // of squares
	n       float64
}

func (r *Result) add(e float64) { r.sum, r.n = r.sum+e*e, r.n+1 }

// finish works the errors out, and what they are of the first.
func finish(results []Result) []Result {
	for i := range results {
		r := &results[i]
		r.Error = math.Sqrt(r.sum / r.n)
		r.Share = 100 * r.Error / results[0].Error
	}
	return results
}

// Usual are the faults of thin sensors that a study takes: all that can be told
// apart from each other, of usual size (common practice, no source).
var Usual = simulate.Faults{Noise: 0.5, Loop: 2.5, Cycle: 1, Repeat: 1, Creep: 0.05, Gauge: 0.5}

// A way is a way of handling the same sensors.
type way struct {
	name            string
	branches, creep bool
	sensors         int
}

var ways = []way{
	{"one curve, one sensor", false, false, 1},
	{"branches", true, false, 1},
	{"creep correction", false, true, 1},
	{"branches, creep correction", true, true, 1},
	{"four sensors", false, false, 4},
	{"branches, creep correction, four sensors", true, true, 4},
}

// Simulated studies so many sites of simulated sensors with the given faults.
func Simulated(f simulate.Faults, sites int) ([]Result, error) {
	results := make([]Result, len(ways))
	for i, w := range ways {
		r, inside := &results[i], 0.0
		r.Way = w.name
		for site := range uint64(sites) {
			s, err := newSite(w, f, site)
			if err != nil {
				return nil, err
			}
			inside += s.load(r, f, site)
		}
		covered := 100 * inside / r.n
		r.Covered = &covered
	}
	return finish(results), nil
}

// A site is some sensors at one spot, each with its calibration by one gauge.
type site struct {
	sensors      []*simulate.Sensor
	calibrations []curve.Calibration
}

func newSite(w way, f simulate.Faults, seed uint64) (s site, err error) {
	o := fit.Defaults()
	o.Models, o.ReferenceU, o.Drift = []curve.Model{curve.Quadratic, curve.Monotone}, f.Gauge, 0
	o.Branches = &w.branches
	gauge := rand.New(rand.NewPCG(seed, 6)).NormFloat64() * f.Gauge
	for i := range w.sensors {
		own := f
		own.Gauge = 0
		sensor := simulate.New(4*seed+uint64(i), 0.8, own)
		rows := sensor.Table(3)
		for j := range rows {
			rows[j].Reference += gauge // one gauge for all four
		}
		r, err := fit.Fit(rows, o)
		if err != nil {
			return s, err
		}
		if w.creep {
			c, err := held(sensor, &r.Calibration)
			if err != nil {
				return s, err
			}
			r.Calibration.Creep = &c
		}
		s.sensors, s.calibrations = append(s.sensors, sensor), append(s.calibrations, r.Calibration)
	}
	return s, nil
}

// held reads the sensor under 60 mmHg for ten minutes.
func held(s *simulate.Sensor, c *curve.Calibration) (curve.Creep, error) {
	s.Cycle()
	s.To(0)
	s.To(60)
	var ages []time.Duration
	var mmHg []float64
	for a := 1.0; a <= 600; a *= 1.3 {
		ages = append(ages, time.Duration(a*1e9))
		mmHg = append(mmHg, float64(c.Value(s.Raw(a, 0), curve.Loading, 0).MMHg))
	}
	return fit.Creep(ages, mmHg, simulate.Dwell*time.Second)
}

// load brings twenty pressures onto the site, and returns how many of them are in
// the stated interval.
func (s *site) load(r *Result, f simulate.Faults, seed uint64) (inside float64) {
	rng := rand.New(rand.NewPCG(seed, 7))
	n := float64(len(s.sensors))
	motions := make([]curve.Motion, len(s.sensors))
	p := 40.0
	for step := range 20 {
		p = math.Abs(p+60*(rng.Float64()-0.5)-5) + 5
		p = 95 - math.Abs(95-p)
		age := 30 * math.Pow(60, rng.Float64())
		mean, independent := 0.0, 0.0
		for i, sensor := range s.sensors {
			sensor.Cycle()
			sensor.To(p)
			raw := sensor.Raw(age, 0)
			c := &s.calibrations[i]
			middle, _ := c.At(raw)
			d, _ := motions[i].Step(sample.Instant(step)*3600e9, float64(middle), c.Width)
			v := c.Value(raw, d, 0)
			if c.Creep != nil {
				v = c.Creep.Correct(v, time.Duration(age*1e9))
			}
			mean += float64(v.MMHg) / n
			independent += v.Independent * v.Independent
		}
		if u := math.Hypot(math.Sqrt(independent)/n, f.Gauge); math.Abs(mean-p) <= 1.96*u {
			inside++
		}
		r.add(mean - p)
	}
	return inside
}
