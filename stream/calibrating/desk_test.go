package calibrating

import (
	"errors"
	"math"
	"testing"
	"time"

	"weald/ingest/calib/fit"
	"weald/ingest/calib/protocol"
	"weald/ingest/sample"
)

// A cuff is a source of two channels whose time the test tells.
type cuff struct {
	now      sample.Instant
	pressure float64
	scans    int
}

func (c *cuff) raw(source int, into []float64) ([]float64, sample.Instant) {
	c.scans++
	flutter := float64(c.scans % 2)
	return append(into, math.Round(100+8*c.pressure)+flutter, 7), c.now
}

// A run by plateau alone: the first channel is calibrated, the second is dead and
// refused; what came of it can be had until it is left.
func TestARun(t *testing.T) {
	c := &cuff{now: sample.At(time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC))}
	d := New(c.raw, func() sample.Instant { return c.now })
	levels, err := protocol.Levels(0, 40, 10, 1)
	if err != nil {
		t.Fatal(err)
	}
	o := fit.Defaults()
	o.ReferenceU = 0.5
	ask := Ask{Of: fit.Circumstances{Bridge: "hub", Source: "leg", By: "E-01", Reference: "gauge"}, Width: 2, Channels: []int{0, 1}, Fit: o,
		Plan: protocol.Plan{Levels: levels, Dwell: 5 * time.Second}}
	if err := d.Ready(); !errors.Is(err, ErrNone) {
		t.Errorf("before it began: %v", err)
	}
	if err := d.Begin("c-1", ask); err != nil {
		t.Fatal(err)
	}
	if err := d.Begin("c-2", ask); !errors.Is(err, ErrBusy) {
		t.Errorf("a second run: %v", err)
	}
	if _, err := d.Record(0); !errors.Is(err, ErrStage) {
		t.Errorf("too early: %v", err)
	}
	var raw []float64
	looked := sample.Past
	for i, l := range levels {
		c.pressure = l.Reference
		for range 200 {
			c.now = c.now.Add(100 * time.Millisecond)
			raw, looked = d.step(raw, looked)
			p, err := d.Progress()
			if err != nil {
				t.Fatal(err)
			}
			if len(p.Taken) > i+1 {
				t.Fatalf("level %d was read twice", i)
			}
		}
		if p, _ := d.Progress(); len(p.Taken) != i+1 {
			t.Fatalf("level %d of %v was not read: %+v", i, levels, p.Channels)
		}
	}
	p, err := d.Progress()
	if err != nil || !p.Finished || p.Next != nil {
		t.Fatalf("%+v, %v", p, err)
	}
	if p.Channels[0].Made.Record == nil || p.Channels[1].Made.Record != nil || p.Channels[1].Made.Refused == nil {
		t.Errorf("%+v", p.Channels)
	}
	r, err := d.Record(0)
	if err != nil || r.By != "E-01" || r.Channel != 0 || r.Check() != nil || math.Abs(r.Calibration.Loading.At(260)-20) > 1 {
		t.Errorf("%+v, %v", r, err)
	}
	d.Kept(0, r.ID())
	if p, _ := d.Progress(); p.Channels[0].Kept != r.ID() {
		t.Errorf("kept %q", p.Channels[0].Kept)
	}
	if _, err := d.Record(1); err == nil || errors.Is(err, ErrChannel) {
		t.Errorf("a dead channel: %v", err)
	}
	if _, err := d.Record(2); !errors.Is(err, ErrChannel) {
		t.Errorf("no channel: %v", err)
	}
	if err := d.Again(); !errors.Is(err, ErrStage) {
		t.Errorf("after the end: %v", err)
	}
	if err := d.Leave(); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Progress(); !errors.Is(err, ErrNone) {
		t.Errorf("after it was left: %v", err)
	}
}
