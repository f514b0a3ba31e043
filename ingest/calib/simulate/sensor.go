package simulate

import (
	"math"
	"math/rand/v2"

	"weald/ingest/calib/figures"
)

// Faults are what is wrong with a sensor and with the gauge it is calibrated
// by: standard deviations in mmHg, but for those that say otherwise.
type Faults struct {
	Noise  float64 // of each reading
	Loop   float64 // half width of the loop of hysteresis: its full size, not a deviation
	Cycle  float64 // offset, drawn anew for every cycle
	Repeat float64 // offset, drawn anew for every level that is come to
	Drift  float64 // per day: the slope, drawn once a sensor
	Creep  float64 // share per decade of time: its full size
	Gauge  float64 // offset of the gauge, drawn once a calibration
}

// A Sensor is one sensor with its faults drawn.
type Sensor struct {
	Exponent float64 // counts = Zero + Gain * felt^Exponent; 1 is a straight line
	Gain     float64
	Zero     float64
	Faults   Faults

	rng    *rand.Rand
	gauge  float64
	drift  float64
	cycle  float64
	repeat float64
	felt   float64
}

// New draws a sensor.
func New(seed uint64, exponent float64, f Faults) *Sensor {
	rng := rand.New(rand.NewPCG(seed, 4))
	s := &Sensor{Exponent: exponent, Gain: 4000 / math.Pow(150, exponent), Zero: 100, Faults: f, rng: rng}
	s.gauge, s.drift = f.Gauge*rng.NormFloat64(), f.Drift*rng.NormFloat64()
	s.Cycle()
	return s
}

// Cycle begins another loading.
func (s *Sensor) Cycle() { s.cycle = s.Faults.Cycle * s.rng.NormFloat64() }

// To brings a pressure onto the sensor.
func (s *Sensor) To(mmHg float64) {
	s.repeat = s.Faults.Repeat * s.rng.NormFloat64()
	s.felt = min(max(s.felt, mmHg-s.Faults.Loop), mmHg+s.Faults.Loop)
}

// Raw reads the sensor once, seconds after To, so many days after it was
// calibrated.
func (s *Sensor) Raw(seconds, days float64) float64 {
	felt := s.felt * (1 + s.Faults.Creep*math.Log10(1+seconds))
	felt += s.cycle + s.repeat + s.drift*days + s.Faults.Noise*s.rng.NormFloat64()
	return s.Zero + s.Gain*math.Copysign(math.Pow(math.Abs(felt), s.Exponent), felt)
}

// Dwell is how long every level of a Table is held before it is read, in s.
const Dwell = 30

// Table calibrates the sensor: cycles from 0 to 100 mmHg and back in steps of
// 10, each level read after Dwell. The references are what the gauge says.
func (s *Sensor) Table(cycles int) (rows []figures.Row) {
	for c := 1; c <= cycles; c++ {
		s.Cycle()
		for i := range 21 {
			p, d := float64(10*i), figures.Up
			if i > 10 {
				p, d = float64(200-10*i), figures.Down
			}
			s.To(p)
			rows = append(rows, figures.Row{Cycle: c, Direction: d, Reference: p + s.gauge, Raw: s.Raw(Dwell, 0)})
		}
	}
	return rows
}
