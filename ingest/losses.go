package ingest

import (
	"fmt"
	"time"

	"weald/ingest/sample"
)

// When damage on a line that works is worth saying, on the daemon's clock.
const (
	lossesOver  = 10 * time.Second
	lossesLeast = 5  // frames
	lossesShare = 20 // one in so many
)

// losses watches what share of the frames is damaged, over one stretch of time
// after the other.
type losses struct {
	from          sample.Instant
	sound, broken uint64 // when the stretch began
	words         string // about the stretch before; empty if all was well
}

// tick looks whether a stretch is over.
func (l *losses) tick(in *intake, now sample.Instant) {
	if now.Sub(l.from) < lossesOver && l.from <= now {
		return
	}
	sound, broken := in.sound-l.sound, in.broken-l.broken
	*l = losses{from: now, sound: in.sound, broken: in.broken}
	if broken >= lossesLeast && broken*lossesShare >= sound+broken && sound > 0 {
		l.words = fmt.Sprintf("%d of %d frames arrived damaged (%s): are cable, plug and baud rate right?", broken, sound+broken, in.lastBad.Reason)
	}
}
