package ingest

import (
	"fmt"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// When damage on a line that works is worth saying: so many frames, and one in so
// many, over the stretch that goes on and the one before, on the daemon's clock.
// A slow source sends few frames in that time, of which fewer are enough if they
// are many of them.
const (
	lossesOver  = 5 * time.Second // a stretch
	lossesLeast = 5
	lossesShare = 20

	lossesLeastSlow = 2
	lossesShareSlow = 3
)

// An arrived counts frames.
type arrived struct{ sound, broken uint64 }

func (a arrived) less(b arrived) arrived { return arrived{a.sound - b.sound, a.broken - b.broken} }

// bad reports whether the frames are damaged more often than they may be. Where
// none is sound it is not damage that is the matter.
func (a arrived) bad() bool {
	all := a.sound + a.broken
	return a.sound > 0 && (a.broken >= lossesLeast && a.broken*lossesShare >= all ||
		a.broken >= lossesLeastSlow && a.broken*lossesShareSlow >= all)
}

// losses watches what share of the frames is damaged, so that it is said while it
// is so and soon no longer when it is over.
type losses struct {
	from   sample.Instant // beginning of the stretch that goes on
	since  arrived        // until then
	before arrived        // in the stretch before
	words  string         // empty if all is well
}

func (in *intake) arrived() arrived { return arrived{in.sound, in.broken} }

// tick looks at the frames so far.
func (l *losses) tick(in *intake, now sample.Instant) {
	here := in.arrived().less(l.since)
	both := arrived{l.before.sound + here.sound, l.before.broken + here.broken}
	if l.words = ""; both.bad() {
		l.words = damage(both, &in.lastBad)
	}
	if now.Sub(l.from) >= lossesOver || l.from > now {
		l.from, l.since, l.before = now, in.arrived(), here
	}
}

// damage says how many frames were lost, and what to look at.
func damage(a arrived, last *frame.Bad) string {
	all := a.sound + a.broken
	switch last.Reason {
	case frame.BadChecksum, frame.BadLength, frame.BadCoding:
		return fmt.Sprintf("%d of %d frames arrived damaged (%s): are cable, plug and baud rate right?", a.broken, all, last.Reason)
	}
	return fmt.Sprintf("%d of %d frames were refused (the last: %s)", a.broken, all, last.Error())
}
