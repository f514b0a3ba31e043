package emulate

import (
	"math"
	"time"
)

// A Move is what a wrapped leg does, and for how long.
type Move struct {
	Do  Moving
	For time.Duration

	// Ankle is added at the ankle meanwhile, in mmHg: a turn pulled too hard.
	Ankle float64
}

// Moving is a way to hold a leg.
type Moving uint8

// The ways to hold a leg.
const (
	Resting Moving = iota
	Standing
	Walking
)

// Wrap is a leg in a wrap with two sensors at the ankle and two at the calf,
// in this order.
type Wrap struct {
	// Ankle and Calf are the resting pressures of the fresh wrap, in mmHg.
	Ankle, Calf float64

	// Stands is what standing adds at the ankle, in mmHg, and what a step
	// adds at its peak; the calf gets more of the step and less of the stand.
	Stands, Steps float64

	// Loses is the share of the resting pressure that is lost in the end.
	Loses float64

	// Moves are gone through over and over.
	Moves []Move
}

// strides is the pace of walking, in strides of one leg a second.
const strides = 0.9

// settles is the time constant of the loss: nearly steady after an hour and a
// half.
const settles = 30 * time.Minute

// changing is how long a leg takes from one Move to the next.
const changing = 2 * time.Second

// At implements Model. The mmHg beyond the four sensors are 0.
func (w *Wrap) At(t time.Duration, mmHg []float64) {
	now, before, into := w.move(t)
	ankle, calf := w.pose(now, t)
	if into < changing {
		oldAnkle, oldCalf := w.pose(before, t)
		blend := float64(into) / float64(changing)
		ankle = oldAnkle + blend*(ankle-oldAnkle)
		calf = oldCalf + blend*(calf-oldCalf)
	}
	for i := range mmHg {
		switch i {
		case 0:
			mmHg[i] = ankle * 1.02
		case 1:
			mmHg[i] = ankle * 0.98
		case 2:
			mmHg[i] = calf * 1.03
		case 3:
			mmHg[i] = calf * 0.97
		default:
			mmHg[i] = 0
		}
	}
}

// move returns the Move at t, the one before it, and how long it has lasted.
func (w *Wrap) move(t time.Duration) (now, before Move, into time.Duration) {
	var round time.Duration
	for _, m := range w.Moves {
		round += m.For
	}
	if round <= 0 {
		return Move{}, Move{}, t
	}
	into = t % round
	before = w.Moves[len(w.Moves)-1]
	if t < round {
		before = w.Moves[0] // the first round comes from nowhere
	}
	for _, now = range w.Moves {
		if into < now.For {
			return now, before, into
		}
		into -= now.For
		before = now
	}
	return now, before, into
}

// pose returns the pressures of a steady m at t.
func (w *Wrap) pose(m Move, t time.Duration) (ankle, calf float64) {
	left := 1 - w.Loses*(1-math.Exp(-float64(t)/float64(settles)))
	ankle, calf = w.Ankle*left+m.Ankle, w.Calf*left
	switch m.Do {
	case Standing:
		ankle += w.Stands
		calf += 0.6 * w.Stands
	case Walking:
		phase := 2 * math.Pi * strides * t.Seconds()
		// A stride presses hard for a short time, and longer for the calf.
		ankle += 0.4*w.Stands + w.Steps*(math.Pow(0.5+0.5*math.Sin(phase), 3)-0.2)
		calf += 0.3*w.Stands + 1.2*w.Steps*(math.Pow(0.5+0.5*math.Sin(phase-0.5), 2)-0.25)
	}
	return max(ankle, 0), max(calf, 0)
}
