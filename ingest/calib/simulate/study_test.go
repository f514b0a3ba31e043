package simulate_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/simulate"
	"weald/ingest/sample"
)

// way is a way of handling the same sensors.
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

// study returns the root mean square error, in mmHg, of sites under loads that
// go up and down and stay for half a minute to half an hour, and the share of
// the truth that is in the stated 95 % interval. Every way meets the same
// sensors with the same draws, and learns the creep from a hold of ten minutes.
func study(t *testing.T, w way, f simulate.Faults) (rms, covered float64) {
	const sites = 40
	squares, inside, n := 0.0, 0, 0
	for site := range uint64(sites) {
		o := fit.Defaults()
		o.Models, o.ReferenceU, o.Drift = []curve.Model{curve.Quadratic, curve.Monotone}, f.Gauge, 0
		o.Branches = &w.branches
		gauge := rand.New(rand.NewPCG(site, 6)).NormFloat64() * f.Gauge
		sensors := make([]*simulate.Sensor, w.sensors)
		calibrations := make([]curve.Calibration, w.sensors)
		for i := range sensors {
			own := f
			own.Gauge = 0
			s := simulate.New(4*site+uint64(i), 0.8, own)
			rows := s.Table(3)
			for j := range rows {
				rows[j].Reference += gauge // one gauge for all four
			}
			r, err := fit.Fit(rows, o)
			if err != nil {
				t.Fatal(err)
			}
			if w.creep {
				c := held(t, s, &r.Calibration)
				r.Calibration.Creep = &c
			}
			sensors[i], calibrations[i] = s, r.Calibration
		}
		rng := rand.New(rand.NewPCG(site, 7))
		motions := make([]curve.Motion, w.sensors)
		p := 40.0
		for step := range 20 {
			p = math.Abs(p+60*(rng.Float64()-0.5)-5) + 5
			p = 95 - math.Abs(95-p)
			age := 30 * math.Pow(60, rng.Float64())
			mean, independent := 0.0, 0.0
			for i, s := range sensors {
				s.Cycle()
				s.To(p)
				raw := s.Raw(age, 0)
				c := &calibrations[i]
				middle, _ := c.At(raw)
				d, _ := motions[i].Step(sample.Instant(step)*3600e9, float64(middle), c.Width)
				v := c.Value(raw, d, 0)
				if c.Creep != nil {
					v = c.Creep.Correct(v, time.Duration(age*1e9))
				}
				mean += float64(v.MMHg) / float64(w.sensors)
				independent += v.Independent * v.Independent
			}
			u := math.Hypot(math.Sqrt(independent)/float64(w.sensors), f.Gauge)
			if math.Abs(mean-p) <= 1.96*u {
				inside++
			}
			squares, n = squares+(mean-p)*(mean-p), n+1
		}
	}
	return math.Sqrt(squares / float64(n)), 100 * float64(inside) / float64(n)
}

// held reads the sensor under 60 mmHg for ten minutes.
func held(t *testing.T, s *simulate.Sensor, c *curve.Calibration) curve.Creep {
	s.Cycle()
	s.To(0)
	s.To(60)
	var ages []time.Duration
	var mmHg []float64
	for a := 1.0; a <= 600; a *= 1.3 {
		ages = append(ages, time.Duration(a*1e9))
		mmHg = append(mmHg, float64(c.Value(s.Raw(a, 0), curve.Loading, 0).MMHg))
	}
	k, err := fit.Creep(ages, mmHg, simulate.Dwell*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// What each of the three is worth; DEVELOPERS.md has the table.
func TestStudy(t *testing.T) {
	f := simulate.Faults{Noise: 0.5, Loop: 2.5, Cycle: 1, Repeat: 1, Creep: 0.05, Gauge: 0.5}
	rms := map[string]float64{}
	for _, w := range ways {
		r, covered := study(t, w, f)
		rms[w.name] = r
		t.Logf("%-42s %5.2f mmHg, %4.0f %% of the first; %.1f %% covered", w.name, r, 100*r/rms[ways[0].name], covered)
	}
	for _, pair := range [][2]string{
		{"branches", "one curve, one sensor"}, {"creep correction", "one curve, one sensor"}, {"four sensors", "one curve, one sensor"},
		{"branches, creep correction", "branches"}, {"branches, creep correction", "creep correction"},
		{"branches, creep correction, four sensors", "branches, creep correction"},
	} {
		if !(rms[pair[0]] < rms[pair[1]]) {
			t.Errorf("%s: %.2f mmHg, no less than %s: %.2f", pair[0], rms[pair[0]], pair[1], rms[pair[1]])
		}
	}
}
