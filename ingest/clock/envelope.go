package clock

import (
	"math"
	"time"
)

// The envelope's limits.
const (
	window   = 600    // seconds with frames that the line is drawn through
	shed     = 60     // how many of them are forgotten at a time
	fastest  = 500e-6 // a clock worse than this is not a clock
	silent   = 60.0   // seconds without a frame that are a silence
	held     = 30     // seconds after a silence before the line turns to them
	skewSpan = 60.0   // seconds of device time before a skew is told
)

// A point is the fastest frame of one second of device time.
type point struct {
	x float64 // device time in seconds since the epoch's first frame
	y float64 // offset (arrival − origin − dev) in nanoseconds
}

// A line gives the offset of a frame that nothing delayed.
type line struct {
	dev    int64 // where it is pinned, ns
	offset int64 // there, ns
	slope  float64
}

func (l line) at(dev int64) int64 { return l.offset + int64(l.slope*float64(dev-l.dev)) }

// An envelope is the line below all points of the last ten minutes, with a slope
// of at most ±500 ppm.
//
// Of the lines that lie below all points, those worth having touch the lower
// convex hull along one of its edges; the edge that spans the points' mean is
// the one whose points lie closest above it in sum. Seconds, not frames, count
// alike, so that a burst of frames has no more say than one. After a silence the
// mean soon lies in the silence, where an edge could hang on a single late
// second behind it: so the mean is that of the seconds before until 30 more have
// come.
//
// The hull is kept as its points come, oldest first, so that a second costs a
// handful of comparisons; it is built anew only when old points are shed.
type envelope struct {
	line   line
	open   bool  // now holds a second
	second int64 // which one
	now    point // the fastest frame of it
	nowDev int64

	points [window]point
	n      int
	hull   [window]int16 // indices into points
	h      int
	sum    float64 // of x over points

	before     int     // how many of the points lie before the last silence
	beforeMean float64 // of their x
}

// begin forgets everything but the skew.
func (e *envelope) begin() {
	e.line = line{slope: e.line.slope}
	e.open, e.n, e.h, e.sum, e.before = false, 0, 0, 0, 0
	e.add(0, 0)
}

// add takes a frame's device time and offset, in ns. It never raises the line
// where it touches the fastest frames so far.
func (e *envelope) add(dev, offset int64) {
	p := point{x: float64(dev) / float64(time.Second), y: float64(offset)}
	switch second := dev / int64(time.Second); {
	case !e.open:
		e.open, e.second, e.now, e.nowDev = true, second, p, dev
	case second != e.second:
		e.close()
		e.second, e.now, e.nowDev = second, p, dev
	case p.y < e.now.y:
		e.now, e.nowDev = p, dev
	}
	if below := e.line.at(dev) - offset; below > 0 {
		e.line.offset -= below
	}
}

// close ends a second: its fastest frame becomes a point, and the line is drawn
// again.
func (e *envelope) close() {
	if e.n == window {
		copy(e.points[:], e.points[shed:])
		e.n, e.h, e.sum, e.before = e.n-shed, 0, 0, max(0, e.before-shed)
		for i := range e.n {
			e.push(i)
		}
	}
	if e.n > 0 && e.now.x-e.points[e.n-1].x > silent {
		e.before, e.beforeMean = e.n, e.sum/float64(e.n)
	}
	e.points[e.n] = e.now
	e.n++
	e.push(e.n - 1)
	if e.n > 1 {
		e.draw()
	}
}

// push makes point i, the newest, a corner of the hull and drops the corners
// that it puts inside.
func (e *envelope) push(i int) {
	p := e.points[i]
	e.sum += p.x
	for e.h >= 2 {
		a, b := e.points[e.hull[e.h-2]], e.points[e.hull[e.h-1]]
		if (b.y-a.y)*(p.x-b.x) < (p.y-b.y)*(b.x-a.x) {
			break // the hull turns upward at b, as it must
		}
		e.h--
	}
	e.hull[e.h] = int16(i)
	e.h++
}

// draw pins the line to the hull.
func (e *envelope) draw() {
	x := e.sum / float64(e.n)
	if e.before > 0 && e.n-e.before < held {
		x = e.beforeMean
	}
	right := e.h - 1
	for right > 1 && e.points[e.hull[right-1]].x >= x {
		right--
	}
	a, b := e.points[e.hull[right-1]], e.points[e.hull[right]]
	slope := (b.y - a.y) / (b.x - a.x) / float64(time.Second)
	if math.Abs(slope) > fastest {
		slope = math.Copysign(fastest, slope)
		a = e.support(slope)
	}
	e.line = line{dev: int64(math.Round(a.x * float64(time.Second))), offset: int64(math.Floor(a.y)), slope: slope}
}

// support returns the corner that a line with the given slope touches from below.
func (e *envelope) support(slope float64) point {
	best, least := point{}, math.Inf(1)
	for _, i := range e.hull[:e.h] {
		p := e.points[i]
		if height := p.y - slope*p.x*float64(time.Second); height < least {
			best, least = p, height
		}
	}
	return best
}

// skew returns by how many ppm the device runs fast, NaN if it is not known.
func (e *envelope) skew() float64 {
	if e.n < 2 || e.points[e.n-1].x-e.points[0].x < skewSpan {
		return math.NaN()
	}
	return -e.line.slope / (1 + e.line.slope) * 1e6
}
