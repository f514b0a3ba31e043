package ingest

import (
	"testing"
	"time"

	"weald/ingest/frame"
)

func TestACounterOfNoUseIsSaid(t *testing.T) {
	for _, c := range []struct {
		name  string
		count func(i uint32) uint32
		want  string
	}{
		{"still", func(uint32) uint32 { return 0 }, "its millisecond counter stands still: its readings are judged at the time of their arrival"},
		{"seconds", func(i uint32) uint32 { return i / 10 }, "its counter seems to count seconds, not milliseconds: its readings are judged at the time of their arrival"},
		{"microseconds", func(i uint32) uint32 { return 100_000 * i }, "its counter seems to count microseconds, not milliseconds: its readings are judged at the time of their arrival"},
	} {
		t.Run(c.name, func(t *testing.T) {
			bubble(t, oneLeg, func(r *rig) {
				send := func(n, from uint32, count func(i uint32) uint32) {
					for i := from; i < from+n; i++ {
						r.wire(frame.Frame{Kind: frame.Readings, Seq: i, Millis: count(i), Readings: []float64{40, 20}})
					}
				}
				send(60, 0, c.count)
				if s := r.sup.Status().Sources[0]; s.Trouble != c.want || s.Counter != c.want {
					t.Errorf("trouble: %q, want %q", s.Trouble, c.want)
				}
				if late := sampleNow(r).Sub(r.scans()[59].At); late != 100*time.Millisecond {
					t.Errorf("the newest scan is %v old", late)
				}
				send(60, 60, func(i uint32) uint32 { return 1_000_000_000 + 100*i })
				if s := r.sup.Status().Sources[0]; s.Trouble != "" || s.Counter != "" {
					t.Errorf("when it is over: %q", s.Trouble)
				}
			})
		})
	}
}

func TestARecordingWithACounterThatStandsStill(t *testing.T) {
	d := &dump{t: t}
	for i := range uint32(100) {
		d.add(i, 7)
	}
	at, s := d.play(10)
	if at[99] != 9900*time.Millisecond || s.Counter == "" || s.Restarts != 0 {
		t.Errorf("the last of 100 scans is at %v, %q", at[99], s.Counter)
	}
}
