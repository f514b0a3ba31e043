package keeper

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"weald/ingest/sample"
	"weald/stream/record"
)

// How many scans and ticks, and how many readings in them, may wait for a disk
// that takes none. Then the oldest are given up, one for each that comes: what is
// newest says most about how things stand when there is room again, and what is
// kept ends before one hole and goes on behind it. The engine has judged what is
// given up; only its record is lost, which is counted and said.
//
// A disk that is slow for a moment is no reason: there is always room for what comes
// in roomLasts.
const (
	mostPending  = 20000
	mostReadings = 8 << 20
	roomLasts    = 4 * time.Second
)

// A room is for how many scans and ticks, and readings in them, there is room; at
// least for those of mostPending and mostReadings.
type room struct {
	scans, readings int

	from     sample.Instant // since when what came has been counted
	came     int
	readCame int
}

// add counts a scan.
func (r *room) add(readings int) {
	r.came++
	r.readCame += readings
}

// measure makes room for what comes in roomLasts, as often as it came since the last
// time.
func (r *room) measure(now sample.Instant) {
	since := now.Sub(r.from)
	if r.from != sample.Past && since < readingsEvery/2 && since >= 0 {
		return // too short to tell
	}
	if r.from != sample.Past && since > 0 {
		times := float64(roomLasts) / float64(since)
		r.scans, r.readings = max(mostPending, int(times*float64(r.came))), max(mostReadings, int(times*float64(r.readCame)))
	}
	r.from, r.came, r.readCame = now, 0, 0
}

// A loss is scans that were given up.
type loss struct {
	scans       uint64
	first, last sample.Instant    // when the first and the last of them arrived
	of          map[string]uint64 // how many, by source
}

func (l *loss) add(source string, s *record.Scan) {
	if l.scans == 0 {
		l.first, l.last, l.of = s.Arrived, s.Arrived, map[string]uint64{}
	}
	l.scans++
	l.first, l.last = min(l.first, s.Arrived), max(l.last, s.Arrived)
	l.of[source]++
}

// merge takes in what was given up since.
func (l *loss) merge(o loss) {
	if l.scans == 0 || o.scans == 0 {
		if l.scans == 0 {
			*l = o
		}
		return
	}
	l.scans += o.scans
	l.first, l.last = min(l.first, o.first), max(l.last, o.last)
	for source, n := range o.of {
		l.of[source] += n
	}
}

// String says what was given up, "" for nothing.
func (l *loss) String() string {
	if l.scans == 0 {
		return ""
	}
	var each []string
	for _, source := range slices.Sorted(maps.Keys(l.of)) {
		each = append(each, fmt.Sprintf("%s %d", source, l.of[source]))
	}
	return fmt.Sprintf("%d scans that came from %v to %v found no room and are lost: %s", l.scans, l.first, l.last, strings.Join(each, ", "))
}

// makeRoom gives up the oldest of what waits while it is too much. The caller holds
// mu, as does that of all below.
func (k *Keeper) makeRoom() {
	for k.pending > k.room.scans || k.holds > k.room.readings {
		k.giveUp()
	}
}

// giveUp forgets the oldest input that waits.
func (k *Keeper) giveUp() {
	var oldest *record.Block
	for i := range k.blocks {
		if b := &k.blocks[i]; len(b.Scans) > 0 && (oldest == nil || b.Scans[0].Ord < oldest.Scans[0].Ord) {
			oldest = b
		}
	}
	k.pending--
	if len(k.ticks) > 0 && (oldest == nil || k.ticks[0].Ord < oldest.Scans[0].Ord) {
		k.ticks = k.ticks[1:]
		return
	}
	s := &oldest.Scans[0]
	k.gone.add(oldest.Source, s)
	k.lost++
	k.holds -= len(s.Raw)
	k.spare.put(s.Raw)
	s.Raw = nil
	oldest.Scans = oldest.Scans[1:]
}

// fix says that ticks before an ordinal stay: something has been made of them.
func (k *Keeper) fix(ord uint64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.barrier = max(k.barrier, ord)
}

// tick lets a tick wait. While nothing can be written, one that was shown to its
// place after everything else that waits, and of which nothing came, goes up in
// it: time passes for a place as well in one step as in two.
func (k *Keeper) tick(t record.Tick) {
	for i := len(k.ticks) - 1; k.failing && i >= 0 && k.ticks[i].Ord > k.barrier; i-- {
		if k.ticks[i].Place == t.Place {
			k.ticks = slices.Delete(k.ticks, i, i+1)
			k.pending--
			break
		}
	}
	k.ticks = append(k.ticks, t)
	k.pending++
	k.makeRoom()
}
