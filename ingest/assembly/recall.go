package assembly

import (
	"weald/ingest/frame"
	"weald/ingest/sample"
)

// Recall tells an Assembler that has had no frame yet of the last scans that a
// former one made, in the order in which they came. Frames of theirs that come
// again are then repeats, as if there had been no break; what is missing since
// is a gap; and what comes late, from a broker that has kept it, has the event
// time that the device's clock gives it, not that of its arrival. No scan goes
// out, and nothing is counted but what comes afterwards.
//
// Frames that the former Assembler had and that were no part of a scan it
// passed on are not known. Rows with a time of their own know nothing of
// repeats, with or without a break.
func (a *Assembler) Recall(heard []sample.Heard) {
	if a.config.OwnTime || a.config.Unnumbered {
		return
	}
	eachFrame(heard, func(h *sample.Heard, seq uint32) {
		if a.recall(h, seq); seq == h.Seq && !h.Stored {
			a.clock.NotBefore(h.At)
		}
	})
	if n := a.clock.Epochs(); n > 0 {
		a.others = 1 - n // only the newest goes on
	}
}

// eachFrame calls f with every frame of scans that were heard.
func eachFrame(heard []sample.Heard, f func(h *sample.Heard, seq uint32)) {
	for i := range heard {
		h := &heard[i]
		if h.Seq-h.First >= remembered {
			continue // no scan has so many
		}
		for seq := h.First; ; seq++ {
			f(h, seq)
			if seq == h.Seq {
				break
			}
		}
	}
}

// recall takes one frame of a scan that was heard.
func (a *Assembler) recall(h *sample.Heard, seq uint32) {
	this := received{yes: true, seq: seq, ms: h.Millis}
	if h.Stored {
		a.sequence.judgeStored(seq, h.Millis, h.Arrived)
		return
	}
	p, _ := a.sequence.judge(this, true, h.Arrived)
	switch p {
	case reboot:
		a.restart(this, h.Arrived)
	case next:
	default:
		return
	}
	if seq == h.First {
		// By its event time, which is when it would have come without delay: a
		// queue that was being drained must not look like the device's clock.
		a.time(&frame.Frame{Kind: frame.Readings, Seq: seq, Millis: h.Millis}, h.At)
	}
}
