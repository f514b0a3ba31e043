package beds

import (
	"math"
	"math/rand/v2"
	"time"

	"weald/rules/posture"
)

// Part of a night: somebody lies as in one recording, for so long.
type Part struct {
	Frames []Map // from the first that is not damaged
	Lasts  time.Duration
}

// A Night is parts one after another, at about a map a second on an uneven
// clock. Between two parts somebody moves for 5 to 15 s. While they lie, every
// few minutes they fidget for up to 20 s, and then lie almost as before; what
// they press creeps up by 7 to 17 %, as was measured on the recordings.
type Night struct {
	Parts []Part
	Seed  uint64
	Still bool // without fidgets
}

// A Moment is a map of a night. Moving says that somebody moves from one part to
// the next, or fidgets.
type Moment struct {
	At     time.Duration
	Values []float64 // the night's until the next
	Lies   posture.Position
	Part   int
	Moving bool
}

// mmHgPerCount makes pressures of the recordings' counts: invented, so that a
// person weighs what a person does.
const mmHgPerCount = 0.06

// Each calls f with every moment, in order.
func (n *Night) Each(f func(Moment)) {
	r := rand.New(rand.NewPCG(n.Seed, 3))
	at, k := time.Duration(0), 0
	step := func() {
		at += 850*time.Millisecond + time.Duration(r.IntN(300))*time.Millisecond
		k++
	}
	for p := range n.Parts {
		part := &n.Parts[p]
		lies := part.Frames[0].Lies
		start, end := at, at+part.Lasts
		creep := 0.07 + 0.1*r.Float64()
		var rest Pose // how they lie since the last fidget
		show := func(m Map, moving bool) {
			by := mmHgPerCount * (1 + creep*math.Log1p(float64(at-start)/float64(2*time.Minute))/math.Log1p(float64(part.Lasts)/float64(2*time.Minute)))
			f(Moment{At: at, Values: each(m, func(_ int, v float64) float64 { return v * by }).Values, Lies: lies, Part: p, Moving: moving})
			step()
		}
		frame := func() Map { return part.Frames[pingPong(k, len(part.Frames))] }
		for until := at + between5and15(r); p > 0 && at < until; {
			m := Move(Pose{Down: 4 * r.NormFloat64(), Right: 4 * r.NormFloat64(), Turn: 0.3 * r.NormFloat64()})(r, frame())
			show(Sway(150*r.Float64())(r, m), true)
		}
		fidget := at + pause(r)
		for at < end {
			for until := at + between5and15(r); !n.Still && at >= fidget && at < until; {
				m := Move(Pose{Down: r.NormFloat64(), Right: 1.5 * r.NormFloat64(), Turn: 0.1 * r.NormFloat64()})(r, frame())
				show(Sway(80*r.Float64())(r, m), true)
				if at >= until {
					rest = Pose{Down: 0.3 * r.NormFloat64(), Right: 0.3 * r.NormFloat64(), Turn: 0.02 * r.NormFloat64()}
					fidget = at + pause(r)
				}
			}
			show(rest.move(frame()), false)
		}
	}
}

// pingPong walks to and fro through n frames, so that none follows one that it
// did not follow in the recording.
func pingPong(k, n int) int {
	if n == 1 {
		return 0
	}
	if k %= 2 * (n - 1); k >= n {
		k = 2*(n-1) - k
	}
	return k
}

func between5and15(r *rand.Rand) time.Duration {
	return 5*time.Second + time.Duration(r.IntN(10000))*time.Millisecond
}

func pause(r *rand.Rand) time.Duration {
	return 2*time.Minute + time.Duration(r.IntN(600))*time.Second
}
