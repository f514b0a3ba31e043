package assembly

import (
	"testing"
	"time"

	"weald/ingest/calib"
)

// A number that leaps farther than the time allows has started again; what the
// time allows was lost.
func TestLeapsOfTheNumber(t *testing.T) {
	for _, c := range []struct {
		name        string
		arrives     int // ms after the first frame
		seq, ms     uint32
		gaps, epoch uint64
	}{
		{"thirty seconds lost", 40_000, 400, 40_000, 300, 1},
		{"ten frames lost in no time", 10_050, 110, 10_000, 10, 1},
		{"a thousand in no time", 10_000, 1100, 10_000, 0, 2},
		{"a million in thirty seconds", 40_000, 1_000_000, 40_000, 0, 2},
		{"half an hour by the number and the counter, a moment by the host", 10_000, 18_100, 1_810_000, 0, 2},
		{"five minutes by the number and the host, a moment by the counter", 310_000, 3100, 10_000, 3000, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, Config{Channels: 4, Unit: calib.MMHg, Period: 100 * time.Millisecond})
			r.steady(0, 100)
			r.give(c.arrives, scan(c.seq, c.ms, 1, 2, 3, 4))
			r.stand("after the leap", 101, c.gaps, 0, 0, c.epoch)
			r.give(c.arrives+200, scan(c.seq+2, c.ms+200, 1, 2, 3, 4))
			r.stand("one lost after it", 102, c.gaps+1, 0, 0, c.epoch)
		})
	}
}

// The pace of the numbers is not the nominal rate: here a scan takes two frames,
// and there are twice as many scans as was said.
func TestALeapAtThePaceOfTheNumbers(t *testing.T) {
	r := newRig(t, Config{Channels: 2, Unit: calib.MMHg, Period: 200 * time.Millisecond})
	give := func(i int) {
		r.give(i*100, part(uint32(2*i), uint32(i)*100, 0, true, 1))
		r.give(i*100, part(uint32(2*i+1), uint32(i)*100, 1, false, 2))
	}
	for i := range 100 {
		give(i)
	}
	give(1300)
	r.stand("two minutes lost", 101, 2400, 0, 0, 1)
}
