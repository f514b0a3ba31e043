package emulate

import (
	"math/rand/v2"
	"time"
)

// A Sit is what somebody does on a seat, and for how long.
type Sit struct {
	Do  Sitting
	For time.Duration
}

// Sitting is a way to sit.
type Sitting uint8

// The ways to sit; Gone is an empty seat.
const (
	Gone Sitting = iota
	Upright
	LeanLeft  // the right side is nearly free
	LeanRight // the left side is nearly free
	PushUp    // nearly the whole seat is free
)

// loads has the share of weight on the left and the right half.
var loads = [...][2]float64{
	Gone:      {0, 0},
	Upright:   {1, 1},
	LeanLeft:  {1.35, 0.4},
	LeanRight: {0.4, 1.35},
	PushUp:    {0.04, 0.04},
}

// shifting is how long a change of weight takes.
const shifting = 1500 * time.Millisecond

// Seat is a person on a cushion whose rows run from the back to the front.
type Seat struct {
	sits   []Sit
	sway   *rand.Rand
	left   []float64 // the left half of the load of somebody upright
	right  []float64
	from   [2]float64 // shares before the present change
	at     time.Duration
	index  int
	until  time.Duration
	swayed time.Duration // when the next small movement is due
	tilt   float64       // what small movements move from left to right
}

// seated has the parts of a body upright on a seat.
var seated = []part{
	{0.34, -0.34, 0.13, 0.22, 88}, {0.34, 0.34, 0.13, 0.22, 88},
	{0.60, -0.44, 0.26, 0.28, 34}, {0.60, 0.44, 0.26, 0.28, 34},
	{0.16, 0, 0.09, 0.22, 22},
}

// newSeat puts a person of the given weight (1 is middling) on a seat and has
// them go through sits, over and over. It panics without any.
func newSeat(rows, columns int, weight float64, sits []Sit, seed uint64) *Seat {
	if len(sits) == 0 {
		panic("emulate: a seat without a sitting")
	}
	s := &Seat{
		sits: sits, sway: rand.New(noise(seed, 'w')),
		left: make([]float64, rows*columns), right: make([]float64, rows*columns),
		from: loads[sits[0].Do], until: sits[0].For, at: -time.Hour,
	}
	whole := make([]float64, rows*columns)
	for _, p := range seated {
		p.press(whole, rows, columns, 0, 0, weight)
	}
	soften(whole)
	for i, p := range whole {
		// The halves overlap a little in the middle, so that a shift of
		// weight leaves no edge.
		right := min(max(2*along(i%columns, columns)-0.5, 0), 1)
		s.left[i], s.right[i] = p*(1-right), p*right
	}
	return s
}

// At implements Model.
func (s *Seat) At(t time.Duration, mmHg []float64) {
	for t >= s.until {
		s.from = loads[s.sits[s.index].Do]
		s.index = (s.index + 1) % len(s.sits)
		s.at, s.until = s.until, s.until+s.sits[s.index].For
	}
	for t >= s.swayed {
		s.swayed += time.Second + time.Duration(s.sway.ExpFloat64()*float64(20*time.Second))
		s.tilt = clamp(0.6*s.tilt+0.04*s.sway.NormFloat64(), 0.12)
	}
	blend := min(1, float64(t-s.at)/float64(shifting))
	to := loads[s.sits[s.index].Do]
	left := (s.from[0] + blend*(to[0]-s.from[0])) * (1 - s.tilt)
	right := (s.from[1] + blend*(to[1]-s.from[1])) * (1 + s.tilt)
	for i := range mmHg {
		mmHg[i] = left*s.left[i] + right*s.right[i]
	}
}
