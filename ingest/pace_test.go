package ingest

import (
	"bytes"
	"testing"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A dump is a recording of packed frames without arrivals.
type dump struct {
	t *testing.T
	b []byte
}

func (d *dump) add(seq, ms uint32) {
	d.t.Helper()
	var err error
	d.b, err = frame.AppendWire(d.b, &frame.Frame{Kind: frame.Readings, Seq: seq, Millis: ms, Readings: []float64{40, 20}}, frame.U12)
	if err != nil {
		d.t.Fatal(err)
	}
}

// play returns the event times of the scans, which came when they were measured.
func (d *dump) play(rate float64) ([]time.Duration, SourceStatus) {
	d.t.Helper()
	b := oneLeg(nil)
	b.Sources[0].Rate = rate
	var at []time.Duration
	s, err := playAll(d.t.Context(), b, bytes.NewReader(d.b), PlayOptions{}, func(s *sample.Scan) {
		at = append(at, s.At.Sub(0))
	})
	if err != nil {
		d.t.Fatal(err)
	}
	return at, s.Sources[0]
}

func TestARecordingGoesOnAfterARestart(t *testing.T) {
	d := &dump{t: t}
	for range 3 {
		for i := range uint32(3601) {
			d.add(i, 1000*i)
		}
	}
	at, s := d.play(1)
	if len(at) != 3*3601 || s.Epochs != 3 || s.Restarts != 2 || s.Gaps != 0 {
		t.Fatalf("%d scans, %+v", len(at), s)
	}
	for i, got := range at {
		if want := time.Duration(i) * time.Second; got != want {
			t.Fatalf("scan %d is at %v, want %v", i, got, want)
		}
	}
}

func TestARecordingOfADeviceThatRestartsEarly(t *testing.T) {
	d := &dump{t: t}
	for range 5 {
		for i := range uint32(60) {
			d.add(i, 100*i)
		}
	}
	at, s := d.play(10)
	if last := at[len(at)-1]; s.Restarts != 4 || last < 29*time.Second || last > 30*time.Second {
		t.Errorf("after 5 runs of 6 s the last scan is at %v, %d restarts, want about 30 s and 4", last, s.Restarts)
	}
}

func TestARecordingWithFramesThatWereOvertaken(t *testing.T) {
	d := &dump{t: t}
	for i := range uint32(100) {
		switch i % 10 {
		case 3:
			d.add(i+1, 100*(i+1))
			d.add(i, 100*i)
		case 4:
		default:
			d.add(i, 100*i)
		}
	}
	at, s := d.play(10)
	if s.Restarts != 0 || s.Late != 10 || at[len(at)-1] != 9900*time.Millisecond {
		t.Errorf("the last of 100 scans is at %v, %d restarts, %d late", at[len(at)-1], s.Restarts, s.Late)
	}
}

func TestARecordingOfStoredFramesIsNoRestart(t *testing.T) {
	d := &dump{t: t}
	for i := range uint32(100) {
		d.add(i, 100_000_000+100*i)
	}
	var err error
	d.b, err = frame.AppendWire(d.b, &frame.Frame{Kind: frame.Readings, Seq: 7000, Millis: 5, Stored: true, Readings: []float64{40, 20}}, frame.U12)
	if err != nil {
		t.Fatal(err)
	}
	d.add(100, 100_010_000)
	at, s := d.play(10)
	if s.Restarts != 0 || at[len(at)-1] != 10*time.Second {
		t.Errorf("the last scan is at %v, %d restarts", at[len(at)-1], s.Restarts)
	}
}
