package turning

import (
	"math"
	"time"

	"weald/rules/posture"
)

// A pattern is a way to lie on the bed: what it looked like at first, and what
// it has been recognised as since.
type pattern struct {
	there         bool
	seen          time.Duration // for how long
	pic           []float64
	along, across float64 // mm
	looks         int
	shares        [3]float64 // sums of the belief in supine, left and right
}

// begin makes p what is looked at.
func (p *pattern) begin(pic []float64, along, across float64) {
	copy(p.pic, pic)
	*p = pattern{there: true, pic: p.pic, along: along, across: across}
}

func (p *pattern) believe(a posture.Answer) {
	p.looks++
	p.shares[0] += a.Supine
	p.shares[1] += a.Left
	p.shares[2] += a.Right
}

// position is what the mean belief says.
func (p *pattern) position() posture.Position {
	for i, where := range [...]posture.Position{posture.Supine, posture.Left, posture.Right} {
		if p.shares[i] >= posture.Sure*float64(p.looks) && p.looks > 0 {
			return where
		}
	}
	return posture.NotSure
}

// doubts says whether a position is one that is believed by less than half.
func (p *pattern) doubts(where posture.Position) bool {
	return where != posture.NotSure && p.shares[where-posture.Supine] < 0.5*float64(p.looks)
}

// far says how far in mm the middle of the load is from where it was.
func (p *pattern) far(along, across float64) float64 {
	return math.Hypot(p.along-along, p.across-across)
}

// is says whether a picture shows the pattern.
func (p *pattern) is(pic []float64, along, across float64) bool {
	return p.far(along, across) < moved/2 && posture.Distance(p.pic, pic) <= same
}
