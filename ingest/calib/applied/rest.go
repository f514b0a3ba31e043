package applied

import (
	"weald/ingest/calib/curve"
	"weald/ingest/sample"
)

// A rest is what every scan needs of a channel of which the motion matters: its
// average follows the pressure of the curve for loading, on the stretch m + dm*y.
type rest struct {
	curve.Average
	m, dm float64
}

func (r *rest) at(y float64) float64 { return r.m + float64(r.dm*y) }

// A course is what only those scans need in which the channel moves.
type course struct {
	curve.Course
	width   float64
	follows bool // the motion matters; false beside others of the source of which it does
	left    bool // its reading is withheld
	behind  bool // it was not told of the last scan
}

// miss notes that a channel has no reading in a scan, the first after so many
// that ended at last.
func (c *course) miss(last sample.Instant) {
	if !c.behind {
		c.Rested(last)
		c.behind = true
	}
}

// follow tells a channel of a reading with which it does not rest, and reports whether
// neither the direction nor the load is another. Nobody told it of the time in which
// it rested.
func (c *course) follow(r *rest, at sample.Instant, share, p float64) (same bool) {
	if c.behind {
		share = curve.Share(at.Sub(c.Last()))
		c.behind = false
	}
	direction, since := c.Direction(), c.Since()
	c.Move(&r.Average, at, share, p, c.width)
	return c.Direction() == direction && c.Since() == since
}

// column returns that of the direction, or of none for a scan out of order.
func (c *course) column(inOrder bool) int {
	switch d := c.Direction(); {
	case inOrder && d == curve.Loading:
		return loading
	case inOrder && d == curve.Unloading:
		return unloading
	}
	return still
}

// motion returns the whole motion, told of the time of the last scan.
func (c *course) motion(r *rest, last sample.Instant) curve.Motion {
	m := curve.Motion{Average: r.Average, Course: c.Course}
	if !c.behind {
		m.Rested(last)
	}
	return m
}

// take goes on with a motion that was kept.
func (c *course) take(r *rest, m curve.Motion, last sample.Instant) {
	r.Average, c.Course = m.Average, m.Course
	c.behind = m.Last() != last
}
